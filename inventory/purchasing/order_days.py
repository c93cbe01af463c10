"""By when paper must be ordered to be there for an order."""

from __future__ import annotations

from datetime import date, timedelta

__all__ = ["latest_order_date", "paper_needed_by"]


def paper_needed_by(due: date, making_days: int) -> date:
    """Return the last day on which paper may come for an order that is due on a day.

    Parameters
    ----------
    making_days
        How long it takes to make, in days (`inventory.database.tables.shop.Shop.making_days`).
    """
    return _days_before(due, making_days)


def latest_order_date(due: date, making_days: int, delivery_days: int) -> date:
    """Return the last day on which paper may be ordered for an order that is due on a day."""
    return _days_before(due, making_days + delivery_days)


def _days_before(day: date, days: int) -> date:
    try:
        return day - timedelta(days)
    except OverflowError:
        return date.min
