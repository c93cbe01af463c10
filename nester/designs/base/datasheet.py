"""Everything there is to say about one finished object: its pieces, fit, weight and advice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from nester.core.lengths import Unit
from nester.core.piece import Piece
from nester.designs.base.advice import advice, cautions
from nester.designs.base.clearance import FitLine, Thickness, check_fit
from nester.designs.base.design import Consumable, Design, SectionPart, Settings, read_settings
from nester.designs.base.roles import paper_for
from nester.designs.base.thickness import Sheetstock, assumptions, thickness_by_role
from nester.designs.base.totals import Area, Weight, areas, consumables_of, finished_weight

__all__ = ["USUAL_PAPERS", "DesignSheet", "design_sheet"]

USUAL_PAPERS: Mapping[str, Sheetstock] = {
    "all": Sheetstock(300),
    "mat": Sheetstock(120),
    "card-mat": Sheetstock(120),
    "photo": Sheetstock(250),
    "envelope": Sheetstock(120),
}
"""Taken where nobody says which papers: card, and lighter paper upon it (common practice, no
source)."""


@dataclass(frozen=True)
class DesignSheet:
    """One finished object.

    Attributes
    ----------
    settings
        All of them, those left unsaid with their usual values.
    fit
        What goes into what, with the play that is left.
    fold_faults
        A sentence for whatever keeps a piece from folding up; none when all of them close.
    areas
        Paper by part.
    assumptions
        What was taken for the thickness of the papers.
    advice
        By the name of a piece.
    """

    design: Design
    settings: Settings
    pieces: tuple[Piece, ...]
    fit: tuple[FitLine, ...]
    fold_faults: tuple[str, ...]
    areas: tuple[Area, ...]
    weight: Weight
    consumables: tuple[Consumable, ...]
    section: tuple[SectionPart, ...]
    thickness: Thickness
    assumptions: tuple[str, ...]
    advice: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]


def design_sheet(
    design: Design, texts: Mapping[str, str], papers: Mapping[str, Sheetstock], unit: Unit
) -> DesignSheet:
    """Work out a design for the settings and papers given.

    Parameters
    ----------
    texts
        Settings as they were written; bare lengths are in `unit`.
    papers
        Weight and, if known, caliper by role; `USUAL_PAPERS` fill in.

    Raises
    ------
    DesignRefusal
        If it can't be made so.  Parts that bind are no refusal here: `fit` says so.
    """
    usual = {**USUAL_PAPERS, **{role: Sheetstock(g) for role, g in design.usual_weights}}
    given = {**({} if "all" in papers else usual), **papers}
    thickness = thickness_by_role(given)
    settings = read_settings(design, texts, unit, thickness)
    pieces = design.pieces(settings, unit)

    roles = {role: role for role in given}

    def paper_of(role: str) -> Sheetstock:
        return given[paper_for(role, roles) or "all"]

    def grammage(role: str) -> int:
        return paper_of(role).grammage

    consumables = consumables_of(design, settings, pieces)
    used = {
        key: given[key] for piece in pieces if (key := paper_for(piece.role, roles)) is not None
    }
    return DesignSheet(
        design=design,
        settings=settings,
        pieces=pieces,
        fit=check_fit(design.joints(settings), thickness, unit),
        fold_faults=_fold_faults(pieces, thickness, unit),
        areas=areas(pieces),
        weight=finished_weight(pieces, grammage, consumables),
        consumables=consumables,
        section=design.section(settings),
        thickness=thickness,
        assumptions=assumptions(used),
        advice=tuple(
            (piece.name, said)
            for piece in pieces
            if (said := advice(piece, grammage(piece.role), paper_of(piece.role).grain_known))
        ),
        cautions=tuple(cautions(pieces)),
    )


def _fold_faults(pieces: Iterable[Piece], thickness: Thickness, unit: Unit) -> tuple[str, ...]:
    from nester.designs.base.folding import fold_faults  # it needs numpy

    return tuple(
        fault
        for piece in pieces
        if piece.scores
        for fault in fold_faults(piece, thickness(piece.role), unit)
    )
