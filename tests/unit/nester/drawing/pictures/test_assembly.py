from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.designs.base.design import SectionPart
from nester.drawing.canvas.svg import SVG
from nester.drawing.canvas.text_metrics import text_width
from nester.drawing.pictures.assembly import draw_assembly

NS = {"s": SVG}
BOX = [
    *(
        SectionPart(
            f"tier {n + 1}", f"tier.{n + 1}", cm(18 - 2 * n), cm(18 - 2 * n), nesting_depth=n
        )
        for n in range(3)
    ),
    SectionPart("tray", "tray", cm(12), cm(12), nesting_depth=3),
    SectionPart("inner lid", "inner-lid", cm("12.5"), cm(3), is_lid=True, nesting_depth=3),
    SectionPart("outer lid", "outer-lid", cm("18.5"), cm(3), is_lid=True),
]
TIGHT = [
    SectionPart(f"tier {n + 1}", "tier", cm(18) - n * mm("0.4"), cm(18), nesting_depth=n)
    for n in range(8)
]


def stage(svg: str) -> ET.Element:
    group = ET.fromstring(svg).find("s:g", NS)  # noqa: S314
    assert group is not None
    return group


def boxes(svg: str) -> list[tuple[float, float, float, float]]:
    """Return left, top, right and bottom of each part, in the order drawn."""
    found = []
    for path in stage(svg).iterfind("s:path", NS):
        numbers = list(map(float, re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))))
        xs, ys = numbers[::2], numbers[1::2]
        found.append((min(xs), min(ys), max(xs), max(ys)))
    return found


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iterfind(".//s:text", NS)]  # noqa: S314


def label_rows(svg: str) -> list[tuple[str, float]]:
    return [
        (node.text or "", float(node.get("y", "")))
        for node in stage(svg).iterfind("s:text", NS)
        if node.get("font-weight") == "bold"
    ]


@pytest.mark.parametrize("parts", [BOX[:4], TIGHT])
def test_each_part_stands_in_the_one_before_with_a_gap(parts: list[SectionPart]) -> None:
    for outer, inner in itertools.pairwise(boxes(draw_assembly(parts, Unit.CM))):
        assert inner[0] - outer[0] >= 4 + 3
        assert outer[2] - inner[2] >= 4 + 3
        assert inner[3] < outer[3] - 4
        assert inner[1] >= outer[1]


def test_widths_and_heights_are_to_scale() -> None:
    svg = draw_assembly(BOX, Unit.CM)
    assert "Drawn at 1 : 2 when printed at 100 %." in texts(svg)
    drawn = boxes(svg)
    # A picture unit is a quarter of a millimetre on paper.
    assert [right - left for left, _, right, _ in drawn[:4]] == [360, 320, 280, 240]
    assert [bottom - top for _, top, _, bottom in drawn[:4]] == [360, 320, 280, 240]
    root = ET.fromstring(svg)  # noqa: S314
    wide = float(root.get("viewBox", "").split()[2])
    assert float(root.get("width", "").removesuffix("mm")) == pytest.approx(wide / 4, abs=0.01)


def test_lids_hang_above_the_box_the_outer_one_on_top() -> None:
    drawn = boxes(draw_assembly(BOX, Unit.CM))
    rim = min(top for _, top, _, _ in drawn[:4])
    inner, outer = drawn[4:]
    assert inner[3] < rim
    assert outer[3] < inner[1]
    assert outer[2] - 4 > drawn[0][2]
    assert inner[2] - 4 > drawn[3][2]


@pytest.mark.parametrize("parts", [BOX, TIGHT])
def test_every_part_is_named_once_and_no_label_touches_another(parts: list[SectionPart]) -> None:
    svg = draw_assembly(parts, Unit.CM)
    rows = label_rows(svg)
    assert sorted(name for name, _ in rows) == sorted(part.name for part in parts)
    heights = sorted(y for _, y in rows)
    assert all(there - here >= 40 for here, there in itertools.pairwise(heights))
    ends = []
    for line in stage(svg).iterfind("s:polyline", NS):
        points = [tuple(map(float, p.split(","))) for p in line.get("points", "").split()]
        ends.append((points[0][1], points[-1][1]))
    assert [end for _, end in sorted(set(ends))] == sorted(end for _, end in set(ends))


def test_words_stay_on_the_picture_and_right_of_the_parts() -> None:
    long = [SectionPart("<b> & " + "m" * 300, "tier", cm(18), cm(18))]
    for parts in (BOX, TIGHT, long):
        svg = draw_assembly(parts, Unit.IN, thickness=lambda _: mm("0.35"))
        root = ET.fromstring(svg)  # noqa: S314
        wide = float(root.get("viewBox", "").split()[2])
        group = stage(svg)
        centre = float(re.findall(r"[\d.]+", group.get("transform", ""))[0])
        reach = max(box[2] for box in boxes(svg))
        for node in group.iterfind("s:text", NS):
            if node.get("text-anchor") == "start":
                x = float(node.get("x", ""))
                assert x > reach
                assert centre + x + text_width(node.text or "", 13) < wide


def test_sizes_are_in_the_unit_of_the_shop_and_paper_in_millimetres() -> None:
    parts = [
        SectionPart("tray", "tray", inch(4), inch("1.5")),
        SectionPart("lid", "lid", inch("65/16"), inch("0.75"), is_lid=True),
    ]
    said = texts(draw_assembly(parts, Unit.IN, thickness=lambda role: mm(len(role)) // 10))
    assert "4 in wide, 1 1/2 in high, paper 0.4 mm thick" in said
    assert "4 1/16 in wide, walls 3/4 in high, paper 0.3 mm thick" in said


def test_a_sleeve_is_closed_round_its_drawer() -> None:
    parts = [
        SectionPart("sleeve", "sleeve", mm(102), mm(31)),
        SectionPart("drawer", "drawer", mm(100), mm(30), nesting_depth=1),
    ]
    svg = draw_assembly(parts, Unit.MM)
    paths = [path.get("d", "") for path in stage(svg).iterfind("s:path", NS)]
    assert [path.count("Z") for path in paths] == [2, 1]
    sleeve, drawer = boxes(svg)
    assert drawer[1] > sleeve[1] + 4
    assert drawer[3] < sleeve[3] - 4


def test_flat_and_extreme_parts_are_drawn() -> None:
    card = [SectionPart("card", "card", mm(105), 0)]
    svg = draw_assembly(card, Unit.MM)
    ((_, top, _, bottom),) = boxes(svg)
    assert bottom - top == 4
    assert "105 mm wide" in texts(svg)
    for parts in (
        [SectionPart("mast", "tray", mm(5), cm(100))],
        [SectionPart("sheet", "tray", cm(100), mm(5))],
        [SectionPart("lid alone", "lid", cm(10), cm(2), is_lid=True)],
        [SectionPart(f"{n}", "tier", mm(10) - n, mm(10), nesting_depth=n) for n in range(8)],
    ):
        drawn = draw_assembly(parts, Unit.CM)
        assert len(boxes(drawn)) == len(parts)
        assert all(left < right and top < bottom for left, top, right, bottom in boxes(drawn))


def test_black_and_white_are_all_it_needs_and_it_is_always_the_same() -> None:
    svg = draw_assembly(BOX, Unit.CM)
    assert svg == draw_assembly(BOX, Unit.CM)
    for colour in re.findall(r"#([0-9a-f]{6})", svg):
        assert colour[:2] == colour[2:4] == colour[4:]
    fills = [path.get("fill") for path in stage(svg).iterfind("s:path", NS)]
    assert all(here != there for here, there in itertools.pairwise(fills))


def test_nothing_to_draw_is_an_error_of_the_program() -> None:
    with pytest.raises(ValueError, match="no part"):
        draw_assembly([], Unit.CM)
