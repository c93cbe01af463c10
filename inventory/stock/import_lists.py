"""Lists of papers, sheets, offcuts and orders, read into the shop's book; one function a list.

Each reads its whole list before it writes anything.  What can't be so is refused by file, line and
field; in the one transaction that the caller gives (`inventory.database.sqlite.ShopFile.begin`)
nothing of the list is stored then.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from functools import cache, partial
from typing import TYPE_CHECKING, Generic, TypeVar

from inventory.core.table_files import check_count, read_date, read_list
from inventory.core.text import (
    clean_name,
    clean_note,
    fold,
    read_pairs,
    shorten,
    whole_number,
)
from inventory.database.sqlite import the_shop
from inventory.database.tables.base import Fibres, Grain, Pattern, Reason
from inventory.orders.custom_designs import find_design
from inventory.orders.orders import add_order, thickness_of_papers
from inventory.stock.condition import read_margins
from inventory.stock.ledger import begin_deed
from inventory.stock.papers import (
    HEAVIEST,
    add_paper,
    find_paper,
    list_papers,
    read_caliper,
    read_swatch,
)
from inventory.stock.receiving import Line, keep_offcuts, receive
from nester.core.errors import Refusal
from nester.core.sheet_sizes import parse_size
from nester.designs import check_roles, read_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.core.table_files import Row
    from inventory.database.tables.base import Order, Paper
    from nester.core.lengths import Unit
    from nester.designs import Design
    from nester.designs.base.clearance import Thickness

__all__ = [
    "import_offcuts",
    "import_orders",
    "import_papers",
    "import_sheets",
    "read_due",
    "read_offcuts",
    "read_sheets",
]

_MOST_OFFCUTS = 1000
"""Each offcut gets a label of its own, so more of them in one line are a slip."""
_IN_DAYS = re.compile(r"in\s+([0-9]{1,4})\s+days?", re.IGNORECASE)
_T = TypeVar("_T")


@dataclass(frozen=True)
class _Deed(Generic[_T]):
    """What a line asks for, read and checked, but not done yet.

    `field` is what to name should doing it be refused all the same.
    """

    row: Row
    field: str
    do: Callable[[], _T]

    def done(self) -> _T:
        return self.row.read(self.field, lambda _: self.do())


def read_due(text: str, today: date) -> date:
    """Read the day something is due: ``2027-03-14`` (ISO 8601) or ``in 5 days``.

    Parameters
    ----------
    today
        The day from which days are counted.

    Raises
    ------
    Refusal
        If it is neither.
    """
    days = _IN_DAYS.fullmatch(text.strip())
    try:
        return today + timedelta(int(days[1])) if days else read_date(text)
    except (Refusal, OverflowError):
        wrong = f"'{shorten(text)}' is not a day" if text.strip() else "a day is missing"
        raise Refusal(f"{wrong}; write it like 2027-03-14 or in 5 days") from None


# --- papers ------------------------------------------------------------------------------------


def import_papers(session: Session, path: Path) -> int:
    """Add the papers of a list to the book.

    Parameters
    ----------
    path
        Columns name, colour, finish (may be empty), grammage (g/m²); optional swatch
        (``#rrggbb``), pattern (plain, patterned or directional), grain (unknown, long or short),
        caliper (its thickness: ``0.3mm``, ``300um``, ``0.012in``), note.

    Returns
    -------
    int
        How many papers were added.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(
        path,
        ("name", "colour", "finish", "grammage"),
        ("swatch", "pattern", "grain", "caliper", "note"),
    )
    taken = {paper.name_key: "is in the book already" for paper in list_papers(session)}
    deeds = []
    for row in rows:
        deeds.append(_paper(session, row))
        key = fold(row.name("name"))
        if key in taken:
            row.refuse("name", f"'{shorten(row.text('name'))}' {taken[key]}; names must differ")
        taken[key] = f"stands in line {row.line} already"
    return len(_do(deeds))


def _paper(session: Session, row: Row) -> _Deed[Paper]:
    add = partial(
        add_paper,
        session,
        row.name("name"),
        colour=row.name("colour"),
        finish=_name_or_none(row, "finish") or "",
        grammage=row.read("grammage", _grammage),
        swatch=row.read("swatch", read_swatch),
        pattern=row.choice("pattern", list(Pattern), Pattern.PLAIN),
        grain=row.choice("grain", list(Grain), Grain.UNKNOWN),
        caliper=row.read("caliper", read_caliper),
        note=row.read("note", clean_note),
    )
    return _Deed(row, "name", add)


def _grammage(text: str) -> int:
    return whole_number(check_count(text), "the paper's g/m²", least=1, most=HEAVIEST)


# --- sheets and offcuts ------------------------------------------------------------------------


def read_sheets(session: Session, path: Path, unit: Unit) -> list[Line]:
    """Return the sheets of a list, checked, to be shown before they are received.

    Parameters
    ----------
    path
        Columns paper, size (see `nester.core.sheet_sizes.parse_size`), quantity; optional price (of
        one), place, note, lot, margin (see `inventory.stock.condition.read_margins`).
    unit
        The unit of bare numbers.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(
        path, ("paper", "size", "quantity"), ("price", "place", "note", "lot", "margin")
    )
    reader = _LineReader(session, unit)
    return [reader.read(row, row.count("quantity"), "quantity") for row in rows]


def import_sheets(
    session: Session, path: Path, unit: Unit, *, reason: Reason = Reason.RECEIVED
) -> int:
    """Put the sheets of a list into the stash; see `read_sheets` for its columns.

    Parameters
    ----------
    reason
        `Reason.RECEIVED`, or `Reason.OPENING` for what was there when the book was begun.

    Returns
    -------
    int
        How many sheets were put there.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    lines = read_sheets(session, path, unit)
    receive(session, lines, reason=reason)
    return sum(line.quantity for line in lines)


def read_offcuts(session: Session, path: Path, unit: Unit) -> list[Line]:
    """Return the offcuts of a list, checked, to be shown before they are put away.

    Parameters
    ----------
    path
        Columns paper, size (see `nester.core.sheet_sizes.parse_size`); optional place, note, price
        (of one), quantity (1, unless given), lot, margin (see
        `inventory.stock.condition.read_margins`), grain (unknown, width or height).
    unit
        The unit of bare numbers.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(
        path,
        ("paper", "size"),
        ("place", "note", "price", "quantity", "lot", "margin", "grain"),
    )
    reader = _LineReader(session, unit)
    return [reader.read(row, row.read("quantity", _how_many_offcuts), "paper") for row in rows]


def import_offcuts(
    session: Session, path: Path, unit: Unit, *, reason: Reason = Reason.KEPT
) -> int:
    """Put the offcuts of a list into the stash, each under a label of its own.

    Parameters
    ----------
    path
        See `read_offcuts` for its columns.
    reason
        `Reason.KEPT`, or `Reason.OPENING` for what was there when the book was begun.

    Returns
    -------
    int
        How many offcuts were put there.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    lines = read_offcuts(session, path, unit)
    keep_offcuts(session, begin_deed(session, reason), lines, reason=reason)
    return sum(line.quantity for line in lines)


def _how_many_offcuts(text: str) -> int:
    number = check_count(text) if text else 1
    return whole_number(number, "the number of offcuts", least=1, most=_MOST_OFFCUTS)


class _LineReader:
    """Reads what a line says of sheets and offcuts alike; the same word is looked up once."""

    def __init__(self, session: Session, unit: Unit) -> None:
        self._paper = cache(partial(_paper_named, session))
        self._size = cache(partial(parse_size, unit=unit))
        self._margins = cache(partial(read_margins, unit=unit))

    def read(self, row: Row, quantity: int, field: str) -> Line:
        """Return a line; `field` is what to name should booking it be refused all the same."""
        return Line(
            paper=row.read("paper", self._paper),
            size=row.read("size", self._size),
            quantity=quantity,
            price=row.money("price") if row.text("price") else None,
            place=_name_or_none(row, "place"),
            note=row.read("note", clean_note),
            lot=_name_or_none(row, "lot") or "",
            where=f"{row.file}, line {row.line}, {field}: ",
            margins=row.read("margin", self._margins),
            grain=Fibres(row.choice("grain", list(Fibres), Fibres.UNKNOWN)),
        )


# --- orders ------------------------------------------------------------------------------------


def import_orders(session: Session, path: Path, today: date) -> tuple[int, list[str]]:
    """Take the orders of a list; bare numbers are in the shop's unit, as in any order.

    Parameters
    ----------
    path
        Columns customer, design, copies, due (see `read_due`), sizes (``panel=18cm; tiers=4``;
        may be empty), papers (``tier=Coal card; mat=Moss linen``).
    today
        The day from which days are counted.

    Returns
    -------
    int
        How many orders were taken.
    list of str
        What the maker should know, by file and line.

    Raises
    ------
    Refusal
        One sentence with file, line and field.
    """
    rows = read_list(path, ("customer", "design", "copies", "due", "sizes", "papers"))
    unit = the_shop(session).unit
    deeds = [_order(session, row, unit, today) for row in rows]
    warnings = [
        f"{deed.row.file}, line {deed.row.line}: {warning}"
        for deed, (_, of_order) in zip(deeds, _do(deeds), strict=True)
        for warning in of_order
    ]
    return len(deeds), warnings


def _order(session: Session, row: Row, unit: Unit, today: date) -> _Deed[tuple[Order, list[str]]]:
    design = row.read("design", lambda name: find_design(session, name))
    papers = row.read("papers", lambda text: _papers(text, design, session))
    thickness = thickness_of_papers(session, papers)
    add = partial(
        add_order,
        session,
        row.name("customer"),
        design.name,
        row.read("sizes", lambda text: _sizes(text, design, unit, thickness)),
        papers,
        row.count("copies"),
        row.read("due", lambda text: read_due(text, today)),
        today,
    )
    # Whether each piece has a paper, and all fits in it, is what is left to see.
    return _Deed(row, "papers", add)


def _sizes(text: str, design: Design, unit: Unit, thickness: Thickness) -> dict[str, str]:
    sizes = _pairs(text, "a size", "panel=18cm; tiers=4")
    read_settings(design, sizes, unit, thickness)
    return sizes


def _papers(text: str, design: Design, session: Session) -> dict[str, str]:
    papers = _pairs(text, "a paper", "tier=Coal card; mat=Moss linen")
    check_roles(design, papers)
    return {role: _paper_named(session, name) for role, name in papers.items()}


def _pairs(text: str, what: str, example: str) -> dict[str, str]:
    """Read ``name=value; name=value``; a value may hold anything but a semicolon."""
    return read_pairs(
        filter(None, map(str.strip, text.split(";"))),
        unclear=f" does not say {what}; write it like {example}",
    )


# --- for all of them ---------------------------------------------------------------------------


def _paper_named(session: Session, name: str) -> str:
    return find_paper(session, clean_name(name, "the paper")).name


def _name_or_none(row: Row, field: str) -> str | None:
    return row.name(field) if row.text(field) else None


def _do(deeds: Iterable[_Deed[_T]]) -> list[_T]:
    return [deed.done() for deed in deeds]
