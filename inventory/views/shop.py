"""The shop itself as plain data: its rules, and whether its records are sound."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.shop.settings import get_shop, record_counts
from inventory.views.production.cutting import trimmer_as_json
from nester.core.lengths import to_mm_number

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.maintenance.check import CheckReport

__all__ = ["check_as_json", "shop_as_json"]


def shop_as_json(session: Session, place: str) -> dict[str, Any]:
    """Return the shop's rules and how much is in it; lengths are numbers of millimetres.

    Parameters
    ----------
    place
        Its file, or where its database is.
    """
    shop = get_shop(session)
    papers, stock, orders = record_counts(session)
    return {
        "name": shop.name,
        "file": place,
        "unit": str(shop.unit),
        "currency": shop.currency,
        "smallest_offcut": to_mm_number(shop.smallest_offcut),
        "offcut_worth": shop.offcut_worth,
        "gap": to_mm_number(shop.gap),
        "trimmer": trimmer_as_json(shop.trimmer),
        "follow_grain": shop.follow_grain,
        "making_days": shop.making_days,
        "papers": papers,
        "stash": stock,
        "orders": orders,
    }


def check_as_json(place: str, report: CheckReport) -> dict[str, Any]:
    """Return what the checks of a shop found."""
    from inventory.maintenance.check import CHECKS

    return {
        "shop": place,
        "sound": not report.faults,
        "checks": [
            {"check": name, "proves": proves, "made": name in report.checks}
            for name, (proves, _) in CHECKS.items()
        ],
        "findings": [
            {
                "check": finding.check,
                "fault": finding.fault,
                "where": finding.where,
                "says": finding.message,
            }
            for finding in report.findings
        ],
    }
