"""A design of a maker's own after reading: its expressions, and how they become pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from typing import NamedTuple, TypeVar

from nester.core.lengths import MAX_LENGTH, Length, Unit, format_length
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer
from nester.designs.base.design import (
    Consumable,
    Design,
    Measure,
    Setting,
    SettingKind,
    Settings,
    number_in,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.custom.expressions import Comparison, Dimension, Expression, ExpressionError
from nester.designs.custom.outline import (
    CutCorner,
    OutlineError,
    clip_line,
    disc_within,
    line_within,
    outline,
)
from nester.designs.custom.toml_lines import Path

__all__ = [
    "MAX_COPIES",
    "PIECE_SIZE_NAMES",
    "BoundExpression",
    "ConsumableDefinition",
    "CornerDefinition",
    "DesignDefinition",
    "EvaluationError",
    "FitDefinition",
    "GlueDefinition",
    "HoleDefinition",
    "LineDefinition",
    "PieceDefinition",
    "RuleDefinition",
    "SizeDefinition",
    "path_label",
]

_T = TypeVar("_T")

MAX_COPIES = 1000
FLAT_FOLD_DEGREES = 180
"""Degrees by which a fold lays paper back on itself."""
PIECE_SIZE_NAMES = ("wide", "tall")
"""What a mark calls the width and height of the piece it is on."""


class EvaluationError(Exception):
    """An expression that can't be calculated, and where it is written."""

    def __init__(self, path: Path, message: str) -> None:
        super().__init__(message)
        self.path = path
        self.message = message


def path_label(path: Path) -> str:
    """Write the path of a value for a person: ``pieces 2, scores 1, x``."""
    parts: list[str] = []
    for part in path:
        if isinstance(part, int) and parts:
            parts[-1] = f"{parts[-1]} {part + 1}"
        else:
            parts.append(str(part))
    return ", ".join(parts)


class BoundExpression(NamedTuple):
    """An expression, and where it is written."""

    path: Path
    expression: Expression


class SizeDefinition(NamedTuple):
    """One size or count a maker may give."""

    name: str
    dimension: Dimension
    default: BoundExpression
    minimum: int
    maximum: int
    help: str


class RuleDefinition(NamedTuple):
    """A condition, and the message shown if it doesn't hold."""

    path: Path
    condition: Comparison
    message: str


class CornerDefinition(NamedTuple):
    """A corner that is cut away."""

    width: BoundExpression
    height: BoundExpression
    slanted: bool


class LineDefinition(NamedTuple):
    """A score or slit: right across the piece at `across` along an axis, or between two places."""

    path: Path
    fold: Fold | None
    degrees: BoundExpression | None
    axis: str
    across: BoundExpression | None
    ends: tuple[tuple[BoundExpression, BoundExpression], ...]


class HoleDefinition(NamedTuple):
    """A punched hole."""

    path: Path
    centre: tuple[BoundExpression, BoundExpression]
    diameter: BoundExpression
    eyelet: bool


class GlueDefinition(NamedTuple):
    """A rectangle that takes glue."""

    path: Path
    corner: tuple[BoundExpression, BoundExpression]
    width: BoundExpression
    height: BoundExpression


@dataclass(frozen=True)
class PieceDefinition:
    """One kind of piece."""

    path: Path
    name: str
    role: str
    width: BoundExpression
    height: BoundExpression
    quantity: BoundExpression
    grain: Grain
    upright: bool
    note: str
    corners: Mapping[str, CornerDefinition] = field(default_factory=dict)
    scores: tuple[LineDefinition, ...] = ()
    slits: tuple[LineDefinition, ...] = ()
    holes: tuple[HoleDefinition, ...] = ()
    glue: tuple[GlueDefinition, ...] = ()


class FitDefinition(NamedTuple):
    """What goes into what."""

    path: Path
    name: str
    outer: BoundExpression
    inner: BoundExpression
    play: BoundExpression
    papers: tuple[tuple[str, BoundExpression], ...]


class ConsumableDefinition(NamedTuple):
    """Something other than paper that the object needs."""

    path: Path
    name: str
    use: str
    length: BoundExpression | None
    quantity: BoundExpression


@dataclass(frozen=True)
class DesignDefinition:
    """A whole design as it was written.

    Attributes
    ----------
    derived_sizes
        Each after those it uses.
    """

    name: str
    title: str
    sizes: tuple[SizeDefinition, ...]
    derived_sizes: tuple[tuple[str, BoundExpression], ...]
    rules: tuple[RuleDefinition, ...]
    pieces: tuple[PieceDefinition, ...]
    fits: tuple[FitDefinition, ...]
    consumables: tuple[ConsumableDefinition, ...]

    def design(self) -> Design:
        """Return it as a design like any other."""
        roles = dict.fromkeys(piece.role for piece in self.pieces)
        return Design(
            name=self.name,
            title=self.title,
            settings=tuple(map(_setting, self.sizes)),
            roles=tuple(dict.fromkeys(role.partition(".")[0] for role in roles)),
            sub_roles=tuple(role for role in roles if "." in role),
            check_rules=self._check,
            make_pieces=lambda settings: _refuse_errors(self._pieces, settings),
            joints=lambda settings: _refuse_errors(self._joints, settings),
            consumables=lambda settings: _refuse_errors(self._consumables, settings),
        )

    def default_sizes(self, unit: Unit) -> dict[str, int]:
        """Return the size of everything an order leaves out; `EvaluationError` if that fails."""
        values: dict[str, int] = {}
        for size in self.sizes:
            values[size.name] = min(
                max(_default_size(size, values, unit), size.minimum), size.maximum
            )
        return values

    def _check(self, settings: Settings, unit: Unit) -> None:
        """Calculate everything once, so that asking for pieces later is never refused."""
        with _as_refusals():
            evaluator = self._evaluator(settings, unit)
            for rule in self.rules:
                evaluator.check(rule)
            for work_out in (self._pieces, self._joints, self._consumables):
                work_out(settings, unit)

    def errors(self, settings: Settings, unit: Unit) -> Iterator[EvaluationError]:
        """Yield what can't be made with these settings, at most one error for each part."""
        try:
            evaluator = self._evaluator(settings, unit)
        except EvaluationError as error:
            yield error
            return
        no_piece = True
        steps: tuple[Callable[[], object], ...] = (
            *(partial(evaluator.piece, piece) for piece in self.pieces),
            *(partial(evaluator.check, rule) for rule in self.rules),
            *(partial(evaluator.joint, fit) for fit in self.fits),
            *(partial(evaluator.consumable, item) for item in self.consumables),
        )
        for step in steps:
            try:
                no_piece = not isinstance(step(), Piece) and no_piece
            except EvaluationError as error:
                no_piece = False
                yield error
        if no_piece:
            message = "no piece is left; give a piece a quantity of 1 or more"
            yield EvaluationError(("pieces",), message)

    def _evaluator(self, settings: Settings, unit: Unit) -> _Evaluator:
        evaluator = _Evaluator(
            {size.name: Fraction(number_in(settings, size.name)) for size in self.sizes}, unit
        )
        for name, bound in self.derived_sizes:
            evaluator.values[name] = evaluator.value(bound)
        return evaluator

    def _pieces(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Piece, ...]:
        made = tuple(filter(None, map(self._evaluator(settings, unit).piece, self.pieces)))
        if not made:
            raise EvaluationError(("pieces",), "these sizes leave no piece")
        return made

    def _joints(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Joint, ...]:
        """Return the fits of parts that are made in these sizes."""
        evaluator = self._evaluator(settings, unit)
        made = {piece.role for piece in self.pieces if evaluator.count(piece.quantity)}
        possible = (fit for fit in self.fits if made.issuperset(role for role, _ in fit.papers))
        return tuple(map(evaluator.joint, possible))

    def _consumables(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Consumable, ...]:
        evaluator = self._evaluator(settings, unit)
        return tuple(filter(None, map(evaluator.consumable, self.consumables)))


@contextmanager
def _as_refusals() -> Iterator[None]:
    try:
        yield
    except EvaluationError as error:
        raise DesignRefusal(f"{path_label(error.path)}: {error.message}") from None


def _refuse_errors(work_out: Callable[[Settings], _T], settings: Settings) -> _T:
    with _as_refusals():
        return work_out(settings)


def _setting(size: SizeDefinition) -> Setting:
    kind = SettingKind.LENGTH if size.dimension is Dimension.LENGTH else SettingKind.COUNT

    def default(before: Settings, unit: Unit) -> int:
        with _as_refusals():
            return _default_size(size, before, unit)

    return Setting(size.name, kind, size.help, default, minimum=size.minimum, maximum=size.maximum)


def _default_size(size: SizeDefinition, before: Settings, unit: Unit) -> int:
    values = {name: Fraction(value) for name, value in before.items()}
    return _Evaluator(values, unit).integer(size.default)


@dataclass
class _Evaluator:
    """Calculates a design with one set of sizes; messages show lengths in `unit`."""

    values: dict[str, Fraction]
    unit: Unit

    def value(self, bound: BoundExpression) -> Fraction:
        try:
            return bound.expression.evaluate(self.values)
        except ExpressionError as error:
            raise EvaluationError(bound.path, str(error)) from None

    def integer(self, bound: BoundExpression) -> int:
        """Calculate a count, or a length in fine units; nothing is rounded."""
        amount = self.value(bound)
        if amount.denominator == 1:
            return amount.numerator
        raise EvaluationError(
            bound.path,
            f"'{bound.expression.text}' does not come out exactly; round it, as in round_to(…, 1)"
            " for a count or round_to(…, 0.1mm) for a length",
        )

    def count(self, bound: BoundExpression) -> int:
        found = self.integer(bound)
        if not 0 <= found <= MAX_COPIES:
            text = bound.expression.text
            raise EvaluationError(
                bound.path, f"'{text}' comes to {found:,}; it may be 0 to {MAX_COPIES}"
            )
        return found

    def length(self, bound: BoundExpression, *, minimum: Length = 0) -> Length:
        found = self.integer(bound)
        if minimum <= found <= MAX_LENGTH:
            return found
        text, shown = bound.expression.text, self.format_length(found)
        limit = "must be more than zero" if found <= 0 < minimum else "may be at most 10 m"
        if found < 0 == minimum:
            limit = "can't be less than zero"
        raise EvaluationError(bound.path, f"'{text}' comes to {shown} and {limit}")

    def format_length(self, length: Length) -> str:
        if abs(length) > 1000 * MAX_LENGTH:
            return "far too much"
        return format_length(length, self.unit)

    def check(self, rule: RuleDefinition) -> None:
        try:
            holds = rule.condition.is_satisfied(self.values)
        except ExpressionError as error:
            raise EvaluationError(rule.path, str(error)) from None
        if not holds:
            raise EvaluationError(rule.path, rule.message)

    # --- pieces

    def piece(self, definition: PieceDefinition) -> Piece | None:
        """Make a piece; None if its quantity is 0."""
        quantity = self.count(definition.quantity)
        if quantity == 0:
            return None
        width, height = (
            self.length(definition.width, minimum=1),
            self.length(definition.height, minimum=1),
        )
        own_sizes = dict(zip(PIECE_SIZE_NAMES, map(Fraction, (width, height)), strict=True))
        evaluator = _Evaluator({**self.values, **own_sizes}, self.unit)
        shape = evaluator.outline(definition, width, height)
        return Piece(
            name=definition.name,
            role=definition.role,
            outline=shape,
            quantity=quantity,
            upright=definition.upright,
            grain=definition.grain,
            scores=tuple(
                Score(line, score.fold, evaluator.degrees(score.degrees))
                for score in definition.scores
                if score.fold is not None and score.degrees is not None
                for line in evaluator.lines(score, shape)
            ),
            slits=tuple(line for slit in definition.slits for line in evaluator.lines(slit, shape)),
            holes=tuple(evaluator.hole(hole, shape) for hole in definition.holes),
            glue=tuple(evaluator.glue(area, shape) for area in definition.glue),
            note=definition.note,
        )

    def outline(
        self, definition: PieceDefinition, width: Length, height: Length
    ) -> tuple[Point, ...]:
        cut = {
            name: CutCorner(
                self.length(corner.width, minimum=1),
                self.length(corner.height, minimum=1),
                corner.slanted,
            )
            for name, corner in definition.corners.items()
        }
        try:
            return outline(width, height, cut)
        except OutlineError as fault:
            raise EvaluationError((*definition.path, "corners"), str(fault)) from None

    def point(self, at: tuple[BoundExpression, BoundExpression]) -> Point:
        return Point(self.length(at[0]), self.length(at[1]))

    def lines(self, definition: LineDefinition, shape: tuple[Point, ...]) -> list[Line]:
        if definition.across is None:
            start, end = map(self.point, definition.ends)
            if start == end:
                raise EvaluationError(definition.path, "it begins and ends in the same place")
            return self.require_on_piece(definition.path, shape, [Line(start, end)])
        at = self.length(definition.across)
        wide, tall = max(p.x for p in shape), max(p.y for p in shape)
        whole = (
            Line(Point(at, 0), Point(at, tall))
            if definition.axis == "x"
            else Line(Point(0, at), Point(wide, at))
        )
        found = clip_line(shape, whole)
        if not found:
            raise EvaluationError(
                definition.path,
                f"{definition.axis} = {self.format_length(at)} does not run across the piece,"
                f" which is {self.format_length(wide)} wide and {self.format_length(tall)} tall",
            )
        return found

    def degrees(self, bound: BoundExpression) -> int:
        found = self.value(bound)
        if found.denominator != 1 or not 0 <= found <= FLAT_FOLD_DEGREES:
            raise EvaluationError(
                bound.path,
                f"'{bound.expression.text}' is not a fold angle; write whole degrees from 0 to"
                f" {FLAT_FOLD_DEGREES}: 90 stands a wall up, {FLAT_FOLD_DEGREES} lays the paper"
                " back on itself",
            )
        return found.numerator

    def require_on_piece(
        self, path: Path, shape: tuple[Point, ...], lines: list[Line]
    ) -> list[Line]:
        for line in lines:
            if not line_within(shape, line):
                ends = " to ".join(
                    f"{self.format_length(p.x)}, {self.format_length(p.y)}" for p in line
                )
                raise EvaluationError(path, f"it leaves the piece between {ends}")
        return lines

    def hole(self, definition: HoleDefinition, shape: tuple[Point, ...]) -> Hole:
        centre, diameter = (
            self.point(definition.centre),
            self.length(definition.diameter, minimum=1),
        )
        if not disc_within(shape, centre, diameter):
            at = f"{self.format_length(centre.x)}, {self.format_length(centre.y)}"
            raise EvaluationError(
                definition.path,
                f"a hole of {self.format_length(diameter)} at {at} is not wholly within the piece",
            )
        return Hole(centre, diameter, definition.eyelet)

    def glue(self, definition: GlueDefinition, shape: tuple[Point, ...]) -> tuple[Point, ...]:
        x, y = self.point(definition.corner)
        right = x + self.length(definition.width, minimum=1)
        below = y + self.length(definition.height, minimum=1)
        corners = (Point(x, y), Point(right, y), Point(right, below), Point(x, below))
        sides = zip(corners, corners[1:] + corners[:1], strict=True)
        self.require_on_piece(definition.path, shape, [Line(*side) for side in sides])
        return corners

    # --- the rest

    def joint(self, definition: FitDefinition) -> Joint:
        clearance = self.length(definition.outer, minimum=1) - self.length(
            definition.inner, minimum=1
        )
        layers = tuple(
            Layer(role, self.half_thicknesses(bound)) for role, bound in definition.papers
        )
        return Joint(definition.name, clearance, layers, self.length(definition.play))

    def half_thicknesses(self, bound: BoundExpression) -> int:
        twice = 2 * self.value(bound)
        if twice.denominator != 1 or not 0 <= twice <= 2 * MAX_COPIES:
            raise EvaluationError(
                bound.path,
                f"'{bound.expression.text}' is not a number of sheets; write a whole or half"
                f" number, 0 to {MAX_COPIES}",
            )
        return twice.numerator

    def consumable(self, definition: ConsumableDefinition) -> Consumable | None:
        quantity = self.count(definition.quantity)
        if quantity == 0:
            return None
        if definition.length is None:
            return Consumable(definition.name, definition.use, Measure.COUNT, 1, quantity)
        length = self.length(definition.length, minimum=1)
        return Consumable(definition.name, definition.use, Measure.LENGTH, length, quantity)
