"""Why paper per object jumps from one size to the next, and which nearby sizes save most.

An explanation describes the plans found: which pieces share a sheet at one size and don't at the
other, where either that is proven, or no plan was found in which they do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from nester.core.lengths import Length, Unit, format_length, format_size
from nester.core.problem import Problem, StockItem
from nester.designs import Design, SettingKind
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
"""Limit on the packing checks that explain one jump."""


class SizeJump(NamedTuple):
    """Two neighbouring sizes with different cost of paper, and why.

    Attributes
    ----------
    paper
        The paper that costs more at one of them.
    stock
        A sheet that some pieces share at the cheaper size; None if no reason was found.
    pieces
        Those pieces, by name, largest first; without any one of them, the others share the sheet at
        both sizes.
    is_proven
        Whether it is proven that they can't share it at the other size; else no plan was found.
    """

    below: SizeResult
    above: SizeResult
    paper: str
    stock: StockItem | None = None
    pieces: tuple[tuple[str, int], ...] = ()
    is_proven: bool = False

    @property
    def cost_increase(self) -> Fraction:
        """How much more paper per object costs at the larger size; negative if less."""
        return self.above.cost - self.below.cost


def find_jumps(results: Sequence[SizeResult], max_jumps: int) -> list[SizeJump]:
    """Return the largest jumps in cost, explained, in the order of sizes.

    Parameters
    ----------
    max_jumps
        How many at most.
    """
    feasible = [result for result in results if not result.refusal]
    pairs = [(a, b) for a, b in pairwise(feasible) if a.cost != b.cost]
    pairs.sort(key=lambda pair: (-abs(pair[1].cost - pair[0].cost), pair[0].size))
    chosen = sorted(pairs[:max_jumps], key=lambda pair: pair[0].size)
    return [_explain(below, above) for below, above in chosen]


def _explain(below: SizeResult, above: SizeResult) -> SizeJump:
    is_increase = above.cost > below.cost
    cheap, expensive = (below, above) if is_increase else (above, below)

    def extra_cost(paper: str) -> Fraction:
        other = cheap.papers.get(paper)
        return expensive.papers[paper].cutting_plan.cost - (other.cutting_plan.cost if other else 0)

    paper = max(expensive.papers, key=extra_cost)
    jump = SizeJump(below, above, paper)
    if paper not in cheap.papers:
        return jump
    oracle = _SheetOracle(expensive.papers[paper])
    names = {demand.name for demand in expensive.papers[paper].problem.demands}
    for stock, content in _sheet_contents(cheap.papers[paper]):
        # A piece that only one of the sizes has can't be checked at the other.
        if not names.issuperset(content) or oracle.fits(stock, content)[0]:
            continue
        pieces = _minimal_infeasible(oracle, stock, content)
        proven = oracle.fits(stock, pieces)[1]
        return jump._replace(stock=stock, pieces=tuple(pieces.items()), is_proven=proven)
    return jump


def _sheet_contents(solved: SolvedProblem) -> Iterator[tuple[StockItem, Counter[str]]]:
    """Yield the contents of a plan's sheets, most copies first; largest pieces first in each."""
    stock = {item.name: item for item in solved.problem.stock}
    area = {demand.name: demand.width * demand.height for demand in solved.problem.demands}
    for layout in sorted(solved.cutting_plan.layouts, key=lambda layout: -layout.copies):
        names = sorted(
            (piece.name for piece in layout.placed), key=lambda name: (-area[name], name)
        )
        yield stock[layout.stock], Counter(names)


class _SheetOracle:
    """Decides whether a sheet holds some pieces at one size; results are cached."""

    def __init__(self, solved: SolvedProblem) -> None:
        self._problem: Problem = solved.problem
        self._known_contents = list(_sheet_contents(solved))
        self._results: dict[tuple[str, tuple[tuple[str, int], ...]], tuple[bool, bool]] = {}

    def fits(self, stock: StockItem, pieces: Counter[str]) -> tuple[bool, bool]:
        """Return whether the pieces fit; and, if no pattern was found, whether that is proven."""
        key = stock.name, tuple(sorted(pieces.items()))
        if key not in self._results:
            self._results[key] = self._check(stock, pieces)
        return self._results[key]

    @property
    def is_exhausted(self) -> bool:
        """Whether the limit on checks is reached."""
        return len(self._results) >= _MAX_CHECKS

    def _check(self, stock: StockItem, pieces: Counter[str]) -> tuple[bool, bool]:
        if any(
            other.name == stock.name and pieces <= content
            for other, content in self._known_contents
        ):
            return True, False
        return fits_on_one_sheet(self._problem, stock.name, pieces)


def _minimal_infeasible(
    oracle: _SheetOracle, stock: StockItem, content: Counter[str]
) -> Counter[str]:
    """Shrink a content that does not fit a sheet, as long as it does not fit.

    Largest pieces first, a prefix that does not fit is found; then each of its pieces but the last
    is left out if the rest still does not fit.
    """
    names = list(content.elements())
    kept: list[str] = []
    for name in names:
        kept.append(name)
        if len(kept) == len(names) or not oracle.fits(stock, Counter(kept))[0]:
            break
        if oracle.is_exhausted:
            return content
    for name in reversed(kept[:-1]):
        rest = list(kept)
        rest.remove(name)
        if oracle.is_exhausted:
            break
        if not oracle.fits(stock, Counter(rest))[0]:
            kept = rest
    return Counter(kept)


def describe_jump(jump: SizeJump, unit: Unit, *, several_papers: bool) -> str:
    """Explain a jump in a sentence."""
    below, above = (
        format_length(size_result.size, unit) for size_result in (jump.below, jump.above)
    )
    of_paper = f" of {jump.paper}" if several_papers else ""
    if jump.stock is None:
        sheets_below, sheets_above = (
            _sheets_of(result, jump.paper) for result in (jump.below, jump.above)
        )
        sheets = "sheet" if sheets_below == 1 else "sheets"
        return f"{below}: {sheets_below} {sheets}{of_paper}; {above}: {sheets_above}"
    sheet = f"a {format_size(jump.stock.width, jump.stock.height, unit)} sheet{of_paper}"
    what = _piece_list(jump.pieces)
    is_single = sum(number for _, number in jump.pieces) == 1
    shared = f"{what} fits {sheet}" if is_single else f"{what} share {sheet}"
    if is_single:
        not_shared = "it doesn't" if jump.is_proven else "no plan was found in which it does"
    else:
        not_shared = "they can't" if jump.is_proven else "no plan was found in which they do"
    if jump.cost_increase > 0:
        return f"{below}: {shared}; {above}: {not_shared}"
    return f"{above}: {shared}; {below}: {not_shared}"


def _sheets_of(result: SizeResult, paper: str) -> int:
    return result.papers[paper].cutting_plan.sheet_count if paper in result.papers else 0


def _piece_list(pieces: Sequence[tuple[str, int]]) -> str:
    words = [f"{number} × {name}" if number > 1 else name for name, number in pieces]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


# --- nearby sizes --------------------------------------------------------------------------------


class LengthChange(NamedTuple):
    """How another length of the design changes."""

    name: str
    before: Length
    after: Length


class Suggestion(NamedTuple):
    """A nearby size that takes less paper, and what else changes with it."""

    result: SizeResult
    saving: Fraction
    changes: tuple[LengthChange, ...]


def suggest_sizes(
    results: Sequence[SizeResult],
    current: Length,
    design: Design,
    setting: str,
    max_suggestions: int = 3,
) -> tuple[SizeResult | None, list[Suggestion]]:
    """Return the nearby sizes that save most for a small change of size.

    These are on the Pareto front of distance and saving: no size as near or nearer saves as much.
    Of the front, the sizes that add most to the saving of the next nearer one are returned.

    Parameters
    ----------
    current
        The size to compare with; if it is infeasible, the nearest feasible one.

    Returns
    -------
    SizeResult or None
        The size compared with; None if no size is feasible.
    list of Suggestion
        The nearest first.
    """
    feasible = [result for result in results if not result.refusal]
    if not feasible:
        return None, []
    base = min(feasible, key=lambda result: (abs(result.size - current), result.size))
    nearby = [p for p in feasible if abs(p.size - base.size) * 100 <= base.size * _NEARBY_PERCENT]
    nearby.sort(key=lambda result: (abs(result.size - base.size), -result.size))
    frontier: list[tuple[Fraction, SizeResult]] = []
    lowest_cost = base.cost
    for result in nearby:
        if result.cost < lowest_cost:
            frontier.append((lowest_cost - result.cost, result))
            lowest_cost = result.cost
    frontier.sort(key=lambda entry: -entry[0])
    best = sorted(frontier[:max_suggestions], key=lambda entry: abs(entry[1].size - base.size))
    return base, [
        Suggestion(result, base.cost - result.cost, changed_lengths(base, result, design, setting))
        for _, result in best
    ]


def changed_lengths(
    before: SizeResult, after: SizeResult, design: Design, setting: str
) -> tuple[LengthChange, ...]:
    """Return which other lengths differ between two sizes: settings, then lids as they are made.

    Settings equal to the one that is swept, such as walls as high as the base is wide, are left
    out, and so are those that change nothing that is made.
    """
    changes = []
    for design_setting in design.settings:
        old, new = before.settings.get(design_setting.name), after.settings.get(design_setting.name)
        follows = (old, new) == (before.size, after.size)
        if (
            design_setting.kind is SettingKind.LENGTH
            and design_setting.name != setting
            and isinstance(old, int)
            and isinstance(new, int)
            and old != new
            and not follows
            and _affects_product(design, before, design_setting.name, new)
        ):
            changes.append(LengthChange(design_setting.name, old, new))
    lids = [{part.name: part for part in design.section(p.settings)} for p in (before, after)]
    for name, part in lids[0].items():
        other = lids[1].get(name)
        if part.is_lid and other is not None and other.width != part.width:
            changes.append(LengthChange(name, part.width, other.width))
    return tuple(changes)


def _affects_product(design: Design, result: SizeResult, name: str, value: Length) -> bool:
    """Return whether anything that is made changes with the value of a single setting."""
    changed = {**result.settings, name: value}
    try:
        if design.pieces(changed) != result.pieces:
            return True
    except DesignRefusal:
        return True
    return design.consumables(changed) != design.consumables(result.settings)
