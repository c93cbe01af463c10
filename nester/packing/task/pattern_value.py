"""Patterns taken apart on the table: their cuts, their offcuts, and what these are worth.

What an offcut counts is known only once it is known how a sheet is cut, and that takes time; so
each pattern is taken apart at most once, and where it can't have an offcut worth keeping, it is not
taken apart for that.

A plan's net cost is the price of its sheets less what its offcuts count.  It is bounded by the
cheapest sheets at reduced prices.  Let a sheet s have the price p and the area A, and let an offcut
of it count v a square unit, where v · A ≤ p.  Its offcuts and what is solid of its pieces don't
overlap, so the area kept is at most A − S, where S is the solid area on it, and its net cost is at
least

    p − v · (A − S) = (p − v · A) + v · S.

Summed over the sheets of a plan: its net cost is at least the price of its sheets, each at its
reduced price p − v · A ≥ 0, and the sum of v · S.  A lower bound on the price at reduced prices
bounds the first.  The second is least where solid area lies on sheets with the least v, of which
there is only so much: no more than all such sheets have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from nester.core.problem import Cut, Placed, Problem, Rect, Want, placed_voids
from nester.cutting import (
    cut_order,
)
from nester.packing.task.pattern_pool import Uses, standing
from nester.packing.task.preprocess import Blank, placed_on
from nester.packing.task.task import Pattern, Task, whole_prices

__all__ = ["Apart", "Standing", "Table"]

_LARGEST_PRICE = 2**40
_FINEST = 2**20
"""Net prices for a choice are whole in such a part of a price's unit, unless they'd be huge."""


_Key = tuple[Pattern, tuple[tuple[Rect, ...], ...]]
"""A pattern, and the voids of the piece on each of its spots."""
Standing = tuple[int, Fraction, int]
"""Area not made, net cost in a task's unit of price, sheets."""


class Apart(NamedTuple):
    """One sheet taken apart: its pieces in reading order, the cuts in order, the offcuts."""

    placed: tuple[Placed, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[Rect, ...]

    @property
    def kept_area(self) -> int:
        """Area of the offcuts in square fine units."""
        return sum(rect.area for rect in self.offcuts)

    @property
    def largeness(self) -> int:
        """Sum of the squares of the offcuts' areas: the fewer and larger, the more."""
        return sum(rect.area**2 for rect in self.offcuts)


class Table:
    """Takes the patterns of one paper apart, and knows what they cost net.

    Attributes
    ----------
    spent
        Pieces on all patterns taken apart so far: what it took, counted.
    """

    def __init__(self, problem: Problem, task: Task, *, hurried: bool = False) -> None:
        self._problem = problem
        self._hurried = hurried
        self._task = task
        self._apart: dict[_Key, Apart] = {}
        self._usual = [members[0] for members in task.members]
        self._solid = [
            min(_solid_area(blank.want) for blank in members) for members in task.members
        ]
        self._stock = [sheet.stock for sheet in task.sheets]
        worth = problem.offcut_worth
        self._rates = [
            stock.price * (1 if stock.offcut and worth else worth) / (stock.width * stock.height)
            for stock in self._stock
        ]
        self.weighs = any(self._rates)
        self._scale = max(
            1, min(_FINEST, _LARGEST_PRICE // max(1, *(kind.price for kind in task.kinds)))
        )
        self.spent = 0

    def apart(self, pattern: Pattern, blanks: Sequence[Blank] = ()) -> Apart:
        """Take a pattern apart.

        Parameters
        ----------
        blanks
            What its spots are for; else each is taken to be for the first blank of its shape.
        """
        asked = blanks or [self._usual[spot.shape] for spot in pattern.spots]
        key = pattern, tuple(blank.want.voids for blank in asked)
        if key not in self._apart:
            self._apart[key] = self._take_apart(pattern, asked)
        if not blanks:
            return self._apart[key]
        placed = sorted(self.place(pattern, blanks), key=_reading_order)
        return self._apart[key]._replace(placed=tuple(placed))

    def _take_apart(self, pattern: Pattern, blanks: Sequence[Blank]) -> Apart:
        self.spent += len(pattern.spots)
        stock = self._stock[pattern.kind]
        pieces = self.place(pattern, blanks)
        ordered = sorted(zip(pieces, blanks, strict=True), key=lambda one: _reading_order(one[0]))
        placed = tuple(piece for piece, _ in ordered)
        voids = [placed_voids(blank.want, piece) for piece, blank in ordered]
        cuts, offcuts = cut_order(
            stock.width,
            stock.height,
            placed,
            self._problem.cuts,
            self._problem.smallest_offcut,
            voids,
            unusable=stock.unusable,
            trimmer=self._problem.trimmer,
            hurried=self._hurried,
        )
        return Apart(placed, cuts, offcuts)

    def place(self, pattern: Pattern, blanks: Sequence[Blank]) -> list[Placed]:
        """Return where the pieces for some blanks lie on a pattern, in fine units."""
        divisor = self._task.divisor
        sheet = self._task.sheets[pattern.kind]
        placed = []
        for spot, blank in zip(pattern.spots, blanks, strict=True):
            shape = self._task.shapes[spot.shape]
            width, height = shape.sides(spot.turned)
            at = Rect(*(side * divisor for side in (spot.x, spot.y, width, height)))
            # Only shapes without voids may lie otherwise than their blank does.
            turned = spot.turned if shape.voids else at[2:] != (blank.width, blank.height)
            placed.append(placed_on(sheet, blank, at, turned))
        return placed

    # --- what offcuts count ---------------------------------------------------------------

    def most_kept(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count at most, without taking it apart."""
        rate = self._rates[pattern.kind]
        if not rate:
            return rate
        stock = self._stock[pattern.kind]
        waste = stock.width * stock.height - sum(self._solid[spot.shape] for spot in pattern.spots)
        return rate * waste if waste >= self._problem.smallest_offcut**2 else Fraction(0)

    def kept(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count."""
        if not self.most_kept(pattern):
            return Fraction(0)
        return self._rates[pattern.kind] * self.apart(pattern).kept_area

    def kept_of(self, kind: int, offcuts: Iterable[Rect]) -> Fraction:
        """Return what some offcuts of a kind of sheet count."""
        return self._rates[kind] * sum(rect.area for rect in offcuts)

    def glance(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count, if it is known or can be seen at once.

        What is seen is the larger strip at the right or the lower edge of the sheet that is free
        from edge to edge.
        """
        if not self.most_kept(pattern):
            return Fraction(0)
        if self._key(pattern) in self._apart:
            return self.kept(pattern)
        kind, shapes = self._task.kinds[pattern.kind], self._task.shapes
        right = bottom = 0
        for index, x, y, turned in pattern.spots:
            wide, high = shapes[index].sides(turned)
            right, bottom = max(right, x + wide), max(bottom, y + high)
        least = -(-self._problem.smallest_offcut // self._task.divisor)
        strips = ((kind.width - right, kind.height), (kind.width, kind.height - bottom))
        area = max((w * h for w, h in strips if min(w, h) >= least), default=0)
        return self._rates[pattern.kind] * area * self._task.divisor**2

    def standing(self, uses: Uses, most_spent: int | None = None) -> Standing:
        """Return how good a plan is, smaller first: area not made, net cost, sheets.

        Parameters
        ----------
        most_spent
            Once so much has been spent, what is not known yet counts nothing; so the net cost is
            never told too low.
        """
        return self._standing(
            uses,
            self.kept if most_spent is None or self.spent < most_spent else self._kept_if_known,
        )

    def best_standing(self, uses: Uses) -> Standing:
        """Return a standing that a plan can't surpass, without taking anything apart."""
        return self._standing(uses, self.most_kept)

    def _standing(self, uses: Uses, kept_of: Callable[[Pattern], Fraction]) -> Standing:
        unmade, cost, sheets = standing(self._task, uses)
        if not self.weighs:
            return unmade, Fraction(cost), sheets
        kept = sum((kept_of(pattern) * copies for pattern, copies in uses), Fraction(0))
        return unmade, cost - kept / self._task.price_unit, sheets

    def _kept_if_known(self, pattern: Pattern) -> Fraction:
        return self.kept(pattern) if self._key(pattern) in self._apart else Fraction(0)

    def _key(self, pattern: Pattern) -> _Key:
        return pattern, tuple(self._usual[spot.shape].want.voids for spot in pattern.spots)

    def rate(self, pattern: Pattern) -> float:
        """Return what a pattern costs net for the area of its pieces, as far as can be seen."""
        price = self._stock[pattern.kind].price - self.glance(pattern)
        return float(price / sum(self._solid[spot.shape] for spot in pattern.spots))

    def net_prices(self, patterns: Sequence[Pattern]) -> list[int]:
        """Return what sheets cut by some patterns cost net, as far as can be seen, in whole parts.

        The part is the same for all; where offcuts count nothing, it is the unit of price.
        """
        kinds = self._task.kinds
        if not self.weighs:
            return [kinds[pattern.kind].price for pattern in patterns]
        part = self._scale / self._task.price_unit
        return [
            max(0, kinds[pattern.kind].price * self._scale - round(self.glance(pattern) * part))
            for pattern in patterns
        ]

    # --- the bound ------------------------------------------------------------------------

    def reduced(self) -> Task:
        """Return the task at the reduced prices by which the net cost is bounded."""
        if not self.weighs:
            return self._task
        prices = [
            stock.price - rate * (stock.width * stock.height)
            for stock, rate in zip(self._stock, self._rates, strict=True)
        ]
        whole, unit = whole_prices(prices)
        kinds = tuple(
            kind._replace(price=price) for kind, price in zip(self._task.kinds, whole, strict=True)
        )
        return replace(self._task, kinds=kinds, price_unit=unit)

    def least_of(self, counts: Sequence[int], unmade: int = 0) -> Fraction:
        """Return what so many pieces of each shape cost net at least, beside the reduced prices.

        Parameters
        ----------
        unmade
            Blanks of so much area, in the task's units, are left out, whichever they are.
        """
        left = sum(area * n for area, n in zip(self._solid, counts, strict=True))
        left = max(0, left - unmade * self._task.divisor**2)
        least = Fraction(0)
        for kind in sorted(range(len(self._rates)), key=self._rates.__getitem__):
            stock = self._stock[kind]
            room = stock.width * stock.height * self._task.most_of(kind)
            least += self._rates[kind] * min(left, room)
            left -= min(left, room)
        return least


def _solid_area(want: Want) -> int:
    return want.width * want.height - sum(void.area for void in want.voids)


def _reading_order(piece: Placed) -> tuple[int, int]:
    return piece.y, piece.x
