"""Weights of paper against ISO 536: grammage is mass per unit area, in g/m²."""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import Unit, grams, mm
from nester.core.sheet_sizes import SHEET_SIZES
from nester.designs import DESIGNS, read_settings


@pytest.mark.parametrize("grammage", [80, 120, 216, 250, 300, 350])
def test_a_square_metre_weighs_its_grammage(grammage: int) -> None:
    # ISO 536, by definition.
    assert grams(mm(1000) * mm(1000), grammage) == grammage


def test_a_sheet_of_a4_at_80() -> None:
    # Derived from ISO 216 (210 × 297 mm) and ISO 536: 0.21 × 0.297 × 80 g.
    width, height = SHEET_SIZES["A4"]
    assert grams(width * height, 80) == Fraction("4.9896")


def test_a_tier_weighs_by_what_is_left_of_its_blank() -> None:
    # Derived from ISO 536: a plus of five panels of 18 cm at 220 g/m² is 5 × 0.0324 × 220 g,
    # the whole blank with its flaps nine panels.
    for corners, panels in (("open", 5), ("flaps", 9)):
        design = DESIGNS["layered-box"]
        settings = read_settings(design, {"panel": "18", "corners": corners}, Unit.CM)
        tier = design.pieces(settings)[0]
        assert grams(tier.area, 220) == panels * Fraction("0.0324") * 220
