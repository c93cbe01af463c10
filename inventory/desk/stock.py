"""`quirebox sheet`, `offcut` and `stash`: paper at hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.desk.common import JsonFlag, counted, group, shop_file_of
from inventory.money import parse_money
from nester.refusal import Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from inventory.models import Shop
    from inventory.receiving import Line
    from inventory.stash import HistoryRow
    from nester.layouts import Margins
    from nester.measure import Unit
    from nester.paper import Size

sheets = group("Sheets: paper in the sizes it is bought in.")
offcuts = group("Offcuts: rectangles left over and kept, each with a label of its own.")
stash = group("The stash: all sheets and offcuts on hand.")

_PAGE = 100
"""Lines of a list on the terminal, unless more are asked for."""

PaperArgument = Annotated[str, typer.Argument(help="The name of a paper in the book.")]
SizeArgument = Annotated[
    str, typer.Argument(help="Width × height: 50x70cm, 12 x 12 in, A4, or in the shop's unit.")
]
PriceOption = Annotated[str | None, typer.Option("--price", help="Of one, in the shop's currency.")]
PlaceOption = Annotated[str | None, typer.Option("--place", help="Where it lies.")]
NoteOption = Annotated[str, typer.Option("--note", help="A remark.")]
LabelArgument = Annotated[
    str, typer.Argument(help="The label, such as S-3 or K-12; or a mark, such as 4-17-2.")
]
MarginOption = Annotated[
    str,
    typer.Option(
        "--margin",
        help="How much along its edges can't be used: 5mm, or left=5mm; top=1cm.",
        show_default="none",
    ),
]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, for the history.")]


def _size(session: Session, text: str) -> Size:
    from inventory.shop import the_shop
    from nester.paper import parse_size

    return parse_size(text, the_shop(session).unit)


def _margins(session: Session, text: str) -> Margins:
    from inventory.condition import read_margins
    from inventory.shop import the_shop

    return read_margins(text, the_shop(session).unit)


def _price(text: str | None) -> Decimal | None:
    return None if text is None else parse_money(text, "the price")


SupplierOption = Annotated[str, typer.Option("--supplier", help="Who brought them.")]
NoteNumberOption = Annotated[
    str, typer.Option("--note-number", help="The number of the delivery note.")
]
DayOption = Annotated[
    str | None,
    typer.Option("--date", help="The day they came, as 2027-03-14.", show_default="today"),
]
AgainFlag = Annotated[
    bool, typer.Option("--again", help="More came under a delivery note that is booked already.")
]
YesFlag = Annotated[bool, typer.Option("--yes", help="Don't ask; for scripts.")]


def _when(text: str | None) -> datetime | None:
    from datetime import date

    from inventory.lists import read_date
    from inventory.receiving import when_it_came

    return None if text is None else when_it_came(read_date(text), date.today())


@sheets.command("add")
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
        str | None, typer.Option("--pack-price", help="Of one pack, in place of --price.")
    ] = None,
    place: PlaceOption = None,
    lot: Annotated[
        str, typer.Option("--lot", help="What its maker printed on the pack to tell it apart.")
    ] = "",
    margin: MarginOption = "",
    supplier: SupplierOption = "",
    note_number: NoteNumberOption = "",
    day: DayOption = None,
    again: AgainFlag = False,
    note: NoteOption = "",
) -> None:
    """Put sheets into the stash, by the piece or by the pack.

    \b
    Examples:
      quirebox sheet add "Coal card" 56x71cm --quantity 12 --price 1.80 \\
        --place "Shelf A / Drawer 2"
      quirebox sheet add "Coal card" A4 --packs 2 --pack 25 --pack-price 9.50 \\
        --supplier "Paper mill" --note-number 4711 --lot B7
    """
    from inventory.receiving import price_each
    from inventory.stash import add_sheets

    number = _number(quantity, packs, pack)
    each = _price(price)
    if pack_price is not None:
        if pack is None or price is not None:
            raise Refusal("--pack-price needs --pack, and no --price beside it")
        each = price_each(parse_money(pack_price, "the pack's price"), pack)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_sheets(
            session,
            paper,
            _size(session, size),
            number,
            price=each,
            place=place,
            note=note,
            lot=lot,
            margins=_margins(session, margin),
            supplier=supplier,
            number=note_number,
            again=again,
            at=_when(day),
        )
    typer.echo(f"{counted(number, 'sheet')} added to {stock.label}")


def _number(quantity: int | None, packs: int | None, pack: int | None) -> int:
    if pack is None and packs is None:
        return quantity or 1
    if quantity is not None or pack is None:
        raise Refusal("give --quantity alone, or --packs and --pack")
    return (packs or 1) * pack


@sheets.command("import")
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
    """Show the sheets of a list, then put them into the stash; if a line is wrong, none is.

    \b
    Examples:
      quirebox sheet import sheets.csv
      quirebox sheet import delivery.xlsx --supplier "Paper mill" \\
        --note-number 4711 --yes
    """
    from inventory.imports import read_sheets
    from inventory.receiving import receive
    from inventory.shop import the_shop

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = the_shop(session)
            lines = read_sheets(session, file, shop.unit)
        if not yes:
            _show_lines(lines, shop)
            _ask("Put them into the stash?")
        with shop_file.begin() as session:
            receive(
                session, lines, supplier=supplier, number=note_number, again=again,
                at=_when(day),
            )  # fmt: skip
    typer.echo(f"{counted(sum(line.quantity for line in lines), 'sheet')} added")


_SHOWN = 20


def _show_lines(lines: Sequence[Line], shop: Shop) -> None:
    """Show what a list would bring, the first lines of it and the sum."""
    from decimal import Decimal

    from rich.text import Text

    from inventory.desk.tell import console
    from inventory.documents.tables import table
    from inventory.money import format_money
    from nester.measure import format_size

    right = frozenset({"Number", "Each"})
    shown = table("To be added", "Paper", "Size", "Number", "Each", "Lot", "Place", right=right)
    for line in lines[:_SHOWN]:
        shown.add_row(
            Text(line.paper),
            format_size(line.size[0], line.size[1], shop.unit),
            str(line.quantity),
            "" if line.price is None else format_money(line.price, shop.currency),
            Text(line.lot),
            Text(line.place or ""),
        )
    console().print(shown)
    if len(lines) > _SHOWN:
        typer.echo(f"… and {counted(len(lines) - _SHOWN, 'more line')}")
    paid = sum((line.quantity * (line.price or Decimal(0)) for line in lines), Decimal(0))
    number = counted(sum(line.quantity for line in lines), "sheet")
    typer.echo(f"Together {number} for {format_money(paid, shop.currency)}")


def _ask(question: str) -> None:
    """Go on if the maker says so; a program that can't be asked must say --yes."""
    import sys

    if not sys.stdin.isatty():
        raise Refusal("nobody is there to be asked; look at the list and add --yes")
    if not typer.confirm(question):
        raise Refusal("nothing was stored")


@offcuts.command("add")
def add_one_offcut(
    context: typer.Context,
    paper: PaperArgument,
    size: SizeArgument,
    price: PriceOption = None,
    place: PlaceOption = None,
    margin: MarginOption = "",
    grain: Annotated[
        str,
        typer.Option("--grain", help="Along its width or its height, if you know it."),
    ] = "unknown",
    note: NoteOption = "",
) -> None:
    """Put an offcut into the stash; it gets a label to write on it.

    \b
    Examples:
      quirebox offcut add "Coal card" 23x56cm --place "Drawer 1"
      quirebox offcut add "Coal card" 23x56cm --grain height --margin left=1cm
    """
    from inventory.models import Fibres
    from inventory.names import choice
    from inventory.stash import add_offcut

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = add_offcut(
            session,
            paper,
            _size(session, size),
            price=_price(price),
            place=place,
            note=note,
            margins=_margins(session, margin),
            grain=choice(Fibres, grain, "the grain"),
        )
    typer.echo(f"Write {stock.label} on it")


@offcuts.command("grain")
def offcut_grain(
    context: typer.Context,
    label: LabelArgument,
    along: Annotated[
        str, typer.Argument(help="width or height, as its size is entered; or unknown.")
    ],
    why: WhyOption = "",
) -> None:
    """Say along which side of an offcut its fibres lie; 'quirebox stash undo' takes it back.

    \b
    Example:
      quirebox offcut grain K-12 width --why "tore a strip"
    """
    from inventory.condition import tell_grain

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = tell_grain(session, label, along, why)
    typer.echo(f"The grain of {stock.label}: {along.strip().casefold()}")


@offcuts.command("import")
def import_offcut_list(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV or .xlsx with columns paper, size; optional quantity, price, place, note,"
            " lot, margin, grain (unknown, width or height).",
        ),
    ],
    yes: YesFlag = False,
) -> None:
    """Show the offcuts of a list, then put them into the stash; if a line is wrong, none is.

    \b
    Example:
      quirebox offcut import offcuts.csv --yes
    """
    from inventory.imports import read_offcuts
    from inventory.ledger import begin_deed
    from inventory.models import Reason
    from inventory.receiving import keep_offcuts
    from inventory.shop import the_shop

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = the_shop(session)
            lines = read_offcuts(session, file, shop.unit)
        if not yes:
            _show_lines(lines, shop)
            _ask("Put them into the stash?")
        with shop_file.begin() as session:
            keep_offcuts(session, begin_deed(session, Reason.KEPT), lines)
    count = sum(line.quantity for line in lines)
    typer.echo(
        f"{counted(count, 'offcut')} added; 'quirebox stash list --kind offcut' shows the labels"
    )


@sheets.command("deliveries")
def deliveries(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List what suppliers brought, delivery note by delivery note, the newest first."""
    from inventory.desk.tell import console, print_json
    from inventory.money import format_money
    from inventory.receiving import list_deliveries
    from inventory.shop import the_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        currency = the_shop(session).currency
        rows = list_deliveries(session)
    if as_json:
        print_json(
            [
                {
                    "supplier": row.supplier,
                    "note_number": row.number,
                    "first": row.first.isoformat(timespec="seconds"),
                    "last": row.last.isoformat(timespec="seconds"),
                    "sheets": row.sheets,
                    "paid": str(row.paid),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.tables import table

    right = frozenset({"Sheets", "Paid"})
    shown = table("Deliveries", "Last", "Supplier", "Note", "Sheets", "Paid", right=right)
    for row in rows:
        shown.add_row(
            row.last.astimezone().date().isoformat(),
            Text(row.supplier),
            Text(row.number),
            str(row.sheets),
            format_money(row.paid, currency),
        )
    console().print(shown if rows else "No deliveries with a supplier's name yet.")


@stash.command("list")
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
    most: Annotated[
        int | None,
        typer.Option(
            "--most",
            min=1,
            max=1_000_000,
            help="So many lines at most.",
            show_default=f"{_PAGE}, all with --json",
        ),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """List the stash, or search it by colour, finish, size and place.

    \b
    Examples:
      quirebox stash list --colour black --at-least 20x30cm
      quirebox stash list --kind offcut --finish linen
    """
    from inventory.desk.tell import console, print_json
    from inventory.fit import margins_as_json, rect_as_json
    from inventory.money import format_money
    from inventory.reservations import reserved
    from inventory.shop import the_shop
    from inventory.stash import stash_page
    from nester.measure import format_size, to_mm_number
    from nester.pieces import Grain

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = the_shop(session)
        rows, number = stash_page(
            session,
            most or (1_000_000_000 if as_json else _PAGE),
            paper=paper,
            colour=colour,
            finish=finish,
            kind=kind,
            at_least=None if at_least is None else _size(session, at_least),
            place=place,
            include_empty=empty,
        )
        taken = reserved(session)
    if as_json:
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
                    "bruises": [rect_as_json(rect) for rect in row.bruises],
                    "grain": None if row.grain is Grain.ANY else str(row.grain),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.condition_text import condition_words
    from inventory.documents.tables import table

    numbers = frozenset({"Number", "Reserved", "Each"})
    remarks = {
        row.label: condition_words(
            row.margins,
            row.bruises,
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
    if number > len(rows):
        typer.echo(
            f"… and {number - len(rows):,} more; --most {number} shows them all,"
            " --paper, --place or --at-least fewer"
        )


@stash.command("count")
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
    from inventory.stash import count_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        movement = count_stock(session, label, quantity, why)
    typer.echo(f"{movement.change:+} booked" if movement else "As in the book; nothing to do")


@stash.command("spoil")
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
    from inventory.stash import spoil

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        spoil(session, label, quantity, why)
    typer.echo(f"{quantity} of {label} booked as spoiled")


@stash.command("bruise")
def bruise_some(
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
    from inventory.condition import bruise, bruise_in_corner, read_distance
    from inventory.documents.condition_text import bruise_words
    from inventory.labels import find_stock
    from inventory.shop import the_shop
    from nester.layouts import Rect

    if (corner is None) == (left is None or top is None):
        raise Refusal("say where the bruise is: --corner, or both --left and --top")
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = the_shop(session).unit
        wide, high = _size(session, size)
        if corner is not None:
            at = bruise_in_corner(session, label, (wide, high), corner)
        else:
            across = read_distance(left or "", unit, "the distance from the left edge")
            down = read_distance(top or "", unit, "the distance from the top edge")
            at = Rect(across, down, wide, high)
        pile = find_stock(session, label)
        stock = bruise(session, label, at, why)
    typer.echo(f"{stock.label}: {bruise_words(at, unit)}")
    if stock is not pile:
        typer.echo(f"Write {stock.label} on it: it no longer counts to {pile.label}")


@stash.command("put")
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
    from inventory.places import Places
    from inventory.stash import put_stock

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        stock = put_stock(session, label, place, quantity)
        where = Places(session).path(stock.place_id)
    typer.echo(f"{stock.label} lies in '{where}'" if where else f"{stock.label} has no place now")


@stash.command("deeds")
def deeds(
    context: typer.Context,
    most: Annotated[int, typer.Option("--most", min=1, max=1000, help="How many.")] = 20,
    as_json: JsonFlag = False,
) -> None:
    """List what was done last, the newest first: what 'quirebox stash undo' can take back."""
    from inventory.cutting import list_deeds
    from inventory.desk.tell import console, print_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = list_deeds(session, most=most)
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

    from inventory.documents.tables import table

    right = frozenset({"Deed", "Batch", "Layout"})
    shown = table("Done last", "Deed", "When", "What", "Batch", "Layout", "Note", right=right)
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


@stash.command("undo")
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
    from inventory.cutting import last_deed, undo_deed
    from inventory.desk.tell import deed_words
    from inventory.models import Deed

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        number = last_deed(session).id if deed is None else deed
        undo_deed(session, number, why)
        said = deed_words(session.get_one(Deed, number))
    typer.echo(f"Taken back: {said}")


@stash.command("find")
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
        int | None, typer.Option("--older-than", min=0, metavar="DAYS", help="Lies there longer.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Find paper by colour, finish, weight, size, place and age; what suits best comes first.

    \b
    Examples:
      quirebox stash find --colour "#2f4f4f" --at-least 20x30cm
      quirebox stash find --weight 250-320 --older-than 365 --kind offcut
    """
    from datetime import UTC, datetime, timedelta

    from inventory.desk.tell import console, print_json
    from inventory.finding import find_stash
    from inventory.shop import the_shop
    from nester.measure import format_size, to_mm_number

    now = datetime.now(UTC)
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = the_shop(session).unit
        found = find_stash(
            session,
            colour=colour,
            near=near,
            finish=finish,
            weight=_weight(weight),
            at_least=None if at_least is None else _size(session, at_least),
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
                    "since": one.since.isoformat(timespec="seconds"),
                }
                for one in found
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.tables import table

    right = frozenset({"Number", "Off", "Days"})
    shown = table("Found", "Label", "Paper", "Off", "Size", "Number", "Days", "Place", right=right)
    for one in found:
        shown.add_row(
            one.row.label,
            Text(one.row.paper),
            "" if one.distance is None else f"{one.distance:.1f}",
            format_size(one.row.width, one.row.height, unit),
            str(one.row.quantity),
            str((now - one.since).days),
            Text(one.row.place or ""),
        )
    console().print(shown if found else "Nothing in the stash is like that.")


def _weight(text: str | None) -> tuple[int, int] | None:
    from inventory.lists import check_count

    if text is None:
        return None
    least, dash, most = text.partition("-")
    return check_count(least), check_count(most if dash else least)


@offcuts.command("for")
def offcuts_for_piece(
    context: typer.Context,
    size: SizeArgument,
    paper: Annotated[
        list[str] | None, typer.Option("--paper", help="Only of this paper; again for several.")
    ] = None,
    upright: Annotated[
        bool, typer.Option("--upright", help="It may not be turned on a pattern with a top.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Show which offcuts could make a piece and are not reserved, the smallest first.

    \b
    Example:
      quirebox offcut for 12x18cm --paper "Coal card"
    """
    from inventory.desk.tell import console, print_json
    from inventory.finding import offcuts_for
    from inventory.shop import the_shop
    from nester.measure import format_size, to_mm_number
    from nester.pieces import Turn

    turn = Turn.NONE if upright else Turn.ANY
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = the_shop(session).unit
        found = offcuts_for(session, _size(session, size), paper or (), turn=turn)
    if as_json:
        print_json(
            [
                {
                    "label": one.label,
                    "paper": one.paper,
                    "width": to_mm_number(one.width),
                    "height": to_mm_number(one.height),
                    "place": one.place,
                    "turned": one.turned,
                }
                for one in found
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.tables import table

    shown = table("Offcuts that hold it", "Label", "Paper", "Size", "Laid", "Place")
    for one in found:
        shown.add_row(
            one.label,
            Text(one.paper),
            format_size(one.width, one.height, unit),
            "turned" if one.turned else "",
            Text(one.place or ""),
        )
    console().print(shown if found else "No offcut that is free holds it.")


@stash.command("sheet")
def count_sheet(
    context: typer.Context,
    place: Annotated[str | None, typer.Option("--place", help="Only what lies there.")] = None,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FILE.csv", help="Write a CSV to fill in, not a table."),
    ] = None,
) -> None:
    """Print a sheet to count by: what should lie in each place, with room for what is found.

    \b
    Examples:
      quirebox stash sheet --place "Shelf A"
      quirebox stash sheet --into count.csv
    """
    from inventory.counting import COUNT_COLUMNS, last_counts, to_count
    from inventory.desk.tell import console
    from inventory.documents.files import csv_text, write_file
    from inventory.shop import the_shop
    from nester.measure import format_size

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = the_shop(session).unit
        rows = to_count(session, place)
        never = [one for one in last_counts(session) if one.last is None]
    cells = [
        (row.place or "", row.label, row.paper, format_size(row.width, row.height, unit),
         str(row.quantity), "")
        for row in rows
    ]  # fmt: skip
    if into is not None:
        write_file(into, csv_text(COUNT_COLUMNS, cells))
        typer.echo(f"{counted(len(cells), 'line')} written into {into}")
    else:
        from rich.text import Text

        from inventory.documents.tables import table

        right = frozenset({"Book"})
        shown = table("To count", "Place", "Label", "Paper", "Size", "Book", "Found", right=right)
        for cell in cells:
            shown.add_row(*map(Text, cell[:-1]), "____")
        console().print(shown if cells else "Nothing lies there.")
    if never:
        names = ", ".join(one.paper for one in never[:8]) + (" …" if len(never) > 8 else "")
        typer.echo(f"Never counted: {names}")


@stash.command("enter")
def enter(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="CSV or .xlsx with columns label, found; optional book."
        ),
    ],
    why: WhyOption = "",
    yes: YesFlag = False,
) -> None:
    """Enter a filled-in sheet: show what differs, then book it with the reason; or nothing.

    \b
    Example:
      quirebox stash enter count.csv --why "Sunday's stocktake"
    """
    from inventory.counting import compare_counts, enter_counts, read_counts
    from inventory.desk.tell import console
    from inventory.documents.tables import table

    found = read_counts(file)
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            differences = compare_counts(session, found)
        if differences:
            from rich.text import Text

            right = frozenset({"Book", "Found"})
            shown = table("Differs", "Label", "Paper", "Book", "Found", right=right)
            for one in differences:
                shown.add_row(one.label, Text(one.paper), str(one.booked), str(one.found))
            console().print(shown)
            if not yes:
                _ask("Book these differences?")
        with shop_file.begin() as session:
            differences = enter_counts(session, found, why)
    typer.echo(
        f"{counted(len(found), 'label')} counted, {counted(len(differences), 'difference')} booked"
    )


@stash.command("counted")
def counted_papers(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Say when each paper was counted last; those never counted come first."""
    from inventory.counting import last_counts
    from inventory.desk.tell import console, print_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = last_counts(session)
    if as_json:
        print_json(
            [
                {
                    "paper": row.paper,
                    "last": None if row.last is None else row.last.isoformat(timespec="seconds"),
                    "labels": row.labels,
                    "never": row.never,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.tables import table

    right = frozenset({"Labels", "Never counted"})
    shown = table("Counted", "Paper", "Last", "Labels", "Never counted", right=right)
    for row in rows:
        last = "never" if row.last is None else row.last.astimezone().date().isoformat()
        shown.add_row(Text(row.paper), last, str(row.labels), str(row.never or ""))
    console().print(shown if rows else "Nothing is in the stash.")


@stash.command("history")
def show_history(context: typer.Context, label: LabelArgument, as_json: JsonFlag = False) -> None:
    """Show every movement of a label: when, how many, why, for which batch.

    \b
    Example:
      quirebox stash history S-3
      quirebox stash history 4-17-2
    """
    from inventory.shop import the_shop
    from inventory.stash import history

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = the_shop(session).unit
        rows = history(session, label)
    tell_history(rows[0].label if rows else label, rows, unit, as_json)


def tell_history(title: str, rows: list[HistoryRow], unit: Unit, as_json: bool) -> None:
    """Show movements and what was found out, of one label or of a whole paper."""
    from inventory.desk.tell import console, print_json
    from inventory.fit import rect_as_json

    if as_json:
        print_json(
            [
                {
                    "label": row.label,
                    "at": row.at.isoformat(timespec="seconds"),
                    "change": row.change,
                    "after": row.after,
                    "reason": str(row.reason),
                    "batch": row.batch,
                    "deed": row.deed,
                    "note": row.note,
                    "bruise": None if row.bruise is None else rect_as_json(row.bruise),
                    "grain": None if row.grain is None else str(row.grain),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.condition_text import bruise_words
    from inventory.documents.tables import table

    right = frozenset({"Change", "After", "Batch"})
    shown = table(
        f"History of {title}", "When", "Label", "Change", "After", "Reason", "Batch", "Note",
        right=right,
    )  # fmt: skip
    for row in rows:
        found = None if row.bruise is None else bruise_words(row.bruise, unit)
        told = [found, row.grain and f"along its {row.grain}", row.note]
        shown.add_row(
            row.at.astimezone().strftime("%Y-%m-%d %H:%M"),
            row.label,
            f"{row.change:+}" if row.change else "",
            str(row.after),
            row.reason,
            str(row.batch or ""),
            Text("; ".join(filter(None, told))),
        )
    console().print(shown)
