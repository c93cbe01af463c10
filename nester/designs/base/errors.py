"""What is refused about a design."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nester.core.errors import Refusal

if TYPE_CHECKING:
    pass

__all__ = ["DesignRefusal"]


class DesignRefusal(Refusal):
    """Sizes or choices that a design can't be made with."""
