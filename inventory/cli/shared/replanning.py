"""Changes that may break the plans of batches: shown first, and planned again if wanted."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from inventory.cli.shared.options import command_words, searching_in
from inventory.cli.shared.terminal import say, warn

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile

__all__ = ["ReplanFlag", "with_plans_again"]

_Result = TypeVar("_Result")

ReplanFlag = Annotated[
    bool | None,
    typer.Option(
        "--replan/--no-replan",
        help="Plan batches again at once if they need this paper, or leave it.",
        show_default="you are asked",
    ),
]


def with_plans_again(
    context: typer.Context,
    shop_file: ShopFile,
    change: Callable[[Session], _Result],
    replan: bool | None,
) -> _Result:
    """Make a change, and plan the batches again that it breaks, if that is wanted.

    Parameters
    ----------
    change
        Changes the stash; called at most three times.
    replan
        Whether to plan again; None asks, and leaves it where nobody can be asked.
    """
    import sys

    from inventory.changes.replanning import broken_batches, replan_batches
    from inventory.documents.plan.text import plan_summary

    with shop_file.rehearse() as session:
        before = broken_batches(session)
        change(session)
        broken = {
            number: words
            for number, words in broken_batches(session).items()
            if words != before.get(number)
        }
    for words in broken.values():
        warn(words)
    if broken and replan is None and sys.stdin.isatty():
        replan = typer.confirm("Plan again what is not cut of it?", default=True, err=True)
    results: list[_Result] = []
    if broken and replan:
        with searching_in(shop_file, None) as search:
            made = replan_batches(
                shop_file,
                list(broken),
                change=lambda session: results.append(change(session)),
                today=date.today(),
                **search,
            )
        if made.plan is not None:
            from inventory.cli.shared.terminal import console

            console().print(plan_summary(made.plan))
        return results[-1]
    with shop_file.begin() as session:
        result = change(session)
    if broken:
        again = command_words(context, f"batch replan {' '.join(map(str, broken))}")
        say(f"Next: {again}")
    return result
