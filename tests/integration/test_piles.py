"""Equal offcuts are one pile: one label, a quantity, one place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from inventory.changes.replanning import broken_batches, replan_batches
from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.tables.enums import GrainAxis
from inventory.database.tables.stock import Stock
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.production.cutting import cut_batch
from inventory.production.spoiling import spoil_layout
from inventory.stock.adjust import count_stock, set_stock_place, spoil_stock
from inventory.stock.condition import (
    book_damage,
    book_grain,
    change_margins,
    damaged_areas_by_stock,
    grain_of_stock,
)
from inventory.stock.listing import list_stash
from inventory.stock.lookup import find_stock, get_batch, plan_of
from inventory.stock.search import offcuts_for
from inventory.stock.stocktake import CountLine, book_counts
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Effort, Margins, Rect
from tests.integration.conftest import TODAY, Hand, Table

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from inventory.database.shop_file import ShopFile

CARD = ("10cm", "20cm")  # its blank is 20 × 20 cm


@pytest.fixture
def cutting(table: Table) -> Table:
    """Three blanks of 40 × 40 cm, each on a sheet of 50 × 70 cm that leaves two offcuts."""
    table.sheets((cm(50), cm(70)), 9, place="Shelf")
    table.card(3, size=("20cm", "40cm"))
    table.plan()
    return table


def do(table: Table, deed: Callable, *args, **others):
    with table.shop.begin() as session:
        return deed(session, *args, **others)


def undo_last(table: Table) -> None:
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)


def piles(table: Table) -> dict[str, tuple[int, str | None]]:
    """Return how many offcuts of each label there are, and where."""
    with table.shop.read() as session:
        rows = list_stash(session, kind="offcut")
        return {row.label: (row.quantity, row.place) for row in rows}


def grain(table: Table, label: str) -> GrainAxis:
    with table.shop.read() as session:
        return grain_of_stock(session, find_stock(session, label))


def sound(table: Table) -> bool:
    return check_shop(table.shop).findings == ()


# --- their labels ------------------------------------------------------------------------------


def test_what_copies_leave_comes_to_one_pile(cutting: Table) -> None:
    first = do(cutting, cut_batch, 1, copies=1, layout=1)
    labels = [one.label for one in first]
    assert labels == ["K1-1", "K1-2"]
    assert [one.quantity for one in first] == [1, 1]
    second = do(cutting, cut_batch, 1)
    assert [(one.label, one.quantity) for one in second] == [("K1-1", 2), ("K1-2", 2)]
    assert piles(cutting) == dict.fromkeys(labels, (3, "Shelf"))
    undo_last(cutting)
    assert piles(cutting) == dict.fromkeys(labels, (1, "Shelf"))
    undo_last(cutting)
    assert piles(cutting) == {}
    assert do(cutting, cut_batch, 1)[0].label == "K1-1"
    assert sound(cutting)


def test_layouts_that_leave_equal_offcuts_share_a_pile(table: Table) -> None:
    table.sheets((cm(35), cm(20)), 1)
    table.sheets((cm(35), cm(20)), 1, place="Drawer")
    for _ in range(2):
        table.card()
    plan = table.plan()
    assert [layout.sheet.label for layout in plan.layouts] == ["S-1", "S-2"]
    assert [layout.offcut_kinds for layout in plan.layouts] == [(1,), (1,)]
    do(table, cut_batch, 1)
    assert piles(table) == {"K1-1": (2, None)}


def test_labels_outlive_a_new_plan_of_the_rest(cutting: Table) -> None:
    do(cutting, cut_batch, 1, layout=1, copies=1)
    cutting.card(2, size=("19cm", "40cm"))
    replan_batches(cutting.shop, [1], add=[2], effort=Effort.QUICK, today=TODAY)
    assert piles(cutting) == {"K1-1": (1, "Shelf"), "K1-2": (1, "Shelf")}
    put = do(cutting, cut_batch, 2)
    assert {one.label.partition("-")[0] for one in put} == {"K2"}
    assert sound(cutting)
    with pytest.raises(Refusal, match="was made after it; undo that first"):
        do(cutting, undo_transaction, 2)
    while cutting.batch_status(1) != "open":
        undo_last(cutting)
    assert [one.label for one in do(cutting, cut_batch, 1)] == ["K1-1", "K1-2"]
    assert piles(cutting) == {"K1-1": (3, "Shelf"), "K1-2": (3, "Shelf")}
    assert sound(cutting)


def test_a_spoiled_sheet_leaves_no_offcuts(cutting: Table) -> None:
    do(cutting, spoil_layout, 1, 1, "slipped")
    assert piles(cutting) == {}
    do(cutting, cut_batch, 1)
    assert piles(cutting) == {"K1-1": (2, "Shelf"), "K1-2": (2, "Shelf")}
    assert sound(cutting)


def test_labels_come_back_from_an_archive(cutting: Table, tmp_path: Path) -> None:
    from inventory.database.open import open_shop

    do(cutting, cut_batch, 1, layout=1, copies=2)
    export_shop(cutting.shop, tmp_path / "shop.zip")
    import_shop(tmp_path / "shop.zip", tmp_path / "again.sqlite")
    with open_shop(tmp_path / "again.sqlite") as again:
        there = Table(again)
        assert piles(there) == piles(cutting)
        assert do(there, cut_batch, 1)[0].label == "K1-1"
        assert sound(there)


# --- their place -------------------------------------------------------------------------------


def test_a_pile_lies_in_one_place(cutting: Table) -> None:
    do(cutting, cut_batch, 1, layout=1, copies=1, place="Box")
    assert piles(cutting)["K1-1"] == (1, "Box")
    do(cutting, cut_batch, 1, layout=1, copies=1)
    assert piles(cutting)["K1-1"] == (2, "Box")  # they join the pile where it lies
    do(cutting, cut_batch, 1, layout=1, copies=1, place="Drawer")
    assert piles(cutting)["K1-1"] == (3, "Drawer")
    do(cutting, set_stock_place, "K1-1", "")
    assert piles(cutting)["K1-1"] == (3, None)


def test_a_part_of_a_pile_may_lie_elsewhere_under_its_own_label(cutting: Table) -> None:
    do(cutting, cut_batch, 1)
    assert do(cutting, set_stock_place, "K1-1", "Box", 2).label == "K-1"
    assert piles(cutting)["K1-1"] == (1, "Shelf")
    assert piles(cutting)["K-1"] == (2, "Box")
    with pytest.raises(Refusal, match="K-1 lies there already"):
        do(cutting, set_stock_place, "K-1", "Box", 1)
    undo_last(cutting)
    assert piles(cutting) == {"K1-1": (3, "Shelf"), "K1-2": (3, "Shelf")}
    assert sound(cutting)


# --- their condition ---------------------------------------------------------------------------


def test_margins_of_a_part(cutting: Table) -> None:
    do(cutting, cut_batch, 1)
    apart = do(cutting, change_margins, "K1-1", Margins(cm(1), 0, 0, 0), 2)
    assert apart.label == "K-1"
    assert (piles(cutting)["K1-1"][0], piles(cutting)["K-1"]) == (1, (2, "Shelf"))
    undo_last(cutting)
    assert do(cutting, change_margins, "K1-1", Margins(cm(1), 0, 0, 0)).label == "K-2"
    assert "K1-1" not in piles(cutting)
    assert piles(cutting)["K-2"] == (3, "Shelf")
    assert sound(cutting)


def test_a_damaged_one_leaves_its_pile(cutting: Table) -> None:
    do(cutting, cut_batch, 1, layout=1, copies=1)
    apart = do(cutting, book_damage, "K1-1", Rect(0, 0, cm(2), cm(2)), "bent")
    assert apart.label == "K-1"
    do(cutting, cut_batch, 1)
    assert piles(cutting)["K1-1"] == (2, "Shelf")  # whole ones, which come to no damaged one
    with cutting.shop.read() as session:
        assert set(damaged_areas_by_stock(session)) == {find_stock(session, "K-1").id}
    with pytest.raises(Refusal, match="K-1 is damaged, so there is only one like it"):
        do(cutting, count_stock, "K-1", 2)
    with pytest.raises(Refusal, match="K-1 is damaged, so there is only one like it"):
        do(cutting, book_counts, [CountLine("K-1", 2)], "counted")
    assert sound(cutting)


def test_one_of_its_kind_keeps_its_label_when_it_is_damaged(table: Table) -> None:
    for number, label in ((1, "K-1"), (2, "K-2")):
        table.offcut((cm(20), cm(30)), quantity=number)
        damaged = do(table, book_damage, label, Rect(0, 0, cm(2), cm(2)))
        assert damaged.label == ("K-1" if number == 1 else "K-3")
    assert piles(table) == {"K-1": (1, None), "K-2": (1, None), "K-3": (1, None)}
    # There were two of it, and may be again.
    assert do(table, book_damage, "K-2", Rect(0, 0, cm(2), cm(2))).label == "K-4"
    assert sound(table)


def test_the_price_of_a_damaged_one_stays(table: Table) -> None:
    from decimal import Decimal

    table.offcut((cm(20), cm(30)), quantity=2, price=Decimal("0.3"))
    damaged = do(table, book_damage, "K-1", Rect(0, 0, cm(2), cm(2)))
    assert damaged.price == Decimal("0.3")


def test_counted_spoiled_and_in_stocktakes(cutting: Table) -> None:
    do(cutting, cut_batch, 1)
    do(cutting, spoil_stock, "K1-1", 2, "wet")
    assert piles(cutting)["K1-1"][0] == 1
    with pytest.raises(Refusal, match="K1-1 has 1 on hand, so 2 can't be taken from it"):
        do(cutting, spoil_stock, "K1-1", 2)
    do(cutting, count_stock, "K1-1", 4)
    do(cutting, book_counts, [CountLine("K1-1", 3, 4), CountLine("k1-2", 3, 3)], "counted")
    assert piles(cutting) == {"K1-1": (3, "Shelf"), "K1-2": (3, "Shelf")}
    assert sound(cutting)


def test_how_the_grain_of_a_mixed_pile_runs_is_not_known(shop: ShopFile) -> None:
    table = Table(shop)
    table.paper(grain="long")
    table.sheets((cm(50), cm(70)), 3)
    table.card(3, size=("20cm", "40cm"))
    table.plan()
    do(table, cut_batch, 1, layout=1, copies=1)
    assert grain(table, "K1-1") is GrainAxis.HEIGHT
    do(table, book_grain, "K1-1", "width")
    do(table, cut_batch, 1, layout=1, copies=1)
    assert grain(table, "K1-1") is GrainAxis.UNKNOWN
    undo_last(table)
    assert grain(table, "K1-1") is GrainAxis.WIDTH
    do(table, spoil_stock, "K1-1")
    do(table, cut_batch, 1, layout=1, copies=1)
    assert grain(table, "K1-1") is GrainAxis.HEIGHT  # an empty pile is begun anew


def test_the_lot_of_a_mixed_pile_is_not_known(table: Table) -> None:
    for lot in ("L 1", "L 2"):
        table.sheets((cm(50), cm(70)), 1, lot=lot)
    table.card(2, size=("20cm", "40cm"))
    table.plan()

    def lot() -> str:
        with table.shop.read() as session:
            return session.scalars(select(Stock.lot).where(Stock.label == "K1-1")).one()

    do(table, cut_batch, 1, layout=1)
    assert lot() == "L 1"
    do(table, cut_batch, 1, layout=2)
    assert lot() == ""
    assert piles(table)["K1-1"][0] == 2


# --- later plans -------------------------------------------------------------------------------


def test_a_plan_takes_a_part_of_a_pile(table: Table) -> None:
    table.offcut((cm(20), cm(20)), quantity=5)
    table.card(3, size=CARD)
    plan = table.plan()
    assert table.reserved() == {"K-1": 3}
    assert sum(layout.copies for layout in plan.layouts) == 3
    with table.shop.read() as session:
        assert [(row.label, row.free) for row in offcuts_for(session, (cm(20), cm(20)))] == [
            ("K-1", 2)
        ]
    with pytest.raises(Refusal, match="batches have reserved 3 of the 5 K-1"):
        do(table, set_stock_place, "K-1", "Box", 3)
    with pytest.raises(Refusal, match="change at most 2, or drop a batch first"):
        do(table, change_margins, "K-1", Margins(cm(1), 0, 0, 0), 3)
    assert do(table, book_damage, "K-1", Rect(0, 0, cm(2), cm(2))).label == "K-2"
    table.card(2, size=CARD)
    assert [order.made for order in table.plan().orders] == [False]  # one whole one is free
    do(table, spoil_stock, "K-1", 2)
    with table.shop.read() as session:
        assert broken_batches(session) == {1: "Batch 1 needs 3 sheets of K-1, of which 2 are there"}
    with pytest.raises(Refusal, match="K-1 has 2 on hand, and 3 are to be cut from it"):
        do(table, cut_batch, 1)
    do(table, count_stock, "K-1", 4)
    do(table, cut_batch, 1)
    assert piles(table) == {"K-1": (1, None), "K-2": (1, None)}
    assert sound(table)


def test_a_pile_that_is_planned_with_is_not_undone(cutting: Table) -> None:
    do(cutting, cut_batch, 1, layout=1, copies=1)
    do(cutting, cut_batch, 1, layout=1, copies=1)
    do(cutting, count_stock, "S-1", 0)
    cutting.card(1, size=("4cm", "8cm"))
    batch = cutting.plan().batch
    (label,) = cutting.reserved().keys() - {"S-1"}
    latest = do(cutting, last_transaction, batch=1).id
    do(cutting, undo_transaction, latest)  # one is left for the plan
    with pytest.raises(Refusal, match=f"{label} is reserved by a batch; drop that batch first"):
        do(cutting, undo_transaction, do(cutting, last_transaction, batch=1).id)
    put = do(cutting, cut_batch, batch)
    assert all(one.label.startswith(f"K{batch}-") for one in put)
    with cutting.shop.read() as session:
        for one in put:
            assert find_stock(session, one.label).parent.label == label


# --- at the desk -------------------------------------------------------------------------------


def test_what_a_maker_reads(hand: Hand) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    said = hand.does("offcut", "add", "Coal card", "20x30cm", "--quantity", "4")
    assert said == "Added 4 offcuts of Coal card; write K-1 on them\n"
    assert hand.does("offcut", "add", "Coal card", "5x5cm").endswith("write K-2 on it\n")
    said = hand.does("stash", "put", "K-1", "Box", "--quantity", "1")
    assert said == "K-3 is in 'Box' now\nWrite K-3 on it in place of K-1\n"
    said = hand.does("stash", "damage", "K-1", "2x2cm", "--corner", "top-left")
    assert said.endswith("Write K-4 on it: it no longer belongs to K-1\n")
    said = hand.does("stash", "margin", "K-1", "1cm")
    assert said.endswith("Write K-5 on them in place of K-1\n")
    found = {row["label"]: row for row in hand.data("holders", "offcut", "for", "17x27cm")}
    assert found["K-5"]["free"] == 2
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "3")
    hand.does(
        "order", "add", "Ines", "folded-card", "width=20cm", "height=40cm", "mats=none",
        "all=Coal card", "--copies", "3", "--due", "in 5 days",
    )  # fmt: skip
    hand.does("batch", "plan")
    (layout,) = hand.data("batch", "batch", "show", "1")["layouts"]
    assert [one["label"] for one in layout["offcuts"]] == ["K1-1", "K1-2"]
    said = hand.does("batch", "cut", "1")
    assert "K1-1" in said
    assert "3 offcuts" in said
    rows = {row["label"]: row for row in hand.data("stash", "stash", "list")}
    assert rows["K1-1"]["quantity"] == 3
    assert "K1-1" in hand.does("stash", "history", "k1-1")


def test_the_plan_knows_the_labels(cutting: Table) -> None:
    with cutting.shop.read() as session:
        plan = plan_of(get_batch(session, 1))
    (layout,) = plan.layouts
    put = do(cutting, cut_batch, 1)
    assert [plan.offcut_label(kind) for kind in layout.offcut_kinds] == [one.label for one in put]
    sizes = [(rect.width, rect.height) for rect in layout.offcuts]
    assert [(one.width, one.height) for one in put] == sizes
