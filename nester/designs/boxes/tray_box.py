"""The tray box: a plain tray with its lid, for small gifts."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_room
from nester.designs.base.design import (
    Consumable,
    Design,
    Kind,
    Measure,
    SectionPart,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.lid import lid, lid_inside
from nester.designs.parts.mat import mats
from nester.designs.parts.strips import strips
from nester.designs.parts.tray import tray
from nester.designs.parts.walled import Walled

__all__ = ["TRAY_BOX"]

LARGEST_SIDE: Length = cm(100)
SMALLEST_MAT: Length = mm(5)
SMALLEST_TAB: Length = mm(1)
THINNEST_STRIP: Length = mm(2)
MOST_LAYERS = 4
_UNDER_LID = (Layer("tray", 2), Layer("lid", 6))
"""Half sheets between two walls of the tray and two of the lid, in each of which lies a tab.

A wall that stands on a score line reaches half its thickness to either side of the line.
"""


def _shorter(before: Settings) -> Length:
    return min(number(before, "width"), number(before, "length"))


def _shortest(before: Settings) -> Length:
    return min(_shorter(before), number(before, "depth"))


def _has(settings: Settings, name: str) -> bool:
    return word(settings, name) == "yes"


def _layers(settings: Settings) -> int:
    return number(settings, "layers")


def _clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_room(_UNDER_LID, number(before, "play"), thickness)


def _reveal(before: Settings, unit: Unit) -> Length:
    usual = min(by_unit(unit, mm(5), inch("0.25")), _shorter(before) // (4 * _layers(before)))
    if _has(before, "lid-strips"):
        usual = min(usual, number(before, "lid-wall") // 4)
    return tidied(usual, unit)


def _ribbon(before: Settings, unit: Unit) -> Length:
    """Take both ways round the box, and half a metre for the bow."""
    round_box = 2 * (number(before, "width") + number(before, "length"))
    whole = round_box + 4 * number(before, "depth") + by_unit(unit, cm(50), inch(20))
    round_to = by_unit(unit, cm(1), inch("1/2"))
    return -(-whole // round_to) * round_to


SETTINGS = (
    Setting(
        "width",
        Kind.LENGTH,
        "outer width of the tray",
        lambda _, unit: by_unit(unit, cm(10), inch(4)),
        least=cm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "length",
        Kind.LENGTH,
        "outer length of the tray; its width unless given",
        lambda before, _: number(before, "width"),
        least=cm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "depth",
        Kind.LENGTH,
        "height of the tray's walls",
        lambda before, unit: min(by_unit(unit, cm(4), inch("1.5")), _shorter(before)),
        least=mm(5),
        most=LARGEST_SIDE,
    ),
    Setting(
        "tab",
        Kind.LENGTH,
        "width of the tray's glue tabs",
        lambda before, unit: tidied(
            min(by_unit(unit, cm(1), inch("0.5")), _shortest(before) // 3), unit
        ),
        least=mm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "mitre",
        Kind.LENGTH,
        "how much narrower a tray's glue tab is at each end of its free side",
        lambda before, _: min(number(before, "tab"), number(before, "depth") // 4),
        least=mm("0.5"),
        most=LARGEST_SIDE,
    ),
    Setting("lid", Kind.CHOICE, "a lid over the tray", "yes", choices=("yes", "no")),
    Setting(
        "play",
        Kind.LENGTH,
        "play wished for between tray and lid, both sides together",
        lambda _, unit: by_unit(unit, mm("0.5"), inch("1/64")),
        least=0,
        most=cm(2),
    ),
    Setting(
        "lid-clearance",
        Kind.LENGTH,
        "how much wider the lid is inside than the tray; fit: as the papers need",
        lambda _, unit: by_unit(unit, mm(3), inch("1/8")),
        least=mm("0.05"),
        most=cm(5),
        worked_out=_clearance,
    ),
    Setting(
        "lid-wall",
        Kind.LENGTH,
        "height of the lid's walls",
        lambda before, unit: min(by_unit(unit, cm(2), inch("0.75")), _shortest(before)),
        least=mm(2),
        most=LARGEST_SIDE,
    ),
    Setting(
        "lid-tab",
        Kind.LENGTH,
        "width of the lid's glue tabs; 0 keeps the corners whole",
        0,
        least=0,
        most=LARGEST_SIDE,
    ),
    Setting(
        "lid-strips",
        Kind.CHOICE,
        "facing strips round the lid's walls",
        "no",
        choices=("yes", "no"),
    ),
    Setting("lid-mat", Kind.CHOICE, "a mat on top of the lid", "no", choices=("yes", "no")),
    Setting(
        "base-mat", Kind.CHOICE, "a mat on the bottom of the tray", "no", choices=("yes", "no")
    ),
    Setting(
        "layers",
        Kind.COUNT,
        "how many mats lie on one another",
        1,
        least=1,
        most=MOST_LAYERS,
    ),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller each mat is than what it lies on; 0 for none",
        _reveal,
        least=0,
        most=LARGEST_SIDE,
    ),
    Setting(
        "ribbon",
        Kind.LENGTH,
        "ribbon round the box, with its bow; 0 for none",
        _ribbon,
        least=0,
        most=10 * LARGEST_SIDE,
    ),
)


def _rules(settings: Settings, unit: Unit) -> None:
    _tray_is_glued(settings, unit)
    if _has(settings, "lid"):
        _lid_is_glued(settings, unit)
    else:
        for name in ("lid-mat", "lid-strips"):
            if _has(settings, name):
                raise DesignRefusal(f"{name} needs a lid; give lid=yes or {name}=no")
    _mats_show(settings, unit)


def _tray_is_glued(settings: Settings, unit: Unit) -> None:
    tab, mitre, depth = (number(settings, name) for name in ("tab", "mitre", "depth"))
    if tab > _shortest(settings):
        raise DesignRefusal(
            f"tab {_say(tab, unit)} is longer than the wall it is glued to or folds from;"
            f" it may be at most {_say(_shortest(settings), unit)}"
        )
    if 2 * mitre >= depth:
        raise DesignRefusal(
            f"mitre {_say(mitre, unit)} leaves nothing of a tab on a wall of {_say(depth, unit)};"
            f" it must be under {_say(depth // 2, unit)}"
        )


def _lid_is_glued(settings: Settings, unit: Unit) -> None:
    wall, tab, depth = (number(settings, name) for name in ("lid-wall", "lid-tab", "depth"))
    inner = lid_inside(_shorter(settings), number(settings, "lid-clearance"))
    if 0 < tab < SMALLEST_TAB:
        raise DesignRefusal(
            f"lid-tab {_say(tab, unit)} is too narrow to glue; it may be 0, which keeps the"
            f" corners whole, or at least {_say(SMALLEST_TAB, unit)}"
        )
    if tab > min(wall, inner):
        raise DesignRefusal(
            f"lid-tab {_say(tab, unit)} is longer than the wall it folds from or is glued to;"
            f" it may be at most {_say(min(wall, inner), unit)}"
        )
    most = depth if tab else min(depth, inner)
    if wall > most:
        raise DesignRefusal(
            f"lid-wall {_say(wall, unit)} is too high: the tray is {_say(depth, unit)} deep and"
            f" the lid's glue tabs meet beyond {_say(inner, unit)}; it may be at most"
            f" {_say(most, unit)}"
        )


def _mats_show(settings: Settings, unit: Unit) -> None:
    reveal, side, layers = number(settings, "reveal"), _shorter(settings), _layers(settings)
    mats_wanted = _has(settings, "lid-mat") or _has(settings, "base-mat")
    if mats_wanted and side - layers * reveal < SMALLEST_MAT:
        raise DesignRefusal(
            f"reveal {_say(reveal, unit)} leaves no mat on a face of {_say(side, unit)};"
            f" it may be at most {_say((side - SMALLEST_MAT) // layers, unit)}"
        )
    wall = number(settings, "lid-wall")
    if _has(settings, "lid-strips") and wall - reveal < THINNEST_STRIP:
        raise DesignRefusal(
            f"reveal {_say(reveal, unit)} leaves no strip on a lid's wall of {_say(wall, unit)};"
            f" it may be at most {_say(wall - THINNEST_STRIP, unit)}"
        )


def _say(length: Length, unit: Unit) -> str:
    return format_length(length, unit)


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _lid_shape(settings: Settings) -> Walled:
    clearance = number(settings, "lid-clearance")
    return Walled(
        lid_inside(number(settings, "width"), clearance),
        lid_inside(number(settings, "length"), clearance),
        number(settings, "lid-wall"),
    )


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number(settings, "width"), number(settings, "length")
    reveal, layers = number(settings, "reveal"), _layers(settings)
    depth, tab, mitre = (number(settings, name) for name in ("depth", "tab", "mitre"))
    yield tray(width, length, depth, tab, mitre)
    shape = _lid_shape(settings)
    if _has(settings, "lid"):
        clearance, lid_tab = number(settings, "lid-clearance"), number(settings, "lid-tab")
        yield lid("lid", "lid", width, length, clearance, shape.wall, lid_tab)
    if _has(settings, "lid-mat"):
        yield from mats("mat lid", "mat.lid", shape.width, shape.length, reveal, layers=layers)
    if _has(settings, "lid-strips"):
        yield from strips("lid", "mat.lid.strip", shape, reveal)
    if _has(settings, "base-mat"):
        yield from mats("mat base", "mat.base", width, length, reveal, layers=layers)


def _joints(settings: Settings) -> tuple[Joint, ...]:
    if not _has(settings, "lid"):
        return ()
    square = number(settings, "width") == number(settings, "length")
    clearance, play = number(settings, "lid-clearance"), number(settings, "play")
    return tuple(
        Joint(f"lid over tray, {way}", clearance, _UNDER_LID, play)
        for way in (("across",) if square else ("across", "along"))
    )


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    ribbon = number(settings, "ribbon")
    if not ribbon:
        return ()
    return (Consumable("ribbon", "round the box, with its bow", Measure.LENGTH, ribbon),)


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    tray_part = SectionPart("tray", "tray", number(settings, "width"), number(settings, "depth"))
    if not _has(settings, "lid"):
        return (tray_part,)
    shape = _lid_shape(settings)
    return (tray_part, SectionPart("lid", "lid", shape.width, shape.wall, lid=True))


_UPPER = range(2, MOST_LAYERS + 1)

TRAY_BOX = Design(
    name="tray-box",
    title="a plain tray with its lid, for small gifts",
    settings=SETTINGS,
    roles=("tray", "lid", "mat"),
    finer_roles=(
        "mat.lid",
        *(f"mat.lid.{layer}" for layer in _UPPER),
        "mat.lid.strip",
        "mat.base",
        *(f"mat.base.{layer}" for layer in _UPPER),
    ),
    rules=_rules,
    parts=_parts,
    joints=_joints,
    consumables=_consumables,
    section=_section,
)
