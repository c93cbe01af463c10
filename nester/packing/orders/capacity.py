"""Room on one paper's sheets: which numbers of pieces they hold, all together.

What is proven not to be held is said as an inequality between sheets and pieces, so that it serves
all later questions; what is held is shown by a plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from nester.core.problem import Answer, Cuts, Effort, Problem
from nester.packing.bounds.bar_relaxation import MOST_KINDS, BarWorth
from nester.packing.bounds.dual_bound import Refuter
from nester.packing.bounds.dual_feasible_functions import Scales
from nester.packing.bounds.guillotine_pricing import StraightWorth
from nester.packing.bounds.valid_inequalities import Inequality
from nester.packing.exact.small_tasks import settle
from nester.packing.runtime.stop import Stop
from nester.packing.search.solve import solve
from nester.packing.task.task import Task

__all__ = ["Counts", "Held", "Room"]

Counts = tuple[int, ...]
"""Numbers of pieces, one for each shape of a task."""

_REFUTING = 200_000
"""Steps spent on refuting one choice of pieces."""


class Held(NamedTuple):
    """Whether pieces are held.

    Attributes
    ----------
    answer
        A plan for them, priced at nothing; perhaps not for all of them.
    surely
        That not all are placed is proven.
    """

    answer: Answer
    surely: bool

    @property
    def all(self) -> bool:
        """Whether every piece is placed."""
        return not self.answer.unplaced


class Room:
    """The sheets of one paper.

    Parameters
    ----------
    problem
        Of this paper alone, with all pieces that could be asked for; each fits some sheet.
    task
        The same, as methods see it.
    """

    def __init__(self, problem: Problem, task: Task) -> None:
        self.task = task
        # Where paper costs nothing, a search is over as soon as all is placed.
        self._problem = replace(
            problem, stock=tuple(replace(one, price=Fraction(0)) for one in problem.stock)
        )
        self.sheets = tuple(task.most_of(kind) for kind in range(len(task.kinds)))
        self._shape_of = {
            blank.want.name: shape
            for shape, members in enumerate(task.members)
            for blank in members
        }
        self._scales = Scales(task)
        self._refuter: Refuter | None = None
        self._asked: dict[tuple[tuple[str, int], ...], tuple[Effort | None, Held]] = {}
        self._settled: dict[Counts, bool] = {}

    @property
    def endless(self) -> bool:
        """Whether every piece fits a sheet of which there are as many as needed."""
        return all(
            any(k.on_hand is None and shape.fits(k.width, k.height) for k in self.task.kinds)
            for shape in self.task.shapes
        )

    def counts(self, pieces: Mapping[str, int]) -> Counts:
        """Return the numbers of pieces by shape; names of other papers are passed over."""
        counts = [0] * len(self.task.shapes)
        for name, number in pieces.items():
            if name in self._shape_of:
                counts[self._shape_of[name]] += number
        return tuple(counts)

    def area(self, counts: Sequence[int]) -> int:
        """Return the solid area of so many pieces."""
        return sum(n * shape.solid_area for n, shape in zip(counts, self.task.shapes, strict=True))

    def first(self) -> Inequality:
        """Return the inequality that compares areas."""
        return self._scales.area()

    def broken(self, counts: Counts) -> Inequality | None:
        """Return an inequality that the sheets break if they hold so many pieces, found quickly."""
        return self._scales.most_violated(self.sheets, counts)

    def refuted(self, counts: Counts, stop: Stop) -> Inequality | None:
        """Return an inequality that the sheets break if they hold so many pieces, with effort."""
        if self._refuter is None:
            if self._problem.cuts is Cuts.STRAIGHT:
                self._refuter = Refuter(self.task, StraightWorth(self.task))
            elif len(self.sheets) > MOST_KINDS or any(s.voids for s in self.task.shapes):
                return None
            else:
                self._refuter = Refuter(self.task, BarWorth(self.task))
        return self._refuter.refute(self.sheets, counts, _REFUTING, stop)

    def holds(self, pieces: Mapping[str, int], effort: Effort | None, stop: Stop) -> Held:
        """Say whether the sheets hold some pieces.

        Parameters
        ----------
        effort
            How hard to look; None for a glance.
        """
        key = tuple(sorted((n, k) for n, k in pieces.items() if k and n in self._shape_of))
        known = self._asked.get(key)
        if known and (known[1].all or known[1].surely or _as_hard(known[0], effort)):
            return known[1]
        wanted = dict(key)
        problem = replace(
            self._problem,
            wants=tuple(
                replace(want, quantity=wanted[want.name])
                for want in self._problem.wants
                if want.name in wanted
            ),
        )
        answer = solve(problem, effort or Effort.QUICK, stop=stop if effort else lambda: True)
        surely = bool(answer.unplaced) and not self._may_hold(self.counts(pieces), stop)
        held = Held(answer, surely)
        self._asked[key] = effort, held
        return held

    def fewest(self, counts: Counts, stop: Stop) -> Counts:
        """Leave pieces out of what is surely not held, as long as the rest is surely not held."""
        for shape in reversed(range(len(counts))):
            while counts[shape]:
                fewer = (*counts[:shape], counts[shape] - 1, *counts[shape + 1 :])
                if self._may_hold(fewer, stop):
                    break
                counts = fewer
        return counts

    def _may_hold(self, counts: Counts, stop: Stop) -> bool:
        """Say whether it is open that the sheets hold so many pieces; for few pieces it is not."""
        if counts not in self._settled:
            settled = settle(self.task.with_demand(counts), self._problem.cuts, stop=stop)
            self._settled[counts] = settled is None or settled.unmade == 0
        return self._settled[counts]


def _as_hard(one: Effort | None, other: Effort | None) -> bool:
    order = [None, *Effort]
    return order.index(one) >= order.index(other)
