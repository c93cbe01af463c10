"""Boxes put together from their folded pieces, and measured: what is wrong with what is told.

Knows a design by its JSON alone, as `quirebox design show --json` prints it: pieces, their notes
and the play told of each joint; how thick papers are is worked out here.  Walls stand on the
middle of their folds; whatever is glued on a wall lies flat on what is there already.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Any, TypeAlias

import numpy as np

from tests.folding_engine import (
    FoldingError,
    Points,
    Slab,
    box_slab,
    fold_up,
    moved,
    overlap,
    pushed,
)

__all__ = ["faults_of_design", "thickness_from"]

JsonPiece: TypeAlias = Mapping[str, Any]
Thickness: TypeAlias = Callable[[str], float]

ROUNDING = 1e-3
"""Told thicknesses are rounded up to a fine unit, a few to a joint, in mm."""
EXACT = 1e-5
X, Y, Z = np.eye(3)
WAYS = {"across": 0, "along": 1}


def thickness_from(grammages: Mapping[str, int]) -> Thickness:
    """Return how thick the paper of a role is in mm, at 1.3 cm³/g: 300 g/m² are 0.39 mm."""

    def of(role: str) -> float:
        while role and role not in grammages:
            role = role.rpartition(".")[0]
        return grammages[role or "all"] * 1.3 / 1000

    return of


# ---- parts with walls --------------------------------------------------------------------------


@dataclass
class Wall:
    """One upright wall, and how far what lies on it reaches from the middle of its sheet."""

    slab: Slab
    inward: Points
    inside: float
    outside: float
    pocket: Slab | None = None

    @property
    def axis(self) -> int:
        """Across which direction it stands."""
        return int(np.abs(self.inward).argmax())

    def laid(self, slab: Slab, *, inside: bool) -> Slab:
        """Lay a slab, which is in the middle plane of the wall, on what is on one side."""
        if inside:
            distance = self.inside + slab.thickness / 2
            self.inside += slab.thickness
        else:
            distance = -self.outside - slab.thickness / 2
            self.outside += slab.thickness
        return pushed(slab, self.inward, distance)


@dataclass
class Part:
    """A folded piece with walls, and all that is glued to it."""

    name: str
    base: Slab
    walls: list[Wall]
    slabs: list[Slab] = field(default_factory=list)
    under: float = 0
    """How far the base and what is glued on its inside reach, from its middle."""

    def glue(self, wall: Wall, width: float, height: float, thick: float, *, inside: bool) -> None:
        """Glue a rectangle in the middle of a wall, or of the pocket on it."""
        host = wall.pocket if inside and wall.pocket is not None else wall.slab
        centre = host.centre - wall.inward * ((host.centre - wall.slab.centre) @ wall.inward)
        flat = box_slab(centre, np.cross(Z, wall.inward), Z, (width, height), thick)
        self.slabs.append(wall.laid(flat, inside=inside))

    def cover(self, width: float, length: float, thick: float) -> None:
        """Glue a rectangle in the middle of the base: inside a box, on top of a lid."""
        lies = self.base.centre + Z * (self.under + thick / 2)
        self.slabs.append(box_slab(lies, X, Y, (width, length), thick))
        self.under += thick

    def lifted(self, height: float) -> None:
        """Lift the part with all that is glued to it."""
        way = (0.0, 0.0, height)
        self.base = moved(self.base, way)
        self.slabs = [moved(slab, way) for slab in self.slabs]
        for wall in self.walls:
            wall.slab = moved(wall.slab, way)

    @property
    def all_slabs(self) -> list[Slab]:
        """The base, the walls and what is glued on them."""
        return [self.base, *(wall.slab for wall in self.walls), *self.slabs]

    def outer(self, axis: int) -> float:
        """Return its outer size, as if both sides reached as far from the middle as the fuller."""
        points = np.concatenate([slab.solid for slab in self.all_slabs])[:, axis]
        return 2 * float(np.abs(points).max())

    def clear(self, axis: int) -> float:
        """Return the clear size in its middle, between all that lies on its walls."""
        reaches = [
            abs(slab.centre[axis]) - slab.thickness / 2
            for slab in self.all_slabs
            if abs(slab.normal[axis]) > 0.5
        ]
        return 2 * float(min(reaches))

    @property
    def rim(self) -> float:
        """The height of its walls' upper edges."""
        return float(max(wall.slab.middle[:, 2].max() for wall in self.walls))

    @property
    def top(self) -> float:
        """How high it reaches with all on it."""
        return float(max(slab.solid[:, 2].max() for slab in self.all_slabs))


def part_from(piece: JsonPiece, thickness: float, *, hangs: bool = False) -> Part:
    """Fold a piece with four walls; tabs and flaps go where its note says."""
    slabs = fold_up(piece, thickness)
    upside_down = not hangs and np.concatenate([s.middle for s in slabs])[:, 2].min() < -EXACT
    turned = [moved(slab, (0, 0, 0), upside_down=bool(upside_down)) for slab in slabs]
    low = turned[0].centre
    turned = [moved(slab, -low) for slab in turned]
    walls: dict[int, Wall] = {}
    for at, slab in enumerate(turned):
        if slab.depth == 1:
            level = slab.centre * np.array([1.0, 1.0, 0.0])
            inward = -level / np.linalg.norm(level)
            walls[at] = Wall(slab, np.round(inward, 9), thickness / 2, thickness / 2)
    side = -1 if hangs else 1
    if any(
        wall.slab.centre[2] * side < EXACT or abs(wall.slab.normal[2]) > EXACT
        for wall in walls.values()
    ):
        raise FoldingError(f"{piece['name']}: its walls don't all stand to one side")
    part = Part(piece["name"], turned[0], list(walls.values()), under=thickness / 2)
    if len(walls) != 4:
        raise FoldingError(f"{piece['name']}: {len(walls)} walls")
    for slab in turned:
        if slab.depth < 2:
            continue
        parent = turned[slab.parent]
        if abs(slab.degrees) == 180:
            wall = walls[slab.parent]
            faces_in = float(parent.normal @ wall.inward) > 0
            wall.pocket = slab
            part.slabs.append(wall.laid(slab, inside=faces_in == (slab.degrees > 0)))
            continue
        (wall,) = [w for at, w in walls.items() if at != slab.parent and _in_plane(slab, w.slab)]
        part.slabs.append(wall.laid(slab, inside="inside the next wall" in piece["note"]))
    return part


def _in_plane(slab: Slab, other: Slab) -> bool:
    """Return whether a slab lies in the plane of another, its middle within it."""
    away = np.abs((slab.middle - other.middle[0]) @ other.normal).max()
    low, high = other.middle.min(axis=0) - EXACT, other.middle.max(axis=0) + EXACT
    return bool(away < EXACT and (slab.centre >= low).all() and (slab.centre <= high).all())


# ---- what is wrong with a design ---------------------------------------------------------------


def faults_of_design(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> list[str]:
    """Fold all pieces of a design, put them together, and return what is wrong, in sentences.

    Parameters
    ----------
    design
        Its JSON.
    thickness
        How thick the paper of each role is, in mm.
    settings
        What was asked for; only where things go is read: ``photo-tier``, ``card-tier``.
    """
    try:
        faults = [fault for piece in design["pieces"] for fault in _crossings(piece)]
        faults += CHECKS.get(design["design"], _check_card)(design, thickness, settings)
    except FoldingError as error:
        return [str(error)]
    if design["fold_faults"]:
        faults.append(f"told, but not found: {design['fold_faults']}")
    return faults


def _crossings(piece: JsonPiece) -> Iterable[str]:
    """Fold a piece of paper without thickness; its parts may touch, but pass through none."""
    if not piece["scores"]:
        return
    slabs = fold_up(piece, 0.0)
    for first, second in combinations(slabs, 2):
        depth = overlap(first, second)
        if depth > EXACT:
            yield f"{piece['name']}: its parts pass {depth:.3f} mm through each other"


def _told(design: Mapping[str, Any]) -> dict[str, float]:
    return {line["name"]: line["play"] for line in design["fit"]}


def _differs(name: str, told: float, measured: float) -> Iterable[str]:
    if abs(told - measured) > ROUNDING:
        yield f"{name}: {told:.3f} mm of play are told, {measured:.3f} mm measured"


def _overlaps(parts: Sequence[Part]) -> Iterable[tuple[Part, Part, float]]:
    """Give parts that are within one another, and how far."""
    for first, second in combinations(parts, 2):
        depth = max(overlap(a, b) for a in first.all_slabs for b in second.all_slabs)
        if depth > EXACT:
            yield first, second, depth


def _collisions(parts: Sequence[Part], told: Mapping[str, float]) -> Iterable[str]:
    """Hold that parts are clear of one another unless one of their joints is told to bind."""
    if min(told.values(), default=0.0) < 0:
        return
    for first, second, depth in _overlaps(parts):
        yield f"{first.name} and {second.name}: {depth:.3f} mm within each other, untold"


def _own_collisions(part: Part) -> float:
    """Return how far what is glued into a part is within what else is there."""
    fixed = [part.base, *(wall.slab for wall in part.walls)]
    fixed += [slab for slab in part.slabs if slab.parent >= 0]
    glued = [slab for slab in part.slabs if slab.parent < 0]
    pairs = [*combinations(glued, 2), *product(glued, fixed)]
    return max((overlap(first, second) for first, second in pairs), default=0.0)


# ---- the layered box ---------------------------------------------------------------------------


def _check_layered_box(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> Iterable[str]:
    told = _told(design)
    oblong = any(name.endswith("along") for name in told)
    seen: set[str] = set()
    for way in ("across", "along") if oblong else ("across",):
        box = _LayeredBox(design["pieces"], thickness, settings, WAYS[way])
        for name, play in told.items():
            measured = box.measured(name, way)
            if measured is not None:
                seen.add(name)
                yield from _differs(name, play, measured)
        nests = {name: play for name, play in told.items() if name in seen}
        yield from _collisions(box.parts, nests)
        yield from box.facing_faults(told)
    left = [name for name in told if name not in seen and not name.startswith(UNMEASURED)]
    if left:
        yield f"not measured: {left}"


UNMEASURED = ("mats inside", "mat on the base", "photos inside", "pull-out card")
"""Joints within one part, of which collisions are looked for instead."""


class _LayeredBox:
    """A layered box closed; what is on few walls is on those that stand across one direction."""

    def __init__(
        self,
        pieces: Sequence[JsonPiece],
        thickness: Thickness,
        settings: Mapping[str, str],
        axis: int,
    ) -> None:
        self.pieces, self.thickness, self.axis = pieces, thickness, axis
        named = {piece["name"]: piece for piece in pieces}
        self.tiers = [
            self._part(named[name])
            for name in [*sorted(n for n in named if re.fullmatch(r"tier \d+", n)), "tray"]
            if name in named
        ]
        self.lids = {
            name: self._part(named[name], hangs=True)
            for name in ("inner lid", "outer lid")
            if name in named
        }
        self._glue_mats()
        self._glue_photos(int(settings.get("photo-tier", min(2, len(self.tiers)))))
        self.collisions = {part.name: _own_collisions(part) for part in self.tiers}
        self._glue_cards(int(settings.get("card-tier", max(1, len(self.tiers) - 1))))
        self._nest()

    def _part(self, piece: JsonPiece, *, hangs: bool = False) -> Part:
        return part_from(piece, self.thickness(piece["role"]), hangs=hangs)

    @property
    def parts(self) -> list[Part]:
        return [*self.tiers, *self.lids.values()]

    def _with_role(self, role: str) -> list[JsonPiece]:
        """Return the pieces of a role and of the layers on it, lowest first."""
        found = [
            piece
            for piece in self.pieces
            if re.fullmatch(rf"{re.escape(role)}(\.\d+)?", piece["role"])
        ]
        return sorted(found, key=lambda piece: piece["role"])

    def _in_turn(self, part: Part) -> list[Wall]:
        """Return the walls that stand across the axis first."""
        return sorted(part.walls, key=lambda wall: wall.axis != self.axis)

    def _glue_walls(self, part: Part, pieces: Sequence[JsonPiece], *, inside: bool) -> None:
        for piece in pieces:
            thick = self.thickness(piece["role"])
            upright = re.search(r" side( \d+)?$", piece["name"]) is not None
            walls = part.walls
            if piece["quantity"] == 2:
                # The base's width is along x: its walls stand across y.
                walls = [wall for wall in walls if wall.axis == (0 if upright else 1)]
            for wall in walls:
                part.glue(wall, piece["width"], piece["height"], thick, inside=inside)

    def _glue_mats(self) -> None:
        for place, part in enumerate(self.tiers, start=1):
            self._glue_walls(part, self._with_role(f"mat.{place}.outside"), inside=False)
            self._glue_walls(part, self._with_role(f"mat.{place}.inside"), inside=True)
        for piece in self._with_role("mat.base"):
            self.tiers[-1].cover(piece["width"], piece["height"], self.thickness(piece["role"]))
        for name, part in self.lids.items():
            role = f"mat.{name.replace(' ', '-')}"
            for piece in self._with_role(role):
                part.cover(piece["width"], piece["height"], self.thickness(piece["role"]))
            self._glue_walls(part, self._with_role(f"{role}.strip"), inside=False)

    def _glue_cards(self, place: int) -> None:
        """Count cards with their mats in turn to the pockets, which bulge by as much."""
        card = next(iter(self._with_role("card")), None)
        if card is None:
            return
        mats = sum(
            self.thickness(piece["role"]) * piece["quantity"] / card["quantity"]
            for piece in self._with_role("card-mat")
        )
        part = self.tiers[place - 1]
        walls = self._in_turn(part)
        for number in range(card["quantity"]):
            wall = walls[number % 4]
            part.glue(
                wall,
                card["width"],
                card["height"],
                self.thickness("card") + mats,
                inside=True,
            )

    def _glue_photos(self, place: int) -> None:
        photo = next(iter(self._with_role("photo")), None)
        if photo is None:
            return
        part, thick = self.tiers[place - 1], self.thickness("photo")
        for number in range(min(photo["quantity"], 8)):
            wall = self._in_turn(part)[number % 4]
            part.glue(wall, photo["width"], photo["height"], thick, inside=number < 4)

    def _nest(self) -> None:
        """Stand each tier on the base around it, each lid on the rim of what it covers."""
        height = 0.0
        for outer, inner in zip(self.tiers, self.tiers[1:], strict=False):
            height += (outer.base.thickness + inner.base.thickness) / 2
            inner.lifted(height)
        for name, part in self.lids.items():
            covered = self.tiers[0] if name == "outer lid" else self.tiers[-1]
            part.lifted(covered.rim + part.base.thickness / 2)

    def _named(self, name: str) -> Part:
        return next(part for part in self.parts if part.name == name)

    def measured(self, name: str, way: str) -> float | None:
        """Return the play of a joint, or None if it is not of this way."""
        if match := re.fullmatch(r"(.+) (in|over) (.+), (across|along)", name):
            first, how, second, direction = match.groups()
            if direction != way:
                return None
            if not re.fullmatch(r"tier \d+|tray", second):
                return None
            inner, outer = self._named(first), self._named(second)
            if how == "over":
                inner, outer = outer, inner
            axis = WAYS[way]
            return outer.clear(axis) - inner.outer(axis)
        if match := re.fullmatch(r"(.+) below the rim of (tier \d+), upwards", name):
            inner, outer = self._named(match[1]), self._named(match[2])
            return outer.rim - (inner.top if match[1] == "inner lid" else inner.rim)
        return None

    def facing_faults(self, told: Mapping[str, float]) -> Iterable[str]:
        """Give parts in which mats or photos collide, though it is told that they don't bind."""
        for part in self.tiers:
            last = part is self.tiers[-1]
            joints = [
                play
                for name, play in told.items()
                if f"inside {part.name}," in name or (last and name.startswith("mat on the base"))
            ]
            depth = self.collisions[part.name]
            if depth > EXACT and min(joints, default=0.0) >= 0:
                yield f"what is glued into {part.name}: {depth:.3f} mm within each other, untold"


# ---- the others --------------------------------------------------------------------------------


def _check_tray_box(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> Iterable[str]:
    named = {piece["name"]: piece for piece in design["pieces"]}
    told = _told(design)
    tray = part_from(named["tray"], thickness("tray"))
    for piece in design["pieces"]:
        if piece["role"].startswith("mat.base"):
            tray.cover(piece["width"], piece["height"], thickness(piece["role"]))
    depth = _own_collisions(tray)
    on_base = told.get("mat on the base, between the walls", 0.0)
    if depth > EXACT and on_base >= 0:
        yield f"the mat on the base: {depth:.3f} mm within the tray, untold"
    if "lid" not in named:
        return
    lid = part_from(named["lid"], thickness("lid"), hangs=True)
    lid.lifted(tray.rim + lid.base.thickness / 2)
    lids = {name: play for name, play in told.items() if name.startswith("lid over tray")}
    for name, play in lids.items():
        axis = WAYS[name.rpartition(" ")[2]]
        yield from _differs(name, play, lid.clear(axis) - tray.outer(axis))
    yield from _collisions([tray, lid], lids)


def _check_drawer_box(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> Iterable[str]:
    named = {piece["name"]: piece for piece in design["pieces"]}
    told = _told(design)
    drawer = part_from(named["tray"], thickness("tray"))
    sleeve = _sleeve(fold_up(named["sleeve"], thickness("sleeve")))
    points = np.concatenate([slab.solid for slab in drawer.all_slabs])
    outer = points.max(axis=0) - points.min(axis=0)
    for name, axis in (("across", 0), ("upwards", 2)):
        middle = np.mean([slab.centre[axis] for slab in sleeve[:4]])
        inner = [
            (slab.centre[axis] - middle, slab.thickness / 2)
            for slab in sleeve
            if abs(slab.normal[axis]) > 0.5
        ]
        above = min(place - half for place, half in inner if place > 0)
        below = min(-place - half for place, half in inner if place < 0)
        play = float(above + below - outer[axis])
        yield from _differs(f"drawer in sleeve, {name}", told[f"drawer in sleeve, {name}"], play)


def _sleeve(slabs: list[Slab]) -> list[Slab]:
    """Return the four panels of a sleeve, then its tab, glued inside the panel it lies on."""
    middle = np.mean([slab.centre for slab in slabs[:4]], axis=0)
    tab = min(slabs, key=_size)
    panels = [slab for slab in slabs if slab is not tab]
    (under,) = [panel for panel in panels if _in_plane(tab, panel)]
    inward = under.normal * np.sign((middle - under.centre) @ under.normal)
    return [*panels, pushed(tab, inward, (tab.thickness + under.thickness) / 2)]


def _size(slab: Slab) -> float:
    ways = np.roll(slab.middle, -1, axis=0)
    return float(np.linalg.norm(np.cross(slab.middle, ways).sum(axis=0))) / 2


def _check_folded_box(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> Iterable[str]:
    named = {piece["name"]: piece for piece in design["pieces"]}
    box = fold_up(named["box"], thickness("box"))
    if "lid" not in named:
        return
    lid = fold_up(named["lid"], thickness("lid"))
    sides = [
        np.linalg.norm(np.roll(part[0].middle, -1, axis=0) - part[0].middle, axis=1)
        for part in (box, lid)
    ]
    if max(np.ptp(side) for side in sides) > EXACT:
        yield "a base is not square"
    layers = sorted(_layers(wall, lid) for wall in lid if wall.depth == 1)
    told = _told(design)
    for name, count in (("thin", layers[0]), ("thick", layers[-1])):
        # Half a sheet of each wall of the lid lies outside its fold, and half of the box's.
        play = float(sides[1].mean() - sides[0].mean())
        play -= thickness("box") + 2 * (count - 0.5) * thickness("lid")
        called = f"box in lid, across its {name} walls"
        yield from _differs(called, told[called], play)


def _layers(wall: Slab, slabs: Sequence[Slab]) -> int:
    """Return how many sheets lie on one another at most on a wall."""
    flat = [
        slab.middle
        for slab in slabs
        if np.abs((slab.middle - wall.middle[0]) @ wall.normal).max() < EXACT
    ]
    # Numbers without a common measure: no place is on a fold.
    shares = np.random.default_rng(1).random((400, 2))
    ways = np.roll(wall.middle, -1, axis=0) - wall.middle
    level = int(np.abs(ways[:, 2]).argmin())
    corner, along = wall.middle[level], ways[level]
    up = np.array([0.0, 0.0, 2 * (wall.centre[2] - corner[2])])
    places = corner + shares[:, :1] * along + shares[:, 1:] * up
    return int(np.sum([_holds(shape, wall.normal, places) for shape in flat], axis=0).max())


def _holds(shape: Points, normal: Points, places: Points) -> Points:
    """Return which places in the plane of a convex shape are within it."""
    ways = np.roll(shape, -1, axis=0) - shape
    apart = places[:, None, :] - shape[None]
    sides = np.cross(ways[None], apart) @ normal
    inside: Points = (sides > 0).all(axis=1) | (sides < 0).all(axis=1)
    return inside


def _check_card(
    design: Mapping[str, Any], thickness: Thickness, settings: Mapping[str, str]
) -> Iterable[str]:
    """Hold that a folded card is smaller than its envelope by more than the play told."""
    named = {piece["name"]: piece for piece in design["pieces"]}
    told = _told(design)
    if "envelope" not in named or not told:
        return
    envelope = _level_sides(fold_up(named["envelope"], 0.0))
    for name, play in told.items():
        if name.startswith("card in envelope") and "card" in named:
            pick = max if name.endswith("along") else min
            spare = pick(envelope) - pick(_level_sides(fold_up(named["card"], 0.0)))
            if play > spare - thickness("envelope") + ROUNDING:
                yield f"{name}: {play:.3f} mm of play are told, there are only {spare:.3f} mm"


def _level_sides(slabs: Sequence[Slab]) -> tuple[float, float]:
    points = np.concatenate([slab.middle for slab in slabs])
    wide, long, _ = np.ptp(points, axis=0)
    return float(wide), float(long)


CHECKS = {
    "layered-box": _check_layered_box,
    "tray-box": _check_tray_box,
    "drawer-box": _check_drawer_box,
    "folded-box": _check_folded_box,
}
