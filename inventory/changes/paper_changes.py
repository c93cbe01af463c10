"""Correcting papers: name, colour, finish, weight, thickness, pattern, grain, note.

Orders and plans name their papers, so a new name is written into all of them.  What the history
keeps stays as it was; where something of it is brought back, the papers in it are called as they
are now (`inventory.stock.papers.current_names`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from inventory.core.plan import Plan, plan_to_json
from inventory.core.text import LONGEST_NOTE, choice, clean_name, clean_note, shorten
from inventory.database.tables.enums import Grain, Pattern, Reason
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.orders import Batch, Order
from inventory.database.tables.production import PaperChange
from inventory.database.tables.stock import Paper
from inventory.stock import ledger
from inventory.stock.ledger import reversed_transactions
from inventory.stock.lookup import plan_of
from inventory.stock.papers import (
    check_caliper,
    check_grammage,
    check_name_is_free,
    current_names,
    find_paper,
    list_papers,
    read_swatch,
)
from nester.core.errors import Refusal
from nester.core.lengths import Unit, format_length

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = [
    "PaperChanges",
    "change_paper",
    "check_paper_changes",
    "list_paper_changes",
    "outdated_papers",
    "undo_paper_changes",
    "with_current_names",
]

_PLANNED_BY = ("pattern", "grain")
_MADE_BY = ("grammage", "caliper")
"""Values on which the cuts of a plan depend, and those on which its pieces may."""


@dataclass(frozen=True)
class PaperChanges:
    """What is to be different of a paper; None leaves a value as it is.

    Attributes
    ----------
    grammage
        g/m².
    swatch
        ``#rrggbb``, or an empty text for none.
    caliper
        Its thickness in fine units.
    no_caliper
        It is not known any more, and is estimated from the weight.
    """

    name: str | None = None
    colour: str | None = None
    finish: str | None = None
    swatch: str | None = None
    grammage: int | None = None
    pattern: Pattern | str | None = None
    grain: Grain | str | None = None
    caliper: int | None = None
    no_caliper: bool = False
    note: str | None = None


def change_paper(
    session: Session, name: str, changes: PaperChanges, *, by: str = "", why: str = ""
) -> Transaction:
    """Correct what the shop knows of a paper; it is a transaction, which can be undone.

    Parameters
    ----------
    by
        Who corrects it.
    why
        A note for the history.

    Returns
    -------
    Transaction
        Its note says what was corrected.

    Raises
    ------
    Refusal
        If there is no such paper, nothing is different, a value can't be so, or another paper has
        the new name.
    """
    paper = find_paper(session, name)
    before = _values_of(paper)
    after = {**before, **_checked(session, paper, changes)}
    different = {key for key in before if before[key] != after[key]}
    if not different:
        raise Refusal(f"nothing of {paper.name} is different")
    words = "; ".join(
        f"{_NAMES.get(key, key)} {_told(key, before[key])} → {_told(key, after[key])}"
        for key in before
        if key in different
    )
    note = shorten(f"{paper.name}: {words}{f' ({why})' if why else ''}", LONGEST_NOTE)
    transaction = ledger.book_transaction(session, Reason.CHANGED, note=note)
    change = PaperChange(
        transaction_id=transaction.id,
        paper_id=paper.id,
        before={key: before[key] for key in before if key in different},
        after={key: after[key] for key in after if key in different},
        by=clean_name(by, "who changes it") if by.strip() else "",
        at=datetime.now(UTC),
    )
    session.add(change)
    _set(session, paper, change.after)
    return transaction


def _values_of(paper: Paper) -> dict[str, Any]:
    return {
        "name": paper.name,
        "colour": paper.colour,
        "finish": paper.finish,
        "swatch": paper.swatch,
        "grammage": paper.grammage,
        "pattern": str(paper.pattern),
        "grain": str(paper.grain),
        "caliper": paper.caliper,
        "note": paper.note,
    }


def _checked(session: Session, paper: Paper, changes: PaperChanges) -> dict[str, Any]:
    """Return the values given, as JSON keeps them."""
    values: dict[str, Any] = {}
    if changes.name is not None:
        values["name"] = clean_name(changes.name, "the paper's name")
        check_name_is_free(session, values["name"], paper)
    if changes.colour is not None:
        values["colour"] = clean_name(changes.colour, "the paper's colour")
    if changes.finish is not None:
        finish = changes.finish
        values["finish"] = clean_name(finish, "the paper's finish") if finish.strip() else ""
    if changes.swatch is not None:
        values["swatch"] = read_swatch(changes.swatch)
    if changes.grammage is not None:
        values["grammage"] = check_grammage(changes.grammage)
    if changes.pattern is not None:
        values["pattern"] = str(choice(Pattern, changes.pattern, "the paper's pattern"))
    if changes.grain is not None:
        values["grain"] = str(choice(Grain, changes.grain, "the paper's grain"))
    if changes.caliper is not None or changes.no_caliper:
        values["caliper"] = check_caliper(changes.caliper)
    if changes.note is not None:
        values["note"] = clean_note(changes.note)
    return values


def _set(session: Session, paper: Paper, values: Mapping[str, Any]) -> None:
    old = paper.name
    for key, value in values.items():
        setattr(paper, key, _READ.get(key, _as_it_is)(value))
    session.flush()
    if paper.name != old:
        _rename(session, {old: paper.name})


def _as_it_is(value: Any) -> Any:  # a value as JSON holds it
    return value


_READ = {"pattern": Pattern, "grain": Grain}


def _rename(session: Session, names: Mapping[str, str]) -> None:
    """Write new names of papers into orders and plans."""
    for order in session.scalars(select(Order).order_by(Order.id)):
        papers = {role: names.get(name, name) for role, name in order.papers.items()}
        if papers != order.papers:
            order.papers = papers
    for batch in session.scalars(select(Batch).order_by(Batch.id)):
        plan = plan_of(batch)
        renamed = _with_names(plan, names)
        if renamed != plan:
            batch.plan = plan_to_json(renamed)
    session.flush()


def _with_names(plan: Plan, names: Mapping[str, str]) -> Plan:
    def named(row: Any) -> Any:  # any part of a plan that names a paper
        return replace(row, paper=names.get(row.paper, row.paper))

    return replace(
        plan,
        parts=tuple(map(named, plan.parts)),
        layouts=tuple(replace(one, sheet=named(one.sheet)) for one in plan.layouts),
        lacking=tuple(map(named, plan.lacking)),
        restock=tuple(map(named, plan.restock)),
        spares=tuple(map(named, plan.spares)),
    )


def with_current_names(session: Session, plan: Plan) -> Plan:
    """Return a plan of the history with its papers called as they are now."""
    return _with_names(plan, current_names(session))


def list_paper_changes(session: Session, paper: Paper) -> list[PaperChange]:
    """Return what was corrected of a paper and not undone, the oldest first."""
    changes = select(PaperChange).where(
        PaperChange.paper_id == paper.id,
        PaperChange.transaction_id.not_in(reversed_transactions()),
    )
    return list(session.scalars(changes.order_by(PaperChange.id)))


def outdated_papers(session: Session, batch: Batch, *, only_cuts: bool = False) -> dict[str, str]:
    """Say which papers of a batch were corrected after it was planned, and how.

    Parameters
    ----------
    only_cuts
        Only what may make its cuts wrong: pattern and grain.

    Returns
    -------
    dict
        A sentence by the name of the paper.
    """
    keys = _PLANNED_BY if only_cuts else (*_PLANNED_BY, *_MADE_BY)
    plan = plan_of(batch)
    used = {part.paper for part in plan.parts}
    found = {}
    for paper in list_papers(session):
        if paper.name not in used:
            continue
        was: dict[str, Any] = {}
        for change in list_paper_changes(session, paper):
            if change.at > batch.made_at:
                was = {**change.before, **was}
        now = _values_of(paper)
        words = [
            f"its {_NAMES.get(key, key)} was {_told(key, was[key])} and is"
            f" {_told(key, now[key])} now"
            for key in keys
            if key in was and was[key] != now[key]
        ]
        if words:
            found[paper.name] = (
                f"When this was planned, {paper.name} was known otherwise: {'; '.join(words)}"
            )
    return found


_NAMES = {"grammage": "weight", "caliper": "thickness"}


def _told(key: str, value: Any) -> str:  # a value as JSON holds it
    if value in (None, ""):
        return "unknown" if key == "caliper" else "–"
    if key == "grammage":
        return f"{value} g/m²"
    return format_length(value, Unit.MM) if key == "caliper" else str(value)


# --- undoing -----------------------------------------------------------------------------------


def _changes_by(session: Session, transaction: Transaction) -> list[PaperChange]:
    changes = select(PaperChange).where(PaperChange.transaction_id == transaction.id)
    return list(session.scalars(changes.order_by(PaperChange.id)))


def check_paper_changes(session: Session, transaction: Transaction) -> None:
    """Refuse to undo a correction if the same was corrected again, or the old name is taken.

    Raises
    ------
    Refusal
        It says what stands in the way.
    """
    for change in _changes_by(session, transaction):
        paper = session.get_one(Paper, change.paper_id)
        for later in list_paper_changes(session, paper):
            if later.id > change.id and later.after.keys() & change.after.keys():
                raise Refusal(
                    f"entry {later.transaction_id} changed {paper.name} after it; undo that first"
                )
        if "name" in change.before:
            check_name_is_free(session, change.before["name"], paper)


def undo_paper_changes(session: Session, transaction: Transaction) -> None:
    """Put back what a transaction changed of papers."""
    for change in reversed(_changes_by(session, transaction)):
        _set(session, session.get_one(Paper, change.paper_id), change.before)
