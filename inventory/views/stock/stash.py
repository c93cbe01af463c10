"""The stash as lists for people and programs: what is there, what was found, what was done."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from inventory.core.money import format_money
from inventory.documents.text.condition import condition_words, damage_words
from inventory.documents.text.times import local_time
from inventory.documents.text.transactions import reason_words
from inventory.shop.settings import get_shop
from inventory.stock.condition import size_of
from inventory.stock.listing import stash_page, stock_history
from inventory.stock.reservations import reserved_quantities
from inventory.stock.search import SIMILAR_COLOUR_DISTANCE, find_page, offcuts_for, read_weight
from inventory.views.listing import Column, Listing
from inventory.views.production.cutting import margins_as_json, rect_as_json
from nester.core.lengths import format_size, to_mm_number
from nester.core.piece import Grain, Turn

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.orm import Session

    from inventory.database.tables.ledger import Transaction
    from inventory.stock.listing import HistoryRow, StashRow
    from inventory.stock.search import FoundRow, OffcutForPiece
    from nester.core.lengths import Unit
    from nester.core.problem import Rect

__all__ = [
    "find_list",
    "history_list",
    "history_listing",
    "offcuts_for_list",
    "stash_list",
    "transaction_list",
]


def stash_list(
    session: Session,
    most: int | None = None,
    *,
    paper: str | None = None,
    colour: str | None = None,
    finish: str | None = None,
    kind: str | None = None,
    at_least: str | None = None,
    place: str | None = None,
    include_empty: bool = False,
) -> tuple[Listing[StashRow], list[StashRow], int]:
    """Return what is in the stash, up to `most` rows of it, and how many rows there are.

    Parameters
    ----------
    at_least
        A size, as `inventory.stock.condition.size_of` reads it.

    See `inventory.stock.listing.StashFilter` for the others.
    """
    shop = get_shop(session)
    rows, number = stash_page(
        session,
        most,
        paper=paper,
        colour=colour,
        finish=finish,
        kind=kind,
        at_least=None if at_least is None else size_of(session, at_least),
        place=place,
        include_empty=include_empty,
    )
    reserved = reserved_quantities(session)
    unit, currency = shop.unit, shop.currency

    def remarks(row: StashRow) -> str:
        grain = row.grain if row.kind == "offcut" else Grain.ANY
        return condition_words(row.margins, row.damaged_areas, grain, unit, briefly=True)

    listing: Listing[StashRow] = Listing(
        title="Stash",
        columns=(
            Column("Label", "label", lambda row: row.label),
            Column(key="kind", value=lambda row: str(row.kind)),
            Column("Paper", "paper", lambda row: row.paper),
            Column(key="colour", value=lambda row: row.colour),
            Column(key="finish", value=lambda row: row.finish),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column(
                "Amount", "quantity", lambda row: row.quantity, lambda row: str(row.quantity),
                right=True,
            ),
            Column("Reserved", "reserved", lambda row: reserved[row.label], right=True),
            Column(
                "Each",
                "price",
                lambda row: None if row.price is None else str(row.price),
                lambda row: "" if row.price is None else format_money(row.price, currency),
                right=True,
            ),
            Column("Place", "place", lambda row: row.place),
            Column(key="note", value=lambda row: row.note),
            Column("Remarks", cell=remarks, optional=True),
            Column(key="margins", value=lambda row: margins_as_json(row.margins)),
            Column(key="bruises", value=lambda row: [rect_as_json(r) for r in row.damaged_areas]),
            Column(
                key="grain", value=lambda row: None if row.grain is Grain.ANY else str(row.grain)
            ),
        ),
        empty="Nothing in the stash is like that.",
    )  # fmt: skip
    return listing, rows, number


def find_list(
    session: Session,
    now: datetime,
    most: int | None = None,
    *,
    colour: str | None = None,
    near: float = SIMILAR_COLOUR_DISTANCE,
    finish: str | None = None,
    weight: str | None = None,
    at_least: str | None = None,
    place: str | None = None,
    kind: str | None = None,
    older_than_days: int | None = None,
) -> tuple[Listing[FoundRow], list[FoundRow], int]:
    """Return what was found in the stash, up to `most` rows of it, and how many rows there are.

    Parameters
    ----------
    weight
        As `inventory.stock.search.read_weight` reads it.
    at_least
        A size, as `inventory.stock.condition.size_of` reads it.

    See `inventory.stock.search.StashSearch` for the others.
    """
    unit = get_shop(session).unit
    rows, number = find_page(
        session,
        most,
        colour=colour,
        near=near,
        finish=finish,
        weight=read_weight(weight),
        at_least=None if at_least is None else size_of(session, at_least),
        place=place,
        kind=kind,
        older_than=None if older_than_days is None else timedelta(older_than_days),
        now=now,
    )
    listing: Listing[FoundRow] = Listing(
        title="Found",
        columns=(
            Column("Label", "label", lambda found: found.row.label),
            Column(key="kind", value=lambda found: str(found.row.kind)),
            Column("Paper", "paper", lambda found: found.row.paper),
            Column(key="colour", value=lambda found: found.row.colour),
            Column(key="finish", value=lambda found: found.row.finish),
            Column(key="grammage", value=lambda found: found.grammage),
            Column(
                "Colour off",
                "distance",
                lambda found: None if found.distance is None else round(found.distance, 2),
                lambda found: "" if found.distance is None else f"{found.distance:.1f}",
                right=True,
            ),
            Column("Size", cell=lambda found: format_size(found.row.width, found.row.height, unit)),
            Column(key="width", value=lambda found: to_mm_number(found.row.width)),
            Column(key="height", value=lambda found: to_mm_number(found.row.height)),
            Column(
                "Amount", "quantity", lambda found: found.row.quantity,
                lambda found: str(found.row.quantity), right=True,
            ),
            Column(key="reserved", value=lambda found: found.reserved),
            Column(
                "Days", cell=lambda found: str((now - found.in_stock_since).days), right=True
            ),
            Column("Place", "place", lambda found: found.row.place),
            Column(
                key="since", value=lambda found: found.in_stock_since.isoformat(timespec="seconds")
            ),
        ),
        empty="Nothing in the stash is like that.",
    )  # fmt: skip
    return listing, rows, number


def offcuts_for_list(
    session: Session, size: str, papers: Sequence[str] = (), *, upright: bool = False
) -> tuple[Listing[OffcutForPiece], list[OffcutForPiece]]:
    """Return the free offcuts that hold a piece.

    Parameters
    ----------
    size
        As `inventory.stock.condition.size_of` reads it.
    upright
        Whether it may not be turned on a pattern with a top.
    """
    unit = get_shop(session).unit
    turn = Turn.NONE if upright else Turn.ANY
    listing: Listing[OffcutForPiece] = Listing(
        title="Offcuts that hold it",
        columns=(
            Column("Label", "label", lambda row: row.label),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.width, row.height, unit)),
            Column(key="width", value=lambda row: to_mm_number(row.width)),
            Column(key="height", value=lambda row: to_mm_number(row.height)),
            Column("Free", "free", lambda row: row.free, lambda row: str(row.free), right=True),
            Column("Place", "place", lambda row: row.place),
            Column("Piece", "turned", lambda row: row.turned, lambda row: "turned" * row.turned),
        ),
        empty="No free offcut holds it.",
    )
    return listing, offcuts_for(session, size_of(session, size), papers, turn=turn)


_TRANSACTIONS: Listing[Transaction] = Listing(
    title="Log",
    columns=(
        Column("Entry", "deed", lambda row: row.id, right=True),
        Column(
            "When",
            "at",
            lambda row: row.at.isoformat(timespec="seconds"),
            lambda row: local_time(row.at),
        ),
        Column("What", "reason", lambda row: str(row.reason), lambda row: reason_words(row.reason)),
        Column("Batch", "batch", lambda row: row.batch_id, right=True),
        Column("Layout", "layout", lambda row: row.layout, right=True),
        Column(key="copies", value=lambda row: row.copies),
        Column("Note", "note", lambda row: row.note),
    ),
    empty="Nothing is recorded yet.",
)


def transaction_list(session: Session, most: int) -> tuple[Listing[Transaction], list[Transaction]]:
    """Return what was done last, the newest entry first."""
    from inventory.changes.undo import list_transactions

    return _TRANSACTIONS, list_transactions(session, most=most)


def history_list(session: Session, label: str) -> tuple[Listing[HistoryRow], list[HistoryRow]]:
    """Return every movement of a label, and what was found out about it."""
    rows = stock_history(session, label)
    return history_listing(rows[0].label if rows else label, get_shop(session).unit), rows


def history_listing(whose: str, unit: Unit) -> Listing[HistoryRow]:
    """Describe the history of a label, or of all that is of one paper."""

    def note(row: HistoryRow) -> str:
        found = [
            "" if row.damaged_area is None else damage_words(row.damaged_area, unit),
            "" if row.grain is None else f"grain runs along its {row.grain}",
            row.note,
        ]
        return "; ".join(filter(None, found))

    return Listing(
        title=f"History of {whose}",
        columns=(
            Column("When", cell=lambda row: local_time(row.at)),
            Column("Label", "label", lambda row: row.label),
            Column(key="at", value=lambda row: row.at.isoformat(timespec="seconds")),
            Column(
                "Change",
                "change",
                lambda row: row.change,
                lambda row: f"{row.change:+}" if row.change else "",
                right=True,
            ),
            Column(
                "After", "after", lambda row: row.balance, lambda row: str(row.balance), right=True
            ),
            Column(
                "Reason",
                "reason",
                lambda row: str(row.reason),
                lambda row: reason_words(row.reason),
            ),
            Column("Batch", "batch", lambda row: row.batch, right=True),
            Column(key="deed", value=lambda row: row.transaction),
            Column("Note", cell=note),
            Column(key="note", value=lambda row: row.note),
            Column(key="bruise", value=lambda row: _rect(row.damaged_area)),
            Column(key="grain", value=lambda row: None if row.grain is None else str(row.grain)),
        ),
        empty="Nothing is recorded yet.",
    )


def _rect(rect: Rect | None) -> dict[str, Any] | None:
    return None if rect is None else rect_as_json(rect)
