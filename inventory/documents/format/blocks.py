"""What a document says, whatever it is written as: PDF pages, HTML.

A document is a list of blocks: words, tables, pictures, steps, labels.  Neither places on a page
nor tags stand here; `flow` puts blocks on pages, `web` into HTML.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET

    from nester.cutting import CuttingStep

__all__ = [
    "Block",
    "Cell",
    "Checkbox",
    "Column",
    "Document",
    "Heading",
    "Label",
    "LabelGrid",
    "Labels",
    "Paragraph",
    "Picture",
    "StepList",
    "Swatch",
    "Table",
]


class Checkbox(NamedTuple):
    """An empty box to tick."""


class Swatch(NamedTuple):
    """A paper's colour, #rrggbb; None: not known."""

    colour: str | None


Cell = str | Checkbox | Swatch


class Column(NamedTuple):
    """A column of a table; `share` of the width against the others, or millimetres if `fixed`."""

    title: str
    share: float = 1.0
    fixed: bool = False
    align_right: bool = False
    bold: bool = False


@dataclass(frozen=True)
class Heading:
    """A line above a part of a document."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """A paragraph."""

    text: str
    bold: bool = False
    boxed: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under the titles of columns."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A picture drawn for the room it gets: millimetres across and down.

    Attributes
    ----------
    draw
        Returns an SVG element, a quarter of a millimetre to the unit.
    words
        What it shows, for those who can't see it.
    most, least
        How much of a page's height it may take; with less than `least` left it begins a new page.
    """

    draw: Callable[[tuple[float, float]], ET.Element]
    words: str
    most: float = 1.0
    least: float = 0.4


@dataclass(frozen=True)
class StepList:
    """Steps to follow one after the other."""

    steps: tuple[CuttingStep, ...]


class Label(NamedTuple):
    """One label: its id large, lines below, and the id again as a QR code."""

    id: str
    lines: tuple[str, ...]
    colour: str | None = None


class LabelGrid(NamedTuple):
    """A sheet of labels, in millimetres: margins at the page's sides and top, gaps between."""

    columns: int = 3
    rows: int = 8
    side: float = 7.0
    top: float = 12.0
    gap_across: float = 2.5
    gap_down: float = 0.0

    def size(self, width: float, height: float) -> tuple[float, float]:
        """Return how wide and high each label on a page is."""
        across = width - 2 * self.side - (self.columns - 1) * self.gap_across
        down = height - 2 * self.top - (self.rows - 1) * self.gap_down
        return across / self.columns, down / self.rows


@dataclass(frozen=True)
class Labels:
    """Labels to print on a sheet that is parted into equal ones."""

    labels: tuple[Label, ...]
    grid: LabelGrid


Block = Heading | Paragraph | Table | Picture | StepList | Labels

DocumentKind = Literal["summary", "take-out", "cut", "score", "kit", "labels"]
"""Of a plan's set."""


@dataclass(frozen=True)
class Document:
    """One of the set; it begins on a new page.

    Attributes
    ----------
    kind
        What it is, for file names.
    title, about
        Its heading, and a line under it.
    """

    kind: DocumentKind | Literal["quote"]
    title: str
    about: str = ""
    blocks: tuple[Block, ...] = field(default=())
