"""`quirebox estimate`: what to buy for a box, and what its paper costs, with nothing on hand."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from inventory.cli.shared.design_options import (
    NameArgument,
    PaperOption,
    UnitOption,
    WeightChoicesArgument,
    choices_of,
    session_if_any,
)
from inventory.cli.shared.options import (
    PIECES_LEFT_OVER,
    CutsOption,
    DrawingsOption,
    EffortOption,
    GapOption,
    JsonFlag,
    ReplaceFlag,
    SecondsOption,
    SpareOption,
    StagesOption,
    StripOption,
    TrimmerOption,
    replacing,
    stopping,
)
from nester.core.problem import Cuts, Effort

__all__ = ["estimate"]


def estimate(
    context: typer.Context,
    name: NameArgument,
    choices: WeightChoicesArgument = None,
    quantity: Annotated[
        int | None,
        typer.Option(
            "--quantity",
            metavar="N",
            min=1,
            max=1000,
            help="Estimate this number as well as 1, 10 and 50, and draw its layouts.",
        ),
    ] = None,
    paper: PaperOption = None,
    on: Annotated[
        list[str] | None,
        typer.Option(
            "--on",
            metavar="SHEET=PRICE",
            help="A sheet's size and price: 50x70cm=1.20. A pack of 20: A4=3.50/20. For one"
            " paper only: 'night card:50x70cm=1.20'. Without prices: 50x70cm, 'A4 by 20'. Repeat"
            " for more sheets.",
        ),
    ] = None,
    spare: SpareOption = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    seconds: SecondsOption = None,
    gap: GapOption = None,
    trimmer: TrimmerOption = None,
    smallest_strip: StripOption = None,
    stages: StagesOption = None,
    drawings: DrawingsOption = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Estimate what to buy for a design if nothing is on hand, and what each copy costs.

    Only paper and its shipping are counted. Packs are bought whole, so a single copy is
    expensive. Your own papers have prices from the price lists; with --on, any name or weight
    will do. In a shop, its gap, trimmer and grain rule apply by default.

    \b
    Examples:
      quirebox estimate layered-box panel=18cm tiers=4 --on 50x70cm=1.20
      quirebox estimate gift-tag --quantity 200 --on A4=3.50/20 --spare 5%
      quirebox estimate gift-tag --on A4 --json
    """
    from inventory.advice.estimate import EstimateRequest, estimate_design, read_estimate
    from inventory.cli.shared.terminal import print_json, print_sentences, searching, show_list
    from inventory.core.files import check_targets
    from inventory.documents.plan.pictures import draw_answer, pictures_in
    from inventory.documents.text.purchase import amount_words, estimate_words
    from inventory.pieces.spare_rule import read_spare_rule
    from inventory.views.estimate import estimate_as_json, estimate_listings

    may_replace = replacing(yes)
    if drawings is not None:
        check_targets(pictures_in(drawings), may_replace)
    with session_if_any(context) as session:
        chosen = choices_of(session, name, choices, paper)
        request = EstimateRequest(
            name, chosen.sizes, chosen.papers, on or (), quantity,
            unit, cuts, gap, trimmer, smallest_strip, stages, read_spare_rule(spare or ()),
        )  # fmt: skip
        task = read_estimate(session, request, date.today())
    with (
        stopping(seconds) as stop,
        searching("Estimating", lambda amount: amount_words(amount, task.currency)) as tell,
    ):
        found = estimate_design(task, effort, stop=stop, on_progress=tell)
    asked = found.asked.purchase_plan
    if drawings is not None:
        draw_answer(asked.problem, asked.cutting_plan, task.unit, drawings, may_replace)
    if as_json:
        print_json(estimate_as_json(found))
    else:
        for listing, rows in estimate_listings(found):
            show_list(listing, rows)
        print_sentences(estimate_words(found))
    if asked.cutting_plan.unplaced:
        raise typer.Exit(PIECES_LEFT_OVER)
