"""The tables of the rates by which the shop calculates costs and prices."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.database.tables.base import Base, Named
from inventory.database.tables.enums import ConsumableUnit
from inventory.database.tables.supplies import Supply

__all__ = [
    "QUOTE_DAYS",
    "AssemblyTime",
    "ConsumableRate",
    "CostRates",
    "PostageStep",
    "PrintPrice",
]

QUOTE_DAYS = 14
"""How long an offer is valid unless the shop says otherwise (common practice, no source)."""


class CostRates(Base):
    """The rates by which the shop calculates costs and prices; at most one row.

    Amounts are in the shop's currency; see `inventory.costs.costing.Rates` for what each is.

    Attributes
    ----------
    endings
        How a price may end, as they were written, with blanks between: ``.50 .95``.
    quote_days
        How long an offer is valid.
    """

    __tablename__ = "cost_rates"
    __table_args__ = (
        CheckConstraint("id = 1", name="single"),
        CheckConstraint("quote_days BETWEEN 1 AND 3650", name="quote_days"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, default=1)
    hour: Mapped[Decimal | None]
    piece_minutes: Mapped[Decimal | None]
    packaging: Mapped[Decimal] = mapped_column(default=Decimal(0))
    packaging_grams: Mapped[Decimal] = mapped_column(default=Decimal(0))
    wrapping: Mapped[Decimal] = mapped_column(default=Decimal(0))
    wrapping_grams: Mapped[Decimal] = mapped_column(default=Decimal(0))
    fee: Mapped[Decimal] = mapped_column(default=Decimal(0))
    fee_fixed: Mapped[Decimal] = mapped_column(default=Decimal(0))
    margin: Mapped[Decimal] = mapped_column(default=Decimal(0))
    print_area: Mapped[Decimal | None]
    endings: Mapped[str] = mapped_column(Text, default="")
    quote_days: Mapped[int] = mapped_column(default=QUOTE_DAYS)


class ConsumableRate(Named, Base):
    """What a consumable costs and weighs; its name is the one that designs give it.

    Attributes
    ----------
    supply_id
        The supply it is taken from, whose price as it was last paid counts.
    price
        Instead: of a metre, a square metre or one.
    spread
        How much of the supply a square metre takes, in the smallest parts of its `Measure`.
    grams
        Of a metre, a square metre or one.
    """

    __tablename__ = "consumable_rate"
    __table_args__ = (
        CheckConstraint("supply_id IS NULL OR price IS NULL", name="one_price"),
        CheckConstraint(
            "(spread IS NOT NULL) = (per = 'area' AND supply_id IS NOT NULL)", name="spread"
        ),
        CheckConstraint("spread > 0", name="some"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    per: Mapped[ConsumableUnit]
    supply_id: Mapped[int | None] = mapped_column(ForeignKey("supply.id"))
    price: Mapped[Decimal | None]
    spread: Mapped[int | None] = mapped_column(BigInteger)
    grams: Mapped[Decimal | None]

    supply: Mapped[Supply | None] = relationship()


class PrintPrice(Base):
    """What a print costs that fits into a size, in fine units."""

    __tablename__ = "print_price"
    __table_args__ = (
        UniqueConstraint("width", "height"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    price: Mapped[Decimal]


class AssemblyTime(Named, Base):
    """How many minutes it takes to assemble one box of a design; its name is the design's."""

    __tablename__ = "assembly_time"

    id: Mapped[int] = mapped_column(primary_key=True)
    minutes: Mapped[Decimal]


class PostageStep(Base):
    """What a parcel up to a weight costs to send."""

    __tablename__ = "postage_step"
    __table_args__ = (UniqueConstraint("grams"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    grams: Mapped[Decimal]
    price: Mapped[Decimal]
