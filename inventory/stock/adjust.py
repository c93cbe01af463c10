"""Correct what the stash says: count it, take spoiled paper out, move it to another place.

Every function takes the session first (`inventory.database.shop_file.ShopFile.begin`) and plain
values after it.  A refusal has changed nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.core.text import whole_number
from inventory.database.tables.enums import Reason, StockKind
from inventory.database.tables.ledger import Movement, StockCount
from inventory.database.tables.stock import Stock
from inventory.stock import ledger
from inventory.stock.condition import split_pile
from inventory.stock.lookup import find_stock
from inventory.stock.places import get_or_add_place
from inventory.stock.receiving import ReceiptLine, matching_stock
from inventory.stock.reservations import available
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = ["count_stock", "set_stock_place", "spoil_stock"]


def count_stock(session: Session, label: str, quantity: int, why: str = "") -> Movement | None:
    """Book what was counted: the difference to the book, if there is one.

    Parameters
    ----------
    quantity
        How many are there, 0 to 1,000,000; of what is damaged 0 or 1.

    Returns
    -------
    Movement or None
        None if the book was right.

    Raises
    ------
    Refusal
        If there is no such label, or it can't be that many.
    """
    stock = find_stock(session, label)
    whole_number(quantity, f"the number of {stock.label}")
    booked = ledger.on_hand(session, stock)
    transaction = ledger.book_transaction(session, Reason.COUNTED, note=why)
    session.add(
        StockCount(transaction_id=transaction.id, stock_id=stock.id, found=quantity, booked=booked)
    )
    session.flush()
    if quantity == booked:
        return None
    return ledger.book_movement(
        session, stock, quantity - booked, Reason.COUNTED, transaction=transaction
    )


def spoil_stock(session: Session, label: str, quantity: int = 1, why: str = "") -> Movement:
    """Take spoiled sheets or offcuts out of the stash.

    Raises
    ------
    Refusal
        If there is no such label, or not as many are there.
    """
    stock = find_stock(session, label)
    whole_number(quantity, f"the number of {stock.label}", least=1)
    return ledger.book_movement(session, stock, -quantity, Reason.SPOILED, note=why)


def set_stock_place(session: Session, label: str, place: str, quantity: int | None = None) -> Stock:
    """Put sheets or offcuts into a place.

    Some of the sheets join equal ones that lie there; some of a pile of offcuts get a new label.

    Parameters
    ----------
    place
        A new name makes a new place; an empty one says that nobody knows where it is.
    quantity
        How many of them; all, unless given.

    Returns
    -------
    Stock
        What lies there now: under another label if others stay where they were.

    Raises
    ------
    Refusal
        If there is no such label, not as many are there, or a batch would not find what it has
        reserved under its label.
    """
    stock = find_stock(session, label)
    there = ledger.on_hand(session, stock)
    if quantity is not None:
        whole_number(quantity, f"the number of {stock.label}", least=1)
        ledger.check_quantity(stock, there, -quantity)
    where = get_or_add_place(session, place)
    if quantity is None or quantity == there:
        stock.place = where
        session.flush()
        return stock
    free = available(session, stock)[stock.label]
    if quantity > free:
        raise Refusal(
            f"batches have reserved {there - free} of the {there} {stock.label}; put all of them"
            f" there, or at most {free}"
        )
    transaction = ledger.book_transaction(session, Reason.MOVED)
    line = ReceiptLine(stock.paper.name, (stock.width, stock.height), quantity, stock.price, place,
                stock.note, stock.lot, margins=stock.margins)  # fmt: skip
    if stock.kind is StockKind.OFFCUT:
        if where is stock.place:
            raise Refusal(f"{stock.label} lies there already")
        return split_pile(session, transaction, stock, line)
    (target,) = matching_stock(session, [line])
    if target.id == stock.id:
        raise Refusal(f"{stock.label} lies there already")
    changes = [(stock, -quantity, Reason.MOVED), (target, quantity, Reason.MOVED)]
    ledger.book_movements(session, transaction, changes)
    return target
