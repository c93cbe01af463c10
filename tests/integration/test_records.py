"""What became of the paper: its history, and yield and waste by month."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.tables.enums import Reason
from inventory.production.cutting import cut_batch
from inventory.production.spoiling import spoil_layout, spoil_piece
from inventory.reports.paper_history import YieldRow, paper_history, paper_yields, union_area
from inventory.stock.adjust import spoil_stock
from inventory.stock.condition import book_damage
from inventory.stock.lookup import get_batch, plan_of
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Rect
from tests.integration.conftest import Table

if TYPE_CHECKING:
    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

SHEET = cm(50) * cm(70)
PIECE = cm(40) * cm(40)


@pytest.fixture
def table(shop: ShopFile) -> Table:
    made = Table(shop)
    made.paper()
    made.paper("Moss linen")
    made.sheets((cm(50), cm(70)), 9)
    made.offcut((cm(5), cm(5)), paper="Moss linen")
    made.card(3, size=("20cm", "40cm"))
    made.plan()
    return made


def told(table: Table) -> YieldRow:
    with table.shop.read() as session:
        (row,) = paper_yields(session)
        return row


def test_yield_follows_what_is_cut_and_spoiled(table: Table) -> None:
    with table.shop.read() as session:
        assert paper_yields(session) == []
    with table.shop.begin() as session:
        kept = cut_batch(session, 1, layout=1, copies=2)
    area = sum(one.width * one.height * one.quantity for one in kept)
    row = told(table)
    assert (row.paper, row.cut, row.pieces, row.kept, row.spoiled) == (
        "Coal card", 2 * SHEET, 2 * PIECE, area, 0,
    )  # fmt: skip
    assert row.waste == 2 * SHEET - 2 * PIECE - area
    assert row.yield_rate == pytest.approx(2 * PIECE / (2 * SHEET - area))
    with table.shop.begin() as session:
        spoil_layout(session, 1, 1, "slipped")
    row = told(table)
    assert (row.cut, row.pieces, row.spoiled) == (2 * SHEET, 2 * PIECE, SHEET)
    with table.shop.begin() as session:
        spoil_piece(session, 1, "card")
    row = told(table)
    assert (row.cut, row.pieces, row.spoiled) == (2 * SHEET, PIECE, SHEET + PIECE)
    assert row.waste == 2 * SHEET - 2 * PIECE - area
    assert row.yield_rate == pytest.approx(PIECE / (3 * SHEET - area))
    with table.shop.begin() as session:
        for _ in range(3):
            undo_transaction(session, last_transaction(session, batch=1).id)
        assert paper_yields(session) == []
        spoil_stock(session, "S-1", 2)
    row = told(table)
    assert (row.cut, row.pieces, row.spoiled, row.yield_rate) == (0, 0, 2 * SHEET, 0)


def test_what_is_bruised_is_spoiled_and_not_cut(table: Table) -> None:
    with table.shop.begin() as session:
        book_damage(session, "S-1", Rect(0, 0, cm(10), cm(10)))
        book_damage(session, "K-2", Rect(cm(5), 0, cm(10), cm(10)))
    assert (told(table).spoiled, told(table).cut) == (cm(15) * cm(10), 0)
    with table.shop.begin() as session:
        spoil_stock(session, "K-2")
    assert told(table).spoiled == SHEET
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
        undo_transaction(session, last_transaction(session).id)
    assert told(table).spoiled == cm(10) * cm(10)


def test_a_bruised_offcut_that_is_cut_counts_without_its_bruise(table: Table) -> None:
    label = table.offcut((cm(41), cm(41)))
    with table.shop.begin() as session:
        book_damage(session, label, Rect(cm(40), 0, cm(1), cm(1)))
    table.card(1, size=("20cm", "40cm"))
    plan = table.plan()
    assert [one.sheet.label for one in plan.layouts] == [label]
    with table.shop.begin() as session:
        cut_batch(session, plan.batch)
    row = told(table)
    assert (row.cut, row.spoiled) == (cm(41) * cm(41) - cm(1) * cm(1), cm(1) * cm(1))
    assert row.waste == row.cut - PIECE


@given(st.lists(st.builds(Rect, *[st.integers(0, 9)] * 2, *[st.integers(1, 5)] * 2), max_size=5))
def test_an_area_is_counted_once(rects: list[Rect]) -> None:
    dots = {
        (x, y)
        for rect in rects
        for x in range(rect.x, rect.right)
        for y in range(rect.y, rect.bottom)
    }
    assert union_area(rects) == len(dots)


GUARDS_OFF = "SET LOCAL session_replication_role = replica"


def test_batches_cut_before_deeds_were_booked_count_too(table: Table) -> None:
    from sqlalchemy import text

    with table.shop.begin() as session:
        cut_batch(session, 1)
        layouts = plan_of(get_batch(session, 1)).layouts
    before = told(table)
    assert before.pieces == sum(one.copies * len(one.spots) for one in layouts) * PIECE
    with table.shop.begin() as session:
        on_sqlite = session.get_bind().dialect.name == "sqlite"
        off = "DROP TRIGGER movement_no_update" if on_sqlite else GUARDS_OFF
        session.execute(text(off))
        session.execute(text("UPDATE movement SET deed_id = NULL"))
    assert told(table) == before


def test_the_history_of_a_paper_tells_of_all_its_labels(table: Table) -> None:
    with table.shop.begin() as session:
        kept = cut_batch(session, 1)
        rows = paper_history(session, "coal card")
    assert {row.label for row in rows} == {"S-1", *(one.label for one in kept)}
    assert (rows[0].reason, rows[0].balance) == (Reason.RECEIVED, 9)
    cut = [row for row in rows if row.reason is Reason.CUT]
    assert [(row.balance, row.batch) for row in cut] == [(6, 1)]
    with table.shop.read() as session, pytest.raises(Refusal, match="there is no paper 'Cola'"):
        paper_history(session, "Cola")


def test_records_at_the_desk(table: Table, hand: Hand) -> None:
    hand.does("batch", "cut", "1")
    rows = hand.data("history", "paper", "history", "Coal card")
    assert {row["reason"] for row in rows} == {"received", "cut", "kept"}
    assert "S-1" in hand.does("paper", "history", "Coal card")
    (row,) = hand.data("yield", "paper", "yield")
    assert (row["cut"], row["pieces"]) == (1.05, 0.48)
    assert "Coal card" in hand.does("paper", "yield")
