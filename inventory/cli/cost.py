"""`quirebox cost`: what the shop reckons with; and what `order cost` and its like share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.options import JsonFlag, format_count, group, shop_file_of
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from inventory.costs.order_costs import OrderCost
    from inventory.database.shop_file import ShopFile

__all__ = ["CollectedFlag", "EachOption", "app", "read_unit_price", "show_cost"]

app = group("Costs: the shop's rates, fees, postage and margin, and what consumables cost.")

CollectedFlag = Annotated[
    bool, typer.Option("--collected", help="It is collected: there is no postage.")
]
EachOption = Annotated[
    str | None,
    typer.Option("--price", metavar="AMOUNT", help="What one is sold for, instead."),
]
ForgetFlag = Annotated[bool, typer.Option("--forget", help="Forget what was set.")]


def show_cost(told: OrderCost, *, as_json: bool) -> None:
    """Print what an order costs."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.text.costs import cost_text
    from inventory.views.costs import cost_as_json

    if as_json:
        print_json(cost_as_json(told))
    else:
        console().print(cost_text(told))


def read_unit_price(shop_file: ShopFile, text: str | None) -> Decimal | None:
    """Read the price of one box, in whole coins."""
    from inventory.core.money import round_to_coin
    from inventory.costs.rates import read_amount
    from inventory.shop.settings import get_shop

    if text is None:
        return None
    with shop_file.read() as session:
        currency = get_shop(session).currency
    price = read_amount(text, "the price", currency)
    if round_to_coin(price, currency) != price:
        raise Refusal(f"the price '{text.strip()}' can't be paid in whole coins of {currency}")
    return price


@app.command("show")
def show(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show what the shop reckons with: rates, margin, consumables, prints, minutes, postage."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.costs.rates import (
        assembly_times,
        consumables,
        quote_days,
        rates_of,
        written_endings,
    )
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rates = rates_of(session)
        known = consumables(session)
        times = assembly_times(session)
        days, ends = quote_days(session), written_endings(session)
    if as_json:
        print_json(_as_json(rates, known, times, days, ends))
        return
    from rich.text import Text

    from inventory.core.money import format_money
    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    def money(amount: Any) -> str:
        return "not set" if amount is None else format_money(amount, rates.currency)

    def number(value: Any, unit: str) -> str:
        return "not set" if value is None else f"{value.normalize():f} {unit}"

    shown = table("Costs", "What", "How much", right=frozenset({"How much"}))
    for what, much in (
        ("An hour of work", money(rates.hour)),
        ("Assembling a piece", number(rates.piece_minutes, "min")),
        *((f"Assembling a {name}", number(minutes, "min")) for name, minutes in times.items()),
        ("Packaging of a parcel", money(rates.packaging)),
        ("  its weight", number(rates.packaging_grams, "g")),
        ("Wrapping of each box", money(rates.wrapping)),
        ("  its weight", number(rates.wrapping_grams, "g")),
        *(
            (f"{one.name}, {_PER[one.per]}" + (f", of {one.supply}" if one.supply else ""),
             money(one.price) + (f", {number(one.grams, 'g')}" if one.grams is not None else ""))
            for one in known
        ),
        *(
            (f"A print up to {format_size(one.width, one.height, unit)}", money(one.price))
            for one in rates.prints
        ),
        ("Other prints, a square metre", money(rates.print_area)),
        *((f"A parcel up to {number(one.grams, 'g')}", money(one.price)) for one in rates.postage),
        ("Fees of the price", number(rates.fee, "%")),
        ("Fees of a sale", money(rates.fee_fixed)),
        ("Margin wished for, of the price", number(rates.margin, "%")),
        ("Prices end in", " or ".join(ends) or "any coin"),
        ("An offer is valid", format_count(days, "day")),
    ):  # fmt: skip
        shown.add_row(Text(what), much)
    console().print(shown)
    if not rates.postage:
        typer.echo("There is no table of postage; 'quirebox cost postage FILE.csv' reads one.")


_PER = {"length": "a metre", "area": "a square metre", "count": "each"}


def _as_json(rates: Any, known: Any, times: Any, days: int, ends: Any) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    def text(amount: Any) -> str | None:
        return None if amount is None else str(amount)

    return {
        "currency": rates.currency,
        "hour": text(rates.hour),
        "piece_minutes": text(rates.piece_minutes),
        "design_minutes": {name: str(minutes) for name, minutes in times.items()},
        "packaging": str(rates.packaging),
        "packaging_grams": str(rates.packaging_grams),
        "wrapping": str(rates.wrapping),
        "wrapping_grams": str(rates.wrapping_grams),
        "fee_percent": str(rates.fee),
        "fee_fixed": str(rates.fee_fixed),
        "margin_percent": str(rates.margin),
        "endings": list(ends),
        "quote_days": days,
        "consumables": [
            {
                "name": one.name,
                "per": str(one.per),
                "supply": one.supply,
                "price": None if one.price is None else round(float(one.price), 6),
                "grams": text(one.grams),
            }
            for one in known
        ],
        "prints": [
            {
                "width": to_mm_number(one.width),
                "height": to_mm_number(one.height),
                "price": str(one.price),
            }
            for one in rates.prints
        ],
        "print_area": text(rates.print_area),
        "postage": [{"grams": str(one.grams), "price": str(one.price)} for one in rates.postage],
    }


@app.command("set")
def change(
    context: typer.Context,
    hour: Annotated[
        str | None, typer.Option("--hour", help="What an hour of work costs: 18.00.")
    ] = None,
    piece_minutes: Annotated[
        str | None,
        typer.Option(
            "--piece-minutes",
            help="To assemble, for each piece of a box, where 'cost time' says nothing.",
        ),
    ] = None,
    packaging: Annotated[
        str | None, typer.Option("--packaging", help="What the packaging of a parcel costs.")
    ] = None,
    packaging_weight: Annotated[
        str | None, typer.Option("--packaging-weight", help="What it weighs: 80g.")
    ] = None,
    wrapping: Annotated[
        str | None, typer.Option("--wrapping", help="What the wrapping of each box costs.")
    ] = None,
    wrapping_weight: Annotated[
        str | None, typer.Option("--wrapping-weight", help="What it weighs: 15g.")
    ] = None,
    fee: Annotated[
        str | None,
        typer.Option("--fee", help="What selling takes of the whole price in percent: 6.5%."),
    ] = None,
    fee_fixed: Annotated[
        str | None, typer.Option("--fee-fixed", help="What each sale costs beside that: 0.30.")
    ] = None,
    margin: Annotated[
        str | None,
        typer.Option("--margin", help="What is to be left of the price in percent: 25%."),
    ] = None,
    ends: Annotated[
        list[str] | None,
        typer.Option(
            "--ends",
            metavar="DIGITS",
            help="How the price of one ends: .00, .50, .95, 9.95; again for several; 'any' for"
            " any way.",
        ),
    ] = None,
    print_area: Annotated[
        str | None,
        typer.Option(
            "--print-area", help="A square metre of prints, where 'cost print' has no size."
        ),
    ] = None,
    quote_days: Annotated[
        int | None, typer.Option("--quote-days", help="How many days an offer is valid.")
    ] = None,
) -> None:
    """Change what the shop reckons with; 'quirebox cost show' shows it.

    \b
    Examples:
      quirebox cost set --hour 18.00 --fee 6.5% --fee-fixed 0.30
      quirebox cost set --margin 25% --ends .50 --ends .95
      quirebox cost set --packaging 0.90 --packaging-weight 80g
    """
    from inventory.core.durations import read_minutes
    from inventory.costs.rates import (
        RateChanges,
        read_amount,
        read_endings,
        read_grams,
        read_percent,
        set_rates,
    )
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        currency = get_shop(session).currency
        changes = RateChanges()
        if hour is not None:
            changes["hour"] = read_amount(hour, "the rate an hour", currency)
        if piece_minutes is not None:
            changes["piece_minutes"] = read_minutes(piece_minutes, "the time a piece takes")
        if packaging is not None:
            changes["packaging"] = read_amount(packaging, "the packaging", currency)
        if packaging_weight is not None:
            changes["packaging_grams"] = read_grams(packaging_weight, "the packaging's weight")
        if wrapping is not None:
            changes["wrapping"] = read_amount(wrapping, "the wrapping", currency)
        if wrapping_weight is not None:
            changes["wrapping_grams"] = read_grams(wrapping_weight, "the wrapping's weight")
        if fee is not None:
            changes["fee"] = read_percent(fee, "a fee")
        if fee_fixed is not None:
            changes["fee_fixed"] = read_amount(fee_fixed, "the fee of a sale", currency)
        if margin is not None:
            changes["margin"] = read_percent(margin, "a margin")
        if ends:
            changes["endings"] = read_endings(ends, currency)
        if print_area is not None:
            changes["print_area"] = read_amount(print_area, "a square metre of prints", currency)
        if quote_days is not None:
            changes["quote_days"] = quote_days
        if not changes:
            raise Refusal("say what is to change; --help lists what can")
        set_rates(session, **changes)
    typer.echo("Done")


@app.command("supply")
def supply(
    context: typer.Context,
    name: Annotated[
        str, typer.Argument(help="As designs call it: ribbon, adhesive, eyelet; or your own.")
    ],
    taken_from: Annotated[
        str | None,
        typer.Option("--from", metavar="SUPPLY", help="The supply whose last price counts."),
    ] = None,
    spread: Annotated[
        str | None,
        typer.Option("--spread", help="How much of that supply a square metre takes: 150."),
    ] = None,
    price: Annotated[
        str | None, typer.Option("--price", help="Instead: of a metre, a square metre, or one.")
    ] = None,
    per: Annotated[
        str | None, typer.Option("--per", help="For which of these: length, area or count.")
    ] = None,
    weight: Annotated[
        str | None, typer.Option("--weight", help="Of a metre, a square metre or one: 3g.")
    ] = None,
    forget: ForgetFlag = False,
) -> None:
    """Say what a consumable costs and weighs: ribbon, adhesive, eyelets.

    \b
    Examples:
      quirebox cost supply ribbon --from "Satin ribbon" --weight 3g
      quirebox cost supply adhesive --from Paste --spread 150
      quirebox cost supply eyelet --price 0.04 --per count --weight 0.3g
    """
    from inventory.core.text import choice
    from inventory.costs.rates import forget_consumable, read_amount, read_grams, set_consumable
    from inventory.database.tables.enums import ConsumableUnit
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        if forget:
            forget_consumable(session, name)
        else:
            currency = get_shop(session).currency
            if (taken_from, price, per, weight, spread) == (None,) * 5:
                raise Refusal(f"say what {name} costs or weighs; --help lists how")
            set_consumable(
                session,
                name,
                supply=taken_from,
                spread=_spread(session, taken_from, spread),
                price=None if price is None else read_amount(price, "the price", currency),
                per=None if per is None else choice(ConsumableUnit, per, "what the price is for"),
                grams=None if weight is None else read_grams(weight, "the weight"),
            )
    typer.echo("Done")


def _spread(session: Session, supply: str | None, text: str | None) -> int | None:
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import find_supply, read_measure

    if text is None:
        return None
    if supply is None:
        raise Refusal("--spread says how much of a supply is taken; name that with --from")
    return read_measure(find_supply(session, supply), text, get_shop(session).unit)


@app.command("print")
def print_(
    context: typer.Context,
    size: Annotated[str, typer.Argument(help="The largest print that goes for it: 10x15cm.")],
    price: Annotated[str | None, typer.Argument(help="What one print costs.")] = None,
    forget: ForgetFlag = False,
) -> None:
    """Say what a print costs; each photo goes into the cheapest size that holds it.

    \b
    Example:
      quirebox cost print 10x15cm 0.25
    """
    from inventory.costs.rates import forget_print, read_amount, set_print
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        shop = get_shop(session)
        known = parse_size(size, shop.unit)
        sides = (known.width, known.height)
        if forget:
            forget_print(session, sides, shop.unit)
        elif price is None:
            raise Refusal("the price of such a print is missing")
        else:
            set_print(session, sides, read_amount(price, "the price", shop.currency))
    typer.echo("Done")


@app.command("time")
def time(
    context: typer.Context,
    design: Annotated[str, typer.Argument(help="The name of a design.")],
    minutes: Annotated[
        str | None, typer.Argument(help="To assemble one: 90, or 1.5h.", show_default=False)
    ] = None,
    forget: Annotated[
        bool, typer.Option("--forget", help="Reckon by its pieces again, as of the others.")
    ] = False,
) -> None:
    """Say how long one box of a design takes to assemble.

    \b
    Example:
      quirebox cost time layered-box 95
    """
    from inventory.core.durations import read_minutes
    from inventory.costs.rates import set_assembly

    if (minutes is None) is not forget:
        raise Refusal("say how many minutes it takes, or --forget")
    took = None if minutes is None else read_minutes(minutes, "the time")
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        set_assembly(session, design, took)
    typer.echo("Done")


@app.command("postage")
def postage(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv",
            help="Columns weight (of the heaviest parcel that goes for it: 500g, 2kg) and price.",
        ),
    ],
) -> None:
    """Read what parcels cost to send, by weight, in place of the table there was.

    \b
    Example:
      quirebox cost postage postage.csv
    """
    from inventory.costs.rates import import_postage

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        number = import_postage(session, file)
    typer.echo(f"{format_count(number, 'weight')} of parcels are known")
