"""What suppliers brought, and what a list would bring, as lists."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.core.money import format_money
from inventory.core.text import format_count
from inventory.documents.text.times import local_day
from inventory.shop.settings import get_shop
from inventory.stock.receiving import list_deliveries
from inventory.views.listing import Column, Listing
from nester.core.lengths import format_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from inventory.database.tables.shop import Shop
    from inventory.stock.receiving import DeliveryRow, ReceiptLine

__all__ = ["delivery_list", "receipt_listing", "receipt_sum"]


def receipt_listing(shop: Shop) -> Listing[ReceiptLine]:
    """Describe the lines of a list that is not in the stash yet."""
    return Listing(
        title="To be added",
        columns=(
            Column("Paper", value=lambda line: line.paper),
            Column("Size", cell=lambda line: format_size(*line.size[:2], shop.unit)),
            Column("Amount", value=lambda line: line.quantity, right=True),
            Column(
                "Each",
                cell=lambda line: (
                    "" if line.price is None else format_money(line.price, shop.currency)
                ),
                right=True,
            ),
            Column("Lot", value=lambda line: line.lot),
            Column("Place", value=lambda line: line.place),
        ),
        empty="The list is empty.",
    )


def receipt_sum(lines: Sequence[ReceiptLine], shop: Shop, what: str) -> str:
    """Say how much all lines bring and what they cost: ``Together 12 sheets for 3.40 EUR``.

    Parameters
    ----------
    what
        ``sheet`` or ``offcut``.
    """
    paid = sum((line.quantity * (line.price or Decimal(0)) for line in lines), Decimal(0))
    number = format_count(sum(line.quantity for line in lines), what)
    return f"Together {number} for {format_money(paid, shop.currency)}"


def delivery_list(session: Session) -> tuple[Listing[DeliveryRow], list[DeliveryRow]]:
    """Return what suppliers brought, delivery note by delivery note, the newest first."""
    currency = get_shop(session).currency
    listing: Listing[DeliveryRow] = Listing(
        title="Deliveries",
        columns=(
            Column("Last", cell=lambda row: local_day(row.last_received)),
            Column("Supplier", "supplier", lambda row: row.supplier),
            Column("Note", "note_number", lambda row: row.number),
            Column(key="first", value=lambda row: row.first_received.isoformat(timespec="seconds")),
            Column(key="last", value=lambda row: row.last_received.isoformat(timespec="seconds")),
            Column("Sheets", "sheets", lambda row: row.sheets, lambda row: str(row.sheets),
                   right=True),
            Column(
                "Paid",
                "paid",
                lambda row: str(row.paid),
                lambda row: format_money(row.paid, currency),
                right=True,
            ),
        ),
        empty="No deliveries with a supplier's name yet.",
    )  # fmt: skip
    return listing, list_deliveries(session)
