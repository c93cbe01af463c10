"""The folded card: folded once, with mats on its front and inside, and its envelope."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Layer
from nester.designs.base.design import (
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
from nester.designs.parts.card_blanks import Opening, single_fold
from nester.designs.parts.mat import mat

__all__ = ["FOLDED_CARD"]

SMALLEST_MAT: Length = mm(5)
MOST_LAYERS = 4
FACES = {"none": (), "front": ("front",), "inside": ("inside",), "both": ("front", "inside")}


def _reveal(before: Settings, unit: Unit) -> Length:
    shorter = min(number_in(before, "width"), number_in(before, "height"))
    return floor_to_ruler(
        min(by_unit(unit, mm(5), inch("0.25")), shorter // (2 * MOST_LAYERS)), unit
    )


def _layers(settings: Settings, face: str) -> int:
    return number_in(settings, "layers") if face == "front" else 1


def _layers_of_card(settings: Settings) -> tuple[Layer, ...]:
    """Return what lies in the envelope: both halves of the card, and its mats."""
    mats = (
        Layer(f"mat.{face}.{layer + 1}", 2)
        for face in FACES[choice_in(settings, "mats")]
        for layer in range(_layers(settings, face))
    )
    return (Layer("card", 4), *mats)


SETTINGS = (
    format_setting(),
    card_side("width", mm(105), inch("4.25")),
    card_side("height", mm(148), inch("5.5")),
    Setting(
        "opens",
        SettingKind.CHOICE,
        "folded at the left like a book (side), or at the top like a tent (up)",
        Opening.SIDE.value,
        choices=tuple(way.value for way in Opening),
    ),
    Setting("mats", SettingKind.CHOICE, "where mats go", "front", choices=tuple(FACES)),
    Setting(
        "layers",
        SettingKind.COUNT,
        "how many mats lie on one another on the front",
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
        maximum=LARGEST_CARD,
    ),
    *envelope_settings(_layers_of_card),
)


def _check_rules(settings: Settings, unit: Unit) -> None:
    check_card_format(settings, unit)
    _check_mats(settings, unit)
    check_envelope(settings, unit)


def _check_mats(settings: Settings, unit: Unit) -> None:
    reveal = number_in(settings, "reveal")
    side = min(number_in(settings, "width"), number_in(settings, "height"))
    deepest = max((_layers(settings, f) for f in FACES[choice_in(settings, "mats")]), default=0)
    if deepest and side - deepest * reveal < SMALLEST_MAT:
        most = format_length((side - SMALLEST_MAT) // deepest, unit)
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves nothing of mat {deepest} on a card of"
            f" {format_length(side, unit)}; it may be at most {most}"
        )


def _make_pieces(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number_in(settings, "width"), number_in(settings, "height")
    reveal = number_in(settings, "reveal")
    yield single_fold(width, height, Opening(choice_in(settings, "opens")))
    for face in FACES[choice_in(settings, "mats")]:
        for layer in range(_layers(settings, face)):
            cut = layer * reveal
            yield mat(
                f"mat {face} {layer + 1}",
                f"mat.{face}.{layer + 1}",
                width - cut,
                height - cut,
                reveal,
            )
    yield from envelope_pieces(settings)


FOLDED_CARD = Design(
    name="folded-card",
    title="a card folded once, with mats and its envelope",
    settings=SETTINGS,
    roles=("card", "mat", "envelope"),
    sub_roles=(
        "mat.front",
        "mat.inside",
        *(f"mat.front.{layer}" for layer in range(1, MOST_LAYERS + 1)),
        "mat.inside.1",
    ),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=lambda settings: envelope_joints(settings, _layers_of_card),
)
