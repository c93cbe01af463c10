"""The purchase of one paper from given suppliers: what it costs at least, and what is enough.

From given suppliers papers share nothing, so each is bought by itself: small programmes, solved to
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
    endless = [*offered, *(kind for kind in task.bin_types if kind.on_hand is None)]
    bound_to_stash = [
        not any(shape.fits(k.width, k.height) for k in endless) for shape in task.item_types
    ]
    start: Plan = ()
    if any(bound_to_stash):
        asked = [n if bound else 0 for n, bound in zip(task.demand, bound_to_stash, strict=True)]
        kinds = tuple(
            kind if size is None else kind._replace(on_hand=0)
            for kind, size in zip(task.bin_types, size_of, strict=True)
        )
        limited = replace(task.with_demand(asked), bin_types=kinds)
        start = Sufficiency(limited, cuts, size_of).max_output_plan(_STEPS_ON_HAND, stop)
        made = _made_counts(task, start)
        task = task.with_demand(
            [
                made[shape] if bound else n
                for shape, (n, bound) in enumerate(zip(task.demand, bound_to_stash, strict=True))
            ]
        )
    if not task.is_unrestricted:
        # By the rules some pieces may find no room on any sheet.
        made_most = Sufficiency(task, cuts, size_of).max_output_plan(0, stop)
        start = tuple(use for use in made_most if task.allows(use[0]))
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
    also
        By sizes: so many sheets are bought beside those that are cut.
    """

    def __init__(
        self,
        market: Market,
        begun: PaperStart,
        cuts: Cuts,
        also: Mapping[int, int],
        stop: Stop = never,
    ) -> None:
        self.sufficiency = Sufficiency(begun.task, cuts, begun.size_of)
        self.sufficiency.first_plan(begun.start, stop)
        self.factory = partial(PaperPurchase, market, begun, cuts, also)
        self._market = market
        mine = set(begun.size_of)
        self._extra_sheets = {size: number for size, number in also.items() if size in mine}
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

    def enumerate_patterns(self, most_steps: int, stop: Stop) -> None:
        """Find every content of every sheet, if so many steps suffice."""
        self.sufficiency.enumerate_patterns(most_steps, stop)

    def add_plan(self, uses: Plan) -> None:
        """Keep a plan."""
        self.sufficiency.add_plan(uses)

    @property
    def knowledge(self) -> PaperKnowledge:
        """What is known of the paper."""
        paper = self.sufficiency
        paper.estimated.refresh()
        return PaperKnowledge(
            paper.task,
            paper.size_of,
            paper.columns,
            tuple(paper.smallest_sufficient_sheets()),
            tuple(paper.inequalities),
            tuple(paper.estimated.inequalities),
            dict(self._cost_bounds),
            dict(self._estimated_costs),
            Counter(self._statistics),
        )

    def do(self, deed: StepBudget | CutCommand, stop: Stop) -> PaperKnowledge | CutResult:
        """Spend a share of effort, and say what is known; or cut what is bought."""
        if isinstance(deed, CutCommand):
            return self._cut(deed, stop)
        few = self.sufficiency.columns is not None
        if deed.bounding:
            self._raise_cost_bound(deed.suppliers, deed.bounding, stop)
        if deed.pattern_search and not (few or stop()):
            self.sufficiency.search_patterns(deed.pattern_search, stop)
        if deed.estimating and not stop():
            self._estimate_cost(deed.suppliers, deed.estimating, stop)
        if deed.plan_search and not (few or stop()):
            self._search_plans(deed.suppliers, deed.plan_search, deed.per_proposal, stop)
        return self.knowledge

    def _pack_master(
        self, ways: SufficiencyRule, suppliers: Suppliers, more: Fraction | None = None
    ) -> PackMaster:
        return PackMaster(
            self._market, [self.knowledge], self._extra_sheets, ways, suppliers=suppliers, more=more
        )

    def _raise_cost_bound(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Raise what the paper's packs cost at least, while steps last."""
        paper = self.sufficiency
        end = paper.separation_steps + steps
        while True:
            choice = self._pack_master(SufficiencyRule.POSSIBLE, suppliers)
            chosen = choice.solve(_MIP_NODES, stop)
            if chosen.infeasible:
                return
            self._cost_bounds[suppliers] = max(self._cost_bounds.get(suppliers, 0), chosen.bound)
            if chosen.values is None or paper.columns or stop():
                return
            self._statistics["refuted"] += 1
            sheets = self._sheets_to_cut(choice.variables.sheets_by_size(chosen.values))
            if not paper.separate(sheets, end - paper.separation_steps, stop):
                return

    def _estimate_cost(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Learn what sheets are likely to hold, until the cheapest packs are likely to do."""
        paper = self.sufficiency
        end = paper.estimated.steps + steps
        while True:
            choice = self._pack_master(SufficiencyRule.LIKELY, suppliers)
            chosen = choice.solve(_MIP_NODES, stop, near=_MIP_GAP)
            if chosen.values is None:
                return
            self._estimated_costs[suppliers] = chosen.bound
            if paper.columns or paper.estimated.steps >= end or stop():
                return
            self._statistics["supposed"] += 1
            sheets = self._sheets_to_cut(choice.variables.sheets_by_size(chosen.values))
            if not paper.separate_estimated(sheets, end - paper.estimated.steps, stop):
                return

    def _search_plans(self, suppliers: Suppliers, steps: int, one: int, stop: Stop) -> None:
        """Seek plans for purchases that are cheaper than what is known to be enough."""
        paper = self.sufficiency
        more = _FIRST_SURPLUS
        left = steps
        while left > 0 and not stop():
            best = self._pack_master(SufficiencyRule.PLANNED, suppliers)
            cheapest = best.solve(_MIP_NODES, stop)
            hoped = self._pack_master(SufficiencyRule.PLANNED, suppliers, more)
            chosen = hoped.solve(_MIP_NODES, stop, near=_MIP_GAP)
            if chosen.values is None:
                return
            if cheapest.values is not None and hoped.cost(chosen) >= best.cost(cheapest):
                # Nothing cheaper is likely: expect more of the sheets, and look longer.
                more /= 2
                one *= 2
                if more < _MIN_SURPLUS:
                    return
                continue
            self._statistics["proposed"] += 1
            sheets = self._sheets_to_cut(hoped.variables.sheets_by_size(chosen.values))
            if paper.plan_for(sheets) is not None:
                return
            before = paper.estimated.steps
            doubted = paper.separate_estimated(sheets, one, stop)
            left -= paper.estimated.steps - before
            if doubted:
                continue
            left -= one
            missed = paper.search_plan(sheets, one, stop)
            if not missed:
                self._statistics["found"] += 1
            else:
                more = max(more, paper.surplus(sheets) + max(_MIN_SURPLUS, missed))

    def _sheets_to_cut(self, by_size: Mapping[int, int]) -> SheetCounts:
        """Return how many sheets of each kind are there to be cut of those bought."""
        return tuple(
            0 if size is None else by_size.get(size, 0) - self._extra_sheets.get(size, 0)
            for size in self.sufficiency.size_of
        )

    def _cut(self, deed: CutCommand, stop: Stop) -> CutResult:
        """Cut what is bought so that what is used is worth least."""
        paper, final = self.sufficiency, deed.problem
        sheets = self._sheets_to_cut(deed.sheets)
        uses = paper.plan_for(sheets)
        if uses is None:
            raise AssertionError("what is bought is not enough for any known plan")
        task = _task_at_stock_prices(paper, sheets, final)
        table = PatternEvaluator(final, task)
        if not stop():
            uses = choose_patterns(task, paper.pool, uses, deed.deterministic_time, table, stop)
        if not stop():
            uses = reduce_patterns(
                task, final.cuts, paper.pool, table, uses, deed.deterministic_time, stop
            )
        named, missing = assign_demands(task, uses)
        layouts = []
        for pattern, blanks, copies in named:
            placed, cuts, offcuts = table.cut_pattern(pattern, blanks)
            name = task.sheets[pattern.bin_type].stock.name
            layout = Layout(name, copies, placed, cuts, offcuts)
            layouts.append((paper.size_of[pattern.bin_type], layout))
        return CutResult(tuple(layouts), tuple(missing))


def _made_counts(task: Task, uses: Plan) -> list[int]:
    """Return how many of each shape a plan makes."""
    made = [0] * len(task.item_types)
    for pattern, copies in uses:
        for shape, number in item_counts(pattern.placements).items():
            made[shape] += number * copies
    return made


def _task_at_stock_prices(paper: Sufficiency, sheets: SheetCounts, final: Problem) -> Task:
    """Return a paper's task with what was bought, each sheet at what it is worth."""
    task = paper.limited_task(sheets)
    worth = {one.name: one for one in final.stock}
    stocks = [
        worth.get(sheet.stock.name, sheet.stock)
        if size is None
        else replace(sheet.stock, quantity=kind.on_hand)
        for sheet, kind, size in zip(task.sheets, task.bin_types, paper.size_of, strict=True)
    ]
    prices, unit = integer_prices([one.price for one in stocks])
    return replace(
        task,
        sheets=tuple(s._replace(stock=one) for s, one in zip(task.sheets, stocks, strict=True)),
        bin_types=tuple(k._replace(price=p) for k, p in zip(task.bin_types, prices, strict=True)),
        price_unit=unit,
    )
