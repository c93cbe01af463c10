"""Random work in a shop, the same every time for the same seed; for the hard tests of its book."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, timedelta

from sqlalchemy import func, select
from sqlalchemy.types import DateTime

from inventory.changes import order_status, undo
from inventory.database.shop_file import ShopFile
from inventory.database.tables.all import METADATA
from inventory.database.tables.base import UtcDateTime
from inventory.database.tables.enums import BatchStatus, StockKind
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch, Order
from inventory.database.tables.production import SpoiledPieces
from inventory.database.tables.stock import Stock
from inventory.orders.orders import add_order
from inventory.production import cutting, progress, spoiling
from inventory.production.mending import mend_batch
from inventory.production.planning import confirm_batch, plan_batch
from inventory.stock import adjust, ledger, lookup, supplies
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_offcut, add_sheets
from inventory.stock.stocktake import CountLine, book_counts
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort

__all__ = ["DEEDS", "TODAY", "begin_work", "do_random_work", "state"]

TODAY = date(2027, 3, 1)
PAPERS = ("Coal card", "Sand card")
PLACES = ("Shelf", "Drawer", "Box")
RIBBON = "Satin"


def begin_work(shop: ShopFile) -> None:
    with shop.begin() as session:
        for name in PAPERS:
            add_paper(session, name, colour="black", grammage=300)
            add_sheets(session, name, (cm(50), cm(70)), 40)
        supplies.add_supply(session, RIBBON, "reel")
        supplies.receive_supply(session, RIBBON, cm(900), items=3)


def do_random_work(shop: ShopFile, rng: random.Random) -> str:
    """Do what chance says, or be refused; return what it was."""
    name = rng.choices(list(DEEDS), [weight for weight, _ in DEEDS.values()])[0]
    try:
        DEEDS[name][1](shop, rng)
    except Refusal:
        return f"{name} refused"
    return name


def _receive(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        for _ in range(rng.choice([1, 1, 1, 20])):
            size = (cm(rng.choice([50, 60])), cm(rng.choice([70, 80])))
            add_sheets(
                session, rng.choice(PAPERS), size, rng.randint(1, 9), place=rng.choice(PLACES)
            )


def _keep(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        size = (cm(rng.randint(10, 30)), cm(rng.randint(10, 30)))
        quantity = rng.choice([1, 1, 1, 3])
        add_offcut(session, rng.choice(PAPERS), size, quantity, place=rng.choice(PLACES))


def _any_label(session, rng: random.Random) -> str:
    return rng.choice(session.scalars(select(Stock.label).order_by(Stock.id)).all())


def _spoil(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        adjust.spoil_stock(session, _any_label(session, rng), 1, "torn")


def _count(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        label = _any_label(session, rng)
        stock = lookup.find_stock(session, label)
        there = ledger.on_hand(session, stock)
        found = (
            rng.randint(0, 1)
            if stock.kind is StockKind.OFFCUT
            else max(0, there + rng.randint(-2, 3))
        )
        adjust.count_stock(session, label, found)


def _take_stock(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        labels = sorted({_any_label(session, rng) for _ in range(4)})
        there = {label: ledger.on_hand(session, lookup.find_stock(session, label))
                 for label in labels}  # fmt: skip
        lines = [CountLine(label, max(0, there[label] - rng.randint(0, 1)), there[label])
                 for label in labels]  # fmt: skip
        book_counts(session, lines, "a wet Sunday")


def _put(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        quantity = rng.choice([None, 1, 2])
        adjust.set_stock_place(session, _any_label(session, rng), rng.choice(PLACES), quantity)


def _ribbon(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        supplies.use_lengths(session, RIBBON, [(cm(rng.randint(20, 80)), rng.randint(1, 4))])


def _reels(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        supplies.receive_supply(session, RIBBON, cm(rng.randint(100, 900)), items=2)


def _undo(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        last = session.scalar(select(func.max(Transaction.id)))
        undo.undo_transaction(session, rng.randint(max(1, last - 6), last))


def _order(shop: ShopFile, rng: random.Random) -> None:
    sizes = {"width": f"{rng.randint(8, 12)}cm", "height": "15cm", "mats": "none"}
    with shop.begin() as session:
        due = TODAY + timedelta(rng.randint(0, 9))
        add_order(
            session, "Ines", "folded-card", sizes, {"all": rng.choice(PAPERS)}, rng.randint(1, 4),
            due, TODAY,
        )  # fmt: skip


def _plan(shop: ShopFile, rng: random.Random) -> None:
    plan_batch(shop, effort=Effort.QUICK, today=TODAY)


def _draft(shop: ShopFile, rng: random.Random) -> None:
    plan_batch(shop, effort=Effort.QUICK, today=TODAY, draft=True)


def _confirm(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        confirm_batch(session, _a_batch(session, rng, BatchStatus.DRAFT))


def _a_batch(session, rng: random.Random, *statuses: BatchStatus) -> int:
    query = select(Batch.id).where(Batch.status.in_(statuses)).order_by(Batch.id)
    return _any_of(session, rng, query)


def _any_of(session, rng: random.Random, query) -> int:
    numbers = session.scalars(query).all()
    if not numbers:
        raise Refusal("there is none")
    return rng.choice(numbers)


def _cut(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        number = _a_batch(session, rng, BatchStatus.OPEN)
        cutting.cut_batch(session, number, place=rng.choice(PLACES))


def _cut_layout(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        number = _a_batch(session, rng, BatchStatus.OPEN)
        left = rng.choice(progress.list_remaining(session, lookup.get_batch(session, number)))
        cutting.cut_batch(session, number, layout=left.layout.number, copies=1)


def _spoil_layout(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        number = _a_batch(session, rng, BatchStatus.OPEN)
        left = rng.choice(progress.list_remaining(session, lookup.get_batch(session, number)))
        spoiling.spoil_layout(session, number, left.layout.number, "the knife slipped")


def _spoil_piece(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        number = _a_batch(session, rng, BatchStatus.OPEN, BatchStatus.CUT)
        batch = lookup.get_batch(session, number)
        name = lookup.plan_of(batch).parts[0].piece.name
        spoiling.spoil_piece(session, number, name, order=rng.choice(batch.orders).id)


def _mend(shop: ShopFile, rng: random.Random) -> None:
    with shop.read() as session:
        lost = (
            select(SpoiledPieces.batch_id)
            .where(SpoiledPieces.mended_id.is_(None))
            .order_by(SpoiledPieces.id)
        )
        number = _any_of(session, rng, lost)
    mend_batch(shop, number, effort=Effort.QUICK, today=TODAY)


def _drop(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        cutting.drop_batch(session, _a_batch(session, rng, BatchStatus.OPEN, BatchStatus.DRAFT))


def _move(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        number = _any_of(session, rng, select(Order.id).order_by(Order.id))
        order_status.move_order(
            session, number, rng.choice(["assembled", "assembled", "delivered", "cancelled"])
        )


DEEDS: dict[str, tuple[int, Callable[[ShopFile, random.Random], None]]] = {
    "receive": (4, _receive),
    "keep": (3, _keep),
    "spoil": (3, _spoil),
    "count": (3, _count),
    "take stock": (3, _take_stock),
    "put": (4, _put),
    "ribbon": (3, _ribbon),
    "reels": (1, _reels),
    "undo": (5, _undo),
    "order": (7, _order),
    "plan": (6, _plan),
    "draft": (2, _draft),
    "confirm": (2, _confirm),
    "cut": (2, _cut),
    "cut a layout": (6, _cut_layout),
    "spoil a layout": (3, _spoil_layout),
    "spoil a piece": (4, _spoil_piece),
    "mend": (4, _mend),
    "drop": (1, _drop),
    "move": (4, _move),
}
"""By name: how often it is done, and how."""


def state(shop: ShopFile) -> dict[str, list[tuple[object, ...]]]:
    """Return all that is in the book but the times at which things were done."""
    with shop.read() as session:
        return {
            table.name: [
                tuple(row)
                for row in session.execute(
                    select(
                        *(c for c in table.c if not isinstance(c.type, UtcDateTime | DateTime))
                    ).order_by(*table.primary_key.columns)
                )
            ]
            for table in METADATA.sorted_tables
        }
