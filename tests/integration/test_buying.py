"""What to buy: with just that, the orders that waited can be made."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

import pytest

from inventory.core.plan import ShoppingLine
from inventory.orders.orders import add_order
from inventory.production.cutting import drop_batch
from inventory.production.planning import plan_batch
from inventory.production.sheets_to_buy import BuyableSheet, list_buyable_sheets, shopping_lines
from inventory.stock.adjust import count_stock
from inventory.stock.listing import list_stash
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_offcut, add_sheets
from nester.core.lengths import cm, inch
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.core.purchase import Offer
from nester.packing import purchase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile
    from nester.core.purchase import PaperPurchasePlan, SupplierTerms

TODAY = date(2027, 3, 1)


@pytest.fixture
def stocked(shop: ShopFile) -> ShopFile:
    with shop.begin() as session:
        for name in ("Coal card", "Moss linen", "Fern print"):
            pattern = "directional" if name == "Fern print" else "plain"
            add_paper(session, name, colour="some", grammage=200, pattern=pattern)
        add_sheets(session, "Coal card", (cm(50), cm(70)), 2, price=Decimal("1.80"))
        add_sheets(session, "Coal card", (inch(12), inch(12)), 1, price=Decimal("0.70"))
        add_sheets(session, "Moss linen", (cm(50), cm(70)), 1)
        add_sheets(session, "Fern print", (cm(50), cm(70)), 1, price=Decimal("2.10"))
        add_offcut(session, "Fern print", (cm(20), cm(25)))
    return shop


def order_boxes(shop: ShopFile, copies: int, days: int) -> int:
    said = {"panel": "12cm", "tiers": "3", "mats": "outside", "cards": "4", "photos": "2"}
    papers = {"all": "Coal card", "mat": "Moss linen", "photo": "Fern print"}
    with shop.begin() as session:
        due = TODAY + timedelta(days)
        order, _ = add_order(session, "Kofi", "layered-box", said, papers, copies, due, TODAY)
        return order.id


def plan(shop: ShopFile, **others) -> Plan:
    return plan_batch(shop, effort=Effort.QUICK, today=TODAY, **others)


def buy(shop: ShopFile, lines: tuple[ShoppingLine, ...]) -> None:
    with shop.begin() as session:
        for line in lines:
            assert line.quantity > 0
            size = line.width, line.height
            add_sheets(session, line.paper, size, line.quantity, price=line.price)


@pytest.mark.parametrize("cuts", list(Cuts))
def test_with_what_the_list_says_the_waiting_orders_can_be_made(
    stocked: ShopFile, cuts: Cuts
) -> None:
    numbers = [order_boxes(stocked, copies, days) for days, copies in enumerate((1, 2, 3), 1)]
    first = plan(stocked, cuts=cuts)
    waiting = [one.number for one in first.orders if not one.made]
    assert waiting
    assert {order for line in first.restock for order in line.orders} == set(waiting)
    assert {line.paper for line in first.restock} <= {lack.paper for lack in first.lacking}
    buy(stocked, first.restock)
    second = plan(stocked, cuts=cuts)
    assert [one.number for one in second.orders] == waiting
    assert all(one.made for one in second.orders)
    assert second.lacking == second.restock == ()
    assert set(numbers) == set(waiting) | {one.number for one in first.orders if one.made}


def test_the_list_leaves_what_the_batch_takes_alone(stocked: ShopFile) -> None:
    order_boxes(stocked, 1, 1)
    order_boxes(stocked, 9, 2)
    first = plan(stocked)
    assert first.batch == 1
    with stocked.begin() as session:
        drop_batch(session, 1)
    with stocked.begin() as session:
        for row in list_stash(session):
            count_stock(session, row.label, 0)
    # Nothing left in the stash: for all of it more must be bought, not less.
    cost = sum(line.price * line.quantity for line in first.restock if line.price is not None)
    again = plan(stocked)
    everything = sum(line.price * line.quantity for line in again.restock if line.price is not None)
    assert everything >= cost > 0


def test_the_cheapest_known_size_is_bought(stocked: ShopFile) -> None:
    with stocked.begin() as session:
        said = {"width": "15cm", "height": "30cm", "mats": "none"}
        papers = {"all": "Coal card"}
        due = TODAY + timedelta(3)
        add_order(session, "Ewa", "folded-card", said, papers, 8, due, TODAY)
    # Blanks of 30 × 30 cm, two from a large sheet at 1.80 or one from a small one at 0.70: five
    # come from the sheets at hand, so only three small ones are bought.
    (line,) = plan(stocked).restock
    assert (line.width, line.height) == (inch(12), inch(12))
    assert (line.quantity, line.price) == (3, Decimal("0.70"))


def test_paper_of_which_no_sheet_is_known_is_listed_with_the_size_it_takes(
    shop: ShopFile,
) -> None:
    with shop.begin() as session:
        add_paper(session, "Moss linen", colour="green", grammage=150)
        add_offcut(session, "Moss linen", (cm(30), cm(20)))
        said = {"width": "11cm", "height": "31cm", "mats": "none"}
        papers = {"all": "Moss linen"}
        add_order(session, "Ewa", "folded-card", said, papers, 2, TODAY, TODAY)
    told = plan(shop)
    assert told.restock == (ShoppingLine("Moss linen", cm(22), cm(31), 0, None, (1,)),)
    assert [lack.why for lack in told.lacking] == ["it is larger than every sheet of its paper"]


def test_nothing_is_bought_when_nothing_lacks(stocked: ShopFile) -> None:
    order_boxes(stocked, 1, 1)
    told = plan(stocked)
    assert all(one.made for one in told.orders)
    assert told.restock == ()


def test_sizes_on_sale_are_those_in_the_book_at_the_last_price(shop: ShopFile) -> None:
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=300)
        size = cm(50), cm(70)
        add_sheets(session, "Coal card", size, 2, price=Decimal("1.80"))
        gone = add_sheets(session, "Coal card", (cm(70), cm(100)), 1, price=Decimal(3))
        add_sheets(session, "Coal card", size, 2, price=Decimal("1.95"))
        add_sheets(session, "Coal card", size, 2)
        add_sheets(session, "Coal card", (inch(12), inch(12)), 2)
        add_offcut(session, "Coal card", (cm(20), cm(20)), price=Decimal("0.1"))
        count_stock(session, gone.label, 0)
        rows = list_stash(session, include_empty=True)
    sheets = list_buyable_sheets(rows)
    assert {(one.offer.width, one.offer.height, one.price) for one in sheets} == {
        (cm(50), cm(70), Decimal("1.95")),
        (cm(70), cm(100), Decimal(3)),
        (inch(12), inch(12), None),
    }


def test_a_size_without_a_price_is_compared_by_its_area(shop: ShopFile) -> None:
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=300)
        add_sheets(session, "Coal card", (cm(50), cm(50)), 1)
        add_sheets(session, "Coal card", (cm(50), cm(70)), 1, price=Decimal("1.2"))
        sheets = list_buyable_sheets(list_stash(session))
    assert [sheet.offer.sheet_price for sheet in sheets] == [Fraction(1, 4), Fraction(6, 5)]
    assert [sheet.price for sheet in sheets] == [None, Decimal("1.2")]


def test_what_is_left_is_used_before_anything_is_bought() -> None:
    wants = (
        Demand("a", cm(40), cm(40), 3, "card"),
        Demand("b", cm(60), cm(10), 1, "print", Turn.NONE),
        Demand("c", cm(99), cm(99), 2, "card"),
    )
    stock = (StockItem("S-1", cm(40), cm(40), 2, Fraction(9), "card"),)
    sizes = (
        BuyableSheet(Offer("large", "", "card", cm(50), cm(50), 1, Fraction(10))),
        BuyableSheet(Offer("print", "", "print", cm(50), cm(70), 1, Fraction(2))),
    )
    orders = {"a": (1, 4), "b": (4,), "c": (7,)}
    buy = partial(purchase, effort=Effort.QUICK)
    lines = shopping_lines(Problem(wants, stock), sizes, (), orders, buy)
    assert lines == (
        ShoppingLine("card", cm(99), cm(99), 0, None, (7,)),
        ShoppingLine("card", cm(50), cm(50), 1, Decimal(10), (1, 4)),
        ShoppingLine("print", cm(60), cm(10), 0, None, (4,)),
    )


def test_the_safety_stop_also_ends_the_search_for_what_to_buy(
    stocked: ShopFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    order_boxes(stocked, copies=30, days=1)
    given: list[dict[str, object]] = []

    def watched(
        problem: Problem, offers: Sequence[Offer], terms: Sequence[SupplierTerms], **how: object
    ) -> PaperPurchasePlan:
        given.append(how)
        return purchase(problem, offers, effort=Effort.QUICK)

    def stop() -> bool:
        return True

    monkeypatch.setattr("inventory.production.planning.purchase", watched)
    lines = plan_batch(stocked, today=TODAY, stop=stop).restock
    assert lines
    (how,) = given
    assert how["stop"] is stop
