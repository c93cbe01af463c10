"""Labels of offcuts are known before they are cut; marks of older cut sheets lead to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.cli.shared.terminal import refusal_text
from inventory.database.tables.enums import Reason
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Stock
from inventory.documents.plan.document_set import DocumentOptions
from inventory.documents.plan.facts_from_book import with_shop_data
from inventory.maintenance.check import check_shop
from inventory.production.cutting import cut_batch
from inventory.stock import ledger
from inventory.stock.adjust import set_stock_place
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.receiving import ReceiptLine, put_away_offcuts
from nester.core.errors import Refusal
from nester.core.lengths import cm
from tests.integration.conftest import Hand, Table

if TYPE_CHECKING:
    from inventory.database.shop_file import ShopFile


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Cards whose pieces each take a sheet and leave offcuts."""
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 9)
    made.card(3, size=("20cm", "40cm"))
    made.plan()
    return made


def found(table: Table, mark: str) -> str:
    with table.shop.read() as session:
        return find_stock(session, mark).label


def cut(table: Table, **which: int) -> list[str]:
    with table.shop.begin() as session:
        return [one.label for one in cut_batch(session, 1, **which)]


def cut_as_before(table: Table, copies: list[int]) -> list[str]:
    """Cut copies of layout 1 as it was done when each offcut got a label of its own."""
    with table.shop.begin() as session:
        batch = session.get_one(Batch, 1)
        layout = plan_of(batch).layout(1)
        sheet = session.scalars(select(Stock).where(Stock.label == layout.sheet.label)).one()
        cut = ledger.book_transaction(session, Reason.CUT, batch=batch, layout=1, copies=copies)
        ledger.book_movement(session, sheet, -len(copies), Reason.CUT, transaction=cut)
        lines = [
            ReceiptLine("Coal card", (rect.width, rect.height), 1)
            for _ in copies
            for rect in layout.offcuts
        ]
        return [stock.label for stock in put_away_offcuts(session, cut, lines)]


def test_a_label_is_of_nothing_until_its_layout_is_cut(table: Table) -> None:
    with pytest.raises(Refusal, match="none of K1-2 is in the stash, as no layout") as refused:
        found(table, "k1-2")
    assert "with 'quirebox batch cut 1 --layout 1'" in refusal_text(refused.value)
    labels = cut(table, layout=1, copies=1)
    assert found(table, " k1-2 ") == "K1-2"
    assert cut(table, layout=1, copies=1) == labels
    for label in ("K1-99", "K2-1", "K0-1", "K999999999-1"):
        with pytest.raises(Refusal, match="nothing in the stash has the label"):
            found(table, label)


def test_a_mark_leads_to_the_pile(table: Table) -> None:
    with pytest.raises(Refusal, match="none of K1-1 is in the stash"):
        found(table, "1-1-1")
    first = cut(table, layout=1, copies=1)
    for place, label in enumerate(first, 1):
        assert found(table, f"1-1-{place}") == label
        assert found(table, f" 1-1-{place}.2 ") == label


def test_a_mark_serves_wherever_a_label_does(table: Table) -> None:
    (label, *_) = cut(table, layout=1, copies=1)
    with table.shop.begin() as session:
        set_stock_place(session, "1-1-1", "Drawer 1")
        assert find_stock(session, label).place.name == "Drawer 1"


def test_offcuts_that_were_put_away_one_by_one_keep_their_labels(table: Table) -> None:
    offcuts = 2
    before = cut_as_before(table, [1])
    assert before == [f"K-{number}" for number in range(1, offcuts + 1)]
    assert found(table, "1-1-1.1") == "K-1"
    with pytest.raises(Refusal, match=r"'1-1-1' has several labels: 1-1-1.1 is K-1, 1-1-1.2 is K1"):
        found(table, "1-1-1")
    after = cut(table, layout=1)
    assert found(table, "1-1-1.2") == after[0] == "K1-1"
    with table.shop.read() as session:
        batch = get_batch(session, 1)
        options = with_shop_data(DocumentOptions(), session, batch, plan_of(batch))
        assert options.labels == {(1, 1, 0): "K-1", (1, 1, 1): "K-2"}
    assert check_shop(table.shop).findings == ()
    with table.shop.begin() as session:
        for _ in range(2):
            undo_transaction(session, last_transaction(session).id)
    assert set(cut(table)) == set(after)
    assert found(table, "1-1-1.1") == "K1-1"


@pytest.mark.parametrize("mark", ["2-1-1", "1-99-1", "1-1-99", "999999999-1-1", "1-1-1.9"])
def test_a_mark_of_nothing_is_refused(table: Table, mark: str) -> None:
    with pytest.raises(Refusal, match=r"no batch has planned an offcut with the mark"):
        found(table, mark)


@pytest.mark.parametrize("written", ["1-1", "0-1-1", "1-1-1-1", "١-١-١", "1–1–1"])
def test_what_is_no_mark_is_taken_for_a_label(table: Table, written: str) -> None:
    with pytest.raises(Refusal, match="nothing in the stash has the label"):
        found(table, written)


def test_the_history_of_a_pile(hand: Hand) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "3")
    hand.does("order", "add", "Ines", "gift-tag", "--due", "in 5 days", "--paper", "all=Coal card")
    hand.does("batch", "plan")
    assert "none of K1-1 is in the stash" in hand.refused("stash", "history", "K1-1")
    hand.does("batch", "cut", "1")
    assert "K1-1" in hand.does("stash", "history", "K1-1")
