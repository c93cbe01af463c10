"""QR codes (ISO/IEC 18004) that hold a label's id."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby

__all__ = ["qr_rows"]

_MASK = 2


@lru_cache(maxsize=4096)
def qr_rows(text: str) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Return a code's rows, each as runs of dark modules: where one starts and how long it is.

    A module is 1.  The empty border that readers need, four modules of it, is part of the rows.
    """
    import segno

    # Readers undo every mask alike; to try all eight for the best takes eight times as long.
    code = segno.make_qr(text, error="m", mask=_MASK)
    rows = []
    for row in code.matrix_iter(border=4):
        runs, at = [], 0
        for dark, modules in groupby(row):
            length = sum(1 for _ in modules)
            if dark:
                runs.append((at, length))
            at += length
        rows.append(tuple(runs))
    return tuple(rows)
