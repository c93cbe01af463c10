"""Plans in a hurry, layouts laid anew, and how many can be made, for random pieces and sheets."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import solve
from nester.packing.orders.most_copies import most_copies
from nester.packing.search.quick_plan import (
    QuickBudget,
    SolvedProblem,
    fits_on_one_sheet,
    quick_plan,
    relayout_plan,
)
from nester.verify import verify

HURRIED = QuickBudget(300, 5_000, 3_000, 0.005)


@st.composite
def problems(draw: st.DrawFn, *, endless: bool = True) -> Problem:
    wants = []
    for number in range(draw(st.integers(1, 4))):
        sides = st.integers(4 if endless else 9, 30)
        width, height = draw(sides), draw(sides)
        voids: tuple[Rect, ...] = ()
        if draw(st.booleans()) and min(width, height) > 9:
            voids = (Rect(0, 0, width // 3, height // 3),)
        wants.append(Demand(f"w{number}", width, height, draw(st.integers(1, 5)), "p", voids=voids))
    stock = tuple(
        StockItem(
            f"s{number}",
            draw(st.integers(30, 70 if endless else 40)),
            draw(st.integers(30, 70 if endless else 40)),
            None if endless else draw(st.integers(1, 2)),
            Fraction(draw(st.integers(1, 9))),
            "p",
        )
        for number in range(draw(st.integers(1, 3)))
    )
    cuts = draw(st.sampled_from(list(Cuts)))
    return Problem(tuple(wants), stock, cuts, smallest_offcut=5, gap=draw(st.integers(0, 2)))


@given(problems())
@settings(max_examples=25, deadline=None)
def test_a_sketch_is_whole_judged_and_bounded(problem: Problem) -> None:
    answer = quick_plan(problem, budget=HURRIED)
    assert verify(problem, answer) == []
    assert not answer.unplaced
    assert answer.lower_bound <= answer.cost
    assert quick_plan(problem, budget=HURRIED) == answer
    assert answer.lower_bound <= solve(problem, Effort.QUICK).cost


@given(problems(), st.integers(1, 3))
@settings(max_examples=25, deadline=None)
def test_what_is_cut_straight_can_be_laid_anew_with_smaller_pieces(
    problem: Problem, less: int
) -> None:
    plain = replace(
        problem, cuts=Cuts.STRAIGHT, demands=tuple(replace(w, voids=()) for w in problem.demands)
    )
    smaller = replace(
        plain,
        demands=tuple(
            replace(w, width=w.width - less, height=w.height - less) for w in plain.demands
        ),
    )
    answer = quick_plan(plain, budget=HURRIED)
    anew = relayout_plan(smaller, SolvedProblem(plain, answer))
    assert anew is not None
    assert anew.cost == answer.cost
    assert verify(smaller, replace(anew, lower_bound=Fraction(0))) == []
    # It is where a search among like problems starts from.
    assert quick_plan(smaller, [SolvedProblem(plain, answer)], HURRIED).cost <= answer.cost


@given(problems(), problems())
@settings(max_examples=25, deadline=None)
def test_what_is_laid_anew_is_right_or_not_at_all(one: Problem, other: Problem) -> None:
    names = {want.name for want in one.demands}
    like = replace(other, stock=one.stock, cuts=one.cuts)
    answer = quick_plan(like, budget=HURRIED) if _fits(like) else None
    if answer is None:
        return
    anew = relayout_plan(one, SolvedProblem(like, answer)) if names else None
    if anew is not None:
        assert verify(one, anew) == []
        assert not anew.unplaced
    hinted = quick_plan(one, [SolvedProblem(like, answer)], HURRIED)
    assert verify(one, hinted) == []
    assert not hinted.unplaced


def _fits(problem: Problem) -> bool:
    return not quick_plan(problem, budget=HURRIED).unplaced


@given(problems())
@settings(max_examples=8, deadline=None)
def test_what_a_sheet_holds_and_what_it_surely_does_not(problem: Problem) -> None:
    pieces = {want.name: want.quantity for want in problem.demands}
    stock = problem.stock[0]
    found, never = fits_on_one_sheet(problem, stock.name, pieces)
    assert not (found and never)
    one = replace(problem, stock=(replace(stock, quantity=1),))
    if never:
        assert solve(one, Effort.QUICK).unplaced
    solid = sum(
        w.quantity * (w.width * w.height - sum(v.area for v in w.voids)) for w in problem.demands
    )
    if solid > stock.width * stock.height:
        assert never


@given(problems(endless=False))
@settings(max_examples=8, deadline=None)
def test_how_many_can_be_made_is_between_its_numbers(problem: Problem) -> None:
    most = most_copies(problem, Effort.QUICK)
    assert 0 <= most.lower_bound <= most.upper_bound
    for one, answer in most.plans:
        assert verify(one, replace(answer, lower_bound=Fraction(0))) == []
    more = replace(
        problem,
        demands=tuple(
            replace(want, quantity=want.quantity * (most.upper_bound + 1))
            for want in problem.demands
        ),
    )
    assert solve(more, Effort.QUICK).unplaced
