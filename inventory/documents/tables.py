"""Tables in the look of the house, for the terminal or a file."""

from __future__ import annotations

from rich import box
from rich.table import Table
from rich.text import Text

__all__ = ["table"]


def table(title: str, *columns: str, right: frozenset[str] = frozenset()) -> Table:
    """Return an empty table in the look of the house; columns in `right` hold numbers."""
    made = Table(
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
