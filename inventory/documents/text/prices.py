"""What a price list changes, in words."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from inventory.core.text import format_count
from inventory.purchasing.prices import PriceChangeKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.purchasing.prices import ParsedPriceList, PriceChange

__all__ = ["change_kind_words", "pack_words", "price_list_words"]

_KIND_WORDS = {
    PriceChangeKind.NEW: "new",
    PriceChangeKind.DEARER: "price up",
    PriceChangeKind.CHEAPER: "price down",
    PriceChangeKind.OTHER: "other terms",
    PriceChangeKind.ENDED: "no longer sold",
}


def change_kind_words(change: PriceChange) -> str:
    """Say how a price changed: ``price up``."""
    return _KIND_WORDS[change.kind]


def pack_words(sheets: int, least: int) -> str:
    """Say how many sheets a pack has, and how many packs it takes: ``25, from 4 packs``."""
    return f"{sheets:,}" if least == 1 else f"{sheets:,}, from {format_count(least, 'pack')}"


def price_list_words(
    prices: ParsedPriceList, changes: Sequence[PriceChange], new_suppliers: Sequence[str]
) -> list[str]:
    """Say how many lines a list has, what they change, and which suppliers are new."""
    total = sum(map(len, prices.lines.values()))
    kinds = Counter(change_kind_words(change) for change in changes)
    counted = ", ".join(f"{number:,} {words}" for words, number in sorted(kinds.items()))
    sentences = [f"Read {format_count(total, 'line')}: {counted or 'nothing has changed'}."]
    if prices.skipped_lines:
        skipped = format_count(prices.skipped_lines, "line")
        sentences.append(f"Left out {skipped} of papers you don't have.")
    return sentences + [f"'{name}' is a new supplier." for name in new_suppliers]
