"""From placed pieces to the order of cuts.

A set of pieces comes apart by edge-to-edge cuts when some line parts it without touching the
inside of a piece, and both sides come apart in turn.  Leaving pieces out never spoils this, so
whichever cut is taken first, the rest can still be finished: a cut is never a dead end, and may
be chosen for what it saves.

What it saves is counted in one number.  An offcut of area *a* from a sheet of area *A* is worth
a²/A, so that one large offcut beats two small ones of the same sum, and every cut costs `CUT_COST`
of paper.  Parts with few pieces are searched to the end for the best tree of cuts; larger parts are
cut by a rule that looks two cuts ahead (see `_GreedyRule`); very many pieces are cut all one way,
then all the other (`_StagedRule`).

Where no edge-to-edge cut is left and free cuts are allowed, the pieces are freed along their own
edges with a knife.

A piece that lies whole within a void of another, its host, is left out of account until the
host's blank is free.  Then the void is cut out of the blank with a knife and taken apart like a
small sheet.  Voids worth keeping as offcuts are cut out too; all others stay on the blank, and the
maker cuts them away with the rest of the outline.  Where blanks reach into each other, no
edge-to-edge cut parts them: an edge-to-edge cut through a blank would go through its piece.

An offcut is trimmed until nothing unusable is left of it.  Where the stages of cutting are
limited, every part is cut everywhere it can be cut one way before it is turned (`stages.py`).
"""

from __future__ import annotations

from itertools import accumulate, pairwise
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple, Protocol

from nester.core.geometry import maximal_free_rectangles, solid_rows
from nester.core.lengths import mm
from nester.core.problem import UNLIMITED_TRIMMER, Cut, Cuts, PlacedPiece, Rect, Trimmer
from nester.cutting.stages import stages_from

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from nester.core.lengths import Length

__all__ = ["CUT_COST", "NotGuillotineError", "is_guillotine", "plan_cuts"]

CUT_COST: int = mm(50) ** 2
"""A cut is saved rather than this much offcut: 25 cm² (common practice, no source)."""

_KNIFE_COST_FACTOR = 3
"""A cut that the trimmer can't make costs so many times as much (common practice, no source)."""

_MAX_SEARCHED_PIECES = 8
"""Parts with at most so many pieces are searched to the end."""
_MANY_PIECES = 2_000
"""Sheets with more pieces are cut all one way, then all the other, without a look ahead."""
_MAX_STATES = 2_000
"""Parts looked at in all searches for one sheet; then the rule decides alone."""

_Box = tuple[int, int, int, int]
"""Left, top, right, bottom; so box[axis] and box[axis + 2] bound it along an axis."""

_X, _Y = 0, 1


class NotGuillotineError(ValueError):
    """The pieces can't be parted by edge-to-edge cuts."""


class _Blank(NamedTuple):
    """A piece's blank, its voids, and what lies in each of them."""

    box: _Box
    voids: tuple[_Box, ...] = ()
    nested: tuple[tuple[_Blank, ...], ...] = ()

    def with_nested(self) -> Iterator[_Blank]:
        """Yield it, and what lies in its voids, and so on."""
        yield self
        for guests in self.nested:
            for guest in guests:
                yield from guest.with_nested()

    def solid_boxes(self) -> list[_Box]:
        """Return rectangles that together are what its piece covers."""
        return [_box(row) for row in solid_rows(_rect(self.box), list(map(_rect, self.voids)))]


class _Part(NamedTuple):
    box: _Box
    pieces: Sequence[_Box]


class _CandidateCut(NamedTuple):
    """A cut across an axis.

    The first `pieces_before` of the sorted pieces lie before it; `alternatives` cuts are possible
    along its axis.
    """

    axis: int
    at: int
    pieces_before: int
    alternatives: int
    pieces: Sequence[_Box]


class _CutSequence(NamedTuple):
    cuts: list[Cut]
    offcuts: list[Rect]
    value: int


def plan_cuts(
    width: Length,
    height: Length,
    placed: Sequence[PlacedPiece],
    cuts: Cuts,
    smallest_offcut: Length,
    voids: Sequence[Sequence[Rect]] = (),
    *,
    unusable: Sequence[Rect] = (),
    trimmer: Trimmer = UNLIMITED_TRIMMER,
    hurried: bool = False,
) -> tuple[tuple[Cut, ...], tuple[Rect, ...]]:
    """Return the cuts that free every piece, in order, and the offcuts worth keeping.

    A part is worked to its end before the one set aside is taken up again; of two parts the one
    with fewer pieces comes first.

    Parameters
    ----------
    width, height
        Size of the sheet.
    placed
        Pieces that do not overlap, except that one may lie in another's voids.
    cuts
        With free cuts, edge-to-edge cuts are made while there are any.  In a part that has none,
        knife cuts follow the edges of pieces and offcuts: first those up and down from left to
        right, then those across from top to bottom, so that the rule is turned once.
    smallest_offcut
        Empty parts with a shorter side than this are scrap.
    voids
        The voids of each piece, as `nester.core.problem.placed_voids` tells them; or nothing, if no
        piece has any.
    unusable
        Parts of the sheet that no offcut may have.
    trimmer
        Cuts that it can make are preferred; its stages are kept to if cuts are straight.
    hurried
        Take the first order of cuts that is found, where only that there is one matters.

    Raises
    ------
    NotSeparable
        If straight cuts are asked for and can't free the pieces, or not in so many stages.
    ValueError
        If a piece does not lie on the sheet.
    """
    boxes = [_box(piece.rect) for piece in placed]
    for piece, box in zip(placed, boxes, strict=True):
        if not (0 <= box[0] < box[2] <= width and 0 <= box[1] < box[3] <= height):
            raise ValueError(f"piece {piece.name!r} does not lie on the sheet")
    boxed = [tuple(map(_box, of_one)) for of_one in voids] or [()] * len(boxes)
    how = _Options(cuts is Cuts.FREE, max(1, smallest_offcut), tuple(unusable), trimmer, hurried)
    best = _best_sequence((0, 0, width, height), _nest_blanks(boxes, boxed), how)
    return tuple(best.cuts), tuple(best.offcuts)


class _Options(NamedTuple):
    """Whether a knife may be used, the least side of an offcut, and what it may not have."""

    free: bool
    smallest_offcut: Length
    unusable: tuple[Rect, ...]
    trimmer: Trimmer
    first_found: bool

    @property
    def stages(self) -> int | None:
        return None if self.free else self.trimmer.stages


class _CutRule(Protocol):
    """Chooses cuts for parts that are not searched."""

    def choose(self, part: _Part) -> list[_CandidateCut]:
        """Return the cuts to make, one behind the other; none if no edge-to-edge cut is left."""


def _best_sequence(box: _Box, blanks: Sequence[_Blank], how: _Options) -> _CutSequence:
    """Return the best plan for a sheet, or for a void that has been cut out."""
    cutter = _SheetCutter(box, blanks, how)
    rules: list[_CutRule]
    if how.stages is None and how.first_found:
        rules = [_StagedRule(_X)]
    elif how.stages is None and len(blanks) > _MANY_PIECES:
        rules = [_StagedRule(_X), _StagedRule(_Y)]
    elif how.stages is None:
        rules = [
            _GreedyRule(cutter.kept_area, trims_first, strips)
            for strips in (True, False)
            for trims_first in (True, False)
        ]
    else:
        rects = [_rect(blank.box) for blank in blanks]
        rules = [
            _StagedRule(axis)
            for axis in (_X, _Y)
            if stages_from(_rect(box), rects, axis == _Y) <= how.stages
        ]
        if not rules:
            raise NotGuillotineError(
                f"{len(blanks)} pieces don't come apart in {how.stages} stages"
            )
    return max(map(cutter.cut_apart, rules), key=lambda plan: plan.value)


def _nest_blanks(boxes: Sequence[_Box], voids: Sequence[tuple[_Box, ...]]) -> list[_Blank]:
    """Return the blanks that lie in no void, each with what lies in its own."""
    holes = sorted(
        (_rect(void).area, host, place)
        for host, of_one in enumerate(voids)
        for place, void in enumerate(of_one)
    )
    guests: dict[tuple[int, int], list[int]] = {}
    top = []
    for piece, box in enumerate(boxes):
        hole = next(
            ((h, place) for _, h, place in holes if h != piece and _within(box, voids[h][place])),
            None,
        )
        if hole is None:
            top.append(piece)
        else:
            guests.setdefault(hole, []).append(piece)

    def blank(piece: int) -> _Blank:
        inside = (guests.get((piece, place), []) for place in range(len(voids[piece])))
        return _Blank(boxes[piece], voids[piece], tuple(tuple(map(blank, g)) for g in inside))

    return list(map(blank, top))


def is_guillotine(placed: Iterable[PlacedPiece]) -> bool:
    """Tell whether edge-to-edge cuts can free all pieces (which do not overlap)."""
    boxes = [_box(piece.rect) for piece in placed]
    groups: list[tuple[Sequence[_Box], int, bool]] = [(boxes, _X, False)]
    while groups:
        pieces, axis, whole_along_other = groups.pop()
        if len(pieces) < 2:
            continue
        parted = list(_separated_groups(pieces, axis))
        if len(parted) == 1 and whole_along_other:
            return False
        groups += [(group, 1 - axis, len(parted) == 1) for group in parted]
    return True


def _separated_groups(pieces: Sequence[_Box], axis: int) -> Iterator[Sequence[_Box]]:
    """Yield the pieces parted at every line that no piece lies across."""
    ordered = sorted(pieces, key=itemgetter(axis))
    begun = 0
    for _, _, before in _empty_bands(ordered, axis, ordered[0][axis], ordered[-1][axis]):
        if before > begun:
            yield ordered[begun:before]
            begun = before


def _box(rect: Rect) -> _Box:
    return rect.x, rect.y, rect.right, rect.bottom


def _rect(box: _Box) -> Rect:
    return Rect(box[0], box[1], box[2] - box[0], box[3] - box[1])


def _empty_bands(
    ordered: Sequence[_Box], axis: int, low: int, high: int
) -> Iterator[tuple[int, int, int]]:
    """Yield start, end, and number of pieces before each empty band that runs edge to edge.

    A band may have no width: where pieces touch, and at the two ends.
    """
    reach = low
    for before, box in enumerate(ordered):
        if box[axis] >= reach:
            yield reach, box[axis], before
        reach = max(reach, box[axis + 2])
    yield reach, high, len(ordered)


def _candidate_cuts(part: _Part) -> Iterator[_CandidateCut]:
    for axis in (_X, _Y):
        low, high = part.box[axis], part.box[axis + 2]
        ordered = sorted(part.pieces, key=itemgetter(axis))
        lines = [
            (at, before)
            for start, end, before in _empty_bands(ordered, axis, low, high)
            for at in ((start, end) if start < end else (start,))
            if low < at < high
        ]
        for at, before in lines:
            yield _CandidateCut(axis, at, before, len(lines), ordered)


def _split_box(box: _Box, axis: int, at: int) -> tuple[_Box, _Box]:
    x, y, right, bottom = box
    if axis == _X:
        return (x, y, at, bottom), (at, y, right, bottom)
    return (x, y, right, at), (x, at, right, bottom)


def _split_part(part: _Part, choice: _CandidateCut) -> tuple[_Part, _Part]:
    """Cut a part, or what an earlier cut the same way has left of it."""
    first, second = _split_box(part.box, choice.axis, choice.at)
    gone = len(choice.pieces) - len(part.pieces)
    return (
        _Part(first, choice.pieces[gone : choice.pieces_before]),
        _Part(second, choice.pieces[choice.pieces_before :]),
    )


def _is_piece(part: _Part) -> bool:
    return len(part.pieces) == 1 and part.pieces[0] == part.box


class _SheetCutter:
    """Takes one sheet apart, or one void."""

    def __init__(self, box: _Box, blanks: Sequence[_Blank], how: _Options) -> None:
        self.sheet = _Part(box, [blank.box for blank in blanks])
        self.options = how
        self.cut_cost = CUT_COST * _rect(box).area
        trimmer = how.trimmer
        self.trimmer_is_limited = trimmer.longest_cut is not None or trimmer.smallest_strip > 0
        self.search = _ExhaustiveSearch(self)
        self.usable_rects: dict[_Box, Rect | None] = {}
        self.blanks: dict[_Box, list[_Blank]] = {}
        for blank in blanks:
            self.blanks.setdefault(blank.box, []).append(blank)
        self.void_cuts = {box: self._cut_out_voids(box) for box in self.blanks}
        self.knife_cuts: dict[_Box, tuple[list[Cut], list[_Box]]] = {}

    def cut_apart(self, rule: _CutRule) -> _CutSequence:
        """Cut the sheet to its end by a rule, and by search wherever that can be done."""
        plan = _CutSequence([], [], 0)
        offcuts: list[_Box] = []
        waiting: list[tuple[_Part, Iterator[_CandidateCut]]] = [(self.sheet, iter(()))]
        while waiting:
            part, series = waiting.pop()
            if not part.pieces:
                trims, kept = self.trimmed(part.box)
                plan.cuts.extend(trims)
                offcuts += kept
                continue
            if _is_piece(part):
                corner_cuts, corners = self.void_cuts[part.box]
                plan.cuts.extend(corner_cuts)
                offcuts += corners
                continue
            choice = self.search.choose(part)
            if choice is not None:
                series = iter(())
            else:
                choice = next(series, None)
            if choice is None:
                series = iter(rule.choose(part))
                choice = next(series, None)
            if choice is None:
                knife_cuts, left_over = self.cut_by_knife(part)
                plan.cuts.extend(knife_cuts)
                offcuts += left_over
                continue
            plan.cuts.append(_edge_to_edge(part.box, choice.axis, choice.at))
            first, second = _split_part(part, choice)
            halves = [(first, iter(())), (second, series)]
            if len(first.pieces) <= len(second.pieces):
                halves.reverse()
            waiting += halves
        worth = sum(map(self.offcut_value, offcuts)) - sum(map(self.cost_of, plan.cuts))
        return plan._replace(offcuts=[_rect(box) for box in offcuts], value=worth)

    def kept_area(self, box: _Box) -> int:
        """Return the area of what is kept of an empty part, or zero if it is scrap."""
        if self.options.unusable:
            clear = self._largest_usable(box)
            return clear.area if clear else 0
        width, height = box[2] - box[0], box[3] - box[1]
        return width * height if min(width, height) >= self.options.smallest_offcut else 0

    def _largest_usable(self, box: _Box) -> Rect | None:
        """Return the largest usable rectangle of an empty part, if it is worth keeping."""
        if box not in self.usable_rects:
            rects = maximal_free_rectangles(_rect(box), self.options.unusable)
            kept = [
                one for one in rects if min(one.width, one.height) >= self.options.smallest_offcut
            ]
            self.usable_rects[box] = max(kept, key=lambda one: one.area, default=None)
        return self.usable_rects[box]

    def trimmed(self, box: _Box) -> tuple[list[Cut], list[_Box]]:
        """Return the cuts that trim an empty part to what is kept of it, and that."""
        if not self.kept_area(box):
            return [], []
        kept = _box(self._largest_usable(box) or _rect(box)) if self.options.unusable else box
        cuts = []
        for axis in (_X, _Y):
            for edge in (axis, axis + 2):
                if box[edge] != kept[edge]:
                    cuts.append(_edge_to_edge(box, axis, kept[edge]))
                    box = _split_box(box, axis, kept[edge])[edge == axis]
        return cuts, [kept]

    def offcut_value(self, box: _Box) -> int:
        """Return the worth of an empty part, times the sheet's area."""
        worth = self.kept_area(box) ** 2
        if worth and self.options.unusable:
            worth -= sum(map(self.cost_of, self.trimmed(box)[0]))
        return worth

    def candidate_cost(self, box: _Box, choice: _CandidateCut) -> int:
        """Return what a cut costs that is made at a place."""
        if not self.trimmer_is_limited:
            return self.cut_cost
        return self.cost_of(_edge_to_edge(box, choice.axis, choice.at))

    def cost_of(self, cut: Cut) -> int:
        """Return what a cut costs, in the same measure as `offcut_value`."""
        by_hand = (
            self.trimmer_is_limited and not cut.knife and not self.options.trimmer.can_make(cut)
        )
        return self.cut_cost * (_KNIFE_COST_FACTOR if by_hand else 1)

    def _cut_out_voids(self, box: _Box) -> tuple[list[Cut], list[_Box]]:
        """Return the cuts that take the voids out of a free blank and apart, and the offcuts."""
        cuts: list[Cut] = []
        offcuts: list[_Box] = []
        rest: list[_CutSequence] = []
        # Blanks that are one upon the other are never free alone.
        blank = self.blanks[box][0]
        for void, guests in zip(blank.voids, blank.nested, strict=True):
            if guests:
                rest.append(_best_sequence(void, guests, self.options))
            elif self.kept_area(void):
                trims, kept = self.trimmed(void)
                rest.append(_CutSequence(trims, list(map(_rect, kept)), 0))
            else:
                continue
            cuts += _void_cuts(box, void, cuts)
        for plan in rest:
            cuts += plan.cuts
            offcuts += map(_box, plan.offcuts)
        return cuts, offcuts

    def cut_by_knife(self, part: _Part) -> tuple[list[Cut], list[_Box]]:
        """Return knife cuts and offcuts of a part that no edge-to-edge cut parts."""
        if not self.options.free:
            names = f"{len(part.pieces)} pieces within {_rect(part.box)}"
            raise NotGuillotineError(f"no edge-to-edge cut parts the {names}")
        if part.box not in self.knife_cuts:
            blanks = [
                blank
                for box in dict.fromkeys(part.pieces)
                for top in self.blanks[box]
                for blank in top.with_nested()
            ]
            solids = [blank.solid_boxes() for blank in blanks]
            taken = sorted(box for solid in solids for box in solid)
            left_over = list(
                self._remaining_offcuts(part.box, [*taken, *map(_box, self.options.unusable)])
            )
            taken += left_over
            edges = [edge for box in left_over for edge in _outline(box, ())]
            for blank in blanks:
                # Its own solid part does not reach into its voids.
                used = [void for void in blank.voids if any(_overlap(void, one) for one in taken)]
                edges += _outline(blank.box, used)
            self.knife_cuts[part.box] = _knife_cuts(part.box, edges), left_over
        return self.knife_cuts[part.box]

    def _remaining_offcuts(self, box: _Box, taken: Iterable[_Box]) -> Iterator[_Box]:
        """Yield the largest empty rectangle of a part, then the largest in what remains."""
        empty = [box]
        for one in taken:
            empty = self._subtract(empty, one)
        while empty:
            largest = max(empty, key=lambda box: (_rect(box).area, [-side for side in box]))
            yield largest
            empty = self._subtract(empty, largest)

    def _subtract(self, empty: list[_Box], taken: _Box) -> list[_Box]:
        """Return the largest empty rectangles worth keeping that a taken place leaves."""
        kept: list[_Box] = []
        broken: list[_Box] = []
        for box in empty:
            (broken if _overlap(box, taken) else kept).append(box)
        rests = {
            rest
            for box in broken
            for axis in (_X, _Y)
            for rest in (
                _split_box(box, axis, taken[axis])[0],
                _split_box(box, axis, taken[axis + 2])[1],
            )
            if self.kept_area(rest)
        }
        for rest in sorted(rests, key=lambda box: -_rect(box).area):
            if not any(_within(rest, box) for box in kept):
                kept.append(rest)
        return kept


def _overlap(one: _Box, other: _Box) -> bool:
    """Tell whether two boxes share more than an edge."""
    return all(one[a] < other[a + 2] and other[a] < one[a + 2] for a in (_X, _Y))


def _within(inner: _Box, outer: _Box) -> bool:
    return all(outer[a] <= inner[a] and inner[a + 2] <= outer[a + 2] for a in (_X, _Y))


def _edge_to_edge(box: _Box, axis: int, at: int) -> Cut:
    along = 1 - axis
    return Cut(_rect(box), axis == _X, at, box[along], box[along + 2])


_Edge = tuple[int, int, int, int]
"""The axis that it runs across, its place along that axis, and its start and end."""


def _outline(box: _Box, voids: Sequence[_Box]) -> Iterator[_Edge]:
    """Yield the edges of what a box keeps without some voids; long ones in several parts."""
    lines = [
        sorted({box[axis], box[axis + 2], *(v[axis] for v in voids), *(v[axis + 2] for v in voids)})
        for axis in (_X, _Y)
    ]
    solid = {
        (column, row)
        for column, (left, right) in enumerate(pairwise(lines[_X]))
        for row, (top, bottom) in enumerate(pairwise(lines[_Y]))
        if not any(_overlap((left, top, right, bottom), void) for void in voids)
    }
    for cell in sorted(solid):
        for axis in (_X, _Y):
            along = lines[1 - axis]
            start, end = along[cell[1 - axis]], along[cell[1 - axis] + 1]
            for step in (0, 1):
                beside = list(cell)
                beside[axis] += 2 * step - 1
                if tuple(beside) not in solid:
                    yield axis, lines[axis][cell[axis] + step], start, end


def _knife_cuts(box: _Box, edges: Sequence[_Edge]) -> list[Cut]:
    """Return edges as cuts, joined where they run on, without the part's own."""
    cuts = []
    for axis in (_X, _Y):
        joined: list[tuple[int, int, int]] = []
        for at, start, end in sorted(edge[1:] for edge in edges if edge[0] == axis):
            if not box[axis] < at < box[axis + 2]:
                continue
            if joined and joined[-1][0] == at and start <= joined[-1][2]:
                joined[-1] = (at, joined[-1][1], max(end, joined[-1][2]))
            else:
                joined.append((at, start, end))
        cuts += [Cut(_rect(box), axis == _X, *edge, knife=True) for edge in joined]
    return cuts


def _void_cuts(box: _Box, void: _Box, made: Sequence[Cut]) -> Iterator[Cut]:
    """Yield the edges of a void as cuts in its blank, where none has been made yet."""
    for cut in _knife_cuts(box, list(_outline(void, ()))):
        start = cut.start
        for other in sorted(made, key=lambda one: one.start):
            if (other.vertical, other.at) == (cut.vertical, cut.at) and other.end > start:
                if start < other.start:
                    yield cut._replace(start=start, end=min(other.start, cut.end))
                start = max(start, other.end)
        if start < cut.end:
            yield cut._replace(start=start)


class _SearchLimitReached(Exception):
    """The search has looked at as many parts as it may."""


class _ExhaustiveSearch:
    """The best tree of cuts for parts with few pieces.

    A part's pieces follow from its rectangle, so what was found for one is kept under it.
    """

    def __init__(self, cutter: _SheetCutter) -> None:
        self.cutter = cutter
        self.memo: dict[_Box, tuple[int, _CandidateCut | None]] = {}

    def choose(self, part: _Part) -> _CandidateCut | None:
        """Return the best cut, or None: too large, given up, or no cut parts it."""
        how = self.cutter.options
        if len(part.pieces) > _MAX_SEARCHED_PIECES or how.first_found or how.stages is not None:
            return None
        try:
            return self._best(part)[1]
        except _SearchLimitReached:
            return None

    def _best(self, part: _Part) -> tuple[int, _CandidateCut | None]:
        if not part.pieces:
            return self.cutter.offcut_value(part.box), None
        if _is_piece(part):
            return 0, None
        if part.box in self.memo:
            return self.memo[part.box]
        if len(self.memo) >= _MAX_STATES:
            raise _SearchLimitReached
        best, best_key = None, (0, 0, 0)
        for choice in _candidate_cuts(part):
            first, second = _split_part(part, choice)
            cost = self.cutter.candidate_cost(part.box, choice)
            worth = self._best(first)[0] + self._best(second)[0] - cost
            key = (
                worth,
                max(self._freed_area(first), self._freed_area(second)),
                -choice.alternatives,
            )
            if best is None or key > best_key:
                best, best_key = choice, key
        worth = best_key[0] if best else self._knife_value(part)
        self.memo[part.box] = worth, best
        return worth, best

    def _freed_area(self, part: _Part) -> int:
        return 0 if part.pieces else self.cutter.kept_area(part.box)

    def _knife_value(self, part: _Part) -> int:
        cuts, offcuts = self.cutter.cut_by_knife(part)
        return sum(map(self.cutter.offcut_value, offcuts)) - len(cuts) * self.cutter.cut_cost


class _StagedRule:
    """Cuts a part everywhere it can be cut one way, then all its parts the other way."""

    def __init__(self, first: int) -> None:
        self.first_axis = first
        self.axis_of: dict[_Box, int] = {}

    def choose(self, part: _Part) -> list[_CandidateCut]:
        """Return all cuts one way; the other way, if there are none."""
        first = self.axis_of.get(part.box, self.first_axis)
        choices = list(_candidate_cuts(part))
        for axis in (first, 1 - first):
            lines = [choice for choice in choices if choice.axis == axis]
            if lines:
                rest = part.box
                for choice in lines:
                    piece, rest = _split_box(rest, axis, choice.at)
                    self.axis_of[piece] = self.axis_of[rest] = 1 - axis
                return lines
        return []


class _GreedyRule:
    """Chooses cuts in O(n log n) by what they free, now or with the cut after them.

    First comes the cut with the largest offcut in sight, rather at once than after the next cut.
    Where no offcut is in sight, cuts that only trim scrap come first or last as told: first saves
    cuts, last leaves wider offcuts to parts further down.  Among the rest, for `prefer_strips` all
    cuts the way that takes the fewest, one after the other, so that a grid is cut into a few long
    strips and a trimmer's stop is set once; else the cut that parts the pieces most evenly.
    """

    def __init__(self, kept_area: Callable[[_Box], int], trims_first: bool, strips: bool) -> None:
        self.kept_area = kept_area
        self.trims_first = trims_first
        self.prefer_strips = strips

    def choose(self, part: _Part) -> list[_CandidateCut]:
        """Return the cuts to make, one behind the other; none if no edge-to-edge cut is left."""
        best: list[_CandidateCut] = []
        best_key = (0, 0, False, 0)
        bounds: dict[int, tuple[list[_Box], list[_Box]]] = {}
        for choice in _candidate_cuts(part):
            if choice.axis not in bounds:
                bounds[choice.axis] = _bounding_boxes(choice.pieces)
            key = self._key(part, choice, *bounds[choice.axis])
            if not best or key > best_key:
                best, best_key = [choice], key
            elif key == best_key and choice.axis == best[0].axis:
                best.append(choice)
        in_sight = best_key[0] > 0
        return best[:1] if in_sight or not self.prefer_strips else best

    def _key(
        self, part: _Part, choice: _CandidateCut, before: list[_Box], after: list[_Box]
    ) -> tuple[int, int, bool, int]:
        first, second = _split_box(part.box, choice.axis, choice.at)
        count = len(choice.pieces)
        if choice.pieces_before == 0:
            freed, in_sight = self.kept_area(first), self._largest_strip(second, after[0])
        elif choice.pieces_before == count:
            freed, in_sight = self.kept_area(second), self._largest_strip(first, before[-1])
        else:
            freed = 0
            in_sight = max(
                self._largest_strip(first, before[choice.pieces_before - 1]),
                self._largest_strip(second, after[choice.pieces_before]),
            )
        trims_scrap = choice.pieces_before in (0, count) and not freed
        last = choice.alternatives if self.prefer_strips else abs(2 * choice.pieces_before - count)
        return max(freed, in_sight), freed, trims_scrap is self.trims_first, -last

    def _largest_strip(self, box: _Box, pieces: _Box) -> int:
        """Return the area of the largest empty strip along an edge of a part."""
        x, y, right, bottom = box
        return max(
            self.kept_area((x, y, pieces[0], bottom)),
            self.kept_area((x, y, right, pieces[1])),
            self.kept_area((pieces[2], y, right, bottom)),
            self.kept_area((x, pieces[3], right, bottom)),
        )


def _bounding_boxes(ordered: Sequence[_Box]) -> tuple[list[_Box], list[_Box]]:
    """Return what bounds the first 1, 2, … pieces, and what bounds those from 0, 1, … on."""
    return (
        list(accumulate(ordered, _common_box)),
        list(accumulate(reversed(ordered), _common_box))[::-1],
    )


def _common_box(one: _Box, other: _Box) -> _Box:
    return (
        min(one[0], other[0]),
        min(one[1], other[1]),
        max(one[2], other[2]),
        max(one[3], other[3]),
    )
