"""How many of a design the stash would make today: exactly, or a lower and an upper bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from inventory.orders.choices import read_choices
from inventory.orders.custom_designs import find_design
from inventory.orders.orders import thickness_of_papers
from inventory.production.cutting_rules import shop_rules
from inventory.shop.settings import get_shop
from inventory.stock.listing import StashRow, list_stash
from inventory.stock.papers import find_paper
from inventory.stock.reservations import available_rows
from nester.core.errors import Refusal
from nester.core.problem import Cuts, Effort, Problem, StockItem
from nester.designs import check_roles, paper_for, read_settings, roles_of
from nester.designs.demand import demands_by_paper, drop_conflicting_grain
from nester.packing import Stop, never
from nester.packing.orders.most_copies import CopiesRange, most_copies
from nester.verify import require_valid

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
    """A design, its settings and papers, as they were written."""

    design: str
    sizes: Mapping[str, str]

    @property
    def text(self) -> str:
        """Both in words: ``layered-box panel=18cm``."""
        return " ".join([self.design, *(f"{name}={size}" for name, size in self.sizes.items())])


def read_requests(words: Sequence[str]) -> list[DesignRequest]:
    """Read designs, each followed by its choices: ``layered-box panel=18cm gift-tag``.

    Raises
    ------
    Refusal
        If a size comes before any design, or is given twice.
    """
    requests: list[tuple[str, dict[str, str]]] = []
    for word in words:
        name, equals, size = (part.strip() for part in word.partition("="))
        if not equals:
            requests.append((word, {}))
        elif not requests:
            raise Refusal(
                f"'{word}' stands before any design; write a design first, then its sizes"
            )
        elif not name:
            raise Refusal(f"'{word}' does not say which setting of {requests[-1][0]} it is for")
        elif name in requests[-1][1]:
            raise Refusal(f"{requests[-1][0]}: {name} is given twice")
        else:
            requests[-1][1][name] = size
    return [DesignRequest(design, sizes) for design, sizes in requests]


@dataclass(frozen=True)
class _RequestPieces:
    """The pieces of a request, and the paper of each of its parts."""

    pieces: tuple[Piece, ...]
    papers: Mapping[str, str]


def problem_from_stash(
    session: Session,
    request: DesignRequest,
    papers: Mapping[str, str],
    rows: Sequence[StashRow],
    cuts: Cuts = Cuts.STRAIGHT,
) -> Problem:
    """Return the problem of making one object from some of the stash.

    Parameters
    ----------
    papers
        The name of a paper by part, for all parts that the design needs.

    Raises
    ------
    Refusal
        If there is no such design or paper, or it can't be made in these sizes.
    """
    request_pieces = _request_pieces(session, request, papers)
    rules = shop_rules(session, cuts)
    demands = demands_by_paper(request_pieces.pieces, 1, request_pieces.papers, rules)
    stock: tuple[StockItem, ...] = tuple(
        replace(row.as_sheet, price=Fraction(0)) for row in rows if row.paper in demands
    )
    whole = rules.problem(
        tuple(demand for of_paper in demands.values() for demand in of_paper), stock
    )
    return drop_conflicting_grain(whole)[0]


def _request_pieces(
    session: Session, request: DesignRequest, papers: Mapping[str, str]
) -> _RequestPieces:
    design = find_design(session, request.design)
    words = [f"{name}={value}" for name, value in request.sizes.items()]
    chosen = read_choices(session, design, words)
    papers = {**papers, **chosen.papers}
    named = {part: find_paper(session, name).name for part, name in papers.items()}
    thickness = thickness_of_papers(session, named)
    unit = get_shop(session).unit
    pieces = design.pieces(read_settings(design, chosen.sizes, unit, thickness), unit)
    unnamed = [role for role in roles_of(pieces) if paper_for(role, named) is None]
    if unnamed:
        parts = ", ".join(dict.fromkeys(role.partition(".")[0] for role in unnamed))
        raise Refusal(
            f"{design.name} needs a paper for {parts}; name one for each, or one for all of it:"
            " all='Coal card'"
        )
    return _RequestPieces(pieces, named)


def problems_of_requests(
    session: Session,
    requests: Sequence[DesignRequest],
    papers: Mapping[str, str],
    cuts: Cuts = Cuts.STRAIGHT,
) -> list[Problem]:
    """Return for each request the problem of making one object from what is not reserved.

    Parameters
    ----------
    papers
        The name of a paper by part; a part that only some designs have counts for those.

    Raises
    ------
    Refusal
        If there is no such design, part or paper, or one can't be made in these sizes.
    """
    designs = [find_design(session, request.design) for request in requests]
    papers_of: list[dict[str, str]] = [{} for _ in requests]
    for part, name in papers.items():
        refusal = None
        for design, own_papers in zip(designs, papers_of, strict=True):
            try:
                check_roles(design, [part])
            except Refusal as why:
                refusal = refusal or why
            else:
                own_papers[part] = name
        if refusal is not None and not any(part in own_papers for own_papers in papers_of):
            raise refusal
    rows = available_rows(session, list_stash(session))
    return [
        problem_from_stash(session, request, own_papers, rows, cuts)
        for request, own_papers in zip(requests, papers_of, strict=True)
    ]


def max_copies(
    problem: Problem, effort: Effort = Effort.NORMAL, *, stop: Stop = never
) -> CopiesRange:
    """Return how many times a problem's pieces can be made from its stock; plans are verified."""
    most = most_copies(problem, effort, stop=stop)
    for copies_problem, plan in most.plans:
        require_valid(copies_problem, plan)
    return most
