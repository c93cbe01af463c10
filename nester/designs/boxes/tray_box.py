"""The tray box: a plain tray with its lid, for small gifts."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import (
    Design,
    SectionPart,
    Settings,
    by_unit,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.base.settings import (
    capped_default,
    count_setting,
    is_yes,
    length_setting,
    play_setting,
    round_default,
    same_as,
    smallest_of,
    yes_no_setting,
)
from nester.designs.parts.holes import ribbon
from nester.designs.parts.lid import check_lid_tab_width, lid, lid_inside
from nester.designs.parts.mat import check_reveal, mats
from nester.designs.parts.strips import check_lid_strips, lid_strips
from nester.designs.parts.tray import check_tray_mitre, check_tray_tab, tray
from nester.designs.parts.walled import WalledBase

__all__ = ["TRAY_BOX"]

LARGEST_SIDE: Length = cm(100)
MOST_LAYERS = 4
_LAYERS_UNDER_LID = (Layer("tray", 2), Layer("lid", 6))
"""Half sheets between two walls of the tray and two of the lid, each with a tab inside.

A wall that stands on a score line reaches half its thickness to either side of the line.
"""


_shorter_side = smallest_of("width", "length")
_shortest_side = smallest_of("width", "length", "depth")


def _layers(settings: Settings) -> int:
    return number_in(settings, "layers")


def _clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_clearance(_LAYERS_UNDER_LID, number_in(before, "play"), thickness)


def _reveal(before: Settings, unit: Unit) -> Length:
    default = min(
        by_unit(unit, mm(5), inch("0.25")), _shorter_side(before) // (4 * _layers(before))
    )
    if is_yes(before, "lid-strips"):
        default = min(default, number_in(before, "lid-wall") // 4)
    return floor_to_ruler(default, unit)


def _ribbon(before: Settings, unit: Unit) -> Length:
    """Return the length of both ways round the box, and half a metre for the bow."""
    round_box = 2 * (number_in(before, "width") + number_in(before, "length"))
    whole = round_box + 4 * number_in(before, "depth") + by_unit(unit, cm(50), inch(20))
    round_to = by_unit(unit, cm(1), inch("1/2"))
    return -(-whole // round_to) * round_to


SETTINGS = (
    length_setting(
        "width", "outer width of the tray", round_default(cm(10), inch(4)), cm(1), LARGEST_SIDE
    ),
    length_setting(
        "length",
        "outer length of the tray; default: its width",
        same_as("width"),
        cm(1),
        LARGEST_SIDE,
    ),
    length_setting(
        "depth",
        "height of the tray's walls",
        lambda before, unit: min(by_unit(unit, cm(4), inch("1.5")), _shorter_side(before)),
        mm(5),
        LARGEST_SIDE,
    ),
    length_setting(
        "tab",
        "width of the tray's glue tabs",
        capped_default(cm(1), inch("0.5"), _shortest_side, 3),
        mm(1),
        LARGEST_SIDE,
    ),
    length_setting(
        "mitre",
        "how much narrower a tray's glue tab is at each end of its free side",
        lambda before, _: min(number_in(before, "tab"), number_in(before, "depth") // 4),
        mm("0.5"),
        LARGEST_SIDE,
    ),
    yes_no_setting("lid", "a lid over the tray", "yes"),
    play_setting(
        "play wanted between tray and lid, both sides together",
        round_default(mm("0.5"), inch("1/64")),
    ),
    length_setting(
        "lid-clearance",
        "how much wider the lid is inside than the tray; fit: from the papers' thickness",
        round_default(mm(3), inch("1/8")),
        mm("0.05"),
        cm(5),
        _clearance,
    ),
    length_setting(
        "lid-wall",
        "height of the lid's walls",
        lambda before, unit: min(by_unit(unit, cm(2), inch("0.75")), _shortest_side(before)),
        mm(2),
        LARGEST_SIDE,
    ),
    length_setting(
        "lid-tab", "width of the lid's glue tabs; 0 keeps the corners whole", 0, 0, LARGEST_SIDE
    ),
    yes_no_setting("lid-strips", "strips of paper round the lid's walls"),
    yes_no_setting("lid-mat", "a mat on top of the lid"),
    yes_no_setting("base-mat", "a mat on the bottom of the tray"),
    count_setting("layers", "how many mats on top of one another", 1, 1, MOST_LAYERS),
    length_setting(
        "reveal",
        "how much smaller each mat is than what it is glued to; 0 for none",
        _reveal,
        0,
        LARGEST_SIDE,
    ),
    length_setting(
        "ribbon", "ribbon round the box, with its bow; 0 for none", _ribbon, 0, 10 * LARGEST_SIDE
    ),
)


def _check_rules(settings: Settings, unit: Unit) -> None:
    check_tray_tab(settings, _shortest_side(settings), unit)
    check_tray_mitre(settings, number_in(settings, "depth"), unit)
    if is_yes(settings, "lid"):
        _check_lid_tabs(settings, unit)
    else:
        for name in ("lid-mat", "lid-strips"):
            if is_yes(settings, name):
                raise DesignRefusal(f"{name} needs a lid; give lid=yes or {name}=no")
    _check_mats(settings, unit)


def _check_lid_tabs(settings: Settings, unit: Unit) -> None:
    wall, tab, depth = (number_in(settings, name) for name in ("lid-wall", "lid-tab", "depth"))
    inner = lid_inside(_shorter_side(settings), number_in(settings, "lid-clearance"))
    check_lid_tab_width(settings, "lid-tab", unit)
    fault = "is longer than the wall it folds from or is glued to"
    check_at_most(settings, "lid-tab", min(wall, inner), fault, unit)
    # Corners kept whole are as long as the wall is high.
    fault = (
        f"is too high: the tray is {format_length(depth, unit)} deep and the lid's glue tabs meet"
        f" beyond {format_length(inner, unit)}"
    )
    check_at_most(settings, "lid-wall", depth if tab else min(depth, inner), fault, unit)


def _check_mats(settings: Settings, unit: Unit) -> None:
    if is_yes(settings, "lid-mat") or is_yes(settings, "base-mat"):
        side = _shorter_side(settings)
        fault = f"leaves no mat on a face of {format_length(side, unit)}"
        check_reveal(settings, side, fault, unit, _layers(settings))
    if is_yes(settings, "lid-strips"):
        check_lid_strips(settings, number_in(settings, "lid-wall"), unit)


def _lid_shape(settings: Settings) -> WalledBase:
    clearance = number_in(settings, "lid-clearance")
    return WalledBase(
        lid_inside(number_in(settings, "width"), clearance),
        lid_inside(number_in(settings, "length"), clearance),
        number_in(settings, "lid-wall"),
    )


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number_in(settings, "width"), number_in(settings, "length")
    reveal, layers = number_in(settings, "reveal"), _layers(settings)
    depth, tab, mitre = (number_in(settings, name) for name in ("depth", "tab", "mitre"))
    yield tray(width, length, depth, tab, mitre)
    shape = _lid_shape(settings)
    if is_yes(settings, "lid"):
        clearance, lid_tab = number_in(settings, "lid-clearance"), number_in(settings, "lid-tab")
        yield lid("lid", "lid", width, length, clearance, shape.wall_height, lid_tab)
    if is_yes(settings, "lid-mat"):
        yield from mats("mat lid", "mat.lid", shape.width, shape.length, reveal, layers=layers)
    if is_yes(settings, "lid-strips"):
        yield from lid_strips("lid", "mat.lid.strip", shape, reveal)
    if is_yes(settings, "base-mat"):
        yield from mats("mat base", "mat.base", width, length, reveal, layers=layers)


def _joints(settings: Settings) -> tuple[Joint, ...]:
    joints = []
    if is_yes(settings, "base-mat"):
        reveal = number_in(settings, "reveal")
        walls = (Layer("tray", 6),)  # and a tab inside each wall
        joints.append(
            Joint("mat on the base, between the walls", reveal, walls, 0, setting="reveal")
        )
    if is_yes(settings, "lid"):
        square = number_in(settings, "width") == number_in(settings, "length")
        clearance, play = number_in(settings, "lid-clearance"), number_in(settings, "play")
        joints += [
            Joint(f"lid over tray, {way}", clearance, _LAYERS_UNDER_LID, play)
            for way in (("across",) if square else ("across", "along"))
        ]
    return tuple(joints)


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    tray_part = SectionPart(
        "tray", "tray", number_in(settings, "width"), number_in(settings, "depth")
    )
    if not is_yes(settings, "lid"):
        return (tray_part,)
    shape = _lid_shape(settings)
    return (tray_part, SectionPart("lid", "lid", shape.width, shape.wall_height, is_lid=True))


_UPPER_MAT_LAYERS = range(2, MOST_LAYERS + 1)

TRAY_BOX = Design(
    name="tray-box",
    title="a plain tray with its lid, for small gifts",
    settings=SETTINGS,
    roles=("tray", "lid", "mat"),
    sub_roles=(
        "mat.lid",
        *(f"mat.lid.{layer}" for layer in _UPPER_MAT_LAYERS),
        "mat.lid.strip",
        "mat.base",
        *(f"mat.base.{layer}" for layer in _UPPER_MAT_LAYERS),
    ),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
    consumables=lambda settings: ribbon(settings, "round the box, with its bow"),
    section=_section,
)
