"""Cutting a batch, layout by layout; what is spoiled on the way, and what was booked by mistake."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.core.plan import Plan, PlannedLayout, plan_from_json
from inventory.core.text import fold, shorten, whole_number
from inventory.database.tables.base import (
    Batch,
    BatchStatus,
    Deed,
    Lost,
    Movement,
    Order,
    Reason,
    Status,
    Stock,
)
from inventory.orders.orders import get_order, missing_pieces, set_status
from inventory.production.pace import report_times
from inventory.stock import ledger
from inventory.stock.condition import fibres_of
from inventory.stock.lookup import find_stock
from inventory.stock.places import Places
from inventory.stock.receiving import Line, keep_offcuts
from inventory.stock.reservations import copies_done, copies_left, given_up, reserved
from nester.core.errors import Refusal
from nester.cutting import cutting_minutes

__all__ = [
    "Left",
    "PutAway",
    "cut_batch",
    "drop_batch",
    "get_batch",
    "last_deed",
    "left_to_cut",
    "list_batches",
    "list_deeds",
    "lost_pieces",
    "move_order",
    "plan_of",
    "spoil_layout",
    "spoil_piece",
    "undo_deed",
]


def get_batch(session: Session, number: int) -> Batch:
    """Return the batch of that number.

    Raises
    ------
    Refusal
        If there is none.
    """
    batch = session.get(Batch, number) if 0 < number < 2**31 else None
    if batch is None:
        raise Refusal(f"there is no batch {number}")
    return batch


def list_batches(session: Session) -> list[Batch]:
    """Return all batches, the newest first."""
    return list(session.scalars(select(Batch).order_by(Batch.id.desc())))


def plan_of(batch: Batch) -> Plan:
    """Return the plan that a batch was booked with."""
    return plan_from_json(batch.plan)


def _open_batch(session: Session, number: int) -> Batch:
    batch = get_batch(session, number)
    if batch.status is BatchStatus.DRAFT:
        raise Refusal(
            f"batch {number} is a draft and reserves nothing yet; only an open batch can be"
            f" changed: confirm it with 'quirebox batch confirm {number}'"
        )
    if batch.status is not BatchStatus.OPEN:
        raise Refusal(f"batch {number} is {batch.status}; only an open batch can be changed")
    return batch


# --- how far a batch is ------------------------------------------------------------------------


@dataclass(frozen=True)
class Left:
    """Which copies of a layout are still to be cut, counted from 1."""

    layout: PlannedLayout
    copies: tuple[int, ...]


def left_to_cut(session: Session, batch: Batch, plan: Plan | None = None) -> list[Left]:
    """Return the layouts of a batch that are still to be cut, in their order.

    Copies that serve nothing but cancelled orders are not.
    """
    if batch.status in (BatchStatus.CUT, BatchStatus.DROPPED):
        return []
    return _left(session, batch, plan or plan_of(batch))


def _left(session: Session, batch: Batch, plan: Plan) -> list[Left]:
    done = copies_done(session, [batch.id])
    cancelled = given_up(session, [batch.id])
    lefts = (
        Left(
            layout,
            tuple(
                copies_left(
                    layout.copies,
                    [spot.orders for spot in layout.spots],
                    done.get((batch.id, layout.number), set()),
                    cancelled,
                )
            ),
        )
        for layout in plan.layouts
    )
    return [one for one in lefts if one.copies]


def _settle(session: Session, batch: Batch, plan: Plan) -> None:
    """Let a batch and its orders follow what is cut of it."""
    left = _left(session, batch, plan)
    if left:
        batch.status = BatchStatus.OPEN
    else:
        done = any(copies_done(session, [batch.id]).values())
        batch.status = BatchStatus.CUT if done else BatchStatus.DROPPED
        if not done:
            _mends_no_more(session, batch.id)
    if batch.mends_id is None:
        waiting = {
            spot.orders[copy - 1]
            for one in left
            for copy in one.copies
            for spot in one.layout.spots
        }
        for order in batch.orders:
            if order.status is Status.PLANNED and order.id not in waiting:
                set_status(session, order, Status.CUT)
            elif order.status is Status.CUT and order.id in waiting:
                set_status(session, order, Status.PLANNED)
    session.flush()


# --- cutting -----------------------------------------------------------------------------------


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

    Each layout is a deed that `undo_deed` can take back.  An order whose last piece is cut is cut.

    Parameters
    ----------
    layout
        The number of one layout; all that are left to cut, unless given.
    copies
        How many copies of that layout; all that are left, unless given.
    place
        Where the new offcuts are put: where the sheet lay that they are cut from, unless given;
        nowhere, if it is ``""``.
    seconds
        How long it took to cut all these, if it is reported; see `inventory.production.pace`.

    Returns
    -------
    list of PutAway
        The new offcuts with the labels to write on them, layout by layout.

    Raises
    ------
    Refusal
        If there is no such open batch, not as much of it is left to cut, or the stash no longer
        has a sheet that it takes; or time is reported for what needs no cut.
    """
    batch = _open_batch(session, number)
    plan = plan_of(batch)
    deeds: list[tuple[Deed, Fraction]] = []
    left = left_to_cut(session, batch, plan)
    if layout is not None:
        left = [_take(number, plan, left, layout, copies)]
    elif copies is not None:
        raise Refusal("say of which layout so many copies are cut")
    put_away = []
    places = Places(session)
    for one in left:
        sheet = one.layout.sheet
        stock = find_stock(session, sheet.label)
        deed = ledger.begin_deed(
            session, Reason.CUT, batch=batch, layout=one.layout.number, copies=list(one.copies)
        )
        ledger.move(session, stock, -len(one.copies), Reason.CUT, deed=deed)
        drawn = replace(plan.as_layout(one.layout)[0], copies=len(one.copies))
        deeds.append((deed, cutting_minutes(drawn, trimmer=plan.trimmer)))
        grain = fibres_of(session, stock)
        where = places.path(stock.place_id) if place is None else place
        lines = [
            Line(sheet.paper, (rect.width, rect.height), 1, place=where, lot=stock.lot, grain=grain)
            for _ in one.copies
            for rect in one.layout.offcuts
        ]
        kept = keep_offcuts(session, deed, lines, parents=[stock] * len(lines))
        put_away += [
            PutAway(new.label, one.layout.number, sheet.paper, new.width, new.height)
            for new in kept
        ]
    if seconds is not None:
        report_times(session, seconds, deeds)
    _settle(session, batch, plan)
    return put_away


def _take(number: int, plan: Plan, left: Iterable[Left], layout: int, copies: int | None) -> Left:
    """Return the next copies of a layout that are to be cut."""
    if not 1 <= layout <= len(plan.layouts):
        raise Refusal(
            f"batch {number} has no layout {layout}; they are numbered from 1 to"
            f" {len(plan.layouts)}"
        )
    one = next((one for one in left if one.layout.number == layout), None)
    if one is None:
        raise Refusal(f"layout {layout} of batch {number} has no copy left to cut")
    if copies is None:
        return one
    whole_number(copies, "the number of copies", least=1)
    if copies > len(one.copies):
        raise Refusal(
            f"layout {layout} of batch {number} has {len(one.copies)} left to cut, not {copies}"
        )
    return Left(one.layout, one.copies[:copies])


def drop_batch(session: Session, number: int) -> None:
    """Give up a batch of which nothing is cut: what it reserved is free, its orders confirmed.

    Raises
    ------
    Refusal
        If there is no such open batch or draft, or a part of it is cut.
    """
    batch = get_batch(session, number)
    if batch.status is not BatchStatus.DRAFT:
        batch = _open_batch(session, number)
    if any(copies_done(session, [number]).values()):
        raise Refusal(
            f"a part of batch {number} is cut already; cut the rest, or take back what was booked"
            f" by mistake with 'quirebox batch undo {number}'"
        )
    # The orders of a draft may be planned in another batch meanwhile, which keeps them.
    holds_orders = batch.status is BatchStatus.OPEN and batch.mends_id is None
    batch.status = BatchStatus.DROPPED
    _mends_no_more(session, number)
    for order in batch.orders:
        if order.status is Status.PLANNED and holds_orders:
            set_status(session, order, Status.CONFIRMED)
    session.flush()


def _mends_no_more(session: Session, number: int) -> None:
    for lost in session.scalars(select(Lost).where(Lost.mended_id == number)):
        lost.mended_id = None


# --- spoiling ----------------------------------------------------------------------------------


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
    batch = _open_batch(session, number)
    plan = plan_of(batch)
    one = _take(number, plan, left_to_cut(session, batch, plan), layout, 1)
    deed = ledger.begin_deed(
        session, Reason.SPOILED, note=why, batch=batch, layout=layout, copies=list(one.copies)
    )
    stock = find_stock(session, one.layout.sheet.label)
    ledger.move(session, stock, -1, Reason.SPOILED, deed=deed)
    (copy,) = one.copies
    cancelled = given_up(session, [number])
    lost = Counter(
        (spot.orders[copy - 1], spot.part)
        for spot in one.layout.spots
        if spot.orders[copy - 1] not in cancelled
    )
    for (order, part), quantity in lost.items():
        _lose(session, deed, order, part, quantity)
    _settle(session, batch, plan)
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
) -> Lost:
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
    cut = _cut_pieces(session, batch, plan)
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
        raise Refusal(f"orders {orders} each have a '{piece}'; say for which it was with --order")
    (its, part), there = max(named.items(), key=lambda item: (item[1], -item[0][1]))
    if quantity > there:
        raise Refusal(
            f"batch {number} has cut {there} of '{piece}' for order {its}, not {quantity}"
        )
    deed = ledger.begin_deed(session, Reason.SPOILED, note=why, batch=batch)
    return _lose(session, deed, its, part, quantity)


def _cut_pieces(session: Session, batch: Batch, plan: Plan) -> Counter[tuple[int, int]]:
    """Count the sound pieces that were cut, by order and part, but for cancelled orders."""
    cut: Counter[tuple[int, int]] = Counter()
    cancelled = given_up(session, [batch.id])
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
    for lost in lost_pieces(session, batch=batch.id, mended=True):
        cut[lost.order_id, lost.part] -= lost.quantity
    return cut


def _lose(session: Session, deed: Deed, order: int, part: int, quantity: int) -> Lost:
    lost = Lost(
        deed_id=deed.id, batch_id=deed.batch_id, order_id=order, part=part, quantity=quantity
    )
    session.add(lost)
    session.flush()
    return lost


def lost_pieces(session: Session, *, batch: int | None = None, mended: bool = False) -> list[Lost]:
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
        select(Lost)
        .join(Order, Lost.order_id == Order.id)
        .where(Lost.deed_id.not_in(ledger.taken_back()))
        .order_by(Lost.id)
    )
    if batch is not None:
        query = query.where(Lost.batch_id == batch)
    if not mended:
        query = query.where(Order.status != Status.CANCELLED, Lost.mended_id.is_(None))
    return list(session.scalars(query))


# --- orders ------------------------------------------------------------------------------------


def move_order(session: Session, number: int, status: Status | str) -> Order:
    """Move an order along by hand; cancelling it frees what was reserved for it alone.

    Raises
    ------
    Refusal
        If it can't go there from where it is, only a batch may move it there, or it is to be
        assembled while pieces of it are missing.
    """
    order = get_order(session, number)
    by_batch = str(status).strip().casefold() in (Status.PLANNED, Status.CUT)
    wants_back = order.status is Status.PLANNED and str(status).strip().casefold() != "cancelled"
    if by_batch or wants_back:
        raise Refusal(
            f"order {number} is {order.status}; use 'quirebox batch plan', 'batch cut' or"
            " 'batch drop', which also keep the stash right"
        )
    if str(status).strip().casefold() == Status.ASSEMBLED:
        missing = missing_pieces(session)[number]
        if missing:
            raise Refusal(
                f"order {number} lacks {missing} spoiled piece{'s' * (missing > 1)} that"
                f" {'are' if missing > 1 else 'is'} not cut again yet; see 'quirebox batch mend'"
            )
    set_status(session, order, status)
    if order.status is Status.CANCELLED:
        for batch in order.batches:
            if batch.status is BatchStatus.OPEN:
                _settle(session, batch, plan_of(batch))
    return order


# --- taking back -------------------------------------------------------------------------------


def list_deeds(session: Session, *, most: int = 20, batch: int | None = None) -> list[Deed]:
    """Return what was done last, the newest first, without what was taken back.

    Parameters
    ----------
    batch
        Only what was done for that batch.
    """
    query = select(Deed).where(Deed.reason != Reason.UNDONE, Deed.id.not_in(ledger.taken_back()))
    if batch is not None:
        query = query.where(Deed.batch_id == batch)
    return list(session.scalars(query.order_by(Deed.id.desc()).limit(most)))


def last_deed(session: Session, *, batch: int | None = None) -> Deed:
    """Return what was done last and not taken back.

    Raises
    ------
    Refusal
        If there is nothing, or no such batch.
    """
    if batch is not None:
        get_batch(session, batch)
    deeds = list_deeds(session, most=1, batch=batch)
    if not deeds:
        of = f" of batch {batch}" if batch is not None else ""
        raise Refusal(f"there is nothing{of} to take back")
    return deeds[0]


def undo_deed(session: Session, number: int, why: str = "") -> Deed:
    """Take back a deed with all that it booked; batch and orders go back with it.

    Parameters
    ----------
    number
        As `list_deeds` tells it.

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
    from inventory.purchasing.purchases import check_can_be_taken_back

    deed = session.get(Deed, number) if 0 < number < 2**31 else None
    if deed is None:
        raise Refusal(f"there is no deed {number}; 'quirebox stash deeds' lists the last ones")
    _check_nothing_on_top(session, deed)
    check_can_be_taken_back(session, deed)
    _check_free(session, deed)
    back = ledger.undo_deed(session, deed, note=why)
    if deed.batch is not None and deed.layout is not None:
        _settle(session, deed.batch, plan_of(deed.batch))
    return back


def _check_nothing_on_top(session: Session, deed: Deed) -> None:
    if deed.batch_id is None or deed.reason is Reason.UNDONE:
        return
    newest = list_deeds(session, most=1, batch=deed.batch_id)
    if newest and newest[0].id > deed.id:
        raise Refusal(
            f"deed {newest[0].id} of batch {deed.batch_id} was done after it; take that back first"
        )
    for lost in session.scalars(select(Lost).where(Lost.deed_id == deed.id)):
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
        if orders[order].status in (Status.ASSEMBLED, Status.DELIVERED):
            raise Refusal(f"order {order} is {orders[order].status} from it already")


def _check_free(session: Session, deed: Deed) -> None:
    """Refuse to take back what has been reserved since."""
    changes = session.execute(
        select(Stock, func.sum(Movement.change))
        .join(Movement, Movement.stock_id == Stock.id)
        .where(Movement.deed_id == deed.id)
        .group_by(Stock.id)
    ).all()
    taken = reserved(session)
    for stock, change in changes:
        booked = taken[stock.label]
        if change > 0 and booked and booked > ledger.on_hand(session, stock) - change:
            raise Refusal(f"{stock.label} is reserved by a batch; drop that batch first")
