"""How many equal objects the stock suffices for: counted, planned and proven."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing.orders.most_copies import most_copies
from nester.verify import verify


def problem(wants: list[tuple[int, int, int]], sheets: list[tuple[int, int, int]]) -> Problem:
    return Problem(
        tuple(Demand(f"w{n}", w, h, q, "card") for n, (w, h, q) in enumerate(wants)),
        tuple(
            StockItem(f"s{n}", w, h, q, Fraction(1), "card") for n, (w, h, q) in enumerate(sheets)
        ),
        smallest_offcut=5,
    )


@pytest.mark.parametrize(
    ("wants", "sheets", "number"),
    [
        ([(10, 10, 1)], [(30, 20, 2)], 12),  # six on each sheet
        ([(10, 10, 4)], [(30, 20, 2)], 3),
        ([(7, 7, 1)], [(20, 20, 3)], 12),  # the area would suffice for 24
        ([(6, 10, 1)], [(20, 16, 1)], 5),  # three upright, two turned below them
        ([(12, 5, 1), (5, 5, 1)], [(12, 10, 2)], 2),
        ([(10, 10, 1), (3, 3, 9)], [(10, 10, 3), (9, 9, 1)], 2),
        ([(10, 10, 1)], [(9, 30, 5)], 0),
        ([(10, 10, 5)], [(10, 10, 4)], 0),
    ],
)
def test_what_can_be_counted(
    wants: list[tuple[int, int, int]], sheets: list[tuple[int, int, int]], number: int
) -> None:
    most = most_copies(problem(wants, sheets))
    assert (most.lower_bound, most.upper_bound) == (number, number)
    assert most.is_optimal


def test_each_paper_by_itself_and_the_scarcest_counts() -> None:
    card = problem([(10, 10, 1)], [(30, 20, 2)])
    mats = [replace(want, name="mat", paper="mat") for want in card.demands]
    few = [replace(sheet, name="few", paper="mat", quantity=1) for sheet in card.stock]
    whole = replace(card, demands=(*card.demands, *mats), stock=(*card.stock, *few))
    most = most_copies(whole)
    assert (most.lower_bound, most.upper_bound, most.limiting_papers) == (6, 6, ("mat",))
    for one, answer in most.plans:
        assert verify(one, answer) == []


def test_what_fits_no_sheet_is_said() -> None:
    most = most_copies(problem([(10, 10, 1), (40, 40, 1)], [(30, 20, 2)]))
    assert (most.lower_bound, most.upper_bound) == (0, 0)
    assert most.limiting_papers == ("w1: it is larger than every sheet of its paper",)


@pytest.mark.parametrize("cuts", list(Cuts))
def test_pieces_in_the_corners_of_others_count(cuts: Cuts) -> None:
    voids = (Rect(0, 0, 10, 10), Rect(20, 0, 10, 10), Rect(0, 20, 10, 10), Rect(20, 20, 10, 10))
    cross = Demand("cross", 30, 30, 1, "card", voids=voids)
    small = Demand("small", 10, 10, 4, "card")
    stock = (StockItem("s", 30, 30, 5, Fraction(1), "card"),)
    most = most_copies(Problem((cross, small), stock, cuts, smallest_offcut=5))
    assert (most.lower_bound, most.upper_bound) == (5, 5)


def test_the_numbers_are_shown_by_plans_and_more_effort_is_no_worse() -> None:
    hard = problem([(13, 8, 1), (7, 5, 2)], [(30, 20, 2), (17, 21, 1)])
    before = most_copies(hard, Effort.QUICK)
    after = most_copies(hard, Effort.NORMAL)
    assert 0 < before.lower_bound <= after.lower_bound <= after.upper_bound <= before.upper_bound
    ((one, answer),) = after.plans
    assert verify(one, answer) == []
    left = {unplaced.name: unplaced.quantity for unplaced in answer.unplaced}
    for want, each in zip(one.demands, (1, 2), strict=True):
        assert want.quantity - left.get(want.name, 0) >= each * after.lower_bound


def test_endless_stock_has_no_answer() -> None:
    endless = problem([(1, 1, 1)], [(2, 2, 1)])
    endless = replace(endless, stock=(replace(endless.stock[0], quantity=None),))
    with pytest.raises(ValueError, match="no end"):
        most_copies(endless)
