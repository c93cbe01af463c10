"""The status of an order, moved by hand, and what that changes in its batches."""

from __future__ import annotations

from sqlalchemy.orm import Session

from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Order
from inventory.orders.orders import get_order, missing_pieces, set_status
from inventory.production.progress import update_batch_status
from inventory.stock.lookup import plan_of
from nester.core.errors import Hint, Refusal

__all__ = ["move_order"]


def move_order(session: Session, number: int, status: OrderStatus | str) -> Order:
    """Move an order along by hand; cancelling it frees what was reserved for it alone.

    Raises
    ------
    Refusal
        If it can't go there from where it is, only a batch may move it there, or it is to be
        assembled while pieces of it are missing.
    """
    order = get_order(session, number)
    by_batch = str(status).strip().casefold() in (OrderStatus.PLANNED, OrderStatus.CUT)
    wants_back = (
        order.status is OrderStatus.PLANNED and str(status).strip().casefold() != "cancelled"
    )
    if by_batch or wants_back:
        raise Refusal(
            f"order {number} is {order.status}; only its batch changes that, by being planned, cut"
            " or dropped, which also keeps the stash right",
            Hint("see the batches", "batch list"),
        )
    if str(status).strip().casefold() == OrderStatus.ASSEMBLED:
        missing = missing_pieces(session)[number]
        if missing:
            raise Refusal(
                f"order {number} lacks {missing} spoiled piece{'s' * (missing > 1)} that"
                f" {'are' if missing > 1 else 'is'} not cut again yet",
                Hint("plan missing pieces again", "batch mend"),
            )
    set_status(session, order, status)
    if order.status is OrderStatus.CANCELLED:
        for batch in order.batches:
            if batch.status is BatchStatus.OPEN:
                update_batch_status(session, batch, plan_of(batch))
    return order
