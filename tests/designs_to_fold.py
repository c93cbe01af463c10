"""Designs by chance for the folding engine: sizes, units, options and weights of papers."""

from __future__ import annotations

import json
import random
from typing import Any, NamedTuple

from inventory.views.production.design import design_as_json
from nester.core.lengths import Unit
from nester.designs import DESIGNS
from nester.designs.base.datasheet import make_datasheet
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.thickness import PaperSpec
from tests.folded_boxes import faults_of_design, thickness_from

__all__ = ["FoldedDesign", "folded_design"]


class FoldedDesign(NamedTuple):
    """A design that was folded.

    Attributes
    ----------
    name, unit, settings, grammages
        What was asked for.
    verdicts
        Of its joints.
    faults
        What is wrong, a sentence each.
    """

    name: str
    unit: Unit
    settings: dict[str, str]
    grammages: dict[str, int]
    verdicts: list[str]
    faults: list[str]


def folded_design(seed: int) -> FoldedDesign:
    """Make a design by chance, and fold it; settings that can't be made are replaced."""
    chance = random.Random(seed)
    while True:
        unit = chance.choice(list(Unit))
        name = chance.choice([*["layered-box"] * 12, "tray-box", *DESIGNS])
        settings, grammages = _settings(chance, name, unit), _grammages(chance)
        specs = {role: PaperSpec(grammage) for role, grammage in grammages.items()}
        if name != "layered-box":
            specs = {"all": specs["all"]}
            grammages = {"all": grammages["all"]}
        try:
            sheet = make_datasheet(DESIGNS[name], settings, specs, unit)
        except DesignRefusal:
            continue
        made: dict[str, Any] = json.loads(json.dumps(design_as_json(sheet)))
        faults = faults_of_design(made, thickness_from(grammages), settings)
        verdicts = [line["verdict"] for line in made["fit"]]
        return FoldedDesign(name, unit, settings, grammages, verdicts, faults)


def _grammages(chance: random.Random) -> dict[str, int]:
    """Choose weights in g/m² for all parts, and for some by themselves."""
    found = {"all": chance.randint(120, 350)}
    for role in ("mat", "tier.1", "tier.2", "tray", "inner-lid", "outer-lid", "card", "photo"):
        if chance.random() < 0.25:
            found[role] = chance.randint(80, 400)
    return found


def _length(chance: random.Random, unit: Unit, low_mm: float, high_mm: float) -> str:
    """Write a length, round or not, that needn't be of the shop's unit."""
    size = chance.uniform(low_mm, high_mm)
    kind = chance.choice(["mm", "cm", "16ths", "64ths"])
    if unit is Unit.IN and chance.random() < 0.6:
        kind = "16ths"
    if kind == "mm":
        return f"{round(size * 10) / 10}mm"
    if kind == "cm":
        return f"{round(size / 10 * 2) / 2 or 0.5}cm"
    parts = 16 if kind == "16ths" else 64
    return f"{max(1, round(size / 25.4 * parts))}/{parts}in"


def _settings(chance: random.Random, name: str, unit: Unit) -> dict[str, str]:
    if name == "layered-box":
        return _layered_box(chance, unit)
    settings: dict[str, str] = {}
    known = {setting.name for setting in DESIGNS[name].settings}
    for side in ("width", "length", "height", "depth", "base"):
        if side in known and chance.random() < 0.5:
            settings[side] = _length(chance, unit, 30, 250)
    for side in ("play", "lid-clearance", "room", "lid-wall", "reveal"):
        if side in known and chance.random() < 0.25:
            settings[side] = _length(chance, unit, 0.3, 8)
    for side in ("lid-clearance", "room", "clearance"):
        if side in known and chance.random() < 0.2:
            settings[side] = "fit"
    if name == "tray-box" and chance.random() < 0.5:
        settings |= {"base-mat": "yes", "reveal": _length(chance, unit, 0.3, 3)}
    for choice in ("envelope", "base-mat", "lid-mat"):
        if choice in known and chance.random() < 0.3:
            settings[choice] = "yes"
    return settings


def _layered_box(chance: random.Random, unit: Unit) -> dict[str, str]:
    tiers = chance.randint(1, 5)
    settings = {"panel": _length(chance, unit, 62, 310), "tiers": str(tiers)}

    def perhaps(name: str, share: float, *values: str) -> None:
        if chance.random() < share:
            settings[name] = chance.choice(values)

    if chance.random() < 0.25:
        settings["length"] = _length(chance, unit, 62, 310)
    if chance.random() < 0.25:
        settings["wall"] = _length(chance, unit, 40, 200)
    perhaps("corners", 0.4, "flaps", "flaps-anticlockwise", "pockets")
    perhaps(f"corners-{chance.randint(1, tiers)}", 0.3, "open", "flaps", "pockets")
    perhaps("centre", 0.3, "cross")
    perhaps("inner-lid", 0.2, "no")
    perhaps("mats", 0.6, "outside", "inside", "both")
    perhaps("layers", 0.2, "2", "3")
    perhaps("lid-strips", 0.2, "yes")
    perhaps("lid-tab", 0.2, _length(chance, unit, 5, 15))
    if chance.random() < 0.3:
        settings["cards"] = str(chance.randint(1, 8))
        perhaps("card-mats", 0.5, "one", "both")
        settings["card-tier"] = str(chance.randint(1, tiers))
    if chance.random() < 0.3:
        settings["photos"] = str(chance.randint(1, 8))
        settings["photo-tier"] = str(chance.randint(1, tiers))
    perhaps("lid-clearance", 0.3, "fit", _length(chance, unit, 0.5, 6))
    perhaps("step", 0.3, "fit", _length(chance, unit, 2, 20))
    perhaps("play", 0.2, _length(chance, unit, 0.2, 2))
    perhaps("reveal", 0.4, "0", *(_length(chance, unit, 0.3, 3) for _ in range(4)))
    return settings
