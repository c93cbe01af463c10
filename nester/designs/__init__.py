"""Designs: rules that turn a few sizes into exact pieces."""

from __future__ import annotations

from nester.designs.base import Design, DesignRefusal, Kind, Setting, Settings, Value, read_settings
from nester.designs.folded_card import FOLDED_CARD
from nester.designs.layered_box import LAYERED_BOX
from nester.designs.roles import check_roles, paper_for, roles_of
from nester.designs.tray_box import TRAY_BOX

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
    design.name: design for design in (LAYERED_BOX, TRAY_BOX, FOLDED_CARD)
}
"""The built-in designs by name, in the order they are listed."""
