"""What several commands share: their options, and the shop that they work on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from nester.layouts import Cuts, Effort

if TYPE_CHECKING:
    from inventory.shop import ShopFile
    from nester.packing import Stop

__all__ = [
    "CutsOption",
    "EffortOption",
    "JsonFlag",
    "SecondsOption",
    "group",
    "pairs",
    "safety_stop",
    "shop_file_of",
]

JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON, for programs.")]
CutsOption = Annotated[
    Cuts,
    typer.Option(
        "--cuts",
        help="straight: every cut from edge to edge, as a trimmer makes it;"
        " free: with a knife along a rule, a cut may stop anywhere.",
    ),
]
EffortOption = Annotated[
    Effort, typer.Option("--effort", help="How hard to look for a cheaper plan.")
]
SecondsOption = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        metavar="N",
        min=1,
        max=86_400,
        help="Stop looking after so long at the latest; only a safety stop, as plans are"
        " the same every time without it.",
        show_default="no limit",
    ),
]


def group(help_text: str) -> typer.Typer:
    """Return a group of commands, a noun to which its verbs are added."""
    made = typer.Typer(help=help_text, rich_markup_mode=None)

    @made.callback(invoke_without_command=True)
    def show_help(context: typer.Context) -> None:
        if context.invoked_subcommand is None:
            typer.echo(context.get_help())

    return made


@contextmanager
def shop_file_of(context: typer.Context) -> Iterator[ShopFile]:
    """Open the shop named with --shop, else by QUIREBOX_SHOP, else the one in its usual place."""
    from inventory.shop import open_shop

    path: Path | None = context.find_root().params.get("shop")
    with open_shop(path) as shop_file:
        if shop_file.backup is not None:
            from inventory.desk.tell import warn

            warn(
                f"the shop's file was brought up to date; a copy of the old one: {shop_file.backup}"
            )
        yield shop_file


def safety_stop(seconds: float | None) -> tuple[Stop, Callable[[], float]]:
    """Return the rule that stops a search, and how long the solver underneath may take."""
    import math
    import time

    from nester.packing import after_seconds, never
    from nester.refusal import Refusal

    if seconds is None:
        return never, lambda: 600.0
    if not math.isfinite(seconds):
        raise Refusal("--seconds must be a number of seconds")
    end = time.monotonic() + seconds
    return after_seconds(seconds), lambda: max(0.1, end - time.monotonic())


def pairs(texts: list[str], option: str) -> dict[str, str]:
    """Read what was given as ``NAME=VALUE``, perhaps several times."""
    from nester.refusal import Refusal

    read: dict[str, str] = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals and value):
            raise Refusal(f"{option} '{text[:40]}': write it as NAME=VALUE")
        if name in read:
            raise Refusal(f"{option} '{name[:40]}' is given twice")
        read[name] = value
    return read
