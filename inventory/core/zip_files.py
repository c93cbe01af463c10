"""ZIP archives that others made: opened only if reading them can't fill the memory."""

from __future__ import annotations

import struct
import zlib
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING
from zipfile import BadZipFile, ZipFile

from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["ZIP_ERRORS", "open_zip"]

ZIP_ERRORS = (BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError, zlib.error)
"""What a damaged archive raises, or one of a kind that none of ours is of: encrypted, for
instance."""
_LARGEST_DIRECTORY = 2_000_000
"""Bytes of the list of an archive's parts, which Python reads whole: some 20,000 parts."""
_LONGEST_END = 22 + 65_535
_DIRECTORY, _DIRECTORY_64 = struct.Struct("<4s8xI"), struct.Struct("<4s36xQ")
"""Of the end record, and of that of large archives, the signature and the bytes of the list
(APPNOTE.TXT, sections 4.3.16 and 4.3.14; from memory)."""


@contextmanager
def open_zip(file: IO[bytes], path: Path, most_bytes: int) -> Iterator[ZipFile]:
    """Open an archive; its parts are as large as its list says, or reading them fails.

    Parameters
    ----------
    path
        What to call it in a refusal.
    most_bytes
        What all its parts may have together.

    Raises
    ------
    Refusal
        If it has more, or a longer list of parts than any of ours.
    """
    if _directory_size(file) > _LARGEST_DIRECTORY:
        raise Refusal(f"{path}: it has many thousands of parts, which is none of Quirebox's files")
    with ZipFile(file) as archive:
        if sum(member.file_size for member in archive.infolist()) > most_bytes:
            raise Refusal(
                f"{path}: unpacked it has more than {most_bytes // 10**6:,} MB, which is too much"
            )
        yield archive


def _directory_size(file: IO[bytes]) -> int:
    size = file.seek(0, 2)
    file.seek(max(0, size - _LONGEST_END - 76))
    end = file.read()
    largest = 0
    for place in {end.rfind(b"PK\5\6"), len(end) - 22} - {-1}:
        if place >= 0 and end[place : place + 4] == b"PK\5\6" and len(end) - place >= 22:
            largest = max(largest, _DIRECTORY.unpack_from(end, place)[1])
            before = place - 76  # a locator of 20 bytes stands between
            if before >= 0 and end[before : before + 4] == b"PK\6\6":
                largest = max(largest, _DIRECTORY_64.unpack_from(end, before)[1])
    file.seek(0)
    return largest
