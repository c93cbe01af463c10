"""Stocktakes: what lies in a place by the book, what was found, and what was never counted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.core.table_files import check_count, read_list
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Movement, StockCount, Transaction
from inventory.database.tables.stock import Paper, Stock
from inventory.stock import ledger
from inventory.stock.listing import StashRow, list_stash
from inventory.stock.lookup import find_stock
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from inventory.core.table_files import TableRow

__all__ = [
    "COUNT_COLUMNS",
    "CountDifference",
    "CountLine",
    "CountedPaper",
    "book_counts",
    "compare_counts",
    "last_counts",
    "read_counts",
    "stocktake_rows",
]

COUNT_COLUMNS = ("place", "label", "paper", "size", "book", "found")
"""Of the sheet that is taken along to count; `found` is empty on it."""


def stocktake_rows(session: Session, place: str | None = None) -> list[StashRow]:
    """Return what should be found, place by place; all that lies in a place and in those within it.

    Parameters
    ----------
    place
        All places, unless one is named.

    Raises
    ------
    Refusal
        If there is no such place.
    """
    rows = list_stash(session, place=place)
    return sorted(
        rows,
        key=lambda row: ((row.place or "").casefold(), row.paper.casefold(), row.kind != "sheet"),
    )


@dataclass(frozen=True)
class CountLine:
    """How many of a label were found.

    Attributes
    ----------
    book_quantity
        How many the book said when the sheet was printed; None if nobody wrote it down.
    source
        What to put before a refusal.
    """

    label: str
    counted: int
    book_quantity: int | None = None
    source: str = ""


@dataclass(frozen=True)
class CountDifference:
    """A label of which not as many were found as the book said."""

    label: str
    paper: str
    book_quantity: int
    counted: int


def read_counts(path: Path) -> list[CountLine]:
    """Read a filled-in sheet; lines in which nothing was found to write are passed over.

    Parameters
    ----------
    path
        CSV or ``.xlsx``: columns label, found; optional book.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(path, ("label", "found"), ("book",), ("place", "paper", "size"))
    found = [_count_line(row) for row in rows if row.text("found")]
    if not found:
        raise Refusal(f"{path}: no line says what was found")
    return found


def _count_line(row: TableRow) -> CountLine:
    return CountLine(
        row.text("label"),
        row.read("found", lambda text: check_count(text, 0)),
        row.read("book", lambda text: check_count(text, 0)) if row.text("book") else None,
        f"{row.file}, line {row.line}, found: ",
    )


def compare_counts(session: Session, counts: Sequence[CountLine]) -> list[CountDifference]:
    """Return where the book says otherwise than what was found; nothing is booked.

    Raises
    ------
    Refusal
        If a label is unknown or counted twice, or has moved since the sheet was printed.
    """
    return [
        CountDifference(stock.label, stock.paper.name, booked, count.counted)
        for stock, count, booked in _match_counts(session, counts)
        if count.counted != booked
    ]


def book_counts(session: Session, counts: Sequence[CountLine], why: str) -> list[CountDifference]:
    """Book what was found, in one transaction; what was counted and right is noted too.

    Parameters
    ----------
    why
        Why the book was wrong, or on what occasion was counted; it can't be empty where something
        differs.

    Returns
    -------
    list of CountDifference
        What the book said otherwise.

    Raises
    ------
    Refusal
        As of `compare_counts`, or if there is a difference and no reason; nothing is booked then.
    """
    compared = _match_counts(session, counts)
    differences = compare_counts(session, counts)
    if differences and not why.strip():
        labels = ", ".join(difference.label for difference in differences[:5])
        raise Refusal(f"the count differs from the records for {labels}; say why")
    transaction = ledger.book_transaction(session, Reason.COUNTED, note=why)
    session.add_all(
        StockCount(
            transaction_id=transaction.id, stock_id=stock.id, found=count.counted, booked=booked
        )
        for stock, count, booked in compared
    )
    session.flush()
    changes = [
        (stock, count.counted - booked, Reason.COUNTED)
        for stock, count, booked in compared
        if count.counted != booked
    ]
    ledger.book_movements(session, transaction, changes)
    return differences


def _match_counts(
    session: Session, counts: Sequence[CountLine]
) -> list[tuple[Stock, CountLine, int]]:
    there = ledger.on_hand_by_stock(session)
    seen: set[int] = set()
    compared = []
    for count in counts:
        try:
            stock = find_stock(session, count.label)
            booked = there.get(stock.id, 0)
            _check(stock, count, booked, seen)
        except Refusal as refusal:
            raise Refusal(f"{count.source}{refusal}", refusal.hint) from None
        compared.append((stock, count, booked))
    return compared


def _check(stock: Stock, count: CountLine, booked: int, seen: set[int]) -> None:
    if stock.id in seen:
        raise Refusal(f"{stock.label} is counted twice; add the two numbers up")
    seen.add(stock.id)
    if count.book_quantity is not None and count.book_quantity != booked:
        raise Refusal(
            f"there were {count.book_quantity} of {stock.label} when the sheet was"
            f" printed, and {booked} now; count it again"
        )


class CountedPaper(NamedTuple):
    """When something of a paper was counted last; never, if `last_counted` is None."""

    paper: str
    last_counted: datetime | None
    labels: int
    """Labels of it of which something is there."""
    never_counted: int
    """Of these, labels that nobody ever counted."""


def last_counts(session: Session) -> list[CountedPaper]:
    """Return for each paper in the stash when it was counted last; those never counted first."""
    counted = (
        select(StockCount.stock_id, func.max(Transaction.at).label("at"))
        .join(Transaction, StockCount.transaction_id == Transaction.id)
        .where(Transaction.id.not_in(ledger.reversed_transactions()))
        .group_by(StockCount.stock_id)
        .subquery()
    )
    # Counts from before each one was noted are known by their movements alone.
    moved = (
        select(Movement.stock_id, func.max(Movement.at).label("at"))
        .where(Movement.reason == Reason.COUNTED, Movement.transaction_id.is_(None))
        .group_by(Movement.stock_id)
        .subquery()
    )
    sums = ledger.on_hand_sums()
    rows = session.execute(
        select(Paper.name, counted.c.at, moved.c.at)
        .join(Stock, Stock.paper_id == Paper.id)
        .join(sums, sums.c.stock_id == Stock.id)
        .outerjoin(counted, counted.c.stock_id == Stock.id)
        .outerjoin(moved, moved.c.stock_id == Stock.id)
        .where(sums.c.quantity > 0)
        .order_by(Paper.name_key)
    )
    known: dict[str, CountedPaper] = {}
    for name, noted, before in rows:
        last = max(filter(None, (noted, before)), default=None)
        paper = known.setdefault(name, CountedPaper(name, None, 0, 0))
        known[name] = CountedPaper(
            name,
            max(filter(None, (paper.last_counted, last)), default=None),
            paper.labels + 1,
            paper.never_counted + (last is None),
        )
    papers = list(known.values())
    never = [paper for paper in papers if paper.last_counted is None]
    counted_ones = [
        (paper.last_counted, paper) for paper in papers if paper.last_counted is not None
    ]
    return never + [paper for _, paper in sorted(counted_ones, key=lambda pair: pair[0])]
