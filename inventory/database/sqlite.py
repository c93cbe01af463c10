"""Opening a shop's file: the one place that knows how the database is reached.

A shop is one SQLite file, or a database of a PostgreSQL server (`inventory.database.postgresql`).
Each change is written in one transaction, which has the whole book to itself, so that two processes
wait for each other instead of failing half way; reading sees one moment of the book.  What SQLite
can't do (no room, no permission, no such file) becomes a `Refusal` here and nowhere else.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import create_engine, event, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session
from sqlalchemy.pool import QueuePool

from inventory.core.files import SHOP_APPLICATION_ID as _APPLICATION_ID
from inventory.core.files import (
    create_privately,
    drafted,
    link_into_place,
    sweep_leftovers,
)
from inventory.database import checksum, migrate, shop_file
from inventory.database.shop_file import ShopFile, wait_for_lock
from inventory.database.tables.shop import Shop
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from sqlalchemy import Connection, Engine


__all__ = [
    "backup_path",
    "copy_file",
    "create_atomically",
    "explain_errors",
    "new_file_database",
    "stored_revision",
]
_NEW_SHOP = Hint("make one", "shop new")
_WATCHED = "quirebox_watched"
"""Says of a connection that the checksum follows its transaction."""


# --- reaching the file -------------------------------------------------------------------------


def _engine(path: Path) -> Engine:
    """Return an engine on an existing file.

    SQLAlchemy sends BEGIN itself, as its SQLite page advises for control over transactions, so
    that reading too happens in one transaction and writing begins with the lock in hand.
    """
    engine = create_engine(
        "sqlite+pysqlite://", creator=lambda: _connect(path), poolclass=QueuePool
    )

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if not connection.get_execution_options().get("writing"):
            _driver(connection).execute("BEGIN DEFERRED")

    @event.listens_for(engine, "commit")
    def _commit(connection: Connection) -> None:
        if connection.get_execution_options().get("writing") and connection.info.pop(_WATCHED, 0):
            checksum.end(_driver(connection))

    return engine


def _driver(connection: Connection) -> sqlite3.Connection:
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)  # noqa: S101 - tells the type checker
    return driver


def _begin_to_write(connection: Connection, on_wait: Callable[[], None] = lambda: None) -> None:
    """Begin the transaction of a writing connection, with the lock in hand.

    SQLite's own waiting neither says so nor reacts to Ctrl-C, so it is turned off.
    """

    def is_mine() -> bool:
        try:
            driver.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
                return False
            raise
        return True

    driver = _driver(connection)
    driver.execute("PRAGMA busy_timeout = 0")
    try:
        if not wait_for_lock(is_mine, on_wait):
            driver.execute("BEGIN IMMEDIATE")  # says itself that it is busy
    finally:
        driver.execute(f"PRAGMA busy_timeout = {round(shop_file.WAIT_SECONDS * 1000)}")


def _begin_to_change(connection: Connection, on_wait: Callable[[], None]) -> None:
    """Begin the transaction of a writing connection whose changes go into the file's checksum."""
    _begin_to_write(connection, on_wait)
    checksum.begin(_driver(connection))
    connection.info[_WATCHED] = True


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(
        _uri(path),
        uri=True,
        timeout=shop_file.WAIT_SECONDS,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.execute("PRAGMA foreign_keys = ON")
    # A shop's week is worth more than a few milliseconds: also safe when the power goes.
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def _uri(path: Path) -> str:
    """Return the address of a file that must exist: SQLite shall never make an empty one."""
    return f"{path.as_uri()}?mode=rw"


def open_shop_file(path: Path) -> ShopFile:
    _check_is_there(path)
    sweep_leftovers(path.parent)
    engine = _engine(path)
    try:
        with explain_errors(path):
            stored = _stored_revision(engine, path)
            backup = None if stored == migrate.HEAD_REVISION else _migrate(engine, path)
    except BaseException:
        engine.dispose()
        raise
    return ShopFile(path, engine, partial(explain_errors, path), _begin_to_change, backup)


def _check_is_there(path: Path) -> None:
    try:
        is_file, is_folder = path.is_file(), path.is_dir()
    except OSError as error:
        raise _no_access(path, error) from error
    if is_folder:
        raise Refusal(f"{path} is a folder, not a shop's file; give the file itself")
    if not is_file:
        raise Refusal(f"there is no shop at {path}", _NEW_SHOP)


def _stored_revision(engine: Engine, path: Path) -> str:
    with engine.connect() as connection:
        return stored_revision(_driver(connection), path)


def stored_revision(connection: sqlite3.Connection, path: Path) -> str:
    """Return at which revision the tables of a file are.

    Raises
    ------
    Refusal
        If it is not a shop's file.
    """
    if connection.execute("PRAGMA application_id").fetchone() != (_APPLICATION_ID,):
        raise Refusal(f"{path} is not a shop's file", _NEW_SHOP)
    rows = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    if len(rows) != 1 or not isinstance(rows[0][0], str):
        raise Refusal(f"{path} {_INCOMPLETE}")
    return str(rows[0][0])


# --- making a new one --------------------------------------------------------------------------


def create_shop_file(path: Path, shop: Shop) -> None:
    with create_atomically(path) as unnamed:
        _build(unnamed, shop)


@contextmanager
def create_atomically(path: Path) -> Iterator[Path]:
    """Give a place out of sight to build a whole shop in, which then gets its name in one step.

    Raises
    ------
    Refusal
        If something lies there already, or it can't be made; then nothing is there.
    """
    try:
        if path.exists() or path.is_symlink():
            raise _already_exists(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        with drafted(path) as unnamed:
            with explain_errors(path):
                yield unnamed
            _give_name(unnamed, path)
    except OSError as error:
        raise _no_access(path, error) from error


def _build(path: Path, shop: Shop) -> None:
    with new_file_database(path) as connection, Session(connection) as session:
        session.add(shop)
        session.flush()


@contextmanager
def new_file_database(
    path: Path, revision: str | None = None, name: str | None = None
) -> Iterator[Connection]:
    """Make a new file with empty tables, to be filled in the transaction that made them.

    Parameters
    ----------
    revision
        Of the tables; the newest unless given.
    name
        What asks for the revision, for the refusal if it is a newer one.
    """
    create_privately(path).close()
    with closing(_connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
    engine = _engine(path)
    try:
        with engine.execution_options(writing=True).begin() as connection:
            _begin_to_write(connection)
            if revision is not None:
                migrate.check_is_known(revision, name or str(path))
            migrate.make_tables(connection, revision or migrate.HEAD_REVISION)
            yield connection
            checksum.seal(_driver(connection))
    finally:
        engine.dispose()


def _give_name(unnamed: Path, path: Path) -> None:
    try:
        link_into_place(unnamed, path)
    except FileExistsError:
        raise _already_exists(path) from None


def _already_exists(path: Path) -> Refusal:
    return Refusal(f"{path} exists already and is left as it is; choose another file")


# --- bringing an older one up to date ----------------------------------------------------------


def _migrate(engine: Engine, path: Path) -> Path | None:
    """Bring the tables up to date in one transaction, after a copy beside the file.

    Foreign keys rest meanwhile, since changing a table on SQLite means to rebuild it; they are
    all checked before the change is stored.

    Returns
    -------
    Path or None
        The copy; None if another process was quicker.
    """
    with engine.execution_options(writing=True).connect() as connection:
        driver = _driver(connection)
        driver.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                _begin_to_write(connection)
                return _upgrade_with_backup(connection, path)
        finally:
            driver.execute("PRAGMA foreign_keys = ON")


def _upgrade_with_backup(connection: Connection, path: Path) -> Path | None:
    stored = str(connection.scalar(text("SELECT version_num FROM alembic_version")))
    if stored == migrate.HEAD_REVISION:
        return None
    migrate.check_is_known(stored, str(path))
    driver = _driver(connection)
    was_right = checksum.is_right(driver)
    if _columns(driver) != _columns_at(stored) or _broken_foreign_keys(connection):
        raise Refusal(f"{path} {_ERROR_MESSAGES[sqlite3.SQLITE_CORRUPT]}")
    backup = backup_path(path, f"before-update-{stored}")
    with closing(_connect(path)) as source:
        copy_file(source, backup)
    try:
        migrate.upgrade(connection)
        broken = _broken_foreign_keys(connection)
        if broken:
            raise RuntimeError(f"after the migration these point nowhere: {broken[:5]}")
        checksum.seal(driver, was_right=was_right)
    except BaseException:
        backup.unlink()  # the file itself stays as it was
        raise
    return backup


def _broken_foreign_keys(connection: Connection) -> Sequence[object]:
    return connection.execute(text("PRAGMA foreign_key_check")).all()


def _columns(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    """Return what tables there are, with their columns."""
    return set(
        connection.execute(
            "SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name) c"
            " WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        )
    )


def _columns_at(revision: str) -> set[tuple[str, str]]:
    """Return what tables a revision has: a file may name another one than its tables are of."""
    engine = create_engine("sqlite://")
    try:
        with engine.connect() as fresh:
            migrate.make_tables(fresh, revision)
            return _columns(_driver(fresh))
    finally:
        engine.dispose()


def backup_path(path: Path, why: str) -> Path:
    """Return a name for a copy of a shop's file, which says why and when it was made."""
    now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    return path.with_name(f"{path.stem}.{why}-{now}{path.suffix}")


def copy_file(source: sqlite3.Connection, target: Path) -> None:
    """Copy a file as it is at this moment, however many pages still lie in its log.

    Raises
    ------
    Refusal
        If something lies at `target` already, or it can't be written; all of the copy is there or
        nothing, and only its owner can read it.
    """
    try:
        if target.exists() or target.is_symlink():
            raise _already_exists(target)
        with drafted(target) as unfinished:
            create_privately(unfinished).close()
            with explain_errors(target), closing(sqlite3.connect(unfinished)) as copy:
                source.backup(copy)
            _give_name(unfinished, target)
    except OSError as error:
        raise _no_access(target, error) from error


# --- what can go wrong with a file -------------------------------------------------------------

_ERROR_MESSAGES = {
    sqlite3.SQLITE_BUSY: "is in use by another program, which did not let go within"
    f" {shop_file.WAIT_SECONDS} seconds; nothing was changed, so do it again when it has finished",
    sqlite3.SQLITE_LOCKED: "is in use by this program already; nothing was changed",
    sqlite3.SQLITE_READONLY: "is read-only, so nothing was changed; allow writing to it and to"
    " its folder, or choose another file",
    sqlite3.SQLITE_PERM: "may not be used; ask for the right to read and write it",
    sqlite3.SQLITE_IOERR: "could not be read or written, so nothing was changed; check the"
    " disk and its free space",
    sqlite3.SQLITE_CORRUPT: "is damaged; restore a backup of it",
    sqlite3.SQLITE_FULL: "has no room to grow because the disk is full, so nothing was changed;"
    " make room and do it again",
    sqlite3.SQLITE_CANTOPEN: "can't be opened; check that it and its folder are there and"
    " may be read and written",
    sqlite3.SQLITE_NOTADB: "is not a shop's file",
}
"""By primary result code (https://sqlite.org/rescode.html), what to say of the file."""
_DAMAGED = ("Could not decode to UTF-8", "unsupported file format")
"""How messages of damage begin that have no code of their own: SQLite itself does not look whether
the bytes of a text are one, and its header names the format of the schema."""
_INCOMPLETE = "is missing a part of a shop's tables; restore a backup of it"


@contextmanager
def explain_errors(path: Path | str) -> Iterator[None]:
    """Turn SQLite's troubles with the file into one clear sentence."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
        said = _ERROR_MESSAGES.get(code)
        if said is None and str(cause).startswith(("no such table", "no such column")):
            said = _INCOMPLETE
        if said is None and str(cause).startswith(_DAMAGED):
            said = _ERROR_MESSAGES[sqlite3.SQLITE_CORRUPT]
        if said is None:
            raise
        hint = _NEW_SHOP if code == sqlite3.SQLITE_NOTADB else None
        raise Refusal(f"{path} {said}", hint) from error
    except UnicodeDecodeError as error:
        # SQLite quotes a damaged schema in its message, which Python then can't read.
        if not bytes(error.object).startswith(b"malformed database schema"):
            raise
        raise Refusal(f"{path} {_ERROR_MESSAGES[sqlite3.SQLITE_CORRUPT]}") from error


def _no_access(path: Path, error: OSError) -> Refusal:
    why = error.strerror or str(error)
    return Refusal(
        f"{path} can't be reached or made ({why}); check the folder {path.parent},"
        " or choose another file"
    )
