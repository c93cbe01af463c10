"""Spare pieces: cut, good, and needed by no order.

They come of an order that was cancelled or changed after some of it was cut, or are cut beyond
what orders need.  The next plan that needs such a piece in its paper takes them first.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.core.plan import PartType
from inventory.core.text import fold, shorten, whole_number
from inventory.database.tables.enums import GrainAxis, Reason
from inventory.database.tables.production import SparePiece, SparePieceMovement
from inventory.stock import ledger
from inventory.stock.papers import find_paper
from inventory.stock.places import PlaceTree, get_or_add_place
from inventory.stock.receiving import ReceiptLine, put_away_offcuts
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from pydantic import TypeAdapter
    from sqlalchemy.orm import Session

    from inventory.database.tables.ledger import Transaction
    from inventory.database.tables.stock import Stock
    from nester.core.piece import Piece

__all__ = [
    "SpareRow",
    "add_spare_pieces",
    "discard_spare_pieces",
    "find_spare",
    "list_spare_pieces",
    "read_piece",
    "return_spare_pieces",
    "same_piece",
    "spare_quantities",
    "spare_to_offcut",
    "take_spare_pieces",
]


class SpareRow(NamedTuple):
    """Equal spare pieces that lie in one place."""

    spare: SparePiece
    piece: Piece
    paper: str
    quantity: int
    place: str | None


@cache
def _adapter() -> TypeAdapter[Piece]:
    from pydantic import TypeAdapter

    from nester.core.piece import Piece

    return TypeAdapter(Piece)


def read_piece(text: str) -> Piece:
    """Return a piece from the text that is kept of it."""
    return _adapter().validate_json(text)


def same_piece(piece: Piece) -> Piece:
    """Return the piece without what does not matter once it is cut: its name, role and amount."""
    return replace(piece, name="piece", role="piece", quantity=1, note="")


def list_spare_pieces(session: Session) -> list[SpareRow]:
    """Return the spare pieces that are there, by label."""
    counts = spare_quantities(session)
    places = PlaceTree(session)
    rows = session.scalars(select(SparePiece).order_by(SparePiece.id))
    return [
        SpareRow(
            row,
            read_piece(row.piece),
            row.paper.name,
            counts[row.id],
            places.path(row.place_id),
        )
        for row in rows
        if counts[row.id]
    ]


def spare_quantities(session: Session) -> Counter[int]:
    """Return how many there are, by `SparePiece.id`; what was undone does not count."""
    sums = session.execute(
        select(SparePieceMovement.spare_id, func.sum(SparePieceMovement.change))
        .where(SparePieceMovement.transaction_id.not_in(ledger.reversed_transactions()))
        .group_by(SparePieceMovement.spare_id)
    )
    return Counter({number: int(quantity) for number, quantity in sums})


def find_spare(session: Session, label: str) -> SparePiece:
    """Return the spare pieces of that label.

    Raises
    ------
    Refusal
        If there are none.
    """
    spare = session.scalar(select(SparePiece).where(SparePiece.label == fold(label).upper()))
    if spare is None:
        raise Refusal(
            f"no spare piece has the label '{shorten(label)}'",
            Hint("list them", "stash spares"),
        )
    return spare


def add_spare_pieces(
    session: Session,
    transaction: Transaction,
    pieces: Iterable[tuple[PartType, int]],
    *,
    order: int | None = None,
    place: str | None = None,
) -> list[SpareRow]:
    """Put pieces aside; they join equal ones of the same paper in the same place.

    Parameters
    ----------
    order
        The order that gives them back, if it had taken them.

    Returns
    -------
    list of SpareRow
        What was put where; `quantity` is how many came.
    """
    where = get_or_add_place(session, place)
    places = PlaceTree(session)
    rows = []
    for part, quantity in pieces:
        if quantity <= 0:
            continue
        paper = find_paper(session, part.paper)
        plain = replace(part.piece, quantity=1)
        text = _adapter().dump_json(plain).decode()
        place_id = None if where is None else where.id
        spare = session.scalar(
            select(SparePiece).where(
                SparePiece.paper_id == paper.id,
                SparePiece.piece == text,
                SparePiece.place_id.is_(None)
                if place_id is None
                else SparePiece.place_id == place_id,
            )
        )
        if spare is None:
            number = 1 + int(session.scalar(select(func.coalesce(func.max(SparePiece.id), 0))) or 0)
            spare = SparePiece(
                id=number, label=f"C-{number}", paper=paper, name=plain.name, piece=text,
                width=plain.width, height=plain.height, place_id=place_id,
            )  # fmt: skip
            session.add(spare)
            session.flush()
        _add_movement(session, transaction, spare, quantity, order)
        rows.append(SpareRow(spare, plain, paper.name, quantity, places.path(place_id)))
    return rows


def take_spare_pieces(
    session: Session, transaction: Transaction, label: str, quantity: int, order: int
) -> None:
    """Give spare pieces to an order.

    Raises
    ------
    Refusal
        If fewer are there.
    """
    spare = find_spare(session, label)
    _check_there(session, spare, quantity)
    _add_movement(session, transaction, spare, -quantity, order)


def return_spare_pieces(
    session: Session, transaction: Transaction, order: int, pieces: Mapping[PartType, int]
) -> list[SpareRow]:
    """Put back, of some pieces, those that an order had taken; return what and how many."""
    taken = session.execute(
        select(SparePiece, -func.sum(SparePieceMovement.change))
        .join(SparePieceMovement, SparePieceMovement.spare_id == SparePiece.id)
        .where(
            SparePieceMovement.order_id == order,
            SparePieceMovement.transaction_id.not_in(ledger.reversed_transactions()),
        )
        .group_by(SparePiece.id)
        .order_by(SparePiece.id)
    ).all()
    places = PlaceTree(session)
    left = Counter(pieces)
    rows = []
    for spare, quantity in taken:
        piece = read_piece(spare.piece)
        part = PartType(spare.paper.name, piece)
        number = min(int(quantity), left[part])
        if number > 0:
            left[part] -= number
            _add_movement(session, transaction, spare, number, order)
            place = places.path(spare.place_id)
            rows.append(SpareRow(spare, piece, spare.paper.name, number, place))
    return rows


def discard_spare_pieces(
    session: Session, label: str, quantity: int | None = None, why: str = ""
) -> int:
    """Book that spare pieces were thrown away, and return how many.

    Parameters
    ----------
    quantity
        How many; all of them, unless given.

    Raises
    ------
    Refusal
        If there are none of that label, or fewer.
    """
    spare = find_spare(session, label)
    quantity = _quantity(session, spare, quantity)
    transaction = ledger.book_transaction(session, Reason.SPARE, note=why)
    _add_movement(session, transaction, spare, -quantity, None)
    return quantity


def spare_to_offcut(
    session: Session, label: str, quantity: int | None = None, place: str | None = None
) -> Stock:
    """Make offcuts of the piece's cut size out of spare pieces; together they are one pile.

    Only a piece without slits, holes or glue, whose outline is a rectangle, is paper as before;
    its score lines are not made yet as long as it is flat.

    Returns
    -------
    Stock
        The pile of new offcuts.

    Raises
    ------
    Refusal
        If there are none of that label, or fewer, or the piece is no rectangle.
    """
    spare = find_spare(session, label)
    piece = read_piece(spare.piece)
    if not piece.is_rectangle:
        raise Refusal(
            f"{spare.label} is no rectangle, so it can't be used as an offcut; add what can still"
            " be cut from it",
            Hint("add an offcut", "offcut add"),
        )
    quantity = _quantity(session, spare, quantity)
    transaction = ledger.book_transaction(session, Reason.SPARE)
    _add_movement(session, transaction, spare, -quantity, None)
    where = PlaceTree(session).path(spare.place_id) if place is None else place
    line = ReceiptLine(
        spare.paper.name, (spare.width, spare.height), quantity, place=where,
        grain=GrainAxis.UNKNOWN,
    )  # fmt: skip
    (pile,) = put_away_offcuts(session, transaction, [line])
    return pile


def _quantity(session: Session, spare: SparePiece, quantity: int | None) -> int:
    if quantity is None:
        quantity = spare_quantities(session)[spare.id]
        if not quantity:
            raise Refusal(f"there is none of {spare.label} left")
        return quantity
    whole_number(quantity, f"the number of {spare.label}", least=1)
    _check_there(session, spare, quantity)
    return quantity


def _check_there(session: Session, spare: SparePiece, quantity: int) -> None:
    there = spare_quantities(session)[spare.id]
    if quantity > there:
        raise Refusal(
            f"there {'is' if there == 1 else 'are'} {there} of {spare.label}, not {quantity}"
        )


def _add_movement(
    session: Session, transaction: Transaction, spare: SparePiece, change: int, order: int | None
) -> None:
    session.add(
        SparePieceMovement(
            transaction_id=transaction.id, spare_id=spare.id, change=change, order_id=order
        )
    )
    session.flush()
