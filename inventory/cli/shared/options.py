"""What several commands share: their options, and the shop that they work on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from enum import StrEnum
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer
import typer.core

from inventory.cli.shared.terminal import print_json, reporting, say
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.orm import Session

    from inventory.core.files import MayReplace
    from inventory.database.shop_file import ShopFile
    from inventory.views.listing import Listing
    from nester.packing import Stop

__all__ = [
    "PIECES_LEFT_OVER",
    "Command",
    "Commands",
    "CutsOption",
    "DrawingsOption",
    "EffortOption",
    "FontsOption",
    "GapOption",
    "Group",
    "IgnoreGrainFlag",
    "JsonFlag",
    "LanguageOption",
    "Page",
    "PageOption",
    "ReplaceFlag",
    "SecondsOption",
    "SpareOption",
    "StagesOption",
    "StripOption",
    "TrimmerOption",
    "YesFlag",
    "ask",
    "command_words",
    "group",
    "naming_changes",
    "read_day",
    "replacing",
    "searching_in",
    "shop_file_of",
    "shop_option",
    "show_from_shop",
    "stopping",
]

Row = TypeVar("Row")

PIECES_LEFT_OVER = 3
"""The exit code of a plan in which pieces fit no sheet."""

JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON, for programs.")]


class Page(StrEnum):
    """The paper in the printer."""

    A4 = "A4"
    LETTER = "Letter"


PageOption = Annotated[
    Page, typer.Option("--page", case_sensitive=False, help="The paper in the printer.")
]
CutsOption = Annotated[
    Cuts,
    typer.Option(
        "--cuts",
        help="straight: cuts run from edge to edge, as a trimmer makes them, and corners of tiers"
        " are cut out with a knife; free: with a knife along a ruler, a cut may stop anywhere.",
    ),
]
EffortOption = Annotated[
    Effort, typer.Option("--effort", help="How hard to search for a cheaper plan.")
]
IgnoreGrainFlag = Annotated[
    bool, typer.Option("--ignore-grain", help="Ignore the grain this time.")
]
LanguageOption = Annotated[
    str, typer.Option("--language", help="The language of what is written: en or de.")
]
FontsOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--font", metavar="FILE", help="A font for characters that the built-in fonts lack."
    ),
]
DrawingsOption = Annotated[
    Path | None,
    typer.Option(
        "--drawings",
        metavar="FOLDER",
        help="Draw each layout into this folder; pictures from an earlier command there are"
        " removed.",
    ),
]
SecondsOption = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        metavar="N",
        min=1,
        max=86_400,
        help="Stop searching after this time. Only a safety stop: without it, plans are the same"
        " every time.",
        show_default="no limit",
    ),
]

SpareOption = Annotated[
    list[str] | None,
    typer.Option(
        "--spare",
        metavar="HOW MANY",
        help="Spare pieces to cut as well: 5% of each kind, or tier=1 of each tier; repeat for"
        " more parts.",
    ),
]
YesFlag = Annotated[bool, typer.Option("--yes", help="Do it without asking.")]
ReplaceFlag = Annotated[bool, typer.Option("--yes", help="Replace existing files without asking.")]
GapOption = Annotated[
    str | None,
    typer.Option(
        "--gap",
        help="Keep pieces this far apart across or down, also where they meet at a corner: 2mm;"
        " 0 for none.",
    ),
]
TrimmerOption = Annotated[
    str | None,
    typer.Option(
        "--trimmer",
        metavar="LENGTH",
        help="The longest cut your trimmer makes: 31cm. Longer cuts are made with a knife along a"
        " ruler. 'any' if no cut is too long.",
    ),
]
StripOption = Annotated[
    str | None,
    typer.Option(
        "--smallest-strip",
        metavar="LENGTH",
        help="The narrowest strip your trimmer can hold; 0 if it holds any.",
    ),
]
StagesOption = Annotated[
    str | None,
    typer.Option(
        "--stages",
        metavar="N",
        help="The most stages of cuts: 2 is strips, then cuts across them; 'any' for no limit.",
    ),
]


def ask(
    question: str,
    *,
    unasked: str = "this needs an answer; check the list and add --yes",
    declined: str = "nothing was stored",
) -> None:
    """Go on if the maker agrees; a script, which can't be asked, needs --yes.

    Parameters
    ----------
    unasked, declined
        What to refuse with if nobody can be asked, or the answer is no.
    """
    import sys

    from nester.core.errors import Refusal

    if not sys.stdin.isatty():
        raise Refusal(unasked)
    # The question is no result, which standard output may be kept for.
    if not typer.confirm(question, err=True):
        raise Refusal(declined)


def replacing(yes: bool) -> MayReplace:
    """Return what lets files be replaced: the maker is asked, once for each; --yes agrees to all.

    So a command may look at its files before a long search, and again when it writes them.
    """
    agreed: set[Path] = set()

    def may_replace(paths: Sequence[Path]) -> None:
        from inventory.core.files import existing_words

        there = [path for path in paths if path not in agreed]
        if there and not yes:
            words, it = existing_words(there), "it" if len(there) == 1 else "them"
            ask(
                f"{words}. Replace {it}?",
                unasked=f"{words}; add --yes to replace {it}, or choose another name",
                declined=f"{words}; nothing was replaced",
            )
        agreed.update(there)

    return may_replace


class _EachOptionOnce:
    """A command that refuses an option given twice of which only the last would count."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse what stands after the command's name."""
        _, _, given = self.make_parser(ctx).parse_args(list(args))  # type: ignore[attr-defined]
        for option, times in Counter(given).items():
            repeats_itself = getattr(option, "is_flag", False) and not option.secondary_opts
            if (
                times > 1
                and option.param_type_name == "option"
                and not (option.multiple or repeats_itself)
            ):
                name = " or ".join([max(option.opts, key=len), *option.secondary_opts])
                raise Refusal(f"{name} is given {times} times, and can be given only once")
        parsed: list[str] = super().parse_args(ctx, args)  # type: ignore[misc]
        return parsed


class Command(_EachOptionOnce, typer.core.TyperCommand):
    """A command that uses everything it is given, and reports to programs.

    With ``--json``, a command that has no data of its own prints what it did: the entries that it
    booked, what it said, and the lists it showed (`views/schemas_json/done.json`).
    """

    _reports = False

    def get_params(self, ctx: Any) -> Any:
        """Return arguments and options."""
        params = super().get_params(ctx)
        if any("--json" in param.opts for param in params) or self.name in _PRINTS_JSON:
            return params
        self._reports = True
        return [*params[:-1], _report_option(), *params[-1:]]  # before --help

    def invoke(self, ctx: Any) -> Any:
        """Do what the command does."""
        if not (self._reports and ctx.meta.get(_REPORT)):
            return super().invoke(ctx)
        with reporting() as report:
            try:
                done = super().invoke(ctx)
            except typer.Exit as early:
                done = early.exit_code
        print_json(report.as_json())
        return done


_REPORT = "quirebox.report"
_PRINTS_JSON = ("schema",)
"""Commands whose output is JSON anyway."""


@cache
def _report_option() -> Any:
    """Return the option of commands that have no data of their own."""

    def command(as_json: JsonFlag = False) -> None: ...

    made = typer.Typer(add_completion=False)
    made.command()(command)
    option: Any = typer.main.get_command(made).params[0]
    option.expose_value = False

    def remember(ctx: Any, _: Any, given: bool) -> bool:
        ctx.meta[_REPORT] = given
        return given

    option.callback = remember
    return option


class Group(_EachOptionOnce, typer.core.TyperGroup):
    """A group whose help has the whole first sentence of each command, on several lines."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list of commands."""
        commands = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        with formatter.section("Commands"):
            formatter.write_dl(
                [
                    (name, command.get_short_help_str(limit=1000))
                    for name, command in commands
                    if command
                ]
            )


class Commands(typer.Typer):
    """Functions made commands of the class `Command`."""

    def command(self, name: str | None = None, **others: Any) -> Any:
        """Return what makes a function a command."""
        return super().command(name, cls=Command, **others)


def group(help_text: str) -> typer.Typer:
    """Return a group of commands: a noun whose verbs are added to it."""
    made = Commands(help=help_text, cls=Group, rich_markup_mode=None, add_completion=False)

    @made.callback(invoke_without_command=True)
    def show_help(context: typer.Context) -> None:
        if context.invoked_subcommand is None:
            say(context.get_help())

    return made


def shop_option(context: typer.Context) -> str | None:
    """Return what was given with --shop."""
    given: str | None = context.find_root().params.get("shop")
    return given


@contextmanager
def shop_file_of(context: typer.Context) -> Iterator[ShopFile]:
    """Open the shop named with --shop, else by QUIREBOX_SHOP, else the one in its default place."""
    from inventory.cli.shared.terminal import warn
    from inventory.database.open import open_shop

    with open_shop(shop_option(context)) as shop_file:
        if shop_file.backup is not None:
            warn(f"the shop's file was updated; a copy of the old one is {shop_file.backup}")
        shop_file.on_wait = partial(warn, "waiting for another program to finish with the shop …")
        try:
            yield shop_file
        except (Refusal, typer.TyperException, typer.Abort, typer.Exit, OSError):
            raise
        except Exception as fault:
            from inventory.maintenance.check import damage_of

            # What a command stumbles over is the book's fault if the book is damaged.
            raise (damage_of(shop_file) or fault) from fault


def show_from_shop(
    context: typer.Context,
    as_json: bool,
    read: Callable[[Session], tuple[Listing[Row], Sequence[Row]]],
) -> None:
    """Read a list from the shop and print it."""
    from inventory.cli.shared.terminal import show_list

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        listing, rows = read(session)
    show_list(listing, rows, as_json)


def naming_changes(given: Mapping[str, object]) -> str:
    """Name what a command was told to change: ``hour, margin``.

    Raises
    ------
    Refusal
        If that is nothing.
    """
    names = [name.replace("_", " ") for name, value in given.items() if value is not None]
    if not names:
        raise Refusal("say what to change; --help lists the options")
    return ", ".join(names)


def read_day(text: str | None) -> date | None:
    """Read a day, if one was given."""
    from inventory.core.table_files import read_date

    return None if text is None else read_date(text)


@contextmanager
def stopping(seconds: float | None) -> Iterator[Stop]:
    """Give the rule that ends a search: after some seconds, or at Ctrl-C.

    The first Ctrl-C ends the search with the best it has found; the second ends the command.
    """
    import math
    import signal
    import threading

    from inventory.cli.shared.terminal import warn
    from nester.packing import StopSignal, after_seconds, never

    if seconds is not None and not math.isfinite(seconds):
        raise Refusal("--seconds must be a number of seconds")
    stop = StopSignal(never if seconds is None else after_seconds(seconds))
    # Python lets only the main thread handle signals.
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def interrupt(*_: object) -> None:
        if stop.is_asked:
            raise KeyboardInterrupt
        stop.ask()
        warn("stopping with the best plan so far; press Ctrl-C again to give up.")

    before = signal.signal(signal.SIGINT, interrupt)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


def command_words(context: typer.Context, words: str) -> str:
    """Write a command to go on with, on the same shop: ``quirebox --shop FILE batch cut 3``."""
    import shlex

    given = shop_option(context)
    shop = f"--shop {shlex.quote(given)} " if given else ""
    return f"quirebox {shop}{words}"


@contextmanager
def searching_in(shop_file: ShopFile, seconds: float | None) -> Iterator[dict[str, Any]]:
    """Give the rule that ends a search in a shop, and a function that shows how it goes on."""
    from inventory.cli.shared.terminal import searching
    from inventory.core.money import format_money
    from inventory.shop.settings import get_shop

    with shop_file.read() as session:
        currency = get_shop(session).currency
    with (
        stopping(seconds) as stop,
        searching("Planning", lambda amount: format_money(amount, currency)) as tell,
    ):
        yield {"stop": stop, "on_progress": tell}
