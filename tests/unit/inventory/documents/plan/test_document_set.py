"""The printed set: same bytes, QR codes that read back, names and sheets that are odd."""

from __future__ import annotations

import csv
import gc
import io
import re
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace
from datetime import date
from decimal import Decimal
from html.parser import HTMLParser
from importlib.resources import files
from random import Random

import openpyxl
import pdfplumber
import pypdf
import pypdfium2
import pytest
import zxingcpp

from inventory.core.plan import (
    PartType,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
    ShoppingLine,
    plan_faults,
    plan_from_json,
    plan_to_json,
)
from inventory.documents.format.blocks import LabelGrid
from inventory.documents.format.label_grid import read_grid
from inventory.documents.format.languages import translator_for
from inventory.documents.format.pages import wrapped
from inventory.documents.plan.document_set import (
    DOCUMENT_KINDS,
    DocumentOptions,
    plan_documents,
    plan_fingerprint,
)
from inventory.documents.plan.files import write_documents
from inventory.documents.plan.rendering import plan_html, plan_pdf, plan_workbook
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Hole, Line, Piece, Point, Score
from nester.core.problem import Cuts, Effort, Layout, PlacedPiece, Rect, StockItem, Trimmer
from nester.cutting import plan_cuts
from nester.drawing.canvas.fonts import MISSING_GLYPH, FontSet, _load_face
from nester.drawing.pictures.layout_text import layout_text
from tests.reading import steps_in

SIZE = cm(20)
CARD = replace(
    Piece.rectangle("card", "all", SIZE, SIZE),
    scores=(
        Score(Line(Point(cm(10), 0), Point(cm(10), SIZE)), Fold.VALLEY, 180),
        Score(Line(Point(0, cm("7.5")), Point(SIZE, cm("7.5"))), Fold.MOUNTAIN),
    ),
    slits=(Line(Point(cm(2), cm(3)), Point(cm(2), cm(9))),),
    holes=(Hole(Point(cm(18), cm(2)), mm(5), eyelet=True),),
)


SHEET = (cm(50), cm(70))


def a_plan(
    pieces=(CARD,), *, sheet=SHEET, copies=2, paper="Coal card", customer="Ines",
    place="Shelf 2",
) -> Plan:  # fmt: skip
    """Return a plan that cuts the pieces side by side from one sheet."""
    placed, x = [], 0
    for piece in pieces:
        placed.append(PlacedPiece(piece.name, x, 0, piece.width, piece.height))
        x += piece.width
    cuts, offcuts = plan_cuts(*sheet, placed, Cuts.STRAIGHT, mm(75))
    spots = tuple(
        PlannedPlacement(number, p.x, p.y, p.width, p.height, False, (7,) * copies)
        for number, p in enumerate(placed)
    )
    source = PlannedSheet("S-1", "sheet", paper, "#1e1e21", *sheet, place, Decimal("2.1"))
    return Plan(
        batch=4,
        made_on=date(2027, 3, 1),
        shop="The paper nook",
        unit=Unit.CM,
        currency="EUR",
        cuts=Cuts.STRAIGHT,
        effort=Effort.QUICK,
        orders=(PlannedOrder(7, customer, "folded-card", 2, date(2027, 3, 9), True),),
        parts=tuple(PartType(paper, piece) for piece in pieces),
        layouts=(PlannedLayout(1, source, copies, spots, cuts, offcuts),),
        lacking=(),
        restock=(ShoppingLine(paper, *sheet, 3, Decimal("2.1"), (7,)),),
        cost=Decimal("23.8"),
        bound=Decimal("23.4"),
    )


def text_of(data: bytes) -> str:
    with pdfplumber.open(io.BytesIO(data)) as book:
        return "\n".join(page.extract_text() for page in book.pages)


def test_the_same_plan_gives_the_same_bytes():
    assert plan_pdf(a_plan(), DocumentOptions()) == plan_pdf(a_plan(), DocumentOptions())
    assert plan_workbook(a_plan()) == plan_workbook(a_plan())
    assert plan_html(a_plan(), DocumentOptions()) == plan_html(a_plan(), DocumentOptions())


def test_title_language_page_numbers_and_footer():
    plan = a_plan()
    book = pypdf.PdfReader(
        io.BytesIO(plan_pdf(plan, DocumentOptions(translator=translator_for("de"))))
    )
    assert book.metadata.title == "Stapel 4 · The paper nook"
    assert book.trailer["/Root"]["/Lang"] == "de"
    last = len(book.pages)
    text = book.pages[1].extract_text()
    assert f"2 von {last}" in text
    assert f"Stapel 4 · 01.03.2027 · Plan {plan_fingerprint(plan)}" in text
    assert plan_fingerprint(replace(plan, cost=Decimal(1))) != plan_fingerprint(plan)


def test_the_summary_says_how_good_the_plan_is():
    words = " ".join(text_of(plan_pdf(a_plan(), DocumentOptions(kinds=("summary",)))).split())
    assert "No plan can use less than 23.40 EUR of paper; this one uses 23.80 EUR." in words
    assert "eye protection" in words
    best = replace(a_plan(), bound=Decimal("23.8"))
    words = " ".join(text_of(plan_pdf(best, DocumentOptions(kinds=("summary",)))).split())
    assert "This plan uses 23.80 EUR of paper, and no plan can use less." in words


def test_each_kind_has_its_pages():
    documents = plan_documents(a_plan(), DocumentOptions())
    assert [document.kind for document in documents] == list(DOCUMENT_KINDS)


def test_the_score_sheet_tells_every_mark():
    words = " ".join(text_of(plan_pdf(a_plan(), DocumentOptions(kinds=("score",)))).split())
    for said in (
        "card · 20 × 20 cm · 2 pieces",
        "valley fold, 180°",
        "10 cm from the left edge",
        "mountain fold, 90°",
        "7.5 cm from the top edge",
        "slit, cut through",
        "hole, 0.5 cm across, for an",
    ):
        assert said in words, said


def test_a_short_trimmer_is_told_on_the_cut_sheet():
    plan = replace(a_plan(), trimmer=Trimmer(longest_cut=cm(31)))
    data = plan_pdf(plan, DocumentOptions(kinds=("cut",)))
    (steps,) = steps_in(data)
    assert ["it is too long for the trimmer." in step for step in steps] == [
        cut.end - cut.start > cm(31) for cut in a_plan().layouts[0].cuts
    ]
    assert "knife cut, from tick to tick" in text_of(data)


# --- labels ------------------------------------------------------------------------------------


def codes_on(data: bytes) -> list[str]:
    pages = pypdfium2.PdfDocument(data)
    return [
        code.text
        for page in pages
        for code in zxingcpp.read_barcodes(page.render(scale=300 / 72).to_pil())
    ]


def test_qr_codes_hold_the_labels():
    plan = a_plan()
    piles = {f"K4-{kind}" for kind in plan.layouts[0].offcut_kinds}
    assert piles
    codes = codes_on(plan_pdf(plan, DocumentOptions(kinds=("labels",))))
    assert sorted(codes) == sorted([*piles, "Order 7"])
    before = DocumentOptions(kinds=("labels",), labels={(1, 1, 0): "K-17"})
    assert sorted(codes_on(plan_pdf(plan, before))) == sorted(["K-17", *piles, "Order 7"])


def test_a_pile_has_one_label_that_its_cut_sheets_show():
    plan = a_plan()
    (layout,) = plan.layouts
    (labels,) = plan_documents(plan, DocumentOptions(kinds=("labels",)))[0].blocks
    numbers = {label.id: label.lines[0] for label in labels.labels}
    words = text_of(plan_pdf(plan, DocumentOptions(kinds=("cut",))))
    for kind in set(layout.offcut_kinds):
        number = layout.offcut_kinds.count(kind) * layout.copies
        assert numbers[f"K4-{kind}"] == f"{number} offcuts"
        assert f"K4-{kind}" in words


def test_kinds_of_offcuts_keep_their_numbers():
    plan = a_plan()
    (layout,) = plan.layouts
    rects = layout.offcuts
    other = replace(layout, number=2, offcut_kinds=(), offcuts=(Rect(0, 0, 7, 9), *rects))
    both = replace(plan, layouts=(layout, other))
    most = max(layout.offcut_kinds)
    assert both.layouts[0] == layout
    assert both.layouts[1].offcut_kinds[0] == most + 1
    again = plan_from_json(plan_to_json(replace(both, layouts=both.layouts[1:])))
    assert again.layouts[0].offcut_kinds == both.layouts[1].offcut_kinds
    text = plan_to_json(plan).replace('"offcut_kinds":', '"unknown":')
    assert plan_from_json(text) == plan  # as plans of before the kinds were kept
    wrong = replace(layout, offcut_kinds=(1,) * len(rects), offcuts=(Rect(0, 0, 7, 9), *rects[1:]))
    faults = set(plan_faults(replace(plan, layouts=(layout, replace(wrong, number=2)))))
    assert faults == {"layout 2 has an offcut of a kind that can't be so"}


@pytest.mark.parametrize(
    "grid", [LabelGrid(3, 8), LabelGrid(2, 7, 5, 15, 2, 0), LabelGrid(5, 13, 5, 11, 2, 0)]
)
def test_labels_stay_in_their_places(grid):
    plan = replace(a_plan(), layouts=(replace(a_plan().layouts[0], copies=30),))
    offcuts = len(plan.layouts[0].offcuts)
    spots = [(1, copy, place) for copy in range(1, 31) for place in range(offcuts)]
    labels = {spot: f"K-{number}" for number, spot in enumerate(spots)}
    data = plan_pdf(plan, DocumentOptions(kinds=("labels",), grid=grid, labels=labels))
    count = len(spots) + 1
    wide, high = grid.size(210, 297)
    with pdfplumber.open(io.BytesIO(data)) as book:
        assert len(book.pages) == -(-count // (grid.columns * grid.rows))
        for word in book.pages[0].extract_words():
            x, y = (word["x0"] * 25.4 / 72, word["top"] * 25.4 / 72)
            column = (x - grid.side) // (wide + grid.gap_across)
            row = (y - grid.top) // (high + grid.gap_down)
            right = grid.side + column * (wide + grid.gap_across) + wide
            bottom = grid.top + row * (high + grid.gap_down) + high
            if y > grid.top + grid.rows * (high + grid.gap_down) - 2.6:
                continue  # the footer, where the sheet of labels leaves room for it
            assert word["x1"] * 25.4 / 72 <= right + 0.1, word
            assert word["bottom"] * 25.4 / 72 <= bottom, word


def test_label_grids_are_read():
    assert read_grid("2x7", "4.5 mm, 1.5cm", "2mm,0") == LabelGrid(2, 7, 4.5, 15.0, 2.0, 0.0)
    for bad in (("8", "1mm,1mm", "0,0"), ("0x3", "1mm,1mm", "0,0"), ("3x8", "1mm", "0,0")):
        with pytest.raises(Refusal):
            read_grid(*bad)
    with pytest.raises(Refusal, match="too small to be read"):
        plan_pdf(a_plan(), DocumentOptions(kinds=("labels",), grid=LabelGrid(20, 30)))


# --- odd ones ----------------------------------------------------------------------------------


def test_no_layouts_still_make_a_page():
    empty = replace(a_plan(), layouts=(), batch=None)
    words = text_of(plan_pdf(empty, DocumentOptions()))
    assert "No order can be made from the stash." in words
    assert "Nothing is taken from the stash." in words
    assert "<html" in plan_html(empty, DocumentOptions())


ODD = "W" * 400
SCRIPTS = "Žofie Ελένη Жанна प्रिया 東京の箱 한국"


@pytest.mark.parametrize(
    "name",
    [
        ODD, "x" * 10_000, "word " * 2_000, "x y " * 120, " ", "   \t ", "'=HYPERLINK(1)",
        "<script>alert(1)</script>", "a\x00b\n\tc", "\N{RIGHT-TO-LEFT OVERRIDE}=1+1",
        "שלום עולם " * 20, "مرحبا", "\U0001f381" * 300, "A\N{COMBINING GRAVE ACCENT}" * 500,
        "\U0001f469\N{ZERO WIDTH JOINER}\U0001f467", "\N{ZERO WIDTH SPACE}" * 40, "{n} {page}",
    ],
    ids=lambda name: name[:6].encode("unicode_escape").decode(),
)  # fmt: skip
def test_absurd_names(name):
    odd = a_plan(
        (replace(CARD, name=name),), paper=name, customer=name, place=name
    )  # fmt: skip
    data = plan_pdf(odd, DocumentOptions())
    with pdfplumber.open(io.BytesIO(data)) as book:
        for page in book.pages:
            for char in page.chars:
                assert 0 <= char["x0"] <= char["x1"] <= page.width + 0.5
    assert "<script>alert" not in plan_html(odd, DocumentOptions())
    openpyxl.load_workbook(io.BytesIO(plan_workbook(odd)))


def test_names_in_many_scripts_are_in_the_pdf():
    data = plan_pdf(a_plan(customer=SCRIPTS), DocumentOptions(kinds=("kit",)))
    text = pypdfium2.PdfDocument(data)[0].get_textpage().get_text_range()
    assert SCRIPTS in text
    fonts = {
        str(font.get_object()["/BaseFont"])
        for page in pypdf.PdfReader(io.BytesIO(data)).pages
        for font in page["/Resources"]["/Font"].values()
    }
    assert any("Devanagari" in font for font in fonts)
    assert MISSING_GLYPH not in text


def test_a_sign_that_no_font_has_can_be_seen():
    assert MISSING_GLYPH in text_of(
        plan_pdf(a_plan(customer="\U0001f384"), DocumentOptions(kinds=("kit",)))
    )


@pytest.mark.parametrize("customer", ["\U0001f384", "Ines"])
def test_a_font_that_cannot_be_read_is_refused(tmp_path, customer):
    broken = tmp_path / "broken.ttf"
    broken.write_bytes(b"no font")
    plan = a_plan(customer=customer)
    with pytest.raises(Refusal, match=r"broken\.ttf: this font can't be read"):
        plan_pdf(plan, DocumentOptions(), fonts=[broken])
    with pytest.raises(Refusal, match=r"none\.ttf: this font can't be read"):
        plan_pdf(plan, DocumentOptions(), fonts=[tmp_path / "none.ttf"])


def test_a_damaged_font_prints_or_is_refused(tmp_path):
    """A font with bytes changed, cut out or cut off at the end."""
    chance = Random(1)
    place = "files/NotoSansDevanagari[wdth,wght].ttf"
    data = files("fontpkg_noto_sans_devanagari").joinpath(place).read_bytes()
    plan = a_plan(customer="प्रिया")  # the shop's own fonts are asked before ours
    damaged = tmp_path / "damaged.ttf"
    refused = 0
    for number in range(6):
        broken = bytearray(data)
        if number % 3 == 0:
            del broken[chance.randrange(len(data)) :]
        elif number % 3 == 1:
            start = chance.randrange(len(data))
            del broken[start : start + 5_000]
        else:
            for _ in range(chance.choice((2, 20, 2_000))):
                broken[chance.randrange(len(data))] = chance.randrange(256)
        damaged.write_bytes(broken)
        _load_face.cache_clear()
        try:
            pdf = plan_pdf(plan, DocumentOptions(kinds=("kit",)), fonts=[damaged])
        except Refusal as refusal:
            refused += "damaged.ttf: this font" in str(refusal)
        else:
            assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == 1
    assert refused > 2
    gc.collect()  # no file was left open


def test_a_missing_font_is_refused(monkeypatch):
    monkeypatch.setattr("nester.drawing.canvas.fonts.find_spec", lambda _: None)
    with pytest.raises(Refusal, match="the font for printing is missing"):
        FontSet()


def test_a_sheet_of_ten_metres_and_a_piece_of_three_millimetres():
    tiny = Piece.rectangle("tag", "all", mm(3), mm(3))
    for sheet in ((cm(1000), cm(1000)), (cm(1000), cm(5)), (cm(5), cm(1000))):
        plan = a_plan((tiny, replace(tiny, name="tag 2")), sheet=sheet)
        text = text_of(plan_pdf(plan, DocumentOptions(kinds=("cut",))))
        assert "0.3 × 0.3 cm" in text
        assert "tag 2" in text


def test_an_unknown_page_is_refused():
    with pytest.raises(Refusal, match="'A5' is not a page to print on; use A4 or Letter"):
        plan_pdf(a_plan(), DocumentOptions(), page="A5")


# --- HTML and data -----------------------------------------------------------------------------


class _Reader(HTMLParser):
    VOID = frozenset({"meta", "input", "br", "col"})

    def __init__(self):
        super().__init__()
        self.open, self.outside = [], []

    def handle_starttag(self, tag, attrs):
        if tag not in self.VOID:
            self.open.append(tag)
        self.outside += [
            value for name, value in attrs if name in ("src", "href") and not value.startswith("#")
        ]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_html_is_well_formed_and_needs_nothing_else():
    text = plan_html(a_plan(), DocumentOptions())
    reader = _Reader()
    reader.feed(text)
    assert reader.open == []
    assert reader.outside == []
    assert "url(" not in text
    assert "@import" not in text
    pictures = re.findall(r"<svg .*?</svg>", text, re.DOTALL)
    assert len(pictures) >= 3
    for picture in pictures:
        ET.fromstring(picture)  # noqa: S314


def test_the_workbook_has_every_list_and_no_formula():
    plan = a_plan(customer="=1+1")
    book = openpyxl.load_workbook(io.BytesIO(plan_workbook(plan)))
    assert book.sheetnames == [
        "take out", "cuts", "pieces", "offcuts", "scores", "kits", "lacking", "to buy",
    ]  # fmt: skip
    kit = list(book["kits"].iter_rows(values_only=True))
    assert kit[1][:2] == (7, "=1+1")
    assert book["kits"]["B2"].data_type == "s"
    assert len(list(book["cuts"].rows)) == 1 + len(plan.layouts[0].cuts)
    assert zipfile.ZipFile(io.BytesIO(plan_workbook(plan))).testzip() is None


def test_the_set_is_written_as_asked(tmp_path):
    plan = a_plan()
    data = write_documents(plan, tmp_path / "all", DocumentOptions(), formats=["xlsx", "csv"])
    assert {path.name for path in data} == {
        "batch-4.xlsx", "cut-list.csv", "kits.csv", "lacking.csv", "offcuts.csv", "pieces.csv",
        "scores.csv", "shopping.csv", "take-out.csv",
    }  # fmt: skip
    documents = write_documents(
        plan, tmp_path / "documents", DocumentOptions(), formats=["pdf", "html"]
    )
    assert {path.name for path in documents} == {"batch-4.pdf", "batch-4.html"}
    each = write_documents(plan, tmp_path / "each", DocumentOptions(), formats=["pdf"], each=True)
    assert {path.name for path in each} == {f"batch-4-{kind}.pdf" for kind in DOCUMENT_KINDS}
    rows = list(csv.DictReader(io.StringIO((tmp_path / "all" / "kits.csv").read_text())))
    assert [(row["piece"], row["number"]) for row in rows] == [("card", "2")]


def test_only_what_is_left_is_taken_out_and_cut():
    options = DocumentOptions(kinds=("take-out", "cut"), left={1: (2,)})
    words = text_of(plan_pdf(a_plan(), options))
    assert "1 × S-1" in words
    assert "cut 1 sheet like this" in words
    done = DocumentOptions(kinds=("take-out", "cut"), left={})
    assert "Nothing is taken from the stash." in text_of(plan_pdf(a_plan(), done))


# --- the terminal ------------------------------------------------------------------------------


def test_a_layout_as_text():
    stock = StockItem("S-1", cm(60), cm(40), None, Decimal(1))
    places = [PlacedPiece("a", 0, 0, cm(30), cm(20)), PlacedPiece("b", cm(30), 0, cm(30), cm(20))]
    drawn = Layout("S-1", 1, tuple(places), (), ())
    assert layout_text(drawn, stock, Unit.CM, columns=31) == (
        "┌──────────────┬──────────────┐\n"
        "│              │              │\n"
        "│      a       │      b       │\n"
        "│  30 × 20 cm  │  30 × 20 cm  │\n"
        "│              │              │\n"
        "├──────────────┴──────────────┤\n"
        "│·····························│\n"
        "│·····························│\n"
        "│·····························│\n"
        "│·····························│\n"
        "└─────────────────────────────┘\n"
        "60 cm × 40 cm\n"
    )


def test_a_measure_is_not_parted_by_a_line():
    faces = FontSet()
    words = "Across, 6.25 cm from the top edge of the ≈18.098 × ≈18.098 cm part, 20 min."
    whole = faces.width("≈18.098 × ≈18.098 cm", 10.0)
    for room in range(int(whole) + 1, 200):
        lines = wrapped(faces, words, float(room), 10.0)
        assert " ".join(lines) == words
        for measure in ("6.25 cm", "≈18.098 × ≈18.098 cm", "20 min"):
            assert any(measure in line for line in lines), (measure, lines)
    narrow = wrapped(faces, "≈18.098 × ≈18.098 cm", whole * 0.7, 10.0)
    assert narrow == ["≈18.098 ×", "≈18.098 cm"]
    assert wrapped(faces, "\N{NO-BREAK SPACE}", 1.0, 10.0) == [""]
