from __future__ import annotations

from nester.core.geometry import voids
from nester.core.lengths import cm
from nester.core.piece import Piece, Point
from nester.core.problem import Rect
from nester.designs.parts.tray import tray
from nester.designs.parts.walled import WalledBase


def piece(*corners: tuple[int, int]) -> Piece:
    return Piece("a", "a", tuple(Point(x, y) for x, y in corners))


def test_the_corners_of_a_plus() -> None:
    plus = Piece("plus", "tier.1", WalledBase(30, 20, 10).cross_outline())
    assert voids(plus) == (
        Rect(0, 0, 10, 10), Rect(40, 0, 10, 10), Rect(0, 30, 10, 10), Rect(40, 30, 10, 10),
    )  # fmt: skip


def test_a_rectangle_leaves_nothing() -> None:
    assert voids(Piece.rectangle("a", "a", 10, 20)) == ()


def test_what_lies_beside_mitred_tabs() -> None:
    # Tabs of 1 cm are mitred by 1 cm: each corner keeps 3 × 4 cm whole, and two triangles.
    found = voids(tray(cm(12), cm(8), cm(4), cm(1)))
    assert set(found) == {
        Rect(cm(17), 0, cm(3), cm(4)),
        Rect(cm(16), cm(13), cm(4), cm(3)),
        Rect(0, cm(12), cm(3), cm(4)),
        Rect(0, 0, cm(4), cm(3)),
    }


def test_the_largest_comes_first_and_small_ones_are_left_out() -> None:
    # An L whose void is 20 × 20 with a step of 5 × 10 below it.
    step = piece((0, 0), (10, 0), (10, 20), (25, 20), (25, 30), (30, 30), (30, 40), (0, 40))
    assert voids(step) == (Rect(10, 0, 20, 20), Rect(25, 20, 5, 10))
    assert voids(step, 6) == (Rect(10, 0, 20, 20),)
    assert voids(step, 21) == ()


def test_a_wide_void_is_not_lost_behind_a_larger_narrow_one() -> None:
    # 4 × 100 is larger than 20 × 10, but too narrow: what remains of the wider one is given.
    narrow = piece((4, 0), (100, 0), (100, 90), (20, 90), (20, 100), (0, 100), (0, 90), (4, 90))
    assert voids(narrow, 5) == (Rect(20, 90, 80, 10),)
    assert voids(narrow)[0] == Rect(20, 90, 80, 10)
