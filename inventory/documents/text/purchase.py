"""Purchases in words: how far they are, what was billed, what is planned and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.core.money import format_money
from inventory.core.text import format_count
from inventory.purchasing.purchases import PurchaseStatus
from nester.core.lengths import Unit, format_size

if TYPE_CHECKING:
    from datetime import date

    from inventory.purchasing.purchases import InvoiceDifference, PurchaseRow

__all__ = [
    "difference_words",
    "least_order_words",
    "outstanding_words",
    "purchase_words",
    "receipt_words",
    "status_words",
]

_STATUS_WORDS = {
    PurchaseStatus.OPEN: "on its way",
    PurchaseStatus.IN_PART: "partly here",
    PurchaseStatus.RECEIVED: "all here",
    PurchaseStatus.CLOSED: "closed",
}


def status_words(row: PurchaseRow, today: date | None = None) -> str:
    """Say how far a purchase is, and for how long it has been overdue on a day, if one is given."""
    words = _STATUS_WORDS[row.status]
    late = 0 if today is None else row.days_late(today)
    return f"{words}, {format_count(late, 'day')} overdue" if late else words


def outstanding_words(row: PurchaseRow) -> str:
    """Say what is still to come: ``1 pack of Coal card, 2 packs of Moss linen``."""
    if not row.is_outstanding:
        return ""
    return ", ".join(
        f"{format_count(line.outstanding_packs, 'pack')} of {line.line.paper.name}"
        for line in row.lines
        if line.outstanding_packs
    )


def purchase_words(row: PurchaseRow, unit: Unit, today: date) -> list[str]:
    """Say what a purchase costs, when it is expected, and what was billed otherwise."""
    purchase = row.purchase
    goods = format_money(row.goods_value, purchase.currency)
    shipping = format_money(purchase.shipping, purchase.currency)
    sentences = [f"Goods {goods}, shipping {shipping}."]
    if row.is_outstanding:
        late = row.days_late(today)
        overdue = f", {format_count(late, 'day')} overdue" if late else ""
        ordered, expected = purchase.ordered.isoformat(), purchase.expected.isoformat()
        sentences.append(f"Ordered on {ordered}, expected on {expected}{overdue}.")
    return sentences + [difference_words(one, unit) for one in row.differences]


def difference_words(difference: InvoiceDifference, unit: Unit) -> str:
    """Say how much more or less than ordered was billed for a line."""
    how = "more" if difference.amount > 0 else "less"
    line = difference.line
    size = format_size(line.width, line.height, unit)
    amount = format_money(abs(difference.amount), difference.currency)
    return f"Billed {amount} {how} than ordered for {line.paper.name}, {size}."


def least_order_words(row: PurchaseRow) -> str:
    """Say that a purchase is smaller than its supplier sells; nothing if it is not."""
    supplier = row.purchase.supplier
    if row.goods_value >= supplier.least_order:
        return ""
    least = format_money(supplier.least_order, supplier.currency)
    return f"{supplier.name} takes no orders below {least}."


def receipt_words(before: PurchaseRow, after: PurchaseRow, labels: str) -> list[str]:
    """Say what was put into the stash of a purchase, and what is still to come."""
    sheets = format_count(before.outstanding_sheets - after.outstanding_sheets, "sheet")
    rest = after.outstanding_sheets
    still = f"{format_count(rest, 'sheet')} still to come." if rest else "All of it is here."
    return [f"Added {sheets} to {labels}.", still]
