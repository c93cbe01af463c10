"""One piece as a picture: its outline, folds and slits, with sizes.

Folds are drawn in the open folding notation: valley folds dashed, mountain folds dash-dot, cuts
solid.  The picture shows the face of the piece.
"""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import NamedTuple

from nester.measure import Length, Unit, format_length, format_size
from nester.pieces import Fold, Line, Piece, Point

__all__ = ["FOLD_DASHES", "FOLD_WORDS", "SVG", "draw_piece", "piece_marks"]

SVG = "http://www.w3.org/2000/svg"

INK = "#222222"
FAINT = "#777777"
GLUE = "#d9b36c"
PAPER = "#f4efe6"

FOLD_DASHES = {Fold.VALLEY: "7 4", Fold.MOUNTAIN: "11 3 2 3"}
FOLD_WORDS = {Fold.VALLEY: "valley fold", Fold.MOUNTAIN: "mountain fold"}

_LONG_SIDE = 600
"""Longest side of the drawn piece, in picture units."""
_MARGIN = 100
_LETTER = Fraction(15, 2)
"""Width of a letter of the labels, generously."""
_FONT = "13"

_Place = Callable[[Point], tuple[Fraction, Fraction]]


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
    legend = _legend_entries(piece)
    wide = max(piece.width * scale, Fraction(420))
    high = piece.height * scale
    page = (wide + 2 * _MARGIN, high + 2 * _MARGIN + 30 + 22 * len(legend))
    root = ET.Element(
        f"{{{SVG}}}svg",
        {
            "viewBox": f"0 0 {_number(page[0])} {_number(page[1])}",
            "width": _number(page[0]),
            "height": _number(page[1]),
            "font-family": "sans-serif",
            "font-size": _FONT,
        },
    )
    title = f"{piece.name}, {format_size(piece.width, piece.height, unit)}"
    if piece.quantity > 1:
        title += f", {piece.quantity} pieces"
    _add(root, "title").text = title
    _add(root, "rect", width="100%", height="100%", fill="#ffffff")
    _text(root, title, Fraction(20), Fraction(28), size="17", anchor="start")
    drawing = _add(root, "g", transform=f"translate({_MARGIN} {_MARGIN})")
    piece_marks(drawing, piece, 0, 0, scale, fill=fill, glue=True)
    _sizes(drawing, piece, unit, scale)
    _legend(root, legend, Fraction(_MARGIN), high + 2 * _MARGIN + 12)
    if piece.note:
        _text(root, piece.note, Fraction(20), Fraction(48), anchor="start", fill=FAINT)
    return _written(root)


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
    place = _placing(piece, x, y, Fraction(scale), turned)
    group = _add(parent, "g", **{"stroke-linecap": "butt", "stroke": INK, "fill": "none"})
    _add(group, "polygon", points=_points(piece.outline, place), fill=fill)
    if glue:
        for area in piece.glue:
            tint = {"fill": GLUE, "fill-opacity": "0.5", "stroke": "none"}
            _add(group, "polygon", points=_points(area, place), **tint)
    for score in piece.scores:
        _line(group, score.line, place, {"stroke-dasharray": FOLD_DASHES[score.fold]})
    for slit in piece.slits:
        _line(group, slit, place, {"stroke-width": "1.6"})
    for hole in piece.holes:
        centre_x, centre_y = place(hole.centre)
        radius = _number(hole.diameter * Fraction(scale) / 2)
        _add(group, "circle", cx=_number(centre_x), cy=_number(centre_y), r=radius)
    return group


def _placing(piece: Piece, x: Length, y: Length, scale: Fraction, turned: bool) -> _Place:
    def upright(point: Point) -> tuple[Fraction, Fraction]:
        return ((x + point.x) * scale, (y + point.y) * scale)

    def quarter(point: Point) -> tuple[Fraction, Fraction]:
        return upright(Point(piece.height - point.y, point.x))

    return quarter if turned else upright


class _Entry(NamedTuple):
    """One line of the legend: a sample line's look, or a tint, and what it means."""

    look: dict[str, str]
    tint: bool
    means: str


def _legend_entries(piece: Piece) -> list[_Entry]:
    entries = [_Entry({}, False, "cut")]
    folds = {score.fold for score in piece.scores}
    entries += [
        _Entry({"stroke-dasharray": FOLD_DASHES[fold]}, False, FOLD_WORDS[fold])
        for fold in Fold
        if fold in folds
    ]
    if piece.glue:
        entries.append(_Entry({}, True, "glue here"))
    return entries


def _legend(root: ET.Element, entries: Sequence[_Entry], x: Fraction, y: Fraction) -> None:
    for entry in entries:
        if entry.tint:
            box = {"x": _number(x), "y": _number(y - 6), "width": "44", "height": "12"}
            _add(root, "rect", fill=GLUE, **box, **{"fill-opacity": "0.5"})
        else:
            ends = {"x1": _number(x), "y1": _number(y), "x2": _number(x + 44), "y2": _number(y)}
            _add(root, "line", stroke=INK, **ends, **entry.look)
        _text(root, entry.means, x + 54, y + 4, anchor="start")
        y += 22
    _text(root, "The face is towards you.", x, y + 4, anchor="start", fill=FAINT)


def _sizes(group: ET.Element, piece: Piece, unit: Unit, scale: Fraction) -> None:
    """Write the blank's size below and left, and the parts of its sides above and right."""
    across = _marks(piece, 0)
    down = _marks(piece, 1)
    wide, high = piece.width * scale, piece.height * scale
    _measure_line(group, [0, piece.width], unit, scale, high + 34, upright=False)
    _measure_line(group, [0, piece.height], unit, scale, Fraction(-34), upright=True)
    if len(across) > 2:
        _measure_line(group, across, unit, scale, Fraction(-14), upright=False)
    if len(down) > 2:
        _measure_line(group, down, unit, scale, wide + 14, upright=True)


def _marks(piece: Piece, axis: int) -> list[Length]:
    """Return the distances at which an edge, fold or slit runs square to an axis."""
    corners = piece.outline
    edges = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    lines = [*edges, *(score.line for score in piece.scores), *piece.slits]
    return sorted({line.start[axis] for line in lines if line.start[axis] == line.end[axis]})


def _measure_line(
    group: ET.Element,
    marks: Sequence[Length],
    unit: Unit,
    scale: Fraction,
    away: Fraction,
    *,
    upright: bool,
) -> None:
    """Draw a chain of measures `away` from the x axis, or from the y axis if `upright`."""

    def ends(along: Fraction, along2: Fraction, off: Fraction, off2: Fraction) -> dict[str, str]:
        names = ("y1", "y2", "x1", "x2") if upright else ("x1", "x2", "y1", "y2")
        values = (along, along2, off, off2)
        return dict(zip(names, map(_number, values), strict=True))

    look = {"stroke": FAINT, "stroke-width": "0.7"}
    _add(group, "line", **ends(marks[0] * scale, marks[-1] * scale, away, away), **look)
    for mark in marks:
        _add(group, "line", **ends(mark * scale, mark * scale, away - 4, away + 4), **look)
    outwards = -1 if away < 0 else 1
    raised = False
    for near, far in itertools.pairwise(marks):
        label = format_length(far - near, unit, with_unit=len(marks) == 2)
        # A label wider than its part steps out of the row, so that it can't hit its neighbours.
        raised = not raised and len(label) * _LETTER > (far - near) * scale
        off = away + outwards * (12 + (14 if raised else 0))
        middle = (near + far) * scale / 2
        if upright:
            _text(group, label, off + 4 * outwards, middle, turn=True)
        else:
            _text(group, label, middle, off + 4)


def _written(root: ET.Element) -> str:
    ET.register_namespace("", SVG)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode") + "\n"


def _add(parent: ET.Element, tag: str, **attributes: str) -> ET.Element:
    return ET.SubElement(parent, f"{{{SVG}}}{tag}", attributes)


def _text(
    parent: ET.Element,
    words: str,
    x: Fraction,
    y: Fraction,
    *,
    anchor: str = "middle",
    size: str = _FONT,
    fill: str = INK,
    turn: bool = False,
) -> None:
    attributes = {
        "x": _number(x),
        "y": _number(y),
        "text-anchor": anchor,
        "font-size": size,
        "fill": fill,
    }
    if turn:
        attributes["transform"] = f"rotate(-90 {_number(x)} {_number(y)})"
    _add(parent, "text", **attributes).text = words


def _line(group: ET.Element, line: Line, place: _Place, look: dict[str, str]) -> None:
    (x1, y1), (x2, y2) = place(line.start), place(line.end)
    ends = {"x1": _number(x1), "y1": _number(y1), "x2": _number(x2), "y2": _number(y2)}
    _add(group, "line", **ends, **look)


def _points(corners: Sequence[Point], place: _Place) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in map(place, corners))


def _number(value: Fraction | int) -> str:
    """Write a coordinate to a hundredth of a picture unit, the same on every machine."""
    hundredths = round(Fraction(value) * 100)
    sign = "-" if hundredths < 0 else ""
    whole, part = divmod(abs(hundredths), 100)
    return f"{sign}{whole}.{part:02}".rstrip("0").rstrip(".") if part else f"{sign}{whole}"
