from __future__ import annotations

from collections import Counter

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Piece
from nester.designs import DESIGNS, read_settings
from nester.designs.boxes.folded_box import folded_base, folded_square

DESIGN = DESIGNS["folded-box"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_the_square_is_whole_and_needs_no_glue() -> None:
    made = folded_square("box", "box", 8)
    assert made.is_rectangle
    assert made.slits == made.glue == ()
    folds = Counter(score.fold for score in made.scores)
    # Mountains: 4 round the base, 4 at the rim, 4 thin and 4 thick walls going on past corners;
    # valleys: 4 at the foot of the inner walls, and 3 in the paper left over at each corner.
    assert folds == {Fold.MOUNTAIN: 16, Fold.VALLEY: 16}


def test_the_first_folds_are_those_of_the_base() -> None:
    made = folded_square("box", "box", 8)
    corners = {end for score in made.scores[:4] for end in score.line}
    assert corners == {(4, 2), (6, 4), (4, 6), (2, 4)}


def test_the_lid_can_be_left_out_or_have_a_mat() -> None:
    assert list(pieces(lid="no")) == ["box"]
    made = pieces(**{"lid-mat": "yes", "reveal": "0.5"})
    assert made["mat lid"].width == folded_base(made["lid"].width) - mm(5)


def test_the_thick_walls_of_a_lid_take_up_most_room() -> None:
    settings = read_settings(DESIGN, {"base": "7"}, Unit.CM)
    thin, thick = DESIGN.joints(settings)
    assert thin.nominal_clearance == thick.nominal_clearance >= mm(4)
    paper = mm("0.1")
    assert thin.nominal_clearance - thin.play(lambda _: paper) == 4 * paper
    assert thick.nominal_clearance - thick.play(lambda _: paper) == 12 * paper
    assert DESIGN.joints(read_settings(DESIGN, {"lid": "no"}, Unit.CM)) == ()


def test_the_clearance_is_worked_out_from_the_papers() -> None:
    read = read_settings(DESIGN, {"lid-clearance": "fit"}, Unit.CM, lambda _: mm("0.3"))
    # 12 sheets of 0.3 mm and 0.5 mm of play: 4.1 mm, cut as 4.5 mm.
    assert read["lid-clearance"] == mm("4.5")


def test_seen_from_the_side_the_lid_is_over_the_box() -> None:
    lid, box = DESIGN.section(read_settings(DESIGN, {"base": "7"}, Unit.CM))
    assert (lid.is_lid, box.is_lid) == (True, False)
    assert cm(7) <= box.width < lid.width
    assert box.width // 2 - box.height in (0, 1)
