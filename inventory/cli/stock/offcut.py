"""`quirebox offcut`: rectangles left over and kept; equal ones are a pile with one label."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, YesFlag, ask, group, shop_file_of, show_from_shop
from inventory.cli.shared.stock_options import (
    LabelArgument,
    MarginOption,
    NoteOption,
    PaperArgument,
    PlaceOption,
    PriceOption,
    SizeArgument,
    WhyOption,
    show_lines,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

app = group("Offcuts: rectangles left over and kept; equal ones are a pile with one label.")


@app.command("add")
def add_offcuts(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many equal ones.")] = 1,
    price: PriceOption = None,
    place: PlaceOption = None,
    margin: MarginOption = "",
    grain: Annotated[
        str,
        typer.Option("--grain", help="The side its grain runs along: width, height or unknown."),
    ] = "unknown",
    note: NoteOption = "",
) -> None:
    """Add an offcut, or a pile of equal ones, to the stash; it gets a label to write on it.

    \b
    Examples:
      quirebox offcut add "Coal card" 23x56cm --place "Drawer 1"
      quirebox offcut add "Coal card" 10x23cm --quantity 4
      quirebox offcut add "Coal card" 23x56cm --grain height --margin left=1cm
    """
    from inventory.core.text import choice
    from inventory.database.tables.enums import GrainAxis
    from inventory.stock.condition import margins_of, price_of, size_of
    from inventory.stock.receiving import add_offcut

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_offcut(
            session,
            paper,
            size_of(session, size),
            quantity,
            price=price_of(price),
            place=place,
            note=note,
            margins=margins_of(session, margin),
            grain=choice(GrainAxis, grain, "the grain"),
        )
        name = stock.paper.name
    say(
        f"Added {format_count(quantity, 'offcut')} of {name}; write {stock.label} on"
        f" {'it' if quantity == 1 else 'them'}"
    )


@app.command("grain")
def offcut_grain(
    context: typer.Context,
    label: LabelArgument,
    along: Annotated[
        str, typer.Argument(help="width or height, as you entered its size; or unknown.")
    ],
    why: WhyOption = "",
) -> None:
    """Set which way the grain of offcuts runs; 'quirebox stash undo' undoes it.

    \b
    Example:
      quirebox offcut grain K-12 width --why "tore a strip"
    """
    from inventory.stock.condition import book_grain

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = book_grain(session, label, along, why)
    axis = along.strip().casefold()
    say(
        f"The grain of {stock.label} is unknown now"
        if axis == "unknown"
        else f"The grain of {stock.label} runs along its {axis}"
    )


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
    """Show the offcuts on a list, then add them, those of a line under one label.

    If a line is wrong, none are added.

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
            show_lines(lines, shop, "offcut")
            ask("Add them to the stash?")
        with shop_file.begin() as session:
            put_away_offcuts(session, book_transaction(session, Reason.KEPT), lines)
    count = sum(line.quantity for line in lines)
    say(
        f"Added {format_count(count, 'offcut')}; 'quirebox stash list --kind offcut' shows their"
        " labels"
    )


@app.command("for")
def offcuts_for_piece(
    context: typer.Context,
    size: SizeArgument,
    paper: Annotated[
        list[str] | None,
        typer.Option("--paper", help="Only this paper; repeat for several."),
    ] = None,
    upright: Annotated[
        bool, typer.Option("--upright", help="Don't turn the piece if the pattern has a top.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Show free offcuts that a piece can be cut from, the smallest first.

    \b
    Example:
      quirebox offcut for 12x18cm --paper "Coal card"
    """
    from inventory.views.stock.stash import offcuts_for_list

    show_from_shop(
        context,
        as_json,
        lambda session: offcuts_for_list(session, size, paper or (), upright=upright),
    )
