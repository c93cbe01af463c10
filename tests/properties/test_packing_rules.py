"""Gaps, margins, spoiled corners, grain and stages: whatever is asked, plans keep to it.

The judge knows these rules by itself; here plans are made under them and judged, and compared
with what can be reckoned by hand.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.errors import Refusal
from nester.core.piece import Grain, Turn
from nester.core.problem import Cuts, Demand, Effort, Margins, Problem, Rect, StockItem, Trimmer
from nester.packing import solve
from nester.verify import FaultKind, require_valid, verify

U = 24
sides = st.integers(1, 12).map(lambda n: n * U)


@st.composite
def wants(draw, name):
    width, height = draw(sides), draw(sides)
    voids = ()
    if draw(st.booleans()) and min(width, height) >= 3 * U:
        third = (width // 3, height // 3)
        corners = [(0, 0), (width - third[0], 0), (0, height - third[1])]
        voids = tuple(
            Rect(x, y, *third) for x, y in draw(st.sets(st.sampled_from(corners), min_size=1))
        )
    turn = draw(st.sampled_from(list(Turn)))
    grain = draw(st.sampled_from(list(Grain))) if turn is Turn.ANY else Grain.ANY
    return Demand(name, width, height, draw(st.integers(1, 5)), "", turn, voids, grain)


@st.composite
def stocks(draw, name):
    width, height = draw(st.integers(8, 30)) * U, draw(st.integers(8, 30)) * U
    edge = st.integers(0, 2).map(lambda n: n * U)
    margins = Margins(draw(edge), draw(edge), draw(edge), draw(edge))
    spoiled = ()
    if draw(st.booleans()):
        wide, high = draw(st.integers(1, 4)) * U, draw(st.integers(1, 4)) * U
        x = draw(st.sampled_from([0, width - wide, 3 * U]))
        spoiled = (Rect(x, draw(st.sampled_from([0, height - high])), wide, high),)
    number = draw(st.none() | st.integers(1, 3))
    price = Fraction(draw(st.integers(1, 9)))
    grain = draw(st.sampled_from(list(Grain)))
    return StockItem(name, width, height, number, price, "", margins, spoiled, grain)


@st.composite
def problems(draw):
    return Problem(
        tuple(draw(wants(f"w{i}")) for i in range(draw(st.integers(1, 4)))),
        tuple(draw(stocks(f"s{i}")) for i in range(draw(st.integers(1, 3)))),
        draw(st.sampled_from(list(Cuts))),
        smallest_offcut=5 * U,
        gap=draw(st.sampled_from([0, 1, U, 2 * U])),
        trimmer=Trimmer(
            draw(st.none() | st.integers(5, 20).map(lambda n: n * U)),
            draw(st.sampled_from([0, U])),
            draw(st.none() | st.integers(1, 4)),
        ),
    )


def clashes(problem):
    wishes = any(want.grain is not Grain.ANY for want in problem.demands)
    fixed = any(want.turn is not Turn.ANY for want in problem.demands)
    return wishes and fixed


@settings(max_examples=80, deadline=None)
@given(problems())
def test_every_plan_keeps_to_the_rules(problem):
    try:
        answer = solve(problem, Effort.QUICK)
    except Refusal:
        assert clashes(problem)
        return
    require_valid(problem, answer)


@settings(max_examples=30, deadline=None)
@given(problems())
def test_rules_never_make_a_plan_better_than_its_bound_without_them(problem):
    try:
        answer = solve(problem, Effort.QUICK)
    except Refusal:
        return
    if answer.unplaced:
        return
    free = replace(
        problem,
        demands=tuple(replace(want, grain=Grain.ANY) for want in problem.demands),
        stock=tuple(
            replace(one, margins=Margins(), damaged=(), grain=Grain.ANY) for one in problem.stock
        ),
        gap=0,
        trimmer=Trimmer(),
    )
    assert solve(free, Effort.QUICK).lower_bound <= answer.cost


def simple(wants, stock, **others):
    problem = Problem(wants, stock, smallest_offcut=3 * U, **others)
    answer = solve(problem, Effort.QUICK)
    require_valid(problem, answer)
    return problem, answer


def one_kind(quantity=None, **others):
    return (StockItem("s", 10 * U, 10 * U, quantity, Fraction(1), **others),)


@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize(("gap", "sheets"), [(0, 1), (1, 3), (10 * U // 9, 3)])
def test_a_gap_costs_a_sheet(cuts, gap, sheets):
    # Nine pieces of a third each leave no room for gaps: only four lie on a sheet then.
    want = Demand("a", 10 * U // 3, 10 * U // 3, 9)
    _, answer = simple((want,), one_kind(), cuts=cuts, gap=gap)
    assert answer.sheet_count == sheets


@pytest.mark.parametrize("cuts", list(Cuts))
def test_a_gap_that_fits_exactly_costs_nothing(cuts):
    # 3 + ½ + 3 + ½ + 3 = 10.
    want = Demand("a", 3 * U, 3 * U, 9)
    _, answer = simple((want,), one_kind(), cuts=cuts, gap=U // 2)
    assert answer.sheet_count == 1
    _, answer = simple((want,), one_kind(), cuts=cuts, gap=U // 2 + 1)
    assert answer.sheet_count == 3


@pytest.mark.parametrize("cuts", list(Cuts))
def test_a_gap_holds_in_voids_too(cuts):
    cross = Demand(
        "cross",
        9 * U,
        9 * U,
        1,
        voids=tuple(Rect(x, y, 3 * U, 3 * U) for x in (0, 6 * U) for y in (0, 6 * U)),
    )
    square = StockItem("s", 9 * U, 9 * U, None, Fraction(1))
    fits = Demand("a", 2 * U, 2 * U, 4)
    _, answer = simple((cross, fits), (square,), cuts=cuts, gap=U)
    assert answer.sheet_count == 1
    _, answer = simple((cross, fits), (square,), cuts=cuts, gap=U + 1)
    assert answer.sheet_count == 2


@pytest.mark.parametrize("cuts", list(Cuts))
def test_margins_and_spoiled_corners_stay_empty(cuts):
    def sheets(number, **others):
        want = Demand("a", 5 * U, 5 * U, number)
        return simple((want,), one_kind(**others), cuts=cuts)[1].sheet_count

    assert sheets(4) == 1
    corner = (Rect(9 * U, 0, U, U),)
    assert sheets(3, damaged=corner) == 1
    assert sheets(4, damaged=corner) == 2
    assert sheets(2, margins=Margins(left=1)) == 1
    assert sheets(3, margins=Margins(left=1)) == 2


def test_an_offcut_has_nothing_spoiled():
    _, answer = simple(
        (Demand("a", 4 * U, 10 * U, 1),),
        one_kind(damaged=(Rect(8 * U, 8 * U, 2 * U, 2 * U),), margins=Margins(bottom=U)),
    )
    (layout,) = answer.layouts
    # The piece lies across; beside the bruise 8 × 5 are left, or above it 10 × 4.
    (offcut,) = layout.offcuts
    assert offcut.area == 40 * U * U


@pytest.mark.parametrize("wish", [Grain.WIDTH, Grain.HEIGHT])
@pytest.mark.parametrize("sheet", [Grain.WIDTH, Grain.HEIGHT])
def test_the_grain_decides_how_a_piece_lies(wish, sheet):
    want = Demand("a", 10 * U, 4 * U, 2, grain=wish)
    _, answer = simple((want,), one_kind(grain=sheet))
    assert all(one.turned is (wish is not sheet) for one in answer.layouts[0].placed)


def test_sheets_of_either_grain_are_used_side_by_side():
    want = Demand("a", 10 * U, 4 * U, 4, grain=Grain.WIDTH)
    stock = (
        StockItem("along", 10 * U, 8 * U, 1, Fraction(1), grain=Grain.WIDTH),
        StockItem("across", 8 * U, 10 * U, 1, Fraction(1), grain=Grain.HEIGHT),
        StockItem("wrong", 10 * U, 8 * U, 9, Fraction(1), grain=Grain.HEIGHT),
    )
    _, answer = simple((want,), stock)
    assert {layout.stock for layout in answer.layouts} == {"along", "across"}
    assert not answer.unplaced


@pytest.mark.parametrize(("stages", "sheets"), [(1, 4), (2, 2), (3, 1)])
def test_stages_cost_sheets(stages, sheets):
    # A whole side; below it one of half and two of a quarter: three ways of cutting for one sheet.
    wants = (
        Demand("half", 10 * U, 5 * U, 1, turn=Turn.NONE),
        Demand("quarter", 5 * U, 5 * U, 1, turn=Turn.NONE),
        Demand("eighth", 5 * U, 5 * U // 2, 2, turn=Turn.NONE),
    )
    problem, answer = simple(wants, one_kind(), trimmer=Trimmer(stages=stages))
    if stages == 1:
        assert {one.name for one in answer.unplaced} == {"quarter", "eighth"}
    else:
        assert answer.sheet_count == sheets
    if stages == 3:
        told = verify(replace(problem, trimmer=Trimmer(stages=2)), answer)
        assert {fault.kind for fault in told} == {FaultKind.TOO_MANY_STAGES}


def test_grain_and_pattern_can_clash():
    problem = Problem(
        (
            Demand("a", U, U, 1, "card", grain=Grain.WIDTH),
            Demand("b", U, U, 1, "card", turn=Turn.NONE),
        ),
        (
            StockItem("s", 9 * U, 9 * U, 1, Fraction(1), "card", grain=Grain.WIDTH),
            StockItem("t", 9 * U, 9 * U, 1, Fraction(1), "card", grain=Grain.HEIGHT),
        ),
    )
    with pytest.raises(Refusal, match="follow the grain"):
        solve(problem)
