"""Rounding and sharing out against published figures and rules."""

from __future__ import annotations

from decimal import Decimal

import pytest

from inventory.costs.costing import allocate_amount, round_to_sum
from inventory.costs.rates import read_grams

# The bill to apportion 120 seats by Hamilton's method to the census of 1790, vetoed in 1792: M. L.
# Balinski and H. P. Young, "Fair Representation: Meeting the Ideal of One Man, One Vote", 2nd
# edition, Brookings 2001; COMAP, "For All Practical Purposes", 10th edition, table 14.5.
CENSUS_OF_1790 = {
    "Virginia": (630_560, 21),
    "Massachusetts": (475_327, 16),
    "Pennsylvania": (432_879, 14),
    "North Carolina": (353_523, 12),
    "New York": (331_589, 11),
    "Maryland": (278_514, 9),
    "Connecticut": (236_841, 8),
    "South Carolina": (206_236, 7),
    "New Jersey": (179_570, 6),
    "New Hampshire": (141_822, 5),
    "Vermont": (85_533, 3),
    "Georgia": (70_835, 2),
    "Kentucky": (68_705, 2),
    "Rhode Island": (68_446, 2),
    "Delaware": (55_540, 2),
}


def test_seats_are_shared_out_as_in_the_bill_of_1792() -> None:
    people = [number for number, _ in CENSUS_OF_1790.values()]
    assert sum(people) == 3_615_920
    # A currency without a smaller coin: one seat is one coin.
    assert allocate_amount(Decimal(120), people, "JPY") == [
        seats for _, seats in CENSUS_OF_1790.values()
    ]


# Regulation (EC) No 1103/97, article 5: amounts are rounded up or down to the nearest cent, and a
# result that is exactly half-way is rounded up.  ISO 80000-1, annex B, rule B (from memory) says
# the same of numbers that are not negative.
@pytest.mark.parametrize(
    ("exact", "rounded"),
    [
        ("1.2349", "1.23"),
        ("1.235", "1.24"),
        ("1.2351", "1.24"),
        ("1.245", "1.25"),
        ("0.005", "0.01"),
    ],
)
def test_half_a_cent_is_rounded_up(exact: str, rounded: str) -> None:
    assert round_to_sum([Decimal(exact)], "EUR") == [Decimal(rounded)]


# NIST Special Publication 811 (2008), appendix B.8: a pound (avoirdupois) is exactly 453.59237 g;
# an ounce is its sixteenth part.
def test_pounds_and_ounces_in_grams() -> None:
    assert read_grams("1 lb", "it") == Decimal("453.59237")
    assert read_grams("16 oz", "it") == read_grams("1 lb", "it")
