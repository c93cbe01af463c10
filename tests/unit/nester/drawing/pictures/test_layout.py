from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.geometry import voids
from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.core.problem import Cuts, Demand, Layout, PlacedPiece, StockItem, placed_voids
from nester.cutting import plan_cuts
from nester.drawing.canvas.text_metrics import Box, text_box, text_width
from nester.drawing.pictures.layout import draw_layout

SVG = "{http://www.w3.org/2000/svg}"
HAIR = 0.05
"""What rounding to hundredths may shift."""


def sheet(width: int, height: int, name: str = "sheet") -> StockItem:
    return StockItem(name, width, height, None, Fraction(1), "plain card")


def laid(
    stock: StockItem, placed: list[PlacedPiece], cuts: Cuts = Cuts.STRAIGHT, copies: int = 1
) -> Layout:
    made, offcuts = plan_cuts(stock.width, stock.height, placed, cuts, mm(75))
    return Layout(stock.name, copies, tuple(placed), made, offcuts)


def draw(
    stock: StockItem,
    layout: Layout,
    unit: Unit = Unit.CM,
    colour: str | None = None,
    **more: object,
) -> ET.Element:
    return ET.fromstring(  # noqa: S314
        draw_layout(layout, stock, unit, paper_colour=colour, **{"title": "Layout 1", **more})
    )


def words_of(picture: ET.Element) -> list[str]:
    return [text.text or "" for text in picture.iter(f"{SVG}text")]


def boxes_of(picture: ET.Element) -> list[tuple[str, Box]]:
    return [
        (
            text.text or "",
            text_box(
                text.text or "",
                float(text.get("x", "")),
                float(text.get("y", "")),
                float(text.get("font-size", "")),
                text.get("text-anchor", ""),
                "rotate(-90" in text.get("transform", ""),
            ),
        )
        for text in picture.iter(f"{SVG}text")
    ]


def assert_words_apart(picture: ET.Element) -> None:
    _, _, width, height = map(float, picture.get("viewBox", "").split())
    boxes = boxes_of(picture)
    for words, box in boxes:
        assert box.x >= -HAIR, words
        assert box.y >= -HAIR, words
        assert box.x + box.width <= width + HAIR, words
        assert box.y + box.height <= height + HAIR, words
    shrunk = [
        (words, Box(b.x + HAIR, b.y + HAIR, b.width - 2 * HAIR, b.height - 2 * HAIR))
        for words, b in boxes
    ]
    for number, (words, box) in enumerate(shrunk):
        for others, other in shrunk[:number]:
            assert not box.overlaps(other), (words, others)


def grid(columns: int, rows: int, wide: int, high: int, names: int) -> list[PlacedPiece]:
    return [
        PlacedPiece(f"tag {(i + j * columns) % names}", i * wide, j * high, wide, high)
        for j in range(rows)
        for i in range(columns)
    ]


CARD = cm("13.5")
BLACK_SHEET = sheet(cm(56), cm(71), "black 7")
BLACK = laid(
    BLACK_SHEET,
    [
        PlacedPiece("tier 1", 0, 0, cm(54), cm(54)),
        *(PlacedPiece(f"card {i}", i * CARD, cm(54), CARD, CARD) for i in range(4)),
    ],
    copies=3,
)
WHEEL_SHEET = sheet(cm(50), cm(70))
WHEEL = laid(
    WHEEL_SHEET,
    [
        PlacedPiece("a", 0, 0, cm(20), cm(12)),
        PlacedPiece("b", cm(20), 0, cm(12), cm(20)),
        PlacedPiece("c", cm(12), cm(20), cm(20), cm(12)),
        PlacedPiece("d", 0, cm(12), cm(12), cm(20)),
    ],
    Cuts.FREE,
)
INCH_SHEET = sheet(inch(22), inch(28))
INCH = laid(
    INCH_SHEET,
    [
        PlacedPiece("tier 1", 0, 0, inch(12), inch(12)),
        PlacedPiece("tier 2", inch(12), 0, inch(10), inch("11.5")),
        PlacedPiece("lid", 0, inch(12), inch("7.0625"), inch("7.0625")),
    ],
)
CASES = {
    "black": (BLACK_SHEET, BLACK, Unit.CM, "#111"),
    "wheel": (WHEEL_SHEET, WHEEL, Unit.MM, "#7a2e3a"),
    "inch": (INCH_SHEET, INCH, Unit.IN, "#c9a66b"),
    "tiny": (
        WHEEL_SHEET,
        laid(WHEEL_SHEET, grid(10, 6, cm("2.1"), cm("3.3"), 2)),
        Unit.CM,
        None,
    ),
    "tiny and all different": (
        sheet(cm(70), cm(100)),
        laid(sheet(cm(70), cm(100)), grid(20, 15, cm("1.7"), cm("1.3"), 300)),
        Unit.CM,
        "#335544",
    ),
    "specks": (
        sheet(cm(70), cm(100)),
        laid(sheet(cm(70), cm(100)), grid(30, 4, mm(3), mm(4), 7)),
        Unit.MM,
        None,
    ),
    "band": (
        sheet(cm(100), cm(3)),
        laid(sheet(cm(100), cm(3)), [PlacedPiece("ribbon", 0, 0, cm(60), cm(2))]),
        Unit.MM,
        None,
    ),
    "upright band": (
        sheet(cm(2), cm(120)),
        laid(sheet(cm(2), cm(120)), [PlacedPiece("ribbon", 0, 0, cm(2), cm(60))]),
        Unit.IN,
        None,
    ),
    "small": (
        sheet(mm(9), mm(6)),
        laid(sheet(mm(9), mm(6)), [PlacedPiece("seal", 0, 0, mm(4), mm(6))]),
        Unit.MM,
        None,
    ),
    "largest": (
        sheet(cm(1000), cm(1000)),
        laid(sheet(cm(1000), cm(1000)), [PlacedPiece("banner", 0, 0, cm(900), cm(40))]),
        Unit.MM,
        None,
    ),
    "wordy": (
        replace(sheet(cm(30), cm(30)), name="name " * 30, paper="x" * 200),
        laid(sheet(cm(30), cm(30)), [
            PlacedPiece("a name that is much too long for its piece " * 3, 0, 0, cm(10), cm(5)),
            PlacedPiece("W" * 120, 0, cm(5), cm(10), cm(5)),
            PlacedPiece("写真の台紙" * 4, cm(10), 0, cm(8), cm(10)),
        ]),
        Unit.CM,
        "#ffe",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_words_overlap_nothing_and_stay_in_the_picture(case: str) -> None:
    stock, layout, unit, colour = CASES[case]
    assert_words_apart(draw(stock, layout, unit, colour))
    assert_words_apart(draw(stock, layout, unit, colour, title="A long title, " * 20))


@pytest.mark.parametrize("seed", range(12))
def test_words_of_random_layouts_are_apart(seed: int) -> None:
    chance = random.Random(seed)
    stock = sheet(cm(chance.randrange(5, 110)), cm(chance.randrange(5, 110)))
    placed, y = [], 0
    while y < stock.height * 9 // 10:
        high = chance.randrange(stock.height // 30, stock.height // 3)
        high = min(high, stock.height - y)
        x = 0
        while chance.random() < 0.9:
            wide = chance.randrange(stock.width // 30, stock.width // 2)
            if x + wide > stock.width:
                break
            placed.append(PlacedPiece(f"part {len(placed) % 9}", x, y, wide, high))
            x += wide
        y += high
    layout = laid(stock, placed, copies=chance.randrange(1, 4))
    unit = chance.choice(list(Unit))
    assert_words_apart(draw(stock, layout, unit, chance.choice([None, "#222", "#d8b"])))


@pytest.mark.parametrize("case", [c for c in CASES if c not in {"tiny and all different", "wordy"}])
def test_the_picture_fits_a_page_and_keeps_its_proportions(case: str) -> None:
    stock, layout, unit, colour = CASES[case]
    picture = draw(stock, layout, unit, colour)
    width, height = (float(picture.get(side, "")[:-2]) for side in ("width", "height"))
    assert picture.get("width", "").endswith("mm")
    assert min(width, height) <= 190
    assert max(width, height) <= 277
    _, _, *view = map(float, picture.get("viewBox", "").split())
    assert view == pytest.approx([4 * width, 4 * height], abs=0.05)
    drawn_at = next(words for words in words_of(picture) if "drawn at" in words)
    page, real = re.search(r"drawn at (\S+) : (\S+)", drawn_at).groups()
    scale = float(page) / float(real)
    sizes = {
        (float(r.get("width", "")), float(r.get("height", "")))
        for r in picture.iter(f"{SVG}rect")
        if not r.get("width", "").endswith("%")
    }
    for piece in layout.placed:
        real_mm = (float(Fraction(side, mm(1))) for side in (piece.width, piece.height))
        wide, high = (side * scale * 4 for side in real_mm)
        assert any(abs(w - wide) < 0.02 and abs(h - high) < 0.02 for w, h in sizes)


def test_every_piece_cut_and_offcut_is_named() -> None:
    words = words_of(draw(BLACK_SHEET, BLACK))
    assert words[0] == "Layout 1 · 3 copies"
    assert words[1] == "56 × 71 cm · drawn at 1 : 4"
    assert words[2] == "from black 7, plain card"
    assert {"tier 1", "54 × 54 cm", "card 0", "card 3", "56 cm", "71 cm"} <= set(words)
    assert words.count("13.5 × 13.5 cm") == 4
    badges = Counter(words)
    assert all(badges[str(number)] >= 1 for number in range(1, 7))
    wheel = words_of(draw(WHEEL_SHEET, WHEEL, Unit.IN))
    assert {"offcut 1", "offcut 2", "offcut 3", "knife cut, from tick to tick"} <= set(wheel)
    assert "≈19 11/16 × ≈14 61/64 in" in wheel


def test_the_same_layout_is_drawn_in_the_same_bytes() -> None:
    for stock, layout, unit, colour in CASES.values():
        one = draw_layout(layout, stock, unit, paper_colour=colour, title="t")
        assert one == draw_layout(layout, stock, unit, paper_colour=colour, title="t")


def test_pieces_without_room_are_lettered_and_explained_and_cuts_numbered() -> None:
    stock, layout, unit, _ = CASES["tiny"]
    words = words_of(draw(stock, layout, unit))
    assert words.count("A") == words.count("B") == 30
    assert "A: tag 0, 2.1 × 3.3 cm, 30 pieces" in words
    assert "B: tag 1, 2.1 × 3.3 cm, 30 pieces" in words
    assert {str(number) for number in range(1, len(layout.cuts) + 1)} <= set(words)


def test_what_finds_no_room_at_all_is_said_below() -> None:
    stock, layout, unit, _ = CASES["specks"]
    said = " ".join(words_of(draw(stock, layout, unit)))
    assert "Too small to label: tag 0, 3 × 4 mm, 18 pieces; tag 1, 3 × 4 mm" in said
    numbered = set(re.findall(r"\d+", said.split("Cuts with no room for a number:")[1]))
    assert numbered
    assert numbered <= {str(number) for number in range(1, len(layout.cuts) + 1)}


def test_names_are_escaped_and_control_characters_dropped() -> None:
    stock = sheet(cm(30), cm(30), "<&>\x00\ud800\ufffe\u202e'\"")
    layout = laid(stock, [PlacedPiece("<script>\x1b</script>", 0, 0, cm(30), cm(20))])
    text = draw_layout(layout, stock, Unit.CM, paper_colour='"/><x', title="a\nb & <c>\x07")
    words = words_of(ET.fromstring(text))  # noqa: S314
    assert "a b & <c> · 1 copy" in words
    assert "<script> </script>" in words
    assert "from <&> '\", plain card" in words
    assert "<script>" not in text
    assert {c for c in text if not c.isprintable()} == {"\n"}
    assert 'fill="#ffffff"' in text


def test_dark_paper_carries_its_words_on_light_plates() -> None:
    dark = draw_layout(BLACK, BLACK_SHEET, Unit.CM, paper_colour="#181818", title="t")
    light = draw_layout(BLACK, BLACK_SHEET, Unit.CM, paper_colour="#eeeeee", title="t")
    plates = '" fill="#fbf8f0" rx="2"'
    assert dark.count(plates) == 5
    assert light.count(plates) == 0
    assert 'fill="#181818"' in dark


def test_paper_colours_are_told_apart_from_anything_else() -> None:
    for colour, drawn in (("#abc", "#aabbcc"), ("#A0B1C2", "#a0b1c2"), ("red", "#ffffff")):
        text = draw_layout(BLACK, BLACK_SHEET, Unit.CM, paper_colour=colour, title="t")
        assert f'fill="{drawn}" stroke' in text


def test_real_outlines_and_folds_are_drawn_where_the_piece_lies() -> None:
    blank = (cm(20), cm(10))
    corners = (Point(0, 0), Point(cm(20), 0), Point(cm(20), cm(10)), Point(cm(5), cm(10)))
    fold = Score(Line(Point(cm(5), 0), Point(cm(5), cm(10))), Fold.VALLEY)
    piece = Piece("flap", "tier.1", corners, scores=(fold,))
    stock = sheet(cm(40), cm(40))
    lying = laid(stock, [PlacedPiece("flap", 0, 0, *blank)])
    picture = draw(stock, lying, pieces=[piece])
    outline = next(picture.iter(f"{SVG}polygon"))
    assert len(outline.get("points", "").split()) == 4
    folds = [line for line in picture.iter(f"{SVG}line") if line.get("stroke-dasharray") == "7 4"]
    assert len(folds) == 2, "one on the piece, one in the legend"
    turned = laid(stock, [PlacedPiece("flap", 0, 0, *reversed(blank), True)])
    assert len(list(draw(stock, turned, pieces=[piece]).iter(f"{SVG}polygon"))) == 1
    with pytest.raises(ValueError, match="'flap' does not fill"):
        draw(stock, laid(stock, [PlacedPiece("flap", 0, 0, *reversed(blank))]), pieces=[piece])


def test_a_key_too_long_for_a_page_grows_downward_at_a_readable_scale() -> None:
    stock, layout, unit, _ = CASES["tiny and all different"]
    picture = draw(stock, layout, unit)
    assert float(picture.get("width", "")[:-2]) <= 190
    assert float(picture.get("height", "")[:-2]) > 277
    words = words_of(picture)
    assert sum(words_.endswith(", 1.7 × 1.3 cm") for words_ in words) == 300


@pytest.mark.parametrize(
    ("unit", "size", "worded"),
    [
        (Unit.CM, cm(56), ["0", "5", "10", "15", "20", "25", "30", "35", "40", "45", "50", "55"]),
        (Unit.MM, mm(210), ["0", "20", "40", "60", "80", "100", "120", "140", "160", "180", "200"]),
        (Unit.IN, inch(12), ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"]),
    ],
)
def test_rulers_are_divided_in_the_shops_unit(unit: Unit, size: int, worded: list[str]) -> None:
    stock = sheet(size, size)
    layout = Layout("sheet", 1, (PlacedPiece("whole", 0, 0, size, size),))
    words = words_of(draw(stock, layout, unit))
    assert words[3 : 3 + 2 * len(worded)] == worded * 2


def test_a_whole_sheet_shows_no_cut_and_no_scrap() -> None:
    stock = sheet(cm(30), cm(20))
    words = words_of(draw(stock, Layout("sheet", 1, (PlacedPiece("all", 0, 0, cm(30), cm(20)),))))
    assert not {"scrap", "offcut to keep", "cut, numbered in order"} & set(words)


def test_the_width_of_words_is_reckoned_letter_by_letter() -> None:
    assert text_width("", 10) == 0
    assert text_width("il", 10) < text_width("ab", 10) < text_width("MW", 10)
    assert text_width("e\u0301", 10) == text_width("é", 10) == text_width("e", 10)
    assert text_width("写", 10) > 10
    box = text_box("12", 50, 20, 10)
    assert (box.x, box.x + box.width) == pytest.approx((50 - 6.4, 50 + 6.4))
    upwards = text_box("12", 50, 20, 10, turned=True)
    assert (upwards.width, upwards.height) == pytest.approx((box.height, box.width))


def test_the_picture_needs_nothing_from_elsewhere() -> None:
    text = draw_layout(WHEEL, WHEEL_SHEET, Unit.CM, paper_colour=None, title="t")
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"href|url\(|<image|<style|<script|&#", text)


def cross(panel: int) -> Piece:
    at = (0, panel, 2 * panel, 3 * panel)
    corners = ((1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2),
               (0, 1), (1, 1))  # fmt: skip
    return Piece("tier", "tier", tuple(Point(at[x], at[y]) for x, y in corners))


def test_crosses_that_reach_into_each_other_and_what_lies_in_their_corners() -> None:
    stock, tier, mat = sheet(cm(60), cm(60)), cross(cm(10)), cm(8)
    pieces = [tier, tier, Piece.rectangle("mat", "mat", mat, mat), tier]
    placed = [
        PlacedPiece("tier", 0, 0, cm(30), cm(30)),
        PlacedPiece("tier", cm(20), cm(10), cm(30), cm(30)),
        PlacedPiece("mat", cm(41), cm(31), mat, mat),
        PlacedPiece("tier", 0, cm(30), cm(30), cm(30)),
    ]
    gone = [
        placed_voids(Demand("", one.width, one.height, 1, voids=voids(piece)), one)
        for one, piece in zip(placed, pieces, strict=True)
    ]
    cuts, offcuts = plan_cuts(stock.width, stock.height, placed, Cuts.FREE, mm(75), gone)
    picture = draw(stock, Layout("sheet", 1, tuple(placed), cuts, offcuts), pieces=pieces)
    words = [box for box in boxes_of(picture) if box[0]]
    for index, (text, box) in enumerate(words):
        assert not any(box.overlaps(other) for _, other in words[:index]), text
    assert sum(text == "tier" for text, _ in words) == 3
    assert sum(text.startswith("mat") for text, _ in words) == 1
    assert "scrap" in [text for text, _ in words]
    # No blank is drawn where another piece reaches into it, only the outlines.
    assert not [one for one in picture.iter(f"{SVG}rect") if one.get("fill") == "none"]
    assert len(list(picture.iter(f"{SVG}polygon"))) == 4
