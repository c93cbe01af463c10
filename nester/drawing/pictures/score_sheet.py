"""One piece with its folds, slits and holes numbered, and a row of words for each number.

Folds are drawn in the open folding notation: valley folds dashed, mountain folds dash-dot, cuts
solid.  The face is towards the reader.  Numbers stand where they touch no other.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from nester.core.lengths import UNITS_PER_MM, Unit
from nester.core.piece import Fold, Hole, Line, Piece, Point
from nester.core.translation import ENGLISH, Translator
from nester.drawing.canvas.svg import SVG, svg_element, svg_label, svg_line, svg_number
from nester.drawing.canvas.text_metrics import Box, text_width
from nester.drawing.pictures.piece import FOLD_WORDS, edge_distance, piece_marks

__all__ = ["ScoreRow", "draw_scores", "has_scores", "score_rows"]

_UNITS_PER_MM = 4
_SCALES = tuple(map(Fraction, ("1", "1/2", "2/5", "1/3", "1/4", "1/5", "1/6", "1/8", "1/10", "1/15",
                               "1/20", "1/30", "1/50", "1/100")))  # fmt: skip
_LEFT, _RIGHT, _TOP, _BELOW = 34.0, 12.0, 10.0, 34.0
_TEXT_SIZE = 12.0
_NUMBER_SIZE = 10.0
_INK, _PLAIN, _GLUE = "#1f1d1a", "#ffffff", "#e4e4e4"
_LEGEND = 22.0


class ScoreRow(NamedTuple):
    """What is to be done at one number of the picture, in words."""

    number: int
    action: str
    direction: str
    position: str
    extent: str


def has_scores(piece: Piece) -> bool:
    """Tell whether there is anything to do to a piece once it is cut out of its sheet."""
    return bool(piece.scores or piece.slits or piece.holes or not piece.is_rectangle)


def _marks(piece: Piece) -> list[tuple[Line | Hole, Fold | None, int]]:
    """Return what is numbered: folds, upright ones first and from the left, then slits, holes."""
    folds = sorted(
        ((score.line, score.fold, score.degrees) for score in piece.scores),
        key=lambda fold: (fold[0].start.x != fold[0].end.x, min(fold[0]), fold[0]),
    )
    slits = [(slit, None, 0) for slit in sorted(piece.slits)]
    holes = [(hole, None, 0) for hole in sorted(piece.holes, key=lambda hole: hole.centre)]
    return [*folds, *slits, *holes]


def score_rows(piece: Piece, unit: Unit, translator: Translator = ENGLISH) -> Iterator[ScoreRow]:
    """Yield what is to be done to a piece, by the numbers of `draw_scores`."""
    say = translator.say

    def length(value: int) -> str:
        return translator.length(value, unit)

    for number, (mark, fold, degrees) in enumerate(_marks(piece), 1):
        if isinstance(mark, Hole):
            hole = say("hole, {size} across").format(size=length(mark.diameter))
            if mark.eyelet:
                hole = say("{hole}, for an eyelet").format(hole=hole)
            where = say("{left} from the left, {top} from the top").format(
                left=length(mark.centre.x), top=length(mark.centre.y)
            )
            near = say("{away} from the nearest edge").format(
                away=length(edge_distance(piece, mark))
            )
            yield ScoreRow(number, hole, say("punch"), where, near)
            continue
        what = say("slit, cut through") if fold is None else say(FOLD_WORDS[fold])
        if fold is not None and degrees:
            what = f"{what}, {degrees}°"
        start, end = sorted(mark)
        if start.x == end.x:
            way = say("up and down")
            where = say("{at} from the left edge").format(at=length(start.x))
            ends = (start.y, end.y)
            extent = say("from {start} to {end}, measured from the top")
        elif start.y == end.y:
            way = say("across")
            where = say("{at} from the top edge").format(at=length(start.y))
            ends = (start.x, end.x)
            extent = say("from {start} to {end}, measured from the left")
        else:
            way = say("slanted")
            where = _place(start, unit, translator)
            extent = say("to {place}").format(place=_place(end, unit, translator))
            yield ScoreRow(number, what, way, where, extent)
            continue
        full = piece.height if start.x == end.x else piece.width
        if ends == (0, full):
            extent = say("from edge to edge")
        yield ScoreRow(
            number, what, way, where, extent.format(start=length(ends[0]), end=length(ends[1]))
        )


def _place(point: Point, unit: Unit, translator: Translator) -> str:
    return translator.say("{left} from the left, {top} from the top").format(
        left=translator.length(point.x, unit), top=translator.length(point.y, unit)
    )


def draw_scores(
    piece: Piece,
    unit: Unit,
    *,
    room: tuple[float, float],
    fill: str,
    translator: Translator = ENGLISH,
) -> ET.Element:
    """Draw a piece as large as a room on the page allows, its folds, slits and holes numbered.

    Parameters
    ----------
    room
        Millimetres across and down.
    fill
        The paper's colour, #rrggbb; only a light one is used, so that lines stay readable.

    Returns
    -------
    xml.etree.ElementTree.Element
        An SVG element, a quarter of a millimetre to the unit.
    """
    wide, high = room[0] * _UNITS_PER_MM, room[1] * _UNITS_PER_MM
    signs = _signs(piece, translator)
    left = _LEFT
    for scale in _SCALES:
        unit_size = scale * _UNITS_PER_MM / UNITS_PER_MM
        across, down = float(piece.width * unit_size), float(piece.height * unit_size)
        if left + across + _RIGHT <= wide and _TOP + down + _BELOW + _LEGEND <= high:
            break
    scale_note = translator.say("drawn at {scale}").format(scale=_scale_text(scale, translator))
    sizes = (translator.length(piece.width, unit), translator.length(piece.height, unit))
    legend = sum(50 + text_width(words, _NUMBER_SIZE) + 14 for _, words in signs)
    legend += text_width(scale_note, _NUMBER_SIZE)
    page_wide = max(left + across + _RIGHT, legend + 8, left + 2 * text_width(sizes[0], _TEXT_SIZE))
    root = ET.Element(f"{{{SVG}}}svg", {"font-family": "Helvetica, Arial, sans-serif"})
    x = left + (page_wide - left - _RIGHT - across) / 2
    stage = svg_element(root, "g", transform=f"translate({svg_number(x)} {svg_number(_TOP)})")
    for area in piece.glue:
        corners = " ".join(
            f"{svg_number(float(p.x * unit_size))},{svg_number(float(p.y * unit_size))}"
            for p in area
        )
        svg_element(stage, "polygon", points=corners, fill=_GLUE, stroke="none")
    piece_marks(stage, piece, 0, 0, unit_size, fill="none")
    numbers = _NumberPlacer(Box(0, 0, page_wide, _TOP + down + _BELOW))
    for number, (mark, fold, _) in enumerate(_marks(piece), 1):
        spots = _number_positions(mark, x, _TOP, unit_size)
        numbers.place(root, number, spots, square=fold is None)
    _add_text(root, sizes[0], x + across / 2, _TOP + down + 18, _TEXT_SIZE)
    turned = text_width(sizes[1], _TEXT_SIZE) < down
    if turned:
        _add_text(root, sizes[1], x - 12, _TOP + down / 2, _TEXT_SIZE, turned=True)
    else:
        at = x - 10 - text_width(sizes[1], _TEXT_SIZE) / 2
        _add_text(
            root,
            sizes[1],
            max(at, text_width(sizes[1], _TEXT_SIZE) / 2),
            _TOP + down / 2,
            _TEXT_SIZE,
        )
    bottom = _TOP + down + _BELOW
    _draw_legend(root, signs, scale_note, bottom)
    root.set("viewBox", f"0 0 {svg_number(page_wide)} {svg_number(bottom + _LEGEND)}")
    return root


def _scale_text(scale: Fraction, translator: Translator) -> str:
    return f"1 : {float(1 / scale):g}".replace(".", translator.decimal_mark)


_DASHES = {Fold.VALLEY: "7 4", Fold.MOUNTAIN: "11 3 2 3"}


def _signs(piece: Piece, translator: Translator) -> list[tuple[str, str]]:
    folds = {score.fold for score in piece.scores}
    signs = [("", translator.say("cut"))]
    signs += [(_DASHES[fold], translator.say(FOLD_WORDS[fold])) for fold in Fold if fold in folds]
    if piece.glue:
        signs.append(("glue", translator.say("glue here")))
    return signs


def _draw_legend(root: ET.Element, signs: list[tuple[str, str]], scale_note: str, y: float) -> None:
    x = 4.0
    at = y + _LEGEND / 2
    for look, words in signs:
        if look == "glue":
            box = {"x": svg_number(x), "y": svg_number(at - 5), "width": "40", "height": "10"}
            svg_element(root, "rect", fill=_GLUE, **box)
        else:
            dash = {"stroke-dasharray": look} if look else {}
            svg_line(root, (x, at), (x + 40, at), {"stroke": _INK, **dash})
        _add_text(root, words, x + 46, at, _NUMBER_SIZE, anchor="start")
        x += 50 + text_width(words, _NUMBER_SIZE) + 14
    _add_text(root, scale_note, x, at, _NUMBER_SIZE, anchor="start")


def _number_positions(
    mark: Line | Hole, x: float, y: float, unit_size: Fraction
) -> Iterator[tuple[float, float]]:
    """Yield places for a number on a line, its middle first, or around a hole."""
    if isinstance(mark, Hole):
        across = x + float(mark.centre.x * unit_size)
        down = y + float(mark.centre.y * unit_size)
        reach = float(mark.diameter * unit_size) / 2 + 8
        for far in (1.0, 1.8, 2.6):
            for right, below in ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1)):
                yield across + right * reach * far, down + below * reach * far
        return
    (x1, y1), (x2, y2) = (
        (x + float(end.x * unit_size), y + float(end.y * unit_size)) for end in mark
    )
    count = 24
    for step in range(count):
        for share in (0.5 + step / count / 2, 0.5 - step / count / 2):
            yield x1 + (x2 - x1) * share, y1 + (y2 - y1) * share


class _NumberPlacer:
    """Numbers on the picture, none upon another."""

    def __init__(self, within: Box) -> None:
        self.within = within
        self.taken: list[Box] = []

    def place(
        self, root: ET.Element, number: int, spots: Iterator[tuple[float, float]], *, square: bool
    ) -> None:
        """Put a number at the first spot that is free; where none is, the table still has it."""
        words = str(number)
        wide, high = max(text_width(words, _NUMBER_SIZE), _NUMBER_SIZE) + 3, _NUMBER_SIZE + 3
        for x, y in spots:
            badge = Box(x - wide / 2, y - high / 2, wide, high)
            inside = (
                badge.x >= self.within.x
                and badge.y >= self.within.y
                and badge.x + wide <= self.within.width
                and badge.y + high <= self.within.height
            )
            if inside and not any(badge.overlaps(other) for other in self.taken):
                self.taken.append(badge)
                look = {"fill": _PLAIN, "stroke": _INK, "stroke-width": "0.8"}
                box = dict(zip(("x", "y", "width", "height"), map(svg_number, badge), strict=True))
                svg_element(root, "rect", rx=svg_number(0 if square else high / 2), **box, **look)
                _add_text(root, words, x, y, _NUMBER_SIZE)
                return


def _add_text(
    root: ET.Element,
    words: str,
    x: float,
    y: float,
    size: float,
    *,
    anchor: str = "middle",
    turned: bool = False,
) -> None:
    shift = size * 0.36
    at_x, base = (x + shift, y) if turned else (x, y + shift)
    look = {"font-size": svg_number(size), "fill": _INK}
    svg_label(root, words, at_x, base, look, anchor=anchor, turned=turned)
