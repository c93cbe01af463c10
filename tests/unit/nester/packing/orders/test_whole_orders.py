from collections import Counter
from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import cm
from nester.core.piece import Turn
from nester.core.problem import (
    Cuts,
    CuttingPlan,
    Demand,
    Effort,
    Layout,
    PlacedPiece,
    Problem,
    StockItem,
)
from nester.packing import OrderDemand, Shortfall, solve, solve_orders, unused_stock
from nester.verify import verify

CARD = Demand("card", cm(10), cm(10), 0)
POSTER = Demand("poster", cm(20), cm(20), 0)
SHEETS = StockItem("sheet", cm(20), cm(20), 1, Fraction(2))
"""Room for one poster or four cards."""


def problem(*stock, wants=(CARD, POSTER), cuts=Cuts.STRAIGHT):
    return Problem(tuple(wants), stock, cuts)


def verdict_on(task, *claims):
    verdict = solve_orders(task, claims, Effort.QUICK)
    assert verify(verdict.problem, verdict.cutting_plan) == []
    assert verdict.cutting_plan.unplaced == ()
    assert pieces_made(verdict.cutting_plan) == pieces_wanted(claims, verdict.made)
    return verdict


def pieces_made(answer):
    made = Counter()
    for layout in answer.layouts:
        for one in layout.placed:
            made[one.name] += layout.copies
    return made


def pieces_wanted(claims, orders):
    wanted = Counter()
    for claim in claims:
        if claim.order in orders:
            wanted.update(claim.pieces)
    return +wanted


def test_enough_paper_makes_all():
    claims = OrderDemand(3, {"card": 2}), OrderDemand(9, {"poster": 1})
    verdict = verdict_on(problem(replace(SHEETS, quantity=2)), *claims)
    assert verdict.made == (3, 9)
    assert verdict.waiting == ()
    assert verdict.shortfalls == ()
    assert verdict.cutting_plan.cost == 4


def test_no_orders_take_nothing():
    verdict = verdict_on(problem(SHEETS))
    assert (verdict.made, verdict.waiting, verdict.shortfalls) == ((), (), ())
    assert verdict.cutting_plan.layouts == ()
    assert verdict.cutting_plan.cost == 0


def test_an_order_is_made_whole_or_not_at_all():
    verdict = verdict_on(problem(SHEETS), OrderDemand(1, {"card": 5}))
    assert verdict.made == ()
    assert verdict.waiting == (1,)
    assert verdict.cutting_plan.layouts == ()
    assert verdict.shortfalls == (Shortfall(1, "card", 1, "the sheets of its paper are used up"),)


def test_the_most_urgent_comes_first():
    verdict = verdict_on(
        problem(SHEETS), OrderDemand(7, {"poster": 1}), OrderDemand(2, {"card": 1})
    )
    assert (verdict.made, verdict.waiting) == ((7,), (2,))
    verdict = verdict_on(
        problem(SHEETS), OrderDemand(2, {"card": 1}), OrderDemand(7, {"poster": 1})
    )
    assert (verdict.made, verdict.waiting) == ((2,), (7,))


def test_an_urgent_order_that_cannot_be_finished_takes_nothing_from_a_later_one():
    claims = OrderDemand(1, {"card": 5}), OrderDemand(2, {"card": 2}), OrderDemand(3, {"card": 2})
    verdict = verdict_on(problem(SHEETS), *claims)
    assert (verdict.made, verdict.waiting) == ((2, 3), (1,))
    assert verdict.shortfalls == (Shortfall(1, "card", 5, "the sheets of its paper are used up"),)


def test_what_lacks_one_paper_takes_none_of_another():
    red, blue = replace(CARD, name="red", paper="red"), replace(CARD, name="blue", paper="blue")
    stock = (
        replace(SHEETS, name="r", paper="red"),
        StockItem("b", cm(10), cm(20), 1, Fraction(1), "blue"),
    )
    claims = (
        OrderDemand(1, {"red": 4, "blue": 3}),
        OrderDemand(2, {"red": 4}),
        OrderDemand(3, {"blue": 1}),
    )
    verdict = verdict_on(problem(*stock, wants=(red, blue)), *claims)
    assert (verdict.made, verdict.waiting) == ((2, 3), (1,))
    assert {(one.order, one.name): one.quantity for one in verdict.shortfalls} == {
        (1, "red"): 4,
        (1, "blue"): 3,
    }


def test_what_is_lacking_is_lacked_by_the_latest():
    waiting = OrderDemand(1, {"poster": 2}), OrderDemand(2, {"poster": 2})
    verdict = verdict_on(problem(SHEETS), *waiting)
    assert (verdict.made, verdict.waiting) == ((), (1, 2))
    assert [(one.order, one.quantity) for one in verdict.shortfalls] == [(1, 1), (2, 2)]


def test_orders_come_back_in_the_order_they_were_given():
    claims = [OrderDemand(number, {"card": 1}) for number in (9, 4, 7, 1, 8)]
    verdict = verdict_on(problem(SHEETS), *claims)
    assert (verdict.made, verdict.waiting) == ((9, 4, 7, 1), (8,))


@pytest.mark.parametrize(
    ("want", "why"),
    [
        (Demand("big", cm(30), cm(21), 0), "it is larger than every sheet"),
        (
            Demand("odd", cm(5), cm(5), 0, "gold"),
            "there is no sheet of paper 'gold'",
        ),
        (
            Demand("tall", cm(10), cm(25), 0, "", Turn.NONE),
            "it fits no sheet without a turn that it may not make",
        ),
    ],
)
def test_a_hopeless_piece_keeps_its_own_order_waiting_and_no_other(want, why):
    stock = SHEETS, StockItem("strip", cm(25), cm(10), 3, Fraction(1))
    claims = OrderDemand(1, {want.name: 2, "card": 1}), OrderDemand(2, {"card": 4})
    verdict = verdict_on(problem(*stock, wants=(CARD, want)), *claims)
    assert (verdict.made, verdict.waiting) == ((2,), (1,))
    assert verdict.shortfalls == (Shortfall(1, want.name, 2, why),)


def test_an_order_of_nothing_is_made():
    verdict = verdict_on(problem(SHEETS), OrderDemand(1, {}), OrderDemand(2, {"poster": 2}))
    assert (verdict.made, verdict.waiting) == ((1,), (2,))


def test_the_problem_is_cut_down_to_what_is_made():
    claims = OrderDemand(1, {"card": 3}), OrderDemand(2, {"poster": 1})
    verdict = verdict_on(problem(SHEETS), *claims)
    assert verdict.problem.demands == (replace(CARD, quantity=3),)
    assert verdict.problem.stock == (SHEETS,)


def test_a_search_that_misses_an_order_it_let_in_keeps_to_what_was_found_before(monkeypatch):
    """Papers share their effort, so that a search on all may miss what one alone found."""
    thorough = []

    def forgetful(task, effort, **others):
        if effort is Effort.THOROUGH:
            thorough.append(task)
            if len(thorough) <= 2:
                task = replace(task, stock=(SHEETS, *task.stock[1:]))
        return solve(task, Effort.QUICK, **others)

    monkeypatch.setattr("nester.packing.orders.whole_orders.solve", forgetful)
    red = replace(SHEETS, name="red", paper="red")
    task = problem(
        replace(SHEETS, quantity=2), red, wants=(CARD, POSTER, replace(CARD, name="r", paper="red"))
    )
    claims = (
        OrderDemand(1, {"card": 2, "r": 3}),
        OrderDemand(2, {"poster": 1}),
        OrderDemand(3, {"card": 1}),
    )
    verdict = solve_orders(task, claims, Effort.THOROUGH)
    assert verify(verdict.problem, verdict.cutting_plan) == []
    assert verdict.cutting_plan.unplaced == ()
    assert (verdict.made, verdict.waiting) == ((1, 2, 3), ())
    assert verdict.cutting_plan.cost == 6
    assert verdict.cutting_plan.lower_bound <= 6
    assert len(thorough) == 2


def test_more_orders_come_before_urgent_ones():
    claims = OrderDemand(1, {"poster": 1}), OrderDemand(2, {"card": 2}), OrderDemand(3, {"card": 2})
    verdict = verdict_on(problem(SHEETS), *claims)
    assert (verdict.made, verdict.waiting) == ((2, 3), (1,))
    assert (verdict.max_orders, verdict.is_optimal) == (2, True)


def test_of_as_many_orders_the_most_urgent_are_made():
    """The most urgent is kept, though two later ones could then be exchanged for earlier ones."""
    claims = [OrderDemand(n, {"card": k}) for n, k in ((1, 2), (2, 3), (3, 2), (4, 1))]
    verdict = verdict_on(problem(SHEETS), *claims)
    assert verdict.made == (1, 3)
    assert verdict.is_optimal


def test_of_equally_urgent_orders_the_cheaper_are_made():
    """Six cards find room in all; two of them on the cheap sheet."""
    stock = SHEETS, StockItem("cheap", cm(10), cm(20), 1, Fraction(1))
    day, later = date(2024, 5, 3), date(2024, 5, 4)
    many, few = OrderDemand(1, {"card": 5}, day), OrderDemand(2, {"card": 2}, day)
    verdict = verdict_on(problem(*stock), many, few)
    assert (verdict.made, verdict.cutting_plan.cost) == ((2,), 1)
    verdict = verdict_on(problem(*stock), many, few._replace(due=later))
    assert (verdict.made, verdict.cutting_plan.cost) == ((1,), 3)
    # Without a day each is less urgent than those before it.
    verdict = verdict_on(problem(*stock), many._replace(due=None), few._replace(due=None))
    assert verdict.made == (1,)


def test_a_cheap_order_on_paper_without_end_is_rather_made():
    """What one order takes of a paper of which there is plenty counts too."""
    gold = StockItem("gold", cm(10), cm(10), None, Fraction(7), "gold")
    task = problem(SHEETS, gold, wants=(CARD, replace(CARD, name="g", paper="gold")))
    day = date(2024, 5, 3)
    verdict = verdict_on(
        task, OrderDemand(1, {"card": 4, "g": 2}, day), OrderDemand(2, {"card": 3, "g": 1}, day)
    )
    assert (verdict.made, verdict.cutting_plan.cost) == ((2,), 9)


@pytest.mark.parametrize("cuts", Cuts)
def test_what_area_cannot_tell_is_proven_too(cuts):
    """Four pieces of 7 × 13 round a hole fit 20 × 20 by free cuts, and by straight cuts not."""
    blade = Demand("blade", cm(7), cm(13), 0)
    claims = [OrderDemand(n, {"blade": 1}) for n in range(5)]
    verdict = verdict_on(problem(SHEETS, wants=(blade,), cuts=cuts), *claims)
    assert len(verdict.made) == (4 if cuts is Cuts.FREE else 3)
    assert verdict.is_optimal


def test_left_over():
    stock = SHEETS, replace(SHEETS, name="endless", quantity=None), replace(SHEETS, name="c")
    placed = (PlacedPiece("card", 0, 0, cm(10), cm(10)),)
    layouts = Layout("sheet", 2, placed), Layout("endless", 5, placed), Layout("sheet", 1, placed)
    many = (replace(stock[0], quantity=4), *stock[1:])
    answer = CuttingPlan(layouts, (), Fraction(16), Fraction(0))
    assert unused_stock(many, answer) == stock


def test_the_same_orders_get_the_same_verdict():
    task = problem(SHEETS, replace(SHEETS, name="other"))
    claims = [OrderDemand(n, {"card": n}) for n in range(1, 5)]
    once, again = (solve_orders(task, claims, Effort.QUICK) for _ in range(2))
    assert once == again


def test_a_safety_stop_still_gives_a_right_answer():
    task = problem(replace(SHEETS, quantity=3))
    claims = [OrderDemand(n, {"card": 3, "poster": 1}) for n in (1, 2)]
    verdict = solve_orders(task, claims, Effort.THOROUGH, stop=lambda: True)
    assert verify(verdict.problem, verdict.cutting_plan) == []
    assert verdict.cutting_plan.unplaced == ()


sides = st.integers(4, 20)
small_wants = st.lists(st.tuples(sides, sides, st.booleans()), min_size=1, max_size=3)
small_stock = st.lists(
    st.tuples(st.integers(10, 30), st.integers(10, 30), st.integers(1, 2), st.integers(0, 5)),
    min_size=1,
    max_size=2,
)


def aims(task, claims, chosen):
    """What choices are compared by, the least first; None if these orders can't be made."""
    wanted = pieces_wanted(claims, [claims[i].order for i in chosen])
    answer = solve(
        replace(
            task,
            demands=tuple(
                replace(w, quantity=wanted[w.name]) for w in task.demands if wanted[w.name]
            ),
        ),
        Effort.QUICK,
    )
    if answer.unplaced:
        return None
    days = sorted({claim.due for claim in claims})
    return -len(chosen), sorted(days.index(claims[i].due) for i in chosen), answer.cost


@given(
    st.lists(st.tuples(st.integers(2, 6), st.integers(2, 6)), min_size=1, max_size=3),
    st.lists(
        st.tuples(st.integers(4, 9), st.integers(4, 9), st.integers(1, 2), st.integers(0, 5)),
        min_size=1,
        max_size=2,
    ),
    st.lists(
        st.tuples(
            st.dictionaries(st.integers(0, 2), st.integers(1, 2), min_size=1, max_size=2),
            st.integers(1, 3),
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from(Cuts),
)
@settings(max_examples=25, deadline=None)
def test_no_other_choice_is_better(some_wants, some_stock, some_claims, cuts):
    """Every choice of orders is tried; problems as small as these are solved exactly."""
    wants = tuple(Demand(f"w{i}", cm(w), cm(h), 0) for i, (w, h) in enumerate(some_wants))
    stock = tuple(
        StockItem(f"s{i}", cm(w), cm(h), n, Fraction(price))
        for i, (w, h, n, price) in enumerate(some_stock)
    )
    some_claims.sort(key=lambda one: one[1])
    claims = [
        OrderDemand(
            number,
            {f"w{i}": n for i, n in pieces.items() if i < len(wants)},
            date(2024, 1, day),
        )
        for number, (pieces, day) in enumerate(some_claims)
    ]
    task = problem(*stock, wants=wants, cuts=cuts)
    verdict = verdict_on(task, *claims)
    every = range(len(claims))
    choices = [c for size in range(len(claims) + 1) for c in combinations(every, size)]
    best = min(found for c in choices if (found := aims(task, claims, c)) is not None)
    assert aims(task, claims, verdict.made) == best
    assert verdict.is_optimal


small_claims = st.lists(
    st.dictionaries(st.integers(0, 2), st.integers(1, 3), max_size=3), min_size=1, max_size=4
)


@given(small_wants, small_stock, small_claims, st.sampled_from(Cuts))
@settings(max_examples=25, deadline=None)
def test_any_verdict(some_wants, some_stock, some_claims, cuts):
    wants = tuple(
        Demand(f"w{i}", cm(w), cm(h), 0, "", Turn.NONE if still else Turn.ANY)
        for i, (w, h, still) in enumerate(some_wants)
    )
    stock = tuple(
        StockItem(f"s{i}", cm(w), cm(h), n, Fraction(price))
        for i, (w, h, n, price) in enumerate(some_stock)
    )
    claims = [
        OrderDemand(10 + number, {f"w{i}": n for i, n in pieces.items() if i < len(wants)})
        for number, pieces in enumerate(some_claims)
    ]
    task = problem(*stock, wants=wants, cuts=cuts)
    verdict = verdict_on(task, *claims)

    assert sorted(verdict.made + verdict.waiting) == [claim.order for claim in claims]
    assert list(verdict.made) == sorted(verdict.made)
    assert list(verdict.waiting) == sorted(verdict.waiting)
    assert all(claim.order in verdict.made for claim in claims if not claim.pieces)

    # A lack is of a waiting order, and no more than it wants.
    wanted = {claim.order: claim.pieces for claim in claims}
    for lack in verdict.shortfalls:
        assert lack.order in verdict.waiting
        assert 0 < lack.quantity <= wanted[lack.order][lack.name]
        assert lack.why
    # The blame is the latest's: an order lacks of a piece only if all after it lack theirs.
    lacked = {(lack.order, lack.name): lack.quantity for lack in verdict.shortfalls}
    for order, name in lacked:
        for later in verdict.waiting:
            if later > order:
                assert lacked.get((later, name), 0) == wanted[later].get(name, 0)
    # What lacks is what finds no place on the sheets that the made orders leave.
    whole = pieces_wanted(claims, verdict.waiting)
    rest = replace(
        task,
        demands=tuple(replace(w, quantity=whole[w.name]) for w in wants if whole[w.name]),
        stock=unused_stock(stock, verdict.cutting_plan),
    )
    unplaced = {one.name: one.quantity for one in solve(rest, Effort.QUICK).unplaced}
    by_name = Counter()
    for (_, name), quantity in lacked.items():
        by_name[name] += quantity
    assert by_name == unplaced
