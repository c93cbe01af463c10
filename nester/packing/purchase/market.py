"""Suppliers and their packs: the part of a mixed-integer program that every purchase shares.

Equal sheets (paper, size, margins, grain) are one `OfferedSize`, whoever sells them.  The program
buys at least a number of sheets of each size, and decides in which packs, from whom, and what that
costs: whole packs, least numbers of packs, minimum orders, and shipping for each supplier used,
which is free from a value of goods on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm
from typing import TYPE_CHECKING, NamedTuple

from nester.core.problem import StockItem
from nester.core.purchase import Offer, PurchaseLine, SupplierTerms

if TYPE_CHECKING:
    from nester.packing.runtime.mip import LinearExpression, MixedIntegerProgram, Variable

__all__ = ["Market", "OfferedSize", "PurchaseVariables", "Suppliers"]

Suppliers = frozenset[str]
"""Some suppliers, by name."""

_LARGEST_PRICE = 2**32
"""Integer prices stay below this, so that floats hold their sums exactly."""

_MAX_PACKS = 2**31
"""Limit on the packs bought only to reach a value of goods."""
_TOLERANCE = Fraction(1, 10**6)
"""Part of a sheet that counts as none: the solver's error."""


class OfferedSize(NamedTuple):
    """Equal sheets, and the offers of them by index, the lowest price per sheet first."""

    stock: StockItem
    offers: tuple[int, ...]


class Market:
    """All offers, by sizes.

    Attributes
    ----------
    sizes
        In the order of the offers; each is unlimited stock at its lowest price per sheet, with the
        name of that offer.
    size_of
        The number of the size that an offer is of, by its name.
    unit
        Money in one unit of integer prices.  Prices are rounded down to it, and exact unless they
        span more than 2³².
    """

    def __init__(self, offers: Sequence[Offer], terms: Sequence[SupplierTerms]) -> None:
        self.offers = tuple(offers)
        self.terms = {supplier_terms.supplier: supplier_terms for supplier_terms in terms}
        for offer in offers:
            self.terms.setdefault(offer.supplier, SupplierTerms(offer.supplier))
        offers_by_size: dict[StockItem, list[int]] = {}
        for index, offer in enumerate(self.offers):
            sheet = replace(offer.as_stock_item(None), name="", price=Fraction(0))
            offers_by_size.setdefault(sheet, []).append(index)
        self.sizes = []
        for indices in offers_by_size.values():
            indices.sort(key=lambda index: self.offers[index].sheet_price)
            self.sizes.append(
                OfferedSize(self.offers[indices[0]].as_stock_item(None), tuple(indices))
            )
        self.size_of = {
            self.offers[index].name: number
            for number, size in enumerate(self.sizes)
            for index in size.offers
        }
        amounts = [offer.pack_price for offer in offers]
        for supplier_terms in self.terms.values():
            amounts += [
                supplier_terms.shipping,
                supplier_terms.free_shipping_from or Fraction(0),
                supplier_terms.min_order_value,
            ]
        unit = Fraction(1, lcm(*(value.denominator for value in amounts)))
        self.unit = max(unit, max(amounts, default=Fraction(0)) / _LARGEST_PRICE)

    def to_price_units(self, amount: Fraction) -> int:
        """Return an amount in units of integer prices, rounded down."""
        return int(amount / self.unit)

    def stock_at_estimated_price(self, size: int, area: int) -> StockItem:
        """Return a size as stock, at about what a sheet costs if an area is cut from it alone.

        Whole packs are bought, so large packs are expensive where little area is wanted.
        """
        stock = self.sizes[size].stock
        sheets = max(1, -(-area // (stock.width * stock.height)))

        def cost_per_sheet(offer: Offer) -> Fraction:
            packs = max(offer.min_packs, -(-sheets // offer.pack_size))
            return offer.pack_price * packs / sheets

        return replace(
            stock,
            price=min(cost_per_sheet(self.offers[index]) for index in self.sizes[size].offers),
        )

    def meets_least_orders(self, packs: Iterable[PurchaseLine]) -> bool:
        """Return whether the minimum order of every supplier is reached."""
        goods_values = self._goods_values(packs)
        return all(
            value >= self.terms[name].min_order_value for name, value in goods_values.items()
        )

    def shipping(self, packs: Iterable[PurchaseLine]) -> dict[str, Fraction]:
        """Return what each supplier charges for delivery."""
        goods_values = self._goods_values(packs)
        return {name: self.terms[name].shipping_for(value) for name, value in goods_values.items()}

    def estimate_shipping(self, suppliers: Suppliers, goods_value: int) -> int:
        """Estimate what suppliers charge for delivery of goods of this value all together.

        As many of them as possible are assumed to reach the value from which shipping is free.
        """
        shipping = 0
        for supplier_terms in sorted(
            (self.terms[supplier] for supplier in suppliers),
            key=lambda supplier_terms: (
                -supplier_terms.shipping / (supplier_terms.free_shipping_from or 1),
                supplier_terms.supplier,
            ),
        ):
            if (
                supplier_terms.free_shipping_from is not None
                and self.to_price_units(supplier_terms.free_shipping_from) <= goods_value
            ):
                goods_value -= self.to_price_units(supplier_terms.free_shipping_from)
            else:
                shipping += self.to_price_units(supplier_terms.shipping)
        return shipping

    def _goods_values(self, packs: Iterable[PurchaseLine]) -> dict[str, Fraction]:
        goods_values: dict[str, Fraction] = {}
        for line in packs:
            supplier = line.offer.supplier
            goods_values[supplier] = goods_values.get(supplier, Fraction(0)) + line.price
        return goods_values

    def cost(self, packs: Sequence[PurchaseLine]) -> Fraction:
        """Return what is paid for packs, shipping included."""
        goods_value = sum((line.price for line in packs), Fraction(0))
        return goods_value + sum(self.shipping(packs).values(), Fraction(0))

    def sheets_by_size(self, sheets: Mapping[str, int]) -> dict[int, int]:
        """Return numbers of sheets by size, from numbers by the names of offers."""
        sheets_by_size: dict[int, int] = {}
        for name, number in sheets.items():
            if number:
                size = self.size_of[name]
                sheets_by_size[size] = sheets_by_size.get(size, 0) + number
        return sheets_by_size

    def greedy_packs(self, needed: Mapping[int, int]) -> tuple[PurchaseLine, ...]:
        """Return packs with at least these sheets of each size, the cheapest size by size."""
        bought: dict[int, int] = {}
        for size, sheets in needed.items():
            if not sheets:
                continue

            def packs_needed(index: int, sheets: int = sheets) -> int:
                offer = self.offers[index]
                return max(offer.min_packs, -(-sheets // offer.pack_size))

            chosen = min(
                self.sizes[size].offers,
                key=lambda index: self.cost(
                    [PurchaseLine(self.offers[index], packs_needed(index))]
                ),
            )
            bought[chosen] = packs_needed(chosen)
        return self._raise_to_least_orders(bought)

    def _raise_to_least_orders(self, bought: dict[int, int]) -> tuple[PurchaseLine, ...]:
        """Buy more from suppliers whose minimum order is not reached."""
        for supplier, terms in self.terms.items():
            from_supplier = [index for index in bought if self.offers[index].supplier == supplier]
            goods_value = sum(
                (self.offers[i].pack_price * bought[i] for i in from_supplier), Fraction(0)
            )
            missing_value = terms.min_order_value - goods_value
            if from_supplier and missing_value > 0:
                most_expensive = max(from_supplier, key=lambda index: self.offers[index].pack_price)
                if self.offers[most_expensive].pack_price:
                    bought[most_expensive] += ceil(
                        missing_value / self.offers[most_expensive].pack_price
                    )
        return self.packs(bought)

    def packs(self, bought: Mapping[int, int]) -> tuple[PurchaseLine, ...]:
        """Return purchase lines of numbers of packs by the index of their offer."""
        return tuple(PurchaseLine(self.offers[i], n) for i, n in sorted(bought.items()) if n)


class PurchaseVariables:
    """Variables and constraints for what is bought and paid, in a mixed-integer program.

    Attributes
    ----------
    sheets
        For each size that may be bought, the sum of sheets in its packs.
    cost
        What is paid, in the market's units.
    supplier_used
        By supplier: whether anything is bought from it; empty if terms are ignored.

    Parameters
    ----------
    max_sheets
        For each size that may be bought, how many of its sheets can be of use.
    suppliers
        Buy from these only and ignore their terms; None: from all, on their terms.
    """

    def __init__(
        self,
        market: Market,
        mip: MixedIntegerProgram,
        max_sheets: Mapping[int, int],
        suppliers: Suppliers | None = None,
    ) -> None:
        self._market = market
        self._pack_variables: dict[int, Variable] = {}
        self._offers_of_size = {
            size: [
                index
                for index in market.sizes[size].offers
                if suppliers is None or market.offers[index].supplier in suppliers
            ]
            for size in max_sheets
        }
        self.supplier_used: dict[str, Variable] = {}
        self.sheets: dict[int, LinearExpression] = {}
        max_packs: dict[int, int] = {}
        for size, indices in self._offers_of_size.items():
            for index in indices:
                max_packs[index] = self._max_packs(index, max_sheets[size])
                self._pack_variables[index] = mip.add_variable(max_packs[index])
            self.sheets[size] = [
                (market.offers[i].pack_size, self._pack_variables[i]) for i in indices
            ]
        self._add_least_packs(mip, max_packs)
        self.cost = self.goods(self._offers_of_size)
        if suppliers is None:
            for supplier in {market.offers[index].supplier: None for index in self._pack_variables}:
                self._add_supplier_terms(mip, supplier, max_packs)

    def _max_packs(self, index: int, sheets: int) -> int:
        """Return how many packs of an offer can be of use, given how many sheets can."""
        offer = self._market.offers[index]
        terms = self._market.terms[offer.supplier]
        packs = max(offer.min_packs, -(-sheets // offer.pack_size)) if sheets else 0
        if offer.pack_price:
            # More may be bought to reach free shipping or the minimum order.
            goods_value = max(terms.free_shipping_from or Fraction(0), terms.min_order_value)
            packs += min(_MAX_PACKS, ceil(goods_value / offer.pack_price))
        return packs

    def goods(self, sizes: Iterable[int]) -> LinearExpression:
        """Return the cost of the packs of some sizes, without shipping."""
        offers = self._market.offers
        return [
            (self._market.to_price_units(offers[index].pack_price), self._pack_variables[index])
            for size in sizes
            for index in self._offers_of_size.get(size, ())
        ]

    def _add_least_packs(self, mip: MixedIntegerProgram, max_packs: Mapping[int, int]) -> None:
        """Require the least number of packs of an offer, if any are bought."""
        for index, packs in self._pack_variables.items():
            min_packs = self._market.offers[index].min_packs
            if min_packs > 1:
                is_bought = mip.add_variable(1)
                mip.add_at_least([(1, packs), (-min_packs, is_bought)], 0)
                mip.add_at_least([(max_packs[index], is_bought), (-1, packs)], 0)

    def _add_supplier_terms(
        self, mip: MixedIntegerProgram, supplier: str, max_packs: Mapping[int, int]
    ) -> None:
        """Add a supplier's minimum order and shipping."""
        market, terms = self._market, self._market.terms[supplier]
        offers = {
            i: o for i in self._pack_variables if (o := market.offers[i]).supplier == supplier
        }
        is_used = self.supplier_used[supplier] = mip.add_variable(1)
        for index in offers:
            mip.add_at_least([(max_packs[index], is_used), (-1, self._pack_variables[index])], 0)
        # Rounded up, so that goods which reach a value also reach it in the program.
        goods_value = [
            (ceil(offer.pack_price / market.unit), self._pack_variables[i])
            for i, offer in offers.items()
        ]
        if terms.min_order_value:
            mip.add_at_least(
                [*goods_value, (-market.to_price_units(terms.min_order_value), is_used)], 0
            )
        if terms.shipping:
            self.cost.append((market.to_price_units(terms.shipping), is_used))
            if terms.free_shipping_from is not None:
                ships_free = mip.add_variable(1)
                mip.add_at_least([(1, is_used), (-1, ships_free)], 0)
                mip.add_at_least(
                    [*goods_value, (-market.to_price_units(terms.free_shipping_from), ships_free)],
                    0,
                )
                self.cost.append((-market.to_price_units(terms.shipping), ships_free))

    def bought(self, values: Mapping[Variable, Fraction]) -> tuple[PurchaseLine, ...]:
        """Return the packs of a solution."""
        return self._market.packs(
            {i: int(values[packs]) for i, packs in self._pack_variables.items()}
        )

    def sheets_by_size(self, values: Mapping[Variable, Fraction]) -> dict[int, int]:
        """Return the sheets bought of each size in a solution, perhaps a fractional one.

        Parts of a sheet are rounded up.
        """
        offers = self._market.offers
        return {
            size: ceil(
                sum(values[self._pack_variables[i]] * offers[i].pack_size for i in indices)
                - _TOLERANCE
            )
            for size, indices in self._offers_of_size.items()
        }
