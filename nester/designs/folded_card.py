"""The folded card: folded once, with mats on its front and inside."""

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
from nester.designs.card import Opens, single_fold
from nester.designs.mat import mat
from nester.measure import Length, Unit, cm, format_length, inch, mm
from nester.pieces import Piece

__all__ = ["FOLDED_CARD"]

LARGEST_SIDE: Length = cm(100)
SMALLEST_MAT: Length = mm(5)
MOST_LAYERS = 4
FACES = {"none": (), "front": ("front",), "inside": ("inside",), "both": ("front", "inside")}


def _reveal(before: Settings, unit: Unit) -> Length:
    shorter = min(number(before, "width"), number(before, "height"))
    return tidied(min(by_unit(unit, mm(5), inch("0.25")), shorter // (2 * MOST_LAYERS)), unit)


SETTINGS = (
    Setting(
        "width",
        Kind.LENGTH,
        "width of the folded card",
        lambda _, unit: by_unit(unit, mm(105), inch("4.25")),
        least=cm(1),
        most=LARGEST_SIDE,
    ),
    Setting(
        "height",
        Kind.LENGTH,
        "height of the folded card",
        lambda _, unit: by_unit(unit, mm(148), inch("5.5")),
        least=cm(1),
        most=LARGEST_SIDE,
    ),
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
        most=LARGEST_SIDE,
    ),
)


def _layers(settings: Settings, face: str) -> int:
    return number(settings, "layers") if face == "front" else 1


def _rules(settings: Settings, unit: Unit) -> None:
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


FOLDED_CARD = Design(
    name="folded-card",
    title="a card folded once, with mats",
    settings=SETTINGS,
    roles=("card", "mat"),
    finer_roles=(
        "mat.front",
        "mat.inside",
        *(f"mat.front.{layer}" for layer in range(1, MOST_LAYERS + 1)),
        "mat.inside.1",
    ),
    rules=_rules,
    parts=_parts,
)
