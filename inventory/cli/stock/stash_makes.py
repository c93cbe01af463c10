"""`quirebox stash makes`: what could be made from the stash today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    JsonFlag,
    SecondsOption,
    pairs,
    shop_file_of,
    stopping,
)
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from nester.packing.orders.most_copies import CopiesRange

__all__ = ["makes", "number_words"]


def makes(
    context: typer.Context,
    wishes: Annotated[
        list[str],
        typer.Argument(
            metavar="DESIGN [SETTING=VALUE]",
            help="A design and its sizes; more designs may follow, each with its own.",
        ),
    ],
    paper: Annotated[
        list[str] | None,
        typer.Option("--paper", metavar="PART=PAPER", help="A paper for a part, or for 'all'."),
    ] = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show how many of a design could be made from what lies here and is not reserved.

    Each line is for itself: so many of this design, or so many of that.

    \b
    Examples:
      quirebox stash makes layered-box panel=14cm --paper "all=Coal card"
      quirebox stash makes layered-box gift-tag --paper "all=Coal card"
    """
    from inventory.advice.capacity import max_copies, problems_of_requests, read_requests
    from inventory.cli.shared.terminal import console, print_json

    read = read_requests(wishes)
    papers = pairs(paper or [], "--paper")
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        problems = problems_of_requests(session, read, papers, cuts)
    with stopping(seconds) as stop:
        told = [max_copies(problem, effort, stop=stop) for problem in problems]
    if as_json:
        print_json(
            [
                {
                    "design": wish.design,
                    "sizes": dict(wish.sizes),
                    "at_least": most.lower_bound,
                    "at_most": most.upper_bound,
                    "proven": most.is_optimal,
                    "short": list(most.limiting_papers),
                }
                for wish, most in zip(read, told, strict=True)
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown = table("What could be made, one or the other", "How many", "Of", "What runs out first")
    for wish, most in zip(read, told, strict=True):
        shown.add_row(number_words(most), Text(wish.text), Text(", ".join(most.limiting_papers)))
    console().print(shown)
    if any(not most.is_optimal for most in told):
        typer.echo("Where two numbers stand, the first is planned, and more than the second can't.")


def number_words(most: CopiesRange) -> str:
    """Write how many can be made: ``3``, or ``at least 3, at most 5``."""
    if most.is_optimal:
        return str(most.lower_bound)
    return f"at least {most.lower_bound}, at most {most.upper_bound}"
