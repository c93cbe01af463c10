"""Colours of paper and ink, and whether one can be read on the other."""

from __future__ import annotations

import re
from functools import lru_cache

__all__ = [
    "MIN_CONTRAST",
    "PLAIN",
    "contrast",
    "hex_colour",
]


PLAIN = "#ffffff"


@lru_cache(maxsize=1024)
def _luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb (WCAG 2.2, definition "relative luminance")."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, definition "contrast ratio")."""
    lighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


MIN_CONTRAST = 7.0
"""WCAG 2.2, success criterion 1.4.6: small text, enhanced."""


def hex_colour(colour: str | None) -> str:
    """Return #rrggbb from #rgb or #rrggbb; anything else is drawn as plain paper."""
    match = re.fullmatch(r"#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})", colour or "")
    if match is None:
        return PLAIN
    digits = match[1].lower()
    return "#" + (digits if len(digits) == 6 else "".join(d + d for d in digits))
