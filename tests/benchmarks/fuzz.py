"""Spoil inputs of every reader at random; each is read or refused in one sentence.

    python -m tests.benchmarks.fuzz --inputs 10000

Lists, workbooks, designs, archives, backups and the words of commands.  No traceback, nothing over
10 seconds, nothing over 500 MB, nothing written elsewhere.  Each hundred run in a process of their
own.  Prints how many were read and how many refused; ends with 1 if any was neither.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.fuzzing import READERS, Sandbox, try_input

MOST_MEGABYTES = 500
_AT_ONCE = 100


def work(task: tuple[int, int, int, tuple[str, ...]]) -> tuple[Counter[str], float, int, list[str]]:
    """Try a row of inputs; return what became of them, the slowest, the memory, and the faults."""
    seed, first, last, kinds = task
    seen: Counter[str] = Counter()
    slowest, faults = 0.0, []
    with tempfile.TemporaryDirectory(prefix="quirebox-fuzz-") as name:
        sandbox = Sandbox(Path(name))
        for number in range(first, last):
            kind = kinds[number % len(kinds)]
            start = time.monotonic()
            try:
                verdict = try_input(sandbox, kind, f"{seed} {number}")
            except AssertionError as fault:
                faults.append(str(fault))
                verdict = "WRONG"
            slowest = max(slowest, time.monotonic() - start)
            seen[f"{kind} {verdict}"] += 1
    return seen, slowest, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, faults


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=READERS)
    given = parser.parse_args()
    kinds = (given.kind,) if given.kind else tuple(READERS)
    tasks = [
        (given.seed, first, min(first + _AT_ONCE, given.inputs), kinds)
        for first in range(0, given.inputs, _AT_ONCE)
    ]
    seen: Counter[str] = Counter()
    slowest, most = 0.0, 0
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
        for some, slow, memory, faults in pool.imap(work, tasks):
            seen += some
            slowest, most = max(slowest, slow), max(most, memory)
            for fault in faults:
                print(fault, flush=True)
            print(f"{sum(seen.values())} inputs, {most} MB, {slowest:.1f} s", flush=True)
    print("| input | read | refused | wrong |\n| --- | ---: | ---: | ---: |")
    for kind in kinds:
        row = (seen[f"{kind} {verdict}"] for verdict in ("read", "refused", "WRONG"))
        print(f"| {kind} | {' | '.join(map(str, row))} |")
    print(f"The slowest took {slowest:.1f} s, the largest process {most} MB")
    wrong = sum(number for verdict, number in seen.items() if verdict.endswith("WRONG"))
    return int(wrong > 0 or most > MOST_MEGABYTES)


if __name__ == "__main__":
    sys.exit(main())
