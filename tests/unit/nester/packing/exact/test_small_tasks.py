from fractions import Fraction

import pytest

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Problem, StockItem
from nester.packing import never, solve
from nester.packing.exact.feasible_contents import FeasiblePatterns, TooManyPatterns
from nester.packing.exact.small_tasks import solve_small_task
from nester.packing.task.pattern_pool import objective
from nester.packing.task.task import Placement, tasks_by_paper
from nester.verify import verify


def problem(pieces, sheets, cuts=Cuts.STRAIGHT, turn=Turn.ANY):
    wants = (Demand(f"w{n}", *piece, turn=turn) for n, piece in enumerate(pieces))
    stock = (
        StockItem(f"s{n}", w, h, number, Fraction(1)) for n, (w, h, number) in enumerate(sheets)
    )
    return Problem(tuple(wants), tuple(stock), cuts, smallest_offcut=1)


def task(*args, **kwargs):
    (only,), hopeless = tasks_by_paper(problem(*args, **kwargs))
    assert not hopeless
    return only


def contents(of_task, cuts, most_steps=10**6):
    return FeasiblePatterns(of_task, cuts, most_steps, 60.0, never)


RING = [(3, 2, 4)]
"""Four pieces that go round a hole of 1 × 1 in a sheet of 5 × 5; no straight cut parts them."""


def test_a_ring_is_held_by_free_cuts_only():
    ring = task(RING, [(5, 5, None)])
    assert list(contents(ring, Cuts.STRAIGHT).maximal(0, surely=True)) == [(3,)]
    by_knife = contents(ring, Cuts.FREE)
    assert (
        list(by_knife.maximal(0, surely=True)) == list(by_knife.maximal(0, surely=False)) == [(4,)]
    )
    spots = by_knife.placements(0, (4,))
    assert sorted(spot.turned for spot in spots) == [False, False, True, True]
    assert solve_small_task(ring, Cuts.STRAIGHT).cost == 2
    assert solve_small_task(ring, Cuts.FREE).cost == 1


def test_the_largest_contents_of_each_kind_of_sheet():
    two = task([(4, 4, 2), (2, 2, 9)], [(4, 8, None), (6, 4, None)])
    of_both = contents(two, Cuts.STRAIGHT)
    assert set(of_both.maximal(0, surely=True)) == {(2, 0), (1, 4), (0, 8)}
    assert set(of_both.maximal(1, surely=True)) == {(1, 2), (0, 6)}


def test_what_must_not_be_turned_lies_upright():
    upright = task([(3, 2, 2)], [(2, 6, None), (3, 4, None)], turn=Turn.NONE)
    of_both = contents(upright, Cuts.STRAIGHT)
    assert list(of_both.maximal(0, surely=True)) == []
    assert of_both.placements(1, (2,)) == (Placement(0, 0, 0, False), Placement(0, 0, 2, False))


def test_more_than_the_work_allowed_is_not_looked_at():
    many = task([(n, n + 1, 1) for n in range(3, 13)], [(30, 30, None)])
    with pytest.raises(TooManyPatterns):
        contents(many, Cuts.STRAIGHT, most_steps=100)
    assert (
        solve_small_task(task([(n, n + 1, 9) for n in range(3, 13)], [(30, 30, None)]), Cuts.FREE)
        is None
    )
    assert solve_small_task(many, Cuts.STRAIGHT, stop=lambda: True) is None


@pytest.mark.parametrize("cuts", list(Cuts))
def test_where_sheets_run_short_least_area_is_left_then_least_cost(cuts):
    # 5 × 5 and one 3 × 3 beside each other need the dear sheet; the cheap one takes no 5 × 5.
    short = Problem(
        (Demand("a", 5, 5, 2), Demand("b", 3, 3, 3)),
        (StockItem("dear", 5, 8, 1, Fraction(9)), StockItem("cheap", 4, 7, 2, Fraction(1, 3))),
        cuts,
        smallest_offcut=1,
    )
    (only,), _ = tasks_by_paper(short)
    settled = solve_small_task(only, cuts)
    assert objective(only, settled.plan)[:2] == (settled.unmet_area, settled.cost)
    assert settled.unmet_area == 25
    answer = solve(short)
    assert verify(short, answer) == []
    assert [(one.name, one.quantity) for one in answer.unplaced] == [("a", 1)]
    assert answer.cost == answer.lower_bound == 9 + Fraction(1, 3)
    assert "dive" not in answer.statistics


def test_sizes_beyond_the_solvers_numbers_are_left_to_others():
    huge = 10**11
    assert (
        solve_small_task(task([(huge, huge - 1, 1)], [(huge, huge + 1, None)]), Cuts.STRAIGHT)
        is None
    )
