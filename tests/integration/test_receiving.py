"""What suppliers bring: by piece and pack, under delivery notes, from lists and workbooks."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook
from sqlalchemy import event, func, select

from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Delivery, Movement, Transaction
from inventory.stock import adjust, ledger, listing, papers, receiving
from inventory.stock.import_lists import import_sheets, read_sheets
from inventory.stock.places import PlaceTree
from inventory.stock.receiving import ReceiptLine, add_sheets, list_deliveries, receive_goods
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

SIZE = (cm(50), cm(70))
SMALL = (cm(20), cm(30))


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        for name in ("Coal card", "Moss linen"):
            papers.add_paper(opened, name, colour="black", grammage=300)
        yield opened


def on_hand(session: Session) -> dict[str, int]:
    return {row.label: row.quantity for row in listing.list_stash(session)}


def test_a_delivery_is_one_deed(session: Session) -> None:
    lines = [
        ReceiptLine("Coal card", SIZE, 50, Decimal("1.80"), "Shelf A / Drawer 1", lot="B7"),
        ReceiptLine("coal CARD", SIZE, 25, Decimal("1.80"), "shelf a / drawer 1", lot="b7"),
        ReceiptLine("Coal card", SIZE, 10, Decimal("1.80"), "Shelf A / Drawer 1", lot="B8"),
        ReceiptLine("Moss linen", SMALL, 5),
    ]
    stocks = receive_goods(session, lines, supplier="Paper mill", number="4711")
    assert [stock.label for stock in stocks] == ["S-1", "S-1", "S-2", "S-3"]
    assert on_hand(session) == {"S-1": 75, "S-2": 10, "S-3": 5}
    (deed,) = session.scalars(select(Transaction))
    assert (deed.reason, deed.delivery.supplier, deed.delivery.number) == (
        Reason.RECEIVED, "Paper mill", "4711",
    )  # fmt: skip
    assert {one.transaction_id for one in session.scalars(select(Movement))} == {deed.id}
    (row,) = list_deliveries(session)
    assert (row.supplier, row.number, row.sheets, row.paid) == ("Paper mill", "4711", 90, 153)


def test_the_same_note_twice_is_noticed(session: Session) -> None:
    once = {"supplier": "Paper mill", "number": "4711", "lot": "B7"}
    came = datetime(2027, 3, 1, 12, tzinfo=UTC)
    add_sheets(session, "Coal card", SIZE, 50, at=came, **once)
    said = "4711 of Paper mill brought 50 sheets of Coal card 50 × 70 cm on 2027-03-01 already"
    for again in ({}, {"supplier": "PAPER  mill"}, {"lot": "b7"}):
        with pytest.raises(Refusal, match=said):
            add_sheets(session, "Coal card", SIZE, 20, **{**once, **again})
    assert on_hand(session) == {"S-1": 50}
    add_sheets(session, "Coal card", SIZE, 20, again=True, **once)
    add_sheets(session, "Coal card", SMALL, 20, **once)
    add_sheets(session, "Coal card", SIZE, 20, **{**once, "number": "4712"})
    add_sheets(session, "Coal card", SIZE, 20, **{**once, "supplier": "Other mill"})
    assert session.scalar(select(func.count()).select_from(Delivery)) == 3


def test_a_note_that_was_taken_back_may_come_again(session: Session) -> None:
    once = {"supplier": "Paper mill", "number": "4711"}
    add_sheets(session, "Coal card", SIZE, 50, **once)
    ledger.reverse_transaction(
        session, session.scalars(select(Transaction)).one(), note="another shop's"
    )
    assert on_hand(session) == {}
    assert list_deliveries(session) == []
    add_sheets(session, "Coal card", SIZE, 40, **once)
    assert on_hand(session) == {"S-1": 40}


def test_a_deed_is_taken_back_once_and_wholly(session: Session) -> None:
    receive_goods(
        session, [ReceiptLine("Coal card", SIZE, 50), ReceiptLine("Moss linen", SIZE, 20)]
    )
    deed = session.scalars(select(Transaction)).one()
    adjust.spoil_stock(session, "S-2", 1)
    with pytest.raises(Refusal, match="S-2 has 19 on hand, so 20 can't be taken"):
        ledger.reverse_transaction(session, deed)
    assert on_hand(session) == {"S-1": 50, "S-2": 19}
    ledger.reverse_transaction(session, session.get_one(Transaction, deed.id + 1))
    back = ledger.reverse_transaction(session, deed)
    assert on_hand(session) == {}
    for again, why in ((deed, "has been undone already"), (back, "undid another entry")):
        with pytest.raises(Refusal, match=f"entry {again.id} {why}"):
            ledger.reverse_transaction(session, again)
    assert [one.undoes.transaction_id for one in session.scalars(
        select(Movement).where(Movement.transaction_id == back.id)
    )] == [deed.id, deed.id]  # fmt: skip


def test_a_deed_that_is_partly_taken_back_stays(session: Session) -> None:
    receive_goods(
        session, [ReceiptLine("Coal card", SIZE, 50), ReceiptLine("Moss linen", SIZE, 20)]
    )
    # As a book may have it from when single movements were taken back.
    first = session.scalars(select(Movement)).first()
    session.add(Movement(stock=first.stock, change=-first.change, reason=Reason.UNDONE,
                         undoes=first, at=datetime.now(UTC)))  # fmt: skip
    session.flush()
    with pytest.raises(Refusal, match="a part of entry 1 has been undone already"):
        ledger.reverse_transaction(session, session.get_one(Transaction, 1))
    assert on_hand(session) == {"S-2": 20}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"number": "4711"}, "needs the supplier's name"),
        ({"supplier": "x" * 201}, "at most 200 fit"),
        ({"supplier": "Mill", "number": "a\nb"}, "the number of the delivery note"),
    ],
)
def test_a_wrong_delivery_changes_nothing(session: Session, wrong, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        add_sheets(session, "Coal card", SIZE, 5, place="New shelf", **wrong)
    assert on_hand(session) == {}
    assert PlaceTree(session).sorted() == []
    assert session.scalar(select(func.count()).select_from(Delivery)) == 0


def test_days_and_packs() -> None:
    today = date(2027, 3, 2)
    assert receiving.receipt_time(None, today) is receiving.receipt_time(today, today) is None
    came = receiving.receipt_time(date(2027, 3, 1), today)
    assert came is not None
    assert came.astimezone().date() == date(2027, 3, 1)
    with pytest.raises(Refusal, match="2027-03-03 has not come yet; record what comes when it is"):
        receiving.receipt_time(date(2027, 3, 3), today)
    assert receiving.sheet_price(Decimal("9.50"), 25) == Decimal("0.38")
    assert receiving.sheet_price(Decimal(10), 3) == Decimal("3.3333")
    assert receiving.sheet_price(Decimal(2), 3) == Decimal("0.6667")


def test_a_workbook_is_read_as_its_csv(session: Session, tmp_path: Path) -> None:
    rows = [
        ["paper", "size", "quantity", "price", "place", "lot"],
        ["Coal card", "50x70cm", 12, 1.8, "Shelf A", 4711],
        [None, None, None, None, None, None],
        ["Moss linen", "A4", 5.0, None, None, None],
    ]
    book = Workbook()
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "sheets.xlsx")
    text = "\n".join(",".join("" if cell is None else str(cell) for cell in row) for row in rows)
    (tmp_path / "sheets.csv").write_text(text.replace("5.0", "5"), encoding="utf-8")
    of_book = read_sheets(session, tmp_path / "sheets.xlsx", Unit.MM)
    of_text = read_sheets(session, tmp_path / "sheets.csv", Unit.MM)
    assert [line.source[-18:] for line in of_book] == ["line 2, quantity: ", "line 4, quantity: "]
    assert [(one.paper, one.size, one.quantity, one.price, one.place, one.lot)
            for one in of_book] == [(one.paper, one.size, one.quantity, one.price, one.place,
            one.lot) for one in of_text]  # fmt: skip
    assert of_book[0].price == Decimal("1.8")


def test_what_is_no_workbook_is_refused(session: Session, tmp_path: Path) -> None:
    path = tmp_path / "sheets.xlsx"
    for data in (b"paper,size,quantity\n", b"", b"PK\x03\x04" + b"x" * 50):
        path.write_bytes(data)
        with pytest.raises(Refusal, match=r"sheets\.xlsx: it can't be read as a workbook"):
            read_sheets(session, path, Unit.MM)
    book = Workbook()
    book.active.append(["paper", "size", "quantity"])
    book.active.append(["Coal card", "50x70cm", "many"])
    book.save(path)
    with pytest.raises(Refusal, match=r"sheets\.xlsx, line 2, quantity: 'many' is not a whole"):
        read_sheets(session, path, Unit.MM)


def test_a_long_list_takes_few_queries(session: Session, tmp_path: Path) -> None:
    path = tmp_path / "sheets.csv"
    lines = [f"Coal card,{200 + n}x300mm,5,Shelf {n % 5}" for n in range(400)]
    path.write_text("paper,size,quantity,place\n" + "\n".join(lines), encoding="utf-8")
    asked: list[str] = []
    listener = lambda *args: asked.append(args[2])  # noqa: E731
    event.listen(session.get_bind(), "before_cursor_execute", listener)
    assert import_sheets(session, path, Unit.MM) == 2000
    assert len(asked) < 60
    assert len(on_hand(session)) == 400


def test_receiving_at_the_desk(hand: Hand, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    told = hand.does(
        "sheet", "add", "Coal card", "A4", "--packs", "2", "--pack", "25", "--pack-price", "9.50",
        "--supplier", "Paper mill", "--note-number", "4711", "--lot", "B7", "--date", "2026-01-05",
    )  # fmt: skip
    assert told == "Added 50 sheets of Coal card, 210 × 297 mm, to S-1; 50 on hand now\n"
    (row,) = hand.data("stash", "stash", "list")
    assert (row["quantity"], row["price"]) == (50, "0.38")
    (row,) = hand.data("history", "stash", "history", "S-1")
    assert row["at"].startswith("2026-01-05")
    path = tmp_path / "more.csv"
    path.write_text("paper,size,quantity,price,lot\nCoal card,A4,10,0.38,B7\n", encoding="utf-8")
    came = ("sheet", "import", str(path), "--supplier", "Paper mill", "--note-number", "4711")
    assert "more.csv, line 2, quantity: delivery note 4711" in hand.refused(*came, "--yes")
    assert "this needs an answer" in hand.refused(*came, "--again")
    assert hand.does(*came, "--again", "--yes") == "Added 10 sheets\n"
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("typer.confirm", lambda *_, **__: False)
    assert "nothing was stored" in hand.refused(*came, "--again")
    monkeypatch.setattr("typer.confirm", lambda *_, **__: True)
    shown = hand.does(*came, "--again")
    assert "Together 10 sheets for 3.80 EUR" in shown
    (row,) = hand.data("deliveries", "sheet", "deliveries")
    assert (row["sheets"], row["paid"]) == (70, "26.60")
    assert "Paper mill" in hand.does("sheet", "deliveries")
    for wrong in (
        ("--packs", "2"), ("--pack", "5", "--quantity", "3"), ("--pack-price", "3"),
        ("--pack", "5", "--pack-price", "3", "--price", "1"), ("--date", "2999-01-01"),
    ):  # fmt: skip
        hand.refused("sheet", "add", "Coal card", "A4", *wrong)
    assert hand.data("stash", "stash", "list")[0]["quantity"] == 70
