from __future__ import annotations

import io
from typing import Any

import pdfplumber
import pytest

from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, Unit, cm, mm
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point, Score
from nester.designs.boxes.layered_box.tier import FLAPS, tier
from nester.drawing.templates.pdf import OVERLAP, template_pdf

MM = 25.4 / 72
GREY = pytest.approx(0.5, abs=0.01)
BIG = tier(1, cm(18), FLAPS, cm(16))
SMALL = [Piece.rectangle(f"mat {n}", "mat", mm(40), mm(30 + n), quantity=4) for n in range(9)]


def opened(made: bytes) -> pdfplumber.PDF:
    return pdfplumber.open(io.BytesIO(made))


def lines(page: Any, *, grey: bool = False) -> list[tuple[float, float, float, float]]:
    """Return the lines of a page in mm: x, y, x2, y2, y down."""
    return [
        (ln["x0"] * MM, ln["top"] * MM, ln["x1"] * MM, ln["bottom"] * MM)
        for ln in page.lines
        if (ln["stroking_color"] == GREY) == grey
    ]


def words(page: Any) -> str:
    return " ".join(page.extract_text().split())


def test_small_pieces_share_a_page_and_none_touches_another() -> None:
    pages = opened(template_pdf(SMALL)).pages
    assert len(pages) == 2
    edges = lines(pages[1])
    boxes = []
    for at in range(0, len(edges), 4):
        box = edges[at : at + 4]
        boxes.append(
            (min(e[0] for e in box), min(e[1] for e in box),
             max(e[2] for e in box), max(e[3] for e in box))
        )  # fmt: skip
    assert len(boxes) == 9
    assert sorted(round(b[3] - b[1], 2) for b in boxes) == [30 + n for n in range(9)]
    for one in boxes:
        assert one[0] >= 9.99
        assert one[2] <= 200.01
        assert one[3] <= 287.01
        for other in boxes:
            apart = one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1]
            assert apart or one is other
    for piece in SMALL:
        assert f"{piece.name}, 40 × " in words(pages[1])


def test_a_large_piece_says_on_each_page_which_tile_it_is() -> None:
    pages = opened(template_pdf([BIG], unit=Unit.CM)).pages
    assert len(pages) == 1 + 8
    assert "tier 1, 54 × 54 cm pages 2 to 9" in words(pages[0])
    for number, page in enumerate(pages[1:]):
        row, column = divmod(number, 2)
        assert f"row {row + 1} of 4, column {column + 1} of 2" in words(page)
        assert f"page {number + 2} of 9" in words(page)
        assert "tier 1, 54 × 54 cm" in words(page)


def test_neighbouring_tiles_carry_the_same_crosses_and_the_same_lines_in_their_overlap() -> None:
    pages = opened(template_pdf([BIG])).pages[1:]
    wide, high = (297 - 20, 210 - 29)
    step_x, step_y = wide - OVERLAP / UNITS_PER_MM, high - OVERLAP / UNITS_PER_MM

    def on_piece(number: int, *, grey: bool) -> list[tuple[float, ...]]:
        row, column = divmod(number, 2)
        x, y = 10 - column * step_x, 19 - row * step_y
        return [(a - x, b - y, c - x, d - y) for a, b, c, d in lines(pages[number], grey=grey)]

    def crosses(number: int, low: float, far: float) -> set[tuple[float, ...]]:
        arms = (ln for ln in on_piece(number, grey=True) if abs(ln[2] - ln[0] - 6) < 0.01)
        return {tuple(round(v, 1) for v in ln) for ln in arms if low < ln[0] and ln[2] < far}

    strip = (step_x, wide)
    assert len(crosses(0, *strip)) == 2
    assert crosses(0, *strip) == crosses(1, *strip)

    def in_strip(number: int) -> set[tuple[float, ...]]:
        found = set()
        for x, y, x2, y2 in on_piece(number, grey=False):
            cut = (max(x, strip[0]), y, min(x2, strip[1]), y2)
            if cut[0] <= cut[2] + 1e-6:
                found.add(tuple(round(v, 2) for v in cut))
        return found

    assert in_strip(2)
    assert in_strip(2) == in_strip(3)


def test_a_page_lies_where_that_saves_pages() -> None:
    lying = opened(template_pdf([Piece.rectangle("strip", "mat", mm(270), mm(100))])).pages
    assert [round(page.width * MM, 1) for page in lying] == [210, 297]
    standing = opened(template_pdf([Piece.rectangle("strip", "mat", mm(100), mm(265))])).pages
    assert [round(page.width * MM, 1) for page in standing] == [210, 210]
    assert "row" not in words(standing[1])


def test_folds_are_dashed_and_dash_dotted() -> None:
    piece = Piece.rectangle(
        "card", "card", mm(50), mm(60), grain=Grain.WIDTH,
        scores=(
            Score(Line(Point(0, mm(20)), Point(mm(50), mm(20))), Fold.VALLEY),
            Score(Line(Point(0, mm(40)), Point(mm(50), mm(40))), Fold.MOUNTAIN),
        ),
        holes=(Hole(Point(mm(25), mm(8)), mm(5)),),
    )  # fmt: skip
    cover, page = opened(template_pdf([piece])).pages
    dashes = {round(ln["top"] * MM) - 19: len(ln["dash"][0]) for ln in page.lines}
    assert (dashes[20], dashes[40], dashes[0]) == (2, 4, 0)
    (hole,) = page.curves
    assert (hole["x1"] - hole["x0"]) * MM == pytest.approx(5, abs=0.001)
    assert (hole["x0"] + hole["x1"]) / 2 * MM == pytest.approx(10 + 25, abs=0.001)
    assert "grain along its width" in words(cover)


def test_a_hole_on_the_border_of_tiles_is_on_both() -> None:
    piece = Piece.rectangle(
        "strip", "mat", mm(50), mm(1000), holes=(Hole(Point(mm(20), mm(263)), mm(14)),)
    )
    counts = [len(page.curves) for page in opened(template_pdf([piece])).pages[1:]]
    assert counts == [1, 1, 0, 0]


def test_the_first_page_warns_of_blades_and_lists_every_piece() -> None:
    many = [Piece.rectangle(f"piece {n}", "mat", mm(30), mm(10)) for n in range(70)]
    pages = opened(template_pdf([*many, BIG], title="A box")).pages
    first = words(pages[0])
    for said in ("A box", "100 %", "steel rule", "away from children", "exactly 5 cm"):
        assert said in first
    cover = " ".join(words(page) for page in pages if "where they are" in words(page))
    for number, piece in enumerate(many):
        assert f"piece {number}, 30 × 10 mm page " in cover
        at = int(cover.split(f"piece {number}, 30 × 10 mm page ")[1].split()[0])
        assert f"{piece.name}, 30" in words(pages[at - 1])
    for page in pages:
        assert all(c["x0"] > 0 and c["x1"] < page.width for c in page.chars)
        assert all(c["top"] > 0 and c["bottom"] < page.height for c in page.chars)


@pytest.mark.parametrize(
    "name", ["Święta Ελλάς Коробка", "茶盒 🎁", "\x00\n\ud800", "a" * 500, "שלום", "%s \\( ) <b>"]
)
def test_any_name_can_be_written(name: str) -> None:
    pieces = [Piece.rectangle(name, "mat", mm(50), mm(50)), tier(1, cm(18), FLAPS)]
    pages = opened(template_pdf(pieces, title=name)).pages
    shown = words(pages[1])
    if name.startswith("Ś"):
        assert name in shown
    if name.startswith("茶"):
        assert "[?][?] [?]" in shown
    for page in pages:
        assert all(c["x1"] < page.width for c in page.chars)


def test_the_same_pieces_give_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    first = template_pdf([BIG, *SMALL], title="A box")
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    assert first == template_pdf([BIG, *SMALL], title="A box")


def test_an_unknown_page_and_too_many_pages_are_refused() -> None:
    with pytest.raises(Refusal, match="'A5' is not a page to print on; use A4 or Letter"):
        template_pdf(SMALL, page="A5")
    huge = [Piece.rectangle("wall", "mat", cm(1000), cm(1000)) for _ in range(2)]
    with pytest.raises(Refusal, match="2000 pages at most"):
        template_pdf(huge)
