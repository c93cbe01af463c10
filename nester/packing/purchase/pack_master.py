"""Which packs to buy: the master problem of a purchase, a mixed-integer program solved by SCIP.

The packs are the cheapest whose sheets suffice for each paper by a `SufficiencyRule`.  For a paper
whose maximal patterns are all known, the program chooses patterns itself.

What a paper costs at least from some suppliers alone is added as a cost cut of logic-based Benders
decomposition (Hooker and Ottosson, Mathematical Programming 96, 2003): its packs cost that much,
less what other suppliers could save if they are used.  The linear relaxation, which buys parts of
packs, doesn't see these costs; with the cuts little is left to branch on.
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
"""Coefficients are scaled down to about this size."""


class PaperKnowledge(NamedTuple):
    """What the pack master knows about a paper.

    Attributes
    ----------
    size_of
        For each bin type its size on the market; None for stock on hand.
    columns
        For few pieces: all maximal contents, first the proven ones, then those that may be
        feasible; else None.
    sufficient_sheets
        Numbers of sheets by bin type that suffice, as plans show.
    inequalities
        Valid inequalities, which every plan satisfies.
    estimated_inequalities
        Inequalities that plans probably satisfy.
    cost_bounds, estimated_costs
        By sets of suppliers: a lower bound on the cost of the paper's packs from these alone, and
        an estimate.
    statistics
        How often each step was taken, by name.
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
    """When sheets count as sufficient."""

    PLANNED = auto()
    """A known plan needs no more: an upper bound on the cost."""
    POSSIBLE = auto()
    """No valid inequality is violated: a lower bound on the cost."""
    LIKELY = auto()
    """No valid or estimated inequality is violated."""


class PackMaster:
    """Chooses packs whose sheets suffice for each paper.

    Parameters
    ----------
    extra_sheets
        Sheets by size that are bought besides those that are cut.
    rule
        When sheets count as sufficient.
    suppliers
        Buy from these only and ignore their terms; None: from all, on their terms.
    surplus_share
        For `PLANNED`: also accept sheets that exceed what all inequalities need by this share;
        None: don't.
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
        """Return how many sheets of a bin type can be of use."""
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
        """Return the inequalities that sheets must satisfy by the rule."""
        return [
            *paper.inequalities,
            *(() if self._rule is SufficiencyRule.POSSIBLE else paper.estimated_inequalities),
        ]

    def _add_columns(self, paper_index: int, paper: PaperKnowledge, columns: list[Column]) -> None:
        """Let the program choose the patterns of a paper: copies of columns cover the demand."""
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
        """Require the sheets of one of the known plans, or those of the estimate plus a surplus."""
        mip = self._mip
        known_sheets = paper.sufficient_sheets
        plan_used = [mip.add_variable(1) for _ in known_sheets]
        options = [(1, used) for used in plan_used]
        if self._surplus_share is not None:
            estimate_used = mip.add_variable(1)
            options.append((1, estimate_used))
            self._add_inequalities(paper, self._surplus_share, estimate_used)
        mip.add_at_least(options, 1)
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
        """Require the inequalities with a surplus; if `condition` is given, only where it is 1."""
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
            # Scaled to numbers that suit the solver; rounding only weakens the inequality.
            scale = max(1, required // _MAX_COEFFICIENT)
            required_units = required // scale
            supplied = [
                (
                    min(required_units, -(-inequality.capacities[bin_type] * pack_size // scale)),
                    packs,
                )
                for bin_type, size in enumerate(paper.size_of)
                if size is not None and inequality.capacities[bin_type]
                for pack_size, packs in self.variables.sheets[size]
            ]
            if condition is None:
                self._mip.add_at_least(supplied, required_units)
            else:
                self._mip.add_at_least([*supplied, (-required_units, condition)], 0)

    def _add_cost_bounds(
        self, paper: PaperKnowledge, cost_bounds: Mapping[Suppliers, int], all_suppliers: Suppliers
    ) -> None:
        """Bound the paper's cost by that from some suppliers, unless others are used too.

        Another supplier can lower the cost by no more than down to that from all suppliers.
        """
        everywhere = cost_bounds.get(all_suppliers, 0)
        goods = self.variables.goods([size for size in paper.size_of if size is not None])
        for suppliers, cost in cost_bounds.items():
            others = [
                (max(0, cost - everywhere), is_used)
                for supplier, is_used in self.variables.supplier_used.items()
                if supplier not in suppliers
            ]
            self._mip.add_at_least([*goods, *others], cost)

    def solve(
        self, nodes: int, stop: Stop, *, near: float = 0.0, sharp: bool = False
    ) -> MipSolution:
        """Return the cheapest packs found within a number of nodes.

        Parameters
        ----------
        sharp
            Whether the bound matters more than speed.
        """
        return self._mip.minimize(self.variables.cost, nodes, stop, near=near, sharp=sharp)

    def exclude_suppliers(self, excluded: Iterable[Suppliers]) -> None:
        """Exclude the given sets of suppliers."""
        # Sorted, as the order of a set differs from run to run.
        for suppliers in sorted(excluded, key=sorted):
            others = [
                (-1 if supplier in suppliers else 1, number)
                for supplier, number in self.variables.supplier_used.items()
            ]
            self._mip.add_at_least(others, 1 - sum(factor < 0 for factor, _ in others))

    def suppliers(self, solution: MipSolution) -> Suppliers:
        """Return the suppliers of a solution."""
        return frozenset(
            line.offer.supplier for line in self.variables.bought(solution.values or {})
        )

    def cost(self, solution: MipSolution) -> int:
        """Return the cost of a solution, in the market's units."""
        values = solution.values or {}
        return int(sum(factor * values[number] for factor, number in self.variables.cost))

    def plans(self, values: Mapping[Variable, Fraction]) -> list[tuple[int, Plan]]:
        """Return the plans of papers whose patterns the program chose, with their indices."""
        plans = []
        for paper_index, task, columns, copies in self._columns:
            plan: dict[Pattern, int] = {}
            for column, number in zip(columns, copies, strict=True):
                if column.pattern is not None and values[number]:
                    plan[column.pattern] = plan.get(column.pattern, 0) + int(values[number])
            plans.append((paper_index, trim_overproduction(task, tuple(plan.items()))))
        return plans


def _ceil(values: Fraction | int) -> int:
    return -int(-values // 1)


def _capacity_on_hand(paper: PaperKnowledge, capacities: Sequence[int]) -> int:
    """Return the capacity of the sheets on hand."""
    return sum(
        capacity * paper.task.max_sheets(bin_type)
        for bin_type, capacity in enumerate(capacities)
        if paper.size_of[bin_type] is None
    )
