"""Purchases in words: how far they are, what was billed, what is planned and what it costs."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.core.money import floor_to_coin, format_money, round_to_coin, smallest_coin
from inventory.core.text import format_count
from inventory.documents.text.consumables import consumables_words
from inventory.purchasing.purchases import PurchaseStatus
from nester.core.lengths import Unit, format_size
from nester.designs.base.totals import total_consumables

if TYPE_CHECKING:
    from datetime import date

    from inventory.advice.estimate import DesignEstimate
    from inventory.purchasing.purchases import InvoiceDifference, PurchaseRow
    from inventory.restocking.purchase_plan import RestockPlan
    from nester.core.purchase import Offer

__all__ = [
    "amount_words",
    "difference_words",
    "estimate_words",
    "late_orders",
    "least_order_words",
    "offer_words",
    "order_words",
    "outstanding_words",
    "plan_words",
    "possible_saving_words",
    "purchase_words",
    "receipt_words",
    "savings_words",
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
    return sentences + [difference_words(difference, unit) for difference in row.differences]


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


# --- planned purchases -------------------------------------------------------------------------

_WORTH_A_SHARE = 100
"""Smallest coins from which on a share says more than the money alone: one euro, 100 yen."""
_MOST_ORDERS = 4
STOPPED = "The search was stopped early; this is the best plan found by then."


def plan_words(plan: RestockPlan, today: date) -> list[str]:
    """Say what a planned purchase costs, how good it is, and for which orders it is late."""
    bought, sentences = plan.bought, []
    if plan.lines:
        total = format_money(plan.cost, plan.currency)
        saving = savings_words(plan.cost, plan.lower_bound, plan.currency)
        sentences.append(f"{total} in all; {saving}")
    elif not plan.unoffered:
        return ["Nothing to buy: what you have, or what is on its way, is enough."]
    if plan.unoffered:
        sentences.append("Papers not on sale are on none of today's price lists.")
    late = late_orders(plan, today)
    if late:
        sentences.append(f"Some of it arrives too late for {order_words(late)}.")
    if bought.interrupted:
        sentences.append(STOPPED)
    return sentences


def savings_words(cost: Fraction, lower_bound: Fraction, currency: str) -> str:
    """Say how much less a purchase could cost: ``up to 0.40 EUR could still be saved``."""
    if lower_bound == cost:
        return "proven: no purchase that is enough costs less."
    return f"{_saving(cost, lower_bound, currency)} could still be saved."


def possible_saving_words(cost: Fraction, lower_bound: Fraction, currency: str) -> str:
    """Say how much less a purchase could cost, for a table: ``no``, ``by up to 0.40 EUR``."""
    return "no" if lower_bound == cost else f"by {_saving(cost, lower_bound, currency)}"


def _saving(cost: Fraction, lower_bound: Fraction, currency: str) -> str:
    """Write what could be saved: money first, a share only where the money is worth one."""
    coin = smallest_coin(currency)
    saving = round_to_coin(cost, currency) - floor_to_coin(lower_bound, currency)
    if saving < coin:
        return f"less than {amount_words(Fraction(coin), currency)}"
    share = ""
    if saving >= _WORTH_A_SHARE * coin:
        share = f" ({max(1, round(100 * Fraction(saving) / cost))} %)"
    return f"up to {amount_words(Fraction(saving), currency)}{share}"


def amount_words(value: Fraction, currency: str) -> str:
    """Write an amount of money, without a currency where there is no shop to give one."""
    return format_money(value, currency) if currency else f"{float(value):,.2f}"


def offer_words(offer: Offer, unit: Unit) -> str:
    """Say what a sheet on offer is: ``Coal card 50 × 70 cm, 25 a pack, Paper mill``."""
    words = [f"{offer.paper} {format_size(offer.width, offer.height, unit)}"]
    if offer.pack_size > 1:
        words.append(f"{offer.pack_size:,} a pack")
    if offer.supplier:
        words.append(offer.supplier)
    return ", ".join(words)


def estimate_words(found: DesignEstimate) -> list[str]:
    """Say what an estimate leaves out, what is needed apart from paper, and if it was stopped."""
    sentences = []
    if found.estimates[0].purchase_plan.cutting_plan.unplaced:
        sentences.append("The costs don't include the pieces that are not placed.")
    if any(estimate.purchase_plan.interrupted for estimate in found.estimates):
        sentences.append(STOPPED)
    if not found.task.terms:
        sentences.append(
            "Calculated with the prices you gave; shipping is not counted."
            if found.task.is_priced
            else "No prices were given, so this is the least paper by area that was found."
        )
    totals = total_consumables(found.task.consumables)
    if totals:
        copies = found.task.quantity
        needs = consumables_words(totals, copies, found.task.unit)
        each = "one copy needs" if copies == 1 else f"{copies} copies need"
        sentences.append(f"Apart from paper, {each}: {needs}.")
    return sentences


def late_orders(plan: RestockPlan, today: date) -> tuple[int, ...]:
    """Return the numbers of the orders for which some of a planned purchase arrives too late."""
    late = [line for line in plan.lines if line.order_by is not None and line.order_by < today]
    return tuple(sorted({number for line in late for number in line.orders}))


def order_words(numbers: tuple[int, ...]) -> str:
    """Name some orders: ``order 3``, ``orders 3, 5``, ``orders 1, 2, 3, 4 and 2 more``."""
    shown = ", ".join(map(str, numbers[:_MOST_ORDERS]))
    if len(numbers) > _MOST_ORDERS:
        shown += f" and {len(numbers) - _MOST_ORDERS} more"
    return f"{'order' if len(numbers) == 1 else 'orders'} {shown}"
