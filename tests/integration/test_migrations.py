"""The tables as the migrations make them are those of the models, and no step loses anything."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from inventory.core import resources
from inventory.core.resources import demo_folder, migrations_folder
from inventory.database.migrate import HEAD_REVISION
from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.database.tables.all import METADATA
from inventory.database.tables.enums import Reason
from inventory.maintenance.check import check_shop
from inventory.stock import ledger, listing, lookup, papers, receiving
from nester.core.errors import Refusal
from nester.core.lengths import cm
from tests.old_shops import FILL, make_old_shop


def scripts() -> ScriptDirectory:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    return ScriptDirectory.from_config(config)


def test_the_known_head_is_the_head_of_the_scripts() -> None:
    assert scripts().get_heads() == [HEAD_REVISION]


def test_every_script_comes_after_the_one_before_it() -> None:
    revisions = [script.revision for script in scripts().walk_revisions()][::-1]
    assert revisions == [f"{number:04}" for number in range(1, len(revisions) + 1)]


def test_the_migrated_tables_are_those_of_the_models(shop_path: Path) -> None:
    engine = create_engine(f"sqlite:///{shop_path}")
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, METADATA) == []
    engine.dispose()


def test_the_migrated_checks_are_those_of_the_models(shop_path: Path) -> None:
    migrated = create_engine(f"sqlite:///{shop_path}")
    modelled = create_engine("sqlite://")
    METADATA.create_all(modelled)
    for table in METADATA.tables:
        checks = [
            {
                check["name"]: check["sqltext"]
                for check in inspect(each).get_check_constraints(table)
            }
            for each in (migrated, modelled)
        ]
        assert checks[0] == checks[1], table
    migrated.dispose()
    modelled.dispose()


def test_opening_a_shop_needs_no_alembic(shop_path: Path) -> None:
    script = """
import sys
from pathlib import Path
from inventory.database.open import open_shop
from inventory.orders import orders
from inventory.stock import papers
with open_shop(Path(sys.argv[1])) as shop, shop.begin() as session:
    papers.add_paper(session, "Night card", colour="black", grammage=300)
print([name for name in ("alembic", "numpy", "ortools") if name in sys.modules])
"""
    ran = subprocess.run(
        [sys.executable, "-c", script, shop_path], capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "[]"


def test_the_folders_are_found_in_a_checkout_and_in_a_wheel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert (migrations_folder() / "env.py").is_file()
    assert demo_folder().name in {"demo_data", "_demo_data"}
    (tmp_path / "_migrations").mkdir()
    (tmp_path / "_demo_data").mkdir()
    monkeypatch.setattr(resources, "_PACKAGE", tmp_path)
    assert migrations_folder() == tmp_path / "_migrations"
    assert demo_folder() == tmp_path / "_demo_data"


# --- every step, with data in the tables


def step(path: Path, revision: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bring the tables of a file to a revision, by the way the program itself goes."""
    monkeypatch.setattr("inventory.database.migrate.HEAD_REVISION", revision)
    if path.exists():
        open_shop(path).close()
    else:
        make_old_shop(path, revision)


def rows(path: Path) -> dict[str, list[dict[str, object]]]:
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        names = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name <> 'alembic_version'"
            )
        ]
        return {
            name: [dict(row) for row in connection.execute(f"SELECT * FROM {name} ORDER BY 1")]  # noqa: S608
            for name in names
        }


def test_the_ledgers_refuse_changes_after_every_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "shop.sqlite"
    for script in list(scripts().walk_revisions())[::-1]:
        step(path, script.revision, monkeypatch)
        with closing(sqlite3.connect(path)) as connection:
            connection.executescript(FILL.get(script.revision, ""))
            tables = {
                row[0]
                for row in connection.execute(
                    "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'"
                )
            }
            assert "movement" in tables
            for table in tables:
                for deed in (
                    f"DELETE FROM {table}",  # noqa: S608
                    f"UPDATE {table} SET rowid = rowid",  # noqa: S608
                    f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",  # noqa: S608
                ):
                    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                        connection.execute(deed)
    assert tables == {
        "movement", "deed", "supply_movement", "order_step", "stock_count", "bruise", "grain_told",
        "exchange_rate", "price_list", "price", "purchase", "purchase_line", "purchase_receipt",
        "purchase_end", "cutting_time", "spare_piece_movement", "plan_change", "order_change",
        "paper_change",
    }  # fmt: skip


def test_an_old_order_gets_the_text_of_its_design_and_its_first_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "shop.sqlite"
    for revision in ("0001", "0002", "0003"):
        step(path, revision, monkeypatch)
        with closing(sqlite3.connect(path)) as connection:
            if revision < "0003":
                connection.executescript(FILL[revision])
    after = rows(path)
    assert [row["design_text"] for row in after["orders"]] == [None, 'name = "sachet"']
    assert [(row["order_id"], row["status"], row["at"]) for row in after["order_step"]] == [
        (1, "confirmed", "2026-01-01 10:00:00.000000"),
        (2, "confirmed", "2026-01-03 11:00:00.000000"),
    ]


def test_names_are_filed_as_they_are_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "shop.sqlite"
    step(path, "0001", monkeypatch)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("INSERT INTO shop VALUES (1, 'Nook', 'cm', 'EUR', 1800000, 50)")
    step(path, "0007", monkeypatch)
    with closing(sqlite3.connect(path)) as connection, connection:
        for number, name in enumerate(("Coal", "Co\u200bal", "Fe\u00adrn"), start=1):
            paper = (number, name, name.casefold(), "grey", "", 300, "plain", "unknown", "")
            connection.execute(
                "INSERT INTO paper (id, name, name_key, colour, finish, grammage, pattern, grain,"
                " note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                paper,
            )
            place = (number, name, name.casefold(), number - 1 or None)
            connection.execute("INSERT INTO place VALUES (?, ?, ?, ?)", place)
            delivery = (number, name, name.casefold(), "7", "7")
            connection.execute("INSERT INTO delivery VALUES (?, ?, ?, ?, ?)", delivery)
        connection.execute("PRAGMA user_version = 0")  # as of a file that has no checksum yet
    step(path, "0008", monkeypatch)
    step(path, HEAD_REVISION, monkeypatch)
    after = rows(path)
    assert [row["name_key"] for row in after["paper"]] == ["coal", "co\u200bal", "fern"]
    assert [row["supplier_key"] for row in after["delivery"]] == ["coal", "co\u200bal", "fern"]
    assert [row["name_key"] for row in after["place"]] == ["coal", "coal", "fern"]
    with open_shop(path) as shop:
        assert check_shop(shop).findings == ()
        with shop.begin() as session:
            for name, number in (("coal", 1), ("Co\u200bal", 2), ("C\u2060oal", 1), ("fern", 3)):
                assert papers.find_paper(session, name).id == number
            for name in ("COAL", "c\ufeffoal", "Fern"):
                with pytest.raises(Refusal, match="already"):
                    papers.add_paper(session, name, colour="black", grammage=300)
            with pytest.raises(Refusal, match="the paper's name is missing"):
                papers.add_paper(session, "\u3164", colour="black", grammage=300)


def test_every_step_keeps_what_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "shop.sqlite"
    for script in list(scripts().walk_revisions())[::-1]:
        before = rows(path) if path.exists() else {}
        step(path, script.revision, monkeypatch)
        after = rows(path)
        for table, lines in before.items():
            assert len(after[table]) == len(lines), table
            for old, new in zip(lines, after[table], strict=True):
                assert {key: new[key] for key in old if key in new} == {
                    key: value for key, value in old.items() if key in new
                }
        with closing(sqlite3.connect(path)) as connection:
            connection.executescript(FILL.get(script.revision, ""))
    with open_shop(path) as shop, shop.begin() as session:
        assert [(row.label, row.quantity) for row in listing.list_stash(session)] == [
            ("S-1", 10), ("K-2", 1), ("K-1", 1),
        ]  # fmt: skip
        ledger.book_movement(session, lookup.find_stock(session, "S-1"), -1, Reason.CUT)
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []


# --- from an older shop to a newer one, with a step of the test's own

NEXT = f'''
import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = "{HEAD_REVISION}"

def upgrade():
    with op.batch_alter_table("paper", recreate="always") as table:
        table.add_column(sa.Column("shade", sa.Integer))
'''
BREAKS = NEXT + '    raise ArithmeticError("half way")\n'
ORPHANS = NEXT + '    op.execute("UPDATE stock SET paper_id = 77")\n'  # noqa: S608


@pytest.fixture
def filled(shop: ShopFile, shop_path: Path) -> Path:
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=300)
        receiving.add_sheets(session, "Night card", (cm(50), cm(70)), 5)
    return shop_path


def newer_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    """Let the program know one more step."""
    folder = Path(shutil.copytree(migrations_folder(), tmp_path / "newer"))
    (folder / "versions" / "next.py").write_text(script)
    monkeypatch.setattr(resources, "migrations_folder", lambda: folder)
    monkeypatch.setattr("inventory.database.migrate.HEAD_REVISION", "next")


def backups(folder: Path) -> list[Path]:
    return sorted(folder.glob("shop.before-update-*"))


def test_an_older_shop_is_updated_after_a_backup(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows(filled)
    newer_program(tmp_path, monkeypatch, NEXT)
    with open_shop(filled) as shop:
        assert backups(tmp_path) == [shop.backup]
        assert shop.backup is not None
        assert shop.backup.name.startswith(f"shop.before-update-{HEAD_REVISION}-")
    assert rows(shop.backup) == before
    assert rows(filled)["paper"][0]["shade"] is None
    assert rows(filled)["movement"] == before["movement"]
    with open_shop(filled) as again:
        assert again.backup is None
        with again.begin() as session:
            assert session.scalar(text("PRAGMA foreign_keys")) == 1
    assert len(backups(tmp_path)) == 1


def test_the_backup_opens_with_the_older_program(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as newer:
        newer_program(tmp_path, newer, NEXT)
        open_shop(filled).close()
    with open_shop(backups(tmp_path)[0]) as shop, shop.read() as session:
        assert [row.quantity for row in listing.list_stash(session)] == [5]


@pytest.mark.parametrize(("script", "raised"), [(BREAKS, ArithmeticError), (ORPHANS, RuntimeError)])
def test_a_step_that_fails_changes_nothing(
    filled: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    script: str,
    raised: type[Exception],
) -> None:
    before = rows(filled)
    with monkeypatch.context() as newer:
        newer_program(tmp_path, newer, script)
        with pytest.raises(raised):
            open_shop(filled)
    assert rows(filled) == before
    assert backups(tmp_path) == []
    open_shop(filled).close()


def test_a_newer_shop_is_refused_and_left_alone(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as newer:
        newer_program(tmp_path, newer, NEXT)
        open_shop(filled).close()
    before, copies = rows(filled), backups(tmp_path)
    with pytest.raises(Refusal, match="was written by a newer version of Quirebox"):
        open_shop(filled)
    assert rows(filled) == before
    assert backups(tmp_path) == copies


def test_migrations_run_through_the_program_only() -> None:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    from alembic import command

    with pytest.raises(RuntimeError, match="through inventory"):
        command.upgrade(config, "head")
