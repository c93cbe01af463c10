"""Judges a purchase: its layouts by `nester.verify.layouts`, and its money by counting again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from nester.core.problem import Problem, StockItem
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.verify.layouts import require_valid

__all__ = ["InvalidPurchaseError", "require_valid_purchase", "verify_purchase"]


class InvalidPurchaseError(Exception):
    """A purchase that must not be shown; `faults` lists what is wrong, a sentence each."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


def require_valid_purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms],
    bought: PaperPurchasePlan,
) -> None:
    """Raise unless a purchase is a right one for a problem, with what is offered.

    Raises
    ------
    PurchaseFault
        If what is bought, or what is paid for it, is wrong.
    PlanFault
        If the layouts are.
    """
    faults = verify_purchase(problem, offers, terms, bought)
    if faults:
        raise InvalidPurchaseError(faults)
    require_valid(bought.problem, bought.cutting_plan)


def verify_purchase(
    problem: Problem,
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms],
    bought: PaperPurchasePlan,
) -> list[str]:
    """Return what is wrong with what is bought and paid; an empty list means that it is right."""
    faults = []
    offered = set(offers)
    goods: dict[str, Fraction] = defaultdict(Fraction)
    shelf: dict[str, StockItem] = {}
    for offer, packs in bought.lines:
        if offer not in offered:
            faults.append(f"'{offer.name}' is bought, but nobody offers it")
        if offer.name in shelf:
            faults.append(f"'{offer.name}' is listed twice")
        if packs < offer.min_packs:
            faults.append(f"'{offer.name}': {packs} packs, but {offer.min_packs} are sold at least")
        goods[offer.supplier] += packs * offer.pack_price
        shelf[offer.name] = StockItem(
            offer.name,
            offer.width,
            offer.height,
            packs * offer.pack_size,
            offer.pack_price / offer.pack_size,
            offer.paper,
            offer.margins,
            grain=offer.grain,
        )
    asked = {one.supplier: one for one in terms}
    shipping: dict[str, Fraction] = {}
    for supplier, value in goods.items():
        its = asked.get(supplier)
        shipping[supplier] = its.shipping if its else Fraction(0)
        if its and its.free_shipping_from is not None and value >= its.free_shipping_from:
            shipping[supplier] = Fraction(0)
        if its and value < its.min_order_value:
            faults.append(
                f"'{supplier}' sells nothing below {its.min_order_value}, but gets {value}"
            )
    if dict(bought.shipping) != shipping:
        faults.append(f"shipping is given as {dict(bought.shipping)}, but it is {shipping}")
    paid = sum(goods.values(), Fraction(0)) + sum(shipping.values(), Fraction(0))
    if bought.cost != paid:
        faults.append(f"{bought.cost} is said to be paid, but packs and shipping are {paid}")
    if not 0 <= bought.lower_bound <= paid:
        faults.append(f"the bound {bought.lower_bound} is not between nothing and {paid}")
    on_hand = {one.name: one for one in problem.stock}
    given = {one.name: one for one in bought.problem.stock}
    if given != on_hand | shelf or len(given) != len(bought.problem.stock):
        faults.append("the layouts are cut from other sheets than those on hand and those bought")
    if replace(bought.problem, stock=()) != replace(problem, stock=()):
        faults.append("the layouts are for another problem")
    return faults
