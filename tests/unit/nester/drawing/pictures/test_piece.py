from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point, Score
from nester.designs.boxes.folded_box import folded_square
from nester.designs.boxes.layered_box.tier import FLAPS, tier
from nester.designs.cards.envelope import envelope
from nester.designs.parts.lid import lid
from nester.drawing.canvas.svg import SVG
from nester.drawing.pictures.piece import draw_piece, edge_distance, piece_marks

NS = {"s": SVG}


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iterfind(".//s:text", NS)]  # noqa: S314


def group_of(piece: Piece, **how: object) -> ET.Element:
    parent = ET.Element("g")
    piece_marks(parent, piece, mm(10), mm(20), 1 / mm(1), **how)  # type: ignore[arg-type]
    (group,) = parent
    return group


def coordinates(group: ET.Element) -> list[tuple[float, float]]:
    polygon = group.find("s:polygon", NS)
    assert polygon is not None
    return [
        (float(x), float(y)) for x, y in (p.split(",") for p in polygon.get("points", "").split())
    ]


def test_the_same_piece_gives_the_same_bytes() -> None:
    piece = tier(1, cm(18), FLAPS, cm(16))
    assert draw_piece(piece, Unit.CM) == draw_piece(piece, Unit.CM)


def test_sizes_are_written_in_the_unit_of_the_shop() -> None:
    piece = lid("outer lid", "outer-lid", inch(4), inch(4), inch("1/16"), inch("1.5"))
    words = texts(draw_piece(piece, Unit.IN))
    assert words[0] == "outer lid, 7 1/16 × 7 1/16 in"
    assert words.count("7 1/16 in") == 2
    assert words.count("1 1/2") == 4
    assert words.count("4 1/16") == 2


def test_the_legend_names_only_what_is_drawn() -> None:
    flaps = texts(draw_piece(tier(1, cm(18), FLAPS), Unit.CM))
    assert "valley fold" in flaps
    assert "cut" in flaps
    assert "mountain fold" not in flaps
    assert "glue here" not in flaps
    covered = texts(draw_piece(lid("lid", "lid", cm(9), cm(9), mm(2), cm(2)), Unit.CM))
    assert "mountain fold" in covered
    assert "glue here" in covered


def test_folds_are_dashed_and_dash_dotted_and_slits_solid() -> None:
    piece = Piece.rectangle(
        "card", "card", mm(20), mm(30),
        scores=(
            Score(Line(Point(0, mm(10)), Point(mm(20), mm(10))), Fold.VALLEY),
            Score(Line(Point(0, mm(15)), Point(mm(20), mm(15))), Fold.MOUNTAIN),
        ),
        slits=(Line(Point(mm(5), mm(20)), Point(mm(5), mm(25))),),
        holes=(Hole(Point(mm(10), mm(5)), mm(4)),),
    )  # fmt: skip
    group = group_of(piece)
    dashes = [line.get("stroke-dasharray") for line in group.iterfind("s:line", NS)]
    assert [len(d.split()) if d else 0 for d in dashes] == [2, 4, 0]
    hole = group.find("s:circle", NS)
    assert hole is not None
    assert (hole.get("cx"), hole.get("cy"), hole.get("r")) == ("20", "25", "2")


def test_a_turned_piece_is_rotated_a_quarter_clockwise() -> None:
    corners = (Point(0, 0), Point(mm(30), 0), Point(mm(30), mm(10)), Point(0, mm(10)))
    piece = Piece("strip", "mat", corners, slits=(Line(Point(mm(3), 0), Point(mm(3), mm(4))),))
    assert coordinates(group_of(piece)) == [(10, 20), (40, 20), (40, 30), (10, 30)]
    turned = group_of(piece, turned=True)
    assert coordinates(turned) == [(20, 20), (20, 50), (10, 50), (10, 20)]
    (slit,) = turned.iterfind("s:line", NS)
    assert [slit.get(k) for k in ("x1", "y1", "x2", "y2")] == ["20", "23", "16", "23"]


def test_names_are_escaped_and_many_are_counted() -> None:
    piece = Piece.rectangle("<b> & 'mat'", "mat", mm(5), mm(300), quantity=4, note="a < b")
    svg = draw_piece(piece, Unit.MM, fill='"><script>')
    assert texts(svg)[0] == "<b> & 'mat', 5 × 300 mm, 4 pieces"
    assert "<script>" not in svg


@pytest.mark.parametrize("unit", list(Unit))
def test_everything_drawn_stays_on_the_picture(unit: Unit) -> None:
    for piece in (
        Piece.rectangle("strip", "mat", mm(900), mm(8)),
        Piece.rectangle("strip", "mat", mm(8), mm(900)),
        tier(1, cm(18), FLAPS, cm(16)),
    ):
        root = ET.fromstring(draw_piece(piece, unit))  # noqa: S314
        wide, high = float(root.get("width", "")), float(root.get("height", ""))
        drawing = root.find("s:g", NS)
        assert drawing is not None
        for x, y in coordinates(drawing[0]):
            assert 0 < x + 100 < wide
            assert 0 < y + 100 < high
        for node in root.iterfind("s:text", NS):
            assert 0 < float(node.get("y", "")) < high


def test_holes_are_said_with_their_width_and_distance_from_the_edge() -> None:
    holes = (
        Hole(Point(mm(35), mm(10)), mm(4), eyelet=True),
        Hole(Point(mm(10), mm(45)), mm(4), eyelet=True),
        Hole(Point(mm(35), mm(75)), mm(6)),
    )
    words = texts(draw_piece(Piece.rectangle("card", "card", mm(70), mm(90), holes=holes), Unit.MM))
    said = "2 punched holes, 4 mm across, centre 10 mm from the nearest edge, for eyelets"
    assert said in words
    assert "punched hole, 6 mm across, centre 15 mm from the nearest edge" in words
    assert [word for word in words if word in ("10", "25", "35")] == ["10", "25", "35", "10", "35"]


def test_the_distance_to_a_slanted_edge_is_square_to_it() -> None:
    corners = (Point(0, 0), Point(mm(50), 0), Point(mm(50), mm(30)), Point(mm(20), mm(70)))
    piece = Piece("tag", "tag", (*corners, Point(0, mm(70))))
    # The edge from (50, 30) to (20, 70) is 50 long (3-4-5); 10 inwards of its middle is (27, 44).
    hole = Hole(Point(mm(27), mm(44)), mm(3))
    assert edge_distance(piece, hole) == mm(10)


@pytest.mark.parametrize("grain", [Grain.WIDTH, Grain.HEIGHT])
def test_an_arrow_lies_along_the_grain_asked_for(grain: Grain) -> None:
    piece = Piece.rectangle("card", "card", mm(60), mm(90), grain=grain)
    svg = draw_piece(piece, Unit.MM)
    drawing = ET.fromstring(svg).find("s:g", NS)  # noqa: S314
    assert drawing is not None
    shaft = drawing.find("s:polyline", NS)
    assert shaft is not None
    start, end = (tuple(map(float, p.split(","))) for p in shaft.get("points", "").split())
    along = 0 if grain is Grain.WIDTH else 1
    assert abs(end[along] - start[along]) > 100
    assert start[1 - along] == end[1 - along]
    assert f"grain along its {grain}, if possible" in texts(svg)


def test_a_thin_strip_says_its_grain_only_in_the_legend() -> None:
    piece = Piece.rectangle("strip", "mat", mm(900), mm(8), grain=Grain.WIDTH)
    svg = draw_piece(piece, Unit.MM)
    drawing = ET.fromstring(svg).find("s:g", NS)  # noqa: S314
    assert drawing is not None
    assert drawing.find("s:polyline", NS) is None
    assert "grain along its width, if possible" in texts(svg)


def test_a_long_note_is_broken_into_lines_above_the_drawing() -> None:
    note = " ".join(f"word{number}" for number in range(60))
    plain = Piece.rectangle("mat", "mat", mm(50), mm(300), note="short")
    short, long = (
        ET.fromstring(draw_piece(one, Unit.CM))  # noqa: S314
        for one in (plain, replace(plain, note=note))
    )
    lines = [text for text in long.iter(f"{{{SVG}}}text") if "word" in (text.text or "")]
    assert " ".join(line.text or "" for line in lines) == note
    # A letter is taken as 7½ wide, generously.
    page = float(long.get("width", ""))
    assert max(len(line.text or "") for line in lines) * 7.5 <= page - 40
    lower = 17 * (len(lines) - 1)
    assert float(long.get("height", "")) == float(short.get("height", "")) + lower > 0
    shift = long.find(f"{{{SVG}}}g")
    assert shift is not None
    assert shift.get("transform") == f"translate(100 {100 + lower})"


def test_the_ends_of_slanted_lines_are_measured() -> None:
    square = folded_square("box", "box", cm(16))
    assert texts(draw_piece(square, Unit.CM)).count("2") == 2 * 8
    # The flap of an envelope of 16 × 10 cm slants by 4 cm, its tabs by 1½ cm, its back by 1 mm.
    drawn = texts(draw_piece(envelope(cm(16), cm(10), cm(4), mm(15)), Unit.CM))
    across = ["1.5", "0.1", "3.9", "8", "3.9", "0.1", "1.5"]
    start = drawn.index("0.1") - 1
    assert drawn[start : start + len(across)] == across
