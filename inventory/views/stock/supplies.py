"""Supplies as lists for people and programs: ribbon on reels, adhesive, eyelets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.documents.text.times import local_time
from inventory.documents.text.transactions import reason_words
from inventory.shop.settings import get_shop
from inventory.stock.supplies import find_supply, format_measure, list_supplies, supply_history
from inventory.views.listing import Column, Listing
from nester.core.errors import Hint
from nester.core.lengths import format_length, to_mm_number

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.tables.enums import Measure
    from inventory.stock.supplies import SupplyHistoryRow, SupplyRow
    from nester.core.lengths import Unit
    from nester.packing.one_dimensional import ReelPattern, ReelPlan

__all__ = ["reel_listing", "reel_plan_words", "supply_history_list", "supply_list"]


def supply_list(
    session: Session, *, include_empty: bool = False
) -> tuple[Listing[SupplyRow], list[SupplyRow]]:
    """Return all reels and packs, with how much is left of each."""
    unit = get_shop(session).unit

    def left(row: SupplyRow) -> str:
        if not row.remaining:
            return "0"
        return format_measure(row.measure, row.remaining, row.unit, unit)

    listing: Listing[SupplyRow] = Listing(
        title="Supplies",
        columns=(
            Column("Label", "label", lambda row: row.label),
            Column("Supply", "supply", lambda row: row.supply),
            Column(key="by", value=lambda row: str(row.measure)),
            Column(key="unit", value=lambda row: _unit(row.measure, row.unit)),
            Column(
                "Left", "left", lambda row: _number(row.measure, row.remaining), left, right=True
            ),
            Column(key="price", value=lambda row: None if row.price is None else str(row.price)),
            Column("Place", "place", lambda row: row.place),
            Column(key="lot", value=lambda row: row.lot),
        ),
        empty="No supplies yet.",
        hint=Hint("put some in", "supply receive"),
    )
    return listing, list_supplies(session, include_empty=include_empty)


def supply_history_list(
    session: Session, name: str
) -> tuple[Listing[SupplyHistoryRow], list[SupplyHistoryRow]]:
    """Return every movement of a supply."""
    unit = get_shop(session).unit
    supply = find_supply(session, name)
    measure = supply.measure

    def amount(parts: int) -> str:
        return format_measure(measure, parts, supply.unit, unit)

    listing: Listing[SupplyHistoryRow] = Listing(
        title=f"History of {supply.name}",
        columns=(
            Column("When", cell=lambda row: local_time(row.at)),
            Column("Label", "label", lambda row: row.label),
            Column(key="at", value=lambda row: row.at.isoformat(timespec="seconds")),
            Column(key="unit", value=lambda _: _unit(measure, supply.unit)),
            Column(
                "Change",
                "change",
                lambda row: _number(measure, row.change),
                lambda row: f"{'+' if row.change > 0 else '-'}{amount(abs(row.change))}",
                right=True,
            ),
            Column(
                "After",
                "after",
                lambda row: _number(measure, row.balance),
                lambda row: amount(row.balance) if row.balance else "0",
                right=True,
            ),
            Column(
                "Reason",
                "reason",
                lambda row: str(row.reason),
                lambda row: reason_words(row.reason),
            ),
            Column("Batch", "batch", lambda row: row.batch, right=True),
            Column(key="deed", value=lambda row: row.transaction),
            Column("Note", "note", lambda row: row.note),
        ),
        empty="Nothing is recorded yet.",
    )
    return listing, supply_history(session, name)


def reel_listing(unit: Unit) -> Listing[ReelPattern]:
    """Describe which lengths are cut from which reels."""
    from inventory.documents.text.counts import tally

    return Listing(
        title="Cut from",
        columns=(
            Column("Reel", value=lambda cut: cut.reel.name),
            Column("Lengths", cell=lambda cut: tally(format_length(n, unit) for n in cut.lengths)),
            Column(
                "Left",
                cell=lambda cut: format_length(cut.remainder, unit) if cut.remainder else "0",
                right=True,
            ),
        ),
        empty="Nothing is cut.",
    )


def reel_plan_words(plan: ReelPlan, unit: Unit) -> str:
    """Say how much ribbon is wasted, and whether that is proven to be the least."""
    waste = format_length(plan.waste, unit) if plan.waste else "nothing"
    proven = "no choice wastes less" if plan.bound == plan.waste else "a better one may exist"
    return f"{waste} is wasted; {proven}"


def _unit(measure: Measure, unit: str) -> str:
    return {"reel": "mm", "count": ""}.get(measure, unit)


def _number(measure: Measure, parts: int) -> float | int:
    if measure == "reel":
        return to_mm_number(parts)
    return parts if measure == "count" else parts / 1000
