"""How wide and high texts are in a picture, and how they break into lines."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from functools import lru_cache
from typing import NamedTuple

__all__ = [
    "LINE_HEIGHT",
    "Box",
    "baseline_shift",
    "break_lines",
    "crop_text",
    "printable_line",
    "terminal_width",
    "text_box",
    "text_width",
    "wrap_words",
]


LINE_HEIGHT = 1.2
"""From one line to the next, for a size of 1."""


class Box(NamedTuple):
    """A rectangle of the picture, in picture units."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: Box) -> bool:
        """Tell whether two boxes share more than an edge."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


_ASCENT, _DESCENT, _NO_DESCENT = 0.78, 0.25, 0.03
_NO_DESCENDERS = re.compile(r"[0-9A-IK-PR-Z]*")
_WIDTHS = {
    letter: width
    for letters, width in (
        (" !'(),-./:;I[\\]`fijlrt|·\N{NO-BREAK SPACE}", 0.42),
        ('"*?JL_cksvxyz–', 0.61),
        ("$0123456789abdeghnopqu{}ß", 0.64),
        ("ABCEFKPRSTVXYZ", 0.74),
        ("&DGHNOQU", 0.80),
        ("#+<=>M^w~×≈", 0.87),
        ("%@Wm—…½¼¾⅓⅔⅛⅜⅝⅞", 1.02),
    )
    for letter in letters
}
"""Widths of letters, for a size of 1: the wider of DejaVu Sans and Liberation Sans (which is as
wide as Arial), measured in the fonts and rounded up."""
_WIDE, _OTHER = 1.1, 1.25


def text_width(text: str, size: float) -> float:
    """Return at most how wide a text is in common sans-serif faces, in picture units."""
    return size * _unit_width(text)


@lru_cache(maxsize=16384)
def _unit_width(text: str) -> float:
    return sum(map(_letter_width, text))


@lru_cache(maxsize=4096)
def _letter_width(letter: str) -> float:
    base = unicodedata.normalize("NFD", letter)[0]
    if base in _WIDTHS:
        return _WIDTHS[base]
    if unicodedata.combining(base):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(base) in "WF" else _OTHER


def text_box(
    text: str, x: float, baseline: float, size: float, anchor: str = "middle", turned: bool = False
) -> Box:
    """Return the box of a text at an anchor, as `draw_layout` keeps it free of other texts.

    Parameters
    ----------
    x, baseline
        The place of the anchor.
    anchor
        ``middle`` or ``start``, as in SVG.
    turned
        Rotated about the anchor so that it reads upwards.
    """
    width = text_width(text, size)
    before = width / 2 if anchor == "middle" else 0.0
    up, down = size * _ASCENT, size * _descent(text)
    if turned:
        return Box(x - up, baseline + before - width, up + down, width)
    return Box(x - before, baseline - up, width, up + down)


def _descent(text: str) -> float:
    return _NO_DESCENT if _NO_DESCENDERS.fullmatch(text) else _DESCENT


def printable_line(text: str) -> str:
    """Return one line without control characters, which XML can't hold."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def wrap_words(text: str, width: float, size: float, most: int) -> list[str] | None:
    """Break a text at its spaces into at most `most` lines; None if it takes more."""
    lines = break_lines(text, width, size)
    whole = len(lines) <= most and sum(map(len, lines)) + len(lines) == len(text) + 1
    return lines if whole else None


def break_lines(text: str, width: float, size: float) -> list[str]:
    """Break a text at its spaces into lines; words that are too long are cropped."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(crop_text(word, width, size))
    return lines


def crop_text(text: str, width: float, size: float) -> str:
    """Return as much of a text as fits a width, with an ellipsis if letters are missing."""
    if text_width(text, size) <= width:
        return text
    lengths = range(1, len(text))
    kept = bisect_right(lengths, width, key=lambda n: text_width(text[:n] + "…", size))
    return text[:kept].rstrip() + "…"


def baseline_shift(text: str, size: float) -> float:
    """Return how far below the middle of its box the baseline of a text is."""
    return size * (_ASCENT - _descent(text)) / 2


def terminal_width(text: str) -> int:
    """Return how many columns of a terminal a text takes."""
    return sum(2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text)
