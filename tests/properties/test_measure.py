from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nester.core.lengths import (
    MAX_LENGTH,
    UNITS_PER_MM,
    LengthError,
    Unit,
    format_length,
    format_size,
    from_mm_number,
    parse_length,
    to_mm_number,
)
from nester.core.sheet_sizes import parse_size

units = st.sampled_from(Unit)
lengths = st.integers(1, MAX_LENGTH)
FINEST_SHOWN = {Unit.MM: Fraction(1, 100), Unit.CM: Fraction(1, 1000), Unit.IN: Fraction(1, 64)}
"""What `format_length` shows exactly, in its unit."""


@st.composite
def shown_exactly(draw, unit):
    step = int(FINEST_SHOWN[unit] * unit.fine_units)
    return step * draw(st.integers(1, MAX_LENGTH // step))


@given(st.data(), units, units)
def test_what_is_written_is_read_back(data, unit, bare):
    length = data.draw(shown_exactly(unit))
    text = format_length(length, unit)
    assert parse_length(text, bare) == length
    assert parse_length(format_length(length, unit, with_unit=False), unit) == length


@given(lengths, units)
def test_no_length_is_rounded_silently(length, unit):
    text = format_length(length, unit)
    step = FINEST_SHOWN[unit] * unit.fine_units
    assert text.startswith("≈") == (length % step != 0)
    shown = text.removeprefix("≈").removesuffix(f" {unit}")
    read = sum(Fraction(part) for part in shown.split()) * unit.fine_units
    assert abs(read - length) * 2 <= step


@given(st.integers(-MAX_LENGTH, -1), units)
def test_less_than_zero_is_written_as_its_opposite_with_a_minus(length, unit):
    text = format_length(length, unit)
    opposite = format_length(-length, unit)
    assert text == (f"≈-{opposite[1:]}" if opposite[0] == "≈" else f"-{opposite}")


@given(st.integers(0, 400), st.integers(0, 99), st.integers(1, 64), units)
def test_fractions_are_read_exactly_or_refused(whole, numerator, denominator, unit):
    exact = (whole + Fraction(numerator, denominator)) * unit.fine_units
    for text in (
        f"{whole} {numerator}/{denominator} {unit}",
        f"{whole}-{numerator}/{denominator}{unit}",
    ):
        if exact.denominator == 1 and 0 < exact <= MAX_LENGTH:
            assert parse_length(text) == exact
        else:
            with pytest.raises(LengthError):
                parse_length(text)


@given(st.integers(0, 9999), st.text("0123456789", max_size=8), units, st.sampled_from(".,"))
def test_decimals_are_read_exactly_or_refused(whole, decimals, unit, point):
    exact = Fraction(f"{whole}.{decimals}" if decimals else whole) * unit.fine_units
    doubtful = point == "," and len(decimals) == 3 and 1 <= whole <= 999
    text = f"{whole}{point}{decimals}"
    if exact.denominator == 1 and 0 < exact <= MAX_LENGTH and not doubtful:
        assert parse_length(text, unit) == exact
    else:
        with pytest.raises(LengthError):
            parse_length(text, unit)


def result_or_refusal(reader, text, unit):
    try:
        return reader(text, unit)
    except LengthError as refused:
        return refused


size_like = st.text(st.sampled_from('0123456789.,/-+ ½¼⅔x×*cmin"″\u00a0\n\0²５−⁄'), max_size=14)


@given(st.one_of(st.text(max_size=60), size_like), units)
def test_any_text_is_a_length_or_a_measure_error(text, unit):
    length = result_or_refusal(parse_length, text, unit)
    if isinstance(length, LengthError):
        assert str(length).isprintable()
    else:
        assert isinstance(length, int)
        assert 0 < length <= MAX_LENGTH


@given(st.one_of(st.text(max_size=60), size_like), units)
def test_any_text_is_a_size_or_a_measure_error(text, unit):
    size = result_or_refusal(parse_size, text, unit)
    if isinstance(size, LengthError):
        assert str(size).isprintable()
    else:
        assert all(isinstance(side, int) and 0 < side <= MAX_LENGTH for side in size)


@given(st.data(), units, units)
def test_a_written_size_is_read_back(data, unit, bare):
    width, height = data.draw(shown_exactly(unit)), data.draw(shown_exactly(unit))
    assert parse_size(format_size(width, height, unit), bare) == (width, height)


@given(st.integers(-MAX_LENGTH, MAX_LENGTH))
def test_numbers_of_millimetres_keep_every_fine_unit(length):
    number = to_mm_number(length)
    assert from_mm_number(number) == length
    assert isinstance(number, int) == (length % UNITS_PER_MM == 0)
