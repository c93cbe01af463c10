"""The tables of the shop's book.

Lengths are whole fine units (`nester.measure`), money is a decimal kept as text, moments are in
UTC.  What the tables look like in a file is written down a second time, step by step, in
`migrations/`; a test holds the two together.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    DateTime,
    Enum,
    ForeignKey,
    Index,
    MetaData,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship, validates
from sqlalchemy.types import TypeDecorator, TypeEngine

from inventory.names import LONGEST_NAME, fold
from nester.layouts import SMALLEST_OFFCUT, Cuts
from nester.measure import Unit

if TYPE_CHECKING:
    from sqlalchemy.engine import Dialect

__all__ = [
    "OFFCUT_WORTH",
    "Base",
    "Batch",
    "BatchOrder",
    "BatchStatus",
    "Effort",
    "Grain",
    "Kind",
    "Movement",
    "Order",
    "OwnDesign",
    "Paper",
    "Pattern",
    "Place",
    "Reason",
    "Shop",
    "Status",
    "Stock",
]

OFFCUT_WORTH = 50
"""Percent: an offcut counts in a plan's cost at half its share of the price of a sheet (common
practice, no source)."""


class Pattern(StrEnum):
    """What is printed on a paper."""

    PLAIN = "plain"
    PATTERNED = "patterned"
    DIRECTIONAL = "directional"
    """The pattern has a top: a piece that must stand upright may not be turned."""


class Grain(StrEnum):
    """Along which side of its sheet a paper's fibres lie."""

    UNKNOWN = "unknown"
    LONG = "long"
    SHORT = "short"


class Kind(StrEnum):
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
    UNDONE = "undone"
    """A counter-movement: it takes back the movement that it names."""


class Status(StrEnum):
    """How far an order is."""

    DRAFT = "draft"
    CONFIRMED = "confirmed"
    PLANNED = "planned"
    CUT = "cut"
    ASSEMBLED = "assembled"
    DELIVERED = "delivered"
    CANCELLED = "cancelled"


class BatchStatus(StrEnum):
    """How far a batch is."""

    OPEN = "open"
    CUT = "cut"
    DROPPED = "dropped"


class Effort(StrEnum):
    """How long a plan is searched for."""

    QUICK = "quick"
    NORMAL = "normal"
    THOROUGH = "thorough"


class Money(TypeDecorator[Decimal]):
    """A decimal kept as text, so that no database rounds it; equal amounts are equal text."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Write the amount plainly, without zeros that say nothing."""
        if value is None:
            return None
        if not isinstance(value, Decimal) or not value.is_finite():
            raise TypeError(f"money is a finite Decimal, not {value!r}")
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        """Read it back."""
        return None if value is None else Decimal(value)


class Moment(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no time zone, so it is taken off and put back here."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn any aware moment into UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise TypeError(f"a moment needs a time zone: {value!r}")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Say that it is UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _one_of(kind: type[StrEnum]) -> Enum:
    """Return a text column that holds the values of `kind` and nothing else."""
    return Enum(
        kind,
        name=kind.__name__.lower(),
        native_enum=False,
        create_constraint=True,
        length=20,
        values_callable=lambda members: [member.value for member in members],
    )


_COLUMN_TYPES: dict[Any, TypeEngine[Any]] = {
    Decimal: Money(),
    datetime: Moment(),
    dict[str, str]: JSON(),
    **{
        kind: _one_of(kind)
        for kind in (Pattern, Grain, Kind, Reason, Status, BatchStatus, Effort, Cuts, Unit)
    },
}


class Base(DeclarativeBase):
    """What all tables share; every constraint has a name, so that a migration can change it."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = _COLUMN_TYPES


class Shop(Base):
    """The shop itself; there is one row.

    Attributes
    ----------
    unit
        The unit of a bare number, and the one in which lengths are shown.
    currency
        ISO 4217 code.
    smallest_offcut
        Short side of the smallest offcut worth keeping, in fine units.
    offcut_worth
        Percent of its share of a sheet's price at which an offcut counts in a plan.
    """

    __tablename__ = "shop"
    __table_args__ = (
        CheckConstraint("id = 1", name="single"),
        CheckConstraint("smallest_offcut > 0", name="smallest_offcut"),
        CheckConstraint("offcut_worth BETWEEN 0 AND 100", name="offcut_worth"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, default=1)
    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    unit: Mapped[Unit]
    currency: Mapped[str] = mapped_column(String(3))
    smallest_offcut: Mapped[int] = mapped_column(BigInteger, default=SMALLEST_OFFCUT)
    offcut_worth: Mapped[int] = mapped_column(default=OFFCUT_WORTH)


class _Named:
    """A row with a name that no other has, however it is spelt (see `inventory.names.fold`)."""

    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    name_key: Mapped[str] = mapped_column(Text, unique=True)

    @validates("name")
    def _keep_key(self, _: str, name: str) -> str:
        self.name_key = fold(name)
        return name


class Paper(_Named, Base):
    """A material.

    Attributes
    ----------
    swatch
        Its colour as ``#rrggbb``, if somebody gave it.
    grammage
        g/m².
    caliper
        Its thickness in fine units, measured or as its maker states it; None if nobody gave it.
    """

    __tablename__ = "paper"
    __table_args__ = (
        CheckConstraint("grammage > 0", name="grammage"),
        CheckConstraint("caliper > 0", name="caliper"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    colour: Mapped[str] = mapped_column(String(LONGEST_NAME))
    swatch: Mapped[str | None] = mapped_column(String(7))
    finish: Mapped[str] = mapped_column(String(LONGEST_NAME), default="")
    grammage: Mapped[int]
    pattern: Mapped[Pattern] = mapped_column(default=Pattern.PLAIN)
    grain: Mapped[Grain] = mapped_column(default=Grain.UNKNOWN)
    caliper: Mapped[int | None] = mapped_column(BigInteger)


class Place(_Named, Base):
    """Where paper lies: a shelf, a drawer, a box; one may stand in another."""

    __tablename__ = "place"

    id: Mapped[int] = mapped_column(primary_key=True)
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))

    parent: Mapped[Place | None] = relationship(remote_side="Place.id")


class Stock(Base):
    """Equal sheets, or one offcut; how many there are is in the ledger.

    Attributes
    ----------
    label
        What is written on it: ``S-1`` for sheets, ``K-1`` for an offcut; never used again.
    width, height
        Fine units.
    price
        Of one, in the shop's currency; None if nobody gave it.
    parent
        What an offcut was cut from, if that is known.
    """

    __tablename__ = "stock"
    __table_args__ = (
        UniqueConstraint("kind", "number"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("kind = 'offcut' OR parent_id IS NULL", name="parent"),
        Index(None, "paper_id", "width", "height"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[Kind]
    number: Mapped[int]
    label: Mapped[str] = mapped_column(String(20), unique=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"))
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    price: Mapped[Decimal | None]
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))
    note: Mapped[str] = mapped_column(Text, default="")
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("stock.id"))

    paper: Mapped[Paper] = relationship()
    place: Mapped[Place | None] = relationship()
    parent: Mapped[Stock | None] = relationship(remote_side="Stock.id")


class Movement(Base):
    """One line of the ledger; the database itself refuses to change or delete it.

    Only `inventory.ledger` writes these.
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

    stock: Mapped[Stock] = relationship()
    batch: Mapped[Batch | None] = relationship()
    undoes: Mapped[Movement | None] = relationship(remote_side="Movement.id")


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
    """

    __tablename__ = "orders"
    __table_args__ = (CheckConstraint("copies > 0", name="copies"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    customer: Mapped[str] = mapped_column(String(LONGEST_NAME))
    design: Mapped[str] = mapped_column(String(LONGEST_NAME))
    sizes: Mapped[dict[str, str]]
    unit: Mapped[Unit]
    papers: Mapped[dict[str, str]]
    copies: Mapped[int]
    due: Mapped[date] = mapped_column(index=True)
    status: Mapped[Status]
    made_at: Mapped[datetime]

    batches: Mapped[list[Batch]] = relationship(
        secondary="batch_order", back_populates="orders", order_by="Batch.id"
    )


class OwnDesign(_Named, Base):
    """A design of the maker's own.

    Attributes
    ----------
    text
        Its file as she wrote it (see `nester.designs.own`).
    """

    __tablename__ = "own_design"

    id: Mapped[int] = mapped_column(primary_key=True)
    text: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime]


class Batch(Base):
    """The orders that are cut together, and their plan (JSON text)."""

    __tablename__ = "batch"

    id: Mapped[int] = mapped_column(primary_key=True)
    made_at: Mapped[datetime]
    cuts: Mapped[Cuts]
    effort: Mapped[Effort]
    status: Mapped[BatchStatus] = mapped_column(default=BatchStatus.OPEN)
    plan: Mapped[str] = mapped_column(Text)

    orders: Mapped[list[Order]] = relationship(
        secondary="batch_order", back_populates="batches", order_by="Order.id"
    )


class BatchOrder(Base):
    """Which orders a batch is made of."""

    __tablename__ = "batch_order"

    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), primary_key=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), primary_key=True, index=True)
