"""What no plan can do better: the least area unmade, and the least cost.

Every plan keeps to certain inequalities between sheets and pieces (`valid_inequalities.py`); the
best whole numbers of sheets that keep to them are a bound.  The few inequalities that matter are
found one after the other: find the best sheets with the inequalities so far, add one that they
break, and so on.  The first come from pairs of superadditive functions
(`dual_feasible_functions.py`), thousands of which are compared in a moment.  When no pair helps any
more, linear programmes over the contents of sheets, for the least cost and for the least left out,
find further ones (`dual_bound.py`): first with a quick bound on what a sheet is worth
(`guillotine_pricing.py`, or `bar_relaxation.py` for free cuts), then with a sharper one
(`exact_pricing.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from nester.core.problem import Cuts
from nester.packing.bounds.bar_relaxation import MOST_KINDS, BarWorth
from nester.packing.bounds.dual_bound import Refuter, Worth
from nester.packing.bounds.dual_feasible_functions import Scales
from nester.packing.bounds.exact_pricing import ContentWorth
from nester.packing.bounds.guillotine_pricing import StraightWorth
from nester.packing.bounds.valid_inequalities import Best, Inequality, best_sheets
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.task import Task

__all__ = ["Bound", "lower_bound", "quick_worth"]

_ROUNDS = 40
"""Inequalities from pairs added at a time; each takes a few milliseconds."""
_STEPS_IN_WORK = 2_000_000
"""Steps of filling in CP-SAT's deterministic time (measured)."""


def lower_bound(
    task: Task, seconds: float = 10.0, most: Mapping[int, Sequence[int]] | None = None
) -> int:
    """Return a proven lower bound on the whole price of making all of a task's pieces.

    If it is proven that they can't all be made there is no plan to bound, and 0 is returned.

    Parameters
    ----------
    seconds
        A safety stop for each time the solver runs; the bound holds also when it strikes.
    most
        For some shapes, how many of them a sheet of each kind holds at most.
    """
    bound = Bound(task, seconds)
    bound.know_most(most or {})
    return 0 if bound.unmade else bound.cost


def quick_worth(task: Task, cuts: Cuts) -> Worth | None:
    """Return a quick bound on what sheets hold, or None where there is none."""
    if cuts is Cuts.STRAIGHT:
        return StraightWorth(task)
    return BarWorth(task) if len(task.kinds) <= MOST_KINDS else None


class Bound:
    """What is proven of all plans for a task, and can be strengthened.

    Attributes
    ----------
    unmade
        No plan leaves less area unmade.
    cost
        No plan that leaves just that much unmade costs less.
    """

    def __init__(self, task: Task, seconds: float = 10.0) -> None:
        self._task = task
        self._seconds = seconds
        self._scales = Scales(task)
        self._inequalities = [self._scales.area()]
        self._work = 0.0
        self._refuters: list[Refuter] = []
        self._worth: Worth | None = None
        self.unmade = self.cost = 0
        self._best = self._solved()
        self._add_pairs()

    def know_most(self, most: Mapping[int, Sequence[int]]) -> None:
        """Reckon with it that a sheet of each kind holds at most so many of some shapes."""
        for shape, holds in most.items():
            wanted = self._task.shapes[shape].wanted
            worths = tuple(int(i == shape) for i in range(len(self._task.shapes)))
            self._add(Inequality(tuple(min(number, wanted) for number in holds), worths))
        if most:
            self._add_pairs()

    def strengthen(
        self,
        cuts: Cuts,
        target: tuple[int, int],
        most_steps: int,
        stop: Stop = never,
        contents: Iterable[tuple[int, Mapping[int, float]]] = (),
    ) -> None:
        """Refute sheets until the bound is as high as `target`, or so many steps are spent.

        Parameters
        ----------
        cuts
            How paper is cut; always the same.
        target
            Area unmade and cost of a plan that is known.
        contents
            Of sheets, by their kind: what good plans cut, so that it need not be found again.
        """
        if not self._refuters:
            self._refuters = self._all_refuters(cuts)
        for kind, content in contents:
            for refuter in self._refuters:
                refuter.add(kind, content)
        end = self.steps + most_steps
        while self.steps < end and (self.unmade, self.cost) < target and self._best.sheets:
            found = None
            for refuter in self._refuters:
                left = end - self.steps
                found = refuter.refute(self._best.sheets, self._best.made, left, stop)
                if found is not None or self.steps >= end:
                    break
            if found is None:
                return
            self._add(found)
            self._add_pairs()

    def _all_refuters(self, cuts: Cuts) -> list[Refuter]:
        quick = quick_worth(self._task, cuts)
        if quick is None:
            return []
        self._worth = ContentWorth(self._task, cuts, self._scales, quick)
        return [Refuter(self._task, quick), Refuter(self._task, self._worth)]

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        of_worth = self._worth.steps if self._worth else 0
        return int(_STEPS_IN_WORK * self._work) + of_worth + sum(r.solving for r in self._refuters)

    def _add_pairs(self) -> None:
        for _ in range(_ROUNDS):
            if not self._best.sheets:  # the solver ran out of work
                return
            worst = self._scales.most_violated(self._best.sheets, self._best.made)
            if worst is None:
                return
            self._add(worst)

    def _add(self, inequality: Inequality) -> None:
        self._inequalities.append(inequality)
        self._best = self._solved()

    def _solved(self) -> Best:
        best = best_sheets(self._task, self._inequalities, self._seconds, short=self.unmade > 0)
        self._work += best.work
        # Where the solver runs out of work it may say less than before.
        if (best.unmade, best.cost) > (self.unmade, self.cost):
            self.unmade, self.cost = best.unmade, best.cost
        return best
