"""Show that some sheets cost too little, or can't hold the pieces, however they are laid.

Linear programmes over the contents of sheets give each piece a worth, by their dual values; a
bound (`Worth`) says how much of that a sheet of each kind can hold at most, and finds contents
that the programme does not know yet (column generation: Gilmore and Gomory, Operations Research 9,
1961).  Worths and what sheets hold of them are an inequality that every plan keeps, whatever
the dual values were (Farley, Operations Research 38, 1990, bounds a cost in this way), and no
float decides: worths are rounded to whole numbers first.

Two things are asked.  What does making everything *cost* at least, from all sheets on hand, and
from only as many of the scarce ones as were chosen?  The answer rules out all cheaper choices at
once.  How much *area* do the chosen sheets leave out?  That rules out this choice even if parts of
a sheet, were they to be had, would make it good.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple, Protocol

from nester.packing.bounds.pattern_lp import DEAR, ContentsProgramme
from nester.packing.bounds.valid_inequalities import Inequality, tamed
from nester.packing.runtime.stop import Stop
from nester.packing.task.task import Task

__all__ = ["Refuter", "Worth"]

_SCALE = 2**24
_ALMOST_NOTHING = 1e-7
_ALMOST_ALL = 1 - 1e-5
"""So near to the least cost further contents hardly matter."""


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


class _Answer(NamedTuple):
    """What a programme's dual values led to.

    Attributes
    ----------
    least
        What the programme says, with the contents known before.
    bound
        What all plans pay at least, in the programme's units; a float, good for comparing.
    learnt
        Whether a content was new.
    """

    inequality: Inequality
    least: float
    bound: float
    learnt: bool


class Refuter:
    """Refutes sheets by the worth of their contents; what it learns serves all later questions."""

    def __init__(self, task: Task, worth: Worth) -> None:
        self._task = task
        self._worth = worth
        self._settled: set[tuple[str, tuple[int, ...], tuple[int, ...]]] = set()
        areas = [shape.area for shape in task.shapes]
        dearest = max(1, *(kind.price for kind in task.kinds))
        rate = DEAR * max(kind.price / kind.area for kind in task.kinds) / dearest
        prices = [kind.price / dearest for kind in task.kinds]
        self._cost = ContentsProgramme(prices, [rate * area for area in areas])
        self._area = ContentsProgramme([0.0] * len(prices), [area / max(areas) for area in areas])

    @property
    def steps(self) -> int:
        """Steps spent so far, in the measure of filling."""
        return self.solving + self._worth.steps

    @property
    def solving(self) -> int:
        """Those of them that went into programmes."""
        return self._cost.steps + self._area.steps

    def add(self, kind: int, content: Mapping[int, float]) -> bool:
        """Let the programmes know a content; say whether it is new."""
        self._cost.add(kind, content)
        return self._area.add(kind, content)

    def refute(
        self, sheets: Sequence[int], made: Sequence[int], most_steps: int, stop: Stop
    ) -> Inequality | None:
        """Return an inequality that is broken if these sheets make so many pieces of each shape.

        None if there is none of this kind, or if so many steps don't suffice.
        """
        end = self.steps + most_steps

        def enough() -> bool:
            return self.steps >= end or stop()

        chosen, pieces = tuple(sheets), tuple(made)
        if pieces == self._task.demand and any(kind.price for kind in self._task.kinds):
            for limits in self._limits(chosen):
                found = self._costs(limits, enough)
                if found is not None and found.held(sheets) < found.needed(made):
                    return found
        return self._leaves_out(chosen, pieces, enough)

    def _limits(self, sheets: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """Yield all sheets there are; then, of the scarce ones, only as many as chosen."""
        most = [self._task.most_of(kind) for kind in range(len(sheets))]
        yield tuple(most)
        yield tuple(
            many if kind.on_hand is None else n
            for kind, many, n in zip(self._task.kinds, most, sheets, strict=True)
        )

    def _costs(self, limits: tuple[int, ...], enough: Stop) -> Inequality | None:
        """Return what says most of the cost of making everything, unless it was said before."""
        question = "cost", limits, self._task.demand
        best: _Answer | None = None
        while question not in self._settled and not enough():
            answer = self._ask(self._cost, limits, self._task.demand, enough)
            if best is None or answer.bound > best.bound:
                best = answer
            if not answer.learnt or best.bound >= _ALMOST_ALL * answer.least:
                self._settled.add(question)
        return best.inequality if best else None

    def _leaves_out(
        self, sheets: tuple[int, ...], made: tuple[int, ...], enough: Stop
    ) -> Inequality | None:
        """Return an inequality by which some pieces are left out, or None."""
        question = "area", sheets, made
        while question not in self._settled and not enough():
            answer = self._ask(self._area, sheets, made, enough)
            if answer.inequality.held(sheets) < answer.inequality.needed(made):
                return answer.inequality
            if not answer.learnt or answer.least < _ALMOST_NOTHING * sum(made):
                self._settled.add(question)
        return None

    def _ask(
        self, programme: ContentsProgramme, limits: Sequence[int], made: Sequence[int], stop: Stop
    ) -> _Answer:
        """Solve a programme, and learn how much sheets hold of the worths it gives pieces."""
        least, values = programme.solve(limits, made)
        worths = [int(value * _SCALE) for value in values]
        best = self._worth.best(worths, stop)
        bound = sum(worth * n for worth, n in zip(worths, made, strict=True)) / _SCALE
        learnt = False
        for kind, ((most, content), limit) in enumerate(zip(best, limits, strict=True)):
            bound -= limit * max(0.0, most / _SCALE - programme.prices[kind])
            learnt |= self.add(kind, content) and limit > 0
        inequality = tamed([most for most, _ in best], worths, self._task.demand)
        return _Answer(inequality, least, bound, learnt)
