from __future__ import annotations

import itertools
import math
from io import StringIO

import ezdxf
import pytest
from ezdxf.document import Drawing

from nester.core.lengths import UNITS_PER_MM, Unit, cm, inch, mm
from nester.core.piece import Fold, Hole, Line, Piece, Point, Score
from nester.designs.parts.tray import tray
from nester.drawing.templates.dxf import CUT, DRAW, LABEL, SCORES, template_dxf

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


def read(text: str) -> Drawing:
    document = ezdxf.read(StringIO(text))
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    return document


def outlines(document: Drawing) -> list[list[tuple[float, float]]]:
    shapes = document.modelspace().query(f'LWPOLYLINE[layer=="{CUT}"]')
    assert all(shape.closed for shape in shapes)
    return [[(x, y) for x, y in shape.get_points("xy")] for shape in shapes]


def perimeter(corners: list[tuple[float, float]]) -> float:
    return sum(math.dist(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))


def test_every_mark_is_on_its_layer() -> None:
    space = read(template_dxf([CARD])).modelspace()
    found = sorted((entity.dxf.layer, entity.dxftype()) for entity in space)
    assert found == sorted(
        [
            (CUT, "LWPOLYLINE"),
            (CUT, "CIRCLE"),
            (CUT, "LINE"),
            (SCORES[Fold.VALLEY], "LINE"),
            (SCORES[Fold.MOUNTAIN], "LINE"),
            (DRAW, "LWPOLYLINE"),
            (LABEL, "TEXT"),
        ]
    )


def test_valley_is_dashed_mountain_dash_dot_and_cut_solid() -> None:
    document = read(template_dxf([CARD]))
    strokes = {}
    for name in (CUT, *SCORES.values()):
        pattern = document.linetypes.get(document.layers.get(name).dxf.linetype).pattern_tags
        strokes[name] = [tag.value for tag in pattern.tags if tag.code == 49]
    assert strokes[CUT] == []
    assert strokes["SCORE_VALLEY"] == [4, -2]
    assert strokes["SCORE_MOUNTAIN"] == [6, -1.5, 1, -1.5]


def test_y_runs_upwards() -> None:
    space = read(template_dxf([CARD])).modelspace()
    (hole,) = space.query("CIRCLE")
    assert tuple(hole.dxf.center)[:2] == (35, 80)
    assert hole.dxf.radius == 2.5
    (slit,) = space.query(f'LINE[layer=="{CUT}"]')
    assert [tuple(slit.dxf.start)[:2], tuple(slit.dxf.end)[:2]] == [(10, 20), (60, 20)]
    (valley,) = space.query('LINE[layer=="SCORE_VALLEY"]')
    assert valley.dxf.start.y == valley.dxf.end.y == 60


def test_edges_have_the_lengths_of_the_piece() -> None:
    piece = tray(cm(12), cm(9), inch("65/64"), cm(1))
    (shape,) = outlines(read(template_dxf([piece])))
    exact = perimeter([(p.x / UNITS_PER_MM, p.y / UNITS_PER_MM) for p in piece.outline])
    assert perimeter(shape) == pytest.approx(exact, abs=1e-9)
    assert max(x for x, _ in shape) == pytest.approx(piece.width / UNITS_PER_MM, abs=1e-9)


def test_pieces_lie_side_by_side_and_so_do_their_labels() -> None:
    pieces = [Piece.rectangle(f"strip {n}", "mat", mm(8), mm(20)) for n in range(4)]
    pieces.append(CARD)
    document = read(template_dxf(pieces, Unit.CM))
    ends = [(min(x for x, _ in s), max(x for x, _ in s)) for s in outlines(document)]
    assert len(ends) == 5
    assert all(b[0] > a[1] for a, b in itertools.pairwise(ends))
    assert all(min(y for _, y in shape) == 0 for shape in outlines(document))
    labels = list(document.modelspace().query("TEXT"))
    assert labels[-1].dxf.text == "card, 7 × 9 cm, 3 pieces"
    for here, there in itertools.pairwise(labels):
        width = len(here.dxf.text) * here.dxf.height * 0.8
        assert here.dxf.insert.x + width < there.dxf.insert.x
        assert here.dxf.insert.y + here.dxf.height < 0


def test_signs_of_the_format_stay_signs_in_a_name() -> None:
    piece = Piece.rectangle("50%%d off ^J 茶盒\n\x00", "mat", mm(5), mm(5))
    (label,) = read(template_dxf([piece])).modelspace().query("TEXT")
    assert label.plain_text() == "50%%d off ^J 茶盒 �, 5 × 5 mm"


def test_the_same_pieces_give_the_same_text_and_settings_are_put_back() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    first = template_dxf([CARD, tray(cm(5), cm(5), cm(2), mm(8))])
    assert first == template_dxf([CARD, tray(cm(5), cm(5), cm(2), mm(8))])
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


def test_nothing_to_draw_is_an_empty_drawing() -> None:
    assert list(read(template_dxf([])).modelspace()) == []
