"""Batches: orders planned together against the stash, then cut; one function a deed.

The search for a plan takes seconds, so it runs between two short transactions: one reads the
stash, the other books the batch if the stash still has what the plan takes.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from functools import partial

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory import ledger
from inventory.buying import on_sale, restock
from inventory.models import Batch, BatchStatus, Kind, Order, Pattern, Reason, Shop, Status
from inventory.money import MOST_DECIMALS
from inventory.orders import get_order, list_orders, order_pieces, set_status
from inventory.plan import (
    Lacking,
    Part,
    Plan,
    PlannedLayout,
    PlannedOrder,
    Restock,
    Sheet,
    Spot,
    plan_from_json,
    plan_to_json,
)
from inventory.reservations import reserved
from inventory.shop import ShopFile, the_shop
from inventory.stash import StashRow, add_offcut, find_stock, list_papers, list_stash, worth
from nester.layouts import Answer, Cuts, Effort, Layout, Problem, Rect, Stock, Want
from nester.measure import area_m2
from nester.packing import Claim, Progress, Stop, Verdict, left_over, never, solve, solve_orders
from nester.pieces import Piece, Turn
from nester.refusal import Refusal
from nester.verify import require
from nester.voids import voids

__all__ = [
    "PutAway",
    "cut_batch",
    "drop_batch",
    "get_batch",
    "list_batches",
    "plan_batch",
    "plan_of",
]


# --- planning ----------------------------------------------------------------------------------


def plan_batch(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    effort: Effort = Effort.NORMAL,
    today: date,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan orders against the stash and book them as a batch.

    What open batches take is not planned with again.  Orders that can't be made whole stay
    confirmed and take nothing; the plan says what they lack and what to buy.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    effort, stop, on_progress
        As for `nester.packing.solve`.

    Returns
    -------
    Plan
        It has passed `nester.verify`.  Its batch is None if no order can be made.

    Raises
    ------
    Refusal
        If there is nothing to plan, or if the stash changed while the plan was made; then
        nothing has been booked.
    """
    with shop_file.read() as session:
        desk = _Desk(session, orders)
    verdict = solve_orders(
        desk.problem(cuts),
        desk.claims,
        effort,
        stop=stop,
        on_progress=on_progress,
    )
    require(verdict.problem, verdict.answer)
    search = partial(solve, effort=effort, stop=stop, on_progress=on_progress)
    plan = desk.plan(verdict, effort, today, search)
    if not verdict.made:
        return plan
    with shop_file.begin() as session:
        _check_unchanged(session, plan)
        batch = Batch(made_at=datetime.now(UTC), cuts=cuts, effort=effort, plan="")
        session.add(batch)
        for planned in plan.orders:
            if planned.made:
                order = get_order(session, planned.number)
                set_status(session, order, Status.PLANNED)
                batch.orders.append(order)
        session.flush()
        plan = replace(plan, batch=batch.id)
        batch.plan = plan_to_json(plan)
    return plan


class _Desk:
    """Everything that planning reads from the book, laid out beside each other."""

    def __init__(self, session: Session, numbers: Sequence[int]) -> None:
        self.shop: Shop = the_shop(session)
        self.orders = _orders_to_plan(session, numbers)
        self.swatches = {paper.name: paper.swatch for paper in list_papers(session)}
        self._directional = {
            paper.name for paper in list_papers(session) if paper.pattern is Pattern.DIRECTIONAL
        }
        rows = list_stash(session, include_empty=True)
        self._on_sale = on_sale(rows)
        taken = reserved(session)
        self.rows = {
            row.label: replace(row, quantity=row.quantity - taken[row.label])
            for row in rows
            if row.quantity > taken[row.label]
        }
        self.prices = {label: _counted_price(self.shop, row) for label, row in self.rows.items()}
        self.claims = self._claims(session)

    def _claims(self, session: Session) -> list[Claim]:
        index: dict[tuple[Piece, str], int] = {}
        claims = []
        for order in self.orders:
            wanted: Counter[str] = Counter()
            for piece, paper in order_pieces(session, order):
                single = replace(piece, quantity=1)
                number = index.setdefault((single, paper), len(index))
                wanted[str(number)] += piece.quantity * order.copies
            claims.append(Claim(order.id, wanted, order.due))
        self.parts = [Part(paper, piece) for piece, paper in index]
        # No piece of its paper lies in a void with a shorter side than this.
        self._smallest_of: dict[str, int] = {}
        for part in self.parts:
            short = min(part.piece.width, part.piece.height)
            self._smallest_of[part.paper] = min(short, self._smallest_of.get(part.paper, short))
        return claims

    def problem(self, cuts: Cuts) -> Problem:
        """Return the whole cutting problem; wants are named by the number of their part."""
        totals: Counter[str] = Counter()
        for claim in self.claims:
            totals.update(claim.pieces)
        return Problem(
            wants=tuple(
                Want(
                    str(number),
                    part.piece.width,
                    part.piece.height,
                    totals[str(number)],
                    part.paper,
                    self._turn(part),
                    self._voids(part),
                )
                for number, part in enumerate(self.parts)
            ),
            stock=tuple(
                Stock(
                    row.label,
                    row.width,
                    row.height,
                    row.quantity,
                    Fraction(self.prices[row.label]),
                    row.paper,
                    offcut=row.kind is Kind.OFFCUT,
                )
                for row in self.rows.values()
            ),
            cuts=cuts,
            smallest_offcut=self.shop.smallest_offcut,
            offcut_worth=Fraction(self.shop.offcut_worth, 100),
        )

    def _turn(self, part: Part) -> Turn:
        upright = part.piece.upright and part.paper in self._directional
        return Turn.NONE if upright else Turn.ANY

    def _voids(self, part: Part) -> tuple[Rect, ...]:
        """Return where a piece leaves paper for other pieces or for an offcut worth keeping."""
        if part.piece.is_rectangle:
            return ()
        least = min(self.shop.smallest_offcut, self._smallest_of[part.paper])
        return voids(part.piece, least)

    def plan(
        self,
        verdict: Verdict,
        effort: Effort,
        today: date,
        search: Callable[[Problem], Answer],
    ) -> Plan:
        """Put the verdict into the words of the shop, and search for what to buy."""
        made = set(verdict.made)
        answer = verdict.answer
        cost, kept = _exact(answer.cost), _rounded_down(answer.kept)
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
                Lacking(
                    lack.order,
                    part.paper,
                    part.piece.name,
                    part.piece.width,
                    part.piece.height,
                    lack.quantity,
                    lack.why,
                )
                for lack in verdict.lacks
                for part in [self.parts[int(lack.name)]]
            ),
            restock=self._restock(verdict, search),
            cost=cost,
            # What is proven best must not look otherwise for the sake of the last decimal.
            bound=cost - kept if answer.bound == answer.net else _rounded_down(answer.bound),
            notes=tuple(self._notes(verdict, today)),
            kept=kept,
        )

    def _layouts(self, layouts: Iterable[Layout], made: Sequence[int]) -> tuple[PlannedLayout, ...]:
        """Put the layouts in order, paper by paper, and say which order each piece is for."""
        claims = {claim.order: Counter(claim.pieces) for claim in self.claims}
        queues: dict[str, list[int]] = defaultdict(list)
        for order in made:
            for name, quantity in claims[order].items():
                queues[name].extend([order] * quantity)
        for queue in queues.values():
            queue.reverse()
        planned = []
        for number, layout in enumerate(sorted(layouts, key=self._place_in_plan), start=1):
            row = self.rows[layout.stock]
            spots = tuple(
                Spot(
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
            sheet = Sheet(
                row.label,
                row.kind,
                row.paper,
                self.swatches[row.paper],
                row.width,
                row.height,
                row.place,
                self.prices[row.label],
            )
            planned.append(
                PlannedLayout(number, sheet, layout.copies, spots, layout.cuts, layout.offcuts)
            )
        return tuple(planned)

    def _place_in_plan(self, layout: Layout) -> tuple[str, int, int]:
        row = self.rows[layout.stock]
        return row.paper.casefold(), -row.width * row.height, int(row.label.partition("-")[2])

    def _restock(
        self, verdict: Verdict, search: Callable[[Problem], Answer]
    ) -> tuple[Restock, ...]:
        lacking = {self.parts[int(lack.name)].paper for lack in verdict.lacks}
        if not lacking:
            return ()
        waiting = [claim for claim in self.claims if claim.order in set(verdict.waiting)]
        totals: Counter[str] = Counter()
        for claim in waiting:
            totals.update(claim.pieces)
        whole = self.problem(verdict.problem.cuts)
        problem = replace(
            whole,
            wants=tuple(
                replace(want, quantity=totals[want.name])
                for want in whole.wants
                if want.paper in lacking and totals[want.name]
            ),
            stock=left_over(whole.stock, verdict.answer),
            offcut_worth=Fraction(0),  # what is bought is paid for whole
        )
        orders_of = {
            want.name: tuple(c.order for c in waiting if c.pieces.get(want.name))
            for want in problem.wants
        }
        return restock(problem, self._on_sale, orders_of, search)

    def _notes(self, verdict: Verdict, today: date) -> Iterable[str]:
        answer = verdict.answer
        if verdict.waiting and verdict.proven_most:
            yield "No choice of orders completes more of them."
        if answer.stopped:
            yield "The search was stopped early; this is the best plan it had found."
        for order in self.orders:
            if order.due < today:
                yield f"Order {order.id} was due on {order.due.isoformat()}."
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


def _orders_to_plan(session: Session, numbers: Sequence[int]) -> list[Order]:
    if not numbers:
        orders = list_orders(session, status=Status.CONFIRMED)
        if not orders:
            raise Refusal("there is no confirmed order to plan; take one with 'quirebox order add'")
        return orders
    orders = [get_order(session, number) for number in dict.fromkeys(numbers)]
    for order in orders:
        if order.status is not Status.CONFIRMED:
            raise Refusal(
                f"order {order.id} is {order.status}; only confirmed orders can be planned"
            )
    return sorted(orders, key=lambda order: (order.due, order.id))


def _counted_price(shop: Shop, row: StashRow) -> Decimal:
    """Return what a sheet counts; by its area, if nobody gave it a price."""
    area = row.width * row.height
    if row.price is None and row.area_price is None:
        return _rounded_down(area_m2(area))
    if row.price is None and row.area_price is not None and row.kind is Kind.SHEET:
        return _rounded_down(row.area_price * area)
    return worth(shop, row)


def _exact(value: Fraction) -> Decimal:
    """Return a sum of prices, each of which has at most four decimals, as the decimal it is."""
    return Decimal(int(value * 10**MOST_DECIMALS)).scaleb(-MOST_DECIMALS)


def _rounded_down(value: Fraction) -> Decimal:
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    return exact.quantize(Decimal(1).scaleb(-MOST_DECIMALS), ROUND_FLOOR)


def _check_unchanged(session: Session, plan: Plan) -> None:
    """Refuse if the stash no longer has what the plan takes, or an order is no longer to plan."""
    taken = reserved(session)
    for label, number in _usage(plan).items():
        free = ledger.on_hand(session, find_stock(session, label)) - taken[label]
        if free < number:
            raise Refusal(
                f"the stash changed while the plan was made: it takes {number} of {label}, and"
                f" {free} are free now; plan again"
            )
    for planned in plan.orders:
        if planned.made and get_order(session, planned.number).status is not Status.CONFIRMED:
            raise Refusal(f"order {planned.number} was changed while the plan was made; plan again")


def _usage(plan: Plan) -> Counter[str]:
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.sheet.label] += layout.copies
    return used


# --- afterwards --------------------------------------------------------------------------------


def get_batch(session: Session, number: int) -> Batch:
    """Return the batch of that number.

    Raises
    ------
    Refusal
        If there is none.
    """
    batch = session.get(Batch, number) if 0 < number < 2**63 else None
    if batch is None:
        raise Refusal(f"there is no batch {number}")
    return batch


def list_batches(session: Session) -> list[Batch]:
    """Return all batches, the newest first."""
    return list(session.scalars(select(Batch).order_by(Batch.id.desc())))


def plan_of(batch: Batch) -> Plan:
    """Return the plan that a batch was booked with."""
    return plan_from_json(batch.plan)


@dataclass(frozen=True)
class PutAway:
    """An offcut that cutting a batch brought into the stash."""

    label: str
    layout: int
    paper: str
    width: int
    height: int


def cut_batch(session: Session, number: int, *, place: str | None = None) -> list[PutAway]:
    """Book a whole batch as cut: its sheets leave the stash, offcuts worth keeping enter it.

    Parameters
    ----------
    place
        Where the new offcuts are put.

    Returns
    -------
    list of PutAway
        The new offcuts with the labels to write on them, layout by layout.

    Raises
    ------
    Refusal
        If there is no such open batch, or the stash no longer has a sheet that it takes.
    """
    batch = _open_batch(session, number)
    put_away = []
    for layout in plan_of(batch).layouts:
        sheet = layout.sheet
        stock = find_stock(session, sheet.label)
        ledger.move(session, stock, -layout.copies, Reason.CUT, batch=batch)
        for _ in range(layout.copies):
            for rect in layout.offcuts:
                kept = add_offcut(
                    session,
                    sheet.paper,
                    (rect.width, rect.height),
                    place=place,
                    parent=sheet.label,
                    batch=batch,
                )
                put_away.append(
                    PutAway(kept.label, layout.number, sheet.paper, rect.width, rect.height)
                )
    _close(session, batch, BatchStatus.CUT, Status.CUT)
    return put_away


def drop_batch(session: Session, number: int) -> None:
    """Give up an open batch: what it reserved is free again, its orders are confirmed again.

    Raises
    ------
    Refusal
        If there is no such open batch.
    """
    _close(session, _open_batch(session, number), BatchStatus.DROPPED, Status.CONFIRMED)


def _open_batch(session: Session, number: int) -> Batch:
    batch = get_batch(session, number)
    if batch.status is not BatchStatus.OPEN:
        raise Refusal(f"batch {number} is {batch.status}; only an open batch can be changed")
    return batch


def _close(session: Session, batch: Batch, end: BatchStatus, orders_become: Status) -> None:
    batch.status = end
    for order in batch.orders:
        if order.status is Status.PLANNED:
            set_status(session, order, orders_become)
    session.flush()
