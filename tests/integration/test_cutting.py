"""A batch cut layout by layout, spoiled, mended, taken back, confirmed late, and its orders."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from inventory.changes.order_status import move_order
from inventory.changes.undo import last_transaction, list_transactions, undo_transaction
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.production import CuttingTime
from inventory.maintenance.check import check_shop
from inventory.orders.orders import get_order, order_board, status_changes
from inventory.production import mending
from inventory.production.booking import StashChanged
from inventory.production.cutting import PutAway, cut_batch, drop_batch
from inventory.production.mending import mend_batch
from inventory.production.pace import shop_pace
from inventory.production.planning import confirm_batch, replan_draft
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoil_layout, spoil_piece, spoiled_pieces
from inventory.stock.adjust import count_stock, set_stock_place, spoil_stock
from inventory.stock.listing import list_stash, stock_history
from inventory.stock.lookup import get_batch, plan_of
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort
from nester.cutting import DEFAULT_PACE, Pace
from tests.integration.conftest import TODAY, Hand, Table

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Two orders of big cards: each of their five pieces takes a sheet and leaves offcuts."""
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 9, price=Decimal(3))
    made.card(3, size=("20cm", "40cm"))
    made.card(2, size=("19cm", "40cm"), days=3)
    made.plan()
    return made


def do(table: Table, deed: Callable, *args, **others):
    with table.shop.begin() as session:
        return deed(session, *args, **others)


def left(table: Table, number: int = 1) -> dict[int, tuple[int, ...]]:
    with table.shop.read() as session:
        return {
            one.layout.number: one.copies
            for one in list_remaining(session, get_batch(session, number))
        }


def book(table: Table) -> tuple[object, ...]:
    """All that a deed may change."""
    statuses = tuple(table.status(number) for number in (1, 2))
    return table.on_hand(), table.reserved(), left(table), statuses, table.batch_status(1)


def plan(table: Table, number: int = 1) -> Plan:
    with table.shop.read() as session:
        return plan_of(get_batch(session, number))


def piles(kept: list[PutAway]) -> Counter[str]:
    """Count what came to each label."""
    counts: Counter[str] = Counter()
    for one in kept:
        counts[one.label] += one.quantity
    return counts


# --- cutting -----------------------------------------------------------------------------------


def test_a_batch_is_cut_sheet_by_sheet(table: Table) -> None:
    assert table.reserved() == {"S-1": 5}
    copies = sum(map(len, left(table).values()))
    assert copies == 5
    (first, *_) = left(table)
    kept = do(table, cut_batch, 1, layout=first, copies=1, place="Drawer 1")
    assert kept
    assert table.reserved() == {"S-1": 4}
    assert table.on_hand() == {"S-1": 8, **piles(kept)}
    assert table.batch_status(1) is BatchStatus.OPEN
    assert table.status(1) is OrderStatus.PLANNED
    more = do(table, cut_batch, 1)
    assert table.on_hand() == {"S-1": 4, **piles([*kept, *more])}
    assert table.reserved() == {}
    assert left(table) == {}
    assert [table.status(one) for one in (1, 2)] == [OrderStatus.CUT] * 2
    assert table.batch_status(1) is BatchStatus.CUT


@pytest.mark.parametrize(
    ("said", "there"),
    [
        ({}, "Cabinet / Drawer 2"),
        ({"place": ""}, None),
        ({"place": "Drawer 1"}, "Drawer 1"),
    ],
)
def test_where_offcuts_are_put(table: Table, said: dict[str, str], there: str | None) -> None:
    do(table, set_stock_place, "S-1", "Cabinet / Drawer 2")
    (layout, *_) = left(table)
    labels = {one.label for one in do(table, cut_batch, 1, layout=layout, **said)}
    with table.shop.read() as session:
        places = {row.place for row in list_stash(session) if row.label in labels}
    assert labels
    assert places == {there}


def test_an_order_is_cut_with_its_last_piece(table: Table) -> None:
    pieces = Counter(
        (layout.number, copy, order)
        for layout in plan(table).layouts
        for spot in layout.spots
        for copy, order in enumerate(spot.orders, start=1)
    )
    seen = []
    while left(table):
        number, copies = next(iter(left(table).items()))
        do(table, cut_batch, 1, layout=number, copies=1)
        seen.append((number, copies[0]))
        for order in (1, 2):
            whole = {(one, copy) for one, copy, its in pieces if its == order} <= set(seen)
            assert table.status(order) is (OrderStatus.CUT if whole else OrderStatus.PLANNED)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"layout": 9}, "has no layout 9; they are numbered from 1 to"),
        ({"layout": 0}, "has no layout 0"),
        ({"layout": 1, "copies": 99}, "layout 1 of batch 1 has . left to cut, not 99"),
        ({"layout": 1, "copies": 0}, "the number of copies must be 1"),
        ({"copies": 2}, "say of which layout"),
        ({"layout": 1, "place": "a\nb"}, "the place's name"),
    ],
)
def test_a_wrong_cut_changes_nothing(table: Table, wrong, said: str) -> None:
    before = book(table)
    with pytest.raises(Refusal, match=said):
        do(table, cut_batch, 1, **wrong)
    assert book(table) == before


def test_a_layout_is_not_cut_twice(table: Table) -> None:
    number = next(iter(left(table)))
    do(table, cut_batch, 1, layout=number)
    before = book(table)
    with pytest.raises(Refusal, match=f"layout {number} of batch 1 has no copy left to cut"):
        do(table, cut_batch, 1, layout=number)
    with pytest.raises(Refusal, match="a part of batch 1 is cut already"):
        do(table, drop_batch, 1)
    assert book(table) == before


# --- taking back -------------------------------------------------------------------------------


def test_cuts_are_taken_back_to_the_start(table: Table) -> None:
    states = [book(table)]
    while left(table):
        do(table, cut_batch, 1, layout=next(iter(left(table))), copies=1)
        states.append(book(table))
    for before in reversed(states[:-1]):
        with table.shop.begin() as session:
            undo_transaction(session, last_transaction(session, batch=1).id)
        on_hand, *others = book(table)
        assert (on_hand, *others) == before
    with pytest.raises(Refusal, match="there is nothing of batch 1 to undo"):
        do(table, last_transaction, batch=1)
    with table.shop.read() as session:
        changes = [row.change for row in stock_history(session, "S-1")]
        assert changes == [9, *[-1] * 5, *[1] * 5]
        rows = list_stash(session, kind="offcut", include_empty=True)
        assert {row.quantity for row in rows} == {0}
    do(table, drop_batch, 1)
    assert table.reserved() == {}


def newest(table: Table) -> str:
    return max((one for one in table.on_hand() if one[0] == "K"), key=lambda one: int(one[2:]))


def test_an_offcut_that_is_gone_keeps_its_cut(table: Table) -> None:
    label = do(table, cut_batch, 1)[-1].label
    do(table, spoil_stock, label, table.on_hand()[label])
    before = book(table)
    deed = do(table, last_transaction, batch=1).id
    with pytest.raises(Refusal, match=rf"offcut {label} is not in the stash any more"):
        do(table, undo_transaction, deed)
    assert book(table) == before


def test_what_is_reserved_is_not_taken_back(table: Table) -> None:
    do(table, cut_batch, 1, layout=1, copies=1)
    deed = do(table, last_transaction, batch=1).id
    do(table, count_stock, "S-1", 4)
    table.card(1, size=("4cm", "8cm"))
    number = table.plan().batch
    (label,) = table.reserved().keys() - {"S-1"}
    before = book(table)
    with pytest.raises(Refusal, match=f"{label} is reserved by a batch; drop that"):
        do(table, undo_transaction, deed)
    assert book(table) == before
    do(table, drop_batch, number)
    do(table, undo_transaction, deed)
    assert table.on_hand() == {"S-1": 5}


def test_an_assembled_order_keeps_its_cuts(table: Table) -> None:
    do(table, cut_batch, 1)
    for order in (1, 2):
        do(table, move_order, order, "assembled")
    with pytest.raises(Refusal, match=r"order [12] is assembled from it already"):
        do(table, undo_transaction, do(table, last_transaction).id)


def test_the_last_deed_of_a_batch_is_taken_back_first(table: Table) -> None:
    do(table, cut_batch, 1)
    first, last = (
        do(table, list_transactions, batch=1)[-1],
        do(table, list_transactions, batch=1)[0],
    )
    assert first.id < last.id
    with pytest.raises(Refusal, match=f"entry {last.id} of batch 1 was made after it"):
        do(table, undo_transaction, first.id)
    with pytest.raises(Refusal, match="there is no entry 99"):
        do(table, undo_transaction, 99)


# --- spoiling ----------------------------------------------------------------------------------


def mend(table: Table, number: int = 1) -> Plan:
    return mend_batch(table.shop, number, effort=Effort.QUICK, today=TODAY)


def test_a_spoiled_piece_is_made_again_from_an_offcut(table: Table) -> None:
    do(table, cut_batch, 1)
    big = table.offcut((cm(40), cm(41)), price=Decimal(50))
    do(table, spoil_piece, 1, "card", order=1, why="coffee")
    with pytest.raises(Refusal, match="order 1 lacks 1 spoiled piece that is not cut again"):
        do(table, move_order, 1, "assembled")
    again = mend(table)
    assert again.batch == 2
    assert [layout.sheet.label for layout in again.layouts] == [big]
    assert again.cost == Decimal(50)
    assert 0 < again.bound < 3  # a sheet would be cheaper, and the plan says so
    assert [one.number for one in again.orders if one.made] == [1]
    assert table.reserved() == {big: 1}
    with pytest.raises(Refusal, match="batch 1 has no missing piece for which nothing is planned"):
        mend(table)
    with pytest.raises(Refusal, match="its pieces are made again in batch 2; drop that"):
        do(table, undo_transaction, do(table, last_transaction, batch=1).id)
    with pytest.raises(Refusal, match="order 1 lacks 1 spoiled piece"):
        do(table, move_order, 1, "assembled")
    with table.shop.read() as session:
        assert [(row.order.id, row.missing) for row in order_board(session, TODAY)] == [
            (2, 0), (1, 1),
        ]  # fmt: skip
    do(table, cut_batch, 2)
    assert table.status(1) is OrderStatus.CUT
    assert do(table, move_order, 1, "assembled").status is OrderStatus.ASSEMBLED


def test_what_a_mending_batch_has_cut_is_missing_no_more(table: Table) -> None:
    def missing() -> dict[int, int]:
        with table.shop.read() as session:
            return {row.order.id: row.missing for row in order_board(session, TODAY)}

    do(table, cut_batch, 1)
    do(table, spoil_piece, 1, "card", 2, order=1)
    do(table, spoil_piece, 1, "card", order=2)
    assert missing() == {1: 2, 2: 1}
    assert mend(table).batch == 2
    steps: dict[tuple[int, int], Counter[int]] = {}
    for layout in plan(table, 2).layouts:
        for copy in range(layout.copies):
            steps[layout.number, copy] = Counter(spot.orders[copy] for spot in layout.spots)
    assert len(steps) == 3
    waiting = Counter({1: 2, 2: 1})
    for (layout, _), made in steps.items():
        assert table.batch_status(2) is BatchStatus.OPEN
        do(table, cut_batch, 2, layout=layout, copies=1)
        waiting.subtract(made)
        assert missing() == dict(waiting)
        for order in (1, 2):
            if waiting[order]:
                with pytest.raises(Refusal, match=f"order {order} lacks {waiting[order]} spoiled"):
                    do(table, move_order, order, "assembled")
    assert table.batch_status(2) is BatchStatus.CUT
    do(table, undo_transaction, do(table, last_transaction, batch=2).id)
    assert sum(missing().values()) == 1
    last = next(iter(left(table, 2)))
    do(table, spoil_layout, 2, last)  # lost anew, in the batch that mends
    assert sum(missing().values()) == 1
    done = next(order for order, lacks in missing().items() if not lacks)
    assert do(table, move_order, done, "assembled").status is OrderStatus.ASSEMBLED


def test_a_sheet_spoiled_in_cutting_leaves_pieces_to_mend(table: Table) -> None:
    number, copies = next(iter(left(table).items()))
    lost = do(table, spoil_layout, 1, number, "the knife slipped")
    assert lost == {"card": 1}
    assert table.on_hand()["S-1"] == 8
    assert table.reserved() == {"S-1": 4}
    with table.shop.read() as session:
        last = stock_history(session, "S-1")[-1]
        assert (last.change, last.reason, last.batch, last.note) == (
            -1, Reason.SPOILED, 1, "the knife slipped",
        )  # fmt: skip
    again = mend(table)
    assert sum(len(layout.spots) * layout.copies for layout in again.layouts) == 1
    assert table.reserved() == {"S-1": 5}
    do(table, drop_batch, again.batch)
    with table.shop.read() as session:
        (lost_one,) = spoiled_pieces(session, batch=1)
        assert (lost_one.quantity, lost_one.mended_id) == (1, None)
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session, batch=1).id)
        assert spoiled_pieces(session, batch=1) == []
    assert left(table)[number] == copies
    assert table.reserved() == {"S-1": 5}
    assert table.on_hand() == {"S-1": 9}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"piece": "lid"}, "has cut no piece 'lid'; cut are card"),
        ({"piece": "card"}, "orders 1, 2 each have a 'card'"),
        ({"piece": "card", "order": 1, "quantity": 4}, "has cut 3 of 'card' for order 1, not 4"),
        ({"piece": "card", "order": 9}, "has cut no piece 'card' for order 9"),
        ({"piece": "card", "order": 1, "quantity": 0}, "the number of pieces"),
    ],
)
def test_only_what_was_cut_is_spoiled(table: Table, wrong, said: str) -> None:
    with pytest.raises(Refusal, match="nothing of it is cut yet"):
        do(table, spoil_piece, 1, "card", order=1)
    do(table, cut_batch, 1)
    with pytest.raises(Refusal, match=said):
        do(table, spoil_piece, 1, **wrong)
    do(table, spoil_piece, 1, "CARD", 3, order=1)
    with pytest.raises(Refusal, match="has cut no piece 'card' for order 1"):
        do(table, spoil_piece, 1, "card", order=1)


def test_pieces_that_no_paper_holds_wait(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, count_stock, "S-1", 0)
    do(table, spoil_piece, 1, "card", order=2)
    again = mend(table)
    assert again.batch is None
    assert [(one.order, one.piece, one.quantity) for one in again.lacking] == [(2, "card", 1)]
    assert [one.quantity for one in again.restock] == [1]
    assert table.batches() == 1


# Whatever ends the search or the booking of a loss: nothing of it is stored, and doing it again
# books it once.


def stored(table: Table) -> tuple[int, int, dict[str, int], dict[str, int]]:
    with table.shop.read() as session:
        lost = sum(pieces.quantity for pieces in spoiled_pieces(session, batch=1, mended=True))
    return lost, table.batches(), table.on_hand(), table.reserved()


@pytest.mark.parametrize("what", ["piece", "layout"])
@pytest.mark.parametrize("where", ["solve_orders", "check_available", "book_plan"])
def test_a_loss_and_its_plan_are_one_deed(
    table: Table, monkeypatch: pytest.MonkeyPatch, what: str, where: str
) -> None:
    if what == "piece":
        do(table, cut_batch, 1)
        losing = partial(spoil_piece, number=1, piece="card", order=1)
    else:
        losing = partial(spoil_layout, number=1, layout=next(iter(left(table))))
    before = stored(table)

    def kill(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    def lose() -> Plan:
        return mend_batch(table.shop, 1, spoil=losing, effort=Effort.QUICK, today=TODAY)

    with monkeypatch.context() as patch:
        patch.setattr(f"inventory.production.mending.{where}", kill)
        with pytest.raises(KeyboardInterrupt):
            lose()
    assert stored(table) == before
    plan = lose()
    assert plan.batch == 2
    lost, batches, on_hand, reserved = stored(table)
    assert (lost, batches) == (1, 2)
    assert sum(on_hand.values()) == sum(before[2].values()) - (what == "layout")
    assert sum(reserved.values()) == sum(before[3].values()) + (what == "piece")
    assert check_shop(table.shop).findings == ()


def test_a_loss_is_refused_with_its_plan_if_the_stash_changed_meanwhile(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    do(table, cut_batch, 1)
    real = mending.solve_orders

    def solve_and_change(*given: Any, **others: Any) -> Any:
        found = real(*given, **others)
        do(table, count_stock, "S-1", 0)
        return found

    monkeypatch.setattr(mending, "solve_orders", solve_and_change)
    losing = partial(spoil_piece, number=1, piece="card", order=1)
    with pytest.raises(Refusal, match="the stash changed while the plan was made"):
        mend_batch(table.shop, 1, spoil=losing, effort=Effort.QUICK, today=TODAY)
    assert stored(table)[:2] == (0, 1)


def test_a_loss_that_no_paper_can_mend_is_stored(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, count_stock, "S-1", 0)
    losing = partial(spoil_piece, number=1, piece="card", order=2)
    plan = mend_batch(table.shop, 1, spoil=losing, effort=Effort.QUICK, today=TODAY)
    assert plan.batch is None
    assert stored(table)[:2] == (1, 1)


# --- orders ------------------------------------------------------------------------------------


def test_a_cancelled_order_frees_what_was_reserved_for_it(table: Table) -> None:
    do(table, move_order, 1, "cancelled")
    assert table.reserved() == {"S-1": 2}
    assert sum(map(len, left(table).values())) == 2
    do(table, cut_batch, 1)
    assert table.on_hand()["S-1"] == 7
    assert [table.status(one) for one in (1, 2)] == [OrderStatus.CANCELLED, OrderStatus.CUT]


def test_a_batch_nobody_waits_for_is_dropped(table: Table) -> None:
    do(table, move_order, 1, "cancelled")
    do(table, move_order, 2, "cancelled")
    assert table.reserved() == {}
    assert table.batch_status(1) is BatchStatus.DROPPED


def test_a_batch_of_which_the_rest_is_cancelled_is_cut(table: Table) -> None:
    while table.status(2) is OrderStatus.PLANNED:
        do(table, cut_batch, 1, layout=next(iter(left(table))), copies=1)
    do(table, move_order, 1, "cancelled")
    assert left(table) == {}
    assert table.batch_status(1) is BatchStatus.CUT


def test_batches_alone_move_orders_to_planned_and_cut(table: Table) -> None:
    for number, status in ((1, "cut"), (1, "planned"), (1, "confirmed")):
        with pytest.raises(Refusal, match="only its batch changes that"):
            do(table, move_order, number, status)


def test_an_order_tells_when_it_became_what(table: Table) -> None:
    do(table, cut_batch, 1)
    do(table, move_order, 1, "assembled")
    with table.shop.read() as session:
        steps = status_changes(session, get_order(session, 1))
    assert [step.status for step in steps] == ["confirmed", "planned", "cut", "assembled"]
    assert [step.at for step in steps] == sorted(step.at for step in steps)


# --- drafts ------------------------------------------------------------------------------------


@pytest.fixture
def draft(shop: ShopFile) -> Table:
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 9, price=Decimal(3))
    made.card(3, size=("20cm", "40cm"))
    made.card(2, size=("20cm", "40cm"))
    made.plan(draft=True)
    return made


def test_a_draft_reserves_nothing_until_it_is_confirmed(draft: Table) -> None:
    assert draft.batch_status(1) is BatchStatus.DRAFT
    assert draft.reserved() == {}
    assert draft.status(1) is OrderStatus.CONFIRMED
    with pytest.raises(Refusal, match="batch 1 is a draft and reserves nothing yet"):
        do(draft, cut_batch, 1)
    do(draft, confirm_batch, 1)
    assert draft.reserved() == {"S-1": 5}
    assert [draft.status(one) for one in (1, 2)] == [OrderStatus.PLANNED] * 2
    with pytest.raises(Refusal, match="batch 1 is open; only a draft can be confirmed"):
        do(draft, confirm_batch, 1)


def test_a_draft_says_what_changed(draft: Table) -> None:
    do(draft, spoil_stock, "S-1", 6)
    said = "since batch 1 was planned: it takes 5 of S-1, and 3 are free now; plan again"
    with pytest.raises(StashChanged, match=said):
        do(draft, confirm_batch, 1)
    assert draft.reserved() == {}
    do(draft, move_order, 2, "cancelled")
    with pytest.raises(StashChanged, match="order 2 was changed since and is cancelled now"):
        do(draft, confirm_batch, 1)
    do(draft, drop_batch, 1)
    assert draft.status(1) is OrderStatus.CONFIRMED


def test_two_drafts_cannot_reserve_the_same_sheet(draft: Table) -> None:
    do(draft, count_stock, "S-1", 5)
    draft.card(1, size=("20cm", "40cm"))
    assert draft.plan(3, draft=True).batch == 2
    do(draft, confirm_batch, 2)
    with pytest.raises(StashChanged, match="it takes 5 of S-1, and 4 are free"):
        do(draft, confirm_batch, 1)


def test_a_draft_planned_again_is_replaced_or_stays(
    draft: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    do(draft, spoil_stock, "S-1", 6)

    def crash(*_: object) -> None:
        raise RuntimeError("the power failed")

    # The last step of booking: the old draft is dropped and the new batch is added by then.
    with monkeypatch.context() as patch:
        patch.setattr("inventory.production.planning.book_open_plan", crash)
        with pytest.raises(RuntimeError, match="the power failed"):
            replan_draft(draft.shop, 1, today=TODAY)
    assert draft.batches() == 1
    assert draft.batch_status(1) is BatchStatus.DRAFT
    assert draft.reserved() == {}
    assert [draft.status(number) for number in (1, 2)] == [OrderStatus.CONFIRMED] * 2
    assert replan_draft(draft.shop, 1, today=TODAY).batch == 2
    assert [draft.batch_status(number) for number in (1, 2)] == [
        BatchStatus.DROPPED,
        BatchStatus.OPEN,
    ]
    assert draft.reserved() == {"S-1": 2}
    with pytest.raises(Refusal, match="batch 1 is dropped; only a draft can be confirmed"):
        replan_draft(draft.shop, 1, today=TODAY)


# --- at the desk -------------------------------------------------------------------------------


def test_the_week_at_the_desk(table: Table, hand: Hand) -> None:
    number = str(next(iter(left(table))))
    told = hand.does("batch", "cut", "1", "--layout", number, "--copies", "1")
    assert told.endswith("4 sheets of batch 1 left to cut\n")
    shown = hand.data("batch", "batch", "show", "1")
    assert shown["status"] == "open"
    assert sum(one["copies"] for one in shown["left"]) == 4
    assert "Left to cut" in hand.does("batch", "show", "1")
    assert hand.does("batch", "undo", "1").startswith("Undone: entry 2, cut, batch 1, layout")
    assert "Batch 1 is cut" in hand.does("batch", "cut", "1")
    told = hand.does("batch", "spoil", "1", "--piece", "card", "--order", "2", "--why", "coffee")
    assert "Recorded as spoiled: 1 × card" in told
    assert "Next: quirebox batch cut 2" in told
    assert [row["missing"] for row in hand.data("board", "order", "board")] == [1, 0]
    hand.does("batch", "drop", "2")
    assert hand.data("batch", "batch", "show", "1")["missing"] == [
        {"order": 2, "piece": "card", "quantity": 1}
    ]
    assert "Order 2 is missing 1 × card, spoiled" in hand.does("batch", "show", "1")
    hand.does("batch", "mend", "1")
    hand.does("batch", "cut", "3")
    hand.does("order", "move", "2", "assembled")
    steps = hand.data("order", "order", "show", "2")["steps"]
    assert [step["status"] for step in steps] == ["confirmed", "planned", "cut", "assembled"]
    assert "assembled" in hand.does("order", "board")
    (last, *_) = hand.data("deeds", "stash", "log")
    assert (last["reason"], last["batch"], last["layout"], last["copies"]) == ("cut", 3, 1, [1])
    assert "Entry" in hand.does("stash", "log")
    assert "say what was spoiled" in hand.refused("batch", "spoil", "1")


def test_drafts_at_the_desk(draft: Table, hand: Hand) -> None:
    hand.does("order", "add", "Bo", "folded-card", "--due", "2027-03-14", "--draft",
              "--paper", "all=Coal card")  # fmt: skip
    assert draft.status(3) is OrderStatus.DRAFT
    hand.does("order", "move", "3", "confirmed")
    assert "Nothing is reserved yet" in hand.does("batch", "plan", "3", "--draft")
    assert {one["status"] for one in hand.data("batches", "batch", "list")} == {"draft"}
    with draft.shop.begin() as session:
        spoil_stock(session, "S-1", 6)
    said = hand.refused("batch", "confirm", "1")
    assert "it takes 5 of S-1, and 3 are free now; plan again with 'quirebox batch confirm 1" in (
        " ".join(said.split())
    )
    assert hand.does("batch", "confirm", "1", "--again") == "Batch 3 is confirmed\n"
    assert draft.batch_status(1) is BatchStatus.DROPPED
    assert draft.reserved() == {"S-1": 2}


def test_a_draft_is_planned_again_without_what_was_cancelled(draft: Table, hand: Hand) -> None:
    hand.does("order", "move", "2", "cancelled")
    assert "order 2 was changed since" in hand.refused("batch", "confirm", "1")
    assert hand.does("batch", "confirm", "1", "--again") == "Batch 2 is confirmed\n"
    assert [draft.status(one) for one in (1, 2)] == [OrderStatus.PLANNED, OrderStatus.CANCELLED]
    draft.card(1)
    draft.plan(3, draft=True)
    hand.does("order", "move", "3", "cancelled")
    assert "order 3 was changed since" in hand.refused("batch", "confirm", "3", "--again")
    assert draft.batches() == 3


# --- the shop's pace ---------------------------------------------------------------------------


def pace(table: Table) -> Pace:
    with table.shop.read() as session:
        return shop_pace(session)


def test_reported_minutes_teach_the_pace(table: Table) -> None:
    assert pace(table) == DEFAULT_PACE
    made = plan(table)
    reckoned = sum(DEFAULT_PACE.minutes(made.as_layout(one)[0]) for one in made.layouts)
    do(table, cut_batch, 1, seconds=round(reckoned * 90))
    learned = pace(table)
    assert learned.reports == 1
    ratio = learned.per_cut / DEFAULT_PACE.per_cut
    weight = min(reckoned, Fraction(20)) / 30
    assert abs(ratio - (1 + weight / 2 / (1 + weight))) < Fraction(1, 100)
    assert learned.per_knife_metre == DEFAULT_PACE.per_knife_metre * ratio
    assert learned.minutes(made.as_layout(made.layouts[0])[0]) == ratio * DEFAULT_PACE.minutes(
        made.as_layout(made.layouts[0])[0]
    )


def test_a_deed_taken_back_takes_its_share_of_a_report_with_it(table: Table) -> None:
    do(table, cut_batch, 1, layout=1, copies=1, seconds=3600)
    assert pace(table).reports == 1
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
    assert pace(table) == DEFAULT_PACE


def test_shares_of_a_report_add_up_to_it(table: Table) -> None:
    do(table, cut_batch, 1, seconds=1001)
    with table.shop.read() as session:
        rows = session.scalars(select(CuttingTime)).all()
    assert len(rows) == len(plan(table).layouts)
    assert sum(row.seconds for row in rows) == 1001
    assert len({row.report_id for row in rows}) == 1
    assert check_shop(table.shop).faults == []
