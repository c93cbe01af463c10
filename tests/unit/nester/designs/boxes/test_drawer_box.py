from __future__ import annotations

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Grain, Hole, Piece, Point
from nester.designs import DESIGNS, read_settings
from nester.designs.boxes.drawer_box import sleeve

DESIGN = DESIGNS["drawer-box"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_a_sleeve_wraps_and_has_a_mitred_tab_at_its_end() -> None:
    made = sleeve(cm(8), cm(3), cm(12), cm(1))
    assert (made.width, made.height) == (cm(23), cm(12))
    assert [score.line.start.x for score in made.scores] == [cm(8), cm(11), cm(19), cm(22)]
    assert {score.fold for score in made.scores} == {Fold.MOUNTAIN}
    assert made.glue == (((cm(22), 0), (cm(23), cm(1)), (cm(23), cm(11)), (cm(22), cm(12))),)
    assert made.grain is Grain.HEIGHT


def test_the_drawer_is_pulled_by_a_ribbon_in_the_middle_of_its_front() -> None:
    made = pieces(width="8", length="12", depth="3", eyelet="yes")["tray"]
    assert made.holes == (Hole(Point(cm(7), cm("16.5")), mm(4), eyelet=True),)
    (ribbon,) = DESIGN.consumables(read_settings(DESIGN, {}, Unit.CM))
    assert (ribbon.name, ribbon.amount) == ("ribbon", cm(15))
    assert not pieces(pull="none")["tray"].holes
    assert DESIGN.consumables(read_settings(DESIGN, {"pull": "none"}, Unit.CM)) == ()


def test_the_tab_takes_up_room_upwards_only() -> None:
    settings = read_settings(DESIGN, {"room": "2mm"}, Unit.CM)
    across, upwards = DESIGN.joints(settings)
    paper = {"tray": mm("0.4"), "sleeve": mm("0.3")}.__getitem__
    # Across: half a sheet of each at either side.
    assert across.play(paper) == mm("2") - mm("0.4") - mm("0.3")
    # Upwards: half the tray's bottom, the sleeve's two walls half each, the glue tab.
    assert upwards.play(paper) == mm("2") - mm("0.2") - mm("0.6")


def test_room_is_worked_out_for_the_tighter_way() -> None:
    for tray, sheet, room in (("0.2", "0.5", "2.5"), ("0.8", "0.2", "2.0")):
        paper = {"tray": mm(tray), "sleeve": mm(sheet)}.__getitem__
        read = read_settings(DESIGN, {"room": "fit", "play": "1mm"}, Unit.CM, paper)
        assert read["room"] == mm(room)


def test_mats_face_the_sleeve_and_the_front() -> None:
    made = pieces(mats="both", width="8", depth="3", length="10", room="2mm", reveal="4mm")
    assert (made["mat top"].width, made["mat top"].height) == (cm("7.8"), cm("9.6"))
    assert (made["mat front"].width, made["mat front"].height) == (cm("7.6"), cm("2.6"))


def test_seen_from_the_front_the_drawer_stands_in_its_sleeve() -> None:
    outer, inner = DESIGN.section(read_settings(DESIGN, {}, Unit.CM))
    assert (outer.role, outer.nesting_depth, inner.role, inner.nesting_depth) == (
        "sleeve",
        0,
        "tray",
        1,
    )
    assert outer.width - inner.width == outer.height - inner.height == mm("2.5")
