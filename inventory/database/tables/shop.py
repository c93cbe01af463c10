"""The table of the shop itself."""

from __future__ import annotations

from sqlalchemy import BigInteger, CheckConstraint, String
from sqlalchemy.orm import Mapped, mapped_column

from inventory.core.text import LONGEST_NAME
from inventory.database.tables.base import Base
from nester.core.lengths import Unit
from nester.core.problem import MIN_OFFCUT_SIDE, Trimmer

__all__ = ["MAKING_DAYS", "OFFCUT_WORTH", "Shop"]


OFFCUT_WORTH = 50
"""Percent: an offcut counts in a plan's cost at half its share of the price of a sheet (common
practice, no source)."""


MAKING_DAYS = 2
"""How many days before an order is due its paper must be there (common practice, no source)."""


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
        How far apart two pieces are at least, across or down, in fine units.
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
