"""A design of a maker's own after reading: expressions by name, and the working out of pieces."""

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
    """Something that can't be worked out, and where it is written."""

    def __init__(self, path: Path, what: str) -> None:
        super().__init__(what)
        self.path = path
        self.message = what


def path_label(path: Path) -> str:
    """Write the way to a value for a person: ``pieces 2, scores 1, x``."""
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
    """What must hold, and what to say if it doesn't."""

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
    """Something beside paper."""

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
        """Return the sizes of an order that says nothing; `EvaluationError` if one can't be."""
        values: dict[str, int] = {}
        for size in self.sizes:
            values[size.name] = min(
                max(_default_size(size, values, unit), size.minimum), size.maximum
            )
        return values

    def _check(self, settings: Settings, unit: Unit) -> None:
        """Work everything out, so that whoever asks for pieces later is never refused."""
        with _as_refusals():
            work = self._evaluator(settings, unit)
            for rule in self.rules:
                work.check(rule)
            for work_out in (self._pieces, self._joints, self._consumables):
                work_out(settings, unit)

    def errors(self, settings: Settings, unit: Unit) -> Iterator[EvaluationError]:
        """Yield what can't be made with these settings, at most one trouble a part."""
        try:
            work = self._evaluator(settings, unit)
        except EvaluationError as trouble:
            yield trouble
            return
        bare = True
        deeds: tuple[Callable[[], object], ...] = (
            *(partial(work.piece, piece) for piece in self.pieces),
            *(partial(work.check, rule) for rule in self.rules),
            *(partial(work.joint, fit) for fit in self.fits),
            *(partial(work.consumable, one) for one in self.consumables),
        )
        for deed in deeds:
            try:
                bare = not isinstance(deed(), Piece) and bare
            except EvaluationError as trouble:
                bare = False
                yield trouble
        if bare:
            yield EvaluationError(("pieces",), "no piece is left; give one a quantity of 1 or more")

    def _evaluator(self, settings: Settings, unit: Unit) -> _Evaluator:
        work = _Evaluator(
            {size.name: Fraction(number_in(settings, size.name)) for size in self.sizes}, unit
        )
        for name, worth in self.derived_sizes:
            work.values[name] = work.value(worth)
        return work

    def _pieces(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Piece, ...]:
        made = tuple(filter(None, map(self._evaluator(settings, unit).piece, self.pieces)))
        if not made:
            raise EvaluationError(("pieces",), "no piece is left in these sizes")
        return made

    def _joints(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Joint, ...]:
        """Return the fits of parts that are made in these sizes."""
        work = self._evaluator(settings, unit)
        made = {piece.role for piece in self.pieces if work.count(piece.quantity)}
        wanted = (fit for fit in self.fits if made.issuperset(role for role, _ in fit.papers))
        return tuple(map(work.joint, wanted))

    def _consumables(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Consumable, ...]:
        work = self._evaluator(settings, unit)
        return tuple(filter(None, map(work.consumable, self.consumables)))


@contextmanager
def _as_refusals() -> Iterator[None]:
    try:
        yield
    except EvaluationError as trouble:
        raise DesignRefusal(f"{path_label(trouble.path)}: {trouble.message}") from None


def _refuse_errors(work_out: Callable[[Settings], _T], settings: Settings) -> _T:
    with _as_refusals():
        return work_out(settings)


def _setting(size: SizeDefinition) -> Setting:
    kind = SettingKind.LENGTH if size.dimension is Dimension.LENGTH else SettingKind.COUNT

    def usual(before: Settings, unit: Unit) -> int:
        with _as_refusals():
            return _default_size(size, before, unit)

    return Setting(size.name, kind, size.help, usual, minimum=size.minimum, maximum=size.maximum)


def _default_size(size: SizeDefinition, before: Settings, unit: Unit) -> int:
    values = {name: Fraction(value) for name, value in before.items()}
    return _Evaluator(values, unit).integer(size.default)


@dataclass
class _Evaluator:
    """The working out with one set of sizes; `unit` is for what is said of them."""

    values: dict[str, Fraction]
    unit: Unit

    def value(self, worth: BoundExpression) -> Fraction:
        try:
            return worth.expression.evaluate(self.values)
        except ExpressionError as error:
            raise EvaluationError(worth.path, str(error)) from None

    def integer(self, worth: BoundExpression) -> int:
        """Work out a count, or a length in fine units; nothing is rounded."""
        amount = self.value(worth)
        if amount.denominator == 1:
            return amount.numerator
        raise EvaluationError(
            worth.path,
            f"'{worth.expression.text}' does not come out even; round it, as in round_to(…, 1)"
            " for a count or round_to(…, 0.1mm) for a length",
        )

    def count(self, worth: BoundExpression) -> int:
        found = self.integer(worth)
        if not 0 <= found <= MAX_COPIES:
            text = worth.expression.text
            raise EvaluationError(
                worth.path, f"'{text}' comes to {found:,}; it may be 0 to {MAX_COPIES}"
            )
        return found

    def length(self, worth: BoundExpression, *, least: Length = 0) -> Length:
        found = self.integer(worth)
        if least <= found <= MAX_LENGTH:
            return found
        text, shown = worth.expression.text, self.format_length(found)
        wanted = "must be more than zero" if found <= 0 < least else "may be at most 10 m"
        if found < 0 == least:
            wanted = "can't be less than zero"
        raise EvaluationError(worth.path, f"'{text}' comes to {shown} and {wanted}")

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

    def piece(self, plan: PieceDefinition) -> Piece | None:
        """Make a piece, or None if none of it is wanted."""
        quantity = self.count(plan.quantity)
        if quantity == 0:
            return None
        width, height = self.length(plan.width, least=1), self.length(plan.height, least=1)
        on_piece = dict(zip(PIECE_SIZE_NAMES, map(Fraction, (width, height)), strict=True))
        work = _Evaluator({**self.values, **on_piece}, self.unit)
        shape = work.outline(plan, width, height)
        return Piece(
            name=plan.name,
            role=plan.role,
            outline=shape,
            quantity=quantity,
            upright=plan.upright,
            grain=plan.grain,
            scores=tuple(
                Score(line, one.fold, work.degrees(one.degrees))
                for one in plan.scores
                if one.fold is not None and one.degrees is not None
                for line in work.lines(one, shape)
            ),
            slits=tuple(line for one in plan.slits for line in work.lines(one, shape)),
            holes=tuple(work.hole(one, shape) for one in plan.holes),
            glue=tuple(work.glue(one, shape) for one in plan.glue),
            note=plan.note,
        )

    def outline(self, plan: PieceDefinition, width: Length, height: Length) -> tuple[Point, ...]:
        cut = {
            name: CutCorner(
                self.length(corner.width, least=1),
                self.length(corner.height, least=1),
                corner.slanted,
            )
            for name, corner in plan.corners.items()
        }
        try:
            return outline(width, height, cut)
        except OutlineError as fault:
            raise EvaluationError((*plan.path, "corners"), str(fault)) from None

    def point(self, at: tuple[BoundExpression, BoundExpression]) -> Point:
        return Point(self.length(at[0]), self.length(at[1]))

    def lines(self, plan: LineDefinition, shape: tuple[Point, ...]) -> list[Line]:
        if plan.across is None:
            start, end = map(self.point, plan.ends)
            if start == end:
                raise EvaluationError(plan.path, "it begins and ends in the same place")
            return self.require_on_piece(plan.path, shape, [Line(start, end)])
        at = self.length(plan.across)
        wide, tall = max(p.x for p in shape), max(p.y for p in shape)
        whole = (
            Line(Point(at, 0), Point(at, tall))
            if plan.axis == "x"
            else Line(Point(0, at), Point(wide, at))
        )
        found = clip_line(shape, whole)
        if not found:
            raise EvaluationError(
                plan.path,
                f"{plan.axis} = {self.format_length(at)} does not run across the piece,"
                f" which is {self.format_length(wide)} wide and {self.format_length(tall)} tall",
            )
        return found

    def degrees(self, worth: BoundExpression) -> int:
        found = self.value(worth)
        if found.denominator != 1 or not 0 <= found <= FLAT_FOLD_DEGREES:
            raise EvaluationError(
                worth.path,
                f"'{worth.expression.text}' is no angle to fold by; write whole degrees from 0 to"
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

    def hole(self, plan: HoleDefinition, shape: tuple[Point, ...]) -> Hole:
        centre, diameter = self.point(plan.centre), self.length(plan.diameter, least=1)
        if not disc_within(shape, centre, diameter):
            at = f"{self.format_length(centre.x)}, {self.format_length(centre.y)}"
            raise EvaluationError(
                plan.path,
                f"a hole of {self.format_length(diameter)} at {at} is not wholly within the piece",
            )
        return Hole(centre, diameter, plan.eyelet)

    def glue(self, plan: GlueDefinition, shape: tuple[Point, ...]) -> tuple[Point, ...]:
        x, y = self.point(plan.corner)
        right = x + self.length(plan.width, least=1)
        below = y + self.length(plan.height, least=1)
        corners = (Point(x, y), Point(right, y), Point(right, below), Point(x, below))
        sides = zip(corners, corners[1:] + corners[:1], strict=True)
        self.require_on_piece(plan.path, shape, [Line(*side) for side in sides])
        return corners

    # --- the rest

    def joint(self, plan: FitDefinition) -> Joint:
        room = self.length(plan.outer, least=1) - self.length(plan.inner, least=1)
        layers = tuple(Layer(role, self.half_thicknesses(worth)) for role, worth in plan.papers)
        return Joint(plan.name, room, layers, self.length(plan.play))

    def half_thicknesses(self, worth: BoundExpression) -> int:
        twice = 2 * self.value(worth)
        if twice.denominator != 1 or not 0 <= twice <= 2 * MAX_COPIES:
            raise EvaluationError(
                worth.path,
                f"'{worth.expression.text}' is no number of sheets; write whole or half ones,"
                f" 0 to {MAX_COPIES}",
            )
        return twice.numerator

    def consumable(self, plan: ConsumableDefinition) -> Consumable | None:
        quantity = self.count(plan.quantity)
        if quantity == 0:
            return None
        if plan.length is None:
            return Consumable(plan.name, plan.use, Measure.COUNT, 1, quantity)
        length = self.length(plan.length, least=1)
        return Consumable(plan.name, plan.use, Measure.LENGTH, length, quantity)
