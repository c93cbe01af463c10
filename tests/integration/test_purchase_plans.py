"""What to buy for orders and levels, from price lists: with it everything can be made."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from inventory.orders.orders import add_order
from inventory.production.planning import plan_batch
from inventory.purchasing.prices import set_price
from inventory.purchasing.purchases import list_purchases, receive_purchase, scheduled_receipts
from inventory.purchasing.reorder_levels import set_level
from inventory.purchasing.suppliers import set_supplier
from inventory.restocking.purchase_plan import book_purchases, plan_purchase
from inventory.restocking.restock_list import restock_list
from inventory.stock.adjust import spoil_stock
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_sheets
from nester.core.errors import Refusal
from nester.core.lengths import Length, cm
from nester.core.problem import Effort

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.restocking.purchase_plan import RestockPlan
    from nester.core.sheet_sizes import Size
    from tests.integration.conftest import Hand

TODAY, LISTED = date(2027, 3, 1), date(2020, 1, 1)
SMALL, LARGE = (cm(50), cm(70)), (cm(70), cm(100))


@pytest.fixture
def priced(shop: ShopFile) -> ShopFile:
    with shop.begin() as session:
        for name in ("Coal card", "Moss linen"):
            add_paper(session, name, colour="some", grammage=200)
        set_supplier(session, "Mill", shipping=Decimal("5"), free_from=Decimal("40"), days=4)
        set_supplier(session, "Corner", shipping=Decimal("0"), days=1)
        offer(session, "Mill", "Coal card", SMALL, 10, "12")
        offer(session, "Mill", "Moss linen", SMALL, 10, "15")
        offer(session, "Corner", "Coal card", SMALL, 1, "1.90")
        offer(session, "Corner", "Coal card", LARGE, 1, "3.10")
    return shop


def offer(
    session: Session, supplier: str, paper: str, size: tuple[Length, Length], pack: int, price: str
) -> None:
    set_price(session, supplier, paper, size, Decimal(price), pack=pack, day=LISTED)


def order_cards(shop: ShopFile, copies: int, paper: str = "Coal card", days: int = 20) -> int:
    """Order folded cards, each of one blank of 30 × 30 cm."""
    said = {"width": "15cm", "height": "30cm", "mats": "none"}
    with shop.begin() as session:
        due = TODAY + timedelta(days)
        order, _ = add_order(
            session, "Ewa", "folded-card", said, {"all": paper}, copies, due, TODAY
        )
        return order.id


def buy(shop: ShopFile, orders: Sequence[int] = (), **others) -> RestockPlan:
    return plan_purchase(shop, orders, effort=Effort.QUICK, today=TODAY, **others)


def told(plan: RestockPlan) -> list[tuple[str, str, int, int]]:
    return [(one.offer.supplier, one.offer.paper, one.offer.pack, one.packs) for one in plan.lines]


def test_a_dearer_large_sheet_wins_where_it_saves_two_small_ones(priced: ShopFile) -> None:
    # A small sheet (1.90) holds two blanks and a large one (3.10) six.
    order_cards(priced, 8)
    plan = buy(priced)
    assert plan.bought.cost == plan.bought.lower_bound == Fraction(5)
    assert sorted((one.offer.width, one.packs) for one in plan.lines) == [
        (cm(50), 1),
        (cm(70), 1),
    ]


def test_what_lies_there_is_used_first_and_told(priced: ShopFile) -> None:
    with priced.begin() as session:
        add_sheets(session, "Coal card", SMALL, 3, price=Decimal("1.90"))
    number = order_cards(priced, 8)
    plan = buy(priced)
    assert plan.bought.cost == plan.bought.lower_bound == Fraction("1.90")
    (kept,) = plan.stock_use
    assert (kept.used, kept.remaining, kept.purchase) == (3, 0, None)
    (line,) = plan.lines
    assert line.orders == (number,)
    assert line.sheets - line.used == 0


def test_shipping_and_packs_are_weighed_with_the_cutting(priced: ShopFile) -> None:
    order_cards(priced, 40)
    # Twenty small sheets: two packs of the mill and its shipping are 29.00; singly 38.00, in
    # large ones 7 × 3.10 = 21.70.
    plan = buy(priced)
    assert plan.bought.cost == plan.bought.lower_bound == Fraction("21.70")
    with priced.begin() as session:
        offer(session, "Corner", "Coal card", LARGE, 1, "5.00")
    assert buy(priced).bought.cost == Fraction(29)


def test_by_when_it_must_be_ordered(priced: ShopFile) -> None:
    soon, late = order_cards(priced, 2, days=3), order_cards(priced, 2, "Moss linen", days=2)
    plan = buy(priced)
    by_paper = {one.offer.paper: one for one in plan.lines}
    coal, moss = by_paper["Coal card"], by_paper["Moss linen"]
    assert (coal.orders, moss.orders) == ((soon,), (late,))
    assert coal.order_by is not None
    assert coal.needed is not None
    assert coal.order_by == coal.needed - timedelta(coal.offer.lead_days)
    assert moss.order_by is not None
    assert moss.order_by < TODAY  # four days to the delivery
    with pytest.raises(Refusal, match="nobody offers any of these papers in time"):
        buy(priced, [late], in_time=True)


def test_what_is_recorded_is_on_its_way_and_not_bought_again(priced: ShopFile) -> None:
    order_cards(priced, 30)
    order_cards(priced, 20, "Moss linen")
    plan = buy(priced)
    with priced.begin() as session:
        purchases = book_purchases(session, plan, today=TODAY)
        booked = {one.supplier.name: one.shipping for one in purchases}
        rows = list_purchases(session)
    assert {name: Fraction(value) for name, value in booked.items()} == dict(plan.shipping)
    assert sum(Fraction(row.goods_value) for row in rows) == plan.bought.goods_cost
    again = buy(priced)
    assert again.lines == ()
    assert again.bought.cost == 0
    assert any(one.purchase is not None for one in again.stock_use)
    with priced.begin() as session, pytest.raises(Refusal, match="nothing to buy"):
        book_purchases(session, again, today=TODAY)
    with priced.begin() as session:
        for row in rows:
            receive_purchase(session, row.purchase.id, today=TODAY)
        assert scheduled_receipts(session) == []
    made = plan_batch(priced, effort=Effort.QUICK, today=TODAY)
    assert all(order.made for order in made.orders)


def test_levels_are_left_alone_and_filled(priced: ShopFile) -> None:
    with priced.begin() as session:
        add_sheets(session, "Coal card", SMALL, 3, price=Decimal("1.90"))
        set_level(session, "Coal card", 4, 5, size=SMALL)
    order_cards(priced, 2)
    plan = buy(priced, levels=True)
    (held,) = plan.filled_levels
    # The order takes one of the three that are there, and three are bought.
    assert (held.target, held.on_hand, held.bought) == (5, 2, 3)
    assert plan.stock_use == ()
    assert plan.bought.cost == plan.bought.lower_bound == Fraction("5.70")
    assert [(one.sheets, one.used, one.orders) for one in plan.lines] == [(3, 0, ())]
    assert buy(priced).bought.cost == 0


@pytest.mark.parametrize(
    ("there", "cards", "bought"),
    [
        (6, 0, 0),
        (5, 0, 4),
        (7, 1, 0),
        (6, 1, 4),
        (6, 2, 4),
        (8, 4, 0),
        (2, 0, 7),
    ],
)
@pytest.mark.parametrize("size", [SMALL, None])
def test_only_what_is_low_once_orders_are_made_is_filled(
    priced: ShopFile, there: int, cards: int, bought: int, size: Size | None
) -> None:
    """Two cards fill a small sheet; a level of five, up to nine."""
    with priced.begin() as session:
        add_sheets(session, "Coal card", SMALL, there, price=Decimal("1.90"))
        set_level(session, "Coal card", 5, 9, size=size)
    if cards:
        order_cards(priced, cards)
    plan = buy(priced, levels=True)
    assert sum(one.sheets for one in plan.lines) == bought
    assert len(plan.filled_levels) == bool(bought)
    restock = restock_list(priced, today=TODAY).lines
    assert sum(one.sheets for one in restock) == bought
    assert [one.low is not None for one in restock] == [True] * len(plan.filled_levels)


def test_levels_alone_need_no_order(priced: ShopFile) -> None:
    with priced.begin() as session:
        set_level(session, "Moss linen", 3, 12)
    plan = buy(priced, levels=True)
    assert told(plan) == [("Mill", "Moss linen", 10, 2)]
    assert plan.orders == ()
    assert plan.lines[0].order_by is None


def test_what_fits_no_sheet_is_told(priced: ShopFile) -> None:
    said = {"width": "60cm", "height": "30cm", "mats": "none"}
    with priced.begin() as session:
        due = TODAY + timedelta(9)
        order, _ = add_order(
            session, "Jo", "folded-card", said, {"all": "Moss linen"}, 1, due, TODAY
        )
    order_cards(priced, 2)
    plan = buy(priced)
    assert {(one.paper, one.orders) for one in plan.unmade} == {("Moss linen", (order.id,))}
    assert {one.offer.paper for one in plan.lines} == {"Coal card"}


def test_refusals(priced: ShopFile) -> None:
    with pytest.raises(Refusal, match="no confirmed order"):
        buy(priced)
    with priced.begin() as session:
        add_paper(session, "Rare felt", colour="red", grammage=200)
    number = order_cards(priced, 1, "Rare felt")
    with pytest.raises(Refusal, match="nobody offers any of these papers in time"):
        buy(priced, [number], in_time=True)
    assert [one.paper for one in buy(priced, [number]).unmade] == ["Rare felt"]
    with priced.begin() as session:
        rare = add_sheets(session, "Rare felt", SMALL, 1, price=Decimal("2.10"))
        spoil_stock(session, rare.label, 1)
    found = buy(priced, [number])
    assert [(one.paper, one.sheets, one.price, one.orders) for one in found.unoffered] == [
        ("Rare felt", 1, Decimal("2.10"), (number,))
    ]
    assert (found.lines, found.cost, found.shipping) == ((), 0, {})
    with pytest.raises(Refusal, match="no order 99"):
        buy(priced, [99])
    assert not buy(priced, [order_cards(priced, 1)]).unmade


def test_the_command(priced: ShopFile, hand: Hand) -> None:
    order_cards(priced, 8, days=2000)
    data = hand.data("purchase_plan", "buy", "plan", "--effort", "quick")
    assert data["proven"]
    assert (data["cost"], data["currency"], data["recorded"]) == ("5.00", "EUR", [])
    assert data["shipping"] == {"Corner": "0.00"}
    text = hand.does("buy", "plan", "--effort", "quick", "--record")
    assert "proven: no purchase that is enough costs less" in text
    assert "Recorded purchase 1;" in text
    assert max(map(len, text.splitlines())) <= 80
    assert "Nothing to buy" in hand.does("buy", "plan")
