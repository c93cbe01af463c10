from collections import Counter
from fractions import Fraction

from nester.core.lengths import mm
from nester.core.problem import Demand, Effort, Problem, StockItem
from nester.packing import OrderDemand, solve, solve_orders, unused_stock
from nester.verify import verify


def want(name, side, paper=""):
    return Demand(name, mm(side), mm(side), 1, paper)


def stock(name, side, quantity, paper=""):
    return StockItem(name, mm(side), mm(side), quantity, Fraction(side * side), paper)


WANTS = (want("large", 100), want("small", 50), want("red", 50, "red"))


def decided(sheets, *claims):
    problem = Problem(WANTS, tuple(sheets))
    verdict = solve_orders(
        problem, [OrderDemand(n, pieces) for n, pieces in enumerate(claims, 1)], Effort.QUICK
    )
    assert verify(verdict.problem, verdict.cutting_plan) == []
    assert not verdict.cutting_plan.unplaced
    assert sorted(verdict.made + verdict.waiting) == list(range(1, len(claims) + 1))
    made = Counter()
    for layout in verdict.cutting_plan.layouts:
        for piece in layout.placed:
            made[piece.name] += layout.copies
    asked = Counter()
    for number in verdict.made:
        asked.update(claims[number - 1])
    assert made == asked
    return verdict


def test_all_orders_are_made_where_there_is_paper():
    sheets = [stock("s", 100, None), stock("r", 100, 1, "red")]
    verdict = decided(sheets, {"large": 1, "red": 2}, {"small": 3, "red": 2})
    assert verdict.made == (1, 2)
    assert verdict.waiting == verdict.shortfalls == ()


def test_an_order_is_made_whole_or_not_at_all():
    sheets = [stock("s", 100, 4), stock("r", 50, 1, "red")]
    verdict = decided(sheets, {"large": 1, "red": 2}, {"large": 2}, {"small": 1, "red": 1})
    # The first lacks one red piece; the white paper it would take is free for the others.
    assert verdict.made == (2, 3)
    assert verdict.waiting == (1,)
    assert [(lack.order, lack.name, lack.quantity) for lack in verdict.shortfalls] == [
        (1, "red", 2)
    ]


def test_the_most_urgent_comes_first():
    verdict = decided([stock("s", 100, 2)], {"large": 1}, {"large": 2}, {"large": 1})
    assert verdict.made == (1, 3)
    assert [(lack.order, lack.quantity) for lack in verdict.shortfalls] == [(2, 2)]


def test_what_fits_no_sheet_is_lacking_with_its_reason():
    verdict = decided([stock("s", 60, 9)], {"small": 1}, {"small": 1, "large": 1})
    assert verdict.made == (1,)
    assert [(lack.name, lack.why) for lack in verdict.shortfalls] == [
        ("large", "it is larger than every sheet")
    ]


def test_no_paper_and_no_orders():
    nothing = decided([stock("s", 100, 1)])
    assert nothing.made == nothing.waiting == nothing.cutting_plan.layouts == ()
    verdict = decided([], {"large": 1}, {"small": 1})
    assert verdict.waiting == (1, 2)
    assert [lack.name for lack in verdict.shortfalls] == ["large", "small"]


def test_left_over():
    sheets = (stock("s", 100, 3), stock("t", 50, None))
    problem = Problem((Demand("large", mm(100), mm(100), 2),), sheets)
    answer = solve(problem, Effort.QUICK)
    assert [one.quantity for one in unused_stock(sheets, answer)] == [1, None]
    assert [one.quantity for one in sheets] == [3, None]
