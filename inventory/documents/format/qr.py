"""QR codes (ISO/IEC 18004) that hold a label's id."""

from __future__ import annotations

import re
from functools import lru_cache

__all__ = ["qr_rows"]

_MASK = 2
_BORDER = 4
_DARK = re.compile(rb"\x01+")
"""What is dark of a row, in which each module is a byte."""


@lru_cache(maxsize=4096)
def qr_rows(text: str) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return a code's rows, each as runs of dark modules: where one starts and how long it is.

    A module is 1.  The empty border that readers need, four modules of it, is part of the rows.
    """
    import segno

    # Readers undo every mask alike; to try all eight for the best takes eight times as long.
    code = segno.make_qr(text, error="m", mask=_MASK)
    rows = [
        tuple((run.start() + _BORDER, len(run[0])) for run in _DARK.finditer(row))
        for row in code.matrix
    ]
    edge = ((),) * _BORDER
    return (*edge, *rows, *edge)
