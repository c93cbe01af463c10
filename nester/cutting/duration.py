"""How long the cutting takes, roughly."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from nester.core.lengths import UNITS_PER_MM
from nester.core.problem import UNLIMITED_TRIMMER

if TYPE_CHECKING:
    from nester.core.problem import Layout, Trimmer

__all__ = [
    "DEFAULT_PACE",
    "MINUTES_PER_CUT",
    "MINUTES_PER_KNIFE_METRE",
    "MINUTES_PER_TRIMMER_METRE",
    "Pace",
    "cutting_minutes",
]

MINUTES_PER_CUT = Fraction(1, 2)
"""To measure, mark and align one cut (common practice, no source)."""
MINUTES_PER_TRIMMER_METRE = Fraction(1, 5)
"""To draw a trimmer's blade along a metre of card (common practice, no source)."""
MINUTES_PER_KNIFE_METRE = Fraction(1)
"""To cut a metre of card along a steel rule, in two or three passes (common practice, no
source)."""


@dataclass(frozen=True)
class Pace:
    """How long a shop takes.

    Attributes
    ----------
    per_cut
        Minutes to align one cut.
    per_trimmer_metre, per_knife_metre
        Minutes to cut one metre from edge to edge, and with a knife.
    reports
        From how many reports of the shop's own it was learned; 0: it is the default.
    """

    per_cut: Fraction = MINUTES_PER_CUT
    per_trimmer_metre: Fraction = MINUTES_PER_TRIMMER_METRE
    per_knife_metre: Fraction = MINUTES_PER_KNIFE_METRE
    reports: int = 0

    def scaled(self, ratio: Fraction, reports: int) -> Pace:
        """Return the pace of a shop that takes `ratio` times as long."""
        return Pace(
            self.per_cut * ratio,
            self.per_trimmer_metre * ratio,
            self.per_knife_metre * ratio,
            reports,
        )

    def minutes(self, layout: Layout, trimmer: Trimmer = UNLIMITED_TRIMMER) -> Fraction:
        """Estimate the minutes for all copies of a layout; see `cutting_minutes`."""
        return cutting_minutes(
            layout,
            per_cut=self.per_cut,
            per_trimmer_metre=self.per_trimmer_metre,
            per_knife_metre=self.per_knife_metre,
            trimmer=trimmer,
        )


DEFAULT_PACE = Pace()


def cutting_minutes(
    layout: Layout,
    *,
    per_cut: Fraction = MINUTES_PER_CUT,
    per_trimmer_metre: Fraction = MINUTES_PER_TRIMMER_METRE,
    per_knife_metre: Fraction = MINUTES_PER_KNIFE_METRE,
    trimmer: Trimmer = UNLIMITED_TRIMMER,
) -> Fraction:
    """Estimate the minutes it takes to cut all copies of a layout, one sheet at a time.

    Parameters
    ----------
    layout
        With its cuts in order.
    per_cut
        Minutes to align one cut.
    per_trimmer_metre, per_knife_metre
        Minutes to cut one metre from edge to edge, and with a knife.
    trimmer
        What it can't cut is cut with a knife.
    """
    per_metre = {True: per_trimmer_metre, False: per_knife_metre}
    minutes = sum(
        (
            per_cut
            + per_metre[trimmer.can_make(cut)] * Fraction(cut.end - cut.start, 1000 * UNITS_PER_MM)
            for cut in layout.cuts
        ),
        Fraction(0),
    )
    return minutes * layout.copies
