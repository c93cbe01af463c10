"""A plan as plain data for programs; lengths are numbers of millimetres, money is text.

Its schema is `views/schemas_json/batch.json`.
"""

from __future__ import annotations

from typing import Any

from inventory.core.plan import Plan, PlannedLayout
from inventory.views.production.cutting import (
    margins_as_json,
    rect_as_json,
    steps_as_json,
    trimmer_as_json,
)
from nester.core.lengths import to_mm_number
from nester.core.piece import Grain
from nester.core.problem import Rect

__all__ = ["plan_as_json"]


def plan_as_json(plan: Plan) -> dict[str, Any]:
    """Return all that a plan says."""
    return {
        "batch": plan.batch,
        "made_on": plan.made_on.isoformat(),
        "unit": "mm",
        "currency": plan.currency,
        "cuts": str(plan.cuts),
        "effort": str(plan.effort),
        "cost": str(plan.cost),
        "kept": str(plan.kept),
        "bound": str(plan.bound),
        "gap": float(plan.optimality_gap),
        "apart": to_mm_number(plan.apart),
        "trimmer": trimmer_as_json(plan.trimmer),
        "follow_grain": plan.follow_grain,
        "orders": [
            {
                "number": order.number,
                "customer": order.customer,
                "design": order.design,
                "copies": order.copies,
                "due": order.due.isoformat(),
                "made": order.made,
            }
            for order in plan.orders
        ],
        "layouts": [_layout(plan, layout) for layout in plan.layouts],
        "lacking": [
            {
                "order": shortage.order,
                "paper": shortage.paper,
                "piece": shortage.piece,
                "width": to_mm_number(shortage.width),
                "height": to_mm_number(shortage.height),
                "quantity": shortage.quantity,
                "why": shortage.why,
            }
            for shortage in plan.lacking
        ],
        "restock": [
            {
                "paper": item.paper,
                "width": to_mm_number(item.width),
                "height": to_mm_number(item.height),
                "quantity": item.quantity,
                "price": None if item.price is None else str(item.price),
                "orders": list(item.orders),
            }
            for item in plan.restock
        ],
        "notes": list(plan.notes),
        "spares": [
            {
                "label": spare.label,
                "order": spare.order,
                "piece": spare.piece,
                "paper": spare.paper,
                "quantity": spare.quantity,
                "place": spare.place,
            }
            for spare in plan.spares
        ],
        "closed": plan.closed,
        "proven": plan.is_proven,
    }


def _layout(plan: Plan, layout: PlannedLayout) -> dict[str, Any]:
    sheet = layout.sheet
    return {
        "number": layout.number,
        "day": layout.day or None,
        "sheet": sheet.label,
        "kind": sheet.kind,
        "paper": sheet.paper,
        "place": sheet.place,
        "price": str(sheet.price),
        "width": to_mm_number(sheet.width),
        "height": to_mm_number(sheet.height),
        "copies": layout.copies,
        "pieces": [
            {
                "name": plan.part_of(spot).piece.name,
                **rect_as_json(Rect(spot.x, spot.y, spot.width, spot.height)),
                "turned": spot.turned,
                "orders": list(spot.orders),
            }
            for spot in layout.spots
        ],
        "grain": None if sheet.grain is Grain.ANY else str(sheet.grain),
        "margins": margins_as_json(sheet.margins),
        "bruises": [rect_as_json(rect) for rect in sheet.bruises],
        "steps": steps_as_json(layout.cuts, plan.trimmer),
        "offcuts": [
            {**rect_as_json(rect), "label": plan.offcut_label(kind)}
            for kind, rect in zip(layout.offcut_kinds, layout.offcuts, strict=True)
        ],
    }
