"""How a shop cuts, in words; a separate module, as the plan's text takes longer to import."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nester.core.lengths import Length, Unit, format_length

if TYPE_CHECKING:
    from nester.core.problem import Trimmer

__all__ = ["rules_words"]


def rules_words(apart: Length, trimmer: Trimmer, unit: Unit) -> list[str]:
    """Say how far pieces lie apart, and what the trimmer can do."""
    words = []
    if apart:
        words.append(f"Pieces lie at least {format_length(apart, unit)} apart, across or down")
    if trimmer.longest_cut is not None:
        words.append(f"The trimmer cuts up to {format_length(trimmer.longest_cut, unit)}")
    if trimmer.smallest_strip:
        words.append(
            f"The trimmer holds strips from {format_length(trimmer.smallest_strip, unit)} wide"
        )
    if trimmer.stages is not None:
        stages = "1 stage" if trimmer.stages == 1 else f"{trimmer.stages} stages"
        words.append(f"Cut in at most {stages}")
    return words
