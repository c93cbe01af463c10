"""The vocabulary of a cutting problem and its answer, as plain data.

`nester.packing` makes answers, `nester.verify` judges them; both speak in these words and share
nothing else.  Coordinates are in fine units, x to the right and y down from a sheet's top left
corner.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from nester.core.lengths import Length, mm
from nester.core.piece import Grain, Turn

__all__ = [
    "MIN_OFFCUT_SIDE",
    "NO_MARGINS",
    "UNLIMITED_TRIMMER",
    "Cut",
    "Cuts",
    "CuttingPlan",
    "Demand",
    "Effort",
    "Layout",
    "Margins",
    "PlacedPiece",
    "PrintedCut",
    "Problem",
    "Rect",
    "StockItem",
    "Trimmer",
    "Unplaced",
    "placed_voids",
]

MIN_OFFCUT_SIDE: Length = mm(75)
"""Short side of the smallest offcut worth keeping (common practice, no source)."""


class Cuts(StrEnum):
    """How paper is cut."""

    STRAIGHT = "straight"
    """Every cut runs from edge to edge of the part it cuts, as on a paper trimmer."""
    FREE = "free"
    """A knife along a steel rule; a cut may stop anywhere."""


class Effort(StrEnum):
    """How hard to look for a cheaper plan; counted in steps, so that plans are repeatable."""

    QUICK = "quick"
    NORMAL = "normal"
    THOROUGH = "thorough"


class Rect(NamedTuple):
    """An upright rectangle on a sheet."""

    x: Length
    y: Length
    width: Length
    height: Length

    @property
    def right(self) -> Length:
        """The x of its right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> Length:
        """The y of its lower edge."""
        return self.y + self.height

    @property
    def area(self) -> int:
        """Its area in square fine units."""
        return self.width * self.height

    def contains(self, other: Rect) -> bool:
        """Tell whether the other lies within this one."""
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.right <= self.right
            and other.bottom <= self.bottom
        )

    def overlaps(self, other: Rect) -> bool:
        """Tell whether both share more than an edge."""
        return (
            self.x < other.right
            and other.x < self.right
            and self.y < other.bottom
            and other.y < self.bottom
        )


class Margins(NamedTuple):
    """How much along each edge of a sheet can't be used."""

    left: Length = 0
    top: Length = 0
    right: Length = 0
    bottom: Length = 0


NO_MARGINS = Margins()


@dataclass(frozen=True)
class StockItem:
    """Equal sheets or offcuts at hand.

    Attributes
    ----------
    name
        Unique among the stock of a problem.
    quantity
        How many there are; None means as many as needed.
    price
        What using one costs, in any unit of money; zero or more.
    paper
        The paper it is of; pieces are cut only from their own paper.
    margins
        Along its edges neither pieces nor offcuts are cut.
    damaged
        Rectangles of it, a damaged corner for instance, from which nothing is cut.
    grain
        Along which side its grain runs; `Grain.ANY` if that is not known.
    is_offcut
        Whether it is an offcut itself.  Its price is then an offcut's, so that what is kept of it
        counts at its whole part of the price.
    """

    name: str
    width: Length
    height: Length
    quantity: int | None
    price: Fraction
    paper: str = ""
    margins: Margins = NO_MARGINS
    damaged: tuple[Rect, ...] = ()
    grain: Grain = Grain.ANY
    is_offcut: bool = False

    @property
    def usable(self) -> Rect:
        """What lies within its margins; empty (no width or no height) if they leave nothing."""
        left, top, right, bottom = self.margins
        return Rect(
            left, top, max(0, self.width - left - right), max(0, self.height - top - bottom)
        )

    @property
    def unusable(self) -> tuple[Rect, ...]:
        """Its margins and what is spoiled of it."""
        left, top, right, bottom = self.margins
        strips = (
            Rect(0, 0, left, self.height),
            Rect(0, 0, self.width, top),
            Rect(self.width - right, 0, right, self.height),
            Rect(0, self.height - bottom, self.width, bottom),
        )
        return (*(strip for strip in strips if strip.area), *self.damaged)


@dataclass(frozen=True)
class Demand:
    """Equal pieces to be made, each a rectangle `width` × `height` (the piece's blank).

    Attributes
    ----------
    name
        Unique among the wants of a problem.
    voids
        Rectangles within the blank, as it is asked for, that the piece does not cover: corners cut
        away, for instance.  They don't overlap.  Other pieces may lie in them.
    grain
        Along which of its sides the grain must run, where a sheet's are known; only for a piece
        that may be turned.
    """

    name: str
    width: Length
    height: Length
    quantity: int
    paper: str = ""
    turn: Turn = Turn.ANY
    voids: tuple[Rect, ...] = ()
    grain: Grain = Grain.ANY


@dataclass(frozen=True)
class Trimmer:
    """What a paper trimmer can do.

    Attributes
    ----------
    longest_cut
        Longer cuts are made with a knife along a rule; None: there are none too long.
    smallest_strip
        It can't hold a part narrower than this: a cut that leaves no wider part on either side is
        made with a knife.
    stages
        How often at most the way of cutting changes, the first way included, until a piece is
        free: with two stages a sheet is cut into strips and each strip across.  Corners cut out of
        a piece are separate small sheets.  None: any number.
    """

    longest_cut: Length | None = None
    smallest_strip: Length = 0
    stages: int | None = None

    def can_make(self, cut: Cut) -> bool:
        """Tell whether it can make a cut; those that a plan makes with a knife, it can't."""
        low, high = (cut.part.x, cut.part.right) if cut.vertical else (cut.part.y, cut.part.bottom)
        return (
            not cut.knife
            and (self.longest_cut is None or cut.end - cut.start <= self.longest_cut)
            and max(cut.at - low, high - cut.at) >= self.smallest_strip
        )


UNLIMITED_TRIMMER = Trimmer()
"""One that makes every cut."""


@dataclass(frozen=True)
class Problem:
    """What is to be cut, from what, and how.

    Attributes
    ----------
    smallest_offcut
        Short side of the smallest offcut worth keeping.
    gap
        Least distance between two pieces, across or down.
    trimmer
        For straight cuts: what the trimmer can do.
    offcut_value_share
        The share, from 0 to 1, of its part of the sheet's price (by area) at which an offcut that
        is kept counts.
    """

    demands: tuple[Demand, ...]
    stock: tuple[StockItem, ...]
    cuts: Cuts = Cuts.STRAIGHT
    smallest_offcut: Length = MIN_OFFCUT_SIDE
    gap: Length = 0
    trimmer: Trimmer = UNLIMITED_TRIMMER
    offcut_value_share: Fraction = Fraction(0)


class PlacedPiece(NamedTuple):
    """One piece on a sheet; width and height are as placed.

    `turned` says that it lies a quarter turn from how it was asked for.
    """

    name: str
    x: Length
    y: Length
    width: Length
    height: Length
    turned: bool = False

    @property
    def rect(self) -> Rect:
        """The rectangle of its blank."""
        return Rect(self.x, self.y, self.width, self.height)


def placed_voids(want: Demand, placed: PlacedPiece) -> tuple[Rect, ...]:
    """Return where on the sheet the voids of a placed piece lie.

    A piece that is turned lies a quarter turn clockwise from how it was asked for.
    """
    return tuple(
        Rect(placed.x + want.height - void.bottom, placed.y + void.x, void.height, void.width)
        if placed.turned
        else Rect(placed.x + void.x, placed.y + void.y, void.width, void.height)
        for void in want.voids
    )


class PrintedCut(NamedTuple):
    """A cut as a maker reads it: rounded, and from the left and top edges of the part on the table.

    Attributes
    ----------
    at
        How far from the left edge a cut up and down runs, or one across from the top edge.
    start, end
        From where to where; an end of None is the part's far edge.
    is_left_out
        Whether it is not made, as it would take off only a sliver.
    """

    at: Length
    start: Length
    end: Length | None
    is_left_out: bool = False


class Cut(NamedTuple):
    """One cut, in the order they are made.

    Attributes
    ----------
    part
        The rectangle that is cut: the sheet, or what an earlier cut freed; a void that has been
        cut out of a blank is such a part too.
    vertical
        Whether the line runs up and down.
    at
        Its x if it is vertical, else its y.
    start, end
        Where it starts and ends along its own direction.
    knife
        False: the cut runs from edge to edge of `part` and parts it in two.
        True: it is made with a knife along a rule inside `part` and may stop anywhere.  With
        straight cuts only voids are cut out so: `part` is a piece's blank, and the cut runs along
        an edge of one of its voids.
    """

    part: Rect
    vertical: bool
    at: Length
    start: Length
    end: Length
    knife: bool = False


@dataclass(frozen=True)
class Layout:
    """Pieces placed on one sheet or offcut, with the order of cuts.

    Attributes
    ----------
    stock
        The name of the stock it is cut from.
    copies
        How many sheets are cut this way.
    cuts
        Cuts in order; after the last, every piece and every offcut lies free.
    offcuts
        Rectangles left over and worth keeping.
    """

    stock: str
    copies: int
    placed: tuple[PlacedPiece, ...]
    cuts: tuple[Cut, ...] = ()
    offcuts: tuple[Rect, ...] = ()


class Unplaced(NamedTuple):
    """Pieces that could not be placed, and why."""

    name: str
    quantity: int
    why: str


@dataclass(frozen=True)
class CuttingPlan:
    """Layouts for a problem, and how good they are.

    Attributes
    ----------
    cost
        The sum of the prices of the sheets used.
    lower_bound
        A proven lower bound on `net_cost` of all plans that place the same pieces.
    offcut_value
        What the offcuts of its layouts count, by `Problem.offcut_worth`.
    statistics
        What was tried, for people and tests: counts by name of method.
    interrupted
        Whether the search was ended before its effort was spent.
    """

    layouts: tuple[Layout, ...]
    unplaced: tuple[Unplaced, ...]
    cost: Fraction
    lower_bound: Fraction
    statistics: dict[str, int] = field(default_factory=dict)
    interrupted: bool = False
    offcut_value: Fraction = Fraction(0)

    @property
    def net_cost(self) -> Fraction:
        """The paper used less the offcuts kept: what a plan is judged by."""
        return self.cost - self.offcut_value

    @property
    def optimality_gap(self) -> Fraction:
        """(net − bound) / net: how far from the bound, zero when proven best."""
        return (self.net_cost - self.lower_bound) / self.net_cost if self.net_cost else Fraction(0)

    @property
    def sheet_count(self) -> int:
        """How many sheets and offcuts are cut."""
        return sum(layout.copies for layout in self.layouts)
