"""Writing files: each is there whole or not at all, for its owner alone, and never over a shop.

A file is made in a hidden folder beside its place and then moved there.  The folder is locked as
long as its maker runs, so that whoever writes beside it later can tell what a killed run left there
from what is still being made, and sweep it.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from inventory.core.changes import note_change
from inventory.core.text import format_count
from nester.core.errors import Refusal

try:
    import fcntl
except ImportError:  # Windows has no such locks; nothing is swept there
    fcntl = None  # type: ignore[assignment]

__all__ = [
    "SHOP_APPLICATION_ID",
    "MayReplace",
    "check_targets",
    "create_privately",
    "csv_text",
    "drafted",
    "existing_words",
    "hidden_folder",
    "link_into_place",
    "make_folder",
    "refuse_to_replace",
    "sweep_leftovers",
    "sync_folder",
    "write_files",
    "write_new_file",
]

SHOP_APPLICATION_ID = 0x51626F78
"""Marks an SQLite file as a shop of ours (https://sqlite.org/pragma.html#pragma_application_id)."""
MayReplace = Callable[[Sequence[Path]], None]
"""Is called with the files that would be replaced or removed; raises `Refusal` if they may not."""

_FORMULA_PREFIXES = ("=", "+", "-", "@", "\t", "\r")
_HIDDEN = ".quirebox-unfinished-"
_OWNER_ONLY = 0o600


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a CSV table (RFC 4180) whose cells no spreadsheet takes for a formula."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_escape_formula(cell) for cell in row])
    return text.getvalue()


def _escape_formula(cell: object) -> object:
    if isinstance(cell, str) and cell.startswith(_FORMULA_PREFIXES):
        return f"'{cell}"
    return cell


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, unless they are there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as why:
        raise Refusal(f"{folder}: this folder can't be made ({why.strerror or why})") from None


# --- what may be replaced ----------------------------------------------------------------------


def check_targets(paths: Iterable[Path], may_replace: MayReplace) -> None:
    """Make sure that files may be written: none is a shop's, and what is there may be replaced.

    What holds nothing, or is no file, such as a pipe, has nothing to lose.

    Raises
    ------
    Refusal
        If one is a shop's file, two are the same file, or `may_replace` says no.
    """
    there: dict[Path, Path] = {}
    targets: set[Path] = set()
    for path in paths:
        try:
            target = path.resolve()
            is_file = target.is_file()
            holds_something = is_file and target.stat().st_size > 0
        except OSError as why:
            raise _unwritable(path, why) from None
        _refuse_shop(path, target)
        if (is_file or not target.exists()) and target in targets:
            raise Refusal(f"{path} is named for two files; give each its own name")
        targets.add(target)
        if holds_something:
            there[target] = path
    if there:
        may_replace(list(there.values()))


def refuse_to_replace(paths: Sequence[Path]) -> None:
    """Let no file be replaced."""
    raise Refusal(f"{existing_words(paths)}; choose another name")


def existing_words(paths: Sequence[Path]) -> str:
    """Say that files are there already."""
    if len(paths) == 1:
        return f"{paths[0]} exists already"
    return f"{paths[0]} and {format_count(len(paths) - 1, 'more file')} exist already"


def _refuse_shop(path: Path, target: Path) -> None:
    """Refuse to write over a shop's file, or over what SQLite keeps beside it."""
    if _is_shop(target):
        raise Refusal(f"{path} is a shop's file and is never written over; choose another name")
    for end in ("-wal", "-shm", "-journal"):
        if target.name.endswith(end) and _is_shop(target.with_name(target.name.removesuffix(end))):
            raise Refusal(f"{path} is a part of a shop's file; choose another name")


def _is_shop(path: Path) -> bool:
    # SQLite itself has to look: the shop may be open, and closing a file that was opened beside
    # SQLite drops SQLite's locks on it (https://sqlite.org/howtocorrupt.html, 2.2).
    try:
        if not path.is_file() or path.stat().st_size == 0:
            return False
    except OSError:
        return False
    import sqlite3

    with suppress(sqlite3.Error):
        uri = f"{path.as_uri()}?mode=ro&immutable=1"
        with closing(sqlite3.connect(uri, uri=True)) as connection:
            found = connection.execute("PRAGMA application_id").fetchone()
            return bool(found == (SHOP_APPLICATION_ID,))
    return False


# --- writing -----------------------------------------------------------------------------------


def write_files(
    files: Sequence[tuple[Path, str | bytes]],
    may_replace: MayReplace = refuse_to_replace,
    *,
    folders: Iterable[Path] = (),
    remove: Iterable[Path] = (),
) -> None:
    """Write files, once all of them may be; a failure leaves the file that was there as it was.

    A link stays a link, and what is no file, such as a pipe, is written to and stays what it is.

    Parameters
    ----------
    files
        What to write; texts are written in UTF-8.
    folders
        Those to make for them, unless they are there.
    remove
        Files that the new ones make obsolete; `may_replace` is asked about them too.

    Raises
    ------
    Refusal
        If one may not be replaced (see `check_targets`), or can't be written.
    """
    obsolete = list(remove)
    check_targets([*(path for path, _ in files), *obsolete], may_replace)
    for folder in folders:
        make_folder(folder)
    for path, data in files:
        _write(path, data.encode() if isinstance(data, str) else data)
    for path in obsolete:
        try:
            path.unlink(missing_ok=True)
        except OSError as why:
            raise Refusal(f"{path}: it can't be removed ({why.strerror or why})") from None


def _write(path: Path, data: bytes) -> None:
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        target = path.resolve()
        with drafted(target) as draft:
            with create_privately(draft) as file:
                file.write(data)
            draft.replace(target)
    except OSError as why:
        raise _unwritable(path, why) from None
    note_change()


def write_new_file(path: Path, data: bytes) -> None:
    """Write bytes into a file that is not there yet; it is there whole or not at all.

    Raises
    ------
    Refusal
        If something lies there already, or it can't be written.
    """
    try:
        if path.exists() or path.is_symlink():
            raise FileExistsError
        _refuse_shop(path, path.absolute())
        with drafted(path) as draft:
            with create_privately(draft) as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            link_into_place(draft, path)
    except FileExistsError:
        raise Refusal(f"{path} exists already and is left as it is; choose another name") from None
    except OSError as why:
        raise _unwritable(path, why) from None


def create_privately(path: Path) -> io.BufferedWriter:
    """Make a file that only its owner can read, and open it for writing."""
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_ONLY), "wb")


@contextmanager
def drafted(path: Path) -> Iterator[Path]:
    """Give a name out of sight for a file to be made under before it gets its place."""
    target = path.absolute()
    with hidden_folder(target.parent) as folder:
        yield folder / target.name


@contextmanager
def hidden_folder(parent: Path) -> Iterator[Path]:
    """Make a hidden folder for unfinished work, which only its owner can see into.

    What killed runs left beside it is swept first.
    """
    sweep_leftovers(parent)
    folder, lock = _locked_folder(parent)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        if lock is not None:
            os.close(lock)


def _locked_folder(parent: Path) -> tuple[Path, int | None]:
    while True:
        folder = Path(tempfile.mkdtemp(prefix=_HIDDEN, dir=parent))
        if fcntl is None:
            return folder, None
        try:
            lock = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        except FileNotFoundError:
            continue  # another run took it for a leftover before it was locked
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
        except OSError:
            return folder, lock  # no locks on this disk, so nothing is swept there either
        if folder.exists():
            return folder, lock
        os.close(lock)


def sweep_leftovers(parent: Path) -> None:
    """Remove the user's own unfinished work whose maker no longer runs."""
    if fcntl is None:
        return
    for left in parent.glob(f"{_HIDDEN}????????"):
        try:
            lock = os.open(left, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        except OSError:
            continue
        try:
            if os.fstat(lock).st_uid == os.getuid():
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(left, ignore_errors=True)
        except OSError:
            pass  # its maker holds the lock
        finally:
            os.close(lock)


def link_into_place(unnamed: Path, path: Path) -> None:
    """Name a finished file, for good; never in place of another one.

    Raises
    ------
    FileExistsError
        If the name is taken.
    """
    try:
        path.hardlink_to(unnamed)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems know no second name for a file; then between this look and the move
        # another program could still take the name.
        if path.exists():
            raise FileExistsError(path) from None
        unnamed.rename(path)
    sync_folder(path.absolute().parent)
    note_change()


def sync_folder(folder: Path) -> None:
    """See to it that the names in a folder outlast a power cut."""
    if hasattr(os, "O_DIRECTORY"):
        opened = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def _unwritable(path: Path, why: OSError) -> Refusal:
    return Refusal(f"{path}: it can't be written ({why.strerror or why})")
