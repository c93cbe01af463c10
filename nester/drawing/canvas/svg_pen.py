"""A pen that draws into an SVG picture and remembers where words are."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING, cast

from nester.drawing.canvas.svg import SVG, svg_number

if TYPE_CHECKING:
    from collections.abc import Iterator

from nester.drawing.canvas.text_metrics import Box, baseline_shift, text_box

__all__ = ["INK", "BoxGrid", "Look", "SvgPen"]
INK = "#1f1d1a"
"""The colour of letters and lines."""

_HYPHENATED_ATTRIBUTES = {
    name.replace("-", "_"): name
    for name in ("font-size", "stroke-dasharray", "stroke-width", "text-anchor")
}

Look = dict[str, str | float]
"""Attributes of an element."""


class BoxGrid:
    """Boxes by their cells in a grid, to find overlaps without a look at all of them."""

    _CELL = 40.0

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], list[tuple[Box, int]]] = {}

    def add(self, box: Box, owner: int = 0) -> None:
        """Add a box; boxes of one owner don't count as obstacles to each other."""
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


class SvgPen:
    """Adds elements to a picture and remembers where its texts are."""

    def __init__(self) -> None:
        self.root = ET.Element(f"{{{SVG}}}svg")
        self.text_boxes = BoxGrid()

    def add(self, tag: str, **attributes: str | float) -> ET.Element:
        """Add an element; its numbers stay numbers until `marks.svg_text` writes them."""
        named = {
            _HYPHENATED_ATTRIBUTES.get(name, name): value for name, value in attributes.items()
        }
        return ET.SubElement(self.root, f"{{{SVG}}}{tag}", cast("dict[str, str]", named))

    def rect(self, box: Box, **look: str | float) -> None:
        """Draw a rectangle."""
        self.add("rect", x=box.x, y=box.y, width=box.width, height=box.height, **look)

    def line(self, x1: float, y1: float, x2: float, y2: float, **look: str | float) -> None:
        """Draw a straight line."""
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
        colour: str = INK,
    ) -> None:
        """Write a text with its box's middle, or the middle of its box's left side, at (x, y)."""
        shift = baseline_shift(text, size)
        at_x, baseline = (x + shift, y) if turned else (x, y + shift)
        look: Look = {"font_size": size, "fill": colour, "text_anchor": anchor}
        if turned:
            look["transform"] = f"rotate(-90 {svg_number(at_x)} {svg_number(baseline)})"
        self.add("text", x=at_x, y=baseline, **look).text = text
        self.text_boxes.add(text_box(text, at_x, baseline, size, anchor, turned))
