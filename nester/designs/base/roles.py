"""Which paper a piece is cut from.

A role has parts, and a paper may be chosen for any of them: ``mat.1.inside`` takes the paper of
``mat.1.inside``, else of ``mat.1``, else of ``mat``, else of ``all``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from nester.core.lengths import printable
from nester.designs.base.design import Design, suggestion
from nester.designs.base.errors import DesignRefusal

if TYPE_CHECKING:
    from nester.core.piece import Piece

__all__ = ["ALL_ROLES", "check_roles", "paper_for", "roles_of"]

ALL_ROLES = "all"
"""The role that stands for every piece with no paper given for it."""


def roles_of(pieces: Iterable[Piece]) -> tuple[str, ...]:
    """Return the roles of some pieces, each once, in their order."""
    return tuple(dict.fromkeys(piece.role for piece in pieces))


def paper_for(role: str, papers: Mapping[str, str]) -> str | None:
    """Return the paper chosen for a role, or None.

    Parameters
    ----------
    role
        A piece's role: ``tier.1``.
    papers
        The chosen papers by role; the closest counts: the role itself, the part before its last
        point, and so on, then ``all``.
    """
    while role:
        if role in papers:
            return papers[role]
        role = role.rpartition(".")[0]
    return papers.get(ALL_ROLES)


def check_roles(design: Design, papers: Iterable[str]) -> None:
    """Refuse a role that no piece of a design could have.

    Parameters
    ----------
    design
        The design the papers are chosen for.
    papers
        The roles for which papers are chosen (a mapping by role will do).

    Raises
    ------
    DesignRefusal
        For an unknown role, with the role it may stand for.
    """
    known = (*design.roles, *design.sub_roles, ALL_ROLES)
    for role in papers:
        if role not in known:
            hint = suggestion(role, known) or f"; it has {', '.join(design.roles)} and {ALL_ROLES}"
            raise DesignRefusal(
                f"{design.name} has no part '{printable(role[:30])}' to give a paper{hint}"
            )
