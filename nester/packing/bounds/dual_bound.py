"""Show that some sheets cost too little, or can't hold the pieces, however they are laid.

Linear programmes over the contents of sheets give each piece a worth, by their dual values; a bound
(`PricingBound`) says how much of that a sheet of each kind can hold at most, and finds contents
that the programme does not know yet (column generation: Gilmore and Gomory, Operations Research 9,
1961).  Worths and what sheets hold of them are an inequality that every plan keeps, whatever the
dual values were (Farley, Operations Research 38, 1990, bounds a cost in this way), and no float
decides: worths are rounded to whole numbers first.

Two things are asked.  What does making everything *cost* at least, from all sheets on hand, and
from only as many of the scarce ones as were chosen?  The answer rules out all cheaper choices at
once.  How much *area* do the chosen sheets leave out?  That rules out this choice even if parts of
a sheet, were they to be had, would make it good.
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
"""So near to the least cost further contents hardly matter."""


class PricingBound(Protocol):
    """Says what each kind of sheet can be worth at most."""

    @property
    def steps(self) -> int:
        """What all calls of `solve` have cost, in steps of filling."""

    def solve(self, worths: Sequence[int], stop: Stop) -> Sequence[tuple[int, Mapping[int, float]]]:
        """Return, for each kind, a bound on the worth of its contents, and a content near it.

        The content may be a mixture, and more than any sheet holds.  Once `stop` says so, the
        bound is good enough.
        """


class _DualResult(NamedTuple):
    """What a programme's dual values led to.

    Attributes
    ----------
    lp_value
        What the programme says, with the contents known before.
    bound
        What all plans pay at least, in the programme's units; a float, good for comparing.
    found_column
        Whether a content was new.
    """

    inequality: ValidInequality
    lp_value: float
    bound: float
    found_column: bool


class DualBound:
    """Refutes sheets by the worth of their contents; what it learns serves all later questions."""

    def __init__(self, task: Task, worth: PricingBound) -> None:
        self._task = task
        self._pricing = worth
        self._converged: set[tuple[str, tuple[int, ...], tuple[int, ...]]] = set()
        areas = [shape.area for shape in task.item_types]
        self._cost_lp = PatternLP.minimal_cost(task)
        self._area_lp = PatternLP(
            [0.0] * len(task.bin_types), [area / max(areas) for area in areas]
        )

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        return self.lp_steps + self._pricing.steps

    @property
    def lp_steps(self) -> int:
        """Those of them that went into programmes."""
        return self._cost_lp.steps + self._area_lp.steps

    def add_column(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let the programmes know a content; say whether it is new."""
        self._cost_lp.add_column(kind, content)
        return self._area_lp.add_column(kind, content)

    def separate(
        self, sheets: Sequence[int], made: Sequence[int], most_steps: int, stop: Stop
    ) -> ValidInequality | None:
        """Return an inequality that is broken if these sheets make so many pieces of each shape.

        None if there is none of this kind, or if so many steps don't suffice.
        """
        end = self.steps + most_steps

        def enough() -> bool:
            return self.steps >= end or stop()

        chosen, pieces = tuple(sheets), tuple(made)
        if pieces == self._task.demand and any(kind.price for kind in self._task.bin_types):
            for limits in self._supply_limits(chosen):
                found = self._cost_inequality(limits, enough)
                if found is not None and found.total_capacity(sheets) < found.total_weight(made):
                    return found
        return self._area_inequality(chosen, pieces, enough)

    def _supply_limits(self, sheets: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """Yield all sheets there are; then, of the scarce ones, only as many as chosen."""
        most = [self._task.max_sheets(kind) for kind in range(len(sheets))]
        yield tuple(most)
        yield tuple(
            many if kind.on_hand is None else n
            for kind, many, n in zip(self._task.bin_types, most, sheets, strict=True)
        )

    def _cost_inequality(self, limits: tuple[int, ...], enough: Stop) -> ValidInequality | None:
        """Return what says most of the cost of making everything, unless it was said before."""
        question = "cost", limits, self._task.demand
        best: _DualResult | None = None
        while question not in self._converged and not enough():
            answer = self._solve_and_price(self._cost_lp, limits, self._task.demand, enough)
            if best is None or answer.bound > best.bound:
                best = answer
            if not answer.found_column or best.bound >= _CONVERGENCE_RATIO * answer.lp_value:
                self._converged.add(question)
        return best.inequality if best else None

    def _area_inequality(
        self, sheets: tuple[int, ...], made: tuple[int, ...], enough: Stop
    ) -> ValidInequality | None:
        """Return an inequality by which some pieces are left out, or None."""
        question = "area", sheets, made
        while question not in self._converged and not enough():
            answer = self._solve_and_price(self._area_lp, sheets, made, enough)
            if answer.inequality.total_capacity(sheets) < answer.inequality.total_weight(made):
                return answer.inequality
            if not answer.found_column or answer.lp_value < _ZERO_TOLERANCE * sum(made):
                self._converged.add(question)
        return None

    def _solve_and_price(
        self, programme: PatternLP, limits: Sequence[int], made: Sequence[int], stop: Stop
    ) -> _DualResult:
        """Solve a programme, and learn how much sheets hold of the worths it gives pieces."""
        least, values = programme.solve(limits, made)
        worths = [int(value * _SCALE) for value in values]
        best = self._pricing.solve(worths, stop)
        bound = sum(worth * n for worth, n in zip(worths, made, strict=True)) / _SCALE
        learnt = False
        for kind, ((most, content), limit) in enumerate(zip(best, limits, strict=True)):
            bound -= limit * max(0.0, most / _SCALE - programme.prices[kind])
            learnt |= self.add_column(kind, content) and limit > 0
        inequality = scaled_inequality([most for most, _ in best], worths, self._task.demand)
        return _DualResult(inequality, least, bound, learnt)
