"""Random weeks that change: whatever is done in whatever order, no piece and no sheet is lost.

The model is the arithmetic of a maker's table: pieces cut are in an order, spare, spoiled, thrown
away or an offcut again; sheets received are there, cut or spoiled; and an entry that is undone
leaves everything as it was before it.

``QUIREBOX_RUNS=500 python -m pytest tests/properties/test_changing_weeks.py`` makes it long.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections import Counter
from contextlib import contextmanager
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from inventory.changes.order_changes import (
    OrderChanges,
    cancel_order,
    change_order,
    copy_order,
    reopen_order,
    split_order,
    values_of,
)
from inventory.changes.order_status import move_order
from inventory.changes.replanning import broken_batches, replan_batches
from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.open import open_shop
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Batch, Order
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order, get_order, missing_pieces
from inventory.pieces.order_needs import order_needs, pieces_in_batches
from inventory.pieces.spare_pieces import (
    discard_spare_pieces,
    list_spare_pieces,
    spare_to_offcut,
)
from inventory.pieces.spare_rule import NO_SPARES, read_spare_rule
from inventory.production.cutting import cut_batch, drop_batch
from inventory.production.mending import mend_batch
from inventory.production.planning import confirm_batch, plan_batch
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoil_layout, spoil_piece
from inventory.stock.adjust import count_stock, spoil_stock
from inventory.stock.listing import list_stash
from inventory.stock.lookup import plan_of
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_sheets
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy.orm import Session

RUNS = int(os.environ.get("QUIREBOX_RUNS", "6"))
TODAY = date(2027, 3, 1)
PAPERS = ("Card", "Moss")
WIDTHS = st.sampled_from(["9cm", "10cm", "14cm"])


@cache
def template() -> Path:
    path = Path(tempfile.mkdtemp(prefix="quirebox-test-")) / "shop.sqlite"
    with open_shop(path, create=True) as shop, shop.begin() as session:
        for paper in PAPERS:
            add_paper(session, paper, colour="white", grammage=300)
            add_sheets(session, paper, (cm(30), cm(40)), 12, price=Decimal(2))
    return path


@pytest.fixture(scope="module", autouse=True)
def _tidy():
    yield
    shutil.rmtree(template().parent)


class Week(RuleBasedStateMachine):
    """Orders and plans changed at random."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="quirebox-test-"))
        self.shop = open_shop(Path(shutil.copy(template(), self.folder)))
        self.made: Counter[str] = Counter()
        """Pieces that were cut, by paper; those of sheets spoiled while they were cut are not."""
        self.gone: Counter[str] = Counter()
        """Pieces that were spoiled after cutting, thrown away or made offcuts."""
        self.before: tuple[object, Counter[str], Counter[str]] | None = None
        """What the last entry found; None where nothing can be undone by one entry."""

    def teardown(self) -> None:
        self.shop.close()
        shutil.rmtree(self.folder)

    # --- what is there

    def book(self) -> object:
        """Everything that a deed may change, as plain data."""
        with self.shop.read() as session:
            orders = session.scalars(select(Order).order_by(Order.id)).all()
            batches = session.scalars(select(Batch).order_by(Batch.id)).all()
            return (
                {row.label: row.quantity for row in list_stash(session)},
                {row.spare.label: row.quantity for row in list_spare_pieces(session)},
                {
                    order.id: (values_of(order), pieces_in_batches(session, order))
                    for order in orders
                    if order.status is not OrderStatus.CANCELLED
                },
                [
                    (batch.id, batch.status, [
                        (row.layout.number, row.copies) for row in list_remaining(session, batch)
                    ])
                    for batch in batches
                    if batch.status in (BatchStatus.OPEN, BatchStatus.CUT)
                ],
                missing_pieces(session),
            )  # fmt: skip

    def numbers(self, *statuses: OrderStatus) -> list[int]:
        with self.shop.read() as session:
            query = select(Order.id).order_by(Order.id)
            return list(session.scalars(query.where(Order.status.in_(statuses or OrderStatus))))

    def batches(self, *statuses: BatchStatus) -> list[int]:
        with self.shop.read() as session:
            query = select(Batch.id).where(Batch.status.in_(statuses)).order_by(Batch.id)
            return list(session.scalars(query))

    @contextmanager
    def deed(self) -> Iterator[Session]:
        """Give a transaction for something that may be refused, and then changes nothing."""
        before = (self.book(), self.made.copy(), self.gone.copy())
        try:
            with self.shop.begin() as session:
                yield session
        except Refusal:
            assert self.book() == before[0]
            self.made, self.gone = before[1], before[2]
        else:
            self.before = before

    def search(self, deed: Callable[[], object]) -> None:
        before = (self.book(), self.made.copy(), self.gone.copy())
        try:
            deed()
        except Refusal:
            assert self.book() == before[0]
        else:
            self.before = None

    # --- orders

    @initialize(copies=st.lists(st.integers(1, 4), min_size=1, max_size=3))
    def begin(self, copies: list[int]) -> None:
        for number in copies:
            self.order("10cm", number, "Card", 7)
        self.plan(False, None)

    @rule(width=WIDTHS, copies=st.integers(1, 4), paper=st.sampled_from(PAPERS),
          days=st.integers(0, 9))  # fmt: skip
    def order(self, width: str, copies: int, paper: str, days: int) -> None:
        sizes = {"width": width, "height": "14cm", "mats": "none"}
        with self.shop.begin() as session:
            add_order(session, "Ines", "folded-card", sizes, {"all": paper}, copies,
                      TODAY + timedelta(days), TODAY)  # fmt: skip
        self.before = None

    def any_order(self, data: st.DataObject) -> int:
        return data.draw(st.sampled_from(self.numbers()))

    @rule(
        data=st.data(),
        copies=st.none() | st.integers(1, 5),
        width=st.none() | WIDTHS,
        paper=st.none() | st.sampled_from(PAPERS),
        again=st.booleans(),
    )
    def change(
        self, data: st.DataObject, copies: int | None, width: str | None, paper: str | None,
        again: bool,
    ) -> None:  # fmt: skip
        number = self.any_order(data)
        changes = OrderChanges(
            copies=copies,
            sizes={} if width is None else {"width": width},
            papers={} if paper is None else {"all": paper},
        )

        def do(session: Session) -> None:
            change_order(session, number, changes, today=TODAY)

        if again:
            self.search(lambda: self._replan(self.batches(BatchStatus.OPEN), change=do))
        else:
            with self.deed() as session:
                do(session)

    @rule(data=st.data())
    def cancel(self, data: st.DataObject) -> None:
        with self.deed() as session:
            cancel_order(session, self.any_order(data))

    @rule(data=st.data())
    def reopen(self, data: st.DataObject) -> None:
        with self.deed() as session:
            reopen_order(session, self.any_order(data))

    @rule(data=st.data())
    def copy(self, data: st.DataObject) -> None:
        with self.deed() as session:
            copy_order(session, self.any_order(data), due=TODAY, today=TODAY)
        self.before = None  # undone, the copy stays as a cancelled order

    @rule(data=st.data(), copies=st.integers(1, 3))
    def split(self, data: st.DataObject, copies: int) -> None:
        with self.deed() as session:
            split_order(session, self.any_order(data), copies, due=TODAY, today=TODAY)

    @rule(data=st.data(), wanted=st.sampled_from(["assembled", "delivered"]))
    def move(self, data: st.DataObject, wanted: str) -> None:
        with self.deed() as session:
            move_order(session, self.any_order(data), wanted)
        self.before = None

    # --- batches

    @rule(draft=st.sampled_from([False, False, True]),
          spare=st.sampled_from([None, None, "card=1", "30%"]))  # fmt: skip
    def plan(self, draft: bool, spare: str | None) -> None:
        rule = NO_SPARES if spare is None else read_spare_rule([spare])
        self.search(
            lambda: plan_batch(
                self.shop, effort=Effort.QUICK, draft=draft, spares=rule, today=TODAY
            )
        )

    @precondition(lambda self: self.batches(BatchStatus.DRAFT))
    @rule(data=st.data())
    def confirm(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.DRAFT)))
        with self.deed() as session:
            confirm_batch(session, number)
        self.before = None

    def _replan(self, batches: list[int], **others) -> None:
        replan_batches(self.shop, batches, effort=Effort.QUICK, today=TODAY, **others)

    @precondition(lambda self: self.batches(BatchStatus.OPEN))
    @rule(data=st.data(), with_all=st.booleans(), out=st.booleans())
    def replan(self, data: st.DataObject, with_all: bool, out: bool) -> None:
        opened = self.batches(BatchStatus.OPEN)
        chosen = opened if with_all else [data.draw(st.sampled_from(opened))]
        add = self.numbers(OrderStatus.CONFIRMED) if with_all else []
        without = [self.any_order(data)] if out else []
        before = (self.book(), self.made.copy(), self.gone.copy())
        self.search(lambda: self._replan(chosen, add=add, without=without))
        if self.before is None:
            self.before = before

    @precondition(lambda self: self.batches(BatchStatus.OPEN))
    @rule(data=st.data(), drop=st.booleans())
    def drop(self, data: st.DataObject, drop: bool) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.OPEN)))
        with self.deed() as session:
            drop_batch(session, number)
        self.before = None

    @precondition(lambda self: self.batches(BatchStatus.OPEN))
    @rule(data=st.data(), copies=st.none() | st.just(1))
    def cut(self, data: st.DataObject, copies: int | None) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.OPEN)))
        with self.deed() as session:
            batch = session.get_one(Batch, number)
            plan = plan_of(batch)
            rows = list_remaining(session, batch)
            row = rows[data.draw(st.integers(0, len(rows) - 1))]
            cut_batch(session, number, layout=row.layout.number, copies=copies)
            for spot in row.layout.spots:
                self.made[plan.part_of(spot).paper] += copies or len(row.copies)

    @precondition(lambda self: self.batches(BatchStatus.OPEN))
    @rule(data=st.data())
    def spoil_a_sheet(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.OPEN)))
        with self.deed() as session:
            rows = list_remaining(session, session.get_one(Batch, number))
            row = rows[data.draw(st.integers(0, len(rows) - 1))]
            spoil_layout(session, number, row.layout.number)

    @precondition(lambda self: self.batches(BatchStatus.OPEN, BatchStatus.CUT))
    @rule(data=st.data())
    def spoil_one(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.OPEN, BatchStatus.CUT)))
        with self.deed() as session:
            order = data.draw(st.sampled_from([None, *self.numbers()]))
            lost = spoil_piece(session, number, "card", order=order)
            self.gone[plan_of(session.get_one(Batch, number)).parts[lost.part].paper] += 1

    @precondition(lambda self: self.batches(BatchStatus.OPEN, BatchStatus.CUT))
    @rule(data=st.data())
    def mend(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(self.batches(BatchStatus.OPEN, BatchStatus.CUT)))
        self.search(lambda: mend_batch(self.shop, number, effort=Effort.QUICK, today=TODAY))

    # --- paper and spare pieces

    @rule(paper=st.sampled_from(PAPERS), quantity=st.integers(1, 5))
    def receive(self, paper: str, quantity: int) -> None:
        with self.deed() as session:
            add_sheets(session, paper, (cm(30), cm(40)), quantity, price=Decimal(2))

    @rule(data=st.data(), found=st.integers(0, 9), count=st.booleans(), again=st.booleans())
    def lose_paper(self, data: st.DataObject, found: int, count: bool, again: bool) -> None:
        with self.shop.read() as session:
            labels = [row.label for row in list_stash(session)]
        if not labels:
            return
        label = data.draw(st.sampled_from(labels))

        def do(session: Session) -> None:
            if count:
                count_stock(session, label, found)
            else:
                spoil_stock(session, label, found + 1)

        if again:
            self.search(lambda: self._replan(self.batches(BatchStatus.OPEN), change=do))
            with self.shop.read() as session:
                broken = broken_batches(session)
            assert not broken or self.before is not None
        else:
            with self.deed() as session:
                do(session)

    @rule(data=st.data(), to_offcut=st.booleans())
    def use_spares_otherwise(self, data: st.DataObject, to_offcut: bool) -> None:
        with self.shop.read() as session:
            rows = list_spare_pieces(session)
        if not rows:
            return
        row = rows[data.draw(st.integers(0, len(rows) - 1))]
        with self.deed() as session:
            deed = spare_to_offcut if to_offcut else discard_spare_pieces
            deed(session, row.spare.label, 1)
            self.gone[row.paper] += 1

    # --- undoing

    @rule()
    def undo(self) -> None:
        before = self.before
        unchanged = self.book()
        try:
            with self.shop.begin() as session:
                undo_transaction(session, last_transaction(session).id)
        except Refusal:
            assert self.book() == unchanged
            return
        if before is not None:
            assert self.book() == before[0]
            self.made, self.gone = before[1], before[2]
        else:
            self.recount()
        self.before = None

    def recount(self) -> None:
        """Take over what is there: an older entry was undone, which the model did not follow."""
        self.made = self.pieces()
        self.gone = Counter()

    # --- what always holds

    def pieces(self) -> Counter[str]:
        """Return the pieces that are there, by paper: those of orders, and spare ones."""
        there: Counter[str] = Counter()
        with self.shop.read() as session:
            for order in session.scalars(select(Order)):
                for part, quantity in pieces_in_batches(session, order).cut.items():
                    there[part.paper] += quantity
            for row in list_spare_pieces(session):
                there[row.paper] += row.quantity
        return there

    @invariant()
    def every_piece_is_somewhere(self) -> None:
        assert +self.pieces() == +Counter(
            {paper: self.made[paper] - self.gone[paper] for paper in PAPERS}
        )

    @invariant()
    def statuses_say_what_is_to_be_done(self) -> None:
        with self.shop.read() as session:
            missing = missing_pieces(session)
            for number in self.numbers():
                order = get_order(session, number)
                known = pieces_in_batches(session, order)
                wanted = sum(n for _, _, n in order_needs(session, order))
                match order.status:
                    case OrderStatus.CONFIRMED:
                        assert wanted > 0
                    case OrderStatus.PLANNED:
                        assert wanted <= missing[number]
                        assert known.to_come.total() > 0
                    case OrderStatus.CUT:
                        assert wanted + known.to_come.total() >= missing[number]
                        assert wanted <= missing[number]
                    case OrderStatus.CANCELLED:
                        assert known.to_come.total() == 0

    @invariant()
    def the_book_is_sound(self) -> None:
        assert check_shop(self.shop).faults == []


Week.TestCase.settings = settings(
    max_examples=RUNS,
    stateful_step_count=50 if RUNS > 50 else 20,
    deadline=None,
    # A run takes a second, so that shrinking a week of 50 entries would take all day.
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)


class TestWeek(Week.TestCase):
    pass
