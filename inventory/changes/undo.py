"""Undoing what was booked, the last entry first."""

from __future__ import annotations

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from inventory.changes.order_changes import check_order_changes, undo_order_changes
from inventory.changes.paper_changes import check_paper_changes, undo_paper_changes
from inventory.changes.plan_changes import (
    check_plan_changes,
    drop_new_batches,
    later_transaction,
    restore_plans,
)
from inventory.core.limits import NOBODY
from inventory.database.tables.enums import OrderStatus, Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.production import PlanChange, SparePieceMovement, SpoiledPieces
from inventory.database.tables.stock import Stock
from inventory.orders.orders import get_order, set_status
from inventory.pieces.order_needs import order_needs
from inventory.production.progress import update_batch_status
from inventory.stock import ledger
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Hint, Refusal

__all__ = ["last_transaction", "list_transactions", "undo_transaction"]


def list_transactions(
    session: Session, *, most: int = 20, batch: int | None = None
) -> list[Transaction]:
    """Return what was done last, the newest first, without what was undone.

    Parameters
    ----------
    batch
        Only what was done for that batch.
    """
    query = select(Transaction).where(
        Transaction.reason != Reason.UNDONE, Transaction.id.not_in(ledger.reversed_transactions())
    )
    if batch is not None:
        changed = select(PlanChange.transaction_id).where(PlanChange.batch_id == batch)
        query = query.where(
            or_(Transaction.batch_id == batch, Transaction.id.in_(changed)),
            Transaction.reason != Reason.SPARE,
        )
    return list(session.scalars(query.order_by(Transaction.id.desc()).limit(most)))


def last_transaction(session: Session, *, batch: int | None = None) -> Transaction:
    """Return what was done last and not undone.

    Raises
    ------
    Refusal
        If there is nothing to undo, or no such batch.
    """
    if batch is not None:
        get_batch(session, batch)
    for transaction in list_transactions(session, most=_MOST_WITH_SPARES, batch=batch):
        # What took spare pieces for a batch goes with that.
        if transaction.reason is not Reason.SPARE or transaction.batch_id is None:
            return transaction
    of = f" of batch {batch}" if batch is not None else ""
    raise Refusal(f"there is nothing{of} to undo")


_MOST_WITH_SPARES = 100


def _reopen_orders_of_spares(session: Session, transaction: Transaction) -> None:
    """Set orders back to confirmed that were complete by spare pieces which were put back."""
    if transaction.reason is not Reason.SPARE:
        return
    mended = select(SpoiledPieces.id).where(SpoiledPieces.settled_id == transaction.id)
    if session.scalar(mended.limit(1)) is not None:
        return
    taken = select(SparePieceMovement.order_id).where(
        SparePieceMovement.transaction_id == transaction.id,
        SparePieceMovement.order_id.is_not(None),
    )
    for number in session.scalars(taken.distinct()):
        order = get_order(session, number or 0)
        if order.status is OrderStatus.CUT and order_needs(session, order):
            set_status(session, order, OrderStatus.CONFIRMED)


def undo_transaction(session: Session, number: int, why: str = "") -> Transaction:
    """Undo a transaction with all that it booked; batch and orders go back with it.

    Parameters
    ----------
    number
        Its `Transaction.id`.

    Returns
    -------
    Transaction
        The reversal.

    Raises
    ------
    Refusal
        If there is no such transaction, it has been undone, what it brought has gone or is
        reserved, something was done on top of it, or its order is assembled already.
    """
    from inventory.purchasing.purchases import check_reversible

    transaction = session.get(Transaction, number) if 0 < number < 2**31 else None
    if transaction is None:
        raise Refusal(f"there is no entry {number}", Hint("list the latest", "stash log"))
    _check_no_later_changes(session, transaction)
    check_reversible(session, transaction)
    _check_unreserved(session, transaction)
    check_plan_changes(session, transaction)
    drop_new_batches(session, transaction)
    check_order_changes(session, transaction)
    check_paper_changes(session, transaction)
    reversal = ledger.reverse_transaction(session, transaction, note=why)
    _reopen_orders_of_spares(session, transaction)
    undo_paper_changes(session, transaction)
    undo_order_changes(session, transaction)
    restore_plans(session, transaction)
    if transaction.batch is not None and transaction.layout is not None:
        update_batch_status(session, transaction.batch, plan_of(transaction.batch))
    return reversal


def _check_no_later_changes(session: Session, transaction: Transaction) -> None:
    if transaction.batch_id is None or transaction.reason is Reason.UNDONE:
        return
    if transaction.reason is Reason.SPARE:
        raise Refusal(
            f"entry {transaction.id} took spare pieces for batch {transaction.batch_id}; drop the"
            " batch to put them back",
            Hint("drop it", "batch drop", (str(transaction.batch_id),)),
        )
    newest = later_transaction(session, transaction.batch_id)
    if newest > transaction.id:
        raise Refusal(
            f"entry {newest} of batch {transaction.batch_id} was made after it; undo that first"
        )
    spoiled = select(SpoiledPieces).where(SpoiledPieces.transaction_id == transaction.id)
    for pieces in session.scalars(spoiled):
        if pieces.mended_id is not None:
            raise Refusal(
                f"its pieces are made again in batch {pieces.mended_id}; drop that batch first"
            )
    if transaction.layout is None or transaction.batch is None:
        return
    orders = {order.id: order for order in transaction.batch.orders}
    layout = plan_of(transaction.batch).layout(transaction.layout)
    owners = {spot.orders[copy - 1] for spot in layout.spots for copy in transaction.copies or ()}
    for order in sorted(owners - {NOBODY}):
        if orders[order].status in (OrderStatus.ASSEMBLED, OrderStatus.DELIVERED):
            raise Refusal(f"order {order} is {orders[order].status} from it already")


def _check_unreserved(session: Session, transaction: Transaction) -> None:
    """Refuse to undo what brought sheets that have been reserved since."""
    changes = session.execute(
        select(Stock, func.sum(Movement.change))
        .join(Movement, Movement.stock_id == Stock.id)
        .where(Movement.transaction_id == transaction.id)
        .group_by(Stock.id)
    ).all()
    taken = reserved_quantities(session)
    for stock, change in changes:
        reserved = taken[stock.label]
        if change > 0 and reserved and reserved > ledger.on_hand(session, stock) - change:
            raise Refusal(f"{stock.label} is reserved by a batch; drop that batch first")
