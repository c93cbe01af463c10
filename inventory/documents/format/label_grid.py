"""Sheets of labels, as their maker's packet gives them: columns, rows, margins, gaps."""

from __future__ import annotations

import re

from inventory.documents.format.blocks import LabelGrid
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, Unit, parse_length, printable

__all__ = ["read_grid"]

_MOST = 40


def read_grid(grid: str, margins: str, gaps: str) -> LabelGrid:
    """Read ``3x8``, ``7mm,12mm`` and ``2.5mm,0``: columns and rows, side and top, across and down.

    Raises
    ------
    Refusal
        One sentence: what is wrong and what would be right.
    """
    match = re.fullmatch(r"\s*([0-9]{1,3})\s*[x×]\s*([0-9]{1,3})\s*", grid)
    if match is None or not all(1 <= int(part) <= _MOST for part in match.groups()):
        raise Refusal(
            f"the labels '{printable(grid)[:30]}': write how many labels stand side by side and"
            f" below one another, like 3x8; 1 to {_MOST} of each"
        )
    side, top = _pair(margins, "the label margins", "7mm,12mm")
    across, down = _pair(gaps, "the label gaps", "2.5mm,0mm")
    return LabelGrid(int(match[1]), int(match[2]), side, top, across, down)


def _pair(text: str, what: str, example: str) -> tuple[float, float]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2:
        shown = printable(text)[:30]
        raise Refusal(f"{what} '{shown}': write two lengths with a comma, like {example}")
    return _mm(parts[0]), _mm(parts[1])


def _mm(text: str) -> float:
    if re.fullmatch(r"0+([.]0+)?\s*(mm|cm|in)?", text):
        return 0.0
    return parse_length(text, Unit.MM) / UNITS_PER_MM
