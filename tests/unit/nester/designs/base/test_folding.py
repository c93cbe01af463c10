from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.folding import (
    Polygon3D,
    corner_gaps,
    crossings,
    facets,
    fold,
    fold_faults,
    lies_on,
)
from nester.designs.parts.card_blanks import Opening, single_fold
from nester.designs.parts.lid import lid
from nester.designs.parts.tray import tray
from nester.designs.parts.walled import WalledBase
from tests.folded_shapes import encloses, extents, transformed

NEAR = pytest.approx
SHAPE = WalledBase(cm(6), cm(4), cm(2))
PLUS = Piece("plus", "a", SHAPE.cross_outline(), scores=SHAPE.base_scores(Fold.VALLEY))


def line(ax: int, ay: int, bx: int, by: int) -> Line:
    return Line(Point(ax, ay), Point(bx, by))


def sheet(*scores: Line, slits: tuple[Line, ...] = (), way: Fold = Fold.VALLEY) -> Piece:
    """Make a sheet of 40 × 40 mm."""
    made = tuple(Score(score, way) for score in scores)
    return Piece.rectangle("sheet", "a", mm(40), mm(40), scores=made, slits=slits)


def mm_line(*ends: int) -> Line:
    return line(*(mm(end) for end in ends))


def quad(*corners: tuple[float, float, float]) -> Polygon3D:
    return np.array(corners, dtype=np.float64)


def test_a_tray_has_a_base_four_walls_and_four_tabs() -> None:
    piece = tray(cm(12), cm(8), cm(4), cm(1))
    parts = facets(piece)
    assert len(parts) == 9
    assert sum(part.twice_area for part in parts) == 2 * piece.area
    assert sorted(part.twice_area // 2 // mm(10) ** 2 for part in parts) == [
        3, 3, 3, 3, 32, 32, 48, 48, 96,
    ]  # fmt: skip


def test_scores_that_cross_part_a_sheet_exactly() -> None:
    # Thirds of an odd number of fine units: the middle is at no whole place.
    piece = Piece.rectangle(
        "a", "a", 5, 5, scores=tuple(
            Score(one, Fold.VALLEY) for one in (line(0, 0, 5, 5), line(0, 5, 5, 0))
        )
    )  # fmt: skip
    parts = facets(piece)
    assert len(parts) == 4
    assert all(part.twice_area == Fraction(25, 2) for part in parts)
    assert all((Fraction(5, 2), Fraction(5, 2)) in part.corners for part in parts)


def test_scores_over_each_other_are_one() -> None:
    half = mm_line(0, 20, 20, 20)
    assert len(facets(sheet(mm_line(0, 20, 40, 20), half))) == 2


def test_a_slit_that_ends_within_parts_nothing_and_a_window_falls_out() -> None:
    slot = mm_line(0, 10, 30, 10)
    window = (
        mm_line(10, 20, 20, 20), mm_line(20, 20, 20, 30),
        mm_line(20, 30, 10, 30), mm_line(10, 30, 10, 20),
    )  # fmt: skip
    (part,) = facets(sheet(slits=(slot, *window)))
    assert part.twice_area == 2 * mm(40) ** 2


def test_a_score_that_ends_within_the_paper_is_refused() -> None:
    for loose in (mm_line(0, 10, 30, 10), mm_line(10, 10, 30, 10)):
        with pytest.raises(DesignRefusal, match="'sheet' ends within the paper"):
            facets(sheet(loose))
        assert "ends within the paper" in fold_faults(sheet(loose), 0, Unit.MM)[0]


def test_slits_that_part_the_piece_are_refused() -> None:
    parted = sheet(slits=(mm_line(0, 10, 40, 10),))
    with pytest.raises(DesignRefusal, match="cut it in two"):
        fold(parted)


def test_a_score_that_is_cut_through_is_no_fold() -> None:
    through = mm_line(0, 10, 40, 10)
    with pytest.raises(DesignRefusal, match="cut it in two"):
        fold(sheet(through, slits=(through,)))


def test_valleys_turn_to_the_face_and_mountains_away() -> None:
    for way, height in ((Fold.VALLEY, 10), (Fold.MOUNTAIN, -10)):
        folded = fold(sheet(mm_line(0, 10, 40, 10), way=way))
        (flap,) = folded.walls
        rim = folded.polygons[flap][np.abs(folded.polygons[flap][:, 2]).argmax()]
        assert rim[1:] == NEAR([-10, height])
        assert folded.parents[flap] == folded.base


def test_half_folded_leaves_a_slope_and_unfolded_the_page() -> None:
    one = sheet(mm_line(0, 10, 40, 10))
    assert extents(fold(one, 30).polygons)[2] == NEAR(5)
    flat = fold(one, lambda _: 0)
    assert extents(flat.polygons) == NEAR((40, 40, 0))
    assert extents(fold(one, 180).polygons) == NEAR((40, 30, 0))


def test_another_base_can_stay() -> None:
    folded = fold(sheet(mm_line(0, 10, 40, 10)), base=(mm(5), mm(5)))
    assert extents(folded.polygons) == NEAR((40, 10, 30))


def test_the_base_of_a_deep_tray_is_its_middle() -> None:
    # Its walls are larger than its base.
    assert extents(fold(tray(cm(3), cm(3), cm(9), cm(1))).polygons) == NEAR((30, 30, 90))


def test_corners_folded_to_the_middle_meet_there() -> None:
    # Derivable: the corners of a square of side s, folded over the lines between the middles
    # of its sides, meet in its centre, and leave a square of s·√2/2 with its corners at those.
    scores = (
        mm_line(20, 0, 40, 20), mm_line(40, 20, 20, 40),
        mm_line(20, 40, 0, 20), mm_line(0, 20, 20, 0),
    )  # fmt: skip
    folded = fold(sheet(*scores), 180)
    assert len(folded.walls) == 4
    assert extents(folded.polygons) == NEAR((40, 40, 0))
    base = folded.polygons[folded.base]
    assert np.linalg.norm(base[1] - base[0]) == NEAR(40 * 2**0.5 / 2)
    for flap in folded.walls:
        assert np.abs(folded.polygons[flap] - [20, -20, 0]).sum(axis=1).min() == NEAR(0, abs=1e-9)
        assert lies_on(folded.polygons[flap], base, 0)


def test_folds_round_a_point_tear_at_wrong_angles() -> None:
    cross = sheet(mm_line(20, 0, 20, 40), mm_line(0, 20, 40, 20))
    assert fold(cross, 0).closure_error == NEAR(0, abs=1e-9)
    # First in half, then in half again: of the second fold, one half turns the other way.
    once_more = Score(mm_line(20, 0, 20, 20), Fold.MOUNTAIN)
    level = [
        Score(mm_line(0, 20, 20, 20), Fold.VALLEY),
        Score(mm_line(20, 20, 40, 20), Fold.VALLEY),
    ]
    quarter = replace(
        cross, scores=(*level, once_more, Score(mm_line(20, 20, 20, 40), Fold.VALLEY))
    )
    assert fold(quarter, 180).closure_error == NEAR(0, abs=1e-9)
    assert fold(cross, 90).closure_error > 10
    assert fold_faults(cross, mm("0.3"), Unit.CM)[0].startswith("sheet: its folds would tear it by")


def test_a_score_tells_how_far_it_folds() -> None:
    flat = tuple(replace(score, degrees=180) for score in PLUS.scores)
    assert extents(fold(replace(PLUS, scores=flat)).polygons)[2] == NEAR(0, abs=1e-9)
    leaning = replace(PLUS, scores=tuple(replace(score, degrees=80) for score in PLUS.scores))
    assert fold_faults(leaning, 0, Unit.CM) == fold_faults(PLUS, 0, Unit.CM, 80) != ()
    for degrees in (-1, 181):
        with pytest.raises(ValueError, match="can't be folded"):
            replace(PLUS.scores[0], degrees=degrees)


def test_walls_that_lean_out_stand_apart_at_the_corners() -> None:
    assert corner_gaps(fold(PLUS)) == NEAR((0, 0, 0, 0), abs=1e-9)
    # Derivable: the sides of two walls leave the corner at an angle whose cosine is cos² 10°;
    # the end of one, 20 mm out, is 20 times the sine of it from the other.
    leaning = fold(PLUS, 80)
    assert len(corner_gaps(leaning)) == 4
    assert max(corner_gaps(leaning)) == NEAR(20 * (1 - np.cos(np.radians(10)) ** 4) ** 0.5)
    assert (
        "its walls stand 4.87 mm apart at a corner" in fold_faults(PLUS, mm("0.3"), Unit.CM, 80)[0]
    )
    # Paper as thick as the gap closes it.
    assert fold_faults(PLUS, mm(5), Unit.CM, 80) == ()


def test_a_low_wall_meets_a_high_one() -> None:
    # The base is 40 × 40 mm; its upper wall is 10 mm high, the others 20 mm.
    outline = (
        (20, 0), (60, 0), (60, 10), (80, 10), (80, 50), (60, 50), (60, 70), (20, 70), (20, 50),
        (0, 50), (0, 10), (20, 10),
    )  # fmt: skip
    folds = ((20, 10, 60, 10), (60, 10, 60, 50), (60, 50, 20, 50), (20, 50, 20, 10))
    low = Piece(
        "low",
        "a",
        tuple(Point(mm(x), mm(y)) for x, y in outline),
        scores=tuple(Score(mm_line(*ends), Fold.VALLEY) for ends in folds),
    )
    assert corner_gaps(fold(low)) == NEAR((0, 0, 0, 0), abs=1e-9)


def test_walls_laid_flat_on_their_base_need_not_meet() -> None:
    assert corner_gaps(fold(PLUS, 180)) == ()
    assert fold_faults(PLUS, 0, Unit.MM, 180) == ()


def test_a_ring_of_walls_encloses_and_one_wall_less_does_not() -> None:
    folded = fold(PLUS)
    middle = (50.0, -40.0, 10.0)
    assert encloses(folded.polygons, middle, 0)
    for wall in folded.walls:
        rest = [shape for at, shape in enumerate(folded.polygons) if at != wall]
        assert not encloses(rest, middle, 10)
    assert not encloses(folded.polygons, (50.0, -40.0, 21.0), 1)
    assert not encloses(folded.polygons, (500.0, -40.0, 10.0), 1)


def test_a_gap_as_wide_as_paper_is_thick_doesn_t_count() -> None:
    # Half way up, walls of 20 mm that lean out by 10° stand 10 sin 10° ≈ 1.74 mm farther out on
    # each side: the gap at a corner is about 2.5 mm wide.
    leaning = fold(PLUS, 80).polygons
    assert not encloses(leaning, (50.0, -40.0, 10.0), 1)
    assert encloses(leaning, (50.0, -40.0, 10.0), 3)


FLOOR = quad((0, 0, 0), (40, 0, 0), (40, 40, 0), (0, 40, 0))


@pytest.mark.parametrize(
    ("other", "depth"),
    [
        # A wall right through the middle of the floor.
        (quad((10, 20, -10), (30, 20, -10), (30, 20, 10), (10, 20, 10)), 10),
        # Askew, and nearer to the border than its middle.
        (quad((36, -5, -9), (36, 45, -9), (36, 45, 9), (36, -5, 9)), 4),
        # It stands on the floor, hangs below it, or touches it from the side.
        (quad((10, 20, 0), (30, 20, 0), (30, 20, 10), (10, 20, 10)), None),
        (quad((40, 0, -10), (40, 40, -10), (40, 40, 10), (40, 0, 10)), None),
        (quad((50, 0, -10), (50, 40, -10), (50, 40, 10), (50, 0, 10)), None),
        # It lies flat on the floor.
        (quad((10, 10, 0), (50, 10, 0), (50, 50, 0), (10, 50, 0)), None),
        # It dips into the floor by no more than paper is thick.
        (quad((10, 20, -0.2), (30, 20, -0.2), (30, 20, 10), (10, 20, 10)), None),
        (quad((10, 20, -0.4), (30, 20, -0.4), (30, 20, 10), (10, 20, 10)), 0.4),
    ],
)
def test_what_passes_through_a_floor_is_found(other: Polygon3D, depth: float | None) -> None:
    found = crossings([FLOOR, other], 0.3)
    if depth is None:
        assert found == ()
    else:
        assert found == ((0, 1, NEAR(depth)),)
    turned = crossings([other[::-1], FLOOR], 0.3)
    assert len(turned) == len(found)


def test_a_wall_through_the_gap_of_an_open_shape_does_not_cross_it() -> None:
    u = quad(
        (0, 0, 0), (40, 0, 0), (40, 40, 0), (30, 40, 0), (30, 10, 0), (10, 10, 0), (10, 40, 0),
        (0, 40, 0),
    )  # fmt: skip
    in_gap = quad((12, 20, -10), (28, 20, -10), (28, 20, 10), (12, 20, 10))
    too_wide = quad((12, 20, -10), (38, 20, -10), (38, 20, 10), (12, 20, 10))
    assert crossings([u, in_gap], 0.3) == ()
    ((_, _, depth),) = crossings([u, too_wide], 0.3)
    assert depth == NEAR(4)


def test_what_lies_on_a_floor() -> None:
    flat = quad((0, 0, 0), (40, 0, 0), (40, 20, 0), (0, 20, 0))
    assert lies_on(flat, FLOOR, 0)
    assert not lies_on(flat + np.array([0.2, 0, 0]), FLOOR, 0.1)
    assert lies_on(flat + np.array([0.2, 0, 0.2]), FLOOR, 0.3)
    assert not lies_on(flat + np.array([0, 0, 0.2]), FLOOR, 0.1)
    assert not lies_on(fold(PLUS).polygons[1], FLOOR, 0.1)


def test_a_part_is_put_elsewhere_and_turned_over() -> None:
    (one,) = transformed([quad((1, 2, 3))], (10, 20, 30), upside_down=True)
    assert one.tolist() == [[11, 18, 27]]
    (two,) = transformed([quad((1, 2, 3))], (10, 0, 0))
    assert two.tolist() == [[11, 2, 3]]


def test_sound_pieces_have_no_faults() -> None:
    for piece in (
        PLUS,
        tray(cm(12), cm(8), cm(4), cm(1)),
        lid("lid", "lid", cm(12), cm(10), mm(5), cm(3)),
        single_fold(mm(105), mm(148), Opening.SIDE),
    ):
        assert fold_faults(piece, 0, Unit.CM) == ()


def test_a_tab_longer_than_the_wall_it_is_glued_to_is_a_fault() -> None:
    long = lid("lid", "lid", cm(3), cm(10), mm(5), cm(4))
    faults = fold_faults(long, mm("0.3"), Unit.CM)
    assert len(faults) == 2
    assert faults[1] == (
        "lid: the tab at 2 cm from the left and 2 cm from the top reaches over what it is glued to"
    )


def test_a_strip_folded_into_itself_is_a_fault() -> None:
    # Four folds of 90° the same way, each panel longer than the one before the last: the end
    # comes back through the first panel.
    ends = (10, 30, 50, 65)
    scores = tuple(Score(mm_line(x, 0, x, 20), Fold.VALLEY) for x in ends)
    strip = Piece.rectangle("strip", "a", mm(100), mm(20), scores=scores)
    (fault,) = fold_faults(strip, mm("0.3"), Unit.MM)
    assert fault.startswith("strip: the part at")
    assert "through the part at" in fault


def test_a_lid_narrower_than_its_box_passes_through_it() -> None:
    box = transformed(fold(tray(cm(6), cm(6), cm(4), cm(1))).polygons, upside_down=True)
    for across, passes in ((62, False), (58, True)):
        over = lid("lid", "lid", mm(across), mm(70), 0, cm(2), cm(1))
        top = fold(over).polygons
        x, y, _ = _middle(box) - _middle(top)
        found = crossings([*box, *transformed(top, (x, y, 40))], 0.3)
        assert bool(found) is passes


def _middle(shapes: tuple[Polygon3D, ...]) -> Polygon3D:
    points = np.concatenate(shapes)
    middle: Polygon3D = (points.max(axis=0) + points.min(axis=0)) / 2
    return middle
