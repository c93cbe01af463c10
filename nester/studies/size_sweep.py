"""How much paper a design takes, size by size.

Every size is a batch of its own on sheets of which there are as many as needed.  Neighbouring sizes
are like problems: a plan for one is laid anew with the pieces of the other, equal problems are
solved once, and what is proven of smaller pieces holds for larger ones.  The sizes are solved in
runs of a fixed length, in several processes if there are; the result does not depend on how many.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from fractions import Fraction
from multiprocessing import active_children, get_context
from typing import NamedTuple

from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, Length, Unit, area_m2, format_length
from nester.core.piece import Piece
from nester.core.problem import CuttingPlan, Problem, StockItem
from nester.designs import (
    Design,
    SettingKind,
    Settings,
    read_settings,
)
from nester.designs.base.clearance import Thickness
from nester.designs.base.errors import DesignRefusal
from nester.designs.demand import CuttingRules, demands_by_paper
from nester.packing import (
    Stop,
    never,
)
from nester.packing.search.quick_plan import QuickBudget, SolvedProblem, quick_plan, relayout_plan
from nester.packing.task.task import tasks_by_paper
from nester.verify import (
    require_valid,
)

__all__ = [
    "MOST_SIZES",
    "PricedSheet",
    "SizeResult",
    "SweepSetup",
    "paper_problems",
    "sizes_between",
    "sweep",
    "swept_setting",
    "unfit_reason",
]

MOST_SIZES = 500
_RUN_LENGTH = 16
"""Sizes that are solved one after the other, each from its neighbours."""


class PricedSheet(NamedTuple):
    """A sheet that could be cut from; its price is 1 a square metre if nobody says another."""

    width: Length
    height: Length
    price: Fraction | None = None

    @property
    def unit_cost(self) -> Fraction:
        """What using one counts."""
        return area_m2(self.width * self.height) if self.price is None else self.price


@dataclass(frozen=True)
class SweepSetup:
    """What is cut at every size: so many objects, in which papers, from which sheets.

    Attributes
    ----------
    papers
        The name of a paper by role; a role with a point also answers to the part before it.
    sheets
        What each paper is cut from, by its name.
    thickness
        How thick the paper of each role is, for lengths given as ``fit``.
    """

    design: Design
    texts: Mapping[str, str]
    unit: Unit
    papers: Mapping[str, str]
    sheets: Mapping[str, tuple[PricedSheet, ...]]
    quantity: int = 10
    rules: CuttingRules = field(default_factory=CuttingRules)
    thickness: Thickness | None = None


@dataclass(frozen=True)
class SizeResult:
    """One size: what it takes, or why it can't be had.

    Attributes
    ----------
    papers
        The batch's problem and answer on each paper; every answer has passed `nester.verify`.
    refusal
        Why there is no plan: what the design says, or which piece fits no sheet.
    """

    size: Length
    quantity: int
    settings: Settings = field(default_factory=dict)
    pieces: tuple[Piece, ...] = ()
    papers: Mapping[str, SolvedProblem] = field(default_factory=dict)
    refusal: str = ""

    @property
    def cost(self) -> Fraction:
        """What the paper of one object counts."""
        return sum((p.cutting_plan.cost for p in self.papers.values()), Fraction(0)) / self.quantity

    @property
    def lower_bound(self) -> Fraction:
        """No plan for this batch counts less an object; proven."""
        return (
            sum((p.cutting_plan.lower_bound for p in self.papers.values()), Fraction(0))
            / self.quantity
        )

    @property
    def sheet_count(self) -> int:
        """How many sheets the batch takes."""
        return sum(one.cutting_plan.sheet_count for one in self.papers.values())

    @property
    def utilization(self) -> Fraction:
        """Which part of the sheets becomes pieces, within their outlines."""
        area = {s.name: s.width * s.height for p in self.papers.values() for s in p.problem.stock}
        used = sum(
            area[layout.stock] * layout.copies
            for one in self.papers.values()
            for layout in one.cutting_plan.layouts
        )
        made = self.quantity * sum(piece.area * piece.quantity for piece in self.pieces)
        return Fraction(made, used) if used else Fraction(0)


def swept_setting(design: Design, name: str | None = None) -> str:
    """Return the setting whose sizes are compared: the one named, else the design's first length.

    Raises
    ------
    Refusal
        If the design has no such length.
    """
    lengths = [one.name for one in design.settings if one.kind is SettingKind.LENGTH]
    if name is None and lengths:
        return next(one.name for one in design.settings if one.name in lengths)
    if name not in lengths:
        known = ", ".join(lengths) or "none"
        raise Refusal(f"{design.name} has no length '{str(name)[:30]}'; its lengths are {known}")
    return name


def sizes_between(first: Length, last: Length, step: Length, unit: Unit) -> list[Length]:
    """Return the sizes from one to another.

    Raises
    ------
    Refusal
        If the range is upside down, the step is nothing, or there are more than `MOST_SIZES`.
    """
    if step <= 0:
        raise Refusal("the step between sizes must be more than zero")
    if first > last:
        raise Refusal(
            f"the sizes run from {format_length(first, unit)} to {format_length(last, unit)}, which"
            " is upside down; give the smaller one first"
        )
    number = (last - first) // step + 1
    if number > MOST_SIZES:
        raise Refusal(f"that is {number:,} sizes, and {MOST_SIZES} at most are compared; take a"
                      " larger step or a shorter range")  # fmt: skip
    return [first + step * place for place in range(number)]


def paper_problems(
    pieces: Iterable[Piece],
    quantity: int,
    papers: Mapping[str, str],
    sheets: Mapping[str, Sequence[PricedSheet]],
    rules: CuttingRules,
) -> dict[str, Problem]:
    """Return the cutting problem of so many objects on each of their papers.

    Raises
    ------
    Refusal
        If a piece has no paper, or its paper no sheets.
    """
    problems = {}
    for paper, wants in demands_by_paper(pieces, quantity, papers, rules).items():
        offers = sheets.get(paper, ())
        if not offers:
            raise Refusal(f"no sheet is named for {paper}; say one with --on")
        stock = (
            StockItem(str(number), one.width, one.height, None, one.unit_cost, paper)
            for number, one in enumerate(offers)
        )
        problems[paper] = rules.problem(wants, tuple(stock))
    return problems


# --- the sweep -----------------------------------------------------------------------------------


def sweep(
    batch: SweepSetup,
    setting: str,
    sizes: Sequence[Length],
    *,
    pains: QuickBudget | None = None,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[int, int], None] = lambda done, whole: None,
) -> list[SizeResult]:
    """Plan the batch at every size.

    Parameters
    ----------
    setting
        The design's length that takes these sizes.
    pains
        How hard to look at most for each size and paper.
    processes
        How many to share the work among; as many as there are cores, unless given.
    stop
        Asked after each run of neighbouring sizes; once it says yes, sizes that are not planned
        yet are left out.
    on_progress
        Told how many runs are done, and of how many.

    Raises
    ------
    Refusal
        If a piece has no paper, or its paper no sheets.  Sizes that the design refuses, or that
        fit no sheet, are no refusal: their points say why.
    """
    points, problems = [], []
    for size in sizes:
        point, of_paper = _prepare_size(batch, setting, size)
        points.append(point)
        problems.append(of_paper)
    chains = _chains(problems)
    with _process_map(processes, sum(map(len, chains.values()))) as each:
        answers = _solve(chains, pains or QuickBudget(), each, stop, on_progress)
    return [
        replace(point, papers={p: answers[p][_problem_key(one)] for p, one in of_paper.items()})
        for point, of_paper in zip(points, problems, strict=True)
        if all(_problem_key(one) in answers[p] for p, one in of_paper.items())
    ]


def _prepare_size(
    batch: SweepSetup, setting: str, size: Length
) -> tuple[SizeResult, dict[str, Problem]]:
    """Return what is to be planned at one size."""
    texts = {**batch.texts, setting: f"{Fraction(size, UNITS_PER_MM)} mm"}
    try:
        settings = read_settings(batch.design, texts, batch.unit, batch.thickness)
        pieces = batch.design.pieces(settings, batch.unit)
    except DesignRefusal as why:
        return SizeResult(size, batch.quantity, refusal=str(why)), {}
    problems = paper_problems(pieces, batch.quantity, batch.papers, batch.sheets, batch.rules)
    lacking = unfit_reason(problems.values())
    if lacking:
        return SizeResult(size, batch.quantity, settings, pieces, refusal=lacking), {}
    return SizeResult(size, batch.quantity, settings, pieces), problems


def unfit_reason(problems: Iterable[Problem]) -> str:
    """Say which piece fits no sheet of its paper, if any does; its paper must have sheets."""
    for problem in problems:
        for want, why in tasks_by_paper(problem)[1]:
            return f"{want.name} of {want.paper}: {why}"
    return ""


_ProblemKey = tuple[object, ...]
_Chain = dict[_ProblemKey, Problem]
"""Unequal problems of one paper, in the order of sizes."""


def _problem_key(problem: Problem) -> _ProblemKey:
    return (problem.demands,)


def _chains(problems: Iterable[Mapping[str, Problem]]) -> dict[str, _Chain]:
    chains: dict[str, _Chain] = {}
    for of_paper in problems:
        for paper, one in of_paper.items():
            chains.setdefault(paper, {}).setdefault(_problem_key(one), one)
    return chains


class _Run(NamedTuple):
    """Neighbours to be solved one after the other."""

    problems: tuple[Problem, ...]
    budget: QuickBudget


_Map = Callable[[Callable[[_Run], list[CuttingPlan]], Sequence[_Run]], Iterable[list[CuttingPlan]]]
"""The built-in `map`, or one that shares its work among processes."""


def _solve(
    chains: Mapping[str, _Chain],
    pains: QuickBudget,
    each: _Map,
    stop: Stop,
    on_progress: Callable[[int, int], None],
) -> dict[str, dict[_ProblemKey, SolvedProblem]]:
    """Return what is found, up to a stop; of each chain what is known is its beginning."""
    starts = [
        (Fraction(start, len(chain)), -_demand_count(chain), paper, start)
        for paper, chain in chains.items()
        for start in range(0, len(chain), _RUN_LENGTH)
    ]
    # Small sizes of all papers first, so that a stop leaves whole sizes; of those what takes
    # longest, so that no process is left with it in the end.
    starts.sort()
    wholes = {paper: tuple(chain.values()) for paper, chain in chains.items()}
    runs = [_Run(wholes[paper][start : start + _RUN_LENGTH], pains) for *_, paper, start in starts]
    found: dict[str, list[CuttingPlan]] = {paper: [] for paper in chains}
    try:
        for done, (start, answers) in enumerate(
            zip(starts, each(_solve_run, runs), strict=True), 1
        ):
            found[start[2]] += answers
            on_progress(done, len(runs))
            if stop():
                break
    except BrokenProcessPool:
        # At Ctrl-C in a terminal the processes end; what they have told is kept.
        if not stop():
            raise
    return {
        paper: dict(zip(chain, _improve_from_neighbours(wholes[paper], found[paper]), strict=False))
        for paper, chain in chains.items()
    }


def _demand_count(chain: _Chain) -> int:
    return len(next(iter(chain.values())).demands)


def _solve_run(run: _Run) -> list[CuttingPlan]:
    """Solve neighbours: the last, the first, and then what lies between, half by half."""
    problems, pains = run
    last = len(problems) - 1
    answers: dict[int, CuttingPlan] = {}

    def solve_at(place: int, *neighbours: int) -> None:
        problem = problems[place]
        known = [answers[n].lower_bound for n in neighbours if _is_no_larger(problems[n], problem)]
        like = [SolvedProblem(problems[n], answers[n]) for n in sorted(neighbours, reverse=True)]
        answers[place] = quick_plan(
            problem,
            like,
            pains,
            cost_bound=max(known, default=Fraction(0)),
            # Where both neighbours cost the same, so will what lies between.
            target_cost=min(
                (answers[n].cost for n in neighbours if n < place), default=Fraction(0)
            ),
        )
        require_valid(problem, answers[place])

    def between(low: int, high: int) -> None:
        middle = (low + high) // 2
        if low < middle < high:
            solve_at(middle, low, high)
            between(low, middle)
            between(middle, high)

    solve_at(last)
    if last:
        solve_at(0, last)
        between(0, last)
    return [answers[place] for place in range(len(problems))]


def _is_no_larger(one: Problem, other: Problem) -> bool:
    """Tell whether every plan for the other serves for the one too: rectangles, none larger."""
    of_other = {want.name: want for want in other.demands}
    if one.stock != other.stock or of_other.keys() != {want.name for want in one.demands}:
        return False
    for want in one.demands:
        large = of_other[want.name]
        if want.voids or replace(large, width=want.width, height=want.height) != want:
            return False
        if want.width > large.width or want.height > large.height:
            return False
    return True


def _improve_from_neighbours(
    problems: Sequence[Problem], answers: Sequence[CuttingPlan]
) -> list[SolvedProblem]:
    """Let each size take over a neighbour's better plan, and what is proven of smaller pieces.

    The last problems may have no answers.
    """
    told = [SolvedProblem(*both) for both in zip(problems, answers, strict=False)]
    places = range(len(told))
    for here, there in [
        *((place, place + 1) for place in reversed(places[:-1])),
        *((place, place - 1) for place in places[1:]),
    ]:
        one, other = told[here], told[there]
        if other.cutting_plan.cost >= one.cutting_plan.cost:
            continue
        anew = relayout_plan(one.problem, other)
        if anew is not None and anew.cost < one.cutting_plan.cost:
            anew = replace(anew, lower_bound=min(one.cutting_plan.lower_bound, anew.cost))
            require_valid(one.problem, anew)
            told[here] = SolvedProblem(one.problem, anew)
    for here, there in zip(places[1:], places[:-1], strict=True):
        one, smaller = told[here], told[there]
        least = min(smaller.cutting_plan.lower_bound, one.cutting_plan.cost)
        if least > one.cutting_plan.lower_bound and _is_no_larger(smaller.problem, one.problem):
            told[here] = SolvedProblem(one.problem, replace(one.cutting_plan, lower_bound=least))
    return told


# --- several processes ---------------------------------------------------------------------------


@contextmanager
def _process_map(processes: int | None, jobs: int) -> Iterator[_Map]:
    """Give a `map` that shares its work among processes, or the built-in one for little work.

    Parameters
    ----------
    processes
        How many; as many as there are cores, at most eight, unless given.
    jobs
        How many things there are to do in all.
    """
    number = min(8, os.cpu_count() or 1) if processes is None else processes
    if number < 2 or jobs < 2 * _RUN_LENGTH:
        yield map
        return
    pool = ProcessPoolExecutor(number, get_context("spawn"), initializer=_reset_interrupt)
    try:
        yield pool.map
        pool.shutdown(wait=True, cancel_futures=True)
    except KeyboardInterrupt:
        # Nobody waits for what they still do.
        for process in active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _reset_interrupt() -> None:
    """End at Ctrl-C without a word; the command has one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
