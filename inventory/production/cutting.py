"""Cutting a batch, layout by layout, and dropping one of which nothing is cut."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from sqlalchemy.orm import Session

from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.orders.orders import set_status
from inventory.production.pace import report_times
from inventory.production.progress import (
    detach_mended_pieces,
    get_open_batch,
    list_remaining,
    next_copies,
    update_batch_status,
)
from inventory.stock import ledger
from inventory.stock.condition import grain_of_stock
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.places import PlaceTree
from inventory.stock.receiving import ReceiptLine, put_away_offcuts
from inventory.stock.reservations import copies_done
from nester.core.errors import Hint, Refusal
from nester.cutting import cutting_minutes

__all__ = ["PutAway", "cut_batch", "drop_batch"]


@dataclass(frozen=True)
class PutAway:
    """An offcut that cutting a batch brought into the stash."""

    label: str
    layout: int
    paper: str
    width: int
    height: int


def cut_batch(
    session: Session,
    number: int,
    *,
    layout: int | None = None,
    copies: int | None = None,
    place: str | None = None,
    seconds: int | None = None,
) -> list[PutAway]:
    """Book layouts of a batch as cut: sheets leave the stash, offcuts worth keeping enter it.

    Each layout is a transaction that `inventory.production.undo.undo_transaction` can undo.  An
    order whose last piece is cut is cut.

    Parameters
    ----------
    layout
        The number of one layout; all that are left to cut, unless given.
    copies
        How many copies of that layout; all that are left, unless given.
    place
        Where the new offcuts are put: unless given, where the sheet was from which they are cut;
        nowhere if it is ``""``.
    seconds
        How long it took to cut all these, if that is reported; see `inventory.production.pace`.

    Returns
    -------
    list of PutAway
        The new offcuts with the labels to write on them, layout by layout.

    Raises
    ------
    Refusal
        If there is no such open batch, less of it is left to cut, or the stash no longer has a
        sheet that it takes; or time is reported for what needs no cut.
    """
    batch = get_open_batch(session, number)
    plan = plan_of(batch)
    transactions: list[tuple[Transaction, Fraction]] = []
    left = list_remaining(session, batch, plan)
    if layout is not None:
        left = [next_copies(number, plan, left, layout, copies)]
    elif copies is not None:
        raise Refusal("say of which layout that many copies are cut")
    put_away = []
    places = PlaceTree(session)
    for remaining in left:
        sheet = remaining.layout.sheet
        stock = find_stock(session, sheet.label)
        number_cut = len(remaining.copies)
        transaction = ledger.book_transaction(
            session,
            Reason.CUT,
            batch=batch,
            layout=remaining.layout.number,
            copies=list(remaining.copies),
        )
        ledger.book_movement(session, stock, -number_cut, Reason.CUT, transaction=transaction)
        cut = replace(plan.as_layout(remaining.layout)[0], copies=number_cut)
        transactions.append((transaction, cutting_minutes(cut, trimmer=plan.trimmer)))
        grain = grain_of_stock(session, stock)
        where = places.path(stock.place_id) if place is None else place
        lines = [
            ReceiptLine(
                sheet.paper, (rect.width, rect.height), 1, place=where, lot=stock.lot, grain=grain
            )
            for _ in remaining.copies
            for rect in remaining.layout.offcuts
        ]
        kept = put_away_offcuts(session, transaction, lines, parents=[stock] * len(lines))
        put_away += [
            PutAway(new.label, remaining.layout.number, sheet.paper, new.width, new.height)
            for new in kept
        ]
    if seconds is not None:
        report_times(session, seconds, transactions)
    update_batch_status(session, batch, plan)
    return put_away


def drop_batch(session: Session, number: int) -> None:
    """Give up a batch of which nothing is cut: what it reserved is free, its orders confirmed.

    Raises
    ------
    Refusal
        If there is no such open batch or draft, or a part of it is cut.
    """
    batch = get_batch(session, number)
    if batch.status is not BatchStatus.DRAFT:
        batch = get_open_batch(session, number)
    if any(copies_done(session, [number]).values()):
        raise Refusal(
            f"a part of batch {number} is cut already; cut the rest",
            Hint("undo what was recorded by mistake", "batch undo", (str(number),)),
        )
    # The orders of a draft may be planned in another batch meanwhile, which keeps them.
    holds_orders = batch.status is BatchStatus.OPEN and batch.mends_id is None
    batch.status = BatchStatus.DROPPED
    detach_mended_pieces(session, number)
    for order in batch.orders:
        if order.status is OrderStatus.PLANNED and holds_orders:
            set_status(session, order, OrderStatus.CONFIRMED)
    session.flush()
