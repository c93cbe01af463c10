"""Tables in the look of the house, for the terminal or a file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich import box
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["table"]


class _PlainTable(Table):
    """A table whose words are printed as they are.

    Rich looks through plain strings for markup, twice a cell: a third of the time of a long list.
    """

    def add_row(self, *cells: RenderableType | None, **options: Any) -> None:
        """Add a row; cells may be words or anything that can be printed."""
        super().add_row(
            *(Text(cell) if isinstance(cell, str) else cell for cell in cells), **options
        )


def table(title: str, *columns: str, right: frozenset[str] = frozenset()) -> Table:
    """Return an empty table in the look of the house; columns in `right` hold numbers."""
    made = _PlainTable(
        title=Text(title, style="bold"),
        title_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        header_style="",
    )
    for column in columns:
        made.add_column(
            column,
            justify="right" if column in right else "left",
            overflow="fold",
        )
    return made
