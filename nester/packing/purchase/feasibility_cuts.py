"""What is lacking: the least price of further sheets, so that sheets bought hold all pieces.

A linear programme cuts the sheets that there are, and further ones at their prices, in fractions by
known contents.  Its dual values give each piece a worth; how much of that a sheet of each kind can
hold at most (`PricingBound`) makes an inequality that every plan keeps, and shows contents that the
programme does not know yet.  Inequalities found by what is lacking rule out many purchases at once,
for the prices of further sheets are about those at which they would be bought.

Worths are not taken as the programme says, but half way to those by which most was proven before:
they swing less, and fewer contents have to be found (Wentges, International Transactions in
Operational Research 4, 1997).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from nester.packing.bounds.dual_bound import PricingBound
from nester.packing.bounds.pattern_lp import SHORTAGE_PENALTY, PatternLP
from nester.packing.bounds.valid_inequalities import ValidInequality, scaled_inequality
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

__all__ = ["FeasibilityCutSeparator"]

_DUAL_SCALE = 2**24
"""Worths are whole parts of a price; the dearest sheet's is so many."""
_TOLERANCE = 1e-6
"""So little of the dearest sheet's price is not lacking."""
_SUFFICIENT_DEPTH = 0.5
"""An inequality will do that proves such a part of what the programme says is lacking."""


class _FeasibilityCut(NamedTuple):
    """An inequality, what it proves to be lacking, and the worths that prove it, scaled."""

    inequality: ValidInequality
    violation: float
    item_duals: list[float]


class FeasibilityCutSeparator:
    """Finds what sheets lack; the contents that it learns serve all later questions.

    Parameters
    ----------
    prices
        Of a further sheet of each kind; None if there are none.
    """

    def __init__(self, task: Task, worth: PricingBound, prices: Sequence[int | None]) -> None:
        self._task = task
        self._pricing = worth
        dearest = max(1, *(price or 0 for price in prices))
        self._prices = [None if price is None else price / dearest for price in prices]
        rate = SHORTAGE_PENALTY * max(
            (price or 0) / kind.area
            for price, kind in zip(self._prices, task.bin_types, strict=True)
        )
        amends = [rate * shape.area for shape in task.item_types]
        self._pattern_lp = PatternLP([0.0] * len(prices), amends, self._prices)

    @property
    def steps(self) -> int:
        """Steps spent on programmes, in the measure of filling; not those of bounding worths."""
        return self._pattern_lp.steps

    def add_column(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let the programme know a content; say whether it is new."""
        return self._pattern_lp.add_column(kind, content)

    def separate(self, stock: Sequence[int], most_steps: int, stop: Stop) -> ValidInequality | None:
        """Return an inequality that so many sheets of each kind break if they make everything.

        None if they don't lack anything when cut in fractions, or if so many steps don't suffice.
        """
        best: _FeasibilityCut | None = None
        end = self.steps + self._pricing.steps + most_steps
        while self.steps + self._pricing.steps < end and not stop():
            lacking, values = self._pattern_lp.solve(stock, self._task.demand)
            if lacking < _TOLERANCE:
                break
            learnt = False
            for worths in (
                [values] if best is None else [_midpoint(best.item_duals, values), values]
            ):
                found, learnt = self._cut_from_duals(stock, worths, stop)
                if best is None or found.violation > best.violation:
                    best = found
                if learnt:
                    break
            if not learnt or (best is not None and best.violation >= _SUFFICIENT_DEPTH * lacking):
                break
        return None if best is None or best.violation <= 0 else best.inequality

    def _cut_from_duals(
        self, stock: Sequence[int], values: Sequence[float], stop: Stop
    ) -> tuple[_FeasibilityCut, bool]:
        """Bound what is lacking by worths, and say whether a content was new."""
        worths = [int(value * _DUAL_SCALE) for value in values]
        best = self._pricing.solve(worths, stop)
        learnt = False
        over = 1.0
        held = 0
        for kind, ((most, content), price) in enumerate(zip(best, self._prices, strict=True)):
            held += most * stock[kind]
            if price:
                over = max(over, most / _DUAL_SCALE / price)
            learnt |= self.add_column(kind, content)
        demand = self._task.demand
        needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
        inequality = scaled_inequality([most for most, _ in best], worths, demand)
        proven = (needed - held) / _DUAL_SCALE / over
        if inequality.total_capacity(stock) >= inequality.total_weight(demand):
            proven = min(0.0, proven)
        return _FeasibilityCut(inequality, proven, [value / over for value in values]), learnt


def _midpoint(some: Sequence[float], others: Sequence[float]) -> list[float]:
    return [(one + other) / 2 for one, other in zip(some, others, strict=True)]
