"""Booking a plan: its batch and reservations, if the stash still has what it takes."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.plan import Plan, plan_to_json
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch
from inventory.orders.orders import get_order, set_status
from inventory.pieces.spare_pieces import take_spare_pieces
from inventory.stock.ledger import (
    book_transaction,
    on_hand,
    reverse_transaction,
    reversed_transactions,
)
from inventory.stock.lookup import find_stock
from inventory.stock.reservations import available, reserved_quantities
from nester.core.errors import Refusal

__all__ = [
    "StashChanged",
    "book_open_plan",
    "book_plan",
    "check_available",
    "check_reserved",
    "check_unchanged",
    "return_spares",
    "start_orders",
    "take_planned_spares",
]


def book_plan(
    session: Session, plan: Plan, status: BatchStatus, mends: Batch | None = None
) -> tuple[Batch, Plan]:
    """Add a batch for a plan; return it and the plan with its number.

    Parameters
    ----------
    mends
        The batch whose spoiled pieces it makes again.
    """
    batch = Batch(
        made_at=datetime.now(UTC),
        cuts=plan.cuts,
        effort=plan.effort,
        status=status,
        plan="",
        mends_id=mends.id if mends else None,
    )
    session.add(batch)
    batch.orders += [get_order(session, order.number) for order in plan.orders if order.made]
    session.flush()
    plan = replace(plan, batch=batch.id)
    batch.plan = plan_to_json(plan)
    session.flush()
    return batch, plan


def book_open_plan(session: Session, plan: Plan) -> Plan:
    """Book a plan as an open batch, with the spare pieces that it takes.

    Where spare pieces are all that its orders need, nothing is to be cut and there is no batch.
    """
    batch = None
    if plan.layouts:
        batch, plan = book_plan(session, plan, BatchStatus.OPEN)
    start_orders(session, plan, batch)
    return plan


def start_orders(session: Session, plan: Plan, batch: Batch | None) -> None:
    """Move the orders of a plan on to planned, and give them the spare pieces they take.

    An order for which nothing is left to cut is cut.

    Raises
    ------
    StashChanged
        If the spare pieces are no longer there.
    """
    take_planned_spares(session, plan, batch)
    waiting = {order for layout in plan.layouts for spot in layout.spots for order in spot.orders}
    for planned in plan.orders:
        if planned.made:
            order = get_order(session, planned.number)
            set_status(session, order, OrderStatus.PLANNED)
            if order.id not in waiting:
                set_status(session, order, OrderStatus.CUT)


def take_planned_spares(session: Session, plan: Plan, batch: Batch | None) -> Transaction | None:
    """Give the orders of a plan the spare pieces they take; return by which transaction.

    Raises
    ------
    StashChanged
        If the spare pieces are no longer there.
    """
    if not plan.spares:
        return None
    transaction = book_transaction(session, Reason.SPARE, batch=batch)
    for spare in plan.spares:
        try:
            take_spare_pieces(session, transaction, spare.label, spare.quantity, spare.order)
        except Refusal as why:
            raise StashChanged(f"{why}; plan again") from None
    return transaction


def return_spares(session: Session, number: int) -> None:
    """Put the spare pieces back that the orders of a batch had taken for it."""
    taken = select(Transaction).where(
        Transaction.batch_id == number,
        Transaction.reason == Reason.SPARE,
        Transaction.id.not_in(reversed_transactions()),
    )
    for transaction in session.scalars(taken).all():
        reverse_transaction(session, transaction)


class StashChanged(Refusal):
    """The stash no longer has what a plan takes."""


def check_unchanged(session: Session, plan: Plan, what: str) -> None:
    """Refuse if the stash no longer has what a plan takes, or an order is no longer confirmed.

    Parameters
    ----------
    what
        The first words of the refusal: what changed since when.
    """
    for planned in plan.orders:
        if planned.made and get_order(session, planned.number).status is not OrderStatus.CONFIRMED:
            now = get_order(session, planned.number).status
            raise StashChanged(
                f"order {planned.number} was changed since and is {now} now; plan again"
            )
    check_available(session, plan, what)


def check_available(session: Session, plan: Plan, what: str) -> None:
    """Refuse if the stash no longer has what the plan takes."""
    used = _usage_by_label(plan)
    free = available(session, *(find_stock(session, label) for label in used))
    changes = [
        f"it takes {number} of {label}, and {free[label]} are free now"
        for label, number in used.items()
        if free[label] < number
    ]
    if changes:
        raise StashChanged(f"{what}: {'; '.join(changes)}; plan again")


def check_reserved(session: Session, plan: Plan) -> None:
    """Refuse if open batches reserve more than is there of what an open plan takes."""
    reserved = reserved_quantities(session)
    for label in _usage_by_label(plan):
        there = on_hand(session, find_stock(session, label))
        if reserved[label] > there:
            raise Refusal(
                f"batch {plan.batch} would take {label} again, of which {there} are there and"
                f" {reserved[label]} are needed; plan it anew instead"
            )


def _usage_by_label(plan: Plan) -> Counter[str]:
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.sheet.label] += layout.copies
    return used
