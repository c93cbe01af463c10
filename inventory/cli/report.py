"""`quirebox report`: looking back on use, yield, waste, spending, and what lies unused."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    ReplaceFlag,
    group,
    replacing,
    shop_file_of,
    stopping,
)
from inventory.reports.kinds import ReportGrouping
from nester.core.errors import Refusal
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from inventory.core.files import MayReplace
    from inventory.reports.reports import MonthRange, SpendingRow, UseRow
    from inventory.views.listing import Listing
    from nester.core.lengths import Unit
    from nester.drawing.pictures.chart import BarChart

__all__ = ["app"]

Row = TypeVar("Row")

app = group("Reports: what was used and spent, and what lies unused.")

ByOption = Annotated[ReportGrouping, typer.Option("--by", help="What each line is for.")]
FromOption = Annotated[
    str | None,
    typer.Option("--from", metavar="MONTH", help="The first month that counts: 2027-03."),
]
ToOption = Annotated[
    str | None, typer.Option("--to", metavar="MONTH", help="The last month that counts.")
]
CsvOption = Annotated[
    Path | None, typer.Option("--csv", metavar="FILE", help="Write the table to this file.")
]
SvgOption = Annotated[
    Path | None, typer.Option("--svg", metavar="FILE", help="Draw the chart to this file.")
]
PdfOption = Annotated[
    Path | None,
    typer.Option("--pdf", metavar="FILE", help="Draw the chart on a page of this file."),
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
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show how much paper was used, and how much became pieces, waste or was spoiled.

    By design, a sheet is shared among the designs cut from it, by the area of their pieces.

    \b
    Example:
      quirebox report use --by design --from 2027-01 --pdf use.pdf
    """
    from inventory.reports.reports import paper_use, read_months
    from inventory.shop.settings import get_shop
    from inventory.views.reports import use_listing

    months = read_months(first, last)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = paper_use(session, by, months)
    listing = use_listing(by, months, unit)
    chart = _use_chart(rows, by, months, unit)
    _write(listing, rows, replacing(yes), csv, chart, svg, pdf)
    head = {"by": str(by), "first": months.first, "last": months.last}
    _show(listing, rows, head, as_json, chart)


@app.command("spending")
def spending_(
    context: typer.Context,
    by: ByOption = ReportGrouping.MONTH,
    first: FromOption = None,
    last: ToOption = None,
    csv: CsvOption = None,
    svg: SvgOption = None,
    pdf: PdfOption = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show spending on paper: received, by month, paper or supplier; or used, by design.

    By design, it is the paper cut or spoiled, less the offcuts kept.

    \b
    Example:
      quirebox report spending --by supplier --from 2027-01 --to 2027-06
    """
    from inventory.core.money import format_money
    from inventory.reports.reports import read_months, spending
    from inventory.shop.settings import get_shop
    from inventory.views.reports import spending_listing

    months = read_months(first, last)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        currency = get_shop(session).currency
        rows = spending(session, by, months)
    listing = spending_listing(by, months, currency)
    chart = _spending_chart(rows, by, months, lambda value: format_money(value, currency))
    _write(listing, rows, replacing(yes), csv, chart, svg, pdf)
    head = {"by": str(by), "currency": currency, "first": months.first, "last": months.last}
    _show(listing, rows, head, as_json, chart)


@app.command("unused")
def unused(
    context: typer.Context,
    settings: Annotated[
        list[str] | None,
        typer.Argument(metavar="SETTING=VALUE", help="Settings of the design: length=10cm."),
    ] = None,
    days: Annotated[int, typer.Option("--days", help="Papers not cut for this many days.")] = 365,
    design: Annotated[
        str,
        typer.Option("--design", help="The design to count copies of."),
    ] = "gift-tag",
    size: Annotated[
        list[str] | None, typer.Option("--size", metavar="SETTING=VALUE", hidden=True)
    ] = None,
    csv: CsvOption = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show papers you have not cut for a long time, and how many of a design each would make.

    \b
    Example:
      quirebox report unused length=10cm --design gift-tag --days 180
    """
    from datetime import date

    from inventory.advice.capacity import DesignRequest, max_copies
    from inventory.core.files import check_targets
    from inventory.core.text import pairs
    from inventory.documents.text.capacity import number_words
    from inventory.reports.reports import dead_stock
    from inventory.shop.settings import get_shop
    from inventory.views.reports import UnusedRow, unused_listing

    may_replace = replacing(yes)
    check_targets([csv] if csv else [], may_replace)
    request = DesignRequest(design, pairs([*(settings or []), *(size or [])], "setting"))
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        papers = dead_stock(session, date.today(), days, request)
    with stopping(None) as stop:
        rows = [
            UnusedRow(paper, max_copies(paper.problem, Effort.QUICK, stop=stop), request.text)
            for paper in papers
        ]
    listing = unused_listing(days, unit, number_words)
    _write(listing, rows, may_replace, csv)
    _show(listing, rows, {"days": days}, as_json)


def _use_chart(
    rows: Sequence[UseRow], by: ReportGrouping, months: MonthRange, unit: Unit
) -> BarChart:
    from inventory.views.reports import months_words
    from nester.core.lengths import format_area
    from nester.drawing.pictures.chart import BarChart

    return BarChart(
        f"Paper used, by {by}{months_words(months)}",
        tuple((row.name, Fraction(row.used)) for row in rows),
        lambda value: format_area(round(value), unit),
    )


def _spending_chart(
    rows: Sequence[SpendingRow],
    by: ReportGrouping,
    months: MonthRange,
    words: Callable[[Fraction], str],
) -> BarChart:
    from inventory.views.reports import months_words
    from nester.drawing.pictures.chart import BarChart

    named = tuple((row.name, row.amount) for row in rows)
    return BarChart(f"Spent on paper, by {by}{months_words(months)}", named, words)


def _write(
    listing: Listing[Row],
    rows: Sequence[Row],
    may_replace: MayReplace,
    csv: Path | None,
    chart: BarChart | None = None,
    svg: Path | None = None,
    pdf: Path | None = None,
) -> None:
    """Write a report's table and chart into the files that were asked for."""
    from inventory.core.files import write_files

    files: list[tuple[Path, str | bytes]] = []
    if csv is not None:
        files.append((csv, listing.csv(rows)))
    if chart is not None and (svg is not None or pdf is not None):
        if not chart.rows:
            raise Refusal("there is nothing to draw for these months")
        from nester.drawing.canvas.svg import svg_document
        from nester.drawing.pictures.chart import bars_svg, chart_pdf

        picture = bars_svg(chart)
        if svg is not None:
            files.append((svg, svg_document(picture)))
        if pdf is not None:
            files.append((pdf, chart_pdf(picture, chart.title)))
    write_files(files, may_replace)


def _show(
    listing: Listing[Row],
    rows: Sequence[Row],
    head: Mapping[str, object],
    as_json: bool,
    chart: BarChart | None = None,
) -> None:
    """Print a report: as JSON behind what it is about, or as a table with its chart below."""
    from inventory.cli.shared.terminal import console, print_json, show_list

    if as_json:
        print_json({**head, "rows": listing.records(rows)})
        return
    show_list(listing, rows)
    if chart is not None and rows:
        from rich.text import Text

        from nester.drawing.pictures.chart import bars_text

        console().print(Text(bars_text(chart)))
