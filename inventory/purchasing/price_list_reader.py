"""Read a supplier's price list from a file, and check each of its lines."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from functools import cache, partial
from typing import TYPE_CHECKING

from inventory.core.limits import MAX_LEAD_DAYS
from inventory.core.money import check_currency, parse_money
from inventory.core.table_files import check_count, read_list
from inventory.core.text import LONGEST_NAME, clean_name, fold, shorten, whole_number
from inventory.database.tables.purchasing import Supplier
from inventory.purchasing.prices import (
    ListedTerms,
    ParsedPriceList,
    PriceLine,
    check_positive,
    size_key,
)
from inventory.purchasing.suppliers import ExchangeRates, supplier_named
from inventory.stock.papers import find_paper, list_papers
from nester.core.errors import Hint, Refusal
from nester.core.lengths import Unit
from nester.core.sheet_sizes import parse_size

if TYPE_CHECKING:
    from datetime import date
    from decimal import Decimal
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.core.table_files import TableRow

__all__ = ["read_prices"]


def read_prices(
    session: Session,
    path: Path,
    unit: Unit,
    *,
    today: date,
    supplier: str | None = None,
    only_known: bool = False,
) -> ParsedPriceList:
    """Return the prices of a list, checked, to be shown before they are stored.

    Parameters
    ----------
    path
        Columns paper, size (see `nester.core.sheet_sizes.parse_size`), pack (sheets in it), price
        (of a pack); optional supplier, currency, least (packs), days, shipping, free from.
    unit
        The unit of bare numbers.
    today
        The day on which there must be a rate for each foreign currency.
    supplier
        Whose prices they are, where a line does not say it.
    only_known
        Pass over papers that the book doesn't know, in place of refusing the list.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(
        path,
        ("paper", "size", "pack", "price"),
        ("supplier", "currency", "least", "days", "shipping", "free from"),
    )
    reader = _PriceListReader(session, unit, today, supplier)
    passed_over = 0
    for row in rows:
        if only_known and not reader.knows(row):
            passed_over += 1
        else:
            reader.read(row)
    if not reader.lines:
        raise Refusal(
            f"{path}: none of its {len(rows):,} lines is of a paper the shop knows",
            Hint("list those", "paper list"),
        )
    source = shorten(path.name, LONGEST_NAME)
    return ParsedPriceList(source, dict(reader.lines), reader.terms, passed_over)


class _PriceListReader:
    """Reads line after line; the same word is looked up once."""

    def __init__(self, session: Session, unit: Unit, today: date, supplier: str | None) -> None:
        self._session = session
        self._papers = {paper.name_key: paper for paper in list_papers(session)}
        self._size = cache(partial(parse_size, unit=unit))
        self._rates = ExchangeRates(session, today)
        self._supplier = supplier
        self._known: dict[str, Supplier | None] = {}
        self._names: dict[str, str] = {}
        self._first: dict[tuple[object, ...], int] = {}
        self.lines: dict[str, list[PriceLine]] = defaultdict(list)
        self.terms: dict[str, ListedTerms] = {}

    def knows(self, row: TableRow) -> bool:
        return fold(row.text("paper")) in self._papers

    def read(self, row: TableRow) -> None:
        by = self._supplier_name(row)
        paper = self._papers[fold(row.read("paper", self._paper))]
        size = row.read("size", self._size)
        currency = self._currency(row, by)
        line = PriceLine(
            paper.name,
            size,
            row.count("pack"),
            row.read("price", _price),
            currency,
            row.count("least") if row.text("least") else 1,
            row.read("days", _days) if row.text("days") else None,
        )
        key = (by, paper.id, size_key(paper, size), line.pack, line.least)
        first = self._first.setdefault(key, row.line)
        if first != row.line:
            row.refuse("pack", f"the same pack of this paper and size stands in line {first} too")
        self.lines[by].append(line)

    def _paper(self, name: str) -> str:
        if fold(name) in self._papers:
            return name
        return find_paper(self._session, clean_name(name, "the paper")).name

    def _supplier_name(self, row: TableRow) -> str:
        """Return the name of a line's supplier."""
        if row.text("supplier"):
            name = row.name("supplier")
        elif self._supplier is not None:
            name = self._supplier
        else:
            row.refuse("supplier", "the supplier is missing; name it here, or once for all")
        by = self._names.get(fold(name))
        if by is None:
            known = supplier_named(self._session, name)
            by = self._names[fold(name)] = known.name if known else name
            self._known[by] = known
            self.terms[by] = ListedTerms()
        return by

    def _currency(self, row: TableRow, by: str) -> str:
        """Return a line's currency; the first of a new supplier is the supplier's own."""
        terms, known = self.terms[by], self._known[by]
        own = known.currency if known else terms.currency
        code = row.read("currency", check_currency) if row.text("currency") else own
        if code is None:
            code = self._rates.shop_currency
        if code not in self._rates:
            row.read("currency", lambda _: str(self._rates.rate(code)))
        terms = replace(terms, currency=terms.currency or code)
        shipping = self._term(row, "shipping", "the shipping", by, terms.shipping)
        free_from = self._term(
            row, "free from", "the sum from which shipping is free", by, terms.free_from
        )
        said = bool(row.text("shipping") or row.text("free from"))
        if said and code != (own or code):
            row.refuse("currency", f"the shipping of {shorten(by)} is in {own}, not in {code}")
        self.terms[by] = replace(terms, shipping=shipping, free_from=free_from)
        return code

    @staticmethod
    def _term(
        row: TableRow, column: str, what: str, by: str, before: Decimal | None
    ) -> Decimal | None:
        """Return what a line says of its supplier's terms; all lines must say the same."""
        if not row.text(column):
            return before
        amount = row.read(column, partial(parse_money, what=what))
        if before is not None and before != amount:
            row.refuse(column, f"of {shorten(by)} a line above says {before}, and this {amount}")
        return amount


def _price(text: str) -> Decimal:
    return check_positive(parse_money(text, "the price"))


def _days(text: str) -> int:
    return whole_number(check_count(text, 0), "the days to a delivery", most=MAX_LEAD_DAYS)
