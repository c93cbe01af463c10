"""What could be made from the stash today: how many of a design, exactly or between two numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.orders.custom_designs import find_design
from inventory.orders.orders import thickness_of_papers
from inventory.production.cutting_rules import shop_rules
from inventory.shop.settings import get_shop
from inventory.stock.listing import StashRow, list_stash
from inventory.stock.papers import find_paper
from inventory.stock.reservations import available_rows
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort, Problem, StockItem
from nester.designs import (
    check_roles,
    paper_for,
    read_settings,
    roles_of,
)
from nester.designs.demand import demands_by_paper, drop_conflicting_grain
from nester.packing import (
    Stop,
    never,
)
from nester.packing.orders.most_copies import CopiesRange, most_copies
from nester.verify import (
    require_valid,
)

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.piece import Piece

__all__ = [
    "DesignRequest",
    "max_copies",
    "problem_from_stash",
    "problems_of_requests",
    "read_requests",
]


class DesignRequest(NamedTuple):
    """A design in some sizes, as it was written."""

    design: str
    sizes: Mapping[str, str]

    @property
    def text(self) -> str:
        """How it was asked for: ``layered-box panel=18cm``."""
        return " ".join([self.design, *(f"{name}={size}" for name, size in self.sizes.items())])


def read_requests(words: Sequence[str]) -> list[DesignRequest]:
    """Read designs, each with its sizes behind it: ``layered-box panel=18cm gift-tag``.

    Raises
    ------
    Refusal
        If a size stands before any design, or is given twice.
    """
    wishes: list[tuple[str, dict[str, str]]] = []
    for word in words:
        name, equals, size = (part.strip() for part in word.partition("="))
        if not equals:
            wishes.append((word, {}))
        elif not wishes:
            raise Refusal(
                f"'{word}' stands before any design; write a design first, then its sizes"
            )
        elif not name:
            raise Refusal(f"'{word}' does not say which setting of {wishes[-1][0]} it is for")
        elif name in wishes[-1][1]:
            raise Refusal(f"{wishes[-1][0]}: {name} is given twice")
        else:
            wishes[-1][1][name] = size
    return [DesignRequest(*one) for one in wishes]


@dataclass(frozen=True)
class _RequestPieces:
    """The pieces of a wish, and the paper of each role that it has."""

    pieces: tuple[Piece, ...]
    papers: Mapping[str, str]


def problem_from_stash(
    session: Session,
    wish: DesignRequest,
    papers: Mapping[str, str],
    rows: Sequence[StashRow],
    cuts: Cuts = Cuts.STRAIGHT,
) -> Problem:
    """Return the problem of making one of a wish from some of the stash.

    Parameters
    ----------
    papers
        The name of a paper by part, of which the design has at least those that it needs.

    Raises
    ------
    Refusal
        If there is no such design or paper, or it can't be made so.
    """
    made = _request_pieces(session, wish, papers)
    rules = shop_rules(session, cuts)
    wants = demands_by_paper(made.pieces, 1, made.papers, rules)
    stock: tuple[StockItem, ...] = tuple(
        replace(row.as_sheet, price=Fraction(0)) for row in rows if row.paper in wants
    )
    whole = rules.problem(tuple(want for its in wants.values() for want in its), stock)
    return drop_conflicting_grain(whole)[0]


def _request_pieces(
    session: Session, wish: DesignRequest, papers: Mapping[str, str]
) -> _RequestPieces:
    design = find_design(session, wish.design)
    named = {part: find_paper(session, name).name for part, name in papers.items()}
    thickness = thickness_of_papers(session, named)
    unit = get_shop(session).unit
    pieces = design.pieces(read_settings(design, wish.sizes, unit, thickness), unit)
    bare = [role for role in roles_of(pieces) if paper_for(role, named) is None]
    if bare:
        parts = ", ".join(dict.fromkeys(role.partition(".")[0] for role in bare))
        raise Refusal(
            f"{design.name} needs a paper for {parts}; name one with --paper PART=PAPER, or one"
            " for all"
        )
    return _RequestPieces(pieces, named)


def problems_of_requests(
    session: Session,
    wishes: Sequence[DesignRequest],
    papers: Mapping[str, str],
    cuts: Cuts = Cuts.STRAIGHT,
) -> list[Problem]:
    """Return for each wish the problem of making one of it from what is not reserved.

    Parameters
    ----------
    papers
        The name of a paper by part; a part that only some of the designs have is of use to those.

    Raises
    ------
    Refusal
        If there is no such design, part or paper, or one of them can't be made so.
    """
    designs = [find_design(session, wish.design) for wish in wishes]
    fitting: list[dict[str, str]] = [{} for _ in wishes]
    for part, name in papers.items():
        found = None
        for design, its in zip(designs, fitting, strict=True):
            try:
                check_roles(design, [part])
            except Refusal as why:
                found = found or why
            else:
                its[part] = name
        if found is not None and not any(part in its for its in fitting):
            raise found
    rows = available_rows(session, list_stash(session))
    return [
        problem_from_stash(session, wish, its, rows, cuts)
        for wish, its in zip(wishes, fitting, strict=True)
    ]


def max_copies(
    problem: Problem, effort: Effort = Effort.NORMAL, *, stop: Stop = never
) -> CopiesRange:
    """Say how many objects a problem's stock suffices for; its plans are verified."""
    most = most_copies(problem, effort, stop=stop)
    for one, answer in most.plans:
        require_valid(one, answer)
    return most
