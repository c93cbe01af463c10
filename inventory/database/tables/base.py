"""The tables of the shop's book.

Lengths are whole fine units (`nester.core.lengths`), money is a decimal kept as text, moments are
in UTC.  What the tables look like in a file is written down a second time, step by step, in
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
    func,
    select,
    text,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship, validates
from sqlalchemy.types import TypeDecorator, TypeEngine

from inventory.core.text import LONGEST_NAME, fold
from nester.core.lengths import Unit
from nester.core.problem import MIN_OFFCUT_SIDE, Cuts, Margins, Rect, Trimmer

if TYPE_CHECKING:
    from sqlalchemy.engine import Dialect

__all__ = [
    "MAKING_DAYS",
    "OFFCUT_WORTH",
    "QUOTE_DAYS",
    "Base",
    "Batch",
    "BatchOrder",
    "BatchStatus",
    "ConsumableUnit",
    "CustomDesign",
    "CuttingTime",
    "DamagedArea",
    "Delivery",
    "Effort",
    "Grain",
    "GrainAxis",
    "GrainFinding",
    "Measure",
    "Movement",
    "Order",
    "OrderStatus",
    "OrderStatusChange",
    "Paper",
    "Pattern",
    "Place",
    "Reason",
    "Shop",
    "SpoiledPieces",
    "Stock",
    "StockCount",
    "StockKind",
    "Substitute",
    "Transaction",
]

OFFCUT_WORTH = 50
"""Percent: an offcut counts in a plan's cost at half its share of the price of a sheet (common
practice, no source)."""
MAKING_DAYS = 2
"""How many days before an order is due its paper must be there (common practice, no source)."""

QUOTE_DAYS = 14
"""How long an offer is valid unless the shop says otherwise (common practice, no source)."""


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


class GrainAxis(StrEnum):
    """Along which of its own sides an offcut's fibres lie."""

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
    BRUISED = "bruised"
    """A part of it can't be used any more; a sheet becomes a labelled piece of its own by it."""
    GRAIN = "grain"
    """How an offcut's fibres lie was found out."""
    MOVED = "moved"
    """It lies in another place, or under another label, now."""
    USED = "used"
    """A supply went into what was made."""
    ORDERED = "ordered"
    """Paper was ordered from a supplier; nothing moves by it yet."""
    CLOSED = "closed"
    """What has not come of a purchase is not waited for any more."""
    UNDONE = "undone"
    """A counter-movement: it takes back the movement that it names."""


class OrderStatus(StrEnum):
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


class UtcDateTime(TypeDecorator[datetime]):
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


def _enum_column(kind: type[StrEnum], name: str) -> Enum:
    """Return a text column that holds the values of `kind` and nothing else.

    The constraint bears a name of its own, so that a class can be renamed without a migration.
    """
    return Enum(
        kind,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=20,
        values_callable=lambda members: [member.value for member in members],
    )


_COLUMN_TYPES: dict[Any, TypeEngine[Any]] = {
    Decimal: Money(),
    datetime: UtcDateTime(),
    dict[str, str]: JSON(),
    list[int]: JSON(none_as_null=True),
    **{
        kind: _enum_column(kind, name)
        for kind, name in {
            Pattern: "pattern",
            Grain: "grain",
            GrainAxis: "fibres",
            StockKind: "kind",
            Reason: "reason",
            OrderStatus: "status",
            BatchStatus: "batchstatus",
            Measure: "measure",
            ConsumableUnit: "per",
            Effort: "effort",
            Cuts: "cuts",
            Unit: "unit",
        }.items()
    },
}


def _next_number(context: Any) -> int:
    """Return the number after the last one; whoever writes has the book to himself.

    A server's own counter would leave a hole where a deed was refused half way.
    """
    numbers = context.compiled.statement.table.c.id
    return int(context.connection.scalar(select(func.coalesce(func.max(numbers), 0)))) + 1


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
    gap
        Least distance between two pieces, in fine units.
    longest_cut, smallest_strip, stages
        What the trimmer can do (see `nester.core.problem.Trimmer`).
    follow_grain
        Whether pieces that wish for a grain follow it, where it is known.
    making_days
        How many days before an order is due its paper must be there.
    """

    __tablename__ = "shop"
    __table_args__ = (
        CheckConstraint("id = 1", name="single"),
        CheckConstraint("smallest_offcut > 0", name="smallest_offcut"),
        CheckConstraint("offcut_worth BETWEEN 0 AND 100", name="offcut_worth"),
        CheckConstraint("gap >= 0", name="gap"),
        CheckConstraint("longest_cut > 0", name="longest_cut"),
        CheckConstraint("smallest_strip >= 0", name="smallest_strip"),
        CheckConstraint("stages > 0", name="stages"),
        CheckConstraint("making_days BETWEEN 0 AND 365", name="making_days"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, default=1)
    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    unit: Mapped[Unit]
    currency: Mapped[str] = mapped_column(String(3))
    smallest_offcut: Mapped[int] = mapped_column(BigInteger, default=MIN_OFFCUT_SIDE)
    offcut_worth: Mapped[int] = mapped_column(default=OFFCUT_WORTH)
    gap: Mapped[int] = mapped_column(BigInteger, default=0)
    longest_cut: Mapped[int | None] = mapped_column(BigInteger)
    smallest_strip: Mapped[int] = mapped_column(BigInteger, default=0)
    stages: Mapped[int | None]
    follow_grain: Mapped[bool] = mapped_column(default=True)
    making_days: Mapped[int] = mapped_column(default=MAKING_DAYS)

    @property
    def trimmer(self) -> Trimmer:
        """What its trimmer can do."""
        return Trimmer(self.longest_cut, self.smallest_strip, self.stages)


class Named:
    """A row with a name that no other has, however it is spelt (see `inventory.core.text.fold`)."""

    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    name_key: Mapped[str] = mapped_column(Text, unique=True)

    @validates("name")
    def _keep_key(self, _: str, name: str) -> str:
        self.name_key = fold(name)
        return name


class Paper(Named, Base):
    """A material.

    Attributes
    ----------
    swatch
        Its colour as ``#rrggbb``, if somebody gave it.
    grammage
        g/m².
    caliper
        Its thickness in fine units, measured or as its maker states it; None if nobody gave it.
    note
        How it behaves on the table: what cracks, what glue holds.
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
    note: Mapped[str] = mapped_column(Text, default="")


class Substitute(Base):
    """A paper that may stand in for another where that is allowed; the lowest rank first."""

    __tablename__ = "substitute"
    __table_args__ = (
        UniqueConstraint("paper_id", "rank"),
        CheckConstraint("rank > 0", name="rank"),
        CheckConstraint("paper_id <> instead_id", name="other"),
    )

    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), primary_key=True)
    instead_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), primary_key=True)
    rank: Mapped[int]


class Place(Base):
    """Where paper lies: a shelf, a drawer, a box; one may stand in another.

    No two have the same name in the same place, however it is spelt.
    """

    __tablename__ = "place"
    __table_args__ = (
        UniqueConstraint("parent_id", "name_key"),
        # No two nothings are equal, so what stands nowhere needs a rule of its own.
        Index(
            "ix_place_outermost",
            "name_key",
            unique=True,
            sqlite_where=text("parent_id IS NULL"),  # `inventory.server` says it to PostgreSQL
        ),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    name_key: Mapped[str] = mapped_column(Text)
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))

    parent: Mapped[Place | None] = relationship(remote_side="Place.id")

    @validates("name")
    def _keep_key(self, _: str, name: str) -> str:
        self.name_key = fold(name)
        return name


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
    lot
        What its maker printed on the pack: colours differ a little from lot to lot.
    parent
        What an offcut was cut from, if that is known.
    margin_left, margin_top, margin_right, margin_bottom
        How much along each edge can't be used, in fine units.
    grain
        How an offcut's fibres lay when it came, if that was known; what was found out since is in
        `GrainFinding`.  Of sheets the paper says it.
    """

    __tablename__ = "stock"
    __table_args__ = (
        UniqueConstraint("kind", "number"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("kind = 'offcut' OR parent_id IS NULL", name="parent"),
        CheckConstraint("kind = 'offcut' OR grain = 'unknown'", name="sheet_grain"),
        CheckConstraint(
            "margin_left >= 0 AND margin_top >= 0 AND margin_right >= 0 AND margin_bottom >= 0",
            name="margins",
        ),
        CheckConstraint(
            "margin_left + margin_right < width AND margin_top + margin_bottom < height",
            name="usable",
        ),
        Index(None, "paper_id", "width", "height"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[StockKind]
    number: Mapped[int]
    label: Mapped[str] = mapped_column(String(20), unique=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"))
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    price: Mapped[Decimal | None]
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))
    note: Mapped[str] = mapped_column(Text, default="")
    lot: Mapped[str] = mapped_column(String(LONGEST_NAME), default="")
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("stock.id"))
    margin_left: Mapped[int] = mapped_column(BigInteger, default=0)
    margin_top: Mapped[int] = mapped_column(BigInteger, default=0)
    margin_right: Mapped[int] = mapped_column(BigInteger, default=0)
    margin_bottom: Mapped[int] = mapped_column(BigInteger, default=0)
    grain: Mapped[GrainAxis] = mapped_column(default=GrainAxis.UNKNOWN)

    paper: Mapped[Paper] = relationship()
    place: Mapped[Place | None] = relationship()
    parent: Mapped[Stock | None] = relationship(remote_side="Stock.id")

    @property
    def margins(self) -> Margins:
        """How much along each edge can't be used."""
        return Margins(self.margin_left, self.margin_top, self.margin_right, self.margin_bottom)


class Transaction(Base):
    """One thing that was done at the table: all its movements are booked, or taken back, together.

    The database refuses to change or delete it; only `inventory.stock.ledger` writes these.

    Attributes
    ----------
    reason
        What was done; `Reason.UNDONE` takes back the deed that it names.
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

    id: Mapped[int] = mapped_column(primary_key=True, default=_next_number)
    reason: Mapped[Reason]
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text, default="")
    batch_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"), index=True)
    layout: Mapped[int | None]
    copies: Mapped[list[int] | None]
    delivery_id: Mapped[int | None] = mapped_column(ForeignKey("delivery.id"), index=True)
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey("deed.id"), unique=True)

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
    deed_id: Mapped[int | None] = mapped_column(ForeignKey("deed.id"), index=True)

    stock: Mapped[Stock] = relationship()
    batch: Mapped[Batch | None] = relationship()
    undoes: Mapped[Movement | None] = relationship(remote_side="Movement.id")
    deed: Mapped[Transaction | None] = relationship()


class DamagedArea(Base):
    """A rectangle of a labelled piece of paper from which nothing can be cut any more.

    It counts unless its deed was taken back; the database refuses to change or delete it.
    """

    __tablename__ = "bruise"
    __table_args__ = (
        CheckConstraint("x >= 0 AND y >= 0 AND width > 0 AND height > 0", name="size"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    deed_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), index=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    x: Mapped[int] = mapped_column(BigInteger)
    y: Mapped[int] = mapped_column(BigInteger)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)

    deed: Mapped[Transaction] = relationship()
    stock: Mapped[Stock] = relationship()

    @property
    def rect(self) -> Rect:
        """Where it is, from the left and top edge of the stock as it is entered."""
        return Rect(self.x, self.y, self.width, self.height)


class GrainFinding(Base):
    """How an offcut's fibres lie, as was found out; the last one counts that was not taken back.

    The database refuses to change or delete it.
    """

    __tablename__ = "grain_told"

    id: Mapped[int] = mapped_column(primary_key=True)
    deed_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), index=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    grain: Mapped[GrainAxis]

    deed: Mapped[Transaction] = relationship()
    stock: Mapped[Stock] = relationship()


class StockCount(Base):
    """What a count found, also where the book was right."""

    __tablename__ = "stock_count"
    __table_args__ = (CheckConstraint("found >= 0 AND booked >= 0", name="found"),)

    deed_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), primary_key=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), primary_key=True, index=True)
    found: Mapped[int]
    booked: Mapped[int]


class CuttingTime(Base):
    """How long it took to cut what a deed books, as the shop reports it.

    It counts unless its deed was taken back; the database refuses to change or delete it.

    Attributes
    ----------
    report_id
        The first deed of those that were reported together.
    seconds
        This deed's share of what was reported.
    reckoned
        Seconds that are reckoned for its cuts at the usual pace (`nester.cutting.duration`).
    """

    __tablename__ = "cutting_time"
    __table_args__ = (CheckConstraint("seconds >= 0 AND reckoned >= 0", name="times"),)

    deed_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), primary_key=True)
    report_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), index=True)
    seconds: Mapped[int]
    reckoned: Mapped[int]


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
    """

    __tablename__ = "orders"
    __table_args__ = (CheckConstraint("copies > 0", name="copies"),)

    id: Mapped[int] = mapped_column(primary_key=True, default=_next_number)
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

    id: Mapped[int] = mapped_column(primary_key=True, default=_next_number)
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
    deed_id: Mapped[int] = mapped_column(ForeignKey("deed.id"), index=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id"), index=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("orders.id"), index=True)
    part: Mapped[int]
    quantity: Mapped[int]
    mended_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"))

    order: Mapped[Order] = relationship()
