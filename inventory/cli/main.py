"""The command `quirebox`."""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any

import typer
import typer.core
import typer.main

from inventory.cli.shared.options import PIECES_LEFT_OVER, Commands, Group
from inventory.cli.shared.terminal import say
from nester.core.errors import Refusal

__all__ = ["app", "main"]

_COMMANDS = {
    "demo": "inventory.cli.demo:demo",
    "fit": "inventory.cli.fit:fit",
    "estimate": "inventory.cli.estimate:estimate",
    "shop": "inventory.cli.shop:app",
    "paper": "inventory.cli.stock.paper:app",
    "place": "inventory.cli.stock.place:app",
    "sheet": "inventory.cli.stock.sheet:app",
    "offcut": "inventory.cli.stock.offcut:app",
    "stash": "inventory.cli.stock.stash:app",
    "spare": "inventory.cli.stock.spare:app",
    "supply": "inventory.cli.stock.supply:app",
    "design": "inventory.cli.design:app",
    "order": "inventory.cli.order:app",
    "batch": "inventory.cli.batch:app",
    "buy": "inventory.cli.buying.buy:app",
    "cost": "inventory.cli.cost:app",
    "report": "inventory.cli.report:app",
    "schema": "inventory.cli.schema:schema",
}
"""Where each command is: a group of verbs, or a function."""


class _LazyCommands(Group):
    """Commands that are imported only when they are used, to start faster."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in _COMMANDS:
            return None
        module, _, attribute = _COMMANDS[cmd_name].partition(":")
        found = getattr(import_module(module), attribute)
        if not isinstance(found, typer.Typer):
            alone = Commands(rich_markup_mode=None, add_completion=False)
            alone.command(cmd_name)(found)
            found = alone
        command = typer.main.get_command(found)
        command.name = cmd_name
        return command


app = typer.Typer(
    name="quirebox",
    cls=_LazyCommands,
    help="Tells people who make layered paper gift boxes what to cut from which sheet.",
    epilog="Start with 'quirebox demo', which makes a shop to try things on.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback(invoke_without_command=True)
def quirebox(
    context: typer.Context,
    shop: Annotated[
        str | None,
        typer.Option(
            "--shop",
            metavar="FILE",
            help="The shop's file, or the URL of its PostgreSQL database.  [default: what"
            " QUIREBOX_SHOP names, else a file in your data folder]",
            show_default=False,
        ),
    ] = None,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Tell people who make layered paper gift boxes what to cut from which sheet."""
    if version:
        from importlib.metadata import version as version_of

        say(version_of("quirebox"))
        raise typer.Exit
    if context.invoked_subcommand is None:
        say(context.get_help())


def main(arguments: Sequence[str]) -> int:
    """Run one command.

    Returns
    -------
    int
        0: done.  1: a fault of the program.  2: a mistake of the user, shown in one sentence.
        3: pieces fit no sheet.  130: stopped by Ctrl-C.
    """
    from inventory.cli.shared.terminal import keep_output
    from inventory.core.changes import forget_changes

    forget_changes()
    with keep_output() as output:
        code = _run(arguments)
    return code if output.fault is None else _without_output(code, output.fault)


def _without_output(code: int, fault: OSError) -> int:
    """Return the exit code of a command whose output was lost.

    What was stored is done, and whoever reads of a failure would do it a second time.
    """
    from inventory.cli.shared.terminal import refuse
    from inventory.core.changes import has_changed

    if isinstance(fault, BrokenPipeError) or code not in (0, PIECES_LEFT_OVER):
        return code  # whoever read our output has gone, as `head` does
    if has_changed():
        refuse(f"this is done and stored, but the output can't be written ({fault.strerror})")
        return code
    refuse(f"the output can't be written ({fault.strerror})")
    return 2


def _run(arguments: Sequence[str]) -> int:
    from inventory.cli.shared.terminal import refusal_text, refuse, warn

    try:
        code = app(arguments, prog_name="quirebox", standalone_mode=False)
    except Refusal as refusal:
        refuse(refusal_text(refusal))
        return 2
    except typer.TyperException as error:
        refuse(_in_plain_words(error.format_message()))
        return 2
    except (KeyboardInterrupt, typer.Abort):
        return _stopped()
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno in _DISK_FULL:
            refuse(f"there is no room to write ({fault.strerror})")
            return 2
        if os.environ.get("QUIREBOX_TRACEBACK"):
            raise
        warn(
            f"a fault of the program: {type(fault).__name__}: {' '.join(str(fault).split())}."
            " What was not finished was not stored. Set QUIREBOX_TRACEBACK=1 to see where."
        )
        return 1
    if code == _INTERRUPTED:
        return _stopped()
    return code if isinstance(code, int) else 0


_PLAIN_WORDS = (
    (r"Invalid value for '([^']*)': Input should be", r"\1 must be"),
    (r"Invalid value for '([^']*)': (?:Value error, )?", r"\1: "),
    (r"Input should be", "it must be"),
    (r"greater than or equal to", "at least"),
    (r"less than or equal to", "at most"),
    (r"a valid integer.*", "a whole number"),
    (r"a valid number.*", "a number"),
    (r"a valid string.*", "text"),
    (r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)\.?",
     r"'\1' is one word too many; put a name of several words in quotes"),
    (r"No such option: ([^ .]*)\.? Did you mean (.*)\?",
     r"there is no option \1; did you mean \2?"),
    (r"No such option: ([^ .]*)\.?", r"there is no option \1; --help lists them all"),
    (r"No such command '([^']*)'\. Did you mean (.*)\?",
     r"there is no command '\1'; did you mean \2?"),
    (r"No such command '(.*)'\.?", r"there is no command '\1'; --help lists them all"),
    (r"Missing (?:argument|option) '([^']*)'\.?",
     r"\1 is missing; --help shows how to write the command"),
)  # fmt: skip
"""What the framework says about a mistake, and what a maker reads instead."""


def _in_plain_words(said: str) -> str:
    import re

    for theirs, ours in _PLAIN_WORDS:
        said = re.sub(theirs, ours, said)
    return said


_INTERRUPTED = 130
_DISK_FULL = (errno.ENOSPC, errno.EDQUOT)


def _stopped() -> int:
    from inventory.cli.shared.terminal import warn

    warn("stopped; what was not finished was not stored.")
    return _INTERRUPTED
