"""The shop's pace: what it learns from reports, few, many or absurd."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.core.durations import read_time_taken
from inventory.production.pace import learned_ratio
from nester.core.errors import Refusal

HOUR = 3600
times = st.integers(1, 24 * HOUR)


def test_without_reports_the_pace_is_the_usual_one() -> None:
    assert learned_ratio([]) == 1


def test_one_report_moves_the_pace_only_so_far() -> None:
    # Half an hour at the usual pace, and twenty minutes reckoned that took thirty.
    assert learned_ratio([(30 * 60, 20 * 60)]) == Fraction(6, 5)
    # A report of five minutes' work tells a seventh of that.
    assert learned_ratio([(450, 300)]) == 1 + Fraction(1, 2) * Fraction(5, 35)


def test_many_reports_teach_the_pace() -> None:
    assert learned_ratio([(3 * HOUR // 2, HOUR)] * 40) == 1 + Fraction(1, 2) * Fraction(800, 830)


@pytest.mark.parametrize("absurd", [(24 * HOUR, 60), (1, 10 * HOUR), (24 * HOUR, 10 * HOUR)])
def test_an_absurd_report_does_little(absurd: tuple[int, int]) -> None:
    assert Fraction(1, 2) <= learned_ratio([absurd]) <= 2
    honest = [(3 * HOUR // 2, HOUR)] * 10
    assert abs(learned_ratio([*honest, absurd]) - learned_ratio(honest)) < Fraction(3, 20)


@given(st.lists(st.tuples(times, times), max_size=12))
def test_no_shop_is_four_times_as_slow_or_as_quick(reports: list[tuple[int, int]]) -> None:
    assert Fraction(1, 4) <= learned_ratio(reports) <= 4
    assert learned_ratio(reports) == learned_ratio(reports[::-1])


@given(st.lists(st.tuples(times, times), min_size=1, max_size=8), st.integers(1, HOUR))
def test_more_time_reported_never_quickens_the_pace(reports, more: int) -> None:
    (took, reckoned), *others = reports
    assert learned_ratio([(took + more, reckoned), *others]) >= learned_ratio(reports)


def test_minutes_are_read_as_they_are_written() -> None:
    assert read_time_taken("25") == 1500
    assert read_time_taken(" 7.5") == 450
    assert read_time_taken("7,5") == 450
    assert read_time_taken("1.5 h") == 5400


@pytest.mark.parametrize(
    "text", ["0", "-3", "1441", "1e9", "nan", "inf", "1/0", "a while", "", "0.001"]
)
def test_what_can_not_be_minutes_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="can't be the minutes that cutting took"):
        read_time_taken(text)
