"""A layout of a like problem, laid anew with pieces of other sizes.

Between two sizes of a design the pieces of a layout change, and what lies beside what may stay.  So
the layout is read as a tree of slices, side by side along one way and then the other; with each
piece as large as it is now, the tree is as wide and high as it must be, and fits or does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from nester.core.problem import Demand, Layout, PlacedPiece, Rect, placed_voids
from nester.packing.task.task import ItemType, Pattern, Placement, Task

__all__ = ["Relayout"]


class _Piece(NamedTuple):
    """A piece of the old layout, and what lay in its voids: middles of voids, in parts of it."""

    placed: PlacedPiece
    nested: tuple[tuple[tuple[int, int], list[_Piece]], ...]


class Relayout:
    """Lays the layouts of like problems anew with the pieces of a task.

    Wants of both are the same by their names.
    """

    def __init__(self, task: Task) -> None:
        self._task = task
        self._item_of = {
            blank.demand.name: (index, blank.demand)
            for index, members in enumerate(task.blanks)
            for blank in members
        }
        self._bin_type_of = {
            sheet.stock.name: kind for kind, sheet in enumerate(task.sheets) if not sheet.turned
        }

    def pattern(self, layout: Layout, wants: Mapping[str, Demand]) -> Pattern | None:
        """Return a layout with the pieces of the task; None if they don't find room so.

        Parameters
        ----------
        wants
            Those that the layout was made for, by name.
        """
        kind = self._bin_type_of.get(layout.stock)
        if kind is None or any(one.name not in self._item_of for one in layout.placed):
            return None
        size = self._task.bin_types[kind]
        laid = self._place(_nesting_trees(layout.placed, wants), size.width, size.height)
        if laid is None:
            return None
        pattern = Pattern(kind, tuple(laid))
        return pattern if self._task.allows(pattern) else None

    def _place(self, pieces: Sequence[_Piece], width: int, height: int) -> list[Placement] | None:
        """Lay pieces into a sheet or void; None if they find no room or can't be parted."""
        if not pieces:
            return []
        found = self._slices(pieces)
        if found is None or found[0] > width or found[1] > height:
            return None
        return found[2]

    def _slices(self, pieces: Sequence[_Piece]) -> tuple[int, int, list[Placement]] | None:
        """Return how wide and high some pieces are, and where each lies."""
        if len(pieces) == 1:
            return self._place_single(pieces[0])
        for axis in (0, 1):
            groups = _groups(pieces, axis)
            if len(groups) == 1:
                continue
            width = height = 0
            spots: list[Placement] = []
            for group in groups:
                found = self._slices(group)
                if found is None:
                    return None
                wide, high, its = found
                x, y = (width, 0) if axis == 0 else (0, height)
                spots += (s._replace(x=s.x + x, y=s.y + y) for s in its)
                width = width + wide if axis == 0 else max(width, wide)
                height = max(height, high) if axis == 0 else height + high
            return width, height, spots
        return None

    def _place_single(self, piece: _Piece) -> tuple[int, int, list[Placement]] | None:
        index, _ = self._item_of[piece.placed.name]
        shape = self._task.item_types[index]
        turned = self._is_turned(piece.placed, shape)
        wide, high = shape.oriented_size(turned)
        spots = [Placement(index, 0, 0, turned)]
        open_voids = shape.voids_at(0, 0, turned)
        for (across, down), inside in piece.nested:
            void = _void_at(open_voids, across * wide, down * high)
            laid = None if void is None else self._place(inside, void.width, void.height)
            if void is None or laid is None:
                return None
            spots += (s._replace(x=s.x + void.x, y=s.y + void.y) for s in laid)
        return wide, high, spots

    def _is_turned(self, placed: PlacedPiece, shape: ItemType) -> bool:
        """Whether a piece lies as its shape does or a quarter turned, if that may be."""
        if not shape.rotatable:
            return False
        _, want = self._item_of[placed.name]
        if shape.voids:
            return placed.turned
        # Plain rectangles lie lengthwise in a task, whichever way they were asked for.
        lengthwise = want.width >= want.height
        return placed.turned == lengthwise


_SUBDIVISIONS = 2**20
"""Places in a piece are told in such parts of its sides."""


def _void_at(voids: Sequence[Rect], across: int, down: int) -> Rect | None:
    for void in voids:
        if (
            void.x * _SUBDIVISIONS <= across <= void.right * _SUBDIVISIONS
            and void.y * _SUBDIVISIONS <= down <= void.bottom * _SUBDIVISIONS
        ):
            return void
    return None


def _nesting_trees(placed: Sequence[PlacedPiece], wants: Mapping[str, Demand]) -> list[_Piece]:
    """Return the pieces that lie on the sheet itself, each with what lies in its voids."""
    holes = [
        (void, place)
        for place, one in enumerate(placed)
        if wants[one.name].voids
        for void in placed_voids(wants[one.name], one)
    ]
    holes.sort(key=lambda hole: hole[0].area)
    inside: dict[tuple[Rect, int], list[int]] = {}
    outmost = []
    for place, one in enumerate(placed):
        home = next((h for h in holes if h[1] != place and h[0].contains(one.rect)), None)
        if home is None:
            outmost.append(place)
        else:
            inside.setdefault(home, []).append(place)

    def piece(place: int) -> _Piece:
        one = placed[place]
        held = []
        for (void, host), places in inside.items():
            if host == place:
                across = (2 * (void.x - one.x) + void.width) * _SUBDIVISIONS // (2 * one.width)
                down = (2 * (void.y - one.y) + void.height) * _SUBDIVISIONS // (2 * one.height)
                held.append(((across, down), [piece(other) for other in places]))
        return _Piece(one, tuple(held))

    return [piece(place) for place in outmost]


def _groups(pieces: Sequence[_Piece], axis: int) -> list[list[_Piece]]:
    """Return pieces in groups that cuts across an axis part, along it."""
    ordered = sorted(pieces, key=lambda piece: piece.placed.rect[axis])
    groups: list[list[_Piece]] = []
    end = 0
    for piece in ordered:
        start = piece.placed.rect[axis]
        if not groups or start >= end:
            groups.append([])
        groups[-1].append(piece)
        end = max(end, start + piece.placed.rect[axis + 2])
    return groups
