"""Amounts of money, as people write them and as the shop shows them.

A price is a `Decimal`, a sum that a plan works out a `Fraction`; neither is ever a float.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from inventory.core.limits import LARGEST_RATE, RATE_DECIMALS
from inventory.core.text import shorten
from nester.core.errors import Refusal

__all__ = [
    "LARGEST_AMOUNT",
    "MOST_DECIMALS",
    "check_amount",
    "check_currency",
    "check_rate",
    "floor_to_coin",
    "floor_to_decimals",
    "format_money",
    "parse_money",
    "parse_optional_money",
    "ratio_to_coin",
    "round_to_coin",
    "round_to_decimals",
    "smallest_coin",
]

LARGEST_AMOUNT = Decimal(10**9)
MOST_DECIMALS = 4
"""A sheet out of a pack may cost a part of the smallest coin."""

_DECIMALS = {
    **dict.fromkeys(
        ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND",
         "VUV", "XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
}  # fmt: skip
"""Currencies whose smallest coin is no hundredth, as in ISO 4217 (from memory)."""

_AMOUNT = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")
_AMBIGUOUS_AMOUNT = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_LONGEST = 40


def check_currency(code: str) -> str:
    """Return a currency code in capitals: three letters as in ISO 4217, such as EUR.

    Raises
    ------
    Refusal
        If it is not three letters from A to Z.
    """
    currency = code.strip().upper()
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise Refusal(
            f"'{shorten(code)}' is not a currency; give its three letters, such as EUR or USD"
        )
    return currency


def smallest_coin(currency: str) -> Decimal:
    """Return the smallest amount that can be paid: 0.01 for EUR, 1 for JPY."""
    return Decimal(1).scaleb(-_DECIMALS.get(currency, 2))


def round_to_coin(amount: Decimal | Fraction, currency: str) -> Decimal:
    """Return the amount rounded to the smallest coin, halves away from zero."""
    return ratio_to_coin(*amount.as_integer_ratio(), currency)


def ratio_to_coin(number: int, of: int, currency: str) -> Decimal:
    """Return ``number / of`` as `round_to_coin` does, without the time that a fraction takes."""
    return _rounded(number, of, _DECIMALS.get(currency, 2))


def round_to_decimals(amount: Decimal | Fraction, decimals: int) -> Decimal:
    """Return the amount rounded to that many decimals, halves away from zero."""
    return _rounded(*amount.as_integer_ratio(), decimals)


def floor_to_decimals(amount: Decimal | Fraction) -> Decimal:
    """Return the amount rounded down to `MOST_DECIMALS`."""
    number, of = amount.as_integer_ratio()
    return Decimal(number * 10**MOST_DECIMALS // of).scaleb(-MOST_DECIMALS)


def _rounded(number: int, of: int, decimals: int) -> Decimal:
    parts = (2 * 10**decimals * abs(number) + of) // (2 * of)
    return Decimal(parts if number >= 0 else -parts).scaleb(-decimals)


def floor_to_coin(amount: Decimal | Fraction, currency: str) -> Decimal:
    """Return the amount rounded down to the smallest coin."""
    coin = smallest_coin(currency)
    return coin * (Fraction(amount) // Fraction(coin))


def parse_money(text: str, what: str) -> Decimal:
    """Read an amount as a maker writes it: ``1.20``, ``1,20`` or ``3``.

    Parameters
    ----------
    text
        What was written, in the shop's currency and without its sign.
    what
        What it is, for the refusal: ``the price``.

    Returns
    -------
    Decimal
        Zero to 1,000,000,000, with at most four decimals.

    Raises
    ------
    Refusal
        If it can't be read, can be read two ways, or is out of these limits.
    """
    written = text.strip()
    if not written:
        raise Refusal(f"{what} is missing")
    if len(written) > _LONGEST:
        raise Refusal(f"{what} '{shorten(written, 20)}' is too long to be an amount of money")
    if re.fullmatch(r"[-−][\s0-9.,]+", written):
        raise Refusal(f"{what} '{shorten(written)}' must not be less than zero")
    if not _AMOUNT.fullmatch(written):
        raise Refusal(
            f"{what} '{shorten(written)}' is not an amount of money; write it like 1.20 or 1,20"
        )
    if _AMBIGUOUS_AMOUNT.fullmatch(written):
        raise Refusal(
            f"{what} '{written}' can be read two ways; write it without a comma,"
            " with a point if needed"
        )
    amount = Decimal(written.replace(",", ".").rstrip("."))
    if amount > LARGEST_AMOUNT:
        raise Refusal(f"{what} '{written}' is more than {LARGEST_AMOUNT:,}")
    return check_amount(amount, what)


def parse_optional_money(text: str | None, what: str) -> Decimal | None:
    """Read an amount as `parse_money` does; None stays None."""
    return None if text is None else parse_money(text, what)


def check_amount(amount: Decimal, what: str) -> Decimal:
    """Return an amount that a price may be: see `parse_money` for its limits.

    Raises
    ------
    Refusal
        If it is out of these limits.
    """
    if not amount.is_finite() or not 0 <= amount <= LARGEST_AMOUNT:
        raise Refusal(f"{what} must be 0 to {LARGEST_AMOUNT:,}, not {shorten(str(amount))}")
    if (Fraction(amount) * 10**MOST_DECIMALS).denominator != 1:
        raise Refusal(f"{what} {shorten(str(amount))} has more than {MOST_DECIMALS} decimals")
    return amount


def check_rate(rate: Decimal) -> Decimal:
    """Return a rate that may be: more than zero, at most 1,000,000, with at most ten decimals.

    Raises
    ------
    Refusal
        If it may not.
    """
    if not rate.is_finite() or not 0 < rate <= LARGEST_RATE:
        raise Refusal(f"a rate must be more than 0 and at most {LARGEST_RATE:,}")
    if rate != rate.quantize(Decimal(1).scaleb(-RATE_DECIMALS)):
        raise Refusal(f"a rate has at most {RATE_DECIMALS} decimals")
    return rate


def format_money(amount: Decimal | Fraction, currency: str) -> str:
    """Write an amount for a person, its currency code behind it: ``1.20 EUR``.

    A `Decimal` is a price somebody wrote and keeps all its digits; a `Fraction` is a sum that was
    worked out and is rounded to the smallest coin, halves away from zero.
    """
    digits = _DECIMALS.get(currency, 2)
    if isinstance(amount, Decimal):
        whole, _, part = f"{amount:f}".partition(".")
        part = part.rstrip("0").ljust(digits, "0")
        return f"{whole}{'.' if part else ''}{part} {currency}"
    return f"{round_to_coin(amount, currency):.{digits}f} {currency}"
