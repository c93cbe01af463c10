"""The words of a purchase: what suppliers offer, on what terms, and what is bought for a problem.

Money is in exact fractions of any one currency; sizes are in fine units.
`nester.packing.purchase.purchase` chooses, `nester.verify` judges; both speak in these words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from nester.core.lengths import Length
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, CuttingPlan, Margins, Problem, StockItem

__all__ = ["Offer", "PaperPurchasePlan", "PurchaseLine", "SupplierTerms"]


@dataclass(frozen=True)
class Offer:
    """Sheets of one size of a paper, as a supplier sells them.

    Attributes
    ----------
    name
        Unique among the offers and the stock of a problem.
    supplier
        Whose terms hold for it.
    pack_size
        Sheets in a pack, one or more; only whole packs are sold.
    pack_price
        Of a pack, in any unit of money; zero or more.
    min_packs
        So many packs of it are sold at least, if any are.
    """

    name: str
    supplier: str
    paper: str
    width: Length
    height: Length
    pack_size: int
    pack_price: Fraction
    min_packs: int = 1
    margins: Margins = NO_MARGINS
    grain: Grain = Grain.ANY

    @property
    def sheet_price(self) -> Fraction:
        """What one sheet of a pack costs."""
        return self.pack_price / self.pack_size

    def as_stock_item(self, quantity: int | None) -> StockItem:
        """Return `quantity` of its sheets (None: as many as needed) as stock, each at its price."""
        return StockItem(
            self.name,
            self.width,
            self.height,
            quantity,
            self.sheet_price,
            self.paper,
            self.margins,
            grain=self.grain,
        )


@dataclass(frozen=True)
class SupplierTerms:
    """What a supplier asks beside the price of packs.

    Attributes
    ----------
    shipping
        For one delivery, whatever is in it.
    free_shipping_from
        From goods of this value on, shipping costs nothing; None: it always costs the same.
    min_order_value
        Goods of less value are not sold at all.
    """

    supplier: str
    shipping: Fraction = Fraction(0)
    free_shipping_from: Fraction | None = None
    min_order_value: Fraction = Fraction(0)

    def shipping_for(self, goods: Fraction) -> Fraction:
        """Return what delivering goods of some value costs."""
        if self.free_shipping_from is not None and goods >= self.free_shipping_from:
            return Fraction(0)
        return self.shipping


class PurchaseLine(NamedTuple):
    """So many packs of an offer."""

    offer: Offer
    quantity: int

    @property
    def price(self) -> Fraction:
        """What they cost, without shipping."""
        return self.offer.pack_price * self.quantity

    @property
    def sheets(self) -> int:
        """How many sheets are in them."""
        return self.offer.pack_size * self.quantity


@dataclass(frozen=True)
class PaperPurchasePlan:
    """A purchase, and how everything is cut once it is there.

    Attributes
    ----------
    lines
        What is bought, in the order of the offers.
    shipping
        What each supplier from whom something is bought asks for delivery.
    problem
        The problem, with the sheets bought as stock by the names of their offers.
    cutting_plan
        Its layouts; what can be made from no sheet on offer is unplaced.
    lower_bound
        Proven: no purchase with which the same pieces can be made costs less.
    statistics
        What was tried, for people and tests: counts by name.
    interrupted
        Whether the search was ended before its effort was spent.
    """

    lines: tuple[PurchaseLine, ...]
    shipping: Mapping[str, Fraction]
    problem: Problem
    cutting_plan: CuttingPlan
    lower_bound: Fraction
    statistics: Mapping[str, int] = field(default_factory=dict)
    interrupted: bool = False

    @property
    def goods_cost(self) -> Fraction:
        """What the packs cost."""
        return sum((line.price for line in self.lines), Fraction(0))

    @property
    def cost(self) -> Fraction:
        """What is paid: packs and shipping."""
        return self.goods_cost + sum(self.shipping.values(), Fraction(0))

    @property
    def optimality_gap(self) -> Fraction:
        """(cost − bound) / cost: how far from the bound, zero when proven cheapest."""
        return (self.cost - self.lower_bound) / self.cost if self.cost else Fraction(0)

    def unused_sheets(self) -> dict[str, int]:
        """Return how many sheets of each stock stay whole, by name, where any do."""
        left = {item.name: item.quantity or 0 for item in self.problem.stock}
        for layout in self.cutting_plan.layouts:
            left[layout.stock] -= layout.copies
        return {name: number for name, number in left.items() if number}
