from __future__ import annotations

from fractions import Fraction
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.geometry import voids
from nester.core.piece import Piece, Point
from nester.core.problem import Rect
from nester.designs.parts.tray import tray
from nester.designs.parts.walled import WalledBase

SIDES = st.integers(8, 60)


@st.composite
def skylines(draw: st.DrawFn) -> Piece:
    """Draw a rectilinear piece: columns of many heights on a common ground."""
    heights = draw(st.lists(st.integers(1, 9), min_size=1, max_size=7))
    ground = max(heights)
    corners: list[Point] = []
    for at, height in enumerate(heights):
        corners += [Point(at, ground - height), Point(at + 1, ground - height)]
    corners += [Point(len(heights), ground), Point(0, ground)]
    return Piece("skyline", "a", tuple(dict.fromkeys(corners)))


@st.composite
def trays(draw: st.DrawFn) -> Piece:
    width, length, depth = draw(SIDES), draw(SIDES), draw(SIDES)
    return tray(width, length, depth, draw(st.integers(1, min(width, length, depth))))


@st.composite
def pluses(draw: st.DrawFn) -> tuple[Piece, WalledBase]:
    shape = WalledBase(draw(SIDES), draw(SIDES), draw(SIDES))
    return Piece("plus", "a", shape.cross_outline()), shape


def inside(piece: Piece, x: Fraction, y: Fraction) -> bool:
    """Tell whether the outline winds round a place that is on none of its sides."""
    winding = 0
    for a, b in zip(piece.outline, piece.outline[1:] + piece.outline[:1], strict=True):
        left = (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)
        winding += (a.y <= y < b.y and left > 0) - (b.y <= y < a.y and left < 0)
    return winding != 0


def overlap(a: Rect, b: Rect) -> bool:
    return a.x < b.right and b.x < a.right and a.y < b.bottom and b.y < a.bottom


def are_sound(piece: Piece, found: tuple[Rect, ...]) -> None:
    whole = Rect(0, 0, piece.width, piece.height)
    for rect in found:
        assert rect.width > 0 < rect.height
        assert whole.x <= rect.x <= rect.right <= whole.right
        assert whole.y <= rect.y <= rect.bottom <= whole.bottom
        steps = [Fraction(k, 101) for k in (1, 37, 67, 100)]
        assert not any(
            inside(piece, rect.x + across * rect.width, rect.y + down * rect.height)
            for across in steps
            for down in steps
        )
    assert not any(overlap(a, b) for a, b in combinations(found, 2))
    assert piece.area + sum(rect.area for rect in found) <= whole.area


@settings(max_examples=100, deadline=None)
@given(skylines())
def test_the_voids_of_a_rectilinear_piece_are_all_that_is_cut_away(piece: Piece) -> None:
    found = voids(piece)
    are_sound(piece, found)
    assert piece.area + sum(rect.area for rect in found) == piece.width * piece.height


@settings(max_examples=60, deadline=None)
@given(skylines(), st.integers(0, 4))
def test_the_largest_void_is_taken_first(piece: Piece, smallest: int) -> None:
    xs, ys = range(piece.width), range(piece.height)
    half = Fraction(1, 2)
    free = {(x, y) for x in xs for y in ys if not inside(piece, x + half, y + half)}
    taken: set[tuple[int, int]] = set()
    for rect in (*voids(piece, smallest), None):
        best = max(
            (
                width * height
                for x in xs
                for y in ys
                for width in range(max(smallest, 1), piece.width - x + 1)
                for height in range(max(smallest, 1), piece.height - y + 1)
                if all(
                    (i, j) in free and (i, j) not in taken
                    for i in range(x, x + width)
                    for j in range(y, y + height)
                )
            ),
            default=0,
        )
        assert best == (rect.area if rect else 0)
        if rect:
            taken |= {(i, j) for i in range(rect.x, rect.right) for j in range(rect.y, rect.bottom)}


@settings(max_examples=80, deadline=None)
@given(trays())
def test_the_voids_beside_mitred_tabs_miss_their_slanted_edges(piece: Piece) -> None:
    are_sound(piece, voids(piece))


@settings(max_examples=60, deadline=None)
@given(pluses())
def test_the_voids_of_a_plus_are_its_four_corners(made: tuple[Piece, WalledBase]) -> None:
    piece, shape = made
    wall, right, bottom = (
        shape.wall_height,
        shape.wall_height + shape.width,
        shape.wall_height + shape.length,
    )
    corners = {Rect(x, y, wall, wall) for x in (0, right) for y in (0, bottom)}
    found = voids(piece)
    assert len(found) == 4
    assert set(found) == corners
    assert voids(piece, wall) == found
    assert voids(piece, wall + 1) == ()
