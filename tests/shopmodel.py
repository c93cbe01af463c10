"""A shop in plain Python, without a database: what its book must say after random deeds."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from inventory.core.plan import Plan

__all__ = ["Batch", "Deed", "Layout", "Lost", "Model", "Order", "Stack"]

MOST = 1_000_000
BY_HAND = {
    OrderStatus.DRAFT: {OrderStatus.CONFIRMED},
    OrderStatus.CUT: {OrderStatus.ASSEMBLED},
    OrderStatus.ASSEMBLED: {OrderStatus.DELIVERED},
}
"""Where a maker may move an order forward; the other ways it goes with its batch.

Cancelling and reopening, with their spare pieces, are held against
`tests/properties/test_changing_weeks.py`.
"""


@dataclass
class Stack:
    """Equal sheets, or equal offcuts; `most` is how many there ever were at once."""

    size: tuple[int, int]
    place: str | None
    amount: int = 0
    margin: int = 0
    most: int = field(default=0, compare=False)


@dataclass
class Order:
    copies: int
    status: OrderStatus


@dataclass(frozen=True)
class Layout:
    """What is cut from a sheet: for each copy the orders its pieces are for.

    `offcuts` says how many of each label a copy leaves.
    """

    sheet: str
    copies: tuple[Counter[int], ...]
    offcuts: Counter[str]


@dataclass
class Batch:
    layouts: dict[int, Layout]
    orders: list[int]
    status: BatchStatus
    mends: int | None = None
    kinds: dict[str, tuple[int, int]] = field(default_factory=dict)
    """The size of the offcuts of each label."""

    @property
    def takes(self) -> Counter[str]:
        taken: Counter[str] = Counter()
        for layout in self.layouts.values():
            taken[layout.sheet] += len(layout.copies)
        return taken

    @property
    def pieces(self) -> Counter[int]:
        """How many pieces the plan has for each order."""
        return sum((one for lay in self.layouts.values() for one in lay.copies), Counter())


@dataclass
class Lost:
    """Pieces that were spoiled; `mended` is the batch in which they are cut again."""

    order: int
    quantity: int
    mended: int | None = None


@dataclass
class Deed:
    reason: Reason
    changes: Counter[str] = field(default_factory=Counter)
    supplies: Counter[str] = field(default_factory=Counter)
    batch: int | None = None
    layout: int | None = None
    copies: tuple[int, ...] = ()
    lost: list[Lost] = field(default_factory=list)
    purchase: int | None = None
    came: int = 0
    damaged: str | None = None
    """The label of what got a damaged area."""
    taken_back: bool = False

    @property
    def stands(self) -> bool:
        return not self.taken_back and self.reason is not Reason.UNDONE


@dataclass
class Model:
    """The whole shop; every `can_` says whether a deed must be done or refused."""

    stash: dict[str, Stack] = field(default_factory=dict)
    reels: Counter[str] = field(default_factory=Counter)
    orders: dict[int, Order] = field(default_factory=dict)
    batches: dict[int, Batch] = field(default_factory=dict)
    purchases: dict[int, int] = field(default_factory=dict)
    """How many packs were ordered."""
    deeds: dict[int, Deed] = field(default_factory=dict)

    # --- the stash

    def fits(self, changes: Counter[str]) -> bool:
        return all(
            0 <= self.stash[label].amount + change <= (1 if self.is_damaged(label) else MOST)
            for label, change in changes.items()
        )

    def is_damaged(self, label: str) -> bool:
        return any(deed.stands and deed.damaged == label for deed in self.deeds.values())

    def can_damage(self, label: str) -> bool:
        return self.stash[label].amount > self.reserved()[label]

    def is_pile(self, label: str) -> bool:
        """Whether what is damaged leaves its label to the others, which there are or may be."""
        return not label.startswith("K-") or self.stash[label].most > 1

    def where_offcuts_go(self, label: str, sheet: str, place: str | None) -> str | None:
        """Return where a pile lies to which offcuts of a sheet come."""
        if place is not None:
            return place
        pile = self.stash.get(label)
        return pile.place if pile is not None and pile.amount else self.stash[sheet].place

    def equal(self, size: tuple[int, int], place: str | None, margin: int = 0) -> str | None:
        """Return the label of such sheets, of several the lowest."""
        labels = (
            label
            for label, one in self.stash.items()
            if label.startswith("S") and (one.size, one.place, one.margin) == (size, place, margin)
        )
        return min(labels, key=lambda label: int(label[2:]), default=None)

    def joins(self, label: str, place: str | None, margin: int) -> str | None:
        """Return the label that some of a label join elsewhere; None if they get a new one."""
        sheets = label.startswith("S")
        return self.equal(self.stash[label].size, place, margin) if sheets else None

    def book(self, deed: Deed) -> None:
        """Write down a deed under the next number, and do what it does to stash and supplies."""
        self.deeds[len(self.deeds) + 1] = deed
        for label, change in deed.changes.items():
            stack = self.stash[label]
            stack.amount += change
            stack.most = max(stack.most, stack.amount)
        for label, change in deed.supplies.items():
            self.reels[label] += change

    def can_split(self, label: str, quantity: int, place: str) -> bool:
        """Whether so many, and not all, may be put elsewhere."""
        stack = self.stash[label]
        if label.startswith("K") and place == stack.place:
            return False
        target = self.joins(label, place, stack.margin)
        return (
            quantity < stack.amount
            and stack.amount - quantity >= self.reserved()[label]
            and target != label
            and (target is None or self.fits(Counter({target: quantity})))
        )

    def can_change_margin(self, label: str, margin: int, quantity: int) -> bool:
        """Whether so many may have another margin, and so another label, from now on."""
        stack = self.stash[label]
        target = self.joins(label, stack.place, margin)
        return (
            stack.margin != margin
            and quantity <= stack.amount
            and stack.amount - quantity >= self.reserved()[label]
            and (target is None or self.fits(Counter({target: quantity})))
        )

    def can_cut_lengths(self, length: int, quantity: int) -> bool:
        return sum(left // length for left in self.reels.values()) >= quantity

    # --- purchases

    def to_come(self, purchase: int) -> int:
        """Return how many packs of a purchase are waited for."""
        deeds = [one for one in self.deeds.values() if one.stands and one.purchase == purchase]
        reasons = {one.reason for one in deeds}
        if Reason.ORDERED not in reasons or Reason.CLOSED in reasons:
            return 0
        return self.purchases[purchase] - sum(one.came for one in deeds)

    def _is_ordered_for_others(self, deed: Deed) -> bool:
        """Whether something was done with what was ordered by a deed."""
        return deed.reason is Reason.ORDERED and any(
            one.stands and one is not deed and one.purchase == deed.purchase
            for one in self.deeds.values()
        )

    # --- batches

    def done(self, number: int) -> set[tuple[int, int]]:
        """Return which copies of which layouts are cut or spoiled."""
        return {
            (deed.layout, copy)
            for deed in self.deeds.values()
            if deed.stands and deed.batch == number and deed.layout is not None
            for copy in deed.copies
        }

    def left(self, number: int) -> dict[int, tuple[int, ...]]:
        """Return by layout which copies are to be cut: those that somebody still waits for."""
        done = self.done(number)
        left = {
            key: tuple(
                copy
                for copy, orders in enumerate(layout.copies, start=1)
                if (key, copy) not in done and orders
            )
            for key, layout in self.batches[number].layouts.items()
        }
        return {key: copies for key, copies in left.items() if copies}

    def reserved(self) -> Counter[str]:
        taken: Counter[str] = Counter()
        for number, batch in self.batches.items():
            if batch.status is BatchStatus.OPEN:
                for key, copies in self.left(number).items():
                    taken[batch.layouts[key].sheet] += len(copies)
        return taken

    def is_free(self, takes: Counter[str]) -> bool:
        reserved = self.reserved()
        return all(self.stash[one].amount - reserved[one] >= n for one, n in takes.items())

    def add_batch(self, plan: Plan, status: BatchStatus, mends: int | None = None) -> Batch:
        assert plan.batch == len(self.batches) + 1
        labels: dict[tuple[int, int], str] = {}  # there is one paper, and no grain is known
        for one in plan.layouts:
            for rect in one.offcuts:
                size = rect.width, rect.height
                labels.setdefault(size, f"K{plan.batch}-{len(labels) + 1}")
        layouts = {
            one.number: Layout(
                one.sheet.label,
                tuple(
                    Counter(spot.orders[copy] for spot in one.spots) for copy in range(one.copies)
                ),
                Counter(labels[rect.width, rect.height] for rect in one.offcuts),
            )
            for one in plan.layouts
        }
        made = [order.number for order in plan.orders if order.made]
        kinds = {label: size for size, label in labels.items()}
        self.batches[plan.batch] = batch = Batch(layouts, made, status, mends, kinds)
        assert self.is_free_without(plan.batch)
        assert sorted(batch.pieces) == sorted(made)
        return batch

    def is_free_without(self, number: int) -> bool:
        """Whether what a batch takes is not reserved by others."""
        batch = self.batches[number]
        status, batch.status = batch.status, BatchStatus.DRAFT
        free = self.is_free(batch.takes)
        batch.status = status
        return free

    def orders_become(self, batch: Batch, before: OrderStatus, after: OrderStatus) -> None:
        for order in batch.orders:
            if self.orders[order].status is before:
                self.orders[order].status = after

    def can_confirm(self, number: int) -> bool:
        batch = self.batches[number]
        return (
            batch.status is BatchStatus.DRAFT
            and all(self.orders[one].status is OrderStatus.CONFIRMED for one in batch.orders)
            and self.is_free(batch.takes)
        )

    def to_cut(
        self, number: int, layout: int | None, copies: int | None
    ) -> dict[int, tuple[int, ...]] | None:
        """Return which copies a maker cuts; None if that must be refused."""
        if self.batches[number].status is not BatchStatus.OPEN:
            return None
        chosen = self.left(number)
        if layout is None and copies is not None:
            return None
        if layout is not None:
            left = chosen.get(layout, ())
            chosen = {layout: left[:copies]} if len(left) >= (copies or 1) else {}
        takes: Counter[str] = Counter()
        for key, which in chosen.items():
            takes[self.batches[number].layouts[key].sheet] -= len(which)
        return chosen if chosen and self.fits(takes) else None

    def can_drop(self, number: int) -> bool:
        status = self.batches[number].status
        return status is BatchStatus.DRAFT or (status is BatchStatus.OPEN and not self.done(number))

    def drop(self, number: int) -> None:
        batch = self.batches[number]
        if batch.status is BatchStatus.OPEN and batch.mends is None:
            self.orders_become(batch, OrderStatus.PLANNED, OrderStatus.CONFIRMED)
        self._give_up(number)

    def _give_up(self, number: int) -> None:
        self.batches[number].status = BatchStatus.DROPPED
        for _, lost in self.losses():
            if lost.mended == number:
                lost.mended = None

    def settle(self, number: int) -> None:
        """Let a batch and its orders follow what is cut of it."""
        batch = self.batches[number]
        left = self.left(number)
        batch.status = BatchStatus.OPEN if left else BatchStatus.CUT
        if not left and not self.done(number):
            self._give_up(number)
        if batch.mends is not None:
            return
        waiting = {
            order
            for key, copies in left.items()
            for copy in copies
            for order in batch.layouts[key].copies[copy - 1]
        }
        for order in batch.orders:
            now = self.orders[order]
            if now.status is OrderStatus.PLANNED and order not in waiting:
                now.status = OrderStatus.CUT
            elif now.status is OrderStatus.CUT and order in waiting:
                now.status = OrderStatus.PLANNED

    # --- pieces

    def losses(self) -> Iterator[tuple[Deed, Lost]]:
        """Give all losses that were not taken back."""
        for deed in self.deeds.values():
            if deed.stands:
                for lost in deed.lost:
                    yield deed, lost

    def cut_pieces(self, order: int, batch: int | None = None) -> int:
        """Return how many sound pieces of an order there are, perhaps only of one batch."""
        pieces = 0
        for deed in self.deeds.values():
            if not deed.stands or deed.batch is None or batch not in (None, deed.batch):
                continue
            if deed.reason is Reason.CUT and deed.layout is not None:
                layout = self.batches[deed.batch].layouts[deed.layout]
                pieces += sum(layout.copies[copy - 1][order] for copy in deed.copies)
            elif deed.layout is None:
                pieces -= sum(lost.quantity for lost in deed.lost if lost.order == order)
        return pieces

    def to_mend(self, number: int) -> list[Lost]:
        return [
            lost for deed, lost in self.losses() if deed.batch == number and lost.mended is None
        ]

    def missing(self, order: int) -> int:
        """Return how many spoiled pieces of an order are not cut again yet."""
        lost = sum(
            lost.quantity
            for _, lost in self.losses()
            if lost.order == order
            and (lost.mended is None or self.batches[lost.mended].status is not BatchStatus.CUT)
        )
        return lost - self._cut_again(order)

    def _cut_again(self, order: int) -> int:
        """Return how many pieces of an order are cut or lost in batches that mend and are open."""
        again = 0
        for number, batch in self.batches.items():
            if batch.mends is not None and batch.status is BatchStatus.OPEN:
                again += sum(
                    batch.layouts[key].copies[copy - 1][order] for key, copy in self.done(number)
                )
        return again

    # --- orders

    def can_move(self, number: int, wanted: OrderStatus) -> bool:
        order = self.orders[number]
        return wanted in BY_HAND.get(order.status, ()) and not (
            wanted is OrderStatus.ASSEMBLED and self.missing(number)
        )

    def move(self, number: int, wanted: OrderStatus) -> None:
        self.orders[number].status = wanted

    # --- taking back

    def can_take_back(self, number: int) -> bool:
        deed = self.deeds[number]
        back = Counter({label: -change for label, change in deed.changes.items()})
        reserved = self.reserved()
        return (
            deed.stands
            and (deed.batch is None or number == max(self._standing(deed.batch)))
            and all(lost.mended is None for lost in deed.lost)
            and not self._is_used(deed)
            and not self._is_ordered_for_others(deed)
            and self.fits(back)
            and all(
                reserved[label] <= max(self.stash[label].amount + change, 0)
                for label, change in back.items()
                if change < 0 and reserved[label]
            )
            and all(self.reels[label] >= change for label, change in deed.supplies.items())
        )

    def _standing(self, batch: int) -> Iterable[int]:
        return (n for n, one in self.deeds.items() if one.stands and one.batch == batch)

    def _is_used(self, deed: Deed) -> bool:
        """Whether what was cut has gone into a box already."""
        if deed.batch is None or deed.layout is None:
            return False
        layout = self.batches[deed.batch].layouts[deed.layout]
        return any(
            self.orders[order].status in (OrderStatus.ASSEMBLED, OrderStatus.DELIVERED)
            for copy in deed.copies
            for order in layout.copies[copy - 1]
        )

    def take_back(self, number: int) -> None:
        deed = self.deeds[number]
        deed.taken_back = True
        self.book(
            Deed(
                Reason.UNDONE,
                Counter({label: -change for label, change in deed.changes.items()}),
                Counter({label: -change for label, change in deed.supplies.items()}),
            )
        )
        if deed.batch is not None and deed.layout is not None:
            self.settle(deed.batch)
