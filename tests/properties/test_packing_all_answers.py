"""Tiny problems, whose best answer is found by trying everything.

The search here knows nothing of the optimizer: it says for every set of pieces whether one sheet
holds them, and then tries all ways to spread the pieces over sheets.
"""

from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.packing.bounds.lower_bound import LowerBound, lower_bound
from nester.packing.task.task import tasks_by_paper
from nester.verify import verify


def ways(piece):
    width, height, turns = piece
    return {(width, height), (height, width)} if turns else {(width, height)}


@cache
def straight(width, height, pieces):
    """Whether edge-to-edge cuts can free these pieces from one sheet."""
    if sum(piece[0] * piece[1] for piece in pieces) > width * height:
        return False
    if len(pieces) == 1:
        return any(w <= width and h <= height for w, h in ways(pieces[0]))
    indices = range(1, len(pieces))
    for size in range(len(pieces)):
        for chosen in combinations(indices, size):
            # The first piece is always on one side, so that each parting is seen twice at most.
            one = (pieces[0], *(pieces[i] for i in chosen))
            other = tuple(pieces[i] for i in indices if i not in chosen)
            if not other:
                continue
            for at in range(1, width):
                if straight(at, height, one) and straight(width - at, height, other):
                    return True
            for at in range(1, height):
                if straight(width, at, one) and straight(width, height - at, other):
                    return True
    return False


@cache
def free(width, height, pieces):
    """Whether these pieces lie side by side on one sheet, anyhow."""
    if sum(piece[0] * piece[1] for piece in pieces) > width * height:
        return False

    def lay(rest, taken):
        if not rest:
            return True
        for wide, high in ways(rest[0]):
            row = (1 << wide) - 1
            block = sum(row << line * width for line in range(high))
            for y in range(height - high + 1):
                for x in range(width - wide + 1):
                    place = block << (y * width + x)
                    if not place & taken and lay(rest[1:], taken | place):
                        return True
        return False

    largest_first = sorted(pieces, key=lambda piece: -piece[0] * piece[1])
    return lay(largest_first, 0)


def best(problem):
    """Return the least area that stays unmade, and the least cost of making all but that."""
    wants = [
        (want.width, want.height, want.turn is Turn.ANY)
        for want in problem.demands
        for _ in range(want.quantity)
    ]
    pieces = sorted(wants, key=lambda piece: -piece[0] * piece[1])
    holds = straight if problem.cuts is Cuts.STRAIGHT else free
    stock = problem.stock

    @cache
    def least(left, on_hand):
        if not left:
            return 0, 0
        width, height, _ = pieces[left[0]]
        unmade, cost = least(left[1:], on_hand)
        found = unmade + width * height, cost
        for size in range(len(left)):
            for others in combinations(left[1:], size):
                chosen = (left[0], *others)
                content = tuple(sorted(pieces[i] for i in chosen))
                rest = tuple(i for i in left if i not in chosen)
                for kind, number in enumerate(on_hand):
                    if number and holds(stock[kind].width, stock[kind].height, content):
                        fewer = (*on_hand[:kind], number - 1, *on_hand[kind + 1 :])
                        unmade, cost = least(rest, fewer)
                        found = min(found, (unmade, stock[kind].price + cost))
        return found

    everything = tuple(range(len(pieces)))
    numbers = (len(pieces) if s.quantity is None else min(s.quantity, len(pieces)) for s in stock)
    return least(everything, tuple(numbers))


@st.composite
def tiny_problems(draw):
    sheet_sides, sides = st.integers(2, 6), st.integers(1, 5)
    prices = st.builds(Fraction, st.integers(0, 9), st.sampled_from([1, 3, 7]))
    quantities = st.sampled_from([None, 1, 2])
    sheets = st.tuples(sheet_sides, sheet_sides, quantities, prices)
    stock = draw(st.lists(sheets, min_size=1, max_size=3))
    left = 6
    wants = []
    for number in range(draw(st.integers(1, 4))):
        quantity = draw(st.integers(1, min(3, left)))
        left -= quantity
        turn = draw(st.sampled_from(Turn))
        wants.append(Demand(f"w{number}", draw(sides), draw(sides), quantity, turn=turn))
        if not left:
            break
    return Problem(
        tuple(wants),
        tuple(StockItem(f"s{number}", *one) for number, one in enumerate(stock)),
        draw(st.sampled_from(Cuts)),
        smallest_offcut=1,
    )


@settings(max_examples=300, deadline=None)
@given(tiny_problems())
def test_the_answer_is_the_best_of_all_and_proven(problem):
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    area = {want.name: want.width * want.height for want in problem.demands}
    unmade = sum(area[one.name] * one.quantity for one in answer.unplaced)
    assert (unmade, answer.cost) == best(problem)
    assert answer.lower_bound == answer.cost


@settings(max_examples=80, deadline=None)
@given(tiny_problems())
def test_no_bound_is_above_the_best(problem):
    tasks, hopeless = tasks_by_paper(problem)
    if not tasks:
        return
    never_made = {want.name for want, _ in hopeless}
    wants = tuple(want for want in problem.demands if want.name not in never_made)
    unmade, cost = best(replace(problem, demands=wants))
    (task,) = tasks
    bound = LowerBound(task)
    for steps in (0, 10**5):
        bound.strengthen(problem.cuts, (10**9, 0), steps)
        assert bound.unmet_area * task.length_unit**2 <= unmade
        if bound.unmet_area * task.length_unit**2 == unmade:
            assert bound.cost * task.price_unit <= cost


@settings(max_examples=60, deadline=None)
@given(tiny_problems())
def test_where_one_sheet_holds_everything_no_more_are_asked_for(problem):
    holds = straight if problem.cuts is Cuts.STRAIGHT else free
    pieces = tuple(
        sorted(
            (want.width, want.height, want.turn is Turn.ANY)
            for want in problem.demands
            for _ in range(want.quantity)
        )
    )
    for stock in problem.stock:
        if holds(stock.width, stock.height, pieces):
            alone = replace(stock, quantity=None, price=Fraction(1))
            (task,), _ = tasks_by_paper(replace(problem, stock=(alone,)))
            assert lower_bound(task) == 1


@st.composite
def sheets_cut_up(draw):
    """Sheets cut edge to edge into pieces, of which some are thrown away: a plan that is known."""
    rng = draw(st.randoms(use_true_random=False))
    side = draw(st.sampled_from([7, 30, 1000]))
    stock = [
        StockItem(
            f"s{number}",
            rng.randint(2, side),
            rng.randint(2, side),
            None,
            Fraction(rng.randint(0, 9)),
        )
        for number in range(rng.randint(1, 4))
    ]
    cost, pieces = Fraction(0), []
    for sheet in (rng.choice(stock) for _ in range(rng.randint(1, 5))):
        cost += sheet.price
        parts = [(sheet.width, sheet.height)]
        for _ in range(rng.randint(0, 6)):
            width, height = parts.pop(rng.randrange(len(parts)))
            if rng.random() < 0.5 and width > 1:
                at = rng.randint(1, width - 1)
                parts += [(at, height), (width - at, height)]
            elif height > 1:
                at = rng.randint(1, height - 1)
                parts += [(width, at), (width, height - at)]
            else:
                parts.append((width, height))
        pieces += [part for part in parts if rng.random() < 0.9]
    wants = []
    for number, (width, height) in enumerate(pieces):
        turn = rng.choice(list(Turn))
        if turn is Turn.ANY and rng.random() < 0.5:
            width, height = height, width
        wants.append(Demand(f"w{number}", width, height, 1, turn=turn))
    return Problem(tuple(wants), tuple(stock), smallest_offcut=1), cost


@settings(max_examples=80, deadline=None)
@given(sheets_cut_up())
def test_no_bound_is_above_a_known_plan(known):
    problem, cost = known
    tasks, hopeless = tasks_by_paper(problem)
    assert not hopeless
    assert sum(lower_bound(task) * task.price_unit for task in tasks) <= cost


def test_the_search_that_tries_everything():
    ring = ((2, 3, True),) * 4
    assert free(5, 5, ring)
    assert not straight(5, 5, ring)
    assert straight(4, 6, ring)
    assert not free(2, 2, ((1, 3, True),))
    assert free(1, 3, ((3, 1, True),))
    assert not free(1, 3, ((3, 1, False),))
