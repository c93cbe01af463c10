"""Bringing a database up to date by Alembic."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from inventory.core.text import shorten
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy import Connection


__all__ = ["HEAD_REVISION", "check_is_known", "make_tables", "schema", "upgrade"]
HEAD_REVISION = "0010"
"""The newest revision in `migrations/`; known here so that opening an up-to-date shop needs no
Alembic, which takes longer to import than a listing may take."""


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


@cache
def schema(revision: str = HEAD_REVISION) -> tuple[tuple[str, str, str], ...]:
    """Return kind, name and SQL of all that the migrations make of an empty SQLite database.

    They are run once in memory: running what they leave is the same, and takes milliseconds.
    """
    from sqlalchemy import create_engine, text

    engine = create_engine("sqlite://")
    try:
        with engine.connect() as fresh:
            upgrade(fresh, revision)
            made = fresh.execute(
                text("SELECT type, name, sql FROM sqlite_master WHERE sql NOT NULL ORDER BY rowid")
            )
            return tuple((row.type, row.name, row.sql) for row in made)
    finally:
        engine.dispose()


def make_tables(connection: Connection, revision: str = HEAD_REVISION) -> None:
    """Make the empty tables of a revision in an empty SQLite database."""
    for _, _, statement in schema(revision):
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql("INSERT INTO alembic_version VALUES (?)", (revision,))
