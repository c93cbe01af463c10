"""Tiny problems of pieces with voids: the best answer is found by trying everything.

The search here knows nothing of the optimizer.  For free cuts it lays what is solid of each piece
cell by cell; for straight cuts it tries every cut, and every choice of pieces in every void.
More cases than by default are tried with QUIREBOX_MANY_CASES=500 in the environment.
"""

import os
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import solve
from nester.verify import verify

CASES = int(os.environ.get("QUIREBOX_MANY_CASES", "60"))


def cells(want):
    """Return the solid cells of a piece, as columns and rows."""
    return frozenset(
        (x, y)
        for x in range(want.width)
        for y in range(want.height)
        if not any(v.x <= x < v.right and v.y <= y < v.bottom for v in want.voids)
    )


def ways(want):
    """Return the piece as asked for and, if it may turn, a quarter turn: cells, width, height."""
    upright = cells(want)
    yield upright, want.width, want.height
    if want.turn is Turn.ANY:
        yield frozenset((want.height - 1 - y, x) for x, y in upright), want.height, want.width


def places(want, width, height):
    """Return every set of a sheet's cells that the piece can cover, as bits."""
    return {
        sum(1 << ((y + dy) * width + x + dx) for x, y in solid)
        for solid, wide, high in ways(want)
        for dx in range(width - wide + 1)
        for dy in range(height - high + 1)
    }


def laid_freely(width, height, pieces):
    """Whether a sheet holds the solid cells of some pieces."""
    all_places = {piece: places(piece, width, height) for piece in pieces}

    def lay(rest, taken):
        return not rest or any(
            not place & taken and lay(rest[1:], place | taken) for place in all_places[rest[0]]
        )

    return lay(pieces, 0)


@cache
def cut_straight(width, height, pieces):
    """Whether edge-to-edge cuts free pieces from a sheet; voids are then cut as small sheets."""
    if not pieces:
        return True
    if sum(len(cells(piece)) for piece in pieces) > width * height:
        return False
    for one, other in in_two(pieces):
        for at in range(1, width):
            if cut_straight(at, height, one) and cut_straight(width - at, height, other):
                return True
        for at in range(1, height):
            if cut_straight(width, at, one) and cut_straight(width, height - at, other):
                return True
    for number, host in enumerate(pieces):
        rest = (*pieces[:number], *pieces[number + 1 :])
        upright = host.width <= width and host.height <= height
        turned = host.turn is Turn.ANY and host.height <= width and host.width <= height
        sizes = tuple((void.width, void.height) for void in host.voids)
        if upright and cut_from_voids(sizes, rest):
            return True
        if turned and cut_from_voids(tuple((high, wide) for wide, high in sizes), rest):
            return True
    return False


def cut_from_voids(voids, pieces):
    if not voids:
        return not pieces
    return any(
        cut_straight(*voids[0], one) and cut_from_voids(voids[1:], other)
        for one, other in in_two(pieces, empty=True)
    )


def in_two(pieces, empty=False):
    """Yield the ways to part pieces in two; with parts of none, if they may be empty."""
    places = range(len(pieces))
    for size in range(0 if empty else 1, len(pieces) + empty):
        for chosen in combinations(places, size):
            yield (
                tuple(pieces[i] for i in chosen),
                tuple(pieces[i] for i in places if i not in chosen),
            )


def best(problem):
    """Return the least area of blanks that stays unmade, and the least cost of the rest."""
    pieces = [want for want in problem.demands for _ in range(want.quantity)]
    stock = problem.stock

    lay = cut_straight if problem.cuts is Cuts.STRAIGHT else laid_freely

    @cache
    def holds(kind, chosen):
        return lay(stock[kind].width, stock[kind].height, chosen)

    @cache
    def least(left, on_hand):
        if not left:
            return 0, 0
        unmade, cost = least(left[1:], on_hand)
        first = pieces[left[0]]
        found = unmade + first.width * first.height, cost
        for size in range(len(left)):
            for others in combinations(left[1:], size):
                chosen = (left[0], *others)
                rest = tuple(i for i in left if i not in chosen)
                for kind, number in enumerate(on_hand):
                    if number and holds(kind, tuple(pieces[i] for i in chosen)):
                        fewer = (*on_hand[:kind], number - 1, *on_hand[kind + 1 :])
                        unmade, cost = least(rest, fewer)
                        found = min(found, (unmade, stock[kind].price + cost))
        return found

    numbers = (len(pieces) if s.quantity is None else min(s.quantity, len(pieces)) for s in stock)
    return least(tuple(range(len(pieces))), tuple(numbers))


@st.composite
def corners(draw, width, height):
    """Return voids in some corners of a piece, all of one size, that leave it in one part."""
    if min(width, height) < 2:
        return ()
    wide = draw(st.integers(1, max(1, (width - 1) // 2)))
    high = draw(st.integers(1, max(1, (height - 1) // 2)))
    right, below = width - wide, height - high
    places = [(0, 0), (right, 0), (0, below), (right, below)]
    most = 4 if 2 * wide < width and 2 * high < height else 1
    chosen = draw(st.lists(st.sampled_from(places), max_size=most, unique=True))
    return tuple(Rect(x, y, wide, high) for x, y in chosen)


@st.composite
def tiny_problems(draw):
    sheet_sides, sides = st.integers(3, 6), st.integers(1, 4)
    prices = st.builds(Fraction, st.integers(0, 9), st.sampled_from([1, 3]))
    sheets = st.tuples(sheet_sides, sheet_sides, st.sampled_from([None, 1, 2]), prices)
    stock = draw(st.lists(sheets, min_size=1, max_size=2))
    wants = []
    for number in range(draw(st.integers(1, 3))):
        width, height = draw(sides), draw(sides)
        voids = draw(corners(width, height))
        turn, quantity = draw(st.sampled_from(Turn)), draw(st.integers(1, 2))
        wants.append(Demand(f"w{number}", width, height, quantity, turn=turn, voids=voids))
    return Problem(
        tuple(wants),
        tuple(StockItem(f"s{number}", *one) for number, one in enumerate(stock)),
        draw(st.sampled_from(Cuts)),
        smallest_offcut=1,
    )


@settings(max_examples=CASES, deadline=None)
@given(tiny_problems())
def test_the_answer_is_the_best_of_all_and_proven(problem):
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    area = {want.name: want.width * want.height for want in problem.demands}
    unmade = sum(area[one.name] * one.quantity for one in answer.unplaced)
    assert (unmade, answer.cost) == best(problem)
    assert answer.lower_bound == answer.cost


def test_a_void_in_a_piece_in_a_void():
    """The smallest piece lies in the corner of the middle one, and that in the largest's."""
    large = Demand("large", 6, 6, 1, voids=(Rect(3, 3, 3, 3),))
    middle = Demand("middle", 3, 3, 1, voids=(Rect(0, 0, 1, 2),))
    small = Demand("small", 2, 1, 1)
    stock = (StockItem("sheet", 6, 6, None, Fraction(1)),)
    problem = Problem((large, middle, small), stock, smallest_offcut=1)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert answer.cost == answer.lower_bound == 1
    assert best(problem) == (0, 1)
    still = (replace(one, turn=Turn.NONE) for one in (middle, small))
    upright = replace(problem, demands=(large, *still))
    assert best(upright) == (0, 2)
    answer = solve(upright, Effort.QUICK)
    assert verify(upright, answer) == []
    assert answer.cost == answer.lower_bound == 2


def test_crosses_reach_into_each_other():
    """Two crosses of five squares lie on 4 × 5: no other search but one by cells is needed."""
    corner = ((0, 0), (2, 0), (0, 2), (2, 2))
    cross = Demand("cross", 3, 3, 2, voids=tuple(Rect(x, y, 1, 1) for x, y in corner))
    stock = (StockItem("sheet", 5, 4, None, Fraction(1)),)
    problem = Problem((cross,), stock, Cuts.FREE, smallest_offcut=1)
    assert best(problem) == (0, 1)
    assert solve(problem, Effort.QUICK).cost == 1
