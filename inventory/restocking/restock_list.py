"""The restock list: what to buy and why, and by when it must be ordered.

What orders need is answered by the optimizer, as for a batch: what is missing beside the stash and
what is on its way.  What levels need is counted: what will be left once the orders that can be made
are made, and what is on its way, against the level that is set.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.database.tables.enums import OrderStatus, StockKind
from inventory.database.tables.stock import Paper
from inventory.orders.orders import list_orders
from inventory.purchasing.prices import ListedPack, current_offers
from inventory.purchasing.purchases import ScheduledReceipt, scheduled_receipts
from inventory.restocking.levels import (
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
from nester.core.lengths import Length
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile
    from nester.packing import Progress, Stop

__all__ = [
    "LowLevel",
    "OfferChoice",
    "OrderDeadline",
    "RestockLine",
    "best_offer",
    "latest_order_date",
    "order_dates",
    "paper_needed_by",
    "restock_list",
]


# --- days --------------------------------------------------------------------------------------


def paper_needed_by(due: date, making_days: int) -> date:
    """Return the last day on which paper may come for an order that is due on a day.

    Parameters
    ----------
    making_days
        How long it takes to make, in days (`inventory.database.tables.shop.Shop.making_days`).
    """
    return _days_before(due, making_days)


def latest_order_date(due: date, making_days: int, delivery_days: int) -> date:
    """Return the last day on which paper may be ordered for an order that is due on a day."""
    return _days_before(due, making_days + delivery_days)


def _days_before(day: date, days: int) -> date:
    try:
        return day - timedelta(days)
    except OverflowError:
        return date.min


# --- from whom ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class OfferChoice:
    """An offer, and how many packs of it hold what is needed."""

    offer: ListedPack
    packs: int

    @property
    def price(self) -> Decimal:
        """Of all packs, in the shop's currency, without shipping."""
        return self.offer.price * self.packs


def best_offer(
    offered: Iterable[ListedPack], sheets: int, *, today: date, needed: date | None = None
) -> OfferChoice | None:
    """Return the cheapest packs that hold some sheets and come in time, shipping left out.

    If none comes in time, it is the one that comes first.

    Parameters
    ----------
    offered
        Offers of one paper in one size.
    needed
        The day on which they must be there.

    Returns
    -------
    OfferChoice or None
        None if there is no offer.
    """
    choices = [OfferChoice(pack, max(pack.least, -(-sheets // pack.pack))) for pack in offered]
    in_time = [
        choice
        for choice in choices
        if needed is None or today + timedelta(choice.offer.lead_days) <= needed
    ]
    if in_time:
        return min(
            in_time,
            key=lambda choice: (choice.price, choice.offer.lead_days, choice.offer.supplier),
        )
    return min(
        choices,
        key=lambda choice: (choice.offer.lead_days, choice.price, choice.offer.supplier),
        default=None,
    )


# --- the list ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class LowLevel:
    """A level that is low: how many sheets will be left, and what is set.

    Attributes
    ----------
    any_size
        Sheets of all sizes count to it.
    """

    remaining: int
    reorder_point: int
    target: int
    any_size: bool


@dataclass(frozen=True)
class RestockLine:
    """A paper in a size to buy, and why.

    Attributes
    ----------
    sheets
        0 if no sheet of the paper is known that is large enough.
    orders
        Numbers of the orders that wait for it, earliest due first.
    low
        The level it is bought for, beside the orders or alone.
    needed
        The day on which it must be there for the first of its orders.
    order_by
        The last day on which it may be ordered for that; None if nobody offers it.
    choice
        From whom, if anybody offers it.
    on_order
        Sheets of it that are on their way already, not counted in `sheets`.
    """

    paper: str
    width: Length
    height: Length
    sheets: int
    orders: tuple[int, ...] = ()
    low: LowLevel | None = None
    needed: date | None = None
    order_by: date | None = None
    choice: OfferChoice | None = None
    on_order: int = 0

    @property
    def why(self) -> list[str]:
        """The reasons, each a clause: ``2 orders wait for it: 3 and 5``."""
        reasons = []
        if self.orders:
            *others, last = map(str, self.orders)
            reasons.append(
                f"{len(self.orders)} orders wait for it: {', '.join(others)} and {last}"
                if others
                else f"order {last} waits for it"
            )
        if self.low is not None:
            sizes = " of all sizes together" if self.low.any_size else ""
            reasons.append(
                f"down to the level you set: {self.low.remaining} left{sizes}, and you set"
                f" {self.low.reorder_point}"
            )
        if not self.sheets:
            reasons.append("no sheet of it is known that is large enough")
        return reasons


@dataclass
class _RestockDemand:
    """What is needed of a paper in a size, while it is added up."""

    size: tuple[Length, Length]
    sheets: int = 0
    orders: set[int] = field(default_factory=set)
    low: LowLevel | None = None


@dataclass(frozen=True)
class _RestockData:
    """What the list needs of the shop, read at one moment."""

    papers: Mapping[str, Paper]
    offered: Mapping[PaperSize, Sequence[ListedPack]]
    scheduled_receipts: Sequence[ScheduledReceipt]
    due: Mapping[int, date]
    customers: Mapping[int, str]
    making_days: int


def _read(session: Session, today: date) -> _RestockData:
    papers = {paper.name: paper for paper in list_papers(session)}
    offered: dict[PaperSize, list[ListedPack]] = defaultdict(list)
    for pack in current_offers(session, today=today):
        offered[paper_size(papers, pack)].append(pack)
    orders = list_orders(session, status=OrderStatus.CONFIRMED)
    return _RestockData(
        papers,
        offered,
        scheduled_receipts(session),
        {order.id: order.due for order in orders},
        {order.id: order.customer for order in orders},
        get_shop(session).making_days,
    )


def restock_list(
    shop_file: ShopFile,
    *,
    today: date,
    effort: Effort = Effort.QUICK,
    stop: Stop | None = None,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> list[RestockLine]:
    """Return what to buy for the confirmed orders and to hold the levels; nothing is booked.

    Parameters
    ----------
    effort, stop, on_progress
        As for `nester.packing.search.solve`; they matter where orders wait.

    Returns
    -------
    list of RestockLine
        What must be ordered first comes first; then by paper.
    """
    lines, _, _ = _compute_restock(shop_file, today, effort, stop, on_progress)
    return lines


def _compute_restock(
    shop_file: ShopFile,
    today: date,
    effort: Effort,
    stop: Stop | None,
    on_progress: Callable[[Progress], None],
) -> tuple[list[RestockLine], Plan | None, _RestockData]:
    from inventory.production.planning import preview_batch
    from nester.packing import never

    with shop_file.read() as session:
        data = _read(session, today)
    plan = None
    if data.due:
        plan = preview_batch(
            shop_file,
            effort=effort,
            today=today,
            processes=1,
            stop=stop or never,
            on_progress=on_progress,
        )
    wanted: dict[PaperSize, _RestockDemand] = {}
    for line in plan.restock if plan is not None else ():
        key = paper_size(data.papers, line)
        demand = wanted.setdefault(key, _RestockDemand((line.width, line.height)))
        demand.sheets += line.quantity
        demand.orders.update(line.orders)
    with shop_file.read() as session:
        _add_levels(session, data, plan, wanted)
    lines = [_line(data, key, demand, today) for key, demand in wanted.items()]
    lines.sort(key=lambda line: (line.order_by or date.max, line.paper.casefold(), -line.width))
    return lines, plan, data


def _add_levels(
    session: Session,
    data: _RestockData,
    plan: Plan | None,
    wanted: dict[PaperSize, _RestockDemand],
) -> None:
    """Add what it takes to come up to a level's target, where it is low."""
    taken = reserved_quantities(session)
    for layout in plan.layouts if plan is not None else ():
        taken[layout.sheet.label] += layout.copies
    rows = list_stash(session, kind=StockKind.SHEET, include_empty=True)
    sizes: dict[PaperSize, tuple[Length, Length]] = {}
    for row in rows:
        sizes.setdefault(paper_size(data.papers, row), (row.width, row.height))
    listed = [pack for packs in data.offered.values() for pack in packs]
    levels = read_levels(session, data.papers, listed, list(sizes))
    # How much of what is on its way the waiting orders will take is not known before they are
    # planned with it, so all of it counts.
    available = sheets_available(data.papers, rows, taken, data.scheduled_receipts)
    for level, on_hand, shortfall in levels_to_fill(levels, available):
        if level.fill_size is None:
            continue
        key = level.paper, level.fill_size
        demand = wanted.setdefault(key, _RestockDemand(sizes.get(key, level.fill_size)))
        demand.sheets += shortfall
        demand.low = LowLevel(on_hand, level.reorder_point, level.target, level.size is None)


def _line(data: _RestockData, key: PaperSize, demand: _RestockDemand, today: date) -> RestockLine:
    orders = tuple(sorted(demand.orders, key=lambda number: (data.due[number], number)))
    needed = paper_needed_by(data.due[orders[0]], data.making_days) if orders else None
    choice = None
    if demand.sheets:
        choice = best_offer(data.offered.get(key, ()), demand.sheets, today=today, needed=needed)
    order_by = None
    if orders and choice is not None:
        order_by = latest_order_date(data.due[orders[0]], data.making_days, choice.offer.lead_days)
    on_order = sum(
        receipt.sheets
        for receipt in data.scheduled_receipts
        if paper_size(data.papers, receipt) == key
    )
    paper, _ = key
    return RestockLine(
        paper, *demand.size, demand.sheets, orders, demand.low, needed, order_by, choice, on_order
    )


# --- which order hangs on what -----------------------------------------------------------------


@dataclass(frozen=True)
class OrderDeadline:
    """A paper that an order waits for, and by when it must be ordered, or is expected.

    Attributes
    ----------
    needed
        The day on which it must be there.
    order_by
        The last day on which it may be ordered; None if it is on its way, or nobody offers it.
    supplier
        From whom; None if nobody offers it.
    purchase, expected
        The number of the purchase that is on its way already, and the day it is expected.
    """

    order: int
    customer: str
    due: date
    paper: str
    width: Length | None
    height: Length | None
    needed: date
    order_by: date | None
    supplier: str | None
    purchase: int | None = None
    expected: date | None = None

    def is_late(self, today: date) -> bool:
        """Tell whether the paper will come too late even if it is ordered today."""
        if self.expected is not None:
            return max(self.expected, today) > self.needed
        last = self.order_by if self.order_by is not None else self.needed
        return last < today


def order_dates(
    shop_file: ShopFile,
    *,
    today: date,
    effort: Effort = Effort.QUICK,
    stop: Stop | None = None,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> list[OrderDeadline]:
    """Return what must be ordered by when to meet which order; nothing is booked.

    Parameters
    ----------
    effort, stop, on_progress
        As for `restock_list`.

    Returns
    -------
    list of OrderDeadline
        What must be ordered first comes first; what is on its way stands by the day it must be
        there.
    """
    lines, plan, data = _compute_restock(shop_file, today, effort, stop, on_progress)
    dates = []
    bought: set[tuple[int, str]] = set()
    for line in lines:
        for number in line.orders:
            bought.add((number, line.paper))
            due, choice = data.due[number], line.choice
            dates.append(
                OrderDeadline(
                    number, data.customers[number], due, line.paper, line.width, line.height,
                    paper_needed_by(due, data.making_days),
                    None if choice is None
                    else latest_order_date(due, data.making_days, choice.offer.lead_days),
                    None if choice is None else choice.offer.supplier,
                )
            )  # fmt: skip
    shortages = plan.lacking if plan else ()
    for number, paper in dict.fromkeys((short.order, short.paper) for short in shortages):
        coming = [receipt for receipt in data.scheduled_receipts if receipt.paper == paper]
        if coming and (number, paper) not in bought:
            # Of which receipt it will be cut is not known, so the last one counts.
            last = max(coming, key=lambda receipt: (receipt.expected, receipt.purchase))
            due = data.due[number]
            dates.append(
                OrderDeadline(
                    number, data.customers[number], due, paper, None, None,
                    paper_needed_by(due, data.making_days), None, last.supplier, last.purchase,
                    last.expected,
                )
            )  # fmt: skip
    return sorted(
        dates,
        key=lambda deadline: (
            deadline.order_by or deadline.needed, deadline.due, deadline.order,
        ),
    )  # fmt: skip
