"""The tables of what was cut: how long it took, and which pieces were spoiled."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.database.tables.base import TRANSACTION, Base
from inventory.database.tables.orders import Order

__all__ = ["CuttingTime", "SpoiledPieces"]


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

    order: Mapped[Order] = relationship()
