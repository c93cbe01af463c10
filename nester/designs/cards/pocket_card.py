"""The pocket card: a card that is pulled out of a pocket glued to a wall or an album page.

The pocket is a front with a glue tab at its left, its right and below, which fold behind it and
are glued down by their faces.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import (
    Consumable,
    Design,
    Setting,
    SettingKind,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.holes import (
    check_hole_edge_distance,
    hole_from_settings,
    hole_settings,
    ribbon,
)
from nester.designs.parts.mat import mat

__all__ = ["POCKET_CARD", "pocket"]

LARGEST_SIDE: Length = cm(60)
SMALLEST_MAT: Length = mm(5)
FACES = {"none": 0, "one": 1, "both": 2}


def pocket(width: Length, height: Length, tab: Length) -> Piece:
    """Make a pocket of `width` × `height` with three glue tabs.

    They are mitred at 45°, so that they lie beside each other when folded behind.

    Parameters
    ----------
    tab
        Width of the tabs; at most a third of either side.
    """
    left, right, floor = tab, tab + width, height
    right_tab = (
        Point(right, 0),
        Point(right + tab, tab),
        Point(right + tab, height - tab),
        Point(right, floor),
    )
    left_tab = tuple(Point(right + tab - p.x, p.y) for p in reversed(right_tab))
    lower_tab = (
        Point(right, floor),
        Point(right - tab, floor + tab),
        Point(left + tab, floor + tab),
        Point(left, floor),
    )
    folds = (
        Line(Point(right, 0), Point(right, floor)),
        Line(Point(right, floor), Point(left, floor)),
        Line(Point(left, floor), Point(left, 0)),
    )
    return Piece(
        name="pocket",
        role="pocket",
        outline=(*right_tab, *lower_tab[1:], *left_tab[1:]),
        scores=tuple(Score(line, Fold.MOUNTAIN, 180) for line in folds),
        glue=(right_tab, lower_tab, left_tab),
        note="Fold the tabs behind and glue them down.",
    )


def _shorter_side(before: Settings) -> Length:
    return min(number_in(before, "width"), number_in(before, "height"))


def _layers_in_pocket(settings: Settings) -> tuple[Layer, ...]:
    """Return what takes up room: the pocket's two folds, and the card it must go round."""
    faces = FACES[choice_in(settings, "mats")]
    mats = (Layer("mat", 2 * faces),) if faces else ()
    return (Layer("pocket", 2), Layer("card", 2), *mats)


def _fitted_clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_clearance(_layers_in_pocket(before), number_in(before, "play"), thickness)


SETTINGS = (
    Setting(
        "width",
        SettingKind.LENGTH,
        "width of the card",
        lambda _, unit: by_unit(unit, cm(10), inch(4)),
        minimum=cm(2),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "height",
        SettingKind.LENGTH,
        "height of the card; its width unless given",
        lambda before, _: number_in(before, "width"),
        minimum=cm(2),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "mats",
        SettingKind.CHOICE,
        "mats on the card: none, on one side, on both",
        "none",
        choices=tuple(FACES),
    ),
    Setting(
        "reveal",
        SettingKind.LENGTH,
        "how much smaller a mat is than the card; 0 for none",
        lambda before, unit: floor_to_ruler(
            min(by_unit(unit, mm(5), inch("0.25")), _shorter_side(before) // 4), unit
        ),
        minimum=0,
        maximum=LARGEST_SIDE,
    ),
    *hole_settings(_shorter_side, cm(20)),
    Setting(
        "deep",
        SettingKind.LENGTH,
        "how deep the pocket is; what is left of the card shows above it",
        lambda before, unit: floor_to_ruler(number_in(before, "height") * 2 // 3, unit),
        minimum=cm(1),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "play",
        SettingKind.LENGTH,
        "the play the card should have in the pocket, both sides together",
        lambda _, unit: by_unit(unit, mm(1), inch("1/32")),
        minimum=0,
        maximum=cm(2),
    ),
    Setting(
        "room",
        SettingKind.LENGTH,
        "how much wider the pocket is than the card",
        lambda _, unit: by_unit(unit, mm(3), inch("1/8")),
        minimum=mm("0.05"),
        maximum=cm(5),
        fitted_length=_fitted_clearance,
    ),
    Setting(
        "tab",
        SettingKind.LENGTH,
        "width of the pocket's glue tabs",
        lambda before, unit: floor_to_ruler(
            min(
                by_unit(unit, cm(1), inch("0.5")),
                min(_shorter_side(before), number_in(before, "deep")) // 4,
            ),
            unit,
        ),
        minimum=mm(2),
        maximum=LARGEST_SIDE,
    ),
)


def _pocket_width(settings: Settings) -> Length:
    return number_in(settings, "width") + number_in(settings, "room")


def _check_rules(settings: Settings, unit: Unit) -> None:
    height = number_in(settings, "height")
    check_hole_edge_distance(settings, number_in(settings, "width"), height, unit)
    limits = [
        ("deep", height, "is more than the card is high"),
        (
            "tab",
            min(_pocket_width(settings), number_in(settings, "deep")) // 3,
            "leaves too little of the tabs beside their mitres",
        ),
    ]
    if FACES[choice_in(settings, "mats")]:
        limits.append(
            ("reveal", _shorter_side(settings) - SMALLEST_MAT, "leaves no mat on the card")
        )
    for name, most, fault in limits:
        length = number_in(settings, name)
        if length > most:
            raise DesignRefusal(
                f"{name} {format_length(length, unit)} {fault};"
                f" it may be at most {format_length(most, unit)}"
            )


def _make_pieces(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number_in(settings, "width"), number_in(settings, "height")
    centre = Point(width // 2, number_in(settings, "hole-edge") + number_in(settings, "hole") // 2)
    faces = FACES[choice_in(settings, "mats")]
    card = Piece.rectangle("card", "card", width, height, upright=True)
    note = "Glue mats before you punch." if faces else ""
    yield replace(card, holes=(hole_from_settings(settings, centre),), note=note)
    yield pocket(_pocket_width(settings), number_in(settings, "deep"), number_in(settings, "tab"))
    if faces:
        yield mat("mat", "mat", width, height, number_in(settings, "reveal"), faces)


def _joints(settings: Settings) -> tuple[Joint, ...]:
    room, wished = number_in(settings, "room"), number_in(settings, "play")
    return (Joint("card in pocket, across", room, _layers_in_pocket(settings), wished),)


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    return ribbon(settings, "loop of the card")


POCKET_CARD = Design(
    name="pocket-card",
    title="a card with a ribbon that is pulled out of a pocket",
    settings=SETTINGS,
    roles=("card", "pocket", "mat"),
    sub_roles=(),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
    consumables=_consumables,
)
