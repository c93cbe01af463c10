"""A design of a maker's own, in a plain TOML file (TOML 1.0).

She names her sizes, what is worked out from them, and the pieces; the file becomes a
`nester.designs.Design` like any built-in one.  `starter_text` shows all that may stand in it.
Reading collects every fault it can find, each with its line.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any, NoReturn, TypeVar

from nester.core.lengths import MAX_LENGTH, Unit, mm
from nester.core.piece import Fold, Grain
from nester.designs.base.design import Design, suggestion
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.roles import ALL_ROLES
from nester.designs.custom.definition import (
    PIECE_SIZE_NAMES,
    BoundExpression,
    ConsumableDefinition,
    CornerDefinition,
    DesignDefinition,
    EvaluationError,
    FitDefinition,
    GlueDefinition,
    HoleDefinition,
    LineDefinition,
    PieceDefinition,
    RuleDefinition,
    SizeDefinition,
    path_label,
)
from nester.designs.custom.expressions import (
    RESERVED_NAMES,
    Comparison,
    Dimension,
    Expression,
    ExpressionError,
    parse_comparison,
    parse_expression,
    quoted,
)
from nester.designs.custom.outline import CORNERS
from nester.designs.custom.starter_file import STARTER_TEXT
from nester.designs.custom.toml_lines import NestingError, Path, lines_of

__all__ = [
    "MAX_FILE_SIZE",
    "CustomDesignRefusal",
    "Finding",
    "check_custom_design",
    "decode_custom_design",
    "read_custom_design",
    "starter_text",
]

MAX_FILE_SIZE = 100_000
"""Bytes; a design with a hundred pieces takes a fifth of that."""
_MAX_LINE_LENGTH = 500
_MAX_NAME_LENGTH = 60
_MAX_TEXT_LENGTH = 500
_MAX_ENTRIES = 100
_MAX_FINDINGS = 30
_MIN_LENGTH = mm("0.1")
_MAX_COUNT = 1000

_DESIGN_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_ROLE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(\.[a-z0-9]+(-[a-z0-9]+)*)*")
_SIZE_NAME = re.compile(r"[a-z][a-z0-9_]*")
_PIECE_NAME = re.compile(r"\w([\w .'+-]*\w)?")

_T = TypeVar("_T")


class CustomDesignRefusal(DesignRefusal):
    """A file that holds no design that can be made."""


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


def starter_text() -> str:
    """Return a design's file with a remark on everything that may stand in one."""
    return STARTER_TEXT


def read_custom_design(text: str, file: str) -> Design:
    """Read a design of a maker's own.

    Parameters
    ----------
    text
        TOML, at most 100,000 characters.
    file
        What to call it in a refusal.

    Raises
    ------
    OwnDesignRefusal
        The first fault, with its line, as ``FILE, line N, field: what is wrong``.
    """
    plan, findings = _read(text, file)
    if plan is None or findings:
        raise CustomDesignRefusal(str(findings[0]))
    return plan.design()


def check_custom_design(text: str, file: str) -> list[Finding]:
    """Return all that is wrong with a design's file, by line; nothing if it can be made.

    A design is tried with its usual sizes; others may still break one of its rules.
    """
    return _read(text, file)[1]


def decode_custom_design(data: bytes, file: str) -> str:
    """Return the text of a design's file.

    Raises
    ------
    OwnDesignRefusal
        If it is too large or no UTF-8.
    """
    if len(data) > MAX_FILE_SIZE:
        _refuse(file, 1, f"more than {MAX_FILE_SIZE // 1000} kB is no design")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        _refuse(file, line, "this is not UTF-8 text; save the file as UTF-8")


def _refuse(file: str, line: int, what: str) -> NoReturn:
    raise CustomDesignRefusal(str(Finding(file, line, "", what)))


def _read(text: str, file: str) -> tuple[DesignDefinition | None, list[Finding]]:
    text = text.removeprefix("\ufeff")
    found = _Findings(file)
    data = _load(text, found)
    if data is None:
        return None, found.sorted()
    plan = _DefinitionReader(found).definition(data)
    if plan is not None:
        _check_defaults(plan, found)
    return plan, found.sorted()


class _Findings:
    """Collects faults; at most one for each place."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.lines: dict[Path, int] = {}
        self.by_path: dict[Path, Finding] = {}

    def add(self, path: Path, what: str) -> None:
        if not self.full:
            field = " ".join(path_label(path).split())
            shown = field if field.isprintable() else quoted(field, 100)
            shown = shown if len(shown) <= 120 else f"{shown[:120]}…"
            self.by_path.setdefault(path, Finding(self.file, self.line(path), shown, what))

    def add_at(self, line: int, what: str) -> None:
        self.by_path[()] = Finding(self.file, line, "", what)

    def line(self, path: Path) -> int:
        """Return the line of a value, or of the nearest table around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    @property
    def full(self) -> bool:
        """Whether enough was found; what is wrong further on is looked at no more."""
        return len(self.by_path) >= _MAX_FINDINGS

    def sorted(self) -> list[Finding]:
        return sorted(self.by_path.values(), key=lambda finding: finding.line)


# --- TOML --------------------------------------------------------------------------------------


def _load(text: str, found: _Findings) -> dict[str, Any] | None:
    """Read TOML and note the line of each key, within bounds that keep both quick."""
    if len(text) > MAX_FILE_SIZE:
        found.add_at(1, f"more than {MAX_FILE_SIZE // 1000} kB is no design")
        return None
    for number, line in enumerate(text.split("\n"), 1):
        if any("\ud800" <= character <= "\udfff" for character in line):
            found.add_at(number, "half a character stands here, which can't be written")
            return None
        if len(line) > _MAX_LINE_LENGTH:
            found.add_at(number, f"the line has more than {_MAX_LINE_LENGTH:,} characters")
            return None
    try:
        data = tomllib.loads(text)
        found.lines = lines_of(text)
    except NestingError as error:
        found.add_at(error.line, "brackets stand in one another too deeply")
        return None
    except RecursionError:
        found.add_at(1, "brackets stand in one another too deeply")
        return None
    except ValueError as error:  # TOMLDecodeError, or a date or number that can't be
        found.add_at(*_position_and_message(str(error), text))
        return None
    return data


_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TOML_MESSAGES = {
    "Invalid value": 'words and arithmetic must stand in quotes, like "2cm + flap"',
    "Invalid statement": "a line begins with a name and =, or with a name in [ ]",
    "Invalid initial character for a key part": "a name is missing or not in small letters",
    "Expected '=' after a key": "there is no = after a name",
    "Cannot overwrite a value": "this name is given twice; keep one",
    "Cannot declare": "this name in [ ] is given twice; keep one",
    "Cannot mutate immutable": "this name is given twice; keep one",
    "Illegal character '\\n'": "a closing quote is missing at the end of the line",
    "Expected newline or end of document": "something stands after the value; begin a new line",
}
"""What `tomllib` says, by its beginning, in a maker's words; the rest is said as it is."""


def _position_and_message(said: str, text: str) -> tuple[int, str]:
    match = _POSITION.search(said)
    fault = said[: match.start()] if match else "a date or number can't be so"
    plain = [words for begins, words in _TOML_MESSAGES.items() if fault.startswith(begins)]
    fault = plain[0] if plain else quoted(fault, 120)[1:-1]
    if match and match[1]:
        return int(match[1]), f"this is not TOML at column {match[2]}: {fault}"
    return len(text.splitlines()) or 1, f"this is not TOML: {fault}"


# --- tables and their fields -------------------------------------------------------------------


class _TomlTable:
    """A table of the file; a field that is read is known, the rest are slips."""

    def __init__(self, reader: _DefinitionReader, path: Path, data: Mapping[str, Any]) -> None:
        self.reader = reader
        self.path = path
        self.data = data
        self.known_keys: list[str] = []

    def report(self, key: str, what: str) -> None:
        self.reader.findings.add((*self.path, key), what)

    def raw(self, key: str, *, needed: bool = False) -> Any:
        self.known_keys.append(key)
        if needed and key not in self.data:
            self.report(key, "it is missing")
        return self.data.get(key)

    def text(self, key: str, *, needed: bool = False, at_most: int = _MAX_TEXT_LENGTH) -> str:
        """Return words on one line, or nothing."""
        value = self.raw(key, needed=needed)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.report(key, f"{_type_name(value)} stands where words in quotes should")
            return ""
        words = " ".join(value.split())
        if not words.isprintable():
            self.report(key, "it holds characters that can't be printed")
        elif len(words) > at_most:
            self.report(key, f"it has {len(words):,} characters; at most {at_most} fit")
        elif needed and not words:
            self.report(key, "it is empty")
        else:
            return words
        return ""

    def name(self, key: str, pattern: re.Pattern[str], example: str) -> str:
        value = self.text(key, needed=True, at_most=_MAX_NAME_LENGTH)
        if value and not pattern.fullmatch(value):
            self.report(key, f"{quoted(value)} is no name for it; write one like {example}")
            return ""
        return value

    def flag(self, key: str) -> bool:
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            self.report(key, f"{_shown(value)} should be true or false, without quotes")
        return value is True

    def choice(self, key: str, words: Iterable[str], usual: str = "") -> str:
        known = list(words)
        value = self.raw(key, needed=not usual)
        if value is None:
            return usual
        if not isinstance(value, str) or value not in known:
            self.report(key, f"{_shown(value)} should be one of {', '.join(known)}")
            return ""
        return value

    def tables(self, key: str, read: Callable[[_TomlTable], _T | None]) -> tuple[_T, ...]:
        """Read each table of an array through `read`; what it can't make is left out."""
        value = self.raw(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.report(key, f"{_type_name(value)} stands where a list of tables should")
            return ()
        if len(value) > _MAX_ENTRIES:
            self.report(key, f"there are {len(value):,} of them; at most {_MAX_ENTRIES} fit")
            return ()
        made = []
        for index, entry in enumerate(value):
            path = (*self.path, key, index)
            if isinstance(entry, dict):
                table = _TomlTable(self.reader, path, entry)
                made.append(read(table))
                table.report_unknown_keys()
            else:
                self.reader.findings.add(path, f"{_type_name(entry)} stands where a table should")
        return tuple(one for one in made if one is not None)

    def table(self, key: str) -> _TomlTable | None:
        """Return a table within this one; its keys are names that the maker chose."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.report(key, f"{_type_name(value)} stands where a table should")
            return None
        if len(value) > _MAX_ENTRIES:
            self.report(key, f"there are {len(value):,} of them; at most {_MAX_ENTRIES} fit")
            return None
        return _TomlTable(self.reader, (*self.path, key), value)

    def expression(self, key: str, sort: Dimension, usual: str = "") -> BoundExpression | None:
        """Return an expression of the sort wanted; `usual` if the field is not there."""
        value = self.raw(key, needed=not usual)
        if value is None and usual:
            value = usual
        return (
            None if value is None else self.reader.bound_expression((*self.path, key), value, sort)
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
        """Find the keys that nothing knows."""
        for key in self.data:
            if key not in self.known_keys and not self.reader.findings.full:
                hint = (
                    suggestion(key, self.known_keys)
                    or f"; there may be {', '.join(self.known_keys)}"
                )
                self.report(key, f"{quoted(key)} is not known here{hint}")


def _type_name(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    kinds = ((str, "text"), (int, "a number"), (float, "a number"), (list, "a list"),
             (dict, "a table"))  # fmt: skip
    return next((name for kind, name in kinds if isinstance(value, kind)), "a date")


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else _type_name(value)


# --- the parts of a design ---------------------------------------------------------------------


class _DefinitionReader:
    def __init__(self, found: _Findings) -> None:
        self.findings = found
        self.dimensions: dict[str, Dimension] = {}
        self.invalid_names: set[str] = set()
        """Names that stand for something that can't be read: a fault for each is enough."""
        self.later_names: set[str] = set()
        """Sizes that stand below the one being read."""
        self.on_piece = False

    def definition(self, data: Mapping[str, Any]) -> DesignDefinition | None:
        top = _TomlTable(self, (), data)
        name = top.name("name", _DESIGN_NAME, "paper-house")
        self._check_name(name)
        title = top.text("title", needed=True, at_most=200)
        sizes = self._sizes(top.table("sizes"))
        worked_out = self._derived_sizes(top.table("worked_out"))
        rules = top.tables("rules", self._rule)
        pieces = top.tables("pieces", self._piece)
        roles = {piece.role for piece in pieces}
        fits = top.tables("fits", lambda table: self._fit(table, roles))
        consumables = top.tables("consumables", self._consumable)
        top.report_unknown_keys()
        if "pieces" not in data or data["pieces"] == []:
            self.findings.add(("pieces",), "there is none; a design needs at least one")
        self._check_unique_names(pieces)
        if self.findings.by_path:
            return None
        return DesignDefinition(name, title, sizes, worked_out, rules, pieces, fits, consumables)

    def _check_name(self, name: str) -> None:
        from nester.designs import DESIGNS

        if name in DESIGNS:
            self.findings.add(
                ("name",), f"'{name}' is a design that comes with Quirebox; choose another"
            )

    def _check_unique_names(self, pieces: Sequence[PieceDefinition]) -> None:
        seen: set[str] = set()
        for piece in pieces:
            if piece.name.casefold() in seen:
                what = f"a piece before this one is called {quoted(piece.name)} too"
                self.findings.add((*piece.path, "name"), f"{what}; names must differ")
            seen.add(piece.name.casefold())

    # --- expressions

    def bound_expression(
        self, path: Path, value: object, sort: Dimension | None
    ) -> BoundExpression | None:
        """Read an expression of a sort, or of any sort; None and a finding if it is none."""
        if self.findings.full:
            return None
        text = self._expression_text(path, value, sort)
        if text is None:
            return None
        expression = self._parsed(path, text, parse_expression)
        if expression is None or expression.names & self.invalid_names:
            return None
        later = sorted(expression.names & self.later_names)
        if later:
            self.findings.add(
                path, f"'{later[0]}' stands further down; put its line before this one"
            )
            return None
        found = self._dimension(path, expression)
        if found is None or sort in (None, found):
            return BoundExpression(path, expression) if found else None
        hint = "a length such as 2cm" if sort is Dimension.LENGTH else "a number without a unit"
        self.findings.add(path, f"{quoted(text)} is a {found}; it should be {hint}")
        return None

    def _expression_text(self, path: Path, value: object, sort: Dimension | None) -> str | None:
        if isinstance(value, int) and not isinstance(value, bool):
            if value == 0 and sort is Dimension.LENGTH:
                return "0mm"
            if abs(value) >= 10**9:
                self.findings.add(path, "the number has more digits than any size needs")
                return None
            if sort is Dimension.LENGTH:
                self.findings.add(path, f'{value} has no unit; write it like "{value}cm"')
                return None
            return str(value)
        if isinstance(value, str):
            return value
        what = f"{_type_name(value)} stands where arithmetic in quotes should"
        self.findings.add(path, f'{what}, such as "10.5cm" or "width / 2"')
        return None

    def _parsed(self, path: Path, text: str, parse: Callable[[str], _T]) -> _T | None:
        try:
            return parse(text)
        except ExpressionError as error:
            self.findings.add(path, str(error))
            return None

    def _known_dimensions(self) -> dict[str, Dimension]:
        own = dict.fromkeys(PIECE_SIZE_NAMES, Dimension.LENGTH) if self.on_piece else {}
        return {**self.dimensions, **own}

    def _dimension(self, path: Path, expression: Expression) -> Dimension | None:
        try:
            return expression.dimension(self._known_dimensions())
        except ExpressionError as error:
            self.findings.add(path, str(error))
            return None

    def _check_size_name(self, path: Path, name: str) -> bool:
        if not _SIZE_NAME.fullmatch(name) or len(name) > _MAX_NAME_LENGTH:
            what = f"{quoted(name)} is no name for a size; write one like lid_wall"
        elif name in RESERVED_NAMES or name in PIECE_SIZE_NAMES:
            what = f"'{name}' has a meaning of its own in arithmetic; choose another name"
        elif name in self.dimensions or name in self.invalid_names:
            what = f"there is a size '{name}' already; names must differ"
        else:
            return True
        self.findings.add(path, what)
        return False

    # --- sizes

    def _sizes(self, table: _TomlTable | None) -> tuple[SizeDefinition, ...]:
        sizes: list[SizeDefinition] = []
        self.later_names = set(table.data) if table else set()
        for name, value in table.data.items() if table else ():
            path = ("sizes", name)
            size = self._size(path, name, value) if self._check_size_name(path, name) else None
            if size is None:
                self.invalid_names.add(name)
            else:
                self.dimensions[name] = size.dimension
                sizes.append(size)
            self.later_names.discard(name)
        return tuple(sizes)

    def _size(self, path: Path, name: str, value: object) -> SizeDefinition | None:
        fields = value if isinstance(value, dict) else {"usual": value}
        table = _TomlTable(self, path, fields)
        given = table.raw("usual", needed=True)
        bounds = {key: table.raw(key) for key in ("least", "most")}
        about = table.text("help", at_most=200) or name.replace("_", " ")
        table.report_unknown_keys()
        if given is None:
            return None
        where = (*path, "usual") if isinstance(value, dict) else path
        usual = self.bound_expression(where, given, None)
        if usual is None or not self._check_unit(where, given, usual):
            return None
        sort = usual.expression.dimension(self.dimensions)
        least, most = (_MIN_LENGTH, MAX_LENGTH) if sort is Dimension.LENGTH else (0, _MAX_COUNT)
        least = self._bound((*path, "least"), bounds["least"], sort, least)
        most = self._bound((*path, "most"), bounds["most"], sort, most)
        if least > most:
            self.findings.add((*path, "least"), "the least is more than the most")
        elif not usual.expression.names and not least <= usual.expression.evaluate({}) <= most:
            self.findings.add(where, "what is usual is out of its own range, least to most")
        return SizeDefinition(name, sort, usual, least, most, about)

    def _check_unit(self, path: Path, given: object, usual: BoundExpression) -> bool:
        if isinstance(given, str) and re.fullmatch(r"[\s0-9./½¼¾⅓⅔⅛⅜⅝⅞]+", given):
            text = usual.expression.text
            what = f"write {text}cm for a length, or {text} without quotes for a whole number"
            self.findings.add(path, f"'{text}' has no unit; {what}")
            return False
        return True

    def _bound(self, path: Path, value: object, sort: Dimension, usual: int) -> int:
        """Read the least or most a size may be; names may not stand in it."""
        worth = None if value is None else self.bound_expression(path, value, sort)
        if worth is None:
            return usual
        if worth.expression.names:
            self.findings.add(path, "it can't depend on other sizes; put that into [[rules]]")
            return usual
        bound = self._constant(worth)
        limit = MAX_LENGTH if sort is Dimension.LENGTH else _MAX_COUNT
        if bound is None or not 0 <= bound <= limit:
            most = "10 m" if sort is Dimension.LENGTH else f"{_MAX_COUNT:,}"
            self.findings.add(path, f"it may be from 0 to {most}, and whole")
            return usual
        return bound

    def _constant(self, worth: BoundExpression) -> int | None:
        try:
            value = worth.expression.evaluate({})
        except ExpressionError as error:
            self.findings.add(worth.path, str(error))
            return None
        return value.numerator if value.denominator == 1 else None

    # --- what is worked out

    def _derived_sizes(self, table: _TomlTable | None) -> tuple[tuple[str, BoundExpression], ...]:
        texts = dict(table.data) if table else {}
        parsed: dict[str, Expression] = {}
        for name, value in texts.items():
            path = ("worked_out", name)
            expression = None
            if self._check_size_name(path, name):
                text = self._expression_text(path, value, None)
                expression = None if text is None else self._parsed(path, text, parse_expression)
            if expression is None:
                self.invalid_names.add(name)
            else:
                parsed[name] = expression
        ordered = []
        for name in self._evaluation_order(parsed):
            worth = self.bound_expression(("worked_out", name), texts[name], None)
            if worth is None:
                self.invalid_names.add(name)
            else:
                self.dimensions[name] = worth.expression.dimension(self.dimensions)
                ordered.append((name, worth))
        return tuple(ordered)

    def _evaluation_order(self, parsed: Mapping[str, Expression]) -> list[str]:
        """Return names so that each comes after those it uses; drop those that go in a circle."""
        waiting = dict(parsed)
        while True:
            sorter = TopologicalSorter(
                {name: sorted(one.names & waiting.keys()) for name, one in waiting.items()}
            )
            try:
                return list(sorter.static_order())
            except CycleError as error:
                circle = error.args[1][::-1]
                first = min(circle, key=list(parsed).index)
                shown = circle if len(circle) <= 9 else [*circle[:7], "…", circle[-1]]
                way = " → ".join(quoted(name)[1:-1] for name in shown)
                self.findings.add(("worked_out", first), f"it goes in a circle: {way}")
                self.invalid_names.update(circle)
                for name in set(circle):
                    del waiting[name]

    # --- rules, fits, consumables

    def _rule(self, table: _TomlTable) -> RuleDefinition | None:
        text = table.text("holds", needed=True)
        says = table.text("says", needed=True)
        path = (*table.path, "holds")
        comparison = self._parsed(path, text, parse_comparison) if text else None
        if comparison is None or comparison.names & self.invalid_names or self.findings.full:
            return None
        if not self._check_comparison(path, comparison) or not says:
            return None
        return RuleDefinition(path, comparison, says)

    def _check_comparison(self, path: Path, comparison: Comparison) -> bool:
        try:
            comparison.check(self.dimensions)
        except ExpressionError as error:
            self.findings.add(path, str(error))
            return False
        return True

    def _fit(self, table: _TomlTable, roles: set[str]) -> FitDefinition | None:
        name = table.text("name", needed=True, at_most=_MAX_NAME_LENGTH)
        outer, inner = (
            table.expression("outer", Dimension.LENGTH),
            table.expression("inner", Dimension.LENGTH),
        )
        play = table.expression("play", Dimension.LENGTH)
        papers = self._papers_between(table, roles)
        if outer is None or inner is None or play is None:
            return None
        return FitDefinition(table.path, name, outer, inner, play, papers)

    def _papers_between(
        self, table: _TomlTable, roles: set[str]
    ) -> tuple[tuple[str, BoundExpression], ...]:
        inside = table.table("papers")
        found = []
        for role in inside.data if inside else ():
            assert inside is not None  # noqa: S101 - tells the type checker
            if role not in roles:
                inside.report(
                    role, f"no piece has the role {quoted(role)}{suggestion(role, roles)}"
                )
                continue
            worth = inside.expression(role, Dimension.NUMBER)
            if worth is not None:
                found.append((role, worth))
        return tuple(found)

    def _consumable(self, table: _TomlTable) -> ConsumableDefinition | None:
        name = table.name("name", _PIECE_NAME, "ribbon")
        use = table.text("use")
        length = table.expression("length", Dimension.LENGTH) if "length" in table.data else None
        table.known_keys.append("length")
        quantity = table.expression("quantity", Dimension.NUMBER, "1")
        return (
            None
            if quantity is None
            else ConsumableDefinition(table.path, name, use, length, quantity)
        )

    # --- pieces

    def _piece(self, table: _TomlTable) -> PieceDefinition | None:
        name = table.name("name", _PIECE_NAME, "front wall")
        role = table.name("role", _ROLE, "wall or wall.front")
        if role == ALL_ROLES:
            table.report(
                "role", f"'{ALL_ROLES}' stands for every piece; give this one a role of its own"
            )
        width, height = (
            table.expression("width", Dimension.LENGTH),
            table.expression("height", Dimension.LENGTH),
        )
        quantity = table.expression("quantity", Dimension.NUMBER, "1")
        grain = table.choice("grain", list(Grain), Grain.ANY)
        upright, note = table.flag("upright"), table.text("note")
        self.on_piece = True
        corners = self._corners(table)
        scores = table.tables("scores", lambda one: self._line(one, folded=True))
        slits = table.tables("slits", lambda one: self._line(one, folded=False))
        holes = table.tables("holes", self._hole)
        glue = table.tables("glue", self._glue)
        self.on_piece = False
        if not (name and role and grain) or width is None or height is None or quantity is None:
            return None
        return PieceDefinition(
            path=table.path, name=name, role=role, width=width, height=height, quantity=quantity,
            grain=Grain(grain), upright=upright, note=note, corners=corners, scores=scores,
            slits=slits, holes=holes, glue=glue,
        )  # fmt: skip

    def _corners(self, piece: _TomlTable) -> dict[str, CornerDefinition]:
        """Read one size for squares at all four corners, or a table for each."""
        value = piece.raw("corners")
        if value is None:
            return {}
        path = (*piece.path, "corners")
        if not isinstance(value, dict):
            side = self.bound_expression(path, value, Dimension.LENGTH)
            return (
                {} if side is None else dict.fromkeys(CORNERS, CornerDefinition(side, side, False))
            )
        table = _TomlTable(self, path, value)
        table.known_keys.extend(CORNERS)
        table.report_unknown_keys()
        found = {}
        for name in CORNERS:
            corner = self._corner((*path, name), value[name]) if name in value else None
            if corner is not None:
                found[name] = corner
        return found

    def _corner(self, path: Path, value: object) -> CornerDefinition | None:
        if not isinstance(value, dict):
            side = self.bound_expression(path, value, Dimension.LENGTH)
            return None if side is None else CornerDefinition(side, side, False)
        table = _TomlTable(self, path, value)
        width, height = (
            table.expression("width", Dimension.LENGTH),
            table.expression("height", Dimension.LENGTH),
        )
        slanted = table.flag("slanted")
        table.report_unknown_keys()
        return None if width is None or height is None else CornerDefinition(width, height, slanted)

    def _line(self, table: _TomlTable, *, folded: bool) -> LineDefinition | None:
        fold = table.choice("fold", list(Fold)) if folded else ""
        degrees = table.expression("degrees", Dimension.NUMBER, "90") if folded else None
        axes = [axis for axis in ("x", "y") if axis in table.data]
        whole_way = bool(axes) or not {"from", "to"} & table.data.keys()
        table.known_keys += ["x", "y", "from", "to"]
        if whole_way and (len(axes) != 1 or {"from", "to"} & table.data.keys()):
            self.findings.add(
                table.path,
                "it should say x or y to run right across the piece, or both from and to",
            )
            return None
        across = table.expression(axes[0], Dimension.LENGTH) if whole_way else None
        ends = () if whole_way else (table.point("from"), table.point("to"))
        if folded and (not fold or degrees is None):
            return None
        if (whole_way and across is None) or None in ends:
            return None
        return LineDefinition(
            table.path,
            Fold(fold) if fold else None,
            degrees,
            axes[0] if whole_way else "",
            across,
            tuple(end for end in ends if end is not None),
        )

    def _hole(self, table: _TomlTable) -> HoleDefinition | None:
        at, diameter = table.point("at"), table.expression("diameter", Dimension.LENGTH)
        eyelet = table.flag("eyelet")
        return (
            None
            if at is None or diameter is None
            else HoleDefinition(table.path, at, diameter, eyelet)
        )

    def _glue(self, table: _TomlTable) -> GlueDefinition | None:
        at = table.point("at")
        width, height = (
            table.expression("width", Dimension.LENGTH),
            table.expression("height", Dimension.LENGTH),
        )
        if at is None or width is None or height is None:
            return None
        return GlueDefinition(table.path, at, width, height)


def _check_defaults(plan: DesignDefinition, found: _Findings) -> None:
    """Make the design with its usual sizes."""
    try:
        usual = plan.default_sizes(Unit.MM)
    except EvaluationError as first:
        found.add(first.path, first.message)
        return
    for trouble in plan.errors(usual, Unit.MM):
        found.add(trouble.path, trouble.message)
        if found.full:
            return
