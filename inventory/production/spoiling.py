"""Spoiled sheets and pieces: booked, and counted as missing until they are cut again."""

from __future__ import annotations

from collections import Counter

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.limits import NOBODY
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
from inventory.stock.ledger import not_in_force
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.reservations import copies_done, unwanted_orders
from nester.core.errors import Refusal

__all__ = ["spoil_layout", "spoil_piece", "spoiled_pieces"]


def spoil_layout(session: Session, number: int, layout: int, why: str = "") -> Counter[str]:
    """Book that a sheet was spoiled while a layout was cut: all its pieces must be made again.

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
    spoiled = next_copies(number, plan, list_remaining(session, batch, plan), layout, 1)
    transaction = ledger.book_transaction(
        session, Reason.SPOILED, note=why, batch=batch, layout=layout, copies=list(spoiled.copies)
    )
    stock = find_stock(session, spoiled.layout.sheet.label)
    ledger.book_movement(session, stock, -1, Reason.SPOILED, transaction=transaction)
    (copy,) = spoiled.copies
    unwanted = {NOBODY, *unwanted_orders(session, [number])}
    lost = Counter(
        (spot.orders[copy - 1], spot.part)
        for spot in spoiled.layout.spots
        if spot.orders[copy - 1] not in unwanted
    )
    for (order, part), quantity in lost.items():
        _add_spoiled_pieces(session, transaction, order, part, quantity)
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
    """Book that pieces which were cut already are spoiled and must be made again.

    Parameters
    ----------
    piece
        Its name, as the plan calls it.
    order
        The order it was for, if several have a piece of that name.

    Raises
    ------
    Refusal
        If there is no such batch, fewer of these pieces have been cut, or several orders have a
        piece of that name.
    """
    batch = get_batch(session, number)
    plan = plan_of(batch)
    whole_number(quantity, "the number of pieces", least=1)
    cut = _count_cut_pieces(session, batch, plan)
    named = {
        (owner, part): count
        for (owner, part), count in cut.items()
        if fold(plan.parts[part].piece.name) == fold(piece) and order in (None, owner) and count > 0
    }
    if not named:
        known = sorted({plan.parts[part].piece.name for (_, part), n in cut.items() if n > 0})
        of = f" for order {order}" if order is not None else ""
        has = f"; cut are {', '.join(known)}" if known else "; nothing of it is cut yet"
        raise Refusal(f"batch {number} has cut no piece '{shorten(piece)}'{of}{has}")
    owners = sorted({owner for owner, _ in named})
    if len(owners) > 1:
        orders = ", ".join(map(str, owners))
        raise Refusal(f"orders {orders} each have a '{piece}'; say for which order it was")
    (owner, part), number_cut = max(named.items(), key=lambda item: (item[1], -item[0][1]))
    if quantity > number_cut:
        raise Refusal(
            f"batch {number} has cut {number_cut} of '{piece}' for order {owner}, not {quantity}"
        )
    transaction = ledger.book_transaction(session, Reason.SPOILED, note=why, batch=batch)
    return _add_spoiled_pieces(session, transaction, owner, part, quantity)


def _count_cut_pieces(session: Session, batch: Batch, plan: Plan) -> Counter[tuple[int, int]]:
    """Count the good pieces that were cut, by order and part, without cancelled orders."""
    cut: Counter[tuple[int, int]] = Counter()
    unwanted = {NOBODY, *unwanted_orders(session, [batch.id])}
    done = copies_done(session, [batch.id])
    # Batches cut before each layout was booked by itself were cut whole.
    whole = batch.status is BatchStatus.CUT and not any(done.values())
    for layout in plan.layouts:
        copies = set(range(1, layout.copies + 1)) if whole else done[batch.id, layout.number]
        for spot in layout.spots:
            cut.update(
                (spot.orders[copy - 1], spot.part)
                for copy in copies
                if spot.orders[copy - 1] not in unwanted
            )
    for spoiled in spoiled_pieces(session, batch=batch.id, mended=True):
        cut[spoiled.order_id, spoiled.part] -= spoiled.quantity
    return cut


def _add_spoiled_pieces(
    session: Session, transaction: Transaction, order: int, part: int, quantity: int
) -> SpoiledPieces:
    spoiled = SpoiledPieces(
        transaction_id=transaction.id,
        batch_id=transaction.batch_id,
        order_id=order,
        part=part,
        quantity=quantity,
    )
    session.add(spoiled)
    session.flush()
    return spoiled


def spoiled_pieces(
    session: Session, *, batch: int | None = None, mended: bool = False
) -> list[SpoiledPieces]:
    """Return the pieces that were spoiled, without what was undone, cancelled or waived.

    Parameters
    ----------
    batch
        Only those of that batch.
    mended
        Also those that have been cut again, are planned to be, or were replaced; else only those
        for which nothing is planned.
    """
    query = (
        select(SpoiledPieces)
        .join(Order, SpoiledPieces.order_id == Order.id)
        .where(
            SpoiledPieces.transaction_id.not_in(ledger.reversed_transactions()),
            not_in_force(SpoiledPieces.waived_id),
        )
        .order_by(SpoiledPieces.id)
    )
    if batch is not None:
        query = query.where(SpoiledPieces.batch_id == batch)
    if not mended:
        query = query.where(
            Order.status != OrderStatus.CANCELLED,
            SpoiledPieces.mended_id.is_(None),
            not_in_force(SpoiledPieces.settled_id),
        )
    return list(session.scalars(query))
