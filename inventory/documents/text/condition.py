"""What a sheet or an offcut is like, in words."""

from __future__ import annotations

from collections.abc import Iterable

from inventory.core.text import format_count
from nester.core.lengths import Unit, format_length, format_size
from nester.core.piece import Grain
from nester.core.problem import Margins, Rect

__all__ = ["condition_words", "damage_words"]


def condition_words(
    margins: Margins,
    damaged_areas: Iterable[Rect],
    grain: Grain,
    unit: Unit,
    *,
    briefly: bool = False,
) -> str:
    """Say what a sheet or offcut is like: ``margins 5 mm; grain runs along its width``.

    Parameters
    ----------
    briefly
        Only how many damaged areas there are, not where.
    """
    words = []
    if any(margins):
        edges = dict(zip(margins._fields, margins, strict=True))
        if len(set(margins)) == 1:
            words.append(f"margins {format_length(margins.left, unit)}")
        else:
            each = (f"{edge} {format_length(wide, unit)}" for edge, wide in edges.items() if wide)
            words.append(f"margins {', '.join(each)}")
    areas = list(damaged_areas)
    if briefly and areas:
        words.append(format_count(len(areas), "damaged area"))
    else:
        words += [damage_words(area, unit) for area in areas]
    if grain is not Grain.ANY:
        words.append(f"grain runs along its {grain}")
    return "; ".join(words)


def damage_words(area: Rect, unit: Unit) -> str:
    """Say how large a damaged area is, and where."""
    left, top = format_length(area.x, unit), format_length(area.y, unit)
    size = format_size(area.width, area.height, unit)
    return f"damaged {size}, {left} from the left and {top} from the top edge"
