from __future__ import annotations

import pytest

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Fold, Grain, Piece
from nester.designs import DESIGNS, read_settings

DESIGN = DESIGNS["accordion-card"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_a_short_accordion_is_one_strip_without_a_hinge() -> None:
    strip = pieces(panels="4", width="10", longest="40")["strip 1"]
    assert (strip.width, strip.height) == (cm(40), cm(10))
    assert [score.fold for score in strip.scores] == [Fold.VALLEY, Fold.MOUNTAIN, Fold.VALLEY]
    assert strip.glue == ()
    assert strip.grain is Grain.HEIGHT


@pytest.mark.parametrize(
    ("panels", "longest", "shares"),
    [
        ("6", "48", [3, 3]),
        ("5", "40", [3, 2]),
        ("7", "40", [3, 4]),  # the last strip needs no room for a hinge
        ("8", "40", [3, 3, 2]),
        ("10", "41.5", [4, 3, 3]),
        ("3", "11.5", [1, 1, 1]),
    ],
)
def test_panels_are_shared_evenly(panels: str, longest: str, shares: list[int]) -> None:
    made = pieces(panels=panels, width="10", hinge="1.5", longest=longest)
    strips = [piece for name, piece in made.items() if name.startswith("strip")]
    hinges = [mm(15)] * (len(shares) - 1) + [0]
    wanted = [cm(10) * n + hinge for n, hinge in zip(shares, hinges, strict=True)]
    assert [strip.width for strip in strips] == wanted


def test_the_fold_at_a_hinge_goes_on_alternating() -> None:
    made = pieces(panels="6", width="10", longest="35")
    first, second = made["strip 1"], made["strip 2"]
    assert [score.fold for score in first.scores] == [Fold.VALLEY, Fold.MOUNTAIN, Fold.VALLEY]
    assert first.scores[-1].line == ((cm(30), 0), (cm(30), cm(10)))
    assert second.scores[0].fold is Fold.MOUNTAIN
    assert first.glue[0][0] == (cm(30), 0)


@pytest.mark.parametrize(("panels", "front", "back"), [("6", 6, 4), ("7", 6, 6)])
def test_no_mat_goes_where_a_cover_does(panels: str, front: int, back: int) -> None:
    made = pieces(panels=panels, mats="both")
    assert made["mat front"].quantity == front
    assert made["mat back"].quantity == back
    bare = pieces(panels=panels, mats="both", covers="no")
    assert bare["mat front"].quantity == bare["mat back"].quantity == int(panels)


def test_two_panels_between_covers_have_no_bare_back() -> None:
    assert "mat back" not in pieces(panels="2", mats="both")


def test_covers_hang_over() -> None:
    cover = pieces(width="10", height="12", overhang="0.6")["cover"]
    assert (cover.width, cover.height, cover.quantity) == (cm("10.6"), cm("12.6"), 2)
    assert cover.mounted  # its glue counts


def test_a_ribbon_goes_round_it_with_a_bow() -> None:
    read = read_settings(DESIGN, {"width": "10"}, Unit.CM)
    (ribbon,) = DESIGN.consumables(read)
    assert ribbon.amount == cm(60)
    assert DESIGN.consumables({**read, "ribbon": 0}) == ()
