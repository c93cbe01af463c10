"""What a column may hold that names a kind, a reason or a status; the values are stored."""

from __future__ import annotations

from enum import StrEnum

__all__ = [
    "NEXT_STATUSES",
    "BatchStatus",
    "ConsumableUnit",
    "Grain",
    "GrainAxis",
    "Measure",
    "OrderStatus",
    "Pattern",
    "Reason",
    "StockKind",
]


class Pattern(StrEnum):
    """What is printed on a paper."""

    PLAIN = "plain"
    PATTERNED = "patterned"
    DIRECTIONAL = "directional"
    """The pattern has a top: a piece that must stand upright may not be turned."""


class Grain(StrEnum):
    """Along which side of its sheet a paper's grain runs."""

    UNKNOWN = "unknown"
    LONG = "long"
    SHORT = "short"


class GrainAxis(StrEnum):
    """Along which of its sides an offcut's grain runs."""

    UNKNOWN = "unknown"
    WIDTH = "width"
    HEIGHT = "height"


class StockKind(StrEnum):
    """What a row of stock is."""

    SHEET = "sheet"
    OFFCUT = "offcut"


class Reason(StrEnum):
    """Why a quantity changed."""

    OPENING = "opening"
    """It was there when the book was begun."""
    RECEIVED = "received"
    CUT = "cut"
    KEPT = "kept"
    """An offcut was put away."""
    COUNTED = "counted"
    """A count found more or less than the book said."""
    SPOILED = "spoiled"
    DAMAGED = "bruised"
    """A part of it can't be used any more; a sheet becomes a piece with its own label by it."""
    GRAIN = "grain"
    """How an offcut's grain runs was found out."""
    MOVED = "moved"
    """It lies in another place, or under another label, now."""
    USED = "used"
    """A supply went into what was made."""
    ORDERED = "ordered"
    """Paper was ordered from a supplier; nothing moves by it yet."""
    CLOSED = "closed"
    """What has not come of a purchase is not waited for any more."""
    CHANGED = "changed"
    """An order was changed, cancelled, reopened, copied or split."""
    REPLANNED = "replanned"
    """What was not cut of a batch was planned anew."""
    SPARE = "spare"
    """Spare pieces were put aside or taken."""
    UNDONE = "undone"
    """A reversal of the movement that it names."""


class OrderStatus(StrEnum):
    """How far an order is."""

    DRAFT = "draft"
    CONFIRMED = "confirmed"
    PLANNED = "planned"
    CUT = "cut"
    ASSEMBLED = "assembled"
    DELIVERED = "delivered"
    CANCELLED = "cancelled"


NEXT_STATUSES: dict[OrderStatus, tuple[OrderStatus, ...]] = {
    OrderStatus.DRAFT: (OrderStatus.CONFIRMED, OrderStatus.CANCELLED),
    OrderStatus.CONFIRMED: (OrderStatus.PLANNED, OrderStatus.CUT, OrderStatus.CANCELLED),
    OrderStatus.PLANNED: (OrderStatus.CUT, OrderStatus.CONFIRMED, OrderStatus.CANCELLED),
    OrderStatus.CUT: (
        OrderStatus.ASSEMBLED,
        OrderStatus.PLANNED,
        OrderStatus.CONFIRMED,
        OrderStatus.CANCELLED,
    ),
    OrderStatus.ASSEMBLED: (OrderStatus.DELIVERED, OrderStatus.CANCELLED),
    OrderStatus.DELIVERED: (OrderStatus.ASSEMBLED,),
    OrderStatus.CANCELLED: (
        OrderStatus.DRAFT,
        OrderStatus.CONFIRMED,
        OrderStatus.PLANNED,
        OrderStatus.CUT,
        OrderStatus.ASSEMBLED,
    ),
}
"""Where an order may go: on, back when its batch is dropped, a cut is undone or it is changed, and
from cancelled to where it was.  By hand it goes fewer ways (`inventory.changes.order_status`)."""


class BatchStatus(StrEnum):
    """How far a batch is."""

    DRAFT = "draft"
    """Its plan is kept and reserves nothing until it is confirmed."""
    OPEN = "open"
    CUT = "cut"
    DROPPED = "dropped"


class Measure(StrEnum):
    """In what a supply is counted; the ledger keeps whole numbers of the smallest part."""

    REEL = "reel"
    """By length, reel by reel: fine units."""
    COUNT = "count"
    """By the piece."""
    AMOUNT = "amount"
    """By weight or volume: thousandths of its unit."""


class ConsumableUnit(StrEnum):
    """What a design counts a consumable in, and so what its price is for."""

    LENGTH = "length"
    """A metre."""
    AREA = "area"
    """A square metre."""
    COUNT = "count"
    """One of it."""
