"""`quirebox shop check`, `backup`, `restore`, `export` and `import` at the desk."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from inventory.cli.main import main
from inventory.database.open import PATH_VARIABLE
from inventory.maintenance.check import CHECKS
from tests.integration.conftest import Hand


@pytest.fixture
def paper(hand: Hand) -> Hand:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "5")
    return hand


def test_check_says_what_it_proves(paper: Hand) -> None:
    said = paper.does("shop", "check")
    assert said.endswith("No errors were found\n")
    assert all(f"right    {proves}" in said for proves, _ in CHECKS.values())
    data = paper.data("check", "shop", "check")
    assert data["sound"] is True
    assert data["findings"] == []


def test_check_ends_with_1_if_the_book_is_not_sound(
    paper: Hand, shop_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(shop_path)) as book:
        book.execute("UPDATE stock SET label = 'S-7'")
        book.commit()
    assert main(["shop", "check"]) == 1
    said = capsys.readouterr().out
    assert "WRONG    every label is of its kind and number" in said
    assert "S-7: sheet number 1 should have the label S-1" in said
    assert "skipped  no sheet is reserved twice" in said
    assert said.endswith("Errors were found; restore a backup\n")
    assert main(["shop", "check", "--json"]) == 1
    assert '"sound": false' in capsys.readouterr().out


def test_backup_and_restore(paper: Hand, shop_path: Path, tmp_path: Path) -> None:
    copy = str(tmp_path / "sunday.sqlite")
    assert paper.does("shop", "backup", copy) == f"Copied the shop to {copy}\n"
    assert "shop.backup-" in paper.does("shop", "backup")
    paper.does("sheet", "add", "Coal card", "50x70cm", "--quantity", "3")
    assert "--replace" in paper.refused("shop", "restore", copy)
    assert "8 sheets" in paper.does("shop", "show")
    said = paper.does("shop", "restore", copy, "--replace")
    assert "The file from before is kept as" in said
    assert "shop.before-restore-" in said
    assert "5 sheets" in paper.does("shop", "show")


def test_export_and_import(paper: Hand, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = str(tmp_path / "shop.zip")
    assert archive in paper.does("shop", "export", archive)
    assert "exists already" in paper.refused("shop", "import", archive)
    monkeypatch.setenv(PATH_VARIABLE, str(tmp_path / "new.sqlite"))
    assert "into the new shop" in paper.does("shop", "import", archive)
    assert "5 sheets" in paper.does("shop", "show")
    assert "no such file" in paper.refused("--shop", "third", "shop", "import", "nowhere.zip")


def test_a_shop_on_a_server_is_used_by_its_url(
    hand: Hand, empty_database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = hand.does("--shop", empty_database, "shop", "new", "Nook")
    assert "Made the shop 'Nook' in postgresql://" in said
    monkeypatch.setenv(PATH_VARIABLE, empty_database)
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    assert "1 paper, " in hand.does("shop", "show")
    assert hand.does("shop", "check").endswith("No errors were found\n")
    assert "'quirebox shop export'" in hand.refused("shop", "backup")
