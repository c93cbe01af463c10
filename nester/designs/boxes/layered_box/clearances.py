"""What lies between the tiers of a layered box, and so how far apart they must be.

A wall that stands on a score line reaches half its thickness to either side of the line;
everything glued on it lies beside that with its whole thickness.  Layers are counted across the
whole box, so a facing counts twice: four half sheets.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from nester.core.lengths import Length
from nester.designs.base.clearance import Joint, Layer, Thickness, smallest_room
from nester.designs.base.design import Settings
from nester.designs.boxes.layered_box.sizes import INSIDE, OUTSIDE, Box, in_words

__all__ = [
    "fitting_clearance",
    "fitting_step",
    "joints",
    "layers_outside",
    "mat_role",
]

_STANDING = 2
"""Half sheets of two walls on one side of their score lines."""
_LYING = 4
"""Half sheets of two facings, one on each of two walls."""


def mat_role(role: str, layer: int) -> str:
    """Return the role of the mat that is number `layer` on its face."""
    return role if layer == 1 else f"{role}.{layer}"


def _role(box: Box, place: int) -> str:
    return "tray" if box.is_tray(place) else f"tier.{place}"


def _mats(box: Box, role: str, half_sheets: int) -> Iterable[Layer]:
    return (Layer(mat_role(role, layer), half_sheets) for layer in range(1, box.layers + 1))


def _opposite(count: int) -> int:
    """Return how many of some things spread evenly over four walls lie on two opposite ones."""
    return 2 * (count // 4) + min(2, count % 4)


def _side(box: Box, place: int, side: str) -> Iterable[Layer]:
    """Give what lies on one side of two opposite walls of a tier, the walls with it."""
    role = _role(box, place)
    yield Layer(role, _STANDING)
    if box.mats_on(side):
        yield from _mats(box, f"mat.{place}.{side}", _LYING)
    photos = box.photos_on(place, side)
    if photos:
        yield Layer("photo", 2 * _opposite(photos))


def _outside(box: Box, place: int) -> Iterable[Layer]:
    yield from _side(box, place, OUTSIDE)
    if not box.is_tray(place) and box.has_flaps(place):
        yield Layer(_role(box, place), _LYING)


def layers_outside(box: Box, place: int) -> int:
    """Return how many papers lie on the outside of a tier's walls."""
    return len(tuple(_outside(box, place))) - 1


def _inside(box: Box, place: int) -> Iterable[Layer]:
    yield from _side(box, place, INSIDE)
    if box.has_pockets(place):
        yield Layer(_role(box, place), _LYING)
    if box.has_cards_in(place):
        yield from _cards(box, 2 * _opposite(box.cards))


def _cards(box: Box, half_sheets: int) -> Iterable[Layer]:
    """Give cards with all their mats; `half_sheets` is of the cards alone."""
    yield Layer("card", half_sheets)
    if box.card_faces:
        yield from _mats(box, "card-mat", half_sheets * box.card_faces)


def _tier_layers(box: Box, place: int) -> tuple[Layer, ...]:
    return (*_inside(box, place - 1), *_outside(box, place))


def _under_lid(box: Box, name: str) -> tuple[Layer, ...]:
    """Give what lies between a lid and the walls it covers; a tab is glued inside each wall."""
    return (*_outside(box, box.covered[name]), Layer(name, _STANDING + _LYING))


def _round_inner_lid(box: Box) -> tuple[Layer, ...]:
    strips = [Layer("mat.inner-lid.strip", _LYING)] if box.says_yes("lid-strips") else []
    return (*_inside(box, box.inner_lid_stands_in), Layer("inner-lid", _STANDING), *strips)


def fitting_clearance(*names: str) -> Callable[[Settings, Thickness], Length]:
    """Return how a clearance is worked out: the largest that one of the named lids needs."""

    def worked_out(before: Settings, thickness: Thickness) -> Length:
        box = Box(before)
        play = box.length_of("play")
        lids = [name for name in names if name in box.covered]
        return max(
            (smallest_room(_under_lid(box, name), play, thickness) for name in lids), default=play
        )

    return worked_out


def fitting_step(before: Settings, thickness: Thickness) -> Length:
    """Return the smallest step that leaves the wished-for play between all tiers."""
    box = Box(before)
    play = box.length_of("play")
    rooms = [
        smallest_room(_tier_layers(box, place), play, thickness)
        for place in range(2, box.tiers + 1)
    ]
    if box.inner_lid_stands_in:
        between = smallest_room(_round_inner_lid(box), play, thickness)
        rooms.append(box.length_of("inner-lid-clearance") + between)
    return max(rooms, default=play)


def joints(settings: Settings) -> tuple[Joint, ...]:
    """Return what goes into what in a layered box."""
    box = Box(settings)
    return (*_tier_joints(box), *_lid_joints(box), *_rim_joints(box), *_card_joints(box))


def _each_way(box: Box, name: str, room: Length, layers: tuple[Layer, ...]) -> Iterable[Joint]:
    """Give the joint across, and along if that is another size."""
    ways = ("across",) if box.is_square else ("across", "along")
    return (Joint(f"{name}, {way}", room, layers, box.length_of("play")) for way in ways)


def _called(box: Box, place: int) -> str:
    return "tray" if box.is_tray(place) else f"tier {place}"


def _tier_joints(box: Box) -> Iterable[Joint]:
    for place in range(2, box.tiers + 1):
        name = f"{_called(box, place)} in tier {place - 1}"
        yield from _each_way(box, name, box.length_of("step"), _tier_layers(box, place))


def _lid_joints(box: Box) -> Iterable[Joint]:
    for name, place in box.covered.items():
        clearance = box.length_of(f"{name}-clearance")
        called = f"{in_words(name)} over {_called(box, place)}"
        yield from _each_way(box, called, clearance, _under_lid(box, name))
    if box.inner_lid_stands_in:
        room = box.length_of("step") - box.length_of("inner-lid-clearance")
        called = f"inner lid in tier {box.inner_lid_stands_in}"
        yield from _each_way(box, called, room, _round_inner_lid(box))


def _rim_joints(box: Box) -> Iterable[Joint]:
    """Give how far inner walls and the inner lid stay below the rim around them.

    A tier stands on the base around it: between the score lines of the two lies half the
    thickness of each.
    """
    if box.tiers == 1:
        return
    base: tuple[Layer, ...] = ()
    for place in range(2, box.tiers + 1):
        room = box.shape_of(place - 1).wall - box.shape_of(place).wall
        step_up = (Layer(_role(box, place - 1), 1), Layer(_role(box, place), 1))
        base += step_up
        name = f"{_called(box, place)} below the rim of tier {place - 1}, upwards"
        yield Joint(name, room, step_up, 0, one_sided=True)
    if box.inner_lid_stands_in:
        room = box.shape_of(1).wall - box.shape_of(box.tiers).wall
        mats = tuple(_mats(box, "mat.inner-lid", 2)) if box.mats_on(OUTSIDE) else ()
        name = "inner lid below the rim of tier 1, upwards"
        yield Joint(name, room, (*base, Layer("inner-lid", 2), *mats), 0, one_sided=True)


def _card_joints(box: Box) -> Iterable[Joint]:
    """Give how cards slide into their pockets.

    A filled pocket bulges, which draws its sides in by about the thickness of what it holds
    (common practice, no source).
    """
    if not box.cards:
        return
    in_a_pocket = -(-box.cards // 4)
    side = box.length_of("card-size")
    across, down = box.card_room
    layers = tuple(_cards(box, 2 * in_a_pocket))
    yield Joint("pull-out card in its pocket, across", across - side, layers, box.length_of("play"))
    yield Joint("pull-out card in its pocket, down", down - side, (), 0, one_sided=True)
