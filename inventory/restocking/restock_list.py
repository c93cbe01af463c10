"""The restock list: what to buy and why, and by when it must be ordered.

It is the purchase that `inventory.restocking.purchase_plan` plans, line by line and order by order.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.database.tables.enums import OrderStatus
from inventory.orders.orders import list_orders
from inventory.purchasing.order_days import latest_order_date, paper_needed_by
from inventory.purchasing.prices import ListedPack
from inventory.purchasing.purchases import ScheduledReceipt, scheduled_receipts
from inventory.purchasing.reorder_levels import list_levels
from inventory.restocking.levels import PaperSize, paper_size
from inventory.restocking.purchase_plan import RestockPlan, plan_purchase
from inventory.shop.settings import get_shop
from inventory.stock.papers import list_papers
from nester.core.lengths import Length
from nester.core.problem import Effort
from nester.packing import never, usable_cores

if TYPE_CHECKING:
    from inventory.database.shop_file import ShopFile
    from nester.packing import Progress, Stop

__all__ = [
    "LowLevel",
    "OfferChoice",
    "OrderDeadline",
    "RestockLine",
    "RestockList",
    "order_dates",
    "restock_list",
]


@dataclass(frozen=True)
class OfferChoice:
    """An offer, and how many packs of it hold what is needed."""

    offer: ListedPack
    packs: int

    @property
    def price(self) -> Decimal:
        """Of all packs, in the shop's currency, without shipping."""
        return self.offer.price * self.packs


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
        How many are needed; 0 if no sheet of the paper is known that is large enough.
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


@dataclass(frozen=True)
class RestockList:
    """What to buy, and what its delivery costs.

    Attributes
    ----------
    lines
        What must be ordered first comes first; then by paper.
    shipping
        By supplier, in the shop's currency.
    """

    lines: tuple[RestockLine, ...] = ()
    shipping: Mapping[str, Fraction] = field(default_factory=dict)


class _Restock(NamedTuple):
    """The planned purchase, and what is on its way, by what it is called in it."""

    plan: RestockPlan
    receipts: Mapping[int, ScheduledReceipt]
    on_order: Mapping[PaperSize, int]
    size_key: Callable[[RestockLine], PaperSize]
    used: Mapping[ListedPack, int]
    making_days: int


def _plan(
    shop_file: ShopFile,
    today: date,
    effort: Effort,
    stop: Stop | None,
    on_progress: Callable[[Progress], None],
) -> _Restock | None:
    """Plan the purchase for all confirmed orders and levels; None if there are none."""
    with shop_file.read() as session:
        if not list_orders(session, status=OrderStatus.CONFIRMED) and not list_levels(session):
            return None
        receipts = scheduled_receipts(session)
        papers = {paper.name: paper for paper in list_papers(session)}
        making_days = get_shop(session).making_days
    plan = plan_purchase(
        shop_file,
        levels=True,
        effort=effort,
        today=today,
        processes=usable_cores(),
        stop=stop or never,
        on_progress=on_progress,
    )
    on_order: dict[PaperSize, int] = {}
    for receipt in receipts:
        key = paper_size(papers, receipt)
        on_order[key] = on_order.get(key, 0) + receipt.sheets
    return _Restock(
        plan,
        {receipt.purchase: receipt for receipt in receipts},
        on_order,
        lambda line: paper_size(papers, line),
        {line.offer: line.used for line in plan.lines},
        making_days,
    )


def restock_list(
    shop_file: ShopFile,
    *,
    today: date,
    effort: Effort = Effort.NORMAL,
    stop: Stop | None = None,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> RestockList:
    """Return what to buy for the confirmed orders and to hold the levels; nothing is booked.

    Parameters
    ----------
    effort, stop, on_progress
        As for `inventory.restocking.purchase_plan.plan_purchase`.
    """
    restock = _plan(shop_file, today, effort, stop, on_progress)
    if restock is None:
        return RestockList()
    return RestockList(tuple(_lines(restock)), restock.plan.shipping)


def _lines(restock: _Restock) -> list[RestockLine]:
    plan = restock.plan
    lines = [
        RestockLine(
            line.offer.paper, line.offer.width, line.offer.height, line.sheets, line.orders,
            needed=line.needed, order_by=line.order_by,
            choice=OfferChoice(line.offer, line.packs),
        )
        for line in plan.lines
    ] + [
        RestockLine(
            line.paper, line.width, line.height, line.sheets, line.orders, needed=line.needed
        )
        for line in plan.unoffered
    ] + [
        RestockLine(
            piece.paper, piece.width, piece.height, 0, piece.orders,
            needed=_needed(restock, piece.orders),
        )
        for piece in plan.unmade
    ]  # fmt: skip
    low = {
        (level.paper, level.width, level.height): level
        for level in plan.filled_levels
        if level.bought
    }
    found = []
    for line in lines:
        paper, (width, height) = restock.size_key(line)
        level = low.pop((paper, width, height), None) if line.sheets else None
        reason = level and LowLevel(
            level.on_hand, level.reorder_point, level.target, level.any_size
        )
        coming = restock.on_order.get((paper, (width, height)), 0)
        sheets = line.sheets
        if line.choice is not None:
            sheets = min(
                sheets, restock.used.get(line.choice.offer, 0) + (level.bought if level else 0)
            )
        found.append(replace(line, sheets=sheets or line.sheets, low=reason, on_order=coming))
    found += [
        RestockLine(
            level.paper, level.width, level.height, level.target - level.on_hand - level.bought,
            low=LowLevel(level.on_hand, level.reorder_point, level.target, level.any_size),
        )
        for level in plan.filled_levels
        if level.on_hand + level.bought < level.target and level.width
    ]  # fmt: skip
    found.sort(key=lambda line: (line.order_by or date.max, line.paper.casefold(), -line.width))
    return found


def _needed(restock: _Restock, orders: tuple[int, ...]) -> date | None:
    due = {order.id: order.due for order in restock.plan.orders}
    if not orders:
        return None
    return paper_needed_by(min(due[number] for number in orders), restock.making_days)


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
    effort: Effort = Effort.NORMAL,
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
    restock = _plan(shop_file, today, effort, stop, on_progress)
    if restock is None:
        return []
    orders = {order.id: order for order in restock.plan.orders}
    days = restock.making_days
    dates = [
        OrderDeadline(
            number, orders[number].customer, orders[number].due, line.paper, line.width,
            line.height, paper_needed_by(orders[number].due, days),
            None if line.choice is None
            else latest_order_date(orders[number].due, days, line.choice.offer.lead_days),
            None if line.choice is None else line.choice.offer.supplier,
        )
        for line in _lines(restock)
        for number in line.orders
    ]  # fmt: skip
    for use in restock.plan.stock_use:
        if use.purchase is None:
            continue
        receipt = restock.receipts[use.purchase]
        dates += [
            OrderDeadline(
                number, orders[number].customer, orders[number].due, use.paper, use.width,
                use.height, paper_needed_by(orders[number].due, days), None, receipt.supplier,
                use.purchase, receipt.expected,
            )
            for number in use.orders
        ]  # fmt: skip
    return sorted(
        dates,
        key=lambda deadline: (
            deadline.order_by or deadline.needed, deadline.due, deadline.order,
        ),
    )  # fmt: skip
