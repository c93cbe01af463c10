"""The paper between the tiers of a layered box, and the clearance it needs.

A wall that stands on a score line reaches half its thickness to either side of the line;
everything glued on it adds its whole thickness.  Layers are counted across the
whole box, so a facing counts twice: four half sheets.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from nester.core.lengths import Length
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_clearance
from nester.designs.base.design import Settings
from nester.designs.boxes.layered_box.sizes import INSIDE, OUTSIDE, LayeredBox, plain_name

__all__ = [
    "card_layers",
    "fitting_clearance",
    "fitting_step",
    "joints",
    "mat_role",
]

_WALL_HALF_THICKNESSES = 2
"""Half sheets of two walls on one side of their score lines."""
_FACING_HALF_THICKNESSES = 4
"""Half sheets of two facings, one on each of two walls."""


def mat_role(role: str, layer: int) -> str:
    """Return the role of the mat that is number `layer` on its face."""
    return role if layer == 1 else f"{role}.{layer}"


def _role(box: LayeredBox, place: int) -> str:
    return "tray" if box.is_tray(place) else f"tier.{place}"


def _mat_layers(box: LayeredBox, role: str, half_sheets: int) -> Iterable[Layer]:
    return (Layer(mat_role(role, layer), half_sheets) for layer in range(1, box.layers + 1))


def _count_on_opposite_walls(count: int) -> int:
    """Return how many things, spread evenly over four walls, two opposite walls have room for.

    What stands between or around them is in the middle, so the fuller wall counts twice.
    """
    return 2 * -(-count // 4)


def _layers_on_side(box: LayeredBox, place: int, side: str) -> Iterable[Layer]:
    """Give the layers on one side of two opposite walls of a tier, the walls among them."""
    role = _role(box, place)
    yield Layer(role, _WALL_HALF_THICKNESSES)
    if box.mats_on(side):
        yield from _mat_layers(box, f"mat.{place}.{side}", _FACING_HALF_THICKNESSES)
    photos = box.photos_on(place, side)
    if photos:
        yield Layer("photo", 2 * _count_on_opposite_walls(photos))


def _layers_outside_wall(box: LayeredBox, place: int) -> Iterable[Layer]:
    yield from _layers_on_side(box, place, OUTSIDE)
    if not box.is_tray(place) and box.has_flaps(place):
        yield Layer(_role(box, place), _FACING_HALF_THICKNESSES)


def _layers_inside(box: LayeredBox, place: int) -> Iterable[Layer]:
    yield from _layers_on_side(box, place, INSIDE)
    if box.has_pockets(place):
        yield Layer(_role(box, place), _FACING_HALF_THICKNESSES)
    if box.has_cards_in(place):
        yield from _card_layers(box, 2 * _count_on_opposite_walls(box.cards))


def _card_layers(box: LayeredBox, half_sheets: int) -> Iterable[Layer]:
    """Give cards with all their mats; `half_sheets` counts the cards alone."""
    yield Layer("card", half_sheets)
    if box.card_faces:
        yield from _mat_layers(box, "card-mat", half_sheets * box.card_faces)


def card_layers(box: LayeredBox) -> tuple[Layer, ...]:
    """Give the cards in a fullest pocket, which draw its sides in, with all their mats."""
    return tuple(_card_layers(box, 2 * -(-box.cards // 4)))


def _tier_layers(box: LayeredBox, place: int) -> tuple[Layer, ...]:
    return (*_layers_inside(box, place - 1), *_layers_outside_wall(box, place))


def _layers_under_lid(box: LayeredBox, name: str) -> tuple[Layer, ...]:
    """Give the layers between a lid and the walls it covers; a tab is glued inside each wall."""
    return (
        *_layers_outside_wall(box, box.covered_tiers[name]),
        Layer(name, _WALL_HALF_THICKNESSES + _FACING_HALF_THICKNESSES),
    )


def _layers_round_inner_lid(box: LayeredBox) -> tuple[Layer, ...]:
    strips = (
        [Layer("mat.inner-lid.strip", _FACING_HALF_THICKNESSES)] if box.is_yes("lid-strips") else []
    )
    return (
        *_layers_inside(box, box.inner_lid_tier),
        Layer("inner-lid", _WALL_HALF_THICKNESSES),
        *strips,
    )


def fitting_clearance(*names: str) -> Callable[[Settings, Thickness], Length]:
    """Return the function that gives the largest clearance any of the named lids needs.

    A lid whose own clearance is among the settings, given by hand, needs none.
    """

    def fitted(before: Settings, thickness: Thickness) -> Length:
        box = LayeredBox(before)
        play = box.length_of("play")
        lids = [
            name
            for name in names
            if name in box.covered_tiers and f"{name}-clearance" not in before
        ]
        return max(
            (smallest_clearance(_layers_under_lid(box, name), play, thickness) for name in lids),
            default=play,
        )

    return fitted


def fitting_step(before: Settings, thickness: Thickness) -> Length:
    """Return the smallest step that leaves the play asked for between all tiers."""
    box = LayeredBox(before)
    play = box.length_of("play")
    clearances = [
        smallest_clearance(_tier_layers(box, place), play, thickness)
        for place in range(2, box.tiers + 1)
    ]
    if box.inner_lid_tier:
        between = smallest_clearance(_layers_round_inner_lid(box), play, thickness)
        clearances.append(box.length_of("inner-lid-clearance") + between)
    return max(clearances, default=play)


def joints(settings: Settings) -> tuple[Joint, ...]:
    """Return what goes into what in a layered box."""
    box = LayeredBox(settings)
    return (
        *_tier_joints(box),
        *_lid_joints(box),
        *_rim_joints(box),
        *_facing_joints(box),
        *_card_joints(box),
    )


def _each_way(
    box: LayeredBox, name: str, clearance: Length, layers: tuple[Layer, ...]
) -> Iterable[Joint]:
    """Give the joint across, and along if that is another size."""
    ways = ("across",) if box.is_square else ("across", "along")
    return (Joint(f"{name}, {way}", clearance, layers, box.length_of("play")) for way in ways)


def _tier_name(box: LayeredBox, place: int) -> str:
    return "tray" if box.is_tray(place) else f"tier {place}"


def _tier_joints(box: LayeredBox) -> Iterable[Joint]:
    for place in range(2, box.tiers + 1):
        name = f"{_tier_name(box, place)} in tier {place - 1}"
        yield from _each_way(box, name, box.length_of("step"), _tier_layers(box, place))


def _lid_joints(box: LayeredBox) -> Iterable[Joint]:
    for name, place in box.covered_tiers.items():
        clearance = box.length_of(f"{name}-clearance")
        called = f"{plain_name(name)} over {_tier_name(box, place)}"
        yield from _each_way(box, called, clearance, _layers_under_lid(box, name))
    if box.inner_lid_tier:
        clearance = box.length_of("step") - box.length_of("inner-lid-clearance")
        called = f"inner lid in tier {box.inner_lid_tier}"
        yield from _each_way(box, called, clearance, _layers_round_inner_lid(box))


def _rim_joints(box: LayeredBox) -> Iterable[Joint]:
    """Give how far inner walls and the inner lid stay below the rim around them.

    A tier stands on the base around it: half the thickness of each is between the score lines of
    the two.
    """
    if box.tiers == 1:
        return
    base: tuple[Layer, ...] = ()
    for place in range(2, box.tiers + 1):
        clearance = box.shape_of(place - 1).wall_height - box.shape_of(place).wall_height
        step_up = (Layer(_role(box, place - 1), 1), Layer(_role(box, place), 1))
        base += step_up
        name = f"{_tier_name(box, place)} below the rim of tier {place - 1}, upwards"
        yield Joint(name, clearance, step_up, 0, one_sided=True)
    if box.inner_lid_tier:
        clearance = box.shape_of(1).wall_height - box.shape_of(box.tiers).wall_height
        mats = tuple(_mat_layers(box, "mat.inner-lid", 2)) if box.mats_on(OUTSIDE) else ()
        name = "inner lid below the rim of tier 1, upwards"
        yield Joint(name, clearance, (*base, Layer("inner-lid", 2), *mats), 0, one_sided=True)


def _facing_joints(box: LayeredBox) -> Iterable[Joint]:
    """Give how mats and photos lie flat between upright walls.

    Between two walls there is less than their score lines are apart: by half the thickness of
    each, and by whatever is glued on them; in a tray, by a tab inside each wall.
    """
    reveal = box.length_of("reveal")
    for place in range(1, box.tiers + 1):
        role, name = _role(box, place), _tier_name(box, place)
        walls = [Layer(role, _WALL_HALF_THICKNESSES)]
        if box.is_tray(place):
            walls.append(Layer(role, _FACING_HALF_THICKNESSES))
        clearance = reveal
        if box.has_pockets(place):
            walls.append(Layer(role, _FACING_HALF_THICKNESSES))
            clearance += box.length_of("pocket-trim")
        mat = Layer(f"mat.{place}.{INSIDE}", _FACING_HALF_THICKNESSES)
        if box.mats_on(INSIDE):
            lies = f"mats inside {name}, between its walls"
            yield Joint(lies, clearance, (*walls, mat), 0, setting="reveal")
            if place == box.tiers:
                base = (*walls, mat, Layer("mat.base", _FACING_HALF_THICKNESSES))
                yield Joint("mat on the base, between the walls", reveal, base, 0, setting="reveal")
            walls.extend(_mat_layers(box, f"mat.{place}.{INSIDE}", _FACING_HALF_THICKNESSES))
        if box.photos_on(place, INSIDE):
            clearance = box.smallest_wall_side(place) - box.length_of("photo-size")
            photos = (*walls, Layer("photo", _FACING_HALF_THICKNESSES))
            yield Joint(f"photos inside {name}, between its walls", clearance, photos, 0)


def _card_joints(box: LayeredBox) -> Iterable[Joint]:
    """Give how cards slide into their pockets.

    A filled pocket bulges, which draws its sides in by about the thickness of what it holds
    (common practice, no source).
    """
    if not box.cards:
        return
    side = box.length_of("card-size")
    across, down = box.card_room
    layers = card_layers(box)
    yield Joint("pull-out card in its pocket, across", across - side, layers, box.length_of("play"))
    yield Joint("pull-out card in its pocket, down", down - side, (), 0, one_sided=True)
