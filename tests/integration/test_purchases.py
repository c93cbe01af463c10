"""Purchases: ordered at the prices asked, received in part and in full, closed, taken back."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from inventory.changes import undo
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Transaction
from inventory.maintenance.check import check_shop
from inventory.purchasing import prices, purchases, suppliers
from inventory.purchasing.purchases import PurchaseLineRequest, PurchaseStatus, ReceivedPacks
from inventory.stock import adjust, listing, papers, receiving
from inventory.stock.receiving import list_deliveries
from nester.core.errors import Refusal
from nester.core.lengths import cm, mm
from nester.core.problem import Margins

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from inventory.purchasing.purchases import PurchaseRow
    from tests.integration.conftest import Hand

TODAY = date(2027, 3, 1)
SIZE = (cm(50), cm(70))
COAL = PurchaseLineRequest("Coal card", SIZE, 3)
MOSS = PurchaseLineRequest("Moss linen", SIZE, 2)


def stock_up(session: Session) -> None:
    for name in ("Coal card", "Moss linen"):
        papers.add_paper(session, name, colour="black", grammage=300)
    suppliers.set_supplier(
        session, "Mill", shipping=Decimal("4.90"), free_from=Decimal(120), days=3
    )
    for paper, pack, amount, least, days in (
        ("Coal card", 25, "31.25", 1, None), ("Coal card", 25, "29", 4, None),
        ("Moss linen", 10, "12", 1, 9), ("Moss linen", 50, "55", 2, None),
    ):  # fmt: skip
        prices.set_price(
            session, "Mill", paper, SIZE, Decimal(amount), pack=pack, least=least, days=days,
            day=TODAY,
        )  # fmt: skip


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        stock_up(opened)
        yield opened


def order(session: Session, *wishes: PurchaseLineRequest, **others) -> PurchaseRow:
    made = purchases.add_purchase(session, "Mill", wishes or [COAL], today=TODAY, **others)
    return purchases.purchase_row(session, made)


def row(session: Session, number: int = 1) -> PurchaseRow:
    return purchases.purchase_row(session, purchases.get_purchase(session, number))


def on_hand(session: Session) -> dict[str, int]:
    return {one.label: one.quantity for one in listing.list_stash(session)}


def coming(session: Session) -> list[tuple[str, int]]:
    return [(one.paper, one.sheets) for one in purchases.scheduled_receipts(session)]


def test_a_purchase_knows_its_prices_and_days(session: Session) -> None:
    made = order(session, COAL, PurchaseLineRequest("moss linen", (cm(70), cm(50)), 1, pack=10))
    assert [(one.line.amount, one.line.pack, one.line.packs) for one in made.lines] == [
        (Decimal("31.25"), 25, 3), (Decimal(12), 10, 1),
    ]  # fmt: skip
    its = made.purchase
    assert (its.ordered, its.expected) == (TODAY, TODAY + timedelta(9))
    assert (made.goods_value, its.shipping, its.currency) == (
        Decimal("105.75"),
        Decimal("4.9"),
        "EUR",
    )
    assert made.status is PurchaseStatus.OPEN
    assert on_hand(session) == {}
    assert coming(session) == [("Coal card", 75), ("Moss linen", 10)]
    cheap = order(session, PurchaseLineRequest("Coal card", SIZE, 5), number=" M 7 ")
    assert [one.line.amount for one in cheap.lines] == [29]
    assert (cheap.purchase.shipping, cheap.purchase.number) == (0, "M 7")
    assert cheap.purchase.expected == TODAY + timedelta(3)


def test_what_is_ordered_at_other_prices(session: Session) -> None:
    by_hand = PurchaseLineRequest("Coal card", (cm(20), cm(30)), 2, pack=7, amount=Decimal("3.50"))
    made = order(session, by_hand, expected=TODAY + timedelta(1), shipping=Decimal(2))
    assert made.goods_value == 7
    assert (made.purchase.expected, made.purchase.shipping) == (TODAY + timedelta(1), 2)
    (line,) = order(session, PurchaseLineRequest("Coal card", SIZE, 1, amount=Decimal(30))).lines
    assert (line.line.pack, line.line.amount) == (25, 30)


def test_what_was_ordered_before_the_book_knew_prices(session: Session) -> None:
    made = order(session, day=TODAY - timedelta(10))
    assert made.goods_value == Decimal("93.75")
    assert made.days_late(TODAY) == 7


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (
            PurchaseLineRequest("Moss linen", SIZE, 2),
            "sells Moss linen 500 × 700 mm in packs of 10 or 50; say wh",
        ),
        (
            PurchaseLineRequest("Moss linen", SIZE, 1, pack=50),
            "sells at least 2 packs of Moss linen",
        ),
        (
            PurchaseLineRequest("Coal card", (cm(30), cm(30)), 1),
            "no Coal card 300 × 300 mm; it has 500 × 700 mm",
        ),
        (
            PurchaseLineRequest("Coal card", SIZE, 1, pack=9),
            "no Coal card 500 × 700 mm in packs of 9; it has",
        ),
        (PurchaseLineRequest("Coal card", SIZE, 0), "the number of packs must be 1 to"),
        (PurchaseLineRequest("Coal card", SIZE, 50_000), "the number of sheets must be 1 to"),
        (PurchaseLineRequest("Silk", SIZE, 1), "there is no paper 'Silk'"),
    ],
)
def test_what_can_t_be_ordered(session: Session, wish: PurchaseLineRequest, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        order(session, COAL, wish)
    assert purchases.list_purchases(session) == []


def test_a_supplier_that_sells_none_of_it(session: Session) -> None:
    suppliers.set_supplier(session, "Shed")
    with pytest.raises(Refusal, match="Shed sells no Coal card, as its price list is empty"):
        purchases.add_purchase(session, "Shed", [COAL], today=TODAY)
    prices.set_price(session, "Shed", "Moss linen", SIZE, Decimal(1), day=TODAY)
    with pytest.raises(Refusal, match=r"Shed sells no Coal card$"):
        purchases.add_purchase(session, "Shed", [COAL], today=TODAY)
    with pytest.raises(Refusal, match="say what was ordered"):
        purchases.add_purchase(session, "Shed", [], today=TODAY)
    with pytest.raises(Refusal, match="has not come yet; record a purchase once it is ordered"):
        order(session, day=TODAY + timedelta(1))
    with pytest.raises(Refusal, match="is before the day it was ordered"):
        order(session, expected=TODAY - timedelta(1))


def test_received_in_part_and_in_full(session: Session) -> None:
    order(session, COAL, PurchaseLineRequest("Moss linen", SIZE, 2, pack=10))
    stocks, differences = purchases.receive_purchase(
        session, 1, {1: ReceivedPacks(2, Decimal("32.45"), "B7")},
        note_number="4711", place="Shelf", today=TODAY,
    )  # fmt: skip
    (stock,) = stocks
    assert (stock.label, stock.price, stock.lot) == ("S-1", Decimal("1.298"), "B7")
    (more,) = differences
    assert (more.line.paper.name, more.amount, more.currency) == (
        "Coal card",
        Decimal("2.40"),
        "EUR",
    )
    assert on_hand(session) == {"S-1": 50}
    assert row(session).status is PurchaseStatus.IN_PART
    assert coming(session) == [("Coal card", 25), ("Moss linen", 20)]
    (delivery,) = list_deliveries(session)
    assert (delivery.supplier, delivery.number, delivery.sheets) == ("Mill", "4711", 50)

    stocks, differences = purchases.receive_purchase(session, 1, today=TODAY)
    assert differences == []
    assert [one.label for one in stocks] == ["S-2", "S-3"]
    assert on_hand(session) == {"S-1": 50, "S-2": 25, "S-3": 20}
    done = row(session)
    assert (done.status, coming(session)) == (PurchaseStatus.RECEIVED, [])
    assert [one.billed for one in done.lines] == [
        ((2, Decimal("32.45")), (1, Decimal("31.25"))), ((2, Decimal(12)),),
    ]  # fmt: skip
    assert done.differences == [more]
    assert purchases.list_purchases(session, also_done=False) == []
    with pytest.raises(Refusal, match="nothing of purchase 1 is to come: it is received"):
        purchases.receive_purchase(session, 1, today=TODAY)


@pytest.mark.parametrize(
    ("came", "said"),
    [
        ({3: ReceivedPacks(1)}, "purchase 1 has no line 3; its lines are 1 to 1"),
        (
            {1: ReceivedPacks(4)},
            "of line 1 of purchase 1, Coal card, 3 of 3 packs are to come",
        ),
        ({1: ReceivedPacks(0)}, "the packs of line 1 must be 1 to"),
        ({}, "say which lines of the purchase came"),
    ],
)
def test_what_can_t_have_come(session: Session, came: dict[int, ReceivedPacks], said: str) -> None:
    order(session)
    with pytest.raises(Refusal, match=said):
        purchases.receive_purchase(session, 1, came, today=TODAY)
    assert on_hand(session) == {}


def test_days_on_which_nothing_can_have_come(session: Session) -> None:
    order(session)
    for day, said in ((-1, "was ordered on 2027-03-01, so nothing"), (1, "has not come yet")):
        with pytest.raises(Refusal, match=said):
            purchases.receive_purchase(session, 1, today=TODAY, day=TODAY + timedelta(day))


def test_foreign_money_is_turned_into_the_shop_s_on_the_day_it_comes(session: Session) -> None:
    suppliers.set_supplier(session, "Far mill", currency="GBP")
    suppliers.set_rate(session, "GBP", Decimal("1.2"), TODAY)
    suppliers.set_rate(session, "GBP", Decimal("1.1725"), TODAY + timedelta(5))
    prices.set_price(session, "Far mill", "Coal card", SIZE, Decimal(22), pack=7, day=TODAY)
    purchases.add_purchase(session, "Far mill", [COAL], today=TODAY)
    later = TODAY + timedelta(6)
    (stock,), _ = purchases.receive_purchase(session, 1, today=later)
    assert stock.price == Decimal("3.685")  # 22 × 1.1725 / 7 is 3.685 exactly
    prices.set_price(
        session, "Far mill", "Moss linen", SIZE, Decimal(12), currency="EUR", day=TODAY
    )
    made = purchases.add_purchase(
        session, "Far mill", [PurchaseLineRequest("Moss linen", SIZE, 1)], today=later
    )
    assert [line.amount for line in made.lines] == [Decimal("10.23")]  # 12 / 1.1725 is 10.2345…


def test_sheets_come_with_the_margins_of_before(session: Session) -> None:
    edges = Margins(left=mm(5))
    receiving.add_sheets(session, "Coal card", SIZE, 1, price=Decimal("1.25"), margins=edges)
    order(session)
    purchases.receive_purchase(session, 1, {1: ReceivedPacks(1)}, today=TODAY)
    assert on_hand(session) == {"S-1": 26}
    purchases.receive_purchase(session, 1, margins=Margins(), today=TODAY)
    assert on_hand(session) == {"S-1": 26, "S-2": 50}
    order(session)
    purchases.receive_purchase(session, 2, today=TODAY)
    assert on_hand(session) == {"S-1": 26, "S-2": 50 + 75}, "the newest sheets have no margins"


def test_the_same_note_twice_is_noticed(session: Session) -> None:
    order(session)
    purchases.receive_purchase(session, 1, {1: ReceivedPacks(1)}, note_number="4711", today=TODAY)
    with pytest.raises(Refusal, match="delivery note 4711 of Mill brought 25 sheets"):
        purchases.receive_purchase(session, 1, note_number="4711", today=TODAY)
    purchases.receive_purchase(session, 1, note_number="4711", again=True, today=TODAY)
    assert row(session).status is PurchaseStatus.RECEIVED


def test_what_does_not_come_is_not_waited_for(session: Session) -> None:
    order(session)
    purchases.receive_purchase(session, 1, {1: ReceivedPacks(1)}, today=TODAY)
    assert purchases.close_purchase(session, 1, "sold out").status is PurchaseStatus.IN_PART
    assert row(session).status is PurchaseStatus.CLOSED
    assert coming(session) == []
    assert row(session).days_late(TODAY + timedelta(99)) == 0
    for again in (purchases.close_purchase, purchases.receive_purchase):
        with pytest.raises(Refusal, match="nothing of purchase 1 is to come: it is closed"):
            again(session, 1, **({} if again is purchases.close_purchase else {"today": TODAY}))
    undo.undo_transaction(session, undo.last_transaction(session).id)
    assert coming(session) == [("Coal card", 50)]


def test_each_deed_is_taken_back_alone_and_in_order(session: Session) -> None:
    order(session)
    purchases.receive_purchase(session, 1, {1: ReceivedPacks(1)}, today=TODAY)
    purchases.receive_purchase(session, 1, {1: ReceivedPacks(1)}, today=TODAY)
    ordered, first, second = session.scalars(select(Transaction.id).order_by(Transaction.id))
    for standing in (second, first):
        with pytest.raises(Refusal, match=f"entry {standing} was made after it; undo that"):
            undo.undo_transaction(session, ordered)
        undo.undo_transaction(session, standing)
    assert on_hand(session) == {}
    assert row(session).status is PurchaseStatus.OPEN
    assert coming(session) == [("Coal card", 75)]
    undo.undo_transaction(session, ordered)
    assert purchases.list_purchases(session) == []
    with pytest.raises(Refusal, match="purchase 1 was undone"):
        purchases.get_purchase(session, 1)
    for number in (0, -1, 2, 2**40):
        with pytest.raises(Refusal, match="there is no purchase"):
            purchases.get_purchase(session, number)


def test_a_receipt_whose_sheets_are_gone_stays(session: Session) -> None:
    order(session)
    purchases.receive_purchase(session, 1, today=TODAY)
    deed = undo.last_transaction(session)
    adjust.spoil_stock(session, "S-1", 1)
    with pytest.raises(Refusal, match="S-1 has 74 on hand"):
        undo.undo_transaction(session, deed.id)
    assert row(session).status is PurchaseStatus.RECEIVED


# --- the book itself


def test_the_check_finds_what_can_t_be(shop: ShopFile) -> None:
    with shop.begin() as session:
        stock_up(session)
        order(session)
        purchases.receive_purchase(session, 1, {1: ReceivedPacks(2)}, today=TODAY)
        purchases.close_purchase(session, 1)
    assert check_shop(shop).findings == ()
    wrong = (
        "INSERT INTO purchase_receipt VALUES (7, 2, 1, 1, 5, '1')",
        "INSERT INTO price SELECT 99, list_id, paper_id, width, height, pack, '-1', currency,"
        " least, days FROM price WHERE id = 1",
        "INSERT INTO exchange_rate VALUES (9, 'GBP', '0', '2027-03-01', '2027-03-01 10:00:00')",
        "INSERT INTO purchase_end VALUES (1, 1)",
    )
    with shop.begin() as session:
        for statement in wrong:
            session.execute(text(statement))
    found = {one.check: set() for one in check_shop(shop).faults}
    for one in check_shop(shop).faults:
        found[one.check].add(f"{one.where}: {one.message}")
    assert found == {
        "rows": {
            "price 99: amount: it must be 0 to 1,000,000,000, not -1",
            "exchange_rate 9: rate: a rate must be more than 0 and at most 1,000,000",
        },
        "purchases": {
            "purchase 1: 7 packs came of 3 ordered",
            "entry 2: 175 sheets of a purchase came, and it recorded 50",
            "entry 1: it is of a purchase and should be 'closed', not 'ordered'",
        },
    }


@pytest.mark.parametrize(
    "table",
    ["exchange_rate", "price_list", "price", "purchase", "purchase_line", "purchase_receipt"],
)
def test_histories_can_t_be_rewritten(shop: ShopFile, table: str) -> None:
    with shop.begin() as session:
        stock_up(session)
        suppliers.set_rate(session, "GBP", Decimal(1), TODAY)
        order(session)
        purchases.receive_purchase(session, 1, today=TODAY)
    for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET id = id"):  # noqa: S608
        with pytest.raises(DBAPIError, match="append-only"), shop.begin() as session:
            session.execute(text(statement))


# --- at the desk


def test_at_the_desk(hand: Hand) -> None:
    hand.does("shop", "set", "--unit", "cm")
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("paper", "add", "Moss linen", "--colour", "green", "--grammage", "150")
    hand.does("buy", "supplier", "set", "Mill", "--shipping", "4.90", "--days", "3")
    hand.does("buy", "prices", "set", "Mill", "Coal card", "50x70", "31.25", "--pack", "25")
    hand.does("buy", "prices", "set", "Mill", "Moss linen", "50x70", "12", "--pack", "10")
    add = ("buy", "purchase", "add", "Mill")
    said = hand.does(*add, "--line", "Coal card; 50x70; 2", "--line", "Moss linen; 50x70; 1")
    assert "Goods 74.50 EUR, shipping 4.90 EUR" in said
    assert "When it comes: quirebox buy purchase receive 1" in said
    assert "write it like 'Coal card; 50x70cm; 2'" in hand.refused(*add, "--line", "Coal card")
    assert "'x' is not a whole number" in hand.refused(*add, "--line", "Coal card; A4; x")
    assert "packs of" in hand.does("buy", "purchase", "list")
    receive = ("buy", "purchase", "receive", "1")
    assert "line 2 is not among those that came" in hand.refused(
        *receive, "--line", "1=1", "--billed", "2=3"
    )
    assert "the number of a line: 'x' is not" in hand.refused(*receive, "--line", "x=1")
    said = hand.does(*receive, "--line", "1=1", "--billed", "1=32.45", "--place", "Shelf")
    assert said == (
        "Added 25 sheets to S-1.\n"
        "Billed 1.20 EUR more than ordered for Coal card, 50 × 70 cm.\n"
        "35 sheets still to come.\n"
    )
    said = hand.does(*receive, "--billed", "2=11")
    assert "Billed 1.00 EUR less than ordered for Moss linen, 50 × 70 cm.\nAll of it" in said
    shown = hand.data("purchase", "buy", "purchase", "show", "1")
    assert (shown["state"], shown["goods"], shown["days_late"]) == ("received", "74.50", 0)
    assert shown["lines"][0]["billed"] == [
        {"packs": 1, "price": "32.45"}, {"packs": 1, "price": "31.25"},
    ]  # fmt: skip
    assert "Billed 1.20 EUR more" in hand.does("buy", "purchase", "show", "1")
    assert hand.data("purchases", "buy", "purchase", "list") == []
    (all_,) = hand.data("purchases", "buy", "purchase", "list", "--all")
    assert all_ == shown
    assert "Undone" in hand.does("stash", "undo")
    hand.does("buy", "purchase", "close", "1", "--why", "sold out")
    assert [one["reason"] for one in hand.data("deeds", "stash", "log")] == [
        Reason.CLOSED, Reason.RECEIVED, Reason.ORDERED,
    ]  # fmt: skip
    hand.does(*add, "--line", "Coal card; 50x70; 1", "--date", "2026-01-01")
    assert "overdue" in hand.does("buy", "purchase", "list", "--overdue")
    assert "Purchase 2 from Mill is" in hand.does("buy", "list")
    hand.does("buy", "supplier", "set", "Mill", "--least-order", "40")
    said = hand.does(*add, "--line", "Coal card; 50x70; 1")
    assert "Mill takes no orders below 40.00 EUR." in said
    (late,) = hand.data("purchases", "buy", "purchase", "list", "--overdue")
    assert (late["purchase"], late["expected"]) == (2, "2026-01-04")
