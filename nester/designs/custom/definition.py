"""A design of a maker's own after reading: expressions by name, and the working out of pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from typing import NamedTuple, TypeVar

from nester.core.lengths import LARGEST, Length, Unit, format_length
from nester.core.piece import Fold, Grain, Hole, Line, Piece, Point, Score
from nester.designs.base.clearance import Joint, Layer
from nester.designs.base.design import (
    Consumable,
    Design,
    Kind,
    Measure,
    Setting,
    Settings,
    number,
)
from nester.designs.base.errors import DesignRefusal
from nester.designs.custom.expressions import Comparison, Expression, ExpressionError, Sort
from nester.designs.custom.outline import (
    CutCorner,
    OutlineFault,
    disc_on,
    line_on,
    lines_across,
    outline,
)
from nester.designs.custom.toml_lines import Path

__all__ = [
    "MOST_COPIES",
    "OWN_NAMES",
    "ConsumablePlan",
    "CornerPlan",
    "FitPlan",
    "GluePlan",
    "HolePlan",
    "LinePlan",
    "PiecePlan",
    "Plan",
    "RulePlan",
    "SizePlan",
    "Trouble",
    "Worth",
    "label",
]

_T = TypeVar("_T")

MOST_COPIES = 1000
FLAT = 180
"""Degrees by which a fold lays paper back on itself."""
OWN_NAMES = ("wide", "tall")
"""What a mark calls the width and height of the piece it is on."""


class Trouble(Exception):
    """Something that can't be worked out, and where it is written."""

    def __init__(self, path: Path, what: str) -> None:
        super().__init__(what)
        self.path = path
        self.what = what


def label(path: Path) -> str:
    """Write the way to a value for a person: ``pieces 2, scores 1, x``."""
    parts: list[str] = []
    for part in path:
        if isinstance(part, int) and parts:
            parts[-1] = f"{parts[-1]} {part + 1}"
        else:
            parts.append(str(part))
    return ", ".join(parts)


class Worth(NamedTuple):
    """An expression, and where it is written."""

    path: Path
    expression: Expression


class SizePlan(NamedTuple):
    """One size or count a maker may give."""

    name: str
    sort: Sort
    usual: Worth
    least: int
    most: int
    help: str


class RulePlan(NamedTuple):
    """What must hold, and what to say if it doesn't."""

    path: Path
    holds: Comparison
    says: str


class CornerPlan(NamedTuple):
    """A corner that is cut away."""

    width: Worth
    height: Worth
    slanted: bool


class LinePlan(NamedTuple):
    """A score or slit: right across the piece at `across` along an axis, or between two places."""

    path: Path
    fold: Fold | None
    degrees: Worth | None
    axis: str
    across: Worth | None
    ends: tuple[tuple[Worth, Worth], ...]


class HolePlan(NamedTuple):
    """A punched hole."""

    path: Path
    at: tuple[Worth, Worth]
    diameter: Worth
    eyelet: bool


class GluePlan(NamedTuple):
    """A rectangle that takes glue."""

    path: Path
    at: tuple[Worth, Worth]
    width: Worth
    height: Worth


@dataclass(frozen=True)
class PiecePlan:
    """One kind of piece."""

    path: Path
    name: str
    role: str
    width: Worth
    height: Worth
    quantity: Worth
    grain: Grain
    upright: bool
    note: str
    corners: Mapping[str, CornerPlan] = field(default_factory=dict)
    scores: tuple[LinePlan, ...] = ()
    slits: tuple[LinePlan, ...] = ()
    holes: tuple[HolePlan, ...] = ()
    glue: tuple[GluePlan, ...] = ()


class FitPlan(NamedTuple):
    """What goes into what."""

    path: Path
    name: str
    outer: Worth
    inner: Worth
    play: Worth
    papers: tuple[tuple[str, Worth], ...]


class ConsumablePlan(NamedTuple):
    """Something beside paper."""

    path: Path
    name: str
    use: str
    length: Worth | None
    quantity: Worth


@dataclass(frozen=True)
class Plan:
    """A whole design as it was written.

    Attributes
    ----------
    worked_out
        Each after those it uses.
    """

    name: str
    title: str
    sizes: tuple[SizePlan, ...]
    worked_out: tuple[tuple[str, Worth], ...]
    rules: tuple[RulePlan, ...]
    pieces: tuple[PiecePlan, ...]
    fits: tuple[FitPlan, ...]
    consumables: tuple[ConsumablePlan, ...]

    def design(self) -> Design:
        """Return it as a design like any other."""
        roles = dict.fromkeys(piece.role for piece in self.pieces)
        return Design(
            name=self.name,
            title=self.title,
            settings=tuple(map(_setting, self.sizes)),
            roles=tuple(dict.fromkeys(role.partition(".")[0] for role in roles)),
            finer_roles=tuple(role for role in roles if "." in role),
            rules=self._check,
            parts=lambda settings: _refusing(self._pieces, settings),
            joints=lambda settings: _refusing(self._joints, settings),
            consumables=lambda settings: _refusing(self._consumables, settings),
        )

    def usual(self, unit: Unit) -> dict[str, int]:
        """Return the sizes of an order that says nothing; `Trouble` if one can't be."""
        values: dict[str, int] = {}
        for size in self.sizes:
            values[size.name] = min(max(_usual(size, values, unit), size.least), size.most)
        return values

    def _check(self, settings: Settings, unit: Unit) -> None:
        """Work everything out, so that whoever asks for pieces later is never refused."""
        with _refusals():
            work = self._work(settings, unit)
            for rule in self.rules:
                work.check(rule)
            for work_out in (self._pieces, self._joints, self._consumables):
                work_out(settings, unit)

    def troubles(self, settings: Settings, unit: Unit) -> Iterator[Trouble]:
        """Yield what can't be made with these settings, at most one trouble a part."""
        try:
            work = self._work(settings, unit)
        except Trouble as trouble:
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
            except Trouble as trouble:
                bare = False
                yield trouble
        if bare:
            yield Trouble(("pieces",), "no piece is left; give one a quantity of 1 or more")

    def _work(self, settings: Settings, unit: Unit) -> _Work:
        work = _Work(
            {size.name: Fraction(number(settings, size.name)) for size in self.sizes}, unit
        )
        for name, worth in self.worked_out:
            work.values[name] = work.amount(worth)
        return work

    def _pieces(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Piece, ...]:
        made = tuple(filter(None, map(self._work(settings, unit).piece, self.pieces)))
        if not made:
            raise Trouble(("pieces",), "no piece is left in these sizes")
        return made

    def _joints(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Joint, ...]:
        """Return the fits of parts that are made in these sizes."""
        work = self._work(settings, unit)
        made = {piece.role for piece in self.pieces if work.count(piece.quantity)}
        wanted = (fit for fit in self.fits if made.issuperset(role for role, _ in fit.papers))
        return tuple(map(work.joint, wanted))

    def _consumables(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Consumable, ...]:
        work = self._work(settings, unit)
        return tuple(filter(None, map(work.consumable, self.consumables)))


@contextmanager
def _refusals() -> Iterator[None]:
    try:
        yield
    except Trouble as trouble:
        raise DesignRefusal(f"{label(trouble.path)}: {trouble.what}") from None


def _refusing(work_out: Callable[[Settings], _T], settings: Settings) -> _T:
    with _refusals():
        return work_out(settings)


def _setting(size: SizePlan) -> Setting:
    kind = Kind.LENGTH if size.sort is Sort.LENGTH else Kind.COUNT

    def usual(before: Settings, unit: Unit) -> int:
        with _refusals():
            return _usual(size, before, unit)

    return Setting(size.name, kind, size.help, usual, least=size.least, most=size.most)


def _usual(size: SizePlan, before: Settings, unit: Unit) -> int:
    values = {name: Fraction(value) for name, value in before.items()}
    return _Work(values, unit).whole(size.usual)


@dataclass
class _Work:
    """The working out with one set of sizes; `unit` is for what is said of them."""

    values: dict[str, Fraction]
    unit: Unit

    def amount(self, worth: Worth) -> Fraction:
        try:
            return worth.expression.value(self.values)
        except ExpressionError as error:
            raise Trouble(worth.path, str(error)) from None

    def whole(self, worth: Worth) -> int:
        """Work out a count, or a length in fine units; nothing is rounded."""
        amount = self.amount(worth)
        if amount.denominator == 1:
            return amount.numerator
        raise Trouble(
            worth.path,
            f"'{worth.expression.text}' does not come out even; round it, as in round_to(…, 1)"
            " for a count or round_to(…, 0.1mm) for a length",
        )

    def count(self, worth: Worth) -> int:
        found = self.whole(worth)
        if not 0 <= found <= MOST_COPIES:
            text = worth.expression.text
            raise Trouble(worth.path, f"'{text}' comes to {found:,}; it may be 0 to {MOST_COPIES}")
        return found

    def length(self, worth: Worth, *, least: Length = 0) -> Length:
        found = self.whole(worth)
        if least <= found <= LARGEST:
            return found
        text, shown = worth.expression.text, self.shown(found)
        wanted = "must be more than zero" if found <= 0 < least else "may be at most 10 m"
        if found < 0 == least:
            wanted = "can't be less than zero"
        raise Trouble(worth.path, f"'{text}' comes to {shown} and {wanted}")

    def shown(self, length: Length) -> str:
        if abs(length) > 1000 * LARGEST:
            return "far too much"
        return format_length(length, self.unit)

    def check(self, rule: RulePlan) -> None:
        try:
            holds = rule.holds.holds(self.values)
        except ExpressionError as error:
            raise Trouble(rule.path, str(error)) from None
        if not holds:
            raise Trouble(rule.path, rule.says)

    # --- pieces

    def piece(self, plan: PiecePlan) -> Piece | None:
        """Make a piece, or None if none of it is wanted."""
        quantity = self.count(plan.quantity)
        if quantity == 0:
            return None
        width, height = self.length(plan.width, least=1), self.length(plan.height, least=1)
        on_piece = dict(zip(OWN_NAMES, map(Fraction, (width, height)), strict=True))
        work = _Work({**self.values, **on_piece}, self.unit)
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

    def outline(self, plan: PiecePlan, width: Length, height: Length) -> tuple[Point, ...]:
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
        except OutlineFault as fault:
            raise Trouble((*plan.path, "corners"), str(fault)) from None

    def point(self, at: tuple[Worth, Worth]) -> Point:
        return Point(self.length(at[0]), self.length(at[1]))

    def lines(self, plan: LinePlan, shape: tuple[Point, ...]) -> list[Line]:
        if plan.across is None:
            start, end = map(self.point, plan.ends)
            if start == end:
                raise Trouble(plan.path, "it begins and ends in the same place")
            return self.on_shape(plan.path, shape, [Line(start, end)])
        at = self.length(plan.across)
        wide, tall = max(p.x for p in shape), max(p.y for p in shape)
        whole = (
            Line(Point(at, 0), Point(at, tall))
            if plan.axis == "x"
            else Line(Point(0, at), Point(wide, at))
        )
        found = lines_across(shape, whole)
        if not found:
            raise Trouble(
                plan.path,
                f"{plan.axis} = {self.shown(at)} does not run across the piece,"
                f" which is {self.shown(wide)} wide and {self.shown(tall)} tall",
            )
        return found

    def degrees(self, worth: Worth) -> int:
        found = self.amount(worth)
        if found.denominator != 1 or not 0 <= found <= FLAT:
            raise Trouble(
                worth.path,
                f"'{worth.expression.text}' is no angle to fold by; write whole degrees from 0 to"
                f" {FLAT}: 90 stands a wall up, {FLAT} lays the paper back on itself",
            )
        return found.numerator

    def on_shape(self, path: Path, shape: tuple[Point, ...], lines: list[Line]) -> list[Line]:
        for line in lines:
            if not line_on(shape, line):
                ends = " to ".join(f"{self.shown(p.x)}, {self.shown(p.y)}" for p in line)
                raise Trouble(path, f"it leaves the piece between {ends}")
        return lines

    def hole(self, plan: HolePlan, shape: tuple[Point, ...]) -> Hole:
        centre, diameter = self.point(plan.at), self.length(plan.diameter, least=1)
        if not disc_on(shape, centre, diameter):
            at = f"{self.shown(centre.x)}, {self.shown(centre.y)}"
            raise Trouble(
                plan.path,
                f"a hole of {self.shown(diameter)} at {at} is not wholly within the piece",
            )
        return Hole(centre, diameter, plan.eyelet)

    def glue(self, plan: GluePlan, shape: tuple[Point, ...]) -> tuple[Point, ...]:
        x, y = self.point(plan.at)
        right = x + self.length(plan.width, least=1)
        below = y + self.length(plan.height, least=1)
        corners = (Point(x, y), Point(right, y), Point(right, below), Point(x, below))
        sides = zip(corners, corners[1:] + corners[:1], strict=True)
        self.on_shape(plan.path, shape, [Line(*side) for side in sides])
        return corners

    # --- the rest

    def joint(self, plan: FitPlan) -> Joint:
        room = self.length(plan.outer, least=1) - self.length(plan.inner, least=1)
        layers = tuple(Layer(role, self.half_sheets(worth)) for role, worth in plan.papers)
        return Joint(plan.name, room, layers, self.length(plan.play))

    def half_sheets(self, worth: Worth) -> int:
        twice = 2 * self.amount(worth)
        if twice.denominator != 1 or not 0 <= twice <= 2 * MOST_COPIES:
            raise Trouble(
                worth.path,
                f"'{worth.expression.text}' is no number of sheets; write whole or half ones,"
                f" 0 to {MOST_COPIES}",
            )
        return twice.numerator

    def consumable(self, plan: ConsumablePlan) -> Consumable | None:
        quantity = self.count(plan.quantity)
        if quantity == 0:
            return None
        if plan.length is None:
            return Consumable(plan.name, plan.use, Measure.COUNT, 1, quantity)
        length = self.length(plan.length, least=1)
        return Consumable(plan.name, plan.use, Measure.LENGTH, length, quantity)
