"""For any sizes of the boxes and cards beside the layered box: right pieces, or a clear refusal."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import UNITS_PER_MM, Length, Unit, mm
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.designs import DESIGNS, SettingKind, check_roles, paper_for, read_settings, roles_of
from nester.designs.base.clearance import round_up_to_cuttable
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.folding import FoldedState, fold, fold_faults, lies_on
from nester.designs.boxes.folded_box import folded_base, folded_wall
from tests.folded_shapes import encloses
from tests.folded_shapes import extents as reach

Asked = tuple[dict[str, str], Unit]
NAMES = [name for name in DESIGNS if name not in ("layered-box", "tray-box")]
UNITS = st.sampled_from(list(Unit))
YES_NO = st.sampled_from(["yes", "no"])
PAPER = st.integers(mm("0.05"), mm("0.6"))
word = st.sampled_from


def size(draw: st.DrawFn, least: int, most: int) -> str:
    """Draw a length; both ends in tenths of a mm."""
    return f"{draw(st.integers(least, most)) / 10}mm"


def maybe(draw: st.DrawFn, texts: dict[str, str], name: str, least: int, most: int) -> None:
    if most >= least and draw(st.booleans()):
        texts[name] = size(draw, least, most)


@st.composite
def drawer_boxes(draw: st.DrawFn) -> Asked:
    width, length = draw(st.integers(200, 6000)), draw(st.integers(200, 6000))
    depth = draw(st.integers(100, 6000))
    texts = {"width": f"{width / 10}mm", "length": f"{length / 10}mm", "depth": f"{depth / 10}mm"}
    texts["pull"] = draw(word(["ribbon", "none"]))
    texts["eyelet"] = draw(YES_NO)
    texts["mats"] = draw(word(["none", "top", "front", "both"]))
    if texts["pull"] == "none":
        maybe(draw, texts, "tab", 10, min(width, length, depth))
    maybe(draw, texts, "room", 1, 500)
    maybe(draw, texts, "seam", 30, width)
    return texts, draw(UNITS)


@st.composite
def folded_boxes(draw: st.DrawFn) -> Asked:
    texts = {"base": size(draw, 200, 5000), "lid": draw(YES_NO)}
    texts["lid-mat"] = draw(YES_NO) if texts["lid"] == "yes" else "no"
    maybe(draw, texts, "lid-clearance", 1, 500)
    maybe(draw, texts, "round-to", 1, 200)
    return texts, draw(UNITS)


def card_sides(draw: st.DrawFn) -> dict[str, str]:
    form = draw(word(["own", "own", "A7", "a6", "a5", "A4", "DL"]))
    if form != "own":
        return {"format": form}
    return {name: size(draw, 100, 10_000) for name in ("width", "height")}


@st.composite
def folded_cards(draw: st.DrawFn) -> Asked:
    texts = card_sides(draw)
    texts["opens"] = draw(word(["side", "up"]))
    texts["mats"] = draw(word(["none", "front", "inside", "both"]))
    texts["layers"] = str(draw(st.integers(1, 4)))
    texts["envelope"] = draw(YES_NO)
    maybe(draw, texts, "envelope-play", 0, 500)
    return texts, draw(UNITS)


@st.composite
def gatefold_cards(draw: st.DrawFn) -> Asked:
    texts = {name: size(draw, 300, 10_000) for name in ("width", "height")}
    if draw(st.booleans()):
        texts = {"format": draw(word(["a7", "a6", "a5", "a4", "dl"]))}
    texts["opens"] = draw(word(["side", "up"]))
    texts["closing"] = draw(word(["none", "ribbon"]))
    texts["eyelet"] = draw(YES_NO)
    texts["mats"] = draw(word(["none", "gates", "inside", "both"]))
    texts["envelope"] = draw(YES_NO)
    maybe(draw, texts, "gap", 1, 30)
    return texts, draw(UNITS)


@st.composite
def accordion_cards(draw: st.DrawFn) -> Asked:
    width = draw(st.integers(100, 9000))
    texts = {"panels": str(draw(st.integers(2, 40))), "width": f"{width / 10}mm"}
    texts["height"] = size(draw, 100, 10_000)
    texts["covers"] = draw(YES_NO)
    texts["mats"] = draw(word(["none", "front", "back", "both"]))
    maybe(draw, texts, "longest", width * 3 // 2 + 1, 20_000)
    return texts, draw(UNITS)


@st.composite
def waterfall_cards(draw: st.DrawFn) -> Asked:
    width, height = draw(st.integers(200, 3000)), draw(st.integers(200, 3000))
    texts = {"flap-width": f"{width / 10}mm", "flap-height": f"{height / 10}mm"}
    texts["flaps"] = str(draw(st.integers(2, 12)))
    texts["mats"] = draw(word(["none", "front", "both"]))
    maybe(draw, texts, "pitch", 50, height - 50)
    maybe(draw, texts, "strip", 100, width)
    maybe(draw, texts, "band", 50, height)
    maybe(draw, texts, "band-room", 1, 500)
    return texts, draw(UNITS)


@st.composite
def pocket_cards(draw: st.DrawFn) -> Asked:
    width, height = draw(st.integers(200, 6000)), draw(st.integers(200, 6000))
    texts = {"width": f"{width / 10}mm", "height": f"{height / 10}mm"}
    texts["mats"] = draw(word(["none", "one", "both"]))
    texts["eyelet"] = draw(YES_NO)
    deep = draw(st.integers(100, height))
    texts["deep"] = f"{deep / 10}mm"
    maybe(draw, texts, "tab", 20, min(width, deep) // 3)
    maybe(draw, texts, "room", 1, 500)
    return texts, draw(UNITS)


@st.composite
def envelopes(draw: st.DrawFn) -> Asked:
    form = draw(word(["own", "own", "C7", "c6", "c5", "c4", "DL"]))
    if form != "own":
        return {"format": form}, draw(UNITS)
    width, height = draw(st.integers(200, 12_000)), draw(st.integers(200, 12_000))
    texts = {"width": f"{width / 10}mm", "height": f"{height / 10}mm"}
    maybe(draw, texts, "flap", 20, height)
    maybe(draw, texts, "tab", 20, width // 2)
    return texts, draw(UNITS)


@st.composite
def gift_tags(draw: st.DrawFn) -> Asked:
    width, length = draw(st.integers(150, 5000)), draw(st.integers(150, 5000))
    texts = {"width": f"{width / 10}mm", "length": f"{length / 10}mm"}
    texts["eyelet"] = draw(YES_NO)
    texts["mats"] = draw(word(["none", "front", "both"]))
    maybe(draw, texts, "clip", 1, min(width, length) // 4)
    return texts, draw(UNITS)


VALID: dict[str, st.SearchStrategy[Asked]] = {
    "drawer-box": drawer_boxes(),
    "folded-box": folded_boxes(),
    "folded-card": folded_cards(),
    "gatefold-card": gatefold_cards(),
    "accordion-card": accordion_cards(),
    "waterfall-card": waterfall_cards(),
    "pocket-card": pocket_cards(),
    "envelope": envelopes(),
    "gift-tag": gift_tags(),
}


def make(name: str, asked: Asked) -> tuple[dict[str, int], dict[str, Piece]]:
    read = read_settings(DESIGNS[name], *asked)
    numbers = {key: value for key, value in read.items() if isinstance(value, int)}
    return numbers, {piece.name: piece for piece in DESIGNS[name].pieces(read)}


# ---- every design ------------------------------------------------------------------------------


def sides(polygon: tuple[Point, ...]) -> list[Line]:
    return [Line(a, b) for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True)]


def holds(polygon: tuple[Point, ...], x: int, y: int) -> bool:
    """Say whether a place, in quarters of a fine unit, is inside a polygon or on its edge."""
    odd = False
    for (ax, ay), (bx, by) in sides(polygon):
        turn = (bx - ax) * (y - 4 * ay) - (by - ay) * (x - 4 * ax)
        low_x, high_x, low_y, high_y = min(ax, bx), max(ax, bx), min(ay, by), max(ay, by)
        if turn == 0 and 4 * low_x <= x <= 4 * high_x and 4 * low_y <= y <= 4 * high_y:
            return True
        if (4 * ay > y) != (4 * by > y) and (turn > 0) == (by > ay):
            odd = not odd
    return odd


def lies_within(piece: Piece, line: Line) -> bool:
    (x1, y1), (x2, y2) = line
    return all(
        holds(piece.outline, 4 * x1 + k * (x2 - x1), 4 * y1 + k * (y2 - y1)) for k in range(5)
    )


def web(piece: Piece, centre: Point, diameter: Length) -> bool:
    """Say whether at least 2 mm of paper stay round a hole, square to every side."""
    radius = diameter / 2 + mm(2) - 1  # a fine unit for odd widths
    for (ax, ay), (bx, by) in sides(piece.outline):
        dx, dy = bx - ax, by - ay
        beside = (dx * (centre.y - ay) - dy * (centre.x - ax)) / (dx * dx + dy * dy) ** 0.5
        if beside < radius:
            return False
    return True


def marks_are_on_the_paper(piece: Piece) -> None:
    assert sum(a.x * b.y - b.x * a.y for a, b in sides(piece.outline)) > 0, "anticlockwise"
    assert len(set(piece.outline)) == len(piece.outline)
    lines = [score.line for score in piece.scores] + list(piece.slits)
    lines += [side for area in piece.glue for side in sides(area)]
    for line in lines:
        assert line.start != line.end
        assert lies_within(piece, line), (piece.name, line)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_valid_sizes_give_pieces_marks_and_joints(name: str, data: st.DataObject) -> None:
    design, asked = DESIGNS[name], data.draw(VALID[name])
    read = read_settings(design, *asked)
    pieces = design.pieces(read)
    assert len({piece.name for piece in pieces}) == len(pieces)
    check_roles(design, roles_of(pieces))
    for piece in pieces:
        marks_are_on_the_paper(piece)
        assert min(piece.width, piece.height) >= mm("0.5")
        for hole in piece.holes:
            if name != "drawer-box":  # its front is only a part of the piece
                assert web(piece, hole.centre, hole.diameter)
    papers = {role: role for role in roles_of(pieces)}
    for joint in design.joints(read):
        assert joint.nominal_clearance > 0
        assert joint.required_play >= 0
        assert joint.play(lambda _: 0) == joint.nominal_clearance
        assert all(paper_for(layer.role, papers) for layer in joint.layers), joint
    assert all(one.amount > 0 and one.quantity > 0 for one in design.consumables(read))
    assert all(min(part.width, part.height) > 0 for part in design.section(read))


FITTING = [name for name in NAMES if any(s.fitted_length for s in DESIGNS[name].settings)]


@pytest.mark.parametrize("name", FITTING)
@settings(max_examples=40, deadline=None)
@given(data=st.data(), paper=PAPER)
def test_a_length_worked_out_leaves_the_play_wished_for(
    name: str, data: st.DataObject, paper: Length
) -> None:
    design, (texts, unit) = DESIGNS[name], data.draw(VALID[name])
    worked_out = [setting.name for setting in design.settings if setting.fitted_length]
    fitted = {**texts, **dict.fromkeys(worked_out, "fit")}
    read = read_settings(design, fitted, unit, lambda _: paper)
    plays = [(joint, joint.play(lambda _: paper)) for joint in design.joints(read)]
    assert all(play >= joint.required_play for joint, play in plays)
    if plays and name != "folded-box":  # there, squares in whole steps leave more
        spare = min(play - joint.required_play for joint, play in plays)
        assert spare < round_up_to_cuttable(1, unit) or read[worked_out[0]] == mm("0.1")


# ---- what can't be made ------------------------------------------------------------------------

BAD = [
    "", " ", "-1", "nan", "inf", "1e3", "99999", "11m", "3 furlongs", "1/0", "½½", "١٢", "\x00",
    "5" * 50, "yes please", "1,000", "--", "0.0000001", "\N{BULLET}", "{}", "a" * 500,
]  # fmt: skip

ONE_LINE = st.text(st.characters(exclude_categories=("C", "Z")), max_size=20)

RULES: dict[str, list[tuple[dict[str, str], str]]] = {
    "drawer-box": [
        ({"tab": "25mm", "depth": "24mm"}, "tab"),
        ({"seam": "9cm", "room": "1mm", "width": "8cm"}, "seam"),
        ({"hole": "27mm", "depth": "3cm"}, "hole"),
        ({"tab": "39mm", "depth": "5cm"}, "hole"),
        ({"depth": "3cm", "mats": "front", "reveal": "26mm"}, "reveal"),
    ],
    "folded-box": [
        ({"round-to": "1/16 in"}, "round-to"),
        ({"lid": "no", "lid-mat": "yes"}, "lid-mat"),
        ({"base": "5cm", "lid-clearance": "1mm", "lid-mat": "yes", "reveal": "54mm"}, "reveal"),
    ],
    "folded-card": [
        ({"format": "a6", "width": "10cm"}, "format a6"),
        ({"layers": "4", "reveal": "26mm"}, "mat 4"),
        ({"envelope": "yes", "height": "148mm", "envelope-width": "148mm"}, "envelope-width"),
        ({"envelope": "yes", "width": "105mm", "envelope-height": "105mm"}, "envelope-height"),
        ({"envelope": "yes", "format": "a6", "envelope-flap": "115mm"}, "envelope-flap"),
        ({"envelope": "yes", "format": "a6", "envelope-tab": "82mm"}, "envelope-tab"),
    ],
    "gatefold-card": [
        ({"width": "10cm", "gap": "96mm"}, "gap"),
        ({"closing": "ribbon", "width": "3cm", "hole-edge": "12mm"}, "hole"),
        ({"mats": "gates", "width": "10cm", "reveal": "45mm"}, "reveal"),
        ({"format": "dl", "height": "20cm"}, "format dl"),
        (
            {"envelope": "yes", "width": "9cm", "height": "9cm", "envelope-width": "9cm"},
            "envelope-width",
        ),
    ],
    "accordion-card": [
        ({"width": "5cm", "hinge": "51mm"}, "hinge"),
        ({"width": "10cm", "longest": "11cm"}, "longest"),
        ({"mats": "back", "width": "3cm", "reveal": "26mm"}, "reveal"),
    ],
    "waterfall-card": [
        ({"flap-height": "5cm", "pitch": "46mm"}, "pitch"),
        ({"flap-width": "5cm", "strip": "51mm"}, "strip"),
        ({"strip": "4cm", "tab": "41mm"}, "tab"),
        ({"flap-height": "5cm", "band": "51mm"}, "band"),
        ({"flap-width": "7cm", "card-width": "7.1cm"}, "card-width"),
        ({"card-height": "16cm"}, "card-height"),
        ({"mats": "both", "reveal": "66mm"}, "reveal"),
    ],
    "pocket-card": [
        ({"height": "5cm", "deep": "51mm"}, "deep"),
        ({"deep": "2cm", "tab": "21mm"}, "tab"),
        ({"height": "3cm", "hole-edge": "25mm"}, "hole"),
        ({"width": "10cm", "mats": "one", "reveal": "96mm"}, "reveal"),
    ],
    "envelope": [
        ({"format": "c6", "width": "20cm"}, "format c6"),
        ({"height": "10cm", "flap": "101mm"}, "flap"),
        ({"width": "10cm", "tab": "51mm"}, "tab"),
    ],
    "gift-tag": [
        ({"width": "5cm", "clip": "24mm"}, "clip"),
        ({"width": "5cm", "length": "9cm", "hole-edge": "87mm"}, "hole"),
        ({"width": "5cm", "clip": "2cm", "hole-edge": "2mm", "hole": "22mm"}, "clip"),
        ({"mats": "front", "reveal": "1cm"}, "reveal"),
        ({"mats": "both", "clip": "22mm"}, "clip"),
    ],
}  # fmt: skip


def refusal_of(deed: Callable[[], object]) -> str:
    with pytest.raises(DesignRefusal) as refused:
        deed()
    return str(refused.value)


def is_clear(said: str, name: str) -> None:
    assert said.startswith(name)
    assert "\n" not in said
    assert 20 < len(said) < 300


@pytest.mark.parametrize(
    ("name", "texts", "words"),
    [(name, texts, words) for name, rules in RULES.items() for texts, words in rules],
)
@pytest.mark.parametrize("unit", list(Unit))
def test_every_rule_refuses_and_names_what_it_is_about(
    name: str, texts: dict[str, str], words: str, unit: Unit
) -> None:
    said = refusal_of(lambda: read_settings(DESIGNS[name], texts, unit))
    is_clear(said, name)
    assert words in said


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_invalid_sizes_are_refused_and_nothing_else(name: str, data: st.DataObject) -> None:
    design, (texts, unit) = DESIGNS[name], data.draw(VALID[name])
    setting = data.draw(word(design.settings))
    wrong = [st.sampled_from(BAD)]
    if setting.kind is SettingKind.LENGTH:
        wrong.append(
            st.integers(setting.maximum + 24, mm(9999)).map(lambda n: f"{n // 24 / 1000}mm")
        )
        if setting.minimum > mm("0.1"):
            below = st.integers(1, setting.minimum // 24 - 1)
            wrong.append(below.map(lambda n: f"{n / 1000}mm"))
    elif setting.kind is SettingKind.COUNT:
        wrong.append(st.integers(setting.maximum + 1, 999_999).map(str))
        wrong.append(st.integers(0, setting.minimum - 1).map(str))
    else:
        known = setting.choices
        wrong.append(ONE_LINE.filter(lambda t: t.strip().casefold() not in known))
    bad = data.draw(st.one_of(wrong))
    said = refusal_of(lambda: read_settings(design, {**texts, setting.name: bad}, unit))
    is_clear(said, name)
    assert setting.name in said


# ---- what the formulas say ---------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(drawer_boxes())
def test_a_sleeve_is_larger_than_its_drawer_by_the_room(asked: Asked) -> None:
    given_, made = make("drawer-box", asked)
    room = given_["room"]
    sleeve, drawer = made["sleeve"], made["tray"]
    folds = [score.line.start.x for score in sleeve.scores]
    across, upwards = given_["width"] + room, given_["depth"] + room
    assert [b - a for a, b in pairwise([0, *folds])] == [across, upwards] * 2
    assert sleeve.width == 2 * (across + upwards) + given_["seam"]
    assert sleeve.height == drawer.height - 2 * given_["depth"] == given_["length"]
    for hole in drawer.holes:
        assert hole.centre.y + hole.diameter / 2 < drawer.height
        assert hole.centre.y - hole.diameter / 2 > given_["depth"] + given_["length"]


@settings(max_examples=100, deadline=None)
@given(folded_boxes())
def test_a_folded_box_has_the_smallest_square_that_gives_its_base(asked: Asked) -> None:
    given_, made = make("folded-box", asked)
    step, box = given_["round-to"], made["box"].width
    for side, base in ((box, given_["base"]),):
        assert 2 * side * side >= (4 * base) ** 2
        assert 2 * (side - step) ** 2 < (4 * base) ** 2
        assert side % step == 0
        assert folded_base(side) >= base
    if "lid" in made:
        wider = made["lid"].width - box
        assert 2 * wider**2 >= (4 * given_["lid-clearance"]) ** 2 > 2 * (wider - step) ** 2


@settings(max_examples=100, deadline=None)
@given(accordion_cards())
def test_strips_hold_all_panels_and_folds_alternate(asked: Asked) -> None:
    given_, made = make("accordion-card", asked)
    width, panels = given_["width"], given_["panels"]
    strips = [piece for name, piece in made.items() if name.startswith("strip")]
    assert all(strip.width <= given_["longest"] for strip in strips)
    assert all(len(strip.glue) == 1 for strip in strips[:-1])
    assert not strips[-1].glue
    assert sum(strip.width // width for strip in strips[:-1]) * width == sum(
        strip.width - given_["hinge"] for strip in strips[:-1]
    ) or width == given_["hinge"]  # fmt: skip
    folds = [score.fold for strip in strips for score in strip.scores]
    assert folds == [Fold.MOUNTAIN if at % 2 else Fold.VALLEY for at in range(panels - 1)]
    if len(strips) > 1:  # one strip fewer could not hold them
        hinged = (given_["longest"] - given_["hinge"]) // width
        assert (len(strips) - 2) * hinged + given_["longest"] // width < panels
        counts = [len(strip.scores) for strip in strips[:-1]] + [len(strips[-1].scores) + 1]
        assert max(counts) - min(counts) <= 1
    covered = 2 if asked[0]["covers"] == "yes" else 0
    mats = sum(piece.quantity for name, piece in made.items() if name.startswith("mat"))
    if asked[0]["mats"] == "both":
        assert mats == 2 * panels - covered


@settings(max_examples=60, deadline=None)
@given(waterfall_cards())
def test_a_waterfall_strip_is_as_long_as_its_flaps_and_its_tail(asked: Asked) -> None:
    given_, made = make("waterfall-card", asked)
    flaps, high, pitch = given_["flaps"], given_["flap-height"], given_["pitch"]
    shown = high + (flaps - 1) * pitch
    strip, card, band = made["base strip"], made["card"], made["belly band"]
    assert strip.height == 2 * shown + given_["grip"]
    folds = [score.line.start.y for score in strip.scores]
    assert folds[0] == shown + given_["grip"]
    assert [b - a for a, b in pairwise(folds)] == [pitch] * (flaps - 1)
    assert strip.height - folds[-1] == high
    # At rest the tail lies behind all that shows, and stands out below by the grip.
    at_rest = reach(fold(strip, base=(strip.width // 2, strip.height)).polygons)
    assert at_rest == near(in_mm(strip.width), in_mm(shown + given_["grip"]), 0)
    left, right = card.glue
    assert left[0].x >= card.width // 2
    # Flaps as well as the strip pass between the ends of the band, and it has what it rises by.
    passage, apart = given_["flap-width"] + given_["band-room"], right[0].x - left[1].x
    assert apart == min(passage, given_["flap-width"] + given_["play"])
    assert band.width == passage + 2 * given_["band-end"]
    edge = left[0].y  # the band's upper edge, over which the tail is folded
    assert edge >= high - pitch
    assert card.height - edge >= shown
    assert made["flap"].quantity == flaps


@settings(max_examples=60, deadline=None)
@given(envelopes())
def test_an_envelopes_flap_lies_on_its_back(asked: Asked) -> None:
    given_, made = make("envelope", asked)
    envelope, flap, height = made["envelope"], given_["flap"], given_["height"]
    assert envelope.width == given_["width"] + 2 * given_["tab"]
    back = envelope.height - flap - height
    assert back <= height
    assert 4 * (flap + back - height) >= 3 * flap - 3


@settings(max_examples=60, deadline=None)
@given(gatefold_cards())
def test_gates_meet_but_for_the_gap(asked: Asked) -> None:
    given_, made = make("gatefold-card", asked)
    side = asked[0]["opens"] == "side"
    across = given_["width"] if side else given_["height"]
    card = made["card"]
    blank = card.width if side else card.height
    assert across - (blank - across) - given_["gap"] in (0, 1)
    assert len(card.scores) == 2
    assert len(card.holes) == (2 if asked[0]["closing"] == "ribbon" else 0)


# ---- folded in space ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_pieces_fold_up_by_their_own_angles(name: str, data: st.DataObject) -> None:
    for asked in ({}, Unit.CM), ({}, Unit.IN), data.draw(VALID[name]):
        _, made = make(name, asked)
        assert [f for piece in made.values() for f in fold_faults(piece, 0, Unit.MM)] == []


EXACT = 1e-6
"""Rounding of floats, in mm."""


def in_mm(length: Length) -> float:
    return length / UNITS_PER_MM


def near(*values: float) -> tuple[float, ...]:
    return tuple(pytest.approx(value, abs=1e-4) for value in values)


def facet_at(folded: FoldedState, x: float, y: float) -> int:
    """Return the facet that holds a place of the flat piece, in fine units."""
    (found,) = [at for at, one in enumerate(folded.facets) if one.contains((round(x), round(y)))]
    return found


@settings(max_examples=15, deadline=None)
@given(drawer_boxes())
def test_a_drawers_walls_meet_and_its_sleeve_closes_round_it(asked: Asked) -> None:
    given_, made = make("drawer-box", asked)
    width, length, depth, room, seam = (
        given_[name] for name in ("width", "length", "depth", "room", "seam")
    )
    drawer, sleeve = made["tray"], made["sleeve"]
    assert fold_faults(drawer, 0, Unit.MM) == ()
    assert reach(fold(drawer).polygons) == near(in_mm(width), in_mm(length), in_mm(depth))
    folded = fold(sleeve, base=(1, length // 2))
    inner = in_mm(width + room), in_mm(depth + room)
    assert reach(folded.polygons) == near(inner[0], in_mm(length), inner[1])
    bottom = facet_at(folded, 1, length // 2)
    tab = facet_at(folded, sleeve.width - seam / 2, length // 2)
    assert lies_on(folded.polygons[tab], folded.polygons[bottom], EXACT)
    # The last fold comes to lie on the first edge.
    assert folded.polygons[tab][:, 0].min() == pytest.approx(0, abs=1e-4)
    assert fold_faults(sleeve, 0, Unit.MM) == ()


@settings(max_examples=15, deadline=None)
@given(accordion_cards())
def test_an_accordion_folds_flat_onto_one_panel(asked: Asked) -> None:
    given_, made = make("accordion-card", asked)
    panel = in_mm(given_["width"]), in_mm(given_["height"])
    for name, strip in made.items():
        if name.startswith("strip"):
            folded = fold(strip, base=(1, 1))
            assert reach(folded.polygons) == near(*panel, 0)
            first = folded.polygons[facet_at(folded, 1, 1)]
            assert all(lies_on(shape, first, EXACT) for shape in folded.polygons)


@settings(max_examples=15, deadline=None)
@given(envelopes())
def test_an_envelopes_flaps_lie_within_its_front(asked: Asked) -> None:
    given_, made = make("envelope", asked)
    envelope = made["envelope"]
    middle = (envelope.width // 2, given_["flap"] + given_["height"] // 2)
    folded = fold(envelope, base=middle)
    assert len(folded.facets) == 5
    front = folded.polygons[folded.base]
    assert all(lies_on(shape, front, EXACT) for shape in folded.polygons)
    assert reach(folded.polygons) == near(in_mm(given_["width"]), in_mm(given_["height"]), 0)


@settings(max_examples=15, deadline=None)
@given(gatefold_cards())
def test_gates_lie_on_the_back_and_not_on_each_other(asked: Asked) -> None:
    _, made = make("gatefold-card", asked)
    folded = fold(made["card"])
    back = folded.polygons[folded.base]
    gates = [folded.polygons[at] for at in folded.walls]
    assert len(gates) == 2
    assert all(lies_on(gate, back, EXACT) for gate in gates)
    axis = 0 if asked[0]["opens"] == "side" else 1
    low, high = sorted(gates, key=lambda gate: gate[:, axis].mean())
    assert low[:, axis].max() <= high[:, axis].min() + EXACT


@settings(max_examples=15, deadline=None)
@given(pocket_cards())
def test_a_pockets_tabs_lie_behind_it(asked: Asked) -> None:
    given_, made = make("pocket-card", asked)
    pocket = made["pocket"]
    folded = fold(pocket, base=(pocket.width // 2, given_["deep"] // 2))
    tabs = [shape for at, shape in enumerate(folded.polygons) if at != folded.base]
    assert len(tabs) == 3
    assert all(lies_on(tab, folded.polygons[folded.base], EXACT) for tab in tabs)
    # None over another: in the lower right corner two part along the line at 45°.
    tab, deep = in_mm(given_["tab"]), in_mm(given_["deep"])
    right = in_mm(pocket.width) - tab
    at_the_right = [shape for shape in tabs if shape[:, 0].max() > right - EXACT]
    assert len(at_the_right) == 2
    for shape in at_the_right:
        beyond = (right - shape[:, 0]) - (shape[:, 1] + deep)
        assert beyond.min() >= -EXACT or beyond.max() <= EXACT


def places(square: Length, line: Line) -> set[tuple[int, int]]:
    """Return the ends of a fold as distances from the middle along the diagonals, in eighths."""
    half, eighth = square // 2, square // 8
    ends = [((p.x - half) // eighth, (p.y - half) // eighth) for p in line]
    return {((x + y) // 2, (y - x) // 2) for x, y in ends}


def folded_up(square: Length) -> Callable[[Score], float]:
    """Tell how far each fold of a box's square is folded."""

    def degrees(score: Score) -> float:
        (u1, v1), (u2, v2) = places(square, score.line)
        if u1 != u2 and v1 != v2:
            return 180  # the paper left over at a corner
        away = abs(u1) if u1 == u2 else abs(v1)
        if away == 2:
            return 180  # the rim
        # Paper left over stands round the corner from u = ±1, and lies against v = ±1.
        return 180 if v1 == v2 and 3 in (abs(u1), abs(u2)) and away == 1 else 90

    return degrees


def layers_at(folded: FoldedState, square: Length, u: float, v: float) -> int:
    """Count the layers of a wall, half way up, over a place of the side of the base."""
    half, eighth = in_mm(square) / 2, in_mm(square) / 8
    spot = np.array([half + (u - v) * eighth, -half - (u + v) * eighth, -eighth / 2**0.5])
    along = np.array([1.0, 1.0, 0.0]) if abs(u) == 1 else np.array([1.0, -1.0, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    patch = spot + 0.01 * eighth * np.array([-along - up, along - up, along + up, -along + up])
    return sum(lies_on(patch, shape, 1e-4) for shape in folded.polygons)


@settings(max_examples=15, deadline=None)
@given(folded_boxes())
def test_a_folded_box_closes(asked: Asked) -> None:
    _, made = make("folded-box", asked)
    for name in ("box", "lid"):
        if name not in made:
            continue
        square = made[name].width
        degrees = folded_up(square)
        assert all(score.degrees == degrees(score) for score in made[name].scores)
        folded = fold(made[name])
        assert folded.closure_error < 1e-4
        base, wall = in_mm(folded_base(square)), in_mm(folded_wall(square))
        assert abs(max(reach(folded.polygons)) - base * 2**0.5) < 1e-3  # it lies askew on the page
        assert reach(folded.polygons)[2] == pytest.approx(wall, abs=1e-3)
        middle = (in_mm(square) / 2, -in_mm(square) / 2, -wall / 2)
        assert encloses(folded.polygons, middle, 1e-3)
        # The four corners of the square lie on the base and meet in its middle.
        for corner in made[name].outline:
            at = facet_at(folded, corner.x, corner.y)
            tip = folded.polygons[at][folded.facets[at].corners.index(corner)]
            assert np.allclose(tip, (in_mm(square) / 2, -in_mm(square) / 2, 0), atol=1e-3)
            assert lies_on(folded.polygons[at], folded.polygons[folded.base], 1e-3)
        # As thick as the joints say: at the ends of the walls at u = ±1, and of those at v = ±1.
        for u, v, layers in ((1, 0.9, 6), (-1, -0.9, 6), (0.9, 1, 2), (-0.9, -1, 2)):
            assert layers_at(folded, square, u, v) == layers
