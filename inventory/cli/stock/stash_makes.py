"""`quirebox stash makes`: what could be made from the stash today."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.cli.shared.design_options import PaperOption
from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    JsonFlag,
    SecondsOption,
    shop_file_of,
    stopping,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import pairs
from nester.core.problem import Cuts, Effort

__all__ = ["makes"]


def makes(
    context: typer.Context,
    requests: Annotated[
        list[str],
        typer.Argument(
            metavar="DESIGN [NAME=VALUE]",
            help="A design, its settings and papers; more designs may follow, each with its own.",
        ),
    ],
    paper: PaperOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show how many of a design you can make from what is on hand and not reserved.

    The lines are alternatives: that many of one design, or that many of another.

    \b
    Examples:
      quirebox stash makes layered-box panel=14cm all="Coal card"
      quirebox stash makes layered-box all="Coal card" gift-tag all="Oat card"
    """
    from inventory.advice.capacity import max_copies, problems_of_requests, read_requests
    from inventory.cli.shared.terminal import show_list
    from inventory.views.capacity import CAPACITY

    read = read_requests(requests)
    papers = pairs(paper or [], "--paper")
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        problems = problems_of_requests(session, read, papers, cuts)
    with stopping(seconds) as stop:
        found = [max_copies(problem, effort, stop=stop) for problem in problems]
    show_list(CAPACITY, list(zip(read, found, strict=True)), as_json)
    if not as_json and any(not copies.is_optimal for copies in found):
        say(
            "Where there are two numbers, a plan was found for the first; no plan can make more"
            " than the second."
        )
