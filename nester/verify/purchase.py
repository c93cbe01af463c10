"""Judges a purchase: its layouts by `nester.verify.layouts`, and its money by counting again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from nester.core.problem import Problem, Stock
from nester.core.purchase import Bought, Offer, Terms
from nester.verify.layouts import require

__all__ = ["PurchaseFault", "faults_of_purchase", "require_purchase"]


class PurchaseFault(Exception):
    """A purchase that must not be shown; `faults` lists what is wrong, a sentence each."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


def require_purchase(
    problem: Problem, offers: Sequence[Offer], terms: Sequence[Terms], bought: Bought
) -> None:
    """Raise unless a purchase is a right one for a problem, with what is offered.

    Raises
    ------
    PurchaseFault
        If what is bought, or what is paid for it, is wrong.
    PlanFault
        If the layouts are.
    """
    faults = faults_of_purchase(problem, offers, terms, bought)
    if faults:
        raise PurchaseFault(faults)
    require(bought.problem, bought.answer)


def faults_of_purchase(
    problem: Problem, offers: Sequence[Offer], terms: Sequence[Terms], bought: Bought
) -> list[str]:
    """Return what is wrong with what is bought and paid; an empty list means that it is right."""
    faults = []
    offered = set(offers)
    goods: dict[str, Fraction] = defaultdict(Fraction)
    shelf: dict[str, Stock] = {}
    for offer, packs in bought.packs:
        if offer not in offered:
            faults.append(f"'{offer.name}' is bought, but nobody offers it")
        if offer.name in shelf:
            faults.append(f"'{offer.name}' is listed twice")
        if packs < offer.least_packs:
            faults.append(
                f"'{offer.name}': {packs} packs, but {offer.least_packs} are sold at least"
            )
        goods[offer.supplier] += packs * offer.price
        shelf[offer.name] = Stock(
            offer.name,
            offer.width,
            offer.height,
            packs * offer.pack,
            offer.price / offer.pack,
            offer.paper,
            offer.margins,
            grain=offer.grain,
        )
    asked = {one.supplier: one for one in terms}
    shipping: dict[str, Fraction] = {}
    for supplier, value in goods.items():
        its = asked.get(supplier)
        shipping[supplier] = its.shipping if its else Fraction(0)
        if its and its.free_from is not None and value >= its.free_from:
            shipping[supplier] = Fraction(0)
        if its and value < its.least_order:
            faults.append(f"'{supplier}' sells nothing below {its.least_order}, but gets {value}")
    if dict(bought.shipping) != shipping:
        faults.append(f"shipping is given as {dict(bought.shipping)}, but it is {shipping}")
    paid = sum(goods.values(), Fraction(0)) + sum(shipping.values(), Fraction(0))
    if bought.cost != paid:
        faults.append(f"{bought.cost} is said to be paid, but packs and shipping are {paid}")
    if not 0 <= bought.bound <= paid:
        faults.append(f"the bound {bought.bound} is not between nothing and {paid}")
    on_hand = {one.name: one for one in problem.stock}
    given = {one.name: one for one in bought.problem.stock}
    if given != on_hand | shelf or len(given) != len(bought.problem.stock):
        faults.append("the layouts are cut from other sheets than those on hand and those bought")
    if replace(bought.problem, stock=()) != replace(problem, stock=()):
        faults.append("the layouts are for another problem")
    return faults
