"""`quirebox estimate` as it is promised: what it takes, what it refuses, what it answers."""

from __future__ import annotations

import pytest
from rich.cells import cell_len

from tests.e2e.conftest import Desk

BOX = ("estimate", "layered-box", "panel=12cm", "tiers=2", "mats=outside")
PAPERS = ("--paper", "all=night", "--paper", "mat=frost")


def test_what_to_buy_and_what_each_costs(desk: Desk) -> None:
    told = ("--on", "50x70cm=1.20", "--on", "frost:70x100cm=9/5", "--quantity", "3")
    data = desk.data("estimate", *BOX, *PAPERS, *told, "--json")
    assert (data["design"], data["currency"]) == ("layered-box", None)
    assert [one["quantity"] for one in data["estimates"]] == [1, 3, 10, 50]
    for one in data["estimates"]:
        paid = sum(line["packs"] * line["price"] for line in one["buy"]) + one["shipping"]
        assert one["cost"] == pytest.approx(paid)
        assert one["each"] == pytest.approx(paid / one["quantity"])
        assert 0 < one["bound"] <= one["cost"]
        assert {line["paper"] for line in one["buy"]} == {"night", "frost"}
        assert all(line["sheets"] == line["packs"] * line["pack"] for line in one["buy"])
        cut = sum(layout["copies"] for layout in one["cutting"]["layouts"])
        assert sum(line["used"] for line in one["buy"]) == cut
        assert one["cutting"]["unplaced"] == []
    each = [one["each"] for one in data["estimates"]]
    assert each[-1] <= each[0]


def test_as_text_with_pictures(desk: Desk) -> None:
    text = desk.do(*BOX, "--on", "50x70cm=1.20", "--drawings", "pictures")
    assert max(map(cell_len, text.splitlines())) <= 80
    assert "What it costs" in text
    assert "What to buy" in text
    assert list((desk.folder / "pictures").glob("*.svg"))


def test_what_fits_no_sheet_is_listed(desk: Desk) -> None:
    ran = desk.run(*BOX, "--on", "A4=0.30")
    assert (ran.code, ran.err) == (3, "")
    assert "Not placed" in ran.out
    assert "it is larger than every sheet" in ran.out
    assert "don't include the pieces that are not placed" in ran.out


@pytest.fixture
def shop(desk: Desk) -> Desk:
    """A shop whose one paper is offered in one size, its fibres along the short side."""
    for words in (
        ("shop", "new", "Hazelmoth", "--unit", "cm", "--currency", "EUR"),
        ("paper", "add", "Fern card", "--colour", "green", "--grammage", "250"),
        ("paper", "set", "Fern card", "--grain", "short"),
        ("buy", "supplier", "set", "Mill"),
        ("buy", "prices", "set", "Mill", "Fern card", "36x20cm", "1"),
    ):
        desk.do(*words, run=desk.run_here)
    return desk


def sheets_for_ten(shop: Desk, *words: str) -> int:
    size = ("width=10cm", "height=18cm", "mats=none")
    told = ("estimate", "folded-card", *size, "--paper", "all=Fern card")
    data = shop.data("estimate", *told, "--json", *words, run=shop.run_here)
    (line,) = next(one for one in data["estimates"] if one["quantity"] == 10)["buy"]
    return int(line["sheets"])


def test_the_shops_gap_and_grain_hold_unless_told(shop: Desk) -> None:
    """Two cards of 20 × 18 cm fill a sheet of 36 × 20 cm; their folds want fibres along 18 cm."""
    assert sheets_for_ten(shop) == 10
    shop.do("shop", "set", "--ignore-grain", run=shop.run_here)
    assert sheets_for_ten(shop) == 5
    assert sheets_for_ten(shop, "--gap", "1mm") == 10
    shop.do("shop", "set", "--gap", "1mm", run=shop.run_here)
    assert sheets_for_ten(shop) == 10
    assert sheets_for_ten(shop, "--gap", "0") == 5


def test_the_shops_trimmer_holds_unless_told(shop: Desk) -> None:
    """Small cards need cuts in two ways to come off a sheet."""
    shop.do("shop", "set", "--stages", "1", "--ignore-grain", run=shop.run_here)
    size = ("width=4cm", "height=8cm", "mats=none")
    small = ("estimate", "folded-card", *size, "--paper", "all=Fern card")
    ran = shop.run_here(*small)
    assert ran.code == 3
    assert "Not placed" in ran.out
    shop.do(*small, "--stages", "any", run=shop.run_here)


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "say what a sheet costs"),
        (("--on", "50x70cm"), "write a sheet and its price"),
        (("--on", "50x70cm=-1"), "must not be less than zero"),
        (("--on", "50x70cm=3/0"), "the sheets in a pack must be 1 to"),
        (("--on", "50x70cm=3/x"), "not a number of sheets in a pack"),
        (("--on", "ecru:50x70cm=3"), "nothing is cut from 'ecru'"),
        (("--on", "50x70cm=3", "--on", "50x70cm=4"), "twice"),
        (("--on", "wide=3"), "is not a size"),
        (("--on", "50x70cm=3", "--paper", "roof=night"), "has no part 'roof'"),
    ],
)
def test_refusals(desk: Desk, options: tuple[str, ...], why: str) -> None:
    assert why in desk.refuses(*BOX, *options, run=desk.run_here)
