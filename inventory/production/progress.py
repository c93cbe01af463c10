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
from inventory.stock.reservations import cancelled_orders, copies_done, copies_left
from nester.core.errors import Hint, Refusal

__all__ = ["RemainingCopies", "list_batches", "list_remaining"]


def list_batches(session: Session) -> list[Batch]:
    """Return all batches, the newest first."""
    return list(session.scalars(select(Batch).order_by(Batch.id.desc())))


def get_open_batch(session: Session, number: int) -> Batch:
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

    Copies that serve nothing but cancelled orders are not.
    """
    if batch.status in (BatchStatus.CUT, BatchStatus.DROPPED):
        return []
    return remaining_layouts(session, batch, plan or plan_of(batch))


def remaining_layouts(session: Session, batch: Batch, plan: Plan) -> list[RemainingCopies]:
    done = copies_done(session, [batch.id])
    cancelled = cancelled_orders(session, [batch.id])
    lefts = (
        RemainingCopies(
            layout,
            tuple(
                copies_left(
                    layout.copies,
                    [spot.orders for spot in layout.spots],
                    done.get((batch.id, layout.number), set()),
                    cancelled,
                )
            ),
        )
        for layout in plan.layouts
    )
    return [one for one in lefts if one.copies]


def update_batch_status(session: Session, batch: Batch, plan: Plan) -> None:
    """Let a batch and its orders follow what is cut of it."""
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
            for one in left
            for copy in one.copies
            for spot in one.layout.spots
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
    """Return the next copies of a layout that are to be cut."""
    if not 1 <= layout <= len(plan.layouts):
        raise Refusal(
            f"batch {number} has no layout {layout}; they are numbered from 1 to"
            f" {len(plan.layouts)}"
        )
    one = next((one for one in left if one.layout.number == layout), None)
    if one is None:
        raise Refusal(f"layout {layout} of batch {number} has no copy left to cut")
    if copies is None:
        return one
    whole_number(copies, "the number of copies", least=1)
    if copies > len(one.copies):
        raise Refusal(
            f"layout {layout} of batch {number} has {len(one.copies)} left to cut, not {copies}"
        )
    return RemainingCopies(one.layout, one.copies[:copies])


def detach_mended_pieces(session: Session, number: int) -> None:
    for lost in session.scalars(select(SpoiledPieces).where(SpoiledPieces.mended_id == number)):
        lost.mended_id = None
