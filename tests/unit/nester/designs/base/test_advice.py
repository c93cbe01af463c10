from __future__ import annotations

from dataclasses import replace

import pytest

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Grain, Hole, Piece, Point
from nester.designs import DESIGNS, read_settings
from nester.designs.base.advice import (
    MIN_CARD_GRAMMAGE,
    MIN_HEAVY_GRAMMAGE,
    MIN_LONG_FOLD,
    piece_advice,
    safety_notes,
)
from nester.designs.parts.card_blanks import Opening, single_fold
from nester.designs.parts.lid import lid
from nester.designs.parts.tray import tray

LONG = "A long fold runs across the grain"
PLAIN = Piece.rectangle("mat", "mat", cm(5), cm(5))


def said(
    piece: Piece, start: str, grammage: int = MIN_HEAVY_GRAMMAGE, *, known: bool = True
) -> bool:
    return any(note.startswith(start) for note in piece_advice(piece, grammage, known))


def test_a_plain_mat_needs_no_advice() -> None:
    assert piece_advice(PLAIN, 300, False) == ()


def test_card_is_scored_and_thin_paper_needn_t_be() -> None:
    card = single_fold(mm(105), mm(148), Opening.SIDE)
    assert said(card, "Score before folding: card of 160 g/m²", MIN_CARD_GRAMMAGE)
    assert not said(card, "Score", MIN_CARD_GRAMMAGE - 1)


@pytest.mark.parametrize(
    ("grain", "way"), [(Grain.WIDTH, "left to right"), (Grain.HEIGHT, "top to bottom")]
)
def test_the_grain_wish_is_said(grain: Grain, way: str) -> None:
    card = replace(single_fold(cm(10), cm(10), Opening.SIDE), grain=grain)
    assert said(card, f"Let the grain run from {way}")


def test_an_unknown_grain_is_tried_on_a_spare_piece() -> None:
    card = single_fold(cm(10), cm(10), Opening.SIDE)
    assert said(card, "The grain isn't known", known=False)
    assert not said(card, "The grain isn't known", known=True)
    assert not said(card, "The grain isn't known", MIN_CARD_GRAMMAGE - 1, known=False)


@pytest.mark.parametrize(
    ("width", "length", "grain", "grammage", "warned"),
    [
        (MIN_LONG_FOLD, MIN_LONG_FOLD, Grain.ANY, MIN_HEAVY_GRAMMAGE, True),
        (MIN_LONG_FOLD, MIN_LONG_FOLD, Grain.ANY, MIN_HEAVY_GRAMMAGE - 1, False),
        (MIN_LONG_FOLD, MIN_LONG_FOLD - 1, Grain.ANY, MIN_HEAVY_GRAMMAGE, False),
        (MIN_LONG_FOLD, cm(3), Grain.WIDTH, MIN_HEAVY_GRAMMAGE, False),
        (MIN_LONG_FOLD, cm(3), Grain.HEIGHT, MIN_HEAVY_GRAMMAGE, True),
        (cm(3), MIN_LONG_FOLD, Grain.WIDTH, MIN_HEAVY_GRAMMAGE, True),
    ],
)
def test_long_folds_across_the_grain_of_heavy_card_get_a_warning(
    width: int, length: int, grain: Grain, grammage: int, warned: bool
) -> None:
    piece = replace(tray(width, length, cm(2), cm(1)), grain=grain)
    assert said(piece, LONG, grammage) is warned


def test_a_card_folded_once_has_no_fold_across_if_laid_well() -> None:
    card = replace(single_fold(cm(20), cm(20), Opening.SIDE), grain=Grain.HEIGHT)
    assert not said(card, LONG)
    assert said(replace(card, grain=Grain.WIDTH), LONG)


def test_shapes_get_their_own_notes() -> None:
    slit, mitred = lid("lid", "lid", cm(9), cm(9), mm(2), cm(2)), tray(cm(9), cm(9), cm(2), cm(1))
    assert said(slit, "Cut a slit only as far")
    assert not said(mitred, "Cut a slit")
    assert said(mitred, "Cut the slanted ends")
    assert not said(slit, "Cut the slanted")
    assert said(mitred, "Fold it once without glue")
    punched = replace(PLAIN, holes=(Hole(Point(cm(1), cm(1)), mm(5)),))
    assert said(punched, "Punch holes with a spare sheet underneath")
    card = single_fold(cm(10), cm(10), Opening.SIDE)
    assert said(replace(card, holes=punched.holes), "Punch holes before folding, with a spare")


def test_slanted_corners_that_are_no_tabs_are_not_called_tabs() -> None:
    design = DESIGNS["gift-tag"]
    (tag,) = design.pieces(read_settings(design, {}, Unit.CM))
    assert not tag.is_rectangle
    assert not said(tag, "Cut the slanted")


@pytest.mark.parametrize("name", DESIGNS)
def test_notes_leave_scoring_to_advice_which_knows_the_paper(name: str) -> None:
    design = DESIGNS[name]
    for piece in design.pieces(read_settings(design, {}, Unit.CM)):
        assert "before folding" not in piece.note


def test_cautions_defer_to_the_makers_of_tools_and_are_shown_once() -> None:
    glued = tray(cm(9), cm(9), cm(2), cm(1))
    eyelet = replace(PLAIN, holes=(Hole(Point(cm(1), cm(1)), mm(5), eyelet=True),))
    knives = safety_notes([PLAIN])
    assert len(knives) == 1
    assert "follow the tool maker's instructions and the rules where you work" in knives[0]
    every = safety_notes([PLAIN, glued, glued, eyelet])
    assert [note.split()[0] for note in every] == ["Knives", "Glue:", "Eyelets"]
    assert len(safety_notes([replace(PLAIN, mounted=True)])) == 2
