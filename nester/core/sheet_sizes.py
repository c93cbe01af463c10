"""Sheet sizes by name, and the reading of sizes.

The A and B series are built by the rule of ISO 216: A0 has an area of 1 m², B0 is 1000 mm wide,
and each size is the one before it halved across its long side, rounded down to a whole
millimetre.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from nester.core.lengths import Length, LengthError, Unit, cm, inch, mm, parse_length, printable

__all__ = ["SHEET_SIZES", "Size", "parse_size"]


class Size(NamedTuple):
    """The width and height of a sheet or piece, in fine units."""

    width: Length
    height: Length


def _iso_series(letter: str, width: int, height: int) -> dict[str, Size]:
    sizes = {}
    for number in range(11):
        sizes[f"{letter}{number}"] = Size(mm(width), mm(height))
        width, height = height // 2, width
    return sizes


SHEET_SIZES: dict[str, Size] = {
    **_iso_series("A", 841, 1189),
    **_iso_series("B", 1000, 1414),
    "12x12in": Size(inch(12), inch(12)),
    "letter": Size(inch("8.5"), inch(11)),
    "legal": Size(inch("8.5"), inch(14)),
    "11x17in": Size(inch(11), inch(17)),
    "22x28in": Size(inch(22), inch(28)),
    "20x30in": Size(inch(20), inch(30)),
    "50x70cm": Size(cm(50), cm(70)),
    "70x100cm": Size(cm(70), cm(100)),
}
"""Sizes in common sale. A and B: ISO 216. Letter and legal: ANSI/ASME Y14.1 gives 8½ × 11 in
(size A) and 11 × 17 in (size B); the rest is common practice, no source."""

_BY_CASEFOLDED_NAME = {name.casefold(): size for name, size in SHEET_SIZES.items()}
_TIMES = re.compile(r"\s*[x×*]\s*", re.IGNORECASE)


def parse_size(text: str, unit: Unit = Unit.MM) -> Size:
    """Read ``50x70cm``, ``8 1/2 x 11 in``, ``18.5cm × 2in`` or a name such as ``A4``.

    A unit behind the second number also serves the first, if that has none.

    Raises
    ------
    MeasureError
        One sentence: what is wrong and what would be right.
    """
    shown = printable(text)
    named = _BY_CASEFOLDED_NAME.get(shown.casefold())
    if named is not None:
        return named
    parts = _TIMES.split(shown)
    if len(parts) != 2:
        raise LengthError(f"'{shown[:40]}' is not a size; write it like 50x70cm, 12 x 12 in or A4")
    own_unit = re.search(r"(?:[a-z]+|[\"″”])\s*$", parts[1], re.IGNORECASE)
    if own_unit and re.search(r"[\d½¼¾⅓⅔⅛⅜⅝⅞.]\s*$", parts[0]):
        parts[0] += own_unit.group()
    return Size(parse_length(parts[0], unit), parse_length(parts[1], unit))
