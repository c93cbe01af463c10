from fractions import Fraction

import pytest

from nester.core.lengths import inch, mm
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Problem, Rect, StockItem
from nester.packing.task.task import BinType, ItemType, Placement, Task, item_counts, tasks_by_paper


def want(name, width, height, quantity=1, paper="", turn=Turn.ANY):
    return Demand(name, mm(width), mm(height), quantity, paper, turn)


def stock(name, width, height, quantity=None, price=1, paper=""):
    return StockItem(name, mm(width), mm(height), quantity, Fraction(price), paper)


def only_task(*things):
    wants = tuple(one for one in things if isinstance(one, Demand))
    sheets = tuple(one for one in things if isinstance(one, StockItem))
    (task,), hopeless = tasks_by_paper(Problem(wants, sheets))
    assert not hopeless
    return task


def test_each_paper_has_its_own_task():
    problem = Problem(
        (want("a", 10, 10, paper="red"), want("b", 20, 20), want("c", 30, 30, paper="red")),
        (stock("s", 50, 50), stock("t", 70, 70, paper="red"), stock("u", 9, 9, paper="blue")),
    )
    tasks, hopeless = tasks_by_paper(problem)
    assert not hopeless
    assert [task.paper for task in tasks] == ["red", ""]
    assert [[one.stock.name for one in task.sheets] for task in tasks] == [["t"], ["s"]]
    assert [[[one.demand.name for one in group] for group in task.blanks] for task in tasks] == [
        [["c"], ["a"]],
        [["b"]],
    ]


def test_equal_rectangles_are_one_shape():
    task = only_task(
        want("upright", 20, 30, 2),
        want("fixed", 20, 30, 5, turn=Turn.NONE),
        want("lying", 30, 20, 3),
        want("grain", 20, 30, 7, turn=Turn.HALF),
        want("square", 20, 20, 1),
        want("fixed square", 20, 20, 1, turn=Turn.NONE),
        stock("s", 100, 100),
    )
    assert task.item_types == (
        ItemType(2, 3, 12, False),
        ItemType(3, 2, 5, True),
        ItemType(2, 2, 2, False),
    )
    assert [[one.demand.name for one in group] for group in task.blanks] == [
        ["fixed", "grain"],
        ["upright", "lying"],
        ["square", "fixed square"],
    ]
    assert task.demand == (12, 5, 2)


def test_lengths_are_divided_by_what_divides_them_all():
    task = only_task(want("a", 54, 36), stock("s", 560, 710), stock("too small to matter", 35, 999))
    assert task.length_unit == mm(2)
    assert task.item_types == (ItemType(27, 18, 1, True),)
    assert task.bin_types == (BinType(280, 355, None, 1),)
    mixed = only_task(want("a", 54, 36), StockItem("in", inch(12), inch(12), None, Fraction(1)))
    assert mixed.length_unit == mm("1.2")
    prime = only_task(Demand("a", 7, 5, 1), StockItem("s", 11, 13, None, Fraction(1)))
    assert prime.length_unit == 1


def test_prices_are_whole_in_the_largest_unit():
    task = only_task(
        want("a", 5, 5),
        stock("s", 10, 10, price=Fraction(1, 3)),
        stock("t", 10, 10, price=Fraction(3, 4)),
        stock("u", 10, 10, price=0),
    )
    assert task.price_unit == Fraction(1, 12)
    assert [kind.price for kind in task.bin_types] == [4, 9, 0]
    assert task.exact_cost({0: 2, 1: 1, 2: 5}) == Fraction(2, 3) + Fraction(3, 4)


def test_prices_too_far_apart_are_rounded_down():
    cheap, dear = Fraction(1, 10**30), Fraction(10**30) + Fraction(1, 7)
    task = only_task(
        want("a", 5, 5), stock("s", 10, 10, price=cheap), stock("t", 10, 10, price=dear)
    )
    for kind, price in zip(task.bin_types, (cheap, dear), strict=True):
        assert kind.price <= 2**40
        assert kind.price * task.price_unit <= price < (kind.price + 1) * task.price_unit
    assert task.exact_cost({0: 1, 1: 1}) == cheap + dear


def test_sheets_that_cost_nothing():
    task = only_task(want("a", 5, 5), stock("s", 10, 10, price=0))
    assert (task.price_unit, task.bin_types[0].price) == (1, 0)


def test_the_most_of_a_kind():
    task = only_task(want("a", 5, 5, 3), stock("s", 9, 9), stock("t", 9, 9, 2), stock("u", 9, 9, 8))
    assert [task.max_sheets(kind) for kind in range(3)] == [3, 2, 3]
    assert task.with_demand([1]).demand == (1,)
    assert task.with_demand([1]).max_sheets(2) == 1


def test_why_a_want_is_hopeless():
    problem = Problem(
        (
            want("too long", 80, 5),
            want("too long both ways", 60, 60),
            want("no turn", 30, 60, turn=Turn.NONE),
            want("half a turn", 30, 60, turn=Turn.HALF),
            want("turned", 30, 60),
            want("red", 5, 5, paper="red"),
            want("blue", 5, 5, paper="blue"),
            want("long and green", 80, 5, paper="green"),
        ),
        (stock("s", 70, 50), stock("r", 70, 50, 0, paper="red"), stock("g", 70, 50, paper="green")),
    )
    tasks, hopeless = tasks_by_paper(problem)
    assert [(one.name, why) for one, why in hopeless] == [
        ("too long", "it is larger than every sheet"),
        ("too long both ways", "it is larger than every sheet"),
        ("no turn", "it fits no sheet without a turn that it may not make"),
        ("half a turn", "it fits no sheet without a turn that it may not make"),
        ("red", "there is no sheet of paper 'red'"),
        ("blue", "there is no sheet of paper 'blue'"),
        ("long and green", "it is larger than every sheet of its paper"),
    ]
    assert [one.demand for task in tasks for (one,) in task.blanks] == [problem.demands[4]]


def test_no_sheet_at_all():
    _, hopeless = tasks_by_paper(Problem((want("a", 5, 5),), ()))
    assert [why for _, why in hopeless] == ["there is no sheet"]


def test_usage_counts_shapes():
    assert item_counts(
        [Placement(1, 0, 0, False), Placement(0, 5, 0, False), Placement(1, 9, 0, True)]
    ) == {1: 2, 0: 1}


def test_no_shape_is_all_void():
    quarters = tuple(Rect(x, y, 1, 4) for x in (0, 1) for y in (0, 4))
    sheets = (BinType(12, 12, None, 1),)
    with pytest.raises(ValueError, match=r"^a 2 × 8 shape is all void$"):
        Task("", (ItemType(2, 8, 1, False, quarters),), sheets, (), (), 1, Fraction(1))
    Task("", (ItemType(2, 8, 1, False, quarters[1:]),), sheets, (), (), 1, Fraction(1))


@pytest.mark.parametrize("cuts", Cuts)
@pytest.mark.parametrize("gap", [0, 1, 2, 50])
def test_what_is_solid_of_a_piece_stays_so_with_a_gap(cuts, gap):
    around = (Rect(0, 0, 9, 1), Rect(0, 1, 1, 7), Rect(2, 1, 7, 7), Rect(0, 8, 9, 1))
    crumb = Demand("crumb", 9, 9, 1, voids=around)
    problem = Problem((crumb, Demand("a", 1, 1, 1)), (stock("s", 9, 9),), cuts, gap=gap)
    (task,), _ = tasks_by_paper(problem)
    for members, shape in zip(task.blanks, task.item_types, strict=True):
        (blank,) = members
        if blank.demand is crumb:
            assert 0 < shape.solid_area <= shape.area
