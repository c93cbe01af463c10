"""The one door to the optimizer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from nester.core.problem import Answer, Effort, Problem, Unplaced
from nester.packing.runtime.stop import Stop, never
from nester.packing.runtime.worker_processes import crew
from nester.packing.search.paper_search import Deed, End, Search, Share, State, Tidy, begun
from nester.packing.task.task import split_by_paper
from nester.packing.task.validate import refuse_unsound

__all__ = ["NO_SHEET_LEFT", "Progress", "solve"]

NO_SHEET_LEFT = "the sheets of its paper are used up"
_FEWEST_SHARES = 8
"""With more papers than this, effort grows with their number."""
_LARGEST_SHARE = 2
"""No paper gets more than so many equal shares of bounding."""

_WIDE_OPEN, _LEAST_PART = Fraction(3, 100), Fraction(3, 10)
"""A gap for which a search is worth its whole share, and the part that is left for the smallest."""
_MANY_PIECES = 100
"""From so many pieces on several processes work at once."""

_FIRST = Share(
    steps=20_000,
    bounding=200_000,
    recreations=500_000,
    dives=60_000,
    work=0.1,
    tidying=0.3,
)
_SECOND = Share(
    steps=200_000,
    settling=150_000,
    bounding=4_000_000,
    recreations=5_000_000,
    dives=500_000,
    slicing=8_000_000,
    completions=10_000_000,
    work=0.5,
)
_THIRD = Share(
    steps=200_000,
    bounding=3_000_000,
    recreations=8_000_000,
    dives=1_000_000,
    slicing=16_000_000,
    completions=22_000_000,
    work=1.0,
    nodes=1_600,
    tidying=1.2,
)
_FURTHER = Share(
    steps=500_000,
    bounding=10_000_000,
    recreations=60_000_000,
    dives=8_000_000,
    slicing=30_000_000,
    completions=80_000_000,
    work=5.0,
    nodes=8_000,
)
# Each effort does all rounds of the one before and then its own: more effort is never worse.
_ROUNDS = {
    Effort.QUICK: (_FIRST,),
    Effort.NORMAL: (_FIRST, _SECOND, _THIRD),
    Effort.THOROUGH: (
        *(_FIRST, _SECOND, _THIRD),
        *(_FURTHER, _FURTHER, _FURTHER),
        replace(_FURTHER, tidying=5.0),
    ),
}


@dataclass(frozen=True)
class Progress:
    """Where a search stands: for all papers so far, in money, and how many are done."""

    cost: Fraction
    bound: Fraction
    sheets: int
    papers_done: int
    papers: int
    kept: Fraction = Fraction(0)

    @property
    def net(self) -> Fraction:
        """The paper used less the offcuts kept."""
        return self.cost - self.kept

    @property
    def gap(self) -> Fraction:
        """(net − bound) / net, as far as papers have plans."""
        return (self.net - self.bound) / self.net if self.net > self.bound else Fraction(0)


def solve(
    problem: Problem,
    effort: Effort = Effort.NORMAL,
    *,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Answer:
    """Place a problem's pieces on its sheets for the least cost that can be found.

    As many pieces as possible are placed (by area, where sheets run short); then the cost of the
    sheets used, less what the offcuts kept count, is made small.  The answer
    has been through no judge: give it to `nester.verify`.

    Parameters
    ----------
    problem
        Names must be unique among its wants and among its stock.
    effort
        How hard to look.  More effort never gives a dearer plan, and equal input gives an equal
        plan, unless `stop` ends the search early.
    processes
        How many may work at once, where there are several papers and enough pieces; the answer
        does not depend on it.  A script that asks for more than one must be guarded, as
        `multiprocessing` says, by ``if __name__ == "__main__"``.
    stop
        Asked all the time; once it says yes, the best plan so far is returned.  There is always
        one: a first plan is made in any case, then with less care.
    on_progress
        Told after each stretch of the search.

    Raises
    ------
    Refusal
        If the problem has no meaning: see `nester.packing.task.validate`.
    """
    refuse_unsound(problem)
    tasks, hopeless = split_by_paper(problem)
    searches = [Search(problem, task) for task in tasks]

    def tell(states: Sequence[State], done: int) -> None:
        on_progress(_progress(states, done))

    for search in searches:
        search.first_plan(stop)
    states = [search.state for search in searches]
    numbers = range(len(searches))
    tell(states, 0)
    alone = stop() or effort is Effort.QUICK or not _is_large(searches)
    makers = [partial(begun, problem, task) for task in tasks]
    with crew(searches, makers, _weights(states), 1 if alone else processes) as team:

        def ask(deeds: Mapping[int, Deed | Share | Tidy]) -> Iterator[None]:
            for number, answer in team.do(deeds, stop):
                if isinstance(answer, State):
                    states[number] = answer
                yield

        for _ in ask(dict.fromkeys(numbers, Deed.START)):
            pass
        for whole in _ROUNDS[effort]:
            active = [number for number, state in enumerate(states) if not state.done]
            shares = _shares(whole, [states[number] for number in active])
            before = len(searches) - len(active)
            finished = ask(dict(zip(active, shares, strict=True)))
            for done, _ in enumerate(finished, start=before + 1):
                tell(states, done)
            if whole.tidying:
                tidy = Tidy(_share(whole, len(searches)).tidying)
                for _ in ask(dict.fromkeys(numbers, tidy)):
                    pass
        stopped = stop()
        ended = dict(team.do(dict.fromkeys(numbers, Deed.END), never))
        ends = [end for number in numbers if isinstance(end := ended[number], End)]
    tried: Counter[str] = Counter()
    for end in ends:
        tried.update(end.tried)
    unplaced = [Unplaced(want.name, want.quantity, why) for want, why in hopeless]
    unplaced += [Unplaced(w.name, n, NO_SHEET_LEFT) for end in ends for w, n in end.missing]
    position = {want.name: place for place, want in enumerate(problem.wants)}
    unplaced.sort(key=lambda one: position[one.name])
    return Answer(
        tuple(layout for end in ends for layout in end.layouts),
        tuple(unplaced),
        sum((end.cost for end in ends), Fraction(0)),
        sum((end.bound for end in ends), Fraction(0)),
        dict(tried),
        stopped,
        sum((end.kept for end in ends), Fraction(0)),
    )


def _weights(states: Sequence[State]) -> list[float]:
    """Return how much work each is expected to be: equally much, and by what may yet be saved."""
    stakes = [float(state.net - state.least) for state in states]
    total = sum(stakes) or 1.0
    return [1 + len(stakes) * stake / total for stake in stakes]


def _is_large(searches: Sequence[Search]) -> bool:
    """Whether there is so much to do that it is worth while to start other processes."""
    pieces = sum(sum(search.task.demand) for search in searches)
    return len(searches) > 1 and pieces >= _MANY_PIECES


def _share(whole: Share, papers: int) -> Share:
    parts = min(max(1, papers), _FEWEST_SHARES)
    return replace(
        whole,
        steps=whole.steps // parts,
        bounding=whole.bounding // parts,
        recreations=whole.recreations // parts,
        dives=whole.dives // parts,
        slicing=whole.slicing // parts,
        completions=whole.completions // parts,
        work=whole.work / parts,
        nodes=whole.nodes // parts,
        tidying=whole.tidying / parts,
    )


def _shares(whole: Share, states: Sequence[State]) -> list[Share]:
    """Share effort equally, but bounding and recreation by the money that might yet be saved.

    Half of recreation is shared equally: a bound may be far too low, or a plan better than it
    looks.  Dearer searches are cut down for plans that are close to their bounds already.
    """
    equal = _share(whole, len(states))
    gaps = [max(Fraction(0), net - least) for net, least, *_ in states]
    total = sum(gaps, Fraction(0))
    if not total:
        return [equal] * len(states)
    shares = []
    for gap, state in zip(gaps, states, strict=True):
        stake = gap * len(gaps) / total
        open_to = min(Fraction(1), max(_LEAST_PART, gap / state.net / _WIDE_OPEN))
        shares.append(
            replace(
                equal,
                bounding=int(equal.bounding * min(stake, Fraction(_LARGEST_SHARE))),
                recreations=int(equal.recreations * (1 + stake) / 2),
                slicing=int(equal.slicing * open_to * (1 + stake) / 2),
                completions=int(equal.completions * open_to * (1 + stake) / 2),
            )
        )
    return shares


def _progress(states: Sequence[State], done: int) -> Progress:
    cost = sum((state.cost for state in states), Fraction(0))
    return Progress(
        cost,
        sum((state.least for state in states), Fraction(0)),
        sum(state.sheets for state in states),
        done,
        len(states),
        cost - sum((state.net for state in states), Fraction(0)),
    )
