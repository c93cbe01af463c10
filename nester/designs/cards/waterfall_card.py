"""The waterfall card: a pull at its strip turns one flap after the other over.

The base strip, face up and its tail on top: the tail; one section of the pitch for each flap but
the last; an end section as high as a flap.  Each flap is glued by its upper edge onto its section
(the last one by its whole back onto the end section), so each shows below the one before it by
the pitch.  The tail is folded behind, over the upper edge of the belly band, which is glued to
the card at its two ends; the tail slides between band and card.  Pulled by the pitch, the strip
goes over the band by one section, and turns that section's flap up.  The flap's glued edge goes
behind the band with its section, so the band must go round flaps as well as the strip.

For n flaps of height h at pitch p, what shows is s = h + (n - 1) p high.  The tail lies behind
it and stands out below by the grip: the strip is 2 s + grip long, and has n folds.  The pull is
(n - 1) p long, and turned flaps stand h - p above the band.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_room
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
from nester.designs.parts.card_blanks import Opens, single_fold
from nester.designs.parts.mat import mat

__all__ = ["WATERFALL_CARD"]

LARGEST_FLAP: Length = cm(30)
WIDEST_CARD: Length = cm(150)
TALLEST_CARD: Length = cm(450)
MOST_FLAPS = 12
SMALLEST: Length = mm(5)
FACES = {"none": 0, "front": 1, "both": 2}


def _shown(settings: Settings) -> Length:
    """Return how high the flaps are together."""
    steps = number(settings, "flaps") - 1
    return number(settings, "flap-height") + steps * number(settings, "pitch")


def _above(settings: Settings) -> Length:
    """Return how far turned flaps stand above the band."""
    return number(settings, "flap-height") - number(settings, "pitch")


def _passage(settings: Settings) -> Length:
    return number(settings, "flap-width") + number(settings, "band-room")


def _behind_the_band(settings: Settings) -> int:
    """Return how many flaps lie on one another behind the band's upper edge at most."""
    high, pitch = number(settings, "flap-height"), number(settings, "pitch")
    return min(number(settings, "flaps") - 1, -(-high // pitch))


def _least_card_width(settings: Settings) -> Length:
    return _passage(settings) + 2 * number(settings, "band-end")


def _least_card_height(settings: Settings) -> Length:
    return _above(settings) + _shown(settings)


def _margins(unit: Unit) -> Length:
    return by_unit(unit, cm(2), inch("0.75"))


def _in_the_band(settings: Settings) -> tuple[Layer, ...]:
    """Return what takes up room in the band.

    Its own folds, half a sheet each; and on either side it rises by the strip and by the flaps
    that are turned behind it.
    """
    flaps, faces = _behind_the_band(settings), FACES[word(settings, "mats")]
    mats = (Layer("mat", 4 * flaps * faces),) if faces else ()
    return (Layer("band", 2), Layer("strip", 4), Layer("flap", 4 * flaps), *mats)


def _band_room(before: Settings, thickness: Thickness) -> Length:
    return smallest_room(_in_the_band(before), number(before, "play"), thickness)


def _usual_band_room(before: Settings, unit: Unit) -> Length:
    """Take a little, and for each flap and its mats what card and lighter paper need."""
    papers = _behind_the_band(before) * (2 + FACES[word(before, "mats")])
    return by_unit(unit, mm(2) + papers * mm("0.5"), inch("3/32") + papers * inch("1/64"))


SETTINGS = (
    Setting("flaps", Kind.COUNT, "how many flaps", 4, least=2, most=MOST_FLAPS),
    Setting(
        "flap-width",
        Kind.LENGTH,
        "width of a flap",
        lambda _, unit: by_unit(unit, cm(7), inch("2.75")),
        least=cm(2),
        most=LARGEST_FLAP,
    ),
    Setting(
        "flap-height",
        Kind.LENGTH,
        "height of a flap; its width unless given",
        lambda before, _: number(before, "flap-width"),
        least=cm(2),
        most=LARGEST_FLAP,
    ),
    Setting(
        "pitch",
        Kind.LENGTH,
        "how much of each flap shows below the one before",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(15), inch("0.5")), number(before, "flap-height") // 3), unit
        ),
        least=mm(5),
        most=LARGEST_FLAP,
    ),
    Setting(
        "strip",
        Kind.LENGTH,
        "width of the base strip; that of the flaps unless given",
        lambda before, _: number(before, "flap-width"),
        least=cm(1),
        most=LARGEST_FLAP,
    ),
    Setting(
        "grip",
        Kind.LENGTH,
        "how far the pull tab stands out below the flaps",
        lambda _, unit: by_unit(unit, cm(2), inch("0.75")),
        least=mm(5),
        most=cm(10),
    ),
    Setting(
        "tab",
        Kind.LENGTH,
        "width of the pull tab",
        lambda before, unit: tidied(number(before, "strip") // 2, unit),
        least=mm(5),
        most=LARGEST_FLAP,
    ),
    Setting(
        "band",
        Kind.LENGTH,
        "height of the belly band",
        lambda before, unit: tidied(
            min(by_unit(unit, mm(25), inch(1)), number(before, "flap-height") // 2), unit
        ),
        least=mm(5),
        most=LARGEST_FLAP,
    ),
    Setting(
        "band-end",
        Kind.LENGTH,
        "length of the band's two ends, which are glued to the card",
        lambda _, unit: by_unit(unit, mm(15), inch("0.5")),
        least=mm(5),
        most=cm(10),
    ),
    Setting("mats", Kind.CHOICE, "mats on the flaps", "none", choices=tuple(FACES)),
    Setting(
        "play",
        Kind.LENGTH,
        "the play the flaps should have in the band, both sides together",
        lambda _, unit: by_unit(unit, mm(1), inch("1/32")),
        least=0,
        most=cm(2),
    ),
    Setting(
        "band-room",
        Kind.LENGTH,
        "how much longer the band is than the flaps are wide, between its ends",
        _usual_band_room,
        least=mm("0.1"),
        most=cm(5),
        worked_out=_band_room,
    ),
    Setting(
        "card-width",
        Kind.LENGTH,
        "width of the folded card",
        lambda before, unit: tidied(_least_card_width(before) + _margins(unit), unit),
        least=cm(2),
        most=WIDEST_CARD,
    ),
    Setting(
        "card-height",
        Kind.LENGTH,
        "height of the folded card",
        lambda before, unit: tidied(
            _least_card_height(before) + number(before, "grip") + _margins(unit), unit
        ),
        least=cm(2),
        most=TALLEST_CARD,
    ),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than its flap; 0 for none",
        lambda before, unit: tidied(
            min(
                by_unit(unit, mm(4), inch("1/8")),
                min(number(before, "flap-width"), number(before, "flap-height")) // 4,
            ),
            unit,
        ),
        least=0,
        most=LARGEST_FLAP,
    ),
)


def _rules(settings: Settings, unit: Unit) -> None:
    high, wide = number(settings, "flap-height"), number(settings, "flap-width")
    strip = number(settings, "strip")
    _is_at_most(settings, "pitch", high - SMALLEST, "leaves a flap nothing that hangs free", unit)
    _is_at_most(settings, "strip", wide, "stands out beside the flaps", unit)
    _is_at_most(settings, "tab", strip, "is wider than the strip it is glued to", unit)
    _is_at_most(settings, "band", high, "stands out below the last flap when pulled", unit)
    if FACES[word(settings, "mats")]:
        most = min(wide, high) - SMALLEST
        _is_at_most(settings, "reveal", most, "leaves no mat on a flap", unit)
    _is_at_least(
        settings, "card-width", _least_card_width(settings), "for the flaps and the band", unit
    )
    _is_at_least(
        settings,
        "card-height",
        _least_card_height(settings),
        "for the flaps and those turned up above them",
        unit,
    )


def _is_at_most(settings: Settings, name: str, most: Length, fault: str, unit: Unit) -> None:
    length = number(settings, name)
    if length > most:
        raise DesignRefusal(
            f"{name} {format_length(length, unit)} {fault};"
            f" it may be at most {format_length(most, unit)}"
        )


def _is_at_least(settings: Settings, name: str, least: Length, what: str, unit: Unit) -> None:
    length = number(settings, name)
    if length < least:
        raise DesignRefusal(
            f"{name} {format_length(length, unit)} is too small {what};"
            f" it must be at least {format_length(least, unit)}"
        )


def _parts(settings: Settings) -> tuple[Piece, ...]:
    return tuple(_pieces(settings))


def _pieces(settings: Settings) -> Iterable[Piece]:
    wide, high = number(settings, "flap-width"), number(settings, "flap-height")
    flaps = number(settings, "flaps")
    yield _base_card(settings)
    yield _base_strip(settings)
    yield Piece.rectangle(
        "flap",
        "flap",
        wide,
        high,
        quantity=flaps,
        upright=True,
        note="Glue by its upper edge only; the last one by its whole back.",
    )
    yield _band(settings)
    yield _pull_tab(settings)
    faces = FACES[word(settings, "mats")]
    if faces:
        yield mat("mat flap", "mat", wide, high, number(settings, "reveal"), flaps * faces)


def _base_card(settings: Settings) -> Piece:
    """Make the card, with the places of the band's ends marked on its front."""
    width, height = number(settings, "card-width"), number(settings, "card-height")
    passage, end = _passage(settings), number(settings, "band-end")
    tail = min(number(settings, "grip"), height - _least_card_height(settings))
    top = (height - _least_card_height(settings) - tail) // 2 + _above(settings)
    # The band needs what it is longer to rise over what lies in it: its ends stand closer.
    apart = min(passage, number(settings, "flap-width") + number(settings, "play"))
    left = width + (width - apart) // 2 - end
    band = number(settings, "band")
    places = (_box(at, top, end, band) for at in (left, left + end + apart))
    card = single_fold(width, height, Opens.SIDE)
    return replace(card, glue=tuple(places), note="The band's ends are glued to the front.")


def _base_strip(settings: Settings) -> Piece:
    width, grip, pitch = (number(settings, name) for name in ("strip", "grip", "pitch"))
    tail = _shown(settings) + grip
    folds = [tail + place * pitch for place in range(number(settings, "flaps"))]
    sections = [_box(0, at, width, pitch) for at in folds[:-1]]
    return Piece.rectangle(
        "base strip",
        "strip",
        width,
        folds[-1] + number(settings, "flap-height"),
        grain=Grain.WIDTH,
        # The tail is folded behind; the others bend only as they pass over the band.
        scores=tuple(
            Score(Line(Point(0, at), Point(width, at)), Fold.MOUNTAIN, 180 if at == tail else 0)
            for at in folds
        ),
        glue=(
            *sections,
            _box(0, folds[-1], width, number(settings, "flap-height")),
        ),
        note="Score every fold; a flap goes on each section, the pull tab round the tail's end.",
    )


def _band(settings: Settings) -> Piece:
    high, end, passage = number(settings, "band"), number(settings, "band-end"), _passage(settings)
    return Piece.rectangle(
        "belly band",
        "band",
        passage + 2 * end,
        high,
        grain=Grain.HEIGHT,
        scores=tuple(
            Score(Line(Point(at, 0), Point(at, high)), Fold.VALLEY, 0)
            for at in (end, end + passage)
        ),
        note="Glue the backs of its ends to the card; the strip and its flaps slide behind it.",
    )


def _pull_tab(settings: Settings) -> Piece:
    width, grip = number(settings, "tab"), number(settings, "grip")
    return Piece.rectangle(
        "pull tab",
        "pull",
        width,
        2 * grip,
        grain=Grain.WIDTH,
        mounted=True,
        scores=(Score(Line(Point(0, grip), Point(width, grip)), Fold.MOUNTAIN, 180),),
        note="Fold it round the end of the strip's tail, in the middle, and glue its whole back.",
    )


def _box(x: Length, y: Length, width: Length, height: Length) -> tuple[Point, ...]:
    return (
        Point(x, y),
        Point(x + width, y),
        Point(x + width, y + height),
        Point(x, y + height),
    )


def _joints(settings: Settings) -> tuple[Joint, ...]:
    room, wished = number(settings, "band-room"), number(settings, "play")
    return (Joint("flaps in belly band, across", room, _in_the_band(settings), wished),)


WATERFALL_CARD = Design(
    name="waterfall-card",
    title="a card whose flaps turn over one after the other at a pull",
    settings=SETTINGS,
    roles=("card", "strip", "flap", "band", "pull", "mat"),
    finer_roles=(),
    rules=_rules,
    parts=_parts,
    joints=_joints,
)
