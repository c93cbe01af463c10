"""Sheet sizes by name, and the reading of sizes.

The A and B series are built by the rule of ISO 216: A0 has an area of 1 m², B0 is 1000 mm wide,
and each size is the one before it halved across its long side, rounded down to a whole
millimetre.  So are the C series of ISO 269, for envelopes, and the untrimmed RA and SRA of ISO 217.
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


def _iso_series(letter: str, width: int, height: int, last: int = 10) -> dict[str, Size]:
    sizes = {}
    for number in range(last + 1):
        sizes[f"{letter}{number}"] = Size(mm(width), mm(height))
        width, height = height // 2, width
    return sizes


SHEET_SIZES: dict[str, Size] = {
    **_iso_series("A", 841, 1189),
    **_iso_series("B", 1000, 1414),
    **_iso_series("C", 917, 1297),
    "DL": Size(mm(110), mm(220)),
    **_iso_series("RA", 860, 1220, 4),
    **_iso_series("SRA", 900, 1280, 4),
    "12x12in": Size(inch(12), inch(12)),
    "letter": Size(inch("8.5"), inch(11)),
    "legal": Size(inch("8.5"), inch(14)),
    "11x17in": Size(inch(11), inch(17)),
    "tabloid": Size(inch(11), inch(17)),
    "ledger": Size(inch(11), inch(17)),
    "ANSI A": Size(inch("8.5"), inch(11)),
    "ANSI B": Size(inch(11), inch(17)),
    "ANSI C": Size(inch(17), inch(22)),
    "ANSI D": Size(inch(22), inch(34)),
    "ANSI E": Size(inch(34), inch(44)),
    "22x28in": Size(inch(22), inch(28)),
    "20x30in": Size(inch(20), inch(30)),
    "50x70cm": Size(cm(50), cm(70)),
    "70x100cm": Size(cm(70), cm(100)),
}
"""Sizes in common sale. A and B: ISO 216. C and DL: ISO 269. RA and SRA: ISO 217. ANSI A to E, of
which A is letter and B is tabloid or ledger: ANSI/ASME Y14.1. The rest is common
practice, no source."""

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
