"""The shop in words: its rules, and whether its records are sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.core.text import format_count
from inventory.documents.text.rules import rules_words
from nester.core.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from inventory.database.tables.shop import Shop
    from inventory.maintenance.check import CheckReport

__all__ = ["check_words", "shop_words"]


def shop_words(shop: Shop, place: str, papers: int, stock: int, orders: int) -> Iterator[str]:
    """Yield a line for each of the shop's rules, and how much is in it.

    Parameters
    ----------
    place
        Its file, or where its database is.
    papers, stock, orders
        How many there are; `stock` counts sheets and offcuts.
    """
    yield shop.name
    yield place
    yield f"Unit {shop.unit}, currency {shop.currency}"
    smallest = format_length(shop.smallest_offcut, shop.unit)
    yield f"Offcuts are kept if their short side is at least {smallest}"
    yield f"An offcut counts at {shop.offcut_worth} % of its share of a sheet's price"
    yield from rules_words(shop.gap, shop.trimmer, shop.unit)
    follow = "follow" if shop.follow_grain else "need not follow"
    yield f"Pieces that need a grain {follow} it where it is known"
    days = format_count(shop.making_days, "day")
    yield f"The paper of an order must be there {days} before it is due"
    amounts = format_count(papers, "paper"), format_count(orders, "order")
    held = "1 sheet or offcut" if stock == 1 else f"{stock:,} sheets and offcuts"
    yield f"{amounts[0]}, {held}, {amounts[1]}"


def check_words(place: str, report: CheckReport) -> Iterator[str]:
    """Yield a line for each check, below it what it found, and a verdict."""
    from inventory.maintenance.check import CHECKS

    yield f"The shop in {place}:"
    faulty = {finding.check for finding in report.faults}
    for name, (proves, _) in CHECKS.items():
        verdict = "WRONG" if name in faulty else "right" if name in report.checks else "skipped"
        yield f"  {verdict:<8} {proves}"
        for finding in report.findings:
            if finding.check == name:
                yield f"           {finding.where}: {finding.message}"
    yield "Errors were found; restore a backup" if faulty else "No errors were found"
