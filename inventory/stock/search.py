"""Finding paper: by colour, finish, weight, size, place and age; and offcuts for a piece."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Required, TypedDict, Unpack

from sqlalchemy import case, exists, func, literal, select

from inventory.core.text import fold, shorten
from inventory.database.tables.enums import Pattern, StockKind
from inventory.database.tables.ledger import Movement
from inventory.database.tables.stock import Paper, Stock
from inventory.stock.condition import fits_on
from inventory.stock.listing import (
    StashRow,
    damaged_sheets,
    fits_between_margins,
    query_page,
    stash_query,
)
from inventory.stock.papers import find_paper, list_papers
from inventory.stock.places import PlaceTree
from inventory.stock.reservations import reserved_quantities
from nester.core.errors import Refusal
from nester.core.piece import Turn
from nester.core.problem import StockItem as Sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from nester.core.lengths import Length

__all__ = [
    "FoundRow",
    "OffcutForPiece",
    "find_page",
    "nearest_papers",
    "offcuts_for",
    "read_colour",
    "read_weight",
]

SIMILAR_COLOUR_DISTANCE = 10.0
"""CIEDE2000: colours further apart than this are not the same colour to a maker (common practice,
no source)."""


@dataclass(frozen=True)
class FoundRow:
    """What was found.

    Attributes
    ----------
    distance
        CIEDE2000 from the colour that was looked for; None if none was, or it was found by name.
    in_stock_since
        When it first came into the stash.
    reserved
        How many of it open batches will take.
    """

    row: StashRow
    grammage: int
    distance: float | None
    in_stock_since: datetime
    reserved: int


def read_weight(text: str | None) -> tuple[int, int] | None:
    """Read a weight in g/m², or from which to which: ``300``, ``250-320``; None if none is given.

    Raises
    ------
    Refusal
        If it is no whole number.
    """
    if text is None:
        return None
    from inventory.core.table_files import check_count

    least, dash, most = text.partition("-")
    return check_count(least), check_count(most if dash else least)


def read_colour(text: str) -> str | None:
    """Return a colour as ``#rrggbb`` from six hex digits or a name of CSS; None if it is neither.

    The names are those of CSS Color 4 (https://www.w3.org/TR/css-color-4/#named-colors).
    """
    written = fold(text).replace(" ", "")
    if re.fullmatch(r"#?[0-9a-f]{6}", written):
        return f"#{written.removeprefix('#')}"
    from coloraide import Color

    if not re.fullmatch(r"[a-z]+", written):
        return None
    try:
        return str(Color(written).convert("srgb").to_string(hex=True))[:7]
    except ValueError:
        return None


@cache
def _distance(one: str, other: str) -> float:
    from coloraide import Color

    return float(Color(one).delta_e(other, method="2000"))


def nearest_papers(session: Session, colour: str) -> list[tuple[float, Paper]]:
    """Return the papers with a swatch, the one nearest in colour first, each with its CIEDE2000.

    Raises
    ------
    Refusal
        If the colour is neither six hex digits nor a name of CSS.
    """
    wanted = read_colour(colour)
    if wanted is None:
        raise Refusal(
            f"'{shorten(colour)}' is not the colour of a paper here, nor one that can be compared;"
            " write a part of a paper's colour, a name such as darkgreen, or six hex digits like"
            " #1a2b3c"
        )
    found = [
        (_distance(wanted, paper.swatch), paper)
        for paper in list_papers(session)
        if paper.swatch is not None
    ]
    return sorted(found, key=lambda pair: (pair[0], pair[1].name_key))


class StashSearch(TypedDict, total=False):
    """What paper is looked for; what is left out, or None, does not matter.

    Attributes
    ----------
    now
        The moment of looking.
    colour
        A part of a paper's colour or name; if none has it, a colour (see `read_colour`), and
        papers at most `near` from it by CIEDE2000 are found.
    weight
        The least and the most g/m².
    at_least
        Width and height in fine units, laid either way round.
    older_than
        Only what came that long before `now`.
    """

    now: Required[datetime]
    colour: str | None
    near: float
    finish: str | None
    weight: tuple[int, int] | None
    at_least: tuple[Length, Length] | None
    place: str | None
    kind: StockKind | str | None
    older_than: timedelta | None


def find_page(
    session: Session, most: int | None, **sought: Unpack[StashSearch]
) -> tuple[list[FoundRow], int]:
    """Return the first rows of the stash that fit all that is asked, and how many there are.

    Parameters
    ----------
    most
        How many rows; None for all.

    Returns
    -------
    list of FoundRow, int
        By nearness of colour if that was compared; of each paper the smallest that fits first.

    Raises
    ------
    Refusal
        If there is no such place, or the colour can't be understood.
    """
    weight, older_than = sought.get("weight"), sought.get("older_than")
    papers = {paper.name: paper for paper in list_papers(session)}
    distances = {
        name: far
        for name, far in _by_colour(
            session, papers, sought.get("colour"), sought.get("near", SIMILAR_COLOUR_DISTANCE)
        ).items()
        if weight is None or weight[0] <= papers[name].grammage <= weight[1]
    }
    nearest = sorted(distances, key=lambda name: (distances[name] or 0.0, papers[name].name_key))
    ids = [papers[name].id for name in nearest]
    query = stash_query(
        session,
        {
            "finish": sought.get("finish"),
            "at_least": sought.get("at_least"),
            "place": sought.get("place"),
            "kind": sought.get("kind"),
        },
    )
    query = query.where(Stock.paper_id.in_(ids)).order_by(None)
    if any(distances.values()):
        query = query.order_by(case({id_: n for n, id_ in enumerate(ids)}, value=Stock.paper_id))
    query = query.order_by(Paper.name_key, Stock.width * Stock.height, Stock.kind.desc(), Stock.id)
    if older_than is not None:
        before = Movement.at < sought["now"] - older_than
        query = query.where(exists().where(Movement.stock_id == Stock.id, before))
    rows, number = query_page(session, query, most)
    since = _first_movement_times(session, None if most is None else [row.label for row in rows])
    taken = reserved_quantities(session)
    found = [
        FoundRow(
            row,
            papers[row.paper].grammage,
            distances[row.paper],
            since[row.label],
            taken[row.label],
        )
        for row in rows
    ]
    return found, number


def _by_colour(
    session: Session, papers: dict[str, Paper], colour: str | None, near: float
) -> dict[str, float | None]:
    if colour is None:
        return dict.fromkeys(papers)
    named: dict[str, float | None] = {
        name: None
        for name, paper in papers.items()
        if fold(colour) in fold(paper.colour) or fold(colour) in paper.name_key
    }
    if named:
        return named
    return {paper.name: far for far, paper in nearest_papers(session, colour) if far <= near}


def _first_movement_times(session: Session, labels: Sequence[str] | None) -> dict[str, datetime]:
    """Return when stock first came, by its label: of a few labels, or of all."""
    query = (
        select(Stock.label, func.min(Movement.at))
        .join(Movement, Movement.stock_id == Stock.id)
        .group_by(Stock.id, Stock.label)
    )
    rows = session.execute(query if labels is None else query.where(Stock.label.in_(labels)))
    return {label: at for label, at in rows}  # noqa: C416 - a row is no pair to dict()


# --- which offcuts could make a piece ----------------------------------------------------------


@dataclass(frozen=True)
class OffcutForPiece:
    """Equal offcuts in which a piece has room.

    Attributes
    ----------
    free
        How many of them nobody has reserved.
    turned
        Whether the piece must lie a quarter turn.
    spare
        The area that is left beside it, in square fine units.
    """

    label: str
    paper: str
    width: Length
    height: Length
    place: str | None
    free: int
    turned: bool
    spare: int


def offcuts_for(
    session: Session,
    size: tuple[Length, Length],
    papers: Sequence[str] = (),
    *,
    turn: Turn = Turn.ANY,
    most: int = 50,
) -> list[OffcutForPiece]:
    """Return offcuts that nobody has reserved and that could make a piece, the smallest first.

    Parameters
    ----------
    size
        Of the piece's blank, as it stands.
    papers
        The names of papers it may be of; any, unless given.
    turn
        `Turn.NONE` if it may not lie a quarter turn on a paper whose pattern has a top.

    Raises
    ------
    Refusal
        If there is no such paper.
    """
    width, height = size
    upright = fits_between_margins(width, height, turned=False)
    lying = fits_between_margins(height, width, turned=False)
    if turn is Turn.NONE:
        lying &= Paper.pattern != Pattern.DIRECTIONAL
    # Only those that fit are summed up: by far the most are too small.
    there = (
        select(func.coalesce(func.sum(Movement.change), 0))
        .where(Movement.stock_id == Stock.id)
        .correlate(Stock)
        .scalar_subquery()
    )

    def lies_so(sheet: Sheet, pattern: Pattern) -> bool | None:
        """Whether the piece must be turned on it; None if it can't lie there."""
        if fits_on(sheet, size, turned=False):
            return False
        may_turn = turn is not Turn.NONE or pattern is not Pattern.DIRECTIONAL
        return True if may_turn and fits_on(sheet, (height, width), turned=False) else None

    damaged = damaged_sheets(session, (Stock.kind == StockKind.OFFCUT) & (upright | lying))
    reserved = reserved_quantities(session)
    taken = case(dict(reserved), value=Stock.label, else_=0) if reserved else literal(0)
    in_vain = [stock for stock, known in damaged.items() if lies_so(*known) is None]
    query = (
        select(Stock, Paper.name, Paper.pattern, there)
        .join(Paper, Stock.paper_id == Paper.id)
        .where(
            Stock.kind == StockKind.OFFCUT,
            upright | lying,
            Stock.id.not_in(in_vain),
            there > taken,
        )
        .order_by(Stock.width * Stock.height, Stock.id)
        .limit(most)
    )
    if papers:
        ids = [find_paper(session, name).id for name in papers]
        query = query.where(Stock.paper_id.in_(ids))
    places = PlaceTree(session)
    found: list[OffcutForPiece] = []
    for stock, paper, pattern, number in session.execute(query):
        plain = Sheet(
            stock.label, stock.width, stock.height, None, Fraction(0), margins=stock.margins
        )
        sheet, _ = damaged.get(stock.id, (plain, pattern))
        spare = stock.width * stock.height - width * height
        where = places.path(stock.place_id)
        turned = bool(lies_so(sheet, pattern))
        found.append(
            OffcutForPiece(
                stock.label,
                paper,
                stock.width,
                stock.height,
                where,
                int(number) - reserved[stock.label],
                turned,
                spare,
            )
        )
    return found
