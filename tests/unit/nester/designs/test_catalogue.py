from __future__ import annotations

import pytest

from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm, inch, mm
from nester.core.piece import Fold, Line, Point
from nester.designs import DESIGNS, check_roles, paper_for, read_settings, roles_of
from nester.designs.base.clearance import Verdict, check_clearances, require_clearances
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.thickness import PaperSpec, thickness_by_role
from nester.designs.boxes.layered_box.tier import FLAPS, OPEN, tier
from nester.designs.parts.card_blanks import Opening, single_fold
from nester.designs.parts.lid import lid
from nester.designs.parts.tray import tray

LAYERED = DESIGNS["layered-box"]


def test_the_designs_are_listed_by_their_names() -> None:
    assert list(DESIGNS)[:2] == ["layered-box", "tray-box"]
    assert all(DESIGNS[name].name == name for name in DESIGNS)


def test_an_open_tier_is_a_plus_with_four_valley_folds() -> None:
    piece = tier(1, cm(2), OPEN)
    a, b, c = cm(2), cm(4), cm(6)
    assert set(piece.outline) == {
        (b, 0), (b, a), (c, a), (c, b), (b, b), (b, c), (a, c), (a, b), (0, b), (0, a), (a, a),
        (a, 0),
    }  # fmt: skip
    assert len(piece.outline) == 12
    assert [score.fold for score in piece.scores] == [Fold.VALLEY] * 4
    assert piece.slits == ()
    assert piece.glue == ()


def test_every_flap_hangs_on_one_wall_and_is_slit_from_the_next() -> None:
    piece = tier(1, cm(2), FLAPS)
    a, b, c = cm(2), cm(4), cm(6)
    folds = {frozenset(score.line) for score in piece.scores}
    slits = {frozenset(slit) for slit in piece.slits}
    assert len(folds) == 8
    assert len(slits) == 4
    walls_met = []
    for base, on_edge in (
        ((b, a), ((b, 0), (c, a))),
        ((b, b), ((c, b), (b, c))),
        ((a, b), ((a, c), (0, b))),
        ((a, a), ((0, a), (a, 0))),
    ):
        fold, slit = (frozenset((Point(*base), Point(*end))) for end in on_edge)
        assert fold in folds
        assert slit in slits
        walls_met.append((fold, slit))
    assert len(set(walls_met)) == 4


def test_a_tier_marks_where_the_next_is_glued() -> None:
    (seat,) = tier(1, cm(18), OPEN, cm(16)).glue
    assert (seat[0], seat[2]) == ((cm(19), cm(19)), (cm(35), cm(35)))


def test_a_tray_has_slanted_tabs_inside_its_corner_squares() -> None:
    piece = tray(cm(12), cm(8), cm(4), cm(1))
    assert (piece.width, piece.height) == (cm(20), cm(16))
    assert piece.glue[0] == (
        (cm(16), 0),
        (cm(17), cm(1)),
        (cm(17), cm(3)),
        (cm(16), cm(4)),
    )
    assert all(score.fold is Fold.MOUNTAIN for score in piece.scores)
    assert len(piece.scores) == 8
    assert len(piece.outline) == 20


def test_a_wide_tab_is_mitred_more_steeply_so_that_half_the_wall_is_glued() -> None:
    wide = tray(cm(12), cm(8), cm(4), cm(3)).glue[0]
    assert wide[1:3] == ((cm(19), cm(1)), (cm(19), cm(3)))


def test_a_lid_is_its_whole_blank_with_four_slits() -> None:
    piece = lid("lid", "lid", cm(12), cm(10), cm("0.5"), cm(3))
    assert (piece.width, piece.height) == (cm("18.5"), cm("16.5"))
    assert piece.is_rectangle
    assert piece.slits[0] == Line(Point(cm("18.5"), cm(3)), Point(cm("15.5"), cm(3)))
    assert len(piece.slits) == len(piece.glue) == 4


def test_a_card_folds_away_from_its_face() -> None:
    side, up = (single_fold(mm(105), mm(148), way) for way in Opening)
    assert (side.width, side.height) == (mm(210), mm(148))
    assert (up.width, up.height) == (mm(105), mm(296))
    assert side.scores[0].line == ((mm(105), 0), (mm(105), mm(148)))
    assert up.scores[0].line == ((0, mm(148)), (mm(105), mm(148)))
    assert side.scores[0].fold is Fold.MOUNTAIN


def test_mats_face_every_wall_and_lid() -> None:
    settings = read_settings(LAYERED, {"mats": "both", "tiers": "3", "panel": "12"}, Unit.CM)
    mats = [piece for piece in LAYERED.pieces(settings) if piece.role.startswith("mat")]
    assert sum(piece.quantity for piece in mats) == 3 * 8 + 1 + 2
    assert all(piece.upright for piece in mats)
    first = mats[0]
    assert (first.name, first.role, first.width) == ("mat 1 outside", "mat.1.outside", cm("11.5"))


def test_pull_out_cards_have_a_mat_on_each_side_asked_for() -> None:
    for sides, count in (("one", 3), ("both", 6)):
        texts = {"cards": "3", "card-size": "13.5", "card-mats": sides, "reveal": "0.4"}
        made = {p.role: p for p in LAYERED.pieces(read_settings(LAYERED, texts, Unit.CM))}
        assert made["card"].quantity == 3
        assert (made["card-mat"].quantity, made["card-mat"].width) == (count, cm("13.1"))


def test_a_reveal_of_nothing_gives_mats_as_large_as_their_panels() -> None:
    settings = read_settings(LAYERED, {"mats": "outside", "reveal": "0 cm"}, Unit.CM)
    assert {p.name: p.width for p in LAYERED.pieces(settings)}["mat 1 outside"] == cm(18)


def test_layered_mats_on_a_card_step_down_by_the_reveal() -> None:
    design = DESIGNS["folded-card"]
    texts = {"width": "10", "height": "15", "layers": "3", "reveal": "0.4", "mats": "both"}
    made = {p.name: p for p in design.pieces(read_settings(design, texts, Unit.CM))}
    assert [made[f"mat front {n}"].width for n in (1, 2, 3)] == [cm("9.6"), cm("9.2"), cm("8.8")]
    assert made["mat inside 1"].height == cm("14.6")


def test_the_tray_box_leaves_out_what_is_not_wanted() -> None:
    design = DESIGNS["tray-box"]
    made = design.pieces(read_settings(design, {"lid": "no"}, Unit.CM))
    assert [piece.name for piece in made] == ["tray"]
    full = read_settings(design, {"lid-mat": "yes", "base-mat": "yes"}, Unit.IN)
    assert roles_of(design.pieces(full)) == ("tray", "lid", "mat.lid", "mat.base")


def test_a_blank_stands_for_a_panel_and_is_not_kept() -> None:
    settings = read_settings(LAYERED, {"blank": "12", "blank-step": "1/2"}, Unit.IN)
    assert settings["panel"] == inch(4)
    assert settings["step"] == inch("1/6")
    assert "blank" not in settings


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        ({"panell": "3"}, "did you mean panel?"),
        ({"zzz": "3"}, "it knows panel, blank, tiers"),
        ({"panel": "18", "blank": "54"}, "give panel or blank, not both"),
        ({"panel": "x"}, "layered-box, panel: 'x' is not a size"),
        ({"panel": "-4"}, "more than zero"),
        ({"panel": "0"}, "more than zero"),
        ({"panel": "1mm"}, "from 1 cm to 100 cm"),
        ({"tiers": "9"}, "from 1 to 8"),
        ({"tiers": "4.0"}, "is not a whole number"),
        ({"tiers": "many"}, "is not a whole number"),
        ({"corners": "flap"}, "did you mean flaps?"),
        ({"blank": "50.00001cm"}, "finer than Quirebox measures"),
        ({"blank": "50 1/24 cm"}, "can't be divided exactly into 3 panels"),
        ({"step": "7"}, "the step may be at most 5.833 cm"),
        ({"tiers": "1", "centre": "tray"}, "use centre=cross"),
        ({"tiers": "1", "inner-lid": "yes"}, "leave one out"),
        ({"tray-depth": "14"}, "must be under 14 cm"),
        ({"tab": "13"}, "at most 12 cm"),
        ({"lid-clearance": "2", "step": "2"}, "under the step of 2 cm"),
        ({"lid-wall": "15"}, "at most 12 cm"),
        ({"step": "5", "tray-depth": "7", "lid-wall": "4"}, "at most 3.5 cm"),
        ({"mats": "both", "reveal": "12"}, "leaves no mat"),
        ({"cards": "4", "card-size": "14"}, "must be smaller"),
        ({"cards": "4", "card-tier": "5"}, "the box has 4 tiers"),
        ({"card-tier": "5"}, "the box has 4 tiers"),
        ({"corners-5": "open"}, "corners-5 is of a tier that doesn't exist; the box has 4 tiers"),
        ({"corners-4": "open"}, "corners-4 is of the tray"),
        ({"tiers": "1", "corners-2": "flaps"}, "the box has 1 tier"),
        ({"blank": "54", "wall": "5"}, "give wall or blank, not both"),
        ({"blank": "54", "length": "20"}, "give length or blank, not both"),
        ({"blank-step": "6", "wall-step": "2"}, "give wall-step or blank-step, not both"),
        ({"step": "fit"}, "fit is calculated from the thickness of the papers"),
        ({"panel": "fit"}, "'fit' is not a size"),
        ({"wall": "20", "corners": "flaps"}, "make the walls lower, or give corners-1=open"),
        ({"wall": "6", "wall-step": "2"}, "the wall-step may be at most 1.833 cm"),
        (
            {"corners": "pockets", "pocket-glue": "4.99", "tray-depth": "5", "wall": "5"},
            "no pocket",
        ),
        ({"cards": "4", "corners-3": "flaps"}, "cards need a tier with pockets: leave corners-3"),
        ({"cards": "4", "card-tier": "4"}, "tier 4 is the tray"),
        ({"cards": "4", "hole": "0.05"}, "smaller than a punch makes"),
        ({"cards": "4", "hole-edge": "13"}, "hole-edge may be at most 12.8 cm"),
        ({"cards": "4", "card-mats": "one", "reveal": "2", "hole-edge": "0.8"}, "at least 1 cm"),
        ({"cards": "4", "hole": "0", "eyelet": "yes"}, "an eyelet needs a hole"),
        ({"cards": "4", "hole": "0", "card-ribbon": "5"}, "card-ribbon needs a hole"),
        ({"bow": "90", "outer-lid": "no"}, "a bow needs an outer lid"),
        ({"mitre": "6"}, "must be under 6 cm"),
        ({"lid-tab": "3.1"}, "it may be at most 3 cm"),
        ({"outer-lid-tab": "0.01"}, "outer-lid-tab 0.01 cm is too narrow to glue"),
        ({"inner-lid-wall": "13"}, "inner-lid-wall 13 cm is too high for the inner lid"),
        ({"inner-lid-clearance": "2", "step": "2"}, "inner-lid-clearance must be under the step"),
        ({"layers": "3", "mats": "both", "reveal": "4"}, "leaves no mat 3"),
        ({"lid-strips": "yes", "reveal": "2.9"}, "it may be at most 2.8 cm"),
        ({"lid-strips": "yes", "inner-lid": "no", "outer-lid": "no"}, "lid-strips need a lid"),
        ({"cards": "4", "card-mats": "one", "reveal": "13.4"}, "leaves no mat on a card"),
        ({"photos": "4", "photo-size": "16.1"}, "larger than the walls of tier 2"),
        ({"photos": "4", "photo-tier": "8"}, "the box has 4 tiers"),
    ],
)
def test_what_cannot_be_made_is_refused_with_what_would_be_right(
    texts: dict[str, str], words: str
) -> None:
    with pytest.raises(DesignRefusal) as refused:
        read_settings(LAYERED, texts, Unit.CM)
    assert words in str(refused.value)
    assert str(refused.value).startswith("layered-box")
    assert isinstance(refused.value, Refusal)


@pytest.mark.parametrize(
    ("design", "texts", "words"),
    [
        ("tray-box", {"tab": "5"}, "at most 4 cm"),
        ("tray-box", {"lid-wall": "5"}, "at most 4 cm"),
        ("tray-box", {"depth": "20", "lid-wall": "11"}, "at most 10.3 cm"),
        ("tray-box", {"lid": "no", "lid-mat": "yes"}, "lid-mat needs a lid"),
        ("tray-box", {"base-mat": "yes", "reveal": "9.8"}, "at most 9.5 cm"),
        ("tray-box", {"lid": "no", "lid-strips": "yes"}, "lid-strips needs a lid"),
        ("tray-box", {"lid-strips": "yes", "reveal": "1.9"}, "at most 1.8 cm"),
        ("tray-box", {"mitre": "2"}, "must be under 2 cm"),
        ("tray-box", {"lid-tab": "2.1"}, "at most 2 cm"),
        ("tray-box", {"lid-clearance": "fit"}, "the thickness of the papers"),
        ("folded-card", {"layers": "4", "reveal": "2.6"}, "nothing of mat 4"),
    ],
)
def test_the_smaller_designs_refuse_too(design: str, texts: dict[str, str], words: str) -> None:
    with pytest.raises(DesignRefusal) as refused:
        read_settings(DESIGNS[design], texts, Unit.CM)
    assert words in str(refused.value)


def test_the_limit_a_refusal_names_is_accepted() -> None:
    for texts in (
        {"lid-wall": "12"},
        {"tab": "12"},
        {"tray-depth": "13.9"},
        {"photos": "1", "photo-size": "16"},
        {"step": "5", "tray-depth": "7", "lid-wall": "3.5"},
        {"step": "5", "tray-depth": "7"},
    ):
        assert LAYERED.pieces(read_settings(LAYERED, texts, Unit.CM))


def test_pieces_refuses_settings_that_did_not_come_from_reading() -> None:
    settings = read_settings(LAYERED, {}, Unit.CM)
    missing = {name: value for name, value in settings.items() if name != "step"}
    for wrong, words in (
        (missing, "'step' is missing"),
        ({**settings, "blank": cm(54)}, "no setting 'blank'"),
        ({**settings, "panel": "18cm"}, "is not a length"),
        ({**settings, "panel": True}, "is not a length"),
        ({**settings, "tiers": 0}, "from 1 to 8"),
        ({**settings, "centre": 4}, "not one of tray, cross"),
    ):
        with pytest.raises(DesignRefusal, match=words):
            LAYERED.pieces(wrong)


def test_the_nearest_role_names_the_paper() -> None:
    papers = {"tier": "black", "tier.2": "gold", "all": "white", "mat.1": "rose"}
    assert paper_for("tier.1", papers) == "black"
    assert paper_for("tier.2", papers) == "gold"
    assert paper_for("mat.1.inside", papers) == "rose"
    assert paper_for("tray", papers) == "white"
    assert paper_for("tray", {"tier": "black"}) is None


def test_every_piece_has_a_role_its_design_knows() -> None:
    everything = {"mats": "both", "cards": "2", "card-mats": "both", "photos": "3", "tiers": "8"}
    pieces = LAYERED.pieces(read_settings(LAYERED, everything, Unit.CM))
    check_roles(LAYERED, roles_of(pieces))
    assert {role.partition(".")[0] for role in roles_of(pieces)} == set(LAYERED.roles)
    assert len({piece.name for piece in pieces}) == len(pieces)


def test_an_unknown_role_is_refused() -> None:
    check_roles(LAYERED, {"all": "white", "tier.8": "black", "mat": "rose"})
    with pytest.raises(DesignRefusal, match="did you mean tier"):
        check_roles(LAYERED, {"tierr": "black"})
    with pytest.raises(DesignRefusal, match="it has tray, lid, mat and all"):
        check_roles(DESIGNS["tray-box"], {"photo": "gloss"})


WEIGHTS = (120, 160, 200, 250, 300, 350)
"""Usual weights of papers for boxes in g/m² (common practice, no source)."""
OPTIONS = (
    {}, {"mats": "outside"}, {"mats": "inside"}, {"mats": "both", "lid-strips": "yes"},
    {"corners": "flaps"}, {"mats": "both", "corners": "flaps"}, {"cards": "4", "card-mats": "both"},
    {"mats": "both", "corners": "pockets", "cards": "4"}, {"photos": "8", "mats": "both"},
    {"layers": "2", "mats": "both"},
)  # fmt: skip


@pytest.mark.parametrize("options", OPTIONS, ids=str)
@pytest.mark.parametrize("unit", [Unit.CM, Unit.IN])
def test_defaults_fit_at_every_panel_and_usual_weight(unit: Unit, options: dict[str, str]) -> None:
    panels = (
        ("6", "8", "12", "18", "30") if unit is Unit.CM else ("2 1/2", "3", "4", "6 1/16", "12")
    )
    for panel in panels:
        settings = read_settings(LAYERED, {"panel": panel, **options}, unit)
        for weight in WEIGHTS:
            thickness = thickness_by_role({"all": PaperSpec(weight)})
            checks = check_clearances(LAYERED.joints(settings), thickness, unit)
            assert [c.message for c in checks if c.verdict is not Verdict.FITS] == [], panel


@pytest.mark.parametrize("name", ["drawer-box", "tray-box", "pocket-card", "waterfall-card"])
@pytest.mark.parametrize("unit", [Unit.CM, Unit.IN])
def test_defaults_of_other_designs_fit_at_every_usual_weight(unit: Unit, name: str) -> None:
    design = DESIGNS[name]
    for weight in WEIGHTS:
        thickness = thickness_by_role({"all": PaperSpec(weight)})
        checks = check_clearances(design.joints(read_settings(design, {}, unit)), thickness, unit)
        assert checks
        assert {c.verdict for c in checks} == {Verdict.FITS}


def test_fit_is_the_smallest_for_each_lid_by_itself() -> None:
    texts = {"panel": "215mm", "tiers": "3", "corners-1": "flaps", "lid-clearance": "fit"}
    thickness = thickness_by_role({"all": PaperSpec(300)})
    half = mm("0.5")  # what a clearance is rounded up to
    for given in ({}, {"outer-lid-clearance": "8mm"}, {"inner-lid-clearance": "8mm"}):
        settings = read_settings(LAYERED, {**texts, **given}, Unit.MM, thickness)
        for name in ("inner lid", "outer lid"):
            if f"{name.replace(' ', '-')}-clearance" in given:
                continue
            (joint,) = [j for j in LAYERED.joints(settings) if j.name.startswith(f"{name} over")]
            assert 0 <= joint.play(thickness) - joint.required_play < half


@pytest.mark.parametrize(
    ("name", "texts", "said"),
    [
        ("layered-box", {"mats": "inside", "reveal": "0"}, "mats inside tier 1, between its walls"),
        ("layered-box", {"mats": "both", "reveal": "0.5mm"}, "mat on the base, between the walls"),
        ("layered-box", {"photos": "4", "photo-size": "16"}, "photos inside tier 2"),
        ("tray-box", {"base-mat": "yes", "reveal": "0"}, "mat on the base, between the walls"),
    ],
)
def test_what_is_wider_than_the_clear_width_between_walls_is_told(
    name: str, texts: dict[str, str], said: str
) -> None:
    design, thickness = DESIGNS[name], thickness_by_role({"all": PaperSpec(300)})
    settings = read_settings(design, texts, Unit.CM)
    checks = check_clearances(design.joints(settings), thickness, Unit.CM)
    binding = [c.message for c in checks if c.verdict is Verdict.BINDS]
    assert any(message.startswith(said) for message in binding), binding
    with pytest.raises(DesignRefusal, match="binds by"):
        require_clearances(design.joints(settings), thickness, Unit.CM)
