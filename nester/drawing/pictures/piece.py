"""One piece as a picture: its outline, folds, slits and holes, with sizes.

Folds are drawn in the open folding notation: valley folds dashed, mountain folds dash-dot, cuts
solid.  The picture shows the face of the piece.  An arrow lies along the grain, where the piece
asks for a direction.
"""

from __future__ import annotations

import itertools
import math
import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import NamedTuple

from nester.core.lengths import Length, Unit, format_length, format_size
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point
from nester.core.translation import translatable
from nester.drawing.canvas.svg import (
    svg_document,
    svg_element,
    svg_label,
    svg_line,
    svg_number,
    svg_picture,
)

__all__ = [
    "FOLD_DASHES",
    "FOLD_WORDS",
    "GRAIN_WORDS",
    "draw_piece",
    "edge_distance",
    "piece_marks",
]

INK = "#222222"
FAINT = "#777777"
GLUE = "#d9b36c"
PAPER = "#f4efe6"

FOLD_DASHES = {Fold.VALLEY: "7 4", Fold.MOUNTAIN: "11 3 2 3"}
FOLD_WORDS = {
    Fold.VALLEY: translatable("valley fold"),
    Fold.MOUNTAIN: translatable("mountain fold"),
}
GRAIN_WORDS = {
    Grain.WIDTH: translatable("grain along its width, if possible"),
    Grain.HEIGHT: translatable("grain along its height, if possible"),
}

_LONG_SIDE = 600
"""Longest side of the drawn piece, in picture units."""
_MARGIN = 100
_LINE_HEIGHT = 17
_LETTER_WIDTH = Fraction(15, 2)
"""Width of a letter of the labels, generously."""
_FONT = "13"
_SLIT_WIDTH = "1.6"
_ARROWHEAD = Fraction(10)
"""Length of an arrow's head."""

_Projection = Callable[[Point], tuple[float, float]]


def draw_piece(piece: Piece, unit: Unit, *, fill: str = PAPER) -> str:
    """Draw a piece with its sizes, its folds and a legend.

    Parameters
    ----------
    piece
        What to draw.
    unit
        The unit of the sizes written beside it.
    fill
        Colour of the paper, as SVG knows it.

    Returns
    -------
    str
        An SVG document; the same piece always gives the same text.
    """
    scale = Fraction(_LONG_SIDE, max(piece.width, piece.height))
    legend = _legend_entries(piece, unit)
    wide = max(piece.width * scale, Fraction(420))
    note = textwrap.wrap(piece.note, math.floor((wide + 2 * _MARGIN - 40) / _LETTER_WIDTH))
    top = _MARGIN + _LINE_HEIGHT * max(len(note) - 1, 0)
    foot = top + piece.height * scale + _MARGIN
    page = (wide + 2 * _MARGIN, foot + 30 + 22 * len(legend))
    title = f"{piece.name}, {format_size(piece.width, piece.height, unit)}"
    if piece.quantity > 1:
        title += f", {piece.quantity} pieces"
    root = svg_picture(*page, title, {"font-family": "sans-serif", "font-size": _FONT})
    svg_label(root, title, 20, 28, {"font-size": "17", "fill": INK})
    drawing = svg_element(root, "g", transform=f"translate({_MARGIN} {top})")
    piece_marks(drawing, piece, 0, 0, scale, fill=fill, glue=True)
    _grain_arrow(drawing, piece, scale)
    _dimensions(drawing, piece, unit, scale)
    _legend(root, legend, Fraction(_MARGIN), foot + 12)
    for number, line in enumerate(note):
        svg_label(root, line, 20, 48 + _LINE_HEIGHT * number, {"fill": FAINT})
    return svg_document(root)


def piece_marks(
    parent: ET.Element,
    piece: Piece,
    x: Length,
    y: Length,
    scale: Fraction | float,
    turned: bool = False,
    *,
    fill: str = "none",
    glue: bool = False,
) -> ET.Element:
    """Draw a piece's outline, folds, slits and holes into an SVG group.

    Parameters
    ----------
    parent
        The SVG element to draw into.
    x, y
        Where the top left corner of the piece's rectangle lies, as placed, in fine units from
        the parent's origin.
    scale
        Picture units in one fine unit.
    turned
        Draw it rotated a quarter turn clockwise: (x, y) goes to (height − y, x).
    fill
        Colour of the paper.
    glue
        Whether to tint the glue areas.

    Returns
    -------
    xml.etree.ElementTree.Element
        The group that was added.
    """
    place = _projection(piece, x, y, Fraction(scale), turned)
    group = svg_element(parent, "g", **{"stroke-linecap": "butt", "stroke": INK, "fill": "none"})
    svg_element(group, "polygon", points=_points(piece.outline, place), fill=fill)
    if glue:
        for area in piece.glue:
            tint = {"fill": GLUE, "fill-opacity": "0.5", "stroke": "none"}
            svg_element(group, "polygon", points=_points(area, place), **tint)
    for score in piece.scores:
        ends = place(score.line.start), place(score.line.end)
        svg_line(group, *ends, {"stroke-dasharray": FOLD_DASHES[score.fold]})
    for slit in piece.slits:
        svg_line(group, place(slit.start), place(slit.end), {"stroke-width": _SLIT_WIDTH})
    for hole in piece.holes:
        centre_x, centre_y = place(hole.centre)
        radius = svg_number(float(hole.diameter * Fraction(scale) / 2))
        svg_element(group, "circle", cx=svg_number(centre_x), cy=svg_number(centre_y), r=radius)
    return group


def _projection(piece: Piece, x: Length, y: Length, scale: Fraction, turned: bool) -> _Projection:
    # Whole numbers divided once: as exact as a float can be, and far quicker than fractions.
    times, parts = scale.as_integer_ratio()

    def upright(point: Point) -> tuple[float, float]:
        return (x + point.x) * times / parts, (y + point.y) * times / parts

    def quarter(point: Point) -> tuple[float, float]:
        return upright(Point(piece.height - point.y, point.x))

    return quarter if turned else upright


class _LegendEntry(NamedTuple):
    """One line of the legend: the sample it shows, how that looks, and what it means."""

    sample: str
    look: dict[str, str]
    meaning: str


def _legend_entries(piece: Piece, unit: Unit) -> list[_LegendEntry]:
    entries = [_LegendEntry("line", {}, "cut")]
    if piece.slits:
        entries.append(
            _LegendEntry("line", {"stroke-width": _SLIT_WIDTH}, "slit: cut within the piece")
        )
    folds = {score.fold for score in piece.scores}
    entries += [
        _LegendEntry("line", {"stroke-dasharray": FOLD_DASHES[fold]}, FOLD_WORDS[fold])
        for fold in Fold
        if fold in folds
    ]
    entries += [_LegendEntry("circle", {}, words) for words in _hole_words(piece, unit)]
    if piece.glue:
        entries.append(_LegendEntry("rect", {}, "glue here"))
    if piece.grain is not Grain.ANY:
        entries.append(_LegendEntry("arrow", {}, GRAIN_WORDS[piece.grain]))
    return entries


def _hole_words(piece: Piece, unit: Unit) -> list[str]:
    """Say once for all holes that are alike how wide they are and how far from the edge."""
    alike: dict[tuple[Length, Length, bool], int] = {}
    for hole in piece.holes:
        kind = (hole.diameter, edge_distance(piece, hole), hole.eyelet)
        alike[kind] = alike.get(kind, 0) + 1
    words = []
    for (diameter, distance, eyelet), count in alike.items():
        holes = "punched hole" if count == 1 else f"{count} punched holes"
        end = ", for an eyelet" if eyelet and count == 1 else ", for eyelets" if eyelet else ""
        wide, away = format_length(diameter, unit), format_length(distance, unit)
        words.append(f"{holes}, {wide} across, centre {away} from the nearest edge{end}")
    return words


def edge_distance(piece: Piece, hole: Hole) -> Length:
    """Return how far a hole's centre is from the nearest edge; to a slanted one, rounded down."""
    corners = piece.outline
    edges = zip(corners, corners[1:] + corners[:1], strict=True)
    return min(_distance(hole.centre, start, end) for start, end in edges)


def _distance(point: Point, start: Point, end: Point) -> Length:
    across, down = end.x - start.x, end.y - start.y
    squared = across**2 + down**2
    along = (point.x - start.x) * across + (point.y - start.y) * down
    if along <= 0 or along >= squared:
        near = start if along <= 0 else end
        return math.isqrt((point.x - near.x) ** 2 + (point.y - near.y) ** 2)
    aside = abs((point.x - start.x) * down - (point.y - start.y) * across)
    return math.isqrt(aside**2 // squared)


def _grain_arrow(group: ET.Element, piece: Piece, scale: Fraction) -> None:
    """Draw an arrow with two heads in the middle of the piece, if there is room for one."""
    if piece.grain is Grain.ANY or min(piece.width, piece.height) * scale < 4 * _ARROWHEAD:
        return
    upright = piece.grain is Grain.HEIGHT
    centre = (piece.width * scale / 2, piece.height * scale / 2)
    length = min((piece.height if upright else piece.width) * scale / 2, Fraction(120))
    for look in ({"stroke": "#ffffff", "stroke-width": "5"}, {"stroke": INK}):
        _arrow(group, centre, length, upright, look)


def _arrow(
    group: ET.Element,
    centre: tuple[Fraction, Fraction],
    length: Fraction,
    upright: bool,
    look: dict[str, str],
) -> None:
    half = length / 2
    path = [(-half, Fraction(0)), (half, Fraction(0))]
    heads = [
        [(side * (half - _ARROWHEAD), -_ARROWHEAD / 2), (side * half, Fraction(0)),
         (side * (half - _ARROWHEAD), _ARROWHEAD / 2)]
        for side in (-1, 1)
    ]  # fmt: skip
    for stroke in (path, *heads):
        turned = [(y, x) if upright else (x, y) for x, y in stroke]
        points = " ".join(
            f"{svg_number(centre[0] + x)},{svg_number(centre[1] + y)}" for x, y in turned
        )
        svg_element(group, "polyline", points=points, fill="none", **look)


def _legend(root: ET.Element, entries: Sequence[_LegendEntry], x: Fraction, y: Fraction) -> None:
    for entry in entries:
        if entry.sample == "rect":
            box = {"x": svg_number(x), "y": svg_number(y - 6), "width": "44", "height": "12"}
            svg_element(root, "rect", fill=GLUE, **box, **{"fill-opacity": "0.5"})
        elif entry.sample == "circle":
            svg_element(
                root,
                "circle",
                cx=svg_number(x + 22),
                cy=svg_number(y),
                r="6",
                fill="none",
                stroke=INK,
            )
        elif entry.sample == "arrow":
            _arrow(root, (x + 22, y), Fraction(44), False, {"stroke": INK})
        else:
            svg_line(root, (x, y), (x + 44, y), {"stroke": INK, **entry.look})
        svg_label(root, entry.meaning, x + 54, y + 4, {"fill": INK})
        y += 22
    svg_label(root, "The face is towards you.", x, y + 4, {"fill": FAINT})


def _dimensions(group: ET.Element, piece: Piece, unit: Unit, scale: Fraction) -> None:
    """Write the blank's size below and left, and the parts of its sides above and right."""
    across = _dimension_marks(piece, 0)
    down = _dimension_marks(piece, 1)
    wide, high = piece.width * scale, piece.height * scale
    _dimension_line(group, [0, piece.width], unit, scale, high + 34, upright=False)
    _dimension_line(group, [0, piece.height], unit, scale, Fraction(-34), upright=True)
    if len(across) > 2:
        _dimension_line(group, across, unit, scale, Fraction(-14), upright=False)
    if len(down) > 2:
        _dimension_line(group, down, unit, scale, wide + 14, upright=True)


def _dimension_marks(piece: Piece, axis: int) -> list[Length]:
    """Return where edges, folds and slits run square to an axis or slanted ones end, and holes."""
    corners = piece.outline
    edges = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    lines = [*edges, *(score.line for score in piece.scores), *piece.slits]
    square = {line.start[axis] for line in lines if line.start[axis] == line.end[axis]}
    slanted = {
        end[axis]
        for line in lines
        if line.start.x != line.end.x and line.start.y != line.end.y
        for end in line
    }
    return sorted(square | slanted | {hole.centre[axis] for hole in piece.holes})


def _dimension_line(
    group: ET.Element,
    marks: Sequence[Length],
    unit: Unit,
    scale: Fraction,
    away: Fraction,
    *,
    upright: bool,
) -> None:
    """Draw a chain of measures `away` from the x axis, or from the y axis if `upright`."""

    def point(along: Fraction, off: Fraction) -> tuple[Fraction, Fraction]:
        return (off, along) if upright else (along, off)

    look = {"stroke": FAINT, "stroke-width": "0.7"}
    svg_line(group, point(marks[0] * scale, away), point(marks[-1] * scale, away), look)
    for mark in marks:
        svg_line(group, point(mark * scale, away - 4), point(mark * scale, away + 4), look)
    outwards = -1 if away < 0 else 1
    raised = False
    for near, far in itertools.pairwise(marks):
        label = format_length(far - near, unit, with_unit=len(marks) == 2)
        # A label wider than its part steps out of the row, so that it can't hit its neighbours.
        raised = not raised and len(label) * _LETTER_WIDTH > (far - near) * scale
        off = away + outwards * (12 + (14 if raised else 0))
        middle = (near + far) * scale / 2
        x, y = (off + 4 * outwards, middle) if upright else (middle, off + 4)
        svg_label(group, label, x, y, {"fill": INK}, anchor="middle", turned=upright)


def _points(corners: Sequence[Point], place: _Projection) -> str:
    return " ".join(f"{svg_number(x)},{svg_number(y)}" for x, y in map(place, corners))
