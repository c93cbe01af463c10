"""Faults of a design's file, each with its line."""

from __future__ import annotations

from dataclasses import dataclass

from nester.designs.custom.definition import path_label
from nester.designs.custom.expressions import quoted
from nester.designs.custom.toml_lines import Path

__all__ = ["Finding", "Findings"]

_MAX_FINDINGS = 30


@dataclass(frozen=True)
class Finding:
    """One fault of a design's file.

    Attributes
    ----------
    file
        As the caller calls it.
    line
        From 1.
    field
        Where in the file: ``pieces 2, width``; empty if the text is no TOML.
    message
        What is wrong, and what would be right.
    """

    file: str
    line: int
    field: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}"
        return (
            f"{where}, {self.field}: {self.message}" if self.field else f"{where}: {self.message}"
        )


class Findings:
    """Collects the faults of one file, at most one for each value.

    `lines` gives the line of each value, as `lines_of` finds it.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.lines: dict[Path, int] = {}
        self.by_path: dict[Path, Finding] = {}

    def add(self, path: Path, message: str) -> None:
        """Note a fault of the value at `path`, unless it has one already."""
        if not self.full:
            field = " ".join(path_label(path).split())
            shown = field if field.isprintable() else quoted(field, 100)
            shown = shown if len(shown) <= 120 else f"{shown[:120]}…"
            self.by_path.setdefault(path, Finding(self.file, self.line(path), shown, message))

    def add_at(self, line: int, message: str) -> None:
        """Note a fault of the text itself."""
        self.by_path[()] = Finding(self.file, line, "", message)

    def line(self, path: Path) -> int:
        """Return the line of a value, or of the nearest table around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    @property
    def full(self) -> bool:
        """Whether the faults are too many to read on."""
        return len(self.by_path) >= _MAX_FINDINGS

    def sorted(self) -> list[Finding]:
        """Return the findings in the order of their lines."""
        return sorted(self.by_path.values(), key=lambda finding: finding.line)
