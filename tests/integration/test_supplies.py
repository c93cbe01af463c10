"""Ribbon, adhesive and eyelets: received, used by batches, counted, and taken back."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.tables.enums import Measure, Reason
from inventory.stock import supplies
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, mm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

M = cm(100)


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        supplies.add_supply(opened, "Satin", "reel")
        supplies.add_supply(opened, "Eyelets", "count")
        supplies.add_supply(opened, "Paste", "amount", unit="ml")
        yield opened


def left(session: Session) -> dict[str, int]:
    return {row.label: row.remaining for row in supplies.list_supplies(session)}


def test_each_reel_gets_a_label(session: Session) -> None:
    made = supplies.receive_supply(
        session, "satin", 25 * M, items=2, price=Decimal("4.50"), place="Shelf A / Box",
        supplier="Mill", number="7", lot="B",
    )  # fmt: skip
    supplies.receive_supply(session, "Eyelets", 100)
    assert [item.label for item in made] == ["R-1", "R-2"]
    assert left(session) == {"R-1": 25 * M, "R-2": 25 * M, "P-3": 100}
    row = next(row for row in supplies.list_supplies(session) if row.label == "R-1")
    assert (row.supply, row.price, row.place, row.lot) == (
        "Satin", Decimal("4.50"), "Shelf A / Box", "B",
    )  # fmt: skip


def test_ribbon_is_cut_from_the_reels_with_least_waste(session: Session) -> None:
    supplies.receive_supply(session, "Satin", 25 * M)
    supplies.receive_supply(session, "Satin", cm(120))
    plan = supplies.plan_lengths(session, "Satin", [(cm(60), 2)])
    assert (plan.waste, plan.bound) == (0, 0)
    assert left(session) == {"R-1": 25 * M, "R-2": cm(120)}
    (one,) = supplies.use_lengths(session, "Satin", [(cm(60), 2)], why="bows")
    assert (one.reel.name, one.remainder) == ("R-2", 0)
    assert left(session) == {"R-1": 25 * M}
    rows = supplies.supply_history(session, "Satin")
    assert [(row.label, row.change, row.balance, row.reason, row.note) for row in rows] == [
        ("R-1", 25 * M, 25 * M, Reason.RECEIVED, ""),
        ("R-2", cm(120), cm(120), Reason.RECEIVED, ""),
        ("R-2", -cm(120), 0, Reason.USED, "bows"),
    ]
    undo_transaction(session, last_transaction(session).id)
    assert left(session) == {"R-1": 25 * M, "R-2": cm(120)}


def test_packs_are_used_up_one_after_another(session: Session) -> None:
    for much in (20, 30):
        supplies.receive_supply(session, "Eyelets", much)
    taken = supplies.use_supply(session, "Eyelets", 25)
    assert [(item.label, much) for item, much in taken] == [("P-1", 20), ("P-2", 5)]
    assert left(session) == {"P-2": 25}
    with pytest.raises(Refusal, match="there is only 25 of Eyelets"):
        supplies.use_supply(session, "Eyelets", 26)
    assert left(session) == {"P-2": 25}
    assert supplies.count_supply(session, "p-2", 24, "one fell down") == -1
    assert supplies.count_supply(session, "P-2", 24) == 0
    assert left(session) == {"P-2": 24}


@pytest.mark.parametrize(
    ("deed", "said"),
    [
        (lambda s: supplies.add_supply(s, "SATIN", "reel"), "there is a supply 'Satin' already"),
        (lambda s: supplies.add_supply(s, "Glue", "amount"), "the unit of the amount"),
        (lambda s: supplies.add_supply(s, "Glue", "count", unit="ml"), "only an amount has a unit"),
        (lambda s: supplies.add_supply(s, "Glue", "pint"), "it is one of reel, count, amount"),
        (lambda s: supplies.receive_supply(s, "Satan", 5), "did you mean 'Satin'"),
        (lambda s: supplies.receive_supply(s, "Eyelets", 0), "too little"),
        (lambda s: supplies.use_supply(s, "Satin", 5), "Satin is on reels"),
        (lambda s: supplies.use_lengths(s, "Paste", [(5, 1)]), "Paste is not on reels"),
        (lambda s: supplies.use_lengths(s, "Satin", []), "say which lengths"),
        (lambda s: supplies.use_lengths(s, "Satin", [(cm(10), 1)]), "no reel is long enough"),
        (lambda s: supplies.use_supply(s, "Eyelets", 5, batch=9), "there is no batch 9"),
        (lambda s: supplies.find_item(s, "R-9"), "no supply has the label 'R-9'"),
    ],
)
def test_what_cannot_be_is_refused(session: Session, deed, said: str) -> None:
    supplies.receive_supply(session, "Eyelets", 10)
    with pytest.raises(Refusal, match=said):
        deed(session)
    assert left(session) == {"P-1": 10}


@pytest.mark.parametrize(
    ("name", "text", "parts"),
    [
        ("Satin", "25m", 25 * M), ("Satin", "8,40 m", cm(840)), ("Satin", "1yd", mm("914.4")),
        ("Satin", "60cm", cm(60)), ("Satin", "600", cm(60)), ("Satin", "0", 0),
        ("Eyelets", "12", 12), ("Paste", "2.5", 2500), ("Paste", "2,5 ml", 2500),
    ],
)  # fmt: skip
def test_measures_are_read_as_written(session: Session, name: str, text: str, parts: int) -> None:
    supply = supplies.find_supply(session, name)
    assert supplies.read_measure(supply, text, Unit.MM, 0) == parts


@pytest.mark.parametrize(
    ("name", "text"),
    [("Satin", "long"), ("Satin", "1001m"), ("Satin", "0"), ("Eyelets", "2.5"), ("Eyelets", "0"),
     ("Paste", "much"), ("Paste", "0"), ("Paste", "2.1234")],
)  # fmt: skip
def test_measures_that_mean_nothing_are_refused(session: Session, name: str, text: str) -> None:
    with pytest.raises(Refusal):
        supplies.read_measure(supplies.find_supply(session, name), text, Unit.MM)


def test_measures_are_written_for_people() -> None:
    assert supplies.format_measure(Measure.REEL, cm(940), "", Unit.CM) == "940 cm"
    assert supplies.format_measure(Measure.COUNT, 12, "", Unit.CM) == "12"
    assert supplies.format_measure(Measure.AMOUNT, 2500, "ml", Unit.CM) == "2.5 ml"
    assert supplies.format_measure(Measure.AMOUNT, 100_000, "g", Unit.CM) == "100 g"


@pytest.mark.parametrize("deed", ["UPDATE supply_movement SET change = 1", "DELETE FROM deed",
                                  "DELETE FROM supply_movement"])  # fmt: skip
def test_the_ledger_of_supplies_is_append_only(session: Session, deed: str) -> None:
    supplies.receive_supply(session, "Eyelets", 10)
    with pytest.raises(IntegrityError, match="append-only"):
        session.execute(text(deed))


def test_supplies_at_the_desk(hand: Hand) -> None:
    hand.does("supply", "add", "Satin", "--by", "reel")
    hand.does("supply", "add", "Paste", "--by", "amount", "--unit", "ml")
    assert hand.does("supply", "receive", "Satin", "25m", "--items", "2") == (
        "Added Satin; write R-1, R-2 on them\n"
    )
    hand.does("supply", "receive", "Paste", "250", "--price", "6.20")
    use = ("supply", "use", "Satin", "--cut", "4x60cm", "--cut", "35cm")
    assert "nothing is wasted; no choice wastes less" in hand.does(*use, "--try")
    assert "R-1" in hand.does(*use)
    assert hand.does("supply", "use", "Paste", "2.5") == (
        "Recorded the use of Paste: 2.5 ml from P-3\n"
    )
    rows = {row["label"]: row["left"] for row in hand.data("supplies", "supply", "list")}
    assert sorted(rows.values()) == [247.5, 22_250, 25_000]
    assert hand.does("supply", "count", "P-3", "240") == "P-3 corrected by -7.5 ml\n"
    assert hand.does("supply", "count", "P-3", "240").startswith("P-3 was right")
    changes = [row["change"] for row in hand.data("supply_history", "supply", "history", "Paste")]
    assert changes == [250, -2.5, -7.5]
    assert "Paste" in hand.does("supply", "list")
    assert "counted" in hand.does("supply", "history", "Paste")
    hand.refused("supply", "use", "Paste")
    hand.refused("supply", "use", "Satin", "5", "--cut", "5cm")
    assert hand.does("stash", "undo").startswith("Undone: entry")
