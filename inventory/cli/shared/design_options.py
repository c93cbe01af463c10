"""What the commands on designs share: their arguments, and what they read of the shop."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import shop_file_of, shop_option
from nester.core.lengths import Unit

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = [
    "NameArgument",
    "OwnPaperOption",
    "PaperOption",
    "SizesArgument",
    "UnitOption",
    "session_if_any",
]

NameArgument = Annotated[str, typer.Argument(help="The name of a design.")]
SizesArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="SETTING=VALUE",
        help="Settings of the design; 'quirebox design settings' lists them.",
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
    list[str] | None,
    typer.Option(
        "--paper",
        metavar="PART=PAPER",
        help="One of your papers, or a weight in g/m², for a part or for 'all'; repeat for each.",
    ),
]
OwnPaperOption = Annotated[
    list[str] | None,
    typer.Option(
        "--paper",
        metavar="PART=PAPER",
        help="One of your papers for a part, or for 'all'; repeat for each.",
    ),
]


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
