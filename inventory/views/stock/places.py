"""Places as lists for people and programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.database.tables.enums import StockKind
from inventory.stock.listing import on_hand_by_place
from inventory.stock.places import PlaceTree
from inventory.views.listing import Column, Listing
from nester.core.errors import Hint

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = ["PLACES", "PlaceRow", "place_rows"]


@dataclass(frozen=True)
class PlaceRow:
    """A place, how deep it stands in others, and how much lies in it."""

    path: str
    name: str
    depth: int
    sheets: int
    offcuts: int


PLACES: Listing[PlaceRow] = Listing(
    title="Places",
    columns=(
        Column("Place", cell=lambda row: "  " * row.depth + row.name),
        Column(key="place", value=lambda row: row.path),
        Column(key="name", value=lambda row: row.name),
        Column("Sheets", "sheets", lambda row: row.sheets, right=True),
        Column("Offcuts", "offcuts", lambda row: row.offcuts, right=True),
    ),
    empty="No places yet.",
    hint=Hint("add one", "place add"),
)


def place_rows(session: Session) -> list[PlaceRow]:
    """Return all places, each after the one it stands in."""
    tree = PlaceTree(session)
    number = on_hand_by_place(session)
    return [
        PlaceRow(
            path=tree.path(place.id) or "",
            name=place.name,
            depth=tree.depth(place),
            sheets=number[place.id, StockKind.SHEET],
            offcuts=number[place.id, StockKind.OFFCUT],
        )
        for place in tree.sorted()
    ]
