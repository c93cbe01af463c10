"""Orders as lists for people and programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from inventory.changes.order_changes import order_changes
from inventory.documents.text.times import local_day
from inventory.orders.orders import (
    get_order,
    list_orders,
    order_board,
    order_pieces,
    status_changes,
)
from inventory.shop.settings import get_shop
from inventory.views.listing import Column, Listing
from inventory.views.production.changes import change_entry_words
from nester.core.errors import Hint
from nester.core.lengths import format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from sqlalchemy.orm import Session

    from inventory.database.tables.orders import Order, OrderStatusChange
    from inventory.database.tables.production import OrderChange
    from inventory.orders.orders import BoardRow
    from nester.core.lengths import Unit
    from nester.core.piece import Piece

__all__ = ["OrderView", "board_list", "order_as_json", "order_list", "order_view"]

_FINISHED = ("delivered", "cancelled")


def order_list(
    session: Session, today: date, *, status: Iterable[str] | None = None
) -> tuple[Listing[Order], list[Order]]:
    """Return all orders, or those of some statuses, earliest due first."""

    def due(order: Order) -> str:
        late = order.due < today and order.status not in _FINISHED
        return f"{order.due.isoformat()}{' late' if late else ''}"

    listing: Listing[Order] = Listing(
        title="Orders",
        columns=(
            Column("Order", "number", lambda order: order.id, right=True),
            Column("Due", cell=due),
            Column("For", "customer", lambda order: order.customer),
            Column("Copies", cell=lambda order: str(order.copies), right=True),
            Column("Design", "design", lambda order: order.design),
            Column(
                "Sizes",
                "sizes",
                lambda order: order.sizes,
                lambda order: ", ".join(f"{name}={size}" for name, size in order.sizes.items()),
            ),
            Column(key="papers", value=lambda order: order.papers),
            Column(key="copies", value=lambda order: order.copies),
            Column(key="due", value=lambda order: order.due.isoformat()),
            Column("Status", "status", lambda order: str(order.status)),
        ),
        empty="No orders.",
        hint=Hint("take one", "order add"),
    )
    return listing, list_orders(session, status=status)


def board_list(session: Session, today: date) -> tuple[Listing[BoardRow], list[BoardRow]]:
    """Return the orders that are not delivered, earliest due first."""
    listing: Listing[BoardRow] = Listing(
        title="Board",
        columns=(
            Column("Due", cell=_due_words, strong=lambda row: row.days_left < 0),
            Column("Order", "number", lambda row: row.order.id, right=True),
            Column("For", "customer", lambda row: row.order.customer),
            Column("What", cell=lambda row: f"{row.order.copies} × {row.order.design}"),
            Column(key="design", value=lambda row: row.order.design),
            Column(key="copies", value=lambda row: row.order.copies),
            Column(key="due", value=lambda row: row.order.due.isoformat()),
            Column(key="days", value=lambda row: row.days_left),
            Column(key="late", value=lambda row: row.days_left < 0),
            Column("Status", "status", lambda row: str(row.order.status)),
            Column("Batch", "batch", lambda row: row.batch, right=True),
            Column("Missing", "missing", lambda row: row.missing, right=True),
        ),
        empty="Nothing is to be done.",
        hint=Hint("take an order", "order add"),
    )
    return listing, order_board(session, today)


def _due_words(row: BoardRow) -> str:
    days = row.days_left
    when = f"late {-days} d" if days < 0 else f"in {days} d" if days else "today"
    return f"{row.order.due.isoformat()} {when}"


@dataclass(frozen=True)
class OrderView:
    """An order with every piece that it takes, and what became of it so far.

    Attributes
    ----------
    pieces
        Each of one copy, with its paper.
    entries
        What was changed of it.
    """

    order: Order
    pieces: list[tuple[Piece, str]]
    changes: list[OrderStatusChange]
    entries: list[OrderChange]
    unit: Unit

    @property
    def title(self) -> str:
        """What the order is, in a line."""
        order = self.order
        return (
            f"Order {order.id} for {order.customer}: {order.copies} × {order.design},"
            f" due {order.due.isoformat()}, {order.status}"
        )

    @property
    def history_words(self) -> list[str]:
        """When it came to each status, and what was changed of it."""
        steps = ", ".join(f"{change.status} {local_day(change.at)}" for change in self.changes)
        price = [f"{self.order.price} each was agreed"] if self.order.price is not None else []
        note = [self.order.note] if self.order.note else []
        return [steps, *price, *note, *map(change_entry_words, self.entries)]

    @property
    def piece_listing(self) -> Listing[tuple[Piece, str]]:
        """Describes its pieces, of all copies."""
        copies, unit = self.order.copies, self.unit
        return Listing(
            title="",
            columns=(
                Column("Amount", cell=lambda row: str(row[0].quantity * copies), right=True),
                Column("Piece", "name", lambda row: row[0].name),
                Column("Cut size", cell=lambda row: format_size(row[0].width, row[0].height, unit)),
                Column("Paper", "paper", lambda row: row[1]),
                Column(key="width", value=lambda row: to_mm_number(row[0].width)),
                Column(key="height", value=lambda row: to_mm_number(row[0].height)),
                Column(key="quantity", value=lambda row: row[0].quantity * copies),
            ),
            empty="It takes no pieces.",
        )


def order_view(session: Session, number: int) -> OrderView:
    """Return an order as it is shown.

    Raises
    ------
    Refusal
        If there is no such order, or its design can't be made any more.
    """
    order = get_order(session, number)
    pieces = list(order_pieces(session, order))
    steps = status_changes(session, order)
    return OrderView(order, pieces, steps, order_changes(session, number), get_shop(session).unit)


def order_as_json(view: OrderView) -> dict[str, Any]:
    """Return an order as plain data; lengths are numbers of millimetres."""
    order = view.order
    return {
        "number": order.id,
        "customer": order.customer,
        "design": order.design,
        "copies": order.copies,
        "due": order.due.isoformat(),
        "status": str(order.status),
        "steps": [
            {"status": str(change.status), "at": change.at.isoformat(timespec="seconds")}
            for change in view.changes
        ],
        "note": order.note,
        "price": None if order.price is None else str(order.price),
        "changes": [
            {
                "entry": entry.transaction_id,
                "at": entry.at.isoformat(timespec="seconds"),
                "by": entry.by,
                "before": entry.before,
                "after": entry.after,
            }
            for entry in view.entries
        ],
        "pieces": view.piece_listing.records(view.pieces),
    }
