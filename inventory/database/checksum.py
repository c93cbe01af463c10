"""A sum over all that a shop's file holds, by which damage to a single bit of it is told.

SQLite keeps no checksums: a bit that flips in a text or in a number is read as if it had been
written so.  Each row therefore has a hash, and the file keeps the sum of all of them in the one
number that SQLite leaves to the application, ``user_version``
(https://sqlite.org/pragma.html#pragma_user_version), written in the transaction that changed the
rows.  Such a sum knows no order and needs only what changed, which temporary triggers report
(MSet-Add-Hash: Clarke, Devadas, van Dijk, Gassend and Suh, Incremental multiset hash functions,
2003; from memory; ours guards against accidents, not against malice).

What another program writes is not in the sum, and so is told as well.
"""

from __future__ import annotations

import sqlite3
from hashlib import blake2b

__all__ = ["begin", "end", "is_right", "seal"]

_MODULUS = 2**31 - 1
"""`user_version` is a signed number of 32 bits; a sum is kept as 1 to this, so that 0 is none."""
_SCHEMA = (
    "SELECT type, name, tbl_name, sql FROM main.sqlite_master"
    " WHERE name NOT LIKE 'sqlite_stat%'"  # which SQLite's ANALYZE makes
)


def seal(connection: sqlite3.Connection, *, was_right: bool = True) -> None:
    """Add up all that is in the file and store the sum; for a file just made or brought up to date.

    It is to be called in the transaction that made the file so.

    Parameters
    ----------
    was_right
        Whether the sum was right before; a wrong one stays wrong.
    """
    total = _total(connection)
    _store(connection, total if was_right else (total + 1) % _MODULUS)


def is_right(connection: sqlite3.Connection) -> bool:
    """Whether the file holds what the sum in it says; true of a file that has none yet.

    Raises
    ------
    sqlite3.Error
        If a part of it can't be read.
    """
    stored = _stored(connection)
    return stored is None or stored == _total(connection)


def begin(connection: sqlite3.Connection) -> None:
    """Watch what a transaction changes, which has just begun and has the file to itself."""
    _watch(connection)
    stored = _stored(connection)
    if stored is None:  # a file from before there were sums
        stored = _total(connection)
    connection.execute("UPDATE temp.quirebox_sum SET sum = ?", [stored])


def end(connection: sqlite3.Connection) -> None:
    """Store the sum, before the transaction is stored itself."""
    (total,) = connection.execute("SELECT sum FROM temp.quirebox_sum").fetchone()
    if total != _stored(connection):
        _store(connection, total)


def _stored(connection: sqlite3.Connection) -> int | None:
    (version,) = connection.execute("PRAGMA main.user_version").fetchone()
    return version - 1 if version else None


def _store(connection: sqlite3.Connection, total: int) -> None:
    connection.execute(f"PRAGMA main.user_version = {total + 1}")


def _hash(*values: object) -> int:
    """Return the hash of a row: what SQLite gives for a value is the same wherever it is read."""
    written = repr(values).encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(written, digest_size=8).digest()) % _MODULUS


def _tables(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Return the columns of each table."""
    schema = connection.execute(_SCHEMA).fetchall()
    names = [
        name for kind, name, *_ in schema if kind == "table" and not name.startswith("sqlite_")
    ]
    return {
        name: [row[1] for row in connection.execute(f"PRAGMA main.table_info({_quoted(name)})")]
        for name in names
    }


def _total(connection: sqlite3.Connection) -> int:
    total = sum(_hash("sqlite_master", *row) for row in connection.execute(_SCHEMA))
    for name, columns in _tables(connection).items():
        listed = ", ".join(map(_quoted, columns))
        rows = connection.execute(f"SELECT {listed} FROM main.{_quoted(name)}")  # noqa: S608 - names
        total += sum(_hash(name, *row) for row in rows)
    return total % _MODULUS


def _watch(connection: sqlite3.Connection) -> None:
    """Make the triggers, which are this connection's own, unless it has them already."""
    if connection.execute(
        "SELECT 1 FROM temp.sqlite_master WHERE name = 'quirebox_sum'"
    ).fetchone():
        return
    connection.create_function("quirebox_hash", -1, _hash, deterministic=True)
    connection.execute("CREATE TEMP TABLE quirebox_sum (sum INTEGER NOT NULL)")
    connection.execute("INSERT INTO temp.quirebox_sum VALUES (0)")
    for name, columns in _tables(connection).items():
        before, after = (
            f"quirebox_hash({', '.join([_text(name), *(f'{row}.{_quoted(c)}' for c in columns)])})"
            for row in ("old", "new")
        )
        for event, change in (
            ("insert", after),
            ("update", f"{after} - {before} + {_MODULUS}"),
            ("delete", f"{_MODULUS} - {before}"),
        ):
            trigger = _quoted(f"quirebox_sum_{name}_{event}")
            connection.execute(
                f"CREATE TEMP TRIGGER {trigger} AFTER {event} ON main.{_quoted(name)}"  # noqa: S608
                f" BEGIN UPDATE quirebox_sum SET sum = (sum + {change}) % {_MODULUS}; END"
            )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _text(name: str) -> str:
    return "'" + name.replace("'", "''") + "'"
