"""The independent verifier of cutting plans.

It shares no code with what makes plans: `nester.verify.cuts` takes each sheet apart by its list of
cuts, and every promise of `nester.core.problem` is checked from the data alone.

A piece is its blank without its voids: what is left is solid.  Nothing else may lie upon that or be
cut into it, and in the end cuts must part it from all other items.  A void in which nothing lies
may stay on its piece, to be cut away by the piece's own template.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from typing import TYPE_CHECKING

from nester.core.lengths import Unit, format_size
from nester.core.piece import Grain, Turn
from nester.core.problem import Cuts, PlacedPiece, Rect, placed_voids
from nester.verify.cuts import faults_of_cuts, split
from nester.verify.faults import Fault, FaultKind, Finding, InvalidPlanError
from nester.verify.solids import (
    IntervalSet,
    Item,
    SweepEvent,
    contains,
    describe_rect,
    overlap,
    solid_rects,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from nester.core.problem import CuttingPlan, Demand, Layout, Problem, StockItem

__all__ = ["require_valid", "verify"]


def require_valid(problem: Problem, answer: CuttingPlan) -> None:
    """Raise `InvalidPlanError` unless a plan solves the problem."""
    faults = verify(problem, answer)
    if faults:
        raise InvalidPlanError(faults)


def verify(problem: Problem, answer: CuttingPlan) -> list[Fault]:
    """Return what is wrong with a plan; an empty list means that it is valid.

    Duplicate names in the problem and numbers that aren't exact are reported alone: with such data
    nothing else can be checked.  For the pieces of a layout it takes O(n log n) time, and in parts
    cut with a knife that times the number of such parts.
    """
    unclear = [*_faults_of_problem(problem), *_faults_of_numbers(answer)]
    if unclear:
        return unclear
    faults = [*_faults_of_counts(problem, answer), *_faults_of_costs(problem, answer)]
    for number, layout in enumerate(answer.layouts, 1):
        verifier = _LayoutVerifier(problem, layout)
        name = _layout_name(number, layout)
        faults += [Fault(kind, name, message) for kind, message in verifier.faults()]
    return faults


def _is_integer(number: object) -> bool:
    return isinstance(number, int) and not isinstance(number, bool)


def _is_exact(number: object) -> bool:
    return isinstance(number, Fraction) or _is_integer(number)


def _layout_name(number: int, layout: Layout) -> str:
    return f"layout {number} ({layout.stock})"


def _faults_of_problem(problem: Problem) -> Iterator[Fault]:
    named: tuple[tuple[str, Sequence[Demand | StockItem]], ...] = (
        ("wants", problem.demands),
        ("stock", problem.stock),
    )
    for where, items in named:
        for name, times in Counter(item.name for item in items).items():
            if times > 1:
                yield Fault(FaultKind.DUPLICATE_NAME, where, f"'{name}' is there {times} times")
        for item in items:
            numbers = (item.width, item.height, 0 if item.quantity is None else item.quantity)
            if not all(map(_is_integer, numbers)):
                message = f"'{item.name}' has a size or a quantity that is not a whole number"
                yield Fault(FaultKind.NOT_EXACT, where, message)
    for demand in problem.demands:
        if not all(_is_integer(number) for void in demand.voids for number in void):
            message = f"'{demand.name}' has a void that is not in whole numbers"
            yield Fault(FaultKind.NOT_EXACT, "wants", message)
        elif demand.voids and _are_invalid(demand.voids, Rect(0, 0, demand.width, demand.height)):
            message = f"'{demand.name}' has voids that overlap, leave its blank or fill it"
            yield Fault(FaultKind.BAD_VOID, "wants", message)
    for stock in problem.stock:
        if not all(map(_is_integer, (*stock.margins, *(n for bad in stock.damaged for n in bad)))):
            message = f"'{stock.name}' has margins or damaged areas that are not in whole numbers"
            yield Fault(FaultKind.NOT_EXACT, "stock", message)
    if not all(_is_exact(stock.price) for stock in problem.stock):
        yield Fault(FaultKind.NOT_EXACT, "stock", "a price is not exact")
    if not _is_exact(problem.offcut_value_share) or not 0 <= problem.offcut_value_share <= 1:
        message = "the value of offcuts is not an exact share from 0 to 1"
        yield Fault(FaultKind.NOT_EXACT, "offcuts", message)


def _faults_of_numbers(answer: CuttingPlan) -> Iterator[Fault]:
    if not all(map(_is_exact, (answer.cost, answer.offcut_value, answer.lower_bound))):
        message = "the cost, the value of the offcuts or the bound is not exact"
        yield Fault(FaultKind.NOT_EXACT, "cost", message)
    for left in answer.unplaced:
        if not _is_integer(left.quantity):
            message = f"'{left.name}' has a quantity that is not a whole number"
            yield Fault(FaultKind.NOT_EXACT, "unplaced", message)
    for number, layout in enumerate(answer.layouts, 1):
        numbers: list[object] = [layout.copies]
        for rect in (*(piece.rect for piece in layout.placed), *layout.offcuts):
            numbers += rect
        for cut in layout.cuts:
            numbers += (*cut.part, cut.at, cut.start, cut.end)
        if not all(map(_is_integer, numbers)):
            message = "a place, a size, a cut or the number of copies is not a whole number"
            yield Fault(FaultKind.NOT_EXACT, _layout_name(number, layout), message)


def _faults_of_counts(problem: Problem, answer: CuttingPlan) -> Iterator[Fault]:
    wanted = {demand.name: demand.quantity for demand in problem.demands}
    accounted: Counter[str] = Counter()
    for layout in answer.layouts:
        for name, times in Counter(piece.name for piece in layout.placed).items():
            accounted[name] += times * layout.copies
    for left in answer.unplaced:
        accounted[left.name] += left.quantity
        if left.name not in wanted:
            message = f"'{left.name}' is not asked for"
            yield Fault(FaultKind.UNKNOWN_DEMAND, "unplaced", message)
        if not left.why.strip() or left.quantity < 1:
            message = f"'{left.name}' needs a reason and a quantity of at least 1"
            yield Fault(FaultKind.MISSING_REASON, "unplaced", message)
    for name, quantity in wanted.items():
        if accounted[name] != quantity:
            message = (
                f"'{name}': {quantity} asked for, but {accounted[name]} made or listed as unplaced"
            )
            yield Fault(FaultKind.WRONG_COUNT, "pieces", message)
    used: Counter[str] = Counter()
    for layout in answer.layouts:
        used[layout.stock] += layout.copies
    for stock in problem.stock:
        if stock.quantity is not None and used[stock.name] > stock.quantity:
            message = f"'{stock.name}': {used[stock.name]} used, but there are {stock.quantity}"
            yield Fault(FaultKind.TOO_MANY_SHEETS, "stock", message)


def _faults_of_costs(problem: Problem, answer: CuttingPlan) -> Iterator[Fault]:
    stock = {item.name: item for item in problem.stock}
    known = [layout for layout in answer.layouts if layout.stock in stock]
    spent = sum(stock[layout.stock].price * layout.copies for layout in known)
    if answer.cost != spent:
        message = f"the cost is given as {answer.cost}, but the sheets cost {spent}"
        yield Fault(FaultKind.WRONG_COST, "cost", message)
    kept = sum(_offcut_value(problem, stock[layout.stock], layout) for layout in known)
    if answer.offcut_value != kept:
        message = f"the value of the offcuts is given as {answer.offcut_value}, but it is {kept}"
        yield Fault(FaultKind.WRONG_OFFCUT_VALUE, "offcuts", message)
    if not 0 <= answer.lower_bound <= answer.net_cost:
        message = f"the bound {answer.lower_bound} is not between 0 and the net cost"
        yield Fault(FaultKind.WRONG_BOUND, "bound", message)


def _offcut_value(problem: Problem, stock: StockItem, layout: Layout) -> Fraction:
    """Return the value of the offcuts of all copies of a layout; 0 for a sheet of no size."""
    area, sheet = sum(rect.area for rect in layout.offcuts), stock.width * stock.height
    if not area or not sheet:
        return Fraction(0)
    share = 1 if stock.is_offcut else problem.offcut_value_share
    # If offcuts of sheets have no value, those of offcuts have none either.
    share = share if problem.offcut_value_share else 0
    return Fraction(stock.price) * share * layout.copies * Fraction(area, sheet)


class _LayoutVerifier:
    def __init__(self, problem: Problem, layout: Layout) -> None:
        self.problem = problem
        self.layout = layout
        self.demands = {demand.name: demand for demand in problem.demands}
        self.stock = next((s for s in problem.stock if s.name == layout.stock), None)
        self.pieces = [Item(p.rect, f"piece '{p.name}'", self._voids(p)) for p in layout.placed]
        self.offcuts = [
            Item(rect, f"offcut {number}") for number, rect in enumerate(layout.offcuts, 1)
        ]

    def _voids(self, piece: PlacedPiece) -> tuple[Rect, ...]:
        """Return where the voids of a piece lie; none if its size is wrong (another fault)."""
        demand = self.demands.get(piece.name)
        if demand is None:
            return ()
        wanted = (demand.height, demand.width) if piece.turned else (demand.width, demand.height)
        return placed_voids(demand, piece) if wanted == (piece.width, piece.height) else ()

    def faults(self) -> Iterator[Finding]:
        layout, stock = self.layout, self.stock
        if layout.copies < 1:
            yield FaultKind.BAD_COPIES, f"{layout.copies} copies are to be cut"
        if not layout.placed:
            yield FaultKind.EMPTY_LAYOUT, "it has no piece"
        for piece in layout.placed:
            yield from self._faults_of_piece(piece)
        if stock is None:
            yield FaultKind.UNKNOWN_STOCK, f"there is no stock '{layout.stock}'"
            return
        sheet = Rect(0, 0, stock.width, stock.height)
        items = [*self.pieces, *self.offcuts]
        yield from self._faults_of_positions(sheet)
        yield from self._faults_of_unusable_areas(stock)
        yield from self._faults_of_gaps()
        yield from faults_of_cuts(sheet, layout.cuts, items, self.problem.cuts)
        yield from self._faults_of_stages(sheet)

    def _faults_of_unusable_areas(self, stock: StockItem) -> Iterator[Finding]:
        """Yield what lies on a margin or on a damaged area."""
        left, top, right, bottom = stock.margins
        within = Rect(left, top, stock.width - left - right, stock.height - top - bottom)
        for item in (*self.pieces, *self.offcuts):
            solid = [rect for rect, _ in solid_rects([item])]
            if not all(contains(within, rect) for rect in solid):
                message = f"{item.name}, {describe_rect(item.rect)}, lies on a margin of the sheet"
                yield FaultKind.UNUSABLE, message
            if any(overlap(rect, bad) for rect in solid for bad in stock.damaged):
                message = (
                    f"{item.name}, {describe_rect(item.rect)}, lies on a damaged area of the sheet"
                )
                yield FaultKind.UNUSABLE, message

    def _faults_of_gaps(self) -> Iterator[Finding]:
        """Yield two pieces that are closer than the gap: their solids, grown by it, overlap."""
        gap = self.problem.gap
        if not gap:
            return
        solids = [
            (rect, i) for i, piece in enumerate(self.pieces) for rect, _ in solid_rects([piece])
        ]
        solids.sort(key=lambda solid: (solid[0].x, solid[0].y, solid[1]))
        reported: set[frozenset[int]] = set()
        near: list[tuple[Rect, int]] = []
        for rect, index in solids:
            near = [solid for solid in near if solid[0].right + gap > rect.x]
            for other, place in near:
                if other.y < rect.bottom + gap and rect.y < other.bottom + gap and place != index:
                    reported.add(frozenset((place, index)))
            near.append((rect, index))
        for first, second in sorted(tuple(sorted(pair)) for pair in reported):
            names = f"{self.pieces[first].name} and {self.pieces[second].name}"
            yield FaultKind.TOO_CLOSE, f"{names} are closer to each other than the gap"

    def _faults_of_stages(self, sheet: Rect) -> Iterator[Finding]:
        most = self.problem.trimmer.stages
        if most is None or self.problem.cuts is Cuts.FREE:
            return
        # A part is one stage later than what it was cut from if that was cut the other way.
        stages: dict[Rect, tuple[int, bool | None]] = {sheet: (0, None)}
        for cut in self.layout.cuts:
            if cut.knife:
                continue
            # What a knife has cut out counts as a separate sheet.
            stage, vertical = stages.get(cut.part, (0, None))
            stage += cut.vertical is not vertical
            for half in split(cut):
                stages[half] = stage, cut.vertical
        for item in self.pieces:
            if stages.get(item.rect, (0, None))[0] > most:
                message = f"{item.name} is free only after {stages[item.rect][0]} stages of cutting"
                yield FaultKind.TOO_MANY_STAGES, message

    def _faults_of_piece(self, piece: PlacedPiece) -> Iterator[Finding]:
        demand = self.demands.get(piece.name)
        if demand is None:
            yield FaultKind.UNKNOWN_DEMAND, f"'{piece.name}' is not asked for"
            return
        if self.stock is not None and demand.paper != self.stock.paper:
            message = f"piece '{piece.name}' is of paper '{demand.paper}', not '{self.stock.paper}'"
            yield FaultKind.WRONG_PAPER, message
        upright, turned = (demand.width, demand.height), (demand.height, demand.width)
        as_placed = (piece.width, piece.height)
        if as_placed not in (upright, turned):
            wanted = format_size(*upright, Unit.MM)
            message = f"piece '{piece.name}' is {describe_rect(piece.rect)}, not {wanted}"
            yield FaultKind.WRONG_SIZE, message
        elif as_placed != (turned if piece.turned else upright):
            message = (
                f"piece '{piece.name}' is turned when it should not be, or the other way round"
            )
            yield FaultKind.WRONG_TURN, message
        elif piece.turned and demand.turn is not Turn.ANY:
            message = f"piece '{piece.name}' must not be turned"
            yield FaultKind.WRONG_TURN, message
        elif (
            self.stock is not None
            and Grain.ANY not in (demand.grain, self.stock.grain)
            and piece.turned is (demand.grain is self.stock.grain)
        ):
            message = f"piece '{piece.name}' lies across the grain that it must follow"
            yield FaultKind.WRONG_GRAIN, message

    def _faults_of_positions(self, sheet: Rect) -> Iterator[Finding]:
        items = [*self.pieces, *self.offcuts]
        for item in items:
            rect = item.rect
            if rect.width < 1 or rect.height < 1 or not contains(sheet, rect):
                message = f"{item.name}, {describe_rect(rect)}, reaches over the edge of the sheet"
                yield FaultKind.OFF_SHEET, message
        for item in self.offcuts:
            if min(item.rect.width, item.rect.height) < self.problem.smallest_offcut:
                message = f"{item.name}, {describe_rect(item.rect)}, is too small to keep"
                yield FaultKind.SMALL_OFFCUT, message
        for first, second in _overlapping_items(items):
            names = [f"{item.name}, {describe_rect(item.rect)}" for item in (first, second)]
            yield FaultKind.OVERLAP, ", overlaps ".join(names)


def _are_invalid(voids: Sequence[Rect], blank: Rect) -> bool:
    """Tell whether any void is empty, leaves the blank or overlaps another, or no paper is left."""
    return (
        any(void.width < 1 or void.height < 1 or not contains(blank, void) for void in voids)
        or any(overlap(void, other) for i, void in enumerate(voids) for other in voids[:i])
        or sum(void.area for void in voids) >= blank.area
    )


def _overlapping_items(items: Sequence[Item]) -> Iterator[tuple[Item, Item]]:
    """Yield each two items that overlap, in order from the left, by a sweep line."""
    solids = [(rect, item) for rect, item in solid_rects(items) if rect.width > 0 < rect.height]
    events = []
    for index, (rect, _) in enumerate(solids):
        events += [(rect.x, SweepEvent.START, index), (rect.right, SweepEvent.END, index)]
    row = IntervalSet()
    reported = set()
    for _, event, index in sorted(events):
        rect, item = solids[index]
        if event == SweepEvent.END:
            row.remove(rect.y, rect.bottom, index)
            continue
        hit = row.find_overlap(rect.y, rect.bottom)
        if hit is None:
            row.add(rect.y, rect.bottom, index)
        elif (id(solids[hit][1]), id(item)) not in reported:
            reported.add((id(solids[hit][1]), id(item)))
            yield solids[hit][1], item
