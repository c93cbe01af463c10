"""`quirebox order`: what people want, by when, in which papers."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.cost import CollectedFlag, EachOption, read_unit_price, show_cost
from inventory.cli.shared.options import (
    JsonFlag,
    Page,
    PageOption,
    format_count,
    group,
    pairs,
    shop_file_of,
)

app = group("Orders: what somebody wants, by when, in which papers.")

NumberArgument = Annotated[int, typer.Argument(help="The number of an order.")]


@app.command("add")
def add(
    context: typer.Context,
    customer: Annotated[str, typer.Argument(help="Who it is for.")],
    design: Annotated[str, typer.Argument(help="The name of a design.")],
    due: Annotated[str, typer.Option("--due", help="By when: 2027-03-14, or 'in 5 days'.")],
    size: Annotated[
        list[str] | None,
        typer.Option(
            "--size",
            metavar="SETTING=VALUE",
            help="As 'quirebox design settings' lists; again for each.",
        ),
    ] = None,
    paper: Annotated[
        list[str] | None,
        typer.Option(
            "--paper",
            metavar="PART=PAPER",
            help="Which paper a part is of, or 'all'; again for each.",
        ),
    ] = None,
    copies: Annotated[int, typer.Option("--copies", min=1, help="How many.")] = 1,
    draft: Annotated[
        bool, typer.Option("--draft", help="Not sure yet: it is not planned until confirmed.")
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
    typer.echo(f"Order {order.id} taken, due {order.due.isoformat()}")


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
    """Take the orders of a list; if a line of it is wrong, none is taken.

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
    typer.echo(f"{format_count(count, 'order')} taken")


@app.command("list")
def list_(
    context: typer.Context,
    status: Annotated[
        list[str] | None,
        typer.Option("--status", help="Only those so far; again for several."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """List orders, what is due first first.

    \b
    Example:
      quirebox order list --status confirmed --status planned
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.orders.orders import list_orders

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        orders = list_orders(session, status=status)
    if as_json:
        print_json(
            [
                {
                    "number": one.id,
                    "customer": one.customer,
                    "design": one.design,
                    "sizes": one.sizes,
                    "papers": one.papers,
                    "copies": one.copies,
                    "due": one.due.isoformat(),
                    "status": str(one.status),
                }
                for one in orders
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    today = date.today()
    shown = table(
        "Orders",
        "Order",
        "Due",
        "For",
        "Copies",
        "Design",
        "Sizes",
        "Status",
        right=frozenset({"Order", "Copies"}),
    )
    for one in orders:
        open_still = one.status not in ("delivered", "cancelled")
        late = " late" if one.due < today and open_still else ""
        shown.add_row(
            str(one.id),
            one.due.isoformat() + late,
            Text(one.customer),
            str(one.copies),
            one.design,
            Text(", ".join(f"{k}={v}" for k, v in one.sizes.items())),
            one.status,
        )
    console().print(shown if orders else "No orders; take one with 'quirebox order add'.")


@app.command("board")
def board(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show the orders that are not delivered, what is due first first, and what is late."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.orders.orders import order_board

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = order_board(session, date.today())
    if as_json:
        print_json(
            [
                {
                    "number": row.order.id,
                    "customer": row.order.customer,
                    "design": row.order.design,
                    "copies": row.order.copies,
                    "due": row.order.due.isoformat(),
                    "days": row.days_left,
                    "late": row.days_left < 0,
                    "status": str(row.order.status),
                    "batch": row.batch,
                    "missing": row.missing,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Order", "Batch", "Missing"})
    shown = table("Board", "Due", "Order", "For", "What", "Status", "Batch", "Missing", right=right)
    for row in rows:
        when = (
            f"late {-row.days_left} d"
            if row.days_left < 0
            else f"in {row.days_left} d"
            if row.days_left
            else "today"
        )
        shown.add_row(
            Text(f"{row.order.due.isoformat()} {when}", style="bold" if row.days_left < 0 else ""),
            str(row.order.id),
            Text(row.order.customer),
            Text(f"{row.order.copies} × {row.order.design}"),
            row.order.status,
            str(row.batch or ""),
            str(row.missing or ""),
        )
    console().print(shown if rows else "Nothing is to be done; take an order with 'order add'.")


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show an order and every piece it takes, with its paper.

    \b
    Example:
      quirebox order show 3
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.orders.orders import get_order, order_pieces, status_changes
    from inventory.shop.settings import get_shop
    from nester.core.lengths import format_size, to_mm_number

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        order = get_order(session, number)
        pieces = order_pieces(session, order)
        steps = status_changes(session, order)
        unit = get_shop(session).unit
    if as_json:
        print_json(
            {
                "number": order.id,
                "customer": order.customer,
                "design": order.design,
                "copies": order.copies,
                "due": order.due.isoformat(),
                "status": str(order.status),
                "steps": [
                    {"status": str(step.status), "at": step.at.isoformat(timespec="seconds")}
                    for step in steps
                ],
                "pieces": [
                    {
                        "name": piece.name,
                        "paper": paper,
                        "width": to_mm_number(piece.width),
                        "height": to_mm_number(piece.height),
                        "quantity": piece.quantity * order.copies,
                    }
                    for piece, paper in pieces
                ],
            }
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    title = (
        f"Order {order.id} for {order.customer}: {order.copies} × {order.design},"
        f" due {order.due.isoformat()}, {order.status}"
    )
    shown = table("", "Quantity", "Piece", "Blank", "Paper", right=frozenset({"Quantity"}))
    for piece, paper in pieces:
        size = format_size(piece.width, piece.height, unit)
        shown.add_row(str(piece.quantity * order.copies), piece.name, size, Text(paper))
    console().print(Text(title, style="bold"))
    console().print(", ".join(f"{step.status} {step.at.astimezone():%Y-%m-%d}" for step in steps))
    console().print(shown)


@app.command("cost")
def cost(
    context: typer.Context,
    number: NumberArgument,
    price: EachOption = None,
    collected: CollectedFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show what an order costs, part by part, and the price that leaves the margin.

    Paper is what it really uses by the plan of its batch; before that it is estimated.

    \b
    Examples:
      quirebox order cost 3
      quirebox order cost 3 --price 49.50 --collected
    """
    from inventory.costs.order_costs import order_cost

    with shop_file_of(context) as shop_file:
        each = read_unit_price(shop_file, price)
        told = order_cost(shop_file, number, today=date.today(), posted=not collected, each=each)
    show_cost(told, as_json=as_json)


@app.command("quote")
def quote(
    context: typer.Context,
    number: NumberArgument,
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Where to: a .pdf to print, or an .html page.")
    ],
    price: EachOption = None,
    collected: CollectedFlag = False,
    valid: Annotated[
        str | None,
        typer.Option(
            "--valid",
            metavar="DAY",
            help="Until when: 2027-03-14, or 'in 10 days'.  [default: as 'cost set' says]",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="Words of your own below it.")] = "",
    language: Annotated[
        str, typer.Option("--language", help="The language it is in: en or de.")
    ] = "en",
    page: PageOption = Page.A4,
    fonts: Annotated[
        list[Path] | None,
        typer.Option("--font", metavar="FILE", help="A font for signs that ours have not."),
    ] = None,
) -> None:
    """Write an offer to the customer: what she gets, for how much, until when.

    It says nothing of what the order costs you.

    \b
    Examples:
      quirebox order quote 3 offer.pdf
      quirebox order quote 3 offer.html --language de --valid "in 10 days"
    """
    from inventory.core.files import write_bytes, write_file
    from inventory.core.money import format_money
    from inventory.core.table_files import read_due
    from inventory.costs.quotes import quote_order
    from inventory.documents.format.languages import translator_for
    from inventory.documents.quote import quote_html, quote_pdf
    from nester.core.errors import Refusal

    kind = file.suffix.casefold()
    if kind not in (".pdf", ".html"):
        raise Refusal(f"{file}: an offer is a .pdf or an .html file; end its name so")
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
        write_bytes(file, quote_pdf(made, voice, page=page, fonts=fonts or ()))
    else:
        write_file(file, quote_html(made, voice))
    amount = format_money(made.price, made.currency)
    typer.echo(f"Order {number} is offered for {amount} in {file}")


@app.command("move")
def move(
    context: typer.Context,
    number: NumberArgument,
    status: Annotated[str, typer.Argument(help="confirmed, assembled, delivered or cancelled.")],
) -> None:
    """Say how far an order is; batches move it to planned and cut.

    \b
    Example:
      quirebox order move 3 cancelled
    """
    from inventory.production.order_status import move_order

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        order = move_order(session, number, status)
    typer.echo(f"Order {number} is {order.status}")
