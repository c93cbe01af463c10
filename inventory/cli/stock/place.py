"""`quirebox place`: shelves, drawers and boxes, one inside another."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    group,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.terminal import say

app = group("Places: shelves, drawers and boxes, one inside another.")

NameArgument = Annotated[
    str,
    typer.Argument(help="Its name; if several places share it, its path: 'Shelf A / Drawer 2'."),
]


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it.")],
    inside: Annotated[str | None, typer.Option("--inside", help="The place it is in.")] = None,
) -> None:
    """Add a place; it can be inside another.

    \b
    Examples:
      quirebox place add "Shelf A"
      quirebox place add "Drawer 2" --inside "Shelf A"
    """
    from inventory.stock.places import PlaceTree, add_place

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        place = add_place(session, name, inside=inside)
        path = PlaceTree(session).path(place.id)
    say(f"Added the place '{path}'")


@app.command("move")
def move(
    context: typer.Context,
    name: NameArgument,
    inside: Annotated[
        str | None,
        typer.Option("--inside", help="The place to move it into; '' for none."),
    ] = None,
    call: Annotated[str | None, typer.Option("--call", help="Its new name.")] = None,
) -> None:
    """Move a place and everything in it into another, or rename it.

    \b
    Examples:
      quirebox place move "Drawer 2" --inside "Shelf B"
      quirebox place move "Shelf A / Drawer 2" --call "Photo drawer"
    """
    from inventory.stock.places import PlaceTree, move_place

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        place = move_place(session, name, inside=inside, call=call)
        path = PlaceTree(session).path(place.id)
    say(f"The place is now '{path}'")


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all places, with how many sheets and offcuts are in each."""
    from inventory.views.stock.places import PLACES, place_rows

    show_from_shop(context, as_json, lambda session: (PLACES, place_rows(session)))
