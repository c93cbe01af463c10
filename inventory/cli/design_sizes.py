"""`quirebox design sizes` and `design sheets`: what size to make, and on which sheets."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    CutsOption,
    EffortOption,
    JsonFlag,
    ReplaceFlag,
    replacing,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import pairs
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from inventory.advice.sizes import BatchRequest, SizeComparison
    from nester.core.lengths import Unit

__all__ = ["sheets", "sizes"]

OnOption = Annotated[
    list[str],
    typer.Option(
        "--on",
        metavar="[PART=]SIZE",
        help="A sheet size to cut from, for all papers or for a part's paper: 50x70cm,"
        " mat=12x12in. Repeat for more sizes.",
    ),
]
PriceOption = Annotated[
    list[str] | None,
    typer.Option(
        "--price",
        metavar="SIZE=PRICE",
        help="What a sheet costs: 50x70cm=1.80. Without prices, the area of paper counts.",
    ),
]
QuantityOption = Annotated[
    int, typer.Option("--quantity", metavar="N", help="How many copies are cut together.")
]


def sizes(
    context: typer.Context,
    name: NameArgument,
    on: OnOption,
    settings: WeightChoicesArgument = None,
    setting: Annotated[
        str | None,
        typer.Option(
            "--setting",
            help="The setting to vary.  [default: the design's first]",
            show_default=False,
        ),
    ] = None,
    first: Annotated[
        str | None,
        typer.Option("--from", metavar="SIZE", help="The smallest size.  [default: a sixth less]"),
    ] = None,
    last: Annotated[
        str | None,
        typer.Option("--to", metavar="SIZE", help="The largest size.  [default: a sixth more]"),
    ] = None,
    step: Annotated[
        str | None,
        typer.Option(
            "--step", metavar="SIZE", help="The step between sizes.  [default: 1mm, 1/16in]"
        ),
    ] = None,
    quantity: QuantityOption = 10,
    price: PriceOption = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    processes: Annotated[
        int | None,
        typer.Option(
            "--processes",
            min=1,
            max=64,
            help="How many processes share the work; the result is the same.  [default: one"
            " for each core]",
            show_default=False,
        ),
    ] = None,
    svg: Annotated[
        Path | None, typer.Option("--svg", metavar="FILE", help="Draw the chart into this file.")
    ] = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show how much paper each box takes in different sizes, as a table, a chart and words.

    Each size is planned as a batch, with enough sheets of each size, and each plan is
    checked. Ctrl-C shows the sizes planned so far; a second Ctrl-C stops without them.

    \b
    Examples:
      quirebox design sizes layered-box --on 50x70cm mats=outside
      quirebox design sizes layered-box --on 56x71cm --from 16cm --to 19cm
      quirebox design sizes gift-tag --on A4 --on A3 --quantity 100
    """
    from inventory.advice.sizes import compare_sizes
    from inventory.cli.shared.options import stopping
    from inventory.cli.shared.terminal import counting, print_json
    from inventory.core.files import check_targets, write_files
    from inventory.documents.text.sizes import size_chart
    from inventory.views.sizes import sizes_as_json

    may_replace = replacing(yes)
    check_targets([svg] if svg else [], may_replace)
    batch = _read_batch(context, name, settings, on, price, paper, quantity, cuts, unit)
    with stopping(None) as stop, counting("Comparing sizes") as tell:
        found = compare_sizes(
            batch, setting, first, last, step, effort, processes=processes, stop=stop,
            on_progress=tell,
        )  # fmt: skip
    if found.was_stopped and found.base is None:
        raise KeyboardInterrupt  # there is nothing to show yet
    if svg is not None:
        from nester.drawing.canvas.svg import svg_document
        from nester.drawing.pictures.chart import steps_svg

        write_files([(svg, svg_document(steps_svg(size_chart(found))))], may_replace)
    if as_json:
        print_json(sizes_as_json(found))
    elif found.base is None:
        raise Refusal(f"none of these sizes is possible; {found.points[0].refusal}")
    else:
        _show_sizes(found)


def _read_batch(
    context: typer.Context,
    name: str,
    settings: Sequence[str] | None,
    on: Sequence[str],
    price: Sequence[str] | None,
    paper: Sequence[str] | None,
    quantity: int,
    cuts: Cuts,
    unit: Unit | None,
) -> BatchRequest:
    from inventory.advice.sizes import read_batch_request

    with session_if_any(context) as session:
        chosen = choices_of(session, name, settings, paper)
        return read_batch_request(
            session,
            name,
            chosen.sizes,
            chosen.papers,
            on,
            pairs(list(price or []), "--price"),
            quantity,
            cuts,
            unit,
        )


def _show_sizes(found: SizeComparison) -> None:
    from inventory.cli.shared.terminal import print_sentences, show_list
    from inventory.documents.text.sizes import (
        jump_words,
        left_out_words,
        size_chart,
        suggestion_words,
        suggestions_title,
    )
    from inventory.views.sizes import size_listing, size_rows
    from nester.drawing.pictures.chart import steps_text

    show_list(size_listing(found), size_rows(found))
    print_sentences([steps_text(size_chart(found))])
    if found.jumps:
        print_sentences(["Where the paper jumps:"])
        print_sentences([f"  {words}" for words in jump_words(found)])
        print_sentences([""])
    print_sentences([suggestions_title(found)])
    print_sentences([f"  {words}" for words in suggestion_words(found)])
    print_sentences(left_out_words(found))
    if found.was_stopped:
        say(f"Stopped early: {len(found.points)} of {found.wanted} sizes were compared.")


def sheets(
    context: typer.Context,
    name: NameArgument,
    on: OnOption,
    settings: WeightChoicesArgument = None,
    quantity: QuantityOption = 10,
    price: PriceOption = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.QUICK,
    as_json: JsonFlag = False,
) -> None:
    """Show which sheet size is best for a design: the paper each box takes from each size.

    \b
    Example:
      quirebox design sheets layered-box --on 50x70cm --on 56x71cm --on A1
    """
    from inventory.advice.sizes import compare_sheets
    from inventory.cli.shared.terminal import print_json, print_sentences, show_list
    from inventory.documents.text.sizes import sheet_fault_words, verdict_words
    from inventory.views.sizes import sheet_listing, sheets_as_json

    batch = _read_batch(context, name, settings, on, price, paper, quantity, cuts, unit)
    shown_in = batch.batch.unit
    rows = compare_sheets(batch, effort)
    if as_json:
        print_json(sheets_as_json(batch, rows))
        return
    show_list(sheet_listing(batch, rows, shown_in), rows)
    print_sentences([*sheet_fault_words(rows, shown_in), *verdict_words(rows, shown_in)])
