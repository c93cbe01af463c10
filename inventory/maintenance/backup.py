"""Copies of a shop's file: made while it is in use, and put back.

Both go through SQLite's online backup (https://sqlite.org/backup.html), which copies one moment of
a file that others go on working on.
"""

from __future__ import annotations

import shutil
import sqlite3
import stat
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from inventory.core.files import drafted, hidden_folder, sync_folder
from inventory.core.text import shorten
from inventory.database.migrate import check_is_known
from inventory.database.open import open_shop, shop_location
from inventory.database.sqlite import (
    backup_path,
    copy_file,
    create_atomically,
    explain_errors,
    stored_revision,
)
from inventory.maintenance.check import check_shop
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from inventory.database.shop_file import ShopFile
    from inventory.maintenance.check import Finding

__all__ = ["back_up", "restore"]

_WAIT_SECONDS = 2


def back_up(shop: ShopFile, target: Path | None = None) -> Path:
    """Copy the shop's file as it is at this moment; others may work on it meanwhile.

    Parameters
    ----------
    target
        The copy; beside the file, with the time in its name, unless given.

    Returns
    -------
    Path
        The copy, which is there whole or not at all.

    Raises
    ------
    Refusal
        If something lies there already, it can't be written, or the shop is on a server.
    """
    if shop.path is None:
        raise Refusal(
            f"{shop.place} is not a file; back up the server's database by its own means",
            Hint("keep an archive of it", "shop export"),
        )
    copy = (target or backup_path(shop.path, "backup")).absolute()
    with explain_errors(shop.path), closing(_connect(shop.path)) as source:
        copy_file(source, copy)
    return copy


def restore(copy: Path, place: Path | str | None = None, *, replace: bool = False) -> Path | None:
    """Put a copy in place of the shop's file.

    Parameters
    ----------
    copy
        A file that `back_up` made, or any shop's file; it is left as it is.
    place
        The shop's file; `shop_location` unless given.
    replace
        Whether a file that is there already may be replaced; it is kept beside the new one.

    Returns
    -------
    Path or None
        The file that was there before, under its new name.

    Raises
    ------
    Refusal
        If the copy is no shop's file, is damaged or of a newer version; if there is a file already
        and it may not be replaced; if the place is on a server.  Then nothing has changed.
    """
    target = shop_location(place)
    if not isinstance(target, Path):
        raise Refusal("a copy can be restored to a file only; name the shop's file")
    with _checked(copy.absolute()) as checked:
        return _put_back(copy.absolute(), checked, target, replace=replace)


def _put_back(copy: Path, checked: Path, target: Path, *, replace: bool) -> Path | None:
    """Put `checked`, which holds what `copy` held, in the place of the shop's file."""
    if not (target.exists() or target.is_symlink()):
        with create_atomically(target) as unnamed, closing(_connect(checked)) as restored:
            copy_file(restored, unnamed)
        return None
    if not replace:
        raise Refusal(
            f"{target} exists already and is left as it is",
            Hint(
                "put the copy in its place and keep the old file beside it",
                "shop restore",
                (str(copy), "--replace"),
            ),
        )
    if not target.is_file():
        raise Refusal(f"{target} is not a file, so it can't be replaced")
    if target.samefile(copy):
        raise Refusal(f"{copy} is the shop's file itself; give a copy of it")
    kept = backup_path(target, "before-restore")
    with explain_errors(target):
        (_fill if _can_be_used(target) else _swap)(target, checked, kept)
    return kept


@contextmanager
def _checked(copy: Path) -> Iterator[Path]:
    """Give a second copy, made in one moment and checked; refuse what can't be put back as a shop.

    The first may be a file that others work on.
    """
    try:
        is_folder, is_file = copy.is_dir(), copy.is_file()
    except OSError as why:
        raise Refusal(f"{copy}: it can't be read ({why.strerror or why})") from None
    if is_folder:
        raise Refusal(f"{copy}: this is a folder, not a shop's file")
    if not is_file:
        raise Refusal(f"{copy}: there is no such file")
    with explain_errors(copy), closing(_reading(copy)) as connection:
        revision = stored_revision(connection, copy)
        check_is_known(revision, str(copy))
        if not _is_intact(connection):
            raise _damaged(copy)
        with hidden_folder(Path(tempfile.gettempdir())) as folder:
            snapshot, looked_at = folder / "copy.sqlite", folder / "looked-at.sqlite"
            copy_file(connection, snapshot)
            connection.close()
            # Checking an older copy brings its tables up to date, so that is done to a third one.
            shutil.copyfile(snapshot, looked_at)
            try:
                with open_shop(looked_at) as shop:
                    faults = check_shop(shop).faults
            except Refusal as why:
                raise _damaged(copy) from why
            if faults:
                raise _damaged(copy, faults[0])
            yield snapshot


def _damaged(copy: Path, fault: Finding | None = None) -> Refusal:
    where = f" ({shorten(fault.where)}: {shorten(fault.message, 200)})" if fault else ""
    return Refusal(f"{copy} is damaged{where} and can't be restored; take another copy")


def _connect(path: Path, mode: str = "mode=rw") -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.as_uri()}?{mode}", uri=True, timeout=_WAIT_SECONDS, isolation_level=None
    )


def _reading(copy: Path) -> sqlite3.Connection:
    """Open a copy, which may lie where nobody may write, not even SQLite's own files beside it.

    A copy without a log is opened as one that nobody changes, so that it stays as it is, with
    nothing left beside it even if it is damaged.
    """
    if not copy.with_name(f"{copy.name}-wal").exists():
        return _connect(copy, "immutable=1")
    connection = _connect(copy)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
            raise
        return _connect(copy, "immutable=1")
    return connection


def _is_intact(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("PRAGMA quick_check").fetchone() == ("ok",))


def _can_be_used(path: Path) -> bool:
    """Whether a file is a whole shop's; what is only in use or out of reach raises."""
    try:
        with closing(_connect(path)) as connection:
            stored_revision(connection, path)
            return _is_intact(connection)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_ERROR:
            raise
        return False
    except (sqlite3.DatabaseError, UnicodeDecodeError, Refusal):
        return False


def _fill(target: Path, copy: Path, kept: Path) -> None:
    """Write the copy into a whole file, in one transaction that other programs see at once.

    Nobody may write between keeping the old and writing the new, so both are done by a connection
    that has the file to itself; as long as another one has it open, that is refused.
    """
    with closing(_connect(target)) as connection:
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("BEGIN EXCLUSIVE")
        connection.execute("COMMIT")  # the lock stays
        copy_file(connection, kept)
        with closing(_connect(copy)) as restored:
            restored.backup(connection)


def _swap(target: Path, copy: Path, kept: Path) -> None:
    """Set a damaged file aside, with the log that belongs to it, and put the copy in its place."""
    try:
        with drafted(target) as fresh:
            with closing(_connect(copy)) as restored:
                copy_file(restored, fresh)
            fresh.chmod(stat.S_IMODE(target.stat().st_mode))
            kept.hardlink_to(target)
            for end in ("-wal", "-shm"):
                side = target.with_name(f"{target.name}{end}")
                if side.exists():
                    side.rename(kept.with_name(f"{kept.name}{end}"))
            fresh.replace(target)
            sync_folder(target.parent)
    except OSError as why:
        raise Refusal(f"{target}: it can't be replaced ({why.strerror or why})") from None
