"""Kinds of reports, in a separate file: the command line needs them before it loads more."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["ReportGrouping"]


class ReportGrouping(StrEnum):
    """What a report has a line for."""

    PAPER = "paper"
    DESIGN = "design"
    MONTH = "month"
    SUPPLIER = "supplier"
