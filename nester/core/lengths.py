"""Exact lengths, and how people write them.

Every length in Quirebox is a whole number of one *fine unit*, so that no rounding ever decides
whether a piece fits.  The fine unit is 1/24000 mm.  In it all of these are whole: 0.001 mm,
1/64 in, 1/100 in, and a third of each (a tier's blank is three panels wide, so 11½ in must
divide by three).  By definition one inch is 25.4 mm exactly (international yard and pound
agreement, 1959; ISO 31-1, annex A).
"""

from __future__ import annotations

import re
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from nester.core.errors import Refusal

__all__ = [
    "MAX_LENGTH",
    "UNITS_PER_INCH",
    "UNITS_PER_MM",
    "Length",
    "LengthError",
    "Unit",
    "area_m2",
    "cm",
    "format_amount",
    "format_area",
    "format_length",
    "format_size",
    "from_mm_number",
    "grams",
    "inch",
    "mm",
    "parse_length",
    "printable",
    "to_mm_number",
]

Length = int
"""A length in fine units (1/24000 mm)."""

UNITS_PER_MM = 24_000
UNITS_PER_INCH = 609_600
MAX_LENGTH: Length = 10_000 * UNITS_PER_MM
"""No sheet or piece is longer than this: 10 m."""


class LengthError(Refusal):
    """A length that can't be read or held exactly."""


class Unit(StrEnum):
    """A unit in which a shop writes its lengths."""

    MM = "mm"
    CM = "cm"
    IN = "in"

    @property
    def fine_units(self) -> int:
        """Fine units in one of this unit."""
        return {Unit.MM: UNITS_PER_MM, Unit.CM: 10 * UNITS_PER_MM, Unit.IN: UNITS_PER_INCH}[self]


_UNIT_WORDS = {
    "mm": Unit.MM,
    "cm": Unit.CM,
    "in": Unit.IN,
    "inch": Unit.IN,
    "inches": Unit.IN,
    '"': Unit.IN,
    "″": Unit.IN,
    "”": Unit.IN,
}
_VULGAR_FRACTIONS = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3",
    "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
        (?: (?P<whole>\d+) (?:\s*-\s*|\s+) (?P<num>\d+) \s*/\s* (?P<den>\d+)   # 7 1/16, 7-1/16
          | (?P<num2>\d+) \s*/\s* (?P<den2>\d+)                                # 1/16
          | (?P<decimal>\d+(?:[.,]\d*)?|[.,]\d+)                               # 18.5  18,5
        )
        \s*(?P<unit>\D*)""",
    re.VERBOSE,
)
_MAX_DIGITS = 40


def mm(value: int | str | Decimal | Fraction) -> Length:
    """Return an exact length from a number of millimetres.

    Parameters
    ----------
    value
        Millimetres; text is read as a decimal or a fraction.

    Raises
    ------
    MeasureError
        If the value is not a whole number of fine units.
    """
    return _to_fine_units(Fraction(value), Unit.MM)


def cm(value: int | str | Decimal | Fraction) -> Length:
    """Return an exact length from a number of centimetres (see `mm`)."""
    return _to_fine_units(Fraction(value), Unit.CM)


def inch(value: int | str | Decimal | Fraction) -> Length:
    """Return an exact length from a number of inches (see `mm`)."""
    return _to_fine_units(Fraction(value), Unit.IN)


def _to_fine_units(value: Fraction, unit: Unit) -> Length:
    units = value * unit.fine_units
    if units.denominator != 1:
        raise LengthError(
            f"{_decimal_or_fraction(value)} {unit} is finer than Quirebox measures;"
            f" give at most {'64ths or hundredths' if unit is Unit.IN else 'thousandths of a mm'}"
        )
    return units.numerator


def _decimal_or_fraction(value: Fraction) -> str:
    """Write a fraction as a decimal where that is exact and short, else as n/d."""
    decimal = f"{float(value):g}" if abs(value) < 10**9 else str(value)
    return decimal if Fraction(decimal) == value else str(value)


def parse_length(text: str, unit: Unit = Unit.MM) -> Length:
    """Read a length as a maker writes it.

    Takes decimals (``18.5``, ``18,5``), fractions (``7 1/16``, ``7-1/16``, ``7½``), each with or
    without a unit: ``54cm``, ``7 1/16 in``, ``12"``.

    Parameters
    ----------
    text
        What was written.
    unit
        The unit of a bare number.

    Returns
    -------
    Length
        More than zero and at most 10 m.

    Raises
    ------
    MeasureError
        One sentence: what is wrong and what would be right.
    """
    shown = printable(text)
    if not shown:
        raise LengthError("a size is missing")
    if len(shown) > _MAX_DIGITS:
        raise LengthError(f"'{shown[:20]}…' is too long to be a size")
    spaced = shown
    for sign, fraction in _VULGAR_FRACTIONS.items():
        spaced = spaced.replace(sign, f" {fraction} ")
    spaced = spaced.replace("⁄", "/").replace("−", "-").strip()
    match = _NUMBER.fullmatch(spaced)
    if match is None or not _ascii_digits(spaced):
        raise LengthError(f"'{shown}' is not a size; write it like 54cm, 18.5 or 7 1/16 in")
    word = match["unit"].strip().casefold()
    if word and word not in _UNIT_WORDS:
        raise LengthError(f"'{shown}' has an unknown unit '{word}'; use mm, cm or in")
    value = _number(match, shown)
    if match["sign"] == "-" or value <= 0:
        raise LengthError(f"'{shown}' must be more than zero")
    used = _UNIT_WORDS[word] if word else unit
    if value * used.fine_units > MAX_LENGTH:
        raise LengthError(f"'{shown}' is more than 10 m ({used} was taken as its unit)")
    return _to_fine_units(value, used)


def printable(text: str) -> str:
    """Return text in which every white space is one blank and each sign can be printed."""
    words = " ".join(text.split())
    if words.isprintable():
        return words
    return "".join(c if c.isprintable() else "�" for c in words)


def _ascii_digits(text: str) -> bool:
    return all(c.isascii() for c in text if c.isdigit())


def _number(match: re.Match[str], shown: str) -> Fraction:
    if match["decimal"] is not None:
        decimal = match["decimal"]
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", decimal):
            raise LengthError(
                f"'{shown}' can be read two ways; write it without a comma, with a point if needed"
            )
        return Fraction(decimal.replace(",", ".").rstrip("."))
    whole = int(match["whole"] or 0)
    numerator = int(match["num"] or match["num2"])
    denominator = int(match["den"] or match["den2"])
    if denominator == 0:
        raise LengthError(f"'{shown}' divides by zero")
    return whole + Fraction(numerator, denominator)


def format_length(length: Length, unit: Unit, *, with_unit: bool = True) -> str:
    """Write a length for a person, never rounded silently.

    Centimetres and millimetres are written as decimals, inches in lowest fractions down to
    1/64.  A length that the unit can't show exactly is rounded to 0.01 mm or 1/64 in and marked
    with a leading ``≈``.
    """
    negative = length < 0
    size = abs(length)
    if unit is Unit.IN:
        sixty_fourths, rest = divmod(size * 64, UNITS_PER_INCH)
        if 2 * rest >= UNITS_PER_INCH:
            sixty_fourths += 1
        text = _mixed_number(Fraction(sixty_fourths, 64))
    else:
        digits = 2 if unit is Unit.MM else 3
        step = unit.fine_units // 10**digits
        steps, rest = divmod(size, step)
        if 2 * rest >= step:
            steps += 1
        text = f"{steps // 10**digits}.{steps % 10**digits:0{digits}}".rstrip("0").rstrip(".")
    suffix = f" {unit}" if with_unit else ""
    return f"{'≈' if rest else ''}{'-' if negative else ''}{text}{suffix}"


def _mixed_number(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    if part == 0:
        return str(whole)
    return f"{whole} {part}" if whole else str(part)


def format_size(width: Length, height: Length, unit: Unit) -> str:
    """Write a size as ``width × height unit``."""
    wide = format_length(width, unit, with_unit=False)
    return f"{wide} × {format_length(height, unit)}"


def to_mm_number(length: Length) -> int | float:
    """Return millimetres as a JSON number from which `from_mm_number` gets the length back."""
    whole, rest = divmod(length, UNITS_PER_MM)
    return whole if rest == 0 else length / UNITS_PER_MM


def from_mm_number(value: float) -> Length:
    """Return the length that `to_mm_number` wrote."""
    return round(Fraction(value) * UNITS_PER_MM)


_IN2_PER_FT2 = 144


def area_m2(area: int) -> Fraction:
    """Return square metres from an area in square fine units."""
    return Fraction(area, (1000 * UNITS_PER_MM) ** 2)


def format_area(area: int, unit: Unit) -> str:
    """Write an area for a person, rounded: m², or cm² of a small one; with inches ft² and in²."""
    if unit is Unit.IN:
        inches = Fraction(area, inch(1) ** 2)
        if inches < _IN2_PER_FT2:
            return f"{float(inches):.0f} in²"
        return f"{float(inches / _IN2_PER_FT2):.1f} ft²"
    metres = area_m2(area)
    if metres < Fraction(1, 10):
        return f"{float(metres * 10_000):.0f} cm²"
    return f"{float(metres):.2f} m²"


def format_amount(amount: Fraction) -> str:
    """Write an amount for a person with three digits or more: 12.74, 0.213, 0.00213."""
    digits = 2
    while digits < 6 and 0 < abs(amount) * 10**digits < 100:
        digits += 1
    return f"{float(amount):,.{digits}f}"


def grams(area: int, grammage: int | Decimal | Fraction) -> Fraction:
    """Return the weight in grams of an area of paper.

    Parameters
    ----------
    area
        Square fine units.
    grammage
        g/m² (ISO 536: grammage is mass per unit area).
    """
    return area_m2(area) * Fraction(grammage)
