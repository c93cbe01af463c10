"""Undoing what was booked, the last entry first."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.database.tables.enums import OrderStatus, Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.production import SpoiledPieces
from inventory.database.tables.stock import Stock
from inventory.production.progress import update_batch_status
from inventory.stock import ledger
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Hint, Refusal

__all__ = ["last_transaction", "list_transactions", "undo_transaction"]


def list_transactions(
    session: Session, *, most: int = 20, batch: int | None = None
) -> list[Transaction]:
    """Return what was done last, the newest first, without what was taken back.

    Parameters
    ----------
    batch
        Only what was done for that batch.
    """
    query = select(Transaction).where(
        Transaction.reason != Reason.UNDONE, Transaction.id.not_in(ledger.reversed_transactions())
    )
    if batch is not None:
        query = query.where(Transaction.batch_id == batch)
    return list(session.scalars(query.order_by(Transaction.id.desc()).limit(most)))


def last_transaction(session: Session, *, batch: int | None = None) -> Transaction:
    """Return what was done last and not taken back.

    Raises
    ------
    Refusal
        If there is nothing, or no such batch.
    """
    if batch is not None:
        get_batch(session, batch)
    deeds = list_transactions(session, most=1, batch=batch)
    if not deeds:
        of = f" of batch {batch}" if batch is not None else ""
        raise Refusal(f"there is nothing{of} to take back")
    return deeds[0]


def undo_transaction(session: Session, number: int, why: str = "") -> Transaction:
    """Take back a deed with all that it booked; batch and orders go back with it.

    Parameters
    ----------
    number
        As `list_transactions` tells it.

    Returns
    -------
    Deed
        The counter-deed.

    Raises
    ------
    Refusal
        If there is no such deed, it has been taken back, what it brought has gone or is reserved,
        something was done on top of it, or its order is assembled already.
    """
    from inventory.purchasing.purchases import check_reversible

    deed = session.get(Transaction, number) if 0 < number < 2**31 else None
    if deed is None:
        raise Refusal(f"there is no entry {number}", Hint("list the latest", "stash log"))
    _check_no_later_changes(session, deed)
    check_reversible(session, deed)
    _check_unreserved(session, deed)
    back = ledger.reverse_transaction(session, deed, note=why)
    if deed.batch is not None and deed.layout is not None:
        update_batch_status(session, deed.batch, plan_of(deed.batch))
    return back


def _check_no_later_changes(session: Session, deed: Transaction) -> None:
    if deed.batch_id is None or deed.reason is Reason.UNDONE:
        return
    newest = list_transactions(session, most=1, batch=deed.batch_id)
    if newest and newest[0].id > deed.id:
        raise Refusal(
            f"entry {newest[0].id} of batch {deed.batch_id} was made after it; undo that first"
        )
    for lost in session.scalars(select(SpoiledPieces).where(SpoiledPieces.deed_id == deed.id)):
        if lost.mended_id is not None:
            raise Refusal(
                f"its pieces are made again in batch {lost.mended_id}; drop that batch first"
            )
    if deed.layout is None or deed.batch is None:
        return
    orders = {order.id: order for order in deed.batch.orders}
    layout = plan_of(deed.batch).layouts[deed.layout - 1]
    for order in sorted({spot.orders[copy - 1] for spot in layout.spots
                         for copy in deed.copies or ()}):  # fmt: skip
        if orders[order].status in (OrderStatus.ASSEMBLED, OrderStatus.DELIVERED):
            raise Refusal(f"order {order} is {orders[order].status} from it already")


def _check_unreserved(session: Session, deed: Transaction) -> None:
    """Refuse to take back what has been reserved since."""
    changes = session.execute(
        select(Stock, func.sum(Movement.change))
        .join(Movement, Movement.stock_id == Stock.id)
        .where(Movement.deed_id == deed.id)
        .group_by(Stock.id)
    ).all()
    taken = reserved_quantities(session)
    for stock, change in changes:
        booked = taken[stock.label]
        if change > 0 and booked and booked > ledger.on_hand(session, stock) - change:
            raise Refusal(f"{stock.label} is reserved by a batch; drop that batch first")
