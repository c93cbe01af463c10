"""What size to make, and on which sheets: a maker's question, read for the sweep of sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.core.money import parse_money
from inventory.production.cutting_rules import shop_rules
from nester.core.errors import Refusal
from nester.core.lengths import Length, LengthError, Unit, format_size, mm
from nester.core.problem import Cuts, Effort
from nester.core.sheet_sizes import Size, parse_size
from nester.designs import (
    Design,
    check_roles,
    paper_for,
    read_settings,
)
from nester.designs.base.datasheet import DEFAULT_PAPERS
from nester.designs.base.thickness import PaperSpec, thickness_by_role
from nester.designs.demand import CuttingRules
from nester.packing import (
    Stop,
    never,
    solve,
)
from nester.studies.size_sweep import PricedSheet, SweepSetup, paper_problems, unfit_reason
from nester.verify import (
    require_valid,
)

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.piece import Piece

__all__ = [
    "MAX_COPIES",
    "BatchRequest",
    "SheetComparison",
    "compare_sheets",
    "read_batch_request",
    "usual_range",
]

MAX_COPIES = 1_000
_CARD = "card"
"""The name of the paper for all parts for which no other is named."""


@dataclass(frozen=True)
class BatchRequest:
    """A batch as it was asked for.

    Attributes
    ----------
    batch
        With every sheet from which pieces may be cut.
    has_prices
        Whether sheets have prices; else they count by their area.
    pieces
        Of one object, in the sizes as they were written.
    current_sizes
        Those sizes.
    """

    batch: SweepSetup
    has_prices: bool
    pieces: tuple[Piece, ...]
    current_sizes: Mapping[str, int | str]

    @property
    def papers(self) -> list[str]:
        """The names of the papers that one object takes."""
        roles = [paper_for(piece.role, self.batch.papers) for piece in self.pieces]
        return list(dict.fromkeys(name for name in roles if name is not None))


def read_batch_request(
    session: Session | None,
    design: Design,
    texts: Mapping[str, str],
    papers: Mapping[str, str],
    stock: Mapping[str, PaperSpec],
    on: Sequence[str],
    prices: Mapping[str, str],
    quantity: int,
    cuts: Cuts,
    unit: Unit,
) -> BatchRequest:
    """Read what a design is to be cut from.

    Parameters
    ----------
    session
        Of the shop, whose cutting rules count; None if there is none.
    papers
        As they were named, by part: papers of the shop, or weights.
    stock
        The weight and thickness of these, by part.
    on
        Sheet sizes, each for all papers, or behind ``PART=`` for the paper of a part.
    prices
        Of a sheet, by its size; for all of them or none.
    quantity
        How many objects are cut together, 1 to `MAX_COPIES`.

    Raises
    ------
    Refusal
        If any of it can't be read, the design can't be made in these sizes, or a paper has no
        sheet.
    """
    if not 1 <= quantity <= MAX_COPIES:
        raise Refusal(f"--quantity must be 1 to {MAX_COPIES:,}, not {quantity:,}")
    defaults = {**DEFAULT_PAPERS, **{role: PaperSpec(g) for role, g in design.default_grammages}}
    given = {**({} if "all" in papers else defaults), **stock}
    names = {part: _CARD if part == "all" else part for part in given}
    names.update({part: _paper_name(session, text) for part, text in papers.items()})
    thickness = thickness_by_role(given)
    settings = read_settings(design, texts, unit, thickness)
    pieces = design.pieces(settings, unit)
    used = list(dict.fromkeys(paper_for(piece.role, names) or _CARD for piece in pieces))
    offers = _offers(design, on, names, used, prices, unit)
    rules = CuttingRules(cuts) if session is None else shop_rules(session, cuts)
    batch = SweepSetup(design, dict(texts), unit, names, offers, quantity, rules, thickness)
    return BatchRequest(batch, bool(prices), pieces, settings)


def _paper_name(session: Session | None, text: str) -> str:
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
    price_of = {
        size: parse_money(amount, f"the price of {format_size(*size, unit)}")
        for size, amount in costs.items()
    }
    chosen = {paper: of_paper.get(paper, for_all) for paper in used}
    without_sheet = next((paper for paper, sizes in chosen.items() if not sizes), None)
    if without_sheet is not None:
        part = next(part for part, name in names.items() if name == without_sheet)
        raise Refusal(f"no sheet is named for {without_sheet}; say --on SIZE, or --on {part}=SIZE")
    offered = {_either_way(size) for sizes in (for_all, *of_paper.values()) for size in sizes}
    for size in price_of:
        if size not in offered:
            raise Refusal(f"--price names a {format_size(*size, unit)} sheet, and --on does not")
    for size in sorted(offered):
        if price_of and size not in price_of:
            raise Refusal(f"a {format_size(*size, unit)} sheet has no price; give all sheets one")
    return {
        paper: tuple(
            PricedSheet(*size, _exact(price_of.get(_either_way(size))))
            for size in dict.fromkeys(sizes)
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


def usual_range(current: Length, unit: Unit) -> tuple[Length, Length, Length]:
    """Return sizes to compare with the current one: from, to and step; a sixth either way."""
    step = unit.fine_units // 16 if unit is Unit.IN else mm(1)
    span = max(1, current // 6 // step)
    return max(step, current - span * step), current + span * step, step


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
        What the paper of one object costs, and a proven lower bound of that.
    refused
        Why it can't be cut that way; empty if it can.
    """

    paper: str | None
    offer: PricedSheet | None
    sheets: int = 0
    cost: Fraction = Fraction(0)
    bound: Fraction = Fraction(0)
    refused: str = ""


def compare_sheets(
    request: BatchRequest, effort: Effort = Effort.QUICK, *, stop: Stop = never
) -> list[SheetComparison]:
    """Plan the batch on each of its sheets alone, and on all of them; every plan is verified.

    Returns
    -------
    list of SheetComparison
        All papers together first, if there are several; each with the cheapest first, and what
        can't be cut last.
    """
    batch = request.batch
    alone: dict[str, dict[PricedSheet | None, SheetComparison]] = {
        paper: {} for paper in request.papers
    }
    for paper, rows in alone.items():
        offers = batch.sheets[paper]
        choices: list[PricedSheet | None] = [*offers, *([None] if len(offers) > 1 else [])]
        for offer in choices:
            rows[offer] = _row(request, paper, offer, effort, stop)
    comparisons: list[SheetComparison] = []
    if len(alone) > 1:
        comparisons += _ranked(_combined_rows(alone))
    for rows in alone.values():
        comparisons += _ranked(list(rows.values()))
    return comparisons


def _row(
    request: BatchRequest, paper: str, offer: PricedSheet | None, effort: Effort, stop: Stop
) -> SheetComparison:
    batch = request.batch
    pieces = [piece for piece in request.pieces if paper_for(piece.role, batch.papers) == paper]
    sheets = {paper: batch.sheets[paper] if offer is None else (offer,)}
    problem = paper_problems(pieces, batch.quantity, batch.papers, sheets, batch.rules)[paper]
    reason = unfit_reason([problem])
    if reason:
        return SheetComparison(paper, offer, refused=reason)
    answer = solve(problem, effort, stop=stop)
    require_valid(problem, answer)
    cost, bound = answer.cost / batch.quantity, answer.lower_bound / batch.quantity
    return SheetComparison(paper, offer, answer.sheet_count, cost, bound)


def _combined_rows(
    alone: Mapping[str, Mapping[PricedSheet | None, SheetComparison]],
) -> list[SheetComparison]:
    """Add up what all papers take, on each sheet that all may be cut from, and on all sheets."""
    shared = [
        offer
        for offer in next(iter(alone.values()))
        if all(offer in rows for rows in alone.values())
    ]
    mixed = any(len(rows) > 1 for rows in alone.values())
    combined = []
    for offer in [*(offer for offer in shared if offer is not None), *([None] if mixed else [])]:
        # A paper that has one sheet only is cut from that also where others are mixed.
        rows = [
            rows_of_paper.get(offer) or next(iter(rows_of_paper.values()))
            for rows_of_paper in alone.values()
        ]
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
