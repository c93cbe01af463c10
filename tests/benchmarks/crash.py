"""Kill a process at random moments of its work; after each, the book must be sound.

    python -m tests.benchmarks.crash --times 10000
    python -m tests.benchmarks.crash --jobs restore migrate --times 500

What is done, and what may be found afterwards, is told in `tests.interrupted`: bookings each wholly
stored or not at all, and none lost that the process had said was done; a restore, an update of old
tables, an import, a backup, an export, all there or not at all.  Prints how often it was killed
during what, and how many files were left behind; ends with 1 at the first fault.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.interrupted import JOBS, Job

LONGEST = {"work": 0.06, "migrate": 0.5, "restore": 0.08, "import": 0.4, "backup": 0.06}
"""Seconds after which a process is killed at the latest."""


def kill_once(job: Job, folder: Path, rng: random.Random, longest: float) -> str:
    """Let a process work in an empty folder, kill it, and return what it was doing.

    Raises
    ------
    AssertionError
        If what it left is not as it should be.
    """
    job.lay_out(folder, rng)
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.write(writing, b"+")
            job.run(folder, lambda: os.write(writing, b"."))
        finally:
            os._exit(0)
    os.close(writing)
    os.read(reading, 1)
    time.sleep(rng.uniform(0, longest))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    done = len(os.read(reading, 1000))
    os.close(reading)
    return job.judge(folder, done)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=500, help="of each job")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", nargs="+", choices=list(JOBS), default=list(JOBS))
    given = parser.parse_args()
    for name in given.jobs:
        rng = random.Random(f"{given.seed} {name}")
        during: Counter[str] = Counter()
        left = 0
        with tempfile.TemporaryDirectory(prefix="quirebox-crash-") as store:
            job = JOBS[name](Path(store), given.seed)
            for number in range(1, given.times + 1):
                with tempfile.TemporaryDirectory(prefix="quirebox-crash-") as folder:
                    during[kill_once(job, Path(folder), rng, LONGEST.get(name, 0.1))] += 1
                    left += sum(1 for path in Path(folder).rglob(".*"))
                if number % 100 == 0:
                    print(f"{name}: {number} killed, all sound", flush=True)
        print("| killed during | times |\n| --- | ---: |")
        for doing, times in during.most_common():
            print(f"| {doing} | {times} |")
        print(
            f"{name}: sound {given.times} of {given.times}; hidden files left: {left}", flush=True
        )


if __name__ == "__main__":
    sys.exit(main())
