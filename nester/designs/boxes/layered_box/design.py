"""The layered box: tiers nested in one another, which fall open when the lid is lifted.

Tier 1 is the outermost.  Each next tier stands inside the one before it, its base smaller by the
step.  With a square base and walls as high as it is wide, a tier's blank is 3 × 3 panels.  The
innermost may be a tray: the same base and, unless another depth is asked for, walls as high as
that tier's would be; but they are held up by glue tabs instead of falling open.  (A box of 18 cm
panels, four tiers and a step of 2 cm has a tray of 12 × 12 × 12 cm from a blank of 36 cm.)  The
inner lid goes over the innermost tier or tray, the outer lid over tier 1.
"""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length
from nester.core.piece import Piece
from nester.designs.base.design import Consumable, Design, Measure, SectionPart, Settings, number_in
from nester.designs.boxes.layered_box.clearances import joints
from nester.designs.boxes.layered_box.rules import check_rules
from nester.designs.boxes.layered_box.settings import SETTINGS
from nester.designs.boxes.layered_box.sizes import (
    INSIDE,
    LIDS,
    MOST_LAYERS,
    MOST_TIERS,
    OUTSIDE,
    LayeredBox,
    plain_name,
)
from nester.designs.boxes.layered_box.tier import tier
from nester.designs.parts.inserts import PunchedHole, photo_prints, pull_out_cards, with_hole
from nester.designs.parts.lid import lid
from nester.designs.parts.mat import mats
from nester.designs.parts.strips import lid_strips
from nester.designs.parts.tray import tray

__all__ = ["LAYERED_BOX"]


def _make_pieces(settings: Settings) -> tuple[Piece, ...]:
    box = LayeredBox(settings)
    return (*_tiers(box), *_lids(box), *_mats(box), *_inserts(box))


def _tiers(box: LayeredBox) -> Iterable[Piece]:
    for place in range(1, box.tiers + 1):
        width, length, wall = box.shape_of(place)
        if box.is_tray(place):
            yield tray(width, length, wall, box.length_of("tab"), box.length_of("mitre"))
            continue
        seat = box.shape_of(place + 1) if place < box.tiers else None
        yield tier(
            place,
            width,
            box.corners_of(place),
            seat.width if seat else 0,
            length=length,
            wall=wall,
            seat_length=seat.length if seat else 0,
            pocket=box.pocket,
        )


def _lids(box: LayeredBox) -> Iterable[Piece]:
    for name, place in box.covered_tiers.items():
        width, length, _ = box.shape_of(place)
        clearance, wall, tab = (
            box.length_of(f"{name}-{what}") for what in ("clearance", "wall", "tab")
        )
        yield lid(plain_name(name), name, width, length, clearance, wall, tab)


def _mats(box: LayeredBox) -> Iterable[Piece]:
    """Make mats on four walls of each tier and side, on the lids and on the innermost base."""

    def on(name: str, role: str, width: Length, length: Length, count: int = 1) -> Iterable[Piece]:
        return mats(name, role, width, length, box.length_of("reveal"), count, box.layers)

    for place in range(1, box.tiers + 1):
        for side in (OUTSIDE, INSIDE):
            if box.mats_on(side):
                for called, width, height, count in box.faces_of(place, side):
                    name = f"mat {place} {side}{called}"
                    yield from on(name, f"mat.{place}.{side}", width, height, count)
    if box.mats_on(INSIDE):
        width, length, _ = box.shape_of(box.tiers)
        yield from on("mat base", "mat.base", width, length)
    for lid_name in box.covered_tiers:
        shape = box.lid_shape(lid_name)
        if box.mats_on(OUTSIDE):
            name = f"mat {plain_name(lid_name)}"
            yield from on(name, f"mat.{lid_name}", shape.width, shape.length)
        if box.is_yes("lid-strips"):
            role = f"mat.{lid_name}.strip"
            yield from lid_strips(plain_name(lid_name), role, shape, box.length_of("reveal"))


def _inserts(box: LayeredBox) -> Iterable[Piece]:
    if box.cards:
        yield from _cards(box)
    photos = number_in(box.settings, "photos")
    if photos:
        yield photo_prints(box.length_of("photo-size"), photos)


def _cards(box: LayeredBox) -> Iterable[Piece]:
    side, hole = box.length_of("card-size"), box.length_of("hole")
    eyelet = box.is_yes("eyelet")
    punch = PunchedHole(hole, box.length_of("hole-edge"), eyelet) if hole else None
    yield pull_out_cards(side, box.cards, punch)
    count = box.cards * box.card_faces
    if not count:
        return
    reveal = box.length_of("reveal")
    for card_mat in mats("pull-out card mat", "card-mat", side, side, reveal, count, box.layers):
        # One eyelet goes through card and mats together, and is counted on the card.
        yield with_hole(card_mat, side, punch._replace(eyelet=False)) if punch else card_mat


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    box = LayeredBox(settings)
    made = []
    loop, bow = box.length_of("card-ribbon"), box.length_of("bow")
    if box.cards and loop:
        use = "loop of a pull-out card"
        made.append(Consumable("ribbon", use, Measure.LENGTH, loop, box.cards))
    if bow:
        made.append(Consumable("ribbon", "bow on the outer lid", Measure.LENGTH, bow))
    return tuple(made)


def _section(settings: Settings) -> tuple[SectionPart, ...]:
    box = LayeredBox(settings)
    parts = []
    for place in range(1, box.tiers + 1):
        width, _, wall = box.shape_of(place)
        name, role = ("tray", "tray") if box.is_tray(place) else (f"tier {place}", f"tier.{place}")
        parts.append(SectionPart(name, role, width, wall, nesting_depth=place - 1))
    for name, place in box.covered_tiers.items():
        shape = box.lid_shape(name)
        inside = place - 1
        parts.append(
            SectionPart(plain_name(name), name, shape.width, shape.wall_height, True, inside)
        )
    return tuple(parts)


_TIER_NUMBERS = range(1, MOST_TIERS + 1)
_UPPER_MAT_LAYERS = range(2, MOST_LAYERS + 1)


def _with_layers(*roles: str) -> tuple[str, ...]:
    return tuple(
        layer_role
        for role in roles
        for layer_role in (role, *(f"{role}.{layer}" for layer in _UPPER_MAT_LAYERS))
    )


LAYERED_BOX = Design(
    name="layered-box",
    title="a box of nested tiers that falls open when its lid is lifted",
    settings=SETTINGS,
    roles=("tier", "tray", *LIDS, "mat", "card", "card-mat", "photo"),
    sub_roles=(
        *(f"tier.{place}" for place in _TIER_NUMBERS),
        *(f"mat.{place}" for place in _TIER_NUMBERS),
        *_with_layers(
            *(f"mat.{place}.{side}" for place in _TIER_NUMBERS for side in (OUTSIDE, INSIDE)),
            "mat.base",
            *(f"mat.{lid_name}" for lid_name in LIDS),
        ),
        *(f"mat.{lid_name}.strip" for lid_name in LIDS),
        *(f"card-mat.{layer}" for layer in _UPPER_MAT_LAYERS),
    ),
    check_rules=check_rules,
    make_pieces=_make_pieces,
    joints=joints,
    consumables=_consumables,
    section=_section,
)
