"""Small charts: lines in steps, and bars; as SVG for pages, and as text for the terminal.

They are readable in black and white: lines differ in width and dashes, and bars have their names
and values beside them.  The SVG has only what `nester.drawing.canvas.marks` puts on pages.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from nester.core.lengths import Length, Unit, format_length
from nester.drawing.canvas.svg import svg_element, svg_label, svg_line, svg_picture
from nester.drawing.canvas.text_metrics import terminal_width

__all__ = [
    "BarChart",
    "StepChart",
    "bars_svg",
    "bars_text",
    "chart_pdf",
    "length_ticks",
    "number_ticks",
    "steps_svg",
    "steps_text",
]

INK, FAINT, GRID = "#222222", "#777777", "#cccccc"
_TEXT_LOOK = {"fill": INK}
_FONT = 12
_MARGIN = 15
"""Of a PDF's page, in millimetres."""
_LETTER_WIDTH = 6.6
"""Width of a letter at that size, generously."""


@dataclass(frozen=True)
class StepChart:
    """A value for each of some sizes; between two sizes it is drawn as the one to the left.

    Attributes
    ----------
    positions
        Sizes in fine units, rising.
    values
        For each; None where there is none.
    lower_bounds
        What the value is at least, drawn beside it as a dashed line; None where it isn't known.
    marked
        Which places are marked.
    format_value
        Writes a value.
    """

    title: str
    x_label: str
    y_label: str
    unit: Unit
    positions: tuple[Length, ...]
    values: tuple[Fraction | None, ...]
    lower_bounds: tuple[Fraction | None, ...]
    marked: frozenset[int]
    format_value: Callable[[Fraction], str]


@dataclass(frozen=True)
class BarChart:
    """A bar for each of some names."""

    title: str
    rows: tuple[tuple[str, Fraction], ...]
    format_value: Callable[[Fraction], str]


# --- ticks ---------------------------------------------------------------------------------------


def number_ticks(low: Fraction, high: Fraction, most: int) -> list[Fraction]:
    """Return evenly spaced round numbers that enclose a range; at most `most` + 1 of them."""
    if high <= low:
        low, high = (Fraction(0), 2 * high) if high > 0 else (low, low + 1)
    rough = (high - low) / max(1, most - 1)
    power = Fraction(10) ** math.floor(math.log10(rough))
    step = next(power * n for n in (1, 2, 5, 10, 20) if power * n >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [step * n for n in range(first, last + 1)]


def length_ticks(low: Length, high: Length, unit: Unit, most: int) -> list[Length]:
    """Return round lengths of a unit within a range: decimals, or halves down to 64ths of inches.

    If none is within it, the two ends.
    """
    if unit is Unit.IN:
        steps = [unit.fine_units // 2**n for n in range(6, 0, -1)]
        steps += [unit.fine_units * n for n in (1, 2, 4, 6, 12, 24, 60, 120)]
    else:
        fine = unit.fine_units // 100
        steps = [fine * n * 10**power for power in range(6) for n in (1, 2, 5)]
    for step in steps:
        ticks = list(range(-(-low // step) * step, high + 1, step))
        if len(ticks) <= most:
            return ticks if len(ticks) > 1 else [low, high]
    return [low, high]


# --- as SVG --------------------------------------------------------------------------------------


def steps_svg(chart: StepChart, size: tuple[float, float] = (720, 360)) -> ET.Element:
    """Draw a step chart.

    Parameters
    ----------
    size
        Width and height of the picture, in its own units.
    """
    width, height = size
    known = [value for value in (*chart.values, *chart.lower_bounds) if value is not None]
    ticks = number_ticks(min(known, default=Fraction(0)), max(known, default=Fraction(1)), 6)
    labels = [chart.format_value(tick) for tick in ticks]
    left = 16 + _LETTER_WIDTH * max(map(terminal_width, labels))
    top, right, bottom = 58.0, 24.0, 50.0
    root = _picture(width, height, chart.title)
    first, last = chart.positions[0], chart.positions[-1]

    def x(place: Length) -> float:
        span = last - first or 1
        return left + (place - first) / span * (width - left - right)

    def y(value: Fraction) -> float:
        share = float((value - ticks[0]) / (ticks[-1] - ticks[0]))
        return height - bottom - share * (height - top - bottom)

    for tick, label in zip(ticks, labels, strict=True):
        svg_line(root, (left, y(tick)), (width - right, y(tick)), _line_look(GRID, 0.8))
        svg_label(root, label, left - 6, y(tick) + 4, _TEXT_LOOK, anchor="end")
    most = max(2, int((width - left - right) / 64))
    for place in length_ticks(first, last, chart.unit, most):
        svg_line(
            root, (x(place), height - bottom), (x(place), height - bottom + 5), _line_look(INK, 1)
        )
        label = format_length(place, chart.unit, with_unit=False)
        svg_label(root, label, x(place), height - bottom + 18, _TEXT_LOOK, anchor="middle")
    svg_line(root, (left, height - bottom), (width - right, height - bottom), _line_look(INK, 1))
    middle = (left + width - right) / 2
    x_label = f"{chart.x_label} ({chart.unit})"
    svg_label(root, x_label, middle, height - 10, _TEXT_LOOK, anchor="middle")
    svg_label(root, chart.y_label, left - 6, top - 14, _TEXT_LOOK, anchor="start")
    for start, end in _runs(chart.lower_bounds):
        points = _staircase(chart.positions, chart.lower_bounds, start, end, x, y)
        for (x1, y1), (x2, y2) in pairwise(points):
            svg_line(root, (x1, y1), (x2, y2), _line_look(FAINT, 1, "3 3"))
    for start, end in _runs(chart.values):
        points = _staircase(chart.positions, chart.values, start, end, x, y)
        if len(points) == 1:
            points.append((points[0][0] + 2, points[0][1]))
        words = " ".join(f"{across:.2f},{down:.2f}" for across, down in points)
        svg_element(
            root, "polyline", points=words, fill="none", stroke=INK, **{"stroke-width": "2"}
        )
    for place in sorted(chart.marked):
        value = chart.values[place]
        if value is not None:
            at = {"cx": f"{x(chart.positions[place]):.2f}", "cy": f"{y(value):.2f}", "r": "3.5"}
            svg_element(root, "circle", **at, fill="#ffffff", stroke=INK, **{"stroke-width": "1.5"})
    if any(value is not None for value in chart.lower_bounds):
        svg_line(
            root,
            (width - right - 196, top - 18),
            (width - right - 168, top - 18),
            _line_look(FAINT, 1, "3 3"),
        )
        svg_label(
            root, "no plan can take less", width - right - 162, top - 14, _TEXT_LOOK, anchor="start"
        )
    return root


def _runs(values: Sequence[Fraction | None]) -> list[tuple[int, int]]:
    """Return from where to before where there are values."""
    runs: list[tuple[int, int]] = []
    for place, value in enumerate(values):
        if value is None:
            continue
        if runs and runs[-1][1] == place:
            runs[-1] = (runs[-1][0], place + 1)
        else:
            runs.append((place, place + 1))
    return runs


def _staircase(
    places: Sequence[Length],
    values: Sequence[Fraction | None],
    start: int,
    end: int,
    x: Callable[[Length], float],
    y: Callable[[Fraction], float],
) -> list[tuple[float, float]]:
    points: list[tuple[float, float]] = []
    for place in range(start, end):
        value = values[place]
        if value is None:
            continue
        if points and points[-1][1] != y(value):
            points.append((x(places[place]), points[-1][1]))
        points.append((x(places[place]), y(value)))
    return points


def bars_svg(chart: BarChart, width: float = 720) -> ET.Element:
    """Draw bars under one another, each with its name before it and its value behind it."""
    row = 24
    names = [_shortened(name, 34) for name, _ in chart.rows]
    values = [chart.format_value(value) for _, value in chart.rows]
    left = 20 + _LETTER_WIDTH * max(map(terminal_width, names), default=0)
    right = 16 + _LETTER_WIDTH * max(map(terminal_width, values), default=0)
    height = 48 + row * len(chart.rows) + 12
    root = _picture(width, height, chart.title)
    largest = max((value for _, value in chart.rows), default=Fraction(0)) or Fraction(1)
    for number, (name, (_, value), words) in enumerate(zip(names, chart.rows, values, strict=True)):
        top = 48 + row * number
        long = max(0.0, float(value / largest)) * (width - left - right)
        svg_label(root, name, left - 8, top + 14, _TEXT_LOOK, anchor="end")
        if long:
            sides = {"x": f"{left:.2f}", "y": f"{top:.2f}", "width": f"{long:.2f}"}
            svg_element(root, "rect", **sides, height=f"{row - 6}", fill="#888888", stroke="none")
        svg_label(root, words, left + long + 6, top + 14, _TEXT_LOOK, anchor="start")
    svg_line(root, (left, 44), (left, height - 10), _line_look(INK, 1))
    return root


def chart_pdf(root: ET.Element, title: str) -> bytes:
    """Return a picture on a page of A4 that lies crosswise, as vectors; always the same bytes."""
    from datetime import date

    from nester.drawing.canvas.fonts import FontSet
    from nester.drawing.canvas.marks import svg_marks, svg_size
    from nester.drawing.canvas.pdf import Page, pages_pdf

    wide, high = svg_size(root)
    page = Page(297, 210)
    scale = min((page.width - 2 * _MARGIN) / wide, (page.height - 2 * _MARGIN) / high)
    page.marks += svg_marks(root, _MARGIN, _MARGIN, scale)
    made_on = date(2000, 1, 1)  # so that the bytes don't change with the clock
    return pages_pdf([page], FontSet(()), title=title, language="en", made_on=made_on)


def _picture(width: float, height: float, title: str) -> ET.Element:
    look = {"font-family": "sans-serif", "font-size": str(_FONT)}
    root = svg_picture(width, height, title, look)
    svg_label(root, title, 16, 24, {"fill": INK, "font-size": "15", "font-weight": "bold"})
    return root


def _line_look(colour: str, width: float, dash: str = "") -> dict[str, str]:
    look = {"stroke": colour, "stroke-width": f"{width:g}"}
    return look | {"stroke-dasharray": dash} if dash else look


# --- as text -------------------------------------------------------------------------------------

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_PARTS = " ▏▎▍▌▋▊▉█"


def steps_text(chart: StepChart, width: int = 78, height: int = 12) -> str:
    """Write a step chart with block characters, a column for each size or for neighbouring ones.

    Where a column stands for several sizes, it shows the least of them; below it marked sizes
    have a tick.
    """
    known = [value for value in chart.values if value is not None]
    if not known:
        return f"{chart.title}\nno size can be had\n"
    ticks = number_ticks(min(known), max(known), 5)
    labels = [chart.format_value(tick) for tick in ticks]
    margin = max(map(terminal_width, labels)) + 1
    columns = _columns(len(chart.positions), width - margin - 1)
    low, high = ticks[0], ticks[-1]
    rows = [""] * height
    for start, end in columns:
        values = [v for v in chart.values[start:end] if v is not None]
        filled = 0
        if values:
            filled = max(1, round((min(values) - low) / (high - low) * height * 8))
        for row in range(height):
            eighths = min(8, max(0, filled - 8 * (height - 1 - row)))
            rows[row] += _EIGHTHS[eighths]
    at_row = {
        min(height - 1, height - round((tick - low) / (high - low) * height)): label
        for tick, label in zip(ticks, labels, strict=True)
    }
    lines = [chart.title, chart.y_label]
    for row, blocks in enumerate(rows):
        label = at_row.get(row, "")
        lines.append(f"{' ' * (margin - 1 - terminal_width(label))}{label} │{blocks}".rstrip())
    ruler = ""
    for number, (start, end) in enumerate(columns):
        is_first = number == 0 or columns[number - 1] != (start, end)
        ruler += "┬" if is_first and not chart.marked.isdisjoint(range(start, end)) else "─"
    lines.append(f"{' ' * margin}└{ruler}")
    lines.append(" " * (margin + 1) + _length_labels(chart, columns))
    lines.append(f"{' ' * (margin + 1)}{chart.x_label} ({chart.unit})")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _columns(number: int, most: int) -> list[tuple[int, int]]:
    """Share places among columns, as evenly as can be; with few places each gets several."""
    if number > most:
        return [(k * number // most, (k + 1) * number // most) for k in range(most)]
    wide = max(1, min(4, most // number))
    return [(place, place + 1) for place in range(number) for _ in range(wide)]


def _length_labels(chart: StepChart, columns: Sequence[tuple[int, int]]) -> str:
    line = ""
    wanted = length_ticks(
        chart.positions[0], chart.positions[-1], chart.unit, max(2, len(columns) // 6)
    )
    for tick in wanted:
        at = next((c for c, (_, end) in enumerate(columns) if chart.positions[end - 1] >= tick), 0)
        label = format_length(tick, chart.unit, with_unit=False)
        at = max(0, at - terminal_width(label) // 2)
        if at > len(line) or not line:
            line = line.ljust(at) + label
    return line


def bars_text(chart: BarChart, width: int = 78) -> str:
    """Write bars with block characters, each with its name before it and its value behind it."""
    names = [_shortened(name, 30) for name, _ in chart.rows]
    values = [chart.format_value(value) for _, value in chart.rows]
    before = max(map(terminal_width, names), default=0)
    behind = max(map(terminal_width, values), default=0)
    room = max(8, width - before - behind - 3)
    largest = max((value for _, value in chart.rows), default=Fraction(0)) or Fraction(1)
    lines = [chart.title]
    for name, (_, value), words in zip(names, chart.rows, values, strict=True):
        eighths = max(0, round(value / largest * room * 8))
        if value > 0:
            eighths = max(1, eighths)
        bar = "█" * (eighths // 8) + _PARTS[eighths % 8].strip()
        lines.append(f"{name}{' ' * (before - terminal_width(name))} │{bar} {words}")
    return "\n".join(lines) + "\n"


def _shortened(name: str, most: int) -> str:
    if terminal_width(name) <= most:
        return name
    while terminal_width(name) >= most:
        name = name[:-1]
    return f"{name.rstrip()}…"
