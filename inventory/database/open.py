"""Opening a shop, in a file or on a server: the only module that knows both kinds."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from inventory.core.money import check_currency
from inventory.core.text import choice, clean_name
from inventory.database.tables.shop import Shop
from nester.core.errors import Refusal
from nester.core.lengths import Unit

if TYPE_CHECKING:
    pass
from inventory.database.shop_file import ShopFile
from inventory.database.sqlite import create_shop_file, open_shop_file

__all__ = [
    "PATH_VARIABLE",
    "open_shop",
    "shop_exists",
    "shop_location",
]
PATH_VARIABLE = "QUIREBOX_SHOP"
_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+)://")


def shop_location(given: Path | str | None = None) -> Path | URL:
    """Return where a shop is: as given, else as QUIREBOX_SHOP says, else in the data folder.

    Parameters
    ----------
    given
        A file, or the URL of a PostgreSQL database.

    Raises
    ------
    Refusal
        If a URL can't be read, or is not of a PostgreSQL database.
    """
    said = given or os.environ.get(PATH_VARIABLE)
    if isinstance(said, str) and (scheme := _SCHEME.match(said)):
        if scheme[1].casefold() not in ("postgresql", "postgres"):
            raise Refusal(
                f"a shop is in a file or in a PostgreSQL database, not at {scheme[1]}://; name"
                " the file, or write a URL like postgresql://user@host/database"
            )
        try:
            return make_url(f"postgresql://{said[scheme.end() :]}")
        except (ArgumentError, ValueError):
            raise Refusal(
                "the shop's URL can't be read; write it like postgresql://user@host/database"
            ) from None
    if said:
        return Path(said).absolute()
    from platformdirs import user_data_path

    return user_data_path("quirebox", appauthor=False).absolute() / "shop.sqlite"


def shop_exists() -> bool:
    """Whether something lies at `shop_location`, be it a shop or not."""
    place = shop_location()
    try:
        return isinstance(place, URL) or place.exists()
    except OSError:
        return True  # it can't be looked at; opening it says why


def open_shop(
    place: Path | str | None = None,
    *,
    create: bool = False,
    name: str = "My shop",
    unit: Unit | str = Unit.MM,
    currency: str = "EUR",
) -> ShopFile:
    """Open a shop, bringing older tables up to date.

    Parameters
    ----------
    place
        The file, or the URL of a PostgreSQL database; `shop_location` unless given.
    create
        Make a new shop; `name`, `unit` and `currency` are for this alone.
    unit
        In which the shop writes its lengths.
    currency
        ISO 4217 code of its prices.

    Raises
    ------
    Refusal
        If there is no shop there (or, with `create`, something is there already), it is no shop's
        file, comes from a newer version, or can't be read and written.
    """
    where = shop_location(place)
    begun = None
    if create:
        begun = Shop(
            name=clean_name(name, "the shop's name"), unit=choice(Unit, unit, "the shop's unit"),
            currency=check_currency(currency),
        )  # fmt: skip
    if isinstance(where, URL):
        from inventory.database.postgresql import open_on_server

        return open_on_server(where, begun)
    if begun is not None:
        create_shop_file(where, begun)
    return open_shop_file(where)
