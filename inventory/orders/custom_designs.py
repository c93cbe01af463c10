"""Designs: those that come with Quirebox, and the maker's own, which the shop's book keeps."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.text import did_you_mean, fold, shorten
from inventory.database.tables.enums import OrderStatus
from inventory.database.tables.orders import CustomDesign, Order
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from sqlalchemy.orm import Session

    from nester.designs import (
        Design,
    )

__all__ = [
    "add_custom_design",
    "built_in_design",
    "find_design",
    "get_custom_design",
    "list_custom_designs",
    "read_design_file",
    "remove_custom_design",
    "text_of_design",
]

_FINISHED_STATUSES = (OrderStatus.DELIVERED, OrderStatus.CANCELLED)


def read_design_file(path: Path) -> str:
    """Return the text of a design's file.

    Raises
    ------
    Refusal
        If it can't be read, is too large or no UTF-8.
    """
    from nester.designs.custom.reader import MAX_FILE_SIZE, decode_custom_design

    try:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_SIZE + 1)
    except FileNotFoundError:
        raise Refusal(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise Refusal(f"{path}: this is a folder, not a design's file") from None
    except OSError as why:
        raise Refusal(f"{path}: it can't be read ({why.strerror or why})") from None
    return decode_custom_design(data, str(path))


def add_custom_design(session: Session, text: str, file: str) -> CustomDesign:
    """Keep a design of the maker's own under the name it gives itself.

    Parameters
    ----------
    text
        Its file (see `nester.designs.custom.reader.starter_text`).
    file
        What to call the file in a refusal.

    Raises
    ------
    Refusal
        If it can't be made, or a design has that name already.
    """
    from nester.designs.custom.reader import read_custom_design

    design = read_custom_design(text, file)
    if _find_custom_design(session, design.name) is not None:
        raise Refusal(
            f"{file}, name: there is a design '{design.name}' already; give the new one another"
            f" name, or remove the old one first"
        )
    row = CustomDesign(name=design.name, text=text, added_at=datetime.now(UTC))
    session.add(row)
    session.flush()
    return row


def list_custom_designs(session: Session) -> list[CustomDesign]:
    """Return the maker's own designs by name."""
    return list(session.scalars(select(CustomDesign).order_by(CustomDesign.name_key)))


def get_custom_design(session: Session, name: str) -> CustomDesign:
    """Return the maker's own design of that name, in capitals or not.

    Raises
    ------
    Refusal
        If there is none.
    """
    row = _find_custom_design(session, name)
    if row is None:
        known = [one.name for one in list_custom_designs(session)]
        hint = did_you_mean(name, known) or _known_names(known)
        raise Refusal(f"the shop keeps no design of its own '{shorten(name)}'{hint}")
    return row


def remove_custom_design(session: Session, name: str) -> None:
    """Forget a design of the maker's own.

    Raises
    ------
    Refusal
        If there is none of that name, or an order that is not delivered or cancelled is of it.
    """
    row = get_custom_design(session, name)
    orders = session.scalars(
        select(Order.id)
        .where(Order.design == row.name, Order.status.not_in(_FINISHED_STATUSES))
        .order_by(Order.id)
    ).all()
    if orders:
        which = ", ".join(map(str, orders[:10])) + (" …" if len(orders) > 10 else "")
        raise Refusal(
            f"the design '{row.name}' is used by order{'s' * (len(orders) > 1)} {which};"
            " deliver or cancel that first"
        )
    session.delete(row)
    session.flush()


def find_design(session: Session, name: str) -> Design:
    """Return the design of that name, a built-in one or the maker's own.

    Raises
    ------
    Refusal
        If there is none; it says which there are.
    """
    from nester.designs import DESIGNS
    from nester.designs.custom.reader import read_custom_design

    design = DESIGNS.get(fold(name))
    if design is not None:
        return design
    row = _find_custom_design(session, name)
    if row is None:
        raise _unknown(name, [*DESIGNS, *(one.name for one in list_custom_designs(session))])
    return read_custom_design(row.text, f"the design '{row.name}' in the shop")


def text_of_design(session: Session, name: str) -> str | None:
    """Return the text of a design of the maker's own; None for a built-in one."""
    from nester.designs import DESIGNS

    row = None if fold(name) in DESIGNS else _find_custom_design(session, name)
    return row.text if row is not None else None


def built_in_design(name: str) -> Design:
    """Return the built-in design of that name, where there is no shop at hand.

    Raises
    ------
    Refusal
        If there is none; it says which there are.
    """
    from nester.designs import DESIGNS

    design = DESIGNS.get(fold(name))
    if design is None:
        raise _unknown(name, list(DESIGNS))
    return design


def _find_custom_design(session: Session, name: str) -> CustomDesign | None:
    return session.scalar(select(CustomDesign).where(CustomDesign.name_key == fold(name)))


def _unknown(name: str, known: Iterable[str]) -> Refusal:
    hint = did_you_mean(name, known) or _known_names(known)
    return Refusal(f"there is no design '{shorten(name)}'{hint}")


def _known_names(known: Iterable[str]) -> str:
    names = ", ".join(known)
    return f"; there are {names}" if names else "; none was added yet"
