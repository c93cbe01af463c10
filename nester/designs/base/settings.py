"""Settings of each kind in one line, and the defaults that many of them share."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from nester.core.lengths import Length, Unit, cm, inch, mm
from nester.designs.base.clearance import Thickness
from nester.designs.base.design import (
    Setting,
    SettingKind,
    Settings,
    SettingValue,
    by_unit,
    choice_in,
    floor_to_ruler,
    number_in,
)

__all__ = [
    "Default",
    "capped_default",
    "choice_setting",
    "count_setting",
    "is_yes",
    "length_setting",
    "play_setting",
    "round_default",
    "same_as",
    "smallest_of",
    "yes_no_setting",
]

Default: TypeAlias = SettingValue | Callable[[Settings, Unit], SettingValue]
"""The value of a setting that nobody gives, or how it follows from those before it."""


def length_setting(
    name: str,
    help_text: str,
    default: Default,
    minimum: Length,
    maximum: Length,
    fitted_length: Callable[[Settings, Thickness], Length] | None = None,
) -> Setting:
    """Return a length from `minimum` to `maximum`, in fine units (see `Setting`)."""
    return Setting(
        name,
        SettingKind.LENGTH,
        help_text,
        default,
        minimum=minimum,
        maximum=maximum,
        fitted_length=fitted_length,
    )


def count_setting(
    name: str, help_text: str, default: Default, minimum: int, maximum: int
) -> Setting:
    """Return a count from `minimum` to `maximum`."""
    return Setting(name, SettingKind.COUNT, help_text, default, minimum=minimum, maximum=maximum)


def choice_setting(
    name: str, help_text: str, default: Default, choices: tuple[str, ...]
) -> Setting:
    """Return a choice among words."""
    return Setting(name, SettingKind.CHOICE, help_text, default, choices=choices)


def yes_no_setting(name: str, help_text: str, default: Default = "no") -> Setting:
    """Return a choice of yes or no."""
    return choice_setting(name, help_text, default, ("yes", "no"))


def is_yes(settings: Settings, name: str) -> bool:
    """Return whether a choice is yes."""
    return choice_in(settings, name) == "yes"


def smallest_of(*names: str) -> Callable[[Settings], Length]:
    """Return the function that gives the smallest of some lengths among the settings."""
    return lambda settings: min(number_in(settings, name) for name in names)


def round_default(metric: Length, inches: Length) -> Callable[[Settings, Unit], Length]:
    """Return a default that is round in a metric shop and in an inch shop."""
    return lambda _, unit: by_unit(unit, metric, inches)


def capped_default(
    metric: Length, inches: Length, side: Callable[[Settings], Length], divisor: int
) -> Callable[[Settings, Unit], Length]:
    """Return a round default that stays within a share of a side, for small objects.

    Parameters
    ----------
    metric, inches
        The default in a metric shop and in an inch shop, in fine units.
    side
        The side of which it takes no more than one part in `divisor`.
    """
    return lambda before, unit: floor_to_ruler(
        min(by_unit(unit, metric, inches), side(before) // divisor), unit
    )


def same_as(name: str) -> Callable[[Settings, Unit], SettingValue]:
    """Return a default that is the value of another setting."""
    return lambda before, _: before[name]


DEFAULT_PLAY = round_default(mm(1), inch("1/32"))


def play_setting(help_text: str, default: Default = DEFAULT_PLAY) -> Setting:
    """Return the play that parts should have in each other, both sides together."""
    return length_setting("play", help_text, default, 0, cm(2))
