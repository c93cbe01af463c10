"""A plan's papers: lists that read back exactly, text that fits, files that are whole."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from rich.cells import cell_len

from inventory.core.files import csv_text
from inventory.core.plan import (
    PartType,
    PieceShortage,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    ShoppingLine,
    plan_from_json,
    plan_to_json,
)
from inventory.documents.plan.document_set import DocumentOptions
from inventory.documents.plan.files import write_documents
from inventory.documents.plan.text import cut_list, plain_text, plan_summary
from inventory.views.production.plan import plan_as_json
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, from_mm_number, inch, mm, parse_length
from nester.core.piece import Piece
from nester.core.problem import Cuts, Effort, PlacedPiece
from nester.core.sheet_sizes import parse_size
from nester.cutting import plan_cuts
from nester.cutting.instructions import KNIFE_SAFETY_NOTE, SAFETY_NOTE

LISTS = {
    "cut-list.csv", "pieces.csv", "take-out.csv", "lacking.csv", "shopping.csv", "kits.csv",
    "scores.csv", "offcuts.csv",
}  # fmt: skip
TEXTS = {"plan.txt", "cut-list.txt"}
SET = {"batch-4.pdf", "batch-4.html", "batch-4.xlsx"}
PLAIN = ("csv", "txt", "svg")


def layout(number, sheet, places, *, copies=1, cuts=Cuts.STRAIGHT, parts=(), orders=(1,)):
    """Return a layout with the parts (by index) at their places, cut in a real order."""
    spots = []
    for part, x, y, turned in places:
        piece = parts[part].piece
        width, height = (piece.height, piece.width) if turned else (piece.width, piece.height)
        spots.append(
            PlannedPlacement(part, x, y, width, height, turned, (orders * copies)[:copies])
        )
    placed = [PlacedPiece(str(s.part), s.x, s.y, s.width, s.height, s.turned) for s in spots]
    made, offcuts = plan_cuts(sheet.width, sheet.height, placed, cuts, mm(75))
    return PlannedLayout(number, sheet, copies, tuple(spots), made, offcuts)


def plan(unit=Unit.CM, *, cuts=Cuts.STRAIGHT, paper="Coal card", customer="Ines", place="Shelf 2"):
    """Return a plan of two layouts and one order that waits, in sizes its unit can show."""
    step = cm(1) if unit is not Unit.IN else inch("7/32")

    def size(steps):
        return steps * step // 2

    parts = (
        PartType(paper, Piece.rectangle("tier 1", "tier.1", size(60), size(60))),
        PartType(paper, Piece.rectangle("lid", "lid", size(37), size(20))),
        PartType(paper, Piece.rectangle("tier 1", "tier.1", size(80), size(80))),
    )
    full = PlannedSheet(
        "S-1", "sheet", paper, "#1e1e21", size(140), size(110), place, Decimal("2.10")
    )
    offcut = PlannedSheet("K-1", "offcut", paper, None, size(80), size(81), None, Decimal("0.4"))
    layouts = (
        layout(
            1,
            full,
            [
                (0, 0, 0, False),
                (0, size(60), 0, False),
                (1, size(120), 0, True),
                (1, 0, size(60), False),
            ],
            copies=2,
            cuts=cuts,
            parts=parts,
            orders=(1, 3),
        ),
        layout(2, offcut, [(2, 0, 0, False)], cuts=cuts, parts=parts, orders=(3,)),
    )
    return Plan(
        batch=4,
        made_on=date(2027, 3, 1),
        shop="The paper nook",
        unit=unit,
        currency="EUR",
        cuts=cuts,
        effort=Effort.QUICK,
        orders=(
            PlannedOrder(1, customer, "layered-box", 2, date(2027, 3, 2), True),
            PlannedOrder(3, "Tobias", "tray-box", 1, date(2027, 3, 4), True),
            PlannedOrder(2, customer, "layered-box", 8, date(2027, 3, 9), False),
        ),
        parts=parts,
        layouts=layouts,
        lacking=(
            PieceShortage(2, paper, "tier 1", size(60), size(60), 5, "the sheets are used up"),
        ),
        restock=(
            ShoppingLine(paper, size(140), size(110), 3, Decimal("2.10"), (2,)),
            ShoppingLine("Moss linen", size(60), size(37), 0, None, (2,)),
        ),
        cost=Decimal("4.60"),
        bound=Decimal("4.0123"),
        notes=("Order 1 was due on 2027-02-28.",),
    )


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "week 48" / "batch-4"


# --- the lists ---------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize("cuts", list(Cuts))
def test_the_cut_list_reads_back_to_the_cuts_of_the_plan(folder, unit, cuts):
    made = plan(unit, cuts=cuts)
    write_documents(made, folder, DocumentOptions(), formats=PLAIN)
    rows = iter(rows_of(folder / "cut-list.csv"))
    for one in made.layouts:
        for number, cut in enumerate(one.cuts, start=1):
            row = next(rows)
            assert (int(row["layout"]), int(row["step"])) == (one.number, number)
            assert int(row["copies"]) == one.copies
            assert (row["sheet"], row["paper"]) == (one.sheet.label, one.sheet.paper)
            across, along = cut.part.x, cut.part.y
            if not cut.vertical:
                across, along = along, across
            assert row["from edge"] == ("left" if cut.vertical else "top")
            assert row["direction"] == ("up and down" if cut.vertical else "across")
            assert across + parse_length(row["measure"]) == cut.at
            assert along + length_or_zero(row["starts"]) == cut.start
            assert along + parse_length(row["stops"]) == cut.end
            assert parse_size(row["part"]) == (cut.part.width, cut.part.height)
            assert row["tool"] == ("knife" if cut.knife else "edge to edge")
            assert row["words"].startswith(f"{number}. ")
    assert list(rows) == []


def length_or_zero(text):
    return 0 if text.startswith("0 ") else parse_length(text)


@pytest.mark.parametrize("unit", list(Unit))
def test_the_pieces_read_back_to_the_spots_of_the_plan(folder, unit):
    made = plan(unit)
    write_documents(made, folder, DocumentOptions(), formats=PLAIN)
    rows = iter(rows_of(folder / "pieces.csv"))
    for one in made.layouts:
        for spot in one.spots:
            row = next(rows)
            piece = made.parts[spot.part].piece
            assert (int(row["layout"]), int(row["copies"])) == (one.number, one.copies)
            assert row["piece"] == piece.name
            assert parse_size(row["size"]) == (piece.width, piece.height)
            assert length_or_zero(row["from left"]) == spot.x
            assert length_or_zero(row["from top"]) == spot.y
            assert row["turned"] == ("turned" if spot.turned else "")
            assert {int(n) for n in row["orders"].split(", ")} == set(spot.orders)
    assert list(rows) == []


def test_what_to_take_out_adds_up(folder):
    made = plan()
    twice = replace(made.layouts[0], number=3, copies=1)
    twice = replace(twice, spots=tuple(replace(s, orders=(1,)) for s in twice.spots))
    write_documents(
        replace(made, layouts=(*made.layouts, twice)), folder, DocumentOptions(), formats=PLAIN
    )
    assert rows_of(folder / "take-out.csv") == [
        {
            "place": "",
            "label": "K-1",
            "kind": "offcut",
            "paper": "Coal card",
            "size": "40 × 40.5 cm",
            "number": "1",
            "layouts": "2",
        },
        {
            "place": "Shelf 2",
            "label": "S-1",
            "kind": "sheet",
            "paper": "Coal card",
            "size": "70 × 55 cm",
            "number": "3",
            "layouts": "1, 3",
        },
    ]


def test_what_lacks_and_what_to_buy(folder):
    write_documents(plan(), folder, DocumentOptions(), formats=PLAIN)
    assert rows_of(folder / "lacking.csv") == [
        {
            "order": "2",
            "customer": "Ines",
            "due": "2027-03-09",
            "paper": "Coal card",
            "piece": "tier 1",
            "size": "30 × 30 cm",
            "number": "5",
            "why": "the sheets are used up",
        }
    ]
    assert rows_of(folder / "shopping.csv") == [
        {
            "paper": "Coal card",
            "size": "70 × 55 cm",
            "number": "3",
            "each": "2.10 EUR",
            "together": "6.30 EUR",
            "orders": "2",
        },
        {
            "paper": "Moss linen",
            "size": "at least 30 × 18.5 cm",
            "number": "?",
            "each": "",
            "together": "",
            "orders": "2",
        },
    ]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "＝"])
def test_no_name_becomes_a_formula(folder, start):
    evil = f'{start}HYPERLINK("x", "y")'
    write_documents(
        plan(paper=evil, customer=evil, place=evil), folder, DocumentOptions(), formats=PLAIN
    )
    seen = 0
    for name in LISTS:
        for row in rows_of(folder / name):
            for cell in row.values():
                assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
                seen += evil in cell
    assert seen >= 10


def test_names_with_separators_quotes_and_other_scripts_read_back(folder):
    paper = 'Blatt; "grün", 和紙 €'
    write_documents(plan(paper=paper), folder, DocumentOptions(), formats=PLAIN)
    assert {row["paper"] for row in rows_of(folder / "pieces.csv")} == {paper}
    assert {row["paper"] for row in rows_of(folder / "cut-list.csv")} == {paper}


def test_csv_is_as_rfc_4180_says():
    text = csv_text(["a", "b"], [("x, y", 1), ('say "z"', ""), ("=1+1", -5)])
    assert text == 'a,b\r\n"x, y",1\r\n"say ""z""",\r\n\'=1+1,-5\r\n'


# --- the text ----------------------------------------------------------------------------------

LONG = "A very long-winded name that somebody took the trouble to write out in full " * 2


@pytest.mark.parametrize("unit", list(Unit))
@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize(
    "name", ["Coal card", LONG.strip(), "x" * 200, "和紙" * 100, "[bold]not markup[/] :smile:"]
)
def test_text_is_at_most_80_columns_wide(folder, unit, cuts, name):
    made = plan(unit, cuts=cuts, paper=name, customer=name, place=name)
    write_documents(made, folder, DocumentOptions(), formats=PLAIN)
    for text in TEXTS:
        content = (folder / text).read_text(encoding="utf-8")
        assert max(map(cell_len, content.splitlines())) <= 80
        assert not any(line.endswith(" ") for line in content.splitlines())
        assert "\x1b" not in content
        # Nothing is cut off: each sign of the name is still there, broken across lines or not.
        assert "…" not in content


def test_names_are_no_markup():
    made = plan(paper="[red]Coal[/red]", customer="[/]", place=":cat:")
    summary = plain_text(plan_summary(made))
    assert "[red]Coal[/red]" in summary
    assert "2 for [/], 8 × layered-box, due 2027-03-09" in summary
    assert ":cat:" in summary
    assert "[red]Coal[/red]" in plain_text(*cut_list(made))


def test_the_summary_says_what_it_costs_and_how_good_that_is():
    text = plain_text(plan_summary(plan()))
    assert text.startswith("Batch 4: 2 of 3 orders can be made, straight cuts\n")
    assert "9 pieces from 2 sheets and 1 offcut " in text
    assert "Paper for 4.60 EUR; no plan comes to less than 4.01 EUR" in text
    assert "at most 0.59 EUR could be saved" in " ".join(text.split())
    assert "Order 1 was due on 2027-02-28." in text
    best = replace(plan(), bound=Decimal("4.6"))
    assert "Paper for 4.60 EUR; no plan comes to less." in plain_text(plan_summary(best))
    keeping = plain_text(plan_summary(replace(best, kept=Decimal("0.5042"))))
    assert (
        "Paper for 4.60 EUR, less 0.50 EUR for the offcuts you keep: 4.10 EUR; no plan" in keeping
    )


def test_a_plan_of_nothing_says_so():
    none = replace(plan(), batch=None, layouts=(), cost=Decimal(0), bound=Decimal(0))
    text = plain_text(plan_summary(replace(none, orders=none.orders[2:])))
    assert text.startswith("No batch: 0 of 1 orders can be made, straight cuts\n")
    assert "No order can be made from the stash." in text
    assert "Restock" in text


def test_the_cut_list_heeds_fingers_first():
    # Text is wrapped, so it is compared by its words.
    def words(made, only=None):
        return " ".join(plain_text(*cut_list(made, only)).split())

    straight, free = plan(), plan(cuts=Cuts.FREE)
    assert words(straight).startswith(SAFETY_NOTE)
    assert KNIFE_SAFETY_NOTE not in words(straight)
    knife = any(cut.knife for one in free.layouts for cut in one.cuts)
    assert (KNIFE_SAFETY_NOTE in words(free)) == knife
    both, second = words(straight), words(straight, 2)
    assert "Layout 1, 2 times: S-1, Coal card, 70 × 55 cm, from Shelf 2 For orders 1, 3" in both
    assert "Layout 2: K-1, Coal card, 40 × 40.5 cm For order 3" in both
    assert "Layout 2: K-1" in second
    assert "Layout 1" not in second


def test_a_sheet_that_is_the_piece_needs_no_cut():
    part = PartType("Coal card", Piece.rectangle("lid", "lid", cm(10), cm(10)))
    sheet = PlannedSheet("K-7", "offcut", "Coal card", None, cm(10), cm(10), None, Decimal(0))
    whole = layout(1, sheet, [(0, 0, 0, False)], parts=(part,))
    made = replace(plan(), parts=(part,), layouts=(whole,))
    text = plain_text(*cut_list(made))
    assert "No cuts: the sheet is the piece." in text
    assert SAFETY_NOTE[:30] not in text


# --- as data -----------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", list(Unit))
def test_json_text_keeps_the_plan(unit):
    made = plan(unit, cuts=Cuts.FREE, paper='"和紙"\\', customer="\u2028")
    assert plan_from_json(plan_to_json(made)) == made


@pytest.mark.parametrize("unit", list(Unit))
def test_data_for_programs_reads_back_exactly(unit):
    made = plan(unit, cuts=Cuts.FREE)
    data = plan_as_json(made)
    assert (data["cost"], data["bound"]) == ("4.60", "4.0123")
    assert data["gap"] == pytest.approx((4.6 - 4.0123) / 4.6)
    for written, one in zip(data["layouts"], made.layouts, strict=True):
        assert from_mm_number(written["width"]) == one.sheet.width
        for piece, spot in zip(written["pieces"], one.spots, strict=True):
            sides = [from_mm_number(piece[side]) for side in ("x", "y", "width", "height")]
            assert sides == [spot.x, spot.y, spot.width, spot.height]
            assert piece["orders"] == list(spot.orders)
        assert len(written["steps"]) == len(one.cuts)
        for rect, offcut in zip(written["offcuts"], one.offcuts, strict=True):
            assert tuple(from_mm_number(rect[s]) for s in ("x", "y", "width", "height")) == offcut


# --- the files ---------------------------------------------------------------------------------


def test_all_files_are_written_and_named(folder):
    paths = write_documents(plan(), folder, DocumentOptions())
    assert {path.name for path in folder.iterdir()} == LISTS | TEXTS | SET | {"layouts"}
    pictures = sorted(path.name for path in (folder / "layouts").iterdir())
    assert pictures == ["001-S-1-coal-card.svg", "002-K-1-coal-card.svg"]
    assert sorted(paths) == sorted(path for path in folder.rglob("*") if path.is_file())
    for picture in (folder / "layouts").iterdir():
        assert ElementTree.parse(picture).getroot().tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314


@pytest.mark.parametrize("paper", ["../../etc", "和紙", "a/b\\c:d", ".", "x" * 200])
def test_no_name_of_a_paper_leads_out_of_the_folder(folder, paper):
    paths = write_documents(plan(paper=paper), folder, DocumentOptions())
    for path in paths:
        assert path.resolve().parent in (folder.resolve(), folder.resolve() / "layouts")
        assert path.is_file()
        assert len(path.name) < 100


def test_writing_again_replaces_what_was_there_and_nothing_else(folder):
    made = plan()
    third = replace(made.layouts[1], number=3)
    write_documents(
        replace(made, layouts=(*made.layouts, third)), folder, DocumentOptions(), formats=PLAIN
    )
    for own in ("my own.svg", "2024-spring.svg", "3.svg"):
        (folder / "layouts" / own).write_text("mine")
    (folder / "notes.txt").write_text("mine")
    (folder / "plan.txt").write_text("old")
    with pytest.raises(Refusal, match="exist already"):
        write_documents(made, folder, DocumentOptions(), formats=PLAIN)
    assert (folder / "plan.txt").read_text() == "old"
    asked = []
    write_documents(made, folder, DocumentOptions(), formats=PLAIN, may_replace=asked.extend)
    assert folder / "plan.txt" in asked
    assert [path.name for path in asked if not path.exists()] == ["003-K-1-coal-card.svg"]
    assert sorted(path.name for path in (folder / "layouts").iterdir()) == [
        "001-S-1-coal-card.svg",
        "002-K-1-coal-card.svg",
        "2024-spring.svg",
        "3.svg",
        "my own.svg",
    ]
    assert (folder / "notes.txt").read_text() == "mine"
    assert (folder / "plan.txt").read_text(encoding="utf-8").startswith("Batch 4")


def test_the_same_plan_gives_the_same_files(tmp_path):
    contents = []
    for name in ("once", "again"):
        paths = write_documents(plan(), tmp_path / name, DocumentOptions())
        contents.append({path.relative_to(tmp_path / name): path.read_bytes() for path in paths})
    assert contents[0] == contents[1]


def snapshot(folder):
    return {
        path.relative_to(folder): path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
    }


@pytest.mark.parametrize("where", ["taken", "taken/below", "open/layouts-is-a-file"])
def test_a_folder_that_cannot_be_made_is_refused_with_nothing_changed(tmp_path, where):
    (tmp_path / "taken").write_text("a file")
    folder = tmp_path / where
    if where.startswith("open"):
        folder.mkdir(parents=True)
        (folder / "layouts").write_text("a file")
    before = snapshot(tmp_path)
    with pytest.raises(Refusal, match="this folder can't be made"):
        write_documents(plan(), folder, DocumentOptions(), formats=PLAIN)
    assert snapshot(tmp_path) == before


def test_what_cannot_be_drawn_leaves_no_files(folder, monkeypatch):
    def fail(*_, **__):
        raise RuntimeError("no picture")

    monkeypatch.setattr("nester.drawing.pictures.layout.draw_layout", fail)
    with pytest.raises(RuntimeError, match="no picture"):
        write_documents(plan(), folder, DocumentOptions(), formats=PLAIN)
    assert not folder.exists()
