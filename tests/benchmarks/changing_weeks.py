"""Play random weeks that change, and hold at their end that nothing is lost and nothing forgotten.

    python -m tests.benchmarks.changing_weeks --weeks 100

A week has 25 orders of cards and boxes in five papers, three days of cutting, and on each day some
of: orders changed, cancelled, reopened, split, copied, added; sheets spoiled, miscounted, damaged;
pieces and whole sheets spoiled while cutting; another pile used than planned; the last entry
undone.  Half of the paper comes on the second day, some of it later than promised, at the end.

Held then, by counts that the script keeps itself or reads from the history alone: every order is
made; each piece that was cut is in an order, spare, spoiled or turned into something else; every
copy that was cut took one sheet; what the batches cost is what the sheets cost that they took, and
the orders' shares add up to it, both to the coin; and the check of the shop finds nothing.

Prints a line a week; ends with 1 if anything was wrong.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import time
import traceback
from collections import Counter
from contextlib import suppress
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from inventory.changes.order_changes import (
    OrderChanges,
    cancel_order,
    change_order,
    copy_order,
    reopen_order,
    split_order,
)
from inventory.changes.replanning import broken_batches, replan_batches
from inventory.changes.undo import last_transaction, undo_transaction
from inventory.core.money import round_to_coin
from inventory.costs.order_costs import plan_shares
from inventory.costs.rates import rates_of
from inventory.database.open import open_shop
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.orders import Batch, Order
from inventory.database.tables.production import SparePieceMovement, SpoiledPieces
from inventory.database.tables.stock import Stock
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order, get_order, missing_pieces, order_pieces
from inventory.pieces.order_needs import pieces_in_batches
from inventory.pieces.spare_pieces import discard_spare_pieces, list_spare_pieces
from inventory.pieces.spare_rule import NO_SPARES, read_spare_rule
from inventory.production.cutting import cut_batch, sheets_taken
from inventory.production.mending import mend_batch
from inventory.production.planning import plan_batch
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoil_layout, spoil_piece
from inventory.purchasing import prices, purchases, suppliers
from inventory.stock.adjust import count_stock, spoil_stock
from inventory.stock.condition import book_damage, damage_in_corner
from inventory.stock.ledger import reversed_transactions
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_sheets
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan

TODAY = date(2027, 3, 1)
ORDERS, DAYS, SURPRISES = 25, 3, 5
PAPERS = ("Coal card", "Moss card", "Fern print", "Chalk card", "Rosehip felt")
SIZE = (cm(50), cm(70))
PACK = 5
PRICES = ("1.85", "2.20", "1.37", "0.95", "2.49")


class Week:
    """A shop and what happens in it; the hand that plays knows only what it reads."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.dice = random.Random(seed)
        self.shop = open_shop(folder / f"week-{seed}.sqlite", create=True)
        self.events: Counter[str] = Counter()
        self.first_plans: list[float] = []

    # --- the paper

    def open_for_business(self) -> None:
        """Fill the shelves: two piles of each paper, bought at different prices."""
        with self.shop.begin() as session:
            suppliers.set_supplier(session, "Mill", days=2)
            for paper, price in zip(PAPERS, PRICES, strict=True):
                add_paper(session, paper, colour="green", grammage=250)
                prices.set_price(
                    session, "Mill", paper, SIZE, Decimal(price) * PACK, pack=PACK, day=TODAY
                )
        for paper, price in zip(PAPERS, PRICES, strict=True):
            self.receive(paper, self.dice.randint(6, 14), Decimal(price), "Shelf")
            self.receive(paper, self.dice.randint(1, 4), Decimal(price) + Decimal("0.13"), "Box")

    def receive(self, paper: str, quantity: int, price: Decimal, place: str) -> None:
        with self.shop.begin() as session:
            add_sheets(session, paper, SIZE, quantity, price=price, place=place)

    def buy(self, plan: Plan | None) -> int | None:
        """Order what a plan lacks, in packs; return the number of the purchase."""
        if plan is None or not plan.restock:
            return None
        packs: Counter[str] = Counter()
        for line in plan.restock:
            packs[line.paper] += -(-max(1, line.quantity) // PACK)
        wishes = [purchases.PurchaseLineRequest(p, SIZE, n) for p, n in sorted(packs.items())]
        with self.shop.begin() as session:
            return purchases.add_purchase(session, "Mill", wishes, today=TODAY).id

    def come(self, number: int, *, everything: bool) -> None:
        """Receive a purchase: all that is still to come, or one pack of its first line."""
        lines = None if everything else {1: purchases.ReceivedPacks(1)}
        with suppress(Refusal), self.shop.begin() as session:
            purchases.receive_purchase(session, number, lines, today=TODAY)

    # --- orders

    def order(self) -> None:
        dice = self.dice
        paper, other = dice.sample(PAPERS, 2)
        design, settings = dice.choice(
            [
                ("folded-card", {"width": f"{dice.randint(9, 15)}cm", "height": "15cm"}),
                ("folded-card", {"width": "10cm", "height": "21cm", "mats": "both"}),
                ("layered-box", {"panel": f"{dice.randint(7, 11)}cm", "tiers": "2",
                                 "mats": "outside"}),
                ("accordion-card", {}),
            ]
        )  # fmt: skip
        papers = {"all": paper, **({"mat": other} if "mats" in settings else {})}
        with self.shop.begin() as session:
            add_order(
                session, "Ines", design, settings, papers, dice.randint(1, 3),
                TODAY + timedelta(dice.randint(1, 9)), TODAY,
            )  # fmt: skip

    def numbers(self, *statuses: OrderStatus) -> list[int]:
        with self.shop.read() as session:
            query = select(Order.id).where(Order.status.in_(statuses or OrderStatus))
            return list(session.scalars(query.order_by(Order.id)))

    def batches(self, *statuses: BatchStatus) -> list[int]:
        with self.shop.read() as session:
            query = select(Batch.id).where(Batch.status.in_(statuses)).order_by(Batch.id)
            return list(session.scalars(query))

    # --- what nobody planned

    def surprise(self) -> None:
        kind = self.dice.choice(
            [self.change, self.change, self.cancel, self.reopen, self.split, self.copy, self.order,
             self.lose, self.damage, self.spoil_one, self.spoil_a_sheet, self.stand_in,
             self.take_back, self.throw_away]
        )  # fmt: skip
        try:
            kind()
        except Refusal as why:
            if not str(why):
                raise AssertionError(f"{kind.__name__} was refused without a word") from why
            self.events[f"{kind.__name__} refused"] += 1
        else:
            self.events[kind.__name__] += 1

    def any_order(self) -> int:
        return self.dice.choice(self.numbers())

    def do(self, deed: Callable[[Session], object]) -> None:
        """Do it, and plan anew what it breaks; or only do it."""
        if self.dice.random() < 0.5:
            replan_batches(
                self.shop, lambda session: list(broken_batches(session)), change=deed,
                effort=Effort.QUICK, today=TODAY,
            )  # fmt: skip
        else:
            with self.shop.begin() as session:
                deed(session)

    def change(self) -> None:
        dice, number = self.dice, self.any_order()
        with self.shop.read() as session:
            papers = dict(get_order(session, number).papers)
        changes = dice.choice(
            [
                OrderChanges(copies=dice.randint(1, 4)),
                OrderChanges(papers={**papers, "all": dice.choice(PAPERS)}),
                OrderChanges(due=TODAY + timedelta(dice.randint(1, 9)), note="She called."),
                OrderChanges(price=Decimal(dice.randint(5, 90))),
            ]
        )
        self.do(lambda session: change_order(session, number, changes, today=TODAY, by="Bas"))

    def cancel(self) -> None:
        number = self.any_order()
        self.do(lambda session: cancel_order(session, number, why="She changed her mind."))

    def reopen(self) -> None:
        gone = self.numbers(OrderStatus.CANCELLED) or self.numbers()
        with self.shop.begin() as session:
            reopen_order(session, self.dice.choice(gone))

    def split(self) -> None:
        with self.shop.begin() as session:
            split_order(session, self.any_order(), 1, due=TODAY + timedelta(9), today=TODAY)

    def copy(self) -> None:
        with self.shop.begin() as session:
            copy_order(session, self.any_order(), due=TODAY + timedelta(9), today=TODAY)

    def any_sheets(self) -> tuple[str, int]:
        with self.shop.read() as session:
            rows = [(row.label, row.quantity) for row in list_stash(session, kind="sheet")]
        return self.dice.choice(rows)

    def lose(self) -> None:
        label, there = self.any_sheets()
        gone = self.dice.randint(1, min(3, there))
        if self.dice.random() < 0.5:
            self.do(lambda session: spoil_stock(session, label, gone, "It got wet."))
        else:
            self.do(lambda session: count_stock(session, label, there - gone, "Not there."))

    def damage(self) -> None:
        with self.shop.read() as session:
            label = self.dice.choice([row.label for row in list_stash(session)])
            corner = damage_in_corner(session, label, (cm(2), cm(2)), "bottom right")
        self.do(lambda session: book_damage(session, label, corner, reserved_too=True))

    def spoil_one(self) -> None:
        planned = self.batches(BatchStatus.OPEN, BatchStatus.CUT)
        if not planned:
            raise Refusal("nothing is planned")
        number = self.dice.choice(planned)
        with self.shop.begin() as session:
            piece = self.dice.choice(plan_of(get_batch(session, number)).parts).piece.name
            spoil_piece(session, number, piece, why="The knife slipped.")

    def some_layout(self, session: Session) -> tuple[int, int]:
        opened = self.batches(BatchStatus.OPEN)
        if not opened:
            raise Refusal("there is no open batch")
        number = self.dice.choice(opened)
        rows = list_remaining(session, get_batch(session, number))
        return number, self.dice.choice(rows).layout.number

    def spoil_a_sheet(self) -> None:
        with self.shop.begin() as session:
            spoil_layout(session, *self.some_layout(session), "The trimmer slipped.")

    def stand_in(self) -> None:
        with self.shop.begin() as session:
            number, layout = self.some_layout(session)
            sheet = plan_of(get_batch(session, number)).layout(layout).sheet
            others = [
                row.label
                for row in list_stash(session, kind="sheet")
                if row.paper == sheet.paper and row.label != sheet.label
            ]
            cut_batch(
                session, number, layout=layout, copies=1,
                stand_in=self.dice.choice(others or [sheet.label]),
            )  # fmt: skip

    def take_back(self) -> None:
        with self.shop.begin() as session:
            undo_transaction(session, last_transaction(session).id)

    def throw_away(self) -> None:
        with self.shop.begin() as session:
            rows = list_spare_pieces(session)
            if not rows:
                raise Refusal("there is no spare piece")
            discard_spare_pieces(session, self.dice.choice(rows).spare.label, 1)

    # --- planning and cutting

    def plan(self, days: int = 1) -> Plan | None:
        """Plan all that waits, with what is broken; mend what is spoiled."""
        spares = self.dice.choice([NO_SPARES, NO_SPARES, read_spare_rule(["5%"])])
        with self.shop.read() as session:
            broken = list(broken_batches(session))
        waiting = self.numbers(OrderStatus.CONFIRMED)
        made = None
        start = time.monotonic()
        first: list[float] = []

        def note(_: object) -> None:
            first.append(time.monotonic() - start)

        if broken:
            made = replan_batches(
                self.shop, broken, add=waiting, effort=Effort.QUICK, spares=spares, days=days,
                today=TODAY, on_progress=note,
            ).plan  # fmt: skip
            self.first_plans += first[:1]
        elif waiting:
            made = plan_batch(self.shop, effort=Effort.QUICK, spares=spares, days=days, today=TODAY)
        for number in self.batches(BatchStatus.OPEN, BatchStatus.CUT):
            with suppress(Refusal):
                mend_batch(self.shop, number, effort=Effort.QUICK, today=TODAY)
        return made

    def cut_a_day(self) -> None:
        """Cut what is left of the first day that has anything left, of each batch."""
        for number in self.batches(BatchStatus.OPEN):
            with self.shop.begin() as session:
                rows = list_remaining(session, get_batch(session, number))
                day = min((row.layout.day for row in rows), default=0)
                today = [row.layout.number for row in rows if row.layout.day == day]
                cut_batch(session, number, layout=today)

    def play(self) -> list[str]:
        """Play the week and return what was wrong at its end."""
        self.open_for_business()
        for _ in range(ORDERS):
            self.order()
        purchase = self.buy(self.plan(days=DAYS))
        for day in range(1, DAYS + 1):
            for _ in range(SURPRISES):
                self.surprise()
            if purchase is not None and day == 2:
                self.come(purchase, everything=False)
            self.plan(days=DAYS - day + 1)
            with suppress(Refusal):
                self.cut_a_day()
        if purchase is not None:
            self.come(purchase, everything=True)
        for paper, price in zip(PAPERS, PRICES, strict=True):
            self.receive(paper, 40, Decimal(price), "Shelf")
        for _ in range(9):
            self.plan()
            while self.batches(BatchStatus.OPEN) and not self._broken():
                self.cut_a_day()
            if not (self.numbers(OrderStatus.CONFIRMED, OrderStatus.PLANNED) or self._missing()):
                break
        return self.faults()

    def _broken(self) -> bool:
        with self.shop.read() as session:
            return bool(broken_batches(session))

    def _missing(self) -> bool:
        with self.shop.read() as session:
            return bool(+missing_pieces(session))

    # --- what must hold

    def faults(self) -> list[str]:
        found = [f"{one.where}: {one.what}" for one in check_shop(self.shop).findings]
        with self.shop.read() as session:
            found += self._orders_not_made(session)
            found += self._pieces_lost(session)
            found += self._sheets_lost(session)
            found += self._money_lost(session)
        return found

    def _orders_not_made(self, session: Session) -> list[str]:
        found = []
        for order in session.scalars(select(Order)):
            if order.status is OrderStatus.CANCELLED:
                continue
            wanted = Counter[tuple[str, str]]()
            for piece, paper in order_pieces(session, order):
                wanted[f"{piece.width} {piece.height} {len(piece.outline)}", paper] += (
                    piece.quantity * order.copies
                )
            has = Counter[tuple[str, str]]()
            for part, quantity in pieces_in_batches(session, order).cut.items():
                piece = part.piece
                has[f"{piece.width} {piece.height} {len(piece.outline)}", part.paper] += quantity
            if order.status is not OrderStatus.CUT or has != wanted:
                found.append(f"order {order.id} is {order.status}: {has - wanted} {wanted - has}")
        return found

    def _pieces_lost(self, session: Session) -> list[str]:
        """Compare the pieces that the history cut with those that are somewhere."""
        cut: Counter[str] = Counter()
        query = select(Transaction).where(
            Transaction.reason == Reason.CUT,
            Transaction.layout.is_not(None),
            Transaction.id.not_in(reversed_transactions()),
        )
        for transaction in session.scalars(query):
            plan = plan_of(get_batch(session, transaction.batch_id or 0))
            for spot in plan.layout(transaction.layout or 0).spots:
                cut[plan.part_of(spot).paper] += len(transaction.copies or ())
        there: Counter[str] = Counter()
        for order in session.scalars(select(Order)):
            for part, quantity in pieces_in_batches(session, order).cut.items():
                there[part.paper] += quantity
        for row in list_spare_pieces(session):
            there[row.paper] += row.quantity
        thrown = session.scalars(
            select(SparePieceMovement)
            .join(Transaction, SparePieceMovement.transaction_id == Transaction.id)
            .where(
                Transaction.reason == Reason.SPARE,
                SparePieceMovement.change < 0,
                SparePieceMovement.order_id.is_(None),
                Transaction.id.not_in(reversed_transactions()),
            )
        )
        for movement in thrown:
            there[movement.spare.paper.name] -= movement.change
        lost = session.scalars(
            select(SpoiledPieces)
            .join(Transaction, SpoiledPieces.transaction_id == Transaction.id)
            .where(Transaction.layout.is_(None), Transaction.id.not_in(reversed_transactions()))
        )
        for pieces in lost:
            plan = plan_of(get_batch(session, pieces.batch_id))
            there[plan.parts[pieces.part].paper] += pieces.quantity
        return [] if cut == there else [f"pieces: {cut - there} lost, {there - cut} too many"]

    def _sheets_lost(self, session: Session) -> list[str]:
        """Compare the sheets that each entry of cutting took with the copies it says."""
        found = []
        cut = select(Transaction).where(
            Transaction.layout.is_not(None), Transaction.id.not_in(reversed_transactions())
        )
        for transaction in session.scalars(cut):
            taken = session.scalar(
                select(func.sum(-Movement.change)).where(
                    Movement.transaction_id == transaction.id, Movement.change < 0
                )
            )
            if taken != len(transaction.copies or ()):
                found.append(f"entry {transaction.id}: {taken} sheets, {transaction.copies}")
        there = {row.label: row.quantity for row in list_stash(session, kind="sheet")}
        sums = select(Stock.label, func.sum(Movement.change)).join(
            Stock, Movement.stock_id == Stock.id
        )
        booked = dict(
            session.execute(sums.where(Stock.label.in_(there)).group_by(Stock.label)).all()
        )
        if booked != there:
            found.append(f"sheets: {booked} booked, {there} there")
        return found

    def _money_lost(self, session: Session) -> list[str]:
        found = []
        rates = rates_of(session)
        query = select(Batch).where(Batch.status == BatchStatus.CUT)
        for batch in session.scalars(query):
            plan = sheets_taken(session, batch, plan_of(batch))
            moved = session.execute(
                select(Stock, Movement.change)
                .join(Stock, Movement.stock_id == Stock.id)
                .join(Transaction, Movement.transaction_id == Transaction.id)
                .where(
                    Transaction.batch_id == batch.id,
                    Transaction.layout.is_not(None),
                    Movement.change < 0,
                    Transaction.id.not_in(reversed_transactions()),
                )
            )
            priced = {layout.sheet.label: layout.sheet.price for layout in plan.layouts}
            cost = sum((-change * priced[stock.label] for stock, change in moved), Decimal(0))
            shares = sum(
                (
                    sum(share.paper.values(), Decimal(0))
                    for share in plan_shares(plan, rates).values()
                ),
                Decimal(0),
            )
            if cost != plan.cost:
                found.append(f"batch {batch.id}: its sheets cost {cost}, it says {plan.cost}")
            if shares != round_to_coin(plan.net_cost, plan.currency):
                found.append(f"batch {batch.id}: shares {shares} of {plan.net_cost}")
        return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--weeks", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    events: Counter[str] = Counter()
    first_plans: list[float] = []
    wrong = 0
    with tempfile.TemporaryDirectory(prefix="quirebox-weeks-") as name:
        for seed in range(given.seed, given.seed + given.weeks):
            start = time.monotonic()
            week = Week(Path(name), seed)
            try:
                faults = week.play()
            except Exception:  # any at all is a fault of that week
                faults = [traceback.format_exc()]
            week.shop.close()
            events += week.events
            first_plans += week.first_plans
            wrong += bool(faults)
            print(
                f"week {seed}: {'sound' if not faults else 'WRONG'},"
                f" {time.monotonic() - start:.0f} s {dict(week.events)}",
                *faults, sep="\n  ", flush=True,
            )  # fmt: skip
    print(f"{given.weeks - wrong} of {given.weeks} weeks are sound; {dict(sorted(events.items()))}")
    if first_plans:
        print(f"first plan of what was planned anew: median {statistics.median(first_plans):.2f} s")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
