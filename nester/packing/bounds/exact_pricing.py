"""The most that one sheet's pieces can be worth, by learning what it can't hold.

Whole numbers of pieces are chosen that are worth most and keep to all that is known of a sheet;
then it is tried whether the sheet holds them.  If not, the fewest pieces of these that it does not
hold are found, and from then on no choice may have them: what is learned so serves all later
questions (logic-based Benders decomposition: Hooker and Ottosson, Mathematical Programming 96,
2003).  Where it can't be told in reasonable time whether a sheet holds some pieces, they are taken
to be held; the bound is then too high, never too low.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from typing import TYPE_CHECKING

from nester.core.problem import Cuts
from nester.packing.bounds.dual_feasible_functions import Scales
from nester.packing.exact.guillotine_fronts import Content, Fronts, changed, ways_to_part
from nester.packing.exact.orthogonal_feasibility import STEPS, STEPS_IN_WORK, arrange
from nester.packing.runtime.cp_sat import run
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar

    from nester.packing.bounds.dual_bound import Worth

__all__ = ["ContentWorth"]

_ROUNDS = 60
"""Choices made at most for one question."""
_MOST_TO_ARRANGE = 12
"""With more pieces than this it is not tried by free cuts whether a sheet holds them."""
_MOST_WAYS_TO_PART = 20_000
"""With more, fronts take too long."""
_WORK = 0.05
"""CP-SAT's deterministic time for one choice."""
_STEPS_A_PARTING = 10
_SHAPES_A_PARTING = 8
_STEPS_A_CHOICE = 5000
_STEPS_A_SHAPE = 200
_STEPS_IN_WORK = 2_000_000
"""What a way to part a content (so much again for so many shapes), and a choice, by the shapes to
choose from and the work it takes, cost in steps of filling (measured)."""


class ContentWorth:
    """Finds, for given worths of pieces, the best content of each kind of sheet.

    Parameters
    ----------
    coarse
        Another bound, known to be quick; contents must keep to it too.
    """

    def __init__(self, task: Task, cuts: Cuts, scales: Scales, coarse: Worth) -> None:
        self._task = task
        self._coarse = coarse
        self._oracle = _Oracle(task, cuts)
        self._sheets = [_Sheet(task, kind, scales, self._oracle) for kind in range(len(task.kinds))]

    @property
    def steps(self) -> int:
        """What all calls have cost, in steps of filling."""
        chosen = sum(sheet.steps for sheet in self._sheets)
        a_parting = _STEPS_A_PARTING * (1 + len(self._task.shapes) // _SHAPES_A_PARTING)
        return self._coarse.steps + a_parting * self._oracle.steps + chosen

    def best(self, worths: Sequence[int], stop: Stop) -> list[tuple[int, Mapping[int, float]]]:
        """Return for each kind a bound on what its pieces are worth, and a content near it.

        Once `stop` says so nothing further is learned.
        """
        coarse = self._coarse.best(worths, stop)
        return [
            sheet.best(worths, at_most, stop)
            for sheet, (at_most, _) in zip(self._sheets, coarse, strict=True)
        ]


class _Oracle:
    """Says whether a kind of sheet holds a content, and remembers."""

    def __init__(self, task: Task, cuts: Cuts) -> None:
        self._task = task
        self._cuts = cuts
        self._fronts = Fronts(task)
        self._asked: dict[tuple[int, Content], bool | None] = {}
        self._work = 0

    @property
    def steps(self) -> int:
        """Steps spent so far."""
        return self._fronts.steps + self._work

    def holds(self, kind: int, content: Content) -> bool | None:
        """Say whether a sheet holds a content; None if that can't be told."""
        key = kind, content
        if key not in self._asked:
            self._asked[key] = self._ask(kind, content)
        return self._asked[key]

    def _ask(self, kind: int, content: Content) -> bool | None:
        sheet, shapes = self._task.kinds[kind], self._task.shapes
        solid = sum(n * shape.solid_area for n, shape in zip(content, shapes, strict=True))
        if solid > sheet.area:
            return False
        few = ways_to_part(content) <= _MOST_WAYS_TO_PART
        if few and self._fronts.holds(content, sheet):
            return True
        if few and self._cuts is Cuts.STRAIGHT:
            return False
        # Three blanks or fewer always come apart by straight cuts; not if one reaches into another.
        blanks = not any(n and shape.voids for n, shape in zip(content, shapes, strict=True))
        if few and blanks and sum(content) <= 3:
            return False
        if sum(content) > _MOST_TO_ARRANGE:
            return None
        spots, work = arrange(shapes, content, sheet, 60.0)
        self._work += STEPS + int(work * STEPS_IN_WORK)
        if spots == ():
            return False
        return True if spots and self._cuts is Cuts.FREE else None


class _Sheet:
    """What is known of one kind of sheet, as a choice of whole numbers."""

    def __init__(self, task: Task, kind: int, scales: Scales, oracle: _Oracle) -> None:
        from ortools.sat.python import cp_model

        self._kind = kind
        self._scales = scales
        self._oracle = oracle
        self._alone = [int(number == kind) for number in range(len(task.kinds))]
        sheet = task.kinds[kind]
        self._most = [
            min(shape.wanted, sheet.area // shape.solid_area)
            if shape.fits(sheet.width, sheet.height)
            else 0
            for shape in task.shapes
        ]
        self._model = cp_model.CpModel()
        self._numbers = [self._model.new_int_var(0, most, "") for most in self._most]
        self._reached: dict[tuple[int, int], IntVar] = {}
        self.steps = 0

    def best(
        self, worths: Sequence[int], at_most: int, stop: Stop
    ) -> tuple[int, Mapping[int, float]]:
        """Return a bound on the sheet's worth, and a content near it."""
        for _ in range(_ROUNDS):
            most, content = self._choose(worths)
            most = min(most, at_most)
            if content is None or stop() or not self._learn(worths, at_most, content):
                break
        return most, {shape: float(n) for shape, n in enumerate(content or ()) if n}

    def _learn(self, worths: Sequence[int], at_most: int, content: Content) -> bool:
        """Look for what makes a content impossible; say whether there was anything to learn."""
        if sum(worth * n for worth, n in zip(worths, content, strict=True)) > at_most:
            self._keep_to(worths, at_most)
            return True
        broken = self._scales.most_violated(self._alone, content)
        if broken is not None:
            self._keep_to(broken.worths, broken.held(self._alone))
            return True
        if self._oracle.holds(self._kind, content) is False:
            self._forbid(self._fewest(content))
            return True
        return False

    def _choose(self, worths: Sequence[int]) -> tuple[int, Content | None]:
        from ortools.sat.python import cp_model

        total = cp_model.LinearExpr.weighted_sum(self._numbers, worths)
        self._model.maximize(total)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _WORK
        status = run(solver, self._model)
        work = solver.response_proto.deterministic_time
        self.steps += _STEPS_A_CHOICE + _STEPS_A_SHAPE * len(worths) + int(work * _STEPS_IN_WORK)
        if status == cp_model.OPTIMAL:
            return solver.value(total), tuple(solver.value(one) for one in self._numbers)
        most = sum(worth * n for worth, n in zip(worths, self._most, strict=True))
        if status != cp_model.FEASIBLE:
            return most, None
        bound = ceil(solver.best_objective_bound * (1 + 1e-12) + 1e-6)
        return min(most, bound), tuple(solver.value(one) for one in self._numbers)

    def _keep_to(self, worths: Sequence[int], at_most: int) -> None:
        from ortools.sat.python import cp_model

        self._model.add(cp_model.LinearExpr.weighted_sum(self._numbers, worths) <= at_most)

    def _fewest(self, content: Content) -> Content:
        """Leave pieces out of a content that is not held, as long as the rest is not held."""
        for shape in reversed(range(len(content))):
            while content[shape]:
                fewer = changed(content, shape, -1)
                if self._oracle.holds(self._kind, fewer) is not False:
                    break
                content = fewer
        return content

    def _forbid(self, content: Content) -> None:
        """Let no choice have all that is in a content."""
        self._model.add_bool_or(
            [~self._at_least(shape, number) for shape, number in enumerate(content) if number]
        )

    def _at_least(self, shape: int, number: int) -> IntVar:
        if (shape, number) not in self._reached:
            reached = self._model.new_bool_var("")
            self._model.add(self._numbers[shape] < number).only_enforce_if(~reached)
            self._model.add(self._numbers[shape] >= number).only_enforce_if(reached)
            self._reached[shape, number] = reached
        return self._reached[shape, number]
