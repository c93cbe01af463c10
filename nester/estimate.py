"""What must be bought for so many boxes if nothing is on hand, and what each costs in paper."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from nester.layouts import ANY_TRIMMER, SMALLEST_OFFCUT, Cuts, Effort, Problem, Trimmer, Want
from nester.measure import Length
from nester.offers import Bought, Offer, Terms
from nester.packing import Progress, Stop, never, purchase
from nester.pieces import Piece, Turn
from nester.verify_purchase import require_purchase
from nester.voids import voids

__all__ = ["Estimate", "estimate", "wants_of"]


@dataclass(frozen=True)
class Estimate:
    """The purchase for so many boxes, with nothing on hand."""

    quantity: int
    bought: Bought

    @property
    def each(self) -> Fraction:
        """What the paper for one box costs, shipping included."""
        return self.bought.cost / self.quantity


def wants_of(
    pieces: Iterable[Piece],
    paper_of: Callable[[Piece], str],
    directional: Collection[str] = (),
    smallest_offcut: Length = SMALLEST_OFFCUT,
) -> tuple[Want, ...]:
    """Return the pieces of one box as wants of a cutting problem; equal ones are one want.

    Parameters
    ----------
    paper_of
        Says of which paper a piece is cut.
    directional
        Papers with a top: upright pieces don't turn on them.
    """
    numbers: dict[tuple[Piece, str], int] = {}
    for piece in pieces:
        key = replace(piece, quantity=1), paper_of(piece)
        numbers[key] = numbers.get(key, 0) + piece.quantity
    smallest: dict[str, int] = {}
    for piece, paper in numbers:
        short = min(piece.width, piece.height)
        smallest[paper] = min(short, smallest.get(paper, short))
    return tuple(
        Want(
            f"{number} {piece.name}",
            piece.width,
            piece.height,
            quantity,
            paper,
            Turn.NONE if piece.upright and paper in directional else Turn.ANY,
            () if piece.is_rectangle else voids(piece, min(smallest_offcut, smallest[paper])),
        )
        for number, ((piece, paper), quantity) in enumerate(numbers.items(), start=1)
    )


def estimate(
    wants: Sequence[Want],
    quantities: Sequence[int],
    offers: Sequence[Offer],
    terms: Sequence[Terms] = (),
    *,
    cuts: Cuts = Cuts.STRAIGHT,
    gap: Length = 0,
    trimmer: Trimmer = ANY_TRIMMER,
    smallest_offcut: Length = SMALLEST_OFFCUT,
    effort: Effort = Effort.QUICK,
    stop: Stop = never,
    on_progress: Callable[[Progress], None] = lambda _: None,
) -> list[Estimate]:
    """Return the cheapest purchase found for each number of boxes; each has been judged.

    Parameters
    ----------
    wants
        Of one box.
    quantities
        Numbers of boxes, each one or more.
    effort, stop, on_progress
        As of `nester.packing.purchase`.

    Raises
    ------
    Refusal
        If an offer or a supplier's terms have no meaning.
    """
    found = []
    for quantity in quantities:
        problem = Problem(
            tuple(replace(want, quantity=want.quantity * quantity) for want in wants),
            (),
            cuts,
            smallest_offcut,
            gap,
            trimmer,
        )
        bought = purchase(problem, offers, terms, effort, stop=stop, on_progress=on_progress)
        require_purchase(problem, offers, terms, bought)
        found.append(Estimate(quantity, bought))
    return found
