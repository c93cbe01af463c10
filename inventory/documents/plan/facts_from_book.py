"""What the book knows beside a plan: labels of offcuts, ribbon and the like, what is missing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from sqlalchemy.orm import Session

from inventory.core.plan import Plan
from inventory.database.tables.orders import Batch
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
    """Return options to which the book's knowledge of a batch is added.

    Parameters
    ----------
    left
        Take out and cut only what is still to be cut.
    """
    missing: dict[int, dict[str, int]] = defaultdict(dict)
    for one in spoiled_pieces(session, batch=batch.id):
        name = plan.parts[one.part].piece.name
        missing[one.order_id][name] = missing[one.order_id].get(name, 0) + one.quantity
    copies = None
    if left:
        copies = {one.layout.number: one.copies for one in list_remaining(session, batch, plan)}
    return replace(
        options,
        pace=shop_pace(session),
        labels={spot: stock.label for spot, stock in kept_offcuts(session, batch, plan).items()},
        extras=_extras(session, plan, options.translator),
        missing=dict(missing),
        left=copies,
    )


def _extras(session: Session, plan: Plan, voice: ShopTranslator) -> dict[int, list[str]]:
    """Say what each order takes beside paper; nothing, if its design can't be made any more."""
    extras: dict[int, list[str]] = {}
    for one in plan.orders:
        if not one.made:
            continue
        try:
            found = order_consumables(session, get_order(session, one.number))
        except Refusal:
            continue
        pieces = [f for f in found if f.measure is Measure.LENGTH]
        lines = [
            f"{f.quantity * one.copies} × {voice.say(f.name)}, {voice.length(f.amount, plan.unit)}:"
            f" {piece_name(f.use, voice)}"
            for f in pieces
        ]
        for total in total_consumables(f for f in found if f.measure is not Measure.LENGTH):
            amount = total.amount * one.copies
            area = total.measure is Measure.AREA
            much = (
                format_area(amount, plan.unit).replace(".", voice.decimal_mark)
                if area
                else f"{amount} ×"
            )
            lines.append(f"{much} {voice.say(total.name)}")
        extras[one.number] = lines
    return extras
