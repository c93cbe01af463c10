"""Suppliers' price lists: read, shown, kept with their history, and told in the shop's money."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook
from sqlalchemy import func, select

from inventory.database.tables.purchasing import Price, PriceList, Supplier
from inventory.purchasing import prices as price_lists
from inventory.purchasing import suppliers
from inventory.purchasing.price_list_reader import read_prices
from inventory.purchasing.prices import (
    PriceChangeKind,
    current_offers,
    price_changes,
    price_history,
)
from inventory.stock import papers
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.purchasing.prices import ListedPack, PriceChange
    from tests.integration.conftest import Hand

MARCH, APRIL, MAY = date(2027, 3, 1), date(2027, 4, 1), date(2027, 5, 1)
SIZE = (cm(50), cm(70))
HEAD = "paper,size,pack,price"


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        for name in ("Coal card", "Moss linen"):
            papers.add_paper(opened, name, colour="black", grammage=300)
        papers.add_paper(opened, "Ferns", colour="green", grammage=120, pattern="directional")
        suppliers.set_supplier(
            opened, "Mill", shipping=Decimal("4.90"), free_from=Decimal(60), days=3
        )
        yield opened


class Keeper:
    """Reads and keeps lists of one supplier."""

    def __init__(self, session: Session, folder: Path) -> None:
        self._session = session
        self._file = folder / "mill.csv"

    def __call__(
        self,
        *lines: str,
        head: str = HEAD,
        day: date = MARCH,
        whole: bool = False,
        supplier: str | None = "Mill",
        only_known: bool = False,
    ) -> list[PriceChange]:
        self._file.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
        sheet = read_prices(
            self._session, self._file, Unit.CM, today=MAY, supplier=supplier, only_known=only_known
        )
        changes = price_changes(self._session, sheet, day, whole=whole)
        price_lists.store_prices(self._session, sheet, day, whole=whole)
        return changes


@pytest.fixture
def keep(session: Session, tmp_path: Path) -> Keeper:
    return Keeper(session, tmp_path)


def asked(found: list[ListedPack]) -> list[tuple[str, int, int, str]]:
    return [(one.paper, one.pack, one.least, str(one.list_price)) for one in found]


def test_an_offer_says_all_of_a_pack(session: Session, keep: Keeper) -> None:
    keep("coal CARD,50x70,25,31.25,EUR,2,9", head=HEAD + ",currency,least,days")
    keep('Moss linen,A4,10,"4,50"')
    coal, moss = current_offers(session, today=MARCH)
    assert (coal.supplier, coal.paper, coal.width, coal.height) == ("Mill", "Coal card", *SIZE)
    assert (coal.pack, coal.price, coal.least, coal.lead_days) == (25, Decimal("31.25"), 2, 9)
    assert (coal.sheet_price, coal.since) == (Decimal("1.25"), MARCH)
    assert (moss.paper, moss.lead_days, moss.list_price) == ("Moss linen", 3, Decimal("4.5"))
    assert current_offers(session, ["moss linen"], today=MARCH) == [moss]
    assert current_offers(session, today=date(2027, 2, 28)) == []


def test_the_newest_list_whose_day_has_come_counts(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30", "Moss linen,50x70,10,12")
    (change,) = keep("Coal card,50x70,25,33", day=MAY)
    assert (change.kind, change.before, change.now) == (
        PriceChangeKind.DEARER, (Decimal(30), "EUR"), (Decimal(33), "EUR"),
    )  # fmt: skip
    (change,) = keep("Coal card,50x70,25,29", day=APRIL)
    assert change.kind is PriceChangeKind.CHEAPER
    for day, price in ((MARCH, "30"), (APRIL, "29"), (MAY, "33")):
        assert asked(current_offers(session, today=day)) == [
            ("Coal card", 25, 1, price), ("Moss linen", 10, 1, "12"),
        ]  # fmt: skip
    kept = price_history(session, paper="Coal card")
    assert [(row.day, row.amount) for row in kept] == [(MAY, 33), (APRIL, 29), (MARCH, 30)]
    assert {row.source for row in kept} == {"mill.csv"}


def test_a_new_list_of_a_size_says_all_packs_of_it(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30", "Coal card,50x70,100,99", "Coal card,A4,25,6")
    changes = keep("Coal card,70x50,20,26", day=APRIL)
    assert [(one.pack, one.kind) for one in changes] == [
        (20, PriceChangeKind.NEW), (25, PriceChangeKind.ENDED), (100, PriceChangeKind.ENDED),
    ]  # fmt: skip
    assert asked(current_offers(session, today=APRIL)) == [
        ("Coal card", 25, 1, "6"), ("Coal card", 20, 1, "26"),
    ]  # fmt: skip


def test_less_a_pack_from_several_packs_on(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30,", "Coal card,50x70,25,27,4", head=HEAD + ",least")
    assert asked(current_offers(session, today=MARCH)) == [
        ("Coal card", 25, 1, "30"), ("Coal card", 25, 4, "27"),
    ]  # fmt: skip


def test_sides_count_where_a_pattern_has_a_top(session: Session, keep: Keeper) -> None:
    keep("Ferns,50x70,5,9", "Coal card,50x70,5,9")
    keep("Ferns,70x50,5,8", "Coal card,70x50,5,8", day=APRIL)
    offers = current_offers(session, today=APRIL)
    assert [(offer.paper, offer.width, str(offer.list_price)) for offer in offers] == [
        ("Coal card", cm(70), "8"), ("Ferns", cm(50), "9"), ("Ferns", cm(70), "8"),
    ]  # fmt: skip


def test_what_a_whole_list_leaves_out_is_not_sold_any_more(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30", "Moss linen,50x70,10,12")
    (change,) = keep("Coal card,50x70,25,30", day=APRIL, whole=True)
    assert (change.paper, change.kind, change.now) == ("Moss linen", PriceChangeKind.ENDED, None)
    assert asked(current_offers(session, today=APRIL)) == [("Coal card", 25, 1, "30")]
    assert len(current_offers(session, today=MARCH)) == 2
    assert [row.amount for row in price_history(session, paper="Moss linen")] == [None, 12]
    (change,) = keep("Moss linen,50x70,10,12", day=MAY)
    assert change.kind is PriceChangeKind.NEW


def test_what_says_nothing_new_is_not_kept_again(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30", "Moss linen,50x70,10,12")
    assert keep("Moss linen,50x70,10,12.00", "Coal card,50x70,25,30", day=APRIL, whole=True) == []
    assert session.scalar(select(func.count()).select_from(Price)) == 2
    assert session.scalar(select(func.count()).select_from(PriceList)) == 2


def test_prices_by_hand_leave_other_packs_as_they_are(session: Session, keep: Keeper) -> None:
    keep("Coal card,50x70,25,30", "Coal card,50x70,100,99")
    price_lists.set_price(
        session, "mill", "Coal card", (cm(70), cm(50)), Decimal(28), pack=25, day=APRIL
    )
    assert asked(current_offers(session, today=APRIL)) == [
        ("Coal card", 100, 1, "99"), ("Coal card", 25, 1, "28"),
    ]  # fmt: skip
    price_lists.end_price(session, "Mill", "Coal card", SIZE, pack=100, day=MAY)
    assert asked(current_offers(session, today=MAY)) == [("Coal card", 25, 1, "28")]
    with pytest.raises(Refusal, match=r"Mill sells no Coal card .* in packs of 100"):
        price_lists.end_price(session, "Mill", "Coal card", SIZE, pack=100, day=MAY)
    price_lists.end_price(session, "Mill", "Coal card", SIZE, day=MAY)
    assert current_offers(session, today=MAY) == []
    with pytest.raises(Refusal, match="more than 0"):
        price_lists.set_price(session, "Mill", "Coal card", SIZE, Decimal(0), day=MAY)


# --- several suppliers, and their terms


def test_a_list_may_bring_suppliers_and_their_terms(session: Session, keep: Keeper) -> None:
    suppliers.set_rate(session, "GBP", Decimal("1.1725"), MARCH)
    head = HEAD + ",supplier,currency,shipping,free from"
    keep(
        "Coal card,50x70,25,30,MILL,,5.50,",
        "Coal card,50x70,25,22.40,Far mill,GBP,7,90",
        "Moss linen,50x70,10,9,far  mill,,,",
        head=head, supplier=None,
    )  # fmt: skip
    far, near = session.scalars(select(Supplier).order_by(Supplier.name))
    assert (far.name, far.currency, far.shipping, far.free_from) == ("Far mill", "GBP", 7, 90)
    assert (near.name, near.shipping, near.free_from) == ("Mill", Decimal("5.5"), 60)
    found = current_offers(session, ["Coal card"], today=MARCH)
    assert [(one.supplier, one.price) for one in found] == [
        ("Far mill", Decimal("26.26400")), ("Mill", Decimal(30)),
    ]  # fmt: skip
    (moss,) = current_offers(session, ["Moss linen"], today=MARCH, supplier="Far mill")
    assert (moss.currency, moss.price) == ("GBP", Decimal("10.5525"))
    abroad, home = suppliers.supplier_terms(session, today=MARCH)
    assert (abroad.shipping, abroad.free_from) == (Decimal("8.2075"), Decimal("105.525"))
    assert (home.shipping, home.free_from, home.least_order, home.lead_days) == (
        Decimal("5.5"),
        60,
        0,
        3,
    )


def test_a_new_rate_counts_from_its_day(session: Session, keep: Keeper) -> None:
    suppliers.set_rate(session, "GBP", Decimal("1.17"), MARCH)
    suppliers.set_rate(session, "gbp", Decimal("1.25"), MAY)
    suppliers.set_rate(session, "GBP", Decimal("1.2"), APRIL)
    keep("Coal card,50x70,25,10,GBP", head=HEAD + ",currency")
    prices = [current_offers(session, today=day)[0].price for day in (MARCH, APRIL, MAY)]
    assert prices == [Decimal("11.7"), Decimal(12), Decimal("12.5")]
    with pytest.raises(Refusal, match="EUR is the shop's own currency"):
        suppliers.set_rate(session, "EUR", Decimal(1), MARCH)
    for text in ("0", "-1", "1.2.3", "x", "", "1e3", "9" * 8, "1.23456789012"):
        with pytest.raises(Refusal):
            suppliers.read_rate(text)


def test_a_supplier_s_terms_change_and_can_t_be_mixed_up(session: Session) -> None:
    with pytest.raises(Refusal, match="are in EUR; say its shipping"):
        suppliers.set_supplier(session, "Mill", currency="GBP")
    changed, is_new = suppliers.set_supplier(
        session, "MILL", currency="GBP", shipping=Decimal(3), never_free=True
    )
    assert (changed.currency, changed.free_from, changed.days, is_new) == ("GBP", None, 3, False)
    with pytest.raises(Refusal, match="0 to 365"):
        suppliers.set_supplier(session, "Mill", days=366)
    with pytest.raises(Refusal, match="no rate for GBP"):
        suppliers.supplier_terms(session, today=MARCH)
    with pytest.raises(Refusal, match=r"there is no supplier 'Mlil'; did you mean 'Mill'\?"):
        current_offers(session, today=MARCH, supplier="Mlil")


# --- what can't be so


BAD = [
    ("Coal card,50x70,25,30,USD", "line 3, currency: there is no rate for USD"),
    ("Coal card,50x70,0,30", "line 3, pack: 0 is too few"),
    ("Coal card,50x70,25,-3", "line 3, price: the price '-3' must not be less than zero"),
    ("Coal card,50x70,25,", "line 3, price: the price is missing"),
    ("Coal card,50x70,25,0", "line 3, price: the price of a pack must be more than 0"),
    ("Coal card,50x70,25,1.234.5", "line 3, price: the price '1.234.5' is not an amount"),
    ("Coal,50x70,25,30", "line 3, paper: there is no paper 'Coal'"),
    ("Coal card,50 by 70,25,30", "line 3, size: '50 by 70' is not a size"),
    ("Coal card,50x70,25,30,,0", "line 3, least: 0 is too few"),
    ("Coal card,50x70,25,30,,1,366", "line 3, days: the days to a delivery must be 0 to 365"),
    ("Coal card,50x70,25,30,,1,-1", "line 3, days: -1 is too few"),
    (
        "Moss linen,70x50,25,30",
        "line 3, pack: the same pack of this paper and size stands in line 2",
    ),
]


@pytest.mark.parametrize(("line", "said"), BAD, ids=[line for line, _ in BAD])
def test_a_wrong_line_is_told_and_nothing_is_kept(
    session: Session, keep: Keeper, line: str, said: str
) -> None:
    with pytest.raises(Refusal) as refused:
        keep("Moss linen,50x70,25,30", line, head=HEAD + ",currency,least,days")
    assert f"mill.csv, {said}" in str(refused.value)
    assert session.scalar(select(func.count()).select_from(PriceList)) == 0


def test_whose_prices_they_are_must_be_said(session: Session, keep: Keeper) -> None:
    with pytest.raises(Refusal, match=r"line 2, supplier: the supplier is missing"):
        keep("Coal card,50x70,25,30", supplier=None)
    head = HEAD + ",shipping"
    with pytest.raises(Refusal, match="line 3, shipping: of Mill a line above says 4, and this 5"):
        keep("Coal card,50x70,25,30,4", "Moss linen,50x70,25,30,5", head=head)
    suppliers.set_rate(session, "GBP", Decimal("1.17"), MARCH)
    with pytest.raises(Refusal, match="line 2, currency: the shipping of Mill is in EUR, not in"):
        keep("Coal card,50x70,25,30,4,GBP", head=head + ",currency")


def test_a_list_of_other_papers(session: Session, keep: Keeper) -> None:
    lines = ["Silk,50x70,25,30", "Felt,50x70,25,-1"]
    with pytest.raises(Refusal, match="none of its 2 lines is of a paper the shop knows"):
        keep(*lines, only_known=True)
    (change,) = keep(*lines, "Coal card,A4,25,6", only_known=True)
    assert change.paper == "Coal card"


def test_a_wrong_line_in_the_middle_of_ten_thousand(session: Session, keep: Keeper) -> None:
    lines = [f"Coal card,{10 + n / 100:.2f}x70cm,25,{n % 90 + 1}" for n in range(10_000)]
    bad = [*lines[:5_000], "Coal card,50x70cm,25,x", *lines[5_000:]]
    with pytest.raises(Refusal, match=r"mill\.csv, line 5002, price: the price 'x' is not an"):
        keep(*bad)
    assert session.scalar(select(func.count()).select_from(Price)) == 0
    assert len(keep(*lines)) == len(current_offers(session, today=MARCH)) == 10_000


# --- at the desk


def test_at_the_desk(hand: Hand, tmp_path: Path) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    book = Workbook()
    for row in (
        ["Paper", "Size", "Pack", "Price", "Currency"],
        ["Coal card", "50x70cm", 25, 31.25],
    ):
        book.active.append(row)
    file = tmp_path / "mill.xlsx"
    book.save(file)
    words = ("buy", "prices", "import", str(file), "--supplier", "Paper mill")
    assert "this needs an answer" in hand.refused(*words)
    assert hand.data("prices", "buy", "prices", "list") == []
    said = hand.does(*words, "--yes")
    assert said == (
        "Read 1 line: 1 new.\n'Paper mill' is a new supplier.\nStored 1 price change.\n"
    )
    (offer,) = hand.data("prices", "buy", "prices", "list")
    assert (offer["price"], offer["pack"], offer["width"], offer["in"]) == ("31.25", 25, 500, "EUR")
    hand.does("buy", "prices", "set", "Paper mill", "Coal card", "50x70cm", "30", "--pack", "25")
    hand.does("buy", "prices", "end", "Paper mill", "Coal card", "50x70cm")
    history = hand.data("price_history", "buy", "prices", "list", "--history")
    assert [one["asked"] for one in history] == [None, "30", "31.25"]
    assert "ended" in hand.does("buy", "prices", "list", "--history")
    assert "No prices today." in hand.does("buy", "prices", "list")

    hand.does("buy", "rate", "set", "GBP", "1,17")
    (rate,) = hand.data("rates", "buy", "rate", "list")
    assert (rate["currency"], rate["rate"], rate["in"]) == ("GBP", "1.17", "EUR")
    hand.does(
        "buy", "supplier", "set", "Far mill", "--currency", "gbp", "--shipping", "7",
        "--free-from", "90", "--least-order", "20",
    )  # fmt: skip
    assert "90.00 GBP" in hand.does("buy", "supplier", "list")
    hand.does("buy", "supplier", "set", "far mill", "--free-from", "never")
    far, _ = hand.data("suppliers", "buy", "supplier", "list")
    assert (far["currency"], far["free_from"], far["least_order"]) == ("GBP", None, "20")
