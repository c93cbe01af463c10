"""The folded card: folded once, with mats on its front and inside, and its envelope."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, format_length, inch, mm
from nester.core.piece import Piece
from nester.designs.base.clearance import Layer
from nester.designs.base.design import (
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
from nester.designs.parts.card_blanks import Opens, single_fold
from nester.designs.parts.mat import mat

__all__ = ["FOLDED_CARD"]

SMALLEST_MAT: Length = mm(5)
MOST_LAYERS = 4
FACES = {"none": (), "front": ("front",), "inside": ("inside",), "both": ("front", "inside")}


def _reveal(before: Settings, unit: Unit) -> Length:
    shorter = min(number(before, "width"), number(before, "height"))
    return tidied(min(by_unit(unit, mm(5), inch("0.25")), shorter // (2 * MOST_LAYERS)), unit)


def _layers(settings: Settings, face: str) -> int:
    return number(settings, "layers") if face == "front" else 1


def _contents(settings: Settings) -> tuple[Layer, ...]:
    """Return what lies in the envelope: both halves of the card, and its mats."""
    mats = (
        Layer(f"mat.{face}.{layer + 1}", 2)
        for face in FACES[word(settings, "mats")]
        for layer in range(_layers(settings, face))
    )
    return (Layer("card", 4), *mats)


SETTINGS = (
    format_setting(),
    card_side("width", mm(105), inch("4.25")),
    card_side("height", mm(148), inch("5.5")),
    Setting(
        "opens",
        Kind.CHOICE,
        "folded at the left like a book (side), or at the top like a tent (up)",
        Opens.SIDE.value,
        choices=tuple(way.value for way in Opens),
    ),
    Setting("mats", Kind.CHOICE, "where mats go", "front", choices=tuple(FACES)),
    Setting(
        "layers",
        Kind.COUNT,
        "how many mats lie on one another on the front",
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
        most=LARGEST_CARD,
    ),
    *envelope_settings(_contents),
)


def _rules(settings: Settings, unit: Unit) -> None:
    card_is_of_its_format(settings, unit)
    _mats_show(settings, unit)
    envelope_closes(settings, unit)


def _mats_show(settings: Settings, unit: Unit) -> None:
    reveal = number(settings, "reveal")
    side = min(number(settings, "width"), number(settings, "height"))
    deepest = max((_layers(settings, f) for f in FACES[word(settings, "mats")]), default=0)
    if deepest and side - deepest * reveal < SMALLEST_MAT:
        most = format_length((side - SMALLEST_MAT) // deepest, unit)
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves nothing of mat {deepest} on a card of"
            f" {format_length(side, unit)}; it may be at most {most}"
        )


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    width, height = number(settings, "width"), number(settings, "height")
    reveal = number(settings, "reveal")
    yield single_fold(width, height, Opens(word(settings, "opens")))
    for face in FACES[word(settings, "mats")]:
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
    finer_roles=(
        "mat.front",
        "mat.inside",
        *(f"mat.front.{layer}" for layer in range(1, MOST_LAYERS + 1)),
        "mat.inside.1",
    ),
    rules=_rules,
    parts=_parts,
    joints=lambda settings: envelope_joints(settings, _contents),
)
