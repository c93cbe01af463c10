"""`quirebox order`: what customers want, by when, in which papers."""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.cost import CollectedFlag, EachOption, read_unit_price, show_cost
from inventory.cli.shared.design_options import ChoicesArgument
from inventory.cli.shared.options import (
    EffortOption,
    FontsOption,
    JsonFlag,
    LanguageOption,
    Page,
    PageOption,
    ReplaceFlag,
    YesFlag,
    group,
    replacing,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.stock_options import ByOption, WhyOption, user_name
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from inventory.changes.order_changes import ChangedOrder
    from inventory.database.shop_file import ShopFile

app = group("Orders: what customers want, by when, in which papers.")

NumberArgument = Annotated[int, typer.Argument(help="The number of an order.")]


DueOption = Annotated[
    str,
    typer.Option("--due", help="The day: 2027-03-14, tomorrow, friday, 'in 2 weeks', '24 Dec'."),
]


@app.command("add")
def add(
    context: typer.Context,
    customer: Annotated[str, typer.Argument(help="Who it is for.")],
    design: Annotated[str, typer.Argument(help="The name of a design.")],
    due: DueOption,
    choices: ChoicesArgument = None,
    size: Annotated[
        list[str] | None, typer.Option("--size", metavar="SETTING=VALUE", hidden=True)
    ] = None,
    paper: Annotated[
        list[str] | None, typer.Option("--paper", metavar="PART=PAPER", hidden=True)
    ] = None,
    copies: Annotated[int, typer.Option("--copies", min=1, help="How many.")] = 1,
    price: Annotated[
        str | None, typer.Option("--price", help="What you agreed on for one copy.")
    ] = None,
    note: Annotated[str, typer.Option("--note", help="Your own words.")] = "",
    draft: Annotated[
        bool,
        typer.Option("--draft", help="Not certain yet: it is planned only after you confirm it."),
    ] = False,
) -> None:
    """Take an order.

    \b
    Example:
      quirebox order add Ines layered-box panel=18cm tiers=4 all="Coal card" \\
        mat="Fern print" photo="Photo satin" --due friday --copies 2
    """
    from inventory.cli.shared.terminal import warn
    from inventory.core.days import read_due
    from inventory.core.money import parse_money
    from inventory.core.text import pairs
    from inventory.orders.choices import read_choices
    from inventory.orders.custom_designs import find_design
    from inventory.orders.orders import add_order

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        words = [*(choices or []), *(size or [])]
        chosen = read_choices(
            session, find_design(session, design), words, pairs(paper or [], "--paper")
        )
        order, warnings = add_order(
            session,
            customer,
            design,
            chosen.sizes,
            chosen.papers,
            copies,
            read_due(due, today),
            today,
            draft=draft,
            note=note,
            price=None if price is None else parse_money(price, "the price"),
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
    console().print(Text("\n".join(view.history_words)))
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
    from inventory.core.days import read_due
    from inventory.core.files import check_targets, write_files
    from inventory.core.money import format_money
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


@app.command("change")
def change(
    context: typer.Context,
    number: NumberArgument,
    choices: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="NAME=VALUE",
            help="Settings and papers to change; 'tiers=' takes the default again.",
        ),
    ] = None,
    customer: Annotated[str | None, typer.Option("--for", help="Who it is for.")] = None,
    copies: Annotated[int | None, typer.Option("--copies", min=1, help="How many.")] = None,
    due: Annotated[
        str | None,
        typer.Option("--due", help="The day: 2027-03-14, tomorrow, friday, '24 Dec'."),
    ] = None,
    price: Annotated[
        str | None,
        typer.Option("--price", help="What you agreed on for one copy; 'none' for no price."),
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="Your own words.")] = None,
    plan: Annotated[
        bool,
        typer.Option("--plan/--no-plan", help="Plan its batch again at once, or leave it to you."),
    ] = True,
    effort: EffortOption = Effort.NORMAL,
    why: WhyOption = "",
    by: ByOption = None,
    yes: YesFlag = False,
) -> None:
    """Change an order at any time before it is assembled.

    If it is planned or partly cut, you see first what that means: the pieces that stay good,
    those to cut, those that become spare.

    \b
    Examples:
      quirebox order change 3 --copies 4 --due friday
      quirebox order change 3 tiers=3 mat="Fern print" --yes
    """
    from inventory.changes.order_changes import OrderChanges, change_order
    from inventory.core.days import read_due
    from inventory.core.money import parse_money
    from inventory.orders.choices import read_choices
    from inventory.orders.orders import design_of, get_order

    today = date.today()
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            design = design_of(session, get_order(session, number))
            chosen = read_choices(session, design, choices or [], may_be_empty=True)
        no_price = price is not None and price.strip().casefold() == "none"
        changes = OrderChanges(
            customer=customer,
            copies=copies,
            due=None if due is None else read_due(due, today),
            sizes=chosen.sizes,
            papers=chosen.papers,
            note=note,
            price=None if price is None or no_price else parse_money(price, "the price"),
            no_price=no_price,
        )
        _change(
            context,
            shop_file,
            number,
            lambda session, expected: change_order(
                session, number, changes, today=today, by=user_name(by), why=why, expected=expected
            ),
            plan=plan,
            effort=effort,
            yes=yes,
        )


@app.command("cancel")
def cancel(
    context: typer.Context,
    number: NumberArgument,
    why: WhyOption = "",
    place: Annotated[
        str | None, typer.Option("--place", help="Where you put the pieces that are cut.")
    ] = None,
    by: ByOption = None,
    yes: YesFlag = False,
) -> None:
    """Cancel an order: its paper is freed, and what is cut becomes spare pieces.

    \b
    Example:
      quirebox order cancel 3 --why "found another present"
    """
    from inventory.changes.order_changes import cancel_order

    with shop_file_of(context) as shop_file:
        _change(
            context,
            shop_file,
            number,
            lambda session, _: cancel_order(
                session, number, by=user_name(by), why=why, place=place
            ),
            plan=False,
            yes=yes,
        )


@app.command("reopen")
def reopen(
    context: typer.Context, number: NumberArgument, why: WhyOption = "", by: ByOption = None
) -> None:
    """Take a cancelled order up again, or take a delivered one back.

    \b
    Example:
      quirebox order reopen 3
    """
    from inventory.changes.order_changes import reopen_order

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        changed = reopen_order(session, number, by=user_name(by), why=why)
    say(f"Order {number} is {changed.order.status} again")


@app.command("copy")
def copy(
    context: typer.Context,
    number: NumberArgument,
    due: DueOption,
    customer: Annotated[
        str | None, typer.Option("--for", help="Who it is for.  [default: as order NUMBER]")
    ] = None,
    copies: Annotated[
        int | None, typer.Option("--copies", min=1, help="How many.  [default: as many]")
    ] = None,
    by: ByOption = None,
) -> None:
    """Take an order like another one.

    \b
    Example:
      quirebox order copy 3 --for Bas --due "in 2 weeks"
    """
    from inventory.changes.order_changes import copy_order
    from inventory.cli.shared.terminal import warn
    from inventory.core.days import read_due

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        made = copy_order(
            session, number, due=read_due(due, today), today=today, customer=customer,
            copies=copies, by=user_name(by),
        )  # fmt: skip
    for warning in made.warnings:
        warn(warning)
    order = made.order
    say(
        f"Took order {order.id}: {order.copies} × {order.design} for {order.customer}, due"
        f" {order.due.isoformat()}"
    )


@app.command("split")
def split(
    context: typer.Context,
    number: NumberArgument,
    due: DueOption,
    copies: Annotated[
        int, typer.Option("--copies", min=1, help="How many copies become the new order.")
    ] = 1,
    plan: Annotated[
        bool,
        typer.Option("--plan/--no-plan", help="Plan its batch again at once, or leave it to you."),
    ] = True,
    effort: EffortOption = Effort.NORMAL,
    by: ByOption = None,
    yes: YesFlag = False,
) -> None:
    """Split an order: some copies become an order of their own, due another day.

    \b
    Example:
      quirebox order split 3 --copies 2 --due "in 3 weeks"
    """
    from inventory.changes.order_changes import split_order
    from inventory.core.days import read_due

    today = date.today()
    with shop_file_of(context) as shop_file:
        new: list[int] = []

        def divide(session: Session, expected: dict[str, Any] | None) -> ChangedOrder:
            kept, made = split_order(
                session, number, copies, due=read_due(due, today), today=today, by=user_name(by),
                expected=expected,
            )  # fmt: skip
            new.append(made.order.id)
            return kept

        _change(context, shop_file, number, divide, plan=plan, effort=effort, yes=yes)
    cop = "copy" if copies == 1 else "copies"
    say(f"Took order {new[-1]}: the {copies} {cop} split off")


def _change(
    context: typer.Context,
    shop_file: ShopFile,
    number: int,
    change: Callable[[Session, dict[str, Any] | None], ChangedOrder],
    *,
    plan: bool,
    effort: Effort = Effort.NORMAL,
    yes: bool,
) -> None:
    """Show what a change comes to, ask where it touches cut or planned pieces, and make it."""
    from inventory.changes.order_changes import values_of
    from inventory.changes.replanning import replan_batches
    from inventory.cli.shared.options import ask, searching_in
    from inventory.cli.shared.terminal import console, warn
    from inventory.core.money import format_money
    from inventory.costs.order_costs import read_order_estimate
    from inventory.documents.plan.text import plan_summary
    from inventory.orders.orders import get_order
    from inventory.shop.settings import get_shop
    from inventory.views.production.changes import changed_order_words
    from nester.core.errors import Refusal

    estimates = []
    with shop_file.rehearse() as session:
        shop = get_shop(session)
        expected = values_of(get_order(session, number))
        with suppress(Refusal):  # what can't be estimated is changed all the same
            estimates.append(read_order_estimate(session, number, today=date.today()))
        shown = change(session, expected)
        words = changed_order_words(shown, shop.unit)
        if {"copies", "sizes", "papers"} & set(shown.after):
            with suppress(Refusal):
                estimates.append(read_order_estimate(session, number, today=date.today()))
    say("\n".join(words))
    if len(estimates) == 2:
        before, after = (format_money(cost(None), shop.currency) for cost in estimates)
        say(f"Cut from new sheets it would cost {after}, and {before} as it was")
    batches = shown.batches if shown.order.status != "planned" else ()
    if batches:
        which = "batch" if len(batches) == 1 else "batches"
        numbers = " and ".join(map(str, batches))
        say(f"What is not cut of {which} {numbers} is" + (" planned again." if plan else " kept."))
    if (batches or shown.spare) and not yes:
        ask("Change it so?")
    if batches and plan:
        with searching_in(shop_file, None) as search:
            made = replan_batches(
                shop_file,
                batches,
                change=lambda session: change(session, expected),
                effort=effort,
                today=date.today(),
                **search,
            )
        if made.plan is not None:
            console().print(plan_summary(made.plan))
    else:
        with shop_file.begin() as session:
            change(session, expected)
    for warning in shown.warnings:
        warn(warning)
    say(f"Order {number} is changed; 'stash undo' takes it back")


@app.command("move")
def move(
    context: typer.Context,
    number: NumberArgument,
    status: Annotated[
        str,
        typer.Argument(help="confirmed, assembled or delivered; 'cancelled' as 'order cancel'."),
    ],
) -> None:
    """Change an order's status; batches set 'planned' and 'cut'.

    \b
    Example:
      quirebox order move 3 cancelled
    """
    from inventory.changes.order_status import move_order

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        order = move_order(session, number, status)
    say(f"Order {number} is {order.status}")
