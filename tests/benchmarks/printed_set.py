"""The printed set of a maker's week: seconds of CPU, bytes and memory of its PDF.

    python tests/benchmarks/printed_set.py --orders 50
    python tests/benchmarks/printed_set.py --orders 1000 --plan week.json

The week is that of `weeks.py` with straight cuts and little effort; `--plan` keeps its plan in a
file, so that it is made once.  `--into` keeps the PDF.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from inventory.core.plan import (
    PartType,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    plan_from_json,
    plan_to_json,
)
from inventory.documents.plan.document_set import DocumentOptions
from inventory.documents.plan.rendering import plan_pdf
from nester.core.lengths import Unit
from nester.core.problem import Cuts, CuttingPlan, Effort
from nester.packing import solve
from tests.benchmarks.weeks import Week, make_week

SWATCHES = ("#1e1e21", "#d9c7a0", "#9c3b2e", "#b87333", "#c8d4dc", "#8a6fa0", "#6f9a8d", "#f5f2ea")
MADE_ON = date(2024, 3, 4)


def planned(week: Week, answer: CuttingPlan) -> Plan:
    """Return a week's answer as a plan, its pieces dealt out to the orders in turn."""
    stock = {one.name: one for one in week.problem.stock}
    papers = sorted({one.paper for one in week.problem.stock})
    labels = {name: f"S-{number}" for number, name in enumerate(stock, 1)}
    waiting: dict[str, list[int]] = defaultdict(list)
    for claim in reversed(week.claims):
        for part, quantity in claim.pieces.items():
            waiting[part] += [claim.order] * quantity
    layouts = []
    for number, made in enumerate(answer.layouts, 1):
        one = stock[made.stock]
        sheet = PlannedSheet(
            labels[one.name],
            "offcut" if "offcut" in one.name else "sheet",
            one.paper,
            SWATCHES[papers.index(one.paper) % len(SWATCHES)],
            one.width,
            one.height,
            f"Shelf {1 + papers.index(one.paper)}",
            Decimal(one.price.numerator) / one.price.denominator,
        )
        spots = tuple(
            PlannedPlacement(
                int(p.name),
                p.x,
                p.y,
                p.width,
                p.height,
                p.turned,
                tuple(waiting[p.name].pop() for _ in range(made.copies)),
            )
            for p in made.placed
        )
        layouts.append(PlannedLayout(number, sheet, made.copies, spots, made.cuts, made.offcuts))
    return Plan(
        batch=1,
        made_on=MADE_ON,
        shop="The paper nook",
        unit=Unit.CM,
        currency="EUR",
        cuts=Cuts.STRAIGHT,
        effort=Effort.QUICK,
        orders=tuple(
            PlannedOrder(
                claim.order, f"Customer {claim.order}", "a design", 1,
                claim.due or MADE_ON + timedelta(days=7), True,
            )
            for claim in week.claims
        ),
        parts=tuple(PartType(paper, piece) for piece, paper in week.parts),
        layouts=tuple(layouts),
        lacking=(),
        restock=(),
        cost=Decimal(answer.cost.numerator) / answer.cost.denominator,
        bound=Decimal(answer.lower_bound.numerator) / answer.lower_bound.denominator,
    )  # fmt: skip


def main() -> None:
    read = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    read.add_argument("--orders", type=int, default=50)
    read.add_argument("--seed", type=int, default=1)
    read.add_argument("--plan", type=Path)
    read.add_argument("--into", type=Path)
    given = read.parse_args()
    if given.plan and given.plan.exists():
        plan = plan_from_json(given.plan.read_text())
    else:
        week = make_week(given.seed, given.orders, Cuts.STRAIGHT)
        plan = planned(week, solve(week.problem, Effort.QUICK))
        if given.plan:
            given.plan.write_text(plan_to_json(plan))
    begin = time.process_time()
    data = plan_pdf(plan, DocumentOptions())
    seconds = time.process_time() - begin
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(
        f"{len(plan.orders)} orders, {len(plan.layouts)} layouts: {seconds:.1f} s of CPU,"
        f" {len(data) / 1e6:.1f} MB; {most} MB of memory, the plan's making included"
        " unless it was read"
    )
    if given.into:
        given.into.write_bytes(data)


if __name__ == "__main__":
    main()
