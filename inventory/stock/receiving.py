"""What comes into the stash: sheets from suppliers, offcuts from the table.

A delivery of ten thousand lines is one transaction and a handful of queries.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import insert, select

from inventory.core.money import MOST_DECIMALS, check_amount, round_to_decimals
from inventory.core.text import clean_name, clean_note, fold, shorten, whole_number
from inventory.database.tables.enums import GrainAxis, Reason, StockKind
from inventory.database.tables.ledger import Delivery, Movement, Transaction
from inventory.database.tables.stock import Paper, Stock
from inventory.stock import ledger
from inventory.stock.ledger import reversed_movements
from inventory.stock.lookup import find_stock, label_of, next_number
from inventory.stock.papers import find_paper
from inventory.stock.places import PlaceTree
from nester.core.errors import Refusal
from nester.core.lengths import MAX_LENGTH, Length, Unit, format_size
from nester.core.problem import NO_MARGINS, Margins
from nester.core.sheet_sizes import Size

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from sqlalchemy.orm import Session

    from inventory.database.tables.orders import Batch
    from inventory.database.tables.stock import Place

__all__ = [
    "DeliveryRow",
    "ReceiptLine",
    "add_offcut",
    "add_sheets",
    "book_receipt",
    "delivery_of",
    "find_delivery",
    "list_deliveries",
    "matching_stock",
    "put_away_offcuts",
    "receipt_time",
    "receive_goods",
    "sheet_price",
]


@dataclass(frozen=True)
class ReceiptLine:
    """Equal sheets, or equal offcuts, that come at once.

    Attributes
    ----------
    paper
        The name of a paper in the book.
    quantity
        1 to 1,000,000.
    price
        Of one, in the shop's currency.
    place
        Where they are put; a new name makes a new place.
    lot
        What its maker printed on the pack.
    margins
        How much along each edge can't be used.
    grain
        How an offcut's grain runs, if that is known; of sheets the paper says it.
    source
        What to put before a refusal: ``sheets.csv, line 3, quantity: ``.
    """

    paper: str
    size: Size | tuple[Length, Length]
    quantity: int
    price: Decimal | None = None
    place: str | None = None
    note: str = ""
    lot: str = ""
    source: str = ""
    margins: Margins = NO_MARGINS
    grain: GrainAxis = GrainAxis.UNKNOWN


def receive_goods(
    session: Session,
    lines: Sequence[ReceiptLine],
    *,
    supplier: str = "",
    number: str = "",
    again: bool = False,
    reason: Reason = Reason.RECEIVED,
    note: str = "",
    at: datetime | None = None,
) -> list[Stock]:
    """Put sheets into the stash, in one transaction.

    They join the sheets of the same paper, size, margins, price, place and lot, if there are such;
    else they get their own label.

    Parameters
    ----------
    supplier, number
        Who brought them, and the number of the delivery note; both may be left empty.
    again
        Take sheets that the same delivery note has brought before.
    reason
        `Reason.RECEIVED`, or `Reason.OPENING` for what was there when the book was begun.
    at
        When they came; now, unless given.

    Returns
    -------
    list of Stock
        Where each line was put.

    Raises
    ------
    Refusal
        If there is no such paper, something can't be so, or the delivery note was booked before.
    """
    _, stocks = book_receipt(
        session, lines, supplier=supplier, number=number, again=again, reason=reason, note=note,
        at=at,
    )  # fmt: skip
    return stocks


def book_receipt(
    session: Session,
    lines: Sequence[ReceiptLine],
    *,
    supplier: str = "",
    number: str = "",
    again: bool = False,
    reason: Reason = Reason.RECEIVED,
    note: str = "",
    at: datetime | None = None,
) -> tuple[Transaction, list[Stock]]:
    """Put sheets into the stash as `receive_goods` does, and return by which transaction.

    Raises
    ------
    Refusal
        As of `receive_goods`.
    """
    shelf = _StockMatcher(session, lines)
    known = find_delivery(session, supplier, number)
    if known is not None and known.number and not again:
        _refuse_duplicate_receipt(session, known, shelf, lines)
    stocks = shelf.put_sheets(lines)
    delivery = delivery_of(session, supplier, number)
    transaction = ledger.book_transaction(session, reason, note=note, at=at, delivery=delivery)
    ledger.book_movements(
        session, transaction,
        [(stock, line.quantity, reason) for stock, line in zip(stocks, lines, strict=True)],
    )  # fmt: skip
    return transaction, stocks


def matching_stock(session: Session, lines: Sequence[ReceiptLine]) -> list[Stock]:
    """Return the stock that sheets of each line join, new ones among them; nothing is booked."""
    return _StockMatcher(session, lines).put_sheets(lines)


def add_sheets(
    session: Session,
    paper: str,
    size: Size | tuple[Length, Length],
    quantity: int,
    *,
    price: Decimal | None = None,
    place: str | None = None,
    note: str = "",
    lot: str = "",
    margins: Margins = NO_MARGINS,
    supplier: str = "",
    number: str = "",
    again: bool = False,
    reason: Reason = Reason.RECEIVED,
    at: datetime | None = None,
) -> Stock:
    """Put equal sheets into the stash; see `receive_goods` and `ReceiptLine`.

    Raises
    ------
    Refusal
        If there is no such paper, something can't be so, or the delivery note was booked before.
    """
    line = ReceiptLine(paper, size, quantity, price, place, note, lot, margins=margins)
    (stock,) = receive_goods(
        session, [line], supplier=supplier, number=number, again=again, reason=reason,
        note=note, at=at,
    )  # fmt: skip
    return stock


def add_offcut(
    session: Session,
    paper: str,
    size: Size | tuple[Length, Length],
    quantity: int = 1,
    *,
    price: Decimal | None = None,
    place: str | None = None,
    note: str = "",
    margins: Margins = NO_MARGINS,
    grain: GrainAxis = GrainAxis.UNKNOWN,
    parent: str | None = None,
    batch: Batch | None = None,
    reason: Reason = Reason.KEPT,
    at: datetime | None = None,
) -> Stock:
    """Put an offcut, or a pile of equal ones, into the stash under a new label.

    Parameters
    ----------
    quantity
        How many; 1 to 1,000,000.
    price
        What one counts in a plan; by its size (see `inventory.stock.listing.planning_cost`), unless
        given.
    margins, grain
        See `ReceiptLine`.
    parent
        The label of what it was cut from.
    batch
        The batch it is left from.
    reason
        `Reason.KEPT`, or `Reason.OPENING` for what was there when the book was begun.

    Raises
    ------
    Refusal
        If there is no such paper or label, or something can't be so.
    """
    cut_from = find_stock(session, parent) if parent is not None else None
    known = find_paper(session, paper)
    if cut_from is not None and cut_from.paper_id != known.id:
        raise Refusal(
            f"{cut_from.label} is {cut_from.paper.name}, so an offcut of {known.name} can't be"
            " cut from it"
        )
    transaction = ledger.book_transaction(session, reason, note=note, at=at, batch=batch)
    line = ReceiptLine(paper, size, quantity, price, place, note, margins=margins, grain=grain)
    (stock,) = put_away_offcuts(session, transaction, [line], reason=reason, parents=[cut_from])
    return stock


def put_away_offcuts(
    session: Session,
    transaction: Transaction,
    lines: Sequence[ReceiptLine],
    *,
    reason: Reason = Reason.KEPT,
    parents: Sequence[Stock | None] | None = None,
) -> list[Stock]:
    """Put offcuts into the stash as a part of a transaction, those of a line under a new label.

    Parameters
    ----------
    parents
        What each line was cut from, if that is known.

    Raises
    ------
    Refusal
        If there is no such paper, or something can't be so.
    """
    matcher = _StockMatcher(session, lines, "offcuts")
    stocks = matcher.put_offcuts(lines, parents or [None] * len(lines))
    ledger.book_movements(
        session, transaction,
        [(stock, line.quantity, reason) for stock, line in zip(stocks, lines, strict=True)],
    )  # fmt: skip
    return stocks


_StockKey = tuple[int, Length, Length, Margins, Decimal | None, int | None, str]


class _StockMatcher:
    """What putting many lines away needs of the book, read once."""

    def __init__(
        self, session: Session, lines: Iterable[ReceiptLine], what: str = "sheets"
    ) -> None:
        self._session = session
        self._places = PlaceTree(session)
        self._papers: dict[str, Paper] = {}
        self._found: dict[str, Place | None] = {}
        checked: set[str | None] = set()
        for line in lines:
            with _error_location(line):
                if line.paper not in self._papers:
                    self._papers[line.paper] = find_paper(session, line.paper)
                whole_number(line.quantity, f"the number of {what}", least=1)
                self._fields(line)
                if line.place not in checked:
                    self._places.check(line.place)
                    checked.add(line.place)

    @staticmethod
    def _fields(line: ReceiptLine) -> dict[str, Any]:
        """Return what a line says by itself, checked."""
        size = _size(line.size)
        left, top, right, bottom = _margins(line.margins, size)
        return {
            "width": size.width,
            "height": size.height,
            "price": None if line.price is None else check_amount(line.price, "the price"),
            "note": clean_note(line.note),
            "lot": clean_name(line.lot, "the lot") if line.lot.strip() else "",
            "margin_left": left,
            "margin_top": top,
            "margin_right": right,
            "margin_bottom": bottom,
            "grain": line.grain,
        }

    def paper(self, line: ReceiptLine) -> Paper:
        return self._papers[line.paper]

    def put_sheets(self, lines: Sequence[ReceiptLine]) -> list[Stock]:
        """Return the stock that each line joins, new ones among them."""
        known = self._equal_sheets()
        there = ledger.on_hand_by_stock(self._session, known.values())
        amounts = {key: there[stock.id] for key, stock in known.items()}
        number = next_number(self._session, StockKind.SHEET)
        fresh: dict[_StockKey, dict[str, Any]] = {}
        keys = []
        for line in lines:
            with _error_location(line):
                values = self._values(line, StockKind.SHEET, number + len(fresh), None)
                key = self._key(values)
                if key not in known:
                    fresh.setdefault(key, values)
                ledger.check_quantity(
                    known.get(key) or Stock(**values), amounts.get(key, 0), line.quantity
                )
                amounts[key] = amounts.get(key, 0) + line.quantity
                keys.append(key)
        made = dict(zip(fresh, self._insert(list(fresh.values())), strict=True))
        return [known.get(key) or made[key] for key in keys]

    def put_offcuts(
        self, lines: Sequence[ReceiptLine], parents: Sequence[Stock | None]
    ) -> list[Stock]:
        """Return a new stock for each line."""
        number = next_number(self._session, StockKind.OFFCUT)
        fresh: list[dict[str, Any]] = []
        for line, parent in zip(lines, parents, strict=True):
            with _error_location(line):
                fresh.append(self._values(line, StockKind.OFFCUT, number + len(fresh), parent))
        return self._insert(fresh)

    def _insert(self, fresh: list[dict[str, Any]]) -> list[Stock]:
        """Add rows in one statement: the unit of work would send one a row."""
        if not fresh:
            return []
        self._session.execute(insert(Stock), fresh)
        kind, first = fresh[0]["kind"], fresh[0]["number"]
        added = select(Stock).where(
            Stock.kind == kind, Stock.number >= first, Stock.batch_id.is_(None)
        )
        return list(self._session.scalars(added.order_by(Stock.number)))

    def _equal_sheets(self) -> dict[_StockKey, Stock]:
        """Return the sheets of these papers; of equal ones those with the lowest label."""
        ids = {paper.id for paper in self._papers.values()}
        rows = self._session.scalars(
            select(Stock)
            .where(Stock.kind == StockKind.SHEET, Stock.paper_id.in_(ids))
            .order_by(Stock.number.desc())
        )
        return {
            (
                row.paper_id, row.width, row.height, row.margins, row.price, row.place_id,
                fold(row.lot),
            ): row
            for row in rows
        }  # fmt: skip

    @staticmethod
    def _key(values: Mapping[str, Any]) -> _StockKey:
        fields = ("paper_id", "width", "height", "price", "place_id")
        paper, width, height, price, place = (values[field] for field in fields)
        edges = (values[f"margin_{edge}"] for edge in Margins._fields)
        return paper, width, height, Margins(*edges), price, place, fold(values["lot"])

    def _values(
        self, line: ReceiptLine, kind: StockKind, number: int, parent: Stock | None
    ) -> dict[str, Any]:
        place = self._place(line.place)
        return {
            "kind": kind,
            "number": number,
            "label": label_of(kind, number),
            "paper_id": self.paper(line).id,
            "place_id": None if place is None else place.id,
            "parent_id": None if parent is None else parent.id,
            **self._fields(line),
        }

    def _place(self, name: str | None) -> Place | None:
        if name is None:
            return None
        if name not in self._found:
            self._found[name] = self._places.get_or_add(name)
        return self._found[name]


class _error_location:  # noqa: N801 - used like a function
    """Put a line's whereabouts before a refusal."""

    def __init__(self, line: ReceiptLine) -> None:
        self._line = line

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, why: BaseException | None, trace: object) -> None:
        if isinstance(why, Refusal) and self._line.source:
            raise Refusal(f"{self._line.source}{why}", why.hint) from None


def _size(size: Size | tuple[Length, Length]) -> Size:
    if not all(0 < length <= MAX_LENGTH for length in size):
        raise Refusal("a sheet's width and height must be more than zero and at most 10 m")
    return Size(*size)


def _margins(margins: Margins, size: Size) -> Margins:
    if min(margins) < 0:
        raise Refusal("a margin must be zero or more")
    left, top, right, bottom = margins
    if left + right >= size.width or top + bottom >= size.height:
        raise Refusal(
            "the margins leave nothing of it to cut from; they must be narrower than the sheet"
        )
    return margins


# --- deliveries --------------------------------------------------------------------------------


def find_delivery(session: Session, supplier: str, number: str) -> Delivery | None:
    """Return the delivery of that supplier and note, if it is in the book.

    Raises
    ------
    Refusal
        If there is a number without a supplier, or one of them can't be so.
    """
    if not supplier.strip():
        if number.strip():
            raise Refusal("a delivery note's number needs the supplier's name beside it")
        return None
    by, under = _check_delivery_note(supplier, number)
    return session.scalar(
        select(Delivery).where(
            Delivery.supplier_key == fold(by), Delivery.number_key == fold(under)
        )
    )


def delivery_of(session: Session, supplier: str, number: str) -> Delivery | None:
    """Return the delivery of that supplier and note, a new one if it is the first of it.

    Returns
    -------
    Delivery or None
        None if no supplier is named.

    Raises
    ------
    Refusal
        As of `find_delivery`.
    """
    delivery = find_delivery(session, supplier, number)
    if delivery is None and supplier.strip():
        by, under = _check_delivery_note(supplier, number)
        delivery = Delivery(supplier=by, number=under)
        session.add(delivery)
        session.flush()
    return delivery


def _check_delivery_note(supplier: str, number: str) -> tuple[str, str]:
    by = clean_name(supplier, "the supplier's name")
    under = clean_name(number, "the number of the delivery note") if number.strip() else ""
    return by, under


def _refuse_duplicate_receipt(
    session: Session, delivery: Delivery, shelf: _StockMatcher, lines: Sequence[ReceiptLine]
) -> None:
    """Refuse sheets that the same delivery note has brought before and nobody took back."""
    rows = session.execute(
        select(Stock.paper_id, Stock.width, Stock.height, Stock.lot, Movement.change, Movement.at)
        .join(Movement, Movement.stock_id == Stock.id)
        .join(Transaction, Movement.transaction_id == Transaction.id)
        .where(Transaction.delivery_id == delivery.id, Movement.id.not_in(reversed_movements()))
    )
    before = {(paper, *size, fold(lot)): (n, at) for paper, *size, lot, n, at in rows}
    for line in lines:
        size = Size(*line.size)
        key = (shelf.paper(line).id, size.width, size.height, fold(line.lot))
        if key in before:
            number, at = before[key]
            what = f"{line.paper} {format_size(size.width, size.height, Unit.CM)}"
            raise Refusal(
                f"{line.source}delivery note {shorten(delivery.number)} of"
                f" {shorten(delivery.supplier)} brought {number:,} sheets of {what} on"
                f" {at.astimezone().date().isoformat()} already; if more of them came, enter"
                " them as come again"
            )


def receipt_time(
    day: date | None, today: date, rather: str = "record what comes when it is there"
) -> datetime | None:
    """Return the moment at which to book what came on a day: its noon; None for now.

    Parameters
    ----------
    rather
        What to do instead if the day has not come yet, for the refusal.

    Raises
    ------
    Refusal
        If the day has not come yet.
    """
    if day is None or day == today:
        return None
    if day > today:
        raise Refusal(f"{day.isoformat()} has not come yet; {rather}")
    return datetime.combine(day, time(12)).astimezone(UTC)


def sheet_price(pack_price: Decimal, pack: int) -> Decimal:
    """Return the price of one sheet of a pack, to the fourth decimal, halves up."""
    price = Fraction(check_amount(pack_price, "the pack's price"))
    return round_to_decimals(price / whole_number(pack, "a pack", least=1), MOST_DECIMALS)


class DeliveryRow(NamedTuple):
    """What one delivery note brought, less what was undone."""

    supplier: str
    number: str
    first_received: datetime
    last_received: datetime
    sheets: int
    paid: Decimal


def list_deliveries(session: Session) -> list[DeliveryRow]:
    """Return what suppliers brought, the newest first.

    Returns
    -------
    list of DeliveryRow
        `paid` sums the prices that are known.
    """
    rows = session.execute(
        select(Delivery, Movement.change, Stock.price, Movement.at)
        .join(Transaction, Transaction.delivery_id == Delivery.id)
        .join(Movement, Movement.transaction_id == Transaction.id)
        .join(Stock, Movement.stock_id == Stock.id)
        .where(Movement.id.not_in(reversed_movements()))
        .order_by(Movement.id)
    )
    brought: dict[int, DeliveryRow] = {}
    for delivery, change, price, at in rows:
        paid = (price or Decimal(0)) * change
        known = brought.get(delivery.id)
        if known is None:
            known = DeliveryRow(delivery.supplier, delivery.number, at, at, 0, Decimal(0))
        brought[delivery.id] = known._replace(
            first_received=min(known.first_received, at),
            last_received=max(known.last_received, at),
            sheets=known.sheets + change,
            paid=known.paid + paid,
        )
    return sorted(brought.values(), key=lambda row: row.last_received, reverse=True)
