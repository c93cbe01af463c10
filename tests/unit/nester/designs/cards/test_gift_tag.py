from __future__ import annotations

from fractions import Fraction

from nester.core.lengths import Unit, cm, mm
from nester.core.piece import Piece
from nester.designs import DESIGNS, read_settings
from nester.designs.base.totals import consumables_of

DESIGN = DESIGNS["gift-tag"]


def pieces(**texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in DESIGN.pieces(read_settings(DESIGN, texts, Unit.CM))}


def test_a_tag_has_two_slanted_corners_and_a_hole_between_them() -> None:
    tag = pieces(width="5", length="9", clip="1", hole="4mm", **{"hole-edge": "6mm"})["tag"]
    assert tag.outline == (
        (cm(1), 0), (cm(4), 0), (cm(5), cm(1)), (cm(5), cm(9)), (0, cm(9)), (0, cm(1)),
    )  # fmt: skip
    assert tag.area == cm(5) * cm(9) - cm(1) * cm(1)
    (hole,) = tag.holes
    assert (hole.centre, hole.diameter) == ((cm("2.5"), mm(8)), mm(4))


def test_corners_may_stay_square() -> None:
    assert pieces(clip="0")["tag"].is_rectangle


def test_a_mats_margin_is_as_wide_along_the_slanted_corners() -> None:
    made = pieces(width="5", length="9", clip="1", mats="front", reveal="4mm")
    mat, margin = made["mat front"], mm(2)
    assert (mat.width, mat.height) == (cm("4.6"), cm("8.6"))
    # Corner (x, 0) of the mat, laid on the tag, is at (x + margin, margin).
    beyond = mat.outline[0].x + 2 * margin - cm(1)
    assert Fraction(beyond**2, 2) >= margin**2 > Fraction((beyond - 1) ** 2, 2)


def test_holes_of_tag_and_mats_lie_on_each_other_and_take_one_eyelet() -> None:
    texts = {"mats": "both", "reveal": "4mm", "eyelet": "yes"}
    made = pieces(**texts)
    (through,), (hole,) = made["mat back"].holes, made["tag"].holes
    assert (through.centre.x + mm(2), through.centre.y + mm(2)) == hole.centre
    read = read_settings(DESIGN, texts, Unit.CM)
    used = consumables_of(DESIGN, read, DESIGN.pieces(read))
    assert [(one.name, one.quantity) for one in used] == [("ribbon", 1), ("eyelet", 1)]


def test_a_tag_without_a_ribbon_takes_none() -> None:
    assert DESIGN.consumables(read_settings(DESIGN, {"ribbon": "0"}, Unit.CM)) == ()
