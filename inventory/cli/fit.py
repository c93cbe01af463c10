"""`quirebox fit`: an estimate before buying, from two plain lists."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    GapOption,
    SecondsOption,
    StagesOption,
    StripOption,
    TrimmerOption,
    changed_trimmer,
)
from nester.core.lengths import Unit
from nester.core.problem import UNLIMITED_TRIMMER, Cuts, Effort, Margins

if TYPE_CHECKING:
    from fractions import Fraction

    from nester.core.problem import CuttingPlan, Problem

__all__ = ["draw_answer", "fit"]

_PIECES_LEFT_OVER = 3


def fit(
    pieces: Annotated[
        Path,
        typer.Argument(
            metavar="PIECES.csv",
            help="Columns name, width, height, quantity; optional paper, turn (any or none).",
        ),
    ],
    sheets: Annotated[
        Path,
        typer.Argument(
            metavar="SHEETS.csv",
            help="Columns name, width, height, quantity (empty: as many as needed);"
            " optional price (empty: the area in mm²), paper.",
        ),
    ],
    unit: Annotated[
        Unit, typer.Option("--unit", help="The unit of bare numbers, and of what is printed.")
    ] = Unit.MM,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    gap: GapOption = None,
    margin: Annotated[
        str | None,
        typer.Option(
            "--margin",
            help="Along the edges of every sheet nothing is cut: 5mm, or left=5mm; top=1cm.",
        ),
    ] = None,
    trimmer: TrimmerOption = None,
    smallest_strip: StripOption = None,
    stages: StagesOption = None,
    json_file: Annotated[
        Path | None,
        typer.Option(
            "--json", metavar="FILE", help="Write the answer as JSON; - for standard output."
        ),
    ] = None,
    drawings: Annotated[
        Path | None,
        typer.Option(
            "--drawings",
            metavar="FOLDER",
            help="Draw each layout into this folder; pictures of an earlier fit are removed.",
        ),
    ] = None,
) -> None:
    """Place pieces on sheets from two plain lists, with no stash.

    A size may carry its own unit: 54cm, 18.5 cm, 7 1/16in. When pieces fit no sheet, the rest is
    planned, they are listed, and the exit code is 3.

    \b
    Examples:
      quirebox fit pieces.csv sheets.csv
      quirebox fit pieces.csv sheets.csv --unit in --cuts free
      quirebox fit pieces.csv sheets.csv --effort thorough --json answer.json
      quirebox fit pieces.csv sheets.csv --gap 2mm --margin 5mm --trimmer 31cm
    """
    from inventory.advice.fit_lists import read_problem
    from inventory.cli.shared.options import stopping
    from inventory.cli.shared.terminal import console, print_json, searching
    from inventory.stock.condition import read_distance, read_margins
    from inventory.views.cutting import answer_as_json
    from nester.packing import (
        solve,
        usable_cores,
    )
    from nester.verify import (
        require_valid,
    )

    problem = read_problem(
        pieces,
        sheets,
        unit,
        cuts,
        gap=0 if gap is None else read_distance(gap, unit, "the gap between pieces"),
        trimmer=changed_trimmer(UNLIMITED_TRIMMER, unit, trimmer, smallest_strip, stages),
        margins=Margins() if margin is None else read_margins(margin, unit),
    )
    with stopping(seconds) as stop, searching("Fitting", _amount) as tell:
        answer = solve(problem, effort, processes=usable_cores(), stop=stop, on_progress=tell)
    require_valid(problem, answer)
    if json_file is not None:
        print_json(answer_as_json(problem, answer), json_file)
    if drawings is not None:
        draw_answer(problem, answer, unit, drawings)
    if str(json_file) != "-":
        console().print(_report(problem, answer, unit))
    if answer.unplaced:
        raise typer.Exit(_PIECES_LEFT_OVER)


def _report(problem: Problem, answer: CuttingPlan, unit: Unit) -> object:
    from rich.console import Group
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table
    from inventory.documents.plan.text import tally
    from nester.core.lengths import format_size

    stock = {one.name: one for one in problem.stock}
    numbers = frozenset({"Layout", "Copies", "Quantity"})
    layouts = table("Layouts", "Layout", "Copies", "Sheet", "Size", "Pieces", right=numbers)
    for number, layout in enumerate(answer.layouts, start=1):
        sheet = stock[layout.stock]
        layouts.add_row(
            str(number),
            str(layout.copies),
            Text(" ".join(filter(None, [layout.stock, sheet.paper]))),
            format_size(sheet.width, sheet.height, unit),
            Text(tally(one.name for one in layout.placed)),
        )
    used = table("Sheets", "Quantity", "Sheet", "Size", right=numbers)
    for sheet in problem.stock:
        copies = sum(one.copies for one in answer.layouts if one.stock == sheet.name)
        if copies:
            size = format_size(sheet.width, sheet.height, unit)
            used.add_row(str(copies), Text(" ".join(filter(None, [sheet.name, sheet.paper]))), size)
    unplaced = table("Not placed", "Quantity", "Piece", "Why", right=numbers)
    for one in answer.unplaced:
        unplaced.add_row(str(one.quantity), Text(one.name), Text(one.why))
    parts: list[object] = [layouts, used] if answer.layouts else []
    if answer.unplaced:
        parts.append(unplaced)
    parts.append(Text(_quality(answer)))
    if answer.interrupted:
        parts.append(Text("The search was stopped early; this is the best it had found."))
    return Group(*parts)  # type: ignore[arg-type]


def _quality(answer: CuttingPlan) -> str:
    if not answer.layouts:
        return "No piece could be placed."
    cost = _amount(answer.cost)
    if answer.cost == answer.lower_bound:
        return f"Cost {cost}; no plan can cost less."
    return (
        f"Cost {cost}; no plan can cost less than {_amount(answer.lower_bound)}, so at most"
        f" {float(100 * answer.optimality_gap):.1f} % could be saved."
    )


def _amount(value: Fraction) -> str:
    return f"{float(value):,.2f}".removesuffix(".00")


def draw_answer(problem: Problem, answer: CuttingPlan, unit: Unit, folder: Path) -> None:
    """Draw each layout into a folder; pictures of an earlier answer are removed."""
    import re

    from inventory.core.files import make_folder, write_file
    from nester.drawing.pictures.layout import draw_layout

    make_folder(folder)
    pictures = set()
    stock = {one.name: one for one in problem.stock}
    for number, layout in enumerate(answer.layouts, start=1):
        sheet = stock[layout.stock]
        title = f"Layout {number}: {' '.join(filter(None, [sheet.name, sheet.paper]))}"
        drawing = draw_layout(
            layout, sheet, unit, paper_colour=None, title=title, trimmer=problem.trimmer
        )
        picture = folder / f"{number:03}.svg"
        write_file(picture, drawing)
        pictures.add(picture)
    for old in folder.iterdir():
        if re.fullmatch(r"[0-9]{3,}\.svg", old.name) and old not in pictures:
            old.unlink()
