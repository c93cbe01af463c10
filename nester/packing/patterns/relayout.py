"""A layout of a similar problem, used again for pieces of other sizes.

Between two sizes of a design the pieces change, but their arrangement may stay.  So the layout is
read as a slicing tree, side by side in one direction and then in the other; with the new sizes in
its leaves the tree has a width and a height, and either fits the sheet or does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from nester.core.problem import Demand, Layout, PlacedPiece, Rect, placed_voids
from nester.packing.task.task import ItemType, Pattern, Placement, Task

__all__ = ["Relayout"]


class _Piece(NamedTuple):
    """A piece of the old layout, and the pieces in its voids.

    A void is identified by its centre, relative to the sides of the piece (`_SUBDIVISIONS`).
    """

    placed: PlacedPiece
    nested: tuple[tuple[tuple[int, int], list[_Piece]], ...]


class Relayout:
    """Adapts layouts of similar problems to a task; demands correspond by name."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._item_of = {
            blank.demand.name: (item_type, blank.demand)
            for item_type, members in enumerate(task.blanks)
            for blank in members
        }
        self._bin_type_of = {
            sheet.stock.name: bin_type
            for bin_type, sheet in enumerate(task.sheets)
            if not sheet.turned
        }

    def pattern(self, layout: Layout, demands: Mapping[str, Demand]) -> Pattern | None:
        """Return a layout with the pieces of the task; None if they don't fit in that arrangement.

        Parameters
        ----------
        demands
            Those for which the layout was made, by name.
        """
        bin_type = self._bin_type_of.get(layout.stock)
        if bin_type is None or any(piece.name not in self._item_of for piece in layout.placed):
            return None
        sheet = self._task.bin_types[bin_type]
        placements = self._place(_nesting_trees(layout.placed, demands), sheet.width, sheet.height)
        if placements is None:
            return None
        pattern = Pattern(bin_type, tuple(placements))
        return pattern if self._task.allows(pattern) else None

    def _place(self, pieces: Sequence[_Piece], width: int, height: int) -> list[Placement] | None:
        """Place pieces in a sheet or void; None if they don't fit or aren't a slicing tree."""
        if not pieces:
            return []
        layout = self._slices(pieces)
        if layout is None or layout[0] > width or layout[1] > height:
            return None
        return layout[2]

    def _slices(self, pieces: Sequence[_Piece]) -> tuple[int, int, list[Placement]] | None:
        """Return the width and height of a slicing tree, and its placements; None if it is none."""
        if len(pieces) == 1:
            return self._place_single(pieces[0])
        for axis in (0, 1):
            groups = _groups(pieces, axis)
            if len(groups) == 1:
                continue
            width = height = 0
            placements: list[Placement] = []
            for group in groups:
                layout = self._slices(group)
                if layout is None:
                    return None
                group_width, group_height, group_placements = layout
                x, y = (width, 0) if axis == 0 else (0, height)
                placements += (
                    placement._replace(x=placement.x + x, y=placement.y + y)
                    for placement in group_placements
                )
                width = width + group_width if axis == 0 else max(width, group_width)
                height = max(height, group_height) if axis == 0 else height + group_height
            return width, height, placements
        return None

    def _place_single(self, piece: _Piece) -> tuple[int, int, list[Placement]] | None:
        item_type, _ = self._item_of[piece.placed.name]
        item = self._task.item_types[item_type]
        turned = self._is_turned(piece.placed, item)
        width, height = item.oriented_size(turned)
        placements = [Placement(item_type, 0, 0, turned)]
        open_voids = item.voids_at(0, 0, turned)
        for (across, down), guests in piece.nested:
            void = _void_at(open_voids, across * width, down * height)
            nested = None if void is None else self._place(guests, void.width, void.height)
            if void is None or nested is None:
                return None
            placements += (
                placement._replace(x=placement.x + void.x, y=placement.y + void.y)
                for placement in nested
            )
        return width, height, placements

    def _is_turned(self, placed: PlacedPiece, item: ItemType) -> bool:
        """Return whether a piece is turned from its item type's orientation, if it may turn."""
        if not item.rotatable:
            return False
        _, demand = self._item_of[placed.name]
        if item.voids:
            return placed.turned
        # A task stores rectangles that may turn lengthwise, however they were asked for.
        lengthwise = demand.width >= demand.height
        return placed.turned == lengthwise


_SUBDIVISIONS = 2**20
"""Parts of a piece's sides in which the centres of voids are measured."""


def _void_at(voids: Sequence[Rect], across: int, down: int) -> Rect | None:
    for void in voids:
        if (
            void.x * _SUBDIVISIONS <= across <= void.right * _SUBDIVISIONS
            and void.y * _SUBDIVISIONS <= down <= void.bottom * _SUBDIVISIONS
        ):
            return void
    return None


def _nesting_trees(placed: Sequence[PlacedPiece], demands: Mapping[str, Demand]) -> list[_Piece]:
    """Return the pieces outside all voids, each with the pieces in its voids."""
    holes = [
        (void, index)
        for index, piece in enumerate(placed)
        if demands[piece.name].voids
        for void in placed_voids(demands[piece.name], piece)
    ]
    holes.sort(key=lambda hole: hole[0].area)
    guests: dict[tuple[Rect, int], list[int]] = {}
    outer = []
    for index, piece in enumerate(placed):
        container = next(
            (
                candidate
                for candidate in holes
                if candidate[1] != index and candidate[0].contains(piece.rect)
            ),
            None,
        )
        if container is None:
            outer.append(index)
        else:
            guests.setdefault(container, []).append(index)

    def tree(index: int) -> _Piece:
        piece = placed[index]
        nested = []
        for (void, host), indices in guests.items():
            if host == index:
                across = (2 * (void.x - piece.x) + void.width) * _SUBDIVISIONS // (2 * piece.width)
                down = (2 * (void.y - piece.y) + void.height) * _SUBDIVISIONS // (2 * piece.height)
                nested.append(((across, down), [tree(guest) for guest in indices]))
        return _Piece(piece, tuple(nested))

    return [tree(index) for index in outer]


def _groups(pieces: Sequence[_Piece], axis: int) -> list[list[_Piece]]:
    """Return pieces in the groups into which cuts across an axis divide them, in order."""
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
