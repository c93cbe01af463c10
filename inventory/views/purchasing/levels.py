"""Restock levels, and what use suggests for them, as lists for people and programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.core.money import round_to_decimals
from inventory.core.text import format_count
from inventory.views.listing import Column, Listing
from nester.core.errors import Hint
from nester.core.lengths import format_size, to_mm_number

if TYPE_CHECKING:
    from inventory.database.tables.purchasing import ReorderLevel
    from inventory.purchasing.reorder_levels import LevelSuggestion
    from nester.core.lengths import Length, Unit

__all__ = ["level_listing", "suggestion_listing"]


def level_listing(unit: Unit) -> Listing[ReorderLevel]:
    """Return the list of levels that are set."""
    return Listing(
        title="Restock levels",
        columns=(
            Column("Paper", "paper", lambda level: level.paper.name),
            Column("Size", cell=lambda level: _size_words(level.width, level.height, unit)),
            Column(key="width", value=lambda level: _millimetres(level.width)),
            Column(key="height", value=lambda level: _millimetres(level.height)),
            Column(
                "Buy at",
                "reorder",
                lambda level: level.reorder,
                cell=lambda level: str(level.reorder),
                right=True,
            ),
            Column("Buy up to", "target", lambda level: level.target, right=True),
            Column(
                "Set on",
                "set_at",
                lambda level: level.set_at.isoformat(timespec="seconds"),
                cell=lambda level: level.set_at.astimezone().date().isoformat(),
                no_wrap=True,
            ),
        ),
        empty="No levels yet.",
        hint=Hint("set one", "buy level set"),
    )


def suggestion_listing(unit: Unit, weeks: int) -> Listing[LevelSuggestion]:
    """Return the list of levels that the use of the last weeks suggests."""

    def size(row: LevelSuggestion) -> tuple[Length | None, Length | None]:
        return row.size or (None, None)

    return Listing(
        title="Suggested levels",
        columns=(
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: _size_words(*size(row), unit)),
            Column(key="width", value=lambda row: _millimetres(size(row)[0])),
            Column(key="height", value=lambda row: _millimetres(size(row)[1])),
            Column(
                "Used",
                "used",
                lambda row: row.used,
                cell=lambda row: f"{row.used:,} in {format_count(row.days, 'day')}",
                right=True,
            ),
            Column(
                "A week", cell=lambda row: str(round_to_decimals(row.weekly_use, 1)), right=True
            ),
            Column(key="days", value=lambda row: row.days),
            Column(
                "Delivery",
                "delivery_days",
                lambda row: row.lead_days,
                cell=lambda row: format_count(row.lead_days, "day"),
                right=True,
            ),
            Column(
                "Buy at",
                "reorder",
                lambda row: row.reorder_point,
                cell=lambda row: str(row.reorder_point),
                right=True,
            ),
            Column("Buy up to", "target", lambda row: row.target, right=True),
            Column("Now", "now", _current_level, cell=_current_words, right=True),
        ),
        empty=f"No sheets were used in the last {format_count(weeks, 'week')}.",
    )


def _size_words(width: Length | None, height: Length | None, unit: Unit) -> str:
    return "any" if width is None or height is None else format_size(width, height, unit)


def _millimetres(length: Length | None) -> int | float | None:
    return None if length is None else to_mm_number(length)


def _current_level(row: LevelSuggestion) -> dict[str, Any] | None:
    if row.current_level is None:
        return None
    reorder, target = row.current_level
    return {"reorder": reorder, "target": target}


def _current_words(row: LevelSuggestion) -> str:
    return "" if row.current_level is None else "{} / {}".format(*row.current_level)
