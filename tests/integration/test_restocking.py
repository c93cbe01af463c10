"""The restock list: why each line is there, from whom, and by when it must be ordered."""

from __future__ import annotations

import random
from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from inventory.changes import undo
from inventory.database.tables.enums import Reason
from inventory.production.planning import plan_batch
from inventory.purchasing import prices, purchases, reorder_levels, suppliers
from inventory.purchasing.optimizer_offers import offers_in_time
from inventory.purchasing.order_days import latest_order_date, paper_needed_by
from inventory.purchasing.purchases import PurchaseLineRequest
from inventory.restocking.purchase_plan import plan_purchase
from inventory.restocking.restock_list import (
    LowLevel,
    order_dates,
    restock_list,
)
from inventory.shop.settings import change_shop
from inventory.stock import adjust, ledger, lookup, receiving
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort
from tests.integration.conftest import TODAY, Table

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.purchasing.reorder_levels import LevelSuggestion
    from inventory.restocking.restock_list import OrderDeadline, RestockLine
    from tests.integration.conftest import Hand

SIZE, LARGE = (cm(50), cm(70)), (cm(70), cm(100))


def days(number: int) -> date:
    return TODAY + timedelta(number)


def offer(
    table: Table, supplier: str, amount: str, *, pack: int = 1, size=SIZE, delivery: int = 3, **more
) -> None:
    with table.shop.begin() as session:
        suppliers.set_supplier(session, supplier, days=delivery)
        prices.set_price(
            session, supplier, "Coal card", size, Decimal(amount), pack=pack, day=TODAY, **more
        )


def level(table: Table, reorder: int, target: int, size=None, paper: str = "Coal card") -> None:
    with table.shop.begin() as session:
        reorder_levels.set_level(session, paper, reorder, target, size=size)


def order(table: Table, packs: int, *, supplier: str = "Mill", today: date = TODAY) -> None:
    with table.shop.begin() as session:
        purchases.add_purchase(
            session, supplier, [PurchaseLineRequest("Coal card", SIZE, packs)], today=today
        )


def listed(table: Table) -> list[RestockLine]:
    return list(restock_list(table.shop, today=TODAY).lines)


def dated(table: Table) -> list[OrderDeadline]:
    return order_dates(table.shop, today=TODAY)


# --- for orders that wait


def test_the_last_days_to_order() -> None:
    due = date(2027, 3, 20)
    assert paper_needed_by(due, 2) == date(2027, 3, 18)
    assert latest_order_date(due, 2, 5) == date(2027, 3, 13)
    assert latest_order_date(date(1, 1, 3), 2, 5) == date.min


def test_orders_that_wait_are_the_reason(table: Table) -> None:
    table.sheets(SIZE, 1)
    offer(table, "Mill", "9.50", pack=10)
    assert listed(table) == []
    # A card takes 20 × 20 cm: a sheet of 50 × 70 cm holds six.
    first, second = table.card(12, days=20), table.card(12, days=9)
    (line,) = listed(table)
    assert (line.paper, line.width, line.height) == ("Coal card", *SIZE)
    assert (line.sheets, line.orders) == (3, (second, first))
    assert line.why == [f"2 orders wait for it: {second} and {first}"]
    assert line.choice is not None
    assert (line.choice.offer.supplier, line.choice.packs, line.choice.price) == (
        "Mill", 1, Decimal("9.5"),
    )  # fmt: skip
    assert (line.needed, line.order_by) == (days(7), days(4))
    assert [(one.order, one.needed, one.order_by, one.supplier) for one in dated(table)] == [
        (second, days(7), days(4), "Mill"), (first, days(18), days(15), "Mill"),
    ]  # fmt: skip
    assert not any(one.is_late(TODAY) for one in dated(table))
    assert dated(table)[0].is_late(days(5))
    assert table.batches() == 0

    with table.shop.begin() as session:
        change_shop(session, making_days=6)
    assert [one.order_by for one in dated(table)] == [days(0), days(11)]


def test_what_is_on_its_way_is_not_bought_again(table: Table) -> None:
    offer(table, "Mill", "1", delivery=5)
    number = table.card(12, days=9)
    order(table, 1)
    (line,) = listed(table)
    assert (line.sheets, line.on_order) == (1, 1)
    order(table, 1)
    assert listed(table) == []
    assert [one.purchase for one in dated(table)] == [1, 2]
    one = dated(table)[0]
    assert (one.order, one.expected, one.order_by) == (number, days(5), None)
    assert not one.is_late(TODAY)
    assert one.is_late(days(8))
    plan = table.plan()
    assert plan.batch is None
    assert plan.restock == ()
    assert [note for note in plan.notes if note.startswith("On its way")] == [
        f"On its way: 1 × Coal card, 500 × 700 mm, expected on {days(5).isoformat()}"
        f" (purchase {purchase})."
        for purchase in (1, 2)
    ]
    with table.shop.begin() as session:
        for purchase in (1, 2):
            purchases.receive_purchase(session, purchase, today=days(5))
    assert table.plan().batch is not None


def test_sizes_are_those_on_offer_else_those_of_before(table: Table) -> None:
    table.sheets(LARGE, 1, price=Decimal("0.10"))
    table.card(30)
    (line,) = listed(table)
    assert (line.width, line.choice, line.order_by) == (cm(70), None, None)
    offer(table, "Mill", "1")
    (line,) = listed(table)
    assert (line.width, line.height) == SIZE


def test_sizes_of_before_count_where_what_is_on_offer_is_too_small(table: Table) -> None:
    table.sheets(SIZE, 1, price=Decimal("0.10"))
    offer(table, "Mill", "0.05", size=(cm(30), cm(30)))
    table.card(6)
    table.card(1)
    (line,) = listed(table)
    assert (line.width, line.choice is None) == (cm(30), False)
    table.card(1, size=("20cm", "20cm"))
    (large,) = [one for one in listed(table) if one.width != cm(30)]
    assert (large.width, large.height, large.choice) == (*SIZE, None)


def test_paper_of_which_no_sheet_is_large_enough(table: Table) -> None:
    offer(table, "Mill", "1", size=(cm(10), cm(10)))
    number = table.card(1)
    (line,) = listed(table)
    assert (line.sheets, line.choice) == (0, None)
    assert line.why == [
        f"order {number} waits for it", "no sheet of it is known that is large enough",
    ]  # fmt: skip


def test_the_cheapest_that_comes_in_time(table: Table) -> None:
    offer(table, "Slow mill", "1", delivery=9)
    offer(table, "Quick mill", "3", delivery=1)
    offer(table, "Mill", "22", pack=10, delivery=3)
    with table.shop.read() as session:
        offered = prices.current_offers(session, today=TODAY)

    def left(needed: date | None, **others) -> set[str]:
        wanted = {} if needed is None else {"Coal card": needed}
        return {one.supplier for one in offers_in_time(offered, wanted, today=TODAY, **others)}

    assert left(None) == left(days(9)) == {"Slow mill", "Quick mill", "Mill"}
    assert left(days(8)) == {"Quick mill", "Mill"}
    assert left(days(0)) == {"Quick mill"}
    assert left(days(0), strict=True) == set()
    table.card(30, days=10)  # five sheets, which must be there eight days from now
    (line,) = listed(table)
    assert line.choice is not None
    assert (line.choice.offer.supplier, line.choice.packs) == ("Quick mill", 5)
    table.card(18, days=10)
    (line,) = listed(table)
    assert line.choice is not None
    assert (line.choice.offer.supplier, line.choice.packs, line.sheets) == ("Mill", 1, 8)


def test_the_least_order_is_bought(table: Table) -> None:
    offer(table, "Mill", "1", least=7)
    table.card(6)
    (line,) = listed(table)
    assert line.choice is not None
    assert (line.sheets, line.choice.packs) == (1, 7)


# --- to hold levels


def test_down_to_the_level_you_set(table: Table) -> None:
    table.sheets(SIZE, 6)
    offer(table, "Mill", "9", pack=5)
    level(table, 5, 20, SIZE)
    assert listed(table) == []
    level(table, 6, 6, SIZE)
    assert listed(table) == []
    level(table, 6, 20, (cm(70), cm(50)))
    (line,) = listed(table)
    assert (line.sheets, line.orders, line.low) == (14, (), LowLevel(6, 6, 20, any_size=False))
    assert line.why == ["down to the level you set: 6 left, and you set 6"]
    assert (line.needed, line.order_by) == (None, None)
    assert line.choice is not None
    assert line.choice.packs == 3
    order(table, 1)
    assert listed(table) == []


def test_what_orders_will_take_is_not_left(table: Table) -> None:
    table.sheets(SIZE, 6)
    offer(table, "Mill", "1")
    level(table, 5, 6, SIZE)
    table.card(12)
    (line,) = listed(table)
    assert line.low == LowLevel(4, 5, 6, any_size=False)
    assert line.sheets == 2
    table.plan()
    assert listed(table) == [line]


def test_both_reasons_on_one_line(table: Table) -> None:
    offer(table, "Mill", "1")
    level(table, 3, 8, SIZE)
    number = table.card(12)
    (line,) = listed(table)
    assert line.sheets == 2 + 8
    assert line.why == [
        f"order {number} waits for it", "down to the level you set: 0 left, and you set 3",
    ]  # fmt: skip


def test_a_level_for_any_size_is_filled_in_the_size_cheapest_by_area(table: Table) -> None:
    table.sheets(SIZE, 2)
    table.sheets(LARGE, 3)
    level(table, 6, 9)
    (line,) = listed(table)
    assert (line.sheets, line.low, line.choice) == (4, LowLevel(5, 6, 9, any_size=True), None)
    assert line.why == ["down to the level you set: 5 left of all sizes together, and you set 6"]
    offer(table, "Mill", "1")
    offer(table, "Mill", "1.9", size=LARGE)
    (line,) = listed(table)
    assert line.width == LARGE[0]
    assert line.choice is not None


def test_a_level_of_a_paper_nobody_ever_had(table: Table) -> None:
    level(table, 6, 9)
    assert listed(table) == []
    level(table, 2, 3, SIZE)
    (line,) = listed(table)
    assert (line.sheets, line.choice) == (3, None)


@pytest.mark.parametrize(
    ("reorder", "target", "said"),
    [(0, 5, "must be 1 to"), (5, 4, "leaves it below its level of 5"), (5, 10**7, "must be 1 to")],
)
def test_levels_that_can_t_be(table: Table, reorder: int, target: int, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        level(table, reorder, target)
    with table.shop.begin() as session, pytest.raises(Refusal, match="no such level of 'Coal ca"):
        reorder_levels.drop_level(session, "Coal card", SIZE)


# --- what use suggests


def used(table: Table, label: str, sheets: int, day: date) -> None:
    with table.shop.begin() as session:
        at = datetime.combine(day, time(12)).astimezone(UTC)
        stock = lookup.find_stock(session, label)
        ledger.book_movement(session, stock, -sheets, Reason.CUT, at=at)


def suggested(session: Session, **others) -> list[LevelSuggestion]:
    return reorder_levels.suggest_levels(session, today=TODAY, **others)


@pytest.fixture
def in_use(table: Table) -> Table:
    """Of 50 × 70 cm 14 sheets were used in eight weeks, and 99 before; two more taken back."""
    with table.shop.begin() as session:
        opened = datetime.combine(days(-300), time(12)).astimezone(UTC)
        receiving.add_sheets(
            session, "Coal card", SIZE, 500, reason=Reason.OPENING, at=opened, lot="B7"
        )
    used(table, "S-1", 99, days(-57))
    used(table, "S-1", 8, days(-56))
    used(table, "S-1", 6, days(-1))
    with table.shop.begin() as session:
        undo.undo_transaction(session, adjust.spoil_stock(session, "S-1", 2).transaction.id)
    return table


def test_levels_are_suggested_by_use_and_set_by_consent_only(in_use: Table) -> None:
    offer(in_use, "Mill", "10", pack=5, delivery=5)
    offer(in_use, "Slow mill", "9", pack=1, delivery=30)
    with in_use.shop.read() as session:
        (one,) = suggested(session)
        assert (one.paper, one.size, one.used, one.days) == ("Coal card", SIZE, 14, 56)
        assert one.weekly_use == Decimal("1.75")
        # A quarter of a sheet a day; 5 days to the delivery and 7 for safety, then 28 days more.
        assert (one.lead_days, one.reorder_point, one.target, one.current_level) == (5, 3, 10, None)
        (more,) = suggested(session, safety=20, cover=0)
        assert (more.reorder_point, more.target) == (7, 7)
        (less,) = suggested(session, weeks=1)
        assert (less.used, less.days) == (6, 7)
        assert reorder_levels.list_levels(session) == []
    with in_use.shop.begin() as session:
        reorder_levels.accept_suggestions(session, [one])
    with in_use.shop.read() as session:
        (kept,) = reorder_levels.list_levels(session)
        assert (kept.reorder, kept.target, kept.width) == (3, 10, SIZE[0])
        (again,) = suggested(session)
        assert again.current_level == (3, 10)


def test_a_level_for_any_size_is_suggested_where_there_is_one(in_use: Table) -> None:
    in_use.sheets(LARGE, 9)
    used(in_use, "S-2", 2, days(-3))
    with in_use.shop.read() as session:
        assert [one.used for one in suggested(session)] == [14, 2]
    level(in_use, 1, 1)
    with in_use.shop.read() as session:
        (one,) = suggested(session)
        assert (one.size, one.used, one.lead_days, one.current_level) == (None, 16, 7, (1, 1))
        assert reorder_levels.suggest_levels(session, ["Coal card"], today=TODAY) == [one]


def test_a_young_book_suggests_by_its_own_days(table: Table) -> None:
    with table.shop.begin() as session:
        at = datetime.combine(days(-14), time(12)).astimezone(UTC)
        receiving.add_sheets(session, "Coal card", SIZE, 50, reason=Reason.OPENING, at=at)
        assert suggested(session) == []
    used(table, "S-1", 4, days(-1))
    with table.shop.read() as session:
        (one,) = suggested(session)
        assert (one.used, one.days) == (4, 14)
        assert reorder_levels.suggest_levels(session, [], today=TODAY) == []
        with pytest.raises(Refusal, match="there is no paper 'Silk'"):
            reorder_levels.suggest_levels(session, ["Silk"], today=TODAY)


# --- at the desk


def test_at_the_desk(hand: Hand) -> None:
    assert hand.does("buy", "list") == "Nothing to buy.\n"
    assert "No confirmed order waits" in hand.does("buy", "dates")
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("buy", "supplier", "set", "Mill", "--days", "3")
    hand.does("buy", "prices", "set", "Mill", "Coal card", "50x70cm", "12.34", "--pack", "10")
    hand.does("buy", "level", "set", "Coal card", "4", "9", "--size", "50x70cm")
    hand.does("buy", "level", "set", "Coal card", "2", "3")
    hand.does("order", "add", "Ines", "gift-tag", "--due", "in 5 days", "--paper", "all=Coal card")
    (line,) = hand.data("restock", "buy", "list")
    today = date.today()
    assert line["orders"] == [1]
    # The nine of that size are more than the three of any size.
    assert line["sheets"] == 1 + 9
    assert line["buy"] == {
        "supplier": "Mill", "packs": 1, "pack": 10, "price": "12.34", "currency": "EUR", "days": 3,
    }  # fmt: skip
    assert (line["needed"], line["order_by"]) == (
        (today + timedelta(3)).isoformat(), today.isoformat(),
    )  # fmt: skip
    assert "12.34 EUR in all, free of shipping" in hand.does("buy", "list")
    (one,) = hand.data("order_dates", "buy", "dates")
    assert (one["customer"], one["supplier"], one["late"]) == ("Ines", "Mill", False)
    hand.does("shop", "set", "--making-days", "4")
    assert hand.data("shop", "shop", "show")["making_days"] == 4
    assert "(late)" in hand.does("buy", "dates")
    assert "must be 0 to 365" in hand.refused("shop", "set", "--making-days", "400")

    assert len(hand.data("levels", "buy", "level", "list")) == 2
    hand.does("buy", "level", "drop", "Coal card")
    assert "no such level of 'Coal card'" in hand.refused("buy", "level", "drop", "Coal card")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "30")
    hand.does("stash", "spoil", "S-1", "--quantity", "7")
    assert "Nothing is set yet" in hand.does("buy", "level", "suggest")
    (one,) = hand.data("level_suggestions", "buy", "level", "suggest", "Coal card", "--accept")
    assert one["now"] == {"reorder": 4, "target": 9}
    (kept,) = hand.data("levels", "buy", "level", "list")
    assert (kept["reorder"], kept["target"]) == (one["reorder"], one["target"]) == (10, 38)
    hand.does("buy", "purchase", "add", "Mill", "--line", "Coal card; 50x70cm; 1")
    hand.does("buy", "level", "drop", "Coal card", "--size", "50x70cm")
    assert hand.data("restock", "buy", "list") == []


# --- one reckoning


def test_two_suppliers_of_whom_one_is_late(table: Table) -> None:
    """The cheapest that comes in time, in the list, the days, the plan and the batch alike."""
    offer(table, "Slow mill", "22.46", pack=5, delivery=20)
    offer(table, "Mill", "6", delivery=2)
    number = table.card(12, days=9)
    (line,) = listed(table)
    assert line.choice is not None
    assert (line.choice.offer.supplier, line.choice.packs, line.choice.price) == ("Mill", 2, 12)
    (one,) = dated(table)
    assert (one.order, one.supplier, one.order_by) == (number, "Mill", line.order_by)
    for in_time in (False, True):
        plan = plan_purchase(table.shop, in_time=in_time, today=TODAY)
        assert plan.cost == plan.lower_bound == 12
    assert [(one.quantity, one.price) for one in table.plan().restock] == [(2, 6)]


@pytest.mark.parametrize("seed", range(8))
def test_what_is_to_be_bought_is_the_same_everywhere(shop: ShopFile, seed: int) -> None:
    """Random offers, days, orders, levels and stock: list, days, plan and batch say one thing."""
    dice = random.Random(seed)
    table = Table(shop)
    for paper in ("Coal card", "Moss card", "Fern print"):
        table.paper(paper)
        if dice.random() < 0.5:
            table.sheets(SIZE, dice.randint(1, 3), paper=paper, price=Decimal("1.15"))
    for supplier in ("Mill", "Corner", "Plover"):
        with shop.begin() as session:
            suppliers.set_supplier(
                session, supplier, days=dice.randint(1, 9),
                shipping=Decimal(dice.randint(0, 4)), free_from=Decimal(30),
            )  # fmt: skip
            for paper in dice.sample(["Coal card", "Moss card", "Fern print"], 2):
                pack = dice.choice([1, 5, 10])
                prices.set_price(
                    session, supplier, paper, dice.choice([SIZE, LARGE]),
                    Decimal(dice.randint(8, 25) * pack) / 10, pack=pack, day=TODAY,
                )  # fmt: skip
    for _ in range(4):
        table.card(
            dice.randint(1, 9), days=dice.randint(2, 12),
            paper=dice.choice(["Coal card", "Moss card", "Fern print"]),
        )  # fmt: skip
    if dice.random() < 0.5:
        level(table, 2, 4, SIZE)
    lines = restock_list(shop, today=TODAY, effort=Effort.QUICK).lines
    plan = plan_purchase(shop, levels=True, effort=Effort.QUICK, today=TODAY)
    packs = {line.offer: line.packs for line in plan.lines}
    assert {one.choice.offer: one.choice.packs for one in lines if one.choice} == packs
    offered = [one for one in lines if one.choice is not None]
    assert (
        sum(Fraction(one.choice.price) for one in offered if one.choice)
        + sum(plan.shipping.values())
        == plan.cost
    )
    days_told = order_dates(shop, today=TODAY, effort=Effort.QUICK)
    assert {(one.order, one.paper) for one in days_told} == {
        (number, one.paper) for one in lines for number in one.orders
    }
    for one in days_told:
        of_line = [line for line in lines if one.order in line.orders and line.paper == one.paper]
        assert one.supplier in {line.choice and line.choice.offer.supplier for line in of_line}
    for line in plan.lines:
        others = [
            pack
            for pack in all_offers(shop)
            if pack.paper == line.offer.paper and line.needed is not None
            and TODAY + timedelta(pack.lead_days) <= line.needed
        ]  # fmt: skip
        if others and line.needed is not None:
            assert TODAY + timedelta(line.offer.lead_days) <= line.needed
    made = plan_batch(shop, effort=Effort.QUICK, today=TODAY)
    rest = plan_purchase(shop, effort=Effort.QUICK, today=TODAY) if made.restock else None
    if rest is not None:
        bought = Counter[tuple[str, int, int]]()
        for one in rest.lines:
            bought[one.offer.paper, one.offer.width, one.offer.height] += one.sheets
        for other in rest.unoffered:
            bought[other.paper, other.width, other.height] += other.sheets
        told = {(one.paper, one.width, one.height): one.quantity for one in made.restock}
        assert {key: number for key, number in told.items() if number} == bought


def all_offers(shop: ShopFile) -> list[prices.ListedPack]:
    with shop.read() as session:
        return prices.current_offers(session, today=TODAY)
