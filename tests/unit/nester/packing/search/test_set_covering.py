"""The pool of layouts, and the choice among them."""

from itertools import product

import pytest

from nester.core.problem import Problem
from nester.packing.bounds.lower_bound import lower_bound
from nester.packing.search.set_covering import choose_patterns
from nester.packing.task.pattern_pool import PatternPool, objective, trim_overproduction
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import BinType, ItemType, Pattern, Placement, Task, item_counts


def row(kind, *shapes):
    """A pattern whose places don't matter here."""
    return Pattern(kind, tuple(Placement(shape, 0, 0, False) for shape in shapes))


def task_of(shapes, kinds):
    return Task("", tuple(shapes), tuple(kinds), (), (), 1, 1)


TASK = task_of(
    [ItemType(6, 5, 4, True), ItemType(5, 4, 5, True), ItemType(2, 1, 3, True)],
    [BinType(10, 10, None, 10), BinType(6, 5, 2, 2)],
)


def made(task, uses):
    counts = [0] * len(task.item_types)
    for pattern, copies in uses:
        for shape, number in item_counts(pattern.placements).items():
            counts[shape] += number * copies
    return counts


def test_the_pool_keeps_one_pattern_for_one_content():
    pool = PatternPool(TASK)
    first = Pattern(0, (Placement(0, 0, 0, False), Placement(2, 6, 0, True)))
    pool.add(first)
    pool.add(Pattern(0, (Placement(2, 0, 0, False), Placement(0, 0, 1, False))))
    pool.add(row(0))
    assert len(pool) == 1
    assert list(pool.least_waste(9, ())) == [(first, {0: 1, 2: 1})]
    pool.add_plan(((row(1, 0), 2), (row(0, 0), 1)))
    assert len(pool) == 3


def test_the_pool_gives_the_fullest_of_each_kind_and_what_must_be():
    pool = PatternPool(TASK)
    poor, fair, full = row(0, 2), row(0, 0), row(0, 0, 0, 1)
    for pattern in (poor, fair, full, row(1, 0), row(1, 1)):
        pool.add(pattern)
    best = [pattern for pattern, _ in pool.least_waste(2, ((poor, 1),))]
    assert best == [full, row(1, 0), poor]
    assert len(list(pool.least_waste(100, ((poor, 1),)))) == 5


def test_standing_puts_pieces_before_price_and_price_before_sheets():
    everything = ((row(0, 0, 0, 1), 2), (row(0, 1, 1, 1, 2, 2, 2), 1))
    assert objective(TASK, everything) == (0, 30, 3)
    assert objective(TASK, ()) == (4 * 30 + 5 * 20 + 3 * 2, 0, 0)
    assert objective(TASK, everything) < objective(TASK, ((row(0, 0), 1),))


def test_trim_makes_exactly_what_is_wanted():
    too_much = ((row(0, 0, 0, 1), 4), (row(0, 1, 2, 2), 3), (row(1, 0), 1))
    trimmed = trim_overproduction(TASK, too_much)
    assert made(TASK, trimmed) == list(TASK.demand)
    assert sum(copies for _, copies in trimmed) <= 8
    assert all(pattern.placements and copies > 0 for pattern, copies in trimmed)


@pytest.mark.parametrize("copies", list(product([0, 1, 2, 5], repeat=3)))
def test_trim_never_adds_and_never_loses_what_is_wanted(copies):
    patterns = (row(0, 0, 0, 1), row(0, 1, 1, 2, 2), row(1, 0))
    uses = tuple((pattern, n) for pattern, n in zip(patterns, copies, strict=True) if n)
    before, after = made(TASK, uses), made(TASK, trim_overproduction(TASK, uses))
    assert after == [min(n, wanted) for n, wanted in zip(before, TASK.demand, strict=True)]


def test_what_is_trimmed_stays_where_it_lay():
    pattern = Pattern(
        0, (Placement(0, 0, 0, False), Placement(2, 6, 0, True), Placement(2, 6, 2, True))
    )
    task = task_of(
        [ItemType(6, 5, 1, True), ItemType(5, 4, 0, True), ItemType(2, 1, 1, True)], TASK.bin_types
    )
    assert trim_overproduction(task, ((pattern, 1),)) == ((Pattern(0, pattern.placements[:2]), 1),)


def chosen_of(task, patterns, best):
    pool = PatternPool(task)
    for pattern in patterns:
        pool.add(pattern)
    return choose_patterns(task, pool, best, 0.1, PatternEvaluator(Problem((), ()), task))


def test_the_choice_finds_the_best_mixture():
    task = task_of([ItemType(6, 5, 4, True), ItemType(4, 5, 4, True)], [BinType(10, 10, None, 10)])
    best = ((row(0, 0, 0), 2), (row(0, 1, 1, 1, 1), 1))
    chosen = chosen_of(task, [row(0, 0, 0, 1, 1), row(0, 0)], best)
    assert chosen == ((row(0, 0, 0, 1, 1), 2),)


def test_the_choice_takes_fewer_sheets_for_the_same_price():
    task = task_of([ItemType(5, 5, 4, True)], [BinType(5, 5, None, 1), BinType(10, 10, None, 4)])
    chosen = chosen_of(task, [row(1, 0, 0, 0, 0)], ((row(0, 0), 4),))
    assert chosen == ((row(1, 0, 0, 0, 0), 1),)


def test_the_choice_places_more_where_sheets_are_short():
    task = task_of([ItemType(6, 5, 2, True), ItemType(4, 5, 2, True)], [BinType(10, 10, 1, 10)])
    best = ((row(0, 0, 0), 1),)
    chosen = chosen_of(task, [row(0, 0, 1), row(0, 0, 0, 1, 1), row(0, 1)], best)
    assert chosen == ((row(0, 0, 0, 1, 1), 1),)


@pytest.mark.parametrize("best", [((row(0, 0, 0, 1), 2), (row(0, 1, 1, 1, 2, 2, 2), 1)), ()])
def test_the_choice_is_never_worse(best):
    for patterns in ([row(0, 2)], [row(1, 0), row(1, 1), row(0, 2, 2, 2)]):
        chosen = chosen_of(TASK, patterns, best)
        assert objective(TASK, chosen) <= objective(TASK, best)


def test_the_choice_keeps_to_the_stock():
    shapes, start = [ItemType(6, 5, 10, True)], ((row(0, 0), 10),)
    for on_hand, cost in ((None, 10), (7, 17), (4, 24), (3, 31), (0, 40)):
        task = task_of(shapes, [BinType(10, 10, None, 10), BinType(6, 5, on_hand, 1)])
        chosen = chosen_of(task, [row(0, 0, 0, 0), row(1, 0)], start)
        assert made(task, chosen) == [10]
        assert objective(task, chosen)[1] == cost


def test_the_choice_copes_with_large_numbers():
    million = 10**6
    kinds = [BinType(10 + i, 10, None, 2**40 - i) for i in range(20)]
    task = task_of([ItemType(5, 5, million, True), ItemType(5, 4, million, True)], kinds)
    patterns = [row(i, 0, 0, 0, 0) for i in range(20)] + [row(i, 0, 0, 1, 1) for i in range(20)]
    best = ((row(0, 0), million), (row(0, 1), million))
    chosen = chosen_of(task, patterns, best)
    assert objective(task, chosen) < objective(task, best)


def test_bounds_of_area_and_of_squares():
    by_area = task_of([ItemType(5, 5, 9, True)], [BinType(10, 10, None, 10)])
    assert lower_bound(by_area) == 30
    by_squares = task_of(
        [ItemType(6, 6, 3, True), ItemType(1, 1, 9, True)], [BinType(10, 10, None, 10)]
    )
    assert lower_bound(by_squares) == 30
    without_turns = task_of(
        [ItemType(9, 3, 4, False), ItemType(1, 9, 1, False)], [BinType(9, 10, None, 10)]
    )
    assert lower_bound(without_turns) == 20


def test_the_bound_takes_the_cheapest_sheets_there_are():
    kinds = [BinType(10, 10, None, 10), BinType(10, 10, 2, 3), BinType(10, 10, None, 99)]
    assert lower_bound(task_of([ItemType(10, 10, 5, True)], kinds)) == 2 * 3 + 3 * 10


def test_no_bound_where_not_all_can_be_made():
    assert lower_bound(task_of([ItemType(10, 10, 5, True)], [BinType(10, 10, 2, 3)])) == 0


def test_no_bound_for_nothing():
    assert lower_bound(task_of([ItemType(10, 10, 0, True)], [BinType(10, 10, 2, 3)])) == 0


def test_bounds_stay_below_with_the_largest_numbers():
    """A million pieces, twenty prices beyond 2⁴⁰ in all: still a bound, and not above a plan."""
    million = 10**6
    kinds = [BinType(10**8 + i, 10**8, None, 2**40 - i) for i in range(20)]
    task = task_of([ItemType(10**8, 10**8, million, True), ItemType(1, 1, million, True)], kinds)
    cheapest = min(kind.price for kind in kinds)
    assert 0.999999 * million * cheapest < lower_bound(task) <= (million + 1) * cheapest


def test_a_bound_cut_short_is_still_one():
    assert 0 <= lower_bound(TASK, seconds=0.0) <= lower_bound(TASK)
