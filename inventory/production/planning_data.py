"""What planning reads of the shop: stock, pieces, prices."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import partial

from sqlalchemy.orm import Session

from inventory.core.labels import label_sort_key
from inventory.core.money import MOST_DECIMALS, floor_to_decimals
from inventory.core.plan import (
    NOBODY,
    PartType,
    PieceShortage,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    PlannedSpare,
    ShoppingLine,
)
from inventory.database.tables.enums import Pattern
from inventory.database.tables.orders import Order
from inventory.database.tables.shop import Shop
from inventory.pieces.order_needs import SpareShelf, order_needs
from inventory.pieces.spare_rule import NO_SPARES, SpareRule
from inventory.production.sheets_to_buy import (
    BuyableSheet,
    list_buyable_sheets,
    shopping_lines,
)
from inventory.purchasing.optimizer_offers import (
    listed_offers,
    offers_in_time,
    supplier_terms_for,
)
from inventory.purchasing.order_days import paper_needed_by
from inventory.purchasing.prices import current_offers
from inventory.purchasing.purchases import scheduled_receipts
from inventory.shop.settings import get_shop
from inventory.stock.listing import list_stash, planning_price
from inventory.stock.papers import list_papers
from inventory.stock.reservations import available_rows
from nester.core.geometry import voids
from nester.core.lengths import format_size
from nester.core.piece import Grain, Piece, Turn
from nester.core.problem import Cuts, Demand, Effort, Layout, Problem, Rect, StockItem
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.designs.demand import drop_conflicting_grain
from nester.packing.orders.whole_orders import OrderDemand, OrderSelection, unused_stock

__all__ = []


Substitutes = dict[int, dict[str, str]]
"""By order, the substitute of each paper that has one."""


def wanted_papers(
    substituted: Substitutes, session: Session, order: Order
) -> list[tuple[Piece, str, int]]:
    """Return the pieces still to be cut for an order, with their papers and how many."""
    return order_needs(session, order, substituted.get(order.id))


def spare_notes(*, short: bool) -> Iterator[str]:
    """Say that spare pieces were wanted, and the paper is short of them."""
    if short:
        yield "No spare pieces are cut: the paper does not suffice for them and all orders."


class PlanningData:
    """Everything that planning reads from the shop, at one moment.

    Parameters
    ----------
    orders
        The most urgent first.
    wanted
        Gives the pieces of an order, their papers and how many of each are needed.
    follow_grain
        Whether pieces that need a grain direction get it.
    today
        The day whose prices count.
    spares
        How many spare pieces to cut beside.

    Attributes
    ----------
    taken_spares
        What orders take from the spare pieces, so that it need not be cut.
    """

    def __init__(
        self,
        session: Session,
        orders: list[Order],
        wanted: Callable[[Session, Order], Iterable[tuple[Piece, str, int]]],
        *,
        follow_grain: bool,
        today: date,
        spares: SpareRule = NO_SPARES,
    ) -> None:
        self.follow_grain = follow_grain
        self.shop: Shop = get_shop(session)
        self.orders = orders
        self.swatches = {paper.name: paper.swatch for paper in list_papers(session)}
        self._directional = {
            paper.name for paper in list_papers(session) if paper.pattern is Pattern.DIRECTIONAL
        }
        self.taken_spares: list[PlannedSpare] = []
        shelf = SpareShelf(session)
        self.order_demands = self._order_demands(
            {order.id: self._less_spares(shelf, order, wanted(session, order)) for order in orders}
        )
        if extras := spares.extras(self.parts, self.order_demands):
            self.order_demands.append(OrderDemand(NOBODY, extras, date.max))
        papers = sorted({part.paper for part in self.parts})
        # Sheets that are used up show in which sizes a paper comes, and what they cost.
        rows = list_stash(session, papers=papers, empty_sheets=True)
        sizes = {
            paper: [(p.piece.width, p.piece.height) for p in self.parts if p.paper == paper]
            for paper in papers
        }
        self._listed = current_offers(session, papers, today=today)
        self.buyable_sheets = list_buyable_sheets(rows, self._listed, sizes)
        self._usual_sheets = partial(list_buyable_sheets, rows, sizes=sizes)
        self._terms = supplier_terms_for(session, (pack.supplier for pack in self._listed), today)
        self._scheduled_receipts = [
            receipt for receipt in scheduled_receipts(session) if receipt.paper in papers
        ]
        self.rows = {row.label: row for row in available_rows(session, rows)}
        self.prices = {label: planning_price(self.shop, row) for label, row in self.rows.items()}

    def _less_spares(
        self, shelf: SpareShelf, order: Order, wanted: Iterable[tuple[Piece, str, int]]
    ) -> list[tuple[Piece, str, int]]:
        """Return what an order needs less the spare pieces that it takes."""
        rest = []
        for piece, paper, quantity in wanted:
            for label, number, place in shelf.take(piece, paper, quantity):
                spare = PlannedSpare(label, order.id, piece.name, paper, number, place)
                self.taken_spares.append(spare)
                quantity -= number
            if quantity:
                rest.append((piece, paper, quantity))
        return rest

    def _order_demands(
        self, wanted: Mapping[int, Iterable[tuple[Piece, str, int]]]
    ) -> list[OrderDemand]:
        index: dict[tuple[Piece, str], int] = {}
        order_demands = []
        due = {order.id: order.due for order in self.orders}
        for order, pieces in wanted.items():
            numbers: Counter[str] = Counter()
            for piece, paper, quantity in pieces:
                number = index.setdefault((piece, paper), len(index))
                numbers[str(number)] += quantity
            order_demands.append(OrderDemand(order, numbers, due[order]))
        self.parts = [PartType(paper, piece) for piece, paper in index]
        # No piece of the paper fits into a void with a shorter side than this.
        self._shortest_side_by_paper: dict[str, int] = {}
        for part in self.parts:
            short = min(part.piece.width, part.piece.height)
            self._shortest_side_by_paper[part.paper] = min(
                short, self._shortest_side_by_paper.get(part.paper, short)
            )
        return order_demands

    def problem(self, cuts: Cuts, stock: tuple[StockItem, ...] | None = None) -> Problem:
        """Return the whole cutting problem; demands are named by the index of their part.

        Parameters
        ----------
        stock
            What to cut from instead of the stash.
        """
        problem = self._unrelaxed_problem(cuts)
        if stock is not None:
            problem = replace(problem, stock=stock)
        return drop_conflicting_grain(problem)[0]

    def _unrelaxed_problem(self, cuts: Cuts) -> Problem:
        totals: Counter[str] = Counter()
        for order_demand in self.order_demands:
            totals.update(order_demand.pieces)
        return Problem(
            demands=tuple(
                Demand(
                    str(number),
                    part.piece.width,
                    part.piece.height,
                    totals[str(number)],
                    part.paper,
                    self._turn(part),
                    self._voids(part),
                    self._required_grain(part),
                )
                for number, part in enumerate(self.parts)
            ),
            stock=tuple(
                replace(row.as_sheet, price=Fraction(self.prices[row.label]))
                for row in self.rows.values()
            ),
            cuts=cuts,
            smallest_offcut=self.shop.smallest_offcut,
            gap=self.shop.gap,
            trimmer=self.shop.trimmer,
            offcut_value_share=Fraction(self.shop.offcut_worth, 100),
        )

    def _turn(self, part: PartType) -> Turn:
        upright = part.piece.upright and part.paper in self._directional
        return Turn.NONE if upright else Turn.ANY

    def _required_grain(self, part: PartType) -> Grain:
        if not self.follow_grain or self._turn(part) is not Turn.ANY:
            return Grain.ANY
        return part.piece.grain

    def _is_grain_bound(self, part: PartType) -> bool:
        """Tell whether the grain binds a piece to one way on some sheet on hand."""
        return self._required_grain(part) is not Grain.ANY and any(
            row.paper == part.paper and row.grain is not Grain.ANY for row in self.rows.values()
        )

    def _voids(self, part: PartType) -> tuple[Rect, ...]:
        """Return where a piece leaves paper for other pieces or for an offcut worth keeping."""
        if part.piece.is_rectangle:
            return ()
        least = min(self.shop.smallest_offcut, self._shortest_side_by_paper[part.paper])
        return voids(part.piece, least)

    def plan(
        self,
        selection: OrderSelection,
        effort: Effort,
        today: date,
        buy: Callable[[Problem, Sequence[Offer], Sequence[SupplierTerms]], PaperPurchasePlan],
    ) -> Plan:
        """Return the selected orders as a plan of the shop, with what to buy for the rest.

        Parameters
        ----------
        buy
            As for `inventory.production.sheets_to_buy.shopping_lines`.
        """
        made = set(selection.made)
        answer = selection.cutting_plan
        cost, kept = _exact_decimal(answer.cost), floor_to_decimals(answer.offcut_value)
        return Plan(
            batch=None,
            made_on=today,
            shop=self.shop.name,
            unit=self.shop.unit,
            currency=self.shop.currency,
            cuts=selection.problem.cuts,
            effort=effort,
            orders=tuple(
                PlannedOrder(
                    order.id,
                    order.customer,
                    order.design,
                    order.copies,
                    order.due,
                    order.id in made,
                )
                for order in self.orders
            ),
            parts=tuple(self.parts),
            layouts=self._layouts(answer.layouts, selection.made),
            lacking=tuple(
                PieceShortage(
                    shortfall.order,
                    part.paper,
                    part.piece.name,
                    part.piece.width,
                    part.piece.height,
                    shortfall.quantity,
                    shortfall.why,
                )
                for shortfall in selection.shortfalls
                for part in [self.parts[int(shortfall.name)]]
            ),
            restock=self._shopping_lines(selection, today, buy),
            cost=cost,
            # A plan proven best must not show a gap that only rounding made.
            bound=cost - kept
            if answer.lower_bound == answer.net_cost
            else floor_to_decimals(answer.lower_bound),
            notes=tuple(self._notes(selection, today)),
            kept=kept,
            apart=self.shop.gap,
            trimmer=self.shop.trimmer,
            follow_grain=self.follow_grain,
            spares=tuple(spare for spare in self.taken_spares if spare.order in made),
        )

    def _layouts(self, layouts: Iterable[Layout], made: Sequence[int]) -> tuple[PlannedLayout, ...]:
        """Put the layouts in order, paper by paper, and say which order each piece is for.

        Equal pieces go to the most urgent orders first, in the order in which they are cut.
        """
        pieces_of = {demand.order: Counter(demand.pieces) for demand in self.order_demands}
        queues: dict[str, list[int]] = defaultdict(list)
        for order in sorted(made, key=lambda order: order == NOBODY):
            for name, quantity in pieces_of[order].items():
                queues[name].extend([order] * quantity)
        for queue in queues.values():
            queue.reverse()  # popped from its end
        planned = []
        for number, layout in enumerate(sorted(layouts, key=self._layout_sort_key), start=1):
            row = self.rows[layout.stock]
            spots = tuple(
                PlannedPlacement(
                    int(piece.name),
                    piece.x,
                    piece.y,
                    piece.width,
                    piece.height,
                    piece.turned,
                    tuple(queues[piece.name].pop() for _ in range(layout.copies)),
                )
                for piece in layout.placed
            )
            sheet = PlannedSheet(
                row.label,
                row.kind,
                row.paper,
                self.swatches[row.paper],
                row.width,
                row.height,
                row.place,
                self.prices[row.label],
                row.grain,
                row.paper in self._directional,
                row.margins,
                row.damaged_areas,
            )
            planned.append(
                PlannedLayout(number, sheet, layout.copies, spots, layout.cuts, layout.offcuts)
            )
        return tuple(planned)

    def _layout_sort_key(self, layout: Layout) -> tuple[str, int, tuple[int, int]]:
        row = self.rows[layout.stock]
        return row.paper.casefold(), -row.width * row.height, label_sort_key(row.label)

    def _shopping_lines(
        self,
        selection: OrderSelection,
        today: date,
        buy: Callable[[Problem, Sequence[Offer], Sequence[SupplierTerms]], PaperPurchasePlan],
    ) -> tuple[ShoppingLine, ...]:
        """Return what to buy so that the waiting orders can be made, beside what is on its way."""
        missing = {self.parts[int(shortfall.name)].paper for shortfall in selection.shortfalls}
        if not missing:
            return ()
        waiting = [
            demand for demand in self.order_demands if demand.order in set(selection.waiting)
        ]
        totals: Counter[str] = Counter()
        for order_demand in waiting:
            totals.update(order_demand.pieces)
        whole = self.problem(selection.problem.cuts)
        problem = replace(
            whole,
            demands=tuple(
                replace(demand, quantity=totals[demand.name])
                for demand in whole.demands
                if demand.paper in missing and totals[demand.name]
            ),
            stock=unused_stock(whole.stock, selection.cutting_plan) + self._on_order_stock(),
        )
        orders_of = {
            demand.name: tuple(row.order for row in waiting if row.pieces.get(demand.name))
            for demand in problem.demands
        }
        needed: dict[str, date] = {}
        due = {order.id: order.due for order in self.orders}
        for row in waiting:
            day = paper_needed_by(due[row.order], self.shop.making_days)
            for name, number in row.pieces.items():
                if number:
                    paper = self.parts[int(name)].paper
                    needed[paper] = min(day, needed.get(paper, day))
        listed = offers_in_time(
            [pack for pack in self._listed if pack.paper in missing], needed, today=today
        )
        offers = [offer for offer, _ in listed_offers(listed, self.shop.unit).values()]
        usual = self._usual_sheets(listed)[len(listed) :]
        return shopping_lines(
            problem, [*map(BuyableSheet, offers), *usual], self._terms, orders_of, buy
        )

    def _on_order_stock(self) -> tuple[StockItem, ...]:
        """Return what is ordered and has not come yet: it need not be bought again."""
        return tuple(
            StockItem(
                f"on its way {number}", receipt.width, receipt.height, receipt.sheets, Fraction(0),
                receipt.paper, receipt.margins, grain=receipt.grain,
            )
            for number, receipt in enumerate(self._scheduled_receipts)
        )  # fmt: skip

    def _notes(self, selection: OrderSelection, today: date) -> Iterable[str]:
        answer = selection.cutting_plan
        if selection.waiting and selection.is_optimal:
            yield "No choice of orders completes more of them."
        if answer.interrupted:
            yield "The search was stopped early; this is the best plan it had found."
        for order in self.orders:
            if order.due < today:
                yield f"Order {order.id} was due on {order.due.isoformat()}."
        for paper in drop_conflicting_grain(self._unrelaxed_problem(selection.problem.cuts))[1]:
            yield (
                f"The grain of {paper} is not followed: some pieces must stand upright on it, and"
                " its fibres lie one way in some sheets and another way in others."
            )
        missing = [self.parts[int(shortfall.name)] for shortfall in selection.shortfalls]
        missing_papers = {part.paper for part in missing}
        for receipt in self._scheduled_receipts:
            if receipt.paper in missing_papers:
                size = format_size(receipt.width, receipt.height, self.shop.unit)
                yield (
                    f"On its way: {receipt.sheets} × {receipt.paper}, {size}, expected on"
                    f" {receipt.expected.isoformat()} (purchase {receipt.purchase})."
                )
        if any(self._is_grain_bound(part) for part in missing):
            yield (
                "Some of the pieces that are lacking must follow the grain; 'quirebox batch plan"
                " --ignore-grain' lets them lie as they may."
            )
        unpriced = sorted(
            {
                row.paper
                for row in (self.rows[layout.stock] for layout in answer.layouts)
                if row.price is None and row.area_price is None
            }
        )
        if unpriced:
            yield (
                f"No price is known for {', '.join(unpriced)}; counted at"
                f" 1 {self.shop.currency} a square metre."
            )


def _exact_decimal(value: Fraction) -> Decimal:
    """Return a sum of prices, each of which has at most four decimals, as the decimal it is."""
    return Decimal(int(value * 10**MOST_DECIMALS)).scaleb(-MOST_DECIMALS)
