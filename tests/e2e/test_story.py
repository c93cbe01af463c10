"""A maker's week, from a new shop to the offcuts put away."""

from __future__ import annotations

import csv
import errno
import json
import re
import shlex
from functools import partial
from pathlib import Path

import pytest
from rich.cells import cell_len

from inventory.core.resources import demo_folder
from inventory.views.schemas import schema_names
from tests.e2e.conftest import README, Desk, conforms, one_sentence

APART = ("Designs", "What size to make, and on which sheets", "An estimate before buying")
"""Sections of the README that the week does not need: they are run beside it."""
SEARCHES = ("batch plan", "buy plan", "estimate", "fit")
"""Commands that look for plans; the tests want to know that they run, not how good plans are."""


def documented(*sections: str) -> list[list[str]]:
    """Return the commands in the README's blocks, in order; of some sections only, if given."""
    found = []
    for section in re.split(r"^## ", README.read_text(encoding="utf-8"), flags=re.M):
        title = section.partition("\n")[0]
        if sections and title not in sections:
            continue
        blocks = re.findall(r"^```sh\n(.*?)^```", section, re.M | re.S)
        lines = "".join(blocks).replace("\\\n", " ").splitlines()
        found += [shlex.split(line)[1:] for line in lines if line.startswith("quirebox ")]
    return found


def quickly(words: list[str]) -> list[str]:
    """Let a command that looks for plans not look long."""
    looks = any(" ".join(words).startswith(search) for search in SEARCHES)
    return [*words, "--effort", "quick"] if looks else words


def shop_of_the_readme(folder: Path) -> Desk:
    """An empty folder beside the demo's data."""
    made = Desk(folder)
    (made.folder / "demo_data").symlink_to(demo_folder())
    return made


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """The week of the README, told by running it."""
    desk = shop_of_the_readme(tmp_path_factory.mktemp("week"))
    apart = documented(*APART)
    for words in documented():
        if words not in apart:
            desk.do(*quickly(words), run=desk.run_here)
    return desk


@pytest.mark.parametrize("section", APART)
def test_what_the_readme_shows_beside_the_week(section: str, tmp_path: Path) -> None:
    desk = shop_of_the_readme(tmp_path)
    # An estimate takes prices from price lists, so these are read in too.
    for words in documented("A week at the table", "Buying"):
        if words[:2] == ["shop", "new"] or words[1] == "add" or words[:2] == ["buy", "prices"]:
            desk.do(*words, run=desk.run_here)
    for words in documented(section):
        desk.do(*quickly(words), run=desk.run_here)


def test_the_readme_tells_of_the_main_job() -> None:
    told = {tuple(words[:2]) for words in documented()}
    assert {
        ("shop", "new"), ("paper", "add"), ("sheet", "add"), ("offcut", "add"), ("order", "add"),
        ("batch", "plan"), ("batch", "steps"), ("batch", "papers"), ("batch", "cut"),
        ("buy", "prices"), ("buy", "list"), ("buy", "purchase"),
    } <= told  # fmt: skip
    assert any(words[0] == "fit" for words in documented())


def test_after_the_week_of_the_readme(week: Desk) -> None:
    look = partial(week.data, run=week.run_here)
    batches = {one["number"]: one for one in look("batches", "batch", "list", "--json")}
    assert {number: one["status"] for number, one in batches.items()} == {1: "cut", 2: "cut"}
    batch = batches[1]
    plan = look("batch", "batch", "show", "1", "--json")
    assert plan["batch"] == 1
    assert all(order["made"] for order in plan["orders"])
    assert plan["lacking"] == plan["restock"] == []
    orders = look("orders", "order", "list", "--status", "cut", "--json")
    numbers = {one["number"] for one in orders}
    assert numbers == {*batch["orders"], *batches[2]["orders"]}
    orders = [one for one in orders if one["number"] in batch["orders"]]

    wanted = {}
    for one in orders:
        order = look("order", "order", "show", str(one["number"]), "--json")
        for piece in order["pieces"]:
            key = piece["name"], piece["paper"]
            wanted[key] = wanted.get(key, 0) + piece["quantity"]
    made = {}
    for layout in plan["layouts"]:
        for piece in layout["pieces"]:
            key = piece["name"], layout["paper"]
            made[key] = made.get(key, 0) + layout["copies"]
    assert made == wanted

    stash = {row["label"]: row for row in look("stash", "stash", "list", "--empty", "--json")}
    plans = [look("batch", "batch", "show", batch, "--json") for batch in ("1", "2")]
    kept = {
        offcut["label"]
        for one in plans
        for layout in one["layouts"]
        for offcut in layout["offcuts"]
    }
    before = sum(words[:2] == ["offcut", "add"] for words in documented())
    offcuts = {row["label"] for row in stash.values() if row["kind"] == "offcut"}
    assert offcuts == kept | {f"K-{number}" for number in range(1, before + 1)}
    assert all(row["reserved"] == 0 for row in stash.values())
    for label in {layout["sheet"] for layout in plan["layouts"]}:
        taken = sum(one["copies"] for one in plan["layouts"] if one["sheet"] == label)
        history = look("history", "stash", "history", label, "--json")
        cut = [one for one in history if one["reason"] == "cut"]
        assert sum(-one["change"] for one in cut if one["batch"] == 1) == taken
        assert all(one["batch"] in (1, 2) for one in cut)
        assert history[-1]["after"] == stash[label]["quantity"]


def test_the_papers_of_the_week(week: Desk) -> None:
    plan = week.data("batch", "batch", "show", "1", "--json")
    (folder,) = (path.parent for path in week.folder.rglob("cut-list.csv"))
    assert len(list((folder / "layouts").glob("*.svg"))) == len(plan["layouts"])
    with (folder / "cut-list.csv").open(encoding="utf-8", newline="") as file:
        assert len(list(csv.reader(file))) == 1 + sum(len(one["steps"]) for one in plan["layouts"])


READING = {
    "batch": ("batch", "show", "1"),
    "batch_cost": ("batch", "cost", "1"),
    "batches": ("batch", "list"),
    "board": ("order", "board"),
    "check": ("shop", "check"),
    "cost": ("order", "cost", "1"),
    "counted": ("stash", "counted"),
    "deeds": ("stash", "log"),
    "deliveries": ("sheet", "deliveries"),
    "designs": ("design", "list"),
    "done": ("batch", "steps", "1"),
    "estimate": ("estimate", "gift-tag", "--on", "A4=0.20"),
    "found": ("stash", "find"),
    "history": ("stash", "history", "S-1"),
    "level_suggestions": ("buy", "level", "suggest"),
    "levels": ("buy", "level", "list"),
    "holders": ("offcut", "for", "5x5cm"),
    "makes": ("stash", "makes", "gift-tag", "all=Fern print"),
    "order": ("order", "show", "1"),
    "orders": ("order", "list"),
    "order_dates": ("buy", "dates"),
    "papers": ("paper", "list"),
    "places": ("place", "list"),
    "pieces": ("design", "show", "layered-box", "panel=12cm"),
    "cost_rates": ("cost", "show"),
    "price_history": ("buy", "prices", "list", "--history"),
    "prices": ("buy", "prices", "list"),
    "purchase": ("buy", "purchase", "show", "1"),
    "purchase_plan": ("buy", "plan", "--levels"),
    "purchases": ("buy", "purchase", "list"),
    "rates": ("buy", "rate", "list"),
    "restock": ("buy", "list"),
    "sheet_sizes": ("design", "sheets", "gift-tag", "--on", "A4", "--on", "A3"),
    "settings": ("design", "settings", "layered-box"),
    "shop": ("shop", "show"),
    "sizes": ("design", "sizes", "gift-tag", "--on", "A4", "--step", "2mm"),
    "spending": ("report", "spending"),
    "stash": ("stash", "list"),
    "suppliers": ("buy", "supplier", "list"),
    "supplies": ("supply", "list"),
    "supply_history": ("supply", "history", "Satin ribbon"),
    "spares": ("spare", "list"),
    "unused": ("report", "unused", "--days", "1"),
    "use": ("report", "use"),
    "yield": ("paper", "yield"),
}


def test_every_schema_is_held_to_by_a_command() -> None:
    assert {*READING, "fit"} == set(schema_names())


@pytest.mark.parametrize("schema", READING)
def test_what_a_person_can_read_a_program_can_too(week: Desk, schema: str) -> None:
    words = READING[schema]
    data = week.data(schema, *words, "--json", run=week.run_here)
    assert data
    text = week.do(*words, run=week.run_here)
    assert "\x1b" not in text
    assert max(map(cell_len, text.splitlines())) <= 80


def test_the_cut_list_fits_the_terminal(week: Desk) -> None:
    text = week.do("batch", "steps", "1")
    assert max(map(cell_len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert text.startswith("Keep fingers clear of the blade")
    assert "Layout 1" in text
    only = week.do("batch", "steps", "1", "--layout", "1")
    assert "Layout 2" not in only


def test_lists_are_imported_and_planned(desk: Desk, tmp_path: Path) -> None:
    """The demo's lists by hand; a plan that leaves an order waiting; and the plan dropped."""
    desk.do("--shop", "other.sqlite", "shop", "new", "Hazelmoth", "--unit", "cm")
    assert not desk.shop.exists()
    there = Desk(tmp_path, {"QUIREBOX_SHOP": str(tmp_path / "other.sqlite")})
    do, look = partial(there.do, run=there.run_here), partial(there.data, run=there.run_here)
    assert do("paper", "import", str(demo_folder() / "papers.csv")) == "Added 13 papers\n"
    assert (
        do("sheet", "import", str(demo_folder() / "sheets.csv"), "--yes")
        .splitlines()[-1]
        .startswith("Added ")
    )
    kept = do("offcut", "import", str(demo_folder() / "offcuts.csv"), "--yes")
    assert re.match(r"Added \d+ offcuts;", kept)
    assert do("order", "import", str(demo_folder() / "orders.csv")) == "Took 12 orders\n"
    plan = look("batch", "batch", "plan", "3", "12", "--effort", "quick", "--json")
    assert {one["number"]: one["made"] for one in plan["orders"]} == {3: True, 12: False}
    assert {one["order"] for one in plan["lacking"]} == {12}
    assert plan["restock"]
    reserved = sum(row["reserved"] for row in look("stash", "stash", "list", "--json"))
    assert reserved == sum(layout["copies"] for layout in plan["layouts"])
    shown = do("batch", "show", "1")
    assert "These orders wait for paper" in shown
    assert "Restock" in shown
    do("batch", "drop", "1")
    assert sum(row["reserved"] for row in look("stash", "stash", "list", "--json")) == 0
    assert one_sentence(there.run("batch", "cut", "1").err) == (
        "batch 1 is dropped; only an open batch can be changed."
    )


def test_the_demo_runs_in_an_empty_folder_and_again(desk: Desk) -> None:
    """The second time it replaces what it made, and nothing else that lies there."""
    first = desk.do("demo")
    folder = desk.folder / "quirebox-demo"
    assert max(map(cell_len, first.splitlines())) <= 80
    assert "\x1b" not in first
    assert "Restock" in first
    (papers,) = folder.glob("batch-*")
    pictures = {path.name for path in (papers / "layouts").glob("*.svg")}
    assert len(pictures) > 20
    assert not desk.shop.exists()
    own = [folder / "notes.txt", folder / "batch-mine" / "notes.txt", papers / "notes.txt"]
    own.append(folder / "shop.sqlite.bak")
    for path in own:
        path.parent.mkdir(exist_ok=True)
        path.write_text("mine")
    (papers / "layouts" / "999-S-1-old.svg").write_text("old")
    assert desk.do("demo", run=desk.run_here) == first
    assert {path.name for path in (papers / "layouts").glob("*.svg")} == pictures
    assert [path.read_text() for path in own] == ["mine"] * len(own)


def test_the_demo_touches_no_folder_of_another(desk: Desk) -> None:
    (desk.folder / "quirebox-demo").mkdir()
    (desk.folder / "quirebox-demo" / "shop.sqlite").write_text("mine")
    assert "was not made by the demo" in desk.refuses("demo")
    assert (desk.folder / "quirebox-demo" / "shop.sqlite").read_text() == "mine"


@pytest.mark.parametrize("kind", ["link", "file"])
def test_the_demo_writes_into_no_folder_that_it_did_not_make(desk: Desk, kind: str) -> None:
    elsewhere = desk.folder / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "plan.txt").write_text("mine")
    folder = desk.folder / "quirebox-demo"
    folder.mkdir()
    (folder / "made-by-quirebox-demo.txt").touch()
    if kind == "link":
        (folder / "batch-1").symlink_to(elsewhere, target_is_directory=True)
    else:
        (folder / "batch-1").write_text("mine")
    told = desk.refuses("demo", run=desk.run_here)
    assert "batch-1 is not a folder that the demo made" in told
    assert (elsewhere / "plan.txt").read_text() == "mine"


def test_an_earlier_demo_that_cannot_be_removed(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = desk.folder / "quirebox-demo"
    folder.mkdir()
    (folder / "made-by-quirebox-demo.txt").touch()
    (folder / "shop.sqlite").touch()

    def denied(_: Path, missing_ok: bool = False) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "unlink", denied)
    assert "can't be removed (Permission denied)" in desk.refuses("demo", run=desk.run_here)


def test_json_of_a_plan_of_nothing(desk: Desk) -> None:
    desk.do("shop", "new", "The paper nook")
    desk.do("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    desk.do("order", "add", "Ewa", "folded-card", "all=coal CARD", "--due", "in 3 days")
    ran = desk.run("batch", "plan", "--json")
    data = json.loads(ran.out)
    conforms("batch", data)
    assert (ran.code, ran.err) == (0, "")
    assert data["batch"] is None
    assert data["layouts"] == []
    assert data["lacking"]
