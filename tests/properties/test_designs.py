"""For any sizes a maker may give: the pieces are right, or the refusal is clear."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.lengths import UNITS_PER_MM, Length, Unit, mm
from nester.core.piece import Line, Piece, Point
from nester.designs import DESIGNS, Design, check_roles, read_settings
from nester.designs.base.clearance import check_clearances, round_up_to_cuttable
from nester.designs.base.design import number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.folding import Polygon3D, crossings, fold, fold_faults
from nester.designs.boxes.layered_box.tier import CORNERS, FLAPS, FLAPS_ANTICLOCKWISE, OPEN, POCKETS
from tests.folded_shapes import transformed

UNITS = st.sampled_from(list(Unit))
WORDS = st.sampled_from
NAMES = ["layered-box", "tray-box", "folded-card"]


@st.composite
def layered_boxes(draw: st.DrawFn) -> tuple[dict[str, str], Unit]:
    """Settings that can be made, in tenths of a mm."""
    unit = draw(UNITS)
    tiers = draw(st.integers(1, 8))
    panel = draw(st.integers(300, 4000))
    texts = {"panel": f"{panel / 10}mm", "tiers": str(tiers)}
    shorter = panel
    if draw(st.booleans()):
        length = draw(st.integers(300, 4000))
        texts["length"] = f"{length / 10}mm"
        shorter = min(panel, length)
    step = 0
    if tiers > 1:
        step = draw(st.integers(1, (shorter - 100) // (tiers - 1)))
        texts["step"] = f"{step / 10}mm"
    inmost = shorter - (tiers - 1) * step
    lids = ["inner-lid", "outer-lid"] if tiers > 1 else [draw(WORDS(["inner-lid", "outer-lid"]))]
    for lid in ("inner-lid", "outer-lid"):
        texts[lid] = draw(WORDS(["yes", "no"])) if lid in lids else "no"
    texts["corners"] = draw(WORDS(CORNERS))
    texts["centre"] = draw(WORDS(["tray", "cross"])) if tiers > 1 else "cross"
    crosses = tiers - (texts["centre"] == "tray")
    for place in draw(st.lists(st.integers(1, crosses), max_size=3, unique=True)):
        texts[f"corners-{place}"] = draw(WORDS(["same", *CORNERS]))
    low_walls = inmost >= 300 and draw(st.booleans())
    if low_walls:
        texts["wall"] = f"{draw(st.integers(300, inmost)) / 10}mm"
    elif texts["centre"] == "tray" and draw(st.booleans()):
        depth = draw(st.integers(100, inmost + step - 1))
        texts["tray-depth"] = f"{depth / 10}mm"
        if draw(st.booleans()):
            texts["tab"] = f"{draw(st.integers(10, min(depth, inmost))) / 10}mm"
    texts["mats"] = draw(WORDS(["none", "outside", "inside", "both"]))
    texts["layers"] = str(draw(st.integers(1, 4)))
    if "yes" in (texts["inner-lid"], texts["outer-lid"]):
        texts["lid-strips"] = draw(WORDS(["yes", "no"]))
        texts["lid-tab"] = draw(WORDS(["0", "1mm", "2mm"]))
    card_tier = draw(st.integers(1, crosses))
    if texts.get(f"corners-{card_tier}", "same") in ("same", POCKETS):
        texts["cards"] = str(draw(st.integers(0, 8)))
        texts["card-tier"] = str(card_tier)
        texts["card-mats"] = draw(WORDS(["none", "one", "both"]))
        texts["eyelet"] = "no"
    texts["photos"] = str(draw(st.integers(0, 20)))
    if draw(st.booleans()):
        texts["photo-tier"] = str(draw(st.integers(1, tiers)))
    return texts, unit


@st.composite
def tray_boxes(draw: st.DrawFn) -> tuple[dict[str, str], Unit]:
    texts = {name: f"{draw(st.integers(100, 5000)) / 10}mm" for name in ("width", "length")}
    texts["depth"] = f"{draw(st.integers(100, 3000)) / 10}mm"
    texts["lid"] = draw(WORDS(["yes", "no"]))
    for facing in ("lid-mat", "lid-strips"):
        texts[facing] = draw(WORDS(["yes", "no"])) if texts["lid"] == "yes" else "no"
    texts["lid-tab"] = draw(WORDS(["0", "2mm"]))
    texts["layers"] = str(draw(st.integers(1, 4)))
    texts["base-mat"] = draw(WORDS(["yes", "no"]))
    return texts, draw(UNITS)


@st.composite
def folded_cards(draw: st.DrawFn) -> tuple[dict[str, str], Unit]:
    texts = {name: f"{draw(st.integers(100, 5000)) / 10}mm" for name in ("width", "height")}
    texts["opens"] = draw(WORDS(["side", "up"]))
    texts["mats"] = draw(WORDS(["none", "front", "inside", "both"]))
    texts["layers"] = str(draw(st.integers(1, 4)))
    return texts, draw(UNITS)


def make(name: str, asked: tuple[dict[str, str], Unit]) -> tuple[dict[str, int], list[Piece]]:
    design = DESIGNS[name]
    read = read_settings(design, *asked)
    numbers = {key: value for key, value in read.items() if isinstance(value, int)}
    return numbers, list(design.pieces(read))


def twice_area(polygon: tuple[Point, ...]) -> int:
    """Return twice the signed area: positive when it runs clockwise on the page."""
    ring = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    return sum(a.x * b.y - b.x * a.y for a, b in ring)


def holds(polygon: tuple[Point, ...], x: int, y: int) -> bool:
    """Say whether a point is inside a polygon or on its edge, exactly."""
    odd = False
    for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        side = (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)
        within = min(a.x, b.x) <= x <= max(a.x, b.x) and min(a.y, b.y) <= y <= max(a.y, b.y)
        if side == 0 and within:
            return True
        if (a.y > y) != (b.y > y) and (side > 0) == (b.y > a.y):
            odd = not odd
    return odd


def quarters(line: Line) -> list[tuple[int, int]]:
    """Return both ends of a line and three places between, in quarters of a fine unit."""
    (x1, y1), (x2, y2) = line
    return [((4 - k) * x1 + k * x2, (4 - k) * y1 + k * y2) for k in range(5)]


def marks_are_on_the_paper(pieces: list[Piece]) -> None:
    for piece in pieces:
        assert twice_area(piece.outline) > 0, piece.name
        assert piece.area > 0
        assert len(set(piece.outline)) == len(piece.outline)
        outline = tuple(Point(4 * p.x, 4 * p.y) for p in piece.outline)
        sides = [
            Line(a, b) for area in piece.glue
            for a, b in zip(area, area[1:] + area[:1], strict=True)
        ]  # fmt: skip
        for line in [score.line for score in piece.scores] + list(piece.slits) + sides:
            assert line.start != line.end
            assert all(holds(outline, *spot) for spot in quarters(line)), (piece.name, line)
        for hole in piece.holes:
            (x, y), radius = hole.centre, hole.diameter / 2
            assert radius < x < piece.width - radius
            assert radius <= y < piece.height - radius


def base_of(piece: Piece) -> tuple[Length, Length]:
    """Return the size of the base between its four folds: the first four scores."""
    ends = [point for score in piece.scores[:4] for point in score.line]
    xs, ys = {p.x for p in ends}, {p.y for p in ends}
    assert len(xs) == len(ys) == 2
    return max(xs) - min(xs), max(ys) - min(ys)


def is_made_of_base_walls_and_corners(piece: Piece, wall: Length, corners: int) -> None:
    """Hold the areas together: they add up only if no tab lies over a wall or another tab."""
    width, length = base_of(piece)
    assert (piece.width, piece.height) == (width + 2 * wall, length + 2 * wall)
    assert twice_area(piece.outline) == 2 * (width * length + 2 * wall * (width + length)) + corners


def tabs_reach_no_further_than_the_next_wall(piece: Piece, wall: Length) -> None:
    width, length = base_of(piece)
    for place, tab in enumerate(piece.glue):
        reach_x = max(p.x for p in tab) - min(p.x for p in tab)
        reach_y = max(p.y for p in tab) - min(p.y for p in tab)
        # Tabs come clockwise from the top wall's, and so reach across, down, back, up in turn.
        reach, high, along = (reach_y, reach_x, width) if place % 2 else (reach_x, reach_y, length)
        assert high == wall
        assert reach <= min(along, wall)


@settings(max_examples=200, deadline=None)
@given(layered_boxes())
def test_layered_boxes_are_made_of_what_the_formulas_say(
    asked: tuple[dict[str, str], Unit],
) -> None:
    texts, unit = asked
    size, pieces = make("layered-box", asked)
    marks_are_on_the_paper(pieces)
    named = {piece.name: piece for piece in pieces}
    bases = [
        (size["panel"] - place * size["step"], size["length"] - place * size["step"])
        for place in range(size["tiers"])
    ]
    walls = [size["wall"] - place * size["wall-step"] for place in range(size["tiers"])]
    for place, ((width, length), wall) in enumerate(zip(bases, walls, strict=True), start=1):
        if place == size["tiers"] and "tray" in named:
            continue
        tier = named[f"tier {place}"]
        assert base_of(tier) == (width, length)
        way = texts.get(f"corners-{place}", "same")
        if way == "same":
            holds_cards = size["cards"] and place == size["card-tier"]
            way = POCKETS if holds_cards else texts["corners"]
        trim = size["pocket-trim"]
        reach = [min(wall, side) - trim for side in (width, length)]
        corners = {
            OPEN: 0,
            FLAPS: 8 * wall * wall,
            FLAPS_ANTICLOCKWISE: 8 * wall * wall,
            POCKETS: 4 * (wall - trim) * sum(reach),
        }
        is_made_of_base_walls_and_corners(tier, wall, corners[way])
    if "tray" in named:
        tray, depth = named["tray"], size["tray-depth"]
        assert base_of(tray) == bases[-1]
        assert depth < walls[-2]
        assert len(tray.glue) == 4
        is_made_of_base_walls_and_corners(tray, depth, sum(twice_area(t) for t in tabs_of(tray)))
        tabs_reach_no_further_than_the_next_wall(tray, depth)
    lids_go_over(named, {"inner lid": bases[-1], "outer lid": bases[0]}, size)
    if "inner lid" in named and size["tiers"] > 1:
        assert base_of(named["inner lid"])[0] < bases[-2][0]
    for piece in pieces:
        if piece.role.startswith("mat"):
            assert piece.upright
            assert min(piece.width, piece.height) >= (
                mm(2) if piece.role.endswith("strip") else mm(5)
            )
    if "pull-out card" in named:
        holder = size["card-tier"] - 1
        room = min(*bases[holder], walls[holder]) - size["pocket-trim"] - size["pocket-glue"]
        assert named["pull-out card"].width < room
    if "photo" in named:
        assert named["photo"].width <= min(bases[size["photo-tier"] - 1])
    design = DESIGNS["layered-box"]
    read = read_settings(design, *asked)
    check_roles(design, [piece.role for piece in pieces])
    lines = check_clearances(design.joints(read), lambda role: mm("0.3"), unit)
    assert len({line.joint.name for line in lines}) == len(lines)
    roles = {piece.role for piece in pieces}
    assert {layer.role for line in lines for layer in line.joint.layers} <= roles
    assert len(design.section(read)) == size["tiers"] + len(named.keys() & LIDS)


LIDS = {"inner lid", "outer lid"}
PAPERS = st.integers(mm("0.05"), mm("0.6"))


@settings(max_examples=100, deadline=None)
@given(layered_boxes(), PAPERS, PAPERS, st.integers(1, 20))
def test_a_step_worked_out_is_the_smallest_that_can_be_cut_and_leaves_the_play(
    asked: tuple[dict[str, str], Unit], card: Length, mat: Length, play: int
) -> None:
    texts, unit = asked
    design = DESIGNS["layered-box"]
    if int(texts["tiers"]) == 1:
        return

    def thickness(role: str) -> Length:
        return mat if "mat" in role else card

    big = {name: text for name, text in texts.items() if name in WAYS}
    wish = {"panel": "400mm", "play": f"{play / 10}mm", "step": "fit", "lid-clearance": "fit"}
    read = read_settings(design, {**big, **wish}, unit, thickness)
    nesting = [joint for joint in design.joints(read) if " in tier " in joint.name]
    assert all(joint.play(thickness) >= joint.required_play for joint in nesting)
    less = {**read, "step": number_in(read, "step") - round_up_to_cuttable(1, unit)}
    tight = [joint for joint in design.joints(less) if " in tier " in joint.name]
    assert any(joint.play(thickness) < joint.required_play for joint in tight)
    over = [joint for joint in design.joints(read) if " over " in joint.name]
    assert all(joint.play(thickness) >= joint.required_play for joint in over)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_pieces_fold_up_by_their_own_angles(name: str, data: st.DataObject) -> None:
    strategies = {
        "layered-box": layered_boxes(), "tray-box": tray_boxes(), "folded-card": folded_cards(),
    }  # fmt: skip
    for asked in ({}, Unit.CM), ({}, Unit.IN), data.draw(strategies[name]):
        _, pieces = make(name, asked)
        assert [fault for one in pieces for fault in fold_faults(one, 0, Unit.MM)] == []


WAYS = {
    "tiers", "corners", "centre", "inner-lid", "outer-lid", "mats", "layers", "lid-strips",
    "cards", "card-mats", "photos",
}  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(layered_boxes())
def test_nothing_of_a_folded_layered_box_passes_through_another(
    asked: tuple[dict[str, str], Unit],
) -> None:
    size, pieces = make("layered-box", asked)
    shapes: list[Polygon3D] = []
    covered = {
        "inner lid": size["tray-depth"] if asked[0]["centre"] == "tray"
        else size["wall"] - (size["tiers"] - 1) * size["wall-step"],
        "outer lid": size["wall"],
    }  # fmt: skip
    for piece in pieces:
        if piece.name in covered:
            shapes += standing(piece, up=covered[piece.name])
        elif piece.scores:
            assert fold_faults(piece, 0, Unit.MM) == ()
            shapes += standing(piece, upside_down=piece.name == "tray")
    assert crossings(shapes, 1e-6) == ()


def standing(piece: Piece, up: Length = 0, upside_down: bool = False) -> tuple[Polygon3D, ...]:
    """Fold a piece and put its base's middle over the origin."""
    folded = fold(piece)
    x, y = folded.polygons[folded.base].mean(axis=0)[:2] * (1, -1 if upside_down else 1)
    return transformed(folded.polygons, (-x, -y, up / UNITS_PER_MM), upside_down=upside_down)


def tabs_of(tray: Piece) -> list[tuple[Point, ...]]:
    """Return the glue areas, clockwise."""
    return [tab if twice_area(tab) > 0 else tab[::-1] for tab in tray.glue]


def lids_go_over(
    named: dict[str, Piece], covered: dict[str, tuple[Length, Length]], size: dict[str, int]
) -> None:
    for name, (width, length) in covered.items():
        if name in named:
            clearance, wall = size["lid-clearance"], size["lid-wall"]
            assert base_of(named[name]) == (width + clearance, length + clearance)
            assert named[name].is_rectangle == (size["lid-tab"] == 0)
            corners = sum(abs(twice_area(tab)) for tab in named[name].glue)
            is_made_of_base_walls_and_corners(named[name], wall, corners)
            tabs_reach_no_further_than_the_next_wall(named[name], wall)


@settings(max_examples=80, deadline=None)
@given(tray_boxes())
def test_tray_boxes_are_made_of_what_the_formulas_say(asked: tuple[dict[str, str], Unit]) -> None:
    size, pieces = make("tray-box", asked)
    marks_are_on_the_paper(pieces)
    named = {piece.name: piece for piece in pieces}
    tray = named["tray"]
    assert base_of(tray) == (size["width"], size["length"])
    tabs = sum(twice_area(tab) for tab in tabs_of(tray))
    is_made_of_base_walls_and_corners(tray, size["depth"], tabs)
    tabs_reach_no_further_than_the_next_wall(tray, size["depth"])
    if "lid" in named:
        inner = size["width"] + size["lid-clearance"], size["length"] + size["lid-clearance"]
        assert base_of(named["lid"]) == inner
        assert size["lid-wall"] <= size["depth"]
        tabs_reach_no_further_than_the_next_wall(named["lid"], size["lid-wall"])


@settings(max_examples=60, deadline=None)
@given(folded_cards())
def test_folded_cards_are_twice_their_size_and_their_mats_smaller(
    asked: tuple[dict[str, str], Unit],
) -> None:
    texts, _ = asked
    size, pieces = make("folded-card", asked)
    marks_are_on_the_paper(pieces)
    card, *mats = pieces
    across = texts["opens"] == "side"
    width, height = size["width"], size["height"]
    assert card.area == 2 * width * height
    assert (card.width, card.height) == ((2 * width, height) if across else (width, 2 * height))
    for piece in mats:
        assert 0 < width - piece.width == height - piece.height
        assert (width - piece.width) % size["reveal"] == 0


BAD = [
    "", " ", "0", "-1", "nan", "inf", "1e3", "99999", "11m", "3 furlongs", "1/0", "½½", "١٢",
    "\x00", "5" * 50, "yes please", "1,000", "--", "0.0000001", "\N{BULLET}", "٣cm",
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_a_bad_value_anywhere_is_refused(name: str, data: st.DataObject) -> None:
    design = DESIGNS[name]
    strategies = {
        "layered-box": layered_boxes(), "tray-box": tray_boxes(), "folded-card": folded_cards(),
    }  # fmt: skip
    texts, unit = data.draw(strategies[name])
    setting = data.draw(WORDS(design.settings))
    bad = data.draw(WORDS(BAD))
    if setting.minimum == 0 and setting.kind != "choice" and bad == "0":
        bad = "-0"
    said = refusal_of(lambda: read_settings(design, {**texts, setting.name: bad}, unit))
    assert said is not None, f"{setting.name}={bad!r} was taken"
    assert setting.name in said
    assert "\n" not in said


def refusal_of(deed: Callable[[], object]) -> str | None:
    """Return what a deed refuses with, or None; any other error goes through."""
    try:
        deed()
    except DesignRefusal as refusal:
        return str(refusal)
    return None


@settings(max_examples=200, deadline=None)
@given(
    WORDS(NAMES),
    st.data(),
    UNITS,
)
def test_any_sizes_are_made_or_refused(name: str, data: st.DataObject, unit: Unit) -> None:
    design: Design = DESIGNS[name]
    texts = {}
    for setting in data.draw(st.lists(WORDS(design.settings), max_size=8, unique=True)):
        if setting.kind == "length":
            texts[setting.name] = f"{data.draw(st.integers(1, 12_000)) / 10} mm"
        elif setting.kind == "count":
            texts[setting.name] = str(data.draw(st.integers(0, 12)))
        else:
            texts[setting.name] = data.draw(WORDS(setting.choices))
    said = refusal_of(lambda: read_settings(design, texts, unit))
    if said is None:
        marks_are_on_the_paper(list(design.pieces(read_settings(design, texts, unit))))
    else:
        assert said.startswith(name)


@settings(max_examples=100, deadline=None)
@given(
    WORDS(NAMES),
    st.data(),
)
def test_settings_of_any_kind_are_made_or_refused(name: str, data: st.DataObject) -> None:
    design = DESIGNS[name]
    known = [setting.name for setting in design.settings]
    anything = st.one_of(st.integers(), st.text(max_size=8), st.none(), st.floats())
    changes = data.draw(st.dictionaries(WORDS([*known, "more"]), anything, min_size=1, max_size=3))
    mixed = {**read_settings(design, {}, Unit.CM), **changes}
    said = refusal_of(lambda: design.pieces(mixed))  # type: ignore[arg-type]
    assert said is None or said.startswith(name)
