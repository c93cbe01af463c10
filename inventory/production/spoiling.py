"""Spoiled layouts and pieces."""

from __future__ import annotations

from collections import Counter

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.plan import Plan
from inventory.core.text import fold, shorten, whole_number
from inventory.database.tables.base import (
    Batch,
    BatchStatus,
    Deed,
    Lost,
    Order,
    Reason,
    Status,
)
from inventory.production.progress import left_to_cut, open_batch, settle, take_sheets
from inventory.stock import ledger
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.reservations import copies_done, given_up
from nester.core.errors import Refusal

__all__ = ["lost_pieces", "spoil_layout", "spoil_piece"]


def spoil_layout(session: Session, number: int, layout: int, why: str = "") -> Counter[str]:
    """Book that a sheet was spoiled while a layout was cut: all its pieces must be made anew.

    Returns
    -------
    Counter of str
        The pieces that are missing now, by name.

    Raises
    ------
    Refusal
        If there is no such open batch, no copy of the layout is left to cut, or the sheet is not
        in the stash.
    """
    batch = open_batch(session, number)
    plan = plan_of(batch)
    one = take_sheets(number, plan, left_to_cut(session, batch, plan), layout, 1)
    deed = ledger.begin_deed(
        session, Reason.SPOILED, note=why, batch=batch, layout=layout, copies=list(one.copies)
    )
    stock = find_stock(session, one.layout.sheet.label)
    ledger.move(session, stock, -1, Reason.SPOILED, deed=deed)
    (copy,) = one.copies
    cancelled = given_up(session, [number])
    lost = Counter(
        (spot.orders[copy - 1], spot.part)
        for spot in one.layout.spots
        if spot.orders[copy - 1] not in cancelled
    )
    for (order, part), quantity in lost.items():
        _lose(session, deed, order, part, quantity)
    settle(session, batch, plan)
    names: Counter[str] = Counter()
    for (_, part), quantity in lost.items():
        names[plan.parts[part].piece.name] += quantity
    return names


def spoil_piece(
    session: Session,
    number: int,
    piece: str,
    quantity: int = 1,
    *,
    order: int | None = None,
    why: str = "",
) -> Lost:
    """Book that pieces which were cut already are spoiled and must be made anew.

    Parameters
    ----------
    piece
        Its name, as the plan calls it.
    order
        The order it was for, if several have a piece of that name.

    Raises
    ------
    Refusal
        If there is no such batch, not as many such pieces have been cut, or several orders have
        one.
    """
    batch = get_batch(session, number)
    plan = plan_of(batch)
    whole_number(quantity, "the number of pieces", least=1)
    cut = _cut_pieces(session, batch, plan)
    named = {
        (its, part): count
        for (its, part), count in cut.items()
        if fold(plan.parts[part].piece.name) == fold(piece) and order in (None, its) and count > 0
    }
    if not named:
        known = sorted({plan.parts[part].piece.name for (_, part), n in cut.items() if n > 0})
        of = f" for order {order}" if order is not None else ""
        has = f"; cut are {', '.join(known)}" if known else "; nothing of it is cut yet"
        raise Refusal(f"batch {number} has cut no piece '{shorten(piece)}'{of}{has}")
    if len({its for its, _ in named}) > 1:
        orders = ", ".join(str(its) for its in sorted({its for its, _ in named}))
        raise Refusal(f"orders {orders} each have a '{piece}'; say for which it was with --order")
    (its, part), there = max(named.items(), key=lambda item: (item[1], -item[0][1]))
    if quantity > there:
        raise Refusal(
            f"batch {number} has cut {there} of '{piece}' for order {its}, not {quantity}"
        )
    deed = ledger.begin_deed(session, Reason.SPOILED, note=why, batch=batch)
    return _lose(session, deed, its, part, quantity)


def _cut_pieces(session: Session, batch: Batch, plan: Plan) -> Counter[tuple[int, int]]:
    """Count the sound pieces that were cut, by order and part, but for cancelled orders."""
    cut: Counter[tuple[int, int]] = Counter()
    cancelled = given_up(session, [batch.id])
    done = copies_done(session, [batch.id])
    whole = batch.status is BatchStatus.CUT and not any(done.values())  # before deeds were booked
    for layout in plan.layouts:
        copies = set(range(1, layout.copies + 1)) if whole else done[batch.id, layout.number]
        for spot in layout.spots:
            cut.update(
                (spot.orders[copy - 1], spot.part)
                for copy in copies
                if spot.orders[copy - 1] not in cancelled
            )
    for lost in lost_pieces(session, batch=batch.id, mended=True):
        cut[lost.order_id, lost.part] -= lost.quantity
    return cut


def _lose(session: Session, deed: Deed, order: int, part: int, quantity: int) -> Lost:
    lost = Lost(
        deed_id=deed.id, batch_id=deed.batch_id, order_id=order, part=part, quantity=quantity
    )
    session.add(lost)
    session.flush()
    return lost


def lost_pieces(session: Session, *, batch: int | None = None, mended: bool = False) -> list[Lost]:
    """Return the pieces that were spoiled, less what was taken back or cancelled.

    Parameters
    ----------
    batch
        Only those of that batch.
    mended
        Also those that have been cut anew, or are planned to be; else those for which nothing is
        planned.
    """
    query = (
        select(Lost)
        .join(Order, Lost.order_id == Order.id)
        .where(Lost.deed_id.not_in(ledger.taken_back()))
        .order_by(Lost.id)
    )
    if batch is not None:
        query = query.where(Lost.batch_id == batch)
    if not mended:
        query = query.where(Order.status != Status.CANCELLED, Lost.mended_id.is_(None))
    return list(session.scalars(query))
