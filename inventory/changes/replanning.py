"""Planning anew what is not cut yet of open batches, together with a change that made it needed.

The search takes seconds and runs between two transactions: in the first one everything is done
and forgotten again, to read what there is to plan; in the second one it is done for good.  So the
change and the new plan are stored together or not at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from inventory.changes.paper_changes import outdated_papers
from inventory.changes.plan_changes import note_new_batch, release_batch
from inventory.core.text import format_count
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.orders.orders import get_order
from inventory.pieces.spare_rule import NO_SPARES, SpareRule
from inventory.production.booking import book_open_plan, check_available
from inventory.production.cutting_days import spread_over_days
from inventory.production.planning_data import (
    PlanningData,
    spare_notes,
    wanted_papers,
)
from inventory.production.progress import list_batches, list_remaining
from inventory.stock import ledger
from inventory.stock.condition import damaged_areas_by_stock
from inventory.stock.lookup import find_stock, get_batch, plan_of
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort, Rect
from nester.packing import Progress, Stop, never, purchase, solve_orders, usable_cores
from nester.verify import require_valid

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan, PlannedLayout
    from inventory.database.shop_file import ShopFile
    from inventory.database.tables.orders import Order
    from inventory.database.tables.stock import Stock

__all__ = ["Replanned", "broken_batches", "replan_batches"]


@dataclass(frozen=True)
class Replanned:
    """What planning anew came to.

    Attributes
    ----------
    released
        The batches whose rest was given up.
    plan
        The new plan; None if there was nothing to plan.
    transaction
        Its number in the history.
    """

    released: tuple[int, ...]
    plan: Plan | None
    transaction: int


@dataclass(frozen=True)
class _Rest:
    """What is to be planned, as one transaction found it."""

    released: tuple[int, ...]
    orders: list[Order]
    transaction: Transaction
    cuts: Cuts
    follow_grain: bool


def replan_batches(
    shop_file: ShopFile,
    batches: Sequence[int] | Callable[[Session], Sequence[int]],
    *,
    change: Callable[[Session], object] = lambda _: None,
    add: Sequence[int] = (),
    without: Sequence[int] = (),
    effort: Effort = Effort.NORMAL,
    spares: SpareRule = NO_SPARES,
    days: int = 1,
    today: date,
    why: str = "",
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Replanned:
    """Plan what is not cut of batches anew, from what is really there; what is cut stays.

    The rest of each batch is given up, and of batches that share an order with it.  Its orders,
    with others if wanted, are planned as one new batch; of each order only what it still needs,
    spare pieces first.  Orders that can't be made whole wait, confirmed.

    Parameters
    ----------
    batches
        Numbers of open batches; or what finds them once `change` is made.
    change
        Makes what calls for a new plan: an order is changed, paper is gone.  It is called twice,
        first for the search and then to be stored; what it books and the new plan are one entry of
        the history.
    add
        Further confirmed orders.
    without
        Orders that are left out; they are confirmed and wait.
    why
        A note for the history.
    effort, spares, days, processes, stop, on_progress
        As for `inventory.production.planning.plan_batch`.

    Raises
    ------
    Refusal
        If a batch is not open, an order can't be added or left out, `change` refuses, or the stash
        or the orders changed meanwhile; nothing is stored then.
    """
    chosen = partial(_release, batches=batches, add=add, without=without, why=why)
    processes = usable_cores() if processes is None else processes
    with shop_file.rehearse() as session:
        before = _orders_of_open_batches(session)
        rest = chosen(session, before, _made_by(session, change))
        needs = _needs(session, rest.orders)
        plan_from = partial(
            PlanningData,
            session,
            rest.orders,
            partial(wanted_papers, {}),
            follow_grain=rest.follow_grain,
            today=today,
        )
        data = plan_from(spares=spares)
        plain = data if spares == NO_SPARES else plan_from()
    plan = None
    if rest.orders:
        solving = partial(
            solve_orders, effort=effort, processes=processes, stop=stop, on_progress=on_progress
        )
        selection = solving(data.problem(rest.cuts), data.order_demands)
        short_of_spares = plain is not data and bool(selection.waiting)
        if short_of_spares:
            data = plain
            selection = solving(data.problem(rest.cuts), data.order_demands)
        require_valid(selection.problem, selection.cutting_plan)
        buy = partial(
            purchase, effort=effort, processes=processes, stop=stop, on_progress=on_progress
        )
        plan = data.plan(selection, effort, today, buy)
        plan = replace(plan, notes=(*plan.notes, *spare_notes(short=short_of_spares)))
        plan = spread_over_days(plan, days)
    with shop_file.begin() as session:
        before = _orders_of_open_batches(session)
        rest = chosen(session, before, _made_by(session, change))
        if _needs(session, rest.orders) != needs:
            raise Refusal("the orders changed while the plan was made; plan again")
        if plan is not None and any(order.made for order in plan.orders):
            check_available(session, plan, "the stash changed while the plan was made")
            plan = book_open_plan(session, plan)
            if plan.batch is not None:
                note_new_batch(session, plan.batch, rest.transaction)
        number = rest.transaction.id
    return Replanned(rest.released, plan, number)


def _made_by(session: Session, change: Callable[[Session], object]) -> Transaction | None:
    """Make a change and return the last transaction that it booked."""
    newest = select(func.coalesce(func.max(Transaction.id), 0))
    before = session.scalar(newest)
    change(session)
    after = session.scalar(newest)
    return None if after == before else session.get_one(Transaction, after)


def _orders_of_open_batches(session: Session) -> dict[int, list[int]]:
    """Return which orders are in which open batch."""
    return {
        batch.id: [order.id for order in batch.orders]
        for batch in list_batches(session)
        if batch.status is BatchStatus.OPEN
    }


def _release(
    session: Session,
    before: dict[int, list[int]],
    transaction: Transaction | None,
    *,
    batches: Sequence[int] | Callable[[Session], Sequence[int]],
    add: Sequence[int],
    without: Sequence[int],
    why: str,
) -> _Rest:
    """Give the rest of batches up and return what is to be planned."""
    numbers = list(dict.fromkeys(batches(session) if callable(batches) else batches))
    for number in numbers:
        status = get_batch(session, number).status
        if number not in before:
            raise Refusal(f"batch {number} is {status}; only an open batch can be planned anew")
    numbers = _with_shared_orders(numbers, before)
    # The change may have left nothing to cut of a batch.
    all_batches = [get_batch(session, number) for number in numbers]
    opened = [batch for batch in all_batches if batch.status is BatchStatus.OPEN]
    if transaction is None:
        transaction = ledger.book_transaction(
            session, Reason.REPLANNED, note=why, batch=opened[0] if opened else None
        )
    orders: dict[int, Order] = {}
    cuts, follow_grain = Cuts.STRAIGHT, False
    for batch in opened:
        plan = plan_of(batch)
        cuts = plan.cuts
        follow_grain = follow_grain or plan.follow_grain
        release_batch(session, batch, transaction)
    # The change may have taken an order out of its batch; it is planned again with the others.
    for number in sorted({order for batch in numbers for order in before[batch]}):
        orders[number] = get_order(session, number)
    for number in add:
        order = get_order(session, number)
        if order.status is not OrderStatus.CONFIRMED:
            raise Refusal(f"order {number} is {order.status}; only a confirmed order can be added")
        orders[number] = order
    for number in without:
        if number not in orders:
            raise Refusal(f"order {number} is in none of these batches")
    wanted = [
        order
        for number, order in orders.items()
        if order.status is OrderStatus.CONFIRMED and number not in without
    ]
    wanted.sort(key=lambda order: (order.due, order.id))
    return _Rest(tuple(batch.id for batch in opened), wanted, transaction, cuts, follow_grain)


def _with_shared_orders(numbers: Sequence[int], before: Mapping[int, Sequence[int]]) -> list[int]:
    """Return batches with the open ones that share an order with these; an order is planned whole.

    So it is where a batch makes spoiled pieces of an order again that is still being cut.
    """
    found = list(numbers)
    for number in found:
        found += [
            other
            for other, orders in before.items()
            if other not in found and not set(orders).isdisjoint(before[number])
        ]
    return found


def _needs(session: Session, orders: Sequence[Order]) -> dict[int, Counter[tuple[str, str]]]:
    """Count what orders need, to see whether it changed meanwhile."""
    needs = {}
    for order in orders:
        count: Counter[tuple[str, str]] = Counter()
        for piece, paper, quantity in wanted_papers({}, session, order):
            count[repr(piece), paper] += quantity
        needs[order.id] = count
    return needs


def broken_batches(session: Session) -> dict[int, str]:
    """Return the open batches that can't be cut as planned, and what each lacks in a sentence.

    Their sheets are no longer there, are damaged where a piece was to be cut, or their grain or
    pattern turned out to be another.
    """
    damaged = damaged_areas_by_stock(session)
    remaining = {
        batch.id: list_remaining(session, batch)
        for batch in list_batches(session)
        if batch.status is BatchStatus.OPEN
    }
    wanted: Counter[str] = Counter()
    stocks: dict[str, Stock] = {}
    for rows in remaining.values():
        for row in rows:
            label = row.layout.sheet.label
            wanted[label] += len(row.copies)
            stocks.setdefault(label, find_stock(session, label))
    there = {label: ledger.on_hand(session, stock) for label, stock in stocks.items()}
    found = {}
    for number, rows in sorted(remaining.items()):
        takes: Counter[str] = Counter()
        marred = set()
        for row in rows:
            label = row.layout.sheet.label
            takes[label] += len(row.copies)
            if _is_marred(row.layout, damaged.get(stocks[label].id, ())):
                marred.add(label)
        lacks = [
            f"{format_count(takes[label], 'sheet')} of {label}, of which {there[label]}"
            f" {'is' if there[label] == 1 else 'are'} there"
            for label in sorted(takes)
            if wanted[label] > there[label]
        ]
        lacks += [
            f"{label} whole, which is damaged" for label in sorted(marred) if there[label] > 0
        ]
        words = [f"Batch {number} needs {'; '.join(lacks)}"] if lacks else []
        if rows:
            words += outdated_papers(session, get_batch(session, number), only_cuts=True).values()
        if words:
            found[number] = ". ".join(words)
    return found


def _is_marred(layout: PlannedLayout, damaged: Sequence[Rect]) -> bool:
    """Whether a piece or an offcut was to be cut where the sheet is damaged now."""
    kept = [Rect(spot.x, spot.y, spot.width, spot.height) for spot in layout.spots]
    return any(
        area not in layout.sheet.bruises and area.overlaps(rect)
        for area in damaged
        for rect in (*kept, *layout.offcuts)
    )
