"""Problems far from a maker's week: each gets a plan that the judge accepts."""

import importlib
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from random import Random
from unittest.mock import patch

import pytest

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.packing.search.paper_search import Budget
from nester.verify import verify

# The door hides the module of its name.
SOLVE = importlib.import_module("nester.packing.search.solve")


def want(name, width, height, quantity, paper=""):
    return Demand(name, mm(width), mm(height), quantity, paper)


def stock(name, width, height, quantity, price, paper=""):
    return StockItem(name, mm(width), mm(height), quantity, Fraction(price), paper)


SHEETS = stock("large", 700, 1000, None, 3), stock("small", 500, 700, None, 2)


def some_wants(number, largest=300, seed=1):
    chance = Random(f"extremes {seed}")
    return tuple(
        want(
            f"p{i}", chance.randint(20, largest), chance.randint(20, largest), chance.randint(1, 9)
        )
        for i in range(number)
    )


LITTLE = Budget(
    value_correction=2_000,
    exact=10_000,
    bounding=20_000,
    ruin_recreate=2_000,
    covering_time=0.01,
    reduction_time=0.02,
)
"""A round as those of each effort, only with less of all: where it is the size that matters."""


def planned(wants, sheets, cuts=Cuts.STRAIGHT):
    problem = Problem(tuple(wants), tuple(sheets), cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    return answer


both = pytest.mark.parametrize("cuts", Cuts)


@both
def test_a_million_pieces(cuts):
    wants = want("a", 100, 70, 10**6), want("b", 53, 41, 10**6), want("c", 210, 148, 300_000)
    answer = planned(wants, SHEETS, cuts)
    assert answer.unplaced == ()
    assert answer.optimality_gap < Fraction(1, 20)


def test_a_million_pieces_on_few_sheets():
    few = [replace(one, quantity=500) for one in SHEETS]
    wants = want("a", 100, 70, 10**6), want("b", 53, 41, 10**6)
    answer = planned(wants, few)
    assert answer.sheet_count == 1000
    placed = Counter()
    for layout in answer.layouts:
        placed.update({p.name: 0 for p in layout.placed})
        for one in layout.placed:
            placed[one.name] += layout.copies
    unplaced = {one.name: one.quantity for one in answer.unplaced}
    assert {name: placed[name] + unplaced.get(name, 0) for name in "ab"} == {
        "a": 10**6,
        "b": 10**6,
    }


@both
@patch.object(SOLVE, "_ROUNDS", {Effort.QUICK: (LITTLE,)})
def test_five_hundred_offcuts(cuts):
    chance = Random("offcuts")
    sheets = [
        stock(f"s{i}", chance.randint(60, 400), chance.randint(60, 600), 1, chance.randint(1, 500))
        for i in range(500)
    ]
    assert planned(some_wants(40, 150), sheets, cuts).unplaced == ()


@both
def test_small_pieces_on_ten_metres(cuts):
    answer = planned(
        [want("a", 3, 3, 3000), want("b", 3, 5, 100)], [stock("s", 10_000, 10_000, None, 50)], cuts
    )
    assert (answer.sheet_count, answer.optimality_gap) == (1, 0)


@both
def test_pieces_as_large_as_the_sheet(cuts):
    wants = want("a", 700, 1000, 40), want("b", 700, 500, 3)
    answer = planned(wants, SHEETS, cuts)
    assert (answer.cost, answer.optimality_gap) == (40 * 3 + 2 + 3, 0)


@both
def test_paper_that_costs_nothing(cuts):
    answer = planned(some_wants(20), [replace(one, price=Fraction(0)) for one in SHEETS], cuts)
    assert (answer.unplaced, answer.cost, answer.lower_bound) == ((), 0, 0)


def test_prices_far_apart():
    sheets = (
        stock("gold", 700, 1000, None, 10**12),
        stock("plain", 500, 700, 4, 1),
        stock("scrap", 310, 310, 5, Fraction(1, 10_000)),
    )
    answer = planned(some_wants(20), sheets)
    assert answer.unplaced == ()
    assert answer.lower_bound <= answer.cost


@pytest.mark.parametrize(
    "sheets",
    [
        [],
        [stock("none", 700, 1000, 0, 3)],
        [stock("slim", 60, 200, 9, 1), stock("little", 50, 50, None, 3)],
        [stock("other", 700, 1000, None, 3, "another paper")],
    ],
)
def test_nothing_fits(sheets):
    answer = planned([want("a", 100, 70, 5), want("b", 90, 61, 10**6)], sheets)
    assert [(one.name, one.quantity) for one in answer.unplaced] == [("a", 5), ("b", 10**6)]
    assert (answer.layouts, answer.cost, answer.lower_bound) == ((), 0, 0)


@pytest.mark.parametrize("sheets", [(), SHEETS])
def test_nothing_is_wanted(sheets):
    answer = planned([], sheets)
    assert (answer.layouts, answer.unplaced, answer.cost) == ((), (), 0)


@both
def test_lengths_with_no_common_divisor(cuts):
    wants = Demand("a", 24_001, 24_007, 50), Demand("b", 100_003, 50_021, 20)
    sheet = StockItem("s", mm(700) + 1, mm(1000) + 7, None, Fraction(1, 3))
    answer = planned(wants, [sheet], cuts)
    assert (answer.sheet_count, answer.cost) == (1, Fraction(1, 3))


@patch.object(SOLVE, "_ROUNDS", {Effort.QUICK: (LITTLE,)})
def test_a_thousand_kinds_of_piece():
    chance = Random("kinds")
    wants = [
        want(f"p{i}", chance.randint(20, 300), chance.randint(20, 300), 1) for i in range(1000)
    ]
    answer = planned(wants, SHEETS)
    assert answer.unplaced == ()
    assert answer.optimality_gap < Fraction(1, 10)


def test_forty_papers():
    wants = [replace(one, paper=f"q{i % 40}") for i, one in enumerate(some_wants(80))]
    sheets = [replace(SHEETS[0], name=f"s{i}", paper=f"q{i}") for i in range(40)]
    assert planned(wants, sheets).unplaced == ()
