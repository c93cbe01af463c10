"""How the command line speaks: tables, JSON, progress, and its one-sentence refusals."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

if TYPE_CHECKING:
    from rich.console import Console

    from inventory.database.tables.ledger import Transaction
    from inventory.views.listing import Listing
    from nester.core.errors import Refusal
    from nester.packing import (
        Progress,
    )

__all__ = [
    "console",
    "counting",
    "print_json",
    "refusal_text",
    "refuse",
    "replace_unprintable",
    "searching",
    "show_list",
    "transaction_words",
    "warn",
]

Row = TypeVar("Row")

_WIDEST = 100
_LONGEST_WORD, _LONGEST = 300, 2000


def console(*, stderr: bool = False) -> Console:
    """Return the terminal; it is 80 columns wide where nobody says otherwise."""
    from rich.console import Console

    made = Console(stderr=stderr, highlight=False, soft_wrap=False)
    if made.width > _WIDEST:
        made.width = _WIDEST
    return made


def print_json(data: Any, target: Path | None = None) -> None:
    """Write data as JSON to a file, or to standard output."""
    printed = target is None or str(target) == "-"
    ascii_only = printed and not _is_unicode(sys.stdout)
    text = json.dumps(data, indent=1, ensure_ascii=ascii_only, allow_nan=False) + "\n"
    if target is None or printed:
        sys.stdout.write(text)
        return
    from inventory.core.files import write_file

    write_file(target, text)


def replace_unprintable() -> None:
    """Let an output that doesn't know a sign, such as × or ², show ? instead of failing.

    An output that is closed swallows what is said, as the shell's own commands do.
    """
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    if isinstance(sys.stdout, io.TextIOWrapper) and not _is_unicode(sys.stdout):
        sys.stdout.reconfigure(errors="replace")


def _is_unicode(stream: TextIO) -> bool:
    return (stream.encoding or "utf-8").casefold().startswith("utf")


def transaction_words(deed: Transaction) -> str:
    """Say what a deed was: ``deed 12, cut, batch 1, layout 3``."""
    words = [f"deed {deed.id}", str(deed.reason)]
    if deed.batch_id is not None:
        words.append(f"batch {deed.batch_id}")
    if deed.layout is not None:
        words.append(f"layout {deed.layout}, {len(deed.copies or ())} of it")
    if deed.note:
        words.append(deed.note)
    return ", ".join(words)


def warn(text: str) -> None:
    """Say something beside the matter."""
    print(f"quirebox: {text}", file=sys.stderr)  # noqa: T201


def refusal_text(refusal: Refusal) -> str:
    """Return the sentence of a refusal, its hint written as a command."""
    import shlex

    if refusal.hint is None:
        return str(refusal)
    words = " ".join(
        ["quirebox", refusal.hint.action, *(shlex.quote(word) for word in refusal.hint.arguments)]
    )
    return f"{refusal}; {refusal.hint.purpose} with '{words}'"


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
    if as_json:
        print_json(listing.records(rows))
        return
    from inventory.documents.format.terminal_tables import table

    columns, lines = listing.table(rows)
    right = frozenset(column.title for column in columns if column.right)
    shown = table(listing.title, *(column.title for column in columns), right=right)
    for line in lines:
        shown.add_row(*line)
    console().print(shown if rows else listing.empty)


@contextmanager
def searching(what: str, money: Callable[[Any], str]) -> Iterator[Callable[[Progress], None]]:
    """Show how a search goes on, on a terminal's standard error; say nothing elsewhere.

    Parameters
    ----------
    what
        The first words: ``Planning``.
    money
        Writes an amount for a person.
    """
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda _: None
        return
    with console(stderr=True).status(f"{what} …", spinner="line") as status:

        def tell(progress: Progress) -> None:
            status.update(
                f"{what}: {progress.sheet_count} sheets for {money(progress.net_cost)}, none for less than"
                f" {money(progress.lower_bound)}, gap {float(100 * progress.optimality_gap):.1f} %"
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
