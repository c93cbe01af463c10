"""What a layered box can't be, said in one sentence each."""

from __future__ import annotations

from nester.core.lengths import Length, Unit, format_length, inch, mm
from nester.designs.base.design import Settings, number, word
from nester.designs.base.errors import DesignRefusal
from nester.designs.boxes.layered_box.sizes import MOST_TIERS, SAME, SMALLEST, Box, in_words
from nester.designs.parts.holes import WEB

__all__ = ["rules"]

SMALLEST_TAB: Length = mm(1)
SMALLEST_HOLE: Length = mm(1)
_THINNEST_STRIP: Length = mm(2)


def rules(settings: Settings, unit: Unit) -> None:
    """Refuse settings that can't be made; paper is taken as having no thickness here."""
    box = Box(settings)
    _tiers_exist(box)
    _tiers_nest(box, unit)
    _corners_fold(box, unit)
    _tray_stands(box, unit)
    _lids_close(box, unit)
    _mats_show(box, unit)
    _cards_slide(box, unit)
    _photos_fit(box, unit)


def _tiers_exist(box: Box) -> None:
    for name in ("card-tier", "photo-tier"):
        place = number(box.settings, name)
        if place > box.tiers:
            raise DesignRefusal(
                f"{name} {place} doesn't exist; the box has {_tiers(box)}, 1 being the outermost"
            )
    for place in range(1, MOST_TIERS + 1):
        if word(box.settings, f"corners-{place}") == SAME:
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


def _tiers(box: Box) -> str:
    return "1 tier" if box.tiers == 1 else f"{box.tiers} tiers"


def _tiers_nest(box: Box, unit: Unit) -> None:
    for name, outer, inmost in (
        ("step", box.shorter, box.side_of(box.tiers)),
        ("wall-step", box.length_of("wall"), box.wall_of(box.tiers)),
    ):
        if inmost < SMALLEST:
            what = "a base" if name == "step" else "walls"
            most = _shown_down((outer - SMALLEST) // (box.tiers - 1), unit)
            raise DesignRefusal(
                f"{_tiers(box)} from {what} of {_say(outer, unit)} with a {name} of"
                f" {_say(box.length_of(name), unit)} leave nothing for the innermost;"
                f" the {name} may be at most {_say(most, unit)}"
            )


def _corners_fold(box: Box, unit: Unit) -> None:
    for place in range(1, box.tiers + 1 - box.has_tray):
        wall, side = box.wall_of(place), box.side_of(place)
        if box.has_flaps(place) and wall > side:
            raise DesignRefusal(
                f"tier {place} can't have flaps: they are as wide as its walls are high,"
                f" {_say(wall, unit)}, and would reach past the next wall of {_say(side, unit)};"
                f" make the walls lower, or give corners-{place}=open"
            )
        if not box.has_pockets(place):
            continue
        width = min(wall, side)
        trim, glue = box.pocket
        if trim + glue > width - SMALLEST:
            raise DesignRefusal(
                f"pocket-trim {_say(trim, unit)} and pocket-glue {_say(glue, unit)} leave no"
                f" pocket in tier {place}; together they may be at most"
                f" {_say(max(0, width - SMALLEST), unit)}"
            )


def _tray_stands(box: Box, unit: Unit) -> None:
    if not box.has_tray:
        return
    if box.tiers == 1:
        raise DesignRefusal(
            "with a single tier there is no tray in the centre; use centre=cross,"
            " or the design tray-box"
        )
    depth, around = box.shape_of(box.tiers).wall, box.wall_of(box.tiers - 1)
    if depth >= around:
        raise DesignRefusal(
            f"tray-depth {_say(depth, unit)} would stand out of the tier around it;"
            f" it must be under {_say(around, unit)}"
        )
    tab, most = box.length_of("tab"), box.smallest_wall_side(box.tiers)
    if tab > most:
        raise DesignRefusal(
            f"tab {_say(tab, unit)} is longer than the wall it is glued to or folds from;"
            f" it may be at most {_say(most, unit)}"
        )
    mitre = box.length_of("mitre")
    if 2 * mitre >= depth:
        raise DesignRefusal(
            f"mitre {_say(mitre, unit)} leaves nothing of a tab on a wall of {_say(depth, unit)};"
            f" it must be under {_say(depth // 2, unit)}"
        )


def _lids_close(box: Box, unit: Unit) -> None:
    step = box.length_of("step")
    if len(box.covered) == 2 and box.tiers == 1:
        raise DesignRefusal(
            "with a single tier the inner lid and the outer lid cover the same; leave one out"
        )
    if box.inner_lid_stands_in:
        clearance = box.length_of("inner-lid-clearance")
        if clearance >= step:
            name = _own_or_shared(box, "inner-lid", "clearance")
            raise DesignRefusal(
                f"an inner lid with {name} {_say(clearance, unit)} doesn't fit into the tier"
                f" around it; {name} must be under the step of {_say(step, unit)}"
            )
    for lid in box.covered:
        _lid_is_glued(box, lid, unit)
    if box.length_of("bow") and not box.says_yes("outer-lid"):
        raise DesignRefusal("a bow needs an outer lid; give outer-lid=yes or bow=0")


def _lid_is_glued(box: Box, lid: str, unit: Unit) -> None:
    shape, height = box.lid_shape(lid), box.shape_of(box.covered[lid]).wall
    inner = min(shape.width, shape.length)
    tab, tab_name = box.length_of(f"{lid}-tab"), _own_or_shared(box, lid, "tab")
    if 0 < tab < SMALLEST_TAB:
        raise DesignRefusal(
            f"{tab_name} {_say(tab, unit)} is too narrow to glue; it may be 0, which keeps the"
            f" corners whole, or at least {_say(SMALLEST_TAB, unit)}"
        )
    if tab > min(shape.wall, inner):
        raise DesignRefusal(
            f"{tab_name} {_say(tab, unit)} is longer than the {in_words(lid)}'s wall it folds"
            f" from or is glued to; it may be at most {_say(min(shape.wall, inner), unit)}"
        )
    most = height if tab else min(height, inner)
    if shape.wall > most:
        raise DesignRefusal(
            f"{_own_or_shared(box, lid, 'wall')} {_say(shape.wall, unit)} is too high for the"
            f" {in_words(lid)}: it covers walls of {_say(height, unit)} and its glue tabs meet"
            f" beyond {_say(inner, unit)}; it may be at most {_say(most, unit)}"
        )


def _own_or_shared(box: Box, lid: str, what: str) -> str:
    """Return the setting that a maker would change: the lid's own where it differs."""
    own, shared = f"{lid}-{what}", f"lid-{what}"
    return shared if box.length_of(own) == box.length_of(shared) else own


def _mats_show(box: Box, unit: Unit) -> None:
    if word(box.settings, "mats") != "none":
        smallest = min(box.smallest_face(place) for place in range(1, box.tiers + 1))
        _reveal_leaves(box, smallest, f"the smallest wall of {_say(smallest, unit)}", unit)
    if box.says_yes("lid-strips"):
        if not box.covered:
            raise DesignRefusal("lid-strips need a lid; give outer-lid=yes or leave them out")
        lowest = min(box.lid_shape(lid).wall for lid in box.covered)
        reveal = box.length_of("reveal")
        if lowest - reveal < _THINNEST_STRIP:
            raise DesignRefusal(
                f"reveal {_say(reveal, unit)} leaves no strip on a lid's wall of"
                f" {_say(lowest, unit)}; it may be at most"
                f" {_say(max(0, lowest - _THINNEST_STRIP), unit)}"
            )


def _reveal_leaves(box: Box, side: Length, of_what: str, unit: Unit) -> None:
    if side - box.margin < SMALLEST:
        mats = "mat" if box.layers == 1 else f"mat {box.layers}"
        most = _shown_down(max(0, side - SMALLEST) // box.layers, unit)
        raise DesignRefusal(
            f"reveal {_say(box.length_of('reveal'), unit)} leaves no {mats} on {of_what};"
            f" it may be at most {_say(most, unit)}"
        )


def _cards_slide(box: Box, unit: Unit) -> None:
    if not box.cards:
        return
    place = number(box.settings, "card-tier")
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
            f"card-size {_say(side, unit)} doesn't slide into a pocket, which is"
            f" {_say(across, unit)} wide and {_say(down, unit)} deep inside; it must be smaller"
        )
    if box.card_faces:
        _reveal_leaves(box, side, f"a card of {_say(side, unit)}", unit)
    if box.length_of("hole"):
        _hole_is_whole(box, side, unit)
    elif box.length_of("card-ribbon"):
        raise DesignRefusal("card-ribbon needs a hole in the card; give hole=5mm or card-ribbon=0")
    elif box.says_yes("eyelet"):
        raise DesignRefusal("an eyelet needs a hole in the card; give hole=5mm or eyelet=no")


def _hole_is_whole(box: Box, side: Length, unit: Unit) -> None:
    hole, edge = box.length_of("hole"), box.length_of("hole-edge")
    if hole < SMALLEST_HOLE:
        raise DesignRefusal(
            f"hole {_say(hole, unit)} is smaller than a punch makes; it may be 0 for none, or at"
            f" least {_say(SMALLEST_HOLE, unit)}"
        )
    rims = {layer * box.length_of("reveal") // 2 for layer in range(1, box.layers + 1)}
    for rim in sorted(rims) if box.card_faces else ():
        if edge < rim < edge + hole:
            raise DesignRefusal(
                f"hole-edge {_say(edge, unit)} puts the hole of {_say(hole, unit)} across the"
                f" edge of a mat; it must be at least {_say(rim, unit)}"
            )
    lowest = side - max(rims) if box.card_faces else side
    if edge + hole + WEB > lowest:
        raise DesignRefusal(
            f"hole {_say(hole, unit)} at hole-edge {_say(edge, unit)} leaves too little paper"
            f" below it; hole-edge may be at most {_say(max(0, lowest - hole - WEB), unit)}"
        )


def _photos_fit(box: Box, unit: Unit) -> None:
    if not number(box.settings, "photos"):
        return
    place, side = number(box.settings, "photo-tier"), box.length_of("photo-size")
    room = box.smallest_wall_side(place)
    if side > room:
        raise DesignRefusal(
            f"photo-size {_say(side, unit)} is larger than the walls of tier {place},"
            f" {_say(room, unit)}"
        )


def _shown_down(length: Length, unit: Unit) -> Length:
    """Round a limit down to what can be written exactly, so that it is taken if it is given."""
    step = inch("1/64") if unit is Unit.IN else mm("0.01")
    return length // step * step


def _say(length: Length, unit: Unit) -> str:
    return format_length(length, unit)
