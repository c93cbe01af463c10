"""What paper for a design costs if nothing is on hand: what a maker asks, and what is found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from inventory.core.measures import read_distance
from inventory.core.text import fold
from inventory.orders.custom_designs import design_named, read_paper_specs, unit_of
from inventory.pieces.spare_rule import NO_SPARES, SpareRule
from inventory.production.cutting_rules import shop_rules
from inventory.purchasing.optimizer_offers import listed_offers, read_offers, supplier_terms_for
from inventory.purchasing.prices import current_offers
from inventory.shop.settings import changed_trimmer, get_shop
from inventory.stock.papers import list_papers
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort
from nester.designs import check_roles
from nester.designs.base.datasheet import make_datasheet
from nester.designs.demand import CuttingRules, demands_by_paper
from nester.packing import Stop, never, usable_cores
from nester.studies.estimate import Estimate, estimate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date

    from sqlalchemy.orm import Session

    from nester.core.lengths import Unit
    from nester.core.piece import Piece
    from nester.core.problem import Demand
    from nester.core.purchase import Offer, SupplierTerms
    from nester.designs.base.design import Consumable
    from nester.packing import Progress

__all__ = [
    "DEFAULT_QUANTITIES",
    "DesignEstimate",
    "EstimateRequest",
    "EstimateTask",
    "estimate_design",
    "read_estimate",
]

DEFAULT_QUANTITIES = (1, 10, 50)
"""Numbers of copies that are always estimated."""
_SHARED_PAPER = "paper"
"""What the paper is called of which everything is made that no other is named for."""


@dataclass(frozen=True)
class EstimateRequest:
    """What a maker asks to be estimated, as it was written.

    Attributes
    ----------
    settings
        The design's settings, by name.
    papers
        A paper by part, or for ``all``: one of the shop's, or with `sheets` any name or weight.
    sheets
        What sheets cost (see `inventory.purchasing.optimizer_offers.read_offers`); by the price
        lists, unless given.
    quantity
        Copies to be estimated beside `DEFAULT_QUANTITIES`.
    unit
        The unit of bare numbers; the shop's, unless given.
    gap, trimmer, smallest_strip, stages
        How it is cut; as the shop cuts, unless given.
    spares
        How many pieces to cut beside.
    """

    design: str
    settings: Mapping[str, str]
    papers: Mapping[str, str]
    sheets: Sequence[str] = ()
    quantity: int | None = None
    unit: Unit | None = None
    cuts: Cuts = Cuts.STRAIGHT
    gap: str | None = None
    trimmer: str | None = None
    smallest_strip: str | None = None
    stages: str | None = None
    spares: SpareRule = NO_SPARES


@dataclass(frozen=True)
class EstimateTask:
    """What is to be made, by which rules, and what can be bought for it.

    Attributes
    ----------
    currency
        The shop's; empty if there is no shop.
    quantity
        The number of copies that was asked for; 1 if none was.
    is_priced
        False: sheets have no prices, so that the least area is sought.
    consumables
        What one copy needs apart from paper.
    """

    design: str
    currency: str
    unit: Unit
    quantity: int
    demands: tuple[Demand, ...]
    rules: CuttingRules
    offers: tuple[Offer, ...]
    terms: tuple[SupplierTerms, ...]
    is_priced: bool
    consumables: tuple[Consumable, ...]
    pieces: Mapping[str, Piece]
    spares: SpareRule


@dataclass(frozen=True)
class DesignEstimate:
    """What was found: an estimate for each number of copies, fewest first."""

    task: EstimateTask
    estimates: tuple[Estimate, ...]

    @property
    def asked(self) -> Estimate:
        """The estimate for the number of copies that was asked for."""
        return next(
            estimate for estimate in self.estimates if estimate.quantity == self.task.quantity
        )


def read_estimate(session: Session | None, request: EstimateRequest, today: date) -> EstimateTask:
    """Read what is to be estimated.

    Parameters
    ----------
    session
        The shop's, whose papers, prices and rules of cutting count; None if there is no shop.
    today
        The day whose prices count.

    Raises
    ------
    Refusal
        If something can't be read, there is no such design or paper, the design can't be made so,
        or a paper has no price.
    """
    unit = unit_of(session, request.unit)
    design = design_named(session, request.design)
    check_roles(design, request.papers)
    named = _names_as_in_shop(session, request.papers)
    weighed = {
        part: text
        for part, text in request.papers.items()
        if not request.sheets or _has_weight(session, text)
    }
    made = make_datasheet(
        design, request.settings, read_paper_specs(session, weighed), unit,
        defaults_in=unit_of(session),
    )  # fmt: skip
    rules = _rules(session, request, unit)
    by_paper = demands_by_paper(made.pieces, 1, {"all": _SHARED_PAPER, **named}, rules)
    papers = list(by_paper)
    offers: tuple[Offer, ...]
    terms: tuple[SupplierTerms, ...] = ()
    is_priced = True
    if request.sheets:
        offers, is_priced = read_offers(request.sheets, papers, unit)
    else:
        offers = _listed_offers(session, papers, unit, today)
        if session is not None:
            terms = supplier_terms_for(session, (offer.supplier for offer in offers), today)
    return EstimateTask(
        request.design,
        "" if session is None else get_shop(session).currency,
        unit,
        request.quantity or 1,
        tuple(demand for demands in by_paper.values() for demand in demands),
        rules,
        offers,
        terms,
        is_priced,
        made.consumables,
        {piece.name: piece for piece in made.pieces},
        request.spares,
    )


def _names_as_in_shop(session: Session | None, papers: Mapping[str, str]) -> dict[str, str]:
    if session is None:
        return dict(papers)
    names = {paper.name_key: paper.name for paper in list_papers(session)}
    return {part: names.get(fold(text), text) for part, text in papers.items()}


def _has_weight(session: Session | None, text: str) -> bool:
    """Tell whether a paper's weight is known: the text is a weight, or one of the shop's papers."""
    if text.isascii() and text.isdigit():
        return True
    return session is not None and fold(text) in {paper.name_key for paper in list_papers(session)}


def _rules(session: Session | None, request: EstimateRequest, unit: Unit) -> CuttingRules:
    """Return how the shop cuts, with what was asked for instead."""
    rules = CuttingRules(request.cuts) if session is None else shop_rules(session, request.cuts)
    gap = rules.gap
    if request.gap is not None:
        gap = read_distance(request.gap, unit, "the gap between pieces")
    trimmer = changed_trimmer(
        rules.trimmer, unit, request.trimmer, request.smallest_strip, request.stages
    )
    return replace(rules, gap=gap, trimmer=trimmer)


def _listed_offers(
    session: Session | None, papers: Sequence[str], unit: Unit, today: date
) -> tuple[Offer, ...]:
    """Return what the price lists offer of some papers; each must be on one."""
    if session is None:
        raise Refusal(
            "there is no shop with price lists; say which sheets there are, with their price if"
            " you know it: --on 50x70cm or --on 50x70cm=1.20"
        )
    if _SHARED_PAPER in papers:
        raise Refusal(
            'name its papers, such as all="NAME"; or say which sheets there are: --on 50x70cm, or'
            " with their price, --on 50x70cm=1.20"
        )
    listed = listed_offers(current_offers(session, papers, today=today), unit)
    offers = tuple(offer for offer, _ in listed.values())
    priced = {offer.paper for offer in offers}
    missing = [paper for paper in papers if paper not in priced]
    if missing:
        raise Refusal(
            f"{missing[0]} is on none of today's price lists; say what a sheet costs:"
            f" --on '{missing[0]}:50x70cm=1.20'"
        )
    return offers


def estimate_design(
    task: EstimateTask,
    effort: Effort = Effort.QUICK,
    *,
    processes: int | None = None,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> DesignEstimate:
    """Return the cheapest purchases found for the copies asked for, and for the usual numbers.

    Parameters
    ----------
    effort, stop, on_progress
        As for `nester.studies.estimate.estimate`.
    processes
        How many share the work; as many as there are cores, unless given.
    """
    found = estimate(
        task.demands,
        sorted({*DEFAULT_QUANTITIES, task.quantity}),
        task.offers,
        task.terms,
        task.rules,
        effort=effort,
        extra=lambda demand, number: task.spares.extra_of(task.pieces[demand.name], number),
        processes=usable_cores() if processes is None else processes,
        stop=stop,
        on_progress=on_progress,
    )
    return DesignEstimate(task, tuple(found))
