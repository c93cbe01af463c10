"""What could be made from the stash, as a list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.documents.text.capacity import number_words
from inventory.views.listing import Column, Listing

if TYPE_CHECKING:
    from inventory.advice.capacity import DesignRequest
    from nester.packing.orders.most_copies import CopiesRange

__all__ = ["CAPACITY"]

CAPACITY: Listing[tuple[DesignRequest, CopiesRange]] = Listing(
    title="What could be made, either or",
    columns=(
        Column("Amount", cell=lambda row: number_words(row[1])),
        Column("Of", cell=lambda row: row[0].text),
        Column(key="design", value=lambda row: row[0].design),
        Column(key="sizes", value=lambda row: dict(row[0].sizes)),
        Column(key="at_least", value=lambda row: row[1].lower_bound),
        Column(key="at_most", value=lambda row: row[1].upper_bound),
        Column(key="proven", value=lambda row: row[1].is_optimal),
        Column(
            "What runs out first",
            "short",
            lambda row: list(row[1].limiting_papers),
            lambda row: ", ".join(row[1].limiting_papers),
        ),
    ),
    empty="No design was named.",
)
