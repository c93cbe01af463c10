"""Feasibility cuts: inequalities that rule out sheets which don't hold all pieces.

A linear program covers all pieces by known patterns, cut in fractions from given sheets, and from
further ones at their prices.  If its cost is positive, the given sheets don't suffice by these
patterns.  Its dual values make a valid inequality: the value of all pieces is at most what the
sheets hold, where a bound for each bin type (`PricingBound`) makes it hold for all patterns; the
pricing problem also yields patterns that the linear program doesn't know yet.  The cost of further
sheets is close to what they would cost in a purchase, so that one cut rules out many purchases.

Dual values are smoothed: pricing uses the midpoint of the present ones and those of the best cut so
far, which takes fewer iterations (Wentges, "Weighted Dantzig-Wolfe decomposition for linear
mixed-integer programming", International Transactions in Operational Research 4, 1997).
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
"""Dual values are integers; the price of the most expensive sheet is this many units."""
_TOLERANCE = 1e-6
"""A cost below this part of the most expensive sheet's price counts as zero."""
_SUFFICIENT_DEPTH = 0.5
"""A cut is good enough that proves this part of the linear program's cost."""


class _FeasibilityCut(NamedTuple):
    """An inequality, the cost of further sheets that it proves, and its dual values."""

    inequality: ValidInequality
    violation: float
    item_duals: list[float]


class FeasibilityCutSeparator:
    """Separates sheets that don't suffice; the columns it generates serve all later calls.

    Parameters
    ----------
    prices
        Of a further sheet of each bin type; None if none can be bought.
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
        """Steps spent on linear programs, in steps of filling; without those of pricing."""
        return self._pattern_lp.steps

    def add_column(self, bin_type: int, content: Mapping[int, float]) -> bool:
        """Add a pattern's content as a column; return whether it is new."""
        return self._pattern_lp.add_column(bin_type, content)

    def separate(self, stock: Sequence[int], max_steps: int, stop: Stop) -> ValidInequality | None:
        """Return an inequality that these sheets violate, by column generation.

        None if they suffice when cut in fractions, or if none is found within the steps.
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
        """Make a cut of dual values; return it, and whether pricing found a new column.

        If a bin type holds more value than its sheet costs, the dual values are infeasible for the
        linear program over all patterns; dividing by the largest such ratio makes them feasible
        (Farley, "A note on bounding a class of linear programming problems", Operations Research
        38, 1990), so that the violation is a proven cost.
        """
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
