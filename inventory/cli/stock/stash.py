"""`quirebox stash`: all sheets and offcuts on hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of
from inventory.cli.shared.stock_options import LabelArgument, WhyOption, margins_of, size_of
from inventory.cli.stock import stash_makes, stocktake
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from inventory.stock.listing import HistoryRow
    from nester.core.lengths import Unit

app = group("The stash: all sheets and offcuts on hand.")

_PAGE_SIZE = 50
"""Lines of a list on the terminal, unless more are asked for."""

MostOption = Annotated[
    int | None,
    typer.Option(
        "--most",
        min=1,
        max=1_000_000,
        help="So many lines at most.",
        show_default=f"{_PAGE_SIZE}, all with --json",
    ),
]


def _number_of_lines(most: int | None, as_json: bool) -> int | None:
    return None if most is None and as_json else most or _PAGE_SIZE


def _show_more_hint(number: int, shown: int, fewer: str) -> None:
    if number > shown:
        typer.echo(f"… and {number - shown:,} more; --most {number} shows them all, {fewer} fewer")


@app.command("list")
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
    most: MostOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List the stash, or search it by colour, finish, size and place.

    \b
    Examples:
      quirebox stash list --colour black --at-least 20x30cm
      quirebox stash list --kind offcut --finish linen
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.money import format_money
    from inventory.shop.settings import get_shop
    from inventory.stock.listing import stash_page
    from inventory.stock.reservations import reserved_quantities
    from nester.core.lengths import format_size, to_mm_number
    from nester.core.piece import Grain

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = get_shop(session)
        rows, number = stash_page(
            session,
            _number_of_lines(most, as_json),
            paper=paper,
            colour=colour,
            finish=finish,
            kind=kind,
            at_least=None if at_least is None else size_of(session, at_least),
            place=place,
            include_empty=empty,
        )
        taken = reserved_quantities(session)
    if as_json:
        from inventory.views.cutting import margins_as_json, rect_as_json

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
                    "margins": margins_as_json(row.margins),
                    "bruises": [rect_as_json(rect) for rect in row.damaged_areas],
                    "grain": None if row.grain is Grain.ANY else str(row.grain),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from inventory.documents.text.condition import condition_words

    numbers = frozenset({"Number", "Reserved", "Each"})
    remarks = {
        row.label: condition_words(
            row.margins,
            row.damaged_areas,
            row.grain if row.kind == "offcut" else Grain.ANY,
            shop.unit,
            briefly=True,
        )
        for row in rows
    }
    titles = ["Label", "Paper", "Size", "Number", "Reserved", "Each", "Place"]
    titles += ["Remarks"] if any(remarks.values()) else []
    shown = table("Stash", *titles, right=numbers)
    for row in rows:
        shown.add_row(
            *(
                row.label,
                Text(row.paper),
                format_size(row.width, row.height, shop.unit),
                str(row.quantity),
                str(taken[row.label] or ""),
                "" if row.price is None else format_money(row.price, shop.currency),
                Text(row.place or ""),
                remarks[row.label],
            )[: len(titles)]
        )
    console().print(shown if rows else "Nothing in the stash is like that.")
    _show_more_hint(number, len(rows), "--paper, --place or --at-least")


@app.command("count")
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
    from inventory.stock.adjust import count_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        movement = count_stock(session, label, quantity, why)
    typer.echo(f"{movement.change:+} booked" if movement else "As in the book; nothing to do")


@app.command("spoil")
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
    from inventory.stock.adjust import spoil_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        spoil_stock(session, label, quantity, why)
    typer.echo(f"{quantity} of {label} booked as spoiled")


@app.command("bruise")
def mark_damaged(
    context: typer.Context,
    label: LabelArgument,
    size: Annotated[str, typer.Argument(help="Width × height of the part that can't be used.")],
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
) -> None:
    """Book a bruise: nothing is cut from that part of a sheet or an offcut any more.

    A sheet of a pile leaves it and becomes a piece of full size with its own label. Left and top
    are those of the paper as its size is entered, width first.

    \b
    Examples:
      quirebox stash bruise K-12 3x4cm --corner top-right
      quirebox stash bruise S-3 2x2cm --left 10cm --top 0 --why "a drop of glue"
    """
    from inventory.documents.text.condition import damage_words
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import book_damage, damage_in_corner, read_distance
    from inventory.stock.lookup import find_stock
    from nester.core.problem import Rect

    if (corner is None) == (left is None or top is None):
        raise Refusal("say where the bruise is: --corner, or both --left and --top")
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        wide, high = size_of(session, size)
        if corner is not None:
            at = damage_in_corner(session, label, (wide, high), corner)
        else:
            across = read_distance(left or "", unit, "the distance from the left edge")
            down = read_distance(top or "", unit, "the distance from the top edge")
            at = Rect(across, down, wide, high)
        pile = find_stock(session, label)
        stock = book_damage(session, label, at, why)
    typer.echo(f"{stock.label}: {damage_words(at, unit)}")
    if stock is not pile:
        typer.echo(f"Write {stock.label} on it: it no longer counts to {pile.label}")


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
        typer.Option("--quantity", min=1, help="How many of the sheets.", show_default="all"),
    ] = None,
    why: WhyOption = "",
) -> None:
    """Change the margins of sheets or of an offcut: how much along the edges can't be used.

    Sheets with other margins have another label, and so does the offcut; 'quirebox stash undo'
    takes it back.

    \b
    Examples:
      quirebox stash margin S-3 5mm --why "the mill's edge is rough"
      quirebox stash margin K-12 "left=1cm; top=5mm"
    """
    from inventory.documents.text.condition import condition_words
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import change_margins
    from inventory.stock.ledger import on_hand
    from inventory.stock.lookup import find_stock
    from nester.core.piece import Grain

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        before = find_stock(session, label)
        stock = change_margins(session, label, margins_of(session, width), quantity, why)
        said = condition_words(stock.margins, (), Grain.ANY, get_shop(session).unit)
        others = on_hand(session, before)
    typer.echo(f"{stock.label}: {said or 'no margins'}")
    if others:
        typer.echo(f"Keep them apart from {before.label}, and write {stock.label} on them")
    else:
        it = "it" if stock.kind == "offcut" else "them"
        typer.echo(f"Write {stock.label} on {it} in place of {before.label}")


@app.command("put")
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
    from inventory.stock.adjust import set_stock_place
    from inventory.stock.places import PlaceTree

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = set_stock_place(session, label, place, quantity)
        where = PlaceTree(session).path(stock.place_id)
    typer.echo(f"{stock.label} lies in '{where}'" if where else f"{stock.label} has no place now")


@app.command("deeds")
def show_transactions(
    context: typer.Context,
    most: Annotated[int, typer.Option("--most", min=1, max=1000, help="How many.")] = 20,
    as_json: JsonFlag = False,
) -> None:
    """List what was done last, the newest first: what 'quirebox stash undo' can take back."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.production.undo import list_transactions

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = list_transactions(session, most=most)
    if as_json:
        print_json(
            [
                {
                    "deed": row.id,
                    "at": row.at.isoformat(timespec="seconds"),
                    "reason": str(row.reason),
                    "batch": row.batch_id,
                    "layout": row.layout,
                    "copies": row.copies,
                    "note": row.note,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Entry", "Batch", "Layout"})
    shown = table("Done last", "Entry", "When", "What", "Batch", "Layout", "Note", right=right)
    for row in rows:
        shown.add_row(
            str(row.id),
            row.at.astimezone().strftime("%Y-%m-%d %H:%M"),
            row.reason,
            str(row.batch_id or ""),
            str(row.layout or ""),
            Text(row.note),
        )
    console().print(shown if rows else "Nothing was done yet.")


@app.command("undo")
def undo(
    context: typer.Context,
    deed: Annotated[
        int | None,
        typer.Argument(help="Its number in 'quirebox stash deeds'.", show_default="the last one"),
    ] = None,
    why: WhyOption = "",
) -> None:
    """Take back a deed by its counter-movements; what was booked stays in the history.

    \b
    Examples:
      quirebox stash undo
      quirebox stash undo 12 --why "the wrong paper"
    """
    from inventory.cli.shared.terminal import transaction_words
    from inventory.database.tables.ledger import Transaction
    from inventory.production.undo import last_transaction, undo_transaction

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        number = last_transaction(session).id if deed is None else deed
        undo_transaction(session, number, why)
        said = transaction_words(session.get_one(Transaction, number))
    typer.echo(f"Taken back: {said}")


@app.command("find")
def find(
    context: typer.Context,
    colour: Annotated[
        str | None,
        typer.Option(
            "--colour",
            help="A part of a paper's colour or name; or a colour to come near to, as darkgreen or"
            " #1a2b3c.",
        ),
    ] = None,
    near: Annotated[
        float,
        typer.Option("--near", min=0, max=100, help="How far colours may be apart (CIEDE2000)."),
    ] = 10.0,
    finish: Annotated[str | None, typer.Option("--finish", help="A part of the finish.")] = None,
    weight: Annotated[
        str | None, typer.Option("--weight", help="In g/m²: 300, or from-to as 250-320.")
    ] = None,
    at_least: Annotated[
        str | None, typer.Option("--at-least", help="A size it must hold, either way round.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="Only what lies there.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="sheet or offcut.")] = None,
    days: Annotated[
        int | None,
        typer.Option("--older-than", min=0, max=36_500, metavar="DAYS", help="Lies there longer."),
    ] = None,
    most: MostOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Find paper by colour, finish, weight, size, place and age; what suits best comes first.

    \b
    Examples:
      quirebox stash find --colour "#2f4f4f" --at-least 20x30cm
      quirebox stash find --weight 250-320 --older-than 365 --kind offcut
    """
    from datetime import UTC, datetime, timedelta

    from inventory.cli.shared.terminal import console, print_json
    from inventory.shop.settings import get_shop
    from inventory.stock.search import find_page
    from nester.core.lengths import format_size, to_mm_number

    now = datetime.now(UTC)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        found, number = find_page(
            session,
            _number_of_lines(most, as_json),
            colour=colour,
            near=near,
            finish=finish,
            weight=_weight(weight),
            at_least=None if at_least is None else size_of(session, at_least),
            place=place,
            kind=kind,
            older_than=None if days is None else timedelta(days),
            now=now,
        )
    if as_json:
        print_json(
            [
                {
                    "label": one.row.label,
                    "kind": str(one.row.kind),
                    "paper": one.row.paper,
                    "colour": one.row.colour,
                    "finish": one.row.finish,
                    "grammage": one.grammage,
                    "distance": None if one.distance is None else round(one.distance, 2),
                    "width": to_mm_number(one.row.width),
                    "height": to_mm_number(one.row.height),
                    "quantity": one.row.quantity,
                    "reserved": one.reserved,
                    "place": one.row.place,
                    "since": one.in_stock_since.isoformat(timespec="seconds"),
                }
                for one in found
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Number", "Off", "Days"})
    shown = table("Found", "Label", "Paper", "Off", "Size", "Number", "Days", "Place", right=right)
    for one in found:
        shown.add_row(
            one.row.label,
            Text(one.row.paper),
            "" if one.distance is None else f"{one.distance:.1f}",
            format_size(one.row.width, one.row.height, unit),
            str(one.row.quantity),
            str((now - one.in_stock_since).days),
            Text(one.row.place or ""),
        )
    console().print(shown if found else "Nothing in the stash is like that.")
    _show_more_hint(number, len(found), "--colour, --at-least or --place")


def _weight(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    from inventory.core.table_files import check_count

    least, dash, most = text.partition("-")
    return check_count(least), check_count(most if dash else least)


app.command("makes")(stash_makes.makes)
app.command("sheet")(stocktake.sheet)
app.command("enter")(stocktake.enter)
app.command("counted")(stocktake.counted_papers)


@app.command("history")
def show_history(context: typer.Context, label: LabelArgument, as_json: JsonFlag = False) -> None:
    """Show every movement of a label: when, how many, why, for which batch.

    \b
    Example:
      quirebox stash history S-3
      quirebox stash history 4-17-2
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.listing import stock_history

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = stock_history(session, label)
    show_movements(rows[0].label if rows else label, rows, unit, as_json)


def show_movements(title: str, rows: list[HistoryRow], unit: Unit, as_json: bool) -> None:
    """Show movements and what was found out, of one label or of a whole paper."""
    from inventory.cli.shared.terminal import console, print_json

    if as_json:
        from inventory.views.cutting import rect_as_json

        print_json(
            [
                {
                    "label": row.label,
                    "at": row.at.isoformat(timespec="seconds"),
                    "change": row.change,
                    "after": row.balance,
                    "reason": str(row.reason),
                    "batch": row.batch,
                    "deed": row.transaction,
                    "note": row.note,
                    "bruise": None if row.damaged_area is None else rect_as_json(row.damaged_area),
                    "grain": None if row.grain is None else str(row.grain),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from inventory.documents.text.condition import damage_words

    right = frozenset({"Change", "After", "Batch"})
    shown = table(
        f"History of {title}", "When", "Label", "Change", "After", "Reason", "Batch", "Note",
        right=right,
    )  # fmt: skip
    for row in rows:
        found = None if row.damaged_area is None else damage_words(row.damaged_area, unit)
        told = [found, row.grain and f"along its {row.grain}", row.note]
        shown.add_row(
            row.at.astimezone().strftime("%Y-%m-%d %H:%M"),
            row.label,
            f"{row.change:+}" if row.change else "",
            str(row.balance),
            row.reason,
            str(row.batch or ""),
            Text("; ".join(filter(None, told))),
        )
    console().print(shown)
