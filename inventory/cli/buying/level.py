"""`quirebox buy level`: how much of a paper to keep."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of, show_from_shop
from inventory.cli.shared.stock_options import PaperArgument
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.sheet_sizes import Size

app = group("Restock levels: when to buy a paper, and how much. Only you set them.")

SizeOption = Annotated[
    str | None,
    typer.Option("--size", help="Only sheets of this size: 50x70cm.", show_default="any size"),
]


def _size(session: Session, text: str | None) -> Size | None:
    from inventory.shop.settings import get_shop
    from nester.core.sheet_sizes import parse_size

    return None if text is None else parse_size(text, get_shop(session).unit)


@app.command("set")
def set_one_level(
    context: typer.Context,
    paper: PaperArgument,
    reorder: Annotated[
        int,
        typer.Argument(metavar="REORDER", help="Buy when this many sheets or fewer are left."),
    ],
    target: Annotated[
        int, typer.Argument(metavar="TARGET", help="Then buy up to this many sheets.")
    ],
    size: SizeOption = None,
) -> None:
    """Set how much of a paper to keep; 'quirebox buy list' says when to buy.

    \b
    Examples:
      quirebox buy level set "Coal card" 10 40 --size 50x70cm
      quirebox buy level set "Moss linen" 5 15
    """
    from inventory.purchasing.reorder_levels import set_level

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        level = set_level(session, paper, reorder, target, size=_size(session, size))
        name = level.paper.name
    say(f"With {format_count(reorder, 'sheet')} of {name} or fewer, buy up to {target:,}.")


@app.command("drop")
def drop_one_level(context: typer.Context, paper: PaperArgument, size: SizeOption = None) -> None:
    """Remove a level: the paper is then bought for orders only.

    \b
    Example:
      quirebox buy level drop "Coal card" --size 50x70cm
    """
    from inventory.purchasing.reorder_levels import drop_level
    from inventory.stock.papers import find_paper

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        drop_level(session, paper, _size(session, size))
        name = find_paper(session, paper).name
    say(f"Removed the level of {name}.")


@app.command("list")
def list_all_levels(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all levels you set."""
    from inventory.purchasing.reorder_levels import list_levels
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.levels import level_listing

    show_from_shop(
        context,
        as_json,
        lambda session: (level_listing(get_shop(session).unit), list_levels(session)),
    )


@app.command("suggest")
def suggest(
    context: typer.Context,
    papers: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PAPER]...", help="Some of your papers.", show_default="all"),
    ] = None,
    weeks: Annotated[
        int, typer.Option("--weeks", min=1, max=520, help="How many past weeks to look at.")
    ] = 8,
    safety: Annotated[
        int,
        typer.Option(
            "--safety",
            metavar="DAYS",
            min=0,
            max=365,
            help="Keep enough for this many more days, in case a delivery is late.",
        ),
    ] = 7,
    cover: Annotated[
        int,
        typer.Option(
            "--cover", metavar="DAYS", min=0, max=365, help="Buy enough for this many days at once."
        ),
    ] = 28,
    accept: Annotated[bool, typer.Option("--accept", help="Set these levels.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Suggest levels from what you used lately; only --accept sets them.

    Each tells you to buy when what is left lasts only until a delivery comes, plus --safety days.

    \b
    Examples:
      quirebox buy level suggest
      quirebox buy level suggest "Coal card" --weeks 12 --accept
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.purchasing.reorder_levels import accept_suggestions, suggest_levels
    from inventory.shop.settings import get_shop
    from inventory.views.purchasing.levels import suggestion_listing

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
    show_list(suggestion_listing(unit, weeks), rows, as_json)
    if rows and not as_json:
        say("These levels are set." if accept else "Nothing is set yet; add --accept.")
