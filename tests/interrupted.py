"""Work that is broken off at any moment, and what may be found afterwards.

A `Job` lays out files, works on them while it tells how far it got, and judges what a death at some
moment left.  How it dies is up to others: `tests.benchmarks.crash` kills the process,
`tests.benchmarks.power_cut` loses what the disk had not been asked to keep.
"""

from __future__ import annotations

import random
import shutil
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path

from inventory.database.open import open_shop
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.backup import back_up, restore
from inventory.maintenance.check import check_shop
from tests.old_shops import make_old_shop
from tests.shopwork import begin_work, do_random_work, state

__all__ = ["JOBS", "Backup", "Export", "Import", "Job", "Migration", "Restore", "Work"]

Books = dict[str, list[tuple[object, ...]]]


def sound_state(path: Path, faults: int = 0) -> Books:
    """Return what is in a shop's file, which must be sound, but for faults it had before.

    Raises
    ------
    AssertionError
        If it isn't.
    """
    with open_shop(path) as shop:
        report = check_shop(shop)
        assert len(report.faults) == faults, report.faults
        return state(shop)


def _used_shop(path: Path, seed: int, steps: int = 30) -> None:
    with open_shop(path, create=True) as shop:
        begin_work(shop)
        for number in range(steps):
            do_random_work(shop, random.Random(f"{seed} {number}"))


class Job(ABC):
    """Something to break off.

    Parameters
    ----------
    store
        An empty folder for what is made once and copied for each run.
    """

    def __init__(self, store: Path, seed: int) -> None:
        self.store = store
        self.seed = seed

    @abstractmethod
    def lay_out(self, folder: Path, rng: random.Random) -> None:
        """Put the files to work on into an empty folder."""

    @abstractmethod
    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        """Work, and tell each time that something was done for good."""

    @abstractmethod
    def judge(self, folder: Path, done: int) -> str:
        """Say what was being done, after it was told `done` times that something was.

        Raises
        ------
        AssertionError
            If something is lost, doubled, half done or damaged.
        """


class Work(Job):
    """Random bookings; after each death there is the state after the last, or after the next."""

    def __init__(self, store: Path, seed: int, steps: int = 160) -> None:
        super().__init__(store, seed)
        path = store / "rehearsal.sqlite"
        with open_shop(path, create=True) as shop:
            begin_work(shop)
            self.seen = [("begin", state(shop))]
        shutil.copy(path, store / "0.sqlite")
        for number in range(1, steps + 1):
            with open_shop(path) as shop:
                name = do_random_work(shop, random.Random(f"{seed} {number}"))
                self.seen.append((name, state(shop)))
            shutil.copy(path, store / f"{number}.sqlite")

    def lay_out(self, folder: Path, rng: random.Random) -> None:
        self.start = rng.randrange(len(self.seen) - 1)
        shutil.copy(self.store / f"{self.start}.sqlite", folder / "shop.sqlite")

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        with open_shop(folder / "shop.sqlite") as shop:
            for number in range(self.start + 1, len(self.seen)):
                name = do_random_work(shop, random.Random(f"{self.seed} {number}"))
                if name != self.seen[number][0]:
                    return  # refused for want of room on the disk
                tell()

    def judge(self, folder: Path, done: int) -> str:
        found = sound_state(folder / "shop.sqlite")
        last = self.start + done
        coming = self.seen[last + 1 : last + 2]
        name = coming[0][0] if coming else "nothing"
        if coming and found == coming[0][1]:
            return name
        assert found == self.seen[last][1], f"neither the state after step {last} nor the next's"
        return name


class Restore(Job):
    """A copy put in place of a shop: there is the old one or the restored one."""

    def __init__(self, store: Path, seed: int) -> None:
        super().__init__(store, seed)
        _used_shop(store / "shop.sqlite", seed)
        _used_shop(store / "copy.sqlite", seed + 1)
        self.old, self.new = (sound_state(store / name) for name in ("shop.sqlite", "copy.sqlite"))

    def lay_out(self, folder: Path, rng: random.Random) -> None:
        for name in ("shop.sqlite", "copy.sqlite"):
            shutil.copy(self.store / name, folder / name)
        if rng.random() < 0.3:  # a damaged one is set aside, not written into
            with (folder / "shop.sqlite").open("r+b") as file:
                file.truncate(8192)

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        restore(folder / "copy.sqlite", folder / "shop.sqlite", replace=True)
        tell()

    def judge(self, folder: Path, done: int) -> str:
        path = folder / "shop.sqlite"
        assert path.exists(), "the shop's file is gone"
        if not done and path.stat().st_size == 8192:
            return "restoring over a damaged file"
        found = sound_state(path)
        assert found == self.new if done else found in (self.old, self.new)
        assert sound_state(folder / "copy.sqlite") == self.new
        return "restoring"


class Migration(Job):
    """An older shop brought up to date: all rows are there, and it opens."""

    def __init__(self, store: Path, seed: int) -> None:
        super().__init__(store, seed)
        for revision in self.revisions:
            make_old_shop(store / f"{revision}.sqlite", revision, filled=True)
            done = Path(shutil.copy(store / f"{revision}.sqlite", store / "done.sqlite"))
            open_shop(done).close()
            self.states[revision] = sound_state(done, self.faults)

    revisions = ("0001", "0003", "0006")
    faults = 1
    """The plan of the rows' only batch is made up, and can't be read."""
    states: dict[str, Books] = {}  # noqa: RUF012 - filled once

    def lay_out(self, folder: Path, rng: random.Random) -> None:
        self.revision = rng.choice(self.revisions)
        shutil.copy(self.store / f"{self.revision}.sqlite", folder / "shop.sqlite")

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        open_shop(folder / "shop.sqlite").close()
        tell()

    def judge(self, folder: Path, done: int) -> str:
        assert sound_state(folder / "shop.sqlite", self.faults) == self.states[self.revision]
        for backup in folder.glob("shop.before-update-*"):
            assert sound_state(backup, self.faults) == self.states[self.revision]
        assert not done or list(folder.glob("shop.before-update-*"))
        return f"updating from {self.revision}"


class _NewFile(Job):
    """Something written into a new file: it is there whole or not at all."""

    target = "new.sqlite"
    doing = "writing"

    def __init__(self, store: Path, seed: int) -> None:
        super().__init__(store, seed)
        _used_shop(store / "shop.sqlite", seed)
        self.whole = sound_state(store / "shop.sqlite")
        with open_shop(store / "shop.sqlite") as shop:
            export_shop(shop, store / "shop.zip")

    def lay_out(self, folder: Path, rng: random.Random) -> None:
        for name in ("shop.sqlite", "shop.zip"):
            shutil.copy(self.store / name, folder / name)

    def judge(self, folder: Path, done: int) -> str:
        target = folder / self.target
        assert target.exists() or not done, "it is not there"
        if target.exists():
            self.check_whole(target)
        assert sound_state(folder / "shop.sqlite") == self.whole
        return self.doing

    def check_whole(self, target: Path) -> None:
        assert sound_state(target) == self.whole


class Import(_NewFile):
    doing = "importing"

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        import_shop(folder / "shop.zip", folder / self.target)
        tell()


class Backup(_NewFile):
    doing = "backing up"

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        with open_shop(folder / "shop.sqlite") as shop:
            back_up(shop, folder / self.target)
        tell()


class Export(_NewFile):
    target = "new.zip"
    doing = "exporting"

    def run(self, folder: Path, tell: Callable[[], object]) -> None:
        with open_shop(folder / "shop.sqlite") as shop:
            export_shop(shop, folder / self.target)
        tell()

    def check_whole(self, target: Path) -> None:
        assert target.read_bytes() == (self.store / "shop.zip").read_bytes()


JOBS: dict[str, type[Job]] = {
    "work": Work,
    "restore": Restore,
    "migrate": Migration,
    "import": Import,
    "backup": Backup,
    "export": Export,
}
