"""What a design is: settings with sensible defaults, rules, and the pieces they make.

A `Setting` is one size, count or choice a maker may give.  `read_settings` turns what she wrote
into exact values and fills in the rest; `Design.pieces` makes the flat pieces, or refuses a
combination that can't fold or fit, naming the rule it breaks.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeAlias

from nester.core.lengths import (
    Length,
    MeasureError,
    Unit,
    format_length,
    inch,
    mm,
    parse_length,
    quotable,
)
from nester.designs.base.errors import DesignRefusal

if TYPE_CHECKING:
    from nester.core.piece import Piece
    from nester.designs.base.clearance import Joint, Thickness

__all__ = [
    "FIT",
    "Consumable",
    "Design",
    "Kind",
    "Measure",
    "SectionPart",
    "Setting",
    "Settings",
    "Value",
    "by_unit",
    "near_miss",
    "number",
    "read_settings",
    "tidied",
    "word",
]

FIT = "fit"
"""What a maker says instead of a length that is to be worked out."""

Value: TypeAlias = int | str
"""A length in fine units, a count, or the word of a choice."""

Settings: TypeAlias = Mapping[str, Value]


class Kind(StrEnum):
    """What a setting is a value of."""

    LENGTH = "length"
    COUNT = "count"
    CHOICE = "choice"


@dataclass(frozen=True)
class Setting:
    """One thing a maker may say about a design.

    Attributes
    ----------
    name
        What she calls it: ``panel``.
    kind
        Whether it is a length, a count or a choice.
    help
        One line for a person.
    default
        Its value when she says nothing, or a function of the settings before it (a design lists
        its settings in that order) and the shop's unit.  A length or count that comes out of the
        range `least` … `most` is brought into it.
    choices
        The words a choice may be.
    least, most
        The smallest and largest length (fine units) or count it may be.
    instead_of, parts
        Another way to give the setting `instead_of`, `parts` times as large: the blank of a
        tier instead of its panel, three times as wide.  It is never in the settings read.
    worked_out
        For a length that may be given as ``fit``: the smallest that leaves the wished-for play,
        from the settings before it (and those said after it) and the thickness of the papers.
    not_with
        Settings that leave this other way of saying something without a meaning.
    """

    name: str
    kind: Kind
    help: str
    default: Value | Callable[[Settings, Unit], Value] = 0
    choices: tuple[str, ...] = ()
    least: int = 0
    most: int = 0
    instead_of: str = ""
    parts: int = 1
    worked_out: Callable[[Settings, Thickness], Length] | None = None
    not_with: tuple[str, ...] = ()

    def value_unsaid(self, before: Settings, unit: Unit) -> Value:
        """Return the default, given the settings `before` it."""
        value = self.default(before, unit) if callable(self.default) else self.default
        return value if isinstance(value, str) else min(max(value, self.least), self.most)

    def read(self, text: str, unit: Unit) -> Value:
        """Read what a maker wrote; bare lengths are in `unit`.

        Raises
        ------
        DesignRefusal
            If it is no value of this kind.
        """
        if self.kind is Kind.CHOICE:
            return text.strip().casefold()
        if self.kind is Kind.COUNT:
            return _count(text)
        if self.least == 0 and _ZERO.fullmatch(text):
            return 0
        try:
            return parse_length(text, unit)
        except MeasureError as error:
            raise DesignRefusal(str(error)) from error

    def fault(self, value: object, unit: Unit) -> str | None:
        """Return what is wrong with a value by itself, or None."""
        if self.kind is Kind.CHOICE:
            if value in self.choices:
                return None
            hint = near_miss(str(value), self.choices)
            return f"'{_short(value)}' is not one of {', '.join(self.choices)}{hint}"
        if not isinstance(value, int) or isinstance(value, bool):
            return f"'{_short(value)}' is not a {self.kind}"
        if self.least <= value <= self.most:
            return None
        return (
            f"{self.show(value, unit)} is out of range; it may be from"
            f" {self.show(self.least, unit)} to {self.show(self.most, unit)}"
        )

    def show(self, value: Value, unit: Unit) -> str:
        """Write a value of this setting for a person."""
        if self.kind is Kind.LENGTH and isinstance(value, int):
            return format_length(value, unit)
        return _short(value)


_ZERO = re.compile(r"\s*0+(?:[.,]0*)?\s*(?:mm|cm|in)?\s*", re.IGNORECASE)


def _count(text: str) -> int:
    if not re.fullmatch(r"\s*[0-9]{1,6}\s*", text):
        raise DesignRefusal(f"'{_short(text)}' is not a whole number; write it like 4")
    return int(text)


def _short(value: object) -> str:
    text = quotable(str(value).strip())
    return text if len(text) <= 30 else f"{text[:30]}…"


class Measure(StrEnum):
    """What a consumable is counted in."""

    LENGTH = "length"
    AREA = "area"
    COUNT = "count"


@dataclass(frozen=True)
class Consumable:
    """Something beside paper that one finished object takes.

    Attributes
    ----------
    name
        ``ribbon``, ``eyelet``, ``adhesive``.
    use
        What it is for: ``loop of a pull-out card``.
    amount
        Of each: fine units, square fine units, or a number, as `measure` says.
    quantity
        How many of them.
    """

    name: str
    use: str
    measure: Measure
    amount: int
    quantity: int = 1


@dataclass(frozen=True)
class SectionPart:
    """A folded part seen from the side, cut through its middle.

    Attributes
    ----------
    width, height
        Of its base or top, and of its walls, in fine units.
    lid
        Whether it stands upside down over what it covers.
    inside
        How many parts it stands in: 0 for the outermost.
    """

    name: str
    role: str
    width: Length
    height: Length
    lid: bool = False
    inside: int = 0


def _none(_: Settings) -> tuple[Any, ...]:
    return ()


@dataclass(frozen=True)
class Design:
    """A rule that turns a few sizes into pieces.

    Attributes
    ----------
    name, title
        What it is called, and one line for a person.
    settings
        What a maker may say; those a default depends on come first.
    roles
        The papers it may use: ``tier``, ``mat``.
    finer_roles
        Roles within them that may have a paper of their own: ``tier.1``.
    rules
        Refuses settings that can't fold or fit together.
    parts
        Makes the pieces of settings that have passed the rules.
    joints
        What goes into what, for the fit.
    consumables
        Ribbon; adhesive and eyelets are worked out from the pieces.
    section
        The folded parts seen from the side, for a picture.
    usual_weights
        Roles and g/m² taken for them where nobody says which papers, if not the usual card.
    """

    name: str
    title: str
    settings: tuple[Setting, ...]
    roles: tuple[str, ...]
    finer_roles: tuple[str, ...]
    rules: Callable[[Settings, Unit], None]
    parts: Callable[[Settings], tuple[Piece, ...]]
    joints: Callable[[Settings], tuple[Joint, ...]] = _none
    consumables: Callable[[Settings], tuple[Consumable, ...]] = _none
    section: Callable[[Settings], tuple[SectionPart, ...]] = _none
    usual_weights: tuple[tuple[str, int], ...] = ()

    def pieces(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Piece, ...]:
        """Make the flat pieces of one finished object.

        Parameters
        ----------
        settings
            Every setting of the design, as `read_settings` gives them.
        unit
            The unit in which a refusal speaks.

        Raises
        ------
        DesignRefusal
            If a setting is missing, unknown or out of range, or if the settings can't fold or
            fit together; it names the rule.
        """
        self.check(settings, unit)
        return self.parts(settings)

    def check(self, settings: Settings, unit: Unit = Unit.MM) -> None:
        """Refuse settings that `pieces` would refuse."""
        wanted = {setting.name: setting for setting in self.settings if not setting.instead_of}
        for name in settings:
            if name not in wanted:
                raise DesignRefusal(_unknown(self, str(name), wanted))
        for name, setting in wanted.items():
            if name not in settings:
                raise DesignRefusal(f"{self.name}: the setting '{name}' is missing")
            fault = setting.fault(settings[name], unit)
            if fault:
                raise DesignRefusal(f"{self.name}, {name}: {fault}")
        try:
            self.rules(settings, unit)
        except DesignRefusal as error:
            raise DesignRefusal(f"{self.name}: {error}") from None


def read_settings(
    design: Design, texts: Mapping[str, str], unit: Unit, thickness: Thickness | None = None
) -> dict[str, Value]:
    """Read what a maker wrote about a design, and fill in what she left unsaid.

    Parameters
    ----------
    design
        The design it is about.
    texts
        What she wrote, by name of setting: ``{"panel": "18cm", "tiers": "4"}``.
    unit
        The shop's unit: that of bare lengths, and of the round defaults.
    thickness
        How thick the papers are; needed only for a length given as ``fit``, which is then
        rounded up to what can be cut.

    Returns
    -------
    dict
        Every setting of the design: lengths in fine units, counts and words.

    Raises
    ------
    DesignRefusal
        For an unknown setting, a value that can't be read, or a combination that can't be made;
        one sentence with what would be right.
    """
    known = [setting.name for setting in design.settings]
    for name in texts:
        if name not in known:
            raise DesignRefusal(_unknown(design, str(name), known))
    read = _read_said(design, texts, unit)
    for setting in design.settings:
        if setting.instead_of or setting.name in read:
            continue
        if setting.name in texts:
            read[setting.name] = _work_out(design, setting, read, unit, thickness)
        else:
            read[setting.name] = setting.value_unsaid(read, unit)
    design.check(read, unit)
    return read


def _read_said(design: Design, texts: Mapping[str, str], unit: Unit) -> dict[str, Value]:
    """Read all that was said but lengths given as `fit`, which depend on the rest."""
    read: dict[str, Value] = {}
    for setting in design.settings:
        if setting.name not in texts or _is_fit(setting, texts[setting.name]):
            continue
        value = _read_one(design, setting, texts[setting.name], unit)
        target = setting.instead_of or setting.name
        for other in (setting.instead_of, *setting.not_with):
            if other in texts:
                raise DesignRefusal(f"{design.name}: give {other} or {setting.name}, not both")
        read[target] = value
    return read


def _is_fit(setting: Setting, text: str) -> bool:
    return setting.worked_out is not None and text.strip().casefold() == FIT


def _work_out(
    design: Design, setting: Setting, before: Settings, unit: Unit, thickness: Thickness | None
) -> Length:
    from nester.designs.base.clearance import cuttable  # it knows this module

    if setting.worked_out is None or thickness is None:
        raise DesignRefusal(
            f"{design.name}, {setting.name}: {FIT} is worked out from how thick the papers are;"
            " choose the papers too, or give a length"
        )
    return max(cuttable(setting.worked_out(before, thickness), unit), setting.least)


def _read_one(design: Design, setting: Setting, text: str, unit: Unit) -> Value:
    where = f"{design.name}, {setting.name}"
    try:
        value = setting.read(text, unit)
    except DesignRefusal as error:
        raise DesignRefusal(f"{where}: {error}") from error
    fault = setting.fault(value, unit)
    if fault:
        raise DesignRefusal(f"{where}: {fault}")
    if isinstance(value, int) and value % setting.parts:
        raise DesignRefusal(
            f"{where}: '{_short(text)}' can't be divided exactly into {setting.parts} panels;"
            " give it in hundredths or 64ths of an inch, or thousandths of a mm"
        )
    return value // setting.parts if isinstance(value, int) else value


def _unknown(design: Design, name: str, known: Iterable[str]) -> str:
    names = list(known)
    hint = near_miss(name, names) or f"; it knows {', '.join(names)}"
    return f"{design.name} has no setting '{_short(name)}'{hint}"


def near_miss(wrong: str, right: Iterable[str]) -> str:
    """Return ``; did you mean …?`` for a word that is nearly one of the right ones, or nothing."""
    near = difflib.get_close_matches(wrong[:60].casefold(), list(right), n=1)
    return f"; did you mean {near[0]}?" if near else ""


def number(settings: Settings, name: str) -> int:
    """Return a length or count among checked settings."""
    value = settings[name]
    if not isinstance(value, int):
        raise TypeError(f"{name} is not a number")
    return value


def word(settings: Settings, name: str) -> str:
    """Return a choice among checked settings."""
    return str(settings[name])


def by_unit(unit: Unit, metric: Length, inches: Length) -> Length:
    """Return the round default of a metric shop or of an inch shop."""
    return inches if unit is Unit.IN else metric


def tidied(length: Length, unit: Unit) -> Length:
    """Round a default worked out from other sizes down to what a ruler of the shop shows.

    Whole mm or 16ths of an inch; tenths and 64ths when it is smaller than that.
    """
    for step in (mm(1), mm("0.1")) if unit is not Unit.IN else (inch("1/16"), inch("1/64")):
        if length >= step:
            return length // step * step
    return length
