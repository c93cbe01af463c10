"""Inequalities between sheets and pieces, and the best sheets that keep to them.

Give each piece a worth of zero or more such that no sheet of kind s can hold more than V_s of
it in all.  Then Σ V_s · (sheets of kind s used) ≥ the worth of all pieces made, whatever the plan.
The cheapest whole numbers of sheets that keep to such inequalities cost no more than any plan; and
if there are none, at least as much area stays unmade as it takes to keep to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, gcd
from typing import TYPE_CHECKING, NamedTuple

from nester.packing.runtime.cp_sat import run
from nester.packing.task.task import Task

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

__all__ = ["Best", "Inequality", "best_sheets", "tamed"]

_LARGEST = 2**40
"""Numbers in an inequality stay below this."""
_LARGEST_SUM = 2**60
"""So do sums of prices and of areas, so that they fit the solver's 64 bits."""
_WORK = 1.0
"""CP-SAT's deterministic time for one choice."""


class Inequality(NamedTuple):
    """Σ holds[kind] · sheets[kind] ≥ Σ worths[shape] · made[shape], in every plan."""

    holds: tuple[int, ...]
    worths: tuple[int, ...]

    def held(self, sheets: Sequence[int]) -> int:
        """Return what so many sheets of each kind hold at most."""
        return sum(hold * n for hold, n in zip(self.holds, sheets, strict=True))

    def needed(self, made: Sequence[int]) -> int:
        """Return what so many pieces of each shape need."""
        return sum(worth * n for worth, n in zip(self.worths, made, strict=True))


def tamed(holds: Sequence[int], worths: Sequence[int], demand: Sequence[int]) -> Inequality:
    """Return an inequality in numbers that suit the solver, rounded so that it only gets weaker."""
    needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
    scale = max(1, -(-max(needed, *holds) // _LARGEST))
    worths = [worth // scale for worth in worths]
    needed = sum(worth * n for worth, n in zip(worths, demand, strict=True))
    # In whole numbers a sheet that holds more than all that is needed is no better.
    return Inequality(tuple(min(needed, -(-one // scale)) for one in holds), tuple(worths))


class Best(NamedTuple):
    """The best sheets that keep to inequalities.

    Attributes
    ----------
    unmade, cost
        Bounds: the least area unmade, and the least cost where just that stays unmade.
    sheets, made
        So many of each kind, and of each shape, at which the inequalities hold; empty if the
        solver ran out of work before it found any.
    work
        What it took, in CP-SAT's deterministic time.
    """

    unmade: int
    cost: int
    sheets: tuple[int, ...]
    made: tuple[int, ...]
    work: float


def best_sheets(
    task: Task, inequalities: Sequence[Inequality], seconds: float, *, short: bool
) -> Best:
    """Return the sheets that leave least area unmade, and of these the cheapest.

    Parameters
    ----------
    short
        It is known that not everything can be made.
    """
    if not short:
        best = _Choice(task, inequalities, short=False).best(seconds)
        if best is not None:
            return best
    best = _Choice(task, inequalities, short=True).best(seconds)
    if best is None:
        raise AssertionError("no sheets and nothing made keep to every inequality")
    return best


class _Choice:
    def __init__(self, task: Task, inequalities: Sequence[Inequality], *, short: bool) -> None:
        from ortools.sat.python import cp_model

        self._task = task
        self._short = short
        self._work = 0.0
        self._model = model = cp_model.CpModel()
        most = [
            min(task.most_of(kind), _enough(task, inequalities, kind))
            for kind in range(len(task.kinds))
        ]
        self._most = most
        # Sheets that cost nothing are all taken: what can't be made of all can't be of some.
        self._sheets = [
            model.new_int_var(0 if kind.price else n, n, "")
            for kind, n in zip(task.kinds, most, strict=True)
        ]
        self._left = [model.new_int_var(0, n if short else 0, "") for n in task.demand]
        for one in inequalities:
            held = cp_model.LinearExpr.weighted_sum(self._sheets, one.holds)
            spared = cp_model.LinearExpr.weighted_sum(self._left, one.worths)
            model.add(held + spared >= one.needed(task.demand))

    def best(self, seconds: float) -> Best | None:
        """Return the best sheets, or None if no sheets will do."""
        unmade = 0
        if self._short:
            areas = [shape.area for shape in self._task.shapes]
            unmade, status = self._least(self._left, areas, self._task.demand, seconds)
            if not status.found:
                return None if status.impossible else Best(0, 0, (), (), self._work)
        prices = [kind.price for kind in self._task.kinds]
        cost, status = self._least(self._sheets, prices, self._most, seconds)
        if not status.found:
            return None if status.impossible else Best(unmade, 0, (), (), self._work)
        made = (n - left for n, left in zip(self._task.demand, status.left, strict=True))
        return Best(unmade, cost, status.sheets, tuple(made), self._work)

    def _least(
        self,
        variables: Sequence[IntVar],
        weights: Sequence[int],
        most: Sequence[int],
        seconds: float,
    ) -> tuple[int, _Status]:
        """Make a sum as small as can be, keep it so from now on, and return a bound on it."""
        from ortools.sat.python import cp_model

        unit = gcd(*weights) or 1
        largest = sum(weight // unit * n for weight, n in zip(weights, most, strict=True))
        unit *= max(1, -(-largest // _LARGEST_SUM))
        total = cp_model.LinearExpr.weighted_sum(variables, [weight // unit for weight in weights])
        self._model.minimize(total)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _WORK
        solver.parameters.max_time_in_seconds = max(0.1, seconds)
        status = run(solver, self._model)
        self._work += solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return 0, _Status(found=False, impossible=status == cp_model.INFEASIBLE)
        bound = found = solver.value(total)
        if status != cp_model.OPTIMAL:
            # The sum is whole, so its bound is; it comes as a float and may be a little off.
            bound = max(0, ceil(solver.best_objective_bound * (1 - 1e-12) - 1e-6))
        self._model.add(total <= found)
        return bound * unit, _Status(
            found=True,
            sheets=tuple(solver.value(one) for one in self._sheets),
            left=tuple(solver.value(one) for one in self._left),
        )


class _Status(NamedTuple):
    """What the solver said."""

    found: bool
    impossible: bool = False
    sheets: tuple[int, ...] = ()
    left: tuple[int, ...] = ()


def _enough(task: Task, inequalities: Sequence[Inequality], kind: int) -> int:
    """Return how many sheets of one kind do all that this kind can do; more only cost more."""
    return max(
        (-(-one.needed(task.demand) // one.holds[kind]) for one in inequalities if one.holds[kind]),
        default=0,
    )
