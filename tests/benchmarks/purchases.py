"""Purchases for makers' weeks: the orders of `weeks.py`, suppliers and price lists from a seed.

    python tests/benchmarks/purchases.py --orders 50 --weeks 3 --seconds 15

Each of 6 suppliers sells every paper in 5 of 7 sizes, in packs of 1 to 100 sheets: larger packs and
larger sheets are cheaper for their area.  On hand are the offcuts of the week.  Each run is a
process of its own; CPU s is the processor's time, clock s the clock's.
"""

from __future__ import annotations

import argparse
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction
from multiprocessing import get_context
from random import Random

from nester.core.lengths import cm, inch
from nester.core.problem import Cuts, Effort, Problem
from nester.core.purchase import Offer, SupplierTerms
from nester.packing import after_seconds, never, purchase
from nester.verify import require_valid_purchase
from tests.benchmarks.weeks import INCHES, METRIC, PAPERS, make_week, round_coin

PACKS = (1, 5, 10, 20, 25, 50, 100)


def price_lists(
    seed: int, suppliers: int = 6, sizes: int = 5
) -> tuple[tuple[Offer, ...], tuple[SupplierTerms, ...]]:
    """Make up what so many suppliers sell, each in so many sizes of every paper."""
    chance = Random(f"suppliers {seed}")
    all_sizes = [(cm(Fraction(w)), cm(Fraction(h))) for w, h in METRIC]
    all_sizes += [(inch(Fraction(w)), inch(Fraction(h))) for w, h in INCHES]
    offers, terms = [], []
    for number in range(1, suppliers + 1):
        supplier = f"supplier {number}"
        shipping = round_coin(Fraction(chance.randrange(390, 1290), 100))
        free_from = Fraction(chance.choice((50, 75, 100, 150, 200)))
        terms.append(
            SupplierTerms(supplier, shipping, free_from if chance.random() < 0.8 else None)
        )
        dear = Fraction(chance.randrange(90, 115), 100)
        for paper, _, price in PAPERS:
            for width, height in chance.sample(all_sizes, sizes):
                area = Fraction(width * height, cm(1) ** 2)
                pack = chance.choice(PACKS)
                # Up to a fifth off for large packs, a little for large sheets.
                off = 1 - Fraction(min(20, 3 * PACKS.index(pack) + (area > 3000) * 4), 100)
                cost = Fraction(price) * area * pack * off * dear
                cost *= Fraction(chance.randrange(92, 109), 100)
                least = chance.choice((1, 1, 1, 2)) if pack < 10 else 1
                name = f"{supplier}: {paper} {len(offers)}"
                offers.append(
                    Offer(
                        name, supplier, paper, width, height, pack,
                        max(Fraction(1, 100), round_coin(cost)), least,
                    )
                )  # fmt: skip
    return tuple(offers), tuple(terms)


def on_hand(problem: Problem) -> Problem:
    """Return a problem with only what lies there already: no sheets that can be had without end."""
    return replace(problem, stock=tuple(s for s in problem.stock if s.quantity is not None))


def _cpu() -> float:
    """Return the processor's seconds of this process and those it started."""
    mine, others = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return mine.ru_utime + mine.ru_stime + others.ru_utime + others.ru_stime


@dataclass(frozen=True)
class Run:
    """What one run has shown: money, seconds of the processor, and of the clock."""

    pieces: int
    cost: Fraction
    bound: Fraction
    packs: int
    suppliers: int
    seconds: float
    clock: float
    first: float
    tried: str


def run(seed: int, given: argparse.Namespace) -> Run:
    """Buy for a week, and let the judge see the purchase."""
    week = make_week(seed, given.orders, given.cuts)
    problem = on_hand(week.problem)
    offers, terms = price_lists(seed, given.suppliers, given.sizes)
    first: list[float] = []
    clock = time.perf_counter()

    def tell(progress: object) -> None:
        if given.verbose:
            print(
                f"{time.perf_counter() - clock:.1f} {float(progress.cost)} {float(progress.bound)}",
                flush=True,
            )
        if not first:
            first.append(time.perf_counter() - clock)

    stop = never if given.seconds is None else after_seconds(given.seconds)
    bought = purchase(
        problem,
        offers,
        terms,
        given.effort,
        processes=given.processes,
        stop=stop,
        on_progress=tell,
    )
    clock = time.perf_counter() - clock
    seconds = _cpu()
    require_valid_purchase(problem, offers, terms, bought)
    return Run(
        week.pieces,
        bought.cost,
        bought.lower_bound,
        sum(one.quantity for one in bought.lines),
        len(bought.shipping),
        seconds,
        clock,
        first[0],
        ", ".join(f"{name} {number}" for name, number in bought.statistics.items()),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--orders", type=int, default=50)
    parser.add_argument("--weeks", type=int, nargs="+", default=[1, 2, 3], help="seeds")
    parser.add_argument("--suppliers", type=int, default=6)
    parser.add_argument("--sizes", type=int, default=5)
    parser.add_argument("--cuts", type=Cuts, default=Cuts.STRAIGHT)
    parser.add_argument("--effort", type=Effort, default=Effort.NORMAL)
    parser.add_argument("--seconds", type=float, help="stop after so long by the clock")
    parser.add_argument("--processes", type=int, default=2, help="that work at once")
    parser.add_argument("--verbose", action="store_true", help="what is said on the way")
    given = parser.parse_args()
    heads = ("seed", "pieces", "packs", "from", "cost", "bound", "gap %", "first s", "CPU s")
    print(f"| {' | '.join((*heads, 'clock s', 'tried'))} |")
    print("| ---: " * (len(heads) + 1) + "| --- |")
    gaps = []
    for seed in given.weeks:
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            one = pool.submit(run, seed, given).result()
        gaps.append(float(100 * (1 - one.bound / one.cost)))
        cells = (
            str(seed),
            f"{one.pieces:,}",
            str(one.packs),
            str(one.suppliers),
            f"{float(one.cost):.2f}",
            f"{float(one.bound):.2f}",
            f"{gaps[-1]:.2f}",
            f"{one.first:.2f}",
            f"{one.seconds:.1f}",
            f"{one.clock:.1f}",
            one.tried,
        )
        print(f"| {' | '.join(cells)} |", flush=True)
    print(f"gap on average {sum(gaps) / len(gaps):.2f} %, at most {max(gaps):.2f} %")


if __name__ == "__main__":
    main()
