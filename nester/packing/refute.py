"""Show that some sheets can't hold the pieces, however they are laid.

The linear programme over contents leaves least area unmade from so many sheets of each kind.
Its dual values give each piece a worth; `straight_worth` finds the most that a sheet of each kind
can hold of that, exactly, and contents that the programme does not know yet (column generation:
Gilmore and Gomory, Operations Research 9, 1961).  As soon as all pieces are worth more than so
many sheets can hold, the worths are an inequality that every plan keeps and these sheets break.
That needs no optimal solution (Farley, Operations Research 38, 1990, bounds a cost in the same
way from any dual values), and no float decides: worths are rounded to whole numbers first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from nester.packing.inequalities import Inequality, tamed
from nester.packing.model import Task
from nester.packing.stop import Stop

__all__ = ["Refuter", "Worth"]

_SCALE = 2**30
_ALMOST_NOTHING = 1e-7
_STEPS_A_COLUMN = 3
"""What solving the programme costs, in steps of filling (measured)."""


class Worth(Protocol):
    """Says what each kind of sheet can be worth at most."""

    @property
    def steps(self) -> int:
        """What all calls of `best` have cost, in steps of filling."""

    def best(self, worths: Sequence[int], stop: Stop) -> Sequence[tuple[int, Mapping[int, float]]]:
        """Return, for each kind, a bound on the worth of its contents, and a content near it.

        The content may be a mixture, and more than any sheet holds.  Once `stop` says so, the
        bound is good enough.
        """


class Refuter:
    """Refutes sheets by the worth of their contents; what it learns serves all later questions."""

    def __init__(self, task: Task, worth: Worth) -> None:
        self._task = task
        self._worth = worth
        self._contents: dict[tuple[int, tuple[tuple[int, float], ...]], None] = {}
        self._irrefutable: set[tuple[tuple[int, ...], tuple[int, ...]]] = set()
        self.solving = 0

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        return self.solving + self._worth.steps

    def add(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let the programme know a content; say whether it is new."""
        key = kind, tuple(sorted(content.items()))
        new = key not in self._contents
        self._contents[key] = None
        return new

    def refute(
        self, sheets: Sequence[int], made: Sequence[int], most_steps: int, stop: Stop
    ) -> Inequality | None:
        """Return an inequality that is broken if these sheets make so many pieces of each shape.

        None if there is none of this kind, or if so many steps don't suffice.
        """
        question = tuple(sheets), tuple(made)
        end = self.steps + most_steps

        def enough() -> bool:
            return self.steps >= end or stop()

        while question not in self._irrefutable and not enough():
            worths = self._worths(sheets, made)
            self.solving += _STEPS_A_COLUMN * len(self._contents)
            learnt = False
            if worths is not None:
                best = self._worth.best(worths, enough)
                found = tamed([most for most, _ in best], worths, self._task.demand)
                if found.held(sheets) < found.needed(made):
                    return found
                for kind, (_, content) in enumerate(best):
                    learnt |= self.add(kind, content) and sheets[kind] > 0
            if not learnt:
                self._irrefutable.add(question)
        return None

    def _worths(self, sheets: Sequence[int], made: Sequence[int]) -> list[int] | None:
        """Return what a piece of each shape is worth; None if the programme makes all of them."""
        from ortools.linear_solver import pywraplp

        solver = pywraplp.Solver.CreateSolver("GLOP")
        endless = solver.infinity()
        cover = [solver.Constraint(float(n), endless) for n in made]
        limit = [solver.Constraint(-endless, float(n)) for n in sheets]
        aim = solver.Objective()
        aim.SetMinimization()
        largest = max(shape.area for shape in self._task.shapes)
        for shape, row in zip(self._task.shapes, cover, strict=True):
            left_out = solver.NumVar(0.0, endless, "")
            row.SetCoefficient(left_out, 1.0)
            aim.SetCoefficient(left_out, shape.area / largest)
        for kind, content in self._contents:
            if sheets[kind]:
                column = solver.NumVar(0.0, endless, "")
                limit[kind].SetCoefficient(column, 1.0)
                for shape_index, number in content:
                    cover[shape_index].SetCoefficient(column, float(number))
        solver.Solve()
        if aim.Value() < _ALMOST_NOTHING * sum(made):
            return None
        return [max(0, int(row.dual_value() * _SCALE)) for row in cover]
