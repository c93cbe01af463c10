"""What a box costs and what it is sold for: exact sums, shared out to the smallest coin.

Nothing here reads the shop (`inventory.costs.order_costs` does).  Amounts are exact fractions until
they are rounded together, so that the parts always sum to the whole.

Amounts are rounded together by largest remainders: each is rounded down to the smallest coin, and
the coins that are then missing go, one each, to the amounts that lost most (Alexander Hamilton's
method of apportionment, 1792; Hare's quota with largest remainders: M. L. Balinski and H. P. Young,
"Fair Representation", 2nd edition, Brookings 2001).  So no part is a whole coin off.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Generic, NamedTuple, TypeVar

from inventory.core.money import round_to_coin, smallest_coin
from inventory.core.text import fold, shorten
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, Length, area_m2
from nester.cutting import DEFAULT_PACE, Pace
from nester.designs.base.design import Measure

__all__ = [
    "ConsumableCost",
    "Cost",
    "CostCategory",
    "CostLine",
    "CostObject",
    "CostShare",
    "CutPiece",
    "CutSheet",
    "Parcels",
    "PostageBand",
    "PriceEnding",
    "PrintCost",
    "Rates",
    "SalePrice",
    "allocate_amount",
    "cost_of",
    "cost_shares",
    "parcels_for",
    "read_ending",
    "round_to_sum",
    "sale_price",
]

_Owner = TypeVar("_Owner", bound=Hashable)
_PER_METRE = 1000 * UNITS_PER_MM


# --- coins -------------------------------------------------------------------------------------


def round_to_sum(amounts: Sequence[Fraction | Decimal], currency: str) -> list[Decimal]:
    """Round amounts to the smallest coin so that they sum to their sum, rounded.

    The sum is rounded to the nearest coin, halves up (as Regulation (EC) No 1103/97, article 5,
    and ISO 80000-1, annex B, rule B have it); largest remainders, the first of equals first.

    Parameters
    ----------
    amounts
        Zero or more each.
    """
    coin = Fraction(smallest_coin(currency))
    exact = [Fraction(amount) / coin for amount in amounts]
    if any(amount < 0 for amount in exact):
        raise ValueError("only amounts of zero or more are rounded together")
    whole = int(Fraction(round_to_coin(sum(exact, Fraction(0)) * coin, currency)) / coin)
    coins = [int(amount) for amount in exact]
    # The coins still to be given go to the amounts that lost most by rounding down.
    by_loss = sorted(range(len(exact)), key=lambda index: coins[index] - exact[index])
    for index in by_loss[: whole - sum(coins)]:
        coins[index] += 1
    return [smallest_coin(currency) * number for number in coins]


def allocate_amount(
    whole: Decimal, weights: Sequence[Fraction | int], currency: str
) -> list[Decimal]:
    """Share an amount out by weights; the shares sum to it exactly.

    Parameters
    ----------
    whole
        A whole number of the smallest coins, zero or more.
    weights
        Zero or more each; if all are zero, all shares are equal.
    """
    if not weights:
        raise ValueError("there are no weights to share by")
    total = sum(weights, Fraction(0))
    exact = [
        Fraction(whole) * (Fraction(weight) / total if total else Fraction(1, len(weights)))
        for weight in weights
    ]
    return round_to_sum(exact, currency)


# --- paper -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CutPiece(Generic[_Owner]):
    """One piece on a sheet: whose it is, its area, and the length around its cut size."""

    owner: _Owner
    area: int
    edge: Length


@dataclass(frozen=True)
class CutSheet(Generic[_Owner]):
    """A sheet or offcut with what is cut from it, or several that are cut the same way.

    Attributes
    ----------
    price
        What using one sheet costs.
    kept
        What the offcuts kept of one sheet count.
    minutes
        To cut one sheet.
    """

    paper: str
    price: Fraction
    kept: Fraction
    minutes: Fraction
    pieces: tuple[CutPiece[_Owner], ...]
    copies: int = 1


@dataclass(frozen=True)
class CostShare:
    """What one owner pays for the sheets: by paper, the area of its pieces and what they cost."""

    areas: Mapping[str, int]
    costs: Mapping[str, Fraction]
    minutes: Fraction


def cost_shares(sheets: Iterable[CutSheet[_Owner]]) -> dict[_Owner, CostShare]:
    """Share sheets, and the time to cut them, among those whose pieces are on them.

    What a sheet costs, less what its kept offcuts count, is shared by the area of the pieces on
    it: so each pays for its own area and a fair part of the waste.  The time to cut a sheet is
    shared by the length around the pieces, as cuts run along their edges (common practice, no
    source).

    Returns
    -------
    dict
        By owner.  The shares sum to the prices less the offcuts, exactly.
    """
    areas: dict[_Owner, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    costs: dict[_Owner, dict[str, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    minutes: dict[_Owner, Fraction] = defaultdict(Fraction)
    for sheet in sheets:
        area_of: dict[_Owner, int] = defaultdict(int)
        edge_of: dict[_Owner, int] = defaultdict(int)
        for piece in sheet.pieces:
            area_of[piece.owner] += piece.area
            edge_of[piece.owner] += piece.edge
        area, edge = sum(area_of.values()), sum(edge_of.values())
        for owner, own_area in area_of.items():
            areas[owner][sheet.paper] += sheet.copies * own_area
            net_price = sheet.copies * (sheet.price - sheet.kept)
            costs[owner][sheet.paper] += net_price * Fraction(own_area, area)
            minutes[owner] += sheet.copies * sheet.minutes * Fraction(edge_of[owner], edge)
    return {
        owner: CostShare(dict(areas[owner]), dict(costs[owner]), minutes[owner]) for owner in areas
    }


# --- the shop's rates --------------------------------------------------------------------------


class ConsumableCost(NamedTuple):
    """What a metre, a square metre or one of a consumable costs, and what it weighs in grams."""

    price: Fraction | None
    grams: Fraction | None = None


class PrintCost(NamedTuple):
    """What a print costs that fits into a size, turned or not; fine units."""

    width: Length
    height: Length
    price: Decimal


class PostageBand(NamedTuple):
    """What a parcel up to a weight in grams costs."""

    grams: Decimal
    price: Decimal


class PriceEnding(NamedTuple):
    """How a price may end: ``coins`` left over from a whole number of ``every`` coins."""

    coins: int
    every: int


@dataclass(frozen=True)
class Rates:
    """What the shop calculates with; None is what is not set yet.

    Attributes
    ----------
    hour
        For an hour of work.
    pace
        How fast the shop cuts.
    piece_minutes, design_minutes
        Minutes to assemble a piece, or a box of a design where that is set.
    packaging, packaging_grams
        Of a parcel.
    wrapping, wrapping_grams
        Of each box in it.
    fee, fee_fixed
        What selling costs: percent of the whole price, postage included, and an amount a sale.
    margin
        Percent of the price that is to be left.
    endings
        How the price of one box may end; any way if there are none.
    supplies
        By the folded name of the consumable, and how it is measured.
    prints, print_area
        What a print costs by size, and a square metre of those that fit into no size.
    postage
        The lightest band first.
    """

    currency: str
    hour: Decimal | None = None
    pace: Pace = DEFAULT_PACE
    piece_minutes: Decimal | None = None
    design_minutes: Mapping[str, Decimal] = field(default_factory=dict)
    packaging: Decimal = Decimal(0)
    packaging_grams: Decimal = Decimal(0)
    wrapping: Decimal = Decimal(0)
    wrapping_grams: Decimal = Decimal(0)
    fee: Decimal = Decimal(0)
    fee_fixed: Decimal = Decimal(0)
    margin: Decimal = Decimal(0)
    endings: tuple[PriceEnding, ...] = ()
    supplies: Mapping[tuple[str, Measure], ConsumableCost] = field(default_factory=dict)
    prints: tuple[PrintCost, ...] = ()
    print_area: Decimal | None = None
    postage: tuple[PostageBand, ...] = ()


# --- the price ---------------------------------------------------------------------------------

_ENDING = re.compile(r"([0-9]{0,4})(?:[.,]([0-9]{1,4}))?")


def read_ending(text: str, currency: str) -> PriceEnding:
    """Read the last digits of a price: ``.95``, ``.00``, ``9.50``, ``80``.

    An ending without decimals stands for whole amounts: ``5`` is 5.00, 15.00 and so on in euros.

    Raises
    ------
    Refusal
        If it can't be read, or is finer than the smallest coin.
    """
    match = _ENDING.fullmatch(text.strip())
    if match is None or not (match[1] or match[2]):
        raise Refusal(
            f"'{shorten(text)}' is not how a price ends; write its last digits, such as .95 or"
            " 9.50, or 'any'"
        )
    per_unit = int(1 / smallest_coin(currency))
    digits = len(str(per_unit)) - 1
    decimals = (match[2] or "").rstrip("0")
    if len(decimals) > digits:
        raise Refusal(f"no price in {currency} can end in '{shorten(text)}'")
    every = per_unit * 10 ** len(match[1])
    coins = int(match[1] or 0) * per_unit + int(decimals.ljust(digits, "0") or 0)
    if every == 1:
        raise Refusal(f"no price in {currency} can end in '{shorten(text)}'")
    return PriceEnding(coins, every)


@dataclass(frozen=True)
class SalePrice:
    """A price and where it goes.

    Attributes
    ----------
    unit_price
        What one box is sold for.
    price
        For all of them; it is cost, fees and margin together.
    fees
        What selling takes of the price.
    margin
        What is left; less than zero if the price does not cover the cost.
    """

    unit_price: Decimal
    price: Decimal
    fees: Decimal
    margin: Decimal

    @property
    def margin_share(self) -> Fraction:
        """The margin as a part of the price; zero if there is no price."""
        return Fraction(self.margin) / Fraction(self.price) if self.price else Fraction(0)


def sale_price(cost: Decimal, copies: int, rates: Rates, each: Decimal | None = None) -> SalePrice:
    """Return the lowest price of a box at which the margin that is set is left, or more.

    Parameters
    ----------
    cost
        Of all copies together, in whole coins.
    each
        What one is sold for, if the maker has set that herself.
    """
    if each is not None:
        return _sale(each, cost, copies, rates)
    coin = smallest_coin(rates.currency)
    left = 1 - Fraction(rates.fee + rates.margin) / 100
    # Fees are rounded to the coin, so half a coin below the exact price may be enough already.
    least = (Fraction(cost) + Fraction(rates.fee_fixed) - Fraction(coin) / 2) / left / copies
    coins = max(0, -int(-least // Fraction(coin)))
    while True:
        coins = _next_ending(coins, rates.endings)
        sale = _sale(coin * coins, cost, copies, rates)
        if sale.margin * 100 >= sale.price * rates.margin:
            return sale
        coins += 1


def _next_ending(coins: int, endings: Sequence[PriceEnding]) -> int:
    """Return the lowest price, in coins, of `coins` or more that has an allowed ending."""
    return min((coins + (end.coins - coins) % end.every for end in endings), default=coins)


def _sale(each: Decimal, cost: Decimal, copies: int, rates: Rates) -> SalePrice:
    price = each * copies
    exact = Fraction(price) * Fraction(rates.fee) / 100 + Fraction(rates.fee_fixed)
    fees = round_to_coin(exact, rates.currency)
    return SalePrice(each, price, fees, price - fees - cost)


# --- the cost ----------------------------------------------------------------------------------


class CostCategory(StrEnum):
    """What a part of a cost is for."""

    PAPER = "paper"
    SUPPLIES = "supplies"
    PRINTS = "prints"
    CUTTING = "cutting"
    ASSEMBLING = "assembling"
    PACKAGING = "packaging"
    POSTAGE = "postage"


class CostLine(NamedTuple):
    """One part of a cost.

    Attributes
    ----------
    name
        Which paper, which consumable; empty where the category says it all.
    quantity, unit
        How much of it: ``m²``, ``m``, ``min``, ``g``, or ``×`` for a number.
    amount
        Whole coins.
    """

    category: CostCategory
    name: str
    quantity: Fraction
    unit: str
    amount: Decimal


@dataclass(frozen=True)
class Cost:
    """What some boxes cost, part by part, and what they are sold for.

    Attributes
    ----------
    grams
        What all of them weigh, packed, as far as that is known.
    minutes
        Of work.
    unknown
        A sentence for each thing that the cost leaves out.
    unweighed
        The consumables whose weight is not known and not counted.
    """

    currency: str
    copies: int
    lines: tuple[CostLine, ...]
    sale: SalePrice
    grams: Fraction
    minutes: Fraction
    unknown: tuple[str, ...]
    unweighed: tuple[str, ...]

    @property
    def cost(self) -> Decimal:
        """All lines together."""
        return sum((line.amount for line in self.lines), Decimal(0))


@dataclass(frozen=True)
class CostObject:
    """Some equal boxes, as far as their cost depends on them.

    Attributes
    ----------
    pieces
        How many pieces one box has.
    prints
        Of one box: width and height in fine units, and how many.
    consumables
        Of one box: name, how it is measured, and how much: fine units, square fine units or a
        number.
    paper_grams
        What the paper of one box weighs.
    """

    design: str
    copies: int
    pieces: int
    prints: tuple[tuple[Length, Length, int], ...]
    consumables: tuple[tuple[str, Measure, int], ...]
    paper_grams: Fraction


@dataclass(frozen=True)
class _ExactCostLine:
    category: CostCategory
    name: str
    quantity: Fraction
    unit: str
    amount: Fraction


def cost_of(
    box: CostObject,
    share: CostShare,
    rates: Rates,
    *,
    paper: Mapping[str, Decimal] | None = None,
    cutting: Decimal | None = None,
    posted: bool = True,
    each: Decimal | None = None,
) -> Cost:
    """Return what boxes cost and what they are sold for.

    Parameters
    ----------
    share
        The paper and the cutting time of all of them (see `cost_shares`).
    paper, cutting
        What paper and cutting cost in whole coins, where they were rounded together with other
        orders' shares of a batch; calculated from `share` otherwise.
    posted
        False: they are collected, so that there is no postage.
    each
        What one is sold for, if the maker has set that herself.

    Returns
    -------
    Cost
        Its lines are whole coins; they sum to the exact cost, rounded to the nearest coin.
    """
    calculator = _CostCalculator(box, rates)
    calculator.papers(share, paper)
    calculator.supplies()
    calculator.prints()
    calculator.work(share.minutes, cutting)
    calculator.parcel(posted=posted)
    exact = [
        line for line in calculator.exact if line.amount or line.category is CostCategory.PAPER
    ]
    coins = round_to_sum([line.amount for line in exact], rates.currency)
    lines = tuple(
        CostLine(line.category, line.name, line.quantity, line.unit, amount)
        for line, amount in zip(exact, coins, strict=True)
    )
    whole = sum(coins, Decimal(0))
    return Cost(
        rates.currency,
        box.copies,
        lines,
        sale_price(whole, box.copies, rates, each),
        calculator.grams,
        calculator.minutes,
        tuple(dict.fromkeys(calculator.unknown)),
        tuple(dict.fromkeys(calculator.unweighed)),
    )


class _CostCalculator:
    """Adds up the exact lines of a cost, and what is not known."""

    def __init__(self, box: CostObject, rates: Rates) -> None:
        self.box, self.rates = box, rates
        self.exact: list[_ExactCostLine] = []
        self.unknown: list[str] = []
        self.unweighed: list[str] = []
        self.grams = self.minutes = Fraction(0)
        self.box_grams = box.paper_grams + Fraction(rates.wrapping_grams)

    def papers(self, share: CostShare, coins: Mapping[str, Decimal] | None) -> None:
        for name, area in sorted(share.areas.items()):
            amount = share.costs[name] if coins is None else Fraction(coins[name])
            self._add(CostCategory.PAPER, name, area_m2(area), "m²", amount)

    def supplies(self) -> None:
        for name, measure, amount in self.box.consumables:
            quantity = _in_display_units(measure, amount)
            rate = self.rates.supplies.get((fold(name), measure), ConsumableCost(None))
            if rate.grams is None:
                self.unweighed.append(name)
            else:
                self.box_grams += quantity * rate.grams
            if rate.price is None:
                self.unknown.append(f"no price is known for {name}")
            else:
                total = quantity * self.box.copies
                unit = {Measure.LENGTH: "m", Measure.AREA: "m²", Measure.COUNT: "×"}[measure]
                self._add(CostCategory.SUPPLIES, name, total, unit, total * rate.price)

    def prints(self) -> None:
        # The cheapest first, so that the first size a print fits into is its price.
        prints = sorted(self.rates.prints, key=lambda rate: rate.price)
        number, amount = 0, Fraction(0)
        for width, height, quantity in self.box.prints:
            short, long = sorted((width, height))
            fits = (
                Fraction(rate.price)
                for rate in prints
                if short <= min(rate.width, rate.height) and long <= max(rate.width, rate.height)
            )
            area_rate = self.rates.print_area
            by_area = None if area_rate is None else Fraction(area_rate) * area_m2(width * height)
            price = next(fits, by_area)
            if price is None:
                self.unknown.append("no price is known for some of the prints")
                continue
            number += quantity * self.box.copies
            amount += quantity * self.box.copies * price
        if number:
            self._add(CostCategory.PRINTS, "", Fraction(number), "×", amount)

    def work(self, cutting: Fraction, coins: Decimal | None) -> None:
        box, rates = self.box, self.rates
        minute_rate = Fraction(rates.hour or 0) / 60
        if rates.hour is None:
            self.unknown.append("no rate for an hour of work is set")
        amount = cutting * minute_rate if coins is None else Fraction(coins)
        self._add(CostCategory.CUTTING, "", cutting, "min", amount)
        minutes = rates.design_minutes.get(box.design)
        if minutes is None and rates.piece_minutes is not None:
            minutes = rates.piece_minutes * box.pieces
        if minutes is None:
            self.unknown.append(f"how long a {box.design} takes to assemble is not set")
            minutes = Decimal(0)
        assembling = Fraction(minutes) * box.copies
        self._add(CostCategory.ASSEMBLING, "", assembling, "min", assembling * minute_rate)
        self.minutes = cutting + assembling

    def parcel(self, *, posted: bool) -> None:
        box, rates = self.box, self.rates
        parcels = None
        if posted and not rates.postage:
            self.unknown.append("there is no table of postage")
        elif posted:
            parcels = parcels_for(
                box.copies, self.box_grams, Fraction(rates.packaging_grams), rates.postage
            )
            if parcels is None:
                self.unknown.append("a single box is heavier than the table of postage goes")
        number = parcels.number if parcels else 1
        self.grams = self.box_grams * box.copies + Fraction(rates.packaging_grams) * number
        wrapping = Fraction(rates.wrapping) * box.copies
        packaging = wrapping + Fraction(rates.packaging) * number
        self._add(CostCategory.PACKAGING, "", Fraction(number), "×", packaging)
        if parcels:
            self._add(CostCategory.POSTAGE, "", self.grams, "g", Fraction(parcels.price))

    def _add(
        self, category: CostCategory, name: str, quantity: Fraction, unit: str, amount: Fraction
    ) -> None:
        self.exact.append(_ExactCostLine(category, name, quantity, unit, amount))


def _in_display_units(measure: Measure, amount: int) -> Fraction:
    """Return an amount in metres, square metres or as a number."""
    if measure is Measure.LENGTH:
        return Fraction(amount, _PER_METRE)
    return area_m2(amount) if measure is Measure.AREA else Fraction(amount)


class Parcels(NamedTuple):
    """How many parcels boxes are sent in, and the postage of all of them."""

    number: int
    price: Decimal


def parcels_for(
    copies: int, box: Fraction, packaging: Fraction, bands: Sequence[PostageBand]
) -> Parcels | None:
    """Put boxes into as few parcels as may be sent, each filled before the next is started.

    Parameters
    ----------
    box, packaging
        Grams of one box, and of what a parcel weighs empty.
    bands
        The lightest first.

    Returns
    -------
    Parcels or None
        None if not even one box may be sent.
    """

    def postage(boxes: int) -> Decimal:
        grams = packaging + box * boxes
        return next(band.price for band in bands if grams <= band.grams)

    room = Fraction(bands[-1].grams) - packaging
    if room < box:
        return None
    most = int(room // box) if box else copies
    full, rest = divmod(copies, most)
    price = (postage(most) * full if full else Decimal(0)) + (postage(rest) if rest else Decimal(0))
    return Parcels(full + bool(rest), price)
