"""Fewer patterns, fewer cuts and larger offcuts, for a plan that is already cheap.

The plan keeps making the same pieces; its net cost and its number of sheets never grow.

Fewer patterns (the pattern minimization problem): large neighbourhood search (Shaw, "Using
constraint programming and local search methods to solve vehicle routing problems", CP 1998).  A few
patterns of the plan are replaced by as few as possible, chosen by CP-SAT among the plan's own
patterns, the pool, and new fillings that can be cut several times.  Replacing a few patterns by
fewer is the idea of Foerster and Wäscher, "Pattern reduction in one-dimensional cutting stock
problems", International Journal of Production Research 38 (2000).

Fewer cuts, larger offcuts: see `rearrange.py`.
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
from nester.packing.runtime.cp_sat import solve
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
"""Patterns of a plan that are replaced together."""
_MAX_POOL_PATTERNS = 1500
_MAX_CANDIDATES = 250
"""Patterns of the pool that are considered in all, and in one neighbourhood."""
_FILLINGS = 160
_MAX_NEW_PATTERNS = 40
"""New fillings for one neighbourhood, and those of them that are kept."""
_MAX_COPIES = 6
"""New fillings are made to be cut between twice and this many times."""
_DETERMINISTIC_TIME = 0.04
_TIME_OVERHEAD = 0.02
"""CP-SAT's deterministic time for one neighbourhood, and the overhead in the same measure."""
_STEPS_PER_TIME = 500_000
"""Steps of filling in one unit of CP-SAT's deterministic time (measured)."""
_PACKING_TRIES = 4
"""Attempts to pack the pieces of one sheet."""
_MAX_FAILURES = 4
"""Neighbourhoods in a row without an improvement before the search ends."""
_PATTERN_WEIGHT = 4
"""One pattern fewer outweighs this many surplus pieces, each of which may spoil a pattern."""

ReductionObjective = tuple[int, Fraction, int, int, int]
"""Area not made, net cost, patterns, cuts, and how small the offcuts are; smaller is better."""
_PatternUse = tuple[Pattern, Counter[int], int]
"""A pattern of a plan, its pieces, and how often it is cut."""


def reduction_objective(evaluator: PatternEvaluator, plan: Plan) -> ReductionObjective:
    """Return what is minimized, lexicographically."""
    unmet_area, net_cost, _ = evaluator.objective(plan)
    cut_patterns = [(evaluator.cut_pattern(pattern), copies) for pattern, copies in plan]
    cuts = sum(len(cut_pattern.cuts) * copies for cut_pattern, copies in cut_patterns)
    return (
        unmet_area,
        net_cost,
        len(plan),
        cuts,
        -sum(cut_pattern.offcut_concentration * copies for cut_pattern, copies in cut_patterns),
    )


def reduce_patterns(
    task: Task,
    cuts: Cuts,
    pool: PatternPool,
    evaluator: PatternEvaluator,
    plan: Plan,
    deterministic_time: float,
    stop: Stop = never,
) -> Plan:
    """Return a plan that makes the same, costs no more net, and is no worse by the objective.

    Parameters
    ----------
    pool
        Patterns that are known.
    deterministic_time
        For each of both halves, in CP-SAT's deterministic time.
    stop
        Ends it early.
    """
    rng = Random(f"{_SEED} tidy {task.paper}")  # noqa: S311 - for a search, not for secrets
    plan = _PatternReducer(task, cuts, pool, evaluator, rng).improve(plan, deterministic_time, stop)
    return PatternRearranger(task, cuts, evaluator, rng).improve(plan, deterministic_time, stop)


def _merge_by_content(*parts: Sequence[tuple[Pattern, int]]) -> Plan:
    """Merge plans; the first of several patterns with equal pieces and bin type is kept."""
    first: dict[PatternKey, Pattern] = {}
    copies: dict[Pattern, int] = {}
    for plan in parts:
        for pattern, number in plan:
            representative = first.setdefault(pattern_key(pattern), pattern)
            copies[representative] = copies.get(representative, 0) + number
    return tuple(copies.items())


class _Candidate(NamedTuple):
    """A pattern, its pieces, and how often it may be cut."""

    pattern: Pattern
    counts: dict[int, int]
    max_copies: int


class _PatternReducer:
    """Replaces patterns of a plan by fewer."""

    def __init__(
        self, task: Task, cuts: Cuts, pool: PatternPool, evaluator: PatternEvaluator, rng: Random
    ) -> None:
        self._task = task
        self._pool = pool
        self._evaluator = evaluator
        self._rng = rng
        cut_modes = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [make_filler(task, cut_mode, rng) for cut_mode in cut_modes]

    def improve(self, plan: Plan, deterministic_time: float, stop: Stop) -> Plan:
        """Return a plan with fewer patterns, if one is found."""
        # Of patterns with equal pieces the one with the most valuable offcuts is kept.
        by_offcut_value = sorted(plan, key=lambda use: -self._evaluator.offcut_value(use[0]))
        plan = self._better_of(plan, _merge_by_content(by_offcut_value))
        plan = self._exchange_items(plan, deterministic_time, stop)
        pool_patterns = list(self._pool.least_waste(_MAX_POOL_PATTERNS, plan))
        failures = 0
        while deterministic_time > 0 and len(plan) > 1 and failures < _MAX_FAILURES and not stop():
            chosen, fixed = self._split_neighbourhood(plan)
            new_patterns, time_spent = self._reoptimize(chosen, fixed, pool_patterns)
            deterministic_time -= time_spent + _TIME_OVERHEAD
            better = self._better_of(plan, _merge_by_content(fixed, new_patterns))
            failures = failures + 1 if better is plan else 0
            plan = better
            if not fixed and failures:
                break
        return plan

    def _exchange_items(self, plan: Plan, deterministic_time: float, stop: Stop) -> Plan:
        """Exchange pieces between sheets until one can be cut like another, which saves a pattern.

        A sheet that is cut once gets the pattern of a similar sheet.  A third sheet, the donor,
        gives the pieces missing for that and takes the surplus ones; it is packed again.
        """
        max_steps = self._steps + int(deterministic_time * _STEPS_PER_TIME)
        found = True
        while found and not stop():
            found = False
            sheets = [
                (pattern, Counter(item_counts(pattern.placements)), copies)
                for pattern, copies in plan
            ]
            for changed, model in self._similar_pairs(sheets):
                missing = sheets[model][1] - sheets[changed][1]
                surplus = sheets[changed][1] - sheets[model][1]
                for donor in self._donors(sheets, changed, model, missing):
                    if self._steps >= max_steps:
                        return plan
                    pattern, counts, _ = sheets[donor]
                    placements = self._pack(pattern.bin_type, counts - missing + surplus)
                    if placements is None:
                        continue
                    rest = [use for i, use in enumerate(plan) if i not in (changed, donor)]
                    new_patterns = (
                        [(Pattern(pattern.bin_type, placements), 1)] if placements else []
                    )
                    candidate = _merge_by_content(rest, [(sheets[model][0], 1), *new_patterns])
                    better = self._better_of(plan, candidate)
                    found = better is not plan
                    if found:
                        plan = better
                        break
                if found:
                    break
        return plan

    def _similar_pairs(self, sheets: Sequence[_PatternUse]) -> list[tuple[int, int]]:
        """Return pairs of a sheet that is cut once and a similar one, most similar first."""
        areas = [item.area for item in self._task.item_types]
        ranked = []
        for changed, (pattern, counts, copies) in enumerate(sheets):
            if copies > 1:
                continue
            for model, (other, other_counts, _) in enumerate(sheets):
                if model != changed and other.bin_type == pattern.bin_type:
                    difference = [
                        *(counts - other_counts).items(),
                        *(other_counts - counts).items(),
                    ]
                    ranked.append(
                        (sum(areas[item_type] * n for item_type, n in difference), changed, model)
                    )
        return [(changed, model) for _, changed, model in sorted(ranked)]

    def _donors(
        self, sheets: Sequence[_PatternUse], changed: int, model: int, missing: Counter[int]
    ) -> Iterator[int]:
        """Yield the sheets that are cut once and have the missing pieces."""
        for donor, (_, counts, copies) in enumerate(sheets):
            if copies == 1 and donor not in (changed, model) and missing <= counts:
                yield donor

    def _pack(self, bin_type: int, counts: Counter[int]) -> tuple[Placement, ...] | None:
        """Pack pieces on one sheet; None if a few attempts fail."""
        size, item_types = self._task.bin_types[bin_type], self._task.item_types
        if sum(item_types[item_type].solid_area * n for item_type, n in counts.items()) > size.area:
            return None
        if not counts:
            return ()
        number = [counts.get(item_type, 0) for item_type in range(len(item_types))]
        for attempt in range(_PACKING_TRIES):
            noise = {
                item_type: item_types[item_type].area * (1 + self._rng.random())
                for item_type in counts
            }
            order = sorted(counts, key=lambda item_type: -noise[item_type])
            filler = self._fillers[attempt % len(self._fillers)]
            placements = filler.fill(size.width, size.height, number, order, spoiled=size.defects)
            if len(placements) == sum(number) and self._task.allows(Pattern(bin_type, placements)):
                return placements
        return None

    @property
    def _steps(self) -> int:
        return sum(filler.steps for filler in self._fillers)

    def _better_of(self, plan: Plan, other: Plan) -> Plan:
        """Return the other plan if it has fewer patterns and is as good."""
        if len(other) >= len(plan):
            return plan
        unmet_area, net_cost, sheets = self._evaluator.objective(plan)
        other_objective = self._evaluator.objective(other)
        return (
            other
            if other_objective[0] <= unmet_area
            and other_objective[1] <= net_cost
            and other_objective[2] <= sheets
            else plan
        )

    def _split_neighbourhood(self, plan: Plan) -> tuple[Plan, Plan]:
        """Split a plan into a neighbourhood, preferring patterns cut rarely, and the others."""
        drawn = sorted(range(len(plan)), key=lambda i: self._rng.random() * plan[i][1])
        chosen = set(drawn[:_NEIGHBOURHOOD_SIZE])
        return (
            tuple(use for i, use in enumerate(plan) if i in chosen),
            tuple(use for i, use in enumerate(plan) if i not in chosen),
        )

    def _reoptimize(
        self, chosen: Plan, fixed: Plan, pool_patterns: Sequence[tuple[Pattern, dict[int, int]]]
    ) -> tuple[Plan, float]:
        """Replace the patterns of a neighbourhood by as few as possible.

        An integer program, solved by CP-SAT from the present patterns: copies of candidate patterns
        cover the same pieces at no higher net cost and with no more sheets.  Minimized are the
        patterns that the fixed part of the plan doesn't use anyway, and the surplus.

        Returns
        -------
        tuple of Plan and float
            The new patterns, and the deterministic time spent.
        """
        from ortools.sat.python import cp_model

        task = self._task
        wanted: Counter[int] = Counter()
        for pattern, copies in chosen:
            for item_type, number in item_counts(pattern.placements).items():
                wanted[item_type] += number * copies
        stock = [task.max_sheets(bin_type) for bin_type in range(len(task.bin_types))]
        for pattern, copies in fixed:
            stock[pattern.bin_type] -= copies
        start_copies = {pattern_key(pattern): copies for pattern, copies in chosen}
        fixed_keys = {pattern_key(pattern) for pattern, _ in fixed}
        candidates = self._candidates(chosen, fixed, pool_patterns, wanted, stock)
        model = cp_model.CpModel()
        copies_of = [model.new_int_var(0, candidate.max_copies, "") for candidate in candidates]
        objective_terms: list[LinearExpr] = []
        for candidate, variable in zip(candidates, copies_of, strict=True):
            number = start_copies.get(pattern_key(candidate.pattern), 0)
            model.add_hint(variable, number)
            if pattern_key(candidate.pattern) not in fixed_keys:
                is_used = model.new_bool_var("")
                model.add(variable <= candidate.max_copies * is_used)
                model.add_hint(is_used, bool(number))
                objective_terms.append(_PATTERN_WEIGHT * is_used)
        for item_type, number in wanted.items():
            made = cp_model.LinearExpr.weighted_sum(
                copies_of, [candidate.counts.get(item_type, 0) for candidate in candidates]
            )
            model.add(made >= number)
            objective_terms.append(made - number)
        for bin_type, sheets in enumerate(stock):
            of_type = [
                variable
                for candidate, variable in zip(candidates, copies_of, strict=True)
                if candidate.pattern.bin_type == bin_type
            ]
            model.add(cp_model.LinearExpr.sum(of_type) <= sheets)
        prices = self._evaluator.net_prices([candidate.pattern for candidate in candidates])
        price_of = {
            pattern_key(candidate.pattern): price
            for candidate, price in zip(candidates, prices, strict=True)
        }
        max_cost = sum(price_of[content] * number for content, number in start_copies.items())
        model.add(cp_model.LinearExpr.weighted_sum(copies_of, prices) <= max_cost)
        model.add(cp_model.LinearExpr.sum(copies_of) <= sum(start_copies.values()))
        model.minimize(cp_model.LinearExpr.sum(objective_terms))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = _DETERMINISTIC_TIME
        status = solve(solver, model)
        deterministic_time = solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return chosen, deterministic_time
        new_patterns = tuple(
            (candidate.pattern, number)
            for candidate, variable in zip(candidates, copies_of, strict=True)
            if (number := solver.value(variable))
        )
        demand = [wanted[item_type] for item_type in range(len(task.item_types))]
        return trim_overproduction(task.with_demand(demand), new_patterns), deterministic_time

    def _candidates(
        self,
        chosen: Plan,
        fixed: Plan,
        pool_patterns: Sequence[tuple[Pattern, dict[int, int]]],
        wanted: Counter[int],
        stock: Sequence[int],
    ) -> list[_Candidate]:
        """Return the candidate patterns: the plan's own, new fillings, and some of the pool."""
        found: dict[PatternKey, _Candidate] = {}

        def add(pattern: Pattern, counts: dict[int, int]) -> None:
            if all(wanted[item_type] >= number for item_type, number in counts.items()):
                max_copies = min(
                    wanted[item_type] // number for item_type, number in counts.items()
                )
                candidate = _Candidate(pattern, counts, min(max_copies, stock[pattern.bin_type]))
                if candidate.max_copies:
                    found.setdefault(pattern_key(pattern), candidate)

        for pattern, _ in (*chosen, *fixed):
            add(pattern, item_counts(pattern.placements))
        for pattern in self._repeatable_patterns(sorted({p.bin_type for p, _ in chosen}), wanted):
            add(pattern, item_counts(pattern.placements))
        own = len(found)
        for pattern, counts in pool_patterns:
            add(pattern, counts)
        ranked = list(found.values())
        # The pool is sorted by waste, and sorting is stable: most copies first, then least waste.
        pooled = sorted(ranked[own:], key=attrgetter("max_copies"), reverse=True)
        return ranked[:own] + pooled[:_MAX_CANDIDATES]

    def _repeatable_patterns(self, bin_types: Sequence[int], wanted: Counter[int]) -> list[Pattern]:
        """Return new patterns that can be cut at least twice, the fullest first.

        Each is filled with pieces of which a fraction of the demand is allowed, so that it can be
        repeated.
        """
        item_types = self._task.item_types
        repetitions = [n for n in range(2, _MAX_COPIES + 1) if n <= max(wanted.values())]
        found: dict[Pattern, float] = {}
        for attempt in range(_FILLINGS if repetitions else 0):
            bin_type = bin_types[attempt % len(bin_types)]
            copies = repetitions[self._rng.randrange(len(repetitions))]
            counts = [wanted[item_type] // copies for item_type in range(len(item_types))]
            noise = [item.area * (0.5 + self._rng.random()) for item in item_types]
            order = sorted((i for i, n in enumerate(counts) if n), key=lambda i: -noise[i])
            size = self._task.bin_types[bin_type]
            filler = self._fillers[attempt % len(self._fillers)]
            placements = filler.fill(size.width, size.height, counts, order, spoiled=size.defects)
            if placements and self._task.allows(Pattern(bin_type, placements)):
                used_area = sum(item_types[placement.item_type].area for placement in placements)
                found[Pattern(bin_type, placements)] = used_area / size.area
        return sorted(found, key=lambda pattern: -found[pattern])[:_MAX_NEW_PATTERNS]
