"""An estimate before buying: the optimizer on two plain lists, with no stash.

The lists and the JSON written here are documented in the README; the JSON's schema is
`desk/schemas_json/fit.json`.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from inventory.lists import Row, read_list, refuse_doubles
from nester.layouts import SMALLEST_OFFCUT, Answer, Cut, Cuts, Problem, Rect, Stock, Want
from nester.measure import UNITS_PER_MM, Length, Unit, to_mm_number
from nester.pieces import Turn

__all__ = ["answer_as_json", "read_problem"]

_SIZED = ("name", "width", "height", "quantity")


def read_problem(
    pieces: Path,
    sheets: Path,
    unit: Unit = Unit.MM,
    cuts: Cuts = Cuts.STRAIGHT,
    smallest_offcut: Length = SMALLEST_OFFCUT,
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
        stock=tuple(_stock(row, unit) for row in stock),
        cuts=cuts,
        smallest_offcut=smallest_offcut,
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


def _stock(row: Row, unit: Unit) -> Stock:
    width, height = row.length("width", unit), row.length("height", unit)
    return Stock(
        row.name("name"),
        width,
        height,
        row.count("quantity", least=0) if row.text("quantity") else None,
        Fraction(row.money("price"))
        if row.text("price")
        else Fraction(width * height, UNITS_PER_MM**2),
        _paper(row),
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
        "layouts": [
            {
                "sheet": layout.stock,
                "paper": stock[layout.stock].paper,
                "width": to_mm_number(stock[layout.stock].width),
                "height": to_mm_number(stock[layout.stock].height),
                "copies": layout.copies,
                "pieces": [
                    {"name": one.name, **rect_as_json(one.rect), "turned": one.turned}
                    for one in layout.placed
                ],
                "steps": steps_as_json(layout.cuts),
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


def steps_as_json(cuts: Sequence[Cut]) -> list[dict[str, Any]]:
    """Return cuts in order, each with the part it cuts and where its line runs."""
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
            }
        )
    return steps


def _number(value: Fraction) -> int | float:
    return value.numerator if value.denominator == 1 else float(value)
