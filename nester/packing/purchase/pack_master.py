"""Which packs to buy, by what is known of each paper: a programme in whole numbers.

Sheets are enough if a known plan does with them, or if they break no known inequality; or, where
every content of a sheet is known, if contents can be chosen that make everything.

What one paper costs from some suppliers alone is told to the programme of all papers: what a paper
costs at least is its least cost from these, less what others, if anything is bought of them, could
spare.  By parts of packs alone that would not be seen; with it little is left to search.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum, auto
from fractions import Fraction
from typing import NamedTuple

from nester.packing.bounds.valid_inequalities import Inequality
from nester.packing.purchase.market import Market, Purse, Suppliers
from nester.packing.purchase.sufficiency import Column, Sheets
from nester.packing.runtime.mip import Chosen, Number, Programme
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Uses, trim
from nester.packing.task.task import Pattern, Task

__all__ = ["Known", "PackChoice", "Ways"]

_LARGEST = 2**24
"""Inequalities are given to SCIP in numbers about so large at most."""


class Known(NamedTuple):
    """What is known of a paper, as far as the choice of packs asks.

    Attributes
    ----------
    size_of
        For each kind of sheet its size on the market; None for what is on hand.
    columns
        For few pieces: all largest contents, surely held or perhaps; None for more.
    plans
        Sheets of each kind that are enough.
    inequalities
        What every plan keeps to.
    likely
        What plans seem to keep to.
    least, hoped
        By suppliers: what the paper's packs cost from these alone, at least, and where its sheets
        have to do what is likely too.
    tried
        What was tried, for people and tests: counts by name.
    """

    task: Task
    size_of: tuple[int | None, ...]
    columns: tuple[list[Column], list[Column]] | None
    plans: tuple[Sheets, ...]
    inequalities: tuple[Inequality, ...]
    likely: tuple[Inequality, ...]
    least: Mapping[Suppliers, int]
    hoped: Mapping[Suppliers, int]
    tried: Counter[str]


class Ways(Enum):
    """When sheets are enough: if a plan is known, or if they break no inequality.

    Inequalities are those that every plan keeps to, or also those that plans seem to keep to.
    """

    PLANNED = auto()
    POSSIBLE = auto()
    LIKELY = auto()


class PackChoice:
    """A choice of packs that are enough, by what is known of each paper.

    Parameters
    ----------
    also
        By size: so many sheets are bought beside those that are cut.
    ways
        What is enough.
    suppliers
        Buy of these only, and reckon without their terms; None: of all, on their terms.
    more
        Beside sheets that are enough for a known plan, let also those be bought that surpass what
        is likely to be needed by such a share; None: don't.
    """

    def __init__(
        self,
        market: Market,
        papers: Sequence[Known],
        also: Mapping[int, int],
        ways: Ways,
        *,
        suppliers: Suppliers | None = None,
        more: Fraction | None = None,
    ) -> None:
        self._programme = Programme()
        self._ways = ways
        self._more = more
        self._columns: list[tuple[int, Task, list[Column], list[Number]]] = []
        self._also = also
        most = dict(also)
        for paper in papers:
            for kind, size in enumerate(paper.size_of):
                if size is not None:
                    most[size] = also.get(size, 0) + self._most(paper, kind)
        self.purse = Purse(market, self._programme, most, suppliers)
        for size, number in also.items():
            self._programme.at_least(self.purse.sheets[size], number)
        for place, paper in enumerate(papers):
            if paper.columns:
                self._add_columns(place, paper, paper.columns[1 if ways is Ways.POSSIBLE else 0])
            elif ways is Ways.PLANNED:
                self._add_plans(paper)
            else:
                self._add_inequalities(paper, Fraction(0), None)
            if suppliers is None and ways is not Ways.PLANNED:
                least = paper.least if ways is Ways.POSSIBLE else paper.hoped
                self._add_leasts(paper, least, frozenset(market.terms))

    def _most(self, paper: Known, kind: int) -> int:
        """Return how many sheets of a kind can serve at most."""
        if paper.columns:
            return paper.task.most_of(kind)
        planned = self._ways is Ways.PLANNED
        by_plans = max((sheets[kind] for sheets in paper.plans), default=0) if planned else 0
        if planned and self._more is None:
            return by_plans
        more = self._more or 0
        needs = (
            -(-_ceil(one.needed(paper.task.demand) * (1 + more)) // one.holds[kind])
            for one in self._rows(paper)
            if one.holds[kind]
        )
        return max(by_plans, min(max(needs, default=0), paper.task.most_of(kind)))

    def _rows(self, paper: Known) -> list[Inequality]:
        """Return the inequalities that sheets have to keep to."""
        return [*paper.inequalities, *(() if self._ways is Ways.POSSIBLE else paper.likely)]

    def _add_columns(self, place: int, paper: Known, columns: list[Column]) -> None:
        programme, task = self._programme, paper.task
        copies = [programme.number(task.most_of(column.kind)) for column in columns]
        for shape, wanted in enumerate(task.demand):
            made = [
                (column.content[shape], number)
                for column, number in zip(columns, copies, strict=True)
            ]
            programme.at_least(made, wanted)
        for kind, size in enumerate(paper.size_of):
            used = [
                (-1, number)
                for column, number in zip(columns, copies, strict=True)
                if column.kind == kind
            ]
            if size is None:
                programme.at_least(used, -task.most_of(kind))
            else:
                programme.at_least([*self.purse.sheets[size], *used], self._also.get(size, 0))
        self._columns.append((place, task, columns, copies))

    def _add_plans(self, paper: Known) -> None:
        programme = self._programme
        known = paper.plans
        taken = [programme.number(1) for _ in known]
        ways = [(1, way) for way in taken]
        if self._more is not None:
            hoped = programme.number(1)
            ways.append((1, hoped))
            self._add_inequalities(paper, self._more, hoped)
        programme.at_least(ways, 1)
        for kind, size in enumerate(paper.size_of):
            used = [
                (-sheets[kind], way)
                for sheets, way in zip(known, taken, strict=True)
                if sheets[kind]
            ]
            if size is not None and used:
                programme.at_least([*self.purse.sheets[size], *used], self._also.get(size, 0))

    def _add_inequalities(self, paper: Known, more: Fraction, only_if: Number | None) -> None:
        for one in self._rows(paper):
            needed = _ceil(one.needed(paper.task.demand) * (1 + more)) - _on_hand(paper, one.holds)
            if needed <= 0:
                continue
            needed += sum(
                one.holds[kind] * self._also.get(size, 0)
                for kind, size in enumerate(paper.size_of)
                if size is not None
            )
            # In numbers that suit the solver, rounded so that the inequality only gets weaker.
            scale = max(1, needed // _LARGEST)
            asked = needed // scale
            held = [
                (min(asked, -(-one.holds[kind] * pack // scale)), packs)
                for kind, size in enumerate(paper.size_of)
                if size is not None and one.holds[kind]
                for pack, packs in self.purse.sheets[size]
            ]
            if only_if is None:
                self._programme.at_least(held, asked)
            else:
                self._programme.at_least([*held, (-asked, only_if)], 0)

    def _add_leasts(
        self, paper: Known, least: Mapping[Suppliers, int], everyone: Suppliers
    ) -> None:
        """Let the paper cost what it does from some suppliers, unless others are asked too."""
        everywhere = least.get(everyone, 0)
        goods = self.purse.goods([size for size in paper.size_of if size is not None])
        for suppliers, cost in least.items():
            others = [
                (max(0, cost - everywhere), asked)
                for supplier, asked in self.purse.asked.items()
                if supplier not in suppliers
            ]
            self._programme.at_least([*goods, *others], cost)

    def cheapest(self, nodes: int, stop: Stop, *, near: float = 0.0, sharp: bool = False) -> Chosen:
        """Return the cheapest choice that so many nodes suffice for, or one near it.

        Parameters
        ----------
        sharp
            Whether the bound matters more than quickness.
        """
        return self._programme.smallest(self.purse.cost, nodes, stop, near=near, sharp=sharp)

    def but_not(self, asked: Iterable[Suppliers]) -> None:
        """Ask other suppliers than each of some sets of them."""
        for suppliers in sorted(asked, key=sorted):  # a set's order differs from run to run
            others = [
                (-1 if supplier in suppliers else 1, number)
                for supplier, number in self.purse.asked.items()
            ]
            self._programme.at_least(others, 1 - sum(factor < 0 for factor, _ in others))

    def suppliers(self, chosen: Chosen) -> Suppliers:
        """Return from whom a choice buys."""
        return frozenset(one.offer.supplier for one in self.purse.bought(chosen.value or {}))

    def cost(self, chosen: Chosen) -> int:
        """Return what a choice costs, in the market's units."""
        value = chosen.value or {}
        return int(sum(factor * value[number] for factor, number in self.purse.cost))

    def uses(self, value: Mapping[Number, Fraction]) -> list[tuple[int, Uses]]:
        """Return the plans by columns, with their papers' places."""
        plans = []
        for place, task, columns, copies in self._columns:
            uses: dict[Pattern, int] = {}
            for column, number in zip(columns, copies, strict=True):
                if column.pattern is not None and value[number]:
                    uses[column.pattern] = uses.get(column.pattern, 0) + int(value[number])
            plans.append((place, trim(task, tuple(uses.items()))))
        return plans


def _ceil(value: Fraction | int) -> int:
    return -int(-value // 1)


def _on_hand(paper: Known, holds: Sequence[int]) -> int:
    """Return what the sheets on hand hold."""
    return sum(
        hold * paper.task.most_of(kind)
        for kind, hold in enumerate(holds)
        if paper.size_of[kind] is None
    )
