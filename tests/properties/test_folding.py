"""Parts folded up in space, for many sizes: they close, and nothing passes through another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import UNITS_PER_MM, Length, Unit
from nester.core.piece import Piece, Point, Score
from nester.designs.base.folding import (
    FoldedState,
    Polygon3D,
    corner_gaps,
    crossings,
    fold,
    fold_faults,
    lies_on,
)
from nester.designs.boxes.folded_box import folded_square
from nester.designs.boxes.layered_box.tier import (
    FLAPS,
    FLAPS_ANTICLOCKWISE,
    OPEN,
    POCKETS,
    Pocket,
    tier,
)
from nester.designs.parts.lid import lid
from nester.designs.parts.tray import tray
from tests.folded_shapes import encloses, extents, transformed

ROUNDING = 1e-6
"""What floats may be off by, in mm."""
SIDES = st.integers(10 * UNITS_PER_MM, 300 * UNITS_PER_MM)
FLAP_WAYS = st.sampled_from([FLAPS, FLAPS_ANTICLOCKWISE])


def mm(length: Length) -> float:
    return length / UNITS_PER_MM


def near(*sizes: float) -> object:
    return pytest.approx(sizes, abs=ROUNDING)


@st.composite
def bases(draw: st.DrawFn) -> tuple[Length, Length, Length]:
    """Draw a width, a length and a height of walls, square and oblong, low and high."""
    width = draw(SIDES)
    length = width if draw(st.booleans()) else draw(SIDES)
    return width, length, draw(SIDES)


def middle(folded: FoldedState) -> tuple[float, float, float]:
    """Return the place over the middle of the base, half way up the walls."""
    base = folded.polygons[folded.base]
    points = np.concatenate(folded.polygons)
    x, y = (base.max(axis=0)[:2] + base.min(axis=0)[:2]) / 2
    return float(x), float(y), float(points[:, 2].max() + points[:, 2].min()) / 2


def closes(folded: FoldedState) -> None:
    """Hold that four walls meet at the corners and stand all round the cavity."""
    assert folded.closure_error <= ROUNDING
    assert len(folded.walls) == 4
    assert corner_gaps(folded) == near(0, 0, 0, 0)
    assert encloses(folded.polygons, middle(folded), ROUNDING)
    assert crossings(folded.polygons, ROUNDING) == ()


def corners_lie_on_the_next_wall(folded: FoldedState) -> None:
    """Hold that each wall's corner lies flat on one other wall, and each wall under one corner."""
    covered = []
    for at, on in enumerate(folded.parents):
        if at == folded.base or on == folded.base:
            continue
        under = [
            wall
            for wall in folded.walls
            if lies_on(folded.polygons[at], folded.polygons[wall], ROUNDING)
        ]
        assert len(under) == 1
        assert under[0] != on
        covered += under
    assert sorted(covered) == sorted(folded.walls)


@settings(max_examples=120, deadline=None)
@given(bases(), st.data())
def test_the_walls_of_a_tray_meet_and_its_tabs_lie_inside_the_next(
    base: tuple[Length, Length, Length], data: st.DataObject
) -> None:
    tab = data.draw(st.integers(UNITS_PER_MM, min(base)))
    piece = tray(*base, tab)
    folded = fold(piece)
    width, length, depth = base
    assert extents(folded.polygons) == near(mm(width), mm(length), mm(depth))
    assert len(folded.polygons) == 9
    closes(folded)
    corners_lie_on_the_next_wall(folded)
    assert fold_faults(piece, 0, Unit.MM) == ()


@settings(max_examples=120, deadline=None)
@given(bases(), st.data())
def test_a_lid_s_inner_size_is_the_box_s_outer_size_and_clearance(
    base: tuple[Length, Length, Length], data: st.DataObject
) -> None:
    width, length, depth = base
    clearance = data.draw(st.integers(1000, 10 * UNITS_PER_MM))
    most = min(depth, width + clearance, length + clearance)
    wall = data.draw(st.integers(2 * UNITS_PER_MM, most))
    tab = data.draw(st.one_of(st.just(0), st.integers(UNITS_PER_MM, wall)))
    top = fold(lid("lid", "lid", width, length, clearance, wall, tab))
    closes(top)
    corners_lie_on_the_next_wall(top)
    box = fold(tray(width, length, depth, UNITS_PER_MM))
    inside, outside = extents(top.polygons), extents(box.polygons)
    assert inside == near(outside[0] + mm(clearance), outside[1] + mm(clearance), mm(wall))
    put_over = on_top_of(top, box)
    assert crossings([*standing(box), *put_over], ROUNDING) == ()
    # Half of the clearance is left on each of the four sides.
    low, high = (reach(np.min, put_over), reach(np.max, put_over))
    box_low, box_high = (reach(np.min, standing(box)), reach(np.max, standing(box)))
    assert [*(box_low - low)[:2], *(high - box_high)[:2]] == near(*[mm(clearance) / 2] * 4)


def standing(box: FoldedState) -> tuple[Polygon3D, ...]:
    """Stand a tray on its base; its face is its outside, so it was folded upside down."""
    return transformed(box.polygons, upside_down=True)


def on_top_of(top: FoldedState, box: FoldedState) -> tuple[Polygon3D, ...]:
    """Put a lid over a box, its top on the box's rim."""
    x, y, _ = (np.array(middle(box)) * [1, -1, 1]) - middle(top)
    return transformed(top.polygons, (float(x), float(y), extents(box.polygons)[2]))


def reach(which: object, shapes: tuple[Polygon3D, ...]) -> Polygon3D:
    found: Polygon3D = which(np.concatenate(shapes), axis=0)  # type: ignore[operator]
    return found


@settings(max_examples=80, deadline=None)
@given(bases())
def test_an_open_tier_closes_over_its_cavity(base: tuple[Length, Length, Length]) -> None:
    width, length, wall = base
    folded = fold(tier(1, width, OPEN, length=length, wall=wall))
    assert extents(folded.polygons) == near(mm(width), mm(length), mm(wall))
    closes(folded)


@settings(max_examples=120, deadline=None)
@given(bases(), FLAP_WAYS)
def test_the_flaps_of_a_tier_lie_on_the_next_wall(
    base: tuple[Length, Length, Length], way: str
) -> None:
    # A flap is as long as its wall is high: it lies wholly on the next if that is as long.
    width, length, wall = base
    wall = min(wall, width, length)
    folded = fold(tier(1, width, way, length=length, wall=wall))
    assert extents(folded.polygons) == near(mm(width), mm(length), mm(wall))
    closes(folded)
    corners_lie_on_the_next_wall(folded)


@settings(max_examples=80, deadline=None)
@given(bases(), st.data())
def test_a_pocket_lies_on_its_own_wall_clear_of_the_folds(
    base: tuple[Length, Length, Length], data: st.DataObject
) -> None:
    width, length, wall = base
    trim = data.draw(st.integers(1000, 2 * UNITS_PER_MM))
    piece = tier(1, width, POCKETS, length=length, wall=wall, pocket=Pocket(trim, 3 * UNITS_PER_MM))
    folded = fold(piece, stands_and_pockets(piece))
    closes(folded)
    pockets = [at for at, on in enumerate(folded.parents) if on in folded.walls]
    assert len(pockets) == 4
    for at in pockets:
        own = folded.polygons[folded.parents[at]]
        assert lies_on(folded.polygons[at], own, ROUNDING)
        assert folded.polygons[at][:, 2].min() == pytest.approx(mm(trim), abs=ROUNDING)


def stands_and_pockets(piece: Piece) -> object:
    """Stand up the walls, and lay back the corners: the base's four folds come first."""
    walls = piece.scores[:4]

    def degrees(score: Score) -> float:
        return 90 if score in walls else 180

    return degrees


@settings(max_examples=60, deadline=None)
@given(
    st.integers(80 * UNITS_PER_MM, 200 * UNITS_PER_MM),
    st.integers(1000, 20 * UNITS_PER_MM),
    st.sampled_from([OPEN, FLAPS, FLAPS_ANTICLOCKWISE]),
    st.integers(2, 4),
)
def test_tiers_stand_inside_each_other(
    panel: Length, step: Length, corners: str, tiers: int
) -> None:
    shapes: list[Polygon3D] = []
    for place in range(tiers):
        folded = fold(tier(place + 1, panel - place * step, corners))
        x, y, _ = middle(folded)
        shapes += transformed(folded.polygons, (-x, -y, 0))
    assert crossings(shapes, ROUNDING) == ()


def in_eighths(place: Point, square: Length) -> tuple[float, float]:
    """Return how far a place is from the middle along each diagonal, in eighths of a diagonal."""
    x, y = 8 * place.x / square - 4, 8 * place.y / square - 4
    return abs(x + y) / 2, abs(y - x) / 2


@settings(max_examples=60, deadline=None)
@given(st.integers(20 * UNITS_PER_MM // 8, 300 * UNITS_PER_MM // 8))
def test_a_square_folds_into_a_box_of_the_derived_size(eighths: int) -> None:
    # Derivable: folded over to the inside, an eighth q of the diagonal s·√2 is half the base, the
    # next the wall, then the wall again, then a corner that ends in the middle of the base.  So
    # the base is 2 q = s·√2/4 and the walls are q = s·√2/8 high.
    square = 8 * eighths
    eighth = mm(square) * 2**0.5 / 8

    def degrees(score: Score) -> float:
        """Stand up at the base, at the corners' edges and where the points lie down."""
        (u1, v1), (u2, v2) = (in_eighths(place, square) for place in score.line)
        if (u1, v1) == (u2, v2) == (1, 1):
            return 90
        if u1 == u2 == 2 or v1 == v2 == 2:
            return 180
        return 90 if u1 == u2 or v1 == v2 == 3 else 180

    folded = fold(folded_square("box", "box", square), degrees)
    assert len(folded.polygons) == 1 + 4 * (2 + 1) + 4 * 4
    closes(folded)
    base = folded.polygons[folded.base]
    assert np.linalg.norm(np.roll(base, -1, axis=0) - base, axis=1) == near(*[2 * eighth] * 4)
    assert extents(folded.polygons) == near(mm(square) / 2, mm(square) / 2, eighth)
    on_base = [shape for shape in folded.polygons if lies_on(shape, base, ROUNDING)]
    centre = base.mean(axis=0)
    points = [shape for shape in on_base if len(shape) == 3]
    assert len(points) == 4
    for point in points:
        assert np.linalg.norm(point - centre, axis=1).min() <= ROUNDING


@settings(max_examples=60, deadline=None)
@given(bases(), st.floats(1, 60))
def test_walls_not_stood_up_leave_gaps(
    base: tuple[Length, Length, Length], short_of: float
) -> None:
    width, length, wall = base
    folded = fold(tier(1, width, OPEN, length=length, wall=wall), 90 - short_of)
    # The cosine of the angle between the sides of two walls is cos² of what is missing.
    gap = mm(wall) * (1 - np.cos(np.radians(short_of)) ** 4) ** 0.5
    assert corner_gaps(folded) == near(gap, gap, gap, gap)
    assert not encloses(folded.polygons, middle(folded), ROUNDING)
