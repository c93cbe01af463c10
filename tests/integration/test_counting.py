"""Stocktakes: the sheet to count by, what is booked of it, and what was never counted."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import pytest

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.tables.enums import Reason
from inventory.stock import adjust, listing, papers, receiving
from inventory.stock.stocktake import (
    CountLine,
    book_counts,
    last_counts,
    read_counts,
    stocktake_rows,
)
from nester.core.errors import Refusal
from nester.core.lengths import cm

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

SIZE = (cm(50), cm(70))


def fill(session: Session) -> None:
    for name in ("Coal card", "Moss linen"):
        papers.add_paper(session, name, colour="black", grammage=300)
    receiving.add_sheets(session, "Coal card", SIZE, 12, place="Shelf A / Drawer 1")
    receiving.add_sheets(session, "Moss linen", SIZE, 5, place="Shelf B")
    receiving.add_offcut(session, "Coal card", (cm(20), cm(30)), place="Shelf A")


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        fill(opened)
        yield opened


def on_hand(session: Session) -> dict[str, int]:
    return {row.label: row.quantity for row in listing.list_stash(session)}


def test_a_sheet_lists_a_place_and_what_is_in_it(session: Session) -> None:
    assert [(row.place, row.label) for row in stocktake_rows(session)] == [
        ("Shelf A", "K-1"), ("Shelf A / Drawer 1", "S-1"), ("Shelf B", "S-2"),
    ]  # fmt: skip
    assert [row.label for row in stocktake_rows(session, "shelf a")] == ["K-1", "S-1"]
    with pytest.raises(Refusal, match="there is no place 'Attic'"):
        stocktake_rows(session, "Attic")


def test_differences_are_booked_in_one_deed_with_a_reason(session: Session) -> None:
    counts = [CountLine("S-1", 11, 12), CountLine("s-2", 5), CountLine("K-1", 0, 1)]
    with pytest.raises(Refusal, match="differs from the records for S-1, K-1; say why"):
        book_counts(session, counts, " ")
    assert on_hand(session) == {"S-1": 12, "S-2": 5, "K-1": 1}
    told = book_counts(session, counts, "stocktake")
    assert [(one.label, one.book_quantity, one.counted) for one in told] == [
        ("S-1", 12, 11),
        ("K-1", 1, 0),
    ]
    assert on_hand(session) == {"S-1": 11, "S-2": 5}
    last = listing.stock_history(session, "S-1")[-1]
    assert (last.reason, last.change, last.note) == (Reason.COUNTED, -1, "stocktake")
    assert {last.transaction} == {listing.stock_history(session, "K-1")[-1].transaction}
    undo_transaction(session, last_transaction(session).id)
    assert on_hand(session) == {"S-1": 12, "S-2": 5, "K-1": 1}


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ([CountLine("S-9", 1)], "nothing in the stash has the label 'S-9'"),
        ([CountLine("S-1", 1), CountLine("s-1", 2)], "S-1 is counted twice"),
        ([CountLine("S-1", 12, 13)], "there were 13 of S-1 when the sheet was printed, and 12 now"),
    ],
)
def test_a_wrong_count_changes_nothing(session: Session, counts, said: str) -> None:
    deeds = last_transaction(session).id
    with pytest.raises(Refusal, match=said):
        book_counts(session, [CountLine("S-2", 1), *counts], "stocktake")
    assert on_hand(session) == {"S-1": 12, "S-2": 5, "K-1": 1}
    assert last_transaction(session).id == deeds


def test_what_was_never_counted_is_said(session: Session) -> None:
    def told() -> list[tuple[str, bool, int, int]]:
        return [(one.paper, one.last_counted is None, one.labels, one.never_counted) for one in
                last_counts(session)]  # fmt: skip

    assert told() == [("Coal card", True, 2, 2), ("Moss linen", True, 1, 1)]
    book_counts(session, [CountLine("S-1", 12)], "")
    assert told() == [("Moss linen", True, 1, 1), ("Coal card", False, 2, 1)]
    adjust.count_stock(session, "S-2", 5)
    assert told() == [("Coal card", False, 2, 1), ("Moss linen", False, 1, 0)]
    undo_transaction(session, last_transaction(session).id)
    assert told()[0] == ("Moss linen", True, 1, 1)
    adjust.spoil_stock(session, "S-2", 5)
    assert [one.paper for one in last_counts(session)] == ["Coal card"]


def test_an_empty_sheet_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "count.csv"
    path.write_text("label,found\nS-1,\n", encoding="utf-8")
    with pytest.raises(Refusal, match="no line says what was found"):
        read_counts(path)
    path.write_text("label,found\nS-1,some\n", encoding="utf-8")
    with pytest.raises(Refusal, match=r"count\.csv, line 2, found: 'some' is not a whole"):
        read_counts(path)


def test_a_sunday_at_the_desk(shop: ShopFile, hand: Hand, tmp_path: Path) -> None:
    with shop.begin() as session:
        fill(session)
    path = tmp_path / "count.csv"
    told = hand.does("stash", "sheet", "--into", str(path))
    assert told.startswith("Wrote 3 lines to ")
    assert told.endswith("Never counted: Coal card, Moss linen\n")
    assert "____" in hand.does("stash", "sheet", "--place", "Shelf A")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["found"] = str(int(row["book"]) - (row["label"] == "S-1"))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    assert "say why" in hand.refused("stash", "enter", str(path), "--yes")
    assert "this needs an answer" in hand.refused("stash", "enter", str(path), "--why", "Sunday")
    told = hand.does("stash", "enter", str(path), "--why", "Sunday", "--yes")
    assert told.endswith("Counted 3 labels; recorded 1 difference\n")
    assert "the sheet was printed" in hand.refused("stash", "enter", str(path), "--yes")
    rows = hand.data("counted", "stash", "counted")
    assert [(row["paper"], row["never"]) for row in rows] == [("Coal card", 0), ("Moss linen", 0)]
    assert "Coal card" in hand.does("stash", "counted")


def test_a_stocktake_says_which_batches_it_breaks(hand: Hand, tmp_path: Path) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--weight", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "3", "--price", "2")
    hand.does("sheet", "add", "Coal card", "50x71cm", "--quantity", "3", "--price", "3")
    hand.does("order", "add", "Ines", "folded-card", "all=Coal card", "mats=none", "width=20cm",
              "height=40cm", "--copies", "2", "--due", "in 5 days")  # fmt: skip
    hand.does("batch", "plan", "--effort", "quick")
    sheet = tmp_path / "count.csv"
    sheet.write_text("label,found\nS-1,1\n", encoding="utf-8")
    said = hand.does("stash", "enter", str(sheet), "--why", "Sunday", "--yes", "--replan")
    assert "Counted 1 label; recorded 1 difference" in said
    left = hand.data("batch", "batch", "show", "2")
    assert {layout["sheet"] for layout in left["layouts"]} == {"S-1", "S-2"}
    assert "No errors were found" in hand.does("shop", "check")
