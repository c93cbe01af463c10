"""What the book knows beside a plan: labels of offcuts, ribbon and the like, what is missing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.cutting import left_to_cut, lost_pieces
from inventory.documents.plan_set import SetOptions
from inventory.documents.voices import ShopVoice
from inventory.models import Batch, Deed, Movement, Reason
from inventory.orders import get_order, order_consumables
from inventory.plan import Plan
from nester.designs.base import Measure
from nester.designs.totals import summed
from nester.measure import format_area
from nester.refusal import Refusal

__all__ = ["with_the_book"]


def with_the_book(
    options: SetOptions, session: Session, batch: Batch, plan: Plan, *, left: bool = False
) -> SetOptions:
    """Return options to which the book's knowledge of a batch is added.

    Parameters
    ----------
    left
        Take out and cut only what is still to be cut.
    """
    missing: dict[int, dict[str, int]] = defaultdict(dict)
    for one in lost_pieces(session, batch=batch.id):
        name = plan.parts[one.part].piece.name
        missing[one.order_id][name] = missing[one.order_id].get(name, 0) + one.quantity
    copies = None
    if left:
        copies = {one.layout.number: one.copies for one in left_to_cut(session, batch, plan)}
    return replace(
        options,
        labels=_labels(session, batch, plan),
        extras=_extras(session, plan, options.voice),
        missing=dict(missing),
        left=copies,
    )


def _labels(session: Session, batch: Batch, plan: Plan) -> Mapping[tuple[int, int, int], str]:
    """Return the labels of offcuts in the stash by layout, copy and place in the layout."""
    undone = select(Deed.undoes_id).where(Deed.undoes_id.is_not(None))
    query = (
        select(Movement, Deed)
        .join(Deed, Movement.deed_id == Deed.id)
        .where(Deed.batch_id == batch.id, Deed.reason == Reason.CUT, Deed.id.not_in(undone))
        .where(Movement.reason == Reason.KEPT)
        .order_by(Deed.id, Movement.id)
    )
    kept: dict[tuple[int, tuple[int, ...]], list[str]] = defaultdict(list)
    for movement, deed in session.execute(query):
        kept[deed.layout or 0, tuple(deed.copies or ())].append(movement.stock.label)
    labels = {}
    for (number, copies), of_deed in kept.items():
        offcuts = len(plan.layouts[number - 1].offcuts)
        spots = [(copy, place) for copy in copies for place in range(offcuts)]
        for (copy, place), label in zip(spots, of_deed, strict=False):
            labels[number, copy, place] = label
    return labels


def _extras(session: Session, plan: Plan, voice: ShopVoice) -> dict[int, list[str]]:
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
            f" {voice.say(f.use)}"
            for f in pieces
        ]
        for total in summed(f for f in found if f.measure is not Measure.LENGTH):
            amount = total.amount * one.copies
            area = total.measure is Measure.AREA
            much = format_area(amount).replace(".", voice.point) if area else f"{amount} ×"
            lines.append(f"{much} {voice.say(total.name)}")
        extras[one.number] = lines
    return extras
