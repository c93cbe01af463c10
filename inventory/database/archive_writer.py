"""Writing a whole shop as CSV tables in a ZIP."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import MetaData, Table, select
from sqlalchemy import types as sql

from inventory.core.files import write_new_file

if TYPE_CHECKING:
    from sqlalchemy import Column, Connection


__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "MANIFEST",
    "ColumnKind",
    "archived_tables",
    "column_kind",
    "parents_first",
    "write_archive",
]

FORMAT = "quirebox shop"
FORMAT_VERSION = 1
"""Of the archive's form; that of the tables in it is their revision."""
MANIFEST = "manifest.json"
_ZIP_TIMESTAMP = (1980, 1, 1, 0, 0, 0)
"""A ZIP archive dates its files; ours all have its first day, so that equal shops are equal."""
_ESCAPED_PREFIXES = ("=", "+", "-", "@", "'", "\t", "\r", "\n")


def write_archive(connection: Connection, target: Path) -> dict[str, int]:
    """Write all tables of a book, whatever their revision, into an archive (see `export_shop`)."""
    described: list[dict[str, Any]] = []
    files: dict[str, bytes] = {}
    for table in sorted(archived_tables(connection).values(), key=lambda table: table.name):
        file, rows, data = f"{table.name}.csv", *_csv_of(connection, table)
        files[file] = data
        described.append({
            "table": table.name,
            "file": file,
            "rows": rows,
            "sha256": hashlib.sha256(data).hexdigest(),
            "columns": [
                {"name": column.name, "kind": column_kind(column).name, "optional": column.nullable}
                for column in table.columns
            ],
        })  # fmt: skip
    manifest = {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "revision": _revision(connection),
        "tables": described,
    }
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    write_new_file(target, _zip({MANIFEST: text.encode(), **files}))
    return {entry["table"]: entry["rows"] for entry in described}


def _zip(files: dict[str, bytes]) -> bytes:
    """Pack files without compressing them: how well that is done differs from one zlib to another.

    So the archive's bytes depend on nothing but what is in it.
    """
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, _ZIP_TIMESTAMP)
            entry.create_system = 3
            entry.external_attr = 0o600 << 16
            archive.writestr(entry, data)
    return packed.getvalue()


def _csv_of(connection: Connection, table: Table) -> tuple[int, bytes]:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in table.columns)
    kinds = [(column_kind(column), bool(column.nullable)) for column in table.columns]
    rows = connection.execute(select(table).order_by(*table.primary_key.columns)).all()
    for row in rows:
        writer.writerow(
            _cell(kind, value, optional) for (kind, optional), value in zip(kinds, row, strict=True)
        )
    return len(rows), text.getvalue().encode()


def _cell(kind: ColumnKind, value: Any, optional: bool) -> str:
    if value is None:
        return ""
    text = kind.write(value)
    if kind.is_text and (text.startswith(_ESCAPED_PREFIXES) or (optional and not text)):
        return f"'{text}"
    return text


@dataclass(frozen=True)
class ColumnKind:
    """How the values of a column are written and read; `read` raises ValueError."""

    name: str
    example: str
    write: Callable[[Any], str]
    read: Callable[[str], Any]

    @property
    def is_text(self) -> bool:
        """Whether its values are text."""
        return self.name == "text"


def _write_moment(moment: datetime) -> str:
    utc = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return f"{utc:%Y-%m-%dT%H:%M:%S.%fZ}"


def _read_moment(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)


def _read_number(text: str) -> int:
    number = int(text)
    if str(number) != text:
        raise ValueError(text)
    return number


def _write_json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _read_flag(text: str) -> bool:
    return {"yes": True, "no": False}[text]


_KINDS: tuple[tuple[type[sql.TypeEngine[Any]], ColumnKind], ...] = (
    (sql.Boolean, ColumnKind("flag", "yes or no", lambda v: "yes" if v else "no", _read_flag)),
    (sql.Integer, ColumnKind("number", "12", str, _read_number)),
    (sql.JSON, ColumnKind("json", '{"a": "b"}', _write_json, json.loads)),
    (
        sql.DateTime,
        ColumnKind("moment", "2027-03-14T09:26:53.000000Z", _write_moment, _read_moment),
    ),
    (sql.Date, ColumnKind("date", "2027-03-14", date.isoformat, date.fromisoformat)),
    (sql.String, ColumnKind("text", "words", str, str)),
)


def column_kind(column: Column[Any]) -> ColumnKind:
    """Return how a column's values are written and read."""
    for known, kind in _KINDS:
        if isinstance(column.type, known):
            return kind
    raise TypeError(f"{column.table.name}.{column.name}: no kind for {column.type!r}")


def archived_tables(connection: Connection) -> dict[str, Table]:
    """Return the book's tables as they are in the database, each after those it points to."""
    found = MetaData()
    found.reflect(connection)
    for table in found.sorted_tables:
        for column in table.columns:
            if isinstance(column.type, sql.JSON):
                column.type = sql.JSON(none_as_null=True)  # reflection can't know it
    return {table.name: table for table in found.sorted_tables if table.name != "alembic_version"}


def _revision(connection: Connection) -> str:
    version = Table("alembic_version", MetaData(), autoload_with=connection)
    return str(connection.scalar(select(version.c.version_num)))


def _own_parents(table: Table) -> list[str]:
    """Return the columns that point to the table itself."""
    return [key.parent.name for key in table.foreign_keys if key.column.table is table]


def parents_first(table: Table, rows: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield rows so that none comes before one of the same table that it points to.

    Rows that point around in a circle come last; the database refuses them.
    """
    columns = _own_parents(table)
    if not columns:
        yield from rows
        return
    (key,) = table.primary_key.columns
    waiting, done, before = rows, set[Any]({None}), -1
    while len(done) > before:
        before, later = len(done), []
        for row in waiting:
            if all(row[column] in done for column in columns):
                done.add(row[key.name])
                yield row
            else:
                later.append(row)
        waiting = later
    yield from waiting
