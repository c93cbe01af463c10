"""What a maker chooses of a design, as it is written after its name: settings and papers alike.

``panel=10cm mats=both all="Coal card"``: a name that is a setting of the design is read as such,
any other as a part of it that gets a paper.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import select

from inventory.core.text import did_you_mean, fold, read_pairs, shorten
from inventory.database.tables.stock import Paper
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from sqlalchemy.orm import Session

    from nester.designs import Design

__all__ = ["Choices", "read_choices"]


class Choices(NamedTuple):
    """Settings by name, and papers by part, as they were written."""

    sizes: dict[str, str]
    papers: dict[str, str]


def read_choices(
    session: Session | None,
    design: Design,
    words: Iterable[str],
    papers: Mapping[str, str] | None = None,
    *,
    may_be_empty: bool = False,
) -> Choices:
    """Tell the settings of a design from the papers of its parts.

    A few names are both; such a value is a paper if the shop has one of its name.

    Parameters
    ----------
    words
        Each ``name=value``.
    papers
        Further papers by part, given apart.
    may_be_empty
        Whether ``name=`` may stand for taking a choice back.

    Raises
    ------
    Refusal
        If a word is no pair, a name is neither a setting nor a part, or comes twice.
    """
    from nester.designs.base.roles import ALL_ROLES

    written: list[str] = []
    taken_back: list[str] = []
    for word in words:
        empty = may_be_empty and word.strip().endswith("=")
        (taken_back if empty else written).append(word)
    example = "panel=18cm or all=300"
    given = read_pairs(
        written, unclear=f" is neither a setting nor a paper; write it like {example}"
    )
    given |= {word.strip()[:-1].strip().casefold(): "" for word in taken_back}
    settings = {setting.name for setting in design.settings}
    roles = {*design.roles, *design.sub_roles, ALL_ROLES}
    chosen = Choices({}, dict(papers or {}))
    for name, value in given.items():
        if name not in settings | roles:
            known = [*sorted(settings), *sorted(roles - settings)]
            hint = did_you_mean(name, known) or f"; it has {', '.join(known)}"
            raise Refusal(f"{design.name} has no setting or part '{shorten(name)}'{hint}")
        is_paper = name not in settings or (
            name in roles and session is not None and _is_paper(session, value)
        )
        if is_paper and name in chosen.papers:
            raise Refusal(f"a paper for '{name}' is given twice; keep one")
        (chosen.papers if is_paper else chosen.sizes)[name] = value
    return chosen


def _is_paper(session: Session, name: str) -> bool:
    return session.scalar(select(Paper.id).where(Paper.name_key == fold(name))) is not None
