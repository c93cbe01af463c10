"""What the shop calculates costs with, as a list for people and plain data for programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.core.money import format_money
from inventory.core.text import format_count
from inventory.costs.rates import assembly_times, consumables, quote_days, rates_of, written_endings
from inventory.database.tables.enums import ConsumableUnit
from inventory.shop.settings import get_shop
from inventory.views.listing import Column, Listing
from nester.core.lengths import Unit, format_size, to_mm_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from decimal import Decimal
    from fractions import Fraction

    from sqlalchemy.orm import Session

    from inventory.costs.costing import Rates
    from inventory.costs.rates import ConsumableRow

__all__ = ["RATES", "RateRow", "ShopRates", "rate_rows", "rates_as_json", "shop_rates"]


@dataclass(frozen=True)
class ShopRates:
    """All that the shop calculates costs with.

    Attributes
    ----------
    assembly_minutes
        To assemble one of a design, by its name, where it is set.
    endings
        How prices may end, as they were written.
    quote_days
        How long an offer is valid.
    """

    rates: Rates
    consumables: tuple[ConsumableRow, ...]
    assembly_minutes: Mapping[str, Decimal]
    endings: tuple[str, ...]
    quote_days: int
    unit: Unit


def shop_rates(session: Session) -> ShopRates:
    """Return all that the shop calculates costs with."""
    return ShopRates(
        rates_of(session),
        tuple(consumables(session)),
        assembly_times(session),
        written_endings(session),
        quote_days(session),
        get_shop(session).unit,
    )


class RateRow(NamedTuple):
    """A thing that costs something, and how much, in words."""

    what: str
    amount: str


RATES: Listing[RateRow] = Listing(
    title="Costs",
    columns=(
        Column("What", cell=lambda row: row.what),
        Column("How much", cell=lambda row: row.amount, right=True),
    ),
    empty="Nothing is set.",
)

_PER = {
    ConsumableUnit.LENGTH: "per metre",
    ConsumableUnit.AREA: "per square metre",
    ConsumableUnit.COUNT: "each",
}


def rate_rows(known: ShopRates) -> list[RateRow]:
    """Return what the shop calculates costs with, line by line."""
    rates = known.rates

    def money(amount: Decimal | Fraction | None) -> str:
        return "not set" if amount is None else format_money(amount, rates.currency)

    def rows() -> Iterator[tuple[str, str]]:
        yield "An hour of work", money(rates.hour)
        yield "Assembling a piece", _number(rates.piece_minutes, "min")
        for name, minutes in known.assembly_minutes.items():
            yield f"Assembling {name}", _number(minutes, "min")
        yield "Packaging of a parcel", money(rates.packaging)
        yield "  its weight", _number(rates.packaging_grams, "g")
        yield "Wrapping of each box", money(rates.wrapping)
        yield "  its weight", _number(rates.wrapping_grams, "g")
        for consumable in known.consumables:
            source = f", from {consumable.supply}" if consumable.supply else ""
            weight = "" if consumable.grams is None else f", {_number(consumable.grams, 'g')}"
            yield (
                f"{consumable.name}, {_PER[consumable.per]}{source}",
                f"{money(consumable.price)}{weight}",
            )
        for band in rates.prints:
            yield (
                f"A print up to {format_size(band.width, band.height, known.unit)}",
                money(band.price),
            )
        yield "Other prints, per square metre", money(rates.print_area)
        for step in rates.postage:
            yield f"A parcel up to {_weight(step.grams)}", money(step.price)
        yield "Selling fee, of the price", _number(rates.fee, "%")
        yield "Selling fee, per sale", money(rates.fee_fixed)
        yield "Margin wanted, of the price", _number(rates.margin, "%")
        yield "Prices end in", " or ".join(known.endings) or "anything"
        yield "An offer is valid for", format_count(known.quote_days, "day")

    return [RateRow(*row) for row in rows()]


def _weight(grams: Decimal) -> str:
    return _number(grams / 1000, "kg") if grams >= 1000 else _number(grams, "g")


def _number(value: Decimal | None, unit: str) -> str:
    return "not set" if value is None else f"{value.normalize():f} {unit}"


def rates_as_json(known: ShopRates) -> dict[str, Any]:
    """Return what the shop calculates costs with as plain data; amounts are text."""
    rates = known.rates
    return {
        "currency": rates.currency,
        "hour": _text(rates.hour),
        "piece_minutes": _text(rates.piece_minutes),
        "design_minutes": {name: str(value) for name, value in known.assembly_minutes.items()},
        "packaging": str(rates.packaging),
        "packaging_grams": str(rates.packaging_grams),
        "wrapping": str(rates.wrapping),
        "wrapping_grams": str(rates.wrapping_grams),
        "fee_percent": str(rates.fee),
        "fee_fixed": str(rates.fee_fixed),
        "margin_percent": str(rates.margin),
        "endings": list(known.endings),
        "quote_days": known.quote_days,
        "consumables": [
            {
                "name": consumable.name,
                "per": str(consumable.per),
                "supply": consumable.supply,
                "price": None if consumable.price is None else round(float(consumable.price), 6),
                "grams": _text(consumable.grams),
            }
            for consumable in known.consumables
        ],
        "prints": [
            {
                "width": to_mm_number(band.width),
                "height": to_mm_number(band.height),
                "price": str(band.price),
            }
            for band in rates.prints
        ],
        "print_area": _text(rates.print_area),
        "postage": [{"grams": str(step.grams), "price": str(step.price)} for step in rates.postage],
    }


def _text(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount)
