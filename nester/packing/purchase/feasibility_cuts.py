"""What is lacking: the least price of further sheets, so that sheets bought hold all pieces.

A linear program cuts the sheets that there are, and further ones at their prices, in fractions by
known contents.  Its dual values give each piece a worth; how much of that a sheet of each bin type can
hold at most (`PricingBound`) makes an inequality that every plan keeps, and shows contents that the
program does not know yet.  Inequalities found by what is lacking rule out many purchases at once,
for the prices of further sheets are about those at which they would be bought.

Worths are not taken as the program says, but half way to those by which most was proven before:
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
"""An inequality will do that proves such a part of what the program says is lacking."""


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
        Of a further sheet of each bin type; None if there are none.
    """

    def __init__(self, task: Task, pricing: PricingBound, prices: Sequence[int | None]) -> None:
        self._task = task
        self._pricing = pricing
        highest_price = max(1, *(price or 0 for price in prices))
        self._prices = [None if price is None else price / highest_price for price in prices]
        rate = SHORTAGE_PENALTY * max(
            (price or 0) / sheet_type.area
            for price, sheet_type in zip(self._prices, task.bin_types, strict=True)
        )
        shortage_costs = [rate * item.area for item in task.item_types]
        self._pattern_lp = PatternLP([0.0] * len(prices), shortage_costs, self._prices)

    @property
    def steps(self) -> int:
        """Steps spent on programs, in the measure of filling; not those of bounding worths."""
        return self._pattern_lp.steps

    def add_column(self, bin_type: int, content: Mapping[int, float]) -> bool:
        """Let the program know a content; say whether it is new."""
        return self._pattern_lp.add_column(bin_type, content)

    def separate(self, stock: Sequence[int], max_steps: int, stop: Stop) -> ValidInequality | None:
        """Return an inequality that so many sheets of each bin type break if they make everything.

        None if they don't lack anything when cut in fractions, or if so many steps don't suffice.
        """
        best: _FeasibilityCut | None = None
        end = self.steps + self._pricing.steps + max_steps
        while self.steps + self._pricing.steps < end and not stop():
            shortage_cost, duals = self._pattern_lp.solve(stock, self._task.demand)
            if shortage_cost < _TOLERANCE:
                break
            found_column = False
            for item_duals in (
                [duals] if best is None else [_midpoint(best.item_duals, duals), duals]
            ):
                cut, found_column = self._cut_from_duals(stock, item_duals, stop)
                if best is None or cut.violation > best.violation:
                    best = cut
                if found_column:
                    break
            if not found_column or (
                best is not None and best.violation >= _SUFFICIENT_DEPTH * shortage_cost
            ):
                break
        return None if best is None or best.violation <= 0 else best.inequality

    def _cut_from_duals(
        self, stock: Sequence[int], duals: Sequence[float], stop: Stop
    ) -> tuple[_FeasibilityCut, bool]:
        """Bound what is lacking by worths, and say whether a content was new."""
        item_duals = [int(value * _DUAL_SCALE) for value in duals]
        best = self._pricing.solve(item_duals, stop)
        found_column = False
        dual_scale = 1.0
        total_capacity = 0
        for bin_type, ((capacity, content), price) in enumerate(
            zip(best, self._prices, strict=True)
        ):
            total_capacity += capacity * stock[bin_type]
            if price:
                dual_scale = max(dual_scale, capacity / _DUAL_SCALE / price)
            found_column |= self.add_column(bin_type, content)
        demand = self._task.demand
        total_weight = sum(dual * n for dual, n in zip(item_duals, demand, strict=True))
        inequality = scaled_inequality([capacity for capacity, _ in best], item_duals, demand)
        violation = (total_weight - total_capacity) / _DUAL_SCALE / dual_scale
        if inequality.total_capacity(stock) >= inequality.total_weight(demand):
            violation = min(0.0, violation)
        return _FeasibilityCut(
            inequality, violation, [value / dual_scale for value in duals]
        ), found_column


def _midpoint(first: Sequence[float], second: Sequence[float]) -> list[float]:
    return [(a + b) / 2 for a, b in zip(first, second, strict=True)]
