"""Whatever a maker writes is kept as it is, or refused clearly with nothing stored."""

from __future__ import annotations

import pytest

from inventory.database.shop_file import ShopFile
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order, list_orders
from inventory.shop.settings import change_shop, get_shop
from inventory.stock import adjust, listing
from inventory.stock.papers import add_paper, find_paper
from inventory.stock.receiving import add_sheets
from nester.core.errors import Refusal
from nester.core.lengths import cm
from tests.integration.conftest import CARD, TODAY
from tests.shopwork import state

KEPT = [
    'it\'s "quoted" `so` «and» „so“',
    "'; DROP TABLE movement; --",
    "100 %s %d {0} \\n $1 :name ?",
    "Ü̈ Å é ﬁ",
    "🎁👩‍👩‍👧‍👦🏳️‍🌈",
    "עברית و العربية",
    "a\u200fb\u200ec",
    "紙 🀄 한국어",
    "=1+1",
    "NULL",
    "x" * 200,
]
REFUSED = {
    "ten thousand": "x" * 10_000,
    "ten thousand signs": "🎁" * 10_000,
    "201": "x" * 201,
    "nothing": " \t ",
    "invisible": "\u200b\u200d",
    "null": "a\0b",
    "lines": "a\nb",
    "half a sign": "a\ud800b",
    "reordering": "a\u202eb",
    "escape": "a\x1b[31mb",
    "line separator": "a\u2028b",
}


def write_all(shop: ShopFile, text: str) -> None:
    with shop.begin() as session:
        add_paper(session, text, colour=text, finish=text, grammage=300)
        add_sheets(session, text, (cm(50), cm(70)), 5, place=text, note=text)
        adjust.spoil_stock(session, "S-1", 1, text)
        add_order(session, text, "folded-card", CARD, {"all": text}, 1, TODAY, TODAY)
        change_shop(session, name=text)


@pytest.mark.parametrize("text", KEPT, ids=range(len(KEPT)))
def test_what_is_kept_is_kept_as_it_was_written(shop: ShopFile, text: str) -> None:
    write_all(shop, text)
    with shop.read() as session:
        paper = find_paper(session, text)
        assert (paper.name, paper.colour, paper.finish) == (text, text, text)
        (row,) = listing.list_stash(session, place=text, paper=text)
        assert (row.place, row.note, row.paper) == (text, text, text)
        assert [moved.note for moved in listing.stock_history(session, "S-1")] == [text, text]
        (order,) = list_orders(session)
        assert (order.customer, order.papers) == (text, {"all": text})
        assert get_shop(session).name == text
    assert check_shop(shop).findings == ()


@pytest.mark.parametrize("text", REFUSED.values(), ids=REFUSED)
def test_what_is_not_kept_is_refused_and_nothing_is_stored(shop: ShopFile, text: str) -> None:
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=300)
    before = state(shop)
    deeds = [
        lambda s: add_paper(s, text, colour="black", grammage=300),
        lambda s: add_paper(s, "Sand", colour=text, grammage=300),
        lambda s: change_shop(s, name=text),
        lambda s: add_order(s, text, "folded-card", CARD, {"all": "Coal card"}, 1, TODAY, TODAY),
        lambda s: find_paper(s, text),
        lambda s: add_order(s, "Ines", text, CARD, {"all": "Coal card"}, 1, TODAY, TODAY),
        lambda s: adjust.spoil_stock(s, text),
    ]
    if text.strip() and text not in (REFUSED["invisible"], REFUSED["201"]):
        deeds.append(lambda s: add_sheets(s, "Coal card", (cm(50), cm(70)), 5, note=text))
    for number, deed in enumerate(deeds):
        with pytest.raises(Refusal) as refused, shop.begin() as session:
            deed(session)
        assert len(str(refused.value)) < 400, number
        assert "\n" not in str(refused.value)
        assert str(refused.value).isprintable() or text == REFUSED["invisible"], number
    assert state(shop) == before
