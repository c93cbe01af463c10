"""Spoiled layouts and pieces."""

from __future__ import annotations

from collections import Counter

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.plan import Plan
from inventory.core.text import fold, shorten, whole_number
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch, Order
from inventory.database.tables.production import SpoiledPieces
from inventory.production.progress import (
    get_open_batch,
    list_remaining,
    next_copies,
    update_batch_status,
)
from inventory.stock import ledger
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.reservations import cancelled_orders, copies_done
from nester.core.errors import Refusal

__all__ = ["spoil_layout", "spoil_piece", "spoiled_pieces"]


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
    batch = get_open_batch(session, number)
    plan = plan_of(batch)
    one = next_copies(number, plan, list_remaining(session, batch, plan), layout, 1)
    deed = ledger.book_transaction(
        session, Reason.SPOILED, note=why, batch=batch, layout=layout, copies=list(one.copies)
    )
    stock = find_stock(session, one.layout.sheet.label)
    ledger.book_movement(session, stock, -1, Reason.SPOILED, deed=deed)
    (copy,) = one.copies
    cancelled = cancelled_orders(session, [number])
    lost = Counter(
        (spot.orders[copy - 1], spot.part)
        for spot in one.layout.spots
        if spot.orders[copy - 1] not in cancelled
    )
    for (order, part), quantity in lost.items():
        _add_spoiled_pieces(session, deed, order, part, quantity)
    update_batch_status(session, batch, plan)
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
) -> SpoiledPieces:
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
    cut = _count_cut_pieces(session, batch, plan)
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
        raise Refusal(f"orders {orders} each have a '{piece}'; say for which order it was")
    (its, part), there = max(named.items(), key=lambda item: (item[1], -item[0][1]))
    if quantity > there:
        raise Refusal(
            f"batch {number} has cut {there} of '{piece}' for order {its}, not {quantity}"
        )
    deed = ledger.book_transaction(session, Reason.SPOILED, note=why, batch=batch)
    return _add_spoiled_pieces(session, deed, its, part, quantity)


def _count_cut_pieces(session: Session, batch: Batch, plan: Plan) -> Counter[tuple[int, int]]:
    """Count the sound pieces that were cut, by order and part, but for cancelled orders."""
    cut: Counter[tuple[int, int]] = Counter()
    cancelled = cancelled_orders(session, [batch.id])
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
    for lost in spoiled_pieces(session, batch=batch.id, mended=True):
        cut[lost.order_id, lost.part] -= lost.quantity
    return cut


def _add_spoiled_pieces(
    session: Session, deed: Transaction, order: int, part: int, quantity: int
) -> SpoiledPieces:
    lost = SpoiledPieces(
        deed_id=deed.id, batch_id=deed.batch_id, order_id=order, part=part, quantity=quantity
    )
    session.add(lost)
    session.flush()
    return lost


def spoiled_pieces(
    session: Session, *, batch: int | None = None, mended: bool = False
) -> list[SpoiledPieces]:
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
        select(SpoiledPieces)
        .join(Order, SpoiledPieces.order_id == Order.id)
        .where(SpoiledPieces.deed_id.not_in(ledger.reversed_transactions()))
        .order_by(SpoiledPieces.id)
    )
    if batch is not None:
        query = query.where(SpoiledPieces.batch_id == batch)
    if not mended:
        query = query.where(
            Order.status != OrderStatus.CANCELLED, SpoiledPieces.mended_id.is_(None)
        )
    return list(session.scalars(query))
