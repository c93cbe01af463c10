"""Foreign money: exact where it is reckoned with, rounded once where it is paid."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.core.limits import LARGEST_RATE, RATE_DECIMALS
from inventory.core.money import (
    LARGEST_AMOUNT,
    MOST_DECIMALS,
    check_rate,
    round_to_decimals,
    smallest_coin,
)
from inventory.purchasing.suppliers import ExchangeRates, read_rate
from nester.core.errors import Refusal

AMOUNTS = st.decimals(0, LARGEST_AMOUNT, places=MOST_DECIMALS, allow_nan=False)
RATES = st.decimals(
    Decimal(1).scaleb(-RATE_DECIMALS), LARGEST_RATE, places=RATE_DECIMALS, allow_nan=False
)


def rates(**known: Decimal) -> ExchangeRates:
    """Return rates that no book was asked for."""
    made = ExchangeRates.__new__(ExchangeRates)
    made.shop_currency = "EUR"
    made._known = {"EUR": Decimal(1), **known}
    return made


@given(amount=AMOUNTS, rate=RATES)
def test_an_amount_in_the_shop_s_money_is_exact(amount: Decimal, rate: Decimal) -> None:
    own = rates(GBP=rate).to_shop_currency(amount, "GBP")
    assert isinstance(own, Decimal)
    assert Fraction(own) == Fraction(amount) * Fraction(rate)
    assert rates().to_shop_currency(amount, "EUR") == amount


@given(amount=AMOUNTS, rate=RATES, other=RATES, currency=st.sampled_from(["USD", "JPY", "KWD"]))
def test_an_amount_in_other_money_is_off_by_half_a_coin_at_most(
    amount: Decimal, rate: Decimal, other: Decimal, currency: str
) -> None:
    known = rates(GBP=rate, **{currency: other})
    paid = known.convert(amount, "GBP", currency)
    exact = Fraction(amount) * Fraction(rate) / Fraction(other)
    coin = Fraction(smallest_coin(currency))
    assert abs(Fraction(paid) - exact) <= coin / 2
    assert (Fraction(paid) / coin).denominator == 1
    assert known.convert(amount, "GBP", "GBP") == amount


@given(
    amount=st.fractions(-(10**13), 10**13),
    decimals=st.integers(0, 6),
)
def test_rounding_goes_to_the_nearest_and_halves_away_from_zero(
    amount: Fraction, decimals: int
) -> None:
    rounded = round_to_decimals(amount, decimals)
    part = Fraction(1, 10**decimals)
    off = Fraction(rounded) - amount
    assert abs(off) <= part / 2
    if abs(off) == part / 2:
        assert abs(Fraction(rounded)) > abs(amount)
    assert round_to_decimals(-amount, decimals) == -rounded


@given(packs=st.integers(1, 1000), pack=st.integers(1, 500), amount=AMOUNTS, rate=RATES)
def test_sheets_of_packs_cost_what_the_packs_do_but_for_the_last_decimal(
    packs: int, pack: int, amount: Decimal, rate: Decimal
) -> None:
    own = Fraction(rates(GBP=rate).to_shop_currency(amount, "GBP"))
    each = round_to_decimals(own / pack, MOST_DECIMALS)
    most = Fraction(packs * pack, 2 * 10**MOST_DECIMALS)
    assert abs(Fraction(each) * packs * pack - own * packs) <= most


@given(rate=RATES)
def test_a_rate_is_read_as_it_is_written(rate: Decimal) -> None:
    assert read_rate(f"{rate:f}") == rate
    assert read_rate(f"{rate:f}".replace(".", ",")) == rate


@pytest.mark.parametrize("rate", ["0", "-1", "1000000.1", "0.00000000001", "NaN", "Infinity"])
def test_what_is_no_rate(rate: str) -> None:
    with pytest.raises(Refusal):
        check_rate(Decimal(rate))
