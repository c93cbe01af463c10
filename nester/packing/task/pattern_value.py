"""Patterns taken apart on the table: their cuts, their offcuts, and the value of these.

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
the area is limited: no more than all such sheets have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from nester.core.problem import Cut, Demand, PlacedPiece, Problem, Rect, placed_voids
from nester.cutting import plan_cuts
from nester.packing.task.pattern_pool import Plan, objective
from nester.packing.task.preprocess import Blank, placed_on
from nester.packing.task.task import Pattern, Task, integer_prices

__all__ = ["CutPattern", "Objective", "PatternEvaluator"]

_LARGEST_PRICE = 2**40
_MAX_PRICE_SCALE = 2**20
"""Net prices for a choice are whole in such a part of a price's unit, unless they'd be huge."""


_Key = tuple[Pattern, tuple[tuple[Rect, ...], ...]]
"""A pattern, and the voids of the piece on each of its spots."""
Objective = tuple[int, Fraction, int]
"""Area not made, net cost in a task's unit of price, sheets."""


class CutPattern(NamedTuple):
    """One sheet taken apart: its pieces in reading order, the cuts in order, the offcuts."""

    placed: tuple[PlacedPiece, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[Rect, ...]

    @property
    def offcut_area(self) -> int:
        """Area of the offcuts in square fine units."""
        return sum(rect.area for rect in self.offcuts)

    @property
    def offcut_concentration(self) -> int:
        """Sum of the squares of the offcuts' areas: the fewer and larger, the more."""
        return sum(rect.area**2 for rect in self.offcuts)


class PatternEvaluator:
    """Takes the patterns of one paper apart, and knows what they cost net.

    Attributes
    ----------
    pieces_evaluated
        Pieces on all patterns taken apart so far: what it took, counted.
    """

    def __init__(self, problem: Problem, task: Task, *, hurried: bool = False) -> None:
        self._problem = problem
        self._hurried = hurried
        self._task = task
        self._cut_patterns: dict[_Key, CutPattern] = {}
        self._default_blanks = [members[0] for members in task.blanks]
        self._min_solid_areas = [
            min(_solid_area(blank.demand) for blank in members) for members in task.blanks
        ]
        self._stock = [sheet.stock for sheet in task.sheets]
        worth = problem.offcut_value_share
        self._offcut_rates = [
            stock.price * (1 if stock.is_offcut and worth else worth) / (stock.width * stock.height)
            for stock in self._stock
        ]
        self.values_offcuts = any(self._offcut_rates)
        self._scale = max(
            1,
            min(
                _MAX_PRICE_SCALE, _LARGEST_PRICE // max(1, *(kind.price for kind in task.bin_types))
            ),
        )
        self.pieces_evaluated = 0

    def cut_pattern(self, pattern: Pattern, blanks: Sequence[Blank] = ()) -> CutPattern:
        """Take a pattern apart.

        Parameters
        ----------
        blanks
            What its spots are for; else each is taken to be for the first blank of its shape.
        """
        asked = blanks or [self._default_blanks[spot.item_type] for spot in pattern.placements]
        key = pattern, tuple(blank.demand.voids for blank in asked)
        if key not in self._cut_patterns:
            self._cut_patterns[key] = self._plan_pattern_cuts(pattern, asked)
        if not blanks:
            return self._cut_patterns[key]
        placed = sorted(self.placed_pieces(pattern, blanks), key=_reading_order)
        return self._cut_patterns[key]._replace(placed=tuple(placed))

    def _plan_pattern_cuts(self, pattern: Pattern, blanks: Sequence[Blank]) -> CutPattern:
        self.pieces_evaluated += len(pattern.placements)
        stock = self._stock[pattern.bin_type]
        pieces = self.placed_pieces(pattern, blanks)
        ordered = sorted(zip(pieces, blanks, strict=True), key=lambda pair: _reading_order(pair[0]))
        placed = tuple(piece for piece, _ in ordered)
        voids = [placed_voids(blank.demand, piece) for piece, blank in ordered]
        cuts, offcuts = plan_cuts(
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
        return CutPattern(placed, cuts, offcuts)

    def placed_pieces(self, pattern: Pattern, blanks: Sequence[Blank]) -> list[PlacedPiece]:
        """Return where the pieces for some blanks lie on a pattern, in fine units."""
        divisor = self._task.length_unit
        sheet = self._task.sheets[pattern.bin_type]
        placed = []
        for spot, blank in zip(pattern.placements, blanks, strict=True):
            shape = self._task.item_types[spot.item_type]
            width, height = shape.oriented_size(spot.turned)
            at = Rect(*(side * divisor for side in (spot.x, spot.y, width, height)))
            # Only shapes without voids may lie otherwise than their blank does.
            turned = spot.turned if shape.voids else at[2:] != (blank.width, blank.height)
            placed.append(placed_on(sheet, blank, at, turned))
        return placed

    # --- what offcuts count ---------------------------------------------------------------

    def max_offcut_value(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count at most, without taking it apart."""
        rate = self._offcut_rates[pattern.bin_type]
        if not rate:
            return rate
        stock = self._stock[pattern.bin_type]
        waste = stock.width * stock.height - sum(
            self._min_solid_areas[spot.item_type] for spot in pattern.placements
        )
        return rate * waste if waste >= self._problem.smallest_offcut**2 else Fraction(0)

    def offcut_value(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count."""
        if not self.max_offcut_value(pattern):
            return Fraction(0)
        return self._offcut_rates[pattern.bin_type] * self.cut_pattern(pattern).offcut_area

    def value_of_offcuts(self, kind: int, offcuts: Iterable[Rect]) -> Fraction:
        """Return what some offcuts of a kind of sheet count."""
        return self._offcut_rates[kind] * sum(rect.area for rect in offcuts)

    def estimated_offcut_value(self, pattern: Pattern) -> Fraction:
        """Return what the offcuts of a pattern count, if it is known or can be seen at once.

        What is seen is the larger strip at the right or the lower edge of the sheet that is free
        from edge to edge.
        """
        if not self.max_offcut_value(pattern):
            return Fraction(0)
        if self._key(pattern) in self._cut_patterns:
            return self.offcut_value(pattern)
        kind, shapes = self._task.bin_types[pattern.bin_type], self._task.item_types
        right = bottom = 0
        for index, x, y, turned in pattern.placements:
            wide, high = shapes[index].oriented_size(turned)
            right, bottom = max(right, x + wide), max(bottom, y + high)
        least = -(-self._problem.smallest_offcut // self._task.length_unit)
        strips = ((kind.width - right, kind.height), (kind.width, kind.height - bottom))
        area = max((w * h for w, h in strips if min(w, h) >= least), default=0)
        return self._offcut_rates[pattern.bin_type] * area * self._task.length_unit**2

    def objective(self, uses: Plan, most_spent: int | None = None) -> Objective:
        """Return how good a plan is, smaller first: area not made, net cost, sheets.

        Parameters
        ----------
        most_spent
            Once that much has been spent, what is not known yet counts nothing; so the net cost is
            never too low.
        """
        return self._objective(
            uses,
            self.offcut_value
            if most_spent is None or self.pieces_evaluated < most_spent
            else self._known_offcut_value,
        )

    def optimistic_objective(self, uses: Plan) -> Objective:
        """Return a standing that a plan can't surpass, without taking anything apart."""
        return self._objective(uses, self.max_offcut_value)

    def _objective(self, uses: Plan, kept_of: Callable[[Pattern], Fraction]) -> Objective:
        unmade, cost, sheets = objective(self._task, uses)
        if not self.values_offcuts:
            return unmade, Fraction(cost), sheets
        kept = sum((kept_of(pattern) * copies for pattern, copies in uses), Fraction(0))
        return unmade, cost - kept / self._task.price_unit, sheets

    def _known_offcut_value(self, pattern: Pattern) -> Fraction:
        return (
            self.offcut_value(pattern) if self._key(pattern) in self._cut_patterns else Fraction(0)
        )

    def _key(self, pattern: Pattern) -> _Key:
        return pattern, tuple(
            self._default_blanks[spot.item_type].demand.voids for spot in pattern.placements
        )

    def net_cost_rate(self, pattern: Pattern) -> float:
        """Return what a pattern costs net for the area of its pieces, as far as can be seen."""
        price = self._stock[pattern.bin_type].price - self.estimated_offcut_value(pattern)
        return float(
            price / sum(self._min_solid_areas[spot.item_type] for spot in pattern.placements)
        )

    def net_prices(self, patterns: Sequence[Pattern]) -> list[int]:
        """Return what sheets cut by some patterns cost net, as far as can be seen, in whole parts.

        The part is the same for all; where offcuts count nothing, it is the unit of price.
        """
        kinds = self._task.bin_types
        if not self.values_offcuts:
            return [kinds[pattern.bin_type].price for pattern in patterns]
        part = self._scale / self._task.price_unit
        return [
            max(
                0,
                kinds[pattern.bin_type].price * self._scale
                - round(self.estimated_offcut_value(pattern) * part),
            )
            for pattern in patterns
        ]

    # --- the bound ------------------------------------------------------------------------

    def bounding_task(self) -> Task:
        """Return the task at the reduced prices by which the net cost is bounded."""
        if not self.values_offcuts:
            return self._task
        prices = [
            stock.price - rate * (stock.width * stock.height)
            for stock, rate in zip(self._stock, self._offcut_rates, strict=True)
        ]
        whole, unit = integer_prices(prices)
        kinds = tuple(
            kind._replace(price=price)
            for kind, price in zip(self._task.bin_types, whole, strict=True)
        )
        return replace(self._task, bin_types=kinds, price_unit=unit)

    def min_item_cost(self, counts: Sequence[int], unmade: int = 0) -> Fraction:
        """Return what given counts of pieces cost net at least, beside the reduced prices.

        Parameters
        ----------
        unmade
            Blanks of that much area, in the task's units, are left out, whichever they are.
        """
        left = sum(area * n for area, n in zip(self._min_solid_areas, counts, strict=True))
        left = max(0, left - unmade * self._task.length_unit**2)
        least = Fraction(0)
        for kind in sorted(range(len(self._offcut_rates)), key=self._offcut_rates.__getitem__):
            stock = self._stock[kind]
            room = stock.width * stock.height * self._task.max_sheets(kind)
            least += self._offcut_rates[kind] * min(left, room)
            left -= min(left, room)
        return least


def _solid_area(want: Demand) -> int:
    return want.width * want.height - sum(void.area for void in want.voids)


def _reading_order(piece: PlacedPiece) -> tuple[int, int]:
    return piece.y, piece.x
