"""The ledger of the stash: the only code that changes a quantity.

How many sheets there are is nowhere written down: it is the sum of the movements.  Movements are
only ever added; a mistake is mended by a counter-movement.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from inventory.models import Kind, Movement, Reason
from inventory.names import LARGEST_NUMBER, clean_note
from nester.refusal import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import Subquery
    from sqlalchemy.orm import Session

    from inventory.models import Batch, Stock

__all__ = ["move", "on_hand", "on_hand_of", "sums", "undo"]

_ADDS = frozenset({Reason.OPENING, Reason.RECEIVED, Reason.KEPT})
_TAKES = frozenset({Reason.CUT, Reason.SPOILED})


def move(
    session: Session,
    stock: Stock,
    change: int,
    reason: Reason,
    *,
    batch: Batch | None = None,
    note: str = "",
    at: datetime | None = None,
) -> Movement:
    """Book one change of a quantity.

    Parameters
    ----------
    session
        In a write transaction (`inventory.shop.ShopFile.begin`).
    change
        Sheets that come (more than zero) or go (less).
    reason
        Any but `Reason.UNDONE`, which `undo` books.
    batch
        The batch it was done for.
    at
        When it happened; now, unless given.

    Raises
    ------
    Refusal
        If fewer are there than are taken, or more would be there than there can be: 1,000,000
        sheets, one offcut.
    ValueError
        If the reason does not go with the change: a mistake of the program's.
    """
    if reason is Reason.UNDONE:
        raise ValueError("a movement is taken back by undo()")
    if change == 0 or (reason in _ADDS and change < 0) or (reason in _TAKES and change > 0):
        raise ValueError(f"a movement '{reason}' can't change a quantity by {change}")
    _check_range(stock, on_hand(session, stock), change)
    return _book(session, Movement(
        stock=stock, change=change, reason=reason, batch=batch, note=clean_note(note),
        at=at or datetime.now(UTC),
    ))  # fmt: skip


def undo(session: Session, movement: Movement, *, note: str = "") -> Movement:
    """Take a movement back by its counter-movement.

    Raises
    ------
    Refusal
        If it has been taken back already, is a counter-movement itself, or if what it brought
        has gone since.
    """
    stock = movement.stock
    if movement.reason is Reason.UNDONE:
        raise Refusal(
            f"that movement of {stock.label} took another one back and can't be taken back itself;"
            " book it again instead"
        )
    taken_back = select(Movement.id).where(Movement.undoes_id == movement.id)
    if session.scalar(taken_back) is not None:
        raise Refusal(f"that movement of {stock.label} has been taken back already")
    _check_range(stock, on_hand(session, stock), -movement.change)
    return _book(session, Movement(
        stock=stock, change=-movement.change, reason=Reason.UNDONE, batch=movement.batch,
        note=clean_note(note), undoes=movement, at=datetime.now(UTC),
    ))  # fmt: skip


def _book(session: Session, movement: Movement) -> Movement:
    session.add(movement)
    session.flush()
    return movement


def _check_range(stock: Stock, there: int, change: int) -> None:
    after = there + change
    if after < 0:
        if stock.kind is Kind.OFFCUT:
            raise Refusal(f"offcut {stock.label} is not in the stash any more")
        raise Refusal(f"{stock.label} has {there:,} on hand, so {-change:,} can't be taken from it")
    if stock.kind is Kind.OFFCUT and after > 1:
        raise Refusal(
            f"offcut {stock.label} is in the stash already; each offcut is one of its kind"
        )
    if after > LARGEST_NUMBER:
        raise Refusal(
            f"{stock.label} has {there:,} on hand, and {change:,} more would be over"
            f" {LARGEST_NUMBER:,}"
        )


def on_hand(session: Session, stock: Stock) -> int:
    """Return how many there are: the sum of the stock's movements."""
    total = select(func.coalesce(func.sum(Movement.change), 0))
    return int(session.scalars(total.where(Movement.stock_id == stock.id)).one())


def on_hand_of(session: Session, stock: Iterable[Stock] | None = None) -> dict[int, int]:
    """Return how many there are of each, by `Stock.id`, in one query.

    Parameters
    ----------
    stock
        Which to count; all that ever moved, unless given.
    """
    each = sums()
    counted = {row.stock_id: int(row.quantity) for row in session.execute(select(each))}
    if stock is None:
        return counted
    return {one.id: counted.get(one.id, 0) for one in stock}


def sums() -> Subquery:
    """Return the sums of all movements (`stock_id`, `quantity`), to be joined to `Stock`."""
    total = func.sum(Movement.change).label("quantity")
    return select(Movement.stock_id, total).group_by(Movement.stock_id).subquery("on_hand")
