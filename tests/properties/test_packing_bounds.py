"""Bounds on plans, against plans that are known and contents found one by one."""

from dataclasses import replace
from fractions import Fraction
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import never, solve
from nester.packing.bounds.bar_relaxation import BarRelaxation
from nester.packing.bounds.dual_bound import DualBound
from nester.packing.bounds.dual_feasible_functions import DualFeasibleFunctions
from nester.packing.bounds.exact_pricing import ExactPricing
from nester.packing.bounds.guillotine_pricing import GuillotinePricing
from nester.packing.bounds.lower_bound import LowerBound
from nester.packing.exact.feasible_contents import FeasiblePatterns
from nester.packing.task.task import tasks_by_paper


@st.composite
def tasks_of_plenty(draw):
    """Sheets, and more pieces of each shape than lie on any of them."""
    sheet_sides, sides = st.integers(2, 14), st.integers(2, 9)
    sheets = draw(st.lists(st.tuples(sheet_sides, sheet_sides), min_size=1, max_size=3))
    shapes = draw(st.lists(st.tuples(sides, sides), min_size=1, max_size=3, unique=True))
    most = max(w * h for w, h in sheets)
    wants = [
        Demand(f"w{n}", w, h, most // (w * h) + 1, turn=draw(st.sampled_from(Turn)))
        for n, (w, h) in enumerate(shapes)
    ]
    stock = [StockItem(f"s{n}", w, h, None, Fraction(1)) for n, (w, h) in enumerate(sheets)]
    tasks, _ = tasks_by_paper(Problem(tuple(wants), tuple(stock)))
    return tasks


@settings(max_examples=100, deadline=None)
@given(tasks_of_plenty(), st.lists(st.integers(0, 9), min_size=3, max_size=3))
def test_the_most_a_sheet_is_worth_is_that_of_its_best_content(tasks, values):
    for task in tasks:
        worths = values[: len(task.item_types)]
        contents = FeasiblePatterns(task, Cuts.STRAIGHT, 10**9, 60.0, never)
        for kind, (most, content) in enumerate(GuillotinePricing(task).solve(worths, never)):
            of_all = [
                sum(map(int.__mul__, worths, held)) for held in contents.maximal(kind, surely=True)
            ]
            assert most == max(of_all, default=0)
            assert most == sum(worths[shape] * number for shape, number in content.items())


@settings(max_examples=100, deadline=None)
@given(
    tasks_of_plenty(),
    st.lists(st.integers(0, 9), min_size=3, max_size=3),
    st.sampled_from([2, 3, 5]),
)
def test_in_rounded_lengths_a_sheet_is_never_worth_less(tasks, values, places):
    for task in tasks:
        worths = values[: len(task.item_types)]
        exact = GuillotinePricing(task).solve(worths, never)
        with patch("nester.packing.task.normal_patterns.MAX_POINTS", places):
            rounded = GuillotinePricing(task).solve(worths, never)
        for (most, _), (at_most, content) in zip(exact, rounded, strict=True):
            assert at_most >= most
            assert at_most == sum(worths[shape] * number for shape, number in content.items())


@st.composite
def tasks_of_few(draw):
    """Sheets, and a few pieces."""
    sheet_sides, sides = st.integers(4, 12), st.integers(2, 7)
    sheets = draw(st.lists(st.tuples(sheet_sides, sheet_sides), min_size=1, max_size=2))
    wants = [
        Demand(f"w{n}", draw(sides), draw(sides), draw(st.integers(1, 3)), turn=draw(turns))
        for n, turns in enumerate([st.sampled_from(Turn)] * draw(st.integers(1, 3)))
    ]
    stock = [StockItem(f"s{n}", w, h, None, Fraction(1)) for n, (w, h) in enumerate(sheets)]
    tasks, _ = tasks_by_paper(Problem(tuple(wants), tuple(stock)))
    return tasks


@settings(max_examples=60, deadline=None)
@given(tasks_of_few(), st.sampled_from(Cuts), st.lists(st.integers(1, 9), min_size=3, max_size=3))
def test_bars_are_never_worth_less_and_what_is_learned_is_exact(tasks, cuts, values):
    for task in tasks:
        worths = values[: len(task.item_types)]
        contents = FeasiblePatterns(task, cuts, 10**9, 60.0, never)
        bars = BarRelaxation(task)
        learned = ExactPricing(task, cuts, DualFeasibleFunctions(task), bars)
        for kind in range(len(task.bin_types)):
            best = max(
                (
                    sum(map(int.__mul__, worths, held))
                    for held in contents.maximal(kind, surely=True)
                ),
                default=0,
            )
            assert bars.solve(worths, never)[kind][0] >= best
            assert learned.solve(worths, never)[kind][0] == best


def test_bars_see_what_lies_beside_what():
    """By area 9 × 14 holds five pieces of 5 × 5, but no line across it meets two of them."""
    (task,), _ = tasks_by_paper(one_paper([(5, 5, 9)], [(9, 14, None, 1)]))
    (most, content), *_ = BarRelaxation(task).solve([25], never)
    assert (most, content) == (9 * 14 * 25 // 45, {0: pytest.approx(2.8)})


def cut_up(rng, size, cuts):
    """Cut a rectangle edge to edge so many times, and return the parts."""
    parts = [size]
    for _ in range(cuts):
        width, height = parts.pop(rng.randrange(len(parts)))
        if rng.random() < 0.5 and width > 1:
            at = rng.randint(1, width - 1)
            parts += [(at, height), (width - at, height)]
        elif height > 1:
            at = rng.randint(1, height - 1)
            parts += [(width, at), (width, height - at)]
        else:
            parts.append((width, height))
    return parts


def hollow(rng, width, height):
    """Return voids in two or four corners of a piece."""
    wide, high = rng.randint(1, (width - 1) // 2), rng.randint(1, (height - 1) // 2)
    right, below = width - wide, height - high
    corners = [(0, 0), (right, below), (right, 0), (0, below)]
    return tuple(Rect(x, y, wide, high) for x, y in corners[: rng.choice([2, 4])])


@st.composite
def sheets_cut_up(draw):
    """Sheets cut edge to edge into pieces, of which some are thrown away: a plan that is known.

    Some pieces have voids, which are cut up like sheets.
    """
    rng = draw(st.randoms(use_true_random=False))
    side = draw(st.sampled_from([7, 30, 1000]))
    hollowness = rng.choice([0, 0, 0.5])
    sizes = [(rng.randint(2, side), rng.randint(2, side)) for _ in range(rng.randint(1, 4))]
    used = [0] * len(sizes)
    pieces = []
    for number in rng.choices(range(len(sizes)), k=rng.randint(1, 5)):
        used[number] += 1
        parts = cut_up(rng, sizes[number], rng.randint(0, 8))
        while parts:
            width, height = parts.pop()
            voids = ()
            if min(width, height) >= 3 and rng.random() < hollowness:
                voids = hollow(rng, width, height)
                for void in voids:
                    parts += cut_up(rng, (void.width, void.height), rng.randint(0, 1))
            pieces.append((width, height, voids))
    by_area, only_used = rng.random() < 0.7, rng.random() < 0.3
    stock = [
        StockItem(
            f"s{number}",
            width,
            height,
            used[number] if only_used else None,
            Fraction(width * height if by_area else rng.randint(0, 9)),
        )
        for number, (width, height) in enumerate(sizes)
    ]
    wants = []
    for number, (width, height, voids) in enumerate(pieces):
        if rng.random() < 0.1:
            continue
        turn = rng.choice(list(Turn))
        if not voids and turn is Turn.ANY and rng.random() < 0.5:
            width, height = height, width
        wants.append(Demand(f"w{number}", width, height, 1, turn=turn, voids=voids))
    cost = sum(one.price * n for one, n in zip(stock, used, strict=True))
    return Problem(tuple(wants), tuple(stock), smallest_offcut=1), cost


@settings(max_examples=80, deadline=None)
@given(sheets_cut_up(), st.sampled_from(Cuts), st.sampled_from([600, 12]))
def test_no_refutation_goes_above_a_known_plan(known, cuts, places):
    problem, cost = known
    tasks, hopeless = tasks_by_paper(replace(problem, cuts=cuts))
    assert not hopeless
    for task in tasks:
        bound = LowerBound(task)
        with patch("nester.packing.task.normal_patterns.MAX_POINTS", places):
            bound.strengthen(cuts, (0, 10**18), 50_000)
        assert bound.unmet_area == 0
        assert bound.cost * task.price_unit <= cost


def test_a_cost_is_bounded_by_the_programme_over_contents():
    """5 × 5 lies four times on 10 × 10 and twice on 9 × 14, of which there is one.

    The rest takes (9 − 2) / 4 of the other, so two.
    """
    (task,), _ = tasks_by_paper(one_paper([(5, 5, 9)], [(10, 10, None, 8), (9, 14, 1, 3)]))
    refuter = DualBound(task, GuillotinePricing(task))
    found = refuter.separate((1, 0), (9,), 10**6, never)
    assert found is not None
    worth, *_ = found.weights
    assert found.capacities == (4 * worth, 2 * worth)
    bound = LowerBound(task)
    bound.strengthen(Cuts.STRAIGHT, (0, 10**9), 10**6)
    assert bound.cost == 2 * 8 + 3


def one_paper(pieces, sheets, cuts=Cuts.STRAIGHT):
    wants = (Demand(f"w{n}", w, h, number) for n, (w, h, number) in enumerate(pieces))
    stock = (StockItem(f"s{n}", *sheet[:3], Fraction(sheet[3])) for n, sheet in enumerate(sheets))
    return Problem(tuple(wants), tuple(stock), cuts, smallest_offcut=1)


def test_cheaper_sheets_are_refuted_by_what_lies_beside_what():
    """Beside 360 or 321 of 500 little has room; pairs of functions do not see that."""
    pieces = [(360, 360, 2), (321, 321, 2), (282, 282, 2), (185, 185, 2), (210, 148, 8)]
    problem = one_paper(pieces, [(500, 700, None, 155), (210, 380, 1, 18)])
    (task,), _ = tasks_by_paper(problem)
    bound = LowerBound(task)
    before = bound.cost
    bound.strengthen(Cuts.STRAIGHT, (0, 10**9), 10**5)
    answer = solve(problem, Effort.QUICK)
    assert before < bound.cost == answer.cost == answer.lower_bound


@pytest.mark.parametrize("cuts", list(Cuts))
def test_where_sheets_run_short_the_search_ends_once_no_more_can_be_made(cuts):
    problem = one_paper([(225, 225, 16), (200, 190, 3)], [(508, 508, 2, 1)], cuts)
    (task,), _ = tasks_by_paper(problem)
    bound = LowerBound(task)
    assert (bound.unmet_area, bound.cost) == (8 * 225 * 225 + 3 * 200 * 190, 2)
    answer = solve(problem, Effort.NORMAL)
    assert {one.name: one.quantity for one in answer.unplaced} == {"w0": 8, "w1": 3}
    assert answer.cost == answer.lower_bound == 2
    assert "choice" not in answer.statistics
