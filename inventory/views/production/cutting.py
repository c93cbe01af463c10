"""A cutting answer and its cuts as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from nester.core.lengths import to_mm_number
from nester.core.problem import Cut, CuttingPlan, Margins, Problem, Rect, Trimmer

__all__ = [
    "answer_as_json",
    "margins_as_json",
    "rect_as_json",
    "steps_as_json",
    "trimmer_as_json",
]


def answer_as_json(problem: Problem, answer: CuttingPlan) -> dict[str, Any]:
    """Return an answer as plain data; lengths are numbers of millimetres."""
    stock = {item.name: item for item in problem.stock}
    return {
        "unit": "mm",
        "cuts": str(problem.cuts),
        "cost": _number(answer.cost),
        "bound": _number(answer.lower_bound),
        "gap": float(answer.optimality_gap),
        "apart": to_mm_number(problem.gap),
        "trimmer": trimmer_as_json(problem.trimmer),
        "layouts": [
            {
                "sheet": layout.stock,
                "paper": stock[layout.stock].paper,
                "width": to_mm_number(stock[layout.stock].width),
                "height": to_mm_number(stock[layout.stock].height),
                "margins": margins_as_json(stock[layout.stock].margins),
                "copies": layout.copies,
                "pieces": [
                    {"name": piece.name, **rect_as_json(piece.rect), "turned": piece.turned}
                    for piece in layout.placed
                ],
                "steps": steps_as_json(layout.cuts, problem.trimmer),
                "offcuts": [rect_as_json(rect) for rect in layout.offcuts],
            }
            for layout in answer.layouts
        ],
        "unplaced": [piece._asdict() for piece in answer.unplaced],
    }


def rect_as_json(rect: Rect) -> dict[str, int | float]:
    """Return a rectangle's place and size in millimetres."""
    return {
        "x": to_mm_number(rect.x),
        "y": to_mm_number(rect.y),
        "width": to_mm_number(rect.width),
        "height": to_mm_number(rect.height),
    }


def margins_as_json(margins: Margins) -> dict[str, int | float]:
    """Return the margins of a sheet in millimetres."""
    return {edge: to_mm_number(wide) for edge, wide in margins._asdict().items()}


def trimmer_as_json(trimmer: Trimmer) -> dict[str, int | float | None]:
    """Return what a trimmer can do; null where it can do everything."""
    longest = trimmer.longest_cut
    return {
        "longest_cut": None if longest is None else to_mm_number(longest),
        "smallest_strip": to_mm_number(trimmer.smallest_strip),
        "stages": trimmer.stages,
    }


def steps_as_json(cuts: Sequence[Cut], trimmer: Trimmer) -> list[dict[str, Any]]:
    """Return cuts in order, each with the part it cuts, where its line runs, and the tool."""
    steps = []
    for number, cut in enumerate(cuts, start=1):
        across = [to_mm_number(cut.at)] * 2
        along = [to_mm_number(cut.start), to_mm_number(cut.end)]
        x, y = (across, along) if cut.vertical else (along, across)
        steps.append(
            {
                "number": number,
                "part": rect_as_json(cut.part),
                "line": {"x1": x[0], "y1": y[0], "x2": x[1], "y2": y[1]},
                "knife": cut.knife,
                "tool": "trimmer" if trimmer.can_make(cut) else "knife",
            }
        )
    return steps


def _number(value: Fraction) -> int | float:
    return value.numerator if value.denominator == 1 else float(value)
