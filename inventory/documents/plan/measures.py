"""The measures of a plan's cuts, followed by the judge before they are printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nester.cutting import MEASURE_TOLERANCE, PrintedMeasures
from nester.verify import require_followable

if TYPE_CHECKING:
    from nester.core.lengths import Unit
    from nester.core.problem import Layout

__all__ = ["checked_measures"]


def checked_measures(layout: Layout, unit: Unit) -> PrintedMeasures:
    """Return a layout's measures.

    Raises
    ------
    InvalidPlanError
        If a piece would come out wrong: a fault of the program, before it costs paper.
    """
    measures = PrintedMeasures(layout, unit)
    require_followable(layout, list(map(measures.of, layout.cuts)), MEASURE_TOLERANCE)
    return measures
