"""Margins, bruises, grain, a gap and a trimmer: what the book keeps, and what plans make of it."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from jsonschema import Draft202012Validator

from inventory.changes.paper_changes import PaperChanges, change_paper
from inventory.changes.undo import last_transaction, undo_transaction
from inventory.core.measures import read_distance
from inventory.core.plan import plan_from_json, plan_to_json
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import GrainAxis, Pattern
from inventory.maintenance.check import check_shop
from inventory.production.cutting import cut_batch
from inventory.reports.paper_history import paper_yields
from inventory.shop.settings import change_shop, get_shop
from inventory.stock.condition import (
    book_damage,
    book_grain,
    change_margins,
    damaged_areas_by_stock,
    read_margins,
)
from inventory.stock.import_lists import import_offcuts, import_sheets
from inventory.stock.listing import list_stash, stock_history
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.papers import add_paper, find_paper
from inventory.stock.search import offcuts_for
from inventory.views.schemas import schema_text
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Grain
from nester.core.problem import Margins, Rect, Trimmer

if TYPE_CHECKING:
    from pathlib import Path

    from inventory.stock.listing import StashRow
    from tests.integration.conftest import Hand, Table


def row(shop: ShopFile, label: str) -> StashRow:
    with shop.read() as session:
        return next(one for one in list_stash(session, include_empty=True) if one.label == label)


def rules(table: Table, **changes: object) -> None:
    with table.shop.begin() as session:
        change_shop(session, **changes)


# --- reading


def test_margins_are_read_for_all_edges_or_by_name() -> None:
    assert read_margins("", Unit.MM) == Margins()
    assert read_margins("5", Unit.MM) == Margins(*[mm(5)] * 4)
    assert read_margins("left=1/8; Top=1/4 in", Unit.IN) == Margins(inch("1/8"), inch("1/4"), 0, 0)
    assert read_margins("0", Unit.IN) == Margins()


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("-5mm", "must be zero or more"),
        ("left=-1", "the left margin can't be '-1'; it must be zero or more"),
        ("middle=5mm", "does not say a margin"),
        ("left=", "does not say a margin"),
        ("left=1; left=2", "given twice"),
        ("wide", "the margin: 'wide' is not a size"),
    ],
)
def test_what_is_no_margin_is_refused(text: str, why: str) -> None:
    with pytest.raises(Refusal, match=why.replace("(", r"\(")):
        read_margins(text, Unit.MM)


def test_a_distance_may_be_nothing() -> None:
    assert [read_distance(text, Unit.CM, "the gap") for text in ("0", "0.0 mm", "2mm", "1")] == [
        0, 0, mm(2), cm(1),
    ]  # fmt: skip


# --- sheets with margins


def test_sheets_with_other_margins_get_a_label_of_their_own(table: Table) -> None:
    size = (cm(50), cm(70))
    assert table.sheets(size, 3) == "S-1"
    assert table.sheets(size, 2, margins=Margins(mm(5), 0, 0, 0)) == "S-2"
    assert table.sheets(size, 1, margins=Margins(mm(5), 0, 0, 0)) == "S-2"
    assert row(table.shop, "S-2").margins == Margins(mm(5), 0, 0, 0)
    assert table.on_hand() == {"S-1": 3, "S-2": 3}


@pytest.mark.parametrize("margins", [(cm(25), 0, cm(25), 0), (0, cm(70), 0, 0), (0, 0, -1, 0)])
def test_margins_that_leave_nothing_are_refused(table: Table, margins: tuple[int, ...]) -> None:
    with pytest.raises(Refusal, match="margin"):
        table.sheets((cm(50), cm(70)), 3, margins=Margins(*margins))
    assert table.on_hand() == {}


def test_lists_may_say_margins_and_grain(table: Table, tmp_path: Path) -> None:
    sheets, offcuts = tmp_path / "sheets.csv", tmp_path / "offcuts.csv"
    sheets.write_text("paper,size,quantity,margin\nCoal card,50x70cm,2,left=5mm; right=5mm\n")
    offcuts.write_text("paper,size,margin,grain\nCoal card,20x30cm,2mm,height\n")
    with table.shop.begin() as session:
        import_sheets(session, sheets, Unit.CM)
        import_offcuts(session, offcuts, Unit.CM)
    assert row(table.shop, "S-1").margins == Margins(mm(5), 0, mm(5), 0)
    assert (row(table.shop, "K-1").margins, row(table.shop, "K-1").grain) == (
        Margins(*[mm(2)] * 4),
        Grain.HEIGHT,
    )
    sheets.write_text("paper,size,quantity,margin\nCoal card,50x70cm,2,-1\n")
    wrong = "line 2, margin: the margin can't be '-1'"
    with pytest.raises(Refusal, match=wrong), table.shop.begin() as session:
        import_sheets(session, sheets, Unit.CM)
    sheets.write_text("paper,size,quantity,margin\nCoal card,50x70cm,2,25\n")
    with pytest.raises(Refusal, match=r"line 2, .*leave nothing"), table.shop.begin() as session:
        import_sheets(session, sheets, Unit.CM)


# --- margins that change


EDGE = Margins(mm(5), 0, mm(5), 0)


@pytest.mark.parametrize("grain", ["unknown", "long", "short"])
def test_sheets_get_other_margins_in_one_deed_that_can_be_taken_back(
    table: Table, grain: str
) -> None:
    with table.shop.begin() as session:
        if grain != "unknown":
            change_paper(session, "Coal card", PaperChanges(grain=grain))
    table.sheets((cm(50), cm(70)), 5, place="Shelf", lot="B7", price=Decimal(3))
    with table.shop.begin() as session:
        stock = change_margins(session, "S-1", EDGE, 2, "rough edge")
        assert (stock.label, stock.lot, stock.price) == ("S-2", "B7", Decimal(3))
    assert table.on_hand() == {"S-1": 3, "S-2": 2}
    assert (row(table.shop, "S-2").margins, row(table.shop, "S-2").place) == (EDGE, "Shelf")
    with table.shop.begin() as session:
        assert change_margins(session, "S-1", EDGE).label == "S-2"
    assert table.on_hand() == {"S-2": 5}
    with table.shop.read() as session:
        assert stock_history(session, "S-2")[0].note == "rough edge"
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
    assert table.on_hand() == {"S-1": 3, "S-2": 2}
    assert check_shop(table.shop).faults == []


def test_an_offcut_with_other_margins_takes_bruises_and_grain_along(table: Table) -> None:
    label = table.offcut((cm(20), cm(30)), place="Drawer")
    corner = Rect(0, 0, cm(3), cm(4))
    with table.shop.begin() as session:
        book_grain(session, label, "height")
        book_damage(session, label, corner)
        new = change_margins(session, label, EDGE)
        assert (new.label, new.parent.label) == ("K-2", "K-1")
    assert table.on_hand() == {"K-2": 1}
    told = row(table.shop, "K-2")
    assert (told.damaged_areas, told.grain, told.place) == ((corner,), Grain.HEIGHT, "Drawer")
    with table.shop.begin() as session:
        (month,) = paper_yields(session)
        assert month.spoiled == corner.area
        book_damage(session, "K-2", Rect(0, 0, cm(4), cm(4)))
        (month,) = paper_yields(session)
        assert month.spoiled == cm(4) * cm(4)
        undo_transaction(session, last_transaction(session).id)
        undo_transaction(session, last_transaction(session).id)
    assert table.on_hand() == {"K-1": 1}
    assert row(table.shop, "K-1").damaged_areas == (corner,)
    assert check_shop(table.shop).faults == []


@pytest.mark.parametrize(
    ("label", "margins", "quantity", "why"),
    [
        ("S-9", EDGE, None, "S-9"),
        ("S-1", Margins(), None, "S-1 has these margins already"),
        ("S-1", EDGE, 6, "S-1 has 5 on hand"),
        ("S-1", EDGE, 0, "the number of S-1"),
        (
            "S-1",
            EDGE,
            5,
            "batches have reserved 1 of the 5 S-1; change at most 4, or drop a batch first",
        ),
        ("S-1", Margins(cm(25), 0, cm(25), 0), 1, "leave nothing"),
        ("K-1", EDGE, 2, "K-1 has 1 on hand, so 2 can't be taken"),
        ("K-1", Margins(cm(4), 0, 0, 0), None, "nothing of K-2 would be left"),
    ],
)
def test_margins_that_can_not_change_are_refused(
    table: Table, label: str, margins: Margins, quantity: int | None, why: str
) -> None:
    table.sheets((cm(50), cm(70)), 5)
    table.card(2)
    table.plan()
    table.offcut((cm(10), cm(10)))
    with table.shop.begin() as session:
        book_damage(session, "K-1", Rect(cm(4), 0, cm(6), cm(10)))
    before = table.on_hand()
    with pytest.raises(Refusal, match=why), table.shop.begin() as session:
        change_margins(session, label, margins, quantity)
    assert table.on_hand() == before


def test_margins_change_at_the_desk(table: Table, hand: Hand) -> None:
    table.sheets((cm(50), cm(70)), 5)
    label = table.offcut((cm(20), cm(30)))
    said = hand.does("stash", "margin", "S-1", "left=5mm", "--quantity", "2")
    assert said == "S-2: margins left 5 mm\nKeep them apart from S-1, and write S-2 on them\n"
    assert "Write K-2 on it in place of K-1" in hand.does("stash", "margin", label, "5mm")
    assert "K-3: no margins" in hand.does("stash", "margin", "K-2", "0")


# --- bruises


def test_a_bruised_sheet_leaves_its_pile_in_one_deed_that_can_be_taken_back(table: Table) -> None:
    with table.shop.begin() as session:
        change_paper(session, "Coal card", PaperChanges(grain="long"))
    table.sheets((cm(50), cm(70)), 3, margins=Margins(*[mm(5)] * 4), place="Shelf", lot="B7")
    corner = Rect(0, 0, cm(3), cm(4))
    with table.shop.begin() as session:
        stock = book_damage(session, "S-1", corner, "dropped")
        assert (stock.label, stock.lot, stock.parent.label) == ("K-1", "B7", "S-1")
    assert table.on_hand() == {"S-1": 2, "K-1": 1}
    bruised = row(table.shop, "K-1")
    assert (bruised.width, bruised.height, bruised.place) == (cm(50), cm(70), "Shelf")
    assert (bruised.damaged_areas, bruised.grain) == ((corner,), Grain.HEIGHT)
    assert bruised.margins == Margins(*[mm(5)] * 4)
    with table.shop.read() as session:
        (told,) = stock_history(session, "K-1")
        assert (told.change, told.reason, told.damaged_area, told.note) == (
            1,
            "bruised",
            corner,
            "dropped",
        )
        assert [one.change for one in stock_history(session, "S-1")] == [3, -1]
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
        assert damaged_areas_by_stock(session) == {}
        assert [one.balance for one in stock_history(session, "K-1")] == [1, 0]
    assert table.on_hand() == {"S-1": 3}
    assert check_shop(table.shop).findings == ()


def test_an_offcut_keeps_its_label_when_it_is_bruised(table: Table) -> None:
    label = table.offcut((cm(20), cm(30)))
    first, second = Rect(0, 0, cm(1), cm(1)), Rect(cm(18), cm(28), cm(2), cm(2))
    for at in (first, second):
        with table.shop.begin() as session:
            assert book_damage(session, label, at).label == label
    assert row(table.shop, label).damaged_areas == (first, second)
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id, "not so bad")
    assert row(table.shop, label).damaged_areas == (first,)
    with table.shop.read() as session:
        told = [
            (one.change, one.balance, one.reason, one.damaged_area)
            for one in stock_history(session, label)
        ]
        assert told == [
            (1, 1, "kept", None), (0, 1, "bruised", first), (0, 1, "bruised", second),
            (0, 1, "undone", None),
        ]  # fmt: skip
        assert offcuts_for(session, (cm(20), cm(29)))
        assert not offcuts_for(session, (cm(20), cm(30)))
        assert [one.label for one in list_stash(session, at_least=(cm(20), cm(30)))] == []
    assert check_shop(table.shop).findings == ()


@pytest.mark.parametrize(
    ("at", "why"),
    [
        (Rect(cm(19), 0, cm(2), cm(2)), "does not lie on K-1, which is 200 × 300 mm"),
        (Rect(-1, 0, cm(2), cm(2)), "does not lie on K-1"),
        (Rect(0, 0, 0, cm(2)), "does not lie on K-1"),
        (Rect(0, 0, cm(20), cm(30)), "nothing of K-1 would be left"),
    ],
)
def test_a_bruise_that_can_not_be_is_refused(table: Table, at: Rect, why: str) -> None:
    label = table.offcut((cm(20), cm(30)))
    with pytest.raises(Refusal, match=why), table.shop.begin() as session:
        book_damage(session, label, at)
    assert row(table.shop, label).damaged_areas == ()


def test_what_is_gone_or_reserved_is_not_bruised(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 1)
    table.card()
    table.plan()
    at = Rect(0, 0, cm(1), cm(1))
    with pytest.raises(Refusal, match="reserved all of it"), table.shop.begin() as session:
        book_damage(session, "S-1", at)
    with table.shop.begin() as session:
        cut_batch(session, 1)
    with pytest.raises(Refusal, match="0 on hand"), table.shop.begin() as session:
        book_damage(session, "S-1", at)


# --- grain


def test_the_grain_of_an_offcut_is_told_and_taken_back(table: Table) -> None:
    label = table.offcut((cm(20), cm(30)), grain=GrainAxis.WIDTH)
    assert row(table.shop, label).grain is Grain.WIDTH
    with table.shop.begin() as session:
        book_grain(session, label, "height", "tore a strip")
    assert row(table.shop, label).grain is Grain.HEIGHT
    with table.shop.read() as session:
        assert stock_history(session, label)[-1].grain is GrainAxis.HEIGHT
    with table.shop.begin() as session:
        undo_transaction(session, last_transaction(session).id)
    assert row(table.shop, label).grain is Grain.WIDTH
    table.sheets((cm(50), cm(70)), 1)
    with pytest.raises(Refusal, match="is set for their paper"), table.shop.begin() as session:
        book_grain(session, "S-1", "width")
    with pytest.raises(Refusal, match="unknown, width, height"), table.shop.begin() as session:
        book_grain(session, label, "long")


@pytest.mark.parametrize(
    ("size", "of_paper", "grain"),
    [
        ((50, 70), "long", Grain.HEIGHT),
        ((70, 50), "long", Grain.WIDTH),
        ((50, 70), "short", Grain.WIDTH),
        ((50, 50), "long", Grain.ANY),
        ((50, 70), "unknown", Grain.ANY),
    ],
)
def test_offcuts_inherit_the_grain_of_the_sheet_they_are_cut_from(
    table: Table, size: tuple[int, int], of_paper: str, grain: Grain
) -> None:
    with table.shop.begin() as session:
        if of_paper != "unknown":
            change_paper(session, "Coal card", PaperChanges(grain=of_paper))
    table.sheets((cm(size[0]), cm(size[1])), 1)
    table.card()
    plan = table.plan(ignore_grain=True)
    assert plan.layouts[0].sheet.grain is grain
    with table.shop.begin() as session:
        kept = cut_batch(session, 1)
    assert kept
    assert {row(table.shop, one.label).grain for one in kept} == {grain}


def folds(table: Table) -> Grain:
    """Return how the fibres lie in a card's blank as planned: along which of its own sides."""
    plan = table.plan()
    (layout,) = plan.layouts
    (spot,) = layout.spots
    along = layout.sheet.grain
    if spot.turned:
        along = Grain.HEIGHT if along is Grain.WIDTH else Grain.WIDTH
    assert plan.part_of(spot).piece.grain is not Grain.ANY
    return along


@pytest.mark.parametrize("of_paper", ["long", "short"])
def test_a_card_follows_the_grain(table: Table, of_paper: str) -> None:
    with table.shop.begin() as session:
        if of_paper != "unknown":
            change_paper(session, "Coal card", PaperChanges(grain=of_paper))
    table.sheets((cm(50), cm(70)), 1)
    table.card()
    assert folds(table) is Grain.HEIGHT


def test_a_wish_that_keeps_an_order_waiting_is_told(table: Table) -> None:
    with table.shop.begin() as session:
        change_paper(session, "Coal card", PaperChanges(grain="long"))
    table.sheets((cm(22), cm(42)), 1)
    table.card(size=("20cm", "20cm"))
    plan = table.plan(draft=True)
    assert plan.batch is None
    assert any("--ignore-grain" in note for note in plan.notes)
    assert table.plan(ignore_grain=True).batch == 1


def test_a_shop_may_ignore_the_grain(table: Table) -> None:
    with table.shop.begin() as session:
        change_paper(session, "Coal card", PaperChanges(grain="long"))
    table.sheets((cm(22), cm(42)), 1)
    table.card(size=("20cm", "20cm"))
    rules(table, follow_grain=False)
    plan = table.plan()
    assert (plan.batch, plan.follow_grain) == (1, False)
    assert not any("grain" in note for note in plan.notes)


def test_where_grain_and_pattern_clash_the_grain_is_let_go_and_told(table: Table) -> None:
    with table.shop.begin() as session:
        add_paper(
            session, "Fern", colour="green", grammage=120, pattern=Pattern.DIRECTIONAL, grain="long"
        )
        fern = find_paper(session, "Fern").name
    table.sheets((cm(50), cm(70)), 1, paper=fern)
    table.sheets((cm(70), cm(50)), 1, paper=fern)
    table.card(3, paper=fern, envelope="yes")
    plan = table.plan()
    assert plan.batch == 1
    assert {part.piece.upright for part in plan.parts} == {True, False}
    assert sum("The grain of Fern is not followed" in note for note in plan.notes) == 1


# --- a gap and a trimmer


def test_a_plan_keeps_pieces_apart_and_off_margins_and_bruises(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 2, margins=Margins(*[mm(10)] * 4))
    with table.shop.begin() as session:
        book_damage(session, "S-1", Rect(0, 0, cm(5), cm(5)))
    table.card(8)
    rules(table, gap=mm(2))
    plan = table.plan()
    assert plan.apart == mm(2)
    for layout in plan.layouts:
        rects = [Rect(one.x, one.y, one.width, one.height) for one in layout.spots]
        for number, one in enumerate(rects):
            assert min(one.x, one.y) >= mm(10)
            assert not any(one.overlaps(bad) for bad in layout.sheet.bruises)
            wide = Rect(one.x - mm(2), one.y - mm(2), one.width + mm(4), one.height + mm(4))
            assert not any(wide.overlaps(other) for other in rects[number + 1 :])
    assert any(layout.sheet.bruises for layout in plan.layouts)
    assert plan_from_json(plan_to_json(plan)) == plan


def test_cuts_too_long_for_the_trimmer_are_told_as_knife_cuts(
    table: Table, hand: Hand, shop_path: Path
) -> None:
    table.sheets((cm(50), cm(70)), 1)
    table.card(2)
    rules(table, trimmer=Trimmer(longest_cut=cm(31)))
    plan = table.plan()
    tools = {
        (step["tool"], step["line"])
        for layout in hand.data("batch", "batch", "show", "1")["layouts"]
        for step in [
            {**one, "line": max(abs(one["line"]["x2"] - one["line"]["x1"]),
                                abs(one["line"]["y2"] - one["line"]["y1"])) > 310}
            for one in layout["steps"]
        ]
    }  # fmt: skip
    assert tools <= {("knife", True), ("trimmer", False)}
    assert ("knife", True) in tools
    told = " ".join(hand.does("batch", "steps", "1").split())
    assert "it is too long for the trimmer" in told
    assert "With the knife: use a sharp blade" in told
    assert "The trimmer cuts up to 310 mm" in hand.does("batch", "show", "1")
    assert plan.trimmer == Trimmer(longest_cut=cm(31))


def test_stages_hold_in_plans(table: Table) -> None:
    from nester.cutting import stages_needed

    table.sheets((cm(50), cm(70)), 3)
    table.card(5)
    table.card(4, size=("7cm", "9cm"))
    rules(table, trimmer=Trimmer(stages=2))
    plan = table.plan()
    for layout in plan.layouts:
        drawn, stock = plan.as_layout(layout)
        rects = [one.rect for one in drawn.placed]
        assert stages_needed(stock.usable, rects) <= 2


def test_a_plan_of_before_has_no_rules(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 1)
    table.card()
    table.plan()
    with table.shop.read() as session:
        plan = plan_of(get_batch(session, 1))
        said = json.loads(get_batch(session, 1).plan)
    for field in ("apart", "trimmer", "follow_grain"):
        del said[field]
    for layout in said["layouts"]:
        for field in ("grain", "pattern_up", "margins", "bruises"):
            del layout["sheet"][field]
    assert plan_from_json(json.dumps(said)) == replace(plan, follow_grain=False)


def test_what_no_trimmer_can_do_is_refused(shop: ShopFile) -> None:
    for trimmer, why in (
        (Trimmer(longest_cut=0), "longest cut must be more than zero"),
        (Trimmer(smallest_strip=-1), "must be zero or more"),
        (Trimmer(stages=0), "the stages of cutting must be 1 to 100, not 0"),
    ):
        with pytest.raises(Refusal, match=why), shop.begin() as session:
            change_shop(session, trimmer=trimmer)
    with pytest.raises(Refusal, match="the gap"), shop.begin() as session:
        change_shop(session, gap=-1)
    with shop.read() as session:
        assert (get_shop(session).trimmer, get_shop(session).gap) == (Trimmer(), 0)


# --- at the desk


def test_a_maker_in_inches(hand: Hand) -> None:
    hand.does("shop", "set", "--unit", "in")
    hand.does("shop", "set", "--gap", "1/16", "--trimmer", "12", "--smallest-strip", "3/8",
              "--stages", "3", "--ignore-grain")  # fmt: skip
    shown = hand.does("shop", "show")
    for words in ("1/16 in apart", "up to 12 in", "from 3/8 in", "3 stages", "need not follow"):
        assert words in shown
    data = hand.data("shop", "shop", "show")
    assert data["trimmer"] == {"longest_cut": 304.8, "smallest_strip": 9.525, "stages": 3}
    assert (data["gap"], data["follow_grain"]) == (1.5875, False)
    hand.does("shop", "set", "--trimmer", "any", "--stages", "any", "--gap", "0")
    assert hand.data("shop", "shop", "show")["trimmer"]["longest_cut"] is None
    assert hand.data("shop", "shop", "show")["trimmer"]["smallest_strip"] == 9.525
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("paper", "set", "Coal card", "--grain", "long")
    hand.does("sheet", "add", "Coal card", "12x18", "--quantity", "3", "--margin", "1/8")
    said = hand.does("stash", "damage", "S-1", "1 x 1 1/2", "--corner", "top-right")
    assert "K-1: damaged 1 × 1 1/2 in, 11 in from the left and 0 in from the top edge" in said
    assert "Write K-1 on it: it no longer belongs to S-1" in said
    said = hand.does("stash", "damage", "K-1", "1x1", "--left", "0", "--top", "2")
    assert "Write" not in said
    hand.does("offcut", "add", "Coal card", "6x8", "--grain", "width", "--margin", "top=1/4")
    hand.does("offcut", "grain", "K-2", "height")
    rows = {one["label"]: one for one in hand.data("stash", "stash", "list")}
    assert (rows["K-1"]["grain"], rows["K-2"]["grain"]) == ("height", "height")
    assert [one["y"] for one in rows["K-1"]["bruises"]] == [0, 50.8]
    assert rows["S-1"]["margins"]["left"] == 3.175
    listed = hand.does("stash", "list")
    assert "2 damaged areas" in " ".join(listed.split())
    assert max(map(len, listed.splitlines())) <= 80
    assert [one["reason"] for one in hand.data("history", "stash", "history", "K-2")] == [
        "kept", "grain",
    ]  # fmt: skip
    assert "along its height" in " ".join(hand.does("stash", "history", "K-2").split())
    assert hand.data("deeds", "stash", "log")[0]["reason"] == "grain"
    hand.does("stash", "undo")
    assert hand.data("stash", "stash", "list", "--kind", "offcut")[1]["grain"] == "width"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("shop", "set", "--gap", "-2mm"), "the gap between pieces can't be '-2mm'"),
        (("shop", "set", "--trimmer", "-31cm"), "must be zero or more"),
        (("shop", "set", "--trimmer", "0"), "longest cut must be more than zero"),
        (("shop", "set", "--stages", "0"), "the stages of cutting"),
        (("shop", "set", "--stages", "few"), "'few' is not a whole number; or write 'any'"),
        (("sheet", "add", "Coal card", "50x70cm", "--margin", "25cm"), "margins leave nothing"),
        (("sheet", "add", "Coal card", "50x70cm", "--margin", "-1"), "must be zero or more"),
        (("stash", "damage", "K-1", "1x1cm"), "say where the damage is"),
        (("stash", "damage", "K-1", "1x1cm", "--corner", "middle"), "there is no corner"),
        (("stash", "damage", "K-1", "30x1cm", "--corner", "top-left"), "does not lie on K-1"),
        (("offcut", "grain", "K-1", "long"), "the grain can't be 'long'"),
    ],
)
def test_bad_input_is_one_sentence(hand: Hand, words: tuple[str, ...], why: str) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("offcut", "add", "Coal card", "20x30cm")
    said = hand.refused(*words)
    assert why in said
    assert said.count("\n") == 1


def fitted(hand: Hand, *words: object) -> dict:
    answer = json.loads(hand.does("fit", *map(str, words), "--json"))
    Draft202012Validator(json.loads(schema_text("fit"))).validate(answer)
    return answer


def test_fit_takes_the_same_rules(hand: Hand, tmp_path: Path) -> None:
    pieces, sheets = tmp_path / "pieces.csv", tmp_path / "sheets.csv"
    pieces.write_text("name,width,height,quantity\ncard,100,150,8\n")
    sheets.write_text("name,width,height,quantity\nsheet,400,300,\n")
    plain = fitted(hand, pieces, sheets)
    assert sum(one["copies"] for one in plain["layouts"]) == 1
    told = fitted(
        hand, pieces, sheets, "--gap", "2mm", "--margin", "5mm", "--trimmer", "20cm",
        "--smallest-strip", "1cm", "--stages", "2",
    )  # fmt: skip
    assert sum(one["copies"] for one in told["layouts"]) == 2
    assert told["layouts"][0]["margins"] == dict.fromkeys(Margins._fields, 5)
    assert told["trimmer"] == {"longest_cut": 200, "smallest_strip": 10, "stages": 2}
    assert told["apart"] == 2
    assert {step["tool"] for one in told["layouts"] for step in one["steps"]} == {
        "knife", "trimmer",
    }  # fmt: skip
    why = hand.refused("fit", str(pieces), str(sheets), "--margin", "15cm")
    assert "line 2, height: the margins leave nothing" in why
