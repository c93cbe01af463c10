"""What orders cost, for a terminal and for programs."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from inventory.core.durations import format_minutes
from inventory.core.money import format_money
from inventory.costs.costing import Cost, CostCategory, CostLine
from inventory.documents.format.terminal_tables import table

if TYPE_CHECKING:
    from decimal import Decimal

    from rich.console import RenderableType

    from inventory.costs.order_costs import BatchCost, OrderCost

__all__ = ["batch_cost_text", "cost_text"]


def cost_text(order_cost: OrderCost) -> Group:
    """Return what an order costs and is sold for, as a table with a line for each part."""
    cost = order_cost.cost
    number = (
        "" if order_cost.order is None else f"Order {order_cost.order} for {order_cost.customer}: "
    )
    shown = table("", "Part", "What", "Amount", "Cost", right=frozenset({"Amount", "Cost"}))
    before: CostCategory | None = None
    for part in cost.lines:
        name = "" if part.category is before else str(part.category).capitalize()
        shown.add_row(name, Text(part.name), _quantity(part), _money(cost, part.amount))
        before = part.category
    shown.add_section()
    sale = cost.sale
    of_price = Text(f"{_rounded(100 * sale.margin_share, 1)} % of the price")
    shown.add_row(Text("Cost", style="bold"), "", "", _money(cost, cost.cost))
    shown.add_row("Fees", "", "", _money(cost, sale.fees))
    shown.add_row("Margin", "", of_price, _money(cost, sale.margin))
    unit_price = f"{cost.copies} × {_money(cost, sale.unit_price)}" if cost.copies > 1 else ""
    bold = Text(_money(cost, sale.price), style="bold")
    shown.add_row(Text("Price", style="bold"), "", unit_price, bold)
    lines: list[RenderableType] = [
        Text(f"{number}{cost.copies} × {order_cost.design}", style="bold"),
        Text(_basis(order_cost)),
        Text(f"{format_minutes(cost.minutes)} of work; {_weight(cost.grams)} packed"),
        shown,
        *(Text(note) for note in order_cost.notes),
    ]
    if cost.unweighed:
        lines.append(Text(f"Weight not known: {', '.join(cost.unweighed)}."))
    if cost.unknown:
        lines.append(Text("Not included:", style="bold"))
        lines += [Text(f"· {item}") for item in cost.unknown]
    return Group(*lines)


def _basis(order_cost: OrderCost) -> str:
    if order_cost.is_estimated:
        planned = "" if order_cost.order is None else "not planned yet, so "
        return f"Estimated: {planned}as if cut alone from new sheets"
    batches = ", ".join(map(str, order_cost.batches))
    return f"By the plan of batch {batches}"


def _money(cost: Cost, amount: Decimal) -> str:
    return format_money(amount, cost.currency)


def _rounded(number: Fraction, digits: int) -> str:
    return f"{float(number):.{digits}f}"


def _weight(grams: Fraction) -> str:
    return f"{_rounded(grams / 1000, 2)} kg" if grams >= 1000 else f"{round(grams)} g"


def _quantity(part: CostLine) -> str:
    if part.category is CostCategory.PACKAGING:
        return "1 parcel" if part.quantity == 1 else f"{part.quantity} parcels"
    if part.unit == "min":
        return format_minutes(part.quantity)
    if part.unit == "g":
        return _weight(part.quantity)
    if part.unit == "×":
        return f"{part.quantity} ×"
    return f"{_rounded(part.quantity, 3 if part.unit == 'm²' else 2)} {part.unit}"


def batch_cost_text(batch_cost: BatchCost) -> Group:
    """Return what a batch costs, shared among its orders."""

    def money(amount: Decimal) -> str:
        return format_money(amount, batch_cost.currency)

    right = frozenset({"Order", "Paper", "Cutting", "Total"})
    shown = table("", "Order", "For", "Paper", "Cutting", "Total", right=right)
    for row in batch_cost.rows:
        shown.add_row(
            str(row.order),
            Text(row.customer),
            money(row.paper),
            money(row.cutting),
            money(row.paper + row.cutting),
        )
    shown.add_section()
    whole = batch_cost.paper + batch_cost.cutting
    shown.add_row("", "All", money(batch_cost.paper), money(batch_cost.cutting), money(whole))
    return Group(
        Text(
            f"Batch {batch_cost.batch}: paper less the offcuts you keep, and cutting", style="bold"
        ),
        Text(f"About {format_minutes(batch_cost.minutes)} of cutting."),
        shown,
        Text("See all costs of an order with 'quirebox order cost NUMBER'."),
    )
