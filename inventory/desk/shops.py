"""`quirebox shop`: the shop's file and its rules."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.desk.common import JsonFlag, group, shop_file_of, shop_option
from nester.measure import Unit

app = group("The shop itself: its file, unit, currency and rules.")


@app.command("new")
def new(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What the shop is called.")],
    unit: Annotated[
        Unit, typer.Option("--unit", help="The unit of bare numbers and of what is shown.")
    ] = Unit.CM,
    currency: Annotated[
        str, typer.Option("--currency", help="Three letters, as in ISO 4217.")
    ] = "EUR",
) -> None:
    """Begin the book of a new shop; an existing one is never overwritten.

    \b
    Examples:
      quirebox shop new "Hazelmoth" --unit cm --currency EUR
      quirebox --shop hazelmoth.sqlite shop new "Hazelmoth" --unit in \\
        --currency USD
    """
    from inventory.shop import open_shop

    with open_shop(
        shop_option(context), create=True, name=name, unit=unit, currency=currency
    ) as book:
        typer.echo(f"The book of '{name}' begins in {book.place}")


@app.command("show")
def show(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show the shop's rules and what its book holds."""
    from inventory.desk.tell import print_json
    from inventory.orders import list_orders
    from inventory.shop import the_shop
    from inventory.stash import list_papers, list_stash
    from nester.measure import format_length, to_mm_number

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = the_shop(session)
        papers, stash, orders = list_papers(session), list_stash(session), list_orders(session)
    if as_json:
        print_json(
            {
                "name": shop.name,
                "file": shop_file.place,
                "unit": str(shop.unit),
                "currency": shop.currency,
                "smallest_offcut": to_mm_number(shop.smallest_offcut),
                "offcut_worth": shop.offcut_worth,
                "papers": len(papers),
                "stash": sum(row.quantity for row in stash),
                "orders": len(orders),
            }
        )
        return
    typer.echo(f"{shop.name}, in {shop_file.place}")
    typer.echo(f"Unit {shop.unit}, currency {shop.currency}")
    smallest = format_length(shop.smallest_offcut, shop.unit)
    typer.echo(f"Offcuts are kept from {smallest} on the short side")
    typer.echo(f"An offcut counts at {shop.offcut_worth} % of its share of a sheet's price")
    typer.echo(
        f"{len(papers)} papers, {sum(row.quantity for row in stash)} sheets and offcuts,"
        f" {len(orders)} orders"
    )


@app.command("set")
def change(
    context: typer.Context,
    name: Annotated[str | None, typer.Option("--name", help="What the shop is called.")] = None,
    unit: Annotated[
        Unit | None, typer.Option("--unit", help="The unit of bare numbers and of what is shown.")
    ] = None,
    smallest_offcut: Annotated[
        str | None,
        typer.Option("--smallest-offcut", help="Short side of the smallest offcut worth keeping."),
    ] = None,
    offcut_worth: Annotated[
        int | None,
        typer.Option(
            "--offcut-worth",
            help="Percent of its share of a sheet's price at which an offcut counts.",
        ),
    ] = None,
) -> None:
    """Change the shop's rules.

    \b
    Example:
      quirebox shop set --smallest-offcut 5cm --offcut-worth 40
    """
    from inventory.shop import change_shop, the_shop
    from nester.measure import parse_length

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        used = unit or the_shop(session).unit
        smallest = parse_length(smallest_offcut, used) if smallest_offcut is not None else None
        change_shop(
            session, name=name, unit=unit, smallest_offcut=smallest, offcut_worth=offcut_worth
        )
    typer.echo("Done")
