"""Pieces at full size as DXF, for whatever machine reads it.

Release R2010 (AC1024), units millimetres, y upwards.  The layer says what is to be done:
``CUT``, ``SCORE_VALLEY``, ``SCORE_MOUNTAIN``, ``DRAW`` for glue areas; ``LABEL`` holds words,
below each piece, so that none is drawn on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from io import StringIO
from typing import TYPE_CHECKING, TypeAlias

from nester.core.lengths import UNITS_PER_MM, Length, Unit
from nester.core.piece import Fold, Line, Piece, Point
from nester.drawing.templates.svg import DRAW_PATTERN, FOLD_PATTERNS, piece_caption

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

__all__ = ["CUT", "DRAW", "LABEL", "SCORES", "template_dxf"]

CUT, DRAW, LABEL = "CUT", "DRAW", "LABEL"
SCORES = {Fold.VALLEY: "SCORE_VALLEY", Fold.MOUNTAIN: "SCORE_MOUNTAIN"}

_LABEL_HEIGHT = 4.0
"""Height of the letters, in mm."""
_LETTER_WIDTH = 0.9
"""Width of a letter by its height, generously; a machine's font isn't known."""
_GAP = 15.0
"""Between pieces, in mm."""

_Projection: TypeAlias = Callable[[Point], tuple[float, float]]


def template_dxf(pieces: Sequence[Piece], unit: Unit = Unit.MM) -> str:
    """Draw pieces at full size, side by side from left to right, their faces towards the reader.

    Each is drawn once; its label says how many are wanted.  Lower edges lie on y = 0.

    Parameters
    ----------
    pieces
        What to draw.
    unit
        The unit of the sizes in the labels; the drawing itself is in millimetres.

    Returns
    -------
    str
        A DXF document, to be stored as UTF-8; the same pieces always give the same text.
    """
    from ezdxf import units
    from ezdxf.filemanagement import new

    with _no_time_stamps():
        document = new("R2010", units=units.MM)
        _layers(document)
        space = document.modelspace()
        left = 0.0
        for piece in pieces:
            label = _escaped(piece_caption(piece, unit))
            _draw(space, piece, _projection(piece, left))
            below = (left, -2 * _LABEL_HEIGHT)
            look = {"layer": LABEL, "height": _LABEL_HEIGHT, "insert": below}
            space.add_text(label, dxfattribs=look)
            left += max(_mm(piece.width), len(label) * _LABEL_HEIGHT * _LETTER_WIDTH) + _GAP
        written = StringIO()
        document.write(written)
    return written.getvalue()


@contextmanager
def _no_time_stamps() -> Iterator[None]:
    """Let ezdxf write the same document each time: fixed dates and identifiers."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _layers(document: Drawing) -> None:
    document.layers.add(CUT)
    dotted = (DRAW, DRAW_PATTERN, "glue area")
    folds = [(SCORES[fold], FOLD_PATTERNS[fold], f"{fold} fold") for fold in Fold]
    for name, pattern, means in (*folds, dotted):
        # Strokes are written as positive lengths and gaps as negative ones, after their sum.
        parts = [-part if at % 2 else part for at, part in enumerate(pattern)]
        lengths = [float(part) for part in (sum(pattern), *parts)]
        document.linetypes.add(name, lengths, description=means)
        document.layers.add(name, linetype=name)
    document.layers.add(LABEL)


def _draw(space: Modelspace, piece: Piece, place: _Projection) -> None:
    """Draw holes and slits before the outline: a piece that is cut free may move."""

    def straight(line: Line, layer: str) -> None:
        space.add_line(place(line.start), place(line.end), dxfattribs={"layer": layer})

    for score in piece.scores:
        straight(score.line, SCORES[score.fold])
    for area in piece.glue:
        space.add_lwpolyline(map(place, area), close=True, dxfattribs={"layer": DRAW})
    for hole in piece.holes:
        radius = _mm(hole.diameter) / 2
        space.add_circle(place(hole.centre), radius, dxfattribs={"layer": CUT})
    for slit in piece.slits:
        straight(slit, CUT)
    space.add_lwpolyline(map(place, piece.outline), close=True, dxfattribs={"layer": CUT})


def _projection(piece: Piece, left: float) -> _Projection:
    """Turn a piece's places, y down, into those of the document, y up."""

    def place(point: Point) -> tuple[float, float]:
        return (left + _mm(point.x), _mm(piece.height - point.y))

    return place


def _mm(length: Length) -> float:
    return length / UNITS_PER_MM


def _escaped(words: str) -> str:
    """Write words so that no sign in them is taken for a code of the format (DXF, TEXT)."""
    return words.replace("%%", "%%%%%%").replace("^", "^ ")
