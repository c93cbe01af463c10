"""Copies of a shop's file, made while it is in use, and put back."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from inventory.cli.shared.terminal import refusal_text
from inventory.database.migrate import HEAD_REVISION
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.maintenance import backup as backup_module
from inventory.maintenance.backup import back_up, restore
from inventory.maintenance.check import check_shop
from inventory.stock import papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import mm


def add_paper(shop: ShopFile, name: str) -> None:
    with shop.begin() as session:
        papers.add_paper(session, name, colour="black", grammage=300)
        receiving.add_sheets(session, name, (mm(500), mm(700)), 5)


def names_of_papers(path: Path) -> list[str]:
    with open_shop(path) as shop:
        assert check_shop(shop).findings == ()
        with shop.read() as session:
            return [paper.name for paper in papers.list_papers(session)]


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.fixture
def filled(shop_path: Path) -> Path:
    with open_shop(shop_path) as shop:
        add_paper(shop, "Night card")
    return shop_path


def test_a_copy_is_made_beside_the_file(filled: Path) -> None:
    with open_shop(filled) as shop:
        copy = back_up(shop)
    assert copy.parent == filled.parent
    assert copy.name.startswith("shop.backup-")
    assert names_of_papers(copy) == ["Night card"]
    assert names(filled.parent) == {filled.name, copy.name}


def test_a_copy_is_made_while_others_read_and_write(filled: Path, tmp_path: Path) -> None:
    with open_shop(filled) as shop, open_shop(filled) as other:
        with other.read() as reading, shop.begin() as session:
            assert len(papers.list_papers(reading)) == 1
            papers.add_paper(session, "Not yet stored", colour="black", grammage=300)
            copy = back_up(other, tmp_path / "copy.sqlite")
        add_paper(shop, "Later")
    assert names_of_papers(copy) == ["Night card"]
    assert names_of_papers(filled) == ["Later", "Night card", "Not yet stored"]


def test_a_copy_overwrites_nothing(filled: Path, tmp_path: Path) -> None:
    (tmp_path / "diary").write_text("dear")
    with open_shop(filled) as shop:
        with pytest.raises(Refusal, match="exists already and is left as it is"):
            back_up(shop, tmp_path / "diary")
        with pytest.raises(Refusal, match="can't be reached or made"):
            back_up(shop, tmp_path / "nowhere" / "copy.sqlite")
    assert (tmp_path / "diary").read_text() == "dear"
    assert names(tmp_path) == {"diary", "shop.sqlite"}


def test_a_server_is_copied_otherwise(database: str) -> None:
    with open_shop(database) as shop, pytest.raises(Refusal, match="is not a file") as refused:
        back_up(shop)
    assert "with 'quirebox shop export'" in refusal_text(refused.value)
    with pytest.raises(Refusal, match="to a file only"):
        restore(Path("copy.sqlite"), database)


def test_a_copy_is_put_back_where_nothing_is(filled: Path, tmp_path: Path) -> None:
    with open_shop(filled) as shop:
        copy = back_up(shop)
    assert restore(copy, tmp_path / "deep" / "new.sqlite") is None
    assert names_of_papers(tmp_path / "deep" / "new.sqlite") == ["Night card"]


def test_a_file_is_replaced_only_when_asked_and_kept(filled: Path) -> None:
    with open_shop(filled) as shop:
        copy = back_up(shop)
        add_paper(shop, "Later")
    with pytest.raises(Refusal, match="exists already and is left") as refused:
        restore(copy, filled)
    assert refused.value.hint is not None
    assert refused.value.hint.arguments == (str(copy), "--replace")
    assert names_of_papers(filled) == ["Later", "Night card"]
    kept = restore(copy, filled, replace=True)
    assert kept is not None
    assert kept.name.startswith("shop.before-restore-")
    assert names_of_papers(filled) == ["Night card"]
    assert names_of_papers(kept) == ["Later", "Night card"]
    assert names(filled.parent) == {filled.name, copy.name, kept.name}
    with open_shop(filled) as shop:
        add_paper(shop, "After")
    assert names_of_papers(filled) == ["After", "Night card"]


def test_a_file_in_use_is_not_replaced(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(backup_module, "_WAIT_SECONDS", 0.05)
    with open_shop(filled) as shop:
        copy = back_up(shop)
        with shop.begin() as session:
            papers.add_paper(session, "Later", colour="black", grammage=300)
            with pytest.raises(Refusal, match="is in use by another program"):
                restore(copy, filled, replace=True)
    assert names_of_papers(filled) == ["Later", "Night card"]
    assert names(filled.parent) == {filled.name, copy.name}


@pytest.mark.parametrize("harm", ["no database", "torn", "empty"])
def test_a_damaged_file_is_set_aside(filled: Path, harm: str) -> None:
    with open_shop(filled) as shop:
        copy = back_up(shop)
    data = filled.read_bytes()
    bad = {"no database": b"x" * 5000, "torn": data[:8192] + b"\xff" * 8192, "empty": b""}[harm]
    filled.write_bytes(bad)
    Path(f"{filled}-wal").write_bytes(b"of the damaged file")
    kept = restore(copy, filled, replace=True)
    assert kept is not None
    assert kept.read_bytes() == bad
    assert names_of_papers(filled) == ["Night card"]


def test_what_is_no_good_copy_is_refused(filled: Path, tmp_path: Path) -> None:
    with open_shop(filled) as shop:
        torn = back_up(shop, tmp_path / "torn.sqlite")
        newer = back_up(shop, tmp_path / "newer.sqlite")
    torn.write_bytes(torn.read_bytes()[:16384])
    with closing(sqlite3.connect(newer)) as book:
        book.execute("UPDATE alembic_version SET version_num = '9999'")
        book.commit()
    (tmp_path / "text").write_text("dear diary " * 200)
    for name, said in (
        ("torn.sqlite", "is damaged"),
        ("newer.sqlite", "newer version of Quirebox"),
        ("text", "is not a shop's file"),
        ("none", "no such file"),
        ("shop.sqlite", "is the shop's file itself"),
    ):
        with pytest.raises(Refusal, match=said):
            restore(tmp_path / name, filled, replace=True)
    assert names_of_papers(filled) == ["Night card"]
    assert names(tmp_path) == {"shop.sqlite", "torn.sqlite", "newer.sqlite", "text"}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on a file's size")
@pytest.mark.parametrize("deed", ["back_up", "restore"])
def test_a_full_disk_leaves_all_as_it_was(filled: Path, tmp_path: Path, deed: str) -> None:
    with open_shop(filled) as shop:
        copy = back_up(shop, tmp_path / "copy.sqlite")
        add_paper(shop, "Later")
    script = f"""
import resource, sys
from pathlib import Path
from inventory.maintenance.backup import back_up, restore
from inventory.database.open import open_shop
from nester.core.errors import Refusal
resource.setrlimit(resource.RLIMIT_FSIZE, (40960, 40960))
try:
    if {deed!r} == "restore":
        restore(Path({str(copy)!r}), Path({str(filled)!r}), replace=True)
    else:
        with open_shop(Path({str(filled)!r})) as shop:
            back_up(shop, Path({str(tmp_path / "second")!r}))
except Refusal as refused:
    print(refused)
"""
    ran = subprocess.run(
        [sys.executable, "-B", "-c", script], capture_output=True, text=True, check=True
    )
    assert "check the disk and its free space" in ran.stdout
    assert ran.stderr == ""
    assert names_of_papers(filled) == ["Later", "Night card"]
    assert names(tmp_path) == {"shop.sqlite", "copy.sqlite"}


# --- files that only look like a shop's

VERSION = "CREATE TABLE alembic_version (version_num)"
NOW = f"INSERT INTO alembic_version VALUES ('{HEAD_REVISION}')"  # noqa: S608 - ours
ODD = {
    "no version": ("CREATE TABLE shop (id)",),
    "version without a row": (VERSION,),
    "version of bytes": (VERSION, "INSERT INTO alembic_version VALUES (x'ff00')"),
    "two versions": (VERSION, "INSERT INTO alembic_version VALUES ('0001'), ('0002')"),
    "no tables": (VERSION, NOW),
    "no tables of old": (VERSION, "INSERT INTO alembic_version VALUES ('0002')"),
    "newer": (VERSION, "INSERT INTO alembic_version VALUES ('9\x1b[31m9')"),
}


@pytest.mark.parametrize("statements", ODD.values(), ids=ODD)
def test_a_file_that_lacks_a_shop_is_refused(tmp_path: Path, statements: tuple[str, ...]) -> None:
    file = tmp_path / "odd.sqlite"
    with closing(sqlite3.connect(file)) as connection:
        connection.execute(f"PRAGMA application_id = {0x51626F78}")
        for statement in statements:
            connection.execute(statement)
        connection.commit()
    before = file.read_bytes()
    with pytest.raises(Refusal) as refused, open_shop(file) as shop, shop.read() as session:
        papers.list_papers(session)
    assert str(refused.value).isprintable()
    assert file.read_bytes() == before
    new = tmp_path / "new.sqlite"
    with pytest.raises(Refusal):  # noqa: PT012 - what is old is brought up to date when opened
        restore(file, new)
        open_shop(new)
    assert names(tmp_path) <= {"odd.sqlite", "new.sqlite"}


def test_a_name_that_no_file_can_have_is_refused(filled: Path) -> None:
    with open_shop(filled) as shop, pytest.raises(Refusal, match="can't be reached or made"):
        back_up(shop, filled.with_name("x" * 5000))
    with pytest.raises(Refusal, match="it can't be read"):
        restore(filled.with_name("x" * 5000), filled)
    assert names(filled.parent) == {filled.name}


def test_a_folder_is_no_copy(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="this is a folder, not a shop's file"):
        restore(tmp_path, tmp_path / "new.sqlite")
