"""The cheapest purchase for some orders, as lists for people and plain data for programs."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.core.money import floor_to_coin, format_money, round_to_coin
from inventory.core.text import format_count
from inventory.documents.text.purchase import order_words
from inventory.documents.text.restock import NO_OFFER, order_by_words
from inventory.restocking.purchase_plan import (
    FilledLevel,
    PlanLine,
    RestockPlan,
    StockUse,
    UnmadePieces,
    UnofferedLine,
)
from inventory.views.listing import Column, Listing
from inventory.views.production.cutting import answer_as_json
from nester.core.lengths import Unit, format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

__all__ = [
    "SupplierCost",
    "filled_level_listing",
    "plan_as_json",
    "plan_line_listing",
    "plan_listings",
    "stock_use_listing",
    "supplier_cost_listing",
    "supplier_costs",
    "unmade_listing",
    "unoffered_listing",
]


def plan_listings(
    plan: RestockPlan, unit: Unit, today: date
) -> list[tuple[Listing[Any], Sequence[Any]]]:
    """Return all lists of a planned purchase that have any rows, in the order they are read."""
    lists: list[tuple[Listing[Any], Sequence[Any]]] = [
        (plan_line_listing(unit, plan.currency, today), plan.lines),
        (unoffered_listing(unit, plan.currency), plan.unoffered),
        (supplier_cost_listing(plan.currency), supplier_costs(plan)),
        (stock_use_listing(unit), plan.stock_use),
        (filled_level_listing(unit), plan.filled_levels),
        (unmade_listing(unit), plan.unmade),
    ]
    return [(listing, rows) for listing, rows in lists if rows]


def plan_as_json(
    plan: RestockPlan, unit: Unit, today: date, recorded: Sequence[int] = ()
) -> dict[str, Any]:
    """Return a planned purchase as plain data; amounts are text, so that no program rounds them.

    Parameters
    ----------
    recorded
        The numbers of the purchases that it was recorded as.
    """
    bought, currency = plan.bought, plan.currency
    proven = plan.lower_bound == plan.cost
    return {
        "orders": [order.id for order in plan.orders],
        "currency": currency,
        "cost": _coins(plan.cost, currency),
        "bound": _coins(plan.cost, currency)
        if proven
        else f"{floor_to_coin(plan.lower_bound, currency):f}",
        "proven": proven,
        "gap": float(plan.optimality_gap),
        "buy": plan_line_listing(unit, currency, today).records(plan.lines),
        "shipping": {name: _coins(value, currency) for name, value in plan.shipping.items()},
        "stash": stock_use_listing(unit).records(plan.stock_use),
        "levels": filled_level_listing(unit).records(plan.filled_levels),
        "not_on_sale": unoffered_listing(unit, currency).records(plan.unoffered),
        "unmade": unmade_listing(unit).records(plan.unmade),
        "recorded": list(recorded),
        "cutting": answer_as_json(bought.problem, bought.cutting_plan),
    }


def _coins(value: Fraction, currency: str) -> str:
    return f"{round_to_coin(value, currency):f}"


def plan_line_listing(unit: Unit, currency: str, today: date) -> Listing[PlanLine]:
    """Return the list of packs to buy."""

    def packs(line: PlanLine) -> str:
        offer = line.offer
        return f"{format_count(line.packs, 'pack')} of {offer.pack:,}\nfrom {offer.supplier}"

    def paper(line: PlanLine) -> str:
        return f"{line.offer.paper}\n{format_size(line.offer.width, line.offer.height, unit)}"

    return Listing(
        title="To buy",
        columns=(
            Column(
                "Order by", cell=lambda line: order_by_words(line.order_by, today), no_wrap=True
            ),
            Column("Packs", cell=packs),
            Column("Paper", cell=paper),
            Column(key="supplier", value=lambda line: line.offer.supplier),
            Column(key="paper", value=lambda line: line.offer.paper),
            Column(key="width", value=lambda line: to_mm_number(line.offer.width)),
            Column(key="height", value=lambda line: to_mm_number(line.offer.height)),
            Column(key="pack", value=lambda line: line.offer.pack),
            Column(key="packs", value=lambda line: line.packs),
            Column(
                "Price",
                "price",
                lambda line: _coins(line.price, currency),
                cell=lambda line: format_money(line.price, currency),
                right=True,
            ),
            Column("Left over", cell=lambda line: str(line.sheets - line.used), right=True),
            Column(key="sheets", value=lambda line: line.sheets),
            Column(key="used", value=lambda line: line.used),
            Column(
                "For",
                "orders",
                lambda line: list(line.orders),
                cell=lambda line: order_words(line.orders) if line.orders else "stock",
            ),
            Column(
                key="needed",
                value=lambda line: None if line.needed is None else line.needed.isoformat(),
            ),
            Column(
                key="order_by",
                value=lambda line: None if line.order_by is None else line.order_by.isoformat(),
            ),
            Column(
                key="late",
                value=lambda line: line.order_by is not None and line.order_by < today,
            ),
        ),
        empty="Nothing to buy.",
    )


class SupplierCost(NamedTuple):
    """What one supplier takes for a planned purchase, in the shop's currency."""

    supplier: str
    goods: Fraction
    shipping: Fraction


def supplier_costs(plan: RestockPlan) -> list[SupplierCost]:
    """Return what each supplier takes."""
    return [
        SupplierCost(
            supplier,
            sum(
                (line.price for line in plan.lines if line.offer.supplier == supplier), Fraction(0)
            ),
            shipping,
        )
        for supplier, shipping in plan.shipping.items()
    ]


def supplier_cost_listing(currency: str) -> Listing[SupplierCost]:
    """Return the list of what each supplier takes."""

    def shipping(row: SupplierCost) -> str:
        return format_money(row.shipping, currency) if row.shipping else "free"

    return Listing(
        title="By supplier",
        columns=(
            Column("Supplier", cell=lambda row: row.supplier),
            Column("Goods", cell=lambda row: format_money(row.goods, currency), right=True),
            Column("Shipping", cell=shipping, right=True),
            Column(
                "Together",
                cell=lambda row: format_money(row.goods + row.shipping, currency),
                right=True,
            ),
        ),
        empty="Nothing to buy.",
    )


def stock_use_listing(unit: Unit) -> Listing[StockUse]:
    """Return the list of what is used of the stash, and of what is on its way."""

    def label(row: StockUse) -> str:
        return row.label if row.purchase is None else f"purchase {row.purchase}"

    return Listing(
        title="Used from the stash",
        columns=(
            Column("Used", cell=lambda row: str(row.used), right=True),
            Column("Left", cell=lambda row: str(row.remaining), right=True),
            Column("Of", cell=label),
            Column(key="label", value=lambda row: row.label if row.purchase is None else None),
            Column(key="purchase", value=lambda row: row.purchase),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(key="used", value=lambda row: row.used),
            Column(key="left", value=lambda row: row.remaining),
        ),
        empty="Nothing of the stash is used.",
    )


def filled_level_listing(unit: Unit) -> Listing[FilledLevel]:
    """Return the list of levels that are kept up."""

    def bought(row: FilledLevel) -> str:
        return NO_OFFER if row.on_hand + row.bought < row.target else str(row.bought)

    def size(row: FilledLevel) -> str:
        return format_size(row.width, row.height, unit) if row.width else ""

    return Listing(
        title="Levels",
        columns=(
            Column("To keep", cell=lambda row: str(row.target), right=True),
            Column("On hand", cell=lambda row: str(row.on_hand), right=True),
            Column("Bought", cell=bought, right=True),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=size),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(key="target", value=lambda row: row.target),
            Column(key="there", value=lambda row: row.on_hand),
            Column(key="bought", value=lambda row: row.bought),
        ),
        empty="No level needs sheets.",
    )


def unoffered_listing(unit: Unit, currency: str) -> Listing[UnofferedLine]:
    """Return the list of sheets of papers that nobody offers."""

    def price(row: UnofferedLine) -> str:
        return "" if row.price is None else format_money(row.price, currency)

    return Listing(
        title="Not on sale",
        columns=(
            Column("Sheets", "sheets", lambda row: row.sheets, right=True),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column("Last paid", cell=price, right=True),
            Column("For", cell=lambda row: order_words(row.orders) if row.orders else "stock"),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(key="price", value=lambda row: None if row.price is None else f"{row.price:f}"),
            Column(key="orders", value=lambda row: list(row.orders)),
        ),
        empty="All papers are on sale.",
    )


def unmade_listing(unit: Unit) -> Listing[UnmadePieces]:
    """Return the list of pieces that fit no sheet."""

    def piece(row: UnmadePieces) -> str:
        return f"{row.piece}, {format_size(row.width, row.height, unit)}\n{row.paper}"

    return Listing(
        title="Not made",
        columns=(
            Column("Quantity", cell=lambda row: str(row.quantity), right=True),
            Column("Piece", cell=piece),
            Column(key="paper", value=lambda row: row.paper),
            Column(key="piece", value=lambda row: row.piece),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(key="quantity", value=lambda row: row.quantity),
            Column("Why", "why", lambda row: row.why),
            Column(key="orders", value=lambda row: list(row.orders)),
        ),
        empty="All pieces are made.",
    )
