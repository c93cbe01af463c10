"""Buying together with cutting: what it keeps to beyond being cheapest."""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.layouts import Cuts, Effort, Problem, Stock, Want
from nester.measure import cm
from nester.offers import Offer, Terms
from nester.packing import purchase
from nester.pieces import Turn
from nester.refusal import Refusal
from nester.verify_purchase import require_purchase
from tests.benchmarks.purchases import on_hand, price_lists
from tests.benchmarks.weeks import make_week


def offer(name: str, width: int, height: int, price: str, pack: int = 1, **others) -> Offer:
    supplier = others.pop("supplier", "mill")
    return Offer(name, supplier, "", cm(width), cm(height), pack, Fraction(price), **others)


def squares(number: int, side: int = 30) -> Problem:
    return Problem((Want("square", cm(side), cm(side), number),), ())


def test_a_dearer_large_sheet_wins_where_it_saves_two_small_ones() -> None:
    offers = (offer("small", 50, 70, "1.90"), offer("large", 70, 100, "3.10"))
    bought = purchase(squares(4), offers, effort=Effort.QUICK)
    require_purchase(squares(4), offers, (), bought)
    assert [(one.offer.name, one.quantity) for one in bought.packs] == [("large", 1)]
    assert bought.cost == bought.bound == Fraction("3.10")


@pytest.mark.parametrize("cuts", list(Cuts))
def test_a_stop_at_the_very_start_leaves_a_sound_purchase(cuts: Cuts) -> None:
    problem = on_hand(make_week(1, 5, cuts).problem)
    offers, terms = price_lists(1)
    bought = purchase(problem, offers, terms, stop=lambda: True)
    require_purchase(problem, offers, terms, bought)
    assert bought.stopped
    assert not bought.answer.unplaced


def test_equal_input_has_an_equal_purchase() -> None:
    problem = on_hand(make_week(2, 2, Cuts.STRAIGHT).problem)
    offers, terms = price_lists(2, suppliers=2)
    one, other = (purchase(problem, offers, terms, Effort.QUICK) for _ in range(2))
    assert one == other


def test_more_is_bought_to_be_sent_for_nothing() -> None:
    offers = (offer("sheet", 50, 70, "4"),)
    terms = (Terms("mill", Fraction(5), Fraction(12)),)
    bought = purchase(squares(4), offers, terms, Effort.QUICK)
    require_purchase(squares(4), offers, terms, bought)
    assert (bought.cost, bought.bound) == (Fraction(12), Fraction(12))
    assert bought.left_over() == {"sheet": 1}


def test_sheets_beside_those_that_are_cut() -> None:
    offers = (offer("sheet", 50, 70, "4", 2),)
    bought = purchase(squares(2), offers, (), Effort.QUICK, also={"sheet": 2})
    assert bought.cost == bought.bound == Fraction(8)
    assert bought.left_over() == {"sheet": 3}
    alone = purchase(squares(0), offers, (), Effort.QUICK, also={"sheet": 3})
    assert (alone.cost, alone.left_over()) == (Fraction(8), {"sheet": 4})


def test_what_fits_only_what_lies_there_comes_from_it() -> None:
    stock = (Stock("long", cm(120), cm(20), 2, Fraction(3)),)
    wants = (
        Want("strip", cm(110), cm(15), 3, turn=Turn.NONE),
        Want("square", cm(30), cm(30), 1),
    )
    problem = Problem(wants, stock)
    offers = (offer("sheet", 50, 70, "4"),)
    bought = purchase(problem, offers, (), Effort.QUICK)
    require_purchase(problem, offers, (), bought)
    assert [(one.name, one.quantity) for one in bought.answer.unplaced] == [("strip", 1)]
    assert bought.cost == bought.bound == Fraction(4)


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        (offer("a", 50, 70, "4", 0), "packs of 0 sheets"),
        (offer("a", 50, 70, "-4"), "the price of offer 'a'"),
        (offer("a", 50, 70, "4", least_packs=0), "asks for 0 packs"),
        (offer("a", 0, 70, "4"), "a side that is not longer than nothing"),
    ],
)
def test_offers_without_meaning_are_refused(bad: Offer, why: str) -> None:
    with pytest.raises(Refusal, match=why):
        purchase(squares(1), (bad,))


def test_terms_without_meaning_are_refused() -> None:
    offers = (offer("a", 50, 70, "4"),)
    with pytest.raises(Refusal, match="2 terms"):
        purchase(squares(1), offers, (Terms("mill"), Terms("mill")))
    with pytest.raises(Refusal, match="less than nothing"):
        purchase(squares(1), offers, (Terms("mill", Fraction(-1)),))
