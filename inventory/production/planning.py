"""Batches: orders planned together against the stash, confirmed, mended; one function a deed.

How a batch is cut is in `inventory.production.cutting`.  The search for a plan takes seconds, so it
runs between two short transactions: one reads the stash, the other books the batch if the stash
still has what the plan takes.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from sqlalchemy.orm import Session

from inventory.core.money import MOST_DECIMALS
from inventory.core.plan import (
    Lacking,
    Part,
    Plan,
    PlannedLayout,
    PlannedOrder,
    Restock,
    Sheet,
    Spot,
    plan_to_json,
)
from inventory.database.sqlite import ShopFile, the_shop
from inventory.database.tables.base import Batch, BatchStatus, Kind, Order, Pattern, Shop, Status
from inventory.orders.orders import get_order, list_orders, order_pieces, set_status
from inventory.production.cutting import (
    PutAway,
    cut_batch,
    drop_batch,
    get_batch,
    list_batches,
    lost_pieces,
    plan_of,
)
from inventory.production.shopping_list import OnSale, on_sale, restock
from inventory.purchasing.prices import offers
from inventory.purchasing.purchases import on_its_way
from inventory.stock import ledger, papers
from inventory.stock.listing import StashRow, find_stock, list_papers, list_stash, worth
from inventory.stock.reservations import reserved
from nester.core.errors import Refusal
from nester.core.geometry import voids
from nester.core.lengths import area_m2, format_size
from nester.core.piece import Grain, Piece, Turn
from nester.core.problem import Answer, Cuts, Effort, Layout, Problem, Rect, Stock, Want
from nester.designs.demand import without_clashing_grain
from nester.packing import Claim, Progress, Stop, Verdict, left_over, never, solve, solve_orders
from nester.verify import require

__all__ = [
    "PutAway",
    "StashChanged",
    "confirm_batch",
    "cut_batch",
    "drop_batch",
    "from_new_sheets",
    "get_batch",
    "list_batches",
    "mend_batch",
    "orders_to_cut",
    "plan_batch",
    "plan_of",
    "preview_batch",
]


# --- planning ----------------------------------------------------------------------------------


class ToCut(NamedTuple):
    """What orders want, as a cutting problem against what is free of the stash.

    Attributes
    ----------
    claims
        What each order wants, by the names of the problem's wants.
    parts
        What each want is; their names are places in it.
    """

    problem: Problem
    claims: list[Claim]
    orders: list[Order]
    parts: list[Part]


def orders_to_cut(
    session: Session,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    ignore_grain: bool = False,
    today: date,
) -> ToCut:
    """Return what confirmed orders want: all of them, unless some are given.

    Parameters
    ----------
    today
        The day whose prices count.

    Raises
    ------
    Refusal
        If there is none, or one is not confirmed.
    """
    desk = _Desk(
        session,
        _orders_to_plan(session, orders),
        partial(_wanted, {}),
        follow_grain=the_shop(session).follow_grain and not ignore_grain,
        today=today,
    )
    return ToCut(desk.problem(cuts), desk.claims, desk.orders, desk.parts)


def plan_batch(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    effort: Effort = Effort.NORMAL,
    draft: bool = False,
    substitutes: bool = False,
    ignore_grain: bool = False,
    today: date,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan orders against the stash and book them as a batch, which reserves what it takes.

    What open batches take is not planned with again.  Orders that can't be made whole stay
    confirmed and take nothing; the plan says what they lack and what to buy.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    draft
        Only keep the plan: it reserves nothing until `confirm_batch`.
    substitutes
        Whether an order that can't be made may be made of the papers that stand in for its own,
        the best first; the plan tells in its notes where they do.
    ignore_grain
        Whether pieces lie as they may although the shop follows the grain.
    effort, processes, stop, on_progress
        As for `nester.packing.search.solve`.

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
    plan = preview_batch(
        shop_file, orders, cuts=cuts, effort=effort, substitutes=substitutes,
        ignore_grain=ignore_grain, today=today,
        processes=processes, stop=stop, on_progress=on_progress,
    )  # fmt: skip
    if not any(order.made for order in plan.orders):
        return plan
    with shop_file.begin() as session:
        _check_unchanged(session, plan, "the stash changed while the plan was made")
        status = BatchStatus.DRAFT if draft else BatchStatus.OPEN
        batch, plan = _book(session, plan, status)
        if not draft:
            _orders_are_planned(session, batch)
    return plan


def preview_batch(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    effort: Effort = Effort.NORMAL,
    substitutes: bool = False,
    ignore_grain: bool = False,
    today: date,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan orders against the stash as `plan_batch` does, and book nothing.

    Raises
    ------
    Refusal
        If there is nothing to plan.
    """

    def attempt(instead: _Instead) -> tuple[_Desk, Verdict]:
        with shop_file.read() as session:
            desk = _Desk(
                session,
                _orders_to_plan(session, orders),
                partial(_wanted, instead),
                follow_grain=the_shop(session).follow_grain and not ignore_grain,
                today=today,
            )
        verdict = solve_orders(
            desk.problem(cuts),
            desk.claims,
            effort,
            processes=processes,
            stop=stop,
            on_progress=on_progress,
        )
        require(verdict.problem, verdict.answer)
        return desk, verdict

    desk, verdict = attempt({})
    instead: _Instead = {}
    if substitutes and verdict.waiting:
        with shop_file.read() as session:
            known = papers.substitutes(session)
        desk, verdict, instead = _with_substitutes(known, attempt, desk, verdict)
    search = partial(solve, effort=effort, stop=stop, on_progress=on_progress)
    plan = desk.plan(verdict, effort, today, search)
    return replace(plan, notes=(*plan.notes, *_told(instead)))


def _book(
    session: Session, plan: Plan, status: BatchStatus, mends: Batch | None = None
) -> tuple[Batch, Plan]:
    batch = Batch(
        made_at=datetime.now(UTC),
        cuts=plan.cuts,
        effort=plan.effort,
        status=status,
        plan="",
        mends_id=mends.id if mends else None,
    )
    session.add(batch)
    batch.orders += [get_order(session, one.number) for one in plan.orders if one.made]
    session.flush()
    plan = replace(plan, batch=batch.id)
    batch.plan = plan_to_json(plan)
    session.flush()
    return batch, plan


def _orders_are_planned(session: Session, batch: Batch) -> None:
    for order in batch.orders:
        set_status(session, order, Status.PLANNED)


def confirm_batch(session: Session, number: int) -> Batch:
    """Reserve what a draft's plan takes.

    Raises
    ------
    StashChanged
        If the stash no longer has what it takes, or an order has moved on; it says what changed.
    Refusal
        If there is no such draft.
    """
    batch = get_batch(session, number)
    if batch.status is not BatchStatus.DRAFT:
        raise Refusal(f"batch {number} is {batch.status}; only a draft can be confirmed")
    _check_unchanged(session, plan_of(batch), f"the stash changed since batch {number} was planned")
    batch.status = BatchStatus.OPEN
    _orders_are_planned(session, batch)
    return batch


def mend_batch(
    shop_file: ShopFile,
    number: int,
    *,
    effort: Effort = Effort.NORMAL,
    today: date,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan the spoiled pieces of a batch anew, and just these, from offcuts as far as they go.

    Sheets are taken only for what no choice of offcuts holds; so the plan may cost more than the
    cheapest one, whose proven bound it tells all the same.

    Returns
    -------
    Plan
        It is booked as a batch of its own, which reserves what it takes; its batch is None if
        the pieces of no order can be made.

    Raises
    ------
    Refusal
        If there is no such batch, it lacks no piece, or the stash changed meanwhile.
    """
    with shop_file.read() as session:
        batch = get_batch(session, number)
        lost = lost_pieces(session, batch=number)
        if not lost:
            raise Refusal(f"batch {number} lacks no piece for which nothing is planned")
        before = plan_of(batch)
        parts = before.parts
        orders = {one.order_id: one.order for one in lost}
        wanted = {
            order: [
                (parts[one.part].piece, parts[one.part].paper, one.quantity)
                for one in lost
                if one.order_id == order
            ]
            for order in orders
        }
        urgent = sorted(orders.values(), key=lambda order: (order.due, order.id))
        desk = _Desk(
            session,
            urgent,
            lambda _, order: wanted[order.id],
            follow_grain=before.follow_grain,
            today=today,
        )
    problem = desk.problem(batch.cuts)
    search = partial(solve, effort=effort, stop=stop, on_progress=on_progress)
    verdict = solve_orders(
        _offcuts_first(problem),
        desk.claims,
        effort,
        processes=processes,
        stop=stop,
        on_progress=on_progress,
    )
    require(verdict.problem, verdict.answer)
    verdict = _at_true_prices(verdict, problem)
    require(verdict.problem, verdict.answer)
    plan = desk.plan(verdict, effort, today, search)
    if not verdict.made:
        return plan
    with shop_file.begin() as session:
        _check_free(session, plan, "the stash changed while the plan was made")
        mended = {one.id for one in lost if one.order_id in verdict.made}
        still = {one.id: one for one in lost_pieces(session, batch=number)}
        if not mended <= still.keys():
            raise Refusal(f"the lost pieces of batch {number} changed meanwhile; plan again")
        mending, plan = _book(session, plan, BatchStatus.OPEN, get_batch(session, number))
        for one in mended:
            still[one].mended_id = mending.id
    return plan


def _offcuts_first(problem: Problem) -> Problem:
    """Return the problem with sheets so dear that offcuts are taken wherever they serve."""
    offcuts: dict[str, Fraction] = defaultdict(Fraction)
    for one in problem.stock:
        if one.offcut:
            offcuts[one.paper] += one.price
    return replace(
        problem,
        stock=tuple(
            one if one.offcut else replace(one, price=one.price + offcuts[one.paper])
            for one in problem.stock
        ),
        offcut_worth=Fraction(0),
    )


def _at_true_prices(verdict: Verdict, problem: Problem) -> Verdict:
    """Return the verdict with what its sheets really cost, and a bound for that."""
    honest = replace(verdict.problem, stock=problem.stock, offcut_worth=problem.offcut_worth)
    stock = {one.name: one for one in problem.stock}
    cost = kept = Fraction(0)
    for layout in verdict.answer.layouts:
        sheet = stock[layout.stock]
        each = sheet.price * layout.copies
        back = Fraction(sum(rect.area for rect in layout.offcuts), sheet.width * sheet.height)
        cost += each
        if problem.offcut_worth:
            kept += each * back * (1 if sheet.offcut else problem.offcut_worth)
    bound = min(cost - kept, solve(honest, Effort.QUICK).bound) if verdict.made else Fraction(0)
    answer = replace(verdict.answer, cost=cost, kept=kept, bound=bound)
    return replace(verdict, problem=honest, answer=answer)


def from_new_sheets(
    session: Session, order: Order, sizes: Sequence[OnSale] | None = None, *, today: date
) -> tuple[Problem, list[Part], dict[str, OnSale]]:
    """Return the problem of cutting an order from new sheets, as if nothing were in the stash.

    Parameters
    ----------
    sizes
        The sheets there are, as many of each as needed; unless given, those that can be bought.
    today
        Whose prices count.

    Returns
    -------
    Problem
        Its wants are named by the number of their part.
    list of Part
        The pieces, each in its paper.
    dict
        The sheets, by the name of their stock in the problem.
    """
    follow_grain = the_shop(session).follow_grain
    desk = _Desk(session, [order], partial(_wanted, {}), follow_grain=follow_grain, today=today)
    papers = {part.paper for part in desk.parts}
    if sizes is None:
        sizes = desk.on_sale
    named = {f"new {at}": one for at, one in enumerate(sizes, 1) if one.paper in papers}
    stock = tuple(
        Stock(name, one.width, one.height, None, one.counted_price, one.paper, one.margins,
              grain=one.grain)
        for name, one in named.items()
    )  # fmt: skip
    return desk.problem(Cuts.STRAIGHT, stock), desk.parts, named


class StashChanged(Refusal):
    """The stash no longer has what a plan takes."""


_Instead = dict[int, dict[str, str]]
"""By order, which paper stands in for which."""


def _wanted(instead: _Instead, session: Session, order: Order) -> list[tuple[Piece, str, int]]:
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


def _with_substitutes(
    known: Mapping[str, Sequence[str]],
    attempt: Callable[[_Instead], tuple[_Desk, Verdict]],
    desk: _Desk,
    verdict: Verdict,
) -> tuple[_Desk, Verdict, _Instead]:
    """Let papers stand in for what waiting orders lack, where that completes more of them.

    Parameters
    ----------
    known
        The papers that may stand in for each, the best first.
    """
    chosen: _Instead = {}
    for rank in range(max(map(len, known.values()), default=0)):
        trial = {order: dict(its) for order, its in chosen.items()}
        for lack in verdict.lacks:
            paper = desk.parts[int(lack.name)].paper
            if rank < len(known.get(paper, ())):
                trial.setdefault(lack.order, {})[paper] = known[paper][rank]
        if trial == chosen:
            continue
        other, tried = attempt(trial)
        if len(tried.made) <= len(verdict.made):
            continue
        chosen = {order: its for order, its in trial.items() if order in tried.made}
        # What still waits is told in its own papers.
        desk, verdict = (other, tried) if chosen == trial else attempt(chosen)
    return desk, verdict, {order: its for order, its in chosen.items() if order in verdict.made}


def _told(instead: _Instead) -> Iterable[str]:
    for order, its in sorted(instead.items()):
        for paper, other in sorted(its.items()):
            yield f"Order {order} is planned in {other} in place of {paper}."


class _Desk:
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
        self.shop: Shop = the_shop(session)
        self.orders = orders
        self.swatches = {paper.name: paper.swatch for paper in list_papers(session)}
        self._directional = {
            paper.name for paper in list_papers(session) if paper.pattern is Pattern.DIRECTIONAL
        }
        self.claims = self._claims({order.id: wanted(session, order) for order in orders})
        papers = sorted({part.paper for part in self.parts})
        # Sheets that are used up tell what sizes there are, and what they cost.
        rows = list_stash(session, papers=papers, empty_sheets=True)
        sizes = {
            paper: [(p.piece.width, p.piece.height) for p in self.parts if p.paper == paper]
            for paper in papers
        }
        self.on_sale = on_sale(rows, offers(session, papers, today=today), sizes)
        self._coming = [one for one in on_its_way(session) if one.paper in papers]
        taken = reserved(session)
        self.rows = {
            row.label: row._replace(quantity=row.quantity - booked) if booked else row
            for row in rows
            if row.quantity > (booked := taken.get(row.label, 0))
        }
        self.prices = {label: _counted_price(self.shop, row) for label, row in self.rows.items()}

    def _claims(self, wanted: Mapping[int, Iterable[tuple[Piece, str, int]]]) -> list[Claim]:
        index: dict[tuple[Piece, str], int] = {}
        claims = []
        due = {order.id: order.due for order in self.orders}
        for order, pieces in wanted.items():
            numbers: Counter[str] = Counter()
            for piece, paper, quantity in pieces:
                number = index.setdefault((piece, paper), len(index))
                numbers[str(number)] += quantity
            claims.append(Claim(order, numbers, due[order]))
        self.parts = [Part(paper, piece) for piece, paper in index]
        # No piece of its paper lies in a void with a shorter side than this.
        self._smallest_of: dict[str, int] = {}
        for part in self.parts:
            short = min(part.piece.width, part.piece.height)
            self._smallest_of[part.paper] = min(short, self._smallest_of.get(part.paper, short))
        return claims

    def problem(self, cuts: Cuts, stock: tuple[Stock, ...] | None = None) -> Problem:
        """Return the whole cutting problem; wants are named by the number of their part.

        Parameters
        ----------
        stock
            What there is instead of the stash.
        """
        wished = self._as_wished(cuts)
        return without_clashing_grain(wished if stock is None else replace(wished, stock=stock))[0]

    def _as_wished(self, cuts: Cuts) -> Problem:
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
                    self._wished_grain(part),
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
            offcut_worth=Fraction(self.shop.offcut_worth, 100),
        )

    def _turn(self, part: Part) -> Turn:
        upright = part.piece.upright and part.paper in self._directional
        return Turn.NONE if upright else Turn.ANY

    def _wished_grain(self, part: Part) -> Grain:
        if not self.follow_grain or self._turn(part) is not Turn.ANY:
            return Grain.ANY
        return part.piece.grain

    def _is_held_to_grain(self, part: Part) -> bool:
        """Tell whether a piece may lie one way only on some paper that is at hand."""
        return self._wished_grain(part) is not Grain.ANY and any(
            row.paper == part.paper and row.grain is not Grain.ANY for row in self.rows.values()
        )

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
            apart=self.shop.gap,
            trimmer=self.shop.trimmer,
            follow_grain=self.follow_grain,
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
                row.grain,
                row.paper in self._directional,
                row.margins,
                row.bruises,
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
            stock=left_over(whole.stock, verdict.answer) + self._on_its_way(),
            offcut_worth=Fraction(0),  # what is bought is paid for whole
        )
        orders_of = {
            want.name: tuple(c.order for c in waiting if c.pieces.get(want.name))
            for want in problem.wants
        }
        return restock(problem, self.on_sale, orders_of, search)

    def _on_its_way(self) -> tuple[Stock, ...]:
        """Return what is ordered and has not come yet: it need not be bought again."""
        return tuple(
            Stock(
                f"on its way {number}", one.width, one.height, one.sheets, Fraction(0), one.paper,
                one.margins, grain=one.grain,
            )
            for number, one in enumerate(self._coming)
        )  # fmt: skip

    def _notes(self, verdict: Verdict, today: date) -> Iterable[str]:
        answer = verdict.answer
        if verdict.waiting and verdict.proven_most:
            yield "No choice of orders completes more of them."
        if answer.stopped:
            yield "The search was stopped early; this is the best plan it had found."
        for order in self.orders:
            if order.due < today:
                yield f"Order {order.id} was due on {order.due.isoformat()}."
        for paper in without_clashing_grain(self._as_wished(verdict.problem.cuts))[1]:
            yield (
                f"The grain of {paper} is not followed: some pieces must stand upright on it, and"
                " its fibres lie one way in some sheets and another way in others."
            )
        lacking = {lack.name for lack in verdict.lacks}
        lacked = {self.parts[int(name)].paper for name in lacking}
        for one in self._coming:
            if one.paper in lacked:
                size = format_size(one.width, one.height, self.shop.unit)
                yield (
                    f"On its way: {one.sheets} × {one.paper}, {size}, expected on"
                    f" {one.expected.isoformat()} (purchase {one.purchase})."
                )
        if any(self._is_held_to_grain(self.parts[int(name)]) for name in lacking):
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


def _check_unchanged(session: Session, plan: Plan, what: str) -> None:
    """Refuse if the stash no longer has what the plan takes, or an order is no longer to plan."""
    for planned in plan.orders:
        if planned.made and get_order(session, planned.number).status is not Status.CONFIRMED:
            now = get_order(session, planned.number).status
            raise StashChanged(
                f"order {planned.number} was changed since and is {now} now; plan again"
            )
    _check_free(session, plan, what)


def _check_free(session: Session, plan: Plan, what: str) -> None:
    taken = reserved(session)
    changes = []
    for label, number in _usage(plan).items():
        free = max(0, ledger.on_hand(session, find_stock(session, label)) - taken[label])
        if free < number:
            changes.append(f"it takes {number} of {label}, and {free} are free now")
    if changes:
        raise StashChanged(f"{what}: {'; '.join(changes)}; plan again")


def _usage(plan: Plan) -> Counter[str]:
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.sheet.label] += layout.copies
    return used
