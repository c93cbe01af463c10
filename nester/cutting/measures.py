"""The measures of a layout as they are printed: rounded, but so that following them comes right.

Where a cut runs is told from the edge of a part, and that edge is where an earlier cut left it.  So
positions are rounded, each once for the whole sheet from its left and top edges, and what is told
are differences of rounded positions: nothing adds up along a row.  A system of difference
constraints (Cormen, Leiserson, Rivest and Stein, Introduction to Algorithms, chapter 24.4, from
memory) holds every piece to `MEASURE_TOLERANCE`.  Where the shop's unit has no such measures, as
64ths of an inch for a full row of metric pieces, the layout is told in millimetres.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from nester.core.lengths import Unit, inch, mm
from nester.core.problem import PrintedCut, Rect

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from nester.core.lengths import Length
    from nester.core.problem import Cut, Layout

__all__ = ["MEASURE_TOLERANCE", "MIN_SCRAP_WIDTH", "PrintedMeasures", "split_by"]

MEASURE_TOLERANCE: Length = mm("0.25")
"""No piece or offcut gets larger or smaller by more than this, and no edge of it lies farther from
its place, if the printed measures are followed (a pencil line; common practice, no source)."""

MIN_SCRAP_WIDTH: Length = MEASURE_TOLERANCE
"""Scrap thinner than this is not worth a cut, and no trimmer takes it off cleanly (common practice,
no source).  It comes of sheets in inches and pieces in centimetres.  The plan keeps its exact cuts;
the instructions say to leave it on where the piece beside it stays within the tolerance."""

_STEPS = {Unit.MM: mm("0.01"), Unit.CM: mm("0.01"), Unit.IN: inch("1/64")}


class PrintedMeasures:
    """Where a layout's cuts are told to run.

    Attributes
    ----------
    unit
        In which the measures are told: the one asked for, or millimetres.
    """

    def __init__(self, layout: Layout, unit: Unit) -> None:
        self.cuts = layout.cuts
        kept = [piece.rect for piece in layout.placed] + list(layout.offcuts)
        slivers = list(_slivers(layout))
        for told_in, step in ((unit, _STEPS[unit]), (Unit.MM, mm("0.1")), (Unit.MM, mm("0.01"))):
            for left_on in (slivers, []) if slivers else ([],):
                axes = [
                    _Axis(layout.cuts, kept, vertical, left_on, step) for vertical in (True, False)
                ]
                if all(axis.solve() for axis in axes):
                    self.unit = told_in
                    self._places = [axis.places() for axis in axes]
                    return
        # Parts smaller than any step: they are told as they are.
        self.unit = unit
        self._places = [{}, {}]

    def rect(self, rect: Rect) -> Rect:
        """Return where a rectangle of the layout lies when its cuts have been made as told."""
        across, down = self._places
        x, right = (across.get(at, at) for at in (rect.x, rect.right))
        y, bottom = (down.get(at, at) for at in (rect.y, rect.bottom))
        return Rect(x, y, right - x, bottom - y)

    def is_left_out(self, cut: Cut) -> bool:
        """Tell whether a cut is not made, as it would take off only a sliver."""
        part = self.rect(cut.part)
        low, high = (part.x, part.right) if cut.vertical else (part.y, part.bottom)
        return not cut.knife and self._place(cut.vertical, cut.at) in (low, high)

    def of(self, cut: Cut) -> PrintedCut:
        """Return the measures of a cut, from the left and top edges of its part."""
        part = self.rect(cut.part)
        low, along, far = (
            (part.x, part.y, cut.part.bottom) if cut.vertical else (part.y, part.x, cut.part.right)
        )
        return PrintedCut(
            self._place(cut.vertical, cut.at) - low,
            self._place(not cut.vertical, cut.start) - along,
            None if cut.end == far else self._place(not cut.vertical, cut.end) - along,
            self.is_left_out(cut),
        )

    def _place(self, vertical: bool, at: Length) -> Length:
        return self._places[0 if vertical else 1].get(at, at)


def split_by(cut: Cut) -> tuple[Rect, Rect]:
    """Return what lies left and right of a cut, or above and below."""
    part = cut.part
    if cut.vertical:
        return part._replace(width=cut.at - part.x), part._replace(
            x=cut.at, width=part.right - cut.at
        )
    return part._replace(height=cut.at - part.y), part._replace(
        y=cut.at, height=part.bottom - cut.at
    )


def _slivers(layout: Layout) -> Iterator[tuple[bool, Length, Length]]:
    """Yield the cuts that free only a sliver of scrap: their way, place, and the edge beside."""
    wanted = {piece.rect for piece in layout.placed} | {*layout.offcuts}
    wanted |= {cut.part for cut in layout.cuts}
    for cut in layout.cuts:
        if cut.knife:
            continue
        first, second = split_by(cut)
        for rect, edge in (
            (first, first.x if cut.vertical else first.y),
            (second, second.right if cut.vertical else second.bottom),
        ):
            if rect not in wanted and min(rect.width, rect.height) < MIN_SCRAP_WIDTH:
                yield cut.vertical, cut.at, edge
                break


class _Axis:
    """The positions along one side of a sheet, and what must hold between them."""

    def __init__(
        self,
        cuts: Iterable[Cut],
        kept: Iterable[Rect],
        vertical: bool,
        slivers: Iterable[tuple[bool, Length, Length]],
        step: Length,
    ) -> None:
        self.step = step
        self.leader: dict[Length, Length] = {}
        # The sheet's own edges are where they are.
        self.fixed: set[Length] = set()
        for number, cut in enumerate(cuts):
            low, high = _span(cut.part, vertical)
            if not number:
                self.fixed = {low, high}
            for at in (low, high, *((cut.at,) if cut.vertical is vertical else cut[3:5])):
                self.leader.setdefault(at, at)
        for upright, at, edge in slivers:
            if upright is vertical:
                self._join(at, edge)
        self.least: dict[Length, Length] = {}
        self.most: dict[Length, Length] = {}
        for at in self.leader:
            self._bound(at)
        self.beside: dict[Length, list[tuple[Length, Length, bool]]] = {}
        self.is_sound = True
        for rect in kept:
            self._keep(*_span(rect, vertical))
        self._add_cuts(
            list(cuts), list(kept), vertical, {at for up, at, _ in slivers if up is vertical}
        )

    def _find(self, at: Length) -> Length:
        while self.leader[at] != at:
            at = self.leader[at]
        return at

    def _join(self, at: Length, edge: Length) -> None:
        one, other = self._find(at), self._find(edge)
        if one in self.fixed:
            one, other = other, one
        if one != other and one not in self.fixed:
            self.leader[one] = other

    def _bound(self, at: Length) -> None:
        leader = self._find(at)
        if leader in self.fixed:
            self.least[leader] = self.most[leader] = leader
            return
        least = -(-(at - MEASURE_TOLERANCE) // self.step) * self.step
        most = (at + MEASURE_TOLERANCE) // self.step * self.step
        self.least[leader] = max(least, self.least.get(leader, least))
        self.most[leader] = min(most, self.most.get(leader, most))

    def _keep(self, low: Length, high: Length) -> None:
        """Hold the distance of two positions to the tolerance."""
        if low in self.leader and high in self.leader:
            self._at_least(low, high, high - low - MEASURE_TOLERANCE)
            self._at_least(high, low, low - high - MEASURE_TOLERANCE)

    def _at_least(self, low: Length, high: Length, distance: Length) -> None:
        """Ask that one position lies at least so far behind another."""
        one, other = self._find(low), self._find(high)
        if one == other:
            self.is_sound &= distance <= 0
            return
        self.beside.setdefault(one, []).append((other, distance, True))
        self.beside.setdefault(other, []).append((one, distance, False))

    def _add_cuts(
        self, cuts: list[Cut], kept: list[Rect], vertical: bool, slivers: set[Length]
    ) -> None:
        lines: dict[Rect, set[Length]] = {}
        for cut in cuts:
            low, high = _span(cut.part, vertical)
            if cut.knife:
                own = {cut.at} if cut.vertical is vertical else {cut.start, cut.end}
                lines.setdefault(cut.part, {low, high}).update(own)
                for rect in kept:
                    near, far = _span(rect, vertical)
                    if rect.overlaps(_line_box(cut)):
                        for at in own:
                            if near < at < far:
                                self._keep(near, at)
                                self._keep(at, far)
            if cut.vertical is not vertical:
                continue
            if not cut.knife and cut.at in slivers and self._find(cut.at) in (
                self._find(low), self._find(high)
            ):  # fmt: skip
                continue
            self._at_least(low, cut.at, self.step)
            self._at_least(cut.at, high, self.step)
        for places in lines.values():
            for low, high in pairwise(sorted(places)):
                self._at_least(low, high, 0)

    def solve(self) -> bool:
        """Find positions, each as near to its true place as those before it allow."""
        if not self.is_sound or not self._propagate(list(self.least)):
            return False
        for at in sorted(self.least):
            if self.least[at] == self.most[at]:
                continue
            nearest = (2 * at + self.step) // (2 * self.step) * self.step
            place = min(max(nearest, self.least[at]), self.most[at])
            self.least[at] = self.most[at] = place
            if not self._propagate([at]):
                return False
        return True

    def _propagate(self, waiting: list[Length]) -> bool:
        """Narrow the bounds of what depends on some positions; in vain if none is left.

        Bounds that are narrowed as far as they go all belong to solutions.
        """
        if any(self.least[at] > self.most[at] for at in waiting):
            return False
        while waiting:
            at = waiting.pop()
            for other, distance, is_behind in self.beside.get(at, ()):
                if is_behind:
                    bound = self.least[at] + distance
                    if other not in self.fixed:
                        bound = -(-bound // self.step) * self.step
                    if bound <= self.least[other]:
                        continue
                    self.least[other] = bound
                else:
                    bound = self.most[at] - distance
                    if other not in self.fixed:
                        bound = bound // self.step * self.step
                    if bound >= self.most[other]:
                        continue
                    self.most[other] = bound
                if self.least[other] > self.most[other]:
                    return False
                waiting.append(other)
        return True

    def places(self) -> dict[Length, Length]:
        """Return the told position of each true one."""
        return {at: self.least[self._find(at)] for at in self.leader}


def _span(rect: Rect, vertical: bool) -> tuple[Length, Length]:
    return (rect.x, rect.right) if vertical else (rect.y, rect.bottom)


def _line_box(cut: Cut) -> Rect:
    """Return the least box around a cut that has an inside."""
    if cut.vertical:
        return Rect(cut.at - 1, cut.start, 2, cut.end - cut.start)
    return Rect(cut.start, cut.at - 1, cut.end - cut.start, 2)
