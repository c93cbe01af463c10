"""Refusals of lengths that are too large or too small for what they are part of."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length
from nester.designs.base.design import Settings, number_in
from nester.designs.base.errors import DesignRefusal

__all__ = ["check_at_least", "check_at_most"]


def check_at_most(settings: Settings, name: str, limit: Length, fault: str, unit: Unit) -> None:
    """Refuse a length over a limit.

    Parameters
    ----------
    name
        The setting.
    limit
        The largest length it may be, in fine units; below 0 no length will do.
    fault
        What a larger length does, as the end of a sentence: ``leaves no mat on a flap``.

    Raises
    ------
    DesignRefusal
        With the length given, the fault and the limit.
    """
    length = number_in(settings, name)
    if length > limit:
        raise DesignRefusal(
            f"{name} {format_length(length, unit)} {fault};"
            f" it may be at most {format_length(max(0, limit), unit)}"
        )


def check_at_least(settings: Settings, name: str, limit: Length, fault: str, unit: Unit) -> None:
    """Refuse a length under a limit (see `check_at_most`)."""
    length = number_in(settings, name)
    if length < limit:
        raise DesignRefusal(
            f"{name} {format_length(length, unit)} {fault};"
            f" it must be at least {format_length(limit, unit)}"
        )
