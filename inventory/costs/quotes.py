"""Offers: what an order is offered for, and all that the customer is shown of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from inventory.core.text import clean_note
from inventory.costs.order_costs import order_cost
from inventory.costs.rates import quote_days
from inventory.database.tables.enums import OrderStatus
from inventory.orders.orders import design_of, get_order, thickness_of_papers
from inventory.shop.settings import get_shop
from inventory.stock.papers import find_paper
from nester.core.errors import Hint, Refusal
from nester.core.lengths import Unit
from nester.designs import Design, Settings, read_settings

if TYPE_CHECKING:
    from decimal import Decimal

    from inventory.database.shop_file import ShopFile
    from nester.packing import Stop

__all__ = [
    "Quote",
    "QuotedPaper",
    "quote_order",
]


def quote_order(
    shop_file: ShopFile,
    number: int,
    *,
    today: date,
    valid_until: date | None = None,
    posted: bool = True,
    each: Decimal | None = None,
    note: str = "",
    stop: Stop | None = None,
) -> Quote:
    """Return the offer for an order, at the price agreed or else the one that leaves the margin.

    Parameters
    ----------
    today
        The day it is made; the paper's prices of that day count.
    valid_until
        Unless given, as many days later as the shop has set.
    posted
        False: it is collected, so that there is no postage.
    each
        What one box is sold for; the price agreed with the order, unless given.
    note
        The maker's own words below it.

    Raises
    ------
    Refusal
        If there is no such order, it is cancelled or delivered, the offer would end before it
        begins, or the cost leaves something out and no price is given.
    """
    words = clean_note(note)
    with shop_file.read() as session:
        order = get_order(session, number)
        if order.status in (OrderStatus.CANCELLED, OrderStatus.DELIVERED):
            raise Refusal(f"order {number} is {order.status}; there is nothing to offer any more")
        until = valid_until or today + timedelta(quote_days(session))
        if until < today:
            raise Refusal(f"the offer would have ended on {until.isoformat()}, before it begins")
        each = order.price if each is None else each
    cost = order_cost(shop_file, number, today=today, posted=posted, each=each, stop=stop).cost
    if cost.unknown and each is None:
        raise Refusal(
            f"order {number} can't be offered at a calculated price, as its cost leaves something"
            f" out: {'; '.join(cost.unknown)}; set that, or give the price yourself",
            Hint("see what is set", "cost show"),
        )
    with shop_file.read() as session:
        order = get_order(session, number)
        design = design_of(session, order)
        thickness = thickness_of_papers(session, order.papers)
        shop = get_shop(session)
        papers = {role: find_paper(session, name) for role, name in order.papers.items()}
        return Quote(
            shop=shop.name,
            order=order.id,
            customer=order.customer,
            design=design,
            copies=order.copies,
            given_sizes=dict(order.sizes),
            settings=read_settings(design, order.sizes, order.unit, thickness),
            unit=order.unit,
            papers=tuple(
                QuotedPaper(
                    role, paper.name, paper.colour, paper.finish, paper.grammage, paper.swatch
                )
                for role, paper in papers.items()
            ),
            unit_price=cost.sale.unit_price,
            price=cost.sale.price,
            currency=shop.currency,
            made_on=today,
            valid_until=until,
            ready_on=order.due,
            is_posted=posted,
            note=words,
        )


class QuotedPaper(NamedTuple):
    """The paper of a part; `role` is as designs call it."""

    role: str
    name: str
    colour: str
    finish: str
    grammage: int
    swatch: str | None


@dataclass(frozen=True)
class Quote:
    """What is offered to whom.

    Attributes
    ----------
    given_sizes
        The settings that the order gives, as they were written; only these are shown.
    settings
        All of the design, as they were read.
    unit_price, price
        Of one box, and of all copies.
    ready_on
        The day by which it is sent, or ready to be collected.
    is_posted
        Whether it is sent; then postage is in the price.
    note
        The maker's own words.
    """

    shop: str
    order: int
    customer: str
    design: Design
    copies: int
    given_sizes: Mapping[str, str]
    settings: Settings
    unit: Unit
    papers: tuple[QuotedPaper, ...]
    unit_price: Decimal
    price: Decimal
    currency: str
    made_on: date
    valid_until: date
    ready_on: date
    is_posted: bool = True
    note: str = ""
