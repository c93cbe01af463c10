"""Thickness of paper against ISO 534 and against published card thicknesses."""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import Length, mm
from nester.designs.base.thickness import DEFAULT_BULK, PaperSpec, bulk_of_finish, thickness_of


def micrometres(count: int) -> Length:
    return mm(Fraction(count, 1000))


@pytest.mark.parametrize("grammage", [1, 80, 216, 300])
@pytest.mark.parametrize("bulk", [Fraction(1), Fraction("1.3"), Fraction(2)])
def test_bulk_is_thickness_over_grammage(grammage: int, bulk: Fraction) -> None:
    # ISO 534: bulk in cm³/g is the thickness in µm divided by the grammage in g/m².
    # Rounded up to a whole fine unit, 1/24 µm.
    taken = thickness_of(PaperSpec(grammage, bulk=bulk)).thickness
    assert 0 <= taken - grammage * bulk * micrometres(1) < 1


@pytest.mark.parametrize(
    ("light", "heavy", "thin", "thick"),
    [(150, 160, 200, 200), (170, 180, 230, 230), (210, 240, 280, 300), (270, 290, 350, 380)],
)
def test_the_usual_bulk_gives_published_thicknesses_of_card(
    light: int, heavy: int, thin: int, thick: int
) -> None:
    # WJEC, Papers and boards: category and standards, 2016: card from `light` to `heavy` g/m² is
    # `thin` to `thick` µm.  The two ranges must meet.
    assert thickness_of(PaperSpec(light)).thickness <= micrometres(thick)
    assert thickness_of(PaperSpec(heavy)).thickness >= micrometres(thin)


def test_the_usual_bulk_for_copying_paper() -> None:
    # The same source: copying paper of 80 g/m² is 100 µm.  The usual bulk is card's: within 5 %.
    taken = thickness_of(PaperSpec(80)).thickness
    assert micrometres(100) <= taken <= micrometres(105)


def test_coated_papers_are_thinner_than_card_of_the_same_weight() -> None:
    # From memory: photo paper has a bulk of about 1.05 cm³/g, chalk-coated papers 0.8 to 1.0.
    assert bulk_of_finish("photo glossy") == Fraction("1.05")
    assert bulk_of_finish("Gloss") == Fraction("0.95")
    assert bulk_of_finish("coated") == 1
    assert bulk_of_finish("uncoated") == bulk_of_finish("") == DEFAULT_BULK
