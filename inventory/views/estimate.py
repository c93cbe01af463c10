"""What paper for a design costs, as lists for people and plain data for programs."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.advice.estimate import DesignEstimate, EstimateTask
from inventory.documents.text.purchase import amount_words, offer_words, possible_saving_words
from inventory.views.listing import Column, Listing
from inventory.views.production.cutting import answer_as_json
from inventory.views.production.design import amount_as_json
from nester.core.lengths import Unit, to_mm_number
from nester.core.problem import Unplaced
from nester.core.purchase import Offer
from nester.designs.base.totals import total_consumables
from nester.studies.estimate import Estimate

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

__all__ = [
    "UNPLACED",
    "EstimateLine",
    "estimate_as_json",
    "estimate_line_listing",
    "estimate_lines",
    "estimate_listing",
    "estimate_listings",
]


def estimate_listings(found: DesignEstimate) -> list[tuple[Listing[Any], Sequence[Any]]]:
    """Return all lists of an estimate that have any rows, in the order they are read."""
    lines = [line for estimate in found.estimates for line in estimate_lines(estimate)]
    costs = found.estimates if found.task.is_priced else ()
    lists: list[tuple[Listing[Any], Sequence[Any]]] = [
        (estimate_listing(found.task.currency), costs),
        (estimate_line_listing(found.task.unit), lines),
        (UNPLACED, found.estimates[0].purchase_plan.cutting_plan.unplaced),
    ]
    return [(listing, rows) for listing, rows in lists if rows]


def estimate_as_json(found: DesignEstimate) -> dict[str, Any]:
    """Return estimates as plain data; amounts are numbers, as exact prices need no coins."""
    return {
        "design": found.task.design,
        "currency": found.task.currency or None,
        "estimates": [_estimate_as_json(estimate, found.task) for estimate in found.estimates],
    }


def _estimate_as_json(estimate: Estimate, task: EstimateTask) -> dict[str, Any]:
    bought = estimate.purchase_plan

    def money(amount: Fraction) -> float | None:
        return float(amount) if task.is_priced else None

    lines = estimate_line_listing(task.unit).records(estimate_lines(estimate))
    if not task.is_priced:
        lines = [{**line, "price": None} for line in lines]
    return {
        "quantity": estimate.quantity,
        "each": money(estimate.cost_per_box),
        "cost": money(bought.cost),
        "bound": money(bought.lower_bound),
        "gap": float(bought.optimality_gap),
        "shipping": money(bought.cost - bought.goods_cost),
        "buy": lines,
        "supplies": [
            {"name": total.name, **amount_as_json(total.measure, total.amount * estimate.quantity)}
            for total in total_consumables(task.consumables)
        ],
        "cutting": answer_as_json(bought.problem, bought.cutting_plan),
    }


def estimate_listing(currency: str) -> Listing[Estimate]:
    """Return the list of what each number of copies costs."""

    def money(value: Fraction) -> str:
        return amount_words(value, currency)

    def shipping(row: Estimate) -> str:
        bought = row.purchase_plan
        return money(bought.cost - bought.goods_cost) if bought.cost > bought.goods_cost else ""

    def saving(row: Estimate) -> str:
        bought = row.purchase_plan
        return possible_saving_words(bought.cost, bought.lower_bound, currency)

    return Listing(
        title="What it costs",
        columns=(
            Column("Copies", cell=lambda row: str(row.quantity), right=True),
            Column("Paid", cell=lambda row: money(row.purchase_plan.cost), right=True),
            Column("Shipping", cell=shipping, right=True),
            Column("Each", cell=lambda row: money(row.cost_per_box), right=True),
            Column("Could be less", cell=saving),
        ),
        empty="Nothing was estimated.",
    )


class EstimateLine(NamedTuple):
    """Packs to buy for a number of copies, and how many of their sheets are used."""

    copies: int
    offer: Offer
    packs: int
    used: int


def estimate_lines(estimate: Estimate) -> list[EstimateLine]:
    """Return what to buy for a number of copies."""
    used: Counter[str] = Counter()
    for layout in estimate.purchase_plan.cutting_plan.layouts:
        used[layout.stock] += layout.copies
    return [
        EstimateLine(estimate.quantity, offer, packs, used[offer.name])
        for offer, packs in estimate.purchase_plan.lines
    ]


def estimate_line_listing(unit: Unit) -> Listing[EstimateLine]:
    """Return the list of what to buy."""
    return Listing(
        title="What to buy",
        columns=(
            Column("Copies", cell=lambda line: str(line.copies), right=True),
            Column("Packs", cell=lambda line: str(line.packs), right=True),
            Column("Sheets", cell=lambda line: str(line.packs * line.offer.pack_size), right=True),
            Column("Used", cell=lambda line: str(line.used), right=True),
            Column("Sheet", cell=lambda line: offer_words(line.offer, unit)),
            Column(key="supplier", value=lambda line: line.offer.supplier or None),
            Column(key="paper", value=lambda line: line.offer.paper),
            Column(key="width", value=lambda line: to_mm_number(line.offer.width)),
            Column(key="height", value=lambda line: to_mm_number(line.offer.height)),
            Column(key="pack", value=lambda line: line.offer.pack_size),
            Column(key="packs", value=lambda line: line.packs),
            Column(key="price", value=lambda line: float(line.offer.pack_price)),
            Column(key="sheets", value=lambda line: line.packs * line.offer.pack_size),
            Column(key="used", value=lambda line: line.used),
        ),
        empty="Nothing to buy.",
    )


UNPLACED: Listing[Unplaced] = Listing(
    title="Not placed",
    columns=(
        Column("Piece", cell=lambda row: row.name),
        Column("Why", cell=lambda row: row.why),
    ),
    empty="All pieces are placed.",
)
