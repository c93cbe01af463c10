"""What orders, batches and designs cost: from their plans, or estimated.

The sums are calculated in `inventory.costs.costing`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.core.money import round_to_coin
from inventory.core.text import whole_number
from inventory.costs.costing import (
    Cost,
    CostObject,
    CostShare,
    CutPiece,
    CutSheet,
    Rates,
    allocate_amount,
    cost_of,
    cost_shares,
)
from inventory.costs.rates import rates_of
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Order
from inventory.orders.custom_designs import find_design, text_of_design
from inventory.orders.orders import get_order, order_consumables, order_pieces
from inventory.production.cutting import sheets_taken
from inventory.shop.settings import get_shop
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.papers import find_paper, list_papers
from nester.core.lengths import grams
from nester.core.piece import Piece
from nester.core.problem import Effort, Layout
from nester.core.purchase import Offer
from nester.designs import check_roles
from nester.designs.base.totals import total_consumables

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile
    from inventory.production.sheets_to_buy import BuyableSheet
    from nester.core.lengths import Unit
    from nester.core.problem import Trimmer
    from nester.core.sheet_sizes import Size
    from nester.packing import Stop

__all__ = [
    "PRINTED",
    "BatchCost",
    "BatchCostRow",
    "OrderCost",
    "batch_cost",
    "design_cost",
    "order_cost",
    "plan_shares",
    "read_order_estimate",
]

PRINTED = "photo"
"""The part of a design whose pieces are printed."""


# --- a plan, shared among its orders -----------------------------------------------------------


class PlanShare(NamedTuple):
    """What one order pays of a plan; `paper` (by paper) and `cutting` in whole coins."""

    share: CostShare
    paper: Mapping[str, Decimal]
    cutting: Decimal


def plan_shares(plan: Plan, rates: Rates) -> dict[int, PlanShare]:
    """Share the paper of a plan, and the work of cutting it, among its orders.

    Returns
    -------
    dict
        By order.  Its papers sum to what the plan's paper costs net, its cutting to what all of
        the cutting costs, both rounded to the smallest coin.
    """
    shares = cost_shares(_sheets_of(plan, rates))
    # The paper is rounded once over all orders and papers, so that every sum of it is exact.
    cells = [(order, paper) for order in sorted(shares) for paper in sorted(shares[order].costs)]
    if not cells:
        return {}
    coins = allocate_amount(
        round_to_coin(plan.net_cost, plan.currency),
        [shares[order].costs[paper] for order, paper in cells],
        plan.currency,
    )
    papers: dict[int, dict[str, Decimal]] = defaultdict(dict)
    for (order, paper), amount in zip(cells, coins, strict=True):
        papers[order][paper] = amount
    minutes = [shares[order].minutes for order in papers]
    work = round_to_coin(sum(minutes, Fraction(0)) * Fraction(rates.hour or 0) / 60, plan.currency)
    cutting = allocate_amount(work, minutes, plan.currency)
    return {
        order: PlanShare(shares[order], papers[order], amount)
        for order, amount in zip(papers, cutting, strict=True)
    }


def _sheets_of(plan: Plan, rates: Rates) -> Iterator[CutSheet[int]]:
    """Yield the sheets of a plan, those together whose pieces are for the same orders."""
    of_sheets, of_offcuts = plan.offcut_value_shares()
    for planned in plan.layouts:
        sheet = planned.sheet
        minutes = _minutes(plan.as_layout(planned)[0], plan.trimmer, rates)
        kept_share = Fraction(
            sum(rect.area for rect in planned.offcuts), sheet.width * sheet.height
        )
        price = Fraction(sheet.price)
        kept = price * kept_share * (of_offcuts if sheet.kind == "offcut" else of_sheets)
        pieces = plan.pieces_of(planned)
        copies_of = Counter(zip(*(spot.orders for spot in planned.spots), strict=True))
        for owners, copies in copies_of.items():
            cut = tuple(
                CutPiece(owner, piece.area, _edge(piece))
                for owner, piece in zip(owners, pieces, strict=True)
            )
            yield CutSheet(sheet.paper, price, kept, minutes, cut, copies)


def _minutes(layout: Layout, trimmer: Trimmer, rates: Rates) -> Fraction:
    """Return how long it takes to cut one sheet of a layout, at the shop's own pace."""
    return rates.pace.minutes(replace(layout, copies=1), trimmer)


def _edge(piece: Piece) -> int:
    return 2 * (piece.width + piece.height)


# --- orders ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OrderCost:
    """What an order costs.

    Attributes
    ----------
    order
        Its number; None for a design that nobody has ordered.
    batches
        The batches from whose plans it is calculated; none if it is an estimate.
    notes
        What the maker should know about how it was calculated.
    """

    order: int | None
    customer: str
    design: str
    batches: tuple[int, ...]
    cost: Cost
    notes: tuple[str, ...]

    @property
    def is_estimated(self) -> bool:
        """Whether its paper is estimated from new sheets, as it is not planned yet."""
        return not self.batches


def order_cost(
    shop_file: ShopFile,
    number: int,
    *,
    today: date,
    posted: bool = True,
    each: Decimal | None = None,
    stop: Stop | None = None,
) -> OrderCost:
    """Return what an order costs: by the plans it is cut by, or else estimated.

    The estimate cuts the order alone from new sheets that can be bought.

    Parameters
    ----------
    today
        The day whose prices of new sheets count.
    posted
        False: it is collected, so that there is no postage.
    each
        What one box is sold for; the price agreed with the order, or else the suggested one, unless
        given.

    Raises
    ------
    Refusal
        If there is no such order, or its design can't be made any more.
    """
    with shop_file.read() as session:
        order = get_order(session, number)
        each = order.price if each is None else each
        rates = rates_of(session)
        batches = [batch for batch in order.batches if batch.status in _COSTED_STATUSES]
        if batches:
            plans = [sheets_taken(session, batch, plan_of(batch)) for batch in batches]
            notes = []
            if mending := [str(batch.id) for batch in batches if batch.mends_id is not None]:
                notes.append(f"Pieces that were cut again in batch {', '.join(mending)} are in it.")
            if any(spare.order == number for plan in plans for spare in plan.spares):
                notes.append("Spare pieces that it takes cost it nothing.")
            if order.status is OrderStatus.CONFIRMED:
                notes.append("What is still to be planned of it is not in it.")
            return _planned(session, order, plans, rates, notes, posted=posted, each=each)
        estimate = _Estimate(session, order, rates, None, today)
    return estimate.cost(posted=posted, each=each, stop=stop)


def read_order_estimate(
    session: Session, number: int, *, today: date
) -> Callable[[Stop | None], Decimal]:
    """Read what an order would cost if cut alone from new sheets; the result works it out.

    It needs no session any more, so what orders cost before and after a change can be compared
    that is only rehearsed.

    Raises
    ------
    Refusal
        If there is no such order, or its design can't be made any more.
    """
    estimate = _Estimate(session, get_order(session, number), rates_of(session), None, today)
    return lambda stop: estimate.cost(posted=True, each=None, stop=stop).cost.cost


_COSTED_STATUSES = (BatchStatus.OPEN, BatchStatus.CUT)


def design_cost(
    shop_file: ShopFile,
    design: str,
    sizes: Mapping[str, str],
    papers: Mapping[str, str],
    copies: int = 1,
    *,
    today: date,
    on: Callable[[Unit], Sequence[tuple[Size, Decimal]]] = lambda _: (),
    posted: bool = True,
    each: Decimal | None = None,
    stop: Stop | None = None,
) -> OrderCost:
    """Return what boxes would cost that nobody has ordered, cut from new sheets.

    Parameters
    ----------
    design, sizes, papers, copies
        As for `inventory.orders.orders.add_order`.
    today
        The day whose prices of new sheets count.
    on
        Sheets and their prices, for every paper, read with the shop's unit; if none, those of each
        paper that can be bought.

    Raises
    ------
    Refusal
        If there is no such design or paper, or it can't be made in these sizes.
    """
    from inventory.production.sheets_to_buy import BuyableSheet

    with shop_file.read() as session:
        chosen = find_design(session, design)
        check_roles(chosen, papers)
        unit = get_shop(session).unit
        order = Order(
            customer="",
            design=chosen.name,
            sizes=dict(sizes),
            unit=unit,
            papers={role: find_paper(session, name).name for role, name in papers.items()},
            copies=whole_number(copies, "the number of copies", least=1),
            due=date.max,
            design_text=text_of_design(session, chosen.name),
        )
        offered = [
            BuyableSheet(
                Offer(f"{paper} {number}", "", paper, size.width, size.height, 1, Fraction(price))
            )
            for number, (size, price) in enumerate(on(unit), 1)
            for paper in sorted(set(order.papers.values()))
        ]
        estimate = _Estimate(session, order, rates_of(session), offered or None, today)
    return estimate.cost(posted=posted, each=each, stop=stop)


def _box(session: Session, order: Order, paper_grams: Fraction) -> CostObject:
    pieces = [piece for piece, _ in order_pieces(session, order)]
    totals = total_consumables(order_consumables(session, order))
    return CostObject(
        design=order.design,
        copies=order.copies,
        pieces=sum(piece.quantity for piece in pieces),
        prints=tuple(
            (piece.width, piece.height, piece.quantity)
            for piece in pieces
            if piece.role.partition(".")[0] == PRINTED
        ),
        consumables=tuple((total.name, total.measure, total.amount) for total in totals),
        paper_grams=paper_grams,
    )


def _grammages(session: Session) -> dict[str, int]:
    return {paper.name: paper.grammage for paper in list_papers(session)}


def _planned(
    session: Session,
    order: Order,
    plans: Sequence[Plan],
    rates: Rates,
    notes: Sequence[str],
    *,
    posted: bool,
    each: Decimal | None,
) -> OrderCost:
    """Add up what an order pays of each of its plans.

    Parameters
    ----------
    plans
        Of the batches that cut pieces for it; spare pieces that it takes cost it nothing.
    """
    grammages = _grammages(session)
    areas: dict[str, int] = defaultdict(int)
    costs: dict[str, Fraction] = defaultdict(Fraction)
    papers: dict[str, Decimal] = defaultdict(Decimal)
    minutes, cutting = Fraction(0), Decimal(0)
    all_shares = [plan_shares(plan, rates) for plan in plans]
    shares = [its[order.id] for its in all_shares if order.id in its]
    for plan_share in shares:
        for name, area in plan_share.share.areas.items():
            areas[name] += area
            costs[name] += plan_share.share.costs[name]
            papers[name] += plan_share.paper[name]
        minutes += plan_share.share.minutes
        cutting += plan_share.cutting
    paper_grams = sum(
        (
            grams(piece.area * piece.quantity, grammages.get(paper, 0))
            for piece, paper in order_pieces(session, order)
        ),
        Fraction(0),
    )
    cost = cost_of(
        _box(session, order, paper_grams),
        CostShare(areas, costs, minutes),
        rates,
        paper=papers,
        cutting=cutting,
        posted=posted,
        each=each,
    )
    used = {layout.sheet.label for plan in plans for layout in plan.layouts}
    unpriced = {
        row.paper
        for row in list_stash(session, include_empty=True)
        if row.label in used and row.paper in areas and row.price is None and row.area_price is None
    }
    cost = replace(cost, unknown=(*_unpriced(sorted(unpriced), rates), *cost.unknown))
    numbers = tuple(plan.batch for plan in plans if plan.batch is not None)
    return OrderCost(order.id, order.customer, order.design, numbers, cost, tuple(notes))


def _unpriced(papers: Sequence[str], rates: Rates) -> Iterator[str]:
    for paper in papers:
        yield f"no price is known for {paper}; it counts 1 {rates.currency} a square metre"


class _Estimate:
    """What is read from the shop to estimate an order; the search comes after it."""

    def __init__(
        self,
        session: Session,
        order: Order,
        rates: Rates,
        sizes: Sequence[BuyableSheet] | None,
        today: date,
    ) -> None:
        from inventory.production.planning import from_new_sheets

        grammages = _grammages(session)
        weight = sum(
            (
                grams(piece.area * piece.quantity, grammages[paper])
                for piece, paper in order_pieces(session, order)
            ),
            Fraction(0),
        )
        self.box = _box(session, order, weight)
        self.rates = rates
        self.names = (order.id, order.customer, order.design)
        self.problem, self.parts, self.sizes = from_new_sheets(session, order, sizes, today=today)

    def cost(self, *, posted: bool, each: Decimal | None, stop: Stop | None) -> OrderCost:
        from nester.packing import never, solve
        from nester.verify import require_valid

        answer = solve(self.problem, effort=Effort.QUICK, stop=stop or never)
        require_valid(self.problem, answer)
        sheets = [self._sheet(layout) for layout in answer.layouts]
        share = cost_shares(sheets).get(0, CostShare({}, {}, Fraction(0)))
        cost = cost_of(self.box, share, self.rates, posted=posted, each=each)
        used = {layout.stock for layout in answer.layouts}
        unpriced = {
            sheet.offer.paper
            for name, sheet in self.sizes.items()
            if name in used and not sheet.is_priced
        }
        too_small = sorted({self.parts[int(piece.name)].paper for piece in answer.unplaced})
        unknown = [
            *_unpriced(sorted(unpriced), self.rates),
            *(f"no sheet of {paper} is known that is large enough" for paper in too_small),
            *cost.unknown,
        ]
        number, customer, design = self.names
        cost = replace(cost, unknown=tuple(unknown))
        return OrderCost(number, customer, design, (), cost, ())

    def _sheet(self, layout: Layout) -> CutSheet[int]:
        offer = self.sizes[layout.stock].offer
        kept_share = Fraction(sum(rect.area for rect in layout.offcuts), offer.width * offer.height)
        price = offer.sheet_price
        pieces = (self.parts[int(placed.name)].piece for placed in layout.placed)
        return CutSheet(
            offer.paper,
            price,
            price * kept_share * self.problem.offcut_value_share,
            _minutes(layout, self.problem.trimmer, self.rates),
            tuple(CutPiece(0, piece.area, _edge(piece)) for piece in pieces),
            layout.copies,
        )


# --- batches -----------------------------------------------------------------------------------


class BatchCostRow(NamedTuple):
    """What one order pays of a batch: paper less the offcuts kept, and the work of cutting."""

    order: int
    customer: str
    paper: Decimal
    cutting: Decimal


@dataclass(frozen=True)
class BatchCost:
    """What a batch costs, and which order pays how much; the rows sum to it exactly.

    Attributes
    ----------
    paper
        What its sheets cost, less what the offcuts kept count.
    """

    batch: int
    currency: str
    paper: Decimal
    cutting: Decimal
    minutes: Fraction
    rows: tuple[BatchCostRow, ...]


def batch_cost(session: Session, number: int) -> BatchCost:
    """Share what a batch costs among its orders.

    Raises
    ------
    Refusal
        If there is no such batch.
    """
    batch = get_batch(session, number)
    plan = sheets_taken(session, batch, plan_of(batch))
    shares = plan_shares(plan, rates_of(session))
    customers = {order.number: order.customer for order in plan.orders}
    rows = tuple(
        BatchCostRow(
            order,
            customers.get(order, "spare pieces"),
            sum(share.paper.values(), Decimal(0)),
            share.cutting,
        )
        for order, share in shares.items()
    )
    return BatchCost(
        number,
        plan.currency,
        round_to_coin(plan.net_cost, plan.currency),
        sum((row.cutting for row in rows), Decimal(0)),
        sum((share.share.minutes for share in shares.values()), Fraction(0)),
        rows,
    )
