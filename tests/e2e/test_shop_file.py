"""What is wrong with the shop's file, or with what is asked of it: one sentence, nothing stored."""

from __future__ import annotations

import os
import sqlite3
import sys
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from tests.e2e.conftest import Desk, one_sentence


def test_there_is_no_shop_yet(desk: Desk) -> None:
    told = desk.refuses("stash", "list")
    assert str(desk.shop) in told
    assert "quirebox shop new" in told


def test_without_a_word_the_shop_lies_in_the_home(desk: Desk) -> None:
    bare = Desk(desk.folder, {"QUIREBOX_SHOP": ""})
    bare.do("shop", "new", "The paper nook", "--unit", "in", "--currency", "USD")
    (found,) = desk.folder.rglob("shop.sqlite")
    assert found.parent.name == "quirebox"
    assert "Unit in, currency USD" in bare.do("shop", "show")


@pytest.mark.parametrize("words", [("design", "list"), ("stash", "list")])
def test_a_shop_that_cannot_be_looked_for(desk: Desk, words: tuple[str, ...]) -> None:
    far = Desk(desk.folder, {"QUIREBOX_SHOP": "x" * 5000})
    assert "can't be reached" in far.refuses(*words, run=far.run_here)


def test_a_shop_is_never_overwritten(stocked: Desk) -> None:
    assert "exists already" in stocked.refuses("shop", "new", "Another")


def test_a_shop_of_a_newer_version(stocked: Desk) -> None:
    with closing(sqlite3.connect(stocked.shop)) as book:
        book.execute("UPDATE alembic_version SET version_num = '9999'")
        book.commit()
    assert "newer version of Quirebox" in stocked.refuses("stash", "list")
    assert "newer version of Quirebox" in stocked.refuses(
        "paper", "add", "Coal", "--colour", "black", "--grammage", "300"
    )


def test_a_file_that_is_no_shop(desk: Desk) -> None:
    desk.shop.write_text("name,width\n")
    ran = desk.run("stash", "list")
    assert ran.code == 2
    assert "is not a shop's file" in one_sentence(ran.err)
    assert desk.shop.read_text() == "name,width\n"


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder nobody may write in")
def test_a_read_only_folder(stocked: Desk) -> None:
    assert "/proc" in stocked.refuses("--shop", "/proc/shop.sqlite", "shop", "new", "Nook")
    stocked.do("batch", "plan", "3", "--effort", "quick")
    told = stocked.refuses("batch", "papers", "1", "--into", "/proc/week")
    assert "this folder can't be made" in told


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="root may write everywhere"
)
def test_a_folder_one_may_not_write_in(stocked: Desk) -> None:
    stocked.folder.chmod(0o555)
    try:
        assert one_sentence(stocked.run("shop", "set", "--name", "Nook").err)
        ran = stocked.run("--shop", "new.sqlite", "shop", "new", "Nook")
        assert ran.code == 2
        assert "Permission denied" in one_sentence(ran.err)
    finally:
        stocked.folder.chmod(0o755)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on a file's size")
def test_a_full_disk(stocked: Desk) -> None:
    """No file may grow further, as on a full disk."""
    import resource

    def no_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    # Nor may Python keep what it compiles: it would cut that short without a word.
    full = Desk(stocked.folder, {"PYTHONDONTWRITEBYTECODE": "1"})

    many = "".join(f"Paper {n},black,smooth,300\n" for n in range(500))
    (stocked.folder / "papers.csv").write_text(f"name,colour,finish,grammage\n{many}")
    told = full.refuses("paper", "import", "papers.csv", run=partial(full.run, before=no_room))
    assert "disk" in told
    assert "nothing was changed" in told
    assert stocked.do("paper", "import", "papers.csv") == "Added 500 papers\n"


ORDER = ("order", "add", "Ewa", "folded-card", "--due")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("sheet", "add", "Coal crd", "50x70cm"), "there is no paper 'Coal crd'; did you mean"),
        (("sheet", "add", "Coal card", "50x70m"), "unknown unit 'm'"),
        (("sheet", "add", "Coal card", "0x70"), "more than zero"),
        (("sheet", "add", "Coal card", "50x70cm", "--price", "nan"), "not an amount of money"),
        (("sheet", "add", "Coal card", "50x70cm", "--quantity", "0"), "--quantity"),
        (("offcut", "add", "Coal card", "2000x5cm"), "more than 10 m"),
        (("paper", "add", "COAL  card", "--colour", "x", "--grammage", "1"), "already"),
        (("paper", "add", "New", "--colour", "x", "--grammage", "0"), "g/m²"),
        ((*ORDER, "soon", "--paper", "all=Coal card"), "'soon' is not a day"),
        ((*ORDER, "in 5 days", "--paper", "all=Gold leaf"), "there is no paper 'Gold leaf'"),
        ((*ORDER, "in 5 days", "--paper", "card=Coal card"), "needs a paper for mat"),
        ((*ORDER, "in 5 days", "--paper", "all"), "write it as NAME=VALUE"),
        ((*ORDER, "in 5 days", "--size", "width=0", "--paper", "all=Coal card"), "width"),
        ((*ORDER, "in 5 days", "--copies", "1.5", "--paper", "all=Coal card"), "--copies"),
        (("order", "add", "Ewa", "hat-box", "--due", "in 5 days"), "there is no design 'hat-box'"),
        (("order", "move", "1", "planned"), "batch list"),
        (("order", "show", "99"), "there is no order 99"),
        (("stash", "count", "S-99", "3"), "nothing in the stash has the label 'S-99'"),
        (("stash", "spoil", "S-1", "--quantity", "999"), "has 15 on hand"),
        (("batch", "show", "7"), "there is no batch 7"),
        (("batch", "plan", "99"), "there is no order 99"),
        (("shop", "set", "--offcut-worth", "101"), "100"),
    ],
)
def test_what_cannot_be_is_refused(stocked: Desk, words: tuple[str, ...], said: str) -> None:
    assert said in stocked.refuses(*words, run=stocked.run_here)


def test_a_list_with_one_wrong_line_is_not_taken_at_all(stocked: Desk) -> None:
    (stocked.folder / "sheets.csv").write_text(
        "paper,size,quantity\nCoal card,50x70cm,3\nGold leaf,50x70cm,3\n"
    )
    told = stocked.refuses("sheet", "import", "sheets.csv", "--yes")
    assert told.startswith("sheets.csv, line 3, paper: there is no paper 'Gold leaf'")


def test_an_order_due_in_the_past_is_taken_with_a_warning(stocked: Desk) -> None:
    ran = stocked.run(*ORDER, "2020-02-29", "--paper", "all=Coal card")
    assert ran.code == 0
    assert ran.out.startswith("Took order 13")
    assert one_sentence(f"{ran.err.strip()}.\n").startswith("order 13 was due on 2020-02-29")
    (late, *_) = stocked.data("orders", "order", "list", "--json")
    assert (late["number"], late["due"], late["status"]) == (13, "2020-02-29", "confirmed")
