"""Designs: rules that turn a few sizes into exact pieces."""

from __future__ import annotations

from nester.designs.base.design import (
    Design,
    Setting,
    SettingKind,
    Settings,
    SettingValue,
    read_settings,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.roles import check_roles, paper_for, roles_of
from nester.designs.catalogue import DESIGNS

__all__ = [
    "DESIGNS",
    "Design",
    "DesignRefusal",
    "Setting",
    "SettingKind",
    "SettingValue",
    "Settings",
    "check_roles",
    "paper_for",
    "read_settings",
    "roles_of",
]
