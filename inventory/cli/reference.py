"""The table of all commands in the README, written by the program itself.

``python -m inventory.cli.reference README.md`` brings it up to date; a test fails when the two
differ.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import typer
import typer.core
import typer.main

from nester.core.errors import Refusal

__all__ = ["BEGIN", "END", "CommandEntry", "list_commands", "reference", "with_reference"]

BEGIN = "<!-- commands:begin -->"
END = "<!-- commands:end -->"


class CommandEntry(NamedTuple):
    """A command, and what the parser knows about it."""

    words: tuple[str, ...]
    command: typer.core.TyperCommand


def list_commands() -> Iterator[CommandEntry]:
    """Yield every command, in the order of the help."""
    from inventory.cli.main import app

    yield from _list_commands((), typer.main.get_command(app))


def _list_commands(words: tuple[str, ...], command: object) -> Iterator[CommandEntry]:
    if isinstance(command, typer.core.TyperGroup):
        context = typer.Context(command)
        for name in command.list_commands(context):
            yield from _list_commands((*words, name), command.get_command(context, name))
    elif isinstance(command, typer.core.TyperCommand):
        yield CommandEntry(words, command)


def reference() -> str:
    """Return a Markdown table with a line for each command."""
    lines = ["| Command | What it does |", "| --- | --- |"]
    for words, command in list_commands():
        usage = " ".join(["quirebox", *words, *_needed(command)])
        summary = command.get_short_help_str(limit=1000).rstrip(".")
        lines.append(f"| `{_in_cell(usage)}` | {_in_cell(summary)} |")
    return "\n".join(lines) + "\n"


def _needed(command: typer.core.TyperCommand) -> Iterator[str]:
    """Yield a command's arguments, and its required options."""
    for parameter in command.params:
        word = parameter.metavar or str(parameter.name).upper()
        if parameter.param_type_name == "argument":
            several = "..." if parameter.nargs == -1 else ""
            yield f"{word}{several}" if parameter.required else f"[{word}]{several}"
        elif parameter.required:
            yield f"{parameter.opts[0]} {word}"


def _in_cell(text: str) -> str:
    return text.replace("|", "\\|")


def with_reference(text: str) -> str:
    """Return a Markdown text with the table, up to date, between its marks.

    Raises
    ------
    Refusal
        If the text does not have one pair of marks.
    """
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end or BEGIN in rest or END in after:
        raise Refusal(f"the table of commands needs one line {BEGIN} and below it one line {END}")
    return f"{before}{BEGIN}\n{reference()}{END}{after}"


def _rewrite(path: Path) -> None:
    from inventory.core.files import write_files

    write_files([(path, with_reference(path.read_text(encoding="utf-8")))], lambda _: None)


if __name__ == "__main__":
    _rewrite(Path(sys.argv[1]))
