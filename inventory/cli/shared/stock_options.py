"""What the commands on sheets, offcuts and the stash share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.database.tables.shop import Shop
    from inventory.stock.receiving import ReceiptLine

__all__ = [
    "ByOption",
    "LabelArgument",
    "MarginOption",
    "NoteOption",
    "PaperArgument",
    "PlaceOption",
    "PriceOption",
    "SizeArgument",
    "WhyOption",
    "show_lines",
    "user_name",
]

PaperArgument = Annotated[str, typer.Argument(help="The name of one of your papers.")]
SizeArgument = Annotated[
    str,
    typer.Argument(help="Width × height: 50x70cm, 12 x 12 in, A4, or in the shop's unit."),
]
PriceOption = Annotated[str | None, typer.Option("--price", help="The price of one.")]
PlaceOption = Annotated[str | None, typer.Option("--place", help="Where you put it.")]
NoteOption = Annotated[str, typer.Option("--note", help="A note.")]
LabelArgument = Annotated[
    str,
    typer.Argument(help="A label, such as S-3, K-12 or K4-1."),
]
MarginOption = Annotated[
    str,
    typer.Option(
        "--margin",
        help="How much along its edges can't be used: 5mm, or left=5mm; top=1cm.",
        show_default="none",
    ),
]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, for the history.")]
ByOption = Annotated[
    str | None,
    typer.Option("--by", help="Who does it, for the history.  [default: your user name]"),
]


_LINES_SHOWN = 20


def show_lines(lines: Sequence[ReceiptLine], shop: Shop, what: str) -> None:
    """Show what a list would bring, its first lines and the sum.

    Parameters
    ----------
    what
        ``sheet`` or ``offcut``.
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.views.stock.receiving import receipt_listing, receipt_sum

    show_list(receipt_listing(shop), lines[:_LINES_SHOWN])
    if len(lines) > _LINES_SHOWN:
        say(f"… and {format_count(len(lines) - _LINES_SHOWN, 'more line')}")
    say(receipt_sum(lines, shop, what))


def user_name(by: str | None) -> str:
    """Return who does it: as said, else the user's name on this computer, if it is known."""
    import getpass

    if by is not None:
        return by
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return ""
