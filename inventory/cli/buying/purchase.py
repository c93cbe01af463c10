"""`quirebox buy purchase`: what was ordered from suppliers, and what came of it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    command_words,
    format_count,
    group,
    pairs,
    shop_file_of,
)
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from inventory.purchasing.purchases import PurchaseLineRequest, PurchaseRow, ReceivedPacks
    from nester.core.lengths import Unit

app = group("Purchases: what was ordered from whom, what came of it, what is on its way.")

NumberArgument = Annotated[int, typer.Argument(help="The purchase's number.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, for the history.")]


def _day(text: str | None) -> date | None:
    from inventory.core.table_files import read_date

    return None if text is None else read_date(text)


@app.command("add")
def add(
    context: typer.Context,
    supplier: Annotated[str, typer.Argument(help="The name of a supplier.")],
    lines: Annotated[
        list[str],
        typer.Option(
            "--line",
            metavar="TEXT",
            help="'PAPER; SIZE; PACKS', where it must be said also '; SHEETS IN A PACK; PRICE OF"
            " A PACK'; once for each paper and size.",
        ),
    ],
    day: Annotated[
        str | None,
        typer.Option("--date", help="The day it was ordered: 2027-03-14.", show_default="today"),
    ] = None,
    expected: Annotated[
        str | None,
        typer.Option(
            "--expected",
            help="The day it should be there: 2027-03-20.",
            show_default="by the days to a delivery",
        ),
    ] = None,
    number: Annotated[
        str, typer.Option("--number", help="Under which the supplier keeps it.")
    ] = "",
    shipping: Annotated[
        str | None,
        typer.Option(
            "--shipping", help="What its delivery should cost.", show_default="by its terms"
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="A remark.")] = "",
) -> None:
    """Book what was ordered from a supplier, at its prices; 'stash undo' takes it back.

    \b
    Examples:
      quirebox buy purchase add "Paper mill" --line "Coal card; 50x70cm; 2"
      quirebox buy purchase add "Paper mill" --number 4711 \\
        --line "Coal card; 50x70cm; 2; 25; 31.25" --line "Moss linen; A4; 1"
    """
    from inventory.core.money import format_money, parse_money
    from inventory.purchasing.purchases import add_purchase, purchase_row
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        purchase = add_purchase(
            session,
            supplier,
            [_read_line(text, unit) for text in lines],
            today=date.today(),
            day=_day(day),
            expected=_day(expected),
            number=number,
            shipping=None if shipping is None else parse_money(shipping, "the shipping"),
            note=note,
        )
        row = purchase_row(session, purchase)
        _show(row, unit)
        made, by = purchase.id, purchase.supplier
        if row.goods_value < by.least_order:
            least = format_money(by.least_order, by.currency)
            typer.echo(f"{by.name} sells no goods of less than {least} together")
    typer.echo(f"When it comes: {command_words(context, f'buy purchase receive {made}')}")


def _read_line(text: str, unit: Unit) -> PurchaseLineRequest:
    from inventory.core.money import parse_money
    from inventory.core.table_files import check_count
    from inventory.core.text import shorten
    from inventory.purchasing.purchases import PurchaseLineRequest
    from nester.core.sheet_sizes import parse_size

    parts = [part.strip() for part in text.split(";")]
    if not 3 <= len(parts) <= 5:
        raise Refusal(
            f"--line '{shorten(text)}' does not say paper, size and packs; write it like"
            " 'Coal card; 50x70cm; 2'"
        )
    try:
        return PurchaseLineRequest(
            parts[0],
            parse_size(parts[1], unit),
            check_count(parts[2]),
            check_count(parts[3]) if len(parts) > 3 else None,
            parse_money(parts[4], "the price") if len(parts) > 4 else None,
        )
    except Refusal as why:
        raise Refusal(f"--line '{shorten(text)}': {why}") from None


def _show(row: PurchaseRow, unit: Unit) -> None:
    from rich.text import Text

    from inventory.cli.shared.terminal import console
    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    its = row.purchase
    right = frozenset({"Line", "Packs", "Pack", "Price", "Came"})
    title = f"Purchase {its.id} from {its.supplier.name}: {row.status}"
    shown = table(title, "Line", "Paper", "Size", "Packs", "Pack", "Price", "Came", right=right)
    for one in row.lines:
        line = one.line
        shown.add_row(
            str(one.number),
            Text(line.paper.name),
            format_size(line.width, line.height, unit),
            str(line.packs),
            str(line.pack),
            format_money(line.amount, its.currency),
            str(one.received_packs),
        )
    console().print(shown)
    goods = format_money(row.goods_value, its.currency)
    shipping = format_money(its.shipping, its.currency)
    typer.echo(f"Goods {goods}, shipping {shipping}")
    if row.is_outstanding:
        late = row.days_late(date.today())
        overdue = f", {format_count(late, 'day')} overdue" if late else ""
        typer.echo(
            f"Ordered on {its.ordered.isoformat()}, expected {its.expected.isoformat()}" + overdue
        )


@app.command("list")
def list_(
    context: typer.Context,
    all_: Annotated[
        bool, typer.Option("--all", help="Also those of which nothing is to come any more.")
    ] = False,
    overdue: Annotated[
        bool, typer.Option("--overdue", help="Only those that should have been there.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """List purchases that are on their way, what is expected first first.

    \b
    Examples:
      quirebox buy purchase list
      quirebox buy purchase list --overdue
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.money import format_money
    from inventory.purchasing.purchases import list_purchases

    today = date.today()
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = list_purchases(session, also_done=all_ and not overdue)
        rows = [row for row in rows if row.days_late(today) or not overdue]
        if as_json:
            print_json([_as_json(row, today) for row in rows])
            return
        from rich.text import Text

        from inventory.documents.format.terminal_tables import table

        right = frozenset({"No.", "Goods"})
        shown = table(
            "Purchases", "No.", "Supplier", "Ordered", "Expected", "Goods", "State", "To come",
            right=right,
        )  # fmt: skip
        for column in (2, 3):
            shown.columns[column].no_wrap = True
        for row in rows:
            its, late = row.purchase, row.days_late(today)
            waits = [
                f"{format_count(one.outstanding_packs, 'pack')} of {one.line.paper.name}"
                for one in row.lines
                if one.outstanding_packs
            ]
            shown.add_row(
                str(its.id),
                Text(its.supplier.name),
                its.ordered.isoformat(),
                its.expected.isoformat(),
                format_money(row.goods_value, its.currency),
                f"{row.status}, {format_count(late, 'day')} overdue" if late else str(row.status),
                Text(", ".join(waits) if row.is_outstanding else ""),
            )
    nothing = "Nothing is overdue." if overdue else "Nothing is on its way."
    console().print(shown if rows else nothing)


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show a purchase: its lines, what came of each, what was billed.

    \b
    Example:
      quirebox buy purchase show 1
    """
    from inventory.cli.shared.terminal import print_json
    from inventory.purchasing.purchases import get_purchase, purchase_row
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        row = purchase_row(session, get_purchase(session, number))
        if as_json:
            print_json(_as_json(row, date.today()))
            return
        _show(row, unit)
        for one in row.differences:
            typer.echo(_difference_words(one, unit))


def _difference_words(one: Any, unit: Unit) -> str:
    from inventory.core.money import format_money
    from nester.core.lengths import format_size

    how = "more" if one.amount > 0 else "less"
    size = format_size(one.line.width, one.line.height, unit)
    amount = format_money(abs(one.amount), one.currency)
    return f"Billed {amount} {how} than ordered for {one.line.paper.name}, {size}"


def _as_json(row: PurchaseRow, today: date) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    its = row.purchase
    return {
        "purchase": its.id,
        "supplier": its.supplier.name,
        "number": its.number,
        "state": str(row.status),
        "ordered": its.ordered.isoformat(),
        "expected": its.expected.isoformat(),
        "days_late": row.days_late(today),
        "currency": its.currency,
        "goods": f"{row.goods_value:f}",
        "shipping": str(its.shipping),
        "lines": [
            {
                "line": one.number,
                "paper": one.line.paper.name,
                "width": to_mm_number(one.line.width),
                "height": to_mm_number(one.line.height),
                "pack": one.line.pack,
                "packs": one.line.packs,
                "price": str(one.line.amount),
                "came": one.received_packs,
                "billed": [{"packs": packs, "price": str(amount)} for packs, amount in one.billed],
            }
            for one in row.lines
        ],
    }


@app.command("receive")
def receive(
    context: typer.Context,
    number: NumberArgument,
    came: Annotated[
        list[str] | None,
        typer.Option(
            "--line",
            metavar="LINE=PACKS",
            help="How many packs of which of its lines came: 1=2.",
            show_default="all that has not come",
        ),
    ] = None,
    billed: Annotated[
        list[str] | None,
        typer.Option(
            "--billed",
            metavar="LINE=PRICE",
            help="What was billed for a pack, in the purchase's currency: 1=32.45.",
            show_default="as ordered",
        ),
    ] = None,
    lot: Annotated[
        list[str] | None,
        typer.Option(
            "--lot", metavar="LINE=TEXT", help="What its maker printed on the pack: 1=B7."
        ),
    ] = None,
    note_number: Annotated[
        str, typer.Option("--note-number", help="The number of the delivery note.")
    ] = "",
    place: Annotated[str | None, typer.Option("--place", help="Where it lies.")] = None,
    margin: Annotated[
        str | None,
        typer.Option(
            "--margin",
            help="How much along its edges can't be used: 5mm, or left=5mm; top=1cm.",
            show_default="as of such sheets the last time",
        ),
    ] = None,
    day: Annotated[
        str | None,
        typer.Option("--date", help="The day it came: 2027-03-14.", show_default="today"),
    ] = None,
    again: Annotated[
        bool,
        typer.Option("--again", help="More came under a delivery note that is booked already."),
    ] = False,
    note: Annotated[str, typer.Option("--note", help="A remark.")] = "",
) -> None:
    """Put what came of a purchase into the stash, all or in part; 'stash undo' takes it back.

    \b
    Examples:
      quirebox buy purchase receive 1 --note-number 4711 --place "Shelf A"
      quirebox buy purchase receive 1 --line 1=1 --billed 1=32.45 --lot 1=B7
    """
    from inventory.purchasing.purchases import get_purchase, purchase_row, receive_purchase
    from inventory.shop.settings import get_shop
    from inventory.stock.condition import read_margins

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        before = purchase_row(session, get_purchase(session, number))
        stocks, differences = receive_purchase(
            session,
            number,
            _read_receipts(before, came or [], billed or [], lot or []),
            note_number=note_number,
            place=place,
            margins=None if margin is None else read_margins(margin, unit),
            again=again,
            note=note,
            today=date.today(),
            day=_day(day),
        )
        labels = ", ".join(dict.fromkeys(stock.label for stock in stocks))
        rest = purchase_row(session, get_purchase(session, number)).outstanding_sheets
        said = [_difference_words(one, unit) for one in differences]
    typer.echo(f"{format_count(before.outstanding_sheets - rest, 'sheet')} added to {labels}")
    for line in said:
        typer.echo(line)
    typer.echo(f"{format_count(rest, 'sheet')} still to come" if rest else "All of it is there")


def _read_receipts(
    row: PurchaseRow, came: list[str], billed: list[str], lot: list[str]
) -> dict[int, ReceivedPacks] | None:
    """Return what came by line: what is named, else all that has not come yet."""
    from inventory.core.money import parse_money
    from inventory.core.table_files import check_count
    from inventory.purchasing.purchases import ReceivedPacks

    if not (came or billed or lot):
        return None
    packs: dict[int, int | None] = {
        _line_number(k): check_count(v) for k, v in pairs(came, "--line").items()
    } or {one.number: None for one in row.lines if one.outstanding_packs}
    prices = {
        _line_number(k): parse_money(v, "the price billed")
        for k, v in pairs(billed, "--billed").items()
    }
    lots = {_line_number(k): v for k, v in pairs(lot, "--lot").items()}
    stray = sorted((prices.keys() | lots.keys()) - packs.keys())
    if stray:
        raise Refusal(f"line {stray[0]} is not among those that came")
    return {
        number: ReceivedPacks(number_of, prices.get(number), lots.get(number, ""))
        for number, number_of in packs.items()
    }


def _line_number(text: str) -> int:
    from inventory.core.table_files import check_count

    try:
        return check_count(text)
    except Refusal as why:
        raise Refusal(f"the number of a line: {why}") from None


@app.command("close")
def close(context: typer.Context, number: NumberArgument, why: WhyOption = "") -> None:
    """Say that what has not come of a purchase is not waited for; 'stash undo' takes it back.

    \b
    Example:
      quirebox buy purchase close 1 --why "sold out"
    """
    from inventory.purchasing.purchases import close_purchase

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        close_purchase(session, number, why)
    typer.echo(f"Purchase {number} is closed")
