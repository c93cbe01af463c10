"""Weights in pounds against published tables of what they are in grams a square metre."""

from __future__ import annotations

import pytest

from inventory.stock.papers import pounds, read_weight
from nester.core.errors import Refusal


@pytest.mark.parametrize(
    ("written", "published"),
    [
        # "Paper weights and conversion tables", table of equivalent weights,
        # https://mcgpaper.com/pages/how-to-make-paper-weights-and-conversion-tables
        ("16 lb bond", 60.2),
        ("18 lb bond", 67.72),
        ("20 lb bond", 75.2),
        ("24 lb bond", 90.3),
        ("28 lb bond", 105.35),
        ("29 lb bond", 109.11),
        ("31 lb bond", 116.63),
        ("35 lb bond", 131.68),
        # Times Printers, "Conversion Factors", which tells how far 50 pounds are from 50 pounds,
        # http://www.timesprinters.com/tradoc1/papersize/papersize4.htm
        ("50 lb cover", 135),
        ("50 lb text", 74),
        # "The 67 lb bristol is thus 147 gsm": a page on basis weights, found by search
        ("67 lb bristol", 147),
        # What packs of card stock in the trade say; common practice, no source
        ("65 lb cover", 176),
        ("80 lb cover", 216),
        ("110 lb index", 199),
    ],
)
def test_pounds_are_what_tables_say(written: str, published: float) -> None:
    """Within 1 g/m²: tables round, and round the factor first."""
    assert abs(read_weight(written) - published) <= 1


def test_pounds_by_the_factors_of_a_table() -> None:
    """A conversion table of bond, text and cover: g/m² divided by 3.76, 1.48 and 2.71.

    https://huaxinprinting.com/paper-weight-conversion-between-lbs-and-gsm/
    """
    for grade, factor in (("bond", 3.76), ("text", 1.48), ("cover", 2.71)):
        for number in (20, 60, 100):
            assert read_weight(f"{number}lb {grade}") == pytest.approx(number * factor, abs=1)


@pytest.mark.parametrize(
    ("written", "grams"),
    [("300", 300), ("300g", 300), ("300 g/m²", 300), ("300 gsm", 300), ("65# Cover", 176),
     ("80 lbs. text", 118), ("60lb offset", 89), ("60 lb book", 89), ("24 lb. writing", 90)],
)  # fmt: skip
def test_weights_are_read_as_they_are_written(written: str, grams: int) -> None:
    assert read_weight(written) == grams


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("65 lb", "has no grade; pounds differ from grade to grade: add bond, text, cover"),
        ("65 lb card", "has an unknown grade"),
        ("heavy", "is none; write it like 300, 300 g/m² or 65 lb cover"),
        ("300 kg", "is none"),
        ("300.5", "is no whole number of g/m²"),
        ("300 cover", "is none"),
        ("5000 lb cover", "must be 1 to 2,000"),
    ],
)
def test_what_is_no_weight(written: str, said: str) -> None:
    with pytest.raises(Refusal, match=said.replace("²", ".")) as refused:
        read_weight(written)
    assert str(refused.value).count("\n") == 0


def test_a_weight_in_pounds_is_told_by_its_grade() -> None:
    assert pounds(300) == "111 lb cover"
    for number in range(60, 140):
        assert pounds(read_weight(f"{number} lb cover")) == f"{number} lb cover"
    for number in range(20, 101):
        assert pounds(read_weight(f"{number} lb text")) == f"{number} lb text"
