"""All the layouts that the methods have found for one paper, each kept once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from nester.packing.task.task import Pattern, Task, item_counts

__all__ = [
    "PatternKey",
    "PatternPool",
    "Plan",
    "has_too_many_pieces",
    "merge_plans",
    "objective",
    "pattern_key",
    "trim_overproduction",
]

_MAX_PIECES = 50_000
"""A plan whose layouts, each counted once, hold more pieces than this is not worked over."""

Plan = tuple[tuple[Pattern, int], ...]
"""A plan in the making: patterns and how many sheets are cut by each."""


PatternKey = tuple[int, frozenset[tuple[int, int]]]
"""A kind of sheet, and how many of each shape lie on it."""


@dataclass(frozen=True)
class _Entry:
    pattern: Pattern
    counts: dict[int, int]
    waste: int


class PatternPool:
    """Patterns by what they make.

    Two patterns on the same kind of sheet with the same pieces are equal to the choice; the first
    found is kept.
    """

    def __init__(self, task: Task) -> None:
        self._task = task
        self._entries: dict[PatternKey, _Entry] = {}

    def add(self, pattern: Pattern) -> bool:
        """Keep a pattern unless one like it is known; say whether it is new.

        One that the task does not allow is not kept.
        """
        if not pattern.placements or not self._task.allows(pattern):
            return False
        counts = item_counts(pattern.placements)
        key = (pattern.bin_type, frozenset(counts.items()))
        if key in self._entries:
            return False
        items = self._task.item_types
        piece_area = sum(items[item_type].area * count for item_type, count in counts.items())
        waste = self._task.bin_types[pattern.bin_type].area - piece_area
        self._entries[key] = _Entry(pattern, counts, waste)
        return True

    def added_since(self, number: int) -> Iterator[tuple[Pattern, dict[int, int]]]:
        """Yield the patterns that came after the first `number`, and what they make."""
        for entry in list(islice(self._entries.values(), number, None)):
            yield entry.pattern, entry.counts

    def add_plan(self, plan: Plan) -> None:
        """Keep every pattern of a plan."""
        for pattern, _ in plan:
            self.add(pattern)

    def __len__(self) -> int:
        return len(self._entries)

    def least_waste(
        self, max_patterns: int, always: Plan
    ) -> Iterator[tuple[Pattern, dict[int, int]]]:
        """Yield up to `max_patterns` patterns, least waste first; and all of `always`."""
        sheet_types = self._task.bin_types
        by_kind: dict[int, list[_Entry]] = {}
        for entry in self._entries.values():
            by_kind.setdefault(entry.pattern.bin_type, []).append(entry)
        share = max(1, max_patterns // max(1, len(by_kind)))
        seen = set()
        for bin_type, entries in by_kind.items():
            # Stable sort: ties stay in the order found, so that equal input gives equal plans.
            entries.sort(key=lambda entry: entry.waste * 1024 // sheet_types[bin_type].area)
            for entry in entries[:share]:
                seen.add((bin_type, frozenset(entry.counts.items())))
                yield entry.pattern, entry.counts
        for pattern, _ in always:
            counts = item_counts(pattern.placements)
            key = (pattern.bin_type, frozenset(counts.items()))
            if key not in seen:
                seen.add(key)
                yield pattern, counts


def pattern_key(pattern: Pattern) -> PatternKey:
    """Return what a pattern makes of which kind of sheet."""
    return pattern.bin_type, frozenset(item_counts(pattern.placements).items())


def merge_plans(first: Plan, second: Plan) -> Plan:
    """Return two plans as one."""
    copies: dict[Pattern, int] = {}
    for pattern, number in (*first, *second):
        copies[pattern] = copies.get(pattern, 0) + number
    return tuple(copies.items())


def has_too_many_pieces(plan: Plan) -> bool:
    """Whether layouts hold too many pieces to be improved in reasonable time.

    So many pieces on a sheet fill it to the last strip anyway.
    """
    return sum(len(pattern.placements) for pattern, _ in plan) > _MAX_PIECES


def objective(task: Task, plan: Plan) -> tuple[int, int, int]:
    """Return how good a plan is, smaller first: area not made, cost, sheets."""
    unmet_area = sum(item.area * item.demand for item in task.item_types)
    cost = sheets = 0
    for pattern, copies in plan:
        unmet_area -= copies * sum(
            task.item_types[placement.item_type].area for placement in pattern.placements
        )
        cost += copies * task.bin_types[pattern.bin_type].price
        sheets += copies
    return unmet_area, cost, sheets


def trim_overproduction(task: Task, plan: Plan) -> Plan:
    """Take off the sheets what is made more often than wanted, and sheets that end up empty."""
    remaining = list(task.demand)
    kept: dict[Pattern, int] = {}
    # Fullest sheets first, so that the gaps gather on few sheets and leave large offcuts there.
    areas = [item.area for item in task.item_types]
    for pattern, copies in sorted(
        plan, key=lambda use: -sum(areas[placement.item_type] for placement in use[0].placements)
    ):
        counts = item_counts(pattern.placements)
        whole = min(copies, *(remaining[item] // number for item, number in counts.items()))
        if whole:
            kept[pattern] = kept.get(pattern, 0) + whole
            for item, number in counts.items():
                remaining[item] -= whole * number
        for _ in range(copies - whole):
            placements = []
            for placement in pattern.placements:
                if remaining[placement.item_type]:
                    remaining[placement.item_type] -= 1
                    placements.append(placement)
            if not placements:
                break
            partial = Pattern(pattern.bin_type, tuple(placements))
            kept[partial] = kept.get(partial, 0) + 1
    return tuple(kept.items())
