from __future__ import annotations

from nester.designs import DESIGNS, read_settings
from nester.measure import Unit, cm, inch, mm
from nester.pieces import Fold, Piece

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
    assert len(made["base strip"].glue) == 1 + 5
    assert made["pull tab"].height == 2 * cm(2)


def test_the_band_is_longer_than_the_strip_is_wide() -> None:
    texts = {"strip": "6", "band-room": "2mm", "band-end": "1.5", "band": "2"}
    made = pieces(**texts)
    band = made["belly band"]
    assert (band.width, band.height) == (cm("9.2"), cm(2))
    assert [score.line.start.x for score in band.scores] == [cm("1.5"), cm("7.7")]
    left, right = made["card"].glue
    assert right[1].x - left[0].x == band.width


def test_the_strip_slides_in_the_band() -> None:
    read = read_settings(DESIGN, {"band-room": "2mm"}, Unit.CM)
    (joint,) = DESIGN.joints(read)
    paper = {"band": mm("0.2"), "strip": mm("0.3")}.__getitem__
    assert joint.play(paper) == mm(2) - mm("0.2") - mm("0.6")
    fitted = read_settings(DESIGN, {"band-room": "fit", "play": "1mm"}, Unit.CM, paper)
    assert fitted["band-room"] == mm(2)


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
