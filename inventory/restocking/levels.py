"""Reorder levels: what counts towards each, and how many sheets fill those that are low.

Sheets on hand that no batch reserves count, and so do those on their way.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple, Protocol

from inventory.purchasing.prices import SizeKey, size_key
from inventory.purchasing.reorder_levels import is_low, level_key, list_levels

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from sqlalchemy.orm import Session

    from inventory.database.tables.stock import Paper
    from inventory.purchasing.prices import ListedPack
    from inventory.purchasing.purchases import ScheduledReceipt
    from inventory.stock.listing import StashRow

__all__ = [
    "Level",
    "LevelToFill",
    "PaperSize",
    "levels_to_fill",
    "paper_size",
    "read_levels",
    "sheets_available",
]

PaperSize = tuple[str, SizeKey]
"""A paper, and what is equal for equal sizes of it."""


class _Sheets(Protocol):
    @property
    def paper(self) -> str: ...
    @property
    def width(self) -> int: ...
    @property
    def height(self) -> int: ...


def paper_size(papers: Mapping[str, Paper], sheets: _Sheets) -> PaperSize:
    """Return a paper and size as a key; `papers` are all papers of the shop by name."""
    return sheets.paper, size_key(papers[sheets.paper], (sheets.width, sheets.height))


class Level(NamedTuple):
    """A level that is set.

    Attributes
    ----------
    size
        The size whose sheets count towards it; None: those of all sizes.
    fill_size
        The size that is bought to fill it; None if none is known.
    """

    paper: str
    size: SizeKey | None
    fill_size: SizeKey | None
    reorder_point: int
    target: int

    def counts(self, sheets: Mapping[PaperSize, int]) -> int:
        """Return how many of some sheets count towards it."""
        if self.size is None:
            return sum(number for (paper, _), number in sheets.items() if paper == self.paper)
        return sheets.get((self.paper, self.size), 0)

    def is_low(self, sheets: Mapping[PaperSize, int]) -> bool:
        """Tell whether it is low when there are these sheets."""
        return is_low(self.counts(sheets), self.reorder_point, self.target)


class LevelToFill(NamedTuple):
    """A level to fill: how many sheets of it are there, up to its target, and how many are not."""

    level: Level
    on_hand: int
    shortfall: int


def read_levels(
    session: Session,
    papers: Mapping[str, Paper],
    listed: Iterable[ListedPack],
    known: Collection[PaperSize] = (),
) -> list[Level]:
    """Return the levels set, those of one size first.

    Parameters
    ----------
    listed
        What is on offer: a level for all sizes is filled in the one that is cheapest by its area.
    known
        Sizes the shop had before, for papers that nobody offers: the first of the paper is taken.
    """
    area_prices: dict[PaperSize, Fraction] = {}
    for pack in listed:
        key, area_price = paper_size(papers, pack), pack.sheet_price / (pack.width * pack.height)
        area_prices[key] = min(area_price, area_prices.get(key, area_price))

    def usual_size(paper: str) -> SizeKey | None:
        offered = [key for key in area_prices if key[0] == paper]
        if offered:
            return min(offered, key=lambda key: (area_prices[key], key))[1]
        return next((size for name, size in known if name == paper), None)

    levels = []
    # What is bought for a level of one size counts towards that for all sizes, so these come last.
    for level in sorted(list_levels(session), key=lambda level: level_key(level) is None):
        size = level_key(level)
        fill_size = usual_size(level.paper.name) if size is None else size
        levels.append(Level(level.paper.name, size, fill_size, level.reorder, level.target))
    return levels


def sheets_available(
    papers: Mapping[str, Paper],
    sheets: Iterable[StashRow],
    taken: Mapping[str, int],
    receipts: Iterable[ScheduledReceipt],
) -> Counter[PaperSize]:
    """Return how many sheets are on hand and not taken, by label, or on their way."""
    available: Counter[PaperSize] = Counter()
    for row in sheets:
        available[paper_size(papers, row)] += max(0, row.quantity - taken.get(row.label, 0))
    for receipt in receipts:
        available[paper_size(papers, receipt)] += receipt.sheets
    return available


def levels_to_fill(
    levels: Iterable[Level],
    available: Mapping[PaperSize, int],
    getting_low: Collection[Level] = (),
) -> list[LevelToFill]:
    """Return the levels that are low, and those known to get low, in the order of `levels`."""
    sheets = Counter(available)
    found = []
    for level in levels:
        if level not in getting_low and not level.is_low(sheets):
            continue
        on_hand = level.counts(sheets)
        shortfall = max(0, level.target - on_hand)
        found.append(LevelToFill(level, min(on_hand, level.target), shortfall))
        if level.fill_size is not None:
            sheets[level.paper, level.fill_size] += shortfall
    return found
