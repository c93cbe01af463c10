"""Lists read into the shop's book: what they say, and what is refused of them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from inventory.core.days import read_due
from inventory.database.tables.enums import Grain, Pattern, Reason, StockKind
from inventory.database.tables.ledger import Movement
from inventory.database.tables.orders import Order
from inventory.database.tables.stock import Paper, Place, Stock
from inventory.orders.import_orders import import_orders
from inventory.orders.orders import list_orders
from inventory.stock.import_lists import import_offcuts, import_papers, import_sheets
from inventory.stock.listing import list_stash
from inventory.stock.papers import add_paper, find_paper
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, inch
from nester.core.sheet_sizes import SHEET_SIZES, Size

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile

TODAY = date(2027, 3, 1)
PAPERS = "name,colour,finish,grammage,swatch,pattern,grain"
SHEETS = "paper,size,quantity,price,place,note"
OFFCUTS = "paper,size,place,note,price,quantity"
ORDERS = "customer,design,copies,due,sizes,papers"


@pytest.fixture
def book(shop: ShopFile) -> ShopFile:
    """A shop that knows two papers."""
    with shop.begin() as session:
        add_paper(session, "Coal card", colour="black", grammage=280)
        add_paper(session, "Moss linen", colour="green", grammage=150)
    return shop


def a_list(folder: Path, name: str, header: str, *lines: str) -> Path:
    path = folder / f"{name}.csv"
    path.write_text("\n".join((header, *lines)) + "\n", encoding="utf-8")
    return path


def rows_stored(shop: ShopFile) -> dict[str, int]:
    with shop.read() as session:
        return {
            table.__tablename__: session.scalar(select(func.count()).select_from(table)) or 0
            for table in (Paper, Place, Stock, Movement, Order)
        }


# --- what is read --------------------------------------------------------------------------------


def test_papers_are_read_whole(shop: ShopFile, tmp_path: Path) -> None:
    path = a_list(
        tmp_path, "papers", PAPERS,
        "Coal card,black,smooth,280,#1E1E21,plain,long",
        "Fern climb,green,,130,,Directional,",
    )  # fmt: skip
    with shop.begin() as session:
        assert import_papers(session, path) == 2
    with shop.read() as session:
        coal, fern = find_paper(session, "coal card"), find_paper(session, "fern climb")
    assert (coal.colour, coal.finish, coal.grammage) == ("black", "smooth", 280)
    assert (coal.swatch, coal.pattern, coal.grain) == ("#1e1e21", Pattern.PLAIN, Grain.LONG)
    assert (fern.finish, fern.swatch) == ("", None)
    assert (fern.pattern, fern.grain) == (Pattern.DIRECTIONAL, Grain.UNKNOWN)


def test_optional_columns_may_be_missing(shop: ShopFile, tmp_path: Path) -> None:
    path = a_list(tmp_path, "papers", "name,colour,finish,grammage", "Coal card,black,smooth,280")
    with shop.begin() as session:
        import_papers(session, path)
        path = a_list(tmp_path, "sheets", "paper,size,quantity", "Coal card,A4,5")
        assert import_sheets(session, path, Unit.MM) == 5
        path = a_list(tmp_path, "offcuts", "paper,size", "Coal card,10 x 20 cm")
        assert import_offcuts(session, path, Unit.MM) == 1
        sheets, offcut = list_stash(session)
    assert (sheets.price, sheets.place, sheets.note) == (None, None, "")
    assert (offcut.price, offcut.place, offcut.note) == (None, None, "")


def test_sheets_are_read_in_any_way_sizes_are_written(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(
        tmp_path, "sheets", SHEETS,
        "coal card,50x70cm,6,2.10,Flat file 1,last pack",
        "Coal card,A4,20,,,",
        "Moss linen,12 x 12 in,4,1.45,Flat file 1,",
        "Moss linen,50 x 70,3,0,,",
    )  # fmt: skip
    with book.begin() as session:
        assert import_sheets(session, path, Unit.CM) == 33
    with book.read() as session:
        rows = {
            (row.paper, Size(row.width, row.height)): (row.quantity, row.price, row.place, row.note)
            for row in list_stash(session)
        }
        assert set(session.scalars(select(Movement.reason))) == {Reason.RECEIVED}
        places = session.scalars(select(Place.name)).all()
    assert rows == {
        ("Coal card", Size(cm(50), cm(70))): (6, Decimal("2.10"), "Flat file 1", "last pack"),
        ("Coal card", SHEET_SIZES["A4"]): (20, None, None, ""),
        ("Moss linen", Size(inch(12), inch(12))): (4, Decimal("1.45"), "Flat file 1", ""),
        ("Moss linen", Size(cm(50), cm(70))): (3, Decimal(0), None, ""),
    }
    assert places == ["Flat file 1"]


def test_bare_numbers_are_in_the_given_unit(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(tmp_path, "offcuts", "paper,size", "Coal card,5 1/2 x 7")
    with book.begin() as session:
        import_offcuts(session, path, Unit.IN)
        (row,) = list_stash(session)
    assert (row.width, row.height) == (inch("5.5"), inch(7))


def test_the_offcuts_of_a_line_are_one_pile(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(
        tmp_path, "offcuts", OFFCUTS,
        "Coal card,17x56cm,Drawer A,long strip,0.25,3",
        "Coal card,38x45cm,Drawer B,,,",
    )  # fmt: skip
    with book.begin() as session:
        assert import_offcuts(session, path, Unit.MM, reason=Reason.OPENING) == 4
    with book.read() as session:
        rows = list_stash(session, kind=StockKind.OFFCUT)
        assert set(session.scalars(select(Movement.reason))) == {Reason.OPENING}
    assert [(row.label, row.quantity, row.price, row.place, row.note) for row in rows] == [
        ("K-2", 1, None, "Drawer B", ""),
        ("K-1", 3, Decimal("0.25"), "Drawer A", "long strip"),
    ]


def test_orders_are_read_whole(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(
        tmp_path, "orders", ORDERS,
        "Mira,layered-box,2,in 5 days,Panel = 18cm; tiers=4; mats=outside;,"
        "all=coal card; mat=Moss linen; mat.1.outside=Coal card",
        "Tobias,Folded-Card,6,2027-03-03,,all=Moss linen",
    )  # fmt: skip
    with book.begin() as session:
        assert import_orders(session, path, TODAY) == (2, [])
    with book.read() as session:
        card, box = list_orders(session)
    assert (box.customer, box.design, box.copies) == ("Mira", "layered-box", 2)
    assert box.due == date(2027, 3, 6)
    assert box.sizes == {"panel": "18cm", "tiers": "4", "mats": "outside"}
    assert box.papers == {
        "all": "Coal card", "mat": "Moss linen", "mat.1.outside": "Coal card",
    }  # fmt: skip
    assert (card.customer, card.design, card.copies) == ("Tobias", "folded-card", 6)
    assert (card.due, card.sizes) == (date(2027, 3, 3), {})


def test_a_due_date_in_the_past_is_taken_with_a_warning(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(
        tmp_path, "orders", ORDERS,
        "Mira,tray-box,1,in 1 day,,all=Coal card",
        "Tobias,tray-box,1,2027-02-01,,all=Coal card",
        "Ewa,tray-box,1,in 0 days,,all=Coal card",
    )  # fmt: skip
    with book.begin() as session:
        count, warnings = import_orders(session, path, TODAY)
    assert count == 3
    (warning,) = warnings
    assert warning.startswith(f"{path}, line 3: ")
    assert "2027-02-01" in warning
    assert rows_stored(book)["orders"] == 3


def test_a_list_out_of_a_spreadsheet_is_read_alike(book: ShopFile, tmp_path: Path) -> None:
    path = tmp_path / "orders.csv"
    lines = (
        "customer;design;copies;due;sizes;papers",
        'Mira;layered-box;1;in 2 days;"panel=18cm; tiers=3";"all=Coal card; mat=Moss linen"',
        ";;;;;",
    )
    path.write_bytes(b"\xef\xbb\xbf" + "\r\n".join(lines).encode())
    with book.begin() as session:
        assert import_orders(session, path, TODAY) == (1, [])
        (order,) = list_orders(session)
    assert order.sizes == {"panel": "18cm", "tiers": "3"}
    assert order.papers == {"all": "Coal card", "mat": "Moss linen"}


# --- what is refused -----------------------------------------------------------------------------


def papers(session: Session, path: Path) -> object:
    return import_papers(session, path)


def sheets(session: Session, path: Path) -> object:
    return import_sheets(session, path, Unit.CM)


def offcuts(session: Session, path: Path) -> object:
    return import_offcuts(session, path, Unit.CM)


def orders(session: Session, path: Path) -> object:
    return import_orders(session, path, TODAY)


GOOD = {
    papers: (PAPERS, "Oat card,cream,smooth,270,,,"),
    sheets: (SHEETS, "Coal card,50x70,6,2.10,Flat file 1,"),
    offcuts: (OFFCUTS, "Coal card,17x56,Drawer A,,,"),
    orders: (ORDERS, "Mira,tray-box,1,in 2 days,,all=Coal card"),
}


@pytest.mark.parametrize(
    ("read", "line", "field", "why"),
    [
        (papers, ",black,smooth,280,,,", "name", "missing"),
        (papers, f"{'x' * 201},black,smooth,280,,,", "name", "at most 200"),
        (papers, "OAT  CARD,cream,smooth,270,,,", "name", "stands in line 2 already"),
        (papers, "coal Card,black,smooth,280,,,", "name", "is in the shop already"),
        (papers, "Plum card,,smooth,280,,,", "colour", "missing"),
        (papers, f"Plum card,purple,{'x' * 201},280,,,", "finish", "at most 200"),
        (papers, "Plum card,purple,smooth,,,,", "grammage", "missing"),
        (papers, "Plum card,purple,smooth,heavy,,,", "grammage", "is none; write it like"),
        (papers, "Plum card,purple,smooth,0,,,", "grammage", "must be 1 to 2,000"),
        (papers, "Plum card,purple,smooth,2001,,,", "grammage", "2,000"),
        (papers, "Plum card,purple,smooth,270,purple,,", "swatch", "#1a2b3c"),
        (papers, "Plum card,purple,smooth,270,,stripes,", "pattern", "plain"),
        (papers, "Plum card,purple,smooth,270,,,across", "grain", "long or short"),
        (papers, "Plum card,purple,smooth,270,,,,,1", None, "fields"),
        (sheets, ",50x70,6,,,", "paper", "missing"),
        (sheets, "Cole card,50x70,6,,,", "paper", "did you mean 'Coal card'?"),
        (sheets, "Coal card,,6,,,", "size", "50x70cm"),
        (sheets, "Coal card,50x70 furlongs,6,,,", "size", "unknown unit"),
        (sheets, "Coal card,0x70,6,,,", "size", "more than zero"),
        (sheets, "Coal card,50x-70,6,,,", "size", "more than zero"),
        (sheets, "Coal card,50x7000,6,,,", "size", "more than 10 m"),
        (sheets, "Coal card,inf x inf,6,,,", "size", "not a size"),
        (sheets, "Coal card,50x70,,,,", "quantity", "missing"),
        (sheets, "Coal card,50x70,1.5,,,", "quantity", "not a whole number"),
        (sheets, "Coal card,50x70,0,,,", "quantity", "at least 1"),
        (sheets, "Coal card,50x70,1000001,,,", "quantity", "at most 1,000,000"),
        (sheets, "Coal card,50x70,1000000,2.10,Flat file 1,", "quantity", "over 1,000,000"),
        (sheets, "Coal card,50x70,6,cheap,,", "price", "not an amount"),
        (sheets, "Coal card,50x70,6,-1,,", "price", "less than zero"),
        (sheets, f"Coal card,50x70,6,,{'x' * 201},", "place", "at most 200"),
        (sheets, f"Coal card,50x70,6,,,{'x' * 2001}", "note", "at most 2,000"),
        (offcuts, "Mos linen,17x56,,,,", "paper", "did you mean 'Moss linen'?"),
        (offcuts, "Coal card,17,,,,", "size", "not a size"),
        (offcuts, "Coal card,17x56,,,free,", "price", "not an amount"),
        (offcuts, "Coal card,17x56,,,,0", "quantity", "at least 1"),
        (offcuts, "Coal card,17x56,,,,1000001", "quantity", "at most 1,000,000"),
        (orders, ",tray-box,1,in 2 days,,all=Coal card", "customer", "missing"),
        (orders, "Ewa,tray-bx,1,in 2 days,,all=Coal card", "design", "did you mean 'tray-box'?"),
        (orders, "Ewa,tray-box,0,in 2 days,,all=Coal card", "copies", "at least 1"),
        (orders, "Ewa,tray-box,two,in 2 days,,all=Coal card", "copies", "not a whole number"),
        (orders, "Ewa,tray-box,1,,,all=Coal card", "due", "a day is missing"),
        (orders, "Ewa,tray-box,1,soon,,all=Coal card", "due", "in 2 weeks"),
        (orders, "Ewa,tray-box,1,2027-02-30,,all=Coal card", "due", "no such day"),
        (orders, "Ewa,tray-box,1,in 2 days,width,all=Coal card", "sizes", "does not say a size"),
        (orders, "Ewa,tray-box,1,in 2 days,widht=9cm,all=Coal card", "sizes", "did you mean width"),
        (orders, "Ewa,tray-box,1,in 2 days,width=9cm; width=8cm,all=Coal card", "sizes", "twice"),
        (orders, "Ewa,tray-box,1,in 2 days,width=9ell,all=Coal card", "sizes", "unknown unit"),
        (orders, "Ewa,layered-box,1,in 2 days,panel=9cm; step=9cm,all=Coal card", "sizes", "step"),
        (orders, "Ewa,tray-box,1,in 2 days,,", "papers", "needs a paper for tray, lid"),
        (orders, "Ewa,tray-box,1,in 2 days,,tray=Coal card", "papers", "needs a paper for lid"),
        (orders, "Ewa,tray-box,1,in 2 days,,Coal card", "papers", "does not say a paper"),
        (orders, "Ewa,tray-box,1,in 2 days,,all=", "papers", "does not say a paper"),
        (orders, "Ewa,tray-box,1,in 2 days,,all=Coal crad", "papers", "did you mean 'Coal card'?"),
        (orders, "Ewa,tray-box,1,in 2 days,,all=Coal card; tier=Coal card", "papers", "'tier'"),
        (orders, "Ewa,tray-box,1,in 2 days,,all=Coal card; ALL=Moss linen", "papers", "twice"),
    ],
)
def test_a_bad_line_is_refused_and_nothing_is_stored(
    book: ShopFile,
    tmp_path: Path,
    read: Callable[[Session, Path], object],
    line: str,
    field: str | None,
    why: str,
) -> None:
    before = rows_stored(book)
    header, good = GOOD[read]
    path = a_list(tmp_path, read.__name__, header, good, line)
    with pytest.raises(Refusal) as refusal, book.begin() as session:
        read(session, path)
    where = f"{path}, line 3{'' if field is None else f', {field}'}: "
    said = str(refusal.value)
    assert said.startswith(where)
    assert why in said.removeprefix(where)
    assert str(path) not in said.removeprefix(where)
    assert "\n" not in said
    assert rows_stored(book) == before


@pytest.mark.parametrize("read", list(GOOD))
def test_the_good_lines_are_good(
    book: ShopFile, tmp_path: Path, read: Callable[[Session, Path], object]
) -> None:
    before = rows_stored(book)
    with book.begin() as session:
        read(session, a_list(tmp_path, "good", *GOOD[read]))
    assert rows_stored(book) != before


@pytest.mark.parametrize("read", list(GOOD))
def test_a_missing_column_is_named(
    book: ShopFile, tmp_path: Path, read: Callable[[Session, Path], object]
) -> None:
    header, good = GOOD[read]
    first, _, others = header.partition(",")
    path = a_list(tmp_path, "short", others, good.partition(",")[2])
    missing = f"line 1: the column '{first}' is missing"
    with pytest.raises(Refusal, match=missing), book.begin() as session:
        read(session, path)


def test_a_misspelt_optional_column_is_named(book: ShopFile, tmp_path: Path) -> None:
    path = a_list(tmp_path, "sheets", "paper,size,quantity,prise", "Coal card,A4,5,1")
    slip = "unknown column 'prise'; is it 'price'"
    with pytest.raises(Refusal, match=slip), book.begin() as session:
        import_sheets(session, path, Unit.MM)


# --- when it is due ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2027-03-14", date(2027, 3, 14)),
        (" in 5 days ", date(2027, 3, 6)),
        ("In  1 Day", date(2027, 3, 2)),
        ("in 0 days", TODAY),
        ("today", TODAY),
        ("Tomorrow", date(2027, 3, 2)),
        ("Übermorgen", date(2027, 3, 3)),
        ("friday", date(2027, 3, 5)),
        ("Freitag", date(2027, 3, 5)),
        ("next Tue", date(2027, 3, 2)),
        ("monday", date(2027, 3, 8)),
        ("in 2 weeks", date(2027, 3, 15)),
        ("in zwei Wochen", date(2027, 3, 15)),
        ("in a month", date(2027, 4, 1)),
        ("next week", date(2027, 3, 8)),
        ("24 Dec", date(2027, 12, 24)),
        ("24. Dezember", date(2027, 12, 24)),
        ("December 24th", date(2027, 12, 24)),
        ("Dec 24, 2028", date(2028, 12, 24)),
        ("24.12.", date(2027, 12, 24)),
        ("3.2.2028", date(2028, 2, 3)),
        ("1.2.", date(2028, 2, 1)),
        ("29 Feb", date(2028, 2, 29)),
        ("3 märz", date(2027, 3, 3)),
        ("in 400 days", date(2028, 4, 4)),
    ],
)
def test_a_day_is_read(text: str, day: date) -> None:
    assert read_due(text, TODAY) == day


@pytest.mark.parametrize(
    "text", ["", "5 days", "in seven moons", "in -1 days", "3", "24/12", "soon", "24 Frimaire"]
)
def test_what_is_no_day_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="write it like 2027-03-14, tomorrow, friday, in 2 weeks"):
        read_due(text, TODAY)


@pytest.mark.parametrize("text", ["in 12345678 days", "31 April", "2027-02-30", "31.6.", "0 May"])
def test_a_day_that_is_not_in_the_calendar_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="there is no such day"):
        read_due(text, TODAY)
    with pytest.raises(Refusal, match="there is no such day"):
        read_due("in 9 days", date.max)
