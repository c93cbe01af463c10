"""Marks that cut sheets had for offcuts before the labels of these were known.

``4-17-2`` was the second offcut of layout 17 of batch 4; ``4-17-2.3`` that of the third copy.  No
cut sheet prints them any more; those that were printed lead to the labels.
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
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan

__all__ = ["OffcutMark", "label_of_mark", "labels_of_single_offcuts", "read_mark"]

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


def labels_of_single_offcuts(
    session: Session, batch: Batch, plan: Plan
) -> Mapping[tuple[int, int, int], str]:
    """Return the labels of offcuts that were put away one by one, before equal ones were piles.

    Returns
    -------
    mapping
        By layout, copy from 1 and place among the layout's offcuts, from 0.
    """
    query = (
        select(Transaction, Stock.label)
        .join(Movement, Movement.transaction_id == Transaction.id)
        .join(Stock, Movement.stock_id == Stock.id)
        .where(
            Transaction.batch_id == batch.id,
            Transaction.reason == Reason.CUT,
            Transaction.id.not_in(reversed_transactions()),
            Movement.reason == Reason.KEPT,
            Stock.batch_id.is_(None),
        )
        .order_by(Transaction.id, Movement.id)
    )
    put_away: dict[tuple[int, tuple[int, ...]], list[str]] = defaultdict(list)
    for transaction, label in session.execute(query):
        put_away[transaction.layout or 0, tuple(transaction.copies or ())].append(label)
    found: dict[tuple[int, int, int], str] = {}
    for (number, copies), labels in put_away.items():
        offcuts = len(plan.layout(number).offcuts)
        spots = [(number, copy, place) for copy in copies for place in range(offcuts)]
        found.update(zip(spots, labels, strict=False))
    return found


def label_of_mark(session: Session, mark: OffcutMark) -> str:
    """Return the label that a mark leads to.

    Raises
    ------
    Refusal
        If no batch has planned such an offcut, or the copies of the layout have several labels
        and the mark does not say which copy it is of.
    """
    from inventory.core.plan import plan_from_json

    number, layout, offcut, wanted = mark
    written = f"{number}-{layout}-{offcut}"
    batch = session.get(Batch, number)
    plan = None if batch is None else plan_from_json(batch.plan)
    planned = (
        None
        if plan is None
        else next(
            (row for row in plan.layouts if row.number == layout and offcut <= len(row.offcuts)),
            None,
        )
    )
    if batch is None or plan is None or planned is None:
        raise Refusal(f"no batch has planned an offcut with the mark '{written}'")
    single = labels_of_single_offcuts(session, batch, plan)
    pile = plan.offcut_label(planned.offcut_kinds[offcut - 1])
    labels = {
        copy: single.get((layout, copy, offcut - 1), pile)
        for copy in range(1, planned.copies + 1)
        if wanted in (None, copy)
    }
    if not labels:
        raise Refusal(f"no batch has planned an offcut with the mark '{written}.{wanted}'")
    if len(set(labels.values())) > 1:
        which = ", ".join(f"{written}.{copy} is {label}" for copy, label in labels.items())
        raise Refusal(f"'{written}' has several labels: {which}")
    return next(iter(labels.values()))
