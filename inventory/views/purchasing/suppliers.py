"""Suppliers with their terms, and exchange rates, as lists for people and programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.core.money import format_money
from inventory.views.listing import Column, Listing
from nester.core.errors import Hint

if TYPE_CHECKING:
    from inventory.database.tables.purchasing import ExchangeRate, Supplier

__all__ = ["SUPPLIERS", "exchange_rate_listing"]


def _free_from(supplier: Supplier) -> str:
    if not supplier.shipping:
        return ""
    if supplier.free_from is None:
        return "never"
    return format_money(supplier.free_from, supplier.currency)


def _least_order(supplier: Supplier) -> str:
    if not supplier.least_order:
        return ""
    return format_money(supplier.least_order, supplier.currency)


SUPPLIERS: Listing[Supplier] = Listing(
    title="Suppliers",
    columns=(
        Column("Supplier", "supplier", lambda row: row.name),
        Column(key="currency", value=lambda row: row.currency),
        Column(
            "Shipping",
            "shipping",
            lambda row: str(row.shipping),
            cell=lambda row: format_money(row.shipping, row.currency),
            right=True,
        ),
        Column(
            "Free from",
            "free_from",
            lambda row: None if row.free_from is None else str(row.free_from),
            cell=_free_from,
            right=True,
        ),
        Column(
            "Smallest order",
            "least_order",
            lambda row: str(row.least_order),
            cell=_least_order,
            right=True,
        ),
        Column("Days", "days", lambda row: row.days, cell=lambda row: str(row.days), right=True),
        Column("Note", "note", lambda row: row.note),
    ),
    empty="No suppliers yet.",
    hint=Hint("add one", "buy supplier set"),
)


def exchange_rate_listing(currency: str) -> Listing[ExchangeRate]:
    """Return the list of exchange rates in the shop's currency."""
    return Listing(
        title="Exchange rates",
        columns=(
            Column("From", cell=lambda row: row.day.isoformat(), no_wrap=True),
            Column(
                "Rate",
                "currency",
                lambda row: row.currency,
                cell=lambda row: f"1 {row.currency} is {row.rate:f} {currency}",
            ),
            Column(key="rate", value=lambda row: f"{row.rate:f}"),
            Column(key="in", value=lambda _: currency),
            Column(key="from", value=lambda row: row.day.isoformat()),
            Column(key="set_at", value=lambda row: row.set_at.isoformat(timespec="seconds")),
        ),
        empty="No exchange rates yet.",
        hint=Hint("set one", "buy rate set"),
    )
