"""`quirebox cost`: what the shop calculates costs with; and what `order cost` and others share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, naming_changes, shop_file_of
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from decimal import Decimal

    from inventory.costs.order_costs import OrderCost
    from inventory.database.shop_file import ShopFile

__all__ = ["CollectedFlag", "EachOption", "app", "read_unit_price", "show_cost"]

app = group("Costs: the shop's rates, fees, postage and margin, and what supplies cost.")

CollectedFlag = Annotated[
    bool, typer.Option("--collected", help="The customer collects it: no postage.")
]
EachOption = Annotated[
    str | None,
    typer.Option(
        "--price",
        metavar="AMOUNT",
        help="The price of each, instead of the one agreed or suggested.",
    ),
]
ForgetFlag = Annotated[bool, typer.Option("--forget", help="Remove what you set.")]


def show_cost(order_cost: OrderCost, *, as_json: bool) -> None:
    """Print what an order costs."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.text.costs import cost_text
    from inventory.views.costs import cost_as_json

    if as_json:
        print_json(cost_as_json(order_cost))
    else:
        console().print(cost_text(order_cost))


def read_unit_price(shop_file: ShopFile, text: str | None) -> Decimal | None:
    """Read the price of one copy, in whole coins."""
    from inventory.costs.rates import read_price

    with shop_file.read() as session:
        return read_price(session, text)


@app.command("show")
def show(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show what the shop calculates with: rates, margin, supplies, prints, times, postage."""
    from inventory.cli.shared.terminal import print_json, show_list
    from inventory.views.rates import RATES, rate_rows, rates_as_json, shop_rates

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        known = shop_rates(session)
    if as_json:
        print_json(rates_as_json(known))
        return
    show_list(RATES, rate_rows(known))
    if not known.rates.postage:
        say("There are no postage prices yet; read them with 'quirebox cost postage FILE.csv'.")


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
            help="Minutes to assemble each piece, for designs without a 'cost time'.",
        ),
    ] = None,
    packaging: Annotated[
        str | None, typer.Option("--packaging", help="What the packaging of a parcel costs.")
    ] = None,
    packaging_weight: Annotated[
        str | None, typer.Option("--packaging-weight", help="What the packaging weighs: 80g.")
    ] = None,
    wrapping: Annotated[
        str | None, typer.Option("--wrapping", help="What the wrapping of each box costs.")
    ] = None,
    wrapping_weight: Annotated[
        str | None, typer.Option("--wrapping-weight", help="What the wrapping weighs: 15g.")
    ] = None,
    fee: Annotated[
        str | None,
        typer.Option("--fee", help="Selling fee in percent of the whole price: 6.5%."),
    ] = None,
    fee_fixed: Annotated[
        str | None, typer.Option("--fee-fixed", help="Selling fee for each sale, on top: 0.30.")
    ] = None,
    margin: Annotated[
        str | None,
        typer.Option("--margin", help="The margin you want, in percent of the price: 25%."),
    ] = None,
    ends: Annotated[
        list[str] | None,
        typer.Option(
            "--ends",
            metavar="DIGITS",
            help="What prices end in: .00, .50, .95, 9.95; repeat for several; 'any' for any"
            " ending.",
        ),
    ] = None,
    print_area: Annotated[
        str | None,
        typer.Option(
            "--print-area",
            help="The price of a square metre, for prints larger than all 'cost print' sizes.",
        ),
    ] = None,
    quote_days: Annotated[
        int | None, typer.Option("--quote-days", help="How many days an offer is valid.")
    ] = None,
) -> None:
    """Change the rates that costs are calculated with; 'quirebox cost show' shows them.

    \b
    Examples:
      quirebox cost set --hour 18.00 --fee 6.5% --fee-fixed 0.30
      quirebox cost set --margin 25% --ends .50 --ends .95
      quirebox cost set --packaging 0.90 --packaging-weight 80g
    """
    from inventory.costs.rates import read_changes, set_rates
    from inventory.shop.settings import get_shop

    given = {
        "hour": hour,
        "piece_minutes": piece_minutes,
        "packaging": packaging,
        "packaging_grams": packaging_weight,
        "wrapping": wrapping,
        "wrapping_grams": wrapping_weight,
        "fee": fee,
        "fee_fixed": fee_fixed,
        "margin": margin,
        "print_area": print_area,
        "endings": " ".join(ends) if ends else None,
        "quote_days": None if quote_days is None else str(quote_days),
    }
    texts = {name: text for name, text in given.items() if text is not None}
    changed = naming_changes(texts)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        set_rates(session, **read_changes(texts, get_shop(session).currency))
    say(f"Changed {changed}; new costs and quotes use it.")


@app.command("supply")
def supply(
    context: typer.Context,
    name: Annotated[
        str, typer.Argument(help="As designs call it: ribbon, adhesive, eyelet; or your own name.")
    ],
    taken_from: Annotated[
        str | None,
        typer.Option("--from", metavar="SUPPLY", help="Use the last price of this supply."),
    ] = None,
    spread: Annotated[
        str | None,
        typer.Option("--spread", help="How much of that supply a square metre takes: 150."),
    ] = None,
    price: Annotated[
        str | None,
        typer.Option("--price", help="Or its price: per metre, per square metre, or each."),
    ] = None,
    per: Annotated[
        str | None, typer.Option("--per", help="What the price is for: length, area or count.")
    ] = None,
    weight: Annotated[
        str | None, typer.Option("--weight", help="Per metre, per square metre, or each: 3g.")
    ] = None,
    forget: ForgetFlag = False,
) -> None:
    """Set what ribbon, adhesive, eyelets and the like cost and weigh.

    \b
    Examples:
      quirebox cost supply ribbon --from "Satin ribbon" --weight 3g
      quirebox cost supply adhesive --from Paste --spread 150
      quirebox cost supply eyelet --price 0.04 --per count --weight 0.3g
    """
    from inventory.core.text import choice
    from inventory.costs.rates import (
        forget_consumable,
        read_amount,
        read_grams,
        read_spread,
        set_consumable,
    )
    from inventory.database.tables.enums import ConsumableUnit
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        if forget:
            forget_consumable(session, name)
        else:
            currency = get_shop(session).currency
            if (taken_from, price, per, weight, spread) == (None,) * 5:
                raise Refusal(f"say what {name} costs or weighs; --help lists the options")
            set_consumable(
                session,
                name,
                supply=taken_from,
                spread=read_spread(session, taken_from, spread),
                price=None if price is None else read_amount(price, "the price", currency),
                per=None if per is None else choice(ConsumableUnit, per, "what the price is for"),
                grams=None if weight is None else read_grams(weight, "the weight"),
            )
    say(f"{'Removed' if forget else 'Set'} the cost and weight of {name}.")


@app.command("print")
def print_(
    context: typer.Context,
    size: Annotated[str, typer.Argument(help="The largest print at this price: 10x15cm.")],
    price: Annotated[str | None, typer.Argument(help="What one print costs.")] = None,
    forget: ForgetFlag = False,
) -> None:
    """Set the price of a print; each photo is printed in the cheapest size it fits.

    \b
    Example:
      quirebox cost print 10x15cm 0.25
    """
    from inventory.costs.rates import forget_print, read_amount, set_print
    from inventory.shop.settings import get_shop
    from nester.core.lengths import format_size
    from nester.core.sheet_sizes import parse_size

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        shop = get_shop(session)
        known = parse_size(size, shop.unit)
        sides = (known.width, known.height)
        if forget:
            forget_print(session, sides, shop.unit)
        elif price is None:
            raise Refusal("say what such a print costs")
        else:
            set_print(session, sides, read_amount(price, "the price", shop.currency))
        words = format_size(*sides, shop.unit)
    say(f"{'Removed' if forget else 'Set'} the price of prints up to {words}.")


@app.command("time")
def time(
    context: typer.Context,
    design: Annotated[str, typer.Argument(help="The name of a design.")],
    minutes: Annotated[
        str | None, typer.Argument(help="To assemble one: 90, or 1.5h.", show_default=False)
    ] = None,
    forget: Annotated[
        bool, typer.Option("--forget", help="Calculate it from its pieces again.")
    ] = False,
) -> None:
    """Set how long one copy of a design takes to assemble.

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
        name = set_assembly(session, design, took)
    if took is None:
        say(f"The time to assemble {name} is calculated from its pieces again.")
    else:
        say(f"Assembling {name} takes {took.normalize():f} min.")


@app.command("postage")
def postage(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv",
            help="Columns weight (the heaviest parcel at this price: 500g, 2kg) and price.",
        ),
    ],
) -> None:
    """Read postage by parcel weight from a list; it replaces the earlier prices.

    \b
    Example:
      quirebox cost postage postage.csv
    """
    from inventory.costs.rates import import_postage

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        number = import_postage(session, file)
    say(f"Read postage for {format_count(number, 'parcel weight')}.")
