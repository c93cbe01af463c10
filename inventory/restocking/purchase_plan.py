"""What to buy for orders, and to hold the levels set: the cheapest purchase, its proof, its dates.

It is solved together with the cutting (`nester.packing.purchase.purchase`), against what is free of
the stash and what is on its way.  Nothing is booked; `book_purchases` books it as purchases.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.database.tables.enums import OrderStatus, StockKind
from inventory.orders.orders import list_orders
from inventory.production.planning import CuttingDemand, cutting_demand
from inventory.production.sheets_to_buy import BuyableSheet, list_buyable_sheets
from inventory.purchasing.optimizer_offers import (
    listed_offers,
    offers_in_time,
    supplier_terms_for,
)
from inventory.purchasing.order_days import latest_order_date, paper_needed_by
from inventory.purchasing.prices import current_offers
from inventory.purchasing.purchases import PurchaseLineRequest, add_purchase, scheduled_receipts
from inventory.purchasing.reorder_levels import list_levels
from inventory.restocking.levels import (
    Level,
    LevelToFill,
    PaperSize,
    levels_to_fill,
    paper_size,
    read_levels,
    sheets_available,
)
from inventory.shop.settings import get_shop
from inventory.stock.listing import list_stash
from inventory.stock.papers import list_papers
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Hint, Refusal
from nester.core.lengths import Length, format_size
from nester.core.problem import Cuts, Effort, Problem, StockItem
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.core.sheet_sizes import Size
from nester.designs.demand import drop_conflicting_grain
from nester.packing import never, purchase
from nester.verify import require_valid_purchase

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.database.tables.orders import Order
    from inventory.database.tables.purchasing import Purchase
    from inventory.database.tables.stock import Paper
    from inventory.purchasing.prices import ListedPack, SizeKey
    from inventory.purchasing.purchases import ScheduledReceipt
    from nester.packing import Progress, Stop

__all__ = [
    "FilledLevel",
    "PlanLine",
    "RestockPlan",
    "StockUse",
    "UnmadePieces",
    "UnofferedLine",
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
        Numbers of the orders that are cut from it, earliest due first.
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


class UnofferedLine(NamedTuple):
    """Sheets to get of a paper that nobody offers, in a size that the shop had before.

    Attributes
    ----------
    price
        Of one, as last paid; None if that isn't known.
    orders
        Numbers of the orders that are cut from it, earliest due first.
    """

    paper: str
    width: Length
    height: Length
    sheets: int
    price: Decimal | None
    orders: tuple[int, ...]
    needed: date | None


class StockUse(NamedTuple):
    """What is used of a sheet or offcut of the stash, or of what is on its way, and what stays.

    Attributes
    ----------
    orders
        Numbers of the orders that are cut from it, earliest due first.
    """

    label: str
    paper: str
    width: Length
    height: Length
    used: int
    remaining: int
    purchase: int | None = None
    orders: tuple[int, ...] = ()


class FilledLevel(NamedTuple):
    """A level to hold: how many sheets of it are there, and how many are bought.

    Attributes
    ----------
    any_size
        Sheets of all sizes count to it.
    """

    paper: str
    width: Length
    height: Length
    target: int
    on_hand: int
    bought: int
    reorder_point: int
    any_size: bool


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
    """The cheapest purchase found, and what it is for.

    Attributes
    ----------
    shipping
        What each supplier asks for the delivery, in the shop's currency.
    stock_use
        What is used of the stash, or of what is on its way.
    filled_levels
        Levels for which sheets are set aside or bought.
    unoffered
        What is needed beside the purchase, of papers that nobody offers.
    bought
        The purchase with its layouts, as it was verified; what nobody offers is in it, at the price
        last paid.
    """

    orders: tuple[Order, ...]
    lines: tuple[PlanLine, ...]
    shipping: Mapping[str, Fraction]
    stock_use: tuple[StockUse, ...]
    filled_levels: tuple[FilledLevel, ...]
    unmade: tuple[UnmadePieces, ...]
    unoffered: tuple[UnofferedLine, ...]
    bought: PaperPurchasePlan
    currency: str
    unoffered_cost: Fraction = Fraction(0)

    @property
    def cost(self) -> Fraction:
        """What the packs cost, shipping included; what nobody offers is left out."""
        return self.bought.cost - self.unoffered_cost

    @property
    def lower_bound(self) -> Fraction:
        """No purchase of these papers that is enough costs less; proven."""
        return max(Fraction(0), self.bought.lower_bound - self.unoffered_cost)

    @property
    def optimality_gap(self) -> Fraction:
        """(cost - bound) / cost, zero when it is proven cheapest."""
        return (self.cost - self.lower_bound) / self.cost if self.cost else Fraction(0)


class _PurchaseData(NamedTuple):
    """All that is read of the shop, at one moment.

    Attributes
    ----------
    usual
        Sheets of papers that nobody offers, by the names of their offers.
    offer_to_fill
        By paper and size, the name of the offer by which a level is filled.
    available
        How many sheets are on hand and not reserved, or are on their way.
    purchase_of
        The number of the purchase, by the names of the stock that is on its way.
    """

    cutting_demand: CuttingDemand | None
    problem: Problem
    offers_by_name: dict[str, tuple[Offer, ListedPack]]
    usual: dict[str, BuyableSheet]
    terms: tuple[SupplierTerms, ...]
    levels: list[Level]
    offer_to_fill: Mapping[PaperSize, str]
    available: Mapping[PaperSize, int]
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
    also_late: bool = False,
    cuts: Cuts = Cuts.STRAIGHT,
    ignore_grain: bool = False,
    effort: Effort = Effort.NORMAL,
    today: date,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> RestockPlan:
    """Return the cheapest purchase found with which orders can be made; nothing is booked.

    Of each paper the offers count that come in time for the first order that needs it; where none
    does, those that come first.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    levels
        Also hold the levels set: what would be low (see
        `inventory.purchasing.reorder_levels.is_low`) once the orders are made is filled up to its
        target.  What is on hand or on its way counts, and is left alone up to that.
    in_time
        Only from offers, and with what is on its way, that come in time for every order.
    also_late
        From all offers, however late they come.
    effort, processes, stop, on_progress
        As for `nester.packing.purchase.purchase`.

    Raises
    ------
    Refusal
        If there is nothing to buy for, nobody offers anything in time where that is asked, or an
        order is not confirmed.
    """
    with shop_file.read() as session:
        data = _read(
            session, orders, levels, cuts, ignore_grain, today,
            in_time=in_time, also_late=also_late,
        )  # fmt: skip
    offers = (
        *(offer for offer, _ in data.offers_by_name.values()),
        *(sheet.offer for sheet in data.usual.values()),
    )

    def buy(to_fill: Sequence[LevelToFill], effort: Effort) -> PaperPurchasePlan:
        also: Counter[str] = Counter()
        for level, _, shortfall in to_fill:
            if level.fill_size is not None:
                also[data.offer_to_fill[level.paper, level.fill_size]] += shortfall
        problem = replace(data.problem, stock=_unallocated_stock(data, to_fill))
        found = purchase(
            problem,
            offers,
            data.terms,
            effort,
            extra_sheets=also,
            processes=processes,
            stop=stop,
            on_progress=on_progress,
        )
        require_valid_purchase(problem, offers, data.terms, found)
        return found

    to_fill = levels_to_fill(data.levels, data.available)
    if _may_get_low(data, to_fill):
        # Which levels the orders bring down is seen well enough from a purchase found quickly.
        low = _levels_low_after(data, to_fill, buy(to_fill, Effort.QUICK))
        to_fill = levels_to_fill(data.levels, data.available, low)
    while True:
        bought = buy(to_fill, effort)
        low = _levels_low_after(data, to_fill, bought)
        if not low:
            return _build_plan(data, to_fill, bought)
        # Each round fills one more level at least, so there are no more rounds than levels.
        low = low.union(filled.level for filled in to_fill)
        to_fill = levels_to_fill(data.levels, data.available, low)


def _read(
    session: Session,
    orders: Sequence[int],
    levels: bool,
    cuts: Cuts,
    ignore_grain: bool,
    today: date,
    *,
    in_time: bool,
    also_late: bool,
) -> _PurchaseData:
    """Read what is wanted, on hand, on its way and on offer; see `plan_purchase`."""
    shop = get_shop(session)
    demand = None
    if orders or not levels or list_orders(session, status=OrderStatus.CONFIRMED):
        demand = cutting_demand(session, orders, cuts=cuts, ignore_grain=ignore_grain, today=today)
    papers = {paper.name: paper for paper in list_papers(session)}
    wanted = {want.paper for want in demand.problem.demands} if demand else set()
    if levels:
        wanted |= {level.paper.name for level in list_levels(session)}
    listed = current_offers(session, sorted(wanted), today=today) if wanted else []
    receipts = scheduled_receipts(session)
    if demand and in_time:
        needed = paper_needed_by(min(order.due for order in demand.orders), shop.making_days)
        receipts = [receipt for receipt in receipts if receipt.expected <= needed]
        listed = [pack for pack in listed if today + timedelta(pack.lead_days) <= needed]
        if not listed:
            raise Refusal(
                "nobody offers any of these papers in time",
                Hint("read a supplier's list", "buy prices import"),
            )
    elif demand and not also_late:
        listed = offers_in_time(listed, _needed_by(demand, shop.making_days), today=today)
    problem = demand.problem if demand else Problem((), (), cuts, shop.smallest_offcut)
    coming = {
        f"purchase {receipt.purchase}: {receipt.paper}"
        f" {format_size(receipt.width, receipt.height, shop.unit)} ({number})": receipt
        for number, receipt in enumerate(receipts, 1)
    }
    problem = replace(
        problem, stock=(*problem.stock, *(_as_stock_item(*named) for named in coming.items()))
    )
    named = listed_offers(listed, shop.unit)
    usual = {} if in_time else _usual_sheets(session, sorted(wanted), listed, demand)
    offers = [*(offer for offer, _ in named.values()), *(one.offer for one in usual.values())]
    on_sale = [offer.as_stock_item(None) for offer in offers]
    problem, _ = drop_conflicting_grain(problem, on_sale)
    offer_to_fill: dict[PaperSize, str] = {}
    for offer in sorted(offers, key=lambda offer: offer.sheet_price):
        offer_to_fill.setdefault(paper_size(papers, offer), offer.name)
    sheets = list_stash(session, kind=StockKind.SHEET)
    return _PurchaseData(
        demand,
        problem,
        named,
        usual,
        supplier_terms_for(session, [pack.supplier for pack in listed], today),
        _levels(session, papers, listed, offer_to_fill) if levels else [],
        offer_to_fill,
        sheets_available(papers, sheets, reserved_quantities(session), receipts),
        papers,
        {name: receipt.purchase for name, receipt in coming.items()},
        shop.making_days,
        shop.currency,
    )


def _as_stock_item(name: str, receipt: ScheduledReceipt) -> StockItem:
    """Return sheets on their way as stock that is paid for."""
    return StockItem(
        name, receipt.width, receipt.height, receipt.sheets, Fraction(0), receipt.paper,
        receipt.margins, grain=receipt.grain,
    )  # fmt: skip


def _needed_by(demand: CuttingDemand, making_days: int) -> dict[str, date]:
    """Return by paper the day on which it must be there for the first order that needs it."""
    due = {order.id: order.due for order in demand.orders}
    needed: dict[str, date] = {}
    for order_demand in demand.order_demands:
        day = paper_needed_by(due[order_demand.order], making_days)
        for name, number in order_demand.pieces.items():
            if number:
                paper = demand.parts[int(name)].paper
                needed[paper] = min(day, needed.get(paper, day))
    return needed


def _usual_sheets(
    session: Session,
    papers: Sequence[str],
    listed: Sequence[ListedPack],
    demand: CuttingDemand | None,
) -> dict[str, BuyableSheet]:
    """Return the sheets that the shop had before, of papers of which no offer is large enough."""
    rows = list_stash(session, papers=papers, empty_sheets=True) if papers else []
    parts = demand.parts if demand else []
    sizes = {
        paper: [(one.piece.width, one.piece.height) for one in parts if one.paper == paper]
        for paper in papers
    }
    buyable = list_buyable_sheets(rows, listed, sizes)
    return {sheet.offer.name: sheet for sheet in buyable[len(listed) :]}


def _levels(
    session: Session,
    papers: Mapping[str, Paper],
    listed: Sequence[ListedPack],
    offered: Collection[PaperSize],
) -> list[Level]:
    """Return the levels set; those of a size that can't be bought can't be filled."""
    return [
        level
        if level.fill_size is None or (level.paper, level.fill_size) in offered
        else level._replace(fill_size=None)
        for level in read_levels(session, papers, listed, list(offered))
    ]


def _may_get_low(data: _PurchaseData, to_fill: Sequence[LevelToFill]) -> bool:
    """Tell whether orders want a paper that has a level which is not filled."""
    filled = {level for level, _, _ in to_fill}
    wanted = {want.paper for want in data.problem.demands if want.quantity}
    return any(level.paper in wanted for level in data.levels if level not in filled)


def _levels_low_after(
    data: _PurchaseData, to_fill: Sequence[LevelToFill], bought: PaperPurchasePlan
) -> frozenset[Level]:
    """Return the levels, of those not filled, that are low once everything is bought and cut."""
    left = Counter(data.available)
    for packs in bought.lines:
        left[paper_size(data.papers, packs.offer)] += packs.sheets
    stock = {item.name: item for item in bought.problem.stock}
    for layout in bought.cutting_plan.layouts:
        if not stock[layout.stock].is_offcut:
            left[paper_size(data.papers, stock[layout.stock])] -= layout.copies
    filled = {level for level, _, _ in to_fill}
    return frozenset(level for level in data.levels if level not in filled and level.is_low(left))


def _unallocated_stock(
    data: _PurchaseData, to_fill: Sequence[LevelToFill]
) -> tuple[StockItem, ...]:
    """Take away what is set aside: of the level's size first, of any other size for the rest."""
    left = [on_hand for _, on_hand, _ in to_fill]
    kept = list(data.problem.stock)
    for of_size in (True, False):
        for place, item in enumerate(kept):
            if item.is_offcut or item.quantity is None:
                continue
            paper, size = paper_size(data.papers, item)
            quantity = item.quantity
            for index, (level, _, _) in enumerate(to_fill):
                if level.paper == paper and (size == _size_of(level)) is of_size:
                    aside = min(left[index], quantity)
                    left[index] -= aside
                    quantity -= aside
            kept[place] = replace(item, quantity=quantity)
    return tuple(item for item in kept if item.quantity is None or item.quantity)


def _size_of(level: Level) -> SizeKey:
    """Return the size under which a level is shown: its own, or that which fills it."""
    return level.size or level.fill_size or (0, 0)


def _build_plan(
    data: _PurchaseData, to_fill: Sequence[LevelToFill], bought: PaperPurchasePlan
) -> RestockPlan:
    """Say for which orders each pack is bought and by when, and what is used of the stash."""
    orders_of, due = _orders_of(data)
    used: dict[str, int] = defaultdict(int)
    for layout in bought.cutting_plan.layouts:
        used[layout.stock] += layout.copies
    waiting = _orders_by_stock(data, bought)

    # Orders take what is set aside for a level first, and what is bought comes in its place.
    aside: Counter[PaperSize] = Counter()
    for level, on_hand, _ in to_fill:
        aside[level.paper, _size_of(level)] += on_hand
    swapped: Counter[PaperSize] = Counter()

    def orders_from(stock: str) -> tuple[int, ...]:
        return tuple(sorted(waiting[stock], key=lambda number: (due[number], number)))

    lines, unoffered = [], []
    for offer, packs in bought.lines:
        orders = orders_from(offer.name)
        if offer.name in data.usual:
            sheet = data.usual[offer.name]
            needed = paper_needed_by(due[orders[0]], data.making_days) if orders else None
            unoffered.append(
                UnofferedLine(
                    offer.paper, offer.width, offer.height, packs, sheet.price, orders, needed
                )
            )
            continue
        listed = data.offers_by_name[offer.name][1]
        key = paper_size(data.papers, offer)
        if 0 < used[offer.name] <= aside[key]:
            aside[key] -= used[offer.name]
            swapped[key] += used[offer.name]
            used[offer.name], orders = 0, ()
        needed = order_by = None
        if orders:
            needed = paper_needed_by(due[orders[0]], data.making_days)
            order_by = latest_order_date(due[orders[0]], data.making_days, listed.lead_days)
        sheets = packs * offer.pack_size
        lines.append(PlanLine(listed, packs, sheets, used[offer.name], orders, needed, order_by))
    lines.sort(key=lambda line: (line.order_by or date.max, line.offer.supplier, line.offer.paper))
    stock_use = tuple(
        StockUse(
            item.name, item.paper, item.width, item.height, used[item.name],
            (item.quantity or 0) - used[item.name], data.purchase_of.get(item.name),
            orders_from(item.name),
        )
        for item in bought.problem.stock
        if used[item.name] and item.name not in data.offers_by_name
        and item.name not in data.usual
    )  # fmt: skip
    filled_levels = tuple(
        FilledLevel(
            level.paper, *_size_of(level), level.target,
            on_hand - swapped[level.paper, _size_of(level)],
            swapped[level.paper, _size_of(level)] + (0 if level.fill_size is None else shortfall),
            level.reorder_point, level.size is None,
        )
        for level, on_hand, shortfall in to_fill
    )  # fmt: skip
    parts = data.cutting_demand.parts if data.cutting_demand else []
    unmade = tuple(
        UnmadePieces(
            part.paper, part.piece.name, part.piece.width, part.piece.height, unplaced.quantity,
            unplaced.why, orders_of[unplaced.name],
        )
        for unplaced in bought.cutting_plan.unplaced
        for part in [parts[int(unplaced.name)]]
    )  # fmt: skip
    return RestockPlan(
        tuple(data.cutting_demand.orders) if data.cutting_demand else (),
        tuple(lines),
        {supplier: amount for supplier, amount in bought.shipping.items() if supplier},
        stock_use,
        filled_levels,
        unmade,
        tuple(unoffered),
        bought,
        data.currency,
        sum((line.price for line in bought.lines if line.offer.name in data.usual), Fraction(0)),
    )


def _orders_by_stock(data: _PurchaseData, bought: PaperPurchasePlan) -> dict[str, set[int]]:
    """Return for which orders each stock and each offer is cut.

    Of equal pieces the most urgent orders get those of the stash, then those of what is on its way.
    """
    orders: dict[str, set[int]] = defaultdict(set)
    if data.cutting_demand is None:
        return orders
    pieces: dict[str, Counter[str]] = defaultdict(Counter)
    for layout in bought.cutting_plan.layouts:
        for piece in layout.placed:
            pieces[piece.name][layout.stock] += layout.copies

    def place_in_line(stock: str) -> tuple[int, int]:
        if stock in data.usual:
            return 3, 0
        if stock in data.offers_by_name:
            return 2, data.offers_by_name[stock][1].lead_days
        return (1, data.purchase_of[stock]) if stock in data.purchase_of else (0, 0)

    due = {order.id: order.due for order in data.cutting_demand.orders}
    demands = sorted(data.cutting_demand.order_demands, key=lambda one: (due[one.order], one.order))
    for name, found in pieces.items():
        supply = sorted(found, key=lambda stock: (place_in_line(stock), stock), reverse=True)
        for order_demand in demands:
            lacking = order_demand.pieces.get(name, 0)
            while lacking and supply:
                taken = min(lacking, found[supply[-1]])
                orders[supply[-1]].add(order_demand.order)
                found[supply[-1]] -= taken
                lacking -= taken
                if not found[supply[-1]]:
                    supply.pop()
    return orders


def _orders_of(data: _PurchaseData) -> tuple[dict[str, tuple[int, ...]], dict[int, date]]:
    if data.cutting_demand is None:
        return {}, {}
    found: dict[str, list[int]] = defaultdict(list)
    for order_demand in data.cutting_demand.order_demands:
        for name, number in order_demand.pieces.items():
            if number:
                found[name].append(order_demand.order)
    due = {order.id: order.due for order in data.cutting_demand.orders}
    return {name: tuple(numbers) for name, numbers in found.items()}, due


def book_purchases(session: Session, plan: RestockPlan, *, today: date) -> list[Purchase]:
    """Book what is to be bought, one purchase a supplier; each can be undone.

    Raises
    ------
    Refusal
        If an offer has changed meanwhile, or there is nothing to buy.
    """
    if not plan.lines:
        raise Refusal("there is nothing to buy, so nothing was recorded")
    papers = sorted({line.offer.paper for line in plan.lines})
    known = current_offers(session, papers, today=today)
    for line in plan.lines:
        if line.offer not in known:
            raise Refusal(
                f"the price of {line.offer.paper} from {line.offer.supplier} has changed;"
                " plan again"
            )
    packs_of: dict[str, dict[tuple[str, Size, int], int]] = defaultdict(lambda: defaultdict(int))
    for line in plan.lines:
        offer = line.offer
        key = offer.paper, Size(offer.width, offer.height), offer.pack
        packs_of[offer.supplier][key] += line.packs
    return [
        add_purchase(
            session,
            supplier,
            [
                PurchaseLineRequest(paper, size, packs, pack)
                for (paper, size, pack), packs in wanted.items()
            ],
            today=today,
        )
        for supplier, wanted in packs_of.items()
    ]
