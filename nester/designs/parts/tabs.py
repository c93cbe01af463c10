"""Glue tabs with slanted ends, as they stand on one edge of a piece."""

from __future__ import annotations

from nester.core.lengths import Length
from nester.core.piece import Point

__all__ = ["right_tab"]


def right_tab(
    fold: Length, top: Length, bottom: Length, width: Length, slant: Length
) -> tuple[Point, ...]:
    """Return a tab on the right of an upright fold, from the fold's upper end clockwise.

    Parameters
    ----------
    fold
        The x of the fold.
    top, bottom
        The y of its two ends.
    width
        How far the tab reaches beyond the fold.
    slant
        How much shorter the tab is at each end of its free side; the slant keeps it clear of
        the neighbouring folds.
    """
    return (
        Point(fold, top),
        Point(fold + width, top + slant),
        Point(fold + width, bottom - slant),
        Point(fold, bottom),
    )
