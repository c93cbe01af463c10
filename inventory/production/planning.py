"""Planning batches: orders planned together against the stash, as drafts or confirmed.

How a batch is cut is in `inventory.production.cutting`.  The search for a plan takes seconds, so it
runs between two short transactions: one reads the stash, the other books the batch if the stash
still has what the plan takes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from typing import NamedTuple

from sqlalchemy.orm import Session

from inventory.core.plan import PartType, Plan
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import BatchStatus, OrderStatus
from inventory.database.tables.orders import Batch, Order
from inventory.orders.orders import get_order, list_orders, order_pieces
from inventory.pieces.spare_rule import NO_SPARES, SpareRule
from inventory.production.booking import (
    book_open_plan,
    book_plan,
    check_unchanged,
    start_orders,
)
from inventory.production.cutting import PutAway, cut_batch, drop_batch
from inventory.production.cutting_days import spread_over_days
from inventory.production.planning_data import (
    PlanningData,
    Substitutes,
    spare_notes,
    wanted_papers,
)
from inventory.production.progress import list_batches
from inventory.production.sheets_to_buy import BuyableSheet, cheapest_by_size
from inventory.shop.settings import get_shop
from inventory.stock import papers
from inventory.stock.lookup import get_batch, plan_of
from nester.core.errors import Hint, Refusal
from nester.core.piece import Piece
from nester.core.problem import Cuts, Effort, Problem
from nester.packing import (
    OrderDemand,
    OrderSelection,
    Progress,
    Stop,
    never,
    purchase,
    solve_orders,
    usable_cores,
)
from nester.verify import require_valid

__all__ = [
    "PutAway",
    "confirm_batch",
    "cut_batch",
    "cutting_demand",
    "drop_batch",
    "from_new_sheets",
    "get_batch",
    "list_batches",
    "plan_batch",
    "plan_of",
    "preview_batch",
    "replan_draft",
]


# --- planning ----------------------------------------------------------------------------------


class CuttingDemand(NamedTuple):
    """What orders need, as a cutting problem against the part of the stash that nothing reserves.

    Attributes
    ----------
    order_demands
        What each order needs, by the names of the problem's demands.
    parts
        What each demand is; its name is its index here.
    """

    problem: Problem
    order_demands: list[OrderDemand]
    orders: list[Order]
    parts: list[PartType]


def cutting_demand(
    session: Session,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    ignore_grain: bool = False,
    today: date,
) -> CuttingDemand:
    """Return what confirmed orders need: all of them, unless some are given.

    Parameters
    ----------
    today
        The day whose prices count.

    Raises
    ------
    Refusal
        If there is no confirmed order, or an order given is not confirmed.
    """
    data = PlanningData(
        session,
        _orders_to_plan(session, orders),
        partial(wanted_papers, {}),
        follow_grain=get_shop(session).follow_grain and not ignore_grain,
        today=today,
    )
    return CuttingDemand(data.problem(cuts), data.order_demands, data.orders, data.parts)


def plan_batch(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    effort: Effort = Effort.NORMAL,
    draft: bool = False,
    substitutes: bool = False,
    ignore_grain: bool = False,
    spares: SpareRule = NO_SPARES,
    days: int = 1,
    today: date,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan orders against the stash and book them as a batch, which reserves what it takes.

    What open batches reserve is left alone.  Orders that can't be made whole stay confirmed and
    take nothing; the plan says what is missing for them and what to buy.

    Parameters
    ----------
    orders
        Numbers of confirmed orders; all of them, unless given.
    draft
        Only keep the plan: it reserves nothing until `confirm_batch`.
    substitutes
        Whether an order that can't be made may be made of the substitutes of its papers, the best
        first; the plan's notes say where.
    ignore_grain
        Whether pieces may be turned against the grain although the shop follows it.
    spares
        How many spare pieces to cut beside, if the paper suffices for these and all orders.
    days
        Over how many days the cutting is spread (`inventory.production.cutting_days`).
    processes
        How many may work at once; one a core, unless given. The plan does not depend on it.
    effort, stop, on_progress
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
        ignore_grain=ignore_grain, spares=spares, today=today,
        processes=processes, stop=stop, on_progress=on_progress,
    )  # fmt: skip
    if not any(order.made for order in plan.orders):
        return plan
    plan = spread_over_days(plan, days)
    with shop_file.begin() as session:
        check_unchanged(session, plan, "the stash changed while the plan was made")
        if draft:
            _, plan = book_plan(session, plan, BatchStatus.DRAFT)
        else:
            plan = book_open_plan(session, plan)
    return plan


def preview_batch(
    shop_file: ShopFile,
    orders: Sequence[int] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    effort: Effort = Effort.NORMAL,
    substitutes: bool = False,
    ignore_grain: bool = False,
    spares: SpareRule = NO_SPARES,
    today: date,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan orders against the stash as `plan_batch` does, and book nothing.

    Raises
    ------
    Refusal
        If there is nothing to plan.
    """
    processes = usable_cores() if processes is None else processes

    def attempt(
        substituted: Substitutes, beside: SpareRule = NO_SPARES
    ) -> tuple[PlanningData, OrderSelection]:
        with shop_file.read() as session:
            data = PlanningData(
                session,
                _orders_to_plan(session, orders),
                partial(wanted_papers, substituted),
                follow_grain=get_shop(session).follow_grain and not ignore_grain,
                today=today,
                spares=beside,
            )
        selection = solve_orders(
            data.problem(cuts),
            data.order_demands,
            effort,
            processes=processes,
            stop=stop,
            on_progress=on_progress,
        )
        require_valid(selection.problem, selection.cutting_plan)
        return data, selection

    data, selection = attempt({}, spares)
    short_of_spares = spares != NO_SPARES and bool(selection.waiting)
    if short_of_spares:
        # Spare pieces keep no order waiting.
        data, selection = attempt({})
    chosen: Substitutes = {}
    if substitutes and selection.waiting:
        with shop_file.read() as session:
            known = papers.substitutes(session)
        data, selection, chosen = _with_substitutes(known, attempt, data, selection)
    buy = partial(purchase, effort=effort, processes=processes, stop=stop, on_progress=on_progress)
    plan = data.plan(selection, effort, today, buy)
    beside = spare_notes(short=short_of_spares)
    return replace(plan, notes=(*plan.notes, *_substitution_notes(chosen), *beside))


def confirm_batch(session: Session, number: int) -> Batch:
    """Reserve what a draft's plan takes.

    Raises
    ------
    StashChanged
        If the stash no longer has what it takes, or an order has moved on; it says what changed.
    Refusal
        If there is no such draft.
    """
    batch = _get_draft(session, number)
    plan = plan_of(batch)
    check_unchanged(session, plan, f"the stash changed since batch {number} was planned")
    batch.status = BatchStatus.OPEN
    start_orders(session, plan, batch)
    return batch


def replan_draft(
    shop_file: ShopFile,
    number: int,
    *,
    today: date,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan the orders of a draft again, and book that as an open batch in place of the draft.

    Both happen or neither does. Orders that are no longer confirmed are left out.

    Parameters
    ----------
    processes, stop, on_progress
        As for `plan_batch`.

    Returns
    -------
    Plan
        Its batch is None if no order can be made any more; the draft is dropped then too.

    Raises
    ------
    StashChanged
        If no order of the draft is confirmed any more, or the stash changed meanwhile.
    Refusal
        If there is no such draft.
    """
    with shop_file.read() as session:
        draft = _get_draft(session, number)
        old = plan_of(draft)
        numbers = [order.number for order in old.orders]
        orders = [
            order.id
            for order in (get_order(session, number) for number in numbers)
            if order.status is OrderStatus.CONFIRMED
        ]
        if not orders:
            check_unchanged(session, old, f"the stash changed since batch {number} was planned")
    plan = preview_batch(
        shop_file, orders, cuts=old.cuts, effort=old.effort, ignore_grain=not old.follow_grain,
        today=today, processes=processes, stop=stop, on_progress=on_progress,
    )  # fmt: skip
    with shop_file.begin() as session:
        # Somebody may have confirmed or dropped the draft during the search.
        _get_draft(session, number)
        drop_batch(session, number)
        if any(order.made for order in plan.orders):
            check_unchanged(session, plan, "the stash changed while the plan was made")
            plan = book_open_plan(session, plan)
    return plan


def _get_draft(session: Session, number: int) -> Batch:
    batch = get_batch(session, number)
    if batch.status is not BatchStatus.DRAFT:
        raise Refusal(f"batch {number} is {batch.status}; only a draft can be confirmed")
    return batch


def from_new_sheets(
    session: Session, order: Order, sizes: Sequence[BuyableSheet] | None = None, *, today: date
) -> tuple[Problem, list[PartType], dict[str, BuyableSheet]]:
    """Return the problem of cutting an order from new sheets, as if the stash were empty.

    Parameters
    ----------
    sizes
        The sheets to cut from, as many of each as needed; unless given, those that can be bought.
    today
        The day whose prices count.

    Returns
    -------
    Problem
        Its demands are named by the index of their part.
    list of PartType
        The pieces, each in its paper.
    dict
        The sheets, by the name of their stock in the problem.
    """
    follow_grain = get_shop(session).follow_grain
    data = PlanningData(session, [order], _all_pieces, follow_grain=follow_grain, today=today)
    papers = {part.paper for part in data.parts}
    if sizes is None:
        sizes = cheapest_by_size(data.buyable_sheets)
    named = {
        f"new {number}": sheet
        for number, sheet in enumerate(sizes, 1)
        if sheet.offer.paper in papers
    }
    stock = tuple(
        replace(sheet.offer.as_stock_item(None), name=name) for name, sheet in named.items()
    )
    return data.problem(Cuts.STRAIGHT, stock), data.parts, named


def _all_pieces(session: Session, order: Order) -> list[tuple[Piece, str, int]]:
    """Return all pieces of an order, however far it is."""
    return [
        (piece, paper, piece.quantity * order.copies)
        for piece, paper in order_pieces(session, order)
    ]


def _with_substitutes(
    known: Mapping[str, Sequence[str]],
    attempt: Callable[[Substitutes], tuple[PlanningData, OrderSelection]],
    data: PlanningData,
    selection: OrderSelection,
) -> tuple[PlanningData, OrderSelection, Substitutes]:
    """Substitute papers that waiting orders are short of, where that completes more orders.

    Parameters
    ----------
    known
        The substitutes of each paper, the best first.

    Returns
    -------
    PlanningData, OrderSelection
        Of the last attempt that completed more orders.
    Substitutes
        Those of the orders that are made.
    """
    chosen: Substitutes = {}
    for rank in range(max(map(len, known.values()), default=0)):
        trial = {order: dict(papers) for order, papers in chosen.items()}
        for shortfall in selection.shortfalls:
            paper = data.parts[int(shortfall.name)].paper
            if rank < len(known.get(paper, ())):
                trial.setdefault(shortfall.order, {})[paper] = known[paper][rank]
        if trial == chosen:
            continue
        other_data, other = attempt(trial)
        if len(other.made) <= len(selection.made):
            continue
        chosen = {order: papers for order, papers in trial.items() if order in other.made}
        # What to buy for the orders that still wait must be in their own papers, so they are
        # planned once more without substitutes.
        data, selection = (other_data, other) if chosen == trial else attempt(chosen)
    made = {order: papers for order, papers in chosen.items() if order in selection.made}
    return data, selection, made


def _substitution_notes(substituted: Substitutes) -> Iterable[str]:
    for order, papers_of_order in sorted(substituted.items()):
        for paper, other in sorted(papers_of_order.items()):
            yield f"Order {order} is planned in {other} in place of {paper}."


def _orders_to_plan(session: Session, numbers: Sequence[int]) -> list[Order]:
    if not numbers:
        orders = list_orders(session, status=OrderStatus.CONFIRMED)
        if not orders:
            raise Refusal("there is no confirmed order to plan", Hint("add one", "order add"))
        return orders
    orders = [get_order(session, number) for number in dict.fromkeys(numbers)]
    for order in orders:
        if order.status is not OrderStatus.CONFIRMED:
            raise Refusal(
                f"order {order.id} is {order.status}; only confirmed orders can be planned"
            )
    return sorted(orders, key=lambda order: (order.due, order.id))
