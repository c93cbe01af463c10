"""Sizes and sheets compared, in words and as a chart."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from nester.core.lengths import Length, Unit, format_amount, format_length, format_size
from nester.drawing.pictures.chart import StepChart
from nester.studies.size_jumps import describe_jump

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.advice.sizes import BatchRequest, SheetComparison, SizeComparison
    from nester.studies.size_jumps import Suggestion
    from nester.studies.size_sweep import SizeResult

__all__ = [
    "amount_name",
    "batch_title",
    "equal_runs",
    "jump_words",
    "left_out_words",
    "more_than_best_words",
    "sheet_fault_words",
    "size_chart",
    "suggestion_words",
    "suggestions_title",
    "verdict_words",
]


def amount_name(batch: BatchRequest) -> str:
    """Say what amounts of paper are in: a currency, or m² of paper."""
    return "m²" if batch.currency is None else batch.currency or "price"


def batch_title(what: str, batch: BatchRequest) -> str:
    """Return the title of a comparison: ``Sheets for layered-box, 10 cut together``."""
    return f"{what} {batch.batch.design.name}, {batch.batch.quantity} cut together"


# --- sizes -------------------------------------------------------------------------------------


def size_chart(comparison: SizeComparison) -> StepChart:
    """Return the chart of what each size takes."""
    points = comparison.points
    marked = {jump.above.size for jump in comparison.jumps}
    return StepChart(
        title=batch_title("Paper for each", comparison.batch),
        x_label=comparison.setting,
        y_label=f"{amount_name(comparison.batch)} each",
        unit=comparison.unit,
        positions=tuple(point.size for point in points),
        values=tuple(None if point.refusal else point.cost for point in points),
        lower_bounds=tuple(None if point.refusal else point.lower_bound for point in points),
        marked=frozenset(n for n, point in enumerate(points) if point.size in marked),
        format_value=format_amount,
    )


def equal_runs(points: Sequence[SizeResult]) -> list[tuple[int, int]]:
    """Return from where to before where sizes take the same, with the same bound proven."""
    runs: list[tuple[int, int]] = []
    for place, point in enumerate(points):
        if runs and _result(points[runs[-1][0]]) == _result(point):
            runs[-1] = (runs[-1][0], place + 1)
        else:
            runs.append((place, place + 1))
    return runs


def _result(point: SizeResult) -> tuple[object, ...]:
    return bool(point.refusal), point.cost, point.lower_bound, point.sheet_count


def jump_words(comparison: SizeComparison) -> list[str]:
    """Say of each jump which pieces fit a sheet no more."""
    several = len(comparison.batch.papers) > 1
    return [
        describe_jump(jump, comparison.unit, several_papers=several) for jump in comparison.jumps
    ]


def suggestions_title(comparison: SizeComparison) -> str:
    """Return the heading of the suggestions, or the sentence that there are none."""
    if comparison.base is None:
        return ""
    now = format_length(comparison.base.size, comparison.unit)
    if not comparison.suggestions:
        return f"No size near {now} takes less paper."
    return f"Nearby sizes that save the most, compared with {now}:"


def suggestion_words(comparison: SizeComparison) -> list[str]:
    """Say what each suggested size saves, and what else of the design changes with it."""
    name = amount_name(comparison.batch)
    return [_suggestion(suggestion, name, comparison.unit) for suggestion in comparison.suggestions]


def _suggestion(suggestion: Suggestion, name: str, unit: Unit) -> str:
    def change(before: Length, after: Length) -> str:
        return f"{format_length(before, unit, with_unit=False)} → {format_length(after, unit)}"

    size = format_length(suggestion.result.size, unit)
    words = f"{size} saves {format_amount(suggestion.saving)} {name} each"
    changes = [
        f"{setting.name} {change(setting.before, setting.after)}" for setting in suggestion.changes
    ]
    return f"{words}; {', '.join(changes)}" if changes else words


def left_out_words(comparison: SizeComparison) -> list[str]:
    """Say which sizes are not possible; neighbours together, with the first's reason."""
    points, unit = comparison.points, comparison.unit
    sentences = []
    for start, end in equal_runs(points):
        if points[start].refusal:
            first, last = (format_length(points[n].size, unit) for n in (start, end - 1))
            sizes = first if end - start == 1 else f"{first} to {last}"
            sentences.append(f"Left out: {sizes}. {_sentence(points[start].refusal)}")
    return sentences


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


# --- sheets ------------------------------------------------------------------------------------


def more_than_best_words(more: Fraction, least: Fraction, currency: str | None) -> str:
    """Say how much more than the best a sheet takes: ``0.12 (9 %)``; coins get no share.

    Parameters
    ----------
    currency
        None if paper counts by its area.
    """
    if not more:
        return ""
    share = round(100 * more / least)
    is_worth_it = share and (currency is None or more >= 1)
    return f"{format_amount(more)} ({share} %)" if is_worth_it else format_amount(more)


def sheet_fault_words(rows: Sequence[SheetComparison], unit: Unit) -> list[str]:
    """Say why sheets are not possible, each reason once."""
    faults = [f"{_sheet(row, unit)}: {_sentence(row.refused)}" for row in rows if row.refused]
    return list(dict.fromkeys(faults))


def verdict_words(rows: Sequence[SheetComparison], unit: Unit) -> list[str]:
    """Say which sheet is best and whether that is proven; paper by paper if none is for all."""
    by_paper: dict[str | None, list[SheetComparison]] = {}
    for row in rows:
        if row.offer is not None and not row.refused:
            by_paper.setdefault(row.paper, []).append(row)
    if None in by_paper:
        return [_best_of(by_paper[None], unit, "")]
    several = len({row.paper for row in rows} - {None}) > 1
    sentences = [
        _best_of(its, unit, f"{paper}: " if several else "") for paper, its in by_paper.items()
    ]
    return sentences or ["It can't be cut from any of these sheets alone."]


def _best_of(rows: Sequence[SheetComparison], unit: Unit, before: str) -> str:
    best, *others = rows
    sheet = _sheet(best, unit)
    if not others:
        return f"{before}{sheet} is the only size it can be cut from."
    if all(row.bound >= best.cost for row in others):
        return f"{before}{sheet} is best; that is proven."
    return f"{before}{sheet} is the best found; another may be as good."


def _sheet(row: SheetComparison, unit: Unit) -> str:
    return "all of them" if row.offer is None else format_size(*row.offer[:2], unit)
