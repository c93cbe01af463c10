"""What objects want of their papers, by the rules of whoever cuts them, as a cutting problem."""

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
        Whether pieces that wish for a grain follow it, where a sheet's is known.
    """

    cuts: Cuts = Cuts.STRAIGHT
    gap: Length = 0
    trimmer: Trimmer = UNLIMITED_TRIMMER
    smallest_offcut: Length = MIN_OFFCUT_SIDE
    directional: frozenset[str] = frozenset()
    follow_grain: bool = False

    def problem(self, wants: tuple[Demand, ...], stock: tuple[StockItem, ...]) -> Problem:
        """Return the problem of cutting wants from stock by these rules."""
        return Problem(wants, stock, self.cuts, self.smallest_offcut, self.gap, self.trimmer)


def demands_by_paper(
    pieces: Iterable[Piece], quantity: int, papers: Mapping[str, str], rules: CuttingRules
) -> dict[str, tuple[Demand, ...]]:
    """Return what so many objects want of each of their papers; wants are called as pieces are.

    Raises
    ------
    Refusal
        If a piece has no paper.
    """
    of_paper: dict[str, list[Piece]] = {}
    for piece in pieces:
        paper = paper_for(piece.role, papers)
        if paper is None:
            raise Refusal(f"no paper is named for {piece.role}; name one for it, or one for all")
        of_paper.setdefault(paper, []).append(piece)
    wants = {}
    for paper, its in of_paper.items():
        least = min(min(piece.width, piece.height) for piece in its)
        least = min(least, rules.smallest_offcut)
        turns = [
            Turn.NONE if piece.upright and paper in rules.directional else Turn.ANY for piece in its
        ]
        wants[paper] = tuple(
            Demand(
                piece.name,
                piece.width,
                piece.height,
                piece.quantity * quantity,
                paper,
                turn,
                () if piece.is_rectangle else voids(piece, least),
                piece.grain if rules.follow_grain and turn is Turn.ANY else Grain.ANY,
            )
            for piece, turn in zip(its, turns, strict=True)
        )
    return wants


def drop_conflicting_grain(
    problem: Problem, on_sale: Iterable[StockItem] = ()
) -> tuple[Problem, list[str]]:
    """Drop the grain wishes of papers on which wishes and upright pieces can't both be had.

    That is where fibres lie one way in some sheets and another way in others: pieces that follow
    the grain would have to be turned from one sheet to the next, and upright ones must not be.

    Parameters
    ----------
    on_sale
        Sheets that may be bought beside what the problem has; they don't come into it.

    Returns
    -------
    Problem
        One that the optimizer takes.
    list of str
        The papers whose wishes were dropped.
    """
    grains: dict[str, set[Grain]] = defaultdict(set)
    for one in (*problem.stock, *on_sale):
        if min(one.usable[2:]) > 0:
            grains[one.paper].add(one.grain)
    wished = {want.paper for want in problem.demands if want.grain is not Grain.ANY}
    upright = {want.paper for want in problem.demands if want.turn is not Turn.ANY}
    clashing = {paper for paper in wished & upright if len(grains[paper] - {Grain.ANY}) > 1}
    wants = tuple(
        replace(want, grain=Grain.ANY) if want.paper in clashing else want
        for want in problem.demands
    )
    return replace(problem, demands=wants), sorted(clashing, key=str.casefold)
