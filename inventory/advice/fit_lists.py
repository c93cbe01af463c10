"""An estimate before buying: the optimizer on two plain lists, with no stash.

The lists and the JSON written here are documented in the README; the JSON's schema is
`views/schemas_json/fit.json`.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from inventory.core.table_files import Row, read_list, refuse_doubles
from nester.core.lengths import UNITS_PER_MM, Length, Unit, to_mm_number
from nester.core.piece import Turn
from nester.core.problem import (
    ANY_TRIMMER,
    NO_MARGINS,
    SMALLEST_OFFCUT,
    Answer,
    Cut,
    Cuts,
    Margins,
    Problem,
    Rect,
    Stock,
    Trimmer,
    Want,
)

__all__ = ["answer_as_json", "margins_as_json", "read_problem", "trimmer_as_json"]

_SIZED = ("name", "width", "height", "quantity")


def read_problem(
    pieces: Path,
    sheets: Path,
    unit: Unit = Unit.MM,
    cuts: Cuts = Cuts.STRAIGHT,
    smallest_offcut: Length = SMALLEST_OFFCUT,
    *,
    gap: Length = 0,
    trimmer: Trimmer = ANY_TRIMMER,
    margins: Margins = NO_MARGINS,
) -> Problem:
    """Read a list of pieces and a list of sheets.

    Parameters
    ----------
    pieces
        Columns name, width, height, quantity; optional paper, turn (any or none).
    sheets
        Columns name, width, height, quantity (empty: as many as needed); optional price (empty:
        the area in mm²), paper.
    unit
        The unit of bare numbers.
    gap
        Least distance between two pieces.
    margins
        Of every sheet.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    wanted = read_list(pieces, _SIZED, ("paper", "turn"))
    refuse_doubles(wanted, "name")
    stock = read_list(sheets, _SIZED, ("price", "paper"))
    refuse_doubles(stock, "name")
    return Problem(
        wants=tuple(_want(row, unit) for row in wanted),
        stock=tuple(_stock(row, unit, margins) for row in stock),
        cuts=cuts,
        smallest_offcut=smallest_offcut,
        gap=gap,
        trimmer=trimmer,
    )


def _want(row: Row, unit: Unit) -> Want:
    return Want(
        row.name("name"),
        row.length("width", unit),
        row.length("height", unit),
        row.count("quantity"),
        _paper(row),
        Turn(row.choice("turn", (Turn.ANY, Turn.NONE), Turn.ANY)),
    )


def _paper(row: Row) -> str:
    return row.name("paper") if row.text("paper") else ""


def _stock(row: Row, unit: Unit, margins: Margins) -> Stock:
    width, height = row.length("width", unit), row.length("height", unit)
    left, top, right, bottom = margins
    if left + right >= width or top + bottom >= height:
        field = "width" if left + right >= width else "height"
        row.refuse(field, "the margins leave nothing of the sheet to cut from")
    return Stock(
        row.name("name"),
        width,
        height,
        row.count("quantity", least=0) if row.text("quantity") else None,
        Fraction(row.money("price"))
        if row.text("price")
        else Fraction(width * height, UNITS_PER_MM**2),
        _paper(row),
        margins,
    )


def answer_as_json(problem: Problem, answer: Answer) -> dict[str, Any]:
    """Return an answer as plain data; lengths are numbers of millimetres."""
    stock = {one.name: one for one in problem.stock}
    return {
        "unit": "mm",
        "cuts": str(problem.cuts),
        "cost": _number(answer.cost),
        "bound": _number(answer.bound),
        "gap": float(answer.gap),
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
                    {"name": one.name, **rect_as_json(one.rect), "turned": one.turned}
                    for one in layout.placed
                ],
                "steps": steps_as_json(layout.cuts, problem.trimmer),
                "offcuts": [rect_as_json(rect) for rect in layout.offcuts],
            }
            for layout in answer.layouts
        ],
        "unplaced": [one._asdict() for one in answer.unplaced],
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
