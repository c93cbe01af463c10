"""The cheapest plan made of known patterns: a set-covering problem.

How many sheets are cut by each pattern, within the stock, so that every piece is made at least as
often as wanted (Monaci and Toth, "A set-covering-based heuristic approach for bin-packing
problems", INFORMS Journal on Computing 18, 2006).  Covering rather than partitioning, as a pool
seldom holds a pattern also without some of its pieces; the surplus is removed afterwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd

from nester.packing.runtime.cp_sat import solve
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
"""Patterns that are candidates only because of their offcuts."""
_MAX_MIP_ENTRIES = 60_000
"""Patterns times item types; larger programs are too slow for branch and bound."""
_LARGEST_OBJECTIVE = 2**50
_LARGEST_SUM = 2**60
"""Bound on the objective, and on the sum of all its terms, which must fit 64 bits."""


def choose_patterns(
    task: Task,
    pool: PatternPool,
    best: Plan,
    deterministic_time: float,
    evaluator: PatternEvaluator,
    stop: Stop = never,
) -> Plan:
    """Return the best plan made of the pool's patterns, never worse than `best`; by CP-SAT.

    Pieces may be left out only if `best` leaves some out.

    Parameters
    ----------
    evaluator
        Of net costs: what sheets cost less the value of their offcuts.
    best
        The best plan so far; the solver starts from it.
    deterministic_time
        CP-SAT's count of its work, which is the same on every machine.
    stop
        Ends the search early.
    """
    from ortools.sat.python import cp_model

    candidates = [*pool.least_waste(_MAX_PATTERNS, best)]
    candidates += _offcut_candidates(
        pool, evaluator, {pattern_key(pattern) for pattern, _ in candidates}
    )
    if not candidates:
        return best
    start_copies: dict[Pattern, int] = {}
    by_content = {pattern_key(pattern): pattern for pattern, _ in candidates}
    for pattern, copies in best:
        start_pattern = by_content[pattern_key(pattern)]
        start_copies[start_pattern] = start_copies.get(start_pattern, 0) + copies

    model = cp_model.CpModel()
    max_copies = [_max_copies(task, pattern, counts) for pattern, counts in candidates]
    copies_of = [model.new_int_var(0, copies, "") for copies in max_copies]
    unmet = _unmet_demand(task, best)
    shortfall = [model.new_int_var(0, item.demand if unmet else 0, "") for item in task.item_types]
    columns_of_item: list[list[tuple[int, int]]] = [[] for _ in task.item_types]
    for column, (_, counts) in enumerate(candidates):
        for item_type, number in counts.items():
            columns_of_item[item_type].append((column, number))
    for index, columns in enumerate(columns_of_item):
        model.add(
            cp_model.LinearExpr.weighted_sum(
                [copies_of[column] for column, _ in columns] + [shortfall[index]],
                [number for _, number in columns] + [1],
            )
            >= task.item_types[index].demand
        )
    for bin_type, size in enumerate(task.bin_types):
        if size.on_hand is not None:
            of_type = [
                variable
                for variable, (p, _) in zip(copies_of, candidates, strict=True)
                if p.bin_type == bin_type
            ]
            model.add(cp_model.LinearExpr.sum(of_type) <= size.on_hand)
    net_costs = evaluator.net_prices([pattern for pattern, _ in candidates])
    costs = _objective_coefficients(task, net_costs, max_copies, bool(unmet))
    model.minimize(cp_model.LinearExpr.weighted_sum(copies_of + shortfall, costs))
    for variable, (pattern, _) in zip(copies_of, candidates, strict=True):
        model.add_hint(variable, start_copies.get(pattern, 0))
    for index, variable in enumerate(shortfall):
        model.add_hint(variable, unmet.get(index, 0))

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = deterministic_time
    status = solve(solver, model, stop)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return best
    chosen = tuple(
        (pattern, copies)
        for variable, (pattern, _) in zip(copies_of, candidates, strict=True)
        if (copies := solver.value(variable))
    )
    chosen = trim_overproduction(task, chosen)
    return chosen if evaluator.objective(chosen) < evaluator.objective(best) else best


def choose_by_mip(
    task: Task,
    patterns: Sequence[tuple[Pattern, dict[int, int]]],
    max_nodes: int,
    evaluator: PatternEvaluator,
    stop: Stop = never,
) -> Plan:
    """Return the best plan made of few patterns, or an empty plan; by SCIP.

    Among patterns of low reduced cost, branch and bound on the linear relaxation finds good plans
    more quickly than CP-SAT.

    Parameters
    ----------
    patterns
        Each with how many of each item type it holds.
    max_nodes
        Limit on the nodes of the search tree.
    """
    if len(patterns) * len(task.item_types) > _MAX_MIP_ENTRIES:
        return ()
    mip = MixedIntegerProgram()
    max_copies = [_max_copies(task, pattern, counts) for pattern, counts in patterns]
    copies_of = [mip.add_variable(copies) for copies in max_copies]
    for index, item in enumerate(task.item_types):
        produced = [
            (c[index], n) for (_, c), n in zip(patterns, copies_of, strict=True) if index in c
        ]
        mip.add_at_least(produced, item.demand)
    for bin_type, size in enumerate(task.bin_types):
        if size.on_hand is not None:
            used = [
                (-1, n)
                for (p, _), n in zip(patterns, copies_of, strict=True)
                if p.bin_type == bin_type
            ]
            mip.add_at_least(used, -size.on_hand)
    net_costs = evaluator.net_prices([pattern for pattern, _ in patterns])
    cost = list(
        zip(_objective_coefficients(task, net_costs, max_copies, False), copies_of, strict=False)
    )
    solution = mip.minimize(cost, max_nodes, stop)
    if solution.values is None:
        return ()
    values = solution.values
    chosen_patterns = (
        (patterns[number][0], int(values[number])) for number in copies_of if values[number]
    )
    return trim_overproduction(task, tuple(chosen_patterns))


def _offcut_candidates(
    pool: PatternPool, evaluator: PatternEvaluator, known: set[PatternKey]
) -> list[tuple[Pattern, dict[int, int]]]:
    """Return more patterns: the cheapest for their pieces once offcuts are subtracted."""
    if not evaluator.values_offcuts or len(known) == len(pool):
        return []
    rated: list[tuple[float, int, Pattern, dict[int, int]]] = []
    for pattern, counts in pool.added_since(0):
        if pattern_key(pattern) not in known and evaluator.estimated_offcut_value(pattern):
            rated.append((evaluator.net_cost_rate(pattern), len(rated), pattern, counts))
    rated.sort(key=lambda entry: entry[:2])
    return [(pattern, counts) for _, _, pattern, counts in rated[:_MAX_OFFCUT_PATTERNS]]


def _max_copies(task: Task, pattern: Pattern, counts: dict[int, int]) -> int:
    """Return how many copies of a pattern a plan can use: more would only make surplus."""
    wanted = (
        -(-task.item_types[item_type].demand // number) for item_type, number in counts.items()
    )
    return min(task.max_sheets(pattern.bin_type), max(wanted))


def _unmet_demand(task: Task, plan: Plan) -> dict[int, int]:
    remaining = dict(enumerate(task.demand))
    for pattern, copies in plan:
        for item_type, number in item_counts(pattern.placements).items():
            remaining[item_type] -= number * copies
    return {item_type: number for item_type, number in remaining.items() if number > 0}


def _objective_coefficients(
    task: Task, costs: Sequence[int], max_copies: Sequence[int], may_fall_short: bool
) -> list[int]:
    """Return weights of patterns and of missing pieces for a lexicographic objective.

    Missing area comes first, then cost, then the number of sheets.  Weights that keep this order
    exactly may exceed the solver's 64 bits; then the number of sheets is left out, and costs and
    areas are rounded.
    """
    areas = [item.area for item in task.item_types]
    pieces = sum(task.demand)
    divisor = gcd(*costs) or 1
    costs = [cost // divisor for cost in costs]
    costs_and_sheets = [cost * (pieces + 1) + 1 for cost in costs]
    if (
        max(costs_and_sheets) * pieces < _LARGEST_OBJECTIVE
        and _largest_total(costs_and_sheets, max_copies) < _LARGEST_SUM
    ):
        costs = costs_and_sheets
    scale = -(-_largest_total(costs, max_copies) // _LARGEST_SUM)
    if scale > 1:
        costs = [cost // scale for cost in costs]
    if not may_fall_short:
        return costs + [0] * len(areas)
    unit = gcd(*areas)
    more_than_all = (
        sum(sorted(costs)[-pieces:]) + 1 if len(costs) >= pieces else (max(costs) * pieces + 1)
    )
    weights = [area // unit * more_than_all for area in areas]
    total_weight = sum(
        weight * item.demand for weight, item in zip(weights, task.item_types, strict=True)
    )
    if total_weight >= _LARGEST_OBJECTIVE:
        scale = -(-total_weight // _LARGEST_OBJECTIVE)
        weights = [max(1, weight // scale) for weight in weights]
        costs = [cost // scale for cost in costs]
    return costs + weights


def _largest_total(costs: Sequence[int], max_copies: Sequence[int]) -> int:
    return sum(cost * copies for cost, copies in zip(costs, max_copies, strict=True))
