"""The tables of what goes into a box beside paper."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.core.text import LONGEST_NAME
from inventory.database.tables.base import TRANSACTION, Base, Named
from inventory.database.tables.enums import Measure
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.stock import Place

__all__ = ["Supply", "SupplyItem", "SupplyMovement"]


class Supply(Named, Base):
    """What goes into a box beside paper: ribbon, adhesive, eyelets.

    Attributes
    ----------
    unit
        Of `Measure.AMOUNT`: ``ml``, ``g``.
    """

    __tablename__ = "supply"

    id: Mapped[int] = mapped_column(primary_key=True)
    measure: Mapped[Measure]
    unit: Mapped[str] = mapped_column(String(20), default="")
    note: Mapped[str] = mapped_column(Text, default="")


class SupplyItem(Base):
    """One reel, or one pack or bottle, of a supply; how much of it is left is in its movements.

    Attributes
    ----------
    label
        ``R-1`` for a reel, ``P-1`` for the rest; never used again.
    price
        Of the whole item as it came, in the shop's currency.
    """

    __tablename__ = "supply_item"

    id: Mapped[int] = mapped_column(primary_key=True)
    supply_id: Mapped[int] = mapped_column(ForeignKey("supply.id"), index=True)
    label: Mapped[str] = mapped_column(String(20), unique=True)
    price: Mapped[Decimal | None]
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))
    lot: Mapped[str] = mapped_column(String(LONGEST_NAME), default="")

    supply: Mapped[Supply] = relationship()
    place: Mapped[Place | None] = relationship()


class SupplyMovement(Base):
    """One line of the supplies' ledger; the database itself refuses to change or delete it.

    Only `inventory.stock.ledger` writes these.

    Attributes
    ----------
    change
        In the smallest parts of the supply's `Measure`.
    """

    __tablename__ = "supply_movement"
    __table_args__ = (CheckConstraint("change <> 0", name="change"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("supply_item.id"), index=True)
    change: Mapped[int] = mapped_column(BigInteger)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)

    item: Mapped[SupplyItem] = relationship()
    transaction: Mapped[Transaction] = relationship()
