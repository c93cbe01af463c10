"""From placed pieces to the order of cuts.

A set of pieces comes apart by edge-to-edge cuts when some line parts it without touching the
inside of a piece, and both sides come apart in turn.  That holds for any subset too, so whichever
cut is made first, the rest can still be finished: a cut is never a dead end, and may be chosen for
what it saves.

What a cut saves is one number.  An offcut of area *a* from a sheet of area *A* is worth
a²/A, so that one large offcut beats two small ones of the same sum, and every cut costs `CUT_COST`
of paper.  Parts with few pieces are searched to the end for the best tree of cuts; larger parts are
cut by a rule that looks two cuts ahead (`rules.GreedyRule`); very many pieces are
cut all in one direction, then all in the other (`rules.StagedRule`).

Where no edge-to-edge cut is left and free cuts are allowed, the pieces are freed along their own
edges with a knife.

A piece that lies whole within a void of another, its host, is ignored until the host's blank is
free.  Then the void is cut out of the blank with a knife and taken apart like a
small sheet.  Voids worth keeping as offcuts are cut out too; all others stay on the blank, and the
maker cuts them away with the rest of the outline.  Where blanks reach into each other, no
edge-to-edge cut parts them: an edge-to-edge cut through a blank would go through its piece.

An offcut is trimmed until nothing unusable is left of it.  Where the stages of cutting are
limited, all cuts of a part in one direction are made before it is turned (`stages.py`).
"""

from __future__ import annotations

from itertools import pairwise
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from nester.core.geometry import maximal_free_rectangles, solid_rows
from nester.core.lengths import mm
from nester.core.problem import UNLIMITED_TRIMMER, Cut, Cuts, PlacedPiece, Rect, Trimmer
from nester.cutting.parts import (
    Box,
    CandidateCut,
    Part,
    X,
    Y,
    empty_bands,
    is_piece,
    overlap,
    split_box,
    split_part,
    to_box,
    to_rect,
    within,
)
from nester.cutting.rules import CutRule, ExhaustiveSearch, GreedyRule, StagedRule
from nester.cutting.stages import stages_from

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from nester.core.lengths import Length

__all__ = [
    "CUT_COST",
    "NotGuillotineError",
    "is_guillotine",
    "plan_cuts",
]

CUT_COST: int = mm(50) ** 2
"""A cut is saved rather than this much offcut: 25 cm² (common practice, no source)."""

_KNIFE_COST_FACTOR = 3
"""A cut that the trimmer can't make costs this many times as much (common practice, no source)."""

_MANY_PIECES = 2_000
"""Sheets with more pieces are cut by the staged rule, without a look ahead."""


class NotGuillotineError(ValueError):
    """The pieces can't be parted by edge-to-edge cuts."""


class _Blank(NamedTuple):
    """A piece's blank, its voids, and what lies in each of them."""

    box: Box
    voids: tuple[Box, ...] = ()
    nested: tuple[tuple[_Blank, ...], ...] = ()

    def with_nested(self) -> Iterator[_Blank]:
        """Yield it, and what lies in its voids, and so on."""
        yield self
        for guests in self.nested:
            for guest in guests:
                yield from guest.with_nested()

    def solid_boxes(self) -> list[Box]:
        """Return rectangles that together are what its piece covers."""
        return [
            to_box(row) for row in solid_rows(to_rect(self.box), list(map(to_rect, self.voids)))
        ]


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

    A part is finished before the one set aside is taken up again; of two parts the one with fewer
    pieces comes first.

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
        Empty parts with a side shorter than this are scrap.
    voids
        The voids of each piece, as `nester.core.problem.placed_voids` gives them; empty if no
        piece has any.
    unusable
        Areas of the sheet that no offcut may contain.
    trimmer
        Cuts that it can make are preferred; its stages are kept to if cuts are straight.
    hurried
        Take the first sequence found, where it only matters that there is one.

    Raises
    ------
    NotGuillotineError
        If straight cuts are asked for and can't free the pieces, or not in the trimmer's stages.
    ValueError
        If a piece does not lie on the sheet.
    """
    boxes = [to_box(piece.rect) for piece in placed]
    for piece, box in zip(placed, boxes, strict=True):
        if not (0 <= box[0] < box[2] <= width and 0 <= box[1] < box[3] <= height):
            raise ValueError(f"piece {piece.name!r} does not lie on the sheet")
    void_boxes = [tuple(map(to_box, rects)) for rects in voids] or [()] * len(boxes)
    free = cuts is Cuts.FREE
    options = _Options(free, max(1, smallest_offcut), tuple(unusable), trimmer, hurried)
    best = _best_sequence((0, 0, width, height), _nest_blanks(boxes, void_boxes), options)
    return tuple(best.cuts), tuple(best.offcuts)


class _Options(NamedTuple):
    """How a sheet is to be cut; the fields are those of `plan_cuts`."""

    free: bool
    smallest_offcut: Length
    unusable: tuple[Rect, ...]
    trimmer: Trimmer
    first_found: bool

    @property
    def stages(self) -> int | None:
        return None if self.free else self.trimmer.stages


def _best_sequence(box: Box, blanks: Sequence[_Blank], options: _Options) -> _CutSequence:
    """Return the best sequence for a sheet, or for a void that has been cut out."""
    cutter = _SheetCutter(box, blanks, options)
    rules: list[CutRule]
    if options.stages is None and options.first_found:
        rules = [StagedRule(X)]
    elif options.stages is None and len(blanks) > _MANY_PIECES:
        rules = [StagedRule(X), StagedRule(Y)]
    elif options.stages is None:
        rules = [
            GreedyRule(cutter.kept_area, trims_first, prefer_strips)
            for prefer_strips in (True, False)
            for trims_first in (True, False)
        ]
    else:
        rects = [to_rect(blank.box) for blank in blanks]
        rules = [
            StagedRule(axis)
            for axis in (X, Y)
            if stages_from(to_rect(box), rects, axis == Y) <= options.stages
        ]
        if not rules:
            raise NotGuillotineError(
                f"{len(blanks)} pieces don't come apart in {options.stages} stages"
            )
    return max(map(cutter.cut_apart, rules), key=lambda plan: plan.value)


def _nest_blanks(boxes: Sequence[Box], voids: Sequence[tuple[Box, ...]]) -> list[_Blank]:
    """Return the blanks that lie in no void, each with what lies in its own."""
    holes = sorted(
        (to_rect(void).area, host, place)
        for host, host_voids in enumerate(voids)
        for place, void in enumerate(host_voids)
    )
    guests: dict[tuple[int, int], list[int]] = {}
    top = []
    for piece, box in enumerate(boxes):
        hole = next(
            ((h, place) for _, h, place in holes if h != piece and within(box, voids[h][place])),
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
    boxes = [to_box(piece.rect) for piece in placed]
    groups: list[tuple[Sequence[Box], int, bool]] = [(boxes, X, False)]
    while groups:
        pieces, axis, whole_along_other = groups.pop()
        if len(pieces) < 2:
            continue
        groups_along = list(_separated_groups(pieces, axis))
        if len(groups_along) == 1 and whole_along_other:
            return False
        groups += [(group, 1 - axis, len(groups_along) == 1) for group in groups_along]
    return True


def _separated_groups(pieces: Sequence[Box], axis: int) -> Iterator[Sequence[Box]]:
    """Yield the pieces in groups between the lines that no piece lies across."""
    ordered = sorted(pieces, key=itemgetter(axis))
    first = 0
    for _, _, before in empty_bands(ordered, axis, ordered[0][axis], ordered[-1][axis]):
        if before > first:
            yield ordered[first:before]
            first = before


class _SheetCutter:
    """Takes one sheet apart, or one void that has been cut out.

    Values and costs are areas times the area of the sheet, so that they stay integers.
    """

    def __init__(self, box: Box, blanks: Sequence[_Blank], options: _Options) -> None:
        self.sheet = Part(box, [blank.box for blank in blanks])
        self.options = options
        self.cut_cost = CUT_COST * to_rect(box).area
        trimmer = options.trimmer
        self.trimmer_is_limited = trimmer.longest_cut is not None or trimmer.smallest_strip > 0
        self.search = ExhaustiveSearch(self)
        self.is_searched = not options.first_found and options.stages is None
        self.usable_rects: dict[Box, Rect | None] = {}
        self.blanks: dict[Box, list[_Blank]] = {}
        for blank in blanks:
            self.blanks.setdefault(blank.box, []).append(blank)
        self.void_cuts = {box: self._cut_out_voids(box) for box in self.blanks}
        self.knife_cuts: dict[Box, tuple[list[Cut], list[Box]]] = {}

    def cut_apart(self, rule: CutRule) -> _CutSequence:
        """Take the sheet apart by search where a part has few pieces, else by a rule."""
        plan = _CutSequence([], [], 0)
        offcuts: list[Box] = []
        waiting: list[tuple[Part, Iterator[CandidateCut]]] = [(self.sheet, iter(()))]
        while waiting:
            part, series = waiting.pop()
            if not part.pieces:
                trims, kept = self.trimmed(part.box)
                plan.cuts.extend(trims)
                offcuts += kept
                continue
            if is_piece(part):
                corner_cuts, corners = self.void_cuts[part.box]
                plan.cuts.extend(corner_cuts)
                offcuts += corners
                continue
            choice = self.search.choose(part) if self.is_searched else None
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
            first, second = split_part(part, choice)
            halves = [(first, iter(())), (second, series)]
            if len(first.pieces) <= len(second.pieces):
                halves.reverse()
            waiting += halves
        value = sum(map(self.offcut_value, offcuts)) - sum(map(self.cost_of, plan.cuts))
        return plan._replace(offcuts=[to_rect(box) for box in offcuts], value=value)

    def kept_area(self, box: Box) -> int:
        """Return the area of what is kept of an empty part, or zero if it is scrap."""
        if self.options.unusable:
            clear = self._largest_usable(box)
            return clear.area if clear else 0
        width, height = box[2] - box[0], box[3] - box[1]
        return width * height if min(width, height) >= self.options.smallest_offcut else 0

    def _largest_usable(self, box: Box) -> Rect | None:
        """Return the largest usable rectangle of an empty part, if it is worth keeping."""
        if box not in self.usable_rects:
            rects = maximal_free_rectangles(to_rect(box), self.options.unusable)
            kept = [
                rect
                for rect in rects
                if min(rect.width, rect.height) >= self.options.smallest_offcut
            ]
            self.usable_rects[box] = max(kept, key=lambda rect: rect.area, default=None)
        return self.usable_rects[box]

    def trimmed(self, box: Box) -> tuple[list[Cut], list[Box]]:
        """Return the cuts that trim an empty part to what is kept of it, and what is kept."""
        if not self.kept_area(box):
            return [], []
        kept = to_box(self._largest_usable(box) or to_rect(box)) if self.options.unusable else box
        cuts = []
        for axis in (X, Y):
            for edge in (axis, axis + 2):
                if box[edge] != kept[edge]:
                    cuts.append(_edge_to_edge(box, axis, kept[edge]))
                    box = split_box(box, axis, kept[edge])[edge == axis]
        return cuts, [kept]

    def offcut_value(self, box: Box) -> int:
        """Return the value of an empty part."""
        value = self.kept_area(box) ** 2
        if value and self.options.unusable:
            value -= sum(map(self.cost_of, self.trimmed(box)[0]))
        return value

    def candidate_cost(self, box: Box, choice: CandidateCut) -> int:
        """Return the cost of an edge-to-edge cut in a part."""
        if not self.trimmer_is_limited:
            return self.cut_cost
        return self.cost_of(_edge_to_edge(box, choice.axis, choice.at))

    def cost_of(self, cut: Cut) -> int:
        """Return the cost of a cut."""
        by_hand = (
            self.trimmer_is_limited and not cut.knife and not self.options.trimmer.can_make(cut)
        )
        return self.cut_cost * (_KNIFE_COST_FACTOR if by_hand else 1)

    def _cut_out_voids(self, box: Box) -> tuple[list[Cut], list[Box]]:
        """Return the cuts that take the voids out of a free blank and apart, and the offcuts."""
        cuts: list[Cut] = []
        offcuts: list[Box] = []
        sequences: list[_CutSequence] = []
        # Blanks with the same box overlap and never come free, so the first will do.
        blank = self.blanks[box][0]
        for void, guests in zip(blank.voids, blank.nested, strict=True):
            if guests:
                sequences.append(_best_sequence(void, guests, self.options))
            elif self.kept_area(void):
                trims, kept = self.trimmed(void)
                sequences.append(_CutSequence(trims, list(map(to_rect, kept)), 0))
            else:
                continue
            cuts += _void_cuts(box, void, cuts)
        for sequence in sequences:
            cuts += sequence.cuts
            offcuts += map(to_box, sequence.offcuts)
        return cuts, offcuts

    def knife_value(self, part: Part) -> int:
        """Return the value of the offcuts of a part cut with a knife, less the cost of its cuts."""
        cuts, offcuts = self.cut_by_knife(part)
        return sum(map(self.offcut_value, offcuts)) - len(cuts) * self.cut_cost

    def cut_by_knife(self, part: Part) -> tuple[list[Cut], list[Box]]:
        """Return knife cuts and offcuts of a part that no edge-to-edge cut parts."""
        if not self.options.free:
            names = f"{len(part.pieces)} pieces within {to_rect(part.box)}"
            raise NotGuillotineError(f"no edge-to-edge cut parts the {names}")
        if part.box not in self.knife_cuts:
            blanks = [
                blank
                for box in dict.fromkeys(part.pieces)
                for outer in self.blanks[box]
                for blank in outer.with_nested()
            ]
            solids = [blank.solid_boxes() for blank in blanks]
            taken = sorted(box for solid in solids for box in solid)
            left_over = list(
                self._remaining_offcuts(part.box, [*taken, *map(to_box, self.options.unusable)])
            )
            taken += left_over
            edges = [edge for box in left_over for edge in _outline(box, ())]
            for blank in blanks:
                # Its own solid part does not reach into its voids.
                used = [
                    void for void in blank.voids if any(overlap(void, other) for other in taken)
                ]
                edges += _outline(blank.box, used)
            self.knife_cuts[part.box] = _knife_cuts(part.box, edges), left_over
        return self.knife_cuts[part.box]

    def _remaining_offcuts(self, box: Box, taken: Iterable[Box]) -> Iterator[Box]:
        """Yield the largest empty rectangle of a part, then the largest in what remains."""
        empty = [box]
        for other in taken:
            empty = self._subtract(empty, other)
        while empty:
            largest = max(empty, key=lambda box: (to_rect(box).area, [-side for side in box]))
            yield largest
            empty = self._subtract(empty, largest)

    def _subtract(self, empty: list[Box], taken: Box) -> list[Box]:
        """Return the largest empty rectangles worth keeping that a taken place leaves."""
        kept: list[Box] = []
        broken: list[Box] = []
        for box in empty:
            (broken if overlap(box, taken) else kept).append(box)
        rests = {
            rest
            for box in broken
            for axis in (X, Y)
            for rest in (
                split_box(box, axis, taken[axis])[0],
                split_box(box, axis, taken[axis + 2])[1],
            )
            if self.kept_area(rest)
        }
        for rest in sorted(rests, key=lambda box: -to_rect(box).area):
            if not any(within(rest, box) for box in kept):
                kept.append(rest)
        return kept


def _edge_to_edge(box: Box, axis: int, at: int) -> Cut:
    along = 1 - axis
    return Cut(to_rect(box), axis == X, at, box[along], box[along + 2])


_Edge = tuple[int, int, int, int]
"""The axis that it runs across, its place along that axis, and its start and end."""


def _outline(box: Box, voids: Sequence[Box]) -> Iterator[_Edge]:
    """Yield the edges of what a box keeps without some voids; long ones in several parts."""
    lines = [
        sorted({box[axis], box[axis + 2], *(v[axis] for v in voids), *(v[axis + 2] for v in voids)})
        for axis in (X, Y)
    ]
    solid = {
        (column, row)
        for column, (left, right) in enumerate(pairwise(lines[X]))
        for row, (top, bottom) in enumerate(pairwise(lines[Y]))
        if not any(overlap((left, top, right, bottom), void) for void in voids)
    }
    for cell in sorted(solid):
        for axis in (X, Y):
            along = lines[1 - axis]
            start, end = along[cell[1 - axis]], along[cell[1 - axis] + 1]
            for step in (0, 1):
                beside = list(cell)
                beside[axis] += 2 * step - 1
                if tuple(beside) not in solid:
                    yield axis, lines[axis][cell[axis] + step], start, end


def _knife_cuts(box: Box, edges: Sequence[_Edge]) -> list[Cut]:
    """Return edges as cuts, joined where they run on, without the part's own."""
    cuts = []
    for axis in (X, Y):
        joined: list[tuple[int, int, int]] = []
        for at, start, end in sorted(edge[1:] for edge in edges if edge[0] == axis):
            if not box[axis] < at < box[axis + 2]:
                continue
            if joined and joined[-1][0] == at and start <= joined[-1][2]:
                joined[-1] = (at, joined[-1][1], max(end, joined[-1][2]))
            else:
                joined.append((at, start, end))
        cuts += [Cut(to_rect(box), axis == X, *edge, knife=True) for edge in joined]
    return cuts


def _void_cuts(box: Box, void: Box, made: Sequence[Cut]) -> Iterator[Cut]:
    """Yield the edges of a void as cuts in its blank, where none has been made yet."""
    for cut in _knife_cuts(box, list(_outline(void, ()))):
        start = cut.start
        for other in sorted(made, key=lambda cut: cut.start):
            if (other.vertical, other.at) == (cut.vertical, cut.at) and other.end > start:
                if start < other.start:
                    yield cut._replace(start=start, end=min(other.start, cut.end))
                start = max(start, other.end)
        if start < cut.end:
            yield cut._replace(start=start)
