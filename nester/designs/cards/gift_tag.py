"""The gift tag: a card with slanted upper corners, a hole and a ribbon."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import isqrt

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Piece, Point
from nester.designs.base.design import (
    Design,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.base.settings import choice_setting, length_setting, round_default, smallest_of
from nester.designs.parts.holes import (
    MIN_EDGE_DISTANCE,
    check_hole_edge_distance,
    hole_from_settings,
    hole_settings,
    ribbon,
)
from nester.designs.parts.mat import SMALLEST_MAT

__all__ = ["GIFT_TAG"]

LARGEST_SIDE: Length = cm(50)
FACES = {"none": (), "front": ("front",), "both": ("front", "back")}


_shorter_side = smallest_of("width", "length")


def _reveal(before: Settings, unit: Unit) -> Length:
    edge = number_in(before, "hole-edge") - MIN_EDGE_DISTANCE
    return floor_to_ruler(
        min(by_unit(unit, mm(4), inch("1/8")), _shorter_side(before) // 8, 2 * edge), unit
    )


SETTINGS = (
    length_setting(
        "width", "width of the tag", round_default(cm(5), inch(2)), mm(15), LARGEST_SIDE
    ),
    length_setting(
        "length",
        "length of the tag, from the end with the hole to the other",
        lambda before, unit: max(
            number_in(before, "width"), floor_to_ruler(number_in(before, "width") * 9 // 5, unit)
        ),
        mm(15),
        LARGEST_SIDE,
    ),
    length_setting(
        "clip",
        "how much of each side the slanted upper corners take; 0 for square corners",
        lambda before, unit: floor_to_ruler(_shorter_side(before) // 4, unit),
        0,
        LARGEST_SIDE,
    ),
    *hole_settings(_shorter_side, cm(25)),
    choice_setting("mats", "where mats go", "none", tuple(FACES)),
    length_setting(
        "reveal", "how much smaller a mat is than the tag; 0 for none", _reveal, 0, LARGEST_SIDE
    ),
)


def _hole_centre(settings: Settings) -> Point:
    drop = number_in(settings, "hole-edge") + number_in(settings, "hole") // 2
    return Point(number_in(settings, "width") // 2, drop)


def _margin(settings: Settings) -> Length:
    """Return how far inside the tag's edge its mats end; 0 without mats."""
    return number_in(settings, "reveal") // 2 if FACES[choice_in(settings, "mats")] else 0


def _check_rules(settings: Settings, unit: Unit) -> None:
    _check_corners(settings, unit)
    check_hole_edge_distance(
        settings, number_in(settings, "width"), number_in(settings, "length"), unit
    )
    _check_mats(settings, unit)
    _check_hole_corner_distance(settings, unit)


def _check_corners(settings: Settings, unit: Unit) -> None:
    largest = min(
        number_in(settings, "width") // 2 - MIN_EDGE_DISTANCE - _margin(settings),
        number_in(settings, "length") - MIN_EDGE_DISTANCE,
    )
    check_at_most(settings, "clip", max(0, largest), "leaves nothing of the tag's upper end", unit)


def _check_mats(settings: Settings, unit: Unit) -> None:
    if not FACES[choice_in(settings, "mats")]:
        return
    round_hole = 2 * (number_in(settings, "hole-edge") - MIN_EDGE_DISTANCE)
    largest = min(_shorter_side(settings) - SMALLEST_MAT, round_hole)
    fault = "leaves too little of the mat round the hole"
    check_at_most(settings, "reveal", largest, fault, unit)


def _check_hole_corner_distance(settings: Settings, unit: Unit) -> None:
    """Refuse a hole too close to a slanted edge of the tag or its mat.

    The tag's edge is the line x + y = clip, at a distance of (x + y - clip) / √2 from a point.
    """
    if number_in(settings, "clip") == 0:
        return
    centre, clip = _hole_centre(settings), number_in(settings, "clip")
    distance = centre.x + centre.y - clip  # times √2
    needed = (number_in(settings, "hole") + 1) // 2 + MIN_EDGE_DISTANCE + _margin(settings)
    if distance < 0 or distance * distance < 2 * needed * needed:
        raise DesignRefusal(
            f"the hole comes too near to the slanted corners of clip {format_length(clip, unit)};"
            " make clip smaller or hole-edge larger"
        )


def _outline(width: Length, length: Length, clip: Length) -> tuple[Point, ...]:
    end = (Point(width, length), Point(0, length))
    if clip == 0:
        return (Point(0, 0), Point(width, 0), *end)
    return (Point(clip, 0), Point(width - clip, 0), Point(width, clip), *end, Point(0, clip))


def _mat_clip(clip: Length, margin: Length) -> Length:
    """Return the clip of a mat whose margin is as wide at the slants as along the sides.

    With a clip of clip - 2 margin + √2 margin on the mat's own sides, its slanted edge is
    `margin` inside the tag's.  √2 margin is rounded up, so the mat never comes closer.
    """
    diagonal = isqrt(2 * margin * margin - 1) + 1 if margin else 0
    return max(0, clip - 2 * margin + diagonal)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number_in(settings, "width"), number_in(settings, "length")
    clip, reveal = number_in(settings, "clip"), number_in(settings, "reveal")
    hole = hole_from_settings(settings, _hole_centre(settings))
    yield Piece("tag", "tag", _outline(width, length, clip), upright=True, holes=(hole,))
    faces = FACES[choice_in(settings, "mats")]
    if faces:
        margin = _margin(settings)
        wide, high = width - reveal, length - reveal
        centre = Point(wide // 2, hole.centre.y - margin)
        # The eyelet goes through tag and mats together, and is counted with the tag.
        mat = Piece(
            "mat", "mat", _outline(wide, high, _mat_clip(clip, margin)), upright=True,
            holes=(Hole(centre, hole.diameter),),
            note="Glue its whole back, hole on hole.",
        )  # fmt: skip
        for face in faces:
            yield replace(mat, name=f"mat {face}", role=f"mat.{face}")


GIFT_TAG = Design(
    name="gift-tag",
    title="a tag with slanted corners, a hole and a ribbon",
    settings=SETTINGS,
    roles=("tag", "mat"),
    sub_roles=("mat.front", "mat.back"),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    consumables=lambda settings: ribbon(settings, "tie of the tag"),
)
