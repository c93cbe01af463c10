"""A design of a maker's own, in a plain TOML file (TOML 1.0).

The file names sizes, what is calculated from them, and pieces; it becomes a
`nester.designs.Design` like any built-in design.  `starter_text` shows everything that a file may
contain.  Reading collects every fault it can find, each with its line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import Any, NoReturn, TypeVar

from nester.core.lengths import MAX_LENGTH, Unit, mm
from nester.core.piece import Fold, Grain
from nester.designs.base.design import Design, suggestion
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.roles import ALL_ROLES
from nester.designs.catalogue import DESIGNS
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
from nester.designs.custom.findings import Finding, Findings
from nester.designs.custom.outline import CORNERS
from nester.designs.custom.starter_file import STARTER_TEXT
from nester.designs.custom.toml_lines import Path
from nester.designs.custom.toml_table import (
    MAX_FILE_SIZE,
    MAX_NAME_LENGTH,
    TomlTable,
    load_toml,
    type_name,
)

__all__ = [
    "MAX_FILE_SIZE",
    "CustomDesignRefusal",
    "Finding",
    "check_custom_design",
    "decode_custom_design",
    "read_custom_design",
    "starter_text",
]

_MIN_LENGTH = mm("0.1")
_MAX_COUNT = 1000

_DESIGN_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_ROLE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(\.[a-z0-9]+(-[a-z0-9]+)*)*")
_SIZE_NAME = re.compile(r"[a-z][a-z0-9_]*")
_PIECE_NAME = re.compile(r"\w([\w .'+-]*\w)?")

_T = TypeVar("_T")


class CustomDesignRefusal(DesignRefusal):
    """A file that holds no design that can be made."""


def starter_text() -> str:
    """Return a design's file with a remark on everything that it may contain."""
    return STARTER_TEXT


def read_custom_design(text: str, file: str) -> Design:
    """Read a design of a maker's own.

    Parameters
    ----------
    text
        TOML, at most 100,000 characters.
    file
        Its name in a refusal.

    Raises
    ------
    CustomDesignRefusal
        The first fault, with its line, as ``FILE, line N, field: what is wrong``.
    """
    definition, findings = _read(text, file)
    if definition is None or findings:
        raise CustomDesignRefusal(str(findings[0]))
    return definition.design()


def check_custom_design(text: str, file: str) -> list[Finding]:
    """Return all that is wrong with a design's file, by line; nothing if it can be made.

    A design is tried in its default sizes; others may still break one of its rules.
    """
    return _read(text, file)[1]


def decode_custom_design(data: bytes, file: str) -> str:
    """Return the text of a design's file.

    Raises
    ------
    CustomDesignRefusal
        If it is too large or no UTF-8.
    """
    if len(data) > MAX_FILE_SIZE:
        _refuse(file, 1, f"more than {MAX_FILE_SIZE // 1000} kB is too large for a design")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        _refuse(file, line, "this is not UTF-8 text; save the file as UTF-8")


def _refuse(file: str, line: int, message: str) -> NoReturn:
    raise CustomDesignRefusal(str(Finding(file, line, "", message)))


def _read(text: str, file: str) -> tuple[DesignDefinition | None, list[Finding]]:
    text = text.removeprefix("\ufeff")
    findings = Findings(file)
    data = load_toml(text, findings)
    if data is None:
        return None, findings.sorted()
    definition = _DefinitionReader(findings).definition(data)
    if definition is not None:
        _check_defaults(definition, findings)
    return definition, findings.sorted()


class _DefinitionReader:
    """Reads the tables of one file, top to bottom, and knows the sizes named so far."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.dimensions: dict[str, Dimension] = {}
        self.invalid_names: set[str] = set()
        """Names whose own definition is faulty: expressions that use them get no finding more."""
        self.later_names: set[str] = set()
        """Sizes further down than the one being read."""
        self.on_piece = False

    def definition(self, data: Mapping[str, Any]) -> DesignDefinition | None:
        top = TomlTable(self, (), data)
        name = top.name("name", _DESIGN_NAME, "paper-house")
        self._check_name(name)
        title = top.text("title", needed=True, at_most=200)
        sizes = self._sizes(top.table("sizes"))
        derived_sizes = self._derived_sizes(top.table("worked_out"))
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
        return DesignDefinition(name, title, sizes, derived_sizes, rules, pieces, fits, consumables)

    def _check_name(self, name: str) -> None:
        if name in DESIGNS:
            self.findings.add(
                ("name",), f"'{name}' is a design that comes with Quirebox; choose another name"
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
        self, path: Path, value: object, dimension: Dimension | None
    ) -> BoundExpression | None:
        """Read an expression of a dimension, or of any; None and a finding if it is none."""
        if self.findings.full:
            return None
        text = self._expression_text(path, value, dimension)
        if text is None:
            return None
        expression = self._parsed(path, text, parse_expression)
        if expression is None or expression.names & self.invalid_names:
            return None
        later = sorted(expression.names & self.later_names)
        if later:
            self.findings.add(path, f"'{later[0]}' is further down; put its line above this one")
            return None
        found = self._dimension(path, expression)
        if found is None or dimension in (None, found):
            return BoundExpression(path, expression) if found else None
        hint = (
            "a length such as 2cm" if dimension is Dimension.LENGTH else "a number without a unit"
        )
        self.findings.add(path, f"{quoted(text)} is a {found}; it should be {hint}")
        return None

    def _expression_text(
        self, path: Path, value: object, dimension: Dimension | None
    ) -> str | None:
        """Return the text of an expression; bare whole numbers are expressions too."""
        if isinstance(value, int) and not isinstance(value, bool):
            if value == 0 and dimension is Dimension.LENGTH:
                return "0mm"
            if abs(value) >= 10**9:
                self.findings.add(path, "the number has more digits than any size needs")
                return None
            if dimension is Dimension.LENGTH:
                self.findings.add(path, f'{value} has no unit; write it like "{value}cm"')
                return None
            return str(value)
        if isinstance(value, str):
            return value
        example = 'such as "10.5cm" or "width / 2"'
        message = f"it should be arithmetic in quotes, {example}, not {type_name(value)}"
        self.findings.add(path, message)
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
        if not _SIZE_NAME.fullmatch(name) or len(name) > MAX_NAME_LENGTH:
            what = f"{quoted(name)} can't be the name of a size; write one like lid_wall"
        elif name in RESERVED_NAMES or name in PIECE_SIZE_NAMES:
            what = f"'{name}' has a meaning of its own in arithmetic; choose another name"
        elif name in self.dimensions or name in self.invalid_names:
            what = f"there is a size '{name}' already; names must differ"
        else:
            return True
        self.findings.add(path, what)
        return False

    # --- sizes

    def _sizes(self, table: TomlTable | None) -> tuple[SizeDefinition, ...]:
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
        table = TomlTable(self, path, fields)
        given = table.raw("usual", needed=True)
        bounds = {key: table.raw(key) for key in ("least", "most")}
        help_text = table.text("help", at_most=200) or name.replace("_", " ")
        table.report_unknown_keys()
        if given is None:
            return None
        where = (*path, "usual") if isinstance(value, dict) else path
        default = self.bound_expression(where, given, None)
        if default is None or not self._check_unit(where, given, default):
            return None
        dimension = default.expression.dimension(self.dimensions)
        is_length = dimension is Dimension.LENGTH
        minimum, maximum = (_MIN_LENGTH, MAX_LENGTH) if is_length else (0, _MAX_COUNT)
        minimum = self._bound((*path, "least"), bounds["least"], dimension, minimum)
        maximum = self._bound((*path, "most"), bounds["most"], dimension, maximum)
        if minimum > maximum:
            self.findings.add((*path, "least"), "the least is more than the most")
        elif (
            not default.expression.names
            and not minimum <= default.expression.evaluate({}) <= maximum
        ):
            self.findings.add(where, "usual is outside its own range, least to most")
        return SizeDefinition(name, dimension, default, minimum, maximum, help_text)

    def _check_unit(self, path: Path, given: object, default: BoundExpression) -> bool:
        """Report a bare number in quotes, which may be meant as a length or as a count."""
        if isinstance(given, str) and re.fullmatch(r"[\s0-9./½¼¾⅓⅔⅛⅜⅝⅞]+", given):
            text = default.expression.text
            what = f"write {text}cm for a length, or {text} without quotes for a whole number"
            self.findings.add(path, f"'{text}' has no unit; {what}")
            return False
        return True

    def _bound(self, path: Path, value: object, dimension: Dimension, default: int) -> int:
        """Read the least or most a size may be; it can use no other sizes."""
        bound = None if value is None else self.bound_expression(path, value, dimension)
        if bound is None:
            return default
        if bound.expression.names:
            self.findings.add(path, "it can't depend on other sizes; put that into [[rules]]")
            return default
        amount = self._constant(bound)
        is_length = dimension is Dimension.LENGTH
        limit = MAX_LENGTH if is_length else _MAX_COUNT
        if amount is None or not 0 <= amount <= limit:
            allowed = "length up to 10 m" if is_length else f"whole number from 0 to {_MAX_COUNT:,}"
            self.findings.add(path, f"it should be a {allowed}")
            return default
        return amount

    def _constant(self, bound: BoundExpression) -> int | None:
        try:
            value = bound.expression.evaluate({})
        except ExpressionError as error:
            self.findings.add(bound.path, str(error))
            return None
        return value.numerator if value.denominator == 1 else None

    # --- derived sizes

    def _derived_sizes(self, table: TomlTable | None) -> tuple[tuple[str, BoundExpression], ...]:
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
            bound = self.bound_expression(("worked_out", name), texts[name], None)
            if bound is None:
                self.invalid_names.add(name)
            else:
                self.dimensions[name] = bound.expression.dimension(self.dimensions)
                ordered.append((name, bound))
        return tuple(ordered)

    def _evaluation_order(self, parsed: Mapping[str, Expression]) -> list[str]:
        """Sort names so that each comes after those it uses; names in a cycle are dropped."""
        waiting = dict(parsed)
        while True:
            sorter = TopologicalSorter(
                {name: sorted(text.names & waiting.keys()) for name, text in waiting.items()}
            )
            try:
                return list(sorter.static_order())
            except CycleError as error:
                cycle = error.args[1][::-1]
                first = min(cycle, key=list(parsed).index)
                shown = cycle if len(cycle) <= 9 else [*cycle[:7], "…", cycle[-1]]
                way = " → ".join(quoted(name)[1:-1] for name in shown)
                self.findings.add(("worked_out", first), f"it depends on itself: {way}")
                self.invalid_names.update(cycle)
                for name in set(cycle):
                    del waiting[name]

    # --- rules, fits, consumables

    def _rule(self, table: TomlTable) -> RuleDefinition | None:
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

    def _fit(self, table: TomlTable, roles: set[str]) -> FitDefinition | None:
        name = table.text("name", needed=True, at_most=MAX_NAME_LENGTH)
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
        self, table: TomlTable, roles: set[str]
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
            sheets = inside.expression(role, Dimension.NUMBER)
            if sheets is not None:
                found.append((role, sheets))
        return tuple(found)

    def _consumable(self, table: TomlTable) -> ConsumableDefinition | None:
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

    def _piece(self, table: TomlTable) -> PieceDefinition | None:
        name = table.name("name", _PIECE_NAME, "front wall")
        role = table.name("role", _ROLE, "wall or wall.front")
        if role == ALL_ROLES:
            table.report(
                "role", f"'{ALL_ROLES}' stands for every piece; give this piece a role of its own"
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
        scores = table.tables("scores", lambda line: self._line(line, folded=True))
        slits = table.tables("slits", lambda line: self._line(line, folded=False))
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

    def _corners(self, piece: TomlTable) -> dict[str, CornerDefinition]:
        """Read a size for squares at all four corners, or a table for each corner."""
        value = piece.raw("corners")
        if value is None:
            return {}
        path = (*piece.path, "corners")
        if not isinstance(value, dict):
            side = self.bound_expression(path, value, Dimension.LENGTH)
            return (
                {} if side is None else dict.fromkeys(CORNERS, CornerDefinition(side, side, False))
            )
        table = TomlTable(self, path, value)
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
        table = TomlTable(self, path, value)
        width, height = (
            table.expression("width", Dimension.LENGTH),
            table.expression("height", Dimension.LENGTH),
        )
        slanted = table.flag("slanted")
        table.report_unknown_keys()
        return None if width is None or height is None else CornerDefinition(width, height, slanted)

    def _line(self, table: TomlTable, *, folded: bool) -> LineDefinition | None:
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

    def _hole(self, table: TomlTable) -> HoleDefinition | None:
        at, diameter = table.point("at"), table.expression("diameter", Dimension.LENGTH)
        eyelet = table.flag("eyelet")
        return (
            None
            if at is None or diameter is None
            else HoleDefinition(table.path, at, diameter, eyelet)
        )

    def _glue(self, table: TomlTable) -> GlueDefinition | None:
        at = table.point("at")
        width, height = (
            table.expression("width", Dimension.LENGTH),
            table.expression("height", Dimension.LENGTH),
        )
        if at is None or width is None or height is None:
            return None
        return GlueDefinition(table.path, at, width, height)


def _check_defaults(definition: DesignDefinition, findings: Findings) -> None:
    """Make the design in its default sizes, and note what can't be made."""
    try:
        sizes = definition.default_sizes(Unit.MM)
    except EvaluationError as first:
        findings.add(first.path, first.message)
        return
    for error in definition.errors(sizes, Unit.MM):
        findings.add(error.path, error.message)
        if findings.full:
            return
