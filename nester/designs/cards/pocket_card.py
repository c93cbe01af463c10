"""The pocket card: a card that is pulled out of a pocket glued to a wall or an album page.

The pocket is a front with a glue tab at its left, its right and below, which fold behind it and
are glued down by their faces.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import Design, Settings, choice_in, floor_to_ruler, number_in
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
from nester.designs.parts.holes import (
    check_hole_edge_distance,
    hole_from_settings,
    hole_settings,
    ribbon,
)
from nester.designs.parts.mat import check_reveal, mat
from nester.designs.parts.tabs import right_tab

__all__ = ["POCKET_CARD", "pocket"]

LARGEST_SIDE: Length = cm(60)
FACES = {"none": 0, "one": 1, "both": 2}


def pocket(width: Length, height: Length, tab: Length) -> Piece:
    """Make a pocket of `width` × `height` with three glue tabs.

    They are mitred at 45°, so that they don't overlap when folded behind.

    Parameters
    ----------
    tab
        Width of the tabs; at most a third of either side.
    """
    left, right, bottom = tab, tab + width, height
    on_right = right_tab(right, 0, height, tab, tab)
    on_left = tuple(Point(right + tab - p.x, p.y) for p in reversed(on_right))
    lower_tab = (
        Point(right, bottom),
        Point(right - tab, bottom + tab),
        Point(left + tab, bottom + tab),
        Point(left, bottom),
    )
    folds = (
        Line(Point(right, 0), Point(right, bottom)),
        Line(Point(right, bottom), Point(left, bottom)),
        Line(Point(left, bottom), Point(left, 0)),
    )
    return Piece(
        name="pocket",
        role="pocket",
        outline=(*on_right, *lower_tab[1:], *on_left[1:]),
        scores=tuple(Score(line, Fold.MOUNTAIN, 180) for line in folds),
        glue=(on_right, lower_tab, on_left),
        note="Fold the tabs behind and glue them down.",
    )


_shorter_side = smallest_of("width", "height")


def _layers_in_pocket(settings: Settings) -> tuple[Layer, ...]:
    """Return the layers that take up clearance: two folds of the pocket, and what they go round."""
    faces = FACES[choice_in(settings, "mats")]
    mats = (Layer("mat", 2 * faces),) if faces else ()
    return (Layer("pocket", 2), Layer("card", 2), *mats)


def _fitted_clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_clearance(_layers_in_pocket(before), number_in(before, "play"), thickness)


SETTINGS = (
    length_setting(
        "width", "width of the card", round_default(cm(10), inch(4)), cm(2), LARGEST_SIDE
    ),
    length_setting(
        "height",
        "height of the card; default: its width",
        same_as("width"),
        cm(2),
        LARGEST_SIDE,
    ),
    choice_setting("mats", "mats on the card: none, on one side, on both", "none", tuple(FACES)),
    length_setting(
        "reveal",
        "how much smaller a mat is than the card; 0 for none",
        capped_default(mm(5), inch("0.25"), _shorter_side, 4),
        0,
        LARGEST_SIDE,
    ),
    *hole_settings(_shorter_side, cm(20)),
    length_setting(
        "deep",
        "depth of the pocket; the rest of the card shows above it",
        lambda before, unit: floor_to_ruler(number_in(before, "height") * 2 // 3, unit),
        cm(1),
        LARGEST_SIDE,
    ),
    play_setting("the play the card should have in the pocket, both sides together"),
    length_setting(
        "room",
        "how much wider the pocket is than the card",
        round_default(mm(3), inch("1/8")),
        mm("0.05"),
        cm(5),
        _fitted_clearance,
    ),
    length_setting(
        "tab",
        "width of the pocket's glue tabs",
        capped_default(cm(1), inch("0.5"), smallest_of("width", "height", "deep"), 4),
        mm(2),
        LARGEST_SIDE,
    ),
)


def _pocket_width(settings: Settings) -> Length:
    return number_in(settings, "width") + number_in(settings, "room")


def _check_rules(settings: Settings, unit: Unit) -> None:
    height = number_in(settings, "height")
    check_hole_edge_distance(settings, number_in(settings, "width"), height, unit)
    check_at_most(settings, "deep", height, "is more than the card is high", unit)
    widest_tab = min(_pocket_width(settings), number_in(settings, "deep")) // 3
    fault = "leaves too little of the tabs beside their mitres"
    check_at_most(settings, "tab", widest_tab, fault, unit)
    if FACES[choice_in(settings, "mats")]:
        check_reveal(settings, _shorter_side(settings), "leaves no mat on the card", unit)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
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
    clearance, play = number_in(settings, "room"), number_in(settings, "play")
    return (Joint("card in pocket, across", clearance, _layers_in_pocket(settings), play),)


POCKET_CARD = Design(
    name="pocket-card",
    title="a card with a ribbon that is pulled out of a pocket",
    settings=SETTINGS,
    roles=("card", "pocket", "mat"),
    sub_roles=(),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
    consumables=lambda settings: ribbon(settings, "loop of the card"),
)
