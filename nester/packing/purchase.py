"""The cheapest purchase, solved together with the cutting.

What is sought is the least money paid: packs and shipping.  Sheets and offcuts on hand cost
nothing more, so they are used wherever that saves money; among equally cheap ways to cut what is
bought then, that is kept in which the paper used is worth least, offcuts kept counted: so what
stays in the stash and in the packs is worth most.  Only sheets that hold some piece are
bought, also where more are bought than are used, to reach a sum from which shipping is free.

Two programmes in whole numbers stand against each other, both over packs, suppliers and shipping
(`market.py`).  One buys what breaks no known inequality between sheets and pieces: no purchase
costs less than its least cost, whatever the layouts (logic-based Benders decomposition: Hooker and
Ottosson, Mathematical Programming 96, 2003).  The other buys what is enough for one known plan of
each paper.  Between them a third proposes purchases that are cheaper than the best and perhaps
enough: inequalities with so much added as sheets have taken more so far.  For what it proposes a
plan is sought (`enough.py`); if none is found, less is expected of that paper next time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.layouts import Answer, Effort, Layout, Problem, Stock, Unplaced, Want
from nester.offers import Bought, Offer, Packs, Terms
from nester.packing.choose import choose, trim
from nester.packing.enough import Column, Enough, Sheets
from nester.packing.inequalities import Inequality
from nester.packing.market import Market, Purse
from nester.packing.model import Pattern, Task, split_by_paper, usage, whole_prices
from nester.packing.pool import Uses
from nester.packing.programme import Chosen, Number, Programme
from nester.packing.search import name_pieces
from nester.packing.solve import NO_SHEET_LEFT, Progress
from nester.packing.sound import refuse_unsound
from nester.packing.stop import Stop, never
from nester.packing.table import Table
from nester.packing.tidy import tidy
from nester.refusal import Refusal

__all__ = ["purchase"]


@dataclass(frozen=True, kw_only=True)
class _Work:
    """How much is done, all papers together; what is for one paper does not grow with others.

    Attributes
    ----------
    settling
        Steps in which a paper of few pieces is settled.
    search
        Steps of seeking plans and layouts at prices of single sheets.
    strengthening
        Steps of bounding at these prices.
    proving
        Steps of proving sharply what is likely.
    refuting
        Steps of refuting what the bound's programme would buy.
    seeking
        Steps of seeking plans for purchases proposed, and in how many steps one is sought at most.
    programme
        Nodes of SCIP's search for one choice of packs.
    cutting
        CP-SAT's deterministic time for choosing layouts in the end, and the same for tidying them.
    """

    settling: int
    search: int
    strengthening: int
    proving: int
    refuting: int
    seeking: int
    one: int
    programme: int
    cutting: float


_WORK = {
    Effort.QUICK: _Work(
        settling=20_000,
        search=100_000,
        strengthening=200_000,
        proving=0,
        refuting=50_000,
        seeking=200_000,
        one=30_000,
        programme=100,
        cutting=0.3,
    ),
    Effort.NORMAL: _Work(
        settling=50_000,
        search=2_400_000,
        strengthening=2_400_000,
        proving=200_000,
        refuting=400_000,
        seeking=8_000_000,
        one=200_000,
        programme=300,
        cutting=1.0,
    ),
    Effort.THOROUGH: _Work(
        settling=150_000,
        search=16_000_000,
        strengthening=16_000_000,
        proving=10_000_000,
        refuting=10_000_000,
        seeking=20_000_000,
        one=500_000,
        programme=3_000,
        cutting=4.0,
    ),
}
_MOST_ROUNDS = 60
"""Of refuting, and of proposing, at most."""
_SHARP_LOOKS = 16
"""Into so many parts the steps of proving are shared."""
_NEAR = 0.003
"""So near to the cheapest is near enough for what is only supposed."""
_LARGEST = 2**24
"""Inequalities are given to SCIP in numbers about so large at most."""


def purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[Terms] = (),
    effort: Effort = Effort.NORMAL,
    *,
    also: Mapping[str, int] | None = None,
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
    stop
        Asked all the time; once it says yes, the best purchase so far is returned.  There is
        always one: the first is made in any case.
    on_progress
        Told after each stretch of the search: what is paid, and its bound.

    Returns
    -------
    Bought
        Its answer has been through no judge: give it to `nester.verify_purchase`.  What fits
        neither a sheet on offer nor what is on hand is unplaced.

    Raises
    ------
    Refusal
        If the problem, an offer or a supplier's terms have no meaning.
    """
    _refuse_unsound(offers, terms)
    market = Market(offers, terms)
    at_hand = tuple(replace(one, price=Fraction(0)) for one in problem.stock)
    whole = replace(
        problem,
        wants=tuple(want for want in problem.wants if want.quantity),
        stock=at_hand + tuple(size.stock for size in market.sizes),
        offcut_worth=Fraction(0),
    )
    refuse_unsound(whole)
    beside = market.by_size(also or {})
    search = _Search(whole, market, _WORK[effort], beside, stop, on_progress)
    search.run()
    return search.bought(problem)


class _Search:
    def __init__(
        self,
        problem: Problem,
        market: Market,
        work: _Work,
        also: Mapping[int, int],
        stop: Stop,
        on_progress: Callable[[Progress], None],
    ) -> None:
        self._problem = problem
        self._market = market
        self._work = work
        self._also = also
        self._stop = stop
        self._tell = on_progress
        tasks, self._hopeless = split_by_paper(problem)
        self._papers = [self._paper(task) for task in tasks]
        self._packs: tuple[Packs, ...] = ()
        self._cost: int | None = None
        self._bound = 0
        self._tried: Counter[str] = Counter()

    # --- stages -------------------------------------------------------------------------------

    def _paper(self, task: Task) -> Enough:
        """Begin with a paper; of what fits only sheets on hand, ask for what finds room there."""
        size_of = [self._market.size_of.get(sheet.stock.name) for sheet in task.sheets]
        offered = [k for k, size in zip(task.kinds, size_of, strict=True) if size is not None]
        endless = [*offered, *(kind for kind in task.kinds if kind.on_hand is None)]
        bound_to_stash = [
            not any(shape.fits(k.width, k.height) for k in endless) for shape in task.shapes
        ]
        start: Uses = ()
        if any(bound_to_stash):
            asked = [
                n if bound else 0 for n, bound in zip(task.demand, bound_to_stash, strict=True)
            ]
            start = self._only_on_hand(task.with_demand(asked), size_of)
            made = _made(task, start)
            task = task.with_demand(
                [
                    made[shape] if bound else n
                    for shape, (n, bound) in enumerate(
                        zip(task.demand, bound_to_stash, strict=True)
                    )
                ]
            )
        if not task.is_plain:
            # By the rules some pieces may find no room on any sheet.
            start = Enough(task, self._problem.cuts, size_of).most_made(0, self._stop)
            task = task.with_demand(_made(task, start))
        paper = Enough(task, self._problem.cuts, size_of)
        paper.first_plan(start, self._stop)
        return paper

    def _only_on_hand(self, task: Task, size_of: Sequence[int | None]) -> Uses:
        kinds = tuple(
            kind if size is None else kind._replace(on_hand=0)
            for kind, size in zip(task.kinds, size_of, strict=True)
        )
        limited = replace(task, kinds=kinds)
        paper = Enough(limited, self._problem.cuts, size_of)
        return paper.most_made(self._work.one, self._stop)

    def run(self) -> None:
        """Search until the purchase is proven, or the work is done."""
        self._buy_at_once()
        self._report(0)
        self._choose()
        for stage in (
            self._settle,
            self._search,
            self._suppose,
            self._propose,
            self._prove_likely,
            self._refute,
            self._prove,
        ):
            if self._done:
                break
            stage()
            self._report(1)
        if not self._stop():
            self._choose()

    @property
    def _done(self) -> bool:
        return self._stop() or (self._cost is not None and self._bound >= self._cost)

    def _report(self, done: int) -> None:
        unit = self._market.unit
        cost = (self._cost or 0) * unit
        sheets = sum(one.sheets for one in self._packs)
        papers = len(self._papers)
        self._tell(Progress(cost, min(cost, self._bound * unit), sheets, done * papers, papers))

    def _buy_at_once(self) -> None:
        """Have a purchase, without any search."""
        needed = Counter(self._also)
        for paper in self._papers:
            for size, number in self._by_size(paper, next(iter(paper.plans))).items():
                needed[size] += number
        self._packs = self._market.at_once(needed)
        self._cost = self._whole_cost(self._packs)

    def _settle(self) -> None:
        for paper in self._papers:
            if not self._stop():
                paper.settle(self._work.settling, self._stop)
        if all(paper.columns for paper in self._papers):
            self._prove()
            self._choose()

    def _search(self) -> None:
        work, papers = self._work, [p for p in self._papers if not p.columns]
        for paper in papers:
            if not self._stop():
                paper.bound()
                paper.search(work.search // len(papers), self._stop)
                paper.strengthen(work.strengthening // len(papers), self._stop)
        self._choose()
        self._prove()

    def _prove_likely(self) -> None:
        """Prove what is likely, as far as it matters for the bound: in parts of packs, then whole.

        A bound on what sheets hold is quick and rough, or sharp, for which steps are counted.
        """
        left, one = self._work.proving, self._work.proving // _SHARP_LOOKS
        for sharp in (False, True):
            for parts in (True, False):
                for _ in range(_MOST_ROUNDS):
                    sheets = self._prove()  # so that a stop finds what is proven so far
                    if parts:
                        sheets = self._cheapest_parts()
                    if self._done or sheets is None:
                        return
                    before = sum(paper.bounding_steps for paper in self._papers)
                    found = sum(
                        paper.prove_likely(
                            self._sheets_of(paper, sheets), self._stop, sharp=sharp, steps=one
                        )
                        for paper in self._papers
                        if not self._stop()
                    )
                    self._tried["proven"] += found
                    if sharp:
                        left -= sum(paper.bounding_steps for paper in self._papers) - before
                    if not found or (sharp and left <= 0):
                        break

    def _cheapest_parts(self, *, hoped: bool = False) -> dict[int, int] | None:
        """Return sheets by size of the cheapest parts of packs that are enough by what is known."""
        model = _Model(self._market, self._papers, self._also, hoped=hoped, plans=False, parts=True)
        chosen = model.cheapest(1, self._stop)
        return None if chosen.value is None else model.purse.by_size(chosen.value)

    def _refute(self) -> None:
        """Prove as much as can be: refute, paper by paper, what the bound's programme buys."""
        papers = [p for p in self._papers if not p.columns]
        left = self._work.refuting
        one = left // 4 // max(1, len(papers))
        for _ in range(_MOST_ROUNDS):
            sheets = self._prove()
            if self._done or sheets is None:
                return
            self._tried["refuted"] += 1
            steps = 0
            found = [p.refute(self._sheets_of(p, sheets), steps, self._stop) for p in papers]
            if not any(found):
                if left <= 0:
                    return
                before = sum(paper.bounding_steps for paper in papers)
                found = [
                    p.refute(self._sheets_of(p, sheets), one, self._stop)
                    for p in papers
                    if not self._stop()
                ]
                left -= max(1000, sum(paper.bounding_steps for paper in papers) - before)
            if not any(found):
                return

    def _suppose(self) -> None:
        """Learn what sheets are likely to hold, until parts of packs are likely to be enough."""
        papers = [p for p in self._papers if not p.columns]
        for _ in range(_MOST_ROUNDS):
            sheets = self._cheapest_parts(hoped=True)
            if self._done or sheets is None:
                return
            self._tried["supposed"] += 1
            doubts = [
                paper.doubt(self._sheets_of(paper, sheets), self._work.one, self._stop)
                for paper in papers
            ]
            if not any(doubts):
                return

    def _propose(self) -> None:
        """Seek plans for purchases that are cheaper than the best one."""
        papers = {place: p for place, p in enumerate(self._papers) if not p.columns}
        more = dict.fromkeys(papers, Fraction(0))
        left, one = self._work.seeking, self._work.one
        for _ in range(_MOST_ROUNDS):
            if self._done or left <= 0:
                return
            model = _Model(self._market, self._papers, self._also, more)
            chosen = model.cheapest(self._work.programme // 4, self._stop, near=_NEAR)
            packs = () if chosen.value is None else model.purse.bought(chosen.value)
            if chosen.value is None or not self._is_cheaper(packs):
                # Nothing cheaper is likely: expect more of the sheets, and look longer.
                if not any(more.values()):
                    return
                more = {place: value / 2 for place, value in more.items()}
                one *= 2
                continue
            self._tried["proposed"] += 1
            sheets = model.purse.by_size(chosen.value)
            of = {place: self._sheets_of(paper, sheets) for place, paper in papers.items()}
            unknown = [place for place, p in papers.items() if p.plan_for(of[place]) is None]
            doubted = False
            for place in unknown:
                paper = papers[place]
                before = paper.likely.steps
                doubted |= paper.doubt(of[place], one, self._stop)
                left -= paper.likely.steps - before
            if doubted:
                continue
            enough = True
            for place in unknown:
                paper = papers[place]
                left -= one
                if paper.seek(of[place], one, self._stop):
                    self._tried["found"] += 1
                    continue
                enough = False
                more[place] = max(more[place], paper.surplus(of[place]) + Fraction(1, 500))
            if enough:
                self._keep(model, chosen)
            else:
                self._choose()
            self._report(1)

    # --- programmes ---------------------------------------------------------------------------

    def _prove(self) -> dict[int, int] | None:
        """Raise the bound; return the sheets by size of a purchase that keeps to all it knows."""
        model = _Model(self._market, self._papers, self._also, plans=False)
        chosen = model.cheapest(self._work.programme, self._stop)
        self._tried["bounded"] += 1
        self._bound = max(self._bound, chosen.bound)
        return None if chosen.value is None else model.purse.by_size(chosen.value)

    def _choose(self) -> None:
        """Buy what is enough for known plans, for the least money."""
        model = _Model(self._market, self._papers, self._also)
        chosen = model.cheapest(self._work.programme, self._stop)
        self._tried["chosen"] += 1
        self._keep(model, chosen)

    def _keep(self, model: _Model, chosen: Chosen) -> None:
        """Buy what a programme chose, if that is cheaper, and know its plans."""
        if chosen.value is None:
            return
        for paper, uses in model.uses(chosen.value):
            paper.show(uses)
        packs = model.purse.bought(chosen.value)
        if self._is_cheaper(packs):
            self._cost, self._packs = self._whole_cost(packs), packs

    def _is_cheaper(self, packs: tuple[Packs, ...]) -> bool:
        if self._cost is None:
            return True
        return self._whole_cost(packs) < self._cost and self._market.delivers(packs)

    def _whole_cost(self, packs: tuple[Packs, ...]) -> int:
        return int(self._market.cost(packs) / self._market.unit)

    def _by_size(self, paper: Enough, sheets: Sheets) -> dict[int, int]:
        return {
            size: number
            for size, number in zip(paper.size_of, sheets, strict=True)
            if size is not None and number
        }

    def _sheets_of(self, paper: Enough, by_size: Mapping[int, int]) -> Sheets:
        return tuple(
            0 if size is None else by_size.get(size, 0) - self._also.get(size, 0)
            for size in paper.size_of
        )

    # --- the result ---------------------------------------------------------------------------

    def bought(self, problem: Problem) -> Bought:
        """Return the purchase with layouts, the best of which for the paper's worth are sought."""
        sheets: Counter[int] = Counter()
        for one in self._packs:
            sheets[self._market.size_of[one.offer.name]] += one.sheets
        bought = tuple(one.offer.as_stock(one.sheets) for one in self._packs)
        final = replace(problem, stock=problem.stock + bought)
        layouts: list[Layout] = []
        unplaced = [Unplaced(want.name, want.quantity, why) for want, why in self._hopeless]
        for paper in self._papers:
            made, missing = self._cut(final, paper, self._sheets_of(paper, sheets))
            layouts += made
            unplaced += [Unplaced(want.name, number, NO_SHEET_LEFT) for want, number in missing]
        position = {want.name: place for place, want in enumerate(problem.wants)}
        unplaced.sort(key=lambda one: position[one.name])
        stock = {one.name: one for one in final.stock}
        cost = sum((stock[one.stock].price * one.copies for one in layouts), Fraction(0))
        kept = sum((_kept(final, stock[one.stock], one) for one in layouts), Fraction(0))
        # Nothing is claimed of what the paper used is worth; money paid is what is proven.
        answer = Answer(
            tuple(layouts), tuple(unplaced), cost, Fraction(0), stopped=self._stop(), kept=kept
        )
        shipping = self._market.shipping(self._packs)
        paid = self._market.cost(self._packs)
        bound = min(paid, self._bound * self._market.unit)
        return Bought(self._packs, shipping, final, answer, bound, dict(self._tried), self._stop())

    def _cut(
        self, final: Problem, paper: Enough, sheets: Sheets
    ) -> tuple[list[Layout], list[tuple[Want, int]]]:
        uses = paper.plan_for(sheets)
        if uses is None:
            raise AssertionError("what is bought is not enough for any known plan")
        task = _valued(paper, sheets, final)
        table = Table(final, task)
        work = self._work.cutting / max(1, len(self._papers))
        if not self._stop():
            uses = choose(task, paper.pool, uses, work, table, self._stop)
        if not self._stop():
            uses = tidy(task, final.cuts, paper.pool, table, uses, work, self._stop)
        shelf = _Shelf(self._market, self._packs)
        named, missing = name_pieces(task, uses)
        layouts = []
        for pattern, blanks, copies in named:
            placed, cuts, offcuts = table.apart(pattern, blanks)
            size = paper.size_of[pattern.kind]
            if size is None:
                name = task.sheets[pattern.kind].stock.name
                layouts.append(Layout(name, copies, placed, cuts, offcuts))
                continue
            for name, some in shelf.take(size, copies):
                layouts.append(Layout(name, some, placed, cuts, offcuts))
        return layouts, missing


def _made(task: Task, uses: Uses) -> list[int]:
    """Return how many of each shape a plan makes."""
    made = [0] * len(task.shapes)
    for pattern, copies in uses:
        for shape, number in usage(pattern.spots).items():
            made[shape] += number * copies
    return made


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


def _valued(paper: Enough, sheets: Sheets, final: Problem) -> Task:
    """Return a paper's task with what was bought, each sheet at what it is worth."""
    task = paper.limited(sheets)
    worth = {one.name: one for one in final.stock}
    stocks = [
        worth.get(sheet.stock.name, sheet.stock)
        if size is None
        else replace(sheet.stock, quantity=kind.on_hand)
        for sheet, kind, size in zip(task.sheets, task.kinds, paper.size_of, strict=True)
    ]
    prices, unit = whole_prices([one.price for one in stocks])
    return replace(
        task,
        sheets=tuple(s._replace(stock=one) for s, one in zip(task.sheets, stocks, strict=True)),
        kinds=tuple(k._replace(price=p) for k, p in zip(task.kinds, prices, strict=True)),
        price_unit=unit,
    )


def _kept(problem: Problem, stock: Stock, layout: Layout) -> Fraction:
    """Return what the offcuts of all copies of a layout count."""
    share = 1 if stock.offcut and problem.offcut_worth else problem.offcut_worth
    area = sum(rect.area for rect in layout.offcuts)
    return stock.price * share * layout.copies * Fraction(area, stock.width * stock.height)


class _Model:
    """A choice of packs that are enough, by what is known of each paper.

    Parameters
    ----------
    also
        By size: so many sheets are bought beside those that are cut.
    trust
        For papers by their place: beside sheets that are enough for a known plan, also those may
        be bought that surpass what is likely to be needed by such a share.
    plans
        Whether known plans count; else what breaks no inequality is enough.
    hoped
        Whether sheets are to do what is likely too.
    parts
        Whether parts of packs may be bought.
    """

    def __init__(
        self,
        market: Market,
        papers: Sequence[Enough],
        also: Mapping[int, int],
        trust: Mapping[int, Fraction] | None = None,
        *,
        plans: bool = True,
        hoped: bool = False,
        parts: bool = False,
    ) -> None:
        self._hoped = hoped or plans
        self._programme = Programme(parts=parts)
        self._plans = plans
        self._trust = trust or {}
        self._columns: list[tuple[Enough, list[Column], list[Number]]] = []
        self._also = also
        most = dict(also)
        for place, paper in enumerate(papers):
            for kind, size in enumerate(paper.size_of):
                if size is not None:
                    most[size] = also.get(size, 0) + self._most(paper, kind, self._trust.get(place))
        self.purse = Purse(market, self._programme, most)
        for size, number in also.items():
            self._programme.at_least(self.purse.sheets[size], number)
        for place, paper in enumerate(papers):
            if paper.columns:
                self._add_columns(paper, paper.columns[0 if plans else 1])
            elif plans:
                self._add_plans(paper, self._trust.get(place))
            else:
                self._add_inequalities(paper, Fraction(0), None)

    def _most(self, paper: Enough, kind: int, more: Fraction | None) -> int:
        """Return how many sheets of a kind can serve at most."""
        if paper.columns:
            return paper.task.most_of(kind)
        by_plans = max((sheets[kind] for sheets in paper.plans), default=0) if self._plans else 0
        if self._plans and more is None:
            return by_plans
        needs = (
            -(-_ceil(one.needed(paper.task.demand) * (1 + (more or 0))) // one.holds[kind])
            for one in self._rows(paper)
            if one.holds[kind]
        )
        return max(by_plans, min(max(needs, default=0), paper.task.most_of(kind)))

    def _rows(self, paper: Enough) -> list[Inequality]:
        """Return the inequalities that sheets have to keep to."""
        return [*paper.inequalities, *(paper.likely.inequalities if self._hoped else ())]

    def _add_columns(self, paper: Enough, columns: list[Column]) -> None:
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
        self._columns.append((paper, columns, copies))

    def _add_plans(self, paper: Enough, more: Fraction | None) -> None:
        programme = self._programme
        known = paper.most_useful()
        taken = [programme.number(1) for _ in known]
        ways = [(1, way) for way in taken]
        if more is not None:
            hoped = programme.number(1)
            ways.append((1, hoped))
            self._add_inequalities(paper, more, hoped)
        programme.at_least(ways, 1)
        for kind, size in enumerate(paper.size_of):
            used = [
                (-sheets[kind], way)
                for sheets, way in zip(known, taken, strict=True)
                if sheets[kind]
            ]
            if size is not None and used:
                programme.at_least([*self.purse.sheets[size], *used], self._also.get(size, 0))

    def _add_inequalities(self, paper: Enough, more: Fraction, only_if: Number | None) -> None:
        for one in self._rows(paper):
            needed = _ceil(one.needed(paper.task.demand) * (1 + more)) - paper.on_hand(one.holds)
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

    def cheapest(self, nodes: int, stop: Stop, *, near: float = 0.0) -> Chosen:
        """Return the cheapest choice that so many nodes suffice for, or one near it."""
        return self._programme.smallest(self.purse.cost, nodes, stop, near=near)

    def uses(self, value: Mapping[Number, Fraction]) -> list[tuple[Enough, Uses]]:
        """Return the plans by columns, paper by paper."""
        plans = []
        for paper, columns, copies in self._columns:
            uses: dict[Pattern, int] = {}
            for column, number in zip(columns, copies, strict=True):
                if column.pattern is not None and value[number]:
                    uses[column.pattern] = uses.get(column.pattern, 0) + int(value[number])
            plans.append((paper, trim(paper.task, tuple(uses.items()))))
        return plans


def _ceil(value: Fraction | int) -> int:
    return -int(-value // 1)


def _refuse_unsound(offers: Sequence[Offer], terms: Sequence[Terms]) -> None:
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
