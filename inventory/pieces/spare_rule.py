"""How many spare pieces are cut beside what is needed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from inventory.core.text import shorten
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from inventory.core.plan import PartType
    from nester.core.piece import Piece
    from nester.packing import OrderDemand

__all__ = ["NO_SPARES", "SpareRule", "read_spare_rule"]


@dataclass(frozen=True)
class SpareRule:
    """How many pieces are cut beside what orders need, as some go wrong.

    Attributes
    ----------
    percent
        Of each kind of piece, rounded up to whole pieces.
    of_parts
        So many of each kind of piece of a part of the design, by its role or the part of that
        before a point, or by the name of a piece.
    """

    percent: Fraction = Fraction(0)
    of_parts: Mapping[str, int] = field(default_factory=dict)

    def extras(
        self, parts: Sequence[PartType], order_demands: Iterable[OrderDemand]
    ) -> Counter[str]:
        """Return how many to cut beside, by the index of the part."""
        totals: Counter[str] = Counter()
        for order_demand in order_demands:
            totals.update(order_demand.pieces)
        return +Counter(
            {name: self.extra_of(parts[int(name)].piece, number) for name, number in totals.items()}
        )

    def extra_of(self, piece: Piece, quantity: int) -> int:
        """Return how many of a piece to cut beside a number of it."""
        for key in (piece.name, piece.role, piece.role.partition(".")[0]):
            if key in self.of_parts:
                return self.of_parts[key]
        return ceil(quantity * self.percent / 100)


NO_SPARES = SpareRule()


def read_spare_rule(texts: Iterable[str]) -> SpareRule:
    """Read how many spare pieces to cut: ``5%`` of each kind, ``tier=1`` of each of a part.

    Raises
    ------
    Refusal
        If it can't be read.
    """
    percent: Fraction = Fraction(0)
    of_parts: dict[str, int] = {}
    for text in texts:
        name, equals, number = (word.strip() for word in text.rpartition("="))
        share = re.fullmatch(r"([0-9]{1,3}(?:[.,][0-9]{1,3})?) ?%", number)
        if share and not equals:
            percent = Fraction(share[1].replace(",", "."))
            if percent > 100:
                raise Refusal(f"'{shorten(text)}': spare pieces can be 100% at most")
        elif equals and name and re.fullmatch("[0-9]{1,4}", number):
            of_parts[name] = int(number)
        else:
            raise Refusal(
                f"'{shorten(text)}' does not say how many spare pieces; write 5%, or tier=1"
            )
    return SpareRule(percent, of_parts)
