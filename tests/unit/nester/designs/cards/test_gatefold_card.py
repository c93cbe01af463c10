from __future__ import annotations

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Grain, Piece
from nester.designs import DESIGNS, read_settings

DESIGN = DESIGNS["gatefold-card"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_gates_are_half_the_card_less_half_the_gap() -> None:
    card = pieces(width="14", height="10", gap="1mm")["card"]
    assert (card.width, card.height) == (cm("27.9"), cm(10))
    assert [score.line.start.x for score in card.scores] == [cm("6.95"), cm("20.95")]
    assert {score.fold for score in card.scores} == {Fold.MOUNTAIN}
    assert card.grain is Grain.HEIGHT


def test_gates_may_be_above_and_below() -> None:
    card = pieces(width="14", height="10", gap="1mm", opens="up")["card"]
    assert (card.width, card.height) == (cm(14), cm("19.9"))
    assert [score.line.start.y for score in card.scores] == [cm("4.95"), cm("14.95")]


def test_a_ribbon_closes_it_through_a_hole_in_each_gate() -> None:
    texts = {"width": "14", "height": "10", "closing": "ribbon", "hole": "4mm", "hole-edge": "6mm"}
    card = pieces(**texts)["card"]
    near, far = card.holes
    assert near.centre == (mm(8), cm(5))
    assert far.centre == (card.width - mm(8), cm(5))
    (ribbon,) = DESIGN.consumables(read_settings(DESIGN, texts, Unit.CM))
    assert (ribbon.amount, ribbon.quantity) == (cm(40), 1)
    assert DESIGN.consumables(read_settings(DESIGN, {}, Unit.CM)) == ()


def test_mats_lie_on_both_gates_and_inside() -> None:
    texts = {"width": "14", "height": "10", "mats": "both", "reveal": "0.5", "gap": "0"}
    made = pieces(**texts)
    gates, inside = made["mat gates"], made["mat inside"]
    assert (gates.width, gates.height, gates.quantity) == (cm("6.5"), cm("9.5"), 2)
    assert (inside.width, inside.height, inside.quantity) == (cm("13.5"), cm("9.5"), 1)


def test_its_envelope_holds_back_gates_and_mats() -> None:
    texts = {"format": "a6", "mats": "both", "envelope": "yes"}
    along, across = DESIGN.joints(read_settings(DESIGN, texts, Unit.CM))
    assert along.play(lambda _: mm("0.2")) == mm(14) - mm("1.0")
    assert across.nominal_clearance == mm(9)
