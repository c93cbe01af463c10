"""Orders: what somebody wants, by when, in which papers; one function for each change."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.core.money import check_amount
from inventory.core.text import choice, clean_name, clean_note, shorten, whole_number
from inventory.database.tables.enums import NEXT_STATUSES, BatchStatus, OrderStatus
from inventory.database.tables.orders import Batch, BatchOrder, Order, OrderStatusChange
from inventory.database.tables.production import SpoiledPieces
from inventory.orders.custom_designs import find_design, text_of_design
from inventory.shop.settings import get_shop
from inventory.stock.ledger import not_in_force, reversed_transactions
from inventory.stock.papers import find_paper
from inventory.stock.reservations import mended_pieces
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from nester.core.lengths import Unit
    from nester.core.piece import Piece
    from nester.designs import Design, Settings
    from nester.designs.base.clearance import Thickness
    from nester.designs.base.design import Consumable

__all__ = [
    "BoardRow",
    "add_order",
    "check_makeable",
    "design_of",
    "get_order",
    "list_orders",
    "missing_pieces",
    "order_board",
    "order_consumables",
    "order_pieces",
    "set_status",
    "status_changes",
    "thickness_of_papers",
]


def add_order(
    session: Session,
    customer: str,
    design: str,
    sizes: Mapping[str, str],
    papers: Mapping[str, str],
    copies: int,
    due: date,
    today: date,
    *,
    draft: bool = False,
    unit: Unit | None = None,
    design_text: str | None = None,
    note: str = "",
    price: Decimal | None = None,
) -> tuple[Order, list[str]]:
    """Take an order; it starts out confirmed.

    Parameters
    ----------
    design
        The name of a built-in design, or of one of the maker's own.
    sizes
        The design's settings as they were written; bare numbers are in the shop's unit.
    papers
        The name of a paper for each role; a role with a point also answers to the part before it.
    copies
        How many finished objects, 1 to 1,000,000.
    today
        The day it is at the maker's table.
    draft
        It is no more than talked about yet: it starts out as a draft and is not planned.
    unit
        The unit of bare numbers in `sizes`; the shop's, unless given.
    design_text
        The text of a design of the maker's own, if it is not the one kept under its name now.
    note, price
        See `inventory.database.tables.orders.Order`.

    Returns
    -------
    Order
        Stored, with its number (`Order.id`).
    list of str
        What the maker should know: that it was due already, and what fits tightly.

    Raises
    ------
    Refusal
        If there is no such design or paper, a piece has no paper, or the design can't be made in
        these sizes, or binds in these papers.
    """
    customer = clean_name(customer, "the customer's name")
    if design_text is None:
        design = find_design(session, design).name
        design_text = text_of_design(session, design)
    unit = unit or get_shop(session).unit
    named, tight = check_makeable(session, design, design_text, sizes, papers, unit)
    order = Order(
        customer=customer,
        design=design,
        sizes=dict(sizes),
        unit=unit,
        papers=named,
        copies=whole_number(copies, "the number of copies", least=1),
        due=due,
        status=OrderStatus.DRAFT if draft else OrderStatus.CONFIRMED,
        made_at=datetime.now(UTC),
        design_text=design_text,
        note=clean_note(note),
        price=None if price is None else check_amount(price, "the price"),
    )
    session.add(order)
    session.flush()
    _add_status_change(session, order, order.made_at)
    late = f"order {order.id} was due on {due.isoformat()}, which has passed"
    return order, [late] * (due < today) + [f"order {order.id}: {said}" for said in tight]


def check_makeable(
    session: Session,
    design: str,
    design_text: str | None,
    sizes: Mapping[str, str],
    papers: Mapping[str, str],
    unit: Unit,
) -> tuple[dict[str, str], list[str]]:
    """Refuse an order that can't be made.

    Parameters
    ----------
    design, design_text
        The name of a built-in design, or of one of the maker's own and its text.
    sizes, papers, unit
        As for `add_order`.

    Returns
    -------
    dict
        The papers by role, by the names that the shop gives them.
    list of str
        What fits tightly.

    Raises
    ------
    Refusal
        As `add_order`.
    """
    from nester.designs import check_roles, read_settings

    chosen = _design(session, design, design_text, f"the design '{design}'")
    check_roles(chosen, papers)
    named = {role: find_paper(session, name).name for role, name in papers.items()}
    thickness = thickness_of_papers(session, named)
    settings = read_settings(chosen, sizes, unit, thickness)
    _check_papers(chosen, chosen.pieces(settings, unit), named)
    return named, _check_fit(chosen, settings, thickness, unit)


def _check_fit(design: Design, settings: Settings, thickness: Thickness, unit: Unit) -> list[str]:
    """Refuse what binds in the papers chosen; return what to say of what is tight."""
    from nester.designs.base.clearance import Verdict, require_clearances

    try:
        fit = require_clearances(design.joints(settings), thickness, unit)
    except Refusal as refusal:
        raise refusal.at(design.name) from None
    return [line.message for line in fit if line.verdict is Verdict.TIGHT]


def _check_papers(design: Design, pieces: Iterable[Piece], papers: Mapping[str, str]) -> None:
    from nester.designs import paper_for, roles_of

    bare = [role for role in roles_of(pieces) if paper_for(role, papers) is None]
    if bare:
        parts = ", ".join(dict.fromkeys(role.partition(".")[0] for role in bare))
        raise Refusal(f"{design.name} needs a paper for {parts}; name one for each, or one for all")


def thickness_of_papers(session: Session, papers: Mapping[str, str]) -> Thickness:
    """Return how thick the paper of each role is: by its caliper, else by its weight.

    Parameters
    ----------
    papers
        The name of a paper for each role.

    Raises
    ------
    Refusal
        If there is no such paper.
    """
    from nester.designs.base.thickness import PaperSpec, bulk_of_finish, thickness_by_role

    chosen = {role: find_paper(session, name) for role, name in papers.items()}
    return thickness_by_role(
        {
            role: PaperSpec(paper.grammage, paper.caliper, bulk_of_finish(paper.finish))
            for role, paper in chosen.items()
        }
    )


def list_orders(
    session: Session, *, status: OrderStatus | str | Iterable[OrderStatus | str] | None = None
) -> list[Order]:
    """Return orders, earliest due first.

    Parameters
    ----------
    status
        Only those that are so far, or as far as one of several; all, unless given.

    Raises
    ------
    Refusal
        If there is no such status.
    """
    query = select(Order).order_by(Order.due, Order.id)
    if status is not None:
        wanted = [status] if isinstance(status, str) else status
        query = query.where(
            Order.status.in_([choice(OrderStatus, status, "the status") for status in wanted])
        )
    return list(session.scalars(query))


class BoardRow(NamedTuple):
    """An order that is not delivered yet.

    Attributes
    ----------
    days_left
        Until it is due; less than none if it is late.
    batch
        The batch in which it is, or was, cut.
    missing
        Pieces of it that were spoiled and are not cut again yet.
    """

    order: Order
    days_left: int
    batch: int | None
    missing: int


def order_board(session: Session, today: date) -> list[BoardRow]:
    """Return the orders that are neither delivered nor cancelled, earliest due first."""
    orders = [
        order
        for order in list_orders(session)
        if order.status not in (OrderStatus.DELIVERED, OrderStatus.CANCELLED)
    ]
    batches: dict[int, int] = dict(
        session.execute(
            select(BatchOrder.order_id, func.max(Batch.id))
            .join(Batch, BatchOrder.batch_id == Batch.id)
            .where(Batch.status.in_([BatchStatus.OPEN, BatchStatus.CUT]), Batch.mends_id.is_(None))
            .group_by(BatchOrder.order_id)
        ).all()
    )
    missing = missing_pieces(session)
    return [
        BoardRow(order, (order.due - today).days, batches.get(order.id), missing[order.id])
        for order in orders
    ]


def missing_pieces(session: Session) -> Counter[int]:
    """Return how many pieces of orders were spoiled and are not cut again yet, by `Order.id`."""
    mended = select(Batch.id).where(Batch.status == BatchStatus.CUT)
    lost = session.execute(
        select(SpoiledPieces.order_id, func.sum(SpoiledPieces.quantity))
        .where(
            SpoiledPieces.transaction_id.not_in(reversed_transactions()),
            SpoiledPieces.mended_id.is_(None) | SpoiledPieces.mended_id.not_in(mended),
            not_in_force(SpoiledPieces.settled_id),
            not_in_force(SpoiledPieces.waived_id),
        )
        .group_by(SpoiledPieces.order_id)
    )
    missing = Counter({order: int(quantity) for order, quantity in lost})
    # What a batch that mends has spoiled once more is lost again, so its copies count like others.
    missing.subtract(mended_pieces(session))
    return +missing


def get_order(session: Session, number: int) -> Order:
    """Return the order of that number.

    Raises
    ------
    Refusal
        If there is none.
    """
    order = session.get(Order, number) if -(2**63) <= number < 2**63 else None
    if order is None:
        raise Refusal(f"there is no order {shorten(str(number), 20)}")
    return order


def set_status(session: Session, order: Order, status: OrderStatus | str) -> Order:
    """Move an order along: draft, confirmed, planned, cut, assembled, delivered.

    It may be cancelled from anywhere before delivered, and goes back from planned to confirmed
    when its batch is dropped, from cut to planned when that is undone.

    Raises
    ------
    Refusal
        If it can't go there from where it is.
    """
    wanted = choice(OrderStatus, status, "the status")
    steps = NEXT_STATUSES[order.status]
    if wanted not in steps:
        where = " or ".join(steps)
        raise Refusal(
            f"order {order.id} is {order.status} and can't become {wanted}; it can become {where}"
        )
    order.status = wanted
    _add_status_change(session, order, datetime.now(UTC))
    return order


def _add_status_change(session: Session, order: Order, at: datetime) -> None:
    session.add(OrderStatusChange(order_id=order.id, status=order.status, at=at))
    session.flush()


def status_changes(session: Session, order: Order) -> list[OrderStatusChange]:
    """Return when an order became what, the first step first."""
    steps = (
        select(OrderStatusChange)
        .where(OrderStatusChange.order_id == order.id)
        .order_by(OrderStatusChange.id)
    )
    return list(session.scalars(steps))


def design_of(session: Session, order: Order) -> Design:
    """Return the design of an order, as it was when the order was taken.

    Raises
    ------
    Refusal
        If there is none of its name any more.
    """
    what = f"the design '{order.design}' of order {order.id}"
    return _design(session, order.design, order.design_text, what)


def _design(session: Session, name: str, text: str | None, what: str) -> Design:
    from nester.designs.custom.reader import read_custom_design

    return find_design(session, name) if text is None else read_custom_design(text, what)


def order_pieces(
    session: Session, order: Order, instead: Mapping[str, str] | None = None
) -> list[tuple[Piece, str]]:
    """Return the pieces of one copy of an order, each with the name of its paper.

    Parameters
    ----------
    instead
        Papers that stand in for those the order names.

    Raises
    ------
    Refusal
        If its design can't be made so any more, a paper is not in the book, or it would bind in
        the papers that stand in.
    """
    from nester.designs import paper_for, read_settings, roles_of

    design = design_of(session, order)
    papers = {role: (instead or {}).get(name, name) for role, name in order.papers.items()}
    thickness = thickness_of_papers(session, papers)
    settings = read_settings(design, order.sizes, order.unit, thickness)
    pieces = design.pieces(settings, order.unit)
    _check_papers(design, pieces, papers)
    if instead:
        _check_fit(design, settings, thickness, order.unit)
    names = {role: paper_for(role, papers) or "" for role in roles_of(pieces)}
    known = {name: find_paper(session, name).name for name in set(names.values())}
    return [(piece, known[names[piece.role]]) for piece in pieces]


def order_consumables(session: Session, order: Order) -> tuple[Consumable, ...]:
    """Return what one copy of an order takes beside paper.

    Raises
    ------
    Refusal
        If its design can't be made so any more, or a paper is not in the book.
    """
    from nester.designs import read_settings
    from nester.designs.base.totals import consumables_of

    design = design_of(session, order)
    thickness = thickness_of_papers(session, order.papers)
    settings = read_settings(design, order.sizes, order.unit, thickness)
    return consumables_of(design, settings, design.pieces(settings, order.unit))
