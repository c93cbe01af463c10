"""What the records add to a plan: labels of offcuts, ribbon and the like, what is missing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from sqlalchemy.orm import Session

from inventory.core.plan import Plan
from inventory.database.tables.base import Batch
from inventory.documents.format.languages import ShopTranslator
from inventory.documents.plan.document_set import DocumentOptions
from inventory.documents.plan.translation import piece_name
from inventory.orders.orders import get_order, order_consumables
from inventory.production.pace import shop_pace
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoiled_pieces
from inventory.stock.offcut_marks import kept_offcuts
from nester.core.errors import Refusal
from nester.core.lengths import format_area
from nester.designs.base.design import Measure
from nester.designs.base.totals import total_consumables

__all__ = ["with_shop_data"]


def with_shop_data(
    options: DocumentOptions, session: Session, batch: Batch, plan: Plan, *, left: bool = False
) -> DocumentOptions:
    """Return options with what the shop's records hold of a batch.

    Parameters
    ----------
    left
        Take out and cut only what is still to be cut.
    """
    missing: dict[int, dict[str, int]] = defaultdict(dict)
    for loss in spoiled_pieces(session, batch=batch.id):
        name = plan.parts[loss.part].piece.name
        missing[loss.order_id][name] = missing[loss.order_id].get(name, 0) + loss.quantity
    copies = None
    if left:
        copies = {
            remaining.layout.number: remaining.copies
            for remaining in list_remaining(session, batch, plan)
        }
    return replace(
        options,
        pace=shop_pace(session),
        labels={spot: stock.label for spot, stock in kept_offcuts(session, batch, plan).items()},
        extras=_extras(session, plan, options.translator),
        missing=dict(missing),
        left=copies,
    )


def _extras(session: Session, plan: Plan, translator: ShopTranslator) -> dict[int, list[str]]:
    """Say what else each order needs; nothing if its design can't be made any more."""
    extras: dict[int, list[str]] = {}
    for order in plan.orders:
        if not order.made:
            continue
        try:
            found = order_consumables(session, get_order(session, order.number))
        except Refusal:
            continue
        pieces = [item for item in found if item.measure is Measure.LENGTH]
        lines = [
            f"{piece.quantity * order.copies} × {translator.say(piece.name)},"
            f" {translator.length(piece.amount, plan.unit)}:"
            f" {piece_name(piece.use, translator)}"
            for piece in pieces
        ]
        for total in total_consumables(
            item for item in found if item.measure is not Measure.LENGTH
        ):
            amount = total.amount * order.copies
            area = total.measure is Measure.AREA
            quantity = (
                format_area(amount, plan.unit).replace(".", translator.decimal_mark)
                if area
                else f"{amount} ×"
            )
            lines.append(f"{quantity} {translator.say(total.name)}")
        extras[order.number] = lines
    return extras
