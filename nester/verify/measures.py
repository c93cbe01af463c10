"""Follows the rounded measures of a layout on a sheet of its true size, and says what goes wrong.

The measures are taken as they are printed, from the edges of the parts that lie on the table, which
are where the cuts before have left them.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from nester.core.lengths import Unit, format_length
from nester.core.problem import Rect
from nester.verify.cuts import split
from nester.verify.faults import Fault, FaultKind, Finding, InvalidPlanError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from nester.core.lengths import Length
    from nester.core.problem import Cut, Layout, PrintedCut

__all__ = ["faults_of_measures", "require_followable"]

_Span = tuple["Length", "Length"]


def faults_of_measures(
    layout: Layout, measures: Sequence[PrintedCut], tolerance: Length
) -> Iterator[Finding]:
    """Yield what goes wrong when a layout is cut by printed measures.

    Parameters
    ----------
    layout
        Its exact cuts are sound (`nester.verify.verify`).
    measures
        One for each cut.
    tolerance
        By how much a piece or an offcut may be off, in its size and its place.
    """
    if len(measures) != len(layout.cuts):
        yield FaultKind.WRONG_MEASURE, "not every cut has its measures"
        return
    if not layout.cuts:
        return
    sheet = layout.cuts[0].part
    table = {sheet: sheet}
    lines: dict[Rect, _Lines] = {}
    for number, (cut, told) in enumerate(zip(layout.cuts, measures, strict=True), 1):
        part = table.get(cut.part) or _freed(cut.part, lines)
        if part is None:
            yield FaultKind.WRONG_MEASURE, f"the part of cut {number} is not free"
            return
        low, high = _span(part, cut.vertical)
        at = low + told.at
        if told.is_left_out:
            yield from _faults_of_sliver(number, cut, tolerance)
            whole = max(split(cut), key=lambda rect: rect.area)
            table[whole] = part
            continue
        if not low < at < high:
            yield FaultKind.WRONG_MEASURE, f"cut {number} does not run within its part as printed"
            return
        if cut.knife:
            drawn = lines.setdefault(cut.part, _Lines(cut.part, part))
            fault = drawn.add(cut, told)
            if fault:
                yield FaultKind.WRONG_MEASURE, f"cut {number} {fault}"
            continue
        for exact, side in zip(split(cut), ((low, at), (at, high)), strict=True):
            table[exact] = _with_span(part, cut.vertical, side)
    for drawn in lines.values():
        if not drawn.is_ordered():
            yield FaultKind.WRONG_MEASURE, "knife cuts change their order as printed"
    kept = [(piece.name, piece.rect) for piece in layout.placed]
    for name, rect in (*kept, *(("an offcut", rect) for rect in layout.offcuts)):
        made = table.get(rect) or _freed(rect, lines)
        if made is None:
            yield FaultKind.WRONG_MEASURE, f"{name} does not come free as printed"
            continue
        edges = ((made.x, rect.x), (made.y, rect.y), (made.right, rect.right),
                 (made.bottom, rect.bottom), (made.width, rect.width),
                 (made.height, rect.height))  # fmt: skip
        off = max(abs(one - other) for one, other in edges)
        if off > tolerance:
            by = format_length(off, Unit.MM)
            yield FaultKind.WRONG_MEASURE, f"{name} is off by {by} when cut as printed"


def require_followable(layout: Layout, measures: Sequence[PrintedCut], tolerance: Length) -> None:
    """Raise `InvalidPlanError` unless a layout comes out right when cut by printed measures."""
    found = faults_of_measures(layout, measures, tolerance)
    faults = [Fault(kind, f"layout of {layout.stock}", message) for kind, message in found]
    if faults:
        raise InvalidPlanError(faults)


def _faults_of_sliver(number: int, cut: Cut, tolerance: Length) -> Iterator[Finding]:
    thin = min(split(cut), key=lambda rect: rect.area)
    if min(thin.width, thin.height) >= tolerance:
        yield FaultKind.WRONG_MEASURE, f"cut {number} is left out, but frees more than a sliver"


def _freed(rect: Rect, lines: dict[Rect, _Lines]) -> Rect | None:
    """Return where a rectangle lies that knife cuts have freed."""
    for drawn in lines.values():
        made = drawn.rect(rect)
        if made is not None:
            return made
    return None


class _Lines:
    """The knife cuts of a part: where each line is by the plan, and where it was drawn."""

    def __init__(self, exact: Rect, part: Rect) -> None:
        self.exact, self.part = exact, part
        self.drawn: dict[bool, dict[Length, Length]] = {
            vertical: dict(zip(_span(exact, vertical), _span(part, vertical), strict=True))
            for vertical in (True, False)
        }

    def add(self, cut: Cut, told: PrintedCut) -> str:
        """Draw a line; return what is wrong with it."""
        low = _span(self.part, cut.vertical)[0]
        near, far = _span(self.part, not cut.vertical)
        at = self.drawn[cut.vertical].setdefault(cut.at, low + told.at)
        end = far if told.end is None else near + told.end
        if at != low + told.at:
            return "is told at two places"
        for exact, drawn in ((cut.start, near + told.start), (cut.end, end)):
            if self.drawn[not cut.vertical].setdefault(exact, drawn) != drawn:
                return "does not stop where it should"
        return "" if near + told.start < end <= far else "does not start and end within its part"

    def is_ordered(self) -> bool:
        """Tell whether lines lie in the order of the plan."""
        return all(
            one <= other
            for drawn in self.drawn.values()
            for one, other in pairwise(drawn[at] for at in sorted(drawn))
        )

    def rect(self, rect: Rect) -> Rect | None:
        """Return where a rectangle between lines lies, or None if there are no such lines."""
        if not self.exact.contains(rect):
            return None
        across, down = self.drawn[True], self.drawn[False]
        try:
            x, right = across[rect.x], across[rect.right]
            y, bottom = down[rect.y], down[rect.bottom]
        except KeyError:
            return None
        return Rect(x, y, right - x, bottom - y)


def _span(rect: Rect, vertical: bool) -> _Span:
    return (rect.x, rect.right) if vertical else (rect.y, rect.bottom)


def _with_span(rect: Rect, vertical: bool, span: _Span) -> Rect:
    low, size = span[0], span[1] - span[0]
    if vertical:
        return rect._replace(x=low, width=size)
    return rect._replace(y=low, height=size)
