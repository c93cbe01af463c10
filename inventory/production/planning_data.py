"""What planning reads of the book: stock, pieces, prices."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction

from sqlalchemy.orm import Session

from inventory.core.money import MOST_DECIMALS
from inventory.core.plan import (
    PartType,
    PieceShortage,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    ShoppingLine,
)
from inventory.database.tables.base import Order, Pattern, Shop, StockKind
from inventory.orders.orders import order_pieces
from inventory.production.sheets_to_buy import list_buyable_sheets, shopping_lines
from inventory.purchasing.prices import current_offers
from inventory.purchasing.purchases import scheduled_receipts
from inventory.shop.settings import get_shop
from inventory.stock.listing import StashRow, list_stash, planning_cost
from inventory.stock.papers import list_papers
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Refusal
from nester.core.geometry import voids
from nester.core.lengths import area_m2, format_size
from nester.core.piece import Grain, Piece, Turn
from nester.core.problem import Cuts, Demand, Effort, Layout, Problem, Rect, StockItem
from nester.core.purchase import Offer, PaperPurchasePlan
from nester.designs.demand import drop_conflicting_grain
from nester.packing.orders.whole_orders import OrderDemand, OrderSelection, unused_stock

__all__ = []


Substitutes = dict[int, dict[str, str]]
"""By order, which paper stands in for which."""


def wanted_papers(
    instead: Substitutes, session: Session, order: Order
) -> list[tuple[Piece, str, int]]:
    try:
        pieces = order_pieces(session, order, instead.get(order.id))
    except Refusal:
        if order.id not in instead:
            raise
        # It can't be made of what stands in: it binds there, for instance.
        pieces = order_pieces(session, order)
    return [
        (replace(piece, quantity=1), paper, piece.quantity * order.copies)
        for piece, paper in pieces
    ]


class PlanningData:
    """Everything that planning reads from the book, laid out beside each other."""

    def __init__(
        self,
        session: Session,
        orders: list[Order],
        wanted: Callable[[Session, Order], Iterable[tuple[Piece, str, int]]],
        *,
        follow_grain: bool,
        today: date,
    ) -> None:
        self.follow_grain = follow_grain
        self.shop: Shop = get_shop(session)
        self.orders = orders
        self.swatches = {paper.name: paper.swatch for paper in list_papers(session)}
        self._directional = {
            paper.name for paper in list_papers(session) if paper.pattern is Pattern.DIRECTIONAL
        }
        self.order_demands = self._order_demands(
            {order.id: wanted(session, order) for order in orders}
        )
        papers = sorted({part.paper for part in self.parts})
        # Sheets that are used up tell what sizes there are, and what they cost.
        rows = list_stash(session, papers=papers, empty_sheets=True)
        sizes = {
            paper: [(p.piece.width, p.piece.height) for p in self.parts if p.paper == paper]
            for paper in papers
        }
        self.buyable_sheets = list_buyable_sheets(
            rows, current_offers(session, papers, today=today), sizes
        )
        self._scheduled_receipts = [
            one for one in scheduled_receipts(session) if one.paper in papers
        ]
        taken = reserved_quantities(session)
        self.rows = {
            row.label: row._replace(quantity=row.quantity - booked) if booked else row
            for row in rows
            if row.quantity > (booked := taken.get(row.label, 0))
        }
        self.prices = {label: _planning_price(self.shop, row) for label, row in self.rows.items()}

    def _order_demands(
        self, wanted: Mapping[int, Iterable[tuple[Piece, str, int]]]
    ) -> list[OrderDemand]:
        index: dict[tuple[Piece, str], int] = {}
        claims = []
        due = {order.id: order.due for order in self.orders}
        for order, pieces in wanted.items():
            numbers: Counter[str] = Counter()
            for piece, paper, quantity in pieces:
                number = index.setdefault((piece, paper), len(index))
                numbers[str(number)] += quantity
            claims.append(OrderDemand(order, numbers, due[order]))
        self.parts = [PartType(paper, piece) for piece, paper in index]
        # No piece of its paper lies in a void with a shorter side than this.
        self._shortest_side_by_paper: dict[str, int] = {}
        for part in self.parts:
            short = min(part.piece.width, part.piece.height)
            self._shortest_side_by_paper[part.paper] = min(
                short, self._shortest_side_by_paper.get(part.paper, short)
            )
        return claims

    def problem(self, cuts: Cuts, stock: tuple[StockItem, ...] | None = None) -> Problem:
        """Return the whole cutting problem; wants are named by the number of their part.

        Parameters
        ----------
        stock
            What there is instead of the stash.
        """
        wished = self._unrelaxed_problem(cuts)
        return drop_conflicting_grain(wished if stock is None else replace(wished, stock=stock))[0]

    def _unrelaxed_problem(self, cuts: Cuts) -> Problem:
        totals: Counter[str] = Counter()
        for claim in self.order_demands:
            totals.update(claim.pieces)
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
        """Tell whether a piece may lie one way only on some paper that is at hand."""
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
        verdict: OrderSelection,
        effort: Effort,
        today: date,
        buy: Callable[[Problem, Sequence[Offer]], PaperPurchasePlan],
    ) -> Plan:
        """Return the selected orders as a plan of the shop, with what to buy for the rest.

        Parameters
        ----------
        buy
            As for `inventory.production.sheets_to_buy.shopping_lines`.
        """
        made = set(verdict.made)
        answer = verdict.cutting_plan
        cost, kept = _exact_decimal(answer.cost), _rounded_down(answer.offcut_value)
        return Plan(
            batch=None,
            made_on=today,
            shop=self.shop.name,
            unit=self.shop.unit,
            currency=self.shop.currency,
            cuts=verdict.problem.cuts,
            effort=effort,
            orders=tuple(
                PlannedOrder(o.id, o.customer, o.design, o.copies, o.due, o.id in made)
                for o in self.orders
            ),
            parts=tuple(self.parts),
            layouts=self._layouts(answer.layouts, verdict.made),
            lacking=tuple(
                PieceShortage(
                    lack.order,
                    part.paper,
                    part.piece.name,
                    part.piece.width,
                    part.piece.height,
                    lack.quantity,
                    lack.why,
                )
                for lack in verdict.shortfalls
                for part in [self.parts[int(lack.name)]]
            ),
            restock=self._shopping_lines(verdict, buy),
            cost=cost,
            # What is proven best must not look otherwise for the sake of the last decimal.
            bound=cost - kept
            if answer.lower_bound == answer.net_cost
            else _rounded_down(answer.lower_bound),
            notes=tuple(self._notes(verdict, today)),
            kept=kept,
            apart=self.shop.gap,
            trimmer=self.shop.trimmer,
            follow_grain=self.follow_grain,
        )

    def _layouts(self, layouts: Iterable[Layout], made: Sequence[int]) -> tuple[PlannedLayout, ...]:
        """Put the layouts in order, paper by paper, and say which order each piece is for."""
        claims = {claim.order: Counter(claim.pieces) for claim in self.order_demands}
        queues: dict[str, list[int]] = defaultdict(list)
        for order in made:
            for name, quantity in claims[order].items():
                queues[name].extend([order] * quantity)
        for queue in queues.values():
            queue.reverse()
        planned = []
        for number, layout in enumerate(sorted(layouts, key=self._layout_sort_key), start=1):
            row = self.rows[layout.stock]
            spots = tuple(
                PlannedPlacement(
                    int(one.name),
                    one.x,
                    one.y,
                    one.width,
                    one.height,
                    one.turned,
                    tuple(queues[one.name].pop() for _ in range(layout.copies)),
                )
                for one in layout.placed
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

    def _layout_sort_key(self, layout: Layout) -> tuple[str, int, int]:
        row = self.rows[layout.stock]
        return row.paper.casefold(), -row.width * row.height, int(row.label.partition("-")[2])

    def _shopping_lines(
        self,
        verdict: OrderSelection,
        buy: Callable[[Problem, Sequence[Offer]], PaperPurchasePlan],
    ) -> tuple[ShoppingLine, ...]:
        lacking = {self.parts[int(lack.name)].paper for lack in verdict.shortfalls}
        if not lacking:
            return ()
        waiting = [claim for claim in self.order_demands if claim.order in set(verdict.waiting)]
        totals: Counter[str] = Counter()
        for claim in waiting:
            totals.update(claim.pieces)
        whole = self.problem(verdict.problem.cuts)
        problem = replace(
            whole,
            demands=tuple(
                replace(want, quantity=totals[want.name])
                for want in whole.demands
                if want.paper in lacking and totals[want.name]
            ),
            stock=unused_stock(whole.stock, verdict.cutting_plan) + self._on_order_stock(),
        )
        orders_of = {
            want.name: tuple(c.order for c in waiting if c.pieces.get(want.name))
            for want in problem.demands
        }
        return shopping_lines(problem, self.buyable_sheets, orders_of, buy)

    def _on_order_stock(self) -> tuple[StockItem, ...]:
        """Return what is ordered and has not come yet: it need not be bought again."""
        return tuple(
            StockItem(
                f"on its way {number}", one.width, one.height, one.sheets, Fraction(0), one.paper,
                one.margins, grain=one.grain,
            )
            for number, one in enumerate(self._scheduled_receipts)
        )  # fmt: skip

    def _notes(self, verdict: OrderSelection, today: date) -> Iterable[str]:
        answer = verdict.cutting_plan
        if verdict.waiting and verdict.is_optimal:
            yield "No choice of orders completes more of them."
        if answer.interrupted:
            yield "The search was stopped early; this is the best plan it had found."
        for order in self.orders:
            if order.due < today:
                yield f"Order {order.id} was due on {order.due.isoformat()}."
        for paper in drop_conflicting_grain(self._unrelaxed_problem(verdict.problem.cuts))[1]:
            yield (
                f"The grain of {paper} is not followed: some pieces must stand upright on it, and"
                " its fibres lie one way in some sheets and another way in others."
            )
        lacking = {lack.name for lack in verdict.shortfalls}
        lacked = {self.parts[int(name)].paper for name in lacking}
        for one in self._scheduled_receipts:
            if one.paper in lacked:
                size = format_size(one.width, one.height, self.shop.unit)
                yield (
                    f"On its way: {one.sheets} × {one.paper}, {size}, expected on"
                    f" {one.expected.isoformat()} (purchase {one.purchase})."
                )
        if any(self._is_grain_bound(self.parts[int(name)]) for name in lacking):
            yield (
                "Some of the pieces that are lacking must follow the grain; 'quirebox batch plan"
                " --ignore-grain' lets them lie as they may."
            )
        unpriced = sorted(
            {
                self.rows[one.stock].paper
                for one in answer.layouts
                if self.rows[one.stock].price is None and self.rows[one.stock].area_price is None
            }
        )
        if unpriced:
            yield (
                f"No price is known for {', '.join(unpriced)}; counted at"
                f" 1 {self.shop.currency} a square metre."
            )


def _planning_price(shop: Shop, row: StashRow) -> Decimal:
    """Return what a sheet counts; by its area, if nobody gave it a price."""
    area = row.width * row.height
    if row.price is None and row.area_price is None:
        return _rounded_down(area_m2(area))
    if row.price is None and row.area_price is not None and row.kind is StockKind.SHEET:
        return _rounded_down(row.area_price * area)
    return planning_cost(shop, row)


def _exact_decimal(value: Fraction) -> Decimal:
    """Return a sum of prices, each of which has at most four decimals, as the decimal it is."""
    return Decimal(int(value * 10**MOST_DECIMALS)).scaleb(-MOST_DECIMALS)


def _rounded_down(value: Fraction) -> Decimal:
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    return exact.quantize(Decimal(1).scaleb(-MOST_DECIMALS), ROUND_FLOOR)
