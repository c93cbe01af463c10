"""The faults of a cutting plan: kinds, sentences, and the error that lists them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


__all__ = [
    "Fault",
    "FaultKind",
    "Finding",
    "InvalidPlanError",
]


class FaultKind(StrEnum):
    """What can be wrong with a cutting plan."""

    NOT_EXACT = "not whole"
    """A length, a number of pieces or a price that isn't exact."""
    BAD_VOID = "bad void"
    """A void that reaches over its blank, overlaps another or leaves nothing of the piece."""
    DUPLICATE_NAME = "doubled name"
    UNKNOWN_STOCK = "unknown stock"
    UNKNOWN_DEMAND = "unknown want"
    BAD_COPIES = "bad copies"
    EMPTY_LAYOUT = "empty layout"
    OFF_SHEET = "off the sheet"
    OVERLAP = "overlap"
    WRONG_PAPER = "wrong paper"
    WRONG_SIZE = "wrong size"
    WRONG_TURN = "wrong turn"
    TOO_MANY_SHEETS = "too many sheets"
    WRONG_COUNT = "wrong count"
    WRONG_COST = "wrong cost"
    WRONG_OFFCUT_VALUE = "wrong kept"
    """The value of the offcuts is given wrong."""
    WRONG_BOUND = "wrong bound"
    MISSING_REASON = "no reason"
    """Something is unplaced, but without a reason or how many."""
    BAD_CUT = "bad cut"
    KNIFE_CUT = "knife cut"
    """A knife cut where only straight cuts are allowed."""
    CUT_THROUGH = "cut through"
    """A cut runs through a piece or an offcut."""
    NOT_CUT_FREE = "not free"
    """A piece or an offcut is still joined to others after the last cut."""
    SMALL_OFFCUT = "small offcut"
    UNUSABLE = "unusable"
    """A piece or an offcut lies on a margin or on a damaged area."""
    TOO_CLOSE = "too close"
    """Two pieces are nearer to each other than the gap."""
    WRONG_GRAIN = "wrong grain"
    WRONG_MEASURE = "wrong measure"
    """The printed measures of the cuts, followed as they are, don't give the pieces."""
    TOO_MANY_STAGES = "too many stages"
    """The direction of the cuts changes too often until a piece is free."""


@dataclass(frozen=True)
class Fault:
    """One item that is wrong: what, where, and a sentence for people."""

    kind: FaultKind
    where: str
    message: str


class InvalidPlanError(Exception):
    """An answer that must not be shown; `faults` lists what is wrong."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{fault.where}: {fault.message}" for fault in faults))


Finding = tuple[FaultKind, str]
