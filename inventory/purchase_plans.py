"""What to buy for orders, and to hold the levels set: the cheapest purchase, its proof, its dates.

It is solved together with the cutting (`nester.packing.purchase`), against what is free of the
stash and what is on its way.  Nothing is booked; `record` books it as purchases.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.batches import ToCut, orders_to_cut
from inventory.levels import level_key, list_levels
from inventory.models import Kind, Status
from inventory.offered import listed_offers, terms_of
from inventory.orders import list_orders
from inventory.papers import list_papers
from inventory.price_lists import offers, size_key
from inventory.purchases import Ordered, add_purchase, on_its_way
from inventory.reservations import reserved
from inventory.restocking import order_by, paper_there_by
from inventory.shop import the_shop
from inventory.stash import list_stash
from nester.layouts import Cuts, Effort, Problem, Stock
from nester.measure import Length, format_size
from nester.offers import Bought, Offer, Terms
from nester.packing import never, purchase
from nester.paper import Size
from nester.refusal import Refusal
from nester.verify_purchase import require_purchase
from nester.wants import without_clashing_grain

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.models import Order, Paper, Purchase
    from inventory.price_lists import ListedPack
    from inventory.shop import ShopFile
    from nester.packing import Progress, Stop

__all__ = ["Kept", "LevelHeld", "PlanLine", "PurchasePlan", "Unmade", "plan_purchase", "record"]


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


class Kept(NamedTuple):
    """What is used of a sheet or offcut of the stash, or of what is on its way, and what stays."""

    label: str
    paper: str
    width: Length
    height: Length
    used: int
    left: int
    purchase: int | None = None


class LevelHeld(NamedTuple):
    """A level that is to be held: how many of the sheets are there, and how many are bought."""

    paper: str
    width: Length
    height: Length
    target: int
    there: int
    bought: int


class Unmade(NamedTuple):
    """Pieces that fit no sheet on offer nor on hand."""

    paper: str
    piece: str
    width: Length
    height: Length
    quantity: int
    why: str
    orders: tuple[int, ...]


@dataclass(frozen=True)
class PurchasePlan:
    """The cheapest purchase found.

    Attributes
    ----------
    shipping
        What each supplier takes for the delivery, in the shop's currency.
    stash
        What is used of what is there, or on its way.
    held
        Levels for which sheets are set aside or bought.
    bought
        The purchase with its layouts, as it was judged.
    """

    orders: tuple[Order, ...]
    lines: tuple[PlanLine, ...]
    shipping: Mapping[str, Fraction]
    stash: tuple[Kept, ...]
    held: tuple[LevelHeld, ...]
    unmade: tuple[Unmade, ...]
    bought: Bought
    currency: str


class _Level(NamedTuple):
    """A level that would be broken, and the name of the offer by which it is filled."""

    paper: str
    key: tuple[Length, Length]
    target: int
    there: int
    offer: str | None


class _Book(NamedTuple):
    """All that is read of the book, at one moment."""

    to_cut: ToCut | None
    problem: Problem
    named: dict[str, tuple[Offer, ListedPack]]
    terms: tuple[Terms, ...]
    levels: list[_Level]
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
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> PurchasePlan:
    """Return the cheapest purchase found with which orders can be made; nothing is booked.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    levels
        Also hold the levels set: where fewer sheets than a level's target lie there or are on
        their way, those are left alone and the rest is bought.
    in_time
        Only from offers that come in time for every order given.
    effort, stop, on_progress
        As for `nester.packing.purchase`.

    Raises
    ------
    Refusal
        If there is nothing to buy for, nobody offers anything, or an order is not confirmed.
    """
    with shop_file.read() as session:
        book = _read(session, orders, levels, in_time, cuts, ignore_grain, today)
    offered = tuple(offer for offer, _ in book.named.values())
    also: Counter[str] = Counter()
    for one in book.levels:
        if one.offer is not None and one.target > one.there:
            also[one.offer] += one.target - one.there
    bought = purchase(
        book.problem, offered, book.terms, effort, also=also, stop=stop, on_progress=on_progress
    )
    require_purchase(book.problem, offered, book.terms, bought)
    return _told(book, bought)


def _read(
    session: Session,
    orders: Sequence[int],
    levels: bool,
    in_time: bool,
    cuts: Cuts,
    ignore_grain: bool,
    today: date,
) -> _Book:
    shop = the_shop(session)
    to_cut = None
    if orders or not levels or list_orders(session, status=Status.CONFIRMED):
        to_cut = orders_to_cut(session, orders, cuts=cuts, ignore_grain=ignore_grain, today=today)
    papers = {paper.name: paper for paper in list_papers(session)}
    wanted = {want.paper for want in to_cut.problem.wants} if to_cut else set()
    if levels:
        wanted |= {level.paper.name for level in list_levels(session)}
    listed = offers(session, sorted(wanted), today=today) if wanted else []
    first = None
    if to_cut and in_time:
        first = paper_there_by(min(order.due for order in to_cut.orders), shop.making_days)
        listed = [one for one in listed if today + timedelta(one.days) <= first]
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
    for one in on_its_way(session):
        if first is not None and one.expected > first:
            continue
        name = (
            f"purchase {one.purchase}: {one.paper} {format_size(one.width, one.height, shop.unit)}"
            f" ({len(coming) + 1})"
        )
        coming[name] = one.purchase
        stock.append(
            Stock(
                name, one.width, one.height, one.sheets, Fraction(0), one.paper, one.margins,
                grain=one.grain,
            )
        )  # fmt: skip
    found = _levels(session, stock, coming, papers, named) if levels else []
    problem = replace(problem, stock=tuple(_set_aside(stock, found, papers)))
    on_sale = [offer.as_stock(None) for offer, _ in named.values()]
    problem, _ = without_clashing_grain(problem, on_sale)
    suppliers = [one.supplier for one in listed]
    return _Book(
        to_cut, problem, named, terms_of(session, suppliers, today), found, coming,
        shop.making_days, shop.currency,
    )  # fmt: skip


def _levels(
    session: Session,
    stock: Sequence[Stock],
    coming: Mapping[str, int],
    papers: Mapping[str, Paper],
    named: Mapping[str, tuple[Offer, ListedPack]],
) -> list[_Level]:
    taken = reserved(session)
    there: dict[tuple[str, tuple[Length, Length]], int] = defaultdict(int)
    for row in list_stash(session, kind=Kind.SHEET):
        free = row.quantity - taken[row.label]
        there[row.paper, size_key(papers[row.paper], (row.width, row.height))] += max(0, free)
    for one in stock:
        if one.name in coming and one.quantity:
            there[one.paper, size_key(papers[one.paper], (one.width, one.height))] += one.quantity
    found = []
    # What is bought for a level of one size counts for that of any size.
    for level in sorted(list_levels(session), key=lambda one: level_key(one) is None):
        paper = level.paper.name
        of_paper = {
            name: (offer, size_key(papers[paper], (offer.width, offer.height)))
            for name, (offer, _) in named.items()
            if offer.paper == paper
        }
        key = level_key(level)
        if key is None:
            # Of any size: it is filled in the size that is cheapest by its area.
            cheapest = min(
                of_paper.values(),
                key=lambda one: one[0].sheet_price / (one[0].width * one[0].height),
                default=None,
            )
            have = sum(number for (name, _), number in there.items() if name == paper)
            if cheapest is None:
                found.append(_Level(paper, (0, 0), level.target, min(have, level.target), None))
                continue
            key = cheapest[1]
        else:
            have = there[paper, key]
        fitting = [offer for offer, its in of_paper.values() if its == key]
        best = min(fitting, key=lambda offer: offer.sheet_price, default=None)
        found.append(
            _Level(paper, key, level.target, min(have, level.target), best.name if best else None)
        )
        if best is not None:
            there[paper, key] += max(0, level.target - have)
    return found


def _set_aside(
    stock: Iterable[Stock], levels: Sequence[_Level], papers: Mapping[str, Paper]
) -> list[Stock]:
    """Take away what is held: of its size first, of any other size for the rest."""
    left = {index: one.there for index, one in enumerate(levels)}
    kept = list(stock)
    for of_size in (True, False):
        for place, one in enumerate(kept):
            if one.offcut or one.quantity is None:
                continue
            for index, level in enumerate(levels):
                alike = size_key(papers[one.paper], (one.width, one.height)) == level.key
                if level.paper == one.paper and alike is of_size and left[index]:
                    held = min(left[index], kept[place].quantity or 0)
                    left[index] -= held
                    kept[place] = replace(kept[place], quantity=(kept[place].quantity or 0) - held)
    return [one for one in kept if one.quantity is None or one.quantity]


def _told(book: _Book, bought: Bought) -> PurchasePlan:
    orders_of, due = _orders_of(book)
    used: dict[str, int] = defaultdict(int)
    waiting: dict[str, set[int]] = defaultdict(set)
    for layout in bought.answer.layouts:
        used[layout.stock] += layout.copies
        for piece in layout.placed:
            waiting[layout.stock].update(orders_of.get(piece.name, ()))
    lines = []
    for offer, packs in bought.packs:
        listed = book.named[offer.name][1]
        orders = tuple(sorted(waiting[offer.name], key=lambda number: (due[number], number)))
        needed = last = None
        if orders:
            needed = paper_there_by(due[orders[0]], book.making_days)
            last = order_by(due[orders[0]], book.making_days, listed.days)
        lines.append(
            PlanLine(listed, packs, packs * offer.pack, used[offer.name], orders, needed, last)
        )
    lines.sort(key=lambda one: (one.order_by or date.max, one.offer.supplier, one.offer.paper))
    stash = tuple(
        Kept(
            one.name, one.paper, one.width, one.height, used[one.name],
            (one.quantity or 0) - used[one.name], book.purchase_of.get(one.name),
        )
        for one in book.problem.stock
        if used[one.name]
    )  # fmt: skip
    held = tuple(
        LevelHeld(
            one.paper, *one.key, one.target, one.there,
            one.target - one.there if one.offer is not None else 0,
        )
        for one in book.levels
    )  # fmt: skip
    parts = book.to_cut.parts if book.to_cut else []
    unmade = tuple(
        Unmade(
            part.paper, part.piece.name, part.piece.width, part.piece.height, left.quantity,
            left.why, orders_of[left.name],
        )
        for left in bought.answer.unplaced
        for part in [parts[int(left.name)]]
    )  # fmt: skip
    return PurchasePlan(
        tuple(book.to_cut.orders) if book.to_cut else (),
        tuple(lines),
        bought.shipping,
        stash,
        held,
        unmade,
        bought,
        book.currency,
    )


def _orders_of(book: _Book) -> tuple[dict[str, tuple[int, ...]], dict[int, date]]:
    if book.to_cut is None:
        return {}, {}
    found: dict[str, list[int]] = defaultdict(list)
    for claim in book.to_cut.claims:
        for name, number in claim.pieces.items():
            if number:
                found[name].append(claim.order)
    due = {order.id: order.due for order in book.to_cut.orders}
    return {name: tuple(numbers) for name, numbers in found.items()}, due


def record(session: Session, plan: PurchasePlan, *, today: date) -> list[Purchase]:
    """Book what is to be bought, one purchase a supplier; each can be taken back.

    Raises
    ------
    Refusal
        If an offer has changed meanwhile, or there is nothing to buy.
    """
    if not plan.lines:
        raise Refusal("there is nothing to buy, so nothing was recorded")
    known = offers(session, sorted({one.offer.paper for one in plan.lines}), today=today)
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
            [Ordered(paper, size, packs, pack) for (paper, size, pack), packs in its.items()],
            today=today,
        )
        for supplier, its in wishes.items()
    ]
