"""What was ordered from suppliers, what came of it and what is on its way.

There is one function for each change.

How far a purchase is is nowhere written down: it follows from its lines, from what was received
against them and not undone, and from its end.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.core.money import MOST_DECIMALS, check_amount, parse_money, round_to_decimals
from inventory.core.table_files import check_count
from inventory.core.text import clean_name, shorten, whole_number
from inventory.database.tables.enums import GrainAxis, Reason, StockKind
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.purchasing import (
    Purchase,
    PurchaseClosure,
    PurchaseLine,
    PurchaseReceipt,
)
from inventory.purchasing.prices import current_offers, last_margins, size_key
from inventory.purchasing.suppliers import ExchangeRates, find_supplier
from inventory.shop.settings import get_shop
from inventory.stock import ledger
from inventory.stock.condition import grain_axis
from inventory.stock.papers import find_paper
from inventory.stock.receiving import ReceiptLine, book_receipt, receipt_time
from nester.core.errors import Hint, Refusal
from nester.core.lengths import MAX_LENGTH, Length, Unit, format_size
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, Margins
from nester.core.sheet_sizes import Size, parse_size

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from sqlalchemy.orm import Session

    from inventory.database.tables.purchasing import Supplier
    from inventory.database.tables.stock import Paper, Stock
    from inventory.purchasing.prices import ListedPack

__all__ = [
    "InvoiceDifference",
    "PurchaseLineRequest",
    "PurchaseLineStatus",
    "PurchaseRow",
    "PurchaseStatus",
    "ReceivedPacks",
    "ScheduledReceipt",
    "add_purchase",
    "check_reversible",
    "close_purchase",
    "get_purchase",
    "list_purchases",
    "purchase_row",
    "read_order_line",
    "read_receipt",
    "receive_purchase",
    "scheduled_receipts",
]


@dataclass(frozen=True)
class PurchaseLineRequest:
    """What is ordered of one paper in one size.

    Attributes
    ----------
    packs
        1 to 1,000,000.
    pack
        Sheets in a pack; as the supplier sells it, unless given.
    amount
        What a pack should cost, in the supplier's currency; as listed, unless given.
    """

    paper: str
    size: Size | tuple[Length, Length]
    packs: int
    pack: int | None = None
    amount: Decimal | None = None


class PurchaseStatus(StrEnum):
    """How far a purchase is."""

    OPEN = "open"
    """Nothing of it has come yet."""
    IN_PART = "in part"
    RECEIVED = "received"
    CLOSED = "closed"
    """What has not come of it is not waited for."""


class PurchaseLineStatus(NamedTuple):
    """One line of a purchase, counted from 1, and what has come of it.

    Attributes
    ----------
    billed
        Of what came: how many packs, and what was billed for each of them.
    """

    number: int
    line: PurchaseLine
    billed: tuple[tuple[int, Decimal], ...]

    @property
    def received_packs(self) -> int:
        """How many packs have come."""
        return sum(packs for packs, _ in self.billed)

    @property
    def outstanding_packs(self) -> int:
        """How many packs have not come."""
        return self.line.packs - self.received_packs


@dataclass(frozen=True)
class PurchaseRow:
    """A purchase and how far it is."""

    purchase: Purchase
    lines: tuple[PurchaseLineStatus, ...]
    closed: bool

    @property
    def status(self) -> PurchaseStatus:
        """How far it is."""
        if not any(line.outstanding_packs for line in self.lines):
            return PurchaseStatus.RECEIVED
        if self.closed:
            return PurchaseStatus.CLOSED
        return (
            PurchaseStatus.IN_PART
            if any(line.received_packs for line in self.lines)
            else PurchaseStatus.OPEN
        )

    @property
    def is_outstanding(self) -> bool:
        """Whether something of it is still to come."""
        return self.status in (PurchaseStatus.OPEN, PurchaseStatus.IN_PART)

    def days_late(self, today: date) -> int:
        """Return for how many days it has been overdue; 0 if it is not."""
        return max(0, (today - self.purchase.expected).days) if self.is_outstanding else 0

    @property
    def outstanding_sheets(self) -> int:
        """How many sheets have not come yet."""
        return sum(status.outstanding_packs * status.line.pack for status in self.lines)

    @property
    def differences(self) -> list[InvoiceDifference]:
        """Where something else was billed than ordered, by line."""
        return [
            found
            for status in self.lines
            for found in _difference(status.line, status.billed, self.purchase.currency)
        ]

    @property
    def goods_value(self) -> Decimal:
        """What all its packs should cost, in its currency."""
        return sum((status.line.amount * status.line.packs for status in self.lines), Decimal(0))


class InvoiceDifference(NamedTuple):
    """How much more (or less) than ordered was billed for all packs of a line that came."""

    line: PurchaseLine
    amount: Decimal
    currency: str


def _difference(
    line: PurchaseLine, billed: Iterable[tuple[int, Decimal]], currency: str
) -> Iterator[InvoiceDifference]:
    more = sum((packs * (amount - line.amount) for packs, amount in billed), Decimal(0))
    if more:
        yield InvoiceDifference(line, more, currency)


# --- ordering ----------------------------------------------------------------------------------


def read_order_line(text: str, unit: Unit) -> PurchaseLineRequest:
    """Read what is ordered: ``Coal card; 50x70cm; 2``, perhaps ``; 25; 31.25`` behind it.

    Parameters
    ----------
    text
        Paper, size and packs, then perhaps the sheets in a pack, and the price of a pack.
    unit
        The unit of bare numbers.

    Raises
    ------
    Refusal
        If it says less or more than that, or one of the parts can't be read.
    """
    parts = [part.strip() for part in text.split(";")]
    if not 3 <= len(parts) <= 5:
        raise Refusal(
            f"the line '{shorten(text)}' must give paper, size and packs; write it like"
            " 'Coal card; 50x70cm; 2'"
        )
    try:
        return PurchaseLineRequest(
            parts[0],
            parse_size(parts[1], unit),
            check_count(parts[2]),
            check_count(parts[3]) if len(parts) > 3 else None,
            parse_money(parts[4], "the price") if len(parts) > 4 else None,
        )
    except Refusal as why:
        raise Refusal(f"the line '{shorten(text)}': {why}", why.hint) from None


def add_purchase(
    session: Session,
    supplier: str,
    wishes: Sequence[PurchaseLineRequest],
    *,
    today: date,
    day: date | None = None,
    expected: date | None = None,
    number: str = "",
    shipping: Decimal | None = None,
    note: str = "",
) -> Purchase:
    """Book what was ordered from a supplier, at the prices it asks.

    It is a transaction, which `inventory.changes.undo.undo_transaction` can undo as long as
    nothing came of it.

    Parameters
    ----------
    day
        When it was ordered; today, unless given.
    expected
        When it should be there; by the days to a delivery, unless given.
    number
        Under which the supplier keeps it.
    shipping
        What its delivery should cost, in the supplier's currency; by its terms, unless given.

    Raises
    ------
    Refusal
        If there is no such supplier or paper, the supplier doesn't sell that, or not so little of
        it, or something can't be so.
    """
    by = find_supplier(session, supplier)
    if not wishes:
        raise Refusal("say what was ordered: a paper, its size, and how many packs")
    ordered = today if day is None else day
    at = receipt_time(ordered, today, "record a purchase once it is ordered")
    by_hand = all(None not in (wish.pack, wish.amount) for wish in wishes)
    sold, rates = [], ExchangeRates(session, ordered)
    if not by_hand:
        sold = current_offers(session, today=ordered, supplier=by.name)
    if not by_hand and not sold:
        # The book knew nothing of its prices on that day.
        sold, rates = (
            current_offers(session, today=today, supplier=by.name),
            ExchangeRates(session, today),
        )
    lines, days = [], []
    for wish in wishes:
        line, takes = _line(session, by, wish, sold, rates)
        lines.append(line)
        days.append(takes)
    goods = sum((line.amount * line.packs for line in lines), Decimal(0))
    if shipping is None:
        free = by.free_from is not None and goods >= by.free_from
        shipping = Decimal(0) if free else by.shipping
    if expected is not None and expected < ordered:
        raise Refusal(
            f"{expected.isoformat()} is before the day it was ordered, {ordered.isoformat()}"
        )
    purchase = Purchase(
        transaction=ledger.book_transaction(session, Reason.ORDERED, note=note, at=at),
        supplier=by, ordered=ordered, expected=expected or ordered + timedelta(max(days)),
        number=clean_name(number, "the purchase's number") if number.strip() else "",
        currency=by.currency, shipping=check_amount(shipping, "the shipping"), lines=lines,
    )  # fmt: skip
    session.add(purchase)
    session.flush()
    return purchase


def _line(
    session: Session,
    by: Supplier,
    wish: PurchaseLineRequest,
    sold: Sequence[ListedPack],
    rates: ExchangeRates,
) -> tuple[PurchaseLine, int]:
    """Return a line at the price asked, and the days to its delivery."""
    paper = find_paper(session, wish.paper)
    packs = whole_number(wish.packs, "the number of packs", least=1)
    size = Size(*wish.size)
    if not all(0 < length <= MAX_LENGTH for length in size):
        raise Refusal("a sheet's width and height must be more than zero and at most 10 m")
    shown = f"{paper.name} {format_size(*size, get_shop(session).unit)}"
    alike = [
        listed
        for listed in sold
        if listed.paper == paper.name
        and size_key(paper, (listed.width, listed.height)) == size_key(paper, size)
        and wish.pack in (None, listed.pack)
    ]
    fitting = [listed for listed in alike if listed.least <= packs]
    if wish.amount is not None and wish.pack is not None:
        days = min((listed.lead_days for listed in alike), default=by.days)
        pack, amount = wish.pack, check_amount(wish.amount, "the price")
    else:
        if not alike:
            raise _not_sold(session, by, paper, shown, wish.pack, sold)
        packed = sorted({listed.pack for listed in alike})
        if len(packed) > 1:
            of = " or ".join(f"{pack:,}" for pack in packed)
            raise Refusal(f"{by.name} sells {shown} in packs of {of}; say which")
        if not fitting:
            least = min(listed.least for listed in alike)
            raise Refusal(f"{by.name} sells at least {least:,} packs of {shown}, not {packs:,}")
        best = min(fitting, key=lambda listed: (listed.price, listed.lead_days))
        size = Size(best.width, best.height)
        pack, days = best.pack, best.lead_days
        amount = wish.amount if wish.amount is not None else best.list_price
        if wish.amount is None:
            amount = rates.convert(best.list_price, best.currency, by.currency)
        check_amount(amount, "the price")
    whole_number(pack, "the sheets in a pack", least=1)
    whole_number(pack * packs, "the number of sheets", least=1)
    line = PurchaseLine(
        paper=paper, width=size.width, height=size.height, pack=pack, packs=packs, amount=amount
    )
    return line, days


def _not_sold(
    session: Session,
    by: Supplier,
    paper: Paper,
    shown: str,
    pack: int | None,
    sold: Sequence[ListedPack],
) -> Refusal:
    """Return the refusal of what a supplier doesn't sell, with what is near it on its list."""
    unit = get_shop(session).unit
    of = "" if pack is None else f" in packs of {pack:,}"
    other = [listed for listed in sold if listed.paper == paper.name]
    if not other:
        if sold:
            return Refusal(f"{by.name} sells no {paper.name}")
        return Refusal(
            f"{by.name} sells no {paper.name}, as its price list is empty",
            Hint("read one", "buy prices import"),
        )
    near = ", ".join(
        dict.fromkeys(
            f"{format_size(listed.width, listed.height, unit)} in packs of {listed.pack:,}"
            for listed in other
        )
    )
    return Refusal(f"{by.name} sells no {shown}{of}; it has {near}")


# --- looking -----------------------------------------------------------------------------------


def get_purchase(session: Session, number: int) -> Purchase:
    """Return the purchase of that number.

    Raises
    ------
    Refusal
        If there is none, or it was undone.
    """
    purchase = session.get(Purchase, number) if 0 < number < 2**31 else None
    if purchase is None:
        raise Refusal(
            f"there is no purchase {number}",
            Hint("list all there are", "buy purchase list", ("--all",)),
        )
    if (
        session.scalar(
            select(Transaction.id).where(Transaction.undoes_id == purchase.transaction_id)
        )
        is not None
    ):
        raise Refusal(f"purchase {number} was undone")
    return purchase


def list_purchases(session: Session, *, also_done: bool = True) -> list[PurchaseRow]:
    """Return purchases that were not undone, earliest expected first.

    Parameters
    ----------
    also_done
        Also those of which nothing is to come any more.
    """
    query = select(Purchase).where(Purchase.transaction_id.not_in(ledger.reversed_transactions()))
    purchases = session.scalars(query.order_by(Purchase.expected, Purchase.id)).all()
    rows = _rows(session, purchases)
    return [row for row in rows if also_done or row.is_outstanding]


def purchase_row(session: Session, purchase: Purchase) -> PurchaseRow:
    """Return how far a purchase is."""
    (row,) = _rows(session, [purchase])
    return row


def _rows(session: Session, purchases: Sequence[Purchase]) -> list[PurchaseRow]:
    receipts = (
        select(PurchaseReceipt.line_id, PurchaseReceipt.packs, PurchaseReceipt.amount)
        .where(PurchaseReceipt.transaction_id.not_in(ledger.reversed_transactions()))
        .order_by(PurchaseReceipt.id)
    )
    billed: dict[int, list[tuple[int, Decimal]]] = defaultdict(list)
    for line_id, packs, amount in session.execute(receipts):
        billed[line_id].append((packs, amount))
    ends = select(PurchaseClosure.purchase_id).where(
        PurchaseClosure.transaction_id.not_in(ledger.reversed_transactions())
    )
    closed = set(session.scalars(ends))
    lines: dict[int, list[PurchaseLine]] = defaultdict(list)
    for line in session.scalars(
        select(PurchaseLine)
        .where(PurchaseLine.purchase_id.in_([purchase.id for purchase in purchases]))
        .order_by(PurchaseLine.id)
    ):
        lines[line.purchase_id].append(line)
    return [
        PurchaseRow(
            purchase,
            tuple(
                PurchaseLineStatus(number, line, tuple(billed[line.id]))
                for number, line in enumerate(lines[purchase.id], start=1)
            ),
            purchase.id in closed,
        )
        for purchase in purchases
    ]


class ScheduledReceipt(NamedTuple):
    """Sheets of a line of a purchase that have not come yet.

    Attributes
    ----------
    margins, grain
        As of `inventory.purchasing.prices.ListedPack`.
    """

    purchase: int
    supplier: str
    paper: str
    width: Length
    height: Length
    sheets: int
    expected: date
    margins: Margins
    grain: Grain


def scheduled_receipts(session: Session) -> list[ScheduledReceipt]:
    """Return what is still to come, earliest expected first."""
    rows = list_purchases(session, also_done=False)
    margins = last_margins(session) if rows else {}
    coming = []
    for row in rows:
        for status in row.lines:
            paper, size = status.line.paper, (status.line.width, status.line.height)
            if status.outstanding_packs:
                coming.append(
                    ScheduledReceipt(
                        row.purchase.id, row.purchase.supplier.name, paper.name, *size,
                        status.outstanding_packs * status.line.pack, row.purchase.expected,
                        margins.get((paper.id, *size), NO_MARGINS),
                        grain_axis(StockKind.SHEET, size, GrainAxis.UNKNOWN, paper.grain),
                    )
                )  # fmt: skip
    return coming


# --- receiving ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class ReceivedPacks:
    """What came of one line of a purchase.

    Attributes
    ----------
    packs
        All that have not come yet, unless given.
    billed
        For a pack, in the purchase's currency; as ordered, unless given.
    """

    packs: int | None = None
    billed: Decimal | None = None
    lot: str = ""


def read_receipt(
    row: PurchaseRow,
    packs: Mapping[str, str],
    prices: Mapping[str, str],
    lots: Mapping[str, str],
) -> dict[int, ReceivedPacks] | None:
    """Read what came of a purchase, for `receive_purchase`.

    Parameters
    ----------
    packs
        How many came, by the number of a line; all that has not come of every line, unless given.
    prices
        What was billed for a pack of a line, in the purchase's currency.
    lots
        What is printed on the packs of a line.

    Returns
    -------
    dict or None
        By line; None if nothing is given, and so all of it came as it was ordered.

    Raises
    ------
    Refusal
        If one of them can't be read, or a price or lot is for a line that did not come.
    """
    if not (packs or prices or lots):
        return None
    came: dict[int, int | None] = {
        _read_line_number(line): check_count(number) for line, number in packs.items()
    } or {line.number: None for line in row.lines if line.outstanding_packs}
    billed = {
        _read_line_number(line): parse_money(price, "the price billed")
        for line, price in prices.items()
    }
    printed = {_read_line_number(line): lot for line, lot in lots.items()}
    stray = sorted((billed.keys() | printed.keys()) - came.keys())
    if stray:
        raise Refusal(f"line {stray[0]} is not among those that came")
    return {
        line: ReceivedPacks(number, billed.get(line), printed.get(line, ""))
        for line, number in came.items()
    }


def _read_line_number(text: str) -> int:
    try:
        return check_count(text)
    except Refusal as why:
        raise Refusal(f"the number of a line: {why}") from None


def receive_purchase(
    session: Session,
    number: int,
    came: Mapping[int, ReceivedPacks] | None = None,
    *,
    note_number: str = "",
    place: str | None = None,
    margins: Margins | None = None,
    again: bool = False,
    note: str = "",
    today: date,
    day: date | None = None,
) -> tuple[list[Stock], list[InvoiceDifference]]:
    """Put what came of a purchase into the stash, in one transaction.

    Each sheet gets its share of what was billed for its pack, in the shop's currency by the rate
    of the day it came, to the fourth decimal, halves up; shipping is not spread over the sheets.

    Parameters
    ----------
    came
        By the numbers of the purchase's lines; all that has not come yet, unless given.
    note_number
        The number of the delivery note.
    margins
        How much along each edge can't be used; as of such sheets the last time, unless given.
    again
        Take sheets that the same delivery note has brought before.
    day
        When they came; today, unless given.

    Returns
    -------
    list of Stock
        Where each line was put, in the order of the lines.
    list of BillDifference
        Where something else was billed than ordered.

    Raises
    ------
    Refusal
        If there is no such purchase or line, nothing or less of it is to come, or something can't
        be so.
    """
    purchase = get_purchase(session, number)
    row = purchase_row(session, purchase)
    if not row.is_outstanding:
        raise Refusal(f"nothing of purchase {number} is to come: it is {row.status}")
    chosen = _received_lines(row, came)
    arrived = today if day is None else day
    if arrived < purchase.ordered:
        raise Refusal(
            f"purchase {number} was ordered on {purchase.ordered.isoformat()}, so nothing of it"
            f" came on {arrived.isoformat()}"
        )
    rates = ExchangeRates(session, arrived)
    known = last_margins(session)
    lines, booked = [], []
    differences: list[InvoiceDifference] = []
    for status, what in chosen:
        line, packs = status.line, status.outstanding_packs if what.packs is None else what.packs
        billed = line.amount if what.billed is None else check_amount(what.billed, "the price")
        each = Fraction(rates.to_shop_currency(billed, purchase.currency)) / line.pack
        size = Size(line.width, line.height)
        edges = known.get((line.paper_id, *size), NO_MARGINS) if margins is None else margins
        lines.append(
            ReceiptLine(
                line.paper.name, size, packs * line.pack, round_to_decimals(each, MOST_DECIMALS),
                place, note, what.lot, margins=edges,
            )
        )  # fmt: skip
        booked.append((line, packs, billed))
        differences += _difference(line, [(packs, billed)], purchase.currency)
    transaction, stocks = book_receipt(
        session, lines, supplier=purchase.supplier.name, number=note_number, again=again,
        note=note, at=receipt_time(day, today),
    )  # fmt: skip
    for (line, packs, billed), stock in zip(booked, stocks, strict=True):
        session.add(
            PurchaseReceipt(
                transaction_id=transaction.id,
                line_id=line.id,
                stock_id=stock.id,
                packs=packs,
                amount=billed,
            )
        )
    session.flush()
    return stocks, differences


def _received_lines(
    row: PurchaseRow, came: Mapping[int, ReceivedPacks] | None
) -> list[tuple[PurchaseLineStatus, ReceivedPacks]]:
    if came is None:
        return [(status, ReceivedPacks()) for status in row.lines if status.outstanding_packs]
    by_number = {status.number: status for status in row.lines}
    chosen = []
    for number, what in sorted(came.items()):
        status = by_number.get(number)
        if status is None:
            raise Refusal(
                f"purchase {row.purchase.id} has no line {number}; its lines are 1 to"
                f" {len(row.lines)}"
            )
        if what.packs is not None:
            whole_number(what.packs, f"the packs of line {number}", least=1)
        if not status.outstanding_packs or (what.packs or 0) > status.outstanding_packs:
            raise Refusal(
                f"of line {number} of purchase {row.purchase.id}, {status.line.paper.name},"
                f" {status.outstanding_packs:,} of {status.line.packs:,} packs are to come",
                Hint("add what came beyond that to the stash", "sheet add"),
            )
        chosen.append((status, what))
    if not chosen:
        raise Refusal("say which lines of the purchase came")
    return chosen


def close_purchase(session: Session, number: int, why: str = "") -> PurchaseRow:
    """Say that what has not come of a purchase is not waited for any more.

    Returns
    -------
    PurchaseRow
        How far it was.

    Raises
    ------
    Refusal
        If there is no such purchase, or nothing of it is to come.
    """
    purchase = get_purchase(session, number)
    row = purchase_row(session, purchase)
    if not row.is_outstanding:
        raise Refusal(f"nothing of purchase {number} is to come: it is {row.status}")
    transaction = ledger.book_transaction(session, Reason.CLOSED, note=why)
    session.add(PurchaseClosure(transaction_id=transaction.id, purchase_id=purchase.id))
    session.flush()
    return row


def check_reversible(session: Session, transaction: Transaction) -> None:
    """Refuse to undo that something was ordered when something came of it, or it was closed.

    Raises
    ------
    Refusal
        If so; it names what must be undone first.
    """
    if transaction.reason is not Reason.ORDERED:
        return
    receipts = (
        select(PurchaseReceipt.transaction_id)
        .join(PurchaseLine, PurchaseReceipt.line_id == PurchaseLine.id)
        .join(Purchase, PurchaseLine.purchase_id == Purchase.id)
        .where(Purchase.transaction_id == transaction.id)
    )
    ends = (
        select(PurchaseClosure.transaction_id)
        .join(Purchase, PurchaseClosure.purchase_id == Purchase.id)
        .where(Purchase.transaction_id == transaction.id)
    )
    standing = select(func.max(Transaction.id)).where(
        Transaction.id.in_(receipts.union(ends)),
        Transaction.id.not_in(ledger.reversed_transactions()),
    )
    newest = session.scalar(standing)
    if newest is not None:
        raise Refusal(f"entry {newest} was made after it; undo that first")
