"""`quirebox batch`: orders planned together against the stash, then cut."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.desk.common import (
    CutsOption,
    EffortOption,
    JsonFlag,
    SecondsOption,
    group,
    shop_file_of,
    stopping,
)
from nester.layouts import Cuts, Effort

if TYPE_CHECKING:
    from inventory.plan import Plan
    from inventory.shop import ShopFile

app = group("Batches: orders cut together, from the plan to the last offcut.")

NumberArgument = Annotated[int, typer.Argument(help="The number of a batch.")]


@app.command("plan")
def plan(
    context: typer.Context,
    orders: Annotated[
        list[int] | None,
        typer.Argument(metavar="ORDER", help="Numbers of orders; all confirmed ones if none."),
    ] = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Plan orders against the stash, and reserve what the plan takes.

    Orders that the stash can't make whole take nothing; the plan says what they lack and what to
    buy. 'quirebox batch drop' gives a plan up again.

    \b
    Examples:
      quirebox batch plan
      quirebox batch plan 3 5 8 --cuts free --effort thorough
    """
    from inventory.desk.tell import console, print_json
    from inventory.documents.plan_data import plan_as_json
    from inventory.documents.plan_text import plan_summary

    with shop_file_of(context) as shop_file:
        made = search_plan(shop_file, orders or [], cuts, effort, seconds)
    if as_json:
        print_json(plan_as_json(made))
        return
    console().print(plan_summary(made))
    if made.batch:
        typer.echo(f"Next: quirebox batch steps {made.batch}, or batch papers {made.batch}")


def search_plan(
    shop_file: ShopFile,
    orders: list[int],
    cuts: Cuts,
    effort: Effort,
    seconds: float | None,
) -> Plan:
    """Plan a batch while showing how the search goes on."""
    from inventory.batches import plan_batch
    from inventory.desk.tell import searching
    from inventory.money import format_money
    from inventory.shop import the_shop

    with shop_file.read() as session:
        currency = the_shop(session).currency
    with (
        stopping(seconds) as stop,
        searching("Planning", lambda amount: format_money(amount, currency)) as tell,
    ):
        return plan_batch(
            shop_file,
            orders,
            cuts=cuts,
            effort=effort,
            today=date.today(),
            stop=stop,
            on_progress=tell,
        )


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all batches, the newest first."""
    from inventory.batches import list_batches, plan_of
    from inventory.desk.tell import console, print_json
    from inventory.money import format_money

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        batches = [(one, plan_of(one)) for one in list_batches(session)]
    if as_json:
        print_json(
            [
                {
                    "number": one.id,
                    "made_at": one.made_at.isoformat(timespec="seconds"),
                    "status": str(one.status),
                    "cuts": str(one.cuts),
                    "orders": [order.number for order in its_plan.orders if order.made],
                    "layouts": len(its_plan.layouts),
                    "cost": str(its_plan.cost),
                }
                for one, its_plan in batches
            ]
        )
        return
    from inventory.documents.plan_text import table

    numbers = frozenset({"Batch", "Layouts", "Paper"})
    shown = table(
        "Batches", "Batch", "Planned", "Status", "Cuts", "Orders", "Layouts", "Paper", right=numbers
    )
    for one, its_plan in batches:
        orders = ", ".join(str(order.number) for order in its_plan.orders if order.made)
        shown.add_row(
            str(one.id),
            one.made_at.astimezone().strftime("%Y-%m-%d %H:%M"),
            one.status,
            one.cuts,
            orders,
            str(len(its_plan.layouts)),
            format_money(its_plan.cost, its_plan.currency),
        )
    console().print(shown if batches else "No batches; plan one with 'quirebox batch plan'.")


def _plan_of(context: typer.Context, number: int) -> Plan:
    from inventory.batches import get_batch, plan_of

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        return plan_of(get_batch(session, number))


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show a batch's plan: what to take out, what comes of it, what waits, what to buy.

    \b
    Example:
      quirebox batch show 1
    """
    from inventory.desk.tell import console, print_json
    from inventory.documents.plan_data import plan_as_json
    from inventory.documents.plan_text import plan_summary

    made = _plan_of(context, number)
    if as_json:
        print_json(plan_as_json(made))
    else:
        console().print(plan_summary(made))


@app.command("steps")
def steps(
    context: typer.Context,
    number: NumberArgument,
    layout: Annotated[
        int | None, typer.Option("--layout", help="Only the layout of this number.")
    ] = None,
) -> None:
    """Print the cut list: layout by layout, the cuts in the order they are made.

    \b
    Example:
      quirebox batch steps 1 --layout 3
    """
    from inventory.desk.tell import console
    from inventory.documents.plan_text import cut_list
    from nester.refusal import Refusal

    made = _plan_of(context, number)
    if layout is not None and not 1 <= layout <= len(made.layouts):
        raise Refusal(
            f"batch {number} has no layout {layout}; they are numbered from 1 to"
            f" {len(made.layouts)}"
        )
    terminal = console()
    for part in cut_list(made, layout):
        terminal.print(part)


@app.command("papers")
def papers(
    context: typer.Context,
    number: NumberArgument,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FOLDER", help="Where to.  [default: batch-NUMBER]"),
    ] = None,
) -> None:
    """Write a plan's files: cut list, lists to take out and to buy, and a picture of each layout.

    \b
    Example:
      quirebox batch papers 1 --into week-48
    """
    from inventory.documents.papers import write_papers

    made = _plan_of(context, number)
    folder = into or Path(f"batch-{number}")
    paths = write_papers(made, folder)
    typer.echo(f"{len(paths)} files written into {folder}")


@app.command("cut")
def cut(
    context: typer.Context,
    number: NumberArgument,
    place: Annotated[
        str | None, typer.Option("--place", help="Where the new offcuts are put.")
    ] = None,
) -> None:
    """Book a batch as cut: its sheets leave the stash, offcuts worth keeping enter it.

    \b
    Example:
      quirebox batch cut 1 --place "Drawer 1"
    """
    from inventory.batches import cut_batch
    from inventory.desk.tell import console
    from inventory.documents.plan_text import table
    from inventory.shop import the_shop
    from nester.measure import format_size

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = the_shop(session).unit
        kept = cut_batch(session, number, place=place)
    typer.echo(f"Batch {number} is cut")
    if kept:
        from rich.text import Text

        shown = table(
            "Write these labels on the offcuts",
            "Label",
            "Layout",
            "Paper",
            "Size",
            right=frozenset({"Layout"}),
        )
        for one in kept:
            size = format_size(one.width, one.height, unit)
            shown.add_row(one.label, str(one.layout), Text(one.paper), size)
        console().print(shown)


@app.command("drop")
def drop(context: typer.Context, number: NumberArgument) -> None:
    """Give a plan up: what it reserved is free, its orders are confirmed again.

    \b
    Example:
      quirebox batch drop 1
    """
    from inventory.batches import drop_batch

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        drop_batch(session, number)
    typer.echo(f"Batch {number} is dropped")
