"""The tables of orders, of the batches they are cut in, and of the maker's own designs."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import CheckConstraint, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.core.text import LONGEST_NAME
from inventory.database.tables.base import Base, Named, next_number
from inventory.database.tables.enums import BatchStatus, OrderStatus
from nester.core.lengths import Unit
from nester.core.problem import Cuts, Effort

__all__ = ["Batch", "BatchOrder", "CustomDesign", "Order", "OrderStatusChange"]


class Order(Base):
    """What one person wants, by when, in which papers.

    Attributes
    ----------
    sizes
        The design's settings as they were written.
    unit
        The unit of a bare number in `sizes`: the shop's when the order was taken.
    papers
        The name of a paper for each role that was given one.
    design_text
        The text of a design of the maker's own, as it was when the order was taken.
    note
        The maker's own words.
    price
        What was agreed for one copy, in the shop's currency; None if nothing was.
    """

    __tablename__ = "orders"
    __table_args__ = (CheckConstraint("copies > 0", name="copies"),)

    id: Mapped[int] = mapped_column(primary_key=True, default=next_number)
    customer: Mapped[str] = mapped_column(String(LONGEST_NAME))
    design: Mapped[str] = mapped_column(String(LONGEST_NAME))
    sizes: Mapped[dict[str, str]]
    unit: Mapped[Unit]
    papers: Mapped[dict[str, str]]
    copies: Mapped[int]
    due: Mapped[date] = mapped_column(index=True)
    status: Mapped[OrderStatus]
    made_at: Mapped[datetime]
    design_text: Mapped[str | None] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text, default="")
    price: Mapped[Decimal | None]

    batches: Mapped[list[Batch]] = relationship(
        secondary="batch_order", back_populates="orders", order_by="Batch.id"
    )


class OrderStatusChange(Base):
    """When an order became what; the last step is its status."""

    __tablename__ = "order_step"

    id: Mapped[int] = mapped_column(primary_key=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    status: Mapped[OrderStatus]
    at: Mapped[datetime]


class CustomDesign(Named, Base):
    """A design of the maker's own.

    Attributes
    ----------
    text
        Its file as she wrote it (see `nester.designs.custom.reader`).
    """

    __tablename__ = "own_design"

    id: Mapped[int] = mapped_column(primary_key=True)
    text: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime]


class Batch(Base):
    """The orders that are cut together, and their plan (JSON text).

    Attributes
    ----------
    mends_id
        The batch whose spoiled pieces are made again in this one.
    """

    __tablename__ = "batch"

    id: Mapped[int] = mapped_column(primary_key=True, default=next_number)
    made_at: Mapped[datetime]
    cuts: Mapped[Cuts]
    effort: Mapped[Effort]
    status: Mapped[BatchStatus] = mapped_column(default=BatchStatus.OPEN)
    plan: Mapped[str] = mapped_column(Text)
    mends_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"))

    orders: Mapped[list[Order]] = relationship(
        secondary="batch_order", back_populates="batches", order_by="Order.id"
    )


class BatchOrder(Base):
    """Which orders a batch is made of."""

    __tablename__ = "batch_order"

    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), primary_key=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), primary_key=True, index=True)
