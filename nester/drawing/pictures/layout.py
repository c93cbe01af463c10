"""A layout as a picture to scale: pieces, cuts in order, offcuts and rulers.

The picture fits an A4 page with 10 mm of margin.  A picture unit is a quarter of a millimetre on
paper.  Nothing is told by colour alone: offcuts are hatched, scrap is dotted, cuts carry round
numbers, knife cuts square ones with a tick at each end, and pieces too small for their words
carry a letter that a key below explains.
"""

from __future__ import annotations

import re
import unicodedata
import xml.etree.ElementTree as ET
from bisect import bisect_right
from collections import Counter
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, cast

from nester.core.geometry import solid_columns, solid_rows, voids
from nester.core.lengths import UNITS_PER_MM, Unit
from nester.core.piece import Fold, Grain
from nester.core.problem import UNLIMITED_TRIMMER, Demand, Rect, placed_voids
from nester.core.translation import ENGLISH, translatable
from nester.cutting import (
    offcut_name,
)
from nester.drawing.canvas.marks import svg_text
from nester.drawing.canvas.svg import SVG, svg_number
from nester.drawing.pictures.layout_text import letters
from nester.drawing.pictures.piece import FOLD_DASHES, FOLD_WORDS, piece_marks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from nester.core.lengths import Length
    from nester.core.piece import Piece
    from nester.core.problem import Cut, Layout, PlacedPiece, StockItem, Trimmer
    from nester.core.translation import Translator

__all__ = ["Box", "draw_layout", "layout_picture", "text_box", "text_width"]

_UNITS_PER_MM = 4
"""Picture units in a millimetre of the page."""
_PAGES = ((190 * _UNITS_PER_MM, 277 * _UNITS_PER_MM), (277 * _UNITS_PER_MM, 190 * _UNITS_PER_MM))
"""A4 upright and lying (ISO 216: 210 × 297 mm), less 10 mm all round."""
_MIN_WIDTH = 480
_SCALE_DENOMINATORS = (
    1,
    2,
    Fraction(5, 2),
    3,
    4,
    5,
    6,
    8,
    10,
    12,
    15,
    20,
    25,
    30,
    40,
    50,
    60,
    80,
    100,
)
_SCALES = (Fraction(2), *(1 / Fraction(part) for part in _SCALE_DENOMINATORS))
_MIN_SCALE_SHARE = Fraction(3, 5)
"""A long key may shrink the sheet to this share; after that the picture outgrows the page."""

_BACKGROUND = "#fbf8f0"
_SCRAP = "#efe9dc"
_INK = "#1f1d1a"
_PENCIL = "#6d675e"
_PLAIN = "#ffffff"

_MARGIN = 12.0
_RULER = 40.0
_DIMENSION_MARGIN = 26.0
_TITLE, _WORDS, _KEY, _SMALL = 20.0, 12.0, 10.0, 9.0
_LABEL_SIZES = ((14.0, 7.0), (12.0, 7.0), (10.5, 7.0), (9.0, 7.0), (9.0, 3.0), (8.0, 3.0))
"""Sizes of letters, each with the room left to the piece's edge, where numbers of cuts stand."""
_LETTER_SIZES = ((12.0, 8.0), (9.0, 5.0), (8.0, 3.0), (7.0, 2.0), (5.5, 1.0))
_NUMBER_SIZES = (9.0, 8.0, 7.0, 6.0)
_LINE_HEIGHT = 1.2
_GUTTER = 14.0
_BADGE_DISTANCE = 6.0

_HYPHENATED_ATTRIBUTES = {
    name.replace("-", "_"): name
    for name in ("font-size", "stroke-dasharray", "stroke-width", "text-anchor")
}
_Look = dict[str, str | float]
"""Attributes of an element."""


class Box(NamedTuple):
    """A rectangle of the picture, in picture units."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: Box) -> bool:
        """Tell whether two boxes share more than an edge."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


# ------------------------------------------------------------------------------------- words


_ASCENT, _DESCENT, _NO_DESCENT = 0.78, 0.25, 0.03
_NO_DESCENDERS = re.compile(r"[0-9A-IK-PR-Z]*")
_WIDTHS = {
    letter: width
    for letters, width in (
        (" !'(),-./:;I[\\]`fijlrt|·\N{NO-BREAK SPACE}", 0.42),
        ('"*?JL_cksvxyz–', 0.61),
        ("$0123456789abdeghnopqu{}ß", 0.64),
        ("ABCEFKPRSTVXYZ", 0.74),
        ("&DGHNOQU", 0.80),
        ("#+<=>M^w~×≈", 0.87),
        ("%@Wm—…½¼¾⅓⅔⅛⅜⅝⅞", 1.02),
    )
    for letter in letters
}
"""Widths of letters, for a size of 1: the wider of DejaVu Sans and Liberation Sans (which is as
wide as Arial), measured in the fonts and rounded up."""
_WIDE, _OTHER = 1.1, 1.25


def text_width(text: str, size: float) -> float:
    """Return at most how wide a text is in the usual sans-serif faces, in picture units."""
    return size * _unit_width(text)


@lru_cache(maxsize=16384)
def _unit_width(text: str) -> float:
    return sum(map(_letter_width, text))


@lru_cache(maxsize=4096)
def _letter_width(letter: str) -> float:
    base = unicodedata.normalize("NFD", letter)[0]
    if base in _WIDTHS:
        return _WIDTHS[base]
    if unicodedata.combining(base):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(base) in "WF" else _OTHER


def text_box(
    text: str, x: float, baseline: float, size: float, anchor: str = "middle", turned: bool = False
) -> Box:
    """Return the box of a text at an anchor, as `draw_layout` reckons with it.

    Parameters
    ----------
    x, baseline
        The place of the anchor.
    anchor
        ``middle`` or ``start``, as in SVG.
    turned
        Rotated about the anchor so that it reads upwards.
    """
    width = text_width(text, size)
    before = width / 2 if anchor == "middle" else 0.0
    up, down = size * _ASCENT, size * _descent(text)
    if turned:
        return Box(x - up, baseline + before - width, up + down, width)
    return Box(x - before, baseline - up, width, up + down)


def _descent(text: str) -> float:
    return _NO_DESCENT if _NO_DESCENDERS.fullmatch(text) else _DESCENT


def _printable_line(text: str) -> str:
    """Return one line without control characters, which XML can't hold."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _wrapped(text: str, width: float, size: float, most: int) -> list[str] | None:
    """Break a text at its spaces into at most so many lines; None if it can't be done."""
    lines = _lines(text, width, size)
    whole = len(lines) <= most and sum(map(len, lines)) + len(lines) == len(text) + 1
    return lines if whole else None


def _lines(text: str, width: float, size: float) -> list[str]:
    """Break a text at its spaces into lines; words that are too long are cropped."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(_cropped(word, width, size))
    return lines


def _cropped(text: str, width: float, size: float) -> str:
    if text_width(text, size) <= width:
        return text
    lengths = range(1, len(text))
    kept = bisect_right(lengths, width, key=lambda n: text_width(text[:n] + "…", size))
    return text[:kept].rstrip() + "…"


# ------------------------------------------------------------------------------------ colours


@lru_cache(maxsize=1024)
def _luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb (WCAG 2.2, definition "relative luminance")."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, definition "contrast ratio")."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


_MIN_CONTRAST = 7.0
"""WCAG 2.2, success criterion 1.4.6: small text, enhanced."""


def _hex_colour(colour: str | None) -> str:
    """Return #rrggbb from #rgb or #rrggbb; anything else is drawn as plain paper."""
    match = re.fullmatch(r"#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})", colour or "")
    if match is None:
        return _PLAIN
    digits = match[1].lower()
    return "#" + (digits if len(digits) == 6 else "".join(d + d for d in digits))


# ------------------------------------------------------------------------------------- drawing


class _BoxGrid:
    """Boxes by place, to ask quickly whether a new one would touch any."""

    _CELL = 40.0

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], list[tuple[Box, int]]] = {}

    def add(self, box: Box, owner: int = 0) -> None:
        for cell in self._cells_of(box):
            self.cells.setdefault(cell, []).append((box, owner))

    def overlaps(self, box: Box, but: int = -1) -> bool:
        """Tell whether a box touches one of another owner."""
        return any(
            owner != but and box.overlaps(other)
            for cell in self._cells_of(box)
            for other, owner in self.cells.get(cell, ())
        )

    def _cells_of(self, box: Box) -> Iterator[tuple[int, int]]:
        for column in range(int(box.x // self._CELL), int((box.x + box.width) // self._CELL) + 1):
            for row in range(int(box.y // self._CELL), int((box.y + box.height) // self._CELL) + 1):
                yield column, row


class _SvgPen:
    """Adds elements to a picture and remembers where words are."""

    def __init__(self) -> None:
        self.root = ET.Element(f"{{{SVG}}}svg")
        self.text_boxes = _BoxGrid()

    def add(self, tag: str, **attributes: str | float) -> ET.Element:
        """Add an element; its numbers stay numbers until `ink.svg_text` writes them."""
        named = {
            _HYPHENATED_ATTRIBUTES.get(name, name): value for name, value in attributes.items()
        }
        return ET.SubElement(self.root, f"{{{SVG}}}{tag}", cast("dict[str, str]", named))

    def rect(self, box: Box, **look: str | float) -> None:
        self.add("rect", x=box.x, y=box.y, width=box.width, height=box.height, **look)

    def line(self, x1: float, y1: float, x2: float, y2: float, **look: str | float) -> None:
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, **look)

    def write(
        self,
        text: str,
        x: float,
        y: float,
        size: float,
        *,
        anchor: str = "middle",
        turned: bool = False,
        colour: str = _INK,
    ) -> None:
        """Write a text with its box's middle, or the middle of its box's left side, at (x, y)."""
        shift = _baseline_shift(text, size)
        at_x, baseline = (x + shift, y) if turned else (x, y + shift)
        look: _Look = {"font_size": size, "fill": colour, "text_anchor": anchor}
        if turned:
            look["transform"] = f"rotate(-90 {svg_number(at_x)} {svg_number(baseline)})"
        self.add("text", x=at_x, y=baseline, **look).text = text
        self.text_boxes.add(text_box(text, at_x, baseline, size, anchor, turned))


def _baseline_shift(text: str, size: float) -> float:
    return size * (_ASCENT - _descent(text)) / 2


# --------------------------------------------------------------------------------- the picture


_FOLDS = tuple(Fold)
_FIRST_FOLD = 4
_FIRST_ARROW = _FIRST_FOLD + len(_FOLDS)
"""Where the folds, and after them the arrows, stand among the signs of the legend."""


class _Subject(NamedTuple):
    """What is drawn."""

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
        return self.translator.size(rect.width, rect.height, self.unit)

    def length(self, length: Length, *, with_unit: bool = True) -> str:
        return self.translator.length(length, self.unit, with_unit=with_unit)

    def by_knife(self, cut: Cut) -> bool:
        return not self.trimmer.can_make(cut)


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
    voice: Translator = ENGLISH,
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
    voice
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
    colour = _hex_colour(paper_colour)
    subject = _Subject(
        layout,
        stock,
        unit,
        colour,
        _printable_line(title),
        pieces or [None] * len(layout.placed),
        voice,
        trimmer,
        offcuts or [offcut_name(i, voice) for i in range(1, len(layout.offcuts) + 1)],
        embedded=room is not None,
        pattern_up=pattern_up,
    )
    pages = _PAGES if room is None else ((room[0] * _UNITS_PER_MM, room[1] * _UNITS_PER_MM),)
    largest: _LayoutPicture | None = None
    for scale in _SCALES:
        if largest is not None and scale < largest.scale * _MIN_SCALE_SHARE:
            break
        for page_width, page_height in pages:
            width = _needed_width(stock, scale, subject)
            drawn_height = stock.height * scale * _UNITS_PER_MM / UNITS_PER_MM
            if width > page_width or drawn_height > page_height:
                continue
            picture = _LayoutPicture(subject, scale, max(width, _MIN_WIDTH))
            if picture.height <= page_height:
                return picture.finished()
            largest = largest or picture
    if largest is None:
        raise ValueError(f"{stock.name!r} is too large to be drawn")
    return largest.finished()


def _height_label(stock: StockItem, scale: Fraction, subject: _Subject) -> tuple[bool, float]:
    """Tell whether a sheet's height is written upwards beside it, and how much room that takes."""
    words = text_width(subject.length(stock.height), _WORDS)
    upwards = words < float(stock.height * scale * _UNITS_PER_MM / UNITS_PER_MM)
    return upwards, _DIMENSION_MARGIN if upwards else _DIMENSION_MARGIN / 2 + words


def _needed_width(stock: StockItem, scale: Fraction, subject: _Subject) -> float:
    drawn = float(stock.width * scale * _UNITS_PER_MM / UNITS_PER_MM)
    return 2 * _MARGIN + _RULER + drawn + _height_label(stock, scale, subject)[1]


class _LayoutPicture:
    """One picture at one scale."""

    def __init__(self, subject: _Subject, scale: Fraction, width: float) -> None:
        self.subject = subject
        self.scale = scale
        self.width = width
        self.pen = _SvgPen()
        self.exact_units_per_length = scale * _UNITS_PER_MM / UNITS_PER_MM
        self.units_per_length = float(self.exact_units_per_length)
        self.key: dict[tuple[str, str], int] = {}
        self.unlettered: dict[tuple[str, str], None] = {}
        self.unnumbered: list[int] = []
        self.overlapping = _overlapping(
            [*(placed.rect for placed in subject.layout.placed), *subject.layout.offcuts]
        )
        if not subject.embedded:
            self.pen.add("rect", width="100%", height="100%", fill=_BACKGROUND)
        top = self._header() + _RULER
        spare = (width - _needed_width(subject.stock, scale, subject)) / 2
        self.sheet = Box(
            _MARGIN + _RULER + spare,
            top,
            subject.stock.width * self.units_per_length,
            subject.stock.height * self.units_per_length,
        )
        self._sheet()
        self._rulers()
        self._dimensions()
        self._fills()
        self._cuts()
        self._labels()
        self._cut_numbers()
        bottom = self._legend(self.sheet.y + self.sheet.height + _DIMENSION_MARGIN + 12)
        self.height = self._key(bottom) + _MARGIN

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

    # ---------------------------------------------------------------------------- around it

    def _title(self) -> str:
        copies = self.subject.translator.count("{n} copy", "{n} copies", self.subject.layout.copies)
        return f"{self.subject.title} · {copies}"

    def _header(self) -> float:
        subject = self.subject
        room = self.width - 2 * _MARGIN
        say = subject.translator.say
        paper, name = _printable_line(subject.stock.paper), _printable_line(subject.stock.name)
        source = say("from {name}, {paper}") if paper else say("from {name}")
        scale = say("drawn at {scale}").format(scale=_scale_text(self.scale, subject.translator))
        head = [
            (self._title(), _TITLE),
            (f"{subject.size(subject.stock)} · {scale}", _WORDS),
            (source.format(name=name, paper=paper), _WORDS),
        ]
        y = _MARGIN
        for text, size in head[1:2] if subject.embedded else head:
            for line in _lines(text, room, size):
                self.pen.write(line, _MARGIN, y + size / 2, size, anchor="start")
                y += size * _LINE_HEIGHT
            y += 2
        return y

    def _sheet(self) -> None:
        """Draw the sheet as scrap, with drawn-over corners as on a drawing board."""
        x, y, width, height = self.sheet
        shadow = Box(x + 4, y + 4, width, height)
        self.pen.rect(shadow, fill="#d9d2c2")
        self.pen.rect(self.sheet, fill=_SCRAP)
        step = 10
        for row in range(step // 2, int(height), step):
            shift = step // 2 if row // step % 2 else 1
            self._dots(x + shift, y + row, x + width)
        over = 8.0
        for at in (x, x + width):
            self.pen.line(at, y - over, at, y + height + over, stroke=_PENCIL, stroke_width=0.7)
        for at in (y, y + height):
            self.pen.line(x - over, at, x + width + over, at, stroke=_PENCIL, stroke_width=0.7)

    def _dots(self, x1: float, y: float, x2: float) -> None:
        look: _Look = {
            "stroke_width": 1.3,
            "stroke_dasharray": "1.3 8.7",
        }
        if x1 < x2:
            self.pen.line(x1, y, x2, y, stroke="#a79d8a", **look)

    def _rulers(self) -> None:
        stock = self.subject.stock
        for length, upright in ((stock.width, False), (stock.height, True)):
            for at, rank in _ticks(length, self.subject.unit, self.exact_units_per_length):
                self._tick(at * self.units_per_length, rank, upright)
                if rank == 0:
                    words = self.subject.length(at, with_unit=False)
                    self._ruler_words(words, at * self.units_per_length, upright)

    def _tick(self, along: float, rank: int, upright: bool) -> None:
        start, end = 9.0, 9.0 + (11.0, 7.0, 5.0, 3.5, 2.5)[rank]
        look: _Look = {
            "stroke": _PENCIL,
            "stroke_width": 0.8 if rank == 0 else 0.5,
        }
        x, y = self.sheet.x, self.sheet.y
        if upright:
            self.pen.line(x - end, y + along, x - start, y + along, **look)
        else:
            self.pen.line(x + along, y - end, x + along, y - start, **look)

    def _ruler_words(self, words: str, along: float, upright: bool) -> None:
        if upright:
            x = self.sheet.x - 21 - text_width(words, _SMALL) / 2
            self.pen.write(words, x, self.sheet.y + along, _SMALL, colour=_PENCIL)
        else:
            x, y = self.sheet.x + along, self.sheet.y - 26
            self.pen.write(words, x, y, _SMALL, colour=_PENCIL)

    def _dimensions(self) -> None:
        """Write the sheet's whole width below it and its whole height beside it."""
        stock, subject = self.subject.stock, self.subject
        x, y, width, height = self.sheet
        below, beside = y + height + 14, x + width + 14
        look: _Look = {"stroke": _PENCIL, "stroke_width": 0.7}
        self.pen.line(x - 4, below, x + width + 4, below, **look)
        self.pen.line(beside, y - 4, beside, y + height + 4, **look)
        for end in (x, x + width):
            self.pen.line(end - 3, below + 3, end + 3, below - 3, stroke=_INK, stroke_width=1.0)
        for end in (y, y + height):
            self.pen.line(beside - 3, end + 3, beside + 3, end - 3, stroke=_INK, stroke_width=1.0)
        self.pen.write(subject.length(stock.width), x + width / 2, below + 10, _WORDS)
        tall = subject.length(stock.height)
        upwards, _ = _height_label(stock, self.scale, subject)
        across = 10.0 if upwards else 6 + text_width(tall, _WORDS) / 2
        self.pen.write(tall, beside + across, y + height / 2, _WORDS, turned=upwards)

    # ------------------------------------------------------------------------------ upon it

    def _to_picture(self, rect: Rect) -> Box:
        return Box(
            self.sheet.x + rect.x * self.units_per_length,
            self.sheet.y + rect.y * self.units_per_length,
            rect.width * self.units_per_length,
            rect.height * self.units_per_length,
        )

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
                self.pen.rect(
                    self._to_picture(placed.rect), fill=fill, stroke=_INK, stroke_width=0.8
                )
            if piece is not None:
                self._outline(placed, piece)
        for offcut in self.subject.layout.offcuts:
            box = self._to_picture(offcut)
            self.pen.rect(box, fill=paper, stroke=_INK, stroke_width=0.8)
            for line in _hatches(box):
                self.pen.line(*line, stroke=self._contrast_to_paper(), stroke_width=0.6)

    def _contrast_to_paper(self) -> str:
        paper = self.subject.paper_colour
        return max(_INK, _BACKGROUND, key=lambda colour: _contrast(colour, paper))

    def _outline(self, placed: PlacedPiece, piece: Piece) -> None:
        blank = (piece.height, piece.width) if placed.turned else (piece.width, piece.height)
        if blank != (placed.width, placed.height):
            raise ValueError(f"piece {placed.name!r} does not fill the place it lies on")
        x, y = svg_number(self.sheet.x), svg_number(self.sheet.y)
        parent = self.pen.add("g", transform=f"translate({x} {y})")
        marks = piece_marks(
            parent,
            piece,
            placed.x,
            placed.y,
            self.exact_units_per_length,
            placed.turned,
            fill=self.subject.paper_colour,
        )
        marks.set("stroke", self._contrast_to_paper())

    def _cuts(self) -> None:
        """Draw the cuts over a light seam, so that they show on dark paper too."""
        cuts = self.subject.layout.cuts
        for colour, width in ((_BACKGROUND, 3.4), (_INK, 1.4)):
            for cut in cuts:
                self.pen.line(*self._cut_line(cut), stroke=colour, stroke_width=width)
        for cut in cuts:
            if self.subject.by_knife(cut):
                self._end_ticks(cut)

    def _cut_line(self, cut: Cut) -> tuple[float, float, float, float]:
        at, start, end = (length * self.units_per_length for length in cut[2:5])
        x, y = self.sheet.x, self.sheet.y
        if cut.vertical:
            return x + at, y + start, x + at, y + end
        return x + start, y + at, x + end, y + at

    def _end_ticks(self, cut: Cut) -> None:
        x1, y1, x2, y2 = self._cut_line(cut)
        across, along = (4.0, 0.0) if cut.vertical else (0.0, 4.0)
        for x, y in ((x1, y1), (x2, y2)):
            ends = (x - across, y - along, x + across, y + along)
            self.pen.line(*ends, stroke=_INK, stroke_width=1.8)

    def _labels(self) -> None:
        subject = self.subject
        plated = _contrast(_INK, subject.paper_colour) < _MIN_CONTRAST
        both = zip(subject.layout.placed, subject.pieces, strict=True)
        for index, (placed, piece) in enumerate(both):
            rect = placed.rect
            if piece is not None and index in self.overlapping:
                rect = _widest_solid(placed, piece)
            self._label(rect, self._label_texts(placed), plated or piece is not None)
        for name, offcut in zip(subject.offcuts, subject.layout.offcuts, strict=True):
            self._label(offcut, (_printable_line(name), subject.size(offcut)), plated=True)

    def _label(self, rect: Rect, words: tuple[str, str], plated: bool) -> None:
        box = self._to_picture(rect)
        fill = (
            (
                _BACKGROUND
                if _contrast(_INK, self.subject.paper_colour) < _MIN_CONTRAST
                else self.subject.paper_colour
            )
            if plated
            else None
        )
        for turned in (False, True):
            sides = (box.height, box.width) if turned else (box.width, box.height)
            fitted = _fit_label(words, *sides)
            if fitted is not None:
                self._write_lines(*fitted, box, turned, fill)
                return
        letter = letters(self.key.get(words, len(self.key)))
        for size, room in _LETTER_SIZES:
            if text_width(letter, size) + 2 * room <= box.width and size + 2 * room <= box.height:
                self.key.setdefault(words, len(self.key))
                self._write_lines([letter], size, box, False, fill)
                return
        self.unlettered[words] = None

    def _write_lines(
        self, lines: Sequence[str], size: float, box: Box, turned: bool, plate: str | None
    ) -> None:
        x, y = box.x + box.width / 2, box.y + box.height / 2
        places = [
            (line, (number - (len(lines) - 1) / 2) * size * _LINE_HEIGHT)
            for number, line in enumerate(lines)
        ]
        if plate is not None:
            wide = max(text_width(line, size) for line in lines)
            high = len(lines) * size * _LINE_HEIGHT
            if turned:
                wide, high = high, wide
            around = Box(x - wide / 2 - 2, y - high / 2 - 2, wide + 4, high + 4)
            self.pen.rect(around, fill=plate, rx=2.0)
        for line, off in places:
            at = (x + off, y) if turned else (x, y + off)
            self.pen.write(line, *at, size, turned=turned)

    def _cut_numbers(self) -> None:
        cuts = self.subject.layout.cuts
        lines = _BoxGrid()
        for index, cut in enumerate(cuts):
            lines.add(_line_box(self._cut_line(cut)), index)
        # A long cut has many places between other cuts; a short one that finds its middle taken
        # still has its ends.
        for index in sorted(range(len(cuts)), key=lambda i: cuts[i].start - cuts[i].end):
            if not self._cut_number(index, cuts[index], lines):
                self.unnumbered.append(index + 1)

    def _cut_number(self, index: int, cut: Cut, lines: _BoxGrid) -> bool:
        words = str(index + 1)
        crossed: tuple[Box, float] | None = None
        for size in _NUMBER_SIZES:
            wide, high = max(text_width(words, size), size) + 3, size + 3
            for x, y in _points_along(self._cut_line(cut)):
                badge = Box(x - wide / 2, y - high / 2, wide, high)
                if self.pen.text_boxes.overlaps(badge):
                    continue
                if not lines.overlaps(badge, but=index):
                    self._badge(badge, words, size, self.subject.by_knife(cut))
                    return True
                crossed = crossed or (badge, size)
        if crossed is not None:
            self._badge(crossed[0], words, crossed[1], self.subject.by_knife(cut))
        return crossed is not None

    def _badge(self, badge: Box, words: str, size: float, knife: bool) -> None:
        corner = 0.0 if knife else badge.height / 2
        self.pen.rect(badge, rx=corner, fill=_PLAIN, stroke=_INK, stroke_width=0.8)
        middle = (badge.x + badge.width / 2, badge.y + badge.height / 2)
        self.pen.write(words, *middle, size)
        self.pen.text_boxes.add(badge)

    # ------------------------------------------------------------------------------ below it

    def _legend(self, y: float) -> float:
        """Explain the signs that are used; return where the legend ends."""
        layout = self.subject.layout
        covered = sum(rect.area for rect in layout.offcuts) + sum(
            placed.rect.area if piece is None else piece.area
            for placed, piece in zip(layout.placed, self.subject.pieces, strict=True)
        )
        knife = {self.subject.by_knife(cut) for cut in layout.cuts}
        signs = [
            (False in knife, translatable("cut, numbered in order")),
            (True in knife, translatable("knife cut, between its ticks")),
            (bool(layout.offcuts), translatable("offcut to keep")),
            (covered < self.subject.stock.width * self.subject.stock.height, translatable("scrap")),
        ]
        folds = {
            score.fold
            for piece in self.subject.pieces
            if piece is not None
            for score in piece.scores
        }
        signs += [(fold in folds, FOLD_WORDS[fold]) for fold in _FOLDS]
        signs += [
            (self.subject.stock.grain is not Grain.ANY, translatable("fibres of the paper")),
            (self.subject.pattern_up, translatable("top of the pattern")),
        ]
        x = _MARGIN
        y += _WORDS / 2
        for number, (used, text) in enumerate(signs):
            words = self.subject.translator.say(text)
            needed = 40 + text_width(words, _SMALL) + 16
            if not used:
                continue
            if x + needed > self.width and x > _MARGIN:
                x, y = _MARGIN, y + 18
            self._legend_sign(number, x, y)
            self.pen.write(words, x + 40, y, _SMALL, anchor="start")
            x += needed
        return y + _WORDS

    def _legend_sign(self, number: int, x: float, y: float) -> None:
        box = Box(x, y - 6, 32, 12)
        if number < 2:
            self.pen.line(x, y, x + 32, y, stroke=_INK, stroke_width=1.4)
            if number == 1:
                for end in (x, x + 32):
                    self.pen.line(end, y - 4, end, y + 4, stroke=_INK, stroke_width=1.8)
            self._badge(Box(x + 10, y - 6, 12, 12), "1", _SMALL, knife=number == 1)
            return
        if number >= _FIRST_ARROW:
            upright = number > _FIRST_ARROW or self.subject.stock.grain is Grain.HEIGHT
            self._arrow(x + 16, y, upright=upright, both=number == _FIRST_ARROW)
            return
        if number >= _FIRST_FOLD:
            dashes = FOLD_DASHES[_FOLDS[number - _FIRST_FOLD]]
            self.pen.line(x, y, x + 32, y, stroke=_INK, stroke_width=1.2, stroke_dasharray=dashes)
            return
        fill = self.subject.paper_colour if number == 2 else _SCRAP
        self.pen.rect(box, fill=fill, stroke=_INK, stroke_width=0.8)
        if number == 2:
            for line in _hatches(box):
                self.pen.line(*line, stroke=self._contrast_to_paper(), stroke_width=0.6)
        else:
            for row in (3, 9):
                self._dots(x + (4 if row == 3 else 9), y - 6 + row, x + 30)

    def _arrow(self, x: float, y: float, *, upright: bool, both: bool) -> None:
        """Draw an arrow about a place, with a head at one end or both."""
        half, head = (9.0 if upright else 16.0), 4.0
        strokes = [((-half, 0.0), (half, 0.0))]
        for end in (half, -half) if both else (half,):
            back = end - head if end > 0 else end + head
            strokes += [((end, 0.0), (back, -head)), ((end, 0.0), (back, head))]
        for (along, off), (along2, off2) in strokes:
            if upright:
                ends = (x + off, y - along, x + off2, y - along2)
            else:
                ends = (x + along, y + off, x + along2, y + off2)
            self.pen.line(*ends, stroke=_INK, stroke_width=1.2)

    def _key(self, y: float) -> float:
        """Write what the letters stand for, and what found no room; return where the key ends."""
        times = Counter(self._label_texts(placed) for placed in self.subject.layout.placed)

        voice = self.subject.translator

        def counted(words: tuple[str, str]) -> str:
            pieces = [voice.count("{n} piece", "{n} pieces", times[words])] * (times[words] > 1)
            return ", ".join([*words, *pieces])

        room = self.width - 2 * _MARGIN
        entries = [f"{letters(at)}: {counted(words)}" for words, at in self.key.items()]
        widest = max((text_width(entry, _KEY) for entry in entries), default=0.0)
        columns = max(1, min(len(entries), int(room / (widest + _GUTTER))))
        for first in range(0, len(entries), columns):
            y = self._key_row(entries[first : first + columns], room / columns, y)
        if self.unlettered:
            named = "; ".join(map(counted, self.unlettered))
            told = voice.say("Too small for a letter: {named}.").format(named=named)
            y = self._key_row([told], room, y)
        if self.unnumbered:
            numbers = ", ".join(map(str, sorted(self.unnumbered)))
            told = voice.say("Cuts without room for their number: {numbers}.")
            y = self._key_row([told.format(numbers=numbers)], room, y)
        return y

    def _key_row(self, entries: Sequence[str], wide: float, y: float) -> float:
        row = [_lines(text, wide - _GUTTER, _KEY) for text in entries]
        for column, lines in enumerate(row):
            for number, line in enumerate(lines):
                at = y + (number + 0.5) * _KEY * _LINE_HEIGHT
                self.pen.write(line, _MARGIN + column * wide, at, _KEY, anchor="start")
        return y + max(map(len, row)) * _KEY * _LINE_HEIGHT + 3

    def _label_texts(self, placed: PlacedPiece) -> tuple[str, str]:
        return _printable_line(placed.name), self.subject.size(placed)


def _widest_solid(placed: PlacedPiece, piece: Piece) -> Rect:
    """Return the largest row or column of paper of a placed piece."""
    want = Demand(placed.name, piece.width, piece.height, 1, voids=voids(piece))
    gone = placed_voids(want, placed)
    bars = (*solid_rows(placed.rect, gone), *solid_columns(placed.rect, gone))
    return max(bars, key=lambda bar: bar.area)


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


def _scale_text(scale: Fraction, voice: Translator) -> str:
    if scale >= 1:
        return f"{scale} : 1" if scale > 1 else "1 : 1"
    return f"1 : {float(1 / scale):g}".replace(".", voice.decimal_mark)


def _fit_label(
    words: tuple[str, str], width: float, height: float
) -> tuple[list[str], float] | None:
    """Return the lines of a name and a measure, and their size: the largest that fits."""
    name, measure = words
    for size, room in _LABEL_SIZES:
        wide, high = width - 2 * room, height - 2 * room
        name_lines = _wrapped(name, wide, size, 3) or [name]
        for choice in (
            [*name_lines, measure],
            [f"{name}, {measure}"],
            [*name_lines, *measure.replace("× ", "×\n").split("\n")],
        ):
            if (
                max(text_width(line, size) for line in choice) <= wide
                and len(choice) * size * _LINE_HEIGHT <= high
            ):
                return choice, size
    return None


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


def _line_box(line: tuple[float, float, float, float]) -> Box:
    x1, y1, x2, y2 = line
    return Box(x1 - 0.5, y1 - 0.5, x2 - x1 + 1, y2 - y1 + 1)


def _points_along(line: tuple[float, float, float, float]) -> Iterator[tuple[float, float]]:
    """Yield places on a line: its middle first, then further and further from it."""
    x1, y1, x2, y2 = line
    half = max(4, int((x2 - x1 + y2 - y1) / _BADGE_DISTANCE / 2))
    for number in range(half):
        for share in (0.5 + number / half / 2, 0.5 - number / half / 2):
            yield x1 + (x2 - x1) * share, y1 + (y2 - y1) * share


_RULER_DIVISIONS: dict[Unit, tuple[tuple[Fraction, ...], ...]] = {
    Unit.MM: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1", "5 1", "10 5 1", "20 10 5 1", "50 10 5", "100 50 10", "200 100 50 10",
                     "500 100 50", "1000 500 100")
    ),
    Unit.CM: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1/10", "1/2 1/10", "1 1/2 1/10", "2 1 1/2 1/10", "5 1 1/2", "10 5 1",
                     "20 10 5 1", "50 10 5", "100 50 10")
    ),
    Unit.IN: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1/4 1/8 1/16 1/32", "1/2 1/4 1/8 1/16", "1 1/2 1/4 1/8 1/16",
                     "2 1 1/2 1/4 1/8", "4 2 1 1/2 1/4", "6 3 1 1/2", "12 6 3 1", "24 12 6 3",
                     "48 24 12 6")
    ),
}  # fmt: skip
"""Divisions of a ruler, in its unit: those with words first, then ever finer ones."""
_MIN_LABEL_DISTANCE, _MIN_TICK_DISTANCE = 30.0, 4.5


def _ticks(length: Length, unit: Unit, per_length: Fraction) -> Iterator[tuple[Length, int]]:
    """Yield the places of a ruler's ticks and their rank, 0 for those with words."""
    per_unit = unit.fine_units * per_length
    for divisions in _RULER_DIVISIONS[unit]:
        if divisions[0] * per_unit >= _MIN_LABEL_DISTANCE:
            break
    steps = [
        (step * unit.fine_units).numerator
        for step in divisions
        if step * per_unit >= _MIN_TICK_DISTANCE
    ]
    for number in range(length // steps[-1] + 1):
        at = number * steps[-1]
        yield at, next(rank for rank, step in enumerate(steps) if at % step == 0)
