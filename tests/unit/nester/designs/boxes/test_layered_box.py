from __future__ import annotations

import pytest

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point
from nester.designs import DESIGNS, check_roles, paper_for, read_settings, roles_of
from nester.designs.base.clearance import Joint, Layer
from nester.designs.base.design import Consumable, Measure, SectionPart
from nester.designs.base.totals import consumables_of
from nester.designs.boxes.layered_box.tier import FLAPS, FLAPS_ANTICLOCKWISE, POCKETS, Pocket, tier
from nester.designs.parts.lid import lid

BOX = DESIGNS["layered-box"]
THIN = {
    "tier": mm("0.3"),
    "tray": mm("0.3"),
    "inner-lid": mm("0.4"),
    "outer-lid": mm("0.4"),
    "mat": mm("0.2"),
    "card": mm("0.3"),
    "card-mat": mm("0.2"),
    "photo": mm("0.25"),
}


def thin(role: str) -> Length:
    return THIN[role.partition(".")[0]]


def read(unit: Unit = Unit.CM, **texts: str) -> dict[str, int | str]:
    named = {name.replace("_", "-"): text for name, text in texts.items()}
    return read_settings(BOX, named, unit, thin)


def made(unit: Unit = Unit.CM, **texts: str) -> dict[str, Piece]:
    return {piece.name: piece for piece in BOX.pieces(read(unit, **texts), unit)}


def joints(**texts: str) -> dict[str, Joint]:
    return {joint.name: joint for joint in BOX.joints(read(**texts))}


def layers(joint: Joint) -> dict[str, int]:
    taken: dict[str, int] = {}
    for layer in joint.layers:
        taken[layer.role] = taken.get(layer.role, 0) + layer.half_thicknesses
    return taken


def test_a_pocket_is_cut_back_beside_the_base_and_the_next_wall() -> None:
    piece = tier(1, cm(10), POCKETS, length=cm(8), wall=cm(9), pocket=Pocket(mm(1), mm(3)))
    assert (piece.width, piece.height) == (cm(28), cm(26))
    # The top wall runs along the width of 10 cm: its pocket is as wide as the wall is high.
    top_right = (
        Point(cm(19) + cm("8.9"), 0),
        Point(cm(19) + cm("8.9"), cm("8.9")),
        Point(cm(19), cm("8.9")),
        Point(cm(19), cm(9)),
        Point(cm(28), cm(9)),
    )
    assert piece.outline[:5] == top_right
    # The right wall runs along the length of 8 cm: its pocket ends there.
    assert piece.outline[5] == Point(cm(28), cm(17) + cm("7.9"))
    assert piece.slits == ()
    assert [score.fold for score in piece.scores] == [Fold.VALLEY] * 8
    assert piece.scores[4].line == Line(Point(cm(19), cm("8.9")), Point(cm(19), 0))


def test_a_pocket_is_glued_along_the_base_and_opposite_its_fold() -> None:
    piece = tier(1, cm(10), POCKETS, wall=cm(9), pocket=Pocket(mm(1), mm(3)))
    beside_base, opposite = piece.glue[:2]
    right = cm(19) + cm("8.9")
    assert set(beside_base) == {
        (cm(19), cm("8.6")), (right, cm("8.6")), (right, cm("8.9")), (cm(19), cm("8.9")),
    }  # fmt: skip
    assert set(opposite) == {
        (right - mm(3), 0), (right, 0), (right, cm("8.6")), (right - mm(3), cm("8.6")),
    }  # fmt: skip
    assert len(piece.glue) == 8


def test_flaps_go_round_either_way() -> None:
    one, other = (
        tier(1, cm(6), way, length=cm(4), wall=cm(3)) for way in (FLAPS, FLAPS_ANTICLOCKWISE)
    )
    assert one.outline[0] == (0, 0)
    assert set(one.outline) == set(other.outline)
    assert {frozenset(slit) for slit in one.slits}.isdisjoint(
        frozenset(slit) for slit in other.slits
    )
    # Clockwise, the top wall keeps its right corner; anticlockwise, its left one.
    assert Line(Point(cm(9), cm(3)), Point(cm(9), 0)) in [score.line for score in one.scores]
    assert Line(Point(cm(3), cm(3)), Point(cm(3), 0)) in [score.line for score in other.scores]


def test_each_tier_may_have_its_own_corners() -> None:
    pieces = made(corners="flaps", corners_1="open", corners_2="flaps-anticlockwise")
    assert [len(pieces[f"tier {n}"].slits) for n in (1, 2, 3)] == [0, 4, 4]
    assert pieces["tier 2"].slits != pieces["tier 3"].slits


def test_the_tier_of_the_cards_has_pockets_and_no_other() -> None:
    assert len(made(cards="4")["tier 3"].glue) == 1 + 8
    assert len(made(cards="4")["tier 2"].glue) == 1
    assert len(made(cards="4", card_tier="2")["tier 2"].glue) == 1 + 8
    assert len(made()["tier 3"].glue) == 1


def test_an_oblong_box_with_low_walls() -> None:
    pieces = made(panel="18", length="12", wall="8", step="1", wall_step="0.3", mats="outside")
    sizes = {name: (piece.width, piece.height) for name, piece in pieces.items()}
    assert sizes["tier 1"] == (cm(18 + 16), cm(12 + 16))
    assert sizes["tier 3"] == (cm("16") + 2 * cm("7.4"), cm(10) + 2 * cm("7.4"))
    assert sizes["tray"] == (cm(15) + 2 * cm("7.1"), cm(9) + 2 * cm("7.1"))
    assert sizes["outer lid"] == (cm("18.5") + cm(6), cm("12.5") + cm(6))
    assert sizes["mat 1 outside"] == (cm("17.5"), cm("7.5"))
    assert sizes["mat 1 outside side"] == (cm("11.5"), cm("7.5"))
    assert pieces["mat 1 outside"].quantity == pieces["mat 1 outside side"].quantity == 2
    assert pieces["tier 1"].grain is pieces["tray"].grain is Grain.WIDTH
    assert made(panel="12", length="18")["outer lid"].grain is Grain.HEIGHT
    assert made()["outer lid"].grain is Grain.ANY


def test_low_walls_step_down_by_what_a_base_needs() -> None:
    assert read(wall="5")["wall-step"] == mm(2)
    assert read()["wall-step"] == cm(2)


def test_mats_lie_on_mats() -> None:
    pieces = made(mats="both", layers="3", reveal="0.4", cards="2", card_mats="one",
                  card_size="13.5")  # fmt: skip
    names = ("mat 1 outside", "mat 1 outside 2", "mat 1 outside 3")
    assert [pieces[name].width for name in names] == [cm("17.6"), cm("17.2"), cm("16.8")]
    assert pieces["mat 1 outside 3"].role == "mat.1.outside.3"
    assert pieces["pull-out card mat 3"].width == cm("13.5") - 3 * mm(4)
    assert pieces["mat outer lid 2"].role == "mat.outer-lid.2"
    check_roles(BOX, roles_of(pieces.values()))
    assert paper_for("mat.1.outside.3", {"mat": "a", "mat.1.outside": "b"}) == "b"


def test_inside_mats_of_pockets_are_as_their_fronts() -> None:
    pieces = made(mats="both", cards="4", reveal="0.5", pocket_trim="0.1")
    assert pieces["mat 3 inside"].width == cm("13.4")
    assert pieces["mat 3 outside"].width == cm("13.5")


def test_strips_go_round_the_walls_of_lids() -> None:
    pieces = made(lid_strips="yes", length="20", reveal="0.4", inner_lid_wall="2")
    assert (pieces["strip outer lid"].width, pieces["strip outer lid"].height) == (
        cm("18.5"), cm("2.6"),
    )  # fmt: skip
    assert pieces["strip outer lid side"].width == cm("20.5")
    assert pieces["strip inner lid"].height == cm("1.6")
    assert made(lid_strips="yes")["strip outer lid"].quantity == 4


def test_each_lid_may_have_its_own_sizes() -> None:
    pieces = made(lid_wall="2", outer_lid_wall="5", inner_lid_clearance="0.3", outer_lid_tab="1")
    assert pieces["inner lid"].width == cm("12.3") + cm(4)
    assert pieces["outer lid"].width == cm("18.5") + cm(10)
    assert pieces["inner lid"].is_rectangle
    assert len(pieces["outer lid"].outline) == 20


def test_a_lid_with_tabs_has_no_slits() -> None:
    piece = lid("lid", "lid", cm(12), cm(10), cm("0.5"), cm(3), cm(1))
    assert (piece.width, piece.height) == (cm("18.5"), cm("16.5"))
    assert piece.slits == ()
    assert piece.glue[0][1] == Point(cm("16.5"), mm("7.5"))


def test_the_mitre_of_the_tray_is_as_asked() -> None:
    tab = made(mitre="2")["tray"].glue[0]
    assert [point.y for point in tab] == [0, cm(2), cm(10), cm(12)]


def test_cards_and_their_mats_are_punched_in_one_place() -> None:
    pieces = made(cards="4", card_size="13.5", card_mats="both", layers="2", reveal="0.4",
                  hole="0.6", hole_edge="0.5", eyelet="yes")  # fmt: skip
    assert pieces["pull-out card"].holes == (Hole(Point(cm("6.75"), mm(8)), mm(6), eyelet=True),)
    assert pieces["pull-out card mat"].holes == (Hole(Point(cm("6.55"), mm(6)), mm(6)),)
    assert pieces["pull-out card mat 2"].holes == (Hole(Point(cm("6.35"), mm(4)), mm(6)),)


def test_a_mat_below_the_hole_stays_whole() -> None:
    pieces = made(cards="4", card_mats="one", reveal="3", hole="0.5", hole_edge="0.5")
    assert pieces["pull-out card"].holes
    assert pieces["pull-out card mat"].holes == ()


def test_ribbons_and_eyelets_are_counted() -> None:
    settings = read(cards="3", card_ribbon="10", bow="95", eyelet="yes", card_mats="both")
    assert BOX.consumables(settings) == (
        Consumable("ribbon", "loop of a pull-out card", Measure.LENGTH, cm(10), 3),
        Consumable("ribbon", "bow on the outer lid", Measure.LENGTH, cm(95)),
    )
    eyelets = [one for one in consumables_of(BOX, settings, BOX.pieces(settings))
               if one.name == "eyelet"]  # fmt: skip
    assert [one.amount * one.quantity for one in eyelets] == [3]
    assert BOX.consumables(read(bow="0")) == ()


def test_the_usual_bow_goes_over_the_lid_both_ways() -> None:
    # 18.5 + 18.5 over the lid, four walls of 3 cm, half a metre for the bow.
    assert BOX.consumables(read())[0].amount == cm(99)


def test_the_section_shows_what_stands_in_what() -> None:
    assert BOX.section(read(tiers="2", panel="10", step="1", tray_depth="5")) == (
        SectionPart("tier 1", "tier.1", cm(10), cm(10)),
        SectionPart("tray", "tray", cm(9), cm(5), nesting_depth=1),
        SectionPart("inner lid", "inner-lid", cm("9.5"), cm("2.5"), is_lid=True, nesting_depth=1),
        SectionPart("outer lid", "outer-lid", cm("10.5"), cm("2.5"), is_lid=True, nesting_depth=0),
    )


def test_two_bare_tiers_have_two_half_walls_each_between_them() -> None:
    found = joints(step="1", play="0.05")
    assert found["tier 2 in tier 1, across"] == Joint(
        "tier 2 in tier 1, across", cm(1), (Layer("tier.1", 2), Layer("tier.2", 2)), mm("0.5")
    )
    assert found["tier 2 in tier 1, across"].play(thin) == cm(1) - mm("0.6")
    assert "tier 2 in tier 1, along" not in found
    assert "tier 2 in tier 1, along" in joints(length="20")


def test_flaps_mats_photos_and_pockets_take_up_room() -> None:
    found = joints(mats="both", layers="2", corners_3="flaps", cards="4", card_tier="2",
                   card_mats="both", photos="6", photo_tier="3")  # fmt: skip
    assert layers(found["tier 3 in tier 2, across"]) == {
        "tier.2": 2 + 4, "mat.2.inside": 4, "mat.2.inside.2": 4, "card": 4,
        "card-mat": 8, "card-mat.2": 8,
        "tier.3": 2 + 4, "mat.3.outside": 4, "mat.3.outside.2": 4, "photo": 4,
    }  # fmt: skip
    assert layers(found["tray in tier 3, across"])["photo"] == 4
    assert layers(found["inner lid in tier 3, across"])["inner-lid"] == 2


@pytest.mark.parametrize(("cards", "half_sheets"), [(1, 4), (2, 4), (3, 4), (4, 4), (5, 8), (8, 8)])
def test_cards_are_spread_evenly_over_the_pockets(cards: int, half_sheets: int) -> None:
    found = joints(cards=str(cards))
    assert layers(found["tray in tier 3, across"])["card"] == half_sheets
    in_one = layers(found["pull-out card in its pocket, across"])["card"]
    assert in_one == 2 * -(-cards // 4)


def test_lids_have_a_tab_inside_each_wall() -> None:
    found = joints(mats="outside", lid_strips="yes", lid_clearance="0.4")
    over = found["outer lid over tier 1, across"]
    assert layers(over) == {"tier.1": 2, "mat.1.outside": 4, "outer-lid": 2 + 4}
    # 4 − 0.3 − 2 × 0.2 − 3 × 0.4 mm
    assert over.play(thin) == mm("2.1")
    assert layers(found["inner lid in tier 3, across"]) == {
        "tier.3": 2, "inner-lid": 2, "mat.inner-lid.strip": 4,
    }  # fmt: skip


def test_bases_lift_what_stands_on_them() -> None:
    found = joints(wall="10", wall_step="0.1", mats="outside")
    assert found["tier 3 below the rim of tier 2, upwards"].play(thin) == mm("0.7")
    # Three bases up: 0.15 + 0.3 + 0.3 + 0.15 mm; the lid of 0.4 mm and its mat of 0.2 mm.
    last = found["inner lid below the rim of tier 1, upwards"]
    assert last.nominal_clearance == mm(3)
    assert last.play(thin) == mm(3) - mm("0.9") - mm("0.6")


def test_a_step_worked_out_is_what_lies_between_and_the_play() -> None:
    # Between tiers 0.3 + 0.3 mm of walls and 1 mm of play; rounded up to half a mm: 2 mm.
    assert read(step="fit", inner_lid="no")["step"] == mm(2)
    # With a lid: its clearance of 5 mm, 0.3 + 0.4 mm of walls, and 1 mm.
    assert read(step="fit")["step"] == mm(7)
    # Both worked out: 0.3 + 1.2 + 1 → 2.5 mm over the tray; 2.5 + 0.7 + 1 → 4.5 mm.
    both = read(step=" Fit ", lid_clearance="fit")
    assert (both["lid-clearance"], both["step"]) == (mm("2.5"), mm("4.5"))
    assert read(Unit.IN, step="fit", inner_lid="no")["step"] == inch("1/16")


def test_said_sizes_count_wherever_they_stand_in_the_list() -> None:
    assert read(step="0.6")["lid-clearance"] == mm(4)
    assert read(step="fit", inner_lid_clearance="0.3")["step"] == mm(5)


def test_the_usual_inch_clearance_grows_with_what_lies_on_the_walls() -> None:
    # Sheets of 0.455 mm between box and lid, four two for each mat or flap, and 1/32 in of play.
    for texts, clearance in (
        ({}, "1/8"),
        ({"mats": "outside"}, "5/32"),
        ({"mats": "both", "layers": "2", "step": "1/2"}, "3/16"),
        ({"corners": "flaps"}, "5/32"),
        ({"mats": "outside", "layers": "4", "step": "1/6"}, "3/32"),  # two thirds of the step
    ):
        assert read(Unit.IN, **texts)["lid-clearance"] == inch(clearance)


def test_the_tray_box_fits_its_lid_and_counts_its_ribbon() -> None:
    design = DESIGNS["tray-box"]
    texts = {"width": "10", "length": "12", "depth": "4", "lid-clearance": "fit", "layers": "2",
             "lid-mat": "yes", "lid-strips": "yes", "reveal": "0.4", "lid-tab": "1"}  # fmt: skip

    def thickness(role: str) -> Length:
        return {"tray": mm("0.3"), "lid": mm("0.4")}[role]

    settings = read_settings(design, texts, Unit.CM, thickness)
    # 0.3 + 3 × 0.4 mm and 0.5 mm of play.
    assert settings["lid-clearance"] == mm(2)
    assert [joint.name for joint in design.joints(settings)] == [
        "lid over tray, across", "lid over tray, along",
    ]  # fmt: skip
    assert [joint.play(thickness) for joint in design.joints(settings)] == [mm("0.5")] * 2
    pieces = {piece.name: piece for piece in design.pieces(settings)}
    assert pieces["mat lid 2"].width == cm("10.2") - mm(8)
    assert pieces["strip lid side"].width == cm("12.2")
    check_roles(design, roles_of(pieces.values()))
    # Twice round 10 + 12 cm, four walls of 4 cm, half a metre for the bow.
    assert design.consumables(settings)[0].amount == cm(44 + 16 + 50)
    assert [part.name for part in design.section(settings)] == ["tray", "lid"]
    bare = read_settings(design, {"lid": "no", "ribbon": "0"}, Unit.CM)
    assert design.joints(bare) == design.consumables(bare) == ()
    assert len(design.section(bare)) == 1


def test_the_usual_step_of_an_inch_box_gives_sizes_a_ruler_shows() -> None:
    design = DESIGNS["layered-box"]
    for texts in ({}, {"length": "6"}, {"length": "6", "wall": "2"}, {"panel": "5", "wall": "3"}):
        for piece in design.pieces(read_settings(design, texts, Unit.IN)):
            if piece.name == "inner lid" and "wall" not in texts:
                continue  # it goes over a base that is smaller by thirds of what its blank is
            assert piece.width % inch("1/16") == piece.height % inch("1/16") == 0, piece.name
