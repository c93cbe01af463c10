"""Published cutting instances, with what is known of their best answers.

The numbers of pieces and sheets are lengths without a unit; here one is a millimetre.
"""

import warnings
from fractions import Fraction
from itertools import combinations, product
from random import Random

import pytest

from nester.core.lengths import mm
from nester.core.piece import Turn
from nester.core.problem import (
    Cuts,
    CuttingPlan,
    Demand,
    Effort,
    Layout,
    PlacedPiece,
    Problem,
    StockItem,
)
from nester.cutting import is_guillotine, plan_cuts
from nester.packing import solve
from nester.verify import verify

# Berkey and Wang, "Two-dimensional finite bin-packing algorithms", Journal of the Operational
# Research Society 38 (1987), class I, 20 pieces, instance 1; sheets of 10 × 10.
BERKEY_WANG_I_20_1 = [
    (5, 9), (4, 2), (10, 6), (5, 7), (6, 3), (10, 7), (1, 5), (3, 5), (6, 9), (2, 4),
    (6, 7), (7, 2), (8, 3), (4, 10), (4, 5), (10, 3), (8, 3), (7, 8), (8, 3), (8, 7),
]  # fmt: skip
# The same, class V, 20 pieces, instance 9; sheets of 100 × 100.
BERKEY_WANG_V_20_9 = [
    (53, 36), (25, 36), (97, 43), (59, 78), (32, 97),
    (73, 89), (70, 75), (45, 13), (55, 90), (87, 29),
    (64, 85), (42, 48), (10, 39), (89, 13), (36, 61),
    (39, 4), (20, 97), (35, 30), (73, 25), (57, 37),
]  # fmt: skip

# Hopper and Turton (2002), instance M1a: six sheet sizes in limited number, the least area of the
# sheets used.
HOPPER_TURTON_M1A = [
    (1, 6), (2, 8), (6, 5), (4, 9), (8, 7), (2, 8), (7, 5), (3, 1), (1, 4), (2, 2),
    (9, 5), (2, 1), (1, 4), (5, 6), (6, 6), (2, 6), (5, 4), (1, 6), (8, 8), (5, 3),
    (8, 7), (9, 9), (5, 2), (5, 3), (8, 2), (8, 8), (9, 9), (6, 4), (3, 3), (4, 1),
    (7, 1), (3, 3), (6, 7), (8, 7), (5, 2), (7, 5), (5, 9), (7, 1), (6, 4), (7, 6),
    (6, 4), (2, 3), (4, 8), (5, 9), (7, 4), (2, 6), (5, 1), (7, 5), (2, 9), (2, 9),
    (7, 3), (4, 1), (9, 7), (2, 8), (8, 6), (2, 2), (8, 5), (2, 5), (7, 4), (3, 6),
    (7, 7), (7, 5), (2, 4), (5, 6), (4, 1), (9, 9), (5, 4), (5, 4), (8, 3), (5, 3),
    (9, 3), (7, 6), (2, 7), (8, 4), (5, 9), (6, 1), (5, 2), (8, 6), (6, 2), (8, 2),
    (1, 7), (3, 9), (3, 4), (2, 7), (8, 7), (6, 7), (3, 2), (1, 1), (8, 8), (2, 2),
    (5, 1), (2, 5), (7, 7), (5, 1), (4, 2), (7, 3), (4, 3), (6, 5), (6, 2), (5, 9),
]  # fmt: skip
HOPPER_TURTON_M1_SHEETS = [
    (20, 20, 2), (10, 30, 3), (10, 10, 3), (20, 30, 2), (10, 20, 3), (10, 40, 3),
]  # fmt: skip

# Z. Moroń, "O rozkładach prostokątów na kwadraty", Przegląd Matematyczno-Fizyczny 3 (1925): a
# rectangle of 33 × 32 made of nine squares, all different (source and places from memory; the
# test below shows that they fit).  Left edge, top edge, side.
MORON_33_32 = [
    (0, 0, 18), (18, 0, 15), (18, 15, 7), (25, 15, 8), (0, 18, 14),
    (14, 18, 4), (14, 22, 10), (24, 22, 1), (24, 23, 9),
]  # fmt: skip


def one_sheet_size(pieces, width, height, cuts):
    wants = (Demand(f"piece {n}", mm(w), mm(h), 1) for n, (w, h) in enumerate(pieces))
    return Problem(
        tuple(wants), (StockItem("sheet", mm(width), mm(height), None, Fraction(1)),), cuts
    )


@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize(
    ("pieces", "side", "fewest"), [(BERKEY_WANG_I_20_1, 10, 7), (BERKEY_WANG_V_20_9, 100, 6)]
)
def test_fewest_sheets_of_berkey_and_wang(pieces, side, fewest, cuts):
    """Fewest sheets known when pieces may be turned, the same for both ways of cutting.

    Our own bound proves that no fewer will do.
    """
    problem = one_sheet_size(pieces, side, side, cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert not answer.unplaced
    assert answer.cost == answer.lower_bound == fewest


def test_least_area_of_hopper_and_turton():
    """No turning, straight cuts.  The best is known by arithmetic.

    The pieces cover 2520, and the area of every sheet is a multiple of 100: below 2600 none does.
    """
    wants = (
        Demand(f"piece {n}", mm(w), mm(h), 1, turn=Turn.NONE)
        for n, (w, h) in enumerate(HOPPER_TURTON_M1A)
    )
    stock = (
        StockItem(f"{w} × {h}", mm(w), mm(h), number, Fraction(w * h))
        for w, h, number in HOPPER_TURTON_M1_SHEETS
    )
    problem = Problem(tuple(wants), tuple(stock))
    assert sum(w * h for w, h in HOPPER_TURTON_M1A) == 2520
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert not answer.unplaced
    assert answer.cost == answer.lower_bound == 2600


def test_nine_squares_by_free_cuts_on_one_sheet():
    problem = one_sheet_size([(side, side) for _, _, side in MORON_33_32], 33, 32, Cuts.FREE)
    answer = solve(problem, Effort.NORMAL)
    assert verify(problem, answer) == []
    assert answer.cost == answer.lower_bound == 1


def test_nine_squares_as_published_are_right_and_need_a_knife():
    problem = one_sheet_size([(side, side) for _, _, side in MORON_33_32], 33, 32, Cuts.FREE)
    placed = tuple(
        PlacedPiece(f"piece {n}", mm(x), mm(y), mm(side), mm(side))
        for n, (x, y, side) in enumerate(MORON_33_32)
    )
    cuts, offcuts = plan_cuts(mm(33), mm(32), placed, Cuts.FREE, problem.smallest_offcut)
    layout = Layout("sheet", 1, placed, cuts, offcuts)
    assert verify(problem, CuttingPlan((layout,), (), Fraction(1), Fraction(1))) == []
    assert any(cut.knife for cut in cuts)
    assert offcuts == ()
    assert not is_guillotine(placed)


def test_nine_squares_by_straight_cuts_need_two_sheets():
    """One sheet would be full, so its first cut parts the squares by area in whole strips."""
    sides = [side for _, _, side in MORON_33_32]
    assert sum(side**2 for side in sides) == 33 * 32
    parted = [
        chosen
        for number in range(1, len(sides))
        for chosen in combinations(sides, number)
        for along in (33, 32)
        if sum(side**2 for side in chosen) % along == 0
        and comes_apart_full(chosen, along, sum(side**2 for side in chosen) // along)
    ]
    assert parted == []
    problem = one_sheet_size([(side, side) for side in sides], 33, 32, Cuts.STRAIGHT)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert answer.cost == answer.lower_bound == 2


def comes_apart_full(squares, width, height):
    """Whether squares that cover a rectangle in full can be cut out of it edge to edge."""
    if max(squares) > min(width, height):
        return False
    if len(squares) == 1:
        return width == height
    for number in range(1, len(squares)):
        for chosen in combinations(squares, number):
            area = sum(side**2 for side in chosen)
            rest = tuple(side for side in squares if side not in chosen)
            for along, across in ((width, height), (height, width)):
                strip = area // along
                if area % along == 0 and (
                    comes_apart_full(chosen, along, strip)
                    and comes_apart_full(rest, along, across - strip)
                ):
                    return True
    return False


def test_the_test_of_full_rectangles():
    assert comes_apart_full((2, 3, 5), 5, 7) is False
    assert comes_apart_full((5,), 5, 5)
    assert comes_apart_full((8, 13), 13, 21) is False
    assert comes_apart_full((1, 2), 2, 3) is False


def rectpacks_best(pieces, width, height, cuts):
    """Return the fewest sheets of all that the library rectpack offers for a way of cutting."""
    with warnings.catch_warnings():
        # rectpack 0.2.2 warns of a constructor argument of its own.
        warnings.simplefilter("ignore")
        import rectpack

        names = ["MaxRectsBl", "MaxRectsBssf", "MaxRectsBaf", "MaxRectsBlsf"]
        names += ["SkylineBl", "SkylineBlWm", "SkylineMwf", "SkylineMwfl", "SkylineMwfWm"]
        names = [] if cuts is Cuts.STRAIGHT else names
        parts = product(("Bssf", "Blsf", "Baf"), ("Sas", "Las", "Slas", "Llas", "Maxas", "Minas"))
        names += ["Guillotine" + fit + split for fit, split in parts]
        fewest = len(pieces)
        sorts = (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE, rectpack.SORT_PERI)
        modes = (rectpack.PackingBin.BFF, rectpack.PackingBin.BNF, rectpack.PackingBin.BBF)
        for name, sort, mode in product(names, sorts, modes):
            packer = rectpack.newPacker(
                bin_algo=mode, pack_algo=getattr(rectpack, name), sort_algo=sort
            )
            for piece in pieces:
                packer.add_rect(*piece)
            packer.add_bin(width, height, count=len(pieces))
            packer.pack()
            if sum(map(len, packer)) == len(pieces):
                fewest = min(fewest, len(packer))
    return fewest


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("cuts", list(Cuts))
def test_never_more_sheets_than_rectpack(seed, cuts):
    """rectpack 0.2.2 is a reference: as many of its settings as it offers, pieces may be turned.

    Of its layouts for straight cuts some do not come apart; they are counted for it all the same.
    """
    rng = Random(seed)
    pieces = [(rng.randint(10, 60), rng.randint(10, 60)) for _ in range(20)]
    problem = one_sheet_size(pieces, 100, 80, cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert answer.cost <= rectpacks_best(pieces, 100, 80, cuts)
