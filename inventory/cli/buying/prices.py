"""`quirebox buy supplier`, `buy rate` and `buy prices`: who sells what, and what it costs."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    YesFlag,
    ask,
    group,
    read_day,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.stock_options import PaperArgument, SizeArgument
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

suppliers = group("Suppliers: who sells paper, and on what terms.")
rates = group("Exchange rates of foreign currencies.")
prices = group("Prices: what suppliers ask for paper, now and before.")

_SHOWN = 20
"""Changes of a price list shown before they are stored."""

SupplierArgument = Annotated[str, typer.Argument(help="The name of a supplier.")]
PaperOption = Annotated[str | None, typer.Option("--paper", help="Only this paper.")]
OfSupplierOption = Annotated[str | None, typer.Option("--supplier", help="Only this supplier.")]
FromOption = Annotated[
    str | None,
    typer.Option("--from", help="The first day it applies: 2027-03-14.", show_default="today"),
]


# --- suppliers ---------------------------------------------------------------------------------


@suppliers.command("set")
def set_supplier_terms(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The supplier's name; a new name adds a supplier.")],
    currency: Annotated[
        str | None,
        typer.Option(
            "--currency", help="The currency of its prices, such as EUR.", show_default="the shop's"
        ),
    ] = None,
    shipping: Annotated[
        str | None, typer.Option("--shipping", help="What one delivery costs, in its currency.")
    ] = None,
    free_from: Annotated[
        str | None,
        typer.Option(
            "--free-from",
            help="Shipping is free for goods of this much or more; 'never' if it always costs.",
        ),
    ] = None,
    least_order: Annotated[
        str | None,
        typer.Option("--least-order", help="The smallest order it takes; 0 for any."),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(
            "--days",
            metavar="N",
            help="Days from order to delivery, weekends included.",
            show_default="7",
        ),
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="A note.")] = None,
) -> None:
    """Add a supplier or change its terms; what you leave out stays as it is.

    \b
    Examples:
      quirebox buy supplier set "Paper mill" --shipping 4.90 --free-from 60
      quirebox buy supplier set "Far mill" --currency GBP --free-from never
    """
    from inventory.core.money import parse_optional_money
    from inventory.purchasing.suppliers import read_free_from, set_supplier

    free_amount, never_free = read_free_from(free_from)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        supplier, is_new = set_supplier(
            session,
            name,
            currency=currency,
            shipping=parse_optional_money(shipping, "the shipping"),
            free_from=free_amount,
            never_free=never_free,
            least_order=parse_optional_money(least_order, "the smallest order"),
            days=days,
            note=note,
        )
        name = supplier.name
    say(f"{'Added' if is_new else 'Changed'} supplier '{name}'.")


@suppliers.command("list")
def list_suppliers_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all suppliers and their terms."""
    from inventory.purchasing.suppliers import list_suppliers
    from inventory.views.purchasing.suppliers import SUPPLIERS

    show_from_shop(context, as_json, lambda session: (SUPPLIERS, list_suppliers(session)))


# --- rates -------------------------------------------------------------------------------------


@rates.command("set")
def set_exchange_rate(
    context: typer.Context,
    currency: Annotated[str, typer.Argument(help="Three letters, such as GBP.")],
    rate: Annotated[str, typer.Argument(help="The price of 1 of it in the shop's currency.")],
    day: FromOption = None,
) -> None:
    """Set the exchange rate of a foreign currency; earlier rates are kept.

    \b
    Examples:
      quirebox buy rate set GBP 1.1725
      quirebox buy rate set USD 0.92 --from 2027-03-01
    """
    from inventory.purchasing.suppliers import read_rate, set_rate
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        made = set_rate(session, currency, read_rate(rate), read_day(day) or date.today())
        worth = f"1 {made.currency} is {made.rate:f} {get_shop(session).currency}"
        since = made.day
    say(f"From {since.isoformat()} on, {worth}.")


@rates.command("list")
def list_exchange_rates(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all exchange rates ever set, newest first for each currency."""
    from inventory.purchasing.suppliers import list_rates
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.suppliers import exchange_rate_listing

    show_from_shop(
        context,
        as_json,
        lambda session: (exchange_rate_listing(get_shop(session).currency), list_rates(session)),
    )


# --- prices ------------------------------------------------------------------------------------


@prices.command("import")
def import_prices(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV or .xlsx with columns paper, size, pack (sheets) and price (of a pack);"
            " optional: supplier, currency, least (packs), days, shipping, free from.",
        ),
    ],
    supplier: Annotated[
        str | None, typer.Option("--supplier", help="The supplier of lines that name none.")
    ] = None,
    day: FromOption = None,
    whole: Annotated[
        bool,
        typer.Option("--whole", help="What the list leaves out is no longer sold."),
    ] = False,
    only_known: Annotated[
        bool, typer.Option("--only-known", help="Skip papers you don't have.")
    ] = False,
    yes: YesFlag = False,
) -> None:
    """Show what a price list changes, then store it; if a line is wrong, nothing is stored.

    Earlier prices stay in the history. New suppliers are added.

    \b
    Examples:
      quirebox buy prices import mill.csv --supplier "Paper mill"
      quirebox buy prices import all.xlsx --from 2027-04-01 --whole --yes
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.documents.text.prices import price_list_words
    from inventory.purchasing.price_list_reader import read_prices
    from inventory.purchasing.prices import new_suppliers, price_changes, store_prices
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.prices import price_change_listing

    since = read_day(day) or date.today()
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            unit = get_shop(session).unit
            sheet = read_prices(
                session, file, unit, today=max(since, date.today()), supplier=supplier,
                only_known=only_known,
            )  # fmt: skip
            changes = price_changes(session, sheet, since, whole=whole)
            sentences = price_list_words(sheet, changes, new_suppliers(session, sheet))
        if changes and not yes:
            show_list(price_change_listing(unit), changes[:_SHOWN])
            _say_rest(len(changes) - _SHOWN)
        say("\n".join(sentences))
        if not yes:
            ask(f"Store these prices from {since.isoformat()} on?")
        with shop_file.begin() as session:
            store_prices(session, sheet, since, whole=whole)
    say(f"Stored {format_count(len(changes), 'price change')}.")


def _say_rest(number: int, hint: str = "") -> None:
    if number > 0:
        say(f"… and {format_count(number, 'more line')}{hint}")


@prices.command("set")
def set_one_price(
    context: typer.Context,
    supplier: SupplierArgument,
    paper: PaperArgument,
    size: SizeArgument,
    price: Annotated[str, typer.Argument(help="The price of a pack, in the supplier's currency.")],
    pack: Annotated[int, typer.Option("--pack", min=1, help="Sheets in a pack.")] = 1,
    least: Annotated[
        int, typer.Option("--least", min=1, help="The fewest packs you can order at this price.")
    ] = 1,
    currency: Annotated[
        str | None,
        typer.Option("--currency", help="Such as EUR.", show_default="the supplier's"),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(
            "--days",
            metavar="N",
            help="Days from order to delivery.",
            show_default="the supplier's",
        ),
    ] = None,
    day: FromOption = None,
) -> None:
    """Set a supplier's price for a pack; earlier prices stay in the history.

    \b
    Examples:
      quirebox buy prices set "Paper mill" "Coal card" 50x70cm 31.25 --pack 25
      quirebox buy prices set "Paper mill" "Coal card" A4 9 --pack 25 --least 4
    """
    from inventory.core.money import parse_money
    from inventory.purchasing.prices import set_price
    from inventory.shop.settings import get_shop
    from nester.core.lengths import format_size
    from nester.core.sheet_sizes import parse_size

    since = read_day(day) or date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        sides = parse_size(size, unit)
        set_price(
            session,
            supplier,
            paper,
            sides,
            parse_money(price, "the price"),
            pack=pack,
            least=least,
            currency=currency,
            days=days,
            day=since,
        )
    words = format_size(sides.width, sides.height, unit)
    say(f"Stored the price of {paper}, {words}, from {supplier}; it applies from {since}.")


@prices.command("end")
def end_one_price(
    context: typer.Context,
    supplier: SupplierArgument,
    paper: PaperArgument,
    size: SizeArgument,
    pack: Annotated[
        int | None, typer.Option("--pack", min=1, help="Only packs of this many sheets.")
    ] = None,
    day: FromOption = None,
) -> None:
    """Record that a supplier no longer sells a paper in a size.

    \b
    Example:
      quirebox buy prices end "Paper mill" "Coal card" 50x70cm --pack 10
    """
    from inventory.purchasing.prices import end_price
    from inventory.shop.settings import get_shop
    from nester.core.lengths import format_size
    from nester.core.sheet_sizes import parse_size

    since = read_day(day) or date.today()
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        sides = parse_size(size, unit)
        end_price(session, supplier, paper, sides, pack=pack, day=since)
    words = f"{paper}, {format_size(sides.width, sides.height, unit)}"
    if pack is not None:
        words += f", in packs of {pack:,}"
    say(f"From {since} on, {supplier} no longer sells {words}.")


@prices.command("list")
def list_prices(
    context: typer.Context,
    paper: PaperOption = None,
    supplier: OfSupplierOption = None,
    history: Annotated[
        bool, typer.Option("--history", help="All prices ever stored, newest first.")
    ] = False,
    most: Annotated[
        int, typer.Option("--most", min=1, max=1_000_000, help="Show up to this many lines.")
    ] = 100,
    as_json: JsonFlag = False,
) -> None:
    """List what you can buy today, in the shop's currency; --history lists earlier prices.

    \b
    Examples:
      quirebox buy prices list --paper "Coal card"
      quirebox buy prices list --supplier "Paper mill" --history
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.purchasing.prices import current_offers, price_history
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.prices import offer_listing, price_history_listing

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = get_shop(session)
        if history:
            kept = price_history(session, paper=paper, supplier=supplier)
        else:
            papers = None if paper is None else [paper]
            offers = current_offers(session, papers, today=date.today(), supplier=supplier)
    if history:
        show_list(price_history_listing(shop.unit), kept if as_json else kept[:most], as_json)
    else:
        listing = offer_listing(shop.unit, shop.currency)
        show_list(listing, offers if as_json else offers[:most], as_json)
    if not as_json:
        number = len(kept) if history else len(offers)
        _say_rest(number - most, "; --most shows more")
