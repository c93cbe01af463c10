from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.costs.costing import (
    ConsumableCost,
    CostCategory,
    CostObject,
    CostShare,
    CutPiece,
    CutSheet,
    PostageBand,
    PriceEnding,
    PrintCost,
    Rates,
    SalePrice,
    allocate_amount,
    cost_of,
    cost_shares,
    parcels_for,
    read_ending,
    round_to_sum,
    sale_price,
)
from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_MM, cm, mm
from nester.designs.base.design import Measure

D, F = Decimal, Fraction
NO_PAPER = CostShare({}, {}, F(0))


def box(**others) -> CostObject:
    return CostObject(**{
        "design": "tray-box", "copies": 1, "pieces": 4, "prints": (), "consumables": (),
        "paper_grams": F(100), **others,
    })  # fmt: skip


def amounts(cost) -> dict[str, Decimal]:
    return {f"{part.category} {part.name}".strip(): part.amount for part in cost.lines}


# --- coins


def test_missing_coins_go_to_those_that_lost_most() -> None:
    # 0.333 + 0.333 + 0.334 = 1.00; rounded down 0.33 each, one coin is missing: the third lost
    # 0.004, the others 0.003.
    thirds = [D("0.333"), D("0.333"), D("0.334")]
    assert round_to_sum(thirds, "EUR") == [D("0.33"), D("0.33"), D("0.34")]
    # Of equals the first gets it.
    assert allocate_amount(D("1.00"), [1, 1, 1], "EUR") == [D("0.34"), D("0.33"), D("0.33")]


def test_a_sum_is_rounded_once_halves_up() -> None:
    # Each would round to nothing, but together they are 0.8 of a cent.
    assert round_to_sum([D("0.004"), D("0.004")], "EUR") == [D("0.01"), D("0.00")]
    assert round_to_sum([D("0.002"), D("0.003")], "EUR") == [D("0.00"), D("0.01")]
    assert round_to_sum([D("0.0049")], "EUR") == [D("0.00")]
    assert round_to_sum([], "EUR") == []


def test_coins_are_those_of_the_currency() -> None:
    assert allocate_amount(D(100), [1, 2], "JPY") == [D(33), D(67)]
    assert allocate_amount(D("1.000"), [1, 2], "KWD") == [D("0.333"), D("0.667")]


def test_whole_coins_stay_as_they_are_beside_parts_of_coins() -> None:
    assert round_to_sum([D("3.10"), F(1, 300), F(1, 300), D("2.05")], "EUR")[0::3] == [
        D("3.10"), D("2.05"),
    ]  # fmt: skip


def test_nothing_is_shared_in_equal_parts() -> None:
    assert allocate_amount(D("0.03"), [0, 0], "EUR") == [D("0.02"), D("0.01")]
    with pytest.raises(ValueError, match="nobody"):
        allocate_amount(D(1), [], "EUR")
    with pytest.raises(ValueError, match="zero or more"):
        round_to_sum([D(-1)], "EUR")


# --- paper


def test_a_sheet_is_shared_by_area_less_what_is_kept() -> None:
    # A sheet of 2.00, half of it an offcut worth half its share: 2.00 × 1/2 × 1/2 = 0.50 is kept,
    # so 1.50 is to be borne.  The pieces of order 1 have 300 of 400 parts of area: 1.125; of
    # order 2: 0.375.  The waste (100 of 1,000 parts) is in it, shared 3 to 1.
    # Around order 1's piece it is 90 long, around order 2's 30: of 8 minutes 6 and 2.
    sheet = CutSheet("Coal card", F(2), F(1, 2), F(8), (CutPiece(1, 300, 90), CutPiece(2, 100, 30)))
    shares = cost_shares([sheet])
    assert shares[1] == CostShare({"Coal card": 300}, {"Coal card": F(9, 8)}, F(6))
    assert shares[2] == CostShare({"Coal card": 100}, {"Coal card": F(3, 8)}, F(2))


def test_shares_of_several_sheets_add_up() -> None:
    one = CutSheet("Coal card", F(2), F(0), F(1), (CutPiece(1, 10, 4),))
    two = CutSheet("Fern print", F(3), F(1), F(2), (CutPiece(1, 10, 4), CutPiece(2, 10, 4)))
    shares = cost_shares([one, two, one])
    assert shares[1].costs == {"Coal card": F(4), "Fern print": F(1)}
    assert shares[1].minutes == 3
    assert shares[2].costs == {"Fern print": F(1)}


def test_sheets_that_are_cut_alike_count_as_often() -> None:
    one = CutSheet("Coal card", F(2), F(1, 2), F(8), (CutPiece(1, 3, 9), CutPiece(2, 1, 3)))
    assert cost_shares([replace(one, copies=3)]) == cost_shares([one] * 3)


# --- prices


def test_the_price_keeps_the_margin_after_fees() -> None:
    # Cost 50.00, fees 10 % and 0.30, margin 30 %: (50.00 + 0.30) / 0.60 = 83.8333.
    # At 83.83 fees are 8.383 + 0.30 = 8.683, so 8.68 (a part of a coin less), and what is left is
    # 83.83 − 8.68 − 50.00 = 25.15, of which 25.149 is needed: it suffices.
    # At 83.82 fees are 8.682, so 8.68 too; 25.14 is left, of which 25.146 is needed.
    rates = Rates("EUR", fee=D(10), fee_fixed=D("0.30"), margin=D(30))
    offer = sale_price(D("50.00"), 1, rates)
    assert offer == SalePrice(D("83.83"), D("83.83"), D("8.68"), D("25.15"))
    assert offer.price == D("50.00") + offer.fees + offer.margin


@pytest.mark.parametrize(
    ("ends", "price"),
    [
        ((), "83.83"),
        ((".95",), "83.95"),
        ((".50",), "84.50"),
        ((".00",), "84.00"),
        (("5",), "85.00"),
        (("9.95",), "89.95"),
        ((".00", ".50"), "84.00"),
        (("99.00",), "99.00"),
    ],
)
def test_a_price_ends_as_the_shop_likes(ends: tuple[str, ...], price: str) -> None:
    endings = tuple(read_ending(one, "EUR") for one in ends)
    rates = Rates("EUR", fee=D(10), fee_fixed=D("0.30"), margin=D(30), endings=endings)
    assert sale_price(D("50.00"), 1, rates).unit_price == D(price)


def test_the_price_of_one_ends_so_and_all_are_so_many_times_it() -> None:
    # 100.00 for three without fees: 33.3334 each, so 33.95 each and 101.85 for all.
    rates = Rates("EUR", endings=(read_ending(".95", "EUR"),))
    offer = sale_price(D("100.00"), 3, rates)
    assert (offer.unit_price, offer.price, offer.margin) == (D("33.95"), D("101.85"), D("1.85"))


def test_a_price_set_by_hand_may_lose_money() -> None:
    offer = sale_price(D("50.00"), 2, Rates("EUR", fee=D(5)), each=D("20.00"))
    assert (offer.price, offer.fees, offer.margin) == (D("40.00"), D("2.00"), D("-12.00"))
    assert offer.margin_share == F(-3, 10)
    assert sale_price(D("0.00"), 1, Rates("EUR")).margin_share == 0


@pytest.mark.parametrize(
    ("text", "currency", "ending"),
    [
        (".95", "EUR", PriceEnding(95, 100)),
        (",5", "EUR", PriceEnding(50, 100)),
        ("9.95", "EUR", PriceEnding(995, 1000)),
        ("5", "EUR", PriceEnding(500, 1000)),
        ("80", "JPY", PriceEnding(80, 100)),
        ("00", "JPY", PriceEnding(0, 100)),
        (".0", "EUR", PriceEnding(0, 100)),
    ],
)
def test_endings(text: str, currency: str, ending: PriceEnding) -> None:
    assert read_ending(text, currency) == ending


@pytest.mark.parametrize("text", ["", ".", "nine", ".955", "-.95", "1e2", "99999"])
def test_what_no_price_can_end_in(text: str) -> None:
    with pytest.raises(Refusal, match=r"ends;|can end in"):
        read_ending(text, "EUR")


def test_a_currency_without_cents_has_no_such_endings() -> None:
    with pytest.raises(Refusal, match=r"no price in JPY can end in '\.50'"):
        read_ending(".50", "JPY")
    with pytest.raises(Refusal, match=r"no price in JPY can end in '\.0'"):
        read_ending(".0", "JPY")


# --- parcels

STEPS = (PostageBand(D(500), D("3.90")), PostageBand(D(2000), D("5.50")))


def test_postage_goes_by_the_weight_of_the_whole_parcel() -> None:
    # 2 × 210 + 80 = 500 g is still the first step; 211 g each is 502 g, the second.
    assert parcels_for(2, F(210), F(80), STEPS) == (1, D("3.90"))
    assert parcels_for(2, F(211), F(80), STEPS) == (1, D("5.50"))


def test_what_is_too_heavy_goes_in_several_parcels() -> None:
    # (2000 − 80) / 400 = 4.8: four boxes go in one; ten are 4 + 4 + 2: 1680, 1680 and 880 g.
    assert parcels_for(10, F(400), F(80), STEPS) == (3, D("16.50"))
    assert parcels_for(9, F(400), F(80), STEPS) == (3, D("14.90"))  # the last has 480 g
    assert parcels_for(1, F(2000), F(80), STEPS) is None


# --- a whole cost

RATES = Rates(
    "EUR",
    hour=D(18),
    piece_minutes=D(2),
    design_minutes={"layered-box": D(90)},
    packaging=D("0.80"),
    packaging_grams=D(60),
    wrapping=D("0.25"),
    wrapping_grams=D(10),
    fee=D("6.5"),
    margin=D(20),
    endings=(PriceEnding(95, 100),),
    supplies={
        ("ribbon", Measure.LENGTH): ConsumableCost(F(1, 4), F(3)),
        ("adhesive", Measure.AREA): ConsumableCost(F(6), F(50)),
    },
    prints=(PrintCost(cm(9), cm(13), D("0.25")), PrintCost(cm(13), cm(18), D("0.60"))),
    postage=STEPS,
)


def test_a_cost_by_hand() -> None:
    # Two boxes.  Paper 3.456.  Ribbon 2 × 0.8 m × 0.25 = 0.40.  Adhesive 2 × 0.01 m² × 6 = 0.12.
    # Prints: four of 9 × 9 cm at 0.25 and two of 10 × 10 cm at 0.60 a box: 2 × 2.20 = 4.40.
    # Cutting 25 min at 0.30: 7.50.  Assembling 2 × 90 min: 54.00.
    # Packaging 0.80 + 2 × 0.25 = 1.30.
    # A box weighs 150 + 0.8 × 3 + 0.01 × 50 + 10 = 162.9 g, both with 60 g 385.8: postage 3.90.
    # Together 3.456 + 0.40 + 0.12 + 4.40 + 7.50 + 54 + 1.30 + 3.90 = 75.076: 75.08.
    # Rounded down the paper has 3.45 and lacks the one coin.
    # Price: 75.08 / 0.735 = 102.1497, each 51.0748: 51.95, 103.90 for both.
    # Fees 6.7535: 6.75.  Left: 103.90 − 6.75 − 75.08 = 22.07, 21.2 %.
    both = box(
        design="layered-box",
        copies=2,
        prints=((cm(9), cm(9), 4), (cm(10), cm(10), 2)),
        consumables=(
            ("ribbon", Measure.LENGTH, cm(80)),
            ("adhesive", Measure.AREA, cm(10) * cm(10)),
        ),
        paper_grams=F(150),
    )
    paper = CostShare({"Coal card": cm(100) * cm(20)}, {"Coal card": F("3.456")}, F(25))
    cost = cost_of(both, paper, RATES)
    assert amounts(cost) == {
        "paper Coal card": D("3.46"),
        "supplies ribbon": D("0.40"),
        "supplies adhesive": D("0.12"),
        "prints": D("4.40"),
        "cutting": D("7.50"),
        "assembling": D("54.00"),
        "packaging": D("1.30"),
        "postage": D("3.90"),
    }
    assert cost.cost == D("75.08")
    assert (cost.sale.unit_price, cost.sale.price) == (D("51.95"), D("103.90"))
    assert (cost.sale.fees, cost.sale.margin) == (D("6.75"), D("22.07"))
    assert cost.grams == F("385.8")
    assert cost.minutes == 205
    assert cost.unknown == cost.unweighed == ()
    assert {
        (part.quantity, part.unit) for part in cost.lines if part.category is CostCategory.PAPER
    } == {(F(1, 5), "m²")}


def test_prints_go_into_the_cheapest_size_that_holds_them_either_way() -> None:
    def price(*sizes: tuple[int, int], area: Decimal | None = None) -> Decimal:
        rates = Rates("EUR", prints=RATES.prints, print_area=area)
        printed = box(prints=tuple((*size, 1) for size in sizes))
        return amounts(cost_of(printed, NO_PAPER, rates)).get("prints", D(0))

    assert price((cm(9), cm(13))) == price((cm(13), cm(9))) == D("0.25")
    assert price((cm(9) + 1, cm(13))) == D("0.60")
    # 20 × 20 cm fit into neither: 0.04 m² at 15.00 a square metre.
    assert price((cm(20), cm(20)), area=D(15)) == D("0.60")
    assert price((cm(20), cm(20)), (mm(50), mm(50))) == D("0.25")


def test_what_nobody_has_said_is_told_and_counts_nothing() -> None:
    wants = box(
        prints=((cm(9), cm(9), 1),),
        consumables=(("eyelet", Measure.COUNT, 2), ("ribbon", Measure.LENGTH, UNITS_PER_MM)),
    )
    cost = cost_of(wants, CostShare({}, {}, F(10)), Rates("EUR"))
    assert cost.unknown == (
        "no price is known for eyelet",
        "no price is known for ribbon",
        "no price is known for some of the prints",
        "no rate for an hour of work is set",
        "how long a tray-box takes to assemble is not set",
        "there is no table of postage",
    )
    assert cost.unweighed == ("eyelet", "ribbon")
    assert cost.cost == 0


def test_a_box_that_is_collected_needs_no_postage() -> None:
    cost = cost_of(box(), NO_PAPER, RATES, posted=False)
    assert "postage" not in amounts(cost)
    assert amounts(cost)["packaging"] == D("1.05")
    heavy = cost_of(box(paper_grams=F(5000)), NO_PAPER, RATES)
    assert heavy.unknown == ("a single box is heavier than the table of postage goes",)


def test_minutes_by_the_piece_where_the_design_has_none_of_its_own() -> None:
    # Four pieces at two minutes, three boxes: 24 min at 0.30.
    assert amounts(cost_of(box(copies=3), NO_PAPER, RATES))["assembling"] == D("7.20")
