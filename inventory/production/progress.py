"""How far a batch is: layouts left to cut, what is on the table."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.plan import Plan, PlannedLayout
from inventory.core.text import whole_number
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Batch
from inventory.database.tables.production import SpoiledPieces
from inventory.orders.orders import set_status
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.reservations import copies_done, copies_left, unwanted_orders
from nester.core.errors import Hint, Refusal

__all__ = ["RemainingCopies", "layouts_of_day", "list_batches", "list_remaining"]


def list_batches(session: Session) -> list[Batch]:
    """Return all batches, the newest first."""
    return list(session.scalars(select(Batch).order_by(Batch.id.desc())))


def get_open_batch(session: Session, number: int) -> Batch:
    """Return a batch that is being cut; refuse any other."""
    batch = get_batch(session, number)
    if batch.status is BatchStatus.DRAFT:
        raise Refusal(
            f"batch {number} is a draft and reserves nothing yet; only an open batch can be"
            " changed",
            Hint("confirm it", "batch confirm", (str(number),)),
        )
    if batch.status is not BatchStatus.OPEN:
        raise Refusal(f"batch {number} is {batch.status}; only an open batch can be changed")
    return batch


@dataclass(frozen=True)
class RemainingCopies:
    """Which copies of a layout are still to be cut, counted from 1."""

    layout: PlannedLayout
    copies: tuple[int, ...]


def list_remaining(
    session: Session, batch: Batch, plan: Plan | None = None
) -> list[RemainingCopies]:
    """Return the layouts of a batch that are still to be cut, in their order.

    Copies that serve only cancelled orders are left out.
    """
    if batch.status in (BatchStatus.CUT, BatchStatus.DROPPED):
        return []
    return remaining_layouts(session, batch, plan or plan_of(batch))


def remaining_layouts(session: Session, batch: Batch, plan: Plan) -> list[RemainingCopies]:
    """Return the layouts of which not all copies are cut, whatever the status of the batch."""
    done = copies_done(session, [batch.id])
    unwanted = unwanted_orders(session, [batch.id])
    remaining = (
        RemainingCopies(
            layout,
            tuple(
                copies_left(
                    layout.copies,
                    [spot.orders for spot in layout.spots],
                    done.get((batch.id, layout.number), set()).union(layout.dropped),
                    unwanted,
                )
            ),
        )
        for layout in plan.layouts
    )
    return [layout for layout in remaining if layout.copies]


def layouts_of_day(session: Session, number: int, day: int) -> list[int]:
    """Return the numbers of the layouts that are left to cut on a day of a batch.

    Raises
    ------
    Refusal
        If the batch is not open or not split by days, or nothing is left to cut on that day.
    """
    batch = get_open_batch(session, number)
    plan = plan_of(batch)
    days = max((layout.day for layout in plan.layouts), default=0)
    if not days:
        raise Refusal(
            f"batch {number} is not split by days",
            Hint("split it", "batch replan", (str(number), "--days", "3")),
        )
    if not 1 <= day <= days:
        raise Refusal(f"batch {number} has no day {day}; its days are 1 to {days}")
    rows = list_remaining(session, batch, plan)
    layouts = [row.layout.number for row in rows if row.layout.day == day]
    if not layouts:
        raise Refusal(f"nothing is left to cut on day {day} of batch {number}")
    return layouts


def update_batch_status(session: Session, batch: Batch, plan: Plan) -> None:
    """Set the status of a batch, and of its orders, by what is cut of it."""
    left = remaining_layouts(session, batch, plan)
    if left:
        batch.status = BatchStatus.OPEN
    else:
        done = any(copies_done(session, [batch.id]).values())
        batch.status = BatchStatus.CUT if done else BatchStatus.DROPPED
        if not done:
            detach_mended_pieces(session, batch.id)
    if batch.mends_id is None:
        waiting = {
            spot.orders[copy - 1]
            for remaining in left
            for copy in remaining.copies
            for spot in remaining.layout.spots
        }
        for order in batch.orders:
            if order.status is OrderStatus.PLANNED and order.id not in waiting:
                set_status(session, order, OrderStatus.CUT)
            elif order.status is OrderStatus.CUT and order.id in waiting:
                set_status(session, order, OrderStatus.PLANNED)
    session.flush()


def next_copies(
    number: int, plan: Plan, left: Iterable[RemainingCopies], layout: int, copies: int | None
) -> RemainingCopies:
    """Return the next copies of a layout to cut: that many, or all that are left if None."""
    if not 1 <= layout <= len(plan.layouts):
        raise Refusal(
            f"batch {number} has no layout {layout}; they are numbered from 1 to"
            f" {len(plan.layouts)}"
        )
    remaining = next((each for each in left if each.layout.number == layout), None)
    if remaining is None:
        raise Refusal(f"layout {layout} of batch {number} has no copy left to cut")
    if copies is None:
        return remaining
    whole_number(copies, "the number of copies", least=1)
    if copies > len(remaining.copies):
        raise Refusal(
            f"layout {layout} of batch {number} has {len(remaining.copies)} left to cut,"
            f" not {copies}"
        )
    return RemainingCopies(remaining.layout, remaining.copies[:copies])


def detach_mended_pieces(session: Session, number: int) -> None:
    """Say that the spoiled pieces which a batch was to make again are missing as before."""
    for pieces in session.scalars(select(SpoiledPieces).where(SpoiledPieces.mended_id == number)):
        pieces.mended_id = None
