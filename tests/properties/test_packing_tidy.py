"""Tidying never spoils a plan, and net costs keep to their bounds."""

from fractions import Fraction
from importlib import import_module
from random import Random
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import never, solve
from nester.packing.search.paper_search import Budget
from nester.packing.search.pattern_reduction import reduce_patterns, reduction_objective
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import PatternPool
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import tasks_by_paper
from nester.verify import verify


@st.composite
def problems(draw):
    chance = Random(draw(st.integers(0, 2**32)))
    wants = []
    for number in range(chance.randint(1, 5)):
        width, height = (mm(10 * chance.randint(3, 20)) for _ in range(2))
        voids = (Rect(0, 0, width // 3, height // 2),) if chance.random() < 0.3 else ()
        wants.append(Demand(str(number), width, height, chance.randint(1, 12), voids=voids))
    stock = [
        StockItem(
            f"s{number}",
            mm(10 * chance.randint(20, 50)),
            mm(10 * chance.randint(20, 50)),
            chance.choice((None, 1, 2, 5)),
            Fraction(chance.randint(0, 40), 10),
            is_offcut=chance.random() < 0.3,
        )
        for number in range(chance.randint(1, 3))
    ]
    return Problem(
        tuple(wants),
        tuple(stock),
        chance.choice(list(Cuts)),
        mm(10 * chance.randint(3, 9)),
        Fraction(chance.choice((0, 25, 50, 100)), 100),
    )


@settings(max_examples=25, deadline=None)
@given(problems(), st.integers(0, 99))
def test_tidying_spoils_nothing(problem, seed):
    for task in tasks_by_paper(problem)[0]:
        table, pool = PatternEvaluator(problem, task), PatternPool(task)
        (before,) = sequential_plans(task, problem.cuts, Random(seed), 0, pool, never)
        after = reduce_patterns(task, problem.cuts, pool, table, before, 0.1)
        assert reduction_objective(table, after) <= reduction_objective(table, before)
        assert table.objective(after)[2] <= table.objective(before)[2]
        assert table.optimistic_objective(after) <= table.objective(after)
        assert after == reduce_patterns(task, problem.cuts, pool, table, before, 0.1)


SOLVE = import_module("nester.packing.search.solve")
FIRST = Budget(
    value_correction=2_000,
    exact=5_000,
    bounding=20_000,
    ruin_recreate=2_000,
    diving=20_000,
    pricing=20_000,
    completions=20_000,
    covering_time=0.02,
    reduction_time=0.1,
)
SECOND = Budget(
    value_correction=4_000,
    exact=10_000,
    bounding=40_000,
    ruin_recreate=4_000,
    diving=40_000,
    pricing=40_000,
    completions=40_000,
    covering_time=0.04,
    reduction_time=0.1,
)
SHORT = {Effort.QUICK: (FIRST,), Effort.NORMAL: (FIRST, SECOND)}
"""As the efforts are, only much less of each."""


@settings(max_examples=6, deadline=None)
@given(problems())
def test_every_answer_is_right_and_more_effort_is_never_worse(problem):
    with patch.object(SOLVE, "_ROUNDS", SHORT):
        quick, normal = (solve(problem, effort) for effort in SHORT)
    for answer in (quick, normal):
        assert verify(problem, answer) == []
    if not quick.unplaced and not normal.unplaced:
        assert normal.net_cost <= quick.net_cost
        assert max(quick.lower_bound, normal.lower_bound) <= normal.net_cost
