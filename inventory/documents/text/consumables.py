"""Ribbon, glue and the like in words: lengths in metres or feet, areas, numbers."""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from nester.core.lengths import UNITS_PER_INCH, UNITS_PER_MM, Unit, format_area
from nester.designs.base.design import Measure

if TYPE_CHECKING:
    from collections.abc import Iterable

    from nester.designs.base.totals import ConsumableTotal

__all__ = ["amount_of_consumable", "consumables_words"]


def amount_of_consumable(measure: Measure, amount: int, unit: Unit) -> str:
    """Write how much of a consumable is needed: ``3.6 m``, ``11.9 ft``, ``0.25 m²``, ``8``.

    Lengths are rounded up, so that what is bought is enough.

    Parameters
    ----------
    amount
        Fine units, square fine units or a number, as `measure` says.
    """
    if measure is Measure.LENGTH:
        per, name = (UNITS_PER_INCH * 12, "ft") if unit is Unit.IN else (UNITS_PER_MM * 1000, "m")
        return f"{ceil(Fraction(amount, per) * 10) / 10:g} {name}"
    return format_area(amount, unit) if measure is Measure.AREA else str(amount)


def consumables_words(totals: Iterable[ConsumableTotal], copies: int, unit: Unit) -> str:
    """Say what some copies need apart from paper: ``ribbon 3.6 m, adhesive 0.25 m²``."""
    return ", ".join(
        f"{total.name} {amount_of_consumable(total.measure, total.amount * copies, unit)}"
        for total in totals
    )
