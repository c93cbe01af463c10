"""A single layered box on one sheet size: every paper's plan is proven to be the best."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction

import pytest

from nester.core.geometry import voids
from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Piece
from nester.core.problem import MIN_OFFCUT_SIDE, Cuts, Demand, Effort, Problem, StockItem
from nester.designs import DESIGNS, read_settings
from nester.packing import solve
from nester.verify import verify

BOX = DESIGNS["layered-box"]
SMALL = {"panel": "12cm", "tiers": "3", "mats": "outside", "cards": "4", "photos": "4"}
MIDDLE = {"panel": "15cm", "tiers": "4", "mats": "both", "cards": "4", "photos": "6"}
LARGE = {"panel": "18cm", "tiers": "4", "mats": "both", "cards": "4", "photos": "4"}


def paper_of(role: str) -> str:
    part = role.partition(".")[0]
    return part if part in ("mat", "card-mat", "photo") else "card"


def one_box(settings: dict[str, str], width: int, height: int, cuts: Cuts) -> Problem:
    """Return a box's pieces, with their voids as batches pass them."""
    counts: Counter[tuple[Piece, str]] = Counter()
    read = read_settings(BOX, settings, Unit.CM, lambda _: mm("0.3"))
    pieces = [(piece, paper_of(piece.role)) for piece in BOX.pieces(read, Unit.CM)]
    for piece, paper in pieces:
        counts[replace(piece, quantity=1), paper] += piece.quantity
    least = {
        paper: min(min(p.width, p.height) for p, of in pieces if of == paper)
        for paper in {paper for _, paper in pieces}
    }
    wants = [
        Demand(
            str(number),
            piece.width,
            piece.height,
            quantity,
            paper,
            voids=() if piece.is_rectangle else voids(piece, min(MIN_OFFCUT_SIDE, least[paper])),
        )
        for number, ((piece, paper), quantity) in enumerate(counts.items())
    ]
    stock = [StockItem(paper, width, height, None, Fraction(1), paper) for paper in sorted(least)]
    return Problem(tuple(wants), tuple(stock), cuts)


@pytest.mark.parametrize("cuts", list(Cuts))
@pytest.mark.parametrize(
    ("settings", "width", "height"),
    [(SMALL, 50, 70), (SMALL, 56, 71), (MIDDLE, 50, 70), (MIDDLE, 56, 71), (LARGE, 70, 100)],
)
def test_every_paper_of_a_box_is_proven(
    settings: dict[str, str], width: int, height: int, cuts: Cuts
) -> None:
    problem = one_box(settings, cm(width), cm(height), cuts)
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert not answer.unplaced
    assert answer.cost == answer.lower_bound
