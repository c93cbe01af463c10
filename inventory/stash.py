"""The stash: papers, sheets and offcuts, and what a maker does with them; one function a deed.

Every function takes the session first (`inventory.shop.ShopFile.begin` for the deeds that change
something, `read` for the rest) and plain values after it.  A deed that is refused has changed
nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Any, NamedTuple

from sqlalchemy import and_, func, or_, select

from inventory import ledger
from inventory.models import Grain, Kind, Movement, Paper, Pattern, Place, Reason, Shop, Stock
from inventory.money import check_amount, round_to_coin
from inventory.names import (
    choice,
    clean_name,
    clean_note,
    did_you_mean,
    fold,
    shorten,
    whole_number,
)
from nester.measure import (
    LARGEST,
    UNITS_PER_INCH,
    UNITS_PER_MM,
    Length,
    Unit,
    format_length,
    mm,
)
from nester.paper import Size
from nester.refusal import Refusal

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import ColumnElement, Select
    from sqlalchemy.orm import Session

    from inventory.models import Batch

__all__ = [
    "HEAVIEST",
    "THICKEST",
    "THINNEST",
    "HistoryRow",
    "StashRow",
    "add_offcut",
    "add_paper",
    "add_place",
    "add_sheets",
    "count_stock",
    "find_paper",
    "find_place",
    "find_stock",
    "history",
    "list_papers",
    "list_places",
    "list_stash",
    "read_caliper",
    "read_swatch",
    "spoil",
    "worth",
]

_LETTERS = {Kind.SHEET: "S", Kind.OFFCUT: "K"}
HEAVIEST = 2000
"""g/m²; board that is heavier is cut with other tools (common practice, no source)."""
THINNEST: Length = mm("0.01")
THICKEST: Length = mm(5)
"""A caliper beyond these is a slip of the unit (common practice, no source)."""


@dataclass(frozen=True)
class StashRow:
    """Equal sheets, or one offcut, as the stash lists them.

    Attributes
    ----------
    width, height
        Fine units.
    price
        Of one; None if nobody gave it.
    place
        The name of the place where it lies, if that is known.
    area_price
        What a square fine unit costs on the paper's cheapest sheets; None if no sheet of it has a
        price.
    """

    label: str
    kind: Kind
    paper: str
    colour: str
    finish: str
    width: Length
    height: Length
    quantity: int
    price: Decimal | None
    place: str | None
    note: str = ""
    area_price: Fraction | None = None


class HistoryRow(NamedTuple):
    """One movement of a label, and how many there were after it."""

    movement: int
    at: datetime
    change: int
    after: int
    reason: Reason
    batch: int | None
    note: str


# --- papers ------------------------------------------------------------------------------------


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
        Its thickness in fine units, if it is known (see `read_caliper`); at most `THICKEST`.

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
        grammage=whole_number(grammage, "the paper's g/m²", least=1, most=HEAVIEST),
        pattern=choice(Pattern, pattern, "the paper's pattern"),
        grain=choice(Grain, grain, "the paper's grain"),
        caliper=_check_caliper(caliper),
    )
    taken = session.scalar(select(Paper.name).where(Paper.name_key == paper.name_key))
    if taken is not None:
        raise Refusal(f"there is a paper '{taken}' already; give the new one another name")
    session.add(paper)
    session.flush()
    return paper


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
            f"the caliper '{shorten(text)}' {wrong}; write it like 0.3mm, 300um, 12pt or 0.012in"
        )
    return _check_caliper(ceil(Fraction(match[1].replace(",", ".")) * unit))


def _check_caliper(caliper: Length | None) -> Length | None:
    if caliper is not None and not THINNEST <= caliper <= THICKEST:
        raise Refusal(
            f"the paper's caliper must be {format_length(THINNEST, Unit.MM)} to"
            f" {format_length(THICKEST, Unit.MM)}, not {format_length(caliper, Unit.MM)}"
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
    paper = session.scalar(select(Paper).where(Paper.name_key == fold(name)))
    if paper is None:
        known = session.scalars(select(Paper.name).order_by(Paper.name_key)).all()
        hint = did_you_mean(name, known) or ("" if known else "; no paper was added yet")
        raise Refusal(f"there is no paper '{shorten(name)}'{hint}")
    return paper


# --- places ------------------------------------------------------------------------------------


def add_place(session: Session, name: str, *, inside: str | None = None) -> Place:
    """Add a place, standing in another if `inside` names one.

    Raises
    ------
    Refusal
        If the name is taken, or there is no place `inside`.
    """
    place = Place(name=clean_name(name, "the place's name"))
    taken = session.scalar(select(Place.name).where(Place.name_key == place.name_key))
    if taken is not None:
        raise Refusal(f"there is a place '{taken}' already; give the new one another name")
    if inside is not None:
        place.parent = find_place(session, inside)
    session.add(place)
    session.flush()
    return place


def list_places(session: Session) -> list[Place]:
    """Return all places by name."""
    return list(session.scalars(select(Place).order_by(Place.name_key)))


def find_place(session: Session, name: str) -> Place:
    """Return the place of that name, in capitals or not.

    Raises
    ------
    Refusal
        If there is none; names much like it are offered.
    """
    place = session.scalar(select(Place).where(Place.name_key == fold(name)))
    if place is None:
        known = session.scalars(select(Place.name).order_by(Place.name_key)).all()
        raise Refusal(f"there is no place '{shorten(name)}'{did_you_mean(name, known)}")
    return place


def _place_for(session: Session, name: str | None) -> Place | None:
    """Return the place in which something is put, a new one if the name is new."""
    if name is None or not name.strip():
        return None
    clean = clean_name(name, "the place's name")
    known = session.scalar(select(Place).where(Place.name_key == fold(clean)))
    return known or add_place(session, clean)


# --- what comes --------------------------------------------------------------------------------


def add_sheets(
    session: Session,
    paper: str,
    size: Size | tuple[Length, Length],
    quantity: int,
    *,
    price: Decimal | None = None,
    place: str | None = None,
    note: str = "",
    reason: Reason = Reason.RECEIVED,
    at: datetime | None = None,
) -> Stock:
    """Put sheets into the stash.

    They join the sheets of the same paper, size, price and place, if there are such; else they
    get a label of their own.

    Parameters
    ----------
    paper
        The name of a paper in the book.
    quantity
        1 to 1,000,000.
    price
        Of one sheet, in the shop's currency.
    place
        Where they lie; a new name makes a new place.
    reason
        `Reason.RECEIVED`, or `Reason.OPENING` for what was there when the book was begun.

    Raises
    ------
    Refusal
        If there is no such paper or something can't be so.
    """
    known = find_paper(session, paper)
    whole_number(quantity, "the number of sheets", least=1)
    size, price, note = _size(size), _price(price), clean_note(note)
    where = _place_for(session, place)
    stock = _equal_sheets(session, known, size, price, where)
    if stock is None:
        stock = _new_stock(session, Kind.SHEET, known, size, price, where, note)
    ledger.move(session, stock, quantity, reason, note=note, at=at)
    return stock


def add_offcut(
    session: Session,
    paper: str,
    size: Size | tuple[Length, Length],
    *,
    price: Decimal | None = None,
    place: str | None = None,
    note: str = "",
    parent: str | None = None,
    batch: Batch | None = None,
    reason: Reason = Reason.KEPT,
    at: datetime | None = None,
) -> Stock:
    """Put one offcut into the stash under a label of its own.

    Parameters
    ----------
    price
        What it counts in a plan; by its size (see `worth`), unless given.
    parent
        The label of what it was cut from.
    batch
        The batch it is left from.
    reason
        `Reason.KEPT`, or `Reason.OPENING` for what was there when the book was begun.

    Raises
    ------
    Refusal
        If there is no such paper or label, or something can't be so.
    """
    known = find_paper(session, paper)
    size, price, note = _size(size), _price(price), clean_note(note)
    cut_from = find_stock(session, parent) if parent is not None else None
    if cut_from is not None and cut_from.paper_id != known.id:
        raise Refusal(
            f"{cut_from.label} is {cut_from.paper.name}, so an offcut of {known.name} can't be"
            " cut from it"
        )
    where = _place_for(session, place)
    stock = _new_stock(session, Kind.OFFCUT, known, size, price, where, note, cut_from)
    ledger.move(session, stock, 1, reason, batch=batch, note=note, at=at)
    return stock


def _size(size: Size | tuple[Length, Length]) -> Size:
    if not all(0 < length <= LARGEST for length in size):
        raise Refusal("a sheet's width and height must be more than zero and at most 10 m")
    return Size(*size)


def _price(price: Decimal | None) -> Decimal | None:
    return None if price is None else check_amount(price, "the price")


def _equal_sheets(
    session: Session, paper: Paper, size: Size, price: Decimal | None, place: Place | None
) -> Stock | None:
    return session.scalar(
        select(Stock)
        .where(
            Stock.kind == Kind.SHEET,
            Stock.paper_id == paper.id,
            Stock.width == size.width,
            Stock.height == size.height,
            Stock.price.is_not_distinct_from(price),
            Stock.place_id.is_not_distinct_from(place.id if place else None),
        )
        .order_by(Stock.number)
        .limit(1)
    )


def _new_stock(
    session: Session,
    kind: Kind,
    paper: Paper,
    size: Size,
    price: Decimal | None,
    place: Place | None,
    note: str,
    parent: Stock | None = None,
) -> Stock:
    """Add a row under the next label; rows are never deleted, so no label comes twice."""
    last = session.scalar(select(func.max(Stock.number)).where(Stock.kind == kind))
    number = (last or 0) + 1
    stock = Stock(
        kind=kind,
        number=number,
        label=f"{_LETTERS[kind]}-{number}",
        paper=paper,
        width=size.width,
        height=size.height,
        price=price,
        place=place,
        note=note,
        parent=parent,
    )
    session.add(stock)
    session.flush()
    return stock


# --- what is counted or lost -------------------------------------------------------------------


def find_stock(session: Session, label: str) -> Stock:
    """Return the sheets or the offcut of that label, as in ``S-1`` or ``k-12``.

    Raises
    ------
    Refusal
        If there is none.
    """
    written = label.strip().upper()
    stock = session.scalar(select(Stock).where(Stock.label == written))
    if stock is None:
        raise Refusal(
            f"nothing in the stash has the label '{shorten(label)}';"
            " sheets have labels like S-1, offcuts like K-1"
        )
    return stock


def count_stock(session: Session, label: str, quantity: int, why: str = "") -> Movement | None:
    """Book what was counted: the difference to the book, if there is one.

    Parameters
    ----------
    quantity
        How many are there, 0 to 1,000,000; of an offcut 0 or 1.

    Returns
    -------
    Movement or None
        None if the book was right.

    Raises
    ------
    Refusal
        If there is no such label, or it can't be that many.
    """
    stock = find_stock(session, label)
    most = {"most": 1} if stock.kind is Kind.OFFCUT else {}
    whole_number(quantity, f"the number of {stock.label}", **most)
    difference = quantity - ledger.on_hand(session, stock)
    if difference == 0:
        return None
    return ledger.move(session, stock, difference, Reason.COUNTED, note=why)


def spoil(session: Session, label: str, quantity: int = 1, why: str = "") -> Movement:
    """Take spoiled sheets or a spoiled offcut out of the stash.

    Raises
    ------
    Refusal
        If there is no such label, or not as many are there.
    """
    stock = find_stock(session, label)
    whole_number(quantity, f"the number of {stock.label}", least=1)
    return ledger.move(session, stock, -quantity, Reason.SPOILED, note=why)


# --- looking -----------------------------------------------------------------------------------


def list_stash(
    session: Session,
    *,
    paper: str | None = None,
    colour: str | None = None,
    finish: str | None = None,
    kind: Kind | str | None = None,
    at_least: tuple[Length, Length] | None = None,
    place: str | None = None,
    include_empty: bool = False,
) -> list[StashRow]:
    """Return what is in the stash and fits all that is asked.

    Parameters
    ----------
    paper
        The name of a paper.
    colour, finish
        A part of the word, in capitals or not: ``gre`` finds green.
    at_least
        Width and height in fine units, laid either way round.
    place
        The name of a place; what lies in places within it counts too.
    include_empty
        Whether rows of which nothing is left are listed.

    Returns
    -------
    list of StashRow
        By paper; sheets before offcuts, large before small.

    Raises
    ------
    Refusal
        If there is no such paper or place.
    """
    query = _listing(include_empty=include_empty)
    if paper is not None:
        query = query.where(Stock.paper_id == find_paper(session, paper).id)
    if kind is not None:
        query = query.where(Stock.kind == choice(Kind, kind, "the kind"))
    if at_least is not None:
        query = query.where(_holds(*at_least))
    if place is not None:
        query = query.where(Stock.place_id.in_(_within(find_place(session, place))))
    area_prices = _area_prices(session)
    rows = (
        StashRow(*(*row, area_prices.get(paper_id))) for paper_id, *row in session.execute(query)
    )
    return [row for row in rows if _has(row.colour, colour) and _has(row.finish, finish)]


def _listing(*, include_empty: bool) -> Select[*tuple[Any, ...]]:
    """Select a paper's id and then the columns of `StashRow`, in their order."""
    on_hand = ledger.sums()
    quantity = func.coalesce(on_hand.c.quantity, 0)
    query = (
        select(
            Stock.paper_id, Stock.label, Stock.kind, Paper.name, Paper.colour, Paper.finish,
            Stock.width, Stock.height, quantity, Stock.price, Place.name, Stock.note,
        )
        .join(Paper, Stock.paper_id == Paper.id)
        .outerjoin(Place, Stock.place_id == Place.id)
        .outerjoin(on_hand, on_hand.c.stock_id == Stock.id)
        .order_by(
            Paper.name_key, Stock.kind.desc(), (Stock.width * Stock.height).desc(), Stock.number
        )
    )  # fmt: skip
    return query if include_empty else query.where(quantity > 0)


def _holds(width: Length, height: Length) -> ColumnElement[bool]:
    return or_(
        and_(Stock.width >= width, Stock.height >= height),
        and_(Stock.width >= height, Stock.height >= width),
    )


def _within(place: Place) -> Select[int]:
    inside = select(Place.id).where(Place.id == place.id).cte("inside", recursive=True)
    inside = inside.union(select(Place.id).join(inside, Place.parent_id == inside.c.id))
    return select(inside.c.id)


def _has(text: str, wanted: str | None) -> bool:
    """Whether the words have the wanted part; done here, as SQLite folds only ASCII letters."""
    return wanted is None or fold(wanted) in fold(text)


def _area_prices(session: Session) -> dict[int, Fraction]:
    """Return what a square fine unit of each paper costs on its cheapest sheets, by `Paper.id`."""
    sheets = select(Stock.paper_id, Stock.width, Stock.height, Stock.price).where(
        Stock.kind == Kind.SHEET, Stock.price.is_not(None)
    )
    cheapest: dict[int, Fraction] = {}
    for paper, width, height, price in session.execute(sheets):
        if price is None:
            continue
        each = Fraction(price) / (width * height)
        cheapest[paper] = min(each, cheapest.get(paper, each))
    return cheapest


def worth(shop: Shop, row: StashRow) -> Decimal:
    """Return what using one sheet or the offcut counts in a plan's cost.

    That is its own price if it has one.  Else an offcut counts at its share, by area, of the
    price of the paper's cheapest sheets (also when none of them is left), times the percentage
    the shop sets, rounded to the smallest coin, halves up.  What can't be known counts nothing.
    """
    if row.price is not None:
        return row.price
    if row.kind is not Kind.OFFCUT or row.area_price is None:
        return Decimal(0)
    share = row.area_price * row.width * row.height * Fraction(shop.offcut_worth, 100)
    return round_to_coin(share, shop.currency)


def history(session: Session, label: str) -> list[HistoryRow]:
    """Return every movement of a label, the first one first.

    Raises
    ------
    Refusal
        If there is no such label.
    """
    stock = find_stock(session, label)
    movements = session.scalars(
        select(Movement).where(Movement.stock_id == stock.id).order_by(Movement.id)
    )
    rows: list[HistoryRow] = []
    after = 0
    for movement in movements:
        after += movement.change
        rows.append(HistoryRow(
            movement.id, movement.at, movement.change, after, movement.reason,
            movement.batch_id, movement.note,
        ))  # fmt: skip
    return rows
