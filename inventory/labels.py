"""Labels: what is written on a stack of sheets (``S-1``) or on an offcut (``K-1``)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import func, select

from inventory.models import Kind, Stock
from inventory.names import fold, shorten
from nester.refusal import Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = ["find_stock", "label_of", "next_number"]

_LETTERS = {Kind.SHEET: "S", Kind.OFFCUT: "K"}


def find_stock(session: Session, label: str) -> Stock:
    """Return the sheets or the offcut of that label, as in ``S-1`` or ``k-12``.

    Raises
    ------
    Refusal
        If there is none.
    """
    written = fold(label).upper()
    stock = session.scalar(select(Stock).where(Stock.label == written))
    if stock is None:
        raise Refusal(
            f"nothing in the stash has the label '{shorten(label)}';"
            " sheets have labels like S-1, offcuts like K-1"
        )
    return stock


def next_number(session: Session, kind: Kind) -> int:
    """Return the next free number; rows are never deleted, so no label comes twice."""
    return (session.scalar(select(func.max(Stock.number)).where(Stock.kind == kind)) or 0) + 1


def label_of(kind: Kind, number: int) -> str:
    """Return the label that bears a number."""
    return f"{_LETTERS[kind]}-{number}"
