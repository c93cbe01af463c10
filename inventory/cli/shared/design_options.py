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

    from nester.designs import (
        Design,
    )
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
    typer.Argument(metavar="SETTING=VALUE", help="As 'quirebox design settings' lists."),
]
UnitOption = Annotated[
    Unit | None,
    typer.Option(
        "--unit",
        help="The unit of bare numbers and of what is shown.  [default: the shop's, else cm]",
        show_default=False,
    ),
]
PaperOption = Annotated[
    list[str] | None,
    typer.Option(
        "--paper",
        metavar="PART=PAPER",
        help="A paper of the shop's, or a weight in g/m², for a part or for 'all'; again for each.",
    ),
]


@contextmanager
def session_if_any(context: typer.Context) -> Iterator[Session | None]:
    """Give a session for reading, or None where no shop has been begun and none is named."""
    import os

    from inventory.database.open import PATH_VARIABLE, shop_exists

    named = shop_option(context) or os.environ.get(PATH_VARIABLE)
    if not named and not shop_exists():
        yield None
        return
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        yield session


def unit_of(session: Session | None, asked: Unit | None) -> Unit:
    """Return the unit asked for, else the shop's, in which its orders are taken."""
    from inventory.shop.settings import get_shop

    if asked is not None:
        return asked
    return Unit.CM if session is None else get_shop(session).unit


def design_named(session: Session | None, name: str) -> Design:
    """Return a design of the shop's own or a built-in one."""
    from inventory.orders.custom_designs import built_in_design, find_design

    return built_in_design(name) if session is None else find_design(session, name)


def sheetstock(session: Session | None, texts: dict[str, str]) -> dict[str, PaperSpec]:
    """Read papers by part: names of the shop's papers, or weights."""
    from inventory.database.tables.enums import Grain
    from inventory.stock.papers import find_paper
    from nester.core.errors import Refusal
    from nester.designs.base.thickness import PaperSpec

    read = {}
    for role, text in texts.items():
        if text.isascii() and text.isdigit() and 0 < int(text) <= 2000:
            read[role] = PaperSpec(int(text))
        elif session is None:
            raise Refusal(
                f"--paper {role}: there is no shop whose papers could be meant; give a weight"
                " in g/m², such as 300"
            )
        else:
            paper = find_paper(session, text)
            known = paper.grain is not Grain.UNKNOWN
            read[role] = PaperSpec(paper.grammage, paper.caliper, grain_known=known)
    return read
