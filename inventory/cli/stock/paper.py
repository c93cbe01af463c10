"""`quirebox paper`: the materials."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import JsonFlag, format_count, group, shop_file_of

app = group("Papers: colour, finish, weight, pattern and grain.")


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it; no other paper is called so.")],
    colour: Annotated[str, typer.Option("--colour", help="Its colour in a word.")],
    grammage: Annotated[int, typer.Option("--grammage", help="Its weight in g/m².")],
    finish: Annotated[
        str, typer.Option("--finish", help="smooth, linen, metallic, photo … in a word.")
    ] = "",
    swatch: Annotated[
        str | None, typer.Option("--swatch", help="Its colour for pictures, as #rrggbb.")
    ] = None,
    pattern: Annotated[
        str,
        typer.Option(
            "--pattern",
            help="plain, patterned, or directional if its pattern has a top: it then runs along"
            " the height of the sheets as you enter them.",
        ),
    ] = "plain",
    caliper: Annotated[
        str | None,
        typer.Option(
            "--caliper",
            help="Its thickness, if you know it: 0.3mm, 300um, 12pt; else it is reckoned from its"
            " weight.",
        ),
    ] = None,
    grain: Annotated[
        str,
        typer.Option(
            "--grain",
            help="unknown, or along the long or short side of its sheets: pieces that wish for a"
            " grain follow it, and folds get advice.",
        ),
    ] = "unknown",
    note: Annotated[str, typer.Option("--note", help="How it behaves on the table.")] = "",
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
    typer.echo(f"Paper '{paper.name}' added")


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
    """Add the papers of a list; if a line of it is wrong, none is added.

    \b
    Example:
      quirebox paper import papers.csv
    """
    from inventory.stock.import_lists import import_papers

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        count = import_papers(session, file)
    typer.echo(f"{format_count(count, 'paper')} added")


@app.command("set")
def set_(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The name of a paper in the book.")],
    note: Annotated[
        str | None, typer.Option("--note", help="How it behaves on the table; '' for nothing.")
    ] = None,
    grain: Annotated[
        str | None,
        typer.Option("--grain", help="unknown, or along the long or short side of its sheets."),
    ] = None,
    instead: Annotated[
        list[str] | None,
        typer.Option(
            "--instead",
            metavar="PAPER",
            help="A paper that may stand in for it, the best first; again for each; '' for none.",
        ),
    ] = None,
) -> None:
    """Say how a paper behaves, how its grain lies, and which others may stand in for it.

    \b
    Examples:
      quirebox paper set "Coal card" --note "cracks on tight folds" --grain long
      quirebox paper set "Coal card" --instead "Night card" --instead "Plum card"
    """
    from inventory.stock.papers import find_paper, set_grain, set_paper_note, set_substitutes

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        paper = find_paper(session, name)
        if note is not None:
            set_paper_note(session, name, note)
        if grain is not None:
            set_grain(session, name, grain)
        if instead is not None:
            set_substitutes(session, name, [one for one in instead if one.strip()])
    typer.echo(f"Paper '{paper.name}' changed")


@app.command("list")
def list_(
    context: typer.Context,
    as_json: JsonFlag = False,
) -> None:
    """List all papers, with how much of each lies in the stash."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.shop.settings import get_shop
    from inventory.stock.listing import on_hand_areas
    from inventory.stock.papers import list_papers, substitutes
    from nester.core.lengths import area_m2, format_area, to_mm_number

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        papers = list_papers(session)
        area = dict.fromkeys((paper.id for paper in papers), 0) | on_hand_areas(session)
        instead = substitutes(session)
        unit = get_shop(session).unit
    if as_json:
        print_json(
            [
                {
                    "name": paper.name,
                    "colour": paper.colour,
                    "swatch": paper.swatch,
                    "finish": paper.finish,
                    "grammage": paper.grammage,
                    "pattern": str(paper.pattern),
                    "grain": str(paper.grain),
                    "caliper": None if paper.caliper is None else to_mm_number(paper.caliper),
                    "note": paper.note,
                    "instead": instead.get(paper.name, []),
                    "square_metres": float(area_m2(area[paper.id])),
                }
                for paper in papers
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    numbers = frozenset({"g/m²", "On hand"})
    shown = table(
        "Papers", "Paper", "Colour", "Finish", "g/m²", "Pattern", "Grain", "On hand", right=numbers
    )
    for paper in papers:
        shown.add_row(
            Text(paper.name),
            Text(paper.colour),
            Text(paper.finish),
            str(paper.grammage),
            paper.pattern,
            paper.grain,
            format_area(area[paper.id], unit) if area[paper.id] else "-",
        )
    console().print(shown if papers else "No papers yet; add one with 'quirebox paper add'.")


@app.command("history")
def history(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The name of a paper in the book.")],
    as_json: JsonFlag = False,
) -> None:
    """Show every movement of a paper's sheets and offcuts: when, why, for which batch.

    \b
    Example:
      quirebox paper history "Coal card"
    """
    from inventory.cli.stock.stash import show_movements
    from inventory.reports.paper_history import paper_history
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = paper_history(session, name)
    show_movements(name, rows, unit, as_json)


@app.command("yield")
def yield_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show month by month what became of each paper: pieces, offcuts, trimmings, spoiled."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.reports.paper_history import paper_yields
    from inventory.shop.settings import get_shop
    from nester.core.lengths import area_m2, format_area

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        rows = paper_yields(session)
        unit = get_shop(session).unit
    if as_json:
        print_json(
            [
                {
                    "month": row.month,
                    "paper": row.paper,
                    "cut": float(area_m2(row.cut)),
                    "pieces": float(area_m2(row.pieces)),
                    "kept": float(area_m2(row.kept)),
                    "waste": float(area_m2(row.waste)),
                    "spoiled": float(area_m2(row.spoiled)),
                    "share": None if row.yield_rate is None else round(float(row.yield_rate), 4),
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    numbers = ("Cut", "Pieces", "Kept", "Waste", "Spoiled", "Yield")
    shown = table("Yield", "Month", "Paper", *numbers, right=frozenset(numbers))
    for row in rows:
        areas = (row.cut, row.pieces, row.kept, row.waste, row.spoiled)
        shown.add_row(
            row.month,
            Text(row.paper),
            *(format_area(area, unit) if area else "" for area in areas),
            "" if row.yield_rate is None else f"{float(100 * row.yield_rate):.0f} %",
        )
    console().print(shown if rows else "Nothing was cut yet.")
