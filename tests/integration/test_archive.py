"""The whole shop as plain files: exact, harmless in a spreadsheet, and refused when spoilt."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from inventory.core.plan import Plan, plan_to_json
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.all import METADATA
from inventory.database.tables.enums import Reason
from inventory.maintenance import archive as archive_module
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.orders.orders import add_order
from inventory.stock import ledger, listing, lookup, papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm
from nester.core.problem import Cuts, Effort
from nester.designs.custom.starter_file import STARTER_TEXT
from tests.integration import test_migrations as steps
from tests.integration.conftest import CARD, TODAY, pour

NOTHING = Plan(
    batch=1, made_on=TODAY, shop="Nook", unit=Unit.CM, currency="EUR", cuts=Cuts.STRAIGHT,
    effort=Effort.QUICK, orders=(), parts=(), layouts=(), lacking=(), restock=(),
    cost=Decimal(0), bound=Decimal(0), notes=(),
)  # fmt: skip
"""A plan of which nothing is to be cut."""
ODD = ["=1+1", "'quoted", "+A1", "-x", "@sum", 'a "b", c', "🎁 «קופסה» עברית", "x" * 200, "plain"]
SMALL, NEXT = (cm(9), cm(9)), f"S-{len(ODD) + 2}"


def fill_oddly(shop: ShopFile) -> None:
    """Add to a filled shop what is hard to write down."""
    with shop.begin() as session:
        for name in ODD:
            papers.add_paper(session, name, colour=name, grammage=300)
            receiving.add_sheets(
                session, name, (cm(50), cm(70)), 3, price=Decimal("1.20"), place=name, note=name
            )
        add_order(session, "=cmd", "folded-card", CARD, {"all": "=1+1"}, 1, TODAY, TODAY)


def tables(archive: Path) -> dict[str, list[list[str]]]:
    with zipfile.ZipFile(archive) as packed:
        return {
            name: list(csv.reader(io.StringIO(packed.read(name).decode(), newline="")))
            for name in packed.namelist()
            if name.endswith(".csv")
        }


def test_out_and_in_and_out_again_is_the_same_to_the_byte(filled: ShopFile, tmp_path: Path) -> None:
    fill_oddly(filled)
    rows = export_shop(filled, tmp_path / "first.zip")
    assert set(rows) == set(METADATA.tables)
    assert rows["paper"] == len(ODD) + 1
    assert import_shop(tmp_path / "first.zip", tmp_path / "new.sqlite") == rows
    with open_shop(tmp_path / "new.sqlite") as again:
        assert check_shop(again).findings == ()
        export_shop(again, tmp_path / "second.zip")
        with again.begin() as session:  # and it goes on from there
            ledger.book_movement(session, lookup.find_stock(session, "S-1"), 1, Reason.RECEIVED)
            assert (
                receiving.add_sheets(session, "plain", (cm(9), cm(9)), 1).label
                == f"S-{len(ODD) + 2}"
            )
    assert (tmp_path / "first.zip").read_bytes() == (tmp_path / "second.zip").read_bytes()


def test_a_shop_moves_to_a_server_and_back(
    tmp_path: Path, shop_path: Path, filled_file: Path, empty_database: str
) -> None:
    with open_shop(shop_path) as shop:
        pour(filled_file, shop)
        fill_oddly(shop)
        export_shop(shop, tmp_path / "first.zip")
    import_shop(tmp_path / "first.zip", empty_database)
    with open_shop(empty_database) as server:
        assert check_shop(server).findings == ()
        export_shop(server, tmp_path / "second.zip")
        with server.begin() as session:
            assert (
                receiving.add_sheets(session, "plain", (cm(9), cm(9)), 1).label
                == f"S-{len(ODD) + 2}"
            )
            papers.add_paper(session, "After", colour="x", grammage=1)
    assert (tmp_path / "first.zip").read_bytes() == (tmp_path / "second.zip").read_bytes()
    with pytest.raises(Refusal, match="holds tables already"):
        import_shop(tmp_path / "first.zip", empty_database)


def test_no_cell_is_taken_for_a_formula(filled: ShopFile, tmp_path: Path) -> None:
    fill_oddly(filled)
    export_shop(filled, tmp_path / "first.zip")
    seen = 0
    for name, (columns, *rows) in tables(tmp_path / "first.zip").items():
        with zipfile.ZipFile(tmp_path / "first.zip") as packed:
            manifest = json.loads(packed.read("manifest.json"))
        kinds = {
            column["name"]: column["kind"]
            for one in manifest["tables"] if one["file"] == name for column in one["columns"]
        }  # fmt: skip
        for row in rows:
            for column, cell in zip(columns, row, strict=True):
                seen += cell.startswith("'")
                if kinds[column] != "number":
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
                else:
                    assert not cell or int(cell) is not None
    assert seen > 10


def test_nothing_is_overwritten(shop: ShopFile, tmp_path: Path) -> None:
    export_shop(shop, tmp_path / "first.zip")
    with pytest.raises(Refusal, match="exists already and is left as it is"):
        export_shop(shop, tmp_path / "first.zip")
    with pytest.raises(Refusal, match="exists already and is left as it is"):
        import_shop(tmp_path / "first.zip", tmp_path / "first.zip")
    with pytest.raises(Refusal, match="can't be written"):
        export_shop(shop, tmp_path / "nowhere" / "first.zip")


def test_an_archive_of_every_older_revision_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "shop.sqlite"
    for script in list(steps.scripts().walk_revisions())[::-1]:
        with monkeypatch.context() as older:
            steps.step(path, script.revision, older)
            with closing(sqlite3.connect(path)) as book:
                book.executescript(steps.FILL.get(script.revision, ""))
                book.execute("UPDATE batch SET plan = ?", [plan_to_json(NOTHING)])
                if script.revision >= "0002":
                    book.execute("UPDATE own_design SET text = ?", [STARTER_TEXT])
                book.commit()
            with open_shop(path) as shop:
                export_shop(shop, tmp_path / f"{script.revision}.zip")
        new = tmp_path / f"from-{script.revision}.sqlite"
        import_shop(tmp_path / f"{script.revision}.zip", new)
        with open_shop(new) as shop, shop.read() as session:
            found = {row.label: row.quantity for row in listing.list_stash(session)}
            assert (found["S-1"], found["K-1"]) == (10, 1)


# --- what is spoilt


def spoil(archive: Path, *, files: Callable[[dict[str, bytes]], None], signed: bool = True) -> Path:
    """Change what is in an archive; its sums are made to match, unless it is not signed."""
    with zipfile.ZipFile(archive) as packed:
        held = {name: packed.read(name) for name in packed.namelist()}
    files(held)
    if signed and "manifest.json" in held:
        manifest = json.loads(held["manifest.json"])
        for one in manifest["tables"]:
            data = held.get(one["file"], b"")
            one["sha256"] = hashlib.sha256(data).hexdigest()
        held["manifest.json"] = json.dumps(manifest).encode()
    spoilt = archive.with_name("spoilt.zip")
    with zipfile.ZipFile(spoilt, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in held.items():
            packed.writestr(name, data)
    return spoilt


def cell(table: str, line: int, column: str, value: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        rows = list(csv.reader(io.StringIO(files[table].decode(), newline="")))
        rows[line - 1][rows[0].index(column)] = value
        text = io.StringIO(newline="")
        csv.writer(text).writerows(rows)
        files[table] = text.getvalue().encode()

    return change


def manifest(**changes: Any) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files["manifest.json"] = json.dumps(json.loads(files["manifest.json"]) | changes).encode()

    return change


def cut_line(files: dict[str, bytes]) -> None:
    files["paper.csv"] = files["paper.csv"].rsplit(b"\r\n", 2)[0] + b"\r\n"


def no_utf8(files: dict[str, bytes]) -> None:
    files["paper.csv"] = files["paper.csv"].replace(b"Coal", b"\xff\xfe")


SPOILT = [
    (cell("paper.csv", 2, "grammage", "heavy"),
     "paper.csv, line 2, grammage: 'heavy' is no number; write it like 12"),
    (cell("paper.csv", 2, "grammage", ""), "paper.csv, line 2, grammage: a number is missing"),
    (cell("paper.csv", 2, "grammage", "9" * 12), "line 2, grammage: 999999999999 is too large"),
    (cell("paper.csv", 2, "grammage", "0"),
     "paper.csv, line 2, grammage: it must be 1 to 2,000, not 0"),
    (cell("paper.csv", 2, "name", "x" * 201), "paper.csv, line 2, name: 201 characters, and at"),
    (cell("paper.csv", 2, "pattern", "dotted"), "paper.csv, line 2, pattern: this can't be so"),
    (cell("stock.csv", 2, "width", "-1"),
     "stock.csv, line 2, width: it must be 1 to 240,000,000, not -1"),
    (cell("stock.csv", 3, "label", "S-1"),
     "stock.csv, line 3, label: the same stands in line 2 already"),
    (cell("stock.csv", 2, "paper_id", "77"),
     "stock.csv, line 2, paper_id: 77 is no id in paper.csv"),
    (cell("stock.csv", 2, "price", "dear"),
     "stock.csv, line 2, price: 'dear' is no amount; write it like 1.2"),
    (cell("movement.csv", 2, "at", "noon"), "movement.csv, line 2, at: 'noon' is no moment"),
    (cell("movement.csv", 2, "change", "1"), "the shop in it is not sound: S-1: after movement"),
    (cell("orders.csv", 2, "due", "soon"), "orders.csv, line 2, due: 'soon' is no date"),
    (cell("orders.csv", 2, "sizes", "{"), "orders.csv, line 2, sizes: '{' is no json"),
    (cell("batch.csv", 2, "plan", "{}"),
     "the shop in it is not sound: batch 1: its plan can't be read"),
    (cell("paper.csv", 1, "colour", "color"), "paper.csv, line 1, colour: this column must be"),
    (cut_line, "paper.csv: 0 rows, and manifest.json says 1"),
    (no_utf8, "paper.csv, line 2: this is not UTF-8 text"),
    (lambda files: files.pop("paper.csv"), "paper.csv: this file is missing in the archive"),
    (lambda files: files.pop("manifest.json"), "manifest.json: this is not a shop's archive"),
    (lambda files: files.update({"paper.csv": b'id,"name\r\n'}), "its quotes don't match"),
    (lambda files: files.update({"paper.csv": files["paper.csv"] + b"1,2\r\n"}),
     "line 3: 2 fields for 11 columns"),
    (manifest(version=2), "reads version 1; update Quirebox"),
    (manifest(format="x"), "this is not a shop's archive"),
    (manifest(tables=[]), "manifest.json does not list this table"),
    (manifest(revision="9999"), "was written by a newer version of Quirebox"),
]  # fmt: skip


@pytest.fixture(scope="session")
def archive(tmp_path_factory: pytest.TempPathFactory, filled_file: Path) -> Path:
    path = tmp_path_factory.mktemp("archive") / "shop.zip"
    with open_shop(filled_file) as shop:
        export_shop(shop, path)
    return path


@pytest.mark.parametrize(("files", "said"), SPOILT, ids=[said[:40] for _, said in SPOILT])
def test_a_spoilt_archive_is_refused_and_nothing_is_there(
    archive: Path, tmp_path: Path, files: Callable[[dict[str, bytes]], None], said: str
) -> None:
    spoilt = spoil(archive, files=files)
    with pytest.raises(Refusal) as refused:
        import_shop(spoilt, tmp_path / "new.sqlite")
    assert said in str(refused.value)
    assert str(refused.value).startswith(str(spoilt))
    assert list(tmp_path.iterdir()) == []


def test_a_change_that_does_not_match_its_sum_is_refused(archive: Path, tmp_path: Path) -> None:
    changed = spoil(archive, files=cell("paper.csv", 2, "colour", "red"), signed=False)
    with pytest.raises(Refusal, match=r"paper.csv: it was changed after the archive was written"):
        import_shop(changed, tmp_path / "new.sqlite")


def test_what_is_no_archive_is_refused(archive: Path, tmp_path: Path) -> None:
    (tmp_path / "text").write_text("dear diary")
    (tmp_path / "torn").write_bytes(archive.read_bytes()[:-100])
    for name, said in (
        ("text", "this is not a ZIP archive, or it is damaged"),
        ("torn", "this is not a ZIP archive, or it is damaged"),
        ("none", "there is no such file"),
        ("", "this is a folder"),
    ):
        with pytest.raises(Refusal, match=said):
            import_shop(tmp_path / name, tmp_path / "new.sqlite")


def test_an_archive_with_tricks_leaves_nothing_anywhere(archive: Path, tmp_path: Path) -> None:
    def elsewhere(files: dict[str, bytes]) -> None:
        told = json.loads(files["manifest.json"])
        told["tables"][0]["file"] = "../../elsewhere.csv"
        files["../../elsewhere.csv"] = files[told["tables"][0]["table"] + ".csv"]
        files["manifest.json"] = json.dumps(told).encode()

    # Nothing is unpacked to where a name points: files are read, and only those told of.
    import_shop(spoil(archive, files=elsewhere, signed=False), tmp_path / "new.sqlite")
    assert not list(tmp_path.parent.glob("elsewhere*"))
    twice = spoil(archive, files=lambda files: None)
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(twice, "a") as packed:
        packed.writestr("paper.csv", "id\r\n1\r\n")
    with pytest.raises(Refusal, match=r"paper.csv: it was changed after"):
        import_shop(twice, tmp_path / "other.sqlite")
    assert names_in(tmp_path) == {"new.sqlite"}


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_an_archive_that_would_fill_the_memory_is_refused(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_module, "_LARGEST_ARCHIVE", 1_000_000)
    large = spoil(archive, files=lambda files: files.update({"more.csv": b" " * 1_000_000}))
    assert large.stat().st_size < 100_000
    with pytest.raises(Refusal, match="unpacked it has more than 1 MB"):
        import_shop(large, tmp_path / "new.sqlite")
    assert names_in(tmp_path) == set()
