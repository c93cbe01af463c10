"""The tables of what was cut, spoiled and spare, and of what changed plans and orders."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, CheckConstraint, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.core.text import LONGEST_NAME
from inventory.database.tables.base import TRANSACTION, Base, next_number
from inventory.database.tables.orders import Order
from inventory.database.tables.stock import Paper

__all__ = [
    "CuttingTime",
    "OrderChange",
    "PaperChange",
    "PlanChange",
    "SparePiece",
    "SparePieceMovement",
    "SpoiledPieces",
]


class CuttingTime(Base):
    """How long it took to cut what a transaction records, as the shop reports it.

    It counts unless its transaction was undone; the database refuses to change or delete it.

    Attributes
    ----------
    report_id
        The first transaction of those that were reported together.
    seconds
        This transaction's share of what was reported.
    estimated
        Estimated seconds for its cuts at the default pace (`nester.cutting.duration`).
    """

    __tablename__ = "cutting_time"
    __table_args__ = (CheckConstraint("seconds >= 0 AND reckoned >= 0", name="times"),)

    transaction_id: Mapped[int] = mapped_column(
        "deed_id", ForeignKey(TRANSACTION), primary_key=True
    )
    report_id: Mapped[int] = mapped_column(ForeignKey(TRANSACTION), index=True)
    seconds: Mapped[int]
    estimated: Mapped[int] = mapped_column("reckoned")


class SpoiledPieces(Base):
    """Equal pieces of an order that were spoiled and must be made again.

    Attributes
    ----------
    part
        Index into the parts of the plan of `batch_id`.
    mended_id
        The batch in which they are made again; None as long as none is planned.
    settled_id
        The transaction that put spare pieces in their place, or from which on they are planned
        with the rest of their order; it counts unless undone.
    waived_id
        The transaction by which their order needs no such pieces any more; it counts unless
        undone.
    """

    __tablename__ = "lost"
    __table_args__ = (CheckConstraint("quantity > 0", name="quantity"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), index=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    part: Mapped[int]
    quantity: Mapped[int]
    mended_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"))
    settled_id: Mapped[int | None] = mapped_column(ForeignKey(TRANSACTION))
    waived_id: Mapped[int | None] = mapped_column(ForeignKey(TRANSACTION))

    order: Mapped[Order] = relationship()


class SparePiece(Base):
    """A kind of cut piece that no order needs: pieces of one paper that lie in one place.

    Attributes
    ----------
    label
        What is written on it: ``C-1``.
    piece
        The piece (`nester.core.piece.Piece`) as JSON text; equal pieces have equal text.
    width, height
        Its cut size in fine units.
    """

    __tablename__ = "spare_piece"
    __table_args__ = (
        CheckConstraint("width > 0 AND height > 0", name="size"),
        UniqueConstraint("label"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, default=next_number)
    label: Mapped[str] = mapped_column(String(20))
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), index=True)
    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    piece: Mapped[str] = mapped_column(Text)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))

    paper: Mapped[Paper] = relationship()


class SparePieceMovement(Base):
    """How many spare pieces came or went; how many there are is the sum of what was not undone.

    The database refuses to change or delete it.

    Attributes
    ----------
    order_id
        The order that took them or gave them back; None if they were cut for nobody, or thrown
        away.
    """

    __tablename__ = "spare_piece_movement"
    __table_args__ = (CheckConstraint("change <> 0", name="change"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    spare_id: Mapped[int] = mapped_column(ForeignKey("spare_piece.id"), index=True)
    change: Mapped[int]
    order_id: Mapped[int | None] = mapped_column(ForeignKey("orders.id"), index=True)

    spare: Mapped[SparePiece] = relationship()


class PlanChange(Base):
    """That a transaction changed the plan of a batch, or booked the batch.

    The database refuses to change or delete it.

    Attributes
    ----------
    before
        The plan as it was; None if the transaction booked the batch.
    """

    __tablename__ = "plan_change"

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), index=True)
    before: Mapped[str | None] = mapped_column(Text)


class OrderChange(Base):
    """What a transaction changed of an order.

    The database refuses to change or delete it.

    Attributes
    ----------
    before, after
        The values changed, and the status, by column, as JSON holds them; `before` is None for a
        new order.
    by
        Who did it; empty if nobody says.
    """

    __tablename__ = "order_change"

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    after: Mapped[dict[str, Any]] = mapped_column(JSON)
    by: Mapped[str] = mapped_column(String(LONGEST_NAME))
    at: Mapped[datetime]


class PaperChange(Base):
    """What a transaction corrected of a paper.

    The database refuses to change or delete it.

    Attributes
    ----------
    before, after
        The values corrected, by column, as JSON holds them.
    by
        Who did it; empty if nobody says.
    """

    __tablename__ = "paper_change"

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), index=True)
    before: Mapped[dict[str, Any]] = mapped_column(JSON)
    after: Mapped[dict[str, Any]] = mapped_column(JSON)
    by: Mapped[str] = mapped_column(String(LONGEST_NAME))
    at: Mapped[datetime]
