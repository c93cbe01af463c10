"""The line of each key in a TOML file.

`tomllib` gives values without their lines.  This scanner reads text that `tomllib` has accepted
already, so it only has to distinguish keys, brackets and strings.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import NamedTuple, TypeAlias

__all__ = ["NestingError", "Path", "lines_of"]

Path: TypeAlias = tuple[str | int, ...]
"""The keys and indices that lead to a value: ``("pieces", 0, "width")``."""

MAX_DEPTH = 12

_TOKEN = re.compile(
    r'''(?P<skip>[ \t]+|\#[^\n]*)
      | (?P<string>"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')
      | (?P<word>[A-Za-z0-9_+:-]+)
      | (?P<sign>.)''',
    re.VERBOSE | re.DOTALL,
)


class NestingError(ValueError):
    """Brackets nested too deeply, on line `line`."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


class _Token(NamedTuple):
    kind: str
    text: str
    line: int


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, from 1, on which each table, key and element of an array begins.

    Parameters
    ----------
    text
        A TOML document that `tomllib` accepts.

    Raises
    ------
    NestingError
        If arrays and tables are nested more than a dozen deep.
    """
    return _Scanner(text.replace("\r\n", "\n")).scan()


def _tokens(text: str) -> Iterator[_Token]:
    line = 1
    for match in _TOKEN.finditer(text):
        kind = match.lastgroup or ""
        if kind != "skip":
            yield _Token(kind, match.group(), line)
        line += match.group().count("\n")
    yield _Token("end", "", line)


class _Scanner:
    """Walks through the tokens and records the line of each value."""

    def __init__(self, text: str) -> None:
        self.tokens = list(_tokens(text))
        self.position = 0
        self.lines: dict[Path, int] = {}
        self.last_line: dict[Path, int] = {}
        """The index of the last table of each array of tables."""

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        while self.peek().kind != "end":
            if self.peek().text == "\n":
                self.position += 1
            elif self.peek().text == "[" and self.peek().kind == "sign":
                table = self.header()
            else:
                self.pair(table)
        return self.lines

    def peek(self) -> _Token:
        return self.tokens[self.position]

    def next(self) -> _Token:
        token = self.tokens[self.position]
        self.position = min(self.position + 1, len(self.tokens) - 1)
        return token

    def record_line(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)

    def header(self) -> Path:
        line = self.next().line
        array = self.peek().text == "["
        if array:
            self.position += 1
        keys = self.keys("]")
        if array:
            self.position += 1
        path: Path = ()
        for place, key in enumerate(keys):
            path = (*path, key)
            self.record_line(path, line)
            if array and place == len(keys) - 1:
                self.last_line[path] = self.last_line.get(path, -1) + 1
            if path in self.last_line:
                path = (*path, self.last_line[path])
                self.record_line(path, line)
        return path

    def keys(self, end: str) -> list[str]:
        """Read ``a."b".c`` and the sign that ends it."""
        found: list[str] = []
        while (token := self.next()).kind != "end":
            if token.kind == "sign" and token.text == end:
                break
            if token.kind == "word":
                found.append(token.text)
            elif token.kind == "string":
                found.append(str(tomllib.loads(f"key = {token.text}")["key"]))
        return found

    def pair(self, table: Path, depth: int = 0) -> None:
        line = self.peek().line
        path = table
        for key in self.keys("="):
            path = (*path, key)
            self.record_line(path, line)
        self.value(path, depth)

    def value(self, path: Path, depth: int) -> None:
        token = self.peek()
        self.record_line(path, token.line)
        if token.kind == "sign" and token.text in ("[", "{"):
            if depth == MAX_DEPTH:
                raise NestingError(token.line)
            self.position += 1
            self.inside(path, token.text == "[", depth + 1)
            return
        while (token := self.peek()).kind != "end":
            if token.kind == "sign" and token.text in (",", "]", "}", "\n"):
                return
            self.position += 1

    def inside(self, path: Path, array: bool, depth: int) -> None:
        """Read the elements of an array or the pairs of a table up to its closing bracket."""
        index = 0
        while (token := self.peek()).kind != "end":
            if token.kind == "sign" and token.text in ("]", "}"):
                self.position += 1
                return
            if token.kind == "sign" and token.text in (",", "\n"):
                self.position += 1
            elif array:
                self.value((*path, index), depth)
                index += 1
            else:
                self.pair(path, depth)
