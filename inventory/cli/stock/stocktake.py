"""`quirebox stash sheet`, `enter` and `counted`: a stocktake."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    ReplaceFlag,
    YesFlag,
    ask,
    replacing,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.replanning import ReplanFlag, with_plans_again
from inventory.cli.shared.stock_options import WhyOption
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

__all__ = ["counted_papers", "enter", "sheet"]

_NAMES_SHOWN = 8


def sheet(
    context: typer.Context,
    place: Annotated[
        str | None,
        typer.Option("--place", help="Only what is in this place, or in places inside it."),
    ] = None,
    into: Annotated[
        Path | None,
        typer.Option(
            "--into", metavar="FILE.csv", help="Write a CSV file to fill in, instead of a table."
        ),
    ] = None,
    yes: ReplaceFlag = False,
) -> None:
    """Print a count sheet: what should be in each place, with room for what you find.

    \b
    Examples:
      quirebox stash sheet --place "Shelf A"
      quirebox stash sheet --into count.csv
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.core.files import write_files
    from inventory.views.stock.stocktake import count_sheet

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        counted = count_sheet(session, place)
    if into is None:
        show_list(counted.listing, counted.rows)
    else:
        write_files([(into, counted.listing.csv(counted.rows))], replacing(yes))
        say(f"Wrote {format_count(len(counted.rows), 'line')} to {into}")
    if counted.never_counted:
        names = ", ".join(counted.never_counted[:_NAMES_SHOWN])
        more = " …" if len(counted.never_counted) > _NAMES_SHOWN else ""
        say(f"Never counted: {names}{more}")


def enter(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="CSV or .xlsx with columns label, found; optional book."
        ),
    ],
    why: WhyOption = "",
    replan: ReplanFlag = None,
    yes: YesFlag = False,
) -> None:
    """Enter a filled-in count sheet: show what differs, then record all of it or nothing.

    \b
    Example:
      quirebox stash enter count.csv --why "Sunday's stocktake"
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.stock.stocktake import book_counts, compare_counts, read_counts
    from inventory.views.stock.stocktake import DIFFERENCES

    found = read_counts(file)
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            differences = compare_counts(session, found)
        if differences:
            show_list(DIFFERENCES, differences)
            if not yes:
                ask("Record these differences?")
        differences = with_plans_again(
            context, shop_file, lambda session: book_counts(session, found, why), replan
        )
    labels = format_count(len(found), "label")
    say(f"Counted {labels}; recorded {format_count(len(differences), 'difference')}")


def counted_papers(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show when each paper was last counted; papers never counted come first."""
    from inventory.views.stock.stocktake import counted_list

    show_from_shop(context, as_json, counted_list)
