"""A shop's book on a PostgreSQL server, for shops where several work at once.

One database holds one shop.  Whoever writes takes the book's one lock first and holds it to the
end of the transaction, as with a file; whoever reads sees one moment of the book.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import create_engine, event, inspect, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from inventory.database import migrate, shop_file
from inventory.database.tables.all import METADATA
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy import Connection, Engine
    from sqlalchemy.engine import URL

    from inventory.database.tables.shop import Shop

__all__ = ["new_server_database", "open_on_server", "reset_sequences"]

_LOCK = "1365407608, hashtext(current_schema())"
"""The numbers of the book's lock: one of ours, and one of the schema that the book lies in."""
_COLLATIONS = ("C", "POSIX", "C.UTF-8", "C.utf8")
"""Those that sort by code points, as SQLite does."""

# Were it said beside the models, every command on a file would load what knows PostgreSQL.
for _table in METADATA.tables.values():
    for _index in _table.indexes:
        _where = _index.dialect_options["sqlite"]["where"]
        if _where is not None:
            _index.dialect_options["postgresql"]["where"] = _where


def open_on_server(url: URL, begun: Shop | None = None) -> shop_file.ShopFile:
    """Open a shop on a server, bringing older tables up to date.

    Parameters
    ----------
    begun
        The shop to begin in a database without tables; None to open the one that is there.

    Raises
    ------
    Refusal
        If the server or the database can't be reached, or `open_shop` would refuse a file so.
    """
    name = _name(url)
    if begun is not None:
        with new_server_database(url) as connection, Session(connection) as session:
            session.add(begun)
            session.flush()
    engine = _engine(url)
    refusals = partial(_explain_errors, name)
    try:
        with refusals():
            stored = _stored_revision(engine, name)
            backup = None if stored == migrate.HEAD_REVISION else _migrate(engine, name)
    except BaseException:
        engine.dispose()
        raise
    return shop_file.ShopFile(name, engine, refusals, _begin_to_write, backup)


def _name(url: URL) -> str:
    return url.render_as_string(hide_password=True)


def _engine(url: URL) -> Engine:
    try:
        import psycopg
    except ImportError:
        raise Refusal(
            "a shop on PostgreSQL needs the package psycopg; install quirebox[postgresql]"
        ) from None
    _ = psycopg
    engine = create_engine(
        url.set(drivername="postgresql+psycopg"),
        hide_parameters=True,
        connect_args={"client_encoding": "utf8"},
    )

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        level = "READ COMMITTED, READ WRITE"
        if not connection.get_execution_options().get("writing"):
            level = "REPEATABLE READ, READ ONLY"
        cursor = connection.connection.cursor()
        cursor.execute(f"SET TRANSACTION ISOLATION LEVEL {level}")
        cursor.close()

    return engine


def _begin_to_write(connection: Connection, on_wait: Callable[[], None] = lambda: None) -> None:
    """Take the book's lock, which the server gives back when the transaction ends.

    At this level of isolation every statement sees all that was stored before it began, and
    nobody stores anything while the lock is held.
    """
    if connection.scalar(text(f"SELECT pg_try_advisory_xact_lock({_LOCK})")):
        return
    if _acquire_lock(connection, shop_file.PATIENCE):
        return
    on_wait()
    if not _acquire_lock(connection, shop_file.WAIT_SECONDS):
        raise Refusal(
            "the shop is in use by another program, which did not let go of it within"
            f" {shop_file.WAIT_SECONDS} seconds; nothing was changed, so do it again when that has"
            " finished"
        )


def _acquire_lock(connection: Connection, seconds: float) -> bool:
    """Wait in the server's queue, in which who came first is served first."""
    try:
        with connection.begin_nested():
            _set_lock_timeout(connection, max(seconds, 0.001))
            connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
    except DBAPIError as error:
        if getattr(error.orig, "sqlstate", None) == "55P03":  # lock_not_available
            return False
        raise
    _set_lock_timeout(connection, 0)
    return True


def _set_lock_timeout(connection: Connection, seconds: float) -> None:
    """Let statements wait for locks so long; 0 is as long as it takes."""
    connection.execute(text(f"SET LOCAL lock_timeout = {round(seconds * 1000)}"))


@contextmanager
def _writing(engine: Engine) -> Iterator[Connection]:
    with engine.execution_options(writing=True).begin() as connection:
        _begin_to_write(connection)
        yield connection


def _stored_revision(engine: Engine, name: str) -> str:
    with engine.connect() as connection:
        if not connection.scalar(text("SELECT to_regclass('alembic_version') IS NOT NULL")):
            raise Refusal(
                f"there is no shop in {name}", Hint("make one at this address", "shop new")
            )
        return _revision(connection)


def _revision(connection: Connection) -> str:
    return str(connection.scalar(text("SELECT version_num FROM alembic_version")))


# --- making a new one --------------------------------------------------------------------------


@contextmanager
def new_server_database(url: URL) -> Iterator[Connection]:
    """Make tables in an empty database, to be filled in the transaction that made them.

    Raises
    ------
    Refusal
        If it holds tables already or is not fit for a shop; then nothing has changed.
    """
    name = _name(url)
    with _explain_errors(name):
        engine = _engine(url)
        try:
            with _writing(engine) as connection:
                _check_database(connection, name)
                migrate.upgrade(connection)
                yield connection
                reset_sequences(connection)
        finally:
            engine.dispose()


def reset_sequences(connection: Connection) -> None:
    """Let the next row of each table get the next number after those given."""
    for table in inspect(connection).get_table_names():
        counter = connection.scalar(
            text("SELECT pg_get_serial_sequence(:t, a.attname) FROM pg_attribute a WHERE"
                 " a.attrelid = to_regclass(:t) AND a.attname = 'id'"), {"t": table}
        )  # fmt: skip
        if counter is not None:
            connection.execute(text(
                f"SELECT setval('{counter}', max(id)) FROM {table} HAVING max(id) > 0"  # noqa: S608
            ))  # fmt: skip


def _check_database(connection: Connection, name: str) -> None:
    tables = "SELECT count(*) FROM pg_tables WHERE schemaname = current_schema()"
    if connection.scalar(text(tables)):
        raise Refusal(f"{name} holds tables already and is left as it is; give an empty database")
    encoding, order = connection.execute(
        text(
            "SELECT pg_encoding_to_char(encoding), datcollate FROM pg_database"
            " WHERE datname = current_database()"
        )
    ).one()
    if encoding != "UTF8" or order not in _COLLATIONS:
        raise Refusal(
            f"{name} is a database in {encoding} that sorts as '{order}'; make one with"
            " 'createdb --template template0 --encoding UTF8 --locale C NAME', so that lists are in"
            " the same order everywhere"
        )


# --- bringing an older one up to date ----------------------------------------------------------


def _migrate(engine: Engine, name: str) -> Path | None:
    """Bring the tables up to date in one transaction, after an export into the data folder."""
    with _writing(engine) as connection:
        stored = _revision(connection)
        if stored == migrate.HEAD_REVISION:
            return None  # another program was quicker
        migrate.check_is_known(stored, name)
        backup = _back_up(connection, stored)
        try:
            migrate.upgrade(connection)
        except BaseException:
            backup.unlink()
            raise
        return backup


def _back_up(connection: Connection, revision: str) -> Path:
    from platformdirs import user_data_path

    from inventory.core.files import make_folder
    from inventory.database.archive_writer import write_archive

    folder = user_data_path("quirebox", appauthor=False) / "backups"
    make_folder(folder)
    now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    database = connection.engine.url.database
    backup = folder / f"{database}.before-update-{revision}-{now}.zip"
    write_archive(connection, backup)
    return backup


# --- what can go wrong with a server -----------------------------------------------------------

_ERROR_MESSAGES = {
    "25006": "is read-only for this user, so nothing was changed",
    "28000": "does not let this user in; check the user's name and rights",
    "28P01": "does not let this user in; the password is wrong",
    "3D000": "is not a database of that server; make it with 'createdb'",
    "42501": "does not let this user do that, so nothing was changed; check the user's rights",
    "53100": "has no room to grow because the server's disk is full, so nothing was changed",
    "53300": "has too many users at once; nothing was changed, so do it again later",
    "57P01": "was shut down, so nothing was changed; do it again when it is there",
    "57P03": "is starting or stopping; do it again in a moment",
}
"""By SQLSTATE (https://www.postgresql.org/docs/15/errcodes-appendix.html), what to say."""


@contextmanager
def _explain_errors(name: str) -> Iterator[None]:
    """Turn the server's troubles into one clear sentence."""
    try:
        yield
    except DBAPIError as error:
        if error.connection_invalidated and error.statement is None:
            # The server went away between COMMIT and its answer.
            raise Refusal(
                f"{name} went away while a change was being stored; it may be stored or not, so"
                " look before you make it again",
                Hint("see what was stored last", "stash log"),
            ) from error
        raise _refusal(name, error.orig) or error from error
    except Exception as error:
        psycopg = sys.modules.get("psycopg")
        if psycopg is None or not isinstance(error, psycopg.Error):
            raise
        raise _refusal(name, error) or error from error


def _refusal(name: str, cause: BaseException | None) -> Refusal | None:
    said = _ERROR_MESSAGES.get(getattr(cause, "sqlstate", None) or "")
    if said is not None:
        return Refusal(f"{name} {said}")
    # A server that is not there, or went away, gives no state; libpq says it in words.
    if type(cause).__name__ == "OperationalError" and getattr(cause, "sqlstate", None) is None:
        why = " ".join(str(cause).split())
        return Refusal(f"{name} can't be reached ({why[:200]}); nothing was changed")
    return None
