"""`quirebox buy purchase`: what was ordered from suppliers, and what came of it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, command_words, group, read_day, shop_file_of
from inventory.cli.shared.stock_options import NoteOption, PlaceOption, WhyOption
from inventory.cli.shared.terminal import say
from inventory.core.text import pairs

if TYPE_CHECKING:
    from inventory.purchasing.purchases import PurchaseRow
    from nester.core.lengths import Unit

app = group("Purchases: what you ordered from whom, what came, and what is on its way.")

NumberArgument = Annotated[int, typer.Argument(help="The purchase's number.")]


def _show(row: PurchaseRow, unit: Unit, today: date) -> None:
    from inventory.cli.shared.terminal import show_list
    from inventory.documents.text.purchase import purchase_words
    from inventory.views.purchasing.purchases import purchase_line_listing

    show_list(purchase_line_listing(row, unit), row.lines)
    say("\n".join(purchase_words(row, unit, today)))


@app.command("add")
def add(
    context: typer.Context,
    supplier: Annotated[str, typer.Argument(help="The name of a supplier.")],
    lines: Annotated[
        list[str],
        typer.Option(
            "--line",
            metavar="TEXT",
            help="'PAPER; SIZE; PACKS', or with the sheets in a pack and its price:"
            " 'PAPER; SIZE; PACKS; SHEETS; PRICE'. Repeat for each paper and size.",
        ),
    ],
    day: Annotated[
        str | None,
        typer.Option("--date", help="The day you ordered it: 2027-03-14.", show_default="today"),
    ] = None,
    expected: Annotated[
        str | None,
        typer.Option(
            "--expected",
            help="The day it should arrive: 2027-03-20.",
            show_default="by the supplier's days",
        ),
    ] = None,
    number: Annotated[str, typer.Option("--number", help="The supplier's order number.")] = "",
    shipping: Annotated[
        str | None,
        typer.Option(
            "--shipping", help="What delivery costs.", show_default="by the supplier's terms"
        ),
    ] = None,
    note: NoteOption = "",
) -> None:
    """Record what you ordered from a supplier, at its prices; 'stash undo' undoes it.

    \b
    Examples:
      quirebox buy purchase add "Paper mill" --line "Coal card; 50x70cm; 2"
      quirebox buy purchase add "Paper mill" --number 4711 \\
        --line "Coal card; 50x70cm; 2; 25; 31.25" --line "Moss linen; A4; 1"
    """
    from inventory.core.money import parse_money
    from inventory.documents.text.purchase import least_order_words
    from inventory.purchasing.purchases import add_purchase, purchase_row, read_order_line
    from inventory.shop.settings import get_shop

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        purchase = add_purchase(
            session,
            supplier,
            [read_order_line(text, unit) for text in lines],
            today=today,
            day=read_day(day),
            expected=read_day(expected),
            number=number,
            shipping=None if shipping is None else parse_money(shipping, "the shipping"),
            note=note,
        )
        row = purchase_row(session, purchase)
        _show(row, unit, today)
        made, too_small = purchase.id, least_order_words(row)
    if too_small:
        say(too_small)
    say(f"When it comes: {command_words(context, f'buy purchase receive {made}')}")


@app.command("list")
def list_(
    context: typer.Context,
    all_: Annotated[
        bool, typer.Option("--all", help="Also those that are complete or closed.")
    ] = False,
    overdue: Annotated[
        bool, typer.Option("--overdue", help="Only those that should have arrived by now.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """List purchases on their way, earliest expected first.

    \b
    Examples:
      quirebox buy purchase list
      quirebox buy purchase list --overdue
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.purchasing.purchases import list_purchases
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.purchases import purchase_listing

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = list_purchases(session, also_done=all_ and not overdue)
        rows = [row for row in rows if row.days_late(today) or not overdue]
        show_list(purchase_listing(unit, today, overdue=overdue), rows, as_json)


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show a purchase: its lines, what came of each, and what was billed.

    \b
    Example:
      quirebox buy purchase show 1
    """
    from inventory.cli.shared.terminal import print_json
    from inventory.purchasing.purchases import get_purchase, purchase_row
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.purchases import purchase_as_json

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        row = purchase_row(session, get_purchase(session, number))
        if as_json:
            print_json(purchase_as_json(row, unit, today))
        else:
            _show(row, unit, today)


@app.command("receive")
def receive(
    context: typer.Context,
    number: NumberArgument,
    came: Annotated[
        list[str] | None,
        typer.Option(
            "--line",
            metavar="LINE=PACKS",
            help="How many packs came of a line: 1=2.",
            show_default="all still to come",
        ),
    ] = None,
    billed: Annotated[
        list[str] | None,
        typer.Option(
            "--billed",
            metavar="LINE=PRICE",
            help="What a pack of a line was billed at, in the purchase's currency: 1=32.45.",
            show_default="as ordered",
        ),
    ] = None,
    lot: Annotated[
        list[str] | None,
        typer.Option("--lot", metavar="LINE=TEXT", help="The lot printed on the pack: 1=B7."),
    ] = None,
    note_number: Annotated[
        str, typer.Option("--note-number", help="The number of the delivery note.")
    ] = "",
    place: PlaceOption = None,
    margin: Annotated[
        str | None,
        typer.Option(
            "--margin",
            help="Edges you can't use: 5mm all round, or 'left=5mm; top=1cm'.",
            show_default="as with such sheets last time",
        ),
    ] = None,
    day: Annotated[
        str | None,
        typer.Option("--date", help="The day it came: 2027-03-14.", show_default="today"),
    ] = None,
    again: Annotated[
        bool,
        typer.Option("--again", help="More came on a delivery note that is already recorded."),
    ] = False,
    note: NoteOption = "",
) -> None:
    """Put what came of a purchase into the stash, all or part; 'stash undo' undoes it.

    \b
    Examples:
      quirebox buy purchase receive 1 --note-number 4711 --place "Shelf A"
      quirebox buy purchase receive 1 --line 1=1 --billed 1=32.45 --lot 1=B7
    """
    from inventory.documents.text.purchase import difference_words, receipt_words
    from inventory.purchasing.purchases import (
        get_purchase,
        purchase_row,
        read_receipt,
        receive_purchase,
    )
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import read_margins

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        before = purchase_row(session, get_purchase(session, number))
        stocks, differences = receive_purchase(
            session,
            number,
            read_receipt(
                before,
                pairs(came or [], "--line"),
                pairs(billed or [], "--billed"),
                pairs(lot or [], "--lot"),
            ),
            note_number=note_number,
            place=place,
            margins=None if margin is None else read_margins(margin, unit),
            again=again,
            note=note,
            today=date.today(),
            day=read_day(day),
        )
        labels = ", ".join(dict.fromkeys(stock.label for stock in stocks))
        after = purchase_row(session, get_purchase(session, number))
        added, still = receipt_words(before, after, labels)
        billed_words = [difference_words(difference, unit) for difference in differences]
    say("\n".join([added, *billed_words, still]))


@app.command("close")
def close(context: typer.Context, number: NumberArgument, why: WhyOption = "") -> None:
    """Close a purchase: the rest of it won't come; 'stash undo' undoes it.

    \b
    Example:
      quirebox buy purchase close 1 --why "sold out"
    """
    from inventory.purchasing.purchases import close_purchase

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        close_purchase(session, number, why)
    say(f"Purchase {number} is closed.")
