"""How much paper a design takes, size by size.

Every size is a separate batch, on unlimited sheets.  Neighbouring sizes are similar problems: a
plan for one size is filled with the pieces of another, equal problems are solved once, and a lower
bound for smaller pieces holds for larger ones.  The sizes are solved in runs of fixed length, in
several processes if there are; the result does not depend on how many.
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
from nester.designs import Design, SettingKind, Settings, read_settings
from nester.designs.base.clearance import Thickness
from nester.designs.base.errors import DesignRefusal
from nester.designs.demand import CuttingRules, demands_by_paper
from nester.packing import Stop, never
from nester.packing.search.quick_plan import QuickBudget, SolvedProblem, quick_plan, relayout_plan
from nester.packing.task.task import tasks_by_paper
from nester.verify import require_valid

__all__ = [
    "MAX_SIZES",
    "PricedSheet",
    "SizeResult",
    "SweepSetup",
    "paper_problems",
    "sizes_between",
    "sweep",
    "swept_setting",
    "unfit_reason",
]

MAX_SIZES = 500
_RUN_LENGTH = 16
"""Sizes that are solved in one process, each starting from its neighbours."""


class PricedSheet(NamedTuple):
    """A sheet to cut from; without a price it costs 1 per square metre."""

    width: Length
    height: Length
    price: Fraction | None = None

    @property
    def unit_cost(self) -> Fraction:
        """What one sheet costs."""
        return area_m2(self.width * self.height) if self.price is None else self.price


@dataclass(frozen=True)
class SweepSetup:
    """What is cut at every size: how many objects, of which papers, from which sheets.

    Attributes
    ----------
    papers
        The name of a paper by role; a role with a dot also stands for the part before it.
    sheets
        What each paper is cut from, by its name.
    thickness
        How thick the paper of each role is, for lengths given as ``fit``.
    defaults_in
        The unit in which defaults are round; `unit`, if None.
    """

    design: Design
    texts: Mapping[str, str]
    unit: Unit
    papers: Mapping[str, str]
    sheets: Mapping[str, tuple[PricedSheet, ...]]
    quantity: int = 10
    rules: CuttingRules = field(default_factory=CuttingRules)
    thickness: Thickness | None = None
    defaults_in: Unit | None = None


@dataclass(frozen=True)
class SizeResult:
    """One size: the paper it takes, or why it is infeasible.

    Attributes
    ----------
    papers
        The batch's problem and plan by paper; every plan has passed `nester.verify`.
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
        """What the paper of one object costs."""
        return sum((p.cutting_plan.cost for p in self.papers.values()), Fraction(0)) / self.quantity

    @property
    def lower_bound(self) -> Fraction:
        """A proven lower bound on the cost per object of a plan for this batch."""
        return (
            sum((p.cutting_plan.lower_bound for p in self.papers.values()), Fraction(0))
            / self.quantity
        )

    @property
    def sheet_count(self) -> int:
        """How many sheets the batch takes."""
        return sum(solved.cutting_plan.sheet_count for solved in self.papers.values())

    @property
    def utilization(self) -> Fraction:
        """The share of the area of the sheets that becomes pieces, within their outlines."""
        area = {s.name: s.width * s.height for p in self.papers.values() for s in p.problem.stock}
        used = sum(
            area[layout.stock] * layout.copies
            for solved in self.papers.values()
            for layout in solved.cutting_plan.layouts
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
    lengths = [
        candidate.name for candidate in design.settings if candidate.kind is SettingKind.LENGTH
    ]
    if name is None and lengths:
        return next(candidate.name for candidate in design.settings if candidate.name in lengths)
    if name not in lengths:
        known = ", ".join(lengths) or "none"
        raise Refusal(f"{design.name} has no length '{str(name)[:30]}'; its lengths are {known}")
    return name


def sizes_between(first: Length, last: Length, step: Length, unit: Unit) -> list[Length]:
    """Return the sizes from the first to the last.

    Raises
    ------
    Refusal
        If the range is upside down, the step is not positive, or there are more than `MAX_SIZES`.
    """
    if step <= 0:
        raise Refusal("the step between sizes must be more than zero")
    if first > last:
        raise Refusal(
            f"the sizes run from {format_length(first, unit)} to {format_length(last, unit)}, which"
            " is upside down; give the smaller one first"
        )
    number = (last - first) // step + 1
    if number > MAX_SIZES:
        raise Refusal(f"that is {number:,} sizes, and {MAX_SIZES} at most are compared; take a"
                      " larger step or a shorter range")  # fmt: skip
    return [first + step * place for place in range(number)]


def paper_problems(
    pieces: Iterable[Piece],
    quantity: int,
    papers: Mapping[str, str],
    sheets: Mapping[str, Sequence[PricedSheet]],
    rules: CuttingRules,
) -> dict[str, Problem]:
    """Return the cutting problem of a number of objects on each of their papers.

    Raises
    ------
    Refusal
        If a piece has no paper, or its paper no sheets.
    """
    problems = {}
    for paper, demands in demands_by_paper(pieces, quantity, papers, rules).items():
        offers = sheets.get(paper, ())
        if not offers:
            raise Refusal(f"no sheet is named for {paper}; say one with --on")
        stock = (
            StockItem(str(number), sheet.width, sheet.height, None, sheet.unit_cost, paper)
            for number, sheet in enumerate(offers)
        )
        problems[paper] = rules.problem(demands, tuple(stock))
    return problems


# --- the sweep -----------------------------------------------------------------------------------


def sweep(
    setup: SweepSetup,
    setting: str,
    sizes: Sequence[Length],
    *,
    budget: QuickBudget | None = None,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[int, int], None] = lambda done, total: None,
) -> list[SizeResult]:
    """Plan the batch at every size.

    Parameters
    ----------
    setting
        The design's length that takes these sizes.
    budget
        The most effort for each size and paper.
    processes
        How many to share the work among; by default as many as there are cores.
    stop
        Called after each run of neighbouring sizes; once it returns true, sizes that are not
        planned yet are left out.
    on_progress
        Called with the number of runs that are done, and of all runs.

    Raises
    ------
    Refusal
        If a piece has no paper, or its paper no sheets.  Sizes that the design refuses, or that
        fit no sheet, raise nothing: their results say why.
    """
    results, problems = [], []
    for size in sizes:
        result, by_paper = _prepare_size(setup, setting, size)
        results.append(result)
        problems.append(by_paper)
    chains = _chains(problems)
    with _process_map(processes, sum(map(len, chains.values()))) as process_map:
        solved = _solve(chains, budget or QuickBudget(), process_map, stop, on_progress)
    return [
        replace(
            result,
            papers={p: solved[p][_problem_key(problem)] for p, problem in by_paper.items()},
        )
        for result, by_paper in zip(results, problems, strict=True)
        if all(_problem_key(problem) in solved[p] for p, problem in by_paper.items())
    ]


def _prepare_size(
    setup: SweepSetup, setting: str, size: Length
) -> tuple[SizeResult, dict[str, Problem]]:
    """Return a result without plans, and the problems to solve, at one size."""
    texts = {**setup.texts, setting: f"{Fraction(size, UNITS_PER_MM)} mm"}
    try:
        settings = read_settings(
            setup.design, texts, setup.unit, setup.thickness, defaults_in=setup.defaults_in
        )
        pieces = setup.design.pieces(settings, setup.unit)
    except DesignRefusal as refusal:
        return SizeResult(size, setup.quantity, refusal=str(refusal)), {}
    problems = paper_problems(pieces, setup.quantity, setup.papers, setup.sheets, setup.rules)
    reason = unfit_reason(problems.values())
    if reason:
        return SizeResult(size, setup.quantity, settings, pieces, refusal=reason), {}
    return SizeResult(size, setup.quantity, settings, pieces), problems


def unfit_reason(problems: Iterable[Problem]) -> str:
    """Return which piece fits no sheet of its paper; empty if all fit."""
    for problem in problems:
        for demand, refusal in tasks_by_paper(problem)[1]:
            return f"{demand.name} of {demand.paper}: {refusal}"
    return ""


_ProblemKey = tuple[object, ...]
_Chain = dict[_ProblemKey, Problem]
"""The different problems of one paper, in the order of sizes."""


def _problem_key(problem: Problem) -> _ProblemKey:
    return (problem.demands,)


def _chains(problems: Iterable[Mapping[str, Problem]]) -> dict[str, _Chain]:
    chains: dict[str, _Chain] = {}
    for by_paper in problems:
        for paper, problem in by_paper.items():
            chains.setdefault(paper, {}).setdefault(_problem_key(problem), problem)
    return chains


class _Run(NamedTuple):
    """Neighbouring problems that one process solves."""

    problems: tuple[Problem, ...]
    budget: QuickBudget


_Map = Callable[[Callable[[_Run], list[CuttingPlan]], Sequence[_Run]], Iterable[list[CuttingPlan]]]
"""The built-in `map`, or one that shares its work among processes."""


def _solve(
    chains: Mapping[str, _Chain],
    budget: QuickBudget,
    process_map: _Map,
    stop: Stop,
    on_progress: Callable[[int, int], None],
) -> dict[str, dict[_ProblemKey, SolvedProblem]]:
    """Return the plans found up to a stop, by paper: those of the first problems of each chain."""
    starts = [
        (Fraction(start, len(chain)), -_demand_count(chain), paper, start)
        for paper, chain in chains.items()
        for start in range(0, len(chain), _RUN_LENGTH)
    ]
    # The first sizes of all papers come first, so that a stop leaves complete sizes; of equal ones
    # the longest run, so that no process is left with it at the end.
    starts.sort()
    problems_of = {paper: tuple(chain.values()) for paper, chain in chains.items()}
    runs = [
        _Run(problems_of[paper][start : start + _RUN_LENGTH], budget) for *_, paper, start in starts
    ]
    plans: dict[str, list[CuttingPlan]] = {paper: [] for paper in chains}
    try:
        for done, (start, run_plans) in enumerate(
            zip(starts, process_map(_solve_run, runs), strict=True), 1
        ):
            plans[start[2]] += run_plans
            on_progress(done, len(runs))
            if stop():
                break
    except BrokenProcessPool:
        # At Ctrl-C in a terminal the processes end; the plans they have returned are kept.
        if not stop():
            raise
    return {
        paper: dict(
            zip(chain, _improve_from_neighbours(problems_of[paper], plans[paper]), strict=False)
        )
        for paper, chain in chains.items()
    }


def _demand_count(chain: _Chain) -> int:
    return len(next(iter(chain.values())).demands)


def _solve_run(run: _Run) -> list[CuttingPlan]:
    """Solve neighbours by bisection: the last, the first, then the middle of each interval."""
    problems, budget = run
    last = len(problems) - 1
    plans: dict[int, CuttingPlan] = {}

    def solve_at(place: int, *neighbours: int) -> None:
        problem = problems[place]
        lower_bounds = [
            plans[n].lower_bound for n in neighbours if _is_no_larger(problems[n], problem)
        ]
        similar = [SolvedProblem(problems[n], plans[n]) for n in sorted(neighbours, reverse=True)]
        plans[place] = quick_plan(
            problem,
            similar,
            budget,
            cost_bound=max(lower_bounds, default=Fraction(0)),
            # A size seldom costs less than its smaller neighbour, so the search ends at that cost.
            target_cost=min((plans[n].cost for n in neighbours if n < place), default=Fraction(0)),
        )
        require_valid(problem, plans[place])

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
    return [plans[place] for place in range(len(problems))]


def _is_no_larger(smaller: Problem, larger: Problem) -> bool:
    """Return whether every plan for the larger problem also serves the smaller one.

    That is so if all pieces are rectangles, none of them larger than its counterpart.
    """
    larger_demands = {demand.name: demand for demand in larger.demands}
    if smaller.stock != larger.stock or larger_demands.keys() != {
        demand.name for demand in smaller.demands
    }:
        return False
    for demand in smaller.demands:
        larger_demand = larger_demands[demand.name]
        if (
            demand.voids
            or replace(larger_demand, width=demand.width, height=demand.height) != demand
        ):
            return False
        if demand.width > larger_demand.width or demand.height > larger_demand.height:
            return False
    return True


def _improve_from_neighbours(
    problems: Sequence[Problem], plans: Sequence[CuttingPlan]
) -> list[SolvedProblem]:
    """Let each size take over a neighbour's better plan, and the bound for smaller pieces.

    The last problems may have no plans.
    """
    solved = [SolvedProblem(*both) for both in zip(problems, plans, strict=False)]
    places = range(len(solved))
    for place, neighbour in [
        *((place, place + 1) for place in reversed(places[:-1])),
        *((place, place - 1) for place in places[1:]),
    ]:
        own, better = solved[place], solved[neighbour]
        if better.cutting_plan.cost >= own.cutting_plan.cost:
            continue
        relaid = relayout_plan(own.problem, better)
        if relaid is not None and relaid.cost < own.cutting_plan.cost:
            relaid = replace(relaid, lower_bound=min(own.cutting_plan.lower_bound, relaid.cost))
            require_valid(own.problem, relaid)
            solved[place] = SolvedProblem(own.problem, relaid)
    for place, neighbour in zip(places[1:], places[:-1], strict=True):
        own, smaller = solved[place], solved[neighbour]
        bound = min(smaller.cutting_plan.lower_bound, own.cutting_plan.cost)
        if bound > own.cutting_plan.lower_bound and _is_no_larger(smaller.problem, own.problem):
            solved[place] = SolvedProblem(own.problem, replace(own.cutting_plan, lower_bound=bound))
    return solved


# --- several processes ---------------------------------------------------------------------------


@contextmanager
def _process_map(processes: int | None, jobs: int) -> Iterator[_Map]:
    """Give a `map` that shares its work among processes, or the built-in one for little work.

    Parameters
    ----------
    processes
        How many; as many as there are cores, at most eight, unless given.
    jobs
        The number of problems in all.
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
        # Their results are not needed any more.
        for process in active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _reset_interrupt() -> None:
    """End at Ctrl-C without a message; the command prints one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
