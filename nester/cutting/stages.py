"""How often the way of cutting changes: the stages of a layout.

After Gilmore and Gomory, Operations Research 13 (1965): a sheet is cut all one way, then each
strip the other way, and so on.  To cut a part everywhere it can be cut one way before it is turned
never takes more stages than another order does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from nester.core.problem import Rect

__all__ = ["NOT_GUILLOTINE", "stages_needed"]

NOT_GUILLOTINE = 2**30
"""Stages of what no edge-to-edge cuts can part."""


def stages_needed(sheet: Rect, blanks: Sequence[Rect], voids: Sequence[Sequence[Rect]] = ()) -> int:
    """Return the least number of stages in which edge-to-edge cuts free every piece.

    Parameters
    ----------
    sheet
        All of it, margins too.
    blanks
        Pieces; they don't overlap, except that one may lie in another's voids.
    voids
        The voids of each, if any has some.  What lies in one is freed from it as from a small
        sheet of its own.
    """
    inside: dict[Rect, list[Rect]] = {}
    top: list[Rect] = []
    holes = sorted(
        (void for piece_voids in voids for void in piece_voids), key=lambda void: void.area
    )
    for blank in blanks:
        hole = next((void for void in holes if void.contains(blank)), None)
        (top if hole is None else inside.setdefault(hole, [])).append(blank)
    return max(
        min(stages_from(area, pieces, down) for down in (False, True))
        for area, pieces in ((sheet, top), *inside.items())
    )


def stages_from(area: Rect, pieces: Sequence[Rect], down: bool) -> int:
    """Return the stages for a part that is first cut across its width, or else down its height."""
    if not pieces or (len(pieces) == 1 and pieces[0] == area):
        return 0
    return _stages(area, pieces, down, False)


def _stages(area: Rect, pieces: Sequence[Rect], down: bool, stuck: bool) -> int:
    parts = list(guillotine_strips(area, pieces, down))
    uncut = len(parts) == 1 and parts[0][0] == area
    if uncut and stuck:
        return NOT_GUILLOTINE
    further = (
        _stages(part, within, not down, uncut)
        for part, within in parts
        if len(within) > 1 or within[0] != part
    )
    return max(further, default=0) + (not uncut)


def guillotine_strips(
    area: Rect, pieces: Sequence[Rect], down: bool
) -> Iterator[tuple[Rect, list[Rect]]]:
    """Yield the parts with pieces that all possible cuts one way leave."""

    def part(start: int, end: int) -> Rect:
        if down:
            return area._replace(y=start, height=end - start)
        return area._replace(x=start, width=end - start)

    group: list[Rect] = []
    start = end = 0
    for piece in sorted(pieces, key=lambda rect: rect.y if down else rect.x):
        low, high = (piece.y, piece.bottom) if down else (piece.x, piece.right)
        if group and low >= end:
            yield part(start, end), group
            group = []
        if not group:
            start = end = low
        group.append(piece)
        end = max(end, high)
    if group:
        yield part(start, end), group
