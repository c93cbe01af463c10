from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import OrderStatus
from inventory.database.tables.orders import Order
from inventory.orders import orders
from inventory.shop.settings import change_shop
from inventory.stock import adjust, papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import cm, inch
from nester.designs import DESIGNS, roles_of

TODAY = date(2026, 3, 2)
FRIDAY = date(2026, 3, 6)


@pytest.fixture
def session(shop: ShopFile):
    with shop.begin() as session:
        for name in ("Night card", "Moss linen", "Waves"):
            papers.add_paper(session, name, colour="any", grammage=250)
        yield session


def take(session: Session, **other) -> Order:
    order, _ = orders.add_order(session, **{
        "customer": "Ada", "design": "tray-box", "sizes": {"width": "10cm"},
        "papers": {"all": "night card", "mat": "Waves"}, "copies": 2, "due": FRIDAY,
        "today": TODAY, **other,
    })  # fmt: skip
    return order


def test_an_order_is_kept_as_it_was_given(shop: ShopFile) -> None:
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=250)
        number = take(session, papers={"all": "NIGHT card"}, customer="Łucja 🎀").id
    with shop.read() as session:
        order = orders.get_order(session, number)
        assert (order.customer, order.design, order.sizes, order.papers) == (
            "Łucja 🎀", "tray-box", {"width": "10cm"}, {"all": "Night card"},
        )  # fmt: skip
        assert (order.copies, order.due, order.status) == (2, FRIDAY, OrderStatus.CONFIRMED)
        assert order.batches == []


def test_numbers_have_no_holes_after_what_was_refused(shop: ShopFile) -> None:
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=250)
        receiving.add_sheets(session, "Night card", (cm(50), cm(70)), 3)
        assert take(session, papers={"all": "Night card"}).id == 1
    for _ in range(3):
        with pytest.raises(Refusal, match="on hand"), shop.begin() as session:  # noqa: PT012
            assert take(session, papers={"all": "Night card"}).id == 2
            adjust.spoil_stock(session, "S-1", 1)
            adjust.spoil_stock(session, "S-1", 9)
    with shop.begin() as session:
        assert take(session, papers={"all": "Night card"}).id == 2
        assert adjust.spoil_stock(session, "S-1").transaction_id == 2


def test_every_built_in_design_can_be_ordered(session: Session) -> None:
    for name in DESIGNS:
        order = take(session, design=name, sizes={}, papers={"all": "Waves"})
        assert orders.order_pieces(session, order)


def test_each_piece_has_its_paper(session: Session) -> None:
    order = take(session, sizes={})
    pieces = orders.order_pieces(session, order)
    assert {piece.role for piece, _ in pieces} == set(roles_of(p for p, _ in pieces))
    for piece, paper in pieces:
        assert paper == ("Waves" if piece.role.startswith("mat") else "Night card")


def test_bare_numbers_keep_the_unit_in_which_they_were_written(session: Session) -> None:
    change_shop(session, unit="cm")
    order = take(session, sizes={"width": "10", "length": "10", "depth": "3"})
    before = orders.order_pieces(session, order)
    change_shop(session, unit="in")
    assert orders.order_pieces(session, order) == before
    wider = orders.order_pieces(session, take(session, sizes=order.sizes))
    assert wider != before
    assert max(p.width for p, _ in wider) > inch(10) > cm(10)


def test_a_due_date_in_the_past_is_accepted_with_a_warning(session: Session) -> None:
    late, warnings = orders.add_order(
        session, "Ada", "tray-box", {}, {"all": "Waves"}, 1, TODAY - timedelta(1), TODAY
    )
    assert warnings == [f"order {late.id} was due on 2026-03-01, which has passed"]
    assert late.status is OrderStatus.CONFIRMED
    _, warnings = orders.add_order(
        session, "Ada", "tray-box", {}, {"all": "Waves"}, 1, TODAY, TODAY
    )
    assert warnings == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"customer": " "}, "the customer's name is missing"),
        ({"design": "tray-bocks"}, "there is no design 'tray-bocks'; did you mean 'tray-box'"),
        ({"design": "zzz"}, "there are layered-box, tray-box"),
        ({"sizes": {"widht": "10cm"}}, "did you mean width"),
        ({"sizes": {"width": "ten"}}, "tray-box, width: 'ten' is not a size"),
        ({"sizes": {"width": "-1cm"}}, "must be more than zero"),
        ({"papers": {}}, "tray-box needs a paper for tray"),
        ({"papers": {"mat": "Waves"}}, "needs a paper for tray, lid; name one for each, or one"),
        ({"papers": {"all": "Night cart"}}, "did you mean 'Night card'"),
        ({"papers": {"all": "Waves", "lit": "Waves"}}, "no part 'lit'"),
        ({"copies": 0}, "the number of copies must be 1 to 1,000,000, not 0"),
        ({"copies": 1_000_001}, "not 1,000,001"),
        ({"copies": 1.5}, "must be a whole number"),
    ],
)
def test_a_wrong_order_is_not_taken(session: Session, wrong, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        take(session, **wrong)
    assert session.scalar(select(func.count()).select_from(Order)) == 0


def test_orders_are_listed_by_due_date(session: Session) -> None:
    second = take(session, due=FRIDAY)
    third = take(session, due=FRIDAY)
    first = take(session, due=TODAY)
    assert orders.list_orders(session) == [first, second, third]
    orders.set_status(session, second, "planned")
    orders.set_status(session, third, OrderStatus.CANCELLED)
    assert orders.list_orders(session, status="confirmed") == [first]
    assert orders.list_orders(session, status=OrderStatus.PLANNED) == [second]
    assert orders.list_orders(session, status=["planned", "CONFIRMED"]) == [first, second]
    assert orders.list_orders(session, status="draft") == []
    with pytest.raises(Refusal, match="the status can't be 'lost'; it is one of draft, confirmed"):
        orders.list_orders(session, status="lost")


def test_an_unknown_order_is_refused(session: Session) -> None:
    for number in (0, -1, 99, 2**70):
        with pytest.raises(Refusal, match="there is no order"):
            orders.get_order(session, number)


ALLOWED = {
    ("draft", "confirmed"), ("draft", "cancelled"),
    ("confirmed", "planned"), ("confirmed", "cut"), ("confirmed", "cancelled"),
    ("planned", "cut"), ("planned", "confirmed"), ("planned", "cancelled"),
    ("cut", "assembled"), ("cut", "planned"), ("cut", "confirmed"), ("cut", "cancelled"),
    ("assembled", "delivered"), ("assembled", "cancelled"), ("delivered", "assembled"),
    ("cancelled", "draft"), ("cancelled", "confirmed"), ("cancelled", "planned"),
    ("cancelled", "cut"), ("cancelled", "assembled"),
}  # fmt: skip


@pytest.mark.parametrize("start", OrderStatus)
def test_an_order_moves_along_allowed_steps_only(session: Session, start: OrderStatus) -> None:
    for goal in OrderStatus:
        order = take(session)
        order.status = start
        if (start, goal) in ALLOWED:
            assert orders.set_status(session, order, goal).status is goal
        else:
            with pytest.raises(Refusal, match=f"is {start} and can't become {goal}; "):
                orders.set_status(session, order, goal.value)
            assert order.status is start


def test_the_whole_way(session: Session) -> None:
    order = take(session)
    for step in ("planned", "confirmed", "planned", "cut", "assembled", "delivered"):
        orders.set_status(session, order, step)
    with pytest.raises(Refusal, match="can't become cancelled; it can become assembled"):
        orders.set_status(session, order, "cancelled")
