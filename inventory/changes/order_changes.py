"""Changing orders: what was wanted, by when, of what; cancelling, reopening, copying, splitting.

Every change is a transaction that can be undone.  Pieces that are cut already stay with their
order as far as it still needs them; the others become spare pieces.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from inventory.changes.plan_changes import give_up_pieces, settle_losses
from inventory.core.money import check_amount
from inventory.core.plan import PartType, plan_to_json
from inventory.core.text import clean_name, clean_note, whole_number
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.production import OrderChange, PlanChange
from inventory.orders.orders import add_order, check_makeable, get_order, set_status
from inventory.pieces.order_needs import order_needs, pieces_in_batches, surplus_pieces
from inventory.stock import ledger
from inventory.stock.ledger import reversed_transactions
from inventory.stock.lookup import plan_of
from inventory.stock.papers import current_names
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.tables.orders import Order
    from inventory.pieces.spare_pieces import SpareRow
    from nester.core.piece import Piece

__all__ = [
    "ChangedOrder",
    "OrderChanges",
    "cancel_order",
    "change_order",
    "check_order_changes",
    "copy_order",
    "order_changes",
    "reopen_order",
    "split_order",
    "undo_order_changes",
    "values_of",
]

_BEYOND_CHANGE = (OrderStatus.ASSEMBLED, OrderStatus.DELIVERED, OrderStatus.CANCELLED)


@dataclass(frozen=True)
class OrderChanges:
    """What is to be different of an order; None leaves a value as it is.

    Attributes
    ----------
    sizes
        Settings by name; an empty text takes a setting back to its default.
    papers
        Papers by role; an empty text takes a role's own paper away.
    no_price
        Nothing is agreed any more.
    """

    customer: str | None = None
    copies: int | None = None
    due: date | None = None
    sizes: Mapping[str, str] = field(default_factory=dict)
    papers: Mapping[str, str] = field(default_factory=dict)
    note: str | None = None
    price: Decimal | None = None
    no_price: bool = False


@dataclass(frozen=True)
class ChangedOrder:
    """What a change of an order came to.

    Attributes
    ----------
    before, after
        The values that differ, as they are kept.
    kept
        How many pieces that are cut stay good for it.
    spare
        What became spare pieces.
    to_cut
        What is still to be cut for it: the piece, its paper, how many.
    transaction
        What was booked; None until it is.
    batches
        The open batches that were to cut something for it.
    warnings
        What the maker should know.
    """

    order: Order
    before: dict[str, Any]
    after: dict[str, Any]
    kept: int
    spare: list[SpareRow]
    to_cut: list[tuple[Piece, str, int]]
    transaction: Transaction | None = None
    batches: tuple[int, ...] = ()
    warnings: tuple[str, ...] = ()


def values_of(order: Order) -> dict[str, Any]:
    """Return what can be changed of an order, and its status, as JSON keeps it."""
    return {
        "customer": order.customer,
        "copies": order.copies,
        "due": order.due.isoformat(),
        "sizes": dict(order.sizes),
        "papers": dict(order.papers),
        "note": order.note,
        "price": None if order.price is None else str(order.price),
        "status": str(order.status),
    }


def change_order(
    session: Session,
    number: int,
    changes: OrderChanges,
    *,
    today: date,
    by: str = "",
    why: str = "",
    expected: Mapping[str, Any] | None = None,
) -> ChangedOrder:
    """Change an order.

    If its pieces change, what is not cut of it leaves the batches that were to cut it, and it is
    confirmed: to be planned again.  Of what is cut, all that it still needs stays with it.

    Parameters
    ----------
    by
        Who changes it.
    why
        A note for the history.
    expected
        The values that it had when the change was decided on; see `values_of`.

    Raises
    ------
    Refusal
        If there is no such order, nothing is different, it can't be made so, its due date has
        passed, it is assembled or further along and its pieces would change, or it was changed
        meanwhile.
    """
    order = get_order(session, number)
    before = values_of(order)
    _check_expected(order, before, expected)
    wanted = _applied(before, changes, today)
    different = {key for key in before if before[key] != wanted[key]}
    if not different:
        raise Refusal(f"order {number} is like that already; nothing was changed")
    pieces_change = bool(different & {"copies", "sizes", "papers"})
    if order.status in _BEYOND_CHANGE and different - {"customer", "note", "price"}:
        raise Refusal(
            f"order {number} is {order.status}; only its customer, note and price can be changed",
            Hint("take one like it", "order copy", (str(number),)),
        )
    _set(order, wanted)
    warnings: tuple[str, ...] = ()
    if pieces_change:
        # Papers are kept under the names that the shop gives them.
        papers, tight = check_makeable(
            session, order.design, order.design_text, order.sizes, order.papers, order.unit
        )
        order.papers = papers
        warnings = tuple(f"order {number}: {said}" for said in tight)
    session.flush()
    if order.due < today and "due" not in different:
        warnings += (f"order {number} was due on {order.due.isoformat()}, which has passed",)
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=why)
    changed = ChangedOrder(order, {}, {}, 0, [], [], warnings=warnings)
    if pieces_change and order.status is not OrderStatus.DRAFT:
        changed = _fit_pieces(session, order, transaction, warnings)
    _rewrite_plans(session, order, transaction)
    return _recorded(session, transaction, changed, before, by)


def _applied(before: Mapping[str, Any], changes: OrderChanges, today: date) -> dict[str, Any]:
    wanted = dict(before)
    if changes.customer is not None:
        wanted["customer"] = clean_name(changes.customer, "the customer's name")
    if changes.copies is not None:
        wanted["copies"] = whole_number(changes.copies, "the number of copies", least=1)
    if changes.due is not None:
        if changes.due < today:
            raise Refusal(f"the due date {changes.due.isoformat()} has passed")
        wanted["due"] = changes.due.isoformat()
    if changes.note is not None:
        wanted["note"] = clean_note(changes.note)
    if changes.price is not None or changes.no_price:
        price = None if changes.price is None else check_amount(changes.price, "the price")
        wanted["price"] = None if price is None else str(price)
    for key, given in (("sizes", changes.sizes), ("papers", changes.papers)):
        merged = {**wanted[key], **given}
        wanted[key] = {name: text for name, text in merged.items() if text.strip()}
    return wanted


def _set(order: Order, values: Mapping[str, Any]) -> None:
    order.customer = values["customer"]
    order.copies = values["copies"]
    order.due = date.fromisoformat(values["due"])
    order.sizes = dict(values["sizes"])
    order.papers = dict(values["papers"])
    order.note = values["note"]
    order.price = None if values["price"] is None else Decimal(values["price"])


def _check_expected(
    order: Order, now: Mapping[str, Any], expected: Mapping[str, Any] | None
) -> None:
    if expected is not None and dict(expected) != now:
        raise Refusal(f"order {order.id} was changed meanwhile; look at it again")


def _fit_pieces(
    session: Session, order: Order, transaction: Transaction, warnings: tuple[str, ...] = ()
) -> ChangedOrder:
    """Keep of the pieces of an order what it needs, and take it out of what was to cut more."""
    known = pieces_in_batches(session, order)
    batches = tuple(batch.id for batch in order.batches if batch.status is BatchStatus.OPEN)
    surplus = surplus_pieces(session, order) + known.to_come
    spare = give_up_pieces(session, order, transaction, surplus)
    settle_losses(session, [order], transaction)
    to_cut = order_needs(session, order)
    if to_cut and order.status in (OrderStatus.PLANNED, OrderStatus.CUT):
        set_status(session, order, OrderStatus.CONFIRMED)
    elif not to_cut and order.status in (OrderStatus.PLANNED, OrderStatus.CONFIRMED):
        set_status(session, order, OrderStatus.CUT)
    kept = (known.cut - surplus_of(spare)).total()
    return ChangedOrder(order, {}, {}, kept, spare, to_cut, batches=batches, warnings=warnings)


def surplus_of(spare: list[SpareRow]) -> Counter[PartType]:
    """Count spare pieces by piece and paper."""
    count: Counter[PartType] = Counter()
    for row in spare:
        count[PartType(row.paper, row.piece)] += row.quantity
    return count


def _rewrite_plans(session: Session, order: Order, transaction: Transaction) -> None:
    """Say in the plans of open batches who the order is for, when it is due, and how many."""
    for batch in order.batches:
        if batch.status not in (BatchStatus.OPEN, BatchStatus.DRAFT):
            continue
        plan = plan_of(batch)
        orders = tuple(
            replace(row, customer=order.customer, due=order.due, copies=order.copies)
            if row.number == order.id
            else row
            for row in plan.orders
        )
        if orders != plan.orders:
            changed = PlanChange(
                transaction_id=transaction.id, batch_id=batch.id, before=batch.plan
            )
            session.add(changed)
            batch.plan = plan_to_json(replace(plan, orders=orders))
    session.flush()


def _recorded(
    session: Session,
    transaction: Transaction,
    changed: ChangedOrder,
    before: dict[str, Any] | None,
    by: str,
) -> ChangedOrder:
    """Keep what a transaction changed of an order."""
    after = values_of(changed.order)
    if before is None:
        old, new = None, after
    else:
        # Its status is kept in any case: the change can be undone only while it is that.
        old = {
            key: value for key, value in before.items() if value != after[key] or key == "status"
        }
        new = {key: after[key] for key in old}
    session.add(
        OrderChange(
            transaction_id=transaction.id,
            order_id=changed.order.id,
            before=old,
            after=new,
            by=clean_note(by),
            at=transaction.at,
        )
    )
    session.flush()
    return replace(changed, before=old or {}, after=new, transaction=transaction)


def cancel_order(
    session: Session, number: int, *, by: str = "", why: str = "", place: str | None = None
) -> ChangedOrder:
    """Cancel an order: nothing more is cut for it, and what was cut becomes spare pieces.

    Parameters
    ----------
    place
        Where its pieces are put.

    Raises
    ------
    Refusal
        If there is no such order, or it is delivered or cancelled.
    """
    order = get_order(session, number)
    if order.status in (OrderStatus.DELIVERED, OrderStatus.CANCELLED):
        raise Refusal(f"order {number} is {order.status}, so it can't be cancelled")
    before = values_of(order)
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=why)
    batches = tuple(batch.id for batch in order.batches if batch.status is BatchStatus.OPEN)
    spare: list[SpareRow] = []
    if order.status is not OrderStatus.ASSEMBLED:
        spare = give_up_pieces(session, order, transaction, place=place)
    set_status(session, order, OrderStatus.CANCELLED)
    changed = ChangedOrder(order, {}, {}, 0, spare, [], batches=batches)
    return _recorded(session, transaction, changed, before, by)


def reopen_order(session: Session, number: int, *, by: str = "", why: str = "") -> ChangedOrder:
    """Take a cancelled order up again, or say that a delivered one came back.

    A cancelled order is to be planned again; the spare pieces that came of it are used first.  If
    it was assembled when it was cancelled, it is assembled.

    Raises
    ------
    Refusal
        If there is no such order, it is neither cancelled nor delivered, or its design or papers
        are gone.
    """
    order = get_order(session, number)
    before = values_of(order)
    if order.status is OrderStatus.DELIVERED:
        status = OrderStatus.ASSEMBLED
    elif order.status is OrderStatus.CANCELLED:
        last = _last_change(session, number)
        was = (last.before or {}).get("status") if last is not None else None
        assembled = was == OrderStatus.ASSEMBLED
        status = OrderStatus.ASSEMBLED if assembled else OrderStatus.CONFIRMED
    else:
        raise Refusal(
            f"order {number} is {order.status}; only a cancelled or delivered order can be reopened"
        )
    check_makeable(session, order.design, order.design_text, order.sizes, order.papers, order.unit)
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=why)
    set_status(session, order, status)
    to_cut = order_needs(session, order) if status is OrderStatus.CONFIRMED else []
    changed = ChangedOrder(order, {}, {}, 0, [], to_cut)
    return _recorded(session, transaction, changed, before, by)


def copy_order(
    session: Session,
    number: int,
    *,
    due: date,
    today: date,
    customer: str | None = None,
    copies: int | None = None,
    by: str = "",
) -> ChangedOrder:
    """Take an order like another one.

    Parameters
    ----------
    customer, copies
        As of the other order, unless given.

    Raises
    ------
    Refusal
        If there is no such order, its due date has passed, or it can't be made any more.
    """
    order = get_order(session, number)
    if due < today:
        raise Refusal(f"the due date {due.isoformat()} has passed")
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=f"like order {number}")
    return _add_like(session, transaction, order, customer, copies, due, today, by)


def _add_like(
    session: Session,
    transaction: Transaction,
    order: Order,
    customer: str | None,
    copies: int | None,
    due: date,
    today: date,
    by: str,
) -> ChangedOrder:
    # Its settings were written in the unit that the shop had then.
    new, warnings = add_order(
        session,
        order.customer if customer is None else customer,
        order.design,
        order.sizes,
        order.papers,
        order.copies if copies is None else copies,
        due,
        today,
        unit=order.unit,
        design_text=order.design_text,
        note=order.note,
        price=order.price,
    )
    changed = ChangedOrder(new, {}, {}, 0, [], order_needs(session, new), warnings=tuple(warnings))
    return _recorded(session, transaction, changed, None, by)


def split_order(
    session: Session,
    number: int,
    copies: int,
    *,
    due: date,
    today: date,
    by: str = "",
    expected: Mapping[str, Any] | None = None,
) -> tuple[ChangedOrder, ChangedOrder]:
    """Make some copies of an order a new order, due another day.

    Returns
    -------
    tuple of ChangedOrder
        What is left of the order, and the new one.

    Raises
    ------
    Refusal
        If there is no such order, it has no more copies than that, or it is assembled or further.
    """
    order = get_order(session, number)
    whole_number(copies, "the number of copies", least=1)
    if order.status in _BEYOND_CHANGE:
        raise Refusal(f"order {number} is {order.status}, so it can't be split")
    if copies >= order.copies:
        raise Refusal(
            f"order {number} has {order.copies} cop{'y' if order.copies == 1 else 'ies'}; fewer"
            " than that can be split off"
        )
    before = values_of(order)
    _check_expected(order, before, expected)
    if due < today:
        raise Refusal(f"the due date {due.isoformat()} has passed")
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=f"order {number} split")
    order.copies -= copies
    session.flush()
    changed = ChangedOrder(order, {}, {}, 0, [], [])
    if order.status is not OrderStatus.DRAFT:
        changed = _fit_pieces(session, order, transaction)
    _rewrite_plans(session, order, transaction)
    kept = _recorded(session, transaction, changed, before, by)
    return kept, _add_like(session, transaction, order, None, copies, due, today, by)


# --- history and undoing -------------------------------------------------------------------------


def order_changes(session: Session, number: int) -> list[OrderChange]:
    """Return what was changed of an order and not undone, the first change first."""
    query = select(OrderChange).where(
        OrderChange.order_id == number,
        OrderChange.transaction_id.not_in(reversed_transactions()),
    )
    return list(session.scalars(query.order_by(OrderChange.id)))


def _last_change(session: Session, number: int) -> OrderChange | None:
    changes = order_changes(session, number)
    return changes[-1] if changes else None


def check_order_changes(session: Session, transaction: Transaction) -> None:
    """Refuse to undo a change of an order if the order was changed again, or has moved on.

    Raises
    ------
    Refusal
        It says what stands in the way.
    """
    for change in _changes_by(session, transaction):
        newest = session.scalar(
            select(func.max(OrderChange.transaction_id)).where(
                OrderChange.order_id == change.order_id,
                OrderChange.transaction_id.not_in(reversed_transactions()),
            )
        )
        if newest is not None and newest > transaction.id:
            raise Refusal(
                f"entry {newest} changed order {change.order_id} after it; undo that first"
            )
        order = get_order(session, change.order_id)
        was = change.after["status"]
        is_touched = bool({"copies", "sizes", "papers"} & set(change.after)) or (
            change.before is None or change.before["status"] != was
        )
        if is_touched and order.status != was:
            raise Refusal(
                f"order {order.id} is {order.status} since; take it out of its batch first",
                Hint("plan without it", "batch replan"),
            )


def undo_order_changes(session: Session, transaction: Transaction) -> None:
    """Put back what a transaction changed of orders; a new order is cancelled."""
    for change in reversed(_changes_by(session, transaction)):
        order = get_order(session, change.order_id)
        if change.before is None:
            if order.status is not OrderStatus.CANCELLED:
                set_status(session, order, OrderStatus.CANCELLED)
            continue
        names = current_names(session)
        values = {**values_of(order), **change.before}
        values["papers"] = {role: names.get(n, n) for role, n in values["papers"].items()}
        _set(order, values)
        status = OrderStatus(change.before["status"])
        if change.before["status"] != change.after["status"] and status is not order.status:
            set_status(session, order, status)
    session.flush()


def _changes_by(session: Session, transaction: Transaction) -> list[OrderChange]:
    query = select(OrderChange).where(OrderChange.transaction_id == transaction.id)
    return list(session.scalars(query.order_by(OrderChange.id)))
