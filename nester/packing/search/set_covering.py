"""Choose among all known layouts those that make every piece for the least.

A set-covering choice in whole numbers (Monaci and Toth, INFORMS Journal on Computing 18, 2006),
solved by CP-SAT: how many sheets are cut by each layout, within the stock, so that every piece
is made at least as often as wanted.  What is then made too often is taken off its sheets again.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd

from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.runtime.mip import MixedIntegerProgram
from nester.packing.runtime.stop import Stop, never
from nester.packing.task.pattern_pool import (
    PatternKey,
    PatternPool,
    Plan,
    pattern_key,
    trim_overproduction,
)
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import Pattern, Task, item_counts

__all__ = ["choose_patterns"]

_MAX_PATTERNS = 3000
_MAX_OFFCUT_PATTERNS = 300
"""Layouts that are looked at only for the sake of their offcuts."""
_MAX_MIP_ENTRIES = 60_000
"""Layouts times shapes, for branch and bound on linear programmes; with more it is too slow."""
_LARGEST_OBJECTIVE = 2**50
_LARGEST_SUM = 2**60
"""What all layouts together could cost stays below this, so that it fits the solver's 64 bits."""


def choose_patterns(
    task: Task,
    pool: PatternPool,
    best: Plan,
    work: float,
    table: PatternEvaluator,
    stop: Stop = never,
) -> Plan:
    """Return the best plan made of the pool's layouts, never worse than `best`.

    Parameters
    ----------
    table
        Knows what sheets cost less their offcuts.
    best
        The best plan so far; the search starts from it.
    work
        CP-SAT's deterministic time, its count of work done: the same on every machine.
    stop
        Ends the search early.
    """
    from ortools.sat.python import cp_model

    candidates = [*pool.least_waste(_MAX_PATTERNS, best)]
    candidates += _offcut_candidates(
        pool, table, {pattern_key(pattern) for pattern, _ in candidates}
    )
    if not candidates:
        return best
    started: dict[Pattern, int] = {}
    by_content = {pattern_key(pattern): pattern for pattern, _ in candidates}
    for pattern, copies in best:
        known = by_content[pattern_key(pattern)]
        started[known] = started.get(known, 0) + copies

    model = cp_model.CpModel()
    most = [_max_copies(task, pattern, counts) for pattern, counts in candidates]
    copies_of = [model.new_int_var(0, copies, "") for copies in most]
    missing = _unmet_demand(task, best)
    short = [model.new_int_var(0, shape.demand if missing else 0, "") for shape in task.item_types]
    made: list[list[tuple[int, int]]] = [[] for _ in task.item_types]
    for column, (_, counts) in enumerate(candidates):
        for shape, number in counts.items():
            made[shape].append((column, number))
    for index, columns in enumerate(made):
        model.add(
            cp_model.LinearExpr.weighted_sum(
                [copies_of[column] for column, _ in columns] + [short[index]],
                [number for _, number in columns] + [1],
            )
            >= task.item_types[index].demand
        )
    for kind, size in enumerate(task.bin_types):
        if size.on_hand is not None:
            of_kind = [
                v for v, (p, _) in zip(copies_of, candidates, strict=True) if p.bin_type == kind
            ]
            model.add(cp_model.LinearExpr.sum(of_kind) <= size.on_hand)
    prices = table.net_prices([pattern for pattern, _ in candidates])
    costs = _objective_coefficients(task, prices, most, bool(missing))
    model.minimize(cp_model.LinearExpr.weighted_sum(copies_of + short, costs))
    for variable, (pattern, _) in zip(copies_of, candidates, strict=True):
        model.add_hint(variable, started.get(pattern, 0))
    for index, variable in enumerate(short):
        model.add_hint(variable, missing.get(index, 0))

    solver = cp_solver(work)
    status = solve(solver, model, stop)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return best
    chosen = tuple(
        (pattern, copies)
        for variable, (pattern, _) in zip(copies_of, candidates, strict=True)
        if (copies := solver.value(variable))
    )
    chosen = trim_overproduction(task, chosen)
    return chosen if table.objective(chosen) < table.objective(best) else best


def choose_by_mip(
    task: Task,
    known: Sequence[tuple[Pattern, dict[int, int]]],
    nodes: int,
    table: PatternEvaluator,
    stop: Stop = never,
) -> Plan:
    """Return the best plan made of few layouts, or nothing.

    The same choice, solved by SCIP: among layouts that a linear programme likes branch and bound
    finds good plans more quickly.

    Parameters
    ----------
    known
        The layouts, each with how many of each shape lie on it.
    nodes
        Of the search, at most.
    """
    if len(known) * len(task.item_types) > _MAX_MIP_ENTRIES:
        return ()
    programme = MixedIntegerProgram()
    most = [_max_copies(task, pattern, counts) for pattern, counts in known]
    copies_of = [programme.add_variable(copies) for copies in most]
    for index, shape in enumerate(task.item_types):
        made = [(c[index], n) for (_, c), n in zip(known, copies_of, strict=True) if index in c]
        programme.add_at_least(made, shape.demand)
    for kind, size in enumerate(task.bin_types):
        if size.on_hand is not None:
            used = [
                (-1, n) for (p, _), n in zip(known, copies_of, strict=True) if p.bin_type == kind
            ]
            programme.add_at_least(used, -size.on_hand)
    prices = table.net_prices([pattern for pattern, _ in known])
    total = list(zip(_objective_coefficients(task, prices, most, False), copies_of, strict=False))
    chosen = programme.minimize(total, nodes, stop)
    if chosen.values is None:
        return ()
    value = chosen.values
    uses = ((known[number][0], int(value[number])) for number in copies_of if value[number])
    return trim_overproduction(task, tuple(uses))


def _offcut_candidates(
    pool: PatternPool, table: PatternEvaluator, known: set[PatternKey]
) -> list[tuple[Pattern, dict[int, int]]]:
    """Return further layouts that are cheapest for their pieces once their offcuts are counted."""
    if not table.values_offcuts or len(known) == len(pool):
        return []
    rated: list[tuple[float, int, Pattern, dict[int, int]]] = []
    for pattern, counts in pool.added_since(0):
        if pattern_key(pattern) not in known and table.estimated_offcut_value(pattern):
            rated.append((table.net_cost_rate(pattern), len(rated), pattern, counts))
    rated.sort(key=lambda one: one[:2])
    return [(pattern, counts) for _, _, pattern, counts in rated[:_MAX_OFFCUT_PATTERNS]]


def _max_copies(task: Task, pattern: Pattern, counts: dict[int, int]) -> int:
    """Return how many copies a plan may want: further ones would make nothing that is wanted."""
    wanted = (-(-task.item_types[shape].demand // number) for shape, number in counts.items())
    return min(task.max_sheets(pattern.bin_type), max(wanted))


def _unmet_demand(task: Task, uses: Plan) -> dict[int, int]:
    left = dict(enumerate(task.demand))
    for pattern, copies in uses:
        for shape, number in item_counts(pattern.placements).items():
            left[shape] -= number * copies
    return {shape: number for shape, number in left.items() if number > 0}


def _objective_coefficients(
    task: Task, prices: Sequence[int], most: Sequence[int], may_miss: bool
) -> list[int]:
    """Weigh, each before the next: area not made, price of each layout, number of sheets.

    Where exact weights would outgrow the solver's numbers the lesser aims give way.
    """
    areas = [shape.area for shape in task.item_types]
    pieces = sum(task.demand)
    common = gcd(*prices) or 1
    prices = [price // common for price in prices]
    with_sheets = [price * (pieces + 1) + 1 for price in prices]
    if max(with_sheets) * pieces < _LARGEST_OBJECTIVE and _sum(with_sheets, most) < _LARGEST_SUM:
        prices = with_sheets
    shrink = -(-_sum(prices, most) // _LARGEST_SUM)
    if shrink > 1:
        prices = [price // shrink for price in prices]
    if not may_miss:
        return prices + [0] * len(areas)
    unit = gcd(*areas)
    dearer_than_all = (
        sum(sorted(prices)[-pieces:]) + 1 if len(prices) >= pieces else (max(prices) * pieces + 1)
    )
    weights = [area // unit * dearer_than_all for area in areas]
    total = sum(
        weight * shape.demand for weight, shape in zip(weights, task.item_types, strict=True)
    )
    if total >= _LARGEST_OBJECTIVE:
        shrink = -(-total // _LARGEST_OBJECTIVE)
        weights = [max(1, weight // shrink) for weight in weights]
        prices = [price // shrink for price in prices]
    return prices + weights


def _sum(costs: Sequence[int], most: Sequence[int]) -> int:
    return sum(cost * copies for cost, copies in zip(costs, most, strict=True))
