"""A sheet at its place in a picture, and what all parts of the picture draw with."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from nester.drawing.canvas.colours import PLAIN, contrast
from nester.drawing.canvas.svg_pen import INK, Look, SvgPen
from nester.drawing.canvas.text_metrics import Box

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from nester.core.lengths import Length, Unit
    from nester.core.piece import Piece
    from nester.core.problem import Cut, Layout, PlacedPiece, Rect, StockItem, Trimmer
    from nester.core.translation import Translator

__all__ = [
    "BACKGROUND",
    "DIMENSION_SIZE",
    "MARGIN",
    "PENCIL",
    "SCRAP",
    "SMALL_SIZE",
    "LayoutScene",
    "LayoutSubject",
]

BACKGROUND = "#fbf8f0"
SCRAP = "#efe9dc"
PENCIL = "#6d675e"

MARGIN = 12.0
DIMENSION_SIZE, SMALL_SIZE = 12.0, 9.0
"""Sizes of letters, in picture units."""


class LayoutSubject(NamedTuple):
    """What a picture of a layout shows, and in which words."""

    layout: Layout
    stock: StockItem
    unit: Unit
    paper_colour: str
    title: str
    pieces: Sequence[Piece | None]
    translator: Translator
    trimmer: Trimmer
    offcuts: Sequence[str]
    embedded: bool
    pattern_up: bool

    def size(self, rect: Rect | PlacedPiece | StockItem) -> str:
        """Write a size in the unit and language of the picture."""
        return self.translator.size(rect.width, rect.height, self.unit)

    def length(self, length: Length, *, with_unit: bool = True) -> str:
        """Write a length in the unit and language of the picture."""
        return self.translator.length(length, self.unit, with_unit=with_unit)

    def by_knife(self, cut: Cut) -> bool:
        """Tell whether the trimmer can't make a cut."""
        return not self.trimmer.can_make(cut)


class LayoutScene(NamedTuple):
    """One sheet at one scale: where it lies in the picture, and the pen that draws on it.

    Attributes
    ----------
    subject
        What is drawn.
    pen
        Draws into the picture.
    width
        Of the picture, in picture units.
    sheet
        Where the sheet lies, in picture units.
    scale
        Picture units in one fine unit of length.
    """

    subject: LayoutSubject
    pen: SvgPen
    width: float
    sheet: Box
    scale: Fraction

    def length(self, length: Length) -> float:
        """Return a length in picture units."""
        return length * float(self.scale)

    def box(self, rect: Rect) -> Box:
        """Return where a rectangle of the sheet lies in the picture."""
        scale = float(self.scale)
        return Box(
            self.sheet.x + rect.x * scale,
            self.sheet.y + rect.y * scale,
            rect.width * scale,
            rect.height * scale,
        )

    def cut_line(self, cut: Cut) -> tuple[float, float, float, float]:
        """Return where a cut begins and ends in the picture: x1, y1, x2, y2."""
        at, start, end = map(self.length, cut[2:5])
        x, y = self.sheet.x, self.sheet.y
        if cut.vertical:
            return x + at, y + start, x + at, y + end
        return x + start, y + at, x + end, y + at

    def line_colour(self) -> str:
        """Return the colour of lines that shows best on the paper."""
        paper = self.subject.paper_colour
        return max(INK, BACKGROUND, key=lambda colour: contrast(colour, paper))

    def draw_dots(self, x1: float, y: float, x2: float) -> None:
        """Draw a row of dots, the sign of scrap."""
        look: Look = {"stroke_width": 1.3, "stroke_dasharray": "1.3 8.7"}
        if x1 < x2:
            self.pen.line(x1, y, x2, y, stroke="#a79d8a", **look)

    def draw_hatching(self, box: Box) -> None:
        """Draw slanted lines across a box, the sign of an offcut."""
        for line in _hatches(box):
            self.pen.line(*line, stroke=self.line_colour(), stroke_width=0.6)

    def draw_badge(self, badge: Box, text: str, size: float, *, knife: bool) -> None:
        """Draw the number of a cut: square for a knife cut, else round."""
        corner = 0.0 if knife else badge.height / 2
        self.pen.rect(badge, rx=corner, fill=PLAIN, stroke=INK, stroke_width=0.8)
        self.pen.write(text, badge.x + badge.width / 2, badge.y + badge.height / 2, size)
        self.pen.text_boxes.add(badge)


def _hatches(box: Box) -> Iterator[tuple[float, float, float, float]]:
    """Yield slanted lines across a box."""
    x, y, width, height = box
    step = 9.0
    for number in range(1, int((width + height) / step) + 1):
        reach = number * step
        yield (
            x + min(reach, width),
            y + max(0.0, reach - width),
            x + max(0.0, reach - height),
            y + min(reach, height),
        )
