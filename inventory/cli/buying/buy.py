"""`quirebox buy`: what to buy and when; its prices, levels and purchases are groups of it."""

from __future__ import annotations

from datetime import date

import typer

from inventory.cli.buying import level, prices, purchase
from inventory.cli.buying.plan import plan
from inventory.cli.shared.options import (
    EffortOption,
    JsonFlag,
    SecondsOption,
    group,
    searching_in,
    shop_file_of,
)
from nester.core.problem import Effort

app = group("Buying: what to buy, from whom, at what price, and what is on its way.")


@app.command("list")
def list_(
    context: typer.Context,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List what to buy and why: for waiting orders, and to keep up your levels.

    It is the purchase of 'quirebox buy plan --levels': the cheapest packs that arrive
    in time. Stock on hand and on its way is counted.

    \b
    Examples:
      quirebox buy list
      quirebox buy list --effort quick --json
    """
    from inventory.cli.shared.terminal import print_sentences, show_list
    from inventory.documents.text.restock import overdue_words, restock_sum_words
    from inventory.purchasing.purchases import list_purchases
    from inventory.restocking.restock_list import restock_list
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.restock import restock_listing

    today = date.today()
    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            found = restock_list(shop_file, today=today, effort=effort, **search)
        with shop_file.read() as session:
            shop = get_shop(session)
            coming = list_purchases(session, also_done=False)
            overdue = [overdue_words(row, today) for row in coming if row.days_late(today)]
    show_list(restock_listing(shop.unit, shop.currency, today), found.lines, as_json)
    if not as_json:
        sentences = restock_sum_words(found, shop.currency)
        if any(line.choice is None for line in found.lines):
            sentences.append("Read a price list with 'quirebox buy prices import'.")
        print_sentences(sentences + overdue)


@app.command("dates")
def dates(
    context: typer.Context,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List the last day to order paper for each order, and what is on its way.

    The last day to order is the day the order is due, less the days you take to
    make it ('quirebox shop set --making-days') and the days until delivery.

    \b
    Example:
      quirebox buy dates
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.restocking.restock_list import order_dates
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.restock import deadline_listing

    today = date.today()
    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            rows = order_dates(shop_file, today=today, effort=effort, **search)
        with shop_file.read() as session:
            unit = get_shop(session).unit
    show_list(deadline_listing(unit, today), rows, as_json)


app.command("plan")(plan)
app.add_typer(level.app, name="level")
app.add_typer(purchase.app, name="purchase")
app.add_typer(prices.prices, name="prices")
app.add_typer(prices.suppliers, name="supplier")
app.add_typer(prices.rates, name="rate")
