"""What to buy, by when and from whom, in words."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.core.money import format_money
from inventory.core.text import format_count

if TYPE_CHECKING:
    from datetime import date

    from inventory.purchasing.purchases import PurchaseRow
    from inventory.restocking.restock_list import OrderDeadline, RestockLine, RestockList

__all__ = [
    "deadline_source",
    "deadline_words",
    "offer_words",
    "order_by_words",
    "overdue_words",
    "reason_words",
    "restock_sum_words",
]

NO_OFFER = "not on sale"


def order_by_words(day: date | None, today: date) -> str:
    """Write the last day to order, and that it is over: ``2027-03-14``, ``(late)`` below it."""
    if day is None:
        return ""
    return f"{day.isoformat()}\n(late)" if day < today else day.isoformat()


def offer_words(line: RestockLine, currency: str) -> str:
    """Say from whom to buy, how many packs, and for how much."""
    if line.choice is None:
        return NO_OFFER
    offer = line.choice.offer
    packs = f"{format_count(line.choice.packs, 'pack')} of {offer.pack:,}"
    return f"{offer.supplier}\n{packs}, {format_money(Fraction(line.choice.price), currency)}"


def reason_words(line: RestockLine) -> str:
    """Say why a paper is to be bought, and what of it is on its way."""
    reasons = list(line.why)
    if line.on_order:
        reasons.append(f"{format_count(line.on_order, 'sheet')} already on the way")
    return "; ".join(reasons)


def restock_sum_words(found: RestockList, currency: str) -> list[str]:
    """Say what all of it costs, and that some of it has no price."""
    chosen = [line.choice for line in found.lines if line.choice is not None]
    sentences = []
    if chosen:
        goods = sum((Fraction(choice.price) for choice in chosen), Fraction(0))
        shipping = sum(found.shipping.values(), Fraction(0))
        delivery = f"shipping for {format_money(shipping, currency)} included"
        sentences.append(
            f"{format_money(goods + shipping, currency)} in all,"
            f" {delivery if shipping else 'free of shipping'}."
        )
    if len(chosen) < len(found.lines):
        sentences.append("Papers not on sale are on none of today's price lists.")
    return sentences


def overdue_words(row: PurchaseRow, today: date) -> str:
    """Say for how long a purchase has been overdue: ``Purchase 2 from Mill is 3 days overdue``."""
    late = format_count(row.days_late(today), "day")
    return f"Purchase {row.purchase.id} from {row.purchase.supplier.name} is {late} overdue."


def deadline_words(deadline: OrderDeadline, today: date) -> str:
    """Say by when to order a paper, or that it is on its way."""
    late = "\n(late)" if deadline.is_late(today) else ""
    if deadline.expected is not None:
        return f"on its way{late}"
    return f"{deadline.order_by.isoformat() if deadline.order_by else '?'}{late}"


def deadline_source(deadline: OrderDeadline) -> str:
    """Say who sends a paper that an order waits for."""
    if deadline.expected is None:
        return deadline.supplier or NO_OFFER
    expected = deadline.expected.isoformat()
    return f"{deadline.supplier}\npurchase {deadline.purchase}, expected {expected}"
