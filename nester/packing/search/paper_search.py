"""The search on one paper: its methods in turn, the best plan so far, and what is proven of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from fractions import Fraction
from random import Random
from typing import NamedTuple

from nester.core.problem import Cuts, Layout, Problem, Want
from nester.packing.bounds.lower_bound import Bound, lower_bound
from nester.packing.exact.small_tasks import settle
from nester.packing.patterns.interlocking import Interlocking
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.diving import Diver
from nester.packing.search.pattern_reduction import tidy
from nester.packing.search.rectpack_start import rectpack_plans
from nester.packing.search.ruin_recreate import STEPS_OF_RECREATION, Recreator
from nester.packing.search.set_covering import choose, choose_near
from nester.packing.search.value_correction import sequential_plans
from nester.packing.task.pattern_pool import Pool, Uses, crowded, standing
from nester.packing.task.pattern_value import Table
from nester.packing.task.preprocess import Blank
from nester.packing.task.task import Pattern, Task, usage

__all__ = ["Deed", "End", "Search", "Share", "State", "Tidy", "begun", "name_pieces"]

SEED = 1
_GOOD_LAYOUTS = 200
"""Layouts of the pool whose contents the bound is told."""
_LEFT_TO_COMPLETE = 8
"""Most sheets that a dive leaves to recreation; and never more than a third of them."""
_STEPS_A_COMPLETION = 3_000_000
"""Steps of recreation without a better plan after which a dive's start is given up."""
_FOR_ALL = 0.6
"""The part of slicing that is for all pieces; the rest is for the first dives."""
_NEAR_LAYOUTS = 600
"""Layouts of least reduced cost among which a plan is chosen."""
_LEAST_STEPS = 1_000
"""What a start and its completion count at least."""


_FIRST_SETTLING = {Cuts.STRAIGHT: 150_000, Cuts.FREE: 50_000}
"""Steps in which a paper of few pieces is settled at any effort, before the first round."""
_STEPS_A_PIECE_APART = 40
"""For each so many steps one piece on sheets may be taken apart, to see what offcuts count."""


@dataclass(frozen=True, kw_only=True)
class Share:
    """A share of effort: what each method may spend, in the order in which they work.

    `settling` is for each paper of few pieces; those that take more are not settled.  `slicing`
    and `completions` are for papers on which recreation has something to seek, `dives` for others.

    The last round of each effort ends with tidying, so that more effort starts from the very plan
    that less effort ends with.
    """

    steps: int
    settling: int = 0
    bounding: int = 0
    recreations: int = 0
    dives: int = 0
    slicing: int = 0
    completions: int = 0
    work: float = 0
    nodes: int = 0
    tidying: float = 0


class State(NamedTuple):
    """Where a search stands.

    Attributes
    ----------
    net, least
        What the best plan costs net, and what no plan can be below, in money.
    cost
        Of the sheets of the best plan, in money.
    sheets
        Their number.
    done
        Whether there is nothing to be found.
    """

    net: Fraction
    least: Fraction
    cost: Fraction
    sheets: int
    done: bool


class End(NamedTuple):
    """What came of a search: its share of an answer.

    Attributes
    ----------
    bound
        On the net cost, in money, of making the same pieces as are made.
    tried
        Plans, by the methods they came from.
    """

    layouts: tuple[Layout, ...]
    missing: tuple[tuple[Want, int], ...]
    cost: Fraction
    kept: Fraction
    bound: Fraction
    tried: dict[str, int]


class Deed(Enum):
    """What a search can be asked to do beside spending a share of effort."""

    START = auto()
    END = auto()


class Tidy(NamedTuple):
    """The deed of making the best plan tidier, with so much of CP-SAT's deterministic time."""

    work: float


def begun(problem: Problem, task: Task) -> Search:
    """Return a search that has a first plan, whoever wants to stop."""
    search = Search(problem, task)
    search.first_plan(never)
    return search


class Search:
    """The search on one paper."""

    def __init__(self, problem: Problem, task: Task) -> None:
        self.task = task
        self.table = Table(problem, task)
        self._reduced = self.table.reduced()
        self._cuts = problem.cuts
        self._tried: dict[str, int] = {}
        self._pool = Pool(task)
        self._rng = Random(f"{SEED} {task.paper}")  # noqa: S311 - for a search, not for secrets
        self._interlocking = Interlocking(task, self._rng)
        self._recreator = Recreator(task, self._rng, self._pool)
        self._diver = Diver(task, problem.cuts, self._rng, self._pool)
        self._hold(())
        self._may_spend = 0
        self._weighed = False
        self._tidied: Uses = ()
        self.least_unmade = self.bound = 0

    def first_plan(self, stop: Stop) -> None:
        """Find one whole plan, quickly; more quickly yet once it is to stop."""
        for plan in sequential_plans(self.task, self._cuts, self._rng, 1, self._pool, stop):
            self._take(plan, "sequential")

    def do(self, deed: Deed | Share | Tidy, stop: Stop) -> State | End:
        """Do a deed, and say where the search stands, or what came of it."""
        if deed is Deed.END:
            return self.end()
        if deed is Deed.START:
            self.start(stop)
        elif isinstance(deed, Share) and not stop():
            self.round(deed, stop)
        elif isinstance(deed, Tidy) and not stop():
            self.tidy(deed.work, stop)
        return self.state

    def start(self, stop: Stop) -> None:
        """Bound the cost, and try rectpack."""
        self._bound = Bound(self._reduced)
        self._keep_bound()
        if self.proven:
            return
        for plan in rectpack_plans(self.task, self._cuts):
            self._take(plan, "rectpack")
            if self.proven or stop():
                return
        self._settle(_FIRST_SETTLING[self._cuts], stop)
        if self._cuts is Cuts.FREE and not self.proven:
            for pattern in self._interlocking.patterns(stop):
                self._pool.add(pattern)
                self._tried["interlocked"] = self._tried.get("interlocked", 0) + 1
            self._bound.know_most(self._interlocking.most)
            self._keep_bound()

    def _settle(self, most_steps: int, stop: Stop) -> None:
        settled = None
        if self.task.is_plain:
            settled = settle(self._reduced, self._cuts, most_steps, stop=stop)
        if settled:
            self._take(settled.uses, "exact")
            proven = settled.unmade, settled.cost
            self.least_unmade, self.bound = max((self.least_unmade, self.bound), proven)

    def _keep_bound(self) -> None:
        proven = self._bound.unmade, self._bound.cost
        self.least_unmade, self.bound = max((self.least_unmade, self.bound), proven)

    def round(self, effort: Share, stop: Stop) -> None:
        """Search with a share of effort."""
        if effort.settling > _FIRST_SETTLING[self._cuts]:
            self._settle(effort.settling, stop)
            if self.proven or stop():
                return
        self._may_spend = self.table.spent + effort.steps // _STEPS_A_PIECE_APART
        for plan in sequential_plans(
            self.task, self._cuts, self._rng, effort.steps, self._pool, stop
        ):
            self._take(plan, "sequential")
            if self.proven or stop():
                return
        known = standing(self._reduced, self.best)[:2]
        good = ((p.kind, made) for p, made in self._pool.best(_GOOD_LAYOUTS, self.best))
        self._bound.strengthen(self._cuts, known, effort.bounding, stop, good)
        self._keep_bound()
        if self.proven or crowded(self.best) or stop():
            return
        # Cheaper sheets are not to be found any more where they are known to be the cheapest.
        skipped = self._cheapest or not self.task.is_plain
        recreations = 0 if skipped else effort.recreations
        for plan in self._recreator.plans(recreations, self.best, stop):
            self._take(plan, "recreation")
            if self.proven or stop():
                return
        if effort.completions and not skipped:
            self._complete(effort.slicing, effort.completions, stop)
        else:
            for plan in self._diver.plans(effort.dives, stop):
                self._take(plan, "dive")
                if self.proven or stop():
                    return
        if self.proven or stop():
            return
        self._hold(choose(self.task, self._pool, self.best, effort.work, self.table, stop))
        self._tried["choice"] = self._tried.get("choice", 0) + 1
        self._weighed = True
        if effort.nodes and not (skipped or self.proven or stop()):
            near = self._diver.cheapest(_NEAR_LAYOUTS)
            plan = choose_near(self.task, near, effort.nodes, self.table, stop)
            self._take(plan, "near choice")

    def _complete(self, slicing: int, steps: int, stop: Stop) -> None:
        """Start plans by diving, and complete them by recreation, while steps last.

        The first dives slice sheets, while steps for that last.
        """
        recreator, diver = self._recreator, self._diver
        before = diver.steps
        diver.price(int(slicing * _FOR_ALL), stop)
        slicing -= diver.steps - before
        while steps > 0 and not (self.proven or stop()):
            unmade, cost, sheets = standing(self.task, self.best)
            below = None if unmade else cost
            fewest = self._rng.randint(1, min(_LEFT_TO_COMPLETE, max(2, sheets // 3)))
            before = diver.steps
            start = diver.start(fewest, steps, stop, below, slicing=slicing > 0)
            spent = diver.steps - before
            if slicing > 0:
                slicing -= spent
                spent = 0
            if start is not None:
                before = recreator.steps
                each = min(steps * STEPS_OF_RECREATION, _STEPS_A_COMPLETION)
                for plan in recreator.completed(start, self.best, each, stop):
                    self._take(plan, "completion")
                spent += (recreator.steps - before) // STEPS_OF_RECREATION
            steps -= max(_LEAST_STEPS, spent)

    def tidy(self, work: float, stop: Stop) -> None:
        """Make the best plan tidier, unless it is the one that has been tidied last."""
        if self.best != self._tidied and not crowded(self.best):
            self._hold(tidy(self.task, self._cuts, self._pool, self.table, self.best, work, stop))
            self._tidied = self.best

    def _take(self, plan: Uses, method: str) -> None:
        self._tried[method] = self._tried.get(method, 0) + 1
        self._pool.add_uses(plan)
        if not all(self.task.allows(pattern) for pattern, _ in plan):
            return
        table = self.table
        if (
            table.best_standing(plan) < self._standing
            and table.standing(plan, self._may_spend) < self._standing
        ):
            self._hold(plan)

    def _hold(self, plan: Uses) -> None:
        self.best = plan
        self._standing = self.table.standing(plan)

    @property
    def proven(self) -> bool:
        """Whether no plan makes more, and none that makes as much costs less net."""
        unmade, net, _ = self._standing
        return unmade <= self.least_unmade and net * self.task.price_unit <= self._least_net

    @property
    def done(self) -> bool:
        """Whether there is nothing to be found, or only other offcuts of the cheapest sheets.

        For the sake of these the pool is looked through once.
        """
        return self.proven or (self._weighed and self._cheapest)

    @property
    def _cheapest(self) -> bool:
        """Whether no plan makes more, and none that makes as much costs less before offcuts."""
        known = standing(self._reduced, self.best)[:2]
        return known <= (self.least_unmade, self.bound)

    @property
    def _least_net(self) -> Fraction:
        beside = self.table.least_of(self.task.demand, self._standing[0])
        return self.bound * self._reduced.price_unit + beside

    @property
    def state(self) -> State:
        """Where the search stands."""
        unit = self.task.price_unit
        _, price, sheets = standing(self.task, self.best)
        return State(self._standing[1] * unit, self._least_net, price * unit, sheets, self.done)

    def end(self) -> End:
        """Take the sheets of the best plan apart, and say which pieces lie on them."""
        task = self.task
        made, missing = name_pieces(task, self.best)
        layouts = []
        kept = Fraction(0)
        uses: dict[int, int] = {}
        for pattern, blanks, copies in made:
            placed, cuts, offcuts = self.table.apart(pattern, blanks)
            stock = task.sheets[pattern.kind].stock
            layouts.append(Layout(stock.name, copies, placed, cuts, offcuts))
            kept += self.table.kept_of(pattern.kind, offcuts) * copies
            uses[pattern.kind] = uses.get(pattern.kind, 0) + copies
        cost = task.exact_cost(uses)
        return End(tuple(layouts), tuple(missing), cost, kept, self._bound_of_made(), self._tried)

    def _bound_of_made(self) -> Fraction:
        """Bound the net cost, in money, of making the same pieces as the best plan does."""
        made = [0] * len(self.task.shapes)
        for pattern, copies in self.best:
            for shape, number in usage(pattern.spots).items():
                made[shape] += number * copies
        beside = self.table.least_of(made)
        unit = self._reduced.price_unit
        if tuple(made) == self.task.demand or self.proven:
            return self.bound * unit + beside
        reduced = self._reduced.with_demand(made)
        return lower_bound(reduced, most=self._interlocking.most) * unit + beside


_Named = tuple[Pattern, tuple[Blank, ...], int]
"""A pattern, the blank that each of its spots makes, and copies."""


def name_pieces(task: Task, uses: Uses) -> tuple[list[_Named], list[tuple[Want, int]]]:
    """Say which want each piece is for: equal rectangles may have been wanted by several names.

    Copies of a pattern stay together as long as the wants last.
    """
    left = [[blank.want.quantity for blank in members] for members in task.members]
    named: list[_Named] = []
    for pattern, copies in uses:
        while copies:
            taken: dict[tuple[int, int], int] = {}
            blanks: list[Blank] = []
            for spot in pattern.spots:
                queue = left[spot.shape]
                member = next(i for i, n in enumerate(queue) if n > taken.get((spot.shape, i), 0))
                taken[spot.shape, member] = taken.get((spot.shape, member), 0) + 1
                blanks.append(task.members[spot.shape][member])
            together = min(copies, *(left[s][m] // n for (s, m), n in taken.items()))
            for (shape, member), number in taken.items():
                left[shape][member] -= number * together
            named.append((pattern, tuple(blanks), together))
            copies -= together
    missing = [
        (blank.want, number)
        for members, numbers in zip(task.members, left, strict=True)
        for blank, number in zip(members, numbers, strict=True)
        if number
    ]
    return named, missing
