from fractions import Fraction

from nester.core.lengths import mm
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import solve
from nester.packing.bounds.lower_bound import lower_bound
from nester.packing.task.task import ItemType, tasks_by_paper
from nester.verify import require_valid


def cross(panel, name="cross", quantity=1, **more):
    side = mm(panel)
    corners = tuple(Rect(x, y, side, side) for x in (0, 2 * side) for y in (0, 2 * side))
    return Demand(name, 3 * side, 3 * side, quantity, voids=corners, **more)


def sheet(width, height, quantity=None):
    return StockItem("sheet", mm(width), mm(height), quantity, Fraction(1))


def only_task(wants, stock=None, cuts=Cuts.FREE):
    (task,), _ = tasks_by_paper(Problem(tuple(wants), (stock or sheet(500, 700),), cuts))
    return task


def solved(wants, stock, cuts):
    problem = Problem(tuple(wants), (stock,), cuts)
    answer = solve(problem, Effort.QUICK)
    require_valid(problem, answer)
    return answer


def test_pieces_are_equal_only_if_their_voids_are():
    task = only_task(
        [
            cross(80, "one", 2),
            cross(80, "other", 3, turn=Turn.NONE),
            Demand("full", mm(240), mm(240), 1),
            Demand("l", mm(240), mm(240), 4, voids=(Rect(0, 0, mm(80), mm(80)),)),
        ]
    )
    assert [[one.demand.name for one in group] for group in task.blanks] == [
        ["full"],
        ["one", "other"],
        ["l"],
    ]
    # A quarter turn changes nothing of a cross, but the corner that an L lacks.
    assert [shape.rotatable for shape in task.item_types] == [False, False, True]
    assert [shape.is_rotation_symmetric for shape in task.item_types] == [True, True, False]
    assert [shape.solid_area for shape in task.item_types] == [9 * 16, 5 * 16, 8 * 16]


def test_pieces_with_voids_keep_their_sides_and_their_voids_are_scaled():
    void = Rect(mm(100), 0, mm(20), mm(30))
    task = only_task([Demand("l", mm(120), mm(200), 1, voids=(void,))])
    assert task.length_unit == mm(10)
    assert task.item_types == (ItemType(12, 20, 1, True, (Rect(10, 0, 2, 3),)),)
    assert task.item_types[0].voids_at(5, 7, False) == (Rect(15, 7, 2, 3),)
    assert task.item_types[0].voids_at(5, 7, True) == (Rect(22, 17, 3, 2),)


def test_straight_cuts_know_only_voids_that_hold_a_piece():
    tiers = [cross(80)]
    assert only_task(tiers, cuts=Cuts.STRAIGHT).item_types[0].voids == ()
    assert len(only_task(tiers).item_types[0].voids) == 4
    card = Demand("card", mm(60), mm(90), 1)
    assert only_task([*tiers, card], cuts=Cuts.STRAIGHT).item_types[0].voids == ()
    small = Demand("card", mm(60), mm(80), 1)
    assert len(only_task([*tiers, small], cuts=Cuts.STRAIGHT).item_types[0].voids) == 4


def test_voids_that_no_straight_cuts_would_part_are_not_all_used():
    wheel = (Rect(0, 0, 20, 12), Rect(20, 0, 12, 20), Rect(12, 20, 20, 12), Rect(0, 12, 12, 20))
    wants = [Demand("frame", 40, 40, 1, voids=wheel), Demand("card", 10, 10, 9)]
    stock = StockItem("sheet", 50, 40, None, Fraction(1))
    assert len(only_task(wants, stock, Cuts.STRAIGHT).item_types[0].voids) == 3
    assert len(only_task(wants, stock, Cuts.FREE).item_types[0].voids) == 4
    for cuts in Cuts:
        solved(wants, stock, cuts)


def test_mats_lie_in_the_corners_of_a_tier_either_way_of_cutting():
    wants = [cross(80, quantity=2), Demand("mat", mm(75), mm(75), 8)]
    for cuts in Cuts:
        answer = solved(wants, sheet(240, 480), cuts)
        assert answer.sheet_count == 1
        assert answer.optimality_gap == 0
        assert not answer.unplaced


def test_a_small_tier_lies_in_the_corner_of_a_large_one_and_a_mat_in_its():
    wants = [cross(90), cross(30, "small", 4), Demand("mat", mm(28), mm(30), 16)]
    for cuts in Cuts:
        assert solved(wants, sheet(270, 270), cuts).sheet_count == 1


def test_a_turned_piece_takes_its_voids_along():
    corner = Demand("l", mm(200), mm(100), 1, voids=(Rect(mm(150), 0, mm(50), mm(60)),))
    mat = Demand("mat", mm(50), mm(60), 1)
    for cuts in Cuts:
        answer = solved([corner, mat], sheet(100, 200), cuts)
        assert answer.sheet_count == 1
        assert {one.name: one.turned for one in answer.layouts[0].placed}["l"]


def test_the_bound_counts_what_is_solid():
    # Ten crosses with sixteen mats in corners: 10 · 5 + 16 panels of 8 × 8 cm on 3 × 9.
    wants = [cross(80, quantity=10), Demand("mat", mm(80), mm(80), 16)]
    assert lower_bound(only_task(wants, sheet(240, 720))) == 3
    # No mat fits a corner and no straight cut lets an arm in: each takes its whole blank.
    assert lower_bound(only_task(wants[:1], sheet(240, 720), Cuts.STRAIGHT)) == 4
    assert lower_bound(only_task(wants[:1], sheet(240, 720), Cuts.FREE)) < 4
