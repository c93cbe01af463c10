"""Orders read from lists."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from inventory.core.days import read_due
from inventory.core.table_files import read_list
from inventory.core.text import read_pairs
from inventory.orders.custom_designs import find_design
from inventory.orders.orders import add_order, thickness_of_papers
from inventory.shop.settings import get_shop
from nester.designs.base.design import read_settings
from nester.designs.base.roles import check_roles

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.core.table_files import TableRow
    from inventory.database.tables.orders import Order
    from nester.core.lengths import Unit
    from nester.designs.base.clearance import Thickness
    from nester.designs.base.design import Design
from inventory.core.table_files import CheckedLine, apply_lines
from inventory.stock.import_lists import paper_named

__all__ = ["import_orders"]


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
    unit = get_shop(session).unit
    checked = [_order(session, row, unit, today) for row in rows]
    warnings = [
        f"{order.row.file}, line {order.row.line}: {warning}"
        for order, (_, of_order) in zip(checked, apply_lines(checked), strict=True)
        for warning in of_order
    ]
    return len(checked), warnings


def _order(
    session: Session, row: TableRow, unit: Unit, today: date
) -> CheckedLine[tuple[Order, list[str]]]:
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
    return CheckedLine(row, "papers", add)


def _sizes(text: str, design: Design, unit: Unit, thickness: Thickness) -> dict[str, str]:
    sizes = _pairs(text, "a size", "panel=18cm; tiers=4")
    read_settings(design, sizes, unit, thickness)
    return sizes


def _papers(text: str, design: Design, session: Session) -> dict[str, str]:
    papers = _pairs(text, "a paper", "tier=Coal card; mat=Moss linen")
    check_roles(design, papers)
    return {role: paper_named(session, name) for role, name in papers.items()}


def _pairs(text: str, what: str, example: str) -> dict[str, str]:
    """Read ``name=value; name=value``; a value may hold anything but a semicolon."""
    return read_pairs(
        filter(None, map(str.strip, text.split(";"))),
        unclear=f" does not say {what}; write it like {example}",
    )
