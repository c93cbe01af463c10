"""`quirebox buy plan`: the cheapest purchase, solved together with the cutting."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    PIECES_LEFT_OVER,
    CutsOption,
    DrawingsOption,
    EffortOption,
    IgnoreGrainFlag,
    JsonFlag,
    ReplaceFlag,
    SecondsOption,
    command_words,
    replacing,
    shop_file_of,
    stopping,
)
from inventory.cli.shared.terminal import say
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from inventory.restocking.purchase_plan import RestockPlan
    from nester.core.lengths import Unit

__all__ = ["plan"]


def plan(
    context: typer.Context,
    orders: Annotated[
        list[int] | None,
        typer.Argument(metavar="ORDER", help="Confirmed orders.", show_default="all of them"),
    ] = None,
    levels: Annotated[
        bool,
        typer.Option(
            "--levels",
            help="Also keep up your levels: a paper that is down to its level once the orders are"
            " made is bought up to its target, and the orders don't use those sheets.",
        ),
    ] = False,
    in_time: Annotated[
        bool, typer.Option("--in-time", help="Only buy what arrives in time for all these orders.")
    ] = False,
    also_late: Annotated[
        bool, typer.Option("--also-late", help="Also buy what is cheaper but arrives too late.")
    ] = False,
    record: Annotated[
        bool, typer.Option("--record", help="Record it as purchases, one for each supplier.")
    ] = False,
    cuts: CutsOption = Cuts.STRAIGHT,
    ignore_grain: IgnoreGrainFlag = False,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    drawings: DrawingsOption = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Find the cheapest packs to buy for all orders, shipping included.

    Buying and cutting are planned together: an expensive large sheet wins where it
    replaces two small ones. Sheets and offcuts you have, and those on their way, are
    used where they fit. What comes too late is bought only if nothing comes in time.
    Nothing is stored without --record. If pieces fit no sheet on offer, the rest is
    planned, these pieces are listed, and the exit code is 3.

    \b
    Examples:
      quirebox buy plan
      quirebox buy plan 3 5 --levels --effort thorough
      quirebox buy plan --in-time --record
    """
    from inventory.cli.shared.terminal import print_json, searching
    from inventory.core.files import check_targets
    from inventory.core.money import format_money
    from inventory.documents.plan.pictures import draw_answer, pictures_in
    from inventory.restocking.purchase_plan import book_purchases, plan_purchase
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.purchase_plan import plan_as_json
    from nester.packing import usable_cores

    may_replace = replacing(yes)
    if drawings is not None:
        check_targets(pictures_in(drawings), may_replace)
    today = date.today()
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = get_shop(session)
        with (
            stopping(seconds) as stop,
            searching("Buying", lambda amount: format_money(amount, shop.currency)) as tell,
        ):
            found = plan_purchase(
                shop_file, orders or (), levels=levels, in_time=in_time, also_late=also_late,
                cuts=cuts,
                ignore_grain=ignore_grain, effort=effort, today=today,
                processes=usable_cores(), stop=stop, on_progress=tell,
            )  # fmt: skip
        if drawings is not None:
            draw_answer(
                found.bought.problem, found.bought.cutting_plan, shop.unit, drawings, may_replace
            )
        recorded: list[int] = []
        if record and found.lines:
            with shop_file.begin() as session:
                recorded = [made.id for made in book_purchases(session, found, today=today)]
    if as_json:
        print_json(plan_as_json(found, shop.unit, today, recorded))
    else:
        _show(found, shop.unit, today)
        for number in recorded:
            receive = command_words(context, f"buy purchase receive {number}")
            say(f"Recorded purchase {number}; when it comes: {receive}")
    if found.unmade:
        raise typer.Exit(PIECES_LEFT_OVER)


def _show(found: RestockPlan, unit: Unit, today: date) -> None:
    from inventory.cli.shared.terminal import print_sentences, show_list
    from inventory.documents.text.purchase import plan_words
    from inventory.views.purchasing.purchase_plan import plan_listings

    for listing, rows in plan_listings(found, unit, today):
        show_list(listing, rows)
    print_sentences(plan_words(found, today))
