"""How folded parts go together, seen from the side and cut through the middle.

Widths and heights are to scale; the paper is drawn thicker than it is, and where walls would
then touch, the gap between them too, so that each part stands out from its neighbours.  Lids
hang above what they cover.  Neighbouring parts are filled black and white in turn; colour
alone means nothing.  A picture unit is a quarter of a millimetre on paper.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from nester.core.lengths import UNITS_PER_MM, Length, Unit, cm, format_length, inch, mm, printable
from nester.drawing.canvas.svg import (
    svg_document,
    svg_element,
    svg_label,
    svg_line,
    svg_number,
    svg_picture,
)
from nester.drawing.canvas.text_metrics import text_width

if TYPE_CHECKING:
    from nester.designs.base.clearance import Thickness
    from nester.designs.base.design import SectionPart

__all__ = ["SLEEVE", "draw_assembly"]

SLEEVE = "sleeve"
"""A part of this role is closed above as well: something slides through it."""

_UNITS_PER_MM = 4
_MAX_WIDTH, _MAX_HEIGHT = 110 * _UNITS_PER_MM, 140 * _UNITS_PER_MM
"""Most room for the parts, so that the picture with its words fits an A4 page."""
_SCALES = tuple(
    Fraction(*parts)
    for parts in (
        (5, 1), (2, 1), (1, 1), (1, 2), (2, 5), (1, 3), (1, 4), (1, 5), (1, 6), (1, 8),
        (1, 10), (1, 15), (1, 20), (1, 25), (1, 30), (1, 40), (1, 50),
    )
)  # fmt: skip
_SCALE_BARS = {
    Unit.IN: [inch(part) for part in ("1/8", "1/4", "1/2", "1", "2", "5", "10", "20")],
    Unit.CM: [*map(cm, ("0.1", "0.5", "1", "2", "5", "10", "20", "50"))],
    Unit.MM: [*map(mm, ("1", "5", "10", "20", "50", "100", "200", "500"))],
}
_MAX_BAR_LENGTH = 160

_WALL = Fraction(4)
_GAP = Fraction(5)
"""Least between walls drawn."""
_LIFT = Fraction(26)
_MARGIN = Fraction(28)
_HEADER = Fraction(64)
_WORDS, _TITLE = 13.0, 18.0
_LINE = Fraction(16)
_LABEL = Fraction(40)
"""From one label to the next: two lines and air."""
_LEADER = Fraction(56)
_MAX_NAME_LENGTH = 48

_INK, _FAINT, _PLAIN = "#222222", "#666666", "#ffffff"


class _DrawnPart(NamedTuple):
    """A part in the picture: half its width, and where it begins and ends, y down."""

    part: SectionPart
    half_width: Fraction
    top: Fraction
    bottom: Fraction


def draw_assembly(
    parts: Sequence[SectionPart], unit: Unit, *, thickness: Thickness | None = None
) -> str:
    """Draw folded parts standing in one another, with their names and sizes beside them.

    Parameters
    ----------
    parts
        What to draw; at least one.
    unit
        The unit of the sizes.
    thickness
        How thick the paper of each role is, to be written beside it.

    Returns
    -------
    str
        An SVG document; the same parts always give the same text.
    """
    if not parts:
        raise ValueError("there is no part to draw")
    ratio = _largest_scale(parts)
    drawn = _stacked(parts, ratio * _UNITS_PER_MM / UNITS_PER_MM)
    labels = [_label(piece.part, unit, thickness) for piece in drawn]
    return _picture(drawn, labels, ratio, unit)


def _largest_scale(parts: Sequence[SectionPart]) -> Fraction:
    """Return the largest scale at which everything has room."""
    wide = max(part.width for part in parts)
    lids = sum(part.height for part in parts if part.is_lid)
    high = lids + max((part.height for part in parts if not part.is_lid), default=0)
    for ratio in _SCALES:
        unit = ratio * _UNITS_PER_MM / UNITS_PER_MM
        if wide * unit <= _MAX_WIDTH and high * unit <= _MAX_HEIGHT:
            return ratio
    return _SCALES[-1]


def _stacked(parts: Sequence[SectionPart], scale: Fraction) -> list[_DrawnPart]:
    """Stand the parts in one another on y = 0, and hang the lids above, the outermost on top."""
    drawn: list[_DrawnPart] = []
    for part in sorted((p for p in parts if not p.is_lid), key=lambda p: p.nesting_depth):
        half, bottom = part.width * scale / 2, Fraction(0)
        top = -max(part.height * scale, _WALL)
        if drawn:
            around = drawn[-1]
            half = max(min(half, around.half_width - _WALL - _GAP), 2 * _WALL)
            bottom = around.bottom - _WALL - _GAP / 2
            top += bottom
            if around.part.role.partition(".")[0] == SLEEVE:
                top = max(top, around.top + _WALL + _GAP / 2)
            elif part.height <= around.part.height:
                top = max(top, around.top)
            top = min(top, bottom - _WALL)
        drawn.append(_DrawnPart(part, half, top, bottom))
    rim = min((piece.top for piece in drawn), default=Fraction(0))
    for part in sorted((p for p in parts if p.is_lid), key=lambda p: -p.nesting_depth):
        bottom = rim - _LIFT
        rim = bottom - max(part.height * scale, _WALL)
        half = part.width * scale / 2
        covered = _covered_part(part, drawn)
        if covered:
            half = max(half, covered.half_width + _WALL + _GAP / 2)
        drawn.append(_DrawnPart(part, half, rim, bottom))
    return drawn


def _covered_part(lid: SectionPart, drawn: Sequence[_DrawnPart]) -> _DrawnPart | None:
    """Return the widest part that a lid goes over."""
    narrower = [d for d in drawn if not d.part.is_lid and d.part.width <= lid.width]
    return max(narrower, key=lambda d: d.part.width, default=None)


def _label(part: SectionPart, unit: Unit, thickness: Thickness | None) -> tuple[str, str]:
    name = printable(part.name)
    if len(name) > _MAX_NAME_LENGTH:
        name = name[:_MAX_NAME_LENGTH].rstrip() + "…"
    sizes = f"{format_length(part.width, unit)} wide"
    if part.height:
        sizes += f", {'walls ' if part.is_lid else ''}{format_length(part.height, unit)} high"
    if thickness is not None:
        sizes += f", paper {format_length(thickness(part.role), Unit.MM)} thick"
    return name, sizes


def _picture(
    drawn: Sequence[_DrawnPart], labels: Sequence[tuple[str, str]], ratio: Fraction, unit: Unit
) -> str:
    anchors = _anchors(drawn)
    order = sorted(range(len(drawn)), key=lambda at: anchors[at][1])
    heights = _label_heights([anchors[at][1] for at in order])
    reach = max(piece.half_width for piece in drawn)
    top = min(*(piece.top for piece in drawn), heights[0] - _LABEL / 2)
    bottom = max(Fraction(34), heights[-1] + _LABEL / 2)
    centre, floor = _MARGIN + reach, _HEADER - top
    words_at = centre + reach + _LEADER
    title = "Seen from the side, cut through the middle"
    notes = _notes(drawn, ratio)
    longest = max(text_width(line, _WORDS) for pair in labels for line in pair)
    under = max(text_width(line, _WORDS) for line in notes)
    wide = max(
        words_at + Fraction(longest) + _MARGIN,
        2 * _MARGIN + Fraction(under),
        2 * _MARGIN + Fraction(text_width(title, _TITLE)),
    )
    notes_at = floor + bottom + 44
    high = notes_at + _LINE * len(notes) + _MARGIN
    look = {
        "width": f"{svg_number(wide / _UNITS_PER_MM)}mm",
        "height": f"{svg_number(high / _UNITS_PER_MM)}mm",
        "font-family": "sans-serif",
        "font-size": svg_number(_WORDS),
        "fill": _INK,
    }
    root = svg_picture(wide, high, title, look)
    svg_label(root, title, _MARGIN, 36, {"font-size": svg_number(_TITLE)})
    stage = svg_element(root, "g", transform=f"translate({svg_number(centre)} {svg_number(floor)})")
    for number, piece in enumerate(drawn):
        _draw_guides(stage, piece, drawn)
        _draw_part(stage, piece, _PLAIN if number % 2 else _INK)
    for at, label_y in zip(order, heights, strict=True):
        _draw_label(stage, anchors[at], reach, label_y, labels[at])
    _draw_width(stage, next((d for d in drawn if not d.part.is_lid), drawn[0]), unit)
    _draw_scale_bar(root, notes_at - 18, ratio, unit)
    for number, line in enumerate(notes):
        svg_label(root, line, _MARGIN, notes_at + _LINE * (number + 1), {"fill": _FAINT})
    return svg_document(root)


def _notes(drawn: Sequence[_DrawnPart], ratio: Fraction) -> list[str]:
    notes = [
        f"Drawn at {_scale_text(ratio.numerator, ratio.denominator)} when printed at 100 %.",
        "Paper, and narrow gaps between walls, are drawn wider than they are.",
    ]
    if any(piece.part.is_lid for piece in drawn):
        notes.append("Lids are lifted; dotted lines show where they go.")
    return notes


def _scale_text(numerator: int, denominator: int) -> str:
    """Write a scale with a one: 1 : 2.5 for two fifths."""
    if numerator >= denominator:
        return f"{numerator} : {denominator}"
    return f"1 : {denominator / numerator:g}"


def _anchors(drawn: Sequence[_DrawnPart]) -> list[tuple[Fraction, Fraction]]:
    """Return where each part's leader begins: on its right wall, each lower than the last."""
    anchors = []
    lowest = min(piece.top for piece in drawn)
    for piece in drawn:
        if piece.part.is_lid:
            y = (piece.top + piece.bottom) / 2
        else:
            y = min(max(piece.top + 12, lowest + 12), piece.bottom - _WALL / 2)
            lowest = y
        anchors.append((piece.half_width - _WALL / 2, y))
    return anchors


def _label_heights(wished: Sequence[Fraction]) -> list[Fraction]:
    """Spread labels, given from the top, so that none touches the next."""
    heights: list[Fraction] = []
    for y in wished:
        heights.append(max(y, heights[-1] + _LABEL) if heights else y)
    pushed = heights[-1] - wished[-1]
    return [y - pushed / 2 for y in heights]


def _draw_part(stage: ET.Element, piece: _DrawnPart, fill: str) -> None:
    half, top, bottom = piece.half_width, piece.top, piece.bottom
    within = half - _WALL
    role = piece.part.role.partition(".")[0]
    look = {"fill": fill, "stroke": _INK, "stroke-width": "1", "fill-rule": "evenodd"}
    ring = [(-half, top), (half, top), (half, bottom), (-half, bottom)]
    if bottom - top <= _WALL:
        strokes = [ring]
    elif role == SLEEVE:
        hole = [(-within, top + _WALL), (within, top + _WALL)]
        strokes = [ring, [*hole, (within, bottom - _WALL), (-within, bottom - _WALL)]]
    elif piece.part.is_lid:
        inner = [(within, bottom), (within, top + _WALL), (-within, top + _WALL)]
        strokes = [[*ring[:3], *inner, (-within, bottom), ring[3]]]
    else:
        inner = [(within, top), (within, bottom - _WALL), (-within, bottom - _WALL)]
        strokes = [[ring[0], (-within, top), *reversed(inner), *ring[1:]]]
    path = " ".join(
        "M" + " L".join(f"{svg_number(x)} {svg_number(y)}" for x, y in stroke) + " Z"
        for stroke in strokes
    )
    svg_element(stage, "path", d=path, **look)


def _draw_guides(stage: ET.Element, piece: _DrawnPart, drawn: Sequence[_DrawnPart]) -> None:
    """Draw dotted lines from a lid's walls down to the rim of what it covers."""
    covered = _covered_part(piece.part, drawn) if piece.part.is_lid else None
    if covered is None:
        return
    for x in (_WALL / 2 - piece.half_width, piece.half_width - _WALL / 2):
        look = {"stroke": _FAINT, "stroke-width": "1", "stroke-dasharray": "1 4"}
        svg_line(stage, (x, piece.bottom), (x, covered.top), look)


def _draw_label(
    stage: ET.Element,
    anchor: tuple[Fraction, Fraction],
    reach: Fraction,
    y: Fraction,
    label: tuple[str, str],
) -> None:
    name, sizes = label
    elbow, words_at = reach + 10, reach + _LEADER
    bends = (anchor, (elbow, anchor[1]), (words_at - 6, y))
    points = " ".join(f"{svg_number(x)},{svg_number(y)}" for x, y in bends)
    # A white line beneath keeps a leader apart from the black walls it crosses.
    for look in ({"stroke": _PLAIN, "stroke-width": "2.4"}, {"stroke": _FAINT}):
        svg_element(stage, "polyline", points=points, fill="none", **look)
    spot = {"cx": svg_number(anchor[0]), "cy": svg_number(anchor[1]), "r": "2.6"}
    svg_element(stage, "circle", **spot, fill=_PLAIN, stroke=_INK)
    svg_label(stage, name, words_at, y - 2, {"font-weight": "bold"})
    svg_label(stage, sizes, words_at, y - 2 + _LINE, {})


def _draw_width(stage: ET.Element, piece: _DrawnPart, unit: Unit) -> None:
    y, half = Fraction(14), piece.half_width
    svg_line(stage, (-half, y), (half, y), {"stroke": _FAINT})
    for x in (-half, half):
        svg_line(stage, (x, y - 4), (x, y + 4), {"stroke": _FAINT})
    width = format_length(piece.part.width, unit)
    svg_label(stage, width, Fraction(0), y + 18, {}, anchor="middle")


def _draw_scale_bar(root: ET.Element, y: Fraction, ratio: Fraction, unit: Unit) -> None:
    scale = ratio * _UNITS_PER_MM / UNITS_PER_MM
    lengths = [length for length in _SCALE_BARS[unit] if length * scale <= _MAX_BAR_LENGTH]
    length: Length = lengths[-1] if lengths else _SCALE_BARS[unit][0]
    right = _MARGIN + length * scale
    svg_line(root, (_MARGIN, y), (right, y), {"stroke": _INK, "stroke-width": "2"})
    for x in (_MARGIN, right):
        svg_line(root, (x, y - 5), (x, y + 5), {"stroke": _INK, "stroke-width": "2"})
    svg_label(root, format_length(length, unit), right + 10, y + 5, {})
