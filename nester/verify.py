"""The independent judge of answers.

It shares no code with what makes answers: an own small cutter takes each sheet apart by its list
of cuts, and every promise of `nester.layouts` is checked from the data alone.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from nester.layouts import Cut, Cuts, Placed, Rect
from nester.measure import Unit, format_length, format_size
from nester.pieces import Turn

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from nester.layouts import Answer, Layout, Problem, Stock, Want

__all__ = ["Fault", "FaultKind", "PlanFault", "require", "verify"]


class FaultKind(StrEnum):
    """What can be wrong with an answer."""

    NOT_WHOLE = "not whole"
    """A length, a number of pieces or a price that isn't exact."""
    DOUBLED_NAME = "doubled name"
    UNKNOWN_STOCK = "unknown stock"
    UNKNOWN_WANT = "unknown want"
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
    WRONG_BOUND = "wrong bound"
    NO_REASON = "no reason"
    """Something is unplaced, but not said why or how many."""
    BAD_CUT = "bad cut"
    KNIFE_CUT = "knife cut"
    """A knife cut where only straight cuts are allowed."""
    CUT_THROUGH = "cut through"
    """A cut runs through a piece or an offcut."""
    NOT_FREE = "not free"
    """A piece or an offcut still hangs on others after the last cut."""
    SMALL_OFFCUT = "small offcut"


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: what, where, and a sentence for people."""

    kind: FaultKind
    where: str
    sentence: str


class PlanFault(Exception):
    """An answer that must not be shown; `faults` lists what is wrong."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{fault.where}: {fault.sentence}" for fault in faults))


def require(problem: Problem, answer: Answer) -> None:
    """Raise `PlanFault` unless the answer is a right one to the problem."""
    faults = verify(problem, answer)
    if faults:
        raise PlanFault(faults)


def verify(problem: Problem, answer: Answer) -> list[Fault]:
    """Return what is wrong with an answer; an empty list means that it is right.

    A doubled name in the problem, or a number that isn't exact, is told alone: with such data
    nothing else can be judged.  For the pieces of a layout it takes O(n log n) time, and in parts
    cut with a knife that times the number of such parts.
    """
    unclear = [*_faults_of_problem(problem), *_inexact_numbers(answer)]
    if unclear:
        return unclear
    faults = [*_faults_of_counts(problem, answer), *_faults_of_money(problem, answer)]
    for number, layout in enumerate(answer.layouts, 1):
        judge = _LayoutJudge(problem, layout)
        faults += [Fault(kind, _place(number, layout), said) for kind, said in judge.judge()]
    return faults


_Found = tuple[FaultKind, str]


def _is_whole(number: object) -> bool:
    return isinstance(number, int) and not isinstance(number, bool)


def _is_exact(number: object) -> bool:
    return isinstance(number, Fraction) or _is_whole(number)


def _place(number: int, layout: Layout) -> str:
    return f"layout {number} ({layout.stock})"


def _faults_of_problem(problem: Problem) -> Iterator[Fault]:
    things: tuple[tuple[str, Sequence[Want | Stock]], ...] = (
        ("wants", problem.wants),
        ("stock", problem.stock),
    )
    for where, items in things:
        for name, times in Counter(item.name for item in items).items():
            if times > 1:
                yield Fault(FaultKind.DOUBLED_NAME, where, f"'{name}' is there {times} times")
        for item in items:
            numbers = (item.width, item.height, 0 if item.quantity is None else item.quantity)
            if not all(map(_is_whole, numbers)):
                said = f"'{item.name}' has a size or a quantity that is no whole number"
                yield Fault(FaultKind.NOT_WHOLE, where, said)
    if not all(_is_exact(stock.price) for stock in problem.stock):
        yield Fault(FaultKind.NOT_WHOLE, "stock", "a price is not exact")


def _inexact_numbers(answer: Answer) -> Iterator[Fault]:
    if not (_is_exact(answer.cost) and _is_exact(answer.bound)):
        yield Fault(FaultKind.NOT_WHOLE, "cost", "the cost or the bound is not exact")
    for left in answer.unplaced:
        if not _is_whole(left.quantity):
            said = f"'{left.name}' has a quantity that is no whole number"
            yield Fault(FaultKind.NOT_WHOLE, "unplaced", said)
    for number, layout in enumerate(answer.layouts, 1):
        numbers: list[object] = [layout.copies]
        for rect in (*(piece.rect for piece in layout.placed), *layout.offcuts):
            numbers += rect
        for cut in layout.cuts:
            numbers += (*cut.part, cut.at, cut.start, cut.end)
        if not all(map(_is_whole, numbers)):
            said = "a place, a size, a cut or the copies are no whole number"
            yield Fault(FaultKind.NOT_WHOLE, _place(number, layout), said)


def _faults_of_counts(problem: Problem, answer: Answer) -> Iterator[Fault]:
    wanted = {want.name: want.quantity for want in problem.wants}
    accounted: Counter[str] = Counter()
    for layout in answer.layouts:
        for name, times in Counter(piece.name for piece in layout.placed).items():
            accounted[name] += times * layout.copies
    for left in answer.unplaced:
        accounted[left.name] += left.quantity
        if left.name not in wanted:
            said = f"'{left.name}' was never wanted"
            yield Fault(FaultKind.UNKNOWN_WANT, "unplaced", said)
        if not left.why.strip() or left.quantity < 1:
            said = f"'{left.name}' needs a reason and a quantity of one or more"
            yield Fault(FaultKind.NO_REASON, "unplaced", said)
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


def _faults_of_money(problem: Problem, answer: Answer) -> Iterator[Fault]:
    price = {stock.name: stock.price for stock in problem.stock}
    spent = sum(price.get(layout.stock, 0) * layout.copies for layout in answer.layouts)
    if answer.cost != spent:
        said = f"the cost is given as {answer.cost}, but the sheets cost {spent}"
        yield Fault(FaultKind.WRONG_COST, "cost", said)
    if not 0 <= answer.bound <= answer.cost:
        said = f"the bound {answer.bound} is not between nothing and the cost {answer.cost}"
        yield Fault(FaultKind.WRONG_BOUND, "bound", said)


class _Thing(NamedTuple):
    """A piece or an offcut that must lie free in the end."""

    rect: Rect
    name: str


def _say(rect: Rect) -> str:
    at = format_size(rect.x, rect.y, Unit.MM).replace(" ×", ",")
    return f"{format_size(rect.width, rect.height, Unit.MM)} at {at}"


class _LayoutJudge:
    def __init__(self, problem: Problem, layout: Layout) -> None:
        self.problem = problem
        self.layout = layout
        self.wants = {want.name: want for want in problem.wants}
        self.stock = next((s for s in problem.stock if s.name == layout.stock), None)
        self.pieces = [_Thing(p.rect, f"piece '{p.name}'") for p in layout.placed]
        self.offcuts = [
            _Thing(rect, f"offcut {number}") for number, rect in enumerate(layout.offcuts, 1)
        ]

    def judge(self) -> Iterator[_Found]:
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
        yield from self._faults_of_places(sheet)
        yield from _faults_of_cuts(sheet, layout.cuts, things, self.problem.cuts)

    def _faults_of_piece(self, piece: Placed) -> Iterator[_Found]:
        want = self.wants.get(piece.name)
        if want is None:
            yield FaultKind.UNKNOWN_WANT, f"'{piece.name}' was never wanted"
            return
        if self.stock is not None and want.paper != self.stock.paper:
            said = f"piece '{piece.name}' is of paper '{want.paper}', not '{self.stock.paper}'"
            yield FaultKind.WRONG_PAPER, said
        upright, turned = (want.width, want.height), (want.height, want.width)
        as_placed = (piece.width, piece.height)
        if as_placed not in (upright, turned):
            asked = format_size(*upright, Unit.MM)
            said = f"piece '{piece.name}' is {_say(piece.rect)}, wanted {asked}"
            yield FaultKind.WRONG_SIZE, said
        elif as_placed != (turned if piece.turned else upright):
            said = f"piece '{piece.name}' lies otherwise than is said of its turn"
            yield FaultKind.WRONG_TURN, said
        elif piece.turned and want.turn is not Turn.ANY:
            said = f"piece '{piece.name}' must not lie a quarter turn round"
            yield FaultKind.WRONG_TURN, said

    def _faults_of_places(self, sheet: Rect) -> Iterator[_Found]:
        things = [*self.pieces, *self.offcuts]
        for thing in things:
            rect = thing.rect
            if rect.width < 1 or rect.height < 1 or not _holds(sheet, rect):
                said = f"{thing.name}, {_say(rect)}, reaches over the edge of the sheet"
                yield FaultKind.OFF_SHEET, said
        for thing in self.offcuts:
            if min(thing.rect.width, thing.rect.height) < self.problem.smallest_offcut:
                said = f"{thing.name}, {_say(thing.rect)}, is too small to keep"
                yield FaultKind.SMALL_OFFCUT, said
        for one, other in _overlaps(things):
            said = f"{one.name}, {_say(one.rect)}, overlaps {other.name}, {_say(other.rect)}"
            yield FaultKind.OVERLAP, said


def _holds(outer: Rect, inner: Rect) -> bool:
    return (
        outer.x <= inner.x
        and outer.y <= inner.y
        and inner.right <= outer.right
        and inner.bottom <= outer.bottom
    )


class _Row:
    """Things side by side along one axis, none over another, found by binary search."""

    def __init__(self) -> None:
        self.spans: list[tuple[int, int, int]] = []

    def hit(self, start: int, end: int) -> int | None:
        """Return the index of a thing that shares more than an end with a span."""
        at = bisect_left(self.spans, (start,))
        if at < len(self.spans) and self.spans[at][0] < end:
            return self.spans[at][2]
        if at and self.spans[at - 1][1] > start:
            return self.spans[at - 1][2]
        return None

    def add(self, start: int, end: int, index: int) -> None:
        insort(self.spans, (start, end, index))

    def drop(self, start: int, end: int, index: int) -> None:
        at = bisect_left(self.spans, (start, end, index))
        if at < len(self.spans) and self.spans[at] == (start, end, index):
            del self.spans[at]


_END, _CUT, _BEGIN = 0, 1, 2
"""At one place of a sweep, what ends there comes first and what begins there last."""


def _overlaps(things: Sequence[_Thing]) -> Iterator[tuple[_Thing, _Thing]]:
    """Yield each thing, in order from the left, with one that it lies upon."""
    events = []
    for index, (rect, _) in enumerate(things):
        if rect.width > 0 and rect.height > 0:
            events += [(rect.x, _BEGIN, index), (rect.right, _END, index)]
    row = _Row()
    for _, what, index in sorted(events):
        rect = things[index].rect
        if what == _END:
            row.drop(rect.y, rect.bottom, index)
            continue
        hit = row.hit(rect.y, rect.bottom)
        if hit is None:
            row.add(rect.y, rect.bottom, index)
        else:
            yield things[hit], things[index]


def _faults_of_cuts(
    sheet: Rect, cuts: Sequence[Cut], things: Sequence[_Thing], how: Cuts
) -> Iterator[_Found]:
    """Take a sheet apart by its cuts, and yield what goes wrong."""
    table = {sheet}
    carved: dict[Rect, list[Cut]] = {}
    for number, cut in enumerate(cuts, 1):
        if cut.knife and how is not Cuts.FREE:
            yield (
                FaultKind.KNIFE_CUT,
                f"cut {number} is made with a knife; only straight cuts may be",
            )
            return
        wrong = _what_is_wrong(cut, table, carved)
        if wrong:
            yield FaultKind.BAD_CUT, f"cut {number} {wrong}"
            return
        if cut.knife:
            carved.setdefault(cut.part, []).append(cut)
        else:
            table.remove(cut.part)
            table.update(_halves(cut))
    yield from _faults_of_carving(carved, things)
    carvings = [_Carving(part, part_cuts) for part, part_cuts in carved.items()]
    for thing in things:
        rect = thing.rect
        if rect not in table and not any(carving.frees(rect) for carving in carvings):
            yield FaultKind.NOT_FREE, f"{thing.name}, {_say(thing.rect)}, is not cut free"


def _what_is_wrong(cut: Cut, table: set[Rect], carved: dict[Rect, list[Cut]]) -> str:
    """Return why a cut can't be made, or nothing."""
    part = cut.part
    if part not in table:
        return f"is made in a part, {_say(part)}, that does not lie on the table"
    across, along = (part.x, part.right), (part.y, part.bottom)
    if not cut.vertical:
        across, along = along, across
    at = format_length(cut.at, Unit.MM)
    if not across[0] < cut.at < across[1]:
        return f"at {at} does not run through the inside of its part, {_say(part)}"
    if not cut.knife and (cut.start, cut.end) != along:
        return f"at {at} does not run exactly from edge to edge of its part, {_say(part)}"
    if not along[0] <= cut.start < cut.end <= along[1]:
        return f"at {at} does not start and end within its part, {_say(part)}"
    if not cut.knife and part in carved:
        return f"at {at} parts what a knife has already cut into, {_say(part)}"
    return ""


def _halves(cut: Cut) -> tuple[Rect, Rect]:
    x, y, width, height = cut.part
    if cut.vertical:
        return Rect(x, y, cut.at - x, height), Rect(cut.at, y, x + width - cut.at, height)
    return Rect(x, y, width, cut.at - y), Rect(x, cut.at, width, y + height - cut.at)


def _faults_of_carving(carved: dict[Rect, list[Cut]], things: Sequence[_Thing]) -> Iterator[_Found]:
    """Yield the things that a knife cut runs through."""
    cuts = [cut for part_cuts in carved.values() for cut in part_cuts]
    upright = [(thing.rect, thing) for thing in things]
    lying = [(Rect(r.y, r.x, r.height, r.width), thing) for r, thing in upright]
    for vertical, rects in ((True, upright), (False, lying)):
        mine = [cut for cut in cuts if cut.vertical is vertical]
        for cut, thing in _crossings(mine, rects):
            at = format_length(cut.at, Unit.MM)
            said = f"the knife cut at {at} runs through {thing.name}, {_say(thing.rect)}"
            yield FaultKind.CUT_THROUGH, said


def _crossings(
    cuts: Sequence[Cut], rects: Sequence[tuple[Rect, _Thing]]
) -> Iterator[tuple[Cut, _Thing]]:
    """Yield each upright cut with a thing that it crosses."""
    events = [(cut.at, _CUT, index) for index, cut in enumerate(cuts)]
    for index, (rect, _) in enumerate(rects):
        events += [(rect.x, _BEGIN, index), (rect.right, _END, index)]
    row = _Row()
    for _, what, index in sorted(events):
        if what == _CUT:
            hit = row.hit(cuts[index].start, cuts[index].end)
            if hit is not None:
                yield cuts[index], rects[hit][1]
            continue
        rect = rects[index][0]
        if what == _END:
            row.drop(rect.y, rect.bottom, index)
        else:
            row.add(rect.y, rect.bottom, index)


class _Carving:
    """The knife cuts of one part, to ask whether an edge is cut along its whole length."""

    def __init__(self, part: Rect, cuts: Iterable[Cut]) -> None:
        self.part = part
        self.lines: dict[tuple[bool, int], list[tuple[int, int]]] = {}
        for vertical, at, start, end in sorted(cut[1:5] for cut in cuts):
            spans = self.lines.setdefault((vertical, at), [])
            if spans and start <= spans[-1][1]:
                spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
            else:
                spans.append((start, end))

    def frees(self, rect: Rect) -> bool:
        part = self.part
        return _holds(part, rect) and all(
            at in own or self._is_cut(vertical, at, start, end)
            for vertical, own, start, end, places in (
                (True, (part.x, part.right), rect.y, rect.bottom, (rect.x, rect.right)),
                (False, (part.y, part.bottom), rect.x, rect.right, (rect.y, rect.bottom)),
            )
            for at in places
        )

    def _is_cut(self, vertical: bool, at: int, start: int, end: int) -> bool:
        spans = self.lines.get((vertical, at), [])
        index = bisect_right(spans, start, key=lambda span: span[0]) - 1
        return index >= 0 and spans[index][1] >= end
