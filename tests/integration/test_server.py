"""A shop on a PostgreSQL server: what differs from a file."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.orm import Session

from inventory.database.open import open_shop
from inventory.database.postgresql import new_server_database
from inventory.database.shop_file import ShopFile
from inventory.shop.settings import get_shop
from inventory.stock import listing, papers
from nester.core.errors import Refusal
from tests.integration import test_migrations as steps


def add_paper(session, name: str = "Night card") -> None:
    papers.add_paper(session, name, colour="black", grammage=300)


def names_of_papers(url: str) -> list[str]:
    with open_shop(url) as shop, shop.read() as session:
        return [paper.name for paper in papers.list_papers(session)]


def of_another_name(url: str, database: str) -> str:
    return make_url(url).set(database=database).render_as_string(hide_password=False)


def test_it_is_called_by_its_url_without_the_password(database: str) -> None:
    url = make_url(database).set(password="secret", host=None)  # noqa: S106
    with open_shop(url.render_as_string(hide_password=False)) as shop:
        assert "secret" not in shop.place
        assert shop.path is None


def test_tables_are_never_overwritten(database: str) -> None:
    with pytest.raises(Refusal, match="holds tables already and is left as it is"):
        open_shop(database, create=True, name="Another")
    with open_shop(database) as shop, shop.read() as session:
        assert get_shop(session).name == "The paper nook"


def test_a_database_that_sorts_otherwise_is_refused(server: str, database: str) -> None:
    name = f"{make_url(database).database}_other"
    engine = create_engine(
        make_url(server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT"
    )
    with engine.connect() as connection:
        connection.execute(text(
            f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'SQL_ASCII' LOCALE 'C'"
        ))  # fmt: skip
        with pytest.raises(Refusal, match="make one with 'createdb --template template0"):
            open_shop(of_another_name(database, name), create=True)
        with pytest.raises(Refusal, match="there is no shop in"):
            open_shop(of_another_name(database, name))
        connection.execute(text(f"DROP DATABASE {name}"))
    engine.dispose()


def test_what_cannot_be_reached_is_refused(database: str) -> None:
    with pytest.raises(Refusal, match=r"can't be reached .*does not exist"):
        open_shop(of_another_name(database, "nowhere"))
    with pytest.raises(Refusal, match="can't be reached"):
        open_shop("postgresql://ada@127.0.0.1:1/nook?connect_timeout=5")


def test_a_server_that_goes_away_while_storing_leaves_it_open_what_is_stored(
    server: str, database: str
) -> None:
    admin = create_engine(
        make_url(server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT"
    )
    with admin.connect() as other, open_shop(database) as shop:

        @event.listens_for(shop._engine, "commit")
        def _cut_off(connection: Connection) -> None:
            number = connection.connection.driver_connection.info.backend_pid
            other.execute(text(f"SELECT pg_terminate_backend({number})"))

        with pytest.raises(Refusal, match="it may be stored or not"), shop.begin() as session:
            add_paper(session)
    admin.dispose()
    assert names_of_papers(database) in ([], ["Night card"])


def test_writing_begins_with_the_lock_in_hand(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("inventory.database.shop_file.WAIT_SECONDS", 0.05)
    with open_shop(database) as shop, open_shop(database) as other, shop.begin() as session:
        with pytest.raises(Refusal, match="is in use by another program"), other.begin():
            pytest.fail("two wrote at once")
        add_paper(session)
    assert names_of_papers(database) == ["Night card"]


def test_a_second_writer_waits_and_sees_what_the_first_stored(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = threading.Event()

    def write() -> None:
        with open_shop(database) as other:
            other.on_wait = told.set
            with other.begin() as session:
                add_paper(session, f"After {[p.name for p in papers.list_papers(session)]}")

    monkeypatch.setattr("inventory.database.shop_file.PATIENCE", 0)
    with open_shop(database) as shop, shop.begin() as session:
        second = threading.Thread(target=write)
        second.start()
        assert told.wait(10)
        add_paper(session)
    second.join()
    assert names_of_papers(database) == ["After ['Night card']", "Night card"]


def test_a_reading_session_sees_one_moment_and_the_server_keeps_it_from_writing(
    database: str,
) -> None:
    with open_shop(database) as shop:
        with shop.read() as early:
            assert papers.list_papers(early) == []
            with shop.begin() as session:
                add_paper(session)
            assert papers.list_papers(early) == []
        with pytest.raises(Refusal, match="nothing was changed"), shop.read() as session:
            session.execute(text("DELETE FROM paper"))
    assert names_of_papers(database) == ["Night card"]


def cut_off_while_writing(session: Session, other: ShopFile) -> None:
    add_paper(session)
    with other.read() as reading:
        reading.execute(text(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        ))  # fmt: skip
    add_paper(session, "Second")


def test_a_server_that_goes_away_is_refused(database: str) -> None:
    with (
        open_shop(database) as shop,
        open_shop(database) as other,
        pytest.raises(Refusal, match=r"was shut down|can't be reached"),
        shop.begin() as session,
    ):
        cut_off_while_writing(session, other)
    assert names_of_papers(database) == []


# --- bringing older tables up to date


def rows(url: str) -> dict[str, int]:
    engine = create_engine(make_url(url).set(drivername="postgresql+psycopg"))
    with engine.connect() as connection:
        found = {
            name: int(connection.scalar(text(f"SELECT count(*) FROM {name}")) or 0)  # noqa: S608
            for name in inspect(connection).get_table_names()
        }
    engine.dispose()
    return found


def fill(url: str, statements: str) -> None:
    engine = create_engine(make_url(url).set(drivername="postgresql+psycopg"))
    with engine.begin() as connection:
        connection.exec_driver_sql(statements)
    engine.dispose()


def test_every_step_keeps_what_is_there_and_an_archive_of_it(
    empty_database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    before: dict[str, int] = {}
    for script in list(steps.scripts().walk_revisions())[::-1]:
        with monkeypatch.context() as older:
            older.setattr("inventory.database.migrate.HEAD_REVISION", script.revision)
            if not before:
                with new_server_database(make_url(empty_database)):
                    pass
            else:
                with open_shop(empty_database) as shop:
                    assert shop.backup is not None
                    assert shop.backup.parent == tmp_path / "quirebox" / "backups"
            after = rows(empty_database)
            assert {name: after[name] for name in before} == before
            if script.revision in steps.FILL:
                fill(empty_database, steps.FILL[script.revision])
            before = rows(empty_database)
    with open_shop(empty_database) as shop, shop.read() as session:
        found = {row.label: row.quantity for row in listing.list_stash(session)}
    assert (found["S-1"], found["K-1"]) == (10, 1)


def test_a_newer_database_is_refused_and_left_alone(empty_server_shop: str) -> None:
    fill(empty_server_shop, "UPDATE alembic_version SET version_num = '9999'")
    before = rows(empty_server_shop)
    with pytest.raises(Refusal, match="was written by a newer version of Quirebox"):
        open_shop(empty_server_shop)
    assert rows(empty_server_shop) == before


def test_a_step_that_fails_changes_nothing(
    empty_server_shop: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with monkeypatch.context() as newer:
        steps.newer_program(tmp_path, newer, steps.BREAKS.replace(', recreate="always"', ""))
        with pytest.raises(ArithmeticError):
            open_shop(empty_server_shop)
    assert list((tmp_path / "quirebox" / "backups").iterdir()) == []
    assert names_of_papers(empty_server_shop) == []
