"""Changed orders, spare pieces and plans made anew, as faces show them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.core.text import format_count
from inventory.pieces.spare_pieces import SpareRow, list_spare_pieces
from inventory.shop.settings import get_shop
from inventory.views.listing import Column, Listing
from nester.core.lengths import format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy.orm import Session

    from inventory.changes.order_changes import ChangedOrder
    from inventory.database.tables.production import OrderChange
    from nester.core.lengths import Unit

__all__ = ["change_entry_words", "changed_order_words", "spare_list", "what_changed"]

_NAMES = {"due": "due", "customer": "for", "sizes": "settings"}


def what_changed(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Say value by value what is different: ``copies 3 → 4``."""
    words = []
    for key in after:
        old, new = before.get(key), after[key]
        if old == new:
            continue
        if isinstance(new, dict):
            old = old or {}
            words += [
                f"{name} {_shown(old.get(name))} → {_shown(new.get(name))}"
                for name in dict.fromkeys([*old, *new])
                if old.get(name) != new.get(name)
            ]
        else:
            words.append(f"{_NAMES.get(key, key)} {_shown(old)} → {_shown(new)}")
    return words


def _shown(value: object) -> str:
    return "–" if value in (None, "") else str(value)


def changed_order_words(changed: ChangedOrder, unit: Unit) -> list[str]:
    """Say what a change of an order comes to, a sentence a line."""
    order = changed.order
    lines = [f"Order {order.id}: {', '.join(what_changed(changed.before, changed.after))}"]
    if changed.kept:
        stay = "stays" if changed.kept == 1 else "stay"
        lines.append(f"{format_count(changed.kept, 'piece')} cut already {stay} good")
    lines += [
        f"To cut: {quantity} × {piece.name},"
        f" {format_size(piece.width, piece.height, unit)}, {paper}"
        for piece, paper, quantity in changed.to_cut
    ]
    lines += [
        f"Spare now: {row.quantity} × {row.spare.name}, {row.paper}, {row.spare.label}"
        for row in changed.spare
    ]
    return lines


def change_entry_words(entry: OrderChange) -> str:
    """Say what an entry of an order's history changed, when, and who did it."""
    from inventory.documents.text.times import local_time

    by = f", by {entry.by}" if entry.by else ""
    if entry.before is None:
        return f"taken {local_time(entry.at)}{by}"
    return f"{local_time(entry.at)}{by}: {', '.join(what_changed(entry.before, entry.after))}"


def spare_list(session: Session) -> tuple[Listing[SpareRow], list[SpareRow]]:
    """Return the spare pieces that are there."""
    unit = get_shop(session).unit
    listing: Listing[SpareRow] = Listing(
        title="Spare pieces",
        columns=(
            Column("Label", "label", lambda row: row.spare.label),
            Column("Piece", "piece", lambda row: row.spare.name),
            Column("Paper", "paper", lambda row: row.paper),
            Column("Size", cell=lambda row: format_size(row.piece.width, row.piece.height, unit)),
            Column(key="width", value=lambda row: to_mm_number(row.piece.width)),
            Column(key="height", value=lambda row: to_mm_number(row.piece.height)),
            Column("Amount", "quantity", lambda row: row.quantity, right=True),
            Column("Place", "place", lambda row: row.place),
        ),
        empty="No spare pieces.",
    )
    return listing, list_spare_pieces(session)
