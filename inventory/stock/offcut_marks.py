"""Marks of offcuts, as cut sheets print them before the book has given labels.

``4-17-2`` is the second offcut of layout 17 of batch 4; ``4-17-2.3`` that of the third copy.  Once
the layout is booked as cut, the mark leads to the label.
"""

from __future__ import annotations

import re
from collections import defaultdict
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import select

from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Stock
from inventory.stock.ledger import reversed_transactions
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan

__all__ = ["OffcutMark", "kept_offcuts", "read_mark", "stock_of_mark"]

_MARK = re.compile(r"([1-9][0-9]{0,8})-([1-9][0-9]{0,5})-([1-9][0-9]{0,3})(?:\.([1-9][0-9]{0,5}))?")


class OffcutMark(NamedTuple):
    """Which offcut is meant: of which batch and layout, which of its offcuts, of which copy."""

    batch: int
    layout: int
    offcut: int
    copy: int | None


def read_mark(written: str) -> OffcutMark | None:
    """Return the mark that a word is; None if it is none."""
    match = _MARK.fullmatch(written)
    if match is None:
        return None
    batch, layout, offcut, copy = match.groups()
    return OffcutMark(int(batch), int(layout), int(offcut), int(copy) if copy else None)


def kept_offcuts(
    session: Session, batch: Batch, plan: Plan
) -> Mapping[tuple[int, int, int], Stock]:
    """Return what cutting a batch has put into the stash.

    Returns
    -------
    mapping
        By layout, copy from 1 and place among the layout's offcuts, from 0.
    """
    query = (
        select(Movement, Transaction)
        .join(Transaction, Movement.transaction_id == Transaction.id)
        .where(
            Transaction.batch_id == batch.id,
            Transaction.reason == Reason.CUT,
            Transaction.id.not_in(reversed_transactions()),
        )
        .where(Movement.reason == Reason.KEPT)
        .order_by(Transaction.id, Movement.id)
    )
    kept: dict[tuple[int, tuple[int, ...]], list[Stock]] = defaultdict(list)
    for movement, transaction in session.execute(query):
        kept[transaction.layout or 0, tuple(transaction.copies or ())].append(movement.stock)
    found = {}
    for (number, copies), of_deed in kept.items():
        offcuts = len(plan.layout(number).offcuts)
        spots = [(copy, place) for copy in copies for place in range(offcuts)]
        for (copy, place), stock in zip(spots, of_deed, strict=False):
            found[number, copy, place] = stock
    return found


def stock_of_mark(session: Session, mark: OffcutMark) -> Stock:
    """Return the offcut that a mark leads to.

    Raises
    ------
    Refusal
        If no such offcut was cut yet, or it was cut several times and the mark does not say which.
    """
    from inventory.core.plan import plan_from_json

    number, layout, offcut, wanted = mark
    written = f"{number}-{layout}-{offcut}"
    batch = session.get(Batch, number)
    plan = None if batch is None else plan_from_json(batch.plan)
    layouts = () if plan is None else [row for row in plan.layouts if row.number == layout]
    if (
        batch is None
        or plan is None
        or not any(offcut <= len(layout.offcuts) for layout in layouts)
    ):
        raise Refusal(f"no batch has planned an offcut with the mark '{written}'")
    found = {
        copy: stock
        for (its_layout, copy, place), stock in kept_offcuts(session, batch, plan).items()
        if (its_layout, place + 1) == (layout, offcut) and wanted in (None, copy)
    }
    if not found:
        raise Refusal(
            f"the offcut marked '{written}' has no label yet, as its layout is not recorded as cut",
            Hint("record it", "batch cut", (str(number), "--layout", str(layout))),
        )
    if len(found) > 1:
        which = ", ".join(
            f"{written}.{copy} is {found_stock.label}" for copy, found_stock in found.items()
        )
        raise Refusal(f"'{written}' was cut {len(found)} times: {which}")
    (stock,) = found.values()
    return stock
