"""What a sheet or offcut is like: its margins, its damaged areas, and how its grain runs.

Left and top, width and height are those of a piece of paper as its size is entered.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.measures import read_distance
from inventory.core.money import parse_money
from inventory.core.text import choice, shorten, whole_number
from inventory.database.tables.enums import Grain as PaperGrain
from inventory.database.tables.enums import GrainAxis, Reason, StockKind
from inventory.database.tables.ledger import DamagedArea, GrainFinding
from inventory.database.tables.shop import Shop
from inventory.database.tables.stock import Stock
from inventory.stock import ledger
from inventory.stock.lookup import find_stock
from inventory.stock.places import PlaceTree
from inventory.stock.receiving import ReceiptLine, matching_stock, put_away_offcuts
from inventory.stock.reservations import available
from nester.core.errors import Hint, Refusal
from nester.core.geometry import maximal_free_rectangles
from nester.core.lengths import Length, Unit, format_size
from nester.core.piece import Grain
from nester.core.problem import NO_MARGINS, Margins, Rect
from nester.core.problem import StockItem as Sheet
from nester.core.sheet_sizes import Size, parse_size

if TYPE_CHECKING:
    from decimal import Decimal

    from sqlalchemy.orm import Session

    from inventory.database.tables.ledger import Transaction

__all__ = [
    "CORNERS",
    "book_damage",
    "book_grain",
    "change_margins",
    "damage_in_corner",
    "damaged_areas_by_stock",
    "fits_on",
    "grain_axis",
    "grain_findings",
    "grain_of_stock",
    "margins_of",
    "price_of",
    "read_damaged_area",
    "read_distance",
    "read_margins",
    "size_of",
    "split_pile",
]

CORNERS = ("top-left", "top-right", "bottom-left", "bottom-right")


# --- reading -----------------------------------------------------------------------------------


def read_margins(text: str, unit: Unit) -> Margins:
    """Read margins: ``5mm`` for all four edges, or ``left=5mm; top=1cm``, or nothing.

    Raises
    ------
    Refusal
        If an edge is unknown or named twice, or a margin can't be so.
    """
    if not text.strip():
        return NO_MARGINS
    if "=" not in text:
        return Margins(*[read_distance(text, unit, "the margin")] * 4)
    edges: dict[str, Length] = {}
    for part in filter(None, map(str.strip, text.split(";"))):
        edge, _, width = (side.strip() for side in part.partition("="))
        edge = edge.casefold()
        if edge not in Margins._fields or not width:
            raise Refusal(
                f"'{shorten(part)}' does not say a margin; write 5mm for all four edges, or"
                " left=5mm; top=1cm (also right, bottom)"
            )
        if edge in edges:
            raise Refusal(f"the margin '{edge}' is given twice; keep one")
        edges[edge] = read_distance(width, unit, f"the {edge} margin")
    return Margins(**edges)


def size_of(session: Session, text: str) -> Size:
    """Read a size; bare numbers are in the shop's unit."""
    return parse_size(text, session.get_one(Shop, 1).unit)


def margins_of(session: Session, text: str) -> Margins:
    """Read margins; bare numbers are in the shop's unit."""
    return read_margins(text, session.get_one(Shop, 1).unit)


def price_of(text: str | None) -> Decimal | None:
    """Read a price, if one was given."""
    return None if text is None else parse_money(text, "the price")


# --- how it is ---------------------------------------------------------------------------------


def damaged_areas_by_stock(session: Session) -> dict[int, tuple[Rect, ...]]:
    """Return the damaged areas of all stock that has any, by `Stock.id`."""
    found: dict[int, list[Rect]] = defaultdict(list)
    query = (
        select(DamagedArea)
        .where(DamagedArea.transaction_id.not_in(ledger.reversed_transactions()))
        .order_by(DamagedArea.id)
    )
    for area in session.scalars(query):
        found[area.stock_id].append(area.rect)
    return {stock: tuple(rects) for stock, rects in found.items()}


def grain_findings(session: Session) -> dict[int, GrainAxis]:
    """Return how the grain of offcuts runs where that was found out later, by `Stock.id`."""
    query = (
        select(GrainFinding)
        .where(GrainFinding.transaction_id.not_in(ledger.reversed_transactions()))
        .order_by(GrainFinding.id)
    )
    return {finding.stock_id: finding.grain for finding in session.scalars(query)}


def grain_axis(
    kind: StockKind, size: tuple[Length, Length], fibres: GrainAxis, of_paper: PaperGrain | str
) -> Grain:
    """Return along which side grain runs: of sheets as the paper says, of an offcut as it is given.

    Of a sheet as wide as high nothing is known: it has no longer side.
    """
    if kind is StockKind.OFFCUT:
        return _GRAINS[fibres]
    width, height = size
    if of_paper == PaperGrain.UNKNOWN or width == height:
        return Grain.ANY
    return Grain.WIDTH if (width > height) == (of_paper == PaperGrain.LONG) else Grain.HEIGHT


_GRAINS = {
    GrainAxis.UNKNOWN: Grain.ANY,
    GrainAxis.WIDTH: Grain.WIDTH,
    GrainAxis.HEIGHT: Grain.HEIGHT,
}


def grain_of_stock(session: Session, stock: Stock) -> GrainAxis:
    """Return how the grain runs of stock, and so of what is cut out of it and not turned."""
    found = grain_findings(session).get(stock.id, stock.grain)
    grain = grain_axis(stock.kind, (stock.width, stock.height), found, stock.paper.grain)
    return next(fibres for fibres, known in _GRAINS.items() if known is grain)


def fits_on(sheet: Sheet, size: tuple[Length, Length], *, turned: bool = True) -> bool:
    """Tell whether a size has room between a sheet's margins and damaged areas.

    Parameters
    ----------
    turned
        Whether it may also lie a quarter turn.
    """
    width, height = size
    return any(
        (free.width >= width and free.height >= height)
        or (turned and free.width >= height and free.height >= width)
        for free in maximal_free_rectangles(sheet.usable, sheet.damaged)
    )


# --- what is found out -------------------------------------------------------------------------


def book_damage(
    session: Session, label: str, at: Rect, why: str = "", *, reserved_too: bool = False
) -> Stock:
    """Book that a part of a sheet or an offcut can't be used any more.

    One of a pile leaves it and gets a label of its own; a sheet becomes an offcut of full size.

    Parameters
    ----------
    at
        The damaged part, from the left and top edge.
    reserved_too
        Whether it may be one that a batch has reserved, which must then be planned again.

    Returns
    -------
    Stock
        What has the damaged area now.

    Raises
    ------
    Refusal
        If there is no such label, none of it is there or free, the part does not lie on it, or
        nothing would be left of it.
    """
    stock = find_stock(session, label)
    unit = session.get_one(Shop, 1).unit
    _check_within_stock(session, stock, at, unit)
    if not reserved_too:
        _check_unreserved(session, stock)
    transaction = ledger.book_transaction(session, Reason.DAMAGED, note=why)
    damaged = stock
    if _is_pile(session, stock):
        line = ReceiptLine(
            stock.paper.name, (stock.width, stock.height), 1,
            stock.price if stock.kind is StockKind.OFFCUT else None,
            PlaceTree(session).path(stock.place_id), stock.note, stock.lot, margins=stock.margins,
        )  # fmt: skip
        damaged = split_pile(session, transaction, stock, line)
    session.add(DamagedArea(transaction_id=transaction.id, stock_id=damaged.id, **at._asdict()))
    session.flush()
    return damaged


def _is_pile(session: Session, stock: Stock) -> bool:
    """Whether there are, were or may come several of that label."""
    return (
        stock.kind is StockKind.SHEET
        or stock.batch_id is not None
        or ledger.most_ever(session, stock) > 1
    )


def split_pile(
    session: Session, transaction: Transaction, stock: Stock, line: ReceiptLine
) -> Stock:
    """Take some of a pile apart as offcuts with a new label, whose grain runs as theirs does.

    Parameters
    ----------
    line
        What they are like now, how many, and where they are put.
    """
    reason = transaction.reason
    ledger.book_movement(session, stock, -line.quantity, reason, transaction=transaction)
    line = replace(line, grain=grain_of_stock(session, stock))
    (apart,) = put_away_offcuts(session, transaction, [line], reason=reason, parents=[stock])
    return apart


def damage_in_corner(
    session: Session, label: str, size: tuple[Length, Length], corner: str
) -> Rect:
    """Return where damage of a size is that is in a corner: ``top-left`` and so on.

    Raises
    ------
    Refusal
        If there is no such label or corner.
    """
    stock = find_stock(session, label)
    written = "-".join(corner.casefold().replace("-", " ").split())
    if written not in CORNERS:
        raise Refusal(f"there is no corner '{shorten(corner)}'; it is one of {', '.join(CORNERS)}")
    width, height = size
    return Rect(
        0 if written.endswith("left") else stock.width - width,
        0 if written.startswith("top") else stock.height - height,
        width,
        height,
    )


def read_damaged_area(
    session: Session,
    label: str,
    size: str,
    *,
    corner: str | None = None,
    left: str | None = None,
    top: str | None = None,
) -> Rect:
    """Read where a damaged area is: in a corner, or how far from the left and the top edge.

    Parameters
    ----------
    size
        Its width × height; bare numbers are in the shop's unit, as those of `left` and `top`.
    corner
        One of `CORNERS`.

    Raises
    ------
    Refusal
        If one of them can't be read, or not just one way of saying where it is was chosen.
    """
    if (corner is None) == (left is None or top is None):
        raise Refusal("say where the damage is: --corner, or both --left and --top")
    wide, high = size_of(session, size)
    if corner is not None:
        return damage_in_corner(session, label, (wide, high), corner)
    unit = session.get_one(Shop, 1).unit
    across = read_distance(left or "", unit, "the distance from the left edge")
    down = read_distance(top or "", unit, "the distance from the top edge")
    return Rect(across, down, wide, high)


def _check_within_stock(session: Session, stock: Stock, at: Rect, unit: Unit) -> None:
    whole = Rect(0, 0, stock.width, stock.height)
    if min(at.width, at.height) <= 0 or not whole.contains(at):
        raise Refusal(
            f"the damaged area does not lie on {stock.label}, which is"
            f" {format_size(stock.width, stock.height, unit)}"
        )
    _check_usable_area_left(stock, (*damaged_areas_by_stock(session).get(stock.id, ()), at))


def _check_usable_area_left(stock: Stock, damaged: tuple[Rect, ...]) -> None:
    sheet = Sheet("", stock.width, stock.height, None, Fraction(0), margins=stock.margins)
    if not maximal_free_rectangles(sheet.usable, damaged):
        raise Refusal(
            f"nothing of {stock.label} would be left",
            Hint("record it as spoiled", "stash spoil", (stock.label,)),
        )


def _check_unreserved(session: Session, stock: Stock) -> None:
    there = ledger.on_hand(session, stock)
    ledger.check_quantity(stock, there, -1)
    if not available(session, stock)[stock.label]:
        which = "it" if there == 1 and stock.kind is StockKind.OFFCUT else "all of it"
        raise Refusal(
            f"{stock.label} has a plan: a batch has reserved {which}; drop that batch first, record"
            " the damage and plan again"
        )


def change_margins(
    session: Session,
    label: str,
    margins: Margins,
    quantity: int | None = None,
    why: str = "",
    *,
    reserved_too: bool = False,
) -> Stock:
    """Book that more, or less, can't be used along the edges of sheets or of offcuts.

    What plans have been made with stays as it is: it gets another label, that of equal sheets if
    there are any, and takes its damaged areas and its grain along.

    Parameters
    ----------
    quantity
        How many of them; all, unless given.
    reserved_too
        Whether they may be some that a batch has reserved, which must then be planned again.

    Returns
    -------
    Stock
        What has these margins now.

    Raises
    ------
    Refusal
        If there is no such label, not as many are there or free, it has these margins already, or
        nothing would be left of it.
    """
    stock = find_stock(session, label)
    if stock.margins == margins:
        raise Refusal(f"{stock.label} has these margins already")
    there = ledger.on_hand(session, stock)
    number = whole_number(
        max(1, there) if quantity is None else quantity, f"the number of {stock.label}", least=1
    )
    ledger.check_quantity(stock, there, -number)
    if not reserved_too:
        _check_others_unreserved(session, stock, there, number)
    line = ReceiptLine(
        stock.paper.name, (stock.width, stock.height), number, stock.price,
        PlaceTree(session).path(stock.place_id), stock.note, stock.lot, margins=margins,
    )  # fmt: skip
    damaged = damaged_areas_by_stock(session).get(stock.id, ())
    transaction = ledger.book_transaction(session, Reason.MOVED, note=why)
    if stock.kind is StockKind.SHEET:
        (target,) = matching_stock(session, [line])
        changes = [(stock, -number, Reason.MOVED), (target, number, Reason.MOVED)]
        ledger.book_movements(session, transaction, changes)
        return target
    target = split_pile(session, transaction, stock, line)
    _check_usable_area_left(target, damaged)
    session.add_all(
        DamagedArea(transaction_id=transaction.id, stock_id=target.id, **rect._asdict())
        for rect in damaged
    )
    session.flush()
    return target


def _check_others_unreserved(session: Session, stock: Stock, there: int, number: int) -> None:
    free = available(session, stock)[stock.label]
    if number <= free:
        return
    if stock.kind is StockKind.OFFCUT and there == 1:
        raise Refusal(
            f"{stock.label} has a plan: a batch has reserved it; drop that batch first, change the"
            " margins and plan again"
        )
    raise Refusal(
        f"batches have reserved {there - free} of the {there} {stock.label}; change at most"
        f" {free}, or drop a batch first"
    )


def book_grain(session: Session, label: str, grain: GrainAxis | str, why: str = "") -> Stock:
    """Book along which side of an offcut, or of all of a pile, its grain runs.

    Raises
    ------
    Refusal
        If there is no such label, or it is of sheets, of which the paper says it.
    """
    stock = find_stock(session, label)
    fibres = choice(GrainAxis, grain, "the grain")
    if stock.kind is not StockKind.OFFCUT:
        raise Refusal(
            f"{stock.label} is of sheets, and the grain of sheets is set for their paper",
            Hint("set it", "paper set", (stock.paper.name, "--grain", "long")),
        )
    transaction = ledger.book_transaction(session, Reason.GRAIN, note=why)
    session.add(GrainFinding(transaction_id=transaction.id, stock_id=stock.id, grain=fibres))
    session.flush()
    return stock
