"""Reports as lists for people and programs: areas in m², money as text."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from inventory.core.money import format_money, round_to_coin
from inventory.views.listing import Column, Listing
from nester.core.lengths import UNITS_PER_MM, Unit, format_area

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.reports.kinds import ReportGrouping
    from inventory.reports.reports import DeadStock, MonthRange, SpendingRow, UseRow
    from nester.packing.orders.most_copies import CopiesRange

__all__ = [
    "UnusedRow",
    "months_words",
    "spending_listing",
    "unused_listing",
    "use_listing",
]


_NamedRow = TypeVar("_NamedRow", "UseRow", "SpendingRow")


def use_listing(by: ReportGrouping, months: MonthRange, unit: Unit) -> Listing[UseRow]:
    """Return what a report of the paper used shows of each paper, design or month."""

    def area(title: str, key: str, value: Callable[[UseRow], Fraction]) -> Column[UseRow]:
        return Column(
            title,
            key,
            lambda row: _square_metres(value(row)),
            lambda row: format_area(round(value(row)), unit) if value(row) else "",
            right=True,
            csv_heading=f"{key}_m2",
        )

    return Listing(
        title=f"Paper used{months_words(months)}",
        columns=(
            _name_column(by),
            area("Used", "used", lambda row: row.used),
            area("", "cut", lambda row: row.cut),
            area("Pieces", "pieces", lambda row: row.pieces),
            area("Kept", "kept", lambda row: row.kept),
            area("Waste", "waste", lambda row: row.waste),
            area("Spoiled", "spoiled", lambda row: row.spoiled),
            Column("Yield", "yield", _yield_rate, _yield_words, right=True),
        ),
        empty="Nothing was cut or spoiled in that time.",
    )


def _yield_rate(row: UseRow) -> float | None:
    return None if row.yield_rate is None else round(float(row.yield_rate), 4)


def _yield_words(row: UseRow) -> str:
    return "" if row.yield_rate is None else f"{float(100 * row.yield_rate):.0f} %"


def spending_listing(by: ReportGrouping, months: MonthRange, currency: str) -> Listing[SpendingRow]:
    """Return what a report of spending shows of each paper, design, month or supplier."""

    def amount(row: SpendingRow) -> Decimal:
        return round_to_coin(row.amount, currency)

    return Listing(
        title=f"Spent on paper{months_words(months)}",
        columns=(
            _name_column(by),
            Column(
                "Spent",
                "amount",
                lambda row: f"{amount(row):f}",
                lambda row: format_money(row.amount, currency),
                right=True,
            ),
            Column(csv_heading="currency", value=lambda _: currency),
            Column(
                "Without a price",
                "unpriced",
                lambda row: row.unpriced,
                right=True,
                csv_heading="without_price",
            ),
        ),
        empty="Nothing was spent in that time.",
    )


class UnusedRow(NamedTuple):
    """A paper that nobody has cut for long, and how many of a design it would make.

    Attributes
    ----------
    design
        The design and its sizes, in words.
    """

    stock: DeadStock
    copies: CopiesRange
    design: str


def unused_listing(
    days: int, unit: Unit, copies_words: Callable[[CopiesRange], str]
) -> Listing[UnusedRow]:
    """Return what a report of unused paper shows of each paper.

    Parameters
    ----------
    copies_words
        Writes how many copies can be made.
    """
    return Listing(
        title=f"Not cut for {days} days",
        columns=(
            Column("Paper", "paper", lambda row: row.stock.paper),
            Column(
                "Area",
                "area",
                lambda row: _square_metres(Fraction(row.stock.area)),
                lambda row: format_area(row.stock.area, unit),
                right=True,
                csv_heading="area_m2",
            ),
            Column(key="labels", value=lambda row: list(row.stock.labels)),
            Column(
                "Last cut",
                "last_used",
                lambda row: None if row.stock.last_used is None else str(row.stock.last_used),
                lambda row: "never" if row.stock.last_used is None else str(row.stock.last_used),
            ),
            Column(key="here_since", value=lambda row: str(row.stock.in_stock_since)),
            Column(
                "Would make",
                "design",
                lambda row: row.design,
                lambda row: f"{copies_words(row.copies)} × {row.design}",
            ),
            Column(key="at_least", value=lambda row: row.copies.lower_bound),
            Column(key="at_most", value=lambda row: row.copies.upper_bound),
        ),
        empty=f"All paper here was cut or came within {days} days.",
    )


def months_words(months: MonthRange) -> str:
    """Say which months count, to follow other words; nothing if all do."""
    words = f" from {months.first}" if months.first else ""
    return words + (f" to {months.last}" if months.last else "")


def _name_column(by: ReportGrouping) -> Column[_NamedRow]:
    return Column(str(by).capitalize(), "name", lambda row: row.name, csv_heading=str(by))


def _square_metres(area: Fraction) -> float:
    return round(float(area / (1000 * UNITS_PER_MM) ** 2), 6)
