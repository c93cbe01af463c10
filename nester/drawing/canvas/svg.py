"""What all drawings in SVG share: lines, texts, numbers, and the document as text."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "SVG",
    "svg_document",
    "svg_element",
    "svg_label",
    "svg_line",
    "svg_number",
    "svg_picture",
]

SVG = "http://www.w3.org/2000/svg"
"""The namespace."""


def svg_element(parent: ET.Element, tag: str, **attributes: str) -> ET.Element:
    """Add an element to a picture and return it."""
    return ET.SubElement(parent, f"{{{SVG}}}{tag}", attributes)


def svg_picture(
    width: Fraction | float, height: Fraction | float, title: str, look: Mapping[str, str]
) -> ET.Element:
    """Return an empty white picture with a title for those who can't see it.

    Parameters
    ----------
    width, height
        In picture units.
    look
        Attributes that hold for the whole picture; ``width`` and ``height`` among them give the
        size on paper.
    """
    sides = {"width": svg_number(width), "height": svg_number(height)}
    view = f"0 0 {sides['width']} {sides['height']}"
    root = ET.Element(f"{{{SVG}}}svg", {"viewBox": view, **sides, **look})
    svg_element(root, "title").text = title
    svg_element(root, "rect", **sides, fill="#ffffff", stroke="none")
    return root


def svg_line(
    parent: ET.Element,
    start: tuple[Fraction | float, Fraction | float],
    end: tuple[Fraction | float, Fraction | float],
    look: Mapping[str, str],
) -> None:
    """Draw a straight line."""
    names = ("x1", "y1", "x2", "y2")
    ends = dict(zip(names, map(svg_number, (*start, *end)), strict=True))
    svg_element(parent, "line", **ends, **look)


def svg_label(
    parent: ET.Element,
    text: str,
    x: Fraction | float,
    y: Fraction | float,
    look: Mapping[str, str],
    *,
    anchor: str = "start",
    turned: bool = False,
) -> None:
    """Write a text.

    Parameters
    ----------
    x, y
        Where its baseline has its anchor.
    anchor
        ``start``, ``middle`` or ``end``, as in SVG.
    turned
        Rotated about the anchor so that it reads upwards.
    """
    place = {"x": svg_number(x), "y": svg_number(y), "text-anchor": anchor}
    if turned:
        place["transform"] = f"rotate(-90 {place['x']} {place['y']})"
    svg_element(parent, "text", **place, **look).text = text


@lru_cache(maxsize=65536)
def svg_number(value: Fraction | float) -> str:
    """Write a number to a hundredth of a picture's unit, the same on every machine."""
    if isinstance(value, float):
        return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
    hundredths = round(value * 100)
    whole, part = divmod(abs(hundredths), 100)
    return f"{'-' if hundredths < 0 else ''}{whole}.{part:02}".rstrip("0").rstrip(".")


def svg_document(root: ET.Element) -> str:
    """Return a picture as an SVG document; the same one always gives the same text."""
    ET.register_namespace("", SVG)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode") + "\n"
