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
from nester.packing.patterns.staged_greedy import make_filler
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.rearrange import PatternRearranger
from nester.packing.task.pattern_pool import (
    PatternKey,
    PatternPool,
    Plan,
    pattern_key,
    trim_overproduction,
)
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import Pattern, Placement, Task, item_counts

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import LinearExpr

__all__ = ["reduce_patterns", "reduction_objective"]

_SEED = 1
_NEIGHBOURHOOD_SIZE = 10
"""Layouts of a plan that are chosen anew together."""
_MAX_POOL_PATTERNS = 1500
_MAX_CANDIDATES = 250
"""Layouts of the pool that are looked at, and those in one choice."""
_FILLINGS = 160
_MAX_NEW_PATTERNS = 40
"""Sheets filled anew for one choice, and those of them that are looked at."""
_MAX_COPIES = 6
"""So often each of those can be cut at most, beside the fewest times: twice."""
_DETERMINISTIC_TIME = 0.04
_TIME_OVERHEAD = 0.02
"""CP-SAT's deterministic time for one choice, and what all else about it takes in that measure."""
_STEPS_PER_TIME = 500_000
"""Steps of filling in CP-SAT's deterministic time (measured)."""
_PACKING_TRIES = 4
"""Tries to lay the pieces of one sheet."""
_MAX_FAILURES = 4
"""So many choices one after the other that find nothing are enough."""
_PATTERN_WEIGHT = 4
"""One layout is saved rather than so few pieces too many, each of which may spoil a sheet."""

ReductionObjective = tuple[int, Fraction, int, int, int]
"""Area not made, net cost, layouts, cuts, and how small the offcuts are; smaller is better."""
_PatternUse = tuple[Pattern, Counter[int], int]
"""A layout of a plan, what lies on it, and how often it is cut."""


def reduction_objective(table: PatternEvaluator, uses: Plan) -> ReductionObjective:
    """Return how tidy a plan is, smaller first."""
    unmade, net, _ = table.objective(uses)
    apart = [(table.cut_pattern(pattern), copies) for pattern, copies in uses]
    cuts = sum(len(one.cuts) * copies for one, copies in apart)
    return (
        unmade,
        net,
        len(uses),
        cuts,
        -sum(one.offcut_concentration * copies for one, copies in apart),
    )


def reduce_patterns(
    task: Task,
    cuts: Cuts,
    pool: PatternPool,
    table: PatternEvaluator,
    uses: Plan,
    work: float,
    stop: Stop = never,
) -> Plan:
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
    uses = _PatternReducer(task, cuts, pool, table, rng).improve(uses, work, stop)
    return PatternRearranger(task, cuts, table, rng).improve(uses, work, stop)


def _merge_by_content(*parts: Sequence[tuple[Pattern, int]]) -> Plan:
    """Return plans as one; of layouts with the same pieces on the same kind the first is kept."""
    first: dict[PatternKey, Pattern] = {}
    copies: dict[Pattern, int] = {}
    for uses in parts:
        for pattern, number in uses:
            one = first.setdefault(pattern_key(pattern), pattern)
            copies[one] = copies.get(one, 0) + number
    return tuple(copies.items())


class _Candidate(NamedTuple):
    """A layout, what lies on it, and how often it may be cut."""

    pattern: Pattern
    counts: dict[int, int]
    most: int


class _PatternReducer:
    """Makes do with fewer layouts."""

    def __init__(
        self, task: Task, cuts: Cuts, pool: PatternPool, table: PatternEvaluator, rng: Random
    ) -> None:
        self._task = task
        self._pool = pool
        self._evaluator = table
        self._rng = rng
        ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [make_filler(task, way, rng) for way in ways]

    def improve(self, uses: Plan, work: float, stop: Stop) -> Plan:
        """Return a plan with fewer layouts, if one is found."""
        # Offcuts may differ where only the pieces are the same.
        by_kept = sorted(uses, key=lambda use: -self._evaluator.offcut_value(use[0]))
        uses = self._better_of(uses, _merge_by_content(by_kept))
        uses = self._exchange_items(uses, work, stop)
        known = list(self._pool.least_waste(_MAX_POOL_PATTERNS, uses))
        fruitless = 0
        while work > 0 and len(uses) > 1 and fruitless < _MAX_FAILURES and not stop():
            chosen, fixed = self._split_neighbourhood(uses)
            fresh, spent = self._reoptimize(chosen, fixed, known)
            work -= spent + _TIME_OVERHEAD
            better = self._better_of(uses, _merge_by_content(fixed, fresh))
            fruitless = fruitless + 1 if better is uses else 0
            uses = better
            if not fixed and fruitless:
                break
        return uses

    def _exchange_items(self, uses: Plan, work: float, stop: Stop) -> Plan:
        """Cut a sheet like another one; what it lacks for that changes places with what it has.

        A third sheet gives the one and takes the other.
        """
        end = self._steps + int(work * _STEPS_PER_TIME)
        found = True
        while found and not stop():
            found = False
            sheets = [
                (pattern, Counter(item_counts(pattern.placements)), copies)
                for pattern, copies in uses
            ]
            for one, like in self._similar_pairs(sheets):
                lacks, has = sheets[like][1] - sheets[one][1], sheets[one][1] - sheets[like][1]
                for third in self._donors(sheets, one, like, lacks):
                    if self._steps >= end:
                        return uses
                    pattern, counts, _ = sheets[third]
                    spots = self._pack(pattern.bin_type, counts - lacks + has)
                    if spots is None:
                        continue
                    rest = [use for i, use in enumerate(uses) if i not in (one, third)]
                    fresh = [(Pattern(pattern.bin_type, spots), 1)] if spots else []
                    other = _merge_by_content(rest, [(sheets[like][0], 1), *fresh])
                    better = self._better_of(uses, other)
                    found = better is not uses
                    if found:
                        uses = better
                        break
                if found:
                    break
        return uses

    def _similar_pairs(self, sheets: Sequence[_PatternUse]) -> list[tuple[int, int]]:
        """Return sheets that are cut once, each with one like it, those most alike first."""
        areas = [shape.area for shape in self._task.item_types]
        ranked = []
        for one, (pattern, counts, copies) in enumerate(sheets):
            if copies > 1:
                continue
            for like, (other, others, _) in enumerate(sheets):
                if like != one and other.bin_type == pattern.bin_type:
                    apart = [*(counts - others).items(), *(others - counts).items()]
                    ranked.append((sum(areas[shape] * n for shape, n in apart), one, like))
        return [(one, like) for _, one, like in sorted(ranked)]

    def _donors(
        self, sheets: Sequence[_PatternUse], one: int, like: int, lacks: Counter[int]
    ) -> Iterator[int]:
        """Yield the sheets cut once that have what is lacking."""
        for third, (_, counts, copies) in enumerate(sheets):
            if copies == 1 and third not in (one, like) and lacks <= counts:
                yield third

    def _pack(self, kind: int, counts: Counter[int]) -> tuple[Placement, ...] | None:
        """Return how pieces lie on a kind of sheet, if a few tries tell."""
        size, shapes = self._task.bin_types[kind], self._task.item_types
        if sum(shapes[shape].solid_area * n for shape, n in counts.items()) > size.area:
            return None
        if not counts:
            return ()
        number = [counts.get(shape, 0) for shape in range(len(shapes))]
        for turn in range(_PACKING_TRIES):
            noise = {shape: shapes[shape].area * (1 + self._rng.random()) for shape in counts}
            order = sorted(counts, key=lambda shape: -noise[shape])
            filler = self._fillers[turn % len(self._fillers)]
            spots = filler.fill(size.width, size.height, number, order, spoiled=size.defects)
            if len(spots) == sum(number) and self._task.allows(Pattern(kind, spots)):
                return spots
        return None

    @property
    def _steps(self) -> int:
        return sum(filler.steps for filler in self._fillers)

    def _better_of(self, uses: Plan, other: Plan) -> Plan:
        """Return the other plan if it has fewer layouts and is as good."""
        if len(other) >= len(uses):
            return uses
        unmade, net, sheets = self._evaluator.objective(uses)
        now = self._evaluator.objective(other)
        return other if now[0] <= unmade and now[1] <= net and now[2] <= sheets else uses

    def _split_neighbourhood(self, uses: Plan) -> tuple[Plan, Plan]:
        """Return some layouts, those cut least often rather, and the others."""
        drawn = sorted(range(len(uses)), key=lambda i: self._rng.random() * uses[i][1])
        chosen = set(drawn[:_NEIGHBOURHOOD_SIZE])
        return (
            tuple(use for i, use in enumerate(uses) if i in chosen),
            tuple(use for i, use in enumerate(uses) if i not in chosen),
        )

    def _reoptimize(
        self, chosen: Plan, fixed: Plan, known: Sequence[tuple[Pattern, dict[int, int]]]
    ) -> tuple[Plan, float]:
        """Return layouts for the same pieces, and the work that it took."""
        from ortools.sat.python import cp_model

        task = self._task
        wanted: Counter[int] = Counter()
        for pattern, copies in chosen:
            for shape, number in item_counts(pattern.placements).items():
                wanted[shape] += number * copies
        stock = [task.max_sheets(kind) for kind in range(len(task.bin_types))]
        for pattern, copies in fixed:
            stock[pattern.bin_type] -= copies
        started = {pattern_key(pattern): copies for pattern, copies in chosen}
        used = {pattern_key(pattern) for pattern, _ in fixed}
        candidates = self._candidates(chosen, fixed, known, wanted, stock)
        model = cp_model.CpModel()
        copies_of = [model.new_int_var(0, one.most, "") for one in candidates]
        aims: list[LinearExpr] = []
        for one, variable in zip(candidates, copies_of, strict=True):
            number = started.get(pattern_key(one.pattern), 0)
            model.add_hint(variable, number)
            if pattern_key(one.pattern) not in used:
                is_used = model.new_bool_var("")
                model.add(variable <= one.most * is_used)
                model.add_hint(is_used, bool(number))
                aims.append(_PATTERN_WEIGHT * is_used)
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
                if one.pattern.bin_type == kind
            ]
            model.add(cp_model.LinearExpr.sum(of_kind) <= sheets)
        prices = self._evaluator.net_prices([one.pattern for one in candidates])
        price_of = {
            pattern_key(one.pattern): price for one, price in zip(candidates, prices, strict=True)
        }
        most = sum(price_of[content] * number for content, number in started.items())
        model.add(cp_model.LinearExpr.weighted_sum(copies_of, prices) <= most)
        model.add(cp_model.LinearExpr.sum(copies_of) <= sum(started.values()))
        model.minimize(cp_model.LinearExpr.sum(aims))
        solver = cp_solver(_DETERMINISTIC_TIME)
        status = solve(solver, model)
        work = solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return chosen, work
        fresh = tuple(
            (one.pattern, number)
            for one, variable in zip(candidates, copies_of, strict=True)
            if (number := solver.value(variable))
        )
        demand = [wanted[shape] for shape in range(len(task.item_types))]
        return trim_overproduction(task.with_demand(demand), fresh), work

    def _candidates(
        self,
        chosen: Plan,
        fixed: Plan,
        known: Sequence[tuple[Pattern, dict[int, int]]],
        wanted: Counter[int],
        stock: Sequence[int],
    ) -> list[_Candidate]:
        """Return what may be chosen: the plan's own layouts, new ones, those of the pool."""
        found: dict[PatternKey, _Candidate] = {}

        def add(pattern: Pattern, counts: dict[int, int]) -> None:
            if all(wanted[shape] >= number for shape, number in counts.items()):
                most = min(wanted[shape] // number for shape, number in counts.items())
                one = _Candidate(pattern, counts, min(most, stock[pattern.bin_type]))
                if one.most:
                    found.setdefault(pattern_key(pattern), one)

        for pattern, _ in (*chosen, *fixed):
            add(pattern, item_counts(pattern.placements))
        for pattern in self._repeatable_patterns(sorted({p.bin_type for p, _ in chosen}), wanted):
            add(pattern, item_counts(pattern.placements))
        own = len(found)
        for pattern, counts in known:
            add(pattern, counts)
        ranked = list(found.values())
        # Those that can be cut often come first, then those with less waste.
        pooled = sorted(ranked[own:], key=attrgetter("most"), reverse=True)
        return ranked[:own] + pooled[:_MAX_CANDIDATES]

    def _repeatable_patterns(self, kinds: Sequence[int], wanted: Counter[int]) -> list[Pattern]:
        """Return sheets filled so that each can be cut twice or more often, the fullest first."""
        shapes = self._task.item_types
        times = [n for n in range(2, _MAX_COPIES + 1) if n <= max(wanted.values())]
        found: dict[Pattern, float] = {}
        for number in range(_FILLINGS if times else 0):
            kind = kinds[number % len(kinds)]
            parts = times[self._rng.randrange(len(times))]
            counts = [wanted[shape] // parts for shape in range(len(shapes))]
            noise = [shape.area * (0.5 + self._rng.random()) for shape in shapes]
            order = sorted((i for i, n in enumerate(counts) if n), key=lambda i: -noise[i])
            size = self._task.bin_types[kind]
            filler = self._fillers[number % len(self._fillers)]
            spots = filler.fill(size.width, size.height, counts, order, spoiled=size.defects)
            if spots and self._task.allows(Pattern(kind, spots)):
                made = sum(shapes[spot.item_type].area for spot in spots)
                found[Pattern(kind, spots)] = made / size.area
        return sorted(found, key=lambda pattern: -found[pattern])[:_MAX_NEW_PATTERNS]
