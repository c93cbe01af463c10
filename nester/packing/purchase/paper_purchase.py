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

from nester.core.problem import Cuts, Layout, Problem, Want
from nester.packing.purchase.market import Market, Suppliers
from nester.packing.purchase.pack_master import Known, PackChoice, Ways
from nester.packing.purchase.sufficiency import Enough, Sheets
from nester.packing.runtime.stop import Stop, never
from nester.packing.search.paper_search import name_pieces
from nester.packing.search.pattern_reduction import tidy
from nester.packing.search.set_covering import choose
from nester.packing.task.pattern_pool import Uses
from nester.packing.task.pattern_value import Table
from nester.packing.task.task import Task, usage, whole_prices

__all__ = ["Begun", "Cut", "Made", "PaperPurchase", "Share", "begin"]

_NODES = 1_000
"""Of SCIP's search for one paper's packs."""
_NEAR = 0.003
"""So near to the cheapest is near enough for what is only supposed."""
_STEPS_ON_HAND = 100_000
"""Steps of making what fits only sheets on hand."""
_FIRST_MORE, _LEAST_MORE = Fraction(1, 50), Fraction(1, 1000)
"""So much more of sheets is expected than what is likely to be needed: at first, and at least."""


@dataclass(frozen=True, kw_only=True)
class Share:
    """A share of effort for one paper.

    Attributes
    ----------
    suppliers
        From whom it is bought.
    proving
        Steps of proving.
    searching
        Steps of seeking layouts at about the prices of single sheets.
    supposing
        Steps of learning what sheets are likely to hold.
    seeking, one
        Steps of seeking plans for purchases proposed, and in how many one is sought at first.
    """

    suppliers: Suppliers
    proving: int = 0
    searching: int = 0
    supposing: int = 0
    seeking: int = 0
    one: int = 0

    def shared(self, papers: int) -> Share:
        """Return each paper's share of effort for so many."""
        return replace(
            self,
            proving=self.proving // papers,
            searching=self.searching // papers,
            supposing=self.supposing // papers,
            seeking=self.seeking // papers,
        )


class Cut(NamedTuple):
    """The deed of cutting what is bought, with so much of CP-SAT's deterministic time.

    Attributes
    ----------
    final
        The problem with the sheets bought.
    sheets
        Bought of each size.
    """

    final: Problem
    sheets: Mapping[int, int]
    work: float


class Made(NamedTuple):
    """How a paper is cut: each layout with the size of its sheets, if bought; and what is not made.

    Which offer sheets that are bought came by is not said.
    """

    layouts: tuple[tuple[int | None, Layout], ...]
    missing: tuple[tuple[Want, int], ...]


class Begun(NamedTuple):
    """What is asked of a paper, and the part of a plan that is to be kept to."""

    task: Task
    size_of: tuple[int | None, ...]
    start: Uses


def begin(task: Task, market: Market, cuts: Cuts, stop: Stop) -> Begun:
    """Begin with a paper; of what fits only sheets on hand, ask for what finds room there."""
    size_of = tuple(market.size_of.get(sheet.stock.name) for sheet in task.sheets)
    offered = [k for k, size in zip(task.kinds, size_of, strict=True) if size is not None]
    endless = [*offered, *(kind for kind in task.kinds if kind.on_hand is None)]
    bound_to_stash = [
        not any(shape.fits(k.width, k.height) for k in endless) for shape in task.shapes
    ]
    start: Uses = ()
    if any(bound_to_stash):
        asked = [n if bound else 0 for n, bound in zip(task.demand, bound_to_stash, strict=True)]
        kinds = tuple(
            kind if size is None else kind._replace(on_hand=0)
            for kind, size in zip(task.kinds, size_of, strict=True)
        )
        limited = replace(task.with_demand(asked), kinds=kinds)
        start = Enough(limited, cuts, size_of).most_made(_STEPS_ON_HAND, stop)
        made = _made(task, start)
        task = task.with_demand(
            [
                made[shape] if bound else n
                for shape, (n, bound) in enumerate(zip(task.demand, bound_to_stash, strict=True))
            ]
        )
    if not task.is_plain:
        # By the rules some pieces may find no room on any sheet.
        made_most = Enough(task, cuts, size_of).most_made(0, stop)
        start = tuple(use for use in made_most if task.allows(use[0]))
        task = task.with_demand(_made(task, start))
    return Begun(task, size_of, start)


class PaperPurchase:
    """One paper's part in a purchase; there is a first plan, quickly found.

    Attributes
    ----------
    maker
        Makes it anew, as it was first; where work is shared, other processes ask for it.

    Parameters
    ----------
    also
        By sizes: so many sheets are bought beside those that are cut.
    """

    def __init__(
        self,
        market: Market,
        begun: Begun,
        cuts: Cuts,
        also: Mapping[int, int],
        stop: Stop = never,
    ) -> None:
        self.paper = Enough(begun.task, cuts, begun.size_of)
        self.paper.first_plan(begun.start, stop)
        self.maker = partial(PaperPurchase, market, begun, cuts, also)
        self._market = market
        mine = set(begun.size_of)
        self._also = {size: number for size, number in also.items() if size in mine}
        self._least: dict[Suppliers, int] = {}
        self._hoped: dict[Suppliers, int] = {}
        self._tried: Counter[str] = Counter()

    @property
    def task(self) -> Task:
        """What is asked of it."""
        return self.paper.task

    @property
    def needed(self) -> dict[int, int]:
        """Sheets by size for its first plan."""
        sheets = next(iter(self.paper.plans))
        return {
            size: number
            for size, number in zip(self.paper.size_of, sheets, strict=True)
            if size is not None and number
        }

    def settle(self, most_steps: int, stop: Stop) -> None:
        """Find every content of every sheet, if so many steps suffice."""
        self.paper.settle(most_steps, stop)

    def show(self, uses: Uses) -> None:
        """Keep a plan."""
        self.paper.show(uses)

    @property
    def known(self) -> Known:
        """What is known of the paper."""
        paper = self.paper
        paper.likely.learn()
        return Known(
            paper.task,
            paper.size_of,
            paper.columns,
            tuple(paper.most_useful()),
            tuple(paper.inequalities),
            tuple(paper.likely.inequalities),
            dict(self._least),
            dict(self._hoped),
            Counter(self._tried),
        )

    def do(self, deed: Share | Cut, stop: Stop) -> Known | Made:
        """Spend a share of effort, and say what is known; or cut what is bought."""
        if isinstance(deed, Cut):
            return self._cut(deed, stop)
        few = self.paper.columns is not None
        if deed.proving:
            self._prove(deed.suppliers, deed.proving, stop)
        if deed.searching and not (few or stop()):
            self.paper.search(deed.searching, stop)
        if deed.supposing and not stop():
            self._suppose(deed.suppliers, deed.supposing, stop)
        if deed.seeking and not (few or stop()):
            self._seek(deed.suppliers, deed.seeking, deed.one, stop)
        return self.known

    def _choice(self, ways: Ways, suppliers: Suppliers, more: Fraction | None = None) -> PackChoice:
        return PackChoice(
            self._market, [self.known], self._also, ways, suppliers=suppliers, more=more
        )

    def _prove(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Raise what the paper's packs cost at least, while steps last."""
        paper = self.paper
        end = paper.proving_steps + steps
        while True:
            choice = self._choice(Ways.POSSIBLE, suppliers)
            chosen = choice.cheapest(_NODES, stop)
            if chosen.impossible:
                return
            self._least[suppliers] = max(self._least.get(suppliers, 0), chosen.bound)
            if chosen.value is None or paper.columns or stop():
                return
            self._tried["refuted"] += 1
            sheets = self._sheets(choice.purse.by_size(chosen.value))
            if not paper.refute(sheets, end - paper.proving_steps, stop):
                return

    def _suppose(self, suppliers: Suppliers, steps: int, stop: Stop) -> None:
        """Learn what sheets are likely to hold, until the cheapest packs are likely to do."""
        paper = self.paper
        end = paper.likely.steps + steps
        while True:
            choice = self._choice(Ways.LIKELY, suppliers)
            chosen = choice.cheapest(_NODES, stop, near=_NEAR)
            if chosen.value is None:
                return
            self._hoped[suppliers] = chosen.bound
            if paper.columns or paper.likely.steps >= end or stop():
                return
            self._tried["supposed"] += 1
            sheets = self._sheets(choice.purse.by_size(chosen.value))
            if not paper.doubt(sheets, end - paper.likely.steps, stop):
                return

    def _seek(self, suppliers: Suppliers, steps: int, one: int, stop: Stop) -> None:
        """Seek plans for purchases that are cheaper than what is known to be enough."""
        paper = self.paper
        more = _FIRST_MORE
        left = steps
        while left > 0 and not stop():
            best = self._choice(Ways.PLANNED, suppliers)
            cheapest = best.cheapest(_NODES, stop)
            hoped = self._choice(Ways.PLANNED, suppliers, more)
            chosen = hoped.cheapest(_NODES, stop, near=_NEAR)
            if chosen.value is None:
                return
            if cheapest.value is not None and hoped.cost(chosen) >= best.cost(cheapest):
                # Nothing cheaper is likely: expect more of the sheets, and look longer.
                more /= 2
                one *= 2
                if more < _LEAST_MORE:
                    return
                continue
            self._tried["proposed"] += 1
            sheets = self._sheets(hoped.purse.by_size(chosen.value))
            if paper.plan_for(sheets) is not None:
                return
            before = paper.likely.steps
            doubted = paper.doubt(sheets, one, stop)
            left -= paper.likely.steps - before
            if doubted:
                continue
            left -= one
            missed = paper.seek(sheets, one, stop)
            if not missed:
                self._tried["found"] += 1
            else:
                more = max(more, paper.surplus(sheets) + max(_LEAST_MORE, missed))

    def _sheets(self, by_size: Mapping[int, int]) -> Sheets:
        """Return how many sheets of each kind are there to be cut of those bought."""
        return tuple(
            0 if size is None else by_size.get(size, 0) - self._also.get(size, 0)
            for size in self.paper.size_of
        )

    def _cut(self, deed: Cut, stop: Stop) -> Made:
        """Cut what is bought so that what is used is worth least."""
        paper, final = self.paper, deed.final
        sheets = self._sheets(deed.sheets)
        uses = paper.plan_for(sheets)
        if uses is None:
            raise AssertionError("what is bought is not enough for any known plan")
        task = _valued(paper, sheets, final)
        table = Table(final, task)
        if not stop():
            uses = choose(task, paper.pool, uses, deed.work, table, stop)
        if not stop():
            uses = tidy(task, final.cuts, paper.pool, table, uses, deed.work, stop)
        named, missing = name_pieces(task, uses)
        layouts = []
        for pattern, blanks, copies in named:
            placed, cuts, offcuts = table.apart(pattern, blanks)
            name = task.sheets[pattern.kind].stock.name
            layout = Layout(name, copies, placed, cuts, offcuts)
            layouts.append((paper.size_of[pattern.kind], layout))
        return Made(tuple(layouts), tuple(missing))


def _made(task: Task, uses: Uses) -> list[int]:
    """Return how many of each shape a plan makes."""
    made = [0] * len(task.shapes)
    for pattern, copies in uses:
        for shape, number in usage(pattern.spots).items():
            made[shape] += number * copies
    return made


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
