"""`quirebox order`: what customers want, by when, in which papers."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.cost import CollectedFlag, EachOption, read_unit_price, show_cost
from inventory.cli.shared.design_options import OwnPaperOption
from inventory.cli.shared.options import (
    FontsOption,
    JsonFlag,
    LanguageOption,
    Page,
    PageOption,
    ReplaceFlag,
    group,
    replacing,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count, pairs

app = group("Orders: what customers want, by when, in which papers.")

NumberArgument = Annotated[int, typer.Argument(help="The number of an order.")]


@app.command("add")
def add(
    context: typer.Context,
    customer: Annotated[str, typer.Argument(help="Who it is for.")],
    design: Annotated[str, typer.Argument(help="The name of a design.")],
    due: Annotated[str, typer.Option("--due", help="When it is due: 2027-03-14, or 'in 5 days'.")],
    size: Annotated[
        list[str] | None,
        typer.Option(
            "--size",
            metavar="SETTING=VALUE",
            help="A setting of the design; repeat for each. 'quirebox design settings' lists them.",
        ),
    ] = None,
    paper: OwnPaperOption = None,
    copies: Annotated[int, typer.Option("--copies", min=1, help="How many.")] = 1,
    draft: Annotated[
        bool,
        typer.Option("--draft", help="Not certain yet: it is planned only after you confirm it."),
    ] = False,
) -> None:
    """Take an order.

    \b
    Example:
      quirebox order add Ines layered-box --due 2027-03-14 --copies 2 \\
        --size panel=18cm --size tiers=4 --paper "all=Coal card" \\
        --paper "mat=Fern print" --paper "photo=Photo satin"
    """
    from inventory.cli.shared.terminal import warn
    from inventory.core.table_files import read_due
    from inventory.orders.orders import add_order

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        order, warnings = add_order(
            session,
            customer,
            design,
            pairs(size or [], "--size"),
            pairs(paper or [], "--paper"),
            copies,
            read_due(due, today),
            today,
            draft=draft,
        )
    for warning in warnings:
        warn(warning)
    say(
        f"Took order {order.id}: {order.copies} × {order.design} for {order.customer}, due"
        f" {order.due.isoformat()}"
    )


@app.command("import")
def import_(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv",
            help="Columns customer, design, copies, due, sizes (panel=18cm; tiers=4),"
            " papers (all=Coal card; mat=Fern print).",
        ),
    ],
) -> None:
    """Take the orders on a list; if a line is wrong, none are taken.

    \b
    Example:
      quirebox order import orders.csv
    """
    from inventory.cli.shared.terminal import warn
    from inventory.orders.import_orders import import_orders

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        count, warnings = import_orders(session, file, date.today())
    for warning in warnings:
        warn(warning)
    say(f"Took {format_count(count, 'order')}")


@app.command("list")
def list_(
    context: typer.Context,
    status: Annotated[
        list[str] | None,
        typer.Option("--status", help="Only orders with this status; repeat for several."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """List orders, earliest due first.

    \b
    Example:
      quirebox order list --status confirmed --status planned
    """
    from inventory.views.production.orders import order_list

    show_from_shop(
        context, as_json, lambda session: order_list(session, date.today(), status=status)
    )


@app.command("board")
def board(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show the orders that are not delivered, earliest due first, and which are late."""
    from inventory.views.production.orders import board_list

    show_from_shop(context, as_json, lambda session: board_list(session, date.today()))


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show an order and every piece it takes, with its paper.

    \b
    Example:
      quirebox order show 3
    """
    from inventory.cli.shared.terminal import console, print_json, show_list
    from inventory.views.production.orders import order_as_json, order_view

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        view = order_view(session, number)
    if as_json:
        print_json(order_as_json(view))
        return
    from rich.text import Text

    console().print(Text(view.title, style="bold"))
    console().print(Text(view.change_words))
    show_list(view.piece_listing, view.pieces)


@app.command("cost")
def cost(
    context: typer.Context,
    number: NumberArgument,
    price: EachOption = None,
    collected: CollectedFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show what an order costs, part by part, and the price that gives your margin.

    Paper is counted from the plan of its batch; before there is one, it is estimated.

    \b
    Examples:
      quirebox order cost 3
      quirebox order cost 3 --price 49.50 --collected
    """
    from inventory.costs.order_costs import order_cost

    with shop_file_of(context) as shop_file:
        each = read_unit_price(shop_file, price)
        found = order_cost(shop_file, number, today=date.today(), posted=not collected, each=each)
    show_cost(found, as_json=as_json)


@app.command("quote")
def quote(
    context: typer.Context,
    number: NumberArgument,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="The file to write: a .pdf to print, or an .html page."
        ),
    ],
    price: EachOption = None,
    collected: CollectedFlag = False,
    valid: Annotated[
        str | None,
        typer.Option(
            "--valid",
            metavar="DAY",
            help="The last day it is valid: 2027-03-14, 'in 10 days'.  [default: by 'cost"
            " set --quote-days']",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="Your own words at its end.")] = "",
    language: LanguageOption = "en",
    page: PageOption = Page.A4,
    fonts: FontsOption = None,
    yes: ReplaceFlag = False,
) -> None:
    """Write an offer for the customer: what it is, the price, and how long it is valid.

    It doesn't show what the order costs you.

    \b
    Examples:
      quirebox order quote 3 offer.pdf
      quirebox order quote 3 offer.html --language de --valid "in 10 days"
    """
    from inventory.core.files import check_targets, write_files
    from inventory.core.money import format_money
    from inventory.core.table_files import read_due
    from inventory.costs.quotes import quote_order
    from inventory.documents.format.languages import translator_for
    from inventory.documents.quote import quote_html, quote_pdf
    from nester.core.errors import Refusal
    from nester.drawing.canvas.fonts import FontSet

    kind = file.suffix.casefold()
    if kind not in (".pdf", ".html"):
        raise Refusal(f"{file}: an offer is a .pdf or an .html file; give its name that ending")
    may_replace = replacing(yes)
    check_targets([file], may_replace)
    FontSet(fonts or ())  # is refused if it can't be read, also where no PDF is written
    voice = translator_for(language)
    today = date.today()
    with shop_file_of(context) as shop_file:
        made = quote_order(
            shop_file,
            number,
            today=today,
            valid_until=None if valid is None else read_due(valid, today),
            posted=not collected,
            each=read_unit_price(shop_file, price),
            note=note,
        )
    if kind == ".pdf":
        document: str | bytes = quote_pdf(made, voice, page=page, fonts=fonts or ())
    else:
        document = quote_html(made, voice)
    write_files([(file, document)], may_replace)
    amount = format_money(made.price, made.currency)
    say(f"Wrote the offer for order {number} to {file}: {amount}")


@app.command("move")
def move(
    context: typer.Context,
    number: NumberArgument,
    status: Annotated[str, typer.Argument(help="confirmed, assembled, delivered or cancelled.")],
) -> None:
    """Change an order's status; batches set 'planned' and 'cut'.

    \b
    Example:
      quirebox order move 3 cancelled
    """
    from inventory.production.order_status import move_order

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        order = move_order(session, number, status)
    say(f"Order {number} is {order.status}")
