"""Rulers beside a drawn sheet, and its whole width and height."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from nester.core.lengths import Unit
from nester.drawing.canvas.svg_pen import INK, Look
from nester.drawing.canvas.text_metrics import text_width
from nester.drawing.pictures.layout_scene import DIMENSION_SIZE, PENCIL, SMALL_SIZE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from nester.core.lengths import Length
    from nester.drawing.pictures.layout_scene import LayoutScene, LayoutSubject

__all__ = [
    "DIMENSION_MARGIN",
    "RULER",
    "dimensions_width",
    "draw_dimensions",
    "draw_rulers",
]

RULER = 40.0
"""Room for a ruler, above the sheet and on its left, in picture units."""
DIMENSION_MARGIN = 26.0
"""Room for the sheet's width below it."""

_RULER_DIVISIONS: dict[Unit, tuple[tuple[Fraction, ...], ...]] = {
    Unit.MM: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1", "5 1", "10 5 1", "20 10 5 1", "50 10 5", "100 50 10", "200 100 50 10",
                     "500 100 50", "1000 500 100")
    ),
    Unit.CM: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1/10", "1/2 1/10", "1 1/2 1/10", "2 1 1/2 1/10", "5 1 1/2", "10 5 1",
                     "20 10 5 1", "50 10 5", "100 50 10")
    ),
    Unit.IN: tuple(
        tuple(map(Fraction, text.split()))
        for text in ("1/4 1/8 1/16 1/32", "1/2 1/4 1/8 1/16", "1 1/2 1/4 1/8 1/16",
                     "2 1 1/2 1/4 1/8", "4 2 1 1/2 1/4", "6 3 1 1/2", "12 6 3 1", "24 12 6 3",
                     "48 24 12 6")
    ),
}  # fmt: skip
"""Divisions of a ruler, in its unit: those with words first, then ever finer ones."""
_MIN_LABEL_DISTANCE, _MIN_TICK_DISTANCE = 30.0, 4.5


def draw_rulers(scene: LayoutScene) -> None:
    """Draw a ruler along the sheet's top and its left side."""
    stock = scene.subject.stock
    for length, upright in ((stock.width, False), (stock.height, True)):
        for position, rank in _ticks(length, scene.subject.unit, scene.scale):
            along = scene.length(position)
            _draw_tick(scene, along, rank, upright)
            if rank == 0:
                text = scene.subject.length(position, with_unit=False)
                _write_tick_label(scene, text, along, upright)


def _draw_tick(scene: LayoutScene, along: float, rank: int, upright: bool) -> None:
    start, end = 9.0, 9.0 + (11.0, 7.0, 5.0, 3.5, 2.5)[rank]
    look: Look = {
        "stroke": PENCIL,
        "stroke_width": 0.8 if rank == 0 else 0.5,
    }
    x, y = scene.sheet.x, scene.sheet.y
    if upright:
        scene.pen.line(x - end, y + along, x - start, y + along, **look)
    else:
        scene.pen.line(x + along, y - end, x + along, y - start, **look)


def _write_tick_label(scene: LayoutScene, text: str, along: float, upright: bool) -> None:
    if upright:
        x = scene.sheet.x - 21 - text_width(text, SMALL_SIZE) / 2
        scene.pen.write(text, x, scene.sheet.y + along, SMALL_SIZE, colour=PENCIL)
    else:
        x, y = scene.sheet.x + along, scene.sheet.y - 26
        scene.pen.write(text, x, y, SMALL_SIZE, colour=PENCIL)


def _ticks(length: Length, unit: Unit, per_length: Fraction) -> Iterator[tuple[Length, int]]:
    """Yield the places of a ruler's ticks and their rank, 0 for those with words."""
    per_unit = unit.fine_units * per_length
    for divisions in _RULER_DIVISIONS[unit]:
        if divisions[0] * per_unit >= _MIN_LABEL_DISTANCE:
            break
    steps = [
        (step * unit.fine_units).numerator
        for step in divisions
        if step * per_unit >= _MIN_TICK_DISTANCE
    ]
    for number in range(length // steps[-1] + 1):
        at = number * steps[-1]
        yield at, next(rank for rank, step in enumerate(steps) if at % step == 0)


def draw_dimensions(scene: LayoutScene) -> None:
    """Write the sheet's whole width below it and its whole height beside it."""
    subject = scene.subject
    stock = subject.stock
    x, y, width, height = scene.sheet
    below, beside = y + height + 14, x + width + 14
    look: Look = {"stroke": PENCIL, "stroke_width": 0.7}
    scene.pen.line(x - 4, below, x + width + 4, below, **look)
    scene.pen.line(beside, y - 4, beside, y + height + 4, **look)
    for end in (x, x + width):
        scene.pen.line(end - 3, below + 3, end + 3, below - 3, stroke=INK, stroke_width=1.0)
    for end in (y, y + height):
        scene.pen.line(beside - 3, end + 3, beside + 3, end - 3, stroke=INK, stroke_width=1.0)
    scene.pen.write(subject.length(stock.width), x + width / 2, below + 10, DIMENSION_SIZE)
    tall = subject.length(stock.height)
    upwards = _is_written_upwards(subject, scene.scale)
    across = 10.0 if upwards else 6 + text_width(tall, DIMENSION_SIZE) / 2
    scene.pen.write(tall, beside + across, y + height / 2, DIMENSION_SIZE, turned=upwards)


def dimensions_width(subject: LayoutSubject, scale: Fraction) -> float:
    """Return how much room the sheet's height takes that is written beside it.

    Parameters
    ----------
    scale
        Picture units in one fine unit of length.
    """
    if _is_written_upwards(subject, scale):
        return DIMENSION_MARGIN
    return DIMENSION_MARGIN / 2 + _height_text_width(subject)


def _is_written_upwards(subject: LayoutSubject, scale: Fraction) -> bool:
    return _height_text_width(subject) < float(subject.stock.height * scale)


def _height_text_width(subject: LayoutSubject) -> float:
    return text_width(subject.length(subject.stock.height), DIMENSION_SIZE)
