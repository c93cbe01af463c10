"""Sizes and sheets compared, as lists for people and plain data for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.documents.text.sizes import (
    amount_name,
    batch_title,
    equal_runs,
    jump_words,
    more_than_best_words,
)
from inventory.views.listing import Column, Listing
from nester.core.lengths import format_amount, format_length, format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from inventory.advice.sizes import BatchRequest, SheetComparison, SizeComparison
    from nester.core.lengths import Unit
    from nester.studies.size_sweep import SizeResult

__all__ = [
    "SizeRow",
    "sheet_listing",
    "sheets_as_json",
    "size_listing",
    "size_rows",
    "sizes_as_json",
]


class SizeRow(NamedTuple):
    """Neighbouring sizes that take the same.

    Attributes
    ----------
    is_jump
        Whether the paper jumps from the size before to the first of them.
    """

    first: SizeResult
    last: SizeResult
    is_jump: bool


def size_rows(comparison: SizeComparison) -> list[SizeRow]:
    """Return the sizes that are possible, those that take the same together."""
    points = comparison.points
    jumps = {jump.above.size for jump in comparison.jumps}
    return [
        SizeRow(points[start], points[end - 1], points[start].size in jumps)
        for start, end in equal_runs(points)
        if not points[start].refusal
    ]


def size_listing(comparison: SizeComparison) -> Listing[SizeRow]:
    """Return the list of what each size takes."""
    unit = comparison.unit

    def size(row: SizeRow) -> str:
        last = format_length(row.last.size, unit)
        if row.first.size == row.last.size:
            return last
        return f"{format_length(row.first.size, unit, with_unit=False)} to {last}"

    def used(row: SizeRow) -> str:
        shares = [f"{round(100 * point.utilization)}" for point in (row.first, row.last)]
        return f"{' to '.join(dict.fromkeys(shares))} %"

    return Listing(
        title=batch_title("Paper for each", comparison.batch),
        columns=(
            Column(comparison.setting.capitalize(), cell=size, right=True),
            Column(
                f"{amount_name(comparison.batch)} each",
                cell=lambda row: format_amount(row.first.cost),
                right=True,
            ),
            Column("At least", cell=lambda row: format_amount(row.first.lower_bound), right=True),
            Column("Sheets", cell=lambda row: str(row.first.sheet_count), right=True),
            Column("Paper used", cell=used, right=True),
            Column("Jump", cell=lambda row: "jump" if row.is_jump else "", optional=True),
        ),
        empty="None of these sizes is possible.",
    )


def sizes_as_json(comparison: SizeComparison) -> dict[str, Any]:
    """Return sizes compared as plain data."""
    batch, base = comparison.batch, comparison.base
    jumps = {jump.above.size for jump in comparison.jumps}
    return {
        "design": batch.batch.design.name,
        "setting": comparison.setting,
        "quantity": batch.batch.quantity,
        "counted_in": _counted_in(batch),
        "sizes": [
            {
                "size": to_mm_number(point.size),
                "refused": point.refusal or None,
                "each": None if point.refusal else _number(point.cost),
                "at_least": None if point.refusal else _number(point.lower_bound),
                "sheets": None if point.refusal else point.sheet_count,
                "share": None if point.refusal else round(float(point.utilization), 4),
                "step": point.size in jumps,
            }
            for point in comparison.points
        ],
        "steps": [
            {
                "below": to_mm_number(jump.below.size),
                "above": to_mm_number(jump.above.size),
                "rise": _number(jump.cost_increase),
                "paper": jump.paper,
                "pieces": dict(jump.pieces),
                "proven": jump.is_proven,
                "words": words,
            }
            for jump, words in zip(comparison.jumps, jump_words(comparison), strict=True)
        ],
        "beside": None if base is None else to_mm_number(base.size),
        "suggestions": [
            {
                "size": to_mm_number(suggestion.result.size),
                "saves": _number(suggestion.saving),
                "changes": [
                    {
                        "name": change.name,
                        "before": to_mm_number(change.before),
                        "after": to_mm_number(change.after),
                    }
                    for change in suggestion.changes
                ],
            }
            for suggestion in comparison.suggestions
        ],
        "stopped": comparison.was_stopped,
    }


def _counted_in(batch: BatchRequest) -> str:
    return "m²" if batch.currency is None else batch.currency or "money"


def _number(value: Fraction) -> float:
    return round(float(value), 6)


def sheet_listing(
    batch: BatchRequest, rows: Sequence[SheetComparison], unit: Unit
) -> Listing[SheetComparison]:
    """Return the list of what a batch takes of each sheet size.

    Parameters
    ----------
    rows
        All of them, the best of each paper first.
    """
    least: dict[str | None, Fraction] = {}
    for row in rows:
        if not row.refused:
            least.setdefault(row.paper, row.cost)

    def more(row: SheetComparison) -> str:
        if row.refused:
            return "not possible"
        return more_than_best_words(row.cost - least[row.paper], least[row.paper], batch.currency)

    def sheet(row: SheetComparison) -> str:
        if row.offer is None:
            return "all of them"
        return format_size(row.offer.width, row.offer.height, unit)

    return Listing(
        title=batch_title("Sheets for", batch),
        columns=(
            Column("Paper", cell=lambda row: row.paper or "all papers"),
            Column("Cut from", cell=sheet),
            Column(key="paper", value=lambda row: row.paper),
            Column(key="width", value=lambda row: row.offer and to_mm_number(row.offer.width)),
            Column(key="height", value=lambda row: row.offer and to_mm_number(row.offer.height)),
            Column(key="refused", value=lambda row: row.refused or None),
            Column(
                "Sheets",
                "sheets",
                lambda row: None if row.refused else row.sheets,
                right=True,
            ),
            Column(
                f"{amount_name(batch)} each",
                "each",
                lambda row: None if row.refused else _number(row.cost),
                cell=lambda row: "" if row.refused else format_amount(row.cost),
                right=True,
            ),
            Column(
                "At least",
                "at_least",
                lambda row: None if row.refused else _number(row.bound),
                cell=lambda row: "" if row.refused else format_amount(row.bound),
                right=True,
            ),
            Column("More than best", cell=more, right=True),
        ),
        empty="No sheets were compared.",
    )


def sheets_as_json(batch: BatchRequest, rows: Sequence[SheetComparison]) -> dict[str, Any]:
    """Return sheets compared as plain data."""
    return {
        "design": batch.batch.design.name,
        "quantity": batch.batch.quantity,
        "counted_in": _counted_in(batch),
        "rows": sheet_listing(batch, rows, batch.batch.unit).records(rows),
    }
