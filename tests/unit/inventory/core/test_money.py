from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.core.money import (
    check_amount,
    check_currency,
    format_money,
    parse_money,
    round_to_coin,
    smallest_coin,
)
from nester.core.errors import Refusal


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("1.20", "1.20"),
        ("1,20", "1.20"),
        (" 3 ", "3"),
        ("0", "0"),
        ("0.0125", "0.0125"),
        ("5.", "5"),
        (",5", "0.5"),
        ("0,125", "0.125"),
        ("1.234", "1.234"),
        ("1000000000", "1000000000"),
    ],
)
def test_amounts_are_read_exactly(text: str, amount: str) -> None:
    assert parse_money(text, "the price") == Decimal(amount)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the price is missing"),
        ("  ", "the price is missing"),
        ("-1", "must not be less than zero"),
        ("−1,50", "must not be less than zero"),
        ("1,234", "can be read two ways"),
        ("1,234.50", "is not an amount of money"),
        ("1.20.30", "is not an amount of money"),
        ("1.20 EUR", "is not an amount of money"),
        ("1e5", "is not an amount of money"),
        ("nan", "is not an amount of money"),
        ("inf", "is not an amount of money"),
        ("٣", "is not an amount of money"),
        (".", "is not an amount of money"),
        ("1.2\n3", "is not an amount of money"),
        ("0.00001", "more than 4 decimals"),
        ("1000000000.01", "is more than 1,000,000,000"),
        ("9" * 41, "is too long"),
    ],
)
def test_what_is_no_amount_is_refused_in_one_sentence(text: str, said: str) -> None:
    with pytest.raises(Refusal, match="the price") as refused:
        parse_money(text, "the price")
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("amount", ["NaN", "Infinity", "-0.01", "1000000001", "0.00001"])
def test_a_price_out_of_its_limits_is_refused(amount: str) -> None:
    with pytest.raises(Refusal, match="the price"):
        check_amount(Decimal(amount), "the price")


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [
        (Decimal("1.2"), "EUR", "1.20 EUR"),
        (Decimal("0.0125"), "EUR", "0.0125 EUR"),
        (Decimal("1E+2"), "USD", "100.00 USD"),
        (Decimal(150), "JPY", "150 JPY"),
        (Decimal("1.5"), "KWD", "1.500 KWD"),
        (Fraction(1, 3), "EUR", "0.33 EUR"),
        (Fraction(1, 200), "EUR", "0.01 EUR"),
        (Fraction(299, 2), "JPY", "150 JPY"),
        (Fraction(0), "EUR", "0.00 EUR"),
        (Fraction(10**9), "EUR", "1000000000.00 EUR"),
    ],
)
def test_amounts_are_shown_with_their_currency_behind(
    amount: Decimal | Fraction, currency: str, shown: str
) -> None:
    assert format_money(amount, currency) == shown


@pytest.mark.parametrize(
    ("currency", "coin"), [("EUR", "0.01"), ("JPY", "1"), ("BHD", "0.001"), ("ZZZ", "0.01")]
)
def test_smallest_coin(currency: str, coin: str) -> None:
    assert smallest_coin(currency) == Decimal(coin)


def test_halves_are_rounded_away_from_zero() -> None:
    assert round_to_coin(Fraction(5, 1000), "EUR") == Decimal("0.01")
    assert round_to_coin(Fraction(-5, 1000), "EUR") == Decimal("-0.01")
    assert round_to_coin(Fraction(4999, 1000_000), "EUR") == 0


def test_currency_codes() -> None:
    assert check_currency(" eur ") == "EUR"
    for wrong in ("", "€", "EU", "EURO", "ÄÖÜ", "E1R"):
        with pytest.raises(Refusal, match="is not a currency"):
            check_currency(wrong)


@settings(max_examples=100)
@given(st.decimals(0, 10**9, places=4, allow_nan=False), st.sampled_from(["EUR", "JPY", "KWD"]))
def test_what_is_shown_reads_back_exactly(amount: Decimal, currency: str) -> None:
    assert parse_money(format_money(amount, currency).removesuffix(f" {currency}"), "it") == amount


@settings(max_examples=100)
@given(st.fractions(-(10**9), 10**9))
def test_rounding_moves_by_half_a_coin_at_most(amount: Fraction) -> None:
    assert abs(Fraction(round_to_coin(amount, "EUR")) - amount) <= Fraction(1, 200)
