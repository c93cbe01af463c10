"""Whole plans by diving: price, choose the layout the prices like best, cut by it, price again.

Column generation (Gilmore and Gomory) with a rounding heuristic (Sadykov and others, "Primal
heuristics for branch and price", INFORMS Journal on Computing 31, 2019): the linear programme over
known layouts prices the pieces still to be made; layouts worth more than their sheet costs are
sought by strips (`strip_knapsack.py`) and by greedy fillings in the order of worth for area, for
all pieces and where a dive is to be a thorough one by slicing as well (`guillotine_dp.py`); then
the layout used most is cut, and what is left is priced anew.

The last sheets of a dive are poor ones: few pieces are left to choose from.  So a dive may also
end early, as a good start that another method completes.  What the programme pays only rises as
sheets are cut, so a dive that would end no cheaper than the best plan is given up.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from nester.core.problem import Cuts
from nester.packing.patterns.greedy import drawn_order
from nester.packing.patterns.guillotine_dp import Slicing
from nester.packing.patterns.staged_greedy import filler_for
from nester.packing.patterns.strip_knapsack import Strips
from nester.packing.runtime.stop import Stop
from nester.packing.search.restricted_master import Master, Prices, Use
from nester.packing.task.pattern_pool import Pool, Uses
from nester.packing.task.task import Pattern, Spot, Task, usage

__all__ = ["Diver"]

_TRIES = 20
"""Fillings of each kind of sheet whenever the prices are new."""
_FIRST_ROUNDS = 30
_ROUNDS = 3
"""New prices at the start of the first dive, and after each layout cut."""
_NEARLY = 0.8
"""Of the layouts used nearly as much as the first, one is drawn."""
_START_TRIES, _START_ROUNDS = 5, 1
"""The same where a dive is a start only: many starts are better than a few good ones."""
_MOST_A_START = 3_000_000
"""Steps after which a start is taken as it is."""
_SLICINGS = 20
"""Layouts of each kind of sheet by one table."""
_DEARER = 0.98
"""What counts a little less counts such a part of what it did."""
_MISSES = 5
"""Prices in turn by which nothing is found, after which the programme is as good as solved."""
_MOST_OVERDUE = 400_000
"""A dive so many steps beyond its share is given up; its layouts are kept."""


class Diver:
    """Dives again and again, knowing what earlier dives found."""

    def __init__(self, task: Task, cuts: Cuts, rng: Random, pool: Pool) -> None:
        self._task = task
        self._rng = rng
        self._pool = pool
        ways = (Cuts.STRAIGHT,) if cuts is Cuts.STRAIGHT else (Cuts.FREE, Cuts.STRAIGHT)
        self._fillers = [filler_for(task, way, rng) for way in ways]
        self._strips = Strips(task, rng)
        self._slicing: Slicing | None = None
        self._master = Master(task)
        self._known = 0
        self._first = True
        self._tries, self._rounds = _TRIES, _ROUNDS
        self._hope = 0.0

    @property
    def steps(self) -> int:
        """Steps spent so far: of filling, and of solving in the same measure."""
        of_filling = sum(filler.steps for filler in self._fillers)
        of_slicing = self._slicing.steps if self._slicing else 0
        return self._master.steps + self._strips.steps + of_slicing + of_filling

    def plans(self, steps: int, stop: Stop) -> Iterator[Uses]:
        """Yield plans until so many further steps are spent (at least one plan, whole or not)."""
        self._tries, self._rounds = _TRIES, _ROUNDS
        end = self.steps + steps
        while True:
            yield self._dive(end + _MOST_OVERDUE, stop)
            if self.steps >= end or stop():
                return

    def price(self, steps: int, stop: Stop) -> None:
        """Seek layouts by which the programme pays less for all pieces, while steps last."""
        left, stock = self._whole()
        self._tries = _START_TRIES
        dear = [1.0] * len(left)
        misses = 0
        end = self.steps + steps
        self._master.want(left, stock)
        self._learn()
        while self.steps < end and misses < _MISSES and not stop():
            prices = self._master.prices()
            found = self._slice(prices, left, stock, dear)
            found |= self._seek(prices, left, stock)
            misses = 0 if found else misses + 1

    def _whole(self) -> tuple[list[int], list[int]]:
        """Return how many of each shape are wanted in all, and how many sheets there are."""
        kinds = range(len(self._task.kinds))
        return list(self._task.demand), [self._task.most_of(kind) for kind in kinds]

    def cheapest(self, number: int) -> list[tuple[Pattern, dict[int, int]]]:
        """Return the layouts of least reduced cost when all pieces are wanted, and their pieces."""
        self._master.want(*self._whole())
        self._learn()
        return self._master.cheapest(number)

    def _slice(self, prices: Prices, left: list[int], stock: list[int], dear: list[float]) -> bool:
        """Slice sheets; say whether a layout worth its sheet was new.

        What the best layouts want more of than there is makes them useless.  So where none is
        found such pieces count a little less the next time.

        Parameters
        ----------
        dear
            The part of its price that each shape counts; changed.
        """
        slicing = self._slicing = self._slicing or Slicing(self._task, self._rng)
        slicing.price(left, [w * part for w, part in zip(prices.worth, dear, strict=True)])
        found = False
        used_up: set[int] = set()
        for kind in range(len(self._task.kinds)):
            enough = prices.cost[kind] * (1 + 1e-6) + 1e-9
            if not stock[kind] or slicing.most(kind) <= enough:
                continue
            for spots in slicing.layouts(kind, _SLICINGS):
                counts = usage(spots)
                used_up.update(index for index, number in counts.items() if number == left[index])
                if sum(prices.worth[index] * n for index, n in counts.items()) > enough:
                    found |= self._pool.add(Pattern(kind, spots))
        self._learn()
        for index, part in enumerate(dear):
            if found:
                dear[index] = (1 + part) / 2
            elif index in used_up:
                dear[index] = part * _DEARER
        return found

    def start(
        self, fewest: int, steps: int, stop: Stop, below: int | None, *, slicing: bool = False
    ) -> Uses | None:
        """Cut sheets until the programme wants about so few more, or the steps are spent.

        Parameters
        ----------
        below
            What a whole plan may not cost: None is returned once what is cut, and the programme
            for the rest, cost as much.
        slicing
            Whether layouts are sought by slicing too, each time that prices are new.
        """
        self._tries, self._rounds = _START_TRIES, _START_ROUNDS
        latest = self.steps + min(steps, _MOST_A_START)
        cut = self._dive(latest, stop, fewest, below, slicing=slicing)
        return None if below is not None and self._hope >= below else cut

    def _spent(self, cut: Uses) -> int:
        return sum(copies * self._task.kinds[pattern.kind].price for pattern, copies in cut)

    def _dive(
        self,
        latest: int,
        stop: Stop,
        fewest: int = 0,
        below: int | None = None,
        *,
        slicing: bool = False,
    ) -> Uses:
        left, stock = self._whole()
        cut: dict[Pattern, int] = {}
        self._hope = 0.0
        rounds = _FIRST_ROUNDS if self._first else self._rounds
        self._first = False
        while any(left) and self.steps < latest and not stop():
            self._master.want(left, stock)
            self._learn()
            for _ in range(rounds):
                if self.steps >= latest:
                    break
                prices = self._master.prices()
                found = slicing and self._slice(prices, left, stock, [1.0] * len(left))
                if not self._seek(prices, left, stock) and not found:
                    break
            rounds = self._rounds
            uses = self._master.uses()
            rest = sum(use.sheets * self._task.kinds[use.pattern.kind].price for use in uses)
            self._hope = self._spent(tuple(cut.items())) + rest
            if below is not None and self._hope >= below:
                break
            if sum(use.sheets for use in uses) <= fewest:
                break
            chosen = self._chosen(uses, left, stock)
            if not chosen:
                break
            for pattern, copies in chosen:
                cut[pattern] = cut.get(pattern, 0) + copies
        return tuple(cut.items())

    def _learn(self) -> None:
        """Tell the programme of layouts that came into the pool since it last looked."""
        for pattern, counts in self._pool.since(self._known):
            self._master.add(pattern, counts)
        self._known = len(self._pool)

    def _seek(self, prices: Prices, left: list[int], stock: list[int]) -> bool:
        """Fill sheets in the order of worth; say whether a layout worth its sheet was new."""
        worth, shapes = prices.worth, self._task.shapes
        wanted = [i for i, number in enumerate(left) if number and worth[i] > 1e-9]
        if not wanted:
            return False
        densest = max(worth[i] / shapes[i].solid_area for i in wanted)
        found = False
        for kind, size in enumerate(self._task.kinds):
            enough = prices.cost[kind] * (1 + 1e-6) + 1e-9
            if not stock[kind] or densest * size.area <= enough:
                continue
            filled = [self._strips.fill(kind, left, worth, down=down) for down in (False, True)]
            tries = max(1, self._tries // len(self._task.kinds))
            filled += (self._fill(kind, left, wanted, worth, number) for number in range(tries))
            for spots in filled:
                if sum(worth[spot.shape] for spot in spots) > enough:
                    found |= self._pool.add(Pattern(kind, spots))
        self._learn()
        return found

    def _fill(
        self,
        kind: int,
        left: list[int],
        wanted: list[int],
        worth: tuple[float, ...],
        number: int,
    ) -> tuple[Spot, ...]:
        order = drawn_order(self._task.shapes, wanted, worth, self._rng)
        size = self._task.kinds[kind]
        filler = self._fillers[number % len(self._fillers)]
        return filler.fill(size.width, size.height, left, order, spoiled=size.spoiled)

    def _chosen(
        self, uses: list[Use], left: list[int], stock: list[int]
    ) -> list[tuple[Pattern, int]]:
        """Take what the programme cuts in whole sheets, else one sheet; keep the books of it."""
        chosen = []
        for pattern, counts, sheets in uses:
            copies = min(
                int(sheets + 1e-6),
                stock[pattern.kind],
                *(left[shape] // number for shape, number in counts.items()),
            )
            if copies:
                chosen.append((pattern, copies))
                _book(counts, copies, pattern.kind, left, stock)
        if chosen:
            return chosen
        open_to = [use for use in uses if stock[use.pattern.kind]]
        if not open_to:
            return []
        most = max(use.sheets for use in open_to)
        near = [use for use in open_to if use.sheets >= _NEARLY * most]
        pattern = _still_wanted(self._rng.choice(near).pattern, left)
        _book(usage(pattern.spots), 1, pattern.kind, left, stock)
        return [(pattern, 1)] if pattern.spots else []


def _book(
    counts: dict[int, int], copies: int, kind: int, left: list[int], stock: list[int]
) -> None:
    for shape, number in counts.items():
        left[shape] -= number * copies
    stock[kind] -= copies


def _still_wanted(pattern: Pattern, left: list[int]) -> Pattern:
    """Return a layout without the pieces that are made already."""
    rest = dict(enumerate(left))
    spots = []
    for spot in pattern.spots:
        if rest[spot.shape]:
            rest[spot.shape] -= 1
            spots.append(spot)
    return Pattern(pattern.kind, tuple(spots))
