"""What all drawings in SVG share: elements, numbers, and the document as text."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from fractions import Fraction
from functools import lru_cache

__all__ = ["SVG", "svg_document", "svg_element", "svg_number"]

SVG = "http://www.w3.org/2000/svg"
"""The namespace."""


def svg_element(parent: ET.Element, tag: str, **attributes: str) -> ET.Element:
    """Add an element to a picture and return it."""
    return ET.SubElement(parent, f"{{{SVG}}}{tag}", attributes)


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
