"""How the command line speaks: tables, JSON, progress, and its one-sentence refusals."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, redirect_stdout
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

import typer

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from inventory.views.listing import Listing
    from nester.core.errors import Hint, Refusal
    from nester.packing import Progress

__all__ = [
    "Output",
    "Report",
    "console",
    "counting",
    "json_text",
    "keep_output",
    "list_table",
    "print_json",
    "print_sentences",
    "refusal_text",
    "refuse",
    "reporting",
    "say",
    "searching",
    "show_list",
    "warn",
]

Row = TypeVar("Row")

_WIDEST = 100
_LONGEST_WORD, _LONGEST = 300, 2000


def console(*, stderr: bool = False) -> Console:
    """Return the terminal: 80 columns wide by default, and 100 at most."""
    from rich.console import Console

    if _report is not None and not stderr:
        return Console(file=_report.words, width=_WIDEST, highlight=False, no_color=True)
    made = Console(stderr=stderr, highlight=False, soft_wrap=False)
    if made.width > _WIDEST:
        made.width = _WIDEST
    return made


def print_json(data: Any) -> None:
    """Write data as JSON to standard output."""
    sys.stdout.write(json_text(data, ascii_only=not _is_unicode(sys.stdout)))


def json_text(data: Any, *, ascii_only: bool = False) -> str:
    """Return data as JSON."""
    return json.dumps(data, indent=1, ensure_ascii=ascii_only, allow_nan=False) + "\n"


class Output(io.FileIO):
    """Standard output that, once it can't be written, takes all and keeps why.

    So a command is done as a whole, wherever the first word of it is lost.
    """

    fault: OSError | None = None

    def write(self, data: Any) -> int:
        """Write bytes, or throw them away."""
        if self.fault is None:
            try:
                return super().write(data) or 0
            except OSError as fault:
                self.fault = fault
        return memoryview(data).nbytes


@contextmanager
def keep_output() -> Iterator[Output]:
    """Write to standard output as far as that can be; look into the result for what was lost.

    An output that doesn't know a character, such as × or ², shows ? instead of failing.  What is
    written to a closed output is lost, as with the shell's own commands.
    """
    real = sys.stdout
    if real is not sys.__stdout__:  # something in this process reads it, such as a test
        with Output(os.devnull, "w") as unused:
            yield unused
        return
    output = Output(os.devnull if real is None else os.dup(real.fileno()), "w")
    encoding = "utf-8" if real is None else real.encoding
    sys.stdout = io.TextIOWrapper(
        io.BufferedWriter(output),
        encoding=encoding,
        errors="strict" if encoding.casefold().startswith("utf") else "replace",
        line_buffering=output.isatty(),
    )
    try:
        yield output
    finally:
        sys.stdout.close()
        sys.stdout = real


def _is_unicode(stream: TextIO) -> bool:
    return (stream.encoding or "utf-8").casefold().startswith("utf")


class Report:
    """What a command did, for programs: what it said, and the lists it showed."""

    def __init__(self) -> None:
        self.words = io.StringIO()
        self.lists: list[dict[str, Any]] = []

    def as_json(self) -> dict[str, Any]:
        """Return it with the entries of the shop's history that were booked."""
        from inventory.core.changes import entries_made

        said = [line.rstrip() for line in self.words.getvalue().splitlines()]
        return {"entries": entries_made(), "said": said, "lists": self.lists}


_report: Report | None = None


@contextmanager
def reporting() -> Iterator[Report]:
    """Collect what is said and listed in a report instead of printing it."""
    global _report
    _report = Report()
    try:
        with redirect_stdout(io.StringIO()):
            yield _report
    finally:
        _report = None


def say(text: str) -> None:
    """Print lines for the maker; names of files and the like can't steer the terminal."""
    from inventory.core.text import without_controls

    if _report is not None:
        _report.words.write(f"{without_controls(text)}\n")
        return
    typer.echo(without_controls(text))


def warn(text: str) -> None:
    """Print a message that is no result, on standard error."""
    from inventory.core.text import without_controls

    print(f"quirebox: {without_controls(text)}", file=sys.stderr)  # noqa: T201


def refusal_text(refusal: Refusal) -> str:
    """Return the sentence of a refusal, its hint written as a command."""
    return _with_hint(str(refusal), refusal.hint)


def _with_hint(sentence: str, hint: Hint | None) -> str:
    import shlex

    if hint is None:
        return sentence
    words = " ".join(["quirebox", hint.action, *(shlex.quote(word) for word in hint.arguments)])
    return f"{sentence.removesuffix('.')}; {hint.purpose} with '{words}'"


def refuse(text: str) -> None:
    """Say why something was not done, on one line."""
    from inventory.core.text import shorten

    words = (
        word if len(word) <= _LONGEST_WORD else f"{word[:40]}…{word[-20:]}" for word in text.split()
    )
    sentence = shorten(" ".join(words), _LONGEST)
    warn(sentence if sentence.endswith((".", "!", "?")) else f"{sentence}.")


def show_list(listing: Listing[Row], rows: Sequence[Row], as_json: bool = False) -> None:
    """Print a list: as JSON for programs, else as a table, or what is said when it is empty."""
    if _report is not None:
        _report.lists.append({"title": listing.title, "rows": listing.records(rows)})
    elif as_json:
        print_json(listing.records(rows))
    elif rows:
        console().print(list_table(listing, rows))
    else:
        say(_with_hint(listing.empty, listing.hint))


def list_table(listing: Listing[Row], rows: Sequence[Row]) -> Table:
    """Return a list as a table for the terminal."""
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    columns, lines = listing.table(rows)
    right = frozenset(column.title for column in columns if column.right)
    shown = table(listing.title, *(column.title for column in columns), right=right)
    for made, column in zip(shown.columns, columns, strict=True):
        made.no_wrap = column.no_wrap
    for row, cells in zip(rows, lines, strict=True):
        shown.add_row(
            *(
                Text(cell, style="bold") if column.strong(row) else cell
                for column, cell in zip(columns, cells, strict=True)
            )
        )
    return shown


def print_sentences(sentences: Sequence[str]) -> None:
    """Print sentences, each on lines of its own, no wider than the terminal."""
    from rich.text import Text

    for sentence in sentences:
        console().print(Text(sentence))


@contextmanager
def searching(what: str, money: Callable[[Any], str]) -> Iterator[Callable[[Progress], None]]:
    """Show how a search goes on, on a terminal's standard error; nothing elsewhere.

    Parameters
    ----------
    what
        The first words: ``Planning``.
    money
        Writes an amount for a person.
    """
    from inventory.core.text import format_count

    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda _: None
        return
    with console(stderr=True).status(f"{what} …", spinner="line") as status:

        def tell(progress: Progress) -> None:
            status.update(
                f"{what}: {format_count(progress.sheet_count, 'sheet')} for"
                f" {money(progress.net_cost)}; at best {money(progress.lower_bound)}, gap"
                f" {float(100 * progress.optimality_gap):.1f} %"
            )

        yield tell


@contextmanager
def counting(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show how many of some things are done, on a terminal's standard error; else say nothing."""
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda done, whole: None
        return
    with console(stderr=True).status(f"{what} …", spinner="line") as status:
        yield lambda done, whole: status.update(f"{what}: {100 * done // whole} %")
