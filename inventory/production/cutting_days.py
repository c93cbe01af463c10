"""Splitting a plan into days of cutting, so that the most urgent orders are finished first.

The layouts stay as they are, so a split costs no paper.  What is free is the sequence in which
copies are cut, and which of equal pieces is whose.  Both follow the due dates: the next order is
one that is due first, of these the one that takes least cutting, and its copies are chosen
greedily (pieces that it still lacks for each minute), without those that turn out not to be needed.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.core.plan import NOBODY
from nester.cutting import cutting_minutes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from inventory.core.plan import Plan, PlannedLayout

__all__ = ["spread_over_days"]

_CONSIDERED = 30
"""How many orders that are due on one day are compared when the next one is chosen."""


@dataclass(frozen=True)
class _Sheet:
    """A copy of a layout: its index, the parts on it, the minutes that it takes."""

    layout: int
    parts: Counter[int]
    minutes: Fraction


def spread_over_days(plan: Plan, days: int) -> Plan:
    """Return a plan whose layouts say on which day they are cut, and are numbered in that order.

    Each day takes about as long.  A layout whose copies fall on two days is listed on each.  Of a
    plan with fewer sheets than days, there are as many days as sheets.

    Parameters
    ----------
    days
        At least 1; one day leaves the plan as it is.
    """
    sheets = sum(layout.copies for layout in plan.layouts)
    days = min(days, sheets)
    if days < 2:
        return plan
    kinds = [_sheet(plan, index) for index in range(len(plan.layouts))]
    sequence = list(_sequence(plan, kinds))
    by_day = _by_day([kinds[index].minutes for index in sequence], days)
    split: list[Counter[int]] = [Counter() for _ in range(days)]
    for index, day in zip(sequence, by_day, strict=True):
        split[day][index] += 1
    layouts = [
        replace(plan.layouts[index], number=number, copies=copies, day=day)
        for number, (day, index, copies) in enumerate(
            (
                (day, index, copies)
                for day, chosen in enumerate(split, 1)
                for index, copies in sorted(chosen.items())
            ),
            1,
        )
    ]
    return replace(plan, layouts=tuple(_assigned(plan, layouts, _finishing_order(plan, kinds))))


def _sheet(plan: Plan, index: int) -> _Sheet:
    planned = plan.layouts[index]
    layout, _ = plan.as_layout(planned)
    minutes = cutting_minutes(replace(layout, copies=1), trimmer=plan.trimmer)
    return _Sheet(index, Counter(spot.part for spot in planned.spots), minutes)


def _demands(plan: Plan) -> dict[int, Counter[int]]:
    """Count what each order, and nobody, gets of each part."""
    demands: dict[int, Counter[int]] = defaultdict(Counter)
    for layout in plan.layouts:
        for spot in layout.spots:
            for order in spot.orders:
                demands[order][spot.part] += 1
    return demands


def _in_sequence(plan: Plan, kinds: Sequence[_Sheet]) -> Iterator[tuple[int, list[int]]]:
    """Yield the orders in the sequence of their finishing, each with the layouts cut for it."""
    demands = _demands(plan)
    left = Counter({index: layout.copies for index, layout in enumerate(plan.layouts)})
    pool: Counter[int] = Counter()
    waiting = [order for order in plan.orders if order.number in demands]
    waiting.sort(key=lambda order: order.due)
    while waiting:
        next_ones = [order for order in waiting if order.due == waiting[0].due][:_CONSIDERED]
        covers = [(_cover(demands[one.number] - pool, left, kinds), one) for one in next_ones]
        chosen, order = min(covers, key=lambda pair: sum(kinds[index].minutes for index in pair[0]))
        for index in chosen:
            left[index] -= 1
            pool += kinds[index].parts
        pool -= demands[order.number]
        waiting.remove(order)
        yield order.number, chosen
    yield NOBODY, list((+left).elements())


def _sequence(plan: Plan, kinds: Sequence[_Sheet]) -> Iterator[int]:
    for _, chosen in _in_sequence(plan, kinds):
        yield from chosen


def _finishing_order(plan: Plan, kinds: Sequence[_Sheet]) -> list[int]:
    return [order for order, _ in _in_sequence(plan, kinds)]


def _cover(need: Counter[int], left: Counter[int], kinds: Sequence[_Sheet]) -> list[int]:
    """Choose copies that hold what is needed."""
    chosen: list[int] = []
    lacking, free = need.copy(), left.copy()
    while lacking:
        useful = {
            index: sum((lacking & kinds[index].parts).values())
            for index, copies in free.items()
            if copies > 0
        }
        # A sheet that is a piece as it is takes no time.
        best = max(useful, key=lambda index: useful[index] / (kinds[index].minutes + 1))
        chosen.append(best)
        free[best] -= 1
        lacking -= kinds[best].parts
    there: Counter[int] = Counter()
    for index in chosen:
        there += kinds[index].parts
    for index in sorted(chosen, key=lambda one: -kinds[one].minutes):
        without = there - kinds[index].parts
        if not need - without:
            chosen.remove(index)
            there = without
    return chosen


def _by_day(minutes: Sequence[Fraction], days: int) -> list[int]:
    """Return the day of each sheet, from 0, so that each takes as long and none has no sheet."""
    total, until = sum(minutes, Fraction(0)), Fraction(0)
    found: list[int] = []
    for position, one in enumerate(minutes):
        middle = until + one / 2
        until += one
        day = int(middle * days / total) if total else position * days // len(minutes)
        earliest = max(0, days - (len(minutes) - position))
        latest = 0 if not found else found[-1] + 1
        found.append(min(max(day, earliest, found[-1] if found else 0), latest, days - 1))
    return found


def _assigned(
    plan: Plan, layouts: Sequence[PlannedLayout], orders: Sequence[int]
) -> Iterator[PlannedLayout]:
    """Give equal pieces to orders in the sequence in which these are to be finished."""
    demands = _demands(plan)
    queues: dict[int, deque[int]] = defaultdict(deque)
    for order in orders:
        for part, quantity in demands[order].items():
            queues[part].extend([order] * quantity)
    for layout in layouts:
        owners: list[list[int]] = [[] for _ in layout.spots]
        for _ in range(layout.copies):
            for spot, those in zip(layout.spots, owners, strict=True):
                those.append(queues[spot.part].popleft())
        yield replace(
            layout,
            spots=tuple(
                replace(spot, orders=tuple(those))
                for spot, those in zip(layout.spots, owners, strict=True)
            ),
        )
