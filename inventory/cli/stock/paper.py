"""`quirebox paper`: the materials."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    JsonFlag,
    group,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.replanning import ReplanFlag, with_plans_again
from inventory.cli.shared.stock_options import ByOption, PaperArgument, WhyOption, user_name
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

_WEIGHT = "Its weight: 300 or 300 g/m²; or in pounds with the grade, '65 lb cover'."

app = group("Papers: colour, finish, weight, pattern and grain.")


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it; each paper has its own name.")],
    colour: Annotated[str, typer.Option("--colour", "--color", help="Its colour in words.")],
    weight: Annotated[str, typer.Option("--grammage", "--weight", help=_WEIGHT)],
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
    from inventory.stock.papers import add_paper, read_caliper, read_weight

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        paper = add_paper(
            session,
            name,
            colour=colour,
            finish=finish,
            grammage=read_weight(weight),
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
    new_name: Annotated[str | None, typer.Option("--name", help="What you call it now.")] = None,
    colour: Annotated[
        str | None, typer.Option("--colour", "--color", help="Its colour in words.")
    ] = None,
    finish: Annotated[str | None, typer.Option("--finish", help="In words; '' for none.")] = None,
    weight: Annotated[str | None, typer.Option("--weight", "--grammage", help=_WEIGHT)] = None,
    swatch: Annotated[
        str | None, typer.Option("--swatch", help="Its colour in pictures; '' for none.")
    ] = None,
    pattern: Annotated[
        str | None, typer.Option("--pattern", help="plain, patterned or directional.")
    ] = None,
    caliper: Annotated[
        str | None, typer.Option("--caliper", help="Its thickness: 0.3mm; '' if unknown.")
    ] = None,
    grain: Annotated[
        str | None,
        typer.Option("--grain", help="unknown, or the side that it runs along: long or short."),
    ] = None,
    note: Annotated[
        str | None, typer.Option("--note", help="How it cuts and folds; '' for none.")
    ] = None,
    instead: Annotated[
        list[str] | None,
        typer.Option(
            "--instead",
            metavar="PAPER",
            help="A paper that can replace it, the best first; repeat for each; '' for none.",
        ),
    ] = None,
    by: ByOption = None,
    why: WhyOption = "",
    replan: ReplanFlag = None,
) -> None:
    """Correct a paper, and say which papers can replace it.

    Orders and plans follow a new name. 'quirebox stash undo' takes a correction back.

    \b
    Examples:
      quirebox paper set "Coal card" --name "Night card" --weight "80 lb cover"
      quirebox paper set "Coal card" --note "cracks on tight folds" --grain long
      quirebox paper set "Coal card" --instead "Night card" --instead "Plum card"
    """
    from inventory.changes.paper_changes import PaperChanges, change_paper
    from inventory.database.tables.stock import Paper
    from inventory.stock.papers import find_paper, read_caliper, read_weight, set_substitutes
    from nester.core.errors import Refusal

    changes = PaperChanges(
        name=new_name,
        colour=colour,
        finish=finish,
        swatch=swatch,
        grammage=None if weight is None else read_weight(weight),
        pattern=pattern,
        grain=grain,
        caliper=read_caliper(caliper),
        no_caliper=caliper is not None and not caliper.strip(),
        note=note,
    )
    if changes == PaperChanges() and instead is None:
        raise Refusal("say what is different; --help lists the options")

    def correct(session: Session) -> str:
        number = find_paper(session, name).id
        words = []
        if changes != PaperChanges():
            transaction = change_paper(session, name, changes, by=user_name(by), why=why)
            words.append(transaction.note)
        paper = session.get_one(Paper, number)
        if instead is not None:
            others = set_substitutes(session, paper.name, [one for one in instead if one.strip()])
            names = ", ".join(other.name for other in others) or "no paper"
            words.append(f"{paper.name}: {names} can replace it")
        return "; ".join(words)

    with shop_file_of(context) as shop_file:
        words = with_plans_again(context, shop_file, correct, replan)
    say(f"Corrected {words}")


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
