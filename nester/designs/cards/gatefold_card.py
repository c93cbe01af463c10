"""The gatefold card: two gates that meet on its front, with its envelope."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Hole, Piece, Point
from nester.core.sheet_sizes import Size
from nester.designs.base.clearance import Layer
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
from nester.designs.cards.envelope import (
    LARGEST_CARD,
    card_is_of_its_format,
    card_side,
    envelope_closes,
    envelope_joints,
    envelope_pieces,
    envelope_settings,
    format_setting,
)
from nester.designs.parts.card_blanks import Opens, gate_fold
from nester.designs.parts.holes import hole_at, hole_has_paper_round_it, hole_settings, ribbon
from nester.designs.parts.mat import mat

__all__ = ["GATEFOLD_CARD"]

SMALLEST: Length = mm(5)
FACES = {"none": (), "gates": ("gates",), "inside": ("inside",), "both": ("gates", "inside")}


def _to_the_side(settings: Settings) -> bool:
    return Opens(word(settings, "opens")) is Opens.SIDE


def _across(settings: Settings) -> Length:
    """Return the side of the folded card that the gates share."""
    return number(settings, "width" if _to_the_side(settings) else "height")


def _along(settings: Settings) -> Length:
    return number(settings, "height" if _to_the_side(settings) else "width")


def _gate(settings: Settings) -> Length:
    return (_across(settings) - number(settings, "gap")) // 2


def _smaller_side_of_a_gate(settings: Settings) -> Length:
    return min(_gate(settings), _along(settings))


def _contents(settings: Settings) -> tuple[Layer, ...]:
    """Return what lies in the envelope: the back and the gates upon it, and their mats."""
    mats = (Layer(f"mat.{face}", 2) for face in FACES[word(settings, "mats")])
    return (Layer("card", 4), *mats)


SETTINGS = (
    format_setting(),
    card_side("width", cm(14), inch("5.5")),
    card_side("height", cm(14), inch("5.5")),
    Setting(
        "opens",
        Kind.CHOICE,
        "gates at the left and right (side), or at the top and bottom (up)",
        Opens.SIDE.value,
        choices=tuple(way.value for way in Opens),
    ),
    Setting(
        "gap",
        Kind.LENGTH,
        "what stays open between the gates, so that they don't push at each other",
        lambda before, unit: min(by_unit(unit, mm(1), inch("1/32")), _across(before) // 8),
        least=0,
        most=LARGEST_CARD,
    ),
    Setting("closing", Kind.CHOICE, "how it is closed", "none", choices=("none", "ribbon")),
    *hole_settings(_smaller_side_of_a_gate, cm(40)),
    Setting("mats", Kind.CHOICE, "where mats go", "none", choices=tuple(FACES)),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than what it lies on; 0 for none",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(5), inch("0.25")), _smaller_side_of_a_gate(before) // 4), unit
        ),
        least=0,
        most=LARGEST_CARD,
    ),
    *envelope_settings(_contents),
)


def _rules(settings: Settings, unit: Unit) -> None:
    card_is_of_its_format(settings, unit)
    _gates_are_there(settings, unit)
    if word(settings, "closing") == "ribbon":
        hole_has_paper_round_it(settings, _along(settings), _gate(settings), unit)
    _mats_show(settings, unit)
    envelope_closes(settings, unit)


def _gates_are_there(settings: Settings, unit: Unit) -> None:
    if _gate(settings) < SMALLEST // 2:
        gap, most = number(settings, "gap"), _across(settings) - SMALLEST
        raise DesignRefusal(
            f"gap {format_length(gap, unit)} leaves no gates on a card of"
            f" {format_length(_across(settings), unit)}; it may be at most"
            f" {format_length(most, unit)}"
        )


def _mats_show(settings: Settings, unit: Unit) -> None:
    reveal = number(settings, "reveal")
    sizes = [min(_face(settings, face)) for face in FACES[word(settings, "mats")]]
    if sizes and min(sizes) - reveal < SMALLEST:
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves no mat on a face of"
            f" {format_length(min(sizes), unit)}; it may be at most"
            f" {format_length(max(0, min(sizes) - SMALLEST), unit)}"
        )


def _face(settings: Settings, face: str) -> Size:
    """Return the size of a gate, or of the back seen from the inside."""
    if face == "inside":
        return Size(number(settings, "width"), number(settings, "height"))
    gate, along = _gate(settings), _along(settings)
    return Size(gate, along) if _to_the_side(settings) else Size(along, gate)


def _holes(settings: Settings) -> tuple[Hole, ...]:
    """Return a hole in each gate, where they meet: at the two ends of the blank."""
    if word(settings, "closing") == "none":
        return ()
    near = number(settings, "hole-edge") + number(settings, "hole") // 2
    far = _across(settings) + 2 * _gate(settings) - near
    middle = _along(settings) // 2
    side = _to_the_side(settings)
    places = (Point(at, middle) if side else Point(middle, at) for at in (near, far))
    return tuple(hole_at(settings, place) for place in places)


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number(settings, "width"), number(settings, "height")
    card = gate_fold(width, height, _gate(settings), Opens(word(settings, "opens")))
    holes = _holes(settings)
    matted = bool(holes) and "gates" in FACES[word(settings, "mats")]
    note = "Glue the gates' mats before you punch." if matted else ""
    yield replace(card, holes=holes, note=note)
    for face in FACES[word(settings, "mats")]:
        count = 2 if face == "gates" else 1
        reveal = number(settings, "reveal")
        yield mat(f"mat {face}", f"mat.{face}", *_face(settings, face), reveal, count)
    yield from envelope_pieces(settings)


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    if word(settings, "closing") == "none":
        return ()
    return ribbon(settings, "bow of the gates")


GATEFOLD_CARD = Design(
    name="gatefold-card",
    title="a card whose two gates meet on its front, with its envelope",
    settings=SETTINGS,
    roles=("card", "mat", "envelope"),
    finer_roles=("mat.gates", "mat.inside"),
    rules=_rules,
    parts=_parts,
    joints=lambda settings: envelope_joints(settings, _contents),
    consumables=_consumables,
)
