"""Planning the spoiled pieces of a batch again.

Such a plan is meant to cost as few sheets as can be: pieces come from offcuts as far as these go,
even where cutting a new sheet would count less.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction
from functools import partial

from sqlalchemy.orm import Session

from inventory.core.plan import Plan
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import BatchStatus
from inventory.database.tables.orders import Batch
from inventory.database.tables.production import SpoiledPieces
from inventory.production.booking import book_plan, check_available, take_planned_spares
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
    spoil: Callable[[Session], object] = lambda _: None,
    effort: Effort = Effort.NORMAL,
    today: date,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Plan:
    """Plan the spoiled pieces of a batch again, and only these, from offcuts as far as they go.

    Spare pieces are taken first.  Sheets are taken only for what no choice of offcuts holds, so
    the plan may cost more than the cheapest one.  Its bound is that of the cheapest one.

    Parameters
    ----------
    spoil
        Books a loss that is mended with the rest; called twice, first for the search and then to
        be stored.  Loss and plan are stored in one transaction at the end or, if the search is
        ended by force, not at all; so whoever does it again doubles nothing.
    effort, processes, stop, on_progress
        As for `inventory.production.planning.plan_batch`.

    Returns
    -------
    Plan
        It is booked as a separate batch, which reserves what it takes; its batch is None if
        the pieces of no order can be made, or spare pieces replace them all.

    Raises
    ------
    Refusal
        If there is no such batch, no piece of it is missing, `spoil` refuses, or the stash changed
        meanwhile.
    """
    with shop_file.rehearse() as session:
        spoil(session)
        batch = get_batch(session, number)
        lost = spoiled_pieces(session, batch=number)
        if not lost:
            raise Refusal(f"batch {number} has no missing piece for which nothing is planned")
        data = _read_data(session, batch, lost, today)
    processes = usable_cores() if processes is None else processes
    problem = data.problem(batch.cuts)
    buy = partial(purchase, effort=effort, processes=processes, stop=stop, on_progress=on_progress)
    selection = solve_orders(
        _offcuts_first(problem),
        data.order_demands,
        effort,
        processes=processes,
        stop=stop,
        on_progress=on_progress,
    )
    require_valid(selection.problem, selection.cutting_plan)
    selection = _restore_prices(selection, problem)
    require_valid(selection.problem, selection.cutting_plan)
    plan = data.plan(selection, effort, today, buy)
    with shop_file.begin() as session:
        spoil(session)
        if not selection.made:
            return plan
        check_available(session, plan, "the stash changed while the plan was made")
        now = spoiled_pieces(session, batch=number)
        if _count(now) != _count(lost):
            raise Refusal(f"the missing pieces of batch {number} changed meanwhile; plan again")
        mending = None
        if plan.layouts:
            mending, plan = book_plan(session, plan, BatchStatus.OPEN, get_batch(session, number))
        taken = take_planned_spares(session, plan, mending)
        cut_again = {
            order for layout in plan.layouts for spot in layout.spots for order in spot.orders
        }
        for pieces in now:
            if pieces.order_id in cut_again and mending is not None:
                pieces.mended_id = mending.id
            elif pieces.order_id in selection.made and taken is not None:
                pieces.settled_id = taken.id
    return plan


def _read_data(
    session: Session, batch: Batch, lost: Sequence[SpoiledPieces], today: date
) -> PlanningData:
    """Read what is needed to plan missing pieces of a batch."""
    before = plan_of(batch)
    orders = {pieces.order_id: pieces.order for pieces in lost}
    wanted = {
        order: [
            (before.parts[pieces.part].piece, before.parts[pieces.part].paper, pieces.quantity)
            for pieces in lost
            if pieces.order_id == order
        ]
        for order in orders
    }
    return PlanningData(
        session,
        sorted(orders.values(), key=lambda order: (order.due, order.id)),
        lambda _, order: wanted[order.id],
        follow_grain=before.follow_grain,
        today=today,
    )


def _count(lost: Iterable[SpoiledPieces]) -> Counter[tuple[int, int]]:
    """Count spoiled pieces by order and part."""
    count: Counter[tuple[int, int]] = Counter()
    for pieces in lost:
        count[pieces.order_id, pieces.part] += pieces.quantity
    return count


def _offcuts_first(problem: Problem) -> Problem:
    """Return the problem with sheets so expensive that offcuts are taken wherever they serve.

    Each sheet costs as much more as all offcuts of its paper together, so that no saving on
    offcuts can pay for one sheet more.  Offcuts kept count nothing here, or they would lower the
    price of a sheet again.
    """
    offcut_prices: dict[str, Fraction] = defaultdict(Fraction)
    for item in problem.stock:
        if item.is_offcut:
            offcut_prices[item.paper] += item.price
    return replace(
        problem,
        stock=tuple(
            item if item.is_offcut else replace(item, price=item.price + offcut_prices[item.paper])
            for item in problem.stock
        ),
        offcut_value_share=Fraction(0),
    )


def _restore_prices(selection: OrderSelection, problem: Problem) -> OrderSelection:
    """Return the selection with what its sheets really cost, and a bound for that."""
    priced = replace(
        selection.problem, stock=problem.stock, offcut_value_share=problem.offcut_value_share
    )
    stock = {item.name: item for item in problem.stock}
    cost = kept = Fraction(0)
    for layout in selection.cutting_plan.layouts:
        sheet = stock[layout.stock]
        price = sheet.price * layout.copies
        kept_share = Fraction(sum(rect.area for rect in layout.offcuts), sheet.width * sheet.height)
        cost += price
        if problem.offcut_value_share:
            # What is kept of an offcut is an offcut as before, and so counts whole.
            kept += price * kept_share * (1 if sheet.is_offcut else problem.offcut_value_share)
    bound = (
        min(cost - kept, solve(priced, Effort.QUICK).lower_bound) if selection.made else Fraction(0)
    )
    answer = replace(selection.cutting_plan, cost=cost, offcut_value=kept, lower_bound=bound)
    return replace(selection, problem=priced, cutting_plan=answer)
