"""Looking back on use and spending, looking ahead from the stash."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from inventory.advice.capacity import DesignRequest, max_copies, problems_of_requests, read_requests
from inventory.orders.orders import add_order
from inventory.production.cutting import cut_batch
from inventory.production.spoiling import spoil_layout, spoil_piece
from inventory.reports.kinds import ReportGrouping
from inventory.reports.reports import (
    ALL_MONTHS,
    NO_DESIGN,
    NO_SUPPLIER,
    MonthRange,
    UseRow,
    dead_stock,
    paper_use,
    read_months,
    spending,
)
from inventory.stock.adjust import spoil_stock
from inventory.stock.condition import book_damage
from inventory.stock.listing import list_stash
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.reservations import available_rows
from nester.core.errors import Refusal
from nester.core.lengths import cm, mm
from nester.core.problem import Effort, Rect
from tests.integration.conftest import TODAY, Table

if TYPE_CHECKING:
    from pathlib import Path

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

SHEET = cm(50) * cm(70)
CARD = cm(40) * cm(40)
THIS_MONTH = datetime.now(UTC).astimezone().strftime("%Y-%m")


@pytest.fixture
def table(shop: ShopFile) -> Table:
    """Two papers, cards and tags ordered and planned together."""
    made = Table(shop)
    made.paper()
    made.paper("Moss linen")
    made.sheets((cm(50), cm(70)), 9, price=Decimal("2.10"), supplier="Paper mill", number="1")
    made.sheets((cm(30), cm(30)), 4, paper="Moss linen")
    made.card(3, size=("20cm", "40cm"))
    with shop.begin() as session:
        add_order(
            session, "Ines", "gift-tag", {"width": "5cm", "length": "10cm"},
            {"all": "Coal card"}, 6, TODAY + timedelta(7), TODAY,
        )  # fmt: skip
    made.plan()
    return made


def told(table: Table, by: ReportGrouping, months: MonthRange = ALL_MONTHS) -> dict[str, UseRow]:
    with table.shop.read() as session:
        return {row.name: row for row in paper_use(session, by, months)}


def sums(rows: dict[str, UseRow]) -> tuple[Fraction, ...]:
    names = ("cut", "pieces", "kept", "spoiled", "spoiled_pieces", "waste", "used")
    return tuple(sum((getattr(r, n) for r in rows.values()), Fraction(0)) for n in names)


def test_paper_is_shared_out_among_designs_without_a_rest(table: Table) -> None:
    assert told(table, ReportGrouping.PAPER) == told(table, ReportGrouping.DESIGN) == {}
    with table.shop.begin() as session:
        cut_batch(session, 1)
    by_design = told(table, ReportGrouping.DESIGN)
    assert set(by_design) == {"folded-card", "gift-tag"}
    assert by_design["folded-card"].pieces == 3 * CARD
    assert (
        sums(by_design)
        == sums(told(table, ReportGrouping.PAPER))
        == sums(told(table, ReportGrouping.MONTH))
    )
    assert set(told(table, ReportGrouping.MONTH)) == {THIS_MONTH}
    for row in by_design.values():
        assert row.yield_rate is not None
        assert 0 < row.yield_rate < 1
        assert row.waste >= 0


def test_spoiled_paper_and_pieces_belong_to_a_design_too(table: Table) -> None:
    with table.shop.begin() as session:
        cut_batch(session, 1, layout=1, copies=1)
        spoil_layout(session, 1, 2, "slipped")
        spoil_piece(session, 1, "card")
        spoil_stock(session, "S-1")
        spoil_stock(session, "S-2")
    by_design = told(table, ReportGrouping.DESIGN)
    assert sums(by_design) == sums(told(table, ReportGrouping.PAPER))
    assert by_design["folded-card"].spoiled_pieces == CARD
    assert by_design[NO_DESIGN].spoiled == SHEET + cm(30) * cm(30)
    assert told(table, ReportGrouping.PAPER)["Moss linen"].pieces == 0


def test_months_out_of_the_range_do_not_count(table: Table) -> None:
    with table.shop.begin() as session:
        cut_batch(session, 1)
    for by in (ReportGrouping.PAPER, ReportGrouping.DESIGN, ReportGrouping.MONTH):
        assert told(table, by, MonthRange("2001-01", "2001-12")) == {}
        assert told(table, by, MonthRange(THIS_MONTH, THIS_MONTH)) == told(table, by)
    with table.shop.read() as session:
        assert spending(session, ReportGrouping.PAPER, MonthRange(None, "2001-12")) == []


def test_spending_is_what_came_at_its_price(table: Table) -> None:
    with table.shop.read() as session:
        by_paper = {
            row.name: (row.amount, row.unpriced) for row in spending(session, ReportGrouping.PAPER)
        }
        by_month = {row.name: row.amount for row in spending(session, ReportGrouping.MONTH)}
        supplier = {row.name: row.amount for row in spending(session, ReportGrouping.SUPPLIER)}
    assert by_paper == {"Coal card": (Fraction("18.90"), 0), "Moss linen": (0, 4)}
    assert by_month == {THIS_MONTH: Fraction("18.90")}
    assert supplier == {"Paper mill": Fraction("18.90"), NO_SUPPLIER: 0}


def test_spending_by_design_is_what_the_plan_counted(table: Table) -> None:
    with table.shop.begin() as session:
        cut_batch(session, 1)
    with table.shop.read() as session:
        amounts = {row.name: row.amount for row in spending(session, ReportGrouping.DESIGN)}
        plan = plan_of(get_batch(session, 1))
    assert set(amounts) == {"folded-card", "gift-tag"}
    # The plan tells no more digits than the smallest coin has.
    assert plan.kept
    assert abs(sum(amounts.values()) - Fraction(plan.net_cost)) < Fraction(1, 100)


def test_bruises_count_the_same_however_it_is_told(table: Table) -> None:
    with table.shop.begin() as session:
        book_damage(session, "S-1", Rect(0, 0, cm(10), cm(10)))
        sheet = book_damage(session, "S-2", Rect(cm(20), cm(20), cm(10), cm(10)))
        book_damage(session, sheet.label, Rect(cm(15), cm(20), cm(10), cm(10)))
        cut_batch(session, 1)
        spoil_stock(session, sheet.label)
    by_design = told(table, ReportGrouping.DESIGN)
    assert by_design[NO_DESIGN].spoiled == cm(10) * cm(10) + cm(30) * cm(30)
    assert (
        sums(by_design)
        == sums(told(table, ReportGrouping.PAPER))
        == sums(told(table, ReportGrouping.MONTH))
    )


def test_what_is_not_asked_well_is_refused(table: Table) -> None:
    with table.shop.read() as session, pytest.raises(Refusal, match="only spending by supplier"):
        paper_use(session, ReportGrouping.SUPPLIER)
    with pytest.raises(Refusal, match="--from: '2027-13' is not a month"):
        read_months("2027-13", None)
    with pytest.raises(Refusal, match="which is backwards"):
        read_months("2027-03", "2027-02")
    with table.shop.read() as session, pytest.raises(Refusal, match="--days must be 1 or more"):
        dead_stock(session, TODAY, 0, DesignRequest("gift-tag", {}))


# --- dead stock ----------------------------------------------------------------------------------


def test_dead_stock_is_what_came_long_ago_and_was_not_cut_since(table: Table) -> None:
    tag = DesignRequest("gift-tag", {"width": "10cm", "length": "15cm"})
    today = date.today()
    with table.shop.begin() as session:
        cut_batch(session, 1, layout=1, copies=1)
        assert dead_stock(session, today, 1, tag) == []
        dead = dead_stock(session, today + timedelta(400), 365, tag)
        assert dead_stock(session, today + timedelta(300), 365, tag) == []
    assert {one.paper for one in dead} == {"Coal card", "Moss linen"}
    moss = next(one for one in dead if one.paper == "Moss linen")
    assert moss.area == 4 * cm(30) * cm(30)
    assert (moss.last_used, moss.in_stock_since) == (None, today)
    assert moss.labels == ("S-2",)
    # Each sheet of 30 × 30 cm holds 3 × 2 tags of 10 × 15 cm.
    most = max_copies(moss.problem)
    assert (most.lower_bound, most.upper_bound) == (24, 24)
    coal = next(one for one in dead if one.paper == "Coal card")
    assert coal.last_used == today


def test_what_is_left_of_a_paper_that_was_used_up_is_not_dead(table: Table) -> None:
    with table.shop.begin() as session:
        spoil_stock(session, "S-2", 4)
        dead = dead_stock(
            session, date.today() + timedelta(400), 365, DesignRequest("gift-tag", {})
        )
    assert "Moss linen" not in {one.paper for one in dead}


# --- what the stash would make -------------------------------------------------------------------


def test_reserved_paper_is_left_out(table: Table) -> None:
    with table.shop.read() as session:
        free = {row.label: row.quantity for row in available_rows(session, list_stash(session))}
        wishes = read_requests(
            ["folded-card", "width=20cm", "height=40cm", "mats=none", "gift-tag"]
        )
        problems = problems_of_requests(session, wishes, {"all": "Coal card"})
    assert free["S-1"] == 9 - table.reserved()["S-1"] < 9
    most = max_copies(problems[0])
    # One card of 40 × 40 cm comes out of each sheet of 50 × 70 cm.
    assert (most.lower_bound, most.upper_bound) == (free["S-1"], free["S-1"])
    assert max_copies(problems[1], Effort.QUICK).lower_bound > 100


def test_two_papers_and_the_one_that_runs_out_first(shop: ShopFile) -> None:
    table = Table(shop)
    table.paper()
    table.paper("Moss linen")
    table.sheets((cm(50), cm(70)), 9)
    table.sheets((cm(20), cm(20)), 2, paper="Moss linen")
    wish = read_requests(["folded-card", "width=20cm", "height=15cm", "mats=front"])
    papers = {"card": "Coal card", "mat": "Moss linen"}
    with shop.read() as session:
        (problem,) = problems_of_requests(session, wish, papers)
    most = max_copies(problem)
    mats = sum(want.quantity for want in problem.demands if want.paper == "Moss linen")
    assert mats in (1, 2)
    assert (most.lower_bound, most.upper_bound) == (2 // mats, 2 // mats)
    assert most.limiting_papers == ("Moss linen",)


def test_wishes_are_read_and_refused(table: Table) -> None:
    assert read_requests(["gift-tag", "width=5cm", "folded-card"]) == [
        DesignRequest("gift-tag", {"width": "5cm"}), DesignRequest("folded-card", {}),
    ]  # fmt: skip
    with pytest.raises(Refusal, match="stands before any design"):
        read_requests(["width=5cm"])
    with pytest.raises(Refusal, match="width is given twice"):
        read_requests(["gift-tag", "width=5cm", "width=6cm"])
    with table.shop.read() as session:
        with pytest.raises(Refusal, match="needs a paper for"):
            problems_of_requests(session, [DesignRequest("gift-tag", {})], {})
        with pytest.raises(Refusal, match="no part 'tier'"):
            problems_of_requests(session, [DesignRequest("gift-tag", {})], {"tier": "Coal card"})
        with pytest.raises(Refusal, match="there is no paper"):
            problems_of_requests(session, [DesignRequest("gift-tag", {})], {"all": "Cola card"})


def test_an_empty_stash_makes_nothing(shop: ShopFile) -> None:
    table = Table(shop)
    table.paper()
    with shop.read() as session:
        (problem,) = problems_of_requests(
            session, [DesignRequest("gift-tag", {})], {"all": "Coal card"}
        )
    most = max_copies(problem)
    assert (most.lower_bound, most.upper_bound) == (0, 0)
    assert most.limiting_papers == ("tag: there is no sheet of paper 'Coal card'",)


def test_bruises_margins_and_the_gap_are_kept_to(shop: ShopFile) -> None:
    from inventory.shop.settings import get_shop
    from nester.core.problem import Margins

    table = Table(shop)
    table.paper()
    table.sheets((mm(420), mm(220)), 1, margins=Margins(mm(10), mm(10), mm(10), mm(10)))
    wish = [DesignRequest("gift-tag", {"width": "100", "length": "200"})]

    def number() -> int:
        with shop.read() as session:
            (problem,) = problems_of_requests(session, wish, {"all": "Coal card"})
        most = max_copies(problem)
        assert most.is_optimal
        return most.lower_bound

    assert number() == 4
    with shop.begin() as session:
        get_shop(session).gap = mm(1)
    assert number() == 3


# --- at the desk ---------------------------------------------------------------------------------


def test_reports_at_the_desk(table: Table, hand: Hand, tmp_path: Path) -> None:
    hand.does("batch", "cut", "1")
    files = {kind: tmp_path / f"use.{kind}" for kind in ("csv", "svg", "pdf")}
    options = [word for kind, file in files.items() for word in (f"--{kind}", str(file))]
    text = hand.does("report", "use", "--by", "design", *options)
    assert "folded-card" in text
    assert max(map(len, text.splitlines())) <= 80
    rows = list(csv.DictReader(files["csv"].read_text(encoding="utf-8").splitlines()))
    assert [row["design"] for row in rows] == ["folded-card", "gift-tag"]
    assert list(rows[0]) == [
        "design", "used_m2", "cut_m2", "pieces_m2", "kept_m2", "waste_m2", "spoiled_m2", "yield",
    ]  # fmt: skip
    assert files["svg"].read_text(encoding="utf-8").startswith("<svg")
    assert files["pdf"].read_bytes().startswith(b"%PDF")
    data = hand.data("use", "report", "use", "--by", "design")
    assert [row["name"] for row in data["rows"]] == ["folded-card", "gift-tag"]
    assert data["rows"][0]["pieces"] == pytest.approx(0.48)
    spent = hand.data("spending", "report", "spending", "--by", "supplier")
    assert spent["rows"][0] == {"name": "Paper mill", "amount": "18.90", "unpriced": 0}
    assert "18.90 EUR" in hand.does("report", "spending")
    assert "within 365 days" in hand.does("report", "unused")
    assert hand.data("unused", "report", "unused", "--days", "365")["rows"] == []
    assert "which is backwards" in hand.refused(
        "report", "use", "--from", "2027-03", "--to", "2027-01"
    )
    assert "Nothing was cut" in hand.does("report", "use", "--to", "2001-01")
    assert "nothing to draw" in hand.refused(
        "report", "use", "--to", "2001-01", "--svg", str(tmp_path / "none.svg")
    )
    assert "no part" in hand.refused("stash", "makes", "gift-tag", "--paper", "tier=Coal card")
    (row,) = hand.data(
        "makes", "stash", "makes", "folded-card", "width=20cm", "height=40cm", "mats=none",
        "--paper", "all=Coal card",
    )  # fmt: skip
    assert row["proven"]
    assert row["at_least"] == row["at_most"]
    said = hand.does("stash", "makes", "folded-card", "gift-tag", "--paper", "all=Coal card")
    assert "What could be made" in said
    assert max(map(len, said.splitlines())) <= 80
