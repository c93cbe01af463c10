"""Greedy filling of one sheet: pieces in a given order, each into the best free rectangle.

Best means the shortest strip left beside the piece (best short side fit).  For straight cuts, the
free rectangle is split in two by an edge-to-edge cut after each piece, so that every result is a
guillotine pattern.  For free cuts, all maximal free rectangles are kept.  Jylänki, "A thousand ways
to pack the bin" (2010), surveys both: guillotine, and maximal rectangles.

The voids of a placed piece are free again: for straight cuts each void, like a separate sheet;
for free cuts whatever its solid part leaves.

Where a free rectangle holds very many equal pieces they are placed as one block, rows by columns: a
sheet of half a million pieces takes no longer than one of a hundred.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from nester.core.geometry import solid_rows
from nester.core.problem import Cuts, Rect
from nester.packing.task.task import ItemType, Placement

__all__ = ["GreedyFiller", "randomized_order"]

_FreeRect = tuple[int, int, int, int]  # x, y, width, height

_MIN_BLOCK = 400
"""This many equal pieces or more are placed as a block, and their voids left unused."""


class GreedyFiller:
    """Fills sheets, and counts its steps: one for each piece tried in one rectangle.

    All effort in this package is measured in these steps.
    """

    def __init__(self, items: Sequence[ItemType], cuts: Cuts, rng: Random) -> None:
        self._item_types = items
        self._rng = rng
        self._min_side = min((min(item[:2]) for item in items), default=0)
        self._guillotine = cuts is Cuts.STRAIGHT
        self._split = self._guillotine_split if self._guillotine else self._maximal_rectangles
        self.steps = 0

    def fill_remainders(
        self, remainders: Sequence[Rect], remaining: list[int], values: Sequence[float]
    ) -> list[Placement]:
        """Place pieces on parts of a sheet, those of most value for their area first.

        Parameters
        ----------
        remaining
            How many of each item type may be placed; changed in place.
        values
            Of one piece of each item type; types without value are left out.
        """
        items = self._item_types
        order = sorted(
            (
                item_type
                for item_type, count in enumerate(remaining)
                if count and values[item_type] > 0
            ),
            key=lambda item_type: -values[item_type] / items[item_type].area,
        )
        min_side = min((min(items[item_type][:2]) for item_type in order), default=0)
        placements = []
        for remainder in remainders:
            if not order or min(remainder.width, remainder.height) < min_side:
                continue
            for item_type, x, y, turned in self.fill(
                remainder.width, remainder.height, remaining, order
            ):
                placements.append(Placement(item_type, remainder.x + x, remainder.y + y, turned))
                remaining[item_type] -= 1
        return placements

    def fill(
        self,
        width: int,
        height: int,
        counts: Sequence[int],
        order: Sequence[int],
        placed: Sequence[Placement] = (),
        spoiled: Sequence[Rect] = (),
    ) -> tuple[Placement, ...]:
        """Place pieces on a width × height sheet.

        Parameters
        ----------
        counts
            How many of each item type may be placed.
        order
            Item types, in the order they are tried.
        placed
            Pieces already on the sheet; for free cuts only.
        spoiled
            Damaged rectangles of the sheet.

        Returns
        -------
        tuple of Placement
            Only the new ones.
        """
        free: list[_FreeRect] = [(0, 0, width, height)]
        if not self._guillotine:
            for defect in spoiled:
                free = self._exclude(free, defect)
            spoiled = ()
        for placement in placed:
            free = self._subtract(free, self._item_types[placement.item_type], *placement[1:])
        placements: list[Placement] = []
        split_bias = self._rng.random()
        remaining = list(counts)
        # A second pass, since pieces tried before one with voids may fit into those.
        passes = 2 if any(self._item_types[item_type].voids for item_type in order) else 1
        for item_type in (*order,) * passes:
            item = self._item_types[item_type]
            while remaining[item_type]:
                fit = self._best_fit(free, item, spoiled)
                block = fit and _block(free[fit[0]], item, fit[1], remaining[item_type])
                if spoiled and (fit is None or block):
                    # Pieces were kept off the damage while cuts could run through it.  Now that
                    # none fits so, the damage is cut out, and what is around it is tried.
                    for defect in spoiled:
                        free = self._exclude(free, defect)
                    spoiled = ()
                    continue
                if fit is None:
                    break
                free_index, turned = fit
                x, y, _, _ = free[free_index]
                if block:
                    item_width, item_height = item.oriented_size(turned)
                    columns, rows = range(block[0]), range(block[1])
                    placements += [
                        Placement(item_type, x + column * item_width, y + row * item_height, turned)
                        for row in rows
                        for column in columns
                    ]
                    count = len(columns) * len(rows)
                    self.steps += count
                    free = self._split(
                        free,
                        free_index,
                        len(columns) * item_width,
                        len(rows) * item_height,
                        split_bias,
                    )
                else:
                    count = 1
                    placements.append(Placement(item_type, x, y, turned))
                    free = self._place(free, free_index, item, turned, split_bias)
                remaining[item_type] -= count
                if not free:
                    return tuple(placements)
        return tuple(placements)

    def _exclude(self, free: list[_FreeRect], defect: Rect) -> list[_FreeRect]:
        """Return the free rectangles without a damaged one.

        For straight cuts they are split by cuts along its edges, in random order.
        """
        if not self._guillotine:
            free = self._maximal_rectangles(
                [*free, defect], len(free), defect.width, defect.height, 0
            )
            return [rect for rect in free if min(rect[2:]) >= self._min_side]
        clear: list[_FreeRect] = []
        parts = [Rect(*rect) for rect in free]
        while parts:
            part = parts.pop()
            if not part.overlaps(defect):
                clear.append(part)
                continue
            vertical = [cut for cut in (defect.x, defect.right) if part.x < cut < part.right]
            horizontal = [cut for cut in (defect.y, defect.bottom) if part.y < cut < part.bottom]
            if vertical and (not horizontal or self._rng.random() < 0.5):
                cut = vertical[0] - part.x
                parts += [
                    part._replace(width=cut),
                    part._replace(x=part.x + cut, width=part.width - cut),
                ]
            elif horizontal:
                cut = horizontal[0] - part.y
                parts += [
                    part._replace(height=cut),
                    part._replace(y=part.y + cut, height=part.height - cut),
                ]
        return clear

    def _place(
        self,
        free: list[_FreeRect],
        free_index: int,
        item: ItemType,
        turned: bool,
        split_bias: float,
    ) -> list[_FreeRect]:
        """Return the free rectangles after a piece is placed in the corner of one of them."""
        x, y, _, _ = free[free_index]
        width, height = item.oriented_size(turned)
        if not item.voids:
            return self._split(free, free_index, width, height, split_bias)
        if self._guillotine:
            voids = item.voids_at(x, y, turned)
            return [*self._guillotine_split(free, free_index, width, height, split_bias), *voids]
        return self._subtract(free, item, x, y, turned)

    def _subtract(
        self, free: list[_FreeRect], item: ItemType, x: int, y: int, turned: bool
    ) -> list[_FreeRect]:
        """Return the free rectangles without the solid part of a piece."""
        width, height = item.oriented_size(turned)
        voids = item.voids_at(x, y, turned)
        for solid in solid_rows(Rect(x, y, width, height), voids):
            # Passed as one more free rectangle, each row is taken out of all that overlap it.
            free = self._maximal_rectangles([*free, solid], len(free), solid.width, solid.height, 0)
        return [rect for rect in free if min(rect[2:]) >= self._min_side]

    def _best_fit(
        self, free: Sequence[_FreeRect], item: ItemType, defects: Sequence[Rect] = ()
    ) -> tuple[int, bool] | None:
        """Return the index of the best free rectangle, and whether to turn; None if none fits."""
        item_width, item_height, _, rotatable, _ = item
        self.steps += len(free)
        best_gap = -1
        fit = (-1, False)
        for free_index, (x, y, width, height) in enumerate(free):
            if item_width <= width and item_height <= height:
                gap = min(width - item_width, height - item_height)
                if (best_gap < 0 or gap < best_gap) and not (
                    defects and _meets(defects, x, y, item_width, item_height)
                ):
                    best_gap, fit = gap, (free_index, False)
            if rotatable and item_height <= width and item_width <= height:
                gap = min(width - item_height, height - item_width)
                if (best_gap < 0 or gap < best_gap) and not (
                    defects and _meets(defects, x, y, item_height, item_width)
                ):
                    best_gap, fit = gap, (free_index, True)
        return None if best_gap < 0 else fit

    def _guillotine_split(
        self,
        free: list[_FreeRect],
        free_index: int,
        item_width: int,
        item_height: int,
        split_bias: float,
    ) -> list[_FreeRect]:
        """Split a free rectangle beside the piece in its corner by an edge-to-edge cut.

        Mostly in the direction that leaves the larger single remainder; sometimes in the other,
        so that repeated runs try different cut trees.
        """
        x, y, width, height = free[free_index]
        right, below = width - item_width, height - item_height
        is_vertical_first = right * height > below * width
        if self._rng.random() < 0.3 * split_bias:
            is_vertical_first = not is_vertical_first
        others = free[:free_index] + free[free_index + 1 :]
        if is_vertical_first:
            parts = ((x + item_width, y, right, height), (x, y + item_height, item_width, below))
        else:
            parts = ((x + item_width, y, right, item_height), (x, y + item_height, width, below))
        others.extend(part for part in parts if part[2] and part[3])
        return others

    def _maximal_rectangles(
        self, free: list[_FreeRect], free_index: int, width: int, height: int, _split_bias: float
    ) -> list[_FreeRect]:
        """Take a piece out of all free rectangles; keep the maximal ones of what is left."""
        x, y, _, _ = free[free_index]
        right, bottom = x + width, y + height
        kept: list[_FreeRect] = []
        split: list[_FreeRect] = []
        for other in free:
            ox, oy, ow, oh = other
            if ox >= right or oy >= bottom or ox + ow <= x or oy + oh <= y:
                kept.append(other)
                continue
            if ox < x:
                split.append((ox, oy, x - ox, oh))
            if oy < y:
                split.append((ox, oy, ow, y - oy))
            if right < ox + ow:
                split.append((right, oy, ox + ow - right, oh))
            if bottom < oy + oh:
                split.append((ox, bottom, ow, oy + oh - bottom))
        split = list(dict.fromkeys(split))
        for rect in split:
            x1, y1, w1, h1 = rect
            is_covered = any(
                other is not rect
                and other[0] <= x1
                and other[1] <= y1
                and other[0] + other[2] >= x1 + w1
                and other[1] + other[3] >= y1 + h1
                for other in (*kept, *split)
            )
            if not is_covered:
                kept.append(rect)
        return kept


def _block(
    free_rect: _FreeRect, item: ItemType, turned: bool, remaining: int
) -> tuple[int, int] | None:
    """Return how many columns and rows to place at once; None if they are too few for a block."""
    width, height = item.oriented_size(turned)
    columns, rows = free_rect[2] // width, free_rect[3] // height
    if min(remaining, columns * rows) < _MIN_BLOCK:
        return None
    columns = min(columns, remaining)
    return columns, min(rows, remaining // columns)


def _meets(defects: Sequence[Rect], x: int, y: int, width: int, height: int) -> bool:
    rect = Rect(x, y, width, height)
    return any(rect.overlaps(defect) for defect in defects)


def randomized_order(
    items: Sequence[ItemType], item_types: Sequence[int], values: Sequence[float], rng: Random
) -> list[int]:
    """Return item types by value for area with random noise: an order in which to fill."""
    area_exponent = rng.choice((0.6, 0.8, 1.0))
    noise = rng.choice((0.05, 0.15, 0.4))
    random = rng.random
    keys = {
        item_type: values[item_type]
        / items[item_type].area ** area_exponent
        * (1 + noise * (2 * random() - 1))
        for item_type in item_types
    }
    return sorted(item_types, key=lambda item_type: -keys[item_type])
