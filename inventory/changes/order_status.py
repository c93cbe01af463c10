"""The status of an order, moved by hand."""

from __future__ import annotations

from sqlalchemy.orm import Session

from inventory.changes.order_changes import cancel_order, reopen_order
from inventory.core.text import choice
from inventory.database.tables.enums import OrderStatus
from inventory.database.tables.orders import Order
from inventory.orders.orders import get_order, missing_pieces, set_status
from nester.core.errors import Hint, Refusal

__all__ = ["move_order"]


def move_order(session: Session, number: int, status: OrderStatus | str) -> Order:
    """Move an order along by hand.

    Cancelling is `inventory.changes.order_changes.cancel_order`, and back from cancelled or
    delivered is `reopen_order`.

    Raises
    ------
    Refusal
        If it can't go there from where it is, only a batch may move it there, or it is to be
        assembled while pieces of it are missing.
    """
    order = get_order(session, number)
    wanted = choice(OrderStatus, status, "the status")
    if wanted is OrderStatus.CANCELLED:
        return cancel_order(session, number).order
    by_batch = wanted in (OrderStatus.PLANNED, OrderStatus.CUT)
    if by_batch or order.status is OrderStatus.PLANNED:
        raise Refusal(
            f"order {number} is {order.status}; only its batch changes that, by being planned, cut"
            " or dropped, which also keeps the stash right",
            Hint("see the batches", "batch list"),
        )
    is_back = (order.status, wanted) in (
        (OrderStatus.CANCELLED, OrderStatus.CONFIRMED),
        (OrderStatus.DELIVERED, OrderStatus.ASSEMBLED),
    )
    if is_back:
        return reopen_order(session, number).order
    is_over = OrderStatus.CANCELLED in (order.status, wanted)
    if is_over or (wanted is OrderStatus.CONFIRMED and order.status is not OrderStatus.DRAFT):
        raise Refusal(f"order {number} is {order.status}, so it can't become {wanted}")
    if wanted is OrderStatus.ASSEMBLED:
        missing = missing_pieces(session)[number]
        if missing:
            raise Refusal(
                f"order {number} lacks {missing} spoiled piece{'s' * (missing > 1)} that"
                f" {'are' if missing > 1 else 'is'} not cut again yet",
                Hint("plan missing pieces again", "batch mend"),
            )
    return set_status(session, order, wanted)
