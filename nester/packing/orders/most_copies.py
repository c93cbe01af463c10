"""How many equal objects can be made of the stock: exactly, or between two proven bounds.

Each paper is searched by bisection.  That a number can be made is shown by a plan; that it can't is
proven by a violated valid inequality, or by an exact solution for few pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.core.problem import CuttingPlan, Effort, Problem
from nester.packing.orders.capacity import CapacityOracle
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.task import tasks_by_paper
from nester.packing.task.validate import validate

__all__ = ["CopiesRange", "most_copies"]


@dataclass(frozen=True)
class CopiesRange:
    """How many objects can be made.

    Attributes
    ----------
    lower_bound, upper_bound
        This many can be made, and no more; both are proven, and equal unless the search ended
        early.
    limiting_papers
        The papers that allow no more by the plans found; or the pieces that fit no sheet.
    plans
        For each paper a problem and its plan, which holds the pieces for at least that many.
    """

    lower_bound: int
    upper_bound: int
    limiting_papers: tuple[str, ...]
    plans: tuple[tuple[Problem, CuttingPlan], ...] = ()

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no more can be made."""
        return self.lower_bound == self.upper_bound


def most_copies(
    problem: Problem, effort: Effort = Effort.NORMAL, *, stop: Stop = never
) -> CopiesRange:
    """Find how many equal objects a problem's stock suffices for.

    Parameters
    ----------
    problem
        Its demands are the pieces of one object; its stock must be limited.
    effort
        How hard to look for a plan for one more object while that is not proven impossible.

    Raises
    ------
    Refusal
        If the problem is invalid: see `nester.packing.task.validate`.
    ValueError
        If there is no end to a bin type of stock.
    """
    validate(problem)
    if any(item.quantity is None for item in problem.stock):
        raise ValueError("there is no end to what can be made of endless stock")
    tasks, unplaceable = tasks_by_paper(problem)
    if unplaceable:
        return CopiesRange(
            0, 0, tuple(dict.fromkeys(f"{demand.name}: {reason}" for demand, reason in unplaceable))
        )
    searches = []
    for task in tasks:
        demands = tuple(demand for demand in problem.demands if demand.paper == task.paper)
        stock = tuple(item for item in problem.stock if item.paper == task.paper)
        searches.append(_PaperCopies(replace(problem, demands=demands, stock=stock), effort, stop))
    upper_bound = min(search.upper_bound for search in searches)
    for search in searches:
        search.search(upper_bound + 1)  # one more, to see which papers would suffice for it
        upper_bound = min(upper_bound, search.upper_bound)
    lower_bound = min(search.lower_bound for search in searches)
    limiting = (search.paper for search in searches if search.lower_bound == lower_bound)
    return CopiesRange(
        lower_bound,
        max(lower_bound, upper_bound),
        tuple(limiting),
        tuple(search.plan for search in searches if search.plan is not None),
    )


class _PaperCopies:
    """The search on one paper."""

    def __init__(self, problem: Problem, effort: Effort, stop: Stop) -> None:
        self._effort, self._stop = effort, stop
        self._pieces_per_copy = {demand.name: demand.quantity for demand in problem.demands}
        self.paper = problem.demands[0].paper
        item_area = sum(
            demand.quantity
            * (demand.width * demand.height - sum(void.area for void in demand.voids))
            for demand in problem.demands
        )
        stock_area = sum(item.width * item.height * (item.quantity or 0) for item in problem.stock)
        self.lower_bound, self.upper_bound = 0, stock_area // item_area
        self._problem = self._scaled(problem, max(1, self.upper_bound))
        self._oracle = CapacityOracle(self._problem, tasks_by_paper(self._problem)[0][0])
        self.plan: tuple[Problem, CuttingPlan] | None = None
        self._tighten_quickly()

    @staticmethod
    def _scaled(problem: Problem, copies: int) -> Problem:
        demands = (replace(demand, quantity=demand.quantity * copies) for demand in problem.demands)
        return replace(problem, demands=tuple(demands))

    def _pieces(self, copies: int) -> Mapping[str, int]:
        return {name: per_copy * copies for name, per_copy in self._pieces_per_copy.items()}

    def _tighten_quickly(self) -> None:
        """Lower the upper bound by bisection with dual feasible functions."""
        low, high = 0, self.upper_bound
        while low < high:
            middle = (low + high + 1) // 2
            if self._oracle.separate(self._oracle.counts(self._pieces(middle))) is None:
                low = middle
            else:
                high = middle - 1
        # A violated inequality stays violated with more copies, so bisection is sound.
        self.upper_bound = high

    def search(self, max_useful: int) -> None:
        """Raise the lower bound by bisection, first with a quick plan, then with more effort.

        Parameters
        ----------
        max_useful
            More copies than this are of no use, as another paper allows no more.
        """
        for effort in (None, *list(Effort)[: list(Effort).index(self._effort) + 1]):
            low = self.lower_bound
            high = min(self.upper_bound, max_useful)
            while low < high and not self._stop():
                middle = (low + high + 1) // 2
                if self._can_make(middle, effort):
                    low = middle
                else:
                    high = middle - 1
                low, high = max(low, self.lower_bound), max(high, self.lower_bound)
            if self.lower_bound < min(self.upper_bound, max_useful):
                self._tighten_by_dual_bound()
            if self.lower_bound >= min(self.upper_bound, max_useful):
                return

    def _can_make(self, copies: int, effort: Effort | None) -> bool:
        result = self._oracle.check(self._pieces(copies), effort, self._stop)
        if result.is_proven:
            self.upper_bound = min(self.upper_bound, copies - 1)
        # A plan that leaves pieces out may still hold all pieces of fewer copies.
        unplaced = {piece.name: piece.quantity for piece in result.cutting_plan.unplaced}
        complete_copies = min(
            (per_copy * copies - unplaced.get(name, 0)) // per_copy
            for name, per_copy in self._pieces_per_copy.items()
        )
        if complete_copies > self.lower_bound:
            self.lower_bound = complete_copies
            quantities = self._pieces(copies)
            demands = (
                replace(demand, quantity=quantities[demand.name])
                for demand in self._problem.demands
            )
            stock = (replace(item, price=Fraction(0)) for item in self._problem.stock)
            problem = replace(self._problem, demands=tuple(demands), stock=tuple(stock))
            self.plan = problem, result.cutting_plan
        return result.is_feasible

    def _is_proven_infeasible(self, copies: int) -> bool:
        counts = self._oracle.counts(self._pieces(copies))
        return self._oracle.separate_by_dual_bound(counts, self._stop) is not None

    def _tighten_by_dual_bound(self) -> None:
        """Lower the upper bound by bisection with the dual bound of column generation."""
        low, high = self.lower_bound, self.upper_bound
        while low < high and not self._stop():
            middle = (low + high + 1) // 2
            if self._is_proven_infeasible(middle):
                high = middle - 1
            else:
                low = middle
        self.upper_bound = high
