"""Cut trees: how edge-to-edge cuts divide a sheet into pieces and free rectangles.

A node is a part of a sheet cut into slices along one axis.  A slice is a piece, or a node whose own
slices lie along the other axis.  Trees are changed in place, so that a move of a search costs no
more than what it changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

__all__ = [
    "INFINITE_LENGTH",
    "FreeRectangle",
    "Host",
    "Node",
    "NodeChange",
    "Piece",
    "PlacedBox",
    "Sheet",
    "Slice",
    "add_free",
    "build_cut_tree",
    "collect_codes",
    "collect_free",
]


class Node:
    """A part of a sheet cut into slices, side by side along one axis, with a free rest.

    Slices may be reordered, so one free rest per node is enough.

    Attributes
    ----------
    axis
        0: slices lie side by side across the width; 1: along the height.
    rest
        How much of its length along the axis is free.
    cross
        Its length along the other axis.
    slices
        Pieces, and nodes whose own slices lie along the other axis.
    """

    __slots__ = ("axis", "cross", "rest", "slices")

    def __init__(self, axis: int, rest: int, cross: int, slices: list[Slice]) -> None:
        self.axis = axis
        self.rest = rest
        self.cross = cross
        self.slices = slices


class Host:
    """A piece with voids that could hold others: its code, and a root for each of them."""

    __slots__ = ("code", "roots")

    def __init__(self, code: int, roots: list[Node]) -> None:
        self.code = code
        self.roots = roots


Piece = int | Host
"""A piece that is no host is its code: twice the index of its item type, plus one if turned."""
Slice = Piece | Node


class Sheet:
    """A sheet in use: its bin type, its tree, its free rectangles and their area.

    The free rectangles and their area are as of the last `update_free`.
    """

    __slots__ = ("bin_type", "free", "root", "waste")

    def __init__(self, bin_type: int, root: Node) -> None:
        self.bin_type = bin_type
        self.root = root
        self.update_free()

    def update_free(self) -> None:
        """Recompute the free rectangles from the tree."""
        self.free: list[FreeRectangle] = []
        collect_free(self.root, self, self.free)
        self.waste = sum(width * height for width, height, _, _ in self.free)


INFINITE_LENGTH = 2**62
"""Longer than any sheet."""

FreeRectangle = tuple[int, int, Node, Sheet]
"""Width and height of the rest of a node, the node, and its sheet."""
NodeChange = tuple[Node, int, list[Slice] | None]
"""A node and its rest before; and its slices before, or None if one has only been added."""


class PlacedBox(NamedTuple):
    """A piece and its bounding box: the corners nearest to and farthest from the origin."""

    low_corner: tuple[int, int]
    high_corner: tuple[int, int]
    piece: Piece


def build_cut_tree(
    boxes: Sequence[PlacedBox], axis: int, length: int, cross: int, *, is_whole: bool = False
) -> Node | None:
    """Return the tree of a part of a sheet, or None if edge-to-edge cuts can't separate its pieces.

    Boxes whose extents along the axis overlap can't be separated along it; each such group is one
    slice, and is divided along the other axis.

    Parameters
    ----------
    boxes
        The pieces in the part.
    axis
        Along which it is divided first.
    length, cross
        Of the part, along the axis and across it.
    is_whole
        That cuts along the other axis separate nothing either: then a single group has no cut.
    """
    groups: list[list[PlacedBox]] = []
    end = -1
    for box in sorted(boxes, key=lambda box: box.low_corner[axis]):
        if box.low_corner[axis] >= end:
            groups.append([])
        groups[-1].append(box)
        end = max(end, box.high_corner[axis])
    if is_whole and len(groups) == 1 and len(boxes) > 1:
        return None
    node = Node(axis, length, cross, [])
    other_axis = 1 - axis
    for group in groups:
        extent = max(box.high_corner[axis] for box in group) - group[0].low_corner[axis]
        node.rest -= extent
        if (
            len(group) == 1
            and group[0].high_corner[other_axis] - group[0].low_corner[other_axis] == cross
        ):
            node.slices.append(group[0].piece)
            continue
        part = build_cut_tree(group, other_axis, cross, extent, is_whole=len(groups) == 1)
        if part is None:
            return None
        node.slices.append(part)
    return node


def collect_codes(slices: Sequence[Slice], codes: list[int]) -> None:
    """Append the codes of all pieces in some slices, guests in voids included."""
    for part in slices:
        if isinstance(part, int):
            codes.append(part)
        elif isinstance(part, Node):
            collect_codes(part.slices, codes)
        else:
            codes.append(part.code)
            for root in part.roots:
                collect_codes(root.slices, codes)


def collect_free(node: Node, sheet: Sheet, free: list[FreeRectangle]) -> None:
    """Append the free rectangles of a tree, those in voids included."""
    add_free(free, node, sheet)
    for part in node.slices:
        if isinstance(part, Node):
            collect_free(part, sheet, free)
        elif isinstance(part, Host):
            for root in part.roots:
                collect_free(root, sheet, free)


def add_free(free: list[FreeRectangle], node: Node, sheet: Sheet) -> None:
    """Append the free rest of a node, if it has one."""
    if node.rest:
        if node.axis:
            free.append((node.cross, node.rest, node, sheet))
        else:
            free.append((node.rest, node.cross, node, sheet))
