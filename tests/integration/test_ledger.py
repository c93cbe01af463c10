from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import delete, select, text, update
from sqlalchemy.exc import IntegrityError, StatementError
from sqlalchemy.orm import Session

from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Movement, Transaction
from inventory.database.tables.stock import Stock
from inventory.stock import adjust, condition, ledger, listing, lookup, papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.problem import Rect

SIZE = (cm(50), cm(70))


@pytest.fixture
def sheets(shop: ShopFile) -> str:
    """Ten sheets under the label S-1."""
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=300)
        return receiving.add_sheets(session, "Night card", SIZE, 10).label


def amount(shop: ShopFile, label: str) -> int:
    with shop.read() as session:
        return ledger.on_hand(session, lookup.find_stock(session, label))


def test_a_quantity_is_the_sum_of_its_movements(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        stock = lookup.find_stock(session, sheets)
        ledger.book_movement(session, stock, -3, Reason.CUT)
        ledger.book_movement(session, stock, 5, Reason.RECEIVED)
        assert ledger.on_hand(session, stock) == 12
        assert ledger.on_hand_by_stock(session) == {stock.id: 12}
        assert ledger.on_hand_by_stock(session, [stock]) == {stock.id: 12}
    assert amount(shop, sheets) == 12


def test_what_never_moved_counts_nothing(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        paper = papers.find_paper(session, "night CARD")
        bare = Stock(kind="offcut", number=9, label="K-9", paper=paper, width=1, height=1, note="")
        session.add(bare)
        session.flush()
        assert ledger.on_hand(session, bare) == 0
        assert ledger.on_hand_by_stock(session, [bare]) == {bare.id: 0}


def test_no_quantity_falls_below_zero(shop: ShopFile, sheets: str) -> None:
    said = "S-1 has 10 on hand, so 11 can't be taken from it"
    with pytest.raises(Refusal, match=said), shop.begin() as session:
        ledger.book_movement(session, lookup.find_stock(session, sheets), -11, Reason.SPOILED)
    assert amount(shop, sheets) == 10


def test_no_quantity_grows_over_the_limit(shop: ShopFile, sheets: str) -> None:
    said = "999,991 more would be over 1,000,000"
    with pytest.raises(Refusal, match=said), shop.begin() as session:
        ledger.book_movement(session, lookup.find_stock(session, sheets), 999_991, Reason.RECEIVED)
    assert amount(shop, sheets) == 10


def test_equal_offcuts_are_a_pile_unless_they_are_damaged(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        offcut = receiving.add_offcut(session, "Night card", (cm(10), cm(20)))
        counted = ledger.book_transaction(session, Reason.COUNTED)
        ledger.book_movement(session, offcut, -1, Reason.COUNTED, transaction=counted)
        ledger.book_movement(session, offcut, 1, Reason.COUNTED)
        condition.book_damage(session, "K-1", Rect(0, 0, cm(1), cm(1)))
        for again in (
            lambda: ledger.book_movement(session, offcut, 1, Reason.COUNTED),
            lambda: ledger.book_movements(session, counted, [(offcut, 1, Reason.COUNTED)]),
            lambda: ledger.reverse_transaction(session, counted),
        ):
            with pytest.raises(Refusal, match="K-1 is damaged, so there is only one like it"):
                again()
        ledger.book_movement(session, offcut, -1, Reason.CUT)
        with pytest.raises(Refusal, match="K-1 is not in the stash any more"):
            ledger.book_movement(session, offcut, -1, Reason.CUT)


@pytest.mark.parametrize(
    ("change", "reason"),
    [(0, Reason.COUNTED), (-1, Reason.RECEIVED), (-1, Reason.OPENING), (1, Reason.CUT),
     (1, Reason.SPOILED), (1, Reason.UNDONE)],
)  # fmt: skip
def test_a_reason_must_go_with_its_change(
    shop: ShopFile, sheets: str, change: int, reason: Reason
) -> None:
    with shop.begin() as session, pytest.raises(ValueError, match="movement") as error:
        ledger.book_movement(session, lookup.find_stock(session, sheets), change, reason)
    assert not isinstance(error.value, Refusal)


def deed_of(session: Session, movement: Movement) -> Transaction:
    return session.get_one(Transaction, movement.transaction_id)


def test_a_deed_is_taken_back_by_counter_movements(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        spoiled = adjust.spoil_stock(session, sheets, 4, "coffee")
        back = ledger.reverse_transaction(
            session, deed_of(session, spoiled), note="it was tea, and dry"
        )
        counter = session.scalars(select(Movement).where(Movement.transaction_id == back.id)).one()
        assert (counter.change, counter.reason, counter.undoes_id) == (
            4,
            Reason.UNDONE,
            spoiled.id,
        )
        assert back.undoes_id == spoiled.transaction_id
    assert amount(shop, sheets) == 10
    with shop.read() as session:
        assert [row.balance for row in listing.stock_history(session, sheets)] == [10, 6, 10]


def test_a_deed_is_taken_back_once(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        deed = deed_of(session, adjust.spoil_stock(session, sheets, 4))
        back = ledger.reverse_transaction(session, deed)
        with pytest.raises(Refusal, match="has been undone already"):
            ledger.reverse_transaction(session, deed)
        with pytest.raises(Refusal, match="undid another entry"):
            ledger.reverse_transaction(session, back)


def test_what_has_gone_since_cannot_be_taken_back(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        stock = lookup.find_stock(session, sheets)
        arrival = session.scalars(select(Movement)).one()
        ledger.book_movement(session, stock, -1, Reason.CUT)
        with pytest.raises(Refusal, match="S-1 has 9 on hand, so 10 can't be taken"):
            ledger.reverse_transaction(session, deed_of(session, arrival))


def test_moments_are_kept_in_utc(shop: ShopFile, sheets: str) -> None:
    noon = datetime(2026, 3, 1, 12, tzinfo=timezone(timedelta(hours=5)))
    with shop.begin() as session:
        stock = lookup.find_stock(session, sheets)
        number = ledger.book_movement(session, stock, -1, Reason.CUT, at=noon).id
    with shop.read() as session:
        at = session.get_one(Movement, number).at
    assert at == noon
    assert at.tzinfo is UTC
    local = noon.replace(tzinfo=None)
    with pytest.raises(StatementError, match="needs a time zone"), shop.begin() as session:
        ledger.book_movement(session, lookup.find_stock(session, sheets), -1, Reason.CUT, at=local)
    assert amount(shop, sheets) == 9


CHANGES = {
    "update": "UPDATE movement SET change = 99",
    "delete": "DELETE FROM movement",
    "upsert": "INSERT INTO movement (id, stock_id, change, reason, at, note)"
    " SELECT id, stock_id, 99, reason, at, note FROM movement WHERE true"
    " ON CONFLICT (id) DO UPDATE SET change = 99",
}
CHANGES_BY_DIALECT = {
    "sqlite": {
        "replace": "INSERT OR REPLACE INTO movement (id, stock_id, change, reason, at, note)"
        " SELECT id, stock_id, 99, reason, at, note FROM movement",
        "replace of an undo": "INSERT OR REPLACE INTO movement"
        " (stock_id, change, reason, at, note, undoes_id)"
        " SELECT stock_id, 99, reason, at, note, undoes_id FROM movement WHERE undoes_id > 0",
    },
    "postgresql": {"truncate": "TRUNCATE movement", "cascade": "TRUNCATE stock CASCADE"},
}
"""What only one of them can say."""


def test_the_database_itself_keeps_the_ledger_append_only(shop: ShopFile, sheets: str) -> None:
    with shop.begin() as session:
        ledger.reverse_transaction(
            session, deed_of(session, adjust.spoil_stock(session, sheets, 4))
        )
        own = CHANGES_BY_DIALECT[session.get_bind().dialect.name]
    for statement in (CHANGES | own).values():
        with pytest.raises(IntegrityError, match="append-only"), shop.begin() as session:
            session.execute(text(statement))
    with shop.read() as session:
        assert [row.change for row in listing.stock_history(session, sheets)] == [10, -4, 4]


def _change_attribute(session: Session, movement: Movement) -> None:
    movement.change = 99
    session.flush()


def _update(session: Session, movement: Movement) -> None:
    session.execute(update(Movement).values(note="was there"))


def _delete(session: Session, movement: Movement) -> None:
    session.execute(delete(Movement).where(Movement.id == movement.id))


@pytest.mark.parametrize("deed", [_change_attribute, _update, _delete])
def test_python_cannot_change_the_ledger_either(shop: ShopFile, sheets: str, deed) -> None:
    with pytest.raises(IntegrityError, match="append-only"), shop.begin() as session:
        deed(session, session.scalars(select(Movement)).one())
    assert amount(shop, sheets) == 10


def test_stock_that_moved_cannot_be_deleted(shop: ShopFile, sheets: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"), shop.begin() as session:
        session.execute(delete(Stock))
    assert amount(shop, sheets) == 10
