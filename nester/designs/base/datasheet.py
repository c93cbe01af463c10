"""Everything there is to say about one finished object: its pieces, fit, weight and advice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from nester.core.lengths import Unit
from nester.core.piece import Piece
from nester.designs.base.advice import piece_advice, safety_notes
from nester.designs.base.clearance import ClearanceCheck, Thickness, check_clearances
from nester.designs.base.design import Consumable, Design, SectionPart, Settings, read_settings
from nester.designs.base.roles import paper_for
from nester.designs.base.thickness import (
    PHOTO_BULK,
    PaperSpec,
    assumptions,
    thickness_by_role,
)
from nester.designs.base.totals import (
    FinishedWeight,
    PaperArea,
    consumables_of,
    finished_weight,
    paper_areas,
)

__all__ = ["DEFAULT_PAPERS", "Datasheet", "make_datasheet"]

DEFAULT_PAPERS: Mapping[str, PaperSpec] = {
    "all": PaperSpec(300),
    "mat": PaperSpec(120),
    "card-mat": PaperSpec(120),
    "photo": PaperSpec(250, bulk=PHOTO_BULK),
    "envelope": PaperSpec(120),
}
"""The papers of roles that are given none: card, and lighter paper on it (common practice, no
source)."""


@dataclass(frozen=True)
class Datasheet:
    """One finished object.

    Attributes
    ----------
    settings
        All of them, those left out with their defaults.
    clearances
        What goes into what, with the play that is left.
    fold_faults
        A sentence for each fault that keeps a piece from folding up.
    areas
        Paper by part.
    assumptions
        Sentences on the thicknesses that were not measured.
    advice
        By the name of a piece.
    """

    design: Design
    settings: Settings
    pieces: tuple[Piece, ...]
    clearances: tuple[ClearanceCheck, ...]
    fold_faults: tuple[str, ...]
    areas: tuple[PaperArea, ...]
    weight: FinishedWeight
    consumables: tuple[Consumable, ...]
    section: tuple[SectionPart, ...]
    thickness: Thickness
    assumptions: tuple[str, ...]
    advice: tuple[tuple[str, tuple[str, ...]], ...]
    safety_notes: tuple[str, ...]


def make_datasheet(
    design: Design,
    texts: Mapping[str, str],
    papers: Mapping[str, PaperSpec],
    unit: Unit,
    *,
    defaults_in: Unit | None = None,
) -> Datasheet:
    """Make a design with the settings and papers given, and check it.

    Parameters
    ----------
    texts
        Settings as they were written; lengths without a unit are in `unit`.
    defaults_in
        The unit in which defaults are round; `unit`, unless given.
    papers
        Weight and, if known, caliper by role; `DEFAULT_PAPERS` fill in.

    Raises
    ------
    DesignRefusal
        If it can't be made.  Parts that bind are not refused: `clearances` shows them.
    """
    defaults = {**DEFAULT_PAPERS, **{role: PaperSpec(g) for role, g in design.default_grammages}}
    given = {**({} if "all" in papers else defaults), **papers}
    thickness = thickness_by_role(given)
    settings = read_settings(design, texts, unit, thickness, defaults_in=defaults_in)
    pieces = design.pieces(settings, unit)

    roles = {role: role for role in given}

    def paper_of(role: str) -> PaperSpec:
        return given[paper_for(role, roles) or "all"]

    def grammage(role: str) -> int:
        return paper_of(role).grammage

    consumables = consumables_of(design, settings, pieces)
    used = {
        key: given[key] for piece in pieces if (key := paper_for(piece.role, roles)) is not None
    }
    return Datasheet(
        design=design,
        settings=settings,
        pieces=pieces,
        clearances=check_clearances(design.joints(settings), thickness, unit),
        fold_faults=_fold_faults(pieces, thickness, unit),
        areas=paper_areas(pieces),
        weight=finished_weight(pieces, grammage, consumables),
        consumables=consumables,
        section=design.section(settings),
        thickness=thickness,
        assumptions=assumptions(used),
        advice=tuple(
            (piece.name, notes)
            for piece in pieces
            if (
                notes := piece_advice(piece, grammage(piece.role), paper_of(piece.role).grain_known)
            )
        ),
        safety_notes=tuple(safety_notes(pieces)),
    )


def _fold_faults(pieces: Iterable[Piece], thickness: Thickness, unit: Unit) -> tuple[str, ...]:
    from nester.designs.base.folding import fold_faults  # it needs numpy

    return tuple(
        fault
        for piece in pieces
        if piece.scores
        for fault in fold_faults(piece, thickness(piece.role), unit)
    )
