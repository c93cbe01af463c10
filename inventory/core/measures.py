"""Lengths that may also be nothing: gaps, margins, distances."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from inventory.core.text import shorten
from nester.core.errors import Refusal
from nester.core.lengths import parse_length

if TYPE_CHECKING:
    from nester.core.lengths import Length, Unit

__all__ = ["read_distance"]

_ZERO = re.compile(r"0+([.,]0*)?\s*(mm|cm|in|inch|inches|\")?", re.IGNORECASE)


def read_distance(text: str, unit: Unit, what: str) -> Length:
    """Read a length that may also be nothing: ``2mm``, ``1/16 in``, ``0``.

    Parameters
    ----------
    unit
        The unit of a bare number.
    what
        What it is, for the refusal: ``the gap``.

    Raises
    ------
    Refusal
        If it is less than nothing, or no length.
    """
    written = text.strip()
    if _ZERO.fullmatch(written):
        return 0
    if written.startswith(("-", "−")):
        raise Refusal(f"{what} can't be '{shorten(written)}'; it must be zero or more")
    try:
        return parse_length(written, unit)
    except Refusal as why:
        raise Refusal(f"{what}: {why}") from None
