"""The independent judge of answers.

It shares no code with what makes answers: an own small cutter takes each sheet apart by its list
of cuts, and every promise of `nester.core.problem` is checked from the data alone.

A piece is its blank without its voids: what is left is solid.  Nothing else may lie upon that or be
cut into it, and in the end cuts must part it from all other things.  A void in which nothing lies
may stay on its piece, to be cut away by the piece's own template.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from nester.core.lengths import Unit, format_length, format_size
from nester.core.piece import Grain, Turn
from nester.core.problem import Cut, Cuts, PlacedPiece, Rect, placed_voids

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from nester.core.problem import CuttingPlan, Demand, Layout, Problem, StockItem

__all__ = ["Fault", "FaultKind", "InvalidPlanError", "require_valid", "verify"]


class FaultKind(StrEnum):
    """What can be wrong with an answer."""

    NOT_EXACT = "not whole"
    """A length, a number of pieces or a price that isn't exact."""
    BAD_VOID = "bad void"
    """A void that reaches over its blank, overlaps another or leaves nothing of the piece."""
    DUPLICATE_NAME = "doubled name"
    UNKNOWN_STOCK = "unknown stock"
    UNKNOWN_DEMAND = "unknown want"
    BAD_COPIES = "bad copies"
    EMPTY_LAYOUT = "empty layout"
    OFF_SHEET = "off the sheet"
    OVERLAP = "overlap"
    WRONG_PAPER = "wrong paper"
    WRONG_SIZE = "wrong size"
    WRONG_TURN = "wrong turn"
    TOO_MANY_SHEETS = "too many sheets"
    WRONG_COUNT = "wrong count"
    WRONG_COST = "wrong cost"
    WRONG_OFFCUT_VALUE = "wrong kept"
    """The offcuts are worth more or less than is said."""
    WRONG_BOUND = "wrong bound"
    MISSING_REASON = "no reason"
    """Something is unplaced, but not said why or how many."""
    BAD_CUT = "bad cut"
    KNIFE_CUT = "knife cut"
    """A knife cut where only straight cuts are allowed."""
    CUT_THROUGH = "cut through"
    """A cut runs through a piece or an offcut."""
    NOT_CUT_FREE = "not free"
    """A piece or an offcut still hangs on others after the last cut."""
    SMALL_OFFCUT = "small offcut"
    UNUSABLE = "unusable"
    """A piece or an offcut lies on a margin or on what is spoiled."""
    TOO_CLOSE = "too close"
    """Two pieces are nearer to each other than the gap."""
    WRONG_GRAIN = "wrong grain"
    TOO_MANY_STAGES = "too many stages"
    """The way of cutting changes too often until a piece is free."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: what, where, and a sentence for people."""

    kind: FaultKind
    where: str
    message: str


class InvalidPlanError(Exception):
    """An answer that must not be shown; `faults` lists what is wrong."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{fault.where}: {fault.message}" for fault in faults))


def require_valid(problem: Problem, answer: CuttingPlan) -> None:
    """Raise `InvalidPlanError` unless the answer is a right one to the problem."""
    faults = verify(problem, answer)
    if faults:
        raise InvalidPlanError(faults)


def verify(problem: Problem, answer: CuttingPlan) -> list[Fault]:
    """Return what is wrong with an answer; an empty list means that it is right.

    A doubled name in the problem, or a number that isn't exact, is told alone: with such data
    nothing else can be judged.  For the pieces of a layout it takes O(n log n) time, and in parts
    cut with a knife that times the number of such parts.
    """
    unclear = [*_faults_of_problem(problem), *_faults_of_numbers(answer)]
    if unclear:
        return unclear
    faults = [*_faults_of_counts(problem, answer), *_faults_of_costs(problem, answer)]
    for number, layout in enumerate(answer.layouts, 1):
        judge = _LayoutVerifier(problem, layout)
        faults += [Fault(kind, _layout_name(number, layout), said) for kind, said in judge.faults()]
    return faults


_Finding = tuple[FaultKind, str]


def _is_integer(number: object) -> bool:
    return isinstance(number, int) and not isinstance(number, bool)


def _is_exact(number: object) -> bool:
    return isinstance(number, Fraction) or _is_integer(number)


def _layout_name(number: int, layout: Layout) -> str:
    return f"layout {number} ({layout.stock})"


def _faults_of_problem(problem: Problem) -> Iterator[Fault]:
    things: tuple[tuple[str, Sequence[Demand | StockItem]], ...] = (
        ("wants", problem.demands),
        ("stock", problem.stock),
    )
    for where, items in things:
        for name, times in Counter(item.name for item in items).items():
            if times > 1:
                yield Fault(FaultKind.DUPLICATE_NAME, where, f"'{name}' is there {times} times")
        for item in items:
            numbers = (item.width, item.height, 0 if item.quantity is None else item.quantity)
            if not all(map(_is_integer, numbers)):
                said = f"'{item.name}' has a size or a quantity that is no whole number"
                yield Fault(FaultKind.NOT_EXACT, where, said)
    for want in problem.demands:
        if not all(_is_integer(number) for void in want.voids for number in void):
            said = f"'{want.name}' has a void that is not in whole numbers"
            yield Fault(FaultKind.NOT_EXACT, "wants", said)
        elif want.voids and _are_invalid(want.voids, Rect(0, 0, want.width, want.height)):
            said = f"'{want.name}' has voids that overlap, leave its blank or fill it"
            yield Fault(FaultKind.BAD_VOID, "wants", said)
    for stock in problem.stock:
        if not all(map(_is_integer, (*stock.margins, *(n for bad in stock.damaged for n in bad)))):
            said = f"'{stock.name}' has margins or something spoiled that is not in whole numbers"
            yield Fault(FaultKind.NOT_EXACT, "stock", said)
    if not all(_is_exact(stock.price) for stock in problem.stock):
        yield Fault(FaultKind.NOT_EXACT, "stock", "a price is not exact")
    if not _is_exact(problem.offcut_value_share) or not 0 <= problem.offcut_value_share <= 1:
        said = "what an offcut is worth is no exact share from 0 to 1"
        yield Fault(FaultKind.NOT_EXACT, "offcuts", said)


def _faults_of_numbers(answer: CuttingPlan) -> Iterator[Fault]:
    if not all(map(_is_exact, (answer.cost, answer.offcut_value, answer.lower_bound))):
        said = "the cost, what is kept or the bound is not exact"
        yield Fault(FaultKind.NOT_EXACT, "cost", said)
    for left in answer.unplaced:
        if not _is_integer(left.quantity):
            said = f"'{left.name}' has a quantity that is no whole number"
            yield Fault(FaultKind.NOT_EXACT, "unplaced", said)
    for number, layout in enumerate(answer.layouts, 1):
        numbers: list[object] = [layout.copies]
        for rect in (*(piece.rect for piece in layout.placed), *layout.offcuts):
            numbers += rect
        for cut in layout.cuts:
            numbers += (*cut.part, cut.at, cut.start, cut.end)
        if not all(map(_is_integer, numbers)):
            said = "a place, a size, a cut or the copies are no whole number"
            yield Fault(FaultKind.NOT_EXACT, _layout_name(number, layout), said)


def _faults_of_counts(problem: Problem, answer: CuttingPlan) -> Iterator[Fault]:
    wanted = {want.name: want.quantity for want in problem.demands}
    accounted: Counter[str] = Counter()
    for layout in answer.layouts:
        for name, times in Counter(piece.name for piece in layout.placed).items():
            accounted[name] += times * layout.copies
    for left in answer.unplaced:
        accounted[left.name] += left.quantity
        if left.name not in wanted:
            said = f"'{left.name}' was never wanted"
            yield Fault(FaultKind.UNKNOWN_DEMAND, "unplaced", said)
        if not left.why.strip() or left.quantity < 1:
            said = f"'{left.name}' needs a reason and a quantity of one or more"
            yield Fault(FaultKind.MISSING_REASON, "unplaced", said)
    for name, quantity in wanted.items():
        if accounted[name] != quantity:
            said = f"'{name}': {quantity} wanted, but {accounted[name]} made or listed as unplaced"
            yield Fault(FaultKind.WRONG_COUNT, "pieces", said)
    used: Counter[str] = Counter()
    for layout in answer.layouts:
        used[layout.stock] += layout.copies
    for stock in problem.stock:
        if stock.quantity is not None and used[stock.name] > stock.quantity:
            said = f"'{stock.name}': {used[stock.name]} used, but there are {stock.quantity}"
            yield Fault(FaultKind.TOO_MANY_SHEETS, "stock", said)


def _faults_of_costs(problem: Problem, answer: CuttingPlan) -> Iterator[Fault]:
    stock = {one.name: one for one in problem.stock}
    known = [layout for layout in answer.layouts if layout.stock in stock]
    spent = sum(stock[layout.stock].price * layout.copies for layout in known)
    if answer.cost != spent:
        said = f"the cost is given as {answer.cost}, but the sheets cost {spent}"
        yield Fault(FaultKind.WRONG_COST, "cost", said)
    kept = sum(_offcut_value(problem, stock[layout.stock], layout) for layout in known)
    if answer.offcut_value != kept:
        said = f"the offcuts are said to be worth {answer.offcut_value}, but they are worth {kept}"
        yield Fault(FaultKind.WRONG_OFFCUT_VALUE, "offcuts", said)
    if not 0 <= answer.lower_bound <= answer.net_cost:
        said = f"the bound {answer.lower_bound} is not between nothing and the net cost {answer.net_cost}"
        yield Fault(FaultKind.WRONG_BOUND, "bound", said)


def _offcut_value(problem: Problem, stock: StockItem, layout: Layout) -> Fraction:
    """Return what the offcuts of all copies of a layout count; nothing for a sheet of no size."""
    area, sheet = sum(rect.area for rect in layout.offcuts), stock.width * stock.height
    if not area or not sheet:
        return Fraction(0)
    share = 1 if stock.is_offcut else problem.offcut_value_share
    # With a worth of nothing no offcut counts, whatever it is cut from.
    share = share if problem.offcut_value_share else 0
    return Fraction(stock.price) * share * layout.copies * Fraction(area, sheet)


class _Item(NamedTuple):
    """A piece or an offcut that must lie free in the end."""

    rect: Rect
    name: str
    voids: tuple[Rect, ...] = ()


def _describe(rect: Rect) -> str:
    at = format_size(rect.x, rect.y, Unit.MM).replace(" ×", ",")
    return f"{format_size(rect.width, rect.height, Unit.MM)} at {at}"


class _LayoutVerifier:
    def __init__(self, problem: Problem, layout: Layout) -> None:
        self.problem = problem
        self.layout = layout
        self.demands = {want.name: want for want in problem.demands}
        self.stock = next((s for s in problem.stock if s.name == layout.stock), None)
        self.pieces = [_Item(p.rect, f"piece '{p.name}'", self._voids(p)) for p in layout.placed]
        self.offcuts = [
            _Item(rect, f"offcut {number}") for number, rect in enumerate(layout.offcuts, 1)
        ]

    def _voids(self, piece: PlacedPiece) -> tuple[Rect, ...]:
        """Return where the voids of a piece lie; none if it is of a wrong size, which is told."""
        want = self.demands.get(piece.name)
        if want is None:
            return ()
        asked = (want.height, want.width) if piece.turned else (want.width, want.height)
        return placed_voids(want, piece) if asked == (piece.width, piece.height) else ()

    def faults(self) -> Iterator[_Finding]:
        layout, stock = self.layout, self.stock
        if layout.copies < 1:
            yield FaultKind.BAD_COPIES, f"{layout.copies} copies are to be cut"
        if not layout.placed:
            yield FaultKind.EMPTY_LAYOUT, "no piece lies on it"
        for piece in layout.placed:
            yield from self._faults_of_piece(piece)
        if stock is None:
            yield FaultKind.UNKNOWN_STOCK, f"there is no stock '{layout.stock}'"
            return
        sheet = Rect(0, 0, stock.width, stock.height)
        things = [*self.pieces, *self.offcuts]
        yield from self._faults_of_positions(sheet)
        yield from self._faults_of_unusable_areas(stock)
        yield from self._faults_of_gaps()
        yield from _faults_of_cuts(sheet, layout.cuts, things, self.problem.cuts)
        yield from self._faults_of_stages(sheet)

    def _faults_of_unusable_areas(self, stock: StockItem) -> Iterator[_Finding]:
        """Yield what lies on a margin or on what is spoiled."""
        left, top, right, bottom = stock.margins
        within = Rect(left, top, stock.width - left - right, stock.height - top - bottom)
        for thing in (*self.pieces, *self.offcuts):
            solid = [rect for rect, _ in _solid_rects([thing])]
            if not all(_contains(within, rect) for rect in solid):
                said = f"{thing.name}, {_describe(thing.rect)}, lies on a margin of the sheet"
                yield FaultKind.UNUSABLE, said
            if any(_overlap(rect, bad) for rect in solid for bad in stock.damaged):
                said = f"{thing.name}, {_describe(thing.rect)}, lies where the sheet is spoiled"
                yield FaultKind.UNUSABLE, said

    def _faults_of_gaps(self) -> Iterator[_Finding]:
        """Yield each piece with one that it is too near to: their solids, made longer, meet."""
        gap = self.problem.gap
        if not gap:
            return
        solids = [(rect, i) for i, one in enumerate(self.pieces) for rect, _ in _solid_rects([one])]
        solids.sort(key=lambda solid: (solid[0].x, solid[0].y, solid[1]))
        told: set[frozenset[int]] = set()
        near: list[tuple[Rect, int]] = []
        for rect, index in solids:
            near = [one for one in near if one[0].right + gap > rect.x]
            for other, place in near:
                if other.y < rect.bottom + gap and rect.y < other.bottom + gap and place != index:
                    told.add(frozenset((place, index)))
            near.append((rect, index))
        for first, second in sorted(tuple(sorted(pair)) for pair in told):
            names = f"{self.pieces[first].name} and {self.pieces[second].name}"
            yield FaultKind.TOO_CLOSE, f"{names} are nearer to each other than the gap"

    def _faults_of_stages(self, sheet: Rect) -> Iterator[_Finding]:
        most = self.problem.trimmer.stages
        if most is None or self.problem.cuts is Cuts.FREE:
            return
        # The sheet is in no stage yet; a part is in one more than what it was cut from if that
        # came about by cuts the other way.
        came_by: dict[Rect, tuple[int, bool | None]] = {sheet: (0, None)}
        for cut in self.layout.cuts:
            if cut.knife:
                continue
            # What a knife has cut out is a small sheet of its own.
            stage, way = came_by.get(cut.part, (0, None))
            stage += cut.vertical is not way
            for half in _split(cut):
                came_by[half] = stage, cut.vertical
        for thing in self.pieces:
            if came_by.get(thing.rect, (0, None))[0] > most:
                said = f"{thing.name} is free only after {came_by[thing.rect][0]} stages of cutting"
                yield FaultKind.TOO_MANY_STAGES, said

    def _faults_of_piece(self, piece: PlacedPiece) -> Iterator[_Finding]:
        want = self.demands.get(piece.name)
        if want is None:
            yield FaultKind.UNKNOWN_DEMAND, f"'{piece.name}' was never wanted"
            return
        if self.stock is not None and want.paper != self.stock.paper:
            said = f"piece '{piece.name}' is of paper '{want.paper}', not '{self.stock.paper}'"
            yield FaultKind.WRONG_PAPER, said
        upright, turned = (want.width, want.height), (want.height, want.width)
        as_placed = (piece.width, piece.height)
        if as_placed not in (upright, turned):
            asked = format_size(*upright, Unit.MM)
            said = f"piece '{piece.name}' is {_describe(piece.rect)}, wanted {asked}"
            yield FaultKind.WRONG_SIZE, said
        elif as_placed != (turned if piece.turned else upright):
            said = f"piece '{piece.name}' lies otherwise than is said of its turn"
            yield FaultKind.WRONG_TURN, said
        elif piece.turned and want.turn is not Turn.ANY:
            said = f"piece '{piece.name}' must not lie a quarter turn round"
            yield FaultKind.WRONG_TURN, said
        elif (
            self.stock is not None
            and Grain.ANY not in (want.grain, self.stock.grain)
            and piece.turned is (want.grain is self.stock.grain)
        ):
            said = f"piece '{piece.name}' lies across the grain that it must follow"
            yield FaultKind.WRONG_GRAIN, said

    def _faults_of_positions(self, sheet: Rect) -> Iterator[_Finding]:
        things = [*self.pieces, *self.offcuts]
        for thing in things:
            rect = thing.rect
            if rect.width < 1 or rect.height < 1 or not _contains(sheet, rect):
                said = f"{thing.name}, {_describe(rect)}, reaches over the edge of the sheet"
                yield FaultKind.OFF_SHEET, said
        for thing in self.offcuts:
            if min(thing.rect.width, thing.rect.height) < self.problem.smallest_offcut:
                said = f"{thing.name}, {_describe(thing.rect)}, is too small to keep"
                yield FaultKind.SMALL_OFFCUT, said
        for one, other in _overlapping_items(things):
            said = (
                f"{one.name}, {_describe(one.rect)}, overlaps {other.name}, {_describe(other.rect)}"
            )
            yield FaultKind.OVERLAP, said


def _contains(outer: Rect, inner: Rect) -> bool:
    return (
        outer.x <= inner.x
        and outer.y <= inner.y
        and inner.right <= outer.right
        and inner.bottom <= outer.bottom
    )


class _IntervalSet:
    """Things side by side along one axis, none over another, found by binary search."""

    def __init__(self) -> None:
        self.intervals: list[tuple[int, int, int]] = []

    def find_overlap(self, start: int, end: int) -> int | None:
        """Return the index of a thing that shares more than an end with a span."""
        at = bisect_left(self.intervals, (start,))
        if at < len(self.intervals) and self.intervals[at][0] < end:
            return self.intervals[at][2]
        if at and self.intervals[at - 1][1] > start:
            return self.intervals[at - 1][2]
        return None

    def add(self, start: int, end: int, index: int) -> None:
        insort(self.intervals, (start, end, index))

    def remove(self, start: int, end: int, index: int) -> None:
        at = bisect_left(self.intervals, (start, end, index))
        if at < len(self.intervals) and self.intervals[at] == (start, end, index):
            del self.intervals[at]


_END, _CUT, _START = 0, 1, 2
"""At one place of a sweep, what ends there comes first and what begins there last."""


def _are_invalid(voids: Sequence[Rect], blank: Rect) -> bool:
    """Tell whether voids are none: empty, beyond the blank, one over another, or all of it."""
    return (
        any(void.width < 1 or void.height < 1 or not _contains(blank, void) for void in voids)
        or any(_overlap(one, other) for i, one in enumerate(voids) for other in voids[:i])
        or sum(void.area for void in voids) >= blank.area
    )


def _overlap(one: Rect, other: Rect) -> bool:
    """Tell whether two rectangles share more than an edge."""
    return (
        one.x < other.right
        and other.x < one.right
        and one.y < other.bottom
        and other.y < one.bottom
    )


def _solid_rows(thing: _Item) -> Iterator[Rect]:
    """Yield what is solid of a thing in rows; each reaches as far left and right as it can."""
    blank, voids = thing.rect, thing.voids
    ends = {blank.y, blank.bottom, *(v.y for v in voids), *(v.bottom for v in voids)}
    for top, bottom in pairwise(sorted(ends)):
        left = blank.x
        for void in sorted(v for v in voids if v.y < bottom and top < v.bottom):
            if left < void.x:
                yield Rect(left, top, void.x - left, bottom - top)
            left = void.right
        if left < blank.right:
            yield Rect(left, top, blank.right - left, bottom - top)


def _transposed(rect: Rect) -> Rect:
    """Return a rectangle with across and down exchanged."""
    return Rect(rect.y, rect.x, rect.height, rect.width)


def _solid_rects(things: Sequence[_Item], upright: bool = True) -> list[tuple[Rect, _Item]]:
    """Return what is solid of things in rows, or in columns with across and down exchanged."""
    if not upright:
        looked_at = [_Item(_transposed(r), n, tuple(map(_transposed, v))) for r, n, v in things]
    else:
        looked_at = list(things)
    return [
        (row, thing)
        for thing, seen in zip(things, looked_at, strict=True)
        for row in _solid_rows(seen)
    ]


def _overlapping_items(things: Sequence[_Item]) -> Iterator[tuple[_Item, _Item]]:
    """Yield each thing, in order from the left, with one that it lies upon."""
    solids = [(rect, thing) for rect, thing in _solid_rects(things) if rect.width > 0 < rect.height]
    events = []
    for index, (rect, _) in enumerate(solids):
        events += [(rect.x, _START, index), (rect.right, _END, index)]
    row = _IntervalSet()
    told = set()
    for _, what, index in sorted(events):
        rect, thing = solids[index]
        if what == _END:
            row.remove(rect.y, rect.bottom, index)
            continue
        hit = row.find_overlap(rect.y, rect.bottom)
        if hit is None:
            row.add(rect.y, rect.bottom, index)
        elif (id(solids[hit][1]), id(thing)) not in told:
            told.add((id(solids[hit][1]), id(thing)))
            yield solids[hit][1], thing


def _faults_of_cuts(
    sheet: Rect, cuts: Sequence[Cut], things: Sequence[_Item], how: Cuts
) -> Iterator[_Finding]:
    """Take a sheet apart by its cuts, and yield what goes wrong."""
    table = {sheet}
    carved: dict[Rect, list[Cut]] = {}
    voids: dict[Rect, list[Rect]] = {}
    for thing in things:
        voids.setdefault(thing.rect, []).extend(thing.voids)
    cut_out: dict[Rect, set[Rect]] = {}
    for number, cut in enumerate(cuts, 1):
        own_voids = voids.get(cut.part, [])
        if cut.knife and how is not Cuts.FREE and not _runs_along_void(cut, own_voids):
            yield (
                FaultKind.KNIFE_CUT,
                f"cut {number} is made with a knife, but cuts no corner out of a piece's blank;"
                " all other cuts must be straight",
            )
            return
        wrong = _cut_error(cut, table, carved)
        if wrong:
            yield FaultKind.BAD_CUT, f"cut {number} {wrong}"
            return
        if not cut.knife:
            table.remove(cut.part)
            table.update(_split(cut))
            continue
        carved.setdefault(cut.part, []).append(cut)
        if own_voids:
            carving = _KnifeCuts(cut.part, carved[cut.part])
            before = cut_out.setdefault(cut.part, set())
            fresh = {void for void in own_voids if carving.frees(void)} - before
            before |= fresh
            table |= fresh
    yield from _faults_of_knife_cuts(carved, things)
    carvings = [
        _KnifeCuts(part, part_cuts, cut_out.get(part, ())) for part, part_cuts in carved.items()
    ]
    used = _used_voids(things)
    for thing in things:
        if not _is_free(thing, table, carvings, used):
            yield FaultKind.NOT_CUT_FREE, f"{thing.name}, {_describe(thing.rect)}, is not cut free"


def _is_free(
    thing: _Item, table: set[Rect], carvings: Sequence[_KnifeCuts], used: set[Rect]
) -> bool:
    rect = thing.rect
    if not thing.voids:
        return rect in table or any(carving.frees(rect) for carving in carvings)
    parts = [carving for carving in carvings if carving.contains(rect)]
    if rect in table:
        parts.append(_KnifeCuts(rect, ()))
    return any(part.frees_piece(rect, thing.voids, used) for part in parts)


def _runs_along_void(cut: Cut, voids: Iterable[Rect]) -> bool:
    """Tell whether a cut runs along an edge of one of the voids of the blank it is made in."""
    for void in voids:
        places, span = (void.x, void.right), (void.y, void.bottom)
        if not cut.vertical:
            places, span = span, places
        if cut.at in places and span[0] <= cut.start and cut.end <= span[1]:
            return True
    return False


def _used_voids(things: Sequence[_Item]) -> set[Rect]:
    """Return the voids into which something reaches."""
    solids = sorted(rect for rect, _ in _solid_rects(things))
    widest = max((rect.width for rect in solids), default=0)
    used = set()
    for void in {void for thing in things for void in thing.voids}:
        first = bisect_left(solids, (void.x - widest,))
        last = bisect_left(solids, (void.right,))
        if any(_overlap(void, solid) for solid in solids[first:last]):
            used.add(void)
    return used


def _cut_error(cut: Cut, table: set[Rect], carved: dict[Rect, list[Cut]]) -> str:
    """Return why a cut can't be made, or nothing."""
    part = cut.part
    if part not in table:
        return f"is made in a part, {_describe(part)}, that does not lie on the table"
    across, along = (part.x, part.right), (part.y, part.bottom)
    if not cut.vertical:
        across, along = along, across
    at = format_length(cut.at, Unit.MM)
    if not across[0] < cut.at < across[1]:
        return f"at {at} does not run through the inside of its part, {_describe(part)}"
    if not cut.knife and (cut.start, cut.end) != along:
        return f"at {at} does not run exactly from edge to edge of its part, {_describe(part)}"
    if not along[0] <= cut.start < cut.end <= along[1]:
        return f"at {at} does not start and end within its part, {_describe(part)}"
    if not cut.knife and part in carved:
        return f"at {at} parts what a knife has already cut into, {_describe(part)}"
    return ""


def _split(cut: Cut) -> tuple[Rect, Rect]:
    x, y, width, height = cut.part
    if cut.vertical:
        return Rect(x, y, cut.at - x, height), Rect(cut.at, y, x + width - cut.at, height)
    return Rect(x, y, width, cut.at - y), Rect(x, cut.at, width, y + height - cut.at)


def _faults_of_knife_cuts(
    carved: dict[Rect, list[Cut]], things: Sequence[_Item]
) -> Iterator[_Finding]:
    """Yield the things that a knife cut runs through."""
    cuts = [cut for part_cuts in carved.values() for cut in part_cuts]
    # A cut up and down that enters what is solid somewhere runs through a row; one that runs
    # across, through a column.
    for vertical, rects in (
        (True, _solid_rects(things)),
        (False, _solid_rects(things, upright=False)),
    ):
        mine = [cut for cut in cuts if cut.vertical is vertical]
        for cut, thing in _crossed_items(mine, rects):
            at = format_length(cut.at, Unit.MM)
            said = f"the knife cut at {at} runs through {thing.name}, {_describe(thing.rect)}"
            yield FaultKind.CUT_THROUGH, said


def _crossed_items(
    cuts: Sequence[Cut], rects: Sequence[tuple[Rect, _Item]]
) -> Iterator[tuple[Cut, _Item]]:
    """Yield each upright cut with a thing that it crosses."""
    events = [(cut.at, _CUT, index) for index, cut in enumerate(cuts)]
    for index, (rect, _) in enumerate(rects):
        events += [(rect.x, _START, index), (rect.right, _END, index)]
    row = _IntervalSet()
    for _, what, index in sorted(events):
        if what == _CUT:
            hit = row.find_overlap(cuts[index].start, cuts[index].end)
            if hit is not None:
                yield cuts[index], rects[hit][1]
            continue
        rect = rects[index][0]
        if what == _END:
            row.remove(rect.y, rect.bottom, index)
        else:
            row.add(rect.y, rect.bottom, index)


class _KnifeCuts:
    """The knife cuts of one part, to ask whether an edge is cut along its whole length.

    Voids that have been cut out of it are parts of their own and belong to it no more.
    """

    def __init__(self, part: Rect, cuts: Iterable[Cut], gone: Iterable[Rect] = ()) -> None:
        self.part = part
        self.removed = tuple(gone)
        self.lines: dict[tuple[bool, int], list[tuple[int, int]]] = {}
        for vertical, at, start, end in sorted(cut[1:5] for cut in cuts):
            spans = self.lines.setdefault((vertical, at), [])
            if spans and start <= spans[-1][1]:
                spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
            else:
                spans.append((start, end))

    def contains(self, rect: Rect) -> bool:
        return _contains(self.part, rect) and not any(
            _contains(void, rect) for void in self.removed
        )

    def frees(self, rect: Rect) -> bool:
        return self.contains(rect) and all(
            self._separates(vertical, at, start, end)
            for vertical, start, end, places in (
                (True, rect.y, rect.bottom, (rect.x, rect.right)),
                (False, rect.x, rect.right, (rect.y, rect.bottom)),
            )
            for at in places
        )

    def frees_piece(self, blank: Rect, voids: Sequence[Rect], used: set[Rect]) -> bool:
        """Tell whether what hangs on a piece's solid part is within its blank and none of the used.

        A used void is one into which something else reaches.
        """
        xs = sorted({blank.x, blank.right, *(v.x for v in voids), *(v.right for v in voids)})
        ys = sorted({blank.y, blank.bottom, *(v.y for v in voids), *(v.bottom for v in voids)})
        in_void = {
            (column, row): void
            for void in voids
            for column in range(xs.index(void.x), xs.index(void.right))
            for row in range(ys.index(void.y), ys.index(void.bottom))
        }
        across, down = len(xs) - 1, len(ys) - 1
        reached = {(i, j) for i in range(across) for j in range(down)} - in_void.keys()
        waiting = list(reached)
        while waiting:
            column, row = waiting.pop()
            left, right, top, bottom = xs[column], xs[column + 1], ys[row], ys[row + 1]
            for cell, cut_off in (
                ((column - 1, row), self._separates(True, left, top, bottom)),
                ((column + 1, row), self._separates(True, right, top, bottom)),
                ((column, row - 1), self._separates(False, top, left, right)),
                ((column, row + 1), self._separates(False, bottom, left, right)),
            ):
                if cut_off or cell in reached:
                    continue
                if cell not in in_void or in_void[cell] in used:
                    return False
                reached.add(cell)
                waiting.append(cell)
        return True

    def _separates(self, vertical: bool, at: int, start: int, end: int) -> bool:
        """Tell whether a line is cut, or is an edge of the part."""
        part = self.part
        own = (part.x, part.right) if vertical else (part.y, part.bottom)
        return at in own or self._is_cut(vertical, at, start, end)

    def _is_cut(self, vertical: bool, at: int, start: int, end: int) -> bool:
        spans = self.lines.get((vertical, at), [])
        index = bisect_right(spans, start, key=lambda span: span[0]) - 1
        return index >= 0 and spans[index][1] >= end
