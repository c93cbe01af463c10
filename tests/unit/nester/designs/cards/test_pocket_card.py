from __future__ import annotations

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Piece
from nester.designs import DESIGNS, read_settings
from nester.designs.cards.pocket_card import pocket

DESIGN = DESIGNS["pocket-card"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_a_pocket_has_three_mitred_tabs() -> None:
    made = pocket(cm(10), cm(6), cm(1))
    assert (made.width, made.height) == (cm(12), cm(7))
    assert len(made.outline) == 10
    assert made.area == cm(10) * cm(6) + 2 * cm(1) * cm(5) + cm(1) * cm(9)
    wide = pocket(cm(9), cm(6), cm(2))
    assert {(cm(11), cm(6)), (cm(13), cm(4)), (cm(9), cm(8))} <= set(wide.outline)
    assert [score.fold for score in made.scores] == [Fold.MOUNTAIN] * 3


def test_the_card_has_a_hole_at_its_upper_edge() -> None:
    texts = {"width": "10", "height": "8", "hole": "4mm", "hole-edge": "6mm", "eyelet": "yes"}
    (hole,) = pieces(**texts)["card"].holes
    assert (hole.centre, hole.diameter, hole.eyelet) == ((cm(5), mm(8)), mm(4), True)
    (ribbon,) = DESIGN.consumables(read_settings(DESIGN, texts, Unit.CM))
    assert ribbon.amount == cm(20)


def test_card_and_mats_take_up_room_in_the_pocket() -> None:
    for mats, sheets in (("none", 2), ("one", 3), ("both", 4)):
        (joint,) = DESIGN.joints(read_settings(DESIGN, {"mats": mats, "room": "3mm"}, Unit.CM))
        assert joint.play(lambda _: mm("0.25")) == mm(3) - sheets * mm("0.25")


def test_the_pocket_is_as_wide_as_the_card_and_its_room() -> None:
    made = pieces(width="10", height="9", room="3mm", tab="1", deep="6", mats="both", reveal="1")
    assert (made["pocket"].width, made["pocket"].height) == (cm("12.3"), cm(7))
    assert (made["mat"].quantity, made["mat"].width) == (2, cm(9))
