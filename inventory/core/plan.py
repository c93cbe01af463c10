"""A plan as plain data: what a batch is cut from, how, what waits, and what to buy.

It says everything the documents need, so that a plan can be printed again after the stash has
moved on.  It is kept with its batch as JSON text, lengths in fine units, money as text.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from inventory.core.labels import batch_offcut_label
from inventory.core.limits import NOBODY
from inventory.core.money import floor_to_decimals
from inventory.core.text import shorten
from nester.core.lengths import Length, Unit
from nester.core.piece import Grain, Piece
from nester.core.problem import (
    UNLIMITED_TRIMMER,
    Cut,
    Cuts,
    Effort,
    Layout,
    Margins,
    PlacedPiece,
    Rect,
    StockItem,
    Trimmer,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from pydantic import TypeAdapter

__all__ = [
    "NOBODY",
    "PartType",
    "PieceShortage",
    "Plan",
    "PlannedLayout",
    "PlannedOrder",
    "PlannedPlacement",
    "PlannedSheet",
    "PlannedSpare",
    "ShoppingLine",
    "plan_faults",
    "plan_from_json",
    "plan_to_json",
]


@dataclass(frozen=True)
class PlannedSheet:
    """The sheet or offcut that a layout is cut from, and where it lies.

    Attributes
    ----------
    price
        What using one counts in the plan's cost.
    grain
        Along which of its sides its grain runs, if that is known.
    pattern_up
        Its paper has a pattern with a top, which is the sheet's top.
    margins
        Along its edges nothing is cut.
    bruises
        Rectangles of it from which nothing is cut.
    """

    label: str
    kind: str
    paper: str
    swatch: str | None
    width: Length
    height: Length
    place: str | None
    price: Decimal
    grain: Grain = Grain.ANY  # plans booked before these were kept say nothing of them
    pattern_up: bool = False
    margins: Margins = field(default_factory=Margins)
    bruises: tuple[Rect, ...] = ()


@dataclass(frozen=True)
class PartType:
    """A kind of piece in its paper."""

    paper: str
    piece: Piece


@dataclass(frozen=True)
class PlannedPlacement:
    """One piece on a layout.

    Attributes
    ----------
    part
        Index into the plan's parts.
    orders
        The orders its copies are for, or `NOBODY`, in the order in which the copies are cut.
    """

    part: int
    x: Length
    y: Length
    width: Length
    height: Length
    turned: bool
    orders: tuple[int, ...]


@dataclass(frozen=True)
class PlannedLayout:
    """Pieces placed on one sheet or offcut, with the order of cuts.

    Attributes
    ----------
    offcut_kinds
        Of each offcut the number of its kind; see `Plan.offcut_label`.
    day
        On which day of cutting it is cut, from 1; 0 in a batch that is not split by days.
    dropped
        The copies, counted from 1, that are not cut any more, as nobody needs what is on them.
    """

    number: int
    sheet: PlannedSheet
    copies: int
    spots: tuple[PlannedPlacement, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[Rect, ...]
    day: int = 0
    dropped: tuple[int, ...] = ()
    offcut_kinds: tuple[int, ...] = ()

    @property
    def needed(self) -> tuple[int, ...]:
        """The copies that are cut, counted from 1."""
        return tuple(copy for copy in range(1, self.copies + 1) if copy not in self.dropped)

    def of_copies(self, copies: Sequence[int]) -> PlannedLayout:
        """Return the layout with these of its copies alone, counted anew."""
        spots = tuple(
            replace(spot, orders=tuple(spot.orders[copy - 1] for copy in copies))
            for spot in self.spots
        )
        return replace(self, copies=len(copies), spots=spots, dropped=())

    def offcuts_by_kind(self) -> dict[int, tuple[Rect, int]]:
        """Return the offcuts that one copy leaves: of each kind the first, and how many."""
        found: dict[int, tuple[Rect, int]] = {}
        for kind, rect in zip(self.offcut_kinds, self.offcuts, strict=True):
            first, number = found.get(kind, (rect, 0))
            found[kind] = first, number + 1
        return found


@dataclass(frozen=True)
class PlannedOrder:
    """An order of the batch; `made` says whether the stash suffices for all of it."""

    number: int
    customer: str
    design: str
    copies: int
    due: date
    made: bool


@dataclass(frozen=True)
class PlannedSpare:
    """Spare pieces that an order takes instead of new ones.

    Attributes
    ----------
    label
        As it is written on them: ``C-1``.
    piece
        The name by which the order calls it.
    """

    label: str
    order: int
    piece: str
    paper: str
    quantity: int
    place: str | None


@dataclass(frozen=True)
class PieceShortage:
    """Pieces of an order for which there is no paper."""

    order: int
    paper: str
    piece: str
    width: Length
    height: Length
    quantity: int
    why: str


@dataclass(frozen=True)
class ShoppingLine:
    """A line of the shopping list.

    Attributes
    ----------
    quantity
        Sheets to buy; 0 if the book knows no sheet of the paper that is large enough.
    price
        Of one sheet, as it is asked, else as last paid; None if the book knows none.
    orders
        The orders that wait for it.
    """

    paper: str
    width: Length
    height: Length
    quantity: int
    price: Decimal | None
    orders: tuple[int, ...]


@dataclass(frozen=True)
class Plan:
    """The layouts for a batch, what stays unmade, and what to buy.

    Attributes
    ----------
    batch
        The number of the batch; None if nothing can be made, so that there is none.
    orders
        Most urgent first.
    cost
        The sum of the prices of the sheets used.
    bound
        No plan can make these orders for less net; proven.
    notes
        What the maker should know.
    kept
        What the offcuts that are kept count, as they would if they were taken.
    apart
        How far apart two pieces are at least, across or down.
    trimmer
        What the trimmer can do: cuts that it can't make are made with a knife.
    follow_grain
        Whether pieces that wish for a grain follow it, where it is known.
    spares
        What is taken from the spare pieces.
    closed
        What was not cut of it is planned anew; only what was cut stands in it.
    is_proven
        False: orders need less of it than they did when it was planned, or the rest is planned
        anew, and `bound` proves nothing.
    """

    batch: int | None
    made_on: date
    shop: str
    unit: Unit
    currency: str
    cuts: Cuts
    effort: Effort
    orders: tuple[PlannedOrder, ...]
    parts: tuple[PartType, ...]
    layouts: tuple[PlannedLayout, ...]
    lacking: tuple[PieceShortage, ...]
    restock: tuple[ShoppingLine, ...]
    cost: Decimal
    bound: Decimal
    notes: tuple[str, ...] = ()
    kept: Decimal = Decimal(0)  # plans booked before this was counted say nothing of it
    apart: Length = 0
    trimmer: Trimmer = UNLIMITED_TRIMMER
    follow_grain: bool = False
    spares: tuple[PlannedSpare, ...] = ()
    closed: bool = False
    is_proven: bool = True

    def __post_init__(self) -> None:
        """Give a number to each kind of offcuts that has none; plans of before kept none."""
        layouts = _with_offcut_kinds(self.layouts)
        if layouts is not self.layouts:
            object.__setattr__(self, "layouts", layouts)

    @property
    def net_cost(self) -> Decimal:
        """The paper used less the offcuts kept."""
        return self.cost - self.kept

    @property
    def optimality_gap(self) -> Decimal:
        """(net − bound) / net, zero when the plan is proven best."""
        return (self.net_cost - self.bound) / self.net_cost if self.net_cost else Decimal(0)

    @property
    def paper_area(self) -> int:
        """Area of the sheets used, in square fine units."""
        return sum(
            len(layout.needed) * layout.sheet.width * layout.sheet.height for layout in self.layouts
        )

    @property
    def piece_area(self) -> int:
        """Area of the pieces within their outlines, in square fine units."""
        return sum(
            len(layout.needed) * self.part_of(spot).piece.area
            for layout in self.layouts
            for spot in layout.spots
        )

    @property
    def kept_area(self) -> int:
        """Area of the offcuts worth keeping, in square fine units."""
        return sum(
            len(layout.needed) * rect.area for layout in self.layouts for rect in layout.offcuts
        )

    def offcut_value_shares(self) -> tuple[Fraction, Fraction]:
        """Return at which part of their share of the price the offcuts kept count.

        That is, of sheets and of offcuts.  A plan says what all of them count; what is kept of an
        offcut counts whole, so the rest says how much counts of sheets.
        """
        whole: dict[str, Fraction] = defaultdict(Fraction)
        for layout in self.layouts:
            area = sum(rect.area for rect in layout.offcuts)
            back = Fraction(area, layout.sheet.width * layout.sheet.height)
            whole[layout.sheet.kind] += Fraction(layout.sheet.price) * len(layout.needed) * back
        kept, offcuts, sheets = Fraction(self.kept), whole["offcut"], whole["sheet"]
        if kept < offcuts or not sheets:
            return Fraction(0), kept / offcuts if offcuts else Fraction(0)
        return (kept - offcuts) / sheets, Fraction(1)

    def with_layouts(self, layouts: Sequence[PlannedLayout]) -> Plan:
        """Return a plan of other layouts, with what these cost and what their offcuts count."""
        of_sheets, of_offcuts = self.offcut_value_shares()
        cost, kept = Decimal(0), Fraction(0)
        for planned in layouts:
            sheet = planned.sheet
            price = sheet.price * len(planned.needed)
            cost += price
            area = Fraction(sum(rect.area for rect in planned.offcuts), sheet.width * sheet.height)
            kept += Fraction(price) * area * (of_offcuts if sheet.kind == "offcut" else of_sheets)
        rounded = floor_to_decimals(kept)
        return replace(
            self, layouts=tuple(layouts), cost=cost, kept=rounded,
            bound=min(self.bound, cost - rounded),
        )  # fmt: skip

    def current(self) -> Plan:
        """Return the plan without the copies that are not cut any more; others are counted anew."""
        layouts = (layout.of_copies(layout.needed) for layout in self.layouts if layout.needed)
        return replace(self, layouts=tuple(layouts))

    def of_copies(self, copies: Mapping[int, Sequence[int]]) -> Plan:
        """Return the plan of some copies alone, by layout, with their cost; it proves nothing."""
        layouts = [
            layout.of_copies(copies[layout.number])
            for layout in self.layouts
            if copies.get(layout.number)
        ]
        return replace(self.with_layouts(layouts), is_proven=False)

    def layout(self, number: int) -> PlannedLayout:
        """Return the layout of that number; KeyError if the plan has none."""
        for planned in self.layouts:
            if planned.number == number:
                return planned
        raise KeyError(number)

    def offcut_label(self, kind: int) -> str:
        """Return the label of the offcuts of a kind: equal ones, whatever layout leaves them.

        A kind keeps its number as long as there is the batch, also when the plan is changed, so
        a label that was printed is never another one's.
        """
        return batch_offcut_label(self.batch or 0, kind)

    def part_of(self, spot: PlannedPlacement) -> PartType:
        """Return what a spot holds."""
        return self.parts[spot.part]

    def as_layout(self, planned: PlannedLayout) -> tuple[Layout, StockItem]:
        """Return a layout in the words of `nester.core.problem`."""
        sheet = planned.sheet
        placed = tuple(
            PlacedPiece(self.part_of(s).piece.name, s.x, s.y, s.width, s.height, s.turned)
            for s in planned.spots
        )
        return (
            Layout(sheet.label, planned.copies, placed, planned.cuts, planned.offcuts),
            StockItem(
                sheet.label,
                sheet.width,
                sheet.height,
                None,
                Fraction(sheet.price),
                sheet.paper,
                sheet.margins,
                sheet.bruises,
                sheet.grain,
            ),
        )

    def pieces_of(self, planned: PlannedLayout) -> list[Piece]:
        """Return the pieces on a layout, spot by spot."""
        return [self.part_of(spot).piece for spot in planned.spots]


def _with_offcut_kinds(layouts: tuple[PlannedLayout, ...]) -> tuple[PlannedLayout, ...]:
    """Give each kind of offcuts a number, from 1 in the order of layouts; those given stay."""
    if all(len(layout.offcut_kinds) == len(layout.offcuts) for layout in layouts):
        return layouts
    known: dict[tuple[str, Length, Length, Grain], int] = {}
    last = max((kind for layout in layouts for kind in layout.offcut_kinds), default=0)
    numbered = []
    for layout in layouts:
        kinds = layout.offcut_kinds
        if len(kinds) != len(layout.offcuts):
            keys = [
                (layout.sheet.paper, rect.width, rect.height, layout.sheet.grain)
                for rect in layout.offcuts
            ]
            for key in keys:
                if key not in known:
                    last += 1
                    known[key] = last
            kinds = tuple(known[key] for key in keys)
        numbered.append(replace(layout, offcut_kinds=kinds))
    return tuple(numbered)


_LARGEST = 10**9
"""No length of a plan is longer than 10 m (240,000,000 fine units), and no number larger."""


def plan_faults(plan: Plan) -> Iterator[str]:
    """Yield why a plan that could be read can't be followed, printed or counted with."""
    yield from _faults_of_values(plan)
    orders = {NOBODY, *(order.number for order in plan.orders)}
    if len({layout.number for layout in plan.layouts}) != len(plan.layouts):
        yield "two layouts have one number"
    kinds: dict[int, tuple[str, Length, Length]] = {}
    for layout in plan.layouts:
        sheet, where = layout.sheet, f"layout {layout.number}"
        whole = Rect(0, 0, sheet.width, sheet.height)
        if layout.copies < 1 or layout.number < 1 or min(sheet.width, sheet.height) < 1:
            yield f"{where} has a number that can't be so"
        yield from _faults_of_offcuts(layout, kinds)
        if not set(layout.dropped) <= set(range(1, layout.copies + 1)):
            yield f"{where} drops a copy that it does not have"
        for spot in layout.spots:
            if not 0 <= spot.part < len(plan.parts):
                yield f"{where} has a piece of no part"
            if len(spot.orders) != layout.copies or not orders.issuperset(spot.orders):
                yield f"{where} has a piece for an order that is not in the plan"
            if min(spot.width, spot.height) < 1 or not whole.contains(
                Rect(spot.x, spot.y, spot.width, spot.height)
            ):
                yield f"{where} has a piece that does not lie on its sheet"


def _faults_of_offcuts(
    layout: PlannedLayout, kinds: dict[int, tuple[str, Length, Length]]
) -> Iterator[str]:
    """Check that offcuts of one kind are equal; `kinds` says how those of other layouts are."""
    for kind, rect in zip(layout.offcut_kinds, layout.offcuts, strict=True):
        this = layout.sheet.paper, rect.width, rect.height
        if kind < 1 or kinds.setdefault(kind, this) != this:
            yield f"layout {layout.number} has an offcut of a kind that can't be so"


def _faults_of_values(value: object) -> Iterator[str]:
    match value:
        case str():
            if shorten(value, len(value)) != value.strip():
                yield f"'{shorten(value)}' holds a control character"
        case int():
            if abs(value) > _LARGEST:
                yield f"{shorten(str(value))} is too large a number"
        case Decimal():
            if not value.is_finite() or abs(value) > _LARGEST**2:
                yield f"{shorten(str(value))} is no amount of money"
        case tuple():
            for item in value:
                yield from _faults_of_values(item)
        case _ if is_dataclass(value):
            for each in fields(value):
                yield from _faults_of_values(getattr(value, each.name))


@cache
def _adapter() -> TypeAdapter[Plan]:
    from pydantic import TypeAdapter

    return TypeAdapter(Plan)


def plan_to_json(plan: Plan) -> str:
    """Write a plan as JSON text."""
    return _adapter().dump_json(plan).decode()


def plan_from_json(text: str) -> Plan:
    """Read what `plan_to_json` wrote."""
    return _adapter().validate_json(text)
