"""Orders planned against the stash, dropped and cut: the book stays right all along."""

from __future__ import annotations

import json
from collections import Counter
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from inventory.core.plan import plan_from_json, plan_to_json
from inventory.database.tables.enums import BatchStatus, OrderStatus, Reason
from inventory.database.tables.ledger import Movement
from inventory.database.tables.orders import Batch
from inventory.database.tables.stock import Stock
from inventory.orders.orders import add_order, get_order, list_orders, order_pieces, set_status
from inventory.production.cutting import cut_batch, drop_batch
from inventory.production.progress import list_batches
from inventory.shop.settings import change_shop
from inventory.stock.adjust import count_stock, spoil_stock
from inventory.stock.listing import list_stash, stock_history
from inventory.stock.lookup import find_stock, get_batch, plan_of
from nester.core.errors import Refusal
from nester.core.geometry import voids
from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Turn
from nester.core.problem import Cuts, CuttingPlan, Demand, Effort, Problem
from nester.packing import solve_orders
from nester.verify import verify
from tests.integration.conftest import TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from tests.integration.conftest import Table


def used(plan: Plan) -> Counter[str]:
    counts: Counter[str] = Counter()
    for layout in plan.layouts:
        counts[layout.sheet.label] += layout.copies
    return counts


def pieces_by_order(plan: Plan) -> Counter[tuple[int, int]]:
    """Count the pieces that the plan makes, by order and part."""
    counts: Counter[tuple[int, int]] = Counter()
    for layout in plan.layouts:
        for spot in layout.spots:
            assert len(spot.orders) == layout.copies
            counts.update((order, spot.part) for order in spot.orders)
    return counts


def pieces_ordered(table: Table, plan: Plan) -> Counter[tuple[int, int]]:
    """Count the pieces that the plan's made orders want, by order and part."""
    index = {(part.piece, part.paper): number for number, part in enumerate(plan.parts)}
    counts: Counter[tuple[int, int]] = Counter()
    with table.shop.read() as session:
        for planned in plan.orders:
            if planned.made:
                order = get_order(session, planned.number)
                for piece, paper in order_pieces(session, order):
                    part = index[replace(piece, quantity=1), paper]
                    counts[order.id, part] += piece.quantity * order.copies
    return counts


def check_against_judge(plan: Plan, smallest_offcut: int = mm(75)) -> None:
    """Put a plan's own data before the judge, as a problem and its answer."""
    stock = {}
    for layout in plan.layouts:
        drawn, sheet = plan.as_layout(layout)
        stock[sheet.name] = replace(sheet, quantity=used(plan)[sheet.name])
    wants: dict[tuple[str, str], Demand] = {}
    layouts = []
    for layout in plan.layouts:
        drawn, _ = plan.as_layout(layout)
        placed = []
        for spot, one in zip(layout.spots, drawn.placed, strict=True):
            part = plan.parts[spot.part]
            name = str(spot.part)
            known = wants.setdefault(
                (name, part.paper),
                Demand(
                    name,
                    part.piece.width,
                    part.piece.height,
                    0,
                    part.paper,
                    Turn.ANY,
                    voids(part.piece),
                ),
            )
            wants[name, part.paper] = replace(known, quantity=known.quantity + layout.copies)
            placed.append(one._replace(name=name))
        layouts.append(replace(drawn, placed=tuple(placed)))
    problem = Problem(tuple(wants.values()), tuple(stock.values()), plan.cuts, smallest_offcut)
    cost = sum(stock[one.stock].price * one.copies for one in layouts)
    assert verify(problem, CuttingPlan(tuple(layouts), (), cost, cost * 0)) == []
    assert plan.cost == cost
    assert plan.bound <= plan.cost


# --- planning ----------------------------------------------------------------------------------


def test_a_plan_books_a_batch_and_reserves_what_it_takes(table: Table) -> None:
    sheet = table.sheets((cm(50), cm(70)), 5, price=Decimal("1.50"), place="Shelf 2")
    numbers = [table.card(4), table.card(2, days=3)]
    plan = table.plan()
    assert plan.batch == 1
    assert [(one.number, one.made) for one in plan.orders] == [
        (numbers[1], True),
        (numbers[0], True),
    ]
    assert used(plan) == {sheet: 1}
    assert plan.cost == Decimal("1.50")
    # All but the six cards goes back, at half its part of the price: 10 × 70 and 40 × 10 cm.
    assert plan.net_cost == plan.bound == Decimal("1.2643")
    assert (plan.lacking, plan.restock, plan.notes) == ((), (), ())
    assert {one.sheet.place for one in plan.layouts} == {"Shelf 2"}
    assert table.reserved() == {sheet: 1}
    assert table.on_hand() == {sheet: 5}
    assert [table.status(number) for number in numbers] == [OrderStatus.PLANNED] * 2
    assert table.batch_status(1) is BatchStatus.OPEN
    check_against_judge(plan)


def test_the_batch_keeps_the_plan_as_it_was_told(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 3, price=Decimal("0.3333"))
    table.card(7, size=("4 1/16 in", "5.5in"))
    table.card(300, days=30)
    plan = table.plan()
    assert plan.lacking
    assert plan.restock
    with table.shop.read() as session:
        batch = get_batch(session, 1)
        assert plan_of(batch) == plan
        assert [order.id for order in batch.orders] == [1]
        assert (batch.cuts, batch.effort) == (Cuts.STRAIGHT, Effort.QUICK)
    assert plan_from_json(plan_to_json(plan)) == plan


def test_what_is_reserved_is_not_planned_with_again(table: Table) -> None:
    sheet = table.sheets((cm(20), cm(20)), 3)
    offcut = table.offcut((cm(20), cm(20)), price=Decimal(0))
    table.card(2)
    assert used(table.plan()) == {sheet: 1, offcut: 1}
    table.card(2)
    assert used(table.plan()) == {sheet: 2}
    table.card(1)
    third = table.plan()
    assert third.batch is None
    assert [(one.order, one.quantity) for one in third.lacking] == [(3, 1)]
    assert table.reserved() == {sheet: 3, offcut: 1}
    assert table.status(3) is OrderStatus.CONFIRMED


def test_only_the_orders_named_are_planned_and_each_once(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 5)
    first, second, third = (table.card() for _ in range(3))
    plan = table.plan(third, first, third)
    assert [one.number for one in plan.orders] == [first, third]
    assert table.status(second) is OrderStatus.CONFIRMED


def test_the_most_urgent_order_gets_the_paper(table: Table) -> None:
    table.sheets((cm(20), cm(20)), 2)
    late, soon = table.card(2, days=9), table.card(2, days=2)
    plan = table.plan(late, soon)
    assert [(one.number, one.made) for one in plan.orders] == [(soon, True), (late, False)]
    assert [table.status(one) for one in (soon, late)] == [
        OrderStatus.PLANNED,
        OrderStatus.CONFIRMED,
    ]


def test_every_spot_is_for_an_order_and_every_order_gets_its_pieces(table: Table) -> None:
    table.paper("Fern print", pattern="directional")
    table.sheets((cm(50), cm(70)), 30)
    table.sheets((cm(50), cm(70)), 30, paper="Fern print")
    for number in range(4):
        with table.shop.begin() as session:
            add_order(
                session,
                "Bas",
                "layered-box",
                {"panel": f"{10 + number // 2}cm", "tiers": "3", "mats": "outside", "cards": "4"},
                {"all": "Coal card", "mat": "Fern print"},
                number + 1,
                TODAY + timedelta(number),
                TODAY,
            )
    plan = table.plan()
    assert all(one.made for one in plan.orders)
    assert pieces_by_order(plan) == pieces_ordered(table, plan)
    assert [layout.number for layout in plan.layouts] == list(range(1, len(plan.layouts) + 1))
    for layout in plan.layouts:
        assert {plan.part_of(spot).paper for spot in layout.spots} == {layout.sheet.paper}
    check_against_judge(plan)


@pytest.mark.parametrize("cuts", list(Cuts))
def test_mats_are_cut_from_the_corners_of_tiers(table: Table, cuts: Cuts) -> None:
    table.sheets((cm(33), cm(33)), 30)
    with table.shop.begin() as session:
        sizes = {"panel": "11cm", "tiers": "3", "mats": "outside", "cards": "0"}
        add_order(session, "Bas", "layered-box", sizes, {"all": "Coal card"}, 1, TODAY, TODAY)
    plan = table.plan(cuts=cuts)
    check_against_judge(plan)
    (largest,) = (
        layout for layout in plan.layouts if any(spot.width == cm(33) for spot in layout.spots)
    )
    # Nothing but what is cut from its corners has room beside the largest tier.
    assert len(largest.spots) > 1
    assert pieces_by_order(plan) == pieces_ordered(table, plan)
    assert plan.piece_area < plan.paper_area


@pytest.mark.parametrize("cuts", list(Cuts))
def test_a_plan_is_for_the_cuts_that_were_asked_for(table: Table, cuts: Cuts) -> None:
    # Five pieces around a middle: only a knife can cut them all from one square.
    table.sheets((cm(30), cm(30)), 2)
    table.card(4, size=("5cm", "20cm"))
    table.card(1, size=("5cm", "10cm"))
    plan = table.plan(cuts=cuts)
    assert plan.cuts is cuts
    if cuts is Cuts.STRAIGHT:
        assert not any(cut.knife for layout in plan.layouts for cut in layout.cuts)
    with table.shop.read() as session:
        assert get_batch(session, 1).cuts is cuts
    check_against_judge(plan)


def test_a_directional_paper_is_not_turned_under_an_upright_piece(table: Table) -> None:
    table.paper("Fern print", pattern="directional")
    table.paper("Dots", pattern="patterned")
    for paper in ("Fern print", "Dots"):
        table.sheets((cm(30), cm(20)), 2, paper=paper)
    # The blank is 20 × 30 cm: it fits the sheet only when turned.
    upright = table.card(size=("10cm", "30cm"), paper="Fern print")
    free = table.card(size=("10cm", "30cm"), paper="Dots")
    plan = table.plan()
    made = {one.number: one.made for one in plan.orders}
    assert made == {upright: False, free: True}
    assert [spot.turned for layout in plan.layouts for spot in layout.spots] == [True]
    (lack,) = plan.lacking
    assert "turn" in lack.why
    assert [(one.paper, one.quantity) for one in plan.restock] == [("Fern print", 0)]


def test_the_same_orders_and_stash_give_the_same_plan(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 9)
    table.offcut((cm(25), cm(40)))
    for number in range(3):
        table.card(3 + number, size=(f"{8 + number}cm", "13cm"))
    once = table.plan()
    with table.shop.begin() as session:
        drop_batch(session, 1)
    again = table.plan()
    assert replace(again, batch=1) == once


# --- what paper counts -------------------------------------------------------------------------


def test_an_offcut_is_used_where_that_saves_money(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 3, price=Decimal(3))
    offcut = table.offcut((cm(25), cm(35)))  # a quarter of a sheet at half its worth
    table.card()
    plan = table.plan()
    assert used(plan) == {offcut: 1}
    assert plan.cost == Decimal("0.38")


def test_an_offcut_is_left_where_it_saves_nothing(table: Table) -> None:
    # The second card needs a sheet anyway, and there is room on it for the first.
    sheet = table.sheets((cm(50), cm(70)), 3, price=Decimal(3))
    table.offcut((cm(25), cm(35)))
    table.card(size=("20cm", "40cm"))
    table.card()
    plan = table.plan()
    assert used(plan) == {sheet: 1}
    assert plan.cost == Decimal(3)


def test_the_shop_says_what_an_offcut_is_worth(table: Table) -> None:
    sheet = table.sheets((cm(20), cm(20)), 3, price=Decimal(1))
    offcut = table.offcut((cm(27), cm(27)))  # more than a sheet's area, and no rest worth keeping
    table.card()
    with table.shop.begin() as session:
        change_shop(session, offcut_worth=100)
    assert used(table.plan()) == {sheet: 1}
    with table.shop.begin() as session:
        drop_batch(session, 1)
        change_shop(session, offcut_worth=10)
    assert used(table.plan()) == {offcut: 1}


def test_an_offcut_kept_counts_as_one_taken(table: Table) -> None:
    # Alone the offcut is dearer than a sheet; but most of it goes back into the drawer.
    table.sheets((cm(20), cm(20)), 3, price=Decimal(1))
    offcut = table.offcut((cm(25), cm(70)))
    table.card()
    plan = table.plan()
    assert used(plan) == {offcut: 1}
    assert plan.cost == Decimal("2.19")
    # 25 × 50 cm of 25 × 70 cm are kept.
    assert plan.kept == Decimal("1.5642")
    assert plan.net_cost < 1
    assert plan_from_json(plan_to_json(plan)) == plan


def test_a_price_of_its_own_goes_before_an_offcuts_worth(table: Table) -> None:
    table.sheets((cm(20), cm(20)), 3, price=Decimal(1))
    offcut = table.offcut((cm(25), cm(70)), price=Decimal("0.05"))
    table.card()
    plan = table.plan()
    assert used(plan) == {offcut: 1}
    assert plan.cost == Decimal("0.05")


def test_paper_without_a_price_counts_by_its_area_and_is_noted(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 3)
    small = table.sheets((cm(25), cm(40)), 3)
    table.card()
    plan = table.plan()
    assert used(plan) == {small: 1}
    assert plan.cost == Decimal("0.1")
    assert plan.notes == ("No price is known for Coal card; counted at 1 EUR a square metre.",)


def test_a_sheet_without_a_price_counts_as_others_of_its_paper_do(table: Table) -> None:
    table.sheets((cm(50), cm(100)), 1, price=Decimal(2))
    bare = table.sheets((cm(50), cm(50)), 1)
    table.card()
    plan = table.plan()
    assert used(plan) == {bare: 1}
    assert plan.cost == Decimal(1)
    assert plan.notes == ()


def test_what_is_late_is_noted(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 3, price=Decimal(1))
    number = table.card(days=-2)
    assert table.plan().notes == (f"Order {number} was due on 2027-02-27.",)


# --- refusals ----------------------------------------------------------------------------------


def test_nothing_to_plan_is_refused(table: Table) -> None:
    with pytest.raises(Refusal, match="no confirmed order to plan"):
        table.plan()
    assert table.batches() == 0


@pytest.mark.parametrize("status", [OrderStatus.CANCELLED, OrderStatus.PLANNED])
def test_only_confirmed_orders_are_planned(table: Table, status: OrderStatus) -> None:
    table.sheets((cm(50), cm(70)), 3)
    number, other = table.card(), table.card()
    with table.shop.begin() as session:
        set_status(session, get_order(session, number), status)
    with pytest.raises(Refusal, match=f"order {number} is {status}; only confirmed"):
        table.plan(number, other)
    assert table.batches() == 0
    assert table.status(other) is OrderStatus.CONFIRMED
    assert [one.number for one in table.plan().orders] == [other]


def test_an_order_that_is_not_there_is_refused(table: Table) -> None:
    with pytest.raises(Refusal, match="there is no order 7"):
        table.plan(7)


def test_with_no_paper_at_all_the_plan_says_what_is_lacking(table: Table) -> None:
    number = table.card(2)
    plan = table.plan()
    assert plan.batch is None
    assert plan.layouts == ()
    assert (plan.cost, plan.bound) == (0, 0)
    (lack,) = plan.lacking
    assert (lack.order, lack.paper, lack.piece) == (number, "Coal card", "card")
    assert (lack.width, lack.height, lack.quantity) == (cm(20), cm(20), 2)
    assert table.batches() == 0
    assert table.status(number) is OrderStatus.CONFIRMED


def meddle(table: Table, monkeypatch: pytest.MonkeyPatch, deed) -> None:
    """Let somebody else change the shop while the next plan is searched for."""

    def slow(*args, **others):
        monkeypatch.undo()
        with table.shop.begin() as session:
            deed(session)
        return solve_orders(*args, **others)

    monkeypatch.setattr("inventory.production.planning.solve_orders", slow)


@contextmanager
def nothing_booked(table: Table) -> Iterator[None]:
    yield
    assert table.batches() == 0
    assert table.reserved() == {}
    with table.shop.read() as session:
        assert {one.status for one in list_orders(session)} <= {
            OrderStatus.CONFIRMED,
            OrderStatus.CANCELLED,
        }


def test_a_stash_that_changed_while_planning_is_refused(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = table.sheets((cm(50), cm(70)), 2)
    table.card()
    meddle(table, monkeypatch, lambda session: spoil_stock(session, sheet, 2))
    with (
        nothing_booked(table),
        pytest.raises(Refusal, match=f"it takes 1 of {sheet}, and 0 are free now; plan again"),
    ):
        table.plan()
    assert table.on_hand() == {}


def test_an_order_that_changed_while_planning_is_refused(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    table.sheets((cm(50), cm(70)), 9)
    numbers = [table.card() for _ in range(3)]

    def cancel(session: Session) -> None:
        set_status(session, get_order(session, numbers[1]), OrderStatus.CANCELLED)

    meddle(table, monkeypatch, cancel)
    with (
        nothing_booked(table),
        pytest.raises(Refusal, match=f"order {numbers[1]} was changed since and is cancelled"),
    ):
        table.plan()


def test_a_change_that_leaves_enough_does_no_harm(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = table.sheets((cm(50), cm(70)), 2)
    table.card()
    meddle(table, monkeypatch, lambda session: spoil_stock(session, sheet, 1))
    assert table.plan().batch == 1
    assert table.on_hand() == {sheet: 1}


def test_what_another_plan_reserved_meanwhile_is_not_taken_twice(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    table.sheets((cm(20), cm(20)), 1)
    mine, other = table.card(), table.card()

    def slow(*args, **others):
        monkeypatch.undo()
        assert table.plan(other).batch == 1
        return solve_orders(*args, **others)

    monkeypatch.setattr("inventory.production.planning.solve_orders", slow)
    with pytest.raises(Refusal, match="the stash changed while the plan was made"):
        table.plan(mine)
    assert table.batches() == 1
    assert [table.status(one) for one in (mine, other)] == [
        OrderStatus.CONFIRMED,
        OrderStatus.PLANNED,
    ]


def test_a_plan_the_judge_rejects_is_never_booked(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    table.sheets((cm(50), cm(70)), 3)
    table.card()

    def wrong(*args, **others):
        verdict = solve_orders(*args, **others)
        (layout,) = verdict.cutting_plan.layouts
        moved = tuple(one._replace(x=one.x + cm(40)) for one in layout.placed)
        answer = replace(verdict.cutting_plan, layouts=(replace(layout, placed=moved),))
        return replace(verdict, cutting_plan=answer)

    monkeypatch.setattr("inventory.production.planning.solve_orders", wrong)
    with nothing_booked(table), pytest.raises(Exception, match="sheet"):
        table.plan()


# --- dropping and cutting ----------------------------------------------------------------------


def test_a_dropped_batch_frees_what_it_reserved(table: Table) -> None:
    sheet = table.sheets((cm(20), cm(20)), 1)
    number = table.card()
    table.plan()
    with table.shop.begin() as session:
        drop_batch(session, 1)
    assert table.batch_status(1) is BatchStatus.DROPPED
    assert table.reserved() == {}
    assert table.on_hand() == {sheet: 1}
    assert table.status(number) is OrderStatus.CONFIRMED
    assert table.plan().batch == 2


def test_cutting_takes_the_sheets_and_puts_the_offcuts_away(table: Table) -> None:
    sheet = table.sheets((cm(50), cm(70)), 5, price=Decimal(3))
    old = table.offcut((cm(9), cm(9)))
    number = table.card(2, size=("20cm", "40cm"))  # two blanks of 40 × 40: a sheet each
    plan = table.plan()
    offcuts = Counter()
    for layout in plan.layouts:
        for rect in layout.offcuts:
            offcuts[rect.width, rect.height] += layout.copies
    assert offcuts.total() >= 2
    with table.shop.begin() as session:
        kept = cut_batch(session, 1, place="Drawer 1")
    piles = Counter()
    for one in kept:
        piles[one.width, one.height] += one.quantity
    assert piles == offcuts
    assert len({one.label for one in kept}) == len(offcuts)
    piles = Counter()
    for one in kept:
        piles[one.label] += one.quantity
    assert table.on_hand() == {sheet: 3, old: 1, **piles}
    assert table.reserved() == {}
    assert table.status(number) is OrderStatus.CUT
    assert table.batch_status(1) is BatchStatus.CUT
    with table.shop.read() as session:
        rows = {row.label: row for row in list_stash(session)}
        for one in kept:
            assert rows[one.label].place == "Drawer 1"
            assert (rows[one.label].width, rows[one.label].height) == (one.width, one.height)
            assert rows[one.label].paper == one.paper == "Coal card"
            stock = find_stock(session, one.label)
            assert stock.parent is not None
            assert stock.parent.label == sheet
            moved = stock_history(session, one.label)
            assert {(move.reason, move.batch) for move in moved} == {(Reason.KEPT, 1)}
            assert sum(move.change for move in moved) == piles[one.label]
        assert [(row.reason, row.change) for row in stock_history(session, sheet)] == [
            (Reason.RECEIVED, 5),
            *((Reason.CUT, -layout.copies) for layout in plan.layouts),
        ]


def test_new_offcuts_are_planned_with(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 1, price=Decimal(3))
    table.card(size=("20cm", "40cm"))
    table.plan()
    with table.shop.begin() as session:
        (first, *_) = cut_batch(session, 1)
    table.card()
    assert used(table.plan()) == {first.label: 1}


def test_offcuts_smaller_than_the_shop_keeps_are_not_put_away(table: Table) -> None:
    with table.shop.begin() as session:
        change_shop(session, smallest_offcut=cm(45))
    table.sheets((cm(50), cm(70)), 1)
    table.card(size=("20cm", "40cm"))
    plan = table.plan()
    with table.shop.begin() as session:
        assert cut_batch(session, 1) == []
    assert table.on_hand() == {}
    check_against_judge(plan, cm(45))


def test_a_batch_is_cut_all_or_nothing(table: Table) -> None:
    table.paper("Moss linen")
    first = table.sheets((cm(50), cm(70)), 2)
    second = table.sheets((cm(50), cm(70)), 2, paper="Moss linen")
    table.card()
    number = table.card(paper="Moss linen")
    table.plan()
    with table.shop.begin() as session:
        count_stock(session, second, 0, "a glass of tea")
    before = table.on_hand()
    with (
        pytest.raises(Refusal, match=f"{second} has 0 on hand"),
        table.shop.begin() as session,
    ):
        cut_batch(session, 1)
    assert table.on_hand() == before == {first: 2}
    assert table.batch_status(1) is BatchStatus.OPEN
    assert table.status(number) is OrderStatus.PLANNED
    with table.shop.read() as session:
        assert session.scalar(select(func.count()).where(Movement.reason == Reason.CUT)) == 0
        assert session.scalar(select(func.count(Stock.id))) == 2


@pytest.mark.parametrize("end", [cut_batch, drop_batch])
def test_a_batch_ends_once(table: Table, end) -> None:
    table.sheets((cm(50), cm(70)), 2)
    table.card()
    table.plan()
    with table.shop.begin() as session:
        end(session, 1)
    now = table.on_hand()
    for again in (cut_batch, drop_batch):
        with (
            pytest.raises(Refusal, match="only an open batch can be changed"),
            table.shop.begin() as session,
        ):
            again(session, 1)
    assert table.on_hand() == now


@pytest.mark.parametrize("number", [0, -1, 2, 2**70])
def test_a_batch_that_is_not_there_is_refused(table: Table, number: int) -> None:
    with (
        pytest.raises(Refusal, match=f"there is no batch {number}"),
        table.shop.read() as session,
    ):
        get_batch(session, number)


def test_an_order_cancelled_after_planning_stays_cancelled(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 2)
    number, other = table.card(), table.card()
    table.plan()
    with table.shop.begin() as session:
        set_status(session, get_order(session, number), OrderStatus.CANCELLED)
        cut_batch(session, 1)
    assert [table.status(one) for one in (number, other)] == [
        OrderStatus.CANCELLED,
        OrderStatus.CUT,
    ]


def test_batches_are_listed_the_newest_first(table: Table) -> None:
    table.sheets((cm(20), cm(20)), 3)
    for _ in range(3):
        table.card()
        table.plan()
    with table.shop.read() as session:
        assert [one.id for one in list_batches(session)] == [3, 2, 1]
        assert session.scalar(select(func.count(Batch.id))) == 3


def test_the_stored_plan_is_plain_json(table: Table) -> None:
    table.sheets((inch(12), inch(12)), 2, price=Decimal("1.45"))
    table.card(size=("4 1/16in", "5.5in"))
    table.plan()
    with table.shop.read() as session:
        data = json.loads(get_batch(session, 1).plan)
    (layout,) = data["layouts"]
    assert layout["sheet"]["width"] == inch(12)
    assert layout["sheet"]["price"] == "1.45"
    assert data["unit"] == Unit.MM
