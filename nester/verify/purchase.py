"""Verifies a purchase plan: its layouts by `nester.verify.layouts`, and its money by itself."""

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
    """Raise unless a purchase is valid for a problem and the offers.

    Raises
    ------
    InvalidPurchaseError
        If what is bought, or what is paid for it, is wrong.
    InvalidPlanError
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
    """Return what is wrong with what is bought and paid; an empty list means that it is valid."""
    faults = []
    offered = set(offers)
    goods: dict[str, Fraction] = defaultdict(Fraction)
    purchased: dict[str, StockItem] = {}
    for offer, packs in bought.lines:
        if offer not in offered:
            faults.append(f"'{offer.name}' is bought, but nobody offers it")
        if offer.name in purchased:
            faults.append(f"'{offer.name}' is listed twice")
        if packs < offer.min_packs:
            faults.append(f"'{offer.name}': {packs} packs, but {offer.min_packs} are sold at least")
        goods[offer.supplier] += packs * offer.pack_price
        purchased[offer.name] = StockItem(
            offer.name,
            offer.width,
            offer.height,
            packs * offer.pack_size,
            offer.pack_price / offer.pack_size,
            offer.paper,
            offer.margins,
            grain=offer.grain,
        )
    terms_of = {each.supplier: each for each in terms}
    shipping: dict[str, Fraction] = {}
    for supplier, value in goods.items():
        rule = terms_of.get(supplier)
        shipping[supplier] = rule.shipping if rule else Fraction(0)
        if rule and rule.free_shipping_from is not None and value >= rule.free_shipping_from:
            shipping[supplier] = Fraction(0)
        if rule and value < rule.min_order_value:
            faults.append(
                f"'{supplier}' sells nothing below {rule.min_order_value}, but gets {value}"
            )
    if dict(bought.shipping) != shipping:
        faults.append(f"shipping is given as {dict(bought.shipping)}, but it is {shipping}")
    paid = sum(goods.values(), Fraction(0)) + sum(shipping.values(), Fraction(0))
    if bought.cost != paid:
        faults.append(f"the cost is given as {bought.cost}, but packs and shipping are {paid}")
    if not 0 <= bought.lower_bound <= paid:
        faults.append(f"the bound {bought.lower_bound} is not between 0 and {paid}")
    on_hand = {item.name: item for item in problem.stock}
    available = {item.name: item for item in bought.problem.stock}
    if available != on_hand | purchased or len(available) != len(bought.problem.stock):
        faults.append("the layouts are cut from other sheets than those on hand and those bought")
    if replace(bought.problem, stock=()) != replace(problem, stock=()):
        faults.append("the layouts are for another problem")
    return faults
