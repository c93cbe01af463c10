"""The inch, and how written fractions of it come out in millimetres."""

from fractions import Fraction

import pytest

from nester.core.lengths import UNITS_PER_INCH, UNITS_PER_MM, Unit, inch, parse_length, to_mm_number
from nester.core.sheet_sizes import SHEET_SIZES

# International yard and pound agreement of 1959; ISO 31-1, annex A: 1 in = 25.4 mm exactly.
MM_IN_AN_INCH = Fraction("25.4")

# Decimal equivalents as printed in tables of inch fractions (values from memory).
FRACTIONS_IN_MM = {
    "1/64": 0.396875,
    "1/32": 0.79375,
    "1/16": 1.5875,
    "1/8": 3.175,
    "1/4": 6.35,
    "3/8": 9.525,
    "1/2": 12.7,
    "63/64": 25.003125,
}


def test_an_inch():
    assert Fraction(UNITS_PER_INCH, UNITS_PER_MM) == MM_IN_AN_INCH


@pytest.mark.parametrize(("fraction", "millimetres"), FRACTIONS_IN_MM.items())
def test_fractions_of_an_inch(fraction, millimetres):
    assert to_mm_number(parse_length(fraction, Unit.IN)) == millimetres


def test_every_64th_of_an_inch_and_every_tenth_of_a_millimetre_is_whole():
    for number in range(1, 65):
        assert inch(Fraction(number, 64)) * 64 == number * UNITS_PER_INCH
    assert UNITS_PER_MM % 10 == 0


def test_common_inch_sheets():
    """Common practice, no source: sheets sold as 12 × 12, 22 × 28 and 20 × 30 in."""
    for width, height in ((12, 12), (22, 28), (20, 30)):
        size = SHEET_SIZES[f"{width}x{height}in"]
        assert size == (inch(width), inch(height))


def test_legal_paper():
    """8½ × 14 in (common practice, no source); in millimetres 215.9 × 355.6."""
    assert [to_mm_number(side) for side in SHEET_SIZES["legal"]] == [215.9, 355.6]


def test_an_upright_sheet_has_its_short_side_across():
    for name, size in SHEET_SIZES.items():
        assert size.width <= size.height, name
