"""`quirebox buy supplier`, `buy rate` and `buy prices`: who sells what, and what it costs."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.options import JsonFlag, YesFlag, ask, format_count, group, shop_file_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from inventory.database.tables.shop import Shop
    from inventory.purchasing.prices import ListedPack, ParsedPriceList, PriceChange, PriceRow

suppliers = group("Suppliers: who sells paper, and on what terms.")
rates = group("Exchange rates: what foreign money is worth.")
prices = group("Prices: what suppliers ask for their paper, now and before.")

_SHOWN = 20

SupplierArgument = Annotated[str, typer.Argument(help="The name of a supplier.")]
PaperArgument = Annotated[str, typer.Argument(help="The name of a paper in the book.")]
SizeArgument = Annotated[
    str, typer.Argument(help="Width × height: 50x70cm, 12 x 12 in, A4, or in the shop's unit.")
]
PaperOption = Annotated[str | None, typer.Option("--paper", help="Only of this paper.")]
OfSupplierOption = Annotated[str | None, typer.Option("--supplier", help="Only of this supplier.")]
FromOption = Annotated[
    str | None,
    typer.Option("--from", help="The day from which it counts: 2027-03-14.", show_default="today"),
]


def _day(text: str | None) -> date:
    from inventory.core.table_files import read_date

    return date.today() if text is None else read_date(text)


def _amount(text: str | None, what: str) -> Decimal | None:
    from inventory.core.money import parse_money

    return None if text is None else parse_money(text, what)


# --- suppliers ---------------------------------------------------------------------------------


@suppliers.command("set")
def set_supplier_terms(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="Its name; a new one is added.")],
    currency: Annotated[
        str | None,
        typer.Option("--currency", help="Of its prices: three letters.", show_default="the shop's"),
    ] = None,
    shipping: Annotated[
        str | None, typer.Option("--shipping", help="What one delivery costs, in its currency.")
    ] = None,
    free_from: Annotated[
        str | None,
        typer.Option(
            "--free-from",
            help="From this sum of goods on shipping costs nothing; 'never' if it always costs.",
        ),
    ] = None,
    least_order: Annotated[
        str | None,
        typer.Option("--least-order", help="It sells no goods of less than this sum; 0 for any."),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(
            "--days",
            metavar="N",
            help="From an order to its delivery, weekends counted.",
            show_default="7",
        ),
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="A remark.")] = None,
) -> None:
    """Add a supplier, or change its terms; what is not named stays as it is.

    \b
    Examples:
      quirebox buy supplier set "Paper mill" --shipping 4.90 --free-from 60
      quirebox buy supplier set "Far mill" --currency GBP --free-from never
    """
    from inventory.purchasing.suppliers import set_supplier

    never = free_from is not None and free_from.strip().casefold() == "never"
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        supplier, is_new = set_supplier(
            session,
            name,
            currency=currency,
            shipping=_amount(shipping, "the shipping"),
            free_from=None if never else _amount(free_from, "the sum of --free-from"),
            never_free=never,
            least_order=_amount(least_order, "the least order"),
            days=days,
            note=note,
        )
        name = supplier.name
    typer.echo(f"Supplier '{name}' {'added' if is_new else 'changed'}")


@suppliers.command("list")
def list_suppliers_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all suppliers and their terms."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.money import format_money
    from inventory.purchasing.suppliers import list_suppliers

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = list_suppliers(session)
    if as_json:
        print_json(
            [
                {
                    "supplier": one.name,
                    "currency": one.currency,
                    "shipping": str(one.shipping),
                    "free_from": None if one.free_from is None else str(one.free_from),
                    "least_order": str(one.least_order),
                    "days": one.days,
                    "note": one.note,
                }
                for one in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Shipping", "Free from", "Least order", "Days"})
    shown = table(
        "Suppliers", "Supplier", "Shipping", "Free from", "Least order", "Days", "Note",
        right=right,
    )  # fmt: skip
    for one in rows:
        free = "never" if one.free_from is None else format_money(one.free_from, one.currency)
        shown.add_row(
            Text(one.name),
            format_money(one.shipping, one.currency),
            free if one.shipping else "",
            format_money(one.least_order, one.currency) if one.least_order else "",
            str(one.days),
            Text(one.note),
        )
    console().print(
        shown if rows else "No suppliers yet; add one with 'quirebox buy supplier set'."
    )


# --- rates -------------------------------------------------------------------------------------


@rates.command("set")
def set_exchange_rate(
    context: typer.Context,
    currency: Annotated[str, typer.Argument(help="Three letters, as in ISO 4217.")],
    rate: Annotated[str, typer.Argument(help="What one of it is in the shop's currency.")],
    day: FromOption = None,
) -> None:
    """Say what one of a foreign currency is worth from a day on; earlier rates are kept.

    \b
    Examples:
      quirebox buy rate set GBP 1.1725
      quirebox buy rate set USD 0.92 --from 2027-03-01
    """
    from inventory.purchasing.suppliers import read_rate, set_rate
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        made = set_rate(session, currency, read_rate(rate), _day(day))
        words = f"1 {made.currency} is {made.rate:f} {get_shop(session).currency}"
        since = made.day
    typer.echo(f"{words} from {since.isoformat()} on")


@rates.command("list")
def list_exchange_rates(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all rates ever set, the newest of each currency first."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.purchasing.suppliers import list_rates
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows, own = list_rates(session), get_shop(session).currency
    if as_json:
        print_json(
            [
                {
                    "currency": one.currency,
                    "rate": f"{one.rate:f}",
                    "in": own,
                    "from": one.day.isoformat(),
                    "set_at": one.set_at.isoformat(timespec="seconds"),
                }
                for one in rows
            ]
        )
        return
    from inventory.documents.format.terminal_tables import table

    shown = table("Exchange rates", "From", "Rate")
    for one in rows:
        shown.add_row(one.day.isoformat(), f"1 {one.currency} is {one.rate:f} {own}")
    console().print(shown if rows else "No rates yet; set one with 'quirebox buy rate set'.")


# --- prices ------------------------------------------------------------------------------------


@prices.command("import")
def import_prices(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV or .xlsx with columns paper, size, pack (sheets), price (of a pack); optional"
            " supplier, currency, least (packs), days, shipping, free from.",
        ),
    ],
    supplier: Annotated[
        str | None, typer.Option("--supplier", help="Whose prices they are, where no line says it.")
    ] = None,
    day: FromOption = None,
    whole: Annotated[
        bool,
        typer.Option("--whole", help="What the list does not name, the supplier sells no more."),
    ] = False,
    only_known: Annotated[
        bool, typer.Option("--only-known", help="Pass over papers that the book doesn't know.")
    ] = False,
    yes: YesFlag = False,
) -> None:
    """Show what a price list changes, then keep it; if a line is wrong, nothing is stored.

    Prices of before stay in the history. A supplier who is new is added.

    \b
    Examples:
      quirebox buy prices import mill.csv --supplier "Paper mill"
      quirebox buy prices import all.xlsx --from 2027-04-01 --whole --yes
    """
    from inventory.purchasing.price_list_reader import read_prices
    from inventory.purchasing.prices import price_changes, store_prices
    from inventory.shop.settings import get_shop

    since = _day(day)
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = get_shop(session)
            sheet = read_prices(
                session, file, shop.unit, today=max(since, date.today()), supplier=supplier,
                only_known=only_known,
            )  # fmt: skip
            changes = price_changes(session, sheet, since, whole=whole)
            fresh = _new_suppliers(session, sheet)
        if not yes:
            _show_changes(changes, shop)
        _count_changes(changes, sheet)
        for name in fresh:
            typer.echo(f"'{name}' is a new supplier")
        if not yes:
            ask(f"Keep these prices from {since.isoformat()} on?")
        with shop_file.begin() as session:
            store_prices(session, sheet, since, whole=whole)
    typer.echo(f"{format_count(len(changes), 'change')} kept")


def _new_suppliers(session: Any, sheet: ParsedPriceList) -> list[str]:
    from inventory.purchasing.suppliers import supplier_named

    return [name for name in sheet.lines if supplier_named(session, name) is None]


def _show_changes(changes: Sequence[PriceChange], shop: Shop) -> None:
    """Show the first changes."""
    from rich.text import Text

    from inventory.cli.shared.terminal import console
    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Pack", "Before", "Now"})
    shown = table(
        "New prices", "Supplier", "Paper", "Size", "Pack", "Before", "Now", "", right=right
    )
    for one in changes[:_SHOWN]:
        before, now = (
            "" if each is None else format_money(*each) for each in (one.before, one.now)
        )
        pack = f"{one.pack}" if one.least == 1 else f"{one.pack}, from {one.least}"
        size = format_size(*one.size, shop.unit)
        shown.add_row(Text(one.supplier), Text(one.paper), size, pack, before, now, str(one.kind))
    if changes:
        console().print(shown)
    if len(changes) > _SHOWN:
        typer.echo(f"… and {format_count(len(changes) - _SHOWN, 'more line')}")


def _count_changes(changes: Sequence[PriceChange], sheet: ParsedPriceList) -> None:
    from collections import Counter

    total = sum(map(len, sheet.lines.values()))
    news = Counter(str(one.kind) for one in changes)
    said = ", ".join(f"{number} {what}" for what, number in sorted(news.items()))
    typer.echo(f"{format_count(total, 'line')} read: {said or 'all as in the book'}")
    if sheet.skipped_lines:
        typer.echo(
            f"{format_count(sheet.skipped_lines, 'line')} passed over: the book knows no such paper"
        )


@prices.command("set")
def set_one_price(
    context: typer.Context,
    supplier: SupplierArgument,
    paper: PaperArgument,
    size: SizeArgument,
    price: Annotated[str, typer.Argument(help="Of one pack, in the supplier's currency.")],
    pack: Annotated[int, typer.Option("--pack", min=1, help="Sheets in a pack.")] = 1,
    least: Annotated[
        int, typer.Option("--least", min=1, help="Packs to order at least, at this price.")
    ] = 1,
    currency: Annotated[
        str | None,
        typer.Option("--currency", help="Three letters.", show_default="the supplier's"),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option("--days", metavar="N", help="To its delivery.", show_default="the supplier's"),
    ] = None,
    day: FromOption = None,
) -> None:
    """Say what a supplier asks for a pack; what it asked before stays in the history.

    \b
    Examples:
      quirebox buy prices set "Paper mill" "Coal card" 50x70cm 31.25 --pack 25
      quirebox buy prices set "Paper mill" "Coal card" A4 9 --pack 25 --least 4
    """
    from inventory.purchasing.prices import set_price
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        set_price(
            session,
            supplier,
            paper,
            parse_size(size, get_shop(session).unit),
            _needed(price),
            pack=pack,
            least=least,
            currency=currency,
            days=days,
            day=_day(day),
        )
    typer.echo("Kept")


def _needed(text: str) -> Decimal:
    from inventory.core.money import parse_money

    return parse_money(text, "the price")


@prices.command("end")
def end_one_price(
    context: typer.Context,
    supplier: SupplierArgument,
    paper: PaperArgument,
    size: SizeArgument,
    pack: Annotated[
        int | None, typer.Option("--pack", min=1, help="Only in packs of so many sheets.")
    ] = None,
    day: FromOption = None,
) -> None:
    """Say that a supplier does not sell a paper in a size any more.

    \b
    Example:
      quirebox buy prices end "Paper mill" "Coal card" 50x70cm --pack 10
    """
    from inventory.purchasing.prices import end_price
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        end_price(session, supplier, paper, parse_size(size, unit), pack=pack, day=_day(day))
    typer.echo("Kept")


@prices.command("list")
def list_prices(
    context: typer.Context,
    paper: PaperOption = None,
    supplier: OfSupplierOption = None,
    history: Annotated[
        bool, typer.Option("--history", help="All prices ever kept, the newest first.")
    ] = False,
    most: Annotated[
        int, typer.Option("--most", min=1, max=1_000_000, help="How many lines on the terminal.")
    ] = 100,
    as_json: JsonFlag = False,
) -> None:
    """List what can be bought today, in the shop's currency; with --history what was asked before.

    \b
    Examples:
      quirebox buy prices list --paper "Coal card"
      quirebox buy prices list --supplier "Paper mill" --history
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.purchasing.prices import current_offers, price_history
    from inventory.shop.settings import get_shop

    if history:
        with shop_file_of(context) as shop_file, shop_file.read() as session:
            shop = get_shop(session)
            kept = price_history(session, paper=paper, supplier=supplier)
        if as_json:
            print_json([_history_as_json(one) for one in kept])
            return
        console().print(_history_table(kept[:most], shop) if kept else "No prices yet.")
        number = len(kept)
    else:
        with shop_file_of(context) as shop_file, shop_file.read() as session:
            shop = get_shop(session)
            papers = None if paper is None else [paper]
            offered = current_offers(session, papers, today=date.today(), supplier=supplier)
        if as_json:
            print_json([_offer_as_json(one, shop) for one in offered])
            return
        console().print(_offer_table(offered[:most], shop) if offered else "No prices of today.")
        number = len(offered)
    if number > most:
        typer.echo(f"… and {format_count(number - most, 'more line')}; --most shows more")


def _offer_table(offered: Sequence[ListedPack], shop: Shop) -> Any:
    from fractions import Fraction

    from rich.text import Text

    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Pack", "Price", "A sheet", "Days"})
    shown = table(
        "Prices of today", "Paper", "Size", "Supplier", "Pack", "Price", "A sheet", "Days",
        right=right,
    )  # fmt: skip
    for one in offered:
        shown.add_row(
            Text(one.paper),
            format_size(one.width, one.height, shop.unit),
            Text(one.supplier),
            f"{one.pack}" if one.least == 1 else f"{one.pack}, from {one.least}",
            format_money(Fraction(one.price), shop.currency),
            format_money(one.sheet_price, shop.currency),
            str(one.lead_days),
        )
    return shown


def _history_table(kept: Sequence[PriceRow], shop: Shop) -> Any:
    from rich.text import Text

    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Pack", "Price"})
    shown = table(
        "Prices kept", "From", "Paper", "Size", "Supplier", "Pack", "Price", "List", right=right
    )
    shown.columns[0].no_wrap = True
    for one in kept:
        ended = one.amount is None
        shown.add_row(
            one.day.isoformat(),
            Text(one.paper),
            format_size(one.width, one.height, shop.unit),
            Text(one.supplier),
            f"{one.pack}" if one.least == 1 else f"{one.pack}, from {one.least}",
            "ended" if ended or one.amount is None else format_money(one.amount, one.currency),
            Text(one.source or "by hand"),
        )
    return shown


def _offer_as_json(one: ListedPack, shop: Shop) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    return {
        "supplier": one.supplier,
        "paper": one.paper,
        "width": to_mm_number(one.width),
        "height": to_mm_number(one.height),
        "pack": one.pack,
        "least": one.least,
        "price": f"{one.price:f}",
        "in": shop.currency,
        "asked": str(one.list_price),
        "currency": one.currency,
        "days": one.lead_days,
        "from": one.since.isoformat(),
    }


def _history_as_json(one: PriceRow) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    return {
        "supplier": one.supplier,
        "paper": one.paper,
        "width": to_mm_number(one.width),
        "height": to_mm_number(one.height),
        "pack": one.pack,
        "least": one.least,
        "asked": None if one.amount is None else str(one.amount),
        "currency": one.currency,
        "days": one.days,
        "from": one.day.isoformat(),
        "kept_at": one.added_at.isoformat(timespec="seconds"),
        "list": one.source,
    }
