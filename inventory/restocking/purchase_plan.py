"""What to buy for orders, and to hold the levels set: the cheapest purchase, its proof, its dates.

It is solved together with the cutting (`nester.packing.purchase.purchase`), against what is free of
the stash and what is on its way.  Nothing is booked; `book_purchases` books it as purchases.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.database.tables.base import OrderStatus, StockKind
from inventory.orders.orders import list_orders
from inventory.production.planning import CuttingDemand, cutting_demand
from inventory.purchasing.optimizer_offers import listed_offers, supplier_terms_for
from inventory.purchasing.prices import SizeKey, current_offers, size_key
from inventory.purchasing.purchases import PurchaseLineRequest, add_purchase, scheduled_receipts
from inventory.purchasing.reorder_levels import is_low, level_key, list_levels
from inventory.restocking.restock_list import latest_order_date, paper_needed_by
from inventory.shop.settings import get_shop
from inventory.stock.listing import list_stash
from inventory.stock.papers import list_papers
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Refusal
from nester.core.lengths import Length, format_size
from nester.core.problem import Cuts, Effort, Problem, StockItem
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.core.sheet_sizes import Size
from nester.designs.demand import drop_conflicting_grain
from nester.packing import (
    never,
    purchase,
)
from nester.verify import (
    require_valid_purchase,
)

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.database.tables.base import Order, Paper
    from inventory.database.tables.purchasing import Purchase
    from inventory.purchasing.prices import ListedPack
    from nester.packing import (
        Progress,
        Stop,
    )

__all__ = [
    "FilledLevel",
    "PlanLine",
    "RestockPlan",
    "StockUse",
    "UnmadePieces",
    "book_purchases",
    "plan_purchase",
]


@dataclass(frozen=True)
class PlanLine:
    """Packs of one offer.

    Attributes
    ----------
    sheets, used
        How many sheets are in them, and how many of these the orders take.
    orders
        Numbers of the orders that are cut from it, what is due first first.
    needed, order_by
        The day on which it must be there for the first of them, and the last on which it may be
        ordered for that; None if no order needs it.
    """

    offer: ListedPack
    packs: int
    sheets: int
    used: int
    orders: tuple[int, ...]
    needed: date | None
    order_by: date | None

    @property
    def price(self) -> Fraction:
        """Of all its packs, in the shop's currency."""
        return Fraction(self.offer.price) * self.packs


class StockUse(NamedTuple):
    """What is used of a sheet or offcut of the stash, or of what is on its way, and what stays."""

    label: str
    paper: str
    width: Length
    height: Length
    used: int
    remaining: int
    purchase: int | None = None


class FilledLevel(NamedTuple):
    """A level that is to be held: how many of the sheets are there, and how many are bought."""

    paper: str
    width: Length
    height: Length
    target: int
    on_hand: int
    bought: int


class UnmadePieces(NamedTuple):
    """Pieces that fit no sheet on offer nor on hand."""

    paper: str
    piece: str
    width: Length
    height: Length
    quantity: int
    why: str
    orders: tuple[int, ...]


@dataclass(frozen=True)
class RestockPlan:
    """The cheapest purchase found.

    Attributes
    ----------
    shipping
        What each supplier takes for the delivery, in the shop's currency.
    stock_use
        What is used of what is there, or on its way.
    filled_levels
        Levels for which sheets are set aside or bought.
    bought
        The purchase with its layouts, as it was judged.
    """

    orders: tuple[Order, ...]
    lines: tuple[PlanLine, ...]
    shipping: Mapping[str, Fraction]
    stock_use: tuple[StockUse, ...]
    filled_levels: tuple[FilledLevel, ...]
    unmade: tuple[UnmadePieces, ...]
    bought: PaperPurchasePlan
    currency: str


_Key = tuple[str, SizeKey]
"""A paper, and what is equal for equal sizes of it."""


class _Level(NamedTuple):
    """A level that is set, and the name of the offer by which it would be filled."""

    paper: str
    key: SizeKey
    reorder_point: int
    target: int
    any_size: bool
    offer: str | None

    def counts(self, sheets: Mapping[_Key, int]) -> int:
        """Return how many of some sheets count to it."""
        if self.any_size:
            return sum(number for (paper, _), number in sheets.items() if paper == self.paper)
        return sheets.get((self.paper, self.key), 0)


class _LevelToFill(NamedTuple):
    """A level that is filled: how many sheets are set aside for it, and how many are lacking."""

    level: _Level
    on_hand: int
    shortfall: int


class _PurchaseData(NamedTuple):
    """All that is read of the book, at one moment.

    Attributes
    ----------
    on_hand
        How many sheets lie there and are not reserved, or are on their way.
    """

    cutting_demand: CuttingDemand | None
    problem: Problem
    offers_by_name: dict[str, tuple[Offer, ListedPack]]
    terms: tuple[SupplierTerms, ...]
    levels: list[_Level]
    on_hand: Mapping[_Key, int]
    papers: Mapping[str, Paper]
    purchase_of: dict[str, int]
    making_days: int
    currency: str


def plan_purchase(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    levels: bool = False,
    in_time: bool = False,
    cuts: Cuts = Cuts.STRAIGHT,
    ignore_grain: bool = False,
    effort: Effort = Effort.NORMAL,
    today: date,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> RestockPlan:
    """Return the cheapest purchase found with which orders can be made; nothing is booked.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    levels
        Also hold the levels set: what would be low (see
        `inventory.purchasing.reorder_levels.is_low`) once the orders are made is filled up to its
        target.  What lies there or is on its way counts, and is left alone up to that.
    in_time
        Only from offers that come in time for every order given.
    effort, processes, stop, on_progress
        As for `nester.packing.purchase.purchase`.

    Raises
    ------
    Refusal
        If there is nothing to buy for, nobody offers anything, or an order is not confirmed.
    """
    with shop_file.read() as session:
        book = _read(session, orders, levels, in_time, cuts, ignore_grain, today)
    offered = tuple(offer for offer, _ in book.offers_by_name.values())

    def buy(held: Sequence[_LevelToFill], effort: Effort) -> PaperPurchasePlan:
        also: Counter[str] = Counter()
        for one in held:
            if one.level.offer is not None:
                also[one.level.offer] += one.shortfall
        problem = replace(book.problem, stock=_unallocated_stock(book, held))
        found = purchase(
            problem,
            offered,
            book.terms,
            effort,
            extra_sheets=also,
            processes=processes,
            stop=stop,
            on_progress=on_progress,
        )
        require_valid_purchase(problem, offered, book.terms, found)
        return found

    held = _levels_to_fill(book, frozenset())
    if _may_get_low(book, held):
        # Which levels the orders bring down is seen well enough from a purchase found quickly.
        held = _levels_to_fill(book, _levels_low_after(book, held, buy(held, Effort.QUICK)))
    while True:
        bought = buy(held, effort)
        low = _levels_low_after(book, held, bought)
        if not low:
            return _build_plan(book, held, bought)
        held = _levels_to_fill(book, low.union(one.level for one in held))


def _read(
    session: Session,
    orders: Sequence[int],
    levels: bool,
    in_time: bool,
    cuts: Cuts,
    ignore_grain: bool,
    today: date,
) -> _PurchaseData:
    shop = get_shop(session)
    to_cut = None
    if orders or not levels or list_orders(session, status=OrderStatus.CONFIRMED):
        to_cut = cutting_demand(session, orders, cuts=cuts, ignore_grain=ignore_grain, today=today)
    papers = {paper.name: paper for paper in list_papers(session)}
    wanted = {want.paper for want in to_cut.problem.demands} if to_cut else set()
    if levels:
        wanted |= {level.paper.name for level in list_levels(session)}
    listed = current_offers(session, sorted(wanted), today=today) if wanted else []
    first = None
    if to_cut and in_time:
        first = paper_needed_by(min(order.due for order in to_cut.orders), shop.making_days)
        listed = [one for one in listed if today + timedelta(one.lead_days) <= first]
    if not listed:
        words = " in time" if in_time else ""
        raise Refusal(
            f"nobody offers any of these papers{words}; 'quirebox buy prices import' reads a"
            " supplier's list"
        )
    named = listed_offers(listed, shop.unit)
    problem = to_cut.problem if to_cut else Problem((), (), cuts, shop.smallest_offcut)
    coming: dict[str, int] = {}
    stock = list(problem.stock)
    for one in scheduled_receipts(session):
        if first is not None and one.expected > first:
            continue
        name = (
            f"purchase {one.purchase}: {one.paper} {format_size(one.width, one.height, shop.unit)}"
            f" ({len(coming) + 1})"
        )
        coming[name] = one.purchase
        stock.append(
            StockItem(
                name, one.width, one.height, one.sheets, Fraction(0), one.paper, one.margins,
                grain=one.grain,
            )
        )  # fmt: skip
    problem = replace(problem, stock=tuple(stock))
    on_sale = [offer.as_stock_item(None) for offer, _ in named.values()]
    problem, _ = drop_conflicting_grain(problem, on_sale)
    suppliers = [one.supplier for one in listed]
    return _PurchaseData(
        to_cut, problem, named, supplier_terms_for(session, suppliers, today),
        _levels(session, papers, named) if levels else [],
        _on_hand_sheets(session, stock, coming, papers), papers, coming, shop.making_days, shop.currency,
    )  # fmt: skip


def _on_hand_sheets(
    session: Session,
    stock: Iterable[StockItem],
    coming: Mapping[str, int],
    papers: Mapping[str, Paper],
) -> Counter[_Key]:
    taken = reserved_quantities(session)
    there: Counter[_Key] = Counter()
    for row in list_stash(session, kind=StockKind.SHEET):
        key = row.paper, size_key(papers[row.paper], (row.width, row.height))
        there[key] += max(0, row.quantity - taken[row.label])
    for one in stock:
        if one.name in coming and one.quantity:
            there[_key(papers, one)] += one.quantity
    return there


def _key(papers: Mapping[str, Paper], one: StockItem | Offer) -> _Key:
    return one.paper, size_key(papers[one.paper], (one.width, one.height))


def _levels(
    session: Session, papers: Mapping[str, Paper], named: Mapping[str, tuple[Offer, ListedPack]]
) -> list[_Level]:
    """Return the levels set, those of one size first."""
    found = []
    for level in sorted(list_levels(session), key=lambda one: level_key(one) is None):
        paper = level.paper.name
        offered = [offer for offer, _ in named.values() if offer.paper == paper]
        key = level_key(level)
        any_size = key is None
        if key is None:
            # It is filled in the size that is cheapest by its area.
            cheapest = min(
                offered, key=lambda one: one.sheet_price / (one.width * one.height), default=None
            )
            key = (0, 0) if cheapest is None else _key(papers, cheapest)[1]
        fitting = (one for one in offered if _key(papers, one) == (paper, key))
        best = min(fitting, key=lambda one: one.sheet_price, default=None)
        name = None if best is None else best.name
        found.append(_Level(paper, key, level.reorder, level.target, any_size, name))
    return found


def _levels_to_fill(book: _PurchaseData, low: frozenset[_Level]) -> list[_LevelToFill]:
    """Return the levels that are filled: those known to get low, and those that are."""
    there = Counter(book.on_hand)
    found = []
    for one in book.levels:
        have = one.counts(there)
        if one not in low and not is_low(have, one.reorder_point, one.target):
            continue
        lacking = max(0, one.target - have)
        found.append(_LevelToFill(one, min(have, one.target), lacking))
        if one.offer is not None:
            # What is bought for a level of one size counts for that of any size.
            there[one.paper, one.key] += lacking
    return found


def _may_get_low(book: _PurchaseData, held: Sequence[_LevelToFill]) -> bool:
    """Tell whether orders want a paper that has a level which is not filled."""
    filled = {one.level for one in held}
    wanted = {want.paper for want in book.problem.demands if want.quantity}
    return any(one.paper in wanted for one in book.levels if one not in filled)


def _levels_low_after(
    book: _PurchaseData, held: Sequence[_LevelToFill], bought: PaperPurchasePlan
) -> frozenset[_Level]:
    """Return the levels, of those not filled, that are low once everything is bought and cut."""
    left = Counter(book.on_hand)
    for packs in bought.lines:
        left[_key(book.papers, packs.offer)] += packs.sheets
    stock = {one.name: one for one in bought.problem.stock}
    for layout in bought.cutting_plan.layouts:
        if not stock[layout.stock].is_offcut:
            left[_key(book.papers, stock[layout.stock])] -= layout.copies
    filled = {one.level for one in held}
    return frozenset(
        one
        for one in book.levels
        if one not in filled and is_low(one.counts(left), one.reorder_point, one.target)
    )


def _unallocated_stock(book: _PurchaseData, held: Sequence[_LevelToFill]) -> tuple[StockItem, ...]:
    """Take away what is held: of its size first, of any other size for the rest."""
    left = [one.on_hand for one in held]
    kept = list(book.problem.stock)
    for of_size in (True, False):
        for place, one in enumerate(kept):
            if one.is_offcut or one.quantity is None:
                continue
            paper, key = _key(book.papers, one)
            quantity = one.quantity
            for index, (level, _, _) in enumerate(held):
                if level.paper == paper and (key == level.key) is of_size:
                    aside = min(left[index], quantity)
                    left[index] -= aside
                    quantity -= aside
            kept[place] = replace(one, quantity=quantity)
    return tuple(one for one in kept if one.quantity is None or one.quantity)


def _build_plan(
    book: _PurchaseData, holds: Sequence[_LevelToFill], bought: PaperPurchasePlan
) -> RestockPlan:
    orders_of, due = _orders_of(book)
    used: dict[str, int] = defaultdict(int)
    waiting: dict[str, set[int]] = defaultdict(set)
    for layout in bought.cutting_plan.layouts:
        used[layout.stock] += layout.copies
        for piece in layout.placed:
            waiting[layout.stock].update(orders_of.get(piece.name, ()))
    lines = []
    for offer, packs in bought.lines:
        listed = book.offers_by_name[offer.name][1]
        orders = tuple(sorted(waiting[offer.name], key=lambda number: (due[number], number)))
        needed = last = None
        if orders:
            needed = paper_needed_by(due[orders[0]], book.making_days)
            last = latest_order_date(due[orders[0]], book.making_days, listed.lead_days)
        lines.append(
            PlanLine(listed, packs, packs * offer.pack_size, used[offer.name], orders, needed, last)
        )
    lines.sort(key=lambda one: (one.order_by or date.max, one.offer.supplier, one.offer.paper))
    stash = tuple(
        StockUse(
            one.name, one.paper, one.width, one.height, used[one.name],
            (one.quantity or 0) - used[one.name], book.purchase_of.get(one.name),
        )
        for one in bought.problem.stock
        if used[one.name] and one.name not in book.offers_by_name
    )  # fmt: skip
    held = tuple(
        FilledLevel(
            level.paper, *level.key, level.target, there, 0 if level.offer is None else lacking
        )
        for level, there, lacking in holds
    )
    parts = book.cutting_demand.parts if book.cutting_demand else []
    unmade = tuple(
        UnmadePieces(
            part.paper, part.piece.name, part.piece.width, part.piece.height, left.quantity,
            left.why, orders_of[left.name],
        )
        for left in bought.cutting_plan.unplaced
        for part in [parts[int(left.name)]]
    )  # fmt: skip
    return RestockPlan(
        tuple(book.cutting_demand.orders) if book.cutting_demand else (),
        tuple(lines),
        bought.shipping,
        stash,
        held,
        unmade,
        bought,
        book.currency,
    )


def _orders_of(book: _PurchaseData) -> tuple[dict[str, tuple[int, ...]], dict[int, date]]:
    if book.cutting_demand is None:
        return {}, {}
    found: dict[str, list[int]] = defaultdict(list)
    for claim in book.cutting_demand.order_demands:
        for name, number in claim.pieces.items():
            if number:
                found[name].append(claim.order)
    due = {order.id: order.due for order in book.cutting_demand.orders}
    return {name: tuple(numbers) for name, numbers in found.items()}, due


def book_purchases(session: Session, plan: RestockPlan, *, today: date) -> list[Purchase]:
    """Book what is to be bought, one purchase a supplier; each can be taken back.

    Raises
    ------
    Refusal
        If an offer has changed meanwhile, or there is nothing to buy.
    """
    if not plan.lines:
        raise Refusal("there is nothing to buy, so nothing was recorded")
    known = current_offers(session, sorted({one.offer.paper for one in plan.lines}), today=today)
    for one in plan.lines:
        if one.offer not in known:
            raise Refusal(
                f"what {one.offer.supplier} asks for {one.offer.paper} has changed; plan again"
            )
    wishes: dict[str, dict[tuple[str, Size, int], int]] = defaultdict(lambda: defaultdict(int))
    for one in plan.lines:
        offer = one.offer
        key = offer.paper, Size(offer.width, offer.height), offer.pack
        wishes[offer.supplier][key] += one.packs
    return [
        add_purchase(
            session,
            supplier,
            [
                PurchaseLineRequest(paper, size, packs, pack)
                for (paper, size, pack), packs in its.items()
            ],
            today=today,
        )
        for supplier, its in wishes.items()
    ]
