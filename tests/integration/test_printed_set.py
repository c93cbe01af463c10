"""What the book adds to documents: labels, ribbon and the like, what is missing or left."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pdfplumber
import pytest

from inventory.changes.order_changes import cancel_order
from inventory.changes.replanning import replan_batches
from inventory.changes.undo import last_transaction as last_deed_of
from inventory.changes.undo import undo_transaction
from inventory.documents.plan.document_set import DocumentOptions, plan_documents
from inventory.documents.plan.facts_from_book import (
    DocumentRequest,
    with_shop_data,
    write_batch_documents,
)
from inventory.production.cutting import cut_batch
from inventory.production.progress import list_remaining
from inventory.production.spoiling import spoil_piece
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch, plan_of
from nester.core.lengths import cm
from nester.core.piece import Grain
from nester.core.problem import Effort
from nester.drawing.canvas.svg import SVG
from tests.integration.conftest import TODAY, Table

if TYPE_CHECKING:
    from pathlib import Path

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


def options_of(table: Table, *, left: bool = False) -> DocumentOptions:
    with table.shop.read() as session:
        batch = get_batch(session, 1)
        return with_shop_data(DocumentOptions(), session, batch, plan_of(batch), left=left)


def plan(table: Table):
    with table.shop.read() as session:
        return plan_of(get_batch(session, 1))


def labels_of(table: Table, options: DocumentOptions) -> dict[str, tuple[str, ...]]:
    """Return the lines of the labels of offcuts that are printed."""
    options = replace(options, kinds=("labels",))
    (document,) = plan_documents(plan(table), options)
    labels = document.blocks[0].labels
    return {one.id: one.lines for one in labels if one.id.startswith("K")}


def test_labels_are_known_before_cutting_and_stay(table: Table) -> None:
    before = labels_of(table, options_of(table))
    layout = plan(table).layouts[0]
    assert len(plan(table).layouts) == 1
    assert list(before) == [f"K1-{kind}" for kind in layout.offcuts_by_kind()]
    assert {lines[0] for lines in before.values()} == {f"{layout.copies} offcuts"}
    with table.shop.begin() as session:
        put = cut_batch(session, 1, layout=1, copies=1)
    assert [one.label for one in put] == list(before)
    assert labels_of(table, options_of(table)) == before
    assert labels_of(table, options_of(table, left=True)) == before
    with table.shop.begin() as session:
        undo_transaction(session, last_deed_of(session, batch=1).id)
        more = cut_batch(session, 1)
    assert [one.label for one in more] == list(before)
    assert labels_of(table, options_of(table)) == before
    with table.shop.read() as session:
        rows = {row.label: row for row in list_stash(session, kind="offcut")}
    assert rows.keys() == before.keys()
    for kind, (rect, each) in layout.offcuts_by_kind().items():
        row = rows[f"K1-{kind}"]
        assert (row.width, row.height) == (rect.width, rect.height)
        assert row.quantity == each * layout.copies


def test_what_is_left_and_what_is_missing(table: Table) -> None:
    copies = plan(table).layouts[0].copies
    with table.shop.begin() as session:
        cut_batch(session, 1, layout=1, copies=1)
        spoil_piece(session, 1, plan(table).parts[0].piece.name)
    options = options_of(table, left=True)
    assert options.left == {1: tuple(range(2, copies + 1))}
    (missing,) = options.missing.values()
    assert missing == {plan(table).parts[0].piece.name: 1}
    kit = next(one for one in plan_documents(plan(table), options) if one.kind == "kit")
    assert any("spoiled and not cut again" in str(block) for block in kit.blocks)


def test_kits_name_what_there_is_beside_paper(table: Table) -> None:
    extras = options_of(table).extras
    assert set(extras) == {1}
    with_extras = DocumentOptions(kinds=("kit",), extras={1: ["2 × ribbon, 12 cm: bow"]})
    (kit,) = plan_documents(plan(table), with_extras)
    assert "2 × ribbon, 12 cm: bow" in str(kit.blocks)


@pytest.mark.parametrize(("grain", "lies"), [("long", Grain.HEIGHT), ("short", Grain.WIDTH)])
def test_plans_say_how_fibres_and_patterns_lie(shop: ShopFile, grain: str, lies: Grain) -> None:
    table = Table(shop)
    table.paper(grain=grain, pattern="directional")
    table.sheets((cm(50), cm(70)), 9)
    table.card(1, size=("20cm", "40cm"))
    table.plan()
    sheet = plan(table).layouts[0].sheet
    assert (sheet.grain, sheet.pattern_up) == (lies, True)
    (cut, *_) = plan_documents(plan(table), DocumentOptions(kinds=("cut",)))
    words = [text.text for text in cut.blocks[0].draw((180, 200)).iter(f"{{{SVG}}}text")]
    assert {"grain of the paper", "top of the pattern"} <= set(words)


def test_where_nothing_is_known_no_arrow_is_drawn(table: Table) -> None:
    (cut, *_) = plan_documents(plan(table), DocumentOptions(kinds=("cut",)))
    words = [text.text for text in cut.blocks[0].draw((180, 200)).iter(f"{{{SVG}}}text")]
    assert not {"grain of the paper", "top of the pattern"} & set(words)


def test_what_is_left_is_all_that_any_file_lists(shop: ShopFile, tmp_path: Path) -> None:
    """Two layouts, of which one is cut: no file lists that one any more."""
    table = Table(shop)
    table.paper()
    table.sheets((cm(50), cm(70)), 9)
    table.card(2, size=("20cm", "40cm"))
    table.card(1, size=("19cm", "39cm"))
    replan_batches(shop, [table.plan().batch or 0], effort=Effort.QUICK, days=2, today=TODAY)
    with shop.begin() as session:
        plan = plan_of(get_batch(session, 2))
        numbers = [layout.number for layout in plan.layouts]
        assert len(numbers) > 1
        cut_batch(session, 2, layout=numbers[0])
        left = [row.layout.number for row in list_remaining(session, get_batch(session, 2))]
        assert left == numbers[1:]
        days = {layout.number: layout.day for layout in plan.layouts}
    for request in (DocumentRequest(left=True), DocumentRequest(day=2)):
        chosen = [one for one in left if request.day in (None, days[one])]
        folder = tmp_path / f"day-{request.day}"
        write_batch_documents(shop, 2, folder, request)
        with (folder / "cut-list.csv").open(encoding="utf-8", newline="") as file:
            assert {int(row["layout"]) for row in csv.DictReader(file)} == set(chosen)
        words = (folder / "cut-list.txt").read_text(encoding="utf-8")
        assert {int(n) for n in re.findall(r"^Layout (\d+)", words, re.MULTILINE)} == set(chosen)
        assert len(list((folder / "layouts").glob("*.svg"))) == len(chosen)
        with pdfplumber.open(next(folder.glob("*.pdf"))) as book:
            pages = "\n".join(page.extract_text() for page in book.pages)
        assert {int(n) for n in re.findall(r"^Layout (\d+):", pages, re.MULTILINE)} == set(chosen)


def test_nothing_of_a_cancelled_order_is_printed(shop: ShopFile, tmp_path: Path) -> None:
    table = Table(shop)
    table.paper()
    table.sheets((cm(50), cm(70)), 9)
    table.card(2, size=("20cm", "40cm"))
    table.card(1, size=("19cm", "39cm"))
    table.plan()
    with shop.begin() as session:
        before = plan_of(get_batch(session, 1))
        cancel_order(session, 1)
        after = plan_of(get_batch(session, 1))
    assert after.cost < before.cost
    assert not after.is_proven
    write_batch_documents(shop, 1, tmp_path, DocumentRequest())
    with pdfplumber.open(next(tmp_path.glob("*.pdf"))) as book:
        pages = "\n".join(page.extract_text() for page in book.pages)
    assert "Order 2" in pages
    assert "Order 1" not in pages
    assert "no plan can use less" not in pages
    assert "No plan can use less" not in pages
    for name in ("plan.txt", "cut-list.txt"):
        words = (tmp_path / name).read_text(encoding="utf-8")
        assert not re.search(r"order 1\b", words, re.IGNORECASE)
