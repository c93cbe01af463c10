"""Papers: what the shop's book says of each material; one function for each change."""

from __future__ import annotations

import re
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from sqlalchemy import delete, select
from sqlalchemy.orm import aliased

from inventory.core.limits import MAX_CALIPER, MAX_GRAMMAGE, MIN_CALIPER
from inventory.core.text import choice, clean_name, clean_note, shorten, whole_number
from inventory.database.tables.enums import Grain, Pattern
from inventory.database.tables.stock import Paper, Substitute
from inventory.stock.lookup import find_named
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_INCH, UNITS_PER_MM, Length, Unit, format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

__all__ = [
    "add_paper",
    "find_paper",
    "list_papers",
    "read_caliper",
    "read_swatch",
    "set_grain",
    "set_paper_note",
    "set_substitutes",
    "substitutes",
]


def add_paper(
    session: Session,
    name: str,
    *,
    colour: str,
    grammage: int,
    finish: str = "",
    swatch: str | None = None,
    pattern: Pattern | str = Pattern.PLAIN,
    grain: Grain | str = Grain.UNKNOWN,
    caliper: Length | None = None,
    note: str = "",
) -> Paper:
    """Add a paper to the book.

    Parameters
    ----------
    name
        No other paper may have it, in capitals or not.
    grammage
        g/m², 1 to 2000.
    swatch
        Its colour as ``#rrggbb``, to find and draw it by.
    caliper
        Its thickness in fine units, if it is known (see `read_caliper`); at most `MAX_CALIPER`.
    note
        How it behaves on the table.

    Raises
    ------
    Refusal
        If the name is taken or something can't be so.
    """
    paper = Paper(
        name=clean_name(name, "the paper's name"),
        colour=clean_name(colour, "the paper's colour"),
        swatch=read_swatch(swatch),
        finish=clean_name(finish, "the paper's finish") if finish.strip() else "",
        grammage=whole_number(grammage, "the paper's g/m²", least=1, most=MAX_GRAMMAGE),
        pattern=choice(Pattern, pattern, "the paper's pattern"),
        grain=choice(Grain, grain, "the paper's grain"),
        caliper=_check_caliper(caliper),
        note=clean_note(note),
    )
    taken = session.scalar(select(Paper.name).where(Paper.name_key == paper.name_key))
    if taken is not None:
        raise Refusal(f"there is a paper '{taken}' already; give the new one another name")
    session.add(paper)
    session.flush()
    return paper


def set_paper_note(session: Session, name: str, note: str) -> Paper:
    """Write down how a paper behaves on the table, in place of what was written before.

    Raises
    ------
    Refusal
        If there is no such paper, or the note can't be so.
    """
    paper = find_paper(session, name)
    paper.note = clean_note(note)
    session.flush()
    return paper


def set_grain(session: Session, name: str, grain: Grain | str) -> Paper:
    """Write down along which side of its sheets a paper's grain runs.

    Raises
    ------
    Refusal
        If there is no such paper or side.
    """
    paper = find_paper(session, name)
    paper.grain = choice(Grain, grain, "the paper's grain")
    session.flush()
    return paper


def set_substitutes(session: Session, name: str, instead: Sequence[str]) -> list[Paper]:
    """Say which papers may stand in for one, the best first, in place of what was said before.

    Parameters
    ----------
    instead
        The names of other papers; none if nothing may.

    Raises
    ------
    Refusal
        If there is no such paper, one is named twice, or a paper is to stand in for itself.
    """
    paper = find_paper(session, name)
    others = [find_paper(session, name) for name in instead]
    for number, other in enumerate(others):
        if other.id == paper.id:
            raise Refusal(f"{paper.name} can't stand in for itself")
        if other in others[:number]:
            raise Refusal(f"{other.name} is named twice; name each paper once, the best first")
    session.execute(delete(Substitute).where(Substitute.paper_id == paper.id))
    for rank, other in enumerate(others, start=1):
        session.add(Substitute(paper_id=paper.id, instead_id=other.id, rank=rank))
    session.flush()
    return others


def substitutes(session: Session) -> dict[str, list[str]]:
    """Return the names of the papers that may stand in for each, the best first, by its name."""
    wanted, other = aliased(Paper), aliased(Paper)
    rows = session.execute(
        select(wanted.name, other.name)
        .join(Substitute, Substitute.paper_id == wanted.id)
        .join(other, Substitute.instead_id == other.id)
        .order_by(wanted.name_key, Substitute.rank)
    )
    instead: dict[str, list[str]] = {}
    for name, its in rows:
        instead.setdefault(name, []).append(its)
    return instead


def read_swatch(text: str | None) -> str | None:
    """Return a colour as ``#rrggbb``, or None for nothing.

    Raises
    ------
    Refusal
        If it is not six hex digits.
    """
    if text is None or not text.strip():
        return None
    written = text.strip().lower()
    if not re.fullmatch(r"#?[0-9a-f]{6}", written):
        raise Refusal(
            f"the swatch '{shorten(text)}' is not a colour; write it in six hex digits,"
            " like #1a2b3c"
        )
    return f"#{written.removeprefix('#')}"


_CALIPER = re.compile(r"([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*([^\W\d]*)")
_CALIPER_UNITS = {
    "mm": Fraction(UNITS_PER_MM),
    **dict.fromkeys(("um", "µm", "μm"), Fraction(UNITS_PER_MM, 1000)),
    **dict.fromkeys(("mil", "mils", "pt"), Fraction(UNITS_PER_INCH, 1000)),
    "in": Fraction(UNITS_PER_INCH),
}
"""Fine units in each. A mil, or a point of board, is a thousandth of an inch (common practice, no
source)."""


def read_caliper(text: str | None) -> Length | None:
    """Return a paper's thickness from ``0.3mm``, ``300 µm``, ``12pt`` or ``0.012in``.

    A unit is needed: what is printed on a pack may be in any of them.  A thousandth of an inch is
    no whole number of fine units, so a thickness is rounded up to one.

    Returns
    -------
    Length or None
        None for nothing.

    Raises
    ------
    Refusal
        If it can't be read, or no paper is so thick or thin.
    """
    if text is None or not text.strip():
        return None
    match = _CALIPER.fullmatch(text.strip())
    unit = _CALIPER_UNITS.get(match[2].casefold()) if match else None
    if match is None or unit is None:
        wrong = "has no unit" if match and not match[2] else "is no thickness"
        raise Refusal(
            f"the thickness '{shorten(text)}' {wrong}; write it like 0.3mm, 300um, 12pt or 0.012in"
        )
    return _check_caliper(ceil(Fraction(match[1].replace(",", ".")) * unit))


def _check_caliper(caliper: Length | None) -> Length | None:
    if caliper is not None and not MIN_CALIPER <= caliper <= MAX_CALIPER:
        raise Refusal(
            f"the paper's thickness must be {format_length(MIN_CALIPER, Unit.MM)} to"
            f" {format_length(MAX_CALIPER, Unit.MM)}, not {format_length(caliper, Unit.MM)}"
        )
    return caliper


def list_papers(session: Session) -> list[Paper]:
    """Return all papers by name."""
    return list(session.scalars(select(Paper).order_by(Paper.name_key)))


def find_paper(session: Session, name: str) -> Paper:
    """Return the paper of that name, in capitals or not.

    Raises
    ------
    Refusal
        If there is none; names much like it are offered.
    """
    return find_named(session, Paper, name)
