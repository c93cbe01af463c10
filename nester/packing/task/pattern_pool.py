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
        shapes = self._task.item_types
        made = sum(shapes[shape].area * n for shape, n in counts.items())
        waste = self._task.bin_types[pattern.bin_type].area - made
        self._entries[key] = _Entry(pattern, counts, waste)
        return True

    def added_since(self, number: int) -> Iterator[tuple[Pattern, dict[int, int]]]:
        """Yield the patterns that came after the first `number`, and what they make."""
        for entry in list(islice(self._entries.values(), number, None)):
            yield entry.pattern, entry.counts

    def add_plan(self, uses: Plan) -> None:
        """Keep every pattern of a plan."""
        for pattern, _ in uses:
            self.add(pattern)

    def __len__(self) -> int:
        return len(self._entries)

    def least_waste(self, most: int, always: Plan) -> Iterator[tuple[Pattern, dict[int, int]]]:
        """Yield at most `most` patterns, least waste for their kind first, and all of `always`."""
        kinds = self._task.bin_types
        by_kind: dict[int, list[_Entry]] = {}
        for entry in self._entries.values():
            by_kind.setdefault(entry.pattern.bin_type, []).append(entry)
        share = max(1, most // max(1, len(by_kind)))
        seen = set()
        for kind, entries in by_kind.items():
            # Stable sort: ties stay in the order found, so that equal input gives equal plans.
            entries.sort(key=lambda entry: entry.waste * 1024 // kinds[kind].area)
            for entry in entries[:share]:
                seen.add((kind, frozenset(entry.counts.items())))
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


def merge_plans(some: Plan, others: Plan) -> Plan:
    """Return two plans as one."""
    copies: dict[Pattern, int] = {}
    for pattern, number in (*some, *others):
        copies[pattern] = copies.get(pattern, 0) + number
    return tuple(copies.items())


def has_too_many_pieces(uses: Plan) -> bool:
    """Whether layouts hold so many pieces that to work them over would take for ever.

    So many pieces on a sheet fill it to the last strip anyway.
    """
    return sum(len(pattern.placements) for pattern, _ in uses) > _MAX_PIECES


def objective(task: Task, uses: Plan) -> tuple[int, int, int]:
    """Return how good a plan is, smaller first: area not made, cost, sheets."""
    unmade = sum(shape.area * shape.demand for shape in task.item_types)
    cost = sheets = 0
    for pattern, copies in uses:
        unmade -= copies * sum(task.item_types[spot.item_type].area for spot in pattern.placements)
        cost += copies * task.bin_types[pattern.bin_type].price
        sheets += copies
    return unmade, cost, sheets


def trim_overproduction(task: Task, uses: Plan) -> Plan:
    """Take off the sheets what is made more often than wanted, and sheets that end up empty."""
    left = list(task.demand)
    kept: dict[Pattern, int] = {}
    # Fullest sheets first, so that the gaps gather on few sheets and leave large offcuts there.
    areas = [shape.area for shape in task.item_types]
    for pattern, copies in sorted(
        uses, key=lambda use: -sum(areas[spot.item_type] for spot in use[0].placements)
    ):
        counts = item_counts(pattern.placements)
        whole = min(copies, *(left[shape] // number for shape, number in counts.items()))
        if whole:
            kept[pattern] = kept.get(pattern, 0) + whole
            for shape, number in counts.items():
                left[shape] -= whole * number
        for _ in range(copies - whole):
            spots = []
            for spot in pattern.placements:
                if left[spot.item_type]:
                    left[spot.item_type] -= 1
                    spots.append(spot)
            if not spots:
                break
            partial = Pattern(pattern.bin_type, tuple(spots))
            kept[partial] = kept.get(partial, 0) + 1
    return tuple(kept.items())
