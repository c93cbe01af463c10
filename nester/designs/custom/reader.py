"""A design of a maker's own, in a plain TOML file (TOML 1.0).

She names her sizes, what is worked out from them, and the pieces; the file becomes a
`nester.designs.Design` like any built-in one.  `starting_point` shows all that may stand in it.
Reading collects every fault it can find, each with its line.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any, NoReturn, TypeVar

from nester.core.lengths import LARGEST, Unit, mm
from nester.core.piece import Fold, Grain
from nester.designs.base.design import Design, near_miss
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.roles import ALL
from nester.designs.custom.definition import (
    OWN_NAMES,
    ConsumablePlan,
    CornerPlan,
    FitPlan,
    GluePlan,
    HolePlan,
    LinePlan,
    PiecePlan,
    Plan,
    RulePlan,
    SizePlan,
    Trouble,
    Worth,
    label,
)
from nester.designs.custom.expressions import (
    RESERVED,
    Comparison,
    Expression,
    ExpressionError,
    Sort,
    parse_comparison,
    parse_expression,
    quoted,
)
from nester.designs.custom.outline import CORNERS
from nester.designs.custom.starter_file import STARTING_POINT
from nester.designs.custom.toml_lines import NestedTooDeeply, Path, lines_of

__all__ = [
    "LARGEST_FILE",
    "Finding",
    "OwnDesignRefusal",
    "check_own_design",
    "decode_own_design",
    "read_own_design",
    "starting_point",
]

LARGEST_FILE = 100_000
"""Bytes; a design with a hundred pieces takes a fifth of that."""
_LONGEST_LINE = 500
_LONGEST_NAME = 60
_LONGEST_TEXT = 500
_MOST_ENTRIES = 100
_MOST_FINDINGS = 30
_LEAST_LENGTH = mm("0.1")
_MOST_COUNT = 1000

_DESIGN_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_ROLE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(\.[a-z0-9]+(-[a-z0-9]+)*)*")
_SIZE_NAME = re.compile(r"[a-z][a-z0-9_]*")
_PIECE_NAME = re.compile(r"\w([\w .'+-]*\w)?")

_T = TypeVar("_T")


class OwnDesignRefusal(DesignRefusal):
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
    what
        What is wrong, and what would be right.
    """

    file: str
    line: int
    field: str
    what: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}"
        return f"{where}, {self.field}: {self.what}" if self.field else f"{where}: {self.what}"


def starting_point() -> str:
    """Return a design's file with a remark on everything that may stand in one."""
    return STARTING_POINT


def read_own_design(text: str, file: str) -> Design:
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
        raise OwnDesignRefusal(str(findings[0]))
    return plan.design()


def check_own_design(text: str, file: str) -> list[Finding]:
    """Return all that is wrong with a design's file, by line; nothing if it can be made.

    A design is tried with its usual sizes; others may still break one of its rules.
    """
    return _read(text, file)[1]


def decode_own_design(data: bytes, file: str) -> str:
    """Return the text of a design's file.

    Raises
    ------
    OwnDesignRefusal
        If it is too large or no UTF-8.
    """
    if len(data) > LARGEST_FILE:
        _refuse(file, 1, f"more than {LARGEST_FILE // 1000} kB is no design")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        _refuse(file, line, "this is not UTF-8 text; save the file as UTF-8")


def _refuse(file: str, line: int, what: str) -> NoReturn:
    raise OwnDesignRefusal(str(Finding(file, line, "", what)))


def _read(text: str, file: str) -> tuple[Plan | None, list[Finding]]:
    text = text.removeprefix("\ufeff")
    found = _Findings(file)
    data = _load(text, found)
    if data is None:
        return None, found.sorted()
    plan = _PlanReader(found).plan(data)
    if plan is not None:
        _try(plan, found)
    return plan, found.sorted()


class _Findings:
    """Collects faults; at most one for each place."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.lines: dict[Path, int] = {}
        self.by_path: dict[Path, Finding] = {}

    def add(self, path: Path, what: str) -> None:
        if not self.full:
            field = " ".join(label(path).split())
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
        return len(self.by_path) >= _MOST_FINDINGS

    def sorted(self) -> list[Finding]:
        return sorted(self.by_path.values(), key=lambda finding: finding.line)


# --- TOML --------------------------------------------------------------------------------------


def _load(text: str, found: _Findings) -> dict[str, Any] | None:
    """Read TOML and note the line of each key, within bounds that keep both quick."""
    if len(text) > LARGEST_FILE:
        found.add_at(1, f"more than {LARGEST_FILE // 1000} kB is no design")
        return None
    for number, line in enumerate(text.split("\n"), 1):
        if any("\ud800" <= character <= "\udfff" for character in line):
            found.add_at(number, "half a character stands here, which can't be written")
            return None
        if len(line) > _LONGEST_LINE:
            found.add_at(number, f"the line has more than {_LONGEST_LINE:,} characters")
            return None
    try:
        data = tomllib.loads(text)
        found.lines = lines_of(text)
    except NestedTooDeeply as error:
        found.add_at(error.line, "brackets stand in one another too deeply")
        return None
    except RecursionError:
        found.add_at(1, "brackets stand in one another too deeply")
        return None
    except ValueError as error:  # TOMLDecodeError, or a date or number that can't be
        found.add_at(*_place_and_fault(str(error), text))
        return None
    return data


_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_IN_PLAIN_WORDS = {
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


def _place_and_fault(said: str, text: str) -> tuple[int, str]:
    match = _PLACE.search(said)
    fault = said[: match.start()] if match else "a date or number can't be so"
    plain = [words for begins, words in _IN_PLAIN_WORDS.items() if fault.startswith(begins)]
    fault = plain[0] if plain else quoted(fault, 120)[1:-1]
    if match and match[1]:
        return int(match[1]), f"this is not TOML at column {match[2]}: {fault}"
    return len(text.splitlines()) or 1, f"this is not TOML: {fault}"


# --- tables and their fields -------------------------------------------------------------------


class _Table:
    """A table of the file; a field that is read is known, the rest are slips."""

    def __init__(self, reader: _PlanReader, path: Path, data: Mapping[str, Any]) -> None:
        self.reader = reader
        self.path = path
        self.data = data
        self.known: list[str] = []

    def fault(self, key: str, what: str) -> None:
        self.reader.found.add((*self.path, key), what)

    def raw(self, key: str, *, needed: bool = False) -> Any:
        self.known.append(key)
        if needed and key not in self.data:
            self.fault(key, "it is missing")
        return self.data.get(key)

    def text(self, key: str, *, needed: bool = False, at_most: int = _LONGEST_TEXT) -> str:
        """Return words on one line, or nothing."""
        value = self.raw(key, needed=needed)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.fault(key, f"{_kind_of(value)} stands where words in quotes should")
            return ""
        words = " ".join(value.split())
        if not words.isprintable():
            self.fault(key, "it holds characters that can't be printed")
        elif len(words) > at_most:
            self.fault(key, f"it has {len(words):,} characters; at most {at_most} fit")
        elif needed and not words:
            self.fault(key, "it is empty")
        else:
            return words
        return ""

    def name(self, key: str, pattern: re.Pattern[str], example: str) -> str:
        value = self.text(key, needed=True, at_most=_LONGEST_NAME)
        if value and not pattern.fullmatch(value):
            self.fault(key, f"{quoted(value)} is no name for it; write one like {example}")
            return ""
        return value

    def flag(self, key: str) -> bool:
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            self.fault(key, f"{_shown(value)} should be true or false, without quotes")
        return value is True

    def word(self, key: str, words: Iterable[str], usual: str = "") -> str:
        known = list(words)
        value = self.raw(key, needed=not usual)
        if value is None:
            return usual
        if not isinstance(value, str) or value not in known:
            self.fault(key, f"{_shown(value)} should be one of {', '.join(known)}")
            return ""
        return value

    def tables(self, key: str, read: Callable[[_Table], _T | None]) -> tuple[_T, ...]:
        """Read each table of an array through `read`; what it can't make is left out."""
        value = self.raw(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.fault(key, f"{_kind_of(value)} stands where a list of tables should")
            return ()
        if len(value) > _MOST_ENTRIES:
            self.fault(key, f"there are {len(value):,} of them; at most {_MOST_ENTRIES} fit")
            return ()
        made = []
        for index, entry in enumerate(value):
            path = (*self.path, key, index)
            if isinstance(entry, dict):
                table = _Table(self.reader, path, entry)
                made.append(read(table))
                table.done()
            else:
                self.reader.found.add(path, f"{_kind_of(entry)} stands where a table should")
        return tuple(one for one in made if one is not None)

    def table(self, key: str) -> _Table | None:
        """Return a table within this one; its keys are names that the maker chose."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.fault(key, f"{_kind_of(value)} stands where a table should")
            return None
        if len(value) > _MOST_ENTRIES:
            self.fault(key, f"there are {len(value):,} of them; at most {_MOST_ENTRIES} fit")
            return None
        return _Table(self.reader, (*self.path, key), value)

    def worth(self, key: str, sort: Sort, usual: str = "") -> Worth | None:
        """Return an expression of the sort wanted; `usual` if the field is not there."""
        value = self.raw(key, needed=not usual)
        if value is None and usual:
            value = usual
        return None if value is None else self.reader.worth((*self.path, key), value, sort)

    def place(self, key: str) -> tuple[Worth, Worth] | None:
        """Return the two expressions of a place on a piece."""
        value = self.raw(key, needed=True)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            self.fault(key, 'it should be a place such as ["2cm", "tall / 2"]')
            return None
        path = (*self.path, key)
        x = self.reader.worth((*path, 0), value[0], Sort.LENGTH)
        y = self.reader.worth((*path, 1), value[1], Sort.LENGTH)
        return None if x is None or y is None else (x, y)

    def done(self) -> None:
        """Find the keys that nothing knows."""
        for key in self.data:
            if key not in self.known and not self.reader.found.full:
                hint = near_miss(key, self.known) or f"; there may be {', '.join(self.known)}"
                self.fault(key, f"{quoted(key)} is not known here{hint}")


def _kind_of(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    kinds = ((str, "text"), (int, "a number"), (float, "a number"), (list, "a list"),
             (dict, "a table"))  # fmt: skip
    return next((name for kind, name in kinds if isinstance(value, kind)), "a date")


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else _kind_of(value)


# --- the parts of a design ---------------------------------------------------------------------


class _PlanReader:
    def __init__(self, found: _Findings) -> None:
        self.found = found
        self.sorts: dict[str, Sort] = {}
        self.broken: set[str] = set()
        """Names that stand for something that can't be read: a fault for each is enough."""
        self.later: set[str] = set()
        """Sizes that stand below the one being read."""
        self.on_piece = False

    def plan(self, data: Mapping[str, Any]) -> Plan | None:
        top = _Table(self, (), data)
        name = top.name("name", _DESIGN_NAME, "paper-house")
        self._check_name(name)
        title = top.text("title", needed=True, at_most=200)
        sizes = self._sizes(top.table("sizes"))
        worked_out = self._worked_out(top.table("worked_out"))
        rules = top.tables("rules", self._rule)
        pieces = top.tables("pieces", self._piece)
        roles = {piece.role for piece in pieces}
        fits = top.tables("fits", lambda table: self._fit(table, roles))
        consumables = top.tables("consumables", self._consumable)
        top.done()
        if "pieces" not in data or data["pieces"] == []:
            self.found.add(("pieces",), "there is none; a design needs at least one")
        self._refuse_doubles(pieces)
        if self.found.by_path:
            return None
        return Plan(name, title, sizes, worked_out, rules, pieces, fits, consumables)

    def _check_name(self, name: str) -> None:
        from nester.designs import DESIGNS

        if name in DESIGNS:
            self.found.add(
                ("name",), f"'{name}' is a design that comes with Quirebox; choose another"
            )

    def _refuse_doubles(self, pieces: Sequence[PiecePlan]) -> None:
        seen: set[str] = set()
        for piece in pieces:
            if piece.name.casefold() in seen:
                what = f"a piece before this one is called {quoted(piece.name)} too"
                self.found.add((*piece.path, "name"), f"{what}; names must differ")
            seen.add(piece.name.casefold())

    # --- expressions

    def worth(self, path: Path, value: object, sort: Sort | None) -> Worth | None:
        """Read an expression of a sort, or of any sort; None and a finding if it is none."""
        if self.found.full:
            return None
        text = self._expression_text(path, value, sort)
        if text is None:
            return None
        expression = self._parsed(path, text, parse_expression)
        if expression is None or expression.names & self.broken:
            return None
        later = sorted(expression.names & self.later)
        if later:
            self.found.add(path, f"'{later[0]}' stands further down; put its line before this one")
            return None
        found = self._sort(path, expression)
        if found is None or sort in (None, found):
            return Worth(path, expression) if found else None
        hint = "a length such as 2cm" if sort is Sort.LENGTH else "a number without a unit"
        self.found.add(path, f"{quoted(text)} is a {found}; it should be {hint}")
        return None

    def _expression_text(self, path: Path, value: object, sort: Sort | None) -> str | None:
        if isinstance(value, int) and not isinstance(value, bool):
            if value == 0 and sort is Sort.LENGTH:
                return "0mm"
            if abs(value) >= 10**9:
                self.found.add(path, "the number has more digits than any size needs")
                return None
            if sort is Sort.LENGTH:
                self.found.add(path, f'{value} has no unit; write it like "{value}cm"')
                return None
            return str(value)
        if isinstance(value, str):
            return value
        what = f"{_kind_of(value)} stands where arithmetic in quotes should"
        self.found.add(path, f'{what}, such as "10.5cm" or "width / 2"')
        return None

    def _parsed(self, path: Path, text: str, parse: Callable[[str], _T]) -> _T | None:
        try:
            return parse(text)
        except ExpressionError as error:
            self.found.add(path, str(error))
            return None

    def _known(self) -> dict[str, Sort]:
        own = dict.fromkeys(OWN_NAMES, Sort.LENGTH) if self.on_piece else {}
        return {**self.sorts, **own}

    def _sort(self, path: Path, expression: Expression) -> Sort | None:
        try:
            return expression.sort(self._known())
        except ExpressionError as error:
            self.found.add(path, str(error))
            return None

    def _may_be_called(self, path: Path, name: str) -> bool:
        if not _SIZE_NAME.fullmatch(name) or len(name) > _LONGEST_NAME:
            what = f"{quoted(name)} is no name for a size; write one like lid_wall"
        elif name in RESERVED or name in OWN_NAMES:
            what = f"'{name}' has a meaning of its own in arithmetic; choose another name"
        elif name in self.sorts or name in self.broken:
            what = f"there is a size '{name}' already; names must differ"
        else:
            return True
        self.found.add(path, what)
        return False

    # --- sizes

    def _sizes(self, table: _Table | None) -> tuple[SizePlan, ...]:
        sizes: list[SizePlan] = []
        self.later = set(table.data) if table else set()
        for name, value in table.data.items() if table else ():
            path = ("sizes", name)
            size = self._size(path, name, value) if self._may_be_called(path, name) else None
            if size is None:
                self.broken.add(name)
            else:
                self.sorts[name] = size.sort
                sizes.append(size)
            self.later.discard(name)
        return tuple(sizes)

    def _size(self, path: Path, name: str, value: object) -> SizePlan | None:
        fields = value if isinstance(value, dict) else {"usual": value}
        table = _Table(self, path, fields)
        given = table.raw("usual", needed=True)
        bounds = {key: table.raw(key) for key in ("least", "most")}
        about = table.text("help", at_most=200) or name.replace("_", " ")
        table.done()
        if given is None:
            return None
        where = (*path, "usual") if isinstance(value, dict) else path
        usual = self.worth(where, given, None)
        if usual is None or not self._says_its_unit(where, given, usual):
            return None
        sort = usual.expression.sort(self.sorts)
        least, most = (_LEAST_LENGTH, LARGEST) if sort is Sort.LENGTH else (0, _MOST_COUNT)
        least = self._bound((*path, "least"), bounds["least"], sort, least)
        most = self._bound((*path, "most"), bounds["most"], sort, most)
        if least > most:
            self.found.add((*path, "least"), "the least is more than the most")
        elif not usual.expression.names and not least <= usual.expression.value({}) <= most:
            self.found.add(where, "what is usual is out of its own range, least to most")
        return SizePlan(name, sort, usual, least, most, about)

    def _says_its_unit(self, path: Path, given: object, usual: Worth) -> bool:
        if isinstance(given, str) and re.fullmatch(r"[\s0-9./½¼¾⅓⅔⅛⅜⅝⅞]+", given):
            text = usual.expression.text
            what = f"write {text}cm for a length, or {text} without quotes for a whole number"
            self.found.add(path, f"'{text}' has no unit; {what}")
            return False
        return True

    def _bound(self, path: Path, value: object, sort: Sort, usual: int) -> int:
        """Read the least or most a size may be; names may not stand in it."""
        worth = None if value is None else self.worth(path, value, sort)
        if worth is None:
            return usual
        if worth.expression.names:
            self.found.add(path, "it can't depend on other sizes; put that into [[rules]]")
            return usual
        bound = self._constant(worth)
        limit = LARGEST if sort is Sort.LENGTH else _MOST_COUNT
        if bound is None or not 0 <= bound <= limit:
            most = "10 m" if sort is Sort.LENGTH else f"{_MOST_COUNT:,}"
            self.found.add(path, f"it may be from 0 to {most}, and whole")
            return usual
        return bound

    def _constant(self, worth: Worth) -> int | None:
        try:
            value = worth.expression.value({})
        except ExpressionError as error:
            self.found.add(worth.path, str(error))
            return None
        return value.numerator if value.denominator == 1 else None

    # --- what is worked out

    def _worked_out(self, table: _Table | None) -> tuple[tuple[str, Worth], ...]:
        texts = dict(table.data) if table else {}
        parsed: dict[str, Expression] = {}
        for name, value in texts.items():
            path = ("worked_out", name)
            expression = None
            if self._may_be_called(path, name):
                text = self._expression_text(path, value, None)
                expression = None if text is None else self._parsed(path, text, parse_expression)
            if expression is None:
                self.broken.add(name)
            else:
                parsed[name] = expression
        ordered = []
        for name in self._in_order(parsed):
            worth = self.worth(("worked_out", name), texts[name], None)
            if worth is None:
                self.broken.add(name)
            else:
                self.sorts[name] = worth.expression.sort(self.sorts)
                ordered.append((name, worth))
        return tuple(ordered)

    def _in_order(self, parsed: Mapping[str, Expression]) -> list[str]:
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
                self.found.add(("worked_out", first), f"it goes in a circle: {way}")
                self.broken.update(circle)
                for name in set(circle):
                    del waiting[name]

    # --- rules, fits, consumables

    def _rule(self, table: _Table) -> RulePlan | None:
        text = table.text("holds", needed=True)
        says = table.text("says", needed=True)
        path = (*table.path, "holds")
        comparison = self._parsed(path, text, parse_comparison) if text else None
        if comparison is None or comparison.names & self.broken or self.found.full:
            return None
        if not self._compares(path, comparison) or not says:
            return None
        return RulePlan(path, comparison, says)

    def _compares(self, path: Path, comparison: Comparison) -> bool:
        try:
            comparison.check(self.sorts)
        except ExpressionError as error:
            self.found.add(path, str(error))
            return False
        return True

    def _fit(self, table: _Table, roles: set[str]) -> FitPlan | None:
        name = table.text("name", needed=True, at_most=_LONGEST_NAME)
        outer, inner = table.worth("outer", Sort.LENGTH), table.worth("inner", Sort.LENGTH)
        play = table.worth("play", Sort.LENGTH)
        papers = self._sheets_between(table, roles)
        if outer is None or inner is None or play is None:
            return None
        return FitPlan(table.path, name, outer, inner, play, papers)

    def _sheets_between(self, table: _Table, roles: set[str]) -> tuple[tuple[str, Worth], ...]:
        inside = table.table("papers")
        found = []
        for role in inside.data if inside else ():
            assert inside is not None  # noqa: S101 - tells the type checker
            if role not in roles:
                inside.fault(role, f"no piece has the role {quoted(role)}{near_miss(role, roles)}")
                continue
            worth = inside.worth(role, Sort.NUMBER)
            if worth is not None:
                found.append((role, worth))
        return tuple(found)

    def _consumable(self, table: _Table) -> ConsumablePlan | None:
        name = table.name("name", _PIECE_NAME, "ribbon")
        use = table.text("use")
        length = table.worth("length", Sort.LENGTH) if "length" in table.data else None
        table.known.append("length")
        quantity = table.worth("quantity", Sort.NUMBER, "1")
        return None if quantity is None else ConsumablePlan(table.path, name, use, length, quantity)

    # --- pieces

    def _piece(self, table: _Table) -> PiecePlan | None:
        name = table.name("name", _PIECE_NAME, "front wall")
        role = table.name("role", _ROLE, "wall or wall.front")
        if role == ALL:
            table.fault("role", f"'{ALL}' stands for every piece; give this one a role of its own")
        width, height = table.worth("width", Sort.LENGTH), table.worth("height", Sort.LENGTH)
        quantity = table.worth("quantity", Sort.NUMBER, "1")
        grain = table.word("grain", list(Grain), Grain.ANY)
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
        return PiecePlan(
            path=table.path, name=name, role=role, width=width, height=height, quantity=quantity,
            grain=Grain(grain), upright=upright, note=note, corners=corners, scores=scores,
            slits=slits, holes=holes, glue=glue,
        )  # fmt: skip

    def _corners(self, piece: _Table) -> dict[str, CornerPlan]:
        """Read one size for squares at all four corners, or a table for each."""
        value = piece.raw("corners")
        if value is None:
            return {}
        path = (*piece.path, "corners")
        if not isinstance(value, dict):
            side = self.worth(path, value, Sort.LENGTH)
            return {} if side is None else dict.fromkeys(CORNERS, CornerPlan(side, side, False))
        table = _Table(self, path, value)
        table.known.extend(CORNERS)
        table.done()
        found = {}
        for name in CORNERS:
            corner = self._corner((*path, name), value[name]) if name in value else None
            if corner is not None:
                found[name] = corner
        return found

    def _corner(self, path: Path, value: object) -> CornerPlan | None:
        if not isinstance(value, dict):
            side = self.worth(path, value, Sort.LENGTH)
            return None if side is None else CornerPlan(side, side, False)
        table = _Table(self, path, value)
        width, height = table.worth("width", Sort.LENGTH), table.worth("height", Sort.LENGTH)
        slanted = table.flag("slanted")
        table.done()
        return None if width is None or height is None else CornerPlan(width, height, slanted)

    def _line(self, table: _Table, *, folded: bool) -> LinePlan | None:
        fold = table.word("fold", list(Fold)) if folded else ""
        degrees = table.worth("degrees", Sort.NUMBER, "90") if folded else None
        axes = [axis for axis in ("x", "y") if axis in table.data]
        whole_way = bool(axes) or not {"from", "to"} & table.data.keys()
        table.known += ["x", "y", "from", "to"]
        if whole_way and (len(axes) != 1 or {"from", "to"} & table.data.keys()):
            self.found.add(
                table.path,
                "it should say x or y to run right across the piece, or both from and to",
            )
            return None
        across = table.worth(axes[0], Sort.LENGTH) if whole_way else None
        ends = () if whole_way else (table.place("from"), table.place("to"))
        if folded and (not fold or degrees is None):
            return None
        if (whole_way and across is None) or None in ends:
            return None
        return LinePlan(
            table.path,
            Fold(fold) if fold else None,
            degrees,
            axes[0] if whole_way else "",
            across,
            tuple(end for end in ends if end is not None),
        )

    def _hole(self, table: _Table) -> HolePlan | None:
        at, diameter = table.place("at"), table.worth("diameter", Sort.LENGTH)
        eyelet = table.flag("eyelet")
        return (
            None if at is None or diameter is None else HolePlan(table.path, at, diameter, eyelet)
        )

    def _glue(self, table: _Table) -> GluePlan | None:
        at = table.place("at")
        width, height = table.worth("width", Sort.LENGTH), table.worth("height", Sort.LENGTH)
        if at is None or width is None or height is None:
            return None
        return GluePlan(table.path, at, width, height)


def _try(plan: Plan, found: _Findings) -> None:
    """Make the design with its usual sizes."""
    try:
        usual = plan.usual(Unit.MM)
    except Trouble as first:
        found.add(first.path, first.what)
        return
    for trouble in plan.troubles(usual, Unit.MM):
        found.add(trouble.path, trouble.what)
        if found.full:
            return
