from __future__ import annotations

import xml.etree.ElementTree as ET
from fractions import Fraction

import pytest

from nester.core.lengths import UNITS_PER_MM, Unit, cm, inch, mm
from nester.core.piece import Fold, Hole, Line, Piece, Point, Score
from nester.designs.parts.lid import lid
from nester.drawing.canvas.svg import SVG
from nester.drawing.templates.svg import piece_caption, template_svg

NS = {"s": SVG}
CARD = Piece.rectangle(
    "card", "card", mm(70), mm(90), quantity=3,
    scores=(
        Score(Line(Point(0, mm(30)), Point(mm(70), mm(30))), Fold.VALLEY),
        Score(Line(Point(0, mm(60)), Point(mm(70), mm(60))), Fold.MOUNTAIN),
    ),
    slits=(Line(Point(mm(10), mm(70)), Point(mm(60), mm(70))),),
    holes=(Hole(Point(mm(35), mm(10)), mm(5)),),
    glue=((Point(0, mm(80)), Point(mm(10), mm(80)), Point(mm(10), mm(90)), Point(0, mm(90))),),
)  # fmt: skip


def read(svg: str) -> tuple[ET.Element, dict[str, ET.Element]]:
    root = ET.fromstring(svg)  # noqa: S314
    return root, {group.get("id", ""): group for group in root.iterfind("s:g", NS)}


def outline(svg: str) -> list[tuple[Fraction, Fraction]]:
    polygon = read(svg)[1]["cut"].find("s:polygon", NS)
    assert polygon is not None
    pairs = (pair.split(",") for pair in polygon.get("points", "").split())
    return [(Fraction(x), Fraction(y)) for x, y in pairs]


def kinds(group: ET.Element) -> list[str]:
    return [node.tag.removeprefix(f"{{{SVG}}}") for node in group]


def test_each_kind_of_work_has_a_group_of_its_own() -> None:
    _, groups = read(template_svg(CARD))
    assert list(groups) == ["cut", "score-valley", "score-mountain", "draw", "label"]
    assert kinds(groups["cut"]) == ["circle", "line", "polygon"]
    assert kinds(groups["score-valley"]) == kinds(groups["score-mountain"]) == ["line"]
    assert kinds(groups["draw"]) == ["polygon"]
    assert kinds(groups["label"]) == ["text"]


def test_valley_is_dashed_mountain_dash_dot_and_cut_solid() -> None:
    root, groups = read(template_svg(CARD))
    dashes = {name: (group.get("stroke-dasharray") or "").split() for name, group in groups.items()}
    assert [len(dashes[n]) for n in ("score-valley", "score-mountain", "cut")] == [2, 4, 0]
    assert root.get("stroke-dasharray") is None
    for group in groups.values():
        assert all(node.get("stroke-dasharray") is None for node in group)


def test_one_unit_of_the_drawing_is_one_millimetre() -> None:
    root, _ = read(template_svg(lid("lid", "lid", cm(12), cm(9), mm(5), cm(3))))
    left, top, wide, high = map(Fraction, root.get("viewBox", "").split())
    assert root.get("width") == f"{wide}mm"
    assert root.get("height") == f"{high}mm"
    assert left == top == -5
    assert wide >= 185 + 2 * 5
    assert high > 155 + 2 * 5


@pytest.mark.parametrize("side", [mm("0.001"), inch("1/64"), inch("113/16") + 1, mm(999) + 23999])
def test_lengths_are_held_to_a_millionth_of_a_millimetre(side: int) -> None:
    corners = outline(template_svg(Piece.rectangle("mat", "mat", side, 2 * side)))
    exact = Fraction(side, UNITS_PER_MM)
    assert abs(corners[2][0] - exact) <= Fraction(1, 2 * 10**6)
    assert abs(corners[2][1] - 2 * exact) <= Fraction(1, 2 * 10**6)
    if side in (mm("0.001"), inch("1/64")):
        assert corners[2] == (exact, 2 * exact)


def test_holes_and_slits_lie_where_the_piece_has_them() -> None:
    cut = read(template_svg(CARD))[1]["cut"]
    assert dict(cut[0].attrib) == {"cx": "35", "cy": "10", "r": "2.5"}
    assert dict(cut[1].attrib) == {"x1": "10", "y1": "70", "x2": "60", "y2": "70"}


def test_the_label_stands_beside_the_piece_not_on_it() -> None:
    root, groups = read(template_svg(CARD, Unit.CM))
    (words,) = groups["label"]
    assert words.text == "card, 7 × 9 cm, 3 pieces"
    assert float(words.get("y", "")) - float(words.get("font-size", "")) > 90
    assert "7 × 9 cm" in (root.findtext("s:title", "", NS))


def test_any_name_can_be_written() -> None:
    piece = Piece.rectangle("<b> & \x00\n茶盒 \ud800", "mat", mm(5), mm(5))
    svg = template_svg(piece)
    assert svg.encode("utf-8")
    assert read(svg)[1]["label"][0].text == piece_caption(piece, Unit.MM)
    assert piece_caption(piece, Unit.MM) == "<b> & � 茶盒 �, 5 × 5 mm"


def test_the_same_piece_gives_the_same_text() -> None:
    assert template_svg(CARD) == template_svg(CARD)
