"""Tidying never spoils a plan, and net costs keep to their bounds."""

from fractions import Fraction
from importlib import import_module
from random import Random
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import mm
from nester.core.problem import Cuts, Effort, Problem, Rect, Stock, Want
from nester.packing import (
    never,
    solve,
)
from nester.packing.search.paper_search import Share
from nester.packing.search.pattern_reduction import tidiness, tidy
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import Pool
from nester.packing.task.pattern_value import Table
from nester.packing.task.task import split_by_paper
from nester.verify import (
    verify,
)


@st.composite
def problems(draw):
    chance = Random(draw(st.integers(0, 2**32)))
    wants = []
    for number in range(chance.randint(1, 5)):
        width, height = (mm(10 * chance.randint(3, 20)) for _ in range(2))
        voids = (Rect(0, 0, width // 3, height // 2),) if chance.random() < 0.3 else ()
        wants.append(Want(str(number), width, height, chance.randint(1, 12), voids=voids))
    stock = [
        Stock(
            f"s{number}",
            mm(10 * chance.randint(20, 50)),
            mm(10 * chance.randint(20, 50)),
            chance.choice((None, 1, 2, 5)),
            Fraction(chance.randint(0, 40), 10),
            offcut=chance.random() < 0.3,
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
    for task in split_by_paper(problem)[0]:
        table, pool = Table(problem, task), Pool(task)
        (before,) = sequential_plans(task, problem.cuts, Random(seed), 0, pool, never)
        after = tidy(task, problem.cuts, pool, table, before, 0.1)
        assert tidiness(table, after) <= tidiness(table, before)
        assert table.standing(after)[2] <= table.standing(before)[2]
        assert table.best_standing(after) <= table.standing(after)
        assert after == tidy(task, problem.cuts, pool, table, before, 0.1)


SOLVE = import_module("nester.packing.search.solve")
FIRST = Share(
    steps=2_000,
    settling=5_000,
    bounding=20_000,
    recreations=2_000,
    dives=20_000,
    slicing=20_000,
    completions=20_000,
    work=0.02,
    tidying=0.1,
)
SECOND = Share(
    steps=4_000,
    settling=10_000,
    bounding=40_000,
    recreations=4_000,
    dives=40_000,
    slicing=40_000,
    completions=40_000,
    work=0.04,
    tidying=0.1,
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
        assert normal.net <= quick.net
        assert max(quick.bound, normal.bound) <= normal.net
