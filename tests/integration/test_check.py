"""`shop check` finds what is wrong, whatever it is, and nothing in a book that is right."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import Reason
from inventory.database.tables.ledger import Movement
from inventory.maintenance.check import CHECKS, check_shop
from inventory.stock import ledger
from inventory.stock.adjust import count_stock
from inventory.stock.lookup import find_stock

if TYPE_CHECKING:
    from pathlib import Path


def faults(shop: ShopFile) -> set[tuple[str, str]]:
    report = check_shop(shop)
    assert all(one.check in report.checks for one in report.findings)
    return {(one.check, one.where) for one in report.faults}


def test_a_book_that_is_right(filled: ShopFile) -> None:
    assert check_shop(filled).findings == ()
    report = check_shop(filled)
    assert report.findings == ()
    assert set(report.checks) == set(CHECKS)


def harm(shop: ShopFile, *statements: str) -> None:
    """Do what neither the program nor the database lets anybody do."""
    with shop.begin() as session:
        sqlite = session.get_bind().dialect.name == "sqlite"
        guards = [
            (name, written)
            for name, written in session.execute(
                text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            )
        ] if sqlite else []  # fmt: skip
        for name, _ in guards:
            session.execute(text(f"DROP TRIGGER {name}"))
        if sqlite:
            session.execute(text("PRAGMA ignore_check_constraints = ON"))
            session.execute(text("PRAGMA defer_foreign_keys = ON"))
        else:
            session.execute(text("SET LOCAL session_replication_role = replica"))
        for statement in statements:
            session.execute(text(statement))
        for _, written in guards:
            session.execute(text(written))
        if sqlite:
            session.execute(text("PRAGMA ignore_check_constraints = OFF"))


MOVE = "INSERT INTO movement (stock_id, change, reason, at, note, batch_id, undoes_id) VALUES"
NOW = "'2027-03-01 10:00:00'"

HARM = {
    "fewer than none": (
        [f"{MOVE} (1, -9, 'spoiled', {NOW}, '', NULL, NULL)",
         f"{MOVE} (1, 9, 'received', {NOW}, '', NULL, NULL)"],
        {("sums", "S-1")},
    ),
    "a damaged offcut twice": (
        ["INSERT INTO bruise (deed_id, stock_id, x, y, width, height) VALUES (2, 2, 0, 0, 9, 9)",
         f"{MOVE} (2, 1, 'counted', {NOW}, '', NULL, NULL)"],
        {("bruises", "K-1")},
    ),
    "more than a million": (
        [f"{MOVE} (2, 1000000, 'counted', {NOW}, '', NULL, NULL)"], {("sums", "K-1")},
    ),
    "the label of another batch's offcuts": (
        ["UPDATE stock SET batch_id = 2 WHERE label = 'K1-1'"], {("labels", "K1-1")},
    ),
    "another size than the plan's": (
        ["UPDATE stock SET width = width - 1 WHERE label = 'K1-1'"], {("offcuts", "K1-1")},
    ),
    "fewer offcuts than the plan's": (
        ["UPDATE movement SET change = 1 WHERE reason = 'kept' AND change = 2"],
        {("offcuts", "entry")},
    ),
    "a counter-movement by half": (
        [f"{MOVE} (1, 2, 'undone', {NOW}, '', NULL, 5)"], {("undone", "movement")},
    ),
    "cut twice": (
        [f"{MOVE} (1, -2, 'cut', {NOW}, '', 1, NULL)",
         f"{MOVE} (1, 2, 'received', {NOW}, '', NULL, NULL)"],
        {("cut", "S-1")},
    ),
    "a sheet reserved that is not there": (
        ["UPDATE movement SET change = 1 WHERE id = 1",
         "UPDATE movement SET at = '2020-01-01 10:00:00'",
         "DELETE FROM movement WHERE id > 1 AND stock_id = 1"],
        {("reservations", "S-1"), ("cut", "entry")},
    ),
    "a plan that is none": (
        ["UPDATE batch SET plan = '{}' WHERE id = 1"], {("plans", "batch 1")},
    ),
    "another batch's plan": (
        ["UPDATE batch SET plan = (SELECT plan FROM batch WHERE id = 2) WHERE id = 1"],
        {("plans", "batch 1")},
    ),
    "planned for nothing": (
        ["UPDATE orders SET status = 'planned' WHERE id = 1"],
        {("orders", "order 1"), ("steps", "order 1")},
    ),
    "another step": (
        ["UPDATE orders SET status = 'delivered' WHERE id = 1"], {("steps", "order 1")},
    ),
    "in two batches": (
        ["UPDATE batch SET status = 'open'", "INSERT INTO batch_order VALUES (1, 2)"],
        {("orders", "order 2"), ("batches", "batch 1")},
    ),
    "no shop": (["DELETE FROM shop"], {("shop", "shop")}),
    "another key": (
        ["UPDATE paper SET name_key = 'x'"], {("names", "paper 'Coal card'")},
    ),
    "another label": (["UPDATE stock SET label = 'S-9' WHERE id = 1"], {("labels", "S-9")}),
    "no amount of money": (
        ["UPDATE stock SET price = 'dear' WHERE id = 1"], {("values", "stock 1")},
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", HARM)
def test_what_is_wrong_is_found(filled: ShopFile, kind: str) -> None:
    statements, expected = HARM[kind]
    harm(filled, *statements)
    found = faults(filled)
    assert {check for check, _ in found} == {check for check, _ in expected}
    assert all(any(seen.startswith(where) for _, seen in found) for _, where in expected)


def test_what_was_lost_since_is_no_fault_of_the_book(filled: ShopFile) -> None:
    with filled.begin() as session:
        count_stock(session, "S-1", 0)
    report = check_shop(filled)
    assert report.faults == []
    (notice,) = report.notices
    assert notice.where == "S-1"
    assert "plan again" in notice.message


def test_a_pointer_to_nowhere_is_found(filled: ShopFile) -> None:
    if filled.path is None:
        harm(filled, "UPDATE stock SET place_id = 77 WHERE id = 1")
    else:
        without_rules(filled.path, "UPDATE stock SET place_id = 77 WHERE id = 1")
    assert faults(filled) == {("pointers", "stock 1")}


def without_rules(path: Path, *statements: str) -> None:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(path, isolation_level=None)) as book:
        book.execute("PRAGMA writable_schema = ON")
        for statement in statements:
            book.execute(statement)


@pytest.mark.usefixtures("shop_path")
@pytest.mark.parametrize(
    ("statement", "check"),
    [
        ("DROP TRIGGER movement_no_update", "guards"),
        ("DROP TRIGGER movement_no_replace", "guards"),
        ("UPDATE sqlite_master SET sql = replace(sql, 'append-only', 'open')"
         " WHERE name = 'movement_no_delete'", "guards"),
        ("DROP INDEX ix_movement_at", "tables"),
        ("DROP TABLE own_design", "tables"),
        ("ALTER TABLE paper ADD COLUMN shade TEXT", "tables"),
        ("UPDATE sqlite_master SET sql = replace(sql, 'ck_stock_size', 'ck_other')"
         " WHERE name = 'stock'", "tables"),
        ("UPDATE paper SET grammage = 0", "file"),
        ("UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master"
         " WHERE name = 'paper') WHERE name = 'place'", "file"),
    ],
)  # fmt: skip
def test_tables_that_are_not_as_they_were_made(
    filled: ShopFile, shop_path: Path, statement: str, check: str
) -> None:
    filled.close()
    without_rules(shop_path, "PRAGMA ignore_check_constraints = ON", statement)
    with open_shop(shop_path) as again:
        assert {name for name, _ in faults(again)} == {check}


@pytest.mark.parametrize(
    ("statement", "check"),
    [
        ("DROP TRIGGER movement_no_update ON movement", "guards"),
        ("ALTER TABLE movement DISABLE TRIGGER movement_no_truncate", "guards"),
        ("ALTER TABLE stock DROP CONSTRAINT ck_stock_size", "tables"),
        ("DROP INDEX ix_movement_at", "tables"),
    ],
)
def test_a_server_whose_tables_were_changed(
    empty_server_shop: str, statement: str, check: str
) -> None:
    with open_shop(empty_server_shop) as shop:
        with shop.begin() as session:
            session.execute(text(statement))
        assert {name for name, _ in faults(shop)} == {check}


def test_checking_changes_nothing(filled: ShopFile) -> None:
    with filled.begin() as session:
        before = session.query(Movement).count()
        ledger.book_movement(session, find_stock(session, "S-1"), 1, Reason.RECEIVED)
        assert check_shop(filled).findings == ()  # sees the moment before
    with filled.read() as session:
        assert session.query(Movement).count() == before + 1
