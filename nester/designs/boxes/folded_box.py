"""The folded box: a box folded from a square without cut or glue, and its lid from another.

Seen with the square's corners up, down, left and right, let q be an eighth of its diagonal, and
u, v the distances of a point from the middle along the two diagonals, in q: the square is
|u| + |v| ≤ 4.  Its corners are folded to the middle, then the sides of the square that this
makes.  So from the middle outwards along each diagonal come: half the base, 1; the wall, 1; the
wall again, folded over to the inside, 1; and the corner, 1, which is folded onto the base and
ends in its middle.  So the base is 2 q wide: a square of side s has the diagonal s·√2, and the base

    b = 2·(s·√2 / 8) = s·√2 / 4,

and the walls are half as high.  Where |u| and |v| are both more than 1, paper is left
over: it goes round the corner from the walls at v = ±1 and is held between the two layers of the
walls at u = ±1, with another fold from (1, 1) to (2, 2).

√2 is irrational, and lengths are whole numbers: the base asked for is a minimum, and the square
is rounded up to a step that can be measured.  A point (u, v) is on the paper at
x = s/2 + (u - v) s/8 and y = s/2 + (u + v) s/8, so every fold ends on a whole number when the
step divides by eight.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isqrt

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import Design, SectionPart, Settings, number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.settings import (
    capped_default,
    is_yes,
    length_setting,
    play_setting,
    round_default,
    smallest_of,
    yes_no_setting,
)
from nester.designs.parts.mat import check_reveal, mat

__all__ = ["FOLDED_BOX", "folded_base", "folded_square", "square_for"]

SMALLEST_BASE: Length = cm(2)
LARGEST_BASE: Length = cm(50)
GRID_DIVISIONS = 8


NOTE = (
    "Without glue: stand two opposite walls up, their corners folded to the middle; bring the"
    " paper at their ends round the corners; fold the other two walls over it."
)


def square_for(base: Length, step: Length) -> Length:
    """Return the side of the smallest square, in whole steps, that gives at least this base.

    A square of side s has the base s·√2/4, so s² ≥ 8 base².
    """
    least = isqrt(8 * base * base - 1) + 1 if base else 0
    return -(-least // step) * step


def folded_base(square: Length) -> Length:
    """Return the base of the box folded from a square, rounded down to a fine unit."""
    return isqrt(square * square // 8)


def folded_wall(square: Length) -> Length:
    """Return the height of its walls, half the base, rounded down to a fine unit."""
    return isqrt(square * square // 32)


def folded_square(name: str, role: str, square: Length) -> Piece:
    """Make the square of a folded box or lid, with its folds.

    Parameters
    ----------
    square
        Its side; a multiple of eight fine units.
    """
    return Piece.rectangle(
        name,
        role,
        square,
        square,
        scores=tuple(_scores(square)),
        note=NOTE,
    )


def _scores(square: Length) -> Iterable[Score]:
    """Return the folds, the four round the base first, as seen from the outside of the box."""
    half, eighth = square // 2, square // GRID_DIVISIONS

    def fold(u1: int, v1: int, u2: int, v2: int, way: Fold, degrees: int = 90) -> Score:
        ends = ((u1, v1), (u2, v2))
        start, end = (Point(half + (u - v) * eighth, half + (u + v) * eighth) for u, v in ends)
        return Score(Line(start, end), way, degrees)

    ring = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    for here, there in zip(ring, ring[1:] + ring[:1], strict=True):
        yield fold(*here, *there, Fold.MOUNTAIN)
    for s in (-1, 1):
        yield fold(-2, 2 * s, 2, 2 * s, Fold.MOUNTAIN, 180)
        yield fold(2 * s, -1, 2 * s, 1, Fold.MOUNTAIN, 180)
        yield fold(-1, 3 * s, 1, 3 * s, Fold.VALLEY)
        yield fold(3 * s, -1, 3 * s, 1, Fold.VALLEY)
    for s in (-1, 1):
        for t in (-1, 1):
            yield fold(s, t, s, 2 * t, Fold.MOUNTAIN)
            yield fold(s, 2 * t, s, 3 * t, Fold.VALLEY)
            yield fold(s, t, 3 * s, t, Fold.MOUNTAIN, 180)
            yield fold(2 * s, t, 2 * s, 2 * t, Fold.VALLEY, 180)
            yield fold(s, t, 2 * s, 2 * t, Fold.VALLEY, 180)


_LAYERS_IN_LID = {
    # Half a sheet outside the box's folds.  The lid's walls at v = ±1 are two sheets thick, one
    # and a half of them within its folds; those at u = ±1 six at their ends: the wall itself, one
    # fold of the corner, the wall round the corner twice, the corner again, the wall's inside.
    "across its thin walls": (Layer("box", 2), Layer("lid", 6)),
    "across its thick walls": (Layer("box", 2), Layer("lid", 22)),
}


def _clearance(before: Settings, thickness: Thickness) -> Length:
    play = number_in(before, "play")
    return max(smallest_clearance(layers, play, thickness) for layers in _LAYERS_IN_LID.values())


SETTINGS = (
    length_setting(
        "base",
        "smallest side for the box's base; the walls are half as high",
        round_default(cm(7), inch("2.5")),
        SMALLEST_BASE,
        LARGEST_BASE,
    ),
    length_setting(
        "round-to",
        "the squares are rounded up to multiples of this",
        round_default(mm(1), inch("1/8")),
        mm("0.1"),
        cm(2),
    ),
    yes_no_setting("lid", "a lid from a larger square", "yes"),
    play_setting(
        "the play the box should have in its lid, both sides together",
        round_default(mm("0.5"), inch("1/64")),
    ),
    length_setting(
        "lid-clearance",
        "how much wider the lid must be than the box",
        round_default(mm(4), inch("3/16")),
        mm("0.05"),
        cm(5),
        _clearance,
    ),
    yes_no_setting("lid-mat", "a mat on top of the lid"),
    length_setting(
        "reveal",
        "how much smaller the mat is than the lid's top; 0 for none",
        capped_default(mm(5), inch("0.25"), smallest_of("base"), 4),
        0,
        LARGEST_BASE,
    ),
)


def _box_square(settings: Settings) -> Length:
    return square_for(number_in(settings, "base"), number_in(settings, "round-to"))


def _lid_square(settings: Settings) -> Length:
    """Return the lid's square: its base is wider by at least the clearance."""
    difference = square_for(number_in(settings, "lid-clearance"), number_in(settings, "round-to"))
    return _box_square(settings) + difference


def _check_rules(settings: Settings, unit: Unit) -> None:
    step = number_in(settings, "round-to")
    if step % GRID_DIVISIONS:
        raise DesignRefusal(
            f"round-to {format_length(step, unit)} can't be divided exactly into {GRID_DIVISIONS};"
            " give it in 8ths of an inch or in tenths of a mm"
        )
    if not is_yes(settings, "lid-mat"):
        return
    if not is_yes(settings, "lid"):
        raise DesignRefusal("lid-mat needs a lid; give lid=yes or leave the mat out")
    top = folded_base(_lid_square(settings))
    check_reveal(settings, top, f"leaves no mat on a lid of {format_length(top, unit)}", unit)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    yield folded_square("box", "box", _box_square(settings))
    if is_yes(settings, "lid"):
        yield folded_square("lid", "lid", _lid_square(settings))
    if is_yes(settings, "lid-mat"):
        top = folded_base(_lid_square(settings))
        yield mat("mat lid", "mat", top, top, number_in(settings, "reveal"))


def _joints(settings: Settings) -> tuple[Joint, ...]:
    if not is_yes(settings, "lid"):
        return ()
    # The base is proportional to the square, so the clearance is the base of the difference.
    clearance = folded_base(_lid_square(settings) - _box_square(settings))
    play = number_in(settings, "play")
    return tuple(
        Joint(f"box in lid, {way}", clearance, layers, play)
        for way, layers in _LAYERS_IN_LID.items()
    )


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    box = _box_square(settings)
    inside = int(is_yes(settings, "lid"))
    parts = [SectionPart("box", "box", folded_base(box), folded_wall(box), nesting_depth=inside)]
    if inside:
        lid = _lid_square(settings)
        parts.insert(0, SectionPart("lid", "lid", folded_base(lid), folded_wall(lid), is_lid=True))
    return tuple(parts)


FOLDED_BOX = Design(
    name="folded-box",
    title="a box folded from a square without glue, and its lid",
    settings=SETTINGS,
    roles=("box", "lid", "mat"),
    sub_roles=(),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
    section=_section,
    # Twelve sheets lie in the lid's thick walls; card would hardly fold (common practice, no
    # source).
    default_grammages=(("all", 160),),
)
