"""A piece at full size as SVG, for a machine that reads it or a maker who traces it.

One unit of the drawing is one millimetre (the `viewBox` in mm, `width` and `height` with the
unit ``mm``; SVG 1.1, chapters 7.7 and 7.10), and the piece's own origin is that of the drawing.
What is to be done stands in named groups: ``cut``, ``score-valley``, ``score-mountain`` and
``draw``; ``label`` holds words, beside the piece, so that none is drawn on it.  Coordinates are
rounded to a millionth of a millimetre, which holds 0.001 mm and 1/64 inch exactly.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from fractions import Fraction

from nester.core.lengths import UNITS_PER_MM, Length, Unit, format_size, mm, printable
from nester.core.piece import Fold, Line, Piece, Point
from nester.drawing.canvas.svg import SVG, svg_document, svg_element

__all__ = ["DRAW_PATTERN", "FOLD_PATTERNS", "piece_caption", "template_svg"]

FOLD_PATTERNS = {Fold.VALLEY: (4, 2), Fold.MOUNTAIN: (6, 1.5, 1, 1.5)}
"""Lengths of strokes and gaps in turn, in mm: valley folds dashed, mountain folds dash-dot."""
DRAW_PATTERN = (0.3, 1.2)
"""What is only to be drawn is dotted."""

_BORDER = mm(5)
"""Paper around the piece, so that lines on its edge show in their full width."""
_LABEL_HEIGHT = mm(4)
_LETTER_WIDTH = Fraction(3, 5)
"""Width of a letter by its height, generously."""


def piece_caption(piece: Piece, unit: Unit) -> str:
    """Return a piece's name, size and quantity in one line that can be printed."""
    words = f"{printable(piece.name)}, {format_size(piece.width, piece.height, unit)}"
    return f"{words}, {piece.quantity} pieces" if piece.quantity > 1 else words


def template_svg(piece: Piece, unit: Unit = Unit.MM) -> str:
    """Draw a piece at full size, its face towards the reader.

    Parameters
    ----------
    piece
        What to draw.
    unit
        The unit of the size in its label; the drawing itself is in millimetres.

    Returns
    -------
    str
        An SVG document; the same piece always gives the same text.
    """
    label = piece_caption(piece, unit)
    wide = max(piece.width, round(len(label) * _LABEL_HEIGHT * _LETTER_WIDTH)) + 2 * _BORDER
    high = piece.height + 3 * _BORDER + _LABEL_HEIGHT
    root = ET.Element(
        f"{{{SVG}}}svg",
        {
            "width": f"{_mm(wide)}mm",
            "height": f"{_mm(high)}mm",
            "viewBox": " ".join(map(_mm, (-_BORDER, -_BORDER, wide, high))),
            "fill": "none",
            "stroke": "#000000",
            "stroke-width": "0.2",
        },
    )
    svg_element(root, "title").text = label
    svg_element(root, "desc").text = (
        "Full size: one unit is one millimetre. Groups: cut (solid), score-valley (dashed),"
        " score-mountain (dash-dot), draw (dotted: glue areas), label. The face is towards you."
    )
    _cuts(svg_element(root, "g", id="cut"), piece)
    for fold, pattern in FOLD_PATTERNS.items():
        group = svg_element(root, "g", id=f"score-{fold}")
        group.set("stroke-dasharray", " ".join(map(str, pattern)))
        for score in piece.scores:
            if score.fold is fold:
                _line(group, score.line)
    drawn = svg_element(root, "g", id="draw")
    drawn.set("stroke-dasharray", " ".join(map(str, DRAW_PATTERN)))
    for area in piece.glue:
        svg_element(drawn, "polygon", points=_points(area))
    words = svg_element(root, "g", id="label", fill="#000000", stroke="none")
    style = {"font-family": "sans-serif", "font-size": _mm(_LABEL_HEIGHT)}
    svg_element(
        words, "text", x="0", y=_mm(piece.height + _BORDER + _LABEL_HEIGHT), **style
    ).text = label
    return svg_document(root)


def _cuts(group: ET.Element, piece: Piece) -> None:
    """Draw holes and slits before the outline: a piece that is cut free may move."""
    for hole in piece.holes:
        centre = {"cx": _mm(hole.centre.x), "cy": _mm(hole.centre.y)}
        svg_element(group, "circle", **centre, r=_mm(Fraction(hole.diameter, 2)))
    for slit in piece.slits:
        _line(group, slit)
    svg_element(group, "polygon", points=_points(piece.outline))


def _line(group: ET.Element, line: Line) -> None:
    names = ("x1", "y1", "x2", "y2")
    ends = dict(zip(names, map(_mm, (*line.start, *line.end)), strict=True))
    svg_element(group, "line", **ends)


def _points(corners: Sequence[Point]) -> str:
    return " ".join(f"{_mm(x)},{_mm(y)}" for x, y in corners)


def _mm(length: Length | Fraction) -> str:
    """Write a length in mm as a decimal, rounded to a millionth, the same on every machine."""
    millionths = round(Fraction(length) * 10**6 / UNITS_PER_MM)
    whole, part = divmod(abs(millionths), 10**6)
    sign = "-" if millionths < 0 else ""
    return f"{sign}{whole}.{part:06}".rstrip("0").rstrip(".")
