"""Pieces with voids: every answer passes the judge, and no bound is above a plan that is known."""

from __future__ import annotations

import random
from fractions import Fraction
from functools import cache
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.piece import Turn
from nester.core.problem import (
    Cuts,
    Demand,
    Effort,
    PlacedPiece,
    Problem,
    Rect,
    StockItem,
    placed_voids,
)
from nester.packing import solve
from nester.packing.bounds.lower_bound import lower_bound
from nester.packing.patterns.interlocking import Interlocking
from nester.packing.task.task import tasks_by_paper
from nester.verify import verify

chances = st.integers(0, 2**32).map(random.Random)


def corner_voids(width: int, height: int, chance: random.Random) -> tuple[Rect, ...]:
    if min(width, height) < 3 or chance.random() < 0.3:
        return ()
    wide, high = chance.randint(1, (width - 1) // 2), chance.randint(1, (height - 1) // 2)
    return tuple(
        Rect(x, y, wide, high)
        for x in (0, width - wide)
        for y in (0, height - high)
        if chance.random() < 0.8
    )


def some_problem(chance: random.Random, cuts: Cuts) -> Problem:
    wants = []
    for number in range(chance.randint(1, 5)):
        width, height = chance.randint(1, 12), chance.randint(1, 12)
        wants.append(
            Demand(
                f"w{number}",
                width,
                height,
                chance.randint(1, 6),
                turn=chance.choice(list(Turn)),
                voids=corner_voids(width, height, chance),
            )
        )
    stock = [
        StockItem(
            f"s{number}",
            chance.randint(6, 30),
            chance.randint(6, 30),
            chance.choice([None, 1, 3]),
            Fraction(chance.randint(0, 9), 3),
        )
        for number in range(chance.randint(1, 2))
    ]
    return Problem(tuple(wants), tuple(stock), cuts, smallest_offcut=chance.choice([1, 4]))


@settings(max_examples=20, deadline=None)
@given(chances, st.sampled_from(Cuts))
def test_every_answer_passes_the_judge(chance: random.Random, cuts: Cuts) -> None:
    problem = some_problem(chance, cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []


def cells(width: int, rect: Rect) -> int:
    row = (1 << rect.width) - 1
    return sum(row << ((rect.y + line) * width + rect.x) for line in range(rect.height))


def ways(want: Demand, width: int, height: int) -> list[int]:
    """Return all places of a piece on a sheet as sets of cells."""
    found = []
    for turned in (False, True) if want.turn is Turn.ANY else (False,):
        wide, high = (want.height, want.width) if turned else (want.width, want.height)
        for x in range(width - wide + 1):
            for y in range(height - high + 1):
                piece = PlacedPiece("", x, y, wide, high, turned)
                solid = cells(width, piece.rect)
                for void in placed_voids(want, piece):
                    solid &= ~cells(width, void)
                found.append(solid)
    return found


def fewest_sheets(problem: Problem) -> int:
    """Return how few sheets of one size hold all pieces, cut free, by trying everything."""
    (stock,) = problem.stock
    places = {w.name: ways(w, stock.width, stock.height) for w in problem.demands}
    pieces = [want.name for want in problem.demands for _ in range(want.quantity)]

    @cache
    def together(content: tuple[str, ...], taken: int = 0) -> bool:
        return not content or any(
            together(content[1:], taken | place)
            for place in places[content[0]]
            if not place & taken
        )

    @cache
    def least(left: tuple[str, ...]) -> int:
        if not left:
            return 0
        return 1 + min(
            least(tuple(left[i] for i in range(1, len(left)) if i not in chosen))
            for size in range(len(left))
            for chosen in combinations(range(1, len(left)), size)
            if together((left[0], *(left[i] for i in chosen)))
        )

    return least(tuple(pieces))


@settings(max_examples=30, deadline=None)
@given(chances)
def test_no_bound_is_above_what_is_possible(chance: random.Random) -> None:
    wants = []
    for number in range(chance.randint(1, 3)):
        width, height = chance.randint(2, 4), chance.randint(2, 4)
        turn = chance.choice([Turn.ANY, Turn.NONE])
        voids = corner_voids(width, height, chance)
        wants.append(
            Demand(f"w{number}", width, height, chance.randint(1, 2), turn=turn, voids=voids)
        )
    size = chance.randint(4, 5), chance.randint(4, 6)
    stock = StockItem("s", *size, None, Fraction(1))
    problem = Problem(tuple(wants), (stock,), Cuts.FREE, smallest_offcut=1)
    best = fewest_sheets(problem)
    (task,), _ = tasks_by_paper(problem)
    assert lower_bound(task) <= best
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert answer.lower_bound <= best <= answer.cost


@settings(max_examples=60, deadline=None)
@given(chances)
def test_what_is_proven_to_be_the_most_on_a_sheet_is(chance: random.Random) -> None:
    width, height = chance.randint(3, 5), chance.randint(3, 5)
    voids = corner_voids(width, height, chance)
    turn = chance.choice([Turn.ANY, Turn.NONE])
    want = Demand("w", width, height, 20, turn=turn, voids=voids)
    size = chance.randint(4, 7), chance.randint(5, 7)
    problem = Problem((want,), (StockItem("s", *size, None, Fraction(1)),), Cuts.FREE, 1)
    tasks, _ = tasks_by_paper(problem)
    if not tasks:
        return
    interlocking = Interlocking(tasks[0], random.Random(1))
    known = [len(pattern.placements) for pattern in interlocking.patterns(lambda: False)]
    places = ways(want, *size)

    def most(taken: int, first: int) -> int:
        clear = (i for i in range(first, len(places)) if not places[i] & taken)
        return max((1 + most(taken | places[i], i + 1) for i in clear), default=0)

    best = most(0, 0)
    assert max(known, default=1) <= best
    for (proven,) in interlocking.max_copies.values():
        assert best <= proven
        if max(known, default=1) < best:
            assert proven > best


def halved(part: Rect, chance: random.Random, depth: int) -> list[Rect]:
    if depth == 0 or min(part.width, part.height) < 2:
        return [part]
    if chance.random() < 0.5:
        at = chance.randrange(1, part.width)
        two = part._replace(width=at), part._replace(x=part.x + at, width=part.width - at)
    else:
        at = chance.randrange(1, part.height)
        two = part._replace(height=at), part._replace(y=part.y + at, height=part.height - at)
    return [rect for half in two for rect in halved(half, chance, depth - 1)]


@settings(max_examples=60, deadline=None)
@given(chances)
def test_no_bound_is_above_sheets_cut_up_with_their_corners(chance: random.Random) -> None:
    """Sheets cut edge to edge into pieces, and the corners of those too."""
    size = chance.randint(6, 30), chance.randint(6, 30)
    sheets = chance.randint(1, 4)
    wants: list[Demand] = []

    def take(rect: Rect, depth: int) -> None:
        voids = corner_voids(rect.width, rect.height, chance)
        turn = chance.choice([Turn.ANY, Turn.NONE])
        wants.append(Demand(str(len(wants)), rect.width, rect.height, 1, turn=turn, voids=voids))
        if depth:
            for void in voids:
                for part in halved(void, chance, 1):
                    take(part, depth - 1)

    for _ in range(sheets):
        for part in halved(Rect(0, 0, *size), chance, 2):
            take(part, 2)
    for cuts in Cuts:
        problem = Problem(tuple(wants), (StockItem("s", *size, None, Fraction(1)),), cuts)
        (task,), _ = tasks_by_paper(problem)
        assert lower_bound(task) <= sheets


@settings(max_examples=4, deadline=None)
@given(chances)
def test_equal_input_gives_an_equal_answer(chance: random.Random) -> None:
    problem = some_problem(chance, Cuts.FREE)
    assert solve(problem, Effort.QUICK) == solve(problem, Effort.QUICK)
