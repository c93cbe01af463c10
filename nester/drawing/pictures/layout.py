"""A layout as a picture to scale: pieces, cuts in order, offcuts and rulers.

The picture fits an A4 page with 10 mm of margin.  A picture unit is a quarter of a millimetre on
paper.  Colour alone never carries a meaning: offcuts are hatched, scrap is dotted, cuts carry round
numbers, knife cuts square ones with a tick at each end, and pieces too small for their label carry
a letter that a key below explains.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from fractions import Fraction
from typing import TYPE_CHECKING

from nester.core.lengths import UNITS_PER_MM
from nester.core.problem import UNLIMITED_TRIMMER
from nester.core.translation import ENGLISH
from nester.cutting.instructions import offcut_name
from nester.drawing.canvas.colours import hex_colour
from nester.drawing.canvas.marks import svg_text
from nester.drawing.canvas.svg import SVG, svg_number
from nester.drawing.canvas.svg_pen import INK, SvgPen
from nester.drawing.canvas.text_metrics import LINE_HEIGHT, Box, break_lines, printable_line
from nester.drawing.pictures.labels import LabelWriter
from nester.drawing.pictures.layout_scene import (
    BACKGROUND,
    DIMENSION_SIZE,
    MARGIN,
    PENCIL,
    SCRAP,
    LayoutScene,
    LayoutSubject,
)
from nester.drawing.pictures.legend import draw_legend
from nester.drawing.pictures.piece import piece_marks
from nester.drawing.pictures.rulers import (
    DIMENSION_MARGIN,
    RULER,
    dimensions_width,
    draw_dimensions,
    draw_rulers,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nester.core.lengths import Unit
    from nester.core.piece import Piece
    from nester.core.problem import Cut, Layout, PlacedPiece, Rect, StockItem, Trimmer
    from nester.core.translation import Translator

__all__ = ["draw_layout", "layout_picture"]

_UNITS_PER_MM = 4
"""Picture units in a millimetre of the page."""
_PAGES = ((190 * _UNITS_PER_MM, 277 * _UNITS_PER_MM), (277 * _UNITS_PER_MM, 190 * _UNITS_PER_MM))
"""A4 upright and crosswise (ISO 216: 210 × 297 mm), less 10 mm all round."""
_MIN_WIDTH = 480
_SCALES = tuple(
    1 / Fraction(denominator)
    for denominator in ("1/2", 1, 2, "5/2", 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80,
                        100)
)  # fmt: skip
_MIN_SCALE_SHARE = Fraction(3, 5)
"""A long key may shrink the sheet to this share; after that the picture outgrows the page."""
_TITLE_SIZE = 20.0


def draw_layout(
    layout: Layout,
    stock: StockItem,
    unit: Unit,
    *,
    paper_colour: str | None,
    title: str,
    pieces: Sequence[Piece] = (),
    trimmer: Trimmer = UNLIMITED_TRIMMER,
    pattern_up: bool = False,
) -> str:
    """Draw a layout to scale on an A4 page, as an SVG document; see `layout_picture`.

    Returns
    -------
    str
        An SVG document that needs nothing else; the same input always gives the same text.
    """
    root = layout_picture(
        layout,
        stock,
        unit,
        paper_colour=paper_colour,
        title=title,
        pieces=pieces,
        trimmer=trimmer,
        pattern_up=pattern_up,
    )
    ET.indent(root, " ")
    return svg_text(root) + "\n"


def layout_picture(
    layout: Layout,
    stock: StockItem,
    unit: Unit,
    *,
    paper_colour: str | None,
    title: str,
    pieces: Sequence[Piece] = (),
    translator: Translator = ENGLISH,
    trimmer: Trimmer = UNLIMITED_TRIMMER,
    offcuts: Sequence[str] = (),
    room: tuple[float, float] | None = None,
    pattern_up: bool = False,
) -> ET.Element:
    """Draw a layout to scale on an A4 page, or in the room that is left of another page.

    Parameters
    ----------
    layout
        What is cut from one sheet or offcut, with its cuts in order.
    stock
        The sheet or offcut.
    unit
        In which sizes are written and the rulers are divided.
    paper_colour
        ``#rgb`` or ``#rrggbb``; None and anything else are drawn as white paper.
    title
        What the layout is called; the number of copies is added.
    pieces
        The piece at each place of `layout.placed`, to have outlines and folds drawn too; or none.
    translator
        The language of its words.
    trimmer
        What it can't cut is marked to be cut with a knife.
    offcuts
        What the offcuts are called, in the layout's order; `offcut_name` if not given.
    room
        Millimetres across and down in which the picture stands without title or ground; an A4
        page, upright or lying, if not given.
    pattern_up
        The paper has a pattern whose top is the sheet's top.

    Returns
    -------
    xml.etree.ElementTree.Element
        An SVG element, a quarter of a millimetre to the unit, to be written by
        `nester.drawing.canvas.marks.svg_text`.

    Raises
    ------
    ValueError
        If a piece's blank is not as large as the place it lies on.
    """
    colour = hex_colour(paper_colour)
    subject = LayoutSubject(
        layout,
        stock,
        unit,
        colour,
        printable_line(title),
        pieces or [None] * len(layout.placed),
        translator,
        trimmer,
        offcuts or [offcut_name(i, translator) for i in range(1, len(layout.offcuts) + 1)],
        embedded=room is not None,
        pattern_up=pattern_up,
    )
    pages = _PAGES if room is None else ((room[0] * _UNITS_PER_MM, room[1] * _UNITS_PER_MM),)
    largest: _LayoutPicture | None = None
    for scale in _SCALES:
        if largest is not None and scale < largest.scale * _MIN_SCALE_SHARE:
            break
        for page_width, page_height in pages:
            width = _needed_width(subject, scale)
            if width > page_width or stock.height * _picture_scale(scale) > page_height:
                continue
            picture = _LayoutPicture(subject, scale, max(width, _MIN_WIDTH))
            if picture.height <= page_height:
                return picture.finished()
            largest = largest or picture
    if largest is None:
        raise ValueError(f"{stock.name!r} is too large to be drawn")
    return largest.finished()


def _picture_scale(scale: Fraction) -> Fraction:
    """Return the picture units in one fine unit of length."""
    return scale * _UNITS_PER_MM / UNITS_PER_MM


def _needed_width(subject: LayoutSubject, scale: Fraction) -> float:
    drawn = float(subject.stock.width * _picture_scale(scale))
    beside = dimensions_width(subject, _picture_scale(scale))
    return 2 * MARGIN + RULER + drawn + beside


class _LayoutPicture:
    """One picture at one scale."""

    def __init__(self, subject: LayoutSubject, scale: Fraction, width: float) -> None:
        self.subject = subject
        self.scale = scale
        self.width = width
        self.pen = SvgPen()
        self.overlapping = _overlapping(
            [*(placed.rect for placed in subject.layout.placed), *subject.layout.offcuts]
        )
        if not subject.embedded:
            self.pen.add("rect", width="100%", height="100%", fill=BACKGROUND)
        top = self._header() + RULER
        left = MARGIN + RULER + (width - _needed_width(subject, scale)) / 2
        picture_scale = _picture_scale(scale)
        sides = (subject.stock.width, subject.stock.height)
        sheet = Box(left, top, *(side * float(picture_scale) for side in sides))
        self.scene = LayoutScene(subject, self.pen, width, sheet, picture_scale)
        self.height = self._draw()

    def _draw(self) -> float:
        """Draw everything below the header; return the height of the picture."""
        self._sheet()
        draw_rulers(self.scene)
        draw_dimensions(self.scene)
        self._fills()
        self._cuts()
        labels = LabelWriter(self.scene, self.overlapping)
        labels.write_labels()
        labels.number_cuts()
        sheet = self.scene.sheet
        bottom = draw_legend(self.scene, sheet.y + sheet.height + DIMENSION_MARGIN + 12)
        return labels.write_key(bottom) + MARGIN

    def finished(self) -> ET.Element:
        root = self.pen.root
        for name, value in (("width", self.width), ("height", self.height)):
            root.set(name, f"{svg_number(value / _UNITS_PER_MM)}mm")
        root.set("viewBox", f"0 0 {svg_number(self.width)} {svg_number(self.height)}")
        root.set("font-family", "Helvetica, Arial, sans-serif")
        root.set("role", "img")
        title = ET.Element(f"{{{SVG}}}title")
        title.text = self._title()
        root.insert(0, title)
        return root

    def _title(self) -> str:
        copies = self.subject.translator.count("{n} copy", "{n} copies", self.subject.layout.copies)
        return f"{self.subject.title} · {copies}"

    def _header(self) -> float:
        subject = self.subject
        room = self.width - 2 * MARGIN
        say = subject.translator.say
        paper, name = printable_line(subject.stock.paper), printable_line(subject.stock.name)
        source = say("from {name}, {paper}") if paper else say("from {name}")
        scale = say("drawn at {scale}").format(scale=_scale_text(self.scale, subject.translator))
        head = [
            (self._title(), _TITLE_SIZE),
            (f"{subject.size(subject.stock)} · {scale}", DIMENSION_SIZE),
            (source.format(name=name, paper=paper), DIMENSION_SIZE),
        ]
        y = MARGIN
        for text, size in head[1:2] if subject.embedded else head:
            for line in break_lines(text, room, size):
                self.pen.write(line, MARGIN, y + size / 2, size, anchor="start")
                y += size * LINE_HEIGHT
            y += 2
        return y

    def _sheet(self) -> None:
        """Draw the sheet as scrap, with drawn-over corners as on a drawing board."""
        x, y, width, height = self.scene.sheet
        shadow = Box(x + 4, y + 4, width, height)
        self.pen.rect(shadow, fill="#d9d2c2")
        self.pen.rect(self.scene.sheet, fill=SCRAP)
        step = 10
        for row in range(step // 2, int(height), step):
            shift = step // 2 if row // step % 2 else 1
            self.scene.draw_dots(x + shift, y + row, x + width)
        over = 8.0
        for at in (x, x + width):
            self.pen.line(at, y - over, at, y + height + over, stroke=PENCIL, stroke_width=0.7)
        for at in (y, y + height):
            self.pen.line(x - over, at, x + width + over, at, stroke=PENCIL, stroke_width=0.7)

    def _fills(self) -> None:
        paper = self.subject.paper_colour
        layout = self.subject.layout
        # What lies in a corner of another piece is smaller, and drawn upon it.
        for _, index, placed, piece in sorted(
            (-placed.rect.area, index, placed, piece)
            for index, (placed, piece) in enumerate(
                zip(layout.placed, self.subject.pieces, strict=True)
            )
        ):
            if piece is None or index not in self.overlapping:
                fill = paper if piece is None else "none"
                self.pen.rect(self.scene.box(placed.rect), fill=fill, stroke=INK, stroke_width=0.8)
            if piece is not None:
                self._outline(placed, piece)
        for offcut in self.subject.layout.offcuts:
            box = self.scene.box(offcut)
            self.pen.rect(box, fill=paper, stroke=INK, stroke_width=0.8)
            self.scene.draw_hatching(box)

    def _outline(self, placed: PlacedPiece, piece: Piece) -> None:
        blank = (piece.height, piece.width) if placed.turned else (piece.width, piece.height)
        if blank != (placed.width, placed.height):
            raise ValueError(f"piece {placed.name!r} does not fill the place it lies on")
        x, y = svg_number(self.scene.sheet.x), svg_number(self.scene.sheet.y)
        parent = self.pen.add("g", transform=f"translate({x} {y})")
        marks = piece_marks(
            parent,
            piece,
            placed.x,
            placed.y,
            self.scene.scale,
            placed.turned,
            fill=self.subject.paper_colour,
        )
        marks.set("stroke", self.scene.line_colour())

    def _cuts(self) -> None:
        """Draw the cuts over a light seam, so that they show on dark paper too."""
        cuts = self.subject.layout.cuts
        for colour, width in ((BACKGROUND, 3.4), (INK, 1.4)):
            for cut in cuts:
                self.pen.line(*self.scene.cut_line(cut), stroke=colour, stroke_width=width)
        for cut in cuts:
            if self.subject.by_knife(cut):
                self._end_ticks(cut)

    def _end_ticks(self, cut: Cut) -> None:
        x1, y1, x2, y2 = self.scene.cut_line(cut)
        across, along = (4.0, 0.0) if cut.vertical else (0.0, 4.0)
        for x, y in ((x1, y1), (x2, y2)):
            ends = (x - across, y - along, x + across, y + along)
            self.pen.line(*ends, stroke=INK, stroke_width=1.8)


def _overlapping(rects: Sequence[Rect]) -> set[int]:
    """Return which rectangles have another upon them, by their places."""
    order = sorted(range(len(rects)), key=lambda index: rects[index].x)
    shared: set[int] = set()
    open_: list[int] = []
    for index in order:
        rect = rects[index]
        open_ = [other for other in open_ if rects[other].right > rect.x]
        upon = [o for o in open_ if rect.y < rects[o].bottom and rects[o].y < rect.bottom]
        if upon:
            shared.update(upon, [index])
        open_.append(index)
    return shared


def _scale_text(scale: Fraction, translator: Translator) -> str:
    if scale >= 1:
        return f"{scale} : 1" if scale > 1 else "1 : 1"
    return f"1 : {float(1 / scale):g}".replace(".", translator.decimal_mark)
