"""A week that changes: orders changed, cancelled, copied, split; batches planned anew."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from inventory.changes.order_changes import (
    OrderChanges,
    cancel_order,
    change_order,
    copy_order,
    order_changes,
    reopen_order,
    split_order,
    values_of,
)
from inventory.changes.replanning import Replanned, broken_batches, replan_batches
from inventory.changes.undo import last_transaction, list_transactions, undo_transaction
from inventory.costs.order_costs import batch_cost, read_order_estimate
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.maintenance.check import check_shop
from inventory.orders.orders import get_order
from inventory.pieces.order_needs import order_needs, pieces_in_batches
from inventory.pieces.spare_pieces import (
    discard_spare_pieces,
    list_spare_pieces,
    spare_to_offcut,
)
from inventory.pieces.spare_rule import read_spare_rule
from inventory.production.cutting import cut_batch, drop_batch
from inventory.production.mending import mend_batch
from inventory.production.progress import layouts_of_day, list_remaining
from inventory.production.spoiling import spoil_piece
from inventory.stock.adjust import spoil_stock
from inventory.stock.lookup import get_batch, plan_of
from inventory.views.production.batches import cutting_words
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort
from nester.cutting import DEFAULT_PACE
from tests.integration.conftest import TODAY, Table

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.database.shop_file import ShopFile

BIG, OTHER = ("20cm", "40cm"), ("19cm", "40cm")


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Two orders of big cards, planned: each of their five pieces takes a sheet of nine."""
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 9, price=Decimal(3))
    made.card(3, size=BIG)
    made.card(2, size=OTHER, days=3)
    made.plan()
    return made


def do(table: Table, deed: Callable, *args, **others):
    with table.shop.begin() as session:
        return deed(session, *args, **others)


def change(table: Table, number: int, **changes):
    return do(table, change_order, number, OrderChanges(**changes), today=TODAY)


def replan(table: Table, *batches: int, **others) -> Replanned:
    return replan_batches(table.shop, batches, effort=Effort.QUICK, today=TODAY, **others)


def spares(table: Table) -> dict[str, int]:
    with table.shop.read() as session:
        return {row.spare.label: row.quantity for row in list_spare_pieces(session)}


def needs(table: Table, number: int) -> int:
    """How many pieces are still to be planned for an order."""
    with table.shop.read() as session:
        order = get_order(session, number)
        return sum(quantity for _, _, quantity in order_needs(session, order))


def has(table: Table, number: int) -> tuple[int, int]:
    """How many pieces an order has, and is to get."""
    with table.shop.read() as session:
        known = pieces_in_batches(session, get_order(session, number))
        return known.cut.total(), known.to_come.total()


def layouts(table: Table, batch: int = 1) -> list[int]:
    with table.shop.read() as session:
        rows = list_remaining(session, get_batch(session, batch))
        return [row.layout.number for row in rows for _ in row.copies]


def layout_of(table: Table, order: int, batch: int = 1) -> int:
    """Return a layout that is left to cut and makes a piece of an order."""
    with table.shop.read() as session:
        for row in list_remaining(session, get_batch(session, batch)):
            if any(spot.orders[row.copies[0] - 1] == order for spot in row.layout.spots):
                return row.layout.number
    raise AssertionError("no such layout")


def undo_last(table: Table) -> None:
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)


def sound(table: Table) -> None:
    assert check_shop(table.shop).findings == ()


def everything(table: Table) -> tuple[object, ...]:
    with table.shop.read() as session:
        orders = [values_of(get_order(session, number)) for number in (1, 2)]
    return (
        table.on_hand(), table.reserved(), spares(table), orders, table.batch_status(1),
        layouts(table), [(needs(table, n), has(table, n)) for n in (1, 2)],
    )  # fmt: skip


# --- changing ----------------------------------------------------------------------------------


def test_before_planning_an_order_simply_changes(shop: ShopFile) -> None:
    table = Table(shop)
    table.paper()
    table.card(3, size=BIG)
    later = TODAY + timedelta(20)
    changed = change(
        table, 1, customer="Mo", copies=4, due=later, sizes={"width": "18cm"}, note="blue ribbon",
        price=Decimal("12.50"),
    )  # fmt: skip
    with shop.read() as session:
        order = get_order(session, 1)
        assert (order.customer, order.copies, order.due) == ("Mo", 4, later)
        assert (order.sizes["width"], order.sizes["height"]) == ("18cm", "40cm")
        assert (order.note, order.price) == ("blue ribbon", Decimal("12.50"))
        (entry,) = order_changes(session, 1)
        assert entry.before["copies"] == 3
        assert entry.after["copies"] == 4
    assert changed.before["customer"] == "Ines"
    assert table.status(1) is OrderStatus.CONFIRMED
    undo_last(table)
    with shop.read() as session:
        order = get_order(session, 1)
        assert (order.customer, order.copies, order.sizes["width"]) == ("Ines", 3, "20cm")
        assert (order.note, order.price) == ("", None)
    sound(table)


def test_who_and_when_of_a_planned_order_leave_its_plan_alone(table: Table) -> None:
    reserved = table.reserved()
    change(table, 1, customer="Mo", due=TODAY + timedelta(30), note="call first")
    assert table.status(1) is OrderStatus.PLANNED
    assert table.reserved() == reserved
    with table.shop.read() as session:
        row = next(row for row in plan_of(get_batch(session, 1)).orders if row.number == 1)
    assert (row.customer, row.due) == ("Mo", TODAY + timedelta(30))
    sound(table)


def test_a_planned_order_with_other_pieces_leaves_its_batch(table: Table) -> None:
    before = everything(table)
    changed = change(table, 1, copies=2)
    assert changed.batches == (1,)
    assert table.status(1) is OrderStatus.CONFIRMED
    assert table.reserved() == {"S-1": 2}
    assert needs(table, 1) == 2
    sound(table)
    undo_last(table)
    assert everything(table) == before
    sound(table)


def test_more_copies_after_cutting_keep_what_is_cut(table: Table) -> None:
    do(table, cut_batch, 1)
    assert table.status(1) is OrderStatus.CUT
    changed = change(table, 1, copies=4)
    assert (changed.kept, changed.spare) == (3, [])
    assert table.status(1) is OrderStatus.CONFIRMED
    assert needs(table, 1) == 1
    assert table.plan(1).batch == 2
    do(table, cut_batch, 2)
    assert table.status(1) is OrderStatus.CUT
    assert has(table, 1) == (4, 0)
    sound(table)


def test_fewer_copies_after_cutting_leave_spare_pieces(table: Table) -> None:
    do(table, cut_batch, 1)
    before = everything(table)
    changed = change(table, 1, copies=2)
    assert changed.kept == 2
    assert spares(table) == {"C-1": 1}
    assert table.status(1) is OrderStatus.CUT
    sound(table)
    undo_last(table)
    assert everything(table) == before
    sound(table)


def test_spare_pieces_are_used_first(table: Table) -> None:
    do(table, cut_batch, 1)
    change(table, 1, copies=1)
    assert spares(table) == {"C-1": 2}
    table.card(3, size=BIG)
    plan = table.plan(3)
    assert [(spare.label, spare.quantity) for spare in plan.spares] == [("C-1", 2)]
    assert sum(layout.copies * len(layout.spots) for layout in plan.layouts) == 1
    assert spares(table) == {}
    assert has(table, 3) == (2, 1)
    do(table, drop_batch, 2)
    assert spares(table) == {"C-1": 2}
    assert table.status(3) is OrderStatus.CONFIRMED
    sound(table)


def test_an_order_that_spare_pieces_complete_is_cut_at_once(table: Table) -> None:
    do(table, cut_batch, 1)
    change(table, 1, copies=1)
    table.card(2, size=BIG)
    plan = table.plan(3)
    assert (plan.batch, plan.layouts) == (None, ())
    assert table.status(3) is OrderStatus.CUT
    assert spares(table) == {}
    sound(table)


def test_spare_pieces_that_complete_an_order_can_be_put_back(table: Table) -> None:
    do(table, cut_batch, 1)
    change(table, 1, copies=1)
    table.card(2, size=BIG)
    table.plan(3)
    undo_last(table)
    assert table.status(3) is OrderStatus.CONFIRMED
    assert spares(table) == {"C-1": 2}
    sound(table)


def test_another_paper_after_cutting(table: Table) -> None:
    table.paper("Moss card")
    table.sheets((cm(50), cm(70)), 5, paper="Moss card")
    do(table, cut_batch, 1)
    changed = change(table, 1, papers={"all": "Moss card"})
    assert (changed.kept, table.status(1)) == (0, OrderStatus.CONFIRMED)
    assert spares(table) == {"C-1": 3}
    assert needs(table, 1) == 3
    # And back again: what was cut serves it once more.
    change(table, 1, papers={"all": "coal CARD"})
    assert table.plan(1).batch is None
    assert table.status(1) is OrderStatus.CUT
    assert spares(table) == {}
    sound(table)


@pytest.mark.parametrize("status", ["assembled", "delivered"])
def test_a_finished_order_keeps_its_pieces(table: Table, status: str) -> None:
    from inventory.changes.order_status import move_order

    do(table, cut_batch, 1)
    do(table, move_order, 1, "assembled")
    if status == "delivered":
        do(table, move_order, 1, "delivered")
    before = everything(table)
    for wrong in ({"copies": 4}, {"due": TODAY + timedelta(9)}, {"sizes": {"width": "9cm"}}):
        with pytest.raises(Refusal, match=f"order 1 is {status}; only its customer, note and"):
            change(table, 1, **wrong)
    assert everything(table) == before
    change(table, 1, note="by hand")
    sound(table)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({}, "is like that already"),
        ({"copies": 3}, "is like that already"),
        ({"copies": 0}, "the number of copies"),
        ({"due": TODAY - timedelta(1)}, "has passed"),
        ({"sizes": {"width": "0"}}, "width"),
        ({"sizes": {"wingspan": "3"}}, "wingspan"),
        ({"papers": {"all": "Nothing"}}, "no paper 'Nothing'"),
        ({"papers": {"all": ""}}, "needs a paper"),
        ({"price": Decimal(-1)}, "the price"),
        ({"customer": "  "}, "the customer's name"),
    ],
)
def test_a_wrong_change_changes_nothing(table: Table, wrong: dict, said: str) -> None:
    before = everything(table)
    with pytest.raises(Refusal, match=said):
        change(table, 1, **wrong)
    assert everything(table) == before
    assert list_of(table) == []


def list_of(table: Table) -> list[int]:
    with table.shop.read() as session:
        return [transaction.id for transaction in list_transactions(session)][:-1]


def test_two_people_change_the_same_order(table: Table) -> None:
    with table.shop.read() as session:
        seen = values_of(get_order(session, 1))
    change(table, 1, note="first")
    with pytest.raises(Refusal, match="order 1 was changed meanwhile"):
        do(table, change_order, 1, OrderChanges(note="second"), today=TODAY, expected=seen)


# --- cancelling, reopening, copying, splitting ---------------------------------------------------


def test_cancelling_leaves_what_was_cut_and_frees_the_rest(table: Table) -> None:
    do(table, cut_batch, 1, layout=layout_of(table, 1), copies=1)
    before = everything(table)
    cancelled = do(table, cancel_order, 1)
    assert [(row.spare.label, row.quantity) for row in cancelled.spare] == [("C-1", 1)]
    assert table.reserved() == {"S-1": 2}
    with table.shop.read() as session:
        assert [row.number for row in plan_of(get_batch(session, 1)).orders] == [2]
    sound(table)
    undo_last(table)
    assert everything(table) == before
    do(table, cancel_order, 1)
    do(table, reopen_order, 1)
    assert table.status(1) is OrderStatus.CONFIRMED
    plan = table.plan(1)
    assert [spare.quantity for spare in plan.spares] == [1]
    do(table, cut_batch, plan.batch)
    assert table.status(1) is OrderStatus.CUT
    sound(table)


def test_undoing_is_refused_where_the_paper_has_gone(table: Table) -> None:
    do(table, cancel_order, 1)
    do(table, spoil_stock, "S-1", 6)
    with table.shop.read() as session:
        number = list_transactions(session, most=2)[1].id
    with pytest.raises(Refusal, match="batch 1 would take S-1 again, of which 3 are there"):
        do(table, undo_transaction, number)
    assert table.status(1) is OrderStatus.CANCELLED
    sound(table)


def test_spare_pieces_that_were_used_stay(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, cancel_order, 1)
    with table.shop.read() as session:
        number = list_transactions(session, most=1)[0].id
    table.card(1, size=BIG)
    table.plan(3)
    with pytest.raises(Refusal, match="spare pieces C-1 that came of it were used since"):
        do(table, undo_transaction, number)


def test_a_delivered_order_comes_back(table: Table) -> None:
    from inventory.changes.order_status import move_order

    do(table, cut_batch, 1)
    for status in ("assembled", "delivered"):
        do(table, move_order, 1, status)
    do(table, reopen_order, 1)
    assert table.status(1) is OrderStatus.ASSEMBLED
    do(table, cancel_order, 1)
    assert spares(table) == {}
    do(table, reopen_order, 1)
    assert table.status(1) is OrderStatus.ASSEMBLED
    with pytest.raises(Refusal, match="only a cancelled or delivered order can be reopened"):
        do(table, reopen_order, 1)


def test_a_copy_is_an_order_of_its_own(table: Table) -> None:
    due = TODAY + timedelta(40)
    made = do(table, copy_order, 1, due=due, today=TODAY, customer="Mo")
    assert (made.order.id, made.order.customer, made.order.copies) == (3, "Mo", 3)
    assert needs(table, 3) == 3
    undo_last(table)
    assert table.status(3) is OrderStatus.CANCELLED
    with pytest.raises(Refusal, match="has passed"):
        do(table, copy_order, 1, due=TODAY - timedelta(1), today=TODAY)


def test_splitting_keeps_every_piece(table: Table) -> None:
    do(table, cut_batch, 1)
    before = everything(table)
    kept, new = do(table, split_order, 1, 2, due=TODAY + timedelta(40), today=TODAY)
    assert (kept.order.copies, new.order.copies) == (1, 2)
    assert table.status(1) is OrderStatus.CUT
    table.plan(3)
    assert table.status(3) is OrderStatus.CUT
    sound(table)
    for wrong in (0, 1, 5):
        with pytest.raises(Refusal):
            do(table, split_order, 1, wrong, due=TODAY, today=TODAY)
    with table.shop.read() as session:
        number = list_transactions(session, most=5)
    with pytest.raises(Refusal, match=r"were used|is cut since"):
        do(table, undo_transaction, number[1].id)
    assert before[0] == table.on_hand()


# --- another sheet ---------------------------------------------------------------------------


def test_a_sheet_like_the_planned_one_stands_in(table: Table) -> None:
    dearer = table.sheets((cm(50), cm(70)), 2, price=Decimal(5))
    with table.shop.read() as session:
        before = batch_cost(session, 1)
    do(table, cut_batch, 1, layout=layouts(table)[0], copies=1, stand_in=dearer)
    assert table.on_hand() == {"S-1": 9, dearer: 1} | {
        label: n for label, n in table.on_hand().items() if label.startswith("K")
    }
    assert table.reserved() == {"S-1": 4}
    with table.shop.read() as session:
        after = batch_cost(session, 1)
    assert after.paper > before.paper
    do(table, cut_batch, 1)
    sound(table)
    undo_last(table)
    sound(table)


def test_another_sheet_does_not_stand_in(table: Table) -> None:
    table.paper("Moss card")
    number = layouts(table)[0]
    other = table.sheets((cm(50), cm(70)), 2, paper="Moss card")
    small = table.sheets((cm(50), cm(60)), 2)
    for label in (other, small):
        with pytest.raises(Refusal, match="is no sheet like S-1"):
            do(table, cut_batch, 1, layout=number, stand_in=label)
    with pytest.raises(Refusal, match="say which layout was cut from another sheet"):
        do(table, cut_batch, 1, stand_in=small)
    do(table, spoil_stock, "S-1", 9)
    with pytest.raises(Refusal, match="S-1 has 0 on hand, and 1 are to be cut from it"):
        do(table, cut_batch, 1, layout=number, copies=1)


# --- planning anew -------------------------------------------------------------------------------


def test_the_rest_is_planned_anew_and_what_is_cut_stays(table: Table) -> None:
    do(table, cut_batch, 1, layout=layout_of(table, 1), copies=1)
    before = everything(table)
    new = table.card(1, size=("10cm", "10cm"))
    made = replan(table, 1, add=[new])
    assert made.released == (1,)
    assert made.plan is not None
    assert made.plan.batch == 2
    assert table.batch_status(1) is BatchStatus.CUT
    assert [table.status(n) for n in (1, 2, 3)] == [OrderStatus.PLANNED] * 3
    assert [has(table, n) for n in (1, 2, 3)] == [(1, 2), (0, 2), (0, 1)]
    sound(table)
    undo_last(table)
    assert table.batch_status(2) is BatchStatus.DROPPED
    assert table.status(3) is OrderStatus.CONFIRMED
    assert everything(table) == before
    sound(table)


def test_after_planning_anew_all_is_cut(table: Table) -> None:
    do(table, cut_batch, 1, layout=layout_of(table, 2), copies=1)
    replan(table, 1)
    do(table, cut_batch, 2)
    assert [table.status(n) for n in (1, 2)] == [OrderStatus.CUT] * 2
    assert [has(table, n) for n in (1, 2)] == [(3, 0), (2, 0)]
    with table.shop.begin() as session:
        (replanned,) = (row.id for row in list_transactions(session) if row.reason == "replanned")
        with pytest.raises(Refusal, match="was made after it"):
            undo_transaction(session, replanned)
    sound(table)


def test_an_order_is_taken_out(table: Table) -> None:
    made = replan(table, 1, without=[2])
    assert made.plan is not None
    assert [row.number for row in made.plan.orders] == [1]
    assert [table.status(n) for n in (1, 2)] == [OrderStatus.PLANNED, OrderStatus.CONFIRMED]
    assert table.reserved() == {"S-1": 3}
    sound(table)


def test_a_change_and_its_plan_are_stored_together(table: Table) -> None:
    do(table, cut_batch, 1, layout=layout_of(table, 1), copies=1)
    made = replan(
        table,
        1,
        change=lambda session: change_order(session, 1, OrderChanges(copies=4), today=TODAY),
    )
    assert made.plan is not None
    assert [has(table, n) for n in (1, 2)] == [(1, 3), (0, 2)]
    assert [table.status(n) for n in (1, 2)] == [OrderStatus.PLANNED] * 2
    undo_last(table)
    assert [has(table, n) for n in (1, 2)] == [(1, 2), (0, 2)]
    assert table.batch_status(2) is BatchStatus.DROPPED
    sound(table)


def test_paper_that_is_gone_is_planned_around(table: Table) -> None:
    table.offcut((cm(50), cm(70)))
    do(table, spoil_stock, "S-1", 5)
    with table.shop.read() as session:
        short = broken_batches(session)
    assert list(short) == [1]
    assert "5 sheets of S-1, of which 4 are there" in short[1]
    made = replan(table, 1)
    assert made.plan is not None
    assert [order.made for order in made.plan.orders] == [True, True]
    with table.shop.read() as session:
        assert broken_batches(session) == {}
    sound(table)


def test_orders_for_which_no_paper_is_left_wait(table: Table) -> None:
    do(table, spoil_stock, "S-1", 6)
    made = replan(table, 1)
    assert made.plan is not None
    assert Counter(order.made for order in made.plan.orders) == {True: 1, False: 1}
    assert sorted(table.status(n) for n in (1, 2)) == ["confirmed", "planned"]
    sound(table)


def test_a_mended_batch_planned_anew(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, spoil_piece, 1, "card", order=1)
    mend_batch(table.shop, 1, effort=Effort.QUICK, today=TODAY)
    assert has(table, 1) == (2, 1)
    made = replan(table, 2)
    assert made.plan is not None
    assert has(table, 1) == (2, 1)
    assert table.status(1) is OrderStatus.PLANNED
    undo_last(table)
    assert (table.status(1), has(table, 1)) == (OrderStatus.CUT, (2, 1))
    replan(table, 2)
    do(table, cut_batch, 4)
    assert has(table, 1) == (3, 0)
    sound(table)


def test_only_open_batches_are_planned_anew(table: Table) -> None:
    with pytest.raises(Refusal, match="there is no batch 7"):
        replan(table, 7)
    do(table, cut_batch, 1)
    with pytest.raises(Refusal, match="batch 1 is cut; only an open batch can be planned anew"):
        replan(table, 1)


# --- spare pieces --------------------------------------------------------------------------------


def test_extra_pieces_are_cut_and_used_later(table: Table) -> None:
    table.card(2, size=("10cm", "20cm"))
    plan = table.plan(3, spares=read_spare_rule(["card=1"]))
    assert plan.batch == 2
    with table.shop.begin() as session:
        put = cut_batch(session, 2)
    assert [(row.label, row.piece) for row in put if row.piece] == [("C-1", "card")]
    assert spares(table) == {"C-1": 1}
    do(table, spoil_piece, 2, "card", order=3)
    mended = mend_batch(table.shop, 2, effort=Effort.QUICK, today=TODAY)
    assert [spare.label for spare in mended.spares] == ["C-1"]
    assert mended.layouts == ()
    assert spares(table) == {}
    assert has(table, 3) == (2, 0)
    sound(table)


def test_extra_pieces_keep_no_order_waiting(table: Table) -> None:
    table.card(4, size=BIG)
    plan = table.plan(3, spares=read_spare_rule(["100%"]))
    assert [order.made for order in plan.orders] == [True]
    assert any("No spare pieces are cut" in note for note in plan.notes)
    sound(table)


def test_spare_pieces_are_thrown_away_or_become_offcuts(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, cancel_order, 1)
    assert do(table, discard_spare_pieces, "c-1", 1) == 1
    stock = do(table, spare_to_offcut, "C-1", 1)
    assert spares(table) == {"C-1": 1}
    assert (stock.width, stock.height) == (cm(40), cm(40))
    undo_last(table)
    assert spares(table) == {"C-1": 2}
    pile = do(table, spare_to_offcut, "C-1", 2)
    assert table.on_hand()[pile.label] == 2
    undo_last(table)
    with pytest.raises(Refusal, match="there are 2 of C-1, not 3"):
        do(table, discard_spare_pieces, "C-1", 3)
    with pytest.raises(Refusal, match="no spare piece has the label 'C-9'"):
        do(table, discard_spare_pieces, "C-9")
    sound(table)


@pytest.mark.parametrize("wrong", ["5", "tier", "=1", "tier=x", "101%", "-5%", "tier=1.5", ""])
def test_a_rule_for_spare_pieces_that_cannot_be_read(wrong: str) -> None:
    with pytest.raises(Refusal, match="spare pieces"):
        read_spare_rule([wrong])


# --- days of cutting


def test_the_days_of_a_batch_are_cut_one_by_one(table: Table) -> None:
    with (
        table.shop.begin() as session,
        pytest.raises(Refusal, match=r"batch 1 is not split by days"),
    ):
        layouts_of_day(session, 1, 1)
    made = replan(table, 1, days=2).plan
    assert made is not None
    assert made.batch is not None
    assert sorted({layout.day for layout in made.layouts}) == [1, 2]
    # The second card is due first, and takes two sheets of five.
    words = cutting_words(made, DEFAULT_PACE)
    assert words[0].endswith("; finishes order 2 (Ines, due 2027-03-04)")
    assert words[1].endswith("; finishes order 1 (Ines, due 2027-03-08)")
    with table.shop.begin() as session:
        first = layouts_of_day(session, made.batch, 1)
        cut_batch(session, made.batch, layout=first)
        with pytest.raises(Refusal, match=r"nothing is left to cut on day 1"):
            layouts_of_day(session, made.batch, 1)
        with pytest.raises(Refusal, match=r"has no day 3; its days are 1 to 2"):
            layouts_of_day(session, made.batch, 3)
    with table.shop.read() as session:
        assert get_order(session, 2).status is OrderStatus.CUT
        assert get_order(session, 1).status is OrderStatus.PLANNED
    with table.shop.begin() as session:
        cut_batch(session, made.batch, layout=layouts_of_day(session, made.batch, 2))
    with table.shop.read() as session:
        assert get_order(session, 1).status is OrderStatus.CUT
    assert check_shop(table.shop).findings == ()


def test_what_an_order_costs_before_and_after_a_change(table: Table) -> None:
    with table.shop.rehearse() as session:
        before = read_order_estimate(session, 1, today=TODAY)
        change_order(session, 1, OrderChanges(copies=6), today=TODAY)
        after = read_order_estimate(session, 1, today=TODAY)
    # Each card takes a sheet of 3.00, and what is left over is worth something.
    assert 0 < before(None) < 9
    assert abs(after(None) - 2 * before(None)) <= Decimal("0.01")
    with table.shop.read() as session:
        assert get_order(session, 1).copies == 3
