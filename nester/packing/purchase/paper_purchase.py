"""The purchase of one paper from given suppliers: a bound on its cost, estimates and plans.

For given suppliers papers are independent, so each has its own small programs, which are solved
in a moment.

- The bound: logic-based Benders decomposition (Hooker and Ottosson, Mathematical Programming 96,
  2003).  The master buys the cheapest packs that violate no known inequality; if a new inequality
  refutes their sheets, it is added and the master is solved again.
- The plans: the master proposes packs that are cheaper than those for known plans and likely to
  suffice by the estimated inequalities; a plan is searched for their sheets.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from nester.core.problem import Cuts, Demand, Layout, Problem
from nester.packing.purchase.market import Market, Suppliers
from nester.packing.purchase.pack_master import PackMaster, PaperKnowledge, SufficiencyRule
from nester.packing.purchase.sufficiency import SheetCounts, Sufficiency
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.paper_search import assign_demands
from nester.packing.search.pattern_reduction import reduce_patterns
from nester.packing.search.set_covering import choose_patterns
from nester.packing.task.pattern_pool import Plan
from nester.packing.task.pattern_value import PatternEvaluator
from nester.packing.task.task import Task, integer_prices, item_counts

__all__ = ["CutCommand", "CutResult", "PaperPurchase", "PaperStart", "StepBudget", "start_paper"]

_MIP_NODES = 1_000
"""Limit on the nodes of SCIP's search for one paper's packs."""
_MIP_GAP = 0.003
"""Optimality gap for estimates."""
_STEPS_ON_HAND = 100_000
"""Steps for a plan of pieces that fit only sheets on hand."""
_FIRST_SURPLUS, _MIN_SURPLUS = Fraction(1, 50), Fraction(1, 1000)
"""Share by which proposed sheets exceed the estimated need: at first, and at least."""


@dataclass(frozen=True, kw_only=True)
class StepBudget:
    """What one paper may spend.

    Attributes
    ----------
    suppliers
        From whom the paper is bought.
    bounding
        Steps of raising the lower bound.
    pattern_search
        Steps of looking for patterns at about the prices of single sheets.
    estimating
        Steps of estimating what sheets hold.
    plan_search, per_proposal
        Steps of looking for plans for proposed purchases: in all, and for one at first.
    """

    suppliers: Suppliers
    bounding: int = 0
    pattern_search: int = 0
    estimating: int = 0
    plan_search: int = 0
    per_proposal: int = 0

    def divided(self, papers: int) -> StepBudget:
        """Return the share of one of several papers."""
        return replace(
            self,
            bounding=self.bounding // papers,
            pattern_search=self.pattern_search // papers,
            estimating=self.estimating // papers,
            plan_search=self.plan_search // papers,
        )


class CutCommand(NamedTuple):
    """Plan the cutting of what is bought, within a deterministic time of CP-SAT.

    Attributes
    ----------
    problem
        The problem with the sheets bought.
    sheets
        Numbers bought, by size.
    """

    problem: Problem
    sheets: Mapping[int, int]
    deterministic_time: float


class CutResult(NamedTuple):
    """How a paper is cut: layouts, each with its size if bought, and the demands not met.

    Sheets of one size are equal, whichever offer they come from.
    """

    layouts: tuple[tuple[int | None, Layout], ...]
    missing: tuple[tuple[Demand, int], ...]


class PaperStart(NamedTuple):
    """The task of a paper with what can be made, and a part of a plan that is kept."""

    task: Task
    size_of: tuple[int | None, ...]
    start: Plan


def start_paper(task: Task, market: Market, cuts: Cuts, stop: Stop) -> PaperStart:
    """Reduce the demand of a paper to what can be made.

    Of pieces that fit only sheets on hand, as many are kept as a plan on these sheets makes; that
    plan is the start.
    """
    size_of = tuple(market.size_of.get(sheet.stock.name) for sheet in task.sheets)
    offered = [k for k, size in zip(task.bin_types, size_of, strict=True) if size is not None]
    unlimited = [
        *offered,
        *(sheet_type for sheet_type in task.bin_types if sheet_type.on_hand is None),
    ]
    only_on_hand = [
        not any(item.fits(k.width, k.height) for k in unlimited) for item in task.item_types
    ]
    start: Plan = ()
    if any(only_on_hand):
        demand = [n if bound else 0 for n, bound in zip(task.demand, only_on_hand, strict=True)]
        bin_types = tuple(
            sheet_type if size is None else sheet_type._replace(on_hand=0)
            for sheet_type, size in zip(task.bin_types, size_of, strict=True)
        )
        limited = replace(task.with_demand(demand), bin_types=bin_types)
        start = Sufficiency(limited, cuts, size_of).max_output_plan(_STEPS_ON_HAND, stop)
        produced = _made_counts(task, start)
        task = task.with_demand(
            [
                produced[item_type] if bound else n
                for item_type, (n, bound) in enumerate(zip(task.demand, only_on_hand, strict=True))
            ]
        )
    if not task.is_unrestricted:
        # The trimmer's rules may leave no pattern for some pieces.
        max_output = Sufficiency(task, cuts, size_of).max_output_plan(0, stop)
        start = tuple(use for use in max_output if task.allows(use[0]))
        task = task.with_demand(_made_counts(task, start))
    return PaperStart(task, size_of, start)


class PaperPurchase:
    """The search for one paper; it has a quick first plan.

    Attributes
    ----------
    factory
        Makes the same object again, in another process.

    Parameters
    ----------
    extra_sheets
        Sheets by size that are bought besides those that are cut.
    """

    def __init__(
        self,
        market: Market,
        start: PaperStart,
        cuts: Cuts,
        extra_sheets: Mapping[int, int],
        stop: Stop = never,
    ) -> None:
        self.sufficiency = Sufficiency(start.task, cuts, start.size_of)
        self.sufficiency.first_plan(start.start, stop)
        self.factory = partial(PaperPurchase, market, start, cuts, extra_sheets)
        self._market = market
        own_sizes = set(start.size_of)
        self._extra_sheets = {
            size: number for size, number in extra_sheets.items() if size in own_sizes
        }
        self._cost_bounds: dict[Suppliers, int] = {}
        self._estimated_costs: dict[Suppliers, int] = {}
        self._statistics: Counter[str] = Counter()

    @property
    def task(self) -> Task:
        """The pieces and sheets of the paper."""
        return self.sufficiency.task

    @property
    def needed_sheets(self) -> dict[int, int]:
        """The sheets of the first plan, by size."""
        sheets = next(iter(self.sufficiency.plans))
        return {
            size: number
            for size, number in zip(self.sufficiency.size_of, sheets, strict=True)
            if size is not None and number
        }

    def enumerate_patterns(self, max_steps: int, stop: Stop) -> None:
        """Enumerate the maximal contents of every bin type, if the steps suffice."""
        self.sufficiency.enumerate_patterns(max_steps, stop)

    def add_plan(self, plan: Plan) -> None:
        """Keep a plan."""
        self.sufficiency.add_plan(plan)

    @property
    def knowledge(self) -> PaperKnowledge:
        """What the pack master needs to know about the paper."""
        sufficiency = self.sufficiency
        sufficiency.estimated.refresh()
        return PaperKnowledge(
            sufficiency.task,
            sufficiency.size_of,
            sufficiency.columns,
            tuple(sufficiency.smallest_sufficient_sheets()),
            tuple(sufficiency.inequalities),
            tuple(sufficiency.estimated.inequalities),
            dict(self._cost_bounds),
            dict(self._estimated_costs),
            Counter(self._statistics),
        )

    def do(self, command: StepBudget | CutCommand, stop: Stop) -> PaperKnowledge | CutResult:
        """Spend a budget and return what is known; or plan the cutting of what is bought."""
        if isinstance(command, CutCommand):
            return self._cut(command, stop)
        is_enumerated = self.sufficiency.columns is not None
        if command.bounding:
            self._raise_cost_bound(command.suppliers, command.bounding, stop)
        if command.pattern_search and not (is_enumerated or stop()):
            self.sufficiency.search_patterns(command.pattern_search, stop)
        if command.estimating and not stop():
            self._estimate_cost(command.suppliers, command.estimating, stop)
        if command.plan_search and not (is_enumerated or stop()):
            self._search_plans(command.suppliers, command.plan_search, command.per_proposal, stop)
        return self.knowledge

    def _pack_master(
        self, rule: SufficiencyRule, suppliers: Suppliers, surplus_share: Fraction | None = None
    ) -> PackMaster:
        return PackMaster(
            self._market,
            [self.knowledge],
            self._extra_sheets,
            rule,
            suppliers=suppliers,
            surplus_share=surplus_share,
        )

    def _raise_cost_bound(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Raise the lower bound on the cost of the paper's packs, while steps last."""
        sufficiency = self.sufficiency
        end = sufficiency.separation_steps + steps
        while True:
            master = self._pack_master(SufficiencyRule.POSSIBLE, suppliers)
            solution = master.solve(_MIP_NODES, stop)
            if solution.infeasible:
                return
            self._cost_bounds[suppliers] = max(self._cost_bounds.get(suppliers, 0), solution.bound)
            if solution.values is None or sufficiency.columns or stop():
                return
            self._statistics["refuted"] += 1
            sheets = self._sheets_to_cut(master.variables.sheets_by_size(solution.values))
            if not sufficiency.separate(sheets, end - sufficiency.separation_steps, stop):
                return

    def _estimate_cost(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Add estimated inequalities until the cheapest packs violate none."""
        sufficiency = self.sufficiency
        end = sufficiency.estimated.steps + steps
        while True:
            master = self._pack_master(SufficiencyRule.LIKELY, suppliers)
            solution = master.solve(_MIP_NODES, stop, near=_MIP_GAP)
            if solution.values is None:
                return
            self._estimated_costs[suppliers] = solution.bound
            if sufficiency.columns or sufficiency.estimated.steps >= end or stop():
                return
            self._statistics["supposed"] += 1
            sheets = self._sheets_to_cut(master.variables.sheets_by_size(solution.values))
            if not sufficiency.separate_estimated(sheets, end - sufficiency.estimated.steps, stop):
                return

    def _search_plans(
        self, suppliers: Suppliers, steps: int, steps_per_proposal: int, stop: Stop
    ) -> None:
        """Look for plans for purchases cheaper than those of known plans.

        The surplus over the estimated need adapts: it shrinks while nothing cheaper is proposed,
        and grows when no plan is found for a proposal.
        """
        sufficiency = self.sufficiency
        surplus_share = _FIRST_SURPLUS
        steps_left = steps
        while steps_left > 0 and not stop():
            cheapest_master = self._pack_master(SufficiencyRule.PLANNED, suppliers)
            cheapest = cheapest_master.solve(_MIP_NODES, stop)
            estimate_master = self._pack_master(SufficiencyRule.PLANNED, suppliers, surplus_share)
            solution = estimate_master.solve(_MIP_NODES, stop, near=_MIP_GAP)
            if solution.values is None:
                return
            if cheapest.values is not None and estimate_master.cost(
                solution
            ) >= cheapest_master.cost(cheapest):
                # Nothing cheaper is proposed: demand less surplus, and search longer.
                surplus_share /= 2
                steps_per_proposal *= 2
                if surplus_share < _MIN_SURPLUS:
                    return
                continue
            self._statistics["proposed"] += 1
            sheets = self._sheets_to_cut(estimate_master.variables.sheets_by_size(solution.values))
            if sufficiency.plan_for(sheets) is not None:
                return
            before = sufficiency.estimated.steps
            is_refuted = sufficiency.separate_estimated(sheets, steps_per_proposal, stop)
            steps_left -= sufficiency.estimated.steps - before
            if is_refuted:
                continue
            steps_left -= steps_per_proposal
            unmade_share = sufficiency.search_plan(sheets, steps_per_proposal, stop)
            if not unmade_share:
                self._statistics["found"] += 1
            else:
                surplus_share = max(
                    surplus_share, sufficiency.surplus(sheets) + max(_MIN_SURPLUS, unmade_share)
                )

    def _sheets_to_cut(self, by_size: Mapping[int, int]) -> SheetCounts:
        """Return how many of the sheets bought may be cut, by bin type."""
        return tuple(
            0 if size is None else by_size.get(size, 0) - self._extra_sheets.get(size, 0)
            for size in self.sufficiency.size_of
        )

    def _cut(self, command: CutCommand, stop: Stop) -> CutResult:
        """Plan the cutting of what is bought, using paper of the least net value."""
        sufficiency, problem = self.sufficiency, command.problem
        sheets = self._sheets_to_cut(command.sheets)
        plan = sufficiency.plan_for(sheets)
        if plan is None:
            raise AssertionError("what is bought is not enough for any known plan")
        task = _task_at_stock_prices(sufficiency, sheets, problem)
        evaluator = PatternEvaluator(problem, task)
        if not stop():
            plan = choose_patterns(
                task, sufficiency.pool, plan, command.deterministic_time, evaluator, stop
            )
        if not stop():
            plan = reduce_patterns(
                task,
                problem.cuts,
                sufficiency.pool,
                evaluator,
                plan,
                command.deterministic_time,
                stop,
            )
        assigned, missing = assign_demands(task, plan)
        layouts = []
        for pattern, blanks, copies in assigned:
            placed, cuts, offcuts = evaluator.cut_pattern(pattern, blanks)
            name = task.sheets[pattern.bin_type].stock.name
            layout = Layout(name, copies, placed, cuts, offcuts)
            layouts.append((sufficiency.size_of[pattern.bin_type], layout))
        return CutResult(tuple(layouts), tuple(missing))


def _made_counts(task: Task, plan: Plan) -> list[int]:
    """Return how many of each item type a plan makes."""
    produced = [0] * len(task.item_types)
    for pattern, copies in plan:
        for item_type, number in item_counts(pattern.placements).items():
            produced[item_type] += number * copies
    return produced


def _task_at_stock_prices(sufficiency: Sufficiency, sheets: SheetCounts, problem: Problem) -> Task:
    """Return a paper's task with what was bought, each sheet at its value in stock."""
    task = sufficiency.limited_task(sheets)
    stock_by_name = {item.name: item for item in problem.stock}
    stocks = [
        stock_by_name.get(sheet.stock.name, sheet.stock)
        if size is None
        else replace(sheet.stock, quantity=sheet_type.on_hand)
        for sheet, sheet_type, size in zip(
            task.sheets, task.bin_types, sufficiency.size_of, strict=True
        )
    ]
    prices, unit = integer_prices([item.price for item in stocks])
    return replace(
        task,
        sheets=tuple(s._replace(stock=item) for s, item in zip(task.sheets, stocks, strict=True)),
        bin_types=tuple(k._replace(price=p) for k, p in zip(task.bin_types, prices, strict=True)),
        price_unit=unit,
    )
