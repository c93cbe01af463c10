"""How much of a paper is to be held: levels the maker sets, and what her use suggests."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, select

from inventory.core.text import shorten, whole_number
from inventory.database.tables.enums import Reason, StockKind
from inventory.database.tables.ledger import Movement
from inventory.database.tables.purchasing import ReorderLevel
from inventory.database.tables.stock import Paper, Stock
from inventory.purchasing.prices import ListedPack, SizeKey, current_offers, size_key
from inventory.purchasing.suppliers import DEFAULT_LEAD_DAYS
from inventory.stock.ledger import reversed_movements
from inventory.stock.papers import find_paper
from nester.core.errors import Hint, Refusal
from nester.core.lengths import MAX_LENGTH, Length
from nester.core.sheet_sizes import Size

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.orm import Session

__all__ = [
    "COVER_DAYS",
    "SAFETY_DAYS",
    "USE_WEEKS",
    "LevelSuggestion",
    "accept_suggestions",
    "drop_level",
    "find_level",
    "is_low",
    "list_levels",
    "set_level",
    "suggest_levels",
]

USE_WEEKS = 8
"""The weeks whose use counts (common practice, no source)."""
SAFETY_DAYS = 7
"""Days of use held for a delivery that is late (common practice, no source)."""
COVER_DAYS = 28
"""Days of use bought at once (common practice, no source)."""
_FEWEST_DAYS = 7
"""What was used within less than a week says nothing of a week."""


def set_level(
    session: Session,
    paper: str,
    reorder: int,
    target: int,
    *,
    size: Size | tuple[Length, Length] | None = None,
) -> ReorderLevel:
    """Say how much of a paper is to be held, in place of what was said before.

    Parameters
    ----------
    reorder
        With that many sheets or fewer it is time to buy; 1 to 1,000,000.
    target
        Up to that many are bought then; `reorder` or more.
    size
        Only of sheets of this size; of any size together, unless given.

    Raises
    ------
    Refusal
        If there is no such paper, or one of them can't be so.
    """
    its = find_paper(session, paper)
    whole_number(reorder, "the level at which to buy", least=1)
    whole_number(target, "the level to buy up to", least=1)
    if target < reorder:
        raise Refusal(f"buying up to {target:,} sheets leaves it below its level of {reorder:,}")
    if size is not None and not all(0 < length <= MAX_LENGTH for length in size):
        raise Refusal("a sheet's width and height must be more than zero and at most 10 m")
    level = find_level(session, its, size)
    if level is None:
        width, height = size if size is not None else (None, None)
        level = ReorderLevel(paper=its, width=width, height=height)
        session.add(level)
    level.reorder, level.target, level.set_at = reorder, target, datetime.now(UTC)
    session.flush()
    return level


def find_level(
    session: Session, paper: Paper, size: Size | tuple[Length, Length] | None
) -> ReorderLevel | None:
    """Return the level of a paper in a size (None: in any), if one is set."""
    wanted = None if size is None else size_key(paper, size)
    levels = session.scalars(select(ReorderLevel).where(ReorderLevel.paper_id == paper.id))
    return next((level for level in levels if level_key(level) == wanted), None)


def is_low(sheets: int, reorder: int, target: int) -> bool:
    """Tell whether it is time to buy up to a level's target with that many sheets left."""
    return sheets <= reorder and sheets < target


def level_key(level: ReorderLevel) -> SizeKey | None:
    """Return what is equal for equal sizes; None if it is for any size."""
    if level.width is None or level.height is None:
        return None
    return size_key(level.paper, (level.width, level.height))


def drop_level(
    session: Session, paper: str, size: Size | tuple[Length, Length] | None = None
) -> None:
    """Hold nothing of a paper in a size (None: in any) any more.

    Raises
    ------
    Refusal
        If there is no such paper, or no level of it is set.
    """
    level = find_level(session, find_paper(session, paper), size)
    if level is None:
        raise Refusal(
            f"no such level of '{shorten(paper)}' is set",
            Hint("list those that are", "buy level list"),
        )
    session.execute(delete(ReorderLevel).where(ReorderLevel.id == level.id))


def list_levels(session: Session) -> list[ReorderLevel]:
    """Return all levels by paper, those for any size first."""
    query = select(ReorderLevel).join(Paper, ReorderLevel.paper_id == Paper.id)
    levels = session.scalars(query.order_by(Paper.name_key, ReorderLevel.id)).all()
    return sorted(
        levels, key=lambda level: (level.paper.name_key, level.width or 0, level.height or 0)
    )


# --- what use suggests -------------------------------------------------------------------------


@dataclass(frozen=True)
class LevelSuggestion:
    """A level that use suggests.

    It is time to buy when what is left lasts for a delivery and the days held for safety; then for
    `cover` days more is bought (a reorder point with safety stock, as books on stock-keeping have
    it; from memory).

    Attributes
    ----------
    size
        None for sheets of any size.
    used
        Sheets cut or spoiled in `days` days.
    lead_days
        Days to a delivery: of the offer whose sheets are cheapest.
    current_level
        The level that is set, as reorder and target.
    """

    paper: str
    size: Size | None
    used: int
    days: int
    lead_days: int
    reorder_point: int
    target: int
    current_level: tuple[int, int] | None

    @property
    def weekly_use(self) -> Fraction:
        """Sheets used in a week."""
        return Fraction(7 * self.used, self.days)


def suggest_levels(
    session: Session,
    papers: Iterable[str] | None = None,
    *,
    today: date,
    weeks: int = USE_WEEKS,
    safety: int = SAFETY_DAYS,
    cover: int = COVER_DAYS,
) -> list[LevelSuggestion]:
    """Return levels by what was used in the last weeks; nothing is set by it.

    A paper of which nothing was used gets none.  Where a level for any size is set, one for any
    size is suggested.

    Parameters
    ----------
    papers
        The names of papers; all, unless given.
    weeks
        Fewer if the book is younger, at least one.
    safety, cover
        Days; see `LevelSuggestion`.

    Raises
    ------
    Refusal
        If there is no such paper, or one of the numbers can't be so.
    """
    whole_number(weeks, "the weeks whose use counts", least=1, most=520)
    whole_number(safety, "the days held for safety", most=365)
    whole_number(cover, "the days to buy for", most=365)
    chosen = None if papers is None else {find_paper(session, name).id for name in papers}
    days = _observed_days(session, today, weeks)
    used = _used_sheets(session, today - timedelta(days))
    levels: dict[int, dict[SizeKey | None, ReorderLevel]] = defaultdict(dict)
    for level in list_levels(session):
        levels[level.paper_id][level_key(level)] = level
    per_paper: dict[Paper, Counter[SizeKey | None]] = defaultdict(Counter)
    for (paper, of_size), number in used.items():
        if chosen is None or paper.id in chosen:
            per_paper[paper][None if None in levels[paper.id] else of_size] += number
    sold: dict[str, list[ListedPack]] = defaultdict(list)
    for offer in current_offers(session, [paper.name for paper in per_paper], today=today):
        sold[offer.paper].append(offer)
    suggestions = []
    for paper, sizes in sorted(per_paper.items(), key=lambda pair: pair[0].name_key):
        for key, number in sorted(sizes.items(), key=lambda pair: pair[0] or (0, 0)):
            delivery = _lead_days(paper, key, sold[paper.name])
            a_day = Fraction(number, days)
            reorder = max(1, ceil(a_day * (delivery + safety)))
            now = levels[paper.id].get(key)
            suggestions.append(
                LevelSuggestion(
                    paper.name, None if key is None else Size(*key), number, days, delivery,
                    reorder, reorder + ceil(a_day * cover),
                    None if now is None else (now.reorder, now.target),
                )
            )  # fmt: skip
    return suggestions


def accept_suggestions(session: Session, suggestions: Iterable[LevelSuggestion]) -> None:
    """Set what was suggested."""
    for suggestion in suggestions:
        set_level(
            session,
            suggestion.paper,
            suggestion.reorder_point,
            suggestion.target,
            size=suggestion.size,
        )


def _observed_days(session: Session, today: date, weeks: int) -> int:
    first = session.scalar(select(func.min(Movement.at)))
    known = 0 if first is None else (today - first.astimezone().date()).days
    return max(_FEWEST_DAYS, min(7 * weeks, known))


def _used_sheets(session: Session, since: date) -> dict[tuple[Paper, SizeKey], int]:
    """Return how many sheets of each paper and size were cut or spoiled and not given back."""
    lines = session.execute(
        select(Paper, Stock.width, Stock.height, -func.sum(Movement.change))
        .join(Stock, Movement.stock_id == Stock.id)
        .join(Paper, Stock.paper_id == Paper.id)
        .where(
            Stock.kind == StockKind.SHEET,
            Movement.reason.in_([Reason.CUT, Reason.SPOILED]),
            Movement.at >= datetime.combine(since, time()).astimezone(UTC),
            Movement.id.not_in(reversed_movements()),
        )
        .group_by(Paper.id, Stock.width, Stock.height)
    )
    used: Counter[tuple[Paper, SizeKey]] = Counter()
    for paper, width, height, number in lines:
        used[paper, size_key(paper, (width, height))] += int(number)
    return used


def _lead_days(paper: Paper, key: SizeKey | None, sold: Sequence[ListedPack]) -> int:
    fitting = [pack for pack in sold if key in (None, size_key(paper, (pack.width, pack.height)))]
    if not fitting:
        return DEFAULT_LEAD_DAYS
    return min(
        fitting, key=lambda pack: (pack.sheet_price / (pack.width * pack.height), pack.lead_days)
    ).lead_days
