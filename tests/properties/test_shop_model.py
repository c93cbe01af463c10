"""Random deeds at a shop, held after each one against a model in plain Python.

``QUIREBOX_RUNS=500 python -m pytest tests/properties/test_shop_model.py`` makes it long: so many
runs of 50 deeds each.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections import Counter
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, assume, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import func, select

from inventory.changes import order_status, undo
from inventory.database.open import open_shop
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Transaction as BookedDeed
from inventory.database.tables.orders import Batch as BookedBatch
from inventory.database.tables.orders import Order as BookedOrder
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order, missing_pieces
from inventory.production import cutting, spoiling
from inventory.production.mending import mend_batch
from inventory.production.planning import confirm_batch, plan_batch
from inventory.purchasing import prices, purchases, suppliers
from inventory.stock import adjust, listing, lookup, supplies
from inventory.stock.condition import book_damage, change_margins
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_offcut, add_sheets
from inventory.stock.reservations import reserved_quantities
from inventory.stock.stocktake import CountLine, book_counts
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort, Margins, Rect
from tests.shopmodel import MOST, Deed, Lost, Model, Order, Stack

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

RUNS = int(os.environ.get("QUIREBOX_RUNS", "5"))
TODAY = date(2027, 3, 1)
PLACES = st.sampled_from(["Shelf", "Drawer", "Box"])
SMALL = st.integers(1, 3)
BOUGHT, PACK = (cm(50), cm(65)), 5
"""What is bought: sheets of a size that no other sheets have."""


@cache
def template() -> Path:
    path = Path(tempfile.mkdtemp(prefix="quirebox-test-")) / "shop.sqlite"
    with open_shop(path, create=True) as shop, shop.begin() as session:
        add_paper(session, "Card", colour="white", grammage=300)
        supplies.add_supply(session, "Satin", "reel")
        suppliers.set_supplier(session, "Mill", days=3)
        prices.set_price(session, "Mill", "Card", BOUGHT, Decimal(10), pack=PACK, day=TODAY)
    return path


@pytest.fixture(scope="module", autouse=True)
def _tidy():
    yield
    shutil.rmtree(template().parent)


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
        stacks, wanted = self.model.stash, self.model.reserved()
        lacking = {label for label in wanted if wanted[label] > stacks[label].amount}
        assert {one.where for one in report.notices} == lacking
        if len(self.model.deeds) % 5 == 0:  # it takes as long as all the deeds of a run
            self.it_comes_back_from_plain_files()

    def it_comes_back_from_plain_files(self) -> None:
        export_shop(self.shop, self.folder / "first.zip")
        import_shop(self.folder / "first.zip", self.folder / "again.sqlite")
        with open_shop(self.folder / "again.sqlite") as again:
            export_shop(again, self.folder / "second.zip")
        first, second = (self.folder / name for name in ("first.zip", "second.zip"))
        assert first.read_bytes() == second.read_bytes()

    @contextmanager
    def deed(self, possible: bool) -> Iterator[Session]:
        """Give a transaction for a deed that must be refused unless it is possible."""
        said = None
        try:
            with self.shop.begin() as session:
                yield session
        except Refusal as refusal:
            said = refusal
        assert (said is None) == possible, said

    # --- the stash

    @initialize(quantity=st.integers(1, 30), copies=st.lists(st.integers(1, 6), max_size=3))
    def begin(self, quantity: int, copies: list[int]) -> None:
        self.receive(70, quantity, "Shelf")
        for number in copies:
            self.order(10, number, False)
        self.plan(False)

    @rule(
        height=st.sampled_from([60, 70]),
        quantity=st.one_of(*[st.integers(1, 9)] * 4, st.just(MOST)),
        place=PLACES,
    )
    def receive(self, height: int, quantity: int, place: str) -> None:
        size = (cm(50), cm(height))
        joins = self.model.equal(size, place)
        possible = joins is None or self.model.fits(Counter({joins: quantity}))
        with self.deed(possible) as session:
            label = add_sheets(session, "Card", size, quantity, place=place).label
        if possible:
            assert (label == joins) if joins else (label not in self.model.stash)
            self.model.stash.setdefault(label, Stack(size, place))
            self.model.book(Deed(Reason.RECEIVED, Counter({label: quantity})))

    @rule(size=st.integers(5, 30), quantity=st.sampled_from([1, 1, 2, 5]))
    def keep(self, size: int, quantity: int) -> None:
        with self.deed(True) as session:
            label = add_offcut(session, "Card", (cm(size), cm(20)), quantity).label
        assert label not in self.model.stash
        self.model.stash[label] = Stack((cm(size), cm(20)), None)
        self.model.book(Deed(Reason.KEPT, Counter({label: quantity})))

    @rule(data=st.data())
    def damage(self, data: st.DataObject) -> None:
        label = self.any_label(data)
        stack = self.model.stash[label]
        possible = self.model.can_damage(label)
        with self.deed(possible) as session:
            to = book_damage(session, label, Rect(0, 0, cm(1), cm(1))).label
        if not possible:
            return
        changes: Counter[str] = Counter()
        if self.model.is_pile(label):
            assert to.startswith("K-")
            assert to not in self.model.stash
            self.model.stash[to] = Stack(stack.size, stack.place, margin=stack.margin)
            changes = Counter({label: -1, to: 1})
        else:
            assert to == label
        self.model.book(Deed(Reason.DAMAGED, changes, damaged=to))

    def any_label(self, data: st.DataObject) -> str:
        return data.draw(st.sampled_from(sorted(self.model.stash)))

    @rule(data=st.data(), quantity=SMALL)
    def spoil(self, data: st.DataObject, quantity: int) -> None:
        changes = Counter({self.any_label(data): -quantity})
        possible = self.model.fits(changes)
        with self.deed(possible) as session:
            adjust.spoil_stock(session, *changes, quantity)
        if possible:
            self.model.book(Deed(Reason.SPOILED, changes))

    @rule(data=st.data(), found=st.integers(0, 12))
    def count(self, data: st.DataObject, found: int) -> None:
        label = self.any_label(data)
        changes = Counter({label: found - self.model.stash[label].amount})
        possible = self.model.fits(changes)
        with self.deed(possible) as session:
            movement = adjust.count_stock(session, label, found)
            assert (movement is None) == (changes[label] == 0)
        if possible:
            self.model.book(Deed(Reason.COUNTED, changes))

    @rule(data=st.data(), founds=st.lists(st.integers(0, 12), min_size=1, max_size=3))
    def take_stock(self, data: st.DataObject, founds: list[int]) -> None:
        labels = data.draw(st.permutations(sorted(self.model.stash)))
        found = dict(zip(labels, founds, strict=False))
        there = {label: self.model.stash[label].amount for label in found}
        changes = Counter({label: found[label] - there[label] for label in found})
        possible = self.model.fits(changes)
        with self.deed(possible) as session:
            lines = [CountLine(label, number, there[label]) for label, number in found.items()]
            differences = book_counts(session, lines, "a wet Sunday")
            assert {one.label for one in differences} == {one for one in found if changes[one]}
        if possible:
            self.model.book(Deed(Reason.COUNTED, changes))

    @rule(data=st.data(), place=PLACES, quantity=st.one_of(st.none(), st.integers(1, 9)))
    def put(self, data: st.DataObject, place: str, quantity: int | None) -> None:
        label = self.any_label(data)
        stack = self.model.stash[label]
        whole = quantity in (None, stack.amount)
        target = self.model.joins(label, place, stack.margin)
        possible = whole or self.model.can_split(label, quantity or 0, place)
        with self.deed(possible) as session:
            to = adjust.set_stock_place(session, label, place, quantity).label
        if whole:
            stack.place = place
        elif possible:
            assert (to == target) if target else (to not in self.model.stash)
            self.model.stash.setdefault(to, Stack(stack.size, place, margin=stack.margin))
            self.model.book(Deed(Reason.MOVED, Counter({label: -quantity, to: quantity})))

    @rule(
        data=st.data(),
        margin=st.sampled_from([0, cm(1), cm(1)]),
        quantity=st.one_of(st.none(), st.integers(1, 3)),
    )
    def change_margin(self, data: st.DataObject, margin: int, quantity: int | None) -> None:
        label = self.any_label(data)
        stack = self.model.stash[label]
        number = quantity or max(1, stack.amount)
        possible = self.model.can_change_margin(label, margin, number)
        with self.deed(possible) as session:
            to = change_margins(session, label, Margins(*[margin] * 4), quantity).label
        if possible:
            joins = self.model.joins(label, stack.place, margin)
            assert (to == joins) if joins else (to not in self.model.stash)
            self.model.stash.setdefault(to, Stack(stack.size, stack.place, margin=margin))
            damaged = to if self.model.is_damaged(label) else None
            changes = Counter({label: -number, to: number})
            self.model.book(Deed(Reason.MOVED, changes, damaged=damaged))

    @rule(data=st.data())
    def fail_half_way(self, data: st.DataObject) -> None:
        label = self.any_label(data)
        with pytest.raises(KeyboardInterrupt), self.shop.begin() as session:  # noqa: PT012
            add_offcut(session, "Card", (cm(20), cm(20)))
            adjust.count_stock(session, label, 0)
            raise KeyboardInterrupt

    # --- supplies

    @rule(length=st.integers(50, 300), reels=st.integers(1, 2))
    def receive_reels(self, length: int, reels: int) -> None:
        with self.deed(True) as session:
            made = supplies.receive_supply(session, "Satin", cm(length), items=reels)
        labels = Counter({one.label: cm(length) for one in made})
        assert len(labels) == reels
        assert not labels.keys() & self.model.reels.keys()
        self.model.book(Deed(Reason.RECEIVED, supplies=labels))

    @rule(data=st.data(), length=st.integers(20, 90), quantity=st.integers(1, 5))
    def cut_lengths(self, data: st.DataObject, length: int, quantity: int) -> None:
        batch = data.draw(st.sampled_from([None, *sorted(self.model.batches)]))
        possible = self.model.can_cut_lengths(cm(length), quantity)
        with self.deed(possible) as session:
            cuts = supplies.use_lengths(session, "Satin", [(cm(length), quantity)], batch=batch)
        if possible:
            assert [one for cut in cuts for one in cut.lengths] == [cm(length)] * quantity
            taken = Counter({cut.reel.name: -sum(cut.lengths) for cut in cuts})
            self.model.book(Deed(Reason.USED, supplies=taken, batch=batch))
            assert min(self.model.reels.values()) >= 0

    @precondition(lambda self: self.model.reels)
    @rule(data=st.data(), found=st.integers(0, 200))
    def count_reel(self, data: st.DataObject, found: int) -> None:
        label = data.draw(st.sampled_from(sorted(self.model.reels)))
        with self.deed(True) as session:
            supplies.count_supply(session, label, cm(found))
        change = Counter({label: cm(found) - self.model.reels[label]})
        self.model.book(Deed(Reason.COUNTED, supplies=change))

    # --- purchases

    @rule(packs=st.integers(1, 4))
    def buy(self, packs: int) -> None:
        with self.deed(True) as session:
            wish = purchases.PurchaseLineRequest("Card", BOUGHT, packs)
            made = purchases.add_purchase(session, "Mill", [wish], today=TODAY)
        assert made.id not in self.model.purchases
        self.model.purchases[made.id] = packs
        self.model.book(Deed(Reason.ORDERED, purchase=made.id))

    def any_purchase(self, data: st.DataObject) -> int:
        return data.draw(st.sampled_from(sorted(self.model.purchases)))

    @precondition(lambda self: self.model.purchases)
    @rule(data=st.data(), packs=st.one_of(st.none(), SMALL), place=PLACES)
    def come(self, data: st.DataObject, packs: int | None, place: str) -> None:
        number = self.any_purchase(data)
        came = self.model.to_come(number) if packs is None else packs
        joins = self.model.equal(BOUGHT, place)
        possible = 0 < came <= self.model.to_come(number)
        with self.deed(possible) as session:
            lines = None if packs is None else {1: purchases.ReceivedPacks(packs)}
            (stock,), _ = purchases.receive_purchase(
                session, number, lines, place=place, today=TODAY
            )
            label = stock.label
        if possible:
            assert (label == joins) if joins else (label not in self.model.stash)
            self.model.stash.setdefault(label, Stack(BOUGHT, place))
            changes = Counter({label: came * PACK})
            self.model.book(Deed(Reason.RECEIVED, changes, purchase=number, came=came))

    @precondition(lambda self: self.model.purchases)
    @rule(data=st.data())
    def close(self, data: st.DataObject) -> None:
        number = self.any_purchase(data)
        possible = self.model.to_come(number) > 0
        with self.deed(possible) as session:
            purchases.close_purchase(session, number)
        if possible:
            self.model.book(Deed(Reason.CLOSED, purchase=number))

    # --- orders

    @rule(
        width=st.integers(8, 12),
        copies=st.integers(1, 6),
        draft=st.sampled_from([False, False, False, True]),
    )
    def order(self, width: int, copies: int, draft: bool) -> None:
        sizes = {"width": f"{width}cm", "height": "15cm", "mats": "none"}
        with self.deed(True) as session:
            made, _ = add_order(
                session, "Ines", "folded-card", sizes, {"all": "Card"}, copies, TODAY, TODAY,
                draft=draft,
            )  # fmt: skip
        assert made.id not in self.model.orders
        self.model.orders[made.id] = Order(
            copies, OrderStatus.DRAFT if draft else OrderStatus.CONFIRMED
        )

    @precondition(lambda self: self.model.orders)
    @rule(data=st.data(), wanted=st.sampled_from(sorted({*OrderStatus} - {OrderStatus.CANCELLED})))
    def move(self, data: st.DataObject, wanted: OrderStatus) -> None:
        orders = self.model.orders
        forward = [n for n, one in orders.items() if one.status is not OrderStatus.DELIVERED]
        assume(forward)
        number = data.draw(st.sampled_from(sorted(forward)))
        possible = self.model.can_move(number, wanted)
        with self.deed(possible) as session:
            order_status.move_order(session, number, wanted)
        if possible:
            self.model.move(number, wanted)

    # --- batches

    @rule(draft=st.sampled_from([False, False, True]))
    def plan(self, draft: bool) -> None:
        orders = self.model.orders
        waiting = [n for n, order in orders.items() if order.status is OrderStatus.CONFIRMED]
        try:
            plan = plan_batch(self.shop, effort=Effort.QUICK, draft=draft, today=TODAY)
        except Refusal:
            assert not waiting
            return
        assert sorted(order.number for order in plan.orders) == waiting
        made = [order.number for order in plan.orders if order.made]
        assert (plan.batch is None) == (not made)
        if plan.batch is None:
            return
        batch = self.model.add_batch(plan, BatchStatus.DRAFT if draft else BatchStatus.OPEN)
        assert batch.pieces == Counter({one: orders[one].copies for one in made})
        if not draft:
            self.model.orders_become(batch, OrderStatus.CONFIRMED, OrderStatus.PLANNED)

    @rule(width=st.integers(8, 12), copies=st.integers(1, 6), draft=st.booleans())
    def order_and_plan(self, width: int, copies: int, draft: bool) -> None:
        self.order(width, copies, False)
        self.plan(draft)

    def any_batch(self, data: st.DataObject) -> int:
        """Choose a batch; those of which something is to be cut are likelier."""
        batches = self.model.batches
        waiting = [n for n, one in batches.items() if one.status is BatchStatus.OPEN]
        return data.draw(st.sampled_from([*sorted(batches), *waiting * 2]))

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data())
    def confirm(self, data: st.DataObject) -> None:
        number = self.any_batch(data)
        possible = self.model.can_confirm(number)
        with self.deed(possible) as session:
            confirm_batch(session, number)
        if possible:
            batch = self.model.batches[number]
            batch.status = BatchStatus.OPEN
            self.model.orders_become(batch, OrderStatus.CONFIRMED, OrderStatus.PLANNED)

    @precondition(lambda self: self.model.batches)
    @rule(
        data=st.data(),
        layout=st.one_of(st.none(), st.integers(1, 3)),
        copies=st.one_of(st.none(), SMALL),
        place=st.one_of(st.none(), PLACES),
    )
    def cut(
        self, data: st.DataObject, layout: int | None, copies: int | None, place: str | None
    ) -> None:
        self._cut(self.any_batch(data), layout, copies, place)

    def _cut(self, number: int, layout: int | None, copies: int | None, place: str | None) -> None:
        chosen = self.model.to_cut(number, layout, copies)
        with self.deed(chosen is not None) as session:
            kept = cutting.cut_batch(session, number, layout=layout, copies=copies, place=place)
        if chosen is None:
            return
        for key, which in chosen.items():
            its = self.model.batches[number].layouts[key]
            new = {one.label: one.quantity for one in kept if one.layout == key}
            assert new == {label: each * len(which) for label, each in its.offcuts.items()}
            changes = Counter({its.sheet: -len(which)})
            for label, quantity in new.items():
                where = self.model.where_offcuts_go(label, its.sheet, place)
                size = self.model.batches[number].kinds[label]
                self.model.stash.setdefault(label, Stack(size, where)).place = where
                changes[label] = quantity
            self.model.book(Deed(Reason.CUT, changes, batch=number, layout=key, copies=which))
        self.model.settle(number)

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data(), copies=st.one_of(st.none(), SMALL))
    def cut_the_next(self, data: st.DataObject, copies: int | None) -> None:
        number = self.any_batch(data)
        self._cut(number, min(self.model.left(number), default=1), copies, "Box")

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data())
    def drop(self, data: st.DataObject) -> None:
        number = self.any_batch(data)
        possible = self.model.can_drop(number)
        with self.deed(possible) as session:
            cutting.drop_batch(session, number)
        if possible:
            self.model.drop(number)

    # --- what is spoiled

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data(), layout=SMALL, mend=st.booleans())
    def spoil_sheet(self, data: st.DataObject, layout: int, mend: bool) -> None:
        number = self.any_batch(data)
        chosen = self.model.to_cut(number, layout, 1)
        with self.deed(chosen is not None) as session:
            spoiling.spoil_layout(session, number, layout, "the knife slipped")
        if chosen is None:
            return
        its = self.model.batches[number].layouts[layout]
        (copy,) = chosen[layout]
        lost = [Lost(order, quantity) for order, quantity in its.copies[copy - 1].items()]
        changes = Counter({its.sheet: -1})
        self.model.book(Deed(Reason.SPOILED, changes, Counter(), number, layout, (copy,), lost))
        self.model.settle(number)
        if mend:
            self._mend(number)

    @precondition(lambda self: self.model.batches)
    @rule(data=st.data(), quantity=SMALL, mend=st.booleans())
    def spoil_piece(self, data: st.DataObject, quantity: int, mend: bool) -> None:
        pairs = [(n, order) for n, one in self.model.batches.items() for order in one.orders]
        cut = [(n, order) for n, order in pairs if self.model.cut_pieces(order, n)]
        number, order = data.draw(st.sampled_from(pairs + cut * 3))
        there = self.model.cut_pieces(order, number)
        possible = there >= quantity
        with self.deed(possible) as session:
            plan = lookup.plan_of(lookup.get_batch(session, number))
            name = plan.parts[0].piece.name
            spoiling.spoil_piece(session, number, name, quantity, order=order)
        if possible:
            self.model.book(Deed(Reason.SPOILED, batch=number, lost=[Lost(order, quantity)]))
            if mend:
                self._mend(number)

    @precondition(lambda self: any(True for _ in self.model.losses()))
    @rule(data=st.data())
    def mend(self, data: st.DataObject) -> None:
        spoiled = sorted({deed.batch or 0 for deed, _ in self.model.losses()})
        self._mend(data.draw(st.sampled_from(spoiled)))

    def _mend(self, number: int) -> None:
        wanted = self.model.to_mend(number)
        try:
            plan = mend_batch(self.shop, number, effort=Effort.QUICK, today=TODAY)
        except Refusal:
            assert not wanted
            return
        assert {order.number for order in plan.orders} == {lost.order for lost in wanted}
        if plan.batch is None:
            assert not any(order.made for order in plan.orders)
            return
        batch = self.model.add_batch(plan, BatchStatus.OPEN, number)
        mended = [lost for lost in wanted if lost.order in batch.orders]
        assert batch.pieces.total() == sum(lost.quantity for lost in mended)
        for lost in mended:
            lost.mended = plan.batch

    # --- taking back

    @rule(data=st.data())
    def take_back(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.model.deeds)))
        self._take_back(number)

    @rule()
    def take_back_the_last(self) -> None:
        standing = [number for number, deed in self.model.deeds.items() if deed.stands]
        if standing:
            self._take_back(max(standing))

    def _take_back(self, number: int) -> None:
        possible = self.model.can_take_back(number)
        with self.deed(possible) as session:
            undo.undo_transaction(session, number)
        if possible:
            self.model.take_back(number)

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        model = self.model
        with self.shop.read() as session:
            listed = listing.list_stash(session, include_empty=True)
            assert {
                row.label: Stack((row.width, row.height), row.place, row.quantity, row.margins.left)
                for row in listed
            } == model.stash
            assert reserved_quantities(session) == +model.reserved()
            reels = supplies.list_supplies(session, include_empty=True)
            assert {row.label: row.remaining for row in reels} == dict(model.reels)
            orders = dict(session.execute(select(BookedOrder.id, BookedOrder.status)).all())
            assert orders == {number: order.status for number, order in model.orders.items()}
            batches = session.execute(
                select(BookedBatch.id, BookedBatch.status, BookedBatch.mends_id)
            ).all()
            assert batches == [(n, one.status, one.mends) for n, one in model.batches.items()]
            lost = sum(one.quantity for one in spoiling.spoiled_pieces(session, mended=True))
            assert lost == sum(one.quantity for _, one in model.losses())
            assert missing_pieces(session) == +Counter(
                {number: model.missing(number) for number in model.orders}
            )
            assert session.scalar(select(func.count(BookedDeed.id))) == len(model.deeds)
            coming = {one.purchase: one.sheets for one in purchases.scheduled_receipts(session)}
            assert coming == {
                number: PACK * packs
                for number in model.purchases
                if (packs := model.to_come(number))
            }

    @invariant()
    def no_piece_is_made_twice_or_forgotten(self) -> None:
        made = (OrderStatus.CUT, OrderStatus.ASSEMBLED, OrderStatus.DELIVERED)
        for number, order in self.model.orders.items():
            if order.status not in made:
                continue
            there, missing = self.model.cut_pieces(number), self.model.missing(number)
            assert there + missing == order.copies, (number, there, missing)


Shop.TestCase.settings = settings(
    max_examples=RUNS,
    stateful_step_count=50,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
test_shop = Shop.TestCase
