"""`quirebox report`: looking back on use, yield, waste, spending, and what lies unused."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of, stopping
from inventory.reports.kinds import ReportGrouping
from nester.core.errors import Refusal
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from inventory.reports.reports import DeadStock, MonthRange, SpendingRow, UseRow
    from nester.core.lengths import Unit
    from nester.drawing.pictures.chart import BarChart
    from nester.packing.orders.most_copies import CopiesRange

__all__ = ["app"]

app = group("Reports: what was used and spent, and what lies unused.")

ByOption = Annotated[ReportGrouping, typer.Option("--by", help="What there is a line for.")]
FromOption = Annotated[
    str | None,
    typer.Option("--from", metavar="MONTH", help="The first month that counts: 2027-03."),
]
ToOption = Annotated[
    str | None, typer.Option("--to", metavar="MONTH", help="The last month that counts.")
]
CsvOption = Annotated[
    Path | None, typer.Option("--csv", metavar="FILE", help="Write the table into it.")
]
SvgOption = Annotated[
    Path | None, typer.Option("--svg", metavar="FILE", help="Draw the chart into it.")
]
PdfOption = Annotated[
    Path | None, typer.Option("--pdf", metavar="FILE", help="Draw the chart into it, on a page.")
]


@app.command("use")
def use_(
    context: typer.Context,
    by: ByOption = ReportGrouping.PAPER,
    first: FromOption = None,
    last: ToOption = None,
    csv: CsvOption = None,
    svg: SvgOption = None,
    pdf: PdfOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show what was used of the paper, and what of it became pieces, was waste or was spoiled.

    By design, what is cut of a sheet belongs to the designs whose pieces lie on it, in parts of
    their area.

    \b
    Example:
      quirebox report use --by design --from 2027-01 --pdf use.pdf
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.reports.reports import paper_use, read_months
    from inventory.shop.settings import get_shop

    months = read_months(first, last)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = paper_use(session, by, months)
    _write_csv(
        csv,
        (str(by), "used_m2", "cut_m2", "pieces_m2", "kept_m2", "waste_m2", "spoiled_m2", "yield"),
        [
            (
                row.name,
                *map(_metres, (row.used, row.cut, row.pieces, row.kept, row.waste, row.spoiled)),
                "" if row.yield_rate is None else round(float(row.yield_rate), 4),
            )
            for row in rows
        ],
    )
    chart = _use_chart(rows, by, months, unit)
    _draw(chart, svg, pdf)
    if as_json:
        print_json(
            {
                "by": str(by),
                "first": months.first,
                "last": months.last,
                "rows": [
                    {
                        "name": row.name,
                        "used": _metres(row.used),
                        "cut": _metres(row.cut),
                        "pieces": _metres(row.pieces),
                        "kept": _metres(row.kept),
                        "waste": _metres(row.waste),
                        "spoiled": _metres(row.spoiled),
                        "yield": None
                        if row.yield_rate is None
                        else round(float(row.yield_rate), 4),
                    }
                    for row in rows
                ],
            }
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_area
    from nester.drawing.pictures.chart import bars_text

    numbers = ("Used", "Pieces", "Waste", "Spoiled", "Kept", "Yield")
    shown = table(f"Paper used{_when(months)}", _title(by), *numbers, right=frozenset(numbers))
    for row in rows:
        areas = (row.used, row.pieces, row.waste, row.spoiled, row.kept)
        shown.add_row(
            Text(row.name),
            *(format_area(round(area), unit) if area else "" for area in areas),
            "" if row.yield_rate is None else f"{float(100 * row.yield_rate):.0f} %",
        )
    if not rows:
        console().print("Nothing was cut or spoiled in that time.")
        return
    console().print(shown, Text(bars_text(chart)), sep="\n")


@app.command("spending")
def spending_(
    context: typer.Context,
    by: ByOption = ReportGrouping.MONTH,
    first: FromOption = None,
    last: ToOption = None,
    csv: CsvOption = None,
    svg: SvgOption = None,
    pdf: PdfOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show what was spent on paper: received by month, paper or supplier; or used by design.

    By design it is the paper cut or spoiled for it, less the offcuts kept.

    \b
    Example:
      quirebox report spending --by supplier --from 2027-01 --to 2027-06
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.money import format_money, round_to_coin
    from inventory.reports.reports import read_months, spending
    from inventory.shop.settings import get_shop

    months = read_months(first, last)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        currency = get_shop(session).currency
        rows = spending(session, by, months)
    amounts = [round_to_coin(row.amount, currency) for row in rows]
    _write_csv(
        csv,
        (str(by), "amount", "currency", "without_price"),
        [(r.name, a, currency, r.unpriced) for r, a in zip(rows, amounts, strict=True)],
    )
    chart = _spending_chart(rows, by, months, lambda value: format_money(value, currency))
    _draw(chart, svg, pdf)
    if as_json:
        print_json(
            {
                "by": str(by),
                "currency": currency,
                "first": months.first,
                "last": months.last,
                "rows": [
                    {"name": row.name, "amount": f"{amount:f}", "unpriced": row.unpriced}
                    for row, amount in zip(rows, amounts, strict=True)
                ],
            }
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.drawing.pictures.chart import bars_text

    numbers = ("Spent", "Without a price")
    shown = table(f"Spent on paper{_when(months)}", _title(by), *numbers, right=frozenset(numbers))
    for row in rows:
        money = format_money(row.amount, currency)
        shown.add_row(Text(row.name), money, str(row.unpriced) if row.unpriced else "")
    if not rows:
        console().print("Nothing was spent in that time.")
        return
    console().print(shown, Text(bars_text(chart)), sep="\n")


@app.command("unused")
def unused(
    context: typer.Context,
    days: Annotated[int, typer.Option("--days", help="Not cut for so many days.")] = 365,
    design: Annotated[
        str,
        typer.Option("--design", help="Of which design it is told how many it would make."),
    ] = "gift-tag",
    size: Annotated[
        list[str] | None,
        typer.Option("--size", metavar="SETTING=VALUE", help="A size of that design."),
    ] = None,
    csv: CsvOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show papers that nobody has cut for a year, and what could be made of them.

    \b
    Example:
      quirebox report unused --days 180 --design gift-tag --size length=10cm
    """
    from datetime import date

    from inventory.advice.capacity import DesignRequest, max_copies
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.text import (
        pairs,
    )
    from inventory.reports.reports import dead_stock
    from inventory.shop.settings import get_shop

    wish = DesignRequest(design, pairs(size or [], "--size"))
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = dead_stock(session, date.today(), days, wish)
    with stopping(None) as stop:
        made = [max_copies(row.problem, Effort.QUICK, stop=stop) for row in rows]
    _write_csv(
        csv,
        ("paper", "area_m2", "labels", "last_used", "here_since", "design", "at_least", "at_most"),
        [
            (
                row.paper,
                _metres(Fraction(row.area)),
                " ".join(row.labels),
                row.last_used or "",
                row.in_stock_since,
                wish.text,
                most.lower_bound,
                most.upper_bound,
            )
            for row, most in zip(rows, made, strict=True)
        ],
    )
    if as_json:
        print_json(_unused_as_json(rows, made, days, wish.text))
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from inventory.documents.text.capacity import (
        number_words,
    )
    from nester.core.lengths import format_area

    title = f"Not cut for {days} days"
    shown = table(title, "Paper", "Area", "Last cut", "Would make", right=frozenset({"Area"}))
    for row, most in zip(rows, made, strict=True):
        when = "never" if row.last_used is None else row.last_used.isoformat()
        makes = f"{number_words(most)} × {wish.text}"
        shown.add_row(Text(row.paper), format_area(row.area, unit), when, Text(makes))
    console().print(shown if rows else f"All paper here was cut or came within {days} days.")


def _unused_as_json(
    rows: Sequence[DeadStock], made: Sequence[CopiesRange], days: int, words: str
) -> dict[str, object]:
    return {
        "days": days,
        "rows": [
            {
                "paper": row.paper,
                "area": _metres(Fraction(row.area)),
                "labels": list(row.labels),
                "last_used": None if row.last_used is None else row.last_used.isoformat(),
                "here_since": row.in_stock_since.isoformat(),
                "design": words,
                "at_least": most.lower_bound,
                "at_most": most.upper_bound,
            }
            for row, most in zip(rows, made, strict=True)
        ],
    }


def _metres(area: Fraction) -> float:
    from nester.core.lengths import UNITS_PER_MM

    return round(float(area / (1000 * UNITS_PER_MM) ** 2), 6)


def _title(by: ReportGrouping) -> str:
    return str(by).capitalize()


def _when(months: MonthRange) -> str:
    said = f" from {months.first}" if months.first else ""
    return said + (f" to {months.last}" if months.last else "")


def _use_chart(
    rows: Sequence[UseRow], by: ReportGrouping, months: MonthRange, unit: Unit
) -> BarChart:
    from nester.core.lengths import format_area
    from nester.drawing.pictures.chart import BarChart

    return BarChart(
        f"Paper used, by {by}{_when(months)}",
        tuple((row.name, Fraction(row.used)) for row in rows),
        lambda value: format_area(round(value), unit),
    )


def _spending_chart(
    rows: Sequence[SpendingRow],
    by: ReportGrouping,
    months: MonthRange,
    words: Callable[[Fraction], str],
) -> BarChart:
    from nester.drawing.pictures.chart import BarChart

    named = tuple((row.name, row.amount) for row in rows)
    return BarChart(f"Spent on paper, by {by}{_when(months)}", named, words)


def _draw(chart: BarChart, svg: Path | None, pdf: Path | None) -> None:
    if svg is None and pdf is None:
        return
    if not chart.rows:
        raise Refusal("there is nothing to draw in that time")
    from inventory.core.files import write_bytes, write_file
    from nester.drawing.canvas.svg import svg_document
    from nester.drawing.pictures.chart import bars_svg, chart_pdf

    picture = bars_svg(chart)
    if svg is not None:
        write_file(svg, svg_document(picture))
    if pdf is not None:
        write_bytes(pdf, chart_pdf(picture, chart.title))


def _write_csv(path: Path | None, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    if path is not None:
        from inventory.core.files import csv_text, write_file

        write_file(path, csv_text(columns, rows))
