"""Sizes of envelopes and of the cards they hold.

The A series is ISO 216:2007; the trimmed sizes of envelopes are ISO 269:1985.  Both from memory.
"""

from __future__ import annotations

from math import isqrt

import pytest

from nester.core.lengths import Unit, mm
from nester.core.piece import Piece
from nester.core.sheet_sizes import SHEET_SIZES
from nester.designs import DESIGNS, read_settings
from nester.designs.cards.envelope import CARD_FORMATS, ENVELOPE_FORMATS


def pieces(design: str, **texts: str) -> dict[str, Piece]:
    chosen = DESIGNS[design]
    return {piece.name: piece for piece in chosen.pieces(read_settings(chosen, texts, Unit.MM))}


@pytest.mark.parametrize(
    ("name", "short", "long"),
    [
        ("c7", 81, 114),  # ISO 269 series, from memory
        ("c6", 114, 162),  # ISO 269, from memory
        ("c5", 162, 229),  # ISO 269, from memory
        ("c4", 229, 324),  # ISO 269, from memory
        ("dl", 110, 220),  # ISO 269, from memory
    ],
)
def test_envelopes_have_their_published_sizes(name: str, short: int, long: int) -> None:
    assert ENVELOPE_FORMATS[name] == (mm(long), mm(short))
    settings = read_settings(DESIGNS["envelope"], {"format": name}, Unit.MM)
    assert (settings["width"], settings["height"]) == (mm(long), mm(short))


def test_the_c_series_lies_half_way_between_a_and_b() -> None:
    # ISO 216 and 269, from memory: each side of C0 is the geometric mean of those of A0 and B0
    # (841 × 1189, 1000 × 1414), and each next size is halved across its long side.
    short, long = (
        (isqrt(4 * a * b) + 1) // 2  # rounded to the nearest mm
        for a, b in ((841, 1000), (1189, 1414))
    )
    assert (short, long) == (917, 1297)
    series = {}
    for number in range(8):
        series[f"c{number}"] = (mm(long), mm(short))
        short, long = long // 2, short
    for name in ("c4", "c5", "c6", "c7"):
        assert ENVELOPE_FORMATS[name] == series[name]


@pytest.mark.parametrize(
    ("card", "size", "envelope"),
    [
        ("a7", (74, 105), "c7"),
        ("a6", (105, 148), "c6"),  # ISO 216 and 269, from memory: C6 holds A6
        ("a5", (148, 210), "c5"),
        ("a4", (210, 297), "c4"),
        ("dl", (99, 210), "dl"),  # ISO 269, from memory: DL holds A4 folded in three
    ],
)
def test_a_card_of_a_format_goes_into_the_envelope_of_its_pair(
    card: str, size: tuple[int, int], envelope: str
) -> None:
    assert CARD_FORMATS[card].card == tuple(mm(side) for side in size)
    design = DESIGNS["folded-card"]
    settings = read_settings(design, {"format": card, "envelope": "yes"}, Unit.MM)
    assert (settings["width"], settings["height"]) == CARD_FORMATS[card].card
    assert (settings["envelope-width"], settings["envelope-height"]) == ENVELOPE_FORMATS[envelope]
    # A card of 0.3 mm in an envelope of 0.15 mm has play both ways.
    thick = {"card": mm("0.3"), "mat.front.1": mm("0.15"), "envelope": mm("0.15")}
    assert all(
        joint.play(thick.__getitem__) > joint.required_play for joint in design.joints(settings)
    )


def test_a4_in_three_is_99_by_210() -> None:
    # ISO 216, from memory: A4 is 210 × 297, so a third is 99 × 210.
    assert SHEET_SIZES["A4"] == (mm(210), mm(297))
    assert 3 * CARD_FORMATS["dl"].card.width == SHEET_SIZES["A4"].height


def test_a_c6_envelope_can_be_cut_from_a_sheet_of_a4() -> None:
    # Common practice, no source: a C6 envelope is folded from one sheet of A4.
    made = pieces("envelope", format="c6")["envelope"]
    assert made.width <= SHEET_SIZES["A4"].width
    assert made.height <= SHEET_SIZES["A4"].height
