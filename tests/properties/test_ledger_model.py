"""Random deeds upon the stash, held against a plain dictionary after each one."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from inventory.database.open import open_shop
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Movement
from inventory.stock import adjust, ledger, listing, lookup, papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import cm

MOST = 1_000_000
QUANTITIES = st.one_of(st.integers(1, 12), st.sampled_from([MOST - 1, MOST]))


@cache
def template() -> Path:
    """A shop with one paper, built once and copied for each run."""
    path = Path(tempfile.mkdtemp(prefix="quirebox-test-")) / "shop.sqlite"
    with open_shop(path, create=True) as shop, shop.begin() as session:
        papers.add_paper(session, "Card", colour="white", grammage=300)
    return path


@pytest.fixture(scope="module", autouse=True)
def _tidy():
    yield
    shutil.rmtree(template().parent)


class Ledger(RuleBasedStateMachine):
    """The model: how many of each label, and of each movement what it changed."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="quirebox-test-"))
        self.shop = open_shop(Path(shutil.copy(template(), self.folder)))
        self.amounts: dict[str, int] = {}
        self.sizes: dict[str, int] = {}
        self.booked: list[tuple[int, str, int]] = []
        self.taken_back: set[int] = set()

    def teardown(self) -> None:
        self.shop.close()
        shutil.rmtree(self.folder)

    def fits(self, label: str, change: int) -> bool:
        return 0 <= self.amounts[label] + change <= MOST

    def note(self, label: str, movement: int, change: int) -> None:
        self.amounts[label] += change
        self.booked.append((movement, label, change))

    @initialize(quantity=QUANTITIES)
    def begin(self, quantity: int) -> None:
        self.receive(3, quantity)

    @rule(height=st.integers(1, 3), quantity=QUANTITIES)
    def receive(self, height: int, quantity: int) -> None:
        label = next((k for k, v in self.sizes.items() if v == height), None)
        refused = label is not None and not self.fits(label, quantity)
        try:
            with self.shop.begin() as session:
                stock = receiving.add_sheets(session, "Card", (cm(1), cm(height)), quantity)
                label = stock.label
                movement = listing.stock_history(session, label)[-1].movement
        except Refusal:
            assert refused
        else:
            assert not refused
            self.sizes.setdefault(label, height)
            self.amounts.setdefault(label, 0)
            self.note(label, movement, quantity)

    @rule()
    def keep_offcut(self) -> None:
        with self.shop.begin() as session:
            label = receiving.add_offcut(session, "Card", (cm(1), cm(1))).label
            movement = listing.stock_history(session, label)[-1].movement
        assert label not in self.amounts
        self.amounts[label] = 0
        self.note(label, movement, 1)

    @rule(
        data=st.data(),
        change=st.one_of(st.integers(-12, 12), st.sampled_from([-MOST, MOST])),
        reason=st.sampled_from([Reason.CUT, Reason.SPOILED, Reason.COUNTED, Reason.RECEIVED]),
    )
    def move(self, data: st.DataObject, change: int, reason: Reason) -> None:
        label = data.draw(st.sampled_from(sorted(self.amounts)))
        signs = {Reason.CUT: -1, Reason.SPOILED: -1, Reason.RECEIVED: 1}
        meant = change * signs.get(reason, change) > 0
        movement = None
        try:
            with self.shop.begin() as session:
                stock = lookup.find_stock(session, label)
                movement = ledger.book_movement(session, stock, change, reason).id
        except Refusal:
            assert meant
            assert not self.fits(label, change)
        except ValueError:
            assert not meant
        else:
            assert meant
            assert self.fits(label, change)
            self.note(label, movement, change)

    @rule(data=st.data(), found=st.integers(0, 12))
    def count(self, data: st.DataObject, found: int) -> None:
        label = data.draw(st.sampled_from(sorted(self.amounts)))
        change = found - self.amounts[label]
        try:
            with self.shop.begin() as session:
                movement = adjust.count_stock(session, label, found)
        except Refusal:
            assert not self.fits(label, change)
        else:
            assert (movement is None) == (change == 0)
            if movement is not None:
                self.note(label, movement.id, change)

    @precondition(lambda self: self.booked)
    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        number, label, change = data.draw(st.sampled_from(self.booked))
        done = number in self.taken_back
        try:
            with self.shop.begin() as session:
                transaction = session.get_one(Movement, number).transaction
                reversal = ledger.reverse_transaction(session, transaction)
                counter = select(Movement.id).where(Movement.transaction_id == reversal.id)
                back = session.scalars(counter).one()
        except Refusal:
            assert done or not self.fits(label, -change)
        else:
            assert not done
            assert self.fits(label, -change)
            self.taken_back |= {number, back}
            self.note(label, back, -change)

    @rule(data=st.data())
    def fail_half_way(self, data: st.DataObject) -> None:
        label = data.draw(st.sampled_from(sorted(self.amounts)))
        with pytest.raises(KeyboardInterrupt), self.shop.begin() as session:  # noqa: PT012
            receiving.add_offcut(session, "Card", (cm(2), cm(2)))
            adjust.count_stock(session, label, 0)
            raise KeyboardInterrupt

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        with self.shop.read() as session:
            listed = listing.list_stash(session, include_empty=True)
            assert {row.label: row.quantity for row in listed} == self.amounts
            for label, amount in self.amounts.items():
                stock = lookup.find_stock(session, label)
                assert ledger.on_hand(session, stock) == amount
            assert len(ledger.on_hand_by_stock(session)) == len(self.amounts)
            in_stash = {row.label for row in listing.list_stash(session)}
            assert in_stash == {label for label, amount in self.amounts.items() if amount}


Ledger.TestCase.settings = settings(
    max_examples=15,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
test_ledger = Ledger.TestCase
