"""The gatefold card: two gates that meet on its front, with its envelope."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Piece, Point
from nester.core.sheet_sizes import Size
from nester.designs.base.clearance import Layer
from nester.designs.base.design import Consumable, Design, Settings, by_unit, choice_in, number_in
from nester.designs.base.limits import check_at_most
from nester.designs.base.settings import capped_default, choice_setting, length_setting
from nester.designs.cards.envelope import (
    LARGEST_CARD,
    card_side,
    check_card_format,
    check_envelope,
    envelope_joints,
    envelope_pieces,
    envelope_settings,
    format_setting,
)
from nester.designs.parts.card_blanks import Opening, gate_fold
from nester.designs.parts.holes import (
    check_hole_edge_distance,
    hole_from_settings,
    hole_settings,
    ribbon,
)
from nester.designs.parts.mat import check_reveal, mat

__all__ = ["GATEFOLD_CARD"]

MIN_SIDE: Length = mm(5)
FACES = {"none": (), "gates": ("gates",), "inside": ("inside",), "both": ("gates", "inside")}


def _opens_sideways(settings: Settings) -> bool:
    return Opening(choice_in(settings, "opens")) is Opening.SIDE


def _shared_side(settings: Settings) -> Length:
    """Return the side of the folded card that the gates share."""
    return number_in(settings, "width" if _opens_sideways(settings) else "height")


def _gate_length(settings: Settings) -> Length:
    return number_in(settings, "height" if _opens_sideways(settings) else "width")


def _gate_width(settings: Settings) -> Length:
    return (_shared_side(settings) - number_in(settings, "gap")) // 2


def _smaller_side_of_a_gate(settings: Settings) -> Length:
    return min(_gate_width(settings), _gate_length(settings))


def _layers_of_card(settings: Settings) -> tuple[Layer, ...]:
    """Return the layers in the envelope: the back, the gates on it, and their mats."""
    mats = (Layer(f"mat.{face}", 2) for face in FACES[choice_in(settings, "mats")])
    return (Layer("card", 4), *mats)


SETTINGS = (
    format_setting(),
    card_side("width", cm(14), inch("5.5")),
    card_side("height", cm(14), inch("5.5")),
    choice_setting(
        "opens",
        "gates at the left and right (side), or at the top and bottom (up)",
        Opening.SIDE.value,
        tuple(way.value for way in Opening),
    ),
    length_setting(
        "gap",
        "gap between the gates, so that they don't push against each other",
        lambda before, unit: min(by_unit(unit, mm(1), inch("1/32")), _shared_side(before) // 8),
        0,
        LARGEST_CARD,
    ),
    choice_setting("closing", "how it is closed", "none", ("none", "ribbon")),
    *hole_settings(_smaller_side_of_a_gate, cm(40)),
    choice_setting("mats", "where mats go", "none", tuple(FACES)),
    length_setting(
        "reveal",
        "how much smaller a mat is than what it is glued to; 0 for none",
        capped_default(mm(5), inch("0.25"), _smaller_side_of_a_gate, 4),
        0,
        LARGEST_CARD,
    ),
    *envelope_settings(_layers_of_card),
)


def _check_rules(settings: Settings, unit: Unit) -> None:
    check_card_format(settings, unit)
    _check_gates(settings, unit)
    if choice_in(settings, "closing") == "ribbon":
        check_hole_edge_distance(settings, _gate_length(settings), _gate_width(settings), unit)
    _check_mats(settings, unit)
    check_envelope(settings, unit)


def _check_gates(settings: Settings, unit: Unit) -> None:
    if _gate_width(settings) < MIN_SIDE // 2:
        side = _shared_side(settings)
        fault = f"leaves no gates on a card of {format_length(side, unit)}"
        check_at_most(settings, "gap", side - MIN_SIDE, fault, unit)


def _check_mats(settings: Settings, unit: Unit) -> None:
    sides = [min(_face(settings, face)) for face in FACES[choice_in(settings, "mats")]]
    if sides:
        fault = f"leaves no mat on a face of {format_length(min(sides), unit)}"
        check_reveal(settings, min(sides), fault, unit)


def _face(settings: Settings, face: str) -> Size:
    """Return the size of a gate, or of the back seen from the inside."""
    if face == "inside":
        return Size(number_in(settings, "width"), number_in(settings, "height"))
    gate, along = _gate_width(settings), _gate_length(settings)
    return Size(gate, along) if _opens_sideways(settings) else Size(along, gate)


def _holes(settings: Settings) -> tuple[Hole, ...]:
    """Return a hole in each gate, where they meet: at the two ends of the blank."""
    if choice_in(settings, "closing") == "none":
        return ()
    near = number_in(settings, "hole-edge") + number_in(settings, "hole") // 2
    far = _shared_side(settings) + 2 * _gate_width(settings) - near
    middle = _gate_length(settings) // 2
    side = _opens_sideways(settings)
    places = (Point(at, middle) if side else Point(middle, at) for at in (near, far))
    return tuple(hole_from_settings(settings, place) for place in places)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number_in(settings, "width"), number_in(settings, "height")
    card = gate_fold(width, height, _gate_width(settings), Opening(choice_in(settings, "opens")))
    holes = _holes(settings)
    matted = bool(holes) and "gates" in FACES[choice_in(settings, "mats")]
    note = "Glue the gates' mats before you punch." if matted else ""
    yield replace(card, holes=holes, note=note)
    for face in FACES[choice_in(settings, "mats")]:
        count = 2 if face == "gates" else 1
        reveal = number_in(settings, "reveal")
        yield mat(f"mat {face}", f"mat.{face}", *_face(settings, face), reveal, count)
    yield from envelope_pieces(settings)


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    if choice_in(settings, "closing") == "none":
        return ()
    return ribbon(settings, "bow of the gates")


GATEFOLD_CARD = Design(
    name="gatefold-card",
    title="a card whose two gates meet on its front, with its envelope",
    settings=SETTINGS,
    roles=("card", "mat", "envelope"),
    sub_roles=("mat.gates", "mat.inside"),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=lambda settings: envelope_joints(settings, _layers_of_card),
    consumables=_consumables,
)
