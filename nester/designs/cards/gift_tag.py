"""The gift tag: a card with slanted upper corners, a hole and a ribbon."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import isqrt

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Piece, Point
from nester.designs.base.design import (
    Consumable,
    Design,
    Kind,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.holes import (
    WEB,
    hole_at,
    hole_has_paper_round_it,
    hole_settings,
    ribbon,
)

__all__ = ["GIFT_TAG"]

LARGEST_SIDE: Length = cm(50)
SMALLEST_MAT: Length = mm(5)
FACES = {"none": (), "front": ("front",), "both": ("front", "back")}


def _shorter(before: Settings) -> Length:
    return min(number(before, "width"), number(before, "length"))


def _reveal(before: Settings, unit: Unit) -> Length:
    edge = number(before, "hole-edge") - WEB
    return tidied(min(by_unit(unit, mm(4), inch("1/8")), _shorter(before) // 8, 2 * edge), unit)


SETTINGS = (
    Setting(
        "width",
        Kind.LENGTH,
        "width of the tag",
        lambda _, unit: by_unit(unit, cm(5), inch(2)),
        least=mm(15),
        most=LARGEST_SIDE,
    ),
    Setting(
        "length",
        Kind.LENGTH,
        "length of the tag, from the end with the hole to the other",
        lambda before, unit: max(
            number(before, "width"), tidied(number(before, "width") * 9 // 5, unit)
        ),
        least=mm(15),
        most=LARGEST_SIDE,
    ),
    Setting(
        "clip",
        Kind.LENGTH,
        "how much of each side the slanted upper corners take; 0 for square corners",
        lambda before, unit: tidied(_shorter(before) // 4, unit),
        least=0,
        most=LARGEST_SIDE,
    ),
    *hole_settings(_shorter, cm(25)),
    Setting("mats", Kind.CHOICE, "where mats go", "none", choices=tuple(FACES)),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than the tag; 0 for none",
        _reveal,
        least=0,
        most=LARGEST_SIDE,
    ),
)


def _hole_centre(settings: Settings) -> Point:
    drop = number(settings, "hole-edge") + number(settings, "hole") // 2
    return Point(number(settings, "width") // 2, drop)


def _margin(settings: Settings) -> Length:
    """Return how far within the tag its mats end; 0 without mats."""
    return number(settings, "reveal") // 2 if FACES[word(settings, "mats")] else 0


def _rules(settings: Settings, unit: Unit) -> None:
    _corners_leave_an_end(settings, unit)
    hole_has_paper_round_it(settings, number(settings, "width"), number(settings, "length"), unit)
    _mats_show(settings, unit)
    _hole_clears_the_corners(settings, unit)


def _corners_leave_an_end(settings: Settings, unit: Unit) -> None:
    clip = number(settings, "clip")
    most = min(
        number(settings, "width") // 2 - WEB - _margin(settings),
        number(settings, "length") - WEB,
    )
    if clip > max(most, 0):
        raise DesignRefusal(
            f"clip {format_length(clip, unit)} leaves nothing of the tag's upper end;"
            f" it may be at most {format_length(max(most, 0), unit)}"
        )


def _mats_show(settings: Settings, unit: Unit) -> None:
    if not FACES[word(settings, "mats")]:
        return
    most = min(_shorter(settings) - SMALLEST_MAT, 2 * (number(settings, "hole-edge") - WEB))
    reveal = number(settings, "reveal")
    if reveal > most:
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves too little of the mat round the hole;"
            f" it may be at most {format_length(most, unit)}"
        )


def _hole_clears_the_corners(settings: Settings, unit: Unit) -> None:
    """Refuse a hole near a slanted edge, the line x + y = clip or that of the mat within it."""
    if number(settings, "clip") == 0:
        return
    centre, clip = _hole_centre(settings), number(settings, "clip")
    away = centre.x + centre.y - clip
    wanted = (number(settings, "hole") + 1) // 2 + WEB + _margin(settings)
    if away < 0 or away * away < 2 * wanted * wanted:
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
    """Return the slanted corners of a mat whose margin is as wide there as along the sides.

    The mat's slanted edge, clip - 2 margin + √2 margin on its own sides, lies `margin` within
    the tag's; √2 is rounded up, so never nearer.
    """
    diagonal = isqrt(2 * margin * margin - 1) + 1 if margin else 0
    return max(0, clip - 2 * margin + diagonal)


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number(settings, "width"), number(settings, "length")
    clip, reveal = number(settings, "clip"), number(settings, "reveal")
    hole = hole_at(settings, _hole_centre(settings))
    yield Piece("tag", "tag", _outline(width, length, clip), upright=True, holes=(hole,))
    faces = FACES[word(settings, "mats")]
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


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    return ribbon(settings, "tie of the tag")


GIFT_TAG = Design(
    name="gift-tag",
    title="a tag with slanted corners, a hole and a ribbon",
    settings=SETTINGS,
    roles=("tag", "mat"),
    finer_roles=("mat.front", "mat.back"),
    rules=_rules,
    parts=_parts,
    consumables=_consumables,
)
