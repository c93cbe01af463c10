"""What no command could have stored is refused by import and found by check, wherever it stands."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import resource
import subprocess
import sys
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import Boolean, Date, Enum, Table

from inventory.costs.rates import import_postage, set_consumable, set_print, set_rates
from inventory.database.archive_writer import archived_tables
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.all import METADATA
from inventory.database.tables.base import UtcDateTime
from inventory.database.tables.enums import ConsumableUnit
from inventory.database.tables.row_rules import ROW_RULES
from inventory.database.tables.stock import Paper
from inventory.maintenance import archive as archive_module
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.check import check_shop
from inventory.orders.custom_designs import add_custom_design
from inventory.purchasing.prices import set_price
from inventory.purchasing.purchases import PurchaseLineRequest, add_purchase
from inventory.purchasing.reorder_levels import set_level
from inventory.purchasing.suppliers import set_rate, set_supplier
from inventory.stock import supplies
from inventory.stock.places import add_place
from inventory.stock.receiving import ReceiptLine, receive_goods
from nester.core.errors import Refusal
from nester.core.lengths import cm, mm
from nester.designs.custom.starter_file import STARTER_TEXT
from tests.integration.conftest import TODAY, fill
from tests.integration.test_check import harm

SHEET = (cm(50), cm(70))


def fill_richly(shop: ShopFile, folder: Path) -> None:
    """Put something into nearly every table."""
    fill(shop)
    (folder / "postage.csv").write_text("weight,price\n500 g,1.60\n1 kg,2.70\n")
    with shop.begin() as session:
        add_place(session, "Cupboard")
        add_place(session, "Box", inside="Cupboard")
        set_supplier(session, "Paper Ltd", shipping=Decimal("5.90"), days=5)
        set_rate(session, "GBP", Decimal("1.17"), TODAY)
        set_price(session, "Paper Ltd", "Coal card", SHEET, Decimal(31), pack=25, day=TODAY)
        wish = PurchaseLineRequest("Coal card", SHEET, 2)
        add_purchase(session, "Paper Ltd", [wish], today=TODAY)
        set_level(session, "Coal card", 10, 50)
        line = ReceiptLine("Coal card", SHEET, 3, place="Shelf", price=Decimal("1.2"))
        receive_goods(session, [line], supplier="Paper Ltd", number="7")
        supplies.add_supply(session, "Satin", "reel")
        supplies.receive_supply(session, "Satin", cm(900), price=Decimal(4))
        set_rates(session, hour=Decimal(20), fee=Decimal("6.5"), margin=Decimal(30))
        set_consumable(session, "glue", price=Decimal(2), per=ConsumableUnit.AREA)
        set_print(session, (mm(100), mm(150)), Decimal("0.3"))
        import_postage(session, folder / "postage.csv")
        add_custom_design(session, STARTER_TEXT, "own.toml")


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rich")
    with open_shop(folder / "shop.sqlite", create=True, unit="mm") as shop:
        fill_richly(shop, folder)
        export_shop(shop, folder / "shop.zip")
    return folder / "shop.zip"


@pytest.fixture(scope="module")
def tables(archive: Path) -> dict[str, Table]:
    with open_shop(archive.with_name("shop.sqlite")) as shop, shop.read() as session:
        return archived_tables(session.connection())


def with_cell(archive: Path, path: Path, table: str, column: str, value: str) -> Path:
    """Write an archive, sums and all, in which a cell of a table's first row is another one."""
    with zipfile.ZipFile(archive) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    rows = list(csv.DictReader(io.StringIO(files[f"{table}.csv"].decode(), newline="")))
    rows[0][column] = value
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    return sealed(path, {**files, f"{table}.csv": text.getvalue().encode()})


def sealed(path: Path, files: dict[str, bytes], rows: dict[str, int] | None = None) -> Path:
    manifest = json.loads(files["manifest.json"])
    for entry in manifest["tables"]:
        entry["sha256"] = hashlib.sha256(files[entry["file"]]).hexdigest()
        entry["rows"] = (rows or {}).get(entry["table"], entry["rows"])
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return path


ESCAPE, TURNED, TWO_LINES = "\x1b[31mred", "ab\u202ecd", "a\nb"
CONTRADICTIONS = [
    ("place", "parent_id", "1"),
    ("stock", "label", "S-77"),
    ("orders", "status", "delivered"),
    ("order_step", "status", "delivered"),
    ("batch", "status", "open"),
    ("batch", "mends_id", "1"),
    ("delivery", "supplier_key", "x"),
    ("supply_item", "label", "R-9"),
    ("own_design", "text", "name = 1"),
    ("own_design", "name", "another"),
    ("paper", "name", ESCAPE),
    ("exchange_rate", "rate", "NaN"),
]
"""Told by other rows or columns, and two that are told by themselves."""
NONSENSE = [
    *(("paper", "name", text) for text in (ESCAPE, TURNED, TWO_LINES, " Coal card ", "\u200b")),
    *(("paper", "colour", text) for text in (ESCAPE, TURNED, TWO_LINES)),
    ("paper", "grammage", "2001"),
    ("paper", "caliper", "999999999"),
    ("paper", "swatch", "#12345g"),
    ("paper", "note", ESCAPE),
    ("place", "name", "a/b"),
    ("place", "name", ESCAPE),
    ("stock", "width", "1000000000000000"),
    ("stock", "number", "0"),
    *(("stock", "price", text) for text in ("NaN", "Infinity", "-1", "1e3", "1.23456", "٣")),
    ("stock", "lot", TWO_LINES),
    ("stock", "note", TURNED),
    ("orders", "sizes", "null"),
    ("orders", "sizes", "[]"),
    ("orders", "sizes", '{"width": null}'),
    ("orders", "papers", '{"all": 7}'),
    ("orders", "customer", ESCAPE),
    ("orders", "copies", "1000001"),
    ("deed", "note", ESCAPE),
    ("movement", "note", TWO_LINES),
    ("delivery", "supplier", ESCAPE),
    ("supplier", "shipping", "-5"),
    ("supplier", "shipping", "NaN"),
    ("supplier", "currency", "eur"),
    *(("exchange_rate", "rate", text) for text in ("-1", "0", "NaN", "Infinity", "1000001")),
    ("exchange_rate", "currency", "€€€"),
    *(("price", "amount", text) for text in ("-1", "0", "NaN", "Infinity")),
    ("price", "pack", "2000000"),
    ("price", "width", "1000000000000000"),
    ("restock_level", "reorder", "2000000"),
    ("purchase_line", "amount", "Infinity"),
    ("purchase", "number", ESCAPE),
    ("supply_movement", "change", "9000000000000000000"),
    ("cost_rates", "hour", "NaN"),
    ("cost_rates", "fee", "-3"),
    ("cost_rates", "margin", "99"),
    ("consumable_rate", "price", "Infinity"),
    ("print_price", "width", "9000000000000"),
    ("postage_step", "grams", "-1"),
    ("shop", "name", ESCAPE),
    ("shop", "currency", "x\x1b["),
    ("shop", "gap", "1000000000000"),
    ("shop", "stages", "9999"),
]


@pytest.mark.parametrize(
    ("table", "column", "value"),
    CONTRADICTIONS,
    ids=[f"{t}.{c}={v!a}" for t, c, v in CONTRADICTIONS],
)
def test_nonsense_is_not_imported(
    archive: Path, tmp_path: Path, table: str, column: str, value: str
) -> None:
    odd = with_cell(archive, tmp_path / "odd.zip", table, column, value)
    with pytest.raises(Refusal) as refused:
        import_shop(odd, tmp_path / "new.sqlite")
    said = str(refused.value)
    assert said.isprintable()
    assert f"{table}.csv, line 2, {column}: " in said or "the shop in it is not sound" in said
    assert [path.name for path in tmp_path.iterdir()] == ["odd.zip"]


@pytest.mark.parametrize(
    ("table", "column", "value"), NONSENSE, ids=[f"{t}.{c}={v!a}" for t, c, v in NONSENSE]
)
def test_nonsense_is_refused_as_it_is_read(
    archive: Path, tables: dict[str, Table], tmp_path: Path, table: str, column: str, value: str
) -> None:
    """As above, without the second that building a shop takes."""
    odd = with_cell(archive, tmp_path / "odd.zip", table, column, value)
    with archive_module._open_archive(odd) as opened, pytest.raises(Refusal) as refused:
        list(archive_module._rows_of(opened, tables[table]))
    said = str(refused.value)
    assert said.isprintable()
    assert said.startswith(f"{odd}, {table}.csv, line 2, {column}: ")


def test_sense_is_imported(archive: Path, tmp_path: Path) -> None:
    same = with_cell(archive, tmp_path / "same.zip", "paper", "colour", "blue")
    import_shop(same, tmp_path / "new.sqlite")
    with open_shop(tmp_path / "new.sqlite") as shop:
        assert check_shop(shop).findings == ()


@pytest.mark.parametrize(
    ("statement", "check"),
    [
        ("UPDATE paper SET name = 'a' || char(27)", "rows"),
        ("UPDATE stock SET price = '1.23456' WHERE id = 1", "rows"),
        ("UPDATE stock SET price = 'NaN' WHERE id = 1", "values"),
        ("UPDATE paper SET colour = CAST(x'ff' AS TEXT)", "values"),
        ("UPDATE orders SET sizes = 'null'", "rows"),
        ("INSERT INTO place VALUES (98, 'A', 'a', 99), (99, 'B', 'b', 98)", "places"),
        ("UPDATE stock SET parent_id = 99 - id WHERE id = 2", "pointers"),
        ("UPDATE paper SET note = 'another'", "content"),
        ("UPDATE alembic_version SET version_num = version_num || ''", None),
    ],
)
def test_nonsense_is_found(
    filled_file: Path, tmp_path: Path, statement: str, check: str | None
) -> None:
    import shutil
    import sqlite3
    from contextlib import closing

    path = tmp_path / "shop.sqlite"
    shutil.copyfile(filled_file, path)
    with closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA ignore_check_constraints = ON")
        book.execute(statement)
        book.commit()
    with open_shop(path) as shop:
        found = {finding.check for finding in check_shop(shop).faults}
    assert check in found if check else not found


def test_what_a_circle_of_places_does_to_a_command(filled_file: Path, tmp_path: Path) -> None:
    import shutil
    import sqlite3
    from contextlib import closing

    path = tmp_path / "shop.sqlite"
    shutil.copyfile(filled_file, path)
    with closing(sqlite3.connect(path)) as book:
        book.execute("INSERT INTO place VALUES (98, 'A', 'a', 99), (99, 'B', 'b', 98)")
        book.commit()
    told = subprocess.run(
        [sys.executable, "-c", "from inventory.start import run; run()", "--shop", str(path),
         "place", "list"],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert told.returncode == 2
    assert "stands in itself" in told.stderr


def test_a_revision_that_was_set_back_is_told(filled: ShopFile, shop_path: Path) -> None:
    harm(filled, "UPDATE alembic_version SET version_num = '0003'")
    filled.close()
    with pytest.raises(Refusal, match="is damaged; restore a backup of it"):
        open_shop(shop_path)
    assert [path.name for path in shop_path.parent.glob("*.sqlite")] == ["shop.sqlite"]


def test_every_column_has_its_rule() -> None:
    """A new column gets a rule, or a type that is one, or is of those whose checks are others'."""
    others = {
        ("shop", "id"), ("stock", "label"), ("orders", "design_text"), ("own_design", "text"),
        ("batch", "plan"), ("cutting_time", "seconds"), ("cutting_time", "reckoned"),
        ("cost_rates", "id"),
    }  # fmt: skip
    for table in METADATA.sorted_tables:
        assert set(ROW_RULES.get(table.name, ())) <= set(table.columns.keys())
        for column in table.columns:
            held = column.name in ROW_RULES.get(table.name, ())
            by_type = isinstance(column.type, Enum | Boolean | Date | UtcDateTime)
            key = column.foreign_keys or column.primary_key or column.name.endswith("_key")
            assert held or by_type or key or (table.name, column.name) in others, str(column)


def test_no_command_stores_what_the_rules_refuse(shop: ShopFile) -> None:
    def store() -> None:
        with shop.begin() as session:
            session.add(Paper(name="x", colour="a\x1b", grammage=1))

    with pytest.raises(Refusal, match="paper, colour: it 'a�' holds the control character"):
        store()


# --- memory


BOMBS = {
    "lines": (b"\n", 60_000_000, 300_000),
    "a cell": (b'1,"a', 15_000_000, 1),
    "commas": (b"1,1,", 4_900_000, 1),
}


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="tells memory on Linux only")
@pytest.mark.parametrize("bomb", BOMBS)
def test_an_archive_never_fills_the_memory(archive: Path, tmp_path: Path, bomb: str) -> None:
    data, times, rows = BOMBS[bomb]
    with zipfile.ZipFile(archive) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    files["paper.csv"] = files["paper.csv"].splitlines(keepends=True)[0] + data * times
    path = sealed(tmp_path / "bomb.zip", files, {"paper": rows})
    assert path.stat().st_size < 1_000_000
    # What getrusage says of a process begins with what its parent had, before it was another.
    script = (
        "from pathlib import Path\n"
        "from inventory.start import run\n"
        "try:\n    run()\n"
        "finally:\n    print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, "--shop", str(tmp_path / "new.sqlite"), "shop", "import",
         str(path)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert "paper.csv, line 2: " in told.stderr
    assert int(told.stdout.split()[-1]) < 400_000  # kB


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device without an end here")
def test_a_device_without_an_end_is_no_archive(tmp_path: Path) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(Refusal, match="a device or a pipe, not a shop's archive"):
        import_shop(Path("/dev/zero"), tmp_path / "new.sqlite")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < before + 50_000
