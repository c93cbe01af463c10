"""What became of the paper: every movement of a paper, and yield and waste month by month."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from sqlalchemy import or_, select

from inventory.core.plan import Plan, plan_from_json
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import DamagedArea, Movement, Transaction
from inventory.database.tables.orders import Batch
from inventory.database.tables.production import SpoiledPieces
from inventory.database.tables.stock import Paper, Stock
from inventory.stock.condition import damaged_areas_by_stock
from inventory.stock.ledger import reversed_movements, reversed_transactions
from inventory.stock.listing import HistoryRow, history_rows
from inventory.stock.papers import find_paper

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.orm import Session

    from nester.core.problem import Rect

__all__ = [
    "PlanCache",
    "YieldRow",
    "damage_events",
    "damaged_area_by_stock",
    "month_of",
    "paper_history",
    "paper_yields",
    "union_area",
]


_RowOf = Callable[["datetime", str], "YieldRow"]


def paper_history(session: Session, paper: str) -> list[HistoryRow]:
    """Return every movement of a paper's sheets and offcuts, the first one first.

    Raises
    ------
    Refusal
        If there is no such paper.
    """
    return history_rows(session, Stock.paper_id == find_paper(session, paper).id)


@dataclass
class YieldRow:
    """What became of one paper in one month; areas are in square fine units.

    Attributes
    ----------
    month
        ``2027-03``, by the clock of this machine.
    cut
        Of the sheets and offcuts that were cut, without their damaged areas.
    pieces
        Of the pieces cut from them, within their outlines, without those spoiled later.
    kept
        Of the offcuts that were put away.
    spoiled
        Of sheets, offcuts and pieces that were spoiled, and of damaged areas.
    spoiled_pieces
        Of the pieces among them, which had been cut before.
    """

    month: str
    paper: str
    cut: int = 0
    pieces: int = 0
    kept: int = 0
    spoiled: int = 0
    spoiled_pieces: int = 0

    @property
    def waste(self) -> int:
        """What was cut and is neither a piece nor kept nor booked as spoiled: trimmings."""
        return self.cut - self.pieces - self.kept - self.spoiled_pieces

    @property
    def yield_rate(self) -> Fraction | None:
        """Which share of what was used up became pieces; None if nothing was used up.

        Kept offcuts are not used up; what was spoiled is.
        """
        used = self.cut - self.kept + self.spoiled - self.spoiled_pieces
        return Fraction(self.pieces, used) if used > 0 else None


def paper_yields(session: Session) -> list[YieldRow]:
    """Return what became of each paper in each month, the newest month first.

    What was undone is not in it.
    """
    rows: dict[tuple[str, str], YieldRow] = {}

    def row(at: datetime, paper: str) -> YieldRow:
        month = month_of(at)
        return rows.setdefault((month, paper), YieldRow(month, paper))

    plans = PlanCache(session)
    _add_movements(session, row, plans)
    _subtract_spoiled_pieces(session, row, plans)
    for at, paper, area in damage_events(session):
        row(at, paper).spoiled += area
    return sorted(
        rows.values(), key=lambda each: (-int(each.month.replace("-", "")), each.paper.casefold())
    )


def month_of(at: datetime) -> str:
    """Return the month of a moment by the clock of this machine: ``2027-03``."""
    return at.astimezone().strftime("%Y-%m")


class PlanCache:
    """The plans of batches, each read once."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._known: dict[int, Plan] = {}

    def __getitem__(self, batch: int) -> Plan:
        if batch not in self._known:
            self._known[batch] = plan_from_json(self._session.get_one(Batch, batch).plan)
        return self._known[batch]

    def piece_area(self, batch: int, layout: int, copies: int) -> int:
        """Return the area of the pieces on some copies of a layout."""
        plan = self[batch]
        spots = plan.layout(layout).spots
        return copies * sum(plan.part_of(spot).piece.area for spot in spots)


def _add_movements(session: Session, row: _RowOf, plans: PlanCache) -> None:
    """Add what was cut, what of it became pieces, what was kept and what was spoiled."""
    lines = session.execute(
        select(Movement, Stock.label, Stock.width, Stock.height, Paper.name, Transaction.layout)
        .join(Stock, Movement.stock_id == Stock.id)
        .join(Paper, Stock.paper_id == Paper.id)
        .outerjoin(Transaction, Movement.transaction_id == Transaction.id)
        .where(
            Movement.reason.in_([Reason.CUT, Reason.KEPT, Reason.SPOILED]),
            # An offcut put away by hand, and a sheet booked as cut by hand, are of no batch.
            or_(Movement.reason == Reason.SPOILED, Movement.batch_id.is_not(None)),
            Movement.id.not_in(reversed_movements()),
        )
        .order_by(Movement.id)
    )
    # Batches cut before each layout was booked by itself were cut whole: their movements of a
    # label stand in the order of its layouts.
    older: dict[tuple[int, str], list[int]] = defaultdict(list)
    damaged = damaged_area_by_stock(session)
    for move, label, width, height, paper, layout in lines:
        area = abs(move.change) * (width * height - damaged.get(move.stock_id, 0))
        month = row(move.at, paper)
        if move.reason is Reason.SPOILED:
            month.spoiled += area
        elif move.reason is Reason.KEPT:
            month.kept += area
        elif move.batch_id is not None:
            month.cut += area
            number = layout
            if number is None:
                key = move.batch_id, label
                if key not in older:
                    older[key] = [
                        planned.number
                        for planned in plans[move.batch_id].layouts
                        if planned.sheet.label == label
                    ]
                number = older[key].pop(0)
            month.pieces += plans.piece_area(move.batch_id, number, -move.change)


def damage_events(session: Session) -> Iterator[tuple[datetime, str, int]]:
    """Yield when how much of a paper was damaged, each part of it once: moment, paper, area."""
    lines = session.execute(
        select(DamagedArea, Transaction.at, Transaction.reason, Paper.name)
        .join(Transaction, DamagedArea.transaction_id == Transaction.id)
        .join(Stock, DamagedArea.stock_id == Stock.id)
        .join(Paper, Stock.paper_id == Paper.id)
        .where(DamagedArea.transaction_id.not_in(reversed_transactions()))
        .order_by(DamagedArea.id)
    )
    before: dict[int, list[Rect]] = defaultdict(list)
    for damage, at, reason, paper in lines:
        rects = before[damage.stock_id]
        known = union_area(rects)
        rects.append(damage.rect)
        if reason is Reason.DAMAGED:  # else it came with the sheet from another label
            yield at, paper, union_area(rects) - known


def damaged_area_by_stock(session: Session) -> dict[int, int]:
    """Return how much of each sheet or offcut is damaged, by `Stock.id`."""
    return {stock: union_area(rects) for stock, rects in damaged_areas_by_stock(session).items()}


def union_area(rects: Iterable[Rect]) -> int:
    """Return the area that rectangles cover together, column by column between their edges."""
    rects = list(rects)
    edges = sorted({x for rect in rects for x in (rect.x, rect.right)})
    area = 0
    for left, right in pairwise(edges):
        spans = sorted((r.y, r.bottom) for r in rects if r.x <= left and r.right >= right)
        reached = 0
        for top, bottom in spans:
            area += (right - left) * max(0, bottom - max(top, reached))
            reached = max(reached, bottom)
    return area


def _subtract_spoiled_pieces(session: Session, row: _RowOf, plans: PlanCache) -> None:
    """Count pieces that were spoiled after they had been cut as spoiled, not as pieces."""
    lines = session.execute(
        select(SpoiledPieces, Transaction.at)
        .join(Transaction, SpoiledPieces.transaction_id == Transaction.id)
        .where(Transaction.id.not_in(reversed_transactions()), Transaction.layout.is_(None))
    )
    for spoiled, at in lines:
        part = plans[spoiled.batch_id].parts[spoiled.part]
        area = spoiled.quantity * part.piece.area
        month = row(at, part.paper)
        month.pieces -= area
        month.spoiled += area
        month.spoiled_pieces += area
