"""Let several processes receive, reserve and cut in one shop at once, and add up what they did.

    python -m tests.benchmarks.eight_at_once --processes 8 --seconds 60
    python -m tests.benchmarks.eight_at_once --shop postgresql://ada@host/empty_database

Each keeps its own account of what it was told was done.  In the end the book must say exactly what
all accounts say together: nothing lost, nothing doubled.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import func, select

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import BatchStatus, Reason
from inventory.database.tables.ledger import Movement
from inventory.database.tables.orders import Batch, Order
from inventory.database.tables.stock import Stock
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order
from inventory.production.cutting import cut_batch
from inventory.production.planning import plan_batch
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoil_layout
from inventory.stock import adjust, ledger
from inventory.stock.lookup import get_batch
from inventory.stock.receiving import add_offcut, add_sheets
from inventory.stock.reservations import copies_done
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort
from tests.shopwork import PAPERS, TODAY, begin_work

Copy = tuple[int, int, int]
"""A batch, a layout of it, and which copy of that."""


@dataclass
class Account:
    """What one process was told was done."""

    sheets: Counter[str] = field(default_factory=Counter)
    movements: int = 0
    orders: list[int] = field(default_factory=list)
    planned: list[int] = field(default_factory=list)
    copies: Counter[Copy] = field(default_factory=Counter)
    deeds: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    waited: int = 0
    faults: list[str] = field(default_factory=list)


def receive(shop: ShopFile, account: Account, rng: random.Random) -> None:
    quantity = rng.randint(1, 9)
    with shop.begin() as session:
        label = add_sheets(session, rng.choice(PAPERS), (cm(50), cm(70)), quantity).label
    account.sheets[label] += quantity
    account.movements += 1


def keep(shop: ShopFile, account: Account, rng: random.Random) -> None:
    with shop.begin() as session:
        label = add_offcut(session, rng.choice(PAPERS), (cm(20), cm(rng.randint(10, 20)))).label
    account.sheets[label] += 1
    account.movements += 1


def spoil(shop: ShopFile, account: Account, rng: random.Random) -> None:
    with shop.begin() as session:
        label = rng.choice(session.scalars(select(Stock.label)).all())
        adjust.spoil_stock(session, label)
    account.sheets[label] -= 1
    account.movements += 1


def reserve(shop: ShopFile, account: Account, rng: random.Random) -> None:
    sizes = {"width": f"{rng.randint(8, 12)}cm", "height": "15cm", "mats": "none"}
    with shop.begin() as session:
        order, _ = add_order(
            session, "Ines", "folded-card", sizes, {"all": rng.choice(PAPERS)}, 2, TODAY, TODAY
        )
    account.orders.append(order.id)
    batch = plan_batch(shop, [order.id], effort=Effort.QUICK, today=TODAY).batch
    if batch is not None:
        account.planned.append(batch)


def _an_open_batch(shop: ShopFile, rng: random.Random) -> int:
    with shop.read() as session:
        numbers = session.scalars(select(Batch.id).where(Batch.status == BatchStatus.OPEN)).all()
    if not numbers:
        raise Refusal("there is no open batch")
    return rng.choice(numbers)  # the others may want the same


def cut(shop: ShopFile, account: Account, rng: random.Random) -> None:
    number = _an_open_batch(shop, rng)
    with shop.begin() as session:
        left = list_remaining(session, get_batch(session, number))
        layout = rng.choice([None, *(one.layout.number for one in left)])
        kept = cut_batch(session, number, layout=layout, copies=layout and 1)
    for one in left:
        if layout in (None, one.layout.number):
            copies = one.copies if layout is None else one.copies[:1]
            account.sheets[one.layout.sheet.label] -= len(copies)
            account.copies.update((number, one.layout.number, copy) for copy in copies)
            account.movements += 1
    for one in kept:
        account.sheets[one.label] += one.quantity
    account.movements += len(kept)


def ruin(shop: ShopFile, account: Account, rng: random.Random) -> None:
    number = _an_open_batch(shop, rng)
    with shop.begin() as session:
        left = list_remaining(session, get_batch(session, number))
        one = rng.choice(left) if left else None
        spoil_layout(session, number, one.layout.number if one else 1)
    account.sheets[one.layout.sheet.label] -= 1
    account.copies[number, one.layout.number, one.copies[0]] += 1
    account.movements += 1


def undo(shop: ShopFile, account: Account, rng: random.Random) -> None:
    """Take back what somebody did last; the ledger says what it was."""
    with shop.begin() as session:
        deed = last_transaction(session)
        if deed.reason not in (Reason.CUT, Reason.SPOILED, Reason.KEPT):
            return
        lines = session.scalars(select(Movement).where(Movement.transaction_id == deed.id)).all()
        booked = [(line.stock.label, line.change) for line in lines]
        copies = [(deed.batch_id, deed.layout, copy) for copy in deed.copies or ()]
        undo_transaction(session, deed.id)
    for label, change in booked:
        account.sheets[label] -= change
    account.movements += len(booked)
    account.copies.subtract(copies)


DEEDS = {"receive": (receive, 6), "keep": (keep, 2), "spoil": (spoil, 2), "reserve": (reserve, 3),
         "cut": (cut, 4), "ruin": (ruin, 1), "undo": (undo, 1)}  # fmt: skip


def work(place: str, seed: int, seconds: float, accounts: multiprocessing.Queue[Account]) -> None:
    rng = random.Random(seed)
    account = Account()
    end = time.monotonic() + seconds
    try:
        with open_shop(place) as shop:
            shop.on_wait = lambda: setattr(account, "waited", account.waited + 1)
            while time.monotonic() < end:
                name = rng.choices(list(DEEDS), [weight for _, weight in DEEDS.values()])[0]
                try:
                    DEEDS[name][0](shop, account, rng)
                except Refusal as refused:
                    account.refused[_kind(str(refused))] += 1
                else:
                    account.deeds[name] += 1
    except BaseException:
        account.faults.append(traceback.format_exc())
    accounts.put(account)


def _kind(refusal: str) -> str:
    kinds = ("in use by another", "stash changed", "only an open batch", "not in the stash",
             "on hand", "no open batch", "is reserved", "damaged", "disk")  # fmt: skip
    return next((kind for kind in kinds if kind in refusal), refusal)


def run(place: str, processes: int, seconds: float, seed: int = 1) -> list[Account]:
    """Begin a shop and let processes work in it; return their accounts."""
    with open_shop(place, create=True) as shop:
        begin_work(shop)
    context = multiprocessing.get_context("spawn")
    accounts: multiprocessing.Queue[Account] = context.Queue()
    workers = [
        context.Process(target=work, args=(place, seed * 1000 + number, seconds, accounts))
        for number in range(processes)
    ]
    for worker in workers:
        worker.start()
    done = [accounts.get() for _ in workers]
    for worker in workers:
        worker.join()
    return done


def hold_to_book(place: str, accounts: list[Account]) -> None:
    """Raise AssertionError if the book doesn't say what all accounts say together."""
    for account in accounts:
        assert account.faults == [], account.faults[0]
    begun: Counter[str] = Counter({"S-1": 40, "S-2": 40})
    total = Counter(begun)
    copies: Counter[Copy] = Counter()
    for account in accounts:
        total.update(account.sheets)
        copies.update(account.copies)
    with open_shop(place) as shop:
        report = check_shop(shop)
        assert report.faults == [], report.faults
        with shop.read() as session:
            there = {
                stock.label: number
                for stock in session.scalars(select(Stock))
                for number in [ledger.on_hand(session, stock)]
            }
            assert {label: number for label, number in total.items() if number} == {
                label: number for label, number in there.items() if number
            }
            movements = session.scalar(select(func.count()).select_from(Movement))
            assert movements == len(begun) + sum(account.movements for account in accounts)
            _same(session.scalars(select(Order.id)), accounts, "orders")
            _same(session.scalars(select(Batch.id)), accounts, "planned")
            numbers = session.scalars(select(Batch.id)).all()
            done = copies_done(session, numbers)
            assert {copy: number for copy, number in copies.items() if number} == {
                (batch, layout, copy): 1
                for (batch, layout), which in done.items()
                for copy in which
            }
            for number in numbers:
                batch = get_batch(session, number)
                left = list_remaining(session, batch)
                assert bool(left) == (batch.status is BatchStatus.OPEN)


def _same(numbers: object, accounts: list[Account], what: str) -> None:
    told = Counter(number for account in accounts for number in getattr(account, what))
    assert Counter(numbers) == told, what


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--processes", type=int, default=8)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--shop", help="the URL of an empty database; else a file is made")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="quirebox-eight-") as folder:
        place = given.shop or str(Path(folder) / "shop.sqlite")
        accounts = run(place, given.processes, given.seconds)
        hold_to_book(place, accounts)
    deeds: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    for account in accounts:
        deeds.update(account.deeds)
        refused.update(account.refused)
    print("| deed | done |\n| --- | ---: |")
    for name, times in deeds.most_common():
        print(f"| {name} | {times:,} |")
    print("refused:", dict(refused))
    print("waited over half a second:", sum(account.waited for account in accounts), "times")
    print("lost 0, doubled 0")
    return 0


if __name__ == "__main__":
    sys.exit(main())
