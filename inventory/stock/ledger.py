"""The ledger of the stash: the only code that changes a quantity.

How many sheets there are is nowhere written down: it is the sum of the movements.  Movements are
only ever added; a mistake is undone by a reversal.  Whatever was done together at the
table is one transaction: its movements are booked, and undone, together.
"""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, insert, or_, select
from sqlalchemy.orm import joinedload

from inventory.core.changes import ENTRIES
from inventory.core.text import LARGEST_NUMBER, clean_note
from inventory.database.tables.enums import Reason, StockKind
from inventory.database.tables.ledger import DamagedArea, Movement, Transaction
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from sqlalchemy import ColumnElement, Select, Subquery
    from sqlalchemy.orm import InstrumentedAttribute, Session

    from inventory.database.tables.ledger import Delivery
    from inventory.database.tables.orders import Batch
    from inventory.database.tables.stock import Stock
    from inventory.database.tables.supplies import SupplyItem, SupplyMovement

__all__ = [
    "book_movement",
    "book_movements",
    "book_supply_movement",
    "book_transaction",
    "check_quantity",
    "most_ever",
    "not_in_force",
    "on_hand",
    "on_hand_by_stock",
    "on_hand_sums",
    "reverse_transaction",
    "reversed_transactions",
    "supply_on_hand",
]

_INBOUND_REASONS = frozenset({Reason.OPENING, Reason.RECEIVED, Reason.KEPT})
_OUTBOUND_REASONS = frozenset({Reason.CUT, Reason.SPOILED, Reason.USED})


def book_transaction(
    session: Session,
    reason: Reason,
    *,
    note: str = "",
    at: datetime | None = None,
    batch: Batch | None = None,
    layout: int | None = None,
    copies: list[int] | None = None,
    delivery: Delivery | None = None,
) -> Transaction:
    """Book that something was done; its movements are then booked with `book_movement` and its kin.

    Parameters
    ----------
    session
        In a write transaction (`inventory.database.sqlite.ShopFile.begin`).
    reason
        Any but `Reason.UNDONE`, which `reverse_transaction` books.
    at
        When it was done; now, unless given.
    layout, copies
        Which copies of which layout of the batch were cut or spoiled.

    Raises
    ------
    Refusal
        If the note can't be so.
    """
    transaction = Transaction(
        reason=reason, note=clean_note(note), at=at or datetime.now(UTC), batch=batch,
        layout=layout, copies=copies, delivery=delivery,
    )  # fmt: skip
    session.add(transaction)
    session.flush()
    session.info.setdefault(ENTRIES, []).append(transaction.id)
    return transaction


def book_movement(
    session: Session,
    stock: Stock,
    change: int,
    reason: Reason,
    *,
    batch: Batch | None = None,
    note: str = "",
    at: datetime | None = None,
    transaction: Transaction | None = None,
) -> Movement:
    """Book one change of a quantity.

    Parameters
    ----------
    session
        In a write transaction (`inventory.database.sqlite.ShopFile.begin`).
    change
        Sheets that come (more than zero) or go (less).
    reason
        Any but `Reason.UNDONE`, which `reverse_transaction` books.
    batch
        The batch it was done for.
    at
        When it happened; now, unless given.
    transaction
        What it is a part of: then batch, note and time are the transaction's.  Unless given, the
        movement gets a transaction to itself.

    Raises
    ------
    Refusal
        If fewer are there than are taken, or more would be there than there can be: 1,000,000,
        or one if it is damaged.
    ValueError
        If the reason does not go with the change: a mistake of the program's.
    """
    _check_reason(reason, change)
    there = on_hand(session, stock)
    check_quantity(stock, there, change)
    if change > 0:
        _check_damaged(session, {stock.id: there + change}, [stock])
    if transaction is None:
        transaction = book_transaction(session, reason, note=note, at=at, batch=batch)
    movement = Movement(**_movement_values(stock, change, reason, transaction))
    session.add(movement)
    session.flush()
    return movement


def book_movements(
    session: Session, transaction: Transaction, changes: Sequence[tuple[Stock, int, Reason]]
) -> None:
    """Book many changes of one transaction at once, each as `book_movement` would.

    Raises
    ------
    Refusal
        As of `book_movement`; nothing has been booked then.
    """
    stocks = {stock.id: stock for stock, _, _ in changes}
    there = on_hand_by_stock(session, stocks.values())
    for stock, change, reason in changes:
        _check_reason(reason, change)
        check_quantity(stock, there[stock.id], change)
        there[stock.id] += change
    _check_damaged(session, there, stocks.values())
    # One statement: the unit of work would send a row a statement, as lines refer to lines.
    if changes:
        session.execute(
            insert(Movement), [_movement_values(*change, transaction) for change in changes]
        )


def _movement_values(
    stock: Stock, change: int, reason: Reason, transaction: Transaction
) -> dict[str, Any]:
    return {
        "stock_id": stock.id, "change": change, "reason": reason, "batch_id": transaction.batch_id,
        "note": transaction.note, "at": transaction.at, "transaction_id": transaction.id,
    }  # fmt: skip


def _check_reason(reason: Reason, change: int) -> None:
    if reason is Reason.UNDONE:
        raise ValueError("a movement is reversed by reverse_transaction() only")
    if (
        change == 0
        or (reason in _INBOUND_REASONS and change < 0)
        or (reason in _OUTBOUND_REASONS and change > 0)
    ):
        raise ValueError(f"a movement '{reason}' can't change a quantity by {change}")


def book_supply_movement(
    session: Session, item: SupplyItem, change: int, transaction: Transaction
) -> SupplyMovement:
    """Book one change of how much of a supply there is.

    Parameters
    ----------
    change
        In the smallest parts of the supply's measure (`inventory.database.tables.enums.Measure`).
    transaction
        What it is a part of; its reason says why.

    Raises
    ------
    Refusal
        If less is there than is taken.
    """
    _check_reason(transaction.reason, change)
    return _add_supply_movement(session, item, change, transaction)


def _add_supply_movement(
    session: Session, item: SupplyItem, change: int, transaction: Transaction
) -> SupplyMovement:
    from inventory.database.tables.supplies import SupplyMovement

    if supply_on_hand(session, item) + change < 0:
        raise Refusal(f"there is not as much left of {item.label}, {item.supply.name}")
    movement = SupplyMovement(item=item, change=change, transaction=transaction)
    session.add(movement)
    session.flush()
    return movement


def supply_on_hand(session: Session, item: SupplyItem) -> int:
    """Return how much of a reel or pack is left, in the smallest parts of its measure."""
    from inventory.database.tables.supplies import SupplyMovement

    total = select(func.coalesce(func.sum(SupplyMovement.change), 0))
    return int(session.scalars(total.where(SupplyMovement.item_id == item.id)).one())


def reverse_transaction(
    session: Session, transaction: Transaction, *, note: str = ""
) -> Transaction:
    """Undo all that a transaction booked, by reversing movements.

    Raises
    ------
    Refusal
        If it has been undone already, is a reversal itself, or if what it brought has gone
        since; nothing has changed then.
    """
    from inventory.database.tables.supplies import SupplyMovement

    if transaction.reason is Reason.UNDONE:
        raise Refusal(f"entry {transaction.id} undid another entry; do that one again instead")
    if (
        session.scalar(select(Transaction.id).where(Transaction.undoes_id == transaction.id))
        is not None
    ):
        raise Refusal(f"entry {transaction.id} has been undone already")
    movements = session.scalars(
        select(Movement)
        .where(Movement.transaction_id == transaction.id)
        .options(joinedload(Movement.stock))
    ).all()
    supplies = session.scalars(
        select(SupplyMovement).where(SupplyMovement.transaction_id == transaction.id)
    ).all()
    undone = reversed_movements()
    part = select(Movement.id).where(
        Movement.transaction_id == transaction.id, Movement.id.in_(undone)
    )
    if session.scalar(part.limit(1)) is not None:
        raise Refusal(f"a part of entry {transaction.id} has been undone already")
    stocks = {movement.stock_id: movement.stock for movement in movements}
    there = on_hand_by_stock(session, stocks.values())
    for movement in movements:
        check_quantity(movement.stock, there[movement.stock_id], -movement.change)
        there[movement.stock_id] -= movement.change
    _check_damaged(session, there, stocks.values())
    back = Transaction(
        reason=Reason.UNDONE, note=clean_note(note), at=datetime.now(UTC), batch=transaction.batch,
        undoes_id=transaction.id,
    )  # fmt: skip
    session.add(back)
    session.flush()
    session.info.setdefault(ENTRIES, []).append(back.id)
    if movements:
        session.execute(
            insert(Movement), [_reversal_values(movement, back) for movement in movements]
        )
    for supply in supplies:
        _add_supply_movement(session, supply.item, -supply.change, back)
    return back


def _reversal_values(movement: Movement, back: Transaction) -> dict[str, Any]:
    return {
        "stock_id": movement.stock_id, "change": -movement.change, "reason": Reason.UNDONE,
        "batch_id": movement.batch_id, "note": back.note, "at": back.at, "transaction_id": back.id,
        "undoes_id": movement.id,
    }  # fmt: skip


def reversed_movements() -> Select[int | None]:
    """Select the numbers of the movements that have been undone."""
    return select(Movement.undoes_id).where(Movement.undoes_id.is_not(None))


def reversed_transactions() -> Select[int | None]:
    """Select the numbers of the transactions that have been undone."""
    return select(Transaction.undoes_id).where(Transaction.undoes_id.is_not(None))


def not_in_force(
    transaction: InstrumentedAttribute[int | None],
) -> ColumnElement[bool]:
    """Return the condition that a column names no transaction, or one that was undone."""
    return or_(transaction.is_(None), transaction.in_(reversed_transactions()))


def check_quantity(stock: Stock, there: int, change: int) -> None:
    """Refuse a change that leaves less than nothing, or more than there can be.

    Parameters
    ----------
    there
        How many there are before it.

    Raises
    ------
    Refusal
        If there would be less than none, or more than 1,000,000.
    """
    after = there + change
    if after < 0:
        if stock.kind is StockKind.OFFCUT and not there:
            raise Refusal(f"offcut {stock.label} is not in the stash any more")
        raise Refusal(f"{stock.label} has {there:,} on hand, so {-change:,} can't be taken from it")
    if after > LARGEST_NUMBER:
        raise Refusal(
            f"{stock.label} has {there:,} on hand, and {change:,} more would be over"
            f" {LARGEST_NUMBER:,}"
        )


def _check_damaged(session: Session, there: Mapping[int, int], stocks: Iterable[Stock]) -> None:
    """Refuse to have several of what is damaged: no two are damaged alike.

    Parameters
    ----------
    there
        How many there would be, by `Stock.id`.
    """
    several = [stock for stock in stocks if stock.kind is StockKind.OFFCUT and there[stock.id] > 1]
    if not several:
        return
    damaged = select(DamagedArea.stock_id).where(
        DamagedArea.stock_id.in_([stock.id for stock in several]),
        DamagedArea.transaction_id.not_in(reversed_transactions()),
    )
    for number in session.scalars(damaged.limit(1)):
        label = next(stock.label for stock in several if stock.id == number)
        raise Refusal(f"{label} is damaged, so there is only one like it")


def most_ever(session: Session, stock: Stock) -> int:
    """Return how many there were at most, after any of its movements."""
    changes = select(Movement.change).where(Movement.stock_id == stock.id).order_by(Movement.id)
    return max(accumulate(session.scalars(changes)), default=0)


def on_hand(session: Session, stock: Stock) -> int:
    """Return how many there are: the sum of the stock's movements."""
    total = select(func.coalesce(func.sum(Movement.change), 0))
    return int(session.scalars(total.where(Movement.stock_id == stock.id)).one())


def on_hand_by_stock(session: Session, stock: Iterable[Stock] | None = None) -> dict[int, int]:
    """Return how many there are of each, by `Stock.id`, in one query.

    Parameters
    ----------
    stock
        Which to count; all that ever moved, unless given.
    """
    each = on_hand_sums()
    counted = {row.stock_id: int(row.quantity) for row in session.execute(select(each))}
    if stock is None:
        return counted
    return {item.id: counted.get(item.id, 0) for item in stock}


def on_hand_sums() -> Subquery:
    """Return the sums of all movements (`stock_id`, `quantity`), to be joined to `Stock`."""
    total = func.sum(Movement.change).label("quantity")
    return select(Movement.stock_id, total).group_by(Movement.stock_id).subquery("on_hand")
