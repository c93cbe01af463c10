"""The accordion card: panels folded to and fro, between two covers.

Its panels lie side by side in strips, numbered from the left; the face shows when the front
cover is opened.  The folds alternate, the first one a valley.  A strip that is joined
to the next has a hinge tab beyond its last panel: the fold between the panels is the tab's fold,
and the tab is glued by its face behind the next strip's first panel, edge on fold.

The front cover is glued behind panel 1.  Folded flat, the last panel has its back outside when
the panels are even in number, its face when they are odd: there the back cover goes.
"""

from __future__ import annotations

from collections.abc import Iterable

from nester.core.lengths import Length, Unit, cm, format_length, inch, mm
from nester.core.piece import Fold, Grain, Line, Piece, Point, Score
from nester.designs.base.design import (
    Design,
    Settings,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)
from nester.designs.base.limits import check_at_least, check_at_most
from nester.designs.base.settings import (
    capped_default,
    choice_setting,
    count_setting,
    is_yes,
    length_setting,
    round_default,
    same_as,
    smallest_of,
    yes_no_setting,
)
from nester.designs.parts.holes import ribbon
from nester.designs.parts.mat import check_reveal, mat
from nester.designs.parts.tabs import right_tab

__all__ = ["ACCORDION_CARD"]

LARGEST_SIDE: Length = cm(100)
LONGEST_STRIP: Length = cm(200)
MOST_PANELS = 40


_shorter_side = smallest_of("width", "height")


def _default_strip_length(before: Settings, unit: Unit) -> Length:
    """Return the side of a common sheet, or two panels if these are very wide."""
    hinged = 2 * number_in(before, "width") + number_in(before, "hinge")
    return max(by_unit(unit, cm(48), inch(12)), hinged)


def _default_ribbon_length(before: Settings, unit: Unit) -> Length:
    """Return the length once round the closed card, and for a bow."""
    circumference = 2 * number_in(before, "width")
    return floor_to_ruler(circumference + by_unit(unit, cm(40), inch(16)), unit)


SETTINGS = (
    count_setting("panels", "how many panels", 6, 2, MOST_PANELS),
    length_setting("width", "width of a panel", round_default(cm(10), inch("3.5")), cm(1), cm(90)),
    length_setting(
        "height", "height of a panel; default: its width", same_as("width"), cm(1), LARGEST_SIDE
    ),
    length_setting(
        "hinge",
        "width of the tabs that join strips",
        capped_default(mm(15), inch("0.5"), smallest_of("width"), 2),
        mm(3),
        cm(10),
    ),
    length_setting(
        "longest",
        "longest strip you can cut from your sheets",
        _default_strip_length,
        cm(1),
        LONGEST_STRIP,
    ),
    yes_no_setting("covers", "two covers", "yes"),
    length_setting(
        "overhang",
        "how much larger a cover is than a panel, both sides together; 0 for none",
        round_default(mm(6), inch("1/4")),
        0,
        cm(5),
    ),
    choice_setting(
        "mats",
        "mats on the panels' faces, on their backs, on both; not where a cover goes",
        "none",
        ("none", "front", "back", "both"),
    ),
    length_setting(
        "reveal",
        "how much smaller a mat is than its panel; 0 for none",
        capped_default(mm(5), inch("0.25"), _shorter_side, 4),
        0,
        LARGEST_SIDE,
    ),
    length_setting(
        "ribbon",
        "length of the ribbon round the card; 0 for none",
        _default_ribbon_length,
        0,
        cm(500),
    ),
)


def _panels_of_strips(settings: Settings) -> tuple[int, ...]:
    """Spread the panels evenly over as few strips as their length allows.

    All strips but the last have a hinge tab, which takes part of their length.
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
    check_at_most(settings, "hinge", width, "is wider than the panel it is glued to", unit)
    if longest < number_in(settings, "panels") * width:
        fault = "gives no strip with a panel and its hinge"
        check_at_least(settings, "longest", width + hinge, fault, unit)
    if choice_in(settings, "mats") != "none":
        side = _shorter_side(settings)
        check_reveal(
            settings, side, f"leaves no mat on a panel of {format_length(side, unit)}", unit
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
    tab = right_tab(end, 0, height, hinge, slant)
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
            "Fold back and forth; glue the hinge behind the next strip, its edge on the fold."
            if hinge
            else "Fold back and forth."
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
    if is_yes(settings, "covers"):
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
    if is_yes(settings, "covers"):
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


ACCORDION_CARD = Design(
    name="accordion-card",
    title="panels folded back and forth between two covers",
    settings=SETTINGS,
    roles=("strip", "cover", "mat"),
    sub_roles=("mat.front", "mat.back"),
    check_rules=_check_rules,
    make_pieces=_make_pieces,
    consumables=lambda settings: ribbon(settings, "bow round it"),
)
