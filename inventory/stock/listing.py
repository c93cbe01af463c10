"""What is in the stash, and the history of a label.

Every function takes the session first and plain values after it, and changes nothing.
"""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple, TypedDict, Unpack

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import aliased

from inventory.core.money import floor_to_decimals, ratio_to_coin
from inventory.core.text import choice, fold
from inventory.database.tables.enums import GrainAxis, Pattern, Reason, StockKind
from inventory.database.tables.ledger import DamagedArea, GrainFinding, Movement, Transaction
from inventory.database.tables.shop import Shop
from inventory.database.tables.stock import Paper, Stock
from inventory.stock import ledger
from inventory.stock.condition import damaged_areas_by_stock, fits_on, grain_axis, grain_findings
from inventory.stock.lookup import find_stock
from inventory.stock.papers import find_paper
from inventory.stock.places import PlaceTree, find_place, place_ids_within
from nester.core.lengths import Length, area_m2
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, Margins, Rect
from nester.core.problem import StockItem as Sheet

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from datetime import datetime

    from sqlalchemy import ColumnElement, Select
    from sqlalchemy.orm import Session

__all__ = [
    "HistoryRow",
    "StashFilter",
    "StashRow",
    "damaged_sheets",
    "fits_between_margins",
    "history_rows",
    "list_stash",
    "on_hand_areas",
    "on_hand_by_place",
    "planning_cost",
    "planning_price",
    "query_page",
    "query_rows",
    "stash_page",
    "stash_query",
    "stock_history",
]


class StashRow(NamedTuple):
    """Equal sheets, or equal offcuts, as the stash lists them.

    Attributes
    ----------
    width, height
        Fine units.
    price
        Of one; None if nobody gave it.
    place
        Where it lies, from the outermost place inwards, if that is known.
    area_price
        What a square fine unit costs on the paper's cheapest sheets; None if no sheet of it has a
        price.
    margins
        How much along each edge can't be used.
    damaged_areas
        Rectangles of it that can't be used.
    grain
        Along which of its sides its grain runs, if that is known.
    """

    label: str
    kind: StockKind
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
    margins: Margins = NO_MARGINS
    damaged_areas: tuple[Rect, ...] = ()
    grain: Grain = Grain.ANY

    @property
    def as_sheet(self) -> Sheet:
        """It in the words of `nester.core.problem`, with no price."""
        return Sheet(
            self.label, self.width, self.height, self.quantity, Fraction(0), self.paper,
            self.margins, self.damaged_areas, self.grain, self.kind is StockKind.OFFCUT,
        )  # fmt: skip


class HistoryRow(NamedTuple):
    """One movement of a label, and how many there were after it; or what was found out about it.

    Attributes
    ----------
    movement
        None if nothing was moved.
    damaged_area
        Where it was damaged, if it was.
    grain
        How its grain runs, if that was found out.
    """

    movement: int | None
    at: datetime
    change: int
    balance: int
    reason: Reason
    batch: int | None
    note: str
    label: str
    transaction: int | None
    damaged_area: Rect | None = None
    grain: GrainAxis | None = None


class StashFilter(TypedDict, total=False):
    """What of the stash is asked for; what is left out, or None, does not matter.

    Attributes
    ----------
    paper
        The name of a paper.
    papers
        The names of papers, exactly as they are in the book.
    colour, finish
        A part of the word, in capitals or not: ``gre`` finds green.
    at_least
        Width and height in fine units, laid either way round, between margins and damaged areas.
    place
        The name of a place; what lies in places within it counts too.
    include_empty
        Whether rows of which nothing is left are listed.
    empty_sheets
        Whether sheets of which nothing is left are listed, but no offcuts that are used up.
    """

    paper: str | None
    papers: Collection[str] | None
    colour: str | None
    finish: str | None
    kind: StockKind | str | None
    at_least: tuple[Length, Length] | None
    place: str | None
    include_empty: bool
    empty_sheets: bool


def list_stash(session: Session, **asked: Unpack[StashFilter]) -> list[StashRow]:
    """Return what is in the stash and fits all that is asked; see `StashFilter`.

    Returns
    -------
    list of StashRow
        By paper; sheets before offcuts, large before small.

    Raises
    ------
    Refusal
        If there is no such paper or place.
    """
    return query_rows(
        session, stash_query(session, asked), _area_prices(session, asked.get("papers"))
    )


def stash_page(
    session: Session, most: int | None, **asked: Unpack[StashFilter]
) -> tuple[list[StashRow], int]:
    """Return the first rows that `list_stash` would, without area prices, and how many there are.

    Parameters
    ----------
    most
        How many rows; None for all.

    Raises
    ------
    Refusal
        As of `list_stash`.
    """
    return query_page(session, stash_query(session, asked), most)


def query_page(
    session: Session, query: Select[*tuple[Any, ...]], most: int | None
) -> tuple[list[StashRow], int]:
    """Return the first rows of what `stash_query` selects, and how many there are."""
    rows = query_rows(session, query if most is None else query.limit(most))
    if most is None or len(rows) < most:
        return rows, len(rows)
    every = query.order_by(None).with_only_columns(func.count(), maintain_column_froms=True)
    return rows, session.scalars(every).one()


def query_rows(
    session: Session,
    query: Select[*tuple[Any, ...]],
    area_prices: Mapping[int, Fraction] = MappingProxyType({}),
) -> list[StashRow]:
    """Return the rows that a query of `stash_query` selects."""
    places = PlaceTree(session)
    damaged, findings = damaged_areas_by_stock(session), grain_findings(session)
    papers = {
        id_: about
        for id_, *about in session.execute(
            select(Paper.id, Paper.name, Paper.colour, Paper.finish, Paper.grain)
        )
    }
    rows = []
    session.flush()
    # A large stash is read in four fifths of the time without the session's own kind of rows.
    for (
        stock, paper_id, at_start, left, top, right, bottom, place_id, note, label, kind, width,
        height, quantity, price,
    ) in session.connection().execute(query):  # fmt: skip
        name, colour, finish, of_paper = papers[paper_id]
        grain = grain_axis(kind, (width, height), findings.get(stock, at_start), of_paper)
        rows.append(StashRow(
            label, kind, name, colour, finish, width, height, quantity, price,
            places.path(place_id), note, area_prices.get(paper_id),
            Margins(left, top, right, bottom), damaged.get(stock, ()), grain,
        ))  # fmt: skip
    return rows


def stash_query(session: Session, asked: StashFilter) -> Select[*tuple[Any, ...]]:
    """Select what fits all that is asked, in the order of `list_stash`, for `query_rows`.

    Raises
    ------
    Refusal
        As of `list_stash`.
    """
    query = _stash_columns(asked.get("include_empty", False), asked.get("empty_sheets", False))
    paper, kind, place = asked.get("paper"), asked.get("kind"), asked.get("place")
    colour, finish, at_least = asked.get("colour"), asked.get("finish"), asked.get("at_least")
    if paper is not None:
        query = query.where(Stock.paper_id == find_paper(session, paper).id)
    if (papers := asked.get("papers")) is not None:
        query = query.where(Paper.name.in_(papers))
    if kind is not None:
        query = query.where(Stock.kind == choice(StockKind, kind, "the kind"))
    if at_least is not None:
        query = query.where(
            fits_between_margins(*at_least), Stock.id.not_in(_too_damaged(session, at_least))
        )
    if place is not None:
        query = query.where(Stock.place_id.in_(place_ids_within(find_place(session, place))))
    if colour is not None or finish is not None:
        known = session.execute(select(Paper.id, Paper.colour, Paper.finish))
        alike = [
            id_
            for id_, its, shine in known
            if _contains_folded(its, colour) and _contains_folded(shine, finish)
        ]
        query = query.where(Stock.paper_id.in_(alike))
    return query


def _stash_columns(include_empty: bool, empty_sheets: bool) -> Select[*tuple[Any, ...]]:
    """Select what `StashRow` is made of, paper and place by their ids."""
    on_hand = ledger.on_hand_sums()
    quantity = func.coalesce(on_hand.c.quantity, 0)
    query = (
        select(
            Stock.id, Stock.paper_id, Stock.grain,
            Stock.margin_left, Stock.margin_top, Stock.margin_right, Stock.margin_bottom,
            Stock.place_id, Stock.note, Stock.label, Stock.kind, Stock.width, Stock.height,
            quantity, Stock.price,
        )
        .join(Paper, Stock.paper_id == Paper.id)
        .join(on_hand, on_hand.c.stock_id == Stock.id, isouter=include_empty or empty_sheets)
        .order_by(
            Paper.name_key, Stock.kind.desc(), (Stock.width * Stock.height).desc(), Stock.id
        )
    )  # fmt: skip
    if include_empty:
        return query
    there = quantity > 0
    return query.where(there | (Stock.kind == StockKind.SHEET) if empty_sheets else there)


def _too_damaged(session: Session, size: tuple[Length, Length]) -> list[int]:
    """Return which stock has room for a size within its margins, but not beside its damage."""
    return [
        stock
        for stock, (sheet, _) in damaged_sheets(session, fits_between_margins(*size)).items()
        if not fits_on(sheet, size)
    ]


def damaged_sheets(
    session: Session, which: ColumnElement[bool]
) -> dict[int, tuple[Sheet, Pattern]]:
    """Return damaged stock that is meant, as the optimizer takes it, and what is printed.

    It is by `Stock.id`; few sheets of a stash are damaged, so they are looked at one by one.
    """
    damaged = damaged_areas_by_stock(session)
    query = select(Stock, Paper.pattern).join(Paper, Stock.paper_id == Paper.id).where(which)
    return {
        stock.id: (
            Sheet(
                stock.label, stock.width, stock.height, None, Fraction(0), "", stock.margins,
                damaged[stock.id],
            ),
            pattern,
        )
        for stock, pattern in session.execute(query.where(Stock.id.in_(damaged)))
    }  # fmt: skip


def on_hand_areas(session: Session) -> dict[int, int]:
    """Return the area of each paper in the stash, in square fine units, by `Paper.id`.

    A database's whole numbers end at 2**63, which is the area of some thousands of large sheets;
    so what is above and what is below 2**31 of a sheet's area is summed apart.
    """
    on_hand = ledger.on_hand_sums()
    area, part = Stock.width * Stock.height, 2**31
    query = (
        select(
            Stock.paper_id,
            func.sum(area // part * on_hand.c.quantity),
            func.sum(area % part * on_hand.c.quantity),
        )
        .join(on_hand, on_hand.c.stock_id == Stock.id)
        .group_by(Stock.paper_id)
    )
    return {paper: int(high) * part + int(low) for paper, high, low in session.execute(query)}


def on_hand_by_place(session: Session) -> Counter[tuple[int | None, StockKind]]:
    """Return how many sheets and offcuts lie in each place, by `Place.id` and kind."""
    on_hand = ledger.on_hand_sums()
    query = (
        select(Stock.place_id, Stock.kind, func.sum(on_hand.c.quantity))
        .join(on_hand, on_hand.c.stock_id == Stock.id)
        .group_by(Stock.place_id, Stock.kind)
    )
    return Counter({(place, kind): int(many) for place, kind, many in session.execute(query)})


def fits_between_margins(
    width: Length, height: Length, *, turned: bool = True
) -> ColumnElement[bool]:
    """Return the condition that a size has room between the margins of stock.

    Parameters
    ----------
    turned
        Whether it may also lie a quarter turn.
    """
    wide = Stock.width - Stock.margin_left - Stock.margin_right
    high = Stock.height - Stock.margin_top - Stock.margin_bottom
    upright = and_(wide >= width, high >= height)
    return or_(upright, and_(wide >= height, high >= width)) if turned else upright


def _contains_folded(text: str, wanted: str | None) -> bool:
    """Whether the words have the wanted part; done here, as SQLite folds only ASCII letters."""
    return wanted is None or fold(wanted) in fold(text)


def _area_prices(session: Session, papers: Collection[str] | None = None) -> dict[int, Fraction]:
    """Return what a square fine unit of each paper costs on its cheapest sheets, by `Paper.id`.

    Parameters
    ----------
    papers
        The names of the papers; all, unless given.
    """
    sheets = select(Stock.paper_id, Stock.width, Stock.height, Stock.price).where(
        Stock.kind == StockKind.SHEET, Stock.price.is_not(None)
    )
    if papers is not None:
        sheets = sheets.join(Paper, Stock.paper_id == Paper.id).where(Paper.name.in_(papers))
    cheapest: dict[int, tuple[int, int]] = {}
    for paper, width, height, price in session.execute(sheets):
        if price is None:
            continue
        number, of = price.as_integer_ratio()
        of *= width * height
        known = cheapest.get(paper)
        if known is None or number * known[1] < known[0] * of:
            cheapest[paper] = number, of
    return {paper: Fraction(*each) for paper, each in cheapest.items()}


def planning_cost(shop: Shop, row: StashRow) -> Decimal:
    """Return what using one sheet or offcut counts in a plan's cost.

    That is its own price if it has one.  Else an offcut counts at its share, by area, of the
    price of the paper's cheapest sheets (also when none of them is left), times the percentage
    the shop sets, rounded to the smallest coin, halves up.  What can't be known counts nothing.
    """
    if row.price is not None:
        return row.price
    if row.kind is not StockKind.OFFCUT or row.area_price is None:
        return Decimal(0)
    number, of = row.area_price.as_integer_ratio()
    share = number * row.width * row.height * shop.offcut_worth
    return ratio_to_coin(share, of * 100, shop.currency)


def planning_price(shop: Shop, row: StashRow) -> Decimal:
    """Return what using a sheet costs a plan; by its area, if its price is not known."""
    area = row.width * row.height
    if row.price is None and row.area_price is None:
        return floor_to_decimals(area_m2(area))
    if row.price is None and row.area_price is not None and row.kind is StockKind.SHEET:
        return floor_to_decimals(row.area_price * area)
    return planning_cost(shop, row)


def stock_history(session: Session, label: str) -> list[HistoryRow]:
    """Return every movement of a label, and what was found out about it, the first one first.

    Raises
    ------
    Refusal
        If there is no such label.
    """
    return history_rows(session, Stock.id == find_stock(session, label).id)


def history_rows(session: Session, which: ColumnElement[bool]) -> list[HistoryRow]:
    """Return every movement of the stock that is meant, and what was found out about it."""
    lines = session.execute(
        select(Movement, Stock.label).join(Movement.stock).where(which).order_by(Movement.id)
    )
    rows: list[HistoryRow] = []
    order: list[int] = []
    for movement, label in lines:
        rows.append(HistoryRow(
            movement.id, movement.at, movement.change, 0, movement.reason, movement.batch_id,
            movement.note, label, movement.transaction_id,
        ))  # fmt: skip
        # Some movements are of no transaction; they stand where they were booked.
        order.append(max(movement.transaction_id or 0, order[-1] if order else 0))
    moved = {(row.transaction, row.label): place for place, row in enumerate(rows)}
    for found in _findings(session, which):
        place = moved.get((found.transaction, found.label))
        if place is None:
            rows.append(found)
            order.append(found.transaction or 0)
        elif rows[place].reason is not Reason.UNDONE:
            rows[place] = rows[place]._replace(damaged_area=found.damaged_area, grain=found.grain)
    rows = [row for _, row in sorted(zip(order, rows, strict=True), key=lambda pair: pair[0])]
    after: Counter[str] = Counter()
    for place, row in enumerate(rows):
        after[row.label] += row.change
        rows[place] = row._replace(balance=after[row.label])
    return rows


def _findings(session: Session, which: ColumnElement[bool]) -> Iterator[HistoryRow]:
    """Yield what was found out about stock, and where that was undone."""
    back = aliased(Transaction)
    for table in (DamagedArea, GrainFinding):
        lines = session.execute(
            select(table, Transaction, back, Stock.label)
            .join(Transaction, table.transaction_id == Transaction.id)
            .join(Stock, table.stock_id == Stock.id)
            .outerjoin(back, back.undoes_id == Transaction.id)
            .where(which)
            .order_by(table.id)
        )
        for found, transaction, undone, label in lines:
            damage = found.rect if isinstance(found, DamagedArea) else None
            grain = found.grain if isinstance(found, GrainFinding) else None
            yield HistoryRow(
                None,
                transaction.at,
                0,
                0,
                transaction.reason,
                None,
                transaction.note,
                label,
                transaction.id,
                damage,
                grain,
            )
            if undone is not None:
                yield HistoryRow(
                    None, undone.at, 0, 0, undone.reason, None, undone.note, label, undone.id
                )
