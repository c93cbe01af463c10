"""Makers' weeks: random stash and orders, ours beside rectpack's best on the same paper and prices.

    python tests/benchmarks/weeks.py --orders 10 50 --weeks 3 --cuts straight

Every week comes from its seed.  Sheets are ample (as many as needed), or with `--short` about four
fifths of the area that the pieces need; then orders are counted, beside those that are made if
they are let in one by one, most urgent first.  Tiers leave their corners to other pieces, unless
`--rectangles`; rectpack knows blanks only.  With `--times 10` each week is run again with every
quantity ten times as large, and the ratio of times is told.  Each run is a process of its own.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from multiprocessing import get_context
from random import Random

from nester.core.geometry import voids
from nester.core.lengths import Unit, cm, inch
from nester.core.piece import Piece, Turn
from nester.core.problem import MIN_OFFCUT_SIDE, Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.designs import DESIGNS, paper_for, read_settings
from nester.packing import OrderDemand, solve, solve_orders
from nester.packing.orders.whole_orders import problem_for_orders
from nester.packing.search.rectpack_start import all_rectpack_plans
from nester.packing.task.pattern_pool import objective
from nester.packing.task.task import tasks_by_paper
from nester.verify import require_valid

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


_OF_OTHERS = resource.RUSAGE_CHILDREN


@dataclass(frozen=True)
class Week:
    """A problem, the orders behind it, and the pieces with their papers that its wants number."""

    problem: Problem
    claims: tuple[OrderDemand, ...]
    parts: tuple[tuple[Piece, str], ...]

    @property
    def pieces(self) -> int:
        return sum(want.quantity for want in self.problem.demands)


def make_week(
    seed: int,
    orders: int,
    cuts: Cuts,
    *,
    short: bool = False,
    times: int = 1,
    boxes: int = 80,
    inches: int = 30,
    rectangles: bool = False,
) -> Week:
    """Make a week of so many orders.

    Parameters
    ----------
    short
        Paper does not suffice for all.
    times
        Multiplies every quantity.
    boxes, inches
        Chances in a hundred that an order is a box of tiers, and that it is measured in inches.
    rectangles
        Do without the corners of tiers.
    """
    chance = Random(f"week {seed}")
    plain = [name for name, kind, _ in PAPERS if kind == "plain"]
    fancy = [name for name, kind, _ in PAPERS if kind in ("metallic", "directional", "patterned")]
    index: dict[tuple[Piece, str], int] = {}
    claims = []
    for number in range(1, orders + 1):
        design, texts, unit = _order(chance, boxes, inches)
        made = DESIGNS[design]
        papers = {"all": chance.choice(plain), "mat": chance.choice(fancy), "photo": "satin photo"}
        wanted: Counter[str] = Counter()
        copies = chance.choice((1, 1, 1, 2, 2, 3)) * times
        for piece in made.pieces(read_settings(made, texts, unit), unit):
            paper = paper_for(piece.role, papers) or papers["all"]
            key = (replace(piece, quantity=1), paper)
            place = index.setdefault(key, len(index))
            wanted[str(place)] += piece.quantity * copies
        due = date(2024, 3, 4) + timedelta(days=7 * number // (orders + 1))
        claims.append(OrderDemand(number, wanted, due))
    totals: Counter[str] = Counter()
    for claim in claims:
        totals.update(claim.pieces)
    directional = {name for name, kind, _ in PAPERS if kind == "directional"}
    smallest: dict[str, int] = {}
    for piece, paper in index:
        side = min(piece.width, piece.height)
        smallest[paper] = min(side, smallest.get(paper, side))

    def gone(piece: Piece, paper: str) -> tuple[Rect, ...]:
        if rectangles or piece.is_rectangle:
            return ()
        return voids(piece, min(MIN_OFFCUT_SIDE, smallest[paper]))

    wants = tuple(
        Demand(
            str(place),
            piece.width,
            piece.height,
            totals[str(place)],
            paper,
            Turn.NONE if piece.upright and paper in directional else Turn.ANY,
            gone(piece, paper),
        )
        for (piece, paper), place in index.items()
    )
    problem = Problem(wants, _stock(chance, wants, short), cuts)
    return Week(problem, tuple(claims), tuple(index))


def _order(chance: Random, boxes: int, inches: int) -> tuple[str, dict[str, str], Unit]:
    """Draw a design and its sizes."""
    in_inches = chance.random() < inches / 100
    unit = Unit.IN if in_inches else Unit.CM
    if chance.random() >= boxes / 100:
        return chance.choice(("tray-box", "folded-card", "gift-tag")), {}, unit
    mats = chance.choice(("outside", "both"))
    texts = {"mats": mats, "photos": str(chance.randrange(0, 9, 2)), "cards": "4"}
    if in_inches:
        texts |= {"blank": chance.choice(("12in", "11in", "13.5in")), "tiers": "3"}
    else:
        texts |= {"panel": f"{chance.choice((12, 14, 15, 16, 18))}cm", "tiers": "4"}
    return "layered-box", texts, unit


def _stock(chance: Random, wants: tuple[Demand, ...], short: bool) -> tuple[StockItem, ...]:
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
                StockItem(f"{paper} {number}", width, height, quantity, round_coin(cost), paper)
            )
        for number in range(chance.randrange(3, 9)):
            width, height = cm(chance.randrange(8, 40)), cm(chance.randrange(8, 60))
            worth = Fraction(price) * Fraction(width * height, cm(1) ** 2) / 2
            stock.append(
                StockItem(f"{paper} offcut {number}", width, height, 1, round_coin(worth), paper)
            )
    return tuple(stock)


def round_coin(value: Fraction) -> Fraction:
    return Fraction(round(value * 100), 100)


def rectpack_cost(problem: Problem, settings: int) -> Fraction | None:
    """Return the cost of rectpack's best of so many settings, paper by paper; None if unmade."""
    tasks, _ = tasks_by_paper(problem)
    total = Fraction(0)
    for task in tasks:
        best = None
        for number, plan in enumerate(all_rectpack_plans(task, problem.cuts, max_pieces=10**6)):
            unmade, cost, _ = objective(task, plan)
            if not unmade and (best is None or cost < best):
                best = cost
            if number + 1 >= settings:
                break
        if best is None:
            return None
        total += best * task.price_unit
    return total


def in_turn(week: Week) -> int:
    """Return how many orders are made if each is let in for which a quick search finds room."""
    made: list[OrderDemand] = []
    for claim in week.claims:
        if not solve(problem_for_orders(week.problem, [*made, claim]), Effort.QUICK).unplaced:
            made.append(claim)
    return len(made)


@dataclass(frozen=True)
class Run:
    """What one run has shown; seconds are of all processors, with those of the clock in `clock`."""

    made: str
    pieces: int
    cost: Fraction
    bound: Fraction
    rectpack: Fraction | None
    first: float
    seconds: float
    clock: float
    megabytes: int


def run(seed: int, orders: int, given: argparse.Namespace, times: int) -> Run:
    """Plan a week, and let the judge see the plan."""
    week = make_week(
        seed,
        orders,
        given.cuts,
        short=given.short,
        times=times,
        boxes=given.boxes,
        inches=given.inches,
        rectangles=given.rectangles,
    )
    first: list[float] = []
    begin, clock = time.process_time(), time.perf_counter()

    def tell(progress: object) -> None:
        if not first:  # the first word comes once every paper has a plan
            first.append(time.process_time() - begin)

    if given.short:
        verdict = solve_orders(
            week.problem, week.claims, given.effort, processes=given.processes, on_progress=tell
        )
        problem, answer = verdict.problem, verdict.cutting_plan
        made = f"{len(verdict.made)} of at most {verdict.max_orders}"
    else:
        problem = week.problem
        answer = solve(problem, given.effort, processes=given.processes, on_progress=tell)
        made = str(orders)
    mine, theirs = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, _OF_OTHERS))
    seconds = time.process_time() - begin + theirs.ru_utime + theirs.ru_stime
    clock = time.perf_counter() - clock
    # Of the others only the largest is told.
    others = given.processes * theirs.ru_maxrss if theirs.ru_utime else 0
    megabytes = (mine.ru_maxrss + others) // 1024
    require_valid(problem, answer)
    if given.short and given.in_turn:
        made += f", in turn {in_turn(week)}"
    other = rectpack_cost(problem, given.rectpack) if given.rectpack else None
    return Run(
        made,
        sum(want.quantity for want in problem.demands),
        answer.cost,
        answer.lower_bound,
        other,
        first[0] if first else seconds,
        seconds,
        clock,
        megabytes,
    )


_HEADS = (
    "orders",
    "seed",
    "times",
    "pieces",
    "cost",
    "bound",
    "gap %",
    "rectpack",
    "below %",
    "first s",
    "CPU s",
    "clock s",
    "peak MB",
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--orders", type=int, nargs="+", default=[10, 50])
    parser.add_argument("--weeks", type=int, default=3)
    parser.add_argument("--cuts", type=Cuts, default=Cuts.STRAIGHT)
    parser.add_argument("--effort", type=Effort, default=Effort.NORMAL)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--in-turn", action="store_true", help="with --short: compare (slow)")
    parser.add_argument("--rectangles", action="store_true", help="tiers without voids")
    parser.add_argument("--boxes", type=int, default=80, help="boxes of tiers, in a hundred orders")
    parser.add_argument("--inches", type=int, default=30, help="in a hundred orders")
    parser.add_argument("--times", type=int, default=1, help="again with so many times the pieces")
    parser.add_argument("--processes", type=int, default=2, help="at work at once")
    parser.add_argument("--rectpack", type=int, default=36, help="settings tried; 0: none")
    given = parser.parse_args()
    print(f"| {' | '.join(_HEADS)} |")
    print("| ---: " * len(_HEADS) + "|")
    runs: list[Run] = []
    for orders in given.orders:
        for seed in range(1, given.weeks + 1):
            pair = []
            for times in (1, given.times)[: 1 + (given.times > 1)]:
                pair.append(_alone(seed, orders, given, times))
                print(_row(pair[-1], seed, times), flush=True)
            if len(pair) == 2:
                print(f"| ×{given.times} takes {pair[1].seconds / pair[0].seconds:.2f} × as long |")
            runs += pair
    print(_summary(runs))


def _alone(seed: int, orders: int, given: argparse.Namespace, times: int) -> Run:
    """Run in a process of its own, so that its peak of memory is its own."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(run, seed, orders, given, times).result()


def _below(one: Run) -> float | None:
    return float(100 * (1 - one.cost / one.rectpack)) if one.rectpack else None


def _gap(one: Run) -> float:
    return float(100 * (1 - one.bound / one.cost)) if one.cost else 0.0


def _row(one: Run, seed: int, times: int) -> str:
    below = _below(one)
    cells = [
        one.made,
        str(seed),
        str(times),
        f"{one.pieces:,}",
        f"{float(one.cost):.2f}",
        f"{float(one.bound):.2f}",
        f"{_gap(one):.1f}",
        f"{float(one.rectpack):.2f}" if one.rectpack else "",
        "" if below is None else f"{below:.1f}",
        f"{one.first:.2f}",
        f"{one.seconds:.1f}",
        f"{one.clock:.1f}",
        str(one.megabytes),
    ]
    return f"| {' | '.join(cells)} |"


def _summary(runs: Sequence[Run]) -> str:
    """Say in a sentence how good the plans are on average."""
    text = f"gap on average {sum(map(_gap, runs)) / len(runs):.1f} %"
    below = [saved for one in runs if (saved := _below(one)) is not None]
    if below:
        text += f"; below rectpack {sum(below) / len(below):.1f} %"
    return text


if __name__ == "__main__":
    main()
