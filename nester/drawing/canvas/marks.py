"""Marks on a page: words, lines, boxes and the like, at places in millimetres.

Pages are made of marks before anything is written, so that their number is known and every word's
place can be looked at.  Pictures of this package are SVG; `svg_marks` turns the part of it that
they use into marks.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from nester.drawing.canvas.svg import SVG, svg_number

__all__ = [
    "MM_PER_POINT",
    "Circle",
    "Line",
    "LineBatch",
    "Mark",
    "Poly",
    "RectBatch",
    "Rectangle",
    "Tag",
    "TagChange",
    "Text",
    "svg_marks",
    "svg_size",
    "svg_text",
]

MM_PER_POINT = 25.4 / 72
"""Millimetres in a point, as PDF counts it (ISO 32000-1, 8.3.2.3)."""


class Text(NamedTuple):
    """One line of words; size in points, `anchor` start, middle or end; turned reads upwards."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    colour: str = "#000000"
    anchor: str = "start"
    turned: bool = False


class Line(NamedTuple):
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 0.2
    colour: str = "#000000"
    dash: tuple[float, ...] = ()


class LineBatch(NamedTuple):
    """Many straight lines of one look; `ends` holds x1, y1, x2, y2 of each, one after another."""

    ends: array[float]
    width: float = 0.2
    colour: str = "#000000"
    dash: tuple[float, ...] = ()


class RectBatch(NamedTuple):
    """Many filled rectangles of one colour; `rects` holds x, y, width, height of each."""

    rects: array[float]
    fill: str = "#000000"


class Rectangle(NamedTuple):
    """A rectangle; no fill or no colour of its edge: that is not drawn."""

    x: float
    y: float
    width: float
    height: float
    fill: str | None = None
    colour: str | None = "#000000"
    stroke: float = 0.2
    corner_radius: float = 0.0


class Poly(NamedTuple):
    """A line through several places, closed or not."""

    points: tuple[tuple[float, float], ...]
    closed: bool = True
    fill: str | None = None
    colour: str | None = "#000000"
    stroke: float = 0.2


class Circle(NamedTuple):
    """A circle."""

    x: float
    y: float
    radius: float
    fill: str | None = None
    colour: str | None = "#000000"
    stroke: float = 0.2


@dataclass(eq=False, slots=True)
class Tag:
    """What marks on a page are to who hears them read: a heading, a cell of a table.

    Attributes
    ----------
    role
        A standard structure type of PDF (ISO 32000-1, 14.8.4): Document, Sect, H1, P, Table, TR,
        TH, TD, L, LI, LBody, Figure.
    parent
        What it is a part of; parts are read in the order in which they were made.
    alt
        What a figure shows.
    children
        Its parts: tags, and once it is written, the page and number of marked content.
    """

    role: str
    parent: Tag | None = None
    alt: str = ""
    children: list[Tag | tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        if self.parent is not None:
            self.parent.children.append(self)


class TagChange(NamedTuple):
    """Draws nothing: those that come after it belong to a tag, or to none."""

    tag: Tag | None


Mark = Text | Line | LineBatch | RectBatch | Rectangle | Poly | Circle | TagChange

_INHERITED = ("fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "text-anchor")
_TRANSLATE = re.compile(r"translate\(([-0-9.]+) ([-0-9.]+)\)")


def svg_text(picture: ET.Element) -> str:
    """Write a picture, some of whose attributes may still be numbers."""
    for element in picture.iter():
        for name, value in element.items():
            if not isinstance(value, str):
                element.set(name, svg_number(value))
    ET.register_namespace("", SVG)
    return ET.tostring(picture, encoding="unicode")


def svg_size(picture: ET.Element) -> tuple[float, float]:
    """Return how wide and high a picture is, in its own units."""
    _, _, width, height = map(float, picture.get("viewBox", "").split())
    return width, height


def svg_marks(picture: ET.Element, x: float, y: float, scale: float) -> Iterator[Mark]:
    """Yield the marks of a picture whose top left corner lies at a place.

    Parameters
    ----------
    picture
        An SVG element of rects, lines, polylines, polygons, circles and texts, in groups that are
        moved but not turned.
    scale
        Millimetres in a unit of the picture.
    """
    lines: array[float] = array("d")
    look: tuple[float, str, tuple[float, ...]] = (0.0, "", ())
    for mark in _marks(picture, x, y, scale, {"fill": "#000000", "stroke-width": "1"}):
        own = (mark.width, mark.colour, mark.dash) if isinstance(mark, Line) else None
        if lines and own != look:
            yield LineBatch(lines, *look)
            lines = array("d")
        if isinstance(mark, Line) and own is not None:
            look = own
            lines.extend(mark[:4])
        else:
            yield mark
    if lines:
        yield LineBatch(lines, *look)


def _marks(
    parent: ET.Element, x: float, y: float, scale: float, above: Mapping[str, str]
) -> Iterator[Mark]:
    for element in parent:
        tag = element.tag.rpartition("}")[2]
        if tag == "g":
            style = dict(above)
            own = element.attrib
            style.update((name, own[name]) for name in _INHERITED if name in own)
            moved = _TRANSLATE.match(element.get("transform", "translate(0 0)"))
            right, down = map(float, moved.groups()) if moved else (0.0, 0.0)
            yield from _marks(element, x + right * scale, y + down * scale, scale, style)
        elif tag != "title":
            style = {**above, **element.attrib}
            yield _mark(tag, style, element.text, x, y, scale)


def _mark(
    tag: str, of: Mapping[str, str], words: str | None, x: float, y: float, scale: float
) -> Mark:
    def at(name: str) -> float:
        return float(of.get(name, 0)) * scale

    def places() -> tuple[tuple[float, float], ...]:
        pairs = (pair.split(",") for pair in of.get("points", "").split())
        return tuple((x + float(across) * scale, y + float(down) * scale) for across, down in pairs)

    stroke = float(of["stroke-width"]) * scale
    colour = _colour(of.get("stroke"))
    if tag == "line":
        dash = of.get("stroke-dasharray")
        parts = tuple(float(part) * scale for part in dash.split()) if dash else ()
        ends = (x + at("x1"), y + at("y1"), x + at("x2"), y + at("y2"))
        return Line(*ends, stroke, colour or "#000000", parts)
    fill = _colour(of["fill"])
    if tag == "rect":
        sides = (at("width"), at("height"))
        return Rectangle(x + at("x"), y + at("y"), *sides, fill, colour, stroke, at("rx"))
    if tag == "circle":
        return Circle(x + at("cx"), y + at("cy"), at("r"), fill, colour, stroke)
    if tag in ("polygon", "polyline"):
        return Poly(places(), tag == "polygon", fill, colour, stroke)
    if tag == "text":
        return Text(
            x + at("x"),
            y + at("y"),
            words or "",
            float(of.get("font-size", 12)) * scale / MM_PER_POINT,
            of.get("font-weight") == "bold",
            fill or "#000000",
            of.get("text-anchor", "start"),
            "rotate(-90" in of.get("transform", ""),
        )
    raise ValueError(f"a picture's <{tag}> can't be put on a page")


def _colour(value: str | None) -> str | None:
    return None if value in (None, "none") else value
