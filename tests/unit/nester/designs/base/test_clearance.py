from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.designs import DESIGNS, read_settings
from nester.designs.base.clearance import (
    Joint,
    Layer,
    Verdict,
    check_clearances,
    require_clearances,
    round_up_to_cuttable,
    smallest_clearance,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.thickness import PaperSpec, assumptions, thickness_by_role, thickness_of


def thick(role: str) -> Length:
    return {"tier.1": mm("0.4"), "tier.2": mm("0.2"), "nothing": 0}[role]


WALLS = (Layer("tier.1", 2), Layer("tier.2", 2))
"""A wall each side, each half a thickness from its score line: 0.4 + 0.2 mm."""


WISHED = mm(1)


def joint(room: Length, wished: Length = WISHED) -> Joint:
    return Joint("tier 2 in tier 1", room, WALLS, wished)


@pytest.mark.parametrize(
    ("room", "verdict", "sentence"),
    [
        (mm("1.8"), Verdict.FITS, "tier 2 in tier 1: 1.2 mm of play, 0.6 mm a side"),
        (mm("1.6"), Verdict.FITS, "tier 2 in tier 1: 1 mm of play, 0.5 mm a side"),
        (
            mm("1.6") - 1,
            Verdict.TIGHT,
            "tier 2 in tier 1: ≈1 mm of play, ≈0.5 mm a side; it opens and closes easily with 1 mm",
        ),
        (
            mm("0.6"),
            Verdict.TIGHT,
            "tier 2 in tier 1: 0 mm of play, 0 mm a side; it opens and closes easily with 1 mm",
        ),
        (mm("0.6") - 1, Verdict.BINDS, "tier 2 in tier 1: binds by less than 0.01 mm"),
        (mm("0.3"), Verdict.BINDS, "tier 2 in tier 1: binds by 0.3 mm"),
    ],
)
def test_the_play_decides_and_is_said(room: Length, verdict: Verdict, sentence: str) -> None:
    for unit in (Unit.MM, Unit.CM):
        (line,) = check_clearances([joint(room)], thick, unit)
        assert (line.verdict, line.message) == (verdict, sentence)
        assert line.play == room - mm("0.6")


def test_an_inch_shop_reads_inches() -> None:
    (line,) = check_clearances([Joint("card in pocket", inch("1/8"), (), 0)], thick, Unit.IN)
    assert line.message == "card in pocket: 1/8 in of play, 1/16 in a side"


def test_play_above_what_stands_on_a_floor_is_on_one_side() -> None:
    box = DESIGNS["drawer-box"]
    joints = box.joints(read_settings(box, {"room": "2mm"}, Unit.CM))
    across, upwards = check_clearances(joints, lambda _: mm("0.2"), Unit.CM)
    assert across.message == "drawer in sleeve, across: 1.6 mm of play, 0.8 mm a side"
    assert upwards.message == "drawer in sleeve, upwards: 1.5 mm of play"
    box = DESIGNS["layered-box"]
    joints = box.joints(read_settings(box, {"cards": "4"}, Unit.CM))
    one_sided = [joint.name for joint in joints if joint.one_sided]
    assert len(one_sided) == 5
    assert all(name.endswith(("upwards", "down")) for name in one_sided)
    (line,) = check_clearances([joint(mm("0.3"))], thick, Unit.IN)
    assert line.message == "tier 2 in tier 1: binds by less than 1/64 in"


def test_half_a_fine_unit_counts_against_the_play() -> None:
    odd = Joint("a", 10, (Layer("x", 1),), 0)
    assert odd.play(lambda _: 3) == 8


def test_what_binds_most_is_refused_with_what_would_help() -> None:
    joints = [joint(mm(5)), joint(mm("0.5")), Joint("lid over box", mm("0.2"), WALLS, mm(1))]
    with pytest.raises(DesignRefusal) as refusal:
        require_clearances(joints, thick, Unit.CM)
    assert str(refusal.value) == (
        "lid over box: binds by 0.4 mm; its clearance of 0.2 mm should be 2 mm,"
        " or the paper of tier.1 (0.4 mm) thinner"
    )


def test_what_binds_for_no_paper_says_only_the_room() -> None:
    with pytest.raises(DesignRefusal) as refusal:
        require_clearances([Joint("a in b", -mm(1), (Layer("nothing", 2),), 0)], thick, Unit.MM)
    assert str(refusal.value) == "a in b: binds by 1 mm; its clearance of 0 mm should be 0 mm"


def test_tight_joints_are_not_refused() -> None:
    lines = require_clearances([joint(mm("0.6")), joint(mm(9))], thick, Unit.MM)
    assert [line.verdict for line in lines] == [Verdict.TIGHT, Verdict.FITS]
    assert require_clearances([], thick, Unit.MM) == ()


@pytest.mark.parametrize("unit", Unit)
@pytest.mark.parametrize("wished", [0, 1, mm("0.9"), mm(1), inch("1/16")])
def test_the_smallest_room_leaves_the_wished_play_and_no_step_more(
    wished: Length, unit: Unit
) -> None:
    exact = smallest_clearance(WALLS, wished, thick)
    assert joint(exact).play(thick) == wished
    room = smallest_clearance(WALLS, wished, thick, unit)
    step = inch("1/32") if unit is Unit.IN else mm("0.5")
    assert room % step == 0
    assert room - step < exact <= room


def test_what_can_be_cut_stays_as_it_is() -> None:
    assert round_up_to_cuttable(mm("2.5"), Unit.CM) == mm("2.5")
    assert round_up_to_cuttable(mm("2.5") + 1, Unit.CM) == mm(3)
    assert round_up_to_cuttable(inch("5/32"), Unit.IN) == inch("5/32")
    assert round_up_to_cuttable(0, Unit.MM) == 0


def test_a_caliper_is_believed_and_nothing_assumed() -> None:
    assert thickness_of(PaperSpec(300, mm("0.41"))) == (mm("0.41"), "")


def test_without_a_caliper_the_assumption_is_said() -> None:
    thickness, said = thickness_of(PaperSpec(220))
    assert thickness == mm("0.286")
    assert said == (
        "paper of 220 g/m² with no thickness given is taken as 0.286 mm thick, at a bulk of"
        " 1.3 cm³/g"
    )
    assert (
        "≈0.073 mm thick, at a bulk of ≈0.333"
        in thickness_of(PaperSpec(220, bulk=Fraction(1, 3))).assumption
    )


def test_thickness_is_rounded_up_to_a_fine_unit() -> None:
    # 220 × 1/3 µm = 1760 fine units; 221 × 1/7 µm = 757.7…
    assert thickness_of(PaperSpec(220, bulk=Fraction(1, 3))).thickness == 1760
    assert thickness_of(PaperSpec(221, bulk=Fraction(1, 7))).thickness == 758


def test_a_role_answers_to_the_nearest_paper() -> None:
    papers = {"tier": PaperSpec(200), "tier.2": PaperSpec(200, mm("0.5")), "all": PaperSpec(100)}
    of = thickness_by_role(papers)
    assert of("tier.1") == mm("0.26")
    assert of("tier.2.pocket") == mm("0.5")
    assert of("lid") == mm("0.13")
    assert [said[:20] for said in assumptions({**papers, "lid": PaperSpec(100)})] == [
        "paper of 200 g/m² wi",
        "paper of 100 g/m² wi",
    ]


def test_a_role_without_a_paper_is_refused() -> None:
    with pytest.raises(DesignRefusal, match="no paper is chosen for 'lid'"):
        thickness_by_role({"tier": PaperSpec(200)})("lid")


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("g/m²", lambda: PaperSpec(0)),
        ("thickness", lambda: PaperSpec(200, 0)),
        ("bulk", lambda: PaperSpec(200, None, Fraction(-1))),
    ],
)
def test_paper_of_no_thickness_is_refused(name: str, make: object) -> None:
    with pytest.raises(DesignRefusal, match=f"the {name} of a paper must be more than zero"):
        make()  # type: ignore[operator]


def test_a_step_worked_out_lets_one_tier_into_the_next() -> None:
    step = smallest_clearance(WALLS, mm(1), thick, Unit.CM)
    assert step == mm(2)
    (line,) = check_clearances([joint(cm(18) - (cm(18) - step))], thick, Unit.CM)
    assert line.verdict is Verdict.FITS
