"""Tidy a plan that is good: fewest different layouts, fewest cuts, then few large offcuts.

What is made stays as it is, and the net cost and the number of sheets never grow.

Fewer layouts: some of a plan's layouts at a time are chosen anew by CP-SAT, with an indicator for
each layout that is not used anyway, among what the pool knows and sheets filled so that they can be
cut several times.  Large plans are so improved neighbourhood by neighbourhood (Shaw, "Using
constraint programming and local search methods to solve vehicle routing problems", 1998); taking a
few patterns for fewer is the idea of Foerster and Wäscher, "Pattern reduction in one-dimensional
cutting stock problems", International Journal of Production Research 38 (2000).

Fewer cuts, larger offcuts: the pieces of a layout are laid in other ways, and the best is kept.
Slices of a straight-cut layout may change places; the widest come first, so that what is free
gathers at one edge.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from operator import attrgetter
from random import Random
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Cuts
from nester.packing.patterns.staged_greedy import filler_for
from nester.packing.runtime.cp_sat import run
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.rearrange import _Rearranger
from nester.packing.task.pattern_pool import Outcome, Pool, Uses, outcome, trim
from nester.packing.task.pattern_value import Table
from nester.packing.task.task import Pattern, Spot, Task, usage

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import LinearExpr

__all__ = ["tidiness", "tidy"]

_SEED = 1
_AT_A_TIME = 10
"""Layouts of a plan that are chosen anew together."""
_MOST_KNOWN = 1500
_MOST_CANDIDATES = 250
"""Layouts of the pool that are looked at, and those in one choice."""
_FILLINGS = 160
_FULLEST = 40
"""Sheets filled anew for one choice, and those of them that are looked at."""
_MOST_TIMES = 6
"""So often each of those can be cut at most, beside the fewest times: twice."""
_WORK = 0.04
_WORK_BESIDE = 0.02
"""CP-SAT's deterministic time for one choice, and what all else about it takes in that measure."""
_STEPS_IN_WORK = 500_000
"""Steps of filling in CP-SAT's deterministic time (measured)."""
_TRIES = 4
"""Tries to lay the pieces of one sheet."""
_FRUITLESS = 4
"""So many choices one after the other that find nothing are enough."""
_LAYOUT_WORTH = 4
"""One layout is saved rather than so few pieces too many, each of which may spoil a sheet."""

Tidiness = tuple[int, Fraction, int, int, int]
"""Area not made, net cost, layouts, cuts, and how small the offcuts are; smaller is better."""
_Cut = tuple[Pattern, Counter[int], int]
"""A layout of a plan, what lies on it, and how often it is cut."""


def tidiness(table: Table, uses: Uses) -> Tidiness:
    """Return how tidy a plan is, smaller first."""
    unmade, net, _ = table.standing(uses)
    apart = [(table.apart(pattern), copies) for pattern, copies in uses]
    cuts = sum(len(one.cuts) * copies for one, copies in apart)
    return unmade, net, len(uses), cuts, -sum(one.largeness * copies for one, copies in apart)


def tidy(
    task: Task,
    cuts: Cuts,
    pool: Pool,
    table: Table,
    uses: Uses,
    work: float,
    stop: Stop = never,
) -> Uses:
    """Return a plan that makes the same, costs no more net, and is at least as tidy.

    Parameters
    ----------
    pool
        Layouts that are known.
    work
        How much to do, in CP-SAT's deterministic time, for either half of it.
    stop
        Ends it early.
    """
    rng = Random(f"{_SEED} tidy {task.paper}")  # noqa: S311 - for a search, not for secrets
    uses = _Fewer(task, cuts, pool, table, rng).improved(uses, work, stop)
    return _Rearranger(task, cuts, table, rng).improved(uses, work, stop)


def _merged(*parts: Sequence[tuple[Pattern, int]]) -> Uses:
    """Return plans as one; of layouts with the same pieces on the same kind the first is kept."""
    first: dict[Outcome, Pattern] = {}
    copies: dict[Pattern, int] = {}
    for uses in parts:
        for pattern, number in uses:
            one = first.setdefault(outcome(pattern), pattern)
            copies[one] = copies.get(one, 0) + number
    return tuple(copies.items())


class _Candidate(NamedTuple):
    """A layout, what lies on it, and how often it may be cut."""

    pattern: Pattern
    counts: dict[int, int]
    most: int


class _Fewer:
    """Makes do with fewer layouts."""

    def __init__(self, task: Task, cuts: Cuts, pool: Pool, table: Table, rng: Random) -> None:
        self._task = task
        self._pool = pool
        self._table = table
        self._rng = rng
        ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [filler_for(task, way, rng) for way in ways]

    def improved(self, uses: Uses, work: float, stop: Stop) -> Uses:
        """Return a plan with fewer layouts, if one is found."""
        # Offcuts may differ where only the pieces are the same.
        by_kept = sorted(uses, key=lambda use: -self._table.kept(use[0]))
        uses = self._better(uses, _merged(by_kept))
        uses = self._exchanged(uses, work, stop)
        known = list(self._pool.best(_MOST_KNOWN, uses))
        fruitless = 0
        while work > 0 and len(uses) > 1 and fruitless < _FRUITLESS and not stop():
            chosen, fixed = self._parted(uses)
            fresh, spent = self._chosen_anew(chosen, fixed, known)
            work -= spent + _WORK_BESIDE
            better = self._better(uses, _merged(fixed, fresh))
            fruitless = fruitless + 1 if better is uses else 0
            uses = better
            if not fixed and fruitless:
                break
        return uses

    def _exchanged(self, uses: Uses, work: float, stop: Stop) -> Uses:
        """Cut a sheet like another one; what it lacks for that changes places with what it has.

        A third sheet gives the one and takes the other.
        """
        end = self._steps + int(work * _STEPS_IN_WORK)
        found = True
        while found and not stop():
            found = False
            sheets = [(pattern, Counter(usage(pattern.spots)), copies) for pattern, copies in uses]
            for one, like in self._pairs(sheets):
                lacks, has = sheets[like][1] - sheets[one][1], sheets[one][1] - sheets[like][1]
                for third in self._givers(sheets, one, like, lacks):
                    if self._steps >= end:
                        return uses
                    pattern, counts, _ = sheets[third]
                    spots = self._laid(pattern.kind, counts - lacks + has)
                    if spots is None:
                        continue
                    rest = [use for i, use in enumerate(uses) if i not in (one, third)]
                    fresh = [(Pattern(pattern.kind, spots), 1)] if spots else []
                    other = _merged(rest, [(sheets[like][0], 1), *fresh])
                    better = self._better(uses, other)
                    found = better is not uses
                    if found:
                        uses = better
                        break
                if found:
                    break
        return uses

    def _pairs(self, sheets: Sequence[_Cut]) -> list[tuple[int, int]]:
        """Return sheets that are cut once, each with one like it, those most alike first."""
        areas = [shape.area for shape in self._task.shapes]
        ranked = []
        for one, (pattern, counts, copies) in enumerate(sheets):
            if copies > 1:
                continue
            for like, (other, others, _) in enumerate(sheets):
                if like != one and other.kind == pattern.kind:
                    apart = [*(counts - others).items(), *(others - counts).items()]
                    ranked.append((sum(areas[shape] * n for shape, n in apart), one, like))
        return [(one, like) for _, one, like in sorted(ranked)]

    def _givers(
        self, sheets: Sequence[_Cut], one: int, like: int, lacks: Counter[int]
    ) -> Iterator[int]:
        """Yield the sheets cut once that have what is lacking."""
        for third, (_, counts, copies) in enumerate(sheets):
            if copies == 1 and third not in (one, like) and lacks <= counts:
                yield third

    def _laid(self, kind: int, counts: Counter[int]) -> tuple[Spot, ...] | None:
        """Return how pieces lie on a kind of sheet, if a few tries tell."""
        size, shapes = self._task.kinds[kind], self._task.shapes
        if sum(shapes[shape].solid_area * n for shape, n in counts.items()) > size.area:
            return None
        if not counts:
            return ()
        number = [counts.get(shape, 0) for shape in range(len(shapes))]
        for turn in range(_TRIES):
            noise = {shape: shapes[shape].area * (1 + self._rng.random()) for shape in counts}
            order = sorted(counts, key=lambda shape: -noise[shape])
            filler = self._fillers[turn % len(self._fillers)]
            spots = filler.fill(size.width, size.height, number, order, spoiled=size.spoiled)
            if len(spots) == sum(number) and self._task.allows(Pattern(kind, spots)):
                return spots
        return None

    @property
    def _steps(self) -> int:
        return sum(filler.steps for filler in self._fillers)

    def _better(self, uses: Uses, other: Uses) -> Uses:
        """Return the other plan if it has fewer layouts and is as good."""
        if len(other) >= len(uses):
            return uses
        unmade, net, sheets = self._table.standing(uses)
        now = self._table.standing(other)
        return other if now[0] <= unmade and now[1] <= net and now[2] <= sheets else uses

    def _parted(self, uses: Uses) -> tuple[Uses, Uses]:
        """Return some layouts, those cut least often rather, and the others."""
        drawn = sorted(range(len(uses)), key=lambda i: self._rng.random() * uses[i][1])
        chosen = set(drawn[:_AT_A_TIME])
        return (
            tuple(use for i, use in enumerate(uses) if i in chosen),
            tuple(use for i, use in enumerate(uses) if i not in chosen),
        )

    def _chosen_anew(
        self, chosen: Uses, fixed: Uses, known: Sequence[tuple[Pattern, dict[int, int]]]
    ) -> tuple[Uses, float]:
        """Return layouts for the same pieces, and the work that it took."""
        from ortools.sat.python import cp_model

        task = self._task
        wanted: Counter[int] = Counter()
        for pattern, copies in chosen:
            for shape, number in usage(pattern.spots).items():
                wanted[shape] += number * copies
        stock = [task.most_of(kind) for kind in range(len(task.kinds))]
        for pattern, copies in fixed:
            stock[pattern.kind] -= copies
        started = {outcome(pattern): copies for pattern, copies in chosen}
        used = {outcome(pattern) for pattern, _ in fixed}
        candidates = self._candidates(chosen, fixed, known, wanted, stock)
        model = cp_model.CpModel()
        copies_of = [model.new_int_var(0, one.most, "") for one in candidates]
        aims: list[LinearExpr] = []
        for one, variable in zip(candidates, copies_of, strict=True):
            number = started.get(outcome(one.pattern), 0)
            model.add_hint(variable, number)
            if outcome(one.pattern) not in used:
                is_used = model.new_bool_var("")
                model.add(variable <= one.most * is_used)
                model.add_hint(is_used, bool(number))
                aims.append(_LAYOUT_WORTH * is_used)
        for shape, least in wanted.items():
            made = cp_model.LinearExpr.weighted_sum(
                copies_of, [one.counts.get(shape, 0) for one in candidates]
            )
            model.add(made >= least)
            aims.append(made - least)
        for kind, sheets in enumerate(stock):
            of_kind = [
                variable
                for one, variable in zip(candidates, copies_of, strict=True)
                if one.pattern.kind == kind
            ]
            model.add(cp_model.LinearExpr.sum(of_kind) <= sheets)
        prices = self._table.net_prices([one.pattern for one in candidates])
        price_of = {
            outcome(one.pattern): price for one, price in zip(candidates, prices, strict=True)
        }
        most = sum(price_of[content] * number for content, number in started.items())
        model.add(cp_model.LinearExpr.weighted_sum(copies_of, prices) <= most)
        model.add(cp_model.LinearExpr.sum(copies_of) <= sum(started.values()))
        model.minimize(cp_model.LinearExpr.sum(aims))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _WORK
        status = run(solver, model)
        work = solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return chosen, work
        fresh = tuple(
            (one.pattern, number)
            for one, variable in zip(candidates, copies_of, strict=True)
            if (number := solver.value(variable))
        )
        demand = [wanted[shape] for shape in range(len(task.shapes))]
        return trim(task.with_demand(demand), fresh), work

    def _candidates(
        self,
        chosen: Uses,
        fixed: Uses,
        known: Sequence[tuple[Pattern, dict[int, int]]],
        wanted: Counter[int],
        stock: Sequence[int],
    ) -> list[_Candidate]:
        """Return what may be chosen: the plan's own layouts, new ones, those of the pool."""
        found: dict[Outcome, _Candidate] = {}

        def add(pattern: Pattern, counts: dict[int, int]) -> None:
            if all(wanted[shape] >= number for shape, number in counts.items()):
                most = min(wanted[shape] // number for shape, number in counts.items())
                one = _Candidate(pattern, counts, min(most, stock[pattern.kind]))
                if one.most:
                    found.setdefault(outcome(pattern), one)

        for pattern, _ in (*chosen, *fixed):
            add(pattern, usage(pattern.spots))
        for pattern in self._fillings(sorted({p.kind for p, _ in chosen}), wanted):
            add(pattern, usage(pattern.spots))
        own = len(found)
        for pattern, counts in known:
            add(pattern, counts)
        ranked = list(found.values())
        # Those that can be cut often come first, then those with less waste.
        pooled = sorted(ranked[own:], key=attrgetter("most"), reverse=True)
        return ranked[:own] + pooled[:_MOST_CANDIDATES]

    def _fillings(self, kinds: Sequence[int], wanted: Counter[int]) -> list[Pattern]:
        """Return sheets filled so that each can be cut twice or more often, the fullest first."""
        shapes = self._task.shapes
        times = [n for n in range(2, _MOST_TIMES + 1) if n <= max(wanted.values())]
        found: dict[Pattern, float] = {}
        for number in range(_FILLINGS if times else 0):
            kind = kinds[number % len(kinds)]
            parts = times[self._rng.randrange(len(times))]
            counts = [wanted[shape] // parts for shape in range(len(shapes))]
            noise = [shape.area * (0.5 + self._rng.random()) for shape in shapes]
            order = sorted((i for i, n in enumerate(counts) if n), key=lambda i: -noise[i])
            size = self._task.kinds[kind]
            filler = self._fillers[number % len(self._fillers)]
            spots = filler.fill(size.width, size.height, counts, order, spoiled=size.spoiled)
            if spots and self._task.allows(Pattern(kind, spots)):
                made = sum(shapes[spot.shape].area for spot in spots)
                found[Pattern(kind, spots)] = made / size.area
        return sorted(found, key=lambda pattern: -found[pattern])[:_FULLEST]
