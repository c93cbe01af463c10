"""Makers' weeks: random stash and orders, ours beside rectpack's best on the same paper and prices.

    python tests/benchmarks/weeks.py --orders 10 50 --weeks 3 --cuts straight

Every week comes from its seed.  Sheets are ample (as many as needed), or short: about four fifths
of the area that the pieces need.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from nester.designs import DESIGNS, paper_for, read_settings
from nester.layouts import Cuts, Effort, Problem, Stock, Want
from nester.measure import Unit, cm, inch
from nester.packing import Claim, solve, solve_orders
from nester.packing.model import split_by_paper
from nester.packing.pool import standing
from nester.packing.rectpack_start import all_rectpack_plans
from nester.pieces import Piece, Turn
from nester.verify import require

METRIC = ((56, 71), (50, 70), (70, 100), (21, "29.7"))
INCHES = ((12, 12), (20, 30), ("8.5", 11))
PAPERS = (
    ("night card", "plain", "0.00052"),
    ("sand card", "plain", "0.00048"),
    ("brick card", "plain", "0.00050"),
    ("copper shimmer", "metallic", "0.0018"),
    ("frost shimmer", "metallic", "0.0016"),
    ("thistle print", "directional", "0.0011"),
    ("ripple print", "patterned", "0.0009"),
    ("satin photo", "photo", "0.0021"),
)
"""Name, kind, and price of a square centimetre of it in EUR (invented)."""


@dataclass(frozen=True)
class Week:
    """A problem and the orders behind it."""

    problem: Problem
    claims: tuple[Claim, ...]

    @property
    def pieces(self) -> int:
        return sum(want.quantity for want in self.problem.wants)


def make_week(seed: int, orders: int, cuts: Cuts, *, short: bool = False, times: int = 1) -> Week:
    """Make a week of so many orders; `times` multiplies every quantity."""
    chance = Random(f"week {seed}")
    plain = [name for name, kind, _ in PAPERS if kind == "plain"]
    fancy = [name for name, kind, _ in PAPERS if kind in ("metallic", "directional", "patterned")]
    index: dict[tuple[Piece, str], int] = {}
    claims = []
    for number in range(1, orders + 1):
        design, texts, unit = _order(chance)
        made = DESIGNS[design]
        papers = {"all": chance.choice(plain), "mat": chance.choice(fancy), "photo": "satin photo"}
        wanted: Counter[str] = Counter()
        copies = chance.choice((1, 1, 1, 2, 2, 3)) * times
        for piece in made.pieces(read_settings(made, texts, unit), unit):
            paper = paper_for(piece.role, papers) or papers["all"]
            key = (replace(piece, quantity=1), paper)
            place = index.setdefault(key, len(index))
            wanted[str(place)] += piece.quantity * copies
        claims.append(Claim(number, wanted))
    totals: Counter[str] = Counter()
    for claim in claims:
        totals.update(claim.pieces)
    directional = {name for name, kind, _ in PAPERS if kind == "directional"}
    wants = tuple(
        Want(
            str(place),
            piece.width,
            piece.height,
            totals[str(place)],
            paper,
            Turn.NONE if piece.upright and paper in directional else Turn.ANY,
        )
        for (piece, paper), place in index.items()
    )
    return Week(Problem(wants, _stock(chance, wants, short), cuts), tuple(claims))


def _order(chance: Random) -> tuple[str, dict[str, str], Unit]:
    """Draw a design and its sizes; four in five are boxes of tiers."""
    inches = chance.random() < 0.3
    unit = Unit.IN if inches else Unit.CM
    if chance.random() < 0.2:
        return chance.choice(("tray-box", "folded-card", "gift-tag")), {}, unit
    mats = chance.choice(("outside", "both"))
    texts = {"mats": mats, "photos": str(chance.randrange(0, 9, 2)), "cards": "4"}
    if inches:
        texts |= {"blank": chance.choice(("12in", "11in", "13.5in")), "tiers": "3"}
    else:
        texts |= {"panel": f"{chance.choice((12, 14, 15, 16, 18))}cm", "tiers": "4"}
    return "layered-box", texts, unit


def _stock(chance: Random, wants: tuple[Want, ...], short: bool) -> tuple[Stock, ...]:
    stock = []
    for paper, _, price in PAPERS:
        area = sum(w.width * w.height * w.quantity for w in wants if w.paper == paper)
        if not area:
            continue
        sizes = [(cm(Fraction(w)), cm(Fraction(h))) for w, h in chance.sample(METRIC[:3], 2)]
        sizes += [(inch(Fraction(w)), inch(Fraction(h))) for w, h in chance.sample(INCHES, 1)]
        for number, (width, height) in enumerate(sizes):
            cost = Fraction(price) * Fraction(width * height, cm(1) ** 2)
            # Large sheets are a little cheaper for their area.
            cost *= Fraction(100 - 4 * (width * height > cm(50) * cm(60)), 100)
            share = area * 4 // (5 * len(sizes) * width * height)
            quantity = max(1, share) if short else None
            stock.append(
                Stock(f"{paper} {number}", width, height, quantity, round_coin(cost), paper)
            )
        for number in range(chance.randrange(3, 9)):
            width, height = cm(chance.randrange(8, 40)), cm(chance.randrange(8, 60))
            worth = Fraction(price) * Fraction(width * height, cm(1) ** 2) / 2
            stock.append(
                Stock(f"{paper} offcut {number}", width, height, 1, round_coin(worth), paper)
            )
    return tuple(stock)


def round_coin(value: Fraction) -> Fraction:
    return Fraction(round(value * 100), 100)


def rectpack_cost(problem: Problem, settings: int) -> Fraction | None:
    """Return the cost of rectpack's best of so many settings, paper by paper; None if unmade."""
    tasks, _ = split_by_paper(problem)
    total = Fraction(0)
    for task in tasks:
        best = None
        for number, plan in enumerate(all_rectpack_plans(task, problem.cuts, most=10**6)):
            unmade, cost, _ = standing(task, plan)
            if not unmade and (best is None or cost < best):
                best = cost
            if number + 1 >= settings:
                break
        if best is None:
            return None
        total += best * task.price_unit
    return total


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--orders", type=int, nargs="+", default=[10, 50])
    parser.add_argument("--weeks", type=int, default=3)
    parser.add_argument("--cuts", type=Cuts, default=Cuts.STRAIGHT)
    parser.add_argument("--effort", type=Effort, default=Effort.NORMAL)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--times", type=int, default=1, help="multiply every quantity")
    parser.add_argument("--rectpack", type=int, default=36, help="settings tried; 0: none")
    given = parser.parse_args()
    print(
        "| orders | seed | pieces | cost | bound | gap % | rectpack | saved % | first s | s | MB |"
    )
    print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for orders in given.orders:
        for seed in range(1, given.weeks + 1):
            week = make_week(seed, orders, given.cuts, short=given.short, times=given.times)
            print(_row(week, seed, orders, given), flush=True)


def _row(week: Week, seed: int, orders: int, given: argparse.Namespace) -> str:
    first: list[float] = []
    begin = time.perf_counter()

    def tell(progress: object) -> None:
        if not first:  # the first word comes once every paper has a plan
            first.append(time.perf_counter() - begin)

    if given.short:
        verdict = solve_orders(week.problem, week.claims, given.effort, on_progress=tell)
        problem, answer = verdict.problem, verdict.answer
        made = f"{len(verdict.made)} of {orders}"
    else:
        problem, answer = week.problem, solve(week.problem, given.effort, on_progress=tell)
        made = str(orders)
    seconds = time.perf_counter() - begin
    require(problem, answer)
    other = rectpack_cost(problem, given.rectpack) if given.rectpack else None
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    cells = [
        made,
        str(seed),
        str(week.pieces),
        f"{float(answer.cost):.2f}",
        f"{float(answer.bound):.2f}",
        f"{float(100 * answer.gap):.1f}",
        f"{float(other):.2f}" if other else "",
        f"{float(100 * (1 - answer.cost / other)):.1f}" if other else "",
        f"{first[0]:.2f}" if first else "",
        f"{seconds:.1f}",
        str(memory),
    ]
    return f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    main()
