"""The rules of a layered box: each refuses what can't be made, in one sentence."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length, inch, mm
from nester.designs.base.design import Settings, choice_in, number_in
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_most
from nester.designs.boxes.layered_box.sizes import (
    MIN_SIDE,
    MOST_TIERS,
    SAME,
    LayeredBox,
    plain_name,
)
from nester.designs.parts.holes import MIN_EDGE_DISTANCE
from nester.designs.parts.lid import check_lid_tab_width
from nester.designs.parts.strips import check_lid_strips
from nester.designs.parts.tray import check_tray_mitre, check_tray_tab

__all__ = ["check_rules"]

SMALLEST_HOLE: Length = mm(1)


def check_rules(settings: Settings, unit: Unit) -> None:
    """Refuse settings that can't be made even of paper without thickness."""
    box = LayeredBox(settings)
    _check_tier_numbers(box)
    _check_nesting(box, unit)
    _check_corners(box, unit)
    _check_tray(box, unit)
    _check_lids(box, unit)
    _check_mats(box, unit)
    _check_cards(box, unit)
    _check_photos(box, unit)


def _check_tier_numbers(box: LayeredBox) -> None:
    for name in ("card-tier", "photo-tier"):
        place = number_in(box.settings, name)
        if place > box.tiers:
            raise DesignRefusal(
                f"{name} {place} doesn't exist; the box has {_tiers(box)}, 1 being the outermost"
            )
    for place in range(1, MOST_TIERS + 1):
        if choice_in(box.settings, f"corners-{place}") == SAME:
            continue
        if place > box.tiers:
            raise DesignRefusal(
                f"corners-{place} is of a tier that doesn't exist; the box has {_tiers(box)}"
            )
        if box.is_tray(place):
            raise DesignRefusal(
                f"corners-{place} is of the tray, whose corners are glue tabs;"
                " leave it out, or give centre=cross"
            )


def _tiers(box: LayeredBox) -> str:
    return "1 tier" if box.tiers == 1 else f"{box.tiers} tiers"


def _check_nesting(box: LayeredBox, unit: Unit) -> None:
    for name, outer, innermost in (
        ("step", box.shorter_side, box.side_of(box.tiers)),
        ("wall-step", box.length_of("wall"), box.wall_of(box.tiers)),
    ):
        if innermost < MIN_SIDE:
            what = "a base" if name == "step" else "walls"
            largest = _floor_to_shown((outer - MIN_SIDE) // (box.tiers - 1), unit)
            raise DesignRefusal(
                f"{_tiers(box)} from {what} of {format_length(outer, unit)} with a {name} of"
                f" {format_length(box.length_of(name), unit)} leave nothing for the innermost;"
                f" the {name} may be at most {format_length(largest, unit)}"
            )


def _check_corners(box: LayeredBox, unit: Unit) -> None:
    for place in range(1, box.tiers + 1 - box.has_tray):
        wall, side = box.wall_of(place), box.side_of(place)
        if box.has_flaps(place) and wall > side:
            raise DesignRefusal(
                f"tier {place} can't have flaps: they are as wide as its walls are high,"
                f" {format_length(wall, unit)}, and would reach past the next wall of"
                f" {format_length(side, unit)};"
                f" make the walls lower, or give corners-{place}=open"
            )
        if not box.has_pockets(place):
            continue
        width = min(wall, side)
        trim, glue = box.pocket
        if trim + glue > width - MIN_SIDE:
            raise DesignRefusal(
                f"pocket-trim {format_length(trim, unit)} and pocket-glue"
                f" {format_length(glue, unit)} leave no pocket in tier {place}; together they"
                f" may be at most {format_length(max(0, width - MIN_SIDE), unit)}"
            )


def _check_tray(box: LayeredBox, unit: Unit) -> None:
    if not box.has_tray:
        return
    if box.tiers == 1:
        raise DesignRefusal(
            "with a single tier there is no tray in the centre; use centre=cross,"
            " or the design tray-box"
        )
    depth, around = box.shape_of(box.tiers).wall_height, box.wall_of(box.tiers - 1)
    if depth >= around:
        raise DesignRefusal(
            f"tray-depth {format_length(depth, unit)} would stand out of the tier around it;"
            f" it must be under {format_length(around, unit)}"
        )
    check_tray_tab(box.settings, box.smallest_wall_side(box.tiers), unit)
    check_tray_mitre(box.settings, depth, unit)


def _check_lids(box: LayeredBox, unit: Unit) -> None:
    step = box.length_of("step")
    if len(box.covered_tiers) == 2 and box.tiers == 1:
        raise DesignRefusal(
            "with a single tier the inner lid and the outer lid cover the same; leave one out"
        )
    if box.inner_lid_tier:
        clearance = box.length_of("inner-lid-clearance")
        if clearance >= step:
            name = _own_or_shared(box, "inner-lid", "clearance")
            raise DesignRefusal(
                f"an inner lid with {name} {format_length(clearance, unit)} doesn't fit into the"
                f" tier around it; {name} must be under the step of {format_length(step, unit)}"
            )
    for lid in box.covered_tiers:
        _check_lid_tabs(box, lid, unit)
    if box.length_of("bow") and not box.is_yes("outer-lid"):
        raise DesignRefusal("a bow needs an outer lid; give outer-lid=yes or bow=0")


def _check_lid_tabs(box: LayeredBox, lid: str, unit: Unit) -> None:
    shape, height = box.lid_shape(lid), box.shape_of(box.covered_tiers[lid]).wall_height
    inner = min(shape.width, shape.length)
    tab_name = _own_or_shared(box, lid, "tab")
    check_lid_tab_width(box.settings, tab_name, unit)
    called = plain_name(lid)
    fault = f"is longer than the {called}'s wall it folds from or is glued to"
    check_at_most(box.settings, tab_name, min(shape.wall_height, inner), fault, unit)
    # Corners kept whole are as long as the wall is high.
    highest = height if box.length_of(tab_name) else min(height, inner)
    fault = (
        f"is too high for the {called}: it covers walls of {format_length(height, unit)} and its"
        f" glue tabs meet beyond {format_length(inner, unit)}"
    )
    check_at_most(box.settings, _own_or_shared(box, lid, "wall"), highest, fault, unit)


def _own_or_shared(box: LayeredBox, lid: str, what: str) -> str:
    """Return the setting to change: the lid's own if it differs from that of both lids."""
    own, shared = f"{lid}-{what}", f"lid-{what}"
    return shared if box.length_of(own) == box.length_of(shared) else own


def _check_mats(box: LayeredBox, unit: Unit) -> None:
    if choice_in(box.settings, "mats") != "none":
        smallest = min(box.smallest_face(place) for place in range(1, box.tiers + 1))
        _check_reveal(box, smallest, f"the smallest wall of {format_length(smallest, unit)}", unit)
    if box.is_yes("lid-strips"):
        if not box.covered_tiers:
            raise DesignRefusal("lid-strips need a lid; give outer-lid=yes or leave them out")
        lowest = min(box.lid_shape(lid).wall_height for lid in box.covered_tiers)
        check_lid_strips(box.settings, lowest, unit)


def _check_reveal(box: LayeredBox, side: Length, face: str, unit: Unit) -> None:
    mats = "mat" if box.layers == 1 else f"mat {box.layers}"
    largest = _floor_to_shown(max(0, side - MIN_SIDE) // box.layers, unit)
    if side - box.mat_margin < MIN_SIDE:
        check_at_most(box.settings, "reveal", largest, f"leaves no {mats} on {face}", unit)


def _check_cards(box: LayeredBox, unit: Unit) -> None:
    if not box.cards:
        return
    place = number_in(box.settings, "card-tier")
    if not box.has_pockets(place):
        why = (
            f"tier {place} is the tray; give another card-tier, or centre=cross"
            if box.is_tray(place)
            else f"leave corners-{place} out, or give another card-tier"
        )
        raise DesignRefusal(f"cards need a tier with pockets: {why}")
    side, (across, down) = box.length_of("card-size"), box.card_room
    if side >= min(across, down):
        raise DesignRefusal(
            f"card-size {format_length(side, unit)} doesn't slide into a pocket, which is"
            f" {format_length(across, unit)} wide and {format_length(down, unit)} deep inside;"
            " it must be smaller"
        )
    if box.card_faces:
        _check_reveal(box, side, f"a card of {format_length(side, unit)}", unit)
    if box.length_of("hole"):
        _check_hole(box, side, unit)
    elif box.length_of("card-ribbon"):
        raise DesignRefusal("card-ribbon needs a hole in the card; give hole=5mm or card-ribbon=0")
    elif box.is_yes("eyelet"):
        raise DesignRefusal("an eyelet needs a hole in the card; give hole=5mm or eyelet=no")


def _check_hole(box: LayeredBox, side: Length, unit: Unit) -> None:
    hole, edge = box.length_of("hole"), box.length_of("hole-edge")
    if hole < SMALLEST_HOLE:
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} is smaller than a punch makes; it may be 0 for none,"
            f" or at least {format_length(SMALLEST_HOLE, unit)}"
        )
    rims = {layer * box.length_of("reveal") // 2 for layer in range(1, box.layers + 1)}
    for rim in sorted(rims) if box.card_faces else ():
        if edge < rim < edge + hole:
            raise DesignRefusal(
                f"hole-edge {format_length(edge, unit)} puts the hole of"
                f" {format_length(hole, unit)} across the edge of a mat; it must be at least"
                f" {format_length(rim, unit)}"
            )
    lowest = side - max(rims) if box.card_faces else side
    if edge + hole + MIN_EDGE_DISTANCE > lowest:
        largest = max(0, lowest - hole - MIN_EDGE_DISTANCE)
        raise DesignRefusal(
            f"hole {format_length(hole, unit)} at hole-edge {format_length(edge, unit)} leaves too"
            f" little paper below it; hole-edge may be at most {format_length(largest, unit)}"
        )


def _check_photos(box: LayeredBox, unit: Unit) -> None:
    if not number_in(box.settings, "photos"):
        return
    place, side = number_in(box.settings, "photo-tier"), box.length_of("photo-size")
    shortest = box.smallest_wall_side(place)
    if side > shortest:
        raise DesignRefusal(
            f"photo-size {format_length(side, unit)} is larger than the walls of tier {place},"
            f" {format_length(shortest, unit)}"
        )


def _floor_to_shown(length: Length, unit: Unit) -> Length:
    """Round a limit down to a length that is shown exactly, and so is accepted if given."""
    step = inch("1/64") if unit is Unit.IN else mm("0.01")
    return length // step * step
