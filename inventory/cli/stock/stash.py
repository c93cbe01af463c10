"""`quirebox stash`: all sheets and offcuts on hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of, show_from_shop
from inventory.cli.shared.replanning import ReplanFlag, with_plans_again
from inventory.cli.shared.stock_options import LabelArgument, WhyOption
from inventory.cli.shared.terminal import say
from inventory.cli.stock import stash_makes, stocktake
from inventory.core.text import format_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.views.listing import Listing

Row = TypeVar("Row")

app = group("The stash: all sheets and offcuts on hand.")

_PAGE_SIZE = 50
"""Lines of a list on the terminal by default."""

MostOption = Annotated[
    int | None,
    typer.Option(
        "--most",
        min=1,
        max=1_000_000,
        help="Show up to this many lines.",
        show_default=f"{_PAGE_SIZE}, all with --json",
    ),
]
KindOption = Annotated[str | None, typer.Option("--kind", help="Only this kind: sheet or offcut.")]
FinishOption = Annotated[str | None, typer.Option("--finish", help="A part of the finish.")]
InPlaceOption = Annotated[
    str | None, typer.Option("--place", help="Only what is in this place, or in places inside it.")
]
AtLeastOption = Annotated[
    str | None, typer.Option("--at-least", help="A size that must fit on it, either way round.")
]


def _number_of_lines(most: int | None, as_json: bool) -> int | None:
    return None if most is None and as_json else most or _PAGE_SIZE


def _show_page(
    listing: Listing[Row], rows: Sequence[Row], number: int, as_json: bool, narrowing: str
) -> None:
    """Print the first rows of a list, and how to see the rest or to narrow it down."""
    from inventory.cli.shared.terminal import show_list

    show_list(listing, rows, as_json)
    if number > len(rows) and not as_json:
        more = f"{number - len(rows):,} more"
        say(f"… and {more}; see all with --most {number}, or fewer with {narrowing}")


@app.command("list")
def list_(
    context: typer.Context,
    paper: Annotated[str | None, typer.Option("--paper", help="Only this paper.")] = None,
    colour: Annotated[
        str | None, typer.Option("--colour", "--color", help="A part of the colour.")
    ] = None,
    finish: FinishOption = None,
    kind: KindOption = None,
    at_least: AtLeastOption = None,
    place: InPlaceOption = None,
    empty: Annotated[
        bool, typer.Option("--empty", help="Also show labels with nothing left.")
    ] = False,
    most: MostOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List the stash, or search it by colour, finish, size and place.

    \b
    Examples:
      quirebox stash list --colour black --at-least 20x30cm
      quirebox stash list --kind offcut --finish linen
    """
    from inventory.views.stock.stash import stash_list

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        found = stash_list(
            session,
            _number_of_lines(most, as_json),
            paper=paper,
            colour=colour,
            finish=finish,
            kind=kind,
            at_least=at_least,
            place=place,
            include_empty=empty,
        )
    _show_page(*found, as_json, "--paper, --place or --at-least")


@app.command("count")
def count(
    context: typer.Context,
    label: LabelArgument,
    quantity: Annotated[int, typer.Argument(min=0, help="How many there really are.")],
    why: WhyOption = "",
    replan: ReplanFlag = None,
) -> None:
    """Record how many there really are; the history keeps the difference.

    \b
    Example:
      quirebox stash count S-3 11 --why "counted on Sunday"
    """
    from inventory.stock.adjust import count_stock

    with shop_file_of(context) as shop_file:
        movement = with_plans_again(
            context, shop_file, lambda session: count_stock(session, label, quantity, why), replan
        )
    if movement is None:
        say(f"{label} was right: {quantity} on hand")
    else:
        say(f"{label} corrected by {movement.change:+}; {quantity} on hand now")


@app.command("spoil")
def spoil_some(
    context: typer.Context,
    label: LabelArgument,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many.")] = 1,
    why: WhyOption = "",
    replan: ReplanFlag = None,
) -> None:
    """Record sheets or offcuts as spoiled, sold or lost; they leave the stash.

    If a batch has reserved them, you are told which, and it can be planned again at once.

    \b
    Example:
      quirebox stash spoil S-3 --quantity 2 --why "a corner bent"
    """
    from inventory.stock.adjust import spoil_stock
    from inventory.stock.ledger import on_hand
    from inventory.stock.lookup import find_stock

    with shop_file_of(context) as shop_file:
        with_plans_again(
            context, shop_file, lambda session: spoil_stock(session, label, quantity, why), replan
        )
        with shop_file.read() as session:
            stock = find_stock(session, label)
            left = on_hand(session, stock)
    spoiled = format_count(quantity, str(stock.kind))
    say(f"Recorded {spoiled} of {stock.label} as spoiled; {left} on hand now")


@app.command("damage")
def mark_damaged(
    context: typer.Context,
    label: LabelArgument,
    size: Annotated[str, typer.Argument(help="Width × height of the damaged area.")],
    corner: Annotated[
        str | None,
        typer.Option("--corner", help="top-left, top-right, bottom-left or bottom-right."),
    ] = None,
    left: Annotated[
        str | None, typer.Option("--left", help="How far it is from the left edge.")
    ] = None,
    top: Annotated[
        str | None, typer.Option("--top", help="How far it is from the top edge.")
    ] = None,
    why: WhyOption = "",
    replan: ReplanFlag = None,
) -> None:
    """Mark a damaged area on a sheet or an offcut; nothing more is cut from that area.

    What is damaged leaves its pile and gets a label of its own. Left and top are as you see them
    with the size as you entered it: width across, height down.

    \b
    Examples:
      quirebox stash damage K-12 3x4cm --corner top-right
      quirebox stash damage S-3 2x2cm --left 10cm --top 0 --why "a drop of glue"
    """
    from inventory.documents.text.condition import damage_words
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import book_damage, read_damaged_area
    from inventory.stock.lookup import find_stock

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            unit = get_shop(session).unit
            area = read_damaged_area(session, label, size, corner=corner, left=left, top=top)
            pile = find_stock(session, label)
        stock = with_plans_again(
            context,
            shop_file,
            lambda session: book_damage(session, label, area, why, reserved_too=True),
            replan,
        )
    say(f"{stock.label}: {damage_words(area, unit)}")
    if stock.label != pile.label:
        say(f"Write {stock.label} on it: it no longer belongs to {pile.label}")


@app.command("margin")
def margin(
    context: typer.Context,
    label: LabelArgument,
    width: Annotated[
        str,
        typer.Argument(
            metavar="MARGIN",
            help="How much along its edges can't be used: 5mm, or left=5mm; top=1cm; 0 for none.",
        ),
    ],
    quantity: Annotated[
        int | None,
        typer.Option("--quantity", min=1, help="How many of them.", show_default="all"),
    ] = None,
    why: WhyOption = "",
    replan: ReplanFlag = None,
) -> None:
    """Change the margins of sheets or offcuts: how much along the edges can't be used.

    What gets new margins also gets a new label. 'quirebox stash undo' undoes it.

    \b
    Examples:
      quirebox stash margin S-3 5mm --why "the mill's edge is rough"
      quirebox stash margin K-12 "left=1cm; top=5mm"
    """
    from inventory.documents.text.condition import condition_words
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import change_margins, margins_of
    from inventory.stock.ledger import on_hand
    from inventory.stock.lookup import find_stock
    from nester.core.piece import Grain

    with shop_file_of(context) as shop_file:
        stock = with_plans_again(
            context,
            shop_file,
            lambda session: change_margins(
                session, label, margins_of(session, width), quantity, why, reserved_too=True
            ),
            replan,
        )
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        before = find_stock(session, label)
        words = condition_words(stock.margins, (), Grain.ANY, get_shop(session).unit)
        others, number = on_hand(session, before), on_hand(session, stock)
    say(f"{stock.label}: {words or 'no margins'}")
    if others:
        say(f"Keep them apart from {before.label}, and write {stock.label} on them")
    else:
        it = "it" if number == 1 else "them"
        say(f"Write {stock.label} on {it} in place of {before.label}")


@app.command("put")
def put(
    context: typer.Context,
    label: LabelArgument,
    place: Annotated[str, typer.Argument(help="The place, such as 'Shelf A / Drawer 2'.")],
    quantity: Annotated[
        int | None,
        typer.Option("--quantity", min=1, help="How many of them.", show_default="all"),
    ] = None,
) -> None:
    """Put sheets or offcuts in a place; a new place is added.

    Some of a pile of offcuts get a label of their own.

    \b
    Examples:
      quirebox stash put K-12 "Shelf A / Drawer 2"
      quirebox stash put S-3 "Workbench" --quantity 4
    """
    from inventory.stock.adjust import set_stock_place
    from inventory.stock.lookup import find_stock
    from inventory.stock.places import PlaceTree

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        pile = find_stock(session, label)
        stock = set_stock_place(session, label, place, quantity)
        where = PlaceTree(session).path(stock.place_id)
    say(f"{stock.label} is in '{where}' now" if where else f"{stock.label} has no place now")
    if stock.kind == "offcut" and stock.label != pile.label:
        say(f"Write {stock.label} on {'it' if quantity == 1 else 'them'} in place of {pile.label}")


@app.command("log")
def show_transactions(
    context: typer.Context,
    most: Annotated[
        int, typer.Option("--most", min=1, max=1000, help="Show up to this many entries.")
    ] = 20,
    as_json: JsonFlag = False,
) -> None:
    """List what was done last, newest first; 'quirebox stash undo' can undo an entry."""
    from inventory.views.stock.stash import transaction_list

    show_from_shop(context, as_json, lambda session: transaction_list(session, most))


@app.command("undo")
def undo(
    context: typer.Context,
    entry: Annotated[
        int | None,
        typer.Argument(help="Its number in 'quirebox stash log'.", show_default="the last entry"),
    ] = None,
    why: WhyOption = "",
) -> None:
    """Undo an entry of the log; the history keeps both the entry and that it was undone.

    \b
    Examples:
      quirebox stash undo
      quirebox stash undo 12 --why "the wrong paper"
    """
    from inventory.changes.undo import last_transaction, undo_transaction
    from inventory.database.tables.ledger import Transaction
    from inventory.documents.text.transactions import transaction_words

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        number = last_transaction(session).id if entry is None else entry
        undo_transaction(session, number, why)
        words = transaction_words(session.get_one(Transaction, number))
    say(f"Undone: {words}")


@app.command("find")
def find(
    context: typer.Context,
    colour: Annotated[
        str | None,
        typer.Option(
            "--colour",
            "--color",
            help="A part of a paper's colour or name; or a colour to look for similar ones, such"
            " as darkgreen or #1a2b3c.",
        ),
    ] = None,
    near: Annotated[
        float,
        typer.Option("--near", min=0, max=100, help="How far apart colours may be (CIEDE2000)."),
    ] = 10.0,
    finish: FinishOption = None,
    weight: Annotated[
        str | None, typer.Option("--weight", help="In g/m²: 300, or a range such as 250-320.")
    ] = None,
    at_least: AtLeastOption = None,
    place: InPlaceOption = None,
    kind: KindOption = None,
    days: Annotated[
        int | None,
        typer.Option(
            "--older-than",
            min=0,
            max=36_500,
            metavar="DAYS",
            help="Only what has been here for longer than this.",
        ),
    ] = None,
    most: MostOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Find paper by colour, finish, weight, size, place and age; the best match comes first.

    \b
    Examples:
      quirebox stash find --colour "#2f4f4f" --at-least 20x30cm
      quirebox stash find --weight 250-320 --older-than 365 --kind offcut
    """  # fmt: skip
    from datetime import UTC, datetime

    from inventory.views.stock.stash import find_list

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        found = find_list(
            session,
            datetime.now(UTC),
            _number_of_lines(most, as_json),
            colour=colour,
            near=near,
            finish=finish,
            weight=weight,
            at_least=at_least,
            place=place,
            kind=kind,
            older_than_days=days,
        )
    _show_page(*found, as_json, "--colour, --at-least or --place")


app.command("makes")(stash_makes.makes)
app.command("sheet")(stocktake.sheet)
app.command("enter")(stocktake.enter)
app.command("counted")(stocktake.counted_papers)


@app.command("history")
def show_history(context: typer.Context, label: LabelArgument, as_json: JsonFlag = False) -> None:
    """Show every change of a label: when, how many, why, for which batch.

    \b
    Examples:
      quirebox stash history S-3
      quirebox stash history 4-17-2
    """
    from inventory.views.stock.stash import history_list

    show_from_shop(context, as_json, lambda session: history_list(session, label))
