"""Envelopes: folded from one blank, for a card or by themselves.

The blank is a rectangle of (width + 2 tabs) × (2 heights + ¾ flap), out of which this is cut,
from its top down: the flap; the front, with a glue tab at either side; the back.  The face is
the outside, so everything folds away from it, behind the front: first the tabs, then the back,
which is glued onto the faces of the tabs, last the flap.  The back ends a quarter of the flap
below the upper fold, so that three quarters of the flap are glued to it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, TypeAlias

from nester.core.lengths import Length, Unit, cm, format_size, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.core.sheet_sizes import SHEET_SIZES, Size
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import (
    Design,
    Setting,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    is_yes,
    length_setting,
    round_default,
    smallest_of,
    yes_no_setting,
)
from nester.designs.parts.tabs import right_tab

__all__ = [
    "CARD_FORMATS",
    "CUSTOM_FORMAT",
    "ENVELOPE",
    "ENVELOPE_FORMATS",
    "LARGEST_CARD",
    "Contents",
    "card_side",
    "check_card_format",
    "check_envelope",
    "envelope",
    "envelope_joints",
    "envelope_pieces",
    "envelope_settings",
    "format_setting",
]

CUSTOM_FORMAT = "own"
LARGEST_CARD: Length = cm(100)
LARGEST_SIDE: Length = cm(120)

ENVELOPE_FORMATS: dict[str, Size] = {
    "c7": Size(mm(114), mm(81)),
    "c6": Size(mm(162), mm(114)),
    "c5": Size(mm(229), mm(162)),
    "c4": Size(mm(324), mm(229)),
    "dl": Size(mm(220), mm(110)),
}
"""Envelopes with their flap on the long side (ISO 269, from memory)."""


class CardFormat(NamedTuple):
    """A card, upright, and the name of the envelope that holds it."""

    card: Size
    envelope: str


CARD_FORMATS: dict[str, CardFormat] = {
    "a7": CardFormat(SHEET_SIZES["A7"], "c7"),
    "a6": CardFormat(SHEET_SIZES["A6"], "c6"),
    "a5": CardFormat(SHEET_SIZES["A5"], "c5"),
    "a4": CardFormat(SHEET_SIZES["A4"], "c4"),
    "dl": CardFormat(Size(SHEET_SIZES["A4"].height // 3, SHEET_SIZES["A4"].width), "dl"),
}
"""Folded cards (ISO 216; A4 folded in three for DL) and their envelopes (ISO 269, from
memory)."""

Contents: TypeAlias = Callable[[Settings], tuple[Layer, ...]]
"""The layers of what goes into an envelope, from the settings of a design."""


def envelope(width: Length, height: Length, flap: Length, tab: Length) -> Piece:
    """Make an envelope of `width` × `height` when closed.

    Parameters
    ----------
    flap
        How far the flap reaches over the back; at most `height`.
    tab
        Width of the two glue tabs; at most half of `width`.
    """
    top, bottom, left, right = flap, flap + height, tab, tab + width
    end = bottom + _back(height, flap)
    flap_slant, tab_slant = min(flap, width // 4), min(tab, height // 4)
    back_slant = min(mm(1), width // 20)
    edge = right + tab
    on_right = right_tab(right, top, bottom, tab, tab_slant)
    on_left = tuple(Point(edge - p.x, p.y) for p in reversed(on_right))
    front = (on_right[0], on_right[3], on_left[0], on_left[3])
    return Piece(
        name="envelope",
        role="envelope",
        outline=(
            Point(left + flap_slant, 0),
            Point(right - flap_slant, 0),
            *on_right,
            Point(right - back_slant, end),
            Point(left + back_slant, end),
            *on_left,
        ),
        grain=Grain.WIDTH,
        scores=tuple(
            Score(Line(start, turn), Fold.MOUNTAIN, 180)
            for start, turn in zip(front, front[1:] + front[:1], strict=True)
        ),
        glue=(on_right, on_left),
        note="Fold the tabs first; glue the back onto them.",
    )


def _back(height: Length, flap: Length) -> Length:
    return height - flap // 4


# ---- the envelope of a card -------------------------------------------------------------------


def format_setting() -> Setting:
    """Return the setting by which a card takes its size from a format."""
    return choice_setting(
        "format",
        "a card format with its envelope; own: give width and height",
        CUSTOM_FORMAT,
        (CUSTOM_FORMAT, *CARD_FORMATS),
    )


def card_side(name: str, metric: Length, inches: Length) -> Setting:
    """Return a setting of a folded card's width or height; a format gives it its default."""

    def default(before: Settings, unit: Unit) -> Length:
        pair = CARD_FORMATS.get(choice_in(before, "format"))
        size: Length = getattr(pair.card, name) if pair else by_unit(unit, metric, inches)
        return size

    return length_setting(name, f"{name} of the folded card", default, cm(1), LARGEST_CARD)


def check_card_format(settings: Settings, unit: Unit) -> None:
    """Refuse a width or height that is not that of the format asked for."""
    name = choice_in(settings, "format")
    if name == CUSTOM_FORMAT:
        return
    wanted = CARD_FORMATS[name].card
    if sorted(_card(settings)) != sorted(wanted):
        raise DesignRefusal(
            f"a card of format {name} is {format_size(*wanted, unit)};"
            " leave width and height out, or use format=own"
        )


def _card(settings: Settings) -> Size:
    return Size(number_in(settings, "width"), number_in(settings, "height"))


def _envelope_side(pick: Callable[[Size], Length]) -> Callable[[Settings, Unit], Length]:
    """Return the default of a side: from the format's envelope, or a little more than the card."""

    def default(before: Settings, unit: Unit) -> Length:
        pair = CARD_FORMATS.get(choice_in(before, "format"))
        if pair:
            return pick(ENVELOPE_FORMATS[pair.envelope])
        return pick(_card(before)) + by_unit(unit, mm(8), inch("1/4"))

    return default


def envelope_settings(contents: Contents) -> tuple[Setting, ...]:
    """Return the settings of a card's envelope; they come after all others."""

    def fitting(pick: Callable[[Size], Length]) -> Callable[[Settings, Thickness], Length]:
        def side(before: Settings, thickness: Thickness) -> Length:
            layers, play = (
                _layers_in_envelope(before, contents),
                number_in(before, "envelope-play"),
            )
            return pick(_card(before)) + smallest_clearance(layers, play, thickness)

        return side

    return (
        yes_no_setting("envelope", "an envelope for the card"),
        length_setting(
            "envelope-play",
            "the play the card should have in its envelope, each way",
            round_default(mm(3), inch("1/8")),
            0,
            cm(5),
        ),
        length_setting(
            "envelope-width",
            "side of the envelope that has the flap: along the longer side of the card",
            _envelope_side(max),
            cm(1),
            LARGEST_SIDE,
            fitting(max),
        ),
        length_setting(
            "envelope-height",
            "other side of the envelope",
            _envelope_side(min),
            cm(1),
            LARGEST_SIDE,
            fitting(min),
        ),
        _flap_setting("envelope-"),
        _tab_setting("envelope-"),
    )


def _flap_setting(prefix: str) -> Setting:
    return length_setting(
        f"{prefix}flap",
        "how far the envelope's flap reaches over its back",
        lambda before, unit: 4 * floor_to_ruler(number_in(before, f"{prefix}height") // 10, unit),
        mm(2),
        LARGEST_SIDE,
    )


def _tab_setting(prefix: str) -> Setting:
    return length_setting(
        f"{prefix}tab",
        "width of the envelope's two glue tabs",
        capped_default(mm(15), inch("5/8"), smallest_of(f"{prefix}width"), 4),
        mm(2),
        LARGEST_SIDE,
    )


def check_envelope(settings: Settings, unit: Unit) -> None:
    """Refuse an envelope that can't hold its card or close."""
    if not is_yes(settings, "envelope"):
        return
    sides, card = _sides(settings, "envelope-"), _card(settings)
    if max(sides) <= max(card) or min(sides) <= min(card):
        raise DesignRefusal(
            f"envelope-width and envelope-height of {format_size(*sides, unit)} don't hold a card"
            f" of {format_size(*card, unit)}; both must be larger than the card's"
        )
    _check_folds(settings, "envelope-", unit)


def envelope_pieces(settings: Settings) -> tuple[Piece, ...]:
    """Return a card's envelope, if it has one."""
    return (_envelope_from(settings, "envelope-"),) if is_yes(settings, "envelope") else ()


def envelope_joints(settings: Settings, contents: Contents) -> tuple[Joint, ...]:
    """Return how a card goes into its envelope, if it has one."""
    if not is_yes(settings, "envelope"):
        return ()
    sides, card = _sides(settings, "envelope-"), _card(settings)
    layers, play = _layers_in_envelope(settings, contents), number_in(settings, "envelope-play")
    return (
        Joint("card in envelope, along", max(sides) - max(card), layers, play),
        Joint("card in envelope, across", min(sides) - min(card), layers, play),
    )


def _layers_in_envelope(settings: Settings, contents: Contents) -> tuple[Layer, ...]:
    """Return the layers that take up clearance across an envelope.

    Its own two folds count, half a sheet each, and the whole thickness of its contents: front and
    back go round them, and are together no longer than two widths.
    """
    return (Layer("envelope", 2), *contents(settings))


# ---- the rules, with or without a card --------------------------------------------------------


def _sides(settings: Settings, prefix: str) -> Size:
    return Size(number_in(settings, f"{prefix}width"), number_in(settings, f"{prefix}height"))


def _envelope_from(settings: Settings, prefix: str) -> Piece:
    flap, tab = number_in(settings, f"{prefix}flap"), number_in(settings, f"{prefix}tab")
    return envelope(*_sides(settings, prefix), flap, tab)


def _check_folds(settings: Settings, prefix: str, unit: Unit) -> None:
    sides = _sides(settings, prefix)
    flap_fault = "reaches below the envelope's lower fold"
    check_at_most(settings, f"{prefix}flap", sides.height, flap_fault, unit)
    tab_fault = "meets the other tab behind the front"
    check_at_most(settings, f"{prefix}tab", sides.width // 2, tab_fault, unit)


def _side_setting(name: str, metric: Length, inches: Length, help_text: str) -> Setting:
    def default(before: Settings, unit: Unit) -> Length:
        size = ENVELOPE_FORMATS.get(choice_in(before, "format"))
        side: Length = getattr(size, name) if size else by_unit(unit, metric, inches)
        return side

    return length_setting(name, help_text, default, cm(2), LARGEST_SIDE)


def _check_rules(settings: Settings, unit: Unit) -> None:
    name = choice_in(settings, "format")
    if name != CUSTOM_FORMAT and _sides(settings, "") != ENVELOPE_FORMATS[name]:
        raise DesignRefusal(
            f"an envelope of format {name} is {format_size(*ENVELOPE_FORMATS[name], unit)};"
            " leave width and height out, or use format=own"
        )
    _check_folds(settings, "", unit)


ENVELOPE = Design(
    name="envelope",
    title="an envelope by itself, in a format or in your own size",
    settings=(
        choice_setting(
            "format",
            "an envelope format; own: give width and height",
            CUSTOM_FORMAT,
            (CUSTOM_FORMAT, *ENVELOPE_FORMATS),
        ),
        _side_setting("width", mm(162), inch("5.75"), "side of the envelope that has the flap"),
        _side_setting("height", mm(114), inch("4.5"), "other side of the envelope"),
        _flap_setting(""),
        _tab_setting(""),
    ),
    roles=("envelope",),
    sub_roles=(),
    check_rules=_check_rules,
    make_pieces=lambda settings: (_envelope_from(settings, ""),),
)
