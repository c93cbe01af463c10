"""Change one bit, one row or one trigger of shops at random; each change must be found.

    python -m tests.benchmarks.damage --shops 1000

What is not found must be harmless: every row and every rule of the book reads as before.  Commands
may say that the book is damaged and may not stumble over it; and what is advised, to restore a
backup, must put all right.  Prints how many of each kind were found; ends with 1 if any was not.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.damaged_shops import KINDS, backed_up, try_one

SHOPS_OF_ONE_MAKE = 50


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS)
    given = parser.parse_args()
    kinds = (given.kind,) if given.kind else KINDS
    seen: Counter[tuple[str, str]] = Counter()
    slowest = 0.0
    for first in range(0, given.shops, SHOPS_OF_ONE_MAKE):
        with tempfile.TemporaryDirectory(prefix="quirebox-damage-") as name:
            folder = Path(name)
            whole, before = backed_up(folder, given.seed + first)
            for number in range(first, min(first + SHOPS_OF_ONE_MAKE, given.shops)):
                kind = kinds[number % len(kinds)]
                start = time.monotonic()
                try:
                    verdict = try_one(folder, whole, before, kind, f"{given.seed} {number}")
                except AssertionError as fault:
                    print(fault, flush=True)
                    verdict = "WRONG"
                slowest = max(slowest, time.monotonic() - start)
                seen[kind, verdict] += 1
        print(f"{sum(seen.values())} shops: {dict(seen)}", flush=True)
    print("| changed | found | harmless | wrong |\n| --- | ---: | ---: | ---: |")
    for kind in kinds:
        print(
            f"| {kind} | {seen[kind, 'found']} | {seen[kind, 'harmless']} | {seen[kind, 'WRONG']} |"
        )
    print(f"The slowest took {slowest:.1f} s")
    return int(any(verdict == "WRONG" for _, verdict in seen))


if __name__ == "__main__":
    sys.exit(main())
