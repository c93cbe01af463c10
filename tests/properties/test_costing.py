"""Costs sum to the smallest coin, whatever is in them.

``QUIREBOX_COSTS=10000 pytest tests/properties/test_costing.py`` makes as many random cases.
"""

from __future__ import annotations

import os
from decimal import Decimal
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.core.money import round_to_coin, smallest_coin
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
    allocate_amount,
    cost_of,
    cost_shares,
    round_to_sum,
    sale_price,
)
from nester.designs.base.design import Measure

CASES = settings(max_examples=int(os.environ.get("QUIREBOX_COSTS", "300")), deadline=None)

currencies = st.sampled_from(["EUR", "JPY", "KWD"])
prices = st.decimals(0, 10_000, places=4)
few_percent = st.decimals(0, 49, places=2)
grams = st.decimals(0, 5_000, places=1)
exact = st.fractions(0, 1_000_000)
lengths = st.integers(1, 10**8)


def is_whole(amount: Decimal, currency: str) -> bool:
    return amount % smallest_coin(currency) == 0


@CASES
@given(st.lists(exact | prices, max_size=30), currencies)
def test_parts_rounded_together_sum_to_the_rounded_sum(amounts, currency) -> None:
    coins = round_to_sum(amounts, currency)
    assert sum(coins) == round_to_coin(sum(map(Fraction, amounts), Fraction(0)), currency)
    for coin, amount in zip(coins, amounts, strict=True):
        assert is_whole(coin, currency)
        assert abs(Fraction(coin) - Fraction(amount)) < Fraction(smallest_coin(currency))


@CASES
@given(
    st.integers(0, 10**12),
    st.lists(st.integers(0, 10**15), min_size=1, max_size=30),
    currencies,
)
def test_shares_sum_to_the_whole_and_are_less_than_a_coin_off(coins, weights, currency) -> None:
    whole = coins * smallest_coin(currency)
    shares = allocate_amount(whole, weights, currency)
    assert sum(shares) == whole
    for share, weight in zip(shares, weights, strict=True):
        fair = Fraction(whole) * Fraction(weight, sum(weights) or 1)
        assert not sum(weights) or abs(Fraction(share) - fair) < smallest_coin(currency)
    in_order = [share for _, share in sorted(zip(weights, shares, strict=True))]
    assert in_order == sorted(shares)  # who weighs more never gets less


@st.composite
def cut_sheets(draw) -> CutSheet[int]:
    price = draw(prices.map(Fraction))
    pieces = draw(
        st.lists(
            st.builds(CutPiece, st.integers(1, 5), st.integers(1, 10**14), st.integers(1, 10**8)),
            min_size=1,
            max_size=8,
        )
    )
    return CutSheet(
        draw(st.sampled_from(["Coal card", "Fern print", "Oat card"])),
        price,
        price * draw(st.fractions(0, 1, max_denominator=1000)),
        draw(st.fractions(0, 500)),
        tuple(pieces),
        draw(st.integers(1, 1000)),
    )


@CASES
@given(st.lists(cut_sheets(), max_size=12))
def test_a_batch_is_shared_whole(sheets) -> None:
    shares = cost_shares(sheets)
    borne = sum((sum(share.costs.values()) for share in shares.values()), Fraction(0))
    assert borne == sum(
        (sheet.copies * (sheet.price - sheet.kept) for sheet in sheets), Fraction(0)
    )
    assert sum(share.minutes for share in shares.values()) == sum(
        one.copies * one.minutes for one in sheets
    )
    assert sum(sum(share.areas.values()) for share in shares.values()) == sum(
        sheet.copies * piece.area for sheet in sheets for piece in sheet.pieces
    )


@st.composite
def rates(draw, currency: str) -> Rates:
    per_unit = int(1 / smallest_coin(currency))
    tariffs = st.builds(ConsumableCost, st.none() | exact, st.none() | exact)
    every = st.sampled_from([per_unit * 10, per_unit * 100])
    endings = every.flatmap(lambda n: st.builds(PriceEnding, st.integers(0, n - 1), st.just(n)))
    steps = draw(st.lists(grams, max_size=4, unique=True).map(sorted))
    return Rates(
        currency,
        hour=draw(st.none() | prices),
        piece_minutes=draw(st.none() | prices),
        design_minutes=draw(st.dictionaries(st.just("tray-box"), prices)),
        packaging=draw(prices),
        packaging_grams=draw(grams),
        wrapping=draw(prices),
        wrapping_grams=draw(grams),
        fee=draw(few_percent),
        fee_fixed=draw(prices),
        margin=draw(few_percent),
        endings=tuple(draw(st.lists(endings, max_size=3))),
        supplies=draw(st.dictionaries(st.just(("ribbon", Measure.LENGTH)), tariffs)),
        prints=tuple(draw(st.lists(st.builds(PrintCost, lengths, lengths, prices), max_size=3))),
        print_area=draw(st.none() | prices),
        postage=tuple(PostageBand(step, draw(prices)) for step in steps),
    )


boxes = st.builds(
    CostObject,
    st.just("tray-box"),
    st.integers(1, 1000),
    st.integers(1, 100),
    st.lists(st.tuples(lengths, lengths, st.integers(1, 20)), max_size=3).map(tuple),
    st.lists(st.tuples(st.just("ribbon"), st.just(Measure.LENGTH), lengths), max_size=2).map(tuple),
    st.fractions(0, 10_000),
)


@CASES
@given(currencies, st.data())
def test_the_parts_of_a_cost_sum_to_the_price(currency, data) -> None:
    box, its = data.draw(boxes), data.draw(rates(currency))
    papers = data.draw(st.dictionaries(st.sampled_from(["Coal card", "Oat card"]), exact))
    share = CostShare(dict.fromkeys(papers, 1), papers, data.draw(st.fractions(0, 1000)))
    shared_before = data.draw(st.booleans())
    coins = {}
    if shared_before:
        names = list(papers)
        coins = dict(
            zip(names, round_to_sum([papers[one] for one in names], currency), strict=True)
        )
    cost = cost_of(box, share, its, paper=coins if shared_before else None)
    assert all(is_whole(part.amount, currency) for part in cost.lines)
    assert cost.cost == sum(part.amount for part in cost.lines)
    sale = cost.sale
    assert sale.price == cost.cost + sale.fees + sale.margin == sale.unit_price * box.copies
    assert sale.margin * 100 >= sale.price * its.margin
    assert is_whole(sale.unit_price, currency)
    if shared_before:
        bought = {
            part.name: part.amount for part in cost.lines if part.category is CostCategory.PAPER
        }
        assert bought == coins


@CASES
@given(
    st.integers(0, 3000),
    st.integers(1, 4),
    st.decimals(0, 49, places=1),
    st.decimals(0, 49, places=1),
    st.decimals(0, 3, places=3),
    st.lists(
        st.sampled_from([10, 100]).flatmap(
            lambda n: st.builds(PriceEnding, st.integers(0, n - 1), st.just(n))
        ),
        max_size=2,
    ),
)
def test_no_lower_price_keeps_the_margin(cost, copies, fee, margin, fixed, endings) -> None:
    """Every price from nothing on is tried, one coin after the other."""
    its = Rates("JPY", fee=fee, margin=margin, fee_fixed=fixed, endings=tuple(endings))
    found = sale_price(Decimal(cost), copies, its)

    def does(each: int) -> bool:
        price = each * copies
        fees = round_to_coin(Fraction(price) * Fraction(fee) / 100 + Fraction(fixed), "JPY")
        ends = not endings or any(each % end.every == end.coins for end in endings)
        return ends and (price - fees - cost) * 100 >= price * margin

    assert found.unit_price == next(each for each in range(10**6) if does(each))
