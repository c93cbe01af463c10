"""The whole shop as plain files: CSV tables in a ZIP archive with a manifest.

The archive is exact: what is read back and written again is the same to the byte, from a file or
from a server.  It is also safe to look at in a spreadsheet, since a text that a spreadsheet would
take for a formula stands behind an apostrophe, which is taken off again when it is read back.

``manifest.json`` names the format, the revision of the tables, and for each table its file, its
columns with the kind of each, its number of rows and the SHA-256 of its file.  The tables are
UTF-8, RFC 4180, sorted by their key.  A cell is written by the kind of its column:

========  ======================================================================================
number    a whole number
text      as it is; behind an apostrophe if it begins with one of ``= + - @ '`` or a control
          character, or if it is empty where a column may also hold nothing
moment    ``2027-03-14T09:26:53.589793Z``
date      ``2027-03-14``
flag      ``yes`` or ``no``
json      as JSON
========  ======================================================================================

An empty cell of a column that may hold nothing holds nothing.  Lengths are numbers of fine units
of 1/24000 mm, money is a decimal as text.

What is driven here by the tables as they are in the database needs no change when tables change.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, NoReturn

from sqlalchemy import CheckConstraint, Table, insert, select
from sqlalchemy import types as sql
from sqlalchemy.engine import URL
from sqlalchemy.exc import IntegrityError

from inventory.core.files import hidden_folder
from inventory.core.text import shorten
from inventory.core.zip_files import ZIP_ERRORS, open_zip
from inventory.database.archive_writer import (
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    ColumnKind,
    archived_tables,
    column_kind,
    parents_first,
    write_archive,
)
from inventory.database.migrate import HEAD_REVISION
from inventory.database.tables.all import METADATA
from inventory.database.tables.base import Money
from inventory.database.tables.row_rules import row_faults
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from zipfile import ZipFile

    from sqlalchemy import Column, Connection

    from inventory.database.shop_file import ShopFile

__all__ = ["export_shop", "import_shop"]

_LARGEST_TABLE = 500_000_000
"""Bytes; more is none of a paper shop's tables."""
_LARGEST_ARCHIVE = 1_000_000_000
_LARGEST_MANIFEST = 1_000_000
_MOST_ROWS = 1_000_000
"""Of all tables together: a hundred a day for 27 years."""
_LONGEST_ROW = 20_000_000
"""Characters: the plan of a batch of a hundred thousand pieces has about so many."""
_BLOCK = 1 << 20
_NEW_ARCHIVE = Hint("write one", "shop export")
_ROWS_PER_INSERT = 500


# --- writing -----------------------------------------------------------------------------------


def export_shop(shop: ShopFile, target: Path) -> dict[str, int]:
    """Write the whole shop, as it is at one moment, into an archive.

    Returns
    -------
    dict
        The number of rows of each table.

    Raises
    ------
    Refusal
        If something lies at `target` already, or it can't be written.
    """
    with shop.read() as session:
        return write_archive(session.connection(), target)


# --- reading -----------------------------------------------------------------------------------


def import_shop(archive: Path, place: Path | str | None = None) -> dict[str, int]:
    """Begin a shop with all that is in an archive.

    The shop is built in a separate file, brought up to date, and held to all of
    `inventory.maintenance.check.check_shop`; only then does it get its place.

    Parameters
    ----------
    place
        The new file, or the URL of an empty PostgreSQL database; `shop_location` unless given.

    Returns
    -------
    dict
        The number of rows of each table in the archive.

    Raises
    ------
    Refusal
        If something lies at the place already, or the archive is damaged or of a newer version,
        or what is in it makes no sound book; it names file, line and field.
    """
    from inventory.database.open import shop_location
    from inventory.database.sqlite import create_atomically

    target = shop_location(place)
    with _open_archive(archive) as read:
        if isinstance(target, Path):
            with create_atomically(target) as unnamed:
                _build(unnamed, read)
        else:
            with hidden_folder(Path(tempfile.gettempdir())) as folder:
                unnamed = folder / "shop.sqlite"
                _build(unnamed, read)
                _move_to_server(unnamed, target)
        return {name: table.rows for name, table in read.tables.items()}


@dataclass(frozen=True)
class _TableFile:
    """What the manifest says of a table: its file, and how many rows are in it."""

    file: str
    sha256: str
    rows: int


class _Archive:
    """An archive that is open; its tables are read row by row, as often as is needed."""

    def __init__(self, path: Path, packed: ZipFile, manifest: dict[str, Any]) -> None:
        self.path = path
        self.revision: str = manifest["revision"]
        self.tables: dict[str, _TableFile] = {}
        self._packed = packed
        for entry in manifest["tables"]:
            name = entry["table"]
            if name in self.tables:
                self.refuse(name, None, None, f"{MANIFEST} lists it twice")
            self.tables[name] = _TableFile(entry["file"], entry["sha256"], entry["rows"])
        if sum(table.rows for table in self.tables.values()) > _MOST_ROWS:
            raise Refusal(f"{path}: more than {_MOST_ROWS:,} rows are none of a shop's archive")
        for name, table in self.tables.items():
            if self._sum(name) != table.sha256:
                self.refuse(
                    name,
                    None,
                    None,
                    "it was changed after the archive was written (its SHA-256 differs)",
                )

    def refuse(self, table: str, line: int | None, field: str | None, why: str) -> NoReturn:
        places = [f"{self.path}", f"{shorten(table)}.csv"]
        places += [f"line {line}"] if line else []
        places += [field] if field else []
        raise Refusal(f"{', '.join(places)}: {why}")

    def columns(self, name: str) -> list[str]:
        """Return the names in a table's first line."""
        first = next(self._lines(name), None)
        if first is None:
            self.refuse(name, 1, None, "the line of column names is missing")
        return first[1]

    def rows(self, name: str) -> Iterator[tuple[int, list[str]]]:
        """Yield a table's rows, each with its line."""
        lines = self._lines(name)
        _, columns = next(lines)
        number, said = 0, self.tables[name].rows
        for line, fields in lines:
            number += 1
            if len(fields) != len(columns):
                self.refuse(name, line, None, f"{len(fields)} fields for {len(columns)} columns")
            if number > said:
                self.refuse(name, line, None, f"{MANIFEST} says that there are only {said} rows")
            yield line, fields
        if number < said:
            self.refuse(name, None, None, f"{number} rows, and {MANIFEST} says {said}")

    def _sum(self, name: str) -> str:
        digest, size = hashlib.sha256(), 0
        with _open_member(self._packed, self.tables[name].file, self.path) as file:
            while block := file.read(_BLOCK):
                digest.update(block)
                size += len(block)
                if size > _LARGEST_TABLE:
                    self.refuse(name, None, None, f"more than {_LARGEST_TABLE // 10**6} MB")
        return digest.hexdigest()

    def _lines(self, name: str) -> Iterator[tuple[int, list[str]]]:
        file = self.tables[name].file
        with _open_member(self._packed, file, self.path) as raw:
            text = io.TextIOWrapper(raw, "utf-8", newline="")
            taken = 0  # characters of the row that is being read

            def physical_lines() -> Iterator[str]:
                nonlocal taken
                while line := text.readline(_LONGEST_ROW):
                    taken += len(line)
                    if taken > _LONGEST_ROW or (taken == _LONGEST_ROW and line[-1] not in "\r\n"):
                        why = f"more than {_LONGEST_ROW:,} characters are none of a row"
                        self.refuse(name, start, None, why)
                    yield line

            start = 1
            before = csv.field_size_limit(_LONGEST_ROW)
            reader = csv.reader(physical_lines(), strict=True)
            try:
                while True:
                    csv.field_size_limit(_LONGEST_ROW)
                    try:
                        fields = next(reader, None)
                    except csv.Error:
                        self.refuse(name, start, None, "its quotes don't match")
                    except UnicodeDecodeError:
                        self.refuse(name, self._undecodable(file), None, "this is not UTF-8 text")
                    finally:
                        csv.field_size_limit(before)
                    if fields is None:
                        return
                    yield start, fields
                    start, taken = reader.line_num + 1, 0
            finally:
                text.detach()

    def _undecodable(self, file: str) -> int:
        """Return the first line of a file that is no text."""
        line = 1
        with _open_member(self._packed, file, self.path) as raw:
            while data := raw.readline(_LONGEST_ROW):
                try:
                    data.decode()
                except UnicodeDecodeError:
                    break
                line += 1
        return line


@contextmanager
def _open_archive(path: Path) -> Iterator[_Archive]:
    with _refusing_damage(path):
        if not path.exists():
            raise Refusal(f"{path}: there is no such file")
        if not path.is_file():  # a device may have no end
            kind = "folder" if path.is_dir() else "device or a pipe"
            raise Refusal(f"{path}: this is a {kind}, not a shop's archive")
        file = path.open("rb")
    with file, ExitStack() as opened:
        with _refusing_damage(path):
            packed = opened.enter_context(open_zip(file, path, _LARGEST_ARCHIVE))
        yield _Archive(path, packed, _read_manifest(packed, path))


@contextmanager
def _refusing_damage(path: Path) -> Iterator[None]:
    try:
        yield
    except Refusal:
        raise
    except OSError as why:
        raise Refusal(f"{path}: it can't be read ({why.strerror or why})") from None
    except ZIP_ERRORS:
        raise Refusal(
            f"{path}: this is not a ZIP archive, or it is damaged", _NEW_ARCHIVE
        ) from None


class _Member(io.RawIOBase):
    """A file in an archive; what can't be unpacked is refused."""

    def __init__(self, file: IO[bytes], path: Path) -> None:
        self._file, self._path = file, path

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int:
        with _refusing_damage(self._path):
            data = self._file.read(len(into))
        into[: len(data)] = data
        return len(data)


@contextmanager
def _open_member(packed: ZipFile, name: str, path: Path) -> Iterator[io.BufferedReader]:
    try:
        with _refusing_damage(path):
            file = packed.open(name)
    except KeyError:
        raise Refusal(f"{path}, {shorten(name)}: this file is missing in the archive") from None
    with file:
        yield io.BufferedReader(_Member(file, path), _BLOCK)


def _read_manifest(packed: ZipFile, path: Path) -> dict[str, Any]:
    no_archive = Refusal(f"{path}, {MANIFEST}: this is not a shop's archive", _NEW_ARCHIVE)
    if MANIFEST not in packed.namelist():
        raise no_archive
    with _open_member(packed, MANIFEST, path) as file:
        data = file.read(_LARGEST_MANIFEST + 1)
    if len(data) > _LARGEST_MANIFEST:
        raise Refusal(f"{path}, {MANIFEST}: more than {_LARGEST_MANIFEST // 10**6} MB")
    try:
        manifest = json.loads(data)
    except (ValueError, RecursionError):
        raise no_archive from None
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise no_archive
    if manifest.get("version") != FORMAT_VERSION:
        raise Refusal(
            f"{path}, {MANIFEST}: the archive is of version"
            f" {shorten(str(manifest.get('version')))}, and this program"
            f" reads version {FORMAT_VERSION}; update Quirebox"
        )
    tables = manifest.get("tables")
    known = isinstance(tables, list) and all(
        isinstance(entry, dict)
        and all(isinstance(entry.get(key), str) for key in ("table", "file", "sha256"))
        and isinstance(entry.get("rows"), int)
        and entry["rows"] >= 0
        for entry in tables
    )
    if not known or not isinstance(manifest.get("revision"), str):
        raise no_archive
    return manifest


# --- building ----------------------------------------------------------------------------------


def _build(path: Path, archive: _Archive) -> None:
    """Build a shop's file of what is in an archive, and check it."""
    from inventory.database.open import open_shop
    from inventory.database.sqlite import new_file_database
    from inventory.maintenance.check import check_shop

    with new_file_database(path, archive.revision, str(archive.path)) as connection:
        tables = archived_tables(connection)
        _check_tables(archive, tables)
        # A row may point to one that comes later: that is looked at when all are there.
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
        for table in tables.values():
            _insert(archive, connection, table)
        for table in tables.values():
            _check_pointers(archive, connection, table)
    with open_shop(path) as shop:
        backup = shop.backup
        report = check_shop(shop)
    if backup is not None:
        backup.unlink()  # of what was built a moment ago
    if report.faults:
        first = report.faults[0]
        raise Refusal(
            f"{archive.path}: the shop in it is not sound: {shorten(first.where)}:"
            f" {shorten(first.message, 300)}"
        )


def _check_tables(archive: _Archive, tables: dict[str, Table]) -> None:
    for name in archive.tables:
        if name not in tables:
            archive.refuse(name, None, None, "there is no such table at this revision")
    for name, table in tables.items():
        if name not in archive.tables:
            archive.refuse(name, None, None, f"{MANIFEST} does not list this table")
        named = archive.columns(name)
        for column in table.columns:
            if named.count(column.name) != 1:
                archive.refuse(name, 1, column.name, "this column must be there, once")
        for column_name in named:
            if column_name not in table.columns:
                archive.refuse(name, 1, shorten(column_name), "there is no such column")


_Row = dict[str, Any]


def _rows_of(archive: _Archive, table: Table) -> Iterator[tuple[int, _Row]]:
    """Yield the rows of a table, read and held to its rules, each with its line."""
    columns = [table.columns[name] for name in archive.columns(table.name)]
    readers = [(column, column_kind(column)) for column in columns]
    check = _rule_check(archive, table)
    for line, cells in archive.rows(table.name):
        row = {
            column.name: _value(archive, column, kind, line, cell)
            for (column, kind), cell in zip(readers, cells, strict=True)
        }
        check(line, row)
        yield line, row


def _rule_check(archive: _Archive, table: Table) -> Callable[[int, _Row], None]:
    """Return what refuses a row that no command could have stored.

    Rows of an older revision are held to the rules of today when they are brought up to date.
    """
    if archive.revision != HEAD_REVISION:
        return lambda line, row: None
    amounts = [
        (column.name, column.type)
        for column in METADATA.tables[table.name].columns
        if isinstance(column.type, Money)
    ]

    def check(line: int, row: _Row) -> None:
        read = dict(row)
        for name, kind in amounts:
            try:
                read[name] = kind.process_result_value(row[name], None)  # type: ignore[arg-type]
            except ValueError:
                why = f"'{shorten(row[name])}' is no amount; write it like 1.2"
                archive.refuse(table.name, line, name, why)
        for column, why in row_faults(table.name, read):
            archive.refuse(table.name, line, column, why)

    return check


def _value(archive: _Archive, column: Column[Any], kind: ColumnKind, line: int, cell: str) -> Any:
    name = column.table.name
    if not cell and (column.nullable or not kind.is_text):
        if not column.nullable:
            archive.refuse(name, line, column.name, f"a {kind.name} is missing")
        return None
    text = cell[1:] if kind.is_text and cell.startswith("'") else cell
    try:
        value = kind.read(text)
    except (ValueError, KeyError, RecursionError):
        archive.refuse(
            name,
            line,
            column.name,
            f"'{shorten(text)}' is no {kind.name}; write it like {kind.example}",
        )
    if value is None:
        archive.refuse(name, line, column.name, f"'{shorten(text)}' says nothing; leave it empty")
    if isinstance(value, int):
        bits = 63 if isinstance(column.type, sql.BigInteger) else 31
        if not -(2**bits) <= value < 2**bits:
            archive.refuse(name, line, column.name, f"{shorten(text)} is too large a number")
    if kind.is_text and "\0" in text:
        archive.refuse(name, line, column.name, "a text can't hold the character U+0000")
    longest = getattr(column.type, "length", None)
    if kind.is_text and longest is not None and len(text) > longest:
        archive.refuse(
            name, line, column.name, f"{len(text):,} characters, and at most {longest:,} fit"
        )
    return value


def _check_pointers(archive: _Archive, connection: Connection, table: Table) -> None:
    for key in sorted(table.foreign_keys, key=lambda key: key.parent.name):
        child, parent = table.alias(), key.column.table.alias()
        mine = child.c[key.parent.name]
        lost = (
            select(child)
            .outerjoin(parent, mine == parent.c[key.column.name])
            .where(mine.is_not(None), parent.c[key.column.name].is_(None))
        )
        row = connection.execute(lost.limit(1)).mappings().first()
        if row is not None:
            keys = {column.name: row[column.name] for column in table.primary_key.columns}
            archive.refuse(
                table.name,
                _first_line(archive, table, keys),
                key.parent.name,
                f"{row[key.parent.name]} is no {key.column.name} in {key.column.table.name}.csv",
            )


def _first_line(archive: _Archive, table: Table, values: _Row) -> int | None:
    """Return the first line with these values."""
    for line, row in _rows_of(archive, table):
        if all(row[name] == value for name, value in values.items()):
            return line
    return None


def _insert(archive: _Archive, connection: Connection, table: Table) -> None:
    rows = _rows_of(archive, table)
    while some := list(islice(rows, _ROWS_PER_INSERT)):
        try:
            with connection.begin_nested():
                connection.execute(insert(table), [_for_sqlite(row) for _, row in some])
        except IntegrityError:
            _refuse_the_first_bad(archive, connection, table, some)


def _refuse_the_first_bad(
    archive: _Archive, connection: Connection, table: Table, rows: list[tuple[int, _Row]]
) -> NoReturn:
    """Insert row by row, to tell which of them breaks a rule of the table."""
    for line, row in rows:
        try:
            connection.execute(insert(table), [_for_sqlite(row)])
        except IntegrityError as broken:
            archive.refuse(table.name, line, *_rule(archive, table, row, broken))
    raise RuntimeError(f"the rows of {table.name} can be stored one by one but not together")


def _rule(
    archive: _Archive, table: Table, row: _Row, broken: IntegrityError
) -> tuple[str | None, str]:
    """Return the field, or fields, that a broken rule is about, and what to say of it."""
    said = str(broken.orig)
    if said.startswith("UNIQUE constraint failed: "):
        fields = [
            name for name in re.findall(rf"{table.name}\.(\w+)", said) if name in table.columns
        ]
        if fields:
            first = _first_line(archive, table, {name: row[name] for name in fields})
            return " and ".join(fields), f"the same stands in line {first} already"
    for rule in table.constraints:
        if isinstance(rule, CheckConstraint) and rule.name and said.endswith(str(rule.name)):
            text = " ".join(str(rule.sqltext).split())
            fields = [c.name for c in table.columns if re.search(rf"\b{c.name}\b", text)]
            return " and ".join(fields) or None, f"this can't be so; there must be {text}"
    return None, f"this can't be stored ({shorten(said, 100)})"


def _for_sqlite(row: _Row) -> _Row:
    """SQLite keeps no time zones: moments there are in UTC, without saying so."""
    return {
        name: value.replace(tzinfo=None) if isinstance(value, datetime) else value
        for name, value in row.items()
    }


def _insert_all(connection: Connection, table: Table, rows: Iterable[_Row]) -> None:
    rows = iter(rows)
    while some := list(islice(rows, _ROWS_PER_INSERT)):
        connection.execute(insert(table), some)


# --- onto a server -----------------------------------------------------------------------------


def _move_to_server(path: Path, url: URL) -> None:
    """Copy a sound shop's file into an empty database, in one transaction."""
    from inventory.database.open import open_shop
    from inventory.database.postgresql import new_server_database as building_on_server

    with (
        open_shop(path) as shop,
        shop.read() as session,
        building_on_server(url) as target,
    ):
        source = session.connection()
        theirs = archived_tables(target)
        for name, table in archived_tables(source).items():
            streamed = select(table).execution_options(yield_per=_ROWS_PER_INSERT)
            rows = map(dict, source.execute(streamed).mappings())
            _insert_all(target, theirs[name], map(_aware, parents_first(table, rows)))


def _aware(row: _Row) -> _Row:
    return {
        name: value.replace(tzinfo=UTC) if isinstance(value, datetime) else value
        for name, value in row.items()
    }
