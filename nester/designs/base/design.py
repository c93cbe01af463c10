"""What a design is: settings with sensible defaults, rules, and the pieces they make.

A `Setting` is a size, count or choice that a maker may give.  `read_settings` turns what she
wrote into exact values and fills in the defaults.  `Design.pieces` makes the flat pieces, or
refuses a combination that can't fold or fit, and names the rule it breaks.
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
    LengthError,
    Unit,
    format_length,
    inch,
    mm,
    parse_length,
    printable,
)
from nester.designs.base.errors import DesignRefusal

if TYPE_CHECKING:
    from nester.core.piece import Piece
    from nester.designs.base.clearance import Joint, Thickness

__all__ = [
    "FIT",
    "Consumable",
    "Design",
    "Measure",
    "SectionPart",
    "Setting",
    "SettingKind",
    "SettingValue",
    "Settings",
    "by_unit",
    "choice_in",
    "floor_to_ruler",
    "number_in",
    "read_settings",
    "suggestion",
]

FIT = "fit"
"""What a maker writes instead of a length that is to be calculated from the papers."""

SettingValue: TypeAlias = int | str
"""A length in fine units, a count, or the word of a choice."""

Settings: TypeAlias = Mapping[str, SettingValue]


class SettingKind(StrEnum):
    """What a setting is a value of."""

    LENGTH = "length"
    COUNT = "count"
    CHOICE = "choice"


@dataclass(frozen=True)
class Setting:
    """One thing a maker may choose about a design.

    Attributes
    ----------
    name
        What it is called: ``panel``.
    kind
        Whether it is a length, a count or a choice.
    help
        One line for a person.
    default
        Its value if it is not given, or a function of the settings before it (a design lists
        its settings in that order) and the shop's unit.  A length or count outside of
        `minimum` … `maximum` is brought into that range.
    choices
        The words a choice may be.
    minimum, maximum
        The smallest and largest length (fine units) or count it may be.
    alternative_to, divisor
        Another way to give the setting `alternative_to`, `divisor` times as large: the blank of a
        tier instead of its panel, three times as wide.  It is never among the settings read.
    fitted_length
        For a length that may be given as ``fit``: the smallest that leaves the play asked for,
        from the settings before it (and those given after it) and the thickness of the papers.
    excludes
        Settings that can't be given together with this alternative.
    follows
        The setting before it whose value it has if it is not given; if that one is given as
        ``fit``, this one is fitted too, by itself.
    """

    name: str
    kind: SettingKind
    help: str
    default: SettingValue | Callable[[Settings, Unit], SettingValue] = 0
    choices: tuple[str, ...] = ()
    minimum: int = 0
    maximum: int = 0
    alternative_to: str = ""
    divisor: int = 1
    fitted_length: Callable[[Settings, Thickness], Length] | None = None
    excludes: tuple[str, ...] = ()
    follows: str = ""

    def default_value(self, before: Settings, unit: Unit) -> SettingValue:
        """Return the default, given the settings `before` it."""
        if self.follows:
            value = before[self.follows]
        else:
            value = self.default(before, unit) if callable(self.default) else self.default
        return value if isinstance(value, str) else min(max(value, self.minimum), self.maximum)

    def read(self, text: str, unit: Unit) -> SettingValue:
        """Read what a maker wrote; lengths without a unit are in `unit`.

        Raises
        ------
        DesignRefusal
            If it can't be read as this kind.
        """
        if self.kind is SettingKind.CHOICE:
            return text.strip().casefold()
        if self.kind is SettingKind.COUNT:
            return _count(text)
        if self.minimum == 0 and _ZERO.fullmatch(text):
            return 0
        try:
            return parse_length(text, unit)
        except LengthError as error:
            raise DesignRefusal(str(error)) from error

    def fault(self, value: object, unit: Unit) -> str | None:
        """Return what is wrong with a value by itself, or None."""
        if self.kind is SettingKind.CHOICE:
            if value in self.choices:
                return None
            hint = suggestion(str(value), self.choices)
            return f"'{_shortened(value)}' is not one of {', '.join(self.choices)}{hint}"
        if not isinstance(value, int) or isinstance(value, bool):
            return f"'{_shortened(value)}' is not a {self.kind}"
        if self.minimum <= value <= self.maximum:
            return None
        return (
            f"{self.show(value, unit)} is out of range; it may be from"
            f" {self.show(self.minimum, unit)} to {self.show(self.maximum, unit)}"
        )

    def show(self, value: SettingValue, unit: Unit) -> str:
        """Write a value of this setting for a person."""
        if self.kind is SettingKind.LENGTH and isinstance(value, int):
            return format_length(value, unit)
        return _shortened(value)


_ZERO = re.compile(r"\s*0+(?:[.,]0*)?\s*(?:mm|cm|in)?\s*", re.IGNORECASE)


def _count(text: str) -> int:
    if not re.fullmatch(r"\s*[0-9]{1,6}\s*", text):
        raise DesignRefusal(f"'{_shortened(text)}' is not a whole number; write it like 4")
    return int(text)


def _shortened(value: object) -> str:
    text = printable(str(value).strip())
    return text if len(text) <= 30 else f"{text[:30]}…"


class Measure(StrEnum):
    """What a consumable is counted in."""

    LENGTH = "length"
    AREA = "area"
    COUNT = "count"


@dataclass(frozen=True)
class Consumable:
    """Something other than paper that one finished object needs.

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
    is_lid
        Whether it stands upside down over what it covers.
    nesting_depth
        How many parts it stands in: 0 for the outermost.
    """

    name: str
    role: str
    width: Length
    height: Length
    is_lid: bool = False
    nesting_depth: int = 0


def _nothing(_: Settings) -> tuple[Any, ...]:
    return ()


@dataclass(frozen=True)
class Design:
    """A rule that turns a few sizes into pieces.

    Attributes
    ----------
    name, title
        What it is called, and one line that describes it.
    settings
        What a maker may choose; a setting comes after those its default depends on.
    roles
        The papers it may use: ``tier``, ``mat``.
    sub_roles
        Roles within them that may have their own paper: ``tier.1``.
    check_rules
        Refuses settings that can't fold or fit together.
    make_pieces
        Makes the pieces of settings that have passed the rules.
    joints
        What goes into what, to check the fit.
    consumables
        Ribbon; adhesive and eyelets are counted from the pieces.
    section
        The folded parts seen from the side, for a picture.
    default_grammages
        Roles and the g/m² of their papers by default, where not `DEFAULT_PAPERS`.
    """

    name: str
    title: str
    settings: tuple[Setting, ...]
    roles: tuple[str, ...]
    sub_roles: tuple[str, ...]
    check_rules: Callable[[Settings, Unit], None]
    make_pieces: Callable[[Settings], Iterable[Piece]]
    joints: Callable[[Settings], tuple[Joint, ...]] = _nothing
    consumables: Callable[[Settings], tuple[Consumable, ...]] = _nothing
    section: Callable[[Settings], tuple[SectionPart, ...]] = _nothing
    default_grammages: tuple[tuple[str, int], ...] = ()

    def pieces(self, settings: Settings, unit: Unit = Unit.MM) -> tuple[Piece, ...]:
        """Make the flat pieces of one finished object.

        Parameters
        ----------
        settings
            Every setting of the design, as `read_settings` gives them.
        unit
            The unit of lengths in a refusal.

        Raises
        ------
        DesignRefusal
            If a setting is missing, unknown or out of range, or if the settings can't fold or
            fit together; it names the rule.
        """
        self.check(settings, unit)
        return tuple(self.make_pieces(settings))

    def check(self, settings: Settings, unit: Unit = Unit.MM) -> None:
        """Refuse settings that `pieces` would refuse."""
        expected = {
            setting.name: setting for setting in self.settings if not setting.alternative_to
        }
        for name in settings:
            if name not in expected:
                raise DesignRefusal(_unknown_setting(self, str(name), expected))
        for name, setting in expected.items():
            if name not in settings:
                raise DesignRefusal(f"{self.name}: the setting '{name}' is missing")
            fault = setting.fault(settings[name], unit)
            if fault:
                raise DesignRefusal(f"{self.name}, {name}: {fault}")
        try:
            self.check_rules(settings, unit)
        except DesignRefusal as error:
            raise DesignRefusal(f"{self.name}: {error}") from None


def read_settings(
    design: Design,
    texts: Mapping[str, str],
    unit: Unit,
    thickness: Thickness | None = None,
    *,
    defaults_in: Unit | None = None,
) -> dict[str, SettingValue]:
    """Read what a maker wrote about a design, and fill in the defaults.

    Parameters
    ----------
    design
        The design.
    texts
        What she wrote, by name of setting: ``{"panel": "18cm", "tiers": "4"}``.
    unit
        Of lengths without a unit, and of those in a refusal.
    defaults_in
        The unit in which defaults are round, which is the shop's; `unit`, unless given.
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
            raise DesignRefusal(_unknown_setting(design, str(name), known))
    measures = unit if defaults_in is None else defaults_in
    read = _read_given(design, texts, unit)
    for setting in design.settings:
        if setting.alternative_to or setting.name in read:
            continue
        text = texts.get(setting.name, texts.get(setting.follows, ""))
        if _is_fit(setting, text):
            read[setting.name] = _fitted_length(design, setting, read, measures, thickness)
        else:
            read[setting.name] = setting.default_value(read, measures)
    design.check(read, unit)
    return read


def _read_given(design: Design, texts: Mapping[str, str], unit: Unit) -> dict[str, SettingValue]:
    """Read all that was given but lengths given as `fit`, which depend on the rest."""
    read: dict[str, SettingValue] = {}
    for setting in design.settings:
        if setting.name not in texts or _is_fit(setting, texts[setting.name]):
            continue
        value = _read_setting(design, setting, texts[setting.name], unit)
        target = setting.alternative_to or setting.name
        for other in (setting.alternative_to, *setting.excludes):
            if other in texts:
                raise DesignRefusal(f"{design.name}: give {other} or {setting.name}, not both")
        read[target] = value
    return read


def _is_fit(setting: Setting, text: str) -> bool:
    return setting.fitted_length is not None and text.strip().casefold() == FIT


def _fitted_length(
    design: Design, setting: Setting, before: Settings, unit: Unit, thickness: Thickness | None
) -> Length:
    from nester.designs.base.clearance import round_up_to_cuttable  # it knows this module

    if setting.fitted_length is None or thickness is None:
        raise DesignRefusal(
            f"{design.name}, {setting.name}: {FIT} is calculated from the thickness of the papers;"
            " choose the papers too, or give a length"
        )
    return max(
        round_up_to_cuttable(setting.fitted_length(before, thickness), unit), setting.minimum
    )


def _read_setting(design: Design, setting: Setting, text: str, unit: Unit) -> SettingValue:
    where = f"{design.name}, {setting.name}"
    try:
        value = setting.read(text, unit)
    except DesignRefusal as error:
        raise DesignRefusal(f"{where}: {error}") from error
    fault = setting.fault(value, unit)
    if fault:
        raise DesignRefusal(f"{where}: {fault}")
    if isinstance(value, int) and value % setting.divisor:
        raise DesignRefusal(
            f"{where}: '{_shortened(text)}' can't be divided exactly into {setting.divisor} panels;"
            " give it in hundredths or 64ths of an inch, or thousandths of a mm"
        )
    return value // setting.divisor if isinstance(value, int) else value


def _unknown_setting(design: Design, name: str, known: Iterable[str]) -> str:
    names = list(known)
    hint = suggestion(name, names) or f"; it knows {', '.join(names)}"
    return f"{design.name} has no setting '{_shortened(name)}'{hint}"


def suggestion(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean …?`` if a word is close to a right word, or nothing."""
    close = difflib.get_close_matches(word[:60].casefold(), list(known), n=1)
    return f"; did you mean {close[0]}?" if close else ""


def number_in(settings: Settings, name: str) -> int:
    """Return a length or count among checked settings."""
    value = settings[name]
    if not isinstance(value, int):
        raise TypeError(f"{name} is not a number")
    return value


def choice_in(settings: Settings, name: str) -> str:
    """Return a choice among checked settings."""
    return str(settings[name])


def by_unit(unit: Unit, metric: Length, inches: Length) -> Length:
    """Return the round default of a metric shop or of an inch shop."""
    return inches if unit is Unit.IN else metric


def floor_to_ruler(length: Length, unit: Unit) -> Length:
    """Round a default calculated from other sizes down to what a ruler of the shop shows.

    Whole mm or 16ths of an inch; tenths and 64ths when it is smaller than that.
    """
    for step in (mm(1), mm("0.1")) if unit is not Unit.IN else (inch("1/16"), inch("1/64")):
        if length >= step:
            return length // step * step
    return length
