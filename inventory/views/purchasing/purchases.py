"""Purchases and their lines, as lists for people and programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.core.money import format_money
from inventory.documents.text.purchase import outstanding_words, status_words
from inventory.purchasing.purchases import PurchaseLineStatus, PurchaseRow
from inventory.views.listing import Column, Listing
from nester.core.lengths import Unit, format_size, to_mm_number

if TYPE_CHECKING:
    from datetime import date

__all__ = ["purchase_as_json", "purchase_line_listing", "purchase_listing"]


def purchase_listing(unit: Unit, today: date, *, overdue: bool = False) -> Listing[PurchaseRow]:
    """Return the list of purchases, or of those that are overdue."""
    return Listing(
        title="Purchases",
        columns=(
            Column("No.", "purchase", lambda row: row.purchase.id, right=True),
            Column("Supplier", "supplier", lambda row: row.purchase.supplier.name),
            Column(key="number", value=lambda row: row.purchase.number),
            Column(key="state", value=lambda row: str(row.status)),
            Column(
                "Ordered", "ordered", lambda row: row.purchase.ordered.isoformat(), no_wrap=True
            ),
            Column(
                "Expected", "expected", lambda row: row.purchase.expected.isoformat(), no_wrap=True
            ),
            Column(key="days_late", value=lambda row: row.days_late(today)),
            Column(key="currency", value=lambda row: row.purchase.currency),
            Column(
                "Goods",
                "goods",
                lambda row: f"{row.goods_value:f}",
                cell=lambda row: format_money(row.goods_value, row.purchase.currency),
                right=True,
            ),
            Column(key="shipping", value=lambda row: str(row.purchase.shipping)),
            Column("Status", cell=lambda row: status_words(row, today)),
            Column("To come", cell=outstanding_words),
            Column(
                key="lines",
                value=lambda row: purchase_line_listing(row, unit).records(row.lines),
            ),
        ),
        empty="Nothing is overdue." if overdue else "Nothing is on its way.",
    )


def purchase_as_json(row: PurchaseRow, unit: Unit, today: date) -> dict[str, Any]:
    """Return a purchase with its lines, as plain data."""
    return purchase_listing(unit, today).records([row])[0]


def purchase_line_listing(row: PurchaseRow, unit: Unit) -> Listing[PurchaseLineStatus]:
    """Return the list of a purchase's lines, and what came of each."""
    purchase = row.purchase
    return Listing(
        title=f"Purchase {purchase.id} from {purchase.supplier.name}: {status_words(row)}",
        columns=(
            Column("Line", "line", lambda status: status.number, right=True),
            Column("Paper", "paper", lambda status: status.line.paper.name),
            Column(
                "Size",
                cell=lambda status: format_size(status.line.width, status.line.height, unit),
            ),
            Column(key="width", value=lambda status: to_mm_number(status.line.width)),
            Column(key="height", value=lambda status: to_mm_number(status.line.height)),
            Column("Packs", cell=lambda status: str(status.line.packs), right=True),
            Column("Sheets each", "pack", lambda status: status.line.pack, right=True),
            Column(key="packs", value=lambda status: status.line.packs),
            Column(
                "Pack price",
                "price",
                lambda status: str(status.line.amount),
                cell=lambda status: format_money(status.line.amount, purchase.currency),
                right=True,
            ),
            Column(
                "Came",
                "came",
                lambda status: status.received_packs,
                cell=lambda status: str(status.received_packs),
                right=True,
            ),
            Column(
                key="billed",
                value=lambda status: [
                    {"packs": packs, "price": str(amount)} for packs, amount in status.billed
                ],
            ),
        ),
        empty="It has no lines.",
    )
