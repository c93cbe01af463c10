"""A plan in a hurry, for comparing many like problems: sizes of a design, sheets to cut it from.

It takes a small part of the effort of `solve`, and starts from layouts of like problems, laid anew
with this one's pieces (`relayout.py`).  Equal input gives an equal plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Answer, Layout, Problem, Unplaced, Want
from nester.packing.bounds.lower_bound import Bound
from nester.packing.exact.small_tasks import settle
from nester.packing.patterns.relayout import Relaid
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.paper_search import name_pieces
from nester.packing.search.ruin_recreate import Recreator
from nester.packing.search.set_covering import choose
from nester.packing.search.solve import NO_SHEET_LEFT
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import Pool, Uses, standing
from nester.packing.task.pattern_value import Table
from nester.packing.task.task import Pattern, Task, split_by_paper, usage
from nester.packing.task.validate import refuse_unsound

__all__ = ["Like", "Pains", "holds_on_one_sheet", "lay_anew", "sketch"]

_SEED = 1
_SETTLING = 20_000
"""Steps in which it is settled whether a sheet holds a few pieces."""
_GOOD_LAYOUTS = 200
"""Layouts of the pool whose contents the bound is told."""


class Like(NamedTuple):
    """A like problem and an answer to it; its wants are called as those of the problem are."""

    problem: Problem
    answer: Answer


class Pains(NamedTuple):
    """Effort on each paper: steps of filling, bounding and recreation, and work of choosing."""

    steps: int = 3_000
    bounding: int = 40_000
    recreations: int = 60_000
    work: float = 0.02

    def times(self, number: int) -> Pains:
        """Return so many times the effort."""
        steps, bounding, recreations, work = self
        return Pains(steps * number, bounding * number, recreations * number, work * number)


_USUAL = Pains()


def sketch(
    problem: Problem,
    like: Sequence[Like] = (),
    pains: Pains = _USUAL,
    *,
    at_least: Fraction = Fraction(0),
    enough: Fraction = Fraction(0),
    stop: Stop = never,
) -> Answer:
    """Place a problem's pieces for little cost, in a hurry.

    Offcuts kept count nothing, whatever `Problem.offcut_worth` says.  The answer has been through
    no judge: give it to `nester.verify`.

    Parameters
    ----------
    like
        Like problems with their answers; what of them can be laid anew is where it starts from.
    pains
        How hard to look at most: it ends as soon as a plan is proven to be the cheapest.
    at_least
        A bound on the cost that is known already; of use for a problem of one paper only.
    enough
        No plan is sought that costs less than this on a paper.
    stop
        Ends the search early.

    Raises
    ------
    Refusal
        If the problem has no meaning: see `nester.packing.task.validate`.
    """
    refuse_unsound(problem)
    tasks, hopeless = split_by_paper(problem)
    known = at_least if len(tasks) == 1 else Fraction(0)
    return _answered(problem, tasks, hopeless, like, pains, known, enough, stop)


def lay_anew(problem: Problem, like: Like) -> Answer | None:
    """Return a like problem's answer with this one's pieces; None if they don't all find room so.

    Its bound is 0.
    """
    tasks, hopeless = split_by_paper(problem)
    if hopeless or not all(_all_made(t, next(_laid_anew(t, [like]))) for t in tasks):
        return None
    return _answered(problem, tasks, [], [like], None, Fraction(0), Fraction(0), never)


def holds_on_one_sheet(
    problem: Problem, stock: str, pieces: Mapping[str, int]
) -> tuple[bool, bool]:
    """Say whether one sheet holds some pieces together.

    Parameters
    ----------
    stock
        The name of the sheet.
    pieces
        Numbers of pieces by the names of wants.

    Returns
    -------
    tuple of bool
        Whether a layout was found; and, if none was, whether it is proven that there is none.
    """
    sheets = (replace(s, quantity=1, price=Fraction(1)) for s in problem.stock if s.name == stock)
    wants = (replace(w, quantity=pieces[w.name]) for w in problem.wants if pieces.get(w.name))
    single = replace(problem, wants=tuple(wants), stock=tuple(sheets))
    tasks, hopeless = split_by_paper(single)
    if hopeless:
        return False, True
    (task,) = tasks
    if Bound(task).unmade:
        return False, True
    if task.is_plain:
        settled = settle(task, problem.cuts, _SETTLING)
        if settled is not None:
            if settled.unmade:
                return False, True
            if standing(task, settled.uses)[0] == 0:
                return True, False
    return not sketch(single).unplaced, False


def _all_made(task: Task, uses: Uses) -> bool:
    return standing(task, uses)[0] == 0


def _answered(
    problem: Problem,
    tasks: Sequence[Task],
    hopeless: Sequence[tuple[Want, str]],
    like: Sequence[Like],
    pains: Pains | None,
    known: Fraction,
    enough: Fraction,
    stop: Stop,
) -> Answer:
    tried: dict[str, int] = {}
    unplaced = [Unplaced(want.name, want.quantity, why) for want, why in hopeless]
    layouts: list[Layout] = []
    cost = bound = Fraction(0)
    for task in tasks:
        table = Table(problem, task, hurried=True)
        one = _Sketch(problem, task, table, pains, known, enough, tried, stop)
        one.search(like)
        made, missing = name_pieces(task, one.best)
        for pattern, blanks, copies in made:
            placed, cuts, offcuts = table.apart(pattern, blanks)
            stock = task.sheets[pattern.kind].stock
            layouts.append(Layout(stock.name, copies, placed, cuts, offcuts))
        unplaced += [Unplaced(want.name, number, NO_SHEET_LEFT) for want, number in missing]
        cost += task.exact_cost(_sheets(one.best))
        if not missing:
            bound += max(known, one.least * task.price_unit)
    position = {want.name: place for place, want in enumerate(problem.wants)}
    unplaced.sort(key=lambda lacking: position[lacking.name])
    return Answer(tuple(layouts), tuple(unplaced), cost, bound, tried, stop())


class _Sketch:
    """The search on one paper; `best` is its plan, and no plan for all costs less than `least`."""

    def __init__(
        self,
        problem: Problem,
        task: Task,
        table: Table,
        pains: Pains | None,
        at_least: Fraction,
        enough: Fraction,
        tried: dict[str, int],
        stop: Stop,
    ) -> None:
        self._task, self._cuts, self._table = task, problem.cuts, table
        self._pains, self._tried, self._stop = pains, tried, stop
        self._pool = Pool(task)
        self._rng = Random(f"{_SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self.best: Uses = ()
        self.unmade, self.least = 0, -(-at_least // task.price_unit)
        self._enough = enough // task.price_unit

    def search(self, like: Sequence[Like]) -> None:
        """Seek a plan, with one method after the other until one is proven."""
        task, pains, stop = self._task, self._pains, self._stop
        for plan in _laid_anew(task, like):
            self._take(self._filled(plan), "laid anew")
            if self._proven:
                return
        if pains is None or (self.least and self._is_enough):
            return
        bound = Bound(task)
        self._know(bound)
        if self._proven:
            return
        for plan in sequential_plans(task, self._cuts, self._rng, pains.steps, self._pool, stop):
            self._take(plan, "sequential")
            if self._proven:
                return
        known = standing(task, self.best)[:2]
        good = ((p.kind, made) for p, made in self._pool.best(_GOOD_LAYOUTS, self.best))
        bound.strengthen(self._cuts, known, pains.bounding, stop, good)
        self._know(bound)
        if self._proven or self._is_enough or stop():
            return
        if task.is_plain:
            recreator = Recreator(task, self._rng, self._pool)
            for plan in recreator.plans(pains.recreations, self.best, stop):
                self._take(plan, "recreation")
                if self._proven:
                    return
        chosen = choose(task, self._pool, self.best, pains.work, self._table, stop)
        self._take(chosen, "choice")

    def _filled(self, start: Uses) -> Uses:
        """Return a plan that keeps the sheets of a start, and makes what it leaves out."""
        left, kinds = list(self._task.demand), list(self._task.kinds)
        for pattern, copies in start:
            kind = kinds[pattern.kind]
            if kind.on_hand is not None:
                kinds[pattern.kind] = kind._replace(on_hand=kind.on_hand - copies)
            for shape, number in usage(pattern.spots).items():
                left[shape] -= number * copies
        if not any(left):
            return start
        rest = replace(self._task.with_demand(left), kinds=tuple(kinds))
        for plan in sequential_plans(rest, self._cuts, self._rng, 1, self._pool, self._stop):
            return (*start, *plan)
        return start

    def _know(self, bound: Bound) -> None:
        self.unmade = bound.unmade
        self.least = max(self.least, 0 if bound.unmade else bound.cost)

    def _take(self, plan: Uses, method: str) -> None:
        self._tried[method] = self._tried.get(method, 0) + 1
        self._pool.add_uses(plan)
        if all(self._task.allows(pattern) for pattern, _ in plan) and (
            standing(self._task, plan) < standing(self._task, self.best)
        ):
            self.best = plan

    @property
    def _is_enough(self) -> bool:
        return standing(self._task, self.best)[:2] <= (0, self._enough)

    @property
    def _proven(self) -> bool:
        return standing(self._task, self.best)[:2] <= (self.unmade, self.least)


def _laid_anew(task: Task, like: Sequence[Like]) -> Iterator[Uses]:
    """Yield plans of like problems for a task; what finds no room there is left out of them."""
    relaid = Relaid(task)
    for one in like:
        wants = {want.name: want for want in one.problem.wants}
        left = list(task.demand)
        stock = [task.most_of(kind) for kind in range(len(task.kinds))]
        uses: list[tuple[Pattern, int]] = []
        for layout in one.answer.layouts:
            pattern = relaid.pattern(layout, wants)
            if pattern is None:
                continue
            counts = usage(pattern.spots)
            enough = min(left[shape] // number for shape, number in counts.items())
            copies = min(layout.copies, stock[pattern.kind], enough)
            if copies:
                stock[pattern.kind] -= copies
                for shape, number in counts.items():
                    left[shape] -= number * copies
                uses.append((pattern, copies))
        yield tuple(uses)


def _sheets(uses: Uses) -> dict[int, int]:
    sheets: dict[int, int] = {}
    for pattern, copies in uses:
        sheets[pattern.kind] = sheets.get(pattern.kind, 0) + copies
    return sheets
