"""What the shop calculates with: rates, prices of consumables and prints, minutes, postage.

`rates_of` gives all of it to `inventory.costs.costing`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple, TypedDict, Unpack, cast

from sqlalchemy import delete, func, select

from inventory.core.durations import read_minutes
from inventory.core.limits import HEAVIEST, LARGEST_PRINT, MAX_PRICE_SHARE
from inventory.core.money import parse_money, round_to_coin
from inventory.core.table_files import check_count, read_list
from inventory.core.text import clean_name, did_you_mean, fold, shorten, whole_number
from inventory.costs.costing import ConsumableCost, PostageBand, PrintCost, Rates
from inventory.costs.costing import read_ending as ending_of
from inventory.database.tables.costs import QUOTE_DAYS, AssemblyTime, ConsumableRate, CostRates
from inventory.database.tables.costs import PostageStep as PostageRow
from inventory.database.tables.costs import PrintPrice as PrintRow
from inventory.database.tables.enums import ConsumableUnit, Measure
from inventory.database.tables.supplies import Supply, SupplyItem, SupplyMovement
from inventory.orders.custom_designs import find_design
from inventory.production.pace import shop_pace
from inventory.shop.settings import get_shop
from inventory.stock import ledger
from inventory.stock.supplies import find_supply, read_measure
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, format_size
from nester.designs.base.design import Measure as Counted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from sqlalchemy.orm import Session

    from nester.core.lengths import Length, Unit

__all__ = [
    "GRAMS",
    "ConsumableRow",
    "RateChanges",
    "assembly_times",
    "consumables",
    "forget_consumable",
    "forget_print",
    "import_postage",
    "quote_days",
    "rates_of",
    "read_amount",
    "read_changes",
    "read_endings",
    "read_grams",
    "read_percent",
    "read_price",
    "read_spread",
    "set_assembly",
    "set_consumable",
    "set_print",
    "set_rates",
    "written_endings",
]

GRAMS = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "oz": Decimal("28.349523125"),
    "lb": Decimal("453.59237"),
}
"""Grams of a unit; the avoirdupois pound of 0.45359237 kg and its sixteenth part, exact (NIST
Special Publication 811, appendix B)."""

_NUMBER = r"[0-9]{1,9}(?:[.,][0-9]{1,4})?"
_WEIGHT = re.compile(rf"({_NUMBER})\s*(g|kg|oz|lb)?", re.IGNORECASE)
_PERCENT = re.compile(rf"({_NUMBER})\s*%?")
_WITH_CODE = re.compile(r"(.*[0-9.,]\s*)([A-Za-z]{3})")


# --- reading -----------------------------------------------------------------------------------


def read_amount(text: str, what: str, currency: str) -> Decimal:
    """Read an amount of money in the shop's currency, whose code may stand behind it.

    Raises
    ------
    Refusal
        If it can't be read (see `parse_money`) or is in another currency.
    """
    coded = _WITH_CODE.fullmatch(text.strip())
    if coded is None:
        return parse_money(text, what)
    if coded[2].upper() != currency:
        raise Refusal(
            f"{what} '{shorten(text)}' is in {coded[2].upper()}, but the shop counts in {currency};"
            " give it in that"
        )
    return parse_money(coded[1], what)


def _decimal(match: re.Match[str]) -> Decimal:
    return Decimal(match[1].replace(",", "."))


def read_percent(text: str, what: str) -> Decimal:
    """Read a share in percent: ``6.5%``, ``6,5 %`` or ``6.5``.

    Raises
    ------
    Refusal
        If it can't be read, or would leave nothing of the price.
    """
    match = _PERCENT.fullmatch(text.strip())
    if match is None:
        raise Refusal(f"{what} must be a number of percent such as 6.5 %, not '{shorten(text)}'")
    percent = _decimal(match)
    if percent >= MAX_PRICE_SHARE:
        raise Refusal(
            f"{what} of {percent.normalize():f} % leaves too little of the price; it must be below"
            f" {MAX_PRICE_SHARE} %"
        )
    return percent


def read_grams(text: str, what: str) -> Decimal:
    """Read a weight: ``350``, ``350 g``, ``1.2 kg``, ``6 oz``, ``1 lb``; a bare number is in grams.

    Raises
    ------
    Refusal
        If it can't be read, or is more than 1,000 kg.
    """
    match = _WEIGHT.fullmatch(text.strip())
    if match is None:
        raise Refusal(f"{what} must be a weight such as 350 g or 1.2 kg, not '{shorten(text)}'")
    grams = _decimal(match) * GRAMS[(match[2] or "g").casefold()]
    if grams > HEAVIEST:
        raise Refusal(f"{what} '{shorten(text)}' is more than 1,000 kg")
    return grams


def read_endings(texts: Sequence[str], currency: str) -> str:
    """Read how a price may end, ``any`` alone for any way, in the form in which it is kept.

    Raises
    ------
    Refusal
        If no price can end that way.
    """
    written = [text.strip().replace(",", ".") for text in texts]
    if [text.casefold() for text in written] == ["any"]:
        return ""
    for text in written:
        ending_of(text, currency)
    return " ".join(dict.fromkeys(written))


# --- what is set once --------------------------------------------------------------------------


class RateChanges(TypedDict, total=False):
    """What may be changed at once; see `inventory.database.tables.costs.CostRates`."""

    hour: Decimal
    piece_minutes: Decimal
    packaging: Decimal
    packaging_grams: Decimal
    wrapping: Decimal
    wrapping_grams: Decimal
    fee: Decimal
    fee_fixed: Decimal
    margin: Decimal
    print_area: Decimal
    endings: str
    quote_days: int


def read_changes(texts: Mapping[str, str], currency: str) -> RateChanges:
    """Read what is to be changed, for `set_rates`.

    Parameters
    ----------
    texts
        By the names of `RateChanges`; several endings of a price stand with blanks between them.
    currency
        The shop's.

    Raises
    ------
    Refusal
        If one of them can't be read.
    """

    def amount(what: str) -> Callable[[str], object]:
        return lambda text: read_amount(text, what, currency)

    readers: dict[str, Callable[[str], object]] = {
        "hour": amount("the rate an hour"),
        "piece_minutes": lambda text: read_minutes(text, "the time a piece takes"),
        "packaging": amount("the packaging"),
        "packaging_grams": lambda text: read_grams(text, "the packaging's weight"),
        "wrapping": amount("the wrapping"),
        "wrapping_grams": lambda text: read_grams(text, "the wrapping's weight"),
        "fee": lambda text: read_percent(text, "a fee"),
        "fee_fixed": amount("the fee of a sale"),
        "margin": lambda text: read_percent(text, "a margin"),
        "print_area": amount("a square metre of prints"),
        "endings": lambda text: read_endings(text.split(), currency),
        "quote_days": lambda text: check_count(text, 0),
    }
    changes = {name: readers[name](text) for name, text in texts.items()}
    return cast("RateChanges", changes)


def read_price(session: Session, text: str | None) -> Decimal | None:
    """Read what one copy is sold for, in whole coins of the shop's currency; None stays None.

    Raises
    ------
    Refusal
        If it can't be read, or paid in coins.
    """
    if text is None:
        return None
    currency = get_shop(session).currency
    price = read_amount(text, "the price", currency)
    if round_to_coin(price, currency) != price:
        raise Refusal(f"the price '{text.strip()}' can't be paid in whole coins of {currency}")
    return price


def read_spread(session: Session, supply: str | None, text: str | None) -> int | None:
    """Read how much of a supply a square metre takes; None stays None.

    Raises
    ------
    Refusal
        If it can't be read, or the supply is not named.
    """
    if text is None:
        return None
    if supply is None:
        raise Refusal("name the supply of which a square metre takes that much")
    return read_measure(find_supply(session, supply), text, get_shop(session).unit)


def set_rates(session: Session, **changes: Unpack[RateChanges]) -> None:
    """Change some of what the shop calculates with; the rest stays.

    Raises
    ------
    Refusal
        If fees and margin together would leave nothing that pays for the box.
    """
    row = session.get(CostRates, 1)
    if row is None:
        row = CostRates(fee=Decimal(0), margin=Decimal(0))
    for name, value in changes.items():
        setattr(row, name, value)
    if "quote_days" in changes:
        whole_number(changes["quote_days"], "the days an offer is valid", least=1, most=3650)
    if row.fee + row.margin >= MAX_PRICE_SHARE:
        raise Refusal(
            f"a fee of {row.fee.normalize():f} % and a margin of {row.margin.normalize():f} % leave"
            f" too little of the price; together they must be below {MAX_PRICE_SHARE} %"
        )
    session.add(row)
    session.flush()


def written_endings(session: Session) -> tuple[str, ...]:
    """Return how a price may end, as it was written; any way if there are none."""
    row = session.get(CostRates, 1)
    return () if row is None else tuple(row.endings.split())


def quote_days(session: Session) -> int:
    """Return how many days an offer is valid."""
    row = session.get(CostRates, 1)
    return QUOTE_DAYS if row is None else row.quote_days


# --- consumables -------------------------------------------------------------------------------


class ConsumableRow(NamedTuple):
    """What is known of a consumable.

    Attributes
    ----------
    supply
        The name of the supply it is taken from, if its price comes from there.
    price
        Of a metre, a square metre or one; None if it is not known.
    """

    name: str
    per: ConsumableUnit
    supply: str | None
    price: Fraction | None
    grams: Decimal | None


def set_consumable(
    session: Session,
    name: str,
    *,
    supply: str | None = None,
    spread: int | None = None,
    price: Decimal | None = None,
    per: ConsumableUnit | None = None,
    grams: Decimal | None = None,
) -> ConsumableRate:
    """Set what a consumable costs, what it weighs, or both; the rest stays.

    Parameters
    ----------
    name
        As designs call it: ``ribbon``, ``adhesive``, ``eyelet``.
    supply
        The supply it is taken from, whose price as it was last paid counts.
    spread
        How much of the supply a square metre takes, in the smallest parts of its measure.
    price
        Instead of a supply: of a metre, a square metre or one.
    per
        For which of these; needed unless the supply settles it, or it is known already.

    Raises
    ------
    Refusal
        If both a supply and a price are given, or it is not clear what the price is for.
    """
    called = clean_name(name, "the consumable's name")
    row = session.scalar(select(ConsumableRate).where(ConsumableRate.name_key == fold(called)))
    if row is None:
        row = ConsumableRate(name=called)
    before = row.per
    if supply is not None and price is not None:
        raise Refusal("give a price or the supply it is taken from, not both")
    if supply is None and spread is not None:
        raise Refusal("to say how much a square metre takes, name the supply it is taken from too")
    if supply is not None:
        found = find_supply(session, supply)
        _link_supply(row, found, spread, per)
    elif price is not None:
        row.supply, row.spread, row.price = None, None, price
        row.per = _per_of(row, per)
    elif per is not None and per is not row.per:
        if row.supply is not None or row.price is not None:
            raise Refusal(f"the price of {called} is for another measure; give it again too")
        row.per = per
    if grams is not None:
        row.grams = grams
        row.per = _per_of(row, None)
    elif row.grams is not None and row.per is not before:
        raise Refusal(f"the weight of {called} is for another measure; give it again too")
    session.add(row)
    session.flush()
    return row


def _per_of(row: ConsumableRate, given: ConsumableUnit | None) -> ConsumableUnit:
    known = given or row.per
    if known is None:
        raise Refusal(
            f"say what the price is for: {', '.join(ConsumableUnit)} (a metre, a square metre, or"
            " one)"
        )
    return known


def _link_supply(
    row: ConsumableRate, supply: Supply, spread: int | None, per: ConsumableUnit | None
) -> None:
    """Take a consumable's price from a supply, by the measure that the two have in common."""
    own = {Measure.REEL: ConsumableUnit.LENGTH, Measure.COUNT: ConsumableUnit.COUNT}.get(
        supply.measure
    )
    chosen = ConsumableUnit.AREA if spread is not None else per or own
    if chosen is None or (chosen is ConsumableUnit.AREA and spread is None):
        raise Refusal(
            f"say how much of {supply.name} a square metre takes, such as 150 {supply.unit}"
        )
    if chosen is not ConsumableUnit.AREA and chosen is not own:
        raise Refusal(
            f"{supply.name} is kept by {supply.measure}, which gives no price by {chosen}; give a"
            " price instead"
        )
    row.supply, row.per, row.spread, row.price = supply, chosen, spread, None


def forget_consumable(session: Session, name: str) -> None:
    """Forget what a consumable costs and weighs.

    Raises
    ------
    Refusal
        If nothing is known of it.
    """
    row = session.scalar(select(ConsumableRate).where(ConsumableRate.name_key == fold(name)))
    if row is None:
        known = session.scalars(select(ConsumableRate.name)).all()
        raise Refusal(f"nothing is set for '{shorten(name)}'{did_you_mean(name, known)}")
    session.delete(row)
    session.flush()


def consumables(session: Session) -> list[ConsumableRow]:
    """Return what is known of each consumable, by name."""
    rows = session.scalars(select(ConsumableRate).order_by(ConsumableRate.name_key))
    return [
        ConsumableRow(
            row.name,
            row.per,
            None if row.supply is None else row.supply.name,
            _price_of(session, row),
            row.grams,
        )
        for row in rows
    ]


def _price_of(session: Session, row: ConsumableRate) -> Fraction | None:
    """Return what a metre, a square metre or one costs, as the row says which."""
    if row.supply is None:
        return None if row.price is None else Fraction(row.price)
    part = _last_purchase_price(session, row.supply)
    if part is None:
        return None
    if row.per is ConsumableUnit.AREA:
        return part * (row.spread or 0)
    return part * (1000 * UNITS_PER_MM if row.per is ConsumableUnit.LENGTH else 1)


def _last_purchase_price(session: Session, supply: Supply) -> Fraction | None:
    """Return what the smallest part cost when the supply was last bought at a known price."""
    first = (
        select(func.min(SupplyMovement.id))
        .where(SupplyMovement.transaction_id.not_in(ledger.reversed_transactions()))
        .group_by(SupplyMovement.item_id)
    )
    newest = session.execute(
        select(SupplyItem.price, SupplyMovement.change)
        .join(SupplyMovement, SupplyMovement.item_id == SupplyItem.id)
        .where(SupplyItem.supply_id == supply.id, SupplyItem.price.is_not(None))
        .where(SupplyMovement.id.in_(first), SupplyMovement.change > 0)
        .order_by(SupplyItem.id.desc())
        .limit(1)
    ).first()
    return None if newest is None or newest[0] is None else Fraction(newest[0]) / newest[1]


# --- prints, minutes, postage ------------------------------------------------------------------


def set_print(session: Session, size: tuple[Length, Length], price: Decimal) -> None:
    """Set what a print costs that fits into a size, turned or not.

    Raises
    ------
    Refusal
        If a side is longer than 5 m.
    """
    if max(size) > LARGEST_PRINT:
        raise Refusal("no print is longer than 5 m")
    row = _print_of(session, size)
    if row is None:
        row = PrintRow(width=min(size), height=max(size))
    row.price = price
    session.add(row)
    session.flush()


def forget_print(session: Session, size: tuple[Length, Length], unit: Unit) -> None:
    """Forget the price of a size of prints.

    Raises
    ------
    Refusal
        If there is none.
    """
    row = _print_of(session, size)
    if row is None:
        raise Refusal(f"there is no price for prints of {format_size(*size, unit)}")
    session.delete(row)
    session.flush()


def _print_of(session: Session, size: tuple[Length, Length]) -> PrintRow | None:
    return session.scalar(
        select(PrintRow).where(PrintRow.width == min(size), PrintRow.height == max(size))
    )


def set_assembly(session: Session, design: str, minutes: Decimal | None) -> str:
    """Set how long one box of a design takes to assemble; None: by the number of its pieces.

    Returns
    -------
    str
        The design's name.

    Raises
    ------
    Refusal
        If there is no such design.
    """
    name = find_design(session, design).name
    row = session.scalar(select(AssemblyTime).where(AssemblyTime.name_key == fold(name)))
    if minutes is None:
        if row is not None:
            session.delete(row)
    elif row is None:
        session.add(AssemblyTime(name=name, minutes=minutes))
    else:
        row.minutes = minutes
    session.flush()
    return name


def assembly_times(session: Session) -> dict[str, Decimal]:
    """Return the minutes that a box of each design takes, where they are set."""
    rows = session.scalars(select(AssemblyTime).order_by(AssemblyTime.name_key))
    return {row.name: row.minutes for row in rows}


def import_postage(session: Session, path: Path) -> int:
    """Read the table of postage from a list, in place of the one before.

    Parameters
    ----------
    path
        Columns weight (of the heaviest parcel sent at the price) and price.

    Returns
    -------
    int
        How many weights it has.

    Raises
    ------
    Refusal
        If a line is wrong; then the table stays as it was.
    """
    currency = get_shop(session).currency
    steps: dict[Decimal, tuple[int, Decimal]] = {}
    for line in read_list(path, ("weight", "price")):
        grams = line.read("weight", lambda text: read_grams(text, "the weight"))
        price = line.read("price", lambda text: read_amount(text, "the price", currency))
        if not grams:
            line.refuse("weight", "no parcel weighs nothing")
        if grams in steps:
            line.refuse("weight", f"this weight stands in line {steps[grams][0]} already")
        steps[grams] = (line.line, price)
    session.execute(delete(PostageRow))
    session.add_all(
        PostageRow(grams=grams, price=price) for grams, (_, price) in sorted(steps.items())
    )
    session.flush()
    return len(steps)


# --- all of it ---------------------------------------------------------------------------------


def rates_of(session: Session) -> Rates:
    """Return all that the shop calculates with."""
    row = session.get(CostRates, 1)
    currency = get_shop(session).currency
    prints = session.scalars(select(PrintRow).order_by(PrintRow.id))
    bands = [PostageBand(step.grams, step.price) for step in session.scalars(select(PostageRow))]
    rates = Rates(
        currency,
        pace=shop_pace(session),
        design_minutes=assembly_times(session),
        supplies={
            (fold(rate.name), Counted(rate.per)): ConsumableCost(
                rate.price, None if rate.grams is None else Fraction(rate.grams)
            )
            for rate in consumables(session)
        },
        prints=tuple(PrintCost(size.width, size.height, size.price) for size in prints),
        postage=tuple(sorted(bands)),
    )
    if row is None:
        return rates
    return replace(
        rates,
        hour=row.hour,
        piece_minutes=row.piece_minutes,
        packaging=row.packaging,
        packaging_grams=row.packaging_grams,
        wrapping=row.wrapping,
        wrapping_grams=row.wrapping_grams,
        fee=row.fee,
        fee_fixed=row.fee_fixed,
        margin=row.margin,
        endings=tuple(ending_of(text, currency) for text in row.endings.split()),
        print_area=row.print_area,
    )
