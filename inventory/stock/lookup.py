"""By what things in the book are found: labels (``S-1``, ``K-1``, ``K4-1``) and names."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from inventory.core.labels import batch_offcut_label, read_batch_offcut
from inventory.core.text import LONGEST_NAME, did_you_mean, fold, shorten
from inventory.database.tables.enums import StockKind
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Paper, Stock
from inventory.stock.offcut_marks import label_of_mark, read_mark
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.tables.supplies import Supply

__all__ = [
    "find_named",
    "find_stock",
    "get_batch",
    "label_of",
    "next_number",
    "plan_of",
]

_Named = TypeVar("_Named", Paper, "Supply")
_LABEL_PREFIXES = {StockKind.SHEET: "S", StockKind.OFFCUT: "K"}


def find_stock(session: Session, label: str) -> Stock:
    """Return the sheets or the offcuts of that label, as in ``S-1``, ``k-12`` or ``K4-1``.

    Offcuts are also found by the marks that cut sheets had before (`inventory.stock.offcut_marks`).

    Raises
    ------
    Refusal
        If there is none.
    """
    written = fold(label).upper()
    mark = read_mark(written)
    if mark is not None:
        written = label_of_mark(session, mark)
    stock = session.scalar(select(Stock).where(Stock.label == written))
    if stock is None:
        _refuse_uncut(session, written)
        raise Refusal(
            f"nothing in the stash has the label '{shorten(label)}';"
            " sheets have labels like S-1, offcuts like K-1, or K4-1 if batch 4 left them"
        )
    return stock


def _refuse_uncut(session: Session, label: str) -> None:
    """Say of the label of a batch's offcuts that they are planned, and not cut yet."""
    named = read_batch_offcut(label)
    batch = None if named is None else session.get(Batch, named.batch)
    if named is None or batch is None:
        return
    for layout in plan_of(batch).layouts:
        if named.kind in layout.offcut_kinds:
            raise Refusal(
                f"none of {label} is in the stash, as no layout that leaves it is recorded as cut",
                Hint("record it", "batch cut", (str(batch.id), "--layout", str(layout.number))),
            )


def find_named(session: Session, what: type[_Named], name: str) -> _Named:
    """Return the paper or the supply of that name, however it is spelt.

    Raises
    ------
    Refusal
        If there is none; names much like it are offered.
    """
    # Shops from before unseen characters stopped counting may have two names that are the same
    # but for these; each is found as it is written.
    same = or_(what.name == shorten(name, LONGEST_NAME), what.name_key == fold(name))
    found = session.scalar(
        select(what).where(same).order_by(what.name != shorten(name, LONGEST_NAME)).limit(1)
    )
    if found is None:
        kind = what.__tablename__
        known = session.scalars(select(what.name).order_by(what.name_key)).all()
        hint = did_you_mean(name, known) or ("" if known else f"; no {kind} was added yet")
        raise Refusal(f"there is no {kind} '{shorten(name)}'{hint}")
    return found


def next_number(session: Session, kind: StockKind) -> int:
    """Return the next free number; rows are never deleted, so no label comes twice."""
    last = select(func.max(Stock.number)).where(Stock.kind == kind, Stock.batch_id.is_(None))
    return (session.scalar(last) or 0) + 1


def label_of(kind: StockKind, number: int, batch: int | None = None) -> str:
    """Return the label with a number, of offcuts perhaps among those of a batch."""
    if batch is not None:
        return batch_offcut_label(batch, number)
    return f"{_LABEL_PREFIXES[kind]}-{number}"


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


def plan_of(batch: Batch) -> Plan:
    """Return the plan that a batch was booked with."""
    from inventory.core.plan import plan_from_json  # plain commands start quicker without it

    return plan_from_json(batch.plan)
