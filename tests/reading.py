"""Plans by chance, and a cutter who follows the words of a printed cut sheet and nothing else."""

from __future__ import annotations

import io
import random
import re
from collections import Counter
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import pdfplumber

from inventory.plan import Part, Plan, PlannedLayout, PlannedOrder, Sheet, Spot
from nester.layouts import Cuts, Effort, Problem, Stock, Want
from nester.measure import Unit, cm, inch, mm, parse_length
from nester.packing import solve
from nester.pieces import Fold, Line, Piece, Point, Score

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
        piece = Piece.rectangle(
            f"{chance.choice(NAMES)} {number}", "all", *sides, upright=chance.random() < 0.2
        )
        if chance.random() < 0.3:
            piece = replace(piece, scores=_folds(piece, step))
        parts.append(Part(paper, piece))
        wants.append(Want(str(number), *sides, chance.randint(1, 5), paper))
    sheet = (cm(50), cm(70)) if unit is not Unit.IN else (inch(20), inch(28))
    stock = tuple(Stock(f"S-{n}", *sheet, None, 2, name) for n, (name, _) in enumerate(PAPERS, 1))
    problem = Problem(tuple(wants), stock, cuts)
    answer = solve(problem, Effort.QUICK)
    swatches = dict(PAPERS)
    layouts = []
    for number, made in enumerate(answer.layouts, 1):
        paper = next(one.paper for one in stock if one.name == made.stock)
        spots = tuple(
            Spot(int(p.name), p.x, p.y, p.width, p.height, p.turned, (1,) * made.copies)
            for p in made.placed
        )
        named = Sheet(
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
    r"(?:; start (?P<start>.+?) and stop (?P<end>.+?) from its (?:left|top) edge)?\.(?= |$)"
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
    """Cuts a sheet as the steps say; knows no plan.

    Parts are told from one another by their size, as at a table; what a step says to go on with
    or to set aside is taken up again when its turn comes.
    """

    def __init__(self, width: int, height: int, unit: Unit) -> None:
        self.unit = unit
        self.waiting = [Box(width, height)]
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
        lines: list[tuple[bool, int, int, int]] = []
        for number, step in enumerate(steps, 1):
            match = _CUT.match(step)
            assert match, step
            assert int(match["number"]) == number, step
            rest = step[match.end() :].strip()
            if not match["knife"]:
                self._edge_to_edge(match, rest)
                continue
            upright = match["way"].lower().startswith("up")
            lines.append((upright, *(self.length(match[name]) for name in ("at", "start", "end"))))
            if rest:
                self._lift(self.size(match["whole"]), lines, rest)
                lines = []
        assert not lines

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

    def _lift(self, part: Box, lines: list[tuple[bool, int, int, int]], rest: str) -> None:
        """Lift what the knife has freed: each thing named must be one whole loose rectangle."""
        match = re.fullmatch(r"Now free: (.+); the rest is scrap\.", rest)
        assert match, rest
        assert part in self.waiting
        self.waiting.remove(part)
        loose = Counter(_loose(part, lines))
        for thing in match[1].split("; "):
            box = self.size(thing)
            assert loose[box], (thing, loose)
            loose[box] -= 1
            self._put(box, thing)

    def _put(self, box: Box, fate: str) -> None:
        if fate.startswith("scrap,"):
            self.scrap += box.width * box.height
        elif re.match(r"(?:go on with|set aside) the ", fate):
            self.waiting.append(box)
        else:
            name = fate.rpartition(", ")[0]
            self.named[name, box] += 1


def _loose(part: Box, lines: list[tuple[bool, int, int, int]]) -> list[Box]:
    """Return the rectangles into which lines cut a part; other shapes are left out.

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
        left, right = min(x for x, _ in group), max(x for x, _ in group) + 1
        top, bottom = min(y for _, y in group), max(y for _, y in group) + 1
        if len(group) == (right - left) * (bottom - top):
            found.append(Box(across[right] - across[left], down[bottom] - down[top]))
    return found
