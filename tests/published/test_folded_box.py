"""The base of a box folded from a square.

Derivation.  A square of side s has the diagonal s·√2.  Folding its four corners to the middle
leaves a square whose side is half of that: s·√2/2.  Folding the four sides of this to the middle
line makes walls a quarter of its side high, and leaves half of its side for the base:

    base = s·√2/4        wall = s·√2/8 = base/2

√2 is irrational; all checks are in whole numbers: base ≥ b means s² ≥ 8 b².
"""

from __future__ import annotations

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Piece
from nester.designs import DESIGNS, read_settings
from nester.designs.boxes.folded_box import folded_base, folded_wall, square_for


def pieces(unit: Unit, **texts: str) -> dict[str, Piece]:
    design = DESIGNS["folded-box"]
    named = {name.replace("_", "-"): text for name, text in texts.items()}
    return {piece.name: piece for piece in design.pieces(read_settings(design, named, unit))}


@pytest.mark.parametrize("side", [cm(10), cm(15), cm(20), inch(6), inch("8.5"), 8, 8_000_008])
def test_the_base_is_side_times_root_two_by_four(side: int) -> None:
    base, wall = folded_base(side), folded_wall(side)
    assert (4 * base) ** 2 <= 2 * side**2 < (4 * (base + 1)) ** 2
    assert (8 * wall) ** 2 <= 2 * side**2 < (8 * (wall + 1)) ** 2


def test_a_square_of_15_cm_folds_to_a_base_of_53_mm() -> None:
    # Derived as above: 150·√2/4 = 53.033 mm.
    assert mm("53.03") < folded_base(cm(15)) < mm("53.04")


@pytest.mark.parametrize(("base", "square"), [("5", "14.2"), ("7", "19.8"), ("10", "28.3")])
def test_the_square_for_a_base_is_rounded_up_to_a_mm(base: str, square: str) -> None:
    # Derived: 2·√2·5 = 14.142, 2·√2·7 = 19.799, 2·√2·10 = 28.284.
    assert pieces(Unit.CM, base=base, lid="no")["box"].width == cm(square)


def test_the_square_for_a_base_of_two_inches_and_a_half_is_in_eighths() -> None:
    # Derived: 2·√2·2.5 = 7.071, rounded up to 7⅛.
    assert pieces(Unit.IN, base="2 1/2", lid="no")["box"].width == inch("7.125")


def test_an_exact_square_is_not_rounded_up() -> None:
    # 8·b² is a square of a whole number for no b but 0, so the least square is just above.
    assert square_for(0, 8) == 0
    assert square_for(99, 1) == 281  # 281² = 78961 ≥ 8·99² = 78408 > 280²
    assert square_for(99, 281) == 281


def test_a_lid_is_wider_by_the_clearance() -> None:
    # Derived: 2·√2·4 = 11.31, rounded up to 12 mm more.
    made = pieces(Unit.MM, base="70", lid_clearance="4")
    assert made["lid"].width - made["box"].width == mm(12)
    assert folded_base(made["lid"].width) - folded_base(made["box"].width) >= mm(4)


def test_folds_end_at_quarters_of_the_sides_and_of_the_diagonals() -> None:
    box = pieces(Unit.MM, base="70", lid="no")["box"]
    eighth = box.width // 8
    assert eighth * 8 == box.width
    ends = {end for score in box.scores for end in score.line}
    assert all(x % eighth == y % eighth == 0 for x, y in ends)
    on_the_edge = {end for end in ends if {0, box.width} & set(end)}
    assert on_the_edge == {
        (x, y)
        for x in range(0, box.width + 1, 2 * eighth)
        for y in range(0, box.width + 1, 2 * eighth)
        if {0, box.width} & {x, y} and not {x, y} <= {0, box.width}
    }
