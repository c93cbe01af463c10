"""What open batches will still take out of the stash."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch, BatchOrder, Order
from inventory.stock.ledger import on_hand, reversed_transactions

if TYPE_CHECKING:
    from inventory.database.tables.stock import Stock
    from inventory.stock.listing import StashRow

__all__ = [
    "available",
    "available_rows",
    "copies_done",
    "copies_left",
    "mended_pieces",
    "reserved_quantities",
    "unwanted_orders",
]


def reserved_quantities(session: Session) -> Counter[str]:
    """Return how many of each label open batches will take: of each layout the copies left."""
    rows = session.execute(select(Batch.id, Batch.plan).where(Batch.status == BatchStatus.OPEN))
    plans: dict[int, str] = dict(rows.all())
    done = copies_done(session, plans)
    unwanted = unwanted_orders(session, plans)
    taken: Counter[str] = Counter()
    for number, text in plans.items():
        for layout in json.loads(text)["layouts"]:
            left = _copies_left(layout, done[number, layout["number"]], unwanted)
            taken[layout["sheet"]["label"]] += len(left)
    return +taken


def available(session: Session, *stock: Stock) -> dict[str, int]:
    """Return how many of each label are on hand and not reserved, by label."""
    reserved = reserved_quantities(session)
    return {item.label: max(0, on_hand(session, item) - reserved[item.label]) for item in stock}


def available_rows(session: Session, rows: Iterable[StashRow]) -> list[StashRow]:
    """Return rows of the stash less what is reserved, without those of which nothing is left."""
    reserved = reserved_quantities(session)
    return [
        row._replace(quantity=row.quantity - reserved[row.label])
        for row in rows
        if row.quantity > reserved[row.label]
    ]


def mended_pieces(session: Session) -> Counter[int]:
    """Return how many pieces of each order open batches that mend have cut or spoiled."""
    rows = session.execute(
        select(Batch.id, Batch.plan).where(
            Batch.status == BatchStatus.OPEN, Batch.mends_id.is_not(None)
        )
    )
    plans: dict[int, str] = dict(rows.all())
    done = copies_done(session, plans)
    cut: Counter[int] = Counter()
    for number, text in plans.items():
        for layout in json.loads(text)["layouts"]:
            for copy in done[number, layout["number"]]:
                cut.update(spot["orders"][copy - 1] for spot in layout["spots"])
    return cut


def _copies_left(layout: Mapping[str, Any], done: set[int], unwanted: set[int]) -> list[int]:
    return copies_left(
        layout["copies"],
        [spot["orders"] for spot in layout["spots"]],
        done.union(layout.get("dropped", ())),
        unwanted,
    )


def copies_left(
    copies: int, orders: Sequence[Sequence[int]], done: set[int], unwanted: set[int]
) -> list[int]:
    """Return which copies of a layout are still to be cut, counted from 1.

    Parameters
    ----------
    orders
        Of each spot, the orders its copies are for.
    done
        Copies that were cut or spoiled, or are dropped.
    unwanted
        As `unwanted_orders` returns them: a copy that is for these alone is not cut.
    """
    return [
        copy
        for copy in range(1, copies + 1)
        if copy not in done and any(each[copy - 1] not in unwanted for each in orders)
    ]


def copies_done(session: Session, batches: Iterable[int]) -> dict[tuple[int, int], set[int]]:
    """Return the copies that were cut or spoiled, by batch and layout."""
    rows = session.execute(
        select(Transaction.batch_id, Transaction.layout, Transaction.copies).where(
            Transaction.batch_id.in_(list(batches)),
            Transaction.layout.is_not(None),
            Transaction.id.not_in(reversed_transactions()),
        )
    )
    done: dict[tuple[int, int], set[int]] = defaultdict(set)
    for batch, layout, copies in rows:
        if batch is not None and layout is not None:
            done[batch, layout].update(copies or ())
    return done


def unwanted_orders(session: Session, batches: Iterable[int]) -> set[int]:
    """Return which orders of the batches were cancelled."""
    return set(
        session.scalars(
            select(Order.id)
            .join(BatchOrder, BatchOrder.order_id == Order.id)
            .where(BatchOrder.batch_id.in_(list(batches)), Order.status == OrderStatus.CANCELLED)
        )
    )
