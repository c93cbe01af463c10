"""Supplies: ribbon on reels, adhesive, eyelets; what comes, what batches use, what is counted.

They are booked as paper is: only ever by movements, each a part of a transaction.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import func, select

from inventory.core.limits import LONGEST_REEL, MOST_PARTS
from inventory.core.money import check_amount
from inventory.core.text import (
    choice,
    clean_name,
    clean_note,
    fold,
    shorten,
    whole_number,
)
from inventory.database.tables.enums import Measure, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.supplies import Supply, SupplyItem, SupplyMovement
from inventory.stock import ledger
from inventory.stock.lookup import find_named, get_batch
from inventory.stock.places import PlaceTree, get_or_add_place
from inventory.stock.receiving import delivery_of
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_INCH, UNITS_PER_MM, Unit, format_length, mm, parse_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from nester.core.lengths import Length
    from nester.packing.one_dimensional import ReelPattern, ReelPlan

__all__ = [
    "SHORTEST_RIBBON",
    "SupplyHistoryRow",
    "SupplyRow",
    "add_supply",
    "count_supply",
    "find_item",
    "find_supply",
    "format_measure",
    "list_supplies",
    "plan_lengths",
    "read_lengths",
    "read_measure",
    "receive_supply",
    "supply_history",
    "use_lengths",
    "use_supply",
]

SHORTEST_RIBBON: Length = mm(200)
"""An end of ribbon shorter than this is waste (common practice, no source)."""

_PARTS = 1000
_REEL_LENGTH = re.compile(r"([0-9]{1,4}(?:[.,][0-9]{1,4})?)\s*(m|yd)")
_REEL_UNITS = {"m": 1000 * UNITS_PER_MM, "yd": 36 * UNITS_PER_INCH}
_AMOUNT = re.compile(r"([0-9]{1,7})(?:[.,]([0-9]{1,3}))?")


class SupplyRow(NamedTuple):
    """A reel or pack, and how much is left on it, in the smallest parts of its measure."""

    label: str
    supply: str
    measure: Measure
    unit: str
    remaining: int
    price: Decimal | None
    place: str | None
    lot: str


class SupplyHistoryRow(NamedTuple):
    """One movement of a reel or pack, and how much there was after it."""

    label: str
    at: datetime
    change: int
    balance: int
    reason: Reason
    batch: int | None
    transaction: int
    note: str


def add_supply(
    session: Session, name: str, measure: Measure | str, *, unit: str = "", note: str = ""
) -> Supply:
    """Add a supply to the book.

    Parameters
    ----------
    measure
        ``reel`` (by length), ``count`` (by the piece) or ``amount`` (by weight or volume).
    unit
        Of an amount: ``ml``, ``g``.

    Raises
    ------
    Refusal
        If the name is taken, an amount has no unit, or something can't be so.
    """
    known = choice(Measure, measure, "the measure")
    supply = Supply(
        name=clean_name(name, "the supply's name"),
        measure=known,
        unit=_unit(unit, known),
        note=clean_note(note),
    )
    taken = session.scalar(select(Supply.name).where(Supply.name_key == supply.name_key))
    if taken is not None:
        raise Refusal(f"there is a supply '{taken}' already; give the new one another name")
    session.add(supply)
    session.flush()
    return supply


def _unit(unit: str, measure: Measure) -> str:
    if measure is Measure.AMOUNT:
        written = clean_name(unit, "the unit of the amount, such as ml or g,")
        if len(written) > 20:
            raise Refusal(f"the unit '{shorten(written)}' is too long; write ml or g")
        return written
    if unit.strip():
        raise Refusal("only an amount has a unit of its own; reels are in lengths")
    return ""


def find_supply(session: Session, name: str) -> Supply:
    """Return the supply of that name, in capitals or not.

    Raises
    ------
    Refusal
        If there is none; names much like it are offered.
    """
    return find_named(session, Supply, name)


def find_item(session: Session, label: str) -> SupplyItem:
    """Return the reel or pack of that label.

    Raises
    ------
    Refusal
        If there is none.
    """
    item = session.scalar(select(SupplyItem).where(SupplyItem.label == fold(label).upper()))
    if item is None:
        raise Refusal(
            f"no supply has the label '{shorten(label)}'; reels have labels like R-1, packs like"
            " P-1"
        )
    return item


# --- amounts -----------------------------------------------------------------------------------


def read_measure(supply: Supply, text: str, unit: Unit, least: int = 1) -> int:
    """Read how much of a supply is meant, in the smallest parts of its measure.

    Parameters
    ----------
    text
        A length for reels (``10m``, ``60 cm``, or in the shop's unit), a whole number of pieces,
        or an amount to the third decimal in the supply's unit (``2.5``).

    Raises
    ------
    Refusal
        If it can't be read, or is less than `least`.
    """
    what = f"how much of {supply.name}"
    if supply.measure is Measure.REEL:
        return _check_parts(_ribbon_length(text, unit), what, least, LONGEST_REEL)
    if supply.measure is Measure.COUNT:
        if not re.fullmatch(r"\s*[0-9]{1,9}\s*", text):
            raise Refusal(f"{what} must be a whole number of pieces, not '{shorten(text)}'")
        return whole_number(int(text), what, least=least)
    written = text.strip().removesuffix(supply.unit).strip()
    match = _AMOUNT.fullmatch(written)
    if match is None:
        raise Refusal(f"{what} must be an amount like 2.5 {supply.unit}, not '{shorten(text)}'")
    parts = int(match[1]) * _PARTS + int((match[2] or "").ljust(3, "0"))
    return _check_parts(parts, what, least, MOST_PARTS)


def read_lengths(text: str, unit: Unit) -> tuple[Length, int]:
    """Read a length of ribbon and how many of it are cut: ``4x60cm``, ``35cm``.

    Raises
    ------
    Refusal
        If it can't be read.
    """
    from inventory.core.table_files import check_count

    number, times, length = text.casefold().replace("×", "x").partition("x")
    if not times:
        number, length = "1", text
    return parse_length(length, unit), check_count(number)


def _ribbon_length(text: str, unit: Unit) -> Length:
    """Read a length that may be longer than a sheet: metres and yards are for ribbon alone."""
    match = _REEL_LENGTH.fullmatch(text.strip().casefold())
    if match:
        parts = Fraction(match[1].replace(",", ".")) * _REEL_UNITS[match[2]]
        if parts.denominator != 1:
            raise Refusal(f"the length '{shorten(text)}' is finer than can be measured")
        return int(parts)
    return 0 if text.strip() == "0" else parse_length(text, unit)


def _check_parts(parts: int, what: str, least: int, most: int) -> int:
    if not least <= parts <= most:
        raise Refusal(f"{what} is too {'little' if parts < least else 'much'}")
    return parts


def format_measure(measure: Measure, parts: int, supply_unit: str, unit: Unit) -> str:
    """Write how much there is: ``940 cm``, ``120``, ``2.5 ml``."""
    if measure is Measure.REEL:
        return format_length(parts, unit)
    if measure is Measure.COUNT:
        return str(parts)
    return f"{(Decimal(parts) / _PARTS).normalize():f} {supply_unit}"


# --- changes -----------------------------------------------------------------------------------


def receive_supply(
    session: Session,
    name: str,
    much: int,
    *,
    items: int = 1,
    price: Decimal | None = None,
    place: str | None = None,
    lot: str = "",
    supplier: str = "",
    number: str = "",
    reason: Reason = Reason.RECEIVED,
    at: datetime | None = None,
) -> list[SupplyItem]:
    """Put reels, or packs, of a supply into the stash, each under its own label.

    Parameters
    ----------
    much
        On each, in the smallest parts of the measure (see `read_measure`).
    items
        How many reels or packs.
    price
        Of one reel or pack.

    Raises
    ------
    Refusal
        If there is no such supply, or something can't be so.
    """
    supply = find_supply(session, name)
    whole_number(items, "the number of reels or packs", least=1, most=1000)
    _check_parts(much, f"how much of {supply.name}", 1, max(LONGEST_REEL, MOST_PARTS))
    cost = None if price is None else check_amount(price, "the price")
    called = clean_name(lot, "the lot") if lot.strip() else ""
    delivery = delivery_of(session, supplier, number)
    where = get_or_add_place(session, place)
    transaction = ledger.book_transaction(session, reason, at=at, delivery=delivery)
    letter = "R" if supply.measure is Measure.REEL else "P"
    first = (session.scalar(select(func.max(SupplyItem.id))) or 0) + 1
    made = []
    for next_number in range(first, first + items):
        item = SupplyItem(
            id=next_number,
            supply=supply,
            label=f"{letter}-{next_number}",
            price=cost,
            place=where,
            lot=called,
        )
        session.add(item)
        session.flush()
        ledger.book_supply_movement(session, item, much, transaction)
        made.append(item)
    return made


def use_supply(
    session: Session, name: str, much: int, *, batch: int | None = None, why: str = ""
) -> list[tuple[SupplyItem, int]]:
    """Take pieces, or an amount, of a supply: from what came first, pack by pack.

    Parameters
    ----------
    batch
        The batch it is used for.

    Returns
    -------
    list of tuple
        How much was taken from which pack.

    Raises
    ------
    Refusal
        If there is no such supply or batch, it is on reels (see `use_lengths`), or not as much is
        there.
    """
    supply = find_supply(session, name)
    if supply.measure is Measure.REEL:
        raise Refusal(f"{supply.name} is on reels; say which lengths are cut from them")
    _check_parts(much, f"how much of {supply.name}", 1, MOST_PARTS)
    taken = []
    rest = much
    for item, left in _remaining_by_item(session, supply):
        share = min(rest, left)
        if share:
            taken.append((item, share))
            rest -= share
    if rest:
        there = format_measure(supply.measure, much - rest, supply.unit, Unit.MM)
        raise Refusal(f"there is only {there} of {supply.name}")
    transaction = _book_use(session, batch, why)
    for item, share in taken:
        ledger.book_supply_movement(session, item, -share, transaction)
    return taken


def _book_use(session: Session, batch: int | None, why: str) -> Transaction:
    used_for = None if batch is None else get_batch(session, batch)
    return ledger.book_transaction(session, Reason.USED, note=why, batch=used_for)


def _remaining_by_item(session: Session, supply: Supply) -> list[tuple[SupplyItem, int]]:
    """Return what is left on each reel or pack on which anything is, the oldest first."""
    left = func.sum(SupplyMovement.change)
    rows = session.execute(
        select(SupplyItem, left)
        .join(SupplyMovement, SupplyMovement.item_id == SupplyItem.id)
        .where(SupplyItem.supply_id == supply.id)
        .group_by(SupplyItem.id)
        .having(left > 0)
        .order_by(SupplyItem.id)
    )
    return [(item, int(much)) for item, much in rows]


@dataclass(frozen=True)
class _RibbonPlan:
    items: dict[str, SupplyItem]
    plan: ReelPlan


def plan_lengths(
    session: Session,
    name: str,
    lengths: Sequence[tuple[Length, int]],
    *,
    shortest: Length = SHORTEST_RIBBON,
) -> ReelPlan:
    """Choose from which reels lengths are cut, for the least waste; nothing is booked.

    Parameters
    ----------
    lengths
        Each with how many of it are wanted.
    shortest
        An end of a reel shorter than this is waste.

    Raises
    ------
    Refusal
        If there is no such supply, it is not on reels, or the reels can't give all of it.
    """
    return _plan_ribbon(session, name, lengths, shortest).plan


def _plan_ribbon(
    session: Session, name: str, lengths: Sequence[tuple[Length, int]], shortest: Length
) -> _RibbonPlan:
    from nester.packing.one_dimensional import Reel, cut_from_reels

    supply = find_supply(session, name)
    if supply.measure is not Measure.REEL:
        raise Refusal(f"{supply.name} is not on reels, so no lengths can be cut from it")
    if not lengths:
        raise Refusal(f"say which lengths of {supply.name} are cut")
    for length, quantity in lengths:
        _check_parts(length, "the length", 1, LONGEST_REEL)
        whole_number(quantity, "the number of lengths", least=1, most=10_000)
    left = _remaining_by_item(session, supply)
    items = {item.label: item for item, _ in left}
    reels = [Reel(item.label, much) for item, much in left]
    return _RibbonPlan(items, cut_from_reels(reels, lengths, shortest=shortest))


def use_lengths(
    session: Session,
    name: str,
    lengths: Sequence[tuple[Length, int]],
    *,
    shortest: Length = SHORTEST_RIBBON,
    batch: int | None = None,
    why: str = "",
) -> tuple[ReelPattern, ...]:
    """Cut lengths from the reels that leave the least waste, and book it.

    Parameters
    ----------
    lengths, shortest
        As of `plan_lengths`.
    batch
        The batch they are used for.

    Returns
    -------
    tuple of FromReel
        What is cut from each reel.

    Raises
    ------
    Refusal
        As of `plan_lengths`, or if there is no such batch.
    """
    ribbon = _plan_ribbon(session, name, lengths, shortest)
    transaction = _book_use(session, batch, why)
    for cut in ribbon.plan.cuts:
        ledger.book_supply_movement(
            session, ribbon.items[cut.reel.name], -sum(cut.lengths), transaction
        )
    return ribbon.plan.cuts


def count_supply(session: Session, label: str, much: int, why: str = "") -> int:
    """Book how much of a reel or pack was found; return the difference to the book.

    Raises
    ------
    Refusal
        If there is no such label, or it can't be that much.
    """
    item = find_item(session, label)
    _check_parts(much, f"how much of {item.label}", 0, max(LONGEST_REEL, MOST_PARTS))
    difference = much - ledger.supply_on_hand(session, item)
    transaction = ledger.book_transaction(session, Reason.COUNTED, note=why)
    if difference:
        ledger.book_supply_movement(session, item, difference, transaction)
    return difference


# --- looking -----------------------------------------------------------------------------------


def list_supplies(session: Session, *, include_empty: bool = False) -> list[SupplyRow]:
    """Return all reels and packs by supply, the oldest first."""
    left = func.coalesce(func.sum(SupplyMovement.change), 0)
    places = PlaceTree(session)
    rows = session.execute(
        select(SupplyItem, Supply, left)
        .join(Supply, SupplyItem.supply_id == Supply.id)
        .outerjoin(SupplyMovement, SupplyMovement.item_id == SupplyItem.id)
        .group_by(SupplyItem.id, Supply.id)
        .order_by(Supply.name_key, SupplyItem.id)
    )
    return [
        SupplyRow(
            item.label, supply.name, supply.measure, supply.unit, int(much), item.price,
            places.path(item.place_id), item.lot,
        )
        for item, supply, much in rows
        if much or include_empty
    ]  # fmt: skip


def supply_history(session: Session, name: str) -> list[SupplyHistoryRow]:
    """Return every movement of a supply, the first one first.

    Raises
    ------
    Refusal
        If there is no such supply.
    """
    supply = find_supply(session, name)
    lines = session.execute(
        select(SupplyMovement, SupplyItem.label, Transaction)
        .join(SupplyItem, SupplyMovement.item_id == SupplyItem.id)
        .join(Transaction, SupplyMovement.transaction_id == Transaction.id)
        .where(SupplyItem.supply_id == supply.id)
        .order_by(SupplyMovement.id)
    )
    rows: list[SupplyHistoryRow] = []
    after: dict[str, int] = {}
    for line, label, transaction in lines:
        after[label] = after.get(label, 0) + line.change
        rows.append(SupplyHistoryRow(
            label, transaction.at, line.change, after[label], transaction.reason,
            transaction.batch_id, transaction.id, transaction.note,
        ))  # fmt: skip
    return rows
