"""The one door to the optimizer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from random import Random

from nester.cutting import cut_order
from nester.layouts import (
    Answer,
    Cuts,
    Effort,
    Layout,
    Placed,
    Problem,
    Stock,
    Unplaced,
    Want,
    placed_voids,
)
from nester.packing.bounds import Bound, lower_bound
from nester.packing.choose import choose
from nester.packing.diving import Diver
from nester.packing.exact import settle
from nester.packing.interlock import Interlocking
from nester.packing.model import Pattern, Task, split_by_paper, usage
from nester.packing.pool import Pool, Uses, standing
from nester.packing.recreate import Recreator
from nester.packing.rectpack_start import rectpack_plans
from nester.packing.sequential import sequential_plans
from nester.packing.stop import Stop, never

__all__ = ["NO_SHEET_LEFT", "Progress", "solve"]

SEED = 1


@dataclass(frozen=True)
class _Round:
    """A share of effort: steps of each method in turn, then work of choosing."""

    steps: int
    bounding: int
    recreations: int
    dives: int
    work: float


# Each effort does all rounds of the one before and then its own: more effort is never worse.
_ROUNDS = {
    Effort.QUICK: (_Round(20_000, 100_000, 500_000, 60_000, 0.1),),
    Effort.NORMAL: (
        _Round(20_000, 100_000, 500_000, 60_000, 0.1),
        _Round(200_000, 1_000_000, 10_000_000, 500_000, 0.5),
        _Round(200_000, 2_000_000, 40_000_000, 1_000_000, 1.0),
    ),
}
_ROUNDS[Effort.THOROUGH] = (
    _ROUNDS[Effort.NORMAL] + (_Round(500_000, 4_000_000, 60_000_000, 8_000_000, 5.0),) * 4
)


@dataclass(frozen=True)
class Progress:
    """Where a search stands: for all papers so far, in money, and how many are done."""

    cost: Fraction
    bound: Fraction
    sheets: int
    papers_done: int
    papers: int

    @property
    def gap(self) -> Fraction:
        """(cost − bound) / cost, as far as papers have plans."""
        return (self.cost - self.bound) / self.cost if self.cost > self.bound else Fraction(0)


class _Search:
    """The search on one paper."""

    def __init__(self, task: Task, cuts: Cuts, tried: dict[str, int]) -> None:
        self.task = task
        self._cuts = cuts
        self._tried = tried
        self._pool = Pool(task)
        self._rng = Random(f"{SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self._interlocking = Interlocking(task, self._rng)
        self._recreator = Recreator(task, self._rng, self._pool)
        self._diver = Diver(task, cuts, self._rng, self._pool)
        self.best: Uses = ()
        self.least_unmade = self.bound = 0

    def first_plan(self) -> None:
        """Find one whole plan, quickly."""
        for plan in sequential_plans(self.task, self._cuts, self._rng, 1, self._pool, never):
            self._take(plan, "sequential")

    def start(self, stop: Stop) -> None:
        """Bound the cost, and try rectpack."""
        self._bound = Bound(self.task)
        self._keep_bound()
        if self.proven:
            return
        for plan in rectpack_plans(self.task, self._cuts):
            self._take(plan, "rectpack")
            if self.proven or stop():
                return
        settled = settle(self.task, self._cuts, stop=stop)
        if settled:
            self._take(settled.uses, "exact")
            self.least_unmade, self.bound = settled.unmade, settled.cost
        elif self._cuts is Cuts.FREE:
            for pattern in self._interlocking.patterns(stop):
                self._pool.add(pattern)
                self._tried["interlocked"] = self._tried.get("interlocked", 0) + 1
            self._bound.know_most(self._interlocking.most)
            self._keep_bound()

    def _keep_bound(self) -> None:
        proven = self._bound.unmade, self._bound.cost
        self.least_unmade, self.bound = max((self.least_unmade, self.bound), proven)

    def round(self, effort: _Round, stop: Stop) -> None:
        """Search with a share of effort."""
        for plan in sequential_plans(
            self.task, self._cuts, self._rng, effort.steps, self._pool, stop
        ):
            self._take(plan, "sequential")
            if self.proven or stop():
                return
        known = standing(self.task, self.best)[:2]
        self._bound.strengthen(self._cuts, known, effort.bounding, stop)
        self._keep_bound()
        if self.proven or stop():
            return
        for plan in self._recreator.plans(effort.recreations, self.best, stop):
            self._take(plan, "recreation")
            if self.proven or stop():
                return
        for plan in self._diver.plans(effort.dives, stop):
            self._take(plan, "dive")
            if self.proven or stop():
                return
        self.best = choose(self.task, self._pool, self.best, effort.work, stop)
        self._tried["choice"] = self._tried.get("choice", 0) + 1

    def _take(self, plan: Uses, method: str) -> None:
        self._tried[method] = self._tried.get(method, 0) + 1
        self._pool.add_uses(plan)
        if standing(self.task, plan) < standing(self.task, self.best):
            self.best = plan

    @property
    def proven(self) -> bool:
        """Whether no plan makes more, and none that makes as much costs less."""
        unmade, cost, _ = standing(self.task, self.best)
        return unmade <= self.least_unmade and cost <= self.bound

    def bound_of_made(self) -> int:
        """Bound the cost of making the same pieces as the best plan does."""
        made = [0] * len(self.task.shapes)
        for pattern, copies in self.best:
            for shape, number in usage(pattern.spots).items():
                made[shape] += number * copies
        if tuple(made) == self.task.demand or self.proven:
            return self.bound
        return lower_bound(self.task.with_demand(made), most=self._interlocking.most)


def solve(
    problem: Problem,
    effort: Effort = Effort.NORMAL,
    *,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Answer:
    """Place a problem's pieces on its sheets for the least cost that can be found.

    As many pieces as possible are placed (by area, where sheets run short); then the cost of the
    sheets used is made small.  The answer has been through no judge: give it to `nester.verify`.

    Parameters
    ----------
    problem
        Names must be unique among its wants and among its stock.
    effort
        How hard to look.  More effort never gives a dearer plan, and equal input gives an equal
        plan, unless `stop` ends the search early.
    stop
        Asked all the time; once it says yes, the best plan so far is returned.  There is always
        one: the first plan is made before it is asked.
    on_progress
        Told after each stretch of the search.
    """
    tasks, hopeless = split_by_paper(problem)
    tried: dict[str, int] = {}
    searches = [_Search(task, problem.cuts, tried) for task in tasks]

    def tell(done: int) -> None:
        on_progress(_progress(searches, done))

    for search in searches:
        search.first_plan()
    tell(0)
    for search in searches:
        search.start(stop)
    for whole in _ROUNDS[effort]:
        active = [search for search in searches if not search.proven]
        for done, search in enumerate(active, start=len(searches) - len(active)):
            if stop():
                break
            search.round(_share(whole, len(active)), stop)
            tell(done + 1)
    stopped = stop()
    layouts: list[Layout] = []
    unplaced = [Unplaced(want.name, want.quantity, why) for want, why in hopeless]
    cost = bound = Fraction(0)
    for search in searches:
        task = search.task
        made, missing = _name_pieces(task, search.best)
        layouts += [_layout(problem, task, *use) for use in made]
        unplaced += [Unplaced(want.name, number, NO_SHEET_LEFT) for want, number in missing]
        uses: dict[int, int] = {}
        for pattern, copies in search.best:
            uses[pattern.kind] = uses.get(pattern.kind, 0) + copies
        cost += task.exact_cost(uses)
        bound += search.bound_of_made() * task.price_unit
    position = {want.name: place for place, want in enumerate(problem.wants)}
    unplaced.sort(key=lambda one: position[one.name])
    return Answer(tuple(layouts), tuple(unplaced), cost, bound, tried, stopped)


NO_SHEET_LEFT = "the sheets of its paper are used up"
_FEWEST_SHARES = 8
"""With more papers than this, effort grows with their number."""


def _share(whole: _Round, papers: int) -> _Round:
    parts = min(max(1, papers), _FEWEST_SHARES)
    return _Round(
        whole.steps // parts,
        whole.bounding // parts,
        whole.recreations // parts,
        whole.dives // parts,
        whole.work / parts,
    )


def _progress(searches: list[_Search], done: int) -> Progress:
    cost = bound = Fraction(0)
    sheets = 0
    for search in searches:
        _, price, number = standing(search.task, search.best)
        cost += price * search.task.price_unit
        bound += search.bound * search.task.price_unit
        sheets += number
    return Progress(cost, bound, sheets, done, len(searches))


_Named = tuple[Pattern, tuple[Want, ...], int]
"""A pattern, the want that each of its spots makes, and copies."""


def _name_pieces(task: Task, uses: Uses) -> tuple[list[_Named], list[tuple[Want, int]]]:
    """Say which want each piece is for: equal rectangles may have been wanted by several names.

    Copies of a pattern stay together as long as the wants last.
    """
    left = [[want.quantity for want in members] for members in task.members]
    named: list[_Named] = []
    for pattern, copies in uses:
        while copies:
            taken: dict[tuple[int, int], int] = {}
            wants: list[Want] = []
            for spot in pattern.spots:
                queue = left[spot.shape]
                member = next(i for i, n in enumerate(queue) if n > taken.get((spot.shape, i), 0))
                taken[spot.shape, member] = taken.get((spot.shape, member), 0) + 1
                wants.append(task.members[spot.shape][member])
            together = min(copies, *(left[s][m] // n for (s, m), n in taken.items()))
            for (shape, member), number in taken.items():
                left[shape][member] -= number * together
            named.append((pattern, tuple(wants), together))
            copies -= together
    missing = [
        (want, number)
        for members, numbers in zip(task.members, left, strict=True)
        for want, number in zip(members, numbers, strict=True)
        if number
    ]
    return named, missing


def _layout(
    problem: Problem, task: Task, pattern: Pattern, wants: tuple[Want, ...], copies: int
) -> Layout:
    stock: Stock = task.stock[pattern.kind]
    placed = []
    for spot, want in zip(pattern.spots, wants, strict=True):
        shape = task.shapes[spot.shape]
        width, height = (shape.height, shape.width) if spot.turned else shape[:2]
        width, height = width * task.divisor, height * task.divisor
        # Only shapes without voids may lie otherwise than their want asks for.
        turned = spot.turned if shape.voids else (width, height) != (want.width, want.height)
        at = spot.x * task.divisor, spot.y * task.divisor
        placed.append((Placed(want.name, *at, width, height, turned), want))
    placed.sort(key=lambda one: (one[0].y, one[0].x))
    pieces = tuple(piece for piece, _ in placed)
    voids = [placed_voids(want, piece) for piece, want in placed]
    cuts, offcuts = cut_order(
        stock.width, stock.height, pieces, problem.cuts, problem.smallest_offcut, voids
    )
    return Layout(stock.name, copies, pieces, cuts, offcuts)
