"""The rules by which the next cut of a part is chosen."""

from __future__ import annotations

from itertools import accumulate
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

from nester.cutting.parts import (
    Box,
    CandidateCut,
    Part,
    candidate_cuts,
    is_piece,
    split_box,
    split_part,
)

__all__ = [
    "CutRule",
    "ExhaustiveSearch",
    "GreedyRule",
    "StagedRule",
]


_MAX_SEARCHED_PIECES = 8
"""Parts with more pieces are not searched."""


_MAX_STATES = 2_000
"""Parts looked at in all searches for one sheet; then the rule decides alone."""


class CutRule(Protocol):
    """Chooses cuts for parts that are not searched."""

    def choose(self, part: Part) -> list[CandidateCut]:
        """Return the cuts to make, in order; none if no edge-to-edge cut is left."""


class CutValues(Protocol):
    """What the search weighs against each other, all in one measure."""

    def kept_area(self, box: Box) -> int:
        """Return the area that is kept of an empty part; 0 if it is scrap."""

    def offcut_value(self, box: Box) -> int:
        """Return the value of an empty part."""

    def candidate_cost(self, box: Box, choice: CandidateCut) -> int:
        """Return the cost of a cut in a part."""

    def knife_value(self, part: Part) -> int:
        """Return the value of what is kept of a part that is cut with a knife, less the cuts."""


class _SearchLimitReached(Exception):
    """The search has visited as many parts as it may."""


class ExhaustiveSearch:
    """Searches the best tree of cuts for parts with few pieces, depth first.

    A part's pieces follow from its rectangle, so results are memorised by rectangle.
    """

    def __init__(self, values: CutValues) -> None:
        self.values = values
        self.memo: dict[Box, tuple[int, CandidateCut | None]] = {}

    def choose(self, part: Part) -> CandidateCut | None:
        """Return the best cut, or None: too many pieces, given up, or no cut parts it."""
        if len(part.pieces) > _MAX_SEARCHED_PIECES:
            return None
        try:
            return self._best(part)[1]
        except _SearchLimitReached:
            return None

    def _best(self, part: Part) -> tuple[int, CandidateCut | None]:
        if not part.pieces:
            return self.values.offcut_value(part.box), None
        if is_piece(part):
            return 0, None
        if part.box in self.memo:
            return self.memo[part.box]
        if len(self.memo) >= _MAX_STATES:
            raise _SearchLimitReached
        best, best_key = None, (0, 0, 0)
        for choice in candidate_cuts(part):
            first, second = split_part(part, choice)
            cost = self.values.candidate_cost(part.box, choice)
            value = self._best(first)[0] + self._best(second)[0] - cost
            key = (
                value,
                max(self._freed_area(first), self._freed_area(second)),
                -choice.alternatives,
            )
            if best is None or key > best_key:
                best, best_key = choice, key
        value = best_key[0] if best else self.values.knife_value(part)
        self.memo[part.box] = value, best
        return value, best

    def _freed_area(self, part: Part) -> int:
        return 0 if part.pieces else self.values.kept_area(part.box)


class StagedRule:
    """Makes all possible cuts in one direction, then all in the other direction, and so on."""

    def __init__(self, first_axis: int) -> None:
        self.first_axis = first_axis
        self.axis_of: dict[Box, int] = {}

    def choose(self, part: Part) -> list[CandidateCut]:
        """Return all cuts in the part's direction; in the other one, if there are none."""
        first = self.axis_of.get(part.box, self.first_axis)
        choices = list(candidate_cuts(part))
        for axis in (first, 1 - first):
            lines = [choice for choice in choices if choice.axis == axis]
            if lines:
                rest = part.box
                for choice in lines:
                    piece, rest = split_box(rest, axis, choice.at)
                    self.axis_of[piece] = self.axis_of[rest] = 1 - axis
                return lines
        return []


class GreedyRule:
    """Chooses cuts in O(n log n) by what they free, now or with the cut after them.

    The cut with the largest offcut in sight comes first; of equal ones, that which frees it at
    once.  Where no offcut is in sight, cuts that only trim scrap come first (`trims_first`), which
    saves cuts, or last, which leaves wider offcuts further down.  Of the others, with
    `prefer_strips` all cuts are made in the direction that takes the fewest, so that a grid is cut
    into a few long strips and a trimmer's stop is set once; else the cut that parts the pieces most
    evenly.
    """

    def __init__(
        self, kept_area: Callable[[Box], int], trims_first: bool, prefer_strips: bool
    ) -> None:
        self.kept_area = kept_area
        self.trims_first = trims_first
        self.prefer_strips = prefer_strips

    def choose(self, part: Part) -> list[CandidateCut]:
        """Return the cuts to make, in order; none if no edge-to-edge cut is left."""
        best: list[CandidateCut] = []
        best_key = (0, 0, False, 0)
        bounds: dict[int, tuple[list[Box], list[Box]]] = {}
        for choice in candidate_cuts(part):
            if choice.axis not in bounds:
                bounds[choice.axis] = _bounding_boxes(choice.pieces)
            key = self._key(part, choice, *bounds[choice.axis])
            if not best or key > best_key:
                best, best_key = [choice], key
            elif key == best_key and choice.axis == best[0].axis:
                best.append(choice)
        in_sight = best_key[0] > 0
        return best[:1] if in_sight or not self.prefer_strips else best

    def _key(
        self, part: Part, choice: CandidateCut, before: list[Box], after: list[Box]
    ) -> tuple[int, int, bool, int]:
        first, second = split_box(part.box, choice.axis, choice.at)
        count = len(choice.pieces)
        if choice.pieces_before == 0:
            freed, in_sight = self.kept_area(first), self._largest_strip(second, after[0])
        elif choice.pieces_before == count:
            freed, in_sight = self.kept_area(second), self._largest_strip(first, before[-1])
        else:
            freed = 0
            in_sight = max(
                self._largest_strip(first, before[choice.pieces_before - 1]),
                self._largest_strip(second, after[choice.pieces_before]),
            )
        trims_scrap = choice.pieces_before in (0, count) and not freed
        last = choice.alternatives if self.prefer_strips else abs(2 * choice.pieces_before - count)
        return max(freed, in_sight), freed, trims_scrap is self.trims_first, -last

    def _largest_strip(self, box: Box, pieces: Box) -> int:
        """Return the area of the largest empty strip along an edge of a part."""
        x, y, right, bottom = box
        return max(
            self.kept_area((x, y, pieces[0], bottom)),
            self.kept_area((x, y, right, pieces[1])),
            self.kept_area((pieces[2], y, right, bottom)),
            self.kept_area((x, pieces[3], right, bottom)),
        )


def _bounding_boxes(ordered: Sequence[Box]) -> tuple[list[Box], list[Box]]:
    """Return the bounding boxes of the first 1, 2, … pieces, and of those from 0, 1, … on."""
    return (
        list(accumulate(ordered, _common_box)),
        list(accumulate(reversed(ordered), _common_box))[::-1],
    )


def _common_box(first: Box, second: Box) -> Box:
    return (
        min(first[0], second[0]),
        min(first[1], second[1]),
        max(first[2], second[2]),
        max(first[3], second[3]),
    )
