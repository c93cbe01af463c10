"""A killed process leaves a sound book (short; `tests/benchmarks/crash.py` does it at length)."""

from __future__ import annotations

import os
import random
import sys
from pathlib import Path

import pytest

from inventory.database import sqlite as shop_module
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.maintenance.check import check_shop
from nester.core.errors import Refusal
from tests.benchmarks.crash import kill_once
from tests.interrupted import JOBS, Work
from tests.shopwork import DEEDS, begin_work, do_random_work, state

if sys.platform != "win32":
    import resource

needs_unix = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has neither fork nor limits"
)


@needs_unix
@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
@pytest.mark.parametrize(("job", "times"), [("work", 8), ("restore", 4), ("export", 3)])
def test_whatever_moment_a_process_is_killed_at(tmp_path: Path, job: str, times: int) -> None:
    store = tmp_path / "store"
    store.mkdir()
    made = Work(store, 7, steps=12) if job == "work" else JOBS[job](store, 7)
    rng = random.Random(7)
    for number in range(times):
        folder = tmp_path / str(number)
        folder.mkdir()
        kill_once(made, folder, rng, 0.06)


def on_a_full_disk(path: Path, deed: str, room: int) -> str:
    """Do a deed in a process whose files may not grow over `room` bytes; return what it says."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
            with open_shop(path) as shop:
                DEEDS[deed][1](shop, random.Random(3))
            os.write(writing, b"done")
        except Refusal as refused:
            os.write(writing, str(refused).encode())
        finally:
            os._exit(0)
    os.close(writing)
    os.waitpid(child, 0)
    said = os.read(reading, 1000).decode()
    os.close(reading)
    return said


@needs_unix
@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
@pytest.mark.parametrize("deed", ["receive", "keep", "count", "order"])
def test_a_full_disk_stops_a_deed_wholly(shop_path: Path, deed: str) -> None:
    with open_shop(shop_path) as shop:
        begin_work(shop)
        before = state(shop)
    for room in (0, 4096, 12_288):
        said = on_a_full_disk(shop_path, deed, room)
        assert "nothing was changed" in said or "can't be" in said
        with open_shop(shop_path) as shop:
            assert check_shop(shop).findings == ()
            assert state(shop) == before
    assert on_a_full_disk(shop_path, deed, 10**7) == "done"
    with open_shop(shop_path) as shop:
        assert check_shop(shop).findings == ()
        assert state(shop) != before


@needs_unix
@pytest.mark.parametrize("deed", ["receive", "keep", "spoil", "order"])
def test_a_read_only_file_stops_a_deed_wholly(
    shop_path: Path, deed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_shop(shop_path) as shop:
        begin_work(shop)
        before = state(shop)
    # Whoever runs the tests as root may write everywhere, so SQLite itself is told not to.
    monkeypatch.setattr(shop_module, "_uri", lambda path: f"{path.as_uri()}?mode=ro")
    with (
        open_shop(shop_path) as shop,
        pytest.raises(Refusal, match="is read-only, so nothing was changed"),
    ):
        DEEDS[deed][1](shop, random.Random(3))
    with open_shop(shop_path) as shop:
        assert state(shop) == before
        assert check_shop(shop).findings == ()


def test_random_deeds_leave_a_sound_book(shop: ShopFile) -> None:
    begin_work(shop)
    done = {do_random_work(shop, random.Random(f"sound {number}")) for number in range(40)}
    assert len(done) > 8
    assert check_shop(shop).faults == []
