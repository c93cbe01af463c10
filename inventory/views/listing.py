"""A list of records, described once: its columns serve a face's table, JSON and CSV alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from inventory.core.files import csv_text

if TYPE_CHECKING:
    from nester.core.errors import Hint

__all__ = ["Column", "Listing"]

Row = TypeVar("Row")


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a list.

    Attributes
    ----------
    title
        The heading that a person reads; empty if the column is for programs only.
    key
        Its key in JSON and heading in CSV; empty if neither has it.
    value
        Gives what JSON holds: text, a number, None, or lists and objects of these.
    cell
        Gives what a person reads; the value as text, nothing for None or 0, unless given.
    right
        Whether it is set flush right, as numbers are.
    optional
        Whether the table leaves it out where no row has anything in it.
    no_wrap
        Whether a table keeps it whole where lines are short, as it does days.
    strong
        Says whether a cell is set in bold.
    csv_heading
        Its heading in CSV, where that is not the key: with the unit of its numbers, for instance.
    """

    title: str = ""
    key: str = ""
    value: Callable[[Row], Any] = lambda _: None
    cell: Callable[[Row], str] | None = None
    right: bool = False
    optional: bool = False
    no_wrap: bool = False
    strong: Callable[[Row], bool] = lambda _: False
    csv_heading: str = ""

    def text(self, row: Row) -> str:
        """Return what a person reads of a row."""
        if self.cell is not None:
            return self.cell(row)
        value = self.value(row)
        return str(value) if value else ""


@dataclass(frozen=True)
class Listing(Generic[Row]):
    """A kind of list: its title, its columns, and what is said when it is empty.

    Attributes
    ----------
    hint
        What to do about an empty list, for a face to show its own way.
    """

    title: str
    columns: tuple[Column[Row], ...]
    empty: str
    hint: Hint | None = None

    def table(self, rows: Sequence[Row]) -> tuple[list[Column[Row]], list[list[str]]]:
        """Return the columns that a table shows, and the cells of each row."""
        shown = [column for column in self.columns if column.title]
        cells = [[column.text(row) for column in shown] for row in rows]
        kept = [
            number
            for number, column in enumerate(shown)
            if not column.optional or any(line[number] for line in cells)
        ]
        return [shown[number] for number in kept], [[line[i] for i in kept] for line in cells]

    def records(self, rows: Sequence[Row]) -> list[dict[str, Any]]:
        """Return what a program reads: one object a row."""
        keyed = [column for column in self.columns if column.key]
        return [{column.key: column.value(row) for column in keyed} for row in rows]

    def csv(self, rows: Sequence[Row]) -> str:
        """Return the rows as CSV (RFC 4180); the items of a list stand in one cell, spaced."""
        headed = [column for column in self.columns if column.csv_heading or column.key]
        return csv_text(
            [column.csv_heading or column.key for column in headed],
            [[_csv_cell(column.value(row)) for column in headed] for row in rows],
        )


def _csv_cell(value: Any) -> Any:
    return " ".join(map(str, value)) if isinstance(value, list) else value
