"""The legend below a drawn layout: each sign that is used, and what it means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nester.core.piece import Fold, Grain
from nester.core.translation import translatable
from nester.drawing.canvas.svg_pen import INK
from nester.drawing.canvas.text_metrics import Box, text_width
from nester.drawing.pictures.layout_scene import DIMENSION_SIZE, MARGIN, SCRAP, SMALL_SIZE
from nester.drawing.pictures.piece import FOLD_DASHES, FOLD_WORDS

if TYPE_CHECKING:
    from nester.drawing.pictures.layout_scene import LayoutScene

__all__ = ["draw_legend"]

_FOLDS = tuple(Fold)
_FIRST_FOLD = 4
_FIRST_ARROW = _FIRST_FOLD + len(_FOLDS)
"""Where the folds, and after them the arrows, stand among the signs of the legend."""


def draw_legend(scene: LayoutScene, y: float) -> float:
    """Explain the signs that are used; return where the legend ends."""
    layout = scene.subject.layout
    covered = sum(rect.area for rect in layout.offcuts) + sum(
        placed.rect.area if piece is None else piece.area
        for placed, piece in zip(layout.placed, scene.subject.pieces, strict=True)
    )
    knife = {scene.subject.by_knife(cut) for cut in layout.cuts}
    signs = [
        (False in knife, translatable("cut, numbered in order")),
        (True in knife, translatable("knife cut, from tick to tick")),
        (bool(layout.offcuts), translatable("offcut to keep")),
        (covered < scene.subject.stock.width * scene.subject.stock.height, translatable("scrap")),
    ]
    folds = {
        score.fold for piece in scene.subject.pieces if piece is not None for score in piece.scores
    }
    signs += [(fold in folds, FOLD_WORDS[fold]) for fold in _FOLDS]
    signs += [
        (scene.subject.stock.grain is not Grain.ANY, translatable("grain of the paper")),
        (scene.subject.pattern_up, translatable("top of the pattern")),
    ]
    x = MARGIN
    y += DIMENSION_SIZE / 2
    for number, (used, text) in enumerate(signs):
        words = scene.subject.translator.say(text)
        needed = 40 + text_width(words, SMALL_SIZE) + 16
        if not used:
            continue
        if x + needed > scene.width and x > MARGIN:
            x, y = MARGIN, y + 18
        _draw_sign(scene, number, x, y)
        scene.pen.write(words, x + 40, y, SMALL_SIZE, anchor="start")
        x += needed
    return y + DIMENSION_SIZE


def _draw_sign(scene: LayoutScene, number: int, x: float, y: float) -> None:
    box = Box(x, y - 6, 32, 12)
    if number < 2:
        scene.pen.line(x, y, x + 32, y, stroke=INK, stroke_width=1.4)
        if number == 1:
            for end in (x, x + 32):
                scene.pen.line(end, y - 4, end, y + 4, stroke=INK, stroke_width=1.8)
        scene.draw_badge(Box(x + 10, y - 6, 12, 12), "1", SMALL_SIZE, knife=number == 1)
        return
    if number >= _FIRST_ARROW:
        upright = number > _FIRST_ARROW or scene.subject.stock.grain is Grain.HEIGHT
        _draw_arrow(scene, x + 16, y, upright=upright, both=number == _FIRST_ARROW)
        return
    if number >= _FIRST_FOLD:
        dashes = FOLD_DASHES[_FOLDS[number - _FIRST_FOLD]]
        scene.pen.line(x, y, x + 32, y, stroke=INK, stroke_width=1.2, stroke_dasharray=dashes)
        return
    fill = scene.subject.paper_colour if number == 2 else SCRAP
    scene.pen.rect(box, fill=fill, stroke=INK, stroke_width=0.8)
    if number == 2:
        scene.draw_hatching(box)
    else:
        for row in (3, 9):
            scene.draw_dots(x + (4 if row == 3 else 9), y - 6 + row, x + 30)


def _draw_arrow(scene: LayoutScene, x: float, y: float, *, upright: bool, both: bool) -> None:
    """Draw an arrow about a place, with a head at one end or both."""
    half, head = (9.0 if upright else 16.0), 4.0
    strokes = [((-half, 0.0), (half, 0.0))]
    for end in (half, -half) if both else (half,):
        back = end - head if end > 0 else end + head
        strokes += [((end, 0.0), (back, -head)), ((end, 0.0), (back, head))]
    for (along, off), (along2, off2) in strokes:
        if upright:
            ends = (x + off, y - along, x + off2, y - along2)
        else:
            ends = (x + along, y + off, x + along2, y + off2)
        scene.pen.line(*ends, stroke=INK, stroke_width=1.2)
