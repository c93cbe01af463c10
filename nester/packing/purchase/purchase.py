"""The cheapest purchase, solved together with the cutting.

What is sought is the least money paid: packs and shipping.  Sheets and offcuts on hand cost
nothing more, so they are used wherever that saves money; among equally cheap ways to cut what is
bought then, that is kept in which the paper used is worth least, offcuts kept counted: so what
stays in the stash and in the packs is worth most.  Only sheets that hold some piece are
bought, also where more are bought than are used, to reach a sum from which shipping is free.

Papers share nothing but suppliers and their shipping.  So for given suppliers each paper is bought
by itself (`paper_purchase.py`), in several processes, and programmes of all papers
(`pack_master.py`) choose the suppliers.  One of these buys what breaks no known inequality, so that
no purchase costs less; one what is likely to be enough; and one what is enough for known plans.
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
    """How much is done in one round; steps are for all papers together.

    Attributes
    ----------
    pattern_search
        Steps of seeking layouts at about the prices of single sheets.
    estimating
        Steps of learning what sheets are likely to hold, for each set of suppliers.
    supplier_sets
        For so many sets of suppliers plans are sought at most.
    plan_search
        Steps of that, for each set.
    per_proposal
        Steps in which a plan for one purchase is sought at first.
    bounding
        Steps of proving what is bought from all suppliers.
    bounded_sets
        For so many sets of suppliers it is proven what is bought of them, in fewer steps each.
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
    """How much is done.

    Attributes
    ----------
    enumeration
        Steps in which a paper of few pieces is settled; more papers, more steps.
    min_parallel_pieces
        From so many pieces on it is worth while to start other processes.
    mip_nodes
        Nodes of SCIP's search for one choice of packs of all papers.
    cutting_time
        CP-SAT's deterministic time for choosing layouts in the end, and the same for tidying them.
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
"""For so many new sets of suppliers it is supposed what sheets hold before plans are sought."""
_SCREENING_NODES, _SCREENING_GAP = 200, 0.01
"""Of SCIP's search for suppliers to look at; so near to the cheapest is near enough then."""
_BOUNDING_DIVISOR = 8
"""One part in so many of the steps of proving is for each set of suppliers."""


def purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms] = (),
    effort: Effort = Effort.NORMAL,
    *,
    also: Mapping[str, int] | None = None,
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
        What can be bought; their names are unique and no stock's.
    terms
        At most one for each supplier; one without asks for no shipping.
    also
        By names of offers: so many sheets alike are bought beside those that are cut.
    effort
        How hard to look; counted, so that equal input gives an equal purchase, unless `stop` ends
        the search early.
    processes
        How many may work at once, where there are several papers and enough pieces; the purchase
        does not depend on it.  A script that asks for more than one must be guarded: see `solve`.
    stop
        Asked all the time; once it says yes, the best purchase so far is returned.  There is
        always one: the first is made in any case.
    on_progress
        Told after each stretch of the search: what is paid, and its bound.

    Returns
    -------
    Bought
        Its answer has been through no judge: give it to `nester.verify`.  What fits
        neither a sheet on offer nor what is on hand is unplaced.

    Raises
    ------
    Refusal
        If the problem, an offer or a supplier's terms have no meaning.
    """
    _validate_offers(problem, offers, terms, also or {})
    market = Market(offers, terms)
    at_hand = tuple(replace(one, price=Fraction(0)) for one in problem.stock)
    whole = replace(
        problem,
        demands=tuple(want for want in problem.demands if want.quantity),
        stock=at_hand + tuple(size.stock for size in market.sizes),
        offcut_value_share=Fraction(0),
    )
    validate(whole)
    whole = replace(whole, stock=at_hand + _offered_stock(whole, market))
    beside = market.sheets_by_size(also or {})
    search = _PurchaseSearch(problem, whole, market, _BUDGETS[effort], beside, stop, on_progress)
    return search.solve(1 if stop() else processes)


class _PurchaseSearch:
    def __init__(
        self,
        problem: Problem,
        whole: Problem,
        market: Market,
        work: _EffortBudget,
        also: Mapping[int, int],
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._market = market
        self._all_suppliers = frozenset(market.terms)
        self._budget = work
        self._extra_sheets = also
        self._stop = stop
        self._on_progress = on_progress
        tasks, self._unplaceable = tasks_by_paper(whole)
        self._papers = [
            PaperPurchase(
                market, start_paper(task, market, problem.cuts, stop), problem.cuts, also, stop
            )
            for task in tasks
        ]
        self._packs: tuple[PurchaseLine, ...] = ()
        self._best_cost: Fraction | None = None
        self._lower_bound = 0
        self._statistics: Counter[str] = Counter()

    # --- stages -------------------------------------------------------------------------------

    def _run(self, processes: int) -> list[CutResult]:
        """Search until the purchase is proven, or the work is done; then cut what is bought."""
        self._buy_greedily()
        self._report(0)
        for paper in self._papers:
            if not self._stop():
                paper.enumerate_patterns(self._budget.enumeration, self._stop)
        self._knowledge = [paper.knowledge for paper in self._papers]
        self._buy_for_known_plans(self._stop)
        self._report(1)
        self._open_papers = [
            place for place, known in enumerate(self._knowledge) if not known.columns
        ]
        papers = [self._papers[place] for place in self._open_papers]
        pieces = [sum(paper.task.demand) for paper in papers]
        alone = len(papers) < 2 or sum(pieces) < self._budget.min_parallel_pieces
        makers = [paper.factory for paper in papers]
        if not papers:
            self._raise_bound(self._budget.mip_nodes, self._stop, sharp=True)
        with worker_pool(papers, makers, pieces, 1 if alone else processes) as self._workers:
            for one in self._budget.rounds:
                if not self._is_done:
                    self._run_round(one)
            if self._stop():
                # What was found and proven meanwhile is not to be lost.
                self._buy_for_known_plans(never)
                self._raise_bound(_SCREENING_NODES, never)
            return self._cut_sheets()

    def _run_round(self, work: _Round) -> None:
        """Seek plans for the most promising suppliers; then prove what is bought at least."""
        if self._open_papers:
            self._search_plans(work)
        proving, suppliers = work.bounding, self._all_suppliers
        proven: set[Suppliers] = set()
        while suppliers not in proven and len(proven) < work.bounded_sets and not self._is_done:
            proven.add(suppliers)
            self._spend(StepBudget(suppliers=suppliers, bounding=proving))
            proving = work.bounding // _BOUNDING_DIVISOR
            suppliers = self._raise_bound(_SCREENING_NODES, self._stop)
        if not self._is_done:
            self._raise_bound(self._budget.mip_nodes, self._stop, sharp=True)
        self._report(1)

    def _search_plans(self, work: _Round) -> None:
        searching, supposing = work.pattern_search, work.estimating
        self._spend(
            StepBudget(
                suppliers=self._all_suppliers, pattern_search=searching, estimating=supposing
            )
        )
        sought: set[Suppliers] = set()
        while len(sought) < work.supplier_sets and not self._is_done:
            suppliers = self._most_promising(sought, supposing)
            if suppliers is None:
                return
            sought.add(suppliers)
            self._spend(
                StepBudget(
                    suppliers=suppliers,
                    plan_search=work.plan_search,
                    per_proposal=work.per_proposal,
                )
            )
            self._buy_for_known_plans(self._stop)
            self._report(1)

    def _spend(self, share: StepBudget) -> None:
        """Share work out among the papers."""
        for place, answer in self._responses(share.divided(max(1, len(self._open_papers)))):
            if isinstance(answer, PaperKnowledge):
                self._knowledge[place] = answer

    def _responses(
        self, deed: StepBudget | CutCommand
    ) -> Iterator[tuple[int, PaperKnowledge | CutResult]]:
        """Yield what papers answer, and their places; first those that are settled, in a moment."""
        for place, known in enumerate(self._knowledge):
            if known.columns:
                yield place, self._papers[place].do(deed, self._stop)
        deeds = dict.fromkeys(range(len(self._open_papers)), deed)
        for number, answer in self._workers.do(deeds, self._stop):
            yield self._open_papers[number], answer

    @property
    def _is_done(self) -> bool:
        if self._stop():
            return True
        return self._best_cost is not None and self._lower_bound >= self._market.to_price_units(
            self._best_cost
        )

    def _report(self, done: int) -> None:
        cost, bound = self._market.cost(self._packs), self._lower_bound * self._market.unit
        sheets = sum(one.sheets for one in self._packs)
        papers = len(self._papers)
        self._on_progress(Progress(cost, min(cost, bound), sheets, done * papers, papers))

    def _buy_greedily(self) -> None:
        """Have a purchase, without any search."""
        needed = Counter(self._extra_sheets)
        for paper in self._papers:
            needed.update(paper.needed_sheets)
        self._packs = self._market.greedy_packs(needed)
        if self._market.meets_least_orders(self._packs):
            self._best_cost = self._market.cost(self._packs)

    # --- programmes ---------------------------------------------------------------------------

    def _raise_bound(self, nodes: int, stop: Stop, *, sharp: bool = False) -> Suppliers:
        """Raise the bound; return the suppliers of a purchase that keeps to all that is known."""
        choice = self._pack_master(SufficiencyRule.POSSIBLE)
        chosen = choice.solve(nodes, stop, sharp=sharp)
        self._statistics["bounded"] += 1
        self._lower_bound = max(self._lower_bound, chosen.bound)
        return self._all_suppliers if chosen.values is None else choice.suppliers(chosen)

    def _most_promising(self, sought: Collection[Suppliers], supposing: int) -> Suppliers | None:
        """Return other suppliers, by what is likely those from whom everything costs least.

        None if that would be no cheaper than what is known.  What is likely to be enough is
        supposed for some sets of suppliers, for it is too little for those it is not asked about.
        """
        asked = set(sought)
        for _ in range(_MAX_ESTIMATED_SETS):
            choice = self._pack_master(SufficiencyRule.LIKELY)
            choice.exclude_suppliers(asked)
            chosen = choice.solve(_SCREENING_NODES, self._stop, near=_SCREENING_GAP)
            self._statistics["hoped"] += 1
            if chosen.values is None or self._stop():
                break
            suppliers = choice.suppliers(chosen)
            asked.add(suppliers)
            self._spend(StepBudget(suppliers=suppliers, estimating=supposing))
        supposed = set.intersection(*(set(known.estimated_costs) for known in self._knowledge))
        hoped = {suppliers: self._estimated_cost(suppliers) for suppliers in supposed - set(sought)}
        best = min(hoped, key=lambda one: (hoped[one], sorted(one)), default=None)
        if best is None or self._best_cost is None:
            return best
        return best if hoped[best] * self._market.unit < self._best_cost else None

    def _estimated_cost(self, suppliers: Suppliers) -> int:
        """Return what everything is likely to cost from suppliers, with about their shipping."""
        goods = sum(known.estimated_costs[suppliers] for known in self._knowledge)
        return goods + self._market.estimate_shipping(suppliers, goods)

    def _buy_for_known_plans(self, stop: Stop) -> None:
        """Buy what is enough for known plans, for the least money."""
        choice = self._pack_master(SufficiencyRule.PLANNED)
        chosen = choice.solve(self._budget.mip_nodes, stop)
        self._statistics["chosen"] += 1
        if chosen.values is None:
            return
        for place, uses in choice.plans(chosen.values):
            self._papers[place].add_plan(uses)
            self._knowledge[place] = self._papers[place].knowledge
        packs = choice.variables.bought(chosen.values)
        paid = self._market.cost(packs)
        if self._market.meets_least_orders(packs) and (
            self._best_cost is None or paid < self._best_cost
        ):
            self._best_cost, self._packs = paid, packs

    def _pack_master(self, ways: SufficiencyRule) -> PackMaster:
        return PackMaster(self._market, self._knowledge, self._extra_sheets, ways)

    # --- the result ---------------------------------------------------------------------------

    def solve(self, processes: int) -> PaperPurchasePlan:
        """Search, and return the purchase with layouts."""
        made = self._run(processes)
        if self._best_cost is None:
            raise Refusal(
                "no purchase was found that reaches the least order of every supplier it asks;"
                " other suppliers, or more from one of them, would do"
            )
        shelf = _SheetAllocator(self._market, self._packs)
        layouts: list[Layout] = []
        for size, layout in (one for each in made for one in each.layouts):
            if size is None:
                layouts.append(layout)
                continue
            for name, copies in shelf.take(size, layout.copies):
                layouts.append(replace(layout, stock=name, copies=copies))
        unplaced = [Unplaced(want.name, want.quantity, why) for want, why in self._unplaceable]
        unplaced += [Unplaced(w.name, n, NO_SHEET_LEFT) for each in made for w, n in each.missing]
        position = {want.name: place for place, want in enumerate(self._problem.demands)}
        unplaced.sort(key=lambda one: position[one.name])
        final = self._final_problem
        stock = {one.name: one for one in final.stock}
        cost = sum((stock[one.stock].price * one.copies for one in layouts), Fraction(0))
        kept = sum((_offcut_value(final, stock[one.stock], one) for one in layouts), Fraction(0))
        # Nothing is claimed of what the paper used is worth; money paid is what is proven.
        answer = CuttingPlan(
            tuple(layouts),
            tuple(unplaced),
            cost,
            Fraction(0),
            interrupted=self._stop(),
            offcut_value=kept,
        )
        paid = self._market.cost(self._packs)
        return PaperPurchasePlan(
            self._packs,
            self._market.shipping(self._packs),
            final,
            answer,
            min(paid, self._lower_bound * self._market.unit),
            dict(sum((known.statistics for known in self._knowledge), self._statistics)),
            self._stop(),
        )

    @property
    def _final_problem(self) -> Problem:
        """The problem with the sheets bought."""
        bought = tuple(one.offer.as_stock_item(one.sheets) for one in self._packs)
        return replace(self._problem, stock=self._problem.stock + bought)

    def _cut_sheets(self) -> list[CutResult]:
        """Let the papers be cut as well as can be, for what the paper used is worth."""
        sheets: Counter[int] = Counter()
        for one in self._packs:
            sheets[self._market.size_of[one.offer.name]] += one.sheets
        cut = CutCommand(
            self._final_problem, sheets, self._budget.cutting_time / max(1, len(self._papers))
        )
        made = dict(self._responses(cut))
        return [one for _, one in sorted(made.items()) if isinstance(one, CutResult)]


def _offered_stock(problem: Problem, market: Market) -> tuple[StockItem, ...]:
    """Return what is offered as stock without end, at about what it would cost."""
    areas: Counter[str] = Counter()
    for want in problem.demands:
        areas[want.paper] += want.width * want.height * want.quantity
    return tuple(
        market.stock_at_estimated_price(number, areas[size.stock.paper])
        for number, size in enumerate(market.sizes)
    )


class _SheetAllocator:
    """What is bought, taken size by size, the cheapest sheets first."""

    def __init__(self, market: Market, packs: Iterable[PurchaseLine]) -> None:
        self._market = market
        self._left = {one.offer.name: one.sheets for one in packs}

    def take(self, size: int, copies: int) -> list[tuple[str, int]]:
        """Take so many sheets of a size; return how many of which offer."""
        taken = []
        for index in self._market.sizes[size].offers:
            name = self._market.offers[index].name
            some = min(copies, self._left.get(name, 0))
            if some:
                self._left[name] -= some
                copies -= some
                taken.append((name, some))
        return taken


def _offcut_value(problem: Problem, stock: StockItem, layout: Layout) -> Fraction:
    """Return what the offcuts of all copies of a layout count."""
    share = 1 if stock.is_offcut and problem.offcut_value_share else problem.offcut_value_share
    area = sum(rect.area for rect in layout.offcuts)
    return stock.price * share * layout.copies * Fraction(area, stock.width * stock.height)


def _validate_offers(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms],
    also: Mapping[str, int],
) -> None:
    names = Counter([one.name for one in problem.stock] + [one.name for one in offers])
    for one in offers:
        if names[one.name] > 1:
            raise Refusal(f"'{one.name}' is the name of an offer and of another, or of a stock")
    for name, number in also.items():
        if all(one.name != name for one in offers):
            raise Refusal(f"{number} sheets of offer '{name}' are asked for, which there is not")
        if number < 0:
            raise Refusal(f"{number} sheets of offer '{name}' are asked for; zero or more would do")
    for one in offers:
        if one.pack_size < 1:
            raise Refusal(
                f"offer '{one.name}' is of packs of {one.pack_size} sheets; one or more do"
            )
        if one.min_packs < 1:
            raise Refusal(f"offer '{one.name}' asks for {one.min_packs} packs; one or more do")
        if one.pack_price < 0:
            raise Refusal(
                f"the price of offer '{one.name}' is {one.pack_price}; zero or more would do"
            )
    for supplier, times in Counter(one.supplier for one in terms).items():
        if times > 1:
            raise Refusal(f"supplier '{supplier}' has {times} terms; one would do")
    for term in terms:
        if min(term.shipping, term.min_order_value, term.free_shipping_from or 0) < 0:
            raise Refusal(f"supplier '{term.supplier}' asks for less than nothing")
