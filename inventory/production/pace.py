"""The shop's own pace in cutting, learned from the minutes it reports.

Each report is compared with the estimate for the same cuts at the default pace.  The shop's pace
is the mean of these ratios, each weighted by the time estimated, so that a long afternoon counts
more than one sheet.  The default pace itself weighs as half an hour, so that a first report moves
it only a little.  A slip of the pen does little: each ratio is clamped to between half and twice
the weighted median, no report weighs more than twenty minutes, and nobody is taken to be more than
four times as slow or as quick as the default.
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
from nester.cutting import DEFAULT_PACE, Pace

__all__ = [
    "learned_ratio",
    "pace_words",
    "report_times",
    "shop_pace",
]


_DEFAULT_WEIGHT, _MAX_REPORT_WEIGHT = Fraction(30 * 60), Fraction(20 * 60)
"""Seconds as which the default pace weighs, and a report at most: less, so that a single report,
however absurd, is never the median."""
_CLAMP_RATIO = Fraction(2)
_MAX_RATIO = Fraction(4)


def report_times(
    session: Session, seconds: int, transactions: Sequence[tuple[Transaction, Fraction]]
) -> None:
    """Keep how long it took to cut some layouts together.

    Each transaction gets its share by its estimate, so that one that is undone takes its share
    of the time with it.

    Parameters
    ----------
    transactions
        What was cut, each with the minutes estimated for it at the default pace.

    Raises
    ------
    Refusal
        If nothing was cut: sheets that are pieces as they are say nothing about the pace.
    """
    total = sum((minutes for _, minutes in transactions), Fraction(0))
    if not total:
        raise Refusal("there was nothing to cut, so leave the minutes out")
    # The running total is rounded, not each share, so that the shares sum to all seconds.
    shared, estimated = 0, Fraction(0)
    for transaction, minutes in transactions:
        estimated += minutes
        until = round(seconds * estimated / total)
        session.add(
            CuttingTime(
                transaction_id=transaction.id,
                report_id=transactions[0][0].id,
                seconds=until - shared,
                estimated=round(minutes * 60),
            )
        )
        shared = until
    session.flush()


def shop_pace(session: Session) -> Pace:
    """Return the shop's pace; the default one as long as nothing was reported."""
    query = (
        select(func.sum(CuttingTime.seconds), func.sum(CuttingTime.estimated))
        .where(CuttingTime.transaction_id.not_in(reversed_transactions()))
        .group_by(CuttingTime.report_id)
        .order_by(CuttingTime.report_id)
    )
    reports = [(int(took), int(estimated)) for took, estimated in session.execute(query)]
    reports = [(took, estimated) for took, estimated in reports if took and estimated]
    return DEFAULT_PACE.scaled(learned_ratio(reports), len(reports))


def pace_words(pace: Pace) -> str:
    """Say how a shop's pace compares with the default one, and from how many reports."""
    times = f"{float(pace.per_cut / DEFAULT_PACE.per_cut):.2f}"
    reports = "1 report" if pace.reports == 1 else f"{pace.reports} reports"
    return f"Estimates now take {times} times as long as usual, from {reports}"


def learned_ratio(reports: Sequence[tuple[int, int]]) -> Fraction:
    """Return how many times as long as at the default pace a shop takes.

    Parameters
    ----------
    reports
        Seconds that it took, and seconds estimated at the default pace, each above zero.
    """
    ratios = [(Fraction(1), _DEFAULT_WEIGHT)]
    ratios += [
        (Fraction(took, estimated), min(Fraction(estimated), _MAX_REPORT_WEIGHT))
        for took, estimated in reports
    ]
    median = _weighted_median(ratios)
    least, most = median / _CLAMP_RATIO, median * _CLAMP_RATIO
    total_weight = sum((weight for _, weight in ratios), Fraction(0))
    clamped = ((min(most, max(least, ratio)), weight) for ratio, weight in ratios)
    mean = sum((ratio * weight for ratio, weight in clamped), Fraction(0)) / total_weight
    return min(_MAX_RATIO, max(1 / _MAX_RATIO, mean))


def _weighted_median(ratios: Sequence[tuple[Fraction, Fraction]]) -> Fraction:
    """Return the lowest ratio that has half of all weight at or below it."""
    half = sum((weight for _, weight in ratios), Fraction(0)) / 2
    below = Fraction(0)
    for ratio, weight in sorted(ratios):
        below += weight
        if below >= half:
            return ratio
    raise AssertionError("the default pace is always among the ratios")
