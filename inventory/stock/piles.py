"""Piles of equal offcuts: what a batch leaves, and what is taken apart from a pile.

A pile has one label and lies in one place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.database.tables.enums import GrainAxis, Reason, StockKind
from inventory.database.tables.ledger import GrainFinding
from inventory.database.tables.stock import Stock
from inventory.stock import ledger
from inventory.stock.condition import grain_of_stock
from inventory.stock.lookup import label_of
from inventory.stock.places import get_or_add_place

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.tables.ledger import Transaction
    from inventory.database.tables.stock import Place
    from nester.core.lengths import Length

__all__ = ["BatchPiles"]


class BatchPiles:
    """The offcuts that a batch leaves, as they are put away.

    Parameters
    ----------
    place
        Where they are put, with the whole of their piles; unless given, new ones join their pile
        where it lies, and a new pile lies where the sheet was; nowhere if it is ``""``.
    """

    def __init__(self, session: Session, batch: int, place: str | None = None) -> None:
        self._session, self._batch = session, batch
        self._is_place_given = place is not None
        self._place = get_or_add_place(session, place)
        self._known = {
            pile.number: pile for pile in session.scalars(select(Stock).filter_by(batch_id=batch))
        }

    def put(
        self,
        transaction: Transaction,
        kind: int,
        size: tuple[Length, Length],
        quantity: int,
        sheet: Stock,
        grain: GrainAxis,
    ) -> Stock:
        """Put equal offcuts away that were cut from a sheet, and return their pile.

        Parameters
        ----------
        kind
            Their number in the plan of the batch.
        grain
            How their grain runs.
        """
        place = self._place if self._is_place_given else sheet.place
        pile = self._known.get(kind)
        if pile is None:
            pile = self._known[kind] = self._begin(kind, size, sheet, grain, place)
        else:
            self._join(transaction, pile, sheet, grain, place)
        ledger.book_movement(self._session, pile, quantity, Reason.KEPT, transaction=transaction)
        return pile

    def _begin(
        self,
        kind: int,
        size: tuple[Length, Length],
        sheet: Stock,
        grain: GrainAxis,
        place: Place | None,
    ) -> Stock:
        width, height = size
        pile = Stock(
            kind=StockKind.OFFCUT, batch_id=self._batch, number=kind,
            label=label_of(StockKind.OFFCUT, kind, self._batch), paper=sheet.paper, width=width,
            height=height, place=place, lot=sheet.lot, parent=sheet, grain=grain,
        )  # fmt: skip
        self._session.add(pile)
        self._session.flush()
        return pile

    def _join(
        self,
        transaction: Transaction,
        pile: Stock,
        sheet: Stock,
        grain: GrainAxis,
        place: Place | None,
    ) -> None:
        """Say of a pile what holds for all of it once more comes to it."""
        is_empty = not ledger.on_hand(self._session, pile)
        if is_empty or self._is_place_given:
            pile.place = place
        if is_empty:
            pile.lot = sheet.lot
        elif pile.lot != sheet.lot:
            pile.lot = ""
        known = grain_of_stock(self._session, pile)
        if known is not grain:
            found = grain if is_empty else GrainAxis.UNKNOWN
            self._session.add(
                GrainFinding(transaction_id=transaction.id, stock_id=pile.id, grain=found)
            )
        self._session.flush()
