"""Whether folded parts fit into each other, given how thick their papers are.

A design lists what goes into what as `Joint`s: the clearance if paper had no thickness, and the
layers of paper that take it up.  What is left is the play.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from nester.core.lengths import Length, Unit, format_length, inch, mm
from nester.designs.base.errors import DesignRefusal

__all__ = [
    "ClearanceCheck",
    "Joint",
    "Layer",
    "Thickness",
    "Verdict",
    "check_clearances",
    "require_clearances",
    "round_up_to_cuttable",
    "smallest_clearance",
]

Thickness: TypeAlias = Callable[[str], Length]
"""How thick the paper of a role is, in fine units."""


@dataclass(frozen=True)
class Layer:
    """Paper between two parts.

    Attributes
    ----------
    role
        The role of the piece it belongs to: `tier.1`.
    half_thicknesses
        How many half thicknesses of it take up clearance, both sides together.  (A wall that
        stands on a score line reaches half its thickness to either side of the line.)
    """

    role: str
    half_thicknesses: int


@dataclass(frozen=True)
class Joint:
    """One part that goes into or over another, across one direction.

    Attributes
    ----------
    name
        ``tier 2 in tier 1, across``.
    nominal_clearance
        Outer size less inner size, both sides together, on paper of no thickness.
    layers
        The paper that takes up clearance.
    required_play
        The play that makes it open and close easily, both sides together.
    one_sided
        All the play is on one side: above what stands on a floor, or at a pocket's mouth.
    setting
        The setting that gives more clearance if it is larger, for a refusal; empty if there is
        no such one.
    """

    name: str
    nominal_clearance: Length
    layers: tuple[Layer, ...]
    required_play: Length
    one_sided: bool = False
    setting: str = ""

    def play(self, thickness: Thickness) -> Length:
        """Return what is left of the clearance, both sides together; below 0 the part binds."""
        return self.nominal_clearance - _layers_thickness(self.layers, thickness)


def _layers_thickness(layers: Iterable[Layer], thickness: Thickness) -> Length:
    """Return how thick layers are together, rounded up to a whole fine unit."""
    halves = sum(layer.half_thicknesses * thickness(layer.role) for layer in layers)
    return (halves + 1) // 2


class Verdict(StrEnum):
    """How one part goes into another."""

    FITS = "fits"
    """It has the required play, or more."""
    TIGHT = "tight"
    """It goes in, with less than the required play."""
    BINDS = "binds"
    """It does not go in."""


@dataclass(frozen=True)
class ClearanceCheck:
    """How one joint fits.

    Attributes
    ----------
    joint
        What goes into what.
    play
        What is left of the clearance, both sides together, in fine units; below 0 it binds.
    verdict
        Whether that is enough.
    message
        The same in words, with the number.
    """

    joint: Joint
    play: Length
    verdict: Verdict
    message: str


def check_clearances(
    joints: Iterable[Joint], thickness: Thickness, unit: Unit
) -> tuple[ClearanceCheck, ...]:
    """Return how much play the chosen papers leave each joint.

    Parameters
    ----------
    joints
        What goes into what, as `Design.joints` gives it.
    thickness
        How thick the paper of each role is.
    unit
        The shop's unit.  A metric shop reads play in mm, even if it writes its sizes in cm.
    """
    return tuple(_check_clearance(joint, joint.play(thickness), unit) for joint in joints)


def _check_clearance(joint: Joint, play: Length, unit: Unit) -> ClearanceCheck:
    if play < 0:
        return ClearanceCheck(
            joint, play, Verdict.BINDS, f"{joint.name}: binds by {_format_play(-play, unit)}"
        )
    message = f"{joint.name}: {_format_play(play, unit)} of play"
    if not joint.one_sided:
        message += f", {_format_play(play // 2, unit)} a side"
    if play >= joint.required_play:
        return ClearanceCheck(joint, play, Verdict.FITS, message)
    message += f"; it opens and closes easily with {_format_play(joint.required_play, unit)}"
    return ClearanceCheck(joint, play, Verdict.TIGHT, message)


def require_clearances(
    joints: Iterable[Joint], thickness: Thickness, unit: Unit
) -> tuple[ClearanceCheck, ...]:
    """Return what `check_clearances` returns, unless a joint binds.

    Raises
    ------
    DesignRefusal
        For the joint that binds most: by how much, and what would help.
    """
    checks = check_clearances(joints, thickness, unit)
    worst = min(checks, key=lambda check: check.play, default=None)
    if worst is not None and worst.verdict is Verdict.BINDS:
        raise DesignRefusal(worst.message + _remedy(worst.joint, thickness, unit))
    return checks


def _remedy(joint: Joint, thickness: Thickness, unit: Unit) -> str:
    """Say which clearance would do, and which paper takes up most of it."""
    clearance = smallest_clearance(joint.layers, joint.required_play, thickness, unit)
    given = _format_play(max(joint.nominal_clearance, 0), unit)
    called = f"{joint.setting}, which is {given}," if joint.setting else f"its clearance of {given}"
    message = f"; {called} should be {_format_play(clearance, unit)}"
    thickest = max(
        joint.layers, key=lambda layer: layer.half_thicknesses * thickness(layer.role), default=None
    )
    if thickest is None or thickness(thickest.role) == 0:
        return message
    return (
        f"{message}, or the paper of {thickest.role}"
        f" ({_format_play(thickness(thickest.role), unit)}) thinner"
    )


def smallest_clearance(
    layers: Iterable[Layer], play: Length, thickness: Thickness, unit: Unit | None = None
) -> Length:
    """Return the smallest clearance that leaves a play.

    Parameters
    ----------
    layers
        The paper that takes up clearance.
    play
        The play to leave, both sides together, in fine units.
    thickness
        How thick the paper of each role is.
    unit
        Rounds the clearance up to what a maker of this unit can cut; None leaves it exact.
    """
    clearance = _layers_thickness(layers, thickness) + play
    return clearance if unit is None else round_up_to_cuttable(clearance, unit)


def round_up_to_cuttable(length: Length, unit: Unit) -> Length:
    """Round a length up to the next that a maker can cut by eye.

    Half a mm, or 1/32 in: half of the finest division of a common steel rule (common practice, no
    source).
    """
    step = inch("1/32") if unit is Unit.IN else mm("0.5")
    return -(-length // step) * step


def _format_play(length: Length, unit: Unit) -> str:
    """Write a small length; what is too small for the unit is not shown as 0."""
    shown, finest = (Unit.IN, inch("1/64")) if unit is Unit.IN else (Unit.MM, mm("0.01"))
    if 0 < length < finest:
        return f"less than {format_length(finest, shown)}"
    return format_length(length, shown)
