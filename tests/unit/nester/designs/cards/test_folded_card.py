from __future__ import annotations

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Grain, Piece
from nester.designs import DESIGNS, read_settings

DESIGN = DESIGNS["folded-card"]


def pieces(unit: Unit = Unit.CM, **texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, unit))}


def test_a_card_has_an_envelope_when_asked_for() -> None:
    assert "envelope" not in pieces()
    assert "envelope" in pieces(envelope="yes")
    assert DESIGN.joints(read_settings(DESIGN, {}, Unit.CM)) == ()


def test_an_own_card_has_an_envelope_a_little_larger_either_way_up() -> None:
    for texts in ({"width": "4", "height": "6"}, {"width": "6", "height": "4"}):
        read = read_settings(DESIGN, {**texts, "envelope": "yes"}, Unit.IN)
        assert read["envelope-width"] == inch("6.25")
        assert read["envelope-height"] == inch("4.25")


def test_a_format_may_be_laid_on_its_side() -> None:
    read = read_settings(DESIGN, {"format": "A6", "width": "148mm", "height": "105mm"}, Unit.CM)
    assert (read["width"], read["envelope-width"]) == (mm(148), mm(162))


def test_card_and_mats_take_up_room_in_the_envelope() -> None:
    texts = {"format": "a6", "envelope": "yes", "mats": "both", "layers": "2"}
    along, across = DESIGN.joints(read_settings(DESIGN, texts, Unit.CM))
    paper = mm("0.2")
    # Half a sheet at two folds of the envelope, two sheets of card, three mats.
    assert along.play(lambda _: paper) == mm(162 - 148) - 6 * paper
    assert across.play(lambda _: paper) == mm(114 - 105) - 6 * paper


def test_the_envelope_can_be_worked_out() -> None:
    texts = {"width": "10", "height": "15", "mats": "none", "envelope": "yes"}
    fit = {"envelope-width": "fit", "envelope-height": "fit", "envelope-play": "2mm"}
    read = read_settings(DESIGN, {**texts, **fit}, Unit.CM, lambda _: mm("0.3"))
    assert (read["envelope-width"], read["envelope-height"]) == (cm("15.3"), cm("10.3"))


def test_the_grain_runs_along_the_fold() -> None:
    assert pieces(opens="side")["card"].grain is Grain.HEIGHT
    assert pieces(opens="up")["card"].grain is Grain.WIDTH
