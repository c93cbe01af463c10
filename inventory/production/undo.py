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
        query = query.where(Transaction.batch_id == batch)
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
    transactions = list_transactions(session, most=1, batch=batch)
    if not transactions:
        of = f" of batch {batch}" if batch is not None else ""
        raise Refusal(f"there is nothing{of} to undo")
    return transactions[0]


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
    reversal = ledger.reverse_transaction(session, transaction, note=why)
    if transaction.batch is not None and transaction.layout is not None:
        update_batch_status(session, transaction.batch, plan_of(transaction.batch))
    return reversal


def _check_no_later_changes(session: Session, transaction: Transaction) -> None:
    if transaction.batch_id is None or transaction.reason is Reason.UNDONE:
        return
    newest = list_transactions(session, most=1, batch=transaction.batch_id)
    if newest and newest[0].id > transaction.id:
        raise Refusal(
            f"entry {newest[0].id} of batch {transaction.batch_id} was made after it; undo that"
            " first"
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
    layout = plan_of(transaction.batch).layouts[transaction.layout - 1]
    for order in sorted({spot.orders[copy - 1] for spot in layout.spots
                         for copy in transaction.copies or ()}):  # fmt: skip
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
