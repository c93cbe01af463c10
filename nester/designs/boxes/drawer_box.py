"""The drawer box: a tray that slides in a sleeve open at both ends.

The sleeve's blank is, from the left: its bottom, a side, its top, the other side, and a glue tab
that is glued inside, onto the bottom.  It is as long as the drawer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.core.sheet_sizes import Size
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import (
    Consumable,
    Design,
    SectionPart,
    Settings,
    by_unit,
    choice_in,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    length_setting,
    play_setting,
    round_default,
    same_as,
    smallest_of,
)
from nester.designs.parts.holes import MIN_EDGE_DISTANCE, hole_from_settings, hole_settings, ribbon
from nester.designs.parts.mat import check_reveal, mat
from nester.designs.parts.tabs import right_tab
from nester.designs.parts.tray import check_tray_tab, tray

__all__ = ["DRAWER_BOX", "sleeve"]

LARGEST_SIDE: Length = cm(60)
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
    tab = right_tab(end, 0, length, seam, slant)
    return Piece(
        name="sleeve",
        role="sleeve",
        outline=(Point(0, 0), *tab, Point(0, length)),
        grain=Grain.HEIGHT,
        scores=tuple(Score(Line(Point(x, 0), Point(x, length)), Fold.MOUNTAIN) for x in folds),
        glue=(tab,),
        note="Glue the tab inside, on the panel at the other end.",
    )


_shorter_side = smallest_of("width", "length")
_shortest_side = smallest_of("width", "length", "depth")
_front_side = smallest_of("width", "depth")

_LAYERS_IN_SLEEVE = {
    # A wall reaches half a sheet beyond its fold.  Upwards there are the tray's bottom below its
    # folds, the sleeve's top and bottom, and the glue tab.
    "across": (Layer("tray", 2), Layer("sleeve", 2)),
    "upwards": (Layer("tray", 1), Layer("sleeve", 4)),
}


def _room(before: Settings, thickness: Thickness) -> Length:
    play = number_in(before, "play")
    return max(smallest_clearance(layers, play, thickness) for layers in _LAYERS_IN_SLEEVE.values())


SETTINGS = (
    length_setting(
        "width",
        "outer width of the drawer, across the way it slides",
        round_default(cm(8), inch(3)),
        cm(2),
        LARGEST_SIDE,
    ),
    length_setting(
        "length",
        "outer length of the drawer, the way it slides; default: its width",
        same_as("width"),
        cm(2),
        LARGEST_SIDE,
    ),
    length_setting(
        "depth",
        "height of the drawer's walls",
        lambda before, unit: min(by_unit(unit, cm(3), inch("1.25")), _shorter_side(before)),
        cm(1),
        LARGEST_SIDE,
    ),
    length_setting(
        "tab",
        "width of the drawer's glue tabs",
        capped_default(cm(1), inch("0.5"), _shortest_side, 3),
        mm(1),
        LARGEST_SIDE,
    ),
    play_setting("the play the drawer should have in its sleeve, both sides together"),
    length_setting(
        "room",
        "how much larger the sleeve is than the drawer, across and upwards",
        round_default(mm("2.5"), inch("3/32")),
        mm("0.05"),
        cm(5),
        _room,
    ),
    length_setting(
        "seam",
        "width of the sleeve's glue tab",
        capped_default(mm(15), inch("5/8"), smallest_of("width"), 2),
        mm(3),
        LARGEST_SIDE,
    ),
    choice_setting(
        "pull",
        "a hole in the drawer's front with a ribbon to pull",
        "ribbon",
        ("ribbon", "none"),
    ),
    *(
        setting
        for setting in hole_settings(_front_side, cm(15))
        if setting.name != "hole-edge"  # It is in the middle of the front.
    ),
    choice_setting(
        "mats", "mats on the sleeve's top, on the drawer's front, on both", "none", tuple(FACES)
    ),
    length_setting(
        "reveal",
        "how much smaller a mat is than its face; 0 for none",
        capped_default(mm(4), inch("1/8"), _shortest_side, 4),
        0,
        LARGEST_SIDE,
    ),
)


def _sleeve_size(settings: Settings) -> Size:
    """Return the sleeve's width and height between its folds."""
    clearance = number_in(settings, "room")
    return Size(number_in(settings, "width") + clearance, number_in(settings, "depth") + clearance)


def _face(settings: Settings, face: str) -> Size:
    if face == "top":
        return Size(_sleeve_size(settings).width, number_in(settings, "length"))
    return Size(number_in(settings, "width"), number_in(settings, "depth"))


def _check_rules(settings: Settings, unit: Unit) -> None:
    check_tray_tab(settings, _shortest_side(settings), unit)
    inside = _sleeve_size(settings).width
    check_at_most(settings, "seam", inside, "is wider than the sleeve it is glued into", unit)
    if choice_in(settings, "pull") == "ribbon":
        _check_hole(settings, unit)
    sides = [min(_face(settings, face)) for face in FACES[choice_in(settings, "mats")]]
    if sides:
        fault = f"leaves no mat on a face of {format_length(min(sides), unit)}"
        check_reveal(settings, min(sides), fault, unit)


def _check_hole(settings: Settings, unit: Unit) -> None:
    """Refuse a hole that tears out of the front, or hits the tab glued behind it."""
    hole, tab = number_in(settings, "hole"), number_in(settings, "tab")
    beside_the_tab = number_in(settings, "width") - 2 * max(tab, MIN_EDGE_DISTANCE)
    largest = min(beside_the_tab, number_in(settings, "depth") - 2 * MIN_EDGE_DISTANCE)
    if hole > largest:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} has no room in the drawer's front beside the tab"
            f" of {format_length(tab, unit)}; it may be at most"
            f" {format_length(max(largest, 0), unit)}, or use pull=none"
        )


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    yield _drawer(settings)
    size = _sleeve_size(settings)
    yield sleeve(
        size.width, size.height, number_in(settings, "length"), number_in(settings, "seam")
    )
    for face in FACES[choice_in(settings, "mats")]:
        yield mat(
            f"mat {face}", f"mat.{face}", *_face(settings, face), number_in(settings, "reveal")
        )


def _drawer(settings: Settings) -> Piece:
    """Make the tray; its front is the wall at the bottom of the page."""
    width, length, depth = (number_in(settings, name) for name in ("width", "length", "depth"))
    drawer = tray(width, length, depth, number_in(settings, "tab"))
    if choice_in(settings, "pull") == "none":
        return drawer
    middle = Point(depth + width // 2, depth + length + depth // 2)
    note = "Glue each tab inside the next wall; glue the front's mat before you punch."
    with_mat = "front" in FACES[choice_in(settings, "mats")]
    return replace(
        drawer,
        holes=(hole_from_settings(settings, middle),),
        note=note if with_mat else drawer.note,
    )


def _joints(settings: Settings) -> tuple[Joint, ...]:
    clearance, play = number_in(settings, "room"), number_in(settings, "play")
    return tuple(
        Joint(f"drawer in sleeve, {way}", clearance, layers, play, one_sided=way == "upwards")
        for way, layers in _LAYERS_IN_SLEEVE.items()
    )


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    if choice_in(settings, "pull") == "none":
        return ()
    return ribbon(settings, "pull of the drawer")


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    """Show the drawer in its sleeve, seen from the front."""
    return (
        SectionPart("sleeve", "sleeve", *_sleeve_size(settings)),
        SectionPart(
            "drawer",
            "tray",
            number_in(settings, "width"),
            number_in(settings, "depth"),
            nesting_depth=1,
        ),
    )


DRAWER_BOX = Design(
    name="drawer-box",
    title="a small drawer in its sleeve",
    settings=SETTINGS,
    roles=("tray", "sleeve", "mat"),
    sub_roles=("mat.top", "mat.front"),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
    consumables=_consumables,
    section=_section,
)
