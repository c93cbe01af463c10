"""What the commands on designs share: their arguments, and what they read of the shop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import shop_file_of, shop_option
from inventory.core.text import pairs
from nester.core.lengths import Unit

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.orders.choices import Choices

__all__ = [
    "ChoicesArgument",
    "NameArgument",
    "PaperOption",
    "UnitOption",
    "WeightChoicesArgument",
    "choices_of",
    "session_if_any",
]

NameArgument = Annotated[str, typer.Argument(help="The name of a design.")]
ChoicesArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="NAME=VALUE",
        help='Settings of the design, and papers of its parts: panel=18cm, all="Coal card"'
        " ('quirebox design settings' lists them).",
    ),
]
WeightChoicesArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="NAME=VALUE",
        help="Settings of the design, and papers of its parts or their weight in g/m²:"
        " panel=18cm, all=300 ('quirebox design settings' lists them).",
    ),
]
UnitOption = Annotated[
    Unit | None,
    typer.Option(
        "--unit",
        help="The unit of numbers without one, and of the output.  [default: the shop's, else cm]",
        show_default=False,
    ),
]
PaperOption = Annotated[
    list[str] | None, typer.Option("--paper", metavar="PART=PAPER", hidden=True)
]
"""As papers were given before they were written beside the settings."""


def choices_of(
    session: Session | None,
    name: str,
    choices: Sequence[str] | None,
    papers: Sequence[str] | None = None,
) -> Choices:
    """Read what is chosen of a design."""
    from inventory.orders.choices import read_choices
    from inventory.orders.custom_designs import design_named

    design = design_named(session, name)
    return read_choices(session, design, choices or (), pairs(list(papers or ()), "--paper"))


@contextmanager
def session_if_any(context: typer.Context) -> Iterator[Session | None]:
    """Give a session for reading, or None if there is no shop and none is named."""
    import os

    from inventory.database.open import PATH_VARIABLE, shop_exists

    named = shop_option(context) or os.environ.get(PATH_VARIABLE)
    if not named and not shop_exists():
        yield None
        return
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        yield session
