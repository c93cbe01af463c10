"""Labels on a drawn layout: names and sizes of pieces and offcuts, numbers of cuts, and the key.

A label is written as large as it fits, upwards if need be.  Where it doesn't fit, a letter stands
for it that the key below the sheet explains.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from nester.core.geometry import solid_columns, solid_rows, voids
from nester.core.problem import Demand, placed_voids
from nester.drawing.canvas.colours import MIN_CONTRAST, contrast
from nester.drawing.canvas.svg_pen import INK, BoxGrid
from nester.drawing.canvas.text_metrics import (
    LINE_HEIGHT,
    Box,
    break_lines,
    printable_line,
    text_width,
    wrap_words,
)
from nester.drawing.pictures.layout_scene import BACKGROUND, MARGIN
from nester.drawing.pictures.layout_text import letters

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from nester.core.piece import Piece
    from nester.core.problem import Cut, PlacedPiece, Rect
    from nester.drawing.pictures.layout_scene import LayoutScene

__all__ = ["LabelWriter"]

_LABEL_SIZES = ((14.0, 7.0), (12.0, 7.0), (10.5, 7.0), (9.0, 7.0), (9.0, 3.0), (8.0, 3.0))
"""Sizes of letters, each with the room left to the piece's edge, where numbers of cuts stand."""
_LETTER_SIZES = ((12.0, 8.0), (9.0, 5.0), (8.0, 3.0), (7.0, 2.0), (5.5, 1.0))
_NUMBER_SIZES = (9.0, 8.0, 7.0, 6.0)
_KEY_SIZE = 10.0
_GUTTER = 14.0
"""Between two columns of the key."""
_BADGE_DISTANCE = 6.0
"""From one place that is tried for the number of a cut to the next."""


class LabelWriter:
    """Writes the labels of one picture; what finds no room is remembered for the key.

    Parameters
    ----------
    overlapping
        The pieces and offcuts, by their places in the layout, that reach into another's blank.
    """

    def __init__(self, scene: LayoutScene, overlapping: set[int]) -> None:
        self.scene = scene
        self.pen = scene.pen
        self.subject = scene.subject
        self.overlapping = overlapping
        self.has_dark_paper = contrast(INK, scene.subject.paper_colour) < MIN_CONTRAST
        self.key: dict[tuple[str, str], int] = {}
        self.unlettered: dict[tuple[str, str], None] = {}
        self.unnumbered: list[int] = []

    def write_labels(self) -> None:
        """Write names and sizes on pieces and offcuts."""
        subject = self.subject
        pieces = zip(subject.layout.placed, subject.pieces, strict=True)
        for index, (placed, piece) in enumerate(pieces):
            rect = placed.rect
            if piece is not None and index in self.overlapping:
                rect = _widest_solid(placed, piece)
            self._label(rect, self._label_texts(placed), self.has_dark_paper or piece is not None)
        for name, offcut in zip(subject.offcuts, subject.layout.offcuts, strict=True):
            self._label(offcut, (printable_line(name), subject.size(offcut)), plated=True)

    def _label(self, rect: Rect, words: tuple[str, str], plated: bool) -> None:
        box = self.scene.box(rect)
        paper = BACKGROUND if self.has_dark_paper else self.subject.paper_colour
        fill = paper if plated else None
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
            (line, (number - (len(lines) - 1) / 2) * size * LINE_HEIGHT)
            for number, line in enumerate(lines)
        ]
        if plate is not None:
            wide = max(text_width(line, size) for line in lines)
            high = len(lines) * size * LINE_HEIGHT
            if turned:
                wide, high = high, wide
            around = Box(x - wide / 2 - 2, y - high / 2 - 2, wide + 4, high + 4)
            self.pen.rect(around, fill=plate, rx=2.0)
        for line, off in places:
            at = (x + off, y) if turned else (x, y + off)
            self.pen.write(line, *at, size, turned=turned)

    def number_cuts(self) -> None:
        """Put a number on each cut, off all texts and, if there is room, off other cuts."""
        cuts = self.subject.layout.cuts
        lines = BoxGrid()
        for index, cut in enumerate(cuts):
            lines.add(_line_box(self.scene.cut_line(cut)), index)
        # A long cut has many places between other cuts; a short one that finds its middle taken
        # still has its ends.
        for index in sorted(range(len(cuts)), key=lambda i: cuts[i].start - cuts[i].end):
            if not self._number_cut(index, cuts[index], lines):
                self.unnumbered.append(index + 1)

    def _number_cut(self, index: int, cut: Cut, lines: BoxGrid) -> bool:
        text, knife = str(index + 1), self.subject.by_knife(cut)
        crossed: tuple[Box, float] | None = None
        for size in _NUMBER_SIZES:
            wide, high = max(text_width(text, size), size) + 3, size + 3
            for x, y in _points_along(self.scene.cut_line(cut)):
                badge = Box(x - wide / 2, y - high / 2, wide, high)
                if self.pen.text_boxes.overlaps(badge):
                    continue
                if not lines.overlaps(badge, but=index):
                    self.scene.draw_badge(badge, text, size, knife=knife)
                    return True
                crossed = crossed or (badge, size)
        if crossed is not None:
            self.scene.draw_badge(crossed[0], text, crossed[1], knife=knife)
        return crossed is not None

    def write_key(self, y: float) -> float:
        """Write what the letters stand for, and what found no room; return where the key ends."""
        translator = self.subject.translator
        times = Counter(self._label_texts(placed) for placed in self.subject.layout.placed)

        def counted(words: tuple[str, str]) -> str:
            pieces = [translator.count("{n} piece", "{n} pieces", times[words])] * (
                times[words] > 1
            )
            return ", ".join([*words, *pieces])

        room = self.scene.width - 2 * MARGIN
        entries = [f"{letters(at)}: {counted(words)}" for words, at in self.key.items()]
        widest = max((text_width(entry, _KEY_SIZE) for entry in entries), default=0.0)
        columns = max(1, min(len(entries), int(room / (widest + _GUTTER))))
        for first in range(0, len(entries), columns):
            y = self._key_row(entries[first : first + columns], room / columns, y)
        if self.unlettered:
            named = "; ".join(map(counted, self.unlettered))
            text = translator.say("Too small to label: {named}.").format(named=named)
            y = self._key_row([text], room, y)
        if self.unnumbered:
            numbers = ", ".join(map(str, sorted(self.unnumbered)))
            text = translator.say("Cuts with no room for a number: {numbers}.")
            y = self._key_row([text.format(numbers=numbers)], room, y)
        return y

    def _key_row(self, entries: Sequence[str], wide: float, y: float) -> float:
        row = [break_lines(text, wide - _GUTTER, _KEY_SIZE) for text in entries]
        for column, lines in enumerate(row):
            for number, line in enumerate(lines):
                at = y + (number + 0.5) * _KEY_SIZE * LINE_HEIGHT
                self.pen.write(line, MARGIN + column * wide, at, _KEY_SIZE, anchor="start")
        return y + max(map(len, row)) * _KEY_SIZE * LINE_HEIGHT + 3

    def _label_texts(self, placed: PlacedPiece) -> tuple[str, str]:
        return printable_line(placed.name), self.subject.size(placed)


def _widest_solid(placed: PlacedPiece, piece: Piece) -> Rect:
    """Return the largest row or column of paper of a placed piece."""
    demand = Demand(placed.name, piece.width, piece.height, 1, voids=voids(piece))
    void_rects = placed_voids(demand, placed)
    bars = (*solid_rows(placed.rect, void_rects), *solid_columns(placed.rect, void_rects))
    return max(bars, key=lambda bar: bar.area)


def _fit_label(
    words: tuple[str, str], width: float, height: float
) -> tuple[list[str], float] | None:
    """Return the lines of a name and a measure, and their size: the largest that fits."""
    name, measure = words
    for size, room in _LABEL_SIZES:
        wide, high = width - 2 * room, height - 2 * room
        name_lines = wrap_words(name, wide, size, 3) or [name]
        for choice in (
            [*name_lines, measure],
            [f"{name}, {measure}"],
            [*name_lines, *measure.replace("× ", "×\n").split("\n")],
        ):
            if (
                max(text_width(line, size) for line in choice) <= wide
                and len(choice) * size * LINE_HEIGHT <= high
            ):
                return choice, size
    return None


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
