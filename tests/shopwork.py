"""Random deeds at a shop, the same every time for the same seed; for the hard tests of its book."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, timedelta

from sqlalchemy import func, select
from sqlalchemy.types import DateTime

from inventory import ledger, stash
from inventory.batches import plan_batch
from inventory.cutting import cut_batch, drop_batch
from inventory.models import Base, Batch, BatchStatus, Kind, Moment, Movement, Order, Reason, Stock
from inventory.orders import add_order, set_status
from inventory.papers import add_paper
from inventory.receiving import add_offcut, add_sheets
from inventory.shop import ShopFile
from nester.layouts import Effort
from nester.measure import cm
from nester.refusal import Refusal

__all__ = ["DEEDS", "TODAY", "begin_work", "do_a_deed", "state"]

TODAY = date(2027, 3, 1)
PAPERS = ("Coal card", "Sand card")
PLACES = ("Shelf", "Drawer", "Box")


def begin_work(shop: ShopFile) -> None:
    with shop.begin() as session:
        for name in PAPERS:
            add_paper(session, name, colour="black", grammage=300)
            add_sheets(session, name, (cm(50), cm(70)), 40)


def do_a_deed(shop: ShopFile, rng: random.Random) -> str:
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
        add_offcut(session, rng.choice(PAPERS), size, place=rng.choice(PLACES))


def _any_label(session, rng: random.Random) -> str:
    return rng.choice(session.scalars(select(Stock.label).order_by(Stock.id)).all())


def _spoil(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        stash.spoil(session, _any_label(session, rng), 1, "torn")


def _count(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        label = _any_label(session, rng)
        stock = stash.find_stock(session, label)
        there = ledger.on_hand(session, stock)
        found = (
            rng.randint(0, 1) if stock.kind is Kind.OFFCUT else max(0, there + rng.randint(-2, 3))
        )
        stash.count_stock(session, label, found)


def _undo(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        last = session.scalar(select(func.max(Movement.id)))
        movement = session.get_one(Movement, rng.randint(max(1, last - 10), last))
        if movement.batch_id is not None or movement.reason is Reason.OPENING:
            raise Refusal("what a batch did is taken back with its batch")
        ledger.undo(session, movement)


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


def _open_batch(session, rng: random.Random) -> int:
    query = select(Batch.id).where(Batch.status == BatchStatus.OPEN).order_by(Batch.id)
    numbers = session.scalars(query).all()
    if not numbers:
        raise Refusal("there is no open batch")
    return rng.choice(numbers)


def _cut(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        cut_batch(session, _open_batch(session, rng), place=rng.choice(PLACES))


def _drop(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        drop_batch(session, _open_batch(session, rng))


def _move(shop: ShopFile, rng: random.Random) -> None:
    with shop.begin() as session:
        order = session.get(Order, rng.randint(1, 20))
        if order is None:
            raise Refusal("there is no such order")
        set_status(session, order, rng.choice(["assembled", "delivered"]))


DEEDS: dict[str, tuple[int, Callable[[ShopFile, random.Random], None]]] = {
    "receive": (6, _receive),
    "keep": (4, _keep),
    "spoil": (4, _spoil),
    "count": (4, _count),
    "undo": (4, _undo),
    "order": (8, _order),
    "plan": (6, _plan),
    "cut": (4, _cut),
    "drop": (1, _drop),
    "move": (2, _move),
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
                        *(c for c in table.c if not isinstance(c.type, Moment | DateTime))
                    ).order_by(*table.primary_key.columns)
                )
            ]
            for table in Base.metadata.sorted_tables
        }
