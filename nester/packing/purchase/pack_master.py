"""Which packs to buy, by what is known of each paper: a mixed-integer program.

Sheets are enough if a known plan does with them, or if they break no known inequality; or, where
every content of a sheet is known, if contents can be chosen that make everything.

What one paper costs from some suppliers alone is told to the program of all papers: what a paper
costs at least is its least cost from these, less what others, if anything is bought of them, could
spare.  By parts of packs alone that would not be seen; with it little is left to search.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum, auto
from fractions import Fraction
from typing import NamedTuple

from nester.packing.bounds.valid_inequalities import ValidInequality
from nester.packing.purchase.market import Market, PurchaseVariables, Suppliers
from nester.packing.purchase.sufficiency import Column, SheetCounts
from nester.packing.runtime.mip import MipSolution, MixedIntegerProgram, Variable
from nester.packing.runtime.stop import Stop
from nester.packing.task.pattern_pool import Plan, trim_overproduction
from nester.packing.task.task import Pattern, Task

__all__ = ["PackMaster", "PaperKnowledge", "SufficiencyRule"]

_MAX_COEFFICIENT = 2**24
"""Inequalities are given to SCIP in numbers about so large at most."""


class PaperKnowledge(NamedTuple):
    """What is known of a paper, as far as the choice of packs asks.

    Attributes
    ----------
    size_of
        For each bin type its size on the market; None for what is on hand.
    columns
        For few pieces: all largest contents, surely held or perhaps; None for more.
    sufficient_sheets
        Sheets of each bin type that are enough.
    inequalities
        What every plan keeps to.
    estimated_inequalities
        What plans seem to keep to.
    cost_bounds, estimated_costs
        By suppliers: what the paper's packs cost from these alone, at least, and where its sheets
        have to do what is likely too.
    statistics
        What was tried, for people and tests: counts by name.
    """

    task: Task
    size_of: tuple[int | None, ...]
    columns: tuple[list[Column], list[Column]] | None
    sufficient_sheets: tuple[SheetCounts, ...]
    inequalities: tuple[ValidInequality, ...]
    estimated_inequalities: tuple[ValidInequality, ...]
    cost_bounds: Mapping[Suppliers, int]
    estimated_costs: Mapping[Suppliers, int]
    statistics: Counter[str]


class SufficiencyRule(Enum):
    """When sheets are enough: if a plan is known, or if they break no inequality.

    Inequalities are those that every plan keeps to, or also those that plans seem to keep to.
    """

    PLANNED = auto()
    POSSIBLE = auto()
    LIKELY = auto()


class PackMaster:
    """A choice of packs that are enough, by what is known of each paper.

    Parameters
    ----------
    extra_sheets
        By size: so many sheets are bought beside those that are cut.
    rule
        What is enough.
    suppliers
        Buy of these only, and reckon without their terms; None: of all, on their terms.
    surplus_share
        Beside sheets that are enough for a known plan, let also those be bought that surpass what
        is likely to be needed by such a share; None: don't.
    """

    def __init__(
        self,
        market: Market,
        papers: Sequence[PaperKnowledge],
        extra_sheets: Mapping[int, int],
        rule: SufficiencyRule,
        *,
        suppliers: Suppliers | None = None,
        surplus_share: Fraction | None = None,
    ) -> None:
        self._mip = MixedIntegerProgram()
        self._rule = rule
        self._surplus_share = surplus_share
        self._columns: list[tuple[int, Task, list[Column], list[Variable]]] = []
        self._extra_sheets = extra_sheets
        max_sheets = dict(extra_sheets)
        for paper in papers:
            for bin_type, size in enumerate(paper.size_of):
                if size is not None:
                    max_sheets[size] = extra_sheets.get(size, 0) + self._max_sheets(paper, bin_type)
        self.variables = PurchaseVariables(market, self._mip, max_sheets, suppliers)
        for size, number in extra_sheets.items():
            self._mip.add_at_least(self.variables.sheets[size], number)
        for paper_index, paper in enumerate(papers):
            if paper.columns:
                self._add_columns(
                    paper_index, paper, paper.columns[1 if rule is SufficiencyRule.POSSIBLE else 0]
                )
            elif rule is SufficiencyRule.PLANNED:
                self._add_plans(paper)
            else:
                self._add_inequalities(paper, Fraction(0), None)
            if suppliers is None and rule is not SufficiencyRule.PLANNED:
                cost_bounds = (
                    paper.cost_bounds if rule is SufficiencyRule.POSSIBLE else paper.estimated_costs
                )
                self._add_cost_bounds(paper, cost_bounds, frozenset(market.terms))

    def _max_sheets(self, paper: PaperKnowledge, bin_type: int) -> int:
        """Return how many sheets of a bin type can serve at most."""
        if paper.columns:
            return paper.task.max_sheets(bin_type)
        planned = self._rule is SufficiencyRule.PLANNED
        by_plans = (
            max((sheets[bin_type] for sheets in paper.sufficient_sheets), default=0)
            if planned
            else 0
        )
        if planned and self._surplus_share is None:
            return by_plans
        surplus_share = self._surplus_share or 0
        by_inequalities = (
            -(
                -_ceil(inequality.total_weight(paper.task.demand) * (1 + surplus_share))
                // inequality.capacities[bin_type]
            )
            for inequality in self._inequalities(paper)
            if inequality.capacities[bin_type]
        )
        return max(by_plans, min(max(by_inequalities, default=0), paper.task.max_sheets(bin_type)))

    def _inequalities(self, paper: PaperKnowledge) -> list[ValidInequality]:
        """Return the inequalities that sheets have to keep to."""
        return [
            *paper.inequalities,
            *(() if self._rule is SufficiencyRule.POSSIBLE else paper.estimated_inequalities),
        ]

    def _add_columns(self, paper_index: int, paper: PaperKnowledge, columns: list[Column]) -> None:
        mip, task = self._mip, paper.task
        copies = [mip.add_variable(task.max_sheets(column.bin_type)) for column in columns]
        for item_type, wanted in enumerate(task.demand):
            produced = [
                (column.content[item_type], number)
                for column, number in zip(columns, copies, strict=True)
            ]
            mip.add_at_least(produced, wanted)
        for bin_type, size in enumerate(paper.size_of):
            used = [
                (-1, number)
                for column, number in zip(columns, copies, strict=True)
                if column.bin_type == bin_type
            ]
            if size is None:
                mip.add_at_least(used, -task.max_sheets(bin_type))
            else:
                mip.add_at_least(
                    [*self.variables.sheets[size], *used], self._extra_sheets.get(size, 0)
                )
        self._columns.append((paper_index, task, columns, copies))

    def _add_plans(self, paper: PaperKnowledge) -> None:
        mip = self._mip
        known_sheets = paper.sufficient_sheets
        plan_used = [mip.add_variable(1) for _ in known_sheets]
        rule = [(1, used) for used in plan_used]
        if self._surplus_share is not None:
            estimate_used = mip.add_variable(1)
            rule.append((1, estimate_used))
            self._add_inequalities(paper, self._surplus_share, estimate_used)
        mip.add_at_least(rule, 1)
        for bin_type, size in enumerate(paper.size_of):
            used = [
                (-sheets[bin_type], used)
                for sheets, used in zip(known_sheets, plan_used, strict=True)
                if sheets[bin_type]
            ]
            if size is not None and used:
                mip.add_at_least(
                    [*self.variables.sheets[size], *used], self._extra_sheets.get(size, 0)
                )

    def _add_inequalities(
        self, paper: PaperKnowledge, surplus_share: Fraction, condition: Variable | None
    ) -> None:
        for inequality in self._inequalities(paper):
            required = _ceil(
                inequality.total_weight(paper.task.demand) * (1 + surplus_share)
            ) - _capacity_on_hand(paper, inequality.capacities)
            if required <= 0:
                continue
            required += sum(
                inequality.capacities[bin_type] * self._extra_sheets.get(size, 0)
                for bin_type, size in enumerate(paper.size_of)
                if size is not None
            )
            # In numbers that suit the solver, rounded so that the inequality only gets weaker.
            scale = max(1, required // _MAX_COEFFICIENT)
            required_units = required // scale
            supplied = [
                (min(required_units, -(-inequality.capacities[bin_type] * pack // scale)), packs)
                for bin_type, size in enumerate(paper.size_of)
                if size is not None and inequality.capacities[bin_type]
                for pack, packs in self.variables.sheets[size]
            ]
            if condition is None:
                self._mip.add_at_least(supplied, required_units)
            else:
                self._mip.add_at_least([*supplied, (-required_units, condition)], 0)

    def _add_cost_bounds(
        self, paper: PaperKnowledge, cost_bounds: Mapping[Suppliers, int], all_suppliers: Suppliers
    ) -> None:
        """Let the paper cost what it does from some suppliers, unless others are asked too."""
        everywhere = cost_bounds.get(all_suppliers, 0)
        goods = self.variables.goods([size for size in paper.size_of if size is not None])
        for suppliers, cost in cost_bounds.items():
            others = [
                (max(0, cost - everywhere), required_units)
                for supplier, required_units in self.variables.supplier_used.items()
                if supplier not in suppliers
            ]
            self._mip.add_at_least([*goods, *others], cost)

    def solve(
        self, nodes: int, stop: Stop, *, near: float = 0.0, sharp: bool = False
    ) -> MipSolution:
        """Return the cheapest choice that so many nodes suffice for, or one near it.

        Parameters
        ----------
        sharp
            Whether the bound matters more than quickness.
        """
        return self._mip.minimize(self.variables.cost, nodes, stop, near=near, sharp=sharp)

    def exclude_suppliers(self, required_units: Iterable[Suppliers]) -> None:
        """Ask other suppliers than each of some sets of them."""
        for suppliers in sorted(
            required_units, key=sorted
        ):  # a set's order differs from run to run
            others = [
                (-1 if supplier in suppliers else 1, number)
                for supplier, number in self.variables.supplier_used.items()
            ]
            self._mip.add_at_least(others, 1 - sum(factor < 0 for factor, _ in others))

    def suppliers(self, chosen: MipSolution) -> Suppliers:
        """Return from whom a choice buys."""
        return frozenset(line.offer.supplier for line in self.variables.bought(chosen.values or {}))

    def cost(self, chosen: MipSolution) -> int:
        """Return what a choice costs, in the market's units."""
        value = chosen.values or {}
        return int(sum(factor * value[number] for factor, number in self.variables.cost))

    def plans(self, value: Mapping[Variable, Fraction]) -> list[tuple[int, Plan]]:
        """Return the plans by columns, with their papers' places."""
        plans = []
        for paper_index, task, columns, copies in self._columns:
            plan: dict[Pattern, int] = {}
            for column, number in zip(columns, copies, strict=True):
                if column.pattern is not None and value[number]:
                    plan[column.pattern] = plan.get(column.pattern, 0) + int(value[number])
            plans.append((paper_index, trim_overproduction(task, tuple(plan.items()))))
        return plans


def _ceil(value: Fraction | int) -> int:
    return -int(-value // 1)


def _capacity_on_hand(paper: PaperKnowledge, holds: Sequence[int]) -> int:
    """Return what the sheets on hand hold."""
    return sum(
        hold * paper.task.max_sheets(bin_type)
        for bin_type, hold in enumerate(holds)
        if paper.size_of[bin_type] is None
    )
