"""The tables of papers, of places, and of the sheets and offcuts on hand."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship, validates

from inventory.core.text import LONGEST_NAME, fold
from inventory.database.tables.base import Base, Named
from inventory.database.tables.enums import Grain, GrainAxis, Pattern, StockKind
from nester.core.problem import Margins

__all__ = ["Paper", "Place", "Stock", "Substitute"]


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
        # No two nothings are equal, so what stands nowhere needs a separate rule.
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


class Stock(Base):
    """Equal sheets, or equal offcuts; how many there are is in the ledger.

    Attributes
    ----------
    batch_id
        The batch that leaves these offcuts; None for offcuts that were added by themselves.
    number
        Of the kind of offcut in the plan of its batch; else counted up, of sheets and of offcuts.
    label
        What is written on it, never used again: ``S-1`` for sheets, ``K-1`` for offcuts, ``K4-1``
        for those of batch 4.
    width, height
        Fine units.
    price
        Of one, in the shop's currency; None if nobody gave it.
    lot
        What its maker printed on the pack: colours differ a little from lot to lot; empty for
        offcuts of several lots.
    parent
        What an offcut was cut from, of a pile the first one, if that is known.
    margin_left, margin_top, margin_right, margin_bottom
        How much along each edge can't be used, in fine units.
    grain
        How an offcut's grain ran when it came, if that was known; what was found out since is in
        `GrainFinding`.  Of sheets the paper says it.
    """

    __tablename__ = "stock"
    __table_args__ = (
        UniqueConstraint("kind", "batch_id", "number"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("kind = 'offcut' OR parent_id IS NULL", name="parent"),
        CheckConstraint("kind = 'offcut' OR batch_id IS NULL", name="batch"),
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
    batch_id: Mapped[int | None] = mapped_column(ForeignKey("batch.id"))
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
