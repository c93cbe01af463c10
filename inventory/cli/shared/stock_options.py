"""What the commands on sheets, offcuts and the stash share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import format_count
from inventory.core.money import parse_money

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from inventory.database.tables.shop import Shop
    from inventory.stock.receiving import ReceiptLine
    from nester.core.problem import Margins
    from nester.core.sheet_sizes import Size

__all__ = [
    "LabelArgument",
    "MarginOption",
    "NoteOption",
    "PaperArgument",
    "PlaceOption",
    "PriceOption",
    "SizeArgument",
    "WhyOption",
    "margins_of",
    "price_of",
    "show_lines",
    "size_of",
]

PaperArgument = Annotated[str, typer.Argument(help="The name of a paper in the book.")]
SizeArgument = Annotated[
    str, typer.Argument(help="Width × height: 50x70cm, 12 x 12 in, A4, or in the shop's unit.")
]
PriceOption = Annotated[str | None, typer.Option("--price", help="Of one, in the shop's currency.")]
PlaceOption = Annotated[str | None, typer.Option("--place", help="Where it lies.")]
NoteOption = Annotated[str, typer.Option("--note", help="A remark.")]
LabelArgument = Annotated[
    str, typer.Argument(help="The label, such as S-3 or K-12; or a mark, such as 4-17-2.")
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


def size_of(session: Session, text: str) -> Size:
    """Read a size; bare numbers are in the shop's unit."""
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    return parse_size(text, get_shop(session).unit)


def margins_of(session: Session, text: str) -> Margins:
    """Read margins; bare numbers are in the shop's unit."""
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import read_margins

    return read_margins(text, get_shop(session).unit)


def price_of(text: str | None) -> Decimal | None:
    """Read a price, if one was given."""
    return None if text is None else parse_money(text, "the price")


_SHOWN = 20


def show_lines(lines: Sequence[ReceiptLine], shop: Shop) -> None:
    """Show what a list would bring, the first lines of it and the sum."""
    from decimal import Decimal

    from rich.text import Text

    from inventory.cli.shared.terminal import console
    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Number", "Each"})
    shown = table("To be added", "Paper", "Size", "Number", "Each", "Lot", "Place", right=right)
    for line in lines[:_SHOWN]:
        shown.add_row(
            Text(line.paper),
            format_size(line.size[0], line.size[1], shop.unit),
            str(line.quantity),
            "" if line.price is None else format_money(line.price, shop.currency),
            Text(line.lot),
            Text(line.place or ""),
        )
    console().print(shown)
    if len(lines) > _SHOWN:
        typer.echo(f"… and {format_count(len(lines) - _SHOWN, 'more line')}")
    paid = sum((line.quantity * (line.price or Decimal(0)) for line in lines), Decimal(0))
    number = format_count(sum(line.quantity for line in lines), "sheet")
    typer.echo(f"Together {number} for {format_money(paid, shop.currency)}")
