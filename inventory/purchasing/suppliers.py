"""Who sells paper and on what terms, and exchange rates; one function for each change."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Context, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.limits import MAX_LEAD_DAYS
from inventory.core.money import (
    check_amount,
    check_currency,
    check_rate,
    parse_optional_money,
    round_to_coin,
)
from inventory.core.text import clean_name, clean_note, did_you_mean, fold, shorten, whole_number
from inventory.database.tables.purchasing import ExchangeRate, Supplier
from inventory.shop.settings import get_shop
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from sqlalchemy.orm import Session

__all__ = [
    "DEFAULT_LEAD_DAYS",
    "ExchangeRates",
    "SupplierTerms",
    "find_supplier",
    "list_rates",
    "list_suppliers",
    "read_free_from",
    "read_rate",
    "set_rate",
    "set_supplier",
    "supplier_named",
    "supplier_terms",
]

DEFAULT_LEAD_DAYS = 7
"""From an order to its delivery, where nobody says otherwise (common practice, no source)."""
_EXACT = Context(prec=60)
"""An amount times a rate has at most 30 digits, more than decimals keep by themselves."""
_RATE = re.compile(r"[0-9]{1,7}(?:[.,][0-9]{1,20})?")


# --- suppliers ---------------------------------------------------------------------------------


def set_supplier(
    session: Session,
    name: str,
    *,
    currency: str | None = None,
    shipping: Decimal | None = None,
    free_from: Decimal | None = None,
    never_free: bool = False,
    least_order: Decimal | None = None,
    days: int | None = None,
    note: str | None = None,
) -> tuple[Supplier, bool]:
    """Add a supplier, or change what is given of one that is in the book.

    Parameters
    ----------
    currency
        Of its prices and its shipping; the shop's, unless given, of a new one.
    shipping, free_from
        What a delivery costs, and from which sum of goods on it costs nothing, in its currency.
    never_free
        Shipping is never free, whatever was said before.
    least_order
        It sells no goods of less than this sum together, in its currency.
    days
        From an order to its delivery, 0 to 365; `DEFAULT_LEAD_DAYS` of a new one.

    Returns
    -------
    Supplier
    bool
        Whether it is new.

    Raises
    ------
    Refusal
        If one of them can't be so, or the currency changes and not all sums are given again.
    """
    supplier = supplier_named(session, name)
    is_new = supplier is None
    if supplier is None:
        supplier = Supplier(
            name=clean_name(name, "the supplier's name"), currency=get_shop(session).currency,
            shipping=Decimal(0), free_from=None, least_order=Decimal(0), days=DEFAULT_LEAD_DAYS,
            note="",
        )  # fmt: skip
    if free_from is not None and never_free:
        raise Refusal("shipping is free from a sum on, or never; say one of them")
    if currency is not None:
        code = check_currency(currency)
        not_given = (
            supplier.shipping and shipping is None,
            supplier.free_from is not None and free_from is None and not never_free,
            supplier.least_order and least_order is None,
        )
        if code != supplier.currency and any(not_given):
            raise Refusal(
                f"the terms of {shorten(supplier.name)} are in {supplier.currency}; say its"
                f" shipping, from when it is free, and its least order in {code}"
            )
        supplier.currency = code
    if shipping is not None:
        supplier.shipping = check_amount(shipping, "the shipping")
    if free_from is not None or never_free:
        what = "the sum from which shipping is free"
        supplier.free_from = None if free_from is None else check_amount(free_from, what)
    if least_order is not None:
        supplier.least_order = check_amount(least_order, "the least order")
    if days is not None:
        supplier.days = whole_number(days, "the days to a delivery", most=MAX_LEAD_DAYS)
    if note is not None:
        supplier.note = clean_note(note)
    session.add(supplier)
    session.flush()
    return supplier, is_new


def read_free_from(text: str | None) -> tuple[Decimal | None, bool]:
    """Read from which sum of goods shipping is free: an amount, ``never``, or nothing.

    Returns
    -------
    Decimal or None
        The sum; None if none is given.
    bool
        Whether shipping is never free.

    Raises
    ------
    Refusal
        If it is neither.
    """
    if text is not None and text.strip().casefold() == "never":
        return None, True
    return parse_optional_money(text, "the sum from which shipping is free"), False


def supplier_named(session: Session, name: str) -> Supplier | None:
    """Return the supplier of that name, however it is spelt, if it is in the book."""
    return session.scalar(select(Supplier).where(Supplier.name_key == fold(name)))


def find_supplier(session: Session, name: str) -> Supplier:
    """Return the supplier of that name, however it is spelt.

    Raises
    ------
    Refusal
        If there is none.
    """
    supplier = supplier_named(session, name)
    if supplier is None:
        near = did_you_mean(name, session.scalars(select(Supplier.name)))
        raise Refusal(
            f"there is no supplier '{shorten(name)}'{near}",
            None if near else Hint("add it", "buy supplier set", (name,)),
        )
    return supplier


def list_suppliers(session: Session) -> list[Supplier]:
    """Return all suppliers by name."""
    return list(session.scalars(select(Supplier).order_by(Supplier.name_key)))


# --- exchange rates -----------------------------------------------------------------------------


def read_rate(text: str) -> Decimal:
    """Read what one of a foreign currency is in the shop's: ``1.1725`` or ``1,1725``.

    Raises
    ------
    Refusal
        If it can't be read, or is out of the limits of `check_rate`.
    """
    written = text.strip()
    if not _RATE.fullmatch(written):
        raise Refusal(f"'{shorten(written)}' is not a rate; write it like 1.1725")
    return check_rate(Decimal(written.replace(",", ".")))


def set_rate(session: Session, currency: str, rate: Decimal, day: date) -> ExchangeRate:
    """Say what one of a foreign currency is in the shop's from a day on; earlier rates are kept.

    Raises
    ------
    Refusal
        If it is the shop's own currency, or one of them can't be so.
    """
    code = check_currency(currency)
    if code == get_shop(session).currency:
        raise Refusal(f"{code} is the shop's own currency; it needs no rate")
    made = ExchangeRate(currency=code, rate=check_rate(rate), day=day, set_at=datetime.now(UTC))
    session.add(made)
    session.flush()
    return made


def list_rates(session: Session) -> list[ExchangeRate]:
    """Return all rates ever set, by currency, the newest first."""
    newest = (ExchangeRate.currency, ExchangeRate.day.desc(), ExchangeRate.id.desc())
    return list(session.scalars(select(ExchangeRate).order_by(*newest)))


class ExchangeRates:
    """The exchange rates of a day, read once.

    Attributes
    ----------
    shop_currency
        The shop's currency.
    """

    def __init__(self, session: Session, day: date) -> None:
        self.shop_currency = get_shop(session).currency
        lines = select(ExchangeRate.currency, ExchangeRate.rate).where(ExchangeRate.day <= day)
        self._known: dict[str, Decimal] = {self.shop_currency: Decimal(1)}
        for currency, rate in session.execute(lines.order_by(ExchangeRate.day, ExchangeRate.id)):
            self._known[currency] = rate

    def __contains__(self, currency: str) -> bool:
        return currency in self._known

    def rate(self, currency: str) -> Decimal:
        """Return what one of a currency is in the shop's.

        Raises
        ------
        Refusal
            If nobody said so.
        """
        if currency not in self._known:
            raise Refusal(
                f"there is no rate for {currency}",
                Hint(
                    f"say what 1 {currency} is in {self.shop_currency}",
                    "buy rate set",
                    (currency, "1.17"),
                ),
            )
        return self._known[currency]

    def to_shop_currency(self, amount: Decimal, currency: str) -> Decimal:
        """Return an amount in the shop's currency, exactly.

        Raises
        ------
        Refusal
            If the currency has no exchange rate.
        """
        return _EXACT.multiply(amount, self.rate(currency))

    def convert(self, amount: Decimal, currency: str, other: str) -> Decimal:
        """Return an amount in another currency, rounded to its smallest coin if it must change.

        Raises
        ------
        Refusal
            If one of the currencies has no exchange rate.
        """
        if currency == other:
            return amount
        return round_to_coin(
            Fraction(amount) * self._stored_rate(currency) / self._stored_rate(other), other
        )

    def _stored_rate(self, currency: str) -> Fraction:
        return Fraction(self.rate(currency))


@dataclass(frozen=True)
class SupplierTerms:
    """What a supplier takes for a delivery, in the shop's currency, exactly.

    Attributes
    ----------
    shipping
        Of one delivery.
    free_from
        From this sum of goods on shipping costs nothing; None if it always costs.
    least_order
        It sells no goods of less than this sum together.
    lead_days
        From an order to its delivery, where an offer says nothing else.
    """

    supplier: str
    shipping: Decimal
    free_from: Decimal | None
    least_order: Decimal
    lead_days: int


def supplier_terms(
    session: Session, suppliers: Iterable[str] | None = None, *, today: date
) -> list[SupplierTerms]:
    """Return on what terms suppliers deliver, by name.

    Parameters
    ----------
    suppliers
        Their names; all that are in the book, unless given.
    today
        The day whose rates count.

    Raises
    ------
    Refusal
        If there is no such supplier, or no rate for its currency where it takes money.
    """
    rates = ExchangeRates(session, today)
    chosen = (
        list_suppliers(session)
        if suppliers is None
        else [find_supplier(session, name) for name in suppliers]
    )

    def own(amount: Decimal, supplier: Supplier) -> Decimal:
        return rates.to_shop_currency(amount, supplier.currency) if amount else Decimal(0)

    return [
        SupplierTerms(
            supplier.name,
            own(supplier.shipping, supplier),
            None if supplier.free_from is None else own(supplier.free_from, supplier),
            own(supplier.least_order, supplier),
            supplier.days,
        )
        for supplier in chosen
    ]
