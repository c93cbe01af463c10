"""Cut the power at random moments: only what the disk was asked to keep is sure to be there.

    python -m tests.benchmarks.power_cut --cuts 200

Linux, with `strace`.  A process works (`tests.interrupted`) while its system calls are recorded
with all that it writes.  The record is then played up to a random moment on a disk that forgets: a
write is safe after the file's fsync; before that it is kept, lost, or torn at a sector of 512
bytes, each as chance says.  A name in a folder is safe after the folder's fsync; before that the
latest changes of the folder may be lost, in their order.  What is left must open and be sound, and
nothing may be missing that the process had said was done.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter, deque
from dataclasses import dataclass, field
from pathlib import Path

from tests.interrupted import JOBS, Job

SECTOR = 512
CALLS = (
    "openat,close,write,pwrite64,ftruncate,fsync,fdatasync,link,linkat,rename,renameat,renameat2,"
    "unlink,unlinkat,mkdir,rmdir"
)
_CALL = re.compile(r"^(?:\d+ +)?(\w+)\((.*)\) += (-?\d+)", re.DOTALL)
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


@dataclass
class File:
    """A file's bytes on the disk, and what was written to it since it was last made safe."""

    safe: bytes = b""
    written: list[tuple[int, bytes | None]] = field(default_factory=list)
    """Places and bytes; None cuts the file off there."""

    def sync(self) -> None:
        self.safe, self.written = self.played(self.written), []

    def played(self, writes: list[tuple[int, bytes | None]]) -> bytes:
        data = bytearray(self.safe)
        for place, piece in writes:
            if piece is None:
                del data[place:]
                data.extend(bytes(place - len(data)))
            else:
                data.extend(bytes(max(0, place - len(data))))
                data[place : place + len(piece)] = piece
        return bytes(data)

    def after_power_cut(self, rng: random.Random) -> bytes:
        kept: list[tuple[int, bytes | None]] = []
        for place, piece in self.written:
            fate = rng.random()
            if fate < 0.4:
                continue
            if fate < 0.6 and piece is not None:
                piece = piece[: rng.randrange(0, len(piece) + 1, SECTOR)]
            kept.append((place, piece))
        return self.played(kept)


@dataclass
class Disk:
    """The files of one folder and of the folders in it, by path."""

    folder: Path
    names: dict[str, File] = field(default_factory=dict)
    """As the process sees them."""
    safe_names: dict[str, File] = field(default_factory=dict)
    changes: list[tuple[str, str, File | None]] = field(default_factory=list)
    """Of names since their folder was last made safe: folder, path, file (None: taken away)."""
    opened: dict[int, tuple[str, File | None, int]] = field(default_factory=dict)
    """By descriptor: path, file (None: a folder), and how far it was written to."""

    @classmethod
    def of(cls, folder: Path) -> Disk:
        disk = cls(folder)
        for path in folder.rglob("*"):
            if path.is_file():
                disk.names[str(path)] = File(path.read_bytes())
        disk.safe_names = dict(disk.names)
        return disk

    def name(self, path: str, file: File | None) -> None:
        if file is None:
            self.names.pop(path, None)
        else:
            self.names[path] = file
        self.changes.append((str(Path(path).parent), path, file))

    def sync_folder(self, folder: str) -> None:
        left = []
        for change in self.changes:
            if change[0] == folder:
                self._make_safe(self.safe_names, change)
            else:
                left.append(change)
        self.changes = left

    @staticmethod
    def _make_safe(names: dict[str, File], change: tuple[str, str, File | None]) -> None:
        _, path, file = change
        if file is None:
            names.pop(path, None)
        else:
            names[path] = file

    def play(self, call: str, arguments: str, result: int) -> None:
        """Do what a recorded system call did."""
        texts = [bytes.fromhex(t.replace("\\x", "")) for t in _TEXT.findall(arguments)]
        paths = [os.fsdecode(text) for text in texts]
        if result < 0:
            return
        match call:
            case "openat":
                self._open(paths[0], arguments, result)
            case "close":
                self.opened.pop(int(arguments), None)
            case "write" | "pwrite64":
                self._write(call, arguments, texts[0] if texts else b"")
            case "ftruncate":
                number, length = arguments.split(", ")
                if (file := self._file(number)) is not None:
                    file.written.append((int(length), None))
            case "fsync" | "fdatasync":
                path, file, _ = self.opened.get(int(arguments), ("", None, 0))
                if file is not None:
                    file.sync()
                elif path:
                    self.sync_folder(path)
            case "link" | "linkat":
                if paths[0] in self.names:
                    self.name(paths[1], self.names[paths[0]])
            case "rename" | "renameat" | "renameat2":
                if paths[0] in self.names:
                    moved = self.names[paths[0]]
                    self.name(paths[0], None)
                    self.name(paths[1], moved)
            case "unlink" | "unlinkat":
                if paths[0] in self.names:
                    self.name(paths[0], None)

    def _file(self, number: str) -> File | None:
        return self.opened.get(int(number), ("", None, 0))[1]

    def _open(self, path: str, arguments: str, number: int) -> None:
        if not path.startswith(str(self.folder)) or path.endswith("-shm"):
            return  # the shared memory beside a log is made anew after a power cut
        if "O_DIRECTORY" in arguments or Path(path).is_dir():
            self.opened[number] = (path, None, 0)
            return
        if path not in self.names and "O_CREAT" in arguments:
            self.name(path, File())
        if path in self.names:
            if "O_TRUNC" in arguments:
                self.names[path].written.append((0, None))
            self.opened[number] = (path, self.names[path], 0)

    def _write(self, call: str, arguments: str, data: bytes) -> None:
        number = int(arguments.split(", ", 1)[0])
        if number not in self.opened:
            return
        path, file, place = self.opened[number]
        if file is None:
            return
        if call == "pwrite64":
            place = int(arguments.rsplit(", ", 1)[1])
        else:
            self.opened[number] = (path, file, place + len(data))
        file.written.append((place, data))

    def after_power_cut(self, rng: random.Random, target: Path) -> None:
        """Write into a folder what may be found when the power is back."""
        names = dict(self.safe_names)
        for change in self.changes[: rng.randint(0, len(self.changes))]:
            self._make_safe(names, change)
        contents = {id(file): file.after_power_cut(rng) for file in names.values()}
        for path, file in names.items():
            place = target / Path(path).relative_to(self.folder)
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(contents[id(file)])


def record(job: Job, folder: Path, log: Path) -> int:
    """Let a process work under strace; return the descriptor to which it tells what is done."""
    told_by, telling = os.pipe()
    waiting, go = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.read(waiting, 1)
            job.run(folder, lambda: os.write(telling, b"."))
        finally:
            os._exit(0)
    strace = subprocess.Popen(
        ["strace", "-xx", "-s", "10000000", "-e", f"trace={CALLS}", "-o", log, "-p", str(child)],  # noqa: S607
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert strace.stderr is not None
    if "attached" not in strace.stderr.readline():
        os.kill(child, signal.SIGKILL)
        raise SystemExit("strace could not attach to the process")
    os.write(go, b"g")
    _, status = os.waitpid(child, 0)
    strace.communicate()
    for number in (told_by, waiting, go, telling):
        os.close(number)
    assert status == 0, f"the process ended with {status}"
    return telling


def cut_power(
    job: Job, folder: Path, calls: list[tuple[str, str, int]], telling: int, rng: random.Random,
    start: Disk, target: Path,
) -> str:  # fmt: skip
    """Play a record up to a random moment, lose what was not safe, and judge what is left."""
    told = [
        number for number, (call, arguments, _) in enumerate(calls, start=1)
        if call == "write" and arguments.startswith(f"{telling}, ")
    ]  # fmt: skip
    # The moments right after something was said to be done are the ones that break promises.
    until = rng.choice(told) if rng.random() < 0.3 else rng.randrange(len(calls) + 1)
    done = 0
    for number, (call, arguments, result) in enumerate(calls[:until], start=1):
        if number in told:
            done += 1
        else:
            start.play(call, arguments, result)
    start.after_power_cut(rng, target)
    return job.judge(target, done)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cuts", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", nargs="+", choices=list(JOBS), default=list(JOBS))
    given = parser.parse_args()
    if shutil.which("strace") is None:
        raise SystemExit("strace is not installed")
    rng = random.Random(given.seed)
    during: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="quirebox-power-") as name:
        jobs = {}
        for each in given.jobs:
            store = Path(name) / each
            store.mkdir()
            jobs[each] = JOBS[each](store, given.seed)
        runs = deque(given.jobs)
        cuts = 0
        while cuts < given.cuts:
            job = jobs[runs[0]]
            runs.rotate(-1)
            folder, log = Path(name) / "folder", Path(name) / "record"
            folder.mkdir()
            job.lay_out(folder, rng)
            before = Path(shutil.copytree(folder, Path(name) / "before"))
            telling = record(job, folder, log)
            calls = [
                (m[1], m[2], int(m[3])) for m in map(_CALL.match, log.read_text().splitlines()) if m
            ]
            for _ in range(min(10, given.cuts - cuts)):
                shutil.rmtree(folder)
                shutil.copytree(before, folder)
                disk = Disk.of(folder)
                target = Path(name) / "after"
                target.mkdir()
                during[cut_power(job, folder, calls, telling, rng, disk, target)] += 1
                shutil.rmtree(target)
                cuts += 1
            shutil.rmtree(folder)
            shutil.rmtree(before)
            print(f"{cuts} cuts, all sound", flush=True)
    print("| power cut during | times |\n| --- | ---: |")
    for doing, times in during.most_common():
        print(f"| {doing} | {times} |")


if __name__ == "__main__":
    sys.exit(main())
