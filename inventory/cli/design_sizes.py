"""`quirebox design sizes` and `design sheets`: what size to make, and on which sheets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.design_options import (
    NameArgument,
    PaperOption,
    SizesArgument,
    UnitOption,
    design_named,
    session_if_any,
    sheetstock,
    unit_of,
)
from inventory.cli.shared.options import CutsOption, EffortOption, JsonFlag, pairs
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from rich.console import RenderableType

    from inventory.advice.sizes import BatchRequest, SheetComparison
    from nester.core.lengths import Length, Unit
    from nester.drawing.pictures.chart import StepChart
    from nester.studies.size_jumps import SizeJump, Suggestion
    from nester.studies.size_sweep import SizeResult

__all__ = ["sheets", "sizes"]

_STEP_FACTORS = {Effort.QUICK: 1, Effort.NORMAL: 4, Effort.THOROUGH: 16}
_MOST_STEPS = 6
"""Steps said in words."""

OnOption = Annotated[
    list[str],
    typer.Option(
        "--on",
        metavar="[PART=]SIZE",
        help="A sheet it may be cut from, for all papers or for that of a part: 50x70cm,"
        " mat=12x12in; again for each.",
    ),
]
PriceOption = Annotated[
    list[str] | None,
    typer.Option(
        "--price",
        metavar="SIZE=PRICE",
        help="What a sheet costs: 50x70cm=1.80; without prices paper counts by its area.",
    ),
]
QuantityOption = Annotated[
    int, typer.Option("--quantity", metavar="N", help="How many are cut together.")
]


def sizes(
    context: typer.Context,
    name: NameArgument,
    on: OnOption,
    settings: SizesArgument = None,
    setting: Annotated[
        str | None,
        typer.Option(
            "--setting",
            help="The length whose sizes are compared.  [default: the design's first]",
            show_default=False,
        ),
    ] = None,
    first: Annotated[
        str | None,
        typer.Option("--from", metavar="SIZE", help="The smallest size.  [default: 1/6 less]"),
    ] = None,
    last: Annotated[
        str | None,
        typer.Option("--to", metavar="SIZE", help="The largest size.  [default: 1/6 more]"),
    ] = None,
    step: Annotated[
        str | None,
        typer.Option("--step", metavar="SIZE", help="From size to size.  [default: 1mm, 1/16in]"),
    ] = None,
    quantity: QuantityOption = 10,
    price: PriceOption = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    processes: Annotated[
        int | None,
        typer.Option(
            "--processes",
            min=1,
            max=64,
            help="How many share the work; what is found doesn't depend on it.  [default: one a"
            " core]",
            show_default=False,
        ),
    ] = None,
    svg: Annotated[
        Path | None, typer.Option("--svg", metavar="FILE", help="Draw the chart into it.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Show how paper for each box changes with its size: a table and a chart, the steps in words.

    Each size is planned as a batch on sheets of which there are enough, and each plan is checked.
    Ctrl-C shows the sizes that are planned by then; again gives it up.

    \b
    Examples:
      quirebox design sizes layered-box --on 50x70cm mats=outside
      quirebox design sizes layered-box --on 56x71cm --from 16cm --to 19cm
      quirebox design sizes gift-tag --on A4 --on A3 --quantity 100
    """
    from inventory.cli.shared.options import stopping
    from inventory.cli.shared.terminal import console, counting, print_json
    from nester.packing.search.quick_plan import QuickBudget
    from nester.studies.size_jumps import find_jumps, suggest_sizes
    from nester.studies.size_sweep import sizes_between, sweep, swept_setting

    asked, used, currency = _read_request(
        context, name, settings, on, price, paper, quantity, cuts, unit
    )
    design = asked.batch.design
    chosen = swept_setting(design, setting)
    now = _current_value(asked, chosen)
    low, high, each = _range(now, used, first, last, step)
    wanted = sizes_between(low, high, each, used)
    pains = QuickBudget().scaled(_STEP_FACTORS[effort])
    with stopping(None) as stop, counting("Comparing sizes") as tell:
        points = sweep(
            asked.batch, chosen, wanted, budget=pains, processes=processes, stop=stop,
            on_progress=tell,
        )  # fmt: skip
    if len(points) < len(wanted) and all(point.refusal for point in points):
        raise KeyboardInterrupt  # there is nothing to show yet
    steps = find_jumps(points, _MOST_STEPS)
    base, suggestions = suggest_sizes(points, now, design, chosen)
    chart = _chart(asked, points, steps, chosen, used, currency)
    if svg is not None:
        from inventory.core.files import write_file
        from nester.drawing.canvas.svg import svg_document
        from nester.drawing.pictures.chart import steps_svg

        write_file(svg, svg_document(steps_svg(chart)))
    if as_json:
        told = _as_json(asked, chosen, points, steps, base, suggestions, used, currency)
        print_json({**told, "stopped": len(points) < len(wanted)})
        return
    if base is None:
        raise Refusal(f"none of these sizes can be had; {points[0].refusal}")
    console().print(
        *_report(asked, points, steps, base, suggestions, chart, chosen, used, currency), sep="\n"
    )
    if len(points) < len(wanted):
        typer.echo(f"Stopped early: {len(points)} of {len(wanted)} sizes were looked at.")


def _read_request(
    context: typer.Context,
    name: str,
    settings: Sequence[str] | None,
    on: Sequence[str],
    price: Sequence[str] | None,
    paper: Sequence[str] | None,
    quantity: int,
    cuts: Cuts,
    unit: Unit | None,
) -> tuple[BatchRequest, Unit, str | None]:
    """Return the batch asked for, the unit, and the currency if sheets have prices."""
    from inventory.advice.sizes import read_batch_request
    from inventory.shop.settings import get_shop
    from nester.designs import (
        check_roles,
    )

    with session_if_any(context) as session:
        design = design_named(session, name)
        papers = pairs(list(paper or []), "--paper")
        check_roles(design, papers)
        used = unit_of(session, unit)
        asked = read_batch_request(
            session,
            design,
            pairs(list(settings or []), "setting"),
            papers,
            sheetstock(session, papers),
            on,
            pairs(list(price or []), "--price"),
            quantity,
            cuts,
            used,
        )
        currency = get_shop(session).currency if session is not None else ""
    return asked, used, currency if asked.has_prices else None


def _current_value(asked: BatchRequest, setting: str) -> Length:
    value = asked.current_sizes.get(setting)
    if isinstance(value, int):
        return value
    # Another way to say a setting, such as the blank of three panels.
    other = next(one for one in asked.batch.design.settings if one.name == setting)
    value = asked.current_sizes[other.alternative_to]
    return value * other.divisor if isinstance(value, int) else 0


def _range(
    now: Length, unit: Unit, first: str | None, last: str | None, step: str | None
) -> tuple[Length, Length, Length]:
    """Return from where to where, and by which step."""
    from inventory.advice.sizes import usual_range

    low, high, each = usual_range(now, unit)
    if first is not None:
        low = _length(first, unit, "--from")
    if last is not None:
        high = _length(last, unit, "--to")
    if step is not None:
        each = _length(step, unit, "--step")
    return low, high, each


def _length(text: str, unit: Unit, option: str) -> Length:
    from nester.core.lengths import LengthError, parse_length

    try:
        return parse_length(text, unit)
    except LengthError as why:
        raise Refusal(f"{option}: {why}") from None


def _amounts(currency: str | None) -> tuple[Callable[[Fraction], str], str]:
    """Return what writes an amount of paper, and what it is an amount of."""
    from nester.core.lengths import format_amount

    return format_amount, "m²" if currency is None else currency or "price"


def _chart(
    asked: BatchRequest,
    points: Sequence[SizeResult],
    steps: Sequence[SizeJump],
    setting: str,
    unit: Unit,
    currency: str | None,
) -> StepChart:
    from nester.drawing.pictures.chart import StepChart

    words, what = _amounts(currency)
    marked = {step.above.size for step in steps}
    batch = asked.batch
    return StepChart(
        title=f"Paper for each {batch.design.name}, {batch.quantity} cut together",
        x_label=setting,
        y_label=f"{what} each",
        unit=unit,
        positions=tuple(point.size for point in points),
        values=tuple(None if point.refusal else point.cost for point in points),
        lower_bounds=tuple(None if point.refusal else point.lower_bound for point in points),
        marked=frozenset(n for n, point in enumerate(points) if point.size in marked),
        format_value=words,
    )


def _report(
    asked: BatchRequest,
    points: Sequence[SizeResult],
    steps: Sequence[SizeJump],
    base: SizeResult,
    suggestions: Sequence[Suggestion],
    chart: StepChart,
    setting: str,
    unit: Unit,
    currency: str | None,
) -> list[RenderableType]:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_length
    from nester.drawing.pictures.chart import steps_text
    from nester.studies.size_jumps import describe_jump

    words, what = _amounts(currency)
    columns = (setting.capitalize(), f"{what} each", "At least", "Sheets", "Becomes pieces")
    shown = table(chart.title, *columns, "", right=frozenset(columns))
    marked = {step.above.size for step in steps}
    for start, end in _equal_runs(points):
        point = points[start]
        if point.refusal:
            continue
        size = format_length(point.size, unit)
        if end - start > 1:
            to = format_length(points[end - 1].size, unit)
            size = f"{format_length(point.size, unit, with_unit=False)} to {to}"
        mark = "step" if point.size in marked else ""
        shares = [f"{float(100 * points[n].utilization):.0f}" for n in (start, end - 1)]
        share = f"{' to '.join(dict.fromkeys(shares))} %"
        shown.add_row(
            size, words(point.cost), words(point.lower_bound), str(point.sheet_count), share, mark
        )
    parts: list[RenderableType] = [shown, Text(steps_text(chart))]
    if steps:
        several = len(asked.papers) > 1
        parts.append(Text("Steps:" if len(steps) > 1 else "Step:", style="bold"))
        parts += [Text(f"  {describe_jump(s, unit, several_papers=several)}") for s in steps]
        parts.append(Text(""))
    now = format_length(base.size, unit)
    if suggestions:
        parts.append(Text(f"Nearby sizes that save most, beside {now}:", style="bold"))
        parts += [Text(f"  {_suggested(one, words, what, unit)}") for one in suggestions]
    else:
        parts.append(Text(f"No size near {now} takes less."))
    parts += [Text(line) for line in _skipped(points, unit)]
    return parts


def _equal_runs(points: Sequence[SizeResult]) -> list[tuple[int, int]]:
    """Return from where to before where points take the same, with the same proven."""
    runs: list[tuple[int, int]] = []
    for place, point in enumerate(points):
        if runs and _point_key(points[runs[-1][0]]) == _point_key(point):
            runs[-1] = (runs[-1][0], place + 1)
        else:
            runs.append((place, place + 1))
    return runs


def _point_key(point: SizeResult) -> tuple[object, ...]:
    return bool(point.refusal), point.cost, point.lower_bound, point.sheet_count


def _suggested(one: Suggestion, words: Callable[[Fraction], str], what: str, unit: Unit) -> str:
    from nester.core.lengths import format_length

    def to(before: Length, after: Length) -> str:
        return f"{format_length(before, unit, with_unit=False)} → {format_length(after, unit)}"

    said = f"{format_length(one.result.size, unit)} saves {words(one.saving)} {what} each"
    changed = [f"{change.name} {to(change.before, change.after)}" for change in one.changes]
    return f"{said}; {', '.join(changed)}" if changed else said


def _skipped(points: Sequence[SizeResult], unit: Unit) -> list[str]:
    """Say which sizes can't be had; sizes beside one another together, with the first's reason."""
    from nester.core.lengths import format_length

    lines = []
    for start, end in _equal_runs(points):
        if points[start].refusal:
            first, last = (format_length(points[n].size, unit) for n in (start, end - 1))
            which = first if end - start == 1 else f"{first} to {last}"
            lines.append(f"Left out: {which}. {_sentence(points[start].refusal)}")
    return lines


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _as_json(
    asked: BatchRequest,
    setting: str,
    points: Sequence[SizeResult],
    steps: Sequence[SizeJump],
    base: SizeResult | None,
    suggestions: Sequence[Suggestion],
    unit: Unit,
    currency: str | None,
) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number
    from nester.studies.size_jumps import describe_jump

    several = len(asked.papers) > 1
    marked = {step.above.size for step in steps}
    return {
        "design": asked.batch.design.name,
        "setting": setting,
        "quantity": asked.batch.quantity,
        "counted_in": "m²" if currency is None else currency or "money",
        "sizes": [
            {
                "size": to_mm_number(point.size),
                "refused": point.refusal or None,
                "each": None if point.refusal else _number(point.cost),
                "at_least": None if point.refusal else _number(point.lower_bound),
                "sheets": None if point.refusal else point.sheet_count,
                "share": None if point.refusal else round(float(point.utilization), 4),
                "step": point.size in marked,
            }
            for point in points
        ],
        "steps": [
            {
                "below": to_mm_number(step.below.size),
                "above": to_mm_number(step.above.size),
                "rise": _number(step.cost_increase),
                "paper": step.paper,
                "pieces": dict(step.pieces),
                "proven": step.is_proven,
                "words": describe_jump(step, unit, several_papers=several),
            }
            for step in steps
        ],
        "beside": None if base is None else to_mm_number(base.size),
        "suggestions": [
            {
                "size": to_mm_number(one.result.size),
                "saves": _number(one.saving),
                "changes": [
                    {
                        "name": change.name,
                        "before": to_mm_number(change.before),
                        "after": to_mm_number(change.after),
                    }
                    for change in one.changes
                ],
            }
            for one in suggestions
        ],
    }


def _number(value: Fraction) -> float:
    return round(float(value), 6)


def sheets(
    context: typer.Context,
    name: NameArgument,
    on: OnOption,
    settings: SizesArgument = None,
    quantity: QuantityOption = 10,
    price: PriceOption = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    as_json: JsonFlag = False,
) -> None:
    """Show which sheet size suits a design: paper for each box from one sheet and the other.

    \b
    Example:
      quirebox design sheets layered-box --on 50x70cm --on 56x71cm --on A1
    """
    from inventory.advice.sizes import compare_sheets
    from inventory.cli.shared.terminal import console, print_json

    asked, used, currency = _read_request(
        context, name, settings, on, price, paper, quantity, cuts, unit
    )
    rows = compare_sheets(asked, effort)
    if as_json:
        print_json(_sheets_as_json(asked, rows, currency))
        return
    console().print(*_sheets_report(asked, rows, used, currency), sep="\n")


def _sheets_report(
    asked: BatchRequest, rows: Sequence[SheetComparison], unit: Unit, currency: str | None
) -> list[RenderableType]:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    words, what = _amounts(currency)
    batch = asked.batch
    numbers = ("Sheets", f"{what} each", "At least", "More than best")
    title = f"Sheets for {batch.design.name}, {batch.quantity} cut together"
    shown = table(title, "Paper", "Cut from", *numbers, right=frozenset(numbers))
    best: dict[str | None, Fraction] = {}
    faults = []
    for row in rows:
        offer = row.offer
        what_from = format_size(offer.width, offer.height, unit) if offer else "all of them"
        called = row.paper or "all papers"
        if row.refused:
            shown.add_row(Text(called), what_from, "", "", "", "can't be")
            faults.append(f"{what_from}: {_sentence(row.refused)}")
            continue
        least = best.setdefault(row.paper, row.cost)
        more = f"{float(100 * (row.cost / least - 1)):.1f} %" if row.cost > least else ""
        shown.add_row(
            Text(called), what_from, str(row.sheets), words(row.cost), words(row.bound), more
        )
    return [
        shown,
        *(Text(line) for line in dict.fromkeys(faults)),
        *map(Text, _verdict(rows, unit)),
    ]


def _verdict(rows: Sequence[SheetComparison], unit: Unit) -> list[str]:
    """Say which sheet suits best, and whether that is proven; paper by paper if none suits all."""
    by_paper: dict[str | None, list[SheetComparison]] = {}
    for row in rows:
        if row.offer is not None and not row.refused:
            by_paper.setdefault(row.paper, []).append(row)
    if None in by_paper:
        return [_best_of(by_paper[None], unit, "")]
    several = len({row.paper for row in rows} - {None}) > 1
    said = [_best_of(its, unit, f"{p}: " if several else "") for p, its in by_paper.items()]
    return said or ["It can't be cut from any one of these sheets."]


def _best_of(rows: Sequence[SheetComparison], unit: Unit, before: str) -> str:
    from nester.core.lengths import format_size

    best, *others = rows
    sheet = format_size(best.offer.width, best.offer.height, unit) if best.offer else ""
    if not others:
        return f"{before}{sheet} is the only one that it can be cut from."
    if all(row.bound >= best.cost for row in others):
        return f"{before}{sheet} suits it best; that is proven."
    return f"{before}{sheet} suits it best of the plans found; others may yet be as good."


def _sheets_as_json(
    asked: BatchRequest, rows: Sequence[SheetComparison], currency: str | None
) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    return {
        "design": asked.batch.design.name,
        "quantity": asked.batch.quantity,
        "counted_in": "m²" if currency is None else currency or "money",
        "rows": [
            {
                "paper": row.paper,
                "width": to_mm_number(row.offer.width) if row.offer else None,
                "height": to_mm_number(row.offer.height) if row.offer else None,
                "refused": row.refused or None,
                "sheets": None if row.refused else row.sheets,
                "each": None if row.refused else _number(row.cost),
                "at_least": None if row.refused else _number(row.bound),
            }
            for row in rows
        ],
    }
