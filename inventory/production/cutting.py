"""Cutting a batch, layout by layout, and dropping one of which nothing is cut."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.core.plan import NOBODY, PartType, Plan, PlannedSheet
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Stock
from inventory.orders.orders import set_status
from inventory.pieces.spare_pieces import add_spare_pieces
from inventory.production.booking import return_spares
from inventory.production.pace import report_times
from inventory.production.progress import (
    RemainingCopies,
    detach_mended_pieces,
    get_open_batch,
    list_remaining,
    next_copies,
    update_batch_status,
)
from inventory.shop.settings import get_shop
from inventory.stock import ledger
from inventory.stock.condition import damaged_areas_by_stock, grain_of_stock
from inventory.stock.listing import list_stash, planning_price
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.piles import BatchPiles
from inventory.stock.reservations import available, copies_done
from nester.core.errors import Hint, Refusal
from nester.cutting import cutting_minutes

__all__ = ["PutAway", "cut_batch", "drop_batch", "sheets_taken"]


@dataclass(frozen=True)
class PutAway:
    """Equal offcuts that cutting a layout brought into the stash, or spare pieces.

    Attributes
    ----------
    piece
        The name of the spare pieces; empty for offcuts.
    """

    label: str
    layout: int
    paper: str
    width: int
    height: int
    piece: str = ""
    quantity: int = 1


def cut_batch(
    session: Session,
    number: int,
    *,
    layout: int | Sequence[int] | None = None,
    copies: int | None = None,
    place: str | None = None,
    seconds: int | None = None,
    stand_in: str | None = None,
) -> list[PutAway]:
    """Book layouts of a batch as cut: sheets leave the stash, offcuts worth keeping enter it.

    Each layout is a transaction that `inventory.changes.undo.undo_transaction` can undo.  An
    order whose last piece is cut is cut.

    Parameters
    ----------
    layout
        The number of one layout, or of several; all that are left to cut, unless given.
    copies
        How many copies of one layout; all that are left, unless given.
    place
        Where the new offcuts are put, with what is there of their piles; see
        `inventory.stock.piles.BatchPiles`.
    seconds
        How long it took to cut all these, if that is reported; see `inventory.production.pace`.
    stand_in
        The label of the sheet that one layout was cut from instead of the one planned: of the same
        paper, size and condition.  Costs follow the sheet taken.

    Returns
    -------
    list of PutAway
        The new offcuts and spare pieces with their labels, layout by layout.

    Raises
    ------
    Refusal
        If there is no such open batch, less of it is left to cut, or the stash no longer has a
        sheet that it takes; the sheet that stands in is another one, or reserved; or time is
        reported for what needs no cut.
    """
    batch = get_open_batch(session, number)
    plan = plan_of(batch)
    transactions: list[tuple[Transaction, Fraction]] = []
    left = list_remaining(session, batch, plan)
    chosen = (layout,) if isinstance(layout, int) else layout
    if (copies is not None or stand_in is not None) and (chosen is None or len(chosen) != 1):
        raise Refusal(
            "say of which layout that many copies are cut"
            if copies is not None
            else "say which layout was cut from another sheet"
        )
    if chosen is not None:
        left = [next_copies(number, plan, left, each, copies) for each in dict.fromkeys(chosen)]
    put_away = []
    piles = BatchPiles(session, number, place)
    for remaining in left:
        sheet = remaining.layout.sheet
        number_cut = len(remaining.copies)
        stock = _sheet_taken(session, sheet, stand_in, number_cut)
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
        for kind, (rect, each) in remaining.layout.offcuts_by_kind().items():
            size, quantity = (rect.width, rect.height), each * number_cut
            pile = piles.put(transaction, kind, size, quantity, stock, grain)
            put_away.append(
                PutAway(pile.label, remaining.layout.number, sheet.paper, *size, quantity=quantity)
            )
        put_away += _put_spares_away(session, transaction, plan, remaining)
    if seconds is not None:
        report_times(session, seconds, transactions)
    update_batch_status(session, batch, plan)
    return put_away


def _sheet_taken(
    session: Session, sheet: PlannedSheet, stand_in: str | None, quantity: int
) -> Stock:
    """Return the stock that sheets are taken from: what was planned, or what stands in for it."""
    planned = find_stock(session, sheet.label)
    there = ledger.on_hand(session, planned)
    if stand_in is None or find_stock(session, stand_in).id == planned.id:
        if there < quantity:
            raise Refusal(
                f"{planned.label} has {there} on hand, and {quantity} are to be cut from it; cut"
                " from another sheet like it, or plan the rest again",
                Hint("use another sheet", "batch cut", ("--from", "LABEL")),
            )
        return planned
    stock = find_stock(session, stand_in)
    if (stock.paper_id, stock.width, stock.height, stock.margins) != (
        planned.paper_id, planned.width, planned.height, planned.margins
    ) or grain_of_stock(session, stock) != grain_of_stock(session, planned):  # fmt: skip
        raise Refusal(f"{stock.label} is no sheet like {planned.label}, so it can't stand in")
    areas = damaged_areas_by_stock(session)
    if areas.get(stock.id) != areas.get(planned.id):
        raise Refusal(f"{stock.label} is not damaged as {planned.label} is, so it can't stand in")
    free = available(session, stock)[stock.label]
    if free < quantity:
        raise Refusal(f"{free} of {stock.label} are free, and {quantity} are to be cut from it")
    return stock


def sheets_taken(session: Session, batch: Batch, plan: Plan) -> Plan:
    """Return a plan with the sheets that were really cut where others stood in for those planned.

    A layout cut from several sheets stands in it several times, under one number.
    """
    taken: dict[int, list[tuple[Stock, tuple[int, ...]]]] = defaultdict(list)
    query = (
        select(Transaction, Movement)
        .join(Movement, Movement.transaction_id == Transaction.id)
        .where(
            Transaction.batch_id == batch.id,
            Transaction.reason == Reason.CUT,
            Movement.reason == Reason.CUT,
            Transaction.layout.is_not(None),
            Transaction.id.not_in(ledger.reversed_transactions()),
        )
        .order_by(Transaction.id)
    )
    for transaction, movement in session.execute(query):
        planned = plan.layout(transaction.layout or 0)
        if movement.stock.label != planned.sheet.label:
            copies = tuple(transaction.copies or ())
            taken[planned.number].append((movement.stock, copies))
    if not taken:
        return plan.current()
    shop = get_shop(session)
    prices = {
        row.label: planning_price(shop, row) for row in list_stash(session, include_empty=True)
    }
    layouts = []
    for planned in plan.layouts:
        others = taken.get(planned.number, [])
        elsewhere = {copy for _, copies in others for copy in copies}
        own = tuple(copy for copy in planned.needed if copy not in elsewhere)
        if own:
            layouts.append(planned.of_copies(own))
        for stock, copies in others:
            sheet = replace(planned.sheet, label=stock.label, price=prices[stock.label])
            layouts.append(replace(planned.of_copies(copies), sheet=sheet))
    return plan.with_layouts(layouts)


def _put_spares_away(
    session: Session, transaction: Transaction, plan: Plan, cut: RemainingCopies
) -> list[PutAway]:
    """Put the pieces aside that were cut for nobody."""
    pieces: Counter[PartType] = Counter()
    for spot in cut.layout.spots:
        pieces[plan.part_of(spot)] += sum(spot.orders[copy - 1] == NOBODY for copy in cut.copies)
    return [
        PutAway(row.spare.label, cut.layout.number, row.paper, row.piece.width, row.piece.height,
                row.spare.name, row.quantity)
        for row in add_spare_pieces(session, transaction, pieces.items())
    ]  # fmt: skip


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
    return_spares(session, number)
    for order in batch.orders:
        if order.status is OrderStatus.PLANNED and holds_orders:
            set_status(session, order, OrderStatus.CONFIRMED)
    session.flush()
