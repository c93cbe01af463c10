"""`quirebox sheet`: paper in the sizes it is bought in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, YesFlag, ask, group, shop_file_of, show_from_shop
from inventory.cli.shared.stock_options import (
    MarginOption,
    NoteOption,
    PaperArgument,
    PlaceOption,
    PriceOption,
    SizeArgument,
    show_lines,
)
from inventory.cli.shared.terminal import say
from inventory.core.money import parse_money
from inventory.core.text import format_count
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from datetime import datetime

app = group("Sheets: paper in the sizes it is bought in.")

SupplierOption = Annotated[str, typer.Option("--supplier", help="The name of the supplier.")]
NoteNumberOption = Annotated[
    str, typer.Option("--note-number", help="The number of the delivery note.")
]
DayOption = Annotated[
    str | None,
    typer.Option("--date", help="The day they came: 2027-03-14.", show_default="today"),
]
AgainFlag = Annotated[
    bool, typer.Option("--again", help="More came with a delivery note that is already recorded.")
]


def _when(text: str | None) -> datetime | None:
    from datetime import date

    from inventory.core.table_files import read_date
    from inventory.stock.receiving import receipt_time

    return None if text is None else receipt_time(read_date(text), date.today())


@app.command("add")
def add_sheet(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    quantity: Annotated[
        int | None,
        typer.Option("--quantity", min=1, help="How many.", show_default="1"),
    ] = None,
    packs: Annotated[
        int | None, typer.Option("--packs", min=1, help="How many packs; needs --pack.")
    ] = None,
    pack: Annotated[
        int | None, typer.Option("--pack", min=1, help="How many sheets are in a pack.")
    ] = None,
    price: PriceOption = None,
    pack_price: Annotated[
        str | None, typer.Option("--pack-price", help="The price of a pack, in place of --price.")
    ] = None,
    place: PlaceOption = None,
    lot: Annotated[str, typer.Option("--lot", help="The lot number printed on the pack.")] = "",
    margin: MarginOption = "",
    supplier: SupplierOption = "",
    note_number: NoteNumberOption = "",
    day: DayOption = None,
    again: AgainFlag = False,
    note: NoteOption = "",
) -> None:
    """Add sheets to the stash, by the sheet or by the pack.

    \b
    Examples:
      quirebox sheet add "Coal card" 56x71cm --quantity 12 --price 1.80 \\
        --place "Shelf A / Drawer 2"
      quirebox sheet add "Coal card" A4 --packs 2 --pack 25 --pack-price 9.50 \\
        --supplier "Paper mill" --note-number 4711 --lot B7
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import margins_of, price_of, size_of
    from inventory.stock.ledger import on_hand
    from inventory.stock.receiving import add_sheets, sheet_price
    from nester.core.lengths import format_size

    number = _number(quantity, packs, pack)
    each = price_of(price)
    if pack_price is not None:
        if pack is None or price is not None:
            raise Refusal("--pack-price needs --pack, and no --price with it")
        each = sheet_price(parse_money(pack_price, "the pack's price"), pack)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_sheets(
            session,
            paper,
            size_of(session, size),
            number,
            price=each,
            place=place,
            note=note,
            lot=lot,
            margins=margins_of(session, margin),
            supplier=supplier,
            number=note_number,
            again=again,
            at=_when(day),
        )
        there, name = on_hand(session, stock), stock.paper.name
        size_words = format_size(stock.width, stock.height, get_shop(session).unit)
    say(
        f"Added {format_count(number, 'sheet')} of {name}, {size_words}, to"
        f" {stock.label}; {there:,} on hand now"
    )


def _number(quantity: int | None, packs: int | None, pack: int | None) -> int:
    if pack is None and packs is None:
        return quantity or 1
    if quantity is not None or pack is None:
        raise Refusal("give --quantity alone, or --packs and --pack")
    return (packs or 1) * pack


@app.command("import")
def import_sheet_list(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV or .xlsx with columns paper, size, quantity; optional price, place, note,"
            " lot, margin.",
        ),
    ],
    supplier: SupplierOption = "",
    note_number: NoteNumberOption = "",
    day: DayOption = None,
    again: AgainFlag = False,
    yes: YesFlag = False,
) -> None:
    """Show the sheets on a list, then add them; if a line is wrong, none are added.

    \b
    Examples:
      quirebox sheet import sheets.csv
      quirebox sheet import delivery.xlsx --supplier "Paper mill" \\
        --note-number 4711 --yes
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.import_lists import read_sheets
    from inventory.stock.receiving import receive_goods

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = get_shop(session)
            lines = read_sheets(session, file, shop.unit)
        if not yes:
            show_lines(lines, shop, "sheet")
            ask("Add them to the stash?")
        with shop_file.begin() as session:
            receive_goods(
                session, lines, supplier=supplier, number=note_number, again=again,
                at=_when(day),
            )  # fmt: skip
    say(f"Added {format_count(sum(line.quantity for line in lines), 'sheet')}")


@app.command("deliveries")
def deliveries(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List deliveries by supplier and delivery note, newest first."""
    from inventory.views.stock.receiving import delivery_list

    show_from_shop(context, as_json, delivery_list)
