"""The entry point of the optimizer: searches for all papers, and how effort is divided."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from nester.core.problem import CuttingPlan, Effort, Problem, Unplaced
from nester.packing.runtime.stop import Stop, never
from nester.packing.runtime.worker_processes import worker_pool
from nester.packing.search.paper_search import (
    Budget,
    Command,
    PaperSearch,
    ReductionCommand,
    SearchResult,
    SearchState,
    start_search,
)
from nester.packing.task.task import tasks_by_paper
from nester.packing.task.validate import validate

__all__ = ["NO_ROOM_FOUND", "NO_SHEET_LEFT", "Progress", "solve"]

NO_SHEET_LEFT = "the sheets of its paper are used up"
NO_ROOM_FOUND = "no room was found for it on the sheets that there are; there may be some"
"""It isn't proven that the sheets can't hold all pieces; the search went on as long as it may."""
_MAX_PARTS = 8
"""Effort is divided among this many papers at most; with more papers it grows."""
_MAX_BOUNDING_SHARES = 2
"""No paper gets more than this multiple of an equal share of bounding."""

_FULL_EFFORT_GAP, _MIN_EFFORT_PART = Fraction(3, 100), Fraction(3, 10)
"""Optimality gap from which a paper gets its whole share, and the least part for smaller gaps."""
_MIN_PARALLEL_PIECES = 100
"""With fewer pieces a single process is used."""

_FIRST = Budget(
    value_correction=20_000,
    bounding=200_000,
    ruin_recreate=500_000,
    diving=60_000,
    covering_time=0.1,
    reduction_time=0.3,
)
_PLACING = Budget(value_correction=0, exact=150_000, ruin_recreate=5_000_000, covering_time=0.1)
"""For papers whose sheets run short after the first round: pieces are not given up lightly.

Of 120 problems that can be placed whole, the first round leaves 14 and this one 4.
"""
_SECOND = Budget(
    value_correction=200_000,
    exact=150_000,
    bounding=4_000_000,
    ruin_recreate=5_000_000,
    diving=500_000,
    pricing=8_000_000,
    completions=10_000_000,
    covering_time=0.5,
)
_THIRD = Budget(
    value_correction=200_000,
    bounding=3_000_000,
    ruin_recreate=8_000_000,
    diving=1_000_000,
    pricing=16_000_000,
    completions=22_000_000,
    covering_time=1.0,
    mip_nodes=1_600,
    reduction_time=1.2,
)
_FURTHER = Budget(
    value_correction=500_000,
    bounding=10_000_000,
    ruin_recreate=60_000_000,
    diving=8_000_000,
    pricing=30_000_000,
    completions=80_000_000,
    covering_time=5.0,
    mip_nodes=8_000,
)
# Each effort does all rounds of the one before and then its own: more effort is never worse.
_ROUNDS = {
    Effort.QUICK: (_FIRST,),
    Effort.NORMAL: (_FIRST, _SECOND, _THIRD),
    Effort.THOROUGH: (
        *(_FIRST, _SECOND, _THIRD),
        *(_FURTHER, _FURTHER, _FURTHER),
        replace(_FURTHER, reduction_time=5.0),
    ),
}


@dataclass(frozen=True)
class Progress:
    """The state of a search: all papers together, in money, and how many are done."""

    cost: Fraction
    lower_bound: Fraction
    sheet_count: int
    papers_done: int
    papers: int
    offcut_value: Fraction = Fraction(0)

    @property
    def net_cost(self) -> Fraction:
        """The cost of the sheets used less the value of the offcuts kept."""
        return self.cost - self.offcut_value

    @property
    def optimality_gap(self) -> Fraction:
        """(net cost − lower bound) / net cost."""
        return (
            (self.net_cost - self.lower_bound) / self.net_cost
            if self.net_cost > self.lower_bound
            else Fraction(0)
        )


def solve(
    problem: Problem,
    effort: Effort = Effort.NORMAL,
    *,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> CuttingPlan:
    """Place a problem's pieces on its sheets for the least cost that can be found.

    As many pieces as possible are placed (by area, where sheets run short); then the cost of the
    sheets used, less the value of the offcuts kept, is minimized.  The plan is not verified here:
    give it to `nester.verify`.

    Papers are independent of each other.  Each is searched in rounds (`PaperSearch.run_round`);
    between rounds, effort goes where the most money may still be saved.

    Parameters
    ----------
    problem
        Names must be unique among its demands and among its stock.
    effort
        How hard to look.  More effort never gives a more expensive plan, and equal input gives an
        equal plan, unless `stop` ends the search early.
    processes
        How many may work at once, where there are several papers and enough pieces; the plan does
        not depend on it.  A script that asks for more than one must be guarded, as
        `multiprocessing` says, by ``if __name__ == "__main__"``.
    stop
        Called often; once it returns true, the best plan so far is returned.  There is always a
        plan: the first one is made in any case, then with less care.
    on_progress
        Called after each part of the search.

    Raises
    ------
    Refusal
        If the problem is invalid: see `nester.packing.task.validate`.
    """
    validate(problem)
    tasks, unplaceable = tasks_by_paper(problem)
    searches = [PaperSearch(problem, task) for task in tasks]

    def report(states: Sequence[SearchState], done: int) -> None:
        on_progress(_progress(states, done))

    for search in searches:
        search.first_plan(stop)
    states = [search.state for search in searches]
    papers = range(len(searches))
    report(states, 0)
    in_process = stop() or effort is Effort.QUICK or not _is_large(searches)
    factories = [partial(start_search, problem, task) for task in tasks]
    with worker_pool(
        searches, factories, _expected_work(states), 1 if in_process else processes
    ) as workers:

        def run(commands: Mapping[int, Command | Budget | ReductionCommand]) -> Iterator[None]:
            for paper, answer in workers.do(commands, stop):
                if isinstance(answer, SearchState):
                    states[paper] = answer
                yield

        for _ in run(dict.fromkeys(papers, Command.START)):
            pass
        for round_budget in _ROUNDS[effort]:
            active = [paper for paper, state in enumerate(states) if not state.is_done]
            shares = _allocate_budget(round_budget, [states[paper] for paper in active])
            finished_before = len(searches) - len(active)
            finished = run(dict(zip(active, shares, strict=True)))
            for done, _ in enumerate(finished, start=finished_before + 1):
                report(states, done)
            if round_budget is _FIRST:
                short = [paper for paper, state in enumerate(states) if state.may_make_more]
                shares = _allocate_budget(_PLACING, [states[paper] for paper in short])
                for _ in run(dict(zip(short, shares, strict=True))):
                    report(states, len(searches) - len(short))
            if round_budget.reduction_time:
                reduction = ReductionCommand(
                    _divide_budget(round_budget, len(searches)).reduction_time
                )
                for _ in run(dict.fromkeys(papers, reduction)):
                    pass
        stopped = stop()
        answers = dict(workers.do(dict.fromkeys(papers, Command.END), never))
        results = [result for paper in papers if isinstance(result := answers[paper], SearchResult)]
    statistics: Counter[str] = Counter()
    for result in results:
        statistics.update(result.statistics)
    unplaced = [Unplaced(demand.name, demand.quantity, reason) for demand, reason in unplaceable]
    unplaced += [
        Unplaced(demand.name, n, NO_ROOM_FOUND if result.may_make_more else NO_SHEET_LEFT)
        for result in results
        for demand, n in result.missing
    ]
    position = {demand.name: index for index, demand in enumerate(problem.demands)}
    unplaced.sort(key=lambda item: position[item.name])
    return CuttingPlan(
        tuple(layout for result in results for layout in result.layouts),
        tuple(unplaced),
        sum((result.cost for result in results), Fraction(0)),
        sum((result.lower_bound for result in results), Fraction(0)),
        dict(statistics),
        stopped,
        sum((result.offcut_value for result in results), Fraction(0)),
    )


def _expected_work(states: Sequence[SearchState]) -> list[float]:
    """Return the expected work per paper: one equal part, and one by what may still be saved."""
    possible_savings = [float(state.net_cost - state.lower_bound) for state in states]
    total = sum(possible_savings) or 1.0
    return [1 + len(possible_savings) * saving / total for saving in possible_savings]


def _is_large(searches: Sequence[PaperSearch]) -> bool:
    """Whether there is enough to do for other processes to pay off."""
    pieces = sum(sum(search.task.demand) for search in searches)
    return len(searches) > 1 and pieces >= _MIN_PARALLEL_PIECES


def _divide_budget(round_budget: Budget, papers: int) -> Budget:
    parts = min(max(1, papers), _MAX_PARTS)
    return replace(
        round_budget,
        value_correction=round_budget.value_correction // parts,
        bounding=round_budget.bounding // parts,
        ruin_recreate=round_budget.ruin_recreate // parts,
        diving=round_budget.diving // parts,
        pricing=round_budget.pricing // parts,
        completions=round_budget.completions // parts,
        covering_time=round_budget.covering_time / parts,
        mip_nodes=round_budget.mip_nodes // parts,
        reduction_time=round_budget.reduction_time / parts,
    )


def _allocate_budget(round_budget: Budget, states: Sequence[SearchState]) -> list[Budget]:
    """Divide effort equally, but bounding and improvement by the money that might still be saved.

    Half of the improvement is divided equally, as a bound may be far too low.  Column generation
    and completions get less where a plan is close to its bound already.
    """
    equal = _divide_budget(round_budget, len(states))
    gaps = [max(Fraction(0), net_cost - bound) for net_cost, bound, *_ in states]
    total = sum(gaps, Fraction(0))
    if not total:
        return [equal] * len(states)
    shares = []
    for gap, state in zip(gaps, states, strict=True):
        share = gap * len(gaps) / total
        effort_part = min(
            Fraction(1), max(_MIN_EFFORT_PART, gap / state.net_cost / _FULL_EFFORT_GAP)
        )
        shares.append(
            replace(
                equal,
                bounding=int(equal.bounding * min(share, Fraction(_MAX_BOUNDING_SHARES))),
                ruin_recreate=int(equal.ruin_recreate * (1 + share) / 2),
                pricing=int(equal.pricing * effort_part * (1 + share) / 2),
                completions=int(equal.completions * effort_part * (1 + share) / 2),
            )
        )
    return shares


def _progress(states: Sequence[SearchState], done: int) -> Progress:
    cost = sum((state.cost for state in states), Fraction(0))
    return Progress(
        cost,
        sum((state.lower_bound for state in states), Fraction(0)),
        sum(state.sheet_count for state in states),
        done,
        len(states),
        cost - sum((state.net_cost for state in states), Fraction(0)),
    )
