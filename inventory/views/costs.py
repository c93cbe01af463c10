"""Costs as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from inventory.costs.order_costs import BatchCost, OrderCost

__all__ = ["batch_cost_as_json", "cost_as_json"]

_UNITS = {"m²": "m2", "×": "each"}
"""Units as programs know them, where that is not how people write them."""


def cost_as_json(order_cost: OrderCost) -> dict[str, Any]:
    """Return it as plain data; amounts are text, so that no program rounds them."""
    cost, sale = order_cost.cost, order_cost.cost.sale
    return {
        "order": order_cost.order,
        "customer": order_cost.customer,
        "design": order_cost.design,
        "copies": cost.copies,
        "currency": cost.currency,
        "estimated": order_cost.is_estimated,
        "batches": list(order_cost.batches),
        "parts": [
            {
                "part": str(part.category),
                "name": part.name,
                "quantity": round(float(part.quantity), 6),
                "unit": _UNITS.get(part.unit, part.unit),
                "amount": str(part.amount),
            }
            for part in cost.lines
        ],
        "cost": str(cost.cost),
        "fees": str(sale.fees),
        "margin": str(sale.margin),
        "margin_percent": round(float(100 * sale.margin_share), 2),
        "each": str(sale.unit_price),
        "price": str(sale.price),
        "minutes": round(float(cost.minutes), 3),
        "grams": round(float(cost.grams), 3),
        "unknown": list(cost.unknown),
        "unweighed": list(cost.unweighed),
        "notes": list(order_cost.notes),
    }


def batch_cost_as_json(batch_cost: BatchCost) -> dict[str, Any]:
    """Return it as plain data."""
    return {
        "batch": batch_cost.batch,
        "currency": batch_cost.currency,
        "paper": str(batch_cost.paper),
        "cutting": str(batch_cost.cutting),
        "minutes": round(float(batch_cost.minutes), 3),
        "orders": [
            {
                "order": row.order,
                "customer": row.customer,
                "paper": str(row.paper),
                "cutting": str(row.cutting),
            }
            for row in batch_cost.rows
        ],
    }
