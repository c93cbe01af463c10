"""The drawer box: a tray that slides in a sleeve open at both ends.

The sleeve's blank is, from the left: its bottom, a side, its top, the other side, and a glue tab
that lies inside on the bottom.  It is as long as the drawer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.core.sheet_sizes import Size
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_room
from nester.designs.base.design import (
    Consumable,
    Design,
    Kind,
    SectionPart,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.holes import WEB, hole_at, hole_settings, ribbon
from nester.designs.parts.mat import mat
from nester.designs.parts.tray import tray

__all__ = ["DRAWER_BOX", "sleeve"]

LARGEST_SIDE: Length = cm(60)
SMALLEST_MAT: Length = mm(5)
FACES = {"none": (), "top": ("top",), "front": ("front",), "both": ("top", "front")}


def sleeve(width: Length, height: Length, length: Length, seam: Length) -> Piece:
    """Make a sleeve that is `width` × `height` between its folds, open at both ends.

    Parameters
    ----------
    seam
        Width of the glue tab; at most `width`.
    """
    folds = (width, width + height, 2 * width + height, 2 * (width + height))
    end, slant = folds[-1], min(seam, length // 4)
    tab = (
        Point(end, 0),
        Point(end + seam, slant),
        Point(end + seam, length - slant),
        Point(end, length),
    )
    return Piece(
        name="sleeve",
        role="sleeve",
        outline=(Point(0, 0), *tab, Point(0, length)),
        grain=Grain.HEIGHT,
        scores=tuple(Score(Line(Point(x, 0), Point(x, length)), Fold.MOUNTAIN) for x in folds),
        glue=(tab,),
        note="Glue the tab inside, on the panel at the other end.",
    )


def _shorter(before: Settings) -> Length:
    return min(number(before, "width"), number(before, "length"))


def _shortest(before: Settings) -> Length:
    return min(_shorter(before), number(before, "depth"))


def _front(before: Settings) -> Length:
    return min(number(before, "width"), number(before, "depth"))


_IN_THE_SLEEVE = {
    # A wall reaches half a sheet beyond its fold.  Upwards there are the tray's bottom below its
    # folds, the sleeve's top and bottom, and the glue tab.
    "across": (Layer("tray", 2), Layer("sleeve", 2)),
    "upwards": (Layer("tray", 1), Layer("sleeve", 4)),
}


def _room(before: Settings, thickness: Thickness) -> Length:
    wished = number(before, "play")
    return max(smallest_room(layers, wished, thickness) for layers in _IN_THE_SLEEVE.values())


SETTINGS = (
    Setting(
        "width",
        Kind.LENGTH,
        "outer width of the drawer, across the way it slides",
        lambda _, unit: by_unit(unit, cm(8), inch(3)),
        least=cm(2),
        most=LARGEST_SIDE,
    ),
    Setting(
        "length",
        Kind.LENGTH,
        "outer length of the drawer, the way it slides; its width unless given",
        lambda before, _: number(before, "width"),
        least=cm(2),
        most=LARGEST_SIDE,
    ),
    Setting(
        "depth",
        Kind.LENGTH,
        "height of the drawer's walls",
        lambda before, unit: min(by_unit(unit, cm(3), inch("1.25")), _shorter(before)),
        least=cm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "tab",
        Kind.LENGTH,
        "width of the drawer's glue tabs",
        lambda before, unit: tidied(
            min(by_unit(unit, cm(1), inch("0.5")), _shortest(before) // 3), unit
        ),
        least=mm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "play",
        Kind.LENGTH,
        "the play the drawer should have in its sleeve, both sides together",
        lambda _, unit: by_unit(unit, mm(1), inch("1/32")),
        least=0,
        most=cm(2),
    ),
    Setting(
        "room",
        Kind.LENGTH,
        "how much larger the sleeve is than the drawer, across and upwards",
        lambda _, unit: by_unit(unit, mm(2), inch("3/32")),
        least=mm("0.05"),
        most=cm(5),
        worked_out=_room,
    ),
    Setting(
        "seam",
        Kind.LENGTH,
        "width of the sleeve's glue tab",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(15), inch("5/8")), number(before, "width") // 2), unit
        ),
        least=mm(3),
        most=LARGEST_SIDE,
    ),
    Setting(
        "pull",
        Kind.CHOICE,
        "a hole in the drawer's front with a ribbon to pull at",
        "ribbon",
        choices=("ribbon", "none"),
    ),
    *(
        setting
        for setting in hole_settings(_front, cm(15))
        if setting.name != "hole-edge"  # It is in the middle of the front.
    ),
    Setting(
        "mats",
        Kind.CHOICE,
        "mats on the sleeve's top, on the drawer's front, on both",
        "none",
        choices=tuple(FACES),
    ),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than its face; 0 for none",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(4), inch("1/8")), _shortest(before) // 4), unit
        ),
        least=0,
        most=LARGEST_SIDE,
    ),
)


def _sleeve_size(settings: Settings) -> Size:
    """Return the sleeve's width and height between its folds."""
    room = number(settings, "room")
    return Size(number(settings, "width") + room, number(settings, "depth") + room)


def _face(settings: Settings, face: str) -> Size:
    if face == "top":
        return Size(_sleeve_size(settings).width, number(settings, "length"))
    return Size(number(settings, "width"), number(settings, "depth"))


def _rules(settings: Settings, unit: Unit) -> None:
    _tabs_hold(settings, unit)
    if word(settings, "pull") == "ribbon":
        _hole_has_room(settings, unit)
    reveal = number(settings, "reveal")
    sides = [min(_face(settings, face)) for face in FACES[word(settings, "mats")]]
    if sides and min(sides) - reveal < SMALLEST_MAT:
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves no mat on a face of"
            f" {format_length(min(sides), unit)}; it may be at most"
            f" {format_length(min(sides) - SMALLEST_MAT, unit)}"
        )


def _tabs_hold(settings: Settings, unit: Unit) -> None:
    tab, seam = number(settings, "tab"), number(settings, "seam")
    if tab > _shortest(settings):
        raise DesignRefusal(
            f"tab {format_length(tab, unit)} is longer than the wall it is glued to or folds"
            f" from; it may be at most {format_length(_shortest(settings), unit)}"
        )
    inside = _sleeve_size(settings).width
    if seam > inside:
        raise DesignRefusal(
            f"seam {format_length(seam, unit)} is wider than the sleeve it is glued into;"
            f" it may be at most {format_length(inside, unit)}"
        )


def _hole_has_room(settings: Settings, unit: Unit) -> None:
    """Refuse a hole that tears out of the front, or hits the tab glued behind it."""
    hole, tab = number(settings, "hole"), number(settings, "tab")
    beside_the_tab = number(settings, "width") - 2 * max(tab, WEB)
    most = min(beside_the_tab, number(settings, "depth") - 2 * WEB)
    if hole > most:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} has no room in the drawer's front beside the tab"
            f" of {format_length(tab, unit)}; it may be at most"
            f" {format_length(max(most, 0), unit)}, or use pull=none"
        )


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    yield _drawer(settings)
    size = _sleeve_size(settings)
    yield sleeve(size.width, size.height, number(settings, "length"), number(settings, "seam"))
    for face in FACES[word(settings, "mats")]:
        yield mat(f"mat {face}", f"mat.{face}", *_face(settings, face), number(settings, "reveal"))


def _drawer(settings: Settings) -> Piece:
    """Make the tray; its front is the wall at the bottom of the page."""
    width, length, depth = (number(settings, name) for name in ("width", "length", "depth"))
    drawer = tray(width, length, depth, number(settings, "tab"))
    if word(settings, "pull") == "none":
        return drawer
    middle = Point(depth + width // 2, depth + length + depth // 2)
    note = "Glue each tab inside the next wall; glue the front's mat before you punch."
    with_mat = "front" in FACES[word(settings, "mats")]
    return replace(
        drawer, holes=(hole_at(settings, middle),), note=note if with_mat else drawer.note
    )


def _joints(settings: Settings) -> tuple[Joint, ...]:
    room, wished = number(settings, "room"), number(settings, "play")
    return tuple(
        Joint(f"drawer in sleeve, {way}", room, layers, wished, one_sided=way == "upwards")
        for way, layers in _IN_THE_SLEEVE.items()
    )


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    if word(settings, "pull") == "none":
        return ()
    return ribbon(settings, "pull of the drawer")


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    """Show the drawer in its sleeve, seen from the front."""
    return (
        SectionPart("sleeve", "sleeve", *_sleeve_size(settings)),
        SectionPart(
            "drawer", "tray", number(settings, "width"), number(settings, "depth"), inside=1
        ),
    )


DRAWER_BOX = Design(
    name="drawer-box",
    title="a small drawer in its sleeve",
    settings=SETTINGS,
    roles=("tray", "sleeve", "mat"),
    finer_roles=("mat.top", "mat.front"),
    rules=_rules,
    parts=_parts,
    joints=_joints,
    consumables=_consumables,
    section=_section,
)
