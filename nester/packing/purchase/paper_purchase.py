"""The purchase of one paper from given suppliers: what it costs at least, and what is enough.

From given suppliers papers share nothing, so each is bought by itself: small programs, solved to
the end in a moment.  One buys what breaks no known inequality; if a further inequality refutes
that, it is asked again (logic-based Benders decomposition: Hooker and Ottosson, Mathematical
Programming 96, 2003).  So what the paper costs at least is raised until nothing is refuted.  The
other buys what is enough for a known plan, or what is likely to be; for that a plan is sought.
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
"""Of SCIP's search for one paper's packs."""
_MIP_GAP = 0.003
"""So near to the cheapest is near enough for what is only supposed."""
_STEPS_ON_HAND = 100_000
"""Steps of making what fits only sheets on hand."""
_FIRST_SURPLUS, _MIN_SURPLUS = Fraction(1, 50), Fraction(1, 1000)
"""So much more of sheets is expected than what is likely to be needed: at first, and at least."""


@dataclass(frozen=True, kw_only=True)
class StepBudget:
    """A share of effort for one paper.

    Attributes
    ----------
    suppliers
        From whom it is bought.
    bounding
        Steps of proving.
    pattern_search
        Steps of seeking layouts at about the prices of single sheets.
    estimating
        Steps of learning what sheets are likely to hold.
    plan_search, per_proposal
        Steps of seeking plans for purchases proposed, and in how many one is sought at first.
    """

    suppliers: Suppliers
    bounding: int = 0
    pattern_search: int = 0
    estimating: int = 0
    plan_search: int = 0
    per_proposal: int = 0

    def divided(self, papers: int) -> StepBudget:
        """Return each paper's share of effort for so many."""
        return replace(
            self,
            bounding=self.bounding // papers,
            pattern_search=self.pattern_search // papers,
            estimating=self.estimating // papers,
            plan_search=self.plan_search // papers,
        )


class CutCommand(NamedTuple):
    """The deed of cutting what is bought, with so much of CP-SAT's deterministic time.

    Attributes
    ----------
    problem
        The problem with the sheets bought.
    sheets
        Bought of each size.
    """

    problem: Problem
    sheets: Mapping[int, int]
    deterministic_time: float


class CutResult(NamedTuple):
    """How a paper is cut: each layout with the size of its sheets, if bought; and what is not made.

    Which offer sheets that are bought came by is not said.
    """

    layouts: tuple[tuple[int | None, Layout], ...]
    missing: tuple[tuple[Demand, int], ...]


class PaperStart(NamedTuple):
    """What is asked of a paper, and the part of a plan that is to be kept to."""

    task: Task
    size_of: tuple[int | None, ...]
    start: Plan


def start_paper(task: Task, market: Market, cuts: Cuts, stop: Stop) -> PaperStart:
    """Begin with a paper; of what fits only sheets on hand, ask for what finds room there."""
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
        # By the rules some pieces may find no room on any sheet.
        max_output = Sufficiency(task, cuts, size_of).max_output_plan(0, stop)
        start = tuple(use for use in max_output if task.allows(use[0]))
        task = task.with_demand(_made_counts(task, start))
    return PaperStart(task, size_of, start)


class PaperPurchase:
    """One paper's part in a purchase; there is a first plan, quickly found.

    Attributes
    ----------
    factory
        Makes it anew, as it was first; where work is shared, other processes ask for it.

    Parameters
    ----------
    extra_sheets
        By sizes: so many sheets are bought beside those that are cut.
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
        """What is asked of it."""
        return self.sufficiency.task

    @property
    def needed_sheets(self) -> dict[int, int]:
        """Sheets by size for its first plan."""
        sheets = next(iter(self.sufficiency.plans))
        return {
            size: number
            for size, number in zip(self.sufficiency.size_of, sheets, strict=True)
            if size is not None and number
        }

    def enumerate_patterns(self, max_steps: int, stop: Stop) -> None:
        """Find every content of every sheet, if so many steps suffice."""
        self.sufficiency.enumerate_patterns(max_steps, stop)

    def add_plan(self, plan: Plan) -> None:
        """Keep a plan."""
        self.sufficiency.add_plan(plan)

    @property
    def knowledge(self) -> PaperKnowledge:
        """What is known of the paper."""
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
        """Spend a share of effort, and say what is known; or cut what is bought."""
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
        """Raise what the paper's packs cost at least, while steps last."""
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
        """Learn what sheets are likely to hold, until the cheapest packs are likely to do."""
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
        """Seek plans for purchases that are cheaper than what is known to be enough."""
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
                # Nothing cheaper is likely: expect more of the sheets, and look longer.
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
        """Return how many sheets of each bin type are there to be cut of those bought."""
        return tuple(
            0 if size is None else by_size.get(size, 0) - self._extra_sheets.get(size, 0)
            for size in self.sufficiency.size_of
        )

    def _cut(self, command: CutCommand, stop: Stop) -> CutResult:
        """Cut what is bought so that what is used is worth least."""
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
    """Return a paper's task with what was bought, each sheet at what it is worth."""
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
