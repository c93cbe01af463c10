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
from nester.core.problem import Answer, Effort, Layout, Problem, Stock, Unplaced
from nester.core.purchase import Bought, Offer, Packs, Terms
from nester.packing.purchase.market import Market, Suppliers
from nester.packing.purchase.pack_master import Known, PackChoice, Ways
from nester.packing.purchase.paper_purchase import Cut, Made, PaperPurchase, Share, begin
from nester.packing.runtime.stop import Stop, never
from nester.packing.runtime.worker_processes import crew
from nester.packing.search.solve import NO_SHEET_LEFT, Progress
from nester.packing.task.task import split_by_paper
from nester.packing.task.validate import refuse_unsound

__all__ = ["purchase"]


@dataclass(frozen=True, kw_only=True)
class _Round:
    """How much is done in one round; steps are for all papers together.

    Attributes
    ----------
    searching
        Steps of seeking layouts at about the prices of single sheets.
    supposing
        Steps of learning what sheets are likely to hold, for each set of suppliers.
    sets
        For so many sets of suppliers plans are sought at most.
    seeking
        Steps of that, for each set.
    one
        Steps in which a plan for one purchase is sought at first.
    proving
        Steps of proving what is bought from all suppliers.
    proofs
        For so many sets of suppliers it is proven what is bought of them, in fewer steps each.
    """

    searching: int = 0
    supposing: int
    sets: int
    seeking: int
    one: int
    proving: int
    proofs: int


@dataclass(frozen=True, kw_only=True)
class _Work:
    """How much is done.

    Attributes
    ----------
    settling
        Steps in which a paper of few pieces is settled; more papers, more steps.
    many
        From so many pieces on it is worth while to start other processes.
    programme
        Nodes of SCIP's search for one choice of packs of all papers.
    cutting
        CP-SAT's deterministic time for choosing layouts in the end, and the same for tidying them.
    """

    settling: int
    rounds: tuple[_Round, ...]
    many: int
    programme: int
    cutting: float


_FIRST = _Round(
    searching=500_000,
    supposing=1_600_000,
    sets=1,
    seeking=4_000_000,
    one=30_000,
    proving=16_000_000,
    proofs=4,
)
_SECOND = _Round(
    supposing=3_200_000,
    sets=2,
    seeking=8_000_000,
    one=200_000,
    proving=32_000_000,
    proofs=8,
)
_FURTHER = _Round(
    searching=8_000_000,
    supposing=4_000_000,
    sets=4,
    seeking=40_000_000,
    one=1_000_000,
    proving=100_000_000,
    proofs=16,
)
_WORK = {
    Effort.QUICK: _Work(
        settling=20_000,
        rounds=(
            _Round(
                searching=200_000,
                supposing=400_000,
                sets=1,
                seeking=3_000_000,
                one=20_000,
                proving=1_000_000,
                proofs=2,
            ),
        ),
        many=1_000,
        programme=100,
        cutting=0.3,
    ),
    Effort.NORMAL: _Work(
        settling=50_000, rounds=(_FIRST, _SECOND), many=100, programme=1_000, cutting=1.0
    ),
    Effort.THOROUGH: _Work(
        settling=150_000,
        rounds=(_FIRST, _SECOND, _FURTHER, _FURTHER, _FURTHER),
        many=100,
        programme=5_000,
        cutting=4.0,
    ),
}
_MOST_SUPPOSED = 2
"""For so many new sets of suppliers it is supposed what sheets hold before plans are sought."""
_NODES_OF_HOPE, _NEAR = 200, 0.01
"""Of SCIP's search for suppliers to look at; so near to the cheapest is near enough then."""
_SOME_PROVING = 8
"""One part in so many of the steps of proving is for each set of suppliers."""


def purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[Terms] = (),
    effort: Effort = Effort.NORMAL,
    *,
    also: Mapping[str, int] | None = None,
    processes: int = 1,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> Bought:
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
    _refuse_unsound(problem, offers, terms, also or {})
    market = Market(offers, terms)
    at_hand = tuple(replace(one, price=Fraction(0)) for one in problem.stock)
    whole = replace(
        problem,
        wants=tuple(want for want in problem.wants if want.quantity),
        stock=at_hand + tuple(size.stock for size in market.sizes),
        offcut_worth=Fraction(0),
    )
    refuse_unsound(whole)
    whole = replace(whole, stock=at_hand + _offered(whole, market))
    beside = market.by_size(also or {})
    search = _Search(problem, whole, market, _WORK[effort], beside, stop, on_progress)
    return search.bought(1 if stop() else processes)


class _Search:
    def __init__(
        self,
        problem: Problem,
        whole: Problem,
        market: Market,
        work: _Work,
        also: Mapping[int, int],
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._market = market
        self._everyone = frozenset(market.terms)
        self._work = work
        self._also = also
        self._stop = stop
        self._tell = on_progress
        tasks, self._hopeless = split_by_paper(whole)
        self._papers = [
            PaperPurchase(market, begin(task, market, problem.cuts, stop), problem.cuts, also, stop)
            for task in tasks
        ]
        self._packs: tuple[Packs, ...] = ()
        self._paid: Fraction | None = None
        self._bound = 0
        self._tried: Counter[str] = Counter()

    # --- stages -------------------------------------------------------------------------------

    def _run(self, processes: int) -> list[Made]:
        """Search until the purchase is proven, or the work is done; then cut what is bought."""
        self._buy_at_once()
        self._report(0)
        for paper in self._papers:
            if not self._stop():
                paper.settle(self._work.settling, self._stop)
        self._known = [paper.known for paper in self._papers]
        self._choose(self._stop)
        self._report(1)
        self._open = [place for place, known in enumerate(self._known) if not known.columns]
        papers = [self._papers[place] for place in self._open]
        pieces = [sum(paper.task.demand) for paper in papers]
        alone = len(papers) < 2 or sum(pieces) < self._work.many
        makers = [paper.maker for paper in papers]
        if not papers:
            self._prove(self._work.programme, self._stop, sharp=True)
        with crew(papers, makers, pieces, 1 if alone else processes) as self._team:
            for one in self._work.rounds:
                if not self._done:
                    self._round(one)
            if self._stop():
                # What was found and proven meanwhile is not to be lost.
                self._choose(never)
                self._prove(_NODES_OF_HOPE, never)
            return self._cut()

    def _round(self, work: _Round) -> None:
        """Seek plans for the most promising suppliers; then prove what is bought at least."""
        if self._open:
            self._seek(work)
        proving, suppliers = work.proving, self._everyone
        proven: set[Suppliers] = set()
        while suppliers not in proven and len(proven) < work.proofs and not self._done:
            proven.add(suppliers)
            self._work_on(Share(suppliers=suppliers, proving=proving))
            proving = work.proving // _SOME_PROVING
            suppliers = self._prove(_NODES_OF_HOPE, self._stop)
        if not self._done:
            self._prove(self._work.programme, self._stop, sharp=True)
        self._report(1)

    def _seek(self, work: _Round) -> None:
        searching, supposing = work.searching, work.supposing
        self._work_on(Share(suppliers=self._everyone, searching=searching, supposing=supposing))
        sought: set[Suppliers] = set()
        while len(sought) < work.sets and not self._done:
            suppliers = self._most_promising(sought, supposing)
            if suppliers is None:
                return
            sought.add(suppliers)
            self._work_on(Share(suppliers=suppliers, seeking=work.seeking, one=work.one))
            self._choose(self._stop)
            self._report(1)

    def _work_on(self, share: Share) -> None:
        """Share work out among the papers."""
        for place, answer in self._asked(share.shared(max(1, len(self._open)))):
            if isinstance(answer, Known):
                self._known[place] = answer

    def _asked(self, deed: Share | Cut) -> Iterator[tuple[int, Known | Made]]:
        """Yield what papers answer, and their places; first those that are settled, in a moment."""
        for place, known in enumerate(self._known):
            if known.columns:
                yield place, self._papers[place].do(deed, self._stop)
        deeds = dict.fromkeys(range(len(self._open)), deed)
        for number, answer in self._team.do(deeds, self._stop):
            yield self._open[number], answer

    @property
    def _done(self) -> bool:
        if self._stop():
            return True
        return self._paid is not None and self._bound >= self._market.whole(self._paid)

    def _report(self, done: int) -> None:
        cost, bound = self._market.cost(self._packs), self._bound * self._market.unit
        sheets = sum(one.sheets for one in self._packs)
        papers = len(self._papers)
        self._tell(Progress(cost, min(cost, bound), sheets, done * papers, papers))

    def _buy_at_once(self) -> None:
        """Have a purchase, without any search."""
        needed = Counter(self._also)
        for paper in self._papers:
            needed.update(paper.needed)
        self._packs = self._market.at_once(needed)
        if self._market.delivers(self._packs):
            self._paid = self._market.cost(self._packs)

    # --- programmes ---------------------------------------------------------------------------

    def _prove(self, nodes: int, stop: Stop, *, sharp: bool = False) -> Suppliers:
        """Raise the bound; return the suppliers of a purchase that keeps to all that is known."""
        choice = self._choice(Ways.POSSIBLE)
        chosen = choice.cheapest(nodes, stop, sharp=sharp)
        self._tried["bounded"] += 1
        self._bound = max(self._bound, chosen.bound)
        return self._everyone if chosen.value is None else choice.suppliers(chosen)

    def _most_promising(self, sought: Collection[Suppliers], supposing: int) -> Suppliers | None:
        """Return other suppliers, by what is likely those from whom everything costs least.

        None if that would be no cheaper than what is known.  What is likely to be enough is
        supposed for some sets of suppliers, for it is too little for those it is not asked about.
        """
        asked = set(sought)
        for _ in range(_MOST_SUPPOSED):
            choice = self._choice(Ways.LIKELY)
            choice.but_not(asked)
            chosen = choice.cheapest(_NODES_OF_HOPE, self._stop, near=_NEAR)
            self._tried["hoped"] += 1
            if chosen.value is None or self._stop():
                break
            suppliers = choice.suppliers(chosen)
            asked.add(suppliers)
            self._work_on(Share(suppliers=suppliers, supposing=supposing))
        supposed = set.intersection(*(set(known.hoped) for known in self._known))
        hoped = {suppliers: self._hoped(suppliers) for suppliers in supposed - set(sought)}
        best = min(hoped, key=lambda one: (hoped[one], sorted(one)), default=None)
        if best is None or self._paid is None:
            return best
        return best if hoped[best] * self._market.unit < self._paid else None

    def _hoped(self, suppliers: Suppliers) -> int:
        """Return what everything is likely to cost from suppliers, with about their shipping."""
        goods = sum(known.hoped[suppliers] for known in self._known)
        return goods + self._market.likely_shipping(suppliers, goods)

    def _choose(self, stop: Stop) -> None:
        """Buy what is enough for known plans, for the least money."""
        choice = self._choice(Ways.PLANNED)
        chosen = choice.cheapest(self._work.programme, stop)
        self._tried["chosen"] += 1
        if chosen.value is None:
            return
        for place, uses in choice.uses(chosen.value):
            self._papers[place].show(uses)
            self._known[place] = self._papers[place].known
        packs = choice.purse.bought(chosen.value)
        paid = self._market.cost(packs)
        if self._market.delivers(packs) and (self._paid is None or paid < self._paid):
            self._paid, self._packs = paid, packs

    def _choice(self, ways: Ways) -> PackChoice:
        return PackChoice(self._market, self._known, self._also, ways)

    # --- the result ---------------------------------------------------------------------------

    def bought(self, processes: int) -> Bought:
        """Search, and return the purchase with layouts."""
        made = self._run(processes)
        if self._paid is None:
            raise Refusal(
                "no purchase was found that reaches the least order of every supplier it asks;"
                " other suppliers, or more from one of them, would do"
            )
        shelf = _Shelf(self._market, self._packs)
        layouts: list[Layout] = []
        for size, layout in (one for each in made for one in each.layouts):
            if size is None:
                layouts.append(layout)
                continue
            for name, copies in shelf.take(size, layout.copies):
                layouts.append(replace(layout, stock=name, copies=copies))
        unplaced = [Unplaced(want.name, want.quantity, why) for want, why in self._hopeless]
        unplaced += [Unplaced(w.name, n, NO_SHEET_LEFT) for each in made for w, n in each.missing]
        position = {want.name: place for place, want in enumerate(self._problem.wants)}
        unplaced.sort(key=lambda one: position[one.name])
        final = self._final
        stock = {one.name: one for one in final.stock}
        cost = sum((stock[one.stock].price * one.copies for one in layouts), Fraction(0))
        kept = sum((_kept(final, stock[one.stock], one) for one in layouts), Fraction(0))
        # Nothing is claimed of what the paper used is worth; money paid is what is proven.
        answer = Answer(
            tuple(layouts), tuple(unplaced), cost, Fraction(0), stopped=self._stop(), kept=kept
        )
        paid = self._market.cost(self._packs)
        return Bought(
            self._packs,
            self._market.shipping(self._packs),
            final,
            answer,
            min(paid, self._bound * self._market.unit),
            dict(sum((known.tried for known in self._known), self._tried)),
            self._stop(),
        )

    @property
    def _final(self) -> Problem:
        """The problem with the sheets bought."""
        bought = tuple(one.offer.as_stock(one.sheets) for one in self._packs)
        return replace(self._problem, stock=self._problem.stock + bought)

    def _cut(self) -> list[Made]:
        """Let the papers be cut as well as can be, for what the paper used is worth."""
        sheets: Counter[int] = Counter()
        for one in self._packs:
            sheets[self._market.size_of[one.offer.name]] += one.sheets
        cut = Cut(self._final, sheets, self._work.cutting / max(1, len(self._papers)))
        made = dict(self._asked(cut))
        return [one for _, one in sorted(made.items()) if isinstance(one, Made)]


def _offered(problem: Problem, market: Market) -> tuple[Stock, ...]:
    """Return what is offered as stock without end, at about what it would cost."""
    areas: Counter[str] = Counter()
    for want in problem.wants:
        areas[want.paper] += want.width * want.height * want.quantity
    return tuple(
        market.priced(number, areas[size.stock.paper]) for number, size in enumerate(market.sizes)
    )


class _Shelf:
    """What is bought, taken size by size, the cheapest sheets first."""

    def __init__(self, market: Market, packs: Iterable[Packs]) -> None:
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


def _kept(problem: Problem, stock: Stock, layout: Layout) -> Fraction:
    """Return what the offcuts of all copies of a layout count."""
    share = 1 if stock.offcut and problem.offcut_worth else problem.offcut_worth
    area = sum(rect.area for rect in layout.offcuts)
    return stock.price * share * layout.copies * Fraction(area, stock.width * stock.height)


def _refuse_unsound(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[Terms],
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
        if one.pack < 1:
            raise Refusal(f"offer '{one.name}' is of packs of {one.pack} sheets; one or more do")
        if one.least_packs < 1:
            raise Refusal(f"offer '{one.name}' asks for {one.least_packs} packs; one or more do")
        if one.price < 0:
            raise Refusal(f"the price of offer '{one.name}' is {one.price}; zero or more would do")
    for supplier, times in Counter(one.supplier for one in terms).items():
        if times > 1:
            raise Refusal(f"supplier '{supplier}' has {times} terms; one would do")
    for term in terms:
        if min(term.shipping, term.least_order, term.free_from or 0) < 0:
            raise Refusal(f"supplier '{term.supplier}' asks for less than nothing")
