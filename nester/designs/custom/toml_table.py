"""The tables of a design's file, read field by field; each fault becomes a finding.

A `TomlTable` notes which of its keys are read, so that what is left over can be reported as
misspelt.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol, TypeVar

from nester.designs.base.design import suggestion
from nester.designs.custom.definition import BoundExpression
from nester.designs.custom.expressions import Dimension, quoted
from nester.designs.custom.findings import Findings
from nester.designs.custom.toml_lines import NestingError, Path, lines_of

__all__ = [
    "MAX_FILE_SIZE",
    "MAX_NAME_LENGTH",
    "ExpressionReader",
    "TomlTable",
    "load_toml",
    "type_name",
]

MAX_FILE_SIZE = 100_000
"""Bytes; a design with a hundred pieces takes a fifth of that."""
_MAX_LINE_LENGTH = 500
MAX_NAME_LENGTH = 60
_MAX_TEXT_LENGTH = 500
_MAX_ENTRIES = 100

_T = TypeVar("_T")


class ExpressionReader(Protocol):
    """Whatever reads the expressions in a table, and collects what is wrong with them."""

    findings: Findings

    def bound_expression(
        self, path: Path, value: object, dimension: Dimension | None
    ) -> BoundExpression | None:
        """Read an expression of a dimension, or of any; None and a finding if it is none."""


def load_toml(text: str, findings: Findings) -> dict[str, Any] | None:
    """Read TOML, and the line of each of its keys into `findings`.

    The bounds on text and lines keep both readers quick.  None if the text is no TOML.
    """
    if len(text) > MAX_FILE_SIZE:
        findings.add_at(1, f"more than {MAX_FILE_SIZE // 1000} kB is too large for a design")
        return None
    for number, line in enumerate(text.split("\n"), 1):
        if any("\ud800" <= character <= "\udfff" for character in line):
            findings.add_at(number, "there is half a character here, which can't be saved")
            return None
        if len(line) > _MAX_LINE_LENGTH:
            findings.add_at(number, f"the line has more than {_MAX_LINE_LENGTH:,} characters")
            return None
    try:
        data = tomllib.loads(text)
        findings.lines = lines_of(text)
    except NestingError as error:
        findings.add_at(error.line, "brackets are nested too deeply")
        return None
    except RecursionError:
        findings.add_at(1, "brackets are nested too deeply")
        return None
    except ValueError as error:  # TOMLDecodeError, or a date or number that can't be
        findings.add_at(*_position_and_message(str(error), text))
        return None
    return data


_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TOML_MESSAGES = {
    "Invalid value": 'words and arithmetic must be in quotes, like "2cm + flap"',
    "Invalid statement": "a line starts with a name and =, or with a name in [ ]",
    "Invalid initial character for a key part": "a name is missing or not in small letters",
    "Expected '=' after a key": "there is no = after a name",
    "Cannot overwrite a value": "this name is given twice; keep one",
    "Cannot declare": "this name in [ ] is given twice; keep one",
    "Cannot mutate immutable": "this name is given twice; keep one",
    "Illegal character '\\n'": "a closing quote is missing at the end of the line",
    "Expected newline or end of document": "there is something after the value; start a new line",
}
"""The beginnings of what `tomllib` says, and the same in a maker's words."""


def _position_and_message(error: str, text: str) -> tuple[int, str]:
    match = _POSITION.search(error)
    fault = error[: match.start()] if match else "there is no such date or number"
    plain = [words for start, words in _TOML_MESSAGES.items() if fault.startswith(start)]
    fault = plain[0] if plain else quoted(fault, 120)[1:-1]
    if match and match[1]:
        return int(match[1]), f"this is not TOML at column {match[2]}: {fault}"
    return len(text.splitlines()) or 1, f"this is not TOML: {fault}"


class TomlTable:
    """A table of the file.

    Attributes
    ----------
    path
        The way to it from the top of the file.
    data
        What `tomllib` read.
    known_keys
        The keys asked for so far; any other is misspelt.
    """

    def __init__(self, reader: ExpressionReader, path: Path, data: Mapping[str, Any]) -> None:
        self.reader = reader
        self.path = path
        self.data = data
        self.known_keys: list[str] = []

    def report(self, key: str, message: str) -> None:
        """Note what is wrong with the value of a key."""
        self.reader.findings.add((*self.path, key), message)

    def raw(self, key: str, *, needed: bool = False) -> Any:
        """Return a value as TOML has it, or None."""
        self.known_keys.append(key)
        if needed and key not in self.data:
            self.report(key, "it is missing")
        return self.data.get(key)

    def text(self, key: str, *, needed: bool = False, at_most: int = _MAX_TEXT_LENGTH) -> str:
        """Return words on one line; an empty string and a finding if they can't be used."""
        value = self.raw(key, needed=needed)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.report(key, f"it should be words in quotes, not {type_name(value)}")
            return ""
        words = " ".join(value.split())
        if not words.isprintable():
            self.report(key, "it holds characters that can't be printed")
        elif len(words) > at_most:
            self.report(key, f"it has {len(words):,} characters; {at_most} are allowed")
        elif needed and not words:
            self.report(key, "it is empty")
        else:
            return words
        return ""

    def name(self, key: str, pattern: re.Pattern[str], example: str) -> str:
        """Return a name that matches a pattern; an empty string and a finding if it doesn't."""
        value = self.text(key, needed=True, at_most=MAX_NAME_LENGTH)
        if value and not pattern.fullmatch(value):
            self.report(key, f"{quoted(value)} can't be its name; write one like {example}")
            return ""
        return value

    def flag(self, key: str) -> bool:
        """Return true or false; false if the key is missing."""
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            self.report(key, f"{_shown(value)} should be true or false, without quotes")
        return value is True

    def choice(self, key: str, words: Iterable[str], default: str = "") -> str:
        """Return one of some words; without a default the key is needed."""
        known = list(words)
        value = self.raw(key, needed=not default)
        if value is None:
            return default
        if not isinstance(value, str) or value not in known:
            self.report(key, f"{_shown(value)} should be one of {', '.join(known)}")
            return ""
        return value

    def tables(self, key: str, read: Callable[[TomlTable], _T | None]) -> tuple[_T, ...]:
        """Read each table of an array through `read`; what it can't make is left out."""
        value = self.raw(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.report(key, f"it should be a list of tables, not {type_name(value)}")
            return ()
        if len(value) > _MAX_ENTRIES:
            self.report(key, f"there are {len(value):,} of them; {_MAX_ENTRIES} are allowed")
            return ()
        made = []
        for index, entry in enumerate(value):
            path = (*self.path, key, index)
            if isinstance(entry, dict):
                table = TomlTable(self.reader, path, entry)
                made.append(read(table))
                table.report_unknown_keys()
            else:
                self.reader.findings.add(path, f"it should be a table, not {type_name(entry)}")
        return tuple(entry for entry in made if entry is not None)

    def table(self, key: str) -> TomlTable | None:
        """Return a table within this one; its keys are names that the maker chose."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.report(key, f"it should be a table, not {type_name(value)}")
            return None
        if len(value) > _MAX_ENTRIES:
            self.report(key, f"there are {len(value):,} of them; {_MAX_ENTRIES} are allowed")
            return None
        return TomlTable(self.reader, (*self.path, key), value)

    def expression(
        self, key: str, dimension: Dimension, default: str = ""
    ) -> BoundExpression | None:
        """Return an expression of a dimension; without a default the key is needed."""
        value = self.raw(key, needed=not default)
        if value is None and default:
            value = default
        return (
            None
            if value is None
            else self.reader.bound_expression((*self.path, key), value, dimension)
        )

    def point(self, key: str) -> tuple[BoundExpression, BoundExpression] | None:
        """Return the two expressions of a place on a piece."""
        value = self.raw(key, needed=True)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            self.report(key, 'it should be a place such as ["2cm", "tall / 2"]')
            return None
        path = (*self.path, key)
        x = self.reader.bound_expression((*path, 0), value[0], Dimension.LENGTH)
        y = self.reader.bound_expression((*path, 1), value[1], Dimension.LENGTH)
        return None if x is None or y is None else (x, y)

    def report_unknown_keys(self) -> None:
        """Report the keys that nothing has asked for."""
        for key in self.data:
            if key not in self.known_keys and not self.reader.findings.full:
                hint = (
                    suggestion(key, self.known_keys)
                    or f"; there may be {', '.join(self.known_keys)}"
                )
                self.report(key, f"{quoted(key)} is not known here{hint}")


def type_name(value: object) -> str:
    """Return what a maker calls the type of a TOML value."""
    if isinstance(value, bool):
        return "true or false"
    kinds = ((str, "text"), (int, "a number"), (float, "a number"), (list, "a list"),
             (dict, "a table"))  # fmt: skip
    return next((name for kind, name in kinds if isinstance(value, kind)), "a date")


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else type_name(value)
