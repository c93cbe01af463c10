"""What a layered box's settings mean: the sizes and shapes of its tiers, lids and inserts.

Tier 1 is the outermost.  Each next tier stands inside the one before, its base smaller by the
step each way, its walls lower by the wall step.
"""

from __future__ import annotations

from typing import NamedTuple

from nester.core.lengths import Length, mm
from nester.designs.base.design import Settings, choice_in, number_in
from nester.designs.boxes.layered_box.tier import (
    FLAPS,
    FLAPS_ANTICLOCKWISE,
    POCKETS,
    Pocket,
    pocket_room,
)
from nester.designs.parts.lid import lid_inside
from nester.designs.parts.walled import WalledBase

__all__ = [
    "BOTH",
    "CROSS",
    "INSIDE",
    "LIDS",
    "MIN_SIDE",
    "MOST_LAYERS",
    "MOST_TIERS",
    "ONE",
    "OUTSIDE",
    "SAME",
    "TRAY",
    "Face",
    "LayeredBox",
    "plain_name",
]

TRAY = "tray"
CROSS = "cross"
OUTSIDE = "outside"
INSIDE = "inside"
BOTH = "both"
ONE = "one"
SAME = "same"
"""A tier has the same corners as the others, or pockets if the cards go there."""
LIDS = ("inner-lid", "outer-lid")
MOST_TIERS = 8
MOST_LAYERS = 4
MIN_SIDE: Length = mm(5)
"""Nothing smaller can be cut, scored and handled (common practice, no source)."""

_WALL_COUNT = 4


class Face(NamedTuple):
    """Equal upright faces of a tier, how many there are, and what their mats' names end in."""

    name_suffix: str
    width: Length
    height: Length
    quantity: int


class LayeredBox(NamedTuple):
    """The settings of a box; while defaults are taken, only those read so far."""

    settings: Settings

    def length_of(self, name: str) -> Length:
        """Return a length among the settings."""
        return number_in(self.settings, name)

    def is_yes(self, name: str) -> bool:
        """Whether a choice is yes."""
        return choice_in(self.settings, name) == "yes"

    # Tiers

    @property
    def tiers(self) -> int:
        """How many tiers there are, with the tray."""
        return number_in(self.settings, "tiers")

    @property
    def is_square(self) -> bool:
        """Whether all bases are square."""
        return number_in(self.settings, "panel") == number_in(self.settings, "length")

    @property
    def shorter_side(self) -> Length:
        """The shorter side of the outer tier's base."""
        return min(number_in(self.settings, "panel"), number_in(self.settings, "length"))

    @property
    def has_tray(self) -> bool:
        """Whether the innermost tier is a tray."""
        return choice_in(self.settings, "centre") == TRAY

    def is_tray(self, place: int) -> bool:
        """Whether a tier is the tray."""
        return self.has_tray and place == self.tiers

    def shape_of(self, place: int) -> WalledBase:
        """Return the base and walls of a tier or the tray; 1 is the outermost."""
        reduction = (place - 1) * number_in(self.settings, "step")
        return WalledBase(
            number_in(self.settings, "panel") - reduction,
            number_in(self.settings, "length") - reduction,
            number_in(self.settings, "tray-depth") if self.is_tray(place) else self.wall_of(place),
        )

    def side_of(self, place: int) -> Length:
        """Return the shorter side of a tier's base."""
        return self.shorter_side - (place - 1) * number_in(self.settings, "step")

    def wall_of(self, place: int) -> Length:
        """Return the height of a tier's walls, unless it is a tray with its own depth."""
        return number_in(self.settings, "wall") - (place - 1) * number_in(
            self.settings, "wall-step"
        )

    def faces_of(self, place: int, side: str) -> tuple[Face, ...]:
        """Return the faces that mats go on: walls, or on the inside the fronts of pockets.

        Outside, mats of a tier with flaps go on the flaps, which cover the walls.
        """
        width, length, wall = self.shape_of(place)
        trim = 0
        if side == INSIDE and self.has_pockets(place):
            trim = self.length_of("pocket-trim")
            width, length = min(width, wall), min(length, wall)
        across = Face("", width - trim, wall - trim, _WALL_COUNT)
        if width == length:
            return (across,)
        half = _WALL_COUNT // 2
        return (
            across._replace(quantity=half),
            Face(" side", length - trim, wall - trim, half),
        )

    def smallest_face(self, place: int) -> Length:
        """Return the shortest side of a face that a mat goes on."""
        sides = [side for side in (OUTSIDE, INSIDE) if self.mats_on(side)]
        faces = [face for side in sides for face in self.faces_of(place, side)]
        return min(min(face.width, face.height) for face in faces)

    def smallest_wall_side(self, place: int) -> Length:
        """Return the shortest side of a tier's walls."""
        return min(self.shape_of(place))

    def corners_of(self, place: int) -> str:
        """Return how a tier's corners are made, one of `CORNERS`."""
        own = choice_in(self.settings, f"corners-{place}")
        if own != SAME:
            return own
        return POCKETS if self.has_cards_in(place) else choice_in(self.settings, "corners")

    def has_flaps(self, place: int) -> bool:
        """Whether a tier's corners fold over its walls."""
        return self.corners_of(place) in (FLAPS, FLAPS_ANTICLOCKWISE)

    def has_pockets(self, place: int) -> bool:
        """Whether a tier's corners are pockets."""
        return not self.is_tray(place) and self.corners_of(place) == POCKETS

    @property
    def pocket(self) -> Pocket:
        """How pockets are made."""
        return Pocket(self.length_of("pocket-trim"), self.length_of("pocket-glue"))

    @property
    def card_room(self) -> tuple[Length, Length]:
        """Clear width and depth of the pockets that take the cards."""
        return pocket_room(self.shape_of(number_in(self.settings, "card-tier")), self.pocket)

    # Lids

    @property
    def covered_tiers(self) -> dict[str, int]:
        """The tiers that lids go over, by the lid's name."""
        places = {"inner-lid": self.tiers, "outer-lid": 1}
        return {name: place for name, place in places.items() if self.is_yes(name)}

    @property
    def inner_lid_tier(self) -> int:
        """The tier around the inner lid; 0 without an inner lid."""
        return self.tiers - 1 if self.is_yes("inner-lid") else 0

    def lid_shape(self, name: str) -> WalledBase:
        """Return the inner base and the walls of a lid."""
        covered = self.shape_of(self.covered_tiers[name])
        clearance = self.length_of(f"{name}-clearance")
        return WalledBase(
            lid_inside(covered.width, clearance),
            lid_inside(covered.length, clearance),
            self.length_of(f"{name}-wall"),
        )

    # Facings and inserts

    @property
    def layers(self) -> int:
        """How many mats are glued on one another."""
        return number_in(self.settings, "layers")

    @property
    def mat_margin(self) -> Length:
        """How much smaller the topmost mats are than the face they are on, each way."""
        return self.layers * self.length_of("reveal")

    def mats_on(self, side: str) -> bool:
        """Whether mats are wanted on a side of the walls."""
        return choice_in(self.settings, "mats") in (side, BOTH)

    @property
    def cards(self) -> int:
        """How many pull-out cards there are."""
        return number_in(self.settings, "cards")

    @property
    def card_faces(self) -> int:
        """How many sides of a card have mats."""
        return {"none": 0, ONE: 1, BOTH: 2}[choice_in(self.settings, "card-mats")]

    def has_cards_in(self, place: int) -> bool:
        """Whether a tier's pockets take cards."""
        return self.cards > 0 and place == number_in(self.settings, "card-tier")

    def photos_on(self, place: int, side: str) -> int:
        """How many photos are glued on a side of a tier's walls, one to a wall: insides first."""
        if place != number_in(self.settings, "photo-tier"):
            return 0
        photos = number_in(self.settings, "photos")
        inside = min(photos, _WALL_COUNT)
        return inside if side == INSIDE else min(photos - inside, _WALL_COUNT)


def plain_name(name: str) -> str:
    """Return what a lid is called in a sentence."""
    return name.replace("-", " ")
