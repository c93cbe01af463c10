"""More effort never gives a worse plan: each does the rounds of the one before, then its own."""

import importlib
import random
from dataclasses import asdict
from fractions import Fraction
from itertools import pairwise

import pytest

from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.packing.search.paper_search import Budget
from nester.verify import verify

# The door hides the module of its name.
rounds_of = importlib.import_module("nester.packing.search.solve")


def some_problem(chance: random.Random) -> Problem:
    wants = [
        Demand(
            f"w{number}",
            chance.randint(3, 40),
            chance.randint(3, 40),
            chance.randint(1, 5),
            paper=chance.choice(("plain", "print")),
            turn=chance.choice(list(Turn)),
        )
        for number in range(chance.randint(8, 14))
    ]
    stock = [
        StockItem(
            f"s{number}",
            chance.randint(40, 90),
            chance.randint(40, 90),
            chance.choice((None, 1, 2)),
            Fraction(chance.randint(1, 9), 3),
            ("plain", "print")[number % 2],
        )
        for number in range(4)
    ]
    return Problem(tuple(wants), tuple(stock), chance.choice(list(Cuts)), smallest_offcut=5)


def test_each_effort_begins_with_the_rounds_of_the_one_before() -> None:
    for less, more in pairwise(Effort):
        known = rounds_of._ROUNDS[less]
        assert rounds_of._ROUNDS[more][: len(known)] == known
        assert len(rounds_of._ROUNDS[more]) > len(known)


@pytest.mark.parametrize("seed", range(50))
def test_more_effort_is_never_worse(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # The real rounds, in small: what they are made of matters here, not how large they are.
    small = {
        effort: tuple(
            Budget(
                **{
                    name: part // 2_000 if isinstance(part, int) else part / 200
                    for name, part in asdict(one).items()
                }
            )
            for one in rounds
        )
        for effort, rounds in rounds_of._ROUNDS.items()
    }
    monkeypatch.setattr(rounds_of, "_ROUNDS", small)
    problem = some_problem(random.Random(seed))
    area = {want.name: want.width * want.height for want in problem.demands}
    standings = []
    for effort in Effort if seed < 10 else (Effort.QUICK, Effort.NORMAL):
        answer = solve(problem, effort)
        assert verify(problem, answer) == []
        unmade = sum(area[one.name] * one.quantity for one in answer.unplaced)
        standings.append((unmade, answer.cost))
    assert standings == sorted(standings, reverse=True)
