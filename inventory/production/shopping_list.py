"""What to buy so that the orders that wait can be made.

Answered by the optimizer: the waiting orders are laid on what is left over together with as many
new sheets as needed, of every size in which their papers can be bought; what it uses of those is
the shopping list.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from inventory.core.money import MOST_DECIMALS, round_to_decimals
from inventory.core.plan import ShoppingLine
from inventory.database.tables.enums import StockKind
from inventory.purchasing.prices import ListedPack
from inventory.stock.listing import StashRow
from nester.core.lengths import Length, area_m2
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, CuttingPlan, Margins, Problem, StockItem
from nester.designs.demand import drop_conflicting_grain
from nester.verify import (
    require_valid,
)

__all__ = ["PurchasableSheet", "list_purchasable_sheets", "plan_shopping"]


@dataclass(frozen=True)
class PurchasableSheet:
    """A size in which a paper can be bought, at what is asked for a sheet, else what was paid."""

    paper: str
    width: Length
    height: Length
    price: Decimal | None
    margins: Margins = NO_MARGINS
    grain: Grain = Grain.ANY

    def fits(self, size: tuple[Length, Length]) -> bool:
        """Tell whether a piece of that size lies on it, one way or the other."""
        wide = self.width - self.margins.left - self.margins.right
        high = self.height - self.margins.top - self.margins.bottom
        return max(size) <= max(wide, high) and min(size) <= min(wide, high)

    @property
    def comparison_price(self) -> Fraction:
        """What a sheet counts when sizes are compared: 1 a square metre if it has no price."""
        if self.price is None:
            return area_m2(self.width * self.height)
        return Fraction(self.price)


def list_purchasable_sheets(
    rows: Sequence[StashRow],
    offered: Sequence[ListedPack] = (),
    largest: Mapping[str, Sequence[tuple[Length, Length]]] | None = None,
) -> list[PurchasableSheet]:
    """Return the sheet sizes that can be bought.

    They are those that suppliers offer, at the least that is asked for a sheet.  Of papers that
    nobody offers, or not in a size that holds all that is wanted, they are also those that the
    book knows, none of which may be left, at the price last given.

    Parameters
    ----------
    rows
        The stash, with all that it ever held.
    offered
        See `inventory.purchasing.prices.current_offers`.
    largest
        The sizes of what is wanted, by paper.
    """
    known: dict[tuple[str, Length, Length], PurchasableSheet] = {}
    for one in sorted(offered, key=lambda one: one.sheet_price, reverse=True):
        price = round_to_decimals(one.sheet_price, MOST_DECIMALS)
        its = PurchasableSheet(one.paper, one.width, one.height, price, one.margins, one.grain)
        known[its.paper, its.width, its.height] = its
    wanted = largest or {}
    enough = {
        paper
        for paper in {one.paper for one in offered}
        if all(
            any(one.paper == paper and one.fits(size) for one in known.values())
            for size in wanted.get(paper, ())
        )
    }
    listed = set(known)
    sheets = [row for row in rows if row.kind is StockKind.SHEET and row.paper not in enough]
    for row in sorted(sheets, key=lambda row: int(row.label.partition("-")[2])):
        key = (row.paper, row.width, row.height)
        if key not in listed:
            before = known[key].price if key in known else None
            price_paid = row.price if row.price is not None else before
            known[key] = PurchasableSheet(*key, price_paid, row.margins, row.grain)
    return list(known.values())


def plan_shopping(
    problem: Problem,
    sizes: Sequence[PurchasableSheet],
    orders_of: Mapping[str, tuple[int, ...]],
    search: Callable[[Problem], CuttingPlan],
) -> tuple[ShoppingLine, ...]:
    """Return the cheapest purchase found with which all of a problem's pieces can be made.

    Parameters
    ----------
    problem
        The pieces of the waiting orders, and the stock left for them.
    sizes
        What can be bought.
    orders_of
        The orders that wait for each want, by its name.
    search
        `nester.packing.search.solve`, with how hard and how long to look.
    """
    buyable = {f"buy {number}": size for number, size in enumerate(sizes)}
    shop_shelf = tuple(
        StockItem(
            name, size.width, size.height, None, size.comparison_price, size.paper, size.margins,
            grain=size.grain,
        )
        for name, size in buyable.items()
    )  # fmt: skip
    # Paper at hand is paid for: only what must be bought costs anything here.
    at_hand = tuple(replace(one, price=Fraction(0)) for one in problem.stock)
    whole, _ = drop_conflicting_grain(replace(problem, stock=at_hand + shop_shelf))
    answer = search(whole)
    require_valid(whole, answer)
    bought: Counter[str] = Counter()
    waiting: dict[str, set[int]] = defaultdict(set)
    for layout in answer.layouts:
        if layout.stock in buyable:
            bought[layout.stock] += layout.copies
            for one in layout.placed:
                waiting[layout.stock].update(orders_of[one.name])
    lines = [
        ShoppingLine(
            size.paper,
            size.width,
            size.height,
            bought[name],
            size.price,
            tuple(sorted(waiting[name])),
        )
        for name, size in buyable.items()
        if bought[name]
    ]
    wants = {want.name: want for want in problem.demands}
    for missing in answer.unplaced:
        want = wants[missing.name]
        lines.append(
            ShoppingLine(want.paper, want.width, want.height, 0, None, orders_of[missing.name])
        )
    return tuple(sorted(lines, key=lambda line: (line.paper.casefold(), -line.width)))
