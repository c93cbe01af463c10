"""Batches as lists for people and programs."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from inventory.changes.paper_changes import outdated_papers
from inventory.core.durations import format_minutes
from inventory.core.money import format_money
from inventory.core.text import format_count, number_ranges
from inventory.database.tables.enums import BatchStatus
from inventory.documents.text.counts import tally
from inventory.documents.text.times import local_time
from inventory.production.pace import shop_pace
from inventory.production.progress import RemainingCopies, list_batches, list_remaining
from inventory.production.spoiling import spoiled_pieces
from inventory.stock.lookup import get_batch, plan_of
from inventory.views.listing import Column, Listing
from inventory.views.production.plan import plan_as_json
from nester.core.errors import Hint
from nester.core.lengths import format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.tables.orders import Batch
    from inventory.production.cutting import PutAway
    from nester.core.lengths import Unit
    from nester.cutting import Pace

__all__ = [
    "BatchView",
    "batch_as_json",
    "batch_list",
    "batch_view",
    "cutting_words",
    "kept_listing",
]

BatchRow = tuple["Batch", "Plan"]

_BATCHES: Listing[BatchRow] = Listing(
    title="Batches",
    columns=(
        Column("Batch", "number", lambda row: row[0].id, right=True),
        Column(
            "Planned",
            "made_at",
            lambda row: row[0].made_at.isoformat(timespec="seconds"),
            lambda row: local_time(row[0].made_at),
        ),
        Column("Status", "status", lambda row: str(row[0].status)),
        Column("Cuts", "cuts", lambda row: str(row[0].cuts)),
        Column(
            "Orders",
            "orders",
            lambda row: _orders(row[1]),
            lambda row: ", ".join(map(str, _orders(row[1]))),
        ),
        Column(
            "Layouts",
            "layouts",
            lambda row: len(row[1].layouts),
            lambda row: str(len(row[1].layouts)),
            right=True,
        ),
        Column(
            "Paper",
            "cost",
            lambda row: str(row[1].cost),
            lambda row: format_money(row[1].cost, row[1].currency),
            right=True,
        ),
    ),
    empty="No batches.",
    hint=Hint("plan one", "batch plan"),
)


def _orders(plan: Plan) -> list[int]:
    return [order.number for order in plan.orders if order.made]


def batch_list(session: Session) -> tuple[Listing[BatchRow], list[BatchRow]]:
    """Return all batches with their plans, the newest first."""
    return _BATCHES, [(batch, plan_of(batch)) for batch in list_batches(session)]


@dataclass(frozen=True)
class BatchView:
    """A batch, its plan, and how far it is.

    Attributes
    ----------
    remaining
        What is left to cut.
    missing
        Spoiled pieces that are not planned again, by order and name.
    pace
        At which the shop cuts.
    outdated
        Sentences on papers that were corrected since it was planned; none once it is cut.
    """

    batch: Batch
    plan: Plan
    remaining: list[RemainingCopies]
    missing: Counter[tuple[int, str]]
    pace: Pace
    outdated: list[str]

    @property
    def is_open(self) -> bool:
        """Whether something of it may be left to cut."""
        return self.batch.status == "open"

    @property
    def missing_words(self) -> list[str]:
        """A sentence for each kind of piece that is missing."""
        return [
            f"Order {order} is missing {quantity} × {piece}, spoiled"
            for (order, piece), quantity in sorted(self.missing.items())
        ]

    @property
    def remaining_listing(self) -> Listing[RemainingCopies]:
        """Describes what is left to cut."""
        plan = self.plan
        return Listing(
            title="Left to cut",
            columns=(
                Column("Layout", cell=lambda row: str(row.layout.number), right=True),
                Column("Copies", cell=lambda row: str(len(row.copies)), right=True),
                Column("From", cell=lambda row: row.layout.sheet.label),
                Column(
                    "Pieces",
                    cell=lambda row: tally(
                        plan.part_of(spot).piece.name for spot in row.layout.spots
                    ),
                ),
            ),
            empty="Nothing is left to cut.",
        )


def cutting_words(
    plan: Plan, pace: Pace, remaining: Sequence[RemainingCopies] | None = None
) -> list[str]:
    """Say which layouts, in their order, finish which orders; of a batch split by days, each day.

    Parameters
    ----------
    remaining
        What is left to cut; all of the plan, unless given.
    """
    if remaining is None:
        remaining = [RemainingCopies(layout, layout.needed) for layout in plan.layouts]
    last: dict[int, RemainingCopies] = {}
    for row in remaining:
        for spot in row.layout.spots:
            for copy in row.copies:
                last[spot.orders[copy - 1]] = row
    orders = [order for order in plan.orders if order.number in last]
    orders.sort(key=lambda order: (last[order.number].layout.number, order.number))
    days: dict[int, list[RemainingCopies]] = defaultdict(list)
    for row in remaining:
        days[row.layout.day].append(row)
    if not any(days):
        return [
            f"Layout {last[order.number].layout.number} finishes order {order.number} for"
            f" {order.customer}, due {order.due.isoformat()}"
            for order in orders
        ]
    words = []
    for day, rows in sorted(days.items()):
        minutes = sum(
            pace.minutes(plan.as_layout(replace(row.layout, copies=len(row.copies)))[0],
                         plan.trimmer)
            for row in rows
        )  # fmt: skip
        numbers = [row.layout.number for row in rows]
        finished = [order for order in plan.orders if order in orders]
        finished = [order for order in finished if last[order.number].layout.day == day]
        names = ", ".join(f"{one.number} ({one.customer}, due {one.due})" for one in finished)
        what = "order" if len(finished) == 1 else "orders"
        words.append(
            f"Day {day}: {'layout' if len(numbers) == 1 else 'layouts'} {number_ranges(numbers)},"
            f" {format_count(sum(len(row.copies) for row in rows), 'sheet')},"
            f" about {format_minutes(int(minutes) + 1)};"
            f" finishes {f'{what} {names}' if finished else 'no order'}"
        )
    return words


def batch_view(session: Session, number: int) -> BatchView:
    """Return a batch as it is shown.

    Raises
    ------
    Refusal
        If there is no such batch.
    """
    batch = get_batch(session, number)
    plan = plan_of(batch)
    missing: Counter[tuple[int, str]] = Counter()
    for lost in spoiled_pieces(session, batch=number):
        missing[lost.order_id, plan.parts[lost.part].piece.name] += lost.quantity
    remaining = list_remaining(session, batch, plan)
    waits = batch.status in (BatchStatus.DRAFT, BatchStatus.OPEN)
    outdated = list(outdated_papers(session, batch).values()) if waits else []
    return BatchView(batch, plan, remaining, missing, shop_pace(session), outdated)


def batch_as_json(view: BatchView) -> dict[str, Any]:
    """Return a batch as plain data: its plan, and how far it is."""
    return {
        **plan_as_json(view.plan.current()),
        "status": str(view.batch.status),
        "mends": view.batch.mends_id,
        "outdated": view.outdated,
        "left": [
            {"layout": row.layout.number, "copies": len(row.copies)} for row in view.remaining
        ],
        "missing": [
            {"order": order, "piece": piece, "quantity": quantity}
            for (order, piece), quantity in sorted(view.missing.items())
        ],
    }


def _put_away_words(row: PutAway) -> str:
    if row.piece:
        return f"{row.quantity} × {row.piece}"
    return "offcut" if row.quantity == 1 else f"{row.quantity} offcuts"


def kept_listing(unit: Unit) -> Listing[PutAway]:
    """Describe the offcuts and spare pieces that cutting brought into the stash."""
    return Listing(
        title="These labels belong on the offcuts and spare pieces",
        columns=(
            Column("Label", "label", lambda row: row.label),
            Column("What", cell=_put_away_words),
            Column("Layout", "layout", lambda row: row.layout, right=True),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(key="piece", value=lambda row: row.piece or None),
            Column(key="quantity", value=lambda row: row.quantity),
        ),
        empty="No offcut is kept.",
    )
