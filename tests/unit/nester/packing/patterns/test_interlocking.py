from fractions import Fraction
from random import Random

import pytest

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import solve
from nester.packing.patterns.interlocking import Interlocking
from nester.packing.task.task import tasks_by_paper
from nester.verify import require_valid


def cross(panel, quantity, name="cross", wall=None):
    """A cross of a base and four walls, all as wide as the base."""
    side, high = mm(panel), mm(wall or panel)
    whole = side + 2 * high
    corners = tuple(Rect(x, y, high, high) for x in (0, whole - high) for y in (0, whole - high))
    return Demand(name, whole, whole, quantity, voids=corners)


def sheet(width, height, quantity=1):
    return StockItem("sheet", mm(width), mm(height), quantity, Fraction(1))


def solved(wants, stock, effort=Effort.QUICK):
    problem = Problem(tuple(wants), (stock,), Cuts.FREE)
    answer = solve(problem, effort)
    require_valid(problem, answer)
    return answer


def count(answer):
    return sum(len(layout.placed) * layout.copies for layout in answer.layouts)


# Counts: found by a constraint solver in 30 s on two cores, the first proved the most possible.
@pytest.mark.parametrize(
    ("width", "height", "panel", "known"),
    [(560, 710, 80, 7), (560, 710, 70, 10), (560, 710, 60, 13), (500, 700, 60, 12),
     (500, 650, 70, 8), (594, 841, 80, 9)],
)  # fmt: skip
def test_crosses_on_one_sheet(width, height, panel, known):
    problem = Problem((cross(panel, 20),), (sheet(width, height),), Cuts.FREE)
    (task,), _ = tasks_by_paper(problem)
    interlocking = Interlocking(task, Random(1))
    assert max(len(p.placements) for p in interlocking.patterns(lambda: False)) >= known
    assert interlocking.max_copies[0] == (known,)


def test_a_search_ends_when_no_sheet_holds_more():
    answer = solved([cross(80, 20)], sheet(560, 710), Effort.THOROUGH)
    assert count(answer) == 7
    assert answer.optimality_gap == 0
    assert answer.unplaced[0].quantity == 13


def test_how_many_sheets_crosses_need_is_proven():
    answer = solved([cross(70, 21)], sheet(560, 710, None))
    assert (answer.sheet_count, answer.optimality_gap) == (3, 0)
    assert solved([cross(70, 20)], sheet(560, 710, None)).sheet_count == 2


def test_other_pieces_lie_between_crosses():
    # Seven crosses leave a strip of 710 − 640 beside them, and holes of a panel.
    wants = [cross(80, 7), Demand("strip", mm(560), mm(70), 1), Demand("mat", mm(80), mm(80), 8)]
    assert solved(wants, sheet(560, 710)).unplaced == ()


def test_crosses_of_two_sizes_reach_into_each_other():
    wants = [cross(80, 4, "large"), cross(60, 4, "small")]
    answer = solved(wants, sheet(560, 710))
    # As squares 4 large ones and no small one, or 2 and 3, lie on the sheet.
    assert count(answer) >= 7


def test_walls_lower_than_the_base_is_wide():
    # Arms of 90 × 40 in corners of 40 × 40 can't reach into each other.
    answer = solved([cross(90, 9, wall=40)], sheet(510, 510))
    assert count(answer) == 9
    assert answer.optimality_gap == 0


def test_a_stop_ends_it():
    problem = Problem((cross(80, 20),), (sheet(560, 710),), Cuts.FREE)
    (task,), _ = tasks_by_paper(problem)
    interlocking = Interlocking(task, Random(1))
    assert list(interlocking.patterns(lambda: True)) == []
    assert interlocking.max_copies == {}


def test_a_million_crosses_are_counted_and_not_multiplied():
    answer = solved([cross(80, 10**6)], sheet(560, 710, None))
    assert answer.sheet_count == -(-(10**6) // 7)
    assert answer.optimality_gap == 0
