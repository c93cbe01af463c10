from __future__ import annotations

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Fold, Piece
from nester.designs import DESIGNS, read_settings
from nester.designs.base.clearance import Verdict
from nester.designs.base.datasheet import make_datasheet

DESIGN = DESIGNS["waterfall-card"]


def pieces(unit: Unit = Unit.CM, **texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, unit))}


def test_the_strip_is_worked_out_from_number_and_pitch() -> None:
    texts = {"flaps": "4", "flap-width": "2.5", "pitch": "0.5", "grip": "0.75"}
    strip = pieces(Unit.IN, **texts)["base strip"]
    # What shows is 2½ + 3 × ½ = 4 in; the strip 2 × 4 + ¾ in.
    assert (strip.width, strip.height) == (inch("2.5"), inch("8.75"))
    folds = [strip.height - score.line.start.y for score in strip.scores]
    assert folds == [inch(4), inch("3.5"), inch(3), inch("2.5")]
    assert {score.fold for score in strip.scores} == {Fold.MOUNTAIN}


def test_each_flap_has_its_glue_and_so_has_the_pull_tab() -> None:
    made = pieces(flaps="5")
    assert made["flap"].quantity == 5
    assert len(made["base strip"].glue) == 5
    assert made["pull tab"].mounted  # it is glued to both sides of the tail
    assert made["pull tab"].height == 2 * cm(2)


def test_flaps_pass_through_the_band_with_the_strip() -> None:
    texts = {"strip": "6", "band-room": "8mm", "band-end": "1.5", "band": "2", "play": "1mm"}
    made = pieces(**texts)
    band = made["belly band"]
    # The flaps are 7 cm wide, wider than the strip: 7 + 0.8 + 2 × 1.5 cm.
    assert (band.width, band.height) == (cm("10.8"), cm(2))
    assert [score.line.start.x for score in band.scores] == [cm("1.5"), cm("9.3")]
    left, right = made["card"].glue
    # Glued with just the play between its ends, it has the other 7 mm to rise by.
    assert right[0].x - left[1].x == cm("7.1")


def test_flaps_turned_behind_the_band_take_up_room() -> None:
    asked = {"flaps": "4", "flap-width": "7", "pitch": "1.5", "mats": "front"}
    paper = {"band": mm("0.2"), "strip": mm("0.3"), "flap": mm("0.25"), "mat": mm("0.1")}
    read = read_settings(DESIGN, {**asked, "band-room": "6mm"}, Unit.CM)
    (joint,) = DESIGN.joints(read)
    # On either side the strip and three flaps with their mats: 2 × (0.3 + 3 × 0.35) mm.
    assert joint.play(paper.__getitem__) == mm(6) - mm("0.2") - mm("2.7")
    fit = {**asked, "band-room": "fit", "play": "1mm"}
    assert read_settings(DESIGN, fit, Unit.CM, paper.__getitem__)["band-room"] == mm(4)


def test_no_more_flaps_lie_behind_the_band_than_reach_its_edge() -> None:
    # Of 12 flaps of 4 cm, 2 cm apart, a third one turned ends below the edge.
    asked = {"flaps": "12", "flap-width": "4", "pitch": "2"}
    (joint,) = DESIGN.joints(read_settings(DESIGN, asked, Unit.CM))
    assert [one.half_thicknesses for one in joint.layers if one.role == "flap"] == [2 * 4]


@pytest.mark.parametrize("unit", [Unit.CM, Unit.IN])
@pytest.mark.parametrize("mats", ["none", "front", "both"])
@pytest.mark.parametrize("flaps", ["2", "4", "12"])
def test_the_usual_band_has_room_for_card_and_lighter_mats(
    unit: Unit, mats: str, flaps: str
) -> None:
    sheet = make_datasheet(DESIGN, {"mats": mats, "flaps": flaps}, {}, unit)
    assert [line.verdict for line in sheet.clearances] == [Verdict.FITS]


def test_the_card_has_room_for_flaps_turned_up() -> None:
    texts = {"flaps": "4", "flap-width": "7", "pitch": "1.5"}
    read = read_settings(DESIGN, texts, Unit.CM)
    # 5.5 cm turned up, 11.5 cm of flaps, 2 cm of grip, 2 cm of margin.
    assert read["card-height"] == cm(21)
    tight = pieces(**texts, **{"card-height": "17"})["card"]
    assert tight.glue[0][0].y == cm("5.5")


def test_mats_on_one_side_or_both() -> None:
    assert pieces(mats="front")["mat flap"].quantity == 4
    assert pieces(mats="both")["mat flap"].quantity == 8
