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

    from nester.designs import Design
    from nester.designs.base.thickness import PaperSpec

__all__ = [
    "NameArgument",
    "PaperOption",
    "SizesArgument",
    "UnitOption",
    "design_named",
    "session_if_any",
    "sheetstock",
    "unit_of",
]

NameArgument = Annotated[str, typer.Argument(help="The name of a design.")]
SizesArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="SETTING=VALUE", help="Settings that 'quirebox design settings' lists."),
]
UnitOption = Annotated[
    Unit | None,
    typer.Option(
        "--unit",
        help="The unit of bare numbers, and of what is shown.  [default: the shop's, else cm]",
        show_default=False,
    ),
]
PaperOption = Annotated[
    list[str] | None,
    typer.Option(
        "--paper",
        metavar="PART=PAPER",
        help="One of your papers, or a weight in g/m², for a part or for 'all'; again for each.",
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


def unit_of(session: Session | None, asked: Unit | None) -> Unit:
    """Return the unit asked for, else the shop's; see `inventory.orders.custom_designs`."""
    from inventory.orders import custom_designs

    return custom_designs.unit_of(session, asked)


def design_named(session: Session | None, name: str) -> Design:
    """Return a design of the shop's own or a built-in one."""
    from inventory.orders import custom_designs

    return custom_designs.design_named(session, name)


def sheetstock(session: Session | None, texts: dict[str, str]) -> dict[str, PaperSpec]:
    """Read papers by part: names of the shop's papers, or weights."""
    from inventory.orders import custom_designs

    return custom_designs.read_paper_specs(session, texts)
