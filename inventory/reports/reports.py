"""Looking back: use, yield, waste, spoilage and spending by paper, design and month; dead stock.

Areas are shared out among designs exactly: what is cut of a sheet, its waste and the offcuts kept
included, belongs to the designs whose pieces are on it, in proportion to the area of these pieces.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.advice.capacity import DesignRequest, problem_from_stash
from inventory.core.plan import NOBODY
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Delivery, Movement, Transaction
from inventory.database.tables.orders import Order
from inventory.database.tables.production import SpoiledPieces
from inventory.database.tables.stock import Paper, Stock
from inventory.reports.kinds import ReportGrouping
from inventory.reports.paper_history import (
    PlanCache,
    damage_events,
    damaged_area_by_stock,
    month_of,
    paper_yields,
)
from inventory.stock.ledger import reversed_movements, reversed_transactions
from inventory.stock.listing import list_stash
from inventory.stock.reservations import available_rows
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan, PlannedLayout
    from inventory.stock.listing import StashRow
    from nester.core.problem import Problem

__all__ = [
    "ALL_MONTHS",
    "NO_DESIGN",
    "DeadStock",
    "MonthRange",
    "SpendingRow",
    "UseRow",
    "dead_stock",
    "paper_use",
    "read_months",
    "spending",
]  # fmt: skip

NO_DESIGN = "(for no order)"
"""Paper that was spoiled in the stash."""
NO_SUPPLIER = "(no supplier named)"
_MOST_DAYS = 36_500
"""A hundred years: nobody keeps paper longer."""


class MonthRange(NamedTuple):
    """The first and the last month that count, as ``2027-03``; None: no limit on that side."""

    first: str | None = None
    last: str | None = None

    def includes(self, month: str) -> bool:
        """Tell whether a month counts."""
        return (self.first is None or self.first <= month) and (
            self.last is None or month <= self.last
        )


ALL_MONTHS = MonthRange()


def read_months(first: str | None, last: str | None) -> MonthRange:
    """Read the months of a report.

    Raises
    ------
    Refusal
        If a text is no month, or the last comes before the first.
    """
    for text, option in ((first, "--from"), (last, "--to")):
        if text is not None and not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", text):
            raise Refusal(f"{option}: '{text[:20]}' is not a month; write it like 2027-03")
    if first is not None and last is not None and first > last:
        raise Refusal(f"the months run from {first} to {last}, which is backwards")
    return MonthRange(first, last)


# --- use and yield -------------------------------------------------------------------------------


@dataclass
class UseRow:
    """What became of paper; areas are in square fine units.

    Attributes
    ----------
    name
        A paper, a design or a month.
    cut, pieces, kept, spoiled, spoiled_pieces
        As of `inventory.reports.paper_history.YieldRow`.
    """

    name: str
    cut: Fraction = Fraction(0)
    pieces: Fraction = Fraction(0)
    kept: Fraction = Fraction(0)
    spoiled: Fraction = Fraction(0)
    spoiled_pieces: Fraction = Fraction(0)

    @property
    def waste(self) -> Fraction:
        """What was cut and is neither a piece nor kept nor booked as spoiled: trimmings."""
        return self.cut - self.pieces - self.kept - self.spoiled_pieces

    @property
    def used(self) -> Fraction:
        """What was used up: kept offcuts are not, what was spoiled is."""
        return self.cut - self.kept + self.spoiled - self.spoiled_pieces

    @property
    def yield_rate(self) -> Fraction | None:
        """Which share of what was used up became pieces; None if nothing was used up."""
        return self.pieces / self.used if self.used > 0 else None


def paper_use(
    session: Session, by: ReportGrouping, months: MonthRange = ALL_MONTHS
) -> list[UseRow]:
    """Return what became of the paper, by paper, design or month.

    What was undone is not in it.

    Returns
    -------
    list of UseRow
        Months in their order; else what most was used of first.

    Raises
    ------
    Refusal
        If use is asked for by supplier.
    """
    if by is ReportGrouping.SUPPLIER:
        raise Refusal("use is shown by paper, design or month; only spending by supplier")
    if by is ReportGrouping.DESIGN:
        return sorted(_by_design(session, months), key=lambda row: (-row.used, row.name))
    rows: dict[str, UseRow] = {}
    for of_month in paper_yields(session):
        if not months.includes(of_month.month):
            continue
        name = of_month.paper if by is ReportGrouping.PAPER else of_month.month
        row = rows.setdefault(name, UseRow(name))
        row.cut += of_month.cut
        row.pieces += of_month.pieces
        row.kept += of_month.kept
        row.spoiled += of_month.spoiled
        row.spoiled_pieces += of_month.spoiled_pieces
    if by is ReportGrouping.MONTH:
        return [rows[month] for month in sorted(rows)]
    return sorted(rows.values(), key=lambda row: (-row.used, row.name.casefold()))


class _UseEntry(NamedTuple):
    """Paper that left or entered the stash when it was cut, kept or spoiled.

    Attributes
    ----------
    area
        In square fine units.
    pieces
        The area of the pieces on it, or on the sheets it came from, by design.
    price
        Of that area, as the plan counted it, or of what was spoiled in the stash.
    """

    reason: Reason
    month: str
    area: int
    pieces: Mapping[str, int]
    price: Fraction | None


def _use_entries(session: Session) -> list[_UseEntry]:
    """Return what was cut, kept and spoiled, each with the designs it was for."""
    lines = session.execute(
        select(
            Movement,
            Stock.label,
            Stock.width,
            Stock.height,
            Stock.price,
            Transaction.layout,
            Transaction.copies,
        )
        .join(Stock, Movement.stock_id == Stock.id)
        .outerjoin(Transaction, Movement.transaction_id == Transaction.id)
        .where(
            Movement.reason.in_([Reason.CUT, Reason.KEPT, Reason.SPOILED]),
            (Movement.reason == Reason.SPOILED) | Movement.batch_id.is_not(None),
            Movement.id.not_in(reversed_movements()),
        )
        .order_by(Movement.id)
    )
    plans = PlanCache(session)
    damaged = damaged_area_by_stock(session)
    older: dict[tuple[int, str], list[PlannedLayout]] = {}
    entries = []
    for move, label, width, height, paid, number, copies in lines:
        area = abs(move.change) * (width * height - damaged.get(move.stock_id, 0))
        if move.batch_id is None:
            price = None if paid is None else Fraction(paid) * abs(move.change)
            entries.append(_UseEntry(move.reason, month_of(move.at), area, {}, price))
            continue
        plan = plans[move.batch_id]
        layout = None
        if number is not None:
            layout = plan.layout(number)
        elif move.reason is Reason.CUT:
            # Batches cut before each layout was booked by itself were cut whole, so that their
            # movements of a label stand in the order of its layouts.
            queue = older.setdefault(
                (move.batch_id, label),
                [planned for planned in plan.layouts if planned.sheet.label == label],
            )
            layout = queue.pop(0)
        shares = _designs_on(plan, plan.layouts if layout is None else [layout], copies)
        price = None
        if layout is not None:
            sheet = layout.sheet
            # An offcut has the part of its sheet's price that its area is of the sheet.
            area_share = Fraction(width * height, sheet.width * sheet.height)
            price = Fraction(sheet.price) * abs(move.change) * area_share
            if move.reason is Reason.KEPT:
                of_sheets, of_offcuts = plan.offcut_value_shares()
                price *= of_offcuts if sheet.kind == "offcut" else of_sheets
        entries.append(_UseEntry(move.reason, month_of(move.at), area, shares, price))
    return entries


def _designs_on(
    plan: Plan, layouts: Iterable[PlannedLayout], copies: Sequence[int] | None
) -> dict[str, int]:
    """Return the area of pieces by design on some copies of layouts; on all, unless given."""
    design = {order.number: order.design for order in plan.orders}
    design[NOBODY] = NO_DESIGN
    areas: dict[str, int] = defaultdict(int)
    for layout in layouts:
        for spot in layout.spots:
            area = plan.part_of(spot).piece.area
            for copy in copies or range(1, layout.copies + 1):
                areas[design[spot.orders[copy - 1]]] += area
    return dict(areas)


def _allocate(amount: Fraction, pieces: Mapping[str, int]) -> dict[str, Fraction]:
    """Share an amount out among designs by the area of their pieces."""
    whole = sum(pieces.values())
    if not whole:
        return {NO_DESIGN: amount}
    return {design: amount * area / whole for design, area in pieces.items()}


def _by_design(session: Session, months: MonthRange) -> list[UseRow]:
    rows: dict[str, UseRow] = {}

    def row(name: str) -> UseRow:
        return rows.setdefault(name, UseRow(name))

    for entry in _use_entries(session):
        if not months.includes(entry.month):
            continue
        for design, share in _allocate(Fraction(entry.area), entry.pieces).items():
            if entry.reason is Reason.CUT:
                row(design).cut += share
                row(design).pieces += entry.pieces[design]
            elif entry.reason is Reason.KEPT:
                row(design).kept += share
            else:
                row(design).spoiled += share
    for at, _, area in damage_events(session):
        if months.includes(month_of(at)):
            row(NO_DESIGN).spoiled += area
    plans = PlanCache(session)
    for spoiled, at, design in _spoiled_pieces(session):
        if months.includes(month_of(at)):
            piece = plans[spoiled.batch_id].parts[spoiled.part].piece
            spoiled_area = spoiled.quantity * piece.area
            row(design).pieces -= spoiled_area
            row(design).spoiled += spoiled_area
            row(design).spoiled_pieces += spoiled_area
    return list(rows.values())


def _spoiled_pieces(session: Session) -> list[tuple[SpoiledPieces, datetime, str]]:
    """Return pieces that were spoiled after they had been cut, when, and of which design."""
    lines = session.execute(
        select(SpoiledPieces, Transaction.at, Order.design)
        .join(Transaction, SpoiledPieces.transaction_id == Transaction.id)
        .join(Order, SpoiledPieces.order_id == Order.id)
        .where(Transaction.id.not_in(reversed_transactions()), Transaction.layout.is_(None))
        .order_by(SpoiledPieces.id)
    )
    return [(spoiled, at, design) for spoiled, at, design in lines]


# --- spending ------------------------------------------------------------------------------------


@dataclass
class SpendingRow:
    """Money spent on paper.

    Attributes
    ----------
    amount
        In the shop's currency, exact.
    unpriced
        Sheets, or movements, without a price: the amount leaves them out.
    """

    name: str
    amount: Fraction = Fraction(0)
    unpriced: int = 0


def spending(
    session: Session, by: ReportGrouping, months: MonthRange = ALL_MONTHS
) -> list[SpendingRow]:
    """Return what was spent on paper.

    By paper, month or supplier it is what was received, at the price of each sheet.  By design it
    is the paper that was cut or spoiled for it, less the offcuts kept, at the prices in the plans.

    Returns
    -------
    list of SpendingRow
        Months in their order; else what most was spent on first.
    """
    rows: dict[str, SpendingRow] = {}
    found = _of_designs(session) if by is ReportGrouping.DESIGN else _received(session, by)
    for month, name, amount, number in found:
        if months.includes(month):
            row = rows.setdefault(name, SpendingRow(name))
            if amount is None:
                row.unpriced += number
            else:
                row.amount += amount
    if by is ReportGrouping.MONTH:
        return [rows[month] for month in sorted(rows)]
    return sorted(rows.values(), key=lambda row: (-row.amount, row.name.casefold()))


_SpendingEntry = tuple[str, str, Fraction | None, int]
"""A month, the name of the row, the amount if a price is known, and for how many sheets."""


def _received(session: Session, by: ReportGrouping) -> Iterable[_SpendingEntry]:
    lines = session.execute(
        select(Movement.at, Movement.change, Stock.price, Paper.name, Delivery.supplier)
        .join(Stock, Movement.stock_id == Stock.id)
        .join(Paper, Stock.paper_id == Paper.id)
        .outerjoin(Transaction, Movement.transaction_id == Transaction.id)
        .outerjoin(Delivery, Transaction.delivery_id == Delivery.id)
        .where(Movement.reason == Reason.RECEIVED, Movement.id.not_in(reversed_movements()))
        .order_by(Movement.id)
    )
    name_of: Callable[[str, str, str | None], str] = {
        ReportGrouping.PAPER: lambda month, paper, supplier: paper,
        ReportGrouping.MONTH: lambda month, paper, supplier: month,
        ReportGrouping.SUPPLIER: lambda month, paper, supplier: supplier or NO_SUPPLIER,
    }[by]
    for at, change, price, paper, supplier in lines:
        month = month_of(at)
        amount = None if price is None else Fraction(price) * change
        yield month, name_of(month, paper, supplier), amount, change


def _of_designs(session: Session) -> Iterable[_SpendingEntry]:
    for entry in _use_entries(session):
        sign = -1 if entry.reason is Reason.KEPT else 1
        if entry.price is None:
            yield entry.month, NO_DESIGN, None, 1
            continue
        for design, amount in _allocate(entry.price, entry.pieces).items():
            yield entry.month, design, sign * amount, 1


# --- dead stock ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class DeadStock:
    """Paper that nobody has cut for a long time.

    Attributes
    ----------
    area
        On hand, in square fine units.
    labels
        Of its sheets and offcuts on hand.
    last_used
        The day it was last cut; None if it never was.
    in_stock_since
        The day the first of these came.
    problem
        Of making one of a design from what is not reserved (see
        `inventory.advice.capacity.max_copies`).
    """

    paper: str
    area: int
    labels: tuple[str, ...]
    last_used: date | None
    in_stock_since: date
    problem: Problem


def dead_stock(
    session: Session,
    today: date,
    days: int,
    request: DesignRequest,
) -> list[DeadStock]:
    """Return the papers on hand that came that long ago and were not cut since.

    Parameters
    ----------
    days
        How long.
    request
        The design to make of what lies unused, all of one paper.

    Returns
    -------
    list of DeadStock
        The largest area first.

    Raises
    ------
    Refusal
        If the design can't be made in these sizes, or the number of days makes no sense.
    """
    if not 1 <= days <= _MOST_DAYS:
        raise Refusal(f"--days must be 1 or more, up to {_MOST_DAYS}, not {days}")
    # Midnight at the end of that day, by the clock of this machine.
    limit = datetime.combine(today - timedelta(days=days - 1), time()).astimezone(UTC)
    lines = session.execute(
        select(Paper.name, func.max(Movement.at))
        .join(Stock, Movement.stock_id == Stock.id)
        .join(Paper, Stock.paper_id == Paper.id)
        .where(Movement.reason == Reason.CUT, Movement.id.not_in(reversed_movements()))
        .group_by(Paper.name)
    )
    last_cut: dict[str, datetime] = {name: at for name, at in lines if at is not None}
    rows = list_stash(session)
    labels = session.execute(
        select(Stock.label, func.min(Movement.at))
        .join(Movement, Movement.stock_id == Stock.id)
        .group_by(Stock.label)
    )
    came: dict[str, datetime] = {label: at for label, at in labels if at is not None}
    free = available_rows(session, list_stash(session))
    found = []
    for paper in dict.fromkeys(row.paper for row in rows):
        own_rows = _of_paper(rows, paper)
        since = min(came[row.label] for row in own_rows)
        last = last_cut.get(paper)
        if max(since, last or since) >= limit:
            continue
        found.append(
            DeadStock(
                paper,
                sum(row.width * row.height * row.quantity for row in own_rows),
                tuple(row.label for row in own_rows),
                None if last is None else last.astimezone().date(),
                since.astimezone().date(),
                problem_from_stash(session, request, {"all": paper}, _of_paper(free, paper)),
            )
        )
    return sorted(found, key=lambda stock: (-stock.area, stock.paper.casefold()))


def _of_paper(rows: Sequence[StashRow], paper: str) -> list[StashRow]:
    return [row for row in rows if row.paper == paper]
