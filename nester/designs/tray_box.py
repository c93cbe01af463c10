"""The tray box: a plain tray with its lid, for small gifts."""

from __future__ import annotations

from collections.abc import Iterable

from nester.designs.base import (
    Design,
    DesignRefusal,
    Kind,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.lid import lid, lid_inside
from nester.designs.mat import mat
from nester.designs.tray import tray
from nester.measure import Length, Unit, cm, format_length, inch, mm
from nester.pieces import Piece

__all__ = ["TRAY_BOX"]

LARGEST_SIDE: Length = cm(100)
SMALLEST_MAT: Length = mm(5)


def _shorter(before: Settings) -> Length:
    return min(number(before, "width"), number(before, "length"))


def _shortest(before: Settings) -> Length:
    return min(_shorter(before), number(before, "depth"))


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
    Setting("lid", Kind.CHOICE, "a lid over the tray", "yes", choices=("yes", "no")),
    Setting(
        "lid-clearance",
        Kind.LENGTH,
        "how much wider the lid is inside than the tray",
        lambda _, unit: by_unit(unit, mm(2), inch("1/16")),
        least=mm("0.05"),
        most=cm(5),
    ),
    Setting(
        "lid-wall",
        Kind.LENGTH,
        "height of the lid's walls",
        lambda before, unit: min(by_unit(unit, cm(2), inch("0.75")), _shortest(before)),
        least=mm(2),
        most=LARGEST_SIDE,
    ),
    Setting("lid-mat", Kind.CHOICE, "a mat on top of the lid", "no", choices=("yes", "no")),
    Setting(
        "base-mat", Kind.CHOICE, "a mat on the bottom of the tray", "no", choices=("yes", "no")
    ),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than its face; 0 for none",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(5), inch("0.25")), _shorter(before) // 4), unit
        ),
        least=0,
        most=LARGEST_SIDE,
    ),
)


def _rules(settings: Settings, unit: Unit) -> None:
    def say(length: Length) -> str:
        return format_length(length, unit)

    tab, depth, wall = (number(settings, name) for name in ("tab", "depth", "lid-wall"))
    if tab > _shortest(settings):
        raise DesignRefusal(
            f"tab {say(tab)} is longer than the wall it is glued to or folds from;"
            f" it may be at most {say(_shortest(settings))}"
        )
    lid_wanted = word(settings, "lid") == "yes"
    if lid_wanted:
        inner = lid_inside(_shorter(settings), number(settings, "lid-clearance"))
        if wall > min(depth, inner):
            raise DesignRefusal(
                f"lid-wall {say(wall)} is too high: the tray is {say(depth)} deep and the lid's"
                f" glue tabs meet beyond {say(inner)}; it may be at most {say(min(depth, inner))}"
            )
    if word(settings, "lid-mat") == "yes" and not lid_wanted:
        raise DesignRefusal("lid-mat needs a lid; give lid=yes or leave the mat out")
    mats = "yes" in (word(settings, "lid-mat"), word(settings, "base-mat"))
    reveal, side = number(settings, "reveal"), _shorter(settings)
    if mats and side - reveal < SMALLEST_MAT:
        raise DesignRefusal(
            f"reveal {say(reveal)} leaves no mat on a face of {say(side)};"
            f" it may be at most {say(side - SMALLEST_MAT)}"
        )


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, length = number(settings, "width"), number(settings, "length")
    clearance, reveal = number(settings, "lid-clearance"), number(settings, "reveal")
    yield tray(width, length, number(settings, "depth"), number(settings, "tab"))
    if word(settings, "lid") == "yes":
        yield lid("lid", "lid", width, length, clearance, number(settings, "lid-wall"))
    if word(settings, "lid-mat") == "yes":
        top = (lid_inside(width, clearance), lid_inside(length, clearance))
        yield mat("mat lid", "mat.lid", *top, reveal)
    if word(settings, "base-mat") == "yes":
        yield mat("mat base", "mat.base", width, length, reveal)


TRAY_BOX = Design(
    name="tray-box",
    title="a plain tray with its lid, for small gifts",
    settings=SETTINGS,
    roles=("tray", "lid", "mat"),
    finer_roles=("mat.lid", "mat.base"),
    rules=_rules,
    parts=_parts,
)
