"""`quirebox place`: shelves, drawers and boxes, one within another."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of

app = group("Places: shelves, drawers and boxes, one within another.")

NameArgument = Annotated[
    str, typer.Argument(help="Its name; 'Shelf A / Drawer 2' where the name alone is not enough.")
]


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it.")],
    inside: Annotated[
        str | None, typer.Option("--inside", help="The place in which it stands.")
    ] = None,
) -> None:
    """Add a place; it may stand in another.

    \b
    Examples:
      quirebox place add "Shelf A"
      quirebox place add "Drawer 2" --inside "Shelf A"
    """
    from inventory.stock.places import PlaceTree, add_place

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        place = add_place(session, name, inside=inside)
        path = PlaceTree(session).path(place.id)
    typer.echo(f"Place '{path}' added")


@app.command("move")
def move(
    context: typer.Context,
    name: NameArgument,
    inside: Annotated[
        str | None,
        typer.Option("--inside", help="The place in which it stands from now on; '' for none."),
    ] = None,
    call: Annotated[str | None, typer.Option("--call", help="What it is called now.")] = None,
) -> None:
    """Put a place, with all that is in it, into another; or call it otherwise.

    \b
    Examples:
      quirebox place move "Drawer 2" --inside "Shelf B"
      quirebox place move "Shelf A / Drawer 2" --call "Photo drawer"
    """
    from inventory.stock.places import PlaceTree, move_place

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        place = move_place(session, name, inside=inside, call=call)
        path = PlaceTree(session).path(place.id)
    typer.echo(f"It is '{path}' now")


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all places, with how many sheets and offcuts lie in each."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.database.tables.base import StockKind
    from inventory.stock.listing import on_hand_by_place
    from inventory.stock.places import PlaceTree

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        places = PlaceTree(session)
        known = places.sorted()
        paths = {place.id: places.path(place.id) or "" for place in known}
        depths = {place.id: places.depth(place) for place in known}
        number = on_hand_by_place(session)
    if as_json:
        print_json(
            [
                {
                    "place": paths[place.id],
                    "name": place.name,
                    "sheets": number[place.id, StockKind.SHEET],
                    "offcuts": number[place.id, StockKind.OFFCUT],
                }
                for place in known
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown = table("Places", "Place", "Sheets", "Offcuts", right=frozenset({"Sheets", "Offcuts"}))
    for place in known:
        shown.add_row(
            Text("  " * depths[place.id] + place.name),
            str(number[place.id, StockKind.SHEET] or ""),
            str(number[place.id, StockKind.OFFCUT] or ""),
        )
    console().print(shown if known else "No places yet; add one with 'quirebox place add'.")
