"""What is lacking: the least price of further sheets, so that sheets bought hold all pieces.

A linear programme cuts the sheets that there are, and further ones at their prices, in fractions by
known contents.  Its dual values give each piece a worth; how much of that a sheet of each kind can
hold at most (`Worth`) makes an inequality that every plan keeps, and shows contents that the
programme does not know yet.  Inequalities found by what is lacking rule out many purchases at once,
for the prices of further sheets are about those at which they would be bought.

Worths are not taken as the programme says, but half way to those by which most was proven before:
they swing less, and fewer contents have to be found (Wentges, International Transactions in
Operational Research 4, 1997).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from nester.packing.bounds.dual_bound import Worth
from nester.packing.bounds.pattern_lp import DEAR, ContentsProgramme
from nester.packing.bounds.valid_inequalities import Inequality, tamed
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

__all__ = ["Shortage"]

_SCALE = 2**24
"""Worths are whole parts of a price; the dearest sheet's is so many."""
_NOTHING = 1e-6
"""So little of the dearest sheet's price is not lacking."""
_DEEP = 0.5
"""An inequality will do that proves such a part of what the programme says is lacking."""


class _Found(NamedTuple):
    """An inequality, what it proves to be lacking, and the worths that prove it, scaled."""

    inequality: Inequality
    lacking: float
    worths: list[float]


class Shortage:
    """Finds what sheets lack; the contents that it learns serve all later questions.

    Parameters
    ----------
    prices
        Of a further sheet of each kind; None if there are none.
    """

    def __init__(self, task: Task, worth: Worth, prices: Sequence[int | None]) -> None:
        self._task = task
        self._worth = worth
        dearest = max(1, *(price or 0 for price in prices))
        self._prices = [None if price is None else price / dearest for price in prices]
        rate = DEAR * max(
            (price or 0) / kind.area for price, kind in zip(self._prices, task.kinds, strict=True)
        )
        amends = [rate * shape.area for shape in task.shapes]
        self._programme = ContentsProgramme([0.0] * len(prices), amends, self._prices)

    @property
    def steps(self) -> int:
        """Steps spent on programmes, in the measure of filling; not those of bounding worths."""
        return self._programme.steps

    def add(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let the programme know a content; say whether it is new."""
        return self._programme.add(kind, content)

    def broken(self, stock: Sequence[int], most_steps: int, stop: Stop) -> Inequality | None:
        """Return an inequality that so many sheets of each kind break if they make everything.

        None if they don't lack anything when cut in fractions, or if so many steps don't suffice.
        """
        best: _Found | None = None
        end = self.steps + self._worth.steps + most_steps
        while self.steps + self._worth.steps < end and not stop():
            lacking, values = self._programme.solve(stock, self._task.demand)
            if lacking < _NOTHING:
                break
            learnt = False
            for worths in [values] if best is None else [_between(best.worths, values), values]:
                found, learnt = self._prove(stock, worths, stop)
                if best is None or found.lacking > best.lacking:
                    best = found
                if learnt:
                    break
            if not learnt or (best is not None and best.lacking >= _DEEP * lacking):
                break
        return None if best is None or best.lacking <= 0 else best.inequality

    def _prove(
        self, stock: Sequence[int], values: Sequence[float], stop: Stop
    ) -> tuple[_Found, bool]:
        """Bound what is lacking by worths, and say whether a content was new."""
        worths = [int(value * _SCALE) for value in values]
        best = self._worth.best(worths, stop)
        learnt = False
        over = 1.0
        held = 0
        for kind, ((most, content), price) in enumerate(zip(best, self._prices, strict=True)):
            held += most * stock[kind]
            if price:
                over = max(over, most / _SCALE / price)
            learnt |= self.add(kind, content)
        demand = self._task.demand
        needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
        inequality = tamed([most for most, _ in best], worths, demand)
        proven = (needed - held) / _SCALE / over
        if inequality.held(stock) >= inequality.needed(demand):
            proven = min(0.0, proven)
        return _Found(inequality, proven, [value / over for value in values]), learnt


def _between(some: Sequence[float], others: Sequence[float]) -> list[float]:
    return [(one + other) / 2 for one, other in zip(some, others, strict=True)]
