"""The shop's own pace in cutting, learned from the minutes it reports.

Each report is set beside what was reckoned for the same cuts at the usual pace.  The shop's pace
is the mean of these ratios, each weighed by the time reckoned, so that a long afternoon tells more
than one sheet; the usual pace itself weighs as half an hour, so that a first report moves it only
so far.  A slip of the pen does little: a report counts at least half and at most twice what is in
the middle of all, none weighs more than twenty minutes, and nobody is taken to be more than four
times as slow or as quick as usual.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.database.tables.ledger import Transaction
from inventory.database.tables.production import CuttingTime
from inventory.stock.ledger import reversed_transactions
from nester.core.errors import Refusal
from nester.cutting import (
    DEFAULT_PACE,
    Pace,
)

__all__ = [
    "learned_ratio",
    "pace_words",
    "report_times",
    "shop_pace",
]


_USUAL_WEIGHT, _MAX_REPORT_WEIGHT = Fraction(30 * 60), Fraction(20 * 60)
"""Seconds as which the usual pace weighs, and a report at most: less, so that one alone, however
absurd, is never in the middle."""
_CLAMP_RATIO = Fraction(2)
_MAX_RATIO = Fraction(4)


def report_times(
    session: Session, seconds: int, deeds: Sequence[tuple[Transaction, Fraction]]
) -> None:
    """Keep how long it took to cut some layouts together.

    Each deed gets its share by what was reckoned for it, so that one that is taken back takes
    its share with it.

    Parameters
    ----------
    deeds
        What was cut, each with the minutes reckoned for it at the usual pace.

    Raises
    ------
    Refusal
        If nothing was cut: sheets that are pieces as they are tell nothing of the pace.
    """
    total = sum((minutes for _, minutes in deeds), Fraction(0))
    if not total:
        raise Refusal("there was nothing to cut, so its minutes tell nothing; leave them out")
    told, sum_of_all = 0, Fraction(0)
    for deed, minutes in deeds:
        sum_of_all += minutes
        until = round(seconds * sum_of_all / total)
        session.add(
            CuttingTime(
                deed_id=deed.id,
                report_id=deeds[0][0].id,
                seconds=until - told,
                reckoned=round(minutes * 60),
            )
        )
        told = until
    session.flush()


def shop_pace(session: Session) -> Pace:
    """Return the shop's pace; the usual one as long as nothing was reported."""
    query = (
        select(func.sum(CuttingTime.seconds), func.sum(CuttingTime.reckoned))
        .where(CuttingTime.deed_id.not_in(reversed_transactions()))
        .group_by(CuttingTime.report_id)
        .order_by(CuttingTime.report_id)
    )
    reports = [(int(took), int(reckoned)) for took, reckoned in session.execute(query)]
    reports = [(took, reckoned) for took, reckoned in reports if took and reckoned]
    return DEFAULT_PACE.scaled(learned_ratio(reports), len(reports))


def pace_words(pace: Pace) -> str:
    """Say how a shop's pace compares with the usual one, and from how many reports."""
    times = f"{float(pace.per_cut / DEFAULT_PACE.per_cut):.2f}"
    reports = "1 report" if pace.reports == 1 else f"{pace.reports} reports"
    return f"Estimates now take {times} times as long as usual, from {reports}"


def learned_ratio(reports: Sequence[tuple[int, int]]) -> Fraction:
    """Return how many times as long as usual a shop takes.

    Parameters
    ----------
    reports
        Seconds that it took, and seconds reckoned at the usual pace, each above zero.
    """
    told = [(Fraction(1), _USUAL_WEIGHT)]
    told += [(Fraction(*one), min(Fraction(one[1]), _MAX_REPORT_WEIGHT)) for one in reports]
    middle = _weighted_median(told)
    least, most = middle / _CLAMP_RATIO, middle * _CLAMP_RATIO
    weight = sum((weight for _, weight in told), Fraction(0))
    clamped = ((min(most, max(least, ratio)), weight) for ratio, weight in told)
    mean = sum((ratio * weight for ratio, weight in clamped), Fraction(0)) / weight
    return min(_MAX_RATIO, max(1 / _MAX_RATIO, mean))


def _weighted_median(told: Sequence[tuple[Fraction, Fraction]]) -> Fraction:
    """Return the ratio that has half of all weight at or below it."""
    half = sum((weight for _, weight in told), Fraction(0)) / 2
    below = Fraction(0)
    for ratio, weight in sorted(told):
        below += weight
        if below >= half:
            return ratio
    raise AssertionError("the usual pace is always among what is told")
