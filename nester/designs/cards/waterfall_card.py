"""The waterfall card: a pull at its strip turns one flap after the other over.

The base strip consists, face up from the top, of its tail, a section as high as the pitch for
each flap but the last, and an end section as high as a flap.  Each flap is glued by its upper
edge onto its section (the last one by its whole back onto the end section), so each shows below
the one before it by the pitch.  The tail is folded behind, over the upper edge of the belly band,
which is glued to the card at its two ends; the tail slides between band and card.  Pulled by the
pitch, the strip goes over the band by one section, and turns that section's flap up.  The flap's
glued edge goes behind the band with its section, so the band must go round flaps as well as the
strip.

For n flaps of height h at pitch p, what shows is s = h + (n - 1) p high.  The tail is behind it
and stands out below by the grip: the strip is 2 s + grip long, and has n folds.  The pull is
(n - 1) p long, and turned flaps stand h - p above the band.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.designs.base.clearance import (
    Joint,
    Layer,
    Thickness,
    round_up_to_cuttable,
    smallest_clearance,
)
from nester.designs.base.design import (
    Design,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.limits import check_at_least, check_at_most
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    count_setting,
    length_setting,
    play_setting,
    round_default,
    same_as,
    smallest_of,
)
from nester.designs.base.thickness import heaviest_usual
from nester.designs.parts.card_blanks import Opening, single_fold
from nester.designs.parts.mat import check_reveal, mat

__all__ = ["WATERFALL_CARD"]

LARGEST_FLAP: Length = cm(30)
WIDEST_CARD: Length = cm(150)
TALLEST_CARD: Length = cm(450)
MOST_FLAPS = 12
MIN_SIDE: Length = mm(5)
FACES = {"none": 0, "front": 1, "both": 2}


def _shown_height(settings: Settings) -> Length:
    """Return the height of all flaps together, as they hang."""
    steps = number_in(settings, "flaps") - 1
    return number_in(settings, "flap-height") + steps * number_in(settings, "pitch")


def _height_above_band(settings: Settings) -> Length:
    """Return how far turned flaps stand above the band."""
    return number_in(settings, "flap-height") - number_in(settings, "pitch")


def _band_opening(settings: Settings) -> Length:
    return number_in(settings, "flap-width") + number_in(settings, "band-room")


def _flaps_behind_band(settings: Settings) -> int:
    """Return the largest number of flaps that are turned behind the band's upper edge."""
    high, pitch = number_in(settings, "flap-height"), number_in(settings, "pitch")
    return min(number_in(settings, "flaps") - 1, -(-high // pitch))


def _least_card_width(settings: Settings) -> Length:
    return _band_opening(settings) + 2 * number_in(settings, "band-end")


def _least_card_height(settings: Settings) -> Length:
    return _height_above_band(settings) + _shown_height(settings)


def _margins(unit: Unit) -> Length:
    return by_unit(unit, cm(2), inch("0.75"))


def _layers_in_band(settings: Settings) -> tuple[Layer, ...]:
    """Return the layers that take up clearance in the band.

    Its own folds count, half a sheet each; and on either side it rises by the strip and by the
    flaps that are turned behind it.
    """
    flaps, faces = _flaps_behind_band(settings), FACES[choice_in(settings, "mats")]
    mats = (Layer("mat", 4 * flaps * faces),) if faces else ()
    return (Layer("band", 2), Layer("strip", 4), Layer("flap", 4 * flaps), *mats)


def _fitted_band_clearance(before: Settings, thickness: Thickness) -> Length:
    return smallest_clearance(_layers_in_band(before), number_in(before, "play"), thickness)


def _default_band_clearance(before: Settings, unit: Unit) -> Length:
    """Return 2 mm, and 0.5 mm more for each flap behind the band and for each of its mats.

    It is more where papers of any usual weight need it.
    """
    papers = _flaps_behind_band(before) * (2 + FACES[choice_in(before, "mats")])
    usual = by_unit(unit, mm(2) + papers * mm("0.5"), inch("3/32") + papers * inch("1/64"))
    needed = _fitted_band_clearance(before, heaviest_usual)
    return max(usual, round_up_to_cuttable(needed, unit))


SETTINGS = (
    count_setting("flaps", "how many flaps", 4, 2, MOST_FLAPS),
    length_setting(
        "flap-width", "width of a flap", round_default(cm(7), inch("2.75")), cm(2), LARGEST_FLAP
    ),
    length_setting(
        "flap-height",
        "height of a flap; default: its width",
        same_as("flap-width"),
        cm(2),
        LARGEST_FLAP,
    ),
    length_setting(
        "pitch",
        "how much of each flap shows below the one before",
        capped_default(mm(15), inch("0.5"), smallest_of("flap-height"), 3),
        mm(5),
        LARGEST_FLAP,
    ),
    length_setting(
        "strip",
        "width of the base strip; default: that of the flaps",
        same_as("flap-width"),
        cm(1),
        LARGEST_FLAP,
    ),
    length_setting(
        "grip",
        "how far the pull tab stands out below the flaps",
        round_default(cm(2), inch("0.75")),
        mm(5),
        cm(10),
    ),
    length_setting(
        "tab",
        "width of the pull tab",
        lambda before, unit: floor_to_ruler(number_in(before, "strip") // 2, unit),
        mm(5),
        LARGEST_FLAP,
    ),
    length_setting(
        "band",
        "height of the belly band",
        capped_default(mm(25), inch(1), smallest_of("flap-height"), 2),
        mm(5),
        LARGEST_FLAP,
    ),
    length_setting(
        "band-end",
        "length of the band's two ends, which are glued to the card",
        round_default(mm(15), inch("0.5")),
        mm(5),
        cm(10),
    ),
    choice_setting("mats", "mats on the flaps", "none", tuple(FACES)),
    play_setting("the play the flaps should have in the band, both sides together"),
    length_setting(
        "band-room",
        "how much longer the band is than the flaps are wide, between its ends",
        _default_band_clearance,
        mm("0.1"),
        cm(5),
        _fitted_band_clearance,
    ),
    length_setting(
        "card-width",
        "width of the folded card",
        lambda before, unit: floor_to_ruler(_least_card_width(before) + _margins(unit), unit),
        cm(2),
        WIDEST_CARD,
    ),
    length_setting(
        "card-height",
        "height of the folded card",
        lambda before, unit: floor_to_ruler(
            _least_card_height(before) + number_in(before, "grip") + _margins(unit), unit
        ),
        cm(2),
        TALLEST_CARD,
    ),
    length_setting(
        "reveal",
        "how much smaller a mat is than its flap; 0 for none",
        capped_default(mm(4), inch("1/8"), smallest_of("flap-width", "flap-height"), 4),
        0,
        LARGEST_FLAP,
    ),
)


_flap_side = smallest_of("flap-width", "flap-height")


def _check_rules(settings: Settings, unit: Unit) -> None:
    height, strip = number_in(settings, "flap-height"), number_in(settings, "strip")
    for name, limit, fault in (
        ("pitch", height - MIN_SIDE, "leaves a flap nothing that hangs free"),
        ("strip", number_in(settings, "flap-width"), "stands out beside the flaps"),
        ("tab", strip, "is wider than the strip it is glued to"),
        ("band", height, "stands out below the last flap when pulled"),
    ):
        check_at_most(settings, name, limit, fault, unit)
    if FACES[choice_in(settings, "mats")]:
        check_reveal(settings, _flap_side(settings), "leaves no mat on a flap", unit)
    fault = "is too small for the flaps and the band"
    check_at_least(settings, "card-width", _least_card_width(settings), fault, unit)
    fault = "is too small for the flaps and those turned up above them"
    check_at_least(settings, "card-height", _least_card_height(settings), fault, unit)


def _make_pieces(settings: Settings) -> Iterable[Piece]:
    wide, high = number_in(settings, "flap-width"), number_in(settings, "flap-height")
    flaps = number_in(settings, "flaps")
    yield _base_card(settings)
    yield _base_strip(settings)
    yield Piece.rectangle(
        "flap",
        "flap",
        wide,
        high,
        quantity=flaps,
        upright=True,
        note="Glue only its upper edge; glue the last flap by its whole back.",
    )
    yield _band(settings)
    yield _pull_tab(settings)
    faces = FACES[choice_in(settings, "mats")]
    if faces:
        yield mat("mat flap", "mat", wide, high, number_in(settings, "reveal"), flaps * faces)


def _base_card(settings: Settings) -> Piece:
    """Make the card, with the places of the band's ends marked on its front."""
    width, height = number_in(settings, "card-width"), number_in(settings, "card-height")
    opening, end = _band_opening(settings), number_in(settings, "band-end")
    tail = min(number_in(settings, "grip"), height - _least_card_height(settings))
    top = (height - _least_card_height(settings) - tail) // 2 + _height_above_band(settings)
    # The extra length of the band rises over the flaps in it, so its ends are closer together.
    apart = min(opening, number_in(settings, "flap-width") + number_in(settings, "play"))
    left = width + (width - apart) // 2 - end
    band = number_in(settings, "band")
    places = (_rectangle(at, top, end, band) for at in (left, left + end + apart))
    card = single_fold(width, height, Opening.SIDE)
    return replace(card, glue=tuple(places), note="The band's ends are glued to the front.")


def _base_strip(settings: Settings) -> Piece:
    width, grip, pitch = (number_in(settings, name) for name in ("strip", "grip", "pitch"))
    tail = _shown_height(settings) + grip
    folds = [tail + place * pitch for place in range(number_in(settings, "flaps"))]
    sections = [_rectangle(0, at, width, pitch) for at in folds[:-1]]
    return Piece.rectangle(
        "base strip",
        "strip",
        width,
        folds[-1] + number_in(settings, "flap-height"),
        grain=Grain.WIDTH,
        # The tail is folded behind; the others bend only as they pass over the band.
        scores=tuple(
            Score(Line(Point(0, at), Point(width, at)), Fold.MOUNTAIN, 180 if at == tail else 0)
            for at in folds
        ),
        glue=(
            *sections,
            _rectangle(0, folds[-1], width, number_in(settings, "flap-height")),
        ),
        note="Score every fold; a flap goes on each section, the pull tab round the tail's end.",
    )


def _band(settings: Settings) -> Piece:
    height, end, opening = (
        number_in(settings, "band"),
        number_in(settings, "band-end"),
        _band_opening(settings),
    )
    return Piece.rectangle(
        "belly band",
        "band",
        opening + 2 * end,
        height,
        grain=Grain.HEIGHT,
        scores=tuple(
            Score(Line(Point(at, 0), Point(at, height)), Fold.VALLEY, 0)
            for at in (end, end + opening)
        ),
        note="Glue the backs of its ends to the card; the strip and its flaps slide behind it.",
    )


def _pull_tab(settings: Settings) -> Piece:
    width, grip = number_in(settings, "tab"), number_in(settings, "grip")
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


def _rectangle(x: Length, y: Length, width: Length, height: Length) -> tuple[Point, ...]:
    return (
        Point(x, y),
        Point(x + width, y),
        Point(x + width, y + height),
        Point(x, y + height),
    )


def _joints(settings: Settings) -> tuple[Joint, ...]:
    clearance, play = number_in(settings, "band-room"), number_in(settings, "play")
    return (Joint("flaps in belly band, across", clearance, _layers_in_band(settings), play),)


WATERFALL_CARD = Design(
    name="waterfall-card",
    title="a card whose flaps turn over one after another when pulled",
    settings=SETTINGS,
    roles=("card", "strip", "flap", "band", "pull", "mat"),
    sub_roles=(),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    joints=_joints,
)
