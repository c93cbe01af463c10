"""Fold designs by chance with the tests' own engine; none may be other than what is told of it.

    python -m tests.benchmarks.folding --designs 2000

Each design is made in one of three units from papers of 80 to 400 g/m², read from its JSON,
folded, put together and measured (`tests.folded_boxes`).  Prints what is wrong, and how many were
folded; ends with 1 if anything is.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter

from tests.designs_to_fold import folded_design


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--designs", type=int, default=2000)
    parser.add_argument("--from", type=int, default=0, dest="first", help="the first seed")
    options = parser.parse_args()
    wrong = 0
    names: Counter[str] = Counter()
    units: Counter[str] = Counter()
    verdicts: Counter[str] = Counter()
    for seed in range(options.first, options.first + options.designs):
        made = folded_design(seed)
        names[made.name] += 1
        units[made.unit] += 1
        verdicts.update(made.verdicts)
        wrong += bool(made.faults)
        for fault in made.faults:
            print(
                f"design {seed}, {made.name} {made.settings} {made.grammages}: {fault}", flush=True
            )
    print(
        f"{options.designs} designs ({dict(names)}) in {dict(units)},"
        f" joints {dict(verdicts)}: {wrong} wrong"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
