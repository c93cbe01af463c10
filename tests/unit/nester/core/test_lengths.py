from decimal import Decimal
from fractions import Fraction

import pytest

from nester.core.lengths import (
    MAX_LENGTH,
    UNITS_PER_INCH,
    UNITS_PER_MM,
    LengthError,
    Unit,
    area_m2,
    cm,
    format_area,
    format_length,
    format_size,
    from_mm_number,
    grams,
    inch,
    mm,
    parse_length,
    to_mm_number,
)


@pytest.mark.parametrize("part", ["0.1", "0.01", "0.001", "1/3"])
def test_parts_of_a_millimetre_are_whole(part):
    assert mm(part) == Fraction(part) * UNITS_PER_MM


@pytest.mark.parametrize("part", ["1/64", "1/192", "1/100", "1/300"])
def test_parts_of_an_inch_are_whole(part):
    assert inch(part) == Fraction(part) * UNITS_PER_INCH


def test_units_agree():
    assert cm(1) == mm(10)
    assert inch(5) == mm(127)
    assert mm(Decimal("25.4")) == inch(1) == UNITS_PER_INCH


@pytest.mark.parametrize(
    ("text", "unit", "length"),
    [
        ("54cm", Unit.MM, mm(540)),
        ("54 CM", Unit.IN, mm(540)),
        ("18.5", Unit.CM, mm(185)),
        ("18,5", Unit.CM, mm(185)),
        (".5", Unit.MM, mm("0.5")),
        ("5.", Unit.MM, mm(5)),
        ("+5", Unit.MM, mm(5)),
        ("7 1/16in", Unit.MM, inch("113/16")),
        ("7-1/16 in", Unit.MM, inch("113/16")),
        ("7 - 1/16 inches", Unit.MM, inch("113/16")),
        ("7½", Unit.IN, inch("7.5")),
        ("7 ½ inch", Unit.MM, inch("7.5")),
        ("½″", Unit.MM, inch("1/2")),
        ('12"', Unit.MM, inch(12)),
        ("1⁄64 in", Unit.MM, inch("1/64")),
        ("8\u00a0cm", Unit.MM, mm(80)),
        ("\t8\u202fcm ", Unit.MM, mm(80)),
        ("0,500", Unit.MM, mm("0.5")),
        ("1.500", Unit.MM, mm("1.5")),
        ("10 000", Unit.MM, None),
        ("1000cm", Unit.MM, MAX_LENGTH),
    ],
)
def test_reading(text, unit, length):
    if length is None:
        with pytest.raises(LengthError, match="is not a size"):
            parse_length(text, unit)
    else:
        assert parse_length(text, unit) == length


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "a size is missing"),
        (" \t", "a size is missing"),
        ("0", "more than zero"),
        ("0/5", "more than zero"),
        ("-5", "more than zero"),
        ("−5 cm", "more than zero"),
        ("5 ft", "unknown unit 'ft'"),
        ("5 mm mm", "unknown unit"),
        ("1/0", "divides by zero"),
        ("10000.001", "more than 10 m"),
        ("1001 cm", "more than 10 m"),
        ("394 in", "more than 10 m"),
        ("0.0001", "finer than Quirebox measures"),
        ("1/7 in", "finer than Quirebox measures"),
        ("1,500", "two ways"),
        ("12,345", "two ways"),
        ("9" * 41, "too long"),
        ("nan", "is not a size"),
        ("inf", "is not a size"),
        ("1e3", "is not a size"),
        ("0x10", "is not a size"),
        ("1_000", "is not a size"),
        ("1/2/3", "is not a size"),
        ("５", "is not a size"),
        ("5²", "is not a size"),
        ("cm", "is not a size"),
        ("5 cm 3", "is not a size"),
    ],
)
def test_refused(text, said):
    with pytest.raises(LengthError, match=said):
        parse_length(text)


def test_a_refusal_can_be_printed_on_one_line():
    with pytest.raises(LengthError) as refused:
        parse_length("5\x1b[31m\ncm")
    assert str(refused.value).isprintable()


@pytest.mark.parametrize(
    ("length", "unit", "text"),
    [
        (mm(540), Unit.CM, "54 cm"),
        (mm(185), Unit.CM, "18.5 cm"),
        (mm("0.01"), Unit.CM, "0.001 cm"),
        (mm("0.01"), Unit.MM, "0.01 mm"),
        (mm("0.001"), Unit.MM, "≈0 mm"),
        (mm("0.006"), Unit.MM, "≈0.01 mm"),
        (mm("9.999"), Unit.MM, "≈10 mm"),
        (inch("113/16"), Unit.IN, "7 1/16 in"),
        (inch("3/64"), Unit.IN, "3/64 in"),
        (inch(12), Unit.IN, "12 in"),
        (inch("12.01"), Unit.IN, "≈12 1/64 in"),
        (mm(100), Unit.IN, "≈3 15/16 in"),
        (inch("1/64"), Unit.MM, "≈0.4 mm"),
        (-inch("1/2"), Unit.IN, "-1/2 in"),
        (0, Unit.CM, "0 cm"),
    ],
)
def test_writing(length, unit, text):
    assert format_length(length, unit) == text


def test_writing_without_unit():
    assert format_length(mm(20), Unit.CM, with_unit=False) == "2"
    assert format_size(mm(500), mm(705), Unit.CM) == "50 × 70.5 cm"


def test_areas_and_weights():
    square_metre = mm(1000) ** 2
    assert area_m2(square_metre) == 1
    assert grams(square_metre, 250) == 250
    assert grams(mm(210) * mm(297), Decimal("80")) == Fraction(210 * 297 * 80, 10**6)
    assert [format_area(square_metre, unit) for unit in (Unit.MM, Unit.CM)] == ["1.00 m²"] * 2
    assert format_area(mm(100) * mm(50), Unit.CM) == "50 cm²"
    assert format_area(inch(12) * inch(12), Unit.IN) == "1.0 ft²"
    assert format_area(inch(12) * inch(30), Unit.IN) == "2.5 ft²"
    assert format_area(inch("17/2") * inch(11), Unit.IN) == "94 in²"


def test_numbers_of_millimetres():
    assert to_mm_number(mm(12)) == 12
    assert isinstance(to_mm_number(mm(12)), int)
    assert to_mm_number(inch("1/64")) == 25.4 / 64
    assert from_mm_number(25.4 / 64) == inch("1/64")
