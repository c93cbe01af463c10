"""A design's sizes swept: seconds, how far plans are from what is proven, every plan judged.

    python -m tests.benchmarks.sizes --sizes 200 --quantity 10 --processes 2

A layered box of four tiers with mats on both sides, cards with mats, and photos: four papers, on
sheets of 56 × 71 cm.  The largest panel that fits is 18.6 cm; sizes go down from it by half a
millimetre.
"""

from __future__ import annotations

import argparse
import hashlib
import resource
import time
from fractions import Fraction

from nester.core.lengths import Unit, cm, mm
from nester.designs import DESIGNS
from nester.studies.size_sweep import PricedSheet, SweepSetup, sizes_between, sweep
from nester.verify import verify

PAPERS = {"all": "card", "mat": "mat", "card-mat": "card mat", "photo": "photo"}
TEXTS = {"mats": "both", "cards": "4", "card-mats": "both", "photos": "8"}


def cpu() -> float:
    """Return seconds of this process and of those that have ended."""
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(sum(resource.getrusage(who)[:2]) for who in both)


def main() -> None:
    reading = argparse.ArgumentParser(description=__doc__)
    reading.add_argument("--sizes", type=int, default=200)
    reading.add_argument("--quantity", type=int, default=10)
    reading.add_argument("--processes", type=int, default=2)
    asked = reading.parse_args()
    sheets = dict.fromkeys(PAPERS.values(), (PricedSheet(cm(56), cm(71)),))
    batch = SweepSetup(DESIGNS["layered-box"], TEXTS, Unit.CM, PAPERS, sheets, asked.quantity)
    step = mm("0.5")
    sizes = sizes_between(mm(186) - (asked.sizes - 1) * step, mm(186), step, Unit.CM)
    began, spent = time.monotonic(), cpu()
    points = sweep(batch, "panel", sizes, processes=asked.processes)
    wall, used = time.monotonic() - began, cpu() - spent
    able = [point for point in points if not point.refusal]
    faults = sum(
        len(verify(like.problem, like.cutting_plan)) for p in able for like in p.papers.values()
    )
    cost, bound = (sum((getattr(p, n) for p in able), Fraction(0)) for n in ("cost", "bound"))
    mark = hashlib.sha256(
        repr([(p.size, p.cost, p.lower_bound, p.papers) for p in points]).encode()
    )
    print(f"{len(able)} of {len(points)} sizes, {faults} faults found by the judge")
    print(f"{wall:.1f} s, {used:.1f} s of CPU, gap {float(100 * (cost - bound) / cost):.1f} %")
    print(f"the same result has the mark {mark.hexdigest()[:12]}")


if __name__ == "__main__":
    main()
