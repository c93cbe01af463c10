"""The marks that cut sheets print lead to the labels that the book has given."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.cli.shared.terminal import refusal_text
from inventory.production.cutting import cut_batch
from inventory.stock.adjust import set_stock_place
from inventory.stock.lookup import find_stock
from nester.core.errors import Refusal
from nester.core.lengths import cm
from tests.integration.conftest import Hand, Table

if TYPE_CHECKING:
    from inventory.database.shop_file import ShopFile


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Cards whose pieces each take a sheet and leave offcuts."""
    made = Table(shop)
    made.paper()
    made.sheets((cm(50), cm(70)), 9)
    made.card(3, size=("20cm", "40cm"))
    made.plan()
    return made


def found(table: Table, mark: str) -> str:
    with table.shop.read() as session:
        return find_stock(session, mark).label


def cut(table: Table, **which: int) -> list[str]:
    with table.shop.begin() as session:
        return [one.label for one in cut_batch(session, 1, **which)]


def test_a_mark_leads_to_its_label_once_its_layout_is_cut(table: Table) -> None:
    with pytest.raises(Refusal, match="'1-1-1' has no label yet") as refused:
        found(table, "1-1-1")
    assert "with 'quirebox batch cut 1 --layout 1'" in refusal_text(refused.value)
    first = cut(table, layout=1, copies=1)
    for place, label in enumerate(first, 1):
        assert found(table, f"1-1-{place}") == label
        assert found(table, f" 1-1-{place}.1 ") == label
    second = cut(table, layout=1, copies=1)
    with pytest.raises(
        Refusal, match=f"cut 2 times: 1-1-1.1 is {first[0]}, 1-1-1.2 is {second[0]}"
    ):
        found(table, "1-1-1")
    assert found(table, "1-1-1.2") == second[0]


def test_a_mark_serves_wherever_a_label_does(table: Table) -> None:
    (label, *_) = cut(table, layout=1, copies=1)
    with table.shop.begin() as session:
        set_stock_place(session, "1-1-1", "Drawer 1")
        assert find_stock(session, label).place.name == "Drawer 1"


def test_a_cut_that_was_taken_back_leaves_no_label(table: Table) -> None:
    cut(table, layout=1, copies=1)
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
    with pytest.raises(Refusal, match="has no label yet"):
        found(table, "1-1-1")


@pytest.mark.parametrize("mark", ["2-1-1", "1-99-1", "1-1-99", "999999999-1-1", "1-1-1.9"])
def test_a_mark_of_nothing_is_refused(table: Table, mark: str) -> None:
    with pytest.raises(Refusal, match=r"no batch has planned|has no label yet"):
        found(table, mark)


@pytest.mark.parametrize("written", ["1-1", "0-1-1", "1-1-1-1", "١-١-١", "1–1–1"])
def test_what_is_no_mark_is_taken_for_a_label(table: Table, written: str) -> None:
    with pytest.raises(Refusal, match="nothing in the stash has the label"):
        found(table, written)


def test_the_history_of_a_mark_is_that_of_its_label(hand: Hand) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "3")
    hand.does("order", "add", "Ines", "gift-tag", "--due", "in 5 days", "--paper", "all=Coal card")
    hand.does("batch", "plan")
    assert "has no label yet" in hand.refused("stash", "history", "1-1-1")
    hand.does("batch", "cut", "1")
    assert "K-1" in hand.does("stash", "history", "1-1-1")
