"""Files: whole or not at all, for their owner alone, never over a shop, no leftovers."""

from __future__ import annotations

import errno
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from inventory.core.changes import forget_changes, has_changed
from inventory.core.files import (
    SHOP_APPLICATION_ID,
    check_targets,
    drafted,
    hidden_folder,
    link_into_place,
    make_folder,
    write_files,
    write_new_file,
)
from nester.core.errors import Refusal


def agree(_: Sequence[Path]) -> None:
    """Let all be replaced."""


def write(path: Path, text: str) -> None:
    write_files([(path, text)], agree)


def no_room(_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


def make_shop(path: Path, application: int = SHOP_APPLICATION_ID) -> Path:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA application_id = {application}")
        connection.execute("CREATE TABLE t (a)")
    return path


# --- whole or not at all


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "cut-list.txt"
    path.write_text("old")
    real = os.fdopen

    def full(*args: Any, **others: Any) -> Any:
        file = real(*args, **others)
        file.write = no_room
        return file

    monkeypatch.setattr(os, "fdopen", full)
    with pytest.raises(Refusal, match=r"cut-list\.txt: it can't be written \(No space left"):
        write(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["cut-list.txt"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has /dev/full")
def test_a_device_is_written_to_and_never_replaced(tmp_path: Path) -> None:
    full = tmp_path / "full"
    full.symlink_to("/dev/full")
    with pytest.raises(Refusal, match=r"full: it can't be written \(No space left"):
        write_files([(full, "new")])
    assert full.is_symlink()
    assert Path("/dev/full").is_char_device()
    write_files([(Path(os.devnull), "new"), (Path(os.devnull), "new")])
    assert Path(os.devnull).is_char_device()


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    link = tmp_path / "plan.txt"
    link.symlink_to(tmp_path / "there" / "real.txt")
    for text in ("old", "new"):
        write(link, text)
        assert link.is_symlink()
        assert (tmp_path / "there" / "real.txt").read_text() == text


def test_a_file_that_cannot_be_replaced_is_refused(tmp_path: Path) -> None:
    (tmp_path / "plan.txt").mkdir()
    with pytest.raises(Refusal, match=r"plan\.txt: it can't be written"):
        write(tmp_path / "plan.txt", "new")
    assert names(tmp_path) == ["plan.txt"]
    with pytest.raises(Refusal, match="it can't be written"):
        write(tmp_path / "nowhere" / "plan.txt", "new")


def test_an_interrupted_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plan.txt"
    path.write_text("old")

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["plan.txt"]


def test_making_a_folder_twice_does_no_harm(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b")
    make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()


def test_what_is_written_is_known_as_done(tmp_path: Path) -> None:
    forget_changes()
    check_targets([tmp_path / "a"], agree)
    assert not has_changed()
    write(tmp_path / "a", "a")
    assert has_changed()


# --- for its owner alone


@pytest.mark.parametrize("umask", [0, 0o022, 0o077])
def test_files_are_in_utf_8_and_only_their_owner_can_read_them(tmp_path: Path, umask: int) -> None:
    written, new = tmp_path / "plan.txt", tmp_path / "new.zip"
    before = os.umask(umask)
    try:
        write(written, "½ × 7 cm\r\n")
        write_new_file(new, b"new")
    finally:
        os.umask(before)
    assert written.read_bytes() == "½ × 7 cm\r\n".encode()
    assert (mode(written), mode(new)) == (0o600, 0o600)


def test_a_file_that_others_could_read_is_replaced_by_one_that_they_cannot(tmp_path: Path) -> None:
    path = tmp_path / "plan.txt"
    path.write_text("old")
    path.chmod(0o644)
    write(path, "new")
    assert mode(path) == 0o600


# --- what may be replaced


def test_a_file_is_replaced_only_if_it_may_be(tmp_path: Path) -> None:
    here, there, empty = tmp_path / "a.txt", tmp_path / "b.txt", tmp_path / "empty.txt"
    here.write_text("mine")
    empty.touch()
    files: list[tuple[Path, str | bytes]] = [(there, "new"), (here, "new"), (empty, b"new")]
    with pytest.raises(Refusal, match=r"a\.txt exists already; choose another name"):
        write_files(files)
    assert (here.read_text(), empty.read_text(), there.exists()) == ("mine", "", False)
    asked: list[Path] = []
    write_files(files, asked.extend)
    assert asked == [here]
    assert [path.read_text() for path, _ in files] == ["new"] * 3
    with pytest.raises(Refusal, match=r"b\.txt and 2 more files exist already"):
        write_files(files)


def test_a_file_is_removed_only_if_it_may_be(tmp_path: Path) -> None:
    old, new = tmp_path / "002.svg", tmp_path / "001.svg"
    old.write_text("mine")
    with pytest.raises(Refusal, match=r"002\.svg exists already"):
        write_files([(new, "new")], remove=[old])
    assert names(tmp_path) == ["002.svg"]
    write_files([(new, "new")], agree, remove=[old])
    assert names(tmp_path) == ["001.svg"]


def test_no_file_is_written_twice(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "a")
    with pytest.raises(Refusal, match="link is named for two files"):
        write_files([(tmp_path / "a", "one"), (tmp_path / "link", "two")], agree)
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize("is_open", [False, True])
@pytest.mark.parametrize("way", ["itself", "link", "second name", "log", "index"])
def test_a_shop_is_never_written_over(tmp_path: Path, way: str, is_open: bool) -> None:
    shop = make_shop(tmp_path / "book")
    target = tmp_path / "out.csv"
    if way == "link":
        target.symlink_to(shop)
    elif way == "second name":
        target.hardlink_to(shop)
    else:
        target = shop.with_name(shop.name + {"itself": "", "log": "-wal", "index": "-shm"}[way])
    with closing(sqlite3.connect(shop)) as connection:
        if is_open:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("INSERT INTO t VALUES (1)")
            connection.commit()
        before = shop.read_bytes()
        with pytest.raises(Refusal, match="shop's file"):
            write(target, "new")
        with pytest.raises(Refusal, match=r"shop's file|exists already"):
            write_new_file(target, b"new")
        assert shop.read_bytes() == before
        assert connection.execute("SELECT count(*) FROM t").fetchone() == (int(is_open),)


LOOK = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], timeout=0)
try:
    connection.execute("BEGIN EXCLUSIVE")
except sqlite3.OperationalError:
    sys.exit(7)
"""


def test_looking_at_a_shop_does_not_drop_its_lock(tmp_path: Path) -> None:
    shop = make_shop(tmp_path / "book")
    with closing(sqlite3.connect(shop, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        with pytest.raises(Refusal):
            write(shop, "new")
        looked = subprocess.run([sys.executable, "-c", LOOK, str(shop)], check=False, timeout=60)
        assert looked.returncode == 7


def test_the_database_of_another_program_is_asked_about(tmp_path: Path) -> None:
    other = make_shop(tmp_path / "other.db", application=7)
    with pytest.raises(Refusal, match=r"other\.db exists already"):
        write_files([(other, "new")])
    write(other, "new")
    assert other.read_text() == "new"


# --- leftovers

KILLED = """
import os, signal, sys
from pathlib import Path
from inventory.core.files import drafted
with drafted(Path(sys.argv[1])) as draft:
    draft.write_text("customers")
    print("ready", flush=True)
    sys.stdin.read()
"""


def start(target: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(target)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def test_what_a_killed_run_left_is_swept_and_what_a_living_one_makes_is_not(tmp_path: Path) -> None:
    with start(tmp_path / "a") as killed, start(tmp_path / "b") as living:
        assert len(names(tmp_path)) == 2
        killed.send_signal(signal.SIGKILL)
        killed.wait(timeout=60)
        (tmp_path / ".quirebox-notes").mkdir()
        write(tmp_path / "c", "new")
        left = set(names(tmp_path)) - {".quirebox-notes", "c"}
        assert [names(tmp_path / folder) for folder in left] == [["b"]]
        living.communicate(timeout=60)
    assert names(tmp_path) == [".quirebox-notes", "c"]


def test_a_hidden_folder_is_its_owners_and_goes_with_its_block(tmp_path: Path) -> None:
    with hidden_folder(tmp_path) as folder:
        assert mode(folder) == 0o700
        (folder / "a").write_text("a")
    assert names(tmp_path) == []


def test_two_drafts_of_one_file_do_not_meet(tmp_path: Path) -> None:
    target = tmp_path / "copy"
    with drafted(target) as first, drafted(target) as second:
        first.write_text("first")
        second.write_text("second")
        link_into_place(first, target)
        with pytest.raises(FileExistsError):
            link_into_place(second, target)
    assert target.read_text() == "first"
    assert names(tmp_path) == ["copy"]
