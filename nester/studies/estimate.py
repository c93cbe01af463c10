"""What must be bought for a number of boxes if nothing is on hand, and what each costs in paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.core.problem import Demand, Effort
from nester.core.purchase import Offer, PaperPurchasePlan, SupplierTerms
from nester.designs.demand import CuttingRules, drop_conflicting_grain
from nester.packing import Progress, Stop, never, purchase
from nester.verify import require_valid_purchase

__all__ = ["Estimate", "estimate"]


@dataclass(frozen=True)
class Estimate:
    """The purchase for a number of boxes, with nothing on hand."""

    quantity: int
    purchase_plan: PaperPurchasePlan

    @property
    def cost_per_box(self) -> Fraction:
        """What the paper for one box costs, shipping included."""
        return self.purchase_plan.cost / self.quantity


def estimate(
    demands: Sequence[Demand],
    quantities: Sequence[int],
    offers: Sequence[Offer],
    terms: Sequence[SupplierTerms],
    rules: CuttingRules,
    *,
    effort: Effort = Effort.QUICK,
    processes: int = 1,
    extra: Callable[[Demand, int], int] = lambda *_: 0,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> list[Estimate]:
    """Return the cheapest purchase found for each number of boxes; each has been verified.

    Parameters
    ----------
    demands
        The pieces of one box.
    quantities
        Numbers of boxes, each one or more.
    rules
        How they are cut.  A wanted grain direction is dropped where the grain runs otherwise in
        some offers of a paper that also has pieces which must stand upright.
    extra
        Gives how many to cut beside a number of a piece.
    effort, processes, stop, on_progress
        As of `nester.packing.purchase.purchase`.

    Raises
    ------
    Refusal
        If an offer or a supplier's terms are invalid.
    """
    estimates = []
    offered_stock = [offer.as_stock_item(None) for offer in offers]
    for quantity in quantities:
        total_demands = tuple(
            replace(demand, quantity=number + extra(demand, number))
            for demand in demands
            for number in (demand.quantity * quantity,)
        )
        problem, _ = drop_conflicting_grain(rules.problem(total_demands, ()), offered_stock)
        purchase_plan = purchase(
            problem,
            offers,
            terms,
            effort,
            processes=processes,
            stop=stop,
            on_progress=on_progress,
        )
        require_valid_purchase(problem, offers, terms, purchase_plan)
        estimates.append(Estimate(quantity, purchase_plan))
    return estimates
