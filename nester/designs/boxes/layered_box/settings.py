"""The settings of a layered box, and their defaults."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.designs.base.clearance import round_up_to_cuttable, smallest_clearance
from nester.designs.base.design import (
    Setting,
    SettingKind,
    Settings,
    by_unit,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    count_setting,
    length_setting,
    play_setting,
    round_default,
    same_as,
    yes_no_setting,
)
from nester.designs.base.thickness import heaviest_usual
from nester.designs.boxes.layered_box.clearances import (
    card_layers,
    fitting_clearance,
    fitting_step,
)
from nester.designs.boxes.layered_box.sizes import (
    BOTH,
    CROSS,
    INSIDE,
    LIDS,
    MIN_SIDE,
    MOST_LAYERS,
    MOST_TIERS,
    ONE,
    OUTSIDE,
    SAME,
    TRAY,
    LayeredBox,
    plain_name,
)
from nester.designs.boxes.layered_box.tier import CORNERS, OPEN
from nester.designs.parts.holes import MIN_EDGE_DISTANCE

__all__ = ["SETTINGS"]

LARGEST_PANEL: Length = cm(100)
_MIN_SIDE_WITH_HOLE: Length = cm(2)
"""A card or mat that is smaller gets no hole unless one is asked for."""


def _usual_step(before: Settings, unit: Unit) -> Length:
    """Take a ninth of the panel in whole mm, 2 cm of 18, or a 24th in inches."""
    side = LayeredBox(before).shorter_side
    if unit is Unit.IN and LayeredBox(before).length_of("wall") != side:
        return floor_to_ruler(side // 24, unit)
    parts = by_unit(unit, 9, 24)
    return side // parts // _step_grid(before, unit) * _step_grid(before, unit)


def _step_grid(before: Settings, unit: Unit) -> Length:
    """Return what default steps are multiples of.

    With walls as high as the base is wide, blanks are smaller by three steps: 48ths of an inch
    give them in 16ths.  With other walls, a step in 16ths does.
    """
    box = LayeredBox(before)
    cubic = box.length_of("wall") == box.shorter_side
    return by_unit(unit, mm(1), inch("1/48") if cubic else inch("1/16"))


def _default_step(before: Settings, unit: Unit) -> Length:
    """Take the usual step, or more where papers of any usual weight would leave too little play.

    It grows only as far as it leaves the innermost tier a quarter of the outer one.
    """
    box = LayeredBox(before)
    grid = _step_grid(before, unit)
    needed = -(-fitting_step(before, heaviest_usual) // grid) * grid
    most = box.shorter_side * 3 // 4 // max(1, box.tiers - 1) // grid * grid
    return max(_usual_step(before, unit), min(needed, most))


def _wall_step(before: Settings, unit: Unit) -> Length:
    """Take the step where walls are as high as the base is wide, else what a base needs."""
    box = LayeredBox(before)
    if box.length_of("wall") == box.shorter_side or box.tiers == 1:
        return box.length_of("step")
    default = by_unit(unit, mm(2), inch("1/16"))
    return floor_to_ruler(min(default, (box.length_of("wall") - MIN_SIDE) // (box.tiers - 1)), unit)


def _smallest_covered(before: Settings) -> Length:
    box = LayeredBox(before)
    sides = (box.smallest_wall_side(place) for place in box.covered_tiers.values())
    return min(sides, default=box.shorter_side)


def _innermost(before: Settings) -> Length:
    box = LayeredBox(before)
    return box.smallest_wall_side(box.tiers)


def _smallest_wall(before: Settings) -> Length:
    box = LayeredBox(before)
    return min(box.smallest_wall_side(place) for place in range(1, box.tiers + 1))


def _clearance(before: Settings, unit: Unit) -> Length:
    """Take 5 mm or 1/8 in, or more if papers of any usual weight need it.

    An inner lid takes up to two thirds of the step: a lid with its tabs needs twice the clearance
    over what it covers that it needs in the tier around it.
    """
    box = LayeredBox(before)
    needed = round_up_to_cuttable(fitting_clearance(*LIDS)(before, heaviest_usual), unit)
    default = max(by_unit(unit, mm(5), inch("1/8")), needed)
    if not box.is_yes("inner-lid"):
        return default
    step = number_in(before, "step") if "step" in before else _usual_step(before, unit)
    limit = step * 2 // 3
    in_32nds = by_unit(unit, 0, limit // inch("1/32") * inch("1/32"))
    most = in_32nds or floor_to_ruler(limit, unit)
    # A step that was not given grows with what the lid needs; one that was given can't.
    return min(default, most if "step" in before else max(most, needed))


def _reveal(before: Settings, unit: Unit) -> Length:
    """Take 5 mm, or what leaves a mat on the smallest wall and card, and a strip on each lid."""
    box = LayeredBox(before)
    wall = _smallest_wall(before)
    limits = [wall // 4 // box.layers, (wall - MIN_SIDE) // 2 // box.layers]
    if box.cards and box.card_faces:
        limits.append((box.length_of("card-size") - MIN_SIDE) // box.layers)
    if box.is_yes("lid-strips"):
        limits += [box.length_of(f"{lid}-wall") // 2 for lid in box.covered_tiers]
    return floor_to_ruler(min(by_unit(unit, mm(5), inch("0.25")), *limits), unit)


def _card_side(before: Settings, unit: Unit) -> Length:
    """Take the panel less a little, and leave twice the play in the pocket: 13.5 cm for 14.

    Many cards or mats draw a pocket's sides in; then it is what papers of any usual weight need.
    """
    box = LayeredBox(before)
    side, space = box.side_of(number_in(before, "card-tier")), min(box.card_room)
    default = side - min(by_unit(unit, mm(5), inch("0.125")), side // 8)
    play = box.length_of("play")
    needed = smallest_clearance(card_layers(box), play, heaviest_usual)
    left = max(min(2 * play, space // 8), min(needed, space // 2))
    return floor_to_ruler(min(default, space - left), unit)


def _hole(before: Settings, unit: Unit) -> Length:
    box = LayeredBox(before)
    space = box.length_of("card-size") - (box.mat_margin if box.card_faces else 0)
    return by_unit(unit, mm(5), inch("3/16")) if space >= _MIN_SIDE_WITH_HOLE else 0


def _hole_edge(before: Settings, unit: Unit) -> Length:
    """Take 6 mm, or as much more as brings the hole onto the mats of the card."""
    box = LayeredBox(before)
    edge = box.mat_margin // 2 if box.card_faces else 0
    return max(by_unit(unit, mm(6), inch("1/4")), edge + MIN_EDGE_DISTANCE)


def _photo_side(before: Settings, unit: Unit) -> Length:
    """Take seven eighths of the wall it is glued to, rounded down: 14 cm on 16."""
    round_to = by_unit(unit, mm(5), inch("1/4"))
    return (
        LayeredBox(before).smallest_wall_side(number_in(before, "photo-tier"))
        * 7
        // 8
        // round_to
        * round_to
    )


def _ribbon_length(before: Settings, unit: Unit) -> Length:
    """Take both ways over the lid and down its walls, and half a metre for the bow."""
    box = LayeredBox(before)
    if not box.is_yes("outer-lid"):
        return 0
    lid = box.lid_shape("outer-lid")
    over = lid.width + lid.length + 4 * lid.wall_height
    round_to = by_unit(unit, cm(1), inch("1/2"))
    return -(-(over + by_unit(unit, cm(50), inch(20))) // round_to) * round_to


_OUTER_TIER = (
    length_setting(
        "panel",
        "width of the outer tier's base",
        round_default(cm(18), inch(4)),
        cm(1),
        LARGEST_PANEL,
    ),
    Setting(
        "blank",
        SettingKind.LENGTH,
        "instead of panel: cut size of the outer tier, three panels; for a square base",
        minimum=cm(3),
        maximum=3 * LARGEST_PANEL,
        alternative_to="panel",
        divisor=3,
        excludes=("length", "wall"),
    ),
    count_setting(
        "tiers",
        "how many tiers, with the tray",
        round_default(4, 3),
        1,
        MOST_TIERS,
    ),
    length_setting(
        "length",
        "length of the outer tier's base; default: the panel",
        same_as("panel"),
        cm(1),
        LARGEST_PANEL,
    ),
    length_setting(
        "wall",
        "height of the outer tier's walls; default: the base's shorter side",
        lambda before, _: LayeredBox(before).shorter_side,
        MIN_SIDE,
        LARGEST_PANEL,
    ),
)

_CONSTRUCTION = (
    choice_setting(
        "corners",
        "corners of the tiers: cut away (open), flaps over the next wall clockwise or"
        " anticlockwise, or glued as pockets",
        OPEN,
        CORNERS,
    ),
    *(
        choice_setting(
            f"corners-{place}",
            f"corners of tier {place}; same: as the others, or pockets if the cards go there",
            SAME,
            (SAME, *CORNERS),
        )
        for place in range(1, MOST_TIERS + 1)
    ),
    choice_setting(
        "centre",
        "the innermost tier: a tray with glue tabs, or a cross like the others",
        lambda before, _: TRAY if number_in(before, "tiers") > 1 else CROSS,
        (TRAY, CROSS),
    ),
    yes_no_setting(
        "inner-lid",
        "a lid over the innermost tier or tray",
        lambda before, _: "yes" if number_in(before, "tiers") > 1 else "no",
    ),
    yes_no_setting("outer-lid", "a lid over the whole box", "yes"),
    choice_setting(
        "mats",
        "mats on the walls: outside (and on the lids), inside (and on the innermost base)",
        "none",
        ("none", OUTSIDE, INSIDE, BOTH),
    ),
    count_setting("layers", "how many mats on top of one another", 1, 1, MOST_LAYERS),
    yes_no_setting("lid-strips", "strips of paper round the walls of the lids"),
    count_setting("cards", "how many pull-out cards", 0, 0, 100),
    count_setting(
        "card-tier",
        "the tier whose pockets take the cards",
        lambda before, _: max(1, number_in(before, "tiers") - 1),
        1,
        MOST_TIERS,
    ),
    choice_setting(
        "card-mats",
        "mats on the pull-out cards: none, on one side, on both",
        "none",
        ("none", ONE, BOTH),
    ),
    count_setting(
        "photos",
        "how many photo prints: four inside the walls of a tier, four outside, the rest loose",
        0,
        0,
        100,
    ),
    count_setting(
        "photo-tier",
        "the tier on whose walls the photos go",
        lambda before, _: min(2, number_in(before, "tiers")),
        1,
        MOST_TIERS,
    ),
)

_NESTING = (
    play_setting("play wanted between parts that go into each other, both sides together"),
    length_setting(
        "lid-clearance",
        "how much wider a lid is inside than what it covers; fit: from the papers' thickness",
        _clearance,
        mm("0.05"),
        cm(5),
        fitting_clearance(*LIDS),
    ),
    *(
        Setting(
            f"{lid}-clearance",
            SettingKind.LENGTH,
            f"the clearance of the {plain_name(lid)}; default: lid-clearance",
            minimum=mm("0.05"),
            maximum=cm(5),
            fitted_length=fitting_clearance(lid),
            follows="lid-clearance",
        )
        for lid in LIDS
    ),
    length_setting(
        "step",
        "how much smaller each tier's base is than the last; fit: from the papers' thickness",
        _default_step,
        mm("0.1"),
        LARGEST_PANEL,
        fitted_length=fitting_step,
    ),
    Setting(
        "blank-step",
        SettingKind.LENGTH,
        "instead of step: how much smaller each tier's cut size is, three steps",
        minimum=mm("0.3"),
        maximum=3 * LARGEST_PANEL,
        alternative_to="step",
        divisor=3,
        excludes=("wall", "wall-step"),
    ),
    length_setting(
        "wall-step",
        "how much lower each tier's walls are than those outside them",
        _wall_step,
        0,
        LARGEST_PANEL,
    ),
)

_TRAY_AND_LIDS = (
    length_setting(
        "tray-depth",
        "height of the tray's walls; default: as for any tier in its place",
        lambda before, _: LayeredBox(before).wall_of(number_in(before, "tiers")),
        MIN_SIDE,
        LARGEST_PANEL,
    ),
    length_setting(
        "tab",
        "width of the tray's glue tabs",
        capped_default(cm(1), inch("0.5"), _innermost, 3),
        mm(1),
        LARGEST_PANEL,
    ),
    length_setting(
        "mitre",
        "how much narrower a tray's glue tab is at each end of its free side",
        lambda before, _: min(number_in(before, "tab"), number_in(before, "tray-depth") // 4),
        mm("0.5"),
        LARGEST_PANEL,
    ),
    length_setting(
        "lid-wall",
        "height of the lids' walls",
        capped_default(cm(3), inch("1.5"), _smallest_covered, 2),
        mm(2),
        LARGEST_PANEL,
    ),
    *(
        length_setting(
            f"{lid}-wall",
            f"height of the {plain_name(lid)}'s walls; default: lid-wall",
            same_as("lid-wall"),
            mm(2),
            LARGEST_PANEL,
        )
        for lid in LIDS
    ),
    length_setting(
        "lid-tab", "width of the lids' glue tabs; 0 keeps the corners whole", 0, 0, LARGEST_PANEL
    ),
    *(
        length_setting(
            f"{lid}-tab",
            f"width of the {plain_name(lid)}'s glue tabs; default: lid-tab",
            same_as("lid-tab"),
            0,
            LARGEST_PANEL,
        )
        for lid in LIDS
    ),
)

_FACINGS_AND_INSERTS = (
    length_setting(
        "pocket-trim",
        "how much a pocket is cut back beside the base and the next wall",
        capped_default(mm(1), inch("1/32"), _smallest_wall, 8),
        mm("0.1"),
        cm(5),
    ),
    length_setting(
        "pocket-glue",
        "width of the glue along two edges of a pocket",
        capped_default(mm(2), inch("1/16"), _smallest_wall, 8),
        mm("0.1"),
        cm(5),
    ),
    length_setting("card-size", "side of a pull-out card", _card_side, MIN_SIDE, LARGEST_PANEL),
    length_setting(
        "reveal",
        "how much smaller each mat is than what it is glued to; 0 for none",
        _reveal,
        0,
        LARGEST_PANEL,
    ),
    length_setting(
        "hole",
        "diameter of the hole for a ribbon in a pull-out card; 0 for none",
        _hole,
        0,
        cm(5),
    ),
    length_setting(
        "hole-edge",
        "paper between the hole and the edge of the card",
        _hole_edge,
        mm(1),
        LARGEST_PANEL,
    ),
    yes_no_setting("eyelet", "an eyelet in the hole of each card"),
    length_setting(
        "card-ribbon",
        "ribbon for the loop of a card; 0 for none",
        lambda before, unit: by_unit(unit, cm(12), inch(5)) if number_in(before, "hole") else 0,
        0,
        3 * LARGEST_PANEL,
    ),
    length_setting("photo-size", "side of a photo print", _photo_side, MIN_SIDE, LARGEST_PANEL),
    length_setting(
        "bow",
        "ribbon over the outer lid and for its bow; 0 for none",
        _ribbon_length,
        0,
        10 * LARGEST_PANEL,
    ),
)

SETTINGS = (*_OUTER_TIER, *_CONSTRUCTION, *_NESTING, *_TRAY_AND_LIDS, *_FACINGS_AND_INSERTS)
"""Those that others depend on come first."""
