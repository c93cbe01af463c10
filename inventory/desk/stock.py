"""`quirebox sheet`, `offcut` and `stash`: paper at hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.desk.common import JsonFlag, counted, group, shop_file_of

if TYPE_CHECKING:
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from nester.paper import Size

sheets = group("Sheets: paper in the sizes it is bought in.")
offcuts = group("Offcuts: rectangles left over and kept, each with a label of its own.")
stash = group("The stash: all sheets and offcuts on hand.")

PaperArgument = Annotated[str, typer.Argument(help="The name of a paper in the book.")]
SizeArgument = Annotated[
    str, typer.Argument(help="Width × height: 50x70cm, 12 x 12 in, A4, or in the shop's unit.")
]
PriceOption = Annotated[str | None, typer.Option("--price", help="Of one, in the shop's currency.")]
PlaceOption = Annotated[str | None, typer.Option("--place", help="Where it lies.")]
NoteOption = Annotated[str, typer.Option("--note", help="A remark.")]
LabelArgument = Annotated[str, typer.Argument(help="The label, such as S-3 or K-12.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, for the history.")]


def _size(session: Session, text: str) -> Size:
    from inventory.shop import the_shop
    from nester.paper import parse_size

    return parse_size(text, the_shop(session).unit)


def _price(text: str | None) -> Decimal | None:
    from inventory.money import parse_money

    return None if text is None else parse_money(text, "the price")


@sheets.command("add")
def add_sheet(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many.")] = 1,
    price: PriceOption = None,
    place: PlaceOption = None,
    note: NoteOption = "",
) -> None:
    """Put sheets into the stash.

    \b
    Example:
      quirebox sheet add "Coal card" 56x71cm --quantity 12 --price 1.80 \\
        --place "Shelf 2"
    """
    from inventory.stash import add_sheets

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_sheets(
            session,
            paper,
            _size(session, size),
            quantity,
            price=_price(price),
            place=place,
            note=note,
        )
    typer.echo(f"{counted(quantity, 'sheet')} added to {stock.label}")


@sheets.command("import")
def import_sheet_list(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv", help="Columns paper, size, quantity; optional price, place, note."
        ),
    ],
) -> None:
    """Put the sheets of a list into the stash; if a line of it is wrong, none is.

    \b
    Example:
      quirebox sheet import sheets.csv
    """
    from inventory.imports import import_sheets
    from inventory.shop import the_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        count = import_sheets(session, file, the_shop(session).unit)
    typer.echo(f"{counted(count, 'sheet')} added")


@offcuts.command("add")
def add_one_offcut(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    price: PriceOption = None,
    place: PlaceOption = None,
    note: NoteOption = "",
) -> None:
    """Put an offcut into the stash; it gets a label to write on it.

    \b
    Example:
      quirebox offcut add "Coal card" 23x56cm --place "Drawer 1"
    """
    from inventory.stash import add_offcut

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_offcut(
            session,
            paper,
            _size(session, size),
            price=_price(price),
            place=place,
            note=note,
        )
    typer.echo(f"Write {stock.label} on it")


@offcuts.command("import")
def import_offcut_list(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv", help="Columns paper, size; optional quantity, price, place, note."
        ),
    ],
) -> None:
    """Put the offcuts of a list into the stash; if a line of it is wrong, none is.

    \b
    Example:
      quirebox offcut import offcuts.csv
    """
    from inventory.imports import import_offcuts
    from inventory.shop import the_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        count = import_offcuts(session, file, the_shop(session).unit)
    typer.echo(
        f"{counted(count, 'offcut')} added; 'quirebox stash list --kind offcut' shows the labels"
    )


@stash.command("list")
def list_(
    context: typer.Context,
    paper: Annotated[str | None, typer.Option("--paper", help="Only of this paper.")] = None,
    colour: Annotated[str | None, typer.Option("--colour", help="A part of the colour.")] = None,
    finish: Annotated[str | None, typer.Option("--finish", help="A part of the finish.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="sheet or offcut.")] = None,
    at_least: Annotated[
        str | None, typer.Option("--at-least", help="A size it must hold, either way round.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="Only what lies there.")] = None,
    empty: Annotated[
        bool, typer.Option("--empty", help="Also that of which nothing is left.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """List the stash, or search it by colour, finish, size and place.

    \b
    Examples:
      quirebox stash list --colour black --at-least 20x30cm
      quirebox stash list --kind offcut --finish linen
    """
    from inventory.desk.tell import console, print_json
    from inventory.money import format_money
    from inventory.reservations import reserved
    from inventory.shop import the_shop
    from inventory.stash import list_stash
    from nester.measure import format_size, to_mm_number

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = the_shop(session)
        rows = list_stash(
            session,
            paper=paper,
            colour=colour,
            finish=finish,
            kind=kind,
            at_least=None if at_least is None else _size(session, at_least),
            place=place,
            include_empty=empty,
        )
        taken = reserved(session)
    if as_json:
        print_json(
            [
                {
                    "label": row.label,
                    "kind": str(row.kind),
                    "paper": row.paper,
                    "colour": row.colour,
                    "finish": row.finish,
                    "width": to_mm_number(row.width),
                    "height": to_mm_number(row.height),
                    "quantity": row.quantity,
                    "reserved": taken[row.label],
                    "price": None if row.price is None else str(row.price),
                    "place": row.place,
                    "note": row.note,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.plan_text import table

    numbers = frozenset({"Number", "Reserved", "Each"})
    shown = table(
        "Stash", "Label", "Paper", "Size", "Number", "Reserved", "Each", "Place", right=numbers
    )
    for row in rows:
        shown.add_row(
            row.label,
            Text(row.paper),
            format_size(row.width, row.height, shop.unit),
            str(row.quantity),
            str(taken[row.label] or ""),
            "" if row.price is None else format_money(row.price, shop.currency),
            Text(row.place or ""),
        )
    console().print(shown if rows else "Nothing in the stash is like that.")


@stash.command("count")
def count(
    context: typer.Context,
    label: LabelArgument,
    quantity: Annotated[int, typer.Argument(min=0, help="How many there really are.")],
    why: WhyOption = "",
) -> None:
    """Say how many there really are; the difference is booked.

    \b
    Example:
      quirebox stash count S-3 11 --why "counted on Sunday"
    """
    from inventory.stash import count_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        movement = count_stock(session, label, quantity, why)
    typer.echo(f"{movement.change:+} booked" if movement else "As in the book; nothing to do")


@stash.command("spoil")
def spoil_some(
    context: typer.Context,
    label: LabelArgument,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many.")] = 1,
    why: WhyOption = "",
) -> None:
    """Book sheets or an offcut as spoiled.

    \b
    Example:
      quirebox stash spoil S-3 --quantity 2 --why "a corner bent"
    """
    from inventory.stash import spoil

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        spoil(session, label, quantity, why)
    typer.echo(f"{quantity} of {label} booked as spoiled")


@stash.command("put")
def put(
    context: typer.Context,
    label: LabelArgument,
    place: Annotated[
        str, typer.Argument(help="Where it lies from now on, as in 'Shelf A / Drawer 2'.")
    ],
    quantity: Annotated[
        int | None,
        typer.Option("--quantity", min=1, help="How many of the sheets.", show_default="all"),
    ] = None,
) -> None:
    """Put sheets or an offcut into a place; a place that is new is added.

    \b
    Examples:
      quirebox stash put K-12 "Shelf A / Drawer 2"
      quirebox stash put S-3 "Workbench" --quantity 4
    """
    from inventory.places import Places
    from inventory.stash import put_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = put_stock(session, label, place, quantity)
        where = Places(session).path(stock.place_id)
    typer.echo(f"{stock.label} lies in '{where}'" if where else f"{stock.label} has no place now")


@stash.command("history")
def show_history(context: typer.Context, label: LabelArgument, as_json: JsonFlag = False) -> None:
    """Show every movement of a label: when, how many, why, for which batch.

    \b
    Example:
      quirebox stash history S-3
    """
    from inventory.desk.tell import console, print_json
    from inventory.stash import history

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = history(session, label)
    if as_json:
        print_json(
            [
                {
                    "at": row.at.isoformat(timespec="seconds"),
                    "change": row.change,
                    "after": row.after,
                    "reason": str(row.reason),
                    "batch": row.batch,
                    "note": row.note,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.plan_text import table

    numbers = frozenset({"Change", "After", "Batch"})
    shown = table(
        f"History of {label}", "When", "Change", "After", "Reason", "Batch", "Note", right=numbers
    )
    for row in rows:
        when = row.at.astimezone().strftime("%Y-%m-%d %H:%M")
        shown.add_row(
            when,
            f"{row.change:+}",
            str(row.after),
            row.reason,
            str(row.batch or ""),
            Text(row.note),
        )
    console().print(shown)
