"""Pieces with corners cut away: what may lie in them, and how they must be cut out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.lengths import cm
from nester.core.piece import Turn
from nester.core.problem import (
    Cut,
    Cuts,
    CuttingPlan,
    Demand,
    Layout,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
    placed_voids,
)
from nester.verify import FaultKind, verify

U = cm(1)


def rect(x: int, y: int, width: int, height: int) -> Rect:
    return Rect(x * U, y * U, width * U, height * U)


def placed(name: str, x: int, y: int, width: int, height: int, turned: bool = False) -> PlacedPiece:
    return PlacedPiece(name, *rect(x, y, width, height), turned)


def straight(part: Rect, vertical: bool, at: int) -> Cut:
    low, high = (part.y, part.bottom) if vertical else (part.x, part.right)
    return Cut(part, vertical, at * U, low, high)


def knife(part: Rect, vertical: bool, at: int, start: int, end: int) -> Cut:
    return Cut(part, vertical, at * U, start * U, end * U, knife=True)


# A cross of 3 × 3 panels of 10, whose upper corners hold two cards and an offcut; the lower left
# one stays on the cross, the lower right one is an offcut as it is.
CORNERS = tuple(rect(x, y, 10, 10) for x in (0, 20) for y in (0, 20))
SHEET, BLANK, STRIP = rect(0, 0, 40, 30), rect(0, 0, 30, 30), rect(30, 0, 10, 30)
LEFT, RIGHT, LOW = rect(0, 0, 10, 10), rect(20, 0, 10, 10), rect(20, 20, 10, 10)
STRAIGHT_CUTS = (
    straight(SHEET, True, 30),
    knife(BLANK, True, 10, 0, 10),
    knife(BLANK, False, 10, 0, 10),
    knife(BLANK, True, 20, 0, 10),
    knife(BLANK, False, 10, 20, 30),
    knife(BLANK, True, 20, 20, 30),
    knife(BLANK, False, 20, 20, 30),
    straight(LEFT, True, 6),
    straight(rect(0, 0, 6, 10), False, 5),
)
LAYOUT = Layout(
    "sheet",
    1,
    (placed("cross", 0, 0, 30, 30), placed("card", 0, 0, 6, 5), placed("card", 0, 5, 6, 5),
     placed("square", 20, 0, 10, 10)),
    STRAIGHT_CUTS,
    (LOW, STRIP),
)  # fmt: skip
PROBLEM = Problem(
    (
        Demand("cross", 30 * U, 30 * U, 1, voids=CORNERS),
        Demand("card", 6 * U, 5 * U, 2),
        Demand("square", 10 * U, 10 * U, 1),
    ),
    (StockItem("sheet", 40 * U, 30 * U, 1, Fraction(1)),),
    Cuts.STRAIGHT,
    cm(8),
)

# Two crosses that reach into each other, 20 × 10 apart, on 50 × 40; three offcuts beside them.
PAIR = rect(0, 0, 50, 40)
PAIR_CUTS = (
    knife(PAIR, True, 10, 0, 10), knife(PAIR, False, 10, 0, 10),
    knife(PAIR, True, 20, 0, 10), knife(PAIR, False, 10, 20, 50),
    knife(PAIR, True, 30, 10, 20), knife(PAIR, False, 20, 20, 30),
    knife(PAIR, True, 20, 20, 30), knife(PAIR, False, 30, 0, 30),
    knife(PAIR, True, 10, 20, 30), knife(PAIR, False, 20, 0, 10),
    knife(PAIR, True, 30, 30, 40), knife(PAIR, True, 40, 30, 40), knife(PAIR, False, 30, 40, 50),
    knife(PAIR, True, 40, 10, 20), knife(PAIR, False, 20, 40, 50),
)  # fmt: skip
PAIR_LAYOUT = Layout(
    "sheet",
    1,
    (placed("cross", 0, 0, 30, 30), placed("cross", 20, 10, 30, 30)),
    PAIR_CUTS,
    (rect(20, 0, 30, 10), rect(0, 30, 30, 10)),
)
PAIR_PROBLEM = Problem(
    (Demand("cross", 30 * U, 30 * U, 2, voids=CORNERS),),
    (StockItem("sheet", 50 * U, 40 * U, 1, Fraction(1)),),
    Cuts.FREE,
    cm(10),
)


def kinds(problem: Problem, layout: Layout) -> set[FaultKind]:
    answer = CuttingPlan((layout,), (), Fraction(1), Fraction(0))
    return {fault.kind for fault in verify(problem, answer)}


def changed(items: tuple, index: int, **changes: object) -> tuple:
    return (*items[:index], items[index]._replace(**changes), *items[index + 1 :])


def without(items: tuple, *indices: int) -> tuple:
    return tuple(item for index, item in enumerate(items) if index not in indices)


def revoided(*voids: Rect) -> Problem:
    return replace(
        PROBLEM, demands=(replace(PROBLEM.demands[0], voids=voids), *PROBLEM.demands[1:])
    )


def test_good_answers_pass() -> None:
    assert kinds(PROBLEM, LAYOUT) == set()
    assert kinds(replace(PROBLEM, cuts=Cuts.FREE), LAYOUT) == set()
    assert kinds(PAIR_PROBLEM, PAIR_LAYOUT) == set()


def test_unused_corners_may_stay_on() -> None:
    lonely = replace(LAYOUT, placed=LAYOUT.placed[:1], cuts=LAYOUT.cuts[:1], offcuts=(STRIP,))
    problem = replace(PROBLEM, demands=PROBLEM.demands[:1])
    assert kinds(problem, lonely) == set()
    assert kinds(replace(problem, cuts=Cuts.FREE), lonely) == set()
    # Nor need they be cut out where a knife goes round what is near.
    near = ((True, 20, 0, 10), (False, 10, 20, 40), (True, 40, 10, 20), (True, 10, 20, 30),
            (True, 30, 10, 20), (False, 20, 0, 10), (False, 20, 20, 30), (False, 20, 40, 50),
            (True, 20, 20, 30), (False, 30, 0, 30), (True, 30, 30, 40))  # fmt: skip
    around = tuple(knife(PAIR, *line) for line in near)
    bare = replace(PAIR_LAYOUT, cuts=around, offcuts=())
    problem = replace(PAIR_PROBLEM, smallest_offcut=cm(11))
    assert kinds(problem, bare) == set()
    # The first cross may keep its lower left corner, which is cut off below, but not its upper
    # right one, which still hangs on the scrap beside it.
    assert kinds(problem, replace(bare, cuts=without(around, 3, 5))) == set()
    assert kinds(problem, replace(bare, cuts=without(around, 0))) == {FaultKind.NOT_CUT_FREE}


@pytest.mark.parametrize(
    ("kind", "layout"),
    [
        # what lies where
        (FaultKind.OVERLAP, replace(LAYOUT, placed=changed(LAYOUT.placed, 1, x=5 * U))),
        (FaultKind.OVERLAP, replace(LAYOUT, placed=changed(LAYOUT.placed, 3, y=1))),
        (FaultKind.OVERLAP, replace(LAYOUT, placed=changed(LAYOUT.placed, 2, y=4 * U))),
        (FaultKind.OVERLAP, replace(LAYOUT, offcuts=(rect(20, 0, 10, 10), STRIP))),
        (FaultKind.OVERLAP, replace(LAYOUT, offcuts=(rect(10, 10, 8, 8), STRIP))),
        # a corner is not cut out, or not whole
        *(
            (FaultKind.NOT_CUT_FREE, replace(LAYOUT, cuts=without(LAYOUT.cuts, gone)))
            for gone in (3, 4, 5, 6, 8)
        ),
        (FaultKind.BAD_CUT, replace(LAYOUT, cuts=without(LAYOUT.cuts, 1))),
        (FaultKind.BAD_CUT, replace(LAYOUT, cuts=without(LAYOUT.cuts, 0))),
        (FaultKind.BAD_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 1, end=10 * U - 1))),
        (FaultKind.NOT_CUT_FREE, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 5, start=20 * U + 1))),
        (FaultKind.NOT_CUT_FREE, replace(LAYOUT, cuts=LAYOUT.cuts[:1])),
        # a knife where none may be
        (FaultKind.KNIFE_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 1, end=10 * U + 1))),
        (FaultKind.KNIFE_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 1, at=10 * U - 1))),
        (FaultKind.KNIFE_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 4, start=19 * U))),
        (FaultKind.KNIFE_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 0, knife=True))),
        (FaultKind.KNIFE_CUT, replace(LAYOUT, cuts=changed(LAYOUT.cuts, 7, knife=True))),
        (
            FaultKind.KNIFE_CUT,
            replace(LAYOUT, cuts=(*LAYOUT.cuts, knife(STRIP, False, 10, 30, 40))),
        ),
        (
            FaultKind.BAD_CUT,  # a blank that a knife has been in is not parted any more
            replace(LAYOUT, cuts=(*LAYOUT.cuts, straight(BLANK, True, 15))),
        ),
        (
            FaultKind.BAD_CUT,  # nor is a corner that has been cut up
            replace(LAYOUT, cuts=(*LAYOUT.cuts, straight(LEFT, True, 6))),
        ),
        (
            FaultKind.NOT_CUT_FREE,
            replace(LAYOUT, cuts=(*LAYOUT.cuts, straight(RIGHT, True, 25))),
        ),
    ],
)
def test_a_spoiled_answer_is_caught(kind: FaultKind, layout: Layout) -> None:
    assert kind in kinds(PROBLEM, layout)


@pytest.mark.parametrize(
    ("kind", "layout"),
    [
        (
            FaultKind.OVERLAP,
            replace(PAIR_LAYOUT, placed=changed(PAIR_LAYOUT.placed, 1, x=20 * U - 1)),
        ),
        (
            FaultKind.OVERLAP,
            replace(PAIR_LAYOUT, placed=changed(PAIR_LAYOUT.placed, 1, y=10 * U - 1)),
        ),
        (FaultKind.OVERLAP, replace(PAIR_LAYOUT, offcuts=(rect(20, 0, 11, 11),))),
        # along the seam of a bar and an arm of the right cross; a cut there is one through it
        *(
            (FaultKind.CUT_THROUGH, replace(PAIR_LAYOUT, cuts=(*PAIR_CUTS, cut)))
            for cut in (
                knife(PAIR, True, 30, 20, 30),
                knife(PAIR, True, 40, 20, 30),
                knife(PAIR, False, 20, 30, 40),
                knife(PAIR, False, 30, 30, 40),
                knife(PAIR, True, 30, 29, 31),
                knife(PAIR, False, 5, 12, 13),
            )
        ),
        *(
            (FaultKind.NOT_CUT_FREE, replace(PAIR_LAYOUT, cuts=without(PAIR_CUTS, gone)))
            for gone in range(2, 8)
        ),
        (FaultKind.NOT_CUT_FREE, replace(PAIR_LAYOUT, cuts=changed(PAIR_CUTS, 4, end=20 * U - 1))),
    ],
)
def test_a_spoiled_pair_is_caught(kind: FaultKind, layout: Layout) -> None:
    assert kind in kinds(PAIR_PROBLEM, layout)


def test_no_straight_cut_frees_crosses_that_reach_into_each_other() -> None:
    assert kinds(replace(PAIR_PROBLEM, cuts=Cuts.STRAIGHT), PAIR_LAYOUT) == {FaultKind.KNIFE_CUT}


def test_two_halves_of_one_blank_are_not_free_before_they_are_parted() -> None:
    problem = Problem(
        (
            Demand("left", 10 * U, 10 * U, 1, turn=Turn.NONE, voids=(rect(5, 0, 5, 10),)),
            Demand("right", 10 * U, 10 * U, 1, turn=Turn.NONE, voids=(rect(0, 0, 5, 10),)),
        ),
        (StockItem("sheet", 10 * U, 10 * U, 1, Fraction(1)),),
        Cuts.FREE,
    )
    both = (placed("left", 0, 0, 10, 10), placed("right", 0, 0, 10, 10))
    part = rect(0, 0, 10, 10)
    assert kinds(problem, Layout("sheet", 1, both)) == {FaultKind.NOT_CUT_FREE}
    middle = (knife(part, True, 5, 0, 10),)
    assert kinds(problem, Layout("sheet", 1, both, middle)) == set()


def test_a_corner_within_a_corner() -> None:
    # The small cross lies in a corner of the large one, a card in a corner of the small one.
    small, card = rect(30, 30, 15, 15), rect(40, 40, 5, 5)
    blank = rect(0, 0, 45, 45)
    problem = Problem(
        (
            Demand("large", 45 * U, 45 * U, 1, voids=(rect(30, 30, 15, 15),)),
            Demand("small", 15 * U, 15 * U, 1, voids=(rect(0, 0, 5, 5), rect(10, 10, 5, 5))),
            Demand("card", 5 * U, 5 * U, 1),
        ),
        (StockItem("sheet", 45 * U, 45 * U, 1, Fraction(1)),),
        Cuts.STRAIGHT,
    )
    layout = Layout(
        "sheet",
        1,
        (placed("large", 0, 0, 45, 45), PlacedPiece("small", *small), PlacedPiece("card", *card)),
        (
            knife(blank, True, 30, 30, 45), knife(blank, False, 30, 30, 45),
            knife(small, True, 40, 40, 45), knife(small, False, 40, 40, 45),
        ),
    )  # fmt: skip
    assert kinds(problem, layout) == set()
    swapped = (*layout.cuts[2:], *layout.cuts[:2])
    assert FaultKind.BAD_CUT in kinds(problem, replace(layout, cuts=swapped))


@pytest.mark.parametrize(
    "voids",
    [
        (rect(0, 0, 31, 5),),
        (Rect(-1, 0, U, U),),
        (rect(0, 0, 10, 10), rect(9, 9, 5, 5)),
        (rect(0, 0, 0, 10),),
        (rect(0, 0, 30, 15), rect(0, 15, 30, 15)),
    ],
)
def test_voids_that_are_none_are_told_alone(voids: tuple[Rect, ...]) -> None:
    assert kinds(revoided(*voids), LAYOUT) == {FaultKind.BAD_VOID}


def test_voids_are_whole_numbers() -> None:
    assert kinds(revoided(Rect(0, 0, 5.0, 5)), LAYOUT) == {FaultKind.NOT_EXACT}


def test_a_quarter_turn_is_clockwise() -> None:
    want = Demand("corner", 30, 20, 1, voids=(Rect(0, 0, 10, 5), Rect(25, 12, 5, 8)))
    upright = PlacedPiece("corner", 100, 200, 30, 20)
    assert placed_voids(want, upright) == (Rect(100, 200, 10, 5), Rect(125, 212, 5, 8))
    turned = PlacedPiece("corner", 100, 200, 20, 30, True)
    assert placed_voids(want, turned) == (Rect(115, 200, 5, 10), Rect(100, 225, 8, 5))


def test_a_turned_piece_has_turned_voids() -> None:
    problem = Problem(
        (
            Demand("corner", 30 * U, 20 * U, 1, voids=(rect(0, 0, 10, 5),)),
            Demand("card", 5 * U, 10 * U, 1, turn=Turn.NONE),
        ),
        (StockItem("sheet", 20 * U, 30 * U, 1, Fraction(1)),),
        Cuts.STRAIGHT,
    )
    blank = rect(0, 0, 20, 30)
    layout = Layout(
        "sheet",
        1,
        (placed("corner", 0, 0, 20, 30, True), placed("card", 15, 0, 5, 10)),
        (knife(blank, True, 15, 0, 10), knife(blank, False, 10, 15, 20)),
    )
    assert kinds(problem, layout) == set()
    upside_down = changed(layout.placed, 1, x=0, y=20 * U)
    assert FaultKind.OVERLAP in kinds(problem, replace(layout, placed=upside_down))
