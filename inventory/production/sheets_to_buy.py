"""What to buy so that the orders that wait can be made: sheets, whole packs of them paid for.

Answered by `nester.packing.purchase`, from the packs on offer and the sizes the shop had before.
It is the purchase of `inventory.restocking.purchase_plan`, told by papers and sizes alone.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from inventory.core.labels import label_sort_key
from inventory.core.money import MOST_DECIMALS, round_to_decimals
from inventory.core.plan import ShoppingLine
from inventory.database.tables.enums import StockKind
from inventory.purchasing.prices import ListedPack
from inventory.stock.listing import StashRow
from nester.core.lengths import Length, area_m2
from nester.core.problem import Problem
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.designs.demand import drop_conflicting_grain
from nester.verify import require_valid_purchase

__all__ = ["BuyableSheet", "cheapest_by_size", "list_buyable_sheets", "shopping_lines"]


@dataclass(frozen=True)
class BuyableSheet:
    """Sheets of a paper that can be bought.

    Attributes
    ----------
    offer
        One pack of them, from no supplier in particular.
    is_priced
        Whether somebody asks or asked for its price; else it counts 1 a square metre.
    """

    offer: Offer
    is_priced: bool = True

    @property
    def price(self) -> Decimal | None:
        """What one sheet costs, if that is known."""
        if not self.is_priced:
            return None
        return round_to_decimals(self.offer.sheet_price, MOST_DECIMALS)

    def holds(self, size: tuple[Length, Length]) -> bool:
        """Tell whether a piece of a size fits on a sheet, one way or the other."""
        _, _, width, height = self.offer.as_stock_item(None).usable
        return max(size) <= max(width, height) and min(size) <= min(width, height)


def list_buyable_sheets(
    rows: Sequence[StashRow],
    listed: Sequence[ListedPack] = (),
    sizes: Mapping[str, Sequence[tuple[Length, Length]]] | None = None,
) -> list[BuyableSheet]:
    """Return what sheets can be bought.

    They are the packs that suppliers offer.  Of papers that nobody offers in a size that holds all
    that is wanted, they are also single sheets of the sizes that the shop ever had, at the price
    last given.

    Parameters
    ----------
    rows
        The stash, with all that it ever held.
    listed
        See `inventory.purchasing.prices.current_offers`.
    sizes
        The sizes of what is wanted, by paper.
    """
    on_offer = [
        BuyableSheet(
            Offer(
                f"offer {number}", "", pack.paper, pack.width, pack.height, pack.pack,
                Fraction(pack.price), pack.least, pack.margins, pack.grain,
            )
        )
        for number, pack in enumerate(
            sorted(listed, key=lambda pack: pack.sheet_price, reverse=True), 1
        )
    ]  # fmt: skip
    wanted = sizes or {}
    covered = {
        paper
        for paper in {pack.paper for pack in listed}
        if all(
            any(sheet.offer.paper == paper and sheet.holds(size) for sheet in on_offer)
            for size in wanted.get(paper, ())
        )
    }
    offered_sizes = {(pack.paper, pack.width, pack.height) for pack in listed}
    usual: dict[tuple[str, Length, Length], BuyableSheet] = {}
    sheets = [row for row in rows if row.kind is StockKind.SHEET and row.paper not in covered]
    for row in sorted(sheets, key=lambda row: label_sort_key(row.label)):
        key = (row.paper, row.width, row.height)
        if key in offered_sizes:
            continue
        before = usual[key].price if key in usual else None
        price = row.price if row.price is not None else before
        counted = area_m2(row.width * row.height) if price is None else Fraction(price)
        name = usual[key].offer.name if key in usual else f"usual size {len(usual) + 1}"
        usual[key] = BuyableSheet(
            Offer(name, "", *key, 1, counted, margins=row.margins, grain=row.grain),
            price is not None,
        )
    return [*on_offer, *usual.values()]


def cheapest_by_size(sheets: Iterable[BuyableSheet]) -> list[BuyableSheet]:
    """Return of each paper and size those whose single sheet costs least."""
    cheapest: dict[tuple[str, Length, Length], BuyableSheet] = {}
    for sheet in sheets:
        offer = sheet.offer
        best = cheapest.setdefault((offer.paper, offer.width, offer.height), sheet)
        if offer.sheet_price < best.offer.sheet_price:
            cheapest[offer.paper, offer.width, offer.height] = sheet
    return list(cheapest.values())


def shopping_lines(
    problem: Problem,
    sheets: Iterable[BuyableSheet],
    terms: Sequence[SupplierTerms],
    orders_of: Mapping[str, tuple[int, ...]],
    buy: Callable[[Problem, Sequence[Offer], Sequence[SupplierTerms]], PaperPurchasePlan],
) -> tuple[ShoppingLine, ...]:
    """Return the sheets of the cheapest purchase found with which all pieces can be made.

    Parameters
    ----------
    problem
        The pieces of the waiting orders, and the stock left for them.
    sheets, terms
        What can be bought, and how its suppliers deliver.
    orders_of
        The orders that wait for each demand, by its name.
    buy
        `nester.packing.purchase`, with how hard and how long to look.
    """
    papers = {demand.paper for demand in problem.demands}
    buyable = {sheet.offer.name: sheet for sheet in sheets if sheet.offer.paper in papers}
    offers = [sheet.offer for sheet in buyable.values()]
    # Paper on hand is paid for, so it is used before any sheet of a pack.
    on_hand = tuple(replace(item, price=Fraction(0)) for item in problem.stock)
    problem, _ = drop_conflicting_grain(
        replace(problem, stock=on_hand, offcut_value_share=Fraction(0)),
        [offer.as_stock_item(None) for offer in offers],
    )
    bought = buy(problem, offers, terms)
    require_valid_purchase(problem, offers, terms, bought)
    waiting: dict[str, set[int]] = defaultdict(set)
    for layout in bought.cutting_plan.layouts:
        for piece in layout.placed:
            waiting[layout.stock].update(orders_of[piece.name])
    needed: Counter[tuple[str, Length, Length, Decimal | None]] = Counter()
    orders: dict[tuple[str, Length, Length, Decimal | None], set[int]] = defaultdict(set)
    for line in bought.lines:
        offer = line.offer
        key = (offer.paper, offer.width, offer.height, buyable[offer.name].price)
        needed[key] += line.sheets
        orders[key] |= waiting[offer.name]
    lines = [
        ShoppingLine(paper, width, height, number, price, tuple(sorted(orders[key])))
        for key, number in needed.items()
        for paper, width, height, price in [key]
    ]
    demands = {demand.name: demand for demand in problem.demands}
    for missing in bought.cutting_plan.unplaced:
        demand = demands[missing.name]
        lines.append(
            ShoppingLine(
                demand.paper, demand.width, demand.height, 0, None, orders_of[missing.name]
            )
        )
    return tuple(sorted(lines, key=lambda line: (line.paper.casefold(), -line.width)))
