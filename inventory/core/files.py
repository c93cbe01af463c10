"""Writing files so that each is there whole or not at all."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from nester.core.errors import Refusal

__all__ = [
    "csv_text",
    "link_into_place",
    "make_folder",
    "write_bytes",
    "write_file",
    "write_new_file",
]

_FORMULA_PREFIXES = ("=", "+", "-", "@", "\t", "\r")


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


def write_file(path: Path, text: str) -> None:
    """Write a text in place of what the file held; a failure leaves the old file as it was.

    A link stays a link, and what is no file, such as a pipe, is written to and stays what it is.
    """
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write bytes in place of what the file held, as `write_file` does."""
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        target = path.resolve()
        handle, name = tempfile.mkstemp(prefix=f".{target.name}-", dir=target.parent)
    except OSError as why:
        raise _unwritable(path, why) from None
    draft = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        draft.chmod(0o666 & ~_umask())
        draft.replace(target)
    except OSError as why:
        draft.unlink(missing_ok=True)
        raise _unwritable(path, why) from None
    except BaseException:
        draft.unlink(missing_ok=True)
        raise


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
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.absolute().parent)
        draft = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            draft.chmod(0o666 & ~_umask())
            link_into_place(draft, path)
        finally:
            draft.unlink(missing_ok=True)
    except FileExistsError:
        raise Refusal(f"{path} exists already and is left as it is; choose another name") from None
    except OSError as why:
        raise _unwritable(path, why) from None


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
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.absolute().parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _unwritable(path: Path, why: OSError) -> Refusal:
    return Refusal(f"{path}: it can't be written ({why.strerror or why})")
