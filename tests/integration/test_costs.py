"""What orders, batches and designs cost by the book, and what the shop reckons with."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.core import durations
from inventory.core.money import round_to_coin
from inventory.costs import rates
from inventory.costs.costing import CostCategory
from inventory.costs.order_costs import batch_cost, design_cost, order_cost, plan_shares
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import ConsumableUnit
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.production.cutting import cut_batch
from inventory.production.mending import mend_batch
from inventory.production.spoiling import spoil_piece
from inventory.purchasing.prices import set_price
from inventory.purchasing.suppliers import set_supplier
from inventory.stock import supplies
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, mm
from nester.core.problem import Effort
from nester.core.sheet_sizes import parse_size
from nester.designs.base.design import Measure
from tests.integration.conftest import TODAY, Hand, Table

if TYPE_CHECKING:
    from pathlib import Path

    from inventory.costs.order_costs import OrderCost

D, F = Decimal, Fraction


@pytest.fixture
def reckoning(table: Table) -> Table:
    """A shop with sheets of 50 × 70 cm at 3.50, a tenth of a cent a square centimetre."""
    table.sheets((cm(50), cm(70)), 9, price=D("3.50"))
    with table.shop.begin() as session:
        rates.set_rates(
            session, hour=D(18), piece_minutes=D(5), packaging=D("0.80"), packaging_grams=D(50)
        )
        rates.set_consumable(session, "adhesive", price=D(2), per=ConsumableUnit.AREA, grams=D(50))
    return table


def paper_of(told: OrderCost) -> Decimal:
    return sum((one.amount for one in told.cost.lines if one.category is CostCategory.PAPER), D(0))


def part(told: OrderCost, item: CostCategory) -> Decimal:
    return sum((one.amount for one in told.cost.lines if one.category is item), D(0))


# --- orders and batches


def test_an_order_bears_its_sheet_less_what_is_kept(reckoning: Table) -> None:
    # A card of 10 × 20 cm is cut as a blank of 20 × 20 cm: 400 of the sheet's 3,500 cm².  All the
    # rest, 3,100 cm², is kept in two offcuts, which are worth half of 3.10: 1.55.
    # 3.50 − 1.55 = 1.95.
    number = reckoning.card()
    plan = reckoning.plan(number)
    assert sum(rect.area for rect in plan.layouts[0].offcuts) == 3100 * cm(1) ** 2
    told = order_cost(reckoning.shop, number, today=TODAY)
    assert told.batches == (1,)
    assert not told.is_estimated
    assert paper_of(told) == D("1.95")
    (paper,) = (one for one in told.cost.lines if one.category is CostCategory.PAPER)
    assert (paper.name, paper.quantity, paper.unit) == ("Coal card", F(4, 100), "m²")


def test_orders_on_one_sheet_share_it_by_area(reckoning: Table) -> None:
    # A blank of 20 × 20 cm for one, of 20 × 30 cm for the other: 400 and 600 of 1,000 cm².
    first, second = reckoning.card(), reckoning.card(size=("15cm", "20cm"))
    plan = reckoning.plan()
    assert [one.copies for one in plan.layouts] == [1]
    net = plan.net_cost
    assert paper_of(order_cost(reckoning.shop, first, today=TODAY)) == round_to_coin(
        net * 4 / 10, "EUR"
    )
    assert paper_of(order_cost(reckoning.shop, second, today=TODAY)) == round_to_coin(
        net * 6 / 10, "EUR"
    )


def test_a_batch_is_borne_by_its_orders_to_the_last_coin(reckoning: Table) -> None:
    numbers = [reckoning.card(copies, size=("7cm", "11.3cm")) for copies in (1, 3, 7, 2, 5)]
    plan = reckoning.plan()
    with reckoning.shop.read() as session:
        told = batch_cost(session, 1)
    assert [row.order for row in told.rows] == numbers
    assert sum(row.paper for row in told.rows) == told.paper == round_to_coin(plan.net_cost, "EUR")
    assert sum(row.cutting for row in told.rows) == told.cutting
    assert told.cutting == round_to_coin(told.minutes * 18 / 60, "EUR")
    for row in told.rows:
        cost = order_cost(reckoning.shop, row.order, today=TODAY)
        assert (paper_of(cost), part(cost, CostCategory.CUTTING)) == (row.paper, row.cutting)
        assert part(cost, CostCategory.PAPER) + part(cost, CostCategory.CUTTING) <= cost.cost.cost


def test_offcuts_kept_of_an_offcut_count_whole(table: Table) -> None:
    # The offcut of 40 × 50 cm has a price of its own: 1.00.  A blank of 20 × 20 cm is cut from
    # it; what is kept of it, 1,600 of 2,000 cm², counts whole: 0.80, and 0.20 is to be borne.
    table.offcut((cm(40), cm(50)), price=D("1.00"))
    number = table.card()
    plan = table.plan()
    assert plan.kept == D("0.8")
    assert paper_of(order_cost(table.shop, number, today=TODAY)) == D("0.20")


def test_what_a_plan_says_it_keeps_is_what_its_orders_do_not_bear(table: Table) -> None:
    table.offcut((cm(40), cm(50)), price=D("1.00"))
    table.sheets((cm(50), cm(70)), 5, price=D("3.50"))
    for _ in range(3):
        table.card(2, size=("20cm", "30cm"))
    table.card()
    plan = table.plan()
    assert {one.sheet.kind for one in plan.layouts} == {"sheet", "offcut"}
    with table.shop.read() as session:
        shares = plan_shares(plan, rates.rates_of(session))
    borne = sum(sum(one.share.costs.values()) for one in shares.values())
    assert borne == F(plan.net_cost)


def test_before_it_is_planned_an_order_is_estimated(reckoning: Table) -> None:
    number = reckoning.card()
    told = order_cost(reckoning.shop, number, today=TODAY)
    assert told.is_estimated
    assert paper_of(told) == D("1.95")  # as by the plan above: the same sheet, and alone on it
    assert told.cost.unknown == ("there is no table of postage",)
    planned = reckoning.plan(number)
    assert planned.batch == 1
    after = order_cost(reckoning.shop, number, today=TODAY)
    assert not after.is_estimated
    assert after.cost == told.cost


def test_a_draft_is_no_plan_yet(reckoning: Table) -> None:
    number = reckoning.card()
    reckoning.plan(number, draft=True)
    assert order_cost(reckoning.shop, number, today=TODAY).is_estimated


def test_the_prices_of_the_day_count(reckoning: Table) -> None:
    number = reckoning.card()
    later = TODAY + timedelta(1)
    with reckoning.shop.begin() as session:
        set_supplier(session, "Mill")
        for price, day in ((D("7.00"), TODAY), (D("14.00"), later)):
            set_price(session, "Mill", "Coal card", (cm(50), cm(70)), price, day=day)
    assert paper_of(order_cost(reckoning.shop, number, today=TODAY)) == D("3.90")
    assert paper_of(order_cost(reckoning.shop, number, today=later)) == D("7.80")
    said = {"width": "10cm", "height": "20cm", "mats": "none"}, {"all": "Coal card"}
    told = design_cost(reckoning.shop, "folded-card", *said, today=later)
    assert paper_of(told) == D("7.80")


def test_a_paper_without_sheets_is_told(table: Table) -> None:
    table.offcut((cm(40), cm(50)))
    told = order_cost(table.shop, table.card(), today=TODAY)
    assert "no sheet of Coal card is known that is large enough" in told.cost.unknown


def test_a_paper_without_a_price_is_told(table: Table) -> None:
    table.sheets((cm(50), cm(70)), 3)
    number = table.card()
    said = "no price is known for Coal card; it counts 1 EUR a square metre"
    assert said in order_cost(table.shop, number, today=TODAY).cost.unknown
    table.plan()
    assert said in order_cost(table.shop, number, today=TODAY).cost.unknown


def test_pieces_that_are_cut_again_are_paid_again_and_weigh_once(reckoning: Table) -> None:
    number = reckoning.card()
    plan = reckoning.plan(number)
    before = order_cost(reckoning.shop, number, today=TODAY)
    with reckoning.shop.begin() as session:
        cut_batch(session, 1)
        spoil_piece(session, 1, plan.parts[0].piece.name)
    assert paper_of(order_cost(reckoning.shop, number, today=TODAY)) == paper_of(before)
    mended = mend_batch(reckoning.shop, 1, effort=Effort.QUICK, today=TODAY)
    after = order_cost(reckoning.shop, number, today=TODAY)
    assert after.batches == (1, 2)
    assert after.notes == ("Pieces that were cut again in batch 2 are in it.",)
    assert paper_of(after) == paper_of(before) + round_to_coin(mended.net_cost, "EUR")
    assert after.cost.grams == before.cost.grams
    assert part(after, CostCategory.ASSEMBLING) == part(before, CostCategory.ASSEMBLING)


def test_a_sheet_of_a_design_nobody_ordered(reckoning: Table) -> None:
    said = {"width": "10cm", "height": "20cm", "mats": "none"}
    told = design_cost(reckoning.shop, "folded-card", said, {"all": "coal card"}, today=TODAY)
    assert told.order is None
    assert told.is_estimated
    assert paper_of(told) == D("1.95")
    # On sheets of 40 × 40 cm at 2.00: four blanks of 20 × 20 cm, no offcut.
    four = design_cost(
        reckoning.shop, "folded-card", said, {"all": "Coal card"}, 4,
        on=lambda unit: [(parse_size("40x40cm", unit), D(2))], today=TODAY,
    )  # fmt: skip
    assert paper_of(four) == D("2.00")
    assert reckoning.batches() == 0
    with pytest.raises(Refusal, match="folded-card needs a paper for card"):
        design_cost(reckoning.shop, "folded-card", said, {}, today=TODAY)


def test_own_parts_of_an_order(reckoning: Table) -> None:
    # Weight: 400 cm² at 300 g/m² is 12 g a card, no glue; two cards and 50 g of packaging: 74 g.
    # One piece at 5 min and two copies: 10 min at 18.00 an hour are 3.00.
    told = order_cost(reckoning.shop, reckoning.card(2), today=TODAY)
    assert told.cost.grams == 74
    assert part(told, CostCategory.ASSEMBLING) == D("3.00")
    assert part(told, CostCategory.PACKAGING) == D("0.80")
    assert told.cost.copies == 2


# --- what the shop reckons with


def test_all_of_it_is_kept(shop: ShopFile, tmp_path: Path) -> None:
    table = tmp_path / "postage.csv"
    table.write_text("weight;price\n1kg;4,90\n250 g;2,20 EUR\n1 lb;3.5\n", "utf-8")
    with shop.begin() as session:
        supplies.add_supply(session, "Satin", "reel")
        supplies.receive_supply(session, "Satin", cm(100) * 25, price=D("4.50"))
        rates.set_rates(
            session, hour=D("18.5"), fee=D("6.5"), fee_fixed=D("0.3"), margin=D(25),
            endings=rates.read_endings([".50", ",95"], "EUR"), quote_days=10,
        )  # fmt: skip
        rates.set_rates(session, wrapping=D("0.35"))
        rates.set_consumable(session, "Ribbon", supply="satin", grams=D(3))
        rates.set_print(session, (cm(15), cm(10)), D("0.25"))
        rates.set_assembly(session, "Layered-Box", D(70))
        assert rates.import_postage(session, table) == 3
    with shop.read() as session:
        kept = rates.rates_of(session)
        assert rates.quote_days(session) == 10
        assert rates.written_endings(session) == (".50", ".95")
    assert (kept.hour, kept.fee, kept.margin, kept.wrapping) == (
        D("18.5"), D("6.5"), D(25), D("0.35"),
    )  # fmt: skip
    assert kept.supplies == {("ribbon", Measure.LENGTH): (F("0.18"), F(3))}
    assert [(one.width, one.height, one.price) for one in kept.prints] == [
        (cm(10), cm(15), D("0.25"))
    ]
    assert kept.design_minutes == {"layered-box": D(70)}
    assert kept.postage == (
        (D(250), D("2.2")), (D("453.59237"), D("3.5")), (D(1000), D("4.9")),
    )  # fmt: skip
    assert check_shop(shop).faults == []
    export_shop(shop, tmp_path / "all.zip")
    import_shop(tmp_path / "all.zip", str(tmp_path / "again.sqlite"))
    with open_shop(tmp_path / "again.sqlite") as again, again.read() as session:
        assert rates.rates_of(session) == kept


def test_a_shop_in_which_nothing_is_set(shop: ShopFile) -> None:
    with shop.read() as session:
        assert rates.rates_of(session).hour is None
        assert rates.quote_days(session) == 14
        assert rates.written_endings(session) == ()


def test_the_price_last_paid_counts(shop: ShopFile) -> None:
    def price() -> Fraction | None:
        (row,) = rates.consumables(session)
        return row.price

    with shop.begin() as session:
        supplies.add_supply(session, "Paste", "amount", unit="ml")
        rates.set_consumable(session, "adhesive", supply="Paste", spread=150_000)
        assert price() is None
        # 500 ml for 10.00; a square metre takes 150 ml: 3.00.
        supplies.receive_supply(session, "Paste", 500_000, price=D(10))
        assert price() == 3
        supplies.use_supply(session, "Paste", 400_000)
        assert price() == 3
        supplies.receive_supply(session, "Paste", 500_000, price=D(12))
        assert price() == F("3.6")
        supplies.receive_supply(session, "Paste", 500_000)
        assert price() == F("3.6")
        undo_transaction(session, last_transaction(session).id)
        undo_transaction(session, last_transaction(session).id)
        assert price() == 3
        rates.set_consumable(session, "adhesive", price=D(4))
        assert price() == 4
        rates.forget_consumable(session, "ADHESIVE")
        assert rates.consumables(session) == []


def test_a_weight_alone_and_a_price_alone(shop: ShopFile) -> None:
    with shop.begin() as session:
        rates.set_consumable(session, "eyelet", grams=D("0.3"), per=ConsumableUnit.COUNT)
        rates.set_consumable(session, "eyelet", price=D("0.04"))
        assert rates.consumables(session) == [
            ("eyelet", ConsumableUnit.COUNT, None, F("0.04"), D("0.3")),
        ]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"grams": D(3)}, "say what the price is for: length, area, count"),
        ({"price": D(3)}, "say what the price is for"),
        ({"price": D(3), "supply": "Satin"}, "a price or the supply it is taken from, not both"),
        ({"supply": "Paste"}, "say how much of Paste a square metre takes, such as 150 ml"),
        (
            {"supply": "Paste", "per": ConsumableUnit.COUNT},
            "Paste is kept by amount, which gives no price by",
        ),
        ({"supply": "Satin", "per": ConsumableUnit.AREA}, "how much of Satin a square metre takes"),
        ({"spread": 5}, "name the supply it is taken from too"),
        ({"supply": "Sattin"}, "did you mean 'Satin'"),
    ],
)
def test_what_a_consumable_cannot_cost(shop: ShopFile, said, why: str) -> None:
    with shop.begin() as session:
        supplies.add_supply(session, "Satin", "reel")
        supplies.add_supply(session, "Paste", "amount", unit="ml")
    with pytest.raises(Refusal, match=why), shop.begin() as session:
        rates.set_consumable(session, "ribbon", **said)
    with shop.read() as session:
        assert rates.consumables(session) == []


def test_fees_and_margin_leave_something_of_the_price(shop: ShopFile) -> None:
    with shop.begin() as session:
        rates.set_rates(session, fee=D(40), margin=D(40))
    said = r"a fee of 60 % and a margin of 40 % leave too little"
    with pytest.raises(Refusal, match=said), shop.begin() as session:
        rates.set_rates(session, fee=D(60))
    with shop.read() as session:
        assert rates.rates_of(session).fee == 40


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ("weight,price\n500g,3.90\n1kg,-4\n", "line 3, price: the price '-4' must not be less"),
        ("weight,price\n500g,3.90\n,4\n", "line 3, weight: the weight must be a weight such as"),
        ("weight,price\n500g,3.90\n0.5 kg,4\n", "line 3, weight: this weight stands in line 2"),
        ("weight,price\n0,3.90\n", "line 2, weight: no parcel weighs nothing"),
        ("weight,price\n1g,3.90 USD\n", "is in USD, but the shop counts in EUR"),
        ("weight,price\n1001kg,3.90\n", "more than 1,000 kg"),
        ("weight,cost\n1g,3.90\n", "line 1: the column 'price' is missing"),
        ("weight,price\n", "there is no line below the column names"),
    ],
)
def test_a_wrong_table_of_postage_changes_nothing(
    shop: ShopFile, tmp_path: Path, lines: str, why: str
) -> None:
    table = tmp_path / "postage.csv"
    table.write_text("weight,price\n500g,3.90\n", "utf-8")
    with shop.begin() as session:
        rates.import_postage(session, table)
    table.write_text(lines, "utf-8")
    with pytest.raises(Refusal, match=why), shop.begin() as session:
        rates.import_postage(session, table)
    with shop.read() as session:
        assert rates.rates_of(session).postage == ((D(500), D("3.9")),)


def test_a_new_table_of_postage_takes_the_place_of_the_old(shop: ShopFile, tmp_path: Path) -> None:
    table = tmp_path / "postage.csv"
    for price in ("3.90", "4.10"):
        table.write_text(f"weight,price\n500g,{price}\n", "utf-8")
        with shop.begin() as session:
            rates.import_postage(session, table)
    with shop.read() as session:
        assert rates.rates_of(session).postage == ((D(500), D("4.1")),)


@pytest.mark.parametrize(
    ("reader", "text", "value"),
    [
        (rates.read_percent, "6,5 %", D("6.5")),
        (rates.read_percent, "0", D(0)),
        (rates.read_grams, "1.5 KG", D(1500)),
        (rates.read_grams, "2 oz", D("56.699046250")),
        (durations.read_minutes, "1.5h", D(90)),
        (durations.read_minutes, "20", D(20)),
    ],
)
def test_numbers_as_a_maker_writes_them(reader, text: str, value: Decimal) -> None:
    assert reader(text, "it") == value


@pytest.mark.parametrize(
    ("reader", "text", "why"),
    [
        (rates.read_percent, "-5", "a number of percent"),
        (rates.read_percent, "100", "must be below 99 %"),
        (rates.read_percent, "many", "a number of percent such as 6.5 %, not 'many'"),
        (rates.read_grams, "1e3", "a weight such as"),
        (rates.read_grams, "9999 kg", "more than 1,000 kg"),
        (durations.read_minutes, "1:30", "a time such as"),
        (durations.read_minutes, "9999h", "more than 100,000 minutes"),
    ],
)
def test_numbers_that_cannot_be(reader, text: str, why: str) -> None:
    with pytest.raises(Refusal, match=why):
        reader(text, "it")


def test_a_print_of_a_size_is_forgotten(shop: ShopFile) -> None:
    with shop.begin() as session:
        rates.set_print(session, (cm(10), cm(15)), D("0.25"))
        rates.set_print(session, (cm(15), cm(10)), D("0.30"))
        assert [one.price for one in rates.rates_of(session).prints] == [D("0.3")]
        rates.forget_print(session, (cm(15), cm(10)), Unit.CM)
        with pytest.raises(Refusal, match="no price for prints of 15 × 10 cm"):
            rates.forget_print(session, (cm(15), cm(10)), Unit.CM)
        with pytest.raises(Refusal, match="no print is longer than 5 m"):
            rates.set_print(session, (mm(5001), cm(10)), D(1))
        rates.set_assembly(session, "gift-tag", D(3))
        rates.set_assembly(session, "gift-tag", None)
        assert rates.assembly_times(session) == {}


# --- at the desk


@pytest.fixture
def busy(hand: Hand) -> Hand:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "9", "--price", "3.50")
    hand.does(
        "order", "add", "Ines", "folded-card", "--due", "in 9 days", "--size", "width=10cm",
        "--size", "height=20cm", "--size", "mats=none", "--paper", "all=Coal card",
    )  # fmt: skip
    return hand


def test_costs_at_the_desk(busy: Hand, tmp_path: Path) -> None:
    table = tmp_path / "postage.csv"
    table.write_text("weight,price\n500g,3.90\n", "utf-8")
    assert busy.data("cost", "order", "cost", "1")["unknown"]
    busy.does("cost", "set", "--hour", "18 EUR", "--fee", "10%", "--margin", "20 %")
    busy.does("cost", "set", "--ends", ".50", "--piece-minutes", "5")
    busy.does("cost", "supply", "ribbon", "--price", "0.20", "--per", "length", "--weight", "3g")
    busy.does("cost", "print", "10x15cm", "0.25")
    busy.does("cost", "time", "folded-card", "10")
    busy.does("cost", "postage", str(table))
    shown = busy.data("cost_rates", "cost", "show")
    assert (shown["hour"], shown["endings"], shown["fee_percent"]) == ("18", [".50"], "10")
    assert "A parcel up to 500 g" in busy.does("cost", "show")
    before = busy.data("cost", "order", "cost", "1")
    assert before["estimated"]
    assert before["unknown"] == []
    busy.does("batch", "plan")
    after = busy.data("cost", "order", "cost", "1")
    assert (after["estimated"], after["batches"]) == (False, [1])
    assert after["parts"] == before["parts"]
    sums = sum(Decimal(one["amount"]) for one in after["parts"])
    assert sums == Decimal(after["cost"])
    assert sums + Decimal(after["fees"]) + Decimal(after["margin"]) == Decimal(after["price"])
    assert after["price"].endswith(".50")
    text = busy.does("order", "cost", "1")
    assert "By the plan of batch 1" in text
    assert max(map(len, text.splitlines())) <= 80
    by_hand = busy.data("cost", "order", "cost", "1", "--price", "2.00", "--collected")
    assert (by_hand["price"], by_hand["margin"][0]) == ("2.00", "-")
    assert "postage" not in {one["part"] for one in by_hand["parts"]}
    batch = busy.data("batch_cost", "batch", "cost", "1")
    assert [one["order"] for one in batch["orders"]] == [1]
    assert "all" in busy.does("batch", "cost", "1")
    tag = ("design", "cost", "gift-tag", "--paper", "all=Coal card", "--on", "40x40cm=2.00")
    assert busy.data("cost", *tag)["order"] is None
    busy.does("cost", "supply", "ribbon", "--forget")
    busy.does("cost", "print", "10x15cm", "--forget")
    busy.does("cost", "time", "folded-card", "--forget")
    assert busy.data("cost_rates", "cost", "show")["consumables"] == []


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("cost", "set"), "say what to change"),
        (("cost", "set", "--hour", "18 USD"), "is in USD, but the shop counts in EUR"),
        (("cost", "set", "--hour", "-1"), "must not be less than zero"),
        (("cost", "set", "--fee", "99%"), "must be below 99 %"),
        (("cost", "set", "--ends", "9.955"), "no price in EUR can end in '9.955'"),
        (("cost", "set", "--quote-days", "0"), "must be 1 to 3,650, not 0"),
        (("cost", "supply", "ribbon"), "say what ribbon costs or weighs"),
        (("cost", "supply", "ribbon", "--forget"), "nothing is set for 'ribbon'"),
        (("cost", "supply", "ribbon", "--price", "abc", "--per", "length"), "not an amount"),
        (("cost", "supply", "ribbon", "--price", "1", "--per", "mile"), "it is one of length"),
        (("cost", "supply", "ribbon", "--spread", "5"), "name the supply of which"),
        (("cost", "print", "10x15cm"), "say what such a print costs"),
        (("cost", "time", "gift-tag"), "say how many minutes it takes, or --forget"),
        (("cost", "time", "gift-teg", "3"), "did you mean 'gift-tag'"),
        (("cost", "postage", "no-such.csv"), "there is no such file"),
        (("order", "cost", "7"), "there is no order 7"),
        (("batch", "cost", "7"), "there is no batch 7"),
        (("order", "cost", "1", "--price", "1.999"), "can't be paid in whole coins of EUR"),
        (("design", "cost", "gift-tag", "--paper", "all=Coal card", "--on", "50x70cm=-1"),
         "must not be less than zero"),
        (("design", "cost", "gift-tag"), "needs a paper for tag"),
    ],
)  # fmt: skip
def test_slips_at_the_desk(busy: Hand, words: tuple[str, ...], why: str) -> None:
    before = busy.data("cost_rates", "cost", "show")
    assert why in busy.refused(*words)
    assert busy.data("cost_rates", "cost", "show") == before
