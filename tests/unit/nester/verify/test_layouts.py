"""Good answers pass; each way of spoiling one is caught, and called by its right name."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.lengths import cm
from nester.core.piece import Grain, Turn
from nester.core.problem import (
    Cut,
    Cuts,
    CuttingPlan,
    Demand,
    Layout,
    Margins,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
    Trimmer,
    Unplaced,
)
from nester.verify import FaultKind, InvalidPlanError, require_valid, verify

U = cm(1)


def rect(x: int, y: int, width: int, height: int) -> Rect:
    return Rect(x * U, y * U, width * U, height * U)


def placed(name: str, x: int, y: int, width: int, height: int, turned: bool = False) -> PlacedPiece:
    return PlacedPiece(name, *rect(x, y, width, height), turned)


def cut(part: Rect, vertical: bool, at: int, knife: tuple[int, int] | None = None) -> Cut:
    low, high = (part.y, part.bottom) if vertical else (part.x, part.right)
    start, end = (low, high) if knife is None else (knife[0] * U, knife[1] * U)
    return Cut(part, vertical, at * U, start, end, knife is not None)


# A 50 × 40 sheet: blank 30 × 30, two strips 10 × 30 and 30 × 10 (one turned), offcut 10 × 40.
SHEET = rect(0, 0, 50, 40)
MIDDLE = rect(0, 0, 40, 40)
TOP = rect(0, 0, 40, 30)
BOTTOM = rect(0, 30, 40, 10)
STRAIGHT_PROBLEM = Problem(
    demands=(
        Demand("blank", 30 * U, 30 * U, 2, "black", Turn.NONE),
        Demand("strip", 10 * U, 30 * U, 5, "black", Turn.ANY),
        Demand("card", 5 * U, 7 * U, 3, "white", Turn.HALF),
    ),
    stock=(
        StockItem("black sheet", 50 * U, 40 * U, 2, Fraction(3, 2), "black"),
        StockItem("white offcut", 10 * U, 7 * U, None, Fraction(0), "white"),
    ),
    cuts=Cuts.STRAIGHT,
    smallest_offcut=cm(8),
)
BLACK = Layout(
    "black sheet",
    2,
    (placed("blank", 0, 0, 30, 30), placed("strip", 30, 0, 10, 30),
     placed("strip", 0, 30, 30, 10, True)),
    (cut(SHEET, True, 40), cut(MIDDLE, False, 30), cut(TOP, True, 30), cut(BOTTOM, True, 30)),
    (rect(40, 0, 10, 40), rect(30, 30, 10, 10)),
)  # fmt: skip
WHITE = Layout(
    "white offcut",
    1,
    (placed("card", 0, 0, 5, 7), placed("card", 5, 0, 5, 7)),
    (cut(rect(0, 0, 10, 7), True, 5),),
)
GOOD = CuttingPlan(
    (BLACK, WHITE),
    (Unplaced("strip", 1, "no sheet of black is left"), Unplaced("card", 1, "not asked today")),
    cost=Fraction(3),
    lower_bound=Fraction(3),
)

# Four boards around an 8 × 8 hole on a 32 × 32 part, which no edge-to-edge cut parts.
WHEEL = rect(0, 0, 32, 32)
FREE_PROBLEM = Problem(
    demands=(
        Demand("lying", 20 * U, 12 * U, 2, turn=Turn.NONE),
        Demand("standing", 12 * U, 20 * U, 2, turn=Turn.NONE),
    ),
    stock=(StockItem("sheet", 40 * U, 32 * U, 1, Fraction(1)),),
    cuts=Cuts.FREE,
    smallest_offcut=cm(8),
)
WHEEL_CUTS = (
    cut(rect(0, 0, 40, 32), True, 32),
    cut(WHEEL, True, 20, (0, 20)),
    cut(WHEEL, True, 12, (12, 32)),
    cut(WHEEL, False, 12, (0, 20)),
    cut(WHEEL, False, 20, (12, 32)),
)
WHEEL_LAYOUT = Layout(
    "sheet",
    1,
    (placed("lying", 0, 0, 20, 12), placed("standing", 20, 0, 12, 20),
     placed("lying", 12, 20, 20, 12), placed("standing", 0, 12, 12, 20)),
    WHEEL_CUTS,
    (rect(32, 0, 8, 32), rect(12, 12, 8, 8)),
)  # fmt: skip
GOOD_FREE = CuttingPlan((WHEEL_LAYOUT,), (), Fraction(1), Fraction(1))


def kinds(problem: Problem, answer: CuttingPlan) -> set[FaultKind]:
    return {fault.kind for fault in verify(problem, answer)}


def with_black(**changes: object) -> CuttingPlan:
    return replace(GOOD, layouts=(replace(BLACK, **changes), WHITE))


def with_wheel(**changes: object) -> CuttingPlan:
    return replace(GOOD_FREE, layouts=(replace(WHEEL_LAYOUT, **changes),))


def changed(items: tuple, index: int, **changes: object) -> tuple:
    return (*items[:index], items[index]._replace(**changes), *items[index + 1 :])


def without(items: tuple, index: int) -> tuple:
    return (*items[:index], *items[index + 1 :])


def moved(index: int, **changes: object) -> CuttingPlan:
    return with_black(placed=changed(BLACK.placed, index, **changes))


def recut(index: int, **changes: object) -> CuttingPlan:
    return with_black(cuts=changed(BLACK.cuts, index, **changes))


def rewheel(index: int, **changes: object) -> CuttingPlan:
    return with_wheel(cuts=changed(WHEEL_CUTS, index, **changes))


def rewanted(index: int, **changes: object) -> Problem:
    wants = list(STRAIGHT_PROBLEM.demands)
    wants[index] = replace(wants[index], **changes)
    return replace(STRAIGHT_PROBLEM, demands=tuple(wants))


def restocked(index: int, **changes: object) -> Problem:
    stock = list(STRAIGHT_PROBLEM.stock)
    stock[index] = replace(stock[index], **changes)
    return replace(STRAIGHT_PROBLEM, stock=tuple(stock))


def test_good_answers_pass() -> None:
    assert verify(STRAIGHT_PROBLEM, GOOD) == []
    assert verify(FREE_PROBLEM, GOOD_FREE) == []
    assert verify(replace(STRAIGHT_PROBLEM, cuts=Cuts.FREE), GOOD) == []
    left = tuple(Unplaced(want.name, want.quantity, "later") for want in STRAIGHT_PROBLEM.demands)
    nothing = CuttingPlan((), left, Fraction(0), Fraction(0))
    assert verify(STRAIGHT_PROBLEM, nothing) == []
    require_valid(STRAIGHT_PROBLEM, GOOD)


def test_a_sheet_that_is_the_piece_needs_no_cut() -> None:
    problem = Problem((Demand("whole", 5, 7, 3),), (StockItem("s", 5, 7, 3, Fraction(2)),))
    layout = Layout("s", 3, (PlacedPiece("whole", 0, 0, 5, 7),))
    assert verify(problem, CuttingPlan((layout,), (), Fraction(6), Fraction(0))) == []


@pytest.mark.parametrize(
    ("kind", "answer"),
    [
        # what is counted
        (FaultKind.WRONG_COUNT, with_black(placed=BLACK.placed[:2])),
        (FaultKind.WRONG_COUNT, replace(GOOD, unplaced=GOOD.unplaced[1:])),
        (FaultKind.WRONG_COUNT, replace(GOOD, unplaced=changed(GOOD.unplaced, 0, quantity=2))),
        (FaultKind.WRONG_COUNT, replace(GOOD, layouts=(*GOOD.layouts, WHITE))),
        (FaultKind.TOO_MANY_SHEETS, with_black(copies=3)),
        (FaultKind.TOO_MANY_SHEETS, replace(GOOD, layouts=(BLACK, BLACK, WHITE))),
        (FaultKind.BAD_COPIES, with_black(copies=0)),
        (FaultKind.BAD_COPIES, with_black(copies=-1)),
        (FaultKind.EMPTY_LAYOUT, with_black(placed=())),
        (FaultKind.MISSING_REASON, replace(GOOD, unplaced=changed(GOOD.unplaced, 0, why="  "))),
        (
            FaultKind.MISSING_REASON,
            replace(GOOD, unplaced=(*GOOD.unplaced, Unplaced("blank", 0, "none"))),
        ),
        # what is named
        (FaultKind.UNKNOWN_STOCK, with_black(stock="brown sheet")),
        (FaultKind.UNKNOWN_DEMAND, moved(0, name="blanks")),
        (FaultKind.UNKNOWN_DEMAND, replace(GOOD, unplaced=changed(GOOD.unplaced, 0, name="?"))),
        # what it costs
        (FaultKind.WRONG_COST, replace(GOOD, cost=Fraction(3001, 1000))),
        (FaultKind.WRONG_OFFCUT_VALUE, replace(GOOD, offcut_value=Fraction(1, 1000))),
        (FaultKind.NOT_EXACT, replace(GOOD, offcut_value=0.0)),
        (FaultKind.WRONG_BOUND, replace(GOOD, lower_bound=Fraction(3001, 1000))),
        (FaultKind.WRONG_BOUND, replace(GOOD, lower_bound=Fraction(-1))),
        # where it lies
        (FaultKind.OFF_SHEET, moved(1, x=41 * U)),
        (FaultKind.OFF_SHEET, moved(2, x=-1)),
        (FaultKind.OFF_SHEET, moved(0, y=-1)),
        (FaultKind.OFF_SHEET, moved(2, y=30 * U + 1)),
        (FaultKind.OFF_SHEET, moved(0, width=0)),
        (FaultKind.OFF_SHEET, with_black(offcuts=(rect(40, 0, 11, 40), BLACK.offcuts[1]))),
        (FaultKind.OVERLAP, moved(1, x=30 * U - 1)),
        (FaultKind.OVERLAP, moved(2, y=30 * U - 1)),
        (FaultKind.OVERLAP, moved(1, x=0)),
        (FaultKind.OVERLAP, with_black(placed=(*BLACK.placed, BLACK.placed[0]))),
        (FaultKind.OVERLAP, with_black(offcuts=(*BLACK.offcuts, BLACK.offcuts[0]))),
        (FaultKind.OVERLAP, with_black(offcuts=(*BLACK.offcuts, rect(0, 0, 10, 10)))),
        (FaultKind.SMALL_OFFCUT, with_black(offcuts=(rect(40, 0, 7, 40), BLACK.offcuts[1]))),
        # how it is turned
        (FaultKind.WRONG_SIZE, moved(0, width=30 * U - 1)),
        (FaultKind.WRONG_SIZE, moved(1, height=10 * U)),
        (FaultKind.WRONG_TURN, moved(2, turned=False)),
        (FaultKind.WRONG_TURN, moved(1, turned=True)),
        (FaultKind.WRONG_TURN, moved(0, turned=True)),
        # how it is cut
        (FaultKind.NOT_CUT_FREE, with_black(cuts=())),
        (FaultKind.NOT_CUT_FREE, with_black(cuts=BLACK.cuts[:-1])),
        (FaultKind.NOT_CUT_FREE, with_black(cuts=without(BLACK.cuts, 2))),
        (FaultKind.NOT_CUT_FREE, with_black(offcuts=(rect(40, 0, 10, 39), BLACK.offcuts[1]))),
        (FaultKind.NOT_CUT_FREE, recut(3, at=30 * U + 1)),
        (FaultKind.NOT_CUT_FREE, with_black(cuts=(*BLACK.cuts, cut(rect(0, 0, 30, 30), True, 15)))),
        (FaultKind.NOT_CUT_FREE, recut(2, at=10 * U)),
        (FaultKind.BAD_CUT, with_black(cuts=(*BLACK.cuts, BLACK.cuts[0]))),
        (FaultKind.BAD_CUT, with_black(cuts=without(BLACK.cuts, 0))),
        (FaultKind.BAD_CUT, with_black(cuts=BLACK.cuts[::-1])),
        (FaultKind.BAD_CUT, recut(0, at=0)),
        (FaultKind.BAD_CUT, recut(0, at=50 * U)),
        (FaultKind.BAD_CUT, recut(1, at=-1)),
        (FaultKind.BAD_CUT, recut(1, at=40 * U)),
        (FaultKind.BAD_CUT, recut(0, start=1)),
        (FaultKind.BAD_CUT, recut(0, end=40 * U - 1)),
        (FaultKind.BAD_CUT, recut(1, end=50 * U)),
        (FaultKind.BAD_CUT, recut(1, vertical=True, at=30 * U - 1)),
        (FaultKind.BAD_CUT, recut(3, part=rect(0, 30, 41, 10))),
        (FaultKind.KNIFE_CUT, recut(0, knife=True)),
        # what is no exact number
        (FaultKind.NOT_EXACT, moved(0, x=0.0)),
        (FaultKind.NOT_EXACT, moved(0, width=float(30 * U))),
        (FaultKind.NOT_EXACT, moved(0, y=False)),
        (FaultKind.NOT_EXACT, with_black(copies=2.0)),
        (FaultKind.NOT_EXACT, with_black(copies=True)),
        (FaultKind.NOT_EXACT, recut(0, at=40.0 * U)),
        (FaultKind.NOT_EXACT, recut(0, part=Rect(0, 0, 50 * U, 40.0 * U))),
        (FaultKind.NOT_EXACT, with_black(offcuts=(Rect(40 * U, 0, 10 * U, 40.0 * U),))),
        (FaultKind.NOT_EXACT, replace(GOOD, cost=3.0)),
        (FaultKind.NOT_EXACT, replace(GOOD, lower_bound=3.0)),
        (FaultKind.NOT_EXACT, replace(GOOD, unplaced=changed(GOOD.unplaced, 0, quantity=1.0))),
    ],
)
def test_a_spoiled_answer_is_caught(kind: FaultKind, answer: CuttingPlan) -> None:
    assert kind in kinds(STRAIGHT_PROBLEM, answer)


@pytest.mark.parametrize(
    ("kind", "answer"),
    [
        (FaultKind.NOT_CUT_FREE, with_wheel(cuts=WHEEL_CUTS[:-1])),
        (FaultKind.NOT_CUT_FREE, with_wheel(cuts=without(WHEEL_CUTS, 1))),
        (FaultKind.NOT_CUT_FREE, with_wheel(cuts=without(WHEEL_CUTS, 2))),
        (FaultKind.NOT_CUT_FREE, with_wheel(cuts=without(WHEEL_CUTS, 3))),
        (FaultKind.NOT_CUT_FREE, with_wheel(cuts=WHEEL_CUTS[:1])),
        (FaultKind.NOT_CUT_FREE, rewheel(1, end=20 * U - 1)),
        (FaultKind.NOT_CUT_FREE, rewheel(2, start=12 * U + 1)),
        (FaultKind.NOT_CUT_FREE, rewheel(3, start=1)),
        (FaultKind.NOT_CUT_FREE, rewheel(4, at=20 * U + 1)),
        (FaultKind.CUT_THROUGH, rewheel(1, end=20 * U + 1)),
        (FaultKind.CUT_THROUGH, rewheel(2, start=12 * U - 1)),
        (FaultKind.CUT_THROUGH, rewheel(3, end=20 * U + 1)),
        (FaultKind.CUT_THROUGH, rewheel(4, start=12 * U - 1)),
        (FaultKind.CUT_THROUGH, rewheel(4, at=20 * U + 1)),
        (
            FaultKind.CUT_THROUGH,  # through the offcut in the middle only
            with_wheel(cuts=(*WHEEL_CUTS, cut(WHEEL, True, 16, (13, 19)))),
        ),
        (FaultKind.BAD_CUT, rewheel(1, at=0)),
        (FaultKind.BAD_CUT, rewheel(1, at=32 * U)),
        (FaultKind.BAD_CUT, rewheel(2, end=32 * U + 1)),
        (FaultKind.BAD_CUT, rewheel(1, start=-1)),
        (FaultKind.BAD_CUT, rewheel(1, start=20 * U, end=0)),
        (FaultKind.BAD_CUT, rewheel(1, start=20 * U)),
        (FaultKind.BAD_CUT, rewheel(1, part=rect(0, 0, 40, 32))),
        (FaultKind.BAD_CUT, with_wheel(cuts=(*WHEEL_CUTS, cut(WHEEL, True, 20)))),
        (FaultKind.NOT_CUT_FREE, with_wheel(offcuts=(rect(32, 0, 8, 32), rect(12, 12, 8, 8),
                                                 rect(0, 0, 8, 8)))),
        (FaultKind.OVERLAP, with_wheel(offcuts=(rect(12, 12, 9, 8),))),
        (FaultKind.NOT_CUT_FREE, with_wheel(offcuts=(rect(31, 0, 9, 32),))),
    ],
)  # fmt: skip
def test_a_spoiled_free_answer_is_caught(kind: FaultKind, answer: CuttingPlan) -> None:
    assert kind in kinds(FREE_PROBLEM, answer)


BOTH_GRAINS = replace(rewanted(1, grain=Grain.HEIGHT), stock=restocked(0, grain=Grain.WIDTH).stock)


@pytest.mark.parametrize(
    ("kind", "problem"),
    [
        (FaultKind.DUPLICATE_NAME, rewanted(1, name="blank")),
        (FaultKind.BAD_VOID, rewanted(0, voids=(rect(0, 0, 31, 5),))),
        (FaultKind.DUPLICATE_NAME, restocked(1, name="black sheet")),
        (FaultKind.WRONG_PAPER, rewanted(0, paper="Black")),
        (FaultKind.WRONG_PAPER, restocked(0, paper="white")),
        (FaultKind.WRONG_TURN, rewanted(1, turn=Turn.HALF)),
        (FaultKind.WRONG_TURN, rewanted(1, turn=Turn.NONE)),
        (FaultKind.WRONG_SIZE, rewanted(2, width=7 * U, height=6 * U)),
        (FaultKind.WRONG_COUNT, rewanted(0, quantity=3)),
        (FaultKind.WRONG_COUNT, rewanted(0, quantity=1)),
        (FaultKind.TOO_MANY_SHEETS, restocked(0, quantity=1)),
        (FaultKind.TOO_MANY_SHEETS, restocked(1, quantity=0)),
        (FaultKind.WRONG_COST, restocked(0, price=Fraction(1))),
        (
            FaultKind.WRONG_OFFCUT_VALUE,
            replace(STRAIGHT_PROBLEM, offcut_value_share=Fraction(1, 2)),
        ),
        (FaultKind.NOT_EXACT, replace(STRAIGHT_PROBLEM, offcut_value_share=0.5)),
        (FaultKind.NOT_EXACT, replace(STRAIGHT_PROBLEM, offcut_value_share=Fraction(3, 2))),
        (FaultKind.OFF_SHEET, restocked(0, width=49 * U)),
        (FaultKind.BAD_CUT, restocked(0, height=41 * U)),
        (FaultKind.SMALL_OFFCUT, replace(STRAIGHT_PROBLEM, smallest_offcut=10 * U + 1)),
        (FaultKind.NOT_EXACT, rewanted(0, width=30.0 * U)),
        (FaultKind.NOT_EXACT, restocked(0, quantity=2.0)),
        (FaultKind.NOT_EXACT, restocked(0, price=1.5)),
        (FaultKind.NOT_EXACT, restocked(0, margins=Margins(left=0.5))),
        (FaultKind.NOT_EXACT, restocked(0, damaged=(Rect(0, 0, 1.0, 1),))),
        (FaultKind.TOO_CLOSE, replace(STRAIGHT_PROBLEM, gap=1)),
        (FaultKind.UNUSABLE, restocked(0, margins=Margins(top=1))),
        (FaultKind.UNUSABLE, restocked(0, margins=Margins(right=1))),
        (FaultKind.UNUSABLE, restocked(0, damaged=(rect(45, 35, 2, 2),))),
        (FaultKind.WRONG_GRAIN, BOTH_GRAINS),
        (FaultKind.TOO_MANY_STAGES, replace(STRAIGHT_PROBLEM, trimmer=Trimmer(stages=2))),
    ],
)
def test_a_good_answer_to_another_problem_is_caught(kind: FaultKind, problem: Problem) -> None:
    assert kind in kinds(problem, GOOD)


def test_rules_that_are_kept_are_no_fault() -> None:
    assert kinds(replace(STRAIGHT_PROBLEM, trimmer=Trimmer(stages=3)), GOOD) == set()
    assert kinds(restocked(1, damaged=(rect(20, 20, 1, 1),)), GOOD) == set()


def test_straight_cuts_allow_no_knife() -> None:
    assert kinds(replace(FREE_PROBLEM, cuts=Cuts.STRAIGHT), GOOD_FREE) == {FaultKind.KNIFE_CUT}


def test_a_square_may_be_said_to_be_turned_only_where_it_may_turn() -> None:
    answer = moved(0, turned=True)
    assert kinds(rewanted(0, turn=Turn.ANY), answer) == set()
    assert kinds(rewanted(0, turn=Turn.HALF), answer) == {FaultKind.WRONG_TURN}


def test_small_faults_are_told_alone() -> None:
    assert kinds(STRAIGHT_PROBLEM, replace(GOOD, cost=Fraction(4))) == {FaultKind.WRONG_COST}
    assert kinds(STRAIGHT_PROBLEM, moved(2, turned=False)) == {FaultKind.WRONG_TURN}
    assert kinds(STRAIGHT_PROBLEM, with_black(cuts=BLACK.cuts[:-1])) == {FaultKind.NOT_CUT_FREE}


def test_require_says_everything_that_is_wrong() -> None:
    with pytest.raises(InvalidPlanError) as caught:
        require_valid(STRAIGHT_PROBLEM, replace(moved(1, x=0), cost=Fraction(9)))
    said = str(caught.value)
    assert "layout 1 (black sheet): piece 'blank', 300 × 300 mm at 0, 0 mm, overlaps piece" in said
    assert "cost: the cost is given as 9, but the sheets cost 3" in said
    assert len(caught.value.faults) == len(said.splitlines())


def test_every_kind_of_fault_is_tried_here() -> None:
    tried = {
        mark.args[1][row][0]
        for test in (
            test_a_spoiled_answer_is_caught,
            test_a_spoiled_free_answer_is_caught,
            test_a_good_answer_to_another_problem_is_caught,
        )
        for mark in test.pytestmark
        for row in range(len(mark.args[1]))
    }
    # Measures are judged by themselves: see test_measures.
    assert tried == set(FaultKind) - {FaultKind.WRONG_MEASURE}


def test_a_knife_cut_may_be_made_in_several_strokes() -> None:
    long = WHEEL_CUTS[1]
    strokes = (long._replace(end=12 * U), long._replace(start=12 * U))
    assert kinds(FREE_PROBLEM, with_wheel(cuts=(*without(WHEEL_CUTS, 1), *strokes))) == set()
    again = long._replace(start=3 * U, end=5 * U)
    assert kinds(FREE_PROBLEM, with_wheel(cuts=(*WHEEL_CUTS, again))) == set()
    apart = (long._replace(end=12 * U - 1), long._replace(start=12 * U))
    found = kinds(FREE_PROBLEM, with_wheel(cuts=(*without(WHEEL_CUTS, 1), *apart)))
    assert found == {FaultKind.NOT_CUT_FREE}


def test_an_overlap_names_both_that_overlap() -> None:
    problem = Problem(
        (Demand("a", 4, 4, 1), Demand("b", 4, 4, 1), Demand("c", 4, 4, 1)),
        (StockItem("s", 20, 20, 1, Fraction(1)),),
    )
    pieces = (
        PlacedPiece("a", 0, 0, 4, 4),
        PlacedPiece("b", 0, 6, 4, 4),
        PlacedPiece("c", 1, 9, 4, 4),
    )
    found = verify(problem, CuttingPlan((Layout("s", 1, pieces),), (), Fraction(1), Fraction(0)))
    said = [fault.message for fault in found if fault.kind is FaultKind.OVERLAP]
    assert len(said) == 1
    assert said[0].startswith("piece 'b'")
    assert "overlaps piece 'c'" in said[0]
