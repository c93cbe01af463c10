"""The designs that come with Quirebox."""

from __future__ import annotations

from nester.designs.base.design import Design
from nester.designs.boxes.drawer_box import DRAWER_BOX
from nester.designs.boxes.folded_box import FOLDED_BOX
from nester.designs.boxes.layered_box.design import LAYERED_BOX
from nester.designs.boxes.tray_box import TRAY_BOX
from nester.designs.cards.accordion_card import ACCORDION_CARD
from nester.designs.cards.envelope import ENVELOPE
from nester.designs.cards.folded_card import FOLDED_CARD
from nester.designs.cards.gatefold_card import GATEFOLD_CARD
from nester.designs.cards.gift_tag import GIFT_TAG
from nester.designs.cards.pocket_card import POCKET_CARD
from nester.designs.cards.waterfall_card import WATERFALL_CARD

__all__ = ["DESIGNS"]

DESIGNS: dict[str, Design] = {
    design.name: design
    for design in (
        LAYERED_BOX,
        TRAY_BOX,
        DRAWER_BOX,
        FOLDED_BOX,
        FOLDED_CARD,
        GATEFOLD_CARD,
        ACCORDION_CARD,
        WATERFALL_CARD,
        POCKET_CARD,
        ENVELOPE,
        GIFT_TAG,
    )
}
"""The built-in designs by name, in the order they are listed."""
