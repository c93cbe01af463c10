"""Labels: what is written on sheets, on offcuts, and on piles of equal offcuts.

``S-1`` are sheets; ``K-1`` is an offcut, or a pile of equal ones, that was added by itself; and
``K4-3`` are the offcuts of the third kind that batch 4 leaves, a label known before they are cut.
"""

from __future__ import annotations

import re
from typing import NamedTuple

__all__ = ["BatchOffcut", "batch_offcut_label", "label_sort_key", "read_batch_offcut"]

_BATCH_OFFCUT = re.compile(r"K([1-9][0-9]{0,8})-([1-9][0-9]{0,8})")


class BatchOffcut(NamedTuple):
    """A kind of offcut that a batch leaves, by the number that its plan gives it."""

    batch: int
    kind: int


def batch_offcut_label(batch: int, kind: int) -> str:
    """Return the label of the offcuts of a kind that a batch leaves."""
    return f"K{batch}-{kind}"


def read_batch_offcut(label: str) -> BatchOffcut | None:
    """Return which offcuts of a batch a label names; None if it is another label."""
    match = _BATCH_OFFCUT.fullmatch(label)
    return None if match is None else BatchOffcut(*map(int, match.groups()))


def label_sort_key(label: str) -> tuple[int, int]:
    """Return a key that sorts labels of one letter by batch, those of none first, and number."""
    batch, _, number = label[1:].partition("-")
    return int(batch or 0), int(number)
