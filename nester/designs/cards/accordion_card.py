"""The accordion card: panels folded to and fro, between two covers.

Its panels lie side by side in strips, numbered from the left; the face shows when the front
cover is opened.  The folds alternate, the first one a valley.  A strip that the next one is
joined to has a hinge tab beyond its last panel: the fold between the panels is the tab's fold,
and the tab is glued by its face behind the next strip's first panel, edge on fold.

The front cover is glued behind panel 1.  Folded flat, the last panel has its back outside when
the panels are even in number, its face when they are odd: there the back cover goes.
"""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.designs.base.design import (
    Consumable,
    Design,
    Measure,
    Setting,
    SettingKind,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.parts.mat import mat

__all__ = ["ACCORDION_CARD"]

LARGEST_SIDE: Length = cm(100)
LONGEST_STRIP: Length = cm(200)
MOST_PANELS = 40
SMALLEST_MAT: Length = mm(5)


def _shorter_side(before: Settings) -> Length:
    return min(number_in(before, "width"), number_in(before, "height"))


def _default_strip_length(before: Settings, unit: Unit) -> Length:
    """Take a strip from a sheet in common sale, or two panels when these are very wide."""
    hinged = 2 * number_in(before, "width") + number_in(before, "hinge")
    return max(by_unit(unit, cm(48), inch(12)), hinged)


def _default_ribbon_length(before: Settings, unit: Unit) -> Length:
    """Return once round the closed card, and a bow."""
    round_it = 2 * number_in(before, "width")
    return floor_to_ruler(round_it + by_unit(unit, cm(40), inch(16)), unit)


SETTINGS = (
    Setting("panels", SettingKind.COUNT, "how many panels", 6, minimum=2, maximum=MOST_PANELS),
    Setting(
        "width",
        SettingKind.LENGTH,
        "width of a panel",
        lambda _, unit: by_unit(unit, cm(10), inch("3.5")),
        minimum=cm(1),
        maximum=cm(90),
    ),
    Setting(
        "height",
        SettingKind.LENGTH,
        "height of a panel; its width unless given",
        lambda before, _: number_in(before, "width"),
        minimum=cm(1),
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "hinge",
        SettingKind.LENGTH,
        "width of the tabs that join strips",
        lambda before, unit: floor_to_ruler(
            min(by_unit(unit, mm(15), inch("0.5")), number_in(before, "width") // 2), unit
        ),
        minimum=mm(3),
        maximum=cm(10),
    ),
    Setting(
        "longest",
        SettingKind.LENGTH,
        "the longest strip your sheets give",
        _default_strip_length,
        minimum=cm(1),
        maximum=LONGEST_STRIP,
    ),
    Setting("covers", SettingKind.CHOICE, "two covers", "yes", choices=("yes", "no")),
    Setting(
        "overhang",
        SettingKind.LENGTH,
        "how much larger a cover is than a panel, both sides together; 0 for none",
        lambda _, unit: by_unit(unit, mm(6), inch("1/4")),
        minimum=0,
        maximum=cm(5),
    ),
    Setting(
        "mats",
        SettingKind.CHOICE,
        "mats on the panels' faces, on their backs, on both; not where a cover goes",
        "none",
        choices=("none", "front", "back", "both"),
    ),
    Setting(
        "reveal",
        SettingKind.LENGTH,
        "how much smaller a mat is than its panel; 0 for none",
        lambda before, unit: floor_to_ruler(
            min(by_unit(unit, mm(5), inch("0.25")), _shorter_side(before) // 4), unit
        ),
        minimum=0,
        maximum=LARGEST_SIDE,
    ),
    Setting(
        "ribbon",
        SettingKind.LENGTH,
        "length of the ribbon round it; 0 for none",
        _default_ribbon_length,
        minimum=0,
        maximum=cm(500),
    ),
)


def _panels_of_strips(settings: Settings) -> tuple[int, ...]:
    """Share the panels among as few strips as their length allows, evenly.

    All strips but the last must have room for a hinge tab.
    """
    width, longest = number_in(settings, "width"), number_in(settings, "longest")
    panels = number_in(settings, "panels")
    hinged, last = (longest - number_in(settings, "hinge")) // width, longest // width
    if panels <= last:
        return (panels,)
    strips = 1 + -(-(panels - last) // hinged)
    shares: list[int] = []
    for left in range(strips, 1, -1):
        rest = panels - sum(shares)
        shares.append(min(hinged, -(-rest // left)))
    return (*shares, panels - sum(shares))


def _check_rules(settings: Settings, unit: Unit) -> None:
    width, hinge = number_in(settings, "width"), number_in(settings, "hinge")
    longest = number_in(settings, "longest")
    if hinge > width:
        raise DesignRefusal(
            f"hinge {format_length(hinge, unit)} is wider than the panel it is glued to;"
            f" it may be at most {format_length(width, unit)}"
        )
    if longest < number_in(settings, "panels") * width and longest < width + hinge:
        raise DesignRefusal(
            f"longest {format_length(longest, unit)} gives no strip with a panel and its hinge;"
            f" it must be at least {format_length(width + hinge, unit)}"
        )
    reveal, side = number_in(settings, "reveal"), _shorter_side(settings)
    if choice_in(settings, "mats") != "none" and side - reveal < SMALLEST_MAT:
        raise DesignRefusal(
            f"reveal {format_length(reveal, unit)} leaves no mat on a panel of"
            f" {format_length(side, unit)}; it may be at most"
            f" {format_length(side - SMALLEST_MAT, unit)}"
        )


def _fold(place: int) -> Fold:
    """Return the fold behind panel `place`, 1 being the first."""
    return Fold.VALLEY if place % 2 else Fold.MOUNTAIN


def _strip(
    name: str, first: int, panels: int, width: Length, height: Length, hinge: Length
) -> Piece:
    """Make a strip whose first panel is number `first`, with a tab if `hinge` is more than 0."""
    end = panels * width
    slant = min(hinge, height // 4)
    tab = (
        Point(end, 0),
        Point(end + hinge, slant),
        Point(end + hinge, height - slant),
        Point(end, height),
    )
    folds = range(1, panels + 1 if hinge else panels)
    return Piece(
        name=name,
        role="strip",
        outline=(Point(0, 0), *(tab if hinge else (tab[0], tab[3])), Point(0, height)),
        upright=True,
        grain=Grain.HEIGHT,
        scores=tuple(
            Score(
                Line(Point(place * width, 0), Point(place * width, height)),
                _fold(first + place - 1),
                180,
            )
            for place in folds
        ),
        glue=(tab,) if hinge else (),
        note=(
            "Fold to and fro; glue the hinge behind the next strip, its edge on the fold."
            if hinge
            else "Fold to and fro."
        ),
    )


def _make_pieces(settings: Settings) -> tuple[Piece, ...]:
    return (*_strips(settings), *_covers(settings), *_mats(settings))


def _strips(settings: Settings) -> Iterable[Piece]:
    width, height = number_in(settings, "width"), number_in(settings, "height")
    shares = _panels_of_strips(settings)
    first = 1
    for place, panels in enumerate(shares, start=1):
        hinge = number_in(settings, "hinge") if place < len(shares) else 0
        yield _strip(f"strip {place}", first, panels, width, height, hinge)
        first += panels


def _covers(settings: Settings) -> Iterable[Piece]:
    if choice_in(settings, "covers") == "yes":
        overhang = number_in(settings, "overhang")
        yield Piece.rectangle(
            "cover",
            "cover",
            number_in(settings, "width") + overhang,
            number_in(settings, "height") + overhang,
            quantity=2,
            upright=True,
            mounted=True,
            note="Glue its whole back onto the outermost panel, in the middle.",
        )


def _mats(settings: Settings) -> Iterable[Piece]:
    panels = number_in(settings, "panels")
    bare = {"front": 0, "back": 0}
    if choice_in(settings, "covers") == "yes":
        bare["back"] += 1
        bare["front" if panels % 2 else "back"] += 1
    for face, covered in bare.items():
        if choice_in(settings, "mats") in (face, "both") and panels > covered:
            yield mat(
                f"mat {face}",
                f"mat.{face}",
                number_in(settings, "width"),
                number_in(settings, "height"),
                number_in(settings, "reveal"),
                panels - covered,
            )


def _consumables(settings: Settings) -> tuple[Consumable, ...]:
    length = number_in(settings, "ribbon")
    return (Consumable("ribbon", "bow round it", Measure.LENGTH, length),) if length else ()


ACCORDION_CARD = Design(
    name="accordion-card",
    title="panels folded to and fro between two covers",
    settings=SETTINGS,
    roles=("strip", "cover", "mat"),
    sub_roles=("mat.front", "mat.back"),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    consumables=_consumables,
)
