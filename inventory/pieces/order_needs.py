"""What an order still needs: the pieces of its design, less those it has or is to get.

An order has the pieces that were cut for it and not spoiled, and the spare pieces it took.  It is
to get what open batches still cut for it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.plan import PartType
from inventory.database.tables.enums import BatchStatus
from inventory.database.tables.orders import Batch, BatchOrder
from inventory.database.tables.production import SparePiece, SparePieceMovement, SpoiledPieces
from inventory.orders.orders import order_pieces
from inventory.pieces.spare_pieces import list_spare_pieces, read_piece, same_piece
from inventory.stock import papers
from inventory.stock.ledger import not_in_force, reversed_transactions
from inventory.stock.lookup import plan_of
from inventory.stock.reservations import copies_done, copies_left, unwanted_orders
from nester.core.errors import Refusal
from nester.core.piece import Piece

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlalchemy.orm import Session

    from inventory.database.tables.orders import Order

__all__ = [
    "OrderPieces",
    "SpareShelf",
    "counted_losses",
    "good_pieces",
    "order_needs",
    "pieces_in_batches",
    "surplus_pieces",
]


@dataclass(frozen=True)
class OrderPieces:
    """The pieces of an order, by piece and paper.

    Attributes
    ----------
    cut
        Cut for it and good, or taken from the spare pieces.
    to_come
        What open batches still cut for it.
    """

    cut: Counter[PartType]
    to_come: Counter[PartType]


def pieces_in_batches(session: Session, order: Order) -> OrderPieces:
    """Return which pieces an order has, and which it is to get."""
    cut: Counter[PartType] = Counter()
    to_come: Counter[PartType] = Counter()
    batches = session.scalars(
        select(Batch)
        .join(BatchOrder, BatchOrder.batch_id == Batch.id)
        .where(
            BatchOrder.order_id == order.id,
            Batch.status.in_([BatchStatus.OPEN, BatchStatus.CUT]),
        )
    ).all()
    for batch in batches:
        plan = plan_of(batch)
        done = copies_done(session, [batch.id])
        unwanted = unwanted_orders(session, [batch.id]) - {order.id}
        # Batches cut before each layout was booked by itself were cut whole.
        whole = batch.status is BatchStatus.CUT and not any(done.values())
        for layout in plan.layouts:
            its = set(range(1, layout.copies + 1)) if whole else done[batch.id, layout.number]
            left: list[int] = []
            if batch.status is BatchStatus.OPEN:
                orders = [spot.orders for spot in layout.spots]
                left = copies_left(layout.copies, orders, its.union(layout.dropped), unwanted)
            for spot in layout.spots:
                part = plan.part_of(spot)
                cut[part] += sum(spot.orders[copy - 1] == order.id for copy in its)
                to_come[part] += sum(spot.orders[copy - 1] == order.id for copy in left)
    for loss in counted_losses(session, [order.id]):
        plan = plan_of(session.get_one(Batch, loss.batch_id))
        cut[plan.parts[loss.part]] -= loss.quantity
    for part, quantity in _taken_spares(session, order).items():
        cut[part] += quantity
    return OrderPieces(+cut, +to_come)


def good_pieces(session: Session, order: Order) -> Counter[PartType]:
    """Return the pieces that an order has."""
    return pieces_in_batches(session, order).cut


def counted_losses(session: Session, orders: Iterable[int]) -> list[SpoiledPieces]:
    """Return the losses of orders that were neither undone nor waived."""
    return list(
        session.scalars(
            select(SpoiledPieces).where(
                SpoiledPieces.order_id.in_(list(orders)),
                SpoiledPieces.transaction_id.not_in(reversed_transactions()),
                not_in_force(SpoiledPieces.waived_id),
            )
        )
    )


def _taken_spares(session: Session, order: Order) -> Counter[PartType]:
    rows = session.execute(
        select(SparePiece, SparePieceMovement.change)
        .join(SparePieceMovement, SparePieceMovement.spare_id == SparePiece.id)
        .where(
            SparePieceMovement.order_id == order.id,
            SparePieceMovement.transaction_id.not_in(reversed_transactions()),
        )
    ).all()
    taken: Counter[PartType] = Counter()
    for spare, change in rows:
        taken[PartType(spare.paper.name, read_piece(spare.piece))] -= change
    return taken


def order_needs(
    session: Session, order: Order, instead: Mapping[str, str] | None = None
) -> list[tuple[Piece, str, int]]:
    """Return the pieces that are still to be cut for an order, its paper, and how many of each.

    Parameters
    ----------
    instead
        Papers that stand in for those that the order names, for what is still to be cut.

    Raises
    ------
    Refusal
        If its design can't be made so any more, or a paper is not in the book.
    """
    try:
        pieces = order_pieces(session, order, instead)
    except Refusal:
        if not instead:
            raise
        # It can't be made of the substitute, which may be too thick for it, for instance.
        pieces = order_pieces(session, order)
    needed = [
        (replace(piece, quantity=1), paper, piece.quantity * order.copies)
        for piece, paper in pieces
    ]
    known = pieces_in_batches(session, order)
    there = known.cut + known.to_come
    return _less(needed, there, papers.substitutes(session)) if there else needed


def _less(
    needed: list[tuple[Piece, str, int]],
    there: Counter[PartType],
    substitutes: Mapping[str, list[str]],
) -> list[tuple[Piece, str, int]]:
    """Return what is needed less what is there: in its own paper first, then in a substitute."""
    free: dict[Piece, Counter[str]] = defaultdict(Counter)
    for part, quantity in there.items():
        free[same_piece(part.piece)][part.paper] += quantity
    left = [quantity for _, _, quantity in needed]

    def match(paper_of: Mapping[str, list[str]] | None) -> None:
        for index, (piece, paper, _) in enumerate(needed):
            its = free.get(same_piece(piece))
            if its is None:
                continue
            for other in [paper] if paper_of is None else paper_of.get(paper, ()):
                used = min(left[index], its[other])
                its[other] -= used
                left[index] -= used

    match(None)
    match(substitutes)
    return [
        (piece, paper, quantity)
        for (piece, paper, _), quantity in zip(needed, left, strict=True)
        if quantity
    ]


def surplus_pieces(session: Session, order: Order) -> Counter[PartType]:
    """Return the pieces cut for an order that its design, as it is now, does not need.

    Raises
    ------
    Refusal
        If its design can't be made any more.
    """
    wanted: dict[Piece, Counter[str]] = defaultdict(Counter)
    for piece, paper in order_pieces(session, order):
        wanted[same_piece(piece)][paper] += piece.quantity * order.copies
    surplus = good_pieces(session, order)
    substitutes = papers.substitutes(session)
    for in_own_paper in (True, False):
        for part, quantity in surplus.items():
            its = wanted[same_piece(part.piece)]
            for paper in its:
                serves = part.paper == paper or part.paper in substitutes.get(paper, ())
                if serves if not in_own_paper else part.paper == paper:
                    used = min(quantity, its[paper])
                    its[paper] -= used
                    quantity -= used
            surplus[part] = quantity
    return +surplus


class SpareShelf:
    """The spare pieces, as orders take them one after the other."""

    def __init__(self, session: Session) -> None:
        self._rows = list_spare_pieces(session)
        self._left = [row.quantity for row in self._rows]

    def take(self, piece: Piece, paper: str, quantity: int) -> list[tuple[str, int, str | None]]:
        """Take up to so many of a piece; return labels, how many of each, and where they lie."""
        taken = []
        for index, row in enumerate(self._rows):
            if quantity and row.paper == paper and same_piece(row.piece) == same_piece(piece):
                number = min(quantity, self._left[index])
                if number:
                    self._left[index] -= number
                    quantity -= number
                    taken.append((row.spare.label, number, row.place))
        return taken
