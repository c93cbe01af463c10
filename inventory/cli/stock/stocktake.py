"""`quirebox stash sheet`, `enter` and `format_count`: a stocktake."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, YesFlag, ask, format_count, shop_file_of
from inventory.cli.shared.stock_options import WhyOption

__all__ = ["counted_papers", "enter", "sheet"]


def sheet(
    context: typer.Context,
    place: Annotated[str | None, typer.Option("--place", help="Only what lies there.")] = None,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FILE.csv", help="Write a CSV to fill in, not a table."),
    ] = None,
) -> None:
    """Print a sheet to count by: what should lie in each place, with room for what is found.

    \b
    Examples:
      quirebox stash sheet --place "Shelf A"
      quirebox stash sheet --into count.csv
    """
    from inventory.cli.shared.terminal import console
    from inventory.core.files import csv_text, write_file
    from inventory.shop.settings import get_shop
    from inventory.stock.stocktake import COUNT_COLUMNS, last_counts, stocktake_rows
    from nester.core.lengths import format_size

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = stocktake_rows(session, place)
        never = [one for one in last_counts(session) if one.last_counted is None]
    cells = [
        (row.place or "", row.label, row.paper, format_size(row.width, row.height, unit),
         str(row.quantity), "")
        for row in rows
    ]  # fmt: skip
    if into is not None:
        write_file(into, csv_text(COUNT_COLUMNS, cells))
        typer.echo(f"{format_count(len(cells), 'line')} written into {into}")
    else:
        from rich.text import Text

        from inventory.documents.format.terminal_tables import table

        right = frozenset({"Book"})
        shown = table("To count", "Place", "Label", "Paper", "Size", "Book", "Found", right=right)
        for cell in cells:
            shown.add_row(*map(Text, cell[:-1]), "____")
        console().print(shown if cells else "Nothing lies there.")
    if never:
        names = ", ".join(one.paper for one in never[:8]) + (" …" if len(never) > 8 else "")
        typer.echo(f"Never counted: {names}")


def enter(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="CSV or .xlsx with columns label, found; optional book."
        ),
    ],
    why: WhyOption = "",
    yes: YesFlag = False,
) -> None:
    """Enter a filled-in sheet: show what differs, then book it with the reason; or nothing.

    \b
    Example:
      quirebox stash enter count.csv --why "Sunday's stocktake"
    """
    from inventory.cli.shared.terminal import console
    from inventory.documents.format.terminal_tables import table
    from inventory.stock.stocktake import book_counts, compare_counts, read_counts

    found = read_counts(file)
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            differences = compare_counts(session, found)
        if differences:
            from rich.text import Text

            right = frozenset({"Book", "Found"})
            shown = table("Differs", "Label", "Paper", "Book", "Found", right=right)
            for one in differences:
                shown.add_row(one.label, Text(one.paper), str(one.book_quantity), str(one.counted))
            console().print(shown)
            if not yes:
                ask("Book these differences?")
        with shop_file.begin() as session:
            differences = book_counts(session, found, why)
    typer.echo(
        f"{format_count(len(found), 'label')} counted, {format_count(len(differences), 'difference')} booked"
    )


def counted_papers(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Say when each paper was counted last; those never counted come first."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.stock.stocktake import last_counts

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = last_counts(session)
    if as_json:
        print_json(
            [
                {
                    "paper": row.paper,
                    "last": None
                    if row.last_counted is None
                    else row.last_counted.isoformat(timespec="seconds"),
                    "labels": row.labels,
                    "never": row.never_counted,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Labels", "Never counted"})
    shown = table("Counted", "Paper", "Last", "Labels", "Never counted", right=right)
    for row in rows:
        last = (
            "never"
            if row.last_counted is None
            else row.last_counted.astimezone().date().isoformat()
        )
        shown.add_row(Text(row.paper), last, str(row.labels), str(row.never_counted or ""))
    console().print(shown if rows else "Nothing is in the stash.")
