"""Changing the plans of open batches: what is not cut is given up, or is for nobody any more.

A change of a plan is part of a transaction and keeps the plan as it was, so that undoing the
transaction brings it back.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import func, or_, select

from inventory.changes.paper_changes import with_current_names
from inventory.core.plan import (
    NOBODY,
    PartType,
    Plan,
    PlannedLayout,
    PlannedPlacement,
    plan_from_json,
    plan_to_json,
)
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch
from inventory.database.tables.production import PlanChange, SparePieceMovement
from inventory.orders.orders import get_order, set_status
from inventory.pieces.order_needs import counted_losses, pieces_in_batches
from inventory.pieces.spare_pieces import (
    SpareRow,
    add_spare_pieces,
    return_spare_pieces,
    spare_quantities,
)
from inventory.production.booking import check_reserved
from inventory.production.cutting import drop_batch
from inventory.production.progress import list_remaining, update_batch_status
from inventory.stock.ledger import reversed_transactions
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.reservations import copies_done
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.orm import Session

    from inventory.database.tables.orders import Order

__all__ = [
    "check_plan_changes",
    "drop_new_batches",
    "give_up_pieces",
    "later_transaction",
    "note_new_batch",
    "release_batch",
    "restore_plans",
    "settle_losses",
]


def release_batch(session: Session, batch: Batch, transaction: Transaction) -> list[Order]:
    """Give up what is not cut of an open batch; only what was cut stands in its plan then.

    Returns
    -------
    list of Order
        The orders for which something was to be cut; they are confirmed now.

    Raises
    ------
    Refusal
        If the batch is not open.
    """
    if batch.status is not BatchStatus.OPEN:
        raise Refusal(f"batch {batch.id} is {batch.status}; only an open batch can be planned anew")
    plan = plan_of(batch)
    session.add(PlanChange(transaction_id=transaction.id, batch_id=batch.id, before=batch.plan))
    done = copies_done(session, [batch.id])
    cut = {layout.number: done.get((batch.id, layout.number), set()) for layout in plan.layouts}
    waiting = {
        order
        for layout in plan.layouts
        for spot in layout.spots
        for copy, order in enumerate(spot.orders, 1)
        if copy not in cut[layout.number]
    }
    orders = [get_order(session, number) for number in sorted(waiting - {NOBODY})]
    released = [order for order in orders if order.status is not OrderStatus.CANCELLED]
    settle_losses(session, released, transaction, batch)
    layouts = [
        _only_cut(layout, cut[layout.number]) for layout in plan.layouts if cut[layout.number]
    ]
    if layouts:
        _store(session, batch, _closed(plan, layouts))
        batch.status = BatchStatus.CUT
    else:
        batch.status = BatchStatus.DROPPED
    for order in released:
        if order.status in (OrderStatus.PLANNED, OrderStatus.CUT):
            set_status(session, order, OrderStatus.CONFIRMED)
    session.flush()
    return released


def _only_cut(layout: PlannedLayout, done: set[int]) -> PlannedLayout:
    """Return a layout whose copies are dropped that are not cut; they are for nobody any more."""
    spots = tuple(
        replace(
            spot,
            orders=tuple(
                order if copy in done else NOBODY for copy, order in enumerate(spot.orders, 1)
            ),
        )
        for spot in layout.spots
    )
    not_cut = (copy for copy in range(1, layout.copies + 1) if copy not in done)
    return replace(layout, spots=spots, dropped=tuple(not_cut))


def _owners(spots: Sequence[PlannedPlacement]) -> list[tuple[int, ...]]:
    """Return for whom the pieces of each copy are."""
    return list(zip(*(spot.orders for spot in spots), strict=True))


def _closed(plan: Plan, layouts: Sequence[PlannedLayout]) -> Plan:
    """Return a plan of the layouts that were cut; it proves nothing any more."""
    rest = plan.with_layouts(layouts)
    return replace(
        rest,
        lacking=(),
        restock=(),
        notes=(),
        bound=rest.cost - rest.kept,
        closed=True,
        is_proven=False,
    )


def _store(session: Session, batch: Batch, plan: Plan) -> None:
    """Keep a plan, without the orders of which nothing stands in it."""
    there = {order for layout in plan.layouts for spot in layout.spots for order in spot.orders}
    there |= {spare.order for spare in plan.spares}
    orders = tuple(order for order in plan.orders if order.number in there)
    plan = replace(plan, orders=orders)
    batch.plan = plan_to_json(plan)
    batch.orders = [get_order(session, order.number) for order in orders if order.made]
    session.flush()


def give_up_pieces(
    session: Session,
    order: Order,
    transaction: Transaction,
    surplus: Counter[PartType] | None = None,
    *,
    place: str | None = None,
) -> list[SpareRow]:
    """Take pieces away from an order: those that are cut become spare, others are not cut for it.

    Parameters
    ----------
    surplus
        Which pieces; all that it has or is to get, unless given.
    place
        Where they are put.

    Returns
    -------
    list of SpareRow
        What became spare.
    """
    known = pieces_in_batches(session, order)
    whole = known.cut + known.to_come
    surplus = Counter(whole if surplus is None else surplus)
    # What is still to come is given up before what is cut already.
    to_come = Counter({part: min(n, known.to_come[part]) for part, n in surplus.items()})
    cut = surplus - to_come
    losses: Counter[PartType] = Counter()
    for loss in counted_losses(session, [order.id]):
        part = plan_of(get_batch(session, loss.batch_id)).parts[loss.part]
        if cut[part] >= known.cut[part]:
            losses[part] += loss.quantity
            loss.waived_id = transaction.id
    from_spares = return_spare_pieces(session, transaction, order.id, cut)
    cut -= _count(from_spares)
    put = from_spares
    to_blank = cut + losses
    for batch in list(order.batches):
        if batch.status not in (BatchStatus.OPEN, BatchStatus.CUT):
            continue
        plan = plan_of(batch)
        done = copies_done(session, [batch.id])
        whole_batch = batch.status is BatchStatus.CUT and not any(done.values())
        changed = False
        layouts = []
        for layout in plan.layouts:
            is_done = done.get((batch.id, layout.number), set())
            if whole_batch:
                is_done = set(range(1, layout.copies + 1))
            spots = []
            for spot in layout.spots:
                part = plan.part_of(spot)
                orders = list(spot.orders)
                for copy, owner in enumerate(orders, 1):
                    rest = to_blank if copy in is_done else to_come
                    if owner == order.id and rest[part] > 0:
                        rest[part] -= 1
                        orders[copy - 1] = NOBODY
                spots.append(replace(spot, orders=tuple(orders)))
                changed = changed or tuple(orders) != spot.orders
            dropped = set(layout.dropped).union(
                copy
                for copy, (before, after) in enumerate(
                    zip(_owners(layout.spots), _owners(spots), strict=True), 1
                )
                if copy not in is_done and before != after and set(after) == {NOBODY}
            )
            layouts.append(replace(layout, spots=tuple(spots), dropped=tuple(sorted(dropped))))
        if changed:
            session.add(
                PlanChange(transaction_id=transaction.id, batch_id=batch.id, before=batch.plan)
            )
            _store(session, batch, replace(plan.with_layouts(layouts), is_proven=False))
            if batch.status is BatchStatus.OPEN:
                update_batch_status(session, batch, plan_of(batch))
    put += add_spare_pieces(session, transaction, cut.items(), place=place)
    return put


def _count(rows: Iterable[SpareRow]) -> Counter[PartType]:
    count: Counter[PartType] = Counter()
    for row in rows:
        count[PartType(row.paper, row.piece)] += row.quantity
    return count


def settle_losses(
    session: Session,
    orders: Iterable[Order],
    transaction: Transaction,
    released: Batch | None = None,
) -> None:
    """Say that spoiled pieces of orders are planned with the rest of these, not by themselves.

    Parameters
    ----------
    released
        The batch that was to make some of them again, if it is given up.
    """
    mending = None if released is None else released.id
    for loss in counted_losses(session, [order.id for order in orders]):
        if loss.mended_id in (None, mending):
            loss.settled_id = transaction.id
    session.flush()


def note_new_batch(session: Session, number: int, transaction: Transaction) -> None:
    """Keep that a batch was booked by a transaction, so that undoing this drops the batch."""
    session.add(PlanChange(transaction_id=transaction.id, batch_id=number, before=None))
    session.flush()


def later_transaction(session: Session, batch: int) -> int:
    """Return the newest transaction that did something to a batch, 0 if there is none.

    What was undone does not count, nor that the batch took spare pieces when it was booked.
    """
    changed = select(PlanChange.transaction_id).where(PlanChange.batch_id == batch)
    newest = session.scalar(
        select(func.max(Transaction.id)).where(
            or_(Transaction.batch_id == batch, Transaction.id.in_(changed)),
            Transaction.reason.not_in([Reason.UNDONE, Reason.SPARE]),
            Transaction.id.not_in(reversed_transactions()),
        )
    )
    return newest or 0


def check_plan_changes(session: Session, transaction: Transaction) -> None:
    """Refuse to undo a transaction if a batch that it changed or booked has gone on since.

    Raises
    ------
    Refusal
        It says what to undo first.
    """
    for change in _plan_changes(session, transaction):
        newest = later_transaction(session, change.batch_id)
        if newest > transaction.id:
            raise Refusal(
                f"entry {newest} of batch {change.batch_id} was made after it; undo that first"
            )
    for spare in session.scalars(
        select(SparePieceMovement).where(SparePieceMovement.transaction_id == transaction.id)
    ):
        if spare_quantities(session)[spare.spare_id] < spare.change:
            raise Refusal(f"spare pieces {spare.spare.label} that came of it were used since")


def drop_new_batches(session: Session, transaction: Transaction) -> None:
    """Drop the batches that a transaction booked; nothing is cut of them."""
    for change in reversed(_plan_changes(session, transaction)):
        batch = get_batch(session, change.batch_id)
        if change.before is None and batch.status is not BatchStatus.DROPPED:
            drop_batch(session, batch.id)


def restore_plans(session: Session, transaction: Transaction) -> None:
    """Bring the plans back that a transaction changed, after it was reversed.

    Raises
    ------
    Refusal
        If the stash no longer has what such a plan takes.
    """
    for change in reversed(_plan_changes(session, transaction)):
        if change.before is None:
            continue
        batch = get_batch(session, change.batch_id)
        is_draft = batch.status is BatchStatus.DRAFT
        plan = with_current_names(session, plan_from_json(change.before))
        batch.plan = plan_to_json(plan)
        batch.orders = [get_order(session, order.number) for order in plan.orders if order.made]
        if is_draft:
            continue
        batch.status = BatchStatus.OPEN
        session.flush()
        wanted = {
            spot.orders[copy - 1]
            for row in list_remaining(session, batch, plan)
            for copy in row.copies
            for spot in row.layout.spots
        }
        for order in batch.orders:
            if order.status is OrderStatus.CONFIRMED and order.id in wanted:
                mends = batch.mends_id is not None
                set_status(session, order, OrderStatus.CUT if mends else OrderStatus.PLANNED)
        update_batch_status(session, batch, plan)
        check_reserved(session, plan)


def _plan_changes(session: Session, transaction: Transaction) -> list[PlanChange]:
    query = select(PlanChange).where(PlanChange.transaction_id == transaction.id)
    return list(session.scalars(query.order_by(PlanChange.id)))
