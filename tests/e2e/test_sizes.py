"""Sizes and sheets compared on the command line."""

from __future__ import annotations

import pytest

from tests.e2e.conftest import Desk

BOX = (
    "layered-box",
    "--on",
    "56x71cm",
    "mats=outside",
    "photos=4",
    "--from",
    "17cm",
    "--to",
    "18.8cm",
)


def test_sizes_of_a_box(desk: Desk) -> None:
    words = ("design", "sizes", *BOX, "--step", "2mm", "--svg", "chart.svg")
    told = desk.do(*words)
    assert max(map(len, told.splitlines())) <= 80
    told = " ".join(told.split())
    assert (
        "17.4 cm: tier 2 and outer lid share a 56 × 71 cm sheet of card; 17.6 cm: they can't"
        in told
    )
    assert "17.4 cm saves" in told
    assert "photo-size 14 → 13.5 cm" in told
    assert "card-size" not in told
    assert "outer lid 18.5 → 17.9 cm" in told
    assert "Left out: 18.8 cm. tier 1 of card" in told
    assert "█" in told
    assert (desk.folder / "chart.svg").read_text(encoding="utf-8").startswith("<svg")
    data = desk.data("sizes", *words, "--yes", "--json", run=desk.run_here)
    assert (data["design"], data["setting"], data["quantity"]) == ("layered-box", "panel", 10)
    assert [one["size"] for one in data["sizes"]] == list(range(170, 190, 2))
    assert data["sizes"][-1]["refused"]
    assert all(one["each"] >= one["at_least"] for one in data["sizes"][:-1])
    assert data["beside"] == 180
    assert {one["proven"] for one in data["steps"]} <= {True, False}


def test_prices_and_inches(desk: Desk) -> None:
    words = (
        "design", "sizes", "gift-tag", "length=9in", "--on", "12x12in", "--from", "2 1/2in",
        "--to", "4in", "--step", "1/2in", "--quantity", "4", "--unit", "in",
        "--price", "12x12in=0.80",
    )  # fmt: skip
    told = desk.do(*words, run=desk.run_here)
    assert "3 in: 4 × tag share a 12 × 12 in sheet; 3 1/2 in: they can't" in told
    data = desk.data("sizes", *words, "--yes", "--json", run=desk.run_here)
    assert [one["each"] for one in data["sizes"]] == [0.2, 0.2, 0.4, 0.4]


def test_other_settings_and_other_ways_to_say_them(desk: Desk) -> None:
    words = ("design", "sizes", "layered-box", "--on", "70x100cm", "--quantity", "1")
    words += ("--step", "1cm", "--json")
    blank = desk.data("sizes", *words, "--setting", "blank", run=desk.run_here)
    assert blank["beside"] == 540
    depth = desk.data("sizes", *words, "--setting", "tray-depth", run=desk.run_here)
    assert depth["beside"] == 120


def test_sheets_for_a_box(desk: Desk) -> None:
    words = (
        "design", "sheets", "layered-box", "mats=outside", "--on", "56x71cm", "--on", "50x70cm",
        "--on", "70x100cm", "--quantity", "2",
    )  # fmt: skip
    told = desk.do(*words, run=desk.run_here)
    assert max(map(len, told.splitlines())) <= 80
    assert "50 × 70 cm: tier 1 of card: it is larger than every sheet of its paper." in told
    assert "is best" in told or "is the best found" in told
    data = desk.data("sheet_sizes", *words, "--json", run=desk.run_here)
    for paper in (None, "card", "mat"):
        rows = [one for one in data["rows"] if one["paper"] == paper]
        each = [one["each"] for one in rows if one["refused"] is None]
        assert each == sorted(each)
        assert all(one["each"] >= one["at_least"] for one in rows if one["refused"] is None)
        # Of all sheets, mixed as is cheapest, a box takes no more than from one of them.
        (mixed,) = (one for one in rows if one["width"] is None)
        assert mixed["each"] <= each[-1]


def test_the_rules_of_the_shop_hold(stocked: Desk) -> None:
    words = ("design", "sheets", "gift-tag", "width=10cm", "length=14.8cm", "--on", "A4")
    words += ("--quantity", "4", "--json")
    (row,) = stocked.data("sheet_sizes", *words, run=stocked.run_here)["rows"]
    assert row["sheets"] == 1
    stocked.do("shop", "set", "--gap", "2cm", run=stocked.run_here)
    (row,) = stocked.data("sheet_sizes", *words, run=stocked.run_here)["rows"]
    assert row["sheets"] == 2
    told = stocked.do("design", "sheets", "gift-tag", "--on", "A4", "--paper", "all=Coal card",
                      run=stocked.run_here)  # fmt: skip
    assert "Coal card" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "3cm", "--to", "2cm"), "the sizes run from 3 cm to 2 cm, which is upside down"),
        (("--step", "0"), "--step: '0' must be more than zero"),
        (("--from", "1cm", "--to", "90cm", "--step", "0.1mm"), "500 at most are compared"),
        (("--from", "much"), "--from: 'much' is not a size"),
        (("--setting", "weight"), "gift-tag has no length 'weight'"),
        (("--quantity", "0"), "--quantity must be 1 to 1,000, not 0"),
        (("--on", "tier=A4"), "gift-tag has no part 'tier'"),
        (("--on", "A99"), "--on: 'A99' is not a size"),
        (("--price", "A3=1"), "--price names a 29.7 × 42 cm sheet, and --on does not"),
        (("--on", "A3", "--price", "A4=1"), "a 29.7 × 42 cm sheet has no price"),
        (("--price", "A4=cheap"), "is not an amount of money"),
        (("--from", "1mm", "--to", "2mm"), "none of these sizes is possible"),
        (("--paper", "all=Coal card"), "there is no shop"),
    ],
)
def test_what_can_not_be_compared(desk: Desk, words: tuple[str, ...], said: str) -> None:
    told = desk.refuses("design", "sizes", "gift-tag", "--on", "A4", *words, run=desk.run_here)
    assert said in told


def test_a_part_without_a_sheet_is_named(desk: Desk) -> None:
    told = desk.refuses(
        "design", "sheets", "layered-box", "mats=both", "--on", "mat=A3", run=desk.run_here
    )
    assert told == "no sheet is named for card; say --on SIZE, or --on all=SIZE."
