"""A layout as text with box characters: for a terminal, also over a slow line.

A sign is taken to be twice as high as wide.  Pieces carry their names where they fit and else a
letter that the key explains; offcuts are filled with ``/``, scrap with ``·``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from nester.core.problem import Layout, Rect, StockItem
from nester.core.translation import ENGLISH
from nester.cutting.instructions import offcut_name
from nester.drawing.canvas.text_metrics import terminal_width

if TYPE_CHECKING:
    from nester.core.lengths import Unit
    from nester.core.translation import Translator

__all__ = ["layout_text", "letters"]

_LEFT, _RIGHT, _UP, _DOWN = 1, 2, 4, 8
_LINE_CHARACTERS = " ╴╶─╵┘└┴╷┐┌┬│┤├┼"
"""By the sides to which a sign's strokes run."""
_SCRAP, _OFFCUT = "·", "/"
_MAX_ROWS = 40


def layout_text(
    layout: Layout,
    stock: StockItem,
    unit: Unit,
    *,
    columns: int = 78,
    translator: Translator = ENGLISH,
    offcuts: Sequence[str] = (),
) -> str:
    """Draw a layout with box characters.

    Parameters
    ----------
    columns
        How many signs a line may have.
    offcuts
        What the offcuts are called, in the layout's order; `offcut_name` if not given.

    Returns
    -------
    str
        Lines of at most that many characters (wide characters count double), the last one ended.
    """
    names = offcuts or [offcut_name(i, translator) for i in range(1, len(layout.offcuts) + 1)]
    table = _CharacterGrid(stock, columns)
    things = [(piece.rect, _one_line(piece.name), " ") for piece in layout.placed]
    things += [
        (rect, _one_line(name), _OFFCUT) for rect, name in zip(layout.offcuts, names, strict=True)
    ]
    things.sort(key=lambda thing: -thing[0].area)  # what lies in another's corner comes upon it
    for rect, _, fill in things:
        table.box(rect, fill)
    key: dict[tuple[str, str], str] = {}
    for rect, name, _ in things:
        size = translator.size(rect.width, rect.height, unit)
        if not table.write(rect, [name, size]):
            table.write(rect, [key.setdefault((name, size), letters(len(key)))])
    rows = list(table.rows())
    width, height = translator.length(stock.width, unit), translator.length(stock.height, unit)
    rows.append(f"{width} × {height}")
    rows += [
        line
        for (name, size), letter in key.items()
        for line in _cropped(f"{letter}: {name}, {size}", columns)
    ]
    return "\n".join(row.rstrip() for row in rows) + "\n"


class _CharacterGrid:
    """A field of signs with lines between them."""

    def __init__(self, stock: StockItem, columns: int) -> None:
        wide = max(2, columns - 1)
        high = max(2, round(wide * stock.height / stock.width / 2))
        if high > _MAX_ROWS:
            wide, high = max(8, round(_MAX_ROWS * 2 * stock.width / stock.height)), _MAX_ROWS
            wide = min(wide, columns - 1)
        self.stock, self.width, self.height = stock, wide, high
        self.sides = [[0] * (wide + 1) for _ in range(high + 1)]
        self.characters = [[_SCRAP] * (wide + 1) for _ in range(high + 1)]
        self.written = [[False] * (wide + 1) for _ in range(high + 1)]
        self.box(Rect(0, 0, stock.width, stock.height), _SCRAP)

    def _ends(self, rect: Rect) -> tuple[int, int, int, int]:
        def across(x: int) -> int:
            return (2 * x * self.width + self.stock.width) // (2 * self.stock.width)

        def down(y: int) -> int:
            return (2 * y * self.height + self.stock.height) // (2 * self.stock.height)

        return across(rect.x), down(rect.y), across(rect.right), down(rect.bottom)

    def box(self, rect: Rect, fill: str) -> None:
        """Draw a rectangle over what is there."""
        left, top, right, bottom = self._ends(rect)
        for y in range(top + 1, bottom):
            for x in range(left + 1, right):
                self.sides[y][x] = 0
                self.characters[y][x] = fill
        for x in range(left, right):
            for y in (top, bottom):
                self.sides[y][x] |= _RIGHT
                self.sides[y][x + 1] |= _LEFT
        for y in range(top, bottom):
            for x in (left, right):
                self.sides[y][x] |= _DOWN
                self.sides[y + 1][x] |= _UP

    def write(self, rect: Rect, lines: Sequence[str]) -> bool:
        """Write lines in the middle of a rectangle, if they fit there and nothing else stands."""
        left, top, right, bottom = self._ends(rect)
        room = right - left - 1
        if any(terminal_width(line) > room for line in lines) or len(lines) > bottom - top - 1:
            return False
        first = (top + bottom - len(lines) + 1) // 2
        spots = [
            ((left + right - terminal_width(line) + 1) // 2, first + number)
            for number, line in enumerate(lines)
        ]
        for line, (x, y) in zip(lines, spots, strict=True):
            cells = range(x, x + terminal_width(line))
            if any(self.written[y][at] or self.sides[y][at] for at in cells):
                return False
        for line, (x, y) in zip(lines, spots, strict=True):
            at = x
            for sign in line:
                self.characters[y][at] = sign
                self.written[y][at] = True
                for beside in range(1, terminal_width(sign)):
                    self.characters[y][at + beside] = ""
                    self.written[y][at + beside] = True
                at += terminal_width(sign)
        return True

    def rows(self) -> Iterator[str]:
        """Yield the lines."""
        for sides, signs in zip(self.sides, self.characters, strict=True):
            yield "".join(
                _LINE_CHARACTERS[side] if side else sign
                for side, sign in zip(sides, signs, strict=True)
            )


def _one_line(name: str) -> str:
    """Return a name without the characters that have no width in a terminal."""
    composed = unicodedata.normalize("NFC", name)
    kept = "".join(c if c.isprintable() and not unicodedata.combining(c) else " " for c in composed)
    return " ".join(kept.split())


def _cropped(text: str, columns: int) -> Iterator[str]:
    """Yield a text in lines that are not too long."""
    line, used = "", 0
    for sign in text:
        if used + terminal_width(sign) > columns:
            yield line
            line, used = "   ", 3
        line += sign
        used += terminal_width(sign)
    yield line


def letters(number: int) -> str:
    """Return A for 0, B for 1, and so on to Z, AA, AB, …."""
    name = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        name = chr(ord("A") + rest) + name
    return name
