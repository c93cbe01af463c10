"""`quirebox spare`: pieces that are cut and that no order needs."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of, show_from_shop
from inventory.cli.shared.stock_options import WhyOption
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

app = group("Spare pieces: cut, good, and needed by no order; the next plan uses them first.")

LabelArgument = Annotated[str, typer.Argument(help="The label of spare pieces, such as C-3.")]
QuantityOption = Annotated[
    int | None, typer.Option("--quantity", min=1, help="How many.", show_default="all")
]


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List the spare pieces."""
    from inventory.views.production.changes import spare_list

    show_from_shop(context, as_json, spare_list)


@app.command("discard")
def discard(
    context: typer.Context,
    label: LabelArgument,
    quantity: QuantityOption = None,
    why: WhyOption = "",
) -> None:
    """Record spare pieces as thrown away.

    \b
    Example:
      quirebox spare discard C-3 --quantity 2
    """
    from inventory.pieces.spare_pieces import discard_spare_pieces

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        gone = discard_spare_pieces(session, label, quantity, why)
    say(f"Recorded {format_count(gone, 'spare piece')} of {label.upper()} as thrown away")


@app.command("offcut")
def offcut(
    context: typer.Context,
    label: LabelArgument,
    quantity: QuantityOption = None,
    place: Annotated[
        str | None,
        typer.Option("--place", help="Where you put it.", show_default="where the piece lay"),
    ] = None,
) -> None:
    """Turn spare pieces into a pile of offcuts of the piece's size.

    \b
    Example:
      quirebox spare offcut C-3 --place "Drawer 1"
    """
    from inventory.pieces.spare_pieces import spare_to_offcut
    from inventory.stock.ledger import on_hand

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        pile = spare_to_offcut(session, label, quantity, place)
        words = format_count(on_hand(session, pile), "offcut")
    say(f"Made {words} of it; write {pile.label} on {'it' if words == '1 offcut' else 'them'}")
