"""Random deeds at a shop, held after each one against a model in plain Python.

``QUIREBOX_RUNS=500 python -m pytest tests/properties/test_shop_model.py`` makes it long: so many
runs of 50 deeds each.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from inventory import ledger, stash
from inventory.archive import export_shop, import_shop
from inventory.batches import plan_batch
from inventory.check import check_shop
from inventory.cutting import cut_batch, drop_batch, get_batch
from inventory.models import BatchStatus, Movement, Status
from inventory.orders import add_order, get_order, set_status
from inventory.papers import add_paper
from inventory.receiving import add_offcut, add_sheets
from inventory.reservations import reserved
from inventory.shop import open_shop
from nester.layouts import Effort
from nester.measure import cm
from nester.refusal import Refusal

RUNS = int(os.environ.get("QUIREBOX_RUNS", "6"))
TODAY = date(2027, 3, 1)
MOST = 1_000_000
STEPS = {
    Status.CONFIRMED: {Status.CANCELLED},
    Status.CUT: {Status.ASSEMBLED, Status.CANCELLED},
    Status.ASSEMBLED: {Status.DELIVERED, Status.CANCELLED},
}
"""Where an order of the model may be moved; planned ones move with their batch."""


@cache
def template() -> Path:
    path = Path(tempfile.mkdtemp(prefix="quirebox-test-")) / "shop.sqlite"
    with open_shop(path, create=True) as shop, shop.begin() as session:
        add_paper(session, "Card", colour="white", grammage=300)
    return path


@pytest.fixture(scope="module", autouse=True)
def _tidy():
    yield
    shutil.rmtree(template().parent)


@dataclass
class Planned:
    """What the model knows of a batch: what it takes, what it will keep, whose it is."""

    takes: Counter[str]
    offcuts: int
    orders: list[int]
    status: BatchStatus = BatchStatus.OPEN


@dataclass
class Model:
    """The shop in plain Python."""

    amounts: dict[str, int] = field(default_factory=dict)
    sizes: dict[tuple[int, str], str] = field(default_factory=dict)
    booked: dict[int, tuple[str, int]] = field(default_factory=dict)
    taken_back: set[int] = field(default_factory=set)
    orders: dict[int, Status] = field(default_factory=dict)
    batches: dict[int, Planned] = field(default_factory=dict)

    def reserved(self) -> Counter[str]:
        taken: Counter[str] = Counter()
        for batch in self.batches.values():
            if batch.status is BatchStatus.OPEN:
                taken.update(batch.takes)
        return taken

    def fits(self, label: str, change: int) -> bool:
        most = 1 if label.startswith("K") else MOST
        return 0 <= self.amounts[label] + change <= most

    def open(self) -> list[int]:
        return [n for n, batch in self.batches.items() if batch.status is BatchStatus.OPEN]


class Shop(RuleBasedStateMachine):
    """Every deed there is, against the model."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="quirebox-test-"))
        self.shop = open_shop(Path(shutil.copy(template(), self.folder)))
        self.model = Model()

    def teardown(self) -> None:
        try:
            self.the_whole_book_is_sound()
        finally:
            self.shop.close()
            shutil.rmtree(self.folder)

    def the_whole_book_is_sound(self) -> None:
        report = check_shop(self.shop)
        assert report.faults == []
        reserved_now, amounts = self.model.reserved(), self.model.amounts
        lacking = {label for label, wanted in reserved_now.items() if wanted > amounts[label]}
        assert {one.where for one in report.notices} == lacking
        export_shop(self.shop, self.folder / "first.zip")
        import_shop(self.folder / "first.zip", self.folder / "again.sqlite")
        with open_shop(self.folder / "again.sqlite") as again:
            export_shop(again, self.folder / "second.zip")
        first, second = (self.folder / name for name in ("first.zip", "second.zip"))
        assert first.read_bytes() == second.read_bytes()

    # --- the stash

    @initialize(quantity=st.integers(1, 30))
    def begin(self, quantity: int) -> None:
        self.receive(70, quantity, "Shelf")

    def note(self, session, label: str) -> None:
        row = stash.history(session, label)[-1]
        self.model.amounts[label] = self.model.amounts.get(label, 0) + row.change
        self.model.booked[row.movement] = (label, row.change)

    @rule(
        height=st.sampled_from([60, 70]),
        quantity=st.one_of(st.integers(1, 9), st.just(MOST)),
        place=st.sampled_from(["Shelf", "Drawer"]),
    )
    def receive(self, height: int, quantity: int, place: str) -> None:
        label = self.model.sizes.get((height, place))
        refused = label is not None and not self.model.fits(label, quantity)
        try:
            with self.shop.begin() as session:
                label = add_sheets(
                    session, "Card", (cm(50), cm(height)), quantity, place=place
                ).label
                self.note(session, label)
        except Refusal:
            assert refused
        else:
            assert not refused
            assert self.model.sizes.setdefault((height, place), label) == label

    @rule(size=st.integers(5, 30))
    def keep(self, size: int) -> None:
        with self.shop.begin() as session:
            label = add_offcut(session, "Card", (cm(size), cm(20))).label
            assert label not in self.model.amounts
            self.note(session, label)

    @rule(data=st.data(), quantity=st.integers(1, 3))
    def spoil(self, data: st.DataObject, quantity: int) -> None:
        label = data.draw(st.sampled_from(sorted(self.model.amounts)))
        try:
            with self.shop.begin() as session:
                stash.spoil(session, label, quantity)
                self.note(session, label)
        except Refusal:
            assert not self.model.fits(label, -quantity)

    @rule(data=st.data(), found=st.integers(0, 12))
    def count(self, data: st.DataObject, found: int) -> None:
        label = data.draw(st.sampled_from(sorted(self.model.amounts)))
        change = found - self.model.amounts[label]
        try:
            with self.shop.begin() as session:
                movement = stash.count_stock(session, label, found)
                assert (movement is None) == (change == 0)
                if movement is not None:
                    self.note(session, label)
        except Refusal:
            assert not self.model.fits(label, change)

    @precondition(lambda self: self.model.booked)
    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.booked)))
        label, change = self.model.booked[number]
        possible = number not in self.model.taken_back and self.model.fits(label, -change)
        try:
            with self.shop.begin() as session:
                back = ledger.undo(session, session.get_one(Movement, number)).id
        except Refusal:
            assert not possible
        else:
            assert possible
            self.model.taken_back |= {number, back}
            self.model.amounts[label] -= change
            self.model.booked[back] = (label, -change)

    @rule(data=st.data())
    def fail_half_way(self, data: st.DataObject) -> None:
        label = data.draw(st.sampled_from(sorted(self.model.amounts)))
        with pytest.raises(KeyboardInterrupt), self.shop.begin() as session:  # noqa: PT012
            add_offcut(session, "Card", (cm(20), cm(20)))
            stash.count_stock(session, label, 0)
            raise KeyboardInterrupt

    # --- orders and batches

    @rule(width=st.integers(8, 12), copies=st.integers(1, 6))
    def order(self, width: int, copies: int) -> None:
        sizes = {"width": f"{width}cm", "height": "15cm", "mats": "none"}
        with self.shop.begin() as session:
            made, _ = add_order(
                session, "Ines", "folded-card", sizes, {"all": "Card"}, copies, TODAY, TODAY
            )
        assert made.id not in self.model.orders
        self.model.orders[made.id] = Status.CONFIRMED

    @rule()
    def plan(self) -> None:
        waiting = [n for n, status in self.model.orders.items() if status is Status.CONFIRMED]
        try:
            plan = plan_batch(self.shop, effort=Effort.QUICK, today=TODAY)
        except Refusal:
            assert not waiting
            return
        assert sorted(order.number for order in plan.orders) == waiting
        made = [order.number for order in plan.orders if order.made]
        assert (plan.batch is None) == (not made)
        if plan.batch is None:
            return
        takes: Counter[str] = Counter()
        for layout in plan.layouts:
            takes[layout.sheet.label] += layout.copies
        free = Counter(self.model.amounts)
        free.subtract(self.model.reserved())
        assert all(free[label] >= number for label, number in takes.items())
        kept = sum(layout.copies * len(layout.offcuts) for layout in plan.layouts)
        self.model.batches[plan.batch] = Planned(takes, kept, made)
        for order in made:
            self.model.orders[order] = Status.PLANNED

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data())
    def cut(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.batches)))
        batch = self.model.batches[number]
        there = all(self.model.amounts[label] >= n for label, n in batch.takes.items())
        possible = batch.status is BatchStatus.OPEN and there
        last = max(self.model.booked)
        try:
            with self.shop.begin() as session:
                kept = cut_batch(session, number)
                lines = session.query(Movement).where(Movement.id > last).all()
                booked = {one.id: (one.stock.label, one.change) for one in lines}
        except Refusal:
            assert not possible
            return
        assert possible
        assert len(kept) == batch.offcuts
        changes: Counter[str] = Counter()
        for label, change in booked.values():
            changes[label] += change
        assert {k: v for k, v in changes.items() if v < 0} == {
            k: -v for k, v in batch.takes.items()
        }
        assert {k: v for k, v in changes.items() if v > 0} == {one.label: 1 for one in kept}
        for label, change in changes.items():
            self.model.amounts[label] = self.model.amounts.get(label, 0) + change
        # What a batch did is taken back with the batch, not line by line.
        batch.status = BatchStatus.CUT
        for order in batch.orders:
            if self.model.orders[order] is Status.PLANNED:
                self.model.orders[order] = Status.CUT

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data())
    def drop(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.batches)))
        batch = self.model.batches[number]
        try:
            with self.shop.begin() as session:
                drop_batch(session, number)
        except Refusal:
            assert batch.status is not BatchStatus.OPEN
            return
        assert batch.status is BatchStatus.OPEN
        batch.status = BatchStatus.DROPPED
        for order in batch.orders:
            if self.model.orders[order] is Status.PLANNED:
                self.model.orders[order] = Status.CONFIRMED

    @precondition(lambda self: self.model.orders)
    @rule(data=st.data(), wanted=st.sampled_from(sorted(Status)))
    def move(self, data: st.DataObject, wanted: Status) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.orders)))
        status = self.model.orders[number]
        if status is Status.PLANNED or wanted is Status.PLANNED:
            return  # that happens with a batch alone
        try:
            with self.shop.begin() as session:
                set_status(session, get_order(session, number), wanted)
        except Refusal:
            assert wanted not in STEPS.get(status, set())
        else:
            assert wanted in STEPS[status]
            self.model.orders[number] = wanted

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        with self.shop.read() as session:
            listed = stash.list_stash(session, include_empty=True)
            assert {row.label: row.quantity for row in listed} == self.model.amounts
            assert reserved(session) == +self.model.reserved()
            for number, status in self.model.orders.items():
                assert get_order(session, number).status is status
            for number, batch in self.model.batches.items():
                assert get_batch(session, number).status is batch.status


Shop.TestCase.settings = settings(
    max_examples=RUNS,
    stateful_step_count=50,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
test_shop = Shop.TestCase
