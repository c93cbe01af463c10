"""`quirebox design`: rules that turn a few sizes into pieces."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.desk.common import JsonFlag, group, pairs
from nester.measure import Unit

app = group("Designs: boxes and cards, from a few sizes to exact pieces.")


@app.command("list")
def list_(as_json: JsonFlag = False) -> None:
    """List the designs."""
    from inventory.desk.tell import console, print_json
    from nester.designs import DESIGNS

    if as_json:
        print_json(
            [
                {"name": one.name, "title": one.title, "roles": [*one.roles, *one.finer_roles]}
                for one in DESIGNS.values()
            ]
        )
        return
    from inventory.documents.plan_text import table

    shown = table("Designs", "Design", "What it is", "Parts to give a paper")
    for one in DESIGNS.values():
        shown.add_row(one.name, one.title, ", ".join(one.roles))
    console().print(shown)


@app.command("settings")
def settings(
    name: Annotated[str, typer.Argument(help="The name of a design.")],
    unit: Annotated[Unit, typer.Option("--unit", help="The unit of what is shown.")] = Unit.CM,
    as_json: JsonFlag = False,
) -> None:
    """Show what can be said about a design, and what it is if nothing is said.

    \b
    Example:
      quirebox design settings layered-box --unit in
    """
    from inventory.desk.tell import console, print_json
    from inventory.orders import find_design
    from nester.designs import read_settings

    design = find_design(name)
    usual = read_settings(design, {}, unit)
    rows = [
        (one.name, one.show(usual[one.name], unit) if one.name in usual else "", one)
        for one in design.settings
    ]
    if as_json:
        print_json(
            [
                {
                    "name": setting,
                    "kind": str(one.kind),
                    "usual": shown,
                    "choices": list(one.choices),
                    "help": one.help,
                }
                for setting, shown, one in rows
            ]
        )
        return
    from inventory.documents.plan_text import table

    shown_table = table(design.title, "Setting", "Usual", "What it is")
    for setting, shown, one in rows:
        choices = f" ({', '.join(one.choices)})" if one.choices else ""
        shown_table.add_row(setting, shown, one.help + choices)
    console().print(shown_table)


@app.command("show")
def show(
    name: Annotated[str, typer.Argument(help="The name of a design.")],
    sizes: Annotated[
        list[str] | None,
        typer.Argument(metavar="SETTING=VALUE", help="As 'quirebox design settings' lists."),
    ] = None,
    unit: Annotated[
        Unit, typer.Option("--unit", help="The unit of bare numbers and of what is shown.")
    ] = Unit.CM,
    drawings: Annotated[
        Path | None,
        typer.Option("--drawings", metavar="FOLDER", help="Draw each piece into this folder."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Show every flat piece of one box or card.

    \b
    Examples:
      quirebox design show layered-box panel=18cm tiers=4 step=2cm
      quirebox design show folded-card --drawings pieces
    """
    from inventory.desk.tell import console, print_json
    from inventory.orders import find_design
    from nester.designs import read_settings
    from nester.measure import format_size, to_mm_number

    design = find_design(name)
    pieces = design.pieces(read_settings(design, pairs(sizes or [], "setting"), unit), unit)
    if drawings is not None:
        _draw(pieces, unit, drawings)
    if as_json:
        print_json(
            [
                {
                    "name": piece.name,
                    "role": piece.role,
                    "quantity": piece.quantity,
                    "width": to_mm_number(piece.width),
                    "height": to_mm_number(piece.height),
                    "upright": piece.upright,
                    "outline": [[to_mm_number(x), to_mm_number(y)] for x, y in piece.outline],
                    "note": piece.note,
                }
                for piece in pieces
            ]
        )
        return
    from inventory.documents.plan_text import table

    shown = table(
        design.title, "Quantity", "Piece", "Part", "Blank", "Note", right=frozenset({"Quantity"})
    )
    for piece in pieces:
        size = format_size(piece.width, piece.height, unit)
        shown.add_row(str(piece.quantity), piece.name, piece.role, size, piece.note)
    console().print(shown)


def _draw(pieces: object, unit: Unit, folder: Path) -> None:
    from collections.abc import Iterable
    from typing import cast

    from inventory.documents.files import make_folder, write_file
    from nester.drawing.piece import draw_piece
    from nester.pieces import Piece

    make_folder(folder)
    for piece in cast("Iterable[Piece]", pieces):
        name = piece.name.replace(" ", "-").replace("/", "-")
        write_file(folder / f"{name}.svg", draw_piece(piece, unit))
