"""The tables of the ledger: transactions, their movements, and what they found out."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship, validates

from inventory.core.text import LONGEST_NAME, fold
from inventory.database.tables.base import TRANSACTION, Base, next_number
from inventory.database.tables.enums import GrainAxis, Reason
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Stock
from nester.core.problem import Rect

__all__ = ["DamagedArea", "Delivery", "GrainFinding", "Movement", "StockCount", "Transaction"]


class Delivery(Base):
    """What a supplier brought under one delivery note; `number` is empty if there was none."""

    __tablename__ = "delivery"
    __table_args__ = (UniqueConstraint("supplier_key", "number_key"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    supplier: Mapped[str] = mapped_column(String(LONGEST_NAME))
    supplier_key: Mapped[str] = mapped_column(Text)
    number: Mapped[str] = mapped_column(String(LONGEST_NAME))
    number_key: Mapped[str] = mapped_column(Text)

    @validates("supplier", "number")
    def _keep_keys(self, field: str, written: str) -> str:
        setattr(self, f"{field}_key", fold(written))
        return written


class Transaction(Base):
    """One thing that was done at the table: all its movements are booked, or undone, together.

    The database refuses to change or delete it; only `inventory.stock.ledger` writes these.

    Attributes
    ----------
    reason
        What was done; `Reason.UNDONE` undoes the transaction that it names.
    at
        When it was done.
    layout, copies
        Of the batch's plan: which copies of which layout, counted from 1, were cut or spoiled.
    """

    __tablename__ = "deed"
    __table_args__ = (
        CheckConstraint("(reason = 'undone') = (undoes_id IS NOT NULL)", name="undoes"),
        CheckConstraint("layout IS NULL OR batch_id IS NOT NULL", name="layout"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, default=next_number)
    reason: Mapped[Reason]
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text, default="")
    batch_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"), index=True)
    layout: Mapped[int | None]
    copies: Mapped[list[int] | None]
    delivery_id: Mapped[int | None] = mapped_column(ForeignKey("delivery.id"), index=True)
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey(TRANSACTION), unique=True)

    batch: Mapped[Batch | None] = relationship()
    delivery: Mapped[Delivery | None] = relationship()


class Movement(Base):
    """One line of the ledger; the database itself refuses to change or delete it.

    Only `inventory.stock.ledger` writes these.
    """

    __tablename__ = "movement"
    __table_args__ = (
        CheckConstraint("change <> 0", name="change"),
        CheckConstraint("(reason = 'undone') = (undoes_id IS NOT NULL)", name="undoes"),
        Index(None, "stock_id", "change"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"))
    change: Mapped[int]
    reason: Mapped[Reason]
    at: Mapped[datetime] = mapped_column(index=True)
    batch_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"), index=True)
    note: Mapped[str] = mapped_column(Text, default="")
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey("movement.id"), unique=True)
    transaction_id: Mapped[int | None] = mapped_column(
        "deed_id", ForeignKey(TRANSACTION), index=True
    )

    stock: Mapped[Stock] = relationship()
    batch: Mapped[Batch | None] = relationship()
    undoes: Mapped[Movement | None] = relationship(remote_side="Movement.id")
    transaction: Mapped[Transaction | None] = relationship()


class DamagedArea(Base):
    """A rectangle of a labelled piece of paper from which nothing can be cut any more.

    It counts unless its transaction was undone; the database refuses to change or delete it.
    """

    __tablename__ = "bruise"
    __table_args__ = (
        CheckConstraint("x >= 0 AND y >= 0 AND width > 0 AND height > 0", name="size"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    x: Mapped[int] = mapped_column(BigInteger)
    y: Mapped[int] = mapped_column(BigInteger)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)

    transaction: Mapped[Transaction] = relationship()
    stock: Mapped[Stock] = relationship()

    @property
    def rect(self) -> Rect:
        """Where it is, from the left and top edge of the stock as it is entered."""
        return Rect(self.x, self.y, self.width, self.height)


class GrainFinding(Base):
    """How an offcut's grain runs, as was found out; the last one counts that was not undone.

    The database refuses to change or delete it.
    """

    __tablename__ = "grain_told"

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    grain: Mapped[GrainAxis]

    transaction: Mapped[Transaction] = relationship()
    stock: Mapped[Stock] = relationship()


class StockCount(Base):
    """What a count found, also where the book was right."""

    __tablename__ = "stock_count"
    __table_args__ = (CheckConstraint("found >= 0 AND booked >= 0", name="found"),)

    transaction_id: Mapped[int] = mapped_column(
        "deed_id", ForeignKey(TRANSACTION), primary_key=True
    )
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), primary_key=True, index=True)
    found: Mapped[int]
    booked: Mapped[int]
