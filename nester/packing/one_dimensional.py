"""Lengths cut from reels with the least waste: cutting in one dimension.

What stays on a reel is of use as long as it is not too short; so the waste of a choice is the sum
of the ends that are.  The choice is an integer program, how many of each length from each reel
(the assignment model of cutting stock, L. V. Kantorovich, "Mathematical methods of organizing and
planning production", Management Science 6 (1960) 366-422), solved by CP-SAT in counted effort:
the same reels and lengths give the same choice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from nester.core.errors import Refusal
from nester.core.lengths import Length
from nester.packing.runtime.cp_sat import cp_solver, solve

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, IntVar

__all__ = ["Reel", "ReelPattern", "ReelPlan", "cut_from_reels"]

_DETERMINISTIC_TIME = 10.0
"""CP-SAT's deterministic time a stage: no clock, so that plans repeat."""
_MAX_REELS = 60
"""More reels than this are not looked at: of equal ones the first, of all the shortest."""


class Reel(NamedTuple):
    """A reel and how much is on it."""

    name: str
    length: Length


class ReelPattern(NamedTuple):
    """What is cut from one reel, the longest first, and what stays on it."""

    reel: Reel
    lengths: tuple[Length, ...]
    remainder: Length


@dataclass(frozen=True)
class ReelPlan:
    """Which lengths are cut from which reels.

    Attributes
    ----------
    waste
        The sum of the ends that are too short to be of use.
    bound
        No choice wastes less; proven.
    """

    cuts: tuple[ReelPattern, ...]
    waste: Length
    bound: Length


def cut_from_reels(
    reels: Sequence[Reel],
    lengths: Sequence[tuple[Length, int]],
    *,
    shortest: Length,
) -> ReelPlan:
    """Choose from which reels lengths are cut, for the least waste and then from the fewest reels.

    Parameters
    ----------
    lengths
        Each with how many of it are wanted.
    shortest
        An end shorter than this is waste; one of nothing at all is none.

    Raises
    ------
    Refusal
        If the reels can't give all the lengths.
    """
    wanted = Counter[Length]()
    for length, quantity in lengths:
        wanted[length] += quantity
    wanted = +wanted
    chosen = _relevant_reels(reels, wanted)
    model = _AssignmentModel(chosen, wanted, shortest)
    if not model.solve():
        longest = max((reel.length for reel in reels), default=0)
        if any(length > longest for length in wanted):
            raise Refusal("no reel is long enough for the longest of these lengths")
        raise Refusal("the reels are too short for all of these lengths together")
    return model.plan()


def _relevant_reels(reels: Sequence[Reel], wanted: Counter[Length]) -> list[Reel]:
    """Return reels that may serve, the shortest first, and of equal ones no more than needed."""
    least, number = min(wanted, default=0), wanted.total()
    equal: Counter[Length] = Counter()
    kept = []
    for reel in sorted(reels, key=lambda reel: reel.length):
        equal[reel.length] += 1
        if reel.length >= least and equal[reel.length] <= number:
            kept.append(reel)
    if len(kept) <= _MAX_REELS:
        return kept
    # The longest ones stay in, so that what can be cut at all is found.
    return kept[: _MAX_REELS // 2] + kept[-_MAX_REELS // 2 :]


class _AssignmentModel:
    """The integer program and its two stages: least waste, then fewest reels."""

    def __init__(self, reels: list[Reel], wanted: Counter[Length], shortest: Length) -> None:
        from ortools.sat.python import cp_model

        self._reels, self._demand = reels, wanted
        self._cp: Any = cp_model
        self._model: CpModel = cp_model.CpModel()
        self._counts: list[dict[Length, IntVar]] = []
        self._used: list[IntVar] = []
        self._waste: list[IntVar] = []
        self.solver: CpSolver | None = None
        for number, reel in enumerate(reels):
            self._add_reel(number, reel, shortest)
        for length, quantity in wanted.items():
            self._model.add(sum(counts[length] for counts in self._counts) == quantity)
        self._break_symmetry()

    def _add_reel(self, number: int, reel: Reel, shortest: Length) -> None:
        model = self._model
        counts = {
            length: model.new_int_var(0, min(quantity, reel.length // length), f"{number} {length}")
            for length, quantity in self._demand.items()
        }
        used = model.new_bool_var(f"used {number}")
        rest = model.new_int_var(0, reel.length, f"rest {number}")
        wasted = model.new_int_var(0, max(0, shortest - 1), f"wasted {number}")
        useful = model.new_bool_var(f"useful {number}")
        model.add(sum(n * length for length, n in counts.items()) + rest == reel.length)
        model.add(sum(counts.values()) >= 1).only_enforce_if(used)
        model.add(sum(counts.values()) == 0).only_enforce_if(~used)
        model.add(rest >= shortest).only_enforce_if(useful)
        # What is not useful is wasted, unless the reel stays as it is.
        model.add(wasted >= rest).only_enforce_if([~useful, used])
        self._counts.append(counts)
        self._used.append(used)
        self._waste.append(wasted)

    def _break_symmetry(self) -> None:
        """Of equal reels the first give the most, so that no choice is looked at twice."""
        given = [sum(n * length for length, n in counts.items()) for counts in self._counts]
        for number in range(1, len(self._reels)):
            if self._reels[number].length == self._reels[number - 1].length:
                self._model.add(given[number - 1] >= given[number])

    def solve(self) -> bool:
        """Look for the best choice; False if there is none."""
        waste = sum(self._waste)
        first = self._minimize(waste)
        if first is None:
            return False
        self._min_waste = int(first.objective_value)
        self._bound = max(0, -int(-first.best_objective_bound // 1))
        self._model.add(waste <= self._min_waste)
        self.solver = self._minimize(sum(self._used), hints=first) or first
        return True

    def _minimize(self, goal: Any, hints: CpSolver | None = None) -> CpSolver | None:
        self._model.minimize(goal)
        if hints is not None:
            self._model.clear_hints()  # type: ignore[no-untyped-call]
            for counts in self._counts:
                for variable in counts.values():
                    self._model.add_hint(variable, hints.value(variable))
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, self._model)
        if status in (self._cp.OPTIMAL, self._cp.FEASIBLE):
            return solver
        if status == self._cp.INFEASIBLE:
            return None
        raise Refusal("no choice of reels was found; cut these lengths in smaller lots")

    def plan(self) -> ReelPlan:
        """Return the choice, reel by reel."""
        solver = self.solver
        if solver is None:
            raise RuntimeError("the model has not been solved")
        cuts = []
        for reel, counts in zip(self._reels, self._counts, strict=True):
            given = [length for length, n in counts.items() for _ in range(solver.value(n))]
            if given:
                given.sort(reverse=True)
                cuts.append(ReelPattern(reel, tuple(given), reel.length - sum(given)))
        return ReelPlan(tuple(cuts), self._min_waste, min(self._bound, self._min_waste))
