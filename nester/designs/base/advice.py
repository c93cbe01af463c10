"""Advice on a piece before it is cut and folded, and notes on safety."""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, cm
from nester.core.piece import Grain, Line, Piece, Point

__all__ = [
    "MIN_CARD_GRAMMAGE",
    "MIN_HEAVY_GRAMMAGE",
    "MIN_LONG_FOLD",
    "piece_advice",
    "safety_notes",
]

MIN_CARD_GRAMMAGE = 160
"""Paper of this many g/m² or more is scored before folding (common practice, no source)."""
MIN_HEAVY_GRAMMAGE = 240
"""Card of this many g/m² or more may crack across the grain (common practice, no source)."""
MIN_LONG_FOLD: Length = cm(15)
"""A fold of this length or more is long (common practice, no source)."""


def piece_advice(piece: Piece, grammage: int, grain_known: bool) -> tuple[str, ...]:
    """Return short notes for the maker of a piece; all of them common practice, no source.

    Parameters
    ----------
    piece
        The piece.
    grammage
        Weight of its paper in g/m².
    grain_known
        Whether it is known which way the grain of its paper runs.
    """
    return tuple(
        note
        for note in (
            *_scoring_advice(piece, grammage),
            *_grain_advice(piece, grammage, grain_known),
            *_shape_advice(piece),
            *_glue_advice(piece),
        )
        if note
    )


def _scoring_advice(piece: Piece, grammage: int) -> Iterable[str]:
    if piece.scores and grammage >= MIN_CARD_GRAMMAGE:
        yield f"Score before folding: card of {grammage} g/m² folds crooked or cracks otherwise."


def _grain_advice(piece: Piece, grammage: int, grain_known: bool) -> Iterable[str]:
    if not piece.scores:
        return
    along = {Grain.WIDTH: "from left to right", Grain.HEIGHT: "from top to bottom"}
    if piece.grain in along:
        yield f"Let the grain run {along[piece.grain]}: folds along the grain crack less."
    if not grain_known and grammage >= MIN_CARD_GRAMMAGE:
        yield "The grain isn't known: paper bends more easily along it; try a spare piece."
    if grammage >= MIN_HEAVY_GRAMMAGE and _longest_fold_across_grain(piece) >= MIN_LONG_FOLD:
        yield (
            "A long fold runs across the grain in heavy card: score it twice, fold it slowly, and"
            " try a spare piece first."
        )


def _longest_fold_across_grain(piece: Piece) -> Length:
    """Return the longest fold across the grain, in fine units.

    A piece of any grain is taken to be cut the better way.  Only folds along the sides of the
    blank count: a slanted fold is across the grain either way.
    """
    folds = [score.line for score in piece.scores]
    level = max((abs(a.x - b.x) for a, b in folds if a.y == b.y), default=0)
    upright = max((abs(a.y - b.y) for a, b in folds if a.x == b.x), default=0)
    return {Grain.WIDTH: upright, Grain.HEIGHT: level, Grain.ANY: min(level, upright)}[piece.grain]


def _shape_advice(piece: Piece) -> Iterable[str]:
    if piece.slits:
        yield "Cut a slit only as far as it is drawn: beyond its end the fold tears."
    if any(_is_slanted(side) for tab in piece.glue for side in _sides(tab)):
        yield "Cut the slanted ends of the tabs: they keep a tab clear of the folds."
    if piece.holes:
        when = "before folding, " if piece.scores else ""
        yield f"Punch holes {when}with a spare sheet underneath."


def _glue_advice(piece: Piece) -> Iterable[str]:
    if piece.glue:
        yield (
            "Fold it once without glue to see that it closes; then glue thinly: wet glue warps"
            " paper."
        )


def _sides(ring: tuple[Point, ...]) -> Iterable[Line]:
    return (Line(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True))


def _is_slanted(side: Line) -> bool:
    return side.start.x != side.end.x and side.start.y != side.end.y


def safety_notes(pieces: Iterable[Piece]) -> tuple[str, ...]:
    """Return the notes on safety for making some pieces, to be shown once with them.

    They refer to the instructions of tools and glues, and to local rules, and replace neither.
    """
    pieces = list(pieces)
    notes = [
        "Knives and trimmers cut: keep fingers behind the rule, cut away from yourself on a mat,"
        " and follow the tool maker's instructions and the rules where you work."
    ]
    if any(piece.glue or piece.mounted for piece in pieces):
        notes.append(
            "Glue: follow its maker's instructions, air the room, and take care not to burn"
            " yourself on hot glue."
        )
    if any(hole.eyelet for piece in pieces for hole in piece.holes):
        notes.append("Eyelets are small parts: keep them away from small children.")
    return tuple(notes)
