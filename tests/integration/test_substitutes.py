"""Papers that stand in for others, in planning and only when that is allowed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from inventory.database.tables.enums import OrderStatus
from inventory.orders.orders import add_order, get_order
from inventory.stock.papers import add_paper, set_substitutes
from nester.core.errors import Refusal
from nester.core.lengths import cm, mm
from tests.integration.conftest import TODAY, Hand, Table

if TYPE_CHECKING:
    from inventory.database.shop_file import ShopFile

SIZE = (cm(50), cm(70))


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Two orders in a paper of which there is a sheet for one of them."""
    made = Table(shop)
    for name in ("Coal card", "Night card", "Plum card"):
        made.paper(name)
    with shop.begin() as session:
        set_substitutes(session, "Coal card", ["Night card", "Plum card"])
    made.sheets(SIZE, 1)
    for _ in range(2):
        made.card(size=("20cm", "40cm"))
    return made


def cut_from(table: Table, **others) -> tuple[set[str], tuple[str, ...], int]:
    plan = table.plan(**others)
    return (
        {layout.sheet.paper for layout in plan.layouts},
        tuple(note for note in plan.notes if "in place of" in note),
        sum(order.made for order in plan.orders),
    )


def test_nothing_stands_in_unless_allowed(table: Table) -> None:
    table.sheets(SIZE, 5, paper="Night card")
    assert cut_from(table) == ({"Coal card"}, (), 1)


def test_the_best_that_is_there_stands_in_for_what_is_short(table: Table) -> None:
    table.sheets(SIZE, 5, paper="Plum card")
    papers, (note,), made = cut_from(table, substitutes=True)
    assert (papers, made) == ({"Coal card", "Plum card"}, 2)
    assert note in {f"Order {n} is planned in Plum card in place of Coal card." for n in (1, 2)}
    assert table.status(1) is table.status(2) is OrderStatus.PLANNED
    with table.shop.read() as session:
        assert get_order(session, 1).papers == {"all": "Coal card"}


def test_the_first_goes_before_the_second(table: Table) -> None:
    for paper in ("Plum card", "Night card"):
        table.sheets(SIZE, 5, paper=paper)
    assert cut_from(table, substitutes=True)[0] == {"Coal card", "Night card"}


def test_an_order_that_still_waits_lacks_its_own_paper(table: Table) -> None:
    plan = table.plan(substitutes=True)
    assert [lack.paper for lack in plan.lacking] == ["Coal card"]
    assert sum(order.made for order in plan.orders) == 1


def test_what_binds_in_another_paper_is_not_made_of_it(shop: ShopFile) -> None:
    made = Table(shop)
    made.paper()
    with shop.begin() as session:
        add_paper(session, "Board", colour="grey", grammage=900, caliper=mm(3))
        set_substitutes(session, "Coal card", ["Board"])
    made.sheets(SIZE, 9, paper="Board")
    what = ("Bo", "tray-box", {})
    with shop.begin() as session, pytest.raises(Refusal, match=r"tray-box: .*bind"):
        add_order(session, *what, {"all": "Board"}, 1, TODAY, TODAY)
    with shop.begin() as session:
        add_order(session, *what, {"all": "Coal card"}, 1, TODAY, TODAY)
    assert cut_from(made, substitutes=True) == (set(), (), 0)


def test_substitutes_at_the_desk(table: Table, hand: Hand) -> None:
    table.sheets(SIZE, 5, paper="Night card")
    told = hand.does("batch", "plan", "--effort", "quick", "--substitutes")
    assert "is planned in Night card in place of Coal card." in told
