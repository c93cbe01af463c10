"""Papers: what the shop's book says of each material; one function for each change."""

from __future__ import annotations

import re
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from sqlalchemy import delete, select
from sqlalchemy.orm import aliased

from inventory.core.limits import MAX_CALIPER, MAX_GRAMMAGE, MIN_CALIPER
from inventory.core.text import choice, clean_name, clean_note, fold, shorten, whole_number
from inventory.database.tables.enums import Grain, Pattern
from inventory.database.tables.production import PaperChange
from inventory.database.tables.stock import Paper, Substitute
from inventory.stock.ledger import reversed_transactions
from inventory.stock.lookup import find_named
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_INCH, UNITS_PER_MM, Length, Unit, format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

__all__ = [
    "add_paper",
    "check_caliper",
    "check_grammage",
    "check_name_is_free",
    "current_names",
    "find_paper",
    "list_papers",
    "pounds",
    "read_caliper",
    "read_swatch",
    "read_weight",
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
        grammage=check_grammage(grammage),
        pattern=choice(Pattern, pattern, "the paper's pattern"),
        grain=choice(Grain, grain, "the paper's grain"),
        caliper=check_caliper(caliper),
        note=clean_note(note),
    )
    check_name_is_free(session, paper.name)
    session.add(paper)
    session.flush()
    return paper


def check_name_is_free(session: Session, name: str, paper: Paper | None = None) -> None:
    """Refuse a name that a paper has already, other than the one given."""
    taken = session.scalar(select(Paper).where(Paper.name_key == fold(name)))
    if taken is not None and taken is not paper:
        raise Refusal(f"there is a paper '{taken.name}' already; give this one another name")


def check_grammage(grammage: int) -> int:
    """Return a weight in g/m²; refuse what no paper weighs."""
    return whole_number(grammage, "the paper's g/m²", least=1, most=MAX_GRAMMAGE)


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


_WEIGHT = re.compile(r"([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*([^\d\s]*)\s*(.*)")
_METRIC = ("", "g", "gsm", "g/m²", "g/m2")
_BASIS_SIZES = {
    "bond": (Fraction(17), Fraction(22)),
    "text": (Fraction(25), Fraction(38)),
    "cover": (Fraction(20), Fraction(26)),
    "bristol": (Fraction(45, 2), Fraction(57, 2)),
    "index": (Fraction(51, 2), Fraction(61, 2)),
    "tag": (Fraction(24), Fraction(36)),
}
"""Inches of the sheets of which 500 weigh what the paper is named by.

Bond, text (offset), cover, tag and index are as a paper merchant's table has them
(https://mcgpaper.com/pages/how-to-make-paper-weights-and-conversion-tables); bristol is from
memory.  ``tests/published/test_paper_weights.py`` holds all against published weights."""
_GRADES = {
    **{name: name for name in _BASIS_SIZES},
    "writing": "bond", "ledger": "bond", "book": "text", "offset": "text",
}  # fmt: skip
_GRAMS_PER_POUND = Fraction("453.59237")
_SQUARE_METRES_PER_SQUARE_INCH = Fraction("0.0254") ** 2


def read_weight(text: str) -> int:
    """Return a paper's weight in g/m² from ``300``, ``300 g/m²``, ``65 lb cover`` or ``80# text``.

    A weight in pounds is that of a ream of 500 sheets in the basis size of its grade, so it says
    nothing without the grade.  It is converted exactly and rounded to whole g/m².

    Raises
    ------
    Refusal
        If it can't be read, the grade is missing or unknown, or no paper weighs so much.
    """
    if not text.strip():
        raise Refusal("the weight is missing")
    match = _WEIGHT.fullmatch(text.strip())
    unit = match[2].casefold().rstrip(".") if match else None
    if match is None or unit not in (*_METRIC, "lb", "lbs", "#"):
        raise Refusal(
            f"the weight '{shorten(text)}' is none; write it like 300, 300 g/m² or 65 lb cover"
        )
    number = Fraction(match[1].replace(",", "."))
    grade = match[3].casefold().strip()
    if unit in _METRIC:
        if grade or number.denominator != 1:
            raise Refusal(f"the weight '{shorten(text)}' is no whole number of g/m²")
        return check_grammage(int(number))
    basis = _GRADES.get(grade.removesuffix(" stock"))
    if basis is None:
        wrong = "has an unknown grade" if grade else "has no grade"
        raise Refusal(
            f"the weight '{shorten(text)}' {wrong};"
            f" pounds differ from grade to grade: add {', '.join(_GRADES)}"
        )
    return check_grammage(round(number * _grams_per_pound(basis)))


def _grams_per_pound(basis: str) -> Fraction:
    """Return the g/m² of a paper of which 500 sheets in the basis size weigh one pound."""
    width, height = _BASIS_SIZES[basis]
    return _GRAMS_PER_POUND / (500 * width * height * _SQUARE_METRES_PER_SQUARE_INCH)


def pounds(grammage: int) -> str:
    """Return a weight as the US trade names it: light papers as text, the others as cover."""
    basis = "cover" if grammage >= _LEAST_OF_COVER else "text"
    return f"{round(grammage / _grams_per_pound(basis))} lb {basis}"


_LEAST_OF_COVER = 150
"""g/m² (common practice, no source)."""

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
    return check_caliper(ceil(Fraction(match[1].replace(",", ".")) * unit))


def check_caliper(caliper: Length | None) -> Length | None:
    """Return a thickness in fine units, or None if it is not known; refuse what no paper has."""
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


def current_names(session: Session) -> dict[str, str]:
    """Return what papers are called now that had another name, by that name.

    A former name that another paper has meanwhile is left out.
    """
    former: dict[int, set[str]] = {}
    changes = select(PaperChange).where(PaperChange.transaction_id.not_in(reversed_transactions()))
    for change in session.scalars(changes.order_by(PaperChange.id)):
        if "name" in change.after:
            former.setdefault(change.paper_id, set()).update(
                (change.before["name"], change.after["name"])
            )
    taken = {paper.name for paper in list_papers(session)}
    return {
        old: session.get_one(Paper, number).name
        for number, names in former.items()
        for old in sorted(names - taken)
    }
