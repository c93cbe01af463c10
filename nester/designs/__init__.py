"""Designs: rules that turn a few sizes into exact pieces."""

from __future__ import annotations

from nester.designs.accordion_card import ACCORDION_CARD
from nester.designs.base import Design, DesignRefusal, Kind, Setting, Settings, Value, read_settings
from nester.designs.drawer_box import DRAWER_BOX
from nester.designs.envelope import ENVELOPE
from nester.designs.folded_box import FOLDED_BOX
from nester.designs.folded_card import FOLDED_CARD
from nester.designs.gatefold_card import GATEFOLD_CARD
from nester.designs.gift_tag import GIFT_TAG
from nester.designs.layered_box import LAYERED_BOX
from nester.designs.pocket_card import POCKET_CARD
from nester.designs.roles import check_roles, paper_for, roles_of
from nester.designs.tray_box import TRAY_BOX
from nester.designs.waterfall_card import WATERFALL_CARD

__all__ = [
    "DESIGNS",
    "Design",
    "DesignRefusal",
    "Kind",
    "Setting",
    "Settings",
    "Value",
    "check_roles",
    "paper_for",
    "read_settings",
    "roles_of",
]

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
