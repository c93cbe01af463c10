"""Plans by chance whose words are followed: what they need, and what is wrong with what is cut."""

from __future__ import annotations

import random
from collections import Counter
from fractions import Fraction

from inventory.documents.format.languages import translator_for
from nester.core.lengths import UNITS_PER_MM, Unit, inch, mm
from nester.core.problem import (
    Cuts,
    CuttingPlan,
    Demand,
    Effort,
    Layout,
    Margins,
    Problem,
    Rect,
    StockItem,
    Trimmer,
)
from nester.cutting import MEASURE_TOLERANCE, PrintedMeasures, cutting_instructions
from nester.packing import solve
from nester.verify.measures import faults_of_measures
from tests.follow_words import TOLERANCE, CutPiece, WordsError, follow

__all__ = ["faults_of_plan", "plan_to_follow"]

SHEETS = {
    Unit.MM: (mm("540.1"), mm(700)),
    Unit.CM: (inch(12), inch(12)),
    Unit.IN: (mm(210), mm(297)),
}


def plan_to_follow(seed: int) -> tuple[Problem, CuttingPlan, Unit]:
    """Return a problem in which sheets and pieces are of different units, its plan, and a unit."""
    chance = random.Random(seed)
    unit = chance.choice(list(Unit))
    width, height = chance.choice([*SHEETS.values(), (mm(500), mm(700)), (inch(20), inch(28))])
    step = chance.choice([mm("0.01"), mm("0.1"), mm(1), inch("1/64"), inch("1/16"), inch(1) // 3])
    demands: list[Demand] = []
    for number in range(chance.randint(1, 5)):
        sides = [
            max(1, chance.randint(side // 12, side // 2) // step) * step for side in (width, height)
        ]
        if chance.random() < 0.3:
            # A full row, or one that leaves a sliver.
            sides[0] = (width - chance.choice([0, mm("0.1"), mm("0.2")])) // chance.randint(1, 7)
        gone: tuple[Rect, ...] = ()
        if chance.random() < 0.25:
            third, deep = sides[0] // 3, sides[1] // 3
            gone = tuple(
                Rect(x, y, third, deep) for x in (0, sides[0] - third) for y in (0, sides[1] - deep)
            )
        demands.append(Demand(f"piece {number}", *sides, chance.randint(1, 7), voids=gone))
    margin = chance.choice([0, 0, mm(3), inch("1/8")])
    damaged = ()
    if chance.random() < 0.25:
        x, y = chance.randrange(width * 3 // 4), chance.randrange(height * 3 // 4)
        damaged = (Rect(x, y, width // 6, height // 6),)
    stock = StockItem(
        "S-1", width, height, 3, Fraction(1), margins=Margins(*[margin] * 4), damaged=damaged
    )
    cuts = chance.choice(list(Cuts))
    straight = cuts is Cuts.STRAIGHT
    trimmer = Trimmer(stages=chance.choice([None, None, 2, 3]) if straight else None)
    gap = chance.choice([0, 0, mm(2), inch("1/16")])
    problem = Problem(tuple(demands), (stock,), cuts, gap=gap, trimmer=trimmer)
    return problem, solve(problem, Effort.QUICK), unit


def faults_of_plan(problem: Problem, plan: CuttingPlan, unit: Unit) -> list[str]:
    """Follow the words of all layouts in both languages, and tell what comes out wrong."""
    faults = []
    for number, layout in enumerate(plan.layouts, 1):
        printed = PrintedMeasures(layout, unit)
        measures = list(map(printed.of, layout.cuts))
        for _, message in faults_of_measures(layout, measures, MEASURE_TOLERANCE):
            faults.append(f"layout {number}, {unit}, the judge: {message}")
        for language in ("en", "de"):
            where = f"layout {number}, {unit}, {language}"
            words = cutting_instructions(
                layout, unit, translator=translator_for(language), trimmer=problem.trimmer
            )
            if not words:
                continue
            hollows = {
                demand.name: Fraction(sum(void.area for void in demand.voids), UNITS_PER_MM**2)
                for demand in problem.demands
                if demand.voids
            }
            size = (_in_mm(problem.stock[0].width), _in_mm(problem.stock[0].height))
            try:
                made = follow(*size, list(words), language, hollows)
            except WordsError as error:
                faults.append(f"{where}: {error}")
                continue
            faults += [f"{where}: {fault}" for fault in _faults(problem, layout, made)]
    return faults


def _faults(problem: Problem, layout: Layout, made: list[CutPiece]) -> list[str]:
    wanted = Counter(piece.name for piece in layout.placed)
    got = Counter(piece.name for piece in made if piece.name in wanted)
    faults = [] if got == wanted else [f"wanted {dict(wanted)}, cut {dict(got)}"]
    if len(made) - got.total() != len(layout.offcuts):
        faults.append("not all offcuts come of it")
    sizes = {
        demand.name: tuple(sorted((_in_mm(demand.width), _in_mm(demand.height))))
        for demand in problem.demands
    }
    bad = [tuple(map(_in_mm, (r.x, r.y, r.right, r.bottom))) for r in problem.stock[0].unusable]
    for piece in made:
        if piece.name not in sizes:
            continue
        sides = sorted((piece.right - piece.left, piece.bottom - piece.top))
        off = max(abs(one - other) for one, other in zip(sides, sizes[piece.name], strict=True))
        if off > TOLERANCE:
            faults.append(f"{piece.name} is off by {float(off):.3f} mm")
        if not any(demand.voids for demand in problem.demands):
            for left, top, right, bottom in bad:
                into = min(piece.right - left, right - piece.left,
                           piece.bottom - top, bottom - piece.top)  # fmt: skip
                if into > TOLERANCE:
                    faults.append(f"{piece.name} reaches {float(into):.3f} mm into what is damaged")
    return faults


def _in_mm(length: int) -> Fraction:
    return Fraction(length, UNITS_PER_MM)
