from __future__ import annotations

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Grain
from nester.designs import DESIGNS, read_settings
from nester.designs.cards.envelope import envelope

DESIGN = DESIGNS["envelope"]


def test_the_blank_is_made_of_flap_front_back_and_tabs() -> None:
    made = envelope(cm(16), cm(12), cm(4), cm(2))
    # The back ends a quarter of the flap below the upper fold: 12 - 1 cm.
    assert (made.width, made.height) == (cm(20), cm(4 + 12 + 11))
    assert made.grain is Grain.WIDTH
    assert {score.fold for score in made.scores} == {Fold.MOUNTAIN}
    corners = {end for score in made.scores for end in score.line}
    assert corners == {(cm(2), cm(4)), (cm(18), cm(4)), (cm(18), cm(16)), (cm(2), cm(16))}


def test_flap_and_tabs_are_mitred() -> None:
    made = envelope(cm(16), cm(12), cm(4), cm(2))
    assert made.outline[:2] == ((cm(6), 0), (cm(14), 0))
    right, left = made.glue
    assert right == (
        (cm(18), cm(4)),
        (cm(20), cm(6)),
        (cm(20), cm(14)),
        (cm(18), cm(16)),
    )
    assert {(made.width - x, y) for x, y in right} == set(left)


def test_defaults_can_be_measured_with_a_ruler() -> None:
    for texts in ({}, {"format": "c6"}, {"format": "DL"}, {"width": "13.3", "height": "9.7"}):
        (made,) = DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))
        assert made.width % mm(1) == made.height % mm(1) == 0
