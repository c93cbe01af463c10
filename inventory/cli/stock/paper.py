"""`quirebox paper`: the materials."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    group,
    naming_changes,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.stock_options import PaperArgument
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

app = group("Papers: colour, finish, weight, pattern and grain.")


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it; each paper has its own name.")],
    colour: Annotated[str, typer.Option("--colour", help="Its colour in words.")],
    grammage: Annotated[int, typer.Option("--grammage", help="Its weight in g/m².")],
    finish: Annotated[
        str, typer.Option("--finish", help="In words: smooth, linen, metallic, photo …")
    ] = "",
    swatch: Annotated[
        str | None, typer.Option("--swatch", help="Its colour in pictures, as #rrggbb.")
    ] = None,
    pattern: Annotated[
        str,
        typer.Option(
            "--pattern",
            help="plain, patterned, or directional if the pattern has a top: it then points up"
            " along the height of the sheets as you enter them.",
        ),
    ] = "plain",
    caliper: Annotated[
        str | None,
        typer.Option(
            "--caliper",
            help="Its thickness, if you know it: 0.3mm, 300um, 12pt; else it is estimated from"
            " its weight.",
        ),
    ] = None,
    grain: Annotated[
        str,
        typer.Option(
            "--grain",
            help="unknown, or the side of the sheets that the grain runs along, long or short:"
            " pieces that need a grain follow it, and folds get advice.",
        ),
    ] = "unknown",
    note: Annotated[str, typer.Option("--note", help="How it cuts and folds.")] = "",
) -> None:
    """Add a paper.

    \b
    Examples:
      quirebox paper add "Coal card" --colour black --grammage 300 --finish smooth
      quirebox paper add "Fern print" --colour green --grammage 120 \\
        --pattern directional
    """
    from inventory.stock.papers import add_paper, read_caliper

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        paper = add_paper(
            session,
            name,
            colour=colour,
            finish=finish,
            grammage=grammage,
            swatch=swatch,
            pattern=pattern,
            grain=grain,
            caliper=read_caliper(caliper),
            note=note,
        )
    say(f"Added the paper '{paper.name}'")


@app.command("import")
def import_(
    context: typer.Context,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.csv",
            help="Columns name, colour, finish, grammage; optional swatch, pattern, grain,"
            " caliper, note.",
        ),
    ],
) -> None:
    """Add the papers on a list; if a line is wrong, none are added.

    \b
    Example:
      quirebox paper import papers.csv
    """
    from inventory.stock.import_lists import import_papers

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        count = import_papers(session, file)
    say(f"Added {format_count(count, 'paper')}")


@app.command("set")
def set_(
    context: typer.Context,
    name: PaperArgument,
    note: Annotated[
        str | None, typer.Option("--note", help="How it cuts and folds; '' for none.")
    ] = None,
    grain: Annotated[
        str | None,
        typer.Option("--grain", help="unknown, or the side that it runs along: long or short."),
    ] = None,
    instead: Annotated[
        list[str] | None,
        typer.Option(
            "--instead",
            metavar="PAPER",
            help="A paper that can replace it, the best first; repeat for each; '' for none.",
        ),
    ] = None,
) -> None:
    """Change a paper's note, its grain, and which papers can replace it.

    \b
    Examples:
      quirebox paper set "Coal card" --note "cracks on tight folds" --grain long
      quirebox paper set "Coal card" --instead "Night card" --instead "Plum card"
    """
    from inventory.stock.papers import find_paper, set_grain, set_paper_note, set_substitutes

    changed = naming_changes({"note": note, "grain": grain, "replacements": instead})
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        paper = find_paper(session, name)
        if note is not None:
            set_paper_note(session, name, note)
        if grain is not None:
            set_grain(session, name, grain)
        if instead is not None:
            set_substitutes(session, name, [other for other in instead if other.strip()])
    say(f"Changed '{paper.name}': {changed}")


@app.command("list")
def list_(
    context: typer.Context,
    as_json: JsonFlag = False,
) -> None:
    """List all papers, with how much of each is in the stash."""
    from inventory.views.stock.papers import paper_list

    show_from_shop(context, as_json, paper_list)


@app.command("history")
def history(
    context: typer.Context,
    name: PaperArgument,
    as_json: JsonFlag = False,
) -> None:
    """Show every change of a paper's sheets and offcuts: when, why, for which batch.

    \b
    Example:
      quirebox paper history "Coal card"
    """
    from inventory.views.stock.papers import paper_history_list

    show_from_shop(context, as_json, lambda session: paper_history_list(session, name))


@app.command("yield")
def yield_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show what became of each paper by month: pieces, offcuts, waste, spoiled."""
    from inventory.views.stock.papers import yield_list

    show_from_shop(context, as_json, yield_list)
