"""Why paper per object jumps from one size to the next, and which nearby sizes save most.

What is said of a step is true of the plans found: which pieces share a sheet at one size, and that
they can't at the other where that is proven, or that no plan was found in which they do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from nester.core.lengths import Length, Unit, format_length, format_size
from nester.core.problem import Problem, StockItem
from nester.designs import (
    Design,
    SettingKind,
)
from nester.designs.base.errors import DesignRefusal
from nester.packing.search.quick_plan import SolvedProblem, fits_on_one_sheet
from nester.studies.size_sweep import SizeResult

__all__ = [
    "LengthChange",
    "SizeJump",
    "Suggestion",
    "changed_lengths",
    "describe_jump",
    "find_jumps",
    "suggest_sizes",
]

_NEARBY_PERCENT = 10
"""Percent by which a nearby size may differ."""
_MAX_CHECKS = 60
"""How often at most it is asked whether a sheet holds some pieces, to explain a step."""


class SizeJump(NamedTuple):
    """Two neighbouring sizes whose paper differs, and why.

    Attributes
    ----------
    paper
        The paper of which one takes more.
    stock
        A sheet that some pieces share at the size that takes less; None if no reason was found.
    pieces
        Those pieces, by name, largest first; leave one out, and they share it at both sizes.
    is_proven
        That they can't at the other size is proven; else no such plan was found.
    """

    below: SizeResult
    above: SizeResult
    paper: str
    stock: StockItem | None = None
    pieces: tuple[tuple[str, int], ...] = ()
    is_proven: bool = False

    @property
    def cost_increase(self) -> Fraction:
        """How much more the larger size takes an object; negative if it takes less."""
        return self.above.cost - self.below.cost


def find_jumps(points: Sequence[SizeResult], most: int) -> list[SizeJump]:
    """Return the largest steps, explained, in the order of sizes.

    Parameters
    ----------
    most
        How many at most.
    """
    able = [point for point in points if not point.refusal]
    pairs = [(a, b) for a, b in pairwise(able) if a.cost != b.cost]
    pairs.sort(key=lambda pair: (-abs(pair[1].cost - pair[0].cost), pair[0].size))
    chosen = sorted(pairs[:most], key=lambda pair: pair[0].size)
    return [_explain(below, above) for below, above in chosen]


def _explain(below: SizeResult, above: SizeResult) -> SizeJump:
    upwards = above.cost > below.cost
    cheap, dear = (below, above) if upwards else (above, below)

    def dearer(paper: str) -> Fraction:
        its = cheap.papers.get(paper)
        return dear.papers[paper].cutting_plan.cost - (its.cutting_plan.cost if its else 0)

    paper = max(dear.papers, key=dearer)
    step = SizeJump(below, above, paper)
    if paper not in cheap.papers:
        return step
    asked = _SheetOracle(dear.papers[paper])
    known = {want.name for want in dear.papers[paper].problem.demands}
    for stock, content in _sheet_contents(cheap.papers[paper]):
        # A piece that only one of the sizes has can't be asked of the other.
        if not known.issuperset(content) or asked.fits(stock, content)[0]:
            continue
        pieces = _minimal_infeasible(asked, stock, content)
        proven = asked.fits(stock, pieces)[1]
        return step._replace(stock=stock, pieces=tuple(pieces.items()), is_proven=proven)
    return step


def _sheet_contents(like: SolvedProblem) -> Iterator[tuple[StockItem, Counter[str]]]:
    """Yield what the sheets of a plan hold, largest pieces first; what most sheets hold first."""
    stock = {one.name: one for one in like.problem.stock}
    area = {want.name: want.width * want.height for want in like.problem.demands}
    for layout in sorted(like.cutting_plan.layouts, key=lambda one: -one.copies):
        names = sorted((one.name for one in layout.placed), key=lambda name: (-area[name], name))
        yield stock[layout.stock], Counter(names)


class _SheetOracle:
    """Tells whether a sheet holds some pieces at one size: true, or not; and whether not is proven.

    With too many questions it says no more than that it does not know.
    """

    def __init__(self, like: SolvedProblem) -> None:
        self._problem: Problem = like.problem
        self._known_contents = list(_sheet_contents(like))
        self._results: dict[tuple[str, tuple[tuple[str, int], ...]], tuple[bool, bool]] = {}

    def fits(self, stock: StockItem, pieces: Counter[str]) -> tuple[bool, bool]:
        key = stock.name, tuple(sorted(pieces.items()))
        if key not in self._results:
            self._results[key] = self._check(stock, pieces)
        return self._results[key]

    @property
    def is_exhausted(self) -> bool:
        return len(self._results) >= _MAX_CHECKS

    def _check(self, stock: StockItem, pieces: Counter[str]) -> tuple[bool, bool]:
        if any(
            its.name == stock.name and pieces <= content for its, content in self._known_contents
        ):
            return True, False
        return fits_on_one_sheet(self._problem, stock.name, pieces)


def _minimal_infeasible(
    asked: _SheetOracle, stock: StockItem, content: Counter[str]
) -> Counter[str]:
    """Leave pieces out of what a sheet does not hold, as long as it does not hold the rest."""
    names = list(content.elements())
    few: list[str] = []
    for name in names:
        few.append(name)
        if len(few) == len(names) or not asked.fits(stock, Counter(few))[0]:
            break
        if asked.is_exhausted:
            return content
    for name in reversed(few[:-1]):
        rest = list(few)
        rest.remove(name)
        if asked.is_exhausted:
            break
        if not asked.fits(stock, Counter(rest))[0]:
            few = rest
    return Counter(few)


def describe_jump(step: SizeJump, unit: Unit, *, several_papers: bool) -> str:
    """Say in a sentence why paper jumps at a step."""
    below, above = (format_length(one.size, unit) for one in (step.below, step.above))
    of = f" of {step.paper}" if several_papers else ""
    if step.stock is None:
        few, many = (_sheets_of(point, step.paper) for point in (step.below, step.above))
        return f"{below}: {few} sheet{'' if few == 1 else 's'}{of}; {above}: {many}"
    sheet = f"a {format_size(step.stock.width, step.stock.height, unit)} sheet{of}"
    what = _piece_list(step.pieces)
    alone = sum(number for _, number in step.pieces) == 1
    yes = f"{what} fits {sheet}" if alone else f"{what} share {sheet}"
    if alone:
        no = "it doesn't" if step.is_proven else "no plan was found in which it does"
    else:
        no = "they can't" if step.is_proven else "no plan was found in which they do"
    if step.cost_increase > 0:
        return f"{below}: {yes}; {above}: {no}"
    return f"{above}: {yes}; {below}: {no}"


def _sheets_of(point: SizeResult, paper: str) -> int:
    return point.papers[paper].cutting_plan.sheet_count if paper in point.papers else 0


def _piece_list(pieces: Sequence[tuple[str, int]]) -> str:
    words = [f"{number} × {name}" if number > 1 else name for name, number in pieces]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


# --- nearby sizes --------------------------------------------------------------------------------


class LengthChange(NamedTuple):
    """What becomes of another length of the design."""

    name: str
    before: Length
    after: Length


class Suggestion(NamedTuple):
    """A nearby size that takes less paper, and what else changes with it."""

    point: SizeResult
    saving: Fraction
    changes: tuple[LengthChange, ...]


def suggest_sizes(
    points: Sequence[SizeResult], now: Length, design: Design, setting: str, most: int = 3
) -> tuple[SizeResult | None, list[Suggestion]]:
    """Return the nearby sizes at which a little change of size saves most.

    Of sizes as near as one another or nearer, each saves the most; of those, the ones that save
    most beyond the one before.

    Parameters
    ----------
    now
        The size that they are compared with; if it can't be had, the nearest that can.

    Returns
    -------
    Point or None
        What they are compared with; None if no size can be had.
    list of Suggestion
        The nearest first.
    """
    able = [point for point in points if not point.refusal]
    if not able:
        return None, []
    base = min(able, key=lambda point: (abs(point.size - now), point.size))
    near = [p for p in able if abs(p.size - base.size) * 100 <= base.size * _NEARBY_PERCENT]
    near.sort(key=lambda point: (abs(point.size - base.size), -point.size))
    frontier: list[tuple[Fraction, SizeResult]] = []
    least = base.cost
    for point in near:
        if point.cost < least:
            frontier.append((least - point.cost, point))
            least = point.cost
    frontier.sort(key=lambda one: -one[0])
    best = sorted(frontier[:most], key=lambda one: abs(one[1].size - base.size))
    return base, [
        Suggestion(point, base.cost - point.cost, changed_lengths(base, point, design, setting))
        for _, point in best
    ]


def changed_lengths(
    before: SizeResult, after: SizeResult, design: Design, setting: str
) -> tuple[LengthChange, ...]:
    """Return which other lengths differ between two sizes: settings, then lids as they are made.

    Settings that are as large as the one that is swept, such as walls as high as the base is wide,
    are left out, and so are those by which nothing that is made changes.
    """
    found = []
    for one in design.settings:
        old, new = before.settings.get(one.name), after.settings.get(one.name)
        follows = (old, new) == (before.size, after.size)
        if (
            one.kind is SettingKind.LENGTH
            and one.name != setting
            and isinstance(old, int)
            and isinstance(new, int)
            and old != new
            and not follows
            and _affects_product(design, before, one.name, new)
        ):
            found.append(LengthChange(one.name, old, new))
    lids = [{part.name: part for part in design.section(p.settings)} for p in (before, after)]
    for name, part in lids[0].items():
        other = lids[1].get(name)
        if part.is_lid and other is not None and other.width != part.width:
            found.append(LengthChange(name, part.width, other.width))
    return tuple(found)


def _affects_product(design: Design, point: SizeResult, name: str, value: Length) -> bool:
    """Tell whether anything that is made changes if one setting alone has another value."""
    changed = {**point.settings, name: value}
    try:
        if design.pieces(changed) != point.pieces:
            return True
    except DesignRefusal:
        return True
    return design.consumables(changed) != design.consumables(point.settings)
