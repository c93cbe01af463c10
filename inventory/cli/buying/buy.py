"""`quirebox buy`: what to buy and when; suppliers, prices, levels and purchases stand beside it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import typer

from inventory.cli.buying import level, prices, purchase
from inventory.cli.buying.plan import plan
from inventory.cli.shared.options import (
    EffortOption,
    JsonFlag,
    SecondsOption,
    format_count,
    group,
    searching_in,
    shop_file_of,
)
from nester.core.problem import Effort

if TYPE_CHECKING:
    from inventory.database.tables.shop import Shop
    from inventory.restocking.restock_list import OrderDeadline, RestockLine

app = group("Buying: what to restock, from whom, at what price, and what is on its way.")


@app.command("list")
def list_(
    context: typer.Context,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List what to buy and why: for orders that wait, and to hold the levels you set.

    Each line names the packs that are cheapest and still come in time, without
    their shipping. The stash and what is on its way are counted.

    \b
    Examples:
      quirebox buy list
      quirebox buy list --effort normal --json
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.purchasing.purchases import list_purchases
    from inventory.restocking.restock_list import restock_list
    from inventory.shop.settings import get_shop

    today = date.today()
    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            lines = restock_list(shop_file, today=today, effort=effort, **search)
        with shop_file.read() as session:
            shop = get_shop(session)
            overdue = [
                f"Purchase {row.purchase.id} from {row.purchase.supplier.name} is"
                f" {format_count(row.days_late(today), 'day')} overdue"
                for row in list_purchases(session, also_done=False)
                if row.days_late(today)
            ]
    if as_json:
        print_json([_line_as_json(one, shop.currency) for one in lines])
        return
    if lines:
        console().print(_restock_table(lines, shop, today))
        _say_sum(lines, shop)
    else:
        typer.echo("Nothing to buy.")
    for said in overdue:
        typer.echo(said)


def _restock_table(lines: list[RestockLine], shop: Shop, today: date) -> Any:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Sheets"})
    shown = table("To buy", "Order by", "Paper", "Sheets", "From", "Why", right=right)
    shown.columns[0].no_wrap = True
    for one in lines:
        why = one.why
        if one.on_order:
            why = [*why, f"{one.on_order} more are on their way"]
        shown.add_row(
            _day_words(one.order_by, today),
            Text(f"{one.paper}\n{format_size(one.width, one.height, shop.unit)}"),
            str(one.sheets or "?"),
            Text(_from_words(one, shop)),
            "; ".join(why),
        )
    return shown


def _day_words(day: date | None, today: date) -> str:
    if day is None:
        return ""
    return f"{day.isoformat()}\n(late)" if day < today else day.isoformat()


def _from_words(line: RestockLine, shop: Shop) -> str:
    from fractions import Fraction

    from inventory.core.money import format_money

    if line.choice is None:
        return "nobody offers it"
    offer = line.choice.offer
    packs = f"{format_count(line.choice.packs, 'pack')} of {offer.pack}"
    price = format_money(Fraction(line.choice.price), shop.currency)
    return f"{offer.supplier}\n{packs}, {price}"


def _say_sum(lines: list[RestockLine], shop: Shop) -> None:
    from fractions import Fraction

    from inventory.core.money import format_money

    chosen = [one.choice for one in lines if one.choice is not None]
    if chosen:
        goods = sum((Fraction(one.price) for one in chosen), Fraction(0))
        typer.echo(f"Together {format_money(goods, shop.currency)}, shipping not counted")
    if len(chosen) < len(lines):
        typer.echo(
            "What nobody offers is on no price list of today; 'quirebox buy prices import' reads"
            " one."
        )


def _line_as_json(line: RestockLine, currency: str) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    choice, low = line.choice, line.low
    return {
        "paper": line.paper,
        "width": to_mm_number(line.width),
        "height": to_mm_number(line.height),
        "sheets": line.sheets,
        "why": line.why,
        "orders": list(line.orders),
        "below": None
        if low is None
        else {
            "left": low.remaining,
            "reorder": low.reorder_point,
            "target": low.target,
            "any_size": low.any_size,
        },
        "needed": None if line.needed is None else line.needed.isoformat(),
        "order_by": None if line.order_by is None else line.order_by.isoformat(),
        "on_its_way": line.on_order,
        "buy": None
        if choice is None
        else {
            "supplier": choice.offer.supplier,
            "packs": choice.packs,
            "pack": choice.offer.pack,
            "price": f"{choice.price:f}",
            "currency": currency,
            "days": choice.offer.lead_days,
        },
    }


@app.command("dates")
def dates(
    context: typer.Context,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """List what must be ordered by when to meet which order, and what is on its way.

    The last day to order is the day the order is due, less the days to make it
    ('quirebox shop set --making-days') and the days to the delivery.

    \b
    Example:
      quirebox buy dates
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.restocking.restock_list import order_dates
    from inventory.shop.settings import get_shop

    today = date.today()
    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            rows = order_dates(shop_file, today=today, effort=effort, **search)
        with shop_file.read() as session:
            shop = get_shop(session)
    if as_json:
        print_json([_date_as_json(one, today) for one in rows])
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Order"})
    shown = table(
        "To be there in time", "Order by", "Order", "For", "Due", "Paper", "There by", "From",
        right=right,
    )  # fmt: skip
    for column in (0, 3, 5):
        shown.columns[column].no_wrap = True
    for one in rows:
        size = ""
        if one.width is not None and one.height is not None:
            size = f"\n{format_size(one.width, one.height, shop.unit)}"
        late = "\n(late)" if one.is_late(today) else ""
        if one.purchase is not None and one.expected is not None:
            when = f"on its way{late}"
            source = f"{one.supplier}\npurchase {one.purchase}, expected {one.expected.isoformat()}"
        else:
            when = f"{one.order_by.isoformat()}{late}" if one.order_by else f"?{late}"
            source = one.supplier or "nobody offers it"
        shown.add_row(
            when,
            str(one.order),
            Text(one.customer),
            one.due.isoformat(),
            Text(f"{one.paper}{size}"),
            one.needed.isoformat(),
            Text(source),
        )
    console().print(shown if rows else "No confirmed order waits for paper.")


def _date_as_json(one: OrderDeadline, today: date) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    return {
        "order": one.order,
        "customer": one.customer,
        "due": one.due.isoformat(),
        "paper": one.paper,
        "width": None if one.width is None else to_mm_number(one.width),
        "height": None if one.height is None else to_mm_number(one.height),
        "needed": one.needed.isoformat(),
        "order_by": None if one.order_by is None else one.order_by.isoformat(),
        "supplier": one.supplier,
        "purchase": one.purchase,
        "expected": None if one.expected is None else one.expected.isoformat(),
        "late": one.is_late(today),
    }


app.command("plan")(plan)
app.add_typer(level.app, name="level")
app.add_typer(purchase.app, name="purchase")
app.add_typer(prices.prices, name="prices")
app.add_typer(prices.suppliers, name="supplier")
app.add_typer(prices.rates, name="rate")
