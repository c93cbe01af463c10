"""`quirebox fit` as it is promised: what it takes, what it refuses, what it answers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from rich.cells import cell_len

from tests.e2e.conftest import Desk, conforms, one_sentence

PIECES = "name,width,height,quantity\nlid,185,185,3\ncard,100,150,4\n"
SHEETS = "name,width,height,quantity\nlarge,500,700,\nsmall,210,297,2\n"
QUICK = ("--effort", "quick")


@pytest.fixture
def lists(desk: Desk) -> Desk:
    write(desk, "pieces.csv", PIECES)
    write(desk, "sheets.csv", SHEETS)
    return desk


def write(desk: Desk, name: str, content: str | bytes) -> None:
    data = content.encode() if isinstance(content, str) else content
    (desk.folder / name).write_bytes(data)


def fit(desk: Desk, *options: str) -> dict:
    return desk.data("fit", "fit", "pieces.csv", "sheets.csv", *QUICK, *options, "--json")


def test_the_answer_as_json_and_as_text(lists: Desk) -> None:
    data = fit(lists)
    assert (data["unit"], data["cuts"], data["unplaced"]) == ("mm", "straight", [])
    placed = {}
    for layout in data["layouts"]:
        for piece in layout["pieces"]:
            placed[piece["name"]] = placed.get(piece["name"], 0) + layout["copies"]
    assert placed == {"lid": 3, "card": 4}
    areas = {"large": 500 * 700, "small": 210 * 297}
    assert data["cost"] == sum(areas[one["sheet"]] * one["copies"] for one in data["layouts"])
    assert data["gap"] == pytest.approx((data["cost"] - data["bound"]) / data["cost"])
    text = lists.do("fit", "pieces.csv", "sheets.csv", *QUICK)
    assert "\x1b" not in text
    assert max(map(cell_len, text.splitlines())) <= 80


def test_json_into_a_file_beside_the_text_and_drawings(lists: Desk) -> None:
    text = lists.do(
        "fit", "pieces.csv", "sheets.csv", *QUICK, "--into", "a.json", "--drawings", "pictures"
    )
    assert "Layouts" in text
    data = json.loads((lists.folder / "a.json").read_text(encoding="utf-8"))
    conforms("fit", data)
    drawn = sorted(path.name for path in (lists.folder / "pictures").iterdir())
    assert drawn == [f"{number:03}.svg" for number in range(1, len(data["layouts"]) + 1)]


def test_the_same_lists_give_the_same_answer(lists: Desk) -> None:
    said = []
    for seed in ("1", "2"):
        desk = Desk(lists.folder, {"PYTHONHASHSEED": seed})
        text = desk.do("fit", "pieces.csv", "sheets.csv", *QUICK, "--into", "a.json", "--yes")
        said.append((text, (lists.folder / "a.json").read_bytes()))
    assert said[0] == said[1]


def test_what_fits_no_sheet_is_listed_and_the_code_is_3(lists: Desk) -> None:
    write(lists, "pieces.csv", PIECES + "banner,90cm,5cm,2\n")
    ran = lists.run("fit", "pieces.csv", "sheets.csv", *QUICK, "--json")
    assert (ran.code, ran.err) == (3, "")
    data = json.loads(ran.out)
    conforms("fit", data)
    (unplaced,) = data["unplaced"]
    assert (unplaced["name"], unplaced["quantity"]) == ("banner", 2)
    assert data["layouts"]


def test_a_piece_whose_paper_is_not_there_is_listed_too(lists: Desk) -> None:
    write(lists, "pieces.csv", "name,width,height,quantity,paper\nmat,5cm,5cm,2,gold\n")
    ran = lists.run("fit", "pieces.csv", "sheets.csv", *QUICK)
    assert (ran.code, ran.err) == (3, "")
    assert "No piece could be placed." in ran.out
    assert "gold" in ran.out


def test_units_of_every_kind(lists: Desk) -> None:
    write(
        lists,
        "pieces.csv",
        "name,width,height,quantity,turn\n"
        "a,54cm,7 1/16in,1,any\nb,7-1/16 in,18.5 cm,1,none\nc,7½,2,1,\n",
    )
    write(lists, "sheets.csv", "name,width,height,quantity,price\ns,20 in,30 in,5,1.20\n")
    data = fit(lists, "--unit", "in", "--cuts", "free")
    assert data["cuts"] == "free"
    sizes = {
        piece["name"]: sorted((piece["width"], piece["height"]))
        for layout in data["layouts"]
        for piece in layout["pieces"]
    }
    assert sizes == {"a": [179.3875, 540], "b": [179.3875, 185], "c": [50.8, 190.5]}
    assert data["cost"] == pytest.approx(1.2 * sum(one["copies"] for one in data["layouts"]))


@pytest.mark.parametrize(
    "pieces",
    [
        b"\xef\xbb\xbf" + PIECES.encode(),
        PIECES.replace("\n", "\r\n").encode(),
        PIECES.replace(",", ";").encode(),
        b"\xef\xbb\xbf" + PIECES.replace(",", ";").replace("\n", "\r\n").encode(),
    ],
    ids=["byte-order mark", "Windows lines", "semicolons", "all of it"],
)
def test_files_as_spreadsheets_write_them(lists: Desk, pieces: bytes) -> None:
    write(lists, "pieces.csv", pieces)
    assert fit(lists)["unplaced"] == []


HEAD = "name,width,height,quantity\n"
BAD = {
    "unknown unit": (HEAD + "a,5,5ft,1\n", "line 2, height: '5ft' has an unknown unit"),
    "zero": (HEAD + "a,0,5,1\n", "line 2, width: '0' must be more than zero"),
    "negative": (HEAD + "a,5,-3cm,1\n", "line 2, height: '-3cm' must be more than zero"),
    "huge": (HEAD + "a,5,10001,1\n", "line 2, height: '10001' is more than 10 m"),
    "not a number": (HEAD + "a,nan,5,1\n", "line 2, width: 'nan' is not a size"),
    "infinite": (HEAD + "a,inf,5,1\n", "line 2, width: 'inf' is not a size"),
    "exponent": (HEAD + "a,1e3,5,1\n", "line 2, width: '1e3' is not a size"),
    "missing column": ("name,width,quantity\na,5,1\n", "line 1: the column 'height' is missing"),
    "doubled column": ("name,width,width,height,quantity\na,5,5,5,1\n", "two columns 'width'"),
    "part of a piece": (HEAD + "a,5,5,1.5\n", "line 2, quantity: '1.5' is not a whole number"),
    "no pieces": (HEAD + "a,5,5,0\n", "line 2, quantity: 0 is too few"),
    "no quantity": (HEAD + "a,5,5,\n", "line 2, quantity: a whole number is missing"),
    "not UTF-8": (HEAD.encode() + "grün,5,5,1\n".encode("latin-1"), "line 2: not UTF-8 text"),
    "UTF-16": ((HEAD + "a,5,5,1\n").encode("utf-16"), "not UTF-8 text"),
    "empty": ("", "the file is empty"),
    "only a head": (HEAD, "there is no line below the column names"),
    "doubled name": (HEAD + "a,5,5,1\nb,4,4,1\nA,6,6,1\n", "line 4, name: 'A' stands in line 2"),
    "bad turn": (HEAD.replace("\n", ",turn\n") + "a,5,5,1,half\n", "must be any or none"),
    "open quote": (HEAD + 'a,5,5,"1\n', "line 2: its quotes don't match"),
    "zero bytes": (b"name,width\0", "not plain text"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused_in_one_sentence(lists: Desk, case: str) -> None:
    content, said = BAD[case]
    write(lists, "pieces.csv", content)
    told = lists.refuses("fit", "pieces.csv", "sheets.csv", "--into", "a.json")
    assert said in told
    assert told.startswith("pieces.csv")


def test_a_list_that_is_not_there(lists: Desk) -> None:
    assert "nowhere.csv: there is no such file" in lists.refuses("fit", "pieces.csv", "nowhere.csv")


@pytest.mark.parametrize("seconds", ["0", "nan", "inf", "1e9"])
def test_a_safety_stop_that_is_no_time(lists: Desk, seconds: str) -> None:
    assert "--seconds" in lists.refuses(
        "fit", "pieces.csv", "sheets.csv", "--seconds", seconds, "--into", "a.json"
    )


FULL = Path("/dev/full")
on_linux = pytest.mark.skipif(
    not (FULL.exists() and Path("/proc/self").exists()), reason="needs Linux's /dev/full and /proc"
)


@on_linux
def test_an_answer_that_cannot_be_written_is_refused(lists: Desk) -> None:
    (lists.folder / "full.json").symlink_to(FULL)
    for target, why in (
        ("/proc/a.json", "can't be written"),
        ("full.json", "No space left on device"),
        ("nowhere/a.json", "No such file or directory"),
    ):
        told = lists.refuses("fit", "pieces.csv", "sheets.csv", *QUICK, "--into", target)
        assert told.startswith(f"{target}: ")
        assert why in told
    told = lists.refuses("fit", "pieces.csv", "sheets.csv", *QUICK, "--drawings", "/proc/pictures")
    assert "/proc/pictures: this folder can't be made" in told


@on_linux
def test_an_output_that_is_full_is_refused(lists: Desk) -> None:
    code, told = with_full_output(lists, "fit", "pieces.csv", "sheets.csv", *QUICK)
    assert (code, told) == (2, "the output can't be written (No space left on device).")


@on_linux
def test_what_is_stored_is_no_failure_if_the_output_is_full(lists: Desk) -> None:
    done = "this is done and stored, but the output can't be written (No space left on device)."
    for words in (
        ("shop", "new", "Nook"),
        ("paper", "add", "Coal", "--colour", "black", "--grammage", "300"),
        ("sheet", "add", "Coal", "50x70cm", "--quantity", "5"),
        ("shop", "backup", "copy.sqlite"),
        ("fit", "pieces.csv", "sheets.csv", *QUICK, "--into", "answer.json"),
    ):
        assert with_full_output(lists, *words) == (0, done)
    told = lists.do("stash", "list")
    assert "S-1" in told
    assert "S-2" not in told
    assert json.loads((lists.folder / "answer.json").read_text())["layouts"]
    code, told = with_full_output(lists, "sheet", "add", "Cool", "50x70cm", "--quantity", "5")
    assert code == 2
    assert "there is no paper 'Cool'" in told


def with_full_output(desk: Desk, *words: str) -> tuple[int, str]:
    with FULL.open("wb") as full:
        process = desk.start(*words, stdout=full, stderr=-1)
        _, err = process.communicate(timeout=60)
    return process.returncode, one_sentence(err.decode())


def test_a_file_is_replaced_only_with_a_yes(lists: Desk) -> None:
    mine = [lists.folder / "mine.json", lists.folder / "drawn" / "007.svg"]
    for path in mine:
        path.parent.mkdir(exist_ok=True)
        path.write_text("mine")
    fit = ("fit", "pieces.csv", "sheets.csv", *QUICK)
    told = lists.refuses(*fit, "--into", "mine.json")
    assert told == ("mine.json exists already; add --yes to replace it, or choose another name.")
    told = lists.refuses(*fit, "--into", "new.json", "--drawings", "drawn")
    assert told.startswith("drawn/007.svg exists already; ")
    told = lists.refuses(*fit, "--into", "pieces.csv")
    assert told.startswith("pieces.csv exists already; ")
    assert [path.read_text() for path in mine] == ["mine"] * 2
    lists.do(*fit, "--into", "mine.json", "--drawings", "drawn", "--yes")
    assert json.loads(mine[0].read_text())["layouts"]
    assert not mine[1].exists()
    assert mine[0].stat().st_mode & 0o777 == 0o600
