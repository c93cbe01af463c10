"""The tray box: a plain tray with its lid, for small gifts."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import (
    Consumable,
    Design,
    Measure,
    SectionPart,
    Setting,
    SettingKind,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.lid import lid, lid_inside
from nester.designs.parts.mat import mats
from nester.designs.parts.strips import lid_strips
from nester.designs.parts.tray import tray
from nester.designs.parts.walled import WalledBase

__all__ = ["TRAY_BOX"]

LARGEST_SIDE: Length = cm(100)
SMALLEST_MAT: Length = mm(5)
SMALLEST_TAB: Length = mm(1)
MIN_STRIP_WIDTH: Length = mm(2)
MOST_LAYERS = 4
_LAYERS_UNDER_LID = (Layer("tray", 2), Layer("lid", 6))
"""Half sheets between two walls of the tray and two of the lid, in each of which lies a tab.

A wall that stands on a score line reaches half its thickness to either side of the line.
"""


def _shorter_side(before: Settings) -> Length:
    return min(number_in(before, "width"), number_in(before, "length"))


def _shortest_side(before: Settings) -> Length:
    return min(_shorter_side(before), number_in(before, "depth"))


def _is_chosen(settings: Settings, name: str) -> bool:
    return choice_in(settings, name) == "yes"


def _layers(settings: Settings) -> int:
    return number_in(settings, "layers")


def _clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_clearance(_LAYERS_UNDER_LID, number_in(before, "play"), thickness)


def _reveal(before: Settings, unit: Unit) -> Length:
    usual = min(by_unit(unit, mm(5), inch("0.25")), _shorter_side(before) // (4 * _layers(before)))
    if _is_chosen(before, "lid-strips"):
        usual = min(usual, number_in(before, "lid-wall") // 4)
    return floor_to_ruler(usual, unit)


def _ribbon(before: Settings, unit: Unit) -> Length:
    """Take both ways round the box, and half a metre for the bow."""
    round_box = 2 * (number_in(before, "width") + number_in(before, "length"))
    whole = round_box + 4 * number_in(before, "depth") + by_unit(unit, cm(50), inch(20))
    round_to = by_unit(unit, cm(1), inch("1/2"))
    return -(-whole // round_to) * round_to


SETTINGS = (
    Setting(
        "width",
        SettingKind.LENGTH,
        "outer width of the tray",
        lambda _, unit: by_unit(unit, cm(10), inch(4)),
        minimum=cm(1),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "length",
        SettingKind.LENGTH,
        "outer length of the tray; its width unless given",
        lambda before, _: number_in(before, "width"),
        minimum=cm(1),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "depth",
        SettingKind.LENGTH,
        "height of the tray's walls",
        lambda before, unit: min(by_unit(unit, cm(4), inch("1.5")), _shorter_side(before)),
        minimum=mm(5),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "tab",
        SettingKind.LENGTH,
        "width of the tray's glue tabs",
        lambda before, unit: floor_to_ruler(
            min(by_unit(unit, cm(1), inch("0.5")), _shortest_side(before) // 3), unit
        ),
        minimum=mm(1),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "mitre",
        SettingKind.LENGTH,
        "how much narrower a tray's glue tab is at each end of its free side",
        lambda before, _: min(number_in(before, "tab"), number_in(before, "depth") // 4),
        minimum=mm("0.5"),
        maximum=LARGEST_SIDE,
    ),
    Setting("lid", SettingKind.CHOICE, "a lid over the tray", "yes", choices=("yes", "no")),
    Setting(
        "play",
        SettingKind.LENGTH,
        "play wished for between tray and lid, both sides together",
        lambda _, unit: by_unit(unit, mm("0.5"), inch("1/64")),
        minimum=0,
        maximum=cm(2),
    ),
    Setting(
        "lid-clearance",
        SettingKind.LENGTH,
        "how much wider the lid is inside than the tray; fit: as the papers need",
        lambda _, unit: by_unit(unit, mm(3), inch("1/8")),
        minimum=mm("0.05"),
        maximum=cm(5),
        fitted_length=_clearance,
    ),
    Setting(
        "lid-wall",
        SettingKind.LENGTH,
        "height of the lid's walls",
        lambda before, unit: min(by_unit(unit, cm(2), inch("0.75")), _shortest_side(before)),
        minimum=mm(2),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "lid-tab",
        SettingKind.LENGTH,
        "width of the lid's glue tabs; 0 keeps the corners whole",
        0,
        minimum=0,
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "lid-strips",
        SettingKind.CHOICE,
        "facing strips round the lid's walls",
        "no",
        choices=("yes", "no"),
    ),
    Setting("lid-mat", SettingKind.CHOICE, "a mat on top of the lid", "no", choices=("yes", "no")),
    Setting(
        "base-mat",
        SettingKind.CHOICE,
        "a mat on the bottom of the tray",
        "no",
        choices=("yes", "no"),
    ),
    Setting(
        "layers",
        SettingKind.COUNT,
        "how many mats lie on one another",
        1,
        minimum=1,
        maximum=MOST_LAYERS,
    ),
    Setting(
        "reveal",
        SettingKind.LENGTH,
        "how much smaller each mat is than what it lies on; 0 for none",
        _reveal,
        minimum=0,
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "ribbon",
        SettingKind.LENGTH,
        "ribbon round the box, with its bow; 0 for none",
        _ribbon,
        minimum=0,
        maximum=10 * LARGEST_SIDE,
    ),
)


def _check_rules(settings: Settings, unit: Unit) -> None:
    _check_tray_tabs(settings, unit)
    if _is_chosen(settings, "lid"):
        _check_lid_tabs(settings, unit)
    else:
        for name in ("lid-mat", "lid-strips"):
            if _is_chosen(settings, name):
                raise DesignRefusal(f"{name} needs a lid; give lid=yes or {name}=no")
    _check_mats(settings, unit)


def _check_tray_tabs(settings: Settings, unit: Unit) -> None:
    tab, mitre, depth = (number_in(settings, name) for name in ("tab", "mitre", "depth"))
    if tab > _shortest_side(settings):
        raise DesignRefusal(
            f"tab {_format(tab, unit)} is longer than the wall it is glued to or folds from;"
            f" it may be at most {_format(_shortest_side(settings), unit)}"
        )
    if 2 * mitre >= depth:
        raise DesignRefusal(
            f"mitre {_format(mitre, unit)} leaves nothing of a tab on a wall of {_format(depth, unit)};"
            f" it must be under {_format(depth // 2, unit)}"
        )


def _check_lid_tabs(settings: Settings, unit: Unit) -> None:
    wall, tab, depth = (number_in(settings, name) for name in ("lid-wall", "lid-tab", "depth"))
    inner = lid_inside(_shorter_side(settings), number_in(settings, "lid-clearance"))
    if 0 < tab < SMALLEST_TAB:
        raise DesignRefusal(
            f"lid-tab {_format(tab, unit)} is too narrow to glue; it may be 0, which keeps the"
            f" corners whole, or at least {_format(SMALLEST_TAB, unit)}"
        )
    if tab > min(wall, inner):
        raise DesignRefusal(
            f"lid-tab {_format(tab, unit)} is longer than the wall it folds from or is glued to;"
            f" it may be at most {_format(min(wall, inner), unit)}"
        )
    most = depth if tab else min(depth, inner)
    if wall > most:
        raise DesignRefusal(
            f"lid-wall {_format(wall, unit)} is too high: the tray is {_format(depth, unit)} deep and"
            f" the lid's glue tabs meet beyond {_format(inner, unit)}; it may be at most"
            f" {_format(most, unit)}"
        )


def _check_mats(settings: Settings, unit: Unit) -> None:
    reveal, side, layers = number_in(settings, "reveal"), _shorter_side(settings), _layers(settings)
    mats_wanted = _is_chosen(settings, "lid-mat") or _is_chosen(settings, "base-mat")
    if mats_wanted and side - layers * reveal < SMALLEST_MAT:
        raise DesignRefusal(
            f"reveal {_format(reveal, unit)} leaves no mat on a face of {_format(side, unit)};"
            f" it may be at most {_format((side - SMALLEST_MAT) // layers, unit)}"
        )
    wall = number_in(settings, "lid-wall")
    if _is_chosen(settings, "lid-strips") and wall - reveal < MIN_STRIP_WIDTH:
        raise DesignRefusal(
            f"reveal {_format(reveal, unit)} leaves no strip on a lid's wall of {_format(wall, unit)};"
            f" it may be at most {_format(wall - MIN_STRIP_WIDTH, unit)}"
        )


def _format(length: Length, unit: Unit) -> str:
    return format_length(length, unit)


def _make_pieces(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _lid_shape(settings: Settings) -> WalledBase:
    clearance = number_in(settings, "lid-clearance")
    return WalledBase(
        lid_inside(number_in(settings, "width"), clearance),
        lid_inside(number_in(settings, "length"), clearance),
        number_in(settings, "lid-wall"),
    )


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number_in(settings, "width"), number_in(settings, "length")
    reveal, layers = number_in(settings, "reveal"), _layers(settings)
    depth, tab, mitre = (number_in(settings, name) for name in ("depth", "tab", "mitre"))
    yield tray(width, length, depth, tab, mitre)
    shape = _lid_shape(settings)
    if _is_chosen(settings, "lid"):
        clearance, lid_tab = number_in(settings, "lid-clearance"), number_in(settings, "lid-tab")
        yield lid("lid", "lid", width, length, clearance, shape.wall_height, lid_tab)
    if _is_chosen(settings, "lid-mat"):
        yield from mats("mat lid", "mat.lid", shape.width, shape.length, reveal, layers=layers)
    if _is_chosen(settings, "lid-strips"):
        yield from lid_strips("lid", "mat.lid.strip", shape, reveal)
    if _is_chosen(settings, "base-mat"):
        yield from mats("mat base", "mat.base", width, length, reveal, layers=layers)


def _joints(settings: Settings) -> tuple[Joint, ...]:
    if not _is_chosen(settings, "lid"):
        return ()
    square = number_in(settings, "width") == number_in(settings, "length")
    clearance, play = number_in(settings, "lid-clearance"), number_in(settings, "play")
    return tuple(
        Joint(f"lid over tray, {way}", clearance, _LAYERS_UNDER_LID, play)
        for way in (("across",) if square else ("across", "along"))
    )


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    ribbon = number_in(settings, "ribbon")
    if not ribbon:
        return ()
    return (Consumable("ribbon", "round the box, with its bow", Measure.LENGTH, ribbon),)


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    tray_part = SectionPart(
        "tray", "tray", number_in(settings, "width"), number_in(settings, "depth")
    )
    if not _is_chosen(settings, "lid"):
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
    consumables=_consumables,
    section=_section,
)
