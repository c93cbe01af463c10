"""Sheet sizes against ISO 216, 217 and 269, and ANSI/ASME Y14.1."""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import area_m2, inch, mm
from nester.core.sheet_sizes import SHEET_SIZES, parse_size

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


# ISO 269, envelopes, and ISO 217, untrimmed sheets, in mm (values from memory of the standards).
C_SERIES = [
    (917, 1297), (648, 917), (458, 648), (324, 458), (229, 324), (162, 229),
    (114, 162), (81, 114), (57, 81), (40, 57), (28, 40),
]  # fmt: skip
RA_SERIES = [(860, 1220), (610, 860), (430, 610), (305, 430), (215, 305)]
SRA_SERIES = [(900, 1280), (640, 900), (450, 640), (320, 450), (225, 320)]


@pytest.mark.parametrize(
    ("letters", "series"), [("C", C_SERIES), ("RA", RA_SERIES), ("SRA", SRA_SERIES)]
)
def test_sizes_are_those_of_iso_217_and_269(letters: str, series: list[tuple[int, int]]) -> None:
    named = [parse_size(f"{letters.lower()}{number}") for number in range(len(series))]
    assert named == [(mm(width), mm(height)) for width, height in series]


def test_a_dl_envelope_holds_a_third_of_an_a4() -> None:
    # ISO 269: DL is 110 × 220 mm (from memory); A4 folded to a third is 99 × 210 mm.
    assert SHEET_SIZES["DL"] == (mm(110), mm(220))


def test_ansi_sizes_and_their_names() -> None:
    # ANSI/ASME Y14.1, sizes A to E in inches (values from memory).
    table = {"A": ("8.5", 11), "B": (11, 17), "C": (17, 22), "D": (22, 34), "E": (34, 44)}
    for letter, (width, height) in table.items():
        assert parse_size(f"ansi {letter}") == (inch(width), inch(height))
    assert parse_size("letter") == parse_size("ANSI A")
    assert parse_size("Tabloid") == parse_size("11x17in") == parse_size("ANSI B")
    assert parse_size("ledger") == parse_size("ANSI B")
