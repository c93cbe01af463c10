"""What to buy so that the orders that wait can be made.

Answered by the optimizer: the waiting orders are laid on what is left over together with as many
new sheets as needed, of every size the book knows of their papers; what it uses of those is the
shopping list.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from inventory.models import Kind
from inventory.plan import Restock
from inventory.stash import StashRow
from nester.layouts import Answer, Problem, Stock
from nester.measure import Length, area_m2
from nester.verify import require

__all__ = ["OnSale", "on_sale", "restock"]


@dataclass(frozen=True)
class OnSale:
    """A size in which a paper has been bought, at the price last given for it."""

    paper: str
    width: Length
    height: Length
    price: Decimal | None

    @property
    def counted_price(self) -> Fraction:
        """What a sheet counts when sizes are compared: 1 a square metre if it has no price."""
        if self.price is None:
            return area_m2(self.width * self.height)
        return Fraction(self.price)


def on_sale(rows: Sequence[StashRow]) -> list[OnSale]:
    """Return the sheet sizes that the book knows, also those of which none is left."""
    known: dict[tuple[str, Length, Length], Decimal | None] = {}
    for row in sorted(rows, key=lambda row: int(row.label.partition("-")[2])):
        if row.kind is Kind.SHEET:
            key = (row.paper, row.width, row.height)
            known[key] = row.price if row.price is not None else known.get(key)
    return [OnSale(*key, price) for key, price in known.items()]


def restock(
    problem: Problem,
    sizes: Sequence[OnSale],
    orders_of: Mapping[str, tuple[int, ...]],
    search: Callable[[Problem], Answer],
) -> tuple[Restock, ...]:
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
        `nester.packing.solve`, with how hard and how long to look.
    """
    buyable = {f"buy {number}": size for number, size in enumerate(sizes)}
    shop_shelf = tuple(
        Stock(name, size.width, size.height, None, size.counted_price, size.paper)
        for name, size in buyable.items()
    )
    # Paper at hand is paid for: only what must be bought costs anything here.
    at_hand = tuple(replace(one, price=Fraction(0)) for one in problem.stock)
    whole = replace(problem, stock=at_hand + shop_shelf)
    answer = search(whole)
    require(whole, answer)
    bought: Counter[str] = Counter()
    waiting: dict[str, set[int]] = defaultdict(set)
    for layout in answer.layouts:
        if layout.stock in buyable:
            bought[layout.stock] += layout.copies
            for one in layout.placed:
                waiting[layout.stock].update(orders_of[one.name])
    lines = [
        Restock(
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
    wants = {want.name: want for want in problem.wants}
    for missing in answer.unplaced:
        want = wants[missing.name]
        lines.append(Restock(want.paper, want.width, want.height, 0, None, orders_of[missing.name]))
    return tuple(sorted(lines, key=lambda line: (line.paper.casefold(), -line.width)))
