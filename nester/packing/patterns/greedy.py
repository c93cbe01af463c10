"""Fill one sheet: pieces in a given order, each into the free rectangle that suits it best.

For straight cuts a free rectangle is split in two by an edge-to-edge cut whenever a piece is laid
into its corner, so that any result comes apart on a trimmer.  For free cuts all maximal free
rectangles are kept.  Both are the greedy methods surveyed by Jylänki, "A thousand ways to pack
the bin" (2010): guillotine and maximal rectangles, with best short side fit.

What is cut away from a piece is free again: for straight cuts each of its voids, as a sheet of
its own; for free cuts whatever its solid part leaves.

Where a free rectangle holds very many equal pieces they are laid in one block, rows by columns, so
that a sheet of half a million takes no longer than one of a hundred.
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
"""So many equal pieces for one free rectangle are laid as a block, and their voids left unused."""


class GreedyFiller:
    """Fills sheets and counts the steps it takes; a step is one piece tried in one rectangle."""

    def __init__(self, shapes: Sequence[ItemType], cuts: Cuts, rng: Random) -> None:
        self._item_types = shapes
        self._rng = rng
        self._min_side = min((min(shape[:2]) for shape in shapes), default=0)
        self._guillotine = cuts is Cuts.STRAIGHT
        self._split = self._guillotine_split if self._guillotine else self._maximal_rectangles
        self.steps = 0

    def fill_remainders(
        self, rests: Sequence[Rect], left: list[int], worths: Sequence[float]
    ) -> list[Placement]:
        """Lay pieces into parts of a sheet, worth most for their area first.

        Parameters
        ----------
        left
            How many of each shape may be laid; what is laid is taken off.
        worths
            Of one piece of each shape; what is worth nothing is left out.
        """
        shapes = self._item_types
        order = sorted(
            (index for index, number in enumerate(left) if number and worths[index] > 0),
            key=lambda index: -worths[index] / shapes[index].area,
        )
        least = min((min(shapes[index][:2]) for index in order), default=0)
        laid = []
        for rest in rests:
            if not order or min(rest.width, rest.height) < least:
                continue
            for index, x, y, turned in self.fill(rest.width, rest.height, left, order):
                laid.append(Placement(index, rest.x + x, rest.y + y, turned))
                left[index] -= 1
        return laid

    def fill(
        self,
        width: int,
        height: int,
        counts: Sequence[int],
        order: Sequence[int],
        laid: Sequence[Placement] = (),
        spoiled: Sequence[Rect] = (),
    ) -> tuple[Placement, ...]:
        """Lay pieces on a width × height sheet.

        Parameters
        ----------
        counts
            How many of each shape may be laid.
        order
            Indices of the shapes, in the order they are tried.
        laid
            What lies on the sheet already; for free cuts only.
        spoiled
            Rectangles of the sheet on which nothing may lie.

        Returns
        -------
        tuple of Spot
            What has been laid now.
        """
        free: list[_FreeRect] = [(0, 0, width, height)]
        if not self._guillotine:
            for bad in spoiled:
                free = self._exclude(free, bad)
            spoiled = ()
        for spot in laid:
            free = self._subtract(free, self._item_types[spot.item_type], *spot[1:])
        spots: list[Placement] = []
        lie_along = self._rng.random()
        left = list(counts)
        # What came before a piece with voids may yet lie in those.
        passes = 2 if any(self._item_types[index].voids for index in order) else 1
        for index in (*order,) * passes:
            shape = self._item_types[index]
            while left[index]:
                best = self._best_fit(free, shape, spoiled)
                block = best and _block(free[best[0]], shape, best[1], left[index])
                if spoiled and (best is None or block):
                    # Cuts may go through what is spoiled; only now are they kept from it.
                    for bad in spoiled:
                        free = self._exclude(free, bad)
                    spoiled = ()
                    continue
                if best is None:
                    break
                where, turned = best
                x, y, _, _ = free[where]
                if block:
                    wide, high = shape.oriented_size(turned)
                    across, down = range(block[0]), range(block[1])
                    spots += [
                        Placement(index, x + i * wide, y + j * high, turned)
                        for j in down
                        for i in across
                    ]
                    laid_now = len(across) * len(down)
                    self.steps += laid_now
                    free = self._split(free, where, len(across) * wide, len(down) * high, lie_along)
                else:
                    laid_now = 1
                    spots.append(Placement(index, x, y, turned))
                    free = self._place(free, where, shape, turned, lie_along)
                left[index] -= laid_now
                if not free:
                    return tuple(spots)
        return tuple(spots)

    def _exclude(self, free: list[_FreeRect], bad: Rect) -> list[_FreeRect]:
        """Return what is free without a place: for straight cuts, parted by cuts along its edges.

        Which cut comes first is drawn by chance.
        """
        if not self._guillotine:
            free = self._maximal_rectangles([*free, bad], len(free), bad.width, bad.height, 0)
            return [one for one in free if min(one[2:]) >= self._min_side]
        rest: list[_FreeRect] = []
        waiting = [Rect(*one) for one in free]
        while waiting:
            part = waiting.pop()
            if not part.overlaps(bad):
                rest.append(part)
                continue
            across = [at for at in (bad.x, bad.right) if part.x < at < part.right]
            down = [at for at in (bad.y, bad.bottom) if part.y < at < part.bottom]
            if across and (not down or self._rng.random() < 0.5):
                at = across[0] - part.x
                waiting += [
                    part._replace(width=at),
                    part._replace(x=part.x + at, width=part.width - at),
                ]
            elif down:
                at = down[0] - part.y
                waiting += [
                    part._replace(height=at),
                    part._replace(y=part.y + at, height=part.height - at),
                ]
        return rest

    def _place(
        self, free: list[_FreeRect], where: int, shape: ItemType, turned: bool, lie_along: float
    ) -> list[_FreeRect]:
        """Return what is free once a shape lies in the corner of a free rectangle."""
        x, y, _, _ = free[where]
        wide, high = shape.oriented_size(turned)
        if not shape.voids:
            return self._split(free, where, wide, high, lie_along)
        if self._guillotine:
            voids = shape.voids_at(x, y, turned)
            return [*self._guillotine_split(free, where, wide, high, lie_along), *voids]
        return self._subtract(free, shape, x, y, turned)

    def _subtract(
        self, free: list[_FreeRect], shape: ItemType, x: int, y: int, turned: bool
    ) -> list[_FreeRect]:
        """Take what is solid of a piece out of what is free."""
        wide, high = shape.oriented_size(turned)
        voids = shape.voids_at(x, y, turned)
        for solid in solid_rows(Rect(x, y, wide, high), voids):
            # Each row, offered as if it were free, is taken out of all that overlaps it.
            free = self._maximal_rectangles([*free, solid], len(free), solid.width, solid.height, 0)
        return [one for one in free if min(one[2:]) >= self._min_side]

    def _best_fit(
        self, free: Sequence[_FreeRect], shape: ItemType, spoiled: Sequence[Rect] = ()
    ) -> tuple[int, bool] | None:
        """Return the free rectangle, and the turn, that leave the shortest strip."""
        wide, high, _, turns, _ = shape
        self.steps += len(free)
        best_rest = -1
        found = (-1, False)
        for where, (x, y, width, height) in enumerate(free):
            if wide <= width and high <= height:
                rest = min(width - wide, height - high)
                if (best_rest < 0 or rest < best_rest) and not (
                    spoiled and _meets(spoiled, x, y, wide, high)
                ):
                    best_rest, found = rest, (where, False)
            if turns and high <= width and wide <= height:
                rest = min(width - high, height - wide)
                if (best_rest < 0 or rest < best_rest) and not (
                    spoiled and _meets(spoiled, x, y, high, wide)
                ):
                    best_rest, found = rest, (where, True)
        return None if best_rest < 0 else found

    def _guillotine_split(
        self, free: list[_FreeRect], where: int, wide: int, high: int, lie_along: float
    ) -> list[_FreeRect]:
        """Cut a free rectangle beside the piece in its corner, edge to edge one way or the other.

        Mostly the way that leaves the larger single rest; now and then the other, so that many
        runs see many cut trees.
        """
        x, y, width, height = free[where]
        right, below = width - wide, height - high
        upright_first = right * height > below * width
        if self._rng.random() < 0.3 * lie_along:
            upright_first = not upright_first
        rest = free[:where] + free[where + 1 :]
        if upright_first:
            parts = ((x + wide, y, right, height), (x, y + high, wide, below))
        else:
            parts = ((x + wide, y, right, high), (x, y + high, width, below))
        rest.extend(part for part in parts if part[2] and part[3])
        return rest

    def _maximal_rectangles(
        self, free: list[_FreeRect], where: int, wide: int, high: int, _lie_along: float
    ) -> list[_FreeRect]:
        """Take the piece out of all free rectangles, keeping each maximal rest."""
        x, y, _, _ = free[where]
        right, bottom = x + wide, y + high
        whole: list[_FreeRect] = []
        fresh: list[_FreeRect] = []
        for other in free:
            ox, oy, ow, oh = other
            if ox >= right or oy >= bottom or ox + ow <= x or oy + oh <= y:
                whole.append(other)
                continue
            if ox < x:
                fresh.append((ox, oy, x - ox, oh))
            if oy < y:
                fresh.append((ox, oy, ow, y - oy))
            if right < ox + ow:
                fresh.append((right, oy, ox + ow - right, oh))
            if bottom < oy + oh:
                fresh.append((ox, bottom, ow, oy + oh - bottom))
        fresh = list(dict.fromkeys(fresh))
        for one in fresh:
            x1, y1, w1, h1 = one
            inside = any(
                other is not one
                and other[0] <= x1
                and other[1] <= y1
                and other[0] + other[2] >= x1 + w1
                and other[1] + other[3] >= y1 + h1
                for other in (*whole, *fresh)
            )
            if not inside:
                whole.append(one)
        return whole


def _block(place: _FreeRect, shape: ItemType, turned: bool, left: int) -> tuple[int, int] | None:
    """Return how many columns and rows of a shape to lay at once; None if not that many."""
    wide, high = shape.oriented_size(turned)
    columns, rows = place[2] // wide, place[3] // high
    if min(left, columns * rows) < _MIN_BLOCK:
        return None
    columns = min(columns, left)
    return columns, min(rows, left // columns)


def _meets(spoiled: Sequence[Rect], x: int, y: int, wide: int, high: int) -> bool:
    place = Rect(x, y, wide, high)
    return any(place.overlaps(bad) for bad in spoiled)


def randomized_order(
    shapes: Sequence[ItemType], wanted: Sequence[int], worths: Sequence[float], rng: Random
) -> list[int]:
    """Return shapes by their worth for their area, more or less: an order in which to fill."""
    bulk = rng.choice((0.6, 0.8, 1.0))
    spread = rng.choice((0.05, 0.15, 0.4))
    random = rng.random
    key = {
        i: worths[i] / shapes[i].area ** bulk * (1 + spread * (2 * random() - 1)) for i in wanted
    }
    return sorted(wanted, key=lambda i: -key[i])
