"""`quirebox fit`: an estimate before buying, from two plain lists."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import (
    PIECES_LEFT_OVER,
    CutsOption,
    DrawingsOption,
    EffortOption,
    GapOption,
    JsonFlag,
    ReplaceFlag,
    SecondsOption,
    StagesOption,
    StripOption,
    TrimmerOption,
    replacing,
    stopping,
)
from nester.core.lengths import Unit
from nester.core.problem import UNLIMITED_TRIMMER, Cuts, Effort, Margins

__all__ = ["fit"]


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
        Unit, typer.Option("--unit", help="The unit of numbers without one, and of the output.")
    ] = Unit.MM,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    gap: GapOption = None,
    margin: Annotated[
        str | None,
        typer.Option(
            "--margin",
            help="How much to leave free along the edges of sheets: 5mm, or left=5mm; top=1cm.",
        ),
    ] = None,
    trimmer: TrimmerOption = None,
    smallest_strip: StripOption = None,
    stages: StagesOption = None,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FILE.json", help="Also write the plan as JSON."),
    ] = None,
    drawings: DrawingsOption = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Plan how to cut pieces from sheets, from two plain lists; no shop is needed.

    A size may have its own unit: 54cm, 18.5 cm, 7 1/16in. If some pieces fit no sheet, they are
    listed, the others are planned, and the exit code is 3.

    \b
    Examples:
      quirebox fit pieces.csv sheets.csv
      quirebox fit pieces.csv sheets.csv --unit in --cuts free
      quirebox fit pieces.csv sheets.csv --effort thorough --into answer.json
      quirebox fit pieces.csv sheets.csv --gap 2mm --margin 5mm --trimmer 31cm
    """
    from inventory.advice.fit_lists import read_problem
    from inventory.cli.shared.terminal import console, json_text, print_json, searching
    from inventory.core.files import check_targets, write_files
    from inventory.core.measures import read_distance
    from inventory.documents.plan.pictures import draw_answer, pictures_in
    from inventory.documents.text.cutting import amount_words, answer_text
    from inventory.shop.settings import changed_trimmer
    from inventory.stock.condition import read_margins
    from inventory.views.production.cutting import answer_as_json
    from nester.packing import solve, usable_cores
    from nester.verify import require_valid

    may_replace = replacing(yes)
    targets = [] if into is None else [into]
    check_targets([*targets, *(pictures_in(drawings) if drawings else ())], may_replace)
    problem = read_problem(
        pieces,
        sheets,
        unit,
        cuts,
        gap=0 if gap is None else read_distance(gap, unit, "the gap between pieces"),
        trimmer=changed_trimmer(UNLIMITED_TRIMMER, unit, trimmer, smallest_strip, stages),
        margins=Margins() if margin is None else read_margins(margin, unit),
    )
    with stopping(seconds) as stop, searching("Fitting", amount_words) as tell:
        answer = solve(problem, effort, processes=usable_cores(), stop=stop, on_progress=tell)
    require_valid(problem, answer)
    data = answer_as_json(problem, answer)
    write_files([(file, json_text(data)) for file in targets], may_replace)
    if drawings is not None:
        draw_answer(problem, answer, unit, drawings, may_replace)
    if as_json:
        print_json(data)
    else:
        console().print(answer_text(problem, answer, unit))
    if answer.unplaced:
        raise typer.Exit(PIECES_LEFT_OVER)
