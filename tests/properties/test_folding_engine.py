"""Designs folded by an engine of the tests' own: what is told of them is what is measured."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from inventory.views.production.design import design_as_json
from nester.core.lengths import Unit
from nester.designs import DESIGNS
from nester.designs.base.datasheet import make_datasheet
from nester.designs.base.thickness import PaperSpec
from tests.designs_to_fold import folded_design
from tests.folded_boxes import faults_of_design, thickness_from
from tests.folding_engine import FoldingError, fold_up

DESIGNS_TRIED = 24
GRAMMAGES = {"all": 300, "mat": 160}

JsonDesign = dict[str, Any]


def made(name: str, **settings: str) -> JsonDesign:
    specs = {"all": PaperSpec(300)}
    if "mat" in DESIGNS[name].roles:
        specs["mat"] = PaperSpec(160)
    texts = {key.replace("_", "-"): value for key, value in settings.items()}
    sheet = make_datasheet(DESIGNS[name], texts, specs, Unit.CM)
    design: JsonDesign = json.loads(json.dumps(design_as_json(sheet)))
    return design


def faults(design: JsonDesign, settings: Mapping[str, str] | None = None) -> list[str]:
    return faults_of_design(design, thickness_from(GRAMMAGES), settings or {})


@pytest.mark.parametrize("first", range(0, DESIGNS_TRIED, 6))
def test_designs_by_chance_are_as_told(first: int) -> None:
    # `python -m tests.benchmarks.folding --designs 2000` tries more.
    for seed in range(first, first + 6):
        assert folded_design(seed).faults == [], seed


@pytest.mark.parametrize("name", [name for name in DESIGNS if name != "layered-box"])
def test_each_design_is_as_told_by_default(name: str) -> None:
    assert faults(made(name)) == []


@pytest.mark.parametrize(
    ("name", "settings"),
    [
        ("layered-box", {"mats": "inside", "reveal": "1.5mm"}),
        ("tray-box", {"base_mat": "yes", "reveal": "1mm"}),
    ],
)
def test_mats_that_reach_the_tabs_of_a_tray_are_told(name: str, settings: dict[str, str]) -> None:
    design = made(name, **settings)
    assert "binds" in {line["verdict"] for line in design["fit"] if "mat" in line["name"]}
    assert faults(design) == []


def test_a_tray_is_as_large_as_its_folds_say() -> None:
    (tray,) = [piece for piece in made("tray-box")["pieces"] if piece["name"] == "tray"]
    slabs = fold_up(tray, 0.4)
    points = np.concatenate([slab.middle for slab in slabs])
    assert np.ptp(points, axis=0) == pytest.approx([100, 100, 40])
    assert [slab.depth for slab in slabs] == [0, 1, 1, 1, 1, 2, 2, 2, 2]


# What the engine must notice: a piece or a word that is wrong.


def part_of(design: JsonDesign, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(piece for piece in design["pieces"] if piece["name"] == name)
    return found


def with_a_fold_the_other_way(design: JsonDesign) -> None:
    score = part_of(design, "tier 1")["scores"][0]
    score["fold"] = {"valley": "mountain", "mountain": "valley"}[score["fold"]]


def with_tabs_outside(design: JsonDesign) -> None:
    part_of(design, "inner lid")["note"] = "Glue each tab over the next wall."


def with_more_play_told(design: JsonDesign) -> None:
    design["fit"][0]["play"] += 0.1


def with_a_joint_left_out(design: JsonDesign) -> None:
    design["fit"].append({"name": "ribbon round the box", "play": 1, "verdict": "fits"})


def with_a_wider_mat(design: JsonDesign) -> None:
    part_of(design, "mat 1 inside")["width"] += 6


def with_a_fault_told(design: JsonDesign) -> None:
    design["fold_faults"].append("tier 1: its folds would tear it by 1 mm")


@pytest.mark.parametrize(
    ("spoil", "found"),
    [
        (with_a_fold_the_other_way, "stand to one side"),
        (with_tabs_outside, "measured"),
        (with_more_play_told, "mm of play are told"),
        (with_a_joint_left_out, "not measured: ['ribbon round the box']"),
        (with_a_wider_mat, "what is glued into tier 1"),
        (with_a_fault_told, "told, but not found"),
    ],
)
def test_the_engine_finds_what_is_wrong(spoil: Callable[[JsonDesign], None], found: str) -> None:
    whole = made("layered-box", mats="inside")
    assert faults(whole) == []
    spoilt = copy.deepcopy(whole)
    spoil(spoilt)
    assert any(found in fault for fault in faults(spoilt))


def test_paper_that_would_tear_is_found() -> None:
    box = part_of(made("folded-box"), "box")
    fold_up(box, 0.1)
    box["scores"][-1]["degrees"] = 60
    with pytest.raises(FoldingError, match="tear"):
        fold_up(box, 0.1)


def test_a_part_that_hangs_on_nothing_is_found() -> None:
    tier = part_of(made("layered-box"), "tier 1")
    first = tier["scores"].pop(0)
    tier["slits"].append({"from": first["from"], "to": first["to"]})
    with pytest.raises(FoldingError, match="hangs on nothing"):
        fold_up(tier, 0.1)
