"""`quirebox buy level`: how much of a paper is to be held."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from inventory.cli.shared.options import JsonFlag, format_count, group, shop_file_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.purchasing.reorder_levels import LevelSuggestion
    from nester.core.lengths import Length, Unit
    from nester.core.sheet_sizes import Size

app = group("Restock levels: when to buy a paper, and how much; only you set them.")

PaperArgument = Annotated[str, typer.Argument(help="The name of a paper in the book.")]
SizeOption = Annotated[
    str | None,
    typer.Option("--size", help="Only of sheets of this size: 50x70cm.", show_default="any size"),
]


def _size(session: Session, text: str | None) -> Size | None:
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    return None if text is None else parse_size(text, get_shop(session).unit)


def _size_words(size: tuple[Length | None, Length | None], unit: Unit) -> str:
    from nester.core.lengths import format_size

    width, height = size
    return "any" if width is None or height is None else format_size(width, height, unit)


@app.command("set")
def set_one_level(
    context: typer.Context,
    paper: PaperArgument,
    reorder: Annotated[
        int,
        typer.Argument(metavar="REORDER", help="With so many sheets or fewer it is time to buy."),
    ],
    target: Annotated[
        int, typer.Argument(metavar="TARGET", help="Up to so many sheets are bought then.")
    ],
    size: SizeOption = None,
) -> None:
    """Say how much of a paper is to be held; 'quirebox buy list' tells when to buy.

    \b
    Examples:
      quirebox buy level set "Coal card" 10 40 --size 50x70cm
      quirebox buy level set "Moss linen" 5 15
    """
    from inventory.purchasing.reorder_levels import set_level

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        level = set_level(session, paper, reorder, target, size=_size(session, size))
        name = level.paper.name
    typer.echo(f"With {format_count(reorder, 'sheet')} of {name} or fewer, buy up to {target}")


@app.command("drop")
def drop_one_level(context: typer.Context, paper: PaperArgument, size: SizeOption = None) -> None:
    """Give up a level: nothing of that paper is held for itself any more.

    \b
    Example:
      quirebox buy level drop "Coal card" --size 50x70cm
    """
    from inventory.purchasing.reorder_levels import drop_level

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        drop_level(session, paper, _size(session, size))
    typer.echo("Given up")


@app.command("list")
def list_all_levels(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all levels that are set."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.purchasing.reorder_levels import list_levels
    from inventory.shop.settings import get_shop

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = [
            (one.paper.name, one.width, one.height, one.reorder, one.target, one.set_at)
            for one in list_levels(session)
        ]
    if as_json:
        print_json(
            [
                {
                    "paper": paper,
                    **_size_as_json(width, height),
                    "reorder": reorder,
                    "target": target,
                    "set_at": at.isoformat(timespec="seconds"),
                }
                for paper, width, height, reorder, target, at in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Down to", "Up to"})
    shown = table("Restock levels", "Paper", "Size", "Down to", "Up to", "Set on", right=right)
    for paper, width, height, reorder, target, at in rows:
        day = at.astimezone().date().isoformat()
        size = _size_words((width, height), unit)
        shown.add_row(Text(paper), size, str(reorder), str(target), day)
    console().print(shown if rows else "No levels yet; set one with 'quirebox buy level set'.")


def _size_as_json(width: Length | None, height: Length | None) -> dict[str, Any]:
    from nester.core.lengths import to_mm_number

    return {
        "width": None if width is None else to_mm_number(width),
        "height": None if height is None else to_mm_number(height),
    }


@app.command("suggest")
def suggest(
    context: typer.Context,
    papers: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PAPER]...", help="Papers in the book.", show_default="all"),
    ] = None,
    weeks: Annotated[
        int, typer.Option("--weeks", min=1, max=520, help="The weeks whose use counts.")
    ] = 8,
    safety: Annotated[
        int,
        typer.Option(
            "--safety",
            metavar="DAYS",
            min=0,
            max=365,
            help="Days of use to hold for a delivery that is late.",
        ),
    ] = 7,
    cover: Annotated[
        int,
        typer.Option(
            "--cover", metavar="DAYS", min=0, max=365, help="Days of use to buy for at once."
        ),
    ] = 28,
    accept: Annotated[bool, typer.Option("--accept", help="Set these levels.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Suggest levels by what was used lately; nothing is set without --accept.

    It is time to buy when what is left lasts for a delivery and the days of safety.

    \b
    Examples:
      quirebox buy level suggest
      quirebox buy level suggest "Coal card" --weeks 12 --accept
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.purchasing.reorder_levels import accept_suggestions, suggest_levels
    from inventory.shop.settings import get_shop

    with (
        shop_file_of(context) as shop_file,
        shop_file.begin() if accept else shop_file.read() as session,
    ):
        unit = get_shop(session).unit
        rows = suggest_levels(
            session, papers or None, today=date.today(), weeks=weeks, safety=safety, cover=cover
        )
        if accept:
            accept_suggestions(session, rows)
    if as_json:
        print_json([_suggestion_as_json(one) for one in rows])
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Used", "A week", "Delivery", "Down to", "Up to", "Now"})
    shown = table(
        "Suggested levels", "Paper", "Size", "Used", "A week", "Delivery", "Down to", "Up to",
        "Now", right=right,
    )  # fmt: skip
    for one in rows:
        shown.add_row(
            Text(one.paper),
            _size_words(one.size or (None, None), unit),
            f"{one.used} in {one.days} days",
            _tenths(one),
            format_count(one.lead_days, "day"),
            str(one.reorder_point),
            str(one.target),
            "" if one.current_level is None else f"{one.current_level[0]} / {one.current_level[1]}",
        )
    console().print(
        shown if rows else f"No sheets were used in the last {format_count(weeks, 'week')}."
    )
    if rows:
        typer.echo("Set" if accept else "Nothing is set yet; --accept sets these levels")


def _tenths(one: LevelSuggestion) -> str:
    from inventory.core.money import round_to_decimals

    return str(round_to_decimals(one.weekly_use, 1))


def _suggestion_as_json(one: LevelSuggestion) -> dict[str, Any]:
    width, height = one.size or (None, None)
    return {
        "paper": one.paper,
        **_size_as_json(width, height),
        "used": one.used,
        "days": one.days,
        "delivery_days": one.lead_days,
        "reorder": one.reorder_point,
        "target": one.target,
        "now": None
        if one.current_level is None
        else {"reorder": one.current_level[0], "target": one.current_level[1]},
    }
