"""Sheet sizes against ISO 216."""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import area_m2, inch, mm
from nester.core.sheet_sizes import SHEET_SIZES

# ISO 216, tables of the main series, in mm (values from memory of the standard).
A_SERIES = [
    (841, 1189), (594, 841), (420, 594), (297, 420), (210, 297), (148, 210),
    (105, 148), (74, 105), (52, 74), (37, 52), (26, 37),
]  # fmt: skip
B_SERIES = [
    (1000, 1414), (707, 1000), (500, 707), (353, 500), (250, 353), (176, 250),
    (125, 176), (88, 125), (62, 88), (44, 62), (31, 44),
]  # fmt: skip
TABLE = {f"{letter}{n}": size for letter, series in (("A", A_SERIES), ("B", B_SERIES))
         for n, size in enumerate(series)}  # fmt: skip


@pytest.mark.parametrize(("name", "size"), TABLE.items())
def test_sizes_are_those_of_iso_216(name: str, size: tuple[int, int]) -> None:
    assert SHEET_SIZES[name] == (mm(size[0]), mm(size[1]))


def test_a0_is_a_square_metre_and_sides_are_as_one_to_root_two() -> None:
    # ISO 216: A0 has an area of 1 m²; sides are in the ratio 1 : √2; both within its rounding
    # to whole millimetres.
    width, height = SHEET_SIZES["A0"]
    assert abs(area_m2(width * height) - 1) < Fraction(1, 1000)
    for name, (w, h) in TABLE.items():
        assert (h - 1) ** 2 < 2 * (w + 1) ** 2, name
        assert (h + 1) ** 2 > 2 * (w - 1) ** 2, name


def test_each_b_width_is_the_mean_of_two_a_widths() -> None:
    # ISO 216: B sizes are the geometric means between adjacent A sizes.
    for (small, _), (large, _), (between, _) in zip(
        A_SERIES[1:], A_SERIES, B_SERIES[1:], strict=False
    ):
        assert (between - 1) ** 2 < small * large < (between + 1) ** 2


def test_letter_and_tabloid() -> None:
    # ANSI/ASME Y14.1, sizes A and B (values from memory): 8.5 × 11 in and 11 × 17 in.
    assert SHEET_SIZES["letter"] == (inch("8.5"), inch(11))
    assert SHEET_SIZES["11x17in"] == (inch(11), inch(17))
