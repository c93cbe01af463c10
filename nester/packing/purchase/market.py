"""Suppliers and their packs, as the part of a programme in whole numbers that all choices share.

Sheets that are alike (paper, size, margins, grain) are one `Size`, whoever sells them.  What is
bought of a size is at least so many sheets; the programme decides in which packs, from whom, and
what that costs: whole packs, least numbers of packs, least orders, shipping for each supplier from
whom anything is bought, and none from a value of goods on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import Stock
from nester.core.purchase import Offer, Packs, Terms

if TYPE_CHECKING:
    from nester.packing.runtime.mip import Number, Programme, Sum

__all__ = ["Market", "Purse", "Size", "Suppliers"]

Suppliers = frozenset[str]
"""Some suppliers, by name."""

_LARGEST_PRICE = 2**32
"""Whole prices stay below this, so that floats hold their sums exactly."""

_MOST_PACKS = 2**31
"""So many packs at most are bought only to reach a value of goods."""
_ALMOST = Fraction(1, 10**6)
"""So much of a sheet is none: a float's error."""


class Size(NamedTuple):
    """Sheets that are alike, and the offers of them by index, the cheapest for a sheet first."""

    stock: Stock
    offers: tuple[int, ...]


class Market:
    """All offers, by sizes.

    Attributes
    ----------
    sizes
        In the order in which the offers name them; each is stock without end at the least price
        of a sheet, by the name of that offer.
    size_of
        The number of the size that an offer is of, by its name.
    unit
        Money in one unit of whole price.  Prices are rounded down to it, and exact unless they
        span more than 2³².
    """

    def __init__(self, offers: Sequence[Offer], terms: Sequence[Terms]) -> None:
        self.offers = tuple(offers)
        self.terms = {one.supplier: one for one in terms}
        for offer in offers:
            self.terms.setdefault(offer.supplier, Terms(offer.supplier))
        alike: dict[Stock, list[int]] = {}
        for index, offer in enumerate(self.offers):
            key = replace(offer.as_stock(None), name="", price=Fraction(0))
            alike.setdefault(key, []).append(index)
        self.sizes = []
        for indices in alike.values():
            indices.sort(key=lambda index: self.offers[index].sheet_price)
            self.sizes.append(Size(self.offers[indices[0]].as_stock(None), tuple(indices)))
        self.size_of = {
            self.offers[index].name: number
            for number, size in enumerate(self.sizes)
            for index in size.offers
        }
        money = [offer.price for offer in offers]
        for one in self.terms.values():
            money += [one.shipping, one.free_from or Fraction(0), one.least_order]
        unit = Fraction(1, lcm(*(value.denominator for value in money)))
        self.unit = max(unit, max(money, default=Fraction(0)) / _LARGEST_PRICE)

    def whole(self, money: Fraction) -> int:
        """Return an amount in units of whole price, rounded down."""
        return int(money / self.unit)

    def priced(self, size: int, area: int) -> Stock:
        """Return a size as stock, at about what a sheet costs where so much area is wanted of it.

        It is bought in whole packs, and the more sheets are in a pack the cheaper it seems.
        """
        stock = self.sizes[size].stock
        need = max(1, -(-area // (stock.width * stock.height)))

        def a_sheet(offer: Offer) -> Fraction:
            packs = max(offer.least_packs, -(-need // offer.pack))
            return offer.price * packs / need

        return replace(
            stock, price=min(a_sheet(self.offers[index]) for index in self.sizes[size].offers)
        )

    def delivers(self, packs: Iterable[Packs]) -> bool:
        """Say whether no supplier is asked for less than it delivers."""
        goods = self._goods(packs)
        return all(value >= self.terms[name].least_order for name, value in goods.items())

    def shipping(self, packs: Iterable[Packs]) -> dict[str, Fraction]:
        """Return what each supplier asks for delivering what is bought of it."""
        goods = self._goods(packs)
        return {name: self.terms[name].shipping_for(value) for name, value in goods.items()}

    def likely_shipping(self, suppliers: Suppliers, goods: int) -> int:
        """Return about what suppliers ask for delivering goods of a whole price all together.

        As many of them are taken to ask for nothing as goods of such a value allow.
        """
        paid = 0
        for one in sorted(
            (self.terms[supplier] for supplier in suppliers),
            key=lambda one: (-one.shipping / (one.free_from or 1), one.supplier),
        ):
            if one.free_from is not None and self.whole(one.free_from) <= goods:
                goods -= self.whole(one.free_from)
            else:
                paid += self.whole(one.shipping)
        return paid

    def _goods(self, packs: Iterable[Packs]) -> dict[str, Fraction]:
        goods: dict[str, Fraction] = {}
        for one in packs:
            supplier = one.offer.supplier
            goods[supplier] = goods.get(supplier, Fraction(0)) + one.price
        return goods

    def cost(self, packs: Sequence[Packs]) -> Fraction:
        """Return what is paid for packs, shipping included."""
        goods = sum((one.price for one in packs), Fraction(0))
        return goods + sum(self.shipping(packs).values(), Fraction(0))

    def by_size(self, sheets: Mapping[str, int]) -> dict[int, int]:
        """Return numbers of sheets by size, which are told by the name of an offer of it."""
        found: dict[int, int] = {}
        for name, number in sheets.items():
            if number:
                size = self.size_of[name]
                found[size] = found.get(size, 0) + number
        return found

    def at_once(self, needed: Mapping[int, int]) -> tuple[Packs, ...]:
        """Return packs that hold so many sheets of each size, size by size, without a search."""
        bought: dict[int, int] = {}
        for size, sheets in needed.items():
            if not sheets:
                continue

            def enough(index: int, sheets: int = sheets) -> int:
                offer = self.offers[index]
                return max(offer.least_packs, -(-sheets // offer.pack))

            chosen = min(
                self.sizes[size].offers,
                key=lambda index: self.cost([Packs(self.offers[index], enough(index))]),
            )
            bought[chosen] = enough(chosen)
        return self._least_orders(bought)

    def _least_orders(self, bought: dict[int, int]) -> tuple[Packs, ...]:
        """Buy more of what is bought where a supplier sells nothing of so little value."""
        for supplier, terms in self.terms.items():
            of_it = [index for index in bought if self.offers[index].supplier == supplier]
            goods = sum((self.offers[i].price * bought[i] for i in of_it), Fraction(0))
            lacking = terms.least_order - goods
            if of_it and lacking > 0:
                dearest = max(of_it, key=lambda index: self.offers[index].price)
                if self.offers[dearest].price:
                    bought[dearest] += ceil(lacking / self.offers[dearest].price)
        return self.packs(bought)

    def packs(self, bought: Mapping[int, int]) -> tuple[Packs, ...]:
        """Return numbers of packs by index of their offer, as `Packs` in order."""
        return tuple(Packs(self.offers[i], n) for i, n in sorted(bought.items()) if n)


class Purse:
    """What is bought and paid, in a programme.

    Attributes
    ----------
    sheets
        For each size that may be bought, the sum of sheets in its packs.
    cost
        What is paid, in the market's units.
    asked
        By suppliers on whose terms is bought: whether anything is.

    Parameters
    ----------
    most
        For each size that may be bought, how many of its sheets can serve at most.
    suppliers
        Buy of these only, whatever their terms; None: of all, on their terms.
    """

    def __init__(
        self,
        market: Market,
        programme: Programme,
        most: Mapping[int, int],
        suppliers: Suppliers | None = None,
    ) -> None:
        self._market = market
        self._packs: dict[int, Number] = {}
        self._of_size = {
            size: [
                index
                for index in market.sizes[size].offers
                if suppliers is None or market.offers[index].supplier in suppliers
            ]
            for size in most
        }
        self.asked: dict[str, Number] = {}
        self.sheets: dict[int, Sum] = {}
        reach: dict[int, int] = {}
        for size, indices in self._of_size.items():
            for index in indices:
                reach[index] = self._reach(index, most[size])
                self._packs[index] = programme.number(reach[index])
            self.sheets[size] = [(market.offers[i].pack, self._packs[i]) for i in indices]
        self._few(programme, reach)
        self.cost = self.goods(self._of_size)
        if suppliers is None:
            for supplier in {market.offers[index].supplier: None for index in self._packs}:
                self._ask(programme, supplier, reach)

    def _reach(self, index: int, sheets: int) -> int:
        """Return how many packs of an offer are bought at most, where so many sheets can serve."""
        offer = self._market.offers[index]
        terms = self._market.terms[offer.supplier]
        packs = max(offer.least_packs, -(-sheets // offer.pack)) if sheets else 0
        if offer.price:
            # More than can serve may be bought to reach a value of goods.
            value = max(terms.free_from or Fraction(0), terms.least_order)
            packs += min(_MOST_PACKS, ceil(value / offer.price))
        return packs

    def goods(self, sizes: Iterable[int]) -> Sum:
        """Return what the packs of some sizes cost, without shipping."""
        offers = self._market.offers
        return [
            (self._market.whole(offers[index].price), self._packs[index])
            for size in sizes
            for index in self._of_size.get(size, ())
        ]

    def _few(self, programme: Programme, reach: Mapping[int, int]) -> None:
        """Buy no fewer packs of an offer than are sold, if any."""
        for index, packs in self._packs.items():
            least = self._market.offers[index].least_packs
            if least > 1:
                some = programme.number(1)
                programme.at_least([(1, packs), (-least, some)], 0)
                programme.at_least([(reach[index], some), (-1, packs)], 0)

    def _ask(self, programme: Programme, supplier: str, reach: Mapping[int, int]) -> None:
        """Buy on a supplier's terms, if anything."""
        market, terms = self._market, self._market.terms[supplier]
        offers = {i: o for i in self._packs if (o := market.offers[i]).supplier == supplier}
        asked = self.asked[supplier] = programme.number(1)
        for index in offers:
            programme.at_least([(reach[index], asked), (-1, self._packs[index])], 0)
        # Rounded up, so that what reaches a value of goods reaches it here.
        value = [(ceil(offer.price / market.unit), self._packs[i]) for i, offer in offers.items()]
        if terms.least_order:
            programme.at_least([*value, (-market.whole(terms.least_order), asked)], 0)
        if terms.shipping:
            self.cost.append((market.whole(terms.shipping), asked))
            if terms.free_from is not None:
                free = programme.number(1)
                programme.at_least([(1, asked), (-1, free)], 0)
                programme.at_least([*value, (-market.whole(terms.free_from), free)], 0)
                self.cost.append((-market.whole(terms.shipping), free))

    def bought(self, value: Mapping[Number, Fraction]) -> tuple[Packs, ...]:
        """Return the packs by the values of a programme's numbers."""
        return self._market.packs({i: int(value[packs]) for i, packs in self._packs.items()})

    def by_size(self, value: Mapping[Number, Fraction]) -> dict[int, int]:
        """Return the sheets bought of each size, by the values of a programme's numbers.

        Parts of a sheet count as a whole one.
        """
        offers = self._market.offers
        return {
            size: ceil(sum(value[self._packs[i]] * offers[i].pack for i in indices) - _ALMOST)
            for size, indices in self._of_size.items()
        }
