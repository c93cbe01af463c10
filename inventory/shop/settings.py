"""The shop's own settings: unit, currency, trimmer, gap, grain."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.core.limits import MOST_STAGES
from inventory.core.measures import read_distance
from inventory.core.text import choice, clean_name, whole_number
from inventory.database.tables.ledger import Movement
from inventory.database.tables.orders import Order
from inventory.database.tables.shop import Shop
from inventory.database.tables.stock import Paper
from nester.core.errors import Refusal
from nester.core.lengths import MAX_LENGTH, Length, Unit

if TYPE_CHECKING:
    from nester.core.problem import Trimmer

__all__ = [
    "change_shop",
    "changed_trimmer",
    "check_trimmer",
    "get_shop",
    "record_counts",
]


def get_shop(session: Session) -> Shop:
    """Return the shop itself: its unit, its currency and its rules."""
    return session.get_one(Shop, 1)


def record_counts(session: Session) -> tuple[int, int, int]:
    """Return how many papers the book has, how many sheets and offcuts, and how many orders."""
    papers, stock, orders = (
        session.scalars(select(number)).one() or 0
        for number in (func.count(Paper.id), func.sum(Movement.change), func.count(Order.id))
    )
    return papers, int(stock), orders


def change_shop(
    session: Session,
    *,
    name: str | None = None,
    unit: Unit | str | None = None,
    smallest_offcut: Length | None = None,
    offcut_worth: int | None = None,
    gap: Length | None = None,
    trimmer: Trimmer | None = None,
    follow_grain: bool | None = None,
    making_days: int | None = None,
) -> Shop:
    """Change what is given and leave the rest; stored lengths and orders keep their sizes.

    Parameters
    ----------
    smallest_offcut
        Short side of the smallest offcut worth keeping, in fine units.
    offcut_worth
        0 to 100 percent.
    gap
        How far apart two pieces are at least, across or down, in fine units.
    trimmer
        What the trimmer can do, all of it.
    follow_grain
        Whether pieces that wish for a grain follow it, where it is known.
    making_days
        How many days before an order is due its paper must be there, 0 to 365.

    Raises
    ------
    Refusal
        If one of them can't be so.
    """
    changes: dict[str, Any] = {}
    if name is not None:
        changes["name"] = clean_name(name, "the shop's name")
    if unit is not None:
        changes["unit"] = choice(Unit, unit, "the shop's unit")
    if smallest_offcut is not None:
        if not 0 < smallest_offcut <= MAX_LENGTH:
            raise Refusal("the smallest offcut must be more than zero and at most 10 m")
        changes["smallest_offcut"] = smallest_offcut
    if offcut_worth is not None:
        changes["offcut_worth"] = whole_number(offcut_worth, "the worth of an offcut", most=100)
    if gap is not None:
        changes["gap"] = _check_distance(gap, "the gap between pieces")
    if trimmer is not None:
        check_trimmer(trimmer)
        changes |= asdict(trimmer)
    if follow_grain is not None:
        changes["follow_grain"] = follow_grain
    if making_days is not None:
        changes["making_days"] = whole_number(making_days, "the days to make an order", most=365)
    shop = get_shop(session)
    for key, value in changes.items():
        setattr(shop, key, value)
    return shop


def _check_distance(length: Length, what: str, least: Length = 0) -> Length:
    if not least <= length <= MAX_LENGTH:
        least_words = "more than zero" if least else "zero or more"
        raise Refusal(f"{what} must be {least_words} and at most 10 m")
    return length


def check_trimmer(trimmer: Trimmer) -> None:
    """Refuse what no trimmer can do.

    Raises
    ------
    Refusal
        If its longest cut is nothing, a strip is less than nothing, or there are no stages.
    """
    if trimmer.longest_cut is not None:
        _check_distance(trimmer.longest_cut, "the trimmer's longest cut", 1)
    _check_distance(trimmer.smallest_strip, "the smallest strip it can hold")
    if trimmer.stages is not None:
        whole_number(trimmer.stages, "the stages of cutting", least=1, most=MOST_STAGES)


def changed_trimmer(
    known: Trimmer, unit: Unit, longest: str | None, strip: str | None, stages: str | None
) -> Trimmer:
    """Return a trimmer with what was said of it changed, the rest as it was.

    Parameters
    ----------
    unit
        The unit of bare numbers.
    longest, strip
        Lengths; ``any`` if no cut is too long.
    stages
        A whole number, or ``any``.

    Raises
    ------
    Refusal
        If one of them can't be read, or no trimmer can do so.
    """
    from inventory.core.table_files import check_count

    if longest is not None:
        cut = None
        if longest.strip().casefold() != "any":
            cut = read_distance(longest, unit, "the trimmer's longest cut")
        known = replace(known, longest_cut=cut)
    if strip is not None:
        known = replace(
            known, smallest_strip=read_distance(strip, unit, "the smallest strip it can hold")
        )
    if stages is not None:
        number = None
        if stages.strip().casefold() != "any":
            try:
                number = check_count(stages)
            except Refusal as why:
                raise Refusal(f"the stages of cutting: {why}; or write 'any'") from None
        known = replace(known, stages=number)
    check_trimmer(known)
    return known
