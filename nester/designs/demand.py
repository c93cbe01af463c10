"""The demand of a design's pieces for each paper, as a cutting problem."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from nester.core.errors import Refusal
from nester.core.geometry import voids
from nester.core.lengths import Length
from nester.core.piece import Grain, Piece, Turn
from nester.core.problem import (
    MIN_OFFCUT_SIDE,
    UNLIMITED_TRIMMER,
    Cuts,
    Demand,
    Problem,
    StockItem,
    Trimmer,
)
from nester.designs.base.roles import paper_for

__all__ = ["CuttingRules", "demands_by_paper", "drop_conflicting_grain"]


@dataclass(frozen=True)
class CuttingRules:
    """How paper is cut.

    Attributes
    ----------
    directional
        Papers whose pattern has a top: pieces that must stand upright are not turned on them.
    follow_grain
        Whether pieces with a grain are cut along the grain of sheets on which it is known.
    """

    cuts: Cuts = Cuts.STRAIGHT
    gap: Length = 0
    trimmer: Trimmer = UNLIMITED_TRIMMER
    smallest_offcut: Length = MIN_OFFCUT_SIDE
    directional: frozenset[str] = frozenset()
    follow_grain: bool = False

    def problem(self, demands: tuple[Demand, ...], stock: tuple[StockItem, ...]) -> Problem:
        """Return the problem of cutting these demands from stock by these rules."""
        return Problem(demands, stock, self.cuts, self.smallest_offcut, self.gap, self.trimmer)


def demands_by_paper(
    pieces: Iterable[Piece], quantity: int, papers: Mapping[str, str], rules: CuttingRules
) -> dict[str, tuple[Demand, ...]]:
    """Return the demand of some copies of an object for each of its papers.

    Each piece becomes a demand of the same name.

    Parameters
    ----------
    pieces
        The pieces of one object.
    quantity
        How many copies of the object.
    papers
        The chosen papers by role (see `paper_for`).

    Raises
    ------
    Refusal
        If a piece has no paper.
    """
    pieces_by_paper: dict[str, list[Piece]] = {}
    for piece in pieces:
        paper = paper_for(piece.role, papers)
        if paper is None:
            raise Refusal(f"no paper is named for {piece.role}; name one for it, or one for all")
        pieces_by_paper.setdefault(paper, []).append(piece)
    demands = {}
    for paper, paper_pieces in pieces_by_paper.items():
        smallest_void = min(min(piece.width, piece.height) for piece in paper_pieces)
        smallest_void = min(smallest_void, rules.smallest_offcut)
        turns = [
            Turn.NONE if piece.upright and paper in rules.directional else Turn.ANY
            for piece in paper_pieces
        ]
        demands[paper] = tuple(
            Demand(
                piece.name,
                piece.width,
                piece.height,
                piece.quantity * quantity,
                paper,
                turn,
                () if piece.is_rectangle else voids(piece, smallest_void),
                piece.grain if rules.follow_grain and turn is Turn.ANY else Grain.ANY,
            )
            for piece, turn in zip(paper_pieces, turns, strict=True)
        )
    return demands


def drop_conflicting_grain(
    problem: Problem, on_sale: Iterable[StockItem] = ()
) -> tuple[Problem, list[str]]:
    """Drop the grain of demands that can't be met together with upright pieces.

    That happens to a paper whose grain runs one way in some sheets and the other way in others:
    pieces that follow the grain would turn from sheet to sheet, and upright pieces must not.

    Parameters
    ----------
    on_sale
        Sheets that may be bought; their grain counts too, but they are not added to the problem.

    Returns
    -------
    Problem
        A problem that the optimizer takes.
    list of str
        The papers whose grain was dropped.
    """
    grains: dict[str, set[Grain]] = defaultdict(set)
    for item in (*problem.stock, *on_sale):
        if min(item.usable[2:]) > 0:
            grains[item.paper].add(item.grain)
    with_grain = {demand.paper for demand in problem.demands if demand.grain is not Grain.ANY}
    upright = {demand.paper for demand in problem.demands if demand.turn is not Turn.ANY}
    clashing = {paper for paper in with_grain & upright if len(grains[paper] - {Grain.ANY}) > 1}
    demands = tuple(
        replace(demand, grain=Grain.ANY) if demand.paper in clashing else demand
        for demand in problem.demands
    )
    return replace(problem, demands=demands), sorted(clashing, key=str.casefold)
