"""Plans by chance, and a cutter who follows the words of a printed cut sheet and nothing else."""

from __future__ import annotations

import io
import random
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from itertools import pairwise

import pdfplumber

from inventory.core.plan import (
    PartType,
    Plan,
    PlannedLayout,
    PlannedOrder,
    PlannedPlacement,
    PlannedSheet,
)
from nester.core.geometry import voids
from nester.core.lengths import Unit, cm, inch, mm, parse_length
from nester.core.piece import Fold, Line, Piece, Point, Score
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve

__all__ = ["Box", "Cutter", "random_plan", "steps_in"]

PAPERS = (("Coal card", "#1e1e21"), ("Sand card", "#d9c7a0"), ("Fern print", None))
NAMES = ("tier", "lid", "mat", "pull-out card", "tag", "tray with a long name", "photo")


def random_plan(seed: int, *, units: tuple[Unit, ...] = tuple(Unit)) -> Plan:
    """Return a plan of one or two layouts that the program itself made."""
    chance = random.Random(seed)
    unit = chance.choice(units)
    step = {Unit.CM: mm(1), Unit.MM: mm(1), Unit.IN: inch("1/16")}[unit]
    cuts = chance.choice(list(Cuts))
    parts, wants = [], []
    for number in range(chance.randint(1, 6)):
        paper = chance.choice(PAPERS)[0]
        sides = (chance.randint(30, 280) * step, chance.randint(30, 280) * step)
        if unit is Unit.IN:
            sides = (sides[0] * 2 // 3 // step * step, sides[1] * 2 // 3 // step * step)
        name = f"{chance.choice(NAMES)} {number}"
        if chance.random() < 0.35:
            piece = _cross(name, chance.randint(30, 80) * step, chance.randint(30, 80) * step)
        else:
            piece = Piece.rectangle(name, "all", *sides, upright=chance.random() < 0.2)
        if chance.random() < 0.3:
            piece = replace(piece, scores=_folds(piece, step))
        parts.append(PartType(paper, piece))
        many, gone = chance.randint(1, 5), voids(piece)
        wants.append(Demand(str(number), piece.width, piece.height, many, paper, voids=gone))
    sheet = (cm(50), cm(70)) if unit is not Unit.IN else (inch(20), inch(28))
    stock = tuple(
        StockItem(f"S-{n}", *sheet, None, 2, name) for n, (name, _) in enumerate(PAPERS, 1)
    )
    problem = Problem(tuple(wants), stock, cuts)
    answer = solve(problem, Effort.QUICK)
    swatches = dict(PAPERS)
    layouts = []
    for number, made in enumerate(answer.layouts, 1):
        paper = next(one.paper for one in stock if one.name == made.stock)
        spots = tuple(
            PlannedPlacement(int(p.name), p.x, p.y, p.width, p.height, p.turned, (1,) * made.copies)
            for p in made.placed
        )
        named = PlannedSheet(
            made.stock, "sheet", paper, swatches[paper], *sheet, chance.choice(("Shelf 2", None)),
            Decimal(2),
        )  # fmt: skip
        layouts.append(PlannedLayout(number, named, made.copies, spots, made.cuts, made.offcuts))
    return Plan(
        batch=seed + 1,
        made_on=date(2027, 3, 1),
        shop="The paper nook",
        unit=unit,
        currency="EUR",
        cuts=cuts,
        effort=Effort.QUICK,
        orders=(PlannedOrder(1, "Ines", "layered-box", 1, date(2027, 3, 9), True),),
        parts=tuple(parts),
        layouts=tuple(layouts),
        lacking=(),
        restock=(),
        cost=Decimal(str(int(answer.cost))),
        bound=Decimal(0),
    )


def _cross(name: str, across: int, down: int) -> Piece:
    """Return a piece of five panels, the middle one so wide and high."""
    rows = ((1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2), (0, 1))
    corners = (*rows, (1, 1))
    return Piece(name, "all", tuple(Point(x * across, y * down) for x, y in corners))


def _folds(piece: Piece, step: int) -> tuple[Score, ...]:
    at = piece.width // 3 // step * step
    down = piece.height // 2 // step * step
    return (
        Score(Line(Point(at, 0), Point(at, piece.height)), Fold.VALLEY),
        Score(Line(Point(0, down), Point(piece.width, down)), Fold.MOUNTAIN, 180),
    )


@dataclass(frozen=True)
class Box:
    """A sheet or a part of it on the cutter's table."""

    width: int
    height: int


_CUT = re.compile(
    r"(?P<number>\d+)\. (?P<knife>Knife, )?(?P<way>[Uu]p and down|[Aa]cross),"
    r" (?P<at>.+?) from the (?:left|top) edge of (?:the )?(?P<whole>.+?)"
    r"(?:; start (?P<start>.+?)(?: and stop (?P<end>.+?) from its (?:left|top) edge"
    r"| from its (?:left|top) edge and cut to its (?:right|bottom) edge))?\.(?= |$)"
)
_STEP = re.compile(r"(?=(?:^| )\d+\. (?:Up and down|Across|Knife, ))")


def steps_in(pdf: bytes) -> list[list[str]]:
    """Return the steps of every cut sheet of a PDF, each as one line, as a reader finds them."""
    sheets: list[list[str]] = []
    with pdfplumber.open(io.BytesIO(pdf)) as book:
        words: list[str] = []
        for page in book.pages:
            head = (page.extract_text() or "").split("\n")[0]
            begins = re.match(r"Layout \d+: cut", head) and not head.endswith("continued")
            if begins and words:
                sheets.append(_parted(" ".join(words)))
                words = []
            words += _columns(page)
        sheets.append(_parted(" ".join(words)))
    return sheets


def _columns(page: pdfplumber.page.Page) -> list[str]:
    """Return the words of the steps: the larger letters below the picture, column by column."""
    middle = page.width / 2
    letters = page.filter(
        lambda one: one["object_type"] != "char" or abs(one["size"] - 10.0) < 0.01
    )
    found = []
    for left, right in ((0, middle), (middle, page.width)):
        text = letters.crop((left, 0, right, page.height)).extract_text(
            x_tolerance=1.5, y_tolerance=1.5
        )
        found += (text or "").split("\n")
    return found


def _parted(text: str) -> list[str]:
    return [step.strip() for step in _STEP.split(text) if step.strip()]


class Cutter:
    """Cuts a sheet as the steps say; knows no plan, only what each piece looks like.

    Parts are told from one another by their size, as at a table; what a step says to go on with
    or to set aside is taken up again when its turn comes.

    Parameters
    ----------
    outlines
        By name, the outlines of pieces that are no rectangles, as drawn on their score sheets.
    """

    def __init__(
        self, width: int, height: int, unit: Unit, outlines: Mapping[str, Outline] | None = None
    ) -> None:
        self.unit = unit
        self.outlines = outlines or {}
        self.waiting = [Box(width, height)]
        self.blanks: list[_Blank] = []
        self.named: Counter[tuple[str, Box]] = Counter()
        self.scrap = 0

    def length(self, text: str) -> int:
        assert "≈" not in text, text
        return 0 if re.fullmatch(r"0 \w+", text) else parse_length(text, self.unit)

    def size(self, text: str) -> Box:
        match = re.search(r"([\d ./]+) × ([\d ./]+ (?:cm|mm|in))", text)
        assert match, text
        width = parse_length(f"{match[1]} {self.unit}", self.unit)
        return Box(width, parse_length(match[2], self.unit))

    def follow(self, steps: list[str]) -> None:
        lines: list[_Line] = []
        blank: _Blank | None = None
        for number, step in enumerate(steps, 1):
            match = _CUT.match(step)
            assert match, step
            assert int(match["number"]) == number, step
            rest = step[match.end() :].strip()
            named = match["knife"] and not re.search(r" (?:sheet|part)$", match["whole"])
            if blank is not None and not (named and number <= blank.last):
                self._finish(blank)
                blank = None
            if not match["knife"]:
                assert not lines
                self._edge_to_edge(match, rest)
                continue
            upright = match["way"].lower().startswith("up")
            if named:
                blank = blank or self._take_up(number)
            whole = blank.box if named and blank else self.size(match["whole"])
            far = whole.height if upright else whole.width
            end = self.length(match["end"]) if match["end"] else far
            line = (upright, self.length(match["at"]), self.length(match["start"]), end)
            if named:
                assert blank.name == match["whole"]
                self._cut_out(blank, line, rest)
                continue
            lines.append(line)
            if rest:
                self._lift(self.size(match["whole"]), lines, rest)
                lines = []
        if blank is not None:
            self._finish(blank)
        assert not lines
        assert not self.blanks

    def _edge_to_edge(self, match: re.Match[str], rest: str) -> None:
        part = self.size(match["whole"])
        assert part in self.waiting, (part, self.waiting)
        self.waiting.remove(part)
        at = self.length(match["at"])
        if match["way"].lower().startswith("up"):
            halves = (Box(at, part.height), Box(part.width - at, part.height))
            sides = ("Left", "Right")
        else:
            halves = (Box(part.width, at), Box(part.width, part.height - at))
            sides = ("Top", "Bottom")
        fates = re.fullmatch(rf"{sides[0]}: (.+?)\. {sides[1]}: (.+)\.", rest)
        assert fates, rest
        for half, fate in zip(halves, fates.groups(), strict=True):
            assert self.size(fate) == half, (fate, half)
            self._put(half, fate)

    def _take_up(self, number: int) -> _Blank:
        """Take up the blank that was set aside for cuts from this one on."""
        (found,) = [blank for blank in self.blanks if blank.first == number]
        self.blanks.remove(found)
        return found

    def _cut_out(self, blank: _Blank, line: _Line, rest: str) -> None:
        """Make a knife cut in a blank, and take away what comes loose with it, if it is told."""
        before = {one.look for one in _regions(blank.box, blank.lines)}
        blank.lines.append(line)
        loose = [one for one in _regions(blank.box, blank.lines) if one.look not in before]
        for fate in re.findall(
            r"(?:Corner|Piece) cut out: (.+?)\.(?= (?:Corner|Piece) cut|$)", rest
        ):
            freed = [one for one in loose if one.box == self.size(fate) and one.whole]
            assert freed, (fate, loose)
            loose.remove(freed[0])
            blank.lifted.append(freed[0].look)
            self._put(freed[0].box, fate)

    def _finish(self, blank: _Blank) -> None:
        regions = _regions(blank.box, blank.lines)
        (kept,) = [one for one in regions if one.look not in blank.lifted]
        assert kept.fits(self.outlines[blank.name]), blank
        self.named[blank.name, blank.box] += 1

    def _lift(self, part: Box, lines: list[_Line], rest: str) -> None:
        """Lift what the knife has freed: each thing named must be one loose piece of paper."""
        match = re.fullmatch(r"Now free: (.+); the rest is scrap\.", rest)
        assert match, rest
        assert part in self.waiting
        self.waiting.remove(part)
        loose = _regions(part, lines)
        for thing in match[1].split("; "):
            box = self.size(thing)
            name = thing.rpartition(", ")[0]
            outline = self.outlines.get(name)
            freed = [
                one
                for one in loose
                if one.box == box and (one.fits(outline) if outline else one.whole)
            ]
            assert freed, (thing, loose)
            loose.remove(freed[0])
            self.named[name, box] += 1

    def _put(self, box: Box, fate: str) -> None:
        blank = re.fullmatch(
            r"(.+), [^,;]+; (?:go on with it|set it aside), for cuts? (\d+)(?:–(\d+))?", fate
        )
        if fate.startswith("scrap,"):
            self.scrap += box.width * box.height
        elif blank:
            last = int(blank[3] or blank[2])
            self.blanks.append(_Blank(blank[1], box, int(blank[2]), last))
        elif re.match(r"(?:go on with|set aside) the ", fate):
            self.waiting.append(box)
        else:
            name = fate.rpartition(", ")[0]
            self.named[name, box] += 1


_Line = tuple[bool, int, int, int]
"""Whether it runs up and down, where, from and to where."""
Outline = tuple[Point, ...]


@dataclass
class _Blank:
    """A piece's blank out of which corners are cut, and the steps that do it and use them."""

    name: str
    box: Box
    first: int
    last: int
    lines: list[_Line] = field(default_factory=list)
    lifted: list[tuple[tuple[int, int], Box]] = field(default_factory=list)


@dataclass(frozen=True)
class _Region:
    """Paper that hangs together: rectangles beside one another, by left, top, right, bottom."""

    cells: frozenset[tuple[int, int, int, int]]

    @property
    def corner(self) -> tuple[int, int]:
        return min(cell[0] for cell in self.cells), min(cell[1] for cell in self.cells)

    @property
    def box(self) -> Box:
        (left, top) = self.corner
        right, bottom = max(cell[2] for cell in self.cells), max(cell[3] for cell in self.cells)
        return Box(right - left, bottom - top)

    @property
    def look(self) -> tuple[tuple[int, int], Box]:
        """Where it lies and how large it is, however finely it is parted into cells."""
        return self.corner, self.box

    @property
    def whole(self) -> bool:
        """Whether it is a rectangle."""
        area = sum((right - left) * (bottom - top) for left, top, right, bottom in self.cells)
        return area == self.box.width * self.box.height

    def fits(self, outline: Outline) -> bool:
        """Tell whether it is the piece of an outline, as drawn or turned.

        What is not of the piece may hang on it only whole, to be cut away when it is scored: a
        corner in which nothing else lies.
        """
        wide, high = max(point.x for point in outline), max(point.y for point in outline)
        turned = tuple(Point(high - point.y, point.x) for point in outline)
        return any(
            self._is(one)
            for one, box in ((outline, Box(wide, high)), (turned, Box(high, wide)))
            if box == self.box
        )

    def _is(self, outline: Outline) -> bool:
        (left, top) = self.corner
        xs = {point.x + left for point in outline} | {x for cell in self.cells for x in cell[::2]}
        ys = {point.y + top for point in outline} | {y for cell in self.cells for y in cell[1::2]}
        parts = {
            (x1, y1, x2, y2) for x1, x2 in pairwise(sorted(xs)) for y1, y2 in pairwise(sorted(ys))
        }
        there = {
            part
            for part in parts
            if any(a <= part[0] and b <= part[1] and part[2] <= c and part[3] <= d
                   for a, b, c, d in self.cells)
        }  # fmt: skip
        piece = {part for part in parts if _inside(part, outline, left, top)}
        beside = _hanging_together(parts - piece)
        return piece <= there and all(group <= there or not group & there for group in beside)


def _inside(part: tuple[int, int, int, int], outline: Outline, left: int, top: int) -> bool:
    """Tell whether the middle of a cell lies in an outline: a ray to the right crosses it oddly."""
    x, y = part[0] + part[2] - 2 * left, part[1] + part[3] - 2 * top
    crossed = 0
    for one, other in zip(outline, (*outline[1:], outline[0]), strict=True):
        if one.x == other.x and 2 * one.x > x:
            crossed += min(one.y, other.y) * 2 < y < max(one.y, other.y) * 2
    return crossed % 2 == 1


def _hanging_together(
    parts: set[tuple[int, int, int, int]],
) -> list[set[tuple[int, int, int, int]]]:
    """Return groups of cells of a grid that share sides."""
    left, groups = set(parts), []
    while left:
        group, todo = set(), [left.pop()]
        while todo:
            one = todo.pop()
            group.add(one)
            near = {
                other
                for other in left
                if (other[0] in (one[0], one[2]) or other[2] == one[0])
                and (other[1] in (one[1], one[3]) or other[3] == one[1])
                and ((other[0] == one[0]) != (other[1] == one[1]))
            }
            left -= near
            todo += near
        groups.append(group)
    return groups


def _regions(part: Box, lines: list[_Line]) -> list[_Region]:
    """Return what lines cut a part into.

    The part is a grid of cells between all coordinates; cells hang together where no line is.
    """
    xs = {0, part.width} | {at for upright, at, _, _ in lines if upright}
    ys = {0, part.height} | {at for upright, at, _, _ in lines if not upright}
    for upright, _, start, end in lines:
        (ys if upright else xs).update((start, end))
    across, down = sorted(xs), sorted(ys)
    walls = set()
    for upright, at, start, end in lines:
        along = down if upright else across
        for near in along[:-1]:
            if start <= near < end:
                walls.add((upright, at, near))
    cells = {(x, y) for x in range(len(across) - 1) for y in range(len(down) - 1)}
    found = []
    while cells:
        group, todo = set(), [cells.pop()]
        while todo:
            x, y = todo.pop()
            group.add((x, y))
            near = [
                (x + 1, y, (True, across[x + 1], down[y])),
                (x - 1, y, (True, across[x], down[y])),
                (x, y + 1, (False, down[y + 1], across[x])),
                (x, y - 1, (False, down[y], across[x])),
            ]
            for x2, y2, wall in near:
                if (x2, y2) in cells and wall not in walls:
                    cells.remove((x2, y2))
                    todo.append((x2, y2))
        found.append(
            _Region(frozenset((across[x], down[y], across[x + 1], down[y + 1]) for x, y in group))
        )
    return found
