"""Cut plans by their printed words alone; none may come out wrong.

    python -m tests.benchmarks.follow_words --plans 1000

Each plan is cut on paper of its true size by a cutter who knows only the words, in English and in
German (`tests.follow_words`).  Prints what is wrong, and how many layouts were cut; ends with 1 if
anything is.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter

from tests.plans_to_follow import faults_of_plan, plan_to_follow


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plans", type=int, default=1000)
    parser.add_argument("--from", type=int, default=0, dest="first", help="the first seed")
    options = parser.parse_args()
    wrong = layouts = cuts = 0
    units: Counter[str] = Counter()
    for seed in range(options.first, options.first + options.plans):
        problem, plan, unit = plan_to_follow(seed)
        layouts += len(plan.layouts)
        cuts += sum(len(layout.cuts) for layout in plan.layouts)
        units[unit] += 1
        faults = faults_of_plan(problem, plan, unit)
        wrong += bool(faults)
        for fault in faults:
            print(f"plan {seed}: {fault}", flush=True)
    print(
        f"{options.plans} plans ({dict(units)}), {layouts} layouts, {cuts} cuts, each in two"
        f" languages: {wrong} wrong"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
