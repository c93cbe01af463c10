"""What is left of a blank beside its piece: rectangles that could serve for smaller pieces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from nester.core.lengths import Length
from nester.core.piece import Line, Piece, Point
from nester.core.problem import Rect

__all__ = ["maximal_free_rectangles", "solid_columns", "solid_rows", "voids"]


def voids(piece: Piece, smallest: Length = 0) -> tuple[Rect, ...]:
    """Return rectangles of a piece's blank that are cut away whole.

    Their sides lie on lines through the outline's corners.  The largest is taken first, then the
    largest of what remains; of equal ones the upper, then the left one.  What a slanted edge
    touches is left out.

    Parameters
    ----------
    piece
        The piece, in whose blank they lie.
    smallest
        The least short side worth keeping, in fine units; 0 keeps all.

    Returns
    -------
    tuple of Rect
        They don't overlap each other or the piece.
    """
    xs = sorted({point.x for point in piece.outline})
    ys = sorted({point.y for point in piece.outline})
    rows = _free_cells(piece, xs, ys)
    found = []
    while best := _largest_free_rectangle(rows, xs, ys, max(smallest, 1)):
        rect, top, bottom, mask = best
        found.append(rect)
        for row in range(top, bottom):
            rows[row] &= ~mask
    return tuple(found)


def solid_rows(blank: Rect, gone: Sequence[Rect]) -> tuple[Rect, ...]:
    """Return what a blank keeps without some rectangles of it, in rows as wide as can be."""
    rows: list[Rect] = []
    ends = {blank.y, blank.bottom, *(v.y for v in gone), *(v.bottom for v in gone)}
    for top, bottom in pairwise(sorted(ends)):
        left = blank.x
        for void in sorted(v for v in gone if v.y < bottom and top < v.bottom):
            if left < void.x:
                rows.append(Rect(left, top, void.x - left, bottom - top))
            left = max(left, void.right)
        if left < blank.right:
            rows.append(Rect(left, top, blank.right - left, bottom - top))
    return tuple(rows)


def solid_columns(blank: Rect, gone: Sequence[Rect]) -> tuple[Rect, ...]:
    """Return what a blank keeps without some rectangles of it, in columns as high as can be."""
    return tuple(
        map(_transposed, solid_rows(_transposed(blank), [_transposed(void) for void in gone]))
    )


def maximal_free_rectangles(area: Rect, gone: Iterable[Rect]) -> list[Rect]:
    """Return every rectangle of an area, as large as can be, that some rectangles leave clear."""
    clear = [area] if min(area.width, area.height) > 0 else []
    for bad in gone:
        kept = [rect for rect in clear if not rect.overlaps(bad)]
        for rect in clear:
            if rect.overlaps(bad):
                sides = (
                    Rect(rect.x, rect.y, bad.x - rect.x, rect.height),
                    Rect(rect.x, rect.y, rect.width, bad.y - rect.y),
                    Rect(bad.right, rect.y, rect.right - bad.right, rect.height),
                    Rect(rect.x, bad.bottom, rect.width, rect.bottom - bad.bottom),
                )
                kept += [side for side in sides if min(side.width, side.height) > 0]
        clear = list(dict.fromkeys(kept))
    return [
        rect for rect in clear if not any(other != rect and other.contains(rect) for other in clear)
    ]


def _transposed(rect: Rect) -> Rect:
    return Rect(rect.y, rect.x, rect.height, rect.width)


def _free_cells(piece: Piece, xs: Sequence[Length], ys: Sequence[Length]) -> list[int]:
    """Return a bit mask for each row of the grid: which of its cells lie outside the outline."""
    ring = piece.outline
    sides = [Line(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    rows = []
    for top, bottom in pairwise(ys):
        mask = 0
        for column, (left, right) in enumerate(pairwise(xs)):
            cell = Rect(left, top, right - left, bottom - top)
            if not any(_crosses(side, cell) for side in sides) and not _contains_cell(sides, cell):
                mask |= 1 << column
        rows.append(mask)
    return rows


def _crosses(side: Line, cell: Rect) -> bool:
    """Tell whether a side runs through the inside of a grid cell, in which it never ends."""
    (ax, ay), (bx, by) = side
    if max(ax, bx) <= cell.x or min(ax, bx) >= cell.right:
        return False
    if max(ay, by) <= cell.y or min(ay, by) >= cell.bottom:
        return False
    corners = [(x, y) for x in (cell.x, cell.right) for y in (cell.y, cell.bottom)]
    turns = [(bx - ax) * (y - ay) - (by - ay) * (x - ax) for x, y in corners]
    return min(turns) < 0 < max(turns)


def _contains_cell(sides: Sequence[Line], cell: Rect) -> bool:
    """Tell whether the outline holds the middle of a cell; all is doubled to stay whole."""
    middle = Point(cell.x + cell.right, cell.y + cell.bottom)
    odd = False
    for (ax, ay), (bx, by) in sides:
        if (2 * ay > middle.y) != (2 * by > middle.y):
            turn = (bx - ax) * (middle.y - 2 * ay) - (by - ay) * (middle.x - 2 * ax)
            odd ^= (turn > 0) == (by > ay)
    return odd


def _largest_free_rectangle(
    rows: Sequence[int], xs: Sequence[Length], ys: Sequence[Length], smallest: Length
) -> tuple[Rect, int, int, int] | None:
    """Return the largest free rectangle, its first row, the row after its last, its columns."""
    best: tuple[Rect, int, int, int] | None = None
    for top in range(len(rows)):
        mask = rows[top]
        for bottom in range(top + 1, len(rows) + 1):
            mask &= rows[bottom - 1]
            if not mask:
                break
            for left, right in _runs(mask):
                rect = Rect(xs[left], ys[top], xs[right] - xs[left], ys[bottom] - ys[top])
                if min(rect.width, rect.height) >= smallest and (
                    best is None or rect.area > best[0].area
                ):
                    best = (rect, top, bottom, (1 << right) - (1 << left))
    return best


def _runs(mask: int) -> Iterator[tuple[int, int]]:
    """Give the runs of set bits: the first, and the one after the last."""
    start = 0
    while mask >> start:
        rest = mask >> start
        start += (rest & -rest).bit_length() - 1
        rest = mask >> start
        end = start + (~rest & (rest + 1)).bit_length() - 1
        yield start, end
        start = end
