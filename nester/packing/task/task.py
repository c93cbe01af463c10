"""One paper's part of a problem, in the smallest numbers that say the same.

Papers never share a sheet, so each is a separate problem.  Equal pieces are counted, not
multiplied; lengths are divided by their common divisor and prices made whole, so that every
method works on small integers.  Gaps, margins and grain are gone by then (`preprocess.py`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import gcd, lcm
from typing import NamedTuple

from nester.core.geometry import maximal_free_rectangles, solid_columns, solid_rows
from nester.core.piece import Grain, Turn
from nester.core.problem import Cuts, Demand, PlacedPiece, Problem, Rect, StockItem, placed_voids
from nester.cutting import is_guillotine, stages_needed
from nester.packing.task.preprocess import Blank, PreparedPaper, Sheet

__all__ = [
    "BinType",
    "ItemType",
    "Pattern",
    "Placement",
    "Task",
    "integer_prices",
    "item_counts",
    "orientations",
    "tasks_by_paper",
]

_LARGEST_PRICE = 2**40
"""Whole prices stay below this, so that sums over a million sheets fit the solver's 64 bits."""


class ItemType(NamedTuple):
    """Equal pieces: sides in scaled units, how many, and whether a quarter turn changes anything.

    `voids` are those of the upright blank into which other pieces may reach.
    """

    width: int
    height: int
    demand: int
    rotatable: bool
    voids: tuple[Rect, ...] = ()

    @property
    def area(self) -> int:
        """Area of the blank in scaled square units."""
        return self.width * self.height

    @property
    def solid_area(self) -> int:
        """Area of the blank without its voids."""
        return self.area - sum(void.area for void in self.voids)

    def oriented_size(self, turned: bool) -> tuple[int, int]:
        """Return its width and height as it lies."""
        return (self.height, self.width) if turned else (self.width, self.height)

    @property
    def is_rotation_symmetric(self) -> bool:
        """Whether a quarter turn changes nothing."""
        return self.width == self.height and self.voids_at(0, 0, True) == self.voids

    def voids_at(self, x: int, y: int, turned: bool) -> tuple[Rect, ...]:
        """Return where its voids lie on a sheet, sorted."""
        if not self.voids:
            return ()
        width, height = (self.height, self.width) if turned else (self.width, self.height)
        want = Demand("", self.width, self.height, 1, voids=self.voids)
        return tuple(sorted(placed_voids(want, PlacedPiece("", x, y, width, height, turned))))

    def rows(self) -> tuple[Rect, ...]:
        """Return what is solid of it in rows as wide as can be."""
        return solid_rows(Rect(0, 0, self.width, self.height), self.voids)

    def columns(self) -> tuple[Rect, ...]:
        """Return what is solid of it in columns as high as can be."""
        return solid_columns(Rect(0, 0, self.width, self.height), self.voids)

    def fits(self, width: int, height: int) -> bool:
        """Whether one such piece fits into a width × height rectangle."""
        return (self.width <= width and self.height <= height) or (
            self.rotatable and self.height <= width and self.width <= height
        )


def orientations(item: ItemType) -> tuple[tuple[int, int], ...]:
    """Return the sizes that a shape may take on a sheet: upright, and turned if it may be."""
    return tuple(
        item.oriented_size(turned) for turned in ((False, True) if item.rotatable else (False,))
    )


class BinType(NamedTuple):
    """Equal sheets: sides in scaled units, how many (None: as many as needed), whole price.

    In what is `defects` nothing may lie; a bound may leave it out of account.
    """

    width: int
    height: int
    on_hand: int | None
    price: int
    defects: tuple[Rect, ...] = ()

    @property
    def area(self) -> int:
        """Area in scaled square units."""
        return self.width * self.height


class Placement(NamedTuple):
    """A shape (by index) lying on a sheet with its top left corner at x, y."""

    item_type: int
    x: int
    y: int
    turned: bool


class Pattern(NamedTuple):
    """Shapes placed on one sheet of a kind (by index)."""

    bin_type: int
    placements: tuple[Placement, ...]


def item_counts(placements: Iterable[Placement]) -> dict[int, int]:
    """Count the shapes among spots, by index."""
    counts: dict[int, int] = defaultdict(int)
    for placement in placements:
        counts[placement.item_type] += 1
    return dict(counts)


@dataclass(frozen=True)
class Task:
    """One paper's cutting problem in scaled units.

    Attributes
    ----------
    item_types, bin_types
        What is to be cut and from what.  Every shape fits at least one kind.
    blanks
        For each shape, the blanks it stands for, in the problem's order.
    sheets
        For each kind, the sheet it stands for.
    length_unit
        Fine units in one scaled unit.
    price_unit
        Money in one unit of whole price; whole prices are rounded down to it, and exact unless
        the prices span more than 2⁴⁰.
    max_stages
        How often at most the way of cutting may change until a piece is free; None: any number.

    Raises
    ------
    ValueError
        If a shape's voids cover it wholly: `validate` refuses such a piece, and methods divide by
        solid area.
    """

    paper: str
    item_types: tuple[ItemType, ...]
    bin_types: tuple[BinType, ...]
    blanks: tuple[tuple[Blank, ...], ...]
    sheets: tuple[Sheet, ...]
    length_unit: int
    price_unit: Fraction
    max_stages: int | None = None

    def __post_init__(self) -> None:
        for shape in self.item_types:
            if shape.solid_area <= 0:
                raise ValueError(f"a {shape.width} × {shape.height} shape is all void")

    @property
    def demand(self) -> tuple[int, ...]:
        """How many of each shape are wanted."""
        return tuple(item.demand for item in self.item_types)

    def with_demand(self, counts: Sequence[int]) -> Task:
        """Return the same task for other counts of its shapes, some perhaps none."""
        shapes = (s._replace(demand=n) for s, n in zip(self.item_types, counts, strict=True))
        return replace(self, item_types=tuple(shapes))

    def max_sheets(self, bin_type: int) -> int:
        """How many sheets of a kind a sensible plan uses at most: one a piece, if there are."""
        pieces = sum(self.demand)
        on_hand = self.bin_types[bin_type].on_hand
        return pieces if on_hand is None else min(on_hand, pieces)

    def exact_cost(self, uses: dict[int, int]) -> Fraction:
        """Money for given counts of sheets of each kind."""
        prices = (self.sheets[kind].stock.price * n for kind, n in uses.items())
        return sum(prices, Fraction(0))

    @property
    def is_unrestricted(self) -> bool:
        """Whether pieces may lie anywhere, and cuts go any way that the kind of cuts allows."""
        return self.max_stages is None and not any(
            sheet_type.defects for sheet_type in self.bin_types
        )

    def allows(self, pattern: Pattern) -> bool:
        """Whether nothing lies on what is spoiled, and it comes apart in as many stages as may be.

        Of other rules a pattern is taken to keep to them.
        """
        sheet_type = self.bin_types[pattern.bin_type]
        if not sheet_type.defects and self.max_stages is None:
            return True
        boxes, voids = [], []
        for item_type, x, y, turned in pattern.placements:
            item = self.item_types[item_type]
            boxes.append(Rect(x, y, *item.oriented_size(turned)))
            voids.append(item.voids_at(x, y, turned))
        if any(
            solid.overlaps(defect)
            for defect in sheet_type.defects
            for box, piece_voids in zip(boxes, voids, strict=True)
            if box.overlaps(defect)
            for solid in solid_rows(box, piece_voids)
        ):
            return False
        if self.max_stages is None:
            return True
        left, top, right, bottom = self.sheets[pattern.bin_type].trim_edges
        whole = Rect(-left, -top, left + sheet_type.width + right, top + sheet_type.height + bottom)
        return stages_needed(whole, boxes, voids) <= self.max_stages


def tasks_by_paper(problem: Problem) -> tuple[list[Task], list[tuple[Demand, str]]]:
    """Return a task for each paper that has work to do, and the wants that fit no sheet, with why.

    Papers come in the order in which the wants name them.
    """
    stock_of: dict[str, list[StockItem]] = defaultdict(list)
    for stock in problem.stock:
        if stock.quantity is None or stock.quantity > 0:
            stock_of[stock.paper].append(stock)
    wants_of: dict[str, list[Demand]] = defaultdict(list)
    hopeless: list[tuple[Demand, str]] = []
    stages = problem.trimmer.stages if problem.cuts is Cuts.STRAIGHT else None
    for want in problem.demands:
        why = _why_unplaceable(want, stock_of[want.paper], stages)
        if why:
            hopeless.append((want, why))
        else:
            wants_of[want.paper].append(want)
    tasks = [
        _make_task(paper, PreparedPaper(wants, stock_of[paper], problem), problem.cuts, stages)
        for paper, wants in wants_of.items()
    ]
    return tasks, hopeless


def _why_unplaceable(want: Demand, stock: Sequence[StockItem], stages: int | None) -> str:
    if not stock:
        return f"there is no sheet of paper '{want.paper}'" if want.paper else "there is no sheet"
    if any(_can_be_placed(want, item, stages) for item in stock):
        return ""
    if any(_can_be_placed(want, item, None) for item in stock):
        return "one stage of cuts frees it from no sheet: it is as long or as wide as none"
    if any(
        _can_be_placed(replace(want, turn=Turn.ANY, grain=Grain.ANY), item, None) for item in stock
    ):
        return "it fits no sheet without a turn that it may not make"
    return (
        "it is larger than every sheet of its paper"
        if want.paper
        else ("it is larger than every sheet")
    )


def _can_be_placed(want: Demand, stock: StockItem, stages: int | None) -> bool:
    """Tell whether one such piece finds room on a sheet, and at most `stages` stages free it.

    Two stages free any piece that lies in a corner.  One does if it is as long as the sheet is wide
    or high, and no margin has to be cut off that way.
    """
    width, height = want.width, want.height
    turns = want.turn is Turn.ANY
    if Grain.ANY not in (want.grain, stock.grain):
        turns = False
        if want.grain is not stock.grain:
            width, height = height, width
    whole, margins = stock.usable, stock.margins
    shape = ItemType(width, height, 1, turns)
    for _, _, wide, high in maximal_free_rectangles(whole, stock.damaged):
        if stages != 1:
            if shape.fits(wide, high):
                return True
            continue
        for across, down in orientations(shape):
            strip = (across == whole.width and not (margins.left or margins.right)) or (
                down == whole.height and not (margins.top or margins.bottom)
            )
            if strip and across <= wide and down <= high:
                return True
    return False


_ItemKey = tuple[int, int, bool, tuple[Rect, ...]]
"""What equal pieces have in common: sides, whether they turn, voids."""


def _make_task(paper: str, laid: PreparedPaper, cuts: Cuts, stages: int | None) -> Task:
    merged: dict[_ItemKey, list[Blank]] = defaultdict(list)
    for blank in laid.blanks:
        merged[_item_key(blank, _usable_voids(blank, laid.blanks, cuts))].append(blank)
    smallest = min(min(width, height) for width, height, *_ in merged)
    useful = [s for s in laid.sheets if min(s.width, s.height) >= smallest]
    divisor = gcd(
        *(side for width, height, *_ in merged for side in (width, height)),
        *(side for *_, voids in merged for void in voids for side in void),
        *(side for s in useful for side in (s.width, s.height)),
        *(side for s in useful for bad in s.defects for side in bad),
    )
    prices, price_unit = integer_prices([s.stock.price for s in useful])
    # Largest first: the order in which methods and people like to think of them.
    keys = sorted(merged, key=lambda key: (-key[0] * key[1], key))

    def scaled(rects: Iterable[Rect]) -> tuple[Rect, ...]:
        return tuple(Rect(*(side // divisor for side in rect)) for rect in rects)

    return Task(
        paper=paper,
        item_types=tuple(
            ItemType(
                width // divisor,
                height // divisor,
                sum(blank.demand.quantity for blank in merged[width, height, turns, voids]),
                turns,
                scaled(voids),
            )
            for width, height, turns, voids in keys
        ),
        bin_types=tuple(
            BinType(
                sheet.width // divisor,
                sheet.height // divisor,
                sheet.stock.quantity,
                price,
                scaled(sheet.defects),
            )
            for sheet, price in zip(useful, prices, strict=True)
        ),
        blanks=tuple(tuple(merged[key]) for key in keys),
        sheets=tuple(useful),
        length_unit=divisor,
        price_unit=price_unit,
        max_stages=stages,
    )


def _item_key(blank: Blank, voids: tuple[Rect, ...]) -> _ItemKey:
    """Return what a blank has in common with its like; plain rectangles that turn lie lengthwise.

    Those with voids stay as they are laid: two quarter turns are more than none.
    """
    width, height = blank.width, blank.height
    if voids:
        as_is = ItemType(width, height, 1, False, tuple(sorted(voids)))
        return width, height, blank.rotatable and not as_is.is_rotation_symmetric, as_is.voids
    turns = blank.rotatable and width != height
    if turns and width < height:
        width, height = height, width
    return width, height, turns, ()


def _usable_voids(blank: Blank, blanks: Sequence[Blank], cuts: Cuts) -> tuple[Rect, ...]:
    """Return the voids into which other pieces can reach.

    With free cuts these are all, since even an arm may reach into one.  With straight cuts it is
    those that hold some piece whole; where edge-to-edge cuts couldn't part them, if the pieces in
    them lay on the sheet without their host, the smallest are left out.
    """
    if cuts is Cuts.FREE or not blank.voids:
        return blank.voids
    shapes = [ItemType(blank.width, blank.height, 1, blank.rotatable) for blank in blanks]
    held = [v for v in blank.voids if any(shape.fits(v.width, v.height) for shape in shapes)]
    held.sort(key=lambda void: (-void.area, void))
    while not is_guillotine(PlacedPiece("", *void) for void in held):
        held.pop()
    return tuple(held)


def integer_prices(prices: Sequence[Fraction]) -> tuple[list[int], Fraction]:
    """Return prices as whole numbers, and the unit of money in which they are counted.

    It is the largest unit in which all are whole, or a coarser one if they'd be huge; then they
    are rounded down.
    """
    positive = [price for price in prices if price]
    if not positive:
        return [0] * len(prices), Fraction(1)
    common = lcm(*(price.denominator for price in positive))
    unit = Fraction(gcd(*(int(price * common) for price in positive)), common)
    unit = max(unit, max(positive) / _LARGEST_PRICE)
    return [int(price / unit) for price in prices], unit
