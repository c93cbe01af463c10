"""Planning spoiled and missing pieces of a batch again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from functools import partial

from inventory.core.plan import (
    Plan,
)
from inventory.database.shop_file import ShopFile
from inventory.database.tables.base import BatchStatus
from inventory.production.booking import _check_available, book_plan
from inventory.production.planning_data import PlanningData
from inventory.production.spoiling import spoiled_pieces
from inventory.stock.lookup import get_batch, plan_of
from nester.core.errors import Refusal
from nester.core.problem import Effort, Problem
from nester.packing import (
    OrderSelection,
    Progress,
    Stop,
    never,
    purchase,
    solve,
    solve_orders,
    usable_cores,
)
from nester.verify import require_valid

__all__ = ["mend_batch"]


def mend_batch(
    shop_file: ShopFile,
    number: int,
    *,
    effort: Effort = Effort.NORMAL,
    today: date,
    processes: int | None = None,
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
        lost = spoiled_pieces(session, batch=number)
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
        desk = PlanningData(
            session,
            urgent,
            lambda _, order: wanted[order.id],
            follow_grain=before.follow_grain,
            today=today,
        )
    processes = usable_cores() if processes is None else processes
    problem = desk.problem(batch.cuts)
    buy = partial(purchase, effort=effort, processes=processes, stop=stop, on_progress=on_progress)
    verdict = solve_orders(
        _offcuts_first(problem),
        desk.order_demands,
        effort,
        processes=processes,
        stop=stop,
        on_progress=on_progress,
    )
    require_valid(verdict.problem, verdict.cutting_plan)
    verdict = _restore_prices(verdict, problem)
    require_valid(verdict.problem, verdict.cutting_plan)
    plan = desk.plan(verdict, effort, today, buy)
    if not verdict.made:
        return plan
    with shop_file.begin() as session:
        _check_available(session, plan, "the stash changed while the plan was made")
        mended = {one.id for one in lost if one.order_id in verdict.made}
        still = {one.id: one for one in spoiled_pieces(session, batch=number)}
        if not mended <= still.keys():
            raise Refusal(f"the lost pieces of batch {number} changed meanwhile; plan again")
        mending, plan = book_plan(session, plan, BatchStatus.OPEN, get_batch(session, number))
        for one in mended:
            still[one].mended_id = mending.id
    return plan


def _offcuts_first(problem: Problem) -> Problem:
    """Return the problem with sheets so dear that offcuts are taken wherever they serve."""
    offcuts: dict[str, Fraction] = defaultdict(Fraction)
    for one in problem.stock:
        if one.is_offcut:
            offcuts[one.paper] += one.price
    return replace(
        problem,
        stock=tuple(
            one if one.is_offcut else replace(one, price=one.price + offcuts[one.paper])
            for one in problem.stock
        ),
        offcut_value_share=Fraction(0),
    )


def _restore_prices(verdict: OrderSelection, problem: Problem) -> OrderSelection:
    """Return the verdict with what its sheets really cost, and a bound for that."""
    honest = replace(
        verdict.problem, stock=problem.stock, offcut_value_share=problem.offcut_value_share
    )
    stock = {one.name: one for one in problem.stock}
    cost = kept = Fraction(0)
    for layout in verdict.cutting_plan.layouts:
        sheet = stock[layout.stock]
        each = sheet.price * layout.copies
        back = Fraction(sum(rect.area for rect in layout.offcuts), sheet.width * sheet.height)
        cost += each
        if problem.offcut_value_share:
            kept += each * back * (1 if sheet.is_offcut else problem.offcut_value_share)
    bound = (
        min(cost - kept, solve(honest, Effort.QUICK).lower_bound) if verdict.made else Fraction(0)
    )
    answer = replace(verdict.cutting_plan, cost=cost, offcut_value=kept, lower_bound=bound)
    return replace(verdict, problem=honest, cutting_plan=answer)
