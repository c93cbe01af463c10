"""Documents on pages: where each word, box and picture stands.

Nothing is written over anything else: every block is measured with the widths of the fonts before
it is placed, words that are too wide are broken, and a row that has no room begins a page.
"""

from __future__ import annotations

import re
from array import array
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from inventory.documents.format.blocks import (
    Block,
    Cell,
    Checkbox,
    Column,
    Document,
    Heading,
    Label,
    Labels,
    Paragraph,
    Picture,
    StepList,
    Swatch,
    Table,
)
from inventory.documents.format.qr import qr_rows
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, printable
from nester.core.sheet_sizes import SHEET_SIZES
from nester.core.translation import Translator
from nester.cutting import CuttingStep
from nester.drawing.canvas.fonts import FontSet
from nester.drawing.canvas.marks import (
    MM_PER_POINT,
    Line,
    Mark,
    Rectangle,
    RectBatch,
    Tag,
    TagChange,
    Text,
    svg_marks,
    svg_size,
)
from nester.drawing.canvas.pdf import Page

__all__ = ["PAGES", "cropped", "paginate", "wrapped"]

PAGES = {"A4": SHEET_SIZES["A4"], "Letter": SHEET_SIZES["letter"]}

_SIDE, _TOP, _BOTTOM = 12.0, 11.0, 17.0
_FOOTER_HEIGHT = 10.0
"""Where the footer's base line stands above the lower edge."""
_TITLE, _HEADING, _WORDS, _ROWS, _SMALL = 17.0, 12.5, 10.5, 10.0, 8.5
_LEADING = 1.28
_ASCENT, _DESCENT = 0.98, 0.3
"""Of a line, in parts of its size, above and below the base line."""
_PAD = 1.1
_RIGHT_PAD = 2.6
"""Right of numbers, so that they stand off from the words of the next column."""
_BETWEEN = 3.0
_GUTTER = 6.0
_TICK = 3.6
_PALE, _GREY = "#b8b8b8", "#555555"
_SVG_UNIT = 0.25
_MOST_LINES = 12
"""So many lines of a cell are printed; more than that is cropped."""


def paginate(
    documents: Iterable[Document], page: str, faces: FontSet, translator: Translator, footer: str
) -> list[Page]:
    """Put documents on pages of A4 or Letter.

    Raises
    ------
    Refusal
        If the page has another name.
    """
    if page not in PAGES:
        raise Refusal(f"'{printable(page)[:30]}' is not a page to print on; use A4 or Letter")
    size = PAGES[page]
    sheet = (size.width / UNITS_PER_MM, size.height / UNITS_PER_MM)
    pages: list[Page] = []
    root = Tag("Document")
    for document in documents:
        flow = _Flow(sheet, faces, translator, document, Tag("Sect", root))
        for number, block in enumerate(document.blocks):
            flow.add(block, document.blocks[number + 1 : number + 3])
        pages += flow.pages
    for number, made in enumerate(pages, 1):
        _write_footer(made, faces, footer, translator.say("{page} of {pages}"), number, len(pages))
    return pages


def _write_footer(
    page: Page, faces: FontSet, footer: str, numbered: str, number: int, total: int
) -> None:
    y = page.height - _FOOTER_HEIGHT
    lowest = max(
        (_lowest(mark) for mark in page.marks if isinstance(mark, Text | Rectangle)), default=0
    )
    if lowest > y - 3.5:
        return  # labels take the page to its edge
    words = numbered.format(page=number, pages=total)
    room = page.width - 2 * _SIDE - faces.width(words, _SMALL) - 4
    page.marks.append(TagChange(None))
    if lowest < y - 5.2:
        page.marks.append(Line(_SIDE, y - 4.2, page.width - _SIDE, y - 4.2, 0.15, _PALE))
    page.marks.append(Text(_SIDE, y, cropped(faces, footer, room, _SMALL), _SMALL, colour=_GREY))
    at = page.width - _SIDE
    page.marks.append(Text(at, y, words, _SMALL, colour=_GREY, anchor="end"))


def _lowest(mark: Text | Rectangle) -> float:
    return mark.y + (mark.height if isinstance(mark, Rectangle) else 0.0)


def cropped(faces: FontSet, words: str, room: float, size: float, *, bold: bool = False) -> str:
    """Return words shortened to a width."""
    if faces.width(words, size, bold=bold) <= room:
        return words
    lengths = range(1, len(words))
    kept = bisect_right(lengths, room, key=lambda n: faces.width(words[:n] + "…", size, bold=bold))
    return words[:kept].rstrip() + "…"


_FIXED_SPACE = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(
    r"(?<=[0-9]) (?=(?:mm|cm|in|m²|h|min)\b)|(?<=[0-9]) (?=×)|(?<=×) (?=≈?[0-9])"
)
"""Blanks within a measure: a line that breaks there is read wrong with a knife in hand."""
_BREAKS = re.compile(rf"[^\S{_FIXED_SPACE}]+")


def wrapped(
    faces: FontSet, words: str, room: float, size: float, *, bold: bool = False
) -> list[str]:
    """Break words into lines at their blanks, and a word that is too wide anywhere.

    A measure stays on one line, if there is room for it.
    """
    shown = words if words.isprintable() else printable(words)
    if faces.width(shown, size, bold=bold) <= room:
        return [" ".join(shown.split())]
    lines: list[str] = []
    used = 0.0
    blank = faces.width(" ", size, bold=bold)
    parts = map(printable, _BREAKS.split(_TOGETHER.sub(_FIXED_SPACE, words)))
    for word in (
        word
        for part in parts
        for word in ([part] if faces.width(part, size, bold=bold) <= room else part.split())
    ):
        # Fonts are set without kerning, so that widths of words add up.
        wide = faces.width(word, size, bold=bold)
        if lines and used + blank + wide <= room:
            lines[-1] = f"{lines[-1]} {word}"
            used += blank + wide
            continue
        while wide > room:
            fits = _how_many_fit(faces, word, room, size, bold)
            lines.append(word[:fits])
            word = word[fits:]
            wide = faces.width(word, size, bold=bold)
        if word:
            lines.append(word)
        used = wide if word else room
    return lines or [""]


def _how_many_fit(faces: FontSet, word: str, room: float, size: float, bold: bool) -> int:
    least, most = 1, len(word)
    while least < most:
        half = (least + most + 1) // 2
        if faces.width(word[:half], size, bold=bold) <= room:
            least = half
        else:
            most = half - 1
    return least


@dataclass
class _Flow:
    """Pages of one document, filled from top to bottom."""

    sheet: tuple[float, float]
    faces: FontSet
    translator: Translator
    document: Document
    section: Tag

    def __post_init__(self) -> None:
        self.pages: list[Page] = []
        self.bottom = self.sheet[1] - _BOTTOM
        self.width = self.sheet[0] - 2 * _SIDE
        self.whole = self.bottom - _TOP
        self.y = self.bottom
        if not isinstance(next(iter(self.document.blocks), None), Labels):
            self.new_page()

    # --- pages and lines -----------------------------------------------------------------------

    def blank_page(self) -> Page:
        """Begin a page without a heading."""
        first = not self.pages
        page = Page(*self.sheet, bookmark=self.document.title if first else "")
        self.pages.append(page)
        return page

    def new_page(self) -> None:
        """Begin a page with the document's title."""
        first = not self.pages
        self.blank_page()
        self.y = _TOP
        if first:
            self.put(TagChange(Tag("H1", self.section)))
            self.lines(self.wrap(self.document.title, _TITLE, bold=True)[:4], _TITLE, bold=True)
            if self.document.about:
                self.put(TagChange(Tag("P", self.section)))
                self.y += 0.6
                self.lines(self.wrap(self.document.about, _WORDS)[:6], _WORDS)
            self.y += _BETWEEN
        else:
            self.put(TagChange(None))
            again = self.translator.say("{title}, continued").format(title=self.document.title)
            self.lines(
                [cropped(self.faces, again, self.width, _WORDS, bold=True)], _WORDS, bold=True
            )
            self.y += _BETWEEN
        self.begins = self.y

    def wrap(self, words: str, size: float, *, bold: bool = False) -> list[str]:
        return wrapped(self.faces, words, self.width, size, bold=bold)

    def put(self, *marks: Mark) -> None:
        self.pages[-1].marks.extend(marks)

    def lines(
        self, lines: Sequence[str], size: float, *, x: float = _SIDE, bold: bool = False
    ) -> None:
        """Write lines from here on downwards; there must be room for them."""
        for line in lines:
            base = self.y + size * MM_PER_POINT * _ASCENT
            self.put(Text(x, base, line, size, bold))
            self.y += _line_height(size)

    def ensure_room(self, high: float) -> None:
        """Begin a page unless there is that much room."""
        if self.y + high > self.bottom and self.y > self.begins:
            self.new_page()

    # --- blocks --------------------------------------------------------------------------------

    def add(self, block: Block, after: Sequence[Block]) -> None:
        """Put one block on the page; what comes after it may have to stand beside."""
        match block:
            case Heading():
                lines = self.wrap(block.text, _HEADING, bold=True)
                self.y += 1.5 if self.y > self.begins else 0
                pictures = [block.least for block in after if isinstance(block, Picture)]
                below = 15 + pictures[0] * self.whole if pictures else 25.0
                self.ensure_room(len(lines) * _line_height(_HEADING) + below)
                self.put(TagChange(Tag("H2", self.section)))
                self.lines(lines, _HEADING, bold=True)
                self.y += 1.2
            case Paragraph():
                self._words(block)
            case Table():
                self._table(block)
            case Picture():
                steps = after[0] if after and isinstance(after[0], StepList) else None
                self._picture(block, steps)
            case StepList():
                self._steps(block.steps)
            case Labels():
                self._labels(block)

    def _words(self, block: Paragraph) -> None:
        inset = 2.5 if block.boxed else 0.0
        room = self.width - 2 * inset
        lines = wrapped(self.faces, block.text, room, _WORDS, bold=block.bold)
        tag = Tag("P", self.section)
        while lines:
            high = _line_height(_WORDS)
            self.ensure_room(min(len(lines), 3) * high + 2 * inset)
            self.put(TagChange(tag))
            count = max(1, int((self.bottom - self.y - 2 * inset) / high))
            top, now = self.y, lines[:count]
            self.y += inset
            self.lines(now, _WORDS, x=_SIDE + inset, bold=block.bold)
            self.y += inset
            if block.boxed:
                self.put(
                    TagChange(None), Rectangle(_SIDE, top, self.width, self.y - top, stroke=0.35)
                )
            lines = lines[count:]
        self.y += _BETWEEN * 0.6

    def _table(self, table: Table) -> None:
        widths = _column_widths(table.columns, self.width)
        titles = [
            wrapped(self.faces, column.title, _room(column, width), _SMALL, bold=True)
            for column, width in zip(table.columns, widths, strict=True)
        ]
        head = max(map(len, titles)) * _line_height(_SMALL) + _PAD
        rows = [self._cells(table.columns, widths, row) for row in table.rows]
        first = _row_height(rows[0]) if rows else 0.0
        self.ensure_room(head + first)
        tag = Tag("Table", self.section)
        self._table_head(table.columns, widths, titles, head, Tag("TR", tag))
        for row in rows:
            if self.y + _row_height(row) > self.bottom and self.y > self.begins:
                self.new_page()
                self._table_head(table.columns, widths, titles, head, None)
            self._row(table.columns, widths, row, Tag("TR", tag))
        self.y += _BETWEEN

    def _cells(
        self, columns: Sequence[Column], widths: Sequence[float], row: Sequence[Cell]
    ) -> list[Cell | list[str]]:
        cells: list[Cell | list[str]] = []
        for column, width, cell in zip(columns, widths, row, strict=True):
            if isinstance(cell, str):
                room = _room(column, width)
                lines = wrapped(self.faces, cell, room, _ROWS, bold=column.bold)
                if len(lines) > _MOST_LINES:
                    lines = lines[:_MOST_LINES]
                    last = lines[-1] + "…"
                    lines[-1] = cropped(self.faces, last, room, _ROWS, bold=column.bold)
                cells.append(lines)
            else:
                cells.append(cell)
        return cells

    def _table_head(
        self,
        columns: Sequence[Column],
        widths: Sequence[float],
        titles: Sequence[Sequence[str]],
        high: float,
        tag: Tag | None,
    ) -> None:
        """Write the columns' titles; on pages that a table goes on, nobody needs to hear them."""
        x, bottom = _SIDE, self.y + high
        for column, width, lines in zip(columns, widths, titles, strict=True):
            self.put(TagChange(None if tag is None else Tag("TH", tag)))
            y = (
                bottom
                - _PAD * 0.6
                - (len(lines) - 1) * _line_height(_SMALL)
                - _SMALL * MM_PER_POINT * _DESCENT
            )
            for line in lines:
                self.put(_in_column(line, x, y, width, _SMALL, column.align_right, bold=True))
                y += _line_height(_SMALL)
            x += width
        self.put(TagChange(None), Line(_SIDE, bottom, _SIDE + self.width, bottom, 0.35))
        self.y = bottom

    def _row(
        self,
        columns: Sequence[Column],
        widths: Sequence[float],
        row: Sequence[Cell | list[str]],
        tag: Tag,
    ) -> None:
        high = _row_height(row)
        x = _SIDE
        for column, width, cell in zip(columns, widths, row, strict=True):
            self.put(TagChange(Tag("TD", tag)))
            if isinstance(cell, list):
                base = self.y + _PAD + _ROWS * MM_PER_POINT * _ASCENT
                for line in cell:
                    self.put(
                        _in_column(line, x, base, width, _ROWS, column.align_right, column.bold)
                    )
                    base += _line_height(_ROWS)
            elif isinstance(cell, Checkbox):
                top = self.y + (_first_line() - _TICK) / 2
                self.put(Rectangle(x + _PAD, top, _TICK, _TICK, stroke=0.3))
            elif isinstance(cell, Swatch):
                top = self.y + (_first_line() - _TICK) / 2
                self.put(Rectangle(x + _PAD, top, width - 2 * _PAD, _TICK, cell.colour))
            x += width
        self.y += high
        self.put(TagChange(None), Line(_SIDE, self.y, _SIDE + self.width, self.y, 0.12, _PALE))

    def _picture(self, picture: Picture, steps: StepList | None) -> None:
        left = self.bottom - self.y
        if left < picture.least * self.whole and self.y > self.begins:
            self.new_page()
            left = self.bottom - self.y
        room = min(left, picture.most * self.whole)
        if steps is not None:
            needed = _columns_height(self._wrap_steps(steps.steps), 2) + _BETWEEN
            if room - needed > 0.45 * self.whole:
                room -= needed
        drawn = picture.draw((self.width, room))
        wide, high = svg_size(drawn)
        scale = min(_SVG_UNIT, self.width / wide, room / high)
        x = _SIDE + (self.width - wide * scale) / 2
        self.put(TagChange(Tag("Figure", self.section, picture.words)))
        self.put(*svg_marks(drawn, x, self.y, scale))
        self.y += high * scale + _BETWEEN * 0.5

    # --- steps in two columns ------------------------------------------------------------------

    def _wrap_steps(self, steps: Sequence[CuttingStep]) -> list[_WrappedStep]:
        wide = (self.width - _GUTTER) / 2
        wrapped_steps = []
        for step in steps:
            lines = [
                (0.0, line, True) for line in wrapped(self.faces, step.cut, wide, _ROWS, bold=True)
            ]
            for free in step.results:
                rows = wrapped(self.faces, free, wide - 4, _ROWS)
                lines += [(4.0, line, False) for line in rows]
            wrapped_steps.append(_WrappedStep(tuple(lines)))
        return wrapped_steps

    def _steps(self, steps: Sequence[CuttingStep]) -> None:
        waiting = self._wrap_steps(steps)
        tag = Tag("L", self.section)
        while waiting:
            self.ensure_room(min(30.0, waiting[0].height))
            room = self.bottom - self.y
            columns: list[list[_WrappedStep]] = []
            height = min(room, _columns_height(waiting, 2))
            for _ in range(2):
                column: list[_WrappedStep] = []
                used = 0.0
                while waiting and (
                    used + waiting[0].height <= height + 1e-6 or not (column or columns)
                ):
                    used += waiting[0].height
                    column.append(waiting.pop(0))
                columns.append(column)
            top = self.y
            lowest = top
            for number, column in enumerate(columns):
                self.y = top
                for step in column:
                    self.put(TagChange(Tag("LBody", Tag("LI", tag))))
                    self._step(step, _SIDE + number * ((self.width - _GUTTER) / 2 + _GUTTER))
                lowest = max(lowest, self.y)
            self.y = lowest + _BETWEEN * 0.5
            if waiting:
                self.new_page()

    def _step(self, step: _WrappedStep, x: float) -> None:
        for inset, line, bold in step.lines:
            self.lines([line], _ROWS, x=x + inset, bold=bold)
        self.y += _STEP_GAP

    # --- labels --------------------------------------------------------------------------------

    def _labels(self, block: Labels) -> None:
        grid = block.grid
        wide, high = grid.size(*self.sheet)
        if wide < 25 or high < 12:
            raise Refusal(
                f"labels of {wide:.0f} × {high:.0f} mm are too small to be read; give fewer rows"
                " or columns, or smaller margins"
            )
        on_page = grid.columns * grid.rows
        for number, label in enumerate(block.labels):
            if number % on_page == 0:
                self.blank_page()
            row, column = divmod(number % on_page, grid.columns)
            x = grid.side + column * (wide + grid.gap_across)
            y = grid.top + row * (high + grid.gap_down)
            self._label(label, x, y, wide, high)

    def _label(self, label: Label, x: float, y: float, wide: float, high: float) -> None:
        inset = 2.5
        code = min(high - 2 * inset, wide * 0.36, 26.0)
        rows = qr_rows(label.id)
        step = code / len(rows)
        left, top = x + wide - inset - code, y + (high - code) / 2
        dark = array("d")
        for down, row in enumerate(rows):
            for start, length in row:
                dark.extend((left + start * step, top + down * step, length * step, step))
        self.put(TagChange(Tag("Figure", self.section, f"QR {label.id}")), RectBatch(dark))
        self.put(TagChange(Tag("P", self.section)))
        room = left - x - 2 * inset
        size = min(15.0, high * 0.45)
        name = cropped(self.faces, label.id, room, size, bold=True)
        base = y + inset + size * MM_PER_POINT * _ASCENT
        self.put(Text(x + inset, base, name, size, True))
        at = y + inset + _line_height(size)
        lines = [line for words in label.lines for line in wrapped(self.faces, words, room, _SMALL)]
        strip = 2.2 if label.colour is not None else 0.0
        fitting = max(0, int((y + high - inset - strip - at) / _line_height(_SMALL)))
        for line in lines[:fitting]:
            self.put(Text(x + inset, at + _SMALL * MM_PER_POINT * _ASCENT, line, _SMALL))
            at += _line_height(_SMALL)
        if label.colour is not None:
            self.put(
                TagChange(None),
                Rectangle(x + inset, y + high - inset - 1.8, room, 1.8, label.colour),
            )


_STEP_GAP = 1.3


class _WrappedStep(NamedTuple):
    """A step broken into lines: how far each is set in, its words, whether bold."""

    lines: tuple[tuple[float, str, bool], ...]

    @property
    def height(self) -> float:
        return len(self.lines) * _line_height(_ROWS) + _STEP_GAP


def _columns_height(steps: Sequence[_WrappedStep], columns: int) -> float:
    """Return the least height at which steps, in their order, fit into the columns."""
    heights = [step.height for step in steps]
    if not heights:
        return 0.0
    least, most = max(max(heights), sum(heights) / columns), sum(heights)
    while most - least > 0.05:
        half = (least + most) / 2
        used, needed = 0.0, 1
        for high in heights:
            if used + high > half:
                needed, used = needed + 1, 0.0
            used += high
        if needed <= columns:
            most = half
        else:
            least = half
    return most


def _line_height(size: float) -> float:
    return size * MM_PER_POINT * _LEADING


def _first_line() -> float:
    return _line_height(_ROWS) + 2 * _PAD


def _row_height(row: Sequence[Cell | list[str]]) -> float:
    lines = max((len(cell) for cell in row if isinstance(cell, list)), default=1)
    return lines * _line_height(_ROWS) + 2 * _PAD


def _column_widths(columns: Sequence[Column], width: float) -> list[float]:
    left = width - sum(column.share for column in columns if column.fixed)
    shares = sum(column.share for column in columns if not column.fixed)
    return [c.share if c.fixed else left * c.share / shares for c in columns]


def _room(column: Column, width: float) -> float:
    return width - _PAD - (_RIGHT_PAD if column.align_right else _PAD)


def _in_column(
    words: str, x: float, base: float, width: float, size: float, right: bool, bold: bool
) -> Text:
    if right:
        return Text(x + width - _RIGHT_PAD, base, words, size, bold, anchor="end")
    return Text(x + _PAD, base, words, size, bold)
