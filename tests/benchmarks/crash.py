"""Kill a process at random moments of random deeds; after each, the book must be sound.

    python -m tests.benchmarks.crash --times 500

A rehearsal does a row of deeds undisturbed and keeps the book's state after each.  Then, time and
again, a process goes on from a random one of them and is killed (SIGKILL).  What it leaves must be
the state after one of the deeds, no earlier than the last that it said was done: each has wholly
happened or not at all.  Prints how often, and during which deeds; ends with 1 at the first fault.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from inventory.database.open import open_shop
from inventory.maintenance.check import check_shop
from tests.shopwork import begin_work, do_a_deed, state

DEEDS = 160
LONGEST = 0.06
"""Seconds after which a process is killed at the latest."""


def rehearse(folder: Path, seed: int, deeds: int) -> list[tuple[str, object]]:
    """Do the deeds undisturbed; return the name of each and the state after it."""
    path = folder / "rehearsal.sqlite"
    seen = []
    with open_shop(path, create=True) as shop:
        begin_work(shop)
        seen.append(("begin", state(shop)))
    shutil.copy(path, folder / "0.sqlite")
    for number in range(1, deeds + 1):
        with open_shop(path) as shop:
            name = do_a_deed(shop, random.Random(f"{seed} {number}"))
            seen.append((name, state(shop)))
        shutil.copy(path, folder / f"{number}.sqlite")
    return seen


def work(path: Path, first: int, last: int, seed: int, told: int) -> None:
    """Do the deeds from `first` on, telling through a pipe when each is done."""
    with open_shop(path) as shop:
        os.write(told, b"+")
        for number in range(first, last + 1):
            do_a_deed(shop, random.Random(f"{seed} {number}"))
            os.write(told, b".")


def kill_once(
    folder: Path, seen: list[tuple[str, object]], seed: int, rng: random.Random
) -> tuple[str, bool]:
    """Let a process work and kill it.

    Returns
    -------
    str
        The deed during which it was killed.
    bool
        Whether that deed had been stored.

    Raises
    ------
    AssertionError
        If the book is not sound, or is in no state between two deeds.
    """
    start = rng.randrange(len(seen) - 1)
    path = folder / "killed.sqlite"
    for end in ("", "-wal", "-shm"):
        Path(f"{path}{end}").unlink(missing_ok=True)
    shutil.copy(folder / f"{start}.sqlite", path)
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            work(path, start + 1, len(seen) - 1, seed, writing)
        finally:
            os._exit(0)
    os.close(writing)
    os.read(reading, 1)
    time.sleep(rng.uniform(0, LONGEST))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    done = len(os.read(reading, 1000))
    os.close(reading)
    last = start + done
    with open_shop(path) as shop:
        report = check_shop(shop)
        found = state(shop)
    assert report.faults == [], report.faults
    if last + 1 < len(seen) and found == seen[last + 1][1]:
        return seen[last + 1][0], found != seen[last][1]
    assert found == seen[last][1], f"after deed {last} there is neither its state nor the next's"
    return (seen[last + 1][0] if last + 1 < len(seen) else "none"), False


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    during: Counter[str] = Counter()
    stored = 0
    with tempfile.TemporaryDirectory(prefix="quirebox-crash-") as name:
        folder = Path(name)
        seen = rehearse(folder, given.seed, DEEDS)
        print("rehearsed:", dict(Counter(deed for deed, _ in seen)), flush=True)
        for number in range(1, given.times + 1):
            deed, was_stored = kill_once(folder, seen, given.seed, rng)
            during[deed] += 1
            stored += was_stored
            if number % 50 == 0:
                print(f"{number} killed, all sound", flush=True)
    print("| killed during | times |\n| --- | ---: |")
    for deed, times in during.most_common():
        print(f"| {deed} | {times} |")
    print(f"Sound {given.times} of {given.times}; stored but not yet told {stored} times")


if __name__ == "__main__":
    sys.exit(main())
