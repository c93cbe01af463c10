"""How thick paper is: measured, or estimated from its weight.

ISO 534 measures thickness under a set pressure and derives bulk (apparent specific sheet volume)
from it: bulk = thickness ÷ grammage, in cm³/g.  So a sheet of 1 g/m² and a bulk of 1 cm³/g is
1 µm thick, and thickness = grammage × bulk.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import NamedTuple

from nester.core.lengths import UNITS_PER_MM, Length
from nester.designs.base.clearance import Thickness
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.roles import paper_for

__all__ = [
    "DEFAULT_BULK",
    "PHOTO_BULK",
    "EstimatedThickness",
    "PaperSpec",
    "assumptions",
    "bulk_of_finish",
    "heaviest_usual",
    "thickness_by_role",
    "thickness_of",
]

DEFAULT_BULK = Fraction(13, 10)
"""Bulk of uncoated craft card in cm³/g.  Source: the card thicknesses that WJEC (Papers and
boards: category and standards, 2016) teaches, 200 µm at 150 to 160 g/m² up to 350 to 380 µm at
270 to 290 g/m².  Coated and photo papers are denser, so this errs towards too thick."""

PHOTO_BULK = Fraction(21, 20)
"""Bulk of photo paper, which is coated with plastic, in cm³/g (from memory)."""
_BULK_BY_WORD = {
    "photo": PHOTO_BULK,
    "coated": Fraction(1),
    "gloss": Fraction(19, 20),
    "glossy": Fraction(19, 20),
}
"""Bulks by a word in the finish of a paper, in cm³/g; coats of chalk are denser than fibre.  They
are at the thick end of each kind, so that parts rather have too much play (from memory)."""

HEAVIEST_USUAL_GRAMMAGE = 350
"""Boxes and cards are made of papers of up to so many g/m² (common practice, no source)."""

_UNITS_PER_MICROMETRE = UNITS_PER_MM // 1000


@dataclass(frozen=True)
class PaperSpec:
    """The weight of a paper, and its thickness if known.

    Attributes
    ----------
    grammage
        Weight in g/m² (ISO 536), more than zero.
    caliper
        Its thickness as measured or printed on the pack, in fine units; None if not known.
    bulk
        cm³/g, more than zero; used only when there is no caliper.
    grain_known
        Whether the maker knows which way its grain runs.

    Raises
    ------
    DesignRefusal
        If a value is not more than zero.
    """

    grammage: int
    caliper: Length | None = None
    bulk: Fraction = DEFAULT_BULK
    grain_known: bool = False

    def __post_init__(self) -> None:
        values = {"g/m²": self.grammage, "thickness": self.caliper, "bulk": self.bulk}
        for name, value in values.items():
            if value is not None and value <= 0:
                raise DesignRefusal(f"the {name} of a paper must be more than zero")


class EstimatedThickness(NamedTuple):
    """A thickness in fine units, and a sentence if it rests on an assumption."""

    thickness: Length
    assumption: str


def bulk_of_finish(finish: str) -> Fraction:
    """Return the bulk of papers with a finish, such as ``photo glossy``, in cm³/g.

    Of several words the bulkiest counts; without a known one it is `DEFAULT_BULK`.
    """
    words = finish.casefold().replace("-", " ").split()
    known = [_BULK_BY_WORD[word] for word in words if word in _BULK_BY_WORD]
    return max(known, default=DEFAULT_BULK)


def thickness_of(paper: PaperSpec) -> EstimatedThickness:
    """Return the thickness of a paper: its caliper, or grammage × bulk rounded up."""
    if paper.caliper is not None:
        return EstimatedThickness(paper.caliper, "")
    micrometres = paper.grammage * paper.bulk
    assumption = (
        f"paper of {paper.grammage} g/m² with no thickness given is taken as"
        f" {_rounded(micrometres / 1000)} mm thick, at a bulk of {_rounded(paper.bulk)} cm³/g"
    )
    return EstimatedThickness(ceil(micrometres * _UNITS_PER_MICROMETRE), assumption)


def heaviest_usual(role: str) -> Length:
    """Return the thickness of the heaviest usual paper, whatever the role.

    Defaults must leave the play wanted whichever paper is chosen, so they are taken for this one.
    """
    return thickness_of(PaperSpec(HEAVIEST_USUAL_GRAMMAGE)).thickness


def thickness_by_role(papers: Mapping[str, PaperSpec]) -> Thickness:
    """Return the function that gives the thickness of a role's paper.

    Parameters
    ----------
    papers
        The chosen papers by role; a role answers as `nester.designs.base.roles.paper_for` says: the
        role itself, the part before its last point, and so on, then ``all``.

    Returns
    -------
    Thickness
        It raises `DesignRefusal` for a role that no paper is chosen for.
    """
    thicknesses = {role: thickness_of(paper).thickness for role, paper in papers.items()}
    roles = {role: role for role in papers}

    def of(role: str) -> Length:
        chosen = paper_for(role, roles)
        if chosen is None:
            raise DesignRefusal(
                f"no paper is chosen for '{role}', so its thickness isn't known;"
                " choose one for it or for all"
            )
        return thicknesses[chosen]

    return of


def assumptions(papers: Mapping[str, PaperSpec]) -> tuple[str, ...]:
    """Return what was assumed about some papers, each sentence once."""
    sentences = (thickness_of(paper).assumption for paper in papers.values())
    return tuple(dict.fromkeys(sentence for sentence in sentences if sentence))


def _rounded(value: Fraction) -> str:
    """Write a number to at most three decimals, marked if that rounds it."""
    rounded = Fraction(round(value * 1000), 1000)
    text = f"{float(rounded):.3f}".rstrip("0").rstrip(".")
    return text if rounded == value else f"≈{text}"
