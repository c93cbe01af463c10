"""The restock list: what to buy and why, and by when it must be ordered.

What orders need is answered by the optimizer, as for a batch: what the stash and what is on its
way do not suffice for.  What levels need is counted: what will be left once the orders that can be
made are made, and what is on its way, against the level the maker set.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.database.tables.enums import OrderStatus, StockKind
from inventory.database.tables.stock import Paper
from inventory.orders.orders import list_orders
from inventory.purchasing.prices import ListedPack, SizeKey, current_offers, size_key
from inventory.purchasing.purchases import ScheduledReceipt, scheduled_receipts
from inventory.purchasing.reorder_levels import is_low, level_key, list_levels
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
    from nester.packing import (
        Progress,
        Stop,
    )

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
    """An offer, and how many packs of it hold what is wanted."""

    offer: ListedPack
    packs: int

    @property
    def price(self) -> Decimal:
        """Of all packs, in the shop's currency, without shipping."""
        return self.offer.price * self.packs


def best_offer(
    offered: Iterable[ListedPack], sheets: int, *, today: date, needed: date | None = None
) -> OfferChoice | None:
    """Return the cheapest packs that hold so many sheets and come in time, shipping left out.

    If none comes in time, it is the one that comes first.

    Parameters
    ----------
    offered
        Offers of one paper in one size.
    needed
        The day on which they must be there.

    Returns
    -------
    Choice or None
        None if there is no offer.
    """
    choices = [OfferChoice(one, max(one.least, -(-sheets // one.pack))) for one in offered]
    in_time = [
        one for one in choices if needed is None or today + timedelta(one.offer.lead_days) <= needed
    ]
    if in_time:
        return min(in_time, key=lambda one: (one.price, one.offer.lead_days, one.offer.supplier))
    return min(
        choices,
        key=lambda one: (one.offer.lead_days, one.price, one.offer.supplier),
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
    """A paper in a size that is to be bought, and why.

    Attributes
    ----------
    sheets
        0 if no sheet of the paper is known that is large enough.
    orders
        Numbers of the orders that wait for it, what is due first first.
    low
        The level it is bought for; both reasons may be there.
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
    """What is wanted of a paper in a size, while it is gathered."""

    size: tuple[Length, Length]
    sheets: int = 0
    orders: set[int] = field(default_factory=set)
    low: LowLevel | None = None


@dataclass(frozen=True)
class _RestockData:
    """What the list needs of the book, read at one moment."""

    papers: Mapping[str, Paper]
    offered: Mapping[tuple[str, SizeKey], Sequence[ListedPack]]
    scheduled_receipts: Sequence[ScheduledReceipt]
    due: Mapping[int, date]
    customers: Mapping[int, str]
    making_days: int

    def key(self, paper: str, size: tuple[Length, Length]) -> tuple[str, SizeKey]:
        return paper, size_key(self.papers[paper], size)


def _read(session: Session, today: date) -> _RestockData:
    papers = {paper.name: paper for paper in list_papers(session)}
    offered: dict[tuple[str, SizeKey], list[ListedPack]] = defaultdict(list)
    for one in current_offers(session, today=today):
        offered[one.paper, size_key(papers[one.paper], (one.width, one.height))].append(one)
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
        What must be ordered first first; then by paper.
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
    from nester.packing import (
        never,
    )

    with shop_file.read() as session:
        book = _read(session, today)
    plan = None
    if book.due:
        plan = preview_batch(
            shop_file, effort=effort, today=today, stop=stop or never, on_progress=on_progress
        )
    wanted: dict[tuple[str, SizeKey], _RestockDemand] = {}
    for line in plan.restock if plan is not None else ():
        size = (line.width, line.height)
        its = wanted.setdefault(book.key(line.paper, size), _RestockDemand(size))
        its.sheets += line.quantity
        its.orders.update(line.orders)
    with shop_file.read() as session:
        _add_levels(session, book, plan, wanted)
    lines = [_line(book, paper, its, today) for (paper, _), its in wanted.items()]
    lines.sort(key=lambda one: (one.order_by or date.max, one.paper.casefold(), -one.width))
    return lines, plan, book


def _add_levels(
    session: Session,
    book: _RestockData,
    plan: Plan | None,
    wanted: dict[tuple[str, SizeKey], _RestockDemand],
) -> None:
    """Add what it takes to come up to a level's target, where it is low."""
    levels = list_levels(session)
    if not levels:
        return
    taken = reserved_quantities(session)
    for layout in plan.layouts if plan is not None else ():
        taken[layout.sheet.label] += layout.copies
    left: Counter[tuple[str, SizeKey]] = Counter()
    sizes: dict[tuple[str, SizeKey], tuple[Length, Length]] = {}
    for row in list_stash(session, kind=StockKind.SHEET, include_empty=True):
        key = book.key(row.paper, (row.width, row.height))
        sizes.setdefault(key, (row.width, row.height))
        left[key] += max(0, row.quantity - taken[row.label])
    # How much of it the orders that wait will take is not known before they are planned with it.
    for coming in book.scheduled_receipts:
        left[book.key(coming.paper, (coming.width, coming.height))] += coming.sheets
    # What is bought for a level of one size counts for that of any size.
    for level in sorted(levels, key=lambda one: level_key(one) is None):
        paper, of_size = level.paper.name, level_key(level)
        if of_size is None:
            have = sum(number for (name, _), number in left.items() if name == paper)
            bought = _usual_size(book, paper, sizes)
        else:
            have, bought = left[paper, of_size], (paper, of_size)
        if bought is None or not is_low(have, level.reorder, level.target):
            continue
        its = wanted.setdefault(bought, _RestockDemand(sizes.get(bought) or bought[1]))
        its.sheets += level.target - have
        left[bought] += level.target - have
        its.low = LowLevel(have, level.reorder, level.target, of_size is None)


def _usual_size(
    book: _RestockData, paper: str, sizes: Mapping[tuple[str, SizeKey], tuple[Length, Length]]
) -> tuple[str, SizeKey] | None:
    """Return the size in which a paper is cheapest by its area; else one the book knows."""
    each: dict[tuple[str, SizeKey], Fraction] = {}
    for key, offered in book.offered.items():
        if key[0] == paper:
            each[key] = min(one.sheet_price / (one.width * one.height) for one in offered)
    if each:
        return min(each, key=lambda key: (each[key], key))
    return next((key for key in sizes if key[0] == paper), None)


def _line(book: _RestockData, paper: str, its: _RestockDemand, today: date) -> RestockLine:
    key = book.key(paper, its.size)
    orders = tuple(sorted(its.orders, key=lambda number: (book.due[number], number)))
    needed = paper_needed_by(book.due[orders[0]], book.making_days) if orders else None
    choice = None
    if its.sheets:
        choice = best_offer(book.offered.get(key, ()), its.sheets, today=today, needed=needed)
    last = None
    if orders and choice is not None:
        last = latest_order_date(book.due[orders[0]], book.making_days, choice.offer.lead_days)
    coming = sum(
        one.sheets
        for one in book.scheduled_receipts
        if book.key(one.paper, (one.width, one.height)) == key
    )
    return RestockLine(paper, *its.size, its.sheets, orders, its.low, needed, last, choice, coming)


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
        Of what is on its way already.
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
        """Tell whether the paper will come too late, whatever is done today."""
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
    list of NeededBy
        What must be ordered first first; what is on its way by the day it must be there.
    """
    lines, plan, book = _compute_restock(shop_file, today, effort, stop, on_progress)
    dates = []
    bought: set[tuple[int, str]] = set()
    for line in lines:
        for number in line.orders:
            bought.add((number, line.paper))
            due, choice = book.due[number], line.choice
            dates.append(
                OrderDeadline(
                    number, book.customers[number], due, line.paper, line.width, line.height,
                    paper_needed_by(due, book.making_days),
                    None if choice is None
                    else latest_order_date(due, book.making_days, choice.offer.lead_days),
                    None if choice is None else choice.offer.supplier,
                )
            )  # fmt: skip
    lacking = dict.fromkeys((one.order, one.paper) for one in (plan.lacking if plan else ()))
    for number, paper in lacking:
        coming = [one for one in book.scheduled_receipts if one.paper == paper]
        if coming and (number, paper) not in bought:
            last = max(coming, key=lambda one: (one.expected, one.purchase))
            due = book.due[number]
            dates.append(
                OrderDeadline(
                    number, book.customers[number], due, paper, None, None,
                    paper_needed_by(due, book.making_days), None, last.supplier, last.purchase,
                    last.expected,
                )
            )  # fmt: skip
    return sorted(dates, key=lambda one: (one.order_by or one.needed, one.due, one.order))
