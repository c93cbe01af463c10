"""A plan split by days keeps its layouts, and finishes the most urgent orders first."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.core.plan import (
    NOBODY,
    PartType,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    plan_faults,
)
from inventory.production.cutting_days import spread_over_days
from nester.core.lengths import Unit, cm
from nester.core.piece import Piece
from nester.core.problem import Cut, Cuts, Effort, Rect

TODAY = date(2027, 3, 1)
SIDE = cm(5)
MOST_PIECES = 4


def square(name: str) -> Piece:
    return Piece.rectangle(name, "mat", SIDE, SIDE)


def down(at: int, width: int) -> Cut:
    return Cut(Rect(at - SIDE, 0, width - at + SIDE, SIDE), True, at, 0, SIDE)


@st.composite
def plans(draw: st.DrawFn, least: int = 1) -> Plan:
    """Draw a plan of sheets with a row of squares, for orders that are due on some days."""
    parts = [PartType("Card", square(f"mat {number}")) for number in range(draw(st.integers(1, 4)))]
    due = draw(st.lists(st.integers(0, 3), min_size=1, max_size=6))
    owners = st.sampled_from([NOBODY, *range(1, len(due) + 1)])
    layouts = []
    for number in range(1, draw(st.integers(1, 6)) + 1):
        copies = draw(st.integers(1, 4))
        held = draw(st.lists(st.integers(0, len(parts) - 1), min_size=least, max_size=MOST_PIECES))
        spots = tuple(
            PlannedPlacement(
                part, position * SIDE, 0, SIDE, SIDE, False,
                tuple(draw(st.lists(owners, min_size=copies, max_size=copies))),
            )
            for position, part in enumerate(held)
        )  # fmt: skip
        sheet = PlannedSheet(
            f"S-{number}", "sheet", "Card", None, MOST_PIECES * SIDE, SIDE, None, Decimal(1)
        )
        cuts = tuple(down(SIDE * one, MOST_PIECES * SIDE) for one in range(1, len(held)))
        layouts.append(PlannedLayout(number, sheet, copies, spots, cuts, ()))
    orders = tuple(
        PlannedOrder(number, "Ines", "folded-card", 1, TODAY + timedelta(days=days), True)
        for number, days in sorted(enumerate(due, 1), key=lambda pair: pair[1])
    )
    return Plan(
        1, TODAY, "Hazelmoth", Unit.CM, "EUR", Cuts.STRAIGHT, Effort.QUICK, orders, tuple(parts),
        tuple(layouts), (), (), Decimal(1), Decimal(1),
    )  # fmt: skip


def pieces(plan: Plan) -> Counter[tuple[int, int]]:
    return Counter(
        (spot.part, order)
        for layout in plan.layouts
        for spot in layout.spots
        for order in spot.orders
    )


def sheets(plan: Plan) -> Counter[tuple]:
    found: Counter[tuple] = Counter()
    for layout in plan.layouts:
        places = tuple((spot.part, spot.x, spot.y) for spot in layout.spots)
        found[layout.sheet.label, places, layout.cuts, layout.offcuts] += layout.copies
    return found


def days_of(plan: Plan) -> dict[int, int]:
    """Return on which day each order is finished."""
    return {
        order: max(
            layout.day
            for layout in plan.layouts
            if any(order in spot.orders for spot in layout.spots)
        )
        for _, order in pieces(plan)
    }


@given(plans(), st.integers(2, 4))
@settings(max_examples=300, deadline=None)
def test_a_split_loses_nothing(plan: Plan, days: int) -> None:
    split = spread_over_days(plan, days)
    assert not list(plan_faults(split))
    assert pieces(split) == pieces(plan)
    assert sheets(split) == sheets(plan)
    count = min(days, sum(layout.copies for layout in plan.layouts))
    assert [layout.number for layout in split.layouts] == list(range(1, len(split.layouts) + 1))
    numbers = [layout.day for layout in split.layouts]
    assert numbers == sorted(numbers)
    assert set(numbers) == (set(range(1, count + 1)) if count > 1 else {0})


@given(plans(least=MOST_PIECES))
@settings(max_examples=300, deadline=None)
def test_what_is_most_urgent_is_finished_first(plan: Plan) -> None:
    """Where every sheet takes as long: what one sheet can finish is finished on the first day."""
    split = spread_over_days(plan, sum(layout.copies for layout in plan.layouts))
    finished = days_of(split)
    urgent = [order for order in plan.orders if order.number in finished]
    if not urgent or not any(layout.day for layout in split.layouts):
        return
    first_due = min(order.due for order in urgent)
    needs = {
        order.number: Counter(
            {part: count for (part, owner), count in pieces(plan).items() if owner == order.number}
        )
        for order in urgent
        if order.due == first_due
    }
    alone = [
        number
        for number, need in needs.items()
        if any(not need - Counter(s.part for s in layout.spots) for layout in plan.layouts)
    ]
    if alone:
        assert min(finished[number] for number in needs) == 1


def test_each_day_takes_about_as_long() -> None:
    part = PartType("Card", square("mat"))
    sheet = PlannedSheet("S-1", "sheet", "Card", None, 2 * SIDE, SIDE, None, Decimal(1))
    spots = tuple(
        PlannedPlacement(0, x, 0, SIDE, SIDE, False, (1, 1, 2, 2, 3, 3)) for x in (0, SIDE)
    )
    layout = PlannedLayout(1, sheet, 6, spots, (down(SIDE, 2 * SIDE),), ())
    due = {1: 5, 2: 1, 3: 3}
    orders = tuple(
        PlannedOrder(n, "Ines", "folded-card", 4, TODAY + timedelta(days=due[n]), True)
        for n in sorted(due, key=due.__getitem__)
    )
    plan = Plan(
        1, TODAY, "Hazelmoth", Unit.CM, "EUR", Cuts.STRAIGHT, Effort.QUICK, orders, (part,),
        (layout,), (), (), Decimal(1), Decimal(1),
    )  # fmt: skip
    split = spread_over_days(plan, 3)
    assert [(one.day, one.copies) for one in split.layouts] == [(1, 2), (2, 2), (3, 2)]
    assert days_of(split) == {2: 1, 3: 2, 1: 3}
