"""What suppliers ask for their paper: lists that are kept, prices of today and of before.

Nothing of a list is ever overwritten.  Of a paper in a size the newest list counts that names it
and whose day has come, with all its lines of that paper and size; a list is stored where it says
something new.  A paper that has no top may be listed as 50 × 70 or as 70 × 50; that is one size.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import case, exists, func, insert, select, type_coerce
from sqlalchemy.orm import aliased

from inventory.core.limits import MAX_LEAD_DAYS
from inventory.core.money import check_amount, check_currency
from inventory.core.text import whole_number
from inventory.database.tables.base import Money
from inventory.database.tables.enums import GrainAxis, Pattern, StockKind
from inventory.database.tables.purchasing import Price, PriceList, Supplier
from inventory.database.tables.stock import Paper, Stock
from inventory.purchasing.suppliers import (
    ExchangeRates,
    find_supplier,
    set_supplier,
    supplier_named,
)
from inventory.shop.settings import get_shop
from inventory.stock.condition import grain_axis
from inventory.stock.papers import find_paper, list_papers
from nester.core.errors import Refusal
from nester.core.lengths import MAX_LENGTH, Length, format_size
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, Margins
from nester.core.sheet_sizes import Size

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date
    from decimal import Decimal

    from sqlalchemy import ColumnElement, Select
    from sqlalchemy.orm import Session


__all__ = [
    "ListedPack",
    "ListedTerms",
    "ParsedPriceList",
    "PriceChange",
    "PriceChangeKind",
    "PriceLine",
    "PriceRow",
    "SizeKey",
    "check_positive",
    "current_offers",
    "end_price",
    "last_margins",
    "new_suppliers",
    "price_changes",
    "price_history",
    "set_price",
    "size_key",
    "store_prices",
]


SizeKey = tuple[Length, Length]


def size_key(paper: Paper, size: tuple[Length, Length]) -> SizeKey:
    """Return what is equal for equal sheets: of a paper with a top, which side is which counts."""
    width, height = size
    if paper.pattern is Pattern.DIRECTIONAL:
        return width, height
    return min(width, height), max(width, height)


@dataclass(frozen=True)
class PriceLine:
    """What a supplier asks for a pack.

    Attributes
    ----------
    paper
        The name of a paper in the book.
    pack
        Sheets in it.
    amount
        More than zero, in `currency`.
    least
        Packs that must be ordered at least, at this price.
    days
        From the order to the delivery; the supplier's own unless given.
    """

    paper: str
    size: Size
    pack: int
    amount: Decimal
    currency: str
    least: int = 1
    days: int | None = None


@dataclass(frozen=True)
class ListedTerms:
    """What a list says of a supplier beside its prices; None where it says nothing."""

    currency: str | None = None
    shipping: Decimal | None = None
    free_from: Decimal | None = None


@dataclass(frozen=True)
class ParsedPriceList:
    """A list that was read and checked, but not stored yet.

    Attributes
    ----------
    source
        The name of its file.
    lines
        By supplier.
    terms
        Terms of suppliers, by the same names.
    skipped_lines
        How many lines were left out because the book knows no such paper.
    """

    source: str
    lines: dict[str, list[PriceLine]]
    terms: dict[str, ListedTerms] = field(default_factory=dict)
    skipped_lines: int = 0


def check_positive(amount: Decimal) -> Decimal:
    """Return the price of a pack, which is more than nothing."""
    if not amount:
        raise Refusal("the price of a pack must be more than 0; leave out what is not sold")
    return amount


def new_suppliers(session: Session, prices: ParsedPriceList) -> list[str]:
    """Return the suppliers of a list that the shop does not have yet."""
    return [name for name in prices.lines if supplier_named(session, name) is None]


# --- storing it --------------------------------------------------------------------------------


class PriceChangeKind(StrEnum):
    """What a list says of a pack that the book did not know."""

    NEW = "new"
    DEARER = "dearer"
    CHEAPER = "cheaper"
    OTHER = "other"
    """It costs as much; how it comes, or its currency, has changed."""
    ENDED = "ended"
    """It is not sold any more."""


class PriceChange(NamedTuple):
    """What is new of one pack; `before` and `now` are None where it was not, or is not, sold."""

    supplier: str
    paper: str
    size: Size
    pack: int
    least: int
    before: tuple[Decimal, str] | None
    now: tuple[Decimal, str] | None
    kind: PriceChangeKind


_Tier = tuple[int, int]
"""Sheets in a pack, and from how many packs on."""


class _ListedPrice(NamedTuple):
    """What a list says of one tier."""

    size: Size
    amount: Decimal
    currency: str
    days: int | None


_TierPrices = dict[_Tier, _ListedPrice]
_PriceBook = dict[tuple[int, SizeKey], _TierPrices]
"""By paper (`Paper.id`) and size."""


def price_changes(
    session: Session, sheet: ParsedPriceList, day: date, *, whole: bool = False
) -> list[PriceChange]:
    """Return what a list would change, from its day on; nothing is stored.

    Parameters
    ----------
    day
        The day from which its prices count.
    whole
        What a supplier of the list sells, and the list does not name, is not sold any more.
    """
    papers = {paper.id: paper.name for paper in list_papers(session)}
    changes: list[PriceChange] = []
    for by, lines in sheet.lines.items():
        supplier = supplier_named(session, by)
        before = {} if supplier is None else _current_prices(session, day, supplier)
        for (paper, key), group in _changed_prices(session, lines, before, whole=whole).items():
            old = before.get((paper, key), {})
            for tier in dict.fromkeys([*group, *old]):
                change = _change(by, papers[paper], tier, old.get(tier), group.get(tier))
                if change is not None:
                    changes.append(change)
    return changes


def _change(
    by: str, paper: str, tier: _Tier, old: _ListedPrice | None, new: _ListedPrice | None
) -> PriceChange | None:
    was = None if old is None else (old.amount, old.currency)
    if new is None:
        return (
            None
            if old is None
            else PriceChange(by, paper, old.size, *tier, was, None, PriceChangeKind.ENDED)
        )
    if old is None:
        news = PriceChangeKind.NEW
    elif old[1:] == new[1:]:
        return None
    elif old.currency != new.currency or old.amount == new.amount:
        news = PriceChangeKind.OTHER
    else:
        news = PriceChangeKind.DEARER if new.amount > old.amount else PriceChangeKind.CHEAPER
    return PriceChange(by, paper, new.size, *tier, was, (new.amount, new.currency), news)


def store_prices(
    session: Session, sheet: ParsedPriceList, day: date, *, whole: bool = False
) -> list[PriceList]:
    """Keep the prices of a list from a day on, and what it says of its suppliers' terms.

    A supplier who is new is added.

    Parameters
    ----------
    day
        The day from which they count; it may be to come.
    whole
        See `price_changes`.

    Returns
    -------
    list of PriceList
        One for each supplier, also where it said nothing new.

    Raises
    ------
    Refusal
        If a supplier's terms can't be so.
    """
    made = []
    for by, lines in sheet.lines.items():
        terms = sheet.terms.get(by, ListedTerms())
        known = supplier_named(session, by)
        if known is None or terms.shipping is not None or terms.free_from is not None:
            supplier, _ = set_supplier(
                session, by if known is None else known.name,
                currency=terms.currency if known is None else None,
                shipping=terms.shipping, free_from=terms.free_from,
            )  # fmt: skip
        else:
            supplier = known
        before = _current_prices(session, day, supplier)
        news = _changed_prices(session, lines, before, whole=whole)
        made.append(_store(session, supplier, day, sheet.source, news, before))
    return made


def _changed_prices(
    session: Session, lines: Sequence[PriceLine], before: _PriceBook, *, whole: bool
) -> _PriceBook:
    """Return of which papers and sizes a list says something new, and what."""
    papers: dict[str, Paper] = {}
    said: _PriceBook = defaultdict(dict)
    for line in lines:
        paper = papers.get(line.paper)
        if paper is None:
            paper = papers[line.paper] = find_paper(session, line.paper)
        group = said[paper.id, size_key(paper, line.size)]
        group[line.pack, line.least] = _ListedPrice(
            line.size, line.amount, line.currency, line.days
        )
    news = {key: group for key, group in said.items() if not _same_prices(group, before.get(key))}
    if whole:
        news |= {key: {} for key in before if key not in said}
    return news


def _same_prices(group: _TierPrices, before: _TierPrices | None) -> bool:
    return before is not None and {t: s[1:] for t, s in group.items()} == {
        t: s[1:] for t, s in before.items()
    }


def _store(
    session: Session,
    supplier: Supplier,
    day: date,
    source: str,
    news: Mapping[tuple[int, SizeKey], _TierPrices],
    before: _PriceBook,
) -> PriceList:
    made = PriceList(supplier_id=supplier.id, day=day, added_at=datetime.now(UTC), source=source)
    session.add(made)
    session.flush()
    rows: list[dict[str, Any]] = []
    for (paper, key), group in news.items():
        for (pack, least), said in (group or before[paper, key]).items():
            rows.append({
                "list_id": made.id, "paper_id": paper, "width": said.size.width,
                "height": said.size.height, "pack": pack, "amount": said.amount if group else None,
                "currency": said.currency, "least": least, "days": said.days,
            })  # fmt: skip
    if rows:
        session.execute(insert(Price), rows)
    return made


def set_price(
    session: Session,
    supplier: str,
    paper: str,
    size: Size | tuple[Length, Length],
    amount: Decimal,
    *,
    pack: int = 1,
    least: int = 1,
    currency: str | None = None,
    days: int | None = None,
    day: date,
) -> PriceList:
    """Say what a supplier asks for a pack from a day on; its other packs stay as they are.

    Parameters
    ----------
    currency
        The supplier's own, unless given.

    Raises
    ------
    Refusal
        If there is no such supplier or paper, or something can't be so.
    """
    by, its = find_supplier(session, supplier), find_paper(session, paper)
    if not all(0 < length <= MAX_LENGTH for length in size):
        raise Refusal("a sheet's width and height must be more than zero and at most 10 m")
    code = by.currency if currency is None else check_currency(currency)
    ExchangeRates(session, day).rate(code)
    before = _current_prices(session, day, by)
    key = its.id, size_key(its, size)
    tier = (
        whole_number(pack, "the sheets in a pack", least=1),
        whole_number(least, "the packs to order at least", least=1),
    )
    said = _ListedPrice(
        Size(*size), check_positive(check_amount(amount, "the price")), code,
        None if days is None else whole_number(days, "the days to a delivery", most=MAX_LEAD_DAYS),
    )  # fmt: skip
    return _store(session, by, day, "", {key: {**before.get(key, {}), tier: said}}, before)


def end_price(
    session: Session,
    supplier: str,
    paper: str,
    size: Size | tuple[Length, Length],
    *,
    pack: int | None = None,
    day: date,
) -> PriceList:
    """Say that a supplier does not sell a paper in a size any more, from a day on.

    Parameters
    ----------
    pack
        Only not in packs of that many sheets.

    Raises
    ------
    Refusal
        If it does not sell that anyway.
    """
    by, its = find_supplier(session, supplier), find_paper(session, paper)
    before = _current_prices(session, day, by)
    key = its.id, size_key(its, size)
    group = before.get(key, {})
    rest = {tier: said for tier, said in group.items() if pack is not None and tier[0] != pack}
    if rest == group:
        shown = format_size(size[0], size[1], get_shop(session).unit)
        of = "" if pack is None else f" in packs of {pack:,}"
        raise Refusal(f"{by.name} sells no {its.name} {shown}{of}")
    return _store(session, by, day, "", {key: rest}, before)


# --- what counts on a day ----------------------------------------------------------------------


def _rank_by_date(
    day: date, *which: ColumnElement[bool]
) -> Select[Price, Decimal, Paper, date, Supplier]:
    """Select the lines that count on a day: of each paper and size those of its newest list."""
    low = case((Price.width <= Price.height, Price.width), else_=Price.height)
    high = case((Price.width <= Price.height, Price.height), else_=Price.width)
    has_top = Paper.pattern == Pattern.DIRECTIONAL
    rank = func.dense_rank().over(
        partition_by=(
            PriceList.supplier_id, Price.paper_id, case((has_top, Price.width), else_=low),
            case((has_top, Price.height), else_=high),
        ),
        order_by=(PriceList.day.desc(), PriceList.id.desc()),
    )  # fmt: skip
    lines = (
        select(Price.id, rank.label("rank"))
        .join(PriceList, Price.list_id == PriceList.id)
        .join(Paper, Price.paper_id == Paper.id)
        .where(PriceList.day <= day, *which)
        .subquery()
    )
    # Those that ended have no amount, which the columns of a row can't say to the type checker.
    amount = type_coerce(Price.amount, Money()).label("asked")
    return (
        select(Price, amount, Paper, PriceList.day, Supplier)
        .join(lines, lines.c.id == Price.id)
        .join(PriceList, Price.list_id == PriceList.id)
        .join(Supplier, PriceList.supplier_id == Supplier.id)
        .join(Paper, Price.paper_id == Paper.id)
        .where(lines.c.rank == 1, Price.amount.is_not(None))
        .order_by(
            Paper.name_key, Price.width, Price.height, Supplier.name_key, Price.pack, Price.least
        )
    )


def _current_prices(session: Session, day: date, supplier: Supplier) -> _PriceBook:
    """Return what a supplier sells on a day."""
    book: _PriceBook = defaultdict(dict)
    for price, amount, paper, _, _ in session.execute(
        _rank_by_date(day, PriceList.supplier_id == supplier.id)
    ):
        size = Size(price.width, price.height)
        book[paper.id, size_key(paper, size)][price.pack, price.least] = _ListedPrice(
            size, amount, price.currency, price.days
        )
    return book


@dataclass(frozen=True)
class ListedPack:
    """A pack that can be bought today.

    Attributes
    ----------
    supplier, paper
        Their names.
    width, height
        Of a sheet, in fine units, as the supplier lists it.
    pack
        Sheets in it.
    price
        Of a pack, in the shop's currency; exact: what is asked times the rate, never rounded.
    least
        Packs that must be ordered at least, at this price.
    lead_days
        From the order to the delivery.
    list_price, currency
        Of a pack, as the supplier asks it.
    since
        The day from which it is asked.
    margins
        As they were of such sheets the last time.
    grain
        Along which of a sheet's sides its grain runs, if that is known of the paper.
    """

    supplier: str
    paper: str
    width: Length
    height: Length
    pack: int
    price: Decimal
    least: int
    lead_days: int
    list_price: Decimal
    currency: str
    since: date
    margins: Margins = NO_MARGINS
    grain: Grain = Grain.ANY

    @property
    def sheet_price(self) -> Fraction:
        """The price of one sheet of a pack, in the shop's currency."""
        return Fraction(self.price) / self.pack


def current_offers(
    session: Session,
    papers: Iterable[str] | None = None,
    *,
    today: date,
    supplier: str | None = None,
) -> list[ListedPack]:
    """Return all packs that can be bought on a day, in the shop's currency.

    On what terms they are sent is said by `inventory.purchasing.suppliers.supplier_terms`.

    Parameters
    ----------
    papers
        The names of papers in the book; all, unless given.
    today
        The day whose prices and rates count.
    supplier
        Only what this one sells.

    Returns
    -------
    list of ListedPack
        By paper, size, supplier, pack and least order.

    Raises
    ------
    Refusal
        If there is no such paper or supplier, or no rate for a currency.
    """
    which: list[ColumnElement[bool]] = []
    if papers is not None:
        which.append(Price.paper_id.in_([find_paper(session, name).id for name in papers]))
    if supplier is not None:
        which.append(PriceList.supplier_id == find_supplier(session, supplier).id)
    rates, margins = ExchangeRates(session, today), last_margins(session)
    return [
        ListedPack(
            by.name, paper.name, price.width, price.height, price.pack,
            rates.to_shop_currency(amount, price.currency), price.least,
            by.days if price.days is None else price.days, amount, price.currency, day,
            margins.get((paper.id, price.width, price.height), NO_MARGINS),
            grain_axis(
                StockKind.SHEET, (price.width, price.height), GrainAxis.UNKNOWN, paper.grain
            ),
        )
        for price, amount, paper, day, by in session.execute(_rank_by_date(today, *which))
    ]  # fmt: skip


def last_margins(session: Session) -> dict[tuple[int, Length, Length], Margins]:
    """Return the margins of the newest sheets of each paper (`Paper.id`) and size that have any."""
    newer = aliased(Stock)
    sheets = select(
        Stock.paper_id, Stock.width, Stock.height,
        Stock.margin_left, Stock.margin_top, Stock.margin_right, Stock.margin_bottom,
    ).where(
        Stock.kind == StockKind.SHEET,
        Stock.margin_left + Stock.margin_top + Stock.margin_right + Stock.margin_bottom > 0,
        ~exists().where(
            newer.kind == StockKind.SHEET,
            newer.paper_id == Stock.paper_id,
            newer.width == Stock.width,
            newer.height == Stock.height,
            newer.number > Stock.number,
        ),
    )  # fmt: skip
    return {
        (paper, width, height): Margins(*margins)
        for paper, width, height, *margins in session.execute(sheets)
    }


class PriceRow(NamedTuple):
    """One line of a price list; `amount` is None if it says that the pack is not sold any more."""

    supplier: str
    paper: str
    width: Length
    height: Length
    pack: int
    least: int
    amount: Decimal | None
    currency: str
    days: int | None
    day: date
    added_at: datetime
    source: str


def price_history(
    session: Session, *, paper: str | None = None, supplier: str | None = None
) -> list[PriceRow]:
    """Return all prices ever kept, the newest first.

    Raises
    ------
    Refusal
        If there is no such paper or supplier.
    """
    query = (
        select(Price, PriceList, Supplier.name, Paper.name)
        .join(PriceList, Price.list_id == PriceList.id)
        .join(Supplier, PriceList.supplier_id == Supplier.id)
        .join(Paper, Price.paper_id == Paper.id)
        .order_by(PriceList.day.desc(), PriceList.id.desc(), Price.id)
    )
    if paper is not None:
        query = query.where(Price.paper_id == find_paper(session, paper).id)
    if supplier is not None:
        query = query.where(PriceList.supplier_id == find_supplier(session, supplier).id)
    return [
        PriceRow(
            by, name, price.width, price.height, price.pack, price.least, price.amount,
            price.currency, price.days, its.day, its.added_at, its.source,
        )
        for price, its, by, name in session.execute(query)
    ]  # fmt: skip
