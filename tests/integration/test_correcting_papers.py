"""Papers corrected in the middle of the week: everything follows, and it can be taken back."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from inventory.changes.order_changes import OrderChanges, change_order
from inventory.changes.paper_changes import (
    PaperChanges,
    change_paper,
    list_paper_changes,
    outdated_papers,
)
from inventory.changes.replanning import broken_batches, replan_batches
from inventory.changes.undo import last_transaction, undo_transaction
from inventory.costs.order_costs import order_cost
from inventory.database.tables.enums import Grain, OrderStatus, Reason
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.orders.orders import get_order
from inventory.production.cutting import cut_batch
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.papers import add_paper, find_paper
from inventory.views.schemas import schema_text
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort
from tests.integration.conftest import TODAY, Hand, Table

if TYPE_CHECKING:
    from pathlib import Path

    from inventory.database.shop_file import ShopFile


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Two orders of cards in one paper, planned together."""
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 6, price=Decimal(3))
    made.card(2)
    made.card(1)
    made.plan()
    return made


def correct(shop: ShopFile, of: str, /, **changes) -> None:
    with shop.begin() as session:
        change_paper(session, of, PaperChanges(**changes), by="Bas")


def undo(shop: ShopFile) -> None:
    with shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)


def the_name(shop: ShopFile) -> str:
    with shop.read() as session:
        return str(list_stash(session)[0].paper)


def test_orders_and_plans_follow_a_new_name(table: Table, tmp_path: Path) -> None:
    shop, old = table.shop, the_name(table.shop)
    correct(shop, old, name="Night card", colour="ink", finish="linen", grammage=280)
    with shop.read() as session:
        assert set(get_order(session, 1).papers.values()) == {"Night card"}
        plan = plan_of(get_batch(session, 1))
        assert {part.paper for part in plan.parts} == {"Night card"}
        assert {layout.sheet.paper for layout in plan.layouts} == {"Night card"}
        paper = find_paper(session, "night card")
        assert (paper.colour, paper.finish, paper.grammage) == ("ink", "linen", 280)
        (change,) = list_paper_changes(session, paper)
        assert change.before["name"] == old
        assert change.by == "Bas"
        assert f"{old}: name {old} → Night card" in last_transaction(session).note
        with pytest.raises(Refusal, match="no paper"):
            find_paper(session, old)
    with shop.begin() as session:
        cut_batch(session, 1)
    with shop.read() as session:
        assert get_order(session, 1).status is OrderStatus.CUT
    assert order_cost(shop, 1, today=TODAY).cost.lines[0].name == "Night card"
    assert check_shop(shop).findings == ()
    export_shop(shop, tmp_path / "shop.zip")
    import_shop(tmp_path / "shop.zip", tmp_path / "again.sqlite")


def test_a_correction_is_taken_back(table: Table) -> None:
    old = the_name(table.shop)
    correct(table.shop, old, name="Night card", grammage=280)
    undo(table.shop)
    with table.shop.read() as session:
        assert set(get_order(session, 1).papers.values()) == {old}
        assert {part.paper for part in plan_of(get_batch(session, 1)).parts} == {old}
        assert list_paper_changes(session, find_paper(session, old)) == []
    assert check_shop(table.shop).findings == ()


def test_what_is_brought_back_has_the_names_of_now(table: Table) -> None:
    """An order changed before a correction, and undone after it."""
    shop, old = table.shop, the_name(table.shop)
    with shop.begin() as session:
        change_order(session, 1, OrderChanges(copies=3), today=TODAY)
        entry = last_transaction(session).id
    correct(shop, old, name="Night card")
    assert check_shop(shop).findings == ()
    with shop.begin() as session:
        undo_transaction(session, entry)
    with shop.read() as session:
        assert set(get_order(session, 1).papers.values()) == {"Night card"}
        assert {part.paper for part in plan_of(get_batch(session, 1)).parts} == {"Night card"}
    assert check_shop(shop).findings == ()


def test_what_was_planned_with_the_old_value_says_so(table: Table) -> None:
    shop, name = table.shop, the_name(table.shop)
    correct(shop, name, note="cracks", colour="ink")
    with shop.read() as session:
        assert outdated_papers(session, get_batch(session, 1)) == {}
    with shop.read() as session:
        was = find_paper(session, name).grammage
    correct(shop, name, grammage=was + 40)
    with shop.read() as session:
        assert outdated_papers(session, get_batch(session, 1)) == {
            name: f"When this was planned, {name} was known otherwise: its weight was {was} g/m²"
            f" and is {was + 40} g/m² now"
        }
        assert broken_batches(session) == {}
    correct(shop, name, grain="long")
    with shop.read() as session:
        (words,) = broken_batches(session).values()
    assert words.endswith("its grain was unknown and is long now")
    made = replan_batches(shop, [1], effort=Effort.QUICK, today=TODAY).plan
    assert made is not None
    assert made.batch is not None
    with shop.read() as session:
        assert broken_batches(session) == {}
        assert outdated_papers(session, get_batch(session, made.batch)) == {}
    assert check_shop(shop).findings == ()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "MOSS card"}, "there is a paper 'Moss card' already; give this one another name"),
        ({"grammage": 0}, "must be 1 to 2,000"),
        ({"grain": "across"}, "the paper's grain"),
        ({"swatch": "red"}, "is not a colour"),
        ({"name": " "}, "the paper's name"),
        ({}, "is different"),
    ],
)
def test_what_cannot_be_corrected(table: Table, changes: dict, said: str) -> None:
    name = the_name(table.shop)
    with table.shop.begin() as session:
        add_paper(session, "Moss card", colour="green", grammage=250)
    with pytest.raises(Refusal, match=said):
        correct(table.shop, name, **changes)
    assert the_name(table.shop) == name
    assert check_shop(table.shop).findings == ()


def test_corrections_are_undone_in_their_order(table: Table) -> None:
    name = the_name(table.shop)
    correct(table.shop, name, grain="long")
    with table.shop.read() as session:
        first = last_transaction(session).id
    correct(table.shop, name, grain="short")
    with (
        pytest.raises(Refusal, match=r"after it; undo that first"),
        table.shop.begin() as session,
    ):
        undo_transaction(session, first)
    undo(table.shop)
    undo(table.shop)
    with table.shop.read() as session:
        assert find_paper(session, name).grain is Grain.UNKNOWN


def test_an_old_name_that_was_given_away_is_not_taken_back(table: Table) -> None:
    old = the_name(table.shop)
    correct(table.shop, old, name="Night card")
    with table.shop.begin() as session:
        add_paper(session, old, colour="white", grammage=200)
    with pytest.raises(Refusal, match=f"there is a paper '{old}' already"):
        undo(table.shop)
    assert check_shop(table.shop).findings == ()


@pytest.mark.parametrize("name", ["deeds", "history"])
def test_schemas_know_every_reason(name: str) -> None:
    reasons = json.loads(schema_text(name))["items"]["properties"]["reason"]["enum"]
    assert set(reasons) >= {str(reason) for reason in Reason}


def test_papers_are_corrected_at_the_desk(hand: Hand) -> None:
    hand.does("shop", "set", "--unit", "in")
    hand.does("paper", "add", "Coal card", "--color", "black", "--weight", "65 lb cover")
    hand.does("sheet", "add", "Coal card", "12x18", "--quantity", "9", "--price", "2")
    hand.does("order", "add", "Ines", "folded-card", "width=5", "height=7", "mats=none",
              "all=Coal card", "--due", "in 5 days")  # fmt: skip
    hand.does("batch", "plan", "--effort", "quick")
    assert "65 lb" in hand.does("paper", "list")
    said = hand.does("paper", "set", "Coal card", "--name", "Night card", "--weight", "80lb cover")
    assert said == "Corrected Coal card: name Coal card → Night card; weight 176 g/m² → 216 g/m²\n"
    shown = " ".join(hand.does("batch", "show", "1").split())
    assert "Night card" in shown
    assert "Coal card" not in shown
    assert hand.data("batch", "batch", "show", "1")["outdated"] == [
        "When this was planned, Night card was known otherwise: its weight was 176 g/m² and is"
        " 216 g/m² now"
    ]
    assert hand.data("deeds", "stash", "log")[0]["reason"] == "changed"
    hand.does("stash", "undo")
    assert hand.data("papers", "paper", "list")[0]["name"] == "Coal card"
    assert "say what is different" in hand.refused("paper", "set", "Coal card")
    assert "has no grade" in hand.refused("paper", "set", "Coal card", "--weight", "65lb")
