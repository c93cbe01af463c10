"""A stocktake as lists: what to count, what differs, and when each paper was counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.documents.text.times import local_day
from inventory.shop.settings import get_shop
from inventory.stock.stocktake import CountDifference, last_counts, stocktake_rows
from inventory.views.listing import Column, Listing
from nester.core.lengths import format_size

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.stock.listing import StashRow
    from inventory.stock.stocktake import CountedPaper

__all__ = ["DIFFERENCES", "CountSheet", "count_sheet", "counted_list"]


@dataclass(frozen=True)
class CountSheet:
    """What should be found, to be taken along; and papers that nobody ever counted."""

    listing: Listing[StashRow]
    rows: list[StashRow]
    never_counted: list[str]


def count_sheet(session: Session, place: str | None = None) -> CountSheet:
    """Return what should be found, in one place or in all."""
    unit = get_shop(session).unit
    listing: Listing[StashRow] = Listing(
        title="To count",
        columns=(
            Column("Place", "place", lambda row: row.place or ""),
            Column("Label", "label", lambda row: row.label),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", "size", lambda row: format_size(row.width, row.height, unit)),
            Column("Expected", "book", lambda row: row.quantity, right=True),
            Column("Found", "found", lambda _: "", lambda _: "____"),
        ),
        empty="Nothing is there.",
    )
    never = [paper.paper for paper in last_counts(session) if paper.last_counted is None]
    return CountSheet(listing, stocktake_rows(session, place), never)


DIFFERENCES: Listing[CountDifference] = Listing(
    title="Differences",
    columns=(
        Column("Label", value=lambda row: row.label),
        Column("Paper", value=lambda row: row.paper),
        Column("Expected", cell=lambda row: str(row.book_quantity), right=True),
        Column("Found", cell=lambda row: str(row.counted), right=True),
    ),
    empty="Nothing differs.",
)

_COUNTED: Listing[CountedPaper] = Listing(
    title="Counted",
    columns=(
        Column("Paper", "paper", lambda row: row.paper),
        Column(
            "Last",
            "last",
            lambda row: (
                None if row.last_counted is None else row.last_counted.isoformat(timespec="seconds")
            ),
            lambda row: "never" if row.last_counted is None else local_day(row.last_counted),
        ),
        Column("Labels", "labels", lambda row: row.labels, lambda row: str(row.labels), right=True),
        Column("Never counted", "never", lambda row: row.never_counted, right=True),
    ),
    empty="Nothing is in the stash.",
)


def counted_list(session: Session) -> tuple[Listing[CountedPaper], list[CountedPaper]]:
    """Return when each paper was counted last; those never counted come first."""
    return _COUNTED, last_counts(session)
