"""The gap between pieces is kept across or down: in plans, in the proof and by the judge alike."""

from __future__ import annotations

from fractions import Fraction

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Problem, StockItem
from nester.packing import solve
from nester.verify import require_valid


def two_squares(gap: int, sheet: int) -> Problem:
    stock = StockItem("sheet", mm(sheet), mm(sheet), None, Fraction(1))
    return Problem((Demand("square", mm(100), mm(100), 2),), (stock,), Cuts.FREE, gap=mm(gap))


def test_pieces_at_a_corner_keep_the_gap_across_or_down() -> None:
    # Corner to corner on 215 × 215 mm they would be 15 mm apart across and 15 mm down, 21.2 mm
    # straight: too near by the rule, so two sheets are needed, and that is proven.
    plan = solve(two_squares(20, 215))
    require_valid(two_squares(20, 215), plan)
    assert plan.cost == plan.lower_bound == 2


def test_one_direction_is_enough() -> None:
    problem = two_squares(20, 220)
    plan = solve(problem)
    require_valid(problem, plan)
    assert plan.cost == plan.lower_bound == 1
