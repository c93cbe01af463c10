"""Papers as lists for people and programs: what they are like, and what became of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.shop.settings import get_shop
from inventory.stock.listing import on_hand_areas
from inventory.stock.papers import list_papers, pounds, substitutes
from inventory.views.listing import Column, Listing
from inventory.views.stock.stash import history_listing
from nester.core.errors import Hint
from nester.core.lengths import Unit, area_m2, format_area, to_mm_number

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.tables.stock import Paper
    from inventory.reports.paper_history import YieldRow
    from inventory.stock.listing import HistoryRow

__all__ = ["paper_history_list", "paper_list", "yield_list"]


def paper_list(session: Session) -> tuple[Listing[Paper], list[Paper]]:
    """Return all papers, with how much of each is in the stash."""
    papers = list_papers(session)
    area = dict.fromkeys((paper.id for paper in papers), 0) | on_hand_areas(session)
    instead = substitutes(session)
    unit = get_shop(session).unit
    in_pounds: list[Column[Paper]] = []
    if unit is Unit.IN:
        in_pounds.append(Column("In pounds", cell=lambda paper: pounds(paper.grammage)))
    listing: Listing[Paper] = Listing(
        title="Papers",
        columns=(
            Column("Paper", "name", lambda paper: paper.name),
            Column("Colour", "colour", lambda paper: paper.colour),
            Column(key="swatch", value=lambda paper: paper.swatch),
            Column("Finish", "finish", lambda paper: paper.finish),
            Column("g/m²", "grammage", lambda paper: paper.grammage, right=True),
            *in_pounds,
            Column("Pattern", "pattern", lambda paper: str(paper.pattern)),
            Column("Grain", "grain", lambda paper: str(paper.grain)),
            Column(
                key="caliper",
                value=lambda paper: None if paper.caliper is None else to_mm_number(paper.caliper),
            ),
            Column(key="note", value=lambda paper: paper.note),
            Column(key="instead", value=lambda paper: instead.get(paper.name, [])),
            Column(
                "On hand",
                "square_metres",
                lambda paper: float(area_m2(area[paper.id])),
                lambda paper: format_area(area[paper.id], unit) if area[paper.id] else "-",
                right=True,
            ),
        ),
        empty="No papers yet.",
        hint=Hint("add one", "paper add"),
    )
    return listing, papers


def paper_history_list(
    session: Session, paper: str
) -> tuple[Listing[HistoryRow], list[HistoryRow]]:
    """Return every movement of a paper's sheets and offcuts, and what was found out about them."""
    from inventory.reports.paper_history import paper_history

    return history_listing(paper, get_shop(session).unit), paper_history(session, paper)


def yield_list(session: Session) -> tuple[Listing[YieldRow], list[YieldRow]]:
    """Return what became of each paper, month by month."""
    from inventory.reports.paper_history import paper_yields

    unit = get_shop(session).unit

    def area_column(title: str, name: str) -> Column[YieldRow]:
        def cell(row: YieldRow) -> str:
            area = getattr(row, name)
            return format_area(area, unit) if area else ""

        def value(row: YieldRow) -> Any:
            return float(area_m2(getattr(row, name)))

        return Column(title, name, value, cell, right=True)

    listing: Listing[YieldRow] = Listing(
        title="Yield",
        columns=(
            Column("Month", "month", lambda row: row.month),
            Column("Paper", "paper", lambda row: row.paper),
            area_column("Cut", "cut"),
            area_column("Pieces", "pieces"),
            area_column("Kept", "kept"),
            area_column("Waste", "waste"),
            area_column("Spoiled", "spoiled"),
            Column(
                "Yield",
                "share",
                lambda row: None if row.yield_rate is None else round(float(row.yield_rate), 4),
                lambda row: (
                    "" if row.yield_rate is None else f"{float(100 * row.yield_rate):.0f} %"
                ),
                right=True,
            ),
        ),
        empty="Nothing was cut yet.",
    )
    return listing, paper_yields(session)
