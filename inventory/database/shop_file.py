"""A shop in a file: sessions, transactions, waiting for each other."""

from __future__ import annotations

import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sqlalchemy import event
from sqlalchemy.orm import Session

from inventory.core.changes import ENTRIES, note_change
from inventory.database.tables import row_rules

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from sqlalchemy import Connection, Engine

__all__ = ["PATIENCE", "WAIT_SECONDS", "ShopFile", "wait_for_lock"]
WAIT_SECONDS = 30
"""How long a transaction waits for others to end."""
PATIENCE = 0.5
"""Seconds after which a transaction that waits says so."""
_POLL_SECONDS = 0.02
"""Seconds between two looks whether the book is free; Ctrl-C works in between."""


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
        Called once in a transaction that has to wait for another program's; does nothing,
        unless set.
    """

    def __init__(
        self,
        place: Path | str,
        engine: Engine,
        refusals: Callable[[], AbstractContextManager[None]],
        begin_to_write: Callable[[Connection, Callable[[], None]], None],
        backup: Path | None = None,
    ) -> None:
        self.path = place if isinstance(place, Path) else None
        self.place = str(place)
        self.backup = backup
        self.on_wait: Callable[[], None] = lambda: None
        self._engine = engine
        self._explain_errors = refusals
        self._begin_to_write = begin_to_write

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
            self._explain_errors(),
            Session(writing, expire_on_commit=False) as session,
            session.begin(),
        ):
            event.listen(session, "before_flush", row_rules.check_objects)
            event.listen(session, "do_orm_execute", row_rules.check_rows)
            self._begin_to_write(session.connection(), self.on_wait)
            yield session
        note_change(session.info.get(ENTRIES, ()))

    @contextmanager
    def rehearse(self) -> Iterator[Session]:
        """Give a session whose changes are seen in it and then forgotten, whatever happens.

        So what a change leads to can be worked out, at length, before it is made by `begin`.

        Raises
        ------
        Refusal
            As `begin`.
        """
        writing = self._engine.execution_options(writing=True)
        with self._explain_errors(), Session(writing, expire_on_commit=False) as session:
            self._begin_to_write(session.connection(), self.on_wait)
            yield session  # and is closed, which forgets the changes but not what was read

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Give a session that sees one moment of the shop and can't write.

        Raises
        ------
        Refusal
            If the file can't be read.
        """
        with self._explain_errors(), Session(self._engine, expire_on_commit=False) as session:
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


def wait_for_lock(is_mine: Callable[[], bool], on_wait: Callable[[], None]) -> bool:
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
    notified = False
    while not is_mine():
        waited = time.monotonic() - start
        if waited > WAIT_SECONDS:
            return False
        if waited > PATIENCE and not notified:
            notified = True
            on_wait()
        time.sleep(_POLL_SECONDS)
    return True
