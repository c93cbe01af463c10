"""Opening a shop's file: the one place that knows how the database is reached.

A shop is one SQLite file, or a database of a PostgreSQL server (`inventory.database.postgresql`).
Writing happens in one transaction a deed that has the whole book to itself, so that two processes
wait for each other instead of failing half way; reading sees one moment of the book.  What SQLite
can't do (no room, no permission, no such file) becomes a `Refusal` here and nowhere else.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from sqlalchemy import create_engine, event, func, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.orm import Session
from sqlalchemy.pool import QueuePool

from inventory.core.files import give_name
from inventory.core.money import check_currency
from inventory.core.text import choice, clean_name, shorten, whole_number
from inventory.database.tables.base import Movement, Order, Paper, Shop
from nester.core.errors import Refusal
from nester.core.lengths import LARGEST, Length, Unit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from alembic.config import Config
    from sqlalchemy import Connection, Engine

    from nester.core.problem import Trimmer

__all__ = [
    "HEAD_REVISION",
    "MOST_STAGES",
    "PATH_VARIABLE",
    "PATIENCE",
    "WAIT_SECONDS",
    "ShopFile",
    "beside",
    "building",
    "change_shop",
    "check_is_known",
    "check_trimmer",
    "clear_refusals",
    "copy_file",
    "holds",
    "is_any_shop",
    "open_shop",
    "put_new_shop",
    "shop_place",
    "stored_revision",
    "the_shop",
    "upgrade",
]

HEAD_REVISION = "0007"
"""The newest revision in `migrations/`; known here so that opening an up-to-date shop needs no
Alembic, which takes longer to import than a listing may take."""

PATH_VARIABLE = "QUIREBOX_SHOP"

MOST_STAGES = 100
"""Nobody turns paper more often until a piece is free."""

_APPLICATION_ID = 0x51626F78
"""Marks an SQLite file as a shop of ours (https://sqlite.org/pragma.html#pragma_application_id)."""
WAIT_SECONDS = 30
"""How long one deed waits for others to finish theirs."""
PATIENCE = 0.5
"""Seconds after which a deed that waits says so."""
_POLL = 0.02
"""Seconds between two looks whether the book is free; Ctrl-C is heeded in between."""


def shop_place(given: Path | str | None = None) -> Path | URL:
    """Return where a shop is: as given, else as QUIREBOX_SHOP says, else in the data folder.

    Parameters
    ----------
    given
        A file, or the URL of a PostgreSQL database.

    Raises
    ------
    Refusal
        If a URL can't be read.
    """
    said = given or os.environ.get(PATH_VARIABLE)
    if isinstance(said, str) and said.startswith(("postgresql://", "postgres://")):
        try:
            return make_url(said.replace("postgres://", "postgresql://", 1))
        except (ArgumentError, ValueError):
            raise Refusal(
                "the shop's URL can't be read; write it like postgresql://user@host/database"
            ) from None
    if said:
        return Path(said).absolute()
    from platformdirs import user_data_path

    return user_data_path("quirebox", appauthor=False).absolute() / "shop.sqlite"


def is_any_shop() -> bool:
    """Whether something lies at `shop_place`, be it a shop or not."""
    place = shop_place()
    try:
        return isinstance(place, URL) or place.exists()
    except OSError:
        return True  # it can't be looked at; opening it says why


class ShopFile:
    """A shop's open file or database; use it in a ``with`` statement, which closes it.

    Attributes
    ----------
    path
        Where the file lies; None on a server.
    place
        What to call it: the path, or the URL without its password.
    backup
        The copy made of it if opening it brought its tables up to date, else None.
    on_wait
        Called once in a deed that has to wait for another program's; does nothing, unless set.
    """

    def __init__(
        self,
        place: Path | str,
        engine: Engine,
        backup: Path | None = None,
        refusals: Callable[[], AbstractContextManager[None]] | None = None,
        begin_to_write: Callable[[Connection, Callable[[], None]], None] | None = None,
    ) -> None:
        self.path = place if isinstance(place, Path) else None
        self.place = str(place)
        self.backup = backup
        self.on_wait: Callable[[], None] = lambda: None
        self._engine = engine
        self._clear_refusals = refusals or partial(clear_refusals, place)
        self._begin_to_write = begin_to_write or _begin_to_write

    @contextmanager
    def begin(self) -> Iterator[Session]:
        """Give a session in one write transaction.

        It is stored when the block ends, and forgotten wholly if anything is raised in it.

        Raises
        ------
        Refusal
            If the book can't be written, or others did not let go of it in time; nothing has
            changed then.
        """
        writing = self._engine.execution_options(writing=True)
        with (
            self._clear_refusals(),
            Session(writing, expire_on_commit=False) as session,
            session.begin(),
        ):
            self._begin_to_write(session.connection(), self.on_wait)
            yield session

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Give a session that sees one moment of the shop and can't write.

        Raises
        ------
        Refusal
            If the file can't be read.
        """
        with self._clear_refusals(), Session(self._engine, expire_on_commit=False) as session:
            event.listen(session, "before_flush", _refuse_to_write)
            yield session

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _refuse_to_write(*_: object) -> None:
    raise RuntimeError("a session for reading was asked to write; use ShopFile.begin()")


def open_shop(
    place: Path | str | None = None,
    *,
    create: bool = False,
    name: str = "My shop",
    unit: Unit | str = Unit.MM,
    currency: str = "EUR",
) -> ShopFile:
    """Open a shop, bringing older tables up to date.

    Parameters
    ----------
    place
        The file, or the URL of a PostgreSQL database; `shop_place` unless given.
    create
        Make a new shop; `name`, `unit` and `currency` are for this alone.
    unit
        In which the shop writes its lengths.
    currency
        ISO 4217 code of its prices.

    Raises
    ------
    Refusal
        If there is no shop there (or, with `create`, something is there already), it is no shop's
        file, comes from a newer version, or can't be read and written.
    """
    where = shop_place(place)
    begun = None
    if create:
        begun = Shop(
            name=clean_name(name, "the shop's name"), unit=choice(Unit, unit, "the shop's unit"),
            currency=check_currency(currency),
        )  # fmt: skip
    if isinstance(where, URL):
        from inventory.database.postgresql import open_on_server

        return open_on_server(where, begun)
    if begun is not None:
        _create(where, begun)
    return _open(where)


def the_shop(session: Session) -> Shop:
    """Return the shop itself: its unit, its currency and its rules."""
    return session.get_one(Shop, 1)


def holds(session: Session) -> tuple[int, int, int]:
    """Return how many papers the book has, how many sheets and offcuts, and how many orders."""
    papers, stock, orders = (
        session.scalars(select(number)).one() or 0
        for number in (func.count(Paper.id), func.sum(Movement.change), func.count(Order.id))
    )
    return papers, int(stock), orders


def change_shop(
    session: Session,
    *,
    name: str | None = None,
    unit: Unit | str | None = None,
    smallest_offcut: Length | None = None,
    offcut_worth: int | None = None,
    gap: Length | None = None,
    trimmer: Trimmer | None = None,
    follow_grain: bool | None = None,
    making_days: int | None = None,
) -> Shop:
    """Change what is given and leave the rest; stored lengths and orders keep their sizes.

    Parameters
    ----------
    smallest_offcut
        Short side of the smallest offcut worth keeping, in fine units.
    offcut_worth
        0 to 100 percent.
    gap
        Least distance between two pieces, in fine units.
    trimmer
        What the trimmer can do, all of it.
    follow_grain
        Whether pieces that wish for a grain follow it, where it is known.
    making_days
        How many days before an order is due its paper must be there, 0 to 365.

    Raises
    ------
    Refusal
        If one of them can't be so.
    """
    changes: dict[str, Any] = {}
    if name is not None:
        changes["name"] = clean_name(name, "the shop's name")
    if unit is not None:
        changes["unit"] = choice(Unit, unit, "the shop's unit")
    if smallest_offcut is not None:
        if not 0 < smallest_offcut <= LARGEST:
            raise Refusal("the smallest offcut must be more than zero and at most 10 m")
        changes["smallest_offcut"] = smallest_offcut
    if offcut_worth is not None:
        changes["offcut_worth"] = whole_number(offcut_worth, "the worth of an offcut", most=100)
    if gap is not None:
        changes["gap"] = _distance(gap, "the gap between pieces")
    if trimmer is not None:
        check_trimmer(trimmer)
        changes |= asdict(trimmer)
    if follow_grain is not None:
        changes["follow_grain"] = follow_grain
    if making_days is not None:
        changes["making_days"] = whole_number(making_days, "the days to make an order", most=365)
    shop = the_shop(session)
    for key, value in changes.items():
        setattr(shop, key, value)
    return shop


def _distance(length: Length, what: str, least: Length = 0) -> Length:
    if not least <= length <= LARGEST:
        least_words = "more than zero" if least else "zero or more"
        raise Refusal(f"{what} must be {least_words} and at most 10 m")
    return length


def check_trimmer(trimmer: Trimmer) -> None:
    """Refuse what no trimmer can do.

    Raises
    ------
    Refusal
        If its longest cut is nothing, a strip is less than nothing, or there are no stages.
    """
    if trimmer.longest_cut is not None:
        _distance(trimmer.longest_cut, "the trimmer's longest cut", 1)
    _distance(trimmer.smallest_strip, "the smallest strip it can hold")
    if trimmer.stages is not None:
        whole_number(trimmer.stages, "the stages of cutting", least=1, most=MOST_STAGES)


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

    return engine


def _driver(connection: Connection) -> sqlite3.Connection:
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)  # noqa: S101 - tells the type checker
    return driver


def _take_turn(is_mine: Callable[[], bool], on_wait: Callable[[], None]) -> bool:
    """Ask for the book until it is free.

    Parameters
    ----------
    is_mine
        Tries to get it, without waiting.
    on_wait
        Called once when it takes longer than a moment.

    Returns
    -------
    bool
        False if others did not let go of it in `WAIT_SECONDS`.
    """
    start = time.monotonic()
    told = False
    while not is_mine():
        waited = time.monotonic() - start
        if waited > WAIT_SECONDS:
            return False
        if waited > PATIENCE and not told:
            told = True
            on_wait()
        time.sleep(_POLL)
    return True


def _begin_to_write(connection: Connection, on_wait: Callable[[], None] = lambda: None) -> None:
    """Begin the transaction of a writing connection, with the lock in hand.

    SQLite's own waiting neither tells anybody nor heeds Ctrl-C, so it is told not to wait.
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
        if not _take_turn(is_mine, on_wait):
            driver.execute("BEGIN IMMEDIATE")  # says itself that it is busy
    finally:
        driver.execute(f"PRAGMA busy_timeout = {round(WAIT_SECONDS * 1000)}")


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(
        _uri(path), uri=True, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA foreign_keys = ON")
    # A shop's week is worth more than a few milliseconds: also safe when the power goes.
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def _uri(path: Path) -> str:
    """Return the address of a file that must exist: SQLite shall never make an empty one."""
    return f"{path.as_uri()}?mode=rw"


def _open(path: Path) -> ShopFile:
    _check_is_there(path)
    engine = _engine(path)
    try:
        with clear_refusals(path):
            stored = _stored_revision(engine, path)
            backup = None if stored == HEAD_REVISION else _migrate(engine, path)
    except BaseException:
        engine.dispose()
        raise
    return ShopFile(path, engine, backup)


def _check_is_there(path: Path) -> None:
    try:
        is_file, is_folder = path.is_file(), path.is_dir()
    except OSError as error:
        raise _no_access(path, error) from error
    if is_folder:
        raise Refusal(f"{path} is a folder, not a shop's file; give the file itself")
    if not is_file:
        raise Refusal(f"there is no shop at {path}; make one with 'quirebox shop new'")


def _stored_revision(engine: Engine, path: Path) -> str:
    with engine.connect() as connection:
        return stored_revision(_driver(connection), path)


def stored_revision(connection: sqlite3.Connection, path: Path) -> str:
    """Return at which revision the tables of a file are.

    Raises
    ------
    Refusal
        If it is no shop's file.
    """
    if connection.execute("PRAGMA application_id").fetchone() != (_APPLICATION_ID,):
        raise Refusal(f"{path} is no shop's file; make a shop with 'quirebox shop new'")
    rows = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    if len(rows) != 1 or not isinstance(rows[0][0], str):
        raise Refusal(f"{path} {_NOT_WHOLE}")
    return str(rows[0][0])


# --- making a new one --------------------------------------------------------------------------


def _create(path: Path, shop: Shop) -> None:
    with put_new_shop(path) as unnamed:
        _build(unnamed, shop)


@contextmanager
def put_new_shop(path: Path) -> Iterator[Path]:
    """Give a place out of sight to build a whole shop in, which then gets its name in one step.

    Raises
    ------
    Refusal
        If something lies there already, or it can't be made; then nothing is there.
    """
    try:
        if path.exists() or path.is_symlink():
            raise _taken(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(
            dir=path.parent, prefix=".quirebox-", ignore_cleanup_errors=True
        ) as folder:
            unnamed = Path(folder) / path.name
            with clear_refusals(path):
                yield unnamed
            _give_name(unnamed, path)
    except OSError as error:
        raise _no_access(path, error) from error


def _build(path: Path, shop: Shop) -> None:
    with building(path) as connection, Session(connection) as session:
        session.add(shop)
        session.flush()


@contextmanager
def building(
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
    path.touch()
    with closing(_connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
    engine = _engine(path)
    try:
        with engine.execution_options(writing=True).begin() as connection:
            _begin_to_write(connection)
            if revision is not None:
                check_is_known(revision, name or str(path))
            upgrade(connection, revision)
            yield connection
    finally:
        engine.dispose()


def _give_name(unnamed: Path, path: Path) -> None:
    try:
        give_name(unnamed, path)
    except FileExistsError:
        raise _taken(path) from None


def _taken(path: Path) -> Refusal:
    return Refusal(f"{path} exists already and is left as it is; choose another file")


# --- bringing an older one up to date ----------------------------------------------------------


def _migrate(engine: Engine, path: Path) -> Path | None:
    """Bring the tables up to date in one transaction, after a copy beside the file.

    Foreign keys rest meanwhile, since changing a table on SQLite means to build it anew; they are
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
    if stored == HEAD_REVISION:
        return None
    check_is_known(stored, str(path))
    backup = beside(path, f"before-update-{stored}")
    with closing(_connect(path)) as source:
        copy_file(source, backup)
    try:
        upgrade(connection)
        _check_foreign_keys(connection)
    except BaseException:
        backup.unlink()  # the file itself stays as it was
        raise
    return backup


def _check_foreign_keys(connection: Connection) -> None:
    broken = connection.execute(text("PRAGMA foreign_key_check")).all()
    if broken:
        raise RuntimeError(f"after the migration these foreign keys point nowhere: {broken[:5]}")


def beside(path: Path, why: str) -> Path:
    """Return a name for a copy of a shop's file, which says why and when it was made."""
    now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    return path.with_name(f"{path.stem}.{why}-{now}{path.suffix}")


def copy_file(source: sqlite3.Connection, target: Path) -> None:
    """Copy a file as it is at this moment, however many pages still lie in its log.

    Raises
    ------
    Refusal
        If something lies at `target` already, or it can't be written; all of the copy is there or
        nothing.
    """
    unfinished = target.with_name(f".{target.name}.unfinished")
    try:
        if target.exists() or target.is_symlink():
            raise _taken(target)
        with clear_refusals(target), closing(sqlite3.connect(unfinished)) as copy:
            source.backup(copy)
        _give_name(unfinished, target)
    except OSError as error:
        raise _no_access(target, error) from error
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)


def _alembic(connection: Connection | None = None) -> Config:
    from alembic.config import Config

    from inventory.core.resources import migrations_folder

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def check_is_known(revision: str, name: str) -> None:
    """Refuse a book whose tables are newer than the program.

    Parameters
    ----------
    name
        What to call the book.
    """
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(_alembic())
    if all(script.revision != revision for script in scripts.walk_revisions()):
        raise Refusal(
            f"{name} was written by a newer version of Quirebox (its tables are at"
            f" '{shorten(revision)}'); update Quirebox to open it"
        )


def upgrade(connection: Connection, revision: str | None = None) -> None:
    """Bring the tables to a revision, the newest unless given."""
    from alembic import command

    command.upgrade(_alembic(connection), revision or HEAD_REVISION)


# --- what can go wrong with a file -------------------------------------------------------------

_TROUBLE = {
    sqlite3.SQLITE_BUSY: f"is in use by another program, which did not let go within"
    f" {WAIT_SECONDS} seconds; nothing was changed, so do it again when that has finished",
    sqlite3.SQLITE_LOCKED: "is in use by this program already; nothing was changed",
    sqlite3.SQLITE_READONLY: "is read-only, so nothing was changed; allow writing to it and to"
    " its folder, or choose another file with --shop",
    sqlite3.SQLITE_PERM: "may not be used; ask for the right to read and write it",
    sqlite3.SQLITE_IOERR: "could not be read or written, so nothing was changed; look after the"
    " disk and its free space",
    sqlite3.SQLITE_CORRUPT: "is damaged; put back a backup of it",
    sqlite3.SQLITE_FULL: "has no room to grow because the disk is full, so nothing was changed;"
    " make room and do it again",
    sqlite3.SQLITE_CANTOPEN: "can't be opened; see that it and its folder are there and"
    " may be read and written",
    sqlite3.SQLITE_NOTADB: "is no shop's file; make a shop with 'quirebox shop new'",
}
"""By primary result code (https://sqlite.org/rescode.html), what to say of the file."""


_NOT_WHOLE = "lacks a part of a shop's tables; put back a backup of it"


@contextmanager
def clear_refusals(path: Path | str) -> Iterator[None]:
    """Turn SQLite's troubles with the file into one clear sentence."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        said = _TROUBLE.get(getattr(cause, "sqlite_errorcode", 0) & 0xFF)
        if said is None and str(cause).startswith(("no such table", "no such column")):
            said = _NOT_WHOLE
        if said is None:
            raise
        raise Refusal(f"{path} {said}") from error


def _no_access(path: Path, error: OSError) -> Refusal:
    why = error.strerror or str(error)
    return Refusal(
        f"{path} can't be reached or made ({why}); see to the folder {path.parent},"
        " or choose another file with --shop"
    )
