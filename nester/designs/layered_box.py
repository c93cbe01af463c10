"""The layered box: tiers nested in one another, which fall open when the lid is lifted.

Tier 1 is the outermost.  Each next tier stands inside the one before, its panel smaller by the
step.  The innermost may be a tray: the same base and, unless another depth is asked for, walls
as high as its base is wide, so that its blank, base + 2 depths, is 3 panels like any tier's; but
its walls are held up by glue tabs instead of falling open.  (A box of 18 cm panels, four tiers
and a step of 2 cm has a tray of 12 × 12 × 12 cm from a blank of 36 cm.)  The inner lid goes over
the innermost tier or tray, the outer lid over tier 1.

Paper is taken as having no thickness here: what must nest is strictly smaller.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from nester.designs.base import (
    Design,
    DesignRefusal,
    Kind,
    Setting,
    Settings,
    by_unit,
    number,
    tidied,
    word,
)
from nester.designs.insert import photo_prints, pull_out_cards
from nester.designs.lid import lid, lid_inside
from nester.designs.mat import mat
from nester.designs.tier import CORNERS, OPEN, tier
from nester.designs.tray import tray
from nester.measure import Length, Unit, cm, format_length, inch, mm
from nester.pieces import Piece

__all__ = ["LAYERED_BOX"]

TRAY = "tray"
CROSS = "cross"
YES_NO = ("yes", "no")
OUTSIDE = "outside"
INSIDE = "inside"
BOTH = "both"
MOST_TIERS = 8
SMALLEST: Length = mm(5)
"""Nothing smaller can be cut, scored and handled (common practice, no source)."""
LARGEST_PANEL: Length = cm(100)


class _Box(NamedTuple):
    """The sizes that rules and parts are worked out from."""

    settings: Settings
    panel: Length
    tiers: int
    step: Length

    @classmethod
    def of(cls, settings: Settings) -> _Box:
        """Take the sizes out of settings, of which at least the first ones are known."""
        return cls(
            settings,
            number(settings, "panel"),
            number(settings, "tiers"),
            number(settings, "step"),
        )

    def panel_of(self, place: int) -> Length:
        """Side of the base of a tier; 1 is the outermost."""
        return self.panel - (place - 1) * self.step

    def height_of(self, place: int) -> Length:
        """Height of the walls of a tier or the tray."""
        if place == self.tiers and self.has_tray:
            return number(self.settings, "tray-depth")
        return self.panel_of(place)

    @property
    def has_tray(self) -> bool:
        """Whether the innermost tier is a tray."""
        return word(self.settings, "centre") == TRAY

    @property
    def covered(self) -> dict[str, int]:
        """The tiers that lids go over, by the lid's name."""
        places = {"inner-lid": self.tiers, "outer-lid": 1}
        return {name: place for name, place in places.items() if self.says_yes(name)}

    def says_yes(self, name: str) -> bool:
        """Whether a choice is yes."""
        return word(self.settings, name) == "yes"

    def mats_on(self, side: str) -> bool:
        """Whether mats are wanted on a side of the walls."""
        return word(self.settings, "mats") in (side, BOTH)


def _step(before: Settings, unit: Unit) -> Length:
    """Take a ninth of the panel in whole mm, or a 24th in 48ths of an inch: 2 cm of 18."""
    panel = number(before, "panel")
    if unit is Unit.IN:
        return panel // 24 // inch("1/48") * inch("1/48")
    return panel // 9 // mm(1) * mm(1)


def _innermost(before: Settings) -> Length:
    box = _Box.of(before)
    return box.panel_of(box.tiers)


def _least_covered(before: Settings) -> Length:
    box = _Box.of(before)
    sides = (min(box.height_of(at), box.panel_of(at)) for at in box.covered.values())
    return min(sides, default=box.panel)


def _smallest_wall(before: Settings) -> Length:
    return min(_innermost(before), number(before, "tray-depth"))


def _tab(before: Settings, unit: Unit) -> Length:
    usual = by_unit(unit, cm(1), inch("0.5"))
    return tidied(min(usual, _smallest_wall(before) // 3), unit)


def _clearance(before: Settings, unit: Unit) -> Length:
    usual = by_unit(unit, mm(5), inch("1/16"))
    box = _Box.of(before)
    return tidied(min(usual, box.step // 2), unit) if box.says_yes("inner-lid") else usual


def _lid_wall(before: Settings, unit: Unit) -> Length:
    return tidied(min(by_unit(unit, cm(3), inch("1.5")), _least_covered(before) // 2), unit)


def _reveal(before: Settings, unit: Unit) -> Length:
    usual, wall = by_unit(unit, mm(5), inch("0.25")), _smallest_wall(before)
    return tidied(min(usual, wall // 4, (wall - SMALLEST) // 2), unit)


def _card_side(before: Settings, unit: Unit) -> Length:
    """Take the panel less a little play, rounded down: 13.5 cm for 14."""
    panel = _Box.of(before).panel_of(number(before, "card-tier"))
    return tidied(panel - min(by_unit(unit, mm(5), inch("0.125")), panel // 8), unit)


def _photo_side(before: Settings, unit: Unit) -> Length:
    """Take seven eighths of the wall it is glued to, rounded down: 14 cm on 16."""
    round_to = by_unit(unit, mm(5), inch("1/4"))
    box = _Box.of(before)
    place = number(before, "photo-tier")
    return min(box.panel_of(place), box.height_of(place)) * 7 // 8 // round_to * round_to


SETTINGS = (
    Setting(
        "panel",
        Kind.LENGTH,
        "side of the outer tier's base, and height of its walls",
        lambda _, unit: by_unit(unit, cm(18), inch(4)),
        least=cm(1),
        most=LARGEST_PANEL,
    ),
    Setting(
        "blank",
        Kind.LENGTH,
        "instead of panel: side of the outer tier's blank, three panels",
        least=cm(3),
        most=3 * LARGEST_PANEL,
        instead_of="panel",
        parts=3,
    ),
    Setting(
        "tiers",
        Kind.COUNT,
        "how many tiers, the tray counted",
        lambda _, unit: by_unit(unit, 4, 3),
        least=1,
        most=MOST_TIERS,
    ),
    Setting(
        "step",
        Kind.LENGTH,
        "how much smaller each tier's panel is than the one outside it",
        _step,
        least=mm("0.1"),
        most=LARGEST_PANEL,
    ),
    Setting(
        "blank-step",
        Kind.LENGTH,
        "instead of step: how much smaller each blank is, three steps",
        least=mm("0.3"),
        most=3 * LARGEST_PANEL,
        instead_of="step",
        parts=3,
    ),
    Setting(
        "corners",
        Kind.CHOICE,
        "corners of the tiers cut away (open), or kept as flaps",
        OPEN,
        choices=CORNERS,
    ),
    Setting(
        "centre",
        Kind.CHOICE,
        "the innermost tier: a tray with glue tabs, or a cross like the others",
        lambda before, _: TRAY if number(before, "tiers") > 1 else CROSS,
        choices=(TRAY, CROSS),
    ),
    Setting(
        "tray-depth",
        Kind.LENGTH,
        "height of the tray's walls; its own base unless given",
        lambda before, _: _innermost(before),
        least=SMALLEST,
        most=LARGEST_PANEL,
    ),
    Setting(
        "tab",
        Kind.LENGTH,
        "width of the tray's glue tabs",
        _tab,
        least=mm(1),
        most=LARGEST_PANEL,
    ),
    Setting(
        "inner-lid",
        Kind.CHOICE,
        "a lid over the innermost tier or tray",
        lambda before, _: "yes" if number(before, "tiers") > 1 else "no",
        choices=YES_NO,
    ),
    Setting("outer-lid", Kind.CHOICE, "a lid over the whole box", "yes", choices=YES_NO),
    Setting(
        "lid-clearance",
        Kind.LENGTH,
        "how much wider a lid is inside than what it covers",
        _clearance,
        least=mm("0.05"),
        most=cm(5),
    ),
    Setting(
        "lid-wall",
        Kind.LENGTH,
        "height of the lids' walls",
        _lid_wall,
        least=mm(2),
        most=LARGEST_PANEL,
    ),
    Setting(
        "mats",
        Kind.CHOICE,
        "facings on the walls; outside ones also on the lids, inside ones on the inmost base",
        "none",
        choices=("none", OUTSIDE, INSIDE, BOTH),
    ),
    Setting(
        "reveal",
        Kind.LENGTH,
        "how much smaller a mat is than its panel; 0 for none",
        _reveal,
        least=0,
        most=LARGEST_PANEL,
    ),
    Setting("cards", Kind.COUNT, "how many pull-out cards", 0, least=0, most=100),
    Setting(
        "card-tier",
        Kind.COUNT,
        "the tier whose pockets take the cards",
        lambda before, _: max(1, number(before, "tiers") - 1),
        least=1,
        most=MOST_TIERS,
    ),
    Setting(
        "card-size",
        Kind.LENGTH,
        "side of a pull-out card",
        _card_side,
        least=SMALLEST,
        most=LARGEST_PANEL,
    ),
    Setting(
        "card-mats",
        Kind.CHOICE,
        "mats on the pull-out cards: none, on one side, on both",
        "none",
        choices=("none", "one", BOTH),
    ),
    Setting("photos", Kind.COUNT, "how many photo prints", 0, least=0, most=100),
    Setting(
        "photo-tier",
        Kind.COUNT,
        "the tier on whose walls the photos go",
        lambda before, _: min(2, number(before, "tiers")),
        least=1,
        most=MOST_TIERS,
    ),
    Setting(
        "photo-size",
        Kind.LENGTH,
        "side of a photo print",
        _photo_side,
        least=SMALLEST,
        most=LARGEST_PANEL,
    ),
)


def _rules(settings: Settings, unit: Unit) -> None:
    box = _Box.of(settings)
    _tiers_nest(box, unit)
    _tray_stands(box, unit)
    _lids_close(box, unit)
    _mats_show(box, unit)
    _inserts_fit(box, unit)


def _tiers_nest(box: _Box, unit: Unit) -> None:
    inmost = box.panel_of(box.tiers)
    if inmost < SMALLEST:
        most = (box.panel - SMALLEST) // (box.tiers - 1)
        raise DesignRefusal(
            f"{box.tiers} tiers from a panel of {_say(box.panel, unit)} with a step of"
            f" {_say(box.step, unit)} leave nothing for the innermost; the step may be at most"
            f" {_say(most, unit)}"
        )


def _tray_stands(box: _Box, unit: Unit) -> None:
    if not box.has_tray:
        return
    if box.tiers == 1:
        raise DesignRefusal(
            "with a single tier there is no tray in the centre; use centre=cross,"
            " or the design tray-box"
        )
    depth, around = box.height_of(box.tiers), box.panel_of(box.tiers - 1)
    if depth >= around:
        raise DesignRefusal(
            f"tray-depth {_say(depth, unit)} would stand out of the tier around it;"
            f" it must be under {_say(around, unit)}"
        )
    tab, most = number(box.settings, "tab"), min(depth, box.panel_of(box.tiers))
    if tab > most:
        raise DesignRefusal(
            f"tab {_say(tab, unit)} is longer than the wall it is glued to or folds from;"
            f" it may be at most {_say(most, unit)}"
        )


def _lids_close(box: _Box, unit: Unit) -> None:
    clearance = number(box.settings, "lid-clearance")
    wall = number(box.settings, "lid-wall")
    if len(box.covered) == 2 and box.tiers == 1:
        raise DesignRefusal(
            "with a single tier the inner lid and the outer lid cover the same; leave one out"
        )
    if "inner-lid" in box.covered and box.tiers > 1 and clearance >= box.step:
        raise DesignRefusal(
            f"an inner lid with lid-clearance {_say(clearance, unit)} doesn't fit into the tier"
            f" around it; lid-clearance must be under the step of {_say(box.step, unit)}"
        )
    for name, place in box.covered.items():
        height, inner = box.height_of(place), lid_inside(box.panel_of(place), clearance)
        if wall > min(height, inner):
            raise DesignRefusal(
                f"lid-wall {_say(wall, unit)} is too high for the {_in_words(name)}: it covers"
                f" walls of {_say(height, unit)} and its glue tabs meet beyond"
                f" {_say(inner, unit)}; it may be at most {_say(min(height, inner), unit)}"
            )


def _mats_show(box: _Box, unit: Unit) -> None:
    if word(box.settings, "mats") == "none":
        return
    reveal = number(box.settings, "reveal")
    smallest = min(box.panel_of(box.tiers), box.height_of(box.tiers))
    if smallest - reveal < SMALLEST:
        raise DesignRefusal(
            f"reveal {_say(reveal, unit)} leaves no mat on the smallest wall of"
            f" {_say(smallest, unit)}; it may be at most {_say(smallest - SMALLEST, unit)}"
        )


def _inserts_fit(box: _Box, unit: Unit) -> None:
    settings = box.settings
    for count, place_name in (("cards", "card-tier"), ("photos", "photo-tier")):
        place = number(settings, place_name)
        if number(settings, count) and place > box.tiers:
            raise DesignRefusal(
                f"{place_name} {place} doesn't exist; the box has {box.tiers} tiers,"
                " 1 being the outermost"
            )
    if number(settings, "cards"):
        side, panel = number(settings, "card-size"), box.panel_of(number(settings, "card-tier"))
        if side >= panel:
            raise DesignRefusal(
                f"card-size {_say(side, unit)} doesn't slide into a pocket of"
                f" {_say(panel, unit)}; it must be smaller"
            )
        reveal = number(settings, "reveal")
        if word(settings, "card-mats") != "none" and side - reveal < SMALLEST:
            raise DesignRefusal(
                f"reveal {_say(reveal, unit)} leaves no mat on a card of {_say(side, unit)};"
                f" it may be at most {_say(max(0, side - SMALLEST), unit)}"
            )
    if number(settings, "photos"):
        place = number(settings, "photo-tier")
        side, room = number(settings, "photo-size"), min(box.panel_of(place), box.height_of(place))
        if side > room:
            raise DesignRefusal(
                f"photo-size {_say(side, unit)} is larger than the walls of tier {place},"
                f" {_say(room, unit)}"
            )


def _say(length: Length, unit: Unit) -> str:
    return format_length(length, unit)


def _in_words(name: str) -> str:
    return name.replace("-", " ")


def _parts(settings: Settings) -> tuple[Piece, ...]:
    box = _Box.of(settings)
    return (*_tiers(box), *_lids(box), *_mats(box), *_inserts(box))


def _tiers(box: _Box) -> Iterable[Piece]:
    crosses = box.tiers - box.has_tray
    for place in range(1, crosses + 1):
        seat = box.panel_of(place + 1) if place < box.tiers else 0
        yield tier(place, box.panel_of(place), word(box.settings, "corners"), seat)
    if box.has_tray:
        side = box.panel_of(box.tiers)
        yield tray(side, side, box.height_of(box.tiers), number(box.settings, "tab"))


def _lids(box: _Box) -> Iterable[Piece]:
    clearance, wall = number(box.settings, "lid-clearance"), number(box.settings, "lid-wall")
    for name, place in box.covered.items():
        side = box.panel_of(place)
        yield lid(_in_words(name), name, side, side, clearance, wall)


def _mats(box: _Box) -> Iterable[Piece]:
    """Four mats a tier and side; outside one on each lid, inside one on the innermost base."""
    reveal = number(box.settings, "reveal")
    for place in range(1, box.tiers + 1):
        wide, high = box.panel_of(place), box.height_of(place)
        for side in (OUTSIDE, INSIDE):
            if box.mats_on(side):
                yield mat(f"mat {place} {side}", f"mat.{place}.{side}", wide, high, reveal, 4)
    if box.mats_on(INSIDE):
        base = box.panel_of(box.tiers)
        yield mat("mat base", "mat.base", base, base, reveal)
    if box.mats_on(OUTSIDE):
        clearance = number(box.settings, "lid-clearance")
        for name, place in box.covered.items():
            top = lid_inside(box.panel_of(place), clearance)
            yield mat(f"mat {_in_words(name)}", f"mat.{name}", top, top, reveal)


def _inserts(box: _Box) -> Iterable[Piece]:
    settings = box.settings
    cards, side = number(settings, "cards"), number(settings, "card-size")
    if cards:
        yield pull_out_cards(side, cards)
        faces = {"none": 0, "one": 1, BOTH: 2}[word(settings, "card-mats")]
        if faces:
            reveal = number(settings, "reveal")
            yield mat("pull-out card mat", "card-mat", side, side, reveal, cards * faces)
    photos = number(settings, "photos")
    if photos:
        yield photo_prints(number(settings, "photo-size"), photos)


_PLACES = range(1, MOST_TIERS + 1)

LAYERED_BOX = Design(
    name="layered-box",
    title="a box of nested tiers that falls open when its lid is lifted",
    settings=SETTINGS,
    roles=("tier", "tray", "inner-lid", "outer-lid", "mat", "card", "card-mat", "photo"),
    finer_roles=(
        *(f"tier.{place}" for place in _PLACES),
        *(f"mat.{place}" for place in _PLACES),
        *(f"mat.{place}.{side}" for place in _PLACES for side in (OUTSIDE, INSIDE)),
        "mat.base",
        "mat.inner-lid",
        "mat.outer-lid",
    ),
    rules=_rules,
    parts=_parts,
)
