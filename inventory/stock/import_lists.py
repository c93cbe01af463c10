"""Lists of papers, sheets, offcuts and orders, read into the shop's book; one function a list.

Each reads its whole list before it writes anything.  What can't be so is refused by file, line and
field; in the one transaction that the caller gives (`inventory.database.sqlite.ShopFile.begin`)
nothing of the list is stored then.
"""

from __future__ import annotations

from functools import cache, partial
from typing import TYPE_CHECKING

from inventory.core.table_files import CheckedLine, apply_lines, check_count, read_list
from inventory.core.text import clean_name, clean_note, fold, shorten
from inventory.database.tables.enums import Grain, GrainAxis, Pattern, Reason
from inventory.stock.condition import read_margins
from inventory.stock.ledger import book_transaction
from inventory.stock.papers import (
    add_paper,
    find_paper,
    list_papers,
    read_caliper,
    read_swatch,
    read_weight,
)
from inventory.stock.receiving import ReceiptLine, put_away_offcuts, receive_goods
from nester.core.sheet_sizes import parse_size

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.core.table_files import TableRow
    from inventory.database.tables.stock import Paper
    from nester.core.lengths import Unit

__all__ = [
    "import_offcuts",
    "import_papers",
    "import_sheets",
    "paper_named",
    "read_offcuts",
    "read_sheets",
]

# --- papers ------------------------------------------------------------------------------------


def import_papers(session: Session, path: Path) -> int:
    """Add the papers of a list to the book.

    Parameters
    ----------
    path
        Columns name, colour, finish (may be empty), grammage (see `read_weight`); optional swatch
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
    taken = {paper.name_key: "is in the shop already" for paper in list_papers(session)}
    checked = []
    for row in rows:
        checked.append(_paper(session, row))
        key = fold(row.name("name"))
        if key in taken:
            row.refuse("name", f"'{shorten(row.text('name'))}' {taken[key]}; names must differ")
        taken[key] = f"stands in line {row.line} already"
    return len(apply_lines(checked))


def _paper(session: Session, row: TableRow) -> CheckedLine[Paper]:
    add = partial(
        add_paper,
        session,
        row.name("name"),
        colour=row.name("colour"),
        finish=_name_or_none(row, "finish") or "",
        grammage=row.read("grammage", read_weight),
        swatch=row.read("swatch", read_swatch),
        pattern=row.choice("pattern", list(Pattern), Pattern.PLAIN),
        grain=row.choice("grain", list(Grain), Grain.UNKNOWN),
        caliper=row.read("caliper", read_caliper),
        note=row.read("note", clean_note),
    )
    return CheckedLine(row, "name", add)


# --- sheets and offcuts ------------------------------------------------------------------------


def read_sheets(session: Session, path: Path, unit: Unit) -> list[ReceiptLine]:
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
    receive_goods(session, lines, reason=reason)
    return sum(line.quantity for line in lines)


def read_offcuts(session: Session, path: Path, unit: Unit) -> list[ReceiptLine]:
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
    return [reader.read(row, row.read("quantity", _read_offcut_count), "paper") for row in rows]


def import_offcuts(
    session: Session, path: Path, unit: Unit, *, reason: Reason = Reason.KEPT
) -> int:
    """Put the offcuts of a list into the stash, those of a line under a label of their own.

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
    put_away_offcuts(session, book_transaction(session, reason), lines, reason=reason)
    return sum(line.quantity for line in lines)


def _read_offcut_count(text: str) -> int:
    return check_count(text) if text else 1


class _LineReader:
    """Reads what a line says of sheets and offcuts alike; the same word is looked up once."""

    def __init__(self, session: Session, unit: Unit) -> None:
        self._paper = cache(partial(paper_named, session))
        self._size = cache(partial(parse_size, unit=unit))
        self._margins = cache(partial(read_margins, unit=unit))

    def read(self, row: TableRow, quantity: int, field: str) -> ReceiptLine:
        """Return a line; `field` is what to name should booking it be refused all the same."""
        return ReceiptLine(
            paper=row.read("paper", self._paper),
            size=row.read("size", self._size),
            quantity=quantity,
            price=row.money("price") if row.text("price") else None,
            place=_name_or_none(row, "place"),
            note=row.read("note", clean_note),
            lot=_name_or_none(row, "lot") or "",
            source=f"{row.file}, line {row.line}, {field}: ",
            margins=row.read("margin", self._margins),
            grain=GrainAxis(row.choice("grain", list(GrainAxis), GrainAxis.UNKNOWN)),
        )


# --- orders ------------------------------------------------------------------------------------


# --- for all of them ---------------------------------------------------------------------------


def paper_named(session: Session, name: str) -> str:
    """Return the name of a paper as the shop writes it."""
    return find_paper(session, clean_name(name, "the paper")).name


def _name_or_none(row: TableRow, field: str) -> str | None:
    return row.name(field) if row.text(field) else None
