"""The folded card: folded once, with mats on its front and inside, and its envelope."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Unit, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Layer
from nester.designs.base.design import Design, Settings, choice_in, number_in
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    count_setting,
    length_setting,
    smallest_of,
)
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
from nester.designs.parts.mat import check_reveal, mat

__all__ = ["FOLDED_CARD"]

MOST_LAYERS = 4
FACES = {"none": (), "front": ("front",), "inside": ("inside",), "both": ("front", "inside")}


_shorter_side = smallest_of("width", "height")
_default_reveal = capped_default(mm(5), inch("0.25"), _shorter_side, 2 * MOST_LAYERS)


def _layers(settings: Settings, face: str) -> int:
    return number_in(settings, "layers") if face == "front" else 1


def _layers_of_card(settings: Settings) -> tuple[Layer, ...]:
    """Return the layers in the envelope: both halves of the card, and its mats."""
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
    choice_setting(
        "opens",
        "folded at the left like a book (side), or at the top like a tent (up)",
        Opening.SIDE.value,
        tuple(way.value for way in Opening),
    ),
    choice_setting("mats", "where mats go", "front", tuple(FACES)),
    count_setting("layers", "how many mats on top of one another on the front", 1, 1, MOST_LAYERS),
    length_setting(
        "reveal",
        "how much smaller each mat is than what it is glued to; 0 for none",
        _default_reveal,
        0,
        LARGEST_CARD,
    ),
    *envelope_settings(_layers_of_card),
)


def _check_rules(settings: Settings, unit: Unit) -> None:
    check_card_format(settings, unit)
    _check_mats(settings, unit)
    check_envelope(settings, unit)


def _check_mats(settings: Settings, unit: Unit) -> None:
    side = _shorter_side(settings)
    layers = max(
        (_layers(settings, face) for face in FACES[choice_in(settings, "mats")]), default=0
    )
    if layers:
        fault = f"leaves nothing of mat {layers} on a card of {format_length(side, unit)}"
        check_reveal(settings, side, fault, unit, layers)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number_in(settings, "width"), number_in(settings, "height")
    reveal = number_in(settings, "reveal")
    yield single_fold(width, height, Opening(choice_in(settings, "opens")))
    for face in FACES[choice_in(settings, "mats")]:
        for layer in range(_layers(settings, face)):
            reduction = layer * reveal
            yield mat(
                f"mat {face} {layer + 1}",
                f"mat.{face}.{layer + 1}",
                width - reduction,
                height - reduction,
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
