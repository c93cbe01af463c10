"""An estimate before buying: the optimizer on two plain lists, with no stash.

The lists and the JSON written here are documented in the README; the JSON's schema is
`views/schemas_json/fit.json`.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from inventory.core.table_files import TableRow, read_list, refuse_duplicates
from nester.core.lengths import UNITS_PER_MM, Length, Unit
from nester.core.piece import Turn
from nester.core.problem import (
    MIN_OFFCUT_SIDE,
    NO_MARGINS,
    UNLIMITED_TRIMMER,
    Cuts,
    Demand,
    Margins,
    Problem,
    StockItem,
    Trimmer,
)

__all__ = ["read_problem"]

_REQUIRED_COLUMNS = ("name", "width", "height", "quantity")


def read_problem(
    pieces: Path,
    sheets: Path,
    unit: Unit = Unit.MM,
    cuts: Cuts = Cuts.STRAIGHT,
    smallest_offcut: Length = MIN_OFFCUT_SIDE,
    *,
    gap: Length = 0,
    trimmer: Trimmer = UNLIMITED_TRIMMER,
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
        How far apart two pieces are at least, across or down.
    margins
        Of every sheet.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    wanted = read_list(pieces, _REQUIRED_COLUMNS, ("paper", "turn"))
    refuse_duplicates(wanted, "name")
    stock = read_list(sheets, _REQUIRED_COLUMNS, ("price", "paper"))
    refuse_duplicates(stock, "name")
    return Problem(
        demands=tuple(_read_demand(row, unit) for row in wanted),
        stock=tuple(_read_stock(row, unit, margins) for row in stock),
        cuts=cuts,
        smallest_offcut=smallest_offcut,
        gap=gap,
        trimmer=trimmer,
    )


def _read_demand(row: TableRow, unit: Unit) -> Demand:
    return Demand(
        row.name("name"),
        row.length("width", unit),
        row.length("height", unit),
        row.count("quantity"),
        _read_paper(row),
        Turn(row.choice("turn", (Turn.ANY, Turn.NONE), Turn.ANY)),
    )


def _read_paper(row: TableRow) -> str:
    return row.name("paper") if row.text("paper") else ""


def _read_stock(row: TableRow, unit: Unit, margins: Margins) -> StockItem:
    width, height = row.length("width", unit), row.length("height", unit)
    left, top, right, bottom = margins
    if left + right >= width or top + bottom >= height:
        field = "width" if left + right >= width else "height"
        row.refuse(field, "the margins leave nothing of the sheet to cut from")
    return StockItem(
        row.name("name"),
        width,
        height,
        row.count("quantity", least=0) if row.text("quantity") else None,
        Fraction(row.money("price"))
        if row.text("price")
        else Fraction(width * height, UNITS_PER_MM**2),
        _read_paper(row),
        margins,
    )
