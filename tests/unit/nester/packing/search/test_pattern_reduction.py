"""What comes after the cost: offcuts that count, fewer layouts, fewer cuts, larger offcuts."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import combinations_with_replacement, product

import pytest

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.packing.search.pattern_reduction import reduce_patterns, reduction_objective
from nester.packing.task.pattern_pool import PatternPool
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import Pattern, Placement, item_counts, tasks_by_paper
from nester.verify import verify

HALF = Fraction(1, 2)
both_cuts = pytest.mark.parametrize("cuts", list(Cuts))


def problem_of(wants, stock, cuts=Cuts.STRAIGHT, worth=Fraction(0)):
    return Problem(
        tuple(Demand(name, mm(w), mm(h), n) for name, w, h, n in wants),
        tuple(StockItem(name, mm(w), mm(h), n, Fraction(p)) for name, w, h, n, p in stock),
        cuts,
        offcut_value_share=worth,
    )


def solved(problem, effort=Effort.QUICK):
    answer = solve(problem, effort)
    assert verify(problem, answer) == []
    return answer


def on_the_table(problem):
    (task,), _ = tasks_by_paper(problem)
    return task, PatternEvaluator(problem, task)


# --- what offcuts count ------------------------------------------------------------------------

ONE = [("card", 100, 100, 1)]
LARGE_OR_SMALL = [("small", 140, 140, None, 3), ("large", 300, 140, None, 4)]


@both_cuts
def test_a_dearer_sheet_wins_because_of_its_offcut(cuts):
    problem = problem_of(ONE, LARGE_OR_SMALL, cuts)
    assert [one.stock for one in solved(problem).layouts] == ["small"]
    answer = solved(replace(problem, offcut_value_share=HALF))
    assert [one.stock for one in answer.layouts] == ["large"]
    # 200 × 140 of 300 × 140 are left, at half their part of the price of 4.
    assert (answer.cost, answer.offcut_value) == (4, Fraction(4, 3))
    assert answer.net_cost == Fraction(8, 3) < 3
    assert answer.lower_bound <= answer.net_cost


def test_an_offcut_of_an_offcut_counts_at_its_whole_part_of_the_price():
    problem = problem_of(ONE, [("drawer", 300, 100, 1, 3)], worth=HALF)
    assert solved(problem).net_cost == 2
    (drawer,) = problem.stock
    problem = replace(problem, stock=(replace(drawer, is_offcut=True),))
    answer = solved(problem)
    assert answer.cost == 3
    assert answer.net_cost == answer.lower_bound == 1


def test_offcuts_that_count_nothing_change_nothing():
    problem = problem_of(ONE, [("drawer", 300, 100, 1, 3)])
    answer = solved(replace(problem, stock=(replace(problem.stock[0], is_offcut=True),)))
    assert (answer.cost, answer.offcut_value, answer.lower_bound) == (3, 0, 3)


def test_a_small_rest_is_no_offcut():
    problem = problem_of(ONE, [("sheet", 100, 170, None, 3)], worth=HALF)
    assert solved(problem).offcut_value == 0
    assert solved(replace(problem, smallest_offcut=mm(70))).offcut_value == 3 * HALF * Fraction(
        70, 170
    )


def test_the_bound_counts_the_solid_area_alone():
    problem = problem_of(ONE, [("sheet", 200, 100, None, 8)], worth=HALF)
    answer = solved(problem)
    # Half of the price is lost; of the other half, the part under the card.
    assert answer.lower_bound == answer.net_cost == 4 + 2


def test_where_few_offcuts_are_cheap_the_rest_of_the_area_is_dear():
    problem = problem_of(
        [("card", 100, 100, 2)],
        [("free", 100, 100, 1, 0), ("sheet", 100, 100, None, 4)],
        worth=HALF,
    )
    task, table = on_the_table(problem)
    assert table.min_item_cost(task.demand) == 2
    assert table.min_item_cost(task.demand, unmade=task.item_types[0].area) == 0
    answer = solved(problem)
    assert answer.net_cost == answer.lower_bound == 4


# --- fewest layouts ----------------------------------------------------------------------------

_SIDES = (60, 40)
"""Widths of two pieces, all 100 high, on sheets of 200 × 100."""


def row(shapes):
    """Lay pieces side by side on a sheet."""
    spots, x = [], 0
    for shape in shapes:
        spots.append((shape, x))
        x += _SIDES[shape]
    return spots


def fewest_layouts(demand, sheets):
    """Try every plan of so many sheets: how few layouts can there be?"""
    contents = [
        (a, b) for a, b in product(range(4), range(6)) if 0 < a * _SIDES[0] + b * _SIDES[1] <= 200
    ]
    plans = (
        plan
        for plan in combinations_with_replacement(contents, sheets)
        if (sum(a for a, _ in plan), sum(b for _, b in plan)) == demand
    )
    return min(len(set(plan)) for plan in plans)


@pytest.mark.parametrize(
    "sheets",
    [
        ((0, 0, 0), (0, 0, 1, 1), (0, 1, 1, 1), (0, 0, 1)),
        ((0, 0, 0), (0, 0, 0), (1, 1, 1, 1, 1), (0, 1, 1, 1), (0, 0, 1, 1)),
        ((0,), (1, 1, 1), (0, 0, 1), (0, 0, 1, 1)),
        ((0, 1), (1,), (0, 1, 1, 1)),
    ],
)
def test_as_few_layouts_as_can_be(sheets):
    demand = Counter(shape for sheet in sheets for shape in sheet)
    problem = problem_of(
        [("a", _SIDES[0], 100, demand[0]), ("b", _SIDES[1], 100, demand[1])],
        [("sheet", 200, 100, len(sheets), 1)],
    )
    task, table = on_the_table(problem)
    turned = [shape.width == max(shape[:2]) for shape in task.item_types]
    scale = 100 // max(task.item_types[0][:2])
    uses = tuple(
        (Pattern(0, tuple(Placement(s, x // scale, 0, turned[s]) for s, x in row(sheet))), 1)
        for sheet in sheets
    )
    pool = PatternPool(task)
    pool.add_plan(uses)
    tidied = reduce_patterns(task, Cuts.STRAIGHT, pool, table, uses, 2.0)
    assert reduction_objective(table, tidied) <= reduction_objective(table, uses)
    assert sum(copies for _, copies in tidied) <= len(sheets)
    made = Counter()
    for pattern, copies in tidied:
        for shape, number in item_counts(pattern.placements).items():
            made[shape] += number * copies
    assert made == demand
    assert len(tidied) == fewest_layouts((demand[0], demand[1]), len(sheets))


# --- fewest cuts, largest offcuts --------------------------------------------------------------


@both_cuts
def test_what_is_free_is_brought_together(cuts):
    # Cards of two heights in turn: between them strips are free that are no offcuts.
    problem = problem_of(
        [("tall", 100, 300, 3), ("low", 100, 200, 3)], [("sheet", 600, 300, 1, 1)], cuts
    )
    task, table = on_the_table(problem)
    unit = task.length_unit
    tall = task.item_types[0]
    upright = tall.width < tall.height
    spots = tuple(
        Placement(number % 2, number * mm(100) // unit, 0, not upright) for number in range(6)
    )
    scattered = ((Pattern(0, spots), 1),)
    assert len(table.cut_pattern(scattered[0][0]).offcuts) > 1
    tidied = reduce_patterns(task, cuts, PatternPool(task), table, scattered, 1.0)
    assert reduction_objective(table, tidied) < reduction_objective(table, scattered)
    (offcut,) = table.cut_pattern(tidied[0][0]).offcuts
    assert sorted((offcut.width, offcut.height)) == [mm(100), mm(300)]
