"""Booking a plan: its batch and reservations, if the stash still has what it takes."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from inventory.core.plan import Plan, plan_to_json
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Batch
from inventory.orders.orders import get_order, set_status
from inventory.stock.lookup import find_stock
from inventory.stock.reservations import available
from nester.core.errors import Refusal

__all__ = ["StashChanged", "book_plan", "check_available", "check_unchanged"]


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


def set_planned(session: Session, batch: Batch) -> None:
    """Move the orders of a batch on to planned."""
    for order in batch.orders:
        set_status(session, order, OrderStatus.PLANNED)


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


def _usage_by_label(plan: Plan) -> Counter[str]:
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.sheet.label] += layout.copies
    return used
