"""Takes a sheet apart by its list of cuts, and says what goes wrong."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING

from nester.core.lengths import Unit, format_length
from nester.core.problem import Cut, Cuts, Rect

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

from nester.verify.faults import FaultKind, Finding
from nester.verify.solids import (
    IntervalSet,
    Item,
    SweepEvent,
    contains,
    describe_rect,
    overlap,
    solid_rects,
)

__all__ = ["KnifeCuts", "faults_of_cuts", "split"]


def faults_of_cuts(
    sheet: Rect, cuts: Sequence[Cut], items: Sequence[Item], allowed: Cuts
) -> Iterator[Finding]:
    """Take a sheet apart by its cuts, and yield what goes wrong.

    The first cut that can't be made ends it, as all after it depend on it.

    Parameters
    ----------
    sheet
        All of it, with its top left corner at the origin.
    cuts
        In the order in which they are made.
    items
        What must lie free in the end.
    allowed
        Whether a knife may be used for more than corners of blanks.
    """
    table = {sheet}
    carved: dict[Rect, list[Cut]] = {}
    voids: dict[Rect, list[Rect]] = {}
    for item in items:
        voids.setdefault(item.rect, []).extend(item.voids)
    cut_out: dict[Rect, set[Rect]] = {}
    for number, cut in enumerate(cuts, 1):
        own_voids = voids.get(cut.part, [])
        if cut.knife and allowed is not Cuts.FREE and not _runs_along_void(cut, own_voids):
            yield (
                FaultKind.KNIFE_CUT,
                f"cut {number} is made with a knife, but cuts no corner out of a piece's blank;"
                " all other cuts must be straight",
            )
            return
        error = _cut_error(cut, table, carved)
        if error:
            yield FaultKind.BAD_CUT, f"cut {number} {error}"
            return
        if not cut.knife:
            table.remove(cut.part)
            table.update(split(cut))
            continue
        carved.setdefault(cut.part, []).append(cut)
        if own_voids:
            knife_cuts = KnifeCuts(cut.part, carved[cut.part])
            before = cut_out.setdefault(cut.part, set())
            new_parts = {void for void in own_voids if knife_cuts.frees(void)} - before
            before |= new_parts
            table |= new_parts
    yield from _faults_of_knife_cuts(carved, items)
    all_knife_cuts = [
        KnifeCuts(part, part_cuts, cut_out.get(part, ())) for part, part_cuts in carved.items()
    ]
    used = _used_voids(items)
    for item in items:
        if not _is_free(item, table, all_knife_cuts, used):
            yield (
                FaultKind.NOT_CUT_FREE,
                f"{item.name}, {describe_rect(item.rect)}, is not cut free",
            )


def _is_free(
    item: Item, table: set[Rect], all_knife_cuts: Sequence[KnifeCuts], used: set[Rect]
) -> bool:
    rect = item.rect
    if not item.voids:
        return rect in table or any(knife_cuts.frees(rect) for knife_cuts in all_knife_cuts)
    parts = [knife_cuts for knife_cuts in all_knife_cuts if knife_cuts.contains(rect)]
    if rect in table:
        parts.append(KnifeCuts(rect, ()))
    return any(part.frees_piece(rect, item.voids, used) for part in parts)


def _runs_along_void(cut: Cut, voids: Iterable[Rect]) -> bool:
    """Tell whether a cut runs along an edge of one of the voids of the blank it is made in."""
    for void in voids:
        places, span = (void.x, void.right), (void.y, void.bottom)
        if not cut.vertical:
            places, span = span, places
        if cut.at in places and span[0] <= cut.start and cut.end <= span[1]:
            return True
    return False


def _used_voids(items: Sequence[Item]) -> set[Rect]:
    """Return the voids into which something reaches."""
    solids = sorted(rect for rect, _ in solid_rects(items))
    widest = max((rect.width for rect in solids), default=0)
    used = set()
    for void in {void for item in items for void in item.voids}:
        first = bisect_left(solids, (void.x - widest,))
        last = bisect_left(solids, (void.right,))
        if any(overlap(void, solid) for solid in solids[first:last]):
            used.add(void)
    return used


def _cut_error(cut: Cut, table: set[Rect], carved: dict[Rect, list[Cut]]) -> str:
    """Return why a cut can't be made, or nothing."""
    part = cut.part
    if part not in table:
        return f"is made in a part, {describe_rect(part)}, that does not lie on the table"
    across, along = (part.x, part.right), (part.y, part.bottom)
    if not cut.vertical:
        across, along = along, across
    at = format_length(cut.at, Unit.MM)
    if not across[0] < cut.at < across[1]:
        return f"at {at} does not run through the inside of its part, {describe_rect(part)}"
    if not cut.knife and (cut.start, cut.end) != along:
        return f"at {at} does not run exactly from edge to edge of its part, {describe_rect(part)}"
    if not along[0] <= cut.start < cut.end <= along[1]:
        return f"at {at} does not start and end within its part, {describe_rect(part)}"
    if not cut.knife and part in carved:
        return f"at {at} parts what a knife has already cut into, {describe_rect(part)}"
    return ""


def split(cut: Cut) -> tuple[Rect, Rect]:
    """Return the two parts that an edge-to-edge cut leaves."""
    x, y, width, height = cut.part
    if cut.vertical:
        return Rect(x, y, cut.at - x, height), Rect(cut.at, y, x + width - cut.at, height)
    return Rect(x, y, width, cut.at - y), Rect(x, cut.at, width, y + height - cut.at)


def _faults_of_knife_cuts(
    carved: dict[Rect, list[Cut]], items: Sequence[Item]
) -> Iterator[Finding]:
    """Yield the items that a knife cut runs through."""
    cuts = [cut for part_cuts in carved.values() for cut in part_cuts]
    # A cut up and down that enters what is solid somewhere runs through a row; one that runs
    # across, through a column.
    for vertical, rects in (
        (True, solid_rects(items)),
        (False, solid_rects(items, upright=False)),
    ):
        mine = [cut for cut in cuts if cut.vertical is vertical]
        for cut, item in _crossed_items(mine, rects):
            at = format_length(cut.at, Unit.MM)
            message = f"the knife cut at {at} runs through {item.name}, {describe_rect(item.rect)}"
            yield FaultKind.CUT_THROUGH, message


def _crossed_items(
    cuts: Sequence[Cut], rects: Sequence[tuple[Rect, Item]]
) -> Iterator[tuple[Cut, Item]]:
    """Yield each upright cut with an item that it crosses."""
    events = [(cut.at, SweepEvent.CUT, index) for index, cut in enumerate(cuts)]
    for index, (rect, _) in enumerate(rects):
        events += [(rect.x, SweepEvent.START, index), (rect.right, SweepEvent.END, index)]
    row = IntervalSet()
    for _, event, index in sorted(events):
        if event == SweepEvent.CUT:
            hit = row.find_overlap(cuts[index].start, cuts[index].end)
            if hit is not None:
                yield cuts[index], rects[hit][1]
            continue
        rect = rects[index][0]
        if event == SweepEvent.END:
            row.remove(rect.y, rect.bottom, index)
        else:
            row.add(rect.y, rect.bottom, index)


class KnifeCuts:
    """The knife cuts of one part, to ask whether an edge is cut along its whole length.

    Voids that have been cut out of it are separate parts and no longer belong to it.
    """

    def __init__(self, part: Rect, cuts: Iterable[Cut], removed: Iterable[Rect] = ()) -> None:
        self.part = part
        self.removed = tuple(removed)
        self.lines: dict[tuple[bool, int], list[tuple[int, int]]] = {}
        for vertical, at, start, end in sorted(cut[1:5] for cut in cuts):
            spans = self.lines.setdefault((vertical, at), [])
            if spans and start <= spans[-1][1]:
                spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
            else:
                spans.append((start, end))

    def contains(self, rect: Rect) -> bool:
        """Tell whether a rectangle lies in the part, and in nothing that was cut out of it."""
        return contains(self.part, rect) and not any(contains(void, rect) for void in self.removed)

    def frees(self, rect: Rect) -> bool:
        """Tell whether a rectangle is cut along all its edges."""
        return self.contains(rect) and all(
            self._separates(vertical, at, start, end)
            for vertical, start, end, places in (
                (True, rect.y, rect.bottom, (rect.x, rect.right)),
                (False, rect.x, rect.right, (rect.y, rect.bottom)),
            )
            for at in places
        )

    def frees_piece(self, blank: Rect, voids: Sequence[Rect], used: set[Rect]) -> bool:
        """Tell whether a piece is free of all that lies outside its blank and in used voids.

        From its solid part it spreads over all that no cut parts from it.  A used void is one into
        which something else reaches.
        """
        xs = sorted({blank.x, blank.right, *(v.x for v in voids), *(v.right for v in voids)})
        ys = sorted({blank.y, blank.bottom, *(v.y for v in voids), *(v.bottom for v in voids)})
        in_void = {
            (column, row): void
            for void in voids
            for column in range(xs.index(void.x), xs.index(void.right))
            for row in range(ys.index(void.y), ys.index(void.bottom))
        }
        across, down = len(xs) - 1, len(ys) - 1
        reached = {(i, j) for i in range(across) for j in range(down)} - in_void.keys()
        waiting = list(reached)
        while waiting:
            column, row = waiting.pop()
            left, right, top, bottom = xs[column], xs[column + 1], ys[row], ys[row + 1]
            for cell, cut_off in (
                ((column - 1, row), self._separates(True, left, top, bottom)),
                ((column + 1, row), self._separates(True, right, top, bottom)),
                ((column, row - 1), self._separates(False, top, left, right)),
                ((column, row + 1), self._separates(False, bottom, left, right)),
            ):
                if cut_off or cell in reached:
                    continue
                if cell not in in_void or in_void[cell] in used:
                    return False
                reached.add(cell)
                waiting.append(cell)
        return True

    def _separates(self, vertical: bool, at: int, start: int, end: int) -> bool:
        """Tell whether a line is cut, or is an edge of the part."""
        part = self.part
        edges = (part.x, part.right) if vertical else (part.y, part.bottom)
        return at in edges or self._is_cut(vertical, at, start, end)

    def _is_cut(self, vertical: bool, at: int, start: int, end: int) -> bool:
        spans = self.lines.get((vertical, at), [])
        index = bisect_right(spans, start, key=lambda span: span[0]) - 1
        return index >= 0 and spans[index][1] >= end
