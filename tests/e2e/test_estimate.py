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
    assert "without the pieces that are not placed" in ran.out


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "tell what a sheet costs"),
        (("--on", "50x70cm"), "write a sheet and its price"),
        (("--on", "50x70cm=-1"), "must not be less than zero"),
        (("--on", "50x70cm=3/0"), "the sheets in a pack must be 1 to"),
        (("--on", "50x70cm=3/x"), "no number of sheets in a pack"),
        (("--on", "ecru:50x70cm=3"), "nothing is cut from 'ecru'"),
        (("--on", "50x70cm=3", "--on", "50x70cm=4"), "twice"),
        (("--on", "wide=3"), "is not a size"),
        (("--on", "50x70cm=3", "--paper", "roof=night"), "has no part 'roof'"),
    ],
)
def test_refusals(desk: Desk, options: tuple[str, ...], why: str) -> None:
    assert why in desk.refuses(*BOX, *options, run=desk.run_here)
