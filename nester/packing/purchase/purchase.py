"""The cheapest purchase, solved together with the cutting.

Minimized is the money paid: packs and shipping.  Sheets and offcuts on hand are free, so they are
used wherever that saves money.  What is bought is then cut so that the paper used, less the offcuts
kept, has the least value; so what stays in stock has the most value.  Only sheets that hold some
piece are bought, even where more are bought than are used to get free shipping.

Papers share nothing but suppliers and their shipping.  So for given suppliers each paper is
searched by itself (`paper_purchase.py`), in several processes, and programs of all papers
(`pack_master.py`) choose the suppliers: one buys what violates no valid inequality, which bounds
the cost from below; one what is likely to suffice; and one what suffices for known plans.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.core.errors import Refusal
from nester.core.problem import CuttingPlan, Effort, Layout, Problem, StockItem, Unplaced
from nester.core.purchase import Offer, PaperPurchasePlan, PurchaseLine, SupplierTerms
from nester.packing.purchase.market import Market, Suppliers
from nester.packing.purchase.pack_master import PackMaster, PaperKnowledge, SufficiencyRule
from nester.packing.purchase.paper_purchase import (
    CutCommand,
    CutResult,
    PaperPurchase,
    StepBudget,
    start_paper,
)
from nester.packing.runtime.stop import Stop, never
from nester.packing.runtime.worker_processes import worker_pool
from nester.packing.search.solve import NO_SHEET_LEFT, Progress
from nester.packing.task.task import tasks_by_paper
from nester.packing.task.validate import validate

__all__ = ["purchase"]


@dataclass(frozen=True, kw_only=True)
class _Round:
    """The effort of one round; steps are for all papers together.

    Attributes
    ----------
    pattern_search
        Steps of looking for patterns at about the prices of single sheets.
    estimating
        Steps of estimating what sheets hold, for each set of suppliers.
    supplier_sets
        Most sets of suppliers for which plans are looked for.
    plan_search
        Steps of looking for plans, for each set.
    per_proposal
        Steps for the first search of a plan for one proposed purchase.
    bounding
        Steps of raising the lower bound for all suppliers.
    bounded_sets
        Most sets of suppliers whose bound is raised, in fewer steps each.
    """

    pattern_search: int = 0
    estimating: int
    supplier_sets: int
    plan_search: int
    per_proposal: int
    bounding: int
    bounded_sets: int


@dataclass(frozen=True, kw_only=True)
class _EffortBudget:
    """The effort of a purchase.

    Attributes
    ----------
    enumeration
        Steps for enumerating the patterns of a paper with few pieces, for each paper.
    min_parallel_pieces
        With fewer pieces a single process is used.
    mip_nodes
        Nodes of SCIP's search for the packs of all papers.
    cutting_time
        CP-SAT's deterministic time for choosing patterns at the end, and for reducing them.
    """

    enumeration: int
    rounds: tuple[_Round, ...]
    min_parallel_pieces: int
    mip_nodes: int
    cutting_time: float


_FIRST = _Round(
    pattern_search=500_000,
    estimating=1_600_000,
    supplier_sets=1,
    plan_search=4_000_000,
    per_proposal=30_000,
    bounding=16_000_000,
    bounded_sets=4,
)
_SECOND = _Round(
    estimating=3_200_000,
    supplier_sets=2,
    plan_search=8_000_000,
    per_proposal=200_000,
    bounding=32_000_000,
    bounded_sets=8,
)
_FURTHER = _Round(
    pattern_search=8_000_000,
    estimating=4_000_000,
    supplier_sets=4,
    plan_search=40_000_000,
    per_proposal=1_000_000,
    bounding=100_000_000,
    bounded_sets=16,
)
_BUDGETS = {
    Effort.QUICK: _EffortBudget(
        enumeration=20_000,
        rounds=(
            _Round(
                pattern_search=200_000,
                estimating=400_000,
                supplier_sets=1,
                plan_search=3_000_000,
                per_proposal=20_000,
                bounding=1_000_000,
                bounded_sets=2,
            ),
        ),
        min_parallel_pieces=1_000,
        mip_nodes=100,
        cutting_time=0.3,
    ),
    Effort.NORMAL: _EffortBudget(
        enumeration=50_000,
        rounds=(_FIRST, _SECOND),
        min_parallel_pieces=100,
        mip_nodes=1_000,
        cutting_time=1.0,
    ),
    Effort.THOROUGH: _EffortBudget(
        enumeration=150_000,
        rounds=(_FIRST, _SECOND, _FURTHER, _FURTHER, _FURTHER),
        min_parallel_pieces=100,
        mip_nodes=5_000,
        cutting_time=4.0,
    ),
}
_MAX_ESTIMATED_SETS = 2
"""New sets of suppliers whose costs are estimated before plans are looked for."""
_SCREENING_NODES, _SCREENING_GAP = 200, 0.01
"""Nodes and optimality gap of SCIP's search for suppliers to look at."""
_BOUNDING_DIVISOR = 8
"""Each further set of suppliers gets the steps for bounding divided by this."""


def purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms] = (),
    effort: Effort = Effort.NORMAL,
    *,
    extra_sheets: Mapping[str, int] | None = None,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> PaperPurchasePlan:
    """Choose packs from suppliers, and layouts, so that everything is made for the least money.

    Parameters
    ----------
    problem
        What is to be made, and the stock on hand (None as a quantity: paper that costs nothing).
    offers
        What can be bought; their names are unique among offers and stock.
    terms
        At most one for each supplier; a supplier without terms ships for free.
    extra_sheets
        By names of offers: sheets like these that are bought besides those that are cut.
    effort
        How hard to look; counted, so that equal input gives an equal purchase, unless `stop` ends
        the search early.
    processes
        How many may work at once, where there are several papers and enough pieces; the purchase
        does not depend on it.  A script that asks for more than one must be guarded: see `solve`.
    stop
        Called often; once it returns true, the best purchase so far is returned.  There is always
        a purchase: the first one is made in any case.
    on_progress
        Called after each part of the search, with what is paid and its bound.

    Returns
    -------
    PaperPurchasePlan
        Not verified here: give it to `nester.verify`.  Pieces that fit no sheet on offer and find
        no place on hand are unplaced.

    Raises
    ------
    Refusal
        If the problem, an offer or a supplier's terms are invalid.
    """
    _validate_offers(problem, offers, terms, extra_sheets or {})
    market = Market(offers, terms)
    on_hand = tuple(replace(item, price=Fraction(0)) for item in problem.stock)
    full_problem = replace(
        problem,
        demands=tuple(demand for demand in problem.demands if demand.quantity),
        stock=on_hand + tuple(size.stock for size in market.sizes),
        offcut_value_share=Fraction(0),
    )
    validate(full_problem)
    full_problem = replace(full_problem, stock=on_hand + _offered_stock(full_problem, market))
    extra_by_size = market.sheets_by_size(extra_sheets or {})
    search = _PurchaseSearch(
        problem, full_problem, market, _BUDGETS[effort], extra_by_size, stop, on_progress
    )
    return search.solve(1 if stop() else processes)


class _PurchaseSearch:
    """The search for packs and layouts of all papers."""

    def __init__(
        self,
        problem: Problem,
        full_problem: Problem,
        market: Market,
        budget: _EffortBudget,
        extra_sheets: Mapping[int, int],
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._market = market
        self._all_suppliers = frozenset(market.terms)
        self._budget = budget
        self._extra_sheets = extra_sheets
        self._stop = stop
        self._on_progress = on_progress
        tasks, self._unplaceable = tasks_by_paper(full_problem)
        self._papers = [
            PaperPurchase(
                market,
                start_paper(task, market, problem.cuts, stop),
                problem.cuts,
                extra_sheets,
                stop,
            )
            for task in tasks
        ]
        self._packs: tuple[PurchaseLine, ...] = ()
        self._best_cost: Fraction | None = None
        self._lower_bound = 0
        self._statistics: Counter[str] = Counter()

    # --- stages -------------------------------------------------------------------------------

    def _run(self, processes: int) -> list[CutResult]:
        """Search until the purchase is proven or the effort spent; then plan the cutting."""
        self._buy_greedily()
        self._report(0)
        for paper in self._papers:
            if not self._stop():
                paper.enumerate_patterns(self._budget.enumeration, self._stop)
        self._knowledge = [paper.knowledge for paper in self._papers]
        self._buy_for_known_plans(self._stop)
        self._report(1)
        self._open_papers = [
            paper for paper, knowledge in enumerate(self._knowledge) if not knowledge.columns
        ]
        papers = [self._papers[paper] for paper in self._open_papers]
        pieces = [sum(paper.task.demand) for paper in papers]
        in_process = len(papers) < 2 or sum(pieces) < self._budget.min_parallel_pieces
        factories = [paper.factory for paper in papers]
        if not papers:
            self._raise_bound(self._budget.mip_nodes, self._stop, exact_bound=True)
        with worker_pool(
            papers, factories, pieces, 1 if in_process else processes
        ) as self._workers:
            for round_budget in self._budget.rounds:
                if not self._is_done:
                    self._run_round(round_budget)
            if self._stop():
                # Use what was found and proven before the stop.
                self._buy_for_known_plans(never)
                self._raise_bound(_SCREENING_NODES, never)
            return self._cut_sheets()

    def _run_round(self, round_budget: _Round) -> None:
        """Look for plans for the most promising suppliers, then raise the lower bound.

        The bound is raised for the suppliers that the relaxed purchase uses, until that purchase
        uses a set of suppliers that has had its turn.
        """
        if self._open_papers:
            self._search_plans(round_budget)
        bounding, suppliers = round_budget.bounding, self._all_suppliers
        bounded: set[Suppliers] = set()
        while (
            suppliers not in bounded
            and len(bounded) < round_budget.bounded_sets
            and not self._is_done
        ):
            bounded.add(suppliers)
            self._spend(StepBudget(suppliers=suppliers, bounding=bounding))
            bounding = round_budget.bounding // _BOUNDING_DIVISOR
            suppliers = self._raise_bound(_SCREENING_NODES, self._stop)
        if not self._is_done:
            self._raise_bound(self._budget.mip_nodes, self._stop, exact_bound=True)
        self._report(1)

    def _search_plans(self, round_budget: _Round) -> None:
        """Look for plans for the most promising sets of suppliers, one after the other."""
        pattern_search, estimating = round_budget.pattern_search, round_budget.estimating
        self._spend(
            StepBudget(
                suppliers=self._all_suppliers, pattern_search=pattern_search, estimating=estimating
            )
        )
        searched: set[Suppliers] = set()
        while len(searched) < round_budget.supplier_sets and not self._is_done:
            suppliers = self._most_promising(searched, estimating)
            if suppliers is None:
                return
            searched.add(suppliers)
            self._spend(
                StepBudget(
                    suppliers=suppliers,
                    plan_search=round_budget.plan_search,
                    per_proposal=round_budget.per_proposal,
                )
            )
            self._buy_for_known_plans(self._stop)
            self._report(1)

    def _spend(self, budget: StepBudget) -> None:
        """Divide a budget among the papers, and collect what they know."""
        for paper, response in self._responses(budget.divided(max(1, len(self._open_papers)))):
            if isinstance(response, PaperKnowledge):
                self._knowledge[paper] = response

    def _responses(
        self, command: StepBudget | CutCommand
    ) -> Iterator[tuple[int, PaperKnowledge | CutResult]]:
        """Yield the responses of papers with their indices, enumerated papers first."""
        for paper, knowledge in enumerate(self._knowledge):
            if knowledge.columns:
                yield paper, self._papers[paper].do(command, self._stop)
        commands = dict.fromkeys(range(len(self._open_papers)), command)
        for index, response in self._workers.do(commands, self._stop):
            yield self._open_papers[index], response

    @property
    def _is_done(self) -> bool:
        if self._stop():
            return True
        return self._best_cost is not None and self._lower_bound >= self._market.to_price_units(
            self._best_cost
        )

    def _report(self, done: int) -> None:
        cost, bound = self._market.cost(self._packs), self._lower_bound * self._market.unit
        sheets = sum(line.sheets for line in self._packs)
        papers = len(self._papers)
        self._on_progress(Progress(cost, min(cost, bound), sheets, done * papers, papers))

    def _buy_greedily(self) -> None:
        """Make a first purchase without a search."""
        needed = Counter(self._extra_sheets)
        for paper in self._papers:
            needed.update(paper.needed_sheets)
        self._packs = self._market.greedy_packs(needed)
        if self._market.meets_least_orders(self._packs):
            self._best_cost = self._market.cost(self._packs)

    # --- programs ---------------------------------------------------------------------------

    def _raise_bound(self, nodes: int, stop: Stop, *, exact_bound: bool = False) -> Suppliers:
        """Raise the lower bound; return the suppliers of the purchase that attains it."""
        master = self._pack_master(SufficiencyRule.POSSIBLE)
        solution = master.solve(nodes, stop, sharp=exact_bound)
        self._statistics["bounded"] += 1
        self._lower_bound = max(self._lower_bound, solution.bound)
        return self._all_suppliers if solution.values is None else master.suppliers(solution)

    def _most_promising(self, searched: Collection[Suppliers], estimating: int) -> Suppliers | None:
        """Return the suppliers with the least estimated cost, other than those searched.

        None if that is no less than the best cost.  Sets of suppliers are estimated in turn, as the
        estimate of a set that was not looked at is too low.
        """
        excluded = set(searched)
        for _ in range(_MAX_ESTIMATED_SETS):
            master = self._pack_master(SufficiencyRule.LIKELY)
            master.exclude_suppliers(excluded)
            solution = master.solve(_SCREENING_NODES, self._stop, near=_SCREENING_GAP)
            self._statistics["hoped"] += 1
            if solution.values is None or self._stop():
                break
            suppliers = master.suppliers(solution)
            excluded.add(suppliers)
            self._spend(StepBudget(suppliers=suppliers, estimating=estimating))
        estimated_sets = set.intersection(
            *(set(knowledge.estimated_costs) for knowledge in self._knowledge)
        )
        estimated_costs = {
            suppliers: self._estimated_cost(suppliers)
            for suppliers in estimated_sets - set(searched)
        }
        best = min(
            estimated_costs,
            key=lambda suppliers: (estimated_costs[suppliers], sorted(suppliers)),
            default=None,
        )
        if best is None or self._best_cost is None:
            return best
        return best if estimated_costs[best] * self._market.unit < self._best_cost else None

    def _estimated_cost(self, suppliers: Suppliers) -> int:
        """Return the estimated cost of all papers from some suppliers, with shipping."""
        goods = sum(knowledge.estimated_costs[suppliers] for knowledge in self._knowledge)
        return goods + self._market.estimate_shipping(suppliers, goods)

    def _buy_for_known_plans(self, stop: Stop) -> None:
        """Buy the cheapest packs that suffice for known plans."""
        master = self._pack_master(SufficiencyRule.PLANNED)
        solution = master.solve(self._budget.mip_nodes, stop)
        self._statistics["chosen"] += 1
        if solution.values is None:
            return
        for paper, plan in master.plans(solution.values):
            self._papers[paper].add_plan(plan)
            self._knowledge[paper] = self._papers[paper].knowledge
        packs = master.variables.bought(solution.values)
        cost = self._market.cost(packs)
        if self._market.meets_least_orders(packs) and (
            self._best_cost is None or cost < self._best_cost
        ):
            self._best_cost, self._packs = cost, packs

    def _pack_master(self, rule: SufficiencyRule) -> PackMaster:
        return PackMaster(self._market, self._knowledge, self._extra_sheets, rule)

    # --- the result ---------------------------------------------------------------------------

    def solve(self, processes: int) -> PaperPurchasePlan:
        """Search, and return the purchase with layouts."""
        results = self._run(processes)
        if self._best_cost is None:
            raise Refusal(
                "no purchase was found that reaches the least order of every supplier it asks;"
                " other suppliers, or more from one of them, would do"
            )
        self._leave_out_unused_packs(results)
        allocator = _SheetAllocator(self._market, self._packs)
        layouts: list[Layout] = []
        for size, layout in (sized_layout for result in results for sized_layout in result.layouts):
            if size is None:
                layouts.append(layout)
                continue
            for name, copies in allocator.take(size, layout.copies):
                layouts.append(replace(layout, stock=name, copies=copies))
        unplaced = [
            Unplaced(demand.name, demand.quantity, reason) for demand, reason in self._unplaceable
        ]
        unplaced += [
            Unplaced(demand.name, n, NO_SHEET_LEFT)
            for result in results
            for demand, n in result.missing
        ]
        position = {demand.name: index for index, demand in enumerate(self._problem.demands)}
        unplaced.sort(key=lambda item: position[item.name])
        final = self._final_problem
        stock = {item.name: item for item in final.stock}
        cost = sum((stock[layout.stock].price * layout.copies for layout in layouts), Fraction(0))
        offcut_value = sum(
            (_offcut_value(final, stock[layout.stock], layout) for layout in layouts), Fraction(0)
        )
        # The bound proves the money paid, not the value of the paper used.
        plan = CuttingPlan(
            tuple(layouts),
            tuple(unplaced),
            cost,
            Fraction(0),
            interrupted=self._stop(),
            offcut_value=offcut_value,
        )
        total_paid = self._market.cost(self._packs)
        return PaperPurchasePlan(
            self._packs,
            self._market.shipping(self._packs),
            final,
            plan,
            min(total_paid, self._lower_bound * self._market.unit),
            dict(sum((knowledge.statistics for knowledge in self._knowledge), self._statistics)),
            self._stop(),
        )

    def _leave_out_unused_packs(self, results: Iterable[CutResult]) -> None:
        """Leave out packs of which the last cutting uses no sheet, the dearest first.

        They stay where without them a least order or free shipping would be missed.
        """
        needed = Counter(self._extra_sheets)
        for result in results:
            for size, layout in result.layouts:
                if size is not None:
                    needed[size] += layout.copies
        bought: Counter[int] = Counter()
        for line in self._packs:
            bought[self._market.size_of[line.offer.name]] += line.sheets
        for line in sorted(self._packs, key=lambda line: -line.offer.pack_price):
            size, offer = self._market.size_of[line.offer.name], line.offer
            idle = (bought[size] - needed[size]) // offer.pack_size
            quantity = max(line.quantity - idle, 0)
            if quantity and quantity < offer.min_packs:
                quantity = min(offer.min_packs, line.quantity)
            fewer = tuple(
                one._replace(quantity=quantity) if one.offer is offer else one
                for one in self._packs
                if one.offer is not offer or quantity
            )
            if self._market.cost(fewer) <= self._market.cost(self._packs) and (
                self._market.meets_least_orders(fewer)
            ):
                bought[size] -= (line.quantity - quantity) * offer.pack_size
                self._packs = fewer

    @property
    def _final_problem(self) -> Problem:
        """The problem with the sheets bought."""
        bought = tuple(line.offer.as_stock_item(line.sheets) for line in self._packs)
        return replace(self._problem, stock=self._problem.stock + bought)

    def _cut_sheets(self) -> list[CutResult]:
        """Plan the cutting of each paper, at the value of the paper used."""
        sheets: Counter[int] = Counter()
        for line in self._packs:
            sheets[self._market.size_of[line.offer.name]] += line.sheets
        cut = CutCommand(
            self._final_problem, sheets, self._budget.cutting_time / max(1, len(self._papers))
        )
        results = dict(self._responses(cut))
        return [result for _, result in sorted(results.items()) if isinstance(result, CutResult)]


def _offered_stock(problem: Problem, market: Market) -> tuple[StockItem, ...]:
    """Return what is offered as unlimited stock, at about what it would cost."""
    areas: Counter[str] = Counter()
    for demand in problem.demands:
        areas[demand.paper] += demand.width * demand.height * demand.quantity
    return tuple(
        market.stock_at_estimated_price(number, areas[size.stock.paper])
        for number, size in enumerate(market.sizes)
    )


class _SheetAllocator:
    """Assigns the sheets bought to layouts, the cheapest sheets of a size first."""

    def __init__(self, market: Market, packs: Iterable[PurchaseLine]) -> None:
        self._market = market
        self._remaining = {line.offer.name: line.sheets for line in packs}

    def take(self, size: int, copies: int) -> list[tuple[str, int]]:
        """Take sheets of a size; return how many of which offer."""
        taken = []
        for index in self._market.sizes[size].offers:
            name = self._market.offers[index].name
            taken_here = min(copies, self._remaining.get(name, 0))
            if taken_here:
                self._remaining[name] -= taken_here
                copies -= taken_here
                taken.append((name, taken_here))
        return taken


def _offcut_value(problem: Problem, stock: StockItem, layout: Layout) -> Fraction:
    """Return the value of the offcuts of all copies of a layout."""
    share = 1 if stock.is_offcut and problem.offcut_value_share else problem.offcut_value_share
    area = sum(rect.area for rect in layout.offcuts)
    return stock.price * share * layout.copies * Fraction(area, stock.width * stock.height)


def _validate_offers(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms],
    extra_sheets: Mapping[str, int],
) -> None:
    names = Counter([item.name for item in problem.stock] + [item.name for item in offers])
    for offer in offers:
        if names[offer.name] > 1:
            raise Refusal(f"'{offer.name}' is the name of an offer and of another, or of a stock")
    for name, number in extra_sheets.items():
        if all(offer.name != name for offer in offers):
            raise Refusal(f"{number} sheets of offer '{name}' are asked for, which there is not")
        if number < 0:
            raise Refusal(f"{number} sheets of offer '{name}' are asked for; zero or more would do")
    for offer in offers:
        if offer.pack_size < 1:
            raise Refusal(
                f"offer '{offer.name}' is of packs of {offer.pack_size} sheets; one or more do"
            )
        if offer.min_packs < 1:
            raise Refusal(f"offer '{offer.name}' asks for {offer.min_packs} packs; one or more do")
        if offer.pack_price < 0:
            raise Refusal(
                f"the price of offer '{offer.name}' is {offer.pack_price}; zero or more would do"
            )
    for supplier, times in Counter(supplier_terms.supplier for supplier_terms in terms).items():
        if times > 1:
            raise Refusal(f"supplier '{supplier}' has {times} terms; one would do")
    for term in terms:
        if min(term.shipping, term.min_order_value, term.free_shipping_from or 0) < 0:
            raise Refusal(f"supplier '{term.supplier}' asks for less than nothing")
