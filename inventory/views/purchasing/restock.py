"""What to buy, and by when, as lists for people and programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.documents.text.restock import (
    deadline_source,
    deadline_words,
    offer_words,
    order_by_words,
    reason_words,
)
from inventory.restocking.restock_list import OrderDeadline, RestockLine
from inventory.views.listing import Column, Listing
from nester.core.lengths import format_size, to_mm_number

if TYPE_CHECKING:
    from datetime import date

    from nester.core.lengths import Unit

__all__ = ["deadline_listing", "restock_listing"]


def restock_listing(unit: Unit, currency: str, today: date) -> Listing[RestockLine]:
    """Return the list of what to buy and why."""
    return Listing(
        title="To buy",
        columns=(
            Column(
                "Order by", cell=lambda line: order_by_words(line.order_by, today), no_wrap=True
            ),
            Column(
                "Paper",
                cell=lambda line: f"{line.paper}\n{format_size(line.width, line.height, unit)}",
            ),
            Column("Sheets", cell=lambda line: str(line.sheets or "?"), right=True),
            Column("From", cell=lambda line: offer_words(line, currency)),
            Column("Why", cell=reason_words),
            Column(key="paper", value=lambda line: line.paper),
            Column(key="width", value=lambda line: to_mm_number(line.width)),
            Column(key="height", value=lambda line: to_mm_number(line.height)),
            Column(key="sheets", value=lambda line: line.sheets),
            Column(key="why", value=lambda line: line.why),
            Column(key="orders", value=lambda line: list(line.orders)),
            Column(key="below", value=_below),
            Column(key="needed", value=lambda line: _day(line.needed)),
            Column(key="order_by", value=lambda line: _day(line.order_by)),
            Column(key="on_its_way", value=lambda line: line.on_order),
            Column(key="buy", value=lambda line: _choice(line, currency)),
        ),
        empty="Nothing to buy.",
    )


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _below(line: RestockLine) -> dict[str, Any] | None:
    if line.low is None:
        return None
    return {
        "left": line.low.remaining,
        "reorder": line.low.reorder_point,
        "target": line.low.target,
        "any_size": line.low.any_size,
    }


def _choice(line: RestockLine, currency: str) -> dict[str, Any] | None:
    if line.choice is None:
        return None
    offer = line.choice.offer
    return {
        "supplier": offer.supplier,
        "packs": line.choice.packs,
        "pack": offer.pack,
        "price": f"{line.choice.price:f}",
        "currency": currency,
        "days": offer.lead_days,
    }


def deadline_listing(unit: Unit, today: date) -> Listing[OrderDeadline]:
    """Return the list of what must be ordered by when."""

    def paper(row: OrderDeadline) -> str:
        if row.width is None or row.height is None:
            return row.paper
        return f"{row.paper}\n{format_size(row.width, row.height, unit)}"

    def millimetres(length: int | None) -> int | float | None:
        return None if length is None else to_mm_number(length)

    return Listing(
        title="When to order",
        columns=(
            Column("Order by", cell=lambda row: deadline_words(row, today), no_wrap=True),
            Column("Order", "order", lambda row: row.order, right=True),
            Column("For", "customer", lambda row: row.customer),
            Column("Due", "due", lambda row: row.due.isoformat(), no_wrap=True),
            Column("Paper", cell=paper),
            Column("Needed by", cell=lambda row: row.needed.isoformat(), no_wrap=True),
            Column("From", cell=deadline_source),
            Column(key="paper", value=lambda row: row.paper),
            Column(key="width", value=lambda row: millimetres(row.width)),
            Column(key="height", value=lambda row: millimetres(row.height)),
            Column(key="needed", value=lambda row: row.needed.isoformat()),
            Column(key="order_by", value=lambda row: _day(row.order_by)),
            Column(key="supplier", value=lambda row: row.supplier),
            Column(key="purchase", value=lambda row: row.purchase),
            Column(key="expected", value=lambda row: _day(row.expected)),
            Column(key="late", value=lambda row: row.is_late(today)),
        ),
        empty="No confirmed order waits for paper.",
    )
