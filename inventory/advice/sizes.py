"""What size to make, and on which sheets: what a maker asks, for the sweep of sizes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.core.money import parse_money
from inventory.orders.custom_designs import design_named, read_paper_specs, unit_of
from inventory.production.cutting_rules import shop_rules
from inventory.shop.settings import get_shop
from nester.core.errors import Refusal
from nester.core.lengths import Length, LengthError, Unit, format_size, mm, parse_length
from nester.core.problem import Cuts, Effort
from nester.core.sheet_sizes import Size, parse_size
from nester.designs import Design, check_roles, paper_for, read_settings
from nester.designs.base.datasheet import DEFAULT_PAPERS
from nester.designs.base.thickness import PaperSpec, thickness_by_role
from nester.designs.demand import CuttingRules
from nester.packing import Stop, never, solve
from nester.packing.search.quick_plan import QuickBudget
from nester.studies.size_jumps import SizeJump, Suggestion, find_jumps, suggest_sizes
from nester.studies.size_sweep import (
    PricedSheet,
    SizeResult,
    SweepSetup,
    paper_problems,
    sizes_between,
    sweep,
    swept_setting,
    unfit_reason,
)
from nester.verify import require_valid

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.piece import Piece

__all__ = [
    "MAX_COPIES",
    "BatchRequest",
    "SheetComparison",
    "SizeComparison",
    "compare_sheets",
    "compare_sizes",
    "read_batch_request",
    "usual_range",
]

MAX_COPIES = 1_000
_CARD = "card"
"""What the paper is called of which everything is made that no other is named for."""


@dataclass(frozen=True)
class BatchRequest:
    """A batch as it was asked for.

    Attributes
    ----------
    batch
        With every sheet that may be cut from.
    pieces
        Of one object, in the settings as they were written.
    current_sizes
        Those settings.
    currency
        In which its sheets have prices, empty where there is no shop to have one; None if paper
        counts by its area.
    """

    batch: SweepSetup
    pieces: tuple[Piece, ...]
    current_sizes: Mapping[str, int | str]
    currency: str | None = None

    @property
    def papers(self) -> list[str]:
        """The names of the papers that one object takes."""
        roles = [paper_for(piece.role, self.batch.papers) for piece in self.pieces]
        return list(dict.fromkeys(name for name in roles if name is not None))


def read_batch_request(
    session: Session | None,
    name: str,
    texts: Mapping[str, str],
    papers: Mapping[str, str],
    on: Sequence[str],
    prices: Mapping[str, str],
    quantity: int,
    cuts: Cuts,
    asked_unit: Unit | None,
) -> BatchRequest:
    """Read what a design is to be cut from.

    Parameters
    ----------
    session
        The shop's, whose rules of cutting hold; None if there is no shop.
    name, texts
        Of the design, and its settings as they were written.
    papers
        As they were named, by part: papers of the shop's, or weights.
    on
        Sheet sizes, each for all papers, or behind ``PART=`` for the paper of a part.
    prices
        Of a sheet, by its size; for all of them or none.
    quantity
        How many objects are cut together, 1 to `MAX_COPIES`.
    asked_unit
        The unit of bare numbers; the shop's, unless given.

    Raises
    ------
    Refusal
        If any of it can't be read, the design can't be made so, or a paper has no sheet.
    """
    if not 1 <= quantity <= MAX_COPIES:
        raise Refusal(f"--quantity must be 1 to {MAX_COPIES:,}, not {quantity:,}")
    design = design_named(session, name)
    check_roles(design, papers)
    unit = unit_of(session, asked_unit)
    stock = read_paper_specs(session, papers)
    usual = {**DEFAULT_PAPERS, **{role: PaperSpec(g) for role, g in design.default_grammages}}
    given = {**({} if "all" in papers else usual), **stock}
    names = {part: _CARD if part == "all" else part for part in given}
    names.update({part: _called(session, text) for part, text in papers.items()})
    thickness = thickness_by_role(given)
    measures = unit_of(session)
    now = read_settings(design, texts, unit, thickness, defaults_in=measures)
    pieces = design.pieces(now, unit)
    used = list(dict.fromkeys(paper_for(piece.role, names) or _CARD for piece in pieces))
    offers = _offers(design, on, names, used, prices, unit)
    rules = CuttingRules(cuts) if session is None else shop_rules(session, cuts)
    batch = SweepSetup(
        design, dict(texts), unit, names, offers, quantity, rules, thickness, measures
    )
    currency = None
    if prices:
        currency = "" if session is None else get_shop(session).currency
    return BatchRequest(batch, pieces, now, currency)


def _called(session: Session | None, text: str) -> str:
    from inventory.stock.papers import find_paper

    if session is None or (text.isascii() and text.isdigit()):
        return f"{text} g/m²"
    return find_paper(session, text).name


def _offers(
    design: Design,
    on: Sequence[str],
    names: Mapping[str, str],
    used: Sequence[str],
    prices: Mapping[str, str],
    unit: Unit,
) -> dict[str, tuple[PricedSheet, ...]]:
    for_all: list[Size] = []
    of_paper: dict[str, list[Size]] = {}
    for text in on:
        part, equals, written = text.partition("=")
        size = _size(written if equals else text, unit, "--on")
        if not equals:
            for_all.append(size)
            continue
        part = part.strip()
        check_roles(design, [part])
        of_paper.setdefault(paper_for(part, names) or _CARD, []).append(size)
    costs = {_either_way(_size(text, unit, "--price")): amount for text, amount in prices.items()}
    read = {
        size: parse_money(amount, f"the price of {format_size(*size, unit)}")
        for size, amount in costs.items()
    }
    chosen = {paper: of_paper.get(paper, for_all) for paper in used}
    bare = next((paper for paper, sizes in chosen.items() if not sizes), None)
    if bare is not None:
        part = next(part for part, name in names.items() if name == bare)
        raise Refusal(f"no sheet is named for {bare}; say --on SIZE, or --on {part}=SIZE")
    offered = {_either_way(size) for sizes in (for_all, *of_paper.values()) for size in sizes}
    for size in read:
        if size not in offered:
            raise Refusal(f"--price names a {format_size(*size, unit)} sheet, and --on does not")
    for size in sorted(offered):
        if read and size not in read:
            raise Refusal(f"a {format_size(*size, unit)} sheet has no price; give all sheets one")
    return {
        paper: tuple(
            PricedSheet(*size, _exact(read.get(_either_way(size)))) for size in dict.fromkeys(sizes)
        )
        for paper, sizes in chosen.items()
    }


def _size(text: str, unit: Unit, option: str) -> Size:
    try:
        return parse_size(text, unit)
    except LengthError as why:
        raise Refusal(f"{option}: {why}") from None


def _either_way(size: Size) -> Size:
    return Size(min(size), max(size))


def _exact(price: Decimal | None) -> Fraction | None:
    return None if price is None else Fraction(price)


def usual_range(now: Length, unit: Unit) -> tuple[Length, Length, Length]:
    """Return sizes around one to compare it with: from, to and step; a sixth either way."""
    step = unit.fine_units // 16 if unit is Unit.IN else mm(1)
    span = max(1, now // 6 // step)
    return max(step, now - span * step), now + span * step, step


# --- sizes compared ------------------------------------------------------------------------------

_STEP_FACTORS = {Effort.QUICK: 1, Effort.NORMAL: 4, Effort.THOROUGH: 16}
MOST_JUMPS = 6
"""Jumps that are explained."""


@dataclass(frozen=True)
class SizeComparison:
    """A batch in several sizes.

    Attributes
    ----------
    setting
        The length whose sizes are compared.
    points
        Each size and what it takes, smallest first; fewer than `wanted` if it was stopped.
    jumps
        Where the paper jumps between two sizes.
    base, suggestions
        The size nearest to the one asked for, and sizes near it that save most; None if no size
        is possible.
    wanted
        How many sizes were to be compared.
    """

    batch: BatchRequest
    setting: str
    points: Sequence[SizeResult]
    jumps: Sequence[SizeJump]
    base: SizeResult | None
    suggestions: Sequence[Suggestion]
    wanted: int

    @property
    def was_stopped(self) -> bool:
        """Whether not all sizes were compared."""
        return len(self.points) < self.wanted

    @property
    def unit(self) -> Unit:
        """The unit in which it is shown."""
        return self.batch.batch.unit


def compare_sizes(
    batch: BatchRequest,
    setting: str | None = None,
    first: str | None = None,
    last: str | None = None,
    step: str | None = None,
    effort: Effort = Effort.QUICK,
    *,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[int, int], None] = lambda done, whole: None,
) -> SizeComparison:
    """Plan a batch in several sizes; every plan is verified.

    Parameters
    ----------
    setting
        The length whose sizes are compared; the design's first, unless given.
    first, last, step
        From which size to which, by which steps, as written; as by `usual_range`, unless given.
    processes, stop, on_progress
        As for `nester.studies.size_sweep.sweep`.

    Raises
    ------
    Refusal
        If the design has no such length, or one of the sizes can't be read or used.
    """
    design, unit = batch.batch.design, batch.batch.unit
    chosen = swept_setting(design, setting)
    now = _current_size(batch, chosen)
    low, high, each = usual_range(now, unit)
    wanted = sizes_between(
        low if first is None else _read_length(first, unit, "--from"),
        high if last is None else _read_length(last, unit, "--to"),
        each if step is None else _read_length(step, unit, "--step"),
        unit,
    )
    points = sweep(
        batch.batch,
        chosen,
        wanted,
        budget=QuickBudget().scaled(_STEP_FACTORS[effort]),
        processes=processes,
        stop=stop,
        on_progress=on_progress,
    )
    if all(point.refusal for point in points):
        return SizeComparison(batch, chosen, points, (), None, (), len(wanted))
    jumps = find_jumps(points, MOST_JUMPS)
    base, suggestions = suggest_sizes(points, now, design, chosen)
    return SizeComparison(batch, chosen, points, jumps, base, suggestions, len(wanted))


def _current_size(asked: BatchRequest, setting: str) -> Length:
    value = asked.current_sizes.get(setting)
    if isinstance(value, int):
        return value
    # Another way to say a setting, such as the blank of three panels.
    other = next(known for known in asked.batch.design.settings if known.name == setting)
    value = asked.current_sizes[other.alternative_to]
    return value * other.divisor if isinstance(value, int) else 0


def _read_length(text: str, unit: Unit, option: str) -> Length:
    try:
        return parse_length(text, unit)
    except LengthError as why:
        raise Refusal(f"{option}: {why}") from None


# --- sheets compared -----------------------------------------------------------------------------


class SheetComparison(NamedTuple):
    """One way to cut a batch on one paper, or on all of them.

    Attributes
    ----------
    paper
        None for all papers together.
    offer
        The only sheet it is cut from; None for all that are named, mixed as is cheapest.
    sheets
        How many the batch takes.
    cost, bound
        What the paper of one object counts, and what no plan counts less than; proven.
    refused
        Why it can't be cut so.
    """

    paper: str | None
    offer: PricedSheet | None
    sheets: int = 0
    cost: Fraction = Fraction(0)
    bound: Fraction = Fraction(0)
    refused: str = ""


def compare_sheets(
    asked: BatchRequest, effort: Effort = Effort.QUICK, *, stop: Stop = never
) -> list[SheetComparison]:
    """Plan the batch on each of its sheets alone, and on all of them; every plan is verified.

    Returns
    -------
    list of SheetRow
        All papers together first, if there are several; each with the cheapest first, and what
        can't be cut last.
    """
    batch = asked.batch
    alone: dict[str, dict[PricedSheet | None, SheetComparison]] = {
        paper: {} for paper in asked.papers
    }
    for paper, rows in alone.items():
        offers = batch.sheets[paper]
        choices: list[PricedSheet | None] = [*offers, *([None] if len(offers) > 1 else [])]
        for offer in choices:
            rows[offer] = _row(asked, paper, offer, effort, stop)
    compared: list[SheetComparison] = []
    if len(alone) > 1:
        compared += _ranked(_combined_rows(alone))
    for rows in alone.values():
        compared += _ranked(list(rows.values()))
    return compared


def _row(
    asked: BatchRequest, paper: str, offer: PricedSheet | None, effort: Effort, stop: Stop
) -> SheetComparison:
    batch = asked.batch
    its = [piece for piece in asked.pieces if paper_for(piece.role, batch.papers) == paper]
    sheets = {paper: batch.sheets[paper] if offer is None else (offer,)}
    problem = paper_problems(its, batch.quantity, batch.papers, sheets, batch.rules)[paper]
    lacking = unfit_reason([problem])
    if lacking:
        return SheetComparison(paper, offer, refused=lacking)
    answer = solve(problem, effort, stop=stop)
    require_valid(problem, answer)
    cost, bound = answer.cost / batch.quantity, answer.lower_bound / batch.quantity
    return SheetComparison(paper, offer, answer.sheet_count, cost, bound)


def _combined_rows(
    alone: Mapping[str, Mapping[PricedSheet | None, SheetComparison]],
) -> list[SheetComparison]:
    """Add up what all papers take, on each sheet that all may be cut from, and on all sheets."""
    shared = [
        sheet for sheet in next(iter(alone.values())) if all(sheet in r for r in alone.values())
    ]
    mixed = any(len(rows) > 1 for rows in alone.values())
    combined = []
    for offer in [*(sheet for sheet in shared if sheet is not None), *([None] if mixed else [])]:
        rows = [its[offer] if offer in its else next(iter(its.values())) for its in alone.values()]
        whole = SheetComparison(None, offer)
        for row in rows:
            whole = whole._replace(
                sheets=whole.sheets + row.sheets,
                cost=whole.cost + row.cost,
                bound=whole.bound + row.bound,
                refused=whole.refused or row.refused,
            )
        combined.append(whole)
    return combined


def _ranked(rows: Sequence[SheetComparison]) -> list[SheetComparison]:
    return sorted(rows, key=lambda row: (bool(row.refused), row.cost, row.sheets))
