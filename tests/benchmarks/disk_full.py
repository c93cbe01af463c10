"""Fill the disk at every single write of some work, one run for each.

    python -m tests.benchmarks.disk_full --most 60

Linux, with `strace`, which lets the first, second, third … write of a process fail, and all after
it, as a full disk does.  Each run must end done or refused with a sentence, leave a sound book with
nothing half stored, and no hidden file.  Prints how many runs of each job ended which way.
"""

from __future__ import annotations

import argparse
import mmap
import os
import random
import shutil
import subprocess
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

from nester.core.errors import Refusal
from tests.interrupted import JOBS, Job

WRITES = "write,pwrite64,ftruncate,fallocate"
DONE, REFUSED, FAULT = 0, 3, 1


def fill_disk(job: Job, folder: Path, rng: random.Random, nth: int) -> tuple[str, int]:
    """Let a process work whose writes fail from the `nth` on.

    Returns
    -------
    str
        What it was doing.
    int
        How it ended.

    Raises
    ------
    AssertionError
        If what it left is not as it should be.
    """
    job.lay_out(folder, rng)
    counter = mmap.mmap(-1, 1)  # shared; telling must not need a write
    waiting, go = os.pipe()
    child = os.fork()
    if child == 0:
        code = FAULT
        try:
            os.read(waiting, 1)
            job.run(folder, lambda: counter.__setitem__(0, counter[0] + 1))
            code = DONE
        except Refusal:
            code = REFUSED
        except BaseException:
            (folder.parent / "fault").write_text(traceback.format_exc())
        finally:
            os._exit(code)
    strace = subprocess.Popen(
        ["strace", "-e", f"trace={WRITES}", "-e", f"inject={WRITES}:error=ENOSPC:when={nth}+",  # noqa: S607
         "-o", os.devnull, "-p", str(child)],
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert strace.stderr is not None
    strace.stderr.readline()
    os.write(go, b"g")
    _, status = os.waitpid(child, 0)
    strace.communicate()
    for number in (waiting, go):
        os.close(number)
    code = os.waitstatus_to_exitcode(status)
    assert code in (DONE, REFUSED), f"write {nth}: it ended with {code}"
    doing = job.judge(folder, counter[0])
    hidden = [path.name for path in folder.rglob(".*")]
    assert not hidden, f"write {nth}: left behind {hidden}"
    return doing, code


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=60, help="writes of each job")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", nargs="+", choices=list(JOBS), default=list(JOBS))
    given = parser.parse_args()
    if shutil.which("strace") is None:
        raise SystemExit("strace is not installed")
    ended: Counter[tuple[str, int]] = Counter()
    for name in given.jobs:
        rng = random.Random(f"{given.seed} {name}")
        with tempfile.TemporaryDirectory(prefix="quirebox-full-") as store:
            job = JOBS[name](Path(store), given.seed)
            for nth in range(1, given.most + 1):
                with tempfile.TemporaryDirectory(prefix="quirebox-full-") as above:
                    folder = Path(above) / "folder"
                    folder.mkdir()
                    try:
                        _, code = fill_disk(job, folder, rng, nth)
                    except AssertionError:
                        fault = Path(above) / "fault"
                        if fault.exists():
                            print(fault.read_text())
                        raise
                ended[name, code] += 1
        print(f"{name}: {ended[name, DONE]} done, {ended[name, REFUSED]} refused", flush=True)


if __name__ == "__main__":
    sys.exit(main())
