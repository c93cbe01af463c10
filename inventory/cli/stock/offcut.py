"""`quirebox offcut`: rectangles left over and kept, each with a label of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, YesFlag, ask, format_count, group, shop_file_of
from inventory.cli.shared.stock_options import (
    LabelArgument,
    MarginOption,
    NoteOption,
    PaperArgument,
    PlaceOption,
    PriceOption,
    SizeArgument,
    WhyOption,
    margins_of,
    price_of,
    show_lines,
    size_of,
)

app = group("Offcuts: rectangles left over and kept, each with a label of its own.")


@app.command("add")
def add_one_offcut(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    price: PriceOption = None,
    place: PlaceOption = None,
    margin: MarginOption = "",
    grain: Annotated[
        str,
        typer.Option("--grain", help="Along its width or its height, if you know it."),
    ] = "unknown",
    note: NoteOption = "",
) -> None:
    """Put an offcut into the stash; it gets a label to write on it.

    \b
    Examples:
      quirebox offcut add "Coal card" 23x56cm --place "Drawer 1"
      quirebox offcut add "Coal card" 23x56cm --grain height --margin left=1cm
    """
    from inventory.core.text import choice
    from inventory.database.tables.enums import GrainAxis
    from inventory.stock.receiving import add_offcut

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_offcut(
            session,
            paper,
            size_of(session, size),
            price=price_of(price),
            place=place,
            note=note,
            margins=margins_of(session, margin),
            grain=choice(GrainAxis, grain, "the grain"),
        )
    typer.echo(f"Write {stock.label} on it")


@app.command("grain")
def offcut_grain(
    context: typer.Context,
    label: LabelArgument,
    along: Annotated[
        str, typer.Argument(help="width or height, as its size is entered; or unknown.")
    ],
    why: WhyOption = "",
) -> None:
    """Say along which side of an offcut its fibres lie; 'quirebox stash undo' takes it back.

    \b
    Example:
      quirebox offcut grain K-12 width --why "tore a strip"
    """
    from inventory.stock.condition import book_grain

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = book_grain(session, label, along, why)
    typer.echo(f"The grain of {stock.label}: {along.strip().casefold()}")


@app.command("import")
def import_offcut_list(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV or .xlsx with columns paper, size; optional quantity, price, place, note,"
            " lot, margin, grain (unknown, width or height).",
        ),
    ],
    yes: YesFlag = False,
) -> None:
    """Show the offcuts of a list, then put them into the stash; if a line is wrong, none is.

    \b
    Example:
      quirebox offcut import offcuts.csv --yes
    """
    from inventory.database.tables.enums import Reason
    from inventory.shop.settings import get_shop
    from inventory.stock.import_lists import read_offcuts
    from inventory.stock.ledger import book_transaction
    from inventory.stock.receiving import put_away_offcuts

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = get_shop(session)
            lines = read_offcuts(session, file, shop.unit)
        if not yes:
            show_lines(lines, shop)
            ask("Put them into the stash?")
        with shop_file.begin() as session:
            put_away_offcuts(session, book_transaction(session, Reason.KEPT), lines)
    count = sum(line.quantity for line in lines)
    typer.echo(
        f"{format_count(count, 'offcut')} added; 'quirebox stash list --kind offcut' shows the labels"
    )


@app.command("for")
def offcuts_for_piece(
    context: typer.Context,
    size: SizeArgument,
    paper: Annotated[
        list[str] | None, typer.Option("--paper", help="Only of this paper; again for several.")
    ] = None,
    upright: Annotated[
        bool, typer.Option("--upright", help="It may not be turned on a pattern with a top.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Show which offcuts could make a piece and are not reserved, the smallest first.

    \b
    Example:
      quirebox offcut for 12x18cm --paper "Coal card"
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.shop.settings import get_shop
    from inventory.stock.search import offcuts_for
    from nester.core.lengths import format_size, to_mm_number
    from nester.core.piece import Turn

    turn = Turn.NONE if upright else Turn.ANY
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        found = offcuts_for(session, size_of(session, size), paper or (), turn=turn)
    if as_json:
        print_json(
            [
                {
                    "label": one.label,
                    "paper": one.paper,
                    "width": to_mm_number(one.width),
                    "height": to_mm_number(one.height),
                    "place": one.place,
                    "turned": one.turned,
                }
                for one in found
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown = table("Offcuts that hold it", "Label", "Paper", "Size", "Laid", "Place")
    for one in found:
        shown.add_row(
            one.label,
            Text(one.paper),
            format_size(one.width, one.height, unit),
            "turned" if one.turned else "",
            Text(one.place or ""),
        )
    console().print(shown if found else "No offcut that is free holds it.")
