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
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from sqlalchemy import CheckConstraint, Table, UniqueConstraint, insert, select
from sqlalchemy import types as sql
from sqlalchemy.engine import URL
from sqlalchemy.exc import IntegrityError

from inventory.core.text import shorten
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
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Column, Connection

    from inventory.database.shop_file import ShopFile

__all__ = ["export_shop", "import_shop"]


_LARGEST_TABLE = 500_000_000
"""Bytes; more is none of a paper shop's tables, and would not fit into memory well."""
_LARGEST_ARCHIVE = 1_000_000_000
_NEW_ARCHIVE = Hint("write one", "shop export")
_ZIP_ERRORS = (
    zipfile.BadZipFile,
    NotImplementedError,
    RuntimeError,
    EOFError,
    ValueError,
    zlib.error,
)
"""What a damaged archive raises, or one of a kind that no export is of: encrypted, for instance."""
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


# --- the kinds of columns ----------------------------------------------------------------------


# --- the tables as they are --------------------------------------------------------------------


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
    tables = _read_archive(archive)
    if isinstance(target, Path):
        with create_atomically(target) as unnamed:
            _build(unnamed, tables)
    else:
        with tempfile.TemporaryDirectory(prefix="quirebox-") as folder:
            unnamed = Path(folder) / "shop.sqlite"
            _build(unnamed, tables)
            _move_to_server(unnamed, target)
    return {name: len(rows) for name, rows in tables.rows.items()}


@dataclass(frozen=True)
class _Archive:
    """What an archive holds, its cells not yet understood."""

    path: Path
    revision: str
    columns: dict[str, list[str]]
    rows: dict[str, list[tuple[int, list[str]]]]

    def refuse(self, table: str, line: int | None, field: str | None, why: str) -> NoReturn:
        places = [f"{self.path}", f"{shorten(table)}.csv"]
        places += [f"line {line}"] if line else []
        places += [field] if field else []
        raise Refusal(f"{', '.join(places)}: {why}")


def _read_archive(path: Path) -> _Archive:
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(member.file_size for member in archive.infolist()) > _LARGEST_ARCHIVE:
                raise Refusal(
                    f"{path}: unpacked it has more than {_LARGEST_ARCHIVE // 10**6:,} MB, which is"
                    " no shop's archive"
                )
            manifest = _read_manifest(archive, path)
            read = _Archive(path, manifest["revision"], {}, {})
            for entry in manifest["tables"]:
                _read_table(archive, entry, read)
            return read
    except Refusal:
        raise
    except FileNotFoundError:
        raise Refusal(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise Refusal(f"{path}: this is a folder, not a shop's archive") from None
    except OSError as why:
        raise Refusal(f"{path}: it can't be read ({why.strerror or why})") from None
    except _ZIP_ERRORS:
        raise Refusal(
            f"{path}: this is not a ZIP archive, or it is damaged",
            _NEW_ARCHIVE,
        ) from None


def _read_manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    no_archive = Refusal(f"{path}, {MANIFEST}: this is not a shop's archive", _NEW_ARCHIVE)
    try:
        manifest = json.loads(_bytes_of(archive, MANIFEST, path))
    except (KeyError, ValueError, RecursionError):
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
        for entry in tables
    )
    if not known or not isinstance(manifest.get("revision"), str):
        raise no_archive
    return manifest


def _bytes_of(archive: zipfile.ZipFile, name: str, path: Path) -> bytes:
    try:
        with archive.open(name) as file:
            data = file.read(_LARGEST_TABLE + 1)
    except KeyError:
        raise Refusal(f"{path}, {shorten(name)}: this file is missing in the archive") from None
    if len(data) > _LARGEST_TABLE:
        raise Refusal(f"{path}, {shorten(name)}: more than {_LARGEST_TABLE // 10**6} MB")
    return data


def _read_table(archive: zipfile.ZipFile, described: dict[str, Any], read: _Archive) -> None:
    name = described["table"]
    data = _bytes_of(archive, described["file"], read.path)
    if hashlib.sha256(data).hexdigest() != described["sha256"]:
        read.refuse(
            name, None, None, "it was changed after the archive was written (its SHA-256 differs)"
        )
    try:
        text = data.decode()
    except UnicodeDecodeError as why:
        line = data.count(b"\n", 0, why.start) + 1
        read.refuse(name, line, None, "this is not UTF-8 text")
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, list[str]]] = []
    line = 1
    before = csv.field_size_limit(_LARGEST_TABLE)
    try:
        for fields in reader:
            lines.append((line, fields))
            line = reader.line_num + 1
    except csv.Error:
        read.refuse(name, line, None, "its quotes don't match")
    finally:
        csv.field_size_limit(before)
    if not lines:
        read.refuse(name, 1, None, "the line of column names is missing")
    (_, columns), *rows = lines
    for line, fields in rows:
        if len(fields) != len(columns):
            read.refuse(name, line, None, f"{len(fields)} fields for {len(columns)} columns")
    if len(rows) != described["rows"]:
        read.refuse(name, None, None, f"{len(rows)} rows, and {MANIFEST} says {described['rows']}")
    if name in read.rows:
        read.refuse(name, None, None, f"{MANIFEST} lists it twice")
    read.columns[name], read.rows[name] = columns, rows


# --- building ----------------------------------------------------------------------------------


def _build(path: Path, archive: _Archive) -> None:
    """Build a shop's file of what is in an archive, and check it."""
    from inventory.database.open import open_shop
    from inventory.database.sqlite import new_file_database
    from inventory.maintenance.check import check_shop

    with new_file_database(path, archive.revision, str(archive.path)) as connection:
        tables = archived_tables(connection)
        _check_tables(archive, tables)
        for table in tables.values():
            rows = _values_of(archive, table)
            _check_uniques(archive, table, rows)
            _check_pointers(archive, table, rows, connection)
            _insert(archive, connection, table, rows)
    with open_shop(path) as shop:
        backup = shop.backup
        report = check_shop(shop)
    if backup is not None:
        backup.unlink()  # of what was built a moment ago
    if report.faults:
        raise Refusal(f"{archive.path}: the shop in it is not sound: {report.faults[0].message}")


def _check_tables(archive: _Archive, tables: dict[str, Table]) -> None:
    for name in archive.columns:
        if name not in tables:
            archive.refuse(name, None, None, "there is no such table at this revision")
    for name, table in tables.items():
        if name not in archive.columns:
            archive.refuse(name, None, None, f"{MANIFEST} does not list this table")
        named = archive.columns[name]
        for column in table.columns:
            if named.count(column.name) != 1:
                archive.refuse(name, 1, column.name, "this column must be there, once")
        for column_name in named:
            if column_name not in table.columns:
                archive.refuse(name, 1, shorten(column_name), "there is no such column")


def _values_of(archive: _Archive, table: Table) -> list[dict[str, Any]]:
    columns = [table.columns[name] for name in archive.columns[table.name]]
    readers = [(column, column_kind(column)) for column in columns]
    return [
        {
            column.name: _value(archive, column, kind, line, cell)
            for (column, kind), cell in zip(readers, cells, strict=True)
        }
        for line, cells in archive.rows[table.name]
    ]


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


def _check_uniques(archive: _Archive, table: Table, rows: list[dict[str, Any]]) -> None:
    keys = [list(table.primary_key.columns)]
    keys += [
        list(constraint.columns)
        for constraint in table.constraints
        if isinstance(constraint, UniqueConstraint)
    ]
    for columns in keys:
        seen: dict[tuple[Any, ...], int] = {}
        for row, (line, _) in zip(rows, archive.rows[table.name], strict=True):
            key = tuple(row[column.name] for column in columns)
            if None in key:
                continue
            first = seen.setdefault(key, line)
            if first != line:
                field = " and ".join(column.name for column in columns)
                archive.refuse(table.name, line, field, f"the same stands in line {first} already")


def _check_pointers(
    archive: _Archive, table: Table, rows: list[dict[str, Any]], connection: Connection
) -> None:
    for pointer in sorted(table.foreign_keys, key=lambda key: key.parent.name):
        other, column = pointer.column, pointer.parent.name
        known: set[Any]
        if other.table is table:
            known = {row[other.name] for row in rows}
        else:
            known = set(connection.scalars(select(other)))
        for row, (line, _) in zip(rows, archive.rows[table.name], strict=True):
            if row[column] is not None and row[column] not in known:
                archive.refuse(
                    table.name, line, column,
                    f"{row[column]} is no {other.name} in {other.table.name}.csv",
                )  # fmt: skip


def _insert(
    archive: _Archive, connection: Connection, table: Table, rows: list[dict[str, Any]]
) -> None:
    prepared = [_for_dialect(connection, row) for row in parents_first(table, rows)]
    try:
        with connection.begin_nested():
            _insert_all(connection, table, prepared)
    except IntegrityError:
        _refuse_the_first_bad(archive, connection, table, rows)


def _refuse_the_first_bad(
    archive: _Archive, connection: Connection, table: Table, rows: list[dict[str, Any]]
) -> NoReturn:
    """Insert row by row, to tell which of them breaks a rule of the table."""
    lines = {id(row): line for row, (line, _) in zip(rows, archive.rows[table.name], strict=True)}
    for row in parents_first(table, rows):
        try:
            connection.execute(insert(table), [_for_dialect(connection, row)])
        except IntegrityError as broken:
            archive.refuse(table.name, lines[id(row)], *_rule(table, broken))
    raise RuntimeError(f"the rows of {table.name} can be stored one by one but not together")


def _rule(table: Table, broken: IntegrityError) -> tuple[str | None, str]:
    """Return the field, or fields, that a broken rule is about, and what to say of it."""
    said = str(broken.orig)
    for rule in table.constraints:
        if isinstance(rule, CheckConstraint) and rule.name and said.endswith(str(rule.name)):
            text = " ".join(str(rule.sqltext).split())
            fields = [c.name for c in table.columns if re.search(rf"\b{c.name}\b", text)]
            return " and ".join(fields) or None, f"this can't be so; there must be {text}"
    return None, f"this can't be stored ({shorten(said, 100)})"


def _for_dialect(connection: Connection, row: dict[str, Any]) -> dict[str, Any]:
    """SQLite keeps no time zones: moments there are in UTC, without saying so."""
    if connection.dialect.name != "sqlite":
        return row
    return {
        name: value.replace(tzinfo=None) if isinstance(value, datetime) else value
        for name, value in row.items()
    }


def _insert_all(connection: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    for start in range(0, len(rows), _ROWS_PER_INSERT):
        connection.execute(insert(table), rows[start : start + _ROWS_PER_INSERT])


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
            rows = [dict(row) for row in source.execute(select(table)).mappings()]
            _insert_all(target, theirs[name], [_aware(row) for row in parents_first(table, rows)])


def _aware(row: dict[str, Any]) -> dict[str, Any]:
    return {
        name: value.replace(tzinfo=UTC) if isinstance(value, datetime) else value
        for name, value in row.items()
    }
