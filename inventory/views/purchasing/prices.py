"""Prices of today and of before, and what a new list changes, for people and programs."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.core.money import format_money
from inventory.documents.text.prices import change_kind_words, pack_words
from inventory.purchasing.prices import ListedPack, PriceChange, PriceRow
from inventory.views.listing import Column, Listing
from nester.core.lengths import Unit, format_size, to_mm_number

if TYPE_CHECKING:
    from decimal import Decimal

__all__ = ["offer_listing", "price_change_listing", "price_history_listing"]


def offer_listing(unit: Unit, currency: str) -> Listing[ListedPack]:
    """Return the list of what can be bought today, in the shop's currency."""
    return Listing(
        title="Prices today",
        columns=(
            Column("Paper", cell=lambda offer: offer.paper),
            Column("Size", cell=lambda offer: format_size(offer.width, offer.height, unit)),
            Column("Supplier", "supplier", lambda offer: offer.supplier),
            Column(key="paper", value=lambda offer: offer.paper),
            Column(key="width", value=lambda offer: to_mm_number(offer.width)),
            Column(key="height", value=lambda offer: to_mm_number(offer.height)),
            Column(
                "Pack",
                "pack",
                lambda offer: offer.pack,
                cell=lambda offer: pack_words(offer.pack, offer.least),
                right=True,
            ),
            Column(key="least", value=lambda offer: offer.least),
            Column(
                "Price",
                "price",
                lambda offer: f"{offer.price:f}",
                cell=lambda offer: format_money(Fraction(offer.price), currency),
                right=True,
            ),
            Column(
                "A sheet", cell=lambda offer: format_money(offer.sheet_price, currency), right=True
            ),
            Column(key="in", value=lambda _: currency),
            Column(key="asked", value=lambda offer: str(offer.list_price)),
            Column(key="currency", value=lambda offer: offer.currency),
            Column(
                "Days",
                "days",
                lambda offer: offer.lead_days,
                cell=lambda offer: str(offer.lead_days),
                right=True,
            ),
            Column(key="from", value=lambda offer: offer.since.isoformat()),
        ),
        empty="No prices today.",
    )


def price_history_listing(unit: Unit) -> Listing[PriceRow]:
    """Return the list of all prices ever stored, as the suppliers ask them."""
    return Listing(
        title="Price history",
        columns=(
            Column("From", cell=lambda row: row.day.isoformat(), no_wrap=True),
            Column("Paper", cell=lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column("Supplier", "supplier", lambda row: row.supplier),
            Column(key="paper", value=lambda row: row.paper),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(
                "Pack",
                "pack",
                lambda row: row.pack,
                cell=lambda row: pack_words(row.pack, row.least),
                right=True,
            ),
            Column(key="least", value=lambda row: row.least),
            Column(
                "Price",
                "asked",
                lambda row: None if row.amount is None else str(row.amount),
                cell=lambda row: (
                    "ended" if row.amount is None else format_money(row.amount, row.currency)
                ),
                right=True,
            ),
            Column(key="currency", value=lambda row: row.currency),
            Column(key="days", value=lambda row: row.days),
            Column(key="from", value=lambda row: row.day.isoformat()),
            Column(key="kept_at", value=lambda row: row.added_at.isoformat(timespec="seconds")),
            Column(
                "List", "list", lambda row: row.source, cell=lambda row: row.source or "by hand"
            ),
        ),
        empty="No prices yet.",
    )


def price_change_listing(unit: Unit) -> Listing[PriceChange]:
    """Return the list of what a price list changes."""

    def money(amount: tuple[Decimal, str] | None) -> str:
        return "" if amount is None else format_money(*amount)

    return Listing(
        title="New prices",
        columns=(
            Column("Supplier", cell=lambda change: change.supplier),
            Column("Paper", cell=lambda change: change.paper),
            Column("Size", cell=lambda change: format_size(*change.size, unit)),
            Column("Pack", cell=lambda change: pack_words(change.pack, change.least), right=True),
            Column("Before", cell=lambda change: money(change.before), right=True),
            Column("Now", cell=lambda change: money(change.now), right=True),
            Column("Change", cell=change_kind_words),
        ),
        empty="It changes no prices.",
    )
