from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Demand, Effort, Problem, Rect, StockItem
from nester.packing import OrderDemand, solve, solve_orders

CARD = Demand("card", cm(10), cm(8), 3)
SHEET = StockItem("sheet", cm(50), cm(70), 2, Fraction(3))


def with_voids(*voids):
    return replace(CARD, voids=voids)


@pytest.mark.parametrize(
    ("wants", "stock", "sentence"),
    [
        ((CARD, CARD), (SHEET,), "2 kinds of piece are named 'card'; each needs its own name"),
        ((CARD,), (SHEET,) * 3, "3 kinds of sheet are named 'sheet'; each needs its own name"),
        ((replace(CARD, width=0),), (SHEET,), "piece 'card' has a side that is not longer"),
        ((replace(CARD, height=-1),), (SHEET,), "piece 'card' has a side that is not longer"),
        ((CARD,), (replace(SHEET, width=-5),), "sheet 'sheet' has a side that is not longer"),
        ((replace(CARD, quantity=-1),), (SHEET,), "piece 'card' is wanted -1 times"),
        ((CARD,), (replace(SHEET, quantity=-2),), "of sheet 'sheet' there are -2"),
        ((CARD,), (replace(SHEET, price=Fraction(-1)),), "the price of sheet 'sheet' is -1"),
        (
            (with_voids(Rect(0, 0, 5, 5), Rect(4, 4, 5, 5)),),
            (SHEET,),
            "two voids of piece 'card' overlap",
        ),
        ((with_voids(Rect(-1, 0, 5, 5)),), (SHEET,), "a void of piece 'card' reaches out"),
        ((with_voids(Rect(cm(9), 0, cm(2), 5)),), (SHEET,), "a void of piece 'card' reaches out"),
        ((with_voids(Rect(0, cm(8), 5, 5)),), (SHEET,), "a void of piece 'card' reaches out"),
        ((with_voids(Rect(0, 0, 0, 5)),), (SHEET,), "a void of piece 'card' has a side"),
        ((with_voids(Rect(0, 0, cm(10), cm(8))),), (SHEET,), "piece 'card' is all void"),
    ],
)
def test_what_has_no_meaning_is_refused(wants, stock, sentence):
    with pytest.raises(Refusal, match=f"^{sentence}"):
        solve(Problem(wants, stock), Effort.QUICK)
    with pytest.raises(Refusal, match=f"^{sentence}"):
        solve_orders(Problem(wants, stock), (), Effort.QUICK)


def test_voids_may_touch_each_other_and_the_edge():
    half = cm(5)
    wants = (with_voids(Rect(0, 0, half, 5), Rect(half, 0, half, 5)),)
    assert not solve(Problem(wants, (SHEET,)), Effort.QUICK).unplaced


@pytest.mark.parametrize(
    ("claims", "sentence"),
    [
        ((OrderDemand(4, {"poster": 1}),), "order 4 wants piece 'poster', which is not described"),
        (
            (OrderDemand(4, {"card": -1}),),
            "order 4 wants -1 of piece 'card'; none or more would do",
        ),
        (
            (OrderDemand(4, {}), OrderDemand(4, {})),
            "order 4 stands 2 times in the batch; once would do",
        ),
    ],
)
def test_claims_without_meaning_are_refused(claims, sentence):
    with pytest.raises(Refusal, match=f"^{sentence}$"):
        solve_orders(Problem((CARD,), (SHEET,)), claims, Effort.QUICK)
