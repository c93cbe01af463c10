"""How the shop cuts paper, as rules for whatever plans cuts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.database.tables.enums import Pattern
from inventory.shop.settings import get_shop
from inventory.stock.papers import list_papers
from nester.core.problem import Cuts
from nester.designs.demand import CuttingRules

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = ["shop_rules"]


def shop_rules(session: Session, cuts: Cuts = Cuts.STRAIGHT) -> CuttingRules:
    """Return how the shop cuts paper."""
    shop = get_shop(session)
    directional = (
        paper.name for paper in list_papers(session) if paper.pattern is Pattern.DIRECTIONAL
    )
    return CuttingRules(
        cuts,
        shop.gap,
        shop.trimmer,
        shop.smallest_offcut,
        frozenset(directional),
        shop.follow_grain,
    )
