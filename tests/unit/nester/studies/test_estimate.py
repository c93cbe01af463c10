"""What to buy with nothing on hand: how wishes for a grain meet what is offered."""

from __future__ import annotations

from fractions import Fraction

from nester.core.piece import Grain, Turn
from nester.core.problem import Demand
from nester.core.purchase import Offer
from nester.designs.demand import CuttingRules
from nester.studies.estimate import estimate

CARD = Demand("card", 20, 18, 1, grain=Grain.HEIGHT)
"""Two of them, turned, fill a sheet of 36 × 20; with fibres along its height only one does."""


def offer(grain: Grain) -> Offer:
    return Offer(f"sheet {grain}", "", "", 36, 20, 1, Fraction(1), grain=grain)


def test_a_wish_for_a_grain_is_kept_to() -> None:
    for grain, paid in ((Grain.HEIGHT, 10), (Grain.WIDTH, 5), (Grain.ANY, 5)):
        (ten,) = estimate((CARD,), (10,), (offer(grain),), (), CuttingRules())
        assert ten.purchase_plan.cost == paid


def test_a_wish_is_dropped_where_upright_pieces_forbid_it() -> None:
    """What is upright can't be turned from one sheet to the next, as the wish would ask."""
    upright = Demand("label", 5, 5, 1, turn=Turn.NONE)
    offers = (offer(Grain.HEIGHT), offer(Grain.WIDTH))
    (two,) = estimate((CARD, upright), (2,), offers, (), CuttingRules())
    assert not two.purchase_plan.cutting_plan.unplaced
    assert {want.grain for want in two.purchase_plan.problem.demands} == {Grain.ANY}
