"""Valid inequalities from the dual values of covering LPs.

Column generation (Gilmore and Gomory, Operations Research 9, 1961): the covering LP over known
patterns gives each item type a dual value; the pricing problem finds a pattern whose value exceeds
its sheet's cost; it becomes a new column.  Here the pricing problem is only bounded
(`PricingBound`).  That suffices for a proof: the dual values as weights, and the bounds as
capacities, are a valid inequality whatever the dual values were.  Farley (Operations Research 38,
1990) bounds the cost in this way before column generation has converged.  No float decides: the
dual values are rounded to integers before they are bounded.

Two LPs are solved.  One asks what making everything *costs* at least, from all sheets on hand and
then with only as many scarce ones as were chosen; its inequality rules out all cheaper choices at
once.  The other asks how much *area* the chosen sheets leave unmade; it rules out a choice that the
first would pass because fractions of a further sheet would make it good.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple, Protocol

from nester.packing.bounds.pattern_lp import PatternLP
from nester.packing.bounds.valid_inequalities import ValidInequality, scaled_inequality
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

__all__ = ["DualBound", "PricingBound"]

_SCALE = 2**24
_ZERO_TOLERANCE = 1e-7
_CONVERGENCE_RATIO = 1 - 1e-5
"""With the bound this close to the LP's value further columns hardly matter."""


class PricingBound(Protocol):
    """Bounds the pricing problem: the value of the pieces on one sheet at most."""

    @property
    def steps(self) -> int:
        """Effort of all calls of `solve`, in steps of filling."""

    def solve(self, values: Sequence[int], stop: Stop) -> Sequence[tuple[int, Mapping[int, float]]]:
        """Return for each bin type an upper bound on its pieces' value, and counts near it.

        The counts may be fractional, and more than any sheet holds.  Once `stop` is true, a weaker
        bound will do.

        Parameters
        ----------
        values
            Of one piece of each item type, integers of zero or more.
        """


class _DualResult(NamedTuple):
    """What the dual values of an LP led to.

    Attributes
    ----------
    lp_value
        Value of the LP with the columns known before.
    bound
        Farley's bound on the LP with all columns, in its units; a float, only for comparing.
    found_column
        Whether the pricing found a new column.
    """

    inequality: ValidInequality
    lp_value: float
    bound: float
    found_column: bool


class DualBound:
    """Separates inequalities from dual values; its columns serve all later questions."""

    def __init__(self, task: Task, pricing: PricingBound) -> None:
        self._task = task
        self._pricing = pricing
        self._converged: set[tuple[str, tuple[int, ...], tuple[int, ...]]] = set()
        areas = [item.area for item in task.item_types]
        self._cost_lp = PatternLP.minimal_cost(task)
        self._area_lp = PatternLP(
            [0.0] * len(task.bin_types), [area / max(areas) for area in areas]
        )

    @property
    def steps(self) -> int:
        """Effort so far, in steps of filling."""
        return self.lp_steps + self._pricing.steps

    @property
    def lp_steps(self) -> int:
        """The part of `steps` spent on the LPs."""
        return self._cost_lp.steps + self._area_lp.steps

    def add_column(self, bin_type: int, counts: Mapping[int, float]) -> bool:
        """Add a column to both LPs; return whether it is new."""
        self._cost_lp.add_column(bin_type, counts)
        return self._area_lp.add_column(bin_type, counts)

    def separate(
        self, sheets: Sequence[int], production: Sequence[int], max_steps: int, stop: Stop
    ) -> ValidInequality | None:
        """Return an inequality violated by these sheets, if they make these counts of item types.

        None if neither LP yields any, or if the steps don't suffice.
        """
        end = self.steps + max_steps

        def is_done() -> bool:
            return self.steps >= end or stop()

        sheet_counts, demand = tuple(sheets), tuple(production)
        if demand == self._task.demand and any(
            sheet_type.price for sheet_type in self._task.bin_types
        ):
            for limits in self._supply_limits(sheet_counts):
                found = self._cost_inequality(limits, is_done)
                if found is not None and found.total_capacity(sheets) < found.total_weight(
                    production
                ):
                    return found
        return self._area_inequality(sheet_counts, demand, is_done)

    def _supply_limits(self, sheets: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """Yield all sheets on hand; then, of scarce bin types, only as many as chosen."""
        max_sheets = [self._task.max_sheets(bin_type) for bin_type in range(len(sheets))]
        yield tuple(max_sheets)
        yield tuple(
            max_count if sheet_type.on_hand is None else count
            for sheet_type, max_count, count in zip(
                self._task.bin_types, max_sheets, sheets, strict=True
            )
        )

    def _cost_inequality(self, limits: tuple[int, ...], stop: Stop) -> ValidInequality | None:
        """Return the inequality that bounds the cost of everything best; None if it is known."""
        question = "cost", limits, self._task.demand
        best: _DualResult | None = None
        while question not in self._converged and not stop():
            answer = self._solve_and_price(self._cost_lp, limits, self._task.demand, stop)
            if best is None or answer.bound > best.bound:
                best = answer
            if not answer.found_column or best.bound >= _CONVERGENCE_RATIO * answer.lp_value:
                self._converged.add(question)
        return best.inequality if best else None

    def _area_inequality(
        self, sheets: tuple[int, ...], demand: tuple[int, ...], stop: Stop
    ) -> ValidInequality | None:
        """Return an inequality that proves some pieces unmade, or None."""
        question = "area", sheets, demand
        while question not in self._converged and not stop():
            answer = self._solve_and_price(self._area_lp, sheets, demand, stop)
            if answer.inequality.total_capacity(sheets) < answer.inequality.total_weight(demand):
                return answer.inequality
            if not answer.found_column or answer.lp_value < _ZERO_TOLERANCE * sum(demand):
                self._converged.add(question)
        return None

    def _solve_and_price(
        self, lp: PatternLP, supply: Sequence[int], demand: Sequence[int], stop: Stop
    ) -> _DualResult:
        """Solve an LP, bound the pricing problem at its dual values, and add the columns found."""
        lp_value, duals = lp.solve(supply, demand)
        item_values = [int(dual * _SCALE) for dual in duals]
        priced = self._pricing.solve(item_values, stop)
        bound = (
            sum(value * count for value, count in zip(item_values, demand, strict=True)) / _SCALE
        )
        found_column = False
        for bin_type, ((max_value, counts), limit) in enumerate(zip(priced, supply, strict=True)):
            bound -= limit * max(0.0, max_value / _SCALE - lp.prices[bin_type])
            found_column |= self.add_column(bin_type, counts) and limit > 0
        inequality = scaled_inequality(
            [max_value for max_value, _ in priced], item_values, self._task.demand
        )
        return _DualResult(inequality, lp_value, bound, found_column)
