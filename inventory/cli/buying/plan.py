"""`quirebox buy plan`: the cheapest purchase, solved together with the cutting."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    JsonFlag,
    SecondsOption,
    command_words,
    format_count,
    shop_file_of,
    stopping,
)
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from fractions import Fraction

    from inventory.database.tables.purchasing import Purchase
    from inventory.database.tables.shop import Shop
    from inventory.restocking.purchase_plan import PlanLine, RestockPlan

__all__ = ["plan"]

_PIECES_LEFT_OVER = 3


def plan(
    context: typer.Context,
    orders: Annotated[
        list[int] | None,
        typer.Argument(metavar="ORDER", help="Confirmed orders; all of them, unless given."),
    ] = None,
    levels: Annotated[
        bool,
        typer.Option(
            "--levels",
            help="Also hold the levels you set: a paper that is down to its level once the orders"
            " are made is bought up to its target, and sheets up to that are left alone.",
        ),
    ] = False,
    in_time: Annotated[
        bool, typer.Option("--in-time", help="Only what comes in time for every one of the orders.")
    ] = False,
    book: Annotated[
        bool, typer.Option("--record", help="Book it as purchases, one a supplier.")
    ] = False,
    cuts: CutsOption = Cuts.STRAIGHT,
    ignore_grain: Annotated[
        bool, typer.Option("--ignore-grain", help="Let pieces lie as they may for once.")
    ] = False,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    drawings: Annotated[
        Path | None,
        typer.Option("--drawings", metavar="FOLDER", help="Draw each layout into this folder."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Find the cheapest packs with which all orders can be made, shipping counted.

    It is worked out together with the cutting: a dearer large sheet wins where it saves two small
    ones. Sheets and offcuts at hand, and what is on its way, are used as far as they serve.
    Nothing is stored without --record. When pieces fit no sheet on offer, the rest is
    planned, they are listed, and the exit code is 3.

    \b
    Examples:
      quirebox buy plan
      quirebox buy plan 3 5 --levels --effort thorough
      quirebox buy plan --in-time --record
    """
    from inventory.cli.shared.terminal import console, print_json, searching
    from inventory.core.money import format_money
    from inventory.restocking.purchase_plan import book_purchases, plan_purchase
    from inventory.shop.settings import get_shop
    from nester.packing import (
        usable_cores,
    )

    today = date.today()
    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            shop = get_shop(session)
        with (
            stopping(seconds) as stop,
            searching("Buying", lambda amount: format_money(amount, shop.currency)) as tell,
        ):
            found = plan_purchase(
                shop_file, orders or (), levels=levels, in_time=in_time, cuts=cuts,
                ignore_grain=ignore_grain, effort=effort, today=today,
                processes=usable_cores(), stop=stop, on_progress=tell,
            )  # fmt: skip
        booked: list[Purchase] = []
        if book and found.lines:
            with shop_file.begin() as session:
                booked = book_purchases(session, found, today=today)
        if drawings is not None:
            from inventory.cli.fit import draw_answer

            draw_answer(found.bought.problem, found.bought.cutting_plan, shop.unit, drawings)
        if as_json:
            print_json(_as_json(found, [one.id for one in booked], today))
        else:
            console().print(_report(found, shop, today))
            for one in booked:
                typer.echo(
                    f"Purchase {one.id} booked; when it comes:"
                    f" {command_words(context, f'buy purchase receive {one.id}')}"
                )
    if found.unmade:
        raise typer.Exit(_PIECES_LEFT_OVER)


def _report(found: RestockPlan, shop: Shop, today: date) -> object:
    from rich.console import Group
    from rich.text import Text

    parts: list[object] = []
    if found.lines:
        parts.append(_to_buy(found, shop, today))
    if found.shipping:
        parts.append(_suppliers(found))
    if found.stock_use:
        parts.append(_stash(found, shop))
    if found.filled_levels:
        parts.append(_filled_levels(found, shop))
    if found.unmade:
        parts.append(_unmade(found, shop))
    parts += [Text(sentence) for sentence in _words(found, today)]
    return Group(*parts)  # type: ignore[arg-type]


def _to_buy(found: RestockPlan, shop: Shop, today: date) -> object:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Price", "Left"})
    shown = table("To buy", "Order by", "Packs", "Paper", "Price", "Left", "For", right=right)
    shown.columns[0].no_wrap = True
    for one in found.lines:
        offer = one.offer
        when = ""
        if one.order_by is not None:
            late = "\n(late)" if one.order_by < today else ""
            when = f"{one.order_by.isoformat()}{late}"
        size = format_size(offer.width, offer.height, shop.unit)
        whom = "order" if len(one.orders) == 1 else "orders"
        shown.add_row(
            when,
            Text(f"{format_count(one.packs, 'pack')} of {offer.pack}\nfrom {offer.supplier}"),
            Text(f"{offer.paper}\n{size}"),
            _money(one.price, found.currency),
            str(one.sheets - one.used),
            f"{whom} {_few(one.orders)}" if one.orders else "to have",
        )
    return shown


def _few(numbers: tuple[int, ...]) -> str:
    shown = ", ".join(map(str, numbers[:4]))
    return shown if len(numbers) <= 4 else f"{shown} and {len(numbers) - 4} more"


def _suppliers(found: RestockPlan) -> object:
    from fractions import Fraction

    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Goods", "Shipping", "Together"})
    shown = table("From whom", "Supplier", "Goods", "Shipping", "Together", right=right)
    for supplier, shipping in found.shipping.items():
        of_it = (one.price for one in found.lines if one.offer.supplier == supplier)
        goods = sum(of_it, Fraction(0))
        shown.add_row(
            Text(supplier),
            _money(goods, found.currency),
            _money(shipping, found.currency) if shipping else "free",
            _money(goods + shipping, found.currency),
        )
    return shown


def _stash(found: RestockPlan, shop: Shop) -> object:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Used", "Left"})
    shown = table("Used of the stash", "Used", "Left", "Of", "Paper", "Size", right=right)
    for one in found.stock_use:
        label = f"purchase {one.purchase}" if one.purchase is not None else one.label
        size = format_size(one.width, one.height, shop.unit)
        shown.add_row(str(one.used), str(one.remaining), Text(label), Text(one.paper), size)
    return shown


def _filled_levels(found: RestockPlan, shop: Shop) -> object:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    right = frozenset({"Held", "There", "Bought"})
    shown = table("Levels", "Held", "There", "Bought", "Paper", "Size", right=right)
    for one in found.filled_levels:
        size = format_size(one.width, one.height, shop.unit) if one.width else ""
        nobody = one.on_hand + one.bought < one.target
        shown.add_row(
            str(one.target),
            str(one.on_hand),
            "nobody offers it" if nobody else str(one.bought),
            Text(one.paper),
            size,
        )
    return shown


def _unmade(found: RestockPlan, shop: Shop) -> object:
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from nester.core.lengths import format_size

    shown = table("Not made", "Quantity", "Piece", "Why", right=frozenset({"Quantity"}))
    for one in found.unmade:
        size = format_size(one.width, one.height, shop.unit)
        shown.add_row(str(one.quantity), Text(f"{one.piece}, {size}\n{one.paper}"), Text(one.why))
    return shown


def _words(found: RestockPlan, today: date) -> list[str]:
    bought = found.bought
    if not found.lines:
        return ["Nothing to buy: what is there, or on its way, is enough."]
    total = _money(bought.cost, found.currency)
    if bought.lower_bound == bought.cost:
        words = [f"{total} in all; proven: no purchase that is enough costs less."]
    else:
        words = [
            f"{total} in all; no purchase that is enough costs less than"
            f" {_money(bought.lower_bound, found.currency)}, so at most"
            f" {float(100 * bought.optimality_gap):.1f} % could be saved."
        ]
    late = sorted({number for one in _late(found, today) for number in one.orders})
    if late:
        whom = "order" if len(late) == 1 else "orders"
        words.append(
            f"Some of it comes too late for {whom} {_few(tuple(late))}; --in-time buys only what"
            " comes in time."
        )
    if bought.interrupted:
        words.append("The search was stopped early; this is the best it had found.")
    return words


def _late(found: RestockPlan, today: date) -> list[PlanLine]:
    return [one for one in found.lines if one.order_by is not None and one.order_by < today]


def _money(value: Fraction, currency: str) -> str:
    from inventory.core.money import format_money

    return format_money(value, currency)


def _exact(value: Fraction, currency: str) -> str:
    from inventory.core.money import round_to_coin

    return f"{round_to_coin(value, currency):f}"


def _as_json(found: RestockPlan, booked: list[int], today: date) -> dict[str, Any]:
    from inventory.core.money import floor_to_coin
    from inventory.views.cutting import answer_as_json
    from nester.core.lengths import to_mm_number

    bought, currency = found.bought, found.currency
    proven = bought.lower_bound == bought.cost
    bound = (
        _exact(bought.cost, currency)
        if proven
        else f"{floor_to_coin(bought.lower_bound, currency):f}"
    )

    def size(one: Any) -> dict[str, Any]:
        return {"width": to_mm_number(one.width), "height": to_mm_number(one.height)}

    return {
        "orders": [order.id for order in found.orders],
        "currency": currency,
        "cost": _exact(bought.cost, currency),
        "bound": bound,
        "proven": proven,
        "gap": float(bought.optimality_gap),
        "buy": [
            {
                "supplier": one.offer.supplier,
                "paper": one.offer.paper,
                **size(one.offer),
                "pack": one.offer.pack,
                "packs": one.packs,
                "price": _exact(one.price, currency),
                "sheets": one.sheets,
                "used": one.used,
                "orders": list(one.orders),
                "needed": None if one.needed is None else one.needed.isoformat(),
                "order_by": None if one.order_by is None else one.order_by.isoformat(),
                "late": one.order_by is not None and one.order_by < today,
            }
            for one in found.lines
        ],
        "shipping": {name: _exact(value, currency) for name, value in found.shipping.items()},
        "stash": [
            {
                "label": None if one.purchase is not None else one.label,
                "purchase": one.purchase,
                "paper": one.paper,
                **size(one),
                "used": one.used,
                "left": one.remaining,
            }
            for one in found.stock_use
        ],
        "levels": [
            {
                "paper": one.paper,
                **size(one),
                "target": one.target,
                "there": one.on_hand,
                "bought": one.bought,
            }
            for one in found.filled_levels
        ],
        "unmade": [
            {
                "paper": one.paper,
                "piece": one.piece,
                **size(one),
                "quantity": one.quantity,
                "why": one.why,
                "orders": list(one.orders),
            }
            for one in found.unmade
        ],
        "recorded": booked,
        "cutting": answer_as_json(bought.problem, bought.cutting_plan),
    }
